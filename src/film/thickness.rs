//! The way back: how thick the metal is, from what it returns or lets through.

use serde::{Deserialize, Serialize};

use super::metal_film::{FilmResponse, MetalFilm};
use crate::error::{Error, Findings, Result};
use crate::numeric::roots;

/// Thicknesses that are looked at, nm: beyond, a film of any mirror metal is as good as bulk.
const THICKEST_NM: f64 = 200.0;
const LOOKS: usize = 800;

/// A stretch of thicknesses that agree with a measurement.
///
/// Units: nm.
///
/// ```
/// let range = catoptric::ThicknessRange { low_nm: 38.0, high_nm: None };
/// assert!(range.high_nm.is_none(), "and everything thicker");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ThicknessRange {
    /// Least thickness, nm.
    pub low_nm: f64,
    /// Greatest thickness, nm; none where everything thicker agrees as well.
    pub high_nm: Option<f64>,
}

/// What a measurement says of the thickness of a film.
///
/// ```
/// use catoptric::{Metal, MetalFilm};
/// let film = MetalFilm::new(Metal::Aluminium, 0.0);
/// let found = film.thickness_from_reflectance(0.915, 0.01, 550.0)?;
/// assert!(found.ranges[0].high_nm.is_none(), "reflectance cannot tell 40 nm from 100");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ThicknessFinding {
    /// All stretches that agree, from thin to thick.
    pub ranges: Vec<ThicknessRange>,
    /// How far apart the heights of the thinnest and the thickest film that agree are, nm of glass: what the
    /// measurement leaves open of the figure.
    pub height_open_nm: f64,
    /// The finding in a sentence.
    pub words: String,
}

impl MetalFilm {
    /// Thicknesses that return a given share of unpolarised light at normal incidence, within a tolerance; this
    /// film's own thickness does not count.
    ///
    /// Units: nm.
    /// Errors: [`Error::Input`] for a film that cannot be, a reflectance outside of 0 to 1, a tolerance that is not
    /// above 0, and where no thickness agrees.
    /// Method: all crossings among 800 looks up to 200 nm, each refined to 1e-9 nm.
    /// Leaves out: haze, which dims without thinning: where it may be there, measure what passes instead.
    ///
    /// ```
    /// use catoptric::{Metal, MetalFilm};
    /// let film = MetalFilm::new(Metal::Aluminium, 12.0);
    /// let seen = film.response(550.0, 0.0)?.reflectance();
    /// let found = film.thickness_from_reflectance(seen, 0.005, 550.0)?;
    /// assert!(found.ranges.iter().any(|r| r.low_nm < 12.0 && r.high_nm.is_some_and(|h| h > 12.0)));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn thickness_from_reflectance(
        &self,
        reflectance: f64,
        tolerance: f64,
        wavelength_nm: f64,
    ) -> Result<ThicknessFinding> {
        self.thickness("reflectance", (reflectance, tolerance), wavelength_nm, FilmResponse::reflectance)
    }

    /// The same from the share of a lamp's light that comes out of the mirror's bare back.
    ///
    /// Units, errors, method: as [`MetalFilm::thickness_from_reflectance`].
    /// Leaves out: a back that is not polished, absorption in the glass, pinholes, which add their own area.
    ///
    /// ```
    /// use catoptric::{Metal, MetalFilm};
    /// let found = MetalFilm::new(Metal::Aluminium, 0.0).thickness_from_lamp(0.002, 0.001, 550.0)?;
    /// assert!(found.ranges.len() == 1 && found.ranges[0].high_nm.is_some_and(|h| h < 60.0));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn thickness_from_lamp(
        &self,
        transmittance: f64,
        tolerance: f64,
        wavelength_nm: f64,
    ) -> Result<ThicknessFinding> {
        self.thickness(
            "transmittance",
            (transmittance, tolerance),
            wavelength_nm,
            FilmResponse::lamp_transmittance,
        )
    }

    fn thickness(
        &self,
        name: &str,
        (measured, tolerance): (f64, f64),
        wavelength_nm: f64,
        of: impl Fn(&FilmResponse) -> f64,
    ) -> Result<ThicknessFinding> {
        self.response(wavelength_nm, 0.0)?;
        let mut findings = Findings::default();
        let share = |v: f64| (0.0..=1.0).contains(&v);
        findings.number(name, measured, share, "a share from 0 to 1", "per cent?");
        findings.number("tolerance", tolerance, |v| v > 0.0 && v < 1.0, "above 0 and below 1", "per cent?");
        findings.refuse()?;
        let response = |thickness_nm: f64| Self { thickness_nm, ..*self }.respond(wavelength_nm, 0.0);
        let ranges = agreeing(|thickness_nm| of(&response(thickness_nm)) - measured, tolerance);
        let (Some(first), Some(last)) = (ranges.first(), ranges.last()) else {
            return Err(Error::input(
                name,
                measured,
                format!(
                    "{:.4} (bare glass) to {:.4} ({THICKEST_NM} nm), or on the way between them",
                    of(&response(0.0)),
                    of(&response(THICKEST_NM))
                ),
                "another metal, an overcoat, or a value relative to some other mirror?",
            ));
        };
        let height = |thickness_nm: f64| response(thickness_nm).height_nm();
        let height_open_nm = (height(last.high_nm.unwrap_or(THICKEST_NM)) - height(first.low_nm)).abs();
        let words = words(&ranges, height_open_nm);
        Ok(ThicknessFinding { ranges, height_open_nm, words })
    }
}

/// Where `difference` is within a tolerance of 0, from thin to thick.
fn agreeing(difference: impl Fn(f64) -> f64, tolerance: f64) -> Vec<ThicknessRange> {
    let at = |i: usize| THICKEST_NM * i as f64 / LOOKS as f64;
    let mut edges = vec![0.0];
    for i in 0..LOOKS {
        // Both levels by themselves: a stretch may be shorter than the distance of two looks.
        let crossing = |level: f64| roots::bracketed(|d| difference(d) - level, at(i), at(i + 1), 1e-9);
        edges.extend([tolerance, -tolerance].into_iter().filter_map(crossing));
    }
    edges.push(THICKEST_NM);
    edges.sort_by(f64::total_cmp);
    let mut ranges: Vec<ThicknessRange> = Vec::new();
    for pair in edges.windows(2) {
        let agrees = pair[1] > pair[0] && difference(f64::midpoint(pair[0], pair[1])).abs() <= tolerance;
        if !agrees {
            continue;
        }
        let high_nm = (pair[1] < THICKEST_NM).then_some(pair[1]);
        match ranges.last_mut() {
            Some(last) if last.high_nm.is_some_and(|high| high >= pair[0]) => last.high_nm = high_nm,
            _ => ranges.push(ThicknessRange { low_nm: pair[0], high_nm }),
        }
    }
    ranges
}

fn words(ranges: &[ThicknessRange], height_open_nm: f64) -> String {
    let one = |r: &ThicknessRange| match r.high_nm {
        Some(high) => format!("{:.1} to {high:.1} nm", r.low_nm),
        None => format!("{:.1} nm or more", r.low_nm),
    };
    let all = ranges.iter().map(one).collect::<Vec<_>>().join(", or ");
    let open = format!("what is open between them is {height_open_nm:.0} nm of height.");
    match ranges {
        [only] if only.high_nm.is_some() => format!("The metal is {all} thick; {open}"),
        [_] => format!("The metal is {all} thick: beyond that this measurement cannot tell, and {open}"),
        _ => format!("The metal is {all} thick: this measurement cannot tell which; {open}"),
    }
}
