//! Lines of sight past the diagonal: solid angles in closed form, a twin that follows single lines through the real
//! bodies, and parts that close.

mod common;

use std::f64::consts::PI;

use catoptric::numeric::random::Stream;
use catoptric::{
    Diagonal, Drawtube, Enclosure, FilterRing, FlatEdge, FocalLengthMm, FocalPlane, FocuserBoard, Holder,
    Misplacement, Opening, OppositeBaffle, Prepared, Primary, SensorMask, SightField, SightPoint, Train,
    TrainBuilder,
};
use common::{assert_close, assert_close_relative, prepare};

const FOCAL_MM: f64 = 2030.0;
const TO_FOCUS_MM: f64 = 303.0;
const HEIGHT_MM: f64 = FOCAL_MM - TO_FOCUS_MM;
const BORE_MM: f64 = 47.0;
const LENGTH_MM: f64 = 70.0;
const OUTER_MM: f64 = 18.0;

/// An invented 406 mm f/5 telescope with this flat.
fn parts(minor_axis_mm: f64) -> TrainBuilder {
    Train::builder(Primary::new(406.0, FocalLengthMm(FOCAL_MM)))
        .diagonal(Diagonal::new(minor_axis_mm))
        .focal_plane(FocalPlane::new(TO_FOCUS_MM))
        .drawtube(Drawtube::new(BORE_MM, LENGTH_MM, OUTER_MM))
}

/// One whose flat hides almost nothing.
fn almost_without_flat() -> Prepared {
    prepare(parts(0.02).holder(Holder::new(0.02)))
}

fn one(telescope: &Prepared, enclosure: &Enclosure, along_mm: f64, across_mm: f64) -> SightPoint {
    telescope.sight_lines(enclosure, &[along_mm], &[across_mm]).expect("a view").points[0]
}

/// Sum of everything that ends a line.
fn all(point: &SightPoint) -> f64 {
    point.diagonal_sr
        + point.holder_sr
        + point.baffle_sr
        + point.front_ring_sr
        + point.wall_sr
        + point.open_sr()
}

#[test]
fn the_drawtube_on_the_axis_is_a_cone() {
    // Closed form: a cone of half angle q has the solid angle 2 pi (1 - cos q), and pi sin^2 q with each direction
    // weighted by its cosine.
    let telescope = almost_without_flat();
    let point = one(&telescope, &Enclosure::open(), 0.0, 0.0);
    let q = (BORE_MM / 2.0 / (OUTER_MM + LENGTH_MM)).atan();
    assert_close_relative(point.view_sr, 2.0 * PI * (1.0 - q.cos()), 1e-12, "cone: solid angle");
    let hidden = PI * (0.02 / TO_FOCUS_MM).powi(2);
    assert_close(point.open_projected_sr, PI * q.sin().powi(2), hidden, "cone: projected");
    let image = PI / (4.0 * 5.0 * 5.0);
    assert_close_relative(
        point.against_image,
        point.open_projected_sr / image,
        1e-9,
        "against the image's cone",
    );
    assert!(point.error_estimate_sr < 1e-12 * point.view_sr + 1e-13, "{:e}", point.error_estimate_sr);
}

#[test]
fn past_the_edge_of_a_wide_sheet_lies_a_segment_of_a_cap() {
    // Closed form: a plane through the eye at the angle g to a cone's axis cuts off 2 (acos(sin g/sin q) - cos q
    // acos(tan g/tan q)) (spherical segment: sector less triangle, Gauss-Bonnet).
    let telescope = almost_without_flat();
    let q = (BORE_MM / 2.0 / (OUTER_MM + LENGTH_MM)).atan();
    for edge_mm in [20.0, 60.0, 100.0] {
        let sheet = OppositeBaffle::new(9e5, 9e5, -edge_mm, 215.0);
        let point = one(&telescope, &Enclosure::open().baffle(sheet), 0.0, 0.0);
        let g = (edge_mm / (TO_FOCUS_MM + 215.0)).atan();
        let segment = 2.0 * ((g.sin() / q.sin()).acos() - q.cos() * (g.tan() / q.tan()).acos());
        assert_close_relative(point.baffle_sr, segment, 1e-11, "segment of a cap");
    }
}

#[test]
fn a_sheet_within_the_view_has_the_solid_angle_of_a_rectangle() {
    // Closed form: a rectangle a x b with one corner on the axis, at the distance d: atan(a b/(d sqrt(a^2 + b^2 +
    // d^2))).
    let telescope = almost_without_flat();
    let (d, a, low, high) = (TO_FOCUS_MM + 215.0, 30.0, 25.0, 70.0);
    let sheet = OppositeBaffle::new(2.0 * a, high, -low, 215.0);
    let point = one(&telescope, &Enclosure::open().baffle(sheet), 0.0, 0.0);
    let corner = |b: f64| (a * b / (d * (a * a + b * b + d * d).sqrt())).atan();
    assert_close_relative(point.baffle_sr, 2.0 * (corner(high) - corner(low)), 1e-12, "rectangle");
}

#[test]
fn a_round_hole_above_is_half_a_cone_when_its_edge_is_far() {
    // Limit: a tube whose upper edge lies at the eye's own height lets every rising line out, one that goes on for ever
    // none.
    let telescope = almost_without_flat();
    let level = one(&telescope, &Enclosure::tube(460.0, HEIGHT_MM + 1e-9), 0.0, 0.0);
    assert_close_relative(level.open_above_sr, level.view_sr / 2.0, 1e-7, "edge at the eye's height");
    assert_close_relative(level.wall_sr, level.view_sr / 2.0, 1e-7, "the wall below");
    let endless = one(&telescope, &Enclosure::tube(460.0, 9e5), 0.0, 0.0);
    assert_close(endless.open_sr(), 0.0, 0.0, "a tube without end");
}

/// Where one line ends, followed through the real bodies: no slopes, no rows.
fn followed(
    train: &Train,
    offset_mm: f64,
    around: &Enclosure,
    from: [f64; 3],
    to: [f64; 3],
) -> Option<&'static str> {
    let d: Vec<f64> = (0..3).map(|k| to[k] - from[k]).collect();
    let at = |s: f64| [from[0] + s * d[0], from[1] + s * d[1], from[2] + s * d[2]];
    // Every opening on the way must be passed.
    let tube = train.drawtube().expect("a drawtube");
    for x in
        [TO_FOCUS_MM - tube.outer_end_to_focus_mm, TO_FOCUS_MM - tube.outer_end_to_focus_mm - tube.length_mm]
    {
        let p = at((x - from[0]) / d[0]);
        if p[1].hypot(p[2] - HEIGHT_MM) > tube.bore_mm / 2.0 {
            return None;
        }
    }
    // The nearest body counts.
    let mut nearest = (f64::INFINITY, "open");
    let mut meet = |s: f64, name: &'static str| {
        if s > 0.0 && s < nearest.0 {
            nearest = (s, name);
        }
    };
    let s = (from[0] - from[2] + HEIGHT_MM) / (d[2] - d[0]);
    let p = at(s);
    let minor = train.diagonal().expect("a diagonal").minor_axis_mm;
    // In the face's own axes: along (1, 0, 1)/sqrt 2 the ellipse is sqrt 2 longer.
    let along = ((p[0] + offset_mm) + (p[2] - HEIGHT_MM + offset_mm)) / 2_f64.sqrt();
    if (along / (minor / 2_f64.sqrt())).powi(2) + (p[1] / (minor / 2.0)).powi(2) < 1.0 {
        meet(s, "diagonal");
    }
    let through = |height: f64| {
        let s = (height - from[2]) / d[2];
        (s, at(s)[0].hypot(at(s)[1]))
    };
    if let Some(holder) = train.holder() {
        let (s, r) = through(holder.above_vertex_mm.unwrap_or(HEIGHT_MM));
        if r < holder.diameter_mm / 2.0 {
            meet(s, "holder");
        }
    }
    if let Some(sheet) = around.baffle {
        let s = (-sheet.axis_to_baffle_mm - from[0]) / d[0];
        let p = at(s);
        let reach = p[2] - HEIGHT_MM;
        if p[1].abs() < sheet.width_mm / 2.0 && reach < sheet.above_axis_mm && reach > -sheet.below_axis_mm {
            meet(s, "baffle");
        }
    }
    if let Some(opening) = train.front_opening() {
        let (s, r) = through(opening.above_vertex_mm);
        let outer = around.ring_outer_mm.or(around.tube_diameter_mm).unwrap_or(0.0) / 2.0;
        if r > opening.diameter_mm / 2.0 && r < outer {
            meet(s, "ring");
        }
    }
    if let Some(diameter) = around.tube_diameter_mm {
        // Where the line leaves the cylinder: the later root.
        let a = d[0] * d[0] + d[1] * d[1];
        let b = from[0] * d[0] + from[1] * d[1];
        let c = from[0].powi(2) + from[1].powi(2) - diameter * diameter / 4.0;
        let s = (-b + (b * b - a * c).sqrt()) / a;
        let z = at(s)[2];
        if z < around.upper_edge_mm.expect("an edge") && around.lower_edge_mm.is_none_or(|low| z > low) {
            meet(s, "wall");
        }
    }
    Some(nearest.1)
}

#[test]
fn single_lines_end_where_the_solid_angles_say() {
    let train = parts(80.0)
        .holder(Holder::new(84.0).above_vertex_mm(HEIGHT_MM + 50.0))
        .front_opening(Opening::new(440.0, HEIGHT_MM + 130.0));
    let telescope = prepare(train.clone());
    let train = train.build().expect("a train");
    let offset_mm = telescope.diagonal_offset_mm().expect("a flat");
    let sheet = OppositeBaffle::new(120.0, 80.0, 40.0, 215.0);
    let around = [
        Enclosure::open().baffle(sheet),
        Enclosure::tube(470.0, HEIGHT_MM + 110.0).lower_edge_mm(HEIGHT_MM - 90.0),
        Enclosure::tube(470.0, HEIGHT_MM + 60.0).baffle(OppositeBaffle { below_axis_mm: 20.0, ..sheet }),
        Enclosure::open().ring_outer_mm(520.0),
        Enclosure::tube(470.0, HEIGHT_MM + 160.0),
    ];
    let places = [(0.0, 0.0), (15.0, 0.0), (-18.0, 6.0), (4.0, -20.0)];
    let lines = 200_000;
    let mut worst: f64 = 0.0;
    for (n, enclosure) in around.iter().enumerate() {
        for (m, (along, across)) in places.into_iter().enumerate() {
            let point = one(&telescope, enclosure, along, across);
            assert_close(all(&point), point.view_sr, 1e-13, "every line ends once");
            // Lines to points spread evenly over a square at 1000 mm that holds the view: weight d/r^3.
            let mut random = Stream::new(17, (10 * n + m) as u64);
            let half = 700.0;
            let mut sums = std::collections::BTreeMap::new();
            for _ in 0..lines {
                let y = across + half * (2.0 * random.uniform() - 1.0);
                let z = along + half * (2.0 * random.uniform() - 1.0);
                let from = [TO_FOCUS_MM, across, HEIGHT_MM + along];
                let to = [TO_FOCUS_MM - 1000.0, y, HEIGHT_MM + z];
                let Some(end) = followed(&train, offset_mm, enclosure, from, to) else { continue };
                let r = (1e6 + (y - across).powi(2) + (z - along).powi(2)).sqrt();
                let weight = 4.0 * half * half * 1000.0 / r.powi(3) / f64::from(lines);
                let end = match (end, z > along) {
                    ("open", true) => "above",
                    ("open", false) => "below",
                    _ => end,
                };
                let sum: &mut [f64; 2] = sums.entry(end).or_default();
                sum[0] += weight;
                sum[1] += weight * weight;
            }
            for (end, exact) in [
                ("diagonal", point.diagonal_sr),
                ("holder", point.holder_sr),
                ("baffle", point.baffle_sr),
                ("ring", point.front_ring_sr),
                ("wall", point.wall_sr),
                ("above", point.open_above_sr),
                ("below", point.open_below_sr),
            ] {
                let [sum, squares] = sums.get(end).copied().unwrap_or_default();
                // One line weighs at most 2 sr over their number: what is too thin to be met.
                let sigma = squares.sqrt() + 2.0 / f64::from(lines);
                worst = worst.max((sum - exact).abs() / sigma);
                assert_close(
                    exact,
                    sum,
                    5.0 * sigma,
                    &format!("lines: {end} around {n} at ({along}, {across})"),
                );
            }
        }
    }
    println!("furthest from the sampled twin: {worst:.2} sigma");
}

/// Whether a line meets the glass of a flat of radius `r`, `thick` mm, found by steps of a quarter of a millimetre.
fn meets_glass(edge: FlatEdge, r: f64, thick: f64, offset: f64, from: [f64; 3], slopes: [f64; 2]) -> bool {
    (0..640).any(|k| {
        let x = 80.0 - 0.25 * f64::from(k);
        let t = from[0] - x;
        let (y, z) = (from[1] + slopes[0] * t, from[2] + slopes[1] * t - HEIGHT_MM);
        match edge {
            // A round bar about the line x = -offset, cut by two planes at 45 degrees.
            FlatEdge::AlongTube => {
                (0.0..=thick * 2_f64.sqrt()).contains(&(z - x)) && (x + offset).hypot(y) <= r
            }
            FlatEdge::SquareToFace => {
                let along = ((x + offset) + (z + offset)) / 2_f64.sqrt();
                (0.0..=thick).contains(&((z - x) / 2_f64.sqrt()))
                    && (along / (2_f64.sqrt() * r)).powi(2) + (y / r).powi(2) <= 1.0
            }
        }
    })
}

#[test]
fn thick_glass_and_all_openings_of_the_focuser_count() {
    let (bevel, thick, offset) = (1.2, 22.0, 5.0);
    let lines = 60_000;
    for edge in [FlatEdge::AlongTube, FlatEdge::SquareToFace] {
        let flat = Diagonal::new(80.0).offset_mm(offset).bevel_mm(bevel).thickness_mm(thick, edge);
        let telescope = prepare(
            parts(80.0)
                .diagonal(flat)
                .focuser_board(FocuserBoard::new(58.0, 212.0))
                .filter_ring(FilterRing::new(45.0, 40.0))
                .sensor_mask(SensorMask::new(30.0, 22.0, 15.0).rotation_deg(25.0)),
        );
        for (m, (along, across)) in [(0.0, 0.0), (9.0, -4.0), (-6.0, 7.0)].into_iter().enumerate() {
            let point = one(&telescope, &Enclosure::open(), along, across);
            assert_close(all(&point), point.view_sr, 1e-13, "every line ends once");
            let mut random = Stream::new(23, m as u64);
            let half = 1.4;
            let mut sums = [[0.0_f64; 2]; 2];
            for _ in 0..lines {
                let slopes = [0; 2].map(|_| half * (2.0 * random.uniform() - 1.0));
                let at = |t: f64| [across + slopes[0] * t, along + slopes[1] * t];
                let within = |t: f64, diameter: f64| at(t)[0].hypot(at(t)[1]) <= diameter / 2.0;
                let [y, z] = at(15.0);
                let (sin, cos) = 25.0_f64.to_radians().sin_cos();
                // `along` is z; turned from along toward across.
                let framed = (z * cos + y * sin).abs() <= 15.0 && (y * cos - z * sin).abs() <= 11.0;
                let seen = framed
                    && within(OUTER_MM, BORE_MM)
                    && within(OUTER_MM + LENGTH_MM, BORE_MM)
                    && within(TO_FOCUS_MM - 212.0, 58.0)
                    && within(40.0, 45.0);
                if !seen {
                    continue;
                }
                let weight = 4.0 * half * half
                    / f64::from(lines)
                    / (1.0 + slopes[0].powi(2) + slopes[1].powi(2)).powf(1.5);
                let from = [TO_FOCUS_MM, across, HEIGHT_MM + along];
                let met = meets_glass(edge, 40.0 + bevel, thick, offset, from, slopes);
                for sum in &mut sums[..=usize::from(met)] {
                    sum[0] += weight;
                    sum[1] += weight * weight;
                }
            }
            for (k, (exact, what)) in
                [(point.view_sr, "view"), (point.diagonal_sr, "glass")].into_iter().enumerate()
            {
                let tolerance = 5.0 * sums[k][1].sqrt();
                assert_close(
                    exact,
                    sums[k][0],
                    tolerance,
                    &format!("lines: {what}, {edge:?} at ({along}, {across})"),
                );
            }
        }
    }
    // The thickness and the way of the cut are seen.
    let hidden =
        |flat: Diagonal| one(&prepare(parts(80.0).diagonal(flat)), &Enclosure::open(), 0.0, 0.0).diagonal_sr;
    let flat = Diagonal::new(80.0).offset_mm(offset);
    let (bare, bar) = (hidden(flat), hidden(flat.thickness_mm(thick, FlatEdge::AlongTube)));
    let square = hidden(flat.thickness_mm(thick, FlatEdge::SquareToFace));
    assert!(
        bar > 1.05 * bare && square > 1.01 * bare && (bar - square).abs() > 0.01 * bare,
        "{bare} {bar} {square}"
    );
    // A flat that fell 3 mm toward the primary: as if the eye had risen by as much, were it not for the bore.
    let fallen = flat.misplaced(Misplacement { toward_primary_mm: 3.0, ..Misplacement::NONE });
    let change = (hidden(fallen) - bare).abs();
    assert!(change < 0.05 * bare && change > 1e-6 * bare, "{change:e} of {bare}");
}

#[test]
fn left_and_right_are_alike_and_up_is_up() {
    let telescope = prepare(parts(80.0).front_opening(Opening::new(440.0, HEIGHT_MM + 130.0)));
    let around =
        Enclosure::tube(470.0, HEIGHT_MM + 90.0).baffle(OppositeBaffle::new(100.0, 60.0, 60.0, 220.0));
    for (along, across) in [(3.0, 15.0), (-12.0, 8.0)] {
        let (left, right) =
            (one(&telescope, &around, along, -across), one(&telescope, &around, along, across));
        assert_close(left.open_sr(), right.open_sr(), 1e-15, "left and right");
        assert_close(left.diagonal_sr, right.diagonal_sr, 1e-15, "left and right");
    }
    // A tube closed below lets lines out above only; a point low in the field looks up through the bore.
    let (low, high) = (one(&telescope, &around, -15.0, 0.0), one(&telescope, &around, 15.0, 0.0));
    assert!(low.open_above_sr > high.open_above_sr && low.open_below_sr == 0.0 && high.open_below_sr == 0.0);
    assert!(low.patch_high_mm > high.patch_high_mm && low.patch_low_mm > high.patch_low_mm);
    // Without a wall a baffle that stands low leaves the sky end open.
    let sheet = Enclosure::open().baffle(OppositeBaffle::new(900.0, 20.0, 400.0, 220.0));
    let point = one(&telescope, &sheet, 0.0, 0.0);
    assert!(point.open_above_sr > 0.0 && point.open_below_sr == 0.0);
}

/// The most that is open over many points of a field, its edge among them.
fn most_open(telescope: &Prepared, enclosure: &Enclosure, radius_mm: f64) -> f64 {
    let (mut along, mut across) = (vec![0.0], vec![0.0]);
    for k in 0..72 {
        let angle = PI * f64::from(k) / 36.0;
        for share in [0.5, 0.9, 1.0] {
            along.push(share * radius_mm * angle.cos());
            across.push(share * radius_mm * angle.sin());
        }
    }
    let seen = telescope.sight_lines(enclosure, &along, &across).expect("a view");
    seen.points.iter().map(SightPoint::open_sr).fold(0.0, f64::max)
}

#[test]
fn the_smallest_baffle_closes_and_a_smaller_one_does_not() {
    let telescope = prepare(parts(88.9));
    let tube = Enclosure::tube(470.0, HEIGHT_MM + 70.0).lower_edge_mm(HEIGHT_MM - 100.0);
    for (around, radius_mm) in [(Enclosure::open(), 20.0), (tube, 12.0), (Enclosure::open(), 0.0)] {
        let field = SightField::Circle { radius_mm };
        let found = telescope.closing_baffle(&around, field, 215.0).expect("a baffle");
        let sheet = found.baffle.expect("it is needed");
        assert_close(most_open(&telescope, &around.baffle(sheet), radius_mm), 0.0, 1e-12, "closed");
        let less = 0.1;
        for smaller in [
            OppositeBaffle { width_mm: sheet.width_mm - 2.0 * less, ..sheet },
            OppositeBaffle { above_axis_mm: sheet.above_axis_mm - less, ..sheet },
            OppositeBaffle { below_axis_mm: sheet.below_axis_mm - less, ..sheet },
        ] {
            let open = most_open(&telescope, &around.baffle(smaller), radius_mm);
            assert!(open > 1e-12, "a smaller sheet closes as well: {smaller:?}, {open:e}");
        }
    }
    // By hand: from the field's lower edge by the bore's upper inner edge.
    let found = telescope.closing_baffle(&Enclosure::open(), SightField::Circle { radius_mm: 20.0 }, 215.0);
    let sheet = found.expect("a baffle").baffle.expect("it is needed");
    let reach = -20.0 + (BORE_MM / 2.0 + 20.0) / (OUTER_MM + LENGTH_MM) * (TO_FOCUS_MM + 215.0);
    for side in [sheet.above_axis_mm, sheet.below_axis_mm, sheet.width_mm / 2.0] {
        assert_close(side, reach, 2e-3, "reach of the baffle by hand");
    }
    let sensor = SightField::Rectangle { along_mm: 13.3, across_mm: 17.6, rotation_deg: 0.0 };
    let found = telescope.closing_baffle(&Enclosure::open(), sensor, 215.0).expect("a baffle");
    assert!(
        found.baffle.expect("it is needed").width_mm < sheet.width_mm && found.words().contains("closes")
    );
}

#[test]
fn the_lowest_edge_closes_and_a_lower_one_does_not() {
    let telescope = prepare(parts(88.9));
    let radius_mm = 15.0;
    let field = SightField::Circle { radius_mm };
    let short = Enclosure::tube(470.0, HEIGHT_MM + 40.0).lower_edge_mm(HEIGHT_MM - 40.0);
    let found = telescope.closing_front(&short, field).expect("an edge");
    let (upper, lower) = (found.upper_edge_mm.expect("rising"), found.lower_edge_mm.expect("sinking"));
    let around = |upper: f64, lower: f64| Enclosure::tube(470.0, upper).lower_edge_mm(lower);
    assert_close(most_open(&telescope, &around(upper, lower), radius_mm), 0.0, 1e-12, "closed");
    assert!(most_open(&telescope, &around(upper - 0.1, lower), radius_mm) > 1e-12);
    assert!(most_open(&telescope, &around(upper, lower + 0.1), radius_mm) > 1e-12);
    // By hand, as above.
    let reach = -radius_mm + (BORE_MM / 2.0 + radius_mm) / (OUTER_MM + LENGTH_MM) * (TO_FOCUS_MM + 235.0);
    assert_close(upper - HEIGHT_MM, reach, 2e-3, "upper edge by hand");
    assert_close(HEIGHT_MM - lower, reach, 2e-3, "lower edge by hand");
    assert_close(found.extension_mm, reach - 40.0, 2e-3, "extension by hand");
    // A ring in the tube as it stands.
    let tube = Enclosure::tube(470.0, HEIGHT_MM + 215.0);
    let found = telescope.closing_front(&tube, field).expect("a ring");
    let opening = found.opening_mm.expect("an opening");
    let ringed =
        |diameter: f64| prepare(parts(88.9).front_opening(Opening::new(diameter, found.ring_height_mm)));
    assert_close(most_open(&ringed(opening), &tube, radius_mm), 0.0, 1e-12, "a ring closes");
    assert!(most_open(&ringed(opening + 0.1), &tube, radius_mm) > 1e-12);
    assert!(found.light_needs_mm > 406.0);
}

#[test]
fn more_field_sees_more_and_a_smaller_flat_hides_less() {
    let (small, large) = (prepare(parts(66.0)), prepare(parts(101.6)));
    let (a, b) = (one(&small, &Enclosure::open(), 0.0, 0.0), one(&large, &Enclosure::open(), 0.0, 0.0));
    assert!(a.open_sr() > b.open_sr() && (a.view_sr - b.view_sr).abs() < 1e-14);
    // Beyond the line through both ends of the bore nothing is seen.
    let blind_mm = BORE_MM / 2.0 + OUTER_MM * BORE_MM / LENGTH_MM + 0.1;
    let seen = small.sight_lines(&Enclosure::open(), &[blind_mm], &[0.0]).expect("an answer");
    assert_close(seen.points[0].view_sr, 0.0, 0.0, "beyond the drawtube's field");
    assert!(seen.cautions[0].contains("beyond its field"));
}

#[test]
fn what_is_odd_is_flagged() {
    let telescope = prepare(parts(88.9));
    let odd = |around: &Enclosure| telescope.sight_lines(around, &[0.0], &[0.0]).expect("an answer").cautions;
    assert!(odd(&Enclosure::open()).is_empty());
    let inside = Enclosure::open().baffle(OppositeBaffle::new(200.0, 100.0, 100.0, 150.0));
    assert!(odd(&inside)[0].contains("53.0 mm inside the light"));
    assert!(odd(&Enclosure::tube(400.0, 1900.0))[0].contains("6.0 mm narrower"));
}
