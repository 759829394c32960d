//! The making of a train as the loops see it, and the slow road for what they leave.

use super::block::{BLOCK, Block, Column, Starts, Wanted, trace};
use super::optics::{Edge, FAR_MM, Optics, UNIT};
use super::table::Table;
use crate::numeric::vector::Set;
use crate::trace::mirror::length;
use crate::trace::prepared::Prepared;
use crate::trace::ray::{Ray, StarBeam};
use crate::trace::rays::GRAZING_MM;
use crate::trace::stops::Met;

/// A ray's place in the focal plane may be off by this for the table's sake, mm.
const PLACE_ERROR_MM: f64 = 4e-13;

/// What is made once for a train.
#[derive(Clone, Debug)]
pub(crate) struct Compiled {
    pub(super) optics: Optics,
    /// Whether the loops know the whole surface; if not, every ray takes the slow road.
    pub(super) fast: bool,
    /// Whether some part is no plain circle.
    odd_parts: bool,
    /// The reflectance where it is everywhere the same.
    pub(super) even_reflectance: Option<f64>,
}

/// Why a ray cannot be one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fault {
    Origin,
    Direction,
}

impl Compiled {
    pub(crate) fn new(prepared: &Prepared) -> Self {
        let (curvature_per_mm, shape) = prepared.mirror().conic();
        let (mut down, mut up) = (Vec::new(), Vec::new());
        let mut limit_mm = prepared.clear_radius_mm() + GRAZING_MM;
        let mut odd_parts = !prepared.strips().is_empty();
        for stop in prepared.stops() {
            let Some(circle) = stop.circle() else {
                odd_parts = true;
                continue;
            };
            let opening = !stop.is_shadow();
            let graze_mm = if opening { GRAZING_MM } else { -GRAZING_MM };
            let edge = Edge {
                height_mm: circle.height_mm,
                tilt: circle.tilt,
                offset_mm: circle.offset_mm,
                limit_mm2: (circle.radius_mm + graze_mm).powi(2),
                opening,
            };
            match circle.met {
                Met::Down => down.push(edge),
                Met::Up => up.push(edge),
                Met::Mirror => limit_mm = limit_mm.min(circle.radius_mm + GRAZING_MM),
            }
        }
        let bare = prepared.mirror().is_conic_alone();
        let figure = if bare { None } else { prepared.figure_table(|| table(prepared)) };
        Self {
            fast: bare || figure.is_some(),
            optics: Optics { curvature_per_mm, shape, limit_mm2: limit_mm * limit_mm, down, up, figure },
            odd_parts,
            even_reflectance: prepared.even_share(),
        }
    }

    /// Whether the loops need no look at single rays: all parts are plain circles, and the reflectance is even.
    pub(super) fn is_plain(&self) -> bool {
        self.fast && !self.odd_parts && self.even_reflectance.is_some()
    }

    /// Traces a block to the plane at a height, some rays by the slow road; `count` of its rays are real, others are
    /// stopped. The number of the first ray that cannot be, with what is wrong with it.
    pub(super) fn follow(
        &self,
        prepared: &Prepared,
        set: Set,
        height_mm: f64,
        starts: Starts<'_>,
        block: &mut Block,
        count: usize,
    ) -> Result<(), (usize, Fault)> {
        if self.fast {
            let wanted = if self.is_plain() { Wanted::Places } else { Wanted::Ways };
            let sure = trace(set, &self.optics, height_mm, starts, wanted, block);
            for i in 0..count {
                let ([x, y, z], way) = ray(starts, i);
                if !sure && self.optics.is_doubtful([x, y, z], way) {
                    slowly(prepared, height_mm, starts, block, i)?;
                } else if self.odd_parts
                    && block.spare[i] >= 0.0
                    && stopped_by_odd_part(prepared, block, way, i)
                {
                    block.spare[i] = -1.0;
                }
            }
        } else {
            (0..count).try_for_each(|i| slowly(prepared, height_mm, starts, block, i))?;
        }
        block.spare[count..].fill(-1.0);
        Ok(())
    }

    /// Multiplies the light of each ray by the reflectance where it met the mirror.
    pub(super) fn dim(&self, prepared: &Prepared, block: &Block, weight: &mut Column) {
        match self.even_reflectance {
            Some(share) => weight.iter_mut().for_each(|w| *w *= share),
            None => {
                for i in 0..BLOCK {
                    if block.spare[i] >= 0.0 {
                        weight[i] *= prepared.reflectance(block.hit_x[i], block.hit_y[i]);
                    }
                }
            }
        }
    }

    /// Height and slope of a round mirror.
    pub(super) fn height_and_slope(&self, prepared: &Prepared, r_mm: f64) -> (f64, f64) {
        let Some(table) = &self.optics.figure else { return prepared.mirror().height_and_slope(r_mm) };
        let (h, s) = table.height_and_slope(r_mm);
        let (z, slope) = prepared.mirror().conic_height_and_slope(r_mm);
        (z + h, slope + s)
    }
}

/// Where a ray of a block starts and how it goes.
fn ray(starts: Starts<'_>, i: usize) -> ([f64; 3], [f64; 3]) {
    let [x, y, z, dx, dy, dz] = starts.map(|column| column[i]);
    ([x, y, z], [dx, dy, dz])
}

/// The round figure as a table; none where it is not round, or no table holds it.
fn table(prepared: &Prepared) -> Option<Table> {
    if prepared.detail().is_some() {
        return None;
    }
    let mirror = prepared.mirror();
    let end_mm = prepared.open_radius_mm();
    let slope_error = 0.5 * PLACE_ERROR_MM / prepared.focal_length_mm();
    let figure = |r: f64| {
        let ((z, slope), (conic, conic_slope)) =
            (mirror.height_and_slope(r), mirror.conic_height_and_slope(r));
        (z - conic, slope - conic_slope)
    };
    let breaks_mm: Vec<f64> = prepared.breaks().iter().map(|b| b.radius_mm).collect();
    let table = Table::new(figure, &breaks_mm, end_mm, slope_error)?;
    // The surface has the last word: whatever else may lie on it, the table must be all of it.
    let agrees = (0..24).all(|k| {
        let r = end_mm * (f64::from(k) + 0.37) / 24.0;
        let (sin, cos) = (2.4 * f64::from(k)).sin_cos();
        let (point, (h, s)) = (prepared.surface(r * cos, r * sin), table.height_and_slope(r));
        let (z, slope) = mirror.conic_height_and_slope(r);
        let steep = [(slope + s) * cos - point.slope[0], (slope + s) * sin - point.slope[1]];
        (z + h - point.position_mm[2]).abs() < 1e-12 && length(steep[0], steep[1]) < 2.0 * slope_error
    });
    agrees.then_some(table)
}

/// One ray by the rules of single rays.
fn slowly(
    prepared: &Prepared,
    height_mm: f64,
    starts: Starts<'_>,
    block: &mut Block,
    i: usize,
) -> Result<(), (usize, Fault)> {
    let (origin_mm, direction) = ray(starts, i);
    if !origin_mm.iter().all(|c| c.abs() <= FAR_MM) {
        return Err((i, Fault::Origin));
    }
    let square = direction.iter().map(|d| d * d).sum::<f64>();
    // What is no number is no unit vector.
    let is_unit = (square - 1.0).abs() <= UNIT;
    if !is_unit || direction[2] >= 0.0 {
        return Err((i, Fault::Direction));
    }
    let long = square.sqrt();
    let direction = direction.map(|d| d / long);
    block.spare[i] = -1.0;
    let Some(point) = prepared.mirror().intersect(origin_mm, direction) else { return Ok(()) };
    let beam = StarBeam::parallel(direction.map(|d| -d));
    let ray = beam.reflect(&point);
    let [x, y, z] = ray.hit_mm;
    (block.hit_x[i], block.hit_y[i], block.hit_z[i]) = (x, y, z);
    [block.along[i], block.across[i]] = ray.at_height_mm(height_mm);
    let on_mirror = x.hypot(y) <= prepared.clear_radius_mm() + GRAZING_MM;
    let arrives = block.along[i].is_finite() && block.across[i].is_finite();
    if on_mirror && arrives && prepared.lets_pass(&ray, &beam) {
        block.spare[i] = 1.0;
    }
    Ok(())
}

/// Whether a part that is no plain circle stops a ray that the loops let pass.
pub(super) fn stopped_by_odd_part(prepared: &Prepared, block: &Block, way: [f64; 3], i: usize) -> bool {
    let beam = StarBeam::parallel(way.map(|d| -d));
    let up = block.up(i);
    let long = up.iter().map(|c| c * c).sum::<f64>().sqrt();
    let ray = Ray {
        hit_mm: [block.hit_x[i], block.hit_y[i], block.hit_z[i]],
        direction: up.map(|c| c / long),
        beam: 1.0,
    };
    let odd = prepared.stops().iter().filter(|stop| stop.circle().is_none());
    odd.into_iter().any(|stop| stop.excess_mm(&ray, &beam) > GRAZING_MM)
        || prepared.strips().iter().any(|strip| strip.covers(&ray, &beam))
}
