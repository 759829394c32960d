//! A place well inside a convex region of the star's plane.

use super::seen::{Edge, Seen};
use super::spokes::{Frame, Spokes};

/// Cuts after which a region not yet found holds less than 1e-12 of the mirror.
const CUTS: usize = 80;
/// A place this near to the deepest is deep enough.
const DEEP_ENOUGH: f64 = 0.7;
/// Step of a slope, as a share of the rim's radius.
const SLOPE_STEP: f64 = 1e-5;
/// A figure changes the slope of an edge from place to place, by some hundredths on mirrors that are made: how far a straight
/// continuation may be off, as a share of its own change.
const BENDING: f64 = 0.05;
/// Looks by which a region is made round, how often, and until which ratio of length to width.
const ROUND_LOOKS: usize = 16;
const ROUNDS: usize = 12;
const ROUND: f64 = 3.0;

/// A place inside all edges, and how deep it lies there (0 to 1, in units of each edge's own scale); none where no
/// light is inside.
///
/// Source: the method of centres of gravity (Levin 1965, from memory): each step cuts a polygon that holds the deepest
/// place through its centre, along the slope of the edge that is passed furthest there.
pub(super) fn inside(seen: &Seen<'_>, edges: &[Edge], scales: &[f64]) -> Option<([f64; 2], f64)> {
    let rim_mm = edges[0].radius_mm;
    // The first cut keeps clear of the vertex, where a zone may leave the glass with a tip.
    let (low, high) = (-1.1 * rim_mm, 1.13 * rim_mm);
    let mut polygon = vec![[low, low], [high, low], [high, high], [low, high]];
    let bending = if seen.prepared.mirror().bare_conic().is_some() { 0.0 } else { BENDING };
    let excess = |place: [f64; 2], i: usize| {
        seen.ray(place).map_or(f64::INFINITY, |ray| edges[i].excess_mm(&ray, &seen.beam) / scales[i])
    };
    let worst = |place: [f64; 2]| {
        let ray = seen.ray(place)?;
        let all = edges.iter().zip(scales).map(|(edge, scale)| edge.excess_mm(&ray, &seen.beam) / scale);
        all.enumerate().max_by(|a, b| a.1.total_cmp(&b.1))
    };
    let mut best: Option<([f64; 2], f64)> = None;
    for _ in 0..CUTS {
        let place = centre_of_gravity(&polygon)?;
        let Some((i, here)) = worst(place) else { break };
        if best.is_none_or(|(_, value)| here < value) {
            best = Some((place, here));
        }
        let step = SLOPE_STEP * rim_mm;
        let slope =
            [[step, 0.0], [0.0, step]].map(|d| (excess([place[0] + d[0], place[1] + d[1]], i) - here) / step);
        let at = |p: &[f64; 2]| here + slope[0] * (p[0] - place[0]) + slope[1] * (p[1] - place[1]);
        let least = polygon.iter().map(at).fold(f64::INFINITY, f64::min);
        let (_, value) = best?;
        let slack = bending * (here - least);
        // Convex but for the slack: nowhere in the polygon is it below the straight continuation.
        if least > slack || (value < 0.0 && value <= DEEP_ENOUGH * least) {
            break;
        }
        polygon = cut(&polygon, |p| at(p) - here.min(value.max(least)) - slack);
        if polygon.len() < 3 {
            break;
        }
    }
    best.filter(|(_, value)| *value < 0.0).map(|(place, value)| (place, -value))
}

/// The part of a convex polygon where a linear function is not positive.
fn cut(polygon: &[[f64; 2]], f: impl Fn(&[f64; 2]) -> f64) -> Vec<[f64; 2]> {
    let mut kept = Vec::with_capacity(polygon.len() + 1);
    for (k, p) in polygon.iter().enumerate() {
        let q = &polygon[(k + 1) % polygon.len()];
        let (fp, fq) = (f(p), f(q));
        if fp <= 0.0 {
            kept.push(*p);
        }
        if (fp < 0.0 && fq > 0.0) || (fp > 0.0 && fq < 0.0) {
            let share = fp / (fp - fq);
            kept.push([0, 1].map(|i| p[i] + share * (q[i] - p[i])));
        }
    }
    kept
}

/// Of a polygon; none where it has no area.
fn centre_of_gravity(polygon: &[[f64; 2]]) -> Option<[f64; 2]> {
    let [ox, oy] = polygon[0];
    let (mut area, mut sum) = (0.0, [0.0; 2]);
    for pair in polygon.windows(2) {
        let [(ax, ay), (bx, by)] = [0, 1].map(|i| (pair[i][0] - ox, pair[i][1] - oy));
        let double = ax * by - bx * ay;
        area += double;
        sum[0] += double * (ax + bx);
        sum[1] += double * (ay + by);
    }
    (area > 0.0).then(|| [ox + sum[0] / (3.0 * area), oy + sum[1] / (3.0 * area)])
}

/// Coordinates about a place in which the region inside all edges is about as wide as long.
pub(super) fn round_frame(seen: &Seen<'_>, edges: &[Edge], place: [f64; 2]) -> Frame {
    let mut frame = Frame::about(place);
    for _ in 0..ROUNDS {
        let spokes = Spokes::new(seen, frame, edges.to_vec());
        let turn = |k: usize| std::f64::consts::PI * k as f64 / ROUND_LOOKS as f64;
        let met = |angle: f64| {
            let spoke = spokes.spoke(angle);
            spoke.radii[..edges.len()].iter().copied().fold(f64::INFINITY, f64::min)
        };
        // Width along a line: both ways from the centre.
        let widths: Vec<f64> =
            (0..ROUND_LOOKS).map(|k| met(turn(k)) + met(turn(k) + std::f64::consts::PI)).collect();
        let longest = (0..ROUND_LOOKS).max_by(|&a, &b| widths[a].total_cmp(&widths[b])).unwrap_or(0);
        let square = (longest + ROUND_LOOKS / 2) % ROUND_LOOKS;
        let (long, wide) = (0.5 * widths[longest], 0.5 * widths[square]);
        if !(long.is_finite() && wide > 0.0) || long / wide < ROUND {
            break;
        }
        let axes = frame.axes;
        let axis = |angle: f64, length: f64| {
            let (sin, cos) = angle.sin_cos();
            [0, 1].map(|i| length * (cos * axes[0][i] + sin * axes[1][i]))
        };
        let angle = turn(longest);
        frame.axes = [axis(angle, long), axis(angle + 0.5 * std::f64::consts::PI, wide)];
    }
    frame
}
