//! The inner loops of light by size: blocks of rays side by side, from the plane of the rim to the flat's plane and the sizes
//! that they ask for.

// Conditions without a branch: `&&` is one, and ends a vector loop.
#![allow(clippy::needless_bitwise_bool)]
// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use std::f64::consts::PI;

use super::stops::{Circle, Met};
use crate::numeric::phase::sine_and_cosine;
use crate::numeric::simd::{add_product, each_set};

/// Rays that are taken side by side: their columns stay in the first cache.
pub(super) const BLOCK: usize = 256;
pub(super) type Column = [f64; BLOCK];
/// Extremes are kept in so many lanes: the greatest of all lanes in one number is no vector instruction.
const SIDE: usize = 16;

/// Adding 2^52 to a whole number below it leaves the number in the lower bits.
const TWO_52: f64 = 4_503_599_627_370_496.0;
/// Adding and taking away 1.5 x 2^52 rounds to the nearest whole number.
const ROUNDER: f64 = 6_755_399_441_055_744.0;

/// A bare mirror, and the light that comes down to it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Down {
    /// Curvature, 1/mm, and 1 + conic constant.
    pub(super) conic: (f64, f64),
    pub(super) rim_mm: f64,
    /// Unit vector toward the star.
    pub(super) towards: [f64; 3],
}

/// How the offset of a flat goes with its size, and where the flats stand.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rule {
    pub(super) height_mm: f64,
    /// The stated offset; without one, half the clear aperture and the span from the diagonal to the plane of the rim: a
    /// flat of slope k is 2 (A - k B)/(1 - k^2) wide.
    pub(super) offset_mm: Option<f64>,
    pub(super) half_aperture_mm: f64,
    pub(super) span_mm: f64,
}

/// Sizes at even steps.
#[derive(Clone, Copy, Debug)]
pub(super) struct Even {
    pub(super) least_mm: f64,
    pub(super) per_mm: f64,
    /// How many there are.
    pub(super) count: usize,
    /// A number nearer to one than this, in steps, is asked by itself.
    pub(super) near: f64,
}

/// A block of rays, column by column.
#[repr(align(64))]
pub(super) struct Block {
    pub(super) x: Column,
    pub(super) y: Column,
    pub(super) z: Column,
    pub(super) dx: Column,
    pub(super) dy: Column,
    pub(super) dz: Column,
    /// Where the rays cross the plane of the unmoved flat, on their way up and down.
    pub(super) up: [Column; 2],
    pub(super) down: [Column; 2],
    /// The size from which a ray passes the face, and that from which the shadow holds it.
    pub(super) passes_from: Column,
    pub(super) shadowed_from: Column,
    /// How far outside of the other parts a ray passes, of the one that stops it most, mm.
    pub(super) excess: Column,
    /// The first sizes not below these: a ray is lit by all from one to before the other. Where it is lit by none, or has to
    /// be asked by itself, both are one beyond the count of sizes.
    pub(super) from: [u32; BLOCK],
    pub(super) to: [u32; BLOCK],
    /// 1 where a ray has to be asked by itself.
    pub(super) odd: [u32; BLOCK],
}

impl Block {
    pub(super) fn new() -> Self {
        let (none, whole) = ([0.0; BLOCK], [0; BLOCK]);
        Self {
            x: none,
            y: none,
            z: none,
            dx: none,
            dy: none,
            dz: [1.0; BLOCK],
            up: [none; 2],
            down: [none; 2],
            passes_from: none,
            shadowed_from: none,
            excess: none,
            from: whole,
            to: whole,
            odd: whole,
        }
    }
}

each_set! {
    /// Points number `first` and on of an even net of `count` over the disc of the rim: each stands for the same area and is
    /// turned by the golden angle from the one before.
    pub(super) fn net(rim_mm: f64, count: usize, first: usize, x: &mut Column, y: &mut Column) = net_with;
}

#[inline(always)]
fn net_with<const FUSED: bool>(rim_mm: f64, count: usize, first: usize, x: &mut Column, y: &mut Column) {
    let golden = PI * (3.0 - 5.0_f64.sqrt());
    let (start, per) = (first as f64, 1.0 / count as f64);
    for i in 0..BLOCK {
        let number = start + i as f64;
        let r = rim_mm * ((number + 0.5) * per).sqrt();
        let (sin, cos) = sine_and_cosine(golden * number);
        (x[i], y[i]) = (r * cos, r * sin);
    }
}

/// The conic's height at a squared radius; a paraboloid needs no root.
#[inline(always)]
fn height<const PARABOLOID: bool>((curvature, shape): (f64, f64), square: f64) -> f64 {
    if PARABOLOID {
        0.5 * curvature * square
    } else {
        curvature * square / (1.0 + (1.0 - shape * curvature * curvature * square).sqrt())
    }
}

each_set! {
    /// Moves points of the rim's plane along the light to the mirror: three steps, each a thousand times nearer.
    pub(super) fn place(light: &Down, start: [&Column; 2], block: &mut Block) = place_with;
}

#[inline(always)]
fn place_with<const FUSED: bool>(light: &Down, start: [&Column; 2], block: &mut Block) {
    if light.conic.1 == 0.0 {
        place_on::<FUSED, true>(light, start, block);
    } else {
        place_on::<FUSED, false>(light, start, block);
    }
}

#[inline(always)]
fn place_on<const FUSED: bool, const PARABOLOID: bool>(
    light: &Down,
    [x, y]: [&Column; 2],
    block: &mut Block,
) {
    let (conic, [tx, ty, tz]) = (light.conic, light.towards);
    let rim = height::<PARABOLOID>(conic, light.rim_mm * light.rim_mm);
    let (down_x, down_y) = (tx / tz, ty / tz);
    for i in 0..BLOCK {
        let (mut px, mut py) = (x[i], y[i]);
        for _ in 0..3 {
            let down = rim - height::<PARABOLOID>(conic, add_product::<FUSED>(px, px, py * py));
            (px, py) = (add_product::<FUSED>(-down_x, down, x[i]), add_product::<FUSED>(-down_y, down, y[i]));
        }
        (block.x[i], block.y[i]) = (px, py);
        block.z[i] = height::<PARABOLOID>(conic, add_product::<FUSED>(px, px, py * py));
    }
}

each_set! {
    /// Reflects the rays at the bare conic.
    pub(super) fn reflect(light: &Down, block: &mut Block) = reflect_with;
}

#[inline(always)]
fn reflect_with<const FUSED: bool>(light: &Down, block: &mut Block) {
    if light.conic.1 == 0.0 {
        reflect_on::<FUSED, true>(light, block);
    } else {
        reflect_on::<FUSED, false>(light, block);
    }
}

#[inline(always)]
fn reflect_on<const FUSED: bool, const PARABOLOID: bool>(light: &Down, block: &mut Block) {
    let ((curvature, shape), [tx, ty, tz]) = (light.conic, light.towards);
    for i in 0..BLOCK {
        let (x, y) = (block.x[i], block.y[i]);
        let per_radius = if PARABOLOID {
            curvature
        } else {
            curvature / (1.0 - shape * curvature * curvature * (x * x + y * y)).sqrt()
        };
        let (sx, sy) = (x * per_radius, y * per_radius);
        // Of any length: only where the ray crosses planes counts, and a division is saved.
        let down = add_product::<FUSED>(-tx, sx, add_product::<FUSED>(-ty, sy, tz));
        let length = add_product::<FUSED>(sx, sx, add_product::<FUSED>(sy, sy, 1.0));
        let scale = 2.0 * down;
        block.dx[i] = add_product::<FUSED>(-tx, length, -(scale * sx));
        block.dy[i] = add_product::<FUSED>(-ty, length, -(scale * sy));
        block.dz[i] = add_product::<FUSED>(-tz, length, scale);
    }
}

/// How far rays cross the flat's plane from the centres of the flats with these offsets: the most of the squares on their way
/// up, and the least on their way down, mm^2.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extremes {
    pub(super) most_up: f64,
    pub(super) least_down: f64,
}

each_set! {
    /// Carries the rays to the flat's plane; `offsets_mm` are those of the smallest flat, for the way up, and of the largest.
    pub(super) fn cross(light: &Down, height_mm: f64, offsets_mm: (f64, f64), block: &mut Block) -> Extremes = cross_with;
}

#[inline(always)]
fn cross_with<const FUSED: bool>(
    light: &Down,
    height_mm: f64,
    (offset_up, offset_down): (f64, f64),
    block: &mut Block,
) -> Extremes {
    let [tx, ty, tz] = light.towards;
    let down = 1.0 / (tz - tx);
    let (mut most, mut least) = ([0.0; SIDE], [f64::INFINITY; SIDE]);
    for from in (0..BLOCK).step_by(SIDE) {
        for k in 0..SIDE {
            let i = from + k;
            let (x, y, dx, dy) = (block.x[i], block.y[i], block.dx[i], block.dy[i]);
            let rise = (x - block.z[i]) + height_mm;
            let (t_up, t_down) = (rise / (block.dz[i] - dx), rise * down);
            let (ux, uy) = (add_product::<FUSED>(dx, t_up, x), add_product::<FUSED>(dy, t_up, y));
            let (wx, wy) = (add_product::<FUSED>(tx, t_down, x), add_product::<FUSED>(ty, t_down, y));
            (block.up[0][i], block.up[1][i], block.down[0][i], block.down[1][i]) = (ux, uy, wx, wy);
            let (u, w) = (ux + offset_up, wx + offset_down);
            let (u2, w2) = (add_product::<FUSED>(u, u, uy * uy), add_product::<FUSED>(w, w, wy * wy));
            most[k] = if u2 > most[k] { u2 } else { most[k] };
            least[k] = if w2 < least[k] { w2 } else { least[k] };
        }
    }
    Extremes {
        most_up: most.into_iter().fold(0.0, f64::max),
        least_down: least.into_iter().fold(f64::INFINITY, f64::min),
    }
}

each_set! {
    /// Notes how far outside of a circle the rays pass, or inside of a body.
    pub(super) fn pass_circle(light: &Down, circle: &Circle, is_body: bool, block: &mut Block) = pass_with;
}

#[inline(always)]
fn pass_with<const FUSED: bool>(light: &Down, circle: &Circle, is_body: bool, block: &mut Block) {
    match circle.met {
        Met::Mirror => pass_on::<FUSED, 0>(light, circle, is_body, block),
        Met::Down => pass_on::<FUSED, 1>(light, circle, is_body, block),
        Met::Up => pass_on::<FUSED, 2>(light, circle, is_body, block),
    }
}

#[inline(always)]
fn pass_on<const FUSED: bool, const MET: u8>(
    light: &Down,
    circle: &Circle,
    is_body: bool,
    block: &mut Block,
) {
    let sign = if is_body { -1.0 } else { 1.0 };
    let [tx, ty, tz] = light.towards;
    for i in 0..BLOCK {
        let (x, y) = (block.x[i], block.y[i]);
        let (dx, dy, dz) = if MET == 2 { (block.dx[i], block.dy[i], block.dz[i]) } else { (tx, ty, tz) };
        let t = if MET == 0 {
            0.0
        } else {
            (circle.height_mm + circle.tilt * x - block.z[i]) / (dz - circle.tilt * dx)
        };
        let px = add_product::<FUSED>(dx, t, x) + circle.offset_mm;
        let py = add_product::<FUSED>(dy, t, y);
        let excess = sign * (add_product::<FUSED>(px, px, py * py).sqrt() - circle.radius_mm);
        block.excess[i] = if excess > block.excess[i] { excess } else { block.excess[i] };
    }
}

each_set! {
    /// The size of the flat on whose rim each ray passes, from where the rays cross the plane of the unmoved flat.
    ///
    /// With (X, Y) there: a stated offset o gives 2 |(X + o, Y)|. A flat offset for its own lit circle is the cut of a cone of
    /// slope k with its plane: Y^2 (1 - k^2) = (A - k (B + X))^2 - X^2, a quadratic in k whose smaller root counts, and the size
    /// is 2 (A - k B)/(1 - k^2).
    pub(super) fn sizes_of_rays(rule: &Rule, crossing: &[Column; 2], sizes: &mut Column) = sizes_with;
}

#[inline(always)]
fn sizes_with<const FUSED: bool>(rule: &Rule, [x, y]: &[Column; 2], sizes: &mut Column) {
    let (a, b) = (rule.half_aperture_mm, rule.span_mm);
    if let Some(offset) = rule.offset_mm {
        for i in 0..BLOCK {
            let px = x[i] + offset;
            sizes[i] = 2.0 * add_product::<FUSED>(px, px, y[i] * y[i]).sqrt();
        }
    } else {
        let a2 = a * a;
        for i in 0..BLOCK {
            let (px, c) = (x[i], b + x[i]);
            let (x2, y2, c2) = (px * px, y[i] * y[i], c * c);
            let square = add_product::<FUSED>(c2, x2, y2 * ((c2 - a2) + (x2 + y2)));
            let root = (if square > 0.0 { square } else { 0.0 }).sqrt();
            // k is n/d; divisions are what this loop waits for.
            let (n, d) = (add_product::<FUSED>(a, c, -root), c2 + y2);
            let wide = add_product::<FUSED>(a, d, -(n * b));
            sizes[i] = 2.0 * d * wide / add_product::<FUSED>(d, d, -(n * n));
        }
    }
}

each_set! {
    /// Turns sizes of rays into places among even sizes. Rays out of other parts, of an excess above nothing, are lit by none.
    pub(super) fn places(even: &Even, block: &mut Block) = places_with;
}

#[inline(always)]
fn places_with<const FUSED: bool>(even: &Even, block: &mut Block) {
    let (count, none) = (even.count as f64, even.count as u64 + 1);
    for i in 0..BLOCK {
        let place = |size: f64| {
            let steps = (size - even.least_mm) * even.per_mm;
            let steps = if steps < count { steps } else { count + 0.5 };
            let steps = if steps > -1.0 { steps } else { -0.5 };
            let whole = (steps + ROUNDER) - ROUNDER;
            let up = if whole < steps { whole + 1.0 } else { whole };
            (if up < count { up } else { count }, (steps - whole).abs())
        };
        let (from, from_off) = place(block.passes_from[i]);
        let (to, to_off) = place(block.shadowed_from[i]);
        let is_near = (from_off < even.near) | (to_off < even.near);
        let is_out = block.excess[i] > 0.0;
        let is_lit = (from < to) & !is_near & !is_out;
        let whole = |place: f64| if is_lit { (place + TWO_52).to_bits() } else { none };
        (block.from[i], block.to[i]) = (whole(from) as u32, whole(to) as u32);
        block.odd[i] = u32::from(is_near & !is_out);
    }
}
