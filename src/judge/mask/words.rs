//! What a sweep of masks says, in words.

use super::advice::{AS_GOOD, HARDLY, HOLDS_FOR};
use super::sweep::{Asked, Found, LeftAfterMask, MaskAnswer, MaskRow, MaskValue};

/// Why a diameter is recommended, or why none is.
pub(super) fn reason(
    found: &Found<'_>,
    best: Option<&MaskRow>,
    plateau_mm: Option<(f64, f64)>,
    asked: &Asked<'_>,
) -> String {
    let open = &found.rows[0];
    let (Some(row), Some((low, high))) = (best, plateau_mm) else {
        let most = found.rows[1..].iter().map(|row| row.holds).fold(0.0, f64::max);
        return if plateau_mm.is_some() {
            "No mask of the sweep sends more light to its place than the open mirror does.".to_owned()
        } else if found.draws == 0 {
            "No diameter of the sweep leaves the Strehl no lower and comes near the best in core light."
                .to_owned()
        } else {
            format!(
                "No diameter of the sweep is safe: the best one holds for {:.0} % of the figures, and {:.0} % are \
                 asked for.",
                100.0 * most,
                100.0 * HOLDS_FOR
            )
        };
    };
    let whom = if found.draws == 0 {
        String::new()
    } else {
        format!(" for {:.0} % of the figures that the readings allow, whatever their edge", 100.0 * HOLDS_FOR)
    };
    let run = if high > low {
        format!("{low} to {high} mm hold{whom}")
    } else {
        format!("{low} mm alone holds{whom}")
    };
    let chance = row.probability_rises.zip(row.probability_brighter).map_or(String::new(), |(rises, brighter)| {
        format!(
            " The Strehl rises by {} or more in {:.0} % of the figures, the peak of a star's image in {:.0} %.",
            asked.options.rise,
            100.0 * rises,
            100.0 * brighter
        )
    });
    let chosen = if found.draws == 0 {
        "is the widest that shows no difference from the best".to_owned()
    } else {
        format!(
            "holds for the most, {:.1} %, of those that show no difference from the best",
            100.0 * row.holds
        )
    };
    format!(
        "{run}: the Strehl is not below that of the open mirror, and Strehl times light comes within {AS_GOOD} of the \
         best. Of these {} mm {chosen}: {:.3} of the open mirror's light goes where a perfect figure would send it, \
         against {:.3} without a mask.{chance}",
        row.diameter_mm, row.core_light.value, open.core_light.value
    )
}

/// The mask beside a refigure.
pub(super) fn answer(
    found: &Found<'_>,
    answer: MaskAnswer,
    best: Option<&MaskRow>,
    left: Option<&LeftAfterMask>,
    asked: &Asked<'_>,
) -> String {
    let open = &found.rows[0];
    let before = with_interval(&open.strehl);
    let Some((row, left)) = best.zip(left) else {
        return match answer {
            MaskAnswer::NothingToMend => format!(
                "There is nothing to mend: the Strehl is {before}, and a perfect figure would add less than {HARDLY} \
                 of contrast."
            ),
            _ => format!(
                "No mask of the sweep helps for certain: the Strehl of the open mirror is {before}; what it lacks \
                 only a refigure gives."
            ),
        };
    };
    let change = format!(
        "A mask of {} mm takes the Strehl from {before} to {}, for {:.1} % of the light",
        row.diameter_mm,
        with_interval(&row.strehl),
        100.0 * (1.0 - row.light)
    );
    let most = left.contrast_full.iter().enumerate().max_by(|a, b| a.1.value.total_cmp(&b.1.value));
    let rest = if let Some((detail, gap)) = most {
        format!(
            "{} of contrast at {} arcsec, where it would add {} now",
            with_interval(gap),
            asked.options.details_arcsec()[detail],
            with_interval(&left.contrast_unmasked[detail])
        )
    } else {
        format!("{} to the peak brightness", with_interval(&left.peak_brightness))
    };
    let end = match answer {
        MaskAnswer::NothingToMend => "there is little to mend either way",
        MaskAnswer::MaskDoesIt => "a mask does it",
        MaskAnswer::MaskHelps | MaskAnswer::Refigure => "a mask helps, a refigure would do more",
    };
    format!("{change}. A perfect figure without a mask would then add {rest}: {end}.")
}

fn with_interval(value: &MaskValue) -> String {
    match value.interval {
        Some(i) => format!("{:.2} ({:.2} to {:.2})", value.value, i.low, i.high),
        None => format!("{:.3}", value.value),
    }
}
