//! What vanes and clips take: strips of the pupil, row by row.

use super::super::ray::Ray;
use super::super::strips::Strip;
use super::ledger::Ledger;
use super::seen::{Edge, Seen};
use crate::numeric::{gauss, roots};

/// Rows in a band, and steps along a piece of a row: both are smooth.
const ROWS: usize = 6;
/// Stretches of a row that are looked at before the crossings in them are sought.
const STRETCHES: usize = 8;
/// Crossings are found to this share of the rim's radius.
const PLACE: f64 = 1e-12;

/// Gives to vanes and clips what they take of the light, and takes it from the account of what lies there otherwise.
pub(super) fn take_over(seen: &Seen<'_>, edges: &[Edge], ledger: &Ledger, sums: &mut [f64]) {
    let strips = seen.prepared.strips();
    for (i, strip) in strips.iter().enumerate() {
        // Strips of one part keep clear of each other.
        let above = strips[..i].iter().filter(|s| s.part != strip.part).copied().collect();
        let rows = Rows { seen, edges, strip, above };
        let own = 1_u32 << seen.prepared.place_of(strip.part);
        for (low, high) in strip.bands(|t| rows.signature(t)) {
            for (t, weight) in gauss::on_interval(ROWS, low, high) {
                for piece in rows.pieces(t).iter().filter(|piece| piece.lit_by_rim) {
                    let light = weight * rows.light_mm(t, piece);
                    ledger.enter(piece.by, -light, sums);
                    ledger.enter(piece.by | own, light, sums);
                }
            }
        }
    }
}

struct Rows<'a> {
    seen: &'a Seen<'a>,
    /// The rim first.
    edges: &'a [Edge],
    strip: &'a Strip,
    /// Strips that the light meets first.
    above: Vec<Strip>,
}

/// A piece of a row over which the same parts stand in the light.
#[derive(Clone, Copy, Debug)]
struct Piece {
    from_mm: f64,
    to_mm: f64,
    /// It lies inside the mirror's rim.
    lit_by_rim: bool,
    /// Parts that stop the light there, the strip itself left aside.
    by: u32,
    /// What ends the piece.
    end: usize,
}

impl Rows<'_> {
    /// The ray that passes a place of the strip.
    fn ray(&self, s_mm: f64, t_mm: f64) -> Option<Ray> {
        let [x, y] = self.strip.place(s_mm, t_mm);
        match self.strip.height_mm() {
            Some(height) => self.seen.ray(self.seen.place_of([x, y, height])),
            None => Some(self.seen.beam.ray(self.seen.prepared.mirror(), x, y)),
        }
    }

    /// How far a ray is from what bounds the pieces, mm: the edges, then the bounds of the strips above.
    fn off_mm(&self, which: usize, ray: &Ray) -> f64 {
        let beam = &self.seen.beam;
        let Some(mut bound) = which.checked_sub(self.edges.len()) else {
            return self.edges[which].excess_mm(ray, beam);
        };
        for strip in &self.above {
            if bound < strip.bounds() {
                return strip.inside_mm(bound, ray, beam);
            }
            bound -= strip.bounds();
        }
        f64::INFINITY
    }

    fn pieces(&self, t_mm: f64) -> Vec<Piece> {
        let rim_mm = self.edges[0].radius_mm;
        let start = self.strip.start_mm(t_mm);
        let step = (self.strip.far_mm(rim_mm, self.seen.beam.towards) - start) / STRETCHES as f64;
        if step <= 0.0 {
            return Vec::new();
        }
        let looks: Vec<f64> = (0..=STRETCHES).map(|k| start + step * k as f64).collect();
        let rays: Vec<Option<Ray>> = looks.iter().map(|&s| self.ray(s, t_mm)).collect();
        let bounds = self.edges.len() + self.above.iter().map(Strip::bounds).sum::<usize>();
        let mut ends = vec![(looks[STRETCHES], usize::MAX)];
        for which in 0..bounds {
            let values: Vec<f64> = rays
                .iter()
                .map(|ray| ray.as_ref().map_or(f64::INFINITY, |ray| self.off_mm(which, ray)))
                .collect();
            let off = |s: f64| self.ray(s, t_mm).map_or(f64::INFINITY, |ray| self.off_mm(which, &ray));
            crossings(&off, &looks, &values, PLACE * rim_mm, |s| ends.push((s, which)));
        }
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (mut from_mm, mut pieces) = (start, Vec::new());
        for (to_mm, end) in ends {
            if to_mm > from_mm {
                if let Some(ray) = self.ray(f64::midpoint(from_mm, to_mm), t_mm) {
                    let (lit_by_rim, by) = self.in_the_way(&ray);
                    pieces.push(Piece { from_mm, to_mm, lit_by_rim, by, end });
                }
                from_mm = to_mm;
            }
        }
        pieces
    }

    /// Whether a ray lies inside the rim, and the parts that stop it.
    fn in_the_way(&self, ray: &Ray) -> (bool, u32) {
        let beam = &self.seen.beam;
        let mut by = 0;
        for edge in &self.edges[1..] {
            let outside = edge.excess_mm(ray, beam) > 0.0;
            by |= u32::from(outside != edge.is_body()) << edge.place;
        }
        for strip in &self.above {
            by |= u32::from(strip.covers(ray, beam)) << self.seen.prepared.place_of(strip.part);
        }
        (self.edges[0].excess_mm(ray, beam) < 0.0, by)
    }

    /// What tells neighbouring rows apart.
    fn signature(&self, t_mm: f64) -> Vec<(bool, u32, usize)> {
        self.pieces(t_mm).iter().map(|piece| (piece.lit_by_rim, piece.by, piece.end)).collect()
    }

    /// Light on a piece, for a unit of width.
    fn light_mm(&self, t_mm: f64, piece: &Piece) -> f64 {
        let (prepared, beam) = (self.seen.prepared, &self.seen.beam);
        let steps = gauss::on_interval(ROWS, piece.from_mm, piece.to_mm);
        let light = steps.map(|(s, weight)| {
            weight * self.strip.flux(prepared, beam, (s, t_mm), self.strip.place(s, t_mm))
        });
        light.sum()
    }
}

/// Where a function changes its sign, told from its values at some looks; a dip over zero between two looks is found by
/// the parabola through three.
fn crossings(
    f: &impl Fn(f64) -> f64,
    looks: &[f64],
    values: &[f64],
    accuracy: f64,
    mut note: impl FnMut(f64),
) {
    let mut between = |a: f64, b: f64| {
        if let Some(place) = roots::bracketed(f, a, b, accuracy) {
            note(place);
        }
    };
    for k in 1..looks.len() {
        if (values[k - 1] > 0.0) != (values[k] > 0.0) {
            between(looks[k - 1], looks[k]);
        }
    }
    for k in 1..looks.len() - 1 {
        let (before, here, after) = (values[k - 1], values[k], values[k + 1]);
        let one_sign = (before > 0.0) == (here > 0.0) && (after > 0.0) == (here > 0.0);
        let (second, slope) = (before - 2.0 * here + after, 0.5 * (after - before));
        let nearest = here.abs() <= before.abs() && here.abs() <= after.abs();
        let reach = 0.5 * slope * slope / second.abs() + 0.5 * second.abs();
        if one_sign && nearest && here.abs() <= reach {
            let sign = here.signum();
            let (place, value) =
                roots::maximum(|s| -sign * f(s), looks[k - 1], looks[k + 1], accuracy.max(1e-9));
            if value > 0.0 {
                between(looks[k - 1], place);
                between(place, looks[k + 1]);
            }
        }
    }
}
