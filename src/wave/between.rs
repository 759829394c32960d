//! From few places of the image to many.
//!
//! The amplitude in the image has no detail finer than the farthest rates of the net allow. So it is summed on a coarse square
//! net of places alone, about half a wavelength times focal ratio apart, with the transform of the taps (`taps.rs`) divided out of
//! every rate; between the places the taps add up to the amplitude again. Good to 2e-12 of the peak against the sum at each
//! place; a picture of 256 x 256 places costs a quarter of that sum.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use std::f64::consts::PI;

use super::amplitude::Amplitude;
use super::lanes::{self, Complex, LANES, Lanes, Panel, TAP_ROOM, Taps, Turns};
use super::lanes::{added, eight, four_across, less, plus, squares};
use super::taps::{self, BETWEEN, OVERSAMPLING, SPREAD, TAPS};
use crate::numeric::simd::{Instructions, each_set};

/// Longest side of a coarse net: beyond, it does not fit the second cache.
const LONGEST_SIDE: usize = 256;

/// The amplitude at the places of a coarse net, its rates' transform divided out.
#[derive(Clone, Debug)]
pub(crate) struct Coarse {
    set: Instructions,
    step_um: f64,
    /// Places on a side: a whole number of lanes to either side of the middle.
    side: usize,
    colours: Vec<Colour>,
}

/// The coarse net of one wavelength: the sums over its net of rates, whose own kernel has still to be divided out.
#[derive(Clone, Debug)]
struct Colour {
    counts: f64,
    step_per_um: f64,
    /// Place after place along, of each the real parts across, then the imaginary parts.
    net: Vec<f64>,
}

impl Colour {
    /// What the kernel of the net of rates takes from the amplitude at a coordinate.
    fn kernel(&self, at_um: f64) -> f64 {
        SPREAD.transform(self.step_per_um * at_um)
    }

    /// The same at many.
    fn kernels(&self, set: Instructions, at: &[Share]) -> Vec<f64> {
        SPREAD.transforms(set, at.iter().map(|share| self.step_per_um * share.at_um))
    }
}

/// Where a coordinate lies in the coarse net: the first place that counts, and what the places from there on count.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Share {
    at_um: f64,
    first: usize,
    taps: Taps,
}

impl Coarse {
    /// Distance of two places, and how many lie on half of a side, for an amplitude.
    fn size(light: &Amplitude) -> (f64, usize) {
        let farthest_per_um = light.colours[0].step_per_um * (light.half as f64 - 0.5);
        let step_um = PI / OVERSAMPLING / farthest_per_um;
        let least = (light.reach_um / step_um).ceil() as usize + TAPS / 2 + 1;
        let half = least.next_multiple_of(LANES);
        // A whole number of vectors: the places that are there anyway lie closer.
        (light.reach_um / (half - TAPS / 2 - 1) as f64, half)
    }

    /// How many places the net of an amplitude has on a side; none where that is too many.
    pub(crate) fn side(light: &Amplitude) -> Option<usize> {
        let (_, half) = Self::size(light);
        (2 * half <= LONGEST_SIDE).then_some(2 * half)
    }

    pub(crate) fn new(light: &Amplitude) -> Self {
        let (step_um, half) = Self::size(light);
        let places_um: Vec<f64> = (0..half).map(|i| (i as f64 + 0.5) * step_um).collect();
        let side = 2 * half;
        let mut panels = light.empty_panels();
        let mut values: Mirrored = [[[[0.0; LANES]; 2]; 2]; LANES];
        let mut coarse = Self { set: light.set, step_um, side, colours: Vec::new() };
        for colour in &light.colours {
            let table = light.bare_tables(colour, &places_um, |k| {
                BETWEEN.transform(colour.step_per_um * step_um * (k as f64 + 0.5)).recip()
            });
            // A little more room: points read whole vectors.
            let mut net = vec![0.0; side * 2 * side + TAP_ROOM];
            for (chunk, turns) in table.chunks_exact(light.half).enumerate() {
                light.panels(colour, turns, &mut panels);
                for (there, panels) in panels.iter().enumerate() {
                    for (rows, turns) in table.chunks_exact(light.half).enumerate() {
                        let mirror = if light.is_even {
                            across_even_places(light.set, panels, turns, &mut values);
                            0
                        } else {
                            across_places(light.set, panels, turns, &mut values);
                            1
                        };
                        // Places to the left and below count downward from the middle.
                        let (up, down) = (half + LANES * rows, half - LANES * (rows + 1));
                        for (lane, i) in (LANES * chunk..).take(LANES).enumerate() {
                            let along = if there == 0 { half + i } else { half - 1 - i };
                            let (re, im) = net[2 * along * side..2 * (along + 1) * side].split_at_mut(side);
                            for (part, line) in [re, im].into_iter().enumerate() {
                                let (mut above, mut below) = ([0.0; LANES], [0.0; LANES]);
                                for k in 0..LANES {
                                    above[k] = values[k][0][part][lane];
                                    below[LANES - 1 - k] = values[k][mirror][part][lane];
                                }
                                *line[up..].first_chunk_mut().unwrap_or_else(|| unreachable!()) = above;
                                *line[down..].first_chunk_mut().unwrap_or_else(|| unreachable!()) = below;
                            }
                        }
                    }
                }
            }
            coarse.colours.push(Colour { counts: colour.counts, step_per_um: colour.step_per_um, net });
        }
        coarse
    }

    /// What the places count for coordinates within the reach.
    pub(crate) fn shares(&self, at_um: &[f64]) -> Vec<Share> {
        let middle = 0.5 * self.side as f64 - 0.5;
        let found: Vec<(usize, f64)> =
            at_um.iter().map(|um| taps::first_and_variable(um / self.step_um + middle)).collect();
        let at: Vec<f64> = found.iter().map(|f| f.1).collect();
        let mut taps = vec![[0.0; TAP_ROOM]; at.len()];
        lanes::taps(self.set, &BETWEEN.taps, &at, &mut taps);
        let shares = at_um.iter().zip(&found).zip(taps);
        shares.map(|((at_um, (first, _)), taps)| Share { at_um: *at_um, first: *first, taps }).collect()
    }

    /// Intensity at a point.
    pub(crate) fn intensity(&self, along_um: f64, across_um: f64) -> f64 {
        let middle = 0.5 * self.side as f64 - 0.5;
        let found = [along_um, across_um].map(|um| taps::first_and_variable(um / self.step_um + middle));
        let mut taps = [[0.0; TAP_ROOM]; 2];
        lanes::taps(self.set, &BETWEEN.taps, &found.map(|f| f.1), &mut taps);
        let places = [along_um, across_um];
        let [along, across] = [0, 1].map(|i| Share { at_um: places[i], first: found[i].0, taps: taps[i] });
        let of_colour = |colour: &Colour| {
            let kernel = colour.kernel(along_um) * colour.kernel(across_um);
            colour.counts * point(self.set, &colour.net, self.side, &along, &across) / (kernel * kernel)
        };
        self.colours.iter().map(of_colour).sum()
    }

    /// The intensity on a square net for an image that is the same above and below, row by row.
    pub(crate) fn even_picture(&self, shares: &[Share], image: &mut [f64]) {
        let width = shares.len();
        let (lower, upper) = image.split_at_mut(width / 2 * width);
        self.picture(shares, &shares[width / 2..], upper);
        // Mirror rows: the last is the first. An odd number of rows has one in the middle by itself.
        let mirrored = upper.chunks_exact(width).skip(width % 2);
        for (below, above) in lower.chunks_exact_mut(width).rev().zip(mirrored) {
            below.copy_from_slice(above);
        }
    }

    /// Intensities where `columns` along and `rows` across meet, row by row.
    pub(crate) fn picture(&self, columns: &[Share], rows: &[Share], image: &mut [f64]) {
        let mut lines = vec![[[0.0; LANES]; 2]; self.side];
        // The rows of an even picture lie on one side of the middle.
        let wanted = rows.iter().fold((usize::MAX, 0), |(low, high), row| {
            (low.min(row.first / LANES), high.max((row.first + TAPS).div_ceil(LANES)))
        });
        let mut found = vec![[0.0; LANES]; rows.len()];
        let weights_and_kernels: Vec<[Vec<f64>; 2]> = self
            .colours
            .iter()
            .map(|colour| {
                let mut weights = colour.kernels(self.set, rows);
                for kernel in &mut weights {
                    *kernel = colour.counts / (*kernel * *kernel);
                }
                [weights, colour.kernels(self.set, columns)]
            })
            .collect();
        for (chunk, columns_here) in columns.chunks(LANES).enumerate() {
            let last = columns_here[columns_here.len() - 1];
            let eight: [Share; LANES] = std::array::from_fn(|k| columns_here.get(k).copied().unwrap_or(last));
            found.fill([0.0; LANES]);
            for (colour, [weights, kernels]) in self.colours.iter().zip(&weights_and_kernels) {
                let mut scaled = eight;
                for (share, kernel) in scaled.iter_mut().zip(&kernels[LANES * chunk..]) {
                    let scale = kernel.recip();
                    for tap in &mut share.taps {
                        *tap *= scale;
                    }
                }
                lines_across(self.set, &colour.net, self.side, &scaled, wanted, &mut lines);
                places_on_lines(self.set, &lines, rows, weights, &mut found);
            }
            for (row, values) in image.chunks_exact_mut(columns.len()).zip(&found) {
                let here = &mut row[LANES * chunk..];
                if let Some(eight) = here.first_chunk_mut::<LANES>() {
                    *eight = *values;
                } else {
                    here.copy_from_slice(&values[..here.len()]);
                }
            }
        }
    }
}

/// Amplitudes at eight places along, for each of eight places across: there, and at the mirror place.
type Mirrored = [[Complex; 2]; LANES];

each_set! {
    /// Amplitudes at eight places along, for eight places across and their mirror places: from one panel for each rate across.
    fn across_places(panels: &[Panel], table: &[Turns], values: &mut Mirrored) = across_places_with;
}

#[inline(always)]
fn across_places_with<const FUSED: bool>(panels: &[Panel], table: &[Turns], values: &mut Mirrored) {
    let table = &table[..panels.len()];
    for start in [0, 4] {
        let sums = four_across::<FUSED>(panels, table, start);
        for (value, [even_re, even_im, odd_re, odd_im]) in values[start..].iter_mut().zip(sums) {
            *value = [
                [less(even_re, odd_im), added(even_im, odd_re)],
                [added(even_re, odd_im), less(even_im, odd_re)],
            ];
        }
    }
}

each_set! {
    /// The same where the rows' difference is nothing: each mirror place is like its place, which alone is written.
    fn across_even_places(panels: &[Panel], table: &[Turns], values: &mut Mirrored) = across_even_places_with;
}

#[inline(always)]
fn across_even_places_with<const FUSED: bool>(panels: &[Panel], table: &[Turns], values: &mut Mirrored) {
    let table = &table[..panels.len()];
    for start in [0, 4] {
        let zero = [0.0; LANES];
        let (mut re_0, mut re_1, mut re_2, mut re_3) = (zero, zero, zero, zero);
        let (mut im_0, mut im_1, mut im_2, mut im_3) = (zero, zero, zero, zero);
        for k in 0..panels.len() {
            let ([re, im, _, _], [cosine, _]) = (panels[k], &table[k]);
            re_0 = plus::<FUSED>(cosine[start], re, re_0);
            im_0 = plus::<FUSED>(cosine[start], im, im_0);
            re_1 = plus::<FUSED>(cosine[start + 1], re, re_1);
            im_1 = plus::<FUSED>(cosine[start + 1], im, im_1);
            re_2 = plus::<FUSED>(cosine[start + 2], re, re_2);
            im_2 = plus::<FUSED>(cosine[start + 2], im, im_2);
            re_3 = plus::<FUSED>(cosine[start + 3], re, re_3);
            im_3 = plus::<FUSED>(cosine[start + 3], im, im_3);
        }
        let sums = [[re_0, im_0], [re_1, im_1], [re_2, im_2], [re_3, im_3]];
        for (value, sum) in values[start..].iter_mut().zip(sums) {
            value[0] = sum;
        }
    }
}

each_set! {
    /// The amplitude on the lines across of eight columns, from a coarse net: at each place across, the eight beside each other.
    /// Only the eights of places from the first to before the last that are `wanted` are made.
    fn lines_across(
        net: &[f64],
        side: usize,
        columns: &[Share; LANES],
        wanted: (usize, usize),
        lines: &mut [Complex],
    ) = lines_across_with;
}

#[inline(always)]
fn lines_across_with<const FUSED: bool>(
    net: &[f64],
    side: usize,
    columns: &[Share; LANES],
    wanted: (usize, usize),
    lines: &mut [Complex],
) {
    for chunk in wanted.0..wanted.1 {
        let lines = &mut lines[LANES * chunk..LANES * (chunk + 1)];
        let (mut re, mut im) = ([[0.0; LANES]; LANES], [[0.0; LANES]; LANES]);
        for (column, (re, im)) in columns.iter().zip(re.iter_mut().zip(&mut im)) {
            let from = 2 * column.first * side + LANES * chunk;
            let rows = &net[from..from + (2 * TAPS - 1) * side + LANES];
            let (mut sum_re, mut sum_im) = ([0.0; LANES], [0.0; LANES]);
            for k in 0..TAPS {
                let [here, there] = [2 * k * side, (2 * k + 1) * side];
                sum_re = plus::<FUSED>(column.taps[k], eight(&rows[here..]), sum_re);
                sum_im = plus::<FUSED>(column.taps[k], eight(&rows[there..]), sum_im);
            }
            (*re, *im) = (sum_re, sum_im);
        }
        for (lane, line) in lines.iter_mut().enumerate() {
            for k in 0..LANES {
                line[0][k] = re[k][lane];
                line[1][k] = im[k][lane];
            }
        }
    }
}

each_set! {
    /// Adds the intensity at places on eight lines across, times a weight for each.
    fn places_on_lines(
        lines: &[Complex],
        rows: &[Share],
        weights: &[f64],
        found: &mut [Lanes],
    ) = places_on_lines_with;
}

#[inline(always)]
fn places_on_lines_with<const FUSED: bool>(
    lines: &[Complex],
    rows: &[Share],
    weights: &[f64],
    found: &mut [Lanes],
) {
    let (weights, found) = (&weights[..rows.len()], &mut found[..rows.len()]);
    let mut at = 0;
    while at < rows.len() {
        // Neighbours mostly begin at the same place, whose values stay in registers.
        let first = rows[at].first;
        let held: &[Complex; TAPS] = lines[first..].first_chunk().unwrap_or_else(|| unreachable!());
        while at < rows.len() && rows[at].first == first {
            let taps = &rows[at].taps;
            let (mut re, mut im) = ([0.0; LANES], [0.0; LANES]);
            for k in 0..TAPS {
                re = plus::<FUSED>(taps[k], held[k][0], re);
                im = plus::<FUSED>(taps[k], held[k][1], im);
            }
            found[at] = plus::<FUSED>(weights[at], squares(re, im), found[at]);
            at += 1;
        }
    }
}

each_set! {
    /// The intensity at one place.
    fn point(net: &[f64], side: usize, along: &Share, across: &Share) -> f64 = point_with;
}

#[inline(always)]
fn point_with<const FUSED: bool>(net: &[f64], side: usize, along: &Share, across: &Share) -> f64 {
    let from = 2 * along.first * side + across.first;
    let rows = &net[from..from + (2 * TAPS - 1) * side + TAP_ROOM];
    let (mut re, mut im) = ([0.0; TAP_ROOM], [0.0; TAP_ROOM]);
    for k in 0..TAPS {
        let [here, there] = [2 * k * side, (2 * k + 1) * side];
        let a: &Taps = rows[here..].first_chunk().unwrap_or_else(|| unreachable!());
        let b: &Taps = rows[there..].first_chunk().unwrap_or_else(|| unreachable!());
        for lane in 0..TAP_ROOM {
            re[lane] += along.taps[k] * a[lane];
            im[lane] += along.taps[k] * b[lane];
        }
    }
    let (mut sum_re, mut sum_im) = (0.0, 0.0);
    for lane in 0..TAP_ROOM {
        // Beyond its taps a share counts nothing.
        sum_re += across.taps[lane] * re[lane];
        sum_im += across.taps[lane] * im[lane];
    }
    sum_re * sum_re + sum_im * sum_im
}
