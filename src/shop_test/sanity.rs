//! Mistakes that the readings themselves betray: their span against that of a paraboloid.

use super::readings::KnifeEdgeReadings;
use crate::error::Findings;

/// Compares how much the readings grow with r^2 to how much a paraboloid's would.
///
/// The ratio is minus the conic constant, about 1 for any mirror worth testing; the outermost opening is left
/// out, since a turned edge alone can double it. A ratio near 1/2 or 2 has two exact twins each, so that
/// both causes are named and nothing is repaired.
pub(super) fn check_span(readings: &KnifeEdgeReadings, findings: &mut Findings) {
    let Some(ratio) = span_ratio(readings) else { return };
    let shown = format!("a span of {ratio:.3} of a paraboloid's");
    if ratio.abs() < 0.12 {
        findings.fault("runs_mm", shown, "at least 0.12", "inches read as millimetres, or a sphere?");
    } else if ratio.abs() > 8.0 {
        let cause = "millimetres read as inches, or the stage's divisions given for millimetres?";
        findings.fault("runs_mm", shown, "at most 8", cause);
    } else if ratio < 0.0 {
        let cause = "readings that increase the other way, or openings listed in reverse order: \
                     the two look alike";
        findings.fault("readings_increase", shown, "readings that grow toward the rim", cause);
    } else if ratio < 0.65 {
        let cause = "readings of a moving source taken as fixed, or focal length given for radius of curvature: \
                     the two look alike; or the mirror really is so under-corrected";
        findings.warning("runs_mm", shown, "about 1 for a mirror near the paraboloid", cause);
    } else if ratio > 1.6 {
        let cause = "readings of a fixed source taken as moving, or twice the radius of curvature given: \
                     the two look alike; or the mirror really is so over-corrected";
        findings.warning("runs_mm", shown, "about 1 for a mirror near the paraboloid", cause);
    }
}

/// Slope of the mean readings over that of a paraboloid's, both against r^2, without the outermost opening
/// where four or more are there.
fn span_ratio(readings: &KnifeEdgeReadings) -> Option<f64> {
    let openings = readings.openings();
    let used = if openings.len() >= 4 { openings.len() - 1 } else { openings.len() };
    let (mean, sign) = (readings.mean_mm(), readings.readings_increase().sign());
    let points: Vec<(f64, f64, f64)> = (0..used)
        .map(|i| {
            let ideal = openings[i].ideal_reading_mm(readings.source(), readings.radius_of_curvature());
            (openings[i].mean_square_mm2(), mean[i] * sign, ideal)
        })
        .collect();
    let count = points.len() as f64;
    let centre = points.iter().map(|p| p.0).sum::<f64>() / count;
    let slope =
        |value: fn(&(f64, f64, f64)) -> f64| points.iter().map(|p| (p.0 - centre) * value(p)).sum::<f64>();
    let ideal = slope(|p| p.2);
    (ideal > 0.0).then(|| slope(|p| p.1) / ideal)
}
