//! One row across the pupil, parallel to the shift: where it is lit, and where its light changes its character.

use super::plane::Plane;
use crate::numeric::roots;

/// Places on a row at which every curve is looked at before its crossings are sought between them.
const LOOKS: usize = 17;
/// Crossings closer than this share of the pupil's radius are one.
const SAME: f64 = 1e-11;

/// What begins or ends at a point of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    /// Light begins.
    Open,
    /// Light ends.
    Close,
    /// The figure or the coating has a joint; whether a power that is no whole number begins here.
    Joint { fractional: bool },
}

/// A point of a row with what tells it from others: the curve, and whether its function falls there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Label {
    pub(super) curve: u16,
    pub(super) falls: bool,
    pub(super) turn: Turn,
}

/// The points of one row, ascending.
#[derive(Clone, Debug, Default)]
pub(super) struct Row {
    pub(super) at: Vec<f64>,
    pub(super) labels: Vec<Label>,
}

/// The pupil with axes along and across the shift: x along it, y across, both from the middle of the rim.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turned<'a> {
    pub(super) plane: &'a Plane<'a>,
    sin_cos: (f64, f64),
}

impl<'a> Turned<'a> {
    /// `azimuth_rad` from `along` toward `across`.
    pub(super) fn new(plane: &'a Plane<'a>, azimuth_rad: f64) -> Self {
        // Exact zeros on the image's own axes keep symmetric pupils symmetric.
        let (sin, cos) = azimuth_rad.sin_cos();
        let clean = |v: f64| if v.abs() < 1e-15 { 0.0 } else { v };
        Self { plane, sin_cos: (clean(sin), clean(cos)) }
    }

    #[inline]
    pub(super) fn m(&self, x: f64, y: f64) -> [f64; 2] {
        let ((sin, cos), [cx, cy]) = (self.sin_cos, self.plane.rim.centre);
        [cx + x * cos - y * sin, cy + x * sin + y * cos]
    }

    /// A point of the plane in these axes.
    pub(super) fn turned_from(&self, [mx, my]: [f64; 2]) -> [f64; 2] {
        let ((sin, cos), [cx, cy]) = (self.sin_cos, self.plane.rim.centre);
        let (dx, dy) = (mx - cx, my - cy);
        [dx * cos + dy * sin, dy * cos - dx * sin]
    }

    /// Every curve's function at a point, and whether it is lit.
    pub(super) fn values(&self, x: f64, y: f64, values: &mut Vec<f64>) -> bool {
        self.plane.values(self.m(x, y), values)
    }

    /// Half of the length of the rows: a little more than the pupil.
    pub(super) fn reach(&self) -> f64 {
        1.03 * self.plane.rim.radius
    }

    /// The row at y, solved point by point.
    pub(super) fn row(&self, y: f64) -> Row {
        let (curves, reach, same) = (&self.plane.curves, self.reach(), SAME * self.plane.rim.radius);
        let mut looks = Vec::with_capacity(LOOKS);
        let mut values = Vec::new();
        for k in 0..LOOKS {
            let x = reach * (2.0 * k as f64 / (LOOKS - 1) as f64 - 1.0);
            self.values(x, y, &mut values);
            if values.is_empty() {
                return Row::default();
            }
            looks.push((x, values.clone()));
        }
        let mut crossings: Vec<(f64, u16, bool)> = Vec::new();
        for curve in 0..curves.len() {
            let mut at = |x: f64| {
                self.values(x, y, &mut values);
                values.get(curve).copied().unwrap_or(f64::NAN)
            };
            let line: Vec<(f64, f64)> = looks.iter().map(|(x, v)| (*x, v[curve])).collect();
            for [from, to] in brackets(&line, &mut at) {
                if let Some(x) = roots::bracketed(&mut at, from.0, to.0, 1e-14 * reach) {
                    crossings.push((x, curve as u16, from.1 > 0.0));
                }
            }
        }
        crossings.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        self.lit_parts(y, &crossings, same)
    }

    /// Keeps of all crossings those where light begins or ends, and the joints inside of it.
    fn lit_parts(&self, y: f64, crossings: &[(f64, u16, bool)], same: f64) -> Row {
        let (mut row, mut values) = (Row::default(), Vec::new());
        // Groups of crossings that are one point.
        let mut groups: Vec<&[(f64, u16, bool)]> = Vec::new();
        let mut start = 0;
        for i in 1..=crossings.len() {
            if i == crossings.len() || crossings[i].0 - crossings[i - 1].0 > same {
                groups.push(&crossings[start..i]);
                start = i;
            }
        }
        let mut lit = false;
        for (g, group) in groups.iter().enumerate() {
            let here = group[0].0;
            let after = groups.get(g + 1).map(|next| next[0].0);
            let lit_after = after.is_some_and(|next| self.values(f64::midpoint(here, next), y, &mut values));
            let mut note = |wanted: &dyn Fn(usize) -> bool, turn: Turn| {
                // Lines that lie on each other take turns at being first: the lowest number stands for all.
                let chosen = group.iter().filter(|c| wanted(usize::from(c.1))).min_by_key(|c| (c.1, c.2));
                if let Some(c) = chosen.or(group.first()) {
                    row.at.push(here);
                    row.labels.push(Label { curve: c.1, falls: c.2, turn });
                }
            };
            let edge = |c: usize| self.plane.curves[c].is_edge();
            match (lit, lit_after) {
                (false, true) => note(&edge, Turn::Open),
                (true, false) => note(&edge, Turn::Close),
                (true, true) => {
                    let joint = group.iter().find_map(|c| match self.plane.curves[usize::from(c.1)] {
                        super::plane::Curve::Joint(_, fractional) => Some((c.1, fractional)),
                        super::plane::Curve::Patch(_) => Some((c.1, false)),
                        _ => None,
                    });
                    if let Some((curve, fractional)) = joint {
                        note(&|c| c == usize::from(curve), Turn::Joint { fractional });
                    }
                }
                (false, false) => {}
            }
            lit = lit_after;
        }
        row
    }
}

/// Pairs of places between which a function changes its sign, from looks along a line; bumps that reach over the zero and back
/// between two looks are found by the parabola through three of them.
fn brackets(looks: &[(f64, f64)], at: &mut impl FnMut(f64) -> f64) -> Vec<[(f64, f64); 2]> {
    let sign = |v: f64| v > 0.0;
    let mut found = Vec::new();
    for k in 0..looks.len() - 1 {
        let (a, b) = (looks[k], looks[k + 1]);
        if sign(a.1) != sign(b.1) {
            found.push([a, b]);
        }
    }
    for k in 1..looks.len() - 1 {
        let [a, b, c] = [looks[k - 1], looks[k], looks[k + 1]];
        let same = sign(a.1) == sign(b.1) && sign(b.1) == sign(c.1);
        if !same || b.1.abs() > a.1.abs() || b.1.abs() > c.1.abs() {
            continue;
        }
        let Some(vertex) = vertex(a, b, c) else { continue };
        let mut best = (vertex, at(vertex));
        // Close to the zero the place of the extreme matters: once more with a narrow parabola.
        if best.1.abs() < 0.02 * a.1.abs().max(c.1.abs()) {
            let narrow = 0.02 * (c.0 - a.0);
            let (l, r) = (vertex - narrow, vertex + narrow);
            let sides = [(l, at(l)), best, (r, at(r))];
            if let Some(better) = self::vertex(sides[0], sides[1], sides[2]) {
                best = (better, at(better));
            }
        }
        if sign(best.1) != sign(b.1) {
            found.push([a, best]);
            found.push([best, c]);
        }
    }
    found
}

/// Where the parabola through three points has its extreme, if that lies between the outer two.
fn vertex(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> Option<f64> {
    let (left, right) = ((b.1 - a.1) / (b.0 - a.0), (c.1 - b.1) / (c.0 - b.0));
    let bend = (right - left) / (c.0 - a.0);
    let at = f64::midpoint(a.0, b.0) - left / (2.0 * bend);
    (at > a.0 && at < c.0).then_some(at)
}
