//! The fully lit circle: how far from the middle of the field the first opening begins to take light.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use super::super::prepared::Prepared;
use super::super::ray::StarBeam;
use super::super::stops::{Part, Stop};
use super::around::on_circle;
use crate::numeric::{pool, roots};

/// Looks around the rim and around the field, before extremes are sought between them.
const RIM_LOOKS: usize = 24;
const AZIMUTHS: usize = 24;
/// Angles are found to this, rad; an extreme is then good to its square.
const ANGLE: f64 = 1e-7;
/// The largest circle that is looked at, in focal lengths.
const WIDEST: f64 = 0.2;

/// The largest circle about the middle of the field over which no opening takes light.
///
/// Units: mm in the focal plane.
///
/// ```
/// let circle = catoptric::LitCircle { diameter_mm: 12.0, limited_by: Some(catoptric::Part::Diagonal) };
/// assert!(circle.diameter_mm > 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LitCircle {
    /// Its diameter, mm; 0 where an opening takes light even in the middle.
    pub diameter_mm: f64,
    /// The opening that ends it; none where nothing does within a fifth of the focal length.
    pub limited_by: Option<Part>,
}

impl Prepared {
    /// The largest circle in the focal plane over which no part but those that stand in the light of every star (the
    /// shadows of diagonal and holder, vanes, clips, the mask) takes anything, all parts counted.
    ///
    /// Units: mm; found to 1e-9 of the focal length: the rays of the rim of the open mirror, in the worst azimuth.
    /// Beside [`Prepared::fully_lit_diameter_mm`], the straight cone of the diagonal alone, it knows the drawtube and
    /// all other openings, the offset as it is, and coma, which moves the rim's rays by about 3 h/(16 F^2) at a height
    /// h of the image (0.8 % of it at f/4.9).
    /// Leaves out: openings that would cut a zone within the rim first (behind a coarse figure).
    ///
    /// ```
    /// use catoptric::{Diagonal, Drawtube, FocalLengthMm, FocalPlane, Part, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(90.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .drawtube(Drawtube::new(32.0, 80.0, 0.0))
    ///     .build()?;
    /// let circle = Prepared::new(&train).fully_lit_circle();
    /// assert_eq!(circle.limited_by, Some(Part::DrawtubeInnerEnd));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn fully_lit_circle(&self) -> LitCircle {
        let openings: Vec<Stop> =
            self.stops().iter().filter(|stop| stop.part.is_opening()).copied().collect();
        let ends = pool::map_ordered(openings.len(), true, |i| self.begins_to_take_mm(&openings[i]));
        let widest = LitCircle { diameter_mm: WIDEST * self.focal_length_mm(), limited_by: None };
        openings.iter().zip(ends).fold(widest, |first, (stop, radius)| match radius {
            Some(radius) if 2.0 * radius < first.diameter_mm => {
                LitCircle { diameter_mm: 2.0 * radius, limited_by: Some(stop.part) }
            }
            _ => first,
        })
    }

    /// The smallest radius in the image at which an opening begins to take light; none within the widest circle.
    fn begins_to_take_mm(&self, opening: &Stop) -> Option<f64> {
        let widest_mm = 0.5 * WIDEST * self.focal_length_mm();
        let nothing_mm = 1e-10 * self.open_radius_mm();
        let excess = |radius_mm: f64, azimuth: f64| {
            self.largest_excess_mm(opening, on_circle(radius_mm, azimuth)) - nothing_mm
        };
        if excess(0.0, 0.0) > 0.0 {
            return Some(0.0);
        }
        let begins = |azimuth: f64| {
            roots::bracketed(|r| excess(r, azimuth), 0.0, widest_mm, 1e-10 * widest_mm).unwrap_or(widest_mm)
        };
        let step = TAU / AZIMUTHS as f64;
        let looks: Vec<f64> = (0..AZIMUTHS).map(|i| begins(step * i as f64)).collect();
        let least = (0..AZIMUTHS).min_by(|&a, &b| looks[a].total_cmp(&looks[b]))?;
        let place = step * least as f64;
        let (_, found) = roots::maximum(|azimuth| -begins(azimuth), place - step, place + step, 1e-4);
        let radius = looks[least].min(-found);
        (radius < widest_mm).then_some(radius)
    }

    /// How far outside of an opening the light of a point of the image passes at most, over the rim of the open mirror.
    fn largest_excess_mm(&self, opening: &Stop, [along_mm, across_mm]: [f64; 2]) -> f64 {
        let beam = StarBeam::new(self.field_of_image(along_mm, across_mm));
        let rim_mm = self.open_radius_mm();
        let at = |angle: f64| {
            let (sin, cos) = angle.sin_cos();
            opening.excess_mm(&beam.ray(self.mirror(), rim_mm * cos, rim_mm * sin), &beam)
        };
        let step = TAU / RIM_LOOKS as f64;
        let looks: Vec<f64> = (0..RIM_LOOKS).map(|i| at(step * i as f64)).collect();
        let most = (0..RIM_LOOKS).max_by(|&a, &b| looks[a].total_cmp(&looks[b])).unwrap_or(0);
        let place = step * most as f64;
        roots::maximum(at, place - step, place + step, ANGLE).1.max(looks[most])
    }
}
