//! Memory: the peak of each analysis is the one that DEVELOPERS.md states, and nothing grows with the number of rays or rows
//! where only statistics, or pieces, are asked for.

mod common;

use std::hint::black_box;
use std::process::Command;

use catoptric::RayColumn::{Each, Same};
use catoptric::{
    DiagonalBatchInput, Field, FocalLengthMm, Focus, KnifeEdgeReadings, MaskOptions, MtfOptions, Prepared,
    Primary, PsfSize, RadiusOfCurvatureMm, Rays, RaysOut, ReadingsIncrease, ReduceOptions, SensorFrame,
    Spectrum, TestSource, TurnedEdge, mask_sweep,
};
use common::{everything, prepare};
use peak_alloc::PeakAlloc;

#[global_allocator]
static ALLOCATED: PeakAlloc = PeakAlloc;

const FIELD: Field = Field { x_arcmin: 6.0, y_arcmin: -9.0 };
/// Set in the process that this file starts: it measures, and this one reads.
const ONLY_MEASURE: &str = "CATOPTRIC_TEST_ONLY_MEASURE";
const MARK: &str = "peak of ";

/// The most that some work holds at a time beyond what was there, its answer included, bytes.
///
/// The second of two calls counts: the first one fills what is made once in a process.
fn peak<T>(work: impl Fn() -> T) -> usize {
    drop(black_box(work()));
    ALLOCATED.reset_peak_usage();
    let before = ALLOCATED.current_usage();
    drop(black_box(work()));
    ALLOCATED.peak_usage().saturating_sub(before)
}

fn telescope() -> Prepared {
    prepare(everything())
}

/// Places of rays over the mirror.
fn columns(rays: usize) -> [Vec<f64>; 2] {
    let turn = |k: usize| 2.399_963_229_728_653 * k as f64;
    let radius = |k: usize| 158.0 * ((k as f64 + 0.5) / rays as f64).sqrt();
    let x = (0..rays).map(|k| radius(k) * turn(k).cos()).collect();
    [x, (0..rays).map(|k| radius(k) * turn(k).sin()).collect()]
}

fn parallel<'a>([x, y]: &'a [Vec<f64>; 2]) -> Rays<'a> {
    Rays::new([Each(x), Each(y), Same(2000.0)], [Same(0.0), Same(0.0), Same(-1.0)]).expect("rays")
}

fn statistics_of_given(rays: usize) -> usize {
    let (telescope, columns) = (telescope(), columns(rays));
    peak(|| telescope.spot_of_rays(&parallel(&columns), 0.0).expect("a spot"))
}

fn columns_of_the_caller(rays: usize) -> usize {
    use std::cell::RefCell;
    let (telescope, columns) = (telescope(), columns(rays));
    let out = RefCell::new((vec![0.0; rays], vec![0.0; rays], vec![false; rays]));
    peak(|| {
        let (along_um, across_um, passed) = &mut *out.borrow_mut();
        let out = RaysOut { along_um, across_um, passed, light: None };
        telescope.trace_rays_into(&parallel(&columns), 0.0, out).expect("rays");
    })
}

fn rings(rays: usize) -> usize {
    let telescope = telescope();
    peak(|| telescope.spot_of_rings(FIELD, 0.0, rays / 200, 200).expect("a spot"))
}

fn diagonals(rows: u32) -> usize {
    let train = everything().build().expect("a train");
    let sizes: Vec<f64> = (0..rows / 10).map(|k| 55.0 + 40.0 * f64::from(k) / f64::from(rows / 10)).collect();
    let mut input = DiagonalBatchInput::new(vec![train], sizes, vec![0.0, 9.0]);
    input.axis_to_focus_mm = (0..10).map(|k| 225.0 + f64::from(k)).collect();
    let batch = input.check().expect("a batch");
    peak(|| {
        for piece in batch.chunks(100).expect("pieces") {
            black_box(piece.expect("rows"));
        }
    })
}

fn readings() -> KnifeEdgeReadings {
    KnifeEdgeReadings::at_radii(
        200.0,
        RadiusOfCurvatureMm(2400.0),
        TestSource::Moving,
        ReadingsIncrease::AwayFromMirror,
        &[40.0, 60.0, 80.0, 95.0],
        vec![vec![0.33, 0.75, 1.33, 2.0], vec![1.33, 1.76, 2.31, 3.0]],
    )
    .expect("readings")
}

/// Name in the table of DEVELOPERS.md and bytes.
fn measured() -> Vec<(&'static str, usize)> {
    let telescope = telescope();
    let wave = telescope.wavefront(FIELD, Focus::LeastRms, 550.0).expect("a wavefront");
    let round = common::bare(Primary::new(200.0, FocalLengthMm(1200.0)).layer(TurnedEdge::new(9.0, 90.0)));
    let sharp = round.wavefront(Field::AXIS, Focus::Peak, 550.0).expect("a wavefront");
    let picture = PsfSize { half_width_um: None, pixels: 256 };
    let nine = Spectrum::photopic_of(9, None).expect("light");
    let frequency_per_mm = Some((1..=20).map(|k| 15.0 * f64::from(k)).collect());
    let details = MtfOptions { frequency_per_mm, spectrum: None };
    let along: Vec<f64> = (0..100).map(|k| 0.1 * f64::from(k)).collect();
    let options = ReduceOptions { draws: 2000, ..ReduceOptions::default() };
    let figure = readings().reduce(options.clone()).expect("a figure");
    vec![
        ("statistics of rays given", statistics_of_given(1_000_000)),
        ("the caller's columns of rays", columns_of_the_caller(1_000_000)),
        ("statistics of rings", rings(1_000_000)),
        ("spot, 2000 points handed out", peak(|| telescope.spot_at(FIELD, 0.0, 2000))),
        ("wavefront and Strehl", peak(|| telescope.wavefront(FIELD, Focus::Peak, 550.0))),
        ("star image, 256 x 256", peak(|| wave.psf(picture))),
        ("star image, 256 x 256, nine colours", peak(|| wave.psf_of(picture, &nine))),
        ("contrast, 20 frequencies", peak(|| sharp.mtf(&details))),
        ("light of one star", peak(|| telescope.light(FIELD))),
        ("illumination, 100 points", peak(|| telescope.illumination(&along, &along))),
        ("light map, 33 x 22 points", peak(|| telescope.light_map(SensorFrame::new(24.0, 36.0), 33))),
        ("diagonals in pieces of 100 rows", diagonals(1000)),
        ("readings, 2000 draws", peak(|| readings().reduce(options.clone()))),
        ("masks over 2000 draws, three openings", {
            peak(|| mask_sweep(&figure, &[180.0, 190.0, 196.0], &MaskOptions::strehl_alone()))
        }),
    ]
}

#[test]
fn measure() {
    if std::env::var_os(ONLY_MEASURE).is_none() {
        return;
    }
    for (what, bytes) in measured() {
        println!("{MARK}{what}: {bytes}");
    }
    // What must not grow, ten or a hundred times as large.
    for (what, small, large) in [
        ("given", statistics_of_given(100_000), statistics_of_given(1_000_000)),
        ("columns", columns_of_the_caller(100_000), columns_of_the_caller(1_000_000)),
        ("rings", rings(100_000), rings(10_000_000)),
        ("rows", diagonals(300), diagonals(1500)),
    ] {
        println!("{MARK}growth of {what}: {}", large as i64 - small as i64);
    }
}

/// The lines of a process in which one thread does all work and no other test runs.
fn lines() -> Vec<(String, f64)> {
    let output = Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", "measure", "--nocapture", "--test-threads=1"])
        .env(ONLY_MEASURE, "1")
        .env("CATOPTRIC_NUM_THREADS", "1")
        .output()
        .expect("it runs");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let line = |line: &str| {
        let (what, bytes) = line.split_once(MARK)?.1.rsplit_once(": ")?;
        Some((what.to_owned(), bytes.trim().parse().ok()?))
    };
    let found: Vec<(String, f64)> = text.lines().filter_map(line).collect();
    assert!(found.len() > 10, "{text} {}", String::from_utf8_lossy(&output.stderr));
    found
}

/// Kilobytes by name, from the table of DEVELOPERS.md.
fn stated() -> Vec<(String, f64)> {
    let text = std::fs::read_to_string("DEVELOPERS.md").expect("a page");
    let table = text.split("## Memory").nth(1).expect("a chapter");
    let row = |line: &str| {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        let kilobytes = cells.get(1)?.strip_suffix(" kB")?.replace(' ', "").parse().ok()?;
        Some((cells[0].to_owned(), kilobytes))
    };
    table.lines().take_while(|line| !line.starts_with("## ")).filter_map(row).collect()
}

#[test]
fn peaks_are_those_of_the_table_and_statistics_do_not_grow() {
    const WITHIN: f64 = 1.5;
    // Lists with an entry for each of up to 128 parts, or for each 4096 rays of the caller's columns: no rays.
    const GROWTH: [(&str, f64); 4] = [("given", 2e4), ("columns", 1e5), ("rings", 2e4), ("rows", 3e4)];
    let (found, stated) = (lines(), stated());
    let of = |list: &[(String, f64)], name: &str| {
        list.iter().find(|(what, _)| what == name).unwrap_or_else(|| panic!("no {name} in {list:?}")).1
    };
    for (what, bytes) in &found {
        println!("{what}: {:.1} kB", bytes / 1e3);
    }
    for (what, most) in GROWTH {
        let growth = of(&found, &format!("growth of {what}"));
        assert!(growth <= most, "{what}: {growth} bytes more");
    }
    for (what, bytes) in found.iter().filter(|(what, _)| !what.starts_with("growth")) {
        let kilobytes = of(&stated, what);
        let ratio = bytes / 1e3 / kilobytes;
        assert!((1.0 / WITHIN..=WITHIN).contains(&ratio), "{what}: {bytes} bytes, stated {kilobytes} kB");
    }
    assert_eq!(stated.len(), found.len() - GROWTH.len(), "a row that nothing measures");
}
