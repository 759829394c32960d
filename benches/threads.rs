//! What handing work over to other threads costs, and a train compiled from another one beside the same compiled whole.
//!
//! The slow twins are the calls of one thread (`alone`) and the whole train (`whole`).

use std::hint::black_box;

use catoptric::numeric::pool::map_ordered;
use catoptric::{
    AxisDirection, Coating, Diagonal, Field, FocalLengthMm, FocalPlane, HeightMap, Metal, MetalCoat,
    MetalFilm, Prepared, Primary, ThinRing, Train,
};
use divan::Bencher;

fn main() {
    divan::main();
}

/// Some work that no compiler takes away: about this many microseconds.
fn busy(microseconds: u64) -> f64 {
    (0..microseconds * 250).fold(1.0, |x: f64, k| x * 0.999_999 + 1e-9 * k as f64)
}

/// So many pieces of a microsecond on one thread.
#[divan::bench(args = [2, 16, 50, 100, 400, 10_000])]
fn alone(pieces: usize) -> Vec<f64> {
    map_ordered(pieces, false, |_| busy(black_box(1)))
}

/// The same on all.
#[divan::bench(args = [2, 16, 50, 100, 400, 10_000])]
fn shared(pieces: usize) -> Vec<f64> {
    map_ordered(pieces, true, |_| busy(black_box(1)))
}

/// Mirrors that cost something to compile.
#[derive(Clone, Copy, Debug)]
enum Kind {
    Bare,
    Map,
    Film,
}

fn pair(kind: Kind) -> (Train, Train) {
    let mirror = Primary::new(318.0, FocalLengthMm(1558.0));
    let primary = match kind {
        Kind::Bare => mirror,
        Kind::Map => {
            let height = |i: usize, j: usize| (i as f64 / 20.0).sin() * 10.0 + (j as f64 / 31.0).cos() * 8.0;
            let heights = ndarray::Array2::from_shape_fn((512, 512), |(i, j)| height(i, j));
            let pixel_mm = 330.0 / 511.0;
            mirror.layer(HeightMap::new(heights, pixel_mm, AxisDirection::MinusY, AxisDirection::PlusX))
        }
        Kind::Film => {
            let film = MetalFilm::new(Metal::Aluminium, 90.0);
            let coat = MetalCoat::new(film).ring(ThinRing::new(60.0, 80.0, 40.0).softness_mm(2.0));
            mirror.coating(Coating::default().metal(coat))
        }
    };
    let parts = Train::builder(primary).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0));
    let train = parts.build().expect("a train");
    let mut parts = train.to_parts();
    parts.diagonal = Some(Diagonal::new(76.0));
    (train, parts.build().expect("a train"))
}

/// Up to the first spot, for which the loops over many rays compile their table.
fn first_spot(telescope: &Prepared) -> bool {
    telescope.spot_of_rings(Field::AXIS, 0.0, 10, 20).is_ok()
}

/// Another diagonal before a mirror that is compiled already.
#[divan::bench(args = [Kind::Bare, Kind::Map, Kind::Film])]
fn changed(bencher: Bencher<'_, '_>, kind: Kind) {
    let (train, other) = pair(kind);
    let given = Prepared::new(&train);
    assert!(first_spot(&given));
    bencher.bench(|| first_spot(&given.changed(black_box(&other))));
}

/// The same train compiled whole.
#[divan::bench(args = [Kind::Bare, Kind::Map, Kind::Film], sample_count = 10)]
fn whole(bencher: Bencher<'_, '_>, kind: Kind) {
    let (_, other) = pair(kind);
    bencher.bench(|| first_spot(&Prepared::new(black_box(&other))));
}
