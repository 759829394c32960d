//! Rows of directions in panels: solid angles by what ends the lines, and the outermost open lines.

use std::f64::consts::FRAC_PI_2;

use super::sight_row::{Ending, Eye, Piece};
use crate::numeric::{gauss, roots};

/// Nodes of a panel; the coarser rule beside it gives the error estimate.
const NODES: usize = 32;
const COARSE_NODES: usize = 22;
/// Rows looked at between two known breaks.
const LOOKS: usize = 16;
/// No view has more panels; a pattern that flickers is not followed further.
const MOST_BREAKS: usize = 400;

/// Solid angles by what ends the lines, sr; open ones by whether they rise toward the sky's end or sink.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Angles {
    pub(super) view: f64,
    pub(super) diagonal: f64,
    pub(super) holder: f64,
    pub(super) baffle: f64,
    pub(super) front_ring: f64,
    pub(super) wall: f64,
    pub(super) open_above: f64,
    pub(super) open_below: f64,
    /// Open, each direction weighted with the cosine of its slant against the focuser's axis.
    pub(super) open_projected: f64,
    pub(super) error_estimate: f64,
}

impl Angles {
    fn add(&mut self, w: f64, weight: f64, dealt: &[(Ending, Piece)]) {
        for (ending, piece) in dealt {
            let share = weight * (solid(w, piece[1].v) - solid(w, piece[0].v));
            self.view += share;
            match ending {
                Ending::Diagonal => self.diagonal += share,
                Ending::Holder => self.holder += share,
                Ending::Baffle => self.baffle += share,
                Ending::FrontRing => self.front_ring += share,
                Ending::Wall => self.wall += share,
                Ending::Open => {
                    *(if w > 0.0 { &mut self.open_above } else { &mut self.open_below }) += share;
                    self.open_projected += weight * (projected(w, piece[1].v) - projected(w, piece[0].v));
                }
            }
        }
    }
}

/// Integral over v of the solid angle of directions, 1/(1 + v^2 + w^2)^(3/2).
fn solid(w: f64, v: f64) -> f64 {
    let a = 1.0 + w * w;
    v / (a * (a + v * v).sqrt())
}

/// The same times the cosine: of 1/(1 + v^2 + w^2)^2.
fn projected(w: f64, v: f64) -> f64 {
    let a = 1.0 + w * w;
    v / (2.0 * a * (a + v * v)) + (v / a.sqrt()).atan() / (2.0 * a * a.sqrt())
}

/// What a row looks like: which edges bound which pieces.
fn pattern(dealt: &[(Ending, Piece)]) -> Vec<(Ending, u8, u8)> {
    dealt.iter().map(|(ending, piece)| (*ending, piece[0].edge, piece[1].edge)).collect()
}

/// Panels of slopes w within which every row looks alike, rising.
pub(super) fn panels(eye: &Eye<'_>) -> Vec<[f64; 2]> {
    let Some([low, high]) = eye.span() else { return Vec::new() };
    let mut breaks = eye.known_breaks();
    breaks.retain(|w| *w > low && *w < high);
    breaks.extend([low, high]);
    breaks.sort_by(f64::total_cmp);
    breaks.dedup();
    let mut row = Vec::new();
    let mut look = |w: f64| {
        eye.deal(w, &mut row);
        pattern(&row)
    };
    let narrowest = 4.0 * f64::EPSILON * low.abs().max(high.abs());
    let mut found = Vec::new();
    for ends in breaks.windows(2) {
        let (middle, half) = (0.5 * (ends[0] + ends[1]), 0.5 * (ends[1] - ends[0]));
        // Looks crowd at both ends, where slivers begin.
        let at = |k: usize| middle - half * (std::f64::consts::PI * (k as f64 + 0.5) / LOOKS as f64).cos();
        let mut before = (at(0), look(at(0)));
        for k in 1..LOOKS {
            let after = (at(k), look(at(k)));
            part(&mut look, &before, &after, narrowest, &mut found);
            before = after;
        }
    }
    breaks.extend(found);
    breaks.sort_by(f64::total_cmp);
    breaks.windows(2).filter(|e| e[1] - e[0] > narrowest).map(|e| [e[0], e[1]]).collect()
}

type Look = (f64, Vec<(Ending, u8, u8)>);

/// Notes every place between two rows at which the pattern changes.
fn part(
    look: &mut impl FnMut(f64) -> Vec<(Ending, u8, u8)>,
    before: &Look,
    after: &Look,
    narrowest: f64,
    found: &mut Vec<f64>,
) {
    if before.1 == after.1 || found.len() >= MOST_BREAKS {
        return;
    }
    let middle = 0.5 * (before.0 + after.0);
    if after.0 - before.0 <= narrowest {
        found.push(middle);
        return;
    }
    let between = (middle, look(middle));
    part(look, before, &between, narrowest, found);
    part(look, &between, after, narrowest, found);
}

/// Solid angles of all that is seen.
///
/// Within a panel w = middle + half sin(angle): what begins like a square root at an end is smooth in the angle.
pub(super) fn angles(eye: &Eye<'_>) -> Angles {
    let mut row = Vec::new();
    let mut total = Angles::default();
    for [from, to] in panels(eye) {
        let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
        let mut by_rule = [Angles::default(); 2];
        for (sum, nodes) in by_rule.iter_mut().zip([NODES, COARSE_NODES]) {
            for (angle, weight) in gauss::on_interval(nodes, -FRAC_PI_2, FRAC_PI_2) {
                let w = middle + half * angle.sin();
                eye.deal(w, &mut row);
                sum.add(w, weight * half * angle.cos(), &row);
            }
        }
        let [fine, coarse] = by_rule;
        let parts = |a: &Angles| {
            [a.view, a.diagonal, a.holder, a.baffle, a.front_ring, a.wall, a.open_above, a.open_below]
        };
        let apart = parts(&fine).into_iter().zip(parts(&coarse)).map(|(a, b)| (a - b).abs());
        total.error_estimate += apart.fold(0.0, f64::max);
        total.view += fine.view;
        total.diagonal += fine.diagonal;
        total.holder += fine.holder;
        total.baffle += fine.baffle;
        total.front_ring += fine.front_ring;
        total.wall += fine.wall;
        total.open_above += fine.open_above;
        total.open_below += fine.open_below;
        total.open_projected += fine.open_projected;
    }
    total
}

/// Something to be made greatest over lines of sight: its value at a line (v, w), and the slope v where it is greatest
/// in a row.
pub(super) struct Goal<'a> {
    pub(super) value: &'a dyn Fn(f64, f64) -> f64,
    /// Not a number: at one of a piece's ends.
    pub(super) best_v: &'a dyn Fn(f64) -> f64,
}

/// The greatest value of a goal over the lines that end so; None where there are none.
pub(super) fn greatest(eye: &Eye<'_>, counts: &dyn Fn(Ending, f64) -> bool, goal: &Goal<'_>) -> Option<f64> {
    let mut row = Vec::new();
    let mut of_row = |w: f64| {
        eye.deal(w, &mut row);
        let pieces = row.iter().filter(|(ending, _)| counts(*ending, w));
        let values = pieces.map(|(_, [low, high])| {
            let best = (goal.best_v)(w);
            let ends = (goal.value)(low.v, w).max((goal.value)(high.v, w));
            if best > low.v && best < high.v { ends.max((goal.value)(best, w)) } else { ends }
        });
        values.fold(f64::NEG_INFINITY, f64::max)
    };
    let steps = 12;
    let mut best = (f64::NEG_INFINITY, [0.0, 0.0]);
    for [from, to] in panels(eye) {
        let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
        // The ends themselves belong to the neighbour as much as to this panel: just inside of them.
        let at = |k: usize| {
            let place = (f64::from(k as u32) / f64::from(steps as u32) - 0.5) * std::f64::consts::PI;
            middle + half * place.sin() * (1.0 - 1e-13)
        };
        for k in 0..=steps {
            let value = of_row(at(k));
            if value > best.0 {
                best = (value, [at(k.saturating_sub(1)), at((k + 1).min(steps))]);
            }
        }
    }
    if best.0 == f64::NEG_INFINITY {
        return None;
    }
    let [from, to] = best.1;
    let refined = roots::maximum(of_row, from, to, 1e-12 * (to - from)).1;
    Some(best.0.max(refined))
}
