//! An interferometer's report: Zernike coefficients, checked, and what they are in one common form.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::evidence::SurfaceOrWavefront;
use super::null_term;
use super::test_sheet::check_tested_circle;
use super::zernike_figure::ZernikeFigure;
use crate::error::{Error, Findings, Result};
use crate::numeric::zernike::{Indexing, norm};
use crate::units::DEFAULT_WAVELENGTH_NM;
use crate::wave::check_wavelength;

/// Highest radial order of a report; beyond, fits to interferograms hold noise.
const HIGHEST_ORDER: u32 = 20;
/// Largest coefficient, nm: a hundred waves.
const LARGEST_NM: f64 = 1e5;

/// What a coefficient counts. There is no default: the two differ by up to a factor of 3 in the usual terms.
///
/// ```
/// assert_eq!(catoptric::Normalisation::from_name("rms"), Some(catoptric::Normalisation::Rms));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Normalisation {
    /// The RMS of the term over the tested circle.
    Rms,
    /// The height of the term's crest at the rim of the tested circle.
    Peak,
}

impl Normalisation {
    /// The normalisation of a name: `rms` or `peak`.
    ///
    /// ```
    /// assert_eq!(catoptric::Normalisation::from_name("unit"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "rms" => Some(Self::Rms),
            "peak" => Some(Self::Peak),
            _ => None,
        }
    }

    /// The normalisation's name.
    ///
    /// ```
    /// assert_eq!(catoptric::Normalisation::Peak.name(), "peak");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Rms => "rms",
            Self::Peak => "peak",
        }
    }
}

/// What coefficients are counted in.
///
/// ```
/// assert_eq!(catoptric::CoefficientUnit::from_name("waves"), Some(catoptric::CoefficientUnit::Waves));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CoefficientUnit {
    /// Waves of the report's wavelength.
    Waves,
    /// Nanometres.
    Nm,
}

impl CoefficientUnit {
    /// The unit of a name: `waves` or `nm`.
    ///
    /// ```
    /// assert_eq!(catoptric::CoefficientUnit::from_name("um"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "waves" => Some(Self::Waves),
            "nm" => Some(Self::Nm),
            _ => None,
        }
    }

    /// The unit's name.
    ///
    /// ```
    /// assert_eq!(catoptric::CoefficientUnit::Nm.name(), "nm");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Waves => "waves",
            Self::Nm => "nm",
        }
    }
}

/// Where a paraboloid was tested. There is no default.
///
/// ```
/// assert_eq!(catoptric::TestPlace::from_name("at_focus"), Some(catoptric::TestPlace::AtFocus));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TestPlace {
    /// At the focus (against a flat), or with a null: a perfect paraboloid shows nothing.
    AtFocus,
    /// At the centre of curvature without a null: a perfect paraboloid shows its difference from a sphere.
    AtCentreOfCurvature,
}

impl TestPlace {
    /// The place of a name: `at_focus` or `at_centre_of_curvature`.
    ///
    /// ```
    /// assert_eq!(catoptric::TestPlace::from_name("null"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "at_focus" => Some(Self::AtFocus),
            "at_centre_of_curvature" => Some(Self::AtCentreOfCurvature),
            _ => None,
        }
    }

    /// The place's name.
    ///
    /// ```
    /// assert_eq!(catoptric::TestPlace::AtFocus.name(), "at_focus");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::AtFocus => "at_focus",
            Self::AtCentreOfCurvature => "at_centre_of_curvature",
        }
    }
}

/// The contents of an interferometer's report, before they are checked.
///
/// Units: mm, nm; coefficients in `unit`.
///
/// ```
/// use catoptric::{CoefficientUnit, Indexing, Normalisation, SurfaceOrWavefront, TestPlace, ZernikeReportInput};
/// let input = ZernikeReportInput {
///     coefficients: [(11, 4.0)].into(),
///     indexing: Indexing::Noll,
///     normalisation: Normalisation::Rms,
///     unit: CoefficientUnit::Nm,
///     wavelength_nm: None,
///     surface_or_wavefront: SurfaceOrWavefront::Wavefront,
///     test: TestPlace::AtFocus,
///     tested_diameter_mm: 200.0,
///     clear_aperture_mm: 200.0,
///     radius_of_curvature_mm: 2400.0,
///     coefficient_sigma_nm: 0.0,
/// };
/// assert_eq!(input.coefficients[&11], 4.0);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ZernikeReportInput {
    /// Coefficients by index; positive where glass is too high, or the wave is ahead.
    pub coefficients: BTreeMap<u32, f64>,
    /// How terms are numbered.
    pub indexing: Indexing,
    /// What a coefficient counts.
    pub normalisation: Normalisation,
    /// What coefficients are counted in.
    pub unit: CoefficientUnit,
    /// Wavelength of the report, nm; needed for waves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wavelength_nm: Option<f64>,
    /// Glass, or the wavefront after one reflection (a test with two has to be halved first).
    pub surface_or_wavefront: SurfaceOrWavefront,
    /// Where the mirror was tested.
    pub test: TestPlace,
    /// Diameter of the circle to which the terms belong, mm.
    pub tested_diameter_mm: f64,
    /// Clear aperture of the mirror, mm.
    pub clear_aperture_mm: f64,
    /// Radius of curvature at the vertex, mm.
    pub radius_of_curvature_mm: f64,
    /// Standard deviation of each coefficient as wavefront of unit-RMS terms, nm; 0: taken as exact.
    #[serde(default)]
    pub coefficient_sigma_nm: f64,
}

/// Zernike coefficients of a mirror, as an interferometer reports them.
///
/// Units: mm, nm. A positive coefficient is a hill of glass, or a wave ahead, where its term is positive.
/// Errors: [`Error::Input`] at construction, with all faults found: sizes, indices and numbers that cannot be, waves without
/// a wavelength.
/// Leaves out: what lies between the terms; a turned edge needs more of them than any report has.
///
/// ```
/// use catoptric::*;
/// // A paraboloid without a null: its own term, -a^4/(4R^3)/(6 sqrt 5) to third order, is no error.
/// let report = ZernikeReport::new(ZernikeReportInput {
///     coefficients: [(11, -134.8)].into(),
///     indexing: Indexing::Noll,
///     normalisation: Normalisation::Rms,
///     unit: CoefficientUnit::Nm,
///     wavelength_nm: None,
///     surface_or_wavefront: SurfaceOrWavefront::Wavefront,
///     test: TestPlace::AtCentreOfCurvature,
///     tested_diameter_mm: 200.0,
///     clear_aperture_mm: 200.0,
///     radius_of_curvature_mm: 2400.0,
///     coefficient_sigma_nm: 0.0,
/// })?;
/// let figure = report.figure(0.0, 550.0, 100, 1)?;
/// assert!((report.null_nm()[&11] + 134.8).abs() < 0.2 && figure.rms_nm < 0.5);
/// # Ok::<(), Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "ZernikeReportInput", into = "ZernikeReportInput")]
pub struct ZernikeReport(ZernikeReportInput);

impl ZernikeReport {
    /// A report from its contents.
    ///
    /// Example: see [`ZernikeReport`].
    pub fn new(input: ZernikeReportInput) -> Result<Self> {
        input.try_into()
    }

    /// The contents as they were given.
    pub fn input(&self) -> &ZernikeReportInput {
        &self.0
    }

    /// The reported wavefront over the tested circle, by Noll's index, in nm of unit-RMS terms.
    ///
    /// Everything that was reported, focus, tilt and a paraboloid's own term included.
    /// Units: nm of wavefront.
    /// Source: Noll 1976, J. Opt. Soc. Am. 66, 207, table I; a peak coefficient is sqrt(n + 1) (m = 0) or sqrt(2(n + 1)) times the
    /// RMS.
    ///
    /// Example: see [`ZernikeReport::null_nm`].
    pub fn reported_nm(&self) -> BTreeMap<u32, f64> {
        let input = &self.0;
        let unit_nm = match input.unit {
            CoefficientUnit::Nm => 1.0,
            // Waves without a wavelength were refused at construction.
            CoefficientUnit::Waves => input.wavelength_nm.unwrap_or(DEFAULT_WAVELENGTH_NM),
        };
        let scale = unit_nm * input.surface_or_wavefront.to_wavefront();
        let common = |(&j, &value): (&u32, &f64)| {
            let (n, m) = input.indexing.order(j)?;
            let rms = match input.normalisation {
                Normalisation::Rms => value,
                Normalisation::Peak => value / norm(n, m),
            };
            Some((Indexing::Noll.index(n, m)?, rms * scale))
        };
        input.coefficients.iter().filter_map(common).collect()
    }

    /// The wavefront that a perfect paraboloid shows in this test, by Noll's index, in nm of unit-RMS terms.
    ///
    /// Empty for a test at the focus. Negative spherical aberration: a paraboloid's rim lies below the sphere about its
    /// centre of curvature.
    /// Units: nm of wavefront over the tested circle, beyond focus.
    /// Source: W = 2 (R + e - |P - Q|), exact (own derivation); to third order -r^4/(4R^3).
    /// Leaves out: distortion of the interferometer's picture of the mirror, up to (r/R)^2/2 of r.
    ///
    /// ```
    /// use catoptric::*;
    /// let report = ZernikeReport::new(ZernikeReportInput {
    ///     coefficients: [(9, 10.0)].into(),
    ///     indexing: Indexing::Fringe,
    ///     normalisation: Normalisation::Peak,
    ///     unit: CoefficientUnit::Nm,
    ///     wavelength_nm: None,
    ///     surface_or_wavefront: SurfaceOrWavefront::Surface,
    ///     test: TestPlace::AtFocus,
    ///     tested_diameter_mm: 200.0,
    ///     clear_aperture_mm: 200.0,
    ///     radius_of_curvature_mm: 2400.0,
    ///     coefficient_sigma_nm: 0.0,
    /// })?;
    /// assert!(report.null_nm().is_empty());
    /// assert!((report.reported_nm()[&11] - 2.0 * 10.0 / 5.0_f64.sqrt()).abs() < 1e-12);
    /// # Ok::<(), Error>(())
    /// ```
    pub fn null_nm(&self) -> BTreeMap<u32, f64> {
        if self.0.test == TestPlace::AtFocus { BTreeMap::new() } else { self.null_if_at_centre_nm() }
    }

    /// The terms that a perfect paraboloid would show at its centre of curvature, wherever this one was tested.
    pub(super) fn null_if_at_centre_nm(&self) -> BTreeMap<u32, f64> {
        let input = &self.0;
        null_term::paraboloid_at_centre_of_curvature(input.tested_diameter_mm, input.radius_of_curvature_mm)
            .into_iter()
            .filter_map(|(n, value)| Some((Indexing::Noll.index(n, 0)?, value)))
            .collect()
    }

    /// The wavefront error of the whole mirror that the report shows, with `draws` repeats within its uncertainty.
    ///
    /// Units: nm; the obstruction counts by diameter.
    /// Errors: [`Error::Input`] for options that cannot be; [`Error::NotConverged`] where the Strehl does not come out to 1e-6.
    /// Source and what is left out: see [`ZernikeFigure`]. Example: see [`ZernikeReport`].
    pub fn figure(
        &self,
        obstruction_ratio: f64,
        wavelength_nm: f64,
        draws: usize,
        seed: u64,
    ) -> Result<ZernikeFigure> {
        ZernikeFigure::of(self, obstruction_ratio, wavelength_nm, draws, seed)
    }
}

impl TryFrom<ZernikeReportInput> for ZernikeReport {
    type Error = Error;

    fn try_from(input: ZernikeReportInput) -> Result<Self> {
        let mut findings = Findings::default();
        check_tested_circle(input.tested_diameter_mm, input.clear_aperture_mm, &mut findings);
        if findings.length("radius_of_curvature_mm", input.radius_of_curvature_mm) {
            let is_slow = |r: f64| r >= 2.0 * input.clear_aperture_mm;
            let cause = "focal length given for radius of curvature, or other units?";
            findings.number(
                "radius_of_curvature_mm",
                input.radius_of_curvature_mm,
                is_slow,
                "at least twice the clear aperture (f/1)",
                cause,
            );
        }
        match (input.unit, input.wavelength_nm) {
            (CoefficientUnit::Waves, None) => {
                findings.fault("wavelength_nm", "nothing", "the wavelength that the waves are of", "");
            }
            (_, Some(wavelength_nm)) => {
                if let Err(Error::Input(problems)) = check_wavelength(wavelength_nm) {
                    for p in problems {
                        findings.fault(&p.field, p.value, &p.allowed, &p.cause);
                    }
                }
            }
            (CoefficientUnit::Nm, None) => {}
        }
        let sigma = |v: f64| (0.0..=1e4).contains(&v);
        findings.number("coefficient_sigma_nm", input.coefficient_sigma_nm, sigma, "0 to 10000 nm", "waves?");
        check_coefficients(&input, &mut findings);
        findings.refuse()?;
        Ok(Self(input))
    }
}

impl From<ZernikeReport> for ZernikeReportInput {
    fn from(report: ZernikeReport) -> Self {
        report.0
    }
}

fn check_coefficients(input: &ZernikeReportInput, findings: &mut Findings) {
    if input.coefficients.is_empty() {
        findings.fault("coefficients", "nothing", "one term or more", "");
    }
    let most = match input.unit {
        CoefficientUnit::Waves => LARGEST_NM / input.wavelength_nm.filter(|w| *w >= 1.0).unwrap_or(500.0),
        CoefficientUnit::Nm => LARGEST_NM,
    };
    for (&j, &value) in &input.coefficients {
        let field = format!("coefficients[{j}]");
        if input.indexing.order(j).is_none_or(|(n, _)| n > HIGHEST_ORDER) {
            let allowed = format!("an index of radial order 0 to {HIGHEST_ORDER} ({:?})", input.indexing);
            findings.fault(&field, j, &allowed, "another indexing?");
        }
        let allowed = format!("within +-{most:.0} {}", input.unit.name());
        findings.number(&field, value, |v| v.abs() <= most, &allowed, "another unit?");
    }
}
