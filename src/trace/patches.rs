//! Nodes for the patches of a coating: what a patch returns, and minus what lay under it.
//!
//! The ring of nodes knows nothing of patches. Each patch is integrated in polar coordinates about its own centre,
//! over that part of it which is lit, in pieces between which nothing changes its character: the patch's own rim, the
//! outline of the light, the breaks of the figure.

use std::f64::consts::{PI, TAU};

use super::coat::{Disc, REACH};
use super::limits::{Outline, arcs, halve, on_arc};
use super::prepared::Prepared;
use super::pupil::{Density, Nodes};
use crate::numeric::{gauss, roots};

/// Least nodes along a piece where a rim is soft: the logistic function's poles lie pi softnesses beside the rim.
const RIM_NODES: usize = 16;
/// Directions that are looked at before the corners between them are sought, and how close two corners are one, rad.
const LOOKS: usize = 48;
const SAME_ANGLE: f64 = 1e-12;

/// Adds nodes that exchange what the ring has under each patch for what the patch returns.
pub(super) fn replace(prepared: &Prepared, outline: &Outline<'_>, density: &dyn Density, nodes: &mut Nodes) {
    let patches = prepared.coat().discs();
    for (level, patch) in patches.iter().enumerate() {
        let is_soft = patches[..=level].iter().any(|p| p.softness_mm > 0.0);
        Local { prepared, outline, density, patch, level, is_soft }.replace(nodes);
    }
}

struct Local<'a> {
    prepared: &'a Prepared,
    outline: &'a Outline<'a>,
    density: &'a dyn Density,
    patch: &'a Disc,
    /// How many patches lie under this one.
    level: usize,
    /// A soft rim fades somewhere on this patch.
    is_soft: bool,
}

impl Local<'_> {
    fn replace(&self, nodes: &mut Nodes) {
        let corners = self.corners();
        if corners.is_empty() {
            let step = TAU / self.around((0.0, TAU)) as f64;
            (0..self.around((0.0, TAU))).for_each(|i| self.direction(step * i as f64, step, nodes));
        } else {
            for (from, to) in arcs(&corners, PI / 4.0) {
                let count = self.around((from, to));
                on_arc(count, (from, to)).for_each(|(angle, weight)| self.direction(angle, weight, nodes));
            }
        }
    }

    /// How many directions an arc needs; a full turn where the patch has no corners.
    fn around(&self, (from, to): (f64, f64)) -> usize {
        let looks = [0.02, 0.25, 0.5, 0.75, 0.98].map(|share| self.pieces(from + share * (to - from)));
        let mut count = 0;
        // The same piece of neighbouring directions keeps to one ring of the figure.
        for i in 0..looks.iter().map(Vec::len).max().unwrap_or(0) {
            let pieces = looks.iter().filter_map(|l| l.get(i));
            let (mut low, mut high, mut far) = (f64::INFINITY, 0.0_f64, 0.0_f64);
            for piece in pieces {
                (low, high) = (low.min(piece.radii_mm.0), high.max(piece.radii_mm.1));
                far = far.max(piece.to_mm);
            }
            let turn = (to - from) / TAU;
            let (along, around) =
                self.density.patch(if turn < 1.0 { far * (to - from) } else { far }, (low, high));
            count = count.max(if turn < 1.0 { along + 4 } else { around });
        }
        count.max(8)
    }

    /// Directions at which the list of a radius's ends changes.
    fn corners(&self) -> Vec<f64> {
        let look = |i: usize| TAU * (i as f64 + 0.3) / LOOKS as f64;
        let signature = |angle: f64| self.pieces(angle).iter().map(|p| p.ends).collect::<Vec<_>>();
        let signs: Vec<_> = (0..LOOKS).map(|i| signature(look(i))).collect();
        let mut found = Vec::new();
        for i in 0..LOOKS {
            let next = &signs[(i + 1) % LOOKS];
            halve(&signature, (look(i), &signs[i]), (look(i + 1), next), SAME_ANGLE, &mut found);
        }
        let mut found: Vec<f64> = found.into_iter().map(|a| a.rem_euclid(TAU)).collect();
        found.sort_by(f64::total_cmp);
        found
    }

    fn place(&self, distance_mm: f64, angle: f64) -> [f64; 2] {
        let (sin, cos) = angle.sin_cos();
        [self.patch.x_mm + distance_mm * cos, self.patch.y_mm + distance_mm * sin]
    }

    /// The lit pieces of a radius of the patch.
    fn pieces(&self, angle: f64) -> Vec<Piece> {
        let far_mm = self.patch.radius_mm + REACH * self.patch.softness_mm;
        // Ends, each with what makes it.
        let mut ends = vec![(0.0, End::Centre)];
        ends.extend(self.patch.circles().enumerate().map(|(i, d)| (d, End::Patch(i))));
        let rim_mm = self.outline.rim_mm();
        let round_the_axis =
            std::iter::once(rim_mm).chain(self.prepared.breaks().iter().map(|b| b.radius_mm));
        let patches = self.prepared.coat().discs();
        let round_the_axis = round_the_axis.map(|r| ([0.0, 0.0], r));
        let under = patches[..self.level].iter().flat_map(|p| p.circles().map(|r| ([p.x_mm, p.y_mm], r)));
        for (i, (centre_mm, radius_mm)) in round_the_axis.chain(under).enumerate() {
            let crossings = self.circle_crossings(centre_mm, radius_mm, angle);
            ends.extend(crossings.into_iter().filter(|d| *d < far_mm).map(|d| (d, End::Circle(i))));
        }
        for (i, stop) in self.outline.cuts().iter().chain(self.outline.shadows()).enumerate() {
            let excess = |d: f64| self.outline.excess_at_mm(stop, self.place(d, angle));
            // A step on the mirror moves the light at a stop by hardly more than itself.
            if excess(0.0).abs() > 1.5 * far_mm {
                continue;
            }
            // Where light is stopped beside a bundle the excess has one extreme along a line.
            let sign = if stop.is_shadow() { 1.0 } else { -1.0 };
            let (middle, _) = roots::maximum(|d| sign * excess(d), 0.0, far_mm, 1e-9 * far_mm);
            let accuracy = 1e-11 * rim_mm;
            let both =
                [(0.0, middle), (middle, far_mm)].map(|(a, b)| roots::bracketed(excess, a, b, accuracy));
            ends.extend(both.into_iter().flatten().map(|d| (d, End::Stop(i))));
        }
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        let lit = |d: f64| {
            let [x, y] = self.place(d, angle);
            let free = |stop| self.outline.excess_at_mm(stop, [x, y]) <= 0.0;
            x.hypot(y) <= rim_mm && self.outline.cuts().iter().chain(self.outline.shadows()).all(free)
        };
        let pairs = ends.windows(2).map(|pair| {
            let (from_mm, to_mm) = (pair[0].0, pair[1].0);
            Piece {
                from_mm,
                to_mm,
                ends: (pair[0].1, pair[1].1),
                radii_mm: self.radii_mm(angle, (from_mm, to_mm)),
            }
        });
        pairs.filter(|p| p.to_mm > p.from_mm && lit(f64::midpoint(p.from_mm, p.to_mm))).collect()
    }

    /// The least and the greatest distance from the mirror's centre along a piece.
    fn radii_mm(&self, angle: f64, (from_mm, to_mm): (f64, f64)) -> (f64, f64) {
        let (sin, cos) = angle.sin_cos();
        let nearest_mm = -(self.patch.x_mm * cos + self.patch.y_mm * sin);
        let [a, b, c] = [from_mm, to_mm, nearest_mm.clamp(from_mm, to_mm)].map(|d| {
            let [x, y] = self.place(d, angle);
            x.hypot(y)
        });
        (c, a.max(b))
    }

    /// Where a radius of the patch crosses a circle.
    fn circle_crossings(&self, centre_mm: [f64; 2], radius_mm: f64, angle: f64) -> Vec<f64> {
        let (sin, cos) = angle.sin_cos();
        let (x, y) = (self.patch.x_mm - centre_mm[0], self.patch.y_mm - centre_mm[1]);
        let along = x * cos + y * sin;
        let beside = x * sin - y * cos;
        let square = radius_mm * radius_mm - beside * beside;
        if square <= 0.0 {
            return Vec::new();
        }
        [-along - square.sqrt(), -along + square.sqrt()].into_iter().filter(|d| *d > 0.0).collect()
    }

    fn direction(&self, angle: f64, angle_weight: f64, nodes: &mut Nodes) {
        for piece in self.pieces(angle) {
            let (count, _) = self.density.patch(piece.to_mm - piece.from_mm, piece.radii_mm);
            let count = if self.is_soft { count.max(RIM_NODES) } else { count };
            for (d, weight) in gauss::on_interval(count, piece.from_mm, piece.to_mm) {
                let [x, y] = self.place(d, angle);
                for (level, area) in [(self.level + 1, weight * d), (self.level, -weight * d)] {
                    let (point, share) = self.prepared.surface_and_share(level, x, y);
                    let light = angle_weight * area * self.outline.beam().cross_section(&point);
                    nodes.push(point, light, share.sqrt(), level);
                }
            }
        }
    }
}

/// A stretch of a radius on which nothing changes its character.
struct Piece {
    from_mm: f64,
    to_mm: f64,
    /// Between which it keeps from the mirror's centre.
    radii_mm: (f64, f64),
    ends: (End, End),
}

/// What ends a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
enum End {
    /// Where every radius begins.
    Centre,
    /// A panel of the patch itself.
    Patch(usize),
    /// The mirror's rim, a break of the figure, another patch.
    Circle(usize),
    /// A part that stops light.
    Stop(usize),
}
