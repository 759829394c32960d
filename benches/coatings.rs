//! Worn coatings: rings, patches and pictures of haze and of thin metal, beside the slow obvious way.

mod twins;

use catoptric::{
    AxisDirection, Coating, CoatingPatch, CoatingRing, Field, Focus, Metal, MetalCoat, MetalFilm, PsfSize,
    ReflectanceMap, ThicknessMap,
};
use divan::{Bencher, black_box};
use ndarray::Array2;
use twins::{Paths, RIM_MM, WAVELENGTH_NM, mirror, parts, prepared};

fn main() {
    divan::main();
}

const FIELD: Field = Field::arcmin(4.0, -2.0);
const SIDE: usize = 512;

/// An invented coat, worn around one place.
fn share([x_mm, y_mm]: [f64; 2]) -> f64 {
    0.9 - 0.4 / (1.0 + (((x_mm - 40.0).hypot(y_mm + 30.0) - 35.0) / 5.0).exp())
}

fn net(value: impl Fn(f64) -> f64) -> (Array2<f64>, f64) {
    let pixel_mm = 2.0 * RIM_MM / (SIDE as f64 - 4.0);
    let middle = |k: usize| (k as f64 - (SIDE as f64 - 1.0) / 2.0) * pixel_mm;
    (
        Array2::from_shape_fn((SIDE, SIDE), |(row, column)| value(share([middle(column), middle(row)]))),
        pixel_mm,
    )
}

fn haze() -> Coating {
    let (net, pixel_mm) = net(|share| share);
    Coating::of_map(ReflectanceMap::new(net, pixel_mm, AxisDirection::PlusY, AxisDirection::PlusX))
}

fn metal() -> Coating {
    let (net, pixel_mm) = net(|share| 100.0 * share);
    let map = ThicknessMap::new(net, pixel_mm, AxisDirection::PlusY, AxisDirection::PlusX);
    Coating::new(1.0).metal(MetalCoat::new(MetalFilm::new(Metal::Aluminium, 90.0)).map(map))
}

fn parts_worn() -> Coating {
    Coating::new(0.88).ring(CoatingRing::new(120.0, 140.0, 0.71)).patch(CoatingPatch::new(
        [40.0, -30.0],
        35.0,
        0.5,
    ))
}

/// From a train to its wavefront at the focus of least RMS.
#[divan::bench(args = ["rings and patches", "picture of haze", "picture of thin metal"], sample_count = 10)]
fn wavefront(bencher: Bencher<'_, '_>, worn: &str) {
    let coating = match worn {
        "rings and patches" => parts_worn(),
        "picture of haze" => haze(),
        _ => metal(),
    };
    let telescope = prepared(parts(mirror().coating(coating)));
    bencher.bench(|| telescope.wavefront(black_box(FIELD), Focus::LeastRms, WAVELENGTH_NM));
}

/// A star of 33 x 33 pixels behind a picture of haze.
#[divan::bench(sample_count = 10)]
fn star_behind_haze(bencher: Bencher<'_, '_>) {
    let telescope = prepared(parts(mirror().coating(haze())));
    let wavefront = telescope.wavefront(FIELD, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    bencher.bench(|| wavefront.psf(black_box(PsfSize { half_width_um: None, pixels: 33 })));
}

/// The slow twin of `star_behind_haze`: every pixel a sum over all samples.
#[divan::bench(sample_count = 3)]
fn star_behind_haze_by_samples(bencher: Bencher<'_, '_>) {
    let telescope = prepared(parts(mirror().coating(haze())));
    let wavefront = telescope.wavefront(FIELD, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    let paths = Paths::new(&telescope, FIELD, &wavefront);
    let places: Vec<[f64; 2]> =
        (0..33 * 33).map(|k| [k % 33, k / 33].map(|i| 2.0 * (f64::from(i) - 16.0))).collect();
    bencher.bench(|| paths.star(black_box(&places), |at| share(at).sqrt()));
}
