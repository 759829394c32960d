//! Contrast of apertures with a round shadow, in the middle or beside it: tests/data/contrast.json.
//!
//! Truth: own table (tests/data/make_contrast.py): overlap areas of circles, O'Neill 1956, J. Opt. Soc. Am. 46, 285, and the
//! same with the shadow beside the middle; mpmath, held there against columns (scipy) and Bessel functions.

mod common;

use catoptric::{
    ARCSEC_PER_RADIAN, Diagonal, Field, FocalLengthMm, FocalPlane, Focus, MtfOptions, Primary, Train,
    Wavefront, perfect_mtf,
};
use common::{Row, assert_close, bare, prepare, rows};

const WAVELENGTH_NM: f64 = 550.0;
const APERTURE_MM: f64 = 200.0;
const FOCAL_RATIO: f64 = 400.0;

/// A mirror at f/400, whose pupil is plain, with its shadow beside the middle.
fn slow_mirror(row: &Row) -> Wavefront {
    let primary = Primary::new(APERTURE_MM, FocalLengthMm(FOCAL_RATIO * APERTURE_MM));
    let eps = row.number("obstruction_ratio");
    let telescope = if eps == 0.0 {
        bare(primary)
    } else {
        let offset_mm = row.number("shadow_offset_ratio") * APERTURE_MM / 2.0;
        let flat = Diagonal::new(eps * APERTURE_MM).offset_mm(offset_mm);
        prepare(Train::builder(primary).diagonal(flat).focal_plane(FocalPlane::new(0.501 * APERTURE_MM)))
    };
    telescope.wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM).expect("a wavefront")
}

fn at(row: &Row) -> MtfOptions {
    let cutoff = 1.0 / (WAVELENGTH_NM * 1e-6 * FOCAL_RATIO);
    let frequency_per_mm = row.list("frequency_ratio").iter().map(|n| n * cutoff).collect();
    MtfOptions { frequency_per_mm: Some(frequency_per_mm), spectrum: None }
}

#[test]
fn contrast_with_a_shadow_beside_the_middle() {
    for row in rows("contrast", "kind", "contrast") {
        let (wave, azimuth) = (slow_mirror(&row), row.number("offset_azimuth_deg"));
        let otf = wave.otf(azimuth, &at(&row)).expect("a transfer function");
        for (found, truth) in otf.contrast().into_iter().zip(row.list("contrast")) {
            // The cone lowers the cut-off by 1/(16 F^2) of itself, 4e-7 at f/400.
            assert_close(found, truth, 1.5e-6, &format!("overlap: shadow's offset at {azimuth} degrees"));
        }
    }
}

#[test]
fn contrast_against_a_clear_aperture() {
    for row in rows("contrast", "kind", "contrast").iter().filter(|r| r.number("shadow_offset_ratio") == 0.0)
    {
        let eps = row.number("obstruction_ratio");
        for (n, truth) in row.list("frequency_ratio").into_iter().zip(row.list("against_clear")) {
            let found = perfect_mtf(n, eps).expect("contrast") / perfect_mtf(n, 0.0).expect("contrast");
            // Near the cut-off both are small differences of areas.
            assert_close(found, truth, 1e-11, "overlap: against a clear aperture");
        }
    }
}

#[test]
fn contrast_at_a_detail() {
    for row in rows("contrast", "kind", "detail") {
        let period_rad = row.number("detail_arcsec") / ARCSEC_PER_RADIAN;
        let n = row.number("wavelength_nm") * 1e-6 / (row.number("clear_aperture_mm") * period_rad);
        assert_close(n, row.number("frequency_ratio"), 1e-14, "detail: share of the cut-off");
        let found = perfect_mtf(n, row.number("obstruction_ratio")).expect("contrast");
        assert_close(found, row.number("contrast"), 1e-13, "detail: contrast");
        let clear = perfect_mtf(n, 0.0).expect("contrast");
        assert_close(found / clear, row.number("against_clear"), 1e-12, "detail: against a clear aperture");
    }
}
