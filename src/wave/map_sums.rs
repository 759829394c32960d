//! Sums over a square map of the pupil, brought onto a small net of rates.
//!
//! A map has far more pixels than an image of some wavelengths times the focal ratio asks for. Its rows are spread over the few rows
//! of a net, and its columns over the few columns, each with fourteen taps: two narrow bands instead of two full matrices. The
//! kernel's transform is divided out where the net is summed (`amplitude.rs`). Good to 1e-14 of the peak against the sum over
//! all pixels.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::lanes::{LANES, Lanes, plus};
use super::taps::{self, OVERSAMPLING, WIDE_TAPS};
use crate::numeric::phase::sine_and_cosine;
use crate::numeric::simd::{Instructions, each_set};

/// Eight numbers and their imaginary parts.
pub(super) type Complex = [Lanes; 2];
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
    let mut held = vec![[[0.0; LANES]; 2]; longest_group(&rows.bands).max(longest_group(&columns.bands))];
    let mut lines = vec![[[0.0; LANES]; 2]; chunks * LANES];
    for (block, from) in (0..part.columns.1).step_by(LANES).enumerate() {
        lines.fill([[0.0; LANES]; 2]);
        let here = part.columns.0 + from;
        let count = LANES.min(part.columns.1 - from);
        column_of_map(set, part, (here, count), per_path, &rows.bands, &mut held, &mut lines);
        // Eight columns beside each other become eight rows of the net beside each other.
        for (chunk, lines) in turned.iter_mut().zip(lines.chunks_exact(LANES)) {
            transposed(set, lines, &mut chunk[LANES * block..LANES * (block + 1)]);
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

/// The most lines that begin at the same line of a net.
fn longest_group(bands: &[(usize, Band)]) -> usize {
    bands.chunk_by(|a, b| a.0 == b.0).map(<[_]>::len).max().unwrap_or(0)
}

each_set! {
    /// Eight columns of a map, turned into phasors and spread over the lines of a net.
    fn column_of_map(
        part: Part<'_>,
        columns: (usize, usize),
        per_path: f64,
        bands: &[(usize, Band)],
        held: &mut [Complex],
        lines: &mut [Complex],
    ) = column_of_map_with;
}

#[inline(always)]
fn column_of_map_with<const FUSED: bool>(
    part: Part<'_>,
    (from, count): (usize, usize),
    per_path: f64,
    bands: &[(usize, Band)],
    held: &mut [Complex],
    lines: &mut [Complex],
) {
    let mut at = 0;
    while at < bands.len() {
        let first = bands[at].0;
        let (mut group, mut is_dark) = (0, true);
        while at + group < bands.len() && bands[at + group].0 == first {
            let start = (part.rows.0 + at + group) * part.width + from;
            let (mut path, mut light) = ([f64::NAN; LANES], [1.0; LANES]);
            if count == LANES {
                path.copy_from_slice(&part.path_nm[start..start + LANES]);
            } else {
                path[..count].copy_from_slice(&part.path_nm[start..start + count]);
            }
            if let Some(amplitude) = part.amplitude {
                light[..count].copy_from_slice(&amplitude[start..start + count]);
            }
            let mut any = 0.0_f64;
            for lane in 0..LANES {
                let is_hole = path[lane].is_nan();
                light[lane] = if is_hole { 0.0 } else { light[lane] };
                path[lane] = if is_hole { 0.0 } else { path[lane] };
                any += light[lane];
            }
            let value = &mut held[group];
            if any > 0.0 {
                is_dark = false;
                for lane in 0..LANES {
                    let (sine, cosine) = sine_and_cosine(per_path * path[lane]);
                    value[0][lane] = light[lane] * cosine;
                    value[1][lane] = light[lane] * sine;
                }
            } else {
                *value = [[0.0; LANES]; 2];
            }
            group += 1;
        }
        if !is_dark {
            add_group::<FUSED>(&held[..group], &bands[at..at + group], &mut lines[first..first + WIDE_TAPS]);
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
    while at < bands.len() {
        let first = bands[at].0;
        let mut group = 1;
        while at + group < bands.len() && bands[at + group].0 == first {
            group += 1;
        }
        let (values, bands) = (&values[at..at + group], &bands[at..at + group]);
        add_group::<FUSED>(values, bands, &mut lines[first..first + WIDE_TAPS]);
        at += group;
    }
}

/// Adds lines that all begin at the same line of the net; half of the taps at once, so that their sums stay in registers.
#[inline(always)]
fn add_group<const FUSED: bool>(values: &[Complex], bands: &[(usize, Band)], lines: &mut [Complex]) {
    const HALF: usize = WIDE_TAPS / 2;
    for start in [0, HALF] {
        let lines: &mut [Complex; HALF] = lines[start..].first_chunk_mut().unwrap_or_else(|| unreachable!());
        let mut sums = *lines;
        for (value, (_, band)) in values.iter().zip(bands) {
            for k in 0..HALF {
                sums[k][0] = plus::<FUSED>(band[start + k], value[0], sums[k][0]);
                sums[k][1] = plus::<FUSED>(band[start + k], value[1], sums[k][1]);
            }
        }
        *lines = sums;
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
