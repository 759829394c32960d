//! Masks over the figures that readings allow, and before a known train.

mod twins;

use catoptric::{MaskOptions, ReduceOptions, mask_sweep};
use divan::{Bencher, black_box};
use twins::{OBSTRUCTION, masks_one_by_one, mirror, parts, readings};

fn main() {
    divan::main();
}

fn masks_mm() -> Vec<f64> {
    (0..100).map(|k| 268.0 + 0.5 * f64::from(k)).collect()
}

/// A hundred masks over a thousand figures that the readings allow, these drawn on the way.
#[divan::bench]
fn masks(bencher: Bencher<'_, '_>) {
    let options = ReduceOptions { obstruction_ratio: OBSTRUCTION, draws: 1000, ..ReduceOptions::default() };
    let figure = readings("before").reduce(options).expect("a figure");
    bencher.bench(|| mask_sweep(black_box(&figure), &masks_mm(), &MaskOptions::strehl_alone()));
}

/// The slow twin of `masks` with 10 figures: each figure and mask by itself, 400 rings, the greatest of 61 foci; good to 1e-3.
#[divan::bench(sample_count = 3)]
fn masks_one_by_one_of_ten_figures(bencher: Bencher<'_, '_>) {
    bencher.bench(|| {
        let figures = (0..10).map(|k| 250.0 + 16.0 * f64::from(black_box(k)));
        figures.map(|drop_nm| masks_one_by_one(drop_nm, &masks_mm())).collect::<Vec<_>>()
    });
}

/// Ten masks before a train, each the exact pupil integral with everything that a row has.
#[divan::bench(sample_count = 5)]
fn ten_masks_of_a_train(bencher: Bencher<'_, '_>) {
    let train = parts(mirror()).build().expect("a sound train");
    let masks_mm: Vec<f64> = (0..10).map(|k| 298.0 + 2.0 * f64::from(k)).collect();
    bencher.bench(|| mask_sweep(black_box(&train), &masks_mm, &MaskOptions::default()));
}
