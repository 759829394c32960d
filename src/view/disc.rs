//! An invented planet: a banded disc with spots.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use crate::error::Findings;
use crate::numeric::random::Stream;

/// Largest disc, arcsec: beyond it the field is no longer one in which a single star image holds.
const LARGEST_ARCSEC: f64 = 3600.0;
/// Waves of chance that make the fine detail.
const DETAIL_WAVES: usize = 48;
/// Their longest and shortest, in diameters of the disc.
const DETAIL_FROM_TO: [f64; 2] = [0.25, 0.02];

/// A round spot on the disc, darker or brighter than what lies around it.
///
/// ```
/// let spot = catoptric::DiscSpot { x_arcsec: 8.0, y_arcsec: 0.0, diameter_arcsec: 2.0, contrast: 0.3 };
/// assert!(spot.contrast > 0.0, "darker");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DiscSpot {
    /// Place of its middle on the sky toward the focuser's side, arcsec from the disc's middle.
    pub x_arcsec: f64,
    /// The same toward +y.
    pub y_arcsec: f64,
    /// Diameter, arcsec.
    pub diameter_arcsec: f64,
    /// Share by which it is darker than its surroundings; negative for a bright spot.
    pub contrast: f64,
}

/// An invented planet in the middle of the view: a disc that darkens toward its limb, with dark bands and round spots.
///
/// Brightness 1 is the middle of the disc without bands and spots; toward the limb it falls as 1 - k (1 - sqrt(1 -
/// r^2/R^2)). `band_count` straight bands lie evenly spaced across the disc, at D (i + 1)/(n + 1) - D/2 along the pole;
/// a band is darker by `band_contrast` in its middle, by 1/e of that half of `band_width_arcsec` away: exp(-(2
/// d/width)^4). Spots have sharp rims. `detail_contrast` is the RMS of fine streaks of chance, drawn from `seed`.
///
/// Units: arcsec on the sky; `tilt_deg` is the direction of the disc's pole, degrees from +x (the focuser's side)
/// toward +y: the bands lie square to it, level as seen through the eyepiece at 0.
/// Errors: found when the scene is looked at: sizes and contrasts that cannot be, bands that overlap.
/// Leaves out: phase, a flattened globe, bands that curve.
///
/// ```
/// let planet = catoptric::BandedDisc::new(45.0);
/// assert_eq!((planet.brightness_at(0.0, 30.0), planet.band_count), (0.0, 4));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BandedDisc {
    /// Diameter, arcsec.
    pub diameter_arcsec: f64,
    /// Number of dark bands.
    #[serde(default = "usual::bands")]
    pub band_count: usize,
    /// Share by which the middle of a band is darker.
    #[serde(default = "usual::contrast")]
    pub band_contrast: f64,
    /// Full width of a band where its contrast is 1/e, arcsec; a tenth of the diameter where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub band_width_arcsec: Option<f64>,
    /// Linear limb darkening k, 0 to 1.
    #[serde(default = "usual::limb")]
    pub limb_darkening: f64,
    /// Direction of the pole, degrees from +x toward +y.
    #[serde(default)]
    pub tilt_deg: f64,
    /// Round spots.
    #[serde(default)]
    pub spots: Vec<DiscSpot>,
    /// RMS of the fine streaks, as a share of the brightness.
    #[serde(default)]
    pub detail_contrast: f64,
    /// Which streaks.
    #[serde(default = "usual::seed")]
    pub seed: u64,
}

mod usual {
    pub(super) fn bands() -> usize {
        4
    }
    pub(super) fn contrast() -> f64 {
        0.3
    }
    pub(super) fn limb() -> f64 {
        0.5
    }
    pub(super) fn seed() -> u64 {
        1
    }
}

impl BandedDisc {
    /// A disc with four bands, darkened toward its limb by half, without spots.
    ///
    /// ```
    /// assert_eq!(catoptric::BandedDisc::new(45.0).band_width_arcsec, None);
    /// ```
    pub fn new(diameter_arcsec: f64) -> Self {
        Self {
            diameter_arcsec,
            band_count: usual::bands(),
            band_contrast: usual::contrast(),
            band_width_arcsec: None,
            limb_darkening: usual::limb(),
            tilt_deg: 0.0,
            spots: Vec::new(),
            detail_contrast: 0.0,
            seed: usual::seed(),
        }
    }

    /// The same disc with one more spot.
    ///
    /// ```
    /// use catoptric::{BandedDisc, DiscSpot};
    /// let spot = DiscSpot { x_arcsec: 8.0, y_arcsec: 0.0, diameter_arcsec: 2.0, contrast: 0.3 };
    /// assert_eq!(BandedDisc::new(45.0).spot(spot).spots, [spot]);
    /// ```
    #[must_use]
    pub fn spot(mut self, spot: DiscSpot) -> Self {
        self.spots.push(spot);
        self
    }

    /// Brightness at a point of the sky, arcsec from the disc's middle.
    ///
    /// ```
    /// let plain = catoptric::BandedDisc { band_count: 0, ..catoptric::BandedDisc::new(40.0) };
    /// assert_eq!(plain.brightness_at(0.0, 0.0), 1.0);
    /// assert!((plain.brightness_at(12.0, 0.0) - 0.9).abs() < 1e-12); // 1 - 0.5 (1 - sqrt(1 - 0.36))
    /// ```
    pub fn brightness_at(&self, x_arcsec: f64, y_arcsec: f64) -> f64 {
        self.bare(x_arcsec, y_arcsec, 0.0)
            * self.bands(x_arcsec, y_arcsec)
            * self.spotted(x_arcsec, y_arcsec, 0.0)
            * (1.0 + Streaks::of(self).map_or(0.0, |s| s.at(x_arcsec, y_arcsec)))
    }

    /// Width of a band in use, arcsec.
    pub(crate) fn width_arcsec(&self) -> f64 {
        self.band_width_arcsec.unwrap_or(self.diameter_arcsec / 10.0)
    }

    /// The darkened disc alone, its rim softened over a length.
    pub(super) fn bare(&self, x: f64, y: f64, soft: f64) -> f64 {
        let inside = within(x.hypot(y), self.diameter_arcsec / 2.0, soft);
        let square = (x * x + y * y) / (0.25 * self.diameter_arcsec * self.diameter_arcsec);
        inside * (1.0 - self.limb_darkening * (1.0 - (1.0 - square).max(0.0).sqrt()))
    }

    /// The factor of the bands.
    pub(super) fn bands(&self, x: f64, y: f64) -> f64 {
        let (sin, cos) = self.tilt_deg.to_radians().sin_cos();
        let along_pole = x * cos + y * sin;
        let dark: f64 = (0..self.band_count)
            .map(|i| {
                let middle = self.diameter_arcsec * ((i + 1) as f64 / (self.band_count + 1) as f64 - 0.5);
                (-(2.0 * (along_pole - middle) / self.width_arcsec()).powi(4)).exp()
            })
            .sum();
        1.0 - self.band_contrast * dark.min(1.0)
    }

    /// The factor of the spots, their rims softened over a length.
    pub(super) fn spotted(&self, x: f64, y: f64, soft: f64) -> f64 {
        let inside =
            |s: &DiscSpot| within((x - s.x_arcsec).hypot(y - s.y_arcsec), s.diameter_arcsec / 2.0, soft);
        self.spots.iter().map(|s| 1.0 - s.contrast * inside(s)).product()
    }

    /// Circles on which the brightness jumps: middle and radius, arcsec.
    pub(super) fn rims(&self) -> Vec<([f64; 2], f64)> {
        let spots = self.spots.iter().map(|s| ([s.x_arcsec, s.y_arcsec], s.diameter_arcsec / 2.0));
        std::iter::once(([0.0; 2], self.diameter_arcsec / 2.0)).chain(spots).collect()
    }

    pub(super) fn note_problems(&self, findings: &mut Findings) {
        let size = |v: f64| v > 0.0 && v <= LARGEST_ARCSEC;
        let allowed = "a size above 0 and up to 3600 arcsec";
        let sound =
            findings.number("diameter_arcsec", self.diameter_arcsec, size, allowed, "arcminutes, or a sign?");
        let share = |v: f64| (0.0..=1.0).contains(&v);
        findings.number("band_contrast", self.band_contrast, share, "a share from 0 to 1", "percent?");
        findings.number("limb_darkening", self.limb_darkening, share, "a share from 0 to 1", "percent?");
        findings.number("tilt_deg", self.tilt_deg, |v| v.abs() <= 360.0, "-360 to 360 degrees", "");
        let fine = |v: f64| (0.0..=0.3).contains(&v);
        findings.number("detail_contrast", self.detail_contrast, fine, "an RMS from 0 to 0.3", "percent?");
        if sound {
            let most = self.diameter_arcsec / (self.band_count + 1) as f64;
            let fits = |v: f64| v > 0.0 && (v <= most || self.band_count < 2 && v <= self.diameter_arcsec);
            let allowed = format!("above 0 and up to {most:.3} arcsec, the distance of the bands");
            if self.band_count > 0 {
                findings.number("band_width_arcsec", self.width_arcsec(), fits, &allowed, "too many bands?");
            }
        }
        for (i, spot) in self.spots.iter().enumerate() {
            findings.within(format!("spots[{i}]"), |f| {
                let radius = self.diameter_arcsec / 2.0;
                let on_disc = |v: f64| v.abs() <= radius;
                let x = f.number("x_arcsec", spot.x_arcsec, on_disc, "a place on the disc", "");
                let on_disc = |v: f64| if x { v.hypot(spot.x_arcsec) <= radius } else { v.abs() <= radius };
                f.number("y_arcsec", spot.y_arcsec, on_disc, "a place on the disc", "");
                let size = |v: f64| v > 0.0 && v <= self.diameter_arcsec;
                f.number(
                    "diameter_arcsec",
                    spot.diameter_arcsec,
                    size,
                    "above 0, no larger than the disc",
                    "",
                );
                let share = |v: f64| (-1.0..=1.0).contains(&v);
                f.number(
                    "contrast",
                    spot.contrast,
                    share,
                    "a share from -1 (bright) to 1 (black)",
                    "percent?",
                );
            });
        }
    }
}

/// 1 within a radius and 0 beyond, falling evenly over a length about it: the part of a sample's square that lies
/// inside.
fn within(distance: f64, radius: f64, soft: f64) -> f64 {
    if soft > 0.0 {
        ((radius - distance) / soft + 0.5).clamp(0.0, 1.0)
    } else if distance <= radius {
        1.0
    } else {
        0.0
    }
}

/// Fine streaks of chance: waves that are longer along the bands than across.
#[derive(Clone, Debug)]
pub(super) struct Streaks {
    /// Frequencies in radians for each arcsec, and phase.
    waves: Vec<[f64; 3]>,
    amplitude: f64,
}

impl Streaks {
    /// None where the disc has no fine detail.
    pub(super) fn of(disc: &BandedDisc) -> Option<Self> {
        if disc.detail_contrast <= 0.0 {
            return None;
        }
        let mut draws = Stream::new(disc.seed, 0);
        let (sin, cos) = disc.tilt_deg.to_radians().sin_cos();
        let [longest, shortest] = DETAIL_FROM_TO;
        let waves = (0..DETAIL_WAVES).map(|_| {
            let length = disc.diameter_arcsec * longest * (shortest / longest).powf(draws.uniform());
            // Within 60 degrees of the pole's direction: streaks, not dots.
            let (s, c) = (TAU / 3.0 * (draws.uniform() - 0.5)).sin_cos();
            let (pole, level) = (TAU / length * c, TAU / length * s);
            [pole * cos - level * sin, pole * sin + level * cos, TAU * draws.uniform()]
        });
        Some(Self {
            waves: waves.collect(),
            amplitude: disc.detail_contrast * (2.0 / DETAIL_WAVES as f64).sqrt(),
        })
    }

    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        self.amplitude * self.waves.iter().map(|[a, b, phase]| (a * x + b * y + phase).cos()).sum::<f64>()
    }
}
