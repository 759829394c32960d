//! Knife-edge readings as they come from the bench, checked.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::csv_text;
use super::input::ReadingsInput;
use super::opening::{MaskOpening, ReadingsIncrease, TestSource};
use super::two_way::TwoWay;
use super::{guards, noise};
use crate::error::{Error, Findings, Problem, Result};
use crate::model::text::read_text;
use crate::units::RadiusOfCurvatureMm;

/// Readings of a knife edge near the centre of curvature, zone by zone, in one or more runs.
///
/// Every run has a zero of its own. Units: mm.
/// Shapes: `runs_mm[j][i]` is the reading of opening i in run j; where it was not taken stands a NaN, which is weighted
/// for what it is: nothing.
/// Errors: [`Error::Input`] at construction, with all faults found: sizes that cannot be, openings that overlap or leave
/// the mirror, runs of unequal length or without an opening in common, an infinite reading, a span of readings that no
/// sane mirror has.
/// Leaves out: astigmatism; every zone is taken to be round.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, ReadingsInput, TestSource};
/// // A perfect paraboloid: r^2/(2R), moving source.
/// let readings = KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
/// )?;
/// assert!(readings.reduce(Default::default())?.strehl.value > 0.999);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "ReadingsInput", into = "ReadingsInput")]
pub struct KnifeEdgeReadings(ReadingsInput);

impl KnifeEdgeReadings {
    /// Readings through openings of a mask.
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, MaskOpening, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// let far = MaskOpening { inner_radius_mm: 90.0, outer_radius_mm: 400.0 };
    /// let error = KnifeEdgeReadings::through_openings(
    ///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    ///     vec![far], vec![vec![1.0]],
    /// ).unwrap_err();
    /// assert!(error.to_string().contains("outer_radius_mm"));
    /// ```
    pub fn through_openings(
        clear_aperture_mm: f64,
        radius_of_curvature: RadiusOfCurvatureMm,
        source: TestSource,
        readings_increase: ReadingsIncrease,
        openings: Vec<MaskOpening>,
        runs_mm: Vec<Vec<f64>>,
    ) -> Result<Self> {
        let radius_of_curvature_mm = radius_of_curvature.0;
        let taken =
            |run: Vec<f64>| run.into_iter().map(|reading| (!reading.is_nan()).then_some(reading)).collect();
        let runs_mm = runs_mm.into_iter().map(taken).collect();
        ReadingsInput {
            clear_aperture_mm,
            radius_of_curvature_mm,
            source,
            readings_increase,
            openings,
            runs_mm,
        }
        .try_into()
    }

    /// Readings at single radii (pins, or zones named by one radius).
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// let unsorted = KnifeEdgeReadings::at_radii(
    ///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    ///     &[95.0, 80.0], vec![vec![1.88, 1.33]],
    /// );
    /// assert!(unsorted.is_err());
    /// ```
    pub fn at_radii(
        clear_aperture_mm: f64,
        radius_of_curvature: RadiusOfCurvatureMm,
        source: TestSource,
        readings_increase: ReadingsIncrease,
        radius_mm: &[f64],
        runs_mm: Vec<Vec<f64>>,
    ) -> Result<Self> {
        let at = |&r: &f64| MaskOpening { inner_radius_mm: r, outer_radius_mm: r };
        let openings = radius_mm.iter().map(at).collect();
        Self::through_openings(
            clear_aperture_mm,
            radius_of_curvature,
            source,
            readings_increase,
            openings,
            runs_mm,
        )
    }

    /// Readings from a table: a row an opening, columns `inner_radius_mm` and `outer_radius_mm` (or `radius_mm`), and one
    /// column a run, named `run_..._mm`; a reading that was not taken is an empty field or `nan`.
    ///
    /// Errors: [`Error::Unreadable`] for a missing or unknown column or text in place of a number, with its line;
    /// [`Error::Input`] as at construction.
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// let table = "radius_mm,run_1_mm\n40,0.3333\n60,0.7500\n80,1.3333\n95,about 1.88\n";
    /// let error = KnifeEdgeReadings::from_csv_text(
    ///     table, 200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    /// ).unwrap_err();
    /// assert!(error.to_string().contains("line 5"));
    /// ```
    pub fn from_csv_text(
        text: &str,
        clear_aperture_mm: f64,
        radius_of_curvature: RadiusOfCurvatureMm,
        source: TestSource,
        readings_increase: ReadingsIncrease,
    ) -> Result<Self> {
        let (openings, runs_mm) = csv_text::parse(text)?;
        Self::through_openings(
            clear_aperture_mm,
            radius_of_curvature,
            source,
            readings_increase,
            openings,
            runs_mm,
        )
    }

    /// The same from a file.
    ///
    /// Errors: [`Error::File`], and those of [`KnifeEdgeReadings::from_csv_text`].
    ///
    /// ```
    /// use catoptric::{Error, KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// let away = ReadingsIncrease::AwayFromMirror;
    /// let missing = KnifeEdgeReadings::load_csv("none.csv", 200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, away);
    /// assert!(matches!(missing, Err(Error::File { .. })));
    /// ```
    pub fn load_csv(
        path: impl AsRef<Path>,
        clear_aperture_mm: f64,
        radius_of_curvature: RadiusOfCurvatureMm,
        source: TestSource,
        readings_increase: ReadingsIncrease,
    ) -> Result<Self> {
        let text = read_text(path.as_ref())?;
        Self::from_csv_text(&text, clear_aperture_mm, radius_of_curvature, source, readings_increase)
    }

    /// Clear aperture of the mirror, mm.
    pub fn clear_aperture_mm(&self) -> f64 {
        self.0.clear_aperture_mm
    }

    /// Radius of curvature at the vertex.
    pub fn radius_of_curvature(&self) -> RadiusOfCurvatureMm {
        RadiusOfCurvatureMm(self.0.radius_of_curvature_mm)
    }

    /// Whether the source moves with the knife.
    pub fn source(&self) -> TestSource {
        self.0.source
    }

    /// Which way the scale counts.
    pub fn readings_increase(&self) -> ReadingsIncrease {
        self.0.readings_increase
    }

    /// The openings, from the centre outward.
    pub fn openings(&self) -> &[MaskOpening] {
        &self.0.openings
    }

    /// The readings as they were given, mm: `runs_mm()[run][opening]`; none where a reading was not taken.
    pub fn runs_mm(&self) -> &[Vec<Option<f64>>] {
        &self.0.runs_mm
    }

    /// What is odd about the readings, though they can be reduced.
    ///
    /// The span of the readings is held against that of a paraboloid: their growth with r^2, which is minus the conic constant
    /// of [`KnifeEdgeReadings::conic_fit`] without the outermost opening (with fewer than four openings, of all). Mistakes leave
    /// spans of their own:
    ///
    /// | mistake | span | what happens | cannot be told from |
    /// |---|---|---|---|
    /// | none, a mirror near the paraboloid | 0.65 to 1.6 | nothing | radius of curvature wrong by a little: harmless |
    /// | moving source taken as fixed | 0.5 | warning | focal length given for radius of curvature; a true K = -0.5 |
    /// | fixed source taken as moving | 2 | warning | twice the radius of curvature given; a true K = -2 |
    /// | readings increase the other way | -1 | refused | readings listed from the rim inward |
    /// | inches read as millimetres | 0.04 | warning | a sphere or nearly one |
    /// | millimetres read as inches | 25 | refused | the stage's divisions given for millimetres |
    /// | diameters of the openings given for radii | 0.25 | warning | moving taken as fixed, and focal length for radius, at once |
    /// | radii of the openings halved | 4 | warning | fixed taken as moving, and twice the radius, at once |
    /// | radii of the openings in inches | 600 | refused | |
    /// | two mistakes of 2 that cancel (moving taken as fixed, and twice the radius given) | 1 | nothing: heights off by 8 | a sound set |
    ///
    /// A single run, whose noise must be assumed, and readings far off the other runs of their opening
    /// ([`KnifeEdgeReadings::outliers`]) are named as well. Diameters for radii are refused before that where they leave the mirror. Nothing is repaired. A span below -0.6 is
    /// refused where it lies below 0 by three standard errors; a mirror that truly is so far beyond the sphere (K above 0.6) must
    /// be refigured before it can be reduced here.
    /// Source: own derivation, tried on readings of a known mirror with each mistake made.
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// // Half of a paraboloid's readings: was the source fixed, or f given for R?
    /// let readings = KnifeEdgeReadings::at_radii(
    ///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Fixed, ReadingsIncrease::AwayFromMirror,
    ///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
    /// )?;
    /// assert!(readings.problems()[0].cause.contains("moving"));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn problems(&self) -> Vec<Problem> {
        let mut findings = Findings::default();
        guards::check_span(self, &mut findings);
        guards::check_noise(self, &mut findings);
        findings.warnings()
    }
}

impl TryFrom<ReadingsInput> for KnifeEdgeReadings {
    type Error = Error;

    fn try_from(input: ReadingsInput) -> Result<Self> {
        let mut findings = Findings::default();
        check_sizes(&input, &mut findings);
        check_openings(&input, &mut findings);
        check_runs(&input, &mut findings);
        findings.refuse()?;
        let readings = Self(input);
        let alike = vec![1.0; readings.openings().len()];
        TwoWay::fit(&noise::entries(&readings), readings.runs_mm().len(), &alike)?;
        let mut findings = Findings::default();
        guards::check_span(&readings, &mut findings);
        findings.refuse()?;
        Ok(readings)
    }
}

impl From<KnifeEdgeReadings> for ReadingsInput {
    fn from(readings: KnifeEdgeReadings) -> Self {
        readings.0
    }
}

fn check_sizes(input: &ReadingsInput, findings: &mut Findings) {
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
}

fn check_openings(input: &ReadingsInput, findings: &mut Findings) {
    if input.openings.len() < 3 {
        findings.fault(
            "openings",
            format!("{} openings", input.openings.len()),
            "three or more: one sets the zero, a second the focus",
            "",
        );
    }
    let rim = input.clear_aperture_mm / 2.0;
    let mut reached = 0.0;
    for (i, opening) in input.openings.iter().enumerate() {
        let (inner, outer) = (opening.inner_radius_mm, opening.outer_radius_mm);
        findings.within(format!("openings[{i}]"), |f| {
            let numbers = f.number("inner_radius_mm", inner, |v| v >= 0.0, "a radius of 0 or more", "")
                & f.number(
                    "outer_radius_mm",
                    outer,
                    |v| v > 0.0 && v <= rim * (1.0 + 1e-9),
                    "a radius above 0 and not beyond half the clear aperture",
                    if outer == 0.0 {
                        "a reading at the very centre has no lever: leave it out"
                    } else {
                        "diameters given for radii, or the clear aperture in other units?"
                    },
                );
            if !numbers {
                return;
            }
            if outer < inner {
                f.fault("outer_radius_mm", outer, "not less than the inner radius", "the two exchanged?");
            }
            if i > 0 && *opening == input.openings[i - 1] {
                let cause = "read twice? Give the second reading as one more run, in which the other openings are missing";
                f.fault("inner_radius_mm", inner, "an opening that is not the one before it", cause);
            } else if inner < reached || (i > 0 && outer <= reached) {
                let cause = "zones that overlap, or listed from the rim inward?";
                f.fault(
                    "inner_radius_mm",
                    inner,
                    &format!("not inside the zone before it, which ends at {reached}"),
                    cause,
                );
            }
        });
        reached = outer;
    }
}

fn check_runs(input: &ReadingsInput, findings: &mut Findings) {
    if input.runs_mm.is_empty() {
        findings.fault("runs_mm", "nothing", "one run or more", "");
    }
    for (j, run) in input.runs_mm.iter().enumerate() {
        let field = format!("runs_mm[{j}]");
        if run.len() != input.openings.len() {
            let found = format!("{} readings", run.len());
            let allowed = format!("one reading for each of the {} openings", input.openings.len());
            let cause = "a reading missing? Put NaN (in a table: nothing) in its place; or rows and columns exchanged?";
            findings.fault(&field, found, &allowed, cause);
        } else if run.iter().flatten().count() < 2 {
            let found = format!("{} readings", run.iter().flatten().count());
            findings.fault(
                &field,
                found,
                "two readings or more: one alone is taken up by the run's zero",
                "",
            );
        }
        for (i, reading) in run.iter().enumerate() {
            if let &Some(reading) = reading {
                let field = format!("runs_mm[{j}][{i}]");
                findings.number(&field, reading, |v| v.abs() < 1e4, "a stage position in mm", "");
            }
        }
    }
    for i in 0..input.openings.len() {
        let read = |run: &Vec<Option<f64>>| run.get(i).is_none_or(Option::is_some);
        if !input.runs_mm.is_empty() && !input.runs_mm.iter().any(read) {
            findings.fault(
                &format!("openings[{i}]"),
                "no reading",
                "one reading or more in some run",
                "leave it out?",
            );
        }
    }
}
