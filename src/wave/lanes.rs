//! The inner loops of star images, in forms that become vector instructions of whatever processor runs them.
//!
//! The sum over a square net of rates is folded: places x and -x share their cosines and sines, and so do rates u and
//! -u. What is left are products of small tables, taken eight places at a time.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::taps::{PIECES, TAPS, TERMS};
use crate::numeric::phase::sine_and_cosine;
use crate::numeric::simd::{add_product, each_set};

/// Places that are summed side by side.
pub(super) const LANES: usize = 8;
pub(super) type Lanes = [f64; LANES];

/// The taps of a node on one side, and room up to a whole number of short vectors; what is beyond is 0.
pub(super) const TAP_ROOM: usize = 12;
pub(super) type Taps = [f64; TAP_ROOM];

/// The same taps, each twice: for a real and an imaginary part beside each other.
pub(super) const PAIRS: usize = 2 * TAPS;
pub(super) type Pairs = [f64; PAIRS];

/// What the spread weights at the four points (+-column, +-row) of a net add up to: sum and difference of the rows
/// (real, imaginary, each), of the columns' sum first, then of the columns' difference.
pub(super) type Folded = [f64; 8];

/// Eight numbers and their imaginary parts.
pub(super) type Complex = [Lanes; 2];

/// Cosines and sines of one rate at eight places.
pub(super) type Turns = [Lanes; 2];

/// The sums over the columns at eight places: for the rows' sum and the rows' difference, real and imaginary.
pub(super) type Panel = [Lanes; 4];

/// a times eight numbers plus eight sums: values in and out, which stay in registers.
#[inline(always)]
pub(super) fn plus<const FUSED: bool>(a: f64, b: Lanes, c: Lanes) -> Lanes {
    let mut sum = c;
    for lane in 0..LANES {
        sum[lane] = add_product::<FUSED>(a, b[lane], c[lane]);
    }
    sum
}

/// The same, each lane by its own factor.
#[inline(always)]
fn plus_each<const FUSED: bool>(a: Lanes, b: Lanes, c: Lanes) -> Lanes {
    let mut sum = c;
    for lane in 0..LANES {
        sum[lane] = add_product::<FUSED>(a[lane], b[lane], c[lane]);
    }
    sum
}

/// The first eight numbers of a list that has so many.
#[inline(always)]
pub(super) fn eight(values: &[f64]) -> Lanes {
    *values.first_chunk().unwrap_or_else(|| unreachable!())
}

/// Squares of two parts, added.
#[inline(always)]
pub(super) fn squares(re: Lanes, im: Lanes) -> Lanes {
    let mut sum = re;
    for lane in 0..LANES {
        sum[lane] = re[lane] * re[lane] + im[lane] * im[lane];
    }
    sum
}

#[inline(always)]
pub(super) fn added(a: Lanes, b: Lanes) -> Lanes {
    plus_each::<false>([1.0; LANES], a, b)
}

#[inline(always)]
pub(super) fn less(a: Lanes, b: Lanes) -> Lanes {
    let mut difference = a;
    for lane in 0..LANES {
        difference[lane] = a[lane] - b[lane];
    }
    difference
}

each_set! {
    /// Spreads weights over a net: `weights` (real, imaginary) of nodes whose taps begin at `first` and are `along`, `across`.
    ///
    /// A row of the net is `stride` numbers long; real and imaginary parts lie beside each other.
    pub(super) fn spread(
        net: &mut [f64],
        stride: usize,
        first: &[usize],
        weights: (&[f64], &[f64]),
        taps: (&[Pairs], &[Taps]),
    ) = spread_with;
}

#[inline(always)]
fn spread_with<const FUSED: bool>(
    net: &mut [f64],
    stride: usize,
    first: &[usize],
    (re, im): (&[f64], &[f64]),
    (along, across): (&[Pairs], &[Taps]),
) {
    for i in 0..first.len() {
        let (re, im, along, across) = (re[i], im[i], &along[i], &across[i]);
        let mut both = [0.0; PAIRS];
        for k in 0..TAPS {
            both[2 * k] = re * along[2 * k];
            both[2 * k + 1] = im * along[2 * k + 1];
        }
        let rows = &mut net[first[i]..first[i] + (TAPS - 1) * stride + PAIRS];
        for k in 0..TAPS {
            let share = across[k];
            let row: &mut Pairs = rows[k * stride..].first_chunk_mut().unwrap_or_else(|| unreachable!());
            for lane in 0..PAIRS {
                row[lane] = add_product::<FUSED>(share, both[lane], row[lane]);
            }
        }
    }
}

each_set! {
    /// Taps at places between two points of a net, each twice: `at` is how far the first point lies beyond the kernel's edge.
    pub(super) fn pairs(table: &[Pairs], at: &[f64], values: &mut [Pairs]) = pairs_with;
}

each_set! {
    /// The same, each once.
    pub(super) fn taps(table: &[Taps], at: &[f64], values: &mut [Taps]) = taps_with;
}

#[inline(always)]
fn pairs_with<const FUSED: bool>(table: &[Pairs], at: &[f64], values: &mut [Pairs]) {
    pieces_with::<FUSED, PAIRS>(table, at, values);
}

#[inline(always)]
fn taps_with<const FUSED: bool>(table: &[Taps], at: &[f64], values: &mut [Taps]) {
    pieces_with::<FUSED, TAP_ROOM>(table, at, values);
}

/// Polynomials of one variable from 0 to 1, side by side, in so many pieces of equal length.
#[inline(always)]
fn pieces_with<const FUSED: bool, const N: usize>(table: &[[f64; N]], at: &[f64], values: &mut [[f64; N]]) {
    let table = &table[..PIECES * TERMS];
    for (at, value) in at.iter().zip(values) {
        let place = at * PIECES as f64;
        let piece = (place as usize).min(PIECES - 1);
        let x = 2.0 * (place - piece as f64) - 1.0;
        let rows = &table[piece * TERMS..(piece + 1) * TERMS];
        let mut sum = rows[0];
        for row in &rows[1..] {
            for lane in 0..N {
                sum[lane] = add_product::<FUSED>(sum[lane], x, row[lane]);
            }
        }
        *value = sum;
    }
}

each_set! {
    /// Light times cosine and sine of the phases per path times `per_path`.
    pub(super) fn phasors(
        path: &[f64],
        per_path: f64,
        light: &[f64],
        re: &mut [f64],
        im: &mut [f64],
    ) = phasors_with;
}

#[inline(always)]
fn phasors_with<const FUSED: bool>(
    path: &[f64],
    per_path: f64,
    light: &[f64],
    re: &mut [f64],
    im: &mut [f64],
) {
    for (((path, light), re), im) in path.iter().zip(light).zip(re).zip(im) {
        let (sine, cosine) = sine_and_cosine(per_path * path);
        *re = light * cosine;
        *im = light * sine;
    }
}

each_set! {
    /// Cosines and sines of (k + 1/2) `turn` for eight turns, k from 0, both times `scale`.
    pub(super) fn turns(turn: &Lanes, scale: &Lanes, table: &mut [Turns]) = turns_with;
}

#[inline(always)]
fn turns_with<const FUSED: bool>(turn: &Lanes, scale: &Lanes, table: &mut [Turns]) {
    for k in 0..table.len() {
        let order = k as f64 + 0.5;
        let row = &mut table[k];
        for lane in 0..LANES {
            let (sine, cosine) = sine_and_cosine(order * turn[lane]);
            row[0][lane] = scale[lane] * cosine;
            row[1][lane] = scale[lane] * sine;
        }
    }
}

each_set! {
    /// The sums over one pair of rows of a folded net: at eight places, and at their mirror places.
    pub(super) fn along_rows(row: &[Folded], table: &[Turns]) -> [Panel; 2] = along_rows_with;
}

#[inline(always)]
fn along_rows_with<const FUSED: bool>(row: &[Folded], table: &[Turns]) -> [Panel; 2] {
    let zero = [0.0; LANES];
    let (mut even_0, mut even_1, mut even_2, mut even_3) = (zero, zero, zero, zero);
    let (mut odd_0, mut odd_1, mut odd_2, mut odd_3) = (zero, zero, zero, zero);
    let table = &table[..row.len()];
    for k in 0..row.len() {
        let (w, [cosine, sine]) = (row[k], table[k]);
        even_0 = plus::<FUSED>(w[0], cosine, even_0);
        even_1 = plus::<FUSED>(w[1], cosine, even_1);
        even_2 = plus::<FUSED>(w[2], cosine, even_2);
        even_3 = plus::<FUSED>(w[3], cosine, even_3);
        odd_0 = plus::<FUSED>(w[4], sine, odd_0);
        odd_1 = plus::<FUSED>(w[5], sine, odd_1);
        odd_2 = plus::<FUSED>(w[6], sine, odd_2);
        odd_3 = plus::<FUSED>(w[7], sine, odd_3);
    }
    // Even + i odd at the place, even - i odd at its mirror place.
    [
        [less(even_0, odd_1), added(even_1, odd_0), less(even_2, odd_3), added(even_3, odd_2)],
        [added(even_0, odd_1), less(even_1, odd_0), added(even_2, odd_3), less(even_3, odd_2)],
    ]
}

each_set! {
    /// The same where the rows' difference is nothing.
    pub(super) fn along_even_rows(row: &[Folded], table: &[Turns]) -> [Panel; 2] = along_even_rows_with;
}

#[inline(always)]
fn along_even_rows_with<const FUSED: bool>(row: &[Folded], table: &[Turns]) -> [Panel; 2] {
    let zero = [0.0; LANES];
    let (mut even_0, mut even_1, mut odd_0, mut odd_1) = (zero, zero, zero, zero);
    let table = &table[..row.len()];
    for k in 0..row.len() {
        let (w, [cosine, sine]) = (row[k], table[k]);
        even_0 = plus::<FUSED>(w[0], cosine, even_0);
        even_1 = plus::<FUSED>(w[1], cosine, even_1);
        odd_0 = plus::<FUSED>(w[4], sine, odd_0);
        odd_1 = plus::<FUSED>(w[5], sine, odd_1);
    }
    [
        [less(even_0, odd_1), added(even_1, odd_0), zero, zero],
        [added(even_0, odd_1), less(even_1, odd_0), zero, zero],
    ]
}

/// Four sums over the rows at eight places along and one across: even and odd, real and imaginary.
pub(super) type Across = [Lanes; 4];

#[inline(always)]
fn across<const FUSED: bool>(sums: Across, cosine: f64, sine: f64, panel: Panel) -> Across {
    [
        plus::<FUSED>(cosine, panel[0], sums[0]),
        plus::<FUSED>(cosine, panel[1], sums[1]),
        plus::<FUSED>(sine, panel[2], sums[2]),
        plus::<FUSED>(sine, panel[3], sums[3]),
    ]
}

/// The sums over all panels for four places across, from the one numbered `start` on: sixteen sums, each used once a panel.
#[inline(always)]
pub(super) fn four_across<const FUSED: bool>(panels: &[Panel], table: &[Turns], start: usize) -> [Across; 4] {
    let zero = [[0.0; LANES]; 4];
    let (mut row_0, mut row_1, mut row_2, mut row_3) = (zero, zero, zero, zero);
    for k in 0..panels.len() {
        let (panel, [cosine, sine]) = (panels[k], &table[k]);
        row_0 = across::<FUSED>(row_0, cosine[start], sine[start], panel);
        row_1 = across::<FUSED>(row_1, cosine[start + 1], sine[start + 1], panel);
        row_2 = across::<FUSED>(row_2, cosine[start + 2], sine[start + 2], panel);
        row_3 = across::<FUSED>(row_3, cosine[start + 3], sine[start + 3], panel);
    }
    [row_0, row_1, row_2, row_3]
}

/// The intensities above and below of four such sums.
#[inline(always)]
fn both([even_re, even_im, odd_re, odd_im]: Across) -> [Lanes; 2] {
    [
        squares(less(even_re, odd_im), added(even_im, odd_re)),
        squares(added(even_re, odd_im), less(even_im, odd_re)),
    ]
}

each_set! {
    /// Adds `weight` times the intensity to pictures at eight places along, for as many places across (up to eight) as there are rows
    /// of `above` (and as many mirror places in `below`), from one panel for each rate across.
    pub(super) fn across_rows(panels: &[Panel], table: &[Turns], weight: f64, above: &mut [Lanes], below: &mut [Lanes]) = across_rows_with;
}

#[inline(always)]
fn across_rows_with<const FUSED: bool>(
    panels: &[Panel],
    table: &[Turns],
    weight: f64,
    above: &mut [Lanes],
    below: &mut [Lanes],
) {
    let table = &table[..panels.len()];
    for start in [0, 4] {
        if start >= above.len() {
            break;
        }
        let [row_0, row_1, row_2, row_3] = four_across::<FUSED>(panels, table, start);
        let rows = [both(row_0), both(row_1), both(row_2), both(row_3)];
        let places = above[start..].iter_mut().zip(&mut below[start..]);
        for ([up, down], (above, below)) in rows.iter().zip(places) {
            *above = plus::<false>(weight, *up, *above);
            *below = plus::<false>(weight, *down, *below);
        }
    }
}

each_set! {
    /// The intensity at eight places, each with its own place across: `turn` is its phase for one step of the rates. Both
    /// the place and its mirror place across.
    pub(super) fn at_places(panels: &[Panel], turn: &Lanes) -> [Lanes; 2] = at_places_with;
}

#[inline(always)]
fn at_places_with<const FUSED: bool>(panels: &[Panel], turn: &Lanes) -> [Lanes; 2] {
    let zero = [0.0; LANES];
    let (mut c, mut s, mut step_c, mut step_s) = (zero, zero, zero, zero);
    for lane in 0..LANES {
        (s[lane], c[lane]) = sine_and_cosine(0.5 * turn[lane]);
        (step_s[lane], step_c[lane]) = sine_and_cosine(turn[lane]);
    }
    let (mut even_re, mut even_im, mut odd_re, mut odd_im) = (zero, zero, zero, zero);
    for k in 0..panels.len() {
        let panel = panels[k];
        even_re = plus_each::<FUSED>(c, panel[0], even_re);
        even_im = plus_each::<FUSED>(c, panel[1], even_im);
        odd_re = plus_each::<FUSED>(s, panel[2], odd_re);
        odd_im = plus_each::<FUSED>(s, panel[3], odd_im);
        let next = less(plus_each::<FUSED>(c, step_c, zero), plus_each::<FUSED>(s, step_s, zero));
        s = plus_each::<FUSED>(c, step_s, plus_each::<FUSED>(s, step_c, zero));
        c = next;
    }
    both([even_re, even_im, odd_re, odd_im])
}

each_set! {
    /// The intensity at one place: `along` holds the cosine (four times) and the sine (four times) of each rate there, `across` both.
    pub(super) fn at_place(net: &[Folded], along: &[Lanes], across: &[Lanes]) -> f64 = at_place_with;
}

#[inline(always)]
fn at_place_with<const FUSED: bool>(net: &[Folded], along: &[Lanes], across: &[Lanes]) -> f64 {
    let half = along.len();
    let (mut re, mut im) = (0.0, 0.0);
    for j in 0..half {
        let row = &net[j * half..(j + 1) * half];
        let (mut a, mut b) = ([0.0; LANES], [0.0; LANES]);
        let mut k = 0;
        while k + 1 < half {
            a = plus_each::<FUSED>(row[k], along[k], a);
            b = plus_each::<FUSED>(row[k + 1], along[k + 1], b);
            k += 2;
        }
        if k < half {
            a = plus_each::<FUSED>(row[k], along[k], a);
        }
        let sums = added(a, b);
        let (cosine, sine) = (across[j][0], across[j][4]);
        let (sum_re, sum_im) = (sums[0] - sums[5], sums[1] + sums[4]);
        let (difference_re, difference_im) = (sums[2] - sums[7], sums[3] + sums[6]);
        re += cosine * sum_re - sine * difference_im;
        im += cosine * sum_im + sine * difference_re;
    }
    re * re + im * im
}

each_set! {
    /// Cosine (four times) and sine (four times) of (k + 1/2) `turn`, k from 0.
    pub(super) fn single_turns(turn: f64, table: &mut [Lanes]) = single_turns_with;
}

#[inline(always)]
fn single_turns_with<const FUSED: bool>(turn: f64, table: &mut [Lanes]) {
    // By rotation: its error grows by one rounding a step.
    let (mut s, mut c) = sine_and_cosine(0.5 * turn);
    let (step_s, step_c) = sine_and_cosine(turn);
    for k in 0..table.len() {
        table[k] = [c, c, c, c, s, s, s, s];
        (s, c) = (s * step_c + c * step_s, c * step_c - s * step_s);
    }
}
