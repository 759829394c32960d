//! Many rays at once against exact rays, against the rays of `Prepared::ray_from` one by one, and against themselves.

mod common;

use std::process::Command;

use catoptric::numeric::simd::Instructions;
use catoptric::{
    AxisDirection, CentralHill, Coating, CoatingPatch, CoatingRing, Diagonal, Drawtube, EdgeRollOff,
    EdgeStep, Error, Field, FigureLayer, FocalLengthMm, FocalPlane, Holder, Indexing, Joined, Metal,
    MetalCoat, MetalFilm, Opening, Prepared, Primary, RadialProfile,
    RayColumn::{Each, Same},
    RaySpot, Rays, RaysOut, ReflectanceMap, SensorMask, Spider, Star, ThinPatch, ThinRing, TracedRays, Train,
    TrainBuilder, TurnedEdge, UM_PER_MM, ZernikeTerms, Zone,
};
use common::{Row, assert_close, everything, prepare, rows};
use proptest::prelude::*;

/// Set in the processes that this file starts: they print and compare nothing.
const ONLY_PRINT: &str = "CATOPTRIC_TEST_ONLY_PRINT";
const MARK: &str = "bits of all answers:";

/// The figures of `tests/data/make_rays.py`.
fn layers(name: &str) -> Vec<FigureLayer> {
    let profile = || {
        RadialProfile::new(
            vec![0.0, 25.0, 50.0, 75.0, 100.0, 125.0, 150.0, 159.0],
            vec![12.0, -30.0, 45.0, 8.0, -21.0, 60.0, -15.0, -140.0],
        )
    };
    match name {
        "edge_and_zone" => vec![TurnedEdge::new(9.0, 330.0).into(), Zone::new(95.0, 13.0, 28.0).into()],
        "straight_in_area" => vec![profile().joined(Joined::StraightInArea).into()],
        "spline" => vec![profile().into()],
        _ => vec![],
    }
}

fn telescope(row: &Row) -> Prepared {
    let mut primary = Primary::new(318.0, FocalLengthMm(1558.0)).conic(row.number("conic"));
    primary.figure = layers(row.text("figure"));
    prepare(Train::builder(primary))
}

#[test]
fn rays_land_where_exact_rays_do() {
    // Truth: own rays in 40 digits, tests/data/rays.json.
    let mut worst_mm = 0.0_f64;
    for row in rows("rays", "kind", "ray") {
        let number = |key: &str| Same(row.number(key));
        let origin = [number("origin_x_mm"), number("origin_y_mm"), number("origin_z_mm")];
        let direction = [number("direction_x"), number("direction_y"), number("direction_z")];
        let rays = Rays::new(origin, direction).unwrap();
        let traced = telescope(&row).trace_rays(&rays, row.number("focus_shift_mm")).unwrap();
        assert!(traced.passed[0]);
        for (found, key) in [(traced.along_um[0], "along_um"), (traced.across_um[0], "across_um")] {
            assert_close(found, row.number(key), 2e-9, &format!("{} {key}", row.text("figure")));
            worst_mm = worst_mm.max((found - row.number(key)).abs() / UM_PER_MM);
        }
    }
    println!("largest distance {worst_mm:.1e} mm");
}

/// Columns of rays that a test makes.
struct Lines {
    origin_mm: [Vec<f64>; 3],
    direction: [Vec<f64>; 3],
}

impl Lines {
    /// Lines through an even net over a disc of the vertex plane, all about as oblique as the field says.
    fn over(radius_mm: f64, count: usize, field: Field, spread: f64) -> Self {
        let mut lines = Self { origin_mm: Default::default(), direction: Default::default() };
        let [tx, ty] = field.tangents();
        for i in 0..count {
            let k = i as f64 + 0.5;
            let (r, turn) = (radius_mm * (k / count as f64).sqrt(), 2.399_963_229_728_653 * k);
            let slopes = [tx + spread * (1.7 * k).sin(), ty + spread * (2.9 * k).cos()];
            let long = (slopes[0] * slopes[0] + slopes[1] * slopes[1] + 1.0).sqrt();
            let up = 1500.0 + 900.0 * (0.31 * k).sin();
            for (column, value) in lines.origin_mm.iter_mut().zip([
                r * turn.cos() + up * slopes[0],
                r * turn.sin() + up * slopes[1],
                up,
            ]) {
                column.push(value);
            }
            for (column, value) in lines.direction.iter_mut().zip([-slopes[0], -slopes[1], -1.0]) {
                column.push(value / long);
            }
        }
        lines
    }

    fn rays(&self) -> Rays<'_> {
        Rays::new(self.origin_mm.each_ref().map(|c| Each(c)), self.direction.each_ref().map(|c| Each(c)))
            .unwrap()
    }

    fn origin(&self, i: usize) -> [f64; 3] {
        self.origin_mm.each_ref().map(|c| c[i])
    }

    fn way(&self, i: usize) -> [f64; 3] {
        self.direction.each_ref().map(|c| c[i])
    }
}

/// The slow obvious twin: ray by ray, and each asked by its own star whether it passes.
fn one_by_one(telescope: &Prepared, lines: &Lines, focus_shift_mm: f64) -> TracedRays {
    let count = lines.origin_mm[0].len();
    let height_mm = telescope.train().primary().focal_length_mm + focus_shift_mm;
    let mut traced = TracedRays {
        focus_shift_mm,
        along_um: vec![0.0; count],
        across_um: vec![0.0; count],
        passed: vec![false; count],
        light: vec![0.0; count],
    };
    for i in 0..count {
        let way = lines.way(i);
        let Some(ray) = telescope.ray_from(lines.origin(i), way) else { continue };
        let [x, y, _] = ray.hit_mm;
        let arcmin = |c: f64| (c / way[2]).atan().to_degrees() * 60.0;
        if telescope.passes(Star::from(Field::arcmin(arcmin(way[0]), arcmin(way[1]))), x, y) {
            [traced.along_um[i], traced.across_um[i]] = ray.at_height_mm(height_mm).map(|c| c * UM_PER_MM);
            (traced.passed[i], traced.light[i]) = (true, telescope.reflectance(x, y));
        }
    }
    traced
}

/// How far rays land apart, mm, and how many pass in one list alone.
fn apart(a: &TracedRays, b: &TracedRays) -> (f64, usize) {
    let mut most = 0.0_f64;
    let mut alone = 0;
    for i in 0..a.passed.len() {
        if a.passed[i] == b.passed[i] {
            let (dx, dy) = (a.along_um[i] - b.along_um[i], a.across_um[i] - b.across_um[i]);
            most = most.max(dx.hypot(dy) / UM_PER_MM);
        } else {
            alone += 1;
        }
    }
    (most, alone)
}

fn trains() -> Vec<(&'static str, TrainBuilder)> {
    let mirror = || Primary::new(318.0, FocalLengthMm(1558.0));
    let with = |primary: Primary| {
        Train::builder(primary).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0))
    };
    let figured = |name: &str| {
        let mut primary = mirror();
        primary.figure = layers(name);
        with(primary)
    };
    let uneven = mirror().layer(ZernikeTerms::new([(6, 40.0)], Indexing::Noll));
    let sensor = SensorMask { along_mm: 12.0, across_mm: 8.0, before_focus_mm: 15.0, rotation_deg: 20.0 };
    vec![
        ("a bare paraboloid", Train::builder(mirror())),
        ("a flat", with(mirror())),
        ("an ellipsoid", with(mirror().conic(-0.6).layer(TurnedEdge::new(9.0, 330.0)))),
        ("edge and zone", figured("edge_and_zone")),
        ("straight pieces", figured("straight_in_area")),
        ("a spline", figured("spline")),
        ("an edge with a root", with(mirror().layer(TurnedEdge::new(9.0, 330.0).power(1.5)))),
        ("a rolled edge", with(mirror().layer(EdgeRollOff::new(3.0, 400.0)))),
        ("a step at the edge", with(mirror().layer(EdgeStep::new(9.37, 60.0)))),
        ("a narrow step", with(mirror().layer(EdgeStep::new(0.05, -250.0)))),
        ("a hill", with(mirror().layer(CentralHill::new(30.0, 80.0)))),
        ("a sharp hill", with(mirror().layer(CentralHill::new(41.3, -80.0).power(1.5)))),
        ("a high bell", with(mirror().layer(Zone::new(60.0, 8.0, 20_000.0)))),
        ("a figure that is not round", with(uneven)),
        ("every part", everything()),
        (
            "round parts",
            figured("spline")
                .front_opening(Opening::new(340.0, 1650.0))
                .drawtube(Drawtube::new(47.0, 50.0, 18.0)),
        ),
        ("vanes and a sensor", figured("spline").spider(Spider::new(4, 2.0)).sensor_mask(sensor)),
    ]
}

/// Mirrors whose coating differs from place to place, as light of one colour sees it.
fn coated() -> Vec<(&'static str, Prepared)> {
    let metal = || MetalCoat::new(MetalFilm::new(Metal::Aluminium, 80.0));
    let shares =
        ndarray::Array2::from_shape_fn((41, 41), |(i, j)| 0.85 + 0.1 * ((i + 2 * j) as f64).sin().abs());
    let haze = ReflectanceMap::new(shares, 9.0, AxisDirection::MinusY, AxisDirection::PlusX);
    let coatings = [
        ("even metal", Coating::default().metal(metal())),
        ("a thin ring of metal", Coating::default().metal(metal().ring(ThinRing::new(100.07, 100.21, 20.0)))),
        (
            "a soft ring",
            Coating::default().metal(metal().ring(ThinRing::new(60.0, 62.0, 25.0).softness_mm(0.3))),
        ),
        ("a ring to the rim", Coating::default().metal(metal().ring(ThinRing::new(150.3, 159.0, 25.0)))),
        (
            "a patch of metal",
            Coating::default().metal(metal().patch(ThinPatch::new([40.0, -30.0], 12.0, 30.0))),
        ),
        ("a haze", Coating::of_map(haze)),
        ("a ring of haze", Coating::new(0.9).ring(CoatingRing::new(130.0, 130.2, 0.5))),
    ];
    let telescope = |coating: Coating, figure: &str| {
        let mut primary = Primary::new(318.0, FocalLengthMm(1558.0)).coating(coating);
        primary.figure = layers(figure);
        let parts = Train::builder(primary).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0));
        prepare(parts).in_colour(480.0).expect("a colour")
    };
    let both = |(name, coating): (&'static str, Coating)| {
        [(name, telescope(coating.clone(), "")), (name, telescope(coating, "spline"))]
    };
    coatings.into_iter().flat_map(both).collect()
}

#[test]
fn coatings_find_what_single_rays_find() {
    for (name, telescope) in coated() {
        for (field, spread) in [(Field::AXIS, 0.0), (Field::arcmin(12.0, -7.0), 1e-3)] {
            let lines = Lines::over(162.0, 20_011, field, spread);
            let traced = telescope.trace_rays(&lines.rays(), 0.4).unwrap();
            let slow = one_by_one(&telescope, &lines, 0.4);
            let (mm, alone) = apart(&traced, &slow);
            let dim = traced.light.iter().zip(&slow.light).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            let lit = slow.light.iter().copied().filter(|l| *l > 0.0);
            let (low, high) = (lit.clone().fold(1.0, f64::min), lit.fold(0.0, f64::max));
            println!(
                "{name}, {field:?}: {mm:.1e} mm, {alone} alone, light {low:.3} to {high:.3}, {dim:.1e} apart"
            );
            assert_eq!(alone, 0, "{name}");
            assert!(mm < 1e-11, "{name}: {mm:e} mm");
            assert!(dim < 1e-9, "{name}: light {dim:e} apart");
            assert!(name == "even metal" || high > low + 0.01, "{name}: {low} to {high}");
            let spot = telescope.spot_of_rays(&lines.rays(), 0.4).unwrap();
            assert_same_spot(&spot, &plainly(&slow), name);
        }
    }
}

#[test]
fn blocks_find_what_single_rays_find() {
    for (name, parts) in trains() {
        let telescope = prepare(parts);
        for (field, spread) in
            [(Field::AXIS, 0.0), (Field::arcmin(12.0, -7.0), 0.0), (Field::arcmin(90.0, 40.0), 0.01)]
        {
            let lines = Lines::over(170.0, 5003, field, spread);
            let traced = telescope.trace_rays(&lines.rays(), 0.4).unwrap();
            let slow = one_by_one(&telescope, &lines, 0.4);
            let (mm, alone) = apart(&traced, &slow);
            let passed = traced.passed.iter().filter(|p| **p).count();
            println!("{name}, {field:?}: {mm:.1e} mm, {alone} pass alone, {passed} pass");
            assert_eq!(alone, 0, "{name}");
            assert!(mm < 1e-11, "{name}: {mm:e} mm");
            assert!(field != Field::AXIS || passed > 2000, "{name}: {passed}");
        }
    }
}

/// Statistics of traced rays the plain way.
fn plainly(traced: &TracedRays) -> RaySpot {
    let light: f64 = traced.light.iter().sum();
    let mean = |column: &[f64]| column.iter().zip(&traced.light).map(|(v, w)| v * w).sum::<f64>() / light;
    let (x, y) = (mean(&traced.along_um), mean(&traced.across_um));
    let square: f64 = (0..traced.light.len())
        .map(|i| traced.light[i] * ((traced.along_um[i] - x).powi(2) + (traced.across_um[i] - y).powi(2)))
        .sum();
    let range = |column: &[f64]| {
        let lit = column.iter().zip(&traced.passed).filter(|(_, p)| **p).map(|(v, _)| *v);
        [lit.clone().fold(f64::INFINITY, f64::min), lit.fold(f64::NEG_INFINITY, f64::max)]
    };
    RaySpot {
        rays: traced.passed.len(),
        passed: traced.passed.iter().filter(|p| **p).count(),
        light,
        focus_shift_mm: traced.focus_shift_mm,
        centroid_um: [x, y],
        rms_radius_um: (square / light).sqrt(),
        along_range_um: range(&traced.along_um),
        across_range_um: range(&traced.across_um),
    }
}

#[track_caller]
fn assert_same_spot(found: &RaySpot, plain: &RaySpot, what: &str) {
    assert_eq!((found.rays, found.passed), (plain.rays, plain.passed), "{what}");
    assert_close(found.light / plain.light, 1.0, 1e-12, &format!("{what}: light"));
    for axis in 0..2 {
        assert_close(found.centroid_um[axis], plain.centroid_um[axis], 1e-8, &format!("{what}: centroid"));
        for (a, b) in
            [(found.along_range_um, plain.along_range_um), (found.across_range_um, plain.across_range_um)]
        {
            assert_close(a[axis], b[axis], 1e-8, &format!("{what}: end"));
        }
    }
    assert_close(found.rms_radius_um, plain.rms_radius_um, 1e-8, &format!("{what}: RMS radius"));
}

#[test]
fn statistics_are_those_of_the_columns() {
    let mut parts = everything();
    parts.primary.coating = Coating::new(0.9);
    parts.primary.coating.rings.push(CoatingRing::new(30.0, 90.0, 0.5));
    parts.primary.coating.patches.push(CoatingPatch::new([70.0, 20.0], 15.0, 0.3));
    for (name, parts) in [("a coating", parts)].into_iter().chain(trains()) {
        let telescope = prepare(parts);
        let lines = Lines::over(165.0, 9001, Field::arcmin(5.0, 3.0), 1e-4);
        let weights: Vec<f64> = (0..9001).map(|i| f64::from(i % 5)).collect();
        let rays = lines.rays().weighted(Each(&weights)).unwrap();
        let traced = telescope.trace_rays(&rays, -0.7).unwrap();
        let spot = telescope.spot_of_rays(&rays, -0.7).unwrap();
        assert_same_spot(&spot, &plainly(&traced), name);
    }
}

#[test]
fn light_is_weight_times_reflectance() {
    let mut primary = Primary::new(318.0, FocalLengthMm(1558.0));
    primary.coating = Coating::new(0.8);
    primary.coating.rings.push(CoatingRing::new(50.0, 100.0, 0.25));
    // At 235 mm from the focus the cone of rays at 100 mm is 15 mm from the axis, the flat's edge 35 mm.
    let flat = Diagonal { reflectance: 0.5, ..Diagonal::new(70.0) };
    let telescope = prepare(Train::builder(primary).diagonal(flat).focal_plane(FocalPlane::new(235.0)));
    let x = [-45.0, 70.0, -120.0, 20.0, 159.5];
    let rays = Rays::new([Each(&x), Same(0.0), Same(1800.0)], [Same(0.0), Same(0.0), Same(-1.0)]).unwrap();
    let weights = [2.0, 2.0, 3.0, 2.0, 2.0];
    let traced = telescope.trace_rays(&rays.weighted(Each(&weights)).unwrap(), 0.0).unwrap();
    // In the flat's shadow, and beside the mirror, there is no light.
    assert_eq!(traced.passed, [true, true, true, false, false]);
    let expected = [2.0 * 0.8 * 0.5, 2.0 * 0.25 * 0.5, 3.0 * 0.8 * 0.5, 0.0, 0.0];
    for i in 0..x.len() {
        assert_close(traced.light[i], expected[i], 1e-15, &format!("light of ray {i}"));
    }
    let spot = telescope.spot_of_rays(&rays.weighted(Each(&weights)).unwrap(), 0.0).unwrap();
    assert_close(spot.light, expected.iter().sum::<f64>(), 1e-15, "their sum");
}

/// Rings the slow way: single rays, asked one by one.
fn rings_one_by_one(telescope: &Prepared, field: Field, shift_mm: f64, rings: usize, each: usize) -> RaySpot {
    let primary = telescope.train().primary();
    let count = rings * each;
    let mut traced = TracedRays {
        focus_shift_mm: shift_mm,
        along_um: vec![0.0; count],
        across_um: vec![0.0; count],
        passed: vec![false; count],
        light: vec![0.0; count],
    };
    for i in 0..count {
        let r = primary.open_diameter_mm() / 2.0 * (((i / each) as f64 + 0.5) / rings as f64).sqrt();
        let angle = ((i % each) as f64 + 0.5) * std::f64::consts::TAU / each as f64;
        let (x, y) = (r * angle.cos(), r * angle.sin());
        if telescope.passes(field, x, y) {
            let ray = telescope.ray(field, x, y);
            let place = ray.at_height_mm(primary.focal_length_mm + shift_mm);
            [traced.along_um[i], traced.across_um[i]] = place.map(|c| c * UM_PER_MM);
            (traced.passed[i], traced.light[i]) = (true, ray.beam * telescope.reflectance(x, y));
        }
    }
    plainly(&traced)
}

#[test]
fn rings_find_what_single_rays_find() {
    let trains = trains().into_iter().map(|(name, parts)| (name, prepare(parts)));
    for (name, telescope) in trains.chain(coated()) {
        for (field, rings, each) in
            [(Field::AXIS, 10, 20), (Field::arcmin(11.0, -4.0), 37, 131), (Field::arcmin(60.0, 0.0), 70, 64)]
        {
            let plain = rings_one_by_one(&telescope, field, 0.3, rings, each);
            match telescope.spot_of_rings(field, 0.3, rings, each) {
                Ok(spot) => {
                    assert_same_spot(&spot, &plain, name);
                }
                Err(error) => {
                    assert!(matches!(error, Error::NoLight { .. }) && plain.passed == 0, "{name}: {error}");
                }
            }
        }
    }
}

#[test]
fn rings_come_near_the_exact_spot() {
    // Truth: tests/data/coma.json, exact rays in 34 digits.
    for row in rows("coma", "kind", "field") {
        let (aperture, focal) = (row.number("clear_aperture_mm"), row.number("focal_length_mm"));
        let field = Field::arcmin(row.number("field_a_arcmin"), row.number("field_b_arcmin"));
        let spot = common::paraboloid(aperture, focal).spot_of_rings(field, 0.0, 128, 128).unwrap();
        let truth = row.number("rms_spot_um");
        // The midpoint rule over r^2: the square is short by 1/(3 n^2) at most of what grows with a power of r^2 up to
        // two.
        assert_close(spot.rms_radius_um / truth, 1.0, 1e-4, "rings against the integral");
    }
}

#[test]
fn bad_rays_are_refused() {
    let telescope = prepare(Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))));
    let refused = |origin: [f64; 3], way: [f64; 3], field: &str| {
        let mut columns: Vec<Vec<f64>> =
            [10.0, 0.0, 2000.0, 0.0, 0.0, -1.0].iter().map(|v| vec![*v; 300]).collect();
        for (column, value) in columns.iter_mut().zip(origin.into_iter().chain(way)) {
            column[200] = value;
        }
        let [x, y, z, dx, dy, dz] = &columns[..] else { unreachable!() };
        let rays = Rays::new([Each(x), Each(y), Each(z)], [Each(dx), Each(dy), Each(dz)]).unwrap();
        for error in
            [telescope.spot_of_rays(&rays, 0.0).unwrap_err(), telescope.trace_rays(&rays, 0.0).unwrap_err()]
        {
            assert_eq!(error.problems()[0].field, field, "{error}");
        }
    };
    let (place, down) = ([10.0, 0.0, 2000.0], [0.0, 0.0, -1.0]);
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        for axis in 0..3 {
            let (mut origin, mut way) = (place, down);
            (origin[axis], way[axis]) = (bad, bad);
            refused(origin, down, "origins_mm[:, 200]");
            refused(place, way, "directions[:, 200]");
        }
    }
    refused(place, [0.0, 0.0, 1.0], "directions[:, 200]");
    refused(place, [0.0, 0.0, 0.0], "directions[:, 200]");
    refused(place, [0.0, 0.0, -1.0001], "directions[:, 200]");
    refused(place, [1.0, 0.0, 0.0], "directions[:, 200]");
    refused([0.0, 0.0, 1e12], down, "origins_mm[:, 200]");
    let one = Rays::new([Same(1.0), Same(0.0), Same(9.0)], [Same(0.0), Same(0.0), Same(-1.0)]).unwrap();
    for weight in [f64::NAN, -1.0, f64::INFINITY] {
        let error = telescope.spot_of_rays(&one.weighted(Same(weight)).unwrap(), 0.0).unwrap_err();
        assert_eq!(error.problems()[0].field, "weights[0]");
    }
    assert!(telescope.spot_of_rays(&one.weighted(Same(0.0)).unwrap(), 0.0).is_err(), "no light at all");
    assert!(telescope.spot_of_rays(&one, 1e6).is_err() && telescope.spot_of_rays(&one, f64::NAN).is_err());
    let none: [f64; 0] = [];
    assert!(Rays::new([Each(&none), Same(0.0), Same(1.0)], [Same(0.0), Same(0.0), Same(-1.0)]).is_err());
    let out =
        RaysOut { along_um: &mut [0.0; 2], across_um: &mut [0.0; 1], passed: &mut [false; 1], light: None };
    let error = telescope.trace_rays_into(&one, 0.0, out).unwrap_err();
    assert_eq!(error.problems()[0].field, "out.along_um");
    for (rings, each) in [(0, 10), (10, 2), (usize::MAX, usize::MAX)] {
        assert!(telescope.spot_of_rings(Field::AXIS, 0.0, rings, each).is_err());
    }
}

#[test]
fn lines_that_miss_are_not_lit() {
    let telescope = prepare(Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.5)));
    let s = std::f64::consts::FRAC_1_SQRT_2;
    let (x, dx, dz) = ([5000.0, -3000.0, 20.0], [s, s, 0.0], [-s, -s, -1.0]);
    let rays = Rays::new([Each(&x), Same(0.0), Same(2000.0)], [Each(&dx), Same(0.0), Each(&dz)]).unwrap();
    let traced = telescope.trace_rays(&rays, 0.0).unwrap();
    assert_eq!(traced.passed, [false, false, true]);
    assert_eq!((traced.along_um[0], traced.across_um[1], traced.light[0]), (0.0, 0.0, 0.0));
}

/// All bits of a mixed piece of work.
fn answers() -> String {
    let mut numbers = Vec::new();
    for (_, parts) in trains() {
        let telescope = prepare(parts);
        let lines = Lines::over(170.0, 50_021, Field::arcmin(5.0, 3.0), 1e-4);
        let spot = telescope.spot_of_rays(&lines.rays(), 0.1).unwrap();
        let own = telescope.spot_of_rings(Field::arcmin(5.0, 3.0), 0.1, 210, 201).unwrap();
        for spot in [spot, own] {
            numbers.extend([spot.light, spot.rms_radius_um, spot.passed as f64]);
            numbers.extend(spot.centroid_um);
            numbers.extend(spot.along_range_um);
        }
        let traced = telescope.trace_rays(&lines.rays(), 0.1).unwrap();
        numbers.extend(traced.along_um.iter().chain(&traced.across_um));
    }
    // FNV-1a of 64 bits (Fowler, Noll, Vo; from memory).
    let mix = |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    let hash = numbers.iter().flat_map(|b: &f64| b.to_bits().to_le_bytes()).fold(0xcbf2_9ce4_8422_2325, mix);
    format!("{hash:016x} of {} numbers with {:?}", numbers.len(), Instructions::in_use())
}

#[test]
fn print_the_bits() {
    if std::env::var_os(ONLY_PRINT).is_some() {
        println!("{MARK} {}", answers());
    }
}

#[test]
fn the_same_bits_at_any_number_of_threads_and_each_set_of_instructions_when_asked() {
    let run = |threads: &str, set: Option<&str>| {
        let mut command = Command::new(std::env::current_exe().expect("this program"));
        command.args(["--exact", "print_the_bits", "--nocapture"]);
        command.env(ONLY_PRINT, "1").env("CATOPTRIC_NUM_THREADS", threads);
        match set {
            Some(set) => command.env("CATOPTRIC_SIMD", set),
            None => command.env_remove("CATOPTRIC_SIMD"),
        };
        let output = command.output().expect("it runs");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let at = text.find(MARK).unwrap_or_else(|| panic!("no bits in {text}"));
        text[at + MARK.len()..].lines().next().unwrap_or("").trim().to_owned()
    };
    let first = run("1", None);
    for threads in ["2", "3", "8"] {
        assert_eq!(run(threads, None), first, "{threads} threads");
    }
    for (name, set) in
        [("portable", Instructions::Portable), ("avx2", Instructions::Avx2), ("avx512", Instructions::Avx512)]
    {
        if set.is_there() {
            let asked = run("2", Some(name));
            assert!(asked.ends_with(&format!("{set:?}")), "{name}: {asked}");
            assert_eq!(asked, run("1", Some(name)), "{name}");
        }
    }
}

/// The other tests of this file in processes that use a narrower set of instructions.
#[test]
fn every_set_of_instructions_is_as_accurate() {
    if std::env::var_os(ONLY_PRINT).is_some() {
        return;
    }
    for (name, set) in [("portable", Instructions::Portable), ("avx2", Instructions::Avx2)] {
        if !set.is_there() || set == Instructions::in_use() {
            continue;
        }
        let output = Command::new(std::env::current_exe().expect("this program"))
            .args(["find", "land", "statistics", "random", "refused", "miss"])
            .env(ONLY_PRINT, "1")
            .env("CATOPTRIC_SIMD", name)
            .output()
            .expect("it runs");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(output.status.success() && text.contains("test result: ok. 8 passed"), "{name}: {text}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn random_trains_agree_with_single_rays(
        (aperture, ratio, conic) in (80.0..600.0_f64, 3.0..10.0_f64, prop_oneof![Just(-1.0), -2.5..0.5_f64]),
        (width, drop, power) in (0.02..0.3_f64, -900.0..900.0_f64, prop_oneof![Just(2.0), Just(3.0), 1.2..5.0_f64]),
        (zone, half, height) in (0.1..0.9_f64, 0.03..0.3_f64, -200.0..200.0_f64),
        profile in proptest::collection::vec(-100.0..100.0_f64, 3..14),
        (x, y, spread) in (-40.0..40.0_f64, -40.0..40.0_f64, 0.0..2e-3_f64),
        (flat, offset, mask) in (0.12..0.4_f64, proptest::option::of(-3.0..6.0_f64), proptest::option::of(0.8..0.99_f64)),
    ) {
        let rim = aperture / 2.0;
        let knots = (0..profile.len()).map(|k| rim * k as f64 / (profile.len() - 1) as f64).collect();
        let mut primary = Primary::new(aperture, FocalLengthMm(aperture * ratio)).conic(conic)
            .layer(TurnedEdge::new(width * rim, drop).power(power))
            .layer(Zone::new(zone * rim, half * rim, height))
            .layer(RadialProfile::new(knots, profile));
        primary.mask_diameter_mm = mask.map(|m| m * aperture);
        let diagonal = Diagonal { offset_mm: offset, ..Diagonal::new(flat * aperture) };
        let plane = FocalPlane::new(0.9 * aperture);
        let Ok(train) = Train::builder(primary).diagonal(diagonal).focal_plane(plane)
            .holder(Holder::new(flat * aperture * 1.1)).build() else { return Ok(()) };
        let telescope = Prepared::new(&train);
        let lines = Lines::over(1.1 * rim, 700, Field::arcmin(x, y), spread);
        let traced = telescope.trace_rays(&lines.rays(), 0.0).unwrap();
        let (mm, alone) = apart(&traced, &one_by_one(&telescope, &lines, 0.0));
        prop_assert_eq!(alone, 0);
        prop_assert!(mm < 1e-11 * (1.0 + aperture * ratio / 2000.0), "{:e} mm", mm);
    }
}
