//! Diagonals: critical sizes beside one size after another, and batches of exact rows.

use catoptric::{
    Diagonal, DiagonalBatchInput, Drawtube, Field, FocalLengthMm, FocalPlane, Opening, Prepared, Primary,
    Train, TrainBuilder,
};
use divan::{Bencher, black_box};

fn main() {
    divan::main();
}

/// An invented 406 mm f/5.
fn parts() -> TrainBuilder {
    Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
        .diagonal(Diagonal::new(70.0))
        .focal_plane(FocalPlane::new(303.0))
}

fn with_tubes() -> TrainBuilder {
    parts().front_opening(Opening::new(460.0, 2150.0)).drawtube(Drawtube::new(47.0, 70.0, 18.0))
}

const RAYS: usize = 10_000;

fn fields() -> Vec<Field> {
    (0..25).map(|i| Field::arcmin(f64::from(i), 0.0)).collect()
}

/// 1000 sizes x 25 field radii x 10 000 rays, diagonal and shadow alone.
#[divan::bench]
fn light_by_1000_sizes(bencher: Bencher<'_, '_>) {
    let telescope = Prepared::new(&parts().build().expect("sound"));
    let sizes: Vec<f64> = (0..1000).map(|i| 60.0 + 0.05 * f64::from(i)).collect();
    let fields = fields();
    bencher.bench(|| telescope.light_by_size(black_box(&sizes), &fields, RAYS));
}

/// The slow twin of `light_by_1000_sizes`, for ten sizes: a hundredth of its work, each size and each ray by itself.
#[divan::bench(sample_count = 5)]
fn ten_sizes_one_after_another(bencher: Bencher<'_, '_>) {
    let fields = fields();
    let rays: Vec<_> = {
        let telescope = Prepared::new(&parts().build().expect("sound"));
        fields.iter().map(|field| telescope.rays_of_equal_light(*field, RAYS)).collect()
    };
    bencher.bench(|| {
        let mut lit = 0;
        for size in 0..10 {
            let flat = Diagonal::new(60.0 + 5.0 * f64::from(size));
            let single = Prepared::new(&parts().diagonal(flat).build().expect("sound"));
            for (field, rays) in fields.iter().zip(&rays) {
                lit += rays.iter().filter(|[x, y]| single.passes(*field, *x, *y)).count();
            }
        }
        lit
    });
}

/// 1000 trains with eight field points each (the axis, and seven azimuths of one radius), exact.
#[divan::bench]
fn a_thousand_exact_rows(bencher: Bencher<'_, '_>) {
    let train = with_tubes().build().expect("sound");
    let sizes = (0..50).map(|i| 60.0 + f64::from(i)).collect();
    let mut input = DiagonalBatchInput::new(vec![train], sizes, vec![15.0]);
    input.axis_to_focus_mm = (0..20).map(|i| 300.0 + 2.0 * f64::from(i)).collect();
    input.azimuths = 12;
    let batch = input.check().expect("sound");
    bencher.bench(|| black_box(&batch).run());
}

/// The slow twin of `a_thousand_exact_rows`, for ten rows: the general fraction at each point.
#[divan::bench(sample_count = 10)]
fn ten_rows_by_general_fractions(bencher: Bencher<'_, '_>) {
    bencher.bench(|| {
        let mut sum = 0.0;
        for size in 0..10 {
            let flat = Diagonal::new(60.0 + 5.0 * f64::from(size));
            let single = Prepared::new(&with_tubes().diagonal(flat).build().expect("sound"));
            for i in 0..8 {
                let (sin, cos) = (0.5 * f64::from(i)).sin_cos();
                let star = Field::arcmin(25.0 * cos, 25.0 * sin);
                sum += single.light(black_box(star)).lit_fraction;
            }
        }
        sum
    });
}
