//! The highest and the lowest point of a wavefront: between the nodes, and along the edges that no node touches.

use std::f64::consts::PI;

use super::source::{Pupil, Source, View};
use crate::numeric::roots;

/// How far from the best node a summit is looked for: a share of the rim's radius, and an angle.
const REACH: f64 = 0.06;
const TURN: f64 = PI / 16.0;
/// What a point without light counts as, nm.
const DARK_NM: f64 = -1e12;

/// Highest minus lowest point over the lit pupil, nm.
///
/// Begins at the best node or edge point and climbs along the radius and around, good to about 1e-6 of the
/// result where the wavefront is smooth there.
pub(super) fn peak_to_valley_nm(
    source: &Source,
    pupil: &Pupil,
    view: &View,
    reference_mm: [f64; 3],
    piston_nm: f64,
) -> f64 {
    let edges = source.edge_points();
    let on_edges = source.pupil_at(&edges).seen_from(reference_mm);
    let places = || (0..pupil.len()).map(|i| [pupil.x[i], pupil.y[i]]);
    // A node may count fewer patches than lie on its place.
    let again = source.has_patches_of_metal().then(|| {
        let seen = source.pupil_at(&places().collect::<Vec<_>>()).seen_from(reference_mm);
        seen.path_nm.iter().map(|w| w - piston_nm).collect::<Vec<_>>()
    });
    let heights_nm = again.as_ref().unwrap_or(&view.path_nm);
    let nodes = places().zip(heights_nm).map(|(place, w)| (place, *w, false));
    let along_edges = edges.iter().zip(&on_edges.path_nm).map(|(p, w)| (*p, w - piston_nm, true));
    let points: Vec<([f64; 2], f64, bool)> = nodes.chain(along_edges).collect();
    let summit = |sign: f64| {
        // Whether a node is lit is asked only where it is higher than all before it.
        let mut best: Option<([f64; 2], f64)> = None;
        for &(point, path_nm, surely_lit) in &points {
            let is_higher = best.is_none_or(|(_, highest_nm)| sign * path_nm >= sign * highest_nm);
            if is_higher && (surely_lit || source.is_lit(point[0], point[1])) {
                best = Some((point, path_nm));
            }
        }
        best.map_or(0.0, |start| climb(source, reference_mm, piston_nm, start, sign))
    };
    summit(1.0) + summit(-1.0)
}

/// The greatest value of `sign` times the wavefront near a start, nm.
fn climb(
    source: &Source,
    reference_mm: [f64; 3],
    piston_nm: f64,
    (start, start_nm): ([f64; 2], f64),
    sign: f64,
) -> f64 {
    let height = |r: f64, angle: f64| {
        let point = [r * angle.cos(), r * angle.sin()];
        if r < 0.0 || !source.is_lit(point[0], point[1]) {
            return DARK_NM;
        }
        sign * (source.pupil_at(&[point]).seen_from(reference_mm).path_nm[0] - piston_nm)
    };
    let (mut r, mut angle) = (start[0].hypot(start[1]), start[1].atan2(start[0]));
    let mut best = sign * start_nm;
    // Half a period of the finest term, or half a pixel: one summit in the interval.
    let (detail, rim) = (source.detail(), source.rim());
    let narrowed = |widest: f64, orders: u32, pixels: f64| {
        widest.min(PI / f64::from(2 * orders.max(1))).min(0.5 / pixels.max(f64::MIN_POSITIVE))
    };
    let reach = rim * narrowed(REACH, detail.radial_order, detail.pixels_along(rim));
    let turn = narrowed(TURN, detail.azimuthal_order, detail.pixels_along(rim));
    for _ in 0..3 {
        let radial = roots::maximum(|r| height(r, angle), r - reach, r + reach, 1e-6 * source.rim());
        if radial.1 > best {
            (r, best) = radial;
        }
        let around = roots::maximum(|angle| height(r, angle), angle - turn, angle + turn, 1e-6);
        if around.1 > best {
            (angle, best) = around;
        }
    }
    best
}
