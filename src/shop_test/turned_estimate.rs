//! Astigmatism from turned runs: what turns with the mirror, what stays with the stand.

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::evidence::Bounds;
use super::opening::MaskOpening;
use super::turned_runs::TurnedRuns;
use crate::error::{Error, Result};
use crate::numeric::student::{two_sided_chance, two_sided_point};

/// Share that falls outside of an interval, and the chance below which astigmatism counts as seen.
const OUTSIDE: f64 = 0.05;
/// What is left of a column of length 1 when others have taken their part, below which it is theirs.
const DEPENDENT: f64 = 1e-6;
/// Runs beyond the numbers to be found that are wanted where their own scatter is the only noise known.
const SPARE_RUNS: usize = 2;

/// Where astigmatism comes from, as far as the runs can tell.
///
/// ```
/// assert_eq!(catoptric::AstigmatismOrigin::CannotTell.name(), "cannot tell");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AstigmatismOrigin {
    /// Seen in the glass, not in the stand.
    TurnsWithTheMirror,
    /// Seen in the stand, not in the glass.
    StaysWithTheStand,
    /// Seen in both.
    Both,
    /// Everything that these runs can see was looked at, and nothing stands out of the noise.
    NoneSeen,
    /// The runs do not tell glass and stand apart, or see only a part of the glass and nothing in that.
    CannotTell,
}

impl AstigmatismOrigin {
    /// The origin in words.
    ///
    /// ```
    /// assert_eq!(catoptric::AstigmatismOrigin::TurnsWithTheMirror.name(), "turns with the mirror");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::TurnsWithTheMirror => "turns with the mirror",
            Self::StaysWithTheStand => "stays with the stand",
            Self::Both => "both",
            Self::NoneSeen => "none seen",
            Self::CannotTell => "cannot tell",
        }
    }
}

/// Astigmatism of one origin: A (r/a)^2 cos 2(phi - axis).
///
/// Units: nm of wavefront at the rim (PV is twice that, the RMS its sqrt(6)th part); degrees.
///
/// ```
/// use catoptric::{Astigmatism, Bounds};
/// let found = Astigmatism {
///     cosine_nm: Some(60.0), cosine_interval_nm: Some(Bounds { low: 50.0, high: 70.0 }),
///     sine_nm: None, sine_interval_nm: None, reference_deg: 0.0, amplitude_nm: 60.0,
///     amplitude_interval_nm: Bounds { low: 50.0, high: 70.0 }, axis_deg: None, chance_of_none: 0.001,
/// };
/// assert!(!found.is_whole());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Astigmatism {
    /// Part that goes with cos 2(phi - reference), nm; none where the runs do not see it.
    pub cosine_nm: Option<f64>,
    /// Its 95 % interval.
    pub cosine_interval_nm: Option<Bounds>,
    /// Part that goes with sin 2(phi - reference), nm; none where the runs do not see it.
    pub sine_nm: Option<f64>,
    /// Its 95 % interval.
    pub sine_interval_nm: Option<Bounds>,
    /// Where phi is counted from for the two parts: the mask's diameter in the first run, degrees.
    pub reference_deg: f64,
    /// Size of what is seen, nm; with one part missing the whole may be larger.
    pub amplitude_nm: f64,
    /// An interval that holds it at least 95 times in 100: that of all pairs within their common ellipse.
    pub amplitude_interval_nm: Bounds,
    /// Diameter along which the wave is ahead (the glass high at the rim), 0 to 180 degrees; none where a part is missing.
    /// Glass: from the mark on the mirror. Stand: from +x.
    pub axis_deg: Option<f64>,
    /// Chance that noise alone shows so much or more where there is none (F test; with known noise the chi-square test).
    pub chance_of_none: f64,
}

impl Astigmatism {
    /// Whether both parts are seen.
    ///
    /// Example: see [`Astigmatism`].
    pub fn is_whole(&self) -> bool {
        self.cosine_nm.is_some() && self.sine_nm.is_some()
    }

    fn is_seen(&self) -> bool {
        self.chance_of_none < OUTSIDE
    }
}

/// Astigmatism of the glass and of the stand, from runs with the mirror turned.
///
/// Every run's shift, the mean of its readings weighted with r^2 (a reading's noise goes with 1/r), is fitted by
/// least squares with the common focus and those parts of glass and stand that the angles hold apart.
///
/// Noise of a shift: with `reseating_sigma_mm` given, that and the readings' own scatter within the runs; else the scatter of
/// the shifts about the fit, which needs two runs more than numbers to be found. Intervals are Student's.
///
/// Units: nm of wavefront at the rim, mm, degrees.
/// Source: the shift -k R^2 A/a^2 cos 2(phi - phi0) follows from the slope formula h' = -r d/(k R^2); Seber & Lee 2003, Linear Regression
/// Analysis, 4.3 (F test; from memory).
/// Leaves out: terms of the order (r/R)^2 in the slope formula, 0.4 % at the rim at f/4; see also [`TurnedRuns`].
/// Errors: those of [`TurnedRuns::estimate`], which makes it. Example: see [`TurnedRuns`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AstigmatismEstimate {
    /// The runs behind it.
    pub runs: TurnedRuns,
    /// What turns with the mirror; none where the angles do not show it apart.
    pub glass: Option<Astigmatism>,
    /// What stays with the stand; none where the angles do not show it apart.
    pub stand: Option<Astigmatism>,
    /// The sum of both, where the mirror was never turned, so that nothing holds them apart; its axis from +x.
    pub together: Option<Astigmatism>,
    /// Standard deviation of one run's shift, mm.
    pub shift_sigma_mm: f64,
    /// Degrees of freedom behind it; none where it is known.
    pub freedom: Option<f64>,
    /// Where it comes from.
    pub origin: AstigmatismOrigin,
    /// What all this means, in one sentence.
    pub words: String,
}

impl AstigmatismEstimate {
    pub(super) fn of(runs: &TurnedRuns) -> Result<Self> {
        let shifts = Shifts::of(runs);
        let design = Design::of(runs);
        let fit = Fit::of(runs, &design, &shifts)?;
        let first = &runs.input().runs[0];
        let glass = fit.astigmatism([1, 2], first.mask_angle_deg - first.mirror_angle_deg);
        let stand = fit.astigmatism([3, 4], first.mask_angle_deg);
        let together =
            if design.mirror_stood_still { fit.summed([1, 2], first.mask_angle_deg) } else { None };
        let origin = origin(glass.as_ref(), stand.as_ref());
        Ok(Self {
            words: words(origin, glass.as_ref(), stand.as_ref(), together.as_ref()),
            runs: runs.clone(),
            glass,
            stand,
            together,
            shift_sigma_mm: fit.sigma_mm,
            freedom: fit.freedom.is_finite().then_some(fit.freedom),
            origin,
        })
    }
}

/// The shift of every run, and the scatter of the readings about them.
struct Shifts {
    shift_mm: Vec<f64>,
    /// Variance of a shift from the readings' scatter, mm^2, and its degrees of freedom (0: one opening, nothing known).
    variance_mm2: f64,
    freedom: f64,
}

impl Shifts {
    fn of(runs: &TurnedRuns) -> Self {
        let input = runs.input();
        let weights: Vec<f64> = input.openings.iter().map(MaskOpening::mean_square_mm2).collect();
        let whole: f64 = weights.iter().sum();
        let shift = |readings: &[f64]| readings.iter().zip(&weights).map(|(y, w)| y * w).sum::<f64>() / whole;
        let shift_mm: Vec<f64> = input.runs.iter().map(|run| shift(&run.readings_mm)).collect();
        let count = input.runs.len() as f64;
        let mut scatter = 0.0;
        for (i, weight) in weights.iter().enumerate() {
            let off: Vec<f64> =
                input.runs.iter().zip(&shift_mm).map(|(run, s)| run.readings_mm[i] - s).collect();
            let mean = off.iter().sum::<f64>() / count;
            scatter += weight * off.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        }
        let freedom = (count - 1.0) * (weights.len() as f64 - 1.0);
        let variance_mm2 = if freedom > 0.0 { scatter / freedom / whole } else { 0.0 };
        Self { shift_mm, variance_mm2, freedom }
    }
}

/// The columns: common focus, cosine and sine of the glass, cosine and sine of the stand.
struct Design {
    columns: Vec<Vec<f64>>,
    /// Columns that no others can stand in for.
    apart: [bool; 5],
    /// Columns that are fitted: a set as large as the angles allow, without dependence.
    fitted: Vec<usize>,
    /// Whether glass and stand have the same columns.
    mirror_stood_still: bool,
}

impl Design {
    fn of(runs: &TurnedRuns) -> Self {
        let list = &runs.input().runs;
        let scale = runs.shift_mm_for_nm();
        let first = &list[0];
        let mut columns: Vec<Vec<f64>> = vec![vec![1.0; list.len()]; 5];
        for (k, run) in list.iter().enumerate() {
            let stand = 2.0 * (run.mask_angle_deg - first.mask_angle_deg).to_radians();
            let turned = 2.0 * (run.mirror_angle_deg - first.mirror_angle_deg).to_radians();
            let (sin, cos) = (stand - turned).sin_cos();
            (columns[1][k], columns[2][k]) = (scale * cos, scale * sin);
            (columns[3][k], columns[4][k]) = (scale * stand.cos(), scale * stand.sin());
        }
        // Lengths are judged in turns, not in mm.
        let plain: Vec<Vec<f64>> = columns
            .iter()
            .enumerate()
            .map(|(c, column)| column.iter().map(|v| if c == 0 { *v } else { v / scale }).collect())
            .collect();
        let others = |c: usize| -> Vec<&Vec<f64>> { (0..5).filter(|&k| k != c).map(|k| &plain[k]).collect() };
        let apart = std::array::from_fn(|c| is_independent(&plain[c], &others(c)));
        let mut fitted: Vec<usize> = Vec::new();
        // Those that stand apart first, so that none of them is left out for one that does not.
        for c in (0..5).filter(|&c| apart[c]).chain((0..5).filter(|&c| !apart[c])) {
            let before: Vec<&Vec<f64>> = fitted.iter().map(|&k| &plain[k]).collect();
            if is_independent(&plain[c], &before) {
                fitted.push(c);
            }
        }
        let mirror_stood_still = plain[1] == plain[3] && plain[2] == plain[4];
        Self { columns, apart, fitted, mirror_stood_still }
    }
}

/// Whether a column is more than a sum of multiples of others (Gram-Schmidt, twice for its rounding).
fn is_independent(column: &[f64], others: &[&Vec<f64>]) -> bool {
    let length = |v: &[f64]| v.iter().map(|x| x * x).sum::<f64>().sqrt();
    let without = |column: &[f64], basis: &[Vec<f64>]| {
        let mut rest = column.to_vec();
        for unit in basis.iter().chain(basis) {
            let share: f64 = rest.iter().zip(unit).map(|(a, b)| a * b).sum();
            rest.iter_mut().zip(unit).for_each(|(a, b)| *a -= share * b);
        }
        rest
    };
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for other in others {
        let rest = without(other, &basis);
        let size = length(&rest);
        if size > DEPENDENT {
            basis.push(rest.iter().map(|v| v / size).collect());
        }
    }
    length(&without(column, &basis)) > DEPENDENT
}

/// A value and its place in the covariance.
type Found = Option<(usize, f64)>;

/// The least-squares fit and its covariance.
struct Fit {
    /// For the columns that were fitted.
    fitted: [Found; 5],
    /// For those of them that stand apart.
    apart: [Found; 5],
    covariance: DMatrix<f64>,
    sigma_mm: f64,
    freedom: f64,
}

impl Fit {
    fn of(runs: &TurnedRuns, design: &Design, shifts: &Shifts) -> Result<Self> {
        let count = shifts.shift_mm.len();
        let unknowns = design.fitted.len();
        let matrix = DMatrix::from_fn(count, unknowns, |i, j| design.columns[design.fitted[j]][i]);
        let values = DVector::from_column_slice(&shifts.shift_mm);
        let broken =
            || Error::NotConverged { what: "the fit of turned runs", reached: 0.0, wanted: DEPENDENT };
        // Columns of one length, else mm beside mm for one nm spoil the decomposition.
        let lengths: Vec<f64> = matrix.column_iter().map(|c| c.norm()).collect();
        let scaled = DMatrix::from_fn(count, unknowns, |i, j| matrix[(i, j)] / lengths[j]);
        let inverse = (scaled.transpose() * &scaled).try_inverse().ok_or_else(broken)?;
        let shares = &inverse * scaled.transpose() * &values;
        let residual = (&values - &scaled * &shares).norm_squared();
        let (variance, freedom) = noise(runs, shifts, residual, count - unknowns)?;
        let covariance = DMatrix::from_fn(unknowns, unknowns, |i, j| {
            variance * inverse[(i, j)] / (lengths[i] * lengths[j])
        });
        let fitted: [Found; 5] = std::array::from_fn(|c| {
            let place = design.fitted.iter().position(|&k| k == c)?;
            Some((place, shares[place] / lengths[place]))
        });
        let apart = std::array::from_fn(|c| fitted[c].filter(|_| design.apart[c]));
        Ok(Self { fitted, apart, covariance, sigma_mm: variance.sqrt(), freedom })
    }

    /// What the columns of a cosine and a sine say, seen from a reference direction.
    fn astigmatism(&self, [c, s]: [usize; 2], reference_deg: f64) -> Option<Astigmatism> {
        self.pair(self.apart[c], self.apart[s], reference_deg)
    }

    /// The same for columns that stand for both origins at once.
    fn summed(&self, [c, s]: [usize; 2], reference_deg: f64) -> Option<Astigmatism> {
        self.pair(self.fitted[c], self.fitted[s], reference_deg)
    }

    fn pair(&self, cosine: Found, sine: Found, reference_deg: f64) -> Option<Astigmatism> {
        let parts: Vec<(usize, f64)> = [cosine, sine].into_iter().flatten().collect();
        if parts.is_empty() {
            return None;
        }
        let point = two_sided_point(OUTSIDE, self.freedom)?;
        let around = |(place, value): (usize, f64)| {
            let half = point * self.covariance[(place, place)].sqrt();
            Bounds { low: value - half, high: value + half }
        };
        let amplitude_nm = parts.iter().map(|(_, v)| v * v).sum::<f64>().sqrt();
        let (reach, chance_of_none) = match parts[..] {
            [(i, a), (j, b)] => {
                let [p, q, r] = [(i, i), (i, j), (j, j)].map(|place| self.covariance[place]);
                let f = 0.5 * (a * a * r - 2.0 * a * b * q + b * b * p) / (p * r - q * q);
                let widest = f64::midpoint(p, r) + (0.25 * (p - r).powi(2) + q * q).sqrt();
                ((2.0 * pair_point(self.freedom) * widest).sqrt(), pair_chance(f, self.freedom))
            }
            [(i, a)] => {
                let sigma = self.covariance[(i, i)].sqrt();
                (point * sigma, two_sided_chance(a / sigma, self.freedom).unwrap_or(0.0))
            }
            _ => return None,
        };
        let axis_deg = cosine.zip(sine).map(|((_, cosine), (_, sine))| {
            (reference_deg + 0.5 * sine.atan2(cosine).to_degrees()).rem_euclid(180.0)
        });
        Some(Astigmatism {
            cosine_nm: cosine.map(|(_, v)| v),
            cosine_interval_nm: cosine.map(around),
            sine_nm: sine.map(|(_, v)| v),
            sine_interval_nm: sine.map(around),
            reference_deg: reference_deg.rem_euclid(180.0),
            amplitude_nm,
            amplitude_interval_nm: Bounds {
                low: (amplitude_nm - reach).max(0.0),
                high: amplitude_nm + reach,
            },
            axis_deg,
            chance_of_none,
        })
    }
}

/// Variance of a run's shift and its degrees of freedom.
fn noise(runs: &TurnedRuns, shifts: &Shifts, residual: f64, spare: usize) -> Result<(f64, f64)> {
    let known = runs.input().reseating_sigma_mm;
    let (variance, freedom) = if let Some(reseating) = known {
        let variance = shifts.variance_mm2 + reseating * reseating;
        if shifts.freedom == 0.0 && reseating == 0.0 {
            let cause = "one opening and an exact return leave nothing to tell the noise from";
            return Err(Error::input("reseating_sigma_mm", reseating, "above 0 for one opening", cause));
        }
        // Satterthwaite 1946: the part that is known does not scatter.
        let estimated = shifts.variance_mm2;
        let freedom =
            if estimated > 0.0 { shifts.freedom * (variance / estimated).powi(2) } else { f64::INFINITY };
        (variance, freedom)
    } else if spare >= SPARE_RUNS {
        (residual / spare as f64, spare as f64)
    } else {
        let allowed = format!("a standard deviation in mm, or {} more runs", SPARE_RUNS - spare);
        let cause =
            "how well the focus comes back when the mirror is set down again cannot be told from so few runs";
        return Err(Error::input("reseating_sigma_mm", "nothing", allowed, cause));
    };
    if variance <= 0.0 {
        let cause = "readings typed in twice? give reseating_sigma_mm if they truly repeat";
        return Err(Error::input("runs", "no scatter at all", "runs that were read independently", cause));
    }
    Ok((variance, freedom))
}

/// Chance that F of 2 and `freedom` degrees of freedom is at least `f`: closed form.
fn pair_chance(f: f64, freedom: f64) -> f64 {
    if freedom.is_infinite() {
        libm::exp(-f)
    } else {
        libm::exp(-0.5 * freedom * libm::log1p(2.0 * f / freedom))
    }
}

/// The F of 2 and `freedom` degrees of freedom that 5 % exceed.
fn pair_point(freedom: f64) -> f64 {
    let log = -libm::log(OUTSIDE);
    if freedom.is_infinite() { log } else { 0.5 * freedom * libm::expm1(2.0 * log / freedom) }
}

fn origin(glass: Option<&Astigmatism>, stand: Option<&Astigmatism>) -> AstigmatismOrigin {
    let seen = |a: Option<&Astigmatism>| a.is_some_and(Astigmatism::is_seen);
    match (seen(glass), seen(stand)) {
        (true, true) => AstigmatismOrigin::Both,
        (true, false) => AstigmatismOrigin::TurnsWithTheMirror,
        (false, true) => AstigmatismOrigin::StaysWithTheStand,
        (false, false) if glass.is_some_and(Astigmatism::is_whole) => AstigmatismOrigin::NoneSeen,
        (false, false) => AstigmatismOrigin::CannotTell,
    }
}

fn words(
    origin: AstigmatismOrigin,
    glass: Option<&Astigmatism>,
    stand: Option<&Astigmatism>,
    together: Option<&Astigmatism>,
) -> String {
    let size = |a: Option<&Astigmatism>| {
        a.map_or(String::new(), |a| {
            let Bounds { low, high } = a.amplitude_interval_nm;
            let part = if a.is_whole() { "" } else { " in the one direction that these runs see" };
            format!("{:.0} nm of wavefront at the rim ({low:.0} to {high:.0}){part}", a.amplitude_nm)
        })
    };
    let mut text = match origin {
        AstigmatismOrigin::TurnsWithTheMirror => {
            format!(
                "This means that astigmatism of {} turns with the mirror: it is in the glass",
                size(glass)
            )
        }
        AstigmatismOrigin::StaysWithTheStand => format!(
            "This means that astigmatism of {} stays with the stand: look at the support and the test before the glass",
            size(stand)
        ),
        AstigmatismOrigin::Both => format!(
            "This means astigmatism of {} in the glass and of {} in the stand or the test",
            size(glass),
            size(stand)
        ),
        AstigmatismOrigin::NoneSeen => format!(
            "This means that no astigmatism of the glass stands out of the noise; it may be up to {:.0} nm of wavefront at the rim",
            glass.map_or(0.0, |a| a.amplitude_interval_nm.high)
        ),
        AstigmatismOrigin::CannotTell if glass.is_some() => format!(
            "This means that these runs cannot tell: they see the glass in one direction only, {}; turn the mirror by 45 degrees \
             as well",
            size(glass)
        ),
        AstigmatismOrigin::CannotTell if together.is_some_and(Astigmatism::is_seen) => format!(
            "This means that astigmatism of {} is there, but these runs cannot tell glass from stand: turn the mirror with the \
             mask where it is",
            size(together)
        ),
        AstigmatismOrigin::CannotTell => {
            "This means that these runs cannot tell glass from stand: turn the mirror to 0, 45, 90 and \
             135 degrees with the mask where it is"
                .to_owned()
        }
    };
    if origin == AstigmatismOrigin::TurnsWithTheMirror && stand.is_none() {
        text += "; of the stand these runs say nothing";
    }
    text + "."
}
