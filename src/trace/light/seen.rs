//! The mirror as the star sees it: plane coordinates in which equal areas hold equal light.

use super::super::mirror::length;
use super::super::prepared::Prepared;
use super::super::ray::{Ray, StarBeam};
use super::super::stops::Stop;

/// One star's light, told by where it passes a plane through the vertex square to it.
///
/// Of a lamp at distance d, a ray that leaves the line to the vertex by the angle g has its place at 2 d sin(g/2) from
/// the vertex: Lambert's equal-area picture of the directions, which is the plane itself when the lamp is far. In both
/// an area of 1 mm^2 holds the light of 1 mm^2 of the beam's cross-section at the vertex. So the light of a region is
/// its area, whatever the figure of the glass.
pub(super) struct Seen<'a> {
    pub(super) prepared: &'a Prepared,
    pub(super) beam: StarBeam,
    /// Two unit vectors square to the direction of the star; the first has no part along y.
    across: [[f64; 3]; 2],
    /// One over the lamp's distance; 0 for a star of the sky.
    per_distance: f64,
    /// Radii on the mirror at which the figure has a break.
    pub(super) breaks_mm: Vec<f64>,
}

impl<'a> Seen<'a> {
    pub(super) fn new(prepared: &'a Prepared, beam: StarBeam) -> Self {
        let [tx, ty, tz] = beam.towards;
        let norm = length(tx, tz);
        let first = [tz / norm, 0.0, -tx / norm];
        let second = [ty * first[2], tz * first[0] - tx * first[2], -ty * first[0]];
        let per_distance = beam.distance_mm().map_or(0.0, f64::recip);
        let breaks_mm = prepared.mirror().breaks().iter().map(|b| b.radius_mm).collect();
        Self { prepared, beam, across: [first, second], per_distance, breaks_mm }
    }

    /// The ray that passes a place of the plane; none where it misses the mirror's surface.
    #[inline]
    pub(super) fn ray(&self, [u, v]: [f64; 2]) -> Option<Ray> {
        let (towards, k, square) = (self.beam.towards, self.per_distance, u * u + v * v);
        let shorter = (1.0 - 0.25 * k * k * square).sqrt();
        let side = [0, 1, 2].map(|i| shorter * (u * self.across[0][i] + v * self.across[1][i]));
        let origin = [0, 1, 2].map(|i| side[i] + 0.5 * k * square * towards[i]);
        let direction = [0, 1, 2].map(|i| (1.0 - 0.5 * k * k * square) * towards[i] - k * side[i]);
        self.prepared.mirror().met_by(origin, direction).map(|point| self.beam.reflect(&point))
    }

    /// The circle of a radius on the mirror, seen in the plane: x and y on the mirror for each unit of u and v, and in
    /// their origin. Only where the rim lies level and the light is parallel; else none.
    pub(super) fn level_circle(&self, radius_mm: f64) -> Option<LevelCircle> {
        if self.per_distance != 0.0 || self.prepared.detail().is_some() {
            return None;
        }
        let (height, [a, b]) = (self.prepared.mirror().height_and_slope(radius_mm).0, self.across);
        // u = a0 x + a2 h, v = b0 x + b1 y + b2 h.
        let x = [1.0 / a[0], 0.0, -a[2] * height / a[0]];
        let y = [-b[0] * x[0] / b[1], 1.0 / b[1], -(b[0] * x[2] + b[2] * height) / b[1]];
        Some(LevelCircle { x, y, radius_mm })
    }

    /// The place of the light that passes a point of space.
    pub(super) fn place_of(&self, point: [f64; 3]) -> [f64; 2] {
        let dot = |a: [f64; 3]| a[0] * point[0] + a[1] * point[1] + a[2] * point[2];
        let [u, v] = self.across.map(dot);
        if self.per_distance == 0.0 {
            return [u, v];
        }
        // From the lamp: w = point - d T, of which u and v are the sideways parts.
        let from_lamp = self.per_distance.recip() - dot(self.beam.towards);
        let whole = (u * u + v * v + from_lamp * from_lamp).sqrt();
        let scale = (2.0 / (1.0 + from_lamp / whole)).sqrt() / (self.per_distance * whole);
        [u * scale, v * scale]
    }
}

/// A level circle above the mirror, in the star's plane.
#[derive(Clone, Copy, Debug)]
pub(super) struct LevelCircle {
    x: [f64; 3],
    y: [f64; 3],
    radius_mm: f64,
}

impl LevelCircle {
    /// How far along a direction from a place inside the circle is met.
    pub(super) fn distance(&self, [u, v]: [f64; 2], [du, dv]: [f64; 2]) -> f64 {
        let at = |w: &[f64; 3]| w[0] * u + w[1] * v + w[2];
        let along = |w: &[f64; 3]| w[0] * du + w[1] * dv;
        let (x, y, dx, dy) = (at(&self.x), at(&self.y), along(&self.x), along(&self.y));
        let (a, b) = (dx * dx + dy * dy, x * dx + y * dy);
        let c = x * x + y * y - self.radius_mm * self.radius_mm;
        let root = (b * b - a * c.min(0.0)).sqrt();
        // Of the two forms the one that subtracts nothing.
        if b > 0.0 { -c / (b + root) } else { (root - b) / a }
    }
}

/// The edge of a convex region of the plane: the mirror's rim, the free side of an opening, or a body.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    /// None: the rim of the clear aperture.
    pub(super) stop: Option<Stop>,
    /// Radius of its own circle, mm.
    pub(super) radius_mm: f64,
    /// Place of the part in the order of all parts.
    pub(super) place: usize,
}

impl Edge {
    pub(super) fn rim(radius_mm: f64) -> Self {
        Self { stop: None, radius_mm, place: usize::MAX }
    }

    /// How far outside of the region a ray passes, mm in the part's own plane.
    #[inline]
    pub(super) fn excess_mm(&self, ray: &Ray, beam: &StarBeam) -> f64 {
        match &self.stop {
            None => length(ray.hit_mm[0], ray.hit_mm[1]) - self.radius_mm,
            Some(stop) if stop.is_shadow() => -stop.excess_mm(ray, beam),
            Some(stop) => stop.excess_mm(ray, beam),
        }
    }

    /// Whether it has sides, so that it may have corners.
    pub(super) fn has_sides(&self) -> bool {
        self.stop.is_some_and(|stop| stop.has_sides())
    }

    /// Which of its sides is the nearest to stopping a ray.
    pub(super) fn side(&self, ray: &Ray, beam: &StarBeam) -> usize {
        self.stop.map_or(0, |stop| stop.side(ray, beam))
    }

    pub(super) fn is_body(&self) -> bool {
        self.stop.is_some_and(|stop| stop.is_shadow())
    }
}
