//! Same input, same bits: in one process, and at one, two, three and eight threads, with each set of instructions.

mod common;

use std::fmt::{Debug, Write};
use std::process::Command;

use catoptric::RayColumn::{Each, Same};
use catoptric::numeric::simd::Instructions;
use catoptric::{
    AxisDirection, BandedDisc, Coating, DiagonalBatchInput, EffectOptions, Evidence, Eyepiece, Field,
    FigureEstimate, FocalLengthMm, Focus, FocusSteps, FreshCoat, HeightMap, Indexing, KnifeBench,
    KnifeEdgeReadings, LadderOptions, MaskOptions, Metal, MetalCoat, MetalFilm, MtfOptions, Prepared,
    Primary, PsfSize, RadiusOfCurvatureMm, Rays, ReadingsIncrease, ReduceOptions, SensorFrame, Spectrum,
    TestSource, ThinRing, Train, TurnedEdge, ViewOptions, Wavefront, Work, ZernikeTerms, coating_effect,
    judge_refigure, judgement, knife_edge_picture, mask_sweep,
};
use common::{everything, prepare};

/// Set in the processes that this file starts: they print and compare nothing.
const ONLY_PRINT: &str = "CATOPTRIC_TEST_ONLY_PRINT";
const MARK: &str = "bits of ";

/// A kind of analysis, and what makes an answer of it.
type Kind = (&'static str, fn() -> u64);

/// Every kind of analysis, each with the hash of all that its answer holds.
const KINDS: [Kind; 20] = [
    ("spot", || digest(&telescope().spot(FIELD, Focus::LeastRms, 550.0, 3000))),
    ("rays given", rays_given),
    ("rings", || digest(&telescope().spot_of_rings(FIELD, 0.1, 300, 200))),
    ("wavefront and Strehl", || digest(&wave(Focus::Peak))),
    ("star image", || digest(&wave(Focus::LeastRms).psf(PsfSize { half_width_um: None, pixels: 97 }))),
    ("nine colours", || {
        let size = PsfSize { half_width_um: None, pixels: 64 };
        digest(&wave(Focus::LeastRms).psf_of(size, &Spectrum::photopic_of(9, None).expect("light")))
    }),
    ("energy", || digest(&wave(Focus::Peak).encircled_energy(&[1.0, 5.0, 2.0, 12.0]))),
    ("contrast", || {
        let frequency_per_mm = Some(vec![20.0, 60.0, 150.0]);
        let star = round_telescope().wavefront(Field::AXIS, Focus::Peak, 550.0).expect("a wavefront");
        digest(&star.mtf(&MtfOptions { frequency_per_mm, spectrum: None }))
    }),
    ("through focus", || {
        let steps = FocusSteps::Waves(vec![-2.0, -0.5, 0.0, 0.5, 2.0]);
        let size = PsfSize { half_width_um: None, pixels: 48 };
        let line = Spectrum::line(550.0).expect("light");
        digest(&wave(Focus::LeastRms).through_focus(&steps, size, &line))
    }),
    ("light and lit circle", || digest(&(telescope().light(FIELD), telescope().fully_lit_circle()))),
    ("illumination", || {
        let along: Vec<f64> = (0..20).map(|i| f64::from(i) - 8.5).collect();
        digest(&(telescope().illumination(&along, &along), telescope().illumination_at_radii(&along[9..])))
    }),
    ("light map", || digest(&telescope().light_map(SensorFrame::new(24.0, 36.0), 9))),
    ("diagonals", || {
        let parts = everything().build().expect("a train");
        let mut input = DiagonalBatchInput::new(vec![parts], vec![55.0, 63.0, 70.0, 80.0], vec![0.0, 9.0]);
        input.axis_to_focus_mm = vec![228.0, 235.0, 241.0];
        digest(&input.check().and_then(|batch| batch.run()))
    }),
    ("reduction and judgement of readings", || digest(&judge_refigure(&figure(2.0), &figure(1.9)))),
    ("masks", || {
        let options = MaskOptions { detail_arcsec: Some(vec![0.7, 1.0]), ..MaskOptions::default() };
        let train = everything().build().expect("a train");
        let alone = MaskOptions::strehl_alone();
        let of_train = mask_sweep(&train, &[300.0, 310.0], &alone);
        digest(&(mask_sweep(&figure(2.0), &[180.0, 196.0, 190.0], &options), of_train))
    }),
    ("coating", || {
        let film = MetalFilm::new(Metal::Aluminium, 100.0);
        let coat = MetalCoat::new(film).ring(ThinRing::new(60.0, 80.0, 40.0).softness_mm(2.0));
        let mut parts = everything();
        parts.primary = parts.primary.coating(Coating::default().metal(coat));
        let fresh = FreshCoat::new("standard", 0.91, 0.91);
        let options = EffectOptions { diagonal_sigma: 0.01, draws: 50, ..EffectOptions::default() };
        digest(&coating_effect(&parts.build().expect("a train"), &fresh, &options))
    }),
    ("ladder and judgement", || {
        let works = [Work::mask(196.0, 4.0), Work::recoat_primary(0.91, 240.0)];
        let evidence = Evidence::from(&figure(2.0));
        let primary = Primary::new(200.0, RadiusOfCurvatureMm(2400.0)).coating(Coating::new(0.86));
        let train = Train::builder(primary).build().expect("a train");
        digest(&judgement(&train, Some(&evidence), &works, &LadderOptions::default()))
    }),
    ("view", || {
        let (planet, eyepiece) = (BandedDisc::new(20.0).into(), Eyepiece::new(6.0, 8.0).into());
        digest(&round_telescope().view(
            &planet,
            &eyepiece,
            &ViewOptions { pixels: 65, ..ViewOptions::default() },
        ))
    }),
    ("a figure that is not round", uneven),
    ("bench pictures", || {
        let primary = Primary::new(200.0, RadiusOfCurvatureMm(2400.0)).layer(TurnedEdge::new(9.0, 90.0));
        let bench = KnifeBench { pixels: 49, ..KnifeBench::new(TestSource::Moving, 1.0, 20.0) };
        digest(&knife_edge_picture(&primary, &bench))
    }),
];

const FIELD: Field = Field { x_arcmin: 6.0, y_arcmin: -9.0 };

fn telescope() -> Prepared {
    prepare(everything())
}

fn round_telescope() -> Prepared {
    common::bare(Primary::new(200.0, FocalLengthMm(1200.0)).layer(TurnedEdge::new(9.0, 90.0)))
}

fn wave(focus: Focus) -> Wavefront {
    telescope().wavefront(FIELD, focus, 550.0).expect("a wavefront")
}

/// Statistics and columns of rays that a caller gives.
fn rays_given() -> u64 {
    const RAYS: usize = 100_000;
    let turn = |k: usize| 2.399_963_229_728_653 * k as f64;
    let radius = |k: usize| 160.0 * ((k as f64 + 0.5) / RAYS as f64).sqrt();
    let x: Vec<f64> = (0..RAYS).map(|k| radius(k) * turn(k).cos()).collect();
    let y: Vec<f64> = (0..RAYS).map(|k| radius(k) * turn(k).sin()).collect();
    let rays =
        Rays::new([Each(&x), Each(&y), Same(2000.0)], [Same(0.0), Same(0.0), Same(-1.0)]).expect("rays");
    let telescope = telescope();
    digest(&(telescope.spot_of_rays(&rays, 0.0), telescope.trace_rays(&rays, 0.1)))
}

/// A figure with terms and a map: the nodes of a round pupil do not serve.
fn uneven() -> u64 {
    let terms = ZernikeTerms::new([(6, 20.0), (16, -9.0)], Indexing::Noll);
    let heights = ndarray::Array2::from_shape_fn((48, 48), |(i, j)| f64::from(((7 * i + 5 * j) % 11) as u32));
    let map = HeightMap::new(heights, 7.0, AxisDirection::MinusY, AxisDirection::PlusX);
    let mut parts = everything();
    parts.primary = parts.primary.layer(terms).layer(map);
    let telescope = prepare(parts);
    let wavefront = telescope.wavefront(FIELD, Focus::LeastRms, 550.0);
    digest(&(wavefront, telescope.illumination(&[-9.0, 0.0, 9.0], &[3.0, 4.0, 5.0])))
}

/// A figure from readings of a knife edge, with the draws of its intervals.
fn figure(last_mm: f64) -> FigureEstimate {
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
}

/// The hash of an answer, which must be one: every double has a text of its own. FNV-1a of 64 bits (Fowler, Noll, Vo; from
/// memory).
fn digest(answer: &impl Debug) -> u64 {
    struct Hash(u64);
    impl Write for Hash {
        fn write_str(&mut self, text: &str) -> std::fmt::Result {
            let mix = |hash: u64, byte: &u8| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
            self.0 = text.as_bytes().iter().fold(self.0, mix);
            Ok(())
        }
    }
    let mut hash = Hash(0xcbf2_9ce4_8422_2325);
    // Alternate: arrays whole.
    write!(hash, "{answer:#?}").expect("a hash takes everything");
    assert!(!format!("{answer:?}").contains("Err("), "no answer: {answer:?}");
    hash.0
}

/// A line for each kind.
fn answers() -> Vec<String> {
    KINDS.iter().map(|(kind, answer)| format!("{kind}: {:016x}", answer())).collect()
}

#[test]
fn print_the_bits() {
    if std::env::var_os(ONLY_PRINT).is_some() {
        for line in answers() {
            println!("{MARK}{line}");
        }
    }
}

/// What another process answers.
fn printed(threads: u32, simd: &str) -> Vec<String> {
    let output = Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", "print_the_bits", "--nocapture"])
        .env(ONLY_PRINT, "1")
        .env("CATOPTRIC_NUM_THREADS", threads.to_string())
        .env("CATOPTRIC_SIMD", simd)
        .output()
        .expect("it runs");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    // The first line may follow words of the test's own.
    let lines = text.lines().filter_map(|line| line.split_once(MARK)).map(|(_, line)| line.to_owned());
    let lines: Vec<String> = lines.collect();
    assert_eq!(lines.len(), KINDS.len(), "{text} {}", String::from_utf8_lossy(&output.stderr));
    lines
}

#[test]
fn the_same_bits_at_any_number_of_threads() {
    let names = ["avx512", "avx2", "portable"];
    for (set, name) in names.into_iter().filter_map(|name| Some((Instructions::from_name(name)?, name))) {
        if set != Instructions::Portable && !set.is_there() {
            continue;
        }
        let alone = printed(1, name);
        for threads in [2, 3, 8] {
            assert_eq!(printed(threads, name), alone, "{threads} threads, {name}");
        }
        if set == Instructions::in_use() {
            // This process has as many threads as the machine offers.
            assert_eq!(answers(), alone);
        }
    }
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
