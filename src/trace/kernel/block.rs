//! The inner loops: a block of rays from where they start to the focal plane, in columns that fit the first cache.
//!
//! Several plain loops over the block rather than one: each is short enough for the registers, and none waits for its
//! own last result. No branches, masks instead; where a loop meets a ray that it cannot hold to its accuracy it says
//! so, and that ray takes the slow road.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use std::sync::Arc;

use multiversion::multiversion;
use multiversion::target::match_target;

use super::rings::Ring;
use super::table::{Row, Table};
use crate::numeric::simd::Instructions;

/// Rays of a block. Measured best: blocks of 128 wait for memory a third longer, as their columns are read in bursts,
/// and blocks of 16 pay for their many loops.
pub(super) const BLOCK: usize = 32;

/// The numbers of a block's rays, one each.
pub(super) type Column = [f64; BLOCK];

/// Nearer to the axis than this, mm, a shift along the radius is no small part of it.
const NEAR_AXIS_MM: f64 = 0.01;
/// Nearer to the end of the table than this, relative to the squared radius, a ray takes the slow road.
const NEAR_END: f64 = 1e-7;
/// Up to this the root's series holds to rounding: its first term left out is 33/1024 of the sixth power.
const SHALLOW: f64 = 2e-3;
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

/// A block of rays on their way.
#[derive(Clone, Debug)]
pub(super) struct Block {
    pub(super) x: Column,
    pub(super) y: Column,
    pub(super) z: Column,
    pub(super) dx: Column,
    pub(super) dy: Column,
    pub(super) dz: Column,
    /// 1 for a ray that nothing has stopped, else 0.
    pub(super) lit: Column,
    /// Not 0: the loops cannot hold this ray.
    pub(super) unsure: [u64; BLOCK],
    /// Where the mirror is met, mm.
    pub(super) hit_x: Column,
    pub(super) hit_y: Column,
    pub(super) hit_z: Column,
    /// Slope of the surface over the radius.
    pub(super) steepness: Column,
    /// Where the focal plane is met, mm.
    pub(super) along: Column,
    pub(super) across: Column,
    /// Direction after the mirror, of any length.
    up_x: Column,
    up_y: Column,
    up_z: Column,
    radius: Column,
    number: [u64; BLOCK],
    place: Column,
    rows: [Column; 8],
}

impl Block {
    pub(super) fn new() -> Box<Self> {
        let zero = [0.0; BLOCK];
        Box::new(Self {
            x: zero,
            y: zero,
            z: zero,
            dx: zero,
            dy: zero,
            dz: zero,
            lit: zero,
            unsure: [0; BLOCK],
            hit_x: zero,
            hit_y: zero,
            hit_z: zero,
            steepness: zero,
            along: zero,
            across: zero,
            up_x: zero,
            up_y: zero,
            up_z: zero,
            radius: zero,
            number: [0; BLOCK],
            place: zero,
            rows: [zero; 8],
        })
    }

    /// A ray's direction after the mirror, of any length.
    pub(super) fn up(&self, i: usize) -> [f64; 3] {
        [self.up_x[i], self.up_y[i], self.up_z[i]]
    }

    pub(super) fn set_up(&mut self, i: usize, up: [f64; 3]) {
        [self.up_x[i], self.up_y[i], self.up_z[i]] = up;
    }
}

/// Traces the rays of a block to the plane at a height, with these instructions; says whether some have to take the
/// slow road, of which some may be no rays at all: not unit vectors, not downward, no numbers.
#[inline]
pub(super) fn trace(set: Instructions, optics: &Optics, height_mm: f64, block: &mut Block) -> bool {
    match set {
        Instructions::Avx512 => trace_avx512(optics, height_mm, block),
        Instructions::Avx2 => trace_avx2(optics, height_mm, block),
        Instructions::Portable => trace_with::<false>(optics, height_mm, block),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma"))]
fn trace_avx512(optics: &Optics, height_mm: f64, block: &mut Block) -> bool {
    match_target! {
        "x86_64+fma" => trace_with::<true>(optics, height_mm, block),
        _ => trace_with::<false>(optics, height_mm, block),
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn trace_avx2(optics: &Optics, height_mm: f64, block: &mut Block) -> bool {
    match_target! {
        "x86_64+fma" => trace_with::<true>(optics, height_mm, block),
        _ => trace_with::<false>(optics, height_mm, block),
    }
}

#[inline(always)]
fn trace_with<const FUSED: bool>(optics: &Optics, height_mm: f64, block: &mut Block) -> bool {
    if optics.shape == 0.0 {
        whole_way::<FUSED, true>(optics, height_mm, block)
    } else {
        whole_way::<FUSED, false>(optics, height_mm, block)
    }
}

#[inline(always)]
fn whole_way<const FUSED: bool, const PARABOLA: bool>(
    optics: &Optics,
    height_mm: f64,
    block: &mut Block,
) -> bool {
    let mut unsure = meet::<FUSED, PARABOLA>(optics, block);
    for edge in &optics.down {
        go_down::<FUSED>(edge, block);
    }
    match &optics.figure {
        None => bare::<FUSED, PARABOLA>(optics, block),
        Some(table) => unsure |= with_figure::<FUSED, PARABOLA>(optics, table, block),
    }
    reflect::<FUSED>(block);
    for edge in &optics.up {
        go_up::<FUSED>(edge, block);
    }
    land::<FUSED>(height_mm, block);
    unsure
}

/// a b + c, in one rounding where the processor has it.
#[inline(always)]
pub(super) fn add_product<const FUSED: bool>(a: f64, b: f64, c: f64) -> f64 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// Where the rays meet the conic.
///
/// c (x^2 + y^2 + (1+K) z^2) - 2 z = 0 along the ray: a t^2 + 2 b t + q = 0, with b > 0 for light on its way down. For
/// a paraboloid a is small and t = -q/(2b) (1 + e/4 + e^2/8 + 5 e^3/64 + ...), e = a q/b^2.
#[inline(always)]
fn meet<const FUSED: bool, const PARABOLA: bool>(optics: &Optics, block: &mut Block) -> bool {
    let (c, k) = (optics.curvature_per_mm, optics.shape);
    let (mut deep, mut lost) = (u64::from(!PARABOLA), 0_u64);
    for i in 0..BLOCK {
        let (x, y, z, dx, dy, dz) =
            (block.x[i], block.y[i], block.z[i], block.dx[i], block.dy[i], block.dz[i]);
        let aside = add_product::<FUSED>(dx, dx, dy * dy);
        let length = add_product::<FUSED>(dz, dz, aside);
        let odd = u64::from(!((length - 1.0).abs() <= UNIT)) | u64::from(!(dz < 0.0));
        if PARABOLA {
            let a = c * aside;
            let b = add_product::<FUSED>(c, add_product::<FUSED>(x, dx, y * dy), -dz);
            let q = add_product::<FUSED>(c, add_product::<FUSED>(x, x, y * y), -2.0 * z);
            let inverse = 1.0 / b;
            let e = (a * inverse) * (q * inverse);
            deep |= u64::from(!(e.abs() <= SHALLOW));
            let mut series = add_product::<FUSED>(e, 21.0 / 512.0, 7.0 / 128.0);
            series = add_product::<FUSED>(series, e, 5.0 / 64.0);
            series = add_product::<FUSED>(series, e, 1.0 / 8.0);
            series = add_product::<FUSED>(series, e, 1.0 / 4.0);
            series = add_product::<FUSED>(series, e, 1.0);
            let t = -0.5 * q * inverse * series;
            block.hit_x[i] = add_product::<FUSED>(dx, t, x);
            block.hit_y[i] = add_product::<FUSED>(dy, t, y);
            let odd = odd | u64::from(!(b > 0.0)) | u64::from(!(t.abs() <= FAR_MM));
            block.unsure[i] = odd;
            lost |= odd;
        } else {
            block.unsure[i] = odd;
        }
    }
    if deep != 0 {
        for i in 0..BLOCK {
            let (x, y, z, dx, dy, dz) =
                (block.x[i], block.y[i], block.z[i], block.dx[i], block.dy[i], block.dz[i]);
            let a = c * (dx * dx + dy * dy + k * dz * dz);
            let b = c * (x * dx + y * dy + k * z * dz) - dz;
            let q = c * (x * x + y * y + k * z * z) - 2.0 * z;
            let t = -q / (b + (b * b - a * q).sqrt());
            block.hit_x[i] = add_product::<FUSED>(dx, t, x);
            block.hit_y[i] = add_product::<FUSED>(dy, t, y);
            block.hit_z[i] = add_product::<FUSED>(dz, t, z);
            let odd = block.unsure[i] | u64::from(!(b > 0.0)) | u64::from(!(t.abs() <= FAR_MM));
            block.unsure[i] = odd;
            lost |= odd;
        }
    }
    lost != 0
}

/// The slope of the conic over the radius where its height is known, and that height from the radius: the line's own
/// height carries the rounding of its length.
#[inline(always)]
fn conic<const FUSED: bool, const PARABOLA: bool>(c: f64, k: f64, r2: f64, height: f64) -> (f64, f64) {
    if PARABOLA {
        return (c, 0.5 * c * r2);
    }
    let root = add_product::<FUSED>(-k * c, height, 1.0);
    (c / root, c * r2 / (1.0 + root))
}

/// The mirror without a figure.
#[inline(always)]
fn bare<const FUSED: bool, const PARABOLA: bool>(optics: &Optics, block: &mut Block) {
    let (c, k) = (optics.curvature_per_mm, optics.shape);
    for i in 0..BLOCK {
        let (x, y) = (block.hit_x[i], block.hit_y[i]);
        let r2 = add_product::<FUSED>(x, x, y * y);
        let (steepness, z) = conic::<FUSED, PARABOLA>(c, k, r2, block.hit_z[i]);
        (block.steepness[i], block.hit_z[i]) = (steepness, z);
        block.lit[i] = if r2 <= optics.limit_mm2 { block.lit[i] } else { 0.0 };
    }
}

/// From the conic to the glass: one step of Newton's rule, and everything that depends on the radius moved by it to
/// first order.
#[inline(always)]
fn with_figure<const FUSED: bool, const PARABOLA: bool>(
    optics: &Optics,
    table: &Table,
    block: &mut Block,
) -> bool {
    let end_mm = table.end_mm();
    for i in 0..BLOCK {
        let (x, y) = (block.hit_x[i], block.hit_y[i]);
        let r = add_product::<FUSED>(x, x, y * y).sqrt();
        block.radius[i] = if r < end_mm { r } else { end_mm };
    }
    match table {
        Table::Cubic { pieces, .. } => {
            pieces.look_up(&block.radius, &mut block.number, &mut block.place, &mut block.rows);
            step::<FUSED, PARABOLA, 4>(optics, table, block)
        }
        Table::High { pieces, .. } => {
            pieces.look_up(&block.radius, &mut block.number, &mut block.place, &mut block.rows);
            step::<FUSED, PARABOLA, 8>(optics, table, block)
        }
    }
}

#[inline(always)]
fn step<const FUSED: bool, const PARABOLA: bool, const TERMS: usize>(
    optics: &Optics,
    table: &Table,
    block: &mut Block,
) -> bool {
    let (c, k) = (optics.curvature_per_mm, optics.shape);
    let (safe_mm2, end_mm2) =
        (table.safe_shift_mm() * table.safe_shift_mm(), table.end_mm() * table.end_mm());
    let mut any = 0;
    for i in 0..BLOCK {
        let (x, y, dx, dy, dz) = (block.hit_x[i], block.hit_y[i], block.dx[i], block.dy[i], block.dz[i]);
        let (r, t) = (block.radius[i], block.place[i]);
        // Horner's rule for value, slope and half of the bend together.
        let (mut h, mut s, mut half_bend) = (block.rows[TERMS - 1][i], 0.0, 0.0);
        for term in (0..TERMS - 1).rev() {
            half_bend = add_product::<FUSED>(half_bend, t, s);
            s = add_product::<FUSED>(s, t, h);
            h = add_product::<FUSED>(h, t, block.rows[term][i]);
        }
        let inverse = 1.0 / r;
        let per_radius = s * inverse;
        let height = if PARABOLA { 0.0 } else { block.hit_z[i] };
        let steep = if PARABOLA { c } else { c / add_product::<FUSED>(-k * c, height, 1.0) };
        let aside = add_product::<FUSED>(x, dx, y * dy);
        let closing = add_product::<FUSED>(-(steep + per_radius), aside, dz);
        let by = h / closing;
        let shift = aside * inverse * by;
        let (x, y) = (add_product::<FUSED>(dx, by, x), add_product::<FUSED>(dy, by, y));
        let r2 = add_product::<FUSED>(x, x, y * y);
        // Where the table ends it may end short of the glass.
        let at_end = (r2 - end_mm2).abs() <= NEAR_END * end_mm2;
        // Also a shift around the axis changes the radius, to second order.
        let sideways = add_product::<FUSED>(dx, dx, dy * dy) * (by * by);
        let far = u64::from(!(sideways <= safe_mm2)) & u64::from(!(r2 > end_mm2));
        let unsure = far | u64::from(!(r >= NEAR_AXIS_MM)) | u64::from(at_end);
        block.unsure[i] |= unsure;
        any |= unsure;
        let raised = add_product::<FUSED>(s, shift, h);
        let height = add_product::<FUSED>(dz, by, height) - raised;
        let (steep, z) = conic::<FUSED, PARABOLA>(c, k, r2, height);
        let slope = add_product::<FUSED>(2.0 * half_bend, shift, s);
        let inverse = inverse - inverse * inverse * shift;
        block.steepness[i] = add_product::<FUSED>(slope, inverse, steep);
        block.hit_z[i] = raised + z;
        (block.hit_x[i], block.hit_y[i]) = (x, y);
        block.lit[i] = if r2 <= optics.limit_mm2 { block.lit[i] } else { 0.0 };
    }
    any != 0
}

/// Stops what a part stands in the way of, before the mirror. Both sides are multiplied by what the ray's length would
/// have to be divided by.
#[inline(always)]
fn go_down<const FUSED: bool>(edge: &Edge, block: &mut Block) {
    for i in 0..BLOCK {
        let (dx, dy, dz) = (block.dx[i], block.dy[i], block.dz[i]);
        let far = passed_at::<FUSED>(edge, [block.x[i], block.y[i], block.z[i]], [dx, dy, dz]);
        block.lit[i] = if far { block.lit[i] } else { 0.0 };
    }
}

/// The same after the mirror.
#[inline(always)]
fn go_up<const FUSED: bool>(edge: &Edge, block: &mut Block) {
    for i in 0..BLOCK {
        let up = [block.up_x[i], block.up_y[i], block.up_z[i]];
        let far = passed_at::<FUSED>(edge, [block.hit_x[i], block.hit_y[i], block.hit_z[i]], up);
        block.lit[i] = if far { block.lit[i] } else { 0.0 };
    }
}

#[inline(always)]
fn passed_at<const FUSED: bool>(edge: &Edge, [x, y, z]: [f64; 3], [dx, dy, dz]: [f64; 3]) -> bool {
    let gap = add_product::<FUSED>(edge.tilt, x, edge.height_mm) - z;
    let pace = add_product::<FUSED>(-edge.tilt, dx, dz);
    let along = add_product::<FUSED>(x + edge.offset_mm, pace, dx * gap);
    let across = add_product::<FUSED>(y, pace, dy * gap);
    let square = add_product::<FUSED>(along, along, across * across);
    let limit = edge.limit_mm2 * (pace * pace);
    // What is no number passes neither.
    if edge.opening { square <= limit } else { square >= limit }
}

/// d - 2 (d.N) N/N^2 with the unnormalised normal N = (-zx, -zy, 1), times N^2.
#[inline(always)]
fn reflect<const FUSED: bool>(block: &mut Block) {
    for i in 0..BLOCK {
        let steep = block.steepness[i];
        let (sx, sy) = (block.hit_x[i] * steep, block.hit_y[i] * steep);
        let (dx, dy, dz) = (block.dx[i], block.dy[i], block.dz[i]);
        let beam = add_product::<FUSED>(-sx, dx, add_product::<FUSED>(-sy, dy, dz));
        let square = add_product::<FUSED>(sx, sx, add_product::<FUSED>(sy, sy, 1.0));
        let twice = 2.0 * beam;
        block.up_x[i] = add_product::<FUSED>(square, dx, twice * sx);
        block.up_y[i] = add_product::<FUSED>(square, dy, twice * sy);
        block.up_z[i] = add_product::<FUSED>(square, dz, -twice);
    }
}

#[inline(always)]
fn land<const FUSED: bool>(height_mm: f64, block: &mut Block) {
    for i in 0..BLOCK {
        let t = (height_mm - block.hit_z[i]) / block.up_z[i];
        block.along[i] = add_product::<FUSED>(block.up_x[i], t, block.hit_x[i]);
        block.across[i] = add_product::<FUSED>(block.up_y[i], t, block.hit_y[i]);
    }
}

/// Puts rays of a ring into a block from place `at` on, reflected: they hit the mirror at angles of these cosines and
/// sines; their weight is the beam's cross-section.
#[allow(clippy::too_many_arguments)]
#[inline]
pub(super) fn ring(
    set: Instructions,
    of: &Ring,
    towards: [f64; 3],
    cos: &[f64],
    sin: &[f64],
    at: usize,
    block: &mut Block,
    weight: &mut Column,
) {
    match set {
        Instructions::Avx512 => ring_avx512(of, towards, cos, sin, at, block, weight),
        Instructions::Avx2 => ring_avx2(of, towards, cos, sin, at, block, weight),
        Instructions::Portable => ring_with::<false>(of, towards, cos, sin, at, block, weight),
    }
}

#[allow(clippy::too_many_arguments)]
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma"))]
fn ring_avx512(
    of: &Ring,
    towards: [f64; 3],
    cos: &[f64],
    sin: &[f64],
    at: usize,
    block: &mut Block,
    weight: &mut Column,
) {
    match_target! {
        "x86_64+fma" => ring_with::<true>(of, towards, cos, sin, at, block, weight),
        _ => ring_with::<false>(of, towards, cos, sin, at, block, weight),
    }
}

#[allow(clippy::too_many_arguments)]
#[multiversion(targets("x86_64+avx2+fma"))]
fn ring_avx2(
    of: &Ring,
    towards: [f64; 3],
    cos: &[f64],
    sin: &[f64],
    at: usize,
    block: &mut Block,
    weight: &mut Column,
) {
    match_target! {
        "x86_64+fma" => ring_with::<true>(of, towards, cos, sin, at, block, weight),
        _ => ring_with::<false>(of, towards, cos, sin, at, block, weight),
    }
}

#[allow(clippy::too_many_arguments)]
#[inline(always)]
fn ring_with<const FUSED: bool>(
    of: &Ring,
    [tx, ty, tz]: [f64; 3],
    cos: &[f64],
    sin: &[f64],
    at: usize,
    block: &mut Block,
    weight: &mut Column,
) {
    let (r, s) = (of.radius_mm, of.slope);
    let square = add_product::<FUSED>(s, s, 1.0);
    let count = cos.len();
    let sin = &sin[..count];
    let (hit_x, hit_y) = (&mut block.hit_x[at..at + count], &mut block.hit_y[at..at + count]);
    let (up_x, up_y) = (&mut block.up_x[at..at + count], &mut block.up_y[at..at + count]);
    let (up_z, weight) = (&mut block.up_z[at..at + count], &mut weight[at..at + count]);
    block.hit_z[at..at + count].fill(of.height_mm);
    for i in 0..count {
        let (cos, sin) = (cos[i], sin[i]);
        let beam = add_product::<FUSED>(-s, add_product::<FUSED>(tx, cos, ty * sin), tz);
        let aside = -2.0 * beam * s;
        (hit_x[i], hit_y[i], weight[i]) = (r * cos, r * sin, beam);
        up_x[i] = add_product::<FUSED>(aside, cos, -square * tx);
        up_y[i] = add_product::<FUSED>(aside, sin, -square * ty);
        up_z[i] = add_product::<FUSED>(2.0, beam, -square * tz);
    }
}

/// Takes reflected rays, known by where they hit the mirror, past all round parts to the plane at a height.
#[inline]
pub(super) fn go_on(set: Instructions, optics: &Optics, height_mm: f64, block: &mut Block) {
    match set {
        Instructions::Avx512 => go_on_avx512(optics, height_mm, block),
        Instructions::Avx2 => go_on_avx2(optics, height_mm, block),
        Instructions::Portable => go_on_with::<false>(optics, height_mm, block),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma"))]
fn go_on_avx512(optics: &Optics, height_mm: f64, block: &mut Block) {
    match_target! {
        "x86_64+fma" => go_on_with::<true>(optics, height_mm, block),
        _ => go_on_with::<false>(optics, height_mm, block),
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn go_on_avx2(optics: &Optics, height_mm: f64, block: &mut Block) {
    match_target! {
        "x86_64+fma" => go_on_with::<true>(optics, height_mm, block),
        _ => go_on_with::<false>(optics, height_mm, block),
    }
}

#[inline(always)]
fn go_on_with<const FUSED: bool>(optics: &Optics, height_mm: f64, block: &mut Block) {
    for edge in &optics.down {
        come_down::<FUSED>(edge, block);
    }
    for edge in &optics.up {
        go_up::<FUSED>(edge, block);
    }
    land::<FUSED>(height_mm, block);
}

/// What [`go_down`] does, by where the light hits the mirror.
#[inline(always)]
fn come_down<const FUSED: bool>(edge: &Edge, block: &mut Block) {
    let toward = [block.dx[0], block.dy[0], block.dz[0]];
    for i in 0..BLOCK {
        let far = passed_at::<FUSED>(edge, [block.hit_x[i], block.hit_y[i], block.hit_z[i]], toward);
        block.lit[i] = if far { block.lit[i] } else { 0.0 };
    }
}

// Rows are held here so that the loops and the table agree about their width.
const _: () = assert!(std::mem::size_of::<Row<4>>() == 32 && std::mem::size_of::<Row<8>>() == 64);
