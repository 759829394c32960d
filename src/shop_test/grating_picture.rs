//! The mirror as the tester sees it through a grating near the centre of curvature.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::bench_picture::{
    DEFAULT_PIXELS, axis_mm, check_openings, check_pixels, check_slit, check_wavelengths, mirrored_rows,
    openings_or_all,
};
use super::bench_ray::{Bench, check_stage};
use super::grating_wave::Grating;
use super::opening::{MaskOpening, TestSource};
use crate::error::{Error, Findings, Problem, Result};
use crate::model::Primary;
use crate::numeric::pool::map_ordered;
use crate::units::{DEFAULT_WAVELENGTH_NM, UM_PER_MM};

/// Accuracy that is promised for the brightness.
const ACCURACY: f64 = 1e-3;
/// What rounding leaves.
const ERROR_FLOOR: f64 = 1e-10;
/// Rows, and places in each, where the closed sum over the source is held against adding up its points.
const PROBES: usize = 4;
/// Most orders on one side: beyond, a picture takes minutes.
const MOST_ORDERS: i64 = 800;

/// Where source and grating stand, and what the picture shows.
///
/// The bars of the grating are as wide as its gaps and stand upright.
///
/// Units: `stage_mm` from the centre of curvature of the conic's vertex, positive away from the mirror; `phase` in periods,
/// the distance by which the middle of a gap lies to the tester's right of the axis; wavelengths in nm share the light
/// equally.
///
/// ```
/// use catoptric::{GratingBench, TestSource};
/// let bench = GratingBench::new(TestSource::Moving, -10.0, 4.0);
/// assert_eq!((bench.phase, bench.slit_width_um), (0.0, None));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GratingBench {
    /// Whether the source moves with the grating, or stays at the centre of curvature.
    pub source: TestSource,
    /// Where the grating stands along the axis, mm.
    pub stage_mm: f64,
    /// Lines (a bar and a gap each) in a millimetre.
    pub lines_per_mm: f64,
    /// Where a gap stands across, periods from the axis.
    pub phase: f64,
    /// Width of the slit on the axis, um. Without it the light comes through the same grating, which a fixed source cannot do.
    pub slit_width_um: Option<f64>,
    /// Wavelengths, nm.
    pub wavelengths_nm: Vec<f64>,
    /// Openings of a mask in front of the mirror, from the centre outward; none for the whole mirror.
    pub openings: Vec<MaskOpening>,
    /// Pixels on a side.
    pub pixels: usize,
}

impl GratingBench {
    /// A bench whose light comes through the grating itself, a gap on the axis, in green light, without a mask.
    ///
    /// ```
    /// use catoptric::{GratingBench, TestSource};
    /// let bench = GratingBench::new(TestSource::Moving, -9.0, 4.0);
    /// assert_eq!(bench.slit_width_um, None);
    /// ```
    pub fn new(source: TestSource, stage_mm: f64, lines_per_mm: f64) -> Self {
        Self {
            source,
            stage_mm,
            lines_per_mm,
            phase: 0.0,
            slit_width_um: None,
            wavelengths_nm: vec![DEFAULT_WAVELENGTH_NM],
            openings: Vec::new(),
            pixels: DEFAULT_PIXELS,
        }
    }

    /// The same bench with the grating shifted to the right by so many periods.
    ///
    /// ```
    /// use catoptric::{GratingBench, TestSource};
    /// let bench = GratingBench::new(TestSource::Moving, -9.0, 4.0).phase(0.25);
    /// assert_eq!(bench.phase, 0.25);
    /// ```
    #[must_use]
    pub fn phase(self, phase: f64) -> Self {
        Self { phase, ..self }
    }

    /// The same bench with a slit of this width, um, for its source.
    ///
    /// ```
    /// use catoptric::{GratingBench, TestSource};
    /// let bench = GratingBench::new(TestSource::Moving, -9.0, 4.0).slit_width_um(30.0);
    /// assert_eq!(bench.slit_width_um, Some(30.0));
    /// ```
    #[must_use]
    pub fn slit_width_um(self, slit_width_um: f64) -> Self {
        Self { slit_width_um: Some(slit_width_um), ..self }
    }

    /// The same bench with these wavelengths, nm.
    ///
    /// ```
    /// use catoptric::{GratingBench, TestSource};
    /// let bench = GratingBench::new(TestSource::Moving, -9.0, 4.0).wavelengths_nm(vec![480.0, 580.0]);
    /// assert_eq!(bench.wavelengths_nm.len(), 2);
    /// ```
    #[must_use]
    pub fn wavelengths_nm(self, wavelengths_nm: Vec<f64>) -> Self {
        Self { wavelengths_nm, ..self }
    }

    /// The same bench with a mask of these openings.
    ///
    /// ```
    /// use catoptric::{GratingBench, MaskOpening, TestSource};
    /// let bench = GratingBench::new(TestSource::Moving, -9.0, 4.0).openings(vec![MaskOpening { inner_radius_mm: 30.0, outer_radius_mm: 40.0 }]);
    /// assert_eq!(bench.openings.len(), 1);
    /// ```
    #[must_use]
    pub fn openings(self, openings: Vec<MaskOpening>) -> Self {
        Self { openings, ..self }
    }

    /// The same bench with a picture of so many pixels on a side.
    ///
    /// ```
    /// use catoptric::{GratingBench, TestSource};
    /// let bench = GratingBench::new(TestSource::Moving, -9.0, 4.0).pixels(65);
    /// assert_eq!(bench.pixels, 65);
    /// ```
    #[must_use]
    pub fn pixels(self, pixels: usize) -> Self {
        Self { pixels, ..self }
    }

    fn check(&self, primary: &Primary) -> Result<()> {
        let mut findings = Findings::default();
        let allowed = "0.1 to 50 lines in a millimetre";
        let cause = if self.lines_per_mm > 50.0 {
            "lines per inch given for lines per millimetre? Divide by 25.4"
        } else {
            "the period in millimetres given for its inverse?"
        };
        findings.number("lines_per_mm", self.lines_per_mm, |v| (0.1..=50.0).contains(&v), allowed, cause);
        let periods = "within one period of the axis";
        let cause = "micrometres given for periods?";
        findings.number("phase", self.phase, |v| v.abs() <= 1.0, periods, cause);
        match self.slit_width_um {
            Some(width) => check_slit(width, &mut findings),
            None if self.source == TestSource::Fixed => findings.fault(
                "slit_width_um",
                "nothing",
                "the width of the slit: a source that stays behind does not shine through the moving grating",
                "",
            ),
            None => {}
        }
        check_pixels(self.pixels, &mut findings);
        check_openings(&self.openings, primary.open_diameter_mm() / 2.0, &mut findings);
        findings.refuse()?;
        check_stage(self.stage_mm, primary)?;
        check_wavelengths(&self.wavelengths_nm)
    }

    /// Middle and width of the source, mm: the gap of the grating through which the light comes, or the slit.
    fn source_mm(&self) -> (f64, f64) {
        let period = 1.0 / self.lines_per_mm;
        // All gaps give the same picture, so one of them stands for all.
        self.slit_width_um.map_or((self.phase * period, period / 2.0), |width| (0.0, width / UM_PER_MM))
    }
}

/// The mirror behind a grating: its brightness by diffraction, and what rays alone would show.
///
/// Seen from behind the grating, looking at the mirror: +x to the right, +y up, as from the sky. Brightness 1 is the mirror
/// without the grating before the eye.
///
/// Units: mm on the mirror; brightness has none; crossings in um.
/// Shapes: `image[[i, j]]` and `ray_image[[i, j]]`, row i at y = `axis_mm[i]`, column j at x = `axis_mm[j]`.
/// Errors: those of [`grating_picture`], which makes it.
///
/// ```
/// use catoptric::{FocalLengthMm, GratingBench, Primary, TestSource, grating_picture};
/// let sphere = Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0);
/// let picture = grating_picture(&sphere, &GratingBench::new(TestSource::Moving, -10.0, 4.0).pixels(41))?;
/// // The rim's rays cross the grating 10 mm before the centre of curvature: 2 x 10 mm x 100/2400, twice for the round trip.
/// assert!((picture.zone_crossing_um.last().unwrap() / 836.8 - 1.0).abs() < 0.01);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GratingPicture {
    /// The mirror that is looked at.
    pub primary: Primary,
    /// Where everything stands.
    pub bench: GratingBench,
    /// Brightness of each point of the mirror by diffraction.
    pub image: Array2<f64>,
    /// The share of the source's light that rays bring through the gaps from each point.
    pub ray_image: Array2<f64>,
    /// Positions of rows and columns, mm.
    pub axis_mm: Vec<f64>,
    /// Radii from the centre to the rim, mm.
    pub zone_radius_mm: Vec<f64>,
    /// Where the rays of each of them cross the plane of the grating, um from the axis, positive on the zone's own side: the
    /// transversal aberration.
    pub zone_crossing_um: Vec<f64>,
    /// Estimated error of `image`.
    pub error_estimate: f64,
}

impl GratingPicture {
    /// What is odd about the picture, though it can be computed.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, GratingBench, Primary, TestSource, grating_picture};
    /// let mirror = Primary::new(200.0, FocalLengthMm(1200.0));
    /// let fine = GratingBench::new(TestSource::Moving, -1.0, 30.0).pixels(11);
    /// assert!(grating_picture(&mirror, &fine)?.problems()[0].cause.contains("inch"));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn problems(&self) -> Vec<Problem> {
        let mut findings = Findings::default();
        let lines = self.bench.lines_per_mm;
        if lines > 20.0 {
            let allowed = "gratings for this test have some 2 to 10 lines in a millimetre";
            findings.warning(
                "lines_per_mm",
                lines,
                allowed,
                "lines per inch given for lines per millimetre?",
            );
        }
        let farthest = self.zone_crossing_um.iter().map(|c| c.abs()).fold(0.0, f64::max);
        // A band needs a period of the grating across the whole beam.
        if 2.0 * farthest / UM_PER_MM * lines < 1.0 {
            let allowed = format!("a stage where the beam ({:.3} um wide) covers a period", 2.0 * farthest);
            findings.warning("stage_mm", self.bench.stage_mm, &allowed, "so near to focus no bands are seen");
        }
        findings.warnings()
    }
}

/// The bands that a grating shows of a mirror.
///
/// Points of the source do not interfere with each other. The copies of the mirror that the grating makes are each taken with
/// the exact path at the surface as it is; the sum over the source is closed, and the error estimate comes from adding up
/// the source's points with exact paths instead.
///
/// Units: see [`GratingBench`]. Shapes: see [`GratingPicture`].
/// Errors: [`Error::Input`] for a bench or a mirror that cannot be, and for a grating so coarse that more than 800 orders count;
/// [`Error::NotConverged`] where the error estimate exceeds 1e-3.
/// Source: Ronchi 1964, Appl. Opt. 3, 437 (from memory); the orders of the grating derived anew in `grating_wave.rs`.
/// Leaves out: the sideways distance of source and eye, the coating, the blur of the eye, and the change of the scale between
/// mirror and grating, (stage/R)(r/R)^2 of a fringe's place.
///
/// ```
/// use catoptric::{FocalLengthMm, GratingBench, Primary, TestSource, grating_picture};
/// // In focus of a sphere the gaps' own images lie on the gaps, and half a period aside on bars.
/// let sphere = Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0);
/// let focus = GratingBench::new(TestSource::Moving, 0.0, 4.0).pixels(11);
/// let bright = grating_picture(&sphere, &focus)?.ray_image[[5, 5]];
/// let dark = grating_picture(&sphere, &focus.phase(0.25))?.ray_image[[5, 5]];
/// assert!(bright > 0.999 && dark < 0.001);
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn grating_picture(primary: &Primary, bench: &GratingBench) -> Result<GratingPicture> {
    let rays = Bench::new(primary, bench.source, bench.stage_mm)?;
    bench.check(primary)?;
    let open_radius_mm = primary.open_diameter_mm() / 2.0;
    let axis_mm = axis_mm(open_radius_mm, bench.pixels);
    let (source_mm, source_width_mm) = bench.source_mm();
    let grating = Grating {
        bench: rays.clone(),
        openings: openings_or_all(&bench.openings, open_radius_mm),
        period_mm: 1.0 / bench.lines_per_mm,
        phase: bench.phase,
        source_mm,
        source_width_mm,
        wavelengths_nm: bench.wavelengths_nm.clone(),
    };
    check_orders(&grating, bench, *axis_mm.last().unwrap_or(&0.0))?;
    let error_estimate = error_estimate(&grating, open_radius_mm)?;
    let half = bench.pixels.div_ceil(2);
    let rows = map_ordered(half, true, |i| grating.row(axis_mm[i], &axis_mm));
    let lit = |x: f64, y: f64| {
        let r = x.hypot(y);
        grating.openings.iter().any(|o| o.inner_radius_mm <= r && r <= o.outer_radius_mm)
    };
    let ray_row = |y: f64| -> Vec<f64> {
        axis_mm.iter().map(|x| if lit(*x, y) { grating.ray_share(*x, y) } else { 0.0 }).collect()
    };
    let ray_rows: Vec<Vec<f64>> = (0..half).map(|i| ray_row(axis_mm[i])).collect();
    let (zone_radius_mm, zone_crossing_um) = rays.zone_crossings();
    Ok(GratingPicture {
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

fn check_orders(grating: &Grating, bench: &GratingBench, reach_mm: f64) -> Result<()> {
    let orders = grating.farthest_order(reach_mm);
    if orders <= MOST_ORDERS {
        return Ok(());
    }
    let least = bench.lines_per_mm * orders as f64 / MOST_ORDERS as f64;
    let found = format!("{} ({orders} orders)", bench.lines_per_mm);
    let allowed = format!("{least:.3} or more for this mirror, so that at most {MOST_ORDERS} orders count");
    Err(Error::input("lines_per_mm", found, allowed, "the period in millimetres given for its inverse?"))
}

/// How far the closed sum over the source lies from adding up its points, at some places.
fn error_estimate(grating: &Grating, open_radius_mm: f64) -> Result<f64> {
    let differences = map_ordered(PROBES, true, |i| {
        let y = open_radius_mm * (i as f64 + 0.3) / PROBES as f64;
        let half = (open_radius_mm * open_radius_mm - y * y).sqrt();
        let places: Vec<f64> =
            (0..PROBES).map(|j| half * (2.0 * (j as f64 + 0.55) / PROBES as f64 - 1.0)).collect();
        let quick = grating.row(y, &places);
        let slow = places.iter().map(|x| grating.slow_brightness(*x, y));
        quick.iter().zip(slow).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
    });
    let error = 3.0 * differences.into_iter().fold(0.0, f64::max) + ERROR_FLOOR;
    if error <= ACCURACY {
        return Ok(error);
    }
    Err(Error::NotConverged { what: "the grating picture", reached: error, wanted: ACCURACY })
}
