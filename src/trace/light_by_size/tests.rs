//! Counts by each ray's own two sizes against each ray asked by each size.

use super::*;
use crate::model::{Drawtube, FocalPlane, Opening, Primary, Spider, Train, TrainBuilder, TurnedEdge};
use crate::units::FocalLengthMm;

fn of(primary: Primary) -> TrainBuilder {
    Train::builder(primary).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(303.0))
}

fn mirror() -> Primary {
    Primary::new(406.0, FocalLengthMm(2030.0))
}

fn parts() -> TrainBuilder {
    of(mirror())
}

/// Each ray asked by each size.
fn ray_by_ray(prepared: &Prepared, sizes: &[f64], fields: &[Field], rays: usize) -> Vec<Vec<u32>> {
    let of_field = |field: &Field| {
        let points = prepared.rays_of_equal_light(*field, rays);
        let lit = |size: &f64| {
            let single = prepared.with_size(*size).expect("sound");
            points.iter().filter(|[x, y]| single.passes(*field, *x, *y)).count() as u32
        };
        sizes.iter().map(lit).collect()
    };
    fields.iter().map(of_field).collect()
}

#[test]
fn counts_are_those_of_single_rays_with_all_instructions() {
    let slow = Train::builder(Primary::new(200.0, FocalLengthMm(1600.0)))
        .diagonal(Diagonal::new(40.0))
        .focal_plane(FocalPlane::new(150.0));
    let trains = [
        parts(),
        parts().diagonal(Diagonal::new(70.0).offset_mm(3.0)),
        parts().front_opening(Opening::new(420.0, 2150.0)).drawtube(Drawtube::new(47.0, 70.0, 18.0)),
        parts().spider(Spider::new(4, 1.5)),
        of(mirror().conic(-0.7)),
        of(mirror().layer(TurnedEdge::new(9.0, 300.0))),
        slow,
    ];
    let fields = [
        Field::AXIS,
        Field::arcmin(9.0, 0.0),
        Field::arcmin(24.0, 0.0),
        Field::arcmin(-30.0, 17.0),
        Field::arcmin(0.0, -40.0),
    ];
    for (number, train) in trains.into_iter().enumerate() {
        let prepared = Prepared::new(&train.build().expect("sound"));
        let (low, high) = if number == 6 { (22.0, 60.0) } else { (45.0, 120.0) };
        let even: Vec<f64> = (0..31).map(|k| low + (high - low) * f64::from(k) / 30.0).collect();
        let uneven: Vec<f64> = even.iter().rev().map(|s| low + (s - low).powi(2) / (high - low)).collect();
        for sizes in [&even, &uneven, &vec![low; 2]] {
            let truth = ray_by_ray(&prepared, sizes, &fields, 700);
            for set in Instructions::ALL.into_iter().filter(|set| set.is_there()) {
                let found = prepared.light_by_size_with(set, sizes, &fields, 700).expect("sound");
                assert_eq!(found.lit_rays, truth, "train {number}, {set:?}");
            }
        }
    }
}

#[test]
fn sizes_on_which_rays_lie_are_asked_by_themselves() {
    // The sizes at whose very rim rays pass: rounding alone would decide.
    let prepared = Prepared::new(&parts().build().expect("sound"));
    let (rays, field) = (300, Field::arcmin(20.0, 0.0));
    for set in Instructions::ALL.into_iter().filter(|set| set.is_there()) {
        let sizes = Sizes::new(&prepared, &[60.0, 110.0]).expect("sound");
        let net = Net::new(set, prepared.clear_radius_mm(), rays);
        let counting = Counting::new(set, &prepared, &sizes, field, &net);
        let mut block = Block::new();
        counting.trace(net.blocks().next().expect("a block").1, BLOCK, &mut block);
        cross(set, &counting.light, sizes.rule.height_mm, counting.offsets_mm(), &mut block);
        sizes_of_rays(set, &sizes.rule, &block.up, &mut block.passes_from);
        sizes_of_rays(set, &sizes.rule, &block.down, &mut block.shadowed_from);
        let own = block.passes_from.iter().chain(&block.shadowed_from).copied();
        let own: Vec<f64> = own.filter(|size| (40.0..120.0).contains(size)).step_by(5).collect();
        assert!(own.len() > 10);
        let found = prepared.light_by_size_with(set, &own, &[field], rays).expect("sound");
        assert_eq!(found.lit_rays, ray_by_ray(&prepared, &own, &[field], rays), "{set:?}");
    }
}
