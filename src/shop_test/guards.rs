//! Mistakes that the readings themselves betray: their span against that of a paraboloid.

use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use crate::error::Findings;

/// Spans that warn, each with the mistakes that leave it; those between 0.65 and 1.6 are a mirror's own.
///
/// Every mistake multiplies the span of a paraboloid by a number of its own: 1/25.4, 1/4, 1/2, 2, 4, 25.4. The limits lie
/// about half way between those in the logarithm.
const SIGNATURES: [Signature; 5] = [
    Signature {
        below: 0.16,
        cause: "a sphere or nearly one, or inches read as millimetres",
        allowed: "about 1 for a mirror near the paraboloid, about 0 for a sphere",
    },
    Signature {
        below: 0.36,
        cause: "diameters of the openings given for radii, or two mistakes of a factor of two; \
                or the mirror really is so under-corrected",
        allowed: NEAR_ONE,
    },
    Signature {
        below: 0.65,
        cause: "readings of a moving source taken as fixed, or focal length given for radius of curvature: \
                the two look alike; or the mirror really is so under-corrected",
        allowed: NEAR_ONE,
    },
    Signature {
        below: 2.8,
        cause: "readings of a fixed source taken as moving, or twice the radius of curvature given: \
                the two look alike; or the mirror really is so over-corrected",
        allowed: NEAR_ONE,
    },
    Signature {
        below: GREATEST,
        cause: "half radii of the openings given, or two mistakes of a factor of two; \
                or the mirror really is so over-corrected",
        allowed: NEAR_ONE,
    },
];
const NEAR_ONE: &str = "about 1 for a mirror near the paraboloid";
/// What is as near to the paraboloid as this is not remarked on.
const USUAL: std::ops::RangeInclusive<f64> = 0.65..=1.6;
/// Spans further from 0 than this are no mirror's.
const GREATEST: f64 = 8.0;
/// Spans below this may be those of readings that run the other way; above -0.6 an oblate mirror has them too.
const FALLING: f64 = -0.16;
/// Spans below this are refused: nearer to a paraboloid read backwards than to any oblate mirror worth a test.
const BACKWARDS: f64 = -0.6;
/// Openings that all lie within this share of the mirror's radius were hardly measured in millimetres.
const SMALL_MASK: f64 = 0.1;

struct Signature {
    below: f64,
    cause: &'static str,
    allowed: &'static str,
}

/// Compares how much the readings grow with r^2 to how much a paraboloid's would.
///
/// The ratio is minus the conic constant of the fit without the outermost opening, since a turned edge alone moves that of
/// all openings by a quarter or more. Only what cannot be is refused; what a mirror could really be is asked about, and nothing is
/// repaired.
pub(super) fn check_span(readings: &KnifeEdgeReadings, findings: &mut Findings) {
    let Some((ratio, sigma)) = span_ratio(readings) else { return };
    let shown = format!("a span of {ratio:.3} of a paraboloid's");
    if ratio.abs() > GREATEST {
        findings.fault("runs_mm", &shown, "at most 8", too_long(readings));
    }
    if ratio < FALLING {
        let (allowed, cause) = (
            "readings that grow toward the rim",
            "readings that increase the other way, or readings listed from the rim inward: the two look alike",
        );
        // A mirror beyond the sphere by so much is rare, one read the wrong way round common.
        if ratio + 3.0 * sigma < 0.0 && ratio < BACKWARDS {
            findings.fault("readings_increase", &shown, allowed, cause);
        } else {
            findings.warning("readings_increase", &shown, allowed, cause);
        }
    } else if !USUAL.contains(&ratio)
        && let Some(signature) = SIGNATURES.iter().find(|signature| ratio < signature.below)
    {
        findings.warning("runs_mm", &shown, signature.allowed, signature.cause);
    }
}

fn too_long(readings: &KnifeEdgeReadings) -> &'static str {
    let rim_mm = readings.clear_aperture_mm() / 2.0;
    let reached_mm = readings.openings().last().map_or(rim_mm, |opening| opening.outer_radius_mm);
    if reached_mm < SMALL_MASK * rim_mm {
        "radii of the openings in inches or centimetres?"
    } else {
        "millimetres read as inches, or the stage's divisions given for millimetres?"
    }
}

/// Span of the mean readings over that of a paraboloid's, and its standard error; without the outermost
/// opening where four or more are there.
fn span_ratio(readings: &KnifeEdgeReadings) -> Option<(f64, f64)> {
    let fit = readings.conic_fit(&ReduceOptions::default()).ok()?;
    let fit = if readings.openings().len() >= 4 { fit.without_outermost } else { fit.all };
    Some((-fit.conic, fit.conic_sigma))
}

/// Names what the scatter of the readings betrays: nothing to know it from, and readings far off.
pub(super) fn check_noise(readings: &KnifeEdgeReadings, findings: &mut Findings) {
    if readings.runs_mm().len() == 1 {
        let allowed = "two runs or more, to know the noise from";
        let cause = "it is assumed then: half of the Airy radius at the knife; state `reading_sigma_mm` where it is known";
        findings.warning("runs_mm", "one run", allowed, cause);
    }
    for outlier in readings.outliers() {
        let field = format!("runs_mm[{}][{}]", outlier.run, outlier.opening);
        let shown = format!("{:.1} standard deviations off the other runs", outlier.sigmas.abs());
        findings.warning(&field, shown, "a reading that agrees with the others", "misread or miswritten?");
    }
}
