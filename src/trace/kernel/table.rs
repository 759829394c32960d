//! A round figure as one list of polynomials: height and slope at any radius at one price, whatever its layers are.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use crate::numeric::chebyshev;
use crate::numeric::vector::{FEW, V, Wide};

/// Coefficients of a piece, by the power of the distance from where the piece begins.
pub(super) type Row<const TERMS: usize> = [f64; TERMS];

/// Most equal pieces, a power of two.
const EVEN: usize = 512;
/// Equal cells over the radius, by which a piece is found where pieces are not equal.
const CELLS: usize = 1024;
/// Rows of a table, a power of two; most pieces: what is rougher than that is left to the slow road.
pub(super) const MOST: usize = 2048;
/// A height may be off by this, mm: above the rounding of the surface, of which the figure is what the conic leaves.
const HEIGHT_ERROR_MM: f64 = 1e-13;
/// Halvings of a stretch between two breaks.
const DEPTH: u32 = 9;
/// Terms of the slope's polynomial: for cubic pieces, and for the others.
const QUADRATIC: usize = 3;
const MOST_TERMS: usize = 7;

/// The figure of a mirror as the loops look it up.
#[derive(Clone, Debug)]
pub(crate) enum Table {
    /// Cubics, where that is what the figure is made of: splines, straight pieces, parabolic edges.
    Cubic { pieces: Pieces<4>, safe_shift_mm: f64 },
    /// Polynomials of the seventh degree.
    High { pieces: Pieces<8>, safe_shift_mm: f64 },
}

impl Table {
    /// The table of a figure whose height and slope are `figure`, from the centre to `end_mm`; `breaks_mm` (ascending)
    /// is where its pieces join. None where pieces of the seventh degree do not hold it.
    ///
    /// `slope_error` is how far the slope may be off; a ray may be moved sideways on the glass so far that the change
    /// of the slope's change over it stays below that.
    pub(super) fn new(
        figure: impl Fn(f64) -> (f64, f64),
        breaks_mm: &[f64],
        end_mm: f64,
        slope_error: f64,
    ) -> Option<Self> {
        let even = |terms| equal_pieces(&figure, breaks_mm, end_mm, slope_error, terms);
        let by_need = |terms| pieces_by_need(&figure, breaks_mm, end_mm, slope_error, terms);
        let tries = [(true, QUADRATIC), (false, QUADRATIC), (true, MOST_TERMS), (false, MOST_TERMS)];
        let mut found = tries.into_iter().filter_map(|(is_even, terms)| {
            let pieces = if is_even { even(terms) } else { by_need(terms) };
            pieces.filter(|p| p.len() < MOST).map(|pieces| (is_even, terms == QUADRATIC, pieces))
        });
        let (even, cubic, pieces) = found.next()?;
        // The third derivative of the height, and how far it lets a slope be moved to first order.
        let rough = pieces.iter().map(Piece::bend_of_slope).fold(0.0, f64::max);
        let safe_shift_mm = (2.0 * slope_error / rough).sqrt().min(1e-3 * end_mm);
        Some(if cubic {
            Self::Cubic { pieces: Pieces::new(&pieces, even, end_mm), safe_shift_mm }
        } else {
            Self::High { pieces: Pieces::new(&pieces, even, end_mm), safe_shift_mm }
        })
    }

    /// How far sideways a ray may be moved on the glass, mm.
    #[inline(always)]
    pub(super) fn safe_shift_mm(&self) -> f64 {
        match self {
            Self::Cubic { safe_shift_mm, .. } | Self::High { safe_shift_mm, .. } => *safe_shift_mm,
        }
    }

    /// Radius where the table ends, mm.
    #[inline(always)]
    pub(super) fn end_mm(&self) -> f64 {
        match self {
            Self::Cubic { pieces, .. } => pieces.end_mm,
            Self::High { pieces, .. } => pieces.end_mm,
        }
    }

    /// Height and slope at a radius: what the loops find, one radius at a time.
    pub(super) fn height_and_slope(&self, r_mm: f64) -> (f64, f64) {
        match self {
            Self::Cubic { pieces, .. } => pieces.height_and_slope(r_mm),
            Self::High { pieces, .. } => pieces.height_and_slope(r_mm),
        }
    }
}

/// One polynomial while the table is made.
#[derive(Clone, Copy, Debug)]
struct Piece {
    from_mm: f64,
    to_mm: f64,
    row: Row<8>,
}

impl Piece {
    fn height(&self, t: f64) -> f64 {
        self.row.iter().rev().fold(0.0, |sum, c| sum * t + c)
    }

    fn slope(&self, t: f64) -> f64 {
        (1..8).rev().fold(0.0, |sum, power| sum * t + power as f64 * self.row[power])
    }

    /// The largest third derivative of the height, by its terms.
    fn bend_of_slope(&self) -> f64 {
        let width = self.to_mm - self.from_mm;
        (3..8).map(|k| (k * (k - 1) * (k - 2)) as f64 * self.row[k].abs() * width.powi(k as i32 - 3)).sum()
    }
}

/// Pieces of a stretch: its slope interpolated at Chebyshev points, halved where that is not enough.
fn fit(
    figure: &impl Fn(f64) -> (f64, f64),
    from_mm: f64,
    to_mm: f64,
    (slope_error, terms): (f64, usize),
    depth: u32,
    pieces: &mut Vec<Piece>,
) -> Option<()> {
    let (middle, half) = (0.5 * (from_mm + to_mm), 0.5 * (to_mm - from_mm));
    // Chebyshev coefficients, then powers of x, then powers of the distance from the beginning.
    let in_x: [f64; MOST_TERMS] =
        chebyshev::powers(&chebyshev::series(|x| figure(middle + half * x).1, terms));
    let mut row = [0.0; 8];
    for power in 0..terms {
        // x = t/half - 1.
        let shifted: f64 = (power..terms)
            .map(|k| in_x[k] * binomial(k, power) * if (k - power) % 2 == 0 { 1.0 } else { -1.0 })
            .sum();
        row[power + 1] = shifted / half.powi(power as i32) / (power + 1) as f64;
    }
    let mut piece = Piece { from_mm, to_mm, row };
    // The height is the slope's integral from a height in the middle.
    let at_middle = (1..8).rev().fold(0.0, |sum, k| (sum + row[k]) * half);
    piece.row[0] = figure(middle).0 - at_middle;
    let off = |at: fn(&Piece, f64) -> f64, of: fn((f64, f64)) -> f64| {
        let places = (0..25).map(|k| half * (f64::from(k) + 0.5) / 12.5);
        places.map(|t| (at(&piece, t) - of(figure(from_mm + t))).abs()).fold(0.0, f64::max)
    };
    // A step changes no slope.
    if off(Piece::slope, |(_, s)| s) <= slope_error && off(Piece::height, |(h, _)| h) <= HEIGHT_ERROR_MM {
        pieces.push(piece);
        return (pieces.len() <= MOST).then_some(());
    }
    if depth == 0 {
        return None;
    }
    fit(figure, from_mm, middle, (slope_error, terms), depth - 1, pieces)?;
    fit(figure, middle, to_mm, (slope_error, terms), depth - 1, pieces)
}

fn binomial(n: usize, k: usize) -> f64 {
    (0..k).fold(1.0, |product, i| product * (n - i) as f64 / (i + 1) as f64)
}

/// Breaks between the centre and the end.
fn inside(breaks_mm: &[f64], end_mm: f64) -> impl Iterator<Item = f64> + '_ {
    breaks_mm.iter().copied().filter(move |r| *r > 0.0 && *r < end_mm)
}

/// Pieces from break to break, halved as often as the figure needs it.
fn pieces_by_need(
    figure: &impl Fn(f64) -> (f64, f64),
    breaks_mm: &[f64],
    end_mm: f64,
    slope_error: f64,
    terms: usize,
) -> Option<Vec<Piece>> {
    let mut pieces = Vec::new();
    let ends = inside(breaks_mm, end_mm).chain([end_mm]);
    let mut from = 0.0;
    for to in ends {
        fit(figure, from, to, (slope_error, terms), DEPTH, &mut pieces)?;
        from = to;
    }
    Some(pieces)
}

/// Equal pieces, whose number a loop finds without a search: where all breaks that matter fall on their ends.
fn equal_pieces(
    figure: &impl Fn(f64) -> (f64, f64),
    breaks_mm: &[f64],
    end_mm: f64,
    slope_error: f64,
    terms: usize,
) -> Option<Vec<Piece>> {
    // Many breaks only advise a quadrature; the figure runs smoothly over them.
    let smooth = |r: f64| {
        let half = 0.5 * (end_mm / EVEN as f64).min(r).min(end_mm - r);
        fit(figure, r - half, r + half, (slope_error, MOST_TERMS), 0, &mut Vec::new()).is_some()
    };
    let inside = inside(breaks_mm, end_mm);
    let sharp: Vec<f64> = inside.filter(|r| !smooth(*r)).collect();
    let fits = |count: &usize| {
        let numbers = sharp.iter().map(|r| r / end_mm * *count as f64);
        numbers.into_iter().all(|number| (number - number.round()).abs() < 1e-12 * EVEN as f64)
    };
    let least = (1..=EVEN).find(fits)?;
    let mut count = least;
    while count <= EVEN {
        let end = |k: usize| end_mm * k as f64 / count as f64;
        let mut pieces = Vec::with_capacity(count);
        if (0..count).all(|k| fit(figure, end(k), end(k + 1), (slope_error, terms), 0, &mut pieces).is_some())
        {
            return Some(pieces);
        }
        count *= 2;
    }
    None
}

/// Polynomials side by side.
#[derive(Clone, Debug)]
pub(crate) struct Pieces<const TERMS: usize> {
    pub(super) find: Find,
    pub(super) rows: Box<[Row<TERMS>; MOST]>,
    /// The same by terms, where there are few.
    pub(super) few: Option<Box<[[f64; FEW]; TERMS]>>,
    pub(super) end_mm: f64,
}

/// How the piece of a radius is found.
#[derive(Clone, Debug)]
pub(super) enum Find {
    /// By its number: the pieces are equal.
    Even { width_mm: f64, last: f64 },
    /// By the cell in which the radius lies, and a look at the ends from there on.
    Uneven {
        cells_per_mm: f64,
        /// The piece in which each cell begins.
        first: Vec<u16>,
        /// Where each piece begins, and one more that no radius reaches.
        starts_mm: Vec<f64>,
    },
}

/// Added to a small number, it leaves the nearest whole number in the last bits.
const WHOLE: f64 = 6_755_399_441_055_744.0;

/// The numbers, in their last bits, of the equal pieces that hold radii, and how far into these the radii lie. On the
/// end between two pieces either is right.
#[inline(always)]
pub(super) fn even_place<S: Wide>(set: S, r_mm: V<S>, width_mm: f64, last: f64) -> (V<S>, V<S>) {
    let all = |value: f64| V::all(set, value);
    let number = (r_mm.times_plus(all(1.0 / width_mm), all(-0.5)) + all(WHOLE)).least(all(WHOLE + last));
    (number, (all(WHOLE) - number).times_plus(all(width_mm), r_mm))
}

impl<const TERMS: usize> Pieces<TERMS> {
    fn new(pieces: &[Piece], even: bool, end_mm: f64) -> Self {
        let rows: Vec<Row<TERMS>> = pieces.iter().map(|p| std::array::from_fn(|k| p.row[k])).collect();
        if even {
            let width_mm = end_mm / rows.len() as f64;
            // The end itself may round into the piece behind the last one, and is brought back.
            let find = Find::Even { width_mm, last: (rows.len() - 1) as f64 };
            let few = by_terms(&rows);
            return Self { find, rows: filled(rows), few, end_mm };
        }
        let cells_per_mm = CELLS as f64 / end_mm;
        let mut starts_mm: Vec<f64> = pieces.iter().map(|p| p.from_mm).collect();
        let holds = |cell: usize| {
            let begins = cell as f64 / cells_per_mm * (1.0 - 1e-15);
            (starts_mm.partition_point(|start| *start <= begins).max(1) - 1) as u16
        };
        let first = (0..=CELLS).map(holds).collect();
        starts_mm.push(f64::INFINITY);
        let few = by_terms(&rows);
        Self { find: Find::Uneven { cells_per_mm, first, starts_mm }, rows: filled(rows), few, end_mm }
    }

    #[cfg(test)]
    fn even_width_mm(&self) -> Option<f64> {
        match &self.find {
            Find::Even { width_mm, .. } => Some(*width_mm),
            Find::Uneven { .. } => None,
        }
    }

    /// The number of the piece that holds a radius, and how far into it the radius lies.
    pub(super) fn place(&self, r_mm: f64) -> (usize, f64) {
        match &self.find {
            Find::Even { width_mm, last } => {
                let number = (r_mm / width_mm - 0.5).round_ties_even().max(0.0).min(*last);
                (number as usize, r_mm - number * width_mm)
            }
            Find::Uneven { cells_per_mm, first, starts_mm, .. } => {
                let cell = ((r_mm * cells_per_mm) as usize).min(CELLS);
                let mut piece = usize::from(first[cell]);
                while r_mm >= starts_mm[piece + 1] {
                    piece += 1;
                }
                (piece, r_mm - starts_mm[piece])
            }
        }
    }

    fn height_and_slope(&self, r_mm: f64) -> (f64, f64) {
        let (number, t) = self.place(r_mm.min(self.end_mm));
        let row = &self.rows[number];
        row.iter().rev().fold((0.0, 0.0), |(h, s), c| (h * t + c, s * t + h))
    }
}

/// The terms of a few rows, side by side.
fn by_terms<const TERMS: usize>(rows: &[Row<TERMS>]) -> Option<Box<[[f64; FEW]; TERMS]>> {
    (rows.len() <= FEW).then(|| {
        let row = |k: usize| rows[k.min(rows.len() - 1)];
        Box::new(std::array::from_fn(|term| std::array::from_fn(|k| row(k)[term])))
    })
}

/// Rows with empty ones behind them, so that any number within a power of two finds one.
#[allow(clippy::unnecessary_box_returns)] // too large for the stack
fn filled<const TERMS: usize>(mut rows: Vec<Row<TERMS>>) -> Box<[Row<TERMS>; MOST]> {
    rows.resize(MOST, [0.0; TERMS]);
    rows.try_into().unwrap_or_else(|_| unreachable!("filled up to that number"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn largest_difference(table: &Table, figure: impl Fn(f64) -> (f64, f64)) -> (f64, f64) {
        let end = table.end_mm();
        let off = |k: i32| {
            let r = end * (f64::from(k) + 0.31) / 10_000.0;
            let ((h, s), (true_h, true_s)) = (table.height_and_slope(r), figure(r));
            ((h - true_h).abs(), (s - true_s).abs())
        };
        (0..10_000).map(off).fold((0.0, 0.0), |a, b| (a.0.max(b.0), a.1.max(b.1)))
    }

    #[test]
    fn cubics_stay_cubics_and_bells_take_more() {
        // Pieces of the third degree with a kink, as straight pieces over the area have them.
        let kinked = |r: f64| {
            let t = (r - 37.5).max(0.0);
            (
                1e-4 + 1e-8 * r * r - 3e-8 * t * (t + 75.0),
                2e-8 * r - 3e-8 * (2.0 * t + 75.0) * f64::from(t > 0.0),
            )
        };
        let table = Table::new(kinked, &[37.5], 100.0, 3e-17).expect("a table");
        assert!(matches!(&table, Table::Cubic { pieces, .. } if pieces.even_width_mm() == Some(12.5)));
        let (h, s) = largest_difference(&table, kinked);
        assert!(h < 1e-18 && s < 1e-19, "{h:e} {s:e}");
        let bell = |r: f64| {
            let q = (r - 60.0) / 13.0;
            let h = 3e-5 * (-q * q).exp();
            (h, -2.0 * q * h / 13.0)
        };
        let table = Table::new(bell, &[], 159.0, 1e-16).expect("a table");
        assert!(matches!(&table, Table::High { .. }));
        let (h, s) = largest_difference(&table, bell);
        assert!(h < 1e-14 && s < 1.2e-16, "{h:e} {s:e}");
        assert_eq!(table.height_and_slope(1e9), table.height_and_slope(159.0));
    }

    #[test]
    fn steps_lie_between_pieces() {
        // No slope shows them, and none of the equal pieces ends there.
        let step = |r: f64| (if r < 91.3 { 2e-9 * r * r } else { 2e-9 * r * r - 6e-5 }, 4e-9 * r);
        let table = Table::new(step, &[91.3], 100.0, 3e-17).expect("a table");
        let (h, s) = largest_difference(&table, step);
        assert!(h < 1e-18 && s < 1e-19, "{h:e} {s:e}");
        // A narrow ring, far narrower than a piece is looked at.
        let ring = |r: f64| {
            let t = ((r - 60.0) / 0.04).abs();
            if t < 1.0 { (3e-6 * (1.0 - t * t), -6e-6 * (r - 60.0) / 0.0016) } else { (0.0, 0.0) }
        };
        // A radius of 60 mm is rounded by 7e-15 mm, which moves the slope by 3e-17.
        let table = Table::new(ring, &[59.96, 60.04], 100.0, 1e-16).expect("a table");
        let (h, s) = largest_difference(&table, ring);
        assert!(h < 1e-17 && s < 2e-16, "{h:e} {s:e}");
    }

    #[test]
    fn a_root_at_a_break_is_left_alone() {
        let rooted = |r: f64| {
            let t = (r - 50.0_f64).max(0.0);
            (1e-6 * t.powf(1.5), 1.5e-6 * t.sqrt())
        };
        assert!(Table::new(rooted, &[50.0], 100.0, 1e-16).is_none());
    }
}
