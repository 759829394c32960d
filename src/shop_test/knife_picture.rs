//! The mirror as the tester sees it behind a knife edge near the centre of curvature.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::bench_picture::{
    DEFAULT_PIXELS, axis_mm, blur_um, check_openings, check_pixels, check_slit, check_wavelengths,
    mirrored_rows, openings_or_all,
};
use super::bench_ray::{Bench, check_stage};
use super::bench_wave::HalfPlane;
use super::opening::{MaskOpening, TestSource};
use crate::error::{Error, Findings, Problem, Result};
use crate::model::Primary;
use crate::numeric::pool::map_ordered;
use crate::units::{DEFAULT_WAVELENGTH_NM, UM_PER_MM};

/// Accuracy that is promised for the brightness.
const ACCURACY: f64 = 1e-5;
const REFINEMENTS: usize = 6;
/// What rounding leaves.
const ERROR_FLOOR: f64 = 1e-10;
/// Rows on which two samplings are compared.
const PROBES: usize = 7;
/// Numbers that the waves of one row may take: 32 MiB.
const MOST_VALUES: usize = 4_194_304;

/// The side from which the knife enters the light, as the tester sees it.
///
/// ```
/// assert_eq!(catoptric::KnifeFrom::from_name("left"), Some(catoptric::KnifeFrom::Left));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KnifeFrom {
    /// The blade covers what lies to the left of its edge.
    Left,
    /// The blade covers what lies to the right of its edge.
    Right,
}

impl KnifeFrom {
    /// The side of a name: `left` or `right`.
    ///
    /// ```
    /// assert_eq!(catoptric::KnifeFrom::from_name("above"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "left" => Some(Self::Left),
            "right" => Some(Self::Right),
            _ => None,
        }
    }

    /// The side's name.
    ///
    /// ```
    /// assert_eq!(catoptric::KnifeFrom::Right.name(), "right");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    fn sign(self) -> f64 {
        match self {
            Self::Left => 1.0,
            Self::Right => -1.0,
        }
    }
}

/// Where slit and knife stand, and what the picture shows.
///
/// Units: `stage_mm` from the centre of curvature of the conic's vertex, positive away from the mirror, the zero of
/// [`expected_readings`](crate::expected_readings); `edge_um` from the axis, positive to the tester's right;
/// wavelengths in nm share the light equally.
///
/// ```
/// use catoptric::{KnifeBench, KnifeFrom, TestSource};
/// let bench = KnifeBench::new(TestSource::Moving, 2.0, 20.0);
/// assert_eq!((bench.edge_um, bench.knife_from, bench.pixels), (0.0, KnifeFrom::Left, 257));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KnifeBench {
    /// Whether the slit moves with the knife, or stays at the centre of curvature.
    pub source: TestSource,
    /// Where the knife stands along the axis, mm.
    pub stage_mm: f64,
    /// Where its edge stands across, um.
    pub edge_um: f64,
    /// The side it comes from.
    pub knife_from: KnifeFrom,
    /// Width of the slit, um; its length is along the edge.
    pub slit_width_um: f64,
    /// Wavelengths, nm.
    pub wavelengths_nm: Vec<f64>,
    /// Openings of a mask in front of the mirror, from the centre outward; none for the whole mirror.
    pub openings: Vec<MaskOpening>,
    /// Pixels on a side.
    pub pixels: usize,
}

impl KnifeBench {
    /// A bench with the edge on the axis, coming from the left, in green light, without a mask.
    ///
    /// ```
    /// use catoptric::{KnifeBench, TestSource};
    /// let bench = KnifeBench::new(TestSource::Moving, 2.0, 20.0);
    /// assert!(bench.openings.is_empty());
    /// ```
    pub fn new(source: TestSource, stage_mm: f64, slit_width_um: f64) -> Self {
        Self {
            source,
            stage_mm,
            edge_um: 0.0,
            knife_from: KnifeFrom::Left,
            slit_width_um,
            wavelengths_nm: vec![DEFAULT_WAVELENGTH_NM],
            openings: Vec::new(),
            pixels: DEFAULT_PIXELS,
        }
    }

    /// The same bench with the edge elsewhere, um to the right of the axis.
    ///
    /// ```
    /// use catoptric::{KnifeBench, TestSource};
    /// let bench = KnifeBench::new(TestSource::Moving, 2.0, 20.0).edge_um(-5.0);
    /// assert_eq!(bench.edge_um, -5.0);
    /// ```
    #[must_use]
    pub fn edge_um(self, edge_um: f64) -> Self {
        Self { edge_um, ..self }
    }

    /// The same bench with the knife from this side.
    ///
    /// ```
    /// use catoptric::{KnifeBench, KnifeFrom, TestSource};
    /// let bench = KnifeBench::new(TestSource::Moving, 2.0, 20.0).knife_from(KnifeFrom::Right);
    /// assert_eq!(bench.knife_from, KnifeFrom::Right);
    /// ```
    #[must_use]
    pub fn knife_from(self, knife_from: KnifeFrom) -> Self {
        Self { knife_from, ..self }
    }

    /// The same bench with these wavelengths, nm.
    ///
    /// ```
    /// use catoptric::{KnifeBench, TestSource};
    /// let bench = KnifeBench::new(TestSource::Moving, 2.0, 20.0).wavelengths_nm(vec![480.0, 580.0]);
    /// assert_eq!(bench.wavelengths_nm.len(), 2);
    /// ```
    #[must_use]
    pub fn wavelengths_nm(self, wavelengths_nm: Vec<f64>) -> Self {
        Self { wavelengths_nm, ..self }
    }

    /// The same bench with a mask of these openings.
    ///
    /// ```
    /// use catoptric::{KnifeBench, MaskOpening, TestSource};
    /// let bench = KnifeBench::new(TestSource::Moving, 2.0, 20.0).openings(vec![MaskOpening { inner_radius_mm: 30.0, outer_radius_mm: 40.0 }]);
    /// assert_eq!(bench.openings.len(), 1);
    /// ```
    #[must_use]
    pub fn openings(self, openings: Vec<MaskOpening>) -> Self {
        Self { openings, ..self }
    }

    /// The same bench with a picture of so many pixels on a side.
    ///
    /// ```
    /// use catoptric::{KnifeBench, TestSource};
    /// let bench = KnifeBench::new(TestSource::Moving, 2.0, 20.0).pixels(65);
    /// assert_eq!(bench.pixels, 65);
    /// ```
    #[must_use]
    pub fn pixels(self, pixels: usize) -> Self {
        Self { pixels, ..self }
    }

    fn check(&self, primary: &Primary) -> Result<()> {
        let mut findings = Findings::default();
        check_slit(self.slit_width_um, &mut findings);
        check_pixels(self.pixels, &mut findings);
        let farthest = primary.open_diameter_mm() / 2.0 * UM_PER_MM;
        let allowed = format!("within the mirror's own radius ({farthest:.6} um) from the axis");
        let cause = "nanometres given for micrometres?";
        findings.number("edge_um", self.edge_um, |v| v.abs() <= farthest, &allowed, cause);
        check_openings(&self.openings, primary.open_diameter_mm() / 2.0, &mut findings);
        findings.refuse()?;
        check_stage(self.stage_mm, primary)?;
        check_wavelengths(&self.wavelengths_nm)
    }
}

/// The mirror behind a knife edge: its brightness by diffraction, and what rays alone would show.
///
/// Seen from behind the knife, looking at the mirror: +x to the right, +y up, as from the sky. Brightness 1 is the mirror
/// without the knife; it may exceed 1 beside a bright rim.
///
/// Units: mm on the mirror; brightness has none; crossings in um.
/// Shapes: `image[[i, j]]` and `ray_image[[i, j]]`, row i at y = `axis_mm[i]`, column j at x = `axis_mm[j]`.
/// Errors: those of [`knife_edge_picture`], which makes it.
///
/// ```
/// use catoptric::{FocalLengthMm, KnifeBench, Primary, TestSource, knife_edge_picture};
/// let sphere = Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0);
/// let inside = KnifeBench::new(TestSource::Moving, -3.0, 20.0).pixels(41);
/// let picture = knife_edge_picture(&sphere, &inside)?;
/// // Inside of focus the shadow comes from the side of the knife.
/// assert!(picture.image[[20, 8]] < 0.2 && picture.image[[20, 32]] > 0.8);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KnifePicture {
    /// The mirror that is looked at.
    pub primary: Primary,
    /// Where everything stands.
    pub bench: KnifeBench,
    /// Brightness of each point of the mirror by diffraction.
    pub image: Array2<f64>,
    /// The share of the slit's light that rays bring past the edge from each point.
    pub ray_image: Array2<f64>,
    /// Positions of rows and columns, mm.
    pub axis_mm: Vec<f64>,
    /// Radii from the centre to the rim, mm.
    pub zone_radius_mm: Vec<f64>,
    /// Where the rays of each of them cross the plane of the knife, um from the axis, positive on the zone's own side.
    pub zone_crossing_um: Vec<f64>,
    /// Estimated error of `image`.
    pub error_estimate: f64,
}

impl KnifePicture {
    /// What is odd about the picture, though it can be computed.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, KnifeBench, Primary, TestSource, knife_edge_picture};
    /// let bench = KnifeBench::new(TestSource::Moving, 0.0, 900.0).pixels(21);
    /// let picture = knife_edge_picture(&Primary::new(200.0, FocalLengthMm(1200.0)), &bench)?;
    /// assert!(picture.problems()[0].field == "slit_width_um");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn problems(&self) -> Vec<Problem> {
        let mut findings = Findings::default();
        let bench = &self.bench;
        if bench.slit_width_um > 300.0 {
            let allowed = "slits are some 10 to 100 um wide; a wide one hides small errors";
            findings.warning("slit_width_um", bench.slit_width_um, allowed, "inches or other units?");
        }
        // Light of the slit's sides and of diffraction, beyond the farthest ray.
        let blur = 3.0 * bench.wavelengths_nm.iter().map(|w| blur_um(*w, &self.primary)).fold(0.0, f64::max);
        let farthest = self.zone_crossing_um.iter().map(|c| c.abs()).fold(0.0, f64::max);
        if bench.edge_um.abs() > farthest + bench.slit_width_um / 2.0 + blur {
            let allowed = format!(
                "light crosses the knife's plane within {farthest:.3} um: all is dark, or all is bright"
            );
            findings.warning("edge_um", bench.edge_um, &allowed, "millimetres given for micrometres?");
        }
        findings.warnings()
    }
}

/// The picture that a knife edge shows of a mirror.
///
/// The slit stands on the axis, parallel to the edge, and its points do not interfere. With a moving source slit and knife lie
/// in one plane, with a fixed one the slit stays at the vertex's centre of curvature. Both legs of each path are exact at the
/// surface as it is.
///
/// Units: see [`KnifeBench`]. Shapes: see [`KnifePicture`].
/// Errors: [`Error::Input`] for a bench or a mirror that cannot be, and where a row's waves would take more than 32 MiB;
/// [`Error::NotConverged`] where the brightness does not come to 1e-5.
/// Source: Foucault 1859; half of the field and half of its Hilbert transform (Rayleigh 1917, Phil. Mag. 33, 161), both from
/// memory, derived anew in `bench_wave.rs`.
/// Leaves out: the sideways distance e of slit and knife, which parts the focal lines by e^2/(2R) (0.06 mm for 20 mm at
/// R = 3116 mm); the coating; the blur of eye or camera; the slow change of the scale between mirror and knife plane,
/// (stage/R)(r/R)^2 of a fringe's place. Nearer to the rim than half a pixel, where the brightness has no bound, it
/// is that at half a pixel.
///
/// ```
/// use catoptric::{FocalLengthMm, KnifeBench, Primary, TestSource, knife_edge_picture};
/// // A sphere with the edge in its focus: a quarter at the centre, where Rayleigh's logarithm is zero; the slit adds 2e-5.
/// let sphere = Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0);
/// let picture = knife_edge_picture(&sphere, &KnifeBench::new(TestSource::Moving, 0.0, 0.1).pixels(21))?;
/// assert!((picture.image[[10, 10]] - 0.25).abs() < 3e-5 && picture.error_estimate < 1e-5);
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn knife_edge_picture(primary: &Primary, bench: &KnifeBench) -> Result<KnifePicture> {
    let rays = Bench::new(primary, bench.source, bench.stage_mm)?;
    bench.check(primary)?;
    let open_radius_mm = primary.open_diameter_mm() / 2.0;
    let openings = openings_or_all(&bench.openings, open_radius_mm);
    let axis_mm = axis_mm(open_radius_mm, bench.pixels);
    let pixel_mm = axis_mm[1] - axis_mm[0];
    let half_plane = HalfPlane {
        bench: rays.clone(),
        openings: openings.clone(),
        edge_mm: bench.edge_um / UM_PER_MM,
        passes: bench.knife_from.sign(),
        slit_width_mm: bench.slit_width_um / UM_PER_MM,
        wavelengths_nm: bench.wavelengths_nm.clone(),
        fineness: 1.0,
    };
    let (half_plane, error_estimate) = fine_enough(half_plane, &axis_mm, pixel_mm)?;
    let half = bench.pixels.div_ceil(2);
    let rows = map_ordered(half, true, |i| half_plane.row(axis_mm[i], &axis_mm, pixel_mm));
    let lit = |x: f64, y: f64| {
        let r = x.hypot(y);
        openings.iter().any(|o| o.inner_radius_mm <= r && r <= o.outer_radius_mm)
    };
    let image_width_mm = half_plane.slit_width_mm * rays.magnification();
    let passing = |x: f64, y: f64| {
        let beyond = half_plane.passes * (rays.landing_mm(x, y) - half_plane.edge_mm);
        (beyond / image_width_mm + 0.5).clamp(0.0, 1.0)
    };
    let ray_row = |y: f64| -> Vec<f64> {
        axis_mm.iter().map(|x| if lit(*x, y) { passing(*x, y) } else { 0.0 }).collect()
    };
    let ray_rows: Vec<Vec<f64>> = (0..half).map(|i| ray_row(axis_mm[i])).collect();
    let (zone_radius_mm, zone_crossing_um) = rays.zone_crossings();
    Ok(KnifePicture {
        primary: primary.clone(),
        bench: bench.clone(),
        image: mirrored_rows(&rows, bench.pixels),
        ray_image: mirrored_rows(&ray_rows, bench.pixels),
        axis_mm,
        zone_radius_mm,
        zone_crossing_um,
        error_estimate,
    })
}

/// The sampling at which some rows agree with a coarser one, and how far they still differ.
fn fine_enough(mut fine: HalfPlane, axis_mm: &[f64], pixel_mm: f64) -> Result<(HalfPlane, f64)> {
    let mut error = f64::INFINITY;
    for _ in 0..REFINEMENTS {
        let values = fine.values_of_a_row();
        if values > MOST_VALUES {
            let allowed = "a stage nearer to the centre of curvature, a narrower slit or fewer wavelengths, so that \
                           the waves of one row take 32 MiB at most";
            let found = format!("one row of waves of {} MiB", values / 131_072);
            return Err(Error::input("stage_mm", found, allowed, ""));
        }
        let coarse = HalfPlane { fineness: 0.85 * fine.fineness, ..fine.clone() };
        let differences = map_ordered(PROBES, true, |i| {
            let y = axis_mm[(axis_mm.len() - 1) * (i + 1) / (2 * PROBES)];
            let (a, b) = (fine.row(y, axis_mm, pixel_mm), coarse.row(y, axis_mm, pixel_mm));
            a.iter().zip(&b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
        });
        error = 3.0 * differences.into_iter().fold(0.0, f64::max) + ERROR_FLOOR;
        if error <= ACCURACY {
            return Ok((fine, error));
        }
        fine.fineness *= 1.35;
    }
    Err(Error::NotConverged { what: "the knife-edge picture", reached: error, wanted: ACCURACY })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{TurnedEdge, Zone};
    use crate::units::FocalLengthMm;

    #[test]
    fn the_error_estimate_covers_the_distance_to_a_far_finer_sampling() {
        let mirror = Primary::new(318.0, FocalLengthMm(1558.0));
        let smooth = mirror.clone().layer(Zone::new(95.0, 13.0, 60.0));
        let kinked = mirror.layer(TurnedEdge::new(3.0, 400.0).power(1.0));
        for (primary, stage_mm) in [(&smooth, -3.0), (&smooth, 12.0), (&kinked, 0.0), (&kinked, 2.0)] {
            let axis = axis_mm(159.0, 41);
            let pixel_mm = axis[1] - axis[0];
            let half_plane = HalfPlane {
                bench: Bench::new(primary, TestSource::Moving, stage_mm).expect("a bench"),
                openings: openings_or_all(&[], 159.0),
                edge_mm: 0.003,
                passes: 1.0,
                slit_width_mm: 0.02,
                wavelengths_nm: vec![550.0],
                fineness: 1.0,
            };
            let (used, estimate) = fine_enough(half_plane, &axis, pixel_mm).expect("a sampling");
            let finer = HalfPlane { fineness: 4.0 * used.fineness, ..used.clone() };
            // Every row but those that the estimate was made from.
            let worst = (1..20)
                .flat_map(|i| {
                    let (a, b) = (used.row(axis[i], &axis, pixel_mm), finer.row(axis[i], &axis, pixel_mm));
                    a.into_iter().zip(b).map(|(a, b)| (a - b).abs()).collect::<Vec<_>>()
                })
                .fold(0.0, f64::max);
            println!("stage {stage_mm}: {worst:.2e} against {estimate:.2e}");
            assert!(worst <= estimate, "stage {stage_mm}: {worst:.2e} against {estimate:.2e}");
        }
    }
}
