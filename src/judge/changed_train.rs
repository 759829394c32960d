//! A train with one thing changed.

use crate::error::Result;
use crate::model::{Coating, Primary, Train};

/// The train with another primary.
pub(super) fn with_primary(train: &Train, primary: Primary) -> Result<Train> {
    let mut parts = train.to_parts();
    parts.primary = primary;
    parts.build_after(train)
}

/// The train with a perfect paraboloid.
pub(super) fn with_paraboloid(train: &Train) -> Result<Train> {
    let primary = Primary { conic: -1.0, figure: Vec::new(), ..train.primary().clone() };
    with_primary(train, primary)
}

/// The train behind a mask of this inner diameter; without one where the mask is as wide as the mirror.
pub(super) fn with_mask(train: &Train, diameter_mm: f64) -> Result<Train> {
    let primary = train.primary();
    let mask_diameter_mm = (diameter_mm < primary.clear_aperture_mm).then_some(diameter_mm);
    with_primary(train, Primary { mask_diameter_mm, ..primary.clone() })
}

/// The train with another coating on its primary.
pub(super) fn with_coating(train: &Train, coating: Coating) -> Result<Train> {
    with_primary(train, Primary { coating, ..train.primary().clone() })
}

/// The train with a diagonal of one reflectance, whatever film it has.
pub(super) fn with_flat(train: &Train, reflectance: f64) -> Result<Train> {
    let mut parts = train.to_parts();
    if let Some(flat) = &mut parts.diagonal {
        flat.film = None;
        flat.reflectance = reflectance;
    }
    parts.build_after(train)
}
