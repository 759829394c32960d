//! Convex regions of the light as radii about a point inside all of them.

use std::f64::consts::{PI, TAU};

use super::super::ray::Ray;
use super::corners;
use super::seen::{Edge, LevelCircle, Seen};
use crate::numeric::{kronrod, roots};

/// Most edges that a train can have: ten parts that are no strips, and the rim.
pub(super) const MOST_EDGES: usize = 16;
/// Even angles at which the edges are looked at before their corners are sought between them.
pub(super) const LOOKS: usize = 48;
/// Radii are found to this share of the rim's.
const RADIUS_STEP: f64 = 1e-9;
/// The longest arc between corners that one sum takes.
const LONGEST_ARC: f64 = PI / 2.0;
/// A sum on an arc may differ from its companion by this share of the clear aperture, and how often an arc is halved
/// for it.
const ARC_ACCURACY: f64 = 1e-11;
const HALVINGS: usize = 12;
/// The same with a map of heights on the mirror, whose pixels make the outline rough: an exact one would be no truer.
const MAP_ARC_ACCURACY: f64 = 1e-9;
const MAP_HALVINGS: usize = 2;

/// Polar coordinates in the star's plane, stretched so that the region at hand is about as wide as long.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    pub(super) centre: [f64; 2],
    /// Where the angles 0 and 90 degrees point, with the length that one unit of radius has there.
    pub(super) axes: [[f64; 2]; 2],
}

impl Frame {
    pub(super) const ON_THE_AXIS: Self = Self { centre: [0.0; 2], axes: [[1.0, 0.0], [0.0, 1.0]] };

    pub(super) fn about(centre: [f64; 2]) -> Self {
        Self { centre, ..Self::ON_THE_AXIS }
    }

    fn direction(&self, angle: f64) -> [f64; 2] {
        let (sin, cos) = angle.sin_cos();
        [0, 1].map(|i| cos * self.axes[0][i] + sin * self.axes[1][i])
    }

    fn area(&self) -> f64 {
        (self.axes[0][0] * self.axes[1][1] - self.axes[0][1] * self.axes[1][0]).abs()
    }
}

/// What is met on one radius.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spoke {
    /// For each edge the radius at which it is met; the rim's stands first, and edges beyond the rim have none
    /// (infinite).
    pub(super) radii: [f64; MOST_EDGES],
    /// How far outside of each edge the rim lies there, mm.
    pub(super) excess_at_rim_mm: [f64; MOST_EDGES],
}

/// Edges seen from a point inside all of them.
pub(super) struct Spokes<'a> {
    pub(super) seen: &'a Seen<'a>,
    pub(super) frame: Frame,
    /// The rim first.
    pub(super) edges: Vec<Edge>,
    /// Excess of each edge in the centre, mm.
    pub(super) at_centre_mm: Vec<f64>,
    /// Below this an edge is as good as not met, mm: the mask may be the rim itself.
    pub(super) nothing_mm: f64,
    /// The rim in closed form, where it has one.
    level_rim: Option<LevelCircle>,
}

impl<'a> Spokes<'a> {
    pub(super) fn new(seen: &'a Seen<'a>, frame: Frame, edges: Vec<Edge>) -> Self {
        let nothing_mm = 1e-10 * edges[0].radius_mm;
        let at_centre_mm = match seen.ray(frame.centre) {
            Some(ray) => edges.iter().map(|edge| edge.excess_mm(&ray, &seen.beam)).collect(),
            None => vec![f64::INFINITY; edges.len()],
        };
        let level_rim = seen.level_circle(edges[0].radius_mm);
        Self { seen, frame, edges, at_centre_mm, nothing_mm, level_rim }
    }

    fn place(&self, direction: [f64; 2], radius: f64) -> [f64; 2] {
        [0, 1].map(|i| self.frame.centre[i] + radius * direction[i])
    }

    /// How far outside of an edge the rim lies, mm.
    pub(super) fn rim_excess_mm(&self, edge: usize, angle: f64) -> f64 {
        let direction = self.frame.direction(angle);
        let ray = self.seen.ray(self.place(direction, self.rim(direction)));
        ray.map_or(f64::NEG_INFINITY, |ray| self.edges[edge].excess_mm(&ray, &self.seen.beam))
    }

    /// Where the light at a radius meets the mirror.
    pub(super) fn hit_mm(&self, angle: f64, radius: f64) -> Option<[f64; 3]> {
        self.seen.ray(self.place(self.frame.direction(angle), radius)).map(|ray| ray.hit_mm)
    }

    /// Which of its sides an edge has at a radius.
    pub(super) fn side(&self, edge: usize, angle: f64, radius: f64) -> usize {
        let ray = self.seen.ray(self.place(self.frame.direction(angle), radius));
        ray.map_or(0, |ray| self.edges[edge].side(&ray, &self.seen.beam))
    }

    /// The rim's radius.
    fn rim(&self, direction: [f64; 2]) -> f64 {
        if let Some(circle) = &self.level_rim {
            return circle.distance(self.frame.centre, direction);
        }
        let ([cx, cy], [dx, dy], r) = (self.frame.centre, direction, self.edges[0].radius_mm);
        let (a, b, c) = (dx * dx + dy * dy, cx * dx + cy * dy, cx * cx + cy * cy - r * r);
        // The mirror's rim is this circle but for the tilt of the plane; near the rim that counts.
        let slack = 0.2 * r / a.sqrt();
        let guess = ((-b + (b * b - a * c.min(0.0)).sqrt()) / a).max(0.1 * slack);
        let square = |radius: f64| {
            let ray = self.seen.ray(self.place(direction, radius));
            ray.map_or(f64::INFINITY, |ray| ray.hit_mm[0].powi(2) + ray.hit_mm[1].powi(2) - r * r)
        };
        let centre = square_of(self.at_centre_mm[0], r);
        let known = [(0.0, centre), (0.5 * guess, square(0.5 * guess)), (guess, square(guess))];
        roots::rising(square, known, (0.0, guess + slack), RADIUS_STEP * (guess + slack))
    }

    pub(super) fn spoke(&self, angle: f64) -> Spoke {
        let direction = self.frame.direction(angle);
        let rim = self.rim(direction);
        let mut spoke =
            Spoke { radii: [f64::INFINITY; MOST_EDGES], excess_at_rim_mm: [f64::NEG_INFINITY; MOST_EDGES] };
        (spoke.radii[0], spoke.excess_at_rim_mm[0]) = (rim, 0.0);
        let Some(at_rim) = self.seen.ray(self.place(direction, rim)) else { return spoke };
        let mut half = None;
        for (i, edge) in self.edges.iter().enumerate().skip(1) {
            let excess = edge.excess_mm(&at_rim, &self.seen.beam);
            spoke.excess_at_rim_mm[i] = excess;
            if excess > self.nothing_mm && self.at_centre_mm[i] < 0.0 {
                let half = *half.get_or_insert_with(|| self.seen.ray(self.place(direction, 0.5 * rim)));
                spoke.radii[i] = self.radius(i, direction, half, (rim, excess));
            }
        }
        spoke
    }

    /// The radius of an edge that is met before the rim, from a ray halfway there and the excess at the rim.
    fn radius(&self, edge: usize, direction: [f64; 2], half: Option<Ray>, (rim, excess): (f64, f64)) -> f64 {
        let (centre, edge) = (self.at_centre_mm[edge], &self.edges[edge]);
        let square_at = |ray: Option<Ray>| {
            ray.map_or(f64::INFINITY, |r| square_of(edge.excess_mm(&r, &self.seen.beam), edge.radius_mm))
        };
        let known = [
            (0.0, square_of(centre, edge.radius_mm)),
            (0.5 * rim, square_at(half)),
            (rim, square_of(excess, edge.radius_mm)),
        ];
        let square = |radius: f64| square_at(self.seen.ray(self.place(direction, radius)));
        roots::rising(square, known, (0.0, rim), RADIUS_STEP * rim)
    }

    /// How much further out one edge is met than another, both no further than the rim.
    pub(super) fn apart(&self, angle: f64, edge: usize, other: usize) -> f64 {
        let direction = self.frame.direction(angle);
        let rim = self.rim(direction);
        let Some(at_rim) = self.seen.ray(self.place(direction, rim)) else { return 0.0 };
        let half = self.seen.ray(self.place(direction, 0.5 * rim));
        let met = |i: usize| {
            let excess = self.edges[i].excess_mm(&at_rim, &self.seen.beam);
            let inside = excess > self.nothing_mm && self.at_centre_mm[i] < 0.0;
            if inside { self.radius(i, direction, half, (rim, excess)) } else { rim }
        };
        met(edge) - met(other)
    }

    pub(super) fn looks(&self) -> Vec<(f64, Spoke)> {
        // Half a step off zero: the corners of symmetric trains do not fall on a look.
        let angles = (0..LOOKS).map(|i| (i as f64 + 0.5) * TAU / LOOKS as f64);
        angles.map(|angle| (angle, self.spoke(angle))).collect()
    }

    /// Sums over all angles: `add` is given a spoke, its weight (of r dr, in mm^2), and where to add. The sums, and
    /// three times their difference from coarser ones, mm^2.
    pub(super) fn integrate(
        &self,
        looks: &[(f64, Spoke)],
        sums: usize,
        add: impl Fn(&Spoke, f64, &mut [f64]),
    ) -> (Vec<f64>, f64) {
        let scale = self.frame.area();
        let whole = PI * self.edges[0].radius_mm.powi(2);
        let corners = corners::corners(self, looks);
        let detail = self.seen.prepared.detail();
        if corners.is_empty() && detail.is_none() {
            // Smooth all around: even angles converge faster than any other rule.
            let (mut fine, mut coarse) = (vec![0.0; sums], vec![0.0; sums]);
            let step = scale * TAU / LOOKS as f64;
            for (i, (_, spoke)) in looks.iter().enumerate() {
                add(spoke, step, &mut fine);
                if i % 2 == 0 {
                    add(spoke, 2.0 * step, &mut coarse);
                }
            }
            let difference = largest_difference(&fine, &coarse);
            if difference <= 10.0 * ARC_ACCURACY * whole {
                return (fine, 3.0 * difference);
            }
        }
        let has_map = detail.is_some_and(|d| d.pixel_mm.is_some());
        let (accuracy, halvings) =
            if has_map { (MAP_ARC_ACCURACY, MAP_HALVINGS) } else { (ARC_ACCURACY, HALVINGS) };
        // Four angles a period of the finest term, one for four pixels.
        let around = detail.map_or(0.0, |d| {
            4.0 * f64::from(d.azimuthal_order) + d.pixels_around(self.edges[0].radius_mm) / 4.0
        });
        let longest = LONGEST_ARC.min(TAU * 15.0 / (64.0 + around) * 2.0);
        let mut total = Total { sums: vec![0.0; sums], difference: 0.0 };
        for arc in super::super::limits::arcs(&corners, longest) {
            self.on_arc(arc, (accuracy * whole, halvings), scale, &add, &mut total);
        }
        (total.sums, 3.0 * total.difference)
    }

    fn on_arc(
        &self,
        (from, to): (f64, f64),
        (accuracy, halvings): (f64, usize),
        scale: f64,
        add: &impl Fn(&Spoke, f64, &mut [f64]),
        total: &mut Total,
    ) {
        let (middle, half) = (f64::midpoint(from, to), 0.5 * (to - from));
        let (mut fine, mut coarse) = (vec![0.0; total.sums.len()], vec![0.0; total.sums.len()]);
        for (x, weight, companion) in kronrod::PAIR {
            let spoke = self.spoke(middle + half * x);
            add(&spoke, scale * half * weight, &mut fine);
            if companion > 0.0 {
                add(&spoke, scale * half * companion, &mut coarse);
            }
        }
        let difference = largest_difference(&fine, &coarse);
        if difference > accuracy && halvings > 0 {
            for part in [(from, middle), (middle, to)] {
                self.on_arc(part, (accuracy, halvings - 1), scale, add, total);
            }
            return;
        }
        total.difference += difference;
        total.sums.iter_mut().zip(fine).for_each(|(sum, piece)| *sum += piece);
    }

    /// The area of the intersection of all edges, and its error, mm^2.
    pub(super) fn area_mm2(&self) -> (f64, f64) {
        let count = self.edges.len();
        let (sums, error) = self.integrate(&self.looks(), 1, |spoke, weight, sum| {
            let radius = spoke.radii[..count].iter().copied().fold(f64::INFINITY, f64::min);
            sum[0] += 0.5 * weight * radius * radius;
        });
        (sums[0], error)
    }
}

struct Total {
    sums: Vec<f64>,
    difference: f64,
}

fn largest_difference(fine: &[f64], coarse: &[f64]) -> f64 {
    fine.iter().zip(coarse).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// The square of the distance less that of the radius: along a straight line nearly a parabola, where the light goes
/// to a point.
#[inline]
pub(super) fn square_of(excess: f64, radius: f64) -> f64 {
    excess * (excess + 2.0 * radius)
}
