//! Star images and contrast behind a sensor's mask, thick glass, the focuser's hole and a misplaced flat.

mod common;

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

use catoptric::{
    Diagonal, Field, FilterRing, FlatEdge, FocalLengthMm, FocalPlane, Focus, FocuserBoard, Misplacement,
    MtfOptions, Prepared, Primary, PsfSize, SensorMask, Spider, Train, TrainBuilder, Wavefront,
};
use common::{assert_close, prepare};

const WAVELENGTH_MM: f64 = 550e-6;
/// A mirror so slow that its cone crowds nothing: what it does to a pupil of 50 mm is 4e-7 of it.
const RIM_MM: f64 = 50.0;
const SLOW_MM: f64 = 40_000.0;
const HOLE_MM: f64 = 10.0;

fn slow(flat: Diagonal) -> TrainBuilder {
    Train::builder(Primary::new(2.0 * RIM_MM, FocalLengthMm(SLOW_MM)))
        .diagonal(flat.offset_mm(0.0))
        .focal_plane(FocalPlane::new(200.0))
}

/// The lit intervals of a row of the pupil, in the order of x.
type Row = Vec<(f64, f64)>;
type Rows = Box<dyn Fn(f64) -> Row>;

fn disc(radius: f64, centre: f64, y: f64) -> Option<(f64, f64)> {
    let half = radius * radius - y * y;
    (half > 0.0).then(|| (centre - half.sqrt(), centre + half.sqrt()))
}

fn without(whole: (f64, f64), hole: Option<(f64, f64)>) -> Row {
    let Some((from, to)) = hole else { return vec![whole] };
    [(whole.0, from.min(whole.1)), (to.max(whole.0), whole.1)].into_iter().filter(|(a, b)| b > a).collect()
}

/// A rectangle turned by an angle: where a row lies within both pairs of its sides.
fn rectangle(half: [f64; 2], angle_deg: f64, y: f64) -> (f64, f64) {
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    // |x cos + y sin| < half 0, |y cos - x sin| < half 1.
    let band = |slope: f64, offset: f64, half: f64| {
        let (a, b) = ((-half - offset) / slope, (half - offset) / slope);
        (a.min(b), a.max(b))
    };
    let (a, b) = (band(cos, y * sin, half[0]), band(-sin, y * cos, half[1]));
    (a.0.max(b.0), a.1.min(b.1))
}

const STEPS: u32 = 60_000;

fn heights() -> impl Iterator<Item = f64> {
    (0..STEPS).map(|i| RIM_MM * (2.0 * (f64::from(i) + 0.5) / f64::from(STEPS) - 1.0))
}

/// The overlap of two copies of a pupil one shift apart along x, over the pupil's area.
fn overlap(rows: &Rows, shift: f64) -> f64 {
    let (mut both, mut area) = (0.0, 0.0);
    for y in heights() {
        let row = rows(y);
        area += row.iter().map(|(a, b)| b - a).sum::<f64>();
        for (a, b) in &row {
            for (c, d) in &row {
                both += (b.min(d + shift) - a.max(c + shift)).max(0.0);
            }
        }
    }
    both / area
}

/// The light at a distance along x from the middle of the image over that in the middle.
fn intensity(rows: &Rows, away_mm: f64) -> f64 {
    let k = TAU * away_mm / (WAVELENGTH_MM * SLOW_MM);
    let (mut re, mut im, mut area) = (0.0, 0.0, 0.0);
    for y in heights() {
        for (a, b) in rows(y) {
            area += b - a;
            if k == 0.0 {
                re += b - a;
            } else {
                re += ((k * b).sin() - (k * a).sin()) / k;
                im += ((k * a).cos() - (k * b).cos()) / k;
            }
        }
    }
    (re * re + im * im) / (area * area)
}

/// Each new part cutting alone, and the rows of its pupil along x.
fn pupils() -> Vec<(&'static str, TrainBuilder, Rows)> {
    let before = 60.0;
    let scale = SLOW_MM / before;
    let hole = |y: f64| disc(HOLE_MM, 0.0, y);
    let open = |y: f64| disc(RIM_MM, 0.0, y).unwrap_or((0.0, 0.0));
    let meet = |a: (f64, f64), b: (f64, f64)| (a.0.max(b.0), a.1.min(b.1));
    let flat = Diagonal::new(2.0 * HOLE_MM);
    let thickness = 12.0;
    let thick = flat.thickness_mm(thickness, FlatEdge::SquareToFace).bevel_mm(1.0);
    let drift = thickness * FRAC_1_SQRT_2;
    let lit = |row: (f64, f64), hole: Option<(f64, f64)>| {
        if row.1 > row.0 { without(row, hole) } else { vec![] }
    };
    let masks = [([70.0, 70.0], 28.0), ([64.0, 88.0], -12.0)].map(|(sides, angle)| {
        let mask = SensorMask::new(sides[0] / scale, sides[1] / scale, before).rotation_deg(angle);
        let rows: Rows = Box::new(move |y| {
            let half = sides.map(|s: f64| s / 2.0);
            lit(meet(rectangle(half, angle, y), open(y)), hole(y))
        });
        ("sensor mask", slow(flat).sensor_mask(mask), rows)
    });
    let glass: Rows = Box::new(move |y| {
        let (face, back) = (disc(HOLE_MM + 1.0, 0.0, y), disc(HOLE_MM + 1.0, -drift, y));
        lit(open(y), face.zip(back).map(|(face, back)| (back.0, face.1)))
    });
    let inner = |radius: f64| -> Rows {
        Box::new(move |y| disc(radius, 0.0, y).map_or_else(Vec::new, |row| lit(row, hole(y))))
    };
    let board = FocuserBoard::new(2.0 * 41.0 / scale, 200.0 - before);
    let ring = FilterRing::new(2.0 * 37.0 / scale, before);
    masks
        .into_iter()
        .chain([
            ("glass", slow(thick), glass),
            ("focuser board", slow(flat).focuser_board(board), inner(41.0)),
            ("filter ring", slow(flat).filter_ring(ring), inner(37.0)),
        ])
        .collect()
}

fn wave(telescope: &Prepared) -> Wavefront {
    telescope.wavefront(Field::AXIS, Focus::Paraxial, 550.0).expect("a wavefront")
}

#[test]
fn contrast_behind_each_part_is_the_overlap_of_its_pupil() {
    for (name, parts, rows) in pupils() {
        let wave = wave(&prepare(parts));
        let shifts = [6.0, 17.0, 31.0, 48.0, 66.0];
        let frequency = shifts.map(|s| s / (WAVELENGTH_MM * SLOW_MM)).to_vec();
        let options = MtfOptions { frequency_per_mm: Some(frequency), ..MtfOptions::default() };
        let found = wave.otf(0.0, &options).expect("a transfer function");
        for (shift, real) in shifts.into_iter().zip(&found.real) {
            // 60 000 rows hold 1e-7, the slow cone 1e-6.
            assert_close(*real, overlap(&rows, shift), 2e-6, &format!("{name}: contrast"));
        }
        assert!(found.error_estimate <= 1e-5, "{name}: {}", found.error_estimate);
    }
}

#[test]
fn a_star_behind_each_part_is_the_transform_of_its_pupil() {
    for (name, parts, rows) in pupils() {
        let wave = wave(&prepare(parts));
        let star = wave.psf(PsfSize { half_width_um: Some(900.0), pixels: 25 }).expect("a star");
        assert_close(wave.strehl, 1.0, 1e-6, &format!("{name}: Strehl"));
        for j in [12, 14, 15, 17, 19, 24] {
            let wanted = intensity(&rows, star.along_um[j] * 1e-3);
            assert_close(star.image[[12, j]], wanted, 2e-6, &format!("{name}: star"));
        }
        assert!(star.error_estimate < 1e-6, "{name}: {}", star.error_estimate);
    }
}

#[test]
fn a_flat_out_of_its_place_costs_an_uncut_star_nothing() {
    let telescope = |conic: f64, flat: Diagonal| {
        let primary = Primary::new(318.0, FocalLengthMm(1558.0)).conic(conic);
        let train = Train::builder(primary).diagonal(flat).focal_plane(FocalPlane::new(235.0));
        let wave = prepare(train).wavefront(Field::AXIS, Focus::LeastRms, 550.0).expect("a wavefront");
        (wave.strehl, wave.rms_nm)
    };
    let flat = Diagonal::new(72.0).offset_mm(3.0);
    let turned =
        Misplacement { nod_arcmin: 20.0, roll_arcmin: -15.0, turn_arcmin: 10.0, ..Misplacement::NONE };
    let dropped = Misplacement { toward_primary_mm: 1.0, across_mm: -1.5, ..Misplacement::NONE };
    for misplaced in [turned, dropped] {
        let (strehl, rms_nm) = telescope(-1.0, flat.misplaced(misplaced));
        assert_close(strehl, 1.0, 1e-9, "misplaced: a perfect mirror's Strehl");
        assert_close(rms_nm, 0.0, 1e-6, "misplaced: its wavefront, nm");
    }
    // An imperfect mirror keeps its own where the shadow stays: turned about its centre it changes its outline by the turn's
    // share of it, 6e-3 of a twentieth of the light.
    let imperfect = |flat: Diagonal| telescope(-0.9, flat).0;
    assert_close(imperfect(flat.misplaced(turned)), imperfect(flat), 3e-4, "misplaced: turned");
    // Moved within its plane a flat is one of another offset.
    let slid = Misplacement { toward_primary_mm: 1.25, toward_focuser_mm: -1.25, ..Misplacement::NONE };
    let other = imperfect(flat.offset_mm(4.25));
    assert_close(imperfect(flat.misplaced(slid)), other, 1e-9, "misplaced: another offset");
    assert!((other - imperfect(flat)).abs() > 1e-6);
}

/// Everything at once, off the axis, at f/4.9, with a crooked flat of thick glass.
fn crowded() -> Prepared {
    let misplaced = Misplacement {
        toward_primary_mm: 0.6,
        across_mm: -0.4,
        nod_arcmin: 5.0,
        roll_arcmin: -8.0,
        turn_arcmin: 6.0,
        ..Misplacement::NONE
    };
    let flat = Diagonal::new(64.0).thickness_mm(15.0, FlatEdge::SquareToFace).bevel_mm(0.7);
    let parts = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
        .diagonal(flat.misplaced(misplaced))
        .focal_plane(FocalPlane::new(235.0))
        .focuser_board(FocuserBoard::new(15.2, 172.0))
        .filter_ring(FilterRing::new(10.8, 40.0))
        .sensor_mask(SensorMask::new(5.8, 4.8, 14.0).rotation_deg(25.0))
        .spider(Spider::new(3, 2.0).angle_deg(20.0));
    prepare(parts)
}

const FIELD: (f64, f64) = (5.0, -3.0);

#[test]
fn a_crowded_star_is_that_of_the_full_path_sum() {
    let prepared = crowded();
    let field = Field::arcmin(FIELD.0, FIELD.1);
    let light = prepared.light(field);
    let cut: Vec<_> = light.stopped.iter().filter(|s| s.fraction > 1e-3).map(|s| s.part).collect();
    assert!(cut.len() >= 4, "{light:?}");
    let wave = prepared.wavefront(field, Focus::LeastRms, 550.0).expect("a wavefront");
    let star = wave.psf(PsfSize { half_width_um: Some(20.0), pixels: 25 }).expect("a star");
    let pixels = [[12, 12], [12, 15], [7, 12], [4, 20], [24, 24], [20, 4]];
    let d = field.towards();
    let [tx, ty] = field.tangents();
    let [x0, y0] =
        [-1558.0 * tx + wave.reference_um()[0] / 1000.0, -1558.0 * ty + wave.reference_um()[1] / 1000.0];
    let z0 = 1558.0 + wave.focus_shift_mm();
    let mut sums = [[0.0; 2]; 6];
    let mut energy = 0.0;
    let (rings, spokes) = (1201, 4801);
    for i in 0..rings {
        let r = 159.0 * ((f64::from(i) + 0.5) / f64::from(rings)).sqrt();
        for j in 0..spokes {
            let (sin, cos) = (TAU * (f64::from(j) + 0.37 * f64::from(i % 7)) / f64::from(spokes)).sin_cos();
            let (x, y) = (r * cos, r * sin);
            if !prepared.passes(field, x, y) {
                continue;
            }
            let ray = prepared.ray(field, x, y);
            let [qx, qy, qz] = ray.hit_mm;
            energy += ray.beam;
            for (sum, [i, j]) in sums.iter_mut().zip(pixels) {
                let (px, py) = (x0 + star.along_um[j] / 1000.0, y0 + star.across_um[i] / 1000.0);
                let up = ((px - qx).powi(2) + (py - qy).powi(2) + (z0 - qz).powi(2)).sqrt();
                let path = up - z0 - (d[0] * qx + d[1] * qy + d[2] * qz);
                let (s, c) = (TAU / WAVELENGTH_MM * path).sin_cos();
                sum[0] += ray.beam * c;
                sum[1] += ray.beam * s;
            }
        }
    }
    for ([i, j], [c, s]) in pixels.into_iter().zip(sums) {
        // The net of 5.8 million points is good to about 1e-5 of the peak.
        assert_close(star.image[[i, j]], (c * c + s * s) / (energy * energy), 3e-5, "crowded: star");
    }
    assert!(star.error_estimate < 1e-6, "{}", star.error_estimate);
}

#[test]
fn a_crowded_contrast_knows_every_part() {
    // Its error estimate holds the energy of its rows against that of the wavefront's nodes: a part that one of them forgot would
    // show as its share of the light.
    let wave =
        crowded().wavefront(Field::arcmin(FIELD.0, FIELD.1), Focus::LeastRms, 550.0).expect("a wavefront");
    for azimuth_deg in [0.0, 90.0, 33.0] {
        let options = MtfOptions { frequency_per_mm: Some(vec![20.0, 80.0, 180.0]), ..MtfOptions::default() };
        let found = wave.otf(azimuth_deg, &options).expect("a transfer function");
        assert!(found.error_estimate <= 1e-5, "{azimuth_deg}: {}", found.error_estimate);
    }
}
