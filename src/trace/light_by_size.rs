//! How much light passes by diagonals of many sizes, by rays: each ray tells from which size on it passes the face, and
//! from which on it meets the shadow.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use multiversion::multiversion;
use serde::{Deserialize, Serialize};

use super::cone::Envelope;
use super::prepared::Prepared;
use super::pupil::lattice;
use super::ray::StarBeam;
use super::rays::GRAZING_MM;
use super::spot::check_field;
use super::stops::{Circle, Met, Part};
use crate::error::{Error, Result};
use crate::model::Diagonal;
use crate::numeric::pool;
use crate::units::Field;

/// Rays that are taken side by side: their columns stay in the first cache.
const BLOCK: usize = 256;
/// A ray that passes an edge nearer than this, mm, is asked again by the rule that single rays follow.
const NEAR_MM: f64 = 1e-7;
/// A block whose rays all pass an edge further away than this, mm^2 of the squared radius, asks nothing more about it: far above
/// rounding and above what [`NEAR_MM`] looks at again.
const AWAY_MM2: f64 = 1e-3;
/// Rays of one star, at most.
const MOST_RAYS: usize = 10_000_000;

/// Light that passes by diagonals of many sizes, counted in rays.
///
/// Units: mm. Shapes: `lit_rays` has one row a field point, one entry a size, in the order in which they were given.
/// Source: diagonals of one rule of offset are nested, so each ray has one size from which it passes and one from which it
/// is shadowed.
/// Leaves out: what lies between the rays; 10 000 rays are good to about 5e-4 of the light, 100 000 to 1e-4.
///
/// ```
/// use catoptric::{Diagonal, Field, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let sizes = Prepared::new(&train).light_by_size(&[63.0, 70.0], &[Field::AXIS], 10_000)?;
/// assert!((sizes.lit_fraction(0, 1) - (1.0 - (70.0_f64 / 318.0).powi(2))).abs() < 1e-3);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LightBySize {
    /// Minor axes, mm, as they were given.
    pub minor_axis_mm: Vec<f64>,
    /// Where the stars stand.
    pub fields: Vec<Field>,
    /// Rays of each star over the clear aperture, all of equal light.
    pub rays: usize,
    /// Rays that reach the image: one row a field point, one entry a size.
    pub lit_rays: Vec<Vec<u32>>,
}

impl LightBySize {
    /// Share of the light on the clear aperture that reaches the image, for a field point and a size by their numbers.
    ///
    /// ```
    /// use catoptric::{Field, LightBySize};
    /// let light = LightBySize { minor_axis_mm: vec![70.0], fields: vec![Field::AXIS], rays: 4, lit_rays: vec![vec![3]] };
    /// assert_eq!(light.lit_fraction(0, 0), 0.75);
    /// ```
    pub fn lit_fraction(&self, field: usize, size: usize) -> f64 {
        f64::from(self.lit_rays[field][size]) / self.rays as f64
    }
}

impl Prepared {
    /// Points of the mirror that stand for equal amounts of a star's light: where rays of an even net through the plane of
    /// the rim meet the mirror.
    ///
    /// Units: mm; the entries are x, y. Leaves out: the figure, whose slopes change the amounts by less than 1e-5.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let points = Prepared::new(&train).rays_of_equal_light(Field::AXIS, 100);
    /// assert_eq!(points.iter().filter(|p| p[0].hypot(p[1]) < 50.0).count(), 25);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn rays_of_equal_light(&self, field: Field, rays: usize) -> Vec<[f64; 2]> {
        let net: Vec<(f64, f64)> = lattice(self.clear_radius_mm(), rays).collect();
        let mut points = Vec::with_capacity(rays);
        let mut block = Block::default();
        for part in net.chunks(BLOCK) {
            block.place(self, StarBeam::new(field).towards, part);
            points.extend((0..part.len()).map(|i| [block.x[i], block.y[i]]));
        }
        points
    }

    /// Light that passes by diagonals of many sizes in this train's place, counted in rays.
    ///
    /// Units: mm, arcmin. Sizes in any order, also repeated; the cost hardly depends on how many there are, but for thick or bevelled
    /// glass or a flat out of its place, where each size is asked by itself. A stated offset
    /// of the train's diagonal holds for all sizes; without one each size has that of its own lit circle.
    /// Errors: [`Error::Input`] for a train without a diagonal, sizes that are none or not below the clear aperture, field
    /// points that no such telescope sees, and no rays or more than ten million.
    /// Method, and what it leaves out: [`LightBySize`].
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let bare = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!(Prepared::new(&bare).light_by_size(&[70.0], &[Field::AXIS], 100).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn light_by_size(&self, minor_axis_mm: &[f64], fields: &[Field], rays: usize) -> Result<LightBySize> {
        let sizes = Sizes::new(self, minor_axis_mm)?;
        fields.iter().try_for_each(|field| check_field(*field))?;
        if rays == 0 || rays > MOST_RAYS {
            return Err(Error::input("rays", rays, "from 1 to 10 000 000", ""));
        }
        let net: Vec<(f64, f64)> = lattice(self.clear_radius_mm(), rays).collect();
        // Above some hundred microseconds of work.
        let worthwhile = fields.len() * rays > 20_000;
        let counts = pool::map_ordered(fields.len(), worthwhile, |i| {
            if sizes.nested {
                self.counts(&sizes, fields[i], &net)
            } else {
                self.one_by_one(&sizes, fields[i], &net)
            }
        });
        let lit_rays = counts.into_iter().collect::<Result<Vec<_>>>()?;
        Ok(LightBySize { minor_axis_mm: minor_axis_mm.to_vec(), fields: fields.to_vec(), rays, lit_rays })
    }

    /// Rays of one star that reach the image, size by size.
    fn counts(&self, sizes: &Sizes, field: Field, net: &[(f64, f64)]) -> Result<Vec<u32>> {
        let beam = StarBeam::new(field);
        let others: Vec<_> = self
            .stops()
            .iter()
            .filter(|s| !matches!(s.part, Part::Diagonal | Part::DiagonalShadow))
            .copied()
            .collect();
        // Parts that are no plain circles are asked ray by ray.
        let circles: Vec<(Circle, bool)> =
            others.iter().filter_map(|s| s.circle().map(|circle| (circle, s.is_shadow()))).collect();
        let (round, has_strips) = (self.mirror().bare_conic(), !self.strips().is_empty());
        // Rays that begin and cease to pass with each size, in the sizes' rising order.
        let mut change = vec![0_i64; sizes.rising_mm.len() + 1];
        let (all_from, all_to) =
            (sizes.rising_mm[0] - NEAR_MM, sizes.rising_mm[sizes.rising_mm.len() - 1] + NEAR_MM);
        let mut by_all = 0_i64;
        let mut block = Block::default();
        for part in net.chunks(BLOCK) {
            block.place(self, beam.towards, part);
            if round.is_some() {
                block.reflect(self.mirror().conic(), beam.towards);
            } else {
                for i in 0..part.len() {
                    let ray = beam.ray(self.mirror(), block.x[i], block.y[i]);
                    (block.z[i], [block.dx[i], block.dy[i], block.dz[i]]) = (ray.hit_mm[2], ray.direction);
                }
            }
            block.critical_sizes(sizes, beam.towards);
            block.excess = [if others.len() > circles.len() { 0.0 } else { -1.0 }; BLOCK];
            for (circle, is_body) in &circles {
                block.pass(circle, *is_body, beam.towards);
            }
            for i in 0..part.len() {
                if block.excess[i] > NEAR_MM {
                    continue;
                }
                if block.excess[i] > -NEAR_MM || has_strips {
                    let ray = beam.ray(self.mirror(), block.x[i], block.y[i]);
                    if others.iter().any(|stop| stop.excess_mm(&ray, &beam) > GRAZING_MM)
                        || self.strips().iter().any(|strip| strip.covers(&ray, &beam))
                    {
                        continue;
                    }
                }
                // Most rays pass by all sizes; few by none.
                let (passes_from, shadowed_from) = (block.passes_from[i], block.shadowed_from[i]);
                if passes_from < all_from && shadowed_from > all_to {
                    by_all += 1;
                    continue;
                }
                if passes_from > all_to || shadowed_from < all_from {
                    continue;
                }
                let (from, from_is_near) = sizes.first_not_below(passes_from);
                let (to, to_is_near) = sizes.first_not_below(shadowed_from);
                if !(from_is_near || to_is_near) {
                    if from < to {
                        change[from] += 1;
                        // What ends beyond the last size ends nowhere, and all of these would wait for one number.
                        if to < sizes.rising_mm.len() {
                            change[to] -= 1;
                        }
                    }
                    continue;
                }
                // A size within rounding of the ray's own: ask each size there as a single train.
                let near = from.min(to).saturating_sub(2)..(from.max(to) + 2).min(sizes.rising_mm.len());
                for k in near {
                    if self.with_size(sizes.rising_mm[k])?.passes(field, block.x[i], block.y[i]) {
                        change[k] += 1;
                        change[k + 1] -= 1;
                    }
                }
            }
        }
        let mut lit = vec![0; sizes.rising_mm.len()];
        let mut count = by_all;
        for (k, &place) in sizes.place.iter().enumerate() {
            count += change[k];
            lit[place] = u32::try_from(count).unwrap_or(0);
        }
        Ok(lit)
    }

    /// The same without critical sizes: each ray asked by each size.
    fn one_by_one(&self, sizes: &Sizes, field: Field, net: &[(f64, f64)]) -> Result<Vec<u32>> {
        let points = self.rays_of_equal_light(field, net.len());
        let mut lit = vec![0; sizes.rising_mm.len()];
        for (size_mm, &place) in sizes.rising_mm.iter().zip(&sizes.place) {
            let prepared = self.with_size(*size_mm)?;
            lit[place] = points.iter().filter(|[x, y]| prepared.passes(field, *x, *y)).count() as u32;
        }
        Ok(lit)
    }

    /// The same train with a diagonal of another size.
    fn with_size(&self, minor_axis_mm: f64) -> Result<Self> {
        let mut parts = self.train().to_parts();
        parts.diagonal = parts.diagonal.map(|d| Diagonal { minor_axis_mm, ..d });
        Ok(Self::new(&parts.build()?))
    }
}

/// How the offset goes with the size, and where the flats stand.
#[derive(Clone, Copy, Debug)]
struct Rule {
    height_mm: f64,
    /// The stated offset; without one, half the clear aperture and the span from the diagonal to the plane of the rim: a
    /// flat of slope k is 2 (A - k B)/(1 - k^2) wide.
    offset_mm: Option<f64>,
    half_aperture_mm: f64,
    span_mm: f64,
}

/// Sizes in rising order, with a table that finds the place of a number among them.
struct Sizes {
    rising_mm: Vec<f64>,
    /// The same between two infinities.
    fenced_mm: Vec<f64>,
    /// Where each stood in the list that was given.
    place: Vec<usize>,
    rule: Rule,
    /// Radius and offset of the smallest and the largest flat.
    smallest: (f64, f64),
    largest: (f64, f64),
    /// Whether each ray has one size from which it passes and one from which it is shadowed, in closed form: not so for thick
    /// or bevelled glass, or a flat out of its place.
    nested: bool,
    /// For each of equal steps from the smallest size to the largest, the first size not below the step's beginning.
    steps: Vec<u32>,
    per_mm: f64,
}

impl Sizes {
    fn new(prepared: &Prepared, minor_axis_mm: &[f64]) -> Result<Self> {
        let (train, aperture) = (prepared.train(), 2.0 * prepared.clear_radius_mm());
        let (Some(fold), Some(diagonal), Some(plane)) =
            (prepared.fold(), train.diagonal(), train.focal_plane())
        else {
            return Err(Error::input("diagonal", "nothing", "a train with a diagonal", ""));
        };
        if minor_axis_mm.is_empty() {
            return Err(Error::input("minor_axis_mm", "no sizes", "one size or more", ""));
        }
        let envelope = Envelope::new(train.primary(), plane.axis_to_focus_mm);
        let span = envelope.span_mm();
        for (i, size) in minor_axis_mm.iter().enumerate() {
            if span <= 0.0 || span * span <= size * (aperture - size) {
                return Err(Error::input(
                    format!("minor_axis_mm[{i}]"),
                    size,
                    "a diagonal that stands well above the mirror",
                    "",
                ));
            }
            let smallest = diagonal.offset_mm.map_or(0.0, |o| 2.0 * o.abs());
            if !(*size > 0.0 && *size < aperture && *size >= smallest) {
                return Err(Error::input(
                    format!("minor_axis_mm[{i}]"),
                    size,
                    "above 0, not below twice the stated offset, and below the clear aperture",
                    "inches, or the primary's own diameter?",
                ));
            }
        }
        let mut place: Vec<usize> = (0..minor_axis_mm.len()).collect();
        place.sort_by(|&a, &b| minor_axis_mm[a].total_cmp(&minor_axis_mm[b]));
        let rising_mm: Vec<f64> = place.iter().map(|&i| minor_axis_mm[i]).collect();
        let (least, most) = (rising_mm[0], rising_mm[rising_mm.len() - 1]);
        let count = 4 * rising_mm.len();
        let per_mm = count as f64 / (most - least).max(1e-9);
        let first = |step: usize| {
            let from = least + step as f64 / per_mm;
            rising_mm.partition_point(|size| *size < from - NEAR_MM) as u32
        };
        let steps = (0..=count).map(first).collect();
        let rule = Rule {
            height_mm: fold.height_mm,
            offset_mm: diagonal.offset_mm,
            half_aperture_mm: prepared.clear_radius_mm(),
            span_mm: envelope.span_mm(),
        };
        let nested = diagonal.thickness_mm == 0.0 && diagonal.bevel_mm == 0.0 && diagonal.misplaced.is_none();
        let fenced_mm = [&[f64::NEG_INFINITY][..], &rising_mm, &[f64::INFINITY]].concat();
        let flat = |size: f64| (size / 2.0, rule.offset_mm.unwrap_or_else(|| envelope.offset_mm(size)));
        let (smallest, largest) = (flat(least), flat(most));
        Ok(Self { rising_mm, fenced_mm, place, rule, smallest, largest, nested, steps, per_mm })
    }

    /// The first size that is not below a number, and whether a size lies so near to it that rounding decides.
    #[inline]
    fn first_not_below(&self, number_mm: f64) -> (usize, bool) {
        let step = ((number_mm - self.rising_mm[0]) * self.per_mm) as usize;
        let mut k = self.steps[step.min(self.steps.len() - 1)] as usize;
        // Mostly none or one lies below in the step: without a branch that nobody could foretell.
        k += usize::from(self.fenced_mm[k + 1] < number_mm);
        // The fence ends the search: nothing is above its last number.
        while self.fenced_mm[k + 1] < number_mm {
            k += 1;
        }
        let (below, above) = (self.fenced_mm[k], self.fenced_mm[k + 1]);
        (k, above - number_mm < NEAR_MM || number_mm - below < NEAR_MM)
    }
}

/// A block of rays, column by column.
struct Block {
    x: [f64; BLOCK],
    y: [f64; BLOCK],
    z: [f64; BLOCK],
    dx: [f64; BLOCK],
    dy: [f64; BLOCK],
    dz: [f64; BLOCK],
    /// The size from which a ray passes the face, and that from which the shadow holds it.
    passes_from: [f64; BLOCK],
    shadowed_from: [f64; BLOCK],
    /// How far outside of the other parts a ray passes, of the one that stops it most, mm.
    excess: [f64; BLOCK],
}

impl Default for Block {
    fn default() -> Self {
        let none = [0.0; BLOCK];
        let (passes_from, shadowed_from) = (none, none);
        let (x, y, z, dx, dy, dz) = (none, none, none, none, none, [1.0; BLOCK]);
        Self { x, y, z, dx, dy, dz, passes_from, shadowed_from, excess: none }
    }
}

impl Block {
    /// Puts the rays of a net through the plane of the rim on the mirror.
    fn place(&mut self, prepared: &Prepared, towards: [f64; 3], net: &[(f64, f64)]) {
        let conic = prepared.mirror().conic();
        for (i, (x, y)) in net.iter().enumerate() {
            (self.x[i], self.y[i]) = (*x, *y);
        }
        place_rays(conic, prepared.clear_radius_mm(), towards, &mut self.x, &mut self.y, &mut self.z);
    }

    /// Reflects the rays at the bare conic.
    fn reflect(&mut self, conic: (f64, f64), towards: [f64; 3]) {
        reflect_rays(conic, towards, [&self.x, &self.y, &self.z], &mut self.dx, &mut self.dy, &mut self.dz);
    }

    /// Notes how far outside of a circle the rays pass, or inside of a body.
    fn pass(&mut self, circle: &Circle, is_body: bool, [tx, ty, tz]: [f64; 3]) {
        let places = [&self.x, &self.y, &self.z];
        let down = [&[tx; BLOCK], &[ty; BLOCK], &[tz; BLOCK]];
        let directions = if circle.met == Met::Down { down } else { [&self.dx, &self.dy, &self.dz] };
        pass_circle(circle, is_body, places, directions, &mut self.excess);
    }

    /// A block is a ring of the net, and most rings pass outside of the largest shadow, or inside of the smallest face, with
    /// all of their rays: they need no sizes of their own.
    fn critical_sizes(&mut self, sizes: &Sizes, [tx, ty, tz]: [f64; 3]) {
        let (rule, places) = (&sizes.rule, [&self.x, &self.y, &self.z]);
        let up = [&self.dx, &self.dy, &self.dz];
        if beyond_circle(rule.height_mm, sizes.smallest, places, up).1 < -AWAY_MM2 {
            self.passes_from = [f64::NEG_INFINITY; BLOCK];
        } else {
            sizes_of_rays(rule, places, up, &mut self.passes_from);
        }
        let down = [&[tx; BLOCK], &[ty; BLOCK], &[tz; BLOCK]];
        if beyond_circle(rule.height_mm, sizes.largest, places, down).0 > AWAY_MM2 {
            self.shadowed_from = [f64::INFINITY; BLOCK];
        } else {
            sizes_of_rays(rule, places, down, &mut self.shadowed_from);
        }
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

/// Moves points of the rim's plane along the light to the mirror: three steps, each a thousand times nearer.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
fn place_rays(
    conic: (f64, f64),
    rim_mm: f64,
    towards: [f64; 3],
    x: &mut [f64; BLOCK],
    y: &mut [f64; BLOCK],
    z: &mut [f64; BLOCK],
) {
    if conic.1 == 0.0 {
        place_on::<true>(conic, rim_mm, towards, x, y, z);
    } else {
        place_on::<false>(conic, rim_mm, towards, x, y, z);
    }
}

#[inline(always)]
fn place_on<const PARABOLOID: bool>(
    conic: (f64, f64),
    rim_mm: f64,
    [tx, ty, tz]: [f64; 3],
    x: &mut [f64; BLOCK],
    y: &mut [f64; BLOCK],
    z: &mut [f64; BLOCK],
) {
    let rim = height::<PARABOLOID>(conic, rim_mm * rim_mm);
    let (down_x, down_y) = (tx / tz, ty / tz);
    for i in 0..BLOCK {
        let (start_x, start_y) = (x[i], y[i]);
        let (mut px, mut py) = (start_x, start_y);
        for _ in 0..3 {
            let down = rim - height::<PARABOLOID>(conic, px * px + py * py);
            (px, py) = (start_x - down_x * down, start_y - down_y * down);
        }
        (x[i], y[i], z[i]) = (px, py, height::<PARABOLOID>(conic, px * px + py * py));
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
fn reflect_rays(
    (curvature, shape): (f64, f64),
    [tx, ty, tz]: [f64; 3],
    [x, y, _]: [&[f64; BLOCK]; 3],
    dx: &mut [f64; BLOCK],
    dy: &mut [f64; BLOCK],
    dz: &mut [f64; BLOCK],
) {
    let is_paraboloid = shape == 0.0;
    for i in 0..BLOCK {
        let square = x[i] * x[i] + y[i] * y[i];
        let per_radius = if is_paraboloid {
            curvature
        } else {
            curvature / (1.0 - shape * curvature * curvature * square).sqrt()
        };
        let (sx, sy) = (x[i] * per_radius, y[i] * per_radius);
        // Of any length: only where the ray crosses planes counts, and a division is saved.
        let (scale, length) = (2.0 * (tz - tx * sx - ty * sy), 1.0 + sx * sx + sy * sy);
        (dx[i], dy[i], dz[i]) = (-tx * length - scale * sx, -ty * length - scale * sy, scale - tz * length);
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
fn pass_circle(
    circle: &Circle,
    is_body: bool,
    [x, y, z]: [&[f64; BLOCK]; 3],
    [dx, dy, dz]: [&[f64; BLOCK]; 3],
    excess: &mut [f64; BLOCK],
) {
    let sign = if is_body { -1.0 } else { 1.0 };
    let on_mirror = circle.met == Met::Mirror;
    for i in 0..BLOCK {
        let t = (circle.height_mm + circle.tilt * x[i] - z[i]) / (dz[i] - circle.tilt * dx[i]);
        let t = if on_mirror { 0.0 } else { t };
        let (px, py) = (x[i] + dx[i] * t + circle.offset_mm, y[i] + dy[i] * t);
        excess[i] = excess[i].max(sign * ((px * px + py * py).sqrt() - circle.radius_mm));
    }
}

/// The least and the most of d^2 - R^2, mm^2, of rays that cross the flat's plane at d from the centre of a flat of radius R.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
fn beyond_circle(
    height: f64,
    (radius, offset): (f64, f64),
    [x, y, z]: [&[f64; BLOCK]; 3],
    [dx, dy, dz]: [&[f64; BLOCK]; 3],
) -> (f64, f64) {
    // Kept side by side: the greatest of all lanes in one number is no vector instruction.
    let (mut least, mut most) = ([f64::INFINITY; 16], [f64::NEG_INFINITY; 16]);
    for from in (0..BLOCK).step_by(16) {
        for k in 0..16 {
            let i = from + k;
            let t = (x[i] - z[i] + height) / (dz[i] - dx[i]);
            let (px, py) = (x[i] + dx[i] * t + offset, y[i] + dy[i] * t);
            let beyond = px * px + py * py - radius * radius;
            least[k] = if beyond < least[k] { beyond } else { least[k] };
            most[k] = if beyond > most[k] { beyond } else { most[k] };
        }
    }
    (least.into_iter().fold(f64::INFINITY, f64::min), most.into_iter().fold(f64::NEG_INFINITY, f64::max))
}

/// The size of the flat on whose rim each ray passes.
///
/// With (X, Y) where the ray crosses the plane of the unmoved flat: a stated offset o gives 2 |(X + o, Y)|. A flat offset
/// for its own lit circle is the cut of a cone of slope k with its plane: Y^2 (1 - k^2) = (A - k (B + X))^2 - X^2, a
/// quadratic in k whose smaller root counts, and the size is 2 (A - k B)/(1 - k^2).
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
fn sizes_of_rays(
    rule: &Rule,
    [x, y, z]: [&[f64; BLOCK]; 3],
    [dx, dy, dz]: [&[f64; BLOCK]; 3],
    sizes: &mut [f64; BLOCK],
) {
    let (height, a, b) = (rule.height_mm, rule.half_aperture_mm, rule.span_mm);
    if let Some(offset) = rule.offset_mm {
        for i in 0..BLOCK {
            let t = (x[i] - z[i] + height) / (dz[i] - dx[i]);
            let (px, py) = (x[i] + dx[i] * t + offset, y[i] + dy[i] * t);
            sizes[i] = 2.0 * (px * px + py * py).sqrt();
        }
    } else {
        for i in 0..BLOCK {
            let t = (x[i] - z[i] + height) / (dz[i] - dx[i]);
            let (px, py) = (x[i] + dx[i] * t, y[i] + dy[i] * t);
            let (c, x2, y2) = (b + px, px * px, py * py);
            let root = (c * c * x2 + y2 * (c * c - a * a + x2 + y2)).max(0.0).sqrt();
            // k is n/d; divisions are what this loop waits for.
            let (n, d) = (a * c - root, c * c + y2);
            sizes[i] = 2.0 * d * (a * d - n * b) / (d * d - n * n);
        }
    }
}
