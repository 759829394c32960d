//! What a tester would read from a known figure: the exact mean over each opening of the mask.

use super::bench_ray::{bare, reflected};
use super::opening::{MaskOpening, TestSource};
use crate::error::{Error, Result};
use crate::model::Primary;
use crate::numeric::gauss;
use crate::trace::Prepared;

/// Nodes on each stretch between two joints of the figure: measured good to 1e-12 mm on edges and zones.
const NODES: usize = 40;
/// Below this share of the conic's own slope the crossing runs away from the bench.
const FLATTEST_MOVING: f64 = 0.1;
/// The same for a fixed source, whose light comes back parallel to the axis at one half.
const FLATTEST_FIXED: f64 = 0.55;

/// The readings that a mirror gives through the openings of a mask, without noise.
///
/// A reading is the mean over the opening's area of where the light of each zone crosses the axis: for a moving source
/// where the normal meets it, for a fixed source where the reflected ray does. All orders are there: the ray is traced at
/// the surface as it is. The free zero is the centre of curvature of the conic's vertex; readings count away from the
/// mirror. An opening of equal radii is a reading at one radius.
///
/// Units: mm.
/// Shapes: one reading an opening.
/// Errors: [`Error::Input`] for a mirror that cannot be, an opening that leaves the clear aperture, and a figure so steep
/// that its rays do not come back to the bench.
/// Source: the normal and the law of reflection; for a conic without figure the moving source reads -K z(r) (Texereau, How
/// to Make a Telescope, from memory), for the paraboloid r^2/(2R), exactly.
/// Leaves out: that an eye balances two grey tones rather than averaging crossings, and diffraction: see
/// [`knife_edge_picture`](crate::knife_edge_picture). A mask in front of the mirror (`mask_diameter_mm`) does not count.
///
/// ```
/// use catoptric::{FocalLengthMm, MaskOpening, Primary, TestSource, expected_readings};
/// let openings = [(40.0, 60.0), (60.0, 80.0)]
///     .map(|(inner_radius_mm, outer_radius_mm)| MaskOpening { inner_radius_mm, outer_radius_mm });
/// let mirror = Primary::new(200.0, FocalLengthMm(1200.0));
/// let readings_mm = expected_readings(&mirror, &openings, TestSource::Moving)?;
/// assert!((readings_mm[1] - (60.0_f64.powi(2) + 80.0_f64.powi(2)) / (4.0 * 2400.0)).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn expected_readings(
    primary: &Primary,
    openings: &[MaskOpening],
    source: TestSource,
) -> Result<Vec<f64>> {
    let mirror = bare(primary)?;
    for (i, opening) in openings.iter().enumerate() {
        check_opening(i, opening, mirror.clear_radius_mm())?;
    }
    openings.iter().map(|opening| mean_reading_mm(&mirror, opening, source)).collect()
}

fn check_opening(i: usize, opening: &MaskOpening, rim_mm: f64) -> Result<()> {
    let MaskOpening { inner_radius_mm: inner, outer_radius_mm: outer } = *opening;
    if !(inner >= 0.0 && inner.is_finite()) {
        return Err(Error::input(
            format!("openings[{i}].inner_radius_mm"),
            inner,
            "a radius of 0 or more",
            "",
        ));
    }
    if !(outer > 0.0 && outer >= inner && outer <= rim_mm * (1.0 + 1e-9)) {
        let allowed =
            format!("above 0, not below the inner radius, not beyond half the clear aperture ({rim_mm} mm)");
        let cause = "diameters given for radii, or the two exchanged?";
        return Err(Error::input(format!("openings[{i}].outer_radius_mm"), outer, allowed, cause));
    }
    Ok(())
}

/// The mean crossing over an opening's area, from the vertex's centre of curvature, mm.
fn mean_reading_mm(mirror: &Prepared, opening: &MaskOpening, source: TestSource) -> Result<f64> {
    let (inner, outer) = (opening.inner_radius_mm, opening.outer_radius_mm);
    if outer - inner <= 1e-9 * outer {
        return reading_mm(mirror, outer, source);
    }
    // Where a fractional power begins the slope is no polynomial: the root of the distance is the variable from there.
    let mut joints: Vec<(f64, bool)> = vec![(inner, false), (outer, false)];
    let breaks = mirror.mirror().breaks();
    joints.extend(
        breaks
            .iter()
            .filter(|b| inner < b.radius_mm && b.radius_mm < outer)
            .map(|b| (b.radius_mm, b.fractional)),
    );
    joints.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut sum, mut area) = (0.0, 0.0);
    for pair in joints.windows(2) {
        let ((from, fractional), (to, _)) = (pair[0], pair[1]);
        for (t, weight) in gauss::on_interval(NODES, 0.0, 1.0) {
            let (share, stretch) = if fractional { (t * t, 2.0 * t) } else { (t, 1.0) };
            let r = from + (to - from) * share;
            let ring = r * weight * stretch * (to - from);
            sum += ring * reading_mm(mirror, r, source)?;
            area += ring;
        }
    }
    Ok(sum / area)
}

/// Where the light of one zone crosses the axis, from the vertex's centre of curvature, mm.
fn reading_mm(mirror: &Prepared, r_mm: f64, source: TestSource) -> Result<f64> {
    let radius_of_curvature = 2.0 * mirror.focal_length_mm();
    let (z, slope) = mirror.mirror().height_and_slope(r_mm);
    let flattest = match source {
        TestSource::Moving => FLATTEST_MOVING,
        TestSource::Fixed => FLATTEST_FIXED,
    } * r_mm
        / radius_of_curvature;
    if slope < flattest {
        let found = format!("a slope of {slope:.3e} at radius {r_mm:.6} mm");
        let allowed = format!("a slope above {flattest:.3e} there: its light must come back to the bench");
        return Err(Error::input("primary.figure", found, allowed, "heights in other units?"));
    }
    let crossing = match source {
        TestSource::Moving => z + r_mm / slope,
        TestSource::Fixed => {
            let [dx, dz] = reflected(r_mm, z, slope, radius_of_curvature);
            z - r_mm * dz / dx
        }
    };
    Ok(crossing - radius_of_curvature)
}
