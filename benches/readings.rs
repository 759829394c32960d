//! The bench: readings to a figure and a judgement, a figure to readings and pictures, each beside the slow obvious way.

use std::f64::consts::TAU;

use catoptric::numeric::random::Stream;
use catoptric::{
    FocalLengthMm, KnifeBench, KnifeEdgeReadings, MaskOpening, NoiseStudyOptions, Primary,
    RadiusOfCurvatureMm, ReadingsIncrease, ReduceOptions, TestSource, TurnedEdge, expected_readings,
    judge_refigure, knife_edge_picture,
};
use divan::{Bencher, black_box};
use nalgebra::{DMatrix, DVector};

fn main() {
    divan::main();
}

const RIM_MM: f64 = 159.0;
const CURVATURE_MM: f64 = 3116.0;
const OBSTRUCTION: f64 = 0.22;
const WAVELENGTH_NM: f64 = 550.0;

/// Five runs of an invented 318 mm mirror.
fn readings(name: &str) -> KnifeEdgeReadings {
    let path = format!("{}/notebooks-demo/data/fenlight_{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let away = ReadingsIncrease::AwayFromMirror;
    KnifeEdgeReadings::load_csv(
        path,
        2.0 * RIM_MM,
        RadiusOfCurvatureMm(CURVATURE_MM),
        TestSource::Moving,
        away,
    )
    .expect("sound readings")
}

fn options(draws: usize) -> ReduceOptions {
    ReduceOptions { obstruction_ratio: OBSTRUCTION, draws, ..ReduceOptions::default() }
}

/// A figure with both of its intervals.
#[divan::bench]
fn reduction(bencher: Bencher<'_, '_>) {
    let readings = readings("before");
    bencher.bench(|| black_box(&readings).reduce(options(2000)));
}

/// Both reductions and the pairing of their draws.
#[divan::bench]
fn judgement(bencher: Bencher<'_, '_>) {
    let (before, after) = (readings("before"), readings("after"));
    bencher.bench(|| {
        let figure = |readings: &KnifeEdgeReadings| readings.reduce(options(2000)).expect("a figure");
        judge_refigure(&figure(black_box(&before)), &figure(black_box(&after)))
    });
}

/// The pairing alone, with what it says of doubt, worth and further runs.
#[divan::bench]
fn pairing(bencher: Bencher<'_, '_>) {
    let figure = |name| readings(name).reduce(options(2000)).expect("a figure");
    let (before, after) = (figure("before"), figure("after"));
    bencher.bench(|| judge_refigure(black_box(&before), black_box(&after)));
}

/// The plain reduction with readings drawn again: Strehl at two foci, RMS and PV of each.
#[divan::bench(args = [100, 10_000])]
fn noisy_repeats(bencher: Bencher<'_, '_>, draws: usize) {
    let readings = readings("before");
    bencher.bench(|| black_box(&readings).repeat_with_noise(&options(draws)));
}

/// The same at the focus of least squares alone, in closed form, many repeats side by side.
#[divan::bench(args = [100, 10_000])]
fn noise_study(bencher: Bencher<'_, '_>, repeats: usize) {
    let readings = readings("before");
    let options = NoiseStudyOptions { obstruction_ratio: OBSTRUCTION, repeats, ..Default::default() };
    bencher.bench(|| black_box(&readings).noise_study(&options));
}

/// The slow twin of `noisy_repeats` and `noise_study` with 100 of them: every set solved for its heights, its Strehl from a square net of
/// points at each focus; good to about 2e-3.
#[divan::bench(sample_count = 3)]
fn repeats_solved_one_by_one(bencher: Bencher<'_, '_>) {
    let readings = readings("before");
    bencher.bench(|| solved_one_by_one(black_box(&readings), 100));
}

fn solved_one_by_one(readings: &KnifeEdgeReadings, draws: usize) -> Vec<f64> {
    let openings = readings.openings();
    // The openings touch: the first knot is the centre, the last the mirror's rim.
    let meeting = openings[1..].iter().map(|opening| opening.inner_radius_mm);
    let knots_mm: Vec<f64> = std::iter::once(0.0).chain(meeting).chain([RIM_MM]).collect();
    let (mean_mm, sigma_mm) = (readings.mean_mm(), readings.sigma_mm());
    let runs = readings.runs_mm().len() as f64;
    let repeat = |draw: usize| {
        let mut stream = Stream::new(1, draw as u64);
        let too_long_mm = openings.iter().enumerate().map(|(k, opening)| {
            let ideal_mm = opening.ideal_reading_mm(TestSource::Moving, RadiusOfCurvatureMm(CURVATURE_MM));
            mean_mm[k] + sigma_mm[k] / runs.sqrt() * stream.normal() - ideal_mm
        });
        strehl_on_a_net(&knots_mm, &solved_heights_nm(&knots_mm, &too_long_mm.collect::<Vec<_>>()))
    };
    (0..draws).map(repeat).collect()
}

/// Heights at the knots: each reading is a difference of two of them; its zero is free, and the centre is at 0.
fn solved_heights_nm(knots_mm: &[f64], too_long_mm: &[f64]) -> Vec<f64> {
    let zones = too_long_mm.len();
    let zero_mm = too_long_mm.iter().sum::<f64>() / zones as f64;
    let gain = |k: usize| 2.0 * CURVATURE_MM.powi(2) / (knots_mm[k + 1].powi(2) - knots_mm[k].powi(2)) / 1e6;
    let equations = DMatrix::from_fn(zones, zones, |k, knot| match k as isize - knot as isize {
        0 => -gain(k),
        1 => gain(k),
        _ => 0.0,
    });
    let heights = equations
        .lu()
        .solve(&DVector::from_iterator(zones, too_long_mm.iter().map(|mm| mm - zero_mm)))
        .expect("as many heights as readings");
    [vec![0.0], heights.as_slice().to_vec()].concat()
}

/// The greatest of 61 foci within a wave of defocus about that of least RMS.
fn strehl_on_a_net(knots_mm: &[f64], height_nm: &[f64]) -> f64 {
    const SIDE: i32 = 64;
    // A quarter of the mirror stands for all of it.
    let at = |i: i32| RIM_MM * (f64::from(i) + 0.5) / f64::from(SIDE);
    let radii = (0..SIDE * SIDE).map(|k| at(k % SIDE).hypot(at(k / SIDE)));
    let points: Vec<(f64, f64)> = radii
        .filter(|r| (OBSTRUCTION * RIM_MM..=RIM_MM).contains(r))
        .map(|r| {
            let zone = knots_mm.partition_point(|knot| *knot <= r).clamp(1, knots_mm.len() - 1) - 1;
            let (inner, outer) = (knots_mm[zone].powi(2), knots_mm[zone + 1].powi(2));
            let height =
                height_nm[zone] + (height_nm[zone + 1] - height_nm[zone]) * (r * r - inner) / (outer - inner);
            ((r / RIM_MM).powi(2), 2.0 * height / (1.0 + (r / CURVATURE_MM).powi(2)))
        })
        .collect();
    let count = points.len() as f64;
    let mean = |value: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(value).sum::<f64>() / count;
    let middle = mean(&|p| p.0);
    let slope = mean(&|p| (p.0 - middle) * p.1) / mean(&|p| (p.0 - middle).powi(2));
    let strehl = |step: i32| {
        let defocus = slope + f64::from(step - 30) / 30.0 * WAVELENGTH_NM;
        let phase = |p: &(f64, f64)| TAU / WAVELENGTH_NM * (p.1 - defocus * (p.0 - middle));
        mean(&|p| phase(p).cos()).powi(2) + mean(&|p| phase(p).sin()).powi(2)
    };
    (0..=60).map(strehl).fold(0.0, f64::max)
}

const EDGE_WIDTH_MM: f64 = 9.0;
const EDGE_DROP_NM: f64 = 330.0;

fn mirror() -> Primary {
    let edge = TurnedEdge::new(EDGE_WIDTH_MM, EDGE_DROP_NM);
    Primary::new(2.0 * RIM_MM, FocalLengthMm(CURVATURE_MM / 2.0)).layer(edge)
}

/// What a tester would read from a known mirror.
#[divan::bench]
fn expected(bencher: Bencher<'_, '_>) {
    let (mirror, readings) = (mirror(), readings("before"));
    bencher.bench(|| expected_readings(black_box(&mirror), readings.openings(), TestSource::Moving));
}

/// The slow twin of `expected`: 2000 rings an opening, normals by differences; good to 1e-7 mm.
#[divan::bench]
fn expected_by_rings(bencher: Bencher<'_, '_>) {
    let readings = readings("before");
    bencher.bench(|| expected_ring_by_ring(black_box(readings.openings())));
}

fn expected_ring_by_ring(openings: &[MaskOpening]) -> Vec<f64> {
    const RINGS: usize = 2000;
    let crossing_mm = |r: f64| {
        let step = 1e-3;
        height_mm(r) + r * 2.0 * step / (height_mm(r + step) - height_mm(r - step)) - CURVATURE_MM
    };
    let mean = |opening: &MaskOpening| {
        let (inner, outer) = (opening.inner_radius_mm.powi(2), opening.outer_radius_mm.powi(2));
        let radius = |i: usize| (inner + (outer - inner) * (i as f64 + 0.5) / RINGS as f64).sqrt();
        (0..RINGS).map(|i| crossing_mm(radius(i))).sum::<f64>() / RINGS as f64
    };
    openings.iter().map(mean).collect()
}

/// The surface of `mirror`.
fn height_mm(r_mm: f64) -> f64 {
    let beyond = (1.0 + (r_mm - RIM_MM) / EDGE_WIDTH_MM).max(0.0);
    r_mm * r_mm / (2.0 * CURVATURE_MM) - EDGE_DROP_NM / 1e6 * beyond * beyond
}

const STAGE_MM: f64 = 2.0;
const SLIT_UM: f64 = 20.0;

/// The mirror behind a knife edge, with so many pixels on a side.
#[divan::bench(args = [33, 129])]
fn knife_picture(bencher: Bencher<'_, '_>, pixels: usize) {
    let mirror = mirror();
    let bench = KnifeBench::new(TestSource::Moving, STAGE_MM, SLIT_UM).pixels(pixels);
    bencher.bench(|| knife_edge_picture(black_box(&mirror), &bench));
}

/// The slow twin of `knife_picture` with 33 pixels: even samples of each row and of the slit; good to 0.01 from half a pixel
/// off the rim.
#[divan::bench(sample_count = 3)]
fn knife_picture_by_even_samples(bencher: Bencher<'_, '_>) {
    let bench = KnifeBench::new(TestSource::Moving, STAGE_MM, SLIT_UM).pixels(33);
    let axis_mm = knife_edge_picture(&mirror(), &bench).expect("a picture").axis_mm;
    bencher.bench(|| axis_mm.iter().map(|y| even_row(*y, black_box(&axis_mm))).collect::<Vec<_>>());
}

/// Half of the field and half of its Hilbert transform, from points midway between those of the sum.
fn even_row(y_mm: f64, axis_mm: &[f64]) -> Vec<f64> {
    const SAMPLES: usize = 2000;
    const SLITS: usize = 40;
    let half_mm = (RIM_MM * RIM_MM - y_mm * y_mm).max(0.0).sqrt();
    if half_mm == 0.0 {
        return vec![0.0; axis_mm.len()];
    }
    let step_mm = 2.0 * half_mm / SAMPLES as f64;
    let wave = |x_mm: f64, slit: usize| {
        let slit_mm = SLIT_UM / 1000.0 * ((slit as f64 + 0.5) / SLITS as f64 - 0.5);
        let gap = CURVATURE_MM + STAGE_MM - height_mm(x_mm.hypot(y_mm));
        let leg = |from: f64| ((x_mm - from).powi(2) + y_mm * y_mm + gap * gap).sqrt();
        (TAU * 1e6 / WAVELENGTH_NM * (leg(slit_mm) + leg(0.0))).sin_cos()
    };
    let samples: Vec<f64> = (0..SAMPLES).map(|i| (i as f64 + 0.5) * step_mm - half_mm).collect();
    let mut row = vec![0.0; axis_mm.len()];
    for slit in 0..SLITS {
        let field: Vec<(f64, f64)> = samples.iter().map(|x| wave(*x, slit)).collect();
        for (value, x) in row.iter_mut().zip(axis_mm) {
            let lit = x.abs() < half_mm;
            let x = if lit { (x / step_mm).round() * step_mm } else { *x };
            let (sin, cos) = if lit { wave(x, slit) } else { (0.0, 0.0) };
            let (mut turned_sin, mut turned_cos) = (0.0, 0.0);
            for ((sin, cos), from) in field.iter().zip(&samples) {
                turned_sin += sin * step_mm / (x - from);
                turned_cos += cos * step_mm / (x - from);
            }
            let re = cos / 2.0 - turned_sin / TAU;
            let im = sin / 2.0 + turned_cos / TAU;
            *value += (re * re + im * im) / SLITS as f64;
        }
    }
    row
}
