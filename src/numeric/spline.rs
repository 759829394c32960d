//! Cubic splines: piecewise cubics through given points with two continuous derivatives.

use thiserror::Error;

/// What a spline does at one of its ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum End {
    /// No curvature at the end.
    Natural,
    /// The given slope at the end.
    Slope(f64),
    /// The last two segments are one cubic. With three points and both ends so, the spline is the
    /// parabola through them; with two points this end takes the slope of the chord.
    NotAKnot,
}

/// Why no spline goes through the given points.
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum SplineError {
    /// The lists of abscissae and ordinates differ in length.
    #[error("{abscissae} abscissae for {ordinates} ordinates")]
    LengthMismatch {
        /// How many abscissae there are.
        abscissae: usize,
        /// How many ordinates there are.
        ordinates: usize,
    },
    /// A spline needs at least two points.
    #[error("a spline needs at least 2 points, {points} given")]
    TooFewPoints {
        /// How many points there are.
        points: usize,
    },
    /// A number is infinite or not a number; an end's slope counts with the point at that end.
    #[error("point {index} or the slope there is not a finite number")]
    NotFinite {
        /// Which point, from 0.
        index: usize,
    },
    /// The abscissae do not rise strictly.
    #[error("abscissa {index} is {value}, not above {previous} before it")]
    NotRising {
        /// Which abscissa, from 0.
        index: usize,
        /// The abscissa.
        value: f64,
        /// The one before.
        previous: f64,
    },
}

/// A cubic spline, ready to be evaluated.
///
/// Units: those of the points given. Outside its knots the spline is held at its end value with
/// slope 0; at the end knots themselves the slope is that of the end segment.
///
/// Source: de Boor, A Practical Guide to Splines, 1978, chapter IV: one linear equation for the
/// slope at each knot, tridiagonal, solved without exchanges of rows, which the sizes of its
/// elements make unnecessary.
///
/// ```
/// use catoptric::numeric::spline::{CubicSpline, End};
/// let x = [0.0, 1.0, 2.0, 4.0];
/// let y = x.map(|x: f64| x * x * x - 2.0 * x);
/// let spline = CubicSpline::new(&x, &y, End::NotAKnot, End::NotAKnot)?;
/// let (value, slope) = spline.value_and_slope(3.0);
/// assert!((value - 21.0).abs() < 1e-12 && (slope - 25.0).abs() < 1e-12);
/// assert_eq!(spline.value_and_slope(5.0), (56.0, 0.0));
/// # Ok::<(), catoptric::numeric::spline::SplineError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct CubicSpline {
    knots: Vec<f64>,
    /// Row k holds the coefficients of 1, t, t^2, t^3 with t = x - knots\[k\].
    segments: Vec<[f64; 4]>,
    last_value: f64,
}

impl CubicSpline {
    /// The cubic spline through the points `(x[k], y[k])`.
    ///
    /// Shapes: lists of one length, at least 2; `x` rises strictly.
    ///
    /// # Errors
    /// [`SplineError`] for lists of different or too small length, numbers that are not finite, and
    /// abscissae that do not rise.
    pub fn new(x: &[f64], y: &[f64], start: End, end: End) -> Result<Self, SplineError> {
        check(x, y, start, end)?;
        let chords = Chords::new(x, y);
        let slopes = chords.knot_slopes(start, end);
        let segments = (0..chords.widths.len())
            .map(|k| {
                let (width, chord) = (chords.widths[k], chords.slopes[k]);
                let excess = (slopes[k] + slopes[k + 1] - 2.0 * chord) / width;
                let second = (chord - slopes[k]) / width - excess;
                [y[k], slopes[k], second, excess / width]
            })
            .collect();
        Ok(Self { knots: x.to_vec(), segments, last_value: y[y.len() - 1] })
    }

    /// The spline's value at `x`; not a number only if `x` is none.
    pub fn value(&self, x: f64) -> f64 {
        self.value_and_slope(x).0
    }

    /// The spline's value and its first derivative at `x`.
    pub fn value_and_slope(&self, x: f64) -> (f64, f64) {
        let last = self.segments.len();
        if x < self.knots[0] {
            return (self.segments[0][0], 0.0);
        }
        if x > self.knots[last] {
            return (self.last_value, 0.0);
        }
        // The segment whose left knot is the last one not above x.
        let above = self.knots[1..last].partition_point(|&knot| knot <= x);
        let [c0, c1, c2, c3] = self.segments[above];
        let t = x - self.knots[above];
        let value = c0 + t * (c1 + t * (c2 + t * c3));
        let slope = c1 + t * (2.0 * c2 + t * 3.0 * c3);
        (value, slope)
    }

    /// The abscissae of the points, rising.
    pub fn knots(&self) -> &[f64] {
        &self.knots
    }
}

fn check(x: &[f64], y: &[f64], start: End, end: End) -> Result<(), SplineError> {
    if x.len() != y.len() {
        return Err(SplineError::LengthMismatch { abscissae: x.len(), ordinates: y.len() });
    }
    if x.len() < 2 {
        return Err(SplineError::TooFewPoints { points: x.len() });
    }
    if let Some(index) = x.iter().zip(y).position(|(x, y)| !(x.is_finite() && y.is_finite())) {
        return Err(SplineError::NotFinite { index });
    }
    for (condition, index) in [(start, 0), (end, x.len() - 1)] {
        if matches!(condition, End::Slope(slope) if !slope.is_finite()) {
            return Err(SplineError::NotFinite { index });
        }
    }
    match x.windows(2).position(|pair| pair[0] >= pair[1]) {
        Some(k) => Err(SplineError::NotRising { index: k + 1, value: x[k + 1], previous: x[k] }),
        None => Ok(()),
    }
}

/// The straight pieces between the points.
struct Chords {
    widths: Vec<f64>,
    slopes: Vec<f64>,
}

/// One equation, `below * s[k-1] + diagonal * s[k] + above * s[k+1] = right`, for the slopes s.
#[derive(Clone, Copy)]
struct Row {
    below: f64,
    diagonal: f64,
    above: f64,
    right: f64,
}

impl Chords {
    fn new(x: &[f64], y: &[f64]) -> Self {
        let widths: Vec<f64> = x.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let rises = y.windows(2).map(|pair| pair[1] - pair[0]);
        let slopes = rises.zip(&widths).map(|(rise, width)| rise / width).collect();
        Self { widths, slopes }
    }

    fn knot_slopes(&self, start: End, end: End) -> Vec<f64> {
        let (h, d) = (&self.widths, &self.slopes);
        if h.len() == 2 && start == End::NotAKnot && end == End::NotAKnot {
            let bend = (d[1] - d[0]) / (h[0] + h[1]);
            return vec![d[0] - bend * h[0], d[0] + bend * h[0], d[1] + bend * h[1]];
        }
        let last = h.len() - 1;
        let mut rows = Vec::with_capacity(h.len() + 1);
        let next = h.get(1).map(|&width| (width, d[1]));
        let [diagonal, above, right] = end_row(start, (h[0], d[0]), next);
        rows.push(Row { below: 0.0, diagonal, above, right });
        for k in 1..h.len() {
            let right = 3.0 * (h[k] * d[k - 1] + h[k - 1] * d[k]);
            rows.push(Row { below: h[k], diagonal: 2.0 * (h[k - 1] + h[k]), above: h[k - 1], right });
        }
        let next = (last > 0).then(|| (h[last - 1], d[last - 1]));
        let [diagonal, below, right] = end_row(end, (h[last], d[last]), next);
        rows.push(Row { below, diagonal, above: 0.0, right });
        solve_tridiagonal(rows)
    }
}

/// The equation at an end: factors of the slope there and of the next one, and the right side.
/// `first` and `next` are the width and slope of the chords, counted from that end.
fn end_row(condition: End, first: (f64, f64), next: Option<(f64, f64)>) -> [f64; 3] {
    let (width, chord) = first;
    match (condition, next) {
        (End::Natural, _) => [2.0, 1.0, 3.0 * chord],
        (End::Slope(slope), _) => [1.0, 0.0, slope],
        (End::NotAKnot, None) => [1.0, 0.0, chord],
        (End::NotAKnot, Some((next_width, next_chord))) => {
            let both = width + next_width;
            let right = (width + 2.0 * both) * next_width * chord + width * width * next_chord;
            [next_width, both, right / both]
        }
    }
}

fn solve_tridiagonal(mut rows: Vec<Row>) -> Vec<f64> {
    for k in 1..rows.len() {
        let before = rows[k - 1];
        let factor = rows[k].below / before.diagonal;
        rows[k].diagonal -= factor * before.above;
        rows[k].right -= factor * before.right;
    }
    let mut solution = vec![0.0; rows.len()];
    let mut after = 0.0;
    for (row, value) in rows.iter().zip(&mut solution).rev() {
        after = (row.right - row.above * after) / row.diagonal;
        *value = after;
    }
    solution
}

#[cfg(test)]
mod tests {
    use super::*;

    const X: [f64; 7] = [0.0, 0.7, 1.5, 1.9, 3.2, 4.0, 5.5];
    const Y: [f64; 7] = [1.0, -0.4, 0.3, 2.2, 1.1, 0.9, -1.7];

    fn assert_runs_through(points: usize, ends: (End, End), golden: &[(f64, f64, f64)]) {
        let spline = CubicSpline::new(&X[..points], &Y[..points], ends.0, ends.1).expect("valid");
        for &(x, value, slope) in golden {
            let (v, s) = spline.value_and_slope(x);
            assert!((v - value).abs() < 1e-14, "{ends:?} at {x}: {v} for {value}");
            assert!((s - slope).abs() < 1e-13, "{ends:?} at {x}: slope {s} for {slope}");
            assert_eq!(spline.value(x).to_bits(), v.to_bits());
        }
    }

    // Values and slopes in the next two tests: scipy 1.17.1, scipy.interpolate.CubicSpline with
    // bc_type "natural" (or a second derivative of 0), "not-a-knot", or a first derivative.

    #[test]
    fn seven_points_agree_with_an_independent_spline() {
        let natural = [
            (0.0, 1.0, -2.329_958_488_260_031),
            (0.35, 0.213_385_896_831_741_75, -2.082_489_622_065_008),
            (1.2, -0.504_835_501_826_352_1, 1.344_099_132_587_407_9),
            (1.9, 2.2, 3.710_902_107_249_248),
            (2.6, 2.372_028_448_604_853, -2.039_486_462_755_357),
            (5.5, -1.7, -2.456_620_024_692_573),
        ];
        assert_runs_through(7, (End::Natural, End::Natural), &natural);
        let not_a_knot = [
            (0.0, 1.0, -1.780_367_610_208_838_4),
            (0.35, 0.274_682_623_408_092_1, -2.182_151_556_586_746_6),
            (1.9, 2.2, 3.729_987_745_295_247),
            (3.9, 0.859_180_104_767_246_5, 0.383_523_544_797_072_6),
            (5.1, 0.105_374_590_658_146_03, -3.066_556_646_770_622),
            (5.5, -1.7, -6.118_837_481_904_366),
        ];
        assert_runs_through(7, (End::NotAKnot, End::NotAKnot), &not_a_knot);
        let slopes = [
            (0.0, 1.0, 0.5),
            (0.35, 0.530_203_453_259_831, -2.592_275_847_829_055),
            (2.6, 2.346_539_100_253_534, -2.037_762_480_997_569_6),
            (5.1, -1.016_115_778_623_098, -2.049_122_319_774_193),
            (5.5, -1.7, -1.25),
        ];
        assert_runs_through(7, (End::Slope(0.5), End::Slope(-1.25)), &slopes);
        let mixed = [
            (0.35, 0.275_990_741_549_862_8, -2.183_289_050_623_068_7),
            (2.6, 2.369_839_986_122_216_6, -2.036_672_034_424_805_5),
            (5.1, -0.738_092_326_878_369, -2.301_965_607_765_493),
        ];
        assert_runs_through(7, (End::NotAKnot, End::Natural), &mixed);
        let natural_then_slope = [
            (0.35, 0.213_510_434_725_882_96, -2.082_371_014_546_778),
            (5.1, -1.015_794_875_423_818_2, -2.050_435_105_589_426_3),
        ];
        assert_runs_through(7, (End::Natural, End::Slope(-1.25)), &natural_then_slope);
    }

    #[test]
    fn few_points_agree_with_an_independent_spline() {
        let free = (End::NotAKnot, End::NotAKnot);
        let one_slope = (End::NotAKnot, End::Slope(0.5));
        assert_runs_through(4, free, &[(0.35, 0.162_523_300_438_596_42, -2.084_621_710_526_315_4)]);
        assert_runs_through(3, free, &[(0.35, 0.065_208_333_333_333_48, -2.0)]);
        assert_runs_through(3, one_slope, &[(0.35, -0.158_822_048_611_111_27, -1.805_190_972_222_222)]);
        assert_runs_through(2, free, &[(0.35, 0.3, -2.0)]);
        assert_runs_through(2, one_slope, &[(0.35, 0.081_25, -2.625)]);
        assert_runs_through(2, (End::Natural, End::Natural), &[(0.35, 0.3, -2.0)]);
    }

    #[test]
    fn the_ends_are_held_outside_the_knots() {
        let spline = CubicSpline::new(&X, &Y, End::NotAKnot, End::Natural).expect("valid");
        assert_eq!(spline.value_and_slope(-1e-9), (1.0, 0.0));
        assert_eq!(spline.value_and_slope(1e9), (-1.7, 0.0));
        assert!(spline.value(f64::NAN).is_nan());
        assert_eq!(spline.knots(), X);
    }

    #[test]
    fn interpolation_of_a_smooth_function_is_of_fourth_order() {
        // de Boor 1978, chapter V: with true end slopes the error falls as the spacing^4.
        let error = |segments: u32| {
            let x: Vec<f64> = (0..=segments).map(|k| f64::from(k) / f64::from(segments)).collect();
            let y: Vec<f64> = x.iter().map(|x| (3.0 * x).sin()).collect();
            let end = End::Slope(3.0 * 3.0_f64.cos());
            let spline = CubicSpline::new(&x, &y, End::Slope(3.0), end).expect("valid");
            let points = (0..=1000).map(|k| f64::from(k) / 1000.0);
            points.map(|x| (spline.value(x) - (3.0 * x).sin()).abs()).fold(0.0, f64::max)
        };
        let order = (error(20) / error(40)).log2();
        assert!((order - 4.0).abs() < 0.1, "{order}");
    }

    #[test]
    fn bad_points_are_refused() {
        let make = |x: &[f64], y: &[f64], end| CubicSpline::new(x, y, End::Natural, end);
        let natural = End::Natural;
        let short = make(&[1.0], &[1.0], natural);
        assert_eq!(short, Err(SplineError::TooFewPoints { points: 1 }));
        let uneven = make(&[1.0, 2.0], &[1.0], natural);
        assert_eq!(uneven, Err(SplineError::LengthMismatch { abscissae: 2, ordinates: 1 }));
        let level = make(&[1.0, 2.0, 2.0], &[0.0; 3], natural);
        assert_eq!(level, Err(SplineError::NotRising { index: 2, value: 2.0, previous: 2.0 }));
        let infinite = make(&[1.0, 2.0], &[0.0, f64::INFINITY], natural);
        assert_eq!(infinite, Err(SplineError::NotFinite { index: 1 }));
        let steep = make(&[1.0, 2.0, 3.0], &[0.0; 3], End::Slope(f64::NAN));
        assert_eq!(steep, Err(SplineError::NotFinite { index: 2 }));
    }
}
