//! An optician's test sheet: the numbers as they are printed, checked.

use serde::{Deserialize, Serialize};

use super::evidence::SurfaceOrWavefront;
use super::sheet_figure::SheetFigure;
use crate::error::{Error, Findings, Result};
use crate::wave::check_wavelength;

/// The numbers of a test sheet, before they are checked.
///
/// Units: mm, nm, waves of the sheet's own wavelength; each name says which.
///
/// ```
/// use catoptric::{SurfaceOrWavefront, TestSheetInput};
/// let input = TestSheetInput::new(318.0, 312.0, SurfaceOrWavefront::Wavefront, 632.8);
/// assert!(input.strehl.is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TestSheetInput {
    /// Clear aperture of the mirror, mm.
    pub clear_aperture_mm: f64,
    /// Diameter of the circle that was tested, mm.
    pub tested_diameter_mm: f64,
    /// Whether PV and RMS are counted on the glass or on the wavefront; a Strehl is always the wavefront's.
    pub surface_or_wavefront: SurfaceOrWavefront,
    /// Wavelength of the sheet, nm.
    pub wavelength_nm: f64,
    /// Highest minus lowest point, waves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pv_waves: Option<f64>,
    /// Highest minus lowest point, nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pv_nm: Option<f64>,
    /// Root mean square, waves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rms_waves: Option<f64>,
    /// Root mean square, nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rms_nm: Option<f64>,
    /// Strehl at the sheet's wavelength.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strehl: Option<f64>,
}

impl TestSheetInput {
    /// A sheet without any of its results yet.
    ///
    /// ```
    /// use catoptric::{SurfaceOrWavefront, TestSheet, TestSheetInput};
    /// let empty = TestSheetInput::new(318.0, 312.0, SurfaceOrWavefront::Surface, 632.8);
    /// assert!(TestSheet::new(empty).is_err(), "a sheet says something");
    /// ```
    pub fn new(
        clear_aperture_mm: f64,
        tested_diameter_mm: f64,
        surface_or_wavefront: SurfaceOrWavefront,
        wavelength_nm: f64,
    ) -> Self {
        Self {
            clear_aperture_mm,
            tested_diameter_mm,
            surface_or_wavefront,
            wavelength_nm,
            pv_waves: None,
            pv_nm: None,
            rms_waves: None,
            rms_nm: None,
            strehl: None,
        }
    }
}

/// What a test sheet states about a mirror: PV, RMS or Strehl, of a tested circle, at a wavelength.
///
/// Units: mm, nm; PV and RMS in waves or nm, never in both.
/// Errors: [`Error::Input`] at construction, with all faults found: sizes, wavelengths and numbers that cannot be, nothing
/// stated, one quantity stated twice.
/// Leaves out: how the sheet was made. PV of an interferogram holds the camera's noise, PV of a few zones misses
/// what lies between them.
///
/// ```
/// use catoptric::{SurfaceOrWavefront, TestSheet, TestSheetInput};
/// let sheet = TestSheet::new(TestSheetInput {
///     rms_waves: Some(0.0065),
///     strehl: Some(0.998),
///     ..TestSheetInput::new(318.0, 312.0, SurfaceOrWavefront::Wavefront, 632.8)
/// })?;
/// let figure = sheet.figure(550.0)?;
/// assert!(figure.contradictions.is_empty());
/// assert!(figure.tested_rms_nm.holds(0.0065 * 632.8));
/// assert!(figure.rms_nm.high > 40.0, "a turned edge outside of the tested circle");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "TestSheetInput", into = "TestSheetInput")]
pub struct TestSheet(TestSheetInput);

impl TestSheet {
    /// A sheet from its numbers.
    ///
    /// ```
    /// use catoptric::{SurfaceOrWavefront, TestSheet, TestSheetInput};
    /// let error = TestSheet::new(TestSheetInput {
    ///     strehl: Some(1.2),
    ///     ..TestSheetInput::new(318.0, 330.0, SurfaceOrWavefront::Wavefront, 6328.0)
    /// }).unwrap_err();
    /// let fields: Vec<&str> = error.problems().iter().map(|p| p.field.as_str()).collect();
    /// assert_eq!(fields, ["tested_diameter_mm", "wavelength_nm", "strehl"]);
    /// ```
    pub fn new(input: TestSheetInput) -> Result<Self> {
        input.try_into()
    }

    /// The numbers as they were given.
    pub fn input(&self) -> &TestSheetInput {
        &self.0
    }

    /// What the sheet says about the wavefront of the whole mirror, judged at a wavelength.
    ///
    /// Units: nm.
    /// Errors: [`Error::Input`] for a wavelength that cannot be.
    /// Source and what is left out: see [`SheetFigure`].
    ///
    /// ```
    /// use catoptric::{SurfaceOrWavefront, TestSheet, TestSheetInput};
    /// let sheet = TestSheet::new(TestSheetInput {
    ///     pv_waves: Some(0.125),
    ///     ..TestSheetInput::new(200.0, 200.0, SurfaceOrWavefront::Surface, 560.0)
    /// })?;
    /// let figure = sheet.figure(560.0)?;
    /// assert_eq!(figure.pv_nm, Some(140.0)); // twice an eighth of a wave
    /// assert!((figure.rms_nm.high - 70.28).abs() < 1e-9); // half of it, rounding included: no shape has more
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn figure(&self, wavelength_nm: f64) -> Result<SheetFigure> {
        check_wavelength(wavelength_nm)?;
        Ok(SheetFigure::of(self, wavelength_nm))
    }

    /// PV of the tested wavefront as printed, nm.
    pub(super) fn pv_wavefront_nm(&self) -> Option<f64> {
        self.wavefront_nm(self.0.pv_waves, self.0.pv_nm)
    }

    /// RMS of the tested wavefront as printed, nm.
    pub(super) fn rms_wavefront_nm(&self) -> Option<f64> {
        self.wavefront_nm(self.0.rms_waves, self.0.rms_nm)
    }

    fn wavefront_nm(&self, waves: Option<f64>, nm: Option<f64>) -> Option<f64> {
        let counted = nm.or_else(|| waves.map(|w| w * self.0.wavelength_nm));
        counted.map(|value| value * self.0.surface_or_wavefront.to_wavefront())
    }
}

impl TryFrom<TestSheetInput> for TestSheet {
    type Error = Error;

    fn try_from(input: TestSheetInput) -> Result<Self> {
        let mut findings = Findings::default();
        check_tested_circle(input.tested_diameter_mm, input.clear_aperture_mm, &mut findings);
        if let Err(Error::Input(problems)) = check_wavelength(input.wavelength_nm) {
            for p in problems {
                findings.fault(&p.field, p.value, &p.allowed, &p.cause);
            }
        }
        check_error(&input, &mut findings);
        if let Some(strehl) = input.strehl {
            let cause = if strehl > 1.0 { "per cent?" } else { "" };
            let allowed = "above 0.1 and at most 1: below, no formula joins Strehl and RMS";
            findings.number("strehl", strehl, |s| s > 0.1 && s <= 1.0, allowed, cause);
        }
        findings.refuse()?;
        Ok(Self(input))
    }
}

impl From<TestSheet> for TestSheetInput {
    fn from(sheet: TestSheet) -> Self {
        sheet.0
    }
}

/// Notes a tested circle that is no part of the mirror.
pub(super) fn check_tested_circle(tested_mm: f64, clear_mm: f64, findings: &mut Findings) {
    let lengths =
        findings.length("clear_aperture_mm", clear_mm) & findings.length("tested_diameter_mm", tested_mm);
    if lengths {
        let allowed = format!("from half of the clear aperture to all of it ({clear_mm})");
        let cause = if tested_mm > clear_mm {
            "the glass's own diameter, or the two exchanged?"
        } else {
            "a radius given for a diameter? a test of so little of a mirror says nothing about the rest"
        };
        let is_part = |d: f64| (0.5 * clear_mm..=clear_mm).contains(&d);
        findings.number("tested_diameter_mm", tested_mm, is_part, &allowed, cause);
    }
}

fn check_error(input: &TestSheetInput, findings: &mut Findings) {
    let waves = "above 0 and at most 20 waves";
    let nm = "above 0 and at most 20000 nm";
    let fields = [
        ("pv_waves", input.pv_waves, 20.0, waves),
        ("pv_nm", input.pv_nm, 2e4, nm),
        ("rms_waves", input.rms_waves, 20.0, waves),
        ("rms_nm", input.rms_nm, 2e4, nm),
    ];
    for (field, value, most, allowed) in fields {
        let Some(value) = value else { continue };
        let cause = if value == 0.0 {
            "an empty cell, or rounded away? no mirror is without error"
        } else if value > most {
            "nanometres given for waves, or a denominator (the 20 of 1/20)?"
        } else {
            ""
        };
        findings.number(field, value, |v| v > 0.0 && v <= most, allowed, cause);
    }
    for (first, second, both) in [
        ("pv_waves", "pv_nm", input.pv_waves.zip(input.pv_nm)),
        ("rms_waves", "rms_nm", input.rms_waves.zip(input.rms_nm)),
    ] {
        if let Some((a, b)) = both {
            let allowed = format!("one of {first} and {second}, not both");
            findings.fault(second, format!("{b} beside {first} = {a}"), &allowed, "");
        }
    }
    if fields.iter().all(|(_, value, ..)| value.is_none()) && input.strehl.is_none() {
        let allowed = "one at least of pv_waves or pv_nm, rms_waves or rms_nm, strehl";
        findings.fault("rms_waves", "nothing", allowed, "a sheet without a result");
    }
}
