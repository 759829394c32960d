//! Rays that a caller gives.

use std::sync::{Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};

use super::block::{BLOCK, Block, Column, Starts, sum};
use super::compiled::{Compiled, Fault};
use super::lanes::{Lanes, Written, add, write};
use super::ray_spot::{self, RaySpot, Sums};
use crate::error::{Error, Result};
use crate::numeric::pool;
use crate::numeric::simd::Instructions;
use crate::numeric::vector::Set;
use crate::trace::prepared::Prepared;
use crate::trace::spot::check_shift;

/// Rays of a chunk: what one thread takes at a time.
pub(super) const CHUNK: usize = 16 * BLOCK;
/// Above this many rays the work is worth handing to other threads: some hundred microseconds.
pub(super) const WORTHWHILE: usize = 40_000;

/// One of the numbers of many rays: a column, or one number for all.
#[derive(Clone, Copy, Debug)]
pub enum RayColumn<'a> {
    /// A number for each ray.
    Each(&'a [f64]),
    /// The same number for all.
    Same(f64),
}

/// Many rays, in columns.
///
/// A ray is a whole straight line: where on it a ray starts does not matter, and parts above its start stop it too.
///
/// Units: mm from the primary's vertex, z toward the sky; directions are unit vectors of travel, downward, good to 1e-6
/// (which changes no result). The weight is the light of a ray, 1 unless given.
/// Shapes: all columns of one length.
///
/// ```
/// use catoptric::{FocalLengthMm, Prepared, Primary, RayColumn::{Each, Same}, Rays, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let x_mm = [10.0, 50.0, 90.0, 110.0];
/// let rays = Rays::new([Each(&x_mm), Same(0.0), Same(2000.0)], [Same(0.0), Same(0.0), Same(-1.0)])?;
/// let spot = Prepared::new(&train).spot_of_rays(&rays, 0.0)?;
/// assert_eq!((spot.rays, spot.passed), (4, 3));
/// assert!(spot.rms_radius_um < 1e-8, "rays along a paraboloid's axis meet in its focus");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Rays<'a> {
    origin_mm: [RayColumn<'a>; 3],
    direction: [RayColumn<'a>; 3],
    weight: RayColumn<'a>,
    count: usize,
}

impl<'a> Rays<'a> {
    /// Rays from the columns of their starts and of their directions.
    ///
    /// Errors: [`Error::Input`] for columns of different lengths, and for no rays. What the numbers may be is looked at
    /// when the rays are traced.
    ///
    /// ```
    /// use catoptric::{RayColumn::{Each, Same}, Rays};
    /// let rays = Rays::new([Each(&[1.0, 2.0]), Each(&[1.0]), Same(9.0)], [Same(0.0), Same(0.0), Same(-1.0)]);
    /// assert!(rays.is_err(), "two places along and one across");
    /// ```
    pub fn new(origin_mm: [RayColumn<'a>; 3], direction: [RayColumn<'a>; 3]) -> Result<Self> {
        let mut rays = Self { origin_mm, direction, weight: RayColumn::Same(1.0), count: 1 };
        let columns = origin_mm.iter().zip(["origins_mm[0]", "origins_mm[1]", "origins_mm[2]"]);
        let columns =
            columns.chain(direction.iter().zip(["directions[0]", "directions[1]", "directions[2]"]));
        let mut given: Option<(usize, &str)> = None;
        for (column, name) in columns {
            let RayColumn::Each(values) = column else { continue };
            match given {
                Some((count, first)) if count != values.len() => {
                    let allowed = format!("as many numbers as {first} has: {count}");
                    return Err(Error::input(name, format!("{} numbers", values.len()), allowed, ""));
                }
                _ => given = given.or(Some((values.len(), name))),
            }
        }
        if let Some((0, name)) = given {
            return Err(Error::input(name, "0 numbers", "at least one ray", ""));
        }
        rays.count = given.map_or(1, |(count, _)| count);
        Ok(rays)
    }

    /// The same rays with the light that each carries, 0 or more.
    ///
    /// Errors: [`Error::Input`] for a column of another length.
    ///
    /// ```
    /// use catoptric::{RayColumn::{Each, Same}, Rays};
    /// let rays = Rays::new([Each(&[1.0, 2.0]), Same(0.0), Same(9.0)], [Same(0.0), Same(0.0), Same(-1.0)])?;
    /// assert!(rays.weighted(Each(&[1.0, 0.5])).is_ok() && rays.weighted(Each(&[1.0])).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn weighted(self, weight: RayColumn<'a>) -> Result<Self> {
        match weight {
            RayColumn::Each(values) if values.len() != self.count => {
                let allowed = format!("one number for each of {} rays", self.count);
                Err(Error::input("weights", format!("{} numbers", values.len()), allowed, ""))
            }
            _ => Ok(Self { weight, ..self }),
        }
    }

    /// How many rays there are.
    ///
    /// ```
    /// use catoptric::{RayColumn::Same, Rays};
    /// let rays = Rays::new([Same(1.0), Same(0.0), Same(9.0)], [Same(0.0), Same(0.0), Same(-1.0)])?;
    /// assert_eq!(rays.count(), 1);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn count(&self) -> usize {
        self.count
    }

    /// Where a parallel beam of the first ray's direction meets the focal plane on paper, mm: the place about which
    /// sums run.
    fn centre_mm(&self, height_mm: f64) -> [f64; 2] {
        let first = self.direction.map(|column| match column {
            RayColumn::Each(values) => values[0],
            RayColumn::Same(value) => value,
        });
        let centre = [0, 1].map(|i| height_mm * first[i] / first[2]);
        // A first ray that cannot be is refused later.
        if centre.iter().all(|c| c.is_finite()) { centre } else { [0.0; 2] }
    }
}

/// Where the columns of traced rays go.
///
/// Units: um from where the axis meets the plane. Shapes: one entry a ray. `passed` tells which rays arrive; the places
/// of the others are 0 and mean nothing. `light` is a ray's weight times the reflectance of the mirrors, 0 where it
/// does not arrive.
#[derive(Debug)]
pub struct RaysOut<'a> {
    /// Along, positive toward the sky end, um.
    pub along_um: &'a mut [f64],
    /// Across, along +y, um.
    pub across_um: &'a mut [f64],
    /// Whether the ray arrives.
    pub passed: &'a mut [bool],
    /// Light of the ray, if it is wanted.
    pub light: Option<&'a mut [f64]>,
}

/// Traced rays, in columns; see [`RaysOut`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TracedRays {
    /// How far behind the paraxial focal plane the rays are caught, mm; positive: further from the primary.
    pub focus_shift_mm: f64,
    /// Along, positive toward the sky end, um; 0 for a ray that does not arrive.
    pub along_um: Vec<f64>,
    /// Across, along +y, um; 0 for a ray that does not arrive.
    pub across_um: Vec<f64>,
    /// Whether the ray arrives.
    pub passed: Vec<bool>,
    /// Light of the ray: its weight times the reflectance of the mirrors; 0 for a ray that does not arrive.
    pub light: Vec<f64>,
}

impl Prepared {
    /// Statistics of given rays in the plane at a shift from the paraxial focal plane. No ray is stored.
    ///
    /// Units: mm, positive further from the primary.
    /// Errors: [`Error::Input`] for rays that cannot be (no numbers, directions that are not unit vectors or do not go
    /// down), for a shift that cannot be, and where no ray arrives.
    /// Method: columns of rays side by side in vector instructions; a round figure is looked up as polynomials, which
    /// place a ray to 1e-12 mm; within 1e-6 mm of a kink of the figure to 1e-8 mm. Figures that are not round, and rays
    /// too oblique for this, are traced one by one.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, RayColumn::Same, Rays, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let beside = Rays::new([Same(150.0), Same(0.0), Same(2000.0)], [Same(0.0), Same(0.0), Same(-1.0)])?;
    /// assert!(Prepared::new(&train).spot_of_rays(&beside, 0.0).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn spot_of_rays(&self, rays: &Rays<'_>, focus_shift_mm: f64) -> Result<RaySpot> {
        self.spot_of_rays_with(Instructions::in_use(), rays, focus_shift_mm)
    }

    pub(super) fn spot_of_rays_with(
        &self,
        set: Instructions,
        rays: &Rays<'_>,
        focus_shift_mm: f64,
    ) -> Result<RaySpot> {
        check_shift(focus_shift_mm, self.focal_length_mm())?;
        let tracer = Tracer::new(self, set, rays, focus_shift_mm);
        let centre_mm = rays.centre_mm(tracer.height_mm);
        let chunk = |k: usize| {
            let mut lanes = Lanes::new();
            let light = tracer.even_light()?;
            let plain = light.is_some() && tracer.compiled.is_plain();
            tracer.chunk(k, |piece| {
                let (set, height_mm, optics) = (tracer.set, tracer.height_mm, &tracer.compiled.optics);
                if plain && piece.count == BLOCK {
                    let about = (&mut lanes, centre_mm);
                    if sum(set, optics, height_mm, piece.starts, piece.block, about) {
                        return Ok(());
                    }
                }
                tracer.follow(piece)?;
                if light.is_none() {
                    tracer.light(piece)?;
                }
                let light = light.is_none().then_some(&*piece.weight);
                add(set, piece.block, light, centre_mm, &mut lanes);
                Ok(())
            })?;
            Ok(Sums::from(&light.map_or(lanes, |light| lanes.with_light(light))))
        };
        let chunks = pool::sum_ordered(rays.count.div_ceil(CHUNK), rays.count > WORTHWHILE, chunk, |a, b| {
            let (a, b): (Sums, Sums) = (a?, b?);
            Ok(a.with(b))
        });
        let chunks = chunks.into_iter().collect::<Result<Vec<_>>>()?;
        ray_spot::of(&chunks, rays.count, centre_mm, focus_shift_mm).ok_or_else(|| {
            let found = format!("{} rays of which none arrives", rays.count);
            Error::input(
                "origins_mm",
                found,
                "rays of which one at least arrives",
                "beside the mirror, or stopped by a part?",
            )
        })
    }

    /// Traces given rays to the plane at a shift, into columns of the caller's.
    ///
    /// Units, errors and method: [`Prepared::spot_of_rays`], but for rays of which none arrives, which is no error
    /// here. Also [`Error::Input`] for columns of another length than the rays.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, RayColumn::{Each, Same}, Rays, RaysOut, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let rays = Rays::new([Each(&[40.0, 140.0]), Same(0.0), Same(2000.0)], [Same(0.0), Same(0.0), Same(-1.0)])?;
    /// let (mut along_um, mut across_um, mut passed) = ([9.0; 2], [9.0; 2], [true; 2]);
    /// let out = RaysOut { along_um: &mut along_um, across_um: &mut across_um, passed: &mut passed, light: None };
    /// Prepared::new(&train).trace_rays_into(&rays, 1.0, out)?;
    /// assert!(passed == [true, false] && (along_um[0] + 1000.0 * 40.0 / 1200.0).abs() < 0.02 && along_um[1] == 0.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn trace_rays_into(&self, rays: &Rays<'_>, focus_shift_mm: f64, out: RaysOut<'_>) -> Result<()> {
        self.trace_rays_with(Instructions::in_use(), rays, focus_shift_mm, out)
    }

    pub(super) fn trace_rays_with(
        &self,
        set: Instructions,
        rays: &Rays<'_>,
        focus_shift_mm: f64,
        out: RaysOut<'_>,
    ) -> Result<()> {
        check_shift(focus_shift_mm, self.focal_length_mm())?;
        let lengths = [
            ("along_um", out.along_um.len()),
            ("across_um", out.across_um.len()),
            ("passed", out.passed.len()),
            ("light", out.light.as_ref().map_or(rays.count, |l| l.len())),
        ];
        for (name, length) in lengths {
            if length != rays.count {
                let allowed = format!("one entry for each of {} rays", rays.count);
                return Err(Error::input(format!("out.{name}"), format!("{length} entries"), allowed, ""));
            }
        }
        let tracer = Tracer::new(self, set, rays, focus_shift_mm);
        // Each chunk has its own pieces of the columns.
        let mut light = out.light.map(|l| l.chunks_mut(CHUNK));
        let columns = out.along_um.chunks_mut(CHUNK).zip(out.across_um.chunks_mut(CHUNK));
        let pieces = columns.zip(out.passed.chunks_mut(CHUNK)).map(|((along, across), passed)| {
            (along, across, passed, light.as_mut().and_then(Iterator::next))
        });
        let done = pool::map_each(pieces, rays.count > WORTHWHILE, |k, (along, across, passed, light)| {
            tracer.chunk(k, |piece| {
                tracer.follow(piece)?;
                match tracer.even_light()? {
                    Some(even) if light.is_some() => *piece.weight = [even; BLOCK],
                    Some(_) => {}
                    None => tracer.light(piece)?,
                }
                let range = piece.from..piece.from + piece.count;
                let written = Written {
                    along_um: &mut along[range.clone()],
                    across_um: &mut across[range.clone()],
                    passed: &mut passed[range.clone()],
                    light: light.as_mut().map(|light| &mut light[range]),
                };
                write(tracer.set, piece.block, piece.weight, written);
                Ok(())
            })
        });
        done.into_iter().collect()
    }

    /// Traces given rays to the plane at a shift.
    ///
    /// Units, errors and method: [`Prepared::trace_rays_into`], which spares the making of the columns: that costs
    /// about as much as the tracing.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, RayColumn::{Each, Same}, Rays, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let rays = Rays::new([Each(&[40.0, 140.0]), Same(0.0), Same(2000.0)], [Same(0.0), Same(0.0), Same(-1.0)])?;
    /// let traced = Prepared::new(&train).trace_rays(&rays, 0.0)?;
    /// assert!(traced.passed == [true, false] && traced.light == [1.0, 0.0]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn trace_rays(&self, rays: &Rays<'_>, focus_shift_mm: f64) -> Result<TracedRays> {
        let column = || vec![0.0; rays.count];
        let mut traced = TracedRays {
            focus_shift_mm,
            along_um: column(),
            across_um: column(),
            passed: vec![false; rays.count],
            light: column(),
        };
        let out = RaysOut {
            along_um: &mut traced.along_um,
            across_um: &mut traced.across_um,
            passed: &mut traced.passed,
            light: Some(&mut traced.light),
        };
        self.trace_rays_into(rays, focus_shift_mm, out)?;
        Ok(traced)
    }
}

/// Rays on their way through one train.
struct Tracer<'a> {
    prepared: &'a Prepared,
    compiled: &'a Compiled,
    set: Set,
    rays: &'a Rays<'a>,
    height_mm: f64,
    /// Blocks that no thread uses now: making one costs a tenth of a chunk.
    spare: Mutex<Vec<Box<Block>>>,
}

/// A block of a chunk.
struct Piece<'a> {
    /// Where it begins in the chunk, and in the rays; how many rays it has.
    from: usize,
    ray: usize,
    count: usize,
    starts: Starts<'a>,
    block: &'a mut Block,
    weight: &'a mut Column,
}

impl<'a> Tracer<'a> {
    fn new(prepared: &'a Prepared, set: Instructions, rays: &'a Rays<'a>, focus_shift_mm: f64) -> Self {
        let height_mm = prepared.focal_length_mm() + focus_shift_mm;
        let (compiled, spare) = (prepared.compiled(), Mutex::default());
        Self { prepared, compiled, set: Set::of(set), rays, height_mm, spare }
    }

    /// Hands the blocks of a chunk on, one by one. Whole blocks of the caller's columns are read where they are.
    fn chunk(&self, k: usize, mut take: impl FnMut(&mut Piece<'_>) -> Result<()>) -> Result<()> {
        let (begin, end) = (k * CHUNK, ((k + 1) * CHUNK).min(self.rays.count));
        let [x, y, z] = self.rays.origin_mm;
        let [dx, dy, dz] = self.rays.direction;
        let columns = [x, y, z, dx, dy, dz];
        let mut held = columns.map(|column| match column {
            RayColumn::Same(value) => [value; BLOCK],
            RayColumn::Each(_) => [0.0; BLOCK],
        });
        let mut block = self.spare().pop().unwrap_or_else(Block::new);
        block.forget();
        let mut weight = [1.0; BLOCK];
        for ray in (begin..end).step_by(BLOCK) {
            let count = BLOCK.min(end - ray);
            if count < BLOCK {
                columns.iter().zip(&mut held).for_each(|(column, to)| load(*column, ray, count, to));
            }
            let starts = std::array::from_fn(|i| match columns[i] {
                RayColumn::Each(values) => values[ray..].first_chunk::<BLOCK>().unwrap_or(&held[i]),
                RayColumn::Same(_) => &held[i],
            });
            take(&mut Piece {
                from: ray - begin,
                ray,
                count,
                starts,
                block: &mut block,
                weight: &mut weight,
            })?;
        }
        self.spare().push(block);
        Ok(())
    }

    fn spare(&self) -> MutexGuard<'_, Vec<Box<Block>>> {
        self.spare.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Traces a block, some of its rays by the slow road.
    fn follow(&self, piece: &mut Piece<'_>) -> Result<()> {
        let Piece { starts, count, ray, .. } = *piece;
        self.compiled
            .follow(self.prepared, self.set, self.height_mm, starts, piece.block, count)
            .map_err(|(i, fault)| refusal(starts, i, ray + i, fault))
    }

    /// The light of all rays that arrive, where it is the same for all.
    fn even_light(&self) -> Result<Option<f64>> {
        match (self.rays.weight, self.compiled.even_reflectance) {
            (RayColumn::Same(light), Some(share)) => check_weight(light, 0).map(|()| Some(light * share)),
            _ => Ok(None),
        }
    }

    /// Fills in the light of each ray of a block that arrives.
    fn light(&self, piece: &mut Piece<'_>) -> Result<()> {
        load(self.rays.weight, piece.ray, piece.count, piece.weight);
        for (i, light) in piece.weight[..piece.count].iter().enumerate() {
            check_weight(*light, piece.ray + i)?;
        }
        self.compiled.dim(self.prepared, piece.block, piece.weight);
        Ok(())
    }
}

fn check_weight(light: f64, ray: usize) -> Result<()> {
    if (0.0..1e300).contains(&light) {
        return Ok(());
    }
    let field = format!("weights[{ray}]");
    Err(Error::input(field, light, "0 or more", "an empty cell, or a sign?"))
}

/// A piece of a column; the room behind it repeats its last number.
#[inline]
fn load(column: RayColumn<'_>, from: usize, count: usize, to: &mut Column) {
    match column {
        RayColumn::Same(value) => *to = [value; BLOCK],
        RayColumn::Each(values) => {
            to[..count].copy_from_slice(&values[from..from + count]);
            to[count..].fill(values[from + count - 1]);
        }
    }
}

fn refusal(starts: Starts<'_>, i: usize, ray: usize, fault: Fault) -> Error {
    let [x, y, z, dx, dy, dz] = starts.map(|column| column[i]);
    match fault {
        Fault::Origin => {
            let found = format!("({x}, {y}, {z})");
            Error::input(
                format!("origins_mm[:, {ray}]"),
                found,
                "three numbers within a thousand kilometres",
                "an empty cell?",
            )
        }
        Fault::Direction => {
            let length = (dx * dx + dy * dy + dz * dz).sqrt();
            let cause = if (length - 1.0).abs() > 0.5 * super::optics::UNIT || length.is_nan() {
                "not brought to length 1?"
            } else {
                "the way toward the star given for that of the light? Light travels along -z"
            };
            Error::input(
                format!("directions[:, {ray}]"),
                format!("({dx}, {dy}, {dz})"),
                "a vector of length 1 whose z is negative",
                cause,
            )
        }
    }
}
