//! Zernike circle polynomials and the three ways of numbering them.
//!
//! A term is named by its radial order n and its azimuthal order m, with |m| <= n and n - |m| even;
//! m > 0 goes with cos(m theta), m < 0 with sin(|m| theta), theta from +x toward +y. Terms here
//! have unit RMS over the unit disc (the piston term is 1). They are polynomials, so a radius a
//! little above 1 is as good as any other.

use serde::{Deserialize, Serialize};

/// A way of numbering Zernike terms.
///
/// Sources: Noll 1976, J. Opt. Soc. Am. 66, 207, table I; ANSI Z80.28 (the OSA order); Wyant &
/// Creath 1992, Applied Optics and Optical Engineering XI, table III, whose numbers are one less
/// (from memory).
///
/// ```
/// use catoptric::numeric::zernike::Indexing;
/// assert_eq!(Indexing::Noll.order(11), Some((4, 0)));
/// assert_eq!(Indexing::Osa.order(12), Some((4, 0)));
/// assert_eq!(Indexing::Fringe.order(9), Some((4, 0)));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Indexing {
    /// From 1, by radial order; even numbers are cosines, odd ones sines.
    Noll,
    /// From 0, by radial order and then by rising m.
    Osa,
    /// From 1 to 37, by n + |m|. Number 37 is n = 12, m = 0, as in the usual list of 37 terms; the
    /// rule of the other 36 would put n = 6, m = 6 there, which has no number here. Fringe terms
    /// are not normalised: [`norm`] converts.
    Fringe,
}

/// The number of fringe terms that follow a rule.
const REGULAR_FRINGES: u32 = 36;
/// The one fringe term more, (n, m).
const EXTRA_FRINGE: (u32, i32) = (12, 0);

impl Indexing {
    /// The numbering called `"noll"`, `"osa"` or `"fringe"`; none for any other name.
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "noll" => Some(Self::Noll),
            "osa" => Some(Self::Osa),
            "fringe" => Some(Self::Fringe),
            _ => None,
        }
    }

    /// The numbering's name, in files and elsewhere.
    pub fn name(self) -> &'static str {
        match self {
            Self::Noll => "noll",
            Self::Osa => "osa",
            Self::Fringe => "fringe",
        }
    }

    /// The orders (n, m) of term `j`; none if the numbering has no such term.
    pub fn order(self, j: u32) -> Option<(u32, i32)> {
        match self {
            Self::Noll => j.checked_sub(1).map(|place| {
                let (n, place) = row_and_place(place);
                let size = if n % 2 == 0 { place.div_ceil(2) * 2 } else { place / 2 * 2 + 1 };
                (n, if j.is_multiple_of(2) { size.cast_signed() } else { -size.cast_signed() })
            }),
            Self::Osa => {
                let (n, place) = row_and_place(j);
                Some((n, (2 * place).cast_signed() - n.cast_signed()))
            }
            Self::Fringe if j == REGULAR_FRINGES + 1 => Some(EXTRA_FRINGE),
            Self::Fringe if (1..=REGULAR_FRINGES).contains(&j) => {
                // Group g holds n + |m| = 2 (g - 1) and ends with the square number g^2, m = 0.
                let group = (j - 1).isqrt() + 1;
                let from_end = group * group - j;
                let size = from_end.div_ceil(2);
                let n = 2 * (group - 1) - size;
                Some((n, if from_end.is_multiple_of(2) { size.cast_signed() } else { -size.cast_signed() }))
            }
            Self::Fringe => None,
        }
    }

    /// The number of the term of orders (n, m); none if there is no such term or it has no number.
    pub fn index(self, n: u32, m: i32) -> Option<u32> {
        if !is_term(n, m.unsigned_abs()) {
            return None;
        }
        let (rank, size) = (u64::from(n), u64::from(m.unsigned_abs()));
        let row = rank * (rank + 1) / 2;
        let number = match self {
            Self::Noll if m == 0 => row + 1,
            // The two terms of one |m| stand side by side; the even number is the cosine.
            Self::Noll => row + size + u64::from(((row + size) % 2 == 0) != (m > 0)),
            Self::Osa if m < 0 => row + (rank - size) / 2,
            Self::Osa => row + u64::midpoint(rank, size),
            Self::Fringe if (n, m) == EXTRA_FRINGE => u64::from(REGULAR_FRINGES) + 1,
            Self::Fringe => {
                let group = 1 + u64::midpoint(rank, size);
                let number = group * group - 2 * size + u64::from(m < 0);
                return u32::try_from(number).ok().filter(|&j| j <= REGULAR_FRINGES);
            }
        };
        u32::try_from(number).ok()
    }
}

/// Row and place, both from 0, of item `j` in a triangle whose row n holds n + 1 items.
fn row_and_place(j: u32) -> (u32, u32) {
    let j = u64::from(j);
    let row = ((8 * j + 1).isqrt() - 1) / 2;
    (row as u32, (j - row * (row + 1) / 2) as u32)
}

fn is_term(n: u32, m_abs: u32) -> bool {
    m_abs <= n && (n - m_abs).is_multiple_of(2)
}

/// The radial polynomial, 1 at `rho` = 1; 0 where there is no such polynomial.
///
/// Source: as a Jacobi polynomial, `rho^m P_k^(0,m)(2 rho^2 - 1)` with n = m + 2k (Born & Wolf,
/// Principles of Optics, 7th ed. 1999, appendix VII), by the three-term recurrence of
/// Abramowitz & Stegun 1964, 22.7.1. No cancelling of large terms: to n = 60 the error is below
/// 1e-14 within the disc.
///
/// ```
/// let rho: f64 = 0.6;
/// let spherical = 6.0 * rho.powi(4) - 6.0 * rho.powi(2) + 1.0;
/// assert!((catoptric::numeric::zernike::radial(4, 0, rho) - spherical).abs() < 1e-15);
/// ```
pub fn radial(n: u32, m_abs: u32, rho: f64) -> f64 {
    if !is_term(n, m_abs) {
        return 0.0;
    }
    let m = f64::from(m_abs);
    let x = 2.0 * rho * rho - 1.0;
    let steps = (n - m_abs) / 2;
    let (mut before, mut now) = (1.0, if steps == 0 { 1.0 } else { 0.5 * ((m + 2.0) * x - m) });
    for k in 2..=steps {
        let k = f64::from(k);
        let order = 2.0 * k + m;
        let rise = (order - 1.0) * (order * (order - 2.0) * x - m * m) * now;
        let fall = 2.0 * (k - 1.0) * (k + m - 1.0) * order * before;
        (before, now) = (now, (rise - fall) / (2.0 * k * (k + m) * (order - 2.0)));
    }
    rho.powi(m_abs.cast_signed()) * now
}

/// What a term of unit RMS is, divided by the same term with its radial part 1 at the rim.
///
/// sqrt(n + 1) for m = 0, sqrt(2 (n + 1)) for the others. A fringe coefficient, which belongs to
/// the term that is not normalised, is `norm` times the coefficient of unit RMS.
///
/// ```
/// use catoptric::numeric::zernike::norm;
/// assert_eq!((norm(3, 1), norm(3, -1), norm(8, 0)), (8.0_f64.sqrt(), 8.0_f64.sqrt(), 3.0));
/// ```
pub fn norm(n: u32, m: i32) -> f64 {
    let terms = f64::from(n) + 1.0;
    if m == 0 { terms.sqrt() } else { (2.0 * terms).sqrt() }
}

/// One Zernike term, with unit RMS over the unit disc; 0 where there is no such term.
///
/// Units: `rho` in radii of the disc, `theta` in radians from +x toward +y.
///
/// ```
/// // Defocus, sqrt(3) (2 rho^2 - 1).
/// let rim = catoptric::numeric::zernike::zernike(2, 0, 1.0, 0.3);
/// assert!((rim - 3.0_f64.sqrt()).abs() < 1e-15);
/// ```
pub fn zernike(n: u32, m: i32, rho: f64, theta: f64) -> f64 {
    let m_abs = m.unsigned_abs();
    let turns = f64::from(m_abs) * theta;
    let around = if m < 0 { turns.sin() } else { turns.cos() };
    norm(n, m) * radial(n, m_abs, rho) * around
}

/// How many terms there are up to radial order `n_max`.
///
/// ```
/// assert_eq!(catoptric::numeric::zernike::term_count(4), 15);
/// ```
pub fn term_count(n_max: u32) -> usize {
    let rows = n_max as usize + 1;
    rows * (rows + 1) / 2
}

/// All terms up to radial order `n_max` at a point, with unit RMS, in the OSA order.
///
/// Units: `x` and `y` in radii of the disc. Shapes: `out` is emptied and takes
/// [`term_count`]`(n_max)` values.
///
/// Source: Andersen 2018, Opt. Express 26, 18878 (recurrences in Cartesian coordinates; derived
/// here anew from `R_n^m + R_(n-2)^m = rho (R_(n-1)^|m-1| + R_(n-1)^(m+1))`). No trigonometry.
/// To order 60 the error within the disc is below 1e-13 of the larger of the term and 1.
///
/// ```
/// let mut terms = Vec::new();
/// catoptric::numeric::zernike::all_up_to(2, 0.5, 0.0, &mut terms);
/// assert_eq!(terms.len(), 6);
/// assert_eq!((terms[0], terms[2]), (1.0, 1.0)); // piston, and the tilt 2 x
/// ```
pub fn all_up_to(n_max: u32, x: f64, y: f64, out: &mut Vec<f64>) {
    out.clear();
    out.push(1.0);
    for n in 1..=n_max as usize {
        for k in 0..=n {
            let [along_x, along_y] = neighbours(&out[row_start(n - 1)..], n, k);
            let term = x * along_x + y * along_y - two_rows_up(out, n, k);
            out.push(term);
        }
    }
    normalise(out);
}

/// All terms up to radial order `n_max` at a point, and their derivatives along x and y.
///
/// Units, shapes and source as for [`all_up_to`]; the three lists are filled alike.
///
/// ```
/// let (mut value, mut by_x, mut by_y) = (Vec::new(), Vec::new(), Vec::new());
/// catoptric::numeric::zernike::all_with_slopes(2, 0.5, 0.2, &mut value, &mut by_x, &mut by_y);
/// assert_eq!((by_x[2], by_y[2]), (2.0, 0.0));
/// assert!((by_x[4] - 4.0 * 3.0_f64.sqrt() * 0.5).abs() < 1e-15);
/// ```
pub fn all_with_slopes(
    n_max: u32,
    x: f64,
    y: f64,
    out: &mut Vec<f64>,
    by_x: &mut Vec<f64>,
    by_y: &mut Vec<f64>,
) {
    for (list, first) in [(&mut *out, 1.0), (&mut *by_x, 0.0), (&mut *by_y, 0.0)] {
        list.clear();
        list.push(first);
    }
    for n in 1..=n_max as usize {
        for k in 0..=n {
            let [along_x, along_y] = neighbours(&out[row_start(n - 1)..], n, k);
            let term = x * along_x + y * along_y - two_rows_up(out, n, k);
            out.push(term);
            let slope = n as f64 * along_x + two_rows_up(by_x, n, k);
            by_x.push(slope);
            let slope = n as f64 * along_y + two_rows_up(by_y, n, k);
            by_y.push(slope);
        }
    }
    for list in [out, by_x, by_y] {
        normalise(list);
    }
}

/// The OSA number of the first term of row n, which holds the terms m = -n, -n + 2, ... n.
fn row_start(n: usize) -> usize {
    n * (n + 1) / 2
}

/// What stands beside x and y in the recurrence for place k of row n: sums and differences of the
/// terms of the row before whose |m| is one less and one more. The mirrored place, n - k, has -m.
fn neighbours(before: &[f64], n: usize, k: usize) -> [f64; 2] {
    if k == 0 {
        // For n = 1 the inner neighbour is the sine of m = 0, which is 0.
        return [if n == 1 { 0.0 } else { before[0] }, before[n - 1]];
    }
    if k == n {
        return [before[n - 1], if n == 1 { 0.0 } else { -before[0] }];
    }
    let [inner, outer] = [before[k - 1], before[k]];
    let [mirrored_outer, mirrored_inner] = [before[n - 1 - k], before[n - k]];
    match (2 * k).cast_signed() - n.cast_signed() {
        0 => [2.0 * outer, 2.0 * mirrored_outer],
        1 => [inner + outer, mirrored_outer],
        -1 => [inner, mirrored_outer - mirrored_inner],
        _ => [inner + outer, mirrored_outer - mirrored_inner],
    }
}

/// The term of the same m as place k of row n, two rows before.
fn two_rows_up(terms: &[f64], n: usize, k: usize) -> f64 {
    if k == 0 || k == n { 0.0 } else { terms[row_start(n - 2) + k - 1] }
}

fn normalise(terms: &mut [f64]) {
    let (mut n, mut rest) = (0, terms);
    while !rest.is_empty() {
        let (row, below) = rest.split_at_mut(n as usize + 1);
        let (middle, others) = (norm(n, 0), norm(n, 1));
        for (k, term) in (0..).zip(row) {
            *term *= if 2 * k == n { middle } else { others };
        }
        (n, rest) = (n + 1, below);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::gauss::on_interval;

    #[test]
    fn numbers_agree_with_the_published_lists() {
        // Noll 1976, table I (columns n and m; even j cosine, odd j sine), j = 1 to 15.
        let noll = [
            (0, 0),
            (1, 1),
            (1, -1),
            (2, 0),
            (2, -2),
            (2, 2),
            (3, -1),
            (3, 1),
            (3, -3),
            (3, 3),
            (4, 0),
            (4, 2),
            (4, -2),
            (4, 4),
            (4, -4),
        ];
        // ANSI Z80.28-2004, annex B: j = (n (n + 2) + m) / 2, j = 0 to 9.
        let osa = [(0, 0), (1, -1), (1, 1), (2, -2), (2, 0), (2, 2), (3, -3), (3, -1), (3, 1), (3, 3)];
        // Wyant & Creath 1992, table III (from memory), numbers raised by one, 1 to 16.
        let fringe = [
            (0, 0),
            (1, 1),
            (1, -1),
            (2, 0),
            (2, 2),
            (2, -2),
            (3, 1),
            (3, -1),
            (4, 0),
            (3, 3),
            (3, -3),
            (4, 2),
            (4, -2),
            (5, 1),
            (5, -1),
            (6, 0),
        ];
        let lists = [
            (Indexing::Noll, 1, &noll[..]),
            (Indexing::Osa, 0, &osa[..]),
            (Indexing::Fringe, 1, &fringe[..]),
        ];
        for (indexing, first, list) in lists {
            for (j, &order) in (first..).zip(list) {
                assert_eq!(indexing.order(j), Some(order), "{indexing:?} {j}");
            }
        }
        // The same table: 25, 36 and 37 are the spherical terms of orders 8, 10 and 12.
        assert_eq!(Indexing::Fringe.order(25), Some((8, 0)));
        assert_eq!(Indexing::Fringe.order(36), Some((10, 0)));
        assert_eq!(Indexing::Fringe.order(37), Some((12, 0)));
        assert_eq!((Indexing::Fringe.order(38), Indexing::Fringe.index(6, 6)), (None, None));
    }

    #[test]
    fn every_number_comes_back_from_its_orders() {
        for indexing in [Indexing::Noll, Indexing::Osa, Indexing::Fringe] {
            for j in (0..3000).chain(u32::MAX - 1000..=u32::MAX) {
                if let Some((n, m)) = indexing.order(j) {
                    assert!(is_term(n, m.unsigned_abs()), "{indexing:?} {j}: {n} {m}");
                    assert_eq!(indexing.index(n, m), Some(j), "{indexing:?} {j}: {n} {m}");
                }
            }
            assert_eq!(indexing.order(0).is_some(), indexing == Indexing::Osa);
            assert_eq!(indexing.index(3, 2), None);
            assert_eq!(indexing.index(2, -4), None);
            assert_eq!(indexing.index(u32::MAX, 1), None);
            assert_eq!(indexing.index(u32::MAX - 1, i32::MIN), None);
        }
    }

    #[test]
    fn names_are_those_of_the_files() {
        for name in ["noll", "osa", "fringe"] {
            let indexing = Indexing::from_name(name).expect("known");
            let text = serde_json::to_string(&indexing).expect("plain");
            assert_eq!(text, format!("\"{name}\""));
            assert_eq!(indexing.name(), name);
        }
        assert_eq!(Indexing::from_name("Noll"), None);
    }

    #[test]
    fn radial_parts_agree_with_eighty_digit_arithmetic() {
        // mpmath 1.4.1 at 80 digits, the sum of factorials of Born & Wolf, section 9.2.1, eq. (5).
        let golden = [
            (8, 2, 0.5, -0.171_875),
            (8, 2, 0.83, -0.129_910_103_766_370_4),
            (20, 6, 0.1, -0.001_488_879_840_321_541),
            (20, 6, 0.999, 0.807_889_593_108_688_1),
            (37, 3, 0.1, -0.419_653_516_297_200_78),
            (37, 3, 0.83, -0.177_396_948_423_960_27),
            (60, 0, 0.1, 0.180_566_276_847_172_78),
            (60, 0, 0.5, 0.149_848_814_900_610_79),
            (60, 0, 0.999, -0.154_949_203_267_194_28),
            (60, 2, 0.83, -0.112_280_684_361_130_38),
            (60, 30, 0.1, -2.755_219_957_914_536_2e-19),
            (60, 30, 0.5, -0.183_131_244_181_382_55),
            (60, 58, 0.5, -1.526_556_658_859_590_2e-16),
            (60, 60, 0.83, 1.395_357_665_542_463_3e-5),
            (59, 1, 0.999, -0.135_102_871_953_093_45),
            (20, 0, 1.02, 13.203_719_668_846_862),
            (60, 0, 1.02, 22_224.613_346_518_645),
            (60, 30, 1.02, 5_036.730_312_897_603),
        ];
        for (n, m, rho, value) in golden {
            let error: f64 = radial(n, m, rho) - value;
            assert!(error.abs() < 2e-14 * value.abs().max(1.0), "{n} {m} {rho}: {error:e}");
        }
        // Where the term is tiny, its relative error is small too.
        assert!((radial(60, 30, 0.1) / -2.755_219_957_914_536_2e-19 - 1.0).abs() < 1e-12);
        assert_eq!((radial(4, 1, 0.5), radial(2, 4, 0.5)), (0.0, 0.0));
    }

    #[test]
    fn terms_and_slopes_agree_with_an_independent_evaluation() {
        // galsim 2.8.5, galsim.zernike.Zernike.evalCartesian and evalCartesianGrad: Noll number,
        // x, y, value, derivative along x, along y. The last row's slopes, where galsim is off by
        // 1e-11, and a check of the others: mpmath 1.4.1 at 50 digits.
        let golden = [
            (4, 0.3, -0.4, -0.866_025_403_784_438_4, 2.078_460_969_082_653, -2.771_281_292_110_204),
            (5, 0.3, -0.4, -0.587_877_538_267_962_7, -1.959_591_794_226_542_4, 1.469_693_845_669_906_7),
            (6, 0.3, -0.4, -0.171_464_281_994_822_53, 1.469_693_845_669_906_7, 1.959_591_794_226_542_4),
            (7, 0.3, -0.4, 1.414_213_562_373_094_7, -2.036_467_529_817_256_8, -0.820_243_866_176_398_2),
            (8, 0.3, -0.4, -1.060_660_171_779_821, -2.008_183_258_569_796_5, -2.036_467_529_817_256_8),
            (11, 0.3, -0.4, -0.279_508_497_187_473_84, -4.024_922_359_499_625, 5.366_563_145_999_497),
            (13, 0.3, -0.4, 1.517_893_276_880_821_8, 3.238_172_324_012_416, -1.366_103_949_192_739_6),
            (28, 0.3, -0.4, 0.043_975_699_266_754_13, -0.053_206_368_039_921_05, -0.699_540_265_031_246_6),
            (66, -0.62, 0.51, 0.430_364_959_545_244_8, -6.471_908_946_544_31, 0.570_717_742_343_081_8),
        ];
        let (mut value, mut by_x, mut by_y) = (Vec::new(), Vec::new(), Vec::new());
        for (j, x, y, v, dx, dy) in golden {
            let (n, m) = Indexing::Noll.order(j).expect("a term");
            let k = Indexing::Osa.index(n, m).expect("a term") as usize;
            all_with_slopes(10, x, y, &mut value, &mut by_x, &mut by_y);
            assert!((value[k] - v).abs() < 1e-13, "{j}: {} for {v}", value[k]);
            assert!((by_x[k] - dx).abs() < 1e-12, "{j}: {} for {dx}", by_x[k]);
            assert!((by_y[k] - dy).abs() < 1e-12, "{j}: {} for {dy}", by_y[k]);
            assert!((zernike(n, m, f64::hypot(x, y), f64::atan2(y, x)) - v).abs() < 1e-14);
        }
    }

    #[test]
    fn the_two_ways_of_evaluation_agree_at_high_order() {
        let mut terms = Vec::new();
        let points: [(f64, f64); 4] = [(0.0, 0.0), (0.31, -0.12), (-0.6, 0.799), (0.2, 0.995)];
        for (x, y) in points {
            all_up_to(60, x, y, &mut terms);
            assert_eq!(terms.len(), term_count(60));
            for (j, term) in (0..).zip(&terms) {
                let (n, m) = Indexing::Osa.order(j).expect("a term");
                let twin = zernike(n, m, x.hypot(y), y.atan2(x));
                assert!((term - twin).abs() < 1e-11 * twin.abs().max(1.0), "{n} {m} at {x} {y}");
            }
        }
    }

    #[test]
    fn terms_have_unit_rms_and_are_orthogonal_over_the_disc() {
        let n_max = 8;
        let count = term_count(n_max);
        let mut products = vec![0.0; count * count];
        let mut terms = Vec::new();
        let angles = 20;
        for (rho, weight) in on_interval(10, 0.0, 1.0) {
            for k in 0..angles {
                let theta = std::f64::consts::TAU * f64::from(k) / f64::from(angles);
                all_up_to(n_max, rho * theta.cos(), rho * theta.sin(), &mut terms);
                for (i, a) in terms.iter().enumerate() {
                    for (j, b) in terms.iter().enumerate() {
                        products[i * count + j] += 2.0 * rho * weight * a * b / f64::from(angles);
                    }
                }
            }
        }
        for (k, product) in products.iter().enumerate() {
            let expected = if k / count == k % count { 1.0 } else { 0.0 };
            assert!((product - expected).abs() < 1e-13, "{} {}", k / count, k % count);
        }
    }
}
