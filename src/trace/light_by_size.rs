//! How much light passes by diagonals of many sizes, by rays: each ray tells from which size on it passes the face, and
//! from which on it meets the shadow.

use serde::{Deserialize, Serialize};

use super::cone::Envelope;
use super::prepared::Prepared;
use super::ray::StarBeam;
use super::rays::GRAZING_MM;
use super::size_lanes::{
    BLOCK, Block, Column, Down, Even, Rule, cross, net, pass_circle, place, places, reflect, sizes_of_rays,
};
use super::spot::check_field;
use super::stops::{Circle, Part, Stop};
use crate::error::{Error, Result};
use crate::model::Diagonal;
use crate::numeric::{pool, simd::Instructions};
use crate::units::Field;

/// A ray that passes an edge nearer than this, mm, is asked again by the rule that single rays follow.
const NEAR_MM: f64 = 1e-7;
/// A block whose rays all pass an edge further away than this, mm^2 of the squared radius, asks nothing more about it: far above
/// rounding and above what [`NEAR_MM`] looks at again.
const AWAY_MM2: f64 = 1e-3;
/// What is sure is so by this much, mm.
const SURE_MM: f64 = 0.05;
/// Sizes count as even when none is further from its place than this, mm: far below what [`NEAR_MM`] looks at again.
const EVEN_MM: f64 = 1e-9;
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
        let set = Instructions::in_use();
        let (net, light) = (Net::new(set, self.clear_radius_mm(), rays), self.down(&StarBeam::new(field)));
        let mut points = Vec::with_capacity(rays);
        let mut block = Block::new();
        for (first, start) in net.blocks() {
            place(set, &light, start, &mut block);
            points.extend((0..BLOCK.min(rays - first)).map(|i| [block.x[i], block.y[i]]));
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
        self.light_by_size_with(Instructions::in_use(), minor_axis_mm, fields, rays)
    }

    fn light_by_size_with(
        &self,
        set: Instructions,
        minor_axis_mm: &[f64],
        fields: &[Field],
        rays: usize,
    ) -> Result<LightBySize> {
        let sizes = Sizes::new(self, minor_axis_mm)?;
        fields.iter().try_for_each(|field| check_field(*field))?;
        if rays == 0 || rays > MOST_RAYS {
            return Err(Error::input("rays", rays, "from 1 to 10 000 000", ""));
        }
        let net = Net::new(set, self.clear_radius_mm(), rays);
        // Above some hundred microseconds of work.
        let worthwhile = fields.len() * rays > 100_000;
        let counts = pool::map_ordered(fields.len(), worthwhile, |i| {
            if sizes.nested {
                Counting::new(set, self, &sizes, fields[i], &net).run()
            } else {
                self.one_by_one(&sizes, fields[i], rays)
            }
        });
        let lit_rays = counts.into_iter().collect::<Result<Vec<_>>>()?;
        Ok(LightBySize { minor_axis_mm: minor_axis_mm.to_vec(), fields: fields.to_vec(), rays, lit_rays })
    }

    fn down(&self, beam: &StarBeam) -> Down {
        Down { conic: self.mirror().conic(), rim_mm: self.clear_radius_mm(), towards: beam.towards }
    }

    /// The same without critical sizes: each ray asked by each size.
    fn one_by_one(&self, sizes: &Sizes, field: Field, rays: usize) -> Result<Vec<u32>> {
        let points = self.rays_of_equal_light(field, rays);
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

/// Points of the rim's plane, block by block, that all field points share; from the middle outward.
struct Net {
    rays: usize,
    rim_mm: f64,
    points: Vec<[Column; 2]>,
    /// Cosines and sines of even angles all round.
    circle: [Column; 2],
}

impl Net {
    fn new(set: Instructions, rim_mm: f64, rays: usize) -> Self {
        let mut points = vec![[[0.0; BLOCK]; 2]; rays.div_ceil(BLOCK)];
        for (k, [x, y]) in points.iter_mut().enumerate() {
            net(set, rim_mm, rays, k * BLOCK, x, y);
        }
        let turn = |i: usize| std::f64::consts::TAU * i as f64 / BLOCK as f64;
        let circle = [std::array::from_fn(|i| turn(i).cos()), std::array::from_fn(|i| turn(i).sin())];
        Self { rays, rim_mm, points, circle }
    }

    /// The number of the first ray of each block, and its points.
    fn blocks(&self) -> impl Iterator<Item = (usize, [&Column; 2])> {
        self.points.iter().enumerate().map(|(k, [x, y])| (k * BLOCK, [x, y]))
    }

    /// Distance from the middle of the ray of a number, mm.
    fn radius_mm(&self, number: usize) -> f64 {
        self.rim_mm * ((number as f64 + 0.5) / self.rays as f64).sqrt()
    }
}

/// The rays of one star on their way past all sizes.
struct Counting<'a> {
    set: Instructions,
    prepared: &'a Prepared,
    sizes: &'a Sizes,
    field: Field,
    net: &'a Net,
    beam: StarBeam,
    light: Down,
    /// All parts but the diagonal.
    others: Vec<Stop>,
    /// Those of them that are plain circles, and whether they are bodies; the rest is asked ray by ray.
    circles: Vec<(Circle, bool)>,
    /// Rays that begin and cease to pass with each size, in the sizes' rising order. Neighbouring rays add to different columns:
    /// to one and the same number they would wait for each other.
    begin: Vec<[u32; 4]>,
    end: Vec<[u32; 4]>,
    by_all: u32,
}

impl<'a> Counting<'a> {
    fn new(set: Instructions, prepared: &'a Prepared, sizes: &'a Sizes, field: Field, net: &'a Net) -> Self {
        let beam = StarBeam::new(field);
        let is_other = |s: &&Stop| !matches!(s.part, Part::Diagonal | Part::DiagonalShadow);
        let others: Vec<Stop> = prepared.stops().iter().filter(is_other).copied().collect();
        let circles =
            others.iter().filter_map(|s| s.circle().map(|circle| (circle, s.is_shadow()))).collect();
        let light = prepared.down(&beam);
        let tally = || vec![[0; 4]; sizes.rising_mm.len() + 2];
        let (begin, end) = (tally(), tally());
        Self { set, prepared, sizes, field, net, beam, light, others, circles, begin, end, by_all: 0 }
    }

    /// Rays that reach the image, size by size in the order in which they were given.
    fn run(mut self) -> Result<Vec<u32>> {
        let mut block = Block::new();
        let sure = if self.others.is_empty() && self.prepared.strips().is_empty() {
            self.sure_to_pass(&mut block)
        } else {
            (f64::INFINITY, 0.0)
        };
        let net = self.net;
        for (first, start) in net.blocks() {
            let rays = BLOCK.min(net.rays - first);
            if net.radius_mm(first) > sure.0 && net.radius_mm(first + rays - 1) < sure.1 {
                self.by_all += rays as u32;
                continue;
            }
            self.trace(start, rays, &mut block);
            let extremes =
                cross(self.set, &self.light, self.sizes.rule.height_mm, self.offsets_mm(), &mut block);
            let (small, large) = (self.sizes.smallest.0, self.sizes.largest.0);
            let all_up = extremes.most_up < small * small - AWAY_MM2;
            let all_down = extremes.least_down > large * large + AWAY_MM2;
            self.ask_other_parts(rays, &mut block);
            if all_up && all_down {
                self.by_all += (0..rays).map(|i| u32::from(block.excess[i] < 0.0)).sum::<u32>();
                continue;
            }
            // A block is a ring of the net: often all of its rays pass inside of the smallest face, or outside of the largest
            // shadow, and need no sizes of their own.
            if all_up {
                block.passes_from = [f64::NEG_INFINITY; BLOCK];
            } else {
                sizes_of_rays(self.set, &self.sizes.rule, &block.up, &mut block.passes_from);
            }
            if all_down {
                block.shadowed_from = [f64::INFINITY; BLOCK];
            } else {
                sizes_of_rays(self.set, &self.sizes.rule, &block.down, &mut block.shadowed_from);
            }
            self.sizes.places(self.set, &mut block);
            self.tally(rays, &block)?;
        }
        Ok(self.lit())
    }

    fn offsets_mm(&self) -> (f64, f64) {
        (self.sizes.smallest.1, self.sizes.largest.1)
    }

    /// Puts the rays of a block on the mirror and turns them round.
    fn trace(&self, start: [&Column; 2], rays: usize, block: &mut Block) {
        place(self.set, &self.light, start, block);
        if self.prepared.mirror().bare_conic().is_some() {
            reflect(self.set, &self.light, block);
        } else {
            for i in 0..rays {
                let ray = self.beam.ray(self.prepared.mirror(), block.x[i], block.y[i]);
                (block.z[i], [block.dx[i], block.dy[i], block.dz[i]]) = (ray.hit_mm[2], ray.direction);
            }
        }
    }

    /// Distances from the middle between which every ray passes by all sizes: above the first, mm, it goes down outside of the
    /// largest shadow, and below the second it comes up inside of the smallest face.
    ///
    /// Going down, the place on the flat's plane is linear in the place on the rim's plane: exact. Coming up it is so but for
    /// the mirror's errors off the axis, thousands of times smaller: the furthest of 256 rays on a circle tells of all within it,
    /// with [`SURE_MM`] to spare.
    fn sure_to_pass(&self, block: &mut Block) -> (f64, f64) {
        if self.prepared.mirror().bare_conic().is_none() {
            return (f64::INFINITY, 0.0);
        }
        let [tx, ty, tz] = self.light.towards;
        let (height, rim) = (self.sizes.rule.height_mm, self.net.rim_mm);
        let (curvature, shape) = self.light.conic;
        let square = curvature * curvature * rim * rim;
        let rim_height = curvature * rim * rim / (1.0 + (1.0 - shape * square).sqrt());
        // X = x + a (x + h - z), Y = y + b (x + h - z).
        let (a, b) = (tx / (tz - tx), ty / (tz - tx));
        let shift = (a * (height - rim_height) + self.sizes.largest.1).hypot(b * (height - rim_height));
        let from = (self.sizes.largest.0 + shift + SURE_MM) / (1.0 - a.abs() - b.abs());
        let (mut x, mut y) = ([0.0; BLOCK], [0.0; BLOCK]);
        let mut furthest = |radius: f64| {
            for i in 0..BLOCK {
                (x[i], y[i]) = (radius * self.net.circle[0][i], radius * self.net.circle[1][i]);
            }
            self.trace([&x, &y], BLOCK, block);
            cross(self.set, &self.light, height, self.offsets_mm(), block).most_up.sqrt()
        };
        let limit = self.sizes.smallest.0 - SURE_MM;
        let (mut inside, mut outside) = (0.0, 1.0);
        if furthest(rim) < limit {
            inside = 1.0;
        } else if furthest(0.0) < limit {
            // The radius itself, by halves: five of them find it to a part in 32.
            for _ in 0..5 {
                let middle = f64::midpoint(inside, outside);
                *(if furthest(middle * rim) < limit { &mut inside } else { &mut outside }) = middle;
            }
        }
        (from, inside * rim)
    }

    /// Leaves an excess above nothing where a part other than the diagonal stops a ray, and one below where none does.
    fn ask_other_parts(&self, rays: usize, block: &mut Block) {
        let asks_all = self.others.len() > self.circles.len() || !self.prepared.strips().is_empty();
        block.excess = [if asks_all { 0.0 } else { -1.0 }; BLOCK];
        for (circle, is_body) in &self.circles {
            pass_circle(self.set, &self.light, circle, *is_body, block);
        }
        if !asks_all && self.circles.is_empty() {
            return;
        }
        for i in 0..rays {
            if block.excess[i].abs() <= NEAR_MM || (asks_all && block.excess[i] < 0.0) {
                let ray = self.beam.ray(self.prepared.mirror(), block.x[i], block.y[i]);
                let is_stopped = self.others.iter().any(|stop| stop.excess_mm(&ray, &self.beam) > GRAZING_MM)
                    || self.prepared.strips().iter().any(|strip| strip.covers(&ray, &self.beam));
                block.excess[i] = if is_stopped { 1.0 } else { -1.0 };
            }
        }
    }

    /// Counts the rays of a block.
    fn tally(&mut self, rays: usize, block: &Block) -> Result<()> {
        let mut odd = 0;
        for i in 0..rays {
            self.begin[block.from[i] as usize][i % 4] += 1;
            self.end[block.to[i] as usize][i % 4] += 1;
            odd += block.odd[i];
        }
        if odd == 0 {
            return Ok(());
        }
        // A size within rounding of the ray's own: ask each size there as a single train.
        let sizes = &self.sizes.rising_mm;
        for i in (0..rays).filter(|i| block.odd[*i] > 0) {
            let (from, _) = self.sizes.first_not_below(block.passes_from[i]);
            let (to, _) = self.sizes.first_not_below(block.shadowed_from[i]);
            if from.saturating_sub(2) > to + 2 {
                continue;
            }
            // Between the two neighbourhoods every size passes.
            let (early, late) = ((from + 2).min(sizes.len()), to.saturating_sub(2));
            let near_from = from.saturating_sub(2)..early;
            let near_to = late.max(early)..(to + 2).min(sizes.len());
            for k in near_from.chain(near_to) {
                if self.prepared.with_size(sizes[k])?.passes(self.field, block.x[i], block.y[i]) {
                    self.begin[k][0] += 1;
                    self.end[k + 1][0] += 1;
                }
            }
            if late > early {
                self.begin[early][0] += 1;
                self.end[late][0] += 1;
            }
        }
        Ok(())
    }

    /// The counts, size by size in the order in which they were given.
    fn lit(&self) -> Vec<u32> {
        let sum = |tally: &[u32; 4]| tally.iter().sum::<u32>();
        let mut lit = vec![0; self.sizes.rising_mm.len()];
        let mut count = self.by_all;
        for (k, &place) in self.sizes.place.iter().enumerate() {
            count += sum(&self.begin[k]);
            count -= sum(&self.end[k]);
            lit[place] = count;
        }
        lit
    }
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
    /// The same in arithmetic, where the sizes stand at even steps.
    even: Option<Even>,
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
        let even = even(&rising_mm);
        // Even sizes are found by arithmetic.
        let count = if even.is_some() { 0 } else { 4 * rising_mm.len() };
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
        Ok(Self { rising_mm, fenced_mm, place, rule, smallest, largest, nested, steps, per_mm, even })
    }

    /// Turns the sizes of a block's rays into places among these sizes.
    fn places(&self, set: Instructions, block: &mut Block) {
        if let Some(even) = &self.even {
            places(set, even, block);
            return;
        }
        let none = self.rising_mm.len() as u32 + 1;
        for i in 0..BLOCK {
            let (from, from_is_near) = self.first_not_below(block.passes_from[i]);
            let (to, to_is_near) = self.first_not_below(block.shadowed_from[i]);
            let (is_near, is_out) = (from_is_near || to_is_near, block.excess[i] > 0.0);
            let is_lit = from < to && !is_near && !is_out;
            (block.from[i], block.to[i]) = if is_lit { (from as u32, to as u32) } else { (none, none) };
            block.odd[i] = u32::from(is_near && !is_out);
        }
    }

    /// The first size that is not below a number, and whether a size lies so near to it that rounding decides.
    #[inline]
    fn first_not_below(&self, number_mm: f64) -> (usize, bool) {
        let step = ((number_mm - self.rising_mm[0]) * self.per_mm) as usize;
        let mut k = if self.even.is_some() {
            self.rising_mm.partition_point(|size| *size < number_mm)
        } else {
            self.steps[step.min(self.steps.len() - 1)] as usize
        };
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

/// The steps of sizes that stand at even steps.
fn even(rising_mm: &[f64]) -> Option<Even> {
    let (least_mm, count) = (rising_mm[0], rising_mm.len());
    let step_mm = (rising_mm[count - 1] - least_mm) / (count - 1).max(1) as f64;
    let is_even = |(k, size): (usize, &f64)| (size - (least_mm + k as f64 * step_mm)).abs() < EVEN_MM;
    // Two sizes that rounding cannot tell apart are no step.
    let possible = step_mm > 100.0 * NEAR_MM && rising_mm.iter().enumerate().all(is_even);
    possible.then(|| Even { least_mm, per_mm: 1.0 / step_mm, count, near: NEAR_MM / step_mm })
}

#[cfg(test)]
mod tests;
