//! The exact lit fraction of a bare round mirror, fast: for batches of trains.
//!
//! Parallel light has a cross-section: the clear aperture's is pi R^2 times the axial part of the star's direction, the
//! diagonal's shadow is that of a flat ellipse. Where nothing else reaches the rim both are closed forms. What cuts
//! the rim is a crescent between the rim and a curve; only crescents need a quadrature, in panels between the angles at
//! which curves cross.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::prepared::Prepared;
use super::quick_lanes::{LOOKS, Looks, MOST, Panel, Sight, Taker, around, panel, radii, radius};
use super::stops::{Circle, Met, Part};
use crate::numeric::roots;
use crate::numeric::simd::Instructions;
#[cfg(test)]
use crate::units::Field;

/// Where the first one lies, in steps: off the corners and the symmetry of usual trains.
const FIRST_LOOK: f64 = 0.3;
/// More corners than this are left to the general way.
const MOST_CORNERS: usize = 32;
/// Corners are found to this, radians: only its square enters an integral, since the curves meet there.
const CORNER_RAD: f64 = 1e-10;
/// Halvings of a panel whose rule is not yet good enough.
const HALVINGS: usize = 6;
/// A panel is halved while its error is above this share of the clear aperture.
const PANEL_ERROR: f64 = 3e-12;
/// What is worse is left to the general way.
const WORST_ERROR: f64 = 5e-10;
/// What rounding and the radii leave.
const ERROR_FLOOR: f64 = 1e-13;
/// A curve is one radius for each angle, and not too steep, while the centre is seen this far inside of it, in radii of
/// the stop.
const CENTRE_INSIDE: f64 = 0.05;

/// A train made ready for fast exact fractions.
#[derive(Clone, Copy, Debug)]
pub(crate) struct QuickLight {
    curvature_per_mm: f64,
    shape: f64,
    rim_mm: f64,
    count: usize,
    stops: [(Part, Circle); MOST],
    shadow: Option<usize>,
    /// Which instructions the loops use.
    set: Instructions,
}

/// How much light arrives, and what stops the rest, without a list on the heap.
#[derive(Clone, Copy, Debug)]
pub(crate) struct QuickAnswer {
    /// Share of the light on the clear aperture that reaches the image.
    pub(crate) lit_fraction: f64,
    /// The same with the diagonal's shadow left out.
    pub(crate) lit_without_shadow: f64,
    /// Estimated error of either.
    pub(crate) error_estimate: f64,
    count: usize,
    parts: [Part; MOST],
    taken: [f64; MOST],
}

impl QuickAnswer {
    /// What each part stops, in the order in which light meets them.
    pub(crate) fn stopped(&self) -> impl Iterator<Item = (Part, f64)> + '_ {
        (0..self.count).map(|i| (self.parts[i], self.taken[i]))
    }
}

/// One star seen by one train: angles and values shared by all steps.
struct Look<'a> {
    quick: &'a QuickLight,
    sight: Sight,
}

impl QuickLight {
    /// Nothing where the mirror has a figure, or where a part is no plain circle.
    pub(crate) fn new(prepared: &Prepared) -> Option<Self> {
        let (curvature_per_mm, shape) = prepared.mirror().bare_conic()?;
        let rim_mm = prepared.clear_radius_mm();
        let stops = prepared.stops();
        // The series of the beam's cross-section holds 1e-14 below this.
        let is_slow = (shape * (curvature_per_mm * rim_mm).powi(2)).abs() < 0.03;
        if !prepared.strips().is_empty() || stops.len() > MOST || !is_slow {
            return None;
        }
        let nothing = Circle { met: Met::Mirror, tilt: 0.0, height_mm: 0.0, offset_mm: 0.0, radius_mm: 1.0 };
        let mut list = [(Part::FrontOpening, nothing); MOST];
        let mut shadow = None;
        for (i, stop) in stops.iter().enumerate() {
            list[i] = (stop.part, stop.circle()?);
            if stop.is_shadow() {
                // Two bodies may overlap, and a holder is a disc, not a flat: the general way.
                if stop.part != Part::DiagonalShadow {
                    return None;
                }
                shadow = Some(i);
            }
        }
        let set = Instructions::in_use();
        Some(Self { curvature_per_mm, shape, rim_mm, count: stops.len(), stops: list, shadow, set })
    }

    /// The circles alone that may end the fully lit circle: without shadows, vanes and clips, and over the mirror without its
    /// figure. Nothing where one of them is no plain circle; good for [`QuickLight::lit_circle`] only.
    pub(crate) fn of_circles(prepared: &Prepared) -> Option<Self> {
        let (curvature_per_mm, shape) = prepared.mirror().conic();
        let nothing = Circle { met: Met::Mirror, tilt: 0.0, height_mm: 0.0, offset_mm: 0.0, radius_mm: 1.0 };
        let mut list = [(Part::FrontOpening, nothing); MOST];
        let mut count = 0;
        for stop in prepared.stops().iter().filter(|stop| !stop.is_shadow()) {
            *list.get_mut(count)? = (stop.part, stop.circle()?);
            count += 1;
        }
        Some(Self {
            curvature_per_mm,
            shape,
            rim_mm: prepared.clear_radius_mm(),
            count,
            stops: list,
            shadow: None,
            set: Instructions::in_use(),
        })
    }

    /// The parts that stop light, in the order in which it meets them.
    pub(super) fn stops(&self) -> &[(Part, Circle)] {
        &self.stops[..self.count]
    }

    fn sight(&self, towards: [f64; 3]) -> Sight {
        let Self { curvature_per_mm, shape, rim_mm, set, .. } = *self;
        Sight { curvature_per_mm, shape, rim_mm, towards, set }
    }

    /// What is seen of the star whose image falls on a point of the focal plane.
    pub(super) fn sight_from(&self, along_mm: f64, across_mm: f64) -> Sight {
        let (x, y) = (-2.0 * self.curvature_per_mm * along_mm, -2.0 * self.curvature_per_mm * across_mm);
        let length = (1.0 + x * x + y * y).sqrt();
        self.sight([x / length, y / length, 1.0 / length])
    }

    /// How much of a star's light arrives; nothing where only the general way can tell.
    ///
    /// Error: the estimate is three times what the rules of the panels say, plus 1e-13; panels are halved, and above
    /// 5e-10 nothing is returned.
    #[cfg(test)]
    pub(crate) fn light(&self, field: Field) -> Option<QuickAnswer> {
        Look { quick: self, sight: self.sight(field.towards()) }.light()
    }

    /// The same of the star whose image falls on a point of the focal plane.
    pub(crate) fn light_at(&self, along_mm: f64, across_mm: f64) -> Option<QuickAnswer> {
        Look { quick: self, sight: self.sight_from(along_mm, across_mm) }.light()
    }

    pub(super) fn rim_mm(&self) -> f64 {
        self.rim_mm
    }
}

impl Look<'_> {
    fn light(&self) -> Option<QuickAnswer> {
        let (quick, sight) = (self.quick, &self.sight);
        let [tx, _, tz] = sight.towards;
        let total = PI * quick.rim_mm.powi(2) * tz;
        let mut parts = [Part::FrontOpening; MOST];
        for (part, (from, _)) in parts.iter_mut().zip(quick.stops()) {
            *part = *from;
        }
        let mut answer = QuickAnswer {
            lit_fraction: 1.0,
            lit_without_shadow: 1.0,
            error_estimate: ERROR_FLOOR,
            count: quick.count,
            parts,
            taken: [0.0; MOST],
        };
        let mut shadow = None;
        if let Some(place) = quick.shadow {
            let circle = quick.stops[place].1;
            let taker =
                Taker { circle, at_centre: sight.excess_mm(&circle, 0.0, 0.0), place, is_shadow: true };
            let reach_mm = self.shadow_reach_mm(&circle);
            if reach_mm >= quick.rim_mm {
                return None;
            }
            shadow = Some((taker, reach_mm));
            answer.taken[place] = PI * circle.radius_mm.powi(2) * (tz - tx) / total;
        }
        let (cuts, corners) = self.cuts_and_corners()?;
        if let Some(cuts) = cuts {
            let nearest = cuts.nearest_mm;
            let mut takers = cuts.takers;
            let mut count = cuts.count;
            let mut corners = corners;
            if let Some((taker, _)) = shadow.filter(|(_, reach_mm)| nearest < *reach_mm) {
                // The shadow meets the crescents: it is walked with them.
                if taker.at_centre >= -3.0 * CENTRE_INSIDE * taker.circle.radius_mm || count == MOST {
                    return None;
                }
                self.shadow_corners(&taker, &cuts, &mut corners)?;
                takers[count] = taker;
                count += 1;
                takers[..count].sort_unstable_by_key(|t| t.place);
                answer.taken[taker.place] = 0.0;
            }
            self.add_crescents(&takers[..count], corners.sorted(), total, &mut answer)?;
        }
        answer.lit_fraction = 1.0 - answer.taken[..quick.count].iter().sum::<f64>();
        (answer.error_estimate <= WORST_ERROR && answer.lit_fraction.is_finite()).then_some(answer)
    }

    /// A radius on the mirror beyond which the shadow does not reach, mm.
    fn shadow_reach_mm(&self, circle: &Circle) -> f64 {
        let [tx, ty, tz] = self.sight.towards;
        // Down from the highest point of the flat; the ellipse is seen longer by the tilt of the light.
        let sideways = (tx * tx + ty * ty).sqrt() / tz;
        let height = circle.height_mm + circle.offset_mm.abs() + 1.5 * circle.radius_mm;
        1.02 * (circle.radius_mm + circle.offset_mm.abs() + sideways * height) + 1e-3 * self.sight.rim_mm
    }

    /// The stops that take something of the rim, with all angles at which their curves cross the rim or one another.
    fn cuts_and_corners(&self) -> Option<(Option<Cuts>, Corners)> {
        let (quick, sight) = (self.quick, &self.sight);
        let looks = looks();
        let mut corners = Corners::default();
        let mut cuts: Option<Cuts> = None;
        for (place, (_, circle)) in quick.stops().iter().enumerate() {
            if quick.shadow == Some(place) {
                continue;
            }
            let excess = around(sight, circle, quick.rim_mm, looks);
            let on_rim = |angle: f64| sight.excess_mm(circle, quick.rim_mm, angle);
            let before = corners.count;
            zeros(&excess, on_rim, &mut corners)?;
            if corners.count == before && excess[0] <= 1e-10 * quick.rim_mm {
                continue;
            }
            let at_centre = sight.excess_mm(circle, 0.0, 0.0);
            if at_centre >= -CENTRE_INSIDE * circle.radius_mm {
                return None;
            }
            let taker = Taker { circle: *circle, at_centre, place, is_shadow: false };
            let (curve, step) = radii(sight, circle, at_centre, looks);
            if !step.is_finite() {
                return None;
            }
            let cuts = cuts.get_or_insert_with(|| Cuts::none(taker));
            for other in 0..cuts.count {
                let apart: [f64; LOOKS] = std::array::from_fn(|i| curve[i] - cuts.curves[other][i]);
                let (a, b) = (taker, cuts.takers[other]);
                let apart_at = |angle: f64| self.radius_at(&a, angle) - self.radius_at(&b, angle);
                zeros(&apart, apart_at, &mut corners)?;
            }
            cuts.add(taker, curve);
        }
        Some((cuts, corners))
    }

    /// The angles at which the shadow's edge crosses a cut.
    fn shadow_corners(&self, shadow: &Taker, cuts: &Cuts, corners: &mut Corners) -> Option<()> {
        let (edge, step) = radii(&self.sight, &shadow.circle, shadow.at_centre, looks());
        if !step.is_finite() {
            return None;
        }
        for other in 0..cuts.count {
            let apart: [f64; LOOKS] = std::array::from_fn(|i| edge[i] - cuts.curves[other][i]);
            let cut = cuts.takers[other];
            let apart_at = |angle: f64| self.radius_at(shadow, angle) - self.radius_at(&cut, angle);
            zeros(&apart, apart_at, corners)?;
        }
        Some(())
    }

    /// The radius of a stop's curve at one angle, mm.
    fn radius_at(&self, taker: &Taker, angle: f64) -> f64 {
        radius(&self.sight, &taker.circle, taker.at_centre, angle)
    }

    /// Adds what the takers stop, panel by panel between the corners.
    fn add_crescents(
        &self,
        takers: &[Taker],
        corners: &[f64],
        total: f64,
        answer: &mut QuickAnswer,
    ) -> Option<()> {
        let walks_shadow = takers.iter().any(|t| t.is_shadow);
        let first = corners.first().copied().unwrap_or(0.0);
        let mut outer = 0.0;
        let mut error = 0.0;
        for i in 0..corners.len().max(1) {
            let from = corners.get(i).copied().unwrap_or(0.0);
            let to = corners.get(i + 1).copied().unwrap_or(first + TAU);
            let middle = 0.5 * (from + to);
            let cuts =
                |t: &Taker| !t.is_shadow && self.sight.excess_mm(&t.circle, self.quick.rim_mm, middle) > 0.0;
            if to - from < 1e-12 || !(walks_shadow || takers.iter().any(cuts)) {
                continue;
            }
            let pieces = ((to - from) / FRAC_PI_2).ceil().max(1.0);
            let length = (to - from) / pieces;
            for piece in 0..pieces as usize {
                let start = from + length * piece as f64;
                let sums = self.refined(takers, (start, start + length), total, 0)?;
                for taker in takers {
                    answer.taken[taker.place] += sums.taken_mm2[taker.place] / total;
                }
                outer += sums.outer_mm2 / total;
                error += sums.error_mm2 / total;
            }
        }
        answer.lit_without_shadow = 1.0 - outer;
        answer.error_estimate = 3.0 * error + ERROR_FLOOR;
        Some(())
    }

    /// A panel, halved until its rule is good enough.
    fn refined(&self, takers: &[Taker], (from, to): (f64, f64), total: f64, depth: usize) -> Option<Panel> {
        let sums = panel(&self.sight, takers, (from, to));
        if sums.error_mm2 <= PANEL_ERROR * total {
            return Some(sums);
        }
        if depth == HALVINGS || sums.error_mm2.is_nan() {
            return None;
        }
        let middle = 0.5 * (from + to);
        let left = self.refined(takers, (from, middle), total, depth + 1)?;
        let right = self.refined(takers, (middle, to), total, depth + 1)?;
        Some(Panel {
            taken_mm2: std::array::from_fn(|i| left.taken_mm2[i] + right.taken_mm2[i]),
            outer_mm2: left.outer_mm2 + right.outer_mm2,
            error_mm2: left.error_mm2 + right.error_mm2,
        })
    }
}

/// The stops that cut into the rim, with their curves at the looks.
struct Cuts {
    takers: [Taker; MOST],
    curves: [[f64; LOOKS]; MOST],
    count: usize,
    /// The smallest radius that any of them leaves, less what a look may have missed, mm.
    nearest_mm: f64,
}

impl Cuts {
    fn none(filler: Taker) -> Self {
        Self { takers: [filler; MOST], curves: [[0.0; LOOKS]; MOST], count: 0, nearest_mm: f64::INFINITY }
    }

    fn add(&mut self, taker: Taker, curve: [f64; LOOKS]) {
        let least = curve.iter().copied().fold(f64::INFINITY, f64::min);
        let most = curve.iter().copied().fold(0.0, f64::max);
        self.nearest_mm = self.nearest_mm.min(least - 0.1 * (most - least));
        (self.takers[self.count], self.curves[self.count]) = (taker, curve);
        self.count += 1;
    }
}

/// Angles at which the outline has a corner.
#[derive(Default)]
struct Corners {
    angles: [f64; MOST_CORNERS],
    count: usize,
}

impl Corners {
    fn add(&mut self, angle: f64) -> Option<()> {
        *self.angles.get_mut(self.count)? = angle.rem_euclid(TAU);
        self.count += 1;
        Some(())
    }

    fn sorted(&mut self) -> &[f64] {
        let found = &mut self.angles[..self.count];
        found.sort_unstable_by(f64::total_cmp);
        found
    }
}

pub(super) const STEP: f64 = TAU / LOOKS as f64;

pub(super) fn look_angle(i: usize) -> f64 {
    STEP * (i as f64 + FIRST_LOOK)
}

/// Cosines and sines of the looks.
pub(super) fn looks() -> &'static Looks {
    static TABLE: std::sync::OnceLock<Looks> = std::sync::OnceLock::new();
    TABLE.get_or_init(|| {
        let of = |f: fn(f64) -> f64| std::array::from_fn(|i| f(look_angle(i)));
        (of(f64::cos), of(f64::sin))
    })
}

/// The angles at which a smooth function of the angle is 0, from its values at the looks.
///
/// A pair of zeros between two looks is found where a parabola through three values comes near 0. Nothing where there are
/// too many.
fn zeros(values: &[f64; LOOKS], f: impl Fn(f64) -> f64, found: &mut Corners) -> Option<()> {
    for i in 0..LOOKS {
        let (before, here) = (values[(i + LOOKS - 1) % LOOKS], values[i]);
        let after = values[(i + 1) % LOOKS];
        let angle = look_angle(i);
        if (here > 0.0) != (after > 0.0) {
            found.add(roots::bracketed(&f, angle, angle + STEP, CORNER_RAD)?)?;
        }
        let sign = if here > 0.0 { -1.0 } else { 1.0 };
        let turns = sign * here >= sign * before && sign * here > sign * after;
        if !turns || (before > 0.0) != (here > 0.0) || (after > 0.0) != (here > 0.0) {
            continue;
        }
        let bend = sign * (2.0 * here - before - after);
        let peak = sign * here + (after - before).powi(2) / (8.0 * bend);
        // The parabola errs by about 0.001 of the bend where the curve is an ellipse.
        if peak > -0.1 * bend {
            let (top, value) = roots::maximum(|a| sign * f(a), angle - STEP, angle + STEP, 1e-8);
            if value > 0.0 {
                found.add(roots::bracketed(&f, angle - STEP, top, CORNER_RAD)?)?;
                found.add(roots::bracketed(&f, top, angle + STEP, CORNER_RAD)?)?;
            }
        }
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Diagonal, Drawtube, FocalPlane, Opening, Primary, Train};
    use crate::numeric::random::Stream;
    use crate::trace::ray::StarBeam;
    use crate::trace::stops::Stop;
    use crate::units::FocalLengthMm;

    /// An invented train: some parts large enough, some not.
    fn invented(number: u64) -> Train {
        let mut stream = Stream::new(31, number);
        let mut span = |low: f64, high: f64| low + (high - low) * stream.uniform();
        let aperture = span(150.0, 500.0);
        let focal = aperture * span(3.8, 7.0);
        let to_focus = aperture * span(0.6, 0.95);
        let conic = if span(0.0, 1.0) < 0.5 { -1.0 } else { span(-1.3, 0.0) };
        // The axis cone's own minor axis is about L/F.
        let minor = (to_focus * aperture / focal) * span(0.8, 1.6);
        let mut diagonal = Diagonal::new(minor);
        if span(0.0, 1.0) < 0.4 {
            diagonal = diagonal.offset_mm(minor * span(-0.02, 0.1));
        }
        let primary = Primary::new(aperture, FocalLengthMm(focal)).conic(conic);
        let masked = span(0.0, 1.0) < 0.15;
        let primary = if masked { primary.mask_diameter_mm(aperture * 0.93) } else { primary };
        let mut train = Train::builder(primary).diagonal(diagonal).focal_plane(FocalPlane::new(to_focus));
        if span(0.0, 1.0) < 0.7 {
            let opening = Opening::new(aperture * span(0.97, 1.15), focal * span(0.8, 1.2));
            train = train.front_opening(opening);
        }
        if span(0.0, 1.0) < 0.7 {
            let length = span(20.0, 90.0);
            let tube = Drawtube::new(span(28.0, 60.0), length, span(-0.5 * length, 30.0));
            train = train.drawtube(tube);
        }
        train.build().expect("a sound train")
    }

    #[test]
    fn fast_and_general_fractions_agree() {
        let (mut fast, mut general, mut unexplained, mut worst, mut cut) = (0, 0, 0, 0.0_f64, 0);
        for number in 0..400 {
            let prepared = Prepared::new(&invented(number));
            let quick = QuickLight::new(&prepared).expect("plain circles");
            let mut stream = Stream::new(77, number);
            for k in 0..8 {
                let angle = TAU * stream.uniform();
                // Out to 20 mm in the focal plane, every other one along an axis of symmetry.
                let radius = 3437.7 * 20.0 * stream.uniform() / prepared.focal_length_mm();
                let angle = if k % 2 == 0 { angle } else { FRAC_PI_2 * f64::from(k / 2) };
                let field = Field::arcmin(radius * angle.cos(), radius * angle.sin());
                let light = prepared.light(field);
                let Some(answer) = quick.light(field) else {
                    // Only where the middle of the mirror is hardly seen past a part, or hardly shadowed.
                    let beam = StarBeam::new(field);
                    let middle = beam.ray(prepared.mirror(), 0.0, 0.0);
                    let at_an_edge = |stop: &Stop| {
                        let (excess, radius) = (stop.excess_mm(&middle, &beam), stop.radius_mm());
                        if stop.is_shadow() { excess < 0.17 * radius } else { excess > -0.06 * radius }
                    };
                    if !prepared.stops().iter().any(at_an_edge) {
                        println!("train {number} point {k} {field:?}: {}", prepared.train().to_json());
                        unexplained += 1;
                    }
                    general += 1;
                    continue;
                };
                fast += 1;
                for set in Instructions::ALL.into_iter().filter(|set| set.is_there()) {
                    let same = QuickLight { set, ..quick }.light(field).expect("an answer");
                    assert_eq!(same.lit_fraction.to_bits(), answer.lit_fraction.to_bits(), "{set:?}");
                }
                let off = (answer.lit_fraction - light.lit_fraction).abs();
                let parts = answer.stopped().zip(&light.stopped);
                let shares = parts.map(|(a, b)| {
                    assert_eq!(a.0, b.part);
                    (a.1 - b.fraction).abs()
                });
                let off = shares.fold(off, f64::max);
                cut += usize::from(answer.lit_without_shadow < 1.0 - 1e-6);
                worst = if light.error_estimate > 1e-9 { worst } else { worst.max(off) };
                // Where the general way falls back to sampled rays, it is the one that errs.
                let sampled = light.error_estimate > 1e-9;
                let stated = answer.error_estimate + light.error_estimate;
                let allowed = if sampled { light.error_estimate } else { stated.min(1e-9) };
                assert!(
                    off <= allowed,
                    "train {number} point {k}: {off:e}, estimates {:e} and {:e}",
                    answer.error_estimate,
                    light.error_estimate
                );
            }
        }
        println!("{fast} fast, {general} general ({unexplained} unexplained), {cut} cut, worst {worst:e}");
        assert!(cut > 2000 && general < 480 && 50 * unexplained < fast);
    }
}
