//! The autocorrelation of the pupil at one shift, row by row.
//!
//! The same row is laid down twice, half of the shift forward and half back; where both copies are lit the product of the
//! one with the conjugate of the other is integrated, piece by piece between all points of both. Across the rows a panel
//! ends wherever a point of one copy passes a point of the other.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::bands::Band;
use super::row::{Turn, Turned};
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

/// Lists used again and again.
#[derive(Default)]
struct Scratch {
    places: Vec<f64>,
    splits: Vec<(f64, bool)>,
    pieces: Vec<Piece>,
}

impl Rows<'_> {
    /// The integral of g(m - s/2) times the conjugate of g(m + s/2): real and imaginary part.
    pub(super) fn correlation(&self, shift: f64, fineness: Fineness) -> [f64; 2] {
        let (mut re, mut im) = (Vec::new(), Vec::new());
        let mut scratch = Scratch::default();
        for band in self.bands {
            for (from, to) in self.panels(band, shift) {
                self.panel(band, (from, to), shift, fineness, &mut scratch, &mut re, &mut im);
            }
        }
        [sums::pairwise(&re), sums::pairwise(&im)]
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
    #[allow(clippy::too_many_arguments)]
    fn panel(
        &self,
        band: &Band,
        (from, to): (f64, f64),
        shift: f64,
        fineness: Fineness,
        scratch: &mut Scratch,
        re: &mut Vec<f64>,
        im: &mut Vec<f64>,
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
            let (mut row_re, mut row_im) = (0.0, 0.0);
            for piece in &scratch.pieces {
                let [a, b] = self.piece(*piece, y, shift, fineness);
                row_re += a;
                row_im += b;
            }
            re.push(weight * half * cos * row_re);
            im.push(weight * half * cos * row_im);
        }
    }

    /// The integral over one piece of one row.
    fn piece(&self, piece: Piece, y: f64, shift: f64, fineness: Fineness) -> [f64; 2] {
        let radius = self.turned.plane.rim.radius;
        let Piece { from, to, fractional } = piece;
        let length = to - from;
        let features = self.turned.plane.feature.map_or(0.0, |width| length / width);
        let mut range = self.steepest(f64::midpoint(from, to), y, shift) * length;
        if range > 5.0 {
            range = range.min(self.range_along(piece, y, shift, if range > 20.0 { 10 } else { 4 }));
        }
        let stretched = fractional.0 || fractional.1;
        let range = if stretched { 2.0 * range } else { range };
        let count = fineness.along(range, length / radius, features);

        let (mut re, mut im) = (0.0, 0.0);
        for (t, weight) in gauss::on_interval(count, 0.0, 1.0) {
            // Steps that shrink toward the beginning of a fractional power make it smooth.
            let (place, rate) = match fractional {
                (false, false) => (t, 1.0),
                (true, false) => (t * t, 2.0 * t),
                (false, true) => (t * (2.0 - t), 2.0 * (1.0 - t)),
                (true, true) => (t * t * (3.0 - 2.0 * t), 6.0 * t * (1.0 - t)),
            };
            if let Some((product, phase)) = self.product(from + length * place, y, shift) {
                let (sin, cos) = phase.sin_cos();
                let weight = weight * rate * length * product;
                re += weight * cos;
                im += weight * sin;
            }
        }
        [re, im]
    }

    /// The product of both copies' amplitudes at a point, and the difference of their phases.
    #[inline]
    fn product(&self, x: f64, y: f64, shift: f64) -> Option<(f64, f64)> {
        let plane = self.turned.plane;
        let forward = plane.light(self.turned.m(x - 0.5 * shift, y))?;
        let back = plane.light(self.turned.m(x + 0.5 * shift, y))?;
        let phase = TAU / self.wavelength_nm * (forward.path_nm - back.path_nm);
        Some((forward.amplitude * back.amplitude, phase))
    }

    fn phase(&self, x: f64, y: f64, shift: f64) -> f64 {
        self.product(x, y, shift).map_or(0.0, |p| p.1)
    }

    /// Steepest phase of the product about a point, radians for a unit of m.
    #[inline]
    fn steepest(&self, x: f64, y: f64, shift: f64) -> f64 {
        if shift == 0.0 {
            return 0.0;
        }
        self.slopes.at((x - 0.5 * shift).hypot(y)) + self.slopes.at((x + 0.5 * shift).hypot(y))
    }

    /// Phase range along a piece: its steepest of some parts, times their number.
    fn range_along(&self, piece: Piece, y: f64, shift: f64, parts: u32) -> f64 {
        let length = piece.to - piece.from;
        let at = |k: u32| self.phase(piece.from + length * f64::from(k) / f64::from(parts), y, shift);
        let (mut before, mut steepest) = (at(0), 0.0_f64);
        for k in 1..=parts {
            let here = at(k);
            steepest = steepest.max((here - before).abs());
            before = here;
        }
        f64::from(parts) * steepest
    }

    /// Phase range across a panel: how far the phase at the ends and in the middle of the pieces moves from row to row.
    fn range_across(&self, band: &Band, (from, to): (f64, f64), shift: f64, scratch: &mut Scratch) -> f64 {
        if shift == 0.0 {
            return 0.0;
        }
        let mut before: Vec<f64> = Vec::new();
        let mut steepest = 0.0_f64;
        // A tall panel may hold a phase that goes and comes back.
        let looks = if to - from > 0.1 * self.turned.plane.rim.radius { 10 } else { 4 };
        for look in 0..looks {
            let share = 0.02 + 0.96 * f64::from(look) / f64::from(looks - 1);
            let y = from + (to - from) * share;
            band.places(y, &mut scratch.places);
            Self::hard_pieces(band, shift, scratch);
            let mut phases = Vec::with_capacity(2 * scratch.pieces.len());
            for piece in &scratch.pieces {
                for part in [0.0, 0.5, 1.0] {
                    phases.push(self.phase(piece.from + part * (piece.to - piece.from), y, shift));
                }
            }
            if phases.len() == before.len() {
                for (a, b) in phases.iter().zip(&before) {
                    steepest = steepest.max((a - b).abs());
                }
            }
            before = phases;
        }
        f64::from(looks - 1) * steepest
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
    let Scratch { places, splits, pieces } = scratch;
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
