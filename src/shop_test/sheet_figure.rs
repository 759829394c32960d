//! What a test sheet means for the wavefront of the whole mirror, and where it contradicts itself.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use super::evidence::{Bounds, rounding, untested_share};
use super::test_sheet::TestSheet;
use crate::error::{Error, Result};
use crate::numeric::random::Stream;

/// PV over RMS that no shape goes below: (high - low)^2 >= 4 variance, Popoviciu 1935.
const LEAST_RATIO: f64 = 2.0;
/// PV over RMS that no smooth figure at best focus goes below: pure spherical aberration has 3 sqrt(5)/2 = 3.354.
const LEAST_SMOOTH_RATIO: f64 = 3.3;
/// PV over RMS above which the PV belongs to one spike or one narrow zone; common practice, no source.
const MOST_RATIO: f64 = 12.0;
/// Assumed fall of the wavefront at the rim of an edge that was not tested, nm: 275 nm of glass, a deep turned edge.
const UNSEEN_EDGE_NM: f64 = 550.0;
/// RMS in waves above which the exponential form is no longer good to 0.02 for smooth figures.
const EXPONENTIAL_UP_TO: f64 = 0.1;
const MOST_DRAWS: usize = 1_000_000;

/// A test sheet turned into the wavefront of the whole clear aperture.
///
/// The bounds are a range, not an interval with a probability: what the paper leaves open and what was assumed
/// to fill it; `assumptions` lists the latter.
///
/// - From an RMS: the printed number with half a unit of its last decimal (at most 5 %).
/// - From a Strehl S: low (lambda/2 pi) sqrt(2 (1 - sqrt S)), below which no wavefront has that Strehl (1 - variance/2 is the
///   least that |mean of exp(i phi)| can be), but at least a tenth of the high end; high (lambda/2 pi) sqrt(-ln S), the
///   exponential form, by which sheets are computed (common practice, no source).
/// - From a PV alone: high PV/2, which is certain; low PV/12, which is assumed. Defocus has PV/RMS 2 sqrt(3) = 3.46,
///   spherical aberration 3.35, astigmatism 4.90, coma 5.66, random smooth figures 4 to 8 (from memory).
/// - Where numbers contradict each other, all that any of them allows.
/// - Where the outer ring was not tested: low, a perfect ring; high, an edge that falls there by one wave of 550 nm of wavefront
///   (275 nm of glass) with the square of the distance: an assumption.
///
/// Units: nm of wavefront; `strehl` at `wavelength_nm`.
/// Source: `strehl` is exp(-(2 pi rms/lambda)^2) (Mahajan 1983, J. Opt. Soc. Am. 73, 860, from memory), good to 0.02 for smooth
/// figures below lambda/10; with an untested share u never below ((1 - u) sqrt(S) - u)^2, which is all that a ring can do.
/// Leaves out: a steep narrow edge within the tested circle has more RMS for its Strehl than the formula allows: 72 nm
/// where it says 50 for an edge of 9 mm on a 318 mm mirror.
///
/// ```
/// use catoptric::{SurfaceOrWavefront, TestSheet, TestSheetInput};
/// // RMS of the glass beside a Strehl that was computed as if it were the wavefront's.
/// let sheet = TestSheet::new(TestSheetInput {
///     rms_waves: Some(0.05),
///     strehl: Some(0.906),
///     ..TestSheetInput::new(200.0, 200.0, SurfaceOrWavefront::Surface, 632.8)
/// })?;
/// let figure = sheet.figure(550.0)?;
/// assert!(figure.contradictions[0].contains("factor of two"));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Judged", into = "Judged")]
pub struct SheetFigure {
    /// The sheet behind it.
    pub sheet: TestSheet,
    /// Wavelength at which it is judged, nm.
    pub wavelength_nm: f64,
    /// RMS of the wavefront over the tested circle, nm.
    pub tested_rms_nm: Bounds,
    /// RMS of the wavefront over the whole clear aperture, nm.
    pub rms_nm: Bounds,
    /// PV of the wavefront over the tested circle, nm, where the sheet gives one.
    pub pv_nm: Option<f64>,
    /// Strehl of the whole clear aperture.
    pub strehl: Bounds,
    /// Share of the clear aperture's area that was not tested.
    pub untested_share: f64,
    /// Numbers of the sheet that do not go together.
    pub contradictions: Vec<String>,
    /// What is assumed and not measured.
    pub assumptions: Vec<String>,
    /// What all this means, in one sentence.
    pub words: String,
}

/// What it is written down as; all else follows from it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Judged {
    sheet: TestSheet,
    wavelength_nm: f64,
}

impl TryFrom<Judged> for SheetFigure {
    type Error = Error;

    fn try_from(judged: Judged) -> Result<Self> {
        judged.sheet.figure(judged.wavelength_nm)
    }
}

impl From<SheetFigure> for Judged {
    fn from(figure: SheetFigure) -> Self {
        Self { sheet: figure.sheet, wavelength_nm: figure.wavelength_nm }
    }
}

impl SheetFigure {
    pub(super) fn of(sheet: &TestSheet, wavelength_nm: f64) -> Self {
        let mut notes = Notes::default();
        let pv_nm = sheet.pv_wavefront_nm();
        let tested_rms_nm = tested_rms(sheet, pv_nm, &mut notes);
        let input = sheet.input();
        let untested_share = untested_share(input.tested_diameter_mm, input.clear_aperture_mm);
        let rms_nm = with_unseen_edge(tested_rms_nm, sheet, untested_share, &mut notes);
        let floor = ring_floor(tested_rms_nm.high, untested_share, wavelength_nm);
        let strehl = Bounds {
            low: exponential(rms_nm.high, wavelength_nm).max(floor),
            high: exponential(rms_nm.low, wavelength_nm),
        };
        if rms_nm.high > EXPONENTIAL_UP_TO * wavelength_nm {
            notes.assumptions.push(format!(
                "The exponential form of the Strehl is used beyond an RMS of {:.0} nm (a tenth of a wave), where it is rough.",
                EXPONENTIAL_UP_TO * wavelength_nm
            ));
        }
        let Notes { contradictions, assumptions } = notes;
        let mut figure = Self {
            sheet: *sheet,
            wavelength_nm,
            tested_rms_nm,
            rms_nm,
            pv_nm,
            strehl,
            untested_share,
            contradictions,
            assumptions,
            words: String::new(),
        };
        figure.words = figure.sentence();
        figure
    }

    /// Draws of the RMS over the whole clear aperture, evenly spread in its logarithm between the bounds, nm.
    ///
    /// The even spread is an assumption: the paper says nothing about what lies between.
    /// Units: nm. Shapes: `count` values, the same for the same seed.
    /// Errors: [`Error::Input`] for a count that cannot be.
    ///
    /// ```
    /// use catoptric::{SurfaceOrWavefront, TestSheet, TestSheetInput};
    /// let sheet = TestSheet::new(TestSheetInput {
    ///     pv_nm: Some(120.0),
    ///     ..TestSheetInput::new(200.0, 200.0, SurfaceOrWavefront::Wavefront, 632.8)
    /// })?;
    /// let figure = sheet.figure(550.0)?;
    /// let draws = figure.rms_draws_nm(500, 7)?;
    /// assert!(draws.iter().all(|&rms| figure.rms_nm.holds(rms)));
    /// assert_eq!(draws, figure.rms_draws_nm(500, 7)?);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn rms_draws_nm(&self, count: usize, seed: u64) -> Result<Vec<f64>> {
        if !(1..=MOST_DRAWS).contains(&count) {
            return Err(Error::input("count", count, "1 to 1000000 draws", ""));
        }
        let mut stream = Stream::new(seed, 0);
        let Bounds { low, high } = self.rms_nm;
        let span = libm::log(high / low);
        Ok((0..count).map(|_| (low * libm::exp(span * stream.uniform())).clamp(low, high)).collect())
    }

    /// The Strehl of each draw of [`SheetFigure::rms_draws_nm`] with the same seed.
    ///
    /// By the exponential form; good to 0.02 for smooth figures below lambda/10, and never below what an untested
    /// ring can do.
    /// Errors: [`Error::Input`] for a count that cannot be.
    ///
    /// ```
    /// use catoptric::{SurfaceOrWavefront, TestSheet, TestSheetInput};
    /// let sheet = TestSheet::new(TestSheetInput {
    ///     strehl: Some(0.95),
    ///     ..TestSheetInput::new(200.0, 200.0, SurfaceOrWavefront::Wavefront, 632.8)
    /// })?;
    /// let figure = sheet.figure(632.8)?;
    /// assert!(figure.strehl_draws(100, 1)?.iter().all(|&s| figure.strehl.holds(s)));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn strehl_draws(&self, count: usize, seed: u64) -> Result<Vec<f64>> {
        let floor = ring_floor(self.tested_rms_nm.high, self.untested_share, self.wavelength_nm);
        let strehl = |rms_nm: f64| exponential(rms_nm, self.wavelength_nm).max(floor);
        Ok(self.rms_draws_nm(count, seed)?.into_iter().map(strehl).collect())
    }

    fn sentence(&self) -> String {
        let tested = self.sheet.input().tested_diameter_mm;
        let range = |bounds: Bounds, digits: usize| {
            let [low, high] = [bounds.low, bounds.high].map(|v| format!("{v:.digits$}"));
            if low == high { low } else { format!("{low} to {high}") }
        };
        let untested = if self.untested_share > 0.0 {
            format!(
                ", and of {} nm over the whole mirror, because a turned edge on the {:.1} % of its area that were not tested \
                 would not have been seen",
                range(self.rms_nm, 1),
                100.0 * self.untested_share
            )
        } else {
            String::new()
        };
        let mut words = format!(
            "This means a wavefront RMS of {} nm over the {tested} mm that were tested{untested}: a Strehl of {} at {} nm",
            range(self.tested_rms_nm, 1),
            range(self.strehl, 3),
            self.wavelength_nm
        );
        if !self.contradictions.is_empty() {
            words += "; but the sheet contradicts itself, so ask who made it before relying on it";
        }
        words + "."
    }
}

/// What was noticed on the way.
#[derive(Default)]
struct Notes {
    contradictions: Vec<String>,
    assumptions: Vec<String>,
}

/// exp(-(2 pi rms/lambda)^2).
fn exponential(rms_nm: f64, wavelength_nm: f64) -> f64 {
    libm::exp(-(TAU * rms_nm / wavelength_nm).powi(2))
}

/// The least Strehl when the tested part has this RMS and the ring around it any error at all.
///
/// The tested part's amplitude is at least (1 - u) sqrt(S), the ring takes at most u from it.
fn ring_floor(tested_rms_nm: f64, untested: f64, wavelength_nm: f64) -> f64 {
    let tested = exponential(tested_rms_nm, wavelength_nm).sqrt();
    ((1.0 - untested) * tested - untested).max(0.0).powi(2)
}

fn rounded(value: f64, printed: f64) -> Bounds {
    let share = rounding(printed) / printed;
    Bounds { low: value * (1.0 - share), high: value * (1.0 + share) }
}

/// RMS over the tested circle from all that the sheet gives.
fn tested_rms(sheet: &TestSheet, pv_nm: Option<f64>, notes: &mut Notes) -> Bounds {
    let input = sheet.input();
    let from_rms = sheet
        .rms_wavefront_nm()
        .zip(input.rms_nm.or(input.rms_waves))
        .map(|(rms_nm, printed)| rounded(rms_nm, printed));
    let from_strehl = input.strehl.map(|strehl| strehl_rms(strehl, input.wavelength_nm));
    let pv = pv_nm.zip(input.pv_nm.or(input.pv_waves)).map(|(pv_nm, printed)| rounded(pv_nm, printed));
    let stated = match (from_rms, from_strehl) {
        (Some(rms), Some(by_strehl)) => {
            Some(compare_with_strehl(sheet, rms, by_strehl, input.strehl.unwrap_or(1.0), notes))
        }
        (Some(rms), None) => Some(rms),
        (None, Some(by_strehl)) => {
            notes.assumptions.push(
                "The Strehl is taken to be computed from the RMS by the exponential form; none was printed."
                    .to_owned(),
            );
            Some(by_strehl)
        }
        (None, None) => None,
    };
    match (stated, pv) {
        (Some(rms), Some(pv)) => compare_with_pv(rms, pv, notes),
        (Some(rms), None) => rms,
        // A sheet holds one of the three at least.
        (None, pv) => {
            notes.assumptions.push(format!(
                "No RMS and no Strehl are given: between a half of the PV, which no shape exceeds, and a \
                 {MOST_RATIO:.0}th of it, which is an assumption."
            ));
            let pv = pv.unwrap_or(Bounds { low: 0.0, high: 0.0 });
            Bounds { low: pv.low / MOST_RATIO, high: pv.high / LEAST_RATIO }
        }
    }
}

/// The RMS that goes with a printed Strehl, nm.
fn strehl_rms(strehl: f64, wavelength_nm: f64) -> Bounds {
    let half_unit = rounding(strehl).min(0.005);
    let most = (strehl + half_unit).min(1.0);
    let high = (-libm::log(strehl - half_unit)).sqrt();
    let low = (2.0 * (1.0 - most.sqrt())).sqrt().max(0.1 * high);
    Bounds { low, high }.scaled(wavelength_nm / TAU)
}

/// Holds RMS and Strehl against each other; finds the factor of two.
fn compare_with_strehl(
    sheet: &TestSheet,
    rms: Bounds,
    by_strehl: Bounds,
    strehl: f64,
    notes: &mut Notes,
) -> Bounds {
    // Roundings are in both ranges. Sheets computed by 1 - (2 pi rms/lambda)^2, or by its square with half of the variance,
    // pass as well: the first is the lowest RMS that any of the usual forms gives.
    let scale = sheet.input().wavelength_nm / TAU;
    let first_order = scale * (1.0 - (strehl + rounding(strehl).min(0.005)).min(1.0)).sqrt();
    let usual = Bounds { low: by_strehl.low.min(first_order), ..by_strehl };
    if rms.meets(usual) {
        return rms;
    }
    let middle = f64::midpoint(rms.low, rms.high);
    let expected = exponential(middle, sheet.input().wavelength_nm);
    let mut words = format!(
        "RMS and Strehl do not go together: {middle:.1} nm of wavefront mean a Strehl of {expected:.3} (exponential form), \
         the sheet says {strehl}"
    );
    if rms.scaled(0.5).meets(usual) {
        words += "; the two differ by a factor of two: the RMS of the glass taken for that of the wavefront when the Strehl \
                  was computed, or a wavefront's RMS declared as the glass's";
    } else if rms.scaled(2.0).meets(usual) {
        words += "; the two differ by a factor of two: an RMS of the glass declared as the wavefront's";
    } else if middle > by_strehl.high {
        words += "; a steep turned edge does this too";
    }
    notes.contradictions.push(words + ".");
    rms.hull(by_strehl)
}

/// Holds RMS and PV against each other.
fn compare_with_pv(rms: Bounds, pv: Bounds, notes: &mut Notes) -> Bounds {
    let ratio = f64::midpoint(pv.low, pv.high) / f64::midpoint(rms.low, rms.high);
    if pv.high < LEAST_RATIO * rms.low {
        notes.contradictions.push(format!(
            "PV is {ratio:.2} times the RMS, and no shape has less than 2: one of the glass and one of the wavefront?"
        ));
        return rms.hull(pv.scaled(1.0 / LEAST_RATIO));
    }
    if pv.high < LEAST_SMOOTH_RATIO * rms.low {
        notes.contradictions.push(format!(
            "PV is {ratio:.2} times the RMS, and no smooth figure at best focus has less than {LEAST_SMOOTH_RATIO}: spherical \
             aberration has 3.35, defocus 3.46, astigmatism 4.90."
        ));
        return rms.hull(pv.scaled(1.0 / LEAST_SMOOTH_RATIO));
    }
    if pv.low > MOST_RATIO * rms.high {
        notes.contradictions.push(format!(
            "PV is {ratio:.1} times the RMS, where 4 to 8 is usual: one spike, one narrow zone, or noise in the PV; or one of \
             them is not of the same test."
        ));
    }
    rms
}

/// The RMS over all of the mirror.
fn with_unseen_edge(tested: Bounds, sheet: &TestSheet, untested: f64, notes: &mut Notes) -> Bounds {
    if untested == 0.0 {
        return tested;
    }
    let input = sheet.input();
    let (inner, rim) = (0.5 * input.tested_diameter_mm, 0.5 * input.clear_aperture_mm);
    notes.assumptions.push(format!(
        "The outer {:.1} mm of radius, {:.1} % of the area, were not tested: between a perfect ring and one that falls by \
         {UNSEEN_EDGE_NM} nm of wavefront at the rim.",
        rim - inner,
        100.0 * untested
    ));
    // Means of s^2 and s^4 over the ring's area, with r = inner + s (rim - inner).
    let mean = |k: f64| 2.0 * (inner / (k + 1.0) + (rim - inner) / (k + 2.0)) / (inner + rim);
    let fall = UNSEEN_EDGE_NM.powi(2);
    let edge = fall * untested * (mean(4.0) - untested * mean(2.0).powi(2));
    let seen = 1.0 - untested;
    Bounds { low: tested.low * seen.sqrt(), high: (seen * tested.high.powi(2) + edge).sqrt() }
}
