//! Where the figure is drawn: quadrature nodes from the centre to the rim, and the radii whose heights
//! matter by themselves.

use crate::numeric::gauss::on_interval;

/// Quadrature nodes in each segment between two breaks.
pub(super) const NODES_PER_SEGMENT: usize = 4;
/// From a segment's beginning to its first node, over the distance of its outermost nodes: (1/x - 1)/2 with x^2 = (3 +
/// 2 sqrt(6/5))/7 (Abramowitz & Stegun 1964, table 25.4).
const BEFORE_FIRST_NODE: f64 = 0.080_628_169_162;
/// No segment is longer than this share of the mirror's radius.
const LONGEST_SEGMENT: f64 = 0.16;
/// Breaks and points closer than this share of the mirror's radius are one.
const SAME: f64 = 1e-9;
/// Distances from the rim at which the usual turned edges begin, mm, slightly inside their widths.
const EDGE_BREAKS_MM: [f64; 8] = [15.0, 10.5, 7.0, 4.5, 3.0, 2.0, 1.2, 0.6];

/// Distances from the rim at which a grid that has to follow steep edges stops as well, mm: the segments halved. Strehl
/// of edges up to 450 nm is then good to 1e-4, of 1300 nm within a millimetre to 4e-3, where the usual breaks leave
/// 3e-3 and 1e-2.
pub(crate) const RIM_BREAKS_MM: [f64; 10] = [12.75, 8.75, 5.75, 3.75, 2.5, 1.6, 0.9, 0.45, 0.3, 0.15];

/// Radii at which every figure of one mirror is known.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct RadialGrid {
    /// The nodes, rising, then the extra points, mm.
    pub(crate) radius_mm: Vec<f64>,
    /// How many of the points are nodes.
    pub(crate) nodes: usize,
    /// Weight r dr of each node, mm^2.
    pub(crate) weight_mm2: Vec<f64>,
}

impl RadialGrid {
    /// Nodes split at every one of `breaks_mm` and where edges begin; the breaks and the rim are the
    /// extra points.
    pub(crate) fn new(rim_radius_mm: f64, breaks_mm: &[f64]) -> Self {
        let same = SAME * rim_radius_mm;
        let inside = |r: &f64| *r >= 0.0 && *r <= rim_radius_mm + same;
        let mut points: Vec<f64> = breaks_mm.iter().copied().filter(inside).collect();
        points.push(rim_radius_mm);
        let mut breaks = points.clone();
        breaks.push(0.0);
        breaks.extend(EDGE_BREAKS_MM.iter().map(|back| rim_radius_mm - back).filter(|&r| r > 0.0));
        for list in [&mut points, &mut breaks] {
            list.sort_by(f64::total_cmp);
            list.dedup_by(|a, b| *a - *b < same);
        }
        let (mut radius_mm, mut weight_mm2) = (Vec::new(), Vec::new());
        for pair in breaks.windows(2) {
            let length = pair[1] - pair[0];
            let parts = (length / (LONGEST_SEGMENT * rim_radius_mm)).ceil().max(1.0);
            for part in 0..parts as usize {
                let start = pair[0] + length * (part as f64 / parts);
                for (r, weight) in on_interval(NODES_PER_SEGMENT, start, start + length / parts) {
                    radius_mm.push(r);
                    weight_mm2.push(weight * r);
                }
            }
        }
        let nodes = radius_mm.len();
        radius_mm.extend(points);
        Self { radius_mm, nodes, weight_mm2 }
    }

    /// The nodes of all segments that the ring between two radii touches, with weights r dr that integrate over the
    /// ring alone, mm^2.
    pub(crate) fn weights_between(&self, inner_mm: f64, outer_mm: f64) -> (std::ops::Range<usize>, Vec<f64>) {
        let (mut nodes, mut weight_mm2) = (0..0, Vec::new());
        for (k, segment) in self.radius_mm[..self.nodes].chunks_exact(NODES_PER_SEGMENT).enumerate() {
            let place = k * NODES_PER_SEGMENT..(k + 1) * NODES_PER_SEGMENT;
            let (start, end) = segment_ends(segment);
            let (from, to) = (start.max(inner_mm), end.min(outer_mm));
            // A sliver that rounding leaves is no part of the ring.
            if to - from <= 1e-9 * end {
                continue;
            }
            nodes = if weight_mm2.is_empty() { place.clone() } else { nodes.start..place.end };
            if to - from >= (end - start) * (1.0 - 1e-9) {
                weight_mm2.extend_from_slice(&self.weight_mm2[place]);
            } else {
                let mut part = [0.0; NODES_PER_SEGMENT];
                for (r, width) in on_interval(NODES_PER_SEGMENT, from, to) {
                    for (sum, share) in part.iter_mut().zip(shares(segment, r)) {
                        *sum += width * r * share;
                    }
                }
                weight_mm2.extend(part);
            }
        }
        (nodes, weight_mm2)
    }

    /// The index of the extra point at this radius.
    pub(crate) fn point_at(&self, radius_mm: f64) -> Option<usize> {
        let rim = *self.radius_mm.last()?;
        (self.nodes..self.radius_mm.len())
            .find(|&point| (self.radius_mm[point] - radius_mm).abs() <= 2.0 * SAME * rim)
    }
}

/// From heights at the points of a grid to those at the points of another, whose own breaks are breaks of the first.
#[derive(Clone, Debug)]
pub(crate) struct Resampled {
    /// For each point the first node of its segment and the weights with which its nodes interpolate there.
    points: Vec<(usize, [f64; NODES_PER_SEGMENT])>,
}

impl Resampled {
    pub(crate) fn new(from: &RadialGrid, to: &RadialGrid) -> Self {
        let nodes = &from.radius_mm[..from.nodes];
        Self { points: to.radius_mm.iter().map(|r| interpolation(nodes, *r)).collect() }
    }

    pub(crate) fn heights(&self, from_nm: &[f64], to_nm: &mut Vec<f64>) {
        to_nm.clear();
        to_nm.extend(
            self.points.iter().map(|(first, weights)| {
                weights.iter().zip(&from_nm[*first..]).map(|(w, h)| w * h).sum::<f64>()
            }),
        );
    }
}

/// The first node of a radius's segment, and the weights with which its nodes interpolate there.
pub(super) fn interpolation(radius_mm: &[f64], at_mm: f64) -> (usize, [f64; NODES_PER_SEGMENT]) {
    let next = radius_mm.partition_point(|r| *r < at_mm).min(radius_mm.len() - 1);
    let mut first = next / NODES_PER_SEGMENT * NODES_PER_SEGMENT;
    if next == first && first > 0 {
        // Between two segments: Gauss's nodes tell where the later one begins.
        let (start, end) = (radius_mm[first], radius_mm[first + NODES_PER_SEGMENT - 1]);
        if at_mm < start - BEFORE_FIRST_NODE * (end - start) {
            first -= NODES_PER_SEGMENT;
        }
    }
    (first, shares(&radius_mm[first..first + NODES_PER_SEGMENT], at_mm))
}

/// The ends of a segment, from its Gauss nodes.
pub(super) fn segment_ends(nodes: &[f64]) -> (f64, f64) {
    let unit: Vec<f64> = on_interval(NODES_PER_SEGMENT, 0.0, 1.0).map(|(u, _)| u).collect();
    let last = NODES_PER_SEGMENT - 1;
    let length = (nodes[last] - nodes[0]) / (unit[last] - unit[0]);
    let start = nodes[0] - unit[0] * length;
    (start, start + length)
}

/// The weights with which some nodes give the value of the polynomial through them.
pub(super) fn shares(nodes: &[f64], at_mm: f64) -> [f64; NODES_PER_SEGMENT] {
    let mut weights = [1.0; NODES_PER_SEGMENT];
    for (k, weight) in weights.iter_mut().enumerate() {
        for (_, other) in nodes.iter().enumerate().filter(|(j, _)| *j != k) {
            *weight *= (at_mm - other) / (nodes[k] - other);
        }
    }
    weights
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_ring_has_its_area_and_its_moments() {
        let grid = RadialGrid::new(159.0, &[14.0, 52.0, 149.5]);
        for (inner, outer) in [(0.0, 159.0), (35.0, 154.0), (14.0, 149.5), (33.3, 120.7), (52.0, 157.9)] {
            let (nodes, weight) = grid.weights_between(inner, outer);
            assert_eq!(nodes.len(), weight.len());
            // Closed form: the integral of r^(1 + n) dr; a cubic is integrated exactly.
            for n in [0, 1, 3] {
                let found: f64 =
                    grid.radius_mm[nodes.clone()].iter().zip(&weight).map(|(r, w)| w * r.powi(n)).sum();
                let known = (outer.powi(n + 2) - inner.powi(n + 2)) / f64::from(n + 2);
                assert!((found / known - 1.0).abs() < 1e-11, "{inner} {outer} {n}: {found} for {known}");
            }
        }
    }

    #[test]
    fn weights_integrate_the_area_and_breaks_are_points() {
        let grid = RadialGrid::new(159.0, &[14.0, 52.0, 158.0, 149.5, 52.0]);
        // Closed form: the integral of r dr is half the squared radius.
        assert!((grid.weight_mm2.iter().sum::<f64>() - 0.5 * 159.0 * 159.0).abs() < 1e-9);
        assert!(grid.radius_mm[..grid.nodes].is_sorted());
        for r in [14.0, 52.0, 149.5, 158.0, 159.0] {
            let point = grid.point_at(r).expect("a point");
            assert!((grid.radius_mm[point] - r).abs() < 1e-6);
        }
        assert_eq!(grid.point_at(100.0), None);
        assert_eq!(grid.radius_mm.len() - grid.nodes, 5);
    }
}
