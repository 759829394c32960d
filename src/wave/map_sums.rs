//! Sums over a square map of the pupil, brought onto a small net of rates.
//!
//! A map has far more pixels than an image of some wavelengths times the focal ratio asks for. Its rows are spread over the few rows
//! of a net, and its columns over the few columns, each with sixteen taps: two narrow bands instead of two full matrices. The
//! kernel's transform is divided out where the net is summed (`amplitude.rs`). Good to 1e-14 of the peak against the sum over
//! all pixels.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::lanes::{Complex, LANES, eight, plus};
use super::taps::{self, OVERSAMPLING, WIDE_TAPS};
use crate::numeric::phase::sine_and_cosine;
use crate::numeric::simd::{Instructions, each_set};

/// Groups of eight columns that are spread side by side.
const ABREAST: usize = 16;

/// Real and imaginary parts of a stretch of a row.
type Span = [[f64; ABREAST * LANES]; 2];
/// What a line of the map counts for the lines of the net that it reaches.
type Band = [f64; WIDE_TAPS];

/// How the lines of one direction of a map lie in a net.
pub(super) struct Lines {
    /// First line of the net that each reaches, ascending, and what it counts there.
    bands: Vec<(usize, Band)>,
    /// Lines of the net on half of its side.
    pub(super) half: usize,
}

impl Lines {
    /// `count` lines `step` apart in units of the net's own step, about the middle of a net of so many lines.
    pub(super) fn new(count: usize, step: f64, half: usize) -> Self {
        let place = |i: usize| (i as f64 - 0.5 * (count as f64 - 1.0)) * step + (half as f64 - 0.5);
        let band = |i: usize| {
            let edge = place(i) - 0.5 * WIDE_TAPS as f64;
            let first = edge.ceil();
            let share =
                |k: usize| taps::wide_bell((first - edge + k as f64) / (0.5 * WIDE_TAPS as f64) - 1.0);
            (first as usize, std::array::from_fn(share))
        };
        Self { bands: (0..count).map(band).collect(), half }
    }

    /// Half of the side of a net for a map of so many lines.
    pub(super) fn half(count: usize, step: f64) -> usize {
        (0.5 * (count as f64 - 1.0) * step).ceil() as usize + WIDE_TAPS / 2 + 1
    }
}

/// The step of the net in the image's own rates that an image of half a width asks for.
pub(super) fn net_step(shortest_um: f64, half_width_um: f64) -> f64 {
    shortest_um / (2.0 * OVERSAMPLING * half_width_um)
}

/// The part of a map that is summed: paths, nm, with NaN where it is dark, and amplitudes where they are not 1; whole rows.
#[derive(Clone, Copy)]
pub(super) struct Part<'a> {
    pub(super) path_nm: &'a [f64],
    pub(super) amplitude: Option<&'a [f64]>,
    /// Numbers in a row of both, and the first and the number of the columns that count.
    pub(super) width: usize,
    pub(super) columns: (usize, usize),
    /// The same for rows.
    pub(super) rows: (usize, usize),
}

/// The sums of a map on a net of rates: column after column of the net, of each the rows, eight beside each other.
pub(super) fn on_net(
    set: Instructions,
    part: Part<'_>,
    per_path: f64,
    rows: &Lines,
    columns: &Lines,
) -> Vec<Vec<Complex>> {
    let (net_rows, net_columns) = (2 * rows.half, 2 * columns.half);
    let chunks = net_rows.div_ceil(LANES);
    let mut turned = vec![vec![[[0.0; LANES]; 2]; part.columns.1.next_multiple_of(LANES)]; chunks];
    let mut held = vec![[[0.0; ABREAST * LANES]; 2]; groups(&rows.bands).map(<[_]>::len).max().unwrap_or(0)];
    // Some columns at a time: a row's numbers are read where they lie beside each other.
    let stride = chunks * LANES;
    let mut lines = vec![[[0.0; LANES]; 2]; stride * ABREAST];
    for from in (0..part.columns.1).step_by(ABREAST * LANES) {
        lines.fill([[0.0; LANES]; 2]);
        // What lies beyond the last column is nothing.
        held.fill([[0.0; ABREAST * LANES]; 2]);
        let count = (ABREAST * LANES).min(part.columns.1 - from);
        let here = (part.columns.0 + from, count);
        columns_of_map(set, part, here, per_path, &rows.bands, &mut held, (stride, &mut lines));
        // Eight columns beside each other become eight rows of the net beside each other.
        for (block, lines) in lines.chunks_exact(stride).take(count.div_ceil(LANES)).enumerate() {
            let at = from + LANES * block;
            for (chunk, lines) in turned.iter_mut().zip(lines.chunks_exact(LANES)) {
                transposed(set, lines, &mut chunk[at..at + LANES]);
            }
        }
    }
    turned
        .iter()
        .map(|column| {
            let mut net = vec![[[0.0; LANES]; 2]; net_columns];
            spread_lines(set, column, &columns.bands, &mut net);
            net
        })
        .collect()
}

/// Lines that begin at the same line of a net.
#[inline(always)]
fn groups(bands: &[(usize, Band)]) -> impl Iterator<Item = &[(usize, Band)]> {
    bands.chunk_by(|a, b| a.0 == b.0)
}

each_set! {
    /// Columns of a map, turned into phasors and spread over the lines of a net: eight after eight, each `stride` lines after the
    /// last.
    fn columns_of_map(
        part: Part<'_>,
        columns: (usize, usize),
        per_path: f64,
        bands: &[(usize, Band)],
        held: &mut [Span],
        lines: (usize, &mut [Complex]),
    ) = columns_of_map_with;
}

#[inline(always)]
fn columns_of_map_with<const FUSED: bool>(
    part: Part<'_>,
    (from, count): (usize, usize),
    per_path: f64,
    bands: &[(usize, Band)],
    held: &mut [Span],
    (stride, lines): (usize, &mut [Complex]),
) {
    let mut at = 0;
    for bands in groups(bands) {
        let (first, group) = (bands[0].0, bands.len());
        for (line, span) in held[..group].iter_mut().enumerate() {
            let start = (part.rows.0 + at + line) * part.width + from;
            let path = &part.path_nm[start..start + count];
            let [re, im] = span;
            let (re, im) = (&mut re[..count], &mut im[..count]);
            match part.amplitude {
                Some(amplitude) => {
                    let light = &amplitude[start..start + count];
                    for i in 0..count {
                        (re[i], im[i]) = phasor(per_path, path[i], light[i]);
                    }
                }
                None => {
                    for i in 0..count {
                        (re[i], im[i]) = phasor(per_path, path[i], 1.0);
                    }
                }
            }
        }
        for (block, lines) in lines.chunks_exact_mut(stride).take(count.div_ceil(LANES)).enumerate() {
            let value = |line: usize| {
                let ([re, im], at) = (&held[line], LANES * block);
                [eight(&re[at..]), eight(&im[at..])]
            };
            add_group::<FUSED>(value, bands, &mut lines[first..first + WIDE_TAPS]);
        }
        at += group;
    }
}

each_set! {
    /// Lines of eight numbers spread over the lines of a net.
    fn spread_lines(values: &[Complex], bands: &[(usize, Band)], lines: &mut [Complex]) = spread_lines_with;
}

#[inline(always)]
fn spread_lines_with<const FUSED: bool>(values: &[Complex], bands: &[(usize, Band)], lines: &mut [Complex]) {
    let mut at = 0;
    for bands in groups(bands) {
        let (first, values) = (bands[0].0, &values[at..at + bands.len()]);
        add_group::<FUSED>(|line| values[line], bands, &mut lines[first..first + WIDE_TAPS]);
        at += bands.len();
    }
}

/// Light times cosine and sine of a path's phase; nothing where the path is a hole.
#[inline(always)]
fn phasor(per_path: f64, path: f64, light: f64) -> (f64, f64) {
    let is_hole = path.is_nan();
    let light = if is_hole { 0.0 } else { light };
    let (sine, cosine) = sine_and_cosine(per_path * if is_hole { 0.0 } else { path });
    (light * cosine, light * sine)
}

/// Adds lines that all begin at the same line of the net; two taps at once, so that their sums stay in registers.
#[inline(always)]
fn add_group<const FUSED: bool>(
    value: impl Fn(usize) -> Complex,
    bands: &[(usize, Band)],
    lines: &mut [Complex],
) {
    for k in (0..WIDE_TAPS).step_by(2) {
        let ([mut a_re, mut a_im], [mut b_re, mut b_im]) = (lines[k], lines[k + 1]);
        for line in 0..bands.len() {
            let ([re, im], band) = (value(line), &bands[line].1);
            a_re = plus::<FUSED>(band[k], re, a_re);
            a_im = plus::<FUSED>(band[k], im, a_im);
            b_re = plus::<FUSED>(band[k + 1], re, b_re);
            b_im = plus::<FUSED>(band[k + 1], im, b_im);
        }
        (lines[k], lines[k + 1]) = ([a_re, a_im], [b_re, b_im]);
    }
}

each_set! {
    /// Eight by eight numbers with rows and columns exchanged.
    fn transposed(from: &[Complex], to: &mut [Complex]) = transposed_with;
}

#[inline(always)]
fn transposed_with<const FUSED: bool>(from: &[Complex], to: &mut [Complex]) {
    let (from, to) = (&from[..LANES], &mut to[..LANES]);
    for i in 0..LANES {
        for k in 0..LANES {
            to[i][0][k] = from[k][0][i];
            to[i][1][k] = from[k][1][i];
        }
    }
}
