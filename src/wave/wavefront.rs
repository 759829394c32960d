//! The wavefront of one star, seen from one point of the image.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::density::{PhaseDensity, SlopeTable};
use super::extremes;
use super::focus::{Focus, FoundList};
use super::source::{Pupil, Source, View};
use super::spectrum::Spectrum;
use super::star_light::KeptLists;
use super::terms::{self, FitNodes, Terms};
use super::wavelength::check_wavelength;
use crate::error::{Error, Result};
use crate::numeric::sums;
use crate::numeric::zernike::Indexing;
use crate::trace::{Prepared, Star, no_light};
use crate::units::{Field, UM_PER_MM};

/// Accuracy that is promised for a Strehl.
const STREHL_ACCURACY: f64 = 1e-6;
/// How often a list of nodes is made finer before giving up.
const REFINEMENTS: usize = 3;
/// What the outline of a cut pupil is good to.
const ERROR_FLOOR: f64 = 1e-10;

/// A wavefront seen from its reference point in the image.
///
/// W = -(d.Q + |P - Q|) for hit points Q on the mirror, light along d and the reference point P, piston removed
/// over the lit pupil; positive where the wave is ahead, so that a hill of glass h gives 2h/(1 + (r/R)^2).
///
/// Units: nm, mm, um. RMS and PV are not weighted by the amplitude; the Strehl is.
/// Source: `strehl` = |sum A exp(2 pi i W/lambda)|^2/(sum A)^2, the exact pupil integral.
/// Leaves out: polarisation and the scalar amplitude factor of a fast mirror, together about 1e-3 of
/// the peak at f/5.
///
/// ```
/// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0)).build()?;
/// let wavefront = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?;
/// assert!((wavefront.rms_nm - 134.8524).abs() < 1e-3); // the exact sphere refocused, own computation
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(try_from = "WavefrontRecipe", into = "WavefrontRecipe")]
pub struct Wavefront {
    pub(crate) source: Source,
    pub(crate) reference_mm: [f64; 3],
    /// Nodes and what they see, shared by all copies.
    pub(crate) pupil: Arc<Pupil>,
    pub(crate) view: Arc<View>,
    /// The steepest slopes as seen from the reference point.
    pub(crate) slopes: Arc<SlopeTable>,
    pub(crate) kept: KeptLists,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Root mean square over the lit pupil, nm.
    pub rms_nm: f64,
    /// Highest minus lowest point, nm.
    pub pv_nm: f64,
    /// Peak at the reference point over that of the same light without wavefront error.
    pub strehl: f64,
    /// (sum A)^2/(area x sum A^2): what an uneven coating costs the peak beyond the light it loses.
    pub amplitude_factor: f64,
    /// Estimated error of the Strehl: three times the difference from a coarser sum.
    pub error_estimate: f64,
}

/// What a wavefront is made again from.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct WavefrontRecipe {
    source: Source,
    reference_mm: [f64; 3],
    wavelength_nm: f64,
}

impl TryFrom<WavefrontRecipe> for Wavefront {
    type Error = Error;

    fn try_from(recipe: WavefrontRecipe) -> Result<Self> {
        Self::seen_from(recipe.source, recipe.reference_mm, recipe.wavelength_nm)
    }
}

impl From<Wavefront> for WavefrontRecipe {
    fn from(w: Wavefront) -> Self {
        Self { source: w.source, reference_mm: w.reference_mm, wavelength_nm: w.wavelength_nm }
    }
}

/// Wavefronts are equal where the same star is seen through the same train from the same point.
impl PartialEq for Wavefront {
    fn eq(&self, other: &Self) -> bool {
        let sources = match (&self.source, &other.source) {
            (Source::Star { prepared: a, star: p }, Source::Star { prepared: b, star: q }) => {
                a.train() == b.train() && p == q
            }
            (Source::Terms(a), Source::Terms(b)) => a == b,
            _ => false,
        };
        sources && self.reference_mm == other.reference_mm && self.wavelength_nm == other.wavelength_nm
    }
}

impl Prepared {
    /// The wavefront of a star at a focus.
    ///
    /// Units: nm.
    /// Errors: [`Error::Input`]; [`Error::NoLight`]; [`Error::NotConverged`] where the Strehl does not come out to 1e-6. With a
    /// height map on the mirror 1e-5 is aimed at, and up to 1e-3 is accepted and stated in `error_estimate`: rough glass of
    /// 10 nm from pixel to pixel comes to about 1e-5.
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let wavefront = Prepared::new(&train).wavefront(Field::AXIS, Focus::Paraxial, 550.0)?;
    /// assert!(wavefront.rms_nm < 1e-3 && (wavefront.strehl - 1.0).abs() < 1e-9);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn wavefront(&self, star: impl Into<Star>, focus: Focus, wavelength_nm: f64) -> Result<Wavefront> {
        let star = star.into();
        check_wavelength(wavelength_nm)?;
        let coloured = self.in_colour(wavelength_nm)?;
        let found = coloured.found_focus(focus, star, wavelength_nm)?;
        let source = Source::Star { prepared: coloured, star };
        Wavefront::on_list(source, found.reference_mm, wavelength_nm, found.list)
    }
}

impl Wavefront {
    /// A wavefront given by Zernike coefficients on a circular or annular pupil.
    ///
    /// Units: nm of wavefront for each index; the obstruction counts by diameter. A star image
    /// needs the focal ratio as well.
    /// Errors: [`Error::Input`] for indices, obstructions and focal ratios that cannot be.
    /// Source: Noll 1976 (J. Opt. Soc. Am. 66, 207); OSA/ANSI Z80.28 and ISO 24157: both of unit RMS over the
    /// clear circle; fringe terms count at the rim.
    ///
    /// ```
    /// use catoptric::{Indexing, Wavefront};
    /// // A quarter wave of defocus, peak to valley: Strehl 0.81057, (sin(pi/4)/(pi/4))^2.
    /// let defocus = [(4, 550.0 / 8.0 / 3.0_f64.sqrt())].into();
    /// let wavefront = Wavefront::from_zernikes(&defocus, Indexing::Noll, 0.0, None, 550.0)?;
    /// assert!((wavefront.strehl - 0.810_569_47).abs() < 1e-8);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn from_zernikes(
        coefficients_nm: &BTreeMap<u32, f64>,
        indexing: Indexing,
        obstruction_ratio: f64,
        focal_ratio: Option<f64>,
        wavelength_nm: f64,
    ) -> Result<Self> {
        check_wavelength(wavelength_nm)?;
        let terms = Terms::new(coefficients_nm, indexing, obstruction_ratio, focal_ratio)?;
        Self::seen_from(Source::Terms(terms), [0.0; 3], wavelength_nm)
    }

    /// The wavefront of a source from a reference point, on as many nodes as the Strehl needs.
    pub(crate) fn seen_from(source: Source, reference_mm: [f64; 3], wavelength_nm: f64) -> Result<Self> {
        check_wavelength(wavelength_nm)?;
        Self::on_list(source.in_colour(wavelength_nm)?, reference_mm, wavelength_nm, None)
    }

    /// The same, where a list for this reference point is at hand already.
    fn on_list(
        source: Source,
        reference_mm: [f64; 3],
        wavelength_nm: f64,
        list: Option<FoundList>,
    ) -> Result<Self> {
        let (mut density, mut at_hand, mut coarse_at_hand) = match list {
            Some(FoundList { density, pupil, companion }) => (density, Some(pupil), companion),
            None => (PhaseDensity::of_statistics(source.slopes(&[reference_mm]), wavelength_nm), None, None),
        };
        let (mut error, tolerance) = (f64::INFINITY, source.tolerance(STREHL_ACCURACY));
        for refinement in 0..=REFINEMENTS {
            let pupil = at_hand.take().unwrap_or_else(|| source.pupil(&density));
            if pupil.is_dark() {
                return Err(dark(&source));
            }
            let companion = coarse_at_hand.take().unwrap_or_else(|| source.pupil(&density.companion()));
            let strehl = Sums::new(&pupil, &pupil.seen_from(reference_mm), wavelength_nm).strehl();
            let coarse = Sums::new(&companion, &companion.seen_from(reference_mm), wavelength_nm).strehl();
            error = 3.0 * (strehl - coarse).abs() + ERROR_FLOOR;
            if let Some(sampling) = pupil.sampling_error {
                return Ok(Self::on_nodes(source, reference_mm, &density, pupil, error.max(sampling)));
            }
            if error <= tolerance.wanted || (refinement == REFINEMENTS && error <= tolerance.accepted) {
                return Ok(Self::on_nodes(source, reference_mm, &density, pupil, error));
            }
            density = density.with(density.fineness().finer());
        }
        Err(Error::NotConverged { what: "the Strehl", reached: error, wanted: tolerance.accepted })
    }

    fn on_nodes(
        source: Source,
        reference_mm: [f64; 3],
        density: &PhaseDensity,
        pupil: Pupil,
        error_estimate: f64,
    ) -> Self {
        let wavelength_nm = density.wavelength_nm();
        let mut view = pupil.seen_from(reference_mm);
        let piston = weighted_mean(&pupil.weight, &view.path_nm);
        for path in &mut view.path_nm {
            *path -= piston;
        }
        let squares: Vec<f64> = view.path_nm.iter().map(|w| w * w).collect();
        let sums = Sums::new(&pupil, &view, wavelength_nm);
        Self {
            wavelength_nm,
            rms_nm: weighted_mean(&pupil.weight, &squares).max(0.0).sqrt(),
            pv_nm: extremes::peak_to_valley_nm(&source, &pupil, &view, reference_mm, piston),
            strehl: sums.strehl(),
            amplitude_factor: sums.amplitude_factor(),
            error_estimate,
            source,
            reference_mm,
            pupil: Arc::new(pupil),
            view: Arc::new(view),
            slopes: Arc::new(density.slopes().clone()),
            kept: KeptLists::default(),
        }
    }

    /// The Strehl in light of several wavelengths: the intensity at the reference point over that of the perfect star of
    /// the same light, share/wavelength^2 being the weight of each.
    pub(crate) fn strehl_in(&self, spectrum: &Spectrum) -> f64 {
        if let [(nm, _)] = spectrum.lines()
            && nm.to_bits() == self.wavelength_nm.to_bits()
        {
            return self.strehl;
        }
        let lines = spectrum.lines().iter().zip(spectrum.peak_shares());
        let strehl = |nm: f64| {
            if !self.pupil.has_film() {
                return Sums::new(&self.pupil, &self.view, nm).strehl();
            }
            let pupil = self.pupil.in_colour(nm);
            Sums::new(&pupil, &pupil.seen_from(self.reference_mm), nm).strehl()
        };
        lines.map(|((nm, _), counts)| counts * strehl(*nm)).sum()
    }

    /// Sums of the amplitude and of the light over the open pupil, mm^2.
    pub(crate) fn light_mm2(&self) -> (f64, f64) {
        let sums = Sums::new(&self.pupil, &self.view, self.wavelength_nm);
        (sums.amplitude, sums.energy)
    }

    /// Where the star stands; the centre of the field for given coefficients.
    pub fn field(&self) -> Field {
        match &self.source {
            Source::Star { star, .. } => star.field,
            Source::Terms(_) => Field::AXIS,
        }
    }

    /// The distance of an artificial star, mm from the vertex; nothing for a star of the sky or given coefficients.
    pub fn star_distance_mm(&self) -> Option<f64> {
        match &self.source {
            Source::Star { star, .. } => star.distance_mm,
            Source::Terms(_) => None,
        }
    }

    /// How far the reference point lies behind the paraxial focus of this star, mm; positive: further from the primary.
    pub fn focus_shift_mm(&self) -> f64 {
        self.reference_mm[2] - self.source.gaussian_mm()[2]
    }

    /// Where the reference point lies, seen from the Gaussian image point: `[along, across]`, um.
    pub fn reference_um(&self) -> [f64; 2] {
        let gaussian = self.source.gaussian_mm();
        [0, 1].map(|i| (self.reference_mm[i] - gaussian[i]) * UM_PER_MM)
    }

    /// Focal length over the diameter that gathers light; none for coefficients given without one.
    pub fn focal_ratio(&self) -> Option<f64> {
        self.source.focal_ratio()
    }

    /// Diameter of the diagonal's shadow over the diameter that gathers light.
    pub fn obstruction_ratio(&self) -> f64 {
        self.source.obstruction_ratio()
    }

    /// Zernike coefficients of the first `count` terms, nm, by index.
    ///
    /// Circle polynomials over the lit pupil, fitted at once by least squares, normalised to the open mirror's radius.
    /// Units: nm, RMS over the clear circle for Noll and OSA, height at the rim for fringe.
    /// Errors: [`Error::Input`] for a count that cannot be, [`Error::NotConverged`] where the lit part does not hold the terms apart.
    /// Leaves out: over an annulus the terms are not orthogonal, so their squares do not add up to the
    /// variance.
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocalLengthMm, Indexing, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0)).build()?;
    /// let wavefront = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?;
    /// let terms = wavefront.zernikes(Indexing::Noll, 11)?;
    /// assert!((terms[&11].abs() - wavefront.rms_nm).abs() < 0.1, "all of it is spherical aberration");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn zernikes(&self, indexing: Indexing, count: u32) -> Result<BTreeMap<u32, f64>> {
        let nodes = FitNodes { x: &self.pupil.x, y: &self.pupil.y, weight: &self.pupil.weight };
        terms::fit(&nodes, &self.view.path_nm, self.source.rim(), indexing, count)
    }
}

/// The sums behind Strehl and amplitude factor.
pub(crate) struct Sums {
    re: f64,
    im: f64,
    area: f64,
    amplitude: f64,
    energy: f64,
}

impl Sums {
    pub(crate) fn new(pupil: &Pupil, view: &View, wavelength_nm: f64) -> Self {
        let per_nm = std::f64::consts::TAU / wavelength_nm;
        let [re, im, area, amplitude, energy] = sums::of_terms(pupil.len(), |i| {
            let (weight, amplitude) = (pupil.weight[i], pupil.amplitude[i]);
            let light = weight * amplitude;
            let (sin, cos) = (per_nm * (view.path_nm[i] - view.path_nm[0])).sin_cos();
            [light * cos, light * sin, weight, light, light * amplitude]
        });
        Self { re, im, area, amplitude, energy }
    }

    pub(crate) fn strehl(&self) -> f64 {
        (self.re * self.re + self.im * self.im) / (self.amplitude * self.amplitude)
    }

    fn amplitude_factor(&self) -> f64 {
        self.amplitude * self.amplitude / (self.area * self.energy)
    }
}

fn weighted_mean(weights: &[f64], values: &[f64]) -> f64 {
    sums::dot(weights, values) / sums::pairwise(weights)
}

fn dark(source: &Source) -> Error {
    match source {
        Source::Star { prepared, star } => no_light(star.field, &prepared.light(star.field)),
        Source::Terms(_) => unreachable!("an annulus holds nodes"),
    }
}
