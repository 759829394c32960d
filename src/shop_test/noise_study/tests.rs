//! Repeats in lanes against rings added up one by one, against the slower reduction, and their noise against another stream's.

use super::*;
use crate::shop_test::noise_lanes::Spread;
use crate::shop_test::plain::{Reduction, knots_mm2, nm_per_mm3};
use crate::shop_test::{MaskOpening, ReadingsIncrease, TestSource};
use crate::units::RadiusOfCurvatureMm;

/// Readings of an invented mirror: `rims_mm` of the mask, errors of the readings against a paraboloid, runs.
fn readings(
    diameter_mm: f64,
    radius_mm: f64,
    rims_mm: &[f64],
    off_mm: &[f64],
    runs: usize,
) -> KnifeEdgeReadings {
    let ring = |pair: &[f64]| MaskOpening { inner_radius_mm: pair[0], outer_radius_mm: pair[1] };
    let openings: Vec<MaskOpening> = rims_mm.windows(2).map(ring).collect();
    let radius = RadiusOfCurvatureMm(radius_mm);
    let row: Vec<f64> = openings
        .iter()
        .zip(off_mm)
        .map(|(o, off)| 1.5 + o.ideal_reading_mm(TestSource::Moving, radius) + off)
        .collect();
    KnifeEdgeReadings::through_openings(
        diameter_mm,
        radius,
        TestSource::Moving,
        ReadingsIncrease::AwayFromMirror,
        openings,
        vec![row; runs],
    )
    .expect("sound readings")
}

fn twelve() -> KnifeEdgeReadings {
    let rims: Vec<f64> = (0..13).map(|k| 20.0 + 139.0 * (f64::from(k) / 12.0).sqrt()).collect();
    let off: Vec<f64> = (0..12).map(|k| 0.05 * (1.3 * f64::from(k)).sin() + 0.004 * f64::from(k)).collect();
    readings(318.0, 3116.0, &rims, &off, 1)
}

fn five_with_an_edge() -> KnifeEdgeReadings {
    readings(200.0, 1600.0, &[15.0, 45.0, 62.0, 77.0, 89.0, 99.0], &[0.02, -0.05, 0.03, 0.06, 0.35], 3)
}

fn options(obstruction_ratio: f64, sigma_mm: f64, repeats: usize) -> NoiseStudyOptions {
    let reading_sigma_mm = Some(vec![sigma_mm]);
    NoiseStudyOptions { obstruction_ratio, reading_sigma_mm, repeats, ..NoiseStudyOptions::default() }
}

fn sets() -> impl Iterator<Item = Instructions> {
    Instructions::ALL.into_iter().filter(|set| set.is_there())
}

/// Strehl ratio and RMS of a set of errors: rings of equal area added up, the focus by least squares over them.
fn ring_by_ring(readings: &KnifeEdgeReadings, options: &NoiseStudyOptions, errors_mm: &[f64]) -> (f64, f64) {
    const RINGS: usize = 6000;
    let squares = knots_mm2(readings);
    let mut heights = vec![0.0];
    for (k, error) in errors_mm.iter().enumerate() {
        heights.push(heights[k] + nm_per_mm3(readings) * (squares[k + 1] - squares[k]) * error);
    }
    let inner = options.obstruction_ratio.powi(2) * squares[squares.len() - 1];
    let mut rings: Vec<[f64; 3]> = Vec::new();
    for k in 0..errors_mm.len() {
        let (from, to) = (squares[k].max(inner), squares[k + 1]);
        for i in 0..if to > from { RINGS } else { 0 } {
            let s = from + (to - from) * (i as f64 + 0.5) / RINGS as f64;
            let height =
                heights[k] + (heights[k + 1] - heights[k]) * (s - squares[k]) / (squares[k + 1] - squares[k]);
            let share = 1.0 / (1.0 + s / readings.radius_of_curvature().0.powi(2));
            rings.push([(to - from) / RINGS as f64, s * share, 2.0 * height * share]);
        }
    }
    let total: f64 = rings.iter().map(|ring| ring[0]).sum();
    let mean =
        |of: &dyn Fn(&[f64; 3]) -> f64| rings.iter().map(|ring| ring[0] * of(ring)).sum::<f64>() / total;
    let (t, w) = (mean(&|r| r[1]), mean(&|r| r[2]));
    let slope = mean(&|r| (r[1] - t) * (r[2] - w)) / mean(&|r| (r[1] - t).powi(2));
    let wave = |r: &[f64; 3]| r[2] - w - slope * (r[1] - t);
    let phase = |r: &[f64; 3]| std::f64::consts::TAU / options.wavelength_nm * wave(r);
    let strehl = mean(&|r| phase(r).cos()).powi(2) + mean(&|r| phase(r).sin()).powi(2);
    (strehl, mean(&|r| wave(r).powi(2)).sqrt())
}

#[test]
fn repeats_are_what_rings_add_up_to() {
    let holes = {
        let five = five_with_an_edge();
        let taken =
            |run: usize, k: usize| five.runs_mm()[0][k].filter(|_| (run + k) % 4 != 1).unwrap_or(f64::NAN);
        KnifeEdgeReadings::through_openings(
            200.0,
            five.radius_of_curvature(),
            TestSource::Fixed,
            ReadingsIncrease::AwayFromMirror,
            five.openings().to_vec(),
            (0..4).map(|run| (0..5).map(|k| taken(run, k)).collect()).collect(),
        )
        .expect("sound readings")
    };
    // The last ones have noise of waves: their pieces are many, and some repeats are steeper than planned.
    let cases = [
        (twelve(), options(0.22, 0.05, 130)),
        (twelve(), options(0.0, 0.15, 64)),
        (five_with_an_edge(), options(0.3, 0.1, 64)),
        (holes, options(0.2, 0.1, 64)),
        (twelve(), options(0.22, 2.0, 64)),
    ];
    for (case, (readings, options)) in cases.iter().enumerate() {
        for set in sets() {
            let study = readings.noise_study_with(set, options).expect("a study");
            let errors = study.zone_errors_mm(0, options.repeats).expect("its repeats");
            for (k, errors) in errors.iter().enumerate().step_by(7) {
                let (strehl, rms_nm) = ring_by_ring(readings, options, errors);
                let (found, rms) = (study.strehl_least_rms[k], study.rms_nm[k]);
                assert!((found - strehl).abs() < 1e-7, "{set:?} {case} {k}: {found} for {strehl}");
                assert!((rms / rms_nm - 1.0).abs() < 1e-6, "{set:?} {case} {k}: {rms} for {rms_nm}");
            }
        }
    }
}

#[test]
fn repeats_are_those_of_the_slow_reduction() {
    let (readings, options) = (twelve(), options(0.22, 0.05, 500));
    let study = readings.noise_study(&options).expect("a study");
    let reduction = Reduction::new(&readings, &options.of_reduction().expect("sound"));
    for (k, errors) in study.zone_errors_mm(0, 500).expect("its repeats").iter().enumerate() {
        let slow = reduction.quality(errors);
        assert!((slow.strehl_least_rms - study.strehl_least_rms[k]).abs() < 1e-7, "{k}");
        assert!((slow.rms_nm / study.rms_nm[k] - 1.0).abs() < 1e-6, "{k}");
        assert!(slow.strehl >= study.strehl_least_rms[k] - 1e-7);
    }
}

#[test]
fn steep_repeats_by_series_and_by_nodes_are_the_same() {
    // Pieces planned for little noise, filled with much: lanes beyond the series' reach take the nodes.
    let readings = five_with_an_edge();
    let planned = options(0.2, 0.01, 64);
    let (mut study, _) = readings.prepared_study(&planned).expect("prepared");
    let Spread::Independent(sigmas) = &mut study.spread else { panic!("no reading is missing") };
    sigmas.fill(0.4);
    for set in sets() {
        let (mut strehl, mut rms) = ([0.0; 256], [0.0; 256]);
        fill(set, &study, 0, &mut strehl, &mut rms);
        let (mut room, mut answers, mut steep) = (Room::default(), Answers::new(), 0);
        for block in 0..4 {
            repeats(set, &study, block * LANES as u64, &mut room, &mut answers);
            for i in 0..LANES {
                let errors: Vec<f64> = room.errors_mm.iter().map(|column| column.0[i]).collect();
                let (found, k) = (study.by_nodes(&errors), block as usize * LANES + i);
                assert!(
                    (found.0 - strehl[k]).abs() < 1e-7 && (found.1 / rms[k] - 1.0).abs() < 1e-6,
                    "{set:?} {k}"
                );
                steep += usize::from(answers.worst[i] > MOST_RAD * MOST_RAD);
            }
        }
        assert!((5..250).contains(&steep), "{steep} steep repeats");
    }
}

#[test]
fn a_repeat_is_the_same_in_any_company() {
    let readings = twelve();
    let (many, few) = (options(0.22, 0.05, 5000), options(0.22, 0.05, 70));
    let (many, few) =
        (readings.noise_study(&many).expect("sound"), readings.noise_study(&few).expect("sound"));
    assert_eq!(many.strehl_least_rms[..70], few.strehl_least_rms);
    assert_eq!(many.rms_nm[..70], few.rms_nm);
    let all = many.zone_errors_mm(0, 5000).expect("its repeats");
    assert_eq!(many.zone_errors_mm(3333, 3).expect("its repeats"), all[3333..3336]);
}

/// The largest distance between the distributions of two lists, over that which is passed once in a thousand (Smirnov).
fn smirnov(a: &[f64], b: &[f64]) -> f64 {
    let (mut a, mut b) = (a.to_vec(), b.to_vec());
    a.sort_by(f64::total_cmp);
    b.sort_by(f64::total_cmp);
    let below = |list: &[f64], x: f64| list.partition_point(|v| *v <= x) as f64 / list.len() as f64;
    let most = a.iter().chain(&b).map(|x| (below(&a, *x) - below(&b, *x)).abs()).fold(0.0, f64::max);
    most / (1.949 * (1.0 / a.len() as f64 + 1.0 / b.len() as f64).sqrt())
}

#[test]
fn the_noise_is_that_of_the_slow_repeats() {
    // Another stream of random numbers, another way to draw the means: one distribution.
    let plain = |readings: &KnifeEdgeReadings, sigma: Option<f64>| {
        let study = NoiseStudyOptions {
            reading_sigma_mm: sigma.map(|s| vec![s]),
            repeats: 20_000,
            obstruction_ratio: 0.22,
            ..NoiseStudyOptions::default()
        };
        let slow = ReduceOptions { draws: 20_000, ..study.of_reduction().expect("sound") };
        let slow = readings.repeat_with_noise(&slow).expect("repeats");
        let fast = readings.noise_study(&study).expect("a study");
        assert!(smirnov(&fast.strehl_least_rms, &slow.strehl_least_rms) < 1.0);
        assert!(smirnov(&fast.rms_nm, &slow.rms_nm) < 1.0);
    };
    // The noise of few runs is itself uncertain.
    plain(&twelve(), Some(0.05));
    plain(&five_with_an_edge(), None);
}

#[test]
fn what_cannot_be_is_refused() {
    let readings = twelve();
    let wrong = [
        NoiseStudyOptions { repeats: 0, ..options(0.2, 0.05, 1) },
        NoiseStudyOptions { repeats: 10_000_001, ..options(0.2, 0.05, 1) },
        options(1.0, 0.05, 1),
        options(f64::NAN, 0.05, 1),
        options(0.2, 0.0, 1),
        options(0.2, f64::NAN, 1),
        NoiseStudyOptions { reading_sigma_mm: Some(vec![0.05; 3]), ..options(0.2, 0.05, 1) },
        NoiseStudyOptions { wavelength_nm: 0.55, ..options(0.2, 0.05, 1) },
    ];
    for options in wrong {
        assert!(matches!(readings.noise_study(&options), Err(Error::Input(_))), "{options:?}");
    }
    let study = readings.noise_study(&options(0.2, 0.05, 10)).expect("a study");
    assert!(study.strehl_quantiles(&[0.5, 1.2]).is_err() && study.rms_quantiles_nm(&[f64::NAN]).is_err());
    assert!(study.zone_errors_mm(usize::MAX, 2).is_err());
}

#[test]
fn what_is_written_down_comes_back() {
    let study = twelve().noise_study(&options(0.2, 0.05, 100)).expect("a study");
    let text = serde_json::to_string(&study).expect("text");
    assert_eq!(serde_json::from_str::<NoiseStudy>(&text).expect("a study"), study);
    assert!(
        (study.mean_strehl_least_rms() - study.strehl_least_rms.iter().sum::<f64>() / 100.0).abs() < 1e-12
    );
}
