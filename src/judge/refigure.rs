//! Was a refigure worth it: two sets of readings of one mirror, compared.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::evidence::Evidence;
use super::words;
use super::worth::{Worth, differences};
use crate::error::{Error, Result};
use crate::shop_test::{
    Contribution, FigureEstimate, Interval, Measured, NextMeasurement, PairedDraws, Quadratic, Settling,
    WELL_MEASURED_MM, contributions, next_measurements, paired_draws, settling,
};

/// Below this Strehl on both sides the RMS of the wavefront is compared: common practice, no source.
const LEAST_STREHL: f64 = 0.2;
/// A gain that lies within this of nothing cannot be seen, however sure it is: common practice, no source.
const LEAST_GAIN: f64 = 0.002;

/// What can be said of a refigure.
///
/// Limits: better above a probability of 0.95, worse below 0.05, "probably" beyond 0.8 and 0.2, and
/// "cannot tell" between. Common practice, no source.
///
/// ```
/// assert_eq!(catoptric::Judgement::of(0.5), catoptric::Judgement::CannotTell);
/// assert_eq!(catoptric::Judgement::of(0.99).to_string(), "better");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Judgement {
    /// Better, with a probability above 0.95.
    Better,
    /// Better, with a probability from 0.8 to 0.95.
    ProbablyBetter,
    /// The readings cannot tell.
    CannotTell,
    /// Better with a probability from 0.05 to 0.2 only.
    ProbablyWorse,
    /// Better with a probability below 0.05 only.
    Worse,
}

impl Judgement {
    /// The judgement that a probability of "better" allows.
    ///
    /// ```
    /// assert_eq!(catoptric::Judgement::of(0.01), catoptric::Judgement::Worse);
    /// ```
    pub fn of(probability_better: f64) -> Self {
        match probability_better {
            p if p > 0.95 => Self::Better,
            p if p >= 0.8 => Self::ProbablyBetter,
            p if p > 0.2 => Self::CannotTell,
            p if p >= 0.05 => Self::ProbablyWorse,
            _ => Self::Worse,
        }
    }
}

impl fmt::Display for Judgement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Better => "better",
            Self::ProbablyBetter => "probably better",
            Self::CannotTell => "cannot tell",
            Self::ProbablyWorse => "probably worse",
            Self::Worse => "worse",
        })
    }
}

/// The judgement of a refigure, with its probability and its reasons.
///
/// Units: Strehl at the brightest focus, RMS and PV of the wavefront in nm.
/// Leaves out: what is not rotationally symmetric; see the reasons.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource, judge_refigure};
/// let read = |run: [f64; 4]| KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![run.to_vec(); 4],
/// )?.reduce(Default::default());
/// let (before, after) = (read([0.5, 1.125, 2.0, 2.82])?, read([0.3333, 0.75, 1.3333, 1.8802])?);
/// let verdict = judge_refigure(&before, &after)?;
/// assert!(verdict.probability_better > 0.99 && verdict.strehl_gain.total.low > 0.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Compared", into = "Compared")]
pub struct Verdict {
    /// Share of paired draws in which the later figure has the greater Strehl (the lesser RMS, where both Strehls are below
    /// 0.2); what the readings cannot see is in it.
    pub probability_better: f64,
    /// What that allows to say.
    pub judgement: Judgement,
    /// Gain in Strehl at the brightest focus, with both intervals.
    pub strehl_gain: Measured,
    /// Paired repeats of that gain from reading noise alone.
    pub strehl_gain_draws: Vec<f64>,
    /// Strehl before, of every paired draw behind the probability.
    pub strehl_before_total_draws: Vec<f64>,
    /// Strehl after, of every paired draw behind the probability.
    pub strehl_after_total_draws: Vec<f64>,
    /// What is known of the figure before.
    pub before: Evidence,
    /// What is known of the figure after.
    pub after: Evidence,
    /// What readings on both sides allow to say beyond that.
    pub details: Option<ReadingDetails>,
    /// The verdict in one sentence.
    pub words: String,
    /// What it rests on, and what it leaves out.
    pub reasons: Vec<String>,
    /// Cautions for whoever handles the mirror.
    pub cautions: Vec<String>,
}

/// What a verdict is written down as: the evidence. All else follows from it, bit for bit, and is judged anew when read
/// back, so that no altered file can contradict itself.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Compared {
    before: Evidence,
    after: Evidence,
}

impl TryFrom<Compared> for Verdict {
    type Error = Error;

    fn try_from(compared: Compared) -> Result<Self> {
        judge_refigure(&compared.before, &compared.after)
    }
}

impl From<Verdict> for Compared {
    fn from(verdict: Verdict) -> Self {
        Self { before: verdict.before, after: verdict.after }
    }
}

/// What can be said of a gain where both figures come from readings.
///
/// ```
/// # use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource, judge_refigure};
/// # let read = |run: [f64; 4]| KnifeEdgeReadings::at_radii(
/// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
/// #     &[40.0, 60.0, 80.0, 95.0], vec![run.to_vec(); 4],
/// # )?.reduce(Default::default());
/// let verdict = judge_refigure(&read([0.5, 1.125, 2.0, 2.82])?, &read([0.3333, 0.75, 1.3333, 1.8802])?)?;
/// let details = verdict.details.expect("readings on both sides");
/// assert!((details.contributions.iter().map(|c| c.share).sum::<f64>() - 1.0).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReadingDetails {
    /// What the gain is worth at the eyepiece.
    pub worth: Worth,
    /// Where the doubt of the gain comes from, the largest share first.
    pub contributions: Vec<Contribution>,
    /// What more runs of the same readings could do.
    pub settling: Settling,
}

impl Verdict {
    /// The probability of "better" in words that never claim more than the draws can show.
    ///
    /// ```
    /// # use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource, judge_refigure};
    /// # let read = |run: [f64; 4]| KnifeEdgeReadings::at_radii(
    /// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    /// #     &[40.0, 60.0, 80.0, 95.0], vec![run.to_vec(); 4],
    /// # )?.reduce(Default::default());
    /// let verdict = judge_refigure(&read([0.5, 1.125, 2.0, 2.82])?, &read([0.3333, 0.75, 1.3333, 1.8802])?)?;
    /// // All of 2000 draws agree; with a true share of 99.85 % that still happens once in twenty times.
    /// assert_eq!(verdict.chance_better(), "more than 99.8 %");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn chance_better(&self) -> String {
        words::percent(self.probability_better, self.strehl_after_total_draws.len().max(1))
    }

    /// What could be measured next on the mirror as it is after the work, and how much narrower it would make the total
    /// interval of the gain: the most useful first.
    ///
    /// Errors: those of [`judge_refigure`]. Leaves out: see [`NextMeasurement`].
    ///
    /// ```
    /// # use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource, judge_refigure};
    /// # let read = |run: [f64; 4]| KnifeEdgeReadings::at_radii(
    /// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    /// #     &[40.0, 60.0, 80.0, 95.0], vec![run.to_vec(); 4],
    /// # )?.reduce(Default::default());
    /// let verdict = judge_refigure(&read([0.5, 1.125, 2.0, 2.82])?, &read([0.3333, 0.75, 1.3333, 1.8802])?)?;
    /// let next = verdict.next_measurements()?;
    /// assert!(next.len() > 2 && next[0].effective_draws > 0.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn next_measurements(&self) -> Result<Vec<NextMeasurement>> {
        let (Some(before), Some(after)) = (self.before.readings(), self.after.readings()) else {
            let allowed = "readings before and after";
            let cause = "numbers on paper leave nothing to draw figures from: read the mirror through a mask";
            return Err(Error::input("evidence", self.before.name(), allowed, cause));
        };
        let draw = |radius_sigma_mm: Option<f64>| {
            let with = |figure: &FigureEstimate| {
                let mut figure = figure.clone();
                figure.options = figure.options.for_advice();
                if let Some(sigma) = radius_sigma_mm {
                    figure.options.radius_sigma_mm = Some(figure.options.radius_sigma_mm().min(sigma));
                }
                figure
            };
            paired_draws(&with(before), &with(after))
        };
        let pairs = draw(None)?;
        let measured = if after.options.radius_sigma_mm() > WELL_MEASURED_MM {
            Some(Interval::of(&gains(&draw(Some(WELL_MEASURED_MM))?)))
        } else {
            None
        };
        Ok(next_measurements(&pairs.analyses[1], &pairs.after.figures, &gains(&pairs), measured))
    }
}

/// Compares two figures of one mirror, before and after work on it.
///
/// Each is an estimate from readings, what a test sheet means, or what a report of coefficients means.
/// Errors: [`Error::Input`] where the two are not of one mirror (clear aperture or radius of curvature differ by more than
/// 1 %), or stand for different obstructions, wavelengths, or numbers of repeats.
/// Method: with readings on both sides figures that the readings allow are drawn for both side by side. Readings through the same openings are
/// taken to be read through one mask, whose radii are wrong by the same in both; noise and unseen edges are
/// independent, for a refigure works the edge. Evidence on paper is drawn within its range, independent of the other.
/// Where both Strehls are below 0.2 the RMS is compared instead, and the words say so; a gain that lies within 0.002 of nothing
/// is none that can be told.
/// Leaves out: what is not rotationally symmetric; scatter of a zone that comes back in every run of one bench.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource, judge_refigure};
/// let read = |aperture: f64| KnifeEdgeReadings::at_radii(
///     aperture, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
/// )?.reduce(Default::default());
/// assert!(judge_refigure(&read(200.0)?, &read(250.0)?).is_err());
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn judge_refigure(before: impl Into<Evidence>, after: impl Into<Evidence>) -> Result<Verdict> {
    let (before, after) = (before.into(), after.into());
    check_pair(&before, &after)?;
    let (first, second) = (before.draws(1)?, after.draws(2)?);
    let noise_gains = differences(&first.noise, &second.noise);
    let pairs = match (before.readings(), after.readings()) {
        (Some(first), Some(second)) => Some(paired_draws(first, second)?),
        _ => None,
    };
    let (strehl, rms_nm) = if let Some(pairs) = &pairs {
        let (first, second) = (&pairs.before.draws, &pairs.after.draws);
        ([first.strehl.clone(), second.strehl.clone()], [first.rms_nm.clone(), second.rms_nm.clone()])
    } else {
        let count = first.strehl.len().min(second.strehl.len());
        let cut = |list: &[f64]| list[..count].to_vec();
        ([cut(&first.strehl), cut(&second.strehl)], [cut(&first.rms_nm), cut(&second.rms_nm)])
    };
    let total_gains = differences(&strehl[0], &strehl[1]);
    // So far from finished the Strehl is a few hundredths of chance light: the RMS says which is nearer.
    let by_rms = before.strehl().value < LEAST_STREHL && after.strehl().value < LEAST_STREHL;
    let compared = if by_rms { differences(&rms_nm[1], &rms_nm[0]) } else { total_gains.clone() };
    let better = compared.iter().filter(|g| **g > 0.0).count() as f64;
    let level = compared.iter().filter(|g| **g == 0.0).count() as f64;
    let probability_better = (better + 0.5 * level) / compared.len() as f64;
    let gain = Measured {
        value: after.strehl().value - before.strehl().value,
        noise: Interval::of(&noise_gains),
        total: Interval::of(&total_gains),
    };
    let too_small = !by_rms && gain.total.low.abs().max(gain.total.high.abs()) < LEAST_GAIN;
    let judgement = if too_small { Judgement::CannotTell } else { Judgement::of(probability_better) };
    let decided = judgement == Judgement::Better || judgement == Judgement::Worse;
    let details = pairs.as_ref().map(|pairs| {
        let mut details = details(pairs, &total_gains);
        if decided {
            details.settling.further_runs = Some(0);
        }
        details
    });
    let mut reasons = words::reasons(&before, &after, &gain, by_rms);
    if let (Some(pairs), Some(details)) = (&pairs, &details) {
        reasons.extend([words::radii(pairs), details.worth.words(), words::doubt(&details.contributions)]);
        if !decided {
            reasons.push(details.settling.words());
        }
    }
    let share = words::percent(probability_better, compared.len());
    let words = words::verdict(judgement, &share, [&before, &after], by_rms, too_small);
    let [before_draws, after_draws] = strehl;
    Ok(Verdict {
        probability_better,
        judgement,
        strehl_gain: gain,
        strehl_gain_draws: noise_gains,
        strehl_before_total_draws: before_draws,
        strehl_after_total_draws: after_draws,
        words,
        reasons,
        cautions: words::cautions(),
        details,
        before,
        after,
    })
}

fn details(pairs: &PairedDraws, gains: &[f64]) -> ReadingDetails {
    let explained = Quadratic::fit(&pairs.noise_free_contrasts(), gains)
        .unwrap_or_else(|| unreachable!("a hundred draws of two openings or more"));
    ReadingDetails {
        worth: Worth::of(pairs),
        contributions: contributions(pairs, &explained),
        settling: settling(pairs, gains),
    }
}

/// Gain in Strehl of each pair.
fn gains(pairs: &PairedDraws) -> Vec<f64> {
    differences(&pairs.before.draws.strehl, &pairs.after.draws.strehl)
}

fn check_pair(before: &Evidence, after: &Evidence) -> Result<()> {
    let apart = |a: f64, b: f64| (a - b).abs() > 0.01 * a.abs().max(b.abs());
    let mut sizes = vec![("after.clear_aperture_mm", after.clear_aperture_mm(), before.clear_aperture_mm())];
    if let (Some(wanted), Some(found)) = (before.radius_of_curvature_mm(), after.radius_of_curvature_mm()) {
        sizes.push(("after.radius_of_curvature_mm", found, wanted));
    }
    for (field, found, wanted) in sizes {
        if apart(found, wanted) {
            let allowed = format!("within 1 % of the {wanted} before");
            return Err(Error::input(field, found, allowed, "evidence of two different mirrors?"));
        }
    }
    let mut options = vec![("after.wavelength_nm", after.wavelength_nm(), before.wavelength_nm())];
    if let (Some(wanted), Some(found)) = (before.obstruction_ratio(), after.obstruction_ratio()) {
        options.push(("after.obstruction_ratio", found, wanted));
    }
    if let (Some(first), Some(second)) = (before.readings(), after.readings()) {
        options.push(("after.draws", second.options.draws as f64, first.options.draws as f64));
    }
    for (field, found, wanted) in options {
        if found.to_bits() != wanted.to_bits() {
            let allowed = format!("the {wanted} of the evidence before");
            return Err(Error::input(field, found, allowed, ""));
        }
    }
    Ok(())
}
