//! A metal film on glass, with or without an overcoat.

use std::f64::consts::{PI, TAU};

use nalgebra::Complex;
use serde::{Deserialize, Serialize};

use super::metal::Metal;
use super::stack::{Amplitudes, Layer, Polarisation, Stack};
use crate::error::{Findings, Result};

/// Metal of a given thickness on glass.
///
/// Thin metal returns less light, and returns it from another height: a film that is worn from 100 to 40 nm looks as
/// bright as before and is a hollow of 60 nm.
///
/// Units: nm. Indices are those of the glass and of the overcoat, without absorption.
/// Errors: found by [`MetalFilm::check`] and wherever something is asked.
/// Source: Fresnel's amplitudes and the series of reflections between parallel faces (Born and Wolf, Principles of
/// Optics, chapters 1 and 14; from memory); the metal's index from [`Metal::index`].
/// Leaves out: metal that is not bulk-like (below about 10 nm it stands in islands), the metal's oxide (3 to 4 nm on
/// aluminium, 2 nm of height; common practice, no source), roughness.
///
/// ```
/// use catoptric::{Metal, MetalFilm};
/// let fresh = MetalFilm::new(Metal::Aluminium, 100.0).response(550.0, 0.0)?;
/// let worn = MetalFilm::new(Metal::Aluminium, 40.0).response(550.0, 0.0)?;
/// assert!((fresh.reflectance() - worn.reflectance()).abs() < 0.005, "as bright");
/// assert!((fresh.height_nm() - worn.height_nm() - 60.0).abs() < 0.5, "and a hollow");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MetalFilm {
    /// The metal.
    pub metal: Metal,
    /// Its thickness, nm.
    pub thickness_nm: f64,
    /// Index of the glass under it.
    #[serde(default = "MetalFilm::default_glass_index")]
    pub glass_index: f64,
    /// A transparent layer over the metal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overcoat: Option<Overcoat>,
}

/// A transparent layer over the metal, against wear or for reflectance.
///
/// Units: nm.
///
/// ```
/// assert_eq!(catoptric::Overcoat::new(1.46, 175.0).index, 1.46);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Overcoat {
    /// Index of refraction.
    pub index: f64,
    /// Thickness, nm.
    pub thickness_nm: f64,
}

impl Overcoat {
    /// A layer from its index and thickness, nm.
    ///
    /// ```
    /// assert_eq!(catoptric::Overcoat::new(1.46, 175.0).thickness_nm, 175.0);
    /// ```
    pub fn new(index: f64, thickness_nm: f64) -> Self {
        Self { index, thickness_nm }
    }
}

/// What a film does to light of one wavelength and direction.
///
/// Units: shares of the power; nm above the glass. Each for the electric field across the plane of incidence (s) and
/// in it (p).
///
/// ```
/// use catoptric::{Metal, MetalFilm};
/// let at_45 = MetalFilm::new(Metal::Aluminium, 500.0).response(550.0, 45.0)?;
/// assert!((at_45.reflectance_s.powi(2) - at_45.reflectance_p).abs() < 1e-12); // true of any thick metal
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FilmResponse {
    /// Power returned, s.
    pub reflectance_s: f64,
    /// Power returned, p.
    pub reflectance_p: f64,
    /// Power that goes on into the glass, s.
    pub transmittance_s: f64,
    /// Power that goes on into the glass, p.
    pub transmittance_p: f64,
    /// Power that comes out of the glass's bare back, all reflections between back and film counted, s.
    pub lamp_transmittance_s: f64,
    /// The same, p.
    pub lamp_transmittance_p: f64,
    /// Height above the glass of the perfect mirror that returns the same phase, s, nm.
    pub height_s_nm: f64,
    /// The same, p, nm.
    pub height_p_nm: f64,
}

impl FilmResponse {
    /// Power returned of unpolarised light.
    pub fn reflectance(&self) -> f64 {
        f64::midpoint(self.reflectance_s, self.reflectance_p)
    }

    /// Power of unpolarised light that goes on into the glass.
    pub fn transmittance(&self) -> f64 {
        f64::midpoint(self.transmittance_s, self.transmittance_p)
    }

    /// Power of unpolarised light that comes out of the glass's bare back: what an eye behind the mirror sees of a
    /// lamp.
    pub fn lamp_transmittance(&self) -> f64 {
        f64::midpoint(self.lamp_transmittance_s, self.lamp_transmittance_p)
    }

    /// Power of unpolarised light that stays in the metal.
    pub fn absorptance(&self) -> f64 {
        1.0 - self.reflectance() - self.transmittance()
    }

    /// Height of the equivalent perfect mirror above the glass, the mean of both polarisations, nm.
    pub fn height_nm(&self) -> f64 {
        f64::midpoint(self.height_s_nm, self.height_p_nm)
    }
}

impl MetalFilm {
    /// Borosilicate glass in green light (from memory).
    pub(crate) fn default_glass_index() -> f64 {
        1.474
    }

    /// A bare film of a metal, nm thick, on borosilicate glass.
    ///
    /// ```
    /// use catoptric::{Metal, MetalFilm};
    /// assert_eq!(MetalFilm::new(Metal::Silver, 80.0).overcoat, None);
    /// ```
    pub fn new(metal: Metal, thickness_nm: f64) -> Self {
        Self { metal, thickness_nm, glass_index: Self::default_glass_index(), overcoat: None }
    }

    /// The same film on glass of another index.
    ///
    /// ```
    /// use catoptric::{Metal, MetalFilm};
    /// assert_eq!(MetalFilm::new(Metal::Silver, 80.0).glass_index(1.5168).glass_index, 1.5168);
    /// ```
    #[must_use]
    pub fn glass_index(self, glass_index: f64) -> Self {
        Self { glass_index, ..self }
    }

    /// The same film under a transparent layer.
    ///
    /// ```
    /// use catoptric::{Metal, MetalFilm, Overcoat};
    /// let film = MetalFilm::new(Metal::Aluminium, 80.0).overcoat(Overcoat::new(1.46, 175.0));
    /// assert_eq!(film.overcoat.map(|o| o.index), Some(1.46));
    /// ```
    #[must_use]
    pub fn overcoat(self, overcoat: Overcoat) -> Self {
        Self { overcoat: Some(overcoat), ..self }
    }

    /// Refuses a film that cannot be.
    ///
    /// ```
    /// use catoptric::{Metal, MetalFilm};
    /// assert!(MetalFilm::new(Metal::Aluminium, -1.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("metal_film", |f| self.note_problems(f));
        findings.refuse()
    }

    pub(crate) fn note_problems(&self, findings: &mut Findings) {
        let thickness = |v: f64| (0.0..=2000.0).contains(&v);
        let index = |v: f64| (1.0..=4.0).contains(&v);
        let cause = "micrometres or angstroms given for nanometres?";
        findings.number("thickness_nm", self.thickness_nm, thickness, "0 to 2000 nm", cause);
        findings.number("glass_index", self.glass_index, index, "1 to 4", "");
        if let Some(over) = self.overcoat {
            findings.within("overcoat", |f| {
                f.number("index", over.index, index, "1 to 4", "");
                f.number("thickness_nm", over.thickness_nm, thickness, "0 to 2000 nm", cause);
            });
        }
    }

    /// What the film does to light of a wavelength that meets it at an angle from the normal.
    ///
    /// Units: nm, degrees. Heights are known up to half a wavelength over the cosine; the one nearest to the metal's
    /// face, less the overcoat's optical surplus, is given.
    /// Errors: [`crate::Error::Input`] for a film that cannot be, wavelengths outside of 250 to 3000 nm, angles
    /// outside of 0 to 89 degrees.
    /// Source and what it leaves out: [`MetalFilm`].
    ///
    /// ```
    /// use catoptric::{Metal, MetalFilm};
    /// let thin = MetalFilm::new(Metal::Aluminium, 10.0).response(550.0, 0.0)?;
    /// assert!((thin.reflectance() + thin.transmittance() + thin.absorptance() - 1.0).abs() < 1e-15);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn response(&self, wavelength_nm: f64, angle_deg: f64) -> Result<FilmResponse> {
        self.check()?;
        self.metal.index(wavelength_nm)?;
        let mut findings = Findings::default();
        let possible = |v: f64| (0.0..=89.0).contains(&v);
        findings.number("angle_deg", angle_deg, possible, "0 to 89 degrees from the normal", "");
        findings.refuse()?;
        Ok(self.respond(wavelength_nm, angle_deg.to_radians()))
    }

    /// The same for values that have passed their checks; the angle in radians.
    pub(super) fn respond(&self, wavelength_nm: f64, angle: f64) -> FilmResponse {
        let stack = self.stack(wavelength_nm);
        let of = |polarisation| {
            let front = stack.amplitudes(wavelength_nm, angle.sin(), polarisation);
            let back = stack.reversed().amplitudes(wavelength_nm, angle.sin(), polarisation);
            let bare = Stack { from: self.glass_index, layers: Vec::new(), to: 1.0 };
            let out = bare.amplitudes(wavelength_nm, angle.sin(), polarisation);
            let through = passed(&front);
            let lamp = through * passed(&out) / (1.0 - back.reflected.norm_sqr() * out.reflected.norm_sqr());
            (front.reflected.norm_sqr(), through, lamp, self.height_nm(front.reflected, wavelength_nm, angle))
        };
        let (s, p) = (of(Polarisation::S), of(Polarisation::P));
        FilmResponse {
            reflectance_s: s.0,
            reflectance_p: p.0,
            transmittance_s: s.1,
            transmittance_p: p.1,
            lamp_transmittance_s: s.2,
            lamp_transmittance_p: p.2,
            height_s_nm: s.3,
            height_p_nm: p.3,
        }
    }

    pub(super) fn stack(&self, wavelength_nm: f64) -> Stack {
        let metal = Layer { index: self.metal.complex_index(wavelength_nm), thickness_nm: self.thickness_nm };
        let over =
            self.overcoat.map(|o| Layer { index: Complex::new(o.index, 0.0), thickness_nm: o.thickness_nm });
        Stack { from: 1.0, layers: over.into_iter().chain([metal]).collect(), to: self.glass_index }
    }

    /// Height of the perfect mirror, which returns -1 from its own place, that returns this amplitude.
    pub(super) fn height_nm(&self, reflected: Complex<f64>, wavelength_nm: f64, angle: f64) -> f64 {
        let cosine = angle.cos();
        let (mut top_nm, mut surplus_nm) = (self.thickness_nm, 0.0);
        if let Some(over) = self.overcoat {
            top_nm += over.thickness_nm;
            let within = (over.index * over.index - angle.sin().powi(2)).sqrt();
            surplus_nm = over.thickness_nm * within / cosine;
        }
        // Between the top and the plane light goes twice: the phase is pi plus 2 k (top - height) cos.
        let raw = top_nm - (reflected.arg() - PI) * wavelength_nm / (2.0 * TAU * cosine);
        let period = wavelength_nm / (2.0 * cosine);
        let expected = top_nm - surplus_nm;
        raw - period * ((raw - expected) / period).round()
    }
}

fn passed(amplitudes: &Amplitudes) -> f64 {
    amplitudes.carried * amplitudes.transmitted.norm_sqr()
}
