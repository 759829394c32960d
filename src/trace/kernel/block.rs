//! The inner loops: a block of rays from where they start to the focal plane, in columns that fit the first cache.
//!
//! Several loops over the block rather than one: each is short enough for the registers, and none waits for its own
//! last result. No branches, and no tests ray by ray: sums over the block tell whether it holds rays that the loops
//! cannot place to their accuracy; then these are looked for, and take the slow road.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::lanes::{Lanes, Running};
use super::optics::{BEHIND_END, Edge, FAR_MM, Found, NEAR_AXIS_MM, Optics, UNIT};
use super::table::{Find, MOST, Pieces, Table, even_place};
use crate::numeric::vector::{Set, V, Wide, Work, all_lanes, at, wide, wide_mut};

/// Rays of a block: columns of a power of two would lie upon one another in the cache, and shorter ones begin and end
/// too often.
pub(super) const BLOCK: usize = 248;

/// The numbers of a block's rays, one each.
pub(super) type Column = [f64; BLOCK];

/// Where rays start and how they go, in columns: x, y, z, and the three of the direction.
pub(super) type Starts<'a> = [&'a Column; 6];

/// A block of rays on their way.
#[derive(Clone, Debug)]
#[repr(C, align(64))]
pub(super) struct Block {
    /// 0 or more for a ray that nothing has stopped: by how much it passes what it comes nearest to.
    pub(super) spare: Column,
    /// Where the mirror is met, mm; at first the conic.
    pub(super) hit_x: Column,
    pub(super) hit_y: Column,
    pub(super) hit_z: Column,
    /// Where the focal plane is met, mm.
    pub(super) along: Column,
    pub(super) across: Column,
    /// Direction after the mirror, of any length; only if asked for.
    up_x: Column,
    up_y: Column,
    up_z: Column,
    /// There: the direction times the radius, the radius squared, and the slope over the radius.
    aside: Column,
    square: Column,
    steep: Column,
    per_radius: Column,
    radius: Column,
    /// The number of the table's row, in the last bits.
    number: Column,
    place: Column,
    /// Whether the last block had rays near an edge on the way up.
    crowded: bool,
}

/// What a block is traced for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    /// Where rays land.
    Places,
    /// Also where they hit the mirror, and their way from there.
    Ways,
}

impl Block {
    pub(super) fn new() -> Box<Self> {
        let zero = [0.0; BLOCK];
        Box::new(Self {
            spare: zero,
            hit_x: zero,
            hit_y: zero,
            hit_z: zero,
            along: zero,
            across: zero,
            up_x: zero,
            up_y: zero,
            up_z: zero,
            aside: zero,
            square: zero,
            steep: zero,
            per_radius: zero,
            radius: zero,
            number: zero,
            place: zero,
            crowded: false,
        })
    }

    /// Makes a used block as good as new: all columns are filled before they are read.
    pub(super) fn forget(&mut self) {
        self.crowded = false;
    }

    /// Hits x, y; ways up x, y, z; landings along and across; what is spare.
    pub(super) fn of_ways(&mut self) -> [&mut Column; 8] {
        let Self { hit_x, hit_y, up_x, up_y, up_z, along, across, spare, .. } = self;
        [hit_x, hit_y, up_x, up_y, up_z, along, across, spare]
    }

    /// Puts one ray at the place of another: where it hits the mirror, its way from there, and where it lands.
    pub(super) fn set_ray(&mut self, i: usize, hit_mm: [f64; 3], up: [f64; 3], landed_mm: [f64; 2]) {
        [self.hit_x[i], self.hit_y[i], self.hit_z[i]] = hit_mm;
        [self.up_x[i], self.up_y[i], self.up_z[i]] = up;
        [self.along[i], self.across[i]] = landed_mm;
    }

    /// A ray's direction after the mirror, of any length.
    pub(super) fn up(&self, i: usize) -> [f64; 3] {
        [self.up_x[i], self.up_y[i], self.up_z[i]]
    }
}

/// Traces the rays of a block to the plane at a height; says whether all are placed. If not, [`Optics::is_doubtful`]
/// tells which, of which some may be no rays at all: not unit vectors, not downward, no numbers.
#[inline]
pub(super) fn trace(
    set: Set,
    optics: &Optics,
    height_mm: f64,
    starts: Starts<'_>,
    wanted: Wanted,
    block: &mut Block,
) -> bool {
    set.run(Trace { optics, height_mm, starts, block, keep: wanted == Wanted::Ways, sum: None })
}

/// Traces the rays of a block, all with the same light, and adds them to the sums about a centre; says whether it has
/// done so. If not, some are in doubt, and none is added.
#[inline]
pub(super) fn sum(
    set: Set,
    optics: &Optics,
    height_mm: f64,
    starts: Starts<'_>,
    block: &mut Block,
    about: (&mut Lanes, [f64; 2]),
) -> bool {
    set.run(Trace { optics, height_mm, starts, block, keep: false, sum: Some(about) })
}

struct Trace<'a, 'b> {
    optics: &'a Optics,
    height_mm: f64,
    starts: Starts<'a>,
    block: &'a mut Block,
    keep: bool,
    sum: Option<(&'b mut Lanes, [f64; 2])>,
}

impl Work for Trace<'_, '_> {
    type Gives = bool;

    #[inline(always)]
    fn with<S: Wide>(self, set: S) -> bool {
        if self.optics.shape == 0.0 { self.go::<S, true>(set) } else { self.go::<S, false>(set) }
    }
}

impl Trace<'_, '_> {
    #[inline(always)]
    fn go<S: Wide, const PARABOLA: bool>(self, set: S) -> bool {
        let Self { optics, height_mm, starts, block, keep, sum } = self;
        let found = meet::<S, PARABOLA>(set, optics, starts, block);
        if found.sure && optics.down.iter().all(|edge| optics.is_clear_down(edge, &found)) {
            block.spare = [1.0; BLOCK];
        } else {
            go_down(set, optics, starts, block);
        }
        let mut sure = found.sure;
        match &optics.figure {
            None => bare::<S, PARABOLA>(set, optics, block),
            Some(table) => {
                let moved_mm = match table.as_ref() {
                    Table::Cubic { pieces, .. } if S::PICKS && pieces.few.is_some() => {
                        step::<S, PARABOLA, 4, true>(set, optics, pieces, starts, block)
                    }
                    Table::Cubic { pieces, .. } => {
                        step::<S, PARABOLA, 4, false>(set, optics, pieces, starts, block)
                    }
                    Table::High { pieces, .. } => {
                        step::<S, PARABOLA, 8, false>(set, optics, pieces, starts, block)
                    }
                };
                let safe_mm = table.safe_shift_mm();
                sure &= moved_mm * moved_mm * found.aslant <= safe_mm * safe_mm
                    && found.nearest_mm2 >= NEAR_AXIS_MM * NEAR_AXIS_MM;
            }
        }
        let ahead = Ahead { set, optics, height_mm, starts };
        // Without the parts on the way up first: mostly it turns out that no ray comes near them.
        let is_clear = |reach_mm: f64| {
            optics.up.iter().all(|edge| optics.is_clear_up(edge, &found, reach_mm, height_mm))
        };
        if let Some((lanes, centre_mm)) = sum {
            if !sure {
                return false;
            }
            if !block.crowded {
                // Kept only if it is clear.
                let mut sums = Running::from(set, lanes);
                let far_mm = ahead.go::<false, true>(block, centre_mm, &mut sums);
                if is_clear(far_mm + centre_mm[0].hypot(centre_mm[1])) {
                    sums.store(lanes);
                    return true;
                }
                block.crowded = true;
            }
            let mut sums = Running::from(set, lanes);
            ahead.go::<true, true>(block, centre_mm, &mut sums);
            sums.store(lanes);
            return true;
        }
        let mut none = Running::from(set, &Lanes::new());
        if !keep && !block.crowded {
            let far_mm = ahead.go::<false, false>(block, [0.0; 2], &mut none);
            if is_clear(far_mm) {
                return sure;
            }
            block.crowded = true;
            if found.sure && optics.down.iter().all(|edge| optics.is_clear_down(edge, &found)) {
                block.spare = [1.0; BLOCK];
            } else {
                go_down(set, optics, starts, block);
            }
        }
        ahead.go::<true, false>(block, [0.0; 2], &mut none);
        sure
    }
}

/// Where the rays meet the conic.
///
/// c (x^2 + y^2 + (1+K) z^2) - 2 z = 0 along the ray: a t^2 + 2 b t + q = 0, with b > 0 for light on its way down. The
/// root and the division cost nothing beside the products, which other parts of the processor make; a series for them
/// costs more.
#[inline(always)]
fn meet<S: Wide, const PARABOLA: bool>(
    set: S,
    optics: &Optics,
    starts: Starts<'_>,
    block: &mut Block,
) -> Found {
    let all = |value: f64| V::all(set, value);
    let (c, k, one) = (all(optics.curvature_per_mm), all(optics.shape), all(1.0));
    let [x, y, z, dx, dy, dz] = starts.map(|column| wide::<S>(column));
    let (to_x, to_y) = (wide_mut::<S>(&mut block.hit_x), wide_mut::<S>(&mut block.hit_y));
    let (to_z, to_aside) = (wide_mut::<S>(&mut block.hit_z), wide_mut::<S>(&mut block.aside));
    let to_square = wide_mut::<S>(&mut block.square);
    // The largest of numbers does not show those that are none, a sum does: all go into the length of the way.
    let (mut off, mut far) = (all(0.0), all(0.0));
    let (mut facing, mut down, mut aslant) = (one, all(-1.0), all(0.0));
    let (mut nearest, mut farthest) = (all(f64::INFINITY), all(0.0));
    for i in 0..x.len() {
        let [x, y, z, dx, dy, dz] = at!(set, i; x, y, z, dx, dy, dz);
        let sideways = dx.times_plus(dx, dy * dy);
        let length = dz.times_plus(dz, sideways) - one;
        off = off.most(length.size());
        aslant = aslant.most(sideways);
        let along = x.times_plus(dx, y * dy);
        let square = x.times_plus(x, y * y);
        let (a, b, q) = if PARABOLA {
            (c * sideways, c.times_plus(along, -dz), c.times_plus(square, -(z + z)))
        } else {
            let (kz, kdz) = (k * z, k * dz);
            let a = c * dz.times_plus(kdz, sideways);
            (a, c.times_plus(z.times_plus(kdz, along), -dz), c.times_plus(z.times_plus(kz, square), -(z + z)))
        };
        facing = facing.least(b);
        let t = -q / (b + b.times_plus(b, -(a * q)).root());
        down = down.most(dz);
        far = far + t.size();
        let (x, y) = (dx.times_plus(t, x), dy.times_plus(t, y));
        let square = x.times_plus(x, y * y);
        (nearest, farthest) = (nearest.least(square), farthest.most(square));
        (to_x[i], to_y[i], to_square[i]) = (x.1, y.1, square.1);
        if !PARABOLA {
            to_z[i] = dz.times_plus(t, z).1;
        }
        to_aside[i] = sideways.times_plus(t, along).1;
    }
    Found {
        // What is no number is not below.
        sure: off.largest() <= UNIT
            && far.total() <= FAR_MM
            && facing.smallest() > 0.0
            && down.largest() < 0.0,
        aslant: aslant.largest(),
        nearest_mm2: nearest.smallest(),
        // What lies farther out misses the mirror.
        farthest_mm2: farthest.largest().min(optics.limit_mm2),
    }
}

/// Stops rays on their way down.
#[inline(always)]
fn go_down<S: Wide>(set: S, optics: &Optics, starts: Starts<'_>, block: &mut Block) {
    let [x, y, z, dx, dy, dz] = starts.map(|column| wide::<S>(column));
    let spare = wide_mut::<S>(&mut block.spare);
    for i in 0..spare.len() {
        let [x, y, z, dx, dy, dz] = at!(set, i; x, y, z, dx, dy, dz);
        let mut passes = V::all(set, 1.0);
        for edge in &optics.down {
            passes = passes.least(passed_at(set, edge, [x, y, z], [dx, dy, dz]));
        }
        spare[i] = passes.1;
    }
}

/// By how much light passes the edge of a part, times a positive number: below 0 it is stopped. Both sides are
/// multiplied by what the ray's length would have to be divided by.
#[inline(always)]
pub(super) fn passed_at<S: Wide>(set: S, edge: &Edge, [x, y, z]: [V<S>; 3], [dx, dy, dz]: [V<S>; 3]) -> V<S> {
    let all = |value: f64| V::all(set, value);
    let gap = all(edge.tilt).times_plus(x, all(edge.height_mm)) - z;
    let pace = all(-edge.tilt).times_plus(dx, dz);
    let along = (x + all(edge.offset_mm)).times_plus(pace, dx * gap);
    let across = y.times_plus(pace, dy * gap);
    let within = (-along).times_plus(along, all(edge.limit_mm2) * (pace * pace));
    let within = (-across).times_plus(across, within);
    if edge.opening { within } else { -within }
}

/// Where the radii lie in the table of the figure.
#[inline(always)]
fn look_up<S: Wide, const TERMS: usize>(set: S, pieces: &Pieces<TERMS>, block: &mut Block) {
    let behind_mm = V::all(set, pieces.end_mm * (1.0 + BEHIND_END));
    let square = wide::<S>(&block.square);
    let (radius, per_radius) = (wide_mut::<S>(&mut block.radius), wide_mut::<S>(&mut block.per_radius));
    let (number, place) = (wide_mut::<S>(&mut block.number), wide_mut::<S>(&mut block.place));
    let even = match &pieces.find {
        Find::Even { width_mm, last } => Some((*width_mm, *last)),
        Find::Uneven { .. } => None,
    };
    for i in 0..square.len() {
        let square = V(set, square[i]);
        let inverse = V(set, set.inverse_root(square.1));
        let r = (square * inverse).least(behind_mm);
        per_radius[i] = inverse.1;
        match even {
            Some((width_mm, last)) => {
                let (found, into) = even_place(set, r, width_mm, last);
                (number[i], place[i]) = (found.1, into.1);
            }
            None => radius[i] = r.1,
        }
    }
    if even.is_none() {
        for i in 0..BLOCK {
            let (number, place) = pieces.place(block.radius[i]);
            (block.number[i], block.place[i]) = (f64::from_bits(number as u64), place);
        }
    }
}

/// The slope of the conic over the radius where its height is known.
#[inline(always)]
fn conic_steep<S: Wide, const PARABOLA: bool>(set: S, optics: &Optics, height: V<S>) -> V<S> {
    let c = V::all(set, optics.curvature_per_mm);
    let bend = V::all(set, -optics.shape * optics.curvature_per_mm);
    if PARABOLA { c } else { c / bend.times_plus(height, V::all(set, 1.0)) }
}

/// The height of the conic where it is known but for rounding, from the squared radius (the line's own height carries
/// the rounding of its length), and what is added to it.
#[inline(always)]
fn conic_height<S: Wide, const PARABOLA: bool>(
    set: S,
    optics: &Optics,
    square: V<S>,
    height: V<S>,
    raised: V<S>,
) -> V<S> {
    let c = optics.curvature_per_mm;
    if PARABOLA {
        return V::all(set, 0.5 * c).times_plus(square, raised);
    }
    let one = V::all(set, 1.0);
    V::all(set, c) * square / (one + V::all(set, -optics.shape * c).times_plus(height, one)) + raised
}

/// The mirror without a figure.
#[inline(always)]
fn bare<S: Wide, const PARABOLA: bool>(set: S, optics: &Optics, block: &mut Block) {
    let (square, z) = (wide::<S>(&block.square), wide_mut::<S>(&mut block.hit_z));
    let steep = wide_mut::<S>(&mut block.steep);
    for i in 0..square.len() {
        let height = V(set, z[i]);
        steep[i] = conic_steep::<S, PARABOLA>(set, optics, height).1;
        z[i] = conic_height::<S, PARABOLA>(set, optics, V(set, square[i]), height, V::all(set, 0.0)).1;
    }
}

/// From the conic to the glass: one step of Newton's rule, and everything that depends on the radius moved by it to
/// first order. How far a ray is moved along itself, at most, mm.
#[inline(always)]
fn step<S: Wide, const PARABOLA: bool, const TERMS: usize, const FEW_ROWS: bool>(
    set: S,
    optics: &Optics,
    pieces: &Pieces<TERMS>,
    starts: Starts<'_>,
    block: &mut Block,
) -> f64 {
    look_up(set, pieces, block);
    let rows = &pieces.rows;
    let [_, _, _, dx, dy, dz] = starts.map(|column| wide::<S>(column));
    let [aside, per_radius, place] =
        [&block.aside, &block.per_radius, &block.place].map(|column| wide::<S>(column));
    let [x, y, z] = [&mut block.hit_x, &mut block.hit_y, &mut block.hit_z].map(|c| wide_mut::<S>(c));
    let [square, steep] = [&mut block.square, &mut block.steep].map(|c| wide_mut::<S>(c));
    let mut moved = V::all(set, 0.0);
    for i in 0..place.len() {
        let mut coefficients = [V::all(set, 0.0); TERMS];
        match &pieces.few {
            Some(few) if FEW_ROWS => {
                let number = wide::<S>(&block.number)[i];
                for term in 0..TERMS {
                    coefficients[term] = V(set, set.pick(&few[term], number));
                }
            }
            _ => {
                let numbers = &block.number[i * S::F64_LANES..][..S::F64_LANES];
                let row =
                    |lane: usize| rows[numbers[lane].to_bits() as usize & (MOST - 1)].as_chunks::<4>().0;
                let low = set.columns(|lane| &row(lane)[0]);
                let high = if TERMS > 4 { set.columns(|lane| &row(lane)[1]) } else { low };
                for term in 0..TERMS {
                    coefficients[term] = V(set, if term < 4 { low[term] } else { high[term - 4] });
                }
            }
        }
        let [h, s, half_bend] = polynomial(V(set, place[i]), &coefficients);
        let (inverse, aside) = (V(set, per_radius[i]), V(set, aside[i]));
        let [dx, dy, dz] = at!(set, i; dx, dy, dz);
        let height = V(set, z[i]);
        let per_radius = s * inverse;
        let steep_here = conic_steep::<S, PARABOLA>(set, optics, height) + per_radius;
        let by = h / (-steep_here).times_plus(aside, dz);
        moved = moved.most(by.size());
        let shift = aside * inverse * by;
        let raised = s.times_plus(shift, h);
        let square_here = (aside + aside).times_plus(by, V(set, square[i]));
        let height = if PARABOLA { height } else { dz.times_plus(by, height) - raised };
        let steep_here =
            if PARABOLA { steep_here } else { conic_steep::<S, PARABOLA>(set, optics, height) + per_radius };
        steep[i] = (shift * inverse).times_plus(half_bend + half_bend - per_radius, steep_here).1;
        z[i] = conic_height::<S, PARABOLA>(set, optics, square_here, height, raised).1;
        (x[i], y[i]) = (dx.times_plus(by, V(set, x[i])).1, dy.times_plus(by, V(set, y[i])).1);
        square[i] = square_here.1;
    }
    moved.largest()
}

/// The way from the glass to the plane.
struct Ahead<'a, S: Wide> {
    set: S,
    optics: &'a Optics,
    height_mm: f64,
    starts: Starts<'a>,
}

impl<S: Wide> Ahead<'_, S> {
    /// Takes the rays to the plane; says how far from the centre they land, at most, mm. With `ALL` past all parts, and
    /// their way is written down; with `SUM` they are added up rather than written down where they land.
    #[inline(always)]
    fn go<const ALL: bool, const SUM: bool>(
        &self,
        block: &mut Block,
        [cx, cy]: [f64; 2],
        sums: &mut Running<S>,
    ) -> f64 {
        let set = self.set;
        let all = |value: f64| V::all(set, value);
        let [_, _, _, dx, dy, dz] = self.starts.map(|column| wide::<S>(column));
        let [x, y, z] = [&block.hit_x, &block.hit_y, &block.hit_z].map(|column| wide::<S>(column));
        let [square, steep] = [&block.square, &block.steep].map(|column| wide::<S>(column));
        let [up_x, up_y, up_z] =
            [&mut block.up_x, &mut block.up_y, &mut block.up_z].map(|c| wide_mut::<S>(c));
        let [along, across] = [&mut block.along, &mut block.across].map(|c| wide_mut::<S>(c));
        let spare = wide_mut::<S>(&mut block.spare);
        let [one, limit, height] = all_lanes!(set; 1.0, self.optics.limit_mm2, self.height_mm);
        let [cx, cy] = all_lanes!(set; cx, cy);
        let mut farthest = all(0.0);
        let mut running = *sums;
        for i in 0..x.len() {
            let [dx, dy, dz] = at!(set, i; dx, dy, dz);
            let [x, y, z] = at!(set, i; x, y, z);
            let [square, steep] = at!(set, i; square, steep);
            // d - 2 (d.N) N/N^2 with the unnormalised normal N = (-zx, -zy, 1).
            let (sx, sy) = (x * steep, y * steep);
            let beam = (-sx).times_plus(dx, (-sy).times_plus(dy, dz));
            let twice = (beam + beam) / (steep * steep).times_plus(square, one);
            let (ux, uy, uz) = (twice.times_plus(sx, dx), twice.times_plus(sy, dy), dz - twice);
            let t = (height - z) / uz;
            let mut passes = V(set, spare[i]).least(limit - square);
            if ALL {
                for edge in &self.optics.up {
                    passes = passes.least(passed_at(set, edge, [x, y, z], [ux, uy, uz]));
                }
                if !SUM {
                    (up_x[i], up_y[i], up_z[i]) = (ux.1, uy.1, uz.1);
                }
            }
            if SUM {
                let (x, y) = (ux.times_plus(t, x - cx), uy.times_plus(t, y - cy));
                let square = x.times_plus(x, y * y);
                farthest = farthest.most(square);
                running.add(x, y, square, None, Some(passes));
            } else {
                let (x, y) = (ux.times_plus(t, x), uy.times_plus(t, y));
                farthest = farthest.most(x.times_plus(x, y * y));
                (along[i], across[i], spare[i]) = (x.1, y.1, passes.1);
            }
        }
        *sums = running;
        farthest.largest().sqrt()
    }
}

/// Value, slope and half of the bend of polynomials, by Horner's rule for all together.
#[inline(always)]
fn polynomial<S: Wide, const TERMS: usize>(t: V<S>, coefficients: &[V<S>; TERMS]) -> [V<S>; 3] {
    // The first terms are written out: nothing is multiplied with nothing.
    let highest = coefficients[TERMS - 1];
    let h = highest.times_plus(t, coefficients[TERMS - 2]);
    let mut s = highest.times_plus(t, h);
    let mut h = h.times_plus(t, coefficients[TERMS - 3]);
    let mut half_bend = highest;
    for term in (0..TERMS - 3).rev() {
        half_bend = half_bend.times_plus(t, s);
        s = s.times_plus(t, h);
        h = h.times_plus(t, coefficients[term]);
    }
    [h, s, half_bend]
}
