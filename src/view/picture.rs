//! A finished view, and what is measured in it.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::scene::Scene;
use super::see::Through;
use super::stars::FieldStar;
use crate::error::{Error, Result};
use crate::numeric::bicubic::Bicubic;
use crate::numeric::sums;
use crate::units::Field;
use crate::wave::{Seeing, Spectrum};

/// Points on the line through two stars, and a quarter of their distance beyond, at which the gap is looked for.
const GAP_POINTS: usize = 601;

/// What brightness 1 is in a view.
///
/// ```
/// assert_eq!(catoptric::BrightnessUnit::DiscCentre.name(), "disc_centre");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BrightnessUnit {
    /// The middle of the disc, without bands and spots, through a perfect mirror of the full clear aperture that
    /// reflects everything and has nothing in its way, at the same magnification.
    DiscCentre,
    /// All light that such a mirror collects of a star of magnitude 0, on one square arcsecond.
    MagnitudeZeroPerArcsec2,
}

impl BrightnessUnit {
    /// The unit's name in files.
    ///
    /// ```
    /// use catoptric::BrightnessUnit;
    /// assert_eq!(BrightnessUnit::MagnitudeZeroPerArcsec2.name(), "magnitude_zero_per_arcsec2");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::DiscCentre => "disc_centre",
            Self::MagnitudeZeroPerArcsec2 => "magnitude_zero_per_arcsec2",
        }
    }
}

/// A scene as it is seen.
///
/// Units: `image` in [`BrightnessUnit`], every number the mean over its pixel; places on the sky in arcsec from the
/// middle of the view, x toward the focuser's side, y toward +y. Through the eyepiece the sky stands on its head: +x
/// points down and +y to the left, where the sky end of the tube is up. On a sensor x arcsec lie at along = -f x.
/// Shapes: `image[[i, j]]`, row i at `y_arcsec[i]`, column j at `x_arcsec[j]`.
///
/// ```
/// use catoptric::{DoubleStar, FocalLengthMm, Prepared, Primary, Sensor, Train, ViewOptions};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let (pair, sensor) = (DoubleStar::new(2.0, 3.0, 3.0).into(), Sensor::new(1.0, 48, 32).into());
/// let seen = Prepared::new(&train).view(&pair, &sensor, &ViewOptions::default())?;
/// assert_eq!(seen.image.dim(), (32, 48));
/// assert!(seen.star_gap.is_some_and(|gap| gap < 0.1));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// Brightness: rows along y, columns along x.
    pub image: Array2<f64>,
    /// Positions of the columns on the sky, arcsec.
    pub x_arcsec: Vec<f64>,
    /// Positions of the rows, arcsec.
    pub y_arcsec: Vec<f64>,
    /// Distance of neighbouring pixels on the sky, arcsec.
    pub pixel_arcsec: f64,
    /// The same in the focal plane, um.
    pub pixel_um: f64,
    /// What brightness 1 is.
    pub unit: BrightnessUnit,
    /// Light that arrives over that of a mirror of the full clear aperture which reflects everything, nothing in its
    /// way.
    pub throughput: f64,
    /// The Strehl of a star in the middle, without air and eye; for a spectrum the mean by energy.
    pub strehl: f64,
    /// Share of the bands' own contrast that is left; none without bands.
    pub bands_left: Option<f64>,
    /// Share of the spots' own contrast that is left; none without spots.
    pub spots_left: Option<f64>,
    /// The darkest point between the two stars of a pair over the fainter one's peak: 1 where nothing parts them; none
    /// for other scenes, and where a star lies outside the view.
    pub star_gap: Option<f64>,
    /// Magnification at an eyepiece.
    pub magnification: Option<f64>,
    /// Exit pupil at an eyepiece, mm.
    pub exit_pupil_mm: Option<f64>,
    /// Diameter of the eyepiece's field on the sky, arcmin; beyond it the picture is dark.
    pub true_field_arcmin: Option<f64>,
    /// Pixels for a wavelength times focal ratio: below 2 finer detail than two pixels comes back as false detail.
    pub pixels_per_lambda_f: f64,
    /// Share of a star's light that fell beyond the window in which it is summed, and was added as rings.
    pub tail_share: f64,
    /// Where the middle of the view stands in the telescope's field.
    pub field: Field,
    /// The air.
    pub seeing: Option<Seeing>,
    /// Colours of the light.
    pub spectrum: Spectrum,
    /// What was looked at.
    pub scene: Scene,
    /// Eyepiece or sensor.
    pub through: Through,
}

/// How far two views of one scene are apart.
///
/// Units: brightness as in the views; arcsec.
///
/// ```
/// let none = catoptric::ViewDifference { rms: 0.0, greatest: 0.0, x_arcsec: 0.0, y_arcsec: 0.0 };
/// assert_eq!(none.rms, 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ViewDifference {
    /// Root mean square of the differences over all pixels, each view over its own mean brightness: what the eye, which
    /// adapts, has left to compare.
    pub rms: f64,
    /// The greatest of them: the other view less this one.
    pub greatest: f64,
    /// Where it lies.
    pub x_arcsec: f64,
    /// Where it lies.
    pub y_arcsec: f64,
}

impl View {
    /// All light of the view: the sum of brightness times area.
    ///
    /// Units: brightness times square arcseconds.
    pub fn light_arcsec2(&self) -> f64 {
        let all: Vec<f64> = self.image.iter().copied().collect();
        sums::pairwise(&all) * self.pixel_arcsec * self.pixel_arcsec
    }

    /// How far another view of the same scene on the same pixels differs.
    ///
    /// Errors: [`Error::Input`] for another scene or other pixels, and a view without light.
    ///
    /// ```
    /// use catoptric::{BandedDisc, FocalLengthMm, Prepared, Primary, Sensor, Train, TurnedEdge, ViewOptions};
    /// let mirror = Primary::new(200.0, FocalLengthMm(1200.0));
    /// let seen = |primary: Primary| {
    ///     let train = Train::builder(primary).build()?;
    ///     let (planet, sensor) = (BandedDisc::new(20.0).into(), Sensor::new(2.0, 80, 80).into());
    ///     Prepared::new(&train).view(&planet, &sensor, &ViewOptions::default())
    /// };
    /// let (before, after) = (seen(mirror.clone().layer(TurnedEdge::new(20.0, 400.0)))?, seen(mirror)?);
    /// assert!(before.difference(&after)?.rms > 0.01);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn difference(&self, other: &Self) -> Result<ViewDifference> {
        if self.scene != other.scene {
            return Err(Error::input("other", "another scene", "a view of the same scene", ""));
        }
        if self.x_arcsec != other.x_arcsec || self.y_arcsec != other.y_arcsec {
            let allowed = "a view on the same pixels";
            return Err(Error::input("other", "other pixels", allowed, "give both the same half width"));
        }
        let mean = |view: &Self| view.light_arcsec2() / (view.pixel_arcsec.powi(2) * view.image.len() as f64);
        let means = [mean(self), mean(other)];
        if !means.iter().all(|m| *m > 0.0) {
            return Err(Error::input("other", "a dark view", "two views with light in them", ""));
        }
        let apart = &other.image / means[1] - &self.image / means[0];
        let squares: Vec<f64> = apart.iter().map(|d| d * d).collect();
        let mut difference = ViewDifference {
            rms: (sums::pairwise(&squares) / squares.len() as f64).sqrt(),
            greatest: 0.0,
            x_arcsec: 0.0,
            y_arcsec: 0.0,
        };
        for ((i, j), &value) in apart.indexed_iter() {
            if value.abs() > difference.greatest.abs() {
                difference.greatest = value;
                (difference.x_arcsec, difference.y_arcsec) = (self.x_arcsec[j], self.y_arcsec[i]);
            }
        }
        Ok(difference)
    }
}

/// How much of a pattern is left in its image: the projection of the one on the other; none for no pattern at all.
pub(super) fn left_of(pattern: &Array2<f64>, seen: &Array2<f64>) -> Option<f64> {
    let products: Vec<f64> = pattern.iter().zip(seen).map(|(a, b)| a * b).collect();
    let squares: Vec<f64> = pattern.iter().map(|a| a * a).collect();
    let whole = sums::pairwise(&squares);
    (whole > 0.0).then(|| sums::pairwise(&products) / whole)
}

/// The darkest point between two stars over the fainter one's peak, on a bicubic surface through the pixels.
pub(super) fn star_gap(
    image: &Array2<f64>,
    [rows, columns]: [&[f64]; 2],
    stars: [FieldStar; 2],
) -> Option<f64> {
    let inside = |axis: &[f64], at: f64| axis[0] <= at && at <= axis[axis.len() - 1];
    if !stars.iter().all(|s| inside(columns, s.x_arcsec) && inside(rows, s.y_arcsec)) {
        return None;
    }
    let surface = Bicubic::through(image);
    let place = |axis: &[f64], at: f64| (at - axis[0]) / (axis[1] - axis[0]);
    let at = |share: f64| {
        let x = stars[0].x_arcsec + share * (stars[1].x_arcsec - stars[0].x_arcsec);
        let y = stars[0].y_arcsec + share * (stars[1].y_arcsec - stars[0].y_arcsec);
        surface.value_and_slopes(place(rows, y), place(columns, x)).0
    };
    // The peaks may have moved toward each other: each is what one comes to uphill from its star. Where the fainter has
    // no peak of its own, both ways end at the brighter's.
    let line: Vec<f64> =
        (0..GAP_POINTS).map(|i| at(-0.25 + 1.5 * i as f64 / (GAP_POINTS - 1) as f64)).collect();
    let uphill = |from: usize| {
        let mut top = from;
        while top + 1 < GAP_POINTS && line[top + 1] > line[top] {
            top += 1;
        }
        while top > 0 && line[top - 1] > line[top] {
            top -= 1;
        }
        top
    };
    let (first, second) = (uphill(GAP_POINTS / 6), uphill(GAP_POINTS - 1 - GAP_POINTS / 6));
    let (first, second) = (first.min(second), first.max(second));
    let fainter = line[first].min(line[second]);
    let darkest = line[first..=second].iter().copied().fold(f64::INFINITY, f64::min);
    (fainter > 0.0).then(|| darkest / fainter)
}
