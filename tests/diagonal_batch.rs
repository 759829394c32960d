//! Batches of diagonals: rows against single trains, critical sizes against one size at a time, and what they say.

use std::f64::consts::PI;
use std::process::Command;

use catoptric::{
    ARCSEC_PER_RADIAN, Aim, AimWeights, Criterion, Diagonal, DiagonalBatchInput, DiagonalComparison,
    Drawtube, Error, Field, FocalLengthMm, FocalPlane, NM_PER_MM, OffsetRule, Opening, Part, Prepared,
    Primary, Spider, Train, TrainBuilder, Zone,
};

/// An invented 318 mm f/4.9 with an opening and a drawtube.
fn parts() -> TrainBuilder {
    Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
        .diagonal(Diagonal::new(66.0))
        .focal_plane(FocalPlane::new(235.0))
        .front_opening(Opening::new(330.0, 1650.0))
        .drawtube(Drawtube::new(47.0, 50.0, 18.0))
}

/// The two ponds: a 406 mm f/5 with an eyepiece at 303 mm and a camera at 340 mm.
fn ponds() -> TrainBuilder {
    Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
        .diagonal(Diagonal::new(70.0))
        .focal_plane(FocalPlane::new(303.0))
        .front_opening(Opening::new(460.0, 2150.0))
        .drawtube(Drawtube::new(47.0, 70.0, 18.0))
}

const ON_OFFER: [f64; 6] = [63.5, 66.0, 70.0, 79.4, 88.9, 101.6];

fn input(parts: TrainBuilder, sizes: &[f64], radii: &[f64]) -> DiagonalBatchInput {
    let train = parts.build().expect("a sound train");
    DiagonalBatchInput::new(vec![train], sizes.to_vec(), radii.to_vec())
}

#[test]
fn critical_sizes_count_as_one_size_after_another() {
    let sizes = [70.0, 48.3, 63.0, 55.5, 63.0, 90.0, 118.0];
    let fields =
        [Field::AXIS, Field::arcmin(14.0, -6.0), Field::arcmin(-30.0, 0.0), Field::arcmin(3.0, 41.0)];
    let offsets = [None, Some(0.0), Some(3.1), Some(-2.0)];
    let mut figured = parts();
    figured.primary = figured.primary.layer(Zone::new(95.0, 13.0, 28.0));
    let bevelled = parts().diagonal(Diagonal::new(66.0).bevel_mm(0.7));
    let vaned = parts().spider(Spider::new(4, 1.0));
    for parts in [parts(), figured, bevelled, vaned] {
        for offset_mm in offsets {
            let mut parts = parts.clone();
            parts.diagonal = parts.diagonal.map(|d| Diagonal { offset_mm, ..d });
            let prepared = Prepared::new(&parts.clone().build().expect("sound"));
            let found = prepared.light_by_size(&sizes, &fields, 1500).expect("counts");
            for (i, field) in fields.iter().enumerate() {
                let rays = prepared.rays_of_equal_light(*field, 1500);
                for (k, minor_axis_mm) in sizes.iter().enumerate() {
                    let mut parts = parts.clone();
                    parts.diagonal = parts.diagonal.map(|d| Diagonal { minor_axis_mm: *minor_axis_mm, ..d });
                    let single = Prepared::new(&parts.build().expect("sound"));
                    let lit = rays.iter().filter(|[x, y]| single.passes(*field, *x, *y)).count();
                    assert_eq!(
                        found.lit_rays[i][k] as usize, lit,
                        "{offset_mm:?}, point {i}, {minor_axis_mm} mm"
                    );
                }
            }
        }
    }
}

#[test]
fn counted_rays_agree_with_exact_fractions() {
    let prepared = Prepared::new(&parts().build().expect("sound"));
    let fields: Vec<Field> =
        (0..9).map(|i| Field::arcmin(9.0 * f64::from(i) - 36.0, 5.0 * f64::from(i))).collect();
    for (rays, allowed) in [(10_000, 5e-4), (100_000, 1e-4)] {
        let found = prepared.light_by_size(&[66.0], &fields, rays).expect("counts");
        for (i, field) in fields.iter().enumerate() {
            let off = (found.lit_fraction(i, 0) - prepared.light(*field).lit_fraction).abs();
            assert!(off < allowed, "{rays} rays at point {i}: {off:e}");
        }
    }
}

#[test]
fn rows_are_those_of_single_trains() {
    let radii = [0.0, 6.0, 14.0, 21.0];
    let batch = input(parts(), &[70.0, 58.0, 49.0], &radii);
    let found = batch.clone().check().expect("sound").run().expect("rows");
    for row in &found.rows {
        let train = parts().diagonal(Diagonal::new(row.minor_axis_mm)).build().expect("sound");
        let single = Prepared::new(&train);
        let light = single.illumination_at_radii(&radii).expect("light");
        assert!((row.on_axis - light.on_axis).abs() < 1e-9);
        for i in 0..radii.len() {
            assert!((row.relative_worst[i] - light.worst[i]).abs() < 2e-9, "{} mm, {i}", row.minor_axis_mm);
            assert!((row.relative_mean[i] - light.mean[i]).abs() < 2e-9, "{} mm, {i}", row.minor_axis_mm);
        }
        assert!(row.error_estimate < 1e-9);
        assert_eq!(Some(row.offset_mm), single.diagonal_offset_mm());
        // Conservation of area: without obstruction the axis sees the circle that the parts leave.
        let shadow = (row.minor_axis_mm / 318.0).powi(2);
        let left = (row.acts_as_aperture_mm / 318.0).powi(2);
        assert!((left - shadow - row.on_axis).abs() < 2e-9);
    }
    // A mirror with vanes goes the general way; its rows say the same as a single train.
    let vaned = parts().spider(Spider::new(4, 1.0));
    let mut slow = input(vaned.clone(), &[58.0], &[14.0]);
    slow.azimuths = 6;
    let rows = slow.check().expect("sound").run().expect("rows").rows;
    let single = Prepared::new(&vaned.diagonal(Diagonal::new(58.0)).build().expect("sound"));
    let (along, across): (Vec<f64>, Vec<f64>) =
        (0..6).map(|i| (PI / 3.0 * f64::from(i)).sin_cos()).map(|(s, c)| (14.0 * c, 14.0 * s)).unzip();
    let light = single.illumination(&along, &across).expect("light");
    let worst = light.relative.iter().copied().fold(f64::INFINITY, f64::min);
    assert!((rows[0].relative_worst[0] - worst).abs() < 1e-9);
    // Vanes obstruct; they make no smaller mirror of it, and end no lit circle.
    assert!(!rows[0].clipped_axis && rows[0].acts_as_aperture_mm > 317.999);
    let plain = input(parts(), &[58.0], &[14.0]).check().expect("sound").run().expect("rows").rows;
    assert_eq!(rows[0].fully_lit_diameter_mm.to_bits(), plain[0].fully_lit_diameter_mm.to_bits());
    // A figure of no height: the same circle by the general way; the fast one is good to 1e-3 mm.
    let mut figured = parts();
    figured.primary = figured.primary.layer(Zone::new(95.0, 13.0, 1e-6));
    let mut slow = input(figured, &[58.0], &[14.0]);
    slow.azimuths = 2;
    let rows = slow.check().expect("sound").run().expect("rows").rows;
    assert!(
        (rows[0].fully_lit_diameter_mm - plain[0].fully_lit_diameter_mm).abs() < 2e-3,
        "{rows:?} {plain:?}"
    );
    assert_eq!(rows[0].fully_lit_limited_by, plain[0].fully_lit_limited_by);
}

#[test]
fn an_edge_far_out_with_vanes_counts_no_light_twice() {
    // Out there the drawtube cuts into what the shadow hides: without the shadow that light still stays away.
    let vaned = parts().spider(Spider::new(4, 1.0));
    let mut slow = input(vaned.clone(), &[50.0], &[38.0]);
    slow.azimuths = 2;
    let row = slow.check().expect("sound").run().expect("rows").rows[0].clone();
    let train = Prepared::new(&vaned.diagonal(Diagonal::new(50.0)).build().expect("sound"));
    let edges = [38.0_f64, -38.0].map(|along| {
        let star = (-along / train.train().primary().focal_length_mm).atan().to_degrees() * 60.0;
        train.light(catoptric::Field::arcmin(star, 0.0))
    });
    let darkest = if edges[0].lit_fraction <= edges[1].lit_fraction { &edges[0] } else { &edges[1] };
    let shadow = darkest.stopped.iter().find(|s| s.part == Part::DiagonalShadow).expect("a shadow");
    assert!(shadow.returns_alone < 0.9 * shadow.fraction, "{darkest:?}");
    assert!((row.edge_without_shadow - darkest.lit_without_shadow()).abs() < 1e-9, "{row:?} {darkest:?}");
}

#[test]
fn nothing_is_taken_inside_of_the_lit_circle_and_something_outside() {
    let wide = parts().front_opening(Opening::new(400.0, 1650.0));
    for (parts, sizes) in [(wide, [56.0, 66.0, 80.0]), (ponds(), [70.0, 79.4, 101.6])] {
        let found = input(parts.clone(), &sizes, &[0.0]).check().expect("sound").run().expect("rows");
        for row in &found.rows {
            let train = parts.clone().diagonal(Diagonal::new(row.minor_axis_mm)).build().expect("sound");
            let single = Prepared::new(&train);
            let taken = |radius: f64| {
                let (along, across): (Vec<f64>, Vec<f64>) = (0..48)
                    .map(|i| (PI / 24.0 * f64::from(i)).sin_cos())
                    .map(|(s, c)| (radius * c, radius * s))
                    .unzip();
                let light = single.illumination(&along, &across).expect("light");
                let parts = light.stopped.iter().filter(|(part, _)| *part != Part::DiagonalShadow);
                parts.flat_map(|(_, shares)| shares.iter().copied()).fold(0.0, f64::max)
            };
            let radius = row.fully_lit_diameter_mm / 2.0;
            assert!(radius > 1.0, "{} mm: {radius}", row.minor_axis_mm);
            assert!(taken(radius - 0.02) <= 0.0, "{} mm: {:e}", row.minor_axis_mm, taken(radius - 0.02));
            assert!(taken(radius + 0.1) > 0.0, "{} mm", row.minor_axis_mm);
        }
    }
}

#[test]
fn contrast_is_that_of_circles_that_overlap() {
    // O'Neill 1956, J. Opt. Soc. Am. 46, 285: eps 0.20 at 0.3 of the cut-off has 0.56649757; a clear circle
    // (2/pi)(acos n - n sqrt(1 - n^2)).
    let parts = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
        .diagonal(Diagonal::new(63.6))
        .focal_plane(FocalPlane::new(235.0));
    let mut input = input(parts, &[63.6], &[0.0]);
    input.detail_arcsec = vec![550.0 / NM_PER_MM * ARCSEC_PER_RADIAN / (318.0 * 0.3)];
    let row = &input.check().expect("sound").run().expect("rows").rows[0];
    let n: f64 = 0.3;
    let clear = 2.0 / PI * (n.acos() - n * (1.0 - n * n).sqrt());
    assert!((row.contrast[0] - 0.566_497_57 / clear).abs() < 1e-7, "{}", row.contrast[0]);
}

#[test]
fn parts_and_pieces_are_the_whole_bit_for_bit() {
    let mut input = input(parts(), &[70.0, 58.0, 49.0, 62.0, 66.0], &[0.0, 12.0]);
    input.axis_to_focus_mm = vec![235.0, 250.0, 222.0];
    input.drawtubes = vec![Drawtube::new(47.0, 50.0, 18.0), Drawtube::new(60.0, 70.0, 10.0)];
    let batch = input.check().expect("sound");
    assert_eq!(batch.len(), 30);
    let whole = batch.run().expect("rows").rows;
    for of in [1, 2, 7, 30, 41] {
        let parts = (0..of).map(|k| batch.part(k, of).expect("a part").run().expect("rows").rows);
        assert_eq!(parts.flatten().collect::<Vec<_>>(), whole, "{of} parts");
    }
    let three: Vec<_> = (0..3).map(|k| batch.part(k, 3).expect("a part").run().expect("rows")).collect();
    assert_eq!(DiagonalComparison::join(&three).expect("joined"), batch.run().expect("rows"));
    refused(DiagonalComparison::join(&[three[0].clone(), three[2].clone()]), "parts[1]", "out of order");
    // A part of a part.
    let half = batch.part(1, 2).expect("a part");
    let quarters = [half.part(0, 2).expect("a part"), half.part(1, 2).expect("a part")];
    let joined: Vec<_> = quarters.iter().flat_map(|q| q.run().expect("rows").rows).collect();
    assert_eq!(joined, whole[15..]);
    for rows in [1, 4, 30, 1000] {
        let pieces: Vec<_> = batch.chunks(rows).expect("pieces").flat_map(|r| r.expect("rows")).collect();
        assert_eq!(pieces, whole, "pieces of {rows}");
    }
    let text = serde_json::to_string(&half).expect("text");
    assert_eq!(serde_json::from_str::<catoptric::DiagonalBatch>(&text).expect("a batch"), half);
}

/// Set in the processes that this file starts: they print and compare nothing.
const ONLY_PRINT: &str = "CATOPTRIC_TEST_ONLY_PRINT";

#[test]
fn rows_have_the_same_bits_at_any_number_of_threads() {
    let sizes: Vec<f64> = (0..40).map(|i| 48.0 + f64::from(i)).collect();
    let mut batch = input(parts(), &sizes, &[0.0, 12.0]);
    batch.azimuths = 6;
    let rows = batch.check().expect("sound").run().expect("rows").rows;
    let text = serde_json::to_string(&rows).expect("text");
    let fields = [Field::AXIS, Field::arcmin(9.0, 4.0), Field::arcmin(-20.0, 1.0)];
    let counts = Prepared::new(&parts().build().expect("sound")).light_by_size(&sizes, &fields, 9000);
    let text = format!("bits: {text} {:?}", counts.expect("counts").lit_rays);
    if std::env::var(ONLY_PRINT).is_ok() {
        println!("{text}");
        return;
    }
    for threads in ["1", "2", "3", "8"] {
        let output = Command::new(std::env::current_exe().expect("this test"))
            .args(["rows_have_the_same_bits", "--nocapture"])
            .env(ONLY_PRINT, "1")
            .env("CATOPTRIC_NUM_THREADS", threads)
            .output()
            .expect("a process");
        let printed = String::from_utf8_lossy(&output.stdout);
        assert!(printed.contains(&text), "{threads} threads");
    }
}

#[test]
fn the_ponds_tell_their_story() {
    let mut visual = input(ponds(), &ON_OFFER, &[0.0, 20.0]);
    visual.price = vec![60.0, 65.0, 70.0, 90.0, 120.0, 160.0];
    let visual = visual.check().expect("sound").run().expect("rows");
    let camera = ponds().focal_plane(FocalPlane::new(340.0)).drawtube(Drawtube::new(47.0, 70.0, 55.0));
    let camera = input(camera, &ON_OFFER, &[0.0, 11.0]).check().expect("sound").run().expect("rows");
    for row in &visual.rows {
        println!(
            "{} mm: lit {:.2} by {:?}, edge {:.4} by {:?}, without shadow {:.4}, axis {:.4}, acts as {:.1}",
            row.minor_axis_mm,
            row.fully_lit_diameter_mm,
            row.fully_lit_limited_by,
            row.relative_worst[1],
            row.edge_limited_by,
            row.edge_without_shadow,
            row.on_axis,
            row.acts_as_aperture_mm,
        );
    }
    println!("{:?} {:?}", visual.dominated, visual.ceilings);
    // The camera stands 340 mm out: 63.5 mm no longer hold the cone of the axis.
    let small = &camera.rows[0];
    assert!(small.clipped_axis && (375.0..380.0).contains(&small.acts_as_aperture_mm), "{small:?}");
    assert!(camera.rows[2..].iter().all(|row| !row.clipped_axis));
    assert!(!visual.rows[0].clipped_axis);
    let ceiling = visual.ceilings[0];
    assert_eq!(ceiling.minor_axis_mm.to_bits(), 88.9_f64.to_bits());
    assert!(matches!(ceiling.stopped_by, Part::DrawtubeInnerEnd | Part::DrawtubeOuterEnd));
    assert!(visual.findings().iter().any(|words| words.contains("Beyond 88.9 mm nothing improves")));
    assert!(camera.findings().iter().any(|words| words.contains("works as one of 37")));
    for aim in Aim::ALL {
        let advice = visual.recommend(aim, None).expect("advice");
        println!("{aim}: {} {:?}", advice.words, advice.scores);
    }
    let planets = visual.recommend(Aim::Planets, None).expect("advice");
    let sensor = visual.recommend(Aim::Sensor, None).expect("advice");
    assert!(planets.alike_mm[0] < sensor.alike_mm[0], "planets ask for the smaller glass");
    // Only the weights decide.
    let nothing = AimWeights { contrast: 0.0, axis_light: 0.0, edge_light: 0.0, fully_lit: 0.0, price: 1.0 };
    assert_eq!(visual.recommend(Aim::Sensor, Some(nothing)).expect("advice").minor_axis_mm, Some(63.5));
}

#[test]
fn dominated_is_what_another_beats() {
    let mut priced = input(ponds(), &[88.9, 101.6, 79.4], &[0.0, 10.0]);
    let plain = priced.clone().check().expect("sound").run().expect("rows");
    // Behind the same drawtube the largest only shadows more.
    assert_eq!(plain.dominated, [false, true, false]);
    priced.price = vec![120.0, 20.0, 90.0];
    let priced = priced.check().expect("sound").run().expect("rows");
    assert_eq!(priced.dominated, [false, false, false], "it is the cheapest");
    let by_shadow = plain.by(&[Criterion::Obstruction]);
    assert_eq!(by_shadow.dominated, [true, true, false]);
}

#[test]
fn one_candidate_works_and_a_tie_is_said() {
    let one = input(ponds(), &[79.4], &[0.0]).check().expect("sound").run().expect("rows");
    let advice = one.recommend(Aim::Planets, None).expect("advice");
    assert_eq!(advice.minor_axis_mm, Some(79.4));
    assert!(advice.words.contains("one size alone"));
    let two = input(ponds(), &[79.4, 79.5], &[0.0]).check().expect("sound").run().expect("rows");
    let advice = two.recommend(Aim::Planets, None).expect("advice");
    assert!(advice.minor_axis_mm.is_none() && advice.words.starts_with("Cannot tell between"));
}

#[track_caller]
fn refused<T: std::fmt::Debug>(result: Result<T, Error>, field: &str, cause: &str) {
    let error = result.expect_err(field);
    let told = |p: &catoptric::Problem| p.field == field && format!("{p}").contains(cause);
    assert!(error.problems().iter().any(told), "{field}: {error}");
}

#[test]
fn bad_batches_are_refused() {
    let good = || input(ponds(), &ON_OFFER, &[0.0, 20.0]);
    let with = |change: fn(&mut DiagonalBatchInput)| {
        let mut input = good();
        change(&mut input);
        input.check()
    };
    refused(with(|i| i.minor_axis_mm.clear()), "minor_axis_mm", "one size or more");
    refused(with(|i| i.minor_axis_mm[2] = 66.0), "minor_axis_mm[2]", "the same as minor_axis_mm[1]");
    refused(with(|i| i.minor_axis_mm[2] = f64::NAN), "minor_axis_mm[2]", "not a finite number");
    refused(with(|i| i.minor_axis_mm[0] = 406.0), "minor_axis_mm[0]", "the primary's own diameter");
    refused(with(|i| i.field_radius_mm[0] = -1.0), "field_radius_mm[0]", "a sign");
    refused(with(|i| i.field_radius_mm[0] = 900.0), "field_radius_mm[0]", "half of the smallest");
    refused(
        with(|i| i.axis_to_focus_mm = vec![303.0, 190.0]),
        "axis_to_focus_mm[1]",
        "half the clear aperture",
    );
    refused(with(|i| i.price = vec![1.0]), "price", "one price a size");
    refused(with(|i| i.price = vec![1.0, 2.0, 3.0, -4.0, 5.0, 6.0]), "price[3]", "0 or more");
    refused(with(|i| i.detail_arcsec = vec![0.1]), "detail_arcsec[0]", "every mirror resolves");
    refused(with(|i| i.azimuths = 1), "azimuths", "from 2");
    refused(with(|i| i.offset = OffsetRule::StatedMm(40.0)), "minor_axis_mm[0]", "twice a stated offset");
    refused(with(|i| i.trains.clear()), "trains", "one train or more");
    let bare = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build().expect("sound");
    refused(
        DiagonalBatchInput::new(vec![bare], vec![60.0], vec![0.0]).check(),
        "axis_to_focus_mm",
        "no focal plane of its own",
    );
    refused(good().check().expect("sound").part(6, 6), "k", "counted from 1");
    refused(good().check().expect("sound").chunks(0), "rows", "from 1");
    // Ten million rows: refused at once, with their memory; the first piece of them comes.
    let mut many = good();
    many.minor_axis_mm = (0..10_000).map(|i| 60.0 + 0.003 * f64::from(i)).collect();
    many.axis_to_focus_mm = (0..1000).map(|i| 300.0 + 0.05 * f64::from(i)).collect();
    let many = many.check().expect("sound");
    assert_eq!(many.len(), 10_000_000);
    refused(many.run(), "rows", "GB");
    let first = many.chunks(10).expect("pieces").next().expect("a piece").expect("rows");
    assert_eq!(first.len(), 10);
    let planets = good().check().expect("sound").run().expect("rows");
    let weights = AimWeights { price: -1.0, ..Aim::Planets.weights() };
    refused(planets.recommend(Aim::Planets, Some(weights)), "weights.price", "0 or more");
}

#[test]
fn a_field_point_without_light_is_told_and_no_number_is_lost() {
    // 60 mm out the drawtube of 47 mm lets nothing pass.
    let found = input(ponds(), &[79.4], &[0.0, 60.0]).check().expect("sound").run().expect("rows");
    let row = &found.rows[0];
    assert!(row.relative_worst[1].abs() < f64::MIN_POSITIVE);
    assert_eq!(row.lost_at_edge_magnitudes, None);
    assert!(row.edge_limited_by.is_some());
}
