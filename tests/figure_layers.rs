//! Figure layers that are not round: Zernike terms and maps of heights, against closed forms, geometry and mpmath.

mod common;

use std::f64::consts::TAU;

use catoptric::AxisDirection::{MinusX, MinusY, PlusX, PlusY};
use catoptric::{
    AxisDirection, Diagonal, Field, FocalLengthMm, FocalPlane, Focus, HeightMap, Indexing, Prepared, Primary,
    PsfSize, Severity, Train, ZernikeTerms,
};
use common::{assert_close, assert_close_relative, bare, everything, prepare};
use ndarray::Array2;

const WAVELENGTH_NM: f64 = 550.0;

/// An f/20 paraboloid: (rim/R)^2, by which a wavefront falls short of 2h at the rim, is 1.5625e-4.
const RIM_MM: f64 = 100.0;
const FOCAL_MM: f64 = 4000.0;
const SHORTFALL: f64 = (RIM_MM / 8000.0) * (RIM_MM / 8000.0);

fn slow() -> Primary {
    Primary::new(2.0 * RIM_MM, FocalLengthMm(FOCAL_MM))
}

fn with_term(indexing: Indexing, j: u32, height_nm: f64) -> Prepared {
    bare(slow().layer(ZernikeTerms::new([(j, height_nm)], indexing)))
}

/// Slopes of the glass at a point, from the ray that a star on the axis sends by it (law of reflection, inverted).
fn slopes(mirror: &Prepared, x_mm: f64, y_mm: f64) -> [f64; 2] {
    let [dx, dy, dz] = mirror.ray(Field::AXIS, x_mm, y_mm).direction;
    [-dx / (1.0 + dz), -dy / (1.0 + dz)]
}

fn height_mm(mirror: &Prepared, x_mm: f64, y_mm: f64) -> f64 {
    mirror.ray(Field::AXIS, x_mm, y_mm).hit_mm[2]
}

/// A map of a surface over (x, y) in mm, with the mirror's centre between pixels or on one.
fn sampled(
    surface: impl Fn(f64, f64) -> f64,
    pixel_mm: f64,
    count: usize,
    (rows_run, columns_run): (AxisDirection, AxisDirection),
) -> HeightMap {
    let empty = HeightMap::new(Array2::zeros((count, count + 1)), pixel_mm, rows_run, columns_run);
    let heights = Array2::from_shape_fn((count, count + 1), |(i, j)| {
        let [x, y] = empty.place_mm(i, j);
        surface(x, y)
    });
    HeightMap::new(heights, pixel_mm, rows_run, columns_run)
}

/// A smooth surface without any symmetry, nm, over the f/20 mirror.
fn lopsided_nm(x: f64, y: f64) -> f64 {
    let (u, v) = (x / RIM_MM, y / RIM_MM);
    80.0 * (3.0 * u + 0.4).sin() * (2.0 * v).cos() + 30.0 * u * v * v - 50.0 * (v - 0.3 * u).powi(3)
}

#[test]
fn a_term_of_glass_is_twice_that_term_in_the_wavefront() {
    // design: W = 2h/(1 + (r/R)^2). The term's own coefficient is 2h (1 - s <rho^2 Z^2>), s = (rim/R)^2, to first order
    // in s; <rho^2 Z^2> by hand: 3/4 for (2, 2), 4/5 for (3, 3), 8/15 for (3, 1), 1/2 for (4, 0).
    for (j, share) in [(5, 0.75), (6, 0.75), (7, 8.0 / 15.0), (8, 8.0 / 15.0), (9, 0.8), (10, 0.8), (11, 0.5)]
    {
        let wavefront =
            with_term(Indexing::Noll, j, 20.0).wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM);
        let terms = wavefront.expect("a wavefront").zernikes(Indexing::Noll, 22).expect("a fit");
        for (k, found) in terms.iter().filter(|(k, _)| **k > 3) {
            let truth = if *k == j { 40.0 * (1.0 - SHORTFALL * share) } else { 0.0 };
            // What s makes of the term lies in terms of the same m: at most s/2 of it, 40 nm s/2 = 3e-3 nm.
            let tolerance = if *k == j { 40.0 * SHORTFALL * SHORTFALL } else { 3.2e-3 };
            assert_close(
                *found,
                truth,
                tolerance,
                &format!("Noll {j} in glass, Noll {k} in the wavefront: nm"),
            );
        }
    }
}

#[test]
fn the_three_numberings_name_the_same_glass() {
    // Noll 6, OSA 5 and fringe 5 are all (2, 2); a fringe coefficient is the height at the rim, sqrt(6) times the RMS.
    let truth = height_mm(&with_term(Indexing::Noll, 6, 100.0), 70.0, 20.0);
    let base = height_mm(&bare(slow()), 70.0, 20.0);
    assert_close(
        truth - base,
        1e-4 * 6.0_f64.sqrt() * (0.49 - 0.04),
        1e-15,
        "sqrt(6) (x^2 - y^2) by hand: mm",
    );
    for (indexing, j, height_nm) in [(Indexing::Osa, 5, 100.0), (Indexing::Fringe, 5, 100.0 * 6.0_f64.sqrt())]
    {
        let found = height_mm(&with_term(indexing, j, height_nm), 70.0, 20.0);
        assert_close(found, truth, 1e-15, &format!("{indexing:?} {j}: mm"));
    }
}

#[test]
fn strehl_is_that_of_the_bessel_integrals() {
    // mpmath 1.4.1, 30 digits: |2 int_0^1 J0(k f(rho)/(1 + s rho^2)) rho drho|^2 with k = 4 pi h/lambda, f the term's
    // radial part and s = (rim/R)^2, at the paraxial focus; the term (4, 0) by the same integral of exp(i k f). Without s
    // the first is [2/P sum J_(2k+1)(P)]^2, P = sqrt(6) k (Abramowitz & Stegun 11.1.2): 0.621854.
    let golden = [
        (2, 2, 30.0, 0.621_922_608_498_486),
        (2, 2, 70.0, 0.072_917_393_686_190_5),
        (4, 0, 30.0, 0.615_450_381_201_535),
        (4, 0, 70.0, 0.086_411_290_126_701_4),
        (3, 3, 30.0, 0.631_167_595_465_812),
        (3, -3, 70.0, 0.130_898_194_227_359),
        (4, 2, 30.0, 0.622_008_072_981_592),
        (4, -2, 70.0, 0.063_828_561_262_076_6),
        (40, 40, 30.0, 0.838_857_446_331_184),
        (40, -40, 70.0, 0.775_438_049_361_641),
    ];
    for (n, m, height_nm, truth) in golden {
        let j = Indexing::Osa.index(n, m).expect("a term");
        let wavefront = with_term(Indexing::Osa, j, height_nm)
            .wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM)
            .expect("a wavefront");
        let what = format!("({n}, {m}) of {height_nm} nm: Strehl");
        assert_close(wavefront.strehl, truth, 1e-8, &what);
        assert!(wavefront.error_estimate >= (wavefront.strehl - truth).abs(), "{what}: the estimate holds");
    }
}

#[test]
fn peak_to_valley_of_astigmatism_lies_on_the_rim() {
    // sqrt(6) rho^2 cos: from -sqrt(6) to +sqrt(6) at the rim, doubled, over 1 + s.
    let wavefront = with_term(Indexing::Noll, 5, 20.0)
        .wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM)
        .expect("a wavefront");
    assert_close(wavefront.pv_nm, 80.0 * 6.0_f64.sqrt() / (1.0 + SHORTFALL), 1e-5, "astigmatism: PV, nm");
    // rho^40 cos(40 t) has its eighty summits on the rim alone.
    let j = Indexing::Osa.index(40, -40).expect("a term");
    let wavefront = with_term(Indexing::Osa, j, 5.0).wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM);
    let truth = 20.0 * 82.0_f64.sqrt() / (1.0 + SHORTFALL);
    assert_close(wavefront.expect("a wavefront").pv_nm, truth, 1e-5, "forty waves around: PV, nm");
}

#[test]
fn a_hill_on_the_focusers_side_stands_at_plus_x() {
    let hill = |x0: f64, y0: f64| {
        move |x: f64, y: f64| 40.0 * (-((x - x0).powi(2) + (y - y0).powi(2)) / 15.0_f64.powi(2)).exp()
    };
    for (x0, y0) in [(60.0, 0.0), (0.0, 60.0), (-40.0, 30.0)] {
        let map = sampled(hill(x0, y0), 4.0, 54, (MinusY, PlusX));
        let wavefront = bare(slow().layer(map))
            .wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM)
            .expect("a wavefront")
            .map(101)
            .expect("a map");
        let lit = wavefront.path_nm.indexed_iter().filter_map(|((i, j), w)| w.map(|w| (w, i, j)));
        let (_, row, column) = lit.max_by(|a, b| a.0.total_cmp(&b.0)).expect("lit");
        assert_close(wavefront.axis_mm[column], x0, 2.1, "the wavefront's summit: x, mm");
        assert_close(wavefront.axis_mm[row], y0, 2.1, "the wavefront's summit: y, mm");
    }
    // sqrt(8) (3 rho^3 - 2 rho) cos: Noll 8 is high toward +x, Noll 7, its sine, toward +y.
    let plain = bare(slow());
    for (j, x, y) in [(8, 95.0, 0.0), (7, 0.0, 95.0)] {
        let rise = height_mm(&with_term(Indexing::Noll, j, 30.0), x, y) - height_mm(&plain, x, y);
        let rho: f64 = 0.95;
        let truth = 30e-6 * 8.0_f64.sqrt() * (3.0 * rho.powi(3) - 2.0 * rho);
        assert_close(rise, truth, 1e-14, &format!("Noll {j} on its own side: mm"));
    }
}

#[test]
fn astigmatic_glass_has_two_line_foci_where_geometry_puts_them() {
    // z = x^2 (1/(4f) + k) + y^2 (1/(4f) - k), k = sqrt(6) h/rim^2: an exact parabola in each of the two planes of symmetry,
    // with focal lengths f/(1 + 4fk) and f/(1 - 4fk). Glass raised at +-x is deeper curved along x and focuses nearer.
    let height_nm = 300.0;
    let mirror = with_term(Indexing::Noll, 6, height_nm);
    let k = 6.0_f64.sqrt() * height_nm * 1e-6 / RIM_MM.powi(2);
    let nearer = FOCAL_MM / (1.0 + 4.0 * FOCAL_MM * k);
    let further = FOCAL_MM / (1.0 - 4.0 * FOCAL_MM * k);
    for r in [-97.0, 20.0, 60.0, 99.0] {
        for (x, y, axis, truth) in [(r, 0.0, 0, nearer), (0.0, r, 1, further)] {
            let ray = mirror.ray(Field::AXIS, x, y);
            let crossing = ray.hit_mm[2] - ray.hit_mm[axis] * ray.direction[2] / ray.direction[axis];
            assert_close(crossing, truth, 1e-8, &format!("ray by ({x}, {y}) crosses the axis: mm"));
        }
    }
    // In the plane of the nearer focus all rays have come to x = 0 and still lie along y: rim rays at
    // rim (1 - (z - z0)/(further - z0)), z0 the rim's sagitta.
    let spot = mirror.spot_at(Field::AXIS, nearer - FOCAL_MM, 2000).expect("a spot");
    let sagitta = height_mm(&mirror, 0.0, RIM_MM);
    let half_um = RIM_MM * (1.0 - (nearer - sagitta) / (further - sagitta)) * 1000.0;
    assert_close_relative(spot.sagittal_extent_um, 2.0 * half_um, 1e-9, "the line lies across: um");
    assert!(spot.tangential_extent_um < 1e-3 * spot.sagittal_extent_um, "and is thin");
    // Rays fill the line as the pupil fills y: mean of y^2 is rim^2/4.
    assert_close_relative(spot.rms_radius_um, half_um / 2.0, 2e-3, "RMS of the line: um");
    let spot = mirror.spot_at(Field::AXIS, further - FOCAL_MM, 2000).expect("a spot");
    assert!(spot.sagittal_extent_um < 1e-3 * spot.tangential_extent_um, "the further line lies along x");
    // Halfway the scatter is round: each ray is off by r (further - nearer)/(2f), mean of r^2 is rim^2/2.
    let middle = mirror.least_spot_shift_mm(Field::AXIS).expect("a focus");
    assert_close(
        middle,
        f64::midpoint(nearer, further) - FOCAL_MM,
        2e-3 * (further - nearer),
        "between them: mm",
    );
    let spot = mirror.spot_at(Field::AXIS, middle, 2000).expect("a spot");
    let truth = RIM_MM / 2.0_f64.sqrt() * (further - nearer) / (2.0 * FOCAL_MM) * 1000.0;
    assert_close_relative(spot.rms_radius_um, truth, 2e-3, "least confusion: RMS, um");
    assert!(spot.error_um < 1e-6 * spot.rms_radius_um, "the sums over the pupil are done: {}", spot.error_um);
}

#[test]
fn slopes_are_the_derivatives_of_the_heights() {
    let figure = ZernikeTerms::new([(8, 900.0), (14, -700.0), (60, 400.0)], Indexing::Noll);
    let map = sampled(lopsided_nm, 5.0, 46, (PlusX, MinusY));
    let mirror = bare(slow().layer(figure).layer(map));
    for (x, y) in [(0.0, 0.0), (3.0, -90.0), (55.0, 41.0), (-70.0, 70.0), (99.9, 0.0), (-31.3, 12.4)] {
        let (d, [by_x, by_y]) = (2e-4, slopes(&mirror, x, y));
        let along = (height_mm(&mirror, x + d, y) - height_mm(&mirror, x - d, y)) / (2.0 * d);
        let across = (height_mm(&mirror, x, y + d) - height_mm(&mirror, x, y - d)) / (2.0 * d);
        // Third derivatives by the rim reach 1e-4/mm^2, times d^2/6; rounding of a height of 0.6 mm over the step, 6e-13.
        assert_close(by_x, along, 1.5e-12, "slope along x");
        assert_close(by_y, across, 1.5e-12, "slope along y");
    }
}

#[test]
fn a_line_from_anywhere_meets_the_same_glass() {
    let mirror = bare(slow().layer(ZernikeTerms::new([(8, 9000.0), (60, 4000.0)], Indexing::Noll)));
    for (x, y) in [(0.0, 0.0), (12.0, -80.0), (-66.0, 31.0)] {
        let ray = mirror.ray_from([x - 20.0, y + 10.0, 2000.0], [0.01, -0.005, -1.0]).expect("it hits");
        let [hx, hy, hz] = ray.hit_mm;
        assert_close(hz, height_mm(&mirror, hx, hy), 1e-12, "the hit lies on the glass: mm");
        assert_close(hx - (x - 20.0), 0.01 * (2000.0 - hz), 1e-9, "and on the line: mm");
    }
}

/// Noll 6, 8, 11, 16 and 21 in one surface.
const SAMPLED_NM: [(u32, f64); 5] = [(6, 150.0), (8, 100.0), (11, 100.0), (16, 75.0), (21, 50.0)];

/// The same polynomials written out by hand, which run on beyond the rim.
fn sampled_nm(x: f64, y: f64) -> f64 {
    let (u, v) = (x / RIM_MM, y / RIM_MM);
    let (square, angle) = (u * u + v * v, v.atan2(u));
    let rho = square.sqrt();
    150.0 * 6.0_f64.sqrt() * square * (2.0 * angle).cos()
        + 100.0 * 8.0_f64.sqrt() * (3.0 * square - 2.0) * rho * angle.cos()
        + 100.0 * 5.0_f64.sqrt() * (6.0 * square * square - 6.0 * square + 1.0)
        + 75.0 * 12.0_f64.sqrt() * (10.0 * square * square - 12.0 * square + 3.0) * rho * angle.cos()
        + 50.0 * 12.0_f64.sqrt() * square * square * rho * (5.0 * angle).sin()
}

/// Points spread over the mirror, mm.
fn scattered() -> impl Iterator<Item = (f64, f64)> {
    (0..400).map(|i| {
        let (r, angle) = (98.0 * (f64::from(i) / 400.0).sqrt(), 2.399_963 * f64::from(i));
        (r * angle.cos(), r * angle.sin())
    })
}

#[test]
fn a_sampled_surface_converges_to_the_surface() {
    // Bicubic splines: heights by the fourth power of the pixel, slopes by the third (Hall & Meyer 1976, from memory).
    let truth = bare(slow().layer(ZernikeTerms::new(SAMPLED_NM, Indexing::Noll)));
    let errors = |pixel_mm: f64, count: usize| {
        let mirror = bare(slow().layer(sampled(sampled_nm, pixel_mm, count, (PlusY, PlusX))));
        scattered().fold((0.0_f64, 0.0_f64), |(h, s), (x, y)| {
            let height = (height_mm(&mirror, x, y) - height_mm(&truth, x, y)).abs() * 1e6;
            let slope = (0..2).map(|i| (slopes(&mirror, x, y)[i] - slopes(&truth, x, y)[i]).abs());
            (h.max(height), slope.fold(s, f64::max))
        })
    };
    let (coarse, fine) = (errors(10.0, 28), errors(5.0, 50));
    println!("heights {} -> {} nm, slopes {:e} -> {:e}", coarse.0, fine.0, coarse.1, fine.1);
    // d^4 (f_xxxx + f_yyyy)/384 with 4.8e5 nm/rim^4 by hand at x = rim; scipy 1.17's RectBivariateSpline comes to 0.0070 nm.
    assert!(fine.0 < 4.8e5 * 0.05_f64.powi(4) / 384.0, "5 mm pixels: {} nm of 750", fine.0);
    assert!(
        (3.5..4.6).contains(&(coarse.0 / fine.0).log2()),
        "heights: order {}",
        (coarse.0 / fine.0).log2()
    );
    assert!((2.5..3.6).contains(&(coarse.1 / fine.1).log2()), "slopes: order {}", (coarse.1 / fine.1).log2());
    // And the wavefront: 0.05 nm of glass cannot move a Strehl by more.
    let wave = |mirror: &Prepared| {
        mirror.wavefront(Field::arcmin(4.0, 7.0), Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront")
    };
    let mirror = bare(slow().layer(sampled(|x, y| 0.2 * sampled_nm(x, y), 2.0, 110, (PlusY, PlusX))));
    let fifth = ZernikeTerms::new(SAMPLED_NM.map(|(j, h)| (j, 0.2 * h)), Indexing::Noll);
    let (found, truth) = (wave(&mirror), wave(&bare(slow().layer(fifth))));
    assert_close(found.rms_nm, truth.rms_nm, 1e-5, "a sampled mirror: RMS, nm");
    assert_close(found.strehl, truth.strehl, 1e-8, "a sampled mirror: Strehl");
}

const ORIENTATIONS: [(AxisDirection, AxisDirection); 8] = [
    (PlusY, PlusX),
    (PlusY, MinusX),
    (MinusY, PlusX),
    (MinusY, MinusX),
    (PlusX, PlusY),
    (PlusX, MinusY),
    (MinusX, PlusY),
    (MinusX, MinusY),
];

#[test]
fn rows_and_columns_run_where_they_are_said_to_run() {
    // One raised pixel, ten rows and four columns after the middle one, 5 mm each; where it lies is written out by hand.
    let places = [
        (20.0, 50.0),
        (-20.0, 50.0),
        (20.0, -50.0),
        (-20.0, -50.0),
        (50.0, 20.0),
        (50.0, -20.0),
        (-50.0, 20.0),
        (-50.0, -20.0),
    ];
    let mut heights = Array2::zeros((43, 43));
    heights[[31, 25]] = 100.0;
    let plain = bare(slow());
    for ((rows, columns), (x, y)) in ORIENTATIONS.into_iter().zip(places) {
        let mirror = bare(slow().layer(HeightMap::new(heights.clone(), 5.0, rows, columns)));
        let rise = |x, y| (height_mm(&mirror, x, y) - height_mm(&plain, x, y)) * 1e6;
        let what = format!("rows {}, columns {}", rows.name(), columns.name());
        assert_close(rise(x, y), 100.0, 1e-6, &format!("{what}: nm at ({x}, {y})"));
        assert!(
            rise(y, x).abs() < 1.0 && rise(-x, y).abs() < 1.0 && rise(x, -y).abs() < 1.0,
            "{what}: only there"
        );
    }
}

#[test]
fn a_map_read_in_any_orientation_is_the_same_glass_and_flipped_is_not() {
    let truth = bare(slow().layer(sampled(lopsided_nm, 4.0, 56, ORIENTATIONS[0])));
    for orientation in ORIENTATIONS {
        let map = sampled(lopsided_nm, 4.0, 56, orientation);
        let mirrored = HeightMap {
            columns_run: match orientation.1 {
                PlusX => MinusX,
                MinusX => PlusX,
                PlusY => MinusY,
                MinusY => PlusY,
            },
            ..map.clone()
        };
        let (mirror, mirrored) = (bare(slow().layer(map)), bare(slow().layer(mirrored)));
        let mut apart = 0.0_f64;
        for (x, y) in scattered() {
            let height = height_mm(&truth, x, y);
            // The nets of the eight are not the same (56 x 57 pixels): both are within 0.05 nm of the surface.
            assert_close(height_mm(&mirror, x, y), height, 1e-7, &format!("{orientation:?}: mm"));
            apart = apart.max((height_mm(&mirrored, x, y) - height).abs());
        }
        assert!(apart > 2e-5, "{orientation:?} mirrored is another glass, by {apart} mm");
    }
}

#[test]
fn a_map_need_not_have_the_mirrors_centre_in_its_middle() {
    let map = sampled(lopsided_nm, 4.0, 70, (MinusY, PlusX));
    let truth = bare(slow().layer(map.clone()));
    let heights = map.height_nm.slice_move_rows(6, 5);
    let cut =
        HeightMap::new(heights, 4.0, MinusY, PlusX).centre(map.centre_row - 6.0, map.centre_column - 5.0);
    let mirror = bare(slow().layer(cut));
    for (x, y) in scattered() {
        assert_close(height_mm(&mirror, x, y), height_mm(&truth, x, y), 1e-9, "a cut map: mm");
    }
}

/// The net without its first rows and columns.
trait Cut {
    fn slice_move_rows(&self, rows: usize, columns: usize) -> Array2<f64>;
}

impl Cut for Array2<f64> {
    fn slice_move_rows(&self, rows: usize, columns: usize) -> Array2<f64> {
        let (height, width) = self.dim();
        Array2::from_shape_fn((height - rows, width - columns), |(i, j)| self[[i + rows, j + columns]])
    }
}

#[test]
fn a_held_rim_is_level_and_costs_what_is_said() {
    // Measured to the rim and no further: the cells across the rim lack corners.
    let cone = |x: f64, y: f64| if x.hypot(y) <= RIM_MM { x.hypot(y) } else { f64::NAN };
    let map = sampled(cone, 2.0, 120, (PlusY, PlusX));
    let refused = Train::builder(slow().layer(map.clone())).build().expect_err("a rim without heights");
    assert!(refused.to_string().contains("hold_edge"), "{refused}");
    let train = Train::builder(slow().layer(map.hold_edge())).build().expect("held");
    assert!(
        train.problems().iter().any(|p| p.severity == Severity::Warning && p.field.ends_with("height_nm"))
    );
    let mirror = Prepared::new(&train);
    let plain = bare(slow());
    for i in 0..360 {
        let (sin, cos) = (TAU * f64::from(i) / 360.0).sin_cos();
        let rise =
            |r: f64| (height_mm(&mirror, r * cos, r * sin) - height_mm(&plain, r * cos, r * sin)) * 1e6;
        // 1 nm a mm, over at most the diagonal of a pixel.
        assert_close(rise(99.9), 99.9, 2.9, "by the held rim: nm");
        assert_close(rise(95.0), 95.0, 0.05, "well inside: nm");
    }
}

#[test]
fn light_is_neither_lost_nor_made() {
    let figure = ZernikeTerms::new([(6, 300.0), (23, 200.0)], Indexing::Noll);
    let map = sampled(|x, y| lopsided_nm(x * 0.6, y * 0.6), 9.0, 40, (MinusY, PlusX));
    let base = everything().build().expect("a train").primary().clone();
    let rough = |parts: catoptric::TrainBuilder| {
        let mut parts = parts;
        parts.primary = base.clone().layer(figure.clone()).layer(map.clone());
        prepare(parts)
    };
    let telescope = rough(everything());
    for (x, y) in [(0.0, 0.0), (12.0, -5.0), (35.0, 20.0)] {
        let field = Field::arcmin(x, y);
        let light = telescope.light(field);
        let all: f64 = light.lit_fraction + light.stopped.iter().map(|s| s.fraction).sum::<f64>();
        assert_close(all, 1.0, 1e-12, "lit and stopped add up");
        assert!(light.error_estimate < 1e-7, "at {x} {y}: {:e}", light.error_estimate);
        let sampled = telescope.light_by_rays(field);
        assert_close(light.lit_fraction, sampled.lit_fraction, 3e-4, "against 100 000 rays");
    }
    let open = bare(slow().layer(ZernikeTerms::new([(8, 3000.0)], Indexing::Noll)));
    assert_close(open.light(Field::arcmin(20.0, 5.0)).lit_fraction, 1.0, 1e-12, "nothing in the way");
}

#[test]
fn an_opening_cuts_the_uneven_mirror_where_rays_say() {
    // The beam's cross-section of the glass itself: a tilted sheet, h = a x, turns |d.N| by a tx everywhere, so that the
    // share of a masked mirror stays the ratio of areas: closed form.
    let tilt = ZernikeTerms::new([(2, 20_000.0)], Indexing::Noll);
    let masked = bare(slow().mask_diameter_mm(150.0).layer(tilt));
    assert_close(
        masked.light(Field::arcmin(60.0, 0.0)).lit_fraction,
        0.75 * 0.75,
        1e-12,
        "a masked, tilted mirror",
    );
}

#[test]
fn a_tilt_changes_no_star() {
    let plain = bare(slow()).wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    let tilted = with_term(Indexing::Noll, 2, 500.0)
        .wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM)
        .expect("a wavefront");
    // The tilt 4 h/D = 10 urad makes 20 urad off the axis: coma at f/20 of 1e-3 nm.
    assert_close(tilted.rms_nm, plain.rms_nm, 2e-3, "a tilted mirror: RMS, nm");
    // h = 2 c x/rim: slope 1e-5; the image moves by twice that, away from the raised side.
    let truth_um = -2.0 * (2.0 * 500e-6 / RIM_MM) * FOCAL_MM * 1000.0;
    assert_close(tilted.reference_um()[0], truth_um, 1e-3 * truth_um.abs(), "its star has moved: um");
}

#[test]
fn an_astigmatic_star_is_a_cross_of_the_right_width() {
    let perfect = bare(slow()).wavefront(Field::AXIS, Focus::Peak, WAVELENGTH_NM).expect("a wavefront");
    let star = with_term(Indexing::Noll, 6, 60.0);
    let wave = star.wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM).expect("a wavefront");
    let image = wave.psf(PsfSize { half_width_um: None, pixels: 65 }).expect("a star");
    assert_close(image.fwhm_along_um, image.fwhm_across_um, 1e-3, "halfway both are alike: um");
    assert!(image.error_estimate <= 1e-6);
    assert!(wave.strehl < perfect.strehl);
    // The pupil's light goes through the map of a sampled figure as well, off the axis and behind a flat.
    let map = sampled(|x, y| 0.3 * lopsided_nm(x, y), 5.0, 44, (MinusY, PlusX));
    let parts =
        Train::builder(slow().layer(map)).diagonal(Diagonal::new(45.0)).focal_plane(FocalPlane::new(200.0));
    let wave =
        prepare(parts).wavefront(Field::arcmin(3.0, -8.0), Focus::Peak, WAVELENGTH_NM).expect("a wavefront");
    let image = wave.psf(PsfSize { half_width_um: None, pixels: 33 }).expect("a star");
    assert_close(image.image[[16, 16]], wave.strehl, 1e-5, "the centre of the picture is the Strehl");
}

#[test]
fn rough_glass_states_its_error() {
    // Heights drawn for every pixel by themselves: no smooth integrand, and no closed form. The slow obvious twin is
    // |mean of exp(4 pi i h/lambda (1 + (r/R)^2)^-1)|^2 over twelve by twelve points of every pixel.
    let mut state = 7_u64;
    let mut draw = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / 2.0_f64.powi(31) - 0.5
    };
    let rough = Array2::from_shape_fn((60, 60), |_| draw());
    let plain = bare(slow());
    for height_nm in [40.0, 150.0, 700.0] {
        let map = HeightMap::new(rough.mapv(|h| h * height_nm), 3.6, PlusY, PlusX);
        let mirror = bare(slow().layer(map));
        let wave = mirror.wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM).expect("it settles");
        let [dx, dy] = wave.reference_um().map(|um| um * 1e-3 / FOCAL_MM);
        let (mut re, mut im, mut count) = (0.0, 0.0, 0.0);
        let place = |i: i32| 0.3 * (f64::from(i) + 0.5);
        for (x, y) in (-334..334).flat_map(|i| (-334..334).map(move |j| (place(i), place(j)))) {
            let square = x * x + y * y;
            if square <= RIM_MM * RIM_MM {
                let height = height_mm(&mirror, x, y) - height_mm(&plain, x, y);
                // Seen from a point beside the axis the path differs by the tilt.
                let path = 2.0 * height / (1.0 + square / 8000.0_f64.powi(2)) + x * dx + y * dy;
                let (s, c) = (TAU * path * 1e6 / WAVELENGTH_NM).sin_cos();
                (re, im, count) = (re + c, im + s, count + 1.0);
            }
        }
        let truth = (re * re + im * im) / (count * count);
        // The twin's own rim is ragged: 2100 of its 350 000 points lie there, half of them right by chance.
        let tolerance = wave.error_estimate + 2e-5;
        assert_close(wave.strehl, truth, tolerance, &format!("{height_nm} nm from pixel to pixel: Strehl"));
        assert!(wave.error_estimate <= 1e-3, "{height_nm} nm: {}", wave.error_estimate);
        println!("{height_nm}: estimate {:e}", wave.error_estimate);
    }
}
