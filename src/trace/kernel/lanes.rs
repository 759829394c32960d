//! Sums over blocks of rays, eight side by side.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::block::{BLOCK, Block, Column, add_product};
use crate::numeric::simd::each_set;

/// Sums that run side by side.
pub(super) const LANES: usize = 8;

/// Running sums about a known centre, in eight lanes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lanes {
    /// Rays that pass.
    pub(super) passed: [f64; LANES],
    /// Light, light times along, times across, times the square of the distance, mm.
    pub(super) light: [f64; LANES],
    pub(super) along: [f64; LANES],
    pub(super) across: [f64; LANES],
    pub(super) square: [f64; LANES],
    pub(super) least_along: [f64; LANES],
    pub(super) most_along: [f64; LANES],
    pub(super) least_across: [f64; LANES],
    pub(super) most_across: [f64; LANES],
}

impl Lanes {
    pub(super) fn new() -> Self {
        let (zero, high, low) = ([0.0; LANES], [f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
        Self {
            passed: zero,
            light: zero,
            along: zero,
            across: zero,
            square: zero,
            least_along: high,
            most_along: low,
            least_across: high,
            most_across: low,
        }
    }
}

each_set! {
    /// Adds a block to the sums: `weight` is the light of each ray.
    pub(super) fn add(block: &Block, weight: &Column, centre_mm: [f64; 2], sums: &mut Lanes) = add_with;
}

#[inline(always)]
fn add_with<const FUSED: bool>(block: &Block, weight: &Column, [cx, cy]: [f64; 2], sums: &mut Lanes) {
    let mut s = *sums;
    for start in (0..BLOCK).step_by(LANES) {
        for lane in 0..LANES {
            let i = start + lane;
            let lit = block.lit[i];
            let passes = lit > 0.0;
            let x = if passes { block.along[i] - cx } else { 0.0 };
            let y = if passes { block.across[i] - cy } else { 0.0 };
            let w = if passes { weight[i] } else { 0.0 };
            s.passed[lane] += lit;
            s.light[lane] += w;
            s.along[lane] = add_product::<FUSED>(w, x, s.along[lane]);
            s.across[lane] = add_product::<FUSED>(w, y, s.across[lane]);
            let square = add_product::<FUSED>(x, x, y * y);
            s.square[lane] = add_product::<FUSED>(w, square, s.square[lane]);
            let low = |old: f64, new: f64| if passes && new < old { new } else { old };
            let high = |old: f64, new: f64| if passes && new > old { new } else { old };
            s.least_along[lane] = low(s.least_along[lane], x);
            s.most_along[lane] = high(s.most_along[lane], x);
            s.least_across[lane] = low(s.least_across[lane], y);
            s.most_across[lane] = high(s.most_across[lane], y);
        }
    }
    *sums = s;
}
