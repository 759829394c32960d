//! What a judgement says of mask, edge and coating, each by its own room.

use super::coating::{CoatingEffect, EffectOptions, FreshCoat, coating_effect};
use super::evidence::Evidence;
use super::ladder::{LadderOptions, Work, WorkChange};
use super::mask::{MaskOptions, MaskSubject, MaskSweep, mask_sweep};
use crate::error::Result;
use crate::model::Train;
use crate::shop_test::EdgeFitOptions;
use crate::trace::obstruction_ratio;
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM};

/// Masks that are tried, and by how much each is narrower than the one before, as a share of the clear aperture.
const MASKS: u32 = 12;
const MASK_STEP: f64 = 0.006;
/// A mask leaves this much more than the shadow open.
const LEAST_OPEN: f64 = 1.1;

/// Masks from the clear aperture inward: over the figures that readings allow, or of a train whose figure is described.
/// None where numbers on paper do not say where the error lies, and for a mirror without any error.
pub(super) fn masks(
    train: &Train,
    evidence: Option<&Evidence>,
    options: &LadderOptions,
) -> Result<Option<MaskSweep>> {
    let primary = train.primary();
    let clear_mm = primary.clear_aperture_mm;
    let step_mm = (MASK_STEP * clear_mm).round().max(1.0);
    let shadow_mm = obstruction_ratio(train) * primary.open_diameter_mm();
    let diameters_mm: Vec<f64> = (1..=MASKS)
        .map(|k| clear_mm - f64::from(k) * step_mm)
        .filter(|d| *d > LEAST_OPEN * shadow_mm && *d > 0.5 * clear_mm)
        .collect();
    if diameters_mm.is_empty() {
        return Ok(None);
    }
    let swept = MaskOptions { wavelength_nm: Some(options.wavelength_nm), ..MaskOptions::strehl_alone() };
    match evidence {
        Some(evidence) if evidence.readings().is_some() => {
            // A detail that the mirror does not resolve has no contrast behind any mask.
            let finest = options.wavelength_nm / NM_PER_MM * ARCSEC_PER_RADIAN / clear_mm;
            let details = options.details_arcsec.iter().copied().filter(|d| *d > finest);
            let swept =
                MaskOptions { detail_arcsec: Some(details.collect()), seeing: options.seeing, ..swept };
            let what = MaskSubject::of_evidence(evidence, Some(train))?;
            mask_sweep(what, &diameters_mm, &swept).map(Some)
        }
        Some(_) => Ok(None),
        None if primary.figure.is_empty() => Ok(None),
        None => mask_sweep(train, &diameters_mm, &swept).map(Some),
    }
}

/// What readings say of the edge, in sentences; empty where there are none.
pub(super) fn edge(evidence: Option<&Evidence>) -> Vec<String> {
    let Some(figure) = evidence.and_then(Evidence::readings) else { return Vec::new() };
    match figure.fit_edges(&EdgeFitOptions::default()) {
        Ok(fits) => vec![fits.words()],
        Err(error) => vec![format!("No edge was fitted to these readings: {error}.")],
    }
}

/// What the coats take of light and shape, against the first fresh coats that the works offer; none where they offer
/// none.
pub(super) fn coating(train: &Train, works: &[Work]) -> Result<Option<CoatingEffect>> {
    let offered = |of: fn(&WorkChange) -> Option<f64>| works.iter().find_map(|work| of(&work.change));
    let primary = offered(|change| match change {
        WorkChange::Refigure { recoat_reflectance, .. } => *recoat_reflectance,
        WorkChange::Recoat { primary_reflectance, .. } => *primary_reflectance,
        _ => None,
    });
    let diagonal = offered(|change| match change {
        WorkChange::Recoat { diagonal_reflectance, .. } => *diagonal_reflectance,
        WorkChange::ChangeDiagonal { reflectance, .. } => *reflectance,
        _ => None,
    });
    // A coat that is offered for one mirror is what the other could have as well.
    let Some((primary, diagonal)) = primary.or(diagonal).zip(diagonal.or(primary)) else {
        return Ok(None);
    };
    let fresh = FreshCoat::new("the coat on offer", primary, diagonal);
    coating_effect(train, &fresh, &EffectOptions::default()).map(Some)
}
