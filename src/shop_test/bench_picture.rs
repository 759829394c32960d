//! What all pictures of the bench share: the net of pixels, the lit stretches of a row, and the checks of a bench.

use super::opening::MaskOpening;
use crate::error::{Error, Findings, Result};
use crate::model::Primary;
use crate::units::{NM_PER_MM, UM_PER_MM};
use crate::wave::check_wavelength;

/// From the centre to the picture's edge, in radii of the open mirror: a little of the dark around it is seen.
const REACH: f64 = 1.05;
/// Largest picture: 1024 x 1024 numbers are 8 MiB.
const MOST_PIXELS: usize = 1024;
/// Widest slit, um.
const WIDEST_SLIT_UM: f64 = 2000.0;
/// Narrowest slit, um: below, no light would pass.
const NARROWEST_SLIT_UM: f64 = 0.1;

/// Pixels on a side of a picture when nothing else is asked for; an odd number puts one on the centre.
pub(super) const DEFAULT_PIXELS: usize = 257;

/// Positions of the middles of rows and columns, mm.
pub(super) fn axis_mm(open_radius_mm: f64, pixels: usize) -> Vec<f64> {
    let half = REACH * open_radius_mm;
    let step = 2.0 * half / (pixels as f64 - 1.0);
    (0..pixels).map(|i| step * (i as f64 - (pixels as f64 - 1.0) / 2.0)).collect()
}

/// The openings of a mask, or the whole open mirror where there is none.
pub(super) fn openings_or_all(openings: &[MaskOpening], open_radius_mm: f64) -> Vec<MaskOpening> {
    if openings.is_empty() {
        return vec![MaskOpening { inner_radius_mm: 0.0, outer_radius_mm: open_radius_mm }];
    }
    openings.to_vec()
}

/// The lit stretches of the row at a height y, from left to right, mm.
pub(super) fn lit_stretches(openings: &[MaskOpening], y_mm: f64) -> Vec<(f64, f64)> {
    let at = |radius: f64| (radius * radius - y_mm * y_mm).max(0.0).sqrt();
    let mut right: Vec<(f64, f64)> = openings
        .iter()
        .map(|o| (at(o.inner_radius_mm), at(o.outer_radius_mm)))
        .filter(|(a, b)| a < b)
        .collect();
    let whole = right.first().filter(|(from, _)| *from == 0.0).copied();
    if whole.is_some() {
        right.remove(0);
    }
    let left = right.iter().rev().map(|(a, b)| (-b, -a));
    left.chain(whole.map(|(_, b)| (-b, b))).chain(right.iter().copied()).collect()
}

/// A whole picture from its lower half: above the middle the mirror looks as below.
///
/// Shapes: `rows` from the lowest to the middle one; gives all `pixels` rows.
pub(super) fn mirrored_rows(rows: &[Vec<f64>], pixels: usize) -> ndarray::Array2<f64> {
    ndarray::Array2::from_shape_fn((pixels, pixels), |(i, j)| rows[i.min(pixels - 1 - i)][j])
}

/// Diameter of the blur that diffraction gives the slit's image, um: wavelength times radius of curvature over aperture.
pub(super) fn blur_um(wavelength_nm: f64, primary: &Primary) -> f64 {
    wavelength_nm / NM_PER_MM * UM_PER_MM * 2.0 * primary.focal_length_mm / primary.open_diameter_mm()
}

pub(super) fn check_slit(slit_width_um: f64, findings: &mut Findings) {
    let cause = if slit_width_um <= 0.0 {
        "a slit without width lets no light through: for a pinhole or star give its diameter"
    } else if slit_width_um < NARROWEST_SLIT_UM {
        "millimetres or inches given for micrometres?"
    } else {
        "nanometres given for micrometres?"
    };
    findings.number(
        "slit_width_um",
        slit_width_um,
        |v| (NARROWEST_SLIT_UM..=WIDEST_SLIT_UM).contains(&v),
        "0.1 to 2000 um",
        cause,
    );
}

pub(super) fn check_pixels(pixels: usize, findings: &mut Findings) {
    if !(2..=MOST_PIXELS).contains(&pixels) {
        let mebibytes = (pixels as f64).powi(2) * 8.0 / 1_048_576.0;
        let allowed = format!("2 to {MOST_PIXELS} pixels on a side (8 MiB)");
        findings.fault("pixels", format!("{pixels} ({mebibytes:.0} MiB)"), &allowed, "");
    }
}

pub(super) fn check_wavelengths(wavelengths_nm: &[f64]) -> Result<()> {
    if wavelengths_nm.is_empty() || wavelengths_nm.len() > 32 {
        let found = format!("{} wavelengths", wavelengths_nm.len());
        return Err(Error::input("wavelength_nm", found, "1 to 32 wavelengths", ""));
    }
    wavelengths_nm.iter().try_for_each(|w| check_wavelength(*w))
}

/// Refuses openings that leave the open mirror, overlap, or have no width.
pub(super) fn check_openings(openings: &[MaskOpening], open_radius_mm: f64, findings: &mut Findings) {
    let mut reached = 0.0;
    for (i, opening) in openings.iter().enumerate() {
        let (inner, outer) = (opening.inner_radius_mm, opening.outer_radius_mm);
        findings.within(format!("openings[{i}]"), |f| {
            let allowed = format!("0 or more, and not inside the opening before it, which ends at {reached} mm");
            f.number("inner_radius_mm", inner, |v| v >= reached, &allowed, "listed from the rim inward?");
            let allowed = format!(
                "above the inner radius, and not beyond the open mirror ({open_radius_mm} mm): a picture needs width"
            );
            let cause = "diameters given for radii?";
            f.number("outer_radius_mm", outer, |v| v > inner && v <= open_radius_mm * (1.0 + 1e-9), &allowed, cause);
        });
        reached = outer;
    }
}
