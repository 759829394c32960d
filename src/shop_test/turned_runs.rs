//! Knife-edge runs along one diameter, with the mirror or the mask turned between them.

use serde::{Deserialize, Serialize};

use super::opening::{MaskOpening, ReadingsIncrease, TestSource};
use super::turned_estimate::AstigmatismEstimate;
use crate::error::{Error, Findings, Result};

/// One run of readings through the openings of a mask that lie left and right on one diameter.
///
/// Units: degrees, seen from the sky side, from +x (to the right) toward +y (up); mm.
///
/// ```
/// let run = catoptric::TurnedRun { mirror_angle_deg: 90.0, mask_angle_deg: 0.0, readings_mm: vec![41.02, 41.55] };
/// assert_eq!(run.readings_mm.len(), 2);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TurnedRun {
    /// Where the mark on the mirror's rim stands, degrees.
    pub mirror_angle_deg: f64,
    /// The diameter along which the mask's openings lie, degrees; it does not turn with the mirror.
    pub mask_angle_deg: f64,
    /// Positions of the knife on a scale whose zero is never touched, one an opening, mm.
    pub readings_mm: Vec<f64>,
}

/// The contents of a set of turned runs, before they are checked.
///
/// Units: mm, degrees. Example: see [`TurnedRuns`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TurnedRunsInput {
    /// Clear aperture of the mirror, mm.
    pub clear_aperture_mm: f64,
    /// Radius of curvature at the vertex, mm.
    pub radius_of_curvature_mm: f64,
    /// Whether the source moves with the knife.
    pub source: TestSource,
    /// Which way the scale counts.
    pub readings_increase: ReadingsIncrease,
    /// The openings of the mask, from the centre outward.
    pub openings: Vec<MaskOpening>,
    /// The runs.
    pub runs: Vec<TurnedRun>,
    /// Whether the scale's zero and the mirror's distance stayed the same from run to run.
    pub zero_kept: bool,
    /// How well the distance comes back when the mirror is turned and set down again, standard deviation in mm.
    /// Without it, the scatter of the runs about the fit tells, where there are runs to spare.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reseating_sigma_mm: Option<f64>,
}

/// Runs of knife-edge readings with the mirror turned in its stand: they tell astigmatism of the glass from that
/// of the stand.
///
/// A wavefront A (r/a)^2 cos 2(phi - phi0) moves the focus along the diameter phi by -k R^2 A/a^2 cos 2(phi - phi0), the same for
/// all zones (k = 1 for a moving source, 2 for a fixed one). So each run yields one number, its mean shift, and every run needs
/// the same zero: a free zero would swallow exactly this number. With the mirror's mark at t and the mask
/// along p the glass gives cos 2(p - t - phi0), the stand cos 2(p - psi0):
///
/// | mask | mirror | what can be told |
/// |---|---|---|
/// | fixed | 0, 90 | one of two components of the glass: along and across the mask; 45 degrees to it stays unseen |
/// | fixed | 0, 45, 90 or more | the glass; not the stand, whose share is the same in all runs |
/// | 0, 45, 90 or more | fixed | the sum of glass and stand; not which of them |
/// | 0, 90 | 0, 90, all four | one component of each |
/// | 0, 45, 90, 135 | 0, 45, 90, 135 | both |
///
/// Units: mm, degrees.
/// Errors: [`Error::Input`] at construction, with all faults found; a free zero is refused.
/// Leaves out: astigmatism that grows faster than r^2, whose differences between zones count as noise; bending of the mirror that
/// changes as it turns; whatever turns with the mirror (a cell that is turned with it) counts as glass.
///
/// ```
/// use catoptric::*;
/// let run = |angle, focus_mm: f64| TurnedRun {
///     mirror_angle_deg: angle,
///     mask_angle_deg: 0.0,
///     readings_mm: vec![focus_mm + 0.33, focus_mm + 1.33],
/// };
/// let at = |r| MaskOpening { inner_radius_mm: r, outer_radius_mm: r };
/// let runs = TurnedRuns::new(TurnedRunsInput {
///     clear_aperture_mm: 200.0,
///     radius_of_curvature_mm: 2400.0,
///     source: TestSource::Moving,
///     readings_increase: ReadingsIncrease::AwayFromMirror,
///     openings: vec![at(40.0), at(80.0)],
///     // The hill of the saddle lies along the mark: shorter there, by 0.0576 mm for 100 nm.
///     runs: vec![run(0.0, 30.0 - 0.0576), run(45.0, 30.0), run(90.0, 30.0 + 0.0576), run(135.0, 30.0)],
///     zero_kept: true,
///     reseating_sigma_mm: Some(0.005),
/// })?;
/// let estimate = runs.estimate()?;
/// let glass = estimate.glass.expect("four angles");
/// assert!((glass.amplitude_nm - 100.0).abs() < 1e-6 && glass.axis_deg.unwrap().abs() < 1e-6);
/// assert_eq!(estimate.origin, AstigmatismOrigin::TurnsWithTheMirror);
/// # Ok::<(), Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "TurnedRunsInput", into = "TurnedRunsInput")]
pub struct TurnedRuns(TurnedRunsInput);

impl TurnedRuns {
    /// Turned runs from their contents.
    ///
    /// Example: see [`TurnedRuns`].
    pub fn new(input: TurnedRunsInput) -> Result<Self> {
        input.try_into()
    }

    /// The contents as they were given.
    pub fn input(&self) -> &TurnedRunsInput {
        &self.0
    }

    /// What of the astigmatism turns with the mirror and what stays with the stand.
    ///
    /// Units: nm of wavefront, degrees.
    /// Errors: [`Error::Input`] where the runs leave nothing to tell their scatter from.
    /// Source and what is left out: see [`AstigmatismEstimate`]. Example: see [`TurnedRuns`].
    pub fn estimate(&self) -> Result<AstigmatismEstimate> {
        AstigmatismEstimate::of(self)
    }

    /// How far a wavefront of 1 nm at the rim moves the focus along its hill, as the scale counts, mm.
    pub(super) fn shift_mm_for_nm(&self) -> f64 {
        let input = &self.0;
        let rim = 0.5 * input.clear_aperture_mm;
        let curvature = (input.radius_of_curvature_mm / rim).powi(2) / crate::units::NM_PER_MM;
        -input.source.gain() * curvature * input.readings_increase.sign()
    }
}

impl TryFrom<TurnedRunsInput> for TurnedRuns {
    type Error = Error;

    fn try_from(input: TurnedRunsInput) -> Result<Self> {
        let mut findings = Findings::default();
        check_bench(&input, &mut findings);
        check_openings(&input, &mut findings);
        check_runs(&input, &mut findings);
        findings.refuse()?;
        Ok(Self(input))
    }
}

impl From<TurnedRuns> for TurnedRunsInput {
    fn from(runs: TurnedRuns) -> Self {
        runs.0
    }
}

fn check_bench(input: &TurnedRunsInput, findings: &mut Findings) {
    if !input.zero_kept {
        findings.fault(
            "zero_kept",
            false,
            "true: knife positions on one scale, mirror at one distance, in all runs",
            "astigmatism along a diameter is a pure shift of focus, and a free zero in each run hides exactly that",
        );
    }
    let sizes = findings.length("clear_aperture_mm", input.clear_aperture_mm)
        & findings.length("radius_of_curvature_mm", input.radius_of_curvature_mm);
    if sizes {
        findings.number(
            "radius_of_curvature_mm",
            input.radius_of_curvature_mm,
            |r| r >= 2.0 * input.clear_aperture_mm,
            "at least twice the clear aperture (f/1)",
            "focal length given for radius of curvature, or other units?",
        );
    }
    if let Some(sigma) = input.reseating_sigma_mm {
        findings.number("reseating_sigma_mm", sigma, |s| (0.0..=10.0).contains(&s), "0 to 10 mm", "");
    }
}

fn check_openings(input: &TurnedRunsInput, findings: &mut Findings) {
    if input.openings.is_empty() {
        findings.fault("openings", "nothing", "one opening or more", "");
    }
    let rim = 0.5 * input.clear_aperture_mm * (1.0 + 1e-9);
    for (i, opening) in input.openings.iter().enumerate() {
        findings.within(format!("openings[{i}]"), |f| {
            let (inner, outer) = (opening.inner_radius_mm, opening.outer_radius_mm);
            let allowed = "a radius above 0 and not beyond half the clear aperture";
            f.number(
                "outer_radius_mm",
                outer,
                |v| v > 0.0 && v <= rim,
                allowed,
                "diameters given for radii?",
            );
            let is_inner = |v: f64| (0.0..=outer).contains(&v);
            f.number("inner_radius_mm", inner, is_inner, "0 to the outer radius", "the two exchanged?");
        });
    }
}

fn check_runs(input: &TurnedRunsInput, findings: &mut Findings) {
    if input.runs.len() < 2 {
        let found = format!("{} runs", input.runs.len());
        findings.fault("runs", found, "two or more, with the mirror turned between them", "");
    }
    for (j, run) in input.runs.iter().enumerate() {
        findings.within(format!("runs[{j}]"), |f| {
            for (field, angle) in
                [("mirror_angle_deg", run.mirror_angle_deg), ("mask_angle_deg", run.mask_angle_deg)]
            {
                f.number(field, angle, |a| a.abs() <= 720.0, "degrees within +-720", "");
            }
            if run.readings_mm.len() != input.openings.len() {
                let found = format!("{} readings", run.readings_mm.len());
                let allowed = format!("one reading for each of the {} openings", input.openings.len());
                f.fault("readings_mm", found, &allowed, "");
            }
            for (i, &reading) in run.readings_mm.iter().enumerate() {
                f.number(
                    &format!("readings_mm[{i}]"),
                    reading,
                    |v| v.abs() < 1e4,
                    "a stage position in mm",
                    "",
                );
            }
        });
    }
}
