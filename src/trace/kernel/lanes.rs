//! Sums over blocks of rays, side by side.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::block::{Block, Column};
use crate::numeric::vector::{Set, V, Wide, Work, all_lanes, wide, wide_mut};
use crate::units::UM_PER_MM;

/// Most sums that run side by side.
pub(super) const LANES: usize = 8;

/// Running sums about a known centre, in as many lanes as the instructions have.
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

    /// The sums of rays that were added without weight, as if each had the same.
    pub(super) fn with_light(self, light: f64) -> Self {
        Self { light: self.passed, ..self }.dimmed(light)
    }

    /// The sums of rays whose light is that of these times a share.
    pub(super) fn dimmed(mut self, share: f64) -> Self {
        for sum in [&mut self.light, &mut self.along, &mut self.across, &mut self.square] {
            for lane in sum {
                *lane *= share;
            }
        }
        self
    }
}

/// The sums as vectors, while a loop runs.
#[derive(Clone, Copy)]
pub(super) struct Running<S: Wide> {
    passed: V<S>,
    light: V<S>,
    along: V<S>,
    across: V<S>,
    square: V<S>,
    least_along: V<S>,
    most_along: V<S>,
    least_across: V<S>,
    most_across: V<S>,
}

macro_rules! each_sum {
    ($macro_rule:ident) => {
        $macro_rule!(passed, light, along, across, square, least_along, most_along, least_across, most_across)
    };
}

impl<S: Wide> Running<S> {
    #[inline(always)]
    pub(super) fn from(set: S, lanes: &Lanes) -> Self {
        macro_rules! load {
            ($($name:ident),*) => { Self { $($name: V(set, wide::<S>(&lanes.$name)[0])),* } };
        }
        each_sum!(load)
    }

    #[inline(always)]
    pub(super) fn store(self, lanes: &mut Lanes) {
        macro_rules! store {
            ($($name:ident),*) => { $(wide_mut::<S>(&mut lanes.$name)[0] = self.$name.1;)* };
        }
        each_sum!(store);
    }

    /// Counts rays, so many in each lane.
    #[inline(always)]
    pub(super) fn count(&mut self, in_each: usize) {
        self.passed = self.passed + V::all(self.passed.0, in_each as f64);
    }

    /// Adds rays by where they land, counted from the centre, and the square of how far from it; those of which `spare`
    /// is below 0 are left out; with no `spare` none is, and they are not counted. With no weight all have 1, and the
    /// light is not summed.
    #[inline(always)]
    pub(super) fn add(&mut self, x: V<S>, y: V<S>, square: V<S>, weight: Option<V<S>>, spare: Option<V<S>>) {
        let one = V::all(x.0, 1.0);
        let only = |new: V<S>, old: V<S>| spare.map_or(new, |s| new.where_not_negative(s, old));
        if spare.is_some() {
            self.passed = only(self.passed + one, self.passed);
        }
        match weight {
            None => {
                self.along = only(self.along + x, self.along);
                self.across = only(self.across + y, self.across);
                self.square = only(self.square + square, self.square);
            }
            Some(weight) => {
                self.light = only(self.light + weight, self.light);
                self.along = only(weight.times_plus(x, self.along), self.along);
                self.across = only(weight.times_plus(y, self.across), self.across);
                self.square = only(weight.times_plus(square, self.square), self.square);
            }
        }
        self.least_along = only(self.least_along.least(x), self.least_along);
        self.most_along = only(self.most_along.most(x), self.most_along);
        self.least_across = only(self.least_across.least(y), self.least_across);
        self.most_across = only(self.most_across.most(y), self.most_across);
    }
}

/// Adds a block to the sums: `weight` is the light of each ray, where they differ; if not, `light` is not summed.
#[inline]
pub(super) fn add(set: Set, block: &Block, weight: Option<&Column>, centre_mm: [f64; 2], sums: &mut Lanes) {
    set.run(AddBlock { block, weight, centre_mm, sums });
}

struct AddBlock<'a> {
    block: &'a Block,
    weight: Option<&'a Column>,
    centre_mm: [f64; 2],
    sums: &'a mut Lanes,
}

impl Work for AddBlock<'_> {
    type Gives = ();

    #[inline(always)]
    fn with<S: Wide>(self, set: S) {
        add_block(set, self.block, self.weight, self.centre_mm, self.sums);
    }
}

#[inline(always)]
pub(super) fn add_block<S: Wide>(
    set: S,
    block: &Block,
    weight: Option<&Column>,
    centre_mm: [f64; 2],
    sums: &mut Lanes,
) {
    let mut running = Running::<S>::from(set, sums);
    let [x, y, spare] = [&block.along, &block.across, &block.spare].map(|column| wide::<S>(column));
    let weight = weight.map(|weight| wide::<S>(weight));
    let [cx, cy] = all_lanes!(set; centre_mm[0], centre_mm[1]);
    for i in 0..x.len() {
        let (x, y) = (V(set, x[i]) - cx, V(set, y[i]) - cy);
        let square = x.times_plus(x, y * y);
        running.add(x, y, square, weight.map(|weight| V(set, weight[i])), Some(V(set, spare[i])));
    }
    running.store(sums);
}

/// The columns of a block's rays that the caller gets.
pub(super) struct Written<'a> {
    pub(super) along_um: &'a mut [f64],
    pub(super) across_um: &'a mut [f64],
    pub(super) passed: &'a mut [bool],
    pub(super) light: Option<&'a mut [f64]>,
}

/// Writes where a block's rays land, whether they arrive, and their light.
#[inline]
pub(super) fn write(set: Set, block: &Block, weight: &Column, to: Written<'_>) {
    set.run(WriteBlock { block, weight, to });
}

struct WriteBlock<'a> {
    block: &'a Block,
    weight: &'a Column,
    to: Written<'a>,
}

impl Work for WriteBlock<'_> {
    type Gives = ();

    #[inline(always)]
    fn with<S: Wide>(self, set: S) {
        let Self { block, weight, to } = self;
        fill(set, &block.along, &block.spare, UM_PER_MM, to.along_um);
        fill(set, &block.across, &block.spare, UM_PER_MM, to.across_um);
        if let Some(light) = to.light {
            fill(set, weight, &block.spare, 1.0, light);
        }
        for (to, spare) in to.passed.iter_mut().zip(&block.spare) {
            *to = *spare >= 0.0;
        }
    }
}

/// A column where its rays arrive, else 0.
#[inline(always)]
fn fill<S: Wide>(set: S, from: &Column, spare: &Column, scale: f64, to: &mut [f64]) {
    let whole = to.len() / S::F64_LANES * S::F64_LANES;
    let (wide_from, wide_spare) = (wide::<S>(from), wide::<S>(spare));
    let (zero, factor) = (V::all(set, 0.0), V::all(set, scale));
    for (i, to) in wide_mut::<S>(&mut to[..whole]).iter_mut().enumerate() {
        *to = (V(set, wide_from[i]) * factor).where_not_negative(V(set, wide_spare[i]), zero).1;
    }
    for i in whole..to.len() {
        to[i] = if spare[i] >= 0.0 { from[i] * scale } else { 0.0 };
    }
}
