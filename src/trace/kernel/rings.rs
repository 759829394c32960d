//! The library's own rays: by where they hit the mirror, on rings. Height, slope and normal are then the same all
//! around a ring.

use super::block::{BLOCK, Block, Column};
use super::compiled::{Compiled, stopped_by_odd_part};
use super::given::{CHUNK, WORTHWHILE};
use super::lanes::{Lanes, add};
use super::ray_spot::{self, RaySpot, Sums};
use super::ring_loop::{Angles, Beam, Fate, GLANCES, Ring};
use crate::error::{Error, Result};
use crate::numeric::pool;
use crate::numeric::simd::Instructions;
use crate::numeric::vector::Set;
use crate::trace::light::no_light;
use crate::trace::prepared::Prepared;
use crate::trace::ray::StarBeam;
use crate::trace::spot::{check_field, check_shift};
use crate::units::Field;

/// Most rays of a call: some minutes of work.
const MOST_RAYS: usize = 1_000_000_000;

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
        let (towards, height_mm) = (field.towards(), self.focal_length_mm() + focus_shift_mm);
        let [tx, ty] = field.tangents();
        let centre_mm = [-height_mm * tx, -height_mm * ty];
        let compiled = self.compiled();
        let walk = Walk {
            prepared: self,
            compiled,
            beam: Beam { set: Set::of(set), optics: &compiled.optics, towards, height_mm, centre_mm },
            angles: Angles::even(rays_per_ring, towards),
            glances: Angles::even(GLANCES, towards),
            rings,
            rays_per_ring,
        };
        // Pieces of rings, so many to a chunk.
        let pieces_per_ring = rays_per_ring.div_ceil(BLOCK);
        let pieces = rings * pieces_per_ring;
        let per_chunk = CHUNK / BLOCK;
        let chunk = |k: usize| walk.chunk(k * per_chunk..((k + 1) * per_chunk).min(pieces), pieces_per_ring);
        let chunks = pool::sum_ordered(pieces.div_ceil(per_chunk), rays > WORTHWHILE, chunk, Sums::with);
        ray_spot::of(&chunks, rays, centre_mm, focus_shift_mm)
            .ok_or_else(|| no_light(field, &self.light(field)))
    }
}

/// The light of one star by the rings.
struct Walk<'a> {
    prepared: &'a Prepared,
    compiled: &'a Compiled,
    beam: Beam<'a>,
    angles: Angles,
    glances: Angles,
    rings: usize,
    rays_per_ring: usize,
}

impl Walk<'_> {
    fn chunk(&self, pieces: std::ops::Range<usize>, pieces_per_ring: usize) -> Sums {
        let mut lanes = Lanes::new();
        let plain = self.compiled.is_plain();
        // Room that only some trains need.
        let mut room = (!plain).then(|| (Block::new(), [0.0; BLOCK]));
        let (mut number, mut ring, mut fate) = (usize::MAX, self.ring(0), Fate::Mixed);
        for piece in pieces {
            let first = piece % pieces_per_ring * BLOCK;
            let count = BLOCK.min(self.rays_per_ring - first);
            if piece / pieces_per_ring != number {
                number = piece / pieces_per_ring;
                ring = self.ring(number);
                // A look costs as much as a few dozen rays.
                let look = plain && self.rays_per_ring > 4 * GLANCES;
                fate = if look { self.beam.fate(&ring, &self.glances) } else { Fate::Mixed };
            }
            if fate == Fate::Stopped {
                continue;
            }
            match &mut room {
                None => {
                    let clear = fate == Fate::Passes;
                    self.beam.add(&ring, &self.angles, (first, count), clear, &mut lanes);
                }
                Some((block, weight)) => {
                    self.piece(&ring, first, count, block, weight);
                    add(self.beam.set, block, Some(weight), self.beam.centre_mm, &mut lanes);
                }
            }
        }
        match self.compiled.even_reflectance {
            Some(share) if plain => Sums::from(&lanes.dimmed(share)),
            _ => Sums::from(&lanes),
        }
    }

    fn ring(&self, number: usize) -> Ring {
        let radius_mm = self.prepared.open_radius_mm() * ((number as f64 + 0.5) / self.rings as f64).sqrt();
        let (height_mm, slope) = self.compiled.height_and_slope(self.prepared, radius_mm);
        Ring { radius_mm, height_mm, slope }
    }

    /// A piece of a ring with parts and figures of all kinds.
    fn piece(&self, ring: &Ring, first: usize, count: usize, block: &mut Block, weight: &mut Column) {
        let (prepared, beam) = (self.prepared, StarBeam::parallel(self.beam.towards));
        self.beam.place(ring, &self.angles, first, block, weight);
        block.spare[count..].fill(-1.0);
        let way = self.beam.towards.map(|t| -t);
        for i in 0..count {
            if prepared.detail().is_some() {
                // A figure that is not round has its own height and slopes at each point.
                let ray = beam.ray(prepared.mirror(), block.hit_x[i], block.hit_y[i]);
                block.set_ray(i, ray.hit_mm, ray.direction, ray.at_height_mm(self.beam.height_mm));
                weight[i] = ray.beam;
                block.spare[i] = if prepared.lets_pass(&ray, &beam) { 1.0 } else { -1.0 };
            } else if block.spare[i] >= 0.0 && stopped_by_odd_part(prepared, block, way, i) {
                block.spare[i] = -1.0;
            }
        }
        self.compiled.dim(prepared, block, weight);
    }
}
