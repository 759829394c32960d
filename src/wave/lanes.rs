//! The inner loops of star images, in forms that become vector instructions of whatever processor runs them.
//!
//! The sum over a square net of rates is folded: places x and -x share their cosines and sines, and so do rates u and
//! -u. What is left are products of small tables, taken sixteen places at a time.

use multiversion::multiversion;
use multiversion::target::match_target;

use crate::numeric::phase::sine_and_cosine;

/// Places that are summed side by side.
pub(super) const LANES: usize = 16;
pub(super) type Lanes = [f64; LANES];

/// What the spread weights at the four points (+-column, +-row) of a net add up to: sum and difference of the rows
/// (real, imaginary, each), of the columns' sum first, then of the columns' difference.
pub(super) type Folded = [f64; 8];

/// Cosines and sines of one rate at sixteen places.
pub(super) type Turns = [Lanes; 2];

/// The sums over the columns at sixteen places: for the rows' sum and the rows' difference, real and imaginary.
pub(super) type Panel = [Lanes; 4];

/// a b + c, in one rounding where the processor has it.
#[inline(always)]
fn add_product<const FUSED: bool>(a: f64, b: f64, c: f64) -> f64 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// Spreads weights over a net: `weights` (real, imaginary) of nodes whose taps begin at `first` and are `along`, `across`.
///
/// A row of the net holds its real parts, then `stride` numbers later its imaginary parts.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn spread<const TAPS: usize>(
    net: &mut [f64],
    stride: usize,
    first: &[usize],
    weights: (&[f64], &[f64]),
    taps: (&[Lanes], &[Lanes]),
) {
    match_target! {
        "x86_64+fma" => spread_with::<TAPS, true>(net, stride, first, weights, taps),
        "aarch64+neon" => spread_with::<TAPS, true>(net, stride, first, weights, taps),
        _ => spread_with::<TAPS, false>(net, stride, first, weights, taps),
    }
}

#[inline(always)]
fn spread_with<const TAPS: usize, const FUSED: bool>(
    net: &mut [f64],
    stride: usize,
    first: &[usize],
    (re, im): (&[f64], &[f64]),
    (along, across): (&[Lanes], &[Lanes]),
) {
    for i in 0..first.len() {
        let (re, im, along) = (re[i], im[i], &along[i]);
        for k in 0..TAPS {
            let (share_re, share_im) = (across[i][k] * re, across[i][k] * im);
            let from = first[i] + 2 * k * stride;
            let row: &mut [f64; LANES] = net[from..].first_chunk_mut().unwrap_or_else(|| unreachable!());
            for lane in 0..LANES {
                row[lane] = add_product::<FUSED>(share_re, along[lane], row[lane]);
            }
            let row: &mut [f64; LANES] =
                net[from + stride..].first_chunk_mut().unwrap_or_else(|| unreachable!());
            for lane in 0..LANES {
                row[lane] = add_product::<FUSED>(share_im, along[lane], row[lane]);
            }
        }
    }
}

/// Polynomials of one variable, sixteen at a time: `coefficients` from the constant term upward.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn polynomials(coefficients: &[Lanes], at: &[f64], values: &mut [Lanes]) {
    match_target! {
        "x86_64+fma" => polynomials_with::<true>(coefficients, at, values),
        "aarch64+neon" => polynomials_with::<true>(coefficients, at, values),
        _ => polynomials_with::<false>(coefficients, at, values),
    }
}

#[inline(always)]
fn polynomials_with<const FUSED: bool>(coefficients: &[Lanes], at: &[f64], values: &mut [Lanes]) {
    for (x, value) in at.iter().zip(values) {
        let mut sums = [0.0; LANES];
        for row in coefficients.iter().rev() {
            for lane in 0..LANES {
                sums[lane] = add_product::<FUSED>(sums[lane], *x, row[lane]);
            }
        }
        *value = sums;
    }
}

/// Light times cosine and sine of the phases per path times `per_path`, less those of `zero`.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn phasors(path: &[f64], zero: f64, per_path: f64, light: &[f64], re: &mut [f64], im: &mut [f64]) {
    for (((path, light), re), im) in path.iter().zip(light).zip(re).zip(im) {
        let (sine, cosine) = sine_and_cosine(per_path * (path - zero));
        *re = light * cosine;
        *im = light * sine;
    }
}

/// Cosines and sines of (k + 1/2) `turn` for sixteen turns, k from 0, both times `scale`.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn turns(turn: &Lanes, scale: &Lanes, table: &mut [Turns]) {
    for (k, row) in table.iter_mut().enumerate() {
        let order = k as f64 + 0.5;
        for lane in 0..LANES {
            let (sine, cosine) = sine_and_cosine(order * turn[lane]);
            row[0][lane] = scale[lane] * cosine;
            row[1][lane] = scale[lane] * sine;
        }
    }
}

/// The sums over one pair of rows of a folded net: at sixteen places, and at their mirror places.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn along_rows(row: &[Folded], table: &[Turns]) -> [Panel; 2] {
    match_target! {
        "x86_64+fma" => along_rows_with::<true>(row, table),
        "aarch64+neon" => along_rows_with::<true>(row, table),
        _ => along_rows_with::<false>(row, table),
    }
}

#[inline(always)]
fn along_rows_with<const FUSED: bool>(row: &[Folded], table: &[Turns]) -> [Panel; 2] {
    let mut even = [[0.0; LANES]; 4];
    let mut odd = [[0.0; LANES]; 4];
    for (weights, [cosine, sine]) in row.iter().zip(table) {
        for part in 0..4 {
            for lane in 0..LANES {
                even[part][lane] = add_product::<FUSED>(weights[part], cosine[lane], even[part][lane]);
            }
            for lane in 0..LANES {
                odd[part][lane] = add_product::<FUSED>(weights[4 + part], sine[lane], odd[part][lane]);
            }
        }
    }
    // Even + i odd at the place, even - i odd at its mirror place.
    let (mut here, mut there) = (even, even);
    for part in [0, 2] {
        for lane in 0..LANES {
            here[part][lane] -= odd[part + 1][lane];
            here[part + 1][lane] += odd[part][lane];
            there[part][lane] += odd[part + 1][lane];
            there[part + 1][lane] -= odd[part][lane];
        }
    }
    [here, there]
}

/// Rows that are summed together.
const TOGETHER: usize = 2;

/// Adds `weight` times the intensity to pictures at sixteen places along, for as many places across as there are rows of
/// `above` (and as many mirror places in `below`), from one panel for each rate across.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn across_rows(
    panels: &[Panel],
    table: &[Turns],
    weight: f64,
    above: &mut [Lanes],
    below: &mut [Lanes],
) {
    match_target! {
        "x86_64+fma" => across_rows_with::<true>(panels, table, weight, above, below),
        "aarch64+neon" => across_rows_with::<true>(panels, table, weight, above, below),
        _ => across_rows_with::<false>(panels, table, weight, above, below),
    }
}

#[inline(always)]
fn across_rows_with<const FUSED: bool>(
    panels: &[Panel],
    table: &[Turns],
    weight: f64,
    above: &mut [Lanes],
    below: &mut [Lanes],
) {
    let mut start = 0;
    while start < above.len() {
        let mut even = [[[0.0; LANES]; 2]; TOGETHER];
        let mut odd = [[[0.0; LANES]; 2]; TOGETHER];
        for (panel, [cosine, sine]) in panels.iter().zip(table) {
            for k in 0..TOGETHER {
                let (c, s) = (cosine[start + k], sine[start + k]);
                for part in 0..2 {
                    for lane in 0..LANES {
                        even[k][part][lane] = add_product::<FUSED>(c, panel[part][lane], even[k][part][lane]);
                    }
                    for lane in 0..LANES {
                        odd[k][part][lane] =
                            add_product::<FUSED>(s, panel[2 + part][lane], odd[k][part][lane]);
                    }
                }
            }
        }
        for k in 0..TOGETHER.min(above.len() - start) {
            let [even_re, even_im] = &even[k];
            let [odd_re, odd_im] = &odd[k];
            let (up, down) = (&mut above[start + k], &mut below[start + k]);
            for lane in 0..LANES {
                let (re, im) = (even_re[lane] - odd_im[lane], even_im[lane] + odd_re[lane]);
                up[lane] += weight * (re * re + im * im);
                let (re, im) = (even_re[lane] + odd_im[lane], even_im[lane] - odd_re[lane]);
                down[lane] += weight * (re * re + im * im);
            }
        }
        start += TOGETHER;
    }
}

/// The intensity at sixteen places, each with its own place across: `turn` is its phase for one step of the rates. Both
/// the place and its mirror place across.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn at_places(panels: &[Panel], turn: &Lanes) -> [Lanes; 2] {
    match_target! {
        "x86_64+fma" => at_places_with::<true>(panels, turn),
        "aarch64+neon" => at_places_with::<true>(panels, turn),
        _ => at_places_with::<false>(panels, turn),
    }
}

#[inline(always)]
fn at_places_with<const FUSED: bool>(panels: &[Panel], turn: &Lanes) -> [Lanes; 2] {
    let (mut c, mut s, mut step_c, mut step_s) = ([0.0; LANES], [0.0; LANES], [0.0; LANES], [0.0; LANES]);
    for lane in 0..LANES {
        (s[lane], c[lane]) = sine_and_cosine(0.5 * turn[lane]);
        (step_s[lane], step_c[lane]) = sine_and_cosine(turn[lane]);
    }
    let mut even = [[0.0; LANES]; 2];
    let mut odd = [[0.0; LANES]; 2];
    for panel in panels {
        for part in 0..2 {
            for lane in 0..LANES {
                even[part][lane] = add_product::<FUSED>(c[lane], panel[part][lane], even[part][lane]);
                odd[part][lane] = add_product::<FUSED>(s[lane], panel[2 + part][lane], odd[part][lane]);
            }
        }
        for lane in 0..LANES {
            let next = add_product::<FUSED>(c[lane], step_c[lane], -(s[lane] * step_s[lane]));
            s[lane] = add_product::<FUSED>(c[lane], step_s[lane], s[lane] * step_c[lane]);
            c[lane] = next;
        }
    }
    let (mut above, mut below) = ([0.0; LANES], [0.0; LANES]);
    for lane in 0..LANES {
        let (re, im) = (even[0][lane] - odd[1][lane], even[1][lane] + odd[0][lane]);
        above[lane] = re * re + im * im;
        let (re, im) = (even[0][lane] + odd[1][lane], even[1][lane] - odd[0][lane]);
        below[lane] = re * re + im * im;
    }
    [above, below]
}

/// The intensity at one place: `along` and `across` hold cosine and sine of each rate there.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn at_place(net: &[Folded], along: &[[f64; 2]], across: &[[f64; 2]]) -> f64 {
    let half = along.len();
    let (mut re, mut im) = (0.0, 0.0);
    for (row, [cosine, sine]) in net.chunks_exact(half).zip(across) {
        let mut sums = [0.0; 8];
        for (weights, [c, s]) in row.iter().zip(along) {
            for part in 0..4 {
                sums[part] += c * weights[part];
                sums[4 + part] += s * weights[4 + part];
            }
        }
        let (sum_re, sum_im) = (sums[0] - sums[5], sums[1] + sums[4]);
        let (difference_re, difference_im) = (sums[2] - sums[7], sums[3] + sums[6]);
        re += cosine * sum_re - sine * difference_im;
        im += cosine * sum_im + sine * difference_re;
    }
    re * re + im * im
}
