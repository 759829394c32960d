//! The library's own rays: by where they hit the mirror, on rings. Height, slope and normal are then the same all
//! around a ring.

use super::block::{BLOCK, Block, Column, go_on};
use super::compiled::stopped_by_odd_part;
use super::given::{CHUNK, WORTHWHILE};
use super::lanes::{Lanes, add};
use super::ray_spot::{self, RaySpot, Sums};
use crate::error::{Error, Result};
use crate::numeric::phase::sine_and_cosine;
use crate::numeric::pool;
use crate::numeric::simd::Instructions;
use crate::trace::light::no_light;
use crate::trace::prepared::Prepared;
use crate::trace::spot::{check_field, check_shift};
use crate::units::Field;

/// Most rays of a call: some minutes of work.
const MOST_RAYS: usize = 1_000_000_000;

/// A ring of the mirror.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ring {
    pub(super) radius_mm: f64,
    pub(super) height_mm: f64,
    pub(super) slope: f64,
}

impl Prepared {
    /// Statistics of a star's rays that hit the mirror on rings of equal area: `rings` of them, with `rays_per_ring`
    /// rays each, at even angles. No ray is stored.
    ///
    /// Units: arcmin; mm, positive further from the primary. Each ray carries the beam's cross-section |d.N| times the
    /// reflectance; `light` is their sum.
    /// Errors: [`Error::Input`] for angles, shifts and counts that cannot be (1 ring or more, 3 rays or more on each,
    /// 1e9 together); [`Error::NoLight`].
    /// Leaves out: what lies between the rays. the error falls with the square of the number of rings; 128 rings of 128
    /// rays are good to 1e-4 of the RMS radius of a bare paraboloid, and to 1e-3 where it has a steep edge;
    /// [`Prepared::spot_at`] integrates instead, and has an error estimate.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let spot = Prepared::new(&train).spot_of_rings(Field::AXIS, 1.0, 20, 10)?;
    /// assert_eq!((spot.rays, spot.passed), (200, 200));
    /// assert!((spot.rms_radius_um / (100.0 / 1.2 / 2.0_f64.sqrt()) - 1.0).abs() < 0.01, "1 mm out of focus at f/6");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn spot_of_rings(
        &self,
        field: Field,
        focus_shift_mm: f64,
        rings: usize,
        rays_per_ring: usize,
    ) -> Result<RaySpot> {
        self.spot_of_rings_with(Instructions::in_use(), field, focus_shift_mm, rings, rays_per_ring)
    }

    pub(super) fn spot_of_rings_with(
        &self,
        set: Instructions,
        field: Field,
        focus_shift_mm: f64,
        rings: usize,
        rays_per_ring: usize,
    ) -> Result<RaySpot> {
        check_field(field)?;
        check_shift(focus_shift_mm, self.focal_length_mm())?;
        let rays = rings.saturating_mul(rays_per_ring);
        if rings == 0 || rays > MOST_RAYS {
            return Err(Error::input("rings", rings, "1 or more, and not above 1e9 rays in all", ""));
        }
        if rays_per_ring < 3 {
            return Err(Error::input("rays_per_ring", rays_per_ring, "3 or more", ""));
        }
        let turn = std::f64::consts::TAU / rays_per_ring as f64;
        let (sin, cos): (Vec<f64>, Vec<f64>) =
            (0..rays_per_ring).map(|i| sine_and_cosine((i as f64 + 0.5) * turn)).unzip();
        let height_mm = self.focal_length_mm() + focus_shift_mm;
        let [tx, ty] = field.tangents();
        let centre_mm = [-height_mm * tx, -height_mm * ty];
        let rim_mm = self.open_radius_mm();
        let walk = Walk { prepared: self, set, towards: field.towards(), height_mm, cos: &cos, sin: &sin };
        let chunk = |k: usize| {
            let (mut lanes, mut block, mut weight) = (Lanes::new(), Block::new(), [0.0; BLOCK]);
            let ([x, y, z], end) = (field.towards(), ((k + 1) * CHUNK).min(rays));
            (block.dx, block.dy, block.dz) = ([-x; BLOCK], [-y; BLOCK], [-z; BLOCK]);
            let (mut number, mut ring) = (usize::MAX, Ring { radius_mm: 0.0, height_mm: 0.0, slope: 0.0 });
            for from in (k * CHUNK..end).step_by(BLOCK) {
                let count = BLOCK.min(end - from);
                let mut at = 0;
                while at < count {
                    let (of, first) = ((from + at) / rays_per_ring, (from + at) % rays_per_ring);
                    if of != number {
                        let radius_mm = rim_mm * ((of as f64 + 0.5) / rings as f64).sqrt();
                        (number, ring) = (of, walk.ring(radius_mm));
                    }
                    let many = (rays_per_ring - first).min(count - at);
                    walk.place(&ring, first, at..at + many, &mut block, &mut weight);
                    at += many;
                }
                walk.finish(count, &mut block, &mut weight);
                add(set, &block, &weight, centre_mm, &mut lanes);
            }
            Sums::from(&lanes)
        };
        let chunks = pool::sum_ordered(rays.div_ceil(CHUNK), rays > WORTHWHILE, chunk, Sums::with);
        ray_spot::of(&chunks, rays, centre_mm, focus_shift_mm)
            .ok_or_else(|| no_light(field, &self.light(field)))
    }
}

/// The light of one star by the rings.
struct Walk<'a> {
    prepared: &'a Prepared,
    set: Instructions,
    towards: [f64; 3],
    height_mm: f64,
    cos: &'a [f64],
    sin: &'a [f64],
}

impl Walk<'_> {
    fn ring(&self, radius_mm: f64) -> Ring {
        let (height_mm, slope) = self.prepared.mirror().height_and_slope(radius_mm);
        Ring { radius_mm, height_mm, slope }
    }

    /// Puts rays of a ring into their places of a block, reflected.
    fn place(
        &self,
        ring: &Ring,
        first: usize,
        range: std::ops::Range<usize>,
        block: &mut Block,
        weight: &mut Column,
    ) {
        let many = range.len();
        let (cos, sin) = (&self.cos[first..first + many], &self.sin[first..first + many]);
        super::block::ring(self.set, ring, self.towards, cos, sin, range.start, block, weight);
    }

    /// Stops and lands the block's rays, and dims their light.
    fn finish(&self, count: usize, block: &mut Block, weight: &mut Column) {
        let prepared = self.prepared;
        block.lit[..count].fill(1.0);
        block.lit[count..].fill(0.0);
        let compiled = prepared.compiled();
        if prepared.detail().is_some() {
            uneven(prepared, self.towards, count, block, weight);
        }
        go_on(self.set, &compiled.optics, self.height_mm, block);
        if compiled.odd_parts() {
            for i in 0..count {
                if block.lit[i] > 0.0 && stopped_by_odd_part(prepared, block, i) {
                    block.lit[i] = 0.0;
                }
            }
        }
        compiled.dim(prepared, block, weight);
    }
}

/// A figure that is not round has its own height and slopes at each point.
fn uneven(prepared: &Prepared, towards: [f64; 3], count: usize, block: &mut Block, weight: &mut Column) {
    let beam = crate::trace::ray::StarBeam::parallel(towards);
    for i in 0..count {
        let ray = beam.ray(prepared.mirror(), block.hit_x[i], block.hit_y[i]);
        block.hit_z[i] = ray.hit_mm[2];
        block.set_up(i, ray.direction);
        weight[i] = ray.beam;
    }
}
