//! A train as the loops see it, what they cannot hold, and bounds that spare them tests.

use std::sync::Arc;

use super::table::Table;

/// Nearer to the axis than this, mm, a shift along the radius is no small part of it.
pub(super) const NEAR_AXIS_MM: f64 = 0.01;
/// So far behind its end the table is followed, relative to the radius; rays behind that miss the mirror.
pub(super) const BEHIND_END: f64 = 1e-6;
/// Directions are unit vectors to this: single precision is good to 1e-7.
pub(super) const UNIT: f64 = 2e-6;
/// Starts lie nearer than this, mm.
pub(super) const FAR_MM: f64 = 1e9;

/// The edge of a round part: a circle in the plane z = `height_mm` + `tilt` x as seen along the axis, its centre at
/// x = -`offset_mm`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub(super) height_mm: f64,
    pub(super) tilt: f64,
    pub(super) offset_mm: f64,
    /// The square of the radius at which light ends, grazing rays counted as passing.
    pub(super) limit_mm2: f64,
    /// Whether light passes inside of it.
    pub(super) opening: bool,
}

/// A train as the loops see it.
#[derive(Clone, Debug)]
pub(super) struct Optics {
    pub(super) curvature_per_mm: f64,
    /// 1 + conic constant.
    pub(super) shape: f64,
    /// The square of the radius of the mirror that gathers light.
    pub(super) limit_mm2: f64,
    pub(super) down: Vec<Edge>,
    pub(super) up: Vec<Edge>,
    pub(super) figure: Option<Arc<Table>>,
}

/// What a loop says of its rays, all together.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    /// Whether all are rays, and are placed.
    pub(super) sure: bool,
    /// The largest square of a direction's part across the axis.
    pub(super) aslant: f64,
    /// The least and the largest squared radius where the conic is met, mm^2.
    pub(super) nearest_mm2: f64,
    pub(super) farthest_mm2: f64,
}

impl Edge {
    /// How far its middle lies from the axis.
    fn beside_mm(&self) -> f64 {
        self.offset_mm.abs()
    }
}

impl Optics {
    /// Whether an edge lies out of the way of all rays of a block on their way down: a bound, not a test.
    ///
    /// A ray that hits the mirror at a radius r is at a height z within z tan(slant) of that radius.
    pub(super) fn is_clear_down(&self, edge: &Edge, found: &Found) -> bool {
        let aslant = (found.aslant / (1.0 - found.aslant).max(1e-9)).sqrt();
        let limit_mm = edge.limit_mm2.sqrt();
        let sag_mm = self.highest_mm(found);
        if edge.opening {
            let radius_mm = found.farthest_mm2.sqrt() + (edge.height_mm.abs() + sag_mm) * aslant;
            edge.tilt == 0.0 && radius_mm + edge.beside_mm() < limit_mm
        } else {
            // Were a ray within the shadow, it would be at this height at most.
            let within_mm = limit_mm + edge.beside_mm();
            let height_mm = edge.height_mm.abs() + edge.tilt.abs() * within_mm + sag_mm;
            found.nearest_mm2.sqrt() > within_mm + height_mm * aslant + 1e-3
        }
    }

    /// The mirror's height is below this where a block meets it: c r^2/(1 + root), figure added.
    fn highest_mm(&self, found: &Found) -> f64 {
        let share = if self.shape > 0.0 { 1.0 } else { 0.5 };
        share * self.curvature_per_mm.abs() * found.farthest_mm2 + 0.1
    }

    /// The same on their way up, for rays that land within `reach_mm` of the axis: between the mirror and the plane the
    /// radius of a straight line is nowhere above the line between its radii at both ends.
    pub(super) fn is_clear_up(&self, edge: &Edge, found: &Found, reach_mm: f64, plane_mm: f64) -> bool {
        let sag_mm = self.highest_mm(found);
        // A ray is moved sideways by less than this from the conic to the glass.
        let from_mm = 1.002 * found.farthest_mm2.sqrt() + 0.01;
        let narrows = (from_mm - reach_mm) / (plane_mm - sag_mm);
        let tilt = edge.tilt.abs();
        let radius_mm = (from_mm - narrows * (edge.height_mm - sag_mm)) / (1.0 - narrows * tilt);
        let below_plane = edge.height_mm + tilt * radius_mm < plane_mm;
        let above_mirror = edge.height_mm - tilt * radius_mm > sag_mm;
        edge.opening
            && narrows > 0.0
            && narrows * tilt < 0.5
            && below_plane
            && above_mirror
            && radius_mm + edge.beside_mm() < edge.limit_mm2.sqrt()
    }
}

impl Optics {
    /// Whether a ray is one that the loops cannot place.
    pub(super) fn is_doubtful(&self, origin_mm: [f64; 3], direction: [f64; 3]) -> bool {
        let ([x, y, z], [dx, dy, dz]) = (origin_mm, direction);
        let (c, k) = (self.curvature_per_mm, self.shape);
        let sideways = dx * dx + dy * dy;
        let is_unit = (sideways + dz * dz - 1.0).abs() <= UNIT;
        let (a, b) = (c * (sideways + k * dz * dz), c * (x * dx + y * dy + k * z * dz) - dz);
        let q = c * (x * x + y * y + k * z * z) - 2.0 * z;
        let t = -q / (b + (b * b - a * q).sqrt());
        // What is no number is within no bounds.
        let is_ray = is_unit && dz < 0.0 && b > 0.0 && t.abs() <= FAR_MM;
        let Some(table) = &self.figure else { return !is_ray };
        let (x, y, z) = (x + t * dx, y + t * dy, z + t * dz);
        let r = x.hypot(y);
        if r > table.end_mm() * (1.0 + BEHIND_END) {
            return !is_ray;
        }
        let (h, s) = table.height_and_slope(r);
        let closing = dz - (c / (1.0 - k * c * z) + s / r) * (x * dx + y * dy);
        let by = h / closing;
        let is_safe = sideways * by * by <= table.safe_shift_mm() * table.safe_shift_mm();
        !(is_ray && is_safe && r >= NEAR_AXIS_MM)
    }
}
