//! The bench: readings to a figure and a judgement, a figure to readings and pictures, each beside the slow obvious way.

mod twins;

use std::f64::consts::TAU;

use catoptric::{
    FocalLengthMm, KnifeBench, KnifeEdgeReadings, MaskOpening, NoiseStudyOptions, Primary, ReduceOptions,
    TestSource, TurnedEdge, expected_readings, judge_refigure, knife_edge_picture,
};
use divan::{Bencher, black_box};
use twins::{CURVATURE_MM, EDGE_WIDTH_MM, OBSTRUCTION, RIM_MM, WAVELENGTH_NM, readings, strehl_read_again};

fn main() {
    divan::main();
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
    bencher.bench(|| (0..100).map(|draw| strehl_read_again(black_box(&readings), draw)).sum::<f64>());
}

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
