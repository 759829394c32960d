//! All rows of one direction: bands of rows with the same points, whose places are smooth functions of the row.
//!
//! Geometry is solved on some rows of each band and interpolated between them (Chebyshev polynomials in phi, where a row is
//! y = middle + half sin(phi), so that the square root with which a row leaves a round outline is smooth). All frequencies of
//! one azimuth share it.

use std::f64::consts::{FRAC_PI_2, PI};

use super::row::{Label, Row, Turned};

/// Rows solved for each band.
const SOLVED: usize = 24;
/// Even looks for changes between rows.
const LOOKS: usize = 96;
/// Rows closer than this share of the pupil's radius are one.
const SAME: f64 = 1e-12;
/// A band thinner than this share of the radius holds no light.
const THIN: f64 = 1e-9;
/// Interpolated places are good to this share of the radius, or the band is cut in two.
const PLACES: f64 = 1e-8;
/// How often a band is cut in two.
const CUTS: usize = 6;
/// Most bands: beyond, something flickers, and the check of the energy will tell.
const MOST: usize = 1000;
/// Rows kept of each band for a first search of crossings.
pub(super) const SEARCHED: usize = 17;

/// Rows between which nothing comes or goes.
#[derive(Clone, Debug)]
pub(super) struct Band {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) labels: Vec<Label>,
    /// Chebyshev coefficients, point by point.
    coefficients: Vec<f64>,
    /// Places of the points on rows from one end to the other, row by row: y, then the places.
    pub(super) searched: Vec<(f64, Vec<f64>)>,
}

impl Band {
    /// The places of the points on the row at y, ascending.
    pub(super) fn places(&self, y: f64, places: &mut Vec<f64>) {
        let (middle, half) = (f64::midpoint(self.from, self.to), 0.5 * (self.to - self.from));
        let t = ((y - middle) / half).clamp(-1.0, 1.0).asin() / FRAC_PI_2;
        let mut chebyshev = [1.0; SOLVED];
        chebyshev[1] = t;
        for k in 2..SOLVED {
            chebyshev[k] = 2.0 * t * chebyshev[k - 1] - chebyshev[k - 2];
        }
        places.clear();
        for point in self.coefficients.chunks_exact(SOLVED) {
            places.push(point.iter().zip(&chebyshev).map(|(c, t)| c * t).sum());
        }
    }

    /// The place of one point on the row at y.
    pub(super) fn place(&self, point: usize, y: f64) -> f64 {
        let (middle, half) = (f64::midpoint(self.from, self.to), 0.5 * (self.to - self.from));
        let t = ((y - middle) / half).clamp(-1.0, 1.0).asin() / FRAC_PI_2;
        let c = &self.coefficients[point * SOLVED..(point + 1) * SOLVED];
        // Clenshaw's recurrence.
        let (mut b1, mut b2) = (0.0, 0.0);
        for k in (1..SOLVED).rev() {
            (b1, b2) = (2.0 * t * b1 - b2 + c[k], b1);
        }
        t * b1 - b2 + c[0]
    }
}

/// The row at a share of a band, -1 to 1 in phi over a quarter turn.
fn row_at(from: f64, to: f64, t: f64) -> f64 {
    f64::midpoint(from, to) + 0.5 * (to - from) * (FRAC_PI_2 * t).sin()
}

/// All bands of one direction, from the lowest row to the highest.
pub(super) fn bands(turned: &Turned<'_>) -> Vec<Band> {
    let radius = turned.plane.rim.radius;
    let signature = |y: f64| turned.row(y).labels;
    let looks: Vec<(f64, Vec<Label>)> = looks(turned).into_iter().map(|y| (y, signature(y))).collect();
    let mut ends = Vec::new();
    for pair in looks.windows(2) {
        halve(&signature, (pair[0].0, &pair[0].1), (pair[1].0, &pair[1].1), SAME * radius, &mut ends);
    }
    ends.sort_by(f64::total_cmp);
    let mut bands = Vec::new();
    for pair in ends.windows(2) {
        tabulate(turned, pair[0], pair[1], CUTS, &mut bands);
    }
    bands
}

/// Halves an interval until each change of the signature inside it stands alone, to within `same`.
fn halve(
    signature: &impl Fn(f64) -> Vec<Label>,
    (a, at_a): (f64, &[Label]),
    (b, at_b): (f64, &[Label]),
    same: f64,
    found: &mut Vec<f64>,
) {
    if at_a == at_b || found.len() > MOST {
        return;
    }
    let middle = f64::midpoint(a, b);
    if b - a < same {
        found.push(middle);
        return;
    }
    let at_middle = signature(middle);
    halve(signature, (a, at_a), (middle, &at_middle), same, found);
    halve(signature, (middle, &at_middle), (b, at_b), same, found);
}

/// Rows at which changes are looked for: even ones, and one between any two places where a curve lies level or crosses one of
/// five columns, so that a thin strip along the rows is not missed.
fn looks(turned: &Turned<'_>) -> Vec<f64> {
    let radius = turned.plane.rim.radius;
    let reach = turned.reach();
    let column = |share: f64| {
        let mut levels = Vec::new();
        let (mut values, mut before): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
        let step = 2.0 * reach / LOOKS as f64;
        for k in 0..=LOOKS {
            let y = -reach + step * k as f64;
            turned.values(share * radius, y, &mut values);
            for (curve, (a, b)) in before.iter().zip(&values).enumerate() {
                if (*a > 0.0) != (*b > 0.0) {
                    let mut scratch = Vec::new();
                    let at = |y: f64| {
                        turned.values(share * radius, y, &mut scratch);
                        scratch.get(curve).copied().unwrap_or(f64::NAN)
                    };
                    levels.extend(crate::numeric::roots::bracketed(at, y - step, y, 1e-9 * radius));
                }
            }
            before.clone_from(&values);
        }
        levels
    };
    let mut levels: Vec<f64> = [-0.9, -0.5, 0.0, 0.5, 0.9].into_iter().flat_map(column).collect();
    levels.sort_by(f64::total_cmp);
    let between =
        levels.windows(2).filter(|p| p[1] - p[0] > 1e-8 * radius).map(|p| f64::midpoint(p[0], p[1]));
    // Uneven by a hair: corners of symmetric pupils do not fall on a look. Denser toward the ends.
    let even =
        (0..=LOOKS).map(|k| 1.02 * radius * (PI * (k as f64 / LOOKS as f64 - 0.5)).sin() + 1.7e-4 * radius);
    let mut all: Vec<f64> = between.chain(even).collect();
    all.sort_by(f64::total_cmp);
    all
}

/// Adds the band between two rows, in two halves where its points do not come smooth.
fn tabulate(turned: &Turned<'_>, from: f64, to: f64, cuts: usize, bands: &mut Vec<Band>) {
    let radius = turned.plane.rim.radius;
    if to - from < THIN * radius {
        return;
    }
    let nodes = |k: usize| (PI * (k as f64 + 0.5) / SOLVED as f64).cos();
    let rows: Vec<Row> = (0..SOLVED).map(|k| turned.row(row_at(from, to, nodes(k)))).collect();
    let labels = rows[SOLVED / 2].labels.clone();
    let same = rows.iter().all(|row| row.labels == labels);
    if labels.is_empty() && same {
        return;
    }
    let mut coefficients = Vec::with_capacity(labels.len() * SOLVED);
    let mut tail = 0.0_f64;
    if same {
        for point in 0..labels.len() {
            for order in 0..SOLVED {
                let term = |k: usize| {
                    rows[k].at[point] * (PI * order as f64 * (k as f64 + 0.5) / SOLVED as f64).cos()
                };
                let sum: f64 = (0..SOLVED).map(term).sum();
                let coefficient = sum * if order == 0 { 1.0 } else { 2.0 } / SOLVED as f64;
                if order >= SOLVED - 2 {
                    tail = tail.max(coefficient.abs());
                }
                coefficients.push(coefficient);
            }
        }
    }
    // A thin band need not be so good: its error counts by its height.
    let wanted = PLACES * radius * (radius / (to - from)).max(1.0);
    if (!same || tail > wanted) && cuts > 0 {
        let middle = row_at(from, to, 0.0);
        tabulate(turned, from, middle, cuts - 1, bands);
        tabulate(turned, middle, to, cuts - 1, bands);
        return;
    }
    if !same {
        // A sliver beside a corner, a 64th of its band: what it holds shows in the check of the energy.
        return;
    }
    let mut band = Band { from, to, labels, coefficients, searched: Vec::new() };
    for k in 0..SEARCHED {
        let y = row_at(from, to, 2.0 * k as f64 / (SEARCHED - 1) as f64 - 1.0);
        let mut places = Vec::new();
        band.places(y, &mut places);
        band.searched.push((y, places));
    }
    bands.push(band);
}
