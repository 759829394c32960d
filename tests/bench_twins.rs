//! The slow twins of the benches answer the questions that they are timed beside.

mod common;
#[path = "../benches/twins/mod.rs"]
mod twins;

use catoptric::{Coating, CoatingPatch, Field, Focus, MaskOptions, MtfOptions, PsfSize, mask_sweep};
use common::assert_close;
use twins::{
    EDGE_WIDTH_MM, FOCAL_MM, OBSTRUCTION, Paths, RIM_MM, WAVELENGTH_NM, masks_one_by_one, mirror, parts,
    prepared,
};

const FIELD: Field = Field::arcmin(4.0, -2.0);

#[test]
fn a_star_path_by_path() {
    let telescope = prepared(parts(mirror()));
    let wavefront = telescope.wavefront(FIELD, Focus::LeastRms, WAVELENGTH_NM).unwrap();
    let star = wavefront.psf(PsfSize { half_width_um: Some(8.0), pixels: 9 }).unwrap();
    let pixel_um = 16.0 / 9.0;
    let places: Vec<[f64; 2]> = (0..9).map(|k| [(f64::from(k) - 4.0) * pixel_um, -2.0 * pixel_um]).collect();
    let twin = Paths::new(&telescope, FIELD, &wavefront).star(&places, |_| 1.0);
    for (k, found) in twin.iter().enumerate() {
        // 28 800 samples, kept or dropped at the rims; their errors mostly cancel.
        assert_close(*found, star.image[[2, k]], 2e-4, &format!("pixel {k}"));
    }
    assert!(twin.iter().any(|found| *found > 0.05), "the picture is not dark: {twin:?}");
}

#[test]
fn a_star_behind_a_worn_patch() {
    let (middle, radius_mm, share) = ([40.0, -30.0], 35.0, 0.5);
    let coating = Coating::new(1.0).patch(CoatingPatch::new(middle, radius_mm, share));
    let telescope = prepared(parts(mirror().coating(coating)));
    let wavefront = telescope.wavefront(FIELD, Focus::LeastRms, WAVELENGTH_NM).unwrap();
    let star = wavefront.psf(PsfSize { half_width_um: Some(8.0), pixels: 9 }).unwrap();
    let amplitude = |[x, y]: [f64; 2]| {
        let worn = (x - middle[0]).hypot(y - middle[1]) < radius_mm;
        if worn { share.sqrt() } else { 1.0 }
    };
    let twin = Paths::new(&telescope, FIELD, &wavefront).star(&[[0.0, 0.0]], amplitude)[0];
    assert_close(twin, star.image[[4, 4]], 2e-3, "middle");
}

#[test]
fn contrast_by_a_net() {
    let telescope = prepared(parts(mirror()));
    let wavefront = telescope.wavefront(FIELD, Focus::LeastRms, WAVELENGTH_NM).unwrap();
    let paths = Paths::new(&telescope, FIELD, &wavefront);
    let frequency_per_mm = vec![60.0, 150.0];
    let options = MtfOptions { frequency_per_mm: Some(frequency_per_mm.clone()), spectrum: None };
    let contrast = wavefront.otf(0.0, &options).unwrap().contrast();
    for (found, frequency) in contrast.iter().zip(frequency_per_mm) {
        assert_close(paths.contrast(frequency), *found, 1e-2, &format!("{frequency} a mm"));
    }
}

#[test]
fn masks_ring_by_ring() {
    let mirror = catoptric::Primary::new(2.0 * RIM_MM, catoptric::FocalLengthMm(FOCAL_MM))
        .layer(catoptric::TurnedEdge::new(EDGE_WIDTH_MM, 330.0));
    let flat = catoptric::Diagonal::new(2.0 * RIM_MM * OBSTRUCTION).offset_mm(0.0);
    let train = parts(mirror).diagonal(flat).build().unwrap();
    let masks_mm = [300.0, 310.0];
    let sweep = mask_sweep(&train, &masks_mm, &MaskOptions::strehl_alone()).unwrap();
    for (row, found) in sweep.rows.iter().zip(masks_one_by_one(330.0, &masks_mm)) {
        assert_close(found, row.strehl.value, 1e-3, &format!("{} mm", row.diameter_mm));
    }
}
