//! Who takes the light: an account of areas by the parts that stand in their way.

use super::super::prepared::Prepared;
use super::super::stops::Part;
use super::seen::Edge;
use super::spokes::{MOST_EDGES, Spoke};

/// Sums kept for a train of n parts: what each takes, what the removal of each would return, the light, and the light
/// with the shadows left out.
///
/// Parts are bits of a mask, in the order in which light meets them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ledger {
    parts: usize,
    /// Bits of the diagonal's shadow and the holder.
    shadows: u32,
}

impl Ledger {
    pub(super) fn new(prepared: &Prepared) -> Self {
        let is_shadow = |part: &Part| matches!(part, Part::DiagonalShadow | Part::Holder);
        let bits = prepared.parts().iter().enumerate().filter(|(_, p)| is_shadow(p)).map(|(i, _)| 1 << i);
        Self { parts: prepared.parts().len(), shadows: bits.sum() }
    }

    pub(super) fn sums(&self) -> usize {
        2 * self.parts + 2
    }

    pub(super) fn taken(part: usize) -> usize {
        part
    }

    pub(super) fn returned(&self, part: usize) -> usize {
        self.parts + part
    }

    pub(super) fn lit(&self) -> usize {
        2 * self.parts
    }

    pub(super) fn without_shadow(&self) -> usize {
        2 * self.parts + 1
    }

    /// Enters an area which these parts would each stop.
    pub(super) fn enter(&self, by: u32, area: f64, sums: &mut [f64]) {
        if by == 0 {
            sums[self.lit()] += area;
        } else {
            let first = by.trailing_zeros() as usize;
            sums[Self::taken(first)] += area;
            if by.is_power_of_two() {
                sums[self.returned(first)] += area;
            }
        }
        if by & !self.shadows == 0 {
            sums[self.without_shadow()] += area;
        }
    }

    /// Enters one radius of the mirror: the pieces between its edges.
    pub(super) fn enter_spoke(&self, edges: &[Edge], spoke: &Spoke, weight: f64, sums: &mut [f64]) {
        let (mut ends, rim) = ([0.0; MOST_EDGES + 1], spoke.radii[0]);
        let mut count = 1;
        // Insertion keeps the few ends in order.
        for radius in spoke.radii[..edges.len()].iter().copied().filter(|r| *r <= rim) {
            let mut k = count;
            while k > 0 && ends[k - 1] > radius {
                ends[k] = ends[k - 1];
                k -= 1;
            }
            ends[k] = radius;
            count += 1;
        }
        for pair in ends[..count].windows(2) {
            let (from, to) = (pair[0], pair[1]);
            if to > from {
                let mut by = 0;
                for (edge, radius) in edges.iter().zip(&spoke.radii).skip(1) {
                    let stops = if edge.is_body() { *radius >= to } else { *radius <= from };
                    by |= u32::from(stops) << edge.place;
                }
                self.enter(by, 0.5 * weight * (to - from) * (to + from), sums);
            }
        }
    }
}
