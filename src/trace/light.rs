//! How much light arrives, and which part stops the rest.

use std::f64::consts::{PI, TAU};

use serde::{Deserialize, Serialize};

use super::figure::Break;
use super::limits::{Outline, arcs, on_arc};
use super::prepared::Prepared;
use super::pupil::lattice;
use super::ray::StarBeam;
use super::stops::Part;
use super::strips;
use crate::error::{Error, Result};
use crate::numeric::{gauss, pool};
use crate::units::{Field, RADIANS_PER_ARCMIN};

/// How many angles a sum over the outline takes: around, where it has no corners, or on each arc between them; and how
/// many radii the part of a figure that is not round.
#[derive(Clone, Copy)]
struct Angles {
    around: usize,
    on_arc: usize,
    along: usize,
}

impl Angles {
    const ROUND: Self = Self { around: 64, on_arc: 18, along: 0 };

    /// What a train needs: four angles a period of the finest term, one for four pixels.
    fn of(prepared: &Prepared) -> Self {
        let Some(detail) = prepared.detail() else { return Self::ROUND };
        let rim_mm = prepared.clear_radius_mm();
        let quarter = |pixels: f64| (pixels / 4.0) as usize;
        let around = 4 * detail.azimuthal_order as usize + quarter(detail.pixels_around(rim_mm));
        Self {
            around: Self::ROUND.around + around,
            on_arc: Self::ROUND.on_arc + around / 8,
            along: 12 + detail.radial_order as usize + quarter(detail.pixels_along(rim_mm)),
        }
    }

    fn finer(self) -> Self {
        Self { around: self.around * 2, on_arc: self.on_arc * 2, along: self.along * 2 }
    }

    /// The coarser sum whose difference tells the error.
    fn companion(self) -> Self {
        Self { around: self.around * 3 / 4, on_arc: self.on_arc * 3 / 4, along: self.along * 3 / 4 }
    }
}

/// Accuracy that is promised for a fraction, and how often the angles are doubled to reach it.
const ACCURACY: f64 = 1e-9;
const REFINEMENTS: usize = 3;
/// The same with a map of heights on the mirror, whose pixels make the outline rough: an exact one would be no truer.
const MAP_ACCURACY: f64 = 1e-7;
const MAP_REFINEMENTS: usize = 1;
/// What the radii of the outline themselves are good to.
const ERROR_FLOOR: f64 = 1e-10;
/// Azimuths of a star on its way around the field.
const AZIMUTHS: usize = 24;
/// Rays of the sampled answer, and what it is good to.
const SAMPLES: usize = 100_000;
const SAMPLED_ERROR: f64 = 3e-4;

/// What one part stops of one star's light.
///
/// ```
/// let share = catoptric::Share { part: catoptric::Part::Diagonal, fraction: 0.02 };
/// assert!(share.fraction < 1.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// The part.
    pub part: Part,
    /// What it stops, as a share of the light that falls on the clear aperture; light that an earlier part has
    /// stopped is not counted again.
    pub fraction: f64,
}

/// How much of the light that falls on the clear aperture reaches the image, and where the rest stays.
///
/// The lit fraction and the shares add up to 1. Reflectances are not counted.
///
/// ```
/// use catoptric::{Diagonal, Field, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let light = Prepared::new(&train).light(Field::AXIS);
/// assert!((light.lit_fraction - (1.0 - (70.0_f64 / 318.0).powi(2))).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Light {
    /// Share that reaches the image.
    pub lit_fraction: f64,
    /// What each part stops, in the order in which light meets the parts; parts that the train lacks are left out.
    pub stopped: Vec<Share>,
    /// Estimated error of the fractions: three times the difference from a coarser sum, or that of sampled rays where a
    /// stop hides the mirror's centre.
    pub error_estimate: f64,
}

impl Light {
    /// The part that stops most.
    pub(crate) fn main_stop(&self) -> Option<Part> {
        self.stopped.iter().max_by(|a, b| a.fraction.total_cmp(&b.fraction)).map(|s| s.part)
    }
}

impl Prepared {
    /// How much of a star's light reaches the image, and which part stops the rest.
    ///
    /// Units: shares of the light that falls on the clear aperture.
    /// Method: the outline of the lit pupil angle by angle, exact to 1e-9 (with a height map on the mirror 1e-7 is aimed
    /// at; the estimate says what was reached); where a part hides the mirror's centre, 100 000 sampled rays, good to
    /// about 3e-4.
    /// Leaves out: reflectances; slivers of a stop's edge that are seen twice behind a kink of the glass (an edge whose
    /// power is below 2: within 1e-8).
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!((Prepared::new(&train).light(Field::arcmin(20.0, 0.0)).lit_fraction - 1.0).abs() < 1e-12);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn light(&self, field: Field) -> Light {
        let outline = Outline::new(self, StarBeam::new(field), self.clear_radius_mm());
        if outline.is_star_shaped() { exact(self, &outline) } else { self.light_by_rays(field) }
    }

    /// The same by sampled rays: the obvious way, good to about 3e-4; kept as a check on the exact one.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).mask_diameter_mm(159.0)).build()?;
    /// let light = Prepared::new(&train).light_by_rays(Field::AXIS);
    /// assert!((light.lit_fraction - 0.25).abs() < 1e-3);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn light_by_rays(&self, field: Field) -> Light {
        let beam = StarBeam::new(field);
        let mut taken = vec![0.0; self.parts().len() + 1];
        for (x, y) in lattice(self.clear_radius_mm(), SAMPLES) {
            let ray = beam.ray(self.mirror(), x, y);
            let stops = self.stops().iter().filter(|stop| stop.excess_mm(&ray, &beam) > 0.0).map(|s| s.part);
            let strips = self.strips().iter().filter(|strip| strip.covers(&ray, &beam)).map(|s| s.part);
            let first = stops.chain(strips).map(|part| self.place_of(part)).min();
            taken[first.unwrap_or(self.parts().len())] += ray.beam;
        }
        let total: f64 = taken.iter().sum();
        let lit_fraction = taken.pop().unwrap_or(0.0) / total;
        shares(self, lit_fraction, taken.iter().map(|t| t / total), SAMPLED_ERROR)
    }
}

fn shares(
    prepared: &Prepared,
    lit_fraction: f64,
    taken: impl Iterator<Item = f64>,
    error_estimate: f64,
) -> Light {
    let stopped =
        prepared.parts().iter().zip(taken).map(|(&part, fraction)| Share { part, fraction }).collect();
    Light { lit_fraction, stopped, error_estimate }
}

/// What the stops leave and take at one angle: radii, walked in the order in which light meets the stops.
struct Walk {
    /// For each stop the pair of radii between which it takes the light.
    taken_mm: Vec<(f64, f64)>,
    /// For each stop the side of it that begins to take, or ceases to.
    sides: Vec<usize>,
    lit_mm: (f64, f64),
}

impl Walk {
    fn new(prepared: &Prepared, outline: &Outline<'_>, angle: f64) -> Self {
        let (mut inner, mut outer) = (0.0_f64, outline.rim_mm());
        let mut taken_mm = Vec::with_capacity(prepared.stops().len());
        for stop in prepared.stops() {
            if stop.is_shadow() {
                let shadow = outline.cut_radius_mm(stop, angle, outer).max(inner);
                taken_mm.push((inner, shadow));
                inner = shadow;
            } else if outline.cuts().iter().any(|cut| cut.part == stop.part) {
                let radius = outline.cut_radius_mm(stop, angle, outer);
                taken_mm.push((radius.max(inner), outer.max(inner)));
                outer = radius;
            } else {
                taken_mm.push((outer, outer));
            }
        }
        let stops = prepared.stops().iter().zip(&taken_mm);
        let sides = stops.map(|(stop, (from, to))| {
            let edge = if stop.is_shadow() { *to } else { *from };
            if to > from { outline.side(stop, edge, angle) } else { 0 }
        });
        Self { sides: sides.collect(), taken_mm, lit_mm: (inner, outer.max(inner)) }
    }

    /// Which stops take something here, and past which breaks of the figure each of them reaches: it changes where the
    /// outline has a corner.
    fn signature(&self, breaks: &[Break]) -> Vec<Option<(usize, usize)>> {
        let passed = |r: f64| breaks.iter().filter(|b| b.radius_mm < r).count();
        let radii = self.taken_mm.iter().zip(&self.sides);
        let takes = radii.map(|((a, b), side)| (b > a).then(|| (passed(*a), *side)));
        takes.chain([(self.lit_mm.1 > self.lit_mm.0).then_some((0, 0))]).collect()
    }
}

fn exact(prepared: &Prepared, outline: &Outline<'_>) -> Light {
    let corners = outline.switches(|angle| Walk::new(prepared, outline, angle).signature(prepared.breaks()));
    let has_map = prepared.detail().is_some_and(|d| d.pixel_mm.is_some());
    let (accuracy, refinements) =
        if has_map { (MAP_ACCURACY, MAP_REFINEMENTS) } else { (ACCURACY, REFINEMENTS) };
    let mut angles = Angles::of(prepared);
    for refinement in 0.. {
        let fine = integrate(prepared, outline, &corners, angles);
        let coarse = integrate(prepared, outline, &corners, angles.companion());
        let difference = fine.iter().zip(&coarse).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        let error = 3.0 * difference + ERROR_FLOOR;
        if error <= accuracy || refinement == refinements {
            let (lit, taken) = fine.split_last().unwrap_or((&0.0, &[]));
            return shares(prepared, *lit, taken.iter().copied(), error);
        }
        angles = angles.finer();
    }
    unreachable!("the loop ends at its last refinement")
}

/// The shares that the stops take, in their order, and last the lit one.
fn integrate(prepared: &Prepared, outline: &Outline<'_>, corners: &[f64], angles: Angles) -> Vec<f64> {
    let mut areas = vec![0.0; prepared.stops().len() + 1];
    let mut add = |angle: f64, weight: f64| {
        let walk = Walk::new(prepared, outline, angle);
        let sector = Sector::new(prepared, outline.beam(), angle, angles.along);
        for (sum, radii) in areas.iter_mut().zip(walk.taken_mm.iter().chain([&walk.lit_mm])) {
            *sum += weight * sector.between(*radii);
        }
    };
    if corners.is_empty() {
        let step = TAU / angles.around as f64;
        (0..angles.around).for_each(|i| add(step * i as f64, step));
    } else {
        for arc in arcs(corners, PI / 4.0) {
            on_arc(angles.on_arc, arc).for_each(|(angle, weight)| add(angle, weight));
        }
    }
    let mut areas = by_part(prepared, &areas);
    strips::take_over(prepared, outline, &mut areas);
    let total = if prepared.mirror().is_round() {
        // The beam's cross-section of a disc with a level rim is the disc's area times the cosine.
        PI * outline.rim_mm().powi(2) * outline.beam().towards[2]
    } else {
        areas.iter().sum()
    };
    areas.into_iter().map(|area| area / total).collect()
}

/// The areas that the stops and the light have, in the order of all parts, with room for those that are no circles.
fn by_part(prepared: &Prepared, by_stop: &[f64]) -> Vec<f64> {
    let mut areas = vec![0.0; prepared.parts().len() + 1];
    for (stop, area) in prepared.stops().iter().zip(by_stop) {
        areas[prepared.place_of(stop.part)] = *area;
    }
    areas[prepared.parts().len()] = by_stop[prepared.stops().len()];
    areas
}

/// The beam's cross-section over a thin sector of the mirror.
struct Sector<'a> {
    prepared: &'a Prepared,
    towards: [f64; 3],
    sin_cos: (f64, f64),
    /// Part of the star's direction along the sector, and along the axis.
    radial: f64,
    axial: f64,
    /// Radii for the part of the figure that is not round.
    along: usize,
}

impl<'a> Sector<'a> {
    fn new(prepared: &'a Prepared, beam: &StarBeam, angle: f64, along: usize) -> Self {
        let (sin, cos) = angle.sin_cos();
        let radial = beam.towards[0] * cos + beam.towards[1] * sin;
        let axial = beam.towards[2];
        Self { prepared, towards: beam.towards, sin_cos: (sin, cos), radial, axial, along }
    }

    /// The integral of |d.N| r dr between two radii, mm^2 per radian.
    fn between(&self, (from_mm, to_mm): (f64, f64)) -> f64 {
        // Differences of one function: pieces of a radius add up to the whole, to the last digits.
        if to_mm > from_mm { self.within(to_mm) - self.within(from_mm) } else { 0.0 }
    }

    /// The same from the centre to a radius.
    fn within(&self, radius_mm: f64) -> f64 {
        let round = self.within_round(radius_mm);
        if self.prepared.mirror().is_round() { round } else { round - self.within_uneven(radius_mm) }
    }

    /// What the part of the figure that is not round takes from it: the integral of (d.slopes) r dr.
    fn within_uneven(&self, radius_mm: f64) -> f64 {
        let [tx, ty, _] = self.towards;
        if tx == 0.0 && ty == 0.0 {
            return 0.0;
        }
        let (sin, cos) = self.sin_cos;
        let steps = gauss::on_interval(self.along, 0.0, radius_mm);
        let taken = steps.map(|(r, weight)| {
            let [sx, sy] = self.prepared.mirror().uneven_slopes(r * cos, r * sin);
            weight * r * (tx * sx + ty * sy)
        });
        taken.sum()
    }

    /// That of the round surface. By parts, the integral of r z' is r z less that of z.
    fn within_round(&self, radius_mm: f64) -> f64 {
        let level = self.axial * radius_mm * radius_mm / 2.0;
        if self.radial == 0.0 {
            return level;
        }
        let height_mm = self.prepared.mirror().height_and_slope(radius_mm).0;
        level - self.radial * (radius_mm * height_mm - self.prepared.height_integral_mm2(radius_mm))
    }
}

/// Light at many points of the image.
///
/// Units: mm in the focal plane from its centre, `along` positive toward the sky end, `across` along +y.
/// Shapes: all lists have the same length, one entry a point.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(63.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let light = Prepared::new(&train).illumination(&[0.0, 20.0], &[0.0, 0.0])?;
/// assert!(light.relative[1] < light.relative[0]);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Illumination {
    /// Where, along, mm.
    pub along_mm: Vec<f64>,
    /// Where, across, mm.
    pub across_mm: Vec<f64>,
    /// Lit area over the clear aperture's, both as the star sees them.
    pub absolute: Vec<f64>,
    /// The same over its value in the middle of the field.
    pub relative: Vec<f64>,
    /// For each part the share it stops at every point, in the order in which light meets the parts.
    pub stopped: Vec<(Part, Vec<f64>)>,
    /// Estimated error of the absolute values: the largest of all points.
    pub error_estimate: f64,
}

/// Light against radius in the focal plane.
///
/// Units: mm from the centre of the field. Shapes: all lists have one entry a radius. The star goes around in 24
/// azimuths; `worst`, `mean` and `best` are relative to the middle of the field.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(63.0).offset_mm(0.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let light = Prepared::new(&train).illumination_at_radii(&[15.0])?;
/// assert!(light.worst[0] < light.mean[0] && light.mean[0] < light.best[0]);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RadialIllumination {
    /// Radii, mm.
    pub radius_mm: Vec<f64>,
    /// The darkest azimuth.
    pub worst: Vec<f64>,
    /// The mean over azimuth.
    pub mean: Vec<f64>,
    /// The brightest azimuth.
    pub best: Vec<f64>,
    /// The middle of the field: share of the light on the clear aperture.
    pub on_axis: f64,
    /// For each part the share it stops, the mean over azimuth.
    pub stopped: Vec<(Part, Vec<f64>)>,
    /// Estimated error of the absolute values: the largest of all points.
    pub error_estimate: f64,
}

impl RadialIllumination {
    /// The darkest azimuth, as a share of the light on the clear aperture.
    pub fn absolute_worst(&self) -> Vec<f64> {
        self.absolute(&self.worst)
    }

    /// The mean over azimuth, as a share of the light on the clear aperture.
    pub fn absolute_mean(&self) -> Vec<f64> {
        self.absolute(&self.mean)
    }

    /// The brightest azimuth, as a share of the light on the clear aperture.
    pub fn absolute_best(&self) -> Vec<f64> {
        self.absolute(&self.best)
    }

    fn absolute(&self, relative: &[f64]) -> Vec<f64> {
        relative.iter().map(|r| r * self.on_axis).collect()
    }
}

impl Prepared {
    /// Illumination at points of the focal plane.
    ///
    /// Units: mm. Shapes: two lists of equal length.
    /// Errors: [`Error::Input`] for unequal lists, positions that are not finite or lie beyond the focal length;
    /// [`Error::NoLight`] where the middle of the field is dark.
    /// Method, and what it leaves out: [`Prepared::light`].
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!(Prepared::new(&train).illumination(&[0.0], &[]).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn illumination(&self, along_mm: &[f64], across_mm: &[f64]) -> Result<Illumination> {
        if along_mm.len() != across_mm.len() || along_mm.is_empty() {
            return Err(Error::input(
                "across_mm",
                format!("{} positions beside {} of along_mm", across_mm.len(), along_mm.len()),
                "two lists of equal length, one point or more",
                "",
            ));
        }
        let focal_mm = self.focal_length_mm();
        for (name, list) in [("along_mm", along_mm), ("across_mm", across_mm)] {
            if let Some((i, &value)) =
                list.iter().enumerate().find(|(_, v)| v.abs().is_nan() || v.abs() > focal_mm)
            {
                let field = format!("{name}[{i}]");
                return Err(Error::input(field, value, "a position within one focal length", "micrometres?"));
            }
        }
        let axis = self.light(Field::AXIS);
        if axis.lit_fraction <= 0.0 {
            return Err(no_light(Field::AXIS, &axis));
        }
        let lights: Vec<Light> = pool::map_ordered(along_mm.len(), along_mm.len() > 8, |i| {
            self.light(self.field_of_image(along_mm[i], across_mm[i]))
        });
        let stopped = self
            .parts()
            .iter()
            .enumerate()
            .map(|(i, &part)| (part, lights.iter().map(|light| light.stopped[i].fraction).collect()));
        Ok(Illumination {
            along_mm: along_mm.to_vec(),
            across_mm: across_mm.to_vec(),
            absolute: lights.iter().map(|l| l.lit_fraction).collect(),
            relative: lights.iter().map(|l| l.lit_fraction / axis.lit_fraction).collect(),
            stopped: stopped.collect(),
            error_estimate: lights.iter().map(|l| l.error_estimate).fold(0.0, f64::max),
        })
    }

    /// Illumination against radius in the focal plane, over 24 azimuths.
    ///
    /// Units: mm.
    /// Errors: as [`Prepared::illumination`]; radii are not negative.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!((Prepared::new(&train).illumination_at_radii(&[10.0])?.mean[0] - 1.0).abs() < 1e-9);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn illumination_at_radii(&self, radius_mm: &[f64]) -> Result<RadialIllumination> {
        let possible = 0.0..=self.focal_length_mm();
        if let Some((i, &radius)) = radius_mm.iter().enumerate().find(|(_, r)| !possible.contains(*r)) {
            let allowed = "a radius from 0 to the focal length";
            return Err(Error::input(format!("radius_mm[{i}]"), radius, allowed, "a sign, or micrometres?"));
        }
        if radius_mm.is_empty() {
            return Err(Error::input("radius_mm", "no radii", "one radius or more", ""));
        }
        let (mut along, mut across) = (Vec::new(), Vec::new());
        for r in radius_mm {
            for i in 0..AZIMUTHS {
                let (sin, cos) = (TAU * i as f64 / AZIMUTHS as f64).sin_cos();
                along.push(r * cos);
                across.push(r * sin);
            }
        }
        let light = self.illumination(&along, &across)?;
        let over_azimuth =
            |values: &[f64], fold: fn(&[f64]) -> f64| values.chunks(AZIMUTHS).map(fold).collect();
        let mean = |around: &[f64]| around.iter().sum::<f64>() / AZIMUTHS as f64;
        Ok(RadialIllumination {
            radius_mm: radius_mm.to_vec(),
            worst: over_azimuth(&light.relative, |around| {
                around.iter().copied().fold(f64::INFINITY, f64::min)
            }),
            mean: over_azimuth(&light.relative, mean),
            best: over_azimuth(&light.relative, |around| around.iter().copied().fold(0.0, f64::max)),
            on_axis: light.absolute[0] / light.relative[0],
            stopped: light.stopped.iter().map(|(part, shares)| (*part, over_azimuth(shares, mean))).collect(),
            error_estimate: light.error_estimate,
        })
    }

    /// The star whose image falls on a point of the focal plane, or the light of whose image passes the mirror's vertex and
    /// that point where the flat stands out of its place.
    pub(crate) fn field_of_image(&self, along_mm: f64, across_mm: f64) -> Field {
        if let Some(plane) = self.tilted_focal_plane() {
            // The light by the vertex comes from the point's mirror image.
            let [x, y, z] = plane.point_mm(along_mm, across_mm);
            let angle = |part: f64| (-part / z).atan() / RADIANS_PER_ARCMIN;
            return Field::arcmin(angle(x), angle(y));
        }
        let angle = |image_mm: f64| (-image_mm / self.focal_length_mm()).atan() / RADIANS_PER_ARCMIN;
        Field::arcmin(angle(along_mm), angle(across_mm))
    }
}

/// The error of a field point that no light reaches.
pub(crate) fn no_light(field: Field, light: &Light) -> Error {
    Error::NoLight {
        x_arcmin: field.x_arcmin,
        y_arcmin: field.y_arcmin,
        stopped_by: light.main_stop().map_or_else(String::new, |part| format!("{part} stops most of it")),
    }
}
