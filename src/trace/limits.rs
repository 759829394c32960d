//! The outline of the lit pupil, angle by angle, seen from the mirror's centre.

use std::f64::consts::TAU;

use super::prepared::Prepared;
use super::ray::StarBeam;
use super::stops::Stop;
use crate::numeric::{gauss, roots};

/// Angles at which the outline is looked at before its corners are sought between them.
const LOOKS: usize = 64;
/// No outline has more corners; a signature that flickers is not followed further.
const MOST_CORNERS: usize = 2000;
/// Two angles closer than this are one, rad.
const SAME_ANGLE: f64 = 1e-13;

/// The stops of one star's light as radii over the mirror.
///
/// Holds as long as the mirror's centre is seen past every stop and lies well inside the diagonal's
/// shadow, so that each stop is one radius for each angle: see [`Outline::is_star_shaped`].
#[derive(Debug)]
pub(crate) struct Outline<'a> {
    prepared: &'a Prepared,
    beam: StarBeam,
    /// Radius of the circle within which light is looked for.
    rim_mm: f64,
    /// Stops that cut into that circle from outside, in the order in which light meets them.
    cuts: Vec<Stop>,
    /// Bodies on the axis that the light passes outside of.
    shadows: Vec<Stop>,
    looks: Vec<f64>,
}

impl<'a> Outline<'a> {
    pub(crate) fn new(prepared: &'a Prepared, beam: StarBeam, rim_mm: f64) -> Self {
        let mut outline =
            Self { prepared, beam, rim_mm, cuts: Vec::new(), shadows: Vec::new(), looks: even_looks() };
        for stop in prepared.stops() {
            if stop.is_shadow() {
                outline.shadows.push(*stop);
            } else if outline.reaches_inside(stop) {
                outline.cuts.push(*stop);
            }
        }
        outline.looks.sort_by(f64::total_cmp);
        outline
    }

    pub(crate) fn beam(&self) -> &StarBeam {
        &self.beam
    }

    pub(crate) fn rim_mm(&self) -> f64 {
        self.rim_mm
    }

    /// Stops that cut into the rim from outside.
    pub(crate) fn cuts(&self) -> &[Stop] {
        &self.cuts
    }

    /// How far outside of the free space of `stop` the light at (r, angle) passes, mm.
    pub(crate) fn excess_mm(&self, stop: &Stop, r_mm: f64, angle: f64) -> f64 {
        let (sin, cos) = angle.sin_cos();
        self.excess_at_mm(stop, [r_mm * cos, r_mm * sin])
    }

    /// The same at (x, y).
    pub(crate) fn excess_at_mm(&self, stop: &Stop, [x_mm, y_mm]: [f64; 2]) -> f64 {
        stop.excess_mm(&self.beam.ray(self.prepared.mirror(), x_mm, y_mm), &self.beam)
    }

    /// The side of `stop` that the light at (r, angle) passes nearest to; 0 for a circle.
    pub(crate) fn side(&self, stop: &Stop, r_mm: f64, angle: f64) -> usize {
        if !stop.has_sides() {
            return 0;
        }
        let (sin, cos) = angle.sin_cos();
        let ray = self.beam.ray(self.prepared.mirror(), r_mm * cos, r_mm * sin);
        stop.side(&ray, &self.beam)
    }

    /// Whether every stop is one radius at each angle.
    pub(crate) fn is_star_shaped(&self) -> bool {
        // Nearer to the shadow's edge than this its radius varies too fast with the angle.
        const INSIDE: f64 = 0.15;
        let seen = self.cuts.iter().all(|stop| self.excess_mm(stop, 0.0, 0.0) < 0.0);
        let hidden = |s: &Stop| self.excess_mm(&s.core(), 0.0, 0.0) > INSIDE * s.radius_mm();
        let covered = self.shadows.iter().all(hidden);
        seen && covered
    }

    /// Radius at which `stop` begins to stop light at an angle, not beyond `limit_mm`.
    pub(crate) fn cut_radius_mm(&self, stop: &Stop, angle: f64, limit_mm: f64) -> f64 {
        roots::bracketed(|r| self.excess_mm(stop, r, angle), 0.0, limit_mm, 1e-11 * self.rim_mm)
            .unwrap_or(limit_mm)
    }

    /// Radius within which the shadows lie at an angle, not beyond the rim; 0 without any.
    pub(crate) fn shadow_radius_mm(&self, angle: f64) -> f64 {
        let radii = self.shadows.iter().map(|s| self.cut_radius_mm(s, angle, self.rim_mm));
        radii.fold(0.0, f64::max)
    }

    /// Which body's shadow reaches to that radius, and which side of it; none without any.
    pub(crate) fn shadow_side(&self, angle: f64) -> Option<(usize, usize)> {
        let mut widest: Option<(usize, f64)> = None;
        for (i, shadow) in self.shadows.iter().enumerate() {
            let radius = self.cut_radius_mm(shadow, angle, self.rim_mm);
            if widest.is_none_or(|(_, r)| radius > r) {
                widest = Some((i, radius));
            }
        }
        widest.map(|(i, radius)| (i, self.side(&self.shadows[i], radius, angle)))
    }

    /// The shadow from which a ring of light begins: the diagonal's, or the holder's alone; 0 without any. Where thick glass
    /// shadows more than its face does, that of the face: a ring begins smoothly.
    pub(crate) fn ring_radius_mm(&self, angle: f64) -> f64 {
        self.shadows.first().map_or(0.0, |s| self.cut_radius_mm(&s.core(), angle, self.rim_mm))
    }

    /// Whether the shadows may reach beyond the circle from which the ring begins.
    pub(crate) fn shadows_beyond_the_ring(&self) -> bool {
        self.shadows.len() > 1 || self.shadows.iter().any(Stop::has_sides)
    }

    /// Bodies on the axis that the light passes outside of, the diagonal first.
    pub(crate) fn shadows(&self) -> &[Stop] {
        &self.shadows
    }

    /// Smallest radius at which a stop cuts in from outside, and which stop it is (none: the rim).
    pub(crate) fn outer_radius_mm(&self, angle: f64) -> (f64, Option<usize>) {
        let mut outer = (self.rim_mm, None);
        for (i, stop) in self.cuts.iter().enumerate() {
            let radius = self.cut_radius_mm(stop, angle, outer.0);
            if radius < outer.0 {
                outer = (radius, Some(i));
            }
        }
        outer
    }

    /// Angles in [0, 2 pi) at which `signature` changes, ascending.
    ///
    /// Changes that come and go between two looks are missed; the looks include every angle at which a
    /// stop reaches furthest inside, so that no sliver of a cut is.
    pub(crate) fn switches<S: PartialEq>(&self, signature: impl Fn(f64) -> S) -> Vec<f64> {
        let mut found = Vec::new();
        let signs: Vec<S> = self.looks.iter().map(|&angle| signature(angle)).collect();
        for i in 0..self.looks.len() {
            let next = (i + 1) % self.looks.len();
            let wrap = if next == 0 { TAU } else { 0.0 };
            halve(
                &signature,
                (self.looks[i], &signs[i]),
                (self.looks[next] + wrap, &signs[next]),
                SAME_ANGLE * TAU,
                &mut found,
            );
        }
        let mut found: Vec<f64> = found.into_iter().map(|a| a.rem_euclid(TAU)).collect();
        found.sort_by(f64::total_cmp);
        found
    }

    /// Whether a stop takes anything of the circle; notes the angle where it reaches furthest inside.
    fn reaches_inside(&mut self, stop: &Stop) -> bool {
        // The mask is the rim itself: what rounding makes of it cuts nothing.
        let nothing_mm = 1e-10 * self.rim_mm;
        let even = even_looks();
        let at = |angle: f64| self.excess_mm(stop, self.rim_mm, angle);
        let excess: Vec<f64> = even.iter().map(|&a| at(a)).collect();
        let step = TAU / LOOKS as f64;
        let mut peaks = Vec::new();
        for i in 0..LOOKS {
            let (before, after) = (excess[(i + LOOKS - 1) % LOOKS], excess[(i + 1) % LOOKS]);
            if excess[i] >= before && excess[i] >= after && excess[i] <= 0.0 {
                let (angle, value) = roots::maximum(at, even[i] - step, even[i] + step, 1e-9);
                if value > nothing_mm {
                    peaks.push(angle.rem_euclid(TAU));
                }
            }
        }
        let reaches = !peaks.is_empty() || excess.iter().any(|&e| e > nothing_mm);
        self.looks.extend(peaks);
        reaches
    }
}

fn even_looks() -> Vec<f64> {
    // Half a step off zero: the corners of symmetric trains do not fall on a look.
    (0..LOOKS).map(|i| (i as f64 + 0.5) * TAU / LOOKS as f64).collect()
}

/// Halves an interval until each change of the signature inside it stands alone, to within `same`.
pub(crate) fn halve<S: PartialEq>(
    signature: &impl Fn(f64) -> S,
    (a, at_a): (f64, &S),
    (b, at_b): (f64, &S),
    same: f64,
    found: &mut Vec<f64>,
) {
    if at_a == at_b || found.len() > MOST_CORNERS {
        return;
    }
    let middle = f64::midpoint(a, b);
    if b - a < same {
        found.push(middle);
        return;
    }
    let at_middle = signature(middle);
    halve(signature, (a, at_a), (middle, &at_middle), same, found);
    halve(signature, (middle, &at_middle), (b, at_b), same, found);
}

/// The pieces of a full turn between corners, none longer than `longest`: pairs of angles.
///
/// Without corners the turn begins at 0.
pub(crate) fn arcs(corners: &[f64], longest: f64) -> Vec<(f64, f64)> {
    let mut arcs = Vec::new();
    let starts = if corners.is_empty() { &[0.0][..] } else { corners };
    for (i, &start) in starts.iter().enumerate() {
        let end = starts.get(i + 1).copied().unwrap_or(starts[0] + TAU);
        if end - start < 2.0 * SAME_ANGLE * TAU {
            continue;
        }
        let pieces = ((end - start) / longest).ceil().max(1.0);
        let length = (end - start) / pieces;
        for piece in 0..pieces as usize {
            arcs.push((start + length * piece as f64, start + length * (piece + 1) as f64));
        }
    }
    arcs
}

/// Angles and weights on an arc whose ends may be corners: the steps shrink toward both, so that an outline that leaves
/// a corner like a square root is integrated as well as a smooth one.
pub(crate) fn on_arc(count: usize, (from, to): (f64, f64)) -> impl Iterator<Item = (f64, f64)> {
    let length = to - from;
    gauss::on_interval(count, 0.0, 1.0).map(move |(t, weight)| {
        (from + length * t * t * (3.0 - 2.0 * t), weight * length * 6.0 * t * (1.0 - t))
    })
}
