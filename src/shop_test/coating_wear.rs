//! From estimated levels to the coating of a train: haze, or thin metal by the film's inverse.

use serde::{Deserialize, Serialize};

use super::coating_estimate::{CoatingEstimate, Wear};
use crate::error::{Error, Result};
use crate::film::MetalFilm;
use crate::model::{Coating, CoatingPatch, CoatingRing, MetalCoat, RingProfile, ThinPatch, ThinRing};
use crate::numeric::roots;
use crate::units::DEFAULT_WAVELENGTH_NM;

/// Places at which the film's reflectance is looked at between bare glass and its whole thickness.
const LOOKS: usize = 2000;
/// Shares of a soft rim at which thickness and reflectance are made to agree.
const QUARTER: f64 = 0.25;

/// Which thickness is taken where a film of two thicknesses returns the same.
///
/// ```
/// assert_eq!(catoptric::ThinBranch::from_name("thickest"), Some(catoptric::ThinBranch::Thickest));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ThinBranch {
    /// The thinnest film that agrees: the deepest hollow.
    Thinnest,
    /// The thickest film that agrees and is not thicker than the base.
    Thickest,
}

impl ThinBranch {
    /// The branch of a name: `thinnest` or `thickest`.
    ///
    /// ```
    /// assert_eq!(catoptric::ThinBranch::from_name("thin"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "thinnest" => Some(Self::Thinnest),
            "thickest" => Some(Self::Thickest),
            _ => None,
        }
    }
}

/// How thick the metal of one part is, if thin metal is what dims it.
///
/// Units: nm; shares of the power.
///
/// ```
/// use catoptric::{CoatingOutline, CoatingSpots, Metal, MetalFilm, OutlinePatch};
/// let table = "x_mm,y_mm,ratio_1,ratio_2,ratio_3\n40,0,0.96,0.95,0.95\n0,75,0.95,0.96,0.96\n-46,71,0.45,0.48,0.49\n";
/// let seen = CoatingOutline::default().patch(OutlinePatch::new([-46.0, 71.0], 36.0).softness_mm(3.0));
/// let estimate = CoatingSpots::from_csv_text(table, 356.0, 0.90)?.fit(&seen)?;
/// let metal = estimate.thin_metal(&MetalFilm::new(Metal::Aluminium, 100.0))?;
/// assert!(metal[0].part == "patches[0]" && metal[0].thickness_nm.len() == 1);
/// assert!(metal[0].thickness_nm[0] < 12.0 && metal[0].height_nm[0] < -80.0, "a hollow: {:?}", metal[0]);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ThinMetalPart {
    /// `rings[0]`, ..., `patches[0]`, ...
    pub part: String,
    /// What the film itself returns there, the haze of the base taken off: a share of the power.
    pub film_reflectance: f64,
    /// All thicknesses up to the base's that return it, nm, thin to thick.
    pub thickness_nm: Vec<f64>,
    /// Height of the equivalent mirror against that of the base for each of them, nm of glass; negative: a hollow.
    pub height_nm: Vec<f64>,
    /// The same in a sentence, with what the level's interval leaves open.
    pub words: String,
}

impl CoatingEstimate {
    /// The coating that has the estimated levels, for a train.
    ///
    /// As haze, every part's level is its reflectance. As thin metal, the film is that of the base; the base's level
    /// over what that film returns is haze that lies over all alike, and what a part lacks beyond it is thickness, by
    /// the film's inverse at normal incidence and 550 nm. Soft rims then fade in thickness; their radius and softness
    /// are chosen so that the reflectance agrees with the fit where a quarter and three quarters of the part are seen.
    /// A smooth ring stays one: its thickness follows sin^2 between the same radii, and the reflectance agrees with the
    /// fit in the ring's middle, at its rims and beyond them.
    ///
    /// Units: shares of the power; nm.
    /// Errors: [`Error::Input`] for a level above 1 or not above 0; as thin metal for a base brighter than its film, a
    /// part brighter than the base, a level that no thickness returns, or that two thicknesses return
    /// ([`CoatingEstimate::coating_on`] asks for one).
    /// Leaves out: between the quarters of a soft rim of thin metal the reflectance is wrong by up to about 0.03; metal
    /// between 40 nm and the base's thickness, which returns as much as the base and is a hollow that no lamp sees from
    /// the front. For that reason the middle of a smooth ring of thin metal darkens alone: on 100 nm of aluminium half
    /// of the depth is reached within the middle seventh of the width, where the fit has it in the middle half, the
    /// reflectance between is too high by up to 0.75 of the depth, and the ring takes a third of the light that the fit
    /// says ([`CoatingEstimate::thin_metal`] has the words of each ring). Haze follows the fit everywhere.
    ///
    /// ```
    /// use catoptric::{CoatingOutline, CoatingSpots, Metal, MetalFilm, OutlinePatch, Wear};
    /// let table =
    /// "x_mm,y_mm,ratio_1,ratio_2,ratio_3\n40,0,0.96,0.95,0.95\n0,75,0.95,0.96,0.96\n-46,71,0.45,0.48,0.49\n";
    /// let seen = CoatingOutline::default().patch(OutlinePatch::new([-46.0, 71.0], 36.0));
    /// let estimate = CoatingSpots::from_csv_text(table, 356.0, 0.90)?.fit(&seen)?;
    /// let film = MetalFilm::new(Metal::Aluminium, 100.0);
    /// let worn = estimate.coating(Wear::ThinMetal(film))?;
    /// // Over all lies what the base lacks of fresh aluminium.
    /// let base = worn.reflectance * film.response(550.0, 0.0)?.reflectance();
    /// assert!((base - estimate.levels[0].reflectance).abs() < 1e-12);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn coating(&self, wear: Wear) -> Result<Coating> {
        self.coating_at(&self.reflectances(), wear, None)
    }

    /// The same on one branch of the film's inverse.
    ///
    /// Errors: as [`CoatingEstimate::coating`], but for levels that two thicknesses return.
    ///
    /// ```
    /// use catoptric::{CoatingSpots, Metal, MetalFilm, ThinBranch, Wear};
    /// let table = "x_mm,y_mm,ratio_1,ratio_2,ratio_3\n40,0,0.96,0.95,0.95\n";
    /// let estimate = CoatingSpots::from_csv_text(table, 356.0, 0.90)?.fit(&Default::default())?;
    /// let film = MetalFilm::new(Metal::Aluminium, 100.0);
    /// assert!(estimate.coating_on(Wear::ThinMetal(film), ThinBranch::Thinnest)?.metal.is_some());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn coating_on(&self, wear: Wear, branch: ThinBranch) -> Result<Coating> {
        self.coating_at(&self.reflectances(), wear, Some(branch))
    }

    /// The same for other levels of the same parts.
    pub(crate) fn coating_at(
        &self,
        levels: &[f64],
        wear: Wear,
        branch: Option<ThinBranch>,
    ) -> Result<Coating> {
        let haze = self.outline.coating(levels);
        let coating = match wear {
            Wear::Haze => haze,
            Wear::ThinMetal(film) => Thinning::new(film, levels[0], branch)?.thinned(&haze)?,
        };
        coating.check()?;
        Ok(coating)
    }

    /// How thick the metal of each ring and patch is, if thin metal is what dims it: every thickness that agrees.
    ///
    /// Units: nm.
    /// Errors, method, what is left out: as [`CoatingEstimate::coating`].
    ///
    /// ```
    /// use catoptric::{CoatingSpots, Metal, MetalFilm};
    /// let table = "x_mm,y_mm,ratio_1,ratio_2,ratio_3\n40,0,1.06,1.05,1.05\n";
    /// let estimate = CoatingSpots::from_csv_text(table, 356.0, 0.90)?.fit(&Default::default())?;
    /// let error = estimate.thin_metal(&MetalFilm::new(Metal::Aluminium, 100.0)).unwrap_err();
    /// assert!(error.to_string().contains("more than its film can"), "{error}");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn thin_metal(&self, film: &MetalFilm) -> Result<Vec<ThinMetalPart>> {
        let thinning = Thinning::new(*film, self.levels[0].reflectance, None)?;
        let height = |nm: f64| Ok(of(film, nm)?.response(DEFAULT_WAVELENGTH_NM, 0.0)?.height_nm());
        let base_nm: f64 = height(film.thickness_nm)?;
        let part = |(i, level): (usize, &super::coating_estimate::CoatingLevel)| {
            let film_reflectance = level.reflectance / thinning.haze;
            let thickness_nm = thinning.thicknesses(&level.part, level.reflectance)?;
            let heights = thickness_nm.iter().map(|nm| Ok(height(*nm)? - base_nm));
            let height_nm = heights.collect::<Result<Vec<f64>>>()?;
            let tolerance = 0.5 * (level.interval.high - level.interval.low) / thinning.haze;
            let open = film.thickness_from_reflectance(
                film_reflectance,
                tolerance.clamp(1e-6, 0.999),
                DEFAULT_WAVELENGTH_NM,
            )?;
            let smooth = self.outline.rings.get(i).filter(|ring| ring.profile == RingProfile::Smooth);
            let between = match (smooth, thickness_nm.as_slice()) {
                (Some(_), &[middle_nm]) => thinning.half_way((level.reflectance, middle_nm))?,
                _ => String::new(),
            };
            let words = format!("{}: {}{between}", level.part, open.words);
            Ok(ThinMetalPart { part: level.part.clone(), film_reflectance, thickness_nm, height_nm, words })
        };
        self.levels[1..].iter().enumerate().map(part).collect()
    }
}

/// The film at another thickness.
fn of(film: &MetalFilm, thickness_nm: f64) -> Result<MetalFilm> {
    let film = MetalFilm { thickness_nm, ..*film };
    film.check().map(|()| film)
}

/// What turns reflectances into thicknesses.
struct Thinning {
    film: MetalFilm,
    /// What the whole film returns.
    whole: f64,
    /// What the haze over all leaves.
    haze: f64,
    base: f64,
    /// Thickness, nm, and what it returns.
    curve: Vec<(f64, f64)>,
    branch: Option<ThinBranch>,
}

impl Thinning {
    fn new(film: MetalFilm, base: f64, branch: Option<ThinBranch>) -> Result<Self> {
        let returned = |nm: f64| Ok(of(&film, nm)?.response(DEFAULT_WAVELENGTH_NM, 0.0)?.reflectance());
        let curve = (0..=LOOKS).map(|i| film.thickness_nm * i as f64 / LOOKS as f64);
        let curve = curve.map(|nm| Ok((nm, returned(nm)?))).collect::<Result<Vec<(f64, f64)>>>()?;
        let whole = curve[LOOKS].1;
        let haze = base / whole;
        if haze > 1.0 + 1e-12 {
            let found = format!("a base of {base:.4} over a film of {whole:.4}");
            let cause = "another metal, an overcoat, a flat set too bright; \
                or the base returns more than its film can by chance";
            return Err(Error::input("wear", found, "a film at least as bright as the base", cause));
        }
        Ok(Self { film, whole, haze: haze.min(1.0), base, curve, branch })
    }

    /// All thicknesses that make a part as bright as this, thin to thick.
    fn thicknesses(&self, part: &str, reflectance: f64) -> Result<Vec<f64>> {
        let wanted = reflectance / self.haze;
        if (wanted - self.whole).abs() < 1e-9 {
            return Ok(vec![self.film.thickness_nm]);
        }
        let miss = |nm: f64| {
            let response = of(&self.film, nm).and_then(|f| f.response(DEFAULT_WAVELENGTH_NM, 0.0));
            response.map_or(f64::NAN, |r| r.reflectance() - wanted)
        };
        let crossed = self.curve.windows(2).filter(|pair| (pair[0].1 - wanted) * (pair[1].1 - wanted) <= 0.0);
        let mut found: Vec<f64> =
            crossed.filter_map(|pair| roots::bracketed(miss, pair[0].0, pair[1].0, 1e-9)).collect();
        found.dedup_by(|b, a| *b - *a < 1e-6);
        if found.is_empty() {
            let brightest = self.curve.iter().map(|c| c.1).fold(0.0, f64::max);
            let allowed = format!(
                "a level that metal of up to {} nm under the haze of the base returns: {:.4} to {:.4}",
                self.film.thickness_nm,
                self.haze * self.curve.iter().map(|c| c.1).fold(1.0, f64::min),
                self.haze * brightest
            );
            let cause = if wanted > self.whole {
                "brighter than the base: no thinner metal"
            } else {
                "haze as well?"
            };
            return Err(Error::input(format!("levels.{part}"), format!("{reflectance:.4}"), allowed, cause));
        }
        Ok(found)
    }

    /// The one thickness to be used.
    fn thickness(&self, part: &str, reflectance: f64) -> Result<f64> {
        let found = self.thicknesses(part, reflectance)?;
        match (found.as_slice(), self.branch) {
            ([only], _) => Ok(*only),
            (_, Some(ThinBranch::Thinnest)) => Ok(found[0]),
            (_, Some(ThinBranch::Thickest)) => Ok(found[found.len() - 1]),
            _ => {
                let all: Vec<String> = found.iter().map(|nm| format!("{nm:.1}")).collect();
                let cause = format!("{} nm all return it", all.join(" and "));
                let allowed = "a branch beside thin metal: thinnest or thickest";
                Err(Error::input("branch", format!("none, for {part}"), allowed, cause))
            }
        }
    }

    /// What a smooth ring of metal returns half-way to its middle, beside what the fit has there.
    fn half_way(&self, (level, middle_nm): (f64, f64)) -> Result<String> {
        let film = of(&self.film, f64::midpoint(self.film.thickness_nm, middle_nm))?;
        let seen = self.haze * film.response(DEFAULT_WAVELENGTH_NM, 0.0)?.reflectance();
        let fitted = f64::midpoint(self.base, level);
        let agrees =
            "Metal that thins as sin^2 agrees with the lamp in the ring's middle and beyond its rims";
        let half_way =
            format!("a quarter of the width from them it returns {seen:.2} where the fit says {fitted:.2}");
        Ok(format!(" {agrees}; {half_way}."))
    }

    /// The coating of metal that is as bright as this one of haze.
    fn thinned(&self, haze: &Coating) -> Result<Coating> {
        let mut metal = MetalCoat::new(self.film);
        for (i, ring) in haze.rings.iter().enumerate() {
            metal = metal.ring(self.ring(&format!("rings[{i}]"), ring)?);
        }
        for (i, patch) in haze.patches.iter().enumerate() {
            metal = metal.patch(self.patch(&format!("patches[{i}]"), patch)?);
        }
        Ok(Coating::new(self.haze).metal(metal))
    }

    fn ring(&self, part: &str, ring: &CoatingRing) -> Result<ThinRing> {
        let thickness_nm = self.thickness(part, ring.reflectance)?;
        if ring.profile == RingProfile::Smooth {
            let thin = ThinRing::new(ring.inner_radius_mm, ring.outer_radius_mm, thickness_nm);
            return Ok(thin.profile(ring.profile));
        }
        let (wider_mm, softness_mm) = self.rim(part, (ring.reflectance, thickness_nm), ring.softness_mm)?;
        let inner_mm = if ring.inner_radius_mm > 0.0 { ring.inner_radius_mm - wider_mm } else { 0.0 };
        let thin = ThinRing::new(inner_mm, ring.outer_radius_mm + wider_mm, thickness_nm);
        Ok(thin.softness_mm(softness_mm))
    }

    fn patch(&self, part: &str, patch: &CoatingPatch) -> Result<ThinPatch> {
        let thickness_nm = self.thickness(part, patch.reflectance)?;
        let (wider_mm, softness_mm) = self.rim(part, (patch.reflectance, thickness_nm), patch.softness_mm)?;
        let thin = ThinPatch::new([patch.x_mm, patch.y_mm], patch.radius_mm + wider_mm, thickness_nm);
        Ok(thin.softness_mm(softness_mm))
    }

    /// How much wider a rim of thickness must be than one of reflectance, and how soft, to return the same at its
    /// quarters.
    fn rim(&self, part: &str, (level, thickness_nm): (f64, f64), softness_mm: f64) -> Result<(f64, f64)> {
        let whole_nm = self.film.thickness_nm;
        if softness_mm <= 0.0 || thickness_nm >= whole_nm {
            return Ok((0.0, softness_mm));
        }
        let logit = |share: f64| (share / (1.0 - share)).ln();
        let thinned = |share: f64| -> Result<f64> {
            let nm = self.thickness(part, self.base + share * (level - self.base))?;
            Ok(logit(((whole_nm - nm) / (whole_nm - thickness_nm)).clamp(1e-9, 1.0 - 1e-9)))
        };
        let (outside, inside) = (thinned(QUARTER)?, thinned(1.0 - QUARTER)?);
        let half_mm = softness_mm * logit(1.0 - QUARTER);
        if inside <= outside {
            return Ok((0.0, softness_mm));
        }
        let softness_mm = 2.0 * half_mm / (inside - outside);
        Ok((half_mm + softness_mm * outside, softness_mm))
    }
}
