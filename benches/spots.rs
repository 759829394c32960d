//! Spots of a whole train beside the slow obvious way.

use catoptric::{
    Coating, CoatingRing, Diagonal, Drawtube, Field, FocalLengthMm, FocalPlane, Opening, Prepared, Primary,
    Train, TurnedEdge, Zone,
};
use divan::{Bencher, black_box};

fn main() {
    divan::main();
}

/// An invented 318 mm f/4.9 with every part.
fn telescope() -> Prepared {
    let primary = Primary::new(318.0, FocalLengthMm(1558.0))
        .layer(TurnedEdge::new(9.0, 90.0))
        .layer(Zone::new(95.0, 13.0, 28.0))
        .coating(Coating::new(0.88).ring(CoatingRing::new(120.0, 140.0, 0.71)));
    let train = Train::builder(primary)
        .diagonal(Diagonal::new(70.0))
        .focal_plane(FocalPlane::new(235.0))
        .front_opening(Opening::new(360.0, 1650.0))
        .drawtube(Drawtube::new(47.0, 50.0, 18.0))
        .build();
    Prepared::new(&train.expect("a sound train"))
}

const FIELD: Field = Field::arcmin(14.0, -6.0);

/// Nothing but the least-spot focus: the quadrature alone.
#[divan::bench]
fn least_spot_focus(bencher: Bencher<'_, '_>) {
    let telescope = telescope();
    bencher.bench(|| telescope.least_spot_shift_mm(black_box(FIELD)));
}

/// A whole spot: statistics, extents, the radius that holds 80 % of the light, 500 points.
#[divan::bench]
fn spot(bencher: Bencher<'_, '_>) {
    let telescope = telescope();
    bencher.bench(|| telescope.spot_at(black_box(FIELD), 0.0, 500));
}

/// The slow twin of `least_spot_focus`: a square net of single rays, kept or dropped, good to about 1e-3.
#[divan::bench]
fn least_spot_focus_by_a_net_of_rays(bencher: Bencher<'_, '_>) {
    let telescope = telescope();
    bencher.bench(|| net_of_rays(&telescope, black_box(FIELD)));
}

/// Flux, place in the focal plane, and slopes of a ray.
type Arrival = (f64, [f64; 2], [f64; 2]);

fn net_of_rays(telescope: &Prepared, field: Field) -> f64 {
    const SIDE: i32 = 400;
    let mut rays: Vec<Arrival> = Vec::new();
    for i in 0..SIDE {
        for j in 0..SIDE {
            let at = |k: i32| 159.0 * (2.0 * (f64::from(k) + 0.5) / f64::from(SIDE) - 1.0);
            let (x, y) = (at(i), at(j));
            if telescope.passes(field, x, y) {
                let ray = telescope.ray(field, x, y);
                let place = ray.at_height_mm(1558.0);
                rays.push((ray.beam, place, [0, 1].map(|a| ray.direction[a] / ray.direction[2])));
            }
        }
    }
    let flux: f64 = rays.iter().map(|r| r.0).sum();
    let mean = |value: &dyn Fn(&Arrival) -> f64| rays.iter().map(|r| r.0 * value(r)).sum::<f64>() / flux;
    let (mut joint, mut spread) = (0.0, 0.0);
    for axis in 0..2 {
        let (place, slope) = (mean(&|r| r.1[axis]), mean(&|r| r.2[axis]));
        joint += mean(&|r| (r.1[axis] - place) * (r.2[axis] - slope));
        spread += mean(&|r| (r.2[axis] - slope).powi(2));
    }
    -joint / spread
}
