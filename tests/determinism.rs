//! Same input, same bits: in one process, and at one, two and three threads.

mod common;

use std::process::Command;

use catoptric::{
    AxisDirection, Field, Focus, HeightMap, Indexing, KnifeEdgeReadings, MaskOptions, PsfSize,
    RadiusOfCurvatureMm, ReadingsIncrease, ReduceOptions, TestSource, ZernikeTerms, judge_refigure,
    mask_sweep,
};
use common::{everything, prepare};

/// Set in the processes that this file starts: they print and compare nothing.
const ONLY_PRINT: &str = "CATOPTRIC_TEST_ONLY_PRINT";
const MARK: &str = "bits of all answers:";

/// Every number of a mixed piece of work, as the bits of doubles.
fn answers() -> Vec<u64> {
    let telescope = prepare(everything());
    let field = Field::arcmin(6.0, -9.0);
    let mut numbers = Vec::new();
    for focus in [Focus::LeastRms, Focus::Peak] {
        let wavefront = telescope.wavefront(field, focus, 550.0).expect("a wavefront");
        numbers.extend([wavefront.strehl, wavefront.rms_nm, wavefront.pv_nm, wavefront.focus_shift_mm()]);
        let star = wavefront.psf(PsfSize { half_width_um: None, pixels: 97 }).expect("a star image");
        numbers.extend(star.image.iter());
        numbers.extend([star.fwhm_um, star.peak, star.error_estimate]);
        numbers.extend(wavefront.encircled_energy(&[1.0, 5.0, 2.0, 12.0]).expect("energies"));
    }
    let along: Vec<f64> = (0..20).map(|i| f64::from(i) - 8.5).collect();
    let lit = telescope.illumination(&along, &along).expect("light");
    numbers.extend(lit.absolute);
    let spot = telescope.spot_at(field, 0.0, 100).expect("a spot");
    numbers.extend([spot.rms_radius_um, spot.radius_80_um]);
    numbers.extend(spot.points.along_um);
    numbers.extend(bench_answers());
    let figure = ZernikeTerms::new([(6, 20.0), (16, -9.0)], Indexing::Noll);
    let heights = ndarray::Array2::from_shape_fn((48, 48), |(i, j)| f64::from(((7 * i + 5 * j) % 11) as u32));
    let map = HeightMap::new(heights, 7.0, AxisDirection::MinusY, AxisDirection::PlusX);
    let mut parts = everything();
    parts.primary = parts.primary.layer(figure).layer(map);
    let uneven = prepare(parts);
    let wavefront = uneven.wavefront(field, Focus::LeastRms, 550.0).expect("a wavefront");
    numbers.extend([wavefront.strehl, wavefront.rms_nm, wavefront.pv_nm, wavefront.error_estimate]);
    numbers.extend(uneven.illumination(&along, &along).expect("light").absolute);
    numbers.into_iter().map(f64::to_bits).collect()
}

/// Every number of a figure and of a judgement from readings of a knife edge.
fn bench_answers() -> Vec<f64> {
    let figure = |last_mm: f64| {
        KnifeEdgeReadings::at_radii(
            200.0,
            RadiusOfCurvatureMm(2400.0),
            TestSource::Moving,
            ReadingsIncrease::AwayFromMirror,
            &[40.0, 60.0, 80.0, 95.0],
            vec![vec![0.33, 0.75, 1.33, last_mm], vec![1.33, 1.76, 2.31, 1.0 + last_mm]],
        )
        .expect("readings")
        .reduce(ReduceOptions { draws: 300, ..ReduceOptions::default() })
        .expect("a figure")
    };
    let verdict = judge_refigure(&figure(2.0), &figure(1.9)).expect("a verdict");
    let before = verdict.before.readings().expect("readings");
    let mut numbers = vec![verdict.probability_better, before.seen_rms_nm.median];
    let options = MaskOptions { detail_arcsec: Some(vec![0.7, 1.0]), ..MaskOptions::default() };
    let sweep = mask_sweep(before, &[180.0, 196.0, 190.0], &options).expect("a sweep");
    for row in &sweep.rows {
        numbers.extend([row.strehl.value, row.strehl.ends().0, row.contrast[1].value, row.focus_shift_mm]);
        numbers.extend(row.fwhm_arcsec.map(|width| width.value));
    }
    for draws in [&before.draws, &before.total_draws] {
        numbers.extend(draws.strehl.iter().chain(&draws.strehl_least_rms));
        numbers.extend(draws.rms_nm.iter().chain(&draws.pv_nm));
    }
    numbers.extend(verdict.strehl_before_total_draws.iter().chain(&verdict.strehl_after_total_draws));
    numbers
}

/// A short name of many bits: FNV-1a of 64 bits (Fowler, Noll, Vo; from memory).
fn digest(bits: &[u64]) -> String {
    let mix = |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    let hash = bits.iter().flat_map(|b| b.to_le_bytes()).fold(0xcbf2_9ce4_8422_2325, mix);
    format!("{hash:016x} of {} numbers", bits.len())
}

#[test]
fn print_the_bits() {
    if std::env::var_os(ONLY_PRINT).is_some() {
        println!("{MARK} {}", digest(&answers()));
    }
}

#[test]
fn the_same_bits_at_any_number_of_threads() {
    let printed: Vec<String> = [1, 2, 3]
        .into_iter()
        .map(|threads| {
            let output = Command::new(std::env::current_exe().expect("this program"))
                .args(["--exact", "print_the_bits", "--nocapture"])
                .env(ONLY_PRINT, "1")
                .env("CATOPTRIC_NUM_THREADS", threads.to_string())
                .output()
                .expect("it runs");
            let text = String::from_utf8_lossy(&output.stdout).into_owned();
            let at = text.find(MARK).unwrap_or_else(|| panic!("no bits in {text}"));
            text[at..].lines().next().unwrap_or("").to_owned()
        })
        .collect();
    println!("{printed:?}");
    assert_eq!(printed[0], printed[1], "one thread and two");
    assert_eq!(printed[0], printed[2], "one thread and three");
    // This process has as many threads as the machine offers.
    assert!(printed[0].ends_with(&digest(&answers())), "{printed:?} and {}", digest(&answers()));
}

#[test]
fn the_same_bits_twice() {
    assert_eq!(answers(), answers());
}

#[test]
fn a_copy_gives_the_same_bits() {
    let train = everything().build().expect("a sound train");
    let (one, other) = (catoptric::Prepared::new(&train), catoptric::Prepared::new(&train.clone()));
    let strehl =
        |t: &catoptric::Prepared| t.wavefront(Field::AXIS, Focus::Peak, 550.0).expect("a wavefront").strehl;
    assert_eq!(strehl(&one).to_bits(), strehl(&other).to_bits());
}
