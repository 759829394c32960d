//! How much light arrives, each beside the slow obvious way.

mod twins;

use catoptric::{Coating, CoatingRing, Drawtube, Eyepiece, EyepieceOptions, Field, Opening, Prepared};
use divan::{Bencher, black_box};
use twins::{crowded, mirror, parts, prepared};

fn main() {
    divan::main();
}

/// An invented 318 mm f/4.9 with tubes and a worn ring.
fn telescope() -> Prepared {
    let worn = Coating::new(0.88).ring(CoatingRing::new(120.0, 140.0, 0.71));
    let parts = parts(mirror().coating(worn)).front_opening(Opening::new(360.0, 1650.0));
    prepared(parts.drawtube(Drawtube::new(47.0, 50.0, 18.0)))
}

const FIELD: Field = Field::arcmin(14.0, -6.0);

/// How much light arrives, by the outline of the lit pupil.
#[divan::bench]
fn light(bencher: Bencher<'_, '_>) {
    let telescope = telescope();
    bencher.bench(|| telescope.light(black_box(FIELD)));
}

/// The slow twin of `light`: 100 000 rays, good to about 3e-4.
#[divan::bench]
fn light_by_rays(bencher: Bencher<'_, '_>) {
    let telescope = telescope();
    bencher.bench(|| telescope.light_by_rays(black_box(FIELD)));
}

/// The same with vanes, clips and several cuts.
#[divan::bench]
fn light_of_a_crowded_train(bencher: Bencher<'_, '_>) {
    let telescope = crowded();
    bencher.bench(|| telescope.light(black_box(FIELD)));
}

/// The slow twin of `light_of_a_crowded_train`.
#[divan::bench]
fn light_of_a_crowded_train_by_rays(bencher: Bencher<'_, '_>) {
    let telescope = crowded();
    bencher.bench(|| telescope.light_by_rays(black_box(FIELD)));
}

/// Worst, mean and best over azimuth at eleven radii of a crowded train.
#[divan::bench(sample_count = 5)]
fn illumination_at_radii(bencher: Bencher<'_, '_>) {
    let telescope = crowded();
    let radius_mm: Vec<f64> = (0..11).map(|k| 2.0 * f64::from(k)).collect();
    bencher.bench(|| telescope.illumination_at_radii(black_box(&radius_mm)));
}

/// Ten eyepieces with the light and the spot of each edge.
#[divan::bench(sample_count = 5)]
fn eyepieces(bencher: Bencher<'_, '_>) {
    let telescope = crowded();
    let eyepieces: Vec<Eyepiece> =
        (0..10).map(|k| Eyepiece::new(6.0 + 3.0 * f64::from(k), 7.0 + 3.5 * f64::from(k))).collect();
    bencher.bench(|| telescope.behind_each(black_box(&eyepieces), EyepieceOptions::default()));
}
