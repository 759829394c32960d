//! What a gain is worth at the eyepiece: contrast of fine detail, and light in the Airy disk.

use serde::{Deserialize, Serialize};

use crate::shop_test::{Estimated, PairedDraws, sights};

/// Periods of the detail that is compared, arcsec: belts and rilles near what seeing lets through, and finer.
pub(super) const PERIOD_ARCSEC: [f64; 3] = [0.5, 1.0, 2.0];

/// A quantity before and after, and how much it grew.
///
/// ```
/// use catoptric::{Change, Estimated, Interval};
/// let at = |median: f64| Estimated { median, total: Interval { low: median - 0.1, high: median + 0.1, share: 0.95 } };
/// let change = Change { before: at(0.5), after: at(0.6), gain: at(0.1) };
/// assert!(change.gain.median > 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Change {
    /// Before the work.
    pub before: Estimated,
    /// After it.
    pub after: Estimated,
    /// The one less the other, pair by pair.
    pub gain: Estimated,
}

impl Change {
    pub(super) fn of(before: &[f64], after: &[f64]) -> Self {
        let gain = differences(before, after);
        Self { before: Estimated::of(before), after: Estimated::of(after), gain: Estimated::of(&gain) }
    }
}

/// What a refigure is worth at the eyepiece, in a still air.
///
/// Units: arcsec; contrast 0 to 1, that of a pattern of sinusoidal stripes which is 1 in the sky.
/// Shapes: one change of contrast for each period.
/// Source: modulation transfer as the overlap of the pupil with itself (Goodman, Introduction to Fourier Optics,
/// section 6.3, from memory).
/// Leaves out: seeing, and what the eye makes of it. A period below lambda/D has no contrast at all, with any mirror.
///
/// ```
/// # use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource, judge_refigure};
/// # let read = |run: [f64; 4]| KnifeEdgeReadings::at_radii(
/// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
/// #     &[40.0, 60.0, 80.0, 95.0], vec![run.to_vec(); 4],
/// # )?.reduce(Default::default());
/// let verdict = judge_refigure(&read([0.5, 1.125, 2.0, 2.82])?, &read([0.3333, 0.75, 1.3333, 1.8802])?)?;
/// let worth = verdict.details.expect("readings on both sides").worth;
/// assert_eq!(worth.period_arcsec, [0.5, 1.0, 2.0]);
/// assert!(worth.contrast[1].gain.median > 0.0 && worth.airy_light.after.median < 0.839);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Worth {
    /// Periods of the detail, arcsec: from one bright stripe to the next.
    pub period_arcsec: Vec<f64>,
    /// Contrast of each.
    pub contrast: Vec<Change>,
    /// Share of the light within the Airy disk of the unobstructed aperture.
    pub airy_light: Change,
}

impl Worth {
    pub(super) fn of(pairs: &PairedDraws) -> Self {
        let before = sights(&pairs.analyses[0], &pairs.before.figures, &PERIOD_ARCSEC);
        let after = sights(&pairs.analyses[1], &pairs.after.figures, &PERIOD_ARCSEC);
        let contrast = |k: usize| {
            let of =
                |list: &[crate::wave::RadialSight]| list.iter().map(|s| s.contrast[k]).collect::<Vec<f64>>();
            Change::of(&of(&before), &of(&after))
        };
        let light =
            |list: &[crate::wave::RadialSight]| list.iter().map(|s| s.airy_light).collect::<Vec<f64>>();
        Self {
            period_arcsec: PERIOD_ARCSEC.to_vec(),
            contrast: (0..PERIOD_ARCSEC.len()).map(contrast).collect(),
            airy_light: Change::of(&light(&before), &light(&after)),
        }
    }

    /// What it comes to, in one sentence.
    ///
    /// ```
    /// # use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource, judge_refigure};
    /// # let read = |run: [f64; 4]| KnifeEdgeReadings::at_radii(
    /// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    /// #     &[40.0, 60.0, 80.0, 95.0], vec![run.to_vec(); 4],
    /// # )?.reduce(Default::default());
    /// let verdict = judge_refigure(&read([0.5, 1.125, 2.0, 2.82])?, &read([0.3333, 0.75, 1.3333, 1.8802])?)?;
    /// let details = verdict.details.expect("readings on both sides");
    /// assert!(details.worth.words().contains("arcsec"));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn words(&self) -> String {
        let change = |c: &Change| format!("{:.2} to {:.2}", c.before.median, c.after.median);
        let details = self.period_arcsec.iter().zip(&self.contrast);
        let details: Vec<String> =
            details.map(|(period, c)| format!("{period} arcsec from {}", change(c))).collect();
        format!(
            "In still air the contrast of stripes goes at {}, and the share of light in the Airy disk from {}.",
            details.join(", at "),
            change(&self.airy_light)
        )
    }
}

/// The second list less the first, element by element, as far as both go.
pub(super) fn differences(before: &[f64], after: &[f64]) -> Vec<f64> {
    after.iter().zip(before).map(|(after, before)| after - before).collect()
}
