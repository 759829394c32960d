//! Spot diagrams: where the rays of one star cross a plane, and how far they scatter.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use super::detail::Detail;
use super::light::{Light, no_light};
use super::prepared::Prepared;
use super::pupil::{Density, Nodes, lattice};
use super::ray::{Ray, StarBeam};
use super::star::Star;
use crate::error::{Error, Result};
use crate::numeric::{stats, sums};
use crate::units::{Field, UM_PER_MM};

/// Rays behind the radius that holds 80 % of the light.
const RAYS_FOR_SHARE: usize = 20_000;
/// What the quadrature is good to at best, relative: the outline's own accuracy.
const ERROR_FLOOR: f64 = 1e-8;
/// Most rays for a picture: 32 MB of numbers.
const MOST_POINTS: usize = 1_000_000;
/// Rim rays behind the two extents.
const RIM_RAYS: usize = 360;

/// The scatter of one star's rays in a plane square to the focuser's axis.
///
/// Units: um, in the plane; `along` positive toward the sky end, `across` along +y; mm on the mirror.
/// Statistics are weighted by the light each ray carries: the beam's cross-section times the reflectance.
/// Leaves out: diffraction. A spot much smaller than the Airy disk says only that the figure is good.
///
/// ```
/// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(250.0, FocalLengthMm(1250.0))).build()?;
/// let spot = Prepared::new(&train).spot_at(Field::arcmin(15.0, 0.0), 0.0, 500)?;
/// assert!((spot.rms_radius_um - 11.232_246).abs() < 1e-4); // exact trace in 40 digits, own computation
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Spot {
    /// Where the star stands.
    pub field: Field,
    /// How far behind the paraxial focal plane the spot is caught, mm; positive: further from the primary.
    pub focus_shift_mm: f64,
    /// Wavelength that was asked for, nm; none from [`Prepared::spot_at`]. Rays know no wavelength: only the
    /// plane of [`Focus::Peak`](crate::Focus::Peak) depends on it.
    pub wavelength_nm: Option<f64>,
    /// Focal length over the diameter that gathers light.
    pub focal_ratio: f64,
    /// Diameter of the diagonal's shadow over the diameter that gathers light.
    pub obstruction_ratio: f64,
    /// Root of the mean squared distance from the centroid, um.
    pub rms_radius_um: f64,
    /// Radius about the centroid that holds 80 % of the light, um; from 20 000 rays, good to about 1e-3.
    pub radius_80_um: f64,
    /// Where the centroid lies, seen from the Gaussian image point -f tan(field): `[along, across]`, um.
    pub centroid_um: [f64; 2],
    /// Length of the spot in the direction away from the axis (`along`, for a star on the axis), um.
    pub tangential_extent_um: f64,
    /// Length of the spot square to that direction, um.
    pub sagittal_extent_um: f64,
    /// Mean of the two rim rays in the plane of the field minus the ray by the vertex, um: positive away
    /// from the axis. The parts that stop light do not count.
    pub tangential_coma_um: f64,
    /// The same of the two rim rays square to the plane of the field, um.
    pub sagittal_coma_um: f64,
    /// How much of the light arrives, and what stops the rest.
    pub light: Light,
    /// Estimated error of the RMS radius, um: three times the difference from a coarser sum, and 1e-8 of itself.
    /// Where a stop hides the mirror's centre, the sums run over samples: then 0.3 over the root of their number
    /// takes the place of the 1e-8.
    pub error_um: f64,
    /// Rays for a picture, spread evenly over the lit mirror.
    pub points: SpotPoints,
}

/// Rays of a spot, spread evenly over the lit mirror.
///
/// Units: um about the centroid; mm on the mirror. Shapes: all lists of one length.
///
/// ```
/// assert!(catoptric::SpotPoints::default().along_um.is_empty());
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SpotPoints {
    /// Along, from the centroid, um.
    pub along_um: Vec<f64>,
    /// Across, from the centroid, um.
    pub across_um: Vec<f64>,
    /// Where the ray met the mirror, x, mm.
    pub mirror_x_mm: Vec<f64>,
    /// Where the ray met the mirror, y, mm.
    pub mirror_y_mm: Vec<f64>,
}

/// Node counts for ray statistics: the integrands are low powers, except within a figure's panels.
struct Smooth {
    radial: usize,
    around: usize,
    /// What a figure that is not round asks for beyond that, and the radius of the mirror.
    detail: Option<Detail>,
    rim_mm: f64,
}

impl Smooth {
    fn fine(prepared: &Prepared) -> Self {
        let (detail, rim_mm) = (prepared.detail(), prepared.open_radius_mm());
        Self { radial: 16, around: 48, detail, rim_mm }
    }

    fn coarse(prepared: &Prepared) -> Self {
        Self { radial: 13, around: 42, ..Self::fine(prepared) }
    }

    /// For squares of slopes of some order, and two nodes a pixel; fewer for the coarse list.
    fn beyond(&self, order: impl Fn(&Detail) -> u32, pixels: impl Fn(&Detail) -> f64) -> usize {
        let share = self.around as f64 / 48.0;
        self.detail.map_or(0, |d| (share * (4.0 * f64::from(order(&d)) + 2.0 * pixels(&d))) as usize)
    }
}

impl Density for Smooth {
    fn radial(&self, from_mm: f64, to_mm: f64) -> usize {
        self.radial + self.beyond(|d| d.radial_order / 2, |d| d.pixels_along(to_mm - from_mm))
    }

    fn around(&self) -> usize {
        self.around + self.beyond(|d| d.azimuthal_order, |d| d.pixels_around(self.rim_mm))
    }

    fn along_cut(&self, _: f64, _: f64, turn: f64) -> usize {
        self.radial + self.beyond(|d| d.azimuthal_order, |d| d.pixels_along(turn * self.rim_mm))
    }

    fn across(&self, _: f64) -> usize {
        3
    }

    fn patch(&self, _: f64, _: (f64, f64)) -> (usize, usize) {
        (self.radial, self.around)
    }
}

/// Rays of one star as columns: place and slope in the focal plane, the light they carry.
struct Bundle {
    x_mm: Vec<f64>,
    y_mm: Vec<f64>,
    slope_x: Vec<f64>,
    slope_y: Vec<f64>,
    flux: Vec<f64>,
    /// What statistics are good to at best, relative.
    floor: f64,
}

impl Bundle {
    fn new(prepared: &Prepared, star: Star, nodes: &Nodes) -> Self {
        let beam = StarBeam::new(star);
        let image_mm = star.gaussian_mm(prepared.focal_length_mm())[2];
        let count = nodes.len();
        let [mut x_mm, mut y_mm, mut slope_x, mut slope_y, mut flux] =
            std::array::from_fn(|_| Vec::with_capacity(count));
        for (i, point) in nodes.points.iter().enumerate() {
            let ray = beam.reflect(point);
            let [px, py] = ray.at_height_mm(image_mm);
            x_mm.push(px);
            y_mm.push(py);
            slope_x.push(ray.direction[0] / ray.direction[2]);
            slope_y.push(ray.direction[1] / ray.direction[2]);
            flux.push(nodes.weight_mm2[i] * nodes.amplitude[i].powi(2));
        }
        let floor = nodes.sampling_error().unwrap_or(ERROR_FLOOR);
        Self { x_mm, y_mm, slope_x, slope_y, flux, floor }
    }

    /// Mean of a column over the light.
    fn mean(&self, column: &[f64]) -> f64 {
        let terms: Vec<f64> = column.iter().zip(&self.flux).map(|(v, w)| v * w).collect();
        sums::pairwise(&terms) / sums::pairwise(&self.flux)
    }

    /// Mean product of two columns about their means.
    fn covariance(&self, a: &[f64], b: &[f64]) -> f64 {
        let (mean_a, mean_b) = (self.mean(a), self.mean(b));
        let products: Vec<f64> = a.iter().zip(b).map(|(a, b)| (a - mean_a) * (b - mean_b)).collect();
        self.mean(&products)
    }

    /// Centroid and RMS radius in the plane at a shift, mm.
    fn statistics(&self, shift_mm: f64) -> ([f64; 2], f64) {
        let moved = |place: &[f64], slope: &[f64]| -> Vec<f64> {
            place.iter().zip(slope).map(|(p, s)| p + s * shift_mm).collect()
        };
        let (x, y) = (moved(&self.x_mm, &self.slope_x), moved(&self.y_mm, &self.slope_y));
        let square = self.covariance(&x, &x) + self.covariance(&y, &y);
        ([self.mean(&x), self.mean(&y)], square.max(0.0).sqrt())
    }

    /// What an RMS radius is good to, from that of a coarser list, um.
    fn error_um(&self, rms_mm: f64, coarse_rms_mm: f64) -> f64 {
        (3.0 * (rms_mm - coarse_rms_mm).abs() + self.floor * rms_mm) * UM_PER_MM
    }

    /// The shift at which the RMS radius is least: the radius squared is a parabola in the shift.
    fn least_spot_shift_mm(&self) -> f64 {
        let joint = self.covariance(&self.x_mm, &self.slope_x) + self.covariance(&self.y_mm, &self.slope_y);
        let spread =
            self.covariance(&self.slope_x, &self.slope_x) + self.covariance(&self.slope_y, &self.slope_y);
        -joint / spread
    }
}

impl Prepared {
    /// The spot of a star in the plane at a shift from the paraxial focal plane.
    ///
    /// Units: mm, positive further from the primary. `points` is the number of rays for the picture, before some
    /// are stopped; statistics use a quadrature of their own.
    /// Errors: [`Error::Input`] for angles or shifts that cannot be; [`Error::NoLight`].
    /// Leaves out: diffraction.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(250.0, FocalLengthMm(1250.0))).build()?;
    /// let spot = Prepared::new(&train).spot_at(Field::AXIS, 1.0, 500)?;
    /// assert!((spot.tangential_extent_um / 200.0 - 1.0).abs() < 0.01, "1 mm out of focus at f/5");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn spot_at(&self, field: Field, focus_shift_mm: f64, points: usize) -> Result<Spot> {
        check_field(field)?;
        check_shift(focus_shift_mm, self.focal_length_mm())?;
        if !(1..=MOST_POINTS).contains(&points) {
            return Err(Error::input(
                "points",
                points,
                format!("1 to {MOST_POINTS} rays for the picture"),
                "",
            ));
        }
        let light = self.light(field);
        let (fine, coarse) = (
            self.bundle(field.into(), &Smooth::fine(self), &light)?,
            self.bundle(field.into(), &Smooth::coarse(self), &light)?,
        );
        let (centroid_mm, rms_mm) = fine.statistics(focus_shift_mm);
        let (_, coarse_rms_mm) = coarse.statistics(focus_shift_mm);

        let caught = Caught {
            prepared: self,
            field,
            beam: StarBeam::new(field),
            height_mm: self.focal_length_mm() + focus_shift_mm,
        };
        let [coma_t, coma_s] = caught.coma_mm();
        let [extent_t, extent_s] = caught.extents_mm();
        let [tan_x, tan_y] = field.tangents();
        let gaussian_mm = [-self.focal_length_mm() * tan_x, -self.focal_length_mm() * tan_y];
        Ok(Spot {
            field,
            focus_shift_mm,
            wavelength_nm: None,
            focal_ratio: self.focal_ratio(),
            obstruction_ratio: self.obstruction_ratio(),
            rms_radius_um: rms_mm * UM_PER_MM,
            radius_80_um: caught.radius_holding(0.8, centroid_mm) * UM_PER_MM,
            centroid_um: [0, 1].map(|i| (centroid_mm[i] - gaussian_mm[i]) * UM_PER_MM),
            tangential_extent_um: extent_t * UM_PER_MM,
            sagittal_extent_um: extent_s * UM_PER_MM,
            tangential_coma_um: coma_t * UM_PER_MM,
            sagittal_coma_um: coma_s * UM_PER_MM,
            light,
            error_um: fine.error_um(rms_mm, coarse_rms_mm),
            points: caught.points(points, centroid_mm),
        })
    }

    /// The focus shift at which the star's rays scatter least (least RMS radius), mm.
    ///
    /// Errors: [`Error::Input`], [`Error::NoLight`].
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(250.0, FocalLengthMm(1250.0))).build()?;
    /// let shift = Prepared::new(&train).least_spot_shift_mm(Field::arcmin(30.0, 0.0))?;
    /// assert!(shift < 0.0, "astigmatism and the curved field bring the focus nearer");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn least_spot_shift_mm(&self, star: impl Into<Star>) -> Result<f64> {
        let star = star.into();
        star.check(self.focal_length_mm())?;
        Ok(self.bundle(star, &Smooth::fine(self), &self.light(star.field))?.least_spot_shift_mm())
    }

    /// How sharp the image of a star is in the plane at a shift and in that of its own least spot.
    ///
    /// What [`Self::spot_at`] says of both, from one set of rays, without the radius of 80 % and the picture, which
    /// take most of its time.
    pub(crate) fn sharpness(&self, field: Field, focus_shift_mm: f64) -> Result<Sharpness> {
        check_field(field)?;
        check_shift(focus_shift_mm, self.focal_length_mm())?;
        let light = self.light(field);
        let (fine, coarse) = (
            self.bundle(field.into(), &Smooth::fine(self), &light)?,
            self.bundle(field.into(), &Smooth::coarse(self), &light)?,
        );
        let least_spot_shift_mm = fine.least_spot_shift_mm();
        check_shift(least_spot_shift_mm, self.focal_length_mm())?;
        let [flat, refocused] = [focus_shift_mm, least_spot_shift_mm].map(|shift_mm| {
            let (rms_mm, coarse_mm) = (fine.statistics(shift_mm).1, coarse.statistics(shift_mm).1);
            (rms_mm * UM_PER_MM, fine.error_um(rms_mm, coarse_mm))
        });
        let height_mm = self.focal_length_mm() + focus_shift_mm;
        let caught = Caught { prepared: self, field, beam: StarBeam::new(field), height_mm };
        Ok(Sharpness {
            tangential_coma_um: caught.coma_mm()[0] * UM_PER_MM,
            tangential_extent_um: caught.extents_mm()[0] * UM_PER_MM,
            rms_radius_um: flat.0,
            least_rms_radius_um: refocused.0,
            least_spot_shift_mm,
            error_um: flat.1.max(refocused.1),
        })
    }

    fn bundle(&self, star: Star, density: &Smooth, light: &Light) -> Result<Bundle> {
        let nodes = Nodes::new(self, star, density);
        if light.lit_fraction <= 0.0 || nodes.len() == 0 {
            return Err(no_light(star.field, light));
        }
        Ok(Bundle::new(self, star, &nodes))
    }
}

/// The numbers of a spot that tell how sharp a field is, in a given plane and in that of the least spot.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sharpness {
    pub(crate) tangential_coma_um: f64,
    pub(crate) tangential_extent_um: f64,
    pub(crate) rms_radius_um: f64,
    pub(crate) least_rms_radius_um: f64,
    pub(crate) least_spot_shift_mm: f64,
    /// Estimated error of the two RMS radii, um.
    pub(crate) error_um: f64,
}

/// Single rays, caught in a plane.
struct Caught<'a> {
    prepared: &'a Prepared,
    field: Field,
    beam: StarBeam,
    height_mm: f64,
}

impl Caught<'_> {
    /// Unit vectors in the image: away from the axis, and square to that.
    fn directions(&self) -> [[f64; 2]; 2] {
        let [x, y] = self.field.tangents();
        let length = x.hypot(y);
        let away = if length > 0.0 { [-x / length, -y / length] } else { [1.0, 0.0] };
        [away, [-away[1], away[0]]]
    }

    fn by_mirror_point(&self, x_mm: f64, y_mm: f64) -> [f64; 2] {
        self.beam.ray(self.prepared.mirror(), x_mm, y_mm).at_height_mm(self.height_mm)
    }

    /// Tangential and sagittal coma as the two pairs of rim rays show them.
    fn coma_mm(&self) -> [f64; 2] {
        let rim = self.prepared.open_radius_mm();
        let directions = self.directions();
        let away = directions[0];
        let [cx, cy] = self.by_mirror_point(0.0, 0.0);
        directions.map(|[x, y]| {
            let [a, b] = [rim, -rim].map(|r| self.by_mirror_point(r * x, r * y));
            let mean = [f64::midpoint(a[0], b[0]) - cx, f64::midpoint(a[1], b[1]) - cy];
            mean[0] * away[0] + mean[1] * away[1]
        })
    }

    /// Lengths of the spot away from the axis and square to that, of all rays that arrive.
    fn extents_mm(&self) -> [f64; 2] {
        let inner = self.lattice(4_000);
        let rim = self.prepared.open_radius_mm();
        let edge = (0..RIM_RAYS).map(|i| {
            let (sin, cos) = (TAU * i as f64 / RIM_RAYS as f64).sin_cos();
            (rim * cos, rim * sin)
        });
        let (directions, mut ranges) = (self.directions(), [(f64::INFINITY, f64::NEG_INFINITY); 2]);
        // The rim's rays land furthest out: most of the others then need not be asked whether they arrive.
        for (x_mm, y_mm) in edge.chain(inner) {
            let ray = self.beam.ray(self.prepared.mirror(), x_mm, y_mm);
            let [px, py] = ray.at_height_mm(self.height_mm);
            let along = directions.map(|[x, y]| px * x + py * y);
            let is_further = ranges.iter().zip(along).any(|((low, high), v)| v < *low || v > *high);
            if is_further && self.prepared.lets_pass(&ray, &self.beam) {
                for ((low, high), v) in ranges.iter_mut().zip(along) {
                    (*low, *high) = (low.min(v), high.max(v));
                }
            }
        }
        ranges.map(|(low, high)| (high - low).max(0.0))
    }

    /// Radius about a centre that holds a share of the light.
    fn radius_holding(&self, share: f64, centre_mm: [f64; 2]) -> f64 {
        let (mut distances, mut fluxes) = (Vec::new(), Vec::new());
        for (x, y) in self.lattice(RAYS_FOR_SHARE) {
            if let Some((ray, [px, py])) = self.if_lit(x, y) {
                distances.push((px - centre_mm[0]).hypot(py - centre_mm[1]));
                fluxes.push(ray.beam * self.prepared.reflectance(x, y));
            }
        }
        stats::quantile_weighted(&distances, &fluxes, share).unwrap_or(0.0)
    }

    fn points(&self, count: usize, centre_mm: [f64; 2]) -> SpotPoints {
        let mut points = SpotPoints::default();
        for (x, y) in self.lattice(count) {
            if let Some((_, [px, py])) = self.if_lit(x, y) {
                points.along_um.push((px - centre_mm[0]) * UM_PER_MM);
                points.across_um.push((py - centre_mm[1]) * UM_PER_MM);
                points.mirror_x_mm.push(x);
                points.mirror_y_mm.push(y);
            }
        }
        points
    }

    fn lattice(&self, count: usize) -> impl Iterator<Item = (f64, f64)> {
        lattice(self.prepared.open_radius_mm(), count)
    }

    /// The ray by a point of the mirror and where it lands, if no part stops it.
    fn if_lit(&self, x_mm: f64, y_mm: f64) -> Option<(Ray, [f64; 2])> {
        let ray = self.beam.ray(self.prepared.mirror(), x_mm, y_mm);
        self.prepared.lets_pass(&ray, &self.beam).then(|| (ray, ray.at_height_mm(self.height_mm)))
    }
}

/// Refuses a field angle that no telescope of this kind looks at.
pub(crate) fn check_field(field: Field) -> Result<()> {
    for (name, value) in [("field_arcmin[0]", field.x_arcmin), ("field_arcmin[1]", field.y_arcmin)] {
        if value.is_nan() || value.abs() > 600.0 {
            let allowed = "an angle from the axis within 600 arcmin";
            return Err(Error::input(
                name,
                value,
                allowed,
                "arcseconds or millimetres given for arcminutes?",
            ));
        }
    }
    Ok(())
}

/// Refuses a focus shift that leaves the telescope.
pub(crate) fn check_shift(focus_shift_mm: f64, focal_mm: f64) -> Result<()> {
    if focus_shift_mm.is_nan() || focus_shift_mm.abs() > focal_mm / 4.0 {
        let allowed = "a shift within a quarter of the focal length";
        return Err(Error::input(
            "focus_shift_mm",
            focus_shift_mm,
            allowed,
            "micrometres given for millimetres?",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Primary, Train};
    use crate::units::FocalLengthMm;

    #[test]
    fn the_radius_of_80_per_cent_weighs_rays_by_their_beam() {
        // A fast mirror far off axis: the beam's cross-section differs by 4 % from side to side.
        let train = Train::builder(Primary::new(400.0, FocalLengthMm(800.0))).build().unwrap();
        let prepared = Prepared::new(&train);
        let field = Field::arcmin(600.0, 0.0);
        let spot = prepared.spot_at(field, 0.0, 1).unwrap();
        // The same share from a square grid of rays about the centroid, with each weight in turn.
        let gaussian_mm = -800.0 * field.tangents()[0];
        let centre_mm = [gaussian_mm + spot.centroid_um[0] / UM_PER_MM, spot.centroid_um[1] / UM_PER_MM];
        let (mut distances_um, mut beams) = (Vec::new(), Vec::new());
        for (i, j) in (0..400).flat_map(|i| (0..400).map(move |j| (i, j))) {
            let [x_mm, y_mm] = [i, j].map(|k| f64::from(k) - 199.5);
            if x_mm.hypot(y_mm) < 200.0 {
                let ray = prepared.ray(field, x_mm, y_mm);
                let [px, py] = ray.at_height_mm(800.0);
                distances_um.push((px - centre_mm[0]).hypot(py - centre_mm[1]) * UM_PER_MM);
                beams.push(ray.beam);
            }
        }
        let radius_um = |weights: &[f64]| stats::quantile_weighted(&distances_um, weights, 0.8).unwrap();
        let (weighted_um, even_um) = (radius_um(&beams), radius_um(&vec![1.0; beams.len()]));
        let off = |radius_um: f64| (spot.radius_80_um / radius_um - 1.0).abs();
        assert!(off(weighted_um) < 1e-3, "{} {weighted_um}", spot.radius_80_um);
        assert!(off(even_um) > 1.5e-3, "{} {even_um}", spot.radius_80_um);
    }
}
