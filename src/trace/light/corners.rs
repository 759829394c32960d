//! Where the outline of the light has corners, seen from inside: a sum must not run across one.

use super::super::mirror::length;
use super::spokes::{Spoke, Spokes};
use crate::numeric::roots;

/// Two angles closer than this are one, rad.
const SAME_ANGLE: f64 = 1e-13;
/// A place of an extreme is sought to this, rad.
const EXTREME_ANGLE: f64 = 1e-9;
/// Changes of side that two neighbouring looks may have between them.
const MOST_SIDES: usize = 4;

/// Angles in [0, 2 pi) at which an edge comes in over the rim, two edges cross, an edge's own corner or the crossing of
/// a break of the figure lies, ascending.
///
/// Leaves out: a crossing and its return between two looks that the parabola through three looks does not tell.
pub(super) fn corners(spokes: &Spokes<'_>, looks: &[(f64, Spoke)]) -> Vec<f64> {
    let count = spokes.edges.len();
    let mut found = Vec::new();
    for edge in 1..count {
        over_the_rim(spokes, edge, looks, &mut found);
    }
    let mut nodes = looks.to_vec();
    nodes.extend(found.iter().map(|&angle| (angle, spokes.spoke(angle))));
    nodes.sort_by(|a, b| a.0.total_cmp(&b.0));
    for edge in 1..count {
        for other in 1..edge {
            crossings(spokes, (edge, other), looks, &nodes, &mut found);
        }
        sides(spokes, edge, &nodes, &mut found);
        breaks(spokes, edge, &nodes, &mut found);
    }
    let mut found: Vec<f64> = found.into_iter().map(|a| a.rem_euclid(std::f64::consts::TAU)).collect();
    found.sort_by(f64::total_cmp);
    found
}

/// Neighbouring entries of a closed round of looks, the second's angle not below the first's.
fn neighbours(nodes: &[(f64, Spoke)]) -> impl Iterator<Item = ((f64, &Spoke), (f64, &Spoke))> {
    (0..nodes.len()).map(|k| {
        let next = (k + 1) % nodes.len();
        let wrap = if next == 0 { std::f64::consts::TAU } else { 0.0 };
        ((nodes[k].0, &nodes[k].1), (nodes[next].0 + wrap, &nodes[next].1))
    })
}

/// Looks in the middle of three at which the parabola through them says that a function of one sign may reach zero
/// between them; the value nearest to zero in the middle.
fn near_zero(values: &[f64]) -> impl Iterator<Item = usize> {
    let n = values.len();
    (0..n).filter(move |&k| {
        let (before, here, after) = (values[(k + n - 1) % n], values[k], values[(k + 1) % n]);
        let one_sign = (before > 0.0) == (here > 0.0) && (after > 0.0) == (here > 0.0);
        let (second, slope) = (before - 2.0 * here + after, 0.5 * (after - before));
        let nearest = here.abs() <= before.abs() && here.abs() <= after.abs();
        // Toward zero the parabola gains slope^2/(2 second); half of the second difference is left for what it is not.
        one_sign
            && nearest
            && here != 0.0
            && here.abs() <= 0.5 * slope * slope / second.abs() + 0.5 * second.abs()
    })
}

/// Notes where `f` changes its sign around an extreme that reaches over zero.
fn dips(
    f: &impl Fn(f64) -> f64,
    (values, same): (&[f64], f64),
    looks: &[(f64, Spoke)],
    found: &mut Vec<f64>,
) {
    let step = std::f64::consts::TAU / looks.len() as f64;
    for k in near_zero(values).filter(|&k| values[k].abs() > same) {
        let (from, to, sign) = (looks[k].0 - step, looks[k].0 + step, values[k].signum());
        let (place, value) = roots::maximum(|angle| -sign * f(angle), from, to, EXTREME_ANGLE);
        if value > 0.0 {
            found.extend(
                [(from, place), (place, to)]
                    .iter()
                    .filter_map(|&(a, b)| roots::bracketed(f, a, b, SAME_ANGLE)),
            );
        }
    }
}

/// Whether an edge cuts anything off.
pub(super) fn reaches_inside(spokes: &Spokes<'_>, edge: usize, looks: &[(f64, Spoke)]) -> bool {
    if looks.iter().any(|(_, spoke)| spoke.excess_at_rim_mm[edge] > spokes.nothing_mm) {
        return true;
    }
    let mut found = Vec::new();
    over_the_rim(spokes, edge, looks, &mut found);
    !found.is_empty()
}

fn over_the_rim(spokes: &Spokes<'_>, edge: usize, looks: &[(f64, Spoke)], found: &mut Vec<f64>) {
    let values: Vec<f64> =
        looks.iter().map(|(_, spoke)| spoke.excess_at_rim_mm[edge] - spokes.nothing_mm).collect();
    let excess = |angle: f64| spokes.rim_excess_mm(edge, angle) - spokes.nothing_mm;
    for (a, b) in neighbours(looks) {
        let over = |spoke: &Spoke| spoke.excess_at_rim_mm[edge] > spokes.nothing_mm;
        if over(a.1) != over(b.1) {
            found.extend(roots::bracketed(excess, a.0, b.0, SAME_ANGLE));
        }
    }
    dips(&excess, (&values, 0.0), looks, found);
}

/// Where two edges cross inside of the rim.
fn crossings(
    spokes: &Spokes<'_>,
    (edge, other): (usize, usize),
    looks: &[(f64, Spoke)],
    nodes: &[(f64, Spoke)],
    found: &mut Vec<f64>,
) {
    let within = |spoke: &Spoke, i: usize| spoke.radii[i].min(spoke.radii[0]);
    let apart = |spoke: &Spoke| within(spoke, edge) - within(spoke, other);
    if looks.iter().all(|(_, s)| s.radii[edge].is_infinite() || s.radii[other].is_infinite()) {
        // Each alone, or never inside at all; their crossing over the rim is a corner already.
        let both = nodes.iter().any(|(_, s)| s.radii[edge].is_finite() && s.radii[other].is_finite());
        if !both {
            return;
        }
    }
    let difference = |angle: f64| spokes.apart(angle, edge, other);
    // Radii are good to a thousandth of this.
    let same = 1e-9 * nodes[0].1.radii[0];
    for (a, b) in neighbours(nodes) {
        let (from, to) = (apart(a.1), apart(b.1));
        if (from > same && to < -same) || (from < -same && to > same) {
            found.extend(roots::bracketed(difference, a.0, b.0, SAME_ANGLE));
        }
    }
    let values: Vec<f64> = looks.iter().map(|(_, spoke)| apart(spoke)).collect();
    dips(&difference, (&values, same), looks, found);
}

/// Where an edge goes from one of its sides to the next.
fn sides(spokes: &Spokes<'_>, edge: usize, nodes: &[(f64, Spoke)], found: &mut Vec<f64>) {
    if !spokes.edges[edge].has_sides() {
        return;
    }
    let side = |angle: f64, spoke: &Spoke| spokes.side(edge, angle, spoke.radii[edge].min(spoke.radii[0]));
    for (a, b) in neighbours(nodes) {
        let is_met = a.1.radii[edge].is_finite() || b.1.radii[edge].is_finite();
        if !is_met {
            continue;
        }
        let last = side(b.0, b.1);
        let (mut start, mut here) = (a.0, side(a.0, a.1));
        // Glass that is hardly thick shows all its sides within a fraction of a degree.
        for _ in 0..MOST_SIDES {
            if here == last {
                break;
            }
            let (mut from, mut to) = (start, b.0);
            let mut beyond = last;
            while to - from > SAME_ANGLE {
                let middle = f64::midpoint(from, to);
                if middle <= from || middle >= to {
                    break;
                }
                let seen = side(middle, &spokes.spoke(middle));
                if seen == here {
                    from = middle;
                } else {
                    (to, beyond) = (middle, seen);
                }
            }
            found.push(to);
            (start, here) = (to, beyond);
        }
    }
}

/// Where an edge passes over a break of the figure, which bends it: not so edges that light meets before the mirror.
fn breaks(spokes: &Spokes<'_>, edge: usize, nodes: &[(f64, Spoke)], found: &mut Vec<f64>) {
    if spokes.seen.breaks_mm.is_empty() || spokes.edges[edge].is_body() {
        return;
    }
    let from_axis = |angle: f64, spoke: &Spoke| {
        let hit = spokes.hit_mm(angle, spoke.radii[edge].min(spoke.radii[0]));
        hit.map_or(f64::INFINITY, |[x, y, _]| length(x, y))
    };
    for (a, b) in neighbours(nodes) {
        if a.1.radii[edge].is_infinite() && b.1.radii[edge].is_infinite() {
            continue;
        }
        let (first, last) = (from_axis(a.0, a.1), from_axis(b.0, b.1));
        for radius_mm in &spokes.seen.breaks_mm {
            if (first < *radius_mm) != (last < *radius_mm) {
                let off = |angle: f64| from_axis(angle, &spokes.spoke(angle)) - radius_mm;
                found.extend(roots::bracketed(off, a.0, b.0, SAME_ANGLE));
            }
        }
    }
}
