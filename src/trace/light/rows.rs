//! What vanes and clips take: strips of the pupil, row by row.

use super::super::ray::Ray;
use super::super::strips::Strip;
use super::ledger::Ledger;
use super::seen::{Edge, Seen};
use super::spokes::square_of;
use crate::numeric::{gauss, roots};

/// Rows in a band, and steps along a piece of a row: both are smooth.
const ROWS: usize = 6;
/// Stretches of a row that are looked at before the crossings in them are sought.
const STRETCHES: usize = 8;
/// Crossings are found to this share of the rim's radius: the step that is then left out is far smaller.
const STEP: f64 = 1e-9;
/// The same for the rare ones that are sought around an extreme.
const PLACE: f64 = 1e-12;
/// Rows that are looked at before the corners between them are sought.
const ROW_LOOKS: usize = 9;
/// Two rows closer than this share of the half width are one.
const SAME_ROW: f64 = 1e-12;
/// What lies between two rows counts as nothing where it is below this share of the clear aperture, and the rows so
/// near, in half widths, that no part hides between them.
const NOTHING: f64 = 1e-16;
const NEAR: f64 = 1e-5;
/// More corners than any strip has.
const MOST_CORNERS: usize = 256;

/// Gives to vanes and clips what they take of the light, and takes it from the account of what lies there otherwise.
pub(super) fn take_over(seen: &Seen<'_>, edges: &[Edge], ledger: &Ledger, sums: &mut [f64]) {
    let strips = seen.prepared.strips();
    for (i, strip) in strips.iter().enumerate() {
        // Strips of one part keep clear of each other.
        let above = strips[..i].iter().filter(|s| s.part != strip.part).copied().collect();
        let mut rows = Rows { seen, edges, strip, above };
        rows.leave_out_distant_strips();
        let own = 1_u32 << seen.prepared.place_of(strip.part);
        for (t, weight, pieces) in rows.to_add() {
            for piece in pieces {
                let light = weight * rows.light_mm(t, &piece);
                ledger.enter(piece.by, -light, sums);
                ledger.enter(piece.by | own, light, sums);
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

/// A piece of a row, inside the mirror's rim, over which the same parts stand in the light.
#[derive(Clone, Copy, Debug)]
struct Piece {
    from_mm: f64,
    to_mm: f64,
    /// Parts that stop the light there, the strip itself left aside.
    by: u32,
    /// What ends the piece.
    end: usize,
}

/// Places along a row at which everything is looked at first.
struct Looks {
    places_mm: [f64; STRETCHES + 1],
    rays: [Option<Ray>; STRETCHES + 1],
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

    /// A function that changes its sign where a ray passes what bounds the pieces: the edges, then the bounds of the
    /// strips above. Along a straight row it is nearly a parabola for the edges, nearly a line for the strips.
    fn off(&self, which: usize, ray: &Ray) -> f64 {
        let beam = &self.seen.beam;
        let Some(mut bound) = which.checked_sub(self.edges.len()) else {
            let edge = &self.edges[which];
            return square_of(edge.excess_mm(ray, beam), edge.radius_mm);
        };
        for strip in &self.above {
            if bound < strip.bounds() {
                return strip.inside_mm(bound, ray, beam);
            }
            bound -= strip.bounds();
        }
        f64::INFINITY
    }

    fn looks(&self, t_mm: f64) -> Option<Looks> {
        let start = self.strip.start_mm(t_mm);
        let far = self.strip.far_mm(self.edges[0].radius_mm, self.seen.beam.towards);
        let step = (far - start) / STRETCHES as f64;
        (step > 0.0).then(|| {
            let places_mm = std::array::from_fn(|k| start + step * k as f64);
            Looks { places_mm, rays: places_mm.map(|s| self.ray(s, t_mm)) }
        })
    }

    /// Forgets strips above that lie beyond one of their own bounds as seen from both sides and the middle of this one.
    fn leave_out_distant_strips(&mut self) {
        let w = self.strip.half_width_mm;
        let rows: Vec<Looks> = [-w, 0.0, w].iter().filter_map(|t| self.looks(*t)).collect();
        let beam = &self.seen.beam;
        self.above.retain(|strip| {
            let is_beyond = |bound: usize| {
                let rays = rows.iter().flat_map(|row| row.rays.iter().flatten());
                let (low, high) = rays
                    .map(|ray| strip.inside_mm(bound, ray, beam))
                    .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (v.min(low), v.max(high)));
                // Between two looks a bound bends by less than a stretch of it.
                high < -(high - low) / STRETCHES as f64
            };
            !(0..strip.bounds()).any(is_beyond)
        });
    }

    fn pieces(&self, t_mm: f64) -> Vec<Piece> {
        let Some(looks) = self.looks(t_mm) else { return Vec::new() };
        let row = Row { rows: self, t_mm, looks };
        let Some((start, rim)) = row.inside_the_rim() else { return Vec::new() };
        let bounds = self.edges.len() + self.above.iter().map(Strip::bounds).sum::<usize>();
        let mut ends = Vec::with_capacity(16);
        ends.push((rim, 0));
        for which in 1..bounds {
            row.crossings(which, (start, rim), |s| {
                if s > start && s < rim {
                    ends.push((s, which));
                }
            });
        }
        ends.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let (mut from_mm, mut pieces) = (start, Vec::with_capacity(ends.len()));
        for (to_mm, end) in ends {
            if to_mm > from_mm {
                if let Some(ray) = self.ray(f64::midpoint(from_mm, to_mm), t_mm) {
                    pieces.push(Piece { from_mm, to_mm, by: self.in_the_way(&ray), end });
                }
                from_mm = to_mm;
            }
        }
        pieces
    }

    /// The parts that stop a ray.
    fn in_the_way(&self, ray: &Ray) -> u32 {
        let beam = &self.seen.beam;
        let mut by = 0;
        for edge in &self.edges[1..] {
            let outside = edge.excess_mm(ray, beam) > 0.0;
            by |= u32::from(outside != edge.is_body()) << edge.place;
        }
        for strip in &self.above {
            by |= u32::from(strip.covers(ray, beam)) << self.seen.prepared.place_of(strip.part);
        }
        by
    }

    /// The rows of a sum over the strip: t, weight, pieces.
    fn to_add(&self) -> Vec<(f64, f64, Vec<Piece>)> {
        let w = self.strip.half_width_mm;
        let of_band = |&(low, high): &(f64, f64)| {
            gauss::on_interval(ROWS, low, high).map(|(t, weight)| (t, weight, self.pieces(t)))
        };
        // Most strips have the same pieces all over, and their own rows tell it where no thin strip hides between them.
        if self.above.is_empty() {
            // Where neighbours meet their common edge has a corner on the middle line.
            let halves = [(-w, 0.0), (0.0, w)];
            let rows: Vec<(f64, f64, Vec<Piece>)> = halves.iter().flat_map(of_band).collect();
            let alike = |pieces: &[Piece]| is_alike(pieces, &rows[0].2);
            if rows.iter().all(|row| alike(&row.2)) && [-w, 0.0, w].iter().all(|t| alike(&self.pieces(*t))) {
                return rows;
            }
        }
        self.bands().iter().flat_map(of_band).collect()
    }

    /// Stretches across the strip between which rows have the same pieces: pairs of t.
    fn bands(&self) -> Vec<(f64, f64)> {
        let w = self.strip.half_width_mm;
        let mut ends = vec![-w, 0.0, w];
        let look = |i: usize| w * (2.0 * (i as f64 + 0.5) / ROW_LOOKS as f64 - 1.0) * 0.999;
        let mut looks: Vec<f64> = (0..ROW_LOOKS).map(look).chain([w]).chain(self.beside_strips()).collect();
        looks.sort_by(f64::total_cmp);
        let mut before = (-w, self.pieces(-w));
        for t in looks {
            let here = (t, self.pieces(t));
            self.halve(&before, &here, &mut ends);
            before = here;
        }
        ends.sort_by(f64::total_cmp);
        ends.windows(2).map(|pair| (pair[0], pair[1])).filter(|(a, b)| b - a > 4.0 * SAME_ROW * w).collect()
    }

    /// Rows between the sides of the strips above, which may be thinner than the space between even looks: where three
    /// columns of the strip cross these sides, and the middles between.
    fn beside_strips(&self) -> Vec<f64> {
        let w = self.strip.half_width_mm;
        let Some(looks) = self.looks(0.0) else { return Vec::new() };
        let mut sides = vec![-w, w];
        for s in [0, STRETCHES / 2, STRETCHES].map(|k| looks.places_mm[k]) {
            let Some((low, high)) = self.ray(s, -w).zip(self.ray(s, w)) else { continue };
            for strip in &self.above {
                // Across the strip a side is nearly a straight line.
                for side in [0, 1] {
                    let [a, b] = [&low, &high].map(|ray| strip.inside_mm(side, ray, &self.seen.beam));
                    if (a > 0.0) != (b > 0.0) {
                        sides.push(w * (2.0 * a / (a - b) - 1.0));
                    }
                }
            }
        }
        sides.sort_by(f64::total_cmp);
        let middles: Vec<f64> = sides.windows(2).map(|pair| f64::midpoint(pair[0], pair[1])).collect();
        sides.extend(middles);
        sides
    }

    /// Halves the space between two rows until each change of their pieces stands alone, or is no matter any more.
    fn halve(&self, a: &(f64, Vec<Piece>), b: &(f64, Vec<Piece>), found: &mut Vec<f64>) {
        if is_alike(&a.1, &b.1) || found.len() > MOST_CORNERS {
            return;
        }
        let (middle, width, w) = (f64::midpoint(a.0, b.0), b.0 - a.0, self.strip.half_width_mm);
        let nothing_mm2 = NOTHING * self.edges[0].radius_mm.powi(2);
        let is_no_matter = width < NEAR * w && width * apart_mm(&a.1, &b.1) < nothing_mm2;
        if width < SAME_ROW * w || is_no_matter {
            found.push(middle);
            return;
        }
        let at_middle = (middle, self.pieces(middle));
        self.halve(a, &at_middle, found);
        self.halve(&at_middle, b, found);
    }

    /// Light on a piece, for a unit of width.
    fn light_mm(&self, t_mm: f64, piece: &Piece) -> f64 {
        let (prepared, beam) = (self.seen.prepared, &self.seen.beam);
        let flux = |s: f64| self.strip.flux(prepared, beam, (s, t_mm), self.strip.place(s, t_mm));
        if self.strip.flux_is_even(beam) {
            return (piece.to_mm - piece.from_mm) * flux(piece.from_mm);
        }
        gauss::on_interval(ROWS, piece.from_mm, piece.to_mm).map(|(s, weight)| weight * flux(s)).sum()
    }
}

/// Whether two rows have the same pieces, whatever their lengths.
fn is_alike(a: &[Piece], b: &[Piece]) -> bool {
    let kind = |piece: &Piece| (piece.by, piece.end);
    a.iter().map(kind).eq(b.iter().map(kind))
}

/// How far the account of one row differs from that of another: the sum of all differences of length by the parts
/// that stand in the light.
fn apart_mm(a: &[Piece], b: &[Piece]) -> f64 {
    let lengths = |pieces: &[Piece], by: u32| -> f64 {
        pieces.iter().filter(|p| p.by == by).map(|p| p.to_mm - p.from_mm).sum()
    };
    a.iter().chain(b).map(|piece| (lengths(a, piece.by) - lengths(b, piece.by)).abs()).sum()
}

/// One row with its looks.
struct Row<'a> {
    rows: &'a Rows<'a>,
    t_mm: f64,
    looks: Looks,
}

impl Row<'_> {
    fn off(&self, which: usize, s_mm: f64) -> f64 {
        self.rows.ray(s_mm, self.t_mm).map_or(f64::INFINITY, |ray| self.rows.off(which, &ray))
    }

    /// From where to where the row lies inside the rim; none where it does not. The rim is convex.
    fn inside_the_rim(&self) -> Option<(f64, f64)> {
        let (first, last) = (self.looks.places_mm[0], self.looks.places_mm[STRETCHES]);
        let is_inside = |ray: &Option<Ray>| ray.as_ref().is_some_and(|ray| self.rows.off(0, ray) < 0.0);
        let mut inside = (f64::INFINITY, f64::NEG_INFINITY);
        let mut extend = |s: f64| inside = (inside.0.min(s), inside.1.max(s));
        self.crossings(0, (first, last), &mut extend);
        for (k, s) in [(0, first), (STRETCHES, last)] {
            if is_inside(&self.looks.rays[k]) {
                extend(s);
            }
        }
        (inside.1 > inside.0).then_some(inside)
    }

    /// Notes where the row crosses a bound, at least all such places in a range; a dip over zero between two looks is
    /// found by the parabola through three.
    fn crossings(&self, which: usize, (first, last): (f64, f64), mut note: impl FnMut(f64)) {
        let places = &self.looks.places_mm;
        let values: [f64; STRETCHES + 1] = std::array::from_fn(|k| {
            self.looks.rays[k].as_ref().map_or(f64::INFINITY, |ray| self.rows.off(which, ray))
        });
        for k in 1..=STRETCHES {
            let reaches = places[k] >= first && places[k - 1] <= last;
            if reaches && (values[k - 1] > 0.0) != (values[k] > 0.0) {
                note(self.between(which, &values, k));
            }
        }
        for k in 1..STRETCHES {
            let (before, here, after) = (values[k - 1], values[k], values[k + 1]);
            let one_sign = (before > 0.0) == (here > 0.0) && (after > 0.0) == (here > 0.0);
            let (second, slope) = (before - 2.0 * here + after, 0.5 * (after - before));
            let nearest = here.abs() <= before.abs() && here.abs() <= after.abs();
            let reach = 0.5 * slope * slope / second.abs() + 0.5 * second.abs();
            let reaches = places[k + 1] >= first && places[k - 1] <= last;
            if reaches && one_sign && nearest && here.abs() <= reach {
                let accuracy = (PLACE * self.rows.edges[0].radius_mm).max(1e-9);
                let (sign, f) = (here.signum(), |s: f64| self.off(which, s));
                let (place, value) = roots::maximum(|s| -sign * f(s), places[k - 1], places[k + 1], accuracy);
                if value > 0.0 {
                    for (a, b) in [(places[k - 1], place), (place, places[k + 1])] {
                        roots::bracketed(f, a, b, PLACE * self.rows.edges[0].radius_mm).map(&mut note);
                    }
                }
            }
        }
    }

    /// Where a bound is crossed in the stretch that ends with a look.
    fn between(&self, which: usize, values: &[f64; STRETCHES + 1], k: usize) -> f64 {
        // Where the function falls along the row, it rises the other way.
        let sign = if values[k] > 0.0 { 1.0 } else { -1.0 };
        let known = |k: usize| (sign * self.looks.places_mm[k], values[k]);
        // The parabola goes through a third look, on the side on which there is one.
        let third = if k >= 2 { k - 2 } else { k + 1 };
        let (low, high) = if sign > 0.0 { (k - 1, k) } else { (k, k - 1) };
        let bracket = (known(low).0, known(high).0);
        let enough = STEP * self.rows.edges[0].radius_mm;
        sign * roots::rising(
            |s| self.off(which, sign * s),
            [known(third), known(low), known(high)],
            bracket,
            enough,
        )
    }
}
