//! The light of single stars: overlaps in closed form, hidden centres, lamps, and what a removal returns.

mod common;

use std::f64::consts::PI;

use catoptric::numeric::gauss::on_interval;
use catoptric::{
    Diagonal, Drawtube, Field, FilterRing, FocalLengthMm, FocalPlane, FocuserBoard, Holder, Light,
    MirrorClips, Opening, Part, Prepared, Primary, RADIANS_PER_ARCMIN, SensorMask, Spider, Star, Train,
    TrainBuilder, TurnedEdge, Zone,
};
use common::{Row, assert_close, everything, prepare, rows};

fn share(light: &Light, part: Part) -> f64 {
    light.stopped.iter().filter(|s| s.part == part).map(|s| s.fraction).sum()
}

fn returned(light: &Light, part: Part) -> f64 {
    light.stopped.iter().filter(|s| s.part == part).map(|s| s.returns_alone).sum()
}

/// The star whose image falls on a point of the focal plane.
fn star_of_image(focal_mm: f64, along_mm: f64, across_mm: f64) -> Field {
    let angle = |image_mm: f64| (-image_mm / focal_mm).atan() / RADIANS_PER_ARCMIN;
    Field::arcmin(angle(along_mm), angle(across_mm))
}

/// The area that two circles share, closed form (any table of plane geometry).
fn lens(a: f64, b: f64, distance: f64) -> f64 {
    let d = distance;
    if d >= a + b {
        return 0.0;
    }
    if d <= (a - b).abs() {
        return PI * a.min(b).powi(2);
    }
    let (ca, cb) = ((d * d + a * a - b * b) / (2.0 * d * a), (d * d + b * b - a * a) / (2.0 * d * b));
    let kite = 0.5 * ((-d + a + b) * (d + a - b) * (d - a + b) * (d + a + b)).sqrt();
    a * a * ca.acos() + b * b * cb.acos() - kite
}

/// A circle: centre x, y and radius.
type Circle = [f64; 3];

/// The area inside all `circles` and outside of all `bodies`, row by row with panels at every corner: an integral of
/// its own.
fn area(circles: &[Circle], bodies: &[Circle]) -> f64 {
    let all: Vec<Circle> = circles.iter().chain(bodies).copied().collect();
    let mut marks: Vec<f64> = all.iter().flat_map(|[_, y, r]| [y - r, y + r]).collect();
    for (i, [ax, ay, ar]) in all.iter().enumerate() {
        for [bx, by, br] in &all[..i] {
            let (dx, dy) = (bx - ax, by - ay);
            let d = dx.hypot(dy);
            let along = (d * d + ar * ar - br * br) / (2.0 * d);
            let square = ar * ar - along * along;
            if square > 0.0 {
                let base = ay + along * dy / d;
                marks.extend([base + square.sqrt() * dx / d, base - square.sqrt() * dx / d]);
            }
        }
    }
    marks.sort_by(f64::total_cmp);
    let chord = |[x, y, r]: &Circle, at: f64| {
        let half = (r * r - (at - y).powi(2)).max(0.0).sqrt();
        (x - half, x + half)
    };
    let length = |at: f64| {
        let (low, high) = circles
            .iter()
            .map(|c| chord(c, at))
            .fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high): (f64, f64), (a, b)| {
                (low.max(a), high.min(b))
            });
        let mut hidden: Vec<(f64, f64)> = bodies.iter().map(|c| chord(c, at)).collect();
        hidden.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (mut free, mut from) = (0.0, low);
        for (a, b) in hidden {
            free += (a.min(high) - from).max(0.0);
            from = from.max(b);
        }
        free + (high - from).max(0.0)
    };
    let panels = marks.windows(2).filter(|pair| pair[1] - pair[0] > 1e-12);
    panels
        .map(|pair| {
            let (middle, half) = (f64::midpoint(pair[0], pair[1]), 0.5 * (pair[1] - pair[0]));
            // The sine takes the square roots out of both ends.
            on_interval(48, -PI / 2.0, PI / 2.0)
                .map(|(t, w)| w * half * t.cos() * length(middle + half * t.sin()))
                .sum::<f64>()
        })
        .sum()
}

const APERTURE_MM: f64 = 250.0;
const FOCAL_MM: f64 = 1250.0;

fn mirror() -> Primary {
    Primary::new(APERTURE_MM, FocalLengthMm(FOCAL_MM))
}

/// How far a level circle at a height lies from the mirror's rim as the star sees it: all projected along the light
/// onto one
/// level plane stay circles, whatever the focal ratio.
fn moved(height_mm: f64, field: Field) -> [f64; 2] {
    let sagitta = (APERTURE_MM / 2.0).powi(2) / (4.0 * FOCAL_MM);
    field.tangents().map(|t| -(height_mm - sagitta) * t)
}

#[test]
fn an_opening_leaves_the_lens_of_two_circles() {
    // Closed form; from 30' on the opening hides the mirror's centre, at the end all of it.
    for (diameter, height, arcmin) in [
        (260.0, 1400.0, 12.0),
        (200.0, 1400.0, 60.0),
        (120.0, 9000.0, 30.0),
        (120.0, 9000.0, 60.0),
        (120.0, 9000.0, 69.0),
        (20.0, 9000.0, 48.0),
        (120.0, 9000.0, 90.0),
    ] {
        let field = Field::arcmin(arcmin, -0.4 * arcmin);
        let telescope = prepare(Train::builder(mirror()).front_opening(Opening::new(diameter, height)));
        let [x, y] = moved(height, field);
        let truth = lens(APERTURE_MM / 2.0, diameter / 2.0, x.hypot(y)) / (PI * APERTURE_MM.powi(2) / 4.0);
        let light = telescope.light(field);
        let what = format!("lens of two circles: {diameter} mm at {height} mm, {arcmin}'");
        assert_close(light.lit_fraction, truth, 2e-11, &what);
        assert_close(returned(&light, Part::FrontOpening), 1.0 - truth, 2e-11, &what);
        assert_eq!(light.limited_by, (truth < 1.0).then_some(Part::FrontOpening));
    }
}

#[test]
fn an_opening_and_a_holder_leave_what_three_circles_do() {
    let whole = PI * APERTURE_MM.powi(2) / 4.0;
    let (opening, holder) = (Opening::new(190.0, 4000.0), Holder::new(90.0).above_vertex_mm(2500.0));
    let parts = || Train::builder(mirror()).front_opening(opening).holder(holder);
    let telescope = prepare(parts());
    // The holder leaves the middle of the mirror, its shadow crosses the rim, the opening hides the centre and the
    // shadow.
    for arcmin in [0.0, 20.0, 45.0, 70.0, 95.0, 120.0, 160.0, 180.0] {
        let field = Field::arcmin(arcmin, 0.3 * arcmin);
        let circle = |d: f64, h: f64| {
            let [x, y] = moved(h, field);
            [x, y, d / 2.0]
        };
        let rim = [0.0, 0.0, APERTURE_MM / 2.0];
        let (front, body) = (circle(190.0, 4000.0), circle(90.0, 2500.0));
        let (lit, passed) = (area(&[rim, front], &[body]) / whole, area(&[rim, front], &[]) / whole);
        let light = telescope.light(field);
        let label = |what: &str| format!("three circles: {what} at {arcmin}'");
        assert_close(light.lit_fraction, lit, 3e-11, &label("lit"));
        assert_close(light.lit_without_shadow(), passed, 3e-11, &label("without the shadow"));
        assert_close(share(&light, Part::FrontOpening), 1.0 - passed, 3e-11, &label("opening"));
        assert_close(share(&light, Part::Holder), passed - lit, 3e-11, &label("holder"));
        let without = area(&[rim], &[body]) / whole - lit;
        assert_close(returned(&light, Part::FrontOpening), without, 5e-11, &label("without the opening"));
        assert_close(returned(&light, Part::Holder), passed - lit, 5e-11, &label("without the holder"));
    }
}

/// A drawtube's inner end alone, and the overlap-of-circles formula for it: the circle that it has on the mirror if
/// every ray
/// of the star met in one point of the focal plane.
fn behind_the_focus(focal_mm: f64, before_focus_mm: f64, ring_mm: f64, image_mm: f64) -> (f64, f64) {
    let parts = Train::builder(Primary::new(200.0, FocalLengthMm(focal_mm)))
        .diagonal(Diagonal::new(199.0).offset_mm(0.0))
        .focal_plane(FocalPlane::new(before_focus_mm + 110.0))
        .filter_ring(FilterRing::new(ring_mm, before_focus_mm));
    let light = prepare(parts).light(star_of_image(focal_mm, image_mm, 0.0));
    let scale = focal_mm / before_focus_mm;
    let distance = image_mm * (scale - 1.0);
    let formula = lens(100.0, 0.5 * ring_mm * scale, distance) / (PI * 1e4);
    (light.lit_without_shadow(), formula)
}

#[test]
fn circles_overlap_at_f200_and_only_nearly_at_f5() {
    for image in [12.0, 30.0, 38.0] {
        let (exact, formula) = behind_the_focus(40_000.0, 9_000.0, 40.0, image);
        // What is left of coma and the rim's sagitta at f/200.
        assert_close(exact, formula, 2e-5, "circles at f/200");
        assert!(exact > 0.01 && exact < 0.9, "from 26 mm on it hides the centre: {exact}");
    }
    for image in [14.0, 18.0] {
        let (exact, formula) = behind_the_focus(1000.0, 150.0, 40.0, image);
        let off = (exact - formula).abs();
        assert!((1e-4..1e-2).contains(&off), "the circles' known error at f/5: {off}");
    }
}

fn telescope(row: &Row) -> TrainBuilder {
    let primary = Primary::new(row.number("clear_aperture_mm"), FocalLengthMm(row.number("focal_length_mm")));
    let flat = Diagonal::new(row.number("minor_axis_mm")).offset_mm(row.number("offset_mm"));
    let mut parts =
        Train::builder(primary).diagonal(flat).focal_plane(FocalPlane::new(row.number("axis_to_focus_mm")));
    if let Some(diameter) = row.optional("front_opening_diameter_mm") {
        parts = parts.front_opening(Opening::new(diameter, row.number("front_opening_above_vertex_mm")));
    }
    if let Some(bore) = row.optional("drawtube_bore_mm") {
        let (length, outer) =
            (row.number("drawtube_length_mm"), row.number("drawtube_outer_end_to_focus_mm"));
        parts = parts.drawtube(Drawtube::new(bore, length, outer));
    }
    parts
}

#[test]
fn hidden_centres_agree_with_rows_and_columns() {
    // Truth: own table, tests/data/hidden_light.json (row integrals in scipy).
    for row in &rows("hidden_light", "kind", "light") {
        let field = Field::arcmin(row.number("field_a_arcmin"), row.number("field_b_arcmin"));
        let light = prepare(telescope(row)).light(field);
        let tolerance = 1e-9 + row.number("rows_minus_columns");
        let label = |what: &str| {
            format!(
                "{what}: {} at ({}, {})",
                row.text("name"),
                row.number("along_mm"),
                row.number("across_mm")
            )
        };
        assert_close(light.lit_fraction, row.number("lit_fraction"), tolerance, &label("lit, hidden centre"));
        for (key, parts) in [
            ("stopped_by_front_opening", &[Part::FrontOpening][..]),
            ("stopped_by_diagonal_shadow", &[Part::DiagonalShadow]),
            ("stopped_by_diagonal", &[Part::Diagonal]),
            ("stopped_by_drawtube", &[Part::DrawtubeInnerEnd, Part::DrawtubeOuterEnd]),
        ] {
            let found: f64 = parts.iter().map(|p| share(&light, *p)).sum();
            assert_close(found, row.number(key), tolerance, &label(key));
        }
        let alone = returned(&light, Part::FrontOpening);
        assert_close(alone, row.number("returned_by_front_opening"), 2.0 * tolerance, &label("returned"));
        assert!(light.error_estimate < 1e-9, "{}", light.error_estimate);
    }
}

/// Trains crowded with parts of every kind.
fn crowded() -> Vec<TrainBuilder> {
    let base = everything()
        .front_opening(Opening::new(330.0, 1700.0))
        .diagonal(Diagonal::new(64.0))
        .holder(Holder::new(66.0).above_vertex_mm(1360.0));
    let bare = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).mask_diameter_mm(300.0))
        .diagonal(Diagonal::new(58.0).offset_mm(0.0))
        .focal_plane(FocalPlane::new(260.0));
    vec![
        base.clone().spider(Spider::new(4, 1.5)).mirror_clips(MirrorClips::new(3, 24.0, 7.0)),
        base.clone()
            .spider(Spider::new(3, 2.0).bend_radius_mm(230.0))
            .focuser_board(FocuserBoard::new(60.0, 190.0))
            .filter_ring(FilterRing::new(36.0, 12.0)),
        bare.sensor_mask(SensorMask::new(26.0, 20.0, 15.0).rotation_deg(25.0))
            .drawtube(Drawtube::new(44.0, 70.0, 20.0)),
    ]
}

fn fields() -> [Field; 8] {
    [
        (0.0, 0.0),
        (4.0, 2.0),
        (-9.0, 5.0),
        (13.0, -8.0),
        (-19.0, 1.0),
        (24.0, 11.0),
        (3.0, -31.0),
        (-45.0, 9.0),
    ]
    .map(|(a, b)| star_of_image(1558.0, a, b))
}

#[test]
fn nothing_is_lost_and_the_rays_agree() {
    for (k, parts) in crowded().into_iter().enumerate() {
        let telescope = prepare(parts);
        let far = fields().map(Star::from).into_iter();
        let near = fields().map(|f| Star::artificial(f, 25_000.0)).into_iter();
        for star in far.chain(near) {
            let (light, rays) = (telescope.light(star), telescope.light_by_rays(star));
            let whole = light.lit_fraction + light.stopped.iter().map(|s| s.fraction).sum::<f64>();
            assert_close(whole, 1.0, 1e-12, "lit and stopped together");
            let label = |what: &str| format!("outline and rays of train {k}: {what} at {:?}", star.field);
            assert_close(light.lit_fraction, rays.lit_fraction, 4e-4, &label("lit"));
            assert_close(light.lit_without_shadow(), rays.lit_without_shadow(), 4e-4, &label("no shadow"));
            for (exact, sampled) in light.stopped.iter().zip(&rays.stopped) {
                assert_eq!(exact.part, sampled.part);
                assert_close(exact.fraction, sampled.fraction, 4e-4, &label(exact.part.key()));
                assert_close(exact.returns_alone, sampled.returns_alone, 4e-4, &label("returned"));
                assert!(exact.fraction >= 0.0 && exact.returns_alone >= 0.0);
            }
            assert!(light.error_estimate <= 1e-9, "{}", light.error_estimate);
        }
    }
}

#[test]
fn a_removal_returns_what_the_train_without_the_part_has_more() {
    type Without = fn(&mut TrainBuilder);
    let removals: [(Part, Without); 9] = [
        (Part::FrontOpening, |t| t.front_opening = None),
        (Part::Holder, |t| t.holder = None),
        (Part::Spider, |t| t.spider = None),
        (Part::Mask, |t| t.primary.mask_diameter_mm = None),
        (Part::MirrorClips, |t| t.mirror_clips = None),
        (Part::FocuserBoard, |t| t.focuser_board = None),
        (Part::FilterRing, |t| t.filter_ring = None),
        (Part::SensorMask, |t| t.sensor_mask = None),
        (Part::DrawtubeInnerEnd, |t| t.drawtube = None),
    ];
    for parts in crowded() {
        for field in fields() {
            let light = prepare(parts.clone()).light(field);
            for (part, without) in removals {
                if !light.stopped.iter().any(|s| s.part == part) {
                    continue;
                }
                let mut fewer = parts.clone();
                without(&mut fewer);
                let gained = prepare(fewer).light(field).lit_fraction - light.lit_fraction;
                if part == Part::DrawtubeInnerEnd {
                    // Its two ends go together: each alone returns no more.
                    assert!(returned(&light, part) <= gained + 1e-9);
                } else {
                    let what = format!("returned by {} at {field:?}", part.key());
                    assert_close(returned(&light, part), gained, 1e-9, &what);
                }
            }
        }
    }
}

#[test]
fn the_ways_of_counting_meet_without_a_step() {
    // From a lit centre to a hidden one, and on into the dark: no jump where the method changes. Second
    // differences over 0.00002' of a smooth function are far below its errors.
    let telescope = prepare(everything());
    let mut largest = 0.0_f64;
    for k in 0..110 {
        let at = |step: f64| {
            let turn = f64::from(k) + 2e-5 * step;
            telescope.light(Field::arcmin(0.9 * turn, 0.31 * turn)).lit_fraction
        };
        let second = (at(-1.0) - 2.0 * at(0.0) + at(1.0)).abs();
        println!("second difference at {k}: {second:.2e}, lit {}", at(0.0));
        largest = largest.max(second);
    }
    assert_close(largest, 0.0, 1e-10, "second differences across the field");
}

#[test]
fn left_and_right_are_alike_in_hiding() {
    for parts in crowded() {
        // A turned rectangle or clips of their own are not.
        if parts.sensor_mask.is_some() || parts.spider.is_some_and(|s| s.bend_radius_mm.is_some()) {
            continue;
        }
        let telescope = prepare(parts);
        for field in fields() {
            let mirrored = Field::arcmin(field.x_arcmin, -field.y_arcmin);
            let (one, other) = (telescope.light(field), telescope.light(mirrored));
            for (a, b) in one.stopped.iter().zip(&other.stopped) {
                assert_close(a.fraction, b.fraction, 1e-10, "mirror symmetry: a share");
                assert_close(a.returns_alone, b.returns_alone, 2e-10, "mirror symmetry: returned");
            }
        }
    }
}

#[test]
fn a_lamp_on_the_axis_lights_a_cone() {
    // Closed form: the light within an angle g from the axis is that of a cap, 1 - cos g.
    let (aperture, focal) = (200.0, 800.0);
    for distance in [1700.0, 9000.0, 1e6, 1e12] {
        let (radius, height) = (60.0, 500.0);
        let parts = Train::builder(Primary::new(aperture, FocalLengthMm(focal)))
            .front_opening(Opening::new(2.0 * radius, height));
        let light = prepare(parts).light(Star::artificial(Field::AXIS, distance));
        let rim = aperture / 2.0;
        // 1 - cos = t^2/((1 + r)(r)) with r = sqrt(1 + t^2): no difference of large numbers.
        let cap = |tangent: f64| {
            let r = (1.0 + tangent * tangent).sqrt();
            tangent * tangent / (r * (1.0 + r))
        };
        let truth = cap(radius / (distance - height)) / cap(rim / (distance - rim * rim / (4.0 * focal)));
        assert_close(light.lit_fraction, truth, 1e-10, "a lamp's cone");
    }
}

#[test]
fn a_flat_without_offset_dims_toward_the_primary_even_behind_it() {
    let flat = Diagonal::new(50.0).offset_mm(0.0);
    let telescope = prepare(Train::builder(mirror()).diagonal(flat).focal_plane(FocalPlane::new(200.0)));
    let lit = |along: f64| telescope.light(star_of_image(FOCAL_MM, along, 0.0)).lit_fraction;
    // Far enough out that the flat no longer serves the mirror's centre.
    assert!(lit(-20.0) < lit(20.0) && lit(-27.0) < lit(27.0), "{} {}", lit(-27.0), lit(27.0));
    assert!(lit(-70.0) == 0.0, "truly dark");
}

#[test]
fn no_direction_gives_no_light() {
    let light = prepare(everything()).light(Field::arcmin(f64::NAN, 0.0));
    assert!(light.lit_fraction == 0.0 && light.stopped.iter().all(|s| s.fraction == 0.0));
    assert!(light.magnitudes_lost().is_infinite());
    let back: Light = serde_json::from_str(&serde_json::to_string(&light).expect("JSON")).expect("JSON");
    assert_eq!(back, light);
}

/// Makes sure that the sampled twin stays a check: it must know what the exact one does.
#[test]
fn a_star_that_two_parts_hide_returns_to_neither() {
    let telescope: Prepared = prepare(everything());
    let light = telescope.light(star_of_image(1558.0, 44.0, 0.0));
    assert!(light.lit_fraction < 1e-6 && light.limited_by == Some(Part::Diagonal), "{light:?}");
    let most = light.stopped.iter().map(|s| s.returns_alone).fold(0.0, f64::max);
    assert!(most < 0.05, "{light:?}");
}

#[test]
fn a_thin_vane_over_a_clip_is_seen_wherever_it_lies() {
    // A vane of 0.4 mm along a clip of 20 mm, moved across it by the star: it covers 2.4 mm^2 of it.
    let bare = Train::builder(mirror()).spider(Spider {
        angle_deg: 0.0,
        above_vertex_mm: Some(1000.0),
        ..Spider::new(4, 0.4)
    });
    let without = prepare(bare.clone());
    let telescope = prepare(bare.mirror_clips(MirrorClips::new(1, 20.0, 6.0)));
    let rim_mm = APERTURE_MM / 2.0;
    for moved_mm in [0.6_f64, 1.1, 1.7, 3.3, 5.6, 7.8] {
        let field = Field::arcmin(0.0, (moved_mm / 1000.0).atan() / RADIANS_PER_ARCMIN);
        // Truth: what the clip takes alone, by a fine net over it, the vane's shadow told ray by ray.
        let (mut taken_mm2, step_mm) = (0.0, 0.01);
        for i in 0..2000 {
            let y = -10.0 + step_mm * (f64::from(i) + 0.5);
            let end = (rim_mm * rim_mm - y * y).sqrt();
            let s_step = (end - (rim_mm - 6.0)) / 40.0;
            for j in 0..40 {
                let x = rim_mm - 6.0 + s_step * (f64::from(j) + 0.5);
                if without.passes(field, x, y) {
                    taken_mm2 += step_mm * s_step * without.ray(field, x, y).beam;
                }
            }
        }
        let [tx, ty] = field.tangents();
        let whole_mm2 = PI * rim_mm * rim_mm / (1.0 + tx * tx + ty * ty).sqrt();
        let found = returned(&telescope.light(field), Part::MirrorClips);
        // The net's steps at the vane's two sides: 0.01 mm by 6 mm are 1.2e-6 of the aperture.
        assert_close(found, taken_mm2 / whole_mm2, 1.5e-6, "what a clip takes beside a vane");
    }
}

#[test]
fn light_that_only_a_sliver_passes_is_found_behind_a_zone() {
    // A wide zone near the vertex leaves a tip there; its light is thrown 5 um aside, which changes next to nothing.
    let telescope = |zone: Option<Zone>| {
        let mirror = Primary::new(80.0, FocalLengthMm(523.0)).conic(-1.5);
        let mirror = zone.map_or(mirror.clone(), |z| mirror.layer(z));
        let parts = Train::builder(mirror)
            .diagonal(Diagonal::new(12.73))
            .focal_plane(FocalPlane::new(44.0))
            .drawtube(Drawtube::new(12.27, 10.0, 7.5));
        prepare(parts)
    };
    let star = Field::arcmin(29.2, -40.0);
    let (bare, zoned) = (telescope(None), telescope(Some(Zone::new(10.8, 8.7, 48.0))));
    let (a, b) = (bare.light(star), zoned.light(star));
    assert!(share(&a, Part::DrawtubeOuterEnd) > 0.015, "{a:?}");
    for (one, other) in a.stopped.iter().zip(&b.stopped) {
        assert_close(one.fraction, other.fraction, 2e-4, "a share with and without the zone");
    }
    let rays = zoned.light_by_rays(star);
    for (one, other) in rays.stopped.iter().zip(&b.stopped) {
        assert_close(one.fraction, other.fraction, 4e-4, "a share by rays");
    }
}

#[test]
fn a_bevelled_rim_that_throws_its_light_aside_is_left_to_sampled_rays() {
    // A rim that slopes by 600 nm in 0.4 mm throws its ring of light 1.5 mm aside: the free side of the drawtube is convex no more.
    let mirror = Primary::new(80.0, FocalLengthMm(523.0)).layer(TurnedEdge::new(0.4, -600.0).power(1.0));
    let parts = Train::builder(mirror)
        .diagonal(Diagonal::new(12.7))
        .focal_plane(FocalPlane::new(44.0))
        .drawtube(Drawtube::new(12.3, 10.0, 7.5));
    let telescope = prepare(parts);
    let star = Field::arcmin(29.2, -40.0);
    let (light, rays) = (telescope.light(star), telescope.light_by_rays(star));
    assert_close(light.error_estimate, 3e-4, 1e-12, "the estimate is that of samples");
    assert_eq!(light, rays);
    // The ring passes the inner end where nothing else does.
    let outer = light.stopped.iter().find(|s| s.part == Part::DrawtubeOuterEnd).expect("an outer end");
    assert!(outer.fraction > 0.015, "{light:?}");
}
