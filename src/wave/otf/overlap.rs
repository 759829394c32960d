//! The autocorrelation of the pupil at one shift, row by row.
//!
//! The same row is laid down twice, half of the shift forward and half back; where both copies are lit the product of the
//! one with the conjugate of the other is integrated, piece by piece between all points of both. Across the rows a panel
//! ends wherever a point of one copy passes a point of the other.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::bands::Band;
use super::lights::Copies;
use super::row::{Turn, Turned};
use crate::numeric::simd::Instructions;
use crate::numeric::{gauss, roots, sums};

/// How generously nodes are dealt out.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fineness {
    /// Factor on all counts but what the phase alone asks for.
    base: f64,
    /// Factor on all counts: below 1 for the companion of the error estimate.
    share: f64,
}

impl Fineness {
    pub(super) const CURVES: Self = Self { base: 1.0, share: 1.0 };

    /// The next finer one.
    pub(super) fn finer(self) -> Self {
        Self { base: self.base * 1.4, ..self }
    }

    /// The coarser companion whose difference tells the error.
    pub(super) fn companion(self) -> Self {
        Self { share: 0.8, ..self }
    }

    /// Rows of a panel: for a phase range in radians, on a height in radii of the pupil that holds so many of the figure's
    /// features.
    fn rows(self, range: f64, height: f64, features: f64) -> usize {
        self.count(range, by_size(height, [4.0, 6.0, 9.0, 14.0]), 4.0 * features)
    }

    /// Nodes of a piece of a row, likewise.
    fn along(self, range: f64, length: f64, features: f64) -> usize {
        self.count(range, by_size(length, [2.0, 3.0, 4.0, 5.0]), features)
    }

    fn count(self, range: f64, floor: f64, features: f64) -> usize {
        // A quarter of the range is the least that resolves it; its companion needs a little more to tell anything.
        let full = self.base.sqrt() * range / 4.0 + self.base * (floor + 1.5 * range.cbrt());
        ((full.max(self.base * features) * self.share) as usize).clamp(2, MOST)
    }
}

/// The fewest nodes for a size in radii of the pupil: what holds a thousandth of the light needs a thousandth of the accuracy.
fn by_size(size: f64, floors: [f64; 4]) -> f64 {
    floors[[1e-3, 1e-2, 0.1].iter().filter(|limit| size >= **limit).count()]
}

/// Nodes that are looked at together: their columns fit the first cache.
const BLOCK: usize = 96;
/// Most nodes on one piece.
const MOST: usize = 2000;

/// Steepest slopes of the wavefront by radius.
#[derive(Clone, Debug)]
pub(super) struct Slopes {
    /// Upper ends of the panels, in m from the middle, and radians for a unit of m.
    panels: Vec<(f64, f64)>,
}

impl Slopes {
    /// From upper radii and slopes, ascending.
    pub(super) fn new(panels: Vec<(f64, f64)>) -> Self {
        Self { panels }
    }

    #[inline]
    fn at(&self, radius: f64) -> f64 {
        let i = self.panels.partition_point(|(end, _)| *end < radius);
        self.panels[i.min(self.panels.len() - 1)].1
    }

    /// The same at another wavelength.
    pub(super) fn scaled(&self, factor: f64) -> Self {
        Self { panels: self.panels.iter().map(|(end, slope)| (*end, slope * factor)).collect() }
    }
}

/// The pupil of one direction, ready for any shift.
#[derive(Debug)]
pub(super) struct Rows<'a> {
    pub(super) turned: Turned<'a>,
    pub(super) bands: &'a [Band],
    pub(super) slopes: Slopes,
    pub(super) wavelength_nm: f64,
}

/// A piece of a row on which both copies are smooth.
#[derive(Clone, Copy, Debug)]
struct Piece {
    from: f64,
    to: f64,
    /// A power that is no whole number begins at its lower, its upper end.
    fractional: (bool, bool),
}

/// A piece of one row, with how far the phase turns along it at most.
#[derive(Clone, Copy, Debug)]
struct RowPiece {
    piece: Piece,
    y: f64,
    row_weight: f64,
    bound: f64,
}

impl RowPiece {
    /// At how many points the phase itself is looked at: none where the bound is small enough.
    fn looks(&self) -> usize {
        [(20.0, 11), (5.0, 5)]
            .into_iter()
            .find(|(least, _)| self.bound > *least)
            .map_or(0, |(_, looks)| looks)
    }
}

/// Lists used again and again.
#[derive(Default)]
struct Scratch {
    places: Vec<f64>,
    splits: Vec<(f64, bool)>,
    pieces: Vec<Piece>,
    /// Pieces that wait until enough points are to be looked at.
    waiting: Vec<RowPiece>,
    copies: Copies,
    weight: Vec<f64>,
}

impl Rows<'_> {
    /// The integral of g(m - s/2) times the conjugate of g(m + s/2): real and imaginary part.
    pub(super) fn correlation(&self, shift: f64, fineness: Fineness) -> [f64; 2] {
        let mut parts = [Vec::new(), Vec::new()];
        let mut scratch = Scratch::default();
        for band in self.bands {
            for (from, to) in self.panels(band, shift) {
                self.panel(band, (from, to), shift, fineness, &mut scratch, &mut parts);
            }
        }
        parts.map(|part| sums::pairwise(&part))
    }

    /// The stretches of a band between which no point of one copy passes one of the other, as far as both copies overlap.
    fn panels(&self, band: &Band, shift: f64) -> Vec<(f64, f64)> {
        let mut ends = vec![band.from, band.to];
        let count = band.labels.len();
        if shift > 0.0 {
            for j in 1..count {
                for i in 0..j {
                    self.crossings(band, (i, j), shift, &mut ends);
                }
            }
        }
        ends.sort_by(f64::total_cmp);
        let shortest = 1e-10 * self.turned.plane.rim.radius;
        let mut panels: Vec<(f64, f64)> = Vec::new();
        let (mut places, mut last) = (Vec::new(), None);
        for pair in ends.windows(2) {
            if pair[1] - pair[0] < shortest {
                continue;
            }
            band.places(f64::midpoint(pair[0], pair[1]), &mut places);
            let signature = signature(band, &places, shift);
            if signature.is_empty() {
                last = None;
                continue;
            }
            match panels.last_mut() {
                // What crossed there was dark.
                Some(panel) if last.as_ref() == Some(&signature) => panel.1 = pair[1],
                _ => panels.push((pair[0], pair[1])),
            }
            last = Some(signature);
        }
        panels
    }

    /// Rows on which two points of a band lie one shift apart.
    fn crossings(&self, band: &Band, (i, j): (usize, usize), shift: f64, found: &mut Vec<f64>) {
        let apart = |k: usize| band.searched[k].1[j] - band.searched[k].1[i] - shift;
        let at = |y: f64| band.place(j, y) - band.place(i, y) - shift;
        let accuracy = 1e-13 * self.turned.plane.rim.radius;
        let mut solve = |from: f64, to: f64| found.extend(roots::bracketed(at, from, to, accuracy));
        for k in 1..band.searched.len() {
            let (a, b) = (apart(k - 1), apart(k));
            if (a > 0.0) != (b > 0.0) {
                solve(band.searched[k - 1].0, band.searched[k].0);
                continue;
            }
            // An extreme between two looks may reach over the zero and back.
            let before = if k > 1 { apart(k - 2) } else { a };
            let after = if k + 1 < band.searched.len() { apart(k + 1) } else { b };
            let toward = if a > 0.0 {
                (a < before || k == 1) && b < after
            } else {
                (a > before || k == 1) && b > after
            };
            let turns = toward || (a.abs() < before.abs() && b.abs() < after.abs());
            let reach = (a - before).abs().max((after - b).abs());
            if turns && a.abs().min(b.abs()) < reach {
                let (from, to) = (band.searched[k - 1].0, band.searched[k].0);
                let sign = if a > 0.0 { -1.0 } else { 1.0 };
                let (y, value) = roots::maximum(|y| sign * at(y), from, to, 1e-9 * (to - from));
                if value > 0.0 {
                    solve(from, y);
                    solve(y, to);
                }
            }
        }
    }

    /// Adds the integral over one panel of rows.
    fn panel(
        &self,
        band: &Band,
        (from, to): (f64, f64),
        shift: f64,
        fineness: Fineness,
        scratch: &mut Scratch,
        parts: &mut [Vec<f64>; 2],
    ) {
        let radius = self.turned.plane.rim.radius;
        let (middle, half) = (f64::midpoint(from, to), 0.5 * (to - from));
        let features = self.turned.plane.feature.map_or(0.0, |width| (to - from) / width);
        let range = self.range_across(band, (from, to), shift, scratch);
        let rows = fineness.rows(range, (to - from) / radius, features);

        for (phi, weight) in gauss::on_interval(rows, -FRAC_PI_2, FRAC_PI_2) {
            let (sin, cos) = phi.sin_cos();
            let y = middle + half * sin;
            band.places(y, &mut scratch.places);
            self.pieces(band, y, shift, scratch);
            for piece in &scratch.pieces {
                let waiting = self.waiting(*piece, y, shift, weight * half * cos);
                let looks = waiting.looks();
                for look in 0..looks {
                    let share = look as f64 / (looks - 1) as f64;
                    self.push(&mut scratch.copies, piece.from + (piece.to - piece.from) * share, y, shift);
                }
                scratch.waiting.push(waiting);
            }
            if scratch.copies.len().max(scratch.waiting.len()) >= BLOCK {
                self.add_waiting(shift, fineness, scratch, parts);
            }
        }
        self.add_waiting(shift, fineness, scratch, parts);
    }

    /// A point at which both copies are to be looked at.
    fn push(&self, copies: &mut Copies, x: f64, y: f64, shift: f64) {
        copies.push(self.turned.m(x - 0.5 * shift, y), self.turned.m(x + 0.5 * shift, y));
    }

    /// A piece with what the steepest slopes say of its phase.
    fn waiting(&self, piece: Piece, y: f64, shift: f64, row_weight: f64) -> RowPiece {
        let Piece { from, to, .. } = piece;
        let bound = self.steepest(f64::midpoint(from, to), y, shift) * (to - from);
        RowPiece { piece, y, row_weight, bound }
    }

    /// Adds the integrals over the pieces that wait, whose looks are held.
    fn add_waiting(&self, shift: f64, fineness: Fineness, scratch: &mut Scratch, parts: &mut [Vec<f64>; 2]) {
        let waiting = std::mem::take(&mut scratch.waiting);
        let phases = self.phases(&mut scratch.copies);
        let mut phases = &phases[..];
        let mut counts = Vec::with_capacity(waiting.len());
        for row_piece in &waiting {
            let (here, others) = phases.split_at(row_piece.looks());
            phases = others;
            let steps = here.windows(2).map(|pair| (pair[1] - pair[0]).abs());
            let seen = steps.reduce(f64::max).map(|steepest| (here.len() - 1) as f64 * steepest);
            let range = seen.map_or(row_piece.bound, |seen| row_piece.bound.min(seen));
            counts.push(self.count(row_piece.piece, range, fineness));
        }
        for (RowPiece { piece, y, row_weight, .. }, count) in waiting.iter().zip(counts) {
            let Piece { from, to, fractional } = *piece;
            for (t, weight) in gauss::on_interval(count, 0.0, 1.0) {
                // Steps that shrink toward the beginning of a fractional power make it smooth.
                let (place, rate) = match fractional {
                    (false, false) => (t, 1.0),
                    (true, false) => (t * t, 2.0 * t),
                    (false, true) => (t * (2.0 - t), 2.0 * (1.0 - t)),
                    (true, true) => (t * t * (3.0 - 2.0 * t), 6.0 * t * (1.0 - t)),
                };
                self.push(&mut scratch.copies, from + (to - from) * place, *y, shift);
                scratch.weight.push(row_weight * weight * rate * (to - from));
            }
            if scratch.weight.len() >= BLOCK {
                self.add_nodes(scratch, parts);
            }
        }
        self.add_nodes(scratch, parts);
        scratch.waiting = waiting;
        scratch.waiting.clear();
    }

    /// Nodes of a piece along which the phase turns so far.
    fn count(&self, piece: Piece, range: f64, fineness: Fineness) -> usize {
        let radius = self.turned.plane.rim.radius;
        let length = piece.to - piece.from;
        let features = self.turned.plane.feature.map_or(0.0, |width| length / width);
        let stretched = if piece.fractional.0 || piece.fractional.1 { 2.0 } else { 1.0 };
        fineness.along(stretched * range, length / radius, features)
    }

    /// Adds the integral over the nodes that are held, and lets them go.
    fn add_nodes(&self, scratch: &mut Scratch, [re, im]: &mut [Vec<f64>; 2]) {
        let Scratch { copies, weight, .. } = scratch;
        copies.look(Instructions::in_use(), self.turned.plane);
        let [a, b] = copies.products(Instructions::in_use(), weight, self.wavelength_nm);
        re.push(a);
        im.push(b);
        weight.clear();
        copies.clear();
    }

    /// The differences of the phases of both copies at the points that are held; they are let go.
    fn phases(&self, copies: &mut Copies) -> Vec<f64> {
        copies.look(Instructions::in_use(), self.turned.plane);
        let per_nm = TAU / self.wavelength_nm;
        let phases = (0..copies.len()).map(|i| per_nm * copies.path_nm(i)).collect();
        copies.clear();
        phases
    }

    /// Steepest phase of the product about a point, radians for a unit of m.
    #[inline]
    fn steepest(&self, x: f64, y: f64, shift: f64) -> f64 {
        if shift == 0.0 {
            return 0.0;
        }
        self.slopes.at((x - 0.5 * shift).hypot(y)) + self.slopes.at((x + 0.5 * shift).hypot(y))
    }

    /// Phase range across a panel: how far the phase at the ends and in the middle of the pieces moves from row to row.
    fn range_across(&self, band: &Band, (from, to): (f64, f64), shift: f64, scratch: &mut Scratch) -> f64 {
        if shift == 0.0 {
            return 0.0;
        }
        // A tall panel may hold a phase that goes and comes back.
        let looks = if to - from > 0.1 * self.turned.plane.rim.radius { 10 } else { 4 };
        let mut ends = Vec::with_capacity(looks);
        for look in 0..looks {
            let y = from + (to - from) * (0.02 + 0.96 * look as f64 / (looks - 1) as f64);
            band.places(y, &mut scratch.places);
            Self::hard_pieces(band, shift, scratch);
            for piece in &scratch.pieces {
                for part in [0.0, 0.5, 1.0] {
                    let x = piece.from + part * (piece.to - piece.from);
                    self.push(&mut scratch.copies, x, y, shift);
                }
            }
            ends.push(scratch.copies.len());
        }
        let phases = self.phases(&mut scratch.copies);
        let of_look = |look: usize| &phases[if look > 0 { ends[look - 1] } else { 0 }..ends[look]];
        let mut steepest = 0.0_f64;
        for look in 1..looks {
            let (before, here) = (of_look(look - 1), of_look(look));
            if here.len() == before.len() {
                steepest = here.iter().zip(before).fold(steepest, |most, (a, b)| most.max((a - b).abs()));
            }
        }
        (looks - 1) as f64 * steepest
    }

    /// The pieces between the points of both copies.
    fn hard_pieces(band: &Band, shift: f64, scratch: &mut Scratch) {
        cut(band, shift, scratch, |_, _| {});
    }

    /// The pieces between the points of both copies and the soft circles.
    fn pieces(&self, band: &Band, y: f64, shift: f64, scratch: &mut Scratch) {
        let shortest = 1e-4 * self.turned.plane.rim.radius;
        cut(band, shift, scratch, |(from, to), splits| {
            for ring in &self.turned.plane.soft {
                let [cx, cy] = self.turned.turned_from(ring.centre);
                let square = ring.radius * ring.radius - (y - cy) * (y - cy);
                if square <= 0.0 {
                    continue;
                }
                let half = square.sqrt();
                for side in [-half, half] {
                    for moved in [-0.5 * shift, 0.5 * shift] {
                        let x = cx + side + moved;
                        if x > from + shortest && x < to - shortest {
                            splits.push((x, false));
                        }
                    }
                }
            }
        });
    }
}

/// Cuts the overlap of both copies at the joints of both, and at what `more` adds.
fn cut(band: &Band, shift: f64, scratch: &mut Scratch, more: impl Fn((f64, f64), &mut Vec<(f64, bool)>)) {
    let Scratch { places, splits, pieces, .. } = scratch;
    pieces.clear();
    let half = 0.5 * shift;
    let lit: Vec<(usize, usize)> = lit(band);
    for &(a0, a1) in &lit {
        for &(b0, b1) in &lit {
            let (from, to) =
                ((places[a0] + half).max(places[b0] - half), (places[a1] + half).min(places[b1] - half));
            if to <= from {
                continue;
            }
            splits.clear();
            let mut ends = (false, false);
            for (range, moved) in [(a0 + 1..a1, half), (b0 + 1..b1, -half)] {
                for k in range {
                    let Turn::Joint { fractional } = band.labels[k].turn else { continue };
                    let x = places[k] + moved;
                    if x > from && x < to {
                        splits.push((x, fractional));
                    } else if fractional && (x - from).abs() < 1e-9 {
                        ends.0 = true;
                    } else if fractional && (x - to).abs() < 1e-9 {
                        ends.1 = true;
                    }
                }
            }
            more((from, to), splits);
            splits.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mut start = (from, ends.0);
            for &split in splits.iter() {
                pieces.push(Piece { from: start.0, to: split.0, fractional: (start.1, split.1) });
                start = split;
            }
            pieces.push(Piece { from: start.0, to, fractional: (start.1, ends.1) });
        }
    }
}

/// The lit intervals of a band: which points begin and end them.
fn lit(band: &Band) -> Vec<(usize, usize)> {
    let mut found = Vec::new();
    let mut open = None;
    for (k, label) in band.labels.iter().enumerate() {
        match label.turn {
            Turn::Open => open = Some(k),
            Turn::Close => found.extend(open.take().map(|from| (from, k))),
            Turn::Joint { .. } => {}
        }
    }
    found
}

/// What tells neighbouring rows of the overlap apart: the order of all points inside of it.
fn signature(band: &Band, places: &[f64], shift: f64) -> Vec<(usize, usize, u8)> {
    let half = 0.5 * shift;
    let lit = lit(band);
    let mut found = Vec::new();
    let mut inside: Vec<(f64, usize, u8)> = Vec::new();
    for &(a0, a1) in &lit {
        for &(b0, b1) in &lit {
            let (from_a, from_b) = (places[a0] + half, places[b0] - half);
            let (to_a, to_b) = (places[a1] + half, places[b1] - half);
            let (from, to) = (from_a.max(from_b), to_a.min(to_b));
            if to <= from {
                continue;
            }
            found.push(if from_a > from_b { (a0, a0, 0) } else { (b0, b0, 1) });
            inside.clear();
            for (range, moved, copy) in [(a0 + 1..a1, half, 2), (b0 + 1..b1, -half, 3)] {
                let at = range.map(|k| (places[k] + moved, k, copy));
                inside.extend(at.filter(|p| p.0 > from && p.0 < to));
            }
            inside.sort_by(|a, b| a.0.total_cmp(&b.0));
            found.extend(inside.iter().map(|p| (p.1, p.1, p.2)));
            found.push(if to_a < to_b { (a1, a1, 4) } else { (b1, b1, 5) });
        }
    }
    found
}
