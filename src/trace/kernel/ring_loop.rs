//! The inner loop over the rays of a ring: where they hit the mirror is known, and height and slope are the same for
//! all.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::block::{BLOCK, Block, Column, passed_at};
use super::lanes::{Lanes, Running};
use super::optics::{Edge, Optics};
use crate::numeric::vector::{Set, V, Wide, Work, all_lanes, at, wide, wide_mut};

/// Angles at which a ring is looked at before its rays are traced.
pub(super) const GLANCES: usize = 32;
/// The degree of a margin: a trigonometric polynomial of the angle. The way up has degree 2, the gap to a tilted plane
/// 1, and their product is squared.
const DEGREE: f64 = 6.0;

/// A ring of the mirror.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ring {
    pub(super) radius_mm: f64,
    pub(super) height_mm: f64,
    pub(super) slope: f64,
}

/// Angles around a ring: cosines, sines, and cos times the star's x plus sin times its y; a multiple of [`BLOCK`].
#[derive(Clone, Debug)]
pub(super) struct Angles {
    cos: Vec<f64>,
    sin: Vec<f64>,
    toward: Vec<f64>,
}

impl Angles {
    /// Even angles, the first half a step from the x axis.
    pub(super) fn even(count: usize, [tx, ty, _]: [f64; 3]) -> Self {
        let turn = std::f64::consts::TAU / count as f64;
        let angles = (0..count.next_multiple_of(BLOCK)).map(|i| (i as f64 + 0.5) * turn);
        let (sin, cos): (Vec<f64>, Vec<f64>) = angles.map(crate::numeric::phase::sine_and_cosine).unzip();
        let toward = cos.iter().zip(&sin).map(|(c, s)| tx * c + ty * s).collect();
        Self { cos, sin, toward }
    }

    /// So many of them as vectors: cosines, sines and the way toward the star.
    #[inline(always)]
    fn from<S: Wide>(&self, first: usize, count: usize) -> [&[S::f64s]; 3] {
        [&self.cos, &self.sin, &self.toward].map(|column| wide::<S>(&column[first..first + count]))
    }
}

/// The light of a star on its way to the plane at a height.
#[derive(Clone, Copy, Debug)]
pub(super) struct Beam<'a> {
    pub(super) set: Set,
    pub(super) optics: &'a Optics,
    /// The way to the star.
    pub(super) towards: [f64; 3],
    pub(super) height_mm: f64,
    pub(super) centre_mm: [f64; 2],
}

/// What becomes of a ring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fate {
    Passes,
    Stopped,
    /// Some of its rays may be stopped.
    Mixed,
}

impl Beam<'_> {
    /// What becomes of all rays of a ring together, by a look at a few of them.
    ///
    /// A trigonometric polynomial of degree n whose size is m at most at N even angles is nowhere larger than
    /// m / cos(pi n/N) (M. Riesz 1914; from memory).
    pub(super) fn fate(&self, ring: &Ring, glances: &Angles) -> Fate {
        if ring.radius_mm * ring.radius_mm > self.optics.limit_mm2 {
            return Fate::Stopped;
        }
        let mut fate = Fate::Passes;
        for (edges, down) in [(&self.optics.down, true), (&self.optics.up, false)] {
            for edge in edges {
                let [least, most] = self.set.run(Glance { beam: self, ring, glances, edge, down });
                let (middle, half) = (0.5 * (least + most), 0.5 * (most - least));
                let half = half / (std::f64::consts::PI * DEGREE / GLANCES as f64).cos();
                // A grain for the rounding of large terms.
                let grain = 1e-9 * (middle.abs() + half);
                if middle + half < -grain {
                    return Fate::Stopped;
                }
                // What is no number is not clear.
                let clear = middle - half > grain;
                if !clear {
                    fate = Fate::Mixed;
                }
            }
        }
        fate
    }

    /// Adds the rays of a ring from angle `first` on, `count` of them, at most a block, each with the beam's
    /// cross-section as its weight.
    #[inline]
    pub(super) fn add(
        &self,
        ring: &Ring,
        angles: &Angles,
        (first, count): (usize, usize),
        clear: bool,
        lanes: &mut Lanes,
    ) {
        self.set.run(Add { beam: self, ring, angles, first, count, clear, lanes });
    }

    /// Puts the rays of a ring from angle `first` on into a block, a whole one, landed, past all round parts.
    #[inline]
    pub(super) fn place(
        &self,
        ring: &Ring,
        angles: &Angles,
        first: usize,
        block: &mut Block,
        weight: &mut Column,
    ) {
        self.set.run(Place { beam: self, ring, angles, first, block, weight });
    }
}

/// A ray of a ring, reflected.
struct Reflected<S: Wide> {
    x: V<S>,
    y: V<S>,
    ux: V<S>,
    uy: V<S>,
    uz: V<S>,
    beam: V<S>,
}

/// What is the same for all rays of a ring, in all lanes.
#[derive(Clone, Copy)]
struct Constant<S: Wide> {
    set: S,
    radius: V<S>,
    slope: V<S>,
    twice_slope: V<S>,
    toward_z: V<S>,
    /// Minus the way to the star, times the square of the unnormalised normal.
    on: [V<S>; 3],
    rise: V<S>,
    height: V<S>,
    /// Minus the centre of the sums.
    from_centre: [V<S>; 2],
}

impl<S: Wide> Constant<S> {
    #[inline(always)]
    fn of(set: S, beam: &Beam<'_>, ring: &Ring) -> Self {
        let all = |value: f64| V::all(set, value);
        let square = ring.slope * ring.slope + 1.0;
        let ([tx, ty, tz], [cx, cy]) = (beam.towards, beam.centre_mm);
        Self {
            set,
            radius: all(ring.radius_mm),
            slope: all(-ring.slope),
            twice_slope: all(-2.0 * ring.slope),
            toward_z: all(beam.towards[2]),
            on: all_lanes!(set; -square * tx, -square * ty, -square * tz),
            rise: all(beam.height_mm - ring.height_mm),
            height: all(ring.height_mm),
            from_centre: all_lanes!(set; -cx, -cy),
        }
    }

    /// The way up: d - 2 (d.N) N/N^2 with the unnormalised normal N = (-s cos, -s sin, 1), times N^2.
    #[inline(always)]
    fn reflected(&self, cos: V<S>, sin: V<S>, toward: V<S>) -> Reflected<S> {
        let beam = self.slope.times_plus(toward, self.toward_z);
        let aside = self.twice_slope * beam;
        Reflected {
            x: self.radius * cos,
            y: self.radius * sin,
            ux: aside.times_plus(cos, self.on[0]),
            uy: aside.times_plus(sin, self.on[1]),
            uz: beam + beam + self.on[2],
            beam,
        }
    }

    /// By how much a ray passes an edge, times a positive number.
    #[inline(always)]
    fn passed(&self, edge: &Edge, down: Option<[V<S>; 3]>, ray: &Reflected<S>) -> V<S> {
        passed_at(self.set, edge, [ray.x, ray.y, self.height], down.unwrap_or([ray.ux, ray.uy, ray.uz]))
    }

    /// By how much it passes what it comes nearest to.
    #[inline(always)]
    fn passes(&self, beam: &Beam<'_>, ray: &Reflected<S>) -> V<S> {
        let [tx, ty, tz] = beam.towards;
        let down = all_lanes!(self.set; -tx, -ty, -tz);
        let mut passes = V::all(self.set, beam.optics.limit_mm2) - self.radius * self.radius;
        for edge in &beam.optics.down {
            passes = passes.least(self.passed(edge, Some(down), ray));
        }
        for edge in &beam.optics.up {
            passes = passes.least(self.passed(edge, None, ray));
        }
        passes
    }
}

impl<S: Wide> Constant<S> {
    /// Adds rays, past the parts unless it is clear that they pass; those where `rest` is below 0 are none.
    #[inline(always)]
    fn add(
        &self,
        beam: &Beam<'_>,
        [cos, sin, toward]: [V<S>; 3],
        clear: bool,
        rest: Option<V<S>>,
        sums: &mut Running<S>,
    ) {
        let ray = self.reflected(cos, sin, toward);
        let t = self.rise / ray.uz;
        let [from_x, from_y] = self.from_centre;
        let (x, y) = (self.radius.times_plus(cos, from_x), self.radius.times_plus(sin, from_y));
        let (x, y) = (ray.ux.times_plus(t, x), ray.uy.times_plus(t, y));
        let square = x.times_plus(x, y * y);
        let spare = match (clear, rest) {
            (true, rest) => rest,
            (false, None) => Some(self.passes(beam, &ray)),
            (false, Some(rest)) => Some(self.passes(beam, &ray).least(rest)),
        };
        sums.add(x, y, square, Some(ray.beam), spare);
    }
}

struct Glance<'a> {
    beam: &'a Beam<'a>,
    ring: &'a Ring,
    glances: &'a Angles,
    edge: &'a Edge,
    down: bool,
}

impl Work for Glance<'_> {
    type Gives = [f64; 2];

    #[inline(always)]
    fn with<S: Wide>(self, set: S) -> [f64; 2] {
        let constant = Constant::of(set, self.beam, self.ring);
        let [cos, sin, toward] = self.glances.from::<S>(0, GLANCES);
        let [tx, ty, tz] = self.beam.towards;
        let down = if self.down { Some(all_lanes!(set; -tx, -ty, -tz)) } else { None };
        let (mut least, mut most) = (V::all(set, f64::INFINITY), V::all(set, f64::NEG_INFINITY));
        for i in 0..cos.len() {
            let ray = constant.reflected(V(set, cos[i]), V(set, sin[i]), V(set, toward[i]));
            let passed = constant.passed(self.edge, down, &ray);
            (least, most) = (least.least(passed), most.most(passed));
        }
        [least.smallest(), most.largest()]
    }
}

struct Add<'a> {
    beam: &'a Beam<'a>,
    ring: &'a Ring,
    angles: &'a Angles,
    first: usize,
    count: usize,
    clear: bool,
    lanes: &'a mut Lanes,
}

impl Work for Add<'_> {
    type Gives = ();

    #[inline(always)]
    fn with<S: Wide>(self, set: S) {
        let constant = Constant::of(set, self.beam, self.ring);
        let [cos, sin, toward] = self.angles.from::<S>(self.first, BLOCK);
        let mut sums = Running::from(set, self.lanes);
        let whole = self.count / S::F64_LANES;
        // Two loops: what is not needed takes registers.
        if self.clear {
            for i in 0..whole {
                let angle = at!(set, i; cos, sin, toward);
                constant.add(self.beam, angle, true, None, &mut sums);
            }
            sums.count(whole);
        } else {
            for i in 0..whole {
                let angle = at!(set, i; cos, sin, toward);
                constant.add(self.beam, angle, false, None, &mut sums);
            }
        }
        if whole * S::F64_LANES < self.count {
            // The lanes behind the last ray are left out.
            let mut rest = [-1.0; BLOCK];
            rest[..self.count - whole * S::F64_LANES].fill(1.0);
            let angle = at!(set, whole; cos, sin, toward);
            constant.add(self.beam, angle, self.clear, Some(V(set, wide::<S>(&rest)[0])), &mut sums);
        }
        sums.store(self.lanes);
    }
}

struct Place<'a> {
    beam: &'a Beam<'a>,
    ring: &'a Ring,
    angles: &'a Angles,
    first: usize,
    block: &'a mut Block,
    weight: &'a mut Column,
}

impl Work for Place<'_> {
    type Gives = ();

    #[inline(always)]
    fn with<S: Wide>(self, set: S) {
        let constant = Constant::of(set, self.beam, self.ring);
        let [cos, sin, toward] = self.angles.from::<S>(self.first, BLOCK);
        let block = self.block;
        block.hit_z = [self.ring.height_mm; BLOCK];
        let weight = wide_mut::<S>(self.weight);
        let [x, y, up_x, up_y, up_z, to_along, to_across, spare] =
            block.of_ways().map(|column| wide_mut::<S>(column));
        for i in 0..cos.len() {
            let ray = constant.reflected(V(set, cos[i]), V(set, sin[i]), V(set, toward[i]));
            let t = constant.rise / ray.uz;
            let (along, across) = (ray.ux.times_plus(t, ray.x), ray.uy.times_plus(t, ray.y));
            let passes = constant.passes(self.beam, &ray);
            weight[i] = ray.beam.1;
            (x[i], y[i], up_x[i], up_y[i], up_z[i]) = (ray.x.1, ray.y.1, ray.ux.1, ray.uy.1, ray.uz.1);
            (to_along[i], to_across[i], spare[i]) = (along.1, across.1, passes.1);
        }
    }
}
