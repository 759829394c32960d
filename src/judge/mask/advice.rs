//! From rows to advice: the plateau, the diameter to take, and what is left for a refigure.

use std::ops::Range;

use super::sweep::{Asked, Found, LeftAfterMask, MaskAnswer, MaskRow, MaskSweep, MaskValue};
use super::words;
use crate::error::Result;

/// A loss of Strehl within this is none: common practice, no source.
const NO_LOSS: f64 = 0.002;
/// Core light within this of a figure's own best is as good: a twentieth of a magnitude. Common practice, no source.
pub(super) const AS_GOOD: f64 = 0.05;
/// Core light that differs by less shows no difference: 0.005 magnitudes. Common practice, no source.
const NO_DIFFERENCE: f64 = 0.005;
/// The share of the figures for which a diameter of the plateau holds.
pub(super) const HOLDS_FOR: f64 = 0.95;
/// A gain in contrast below this is not seen: common practice, no source.
pub(super) const HARDLY: f64 = 0.05;
/// The same of the Strehl, and without details of the peak brightness.
const HARDLY_BRIGHTER: f64 = 0.1;

/// The record of a sweep: rows with their advice.
pub(super) fn sweep(mut found: Found<'_>, asked: &Asked<'_>) -> Result<MaskSweep> {
    note_what_holds(&mut found);
    let rows = &found.rows[1..];
    let mut order: Vec<usize> = (0..rows.len()).collect();
    order.sort_by(|&a, &b| rows[a].diameter_mm.total_cmp(&rows[b].diameter_mm));
    let plateau = plateau(rows, &order);
    let best = plateau.clone().and_then(|range| recommended(rows, &order[range], &found.rows[0]));
    let plateau_mm =
        plateau.map(|range| (rows[order[range.start]].diameter_mm, rows[order[range.end - 1]].diameter_mm));
    let perfect_open = (found.perfect_contrast)(0)?;
    let open = left(&found, 0, &perfect_open, &perfect_open);
    let with_mask = |row: usize| -> Result<LeftAfterMask> {
        Ok(left(&found, row + 1, &(found.perfect_contrast)(row + 1)?, &perfect_open))
    };
    let left_after_mask = best.map(with_mask).transpose()?;
    let answer = answer(&open, left_after_mask.as_ref());
    let reason = words::reason(&found, best.map(|row| &rows[row]), plateau_mm, asked);
    let sentence = words::answer(&found, answer, best.map(|row| &rows[row]), left_after_mask.as_ref(), asked);
    let setting = asked.setting;
    let mut all = found.rows.into_iter();
    let unmasked = all.next().unwrap_or_else(|| unreachable!("the open mirror comes first"));
    let rows: Vec<MaskRow> = all.collect();
    Ok(MaskSweep {
        recommended_mm: best.map(|row| rows[row].diameter_mm),
        unmasked,
        rows,
        plateau_mm,
        reason,
        left_after_mask,
        answer,
        words: sentence,
        remarks: found.remarks,
        options: asked.options.clone(),
        wavelength_nm: setting.wavelength_nm,
        clear_aperture_mm: setting.clear_mm,
        obstruction_ratio: setting.shadow_mm / setting.clear_mm,
        draws: found.draws,
        seed: found.seed,
    })
}

/// For how many of the figures each diameter holds.
fn note_what_holds(found: &mut Found<'_>) {
    let figures = found.strehl[0].len();
    let light: Vec<f64> = found.rows.iter().map(|row| row.light).collect();
    let mut held = vec![0_usize; found.rows.len()];
    for i in 0..figures {
        let core = |k: usize| found.strehl[k][i] * light[k];
        let best = (0..light.len()).map(core).fold(0.0, f64::max);
        for (k, held) in held.iter_mut().enumerate() {
            let no_worse = found.strehl[k][i] >= found.strehl[0][i] - NO_LOSS;
            *held += usize::from(no_worse && core(k) >= best - AS_GOOD);
        }
    }
    for (row, held) in found.rows.iter_mut().zip(held) {
        row.holds = held as f64 / figures as f64;
    }
}

/// The longest run of neighbouring diameters that hold, by its places in the rising order; of runs alike the wider
/// masks.
fn plateau(rows: &[MaskRow], order: &[usize]) -> Option<Range<usize>> {
    let mut best: Option<Range<usize>> = None;
    let mut start = 0;
    for place in 0..=order.len() {
        if order.get(place).is_some_and(|row| rows[*row].holds >= HOLDS_FOR) {
            continue;
        }
        if place > start && best.as_ref().is_none_or(|run| place - start >= run.len()) {
            best = Some(start..place);
        }
        start = place + 1;
    }
    best
}

/// Of the plateau's rows whose median core light shows no difference from the best the one that holds for the most
/// figures, of those alike the widest; none where the best is no more than the open mirror's.
fn recommended(rows: &[MaskRow], plateau: &[usize], open: &MaskRow) -> Option<usize> {
    let core = |row: usize| rows[row].core_light.value;
    let best = plateau.iter().map(|row| core(*row)).fold(0.0, f64::max);
    if best <= open.core_light.value + NO_LOSS {
        return None;
    }
    let alike = plateau.iter().copied().filter(|row| core(*row) >= best - NO_DIFFERENCE);
    alike.max_by(|&a, &b| rows[a].holds.total_cmp(&rows[b].holds).then(wider(&rows[a], &rows[b])))
}

fn wider(a: &MaskRow, b: &MaskRow) -> std::cmp::Ordering {
    a.diameter_mm.total_cmp(&b.diameter_mm)
}

/// What a perfect figure would add to a row, the open mirror being row 0, from its contrasts behind the mask and
/// without one.
fn left(found: &Found<'_>, k: usize, perfect: &[f64], perfect_open: &[f64]) -> LeftAfterMask {
    let gaps = |perfect: &[f64], seen: usize| -> Vec<MaskValue> {
        perfect
            .iter()
            .enumerate()
            .map(|(detail, best)| rest(*best, &found.rows[seen].contrast[detail]))
            .collect()
    };
    let row = &found.rows[k];
    LeftAfterMask {
        diameter_mm: row.diameter_mm,
        strehl: rest(1.0, &row.strehl),
        contrast: gaps(perfect, k),
        contrast_full: gaps(perfect_open, k),
        peak_brightness: rest(1.0, &row.peak_brightness),
        contrast_unmasked: gaps(perfect_open, 0),
    }
}

/// What is missing to a best value.
fn rest(best: f64, value: &MaskValue) -> MaskValue {
    let interval =
        value.interval.map(|i| crate::shop_test::Interval { low: best - i.high, high: best - i.low, ..i });
    MaskValue { value: best - value.value, interval }
}

fn answer(open: &LeftAfterMask, left: Option<&LeftAfterMask>) -> MaskAnswer {
    let hardly = |gaps: &[MaskValue], left: &LeftAfterMask| {
        let brightness_hardly = gaps.is_empty() && left.peak_brightness.value < HARDLY_BRIGHTER;
        let contrast_hardly = !gaps.is_empty() && gaps.iter().all(|gap| gap.value < HARDLY);
        left.strehl.value < HARDLY_BRIGHTER && (brightness_hardly || contrast_hardly)
    };
    if hardly(&open.contrast, open) {
        return MaskAnswer::NothingToMend;
    }
    match left {
        None => MaskAnswer::Refigure,
        Some(left) if hardly(&left.contrast_full, left) => MaskAnswer::MaskDoesIt,
        Some(_) => MaskAnswer::MaskHelps,
    }
}
