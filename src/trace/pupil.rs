//! Quadrature over the lit pupil: one ring of nodes, and thin crescents with negative weight where
//! something cuts the rim.
//!
//! The ring reaches from the diagonal's shadow to the rim, split at every radius where the figure or
//! the coating changes its character. Its angles are even, which converges fast on a smooth ring. What
//! an opening, an undersized diagonal, the drawtube or a wide holder cut off is subtracted in its own panels, and so is what
//! vanes and clips take, row by row: no rule ever crosses a corner. A patch of the coating has nodes of its own, which replace
//! what the ring has there. Where a stop hides the mirror's centre this picture fails, and even
//! samples are kept or dropped one by one.

use std::f64::consts::{PI, TAU};

use super::figure::Break;
use super::limits::{Outline, arcs, on_arc};
use super::mirror::SurfacePoint;
use super::patches;
use super::prepared::Prepared;
use super::ray::StarBeam;
use super::star::Star;
use super::strips::{Limits, Strip, uncovered};
use crate::numeric::{gauss, roots};
use crate::units::Field;

/// How many nodes an integrand needs.
pub(crate) trait Density {
    /// Along a radius, on the panel between two radii in mm.
    fn radial(&self, from_mm: f64, to_mm: f64) -> usize;
    /// On a full turn.
    fn around(&self) -> usize;
    /// Across a panel of a crescent, whose inner edge moves between two radii while the angle grows by `turn`.
    fn along_cut(&self, from_mm: f64, to_mm: f64, turn: f64) -> usize;
    /// Rows across a band of a strip.
    fn across(&self, width_mm: f64) -> usize;
    /// On a piece of a patch of the coating of this length, whose distance from the mirror's centre keeps between two radii:
    /// along a line, and on a full turn of which the length is the radius.
    fn patch(&self, length_mm: f64, radii_mm: (f64, f64)) -> (usize, usize);
}

/// Points of the mirror with weights that make sums into integrals over the lit beam.
///
/// Weights carry the beam's cross-section |d.N| dx dy in mm^2, and are negative on crescents.
#[derive(Clone, Debug, Default)]
pub(crate) struct Nodes {
    /// Where the light meets the mirror, with so many of the patches as the node counts.
    pub(crate) points: Vec<SurfacePoint>,
    pub(crate) weight_mm2: Vec<f64>,
    /// Square root of the reflectance, of the coating that the node counts.
    pub(crate) amplitude: Vec<f64>,
    /// How many of the coating's patches the node counts, in its amplitude and in its height.
    pub(crate) level: Vec<usize>,
    /// The nodes are samples kept or dropped one by one.
    sampled: bool,
}

impl Nodes {
    /// Nodes over the part of the open mirror that the star's light passes.
    pub(crate) fn new(prepared: &Prepared, star: Star, density: &dyn Density) -> Self {
        let outline = Outline::new(prepared, StarBeam::new(star), prepared.open_radius_mm());
        let mut nodes = Self::default();
        if outline.is_star_shaped() {
            let spokes = Spokes { prepared, beam: *outline.beam(), density };
            spokes.ring(&outline, &mut nodes);
            spokes.inner_crescents(&outline, &mut nodes);
            spokes.crescents(&outline, &mut nodes);
            for (i, strip) in prepared.strips().iter().enumerate() {
                // Vanes take their own places only; clips may lie under them.
                let above = prepared.strips()[..i].iter().filter(|s| s.part != strip.part).copied().collect();
                Rows { prepared, outline: &outline, density, strip, above }.take_away(&mut nodes);
            }
            patches::replace(prepared, &outline, density, &mut nodes);
        } else {
            sample(prepared, outline.beam(), &mut nodes);
        }
        nodes
    }

    /// Nodes along one radius, each standing for its whole ring; nothing where the lit pupil or the figure is not the same all
    /// around the axis.
    pub(crate) fn meridian(prepared: &Prepared, star: Star, density: &dyn Density) -> Option<Self> {
        const LOOKS: u32 = 12;
        let has_patches = !prepared.coat().discs().is_empty();
        let is_round = prepared.light_detail().is_none() && prepared.strips().is_empty() && !has_patches;
        if star.field != Field::AXIS || !is_round {
            return None;
        }
        let outline = Outline::new(prepared, StarBeam::new(star), prepared.open_radius_mm());
        if !outline.is_star_shaped() || !outline.cuts().is_empty() {
            return None;
        }
        let inner_mm = outline.ring_radius_mm(0.0);
        // Radii are found to 1e-11 of the rim's.
        let same = |r: f64| (r - inner_mm).abs() <= 3e-11 * outline.rim_mm();
        let angles = (0..LOOKS).map(|k| TAU * f64::from(k) / f64::from(LOOKS));
        if !angles.into_iter().all(|a| same(outline.ring_radius_mm(a)) && same(outline.shadow_radius_mm(a))) {
            return None;
        }
        let mut nodes = Self::default();
        let spokes = Spokes { prepared, beam: *outline.beam(), density };
        spokes.spoke(0.0, (inner_mm, outline.rim_mm()), TAU, &mut nodes);
        Some(nodes)
    }

    /// The same over a full ring with nothing in the way, of unit flux.
    pub(crate) fn meridian_of_annulus(inner: f64, outer: f64, density: &dyn Density) -> Self {
        let mut nodes = Self::default();
        let panel = Panel { from_mm: inner, to_mm: outer, fractional: false };
        for (r, weight) in panel.nodes(density.radial(inner, outer)) {
            nodes.push(SurfacePoint::level([r, 0.0]), TAU * weight, 1.0, 0);
        }
        nodes
    }

    /// Nodes over a full ring with nothing in the way, of unit flux.
    pub(crate) fn annulus(inner: f64, outer: f64, density: &dyn Density) -> Self {
        let mut nodes = Self::default();
        let (count, panel) = (density.around(), Panel { from_mm: inner, to_mm: outer, fractional: false });
        let step = TAU / count as f64;
        for i in 0..count {
            let sin_cos = (step * i as f64).sin_cos();
            for (r, weight) in panel.nodes(density.radial(inner, outer)) {
                let place = [r * sin_cos.1, r * sin_cos.0];
                nodes.push(SurfacePoint::level(place), step * weight, 1.0, 0);
            }
        }
        nodes
    }

    /// Single points, of no weight.
    pub(crate) fn at(points: impl ExactSizeIterator<Item = SurfacePoint>) -> Self {
        let count = points.len();
        Self {
            points: points.collect(),
            weight_mm2: vec![0.0; count],
            amplitude: vec![1.0; count],
            level: vec![usize::MAX; count],
            sampled: false,
        }
    }

    /// Nodes at places and of weights that are known already, as light of another colour meets them.
    pub(crate) fn again(
        prepared: &Prepared,
        places: impl Iterator<Item = [f64; 2]>,
        weight_mm2: &[f64],
        level: &[usize],
    ) -> Self {
        let mut nodes = Self::default();
        for (([x, y], weight), level) in places.zip(weight_mm2).zip(level) {
            let (point, share) = prepared.surface_and_share(*level, x, y);
            nodes.push(point, *weight, share.sqrt(), *level);
        }
        nodes
    }

    pub(crate) fn len(&self) -> usize {
        self.points.len()
    }

    /// Where they lie, mm: along x, and along y.
    pub(crate) fn columns(&self) -> [Vec<f64>; 2] {
        [0, 1].map(|axis| self.points.iter().map(|point| point.position_mm[axis]).collect())
    }

    /// Relative error of sums over kept or dropped samples; none for a quadrature.
    ///
    /// Measured on cut pupils: within 0.3 over the root of the number of samples kept.
    pub(crate) fn sampling_error(&self) -> Option<f64> {
        self.sampled.then(|| 0.3 / (self.len() as f64).sqrt())
    }

    /// A node that counts so many of the coating's patches.
    pub(super) fn push(&mut self, point: SurfacePoint, weight_mm2: f64, amplitude: f64, level: usize) {
        self.points.push(point);
        self.weight_mm2.push(weight_mm2);
        self.amplitude.push(amplitude);
        self.level.push(level);
    }
}

struct Spokes<'a> {
    prepared: &'a Prepared,
    beam: StarBeam,
    density: &'a dyn Density,
}

impl Spokes<'_> {
    fn ring(&self, outline: &Outline<'_>, nodes: &mut Nodes) {
        let count = self.density.around();
        let step = TAU / count as f64;
        for i in 0..count {
            let angle = step * i as f64;
            self.spoke(angle, (outline.ring_radius_mm(angle), outline.rim_mm()), step, nodes);
        }
    }

    /// What a holder that stands out from behind the diagonal takes, and the thickness of the diagonal's glass.
    fn inner_crescents(&self, outline: &Outline<'_>, nodes: &mut Nodes) {
        if !outline.shadows_beyond_the_ring() {
            return;
        }
        let ends = |angle: f64| (outline.ring_radius_mm(angle), outline.shadow_radius_mm(angle));
        let corners = outline.switches(|angle| {
            let (inner, outer) = ends(angle);
            let passed = |r: f64| self.prepared.breaks().iter().filter(|b| b.radius_mm < r).count();
            (outer > inner, outline.shadow_side(angle), passed(inner), passed(outer))
        });
        for (from, to) in arcs(&corners, PI / 4.0) {
            let middle = ends(f64::midpoint(from, to));
            if middle.1 <= middle.0 {
                continue;
            }
            let count = 3 * self.density.along_cut(ends(from).1, ends(to).1, to - from) / 2;
            for (angle, weight) in on_arc(count, (from, to)) {
                self.spoke(angle, ends(angle), -weight, nodes);
            }
        }
    }

    fn crescents(&self, outline: &Outline<'_>, nodes: &mut Nodes) {
        if outline.cuts().is_empty() {
            return;
        }
        let inner = |angle: f64| {
            let (outer, by) = outline.outer_radius_mm(angle);
            (outer.max(outline.shadow_radius_mm(angle)), by)
        };
        // Corners of the crescent: another stop takes over or another side of it, its edge meets the shadow's or a break.
        let corners = outline.switches(|angle| {
            let (outer, by) = outline.outer_radius_mm(angle);
            let side = by.map(|i| outline.side(&outline.cuts()[i], outer, angle));
            let in_shadow = outer < outline.shadow_radius_mm(angle);
            let shadow = in_shadow.then(|| outline.shadow_side(angle));
            let passed = self.prepared.breaks().iter().filter(|b| b.radius_mm < outer).count();
            ((by, side), shadow, passed)
        });
        for (from, to) in arcs(&corners, PI / 4.0) {
            if inner(f64::midpoint(from, to)).1.is_none() {
                continue;
            }
            // Half as many again: the steps are uneven.
            let count = 3 * self.density.along_cut(inner(from).0, inner(to).0, to - from) / 2;
            for (angle, weight) in on_arc(count, (from, to)) {
                self.spoke(angle, (inner(angle).0, outline.rim_mm()), -weight, nodes);
            }
        }
    }

    /// Nodes along one angle between two radii, with the weight of that angle.
    fn spoke(&self, angle: f64, (from_mm, to_mm): (f64, f64), angle_weight: f64, nodes: &mut Nodes) {
        let sin_cos = angle.sin_cos();
        for panel in panels(self.prepared.breaks(), from_mm, to_mm) {
            let count = self.density.radial(panel.from_mm, panel.to_mm);
            for (r, weight) in panel.nodes(count) {
                // Patches of the coating have nodes of their own.
                let (point, share) = self.prepared.surface_and_share(0, r * sin_cos.1, r * sin_cos.0);
                let cross_section = self.beam.cross_section(&point);
                nodes.push(point, angle_weight * weight * cross_section, share.sqrt(), 0);
            }
        }
    }
}

/// The rows of one strip, each cut where the light ends and where the figure changes its character.
struct Rows<'a> {
    prepared: &'a Prepared,
    outline: &'a Outline<'a>,
    density: &'a dyn Density,
    strip: &'a Strip,
    /// Strips that the light meets first.
    above: Vec<Strip>,
}

impl Rows<'_> {
    fn take_away(&self, nodes: &mut Nodes) {
        for (low, high) in self.strip.bands(|t| self.signature(t)) {
            for (t, weight) in gauss::on_interval(self.density.across(high - low), low, high) {
                for (from, to) in self.pieces(t).0 {
                    self.piece(t, (from, to), -weight, nodes);
                }
            }
        }
    }

    /// The lit pieces of a row, and what distinguishes it from its neighbours.
    fn pieces(&self, t_mm: f64) -> (Vec<(f64, f64)>, Option<RowSignature>) {
        let Some(row) = self.strip.row(self.prepared, self.outline, self.outline.cuts(), t_mm) else {
            return (Vec::new(), None);
        };
        let light = (self.prepared, self.outline.beam());
        let (free, crossed) = uncovered(self.strip, &self.above, light, (row.from_mm, row.to_mm), t_mm);
        let radius = |s: f64| self.radius_mm(s, t_mm);
        let passed = |s: f64| self.prepared.breaks().iter().filter(|b| b.radius_mm < radius(s)).count();
        let breaks = (passed(row.from_mm), passed(row.to_mm));
        (free, Some((row.limits(), crossed, breaks)))
    }

    fn signature(&self, t_mm: f64) -> Option<RowSignature> {
        self.pieces(t_mm).1
    }

    fn radius_mm(&self, s_mm: f64, t_mm: f64) -> f64 {
        let [x, y] = self.strip.on_mirror(self.prepared, self.outline.beam(), s_mm, t_mm);
        x.hypot(y)
    }

    fn piece(&self, t_mm: f64, (from_mm, to_mm): (f64, f64), row_weight: f64, nodes: &mut Nodes) {
        let (r_from, r_to) = (self.radius_mm(from_mm, t_mm), self.radius_mm(to_mm, t_mm));
        let marks = self.patch_marks(t_mm, (from_mm, to_mm));
        let mut start = from_mm;
        for panel in panels(self.prepared.breaks(), r_from, r_to) {
            let end = if panel.to_mm >= r_to {
                to_mm
            } else {
                let off = |s: f64| self.radius_mm(s, t_mm) - panel.to_mm;
                roots::bracketed(off, start, to_mm, 1e-11 * r_to).unwrap_or(to_mm)
            };
            let count = self.density.radial(panel.from_mm, panel.to_mm);
            // The fractional power begins at the panel's start alone.
            let mut fractional = panel.fractional;
            let stops = marks.iter().copied().filter(|s| *s > start && *s < end).chain([end]);
            for stop in stops.collect::<Vec<_>>() {
                self.stretch(t_mm, (start, stop), (count, fractional), row_weight, nodes);
                (start, fractional) = (stop, false);
            }
        }
    }

    /// Nodes along one smooth stretch of a row.
    fn stretch(
        &self,
        t_mm: f64,
        (from_mm, to_mm): (f64, f64),
        (count, fractional): (usize, bool),
        row_weight: f64,
        nodes: &mut Nodes,
    ) {
        let beam = self.outline.beam();
        for (u, weight) in gauss::on_interval(count, 0.0, 1.0) {
            // As on a spoke: the square makes a half-integer power smooth.
            let (share, growth) = if fractional { (u * u, 2.0 * u) } else { (u, 1.0) };
            let s = from_mm + (to_mm - from_mm) * share;
            let [x, y] = self.strip.on_mirror(self.prepared, beam, s, t_mm);
            let (point, share) = self.prepared.surface_and_share(usize::MAX, x, y);
            let flux = self.strip.flux(self.prepared, beam, (s, t_mm), [x, y]);
            let light = row_weight * weight * growth * (to_mm - from_mm) * flux;
            nodes.push(point, light, share.sqrt(), usize::MAX);
        }
    }

    /// Where a row crosses the rims of the coating's patches, ascending.
    fn patch_marks(&self, t_mm: f64, (from_mm, to_mm): (f64, f64)) -> Vec<f64> {
        let mut marks = Vec::new();
        for patch in self.prepared.coat().discs() {
            let distance = |s: f64| {
                let [x, y] = self.strip.on_mirror(self.prepared, self.outline.beam(), s, t_mm);
                (x - patch.x_mm).hypot(y - patch.y_mm)
            };
            let (nearest, _) = roots::maximum(|s| -distance(s), from_mm, to_mm, 1e-9 * to_mm);
            for radius_mm in patch.circles() {
                let crossing = |a, b| roots::bracketed(|s| distance(s) - radius_mm, a, b, 1e-11 * to_mm);
                marks.extend(crossing(from_mm, nearest).into_iter().chain(crossing(nearest, to_mm)));
            }
        }
        marks.sort_by(f64::total_cmp);
        marks
    }
}

/// The ends of a row, the edges of other strips that it crosses, and how many breaks lie inside of its ends.
type RowSignature = (Limits, Vec<usize>, (usize, usize));

/// One piece of a radius on which the integrand is smooth.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Panel {
    pub(crate) from_mm: f64,
    pub(crate) to_mm: f64,
    /// A power of the distance that is no whole number begins here.
    pub(crate) fractional: bool,
}

impl Panel {
    /// Radii and weights for integrals of f(r) r dr.
    fn nodes(self, count: usize) -> impl Iterator<Item = (f64, f64)> {
        let (from, to) = (self.from_mm, self.to_mm);
        let length = to - from;
        gauss::on_interval(count, 0.0, 1.0).map(move |(t, weight)| {
            if self.fractional {
                // r = from + length t^2 makes a half-integer power smooth.
                let r = from + length * t * t;
                (r, weight * 2.0 * t * length * r)
            } else {
                // Gauss in r^2: exact for every even polynomial, and at the centre.
                let square = from * from + t * length * (to + from);
                (square.sqrt(), weight * length * (to + from) / 2.0)
            }
        })
    }
}

impl Prepared {
    /// The pieces of the open mirror's radius on which the figure is smooth.
    pub(crate) fn panels_of_open_mirror(&self) -> impl Iterator<Item = Panel> {
        panels(self.breaks(), 0.0, self.open_radius_mm())
    }

    /// Points along the outline of the lit pupil and every break inside it: where a smooth integrand has the
    /// extremes that no quadrature node touches.
    pub(crate) fn edge_points(&self, star: Star) -> Vec<[f64; 2]> {
        let outline = Outline::new(self, StarBeam::new(star), self.open_radius_mm());
        if !outline.is_star_shaped() {
            return Vec::new();
        }
        // Eight angles a period, one a pixel.
        let fine = self.detail().map_or(0, |d| {
            (8 * d.azimuthal_order as usize).max(d.pixels_around(self.open_radius_mm()) as usize)
        });
        let (mut points, angles) = (Vec::new(), fine.max(96));
        for i in 0..angles {
            let angle = TAU * i as f64 / angles as f64;
            let (sin, cos) = angle.sin_cos();
            let (inner, outer) = (outline.shadow_radius_mm(angle), outline.outer_radius_mm(angle).0);
            // Of a step both sides.
            let jumps = self.mirror().jumps_mm().flat_map(|r| [r * (1.0 - 1e-9), r * (1.0 + 1e-9)]);
            let inside = self.breaks().iter().map(|b| b.radius_mm).chain(jumps);
            let inside = inside.filter(|r| *r > inner && *r < outer);
            if outer > inner {
                points.extend(inside.chain([inner, outer]).map(|r| [r * cos, r * sin]));
            }
        }
        points
    }
}

/// The panels between two radii.
fn panels(breaks: &[Break], from_mm: f64, to_mm: f64) -> impl Iterator<Item = Panel> {
    let inside = breaks.iter().filter(move |b| b.radius_mm > from_mm && b.radius_mm < to_mm);
    // Only where a fractional power begins are its derivatives infinite. The first panel may begin just there.
    let at_break = |b: &Break| (b.radius_mm - from_mm).abs() <= 1e-12 * from_mm;
    let first = Break { radius_mm: from_mm, fractional: breaks.iter().any(|b| b.fractional && at_break(b)) };
    let starts = std::iter::once(first).chain(inside.clone().copied());
    let ends = inside.map(|b| b.radius_mm).chain(std::iter::once(to_mm));
    starts
        .zip(ends)
        .map(|(start, to_mm)| Panel { from_mm: start.radius_mm, to_mm, fractional: start.fractional })
        .filter(|p| p.to_mm > p.from_mm)
}

/// Even samples of the whole open mirror, kept where the light passes.
fn sample(prepared: &Prepared, beam: &StarBeam, nodes: &mut Nodes) {
    const SAMPLES: usize = 20_000;
    nodes.sampled = true;
    let area_mm2 = PI * prepared.open_radius_mm().powi(2) / SAMPLES as f64;
    for (x, y) in lattice(prepared.open_radius_mm(), SAMPLES) {
        let ray = beam.ray(prepared.mirror(), x, y);
        if prepared.lets_pass(&ray, beam) {
            let (point, share) = prepared.surface_and_share(usize::MAX, x, y);
            nodes.push(point, area_mm2 * ray.beam, share.sqrt(), usize::MAX);
        }
    }
}

/// Points spread evenly over a disc, each turned by the golden angle from the one before and standing for the
/// same area.
pub(crate) fn lattice(rim_mm: f64, count: usize) -> impl Iterator<Item = (f64, f64)> {
    let golden = PI * (3.0 - 5.0_f64.sqrt());
    (0..count).map(move |i| {
        let r = rim_mm * ((i as f64 + 0.5) / count as f64).sqrt();
        let (sin, cos) = (golden * i as f64).sin_cos();
        (r * cos, r * sin)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The integral of (r - 80)^p r dr from 80 to 100 by the panels between these radii.
    fn power_from_80_mm(breaks: &[Break], power: f64) -> f64 {
        let nodes = panels(breaks, 80.0, 100.0).flat_map(|panel| panel.nodes(8));
        nodes.map(|(r_mm, weight)| weight * (r_mm - 80.0).max(0.0).powf(power)).sum()
    }

    #[test]
    fn a_panel_that_begins_where_a_fractional_power_does_is_smooth() {
        // Closed form: with s = r - 80, the integral of s^p (80 + s) ds from 0 to 20.
        let power: f64 = 0.5;
        let exact =
            80.0 * 20.0_f64.powf(power + 1.0) / (power + 1.0) + 20.0_f64.powf(power + 2.0) / (power + 2.0);
        let relative = |breaks: &[Break]| (power_from_80_mm(breaks, power) / exact - 1.0).abs();
        let start = |radius_mm, fractional| Break { radius_mm, fractional };
        assert!(relative(&[start(80.0, true)]) < 1e-13);
        // What the mark is for: without it the same nodes are far less exact.
        assert!(relative(&[start(80.0, false)]) > 1e-5);
        // A break elsewhere does not mark the first panel.
        let marks = |breaks: &[Break]| panels(breaks, 80.0, 100.0).map(|p| p.fractional).collect::<Vec<_>>();
        assert_eq!(marks(&[start(70.0, true), start(90.0, true)]), [false, true]);
        assert_eq!(marks(&[start(80.0, true), start(90.0, false)]), [true, false]);
    }
}
