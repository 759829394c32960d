//! What lamp readings say, in sentences.

use super::coating_estimate::{CoatingEstimate, CoatingLevel, SpotResidual};

/// A spot so far from the fit is named where the fit is bad.
const FAR: f64 = 2.0;

/// The sentences of an estimate, the most important first.
pub(super) fn of_estimate(estimate: &CoatingEstimate) -> Vec<String> {
    let mut words = vec![levels(estimate), fit(estimate)];
    for level in estimate.levels.iter().filter(|l| l.reflectance > 1.0) {
        words.push(format!(
            "{} comes out at {:.3}, above 1: the flat's reflectance is set too high, or the lamp's zero is off. Nothing was cut off.",
            level.part, level.reflectance
        ));
    }
    for odd in &estimate.outliers {
        let place = &estimate.spots.input().spots[odd.spot];
        let moves = odd.levels_without.iter().zip(&estimate.levels).map(|(a, b)| (a - b.reflectance).abs());
        words.push(format!(
            "Spot {} at ({:.4}, {:.4}) mm: its reading {} ({}) stands {:.1} standard deviations from its repeats. It stays in the fit; \
             without it a level moves by up to {:.3}. Read the spot again.",
            odd.spot,
            place.x_mm,
            place.y_mm,
            odd.repeat + 1,
            odd.ratio,
            odd.sigmas.abs(),
            moves.fold(0.0, f64::max)
        ));
    }
    let alone: Vec<&str> = estimate.levels.iter().filter(|l| l.spots == 1).map(|l| l.part.as_str()).collect();
    if !alone.is_empty() {
        words.push(format!(
            "A single spot speaks for {}: that the part is even was not seen.",
            alone.join(", ")
        ));
    }
    let input = estimate.spots.input();
    if input.reference_sigma == 0.0 {
        words.push(format!(
            "The flat's {} was taken as exact: an error of 1 % moves all levels by 1 %.",
            input.reference_reflectance
        ));
    }
    words
}

fn levels(estimate: &CoatingEstimate) -> String {
    let one = |l: &CoatingLevel| {
        format!("{} {:.3} ({:.3} to {:.3})", l.part, l.reflectance, l.interval.low, l.interval.high)
    };
    let all = estimate.levels.iter().map(one).collect::<Vec<_>>().join(", ");
    format!("Reflectance: {all}; 95 % intervals.")
}

fn fit(estimate: &CoatingEstimate) -> String {
    let Some(p) = estimate.p_value else {
        return "As many parts as spots: whether the outline is right cannot be told.".to_owned();
    };
    let found = format!("chi-square {:.1} for {} degrees of freedom", estimate.chi_square, estimate.freedom);
    if estimate.widened_by <= 1.0 {
        return format!("The outline agrees with the spots ({found}, p = {p:.2}).");
    }
    let size = |r: &SpotResidual| r.sigmas.map_or(0.0, f64::abs);
    let mut far: Vec<&SpotResidual> = estimate.residuals.iter().filter(|r| size(r) > FAR).collect();
    far.sort_by(|a, b| size(b).total_cmp(&size(a)));
    let named = far.iter().take(3).map(|r| {
        let place = &estimate.spots.input().spots[r.spot];
        format!(
            "spot {} at ({}, {}) mm reads {:.3} where {:.3} is expected",
            r.spot, place.x_mm, place.y_mm, r.measured_ratio, r.expected_ratio
        )
    });
    let named = named.collect::<Vec<_>>().join("; ");
    let named = if named.is_empty() { named } else { format!(" Furthest off: {named}.") };
    format!(
        "The outline does not agree with the spots ({found}, p = {p:.1e}): a part is missing, misplaced or uneven, and the intervals were \
         widened {:.1} times.{named}",
        estimate.widened_by
    )
}
