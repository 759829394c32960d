//! Many rays at once beside the same rays one by one.

use std::hint::black_box;

use catoptric::{
    Diagonal, Field, FocalLengthMm, FocalPlane, Prepared, Primary, RadialProfile, RayColumn::Each, Rays,
    Train,
};
use divan::Bencher;

const RAYS: usize = 100_000;
const FIELD: Field = Field { x_arcmin: 10.0, y_arcmin: 0.0 };

fn main() {
    divan::main();
}

fn telescope() -> Prepared {
    let radius_mm: Vec<f64> = (0..=16).map(|k| 159.0 * f64::from(k) / 16.0).collect();
    let height_nm = radius_mm.iter().map(|r| 30.0 * (r / 14.0).sin()).collect();
    let primary = Primary::new(318.0, FocalLengthMm(1558.0)).layer(RadialProfile::new(radius_mm, height_nm));
    let parts = Train::builder(primary).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0));
    Prepared::new(&parts.build().expect("a train"))
}

/// Six columns of a parallel beam.
fn beam() -> Vec<Vec<f64>> {
    let [x, y, z] = [FIELD.tangents()[0], FIELD.tangents()[1], 1.0];
    let long = (x * x + y * y + 1.0).sqrt();
    let mut columns = vec![Vec::new(); 6];
    for k in 0..RAYS {
        let (r, turn) = (159.0 * ((k as f64 + 0.5) / RAYS as f64).sqrt(), 2.399_963_229_728_653 * k as f64);
        let ray = [
            r * turn.cos() + 2000.0 * x,
            r * turn.sin() + 2000.0 * y,
            2000.0,
            -x / long,
            -y / long,
            -z / long,
        ];
        columns.iter_mut().zip(ray).for_each(|(column, value)| column.push(value));
    }
    columns
}

/// Statistics of given rays.
#[divan::bench]
fn given(bencher: Bencher<'_, '_>) {
    let (telescope, columns) = (telescope(), beam());
    let [x, y, z, dx, dy, dz] = &columns[..] else { return };
    let rays = Rays::new([Each(x), Each(y), Each(z)], [Each(dx), Each(dy), Each(dz)]).expect("rays");
    bencher.bench(|| telescope.spot_of_rays(black_box(&rays), 0.0));
}

/// The slow twin of `given`.
#[divan::bench(sample_count = 10)]
fn given_one_by_one(bencher: Bencher<'_, '_>) {
    let (telescope, columns) = (telescope(), beam());
    bencher.bench(|| {
        let (mut passed, mut along, mut square) = (0.0, 0.0, 0.0);
        for k in 0..RAYS {
            let at = |column: usize| black_box(columns[column][k]);
            let Some(ray) = telescope.ray_from([at(0), at(1), at(2)], [at(3), at(4), at(5)]) else {
                continue;
            };
            if telescope.passes(FIELD, ray.hit_mm[0], ray.hit_mm[1]) {
                let [x, y] = ray.at_height_mm(1558.0);
                passed += 1.0;
                along += x;
                square += x * x + y * y;
            }
        }
        (passed, along, square)
    });
}

/// Statistics of rays on the library's own rings.
#[divan::bench]
fn rings(bencher: Bencher<'_, '_>) {
    let telescope = telescope();
    bencher.bench(|| telescope.spot_of_rings(black_box(FIELD), 0.0, 316, 316));
}
