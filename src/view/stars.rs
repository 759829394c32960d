//! Stars as scenes: a pair, and a field of them.

use serde::{Deserialize, Serialize};

use crate::error::Findings;
use crate::numeric::random::Stream;

/// Magnitudes beyond these are typing errors.
const MAGNITUDES: std::ops::RangeInclusive<f64> = -30.0..=40.0;
const MAGNITUDE: &str = "a magnitude from -30 to 40";
const MOST_STARS: usize = 100_000;
/// Star counts grow by this factor a magnitude in a field of chance: 10^0.6 of stars of one brightness spread evenly in
/// space.
const COUNTS_A_MAGNITUDE: f64 = 0.6;

/// A star of a scene.
///
/// Units: arcsec on the sky from the middle of the view: x toward the focuser's side, y toward +y.
///
/// ```
/// let star = catoptric::FieldStar { x_arcsec: 3.0, y_arcsec: 0.0, magnitude: 5.0 };
/// assert!((star.light() - 0.01).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FieldStar {
    /// Toward the focuser's side, arcsec.
    pub x_arcsec: f64,
    /// Toward +y, arcsec.
    pub y_arcsec: f64,
    /// Magnitude.
    pub magnitude: f64,
}

impl FieldStar {
    /// Its light in units of a star of magnitude 0 (Pogson 1856: five magnitudes are a factor of 100).
    ///
    /// ```
    /// assert_eq!(catoptric::FieldStar { x_arcsec: 0.0, y_arcsec: 0.0, magnitude: 0.0 }.light(), 1.0);
    /// ```
    pub fn light(&self) -> f64 {
        10.0_f64.powf(-0.4 * self.magnitude)
    }
}

/// Two stars, the point halfway between them in the middle of the view.
///
/// Units: arcsec; `position_angle_deg` is the direction from the first star to the second on the sky, degrees from +x
/// (the focuser's side) toward +y. How the tube stands to north is not known here.
/// Errors: found when the scene is looked at.
///
/// ```
/// let [first, second] = catoptric::DoubleStar::new(2.0, 4.0, 6.0).stars();
/// assert_eq!((first.x_arcsec, second.x_arcsec, second.magnitude), (-1.0, 1.0, 6.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DoubleStar {
    /// Distance of the two, arcsec.
    pub separation_arcsec: f64,
    /// Direction from the first to the second, degrees from +x toward +y.
    #[serde(default)]
    pub position_angle_deg: f64,
    /// Magnitude of the first.
    pub first_magnitude: f64,
    /// Magnitude of the second.
    pub second_magnitude: f64,
}

impl DoubleStar {
    /// A pair that lies along +x.
    ///
    /// ```
    /// assert_eq!(catoptric::DoubleStar::new(2.0, 4.0, 6.0).position_angle_deg, 0.0);
    /// ```
    pub fn new(separation_arcsec: f64, first_magnitude: f64, second_magnitude: f64) -> Self {
        Self { separation_arcsec, position_angle_deg: 0.0, first_magnitude, second_magnitude }
    }

    /// The same pair in another direction.
    ///
    /// ```
    /// let [_, second] = catoptric::DoubleStar::new(2.0, 4.0, 6.0).position_angle_deg(90.0).stars();
    /// assert!((second.y_arcsec - 1.0).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn position_angle_deg(self, position_angle_deg: f64) -> Self {
        Self { position_angle_deg, ..self }
    }

    /// The two stars.
    pub fn stars(&self) -> [FieldStar; 2] {
        let (sin, cos) = self.position_angle_deg.to_radians().sin_cos();
        let half = self.separation_arcsec / 2.0;
        [(-half, self.first_magnitude), (half, self.second_magnitude)].map(|(step, magnitude)| FieldStar {
            x_arcsec: step * cos,
            y_arcsec: step * sin,
            magnitude,
        })
    }

    pub(super) fn note_problems(&self, findings: &mut Findings) {
        let size = |v: f64| v > 0.0 && v <= 3600.0;
        let allowed = "above 0 and up to 3600 arcsec";
        findings.number("separation_arcsec", self.separation_arcsec, size, allowed, "a sign?");
        let turn = |v: f64| v.abs() <= 360.0;
        findings.number("position_angle_deg", self.position_angle_deg, turn, "-360 to 360 degrees", "");
        for (name, value) in
            [("first_magnitude", self.first_magnitude), ("second_magnitude", self.second_magnitude)]
        {
            findings.number(name, value, |v| MAGNITUDES.contains(&v), MAGNITUDE, "");
        }
    }
}

/// A list of stars.
///
/// ```
/// let field = catoptric::StarField::of_chance(30.0, 50, 12.0, 7);
/// assert_eq!(field.stars.len(), 50);
/// assert!(field.stars.iter().all(|s| s.magnitude <= 12.0 && s.x_arcsec.abs() <= 30.0));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StarField {
    /// The stars, in no order.
    pub stars: Vec<FieldStar>,
}

impl StarField {
    /// Stars as given.
    ///
    /// ```
    /// use catoptric::{FieldStar, StarField};
    /// let one = StarField::new(vec![FieldStar { x_arcsec: 1.0, y_arcsec: 2.0, magnitude: 0.0 }]);
    /// assert_eq!(one.stars.len(), 1);
    /// ```
    pub fn new(stars: Vec<FieldStar>) -> Self {
        Self { stars }
    }

    /// A square field of chance: places evenly spread, ten to the 0.6 times as many stars with each magnitude, as of
    /// equal stars evenly spread in space, up to the faintest.
    ///
    /// Units: arcsec from the middle to the field's edge.
    ///
    /// ```
    /// use catoptric::StarField;
    /// assert_eq!(StarField::of_chance(30.0, 9, 12.0, 7), StarField::of_chance(30.0, 9, 12.0, 7));
    /// ```
    pub fn of_chance(half_width_arcsec: f64, count: usize, faintest_magnitude: f64, seed: u64) -> Self {
        let mut draws = Stream::new(seed, 0);
        let place = |draws: &mut Stream| half_width_arcsec * (2.0 * draws.uniform() - 1.0);
        let stars = (0..count.min(MOST_STARS + 1)).map(|_| FieldStar {
            x_arcsec: place(&mut draws),
            y_arcsec: place(&mut draws),
            magnitude: faintest_magnitude + draws.uniform().log10() / COUNTS_A_MAGNITUDE,
        });
        Self { stars: stars.collect() }
    }

    pub(super) fn note_problems(&self, findings: &mut Findings) {
        let count = self.stars.len();
        if !(1..=MOST_STARS).contains(&count) {
            findings.fault("stars", format!("{count} stars"), "1 to 100000 stars", "");
            return;
        }
        for (i, star) in self.stars.iter().enumerate() {
            findings.within(format!("stars[{i}]"), |f| {
                for (name, value) in [("x_arcsec", star.x_arcsec), ("y_arcsec", star.y_arcsec)] {
                    f.number(name, value, |v| v.abs() <= 1e5, "a place within 100000 arcsec", "");
                }
                f.number("magnitude", star.magnitude, |v| MAGNITUDES.contains(&v), MAGNITUDE, "");
            });
        }
    }
}
