//! What the flat's glass, a flat out of its place and the parts beyond it stop: areas in closed form, rays traced in the real
//! space, sampled rays, symmetry, the image's place.

mod common;

use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

use catoptric::{
    Diagonal, Drawtube, Field, FilterRing, FlatEdge, FocalLengthMm, FocalPlane, FocuserBoard, Holder,
    ImageShift, Light, Misplacement, Opening, Part, Prepared, Primary, RADIANS_PER_ARCMIN, SensorMask,
    Spider, Train, TrainBuilder,
};
use common::{assert_close, prepare};

const RIM_MM: f64 = 159.0;
const FOCAL_MM: f64 = 1558.0;
const TO_FOCUS_MM: f64 = 235.0;
const HEIGHT_MM: f64 = FOCAL_MM - TO_FOCUS_MM;

fn newtonian(flat: Diagonal) -> TrainBuilder {
    Train::builder(Primary::new(2.0 * RIM_MM, FocalLengthMm(FOCAL_MM)))
        .diagonal(flat)
        .focal_plane(FocalPlane::new(TO_FOCUS_MM))
}

fn share(light: &Light, part: Part) -> f64 {
    light.stopped.iter().find(|s| s.part == part).map_or(0.0, |s| s.fraction)
}

/// Radius on the paraboloid at which a ray toward its focus keeps a distance from the axis, t before the focus: from
/// r t/(f - r^2/(4f)) = distance.
fn pupil_radius_mm(distance_mm: f64, before_focus_mm: f64) -> f64 {
    let (a, b) = (distance_mm / (4.0 * FOCAL_MM), before_focus_mm);
    2.0 * distance_mm * FOCAL_MM / (b + (b * b + 4.0 * a * distance_mm * FOCAL_MM).sqrt())
}

#[test]
fn a_mask_over_a_point_is_a_rectangle_over_a_disc() {
    for (along, across, rotation, before) in
        [(14.0, 9.0, 0.0, 60.0), (10.0, 10.0, 31.0, 60.0), (11.5, 20.0, -70.0, 60.0), (2.2, 1.9, 10.0, 12.0)]
    {
        let mask = SensorMask::new(along, across, before).rotation_deg(rotation);
        let light =
            prepare(newtonian(Diagonal::new(60.0).offset_mm(0.0)).sensor_mask(mask)).light(Field::AXIS);
        // Own sum over angles: the rectangle's side is met where r cos(angle) maps to half of its width.
        let steps = 400_000;
        let area: f64 = (0..steps)
            .map(|i| {
                let angle = 2.0 * PI * (f64::from(i) + 0.5) / f64::from(steps);
                let (sin, cos) = (angle - f64::to_radians(rotation)).sin_cos();
                let side = (along / 2.0 / cos.abs()).min(across / 2.0 / sin.abs());
                pupil_radius_mm(side, before).min(RIM_MM).powi(2) / f64::from(steps)
            })
            .sum();
        let shadow = (30.0 / RIM_MM).powi(2);
        let wanted = area / (RIM_MM * RIM_MM) - shadow;
        assert_close(light.lit_fraction, wanted, 1e-9, "mask: overlap of rectangle and disc");
        assert!(share(&light, Part::SensorMask) > 5e-3, "mask: it cuts");
        assert!(light.error_estimate < 1e-9);
    }
}

#[test]
fn round_holes_stop_the_mirror_down_by_their_radius() {
    let flat = || newtonian(Diagonal::new(60.0).offset_mm(0.0));
    let board = prepare(flat().focuser_board(FocuserBoard::new(10.0, 180.0))).light(Field::AXIS);
    let ring = prepare(flat().filter_ring(FilterRing::new(10.0, 55.0))).light(Field::AXIS);
    let taken = 1.0 - (pupil_radius_mm(5.0, 55.0) / RIM_MM).powi(2);
    assert!(taken > 0.1);
    assert_close(share(&board, Part::FocuserBoard), taken, 1e-10, "board: the ring outside of its hole");
    assert_close(share(&ring, Part::FilterRing), taken, 1e-10, "ring: the same");
}

/// The shadow of glass on the mirror over the clear aperture, for light from the tangents (a, b): a circle drawn along the rim.
fn glass_shadow(radius: f64, thickness: f64, edge: Option<FlatEdge>, [a, b]: [f64; 2]) -> f64 {
    // The face in a plane across the tube: its circle seen by slanted light is shorter by 1 - a. The back lies further along the
    // light by thickness sqrt 2/(1 - a); seen along the face's axes its shadow moves by:
    let further = thickness * SQRT_2;
    let moved = match edge {
        None => 0.0,
        Some(FlatEdge::AlongTube) => further * a.hypot(b),
        Some(FlatEdge::SquareToFace) => further * f64::midpoint(1.0, a).hypot(b),
    };
    ((1.0 - a) * PI * radius * radius + 2.0 * radius * moved) / (PI * RIM_MM * RIM_MM)
}

#[test]
fn glass_of_some_thickness_shadows_its_face_drawn_to_its_back() {
    let (minor, bevel, thickness) = (70.0, 0.7, 16.0);
    for edge in [None, Some(FlatEdge::AlongTube), Some(FlatEdge::SquareToFace)] {
        for (x, y) in [(0.0, 0.0), (25.0, 0.0), (-25.0, 0.0), (10.0, -18.0)] {
            let flat = Diagonal::new(minor).bevel_mm(bevel);
            let flat = edge.map_or(flat, |edge| flat.thickness_mm(thickness, edge));
            let field = Field::arcmin(x, y);
            let light = prepare(newtonian(flat)).light(field);
            let wanted = glass_shadow(minor / 2.0 + bevel, thickness, edge, field.tangents());
            // The mirror's own height moves the shadow by its sagitta times the field, all of it alike to 1e-10.
            assert_close(
                share(&light, Part::DiagonalShadow),
                wanted,
                2e-9,
                "glass: its shadow in closed form",
            );
            assert!(light.error_estimate < 1e-9, "glass: {}", light.error_estimate);
        }
    }
    // On the axis: a stadium of straight sides thickness/sqrt 2, or a circle.
    let area = |edge| glass_shadow(35.0, 16.0, edge, [0.0, 0.0]) * PI * RIM_MM * RIM_MM;
    let stadium = PI * 35.0 * 35.0 + 2.0 * 35.0 * 16.0 * FRAC_1_SQRT_2;
    assert_close(area(Some(FlatEdge::SquareToFace)), stadium, 1e-9, "glass: square to the face, mm^2");
    assert_close(area(Some(FlatEdge::AlongTube)), PI * 35.0 * 35.0, 1e-9, "glass: along the tube, mm^2");
}

#[test]
fn the_back_of_thick_glass_shadows_the_side_away_from_the_focuser() {
    let flat = Diagonal::new(60.0).offset_mm(0.0).thickness_mm(14.0, FlatEdge::SquareToFace);
    let thick = prepare(newtonian(flat));
    // The stadium reaches from 30 mm toward the focuser to 30 mm and thickness/sqrt 2 away from it.
    let reach = 30.0 + 14.0 * FRAC_1_SQRT_2;
    assert!(!thick.passes(Field::AXIS, 29.9, 0.0) && thick.passes(Field::AXIS, 30.1, 0.0));
    assert!(!thick.passes(Field::AXIS, -reach + 0.1, 0.0) && thick.passes(Field::AXIS, -reach - 0.1, 0.0));
}

type Vector = [f64; 3];

fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn plus(a: Vector, t: f64, b: Vector) -> Vector {
    [a[0] + t * b[0], a[1] + t * b[1], a[2] + t * b[2]]
}

fn reflected(d: Vector, n: Vector) -> Vector {
    plus(d, -2.0 * dot(d, n), n)
}

/// The telescope in the real space, with the flat as it stands, written down a second time.
struct RealSpace {
    flat: Diagonal,
    centre: Vector,
    normal: Vector,
    long: Vector,
    short: Vector,
    to_back: Vector,
}

impl RealSpace {
    fn new(flat: Diagonal, offset: f64) -> Self {
        let m = flat.misplaced.unwrap_or(Misplacement::NONE);
        let [nod, roll, turn] = [m.nod_arcmin, m.roll_arcmin, m.turn_arcmin].map(|a| a * RADIANS_PER_ARCMIN);
        // Matrices: about (1, 0, 1)/sqrt 2, about -y, about z.
        let (s, c) = roll.sin_cos();
        let (p, q, w) = (f64::midpoint(1.0, c), (1.0 - c) / 2.0, s * FRAC_1_SQRT_2);
        let by_roll = [[p, -w, q], [w, c, -w], [q, w, p]];
        let (s, c) = nod.sin_cos();
        let by_nod = [[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]];
        let (s, c) = turn.sin_cos();
        let by_turn = [[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]];
        let by = |matrix: [Vector; 3], v: Vector| matrix.map(|row| dot(row, v));
        let turned = |v: Vector| by(by_turn, by(by_nod, by(by_roll, v)));
        let h = FRAC_1_SQRT_2;
        let normal = turned([h, 0.0, -h]);
        let to_back = match flat.edge {
            None => [0.0; 3],
            Some(FlatEdge::AlongTube) => turned([0.0, 0.0, flat.thickness_mm * SQRT_2]),
            Some(FlatEdge::SquareToFace) => normal.map(|n| -flat.thickness_mm * n),
        };
        Self {
            flat,
            centre: [-offset + m.toward_focuser_mm, m.across_mm, HEIGHT_MM - offset - m.toward_primary_mm],
            normal,
            long: turned([h, 0.0, h]),
            short: turned([0.0, 1.0, 0.0]),
            to_back,
        }
    }

    /// How far outside of an ellipse parallel to the face a line crosses its plane, in lengths of the minor axis.
    fn outside(&self, centre: Vector, half_minor: f64, from: Vector, direction: Vector) -> (f64, Vector) {
        let t = dot(plus(centre, -1.0, from), self.normal) / dot(direction, self.normal);
        let place = plus(from, t, direction);
        let off = plus(place, -1.0, centre);
        ((dot(off, self.long) / SQRT_2).hypot(dot(off, self.short)) - half_minor, place)
    }

    /// The first part that stops the light by a point of the mirror, and the least distance from any edge, mm.
    fn first_stop(&self, train: &Train, field: Field, x: f64, y: f64) -> (Option<Part>, f64) {
        let towards = field.towards();
        let hit = [x, y, (x * x + y * y) / (4.0 * FOCAL_MM)];
        let n = [-x / (2.0 * FOCAL_MM), -y / (2.0 * FOCAL_MM), 1.0];
        let size = dot(n, n).sqrt();
        let n = n.map(|c| c / size);
        let up = reflected(towards.map(|c| -c), n);
        let glass = self.flat.minor_axis_mm / 2.0 + self.flat.bevel_mm;
        let slices = if self.flat.edge.is_some() { 400 } else { 0 };
        let shadow = (0..=slices)
            .map(|i| {
                let centre = plus(self.centre, f64::from(i) / f64::from(slices.max(1)), self.to_back);
                self.outside(centre, glass, hit, towards).0
            })
            .fold(f64::INFINITY, f64::min);
        let mut met = vec![(Part::DiagonalShadow, -shadow)];
        let (outside, on_flat) = self.outside(self.centre, self.flat.minor_axis_mm / 2.0, hit, up);
        met.push((Part::Diagonal, outside));
        let on = reflected(up, self.normal);
        let at = |from_axis: f64| {
            let place = plus(on_flat, (from_axis - on_flat[0]) / on[0], on);
            [place[2] - HEIGHT_MM, place[1]]
        };
        let round = |from_axis: f64, diameter: f64| {
            let [along, across] = at(from_axis);
            along.hypot(across) - diameter / 2.0
        };
        let mut beyond: Vec<(f64, Part, f64)> = Vec::new();
        if let Some(board) = train.focuser_board() {
            beyond.push((
                board.axis_to_board_mm,
                Part::FocuserBoard,
                round(board.axis_to_board_mm, board.hole_mm),
            ));
        }
        if let Some(tube) = train.drawtube() {
            let outer = TO_FOCUS_MM - tube.outer_end_to_focus_mm;
            let inner = outer - tube.length_mm;
            beyond.push((inner, Part::DrawtubeInnerEnd, round(inner, tube.bore_mm)));
            beyond.push((outer, Part::DrawtubeOuterEnd, round(outer, tube.bore_mm)));
        }
        if let Some(ring) = train.filter_ring() {
            let place = TO_FOCUS_MM - ring.before_focus_mm;
            beyond.push((place, Part::FilterRing, round(place, ring.diameter_mm)));
        }
        if let Some(mask) = train.sensor_mask() {
            let place = TO_FOCUS_MM - mask.before_focus_mm;
            let [along, across] = at(place);
            let (sin, cos) = mask.rotation_deg.to_radians().sin_cos();
            let (u, v) = (along * cos + across * sin, across * cos - along * sin);
            let outside = (u.abs() - mask.along_mm / 2.0).max(v.abs() - mask.across_mm / 2.0);
            beyond.push((place, Part::SensorMask, outside));
        }
        beyond.sort_by(|a, b| a.0.total_cmp(&b.0));
        met.extend(beyond.into_iter().map(|(_, part, outside)| (part, outside)));
        let nearest = met.iter().map(|(_, outside)| outside.abs()).fold(f64::INFINITY, f64::min);
        (met.into_iter().find(|(_, outside)| *outside > 0.0).map(|(part, _)| part), nearest)
    }
}

/// Invented trains in which every part beyond the flat stops something, with flats in and out of their places.
fn invented() -> Vec<TrainBuilder> {
    let moved = |toward_primary, toward_focuser, across, nod, roll, turn| Misplacement {
        toward_primary_mm: toward_primary,
        toward_focuser_mm: toward_focuser,
        across_mm: across,
        nod_arcmin: nod,
        roll_arcmin: roll,
        turn_arcmin: turn,
    };
    let flats = [
        Diagonal::new(62.0),
        Diagonal::new(60.0).thickness_mm(15.0, FlatEdge::SquareToFace).bevel_mm(0.8),
        Diagonal::new(64.0)
            .thickness_mm(12.0, FlatEdge::AlongTube)
            .misplaced(moved(1.5, 0.0, 0.0, 20.0, 0.0, 0.0)),
        Diagonal::new(50.0).offset_mm(0.5).misplaced(moved(0.0, -2.0, 1.0, 0.0, 35.0, 0.0)),
        Diagonal::new(66.0)
            .thickness_mm(18.0, FlatEdge::SquareToFace)
            .misplaced(moved(-1.0, 0.7, -0.6, -15.0, 20.0, -40.0)),
    ];
    let parts = flats.map(|flat| {
        newtonian(flat)
            .focuser_board(FocuserBoard::new(21.0, 165.0))
            .drawtube(Drawtube::new(16.0, 30.0, 22.0))
            .filter_ring(FilterRing::new(13.5, 35.0))
            .sensor_mask(SensorMask::new(11.0, 8.0, 12.0).rotation_deg(25.0))
    });
    // A drawtube that is racked in beyond the board is met before it.
    let deep = newtonian(Diagonal::new(63.0).misplaced(moved(0.0, 0.0, 0.0, 8.0, -6.0, 11.0)))
        .focuser_board(FocuserBoard::new(14.0, 178.0))
        .drawtube(Drawtube::new(15.0, 60.0, 10.0))
        .filter_ring(FilterRing::new(16.5, 70.0));
    parts.into_iter().chain([deep]).collect()
}

const FIELDS: [(f64, f64); 4] = [(0.0, 0.0), (9.0, 0.0), (-7.0, 6.0), (3.0, -11.0)];

/// Points spread over the mirror: a golden spiral.
fn spread(count: u32) -> impl Iterator<Item = (f64, f64)> {
    (0..count).map(move |i| {
        let r = RIM_MM * ((f64::from(i) + 0.5) / f64::from(count)).sqrt();
        let (sin, cos) = (2.399_963_229_728_653 * f64::from(i)).sin_cos();
        (r * cos, r * sin)
    })
}

#[test]
fn the_unfolded_space_lets_pass_what_the_real_one_does() {
    let mut seen = std::collections::BTreeMap::new();
    for parts in invented() {
        let train = parts.build().expect("a sound train");
        let prepared = Prepared::new(&train);
        let flat = *train.diagonal().expect("a flat");
        let real = RealSpace::new(flat, prepared.diagonal_offset_mm().expect("a flat"));
        for (x, y) in FIELDS {
            let field = Field::arcmin(x, y);
            for (x, y) in spread(3000) {
                let (stop, nearest) = real.first_stop(&train, field, x, y);
                *seen.entry(stop).or_insert(0) += 1;
                // Slices of the glass leave 1e-5 mm of its rim.
                if nearest > 1e-4 {
                    assert_eq!(
                        prepared.passes(field, x, y),
                        stop.is_none(),
                        "{stop:?}, {nearest} mm: {flat:?}"
                    );
                }
            }
        }
    }
    for part in [
        Part::DiagonalShadow,
        Part::Diagonal,
        Part::FocuserBoard,
        Part::DrawtubeInnerEnd,
        Part::FilterRing,
        Part::SensorMask,
    ] {
        assert!(seen.get(&Some(part)).is_some_and(|n| *n > 100), "{part}: {seen:?}");
    }
}

#[test]
fn shares_are_those_of_rays_in_the_real_space() {
    let count = 40_000;
    for parts in invented() {
        let train = parts.build().expect("a sound train");
        let prepared = Prepared::new(&train);
        let real = RealSpace::new(
            *train.diagonal().expect("a flat"),
            prepared.diagonal_offset_mm().expect("a flat"),
        );
        let field = Field::arcmin(-5.0, 8.0);
        let light = prepared.light(field);
        let mut found = std::collections::BTreeMap::new();
        for (x, y) in spread(count) {
            *found.entry(real.first_stop(&train, field, x, y).0).or_insert(0.0) += 1.0 / f64::from(count);
        }
        // A spiral of n points is good to about n^(-3/4) for each edge.
        for share in &light.stopped {
            let rays = found.get(&Some(share.part)).copied().unwrap_or(0.0);
            assert_close(share.fraction, rays, 1e-3, &format!("real space: share of the {}", share.part));
        }
        assert_close(light.lit_fraction, found.get(&None).copied().unwrap_or(0.0), 1e-3, "real space: light");
    }
}

#[test]
fn exact_light_agrees_with_sampled_rays_and_adds_up() {
    let crowded = invented().into_iter().flat_map(|parts| {
        let more = parts
            .clone()
            .holder(Holder::new(65.0))
            .spider(Spider::new(3, 2.0))
            .front_opening(Opening::new(319.0, 1650.0));
        [parts, more]
    });
    let (mut asked, mut exact) = (0, 0);
    for parts in crowded {
        let prepared = prepare(parts);
        for (x, y) in FIELDS {
            let field = Field::arcmin(x, y);
            let (light, rays) = (prepared.light(field), prepared.light_by_rays(field));
            let total = light.lit_fraction + light.stopped.iter().map(|s| s.fraction).sum::<f64>();
            assert_close(total, 1.0, 1e-12, "shares: they add up");
            // The sampled answer's own statement.
            assert_close(light.lit_fraction, rays.lit_fraction, 3e-4, "shares: light by rays");
            for (exact, sampled) in light.stopped.iter().zip(&rays.stopped) {
                assert_eq!(exact.part, sampled.part);
                assert_close(exact.fraction, sampled.fraction, 4e-4, &format!("shares: {}", exact.part));
                assert!(exact.fraction > -1e-12, "{} takes {}", exact.part, exact.fraction);
            }
            // Where a part hides the mirror's centre the light may be a sampled one, and says so.
            asked += 1;
            exact += usize::from(light.error_estimate < 1e-9);
        }
    }
    assert!(2 * exact > asked, "shares: {exact} exact ones of {asked}");
}

#[test]
fn parts_beyond_the_flat_are_met_by_their_distance() {
    let order = |parts: TrainBuilder| {
        let light = prepare(parts).light(Field::AXIS);
        light.stopped.iter().map(|s| s.part).collect::<Vec<_>>()
    };
    let base = || newtonian(Diagonal::new(70.0)).focuser_board(FocuserBoard::new(60.0, 180.0));
    let short = order(base().drawtube(Drawtube::new(47.0, 30.0, 18.0)));
    let deep = order(base().drawtube(Drawtube::new(47.0, 50.0, 18.0)));
    assert_eq!(
        short[2..],
        [Part::FocuserBoard, Part::DrawtubeInnerEnd, Part::DrawtubeOuterEnd],
        "outside of the board"
    );
    assert_eq!(
        deep[2..],
        [Part::DrawtubeInnerEnd, Part::FocuserBoard, Part::DrawtubeOuterEnd],
        "racked in beyond the board"
    );
    // What lies beyond the focus is met by no light.
    let far = order(newtonian(Diagonal::new(70.0)).focuser_board(FocuserBoard::new(60.0, 240.0)));
    assert_eq!(far, [Part::DiagonalShadow, Part::Diagonal]);
}

#[test]
fn the_plane_of_the_focuser_is_a_plane_of_symmetry() {
    let light = |misplaced: Misplacement, x: f64, y: f64| {
        let flat = Diagonal::new(50.0).misplaced(misplaced);
        let parts = newtonian(flat)
            .drawtube(Drawtube::new(18.0, 40.0, 18.0))
            .sensor_mask(SensorMask::new(12.0, 9.0, 12.0));
        prepare(parts).light(Field::arcmin(x, y))
    };
    let same = |a: &Light, b: &Light| {
        assert_close(a.lit_fraction, b.lit_fraction, 2e-9, "symmetry: light");
        for (a, b) in a.stopped.iter().zip(&b.stopped) {
            assert_close(a.fraction, b.fraction, 2e-9, &format!("symmetry: {}", a.part));
        }
    };
    let differs = |a: &Light, b: &Light| {
        let apart = a.stopped.iter().zip(&b.stopped).map(|(a, b)| (a.fraction - b.fraction).abs());
        assert!(apart.fold(0.0, f64::max) > 1e-3, "symmetry: {a:?} {b:?}");
    };
    let (x, y) = (4.0, 9.0);
    let nod = Misplacement { nod_arcmin: 12.0, toward_focuser_mm: 0.8, ..Misplacement::NONE };
    same(&light(nod, x, y), &light(nod, x, -y));
    let sideways = |sign: f64| {
        [
            Misplacement { roll_arcmin: sign * 15.0, ..Misplacement::NONE },
            Misplacement { turn_arcmin: sign * 20.0, ..Misplacement::NONE },
            Misplacement { across_mm: sign * 2.5, ..Misplacement::NONE },
        ]
    };
    for (plus, minus) in sideways(1.0).into_iter().zip(sideways(-1.0)) {
        same(&light(plus, x, y), &light(minus, x, -y));
        differs(&light(plus, x, y), &light(plus, x, -y));
    }
}

fn shift(misplaced: Misplacement) -> (ImageShift, f64) {
    let telescope = prepare(newtonian(Diagonal::new(70.0).misplaced(misplaced)));
    (telescope.image_shift().expect("a flat"), telescope.diagonal_offset_mm().expect("a flat"))
}

#[test]
fn a_flat_that_moves_within_its_plane_moves_no_image() {
    let along_the_face =
        Misplacement { toward_primary_mm: 2.0, toward_focuser_mm: -2.0, ..Misplacement::NONE };
    let aside = Misplacement { across_mm: -3.0, ..Misplacement::NONE };
    for misplaced in [along_the_face, aside, Misplacement::NONE] {
        let (shift, _) = shift(misplaced);
        for value in [shift.along_mm, shift.across_mm, shift.longer_path_mm] {
            assert_close(value, 0.0, 1e-12, "in its plane: the image stays, mm");
        }
        for value in [shift.tilt_along_arcmin, shift.tilt_across_arcmin, shift.rotation_arcmin] {
            assert_close(value, 0.0, 1e-12, "in its plane: no tilt, arcmin");
        }
    }
}

#[test]
fn a_flat_that_moves_moves_the_image_by_as_much() {
    // A flat that drops by d meets the axis d sooner: the image is d lower and d further out.
    let d = 1.7;
    let (down, _) = shift(Misplacement { toward_primary_mm: d, ..Misplacement::NONE });
    assert_close(down.along_mm, -d, 1e-12, "toward the primary: the image goes with it, mm");
    assert_close(
        down.longer_path_mm,
        -d,
        1e-12,
        "toward the primary: the way to the focal plane is shorter, mm",
    );
    // So does one that moves out by d: both are d/sqrt 2 square to its plane.
    let (out, _) = shift(Misplacement { toward_focuser_mm: d, ..Misplacement::NONE });
    assert_close(out.along_mm, -d, 1e-12, "toward the focuser: the image goes down, mm");
    assert_close(out.longer_path_mm, -d, 1e-12, "toward the focuser: the way is shorter, mm");
    assert_close(down.across_mm.abs() + out.across_mm.abs(), 0.0, 1e-12, "neither moves it across, mm");
}

#[test]
fn a_flat_that_turns_turns_the_beam_by_2_sqrt_2_and_1() {
    // Angles of reflection from a turned flat, exact; for small b: 2 b, sqrt 2 b, b (references in the issue of collimation:
    // elementary geometry).
    for arcmin in [0.5, -7.0, 60.0] {
        let b: f64 = arcmin * RADIANS_PER_ARCMIN;
        let (nod, offset) = shift(Misplacement { nod_arcmin: arcmin, ..Misplacement::NONE });
        // The plane turns about the face's centre and meets the axis a little higher.
        let met = offset * ((b.cos() + b.sin()) / (b.cos() - b.sin()) - 1.0);
        assert_close(nod.along_mm, met + TO_FOCUS_MM * (2.0 * b).tan(), 1e-9, "nod: along, mm");
        assert_close(nod.tilt_along_arcmin.abs(), 2.0 * arcmin.abs(), 1e-9, "nod: tilt, arcmin");
        assert_close(nod.across_mm, 0.0, 1e-12, "nod: across, mm");
        let (roll, _) = shift(Misplacement { roll_arcmin: arcmin, ..Misplacement::NONE });
        assert_close(roll.across_mm, TO_FOCUS_MM * SQRT_2 * b.tan(), 1e-9, "roll: across, mm");
        assert_close(roll.along_mm, TO_FOCUS_MM * b.tan().powi(2), 1e-9, "roll: along, mm");
        assert_close(
            roll.defocus_across.abs(),
            (2.0 * b).sin().abs() * FRAC_1_SQRT_2,
            1e-12,
            "roll: tilt across, mm/mm",
        );
        let (turn, offset) = shift(Misplacement { turn_arcmin: arcmin, ..Misplacement::NONE });
        assert_close(turn.across_mm, TO_FOCUS_MM * b.tan(), 1e-9, "turn: across, mm");
        assert_close(turn.along_mm, -offset * (1.0 - b.cos()), 1e-9, "turn: along, mm");
        assert_close(turn.tilt_across_arcmin.abs(), arcmin.abs(), 1e-3 * arcmin.abs(), "turn: tilt, arcmin");
    }
}

#[test]
fn the_lean_of_the_focal_plane_is_that_of_real_paths() {
    // Two points of the focal plane, and from the flat's mirror image of each how far along the light it lies.
    for misplaced in [
        Misplacement { nod_arcmin: 9.0, ..Misplacement::NONE },
        Misplacement { roll_arcmin: 9.0, ..Misplacement::NONE },
        Misplacement { turn_arcmin: 9.0, toward_primary_mm: 1.2, ..Misplacement::NONE },
        Misplacement { nod_arcmin: -6.0, roll_arcmin: 14.0, turn_arcmin: 5.0, ..Misplacement::NONE },
    ] {
        let (shift, offset) = shift(misplaced);
        let real = RealSpace::new(Diagonal::new(70.0).misplaced(misplaced), offset);
        for (along, across) in [(0.0, 0.0), (10.0, 0.0), (0.0, 10.0), (-7.0, 4.0)] {
            let point = [TO_FOCUS_MM, across, HEIGHT_MM + along];
            let off = plus(point, -1.0, real.centre);
            let seen = plus(real.centre, 1.0, reflected(off, real.normal));
            assert_close(
                shift.defocus_mm(along, across),
                seen[2] - FOCAL_MM,
                1e-10,
                "lean: how far the plane lies behind the image, mm",
            );
        }
    }
}

#[test]
fn points_of_a_leaning_focal_plane_see_their_own_stars() {
    // A narrow mask just before a point of the sensor passes the star of that point alone: its light is lit where the mask's
    // opening lies, and dark elsewhere.
    let misplaced = Misplacement { nod_arcmin: 10.0, turn_arcmin: -14.0, ..Misplacement::NONE };
    let flat = Diagonal::new(90.0).misplaced(misplaced);
    let telescope = prepare(newtonian(flat).sensor_mask(SensorMask::new(0.5, 0.5, 0.0)));
    let (along, across) = (vec![0.0, 0.24, 0.26, 0.0, 0.0], vec![0.0, 0.0, 0.0, -0.24, 0.26]);
    // The middle of the sensor is not the star on the axis any more.
    assert!(telescope.light(Field::AXIS).lit_fraction < 1e-9);
    let offset = telescope.diagonal_offset_mm().expect("a flat");
    let real = RealSpace::new(flat, offset);
    for (along, across) in along.into_iter().zip(across) {
        let point = [TO_FOCUS_MM, across, HEIGHT_MM + along];
        let seen = plus(real.centre, 1.0, reflected(plus(point, -1.0, real.centre), real.normal));
        let angle = |part: f64| (-part / seen[2]).atan() / RADIANS_PER_ARCMIN;
        let lit = telescope.light(Field::arcmin(angle(seen[0]), angle(seen[1]))).lit_fraction;
        let inside = along.abs().max(across.abs()) < 0.25;
        assert_eq!(lit > 0.5, inside, "{along}, {across} mm: {lit}");
    }
    let middle = telescope.image_shift().expect("a flat");
    assert!(middle.along_mm.abs() > 1.0 && middle.across_mm.abs() > 0.5);
}

#[test]
fn illumination_over_a_leaning_sensor_follows_the_sensor() {
    // Beside a flat that is large enough everywhere the drawtube alone cuts, and it stands with the sensor: whatever the flat's turn
    // does, the light at a point of the sensor changes only by the lean of the beam, to second order.
    let light = |misplaced: Option<Misplacement>| {
        let flat = Diagonal { misplaced, ..Diagonal::new(100.0).offset_mm(6.0) };
        let parts = newtonian(flat).drawtube(Drawtube::new(26.0, 60.0, 10.0));
        prepare(parts).illumination(&[0.0, 6.0, -6.0, 0.0], &[0.0, 0.0, 0.0, 6.0]).expect("light")
    };
    let (still, leaning) =
        (light(None), light(Some(Misplacement { turn_arcmin: 1.0, ..Misplacement::NONE })));
    for (a, b) in still.absolute.iter().zip(&leaning.absolute) {
        // 1' moves the beam's axis by 0.07 mm over the drawtube's length of 235 mm: some 1e-3 of the light at the edge.
        assert_close(*a, *b, 3e-3, "sensor: light follows the sensor");
    }
    assert!(still.absolute[1] < still.absolute[0]);
}
