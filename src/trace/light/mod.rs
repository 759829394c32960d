//! How much light arrives, and which part stops the rest.

mod around;
mod centre;
mod corners;
mod field_stop;
mod illumination;
mod ledger;
mod lit_circle;
mod map;
mod radial;
mod regions;
mod rows;
mod seen;
mod spokes;

use serde::{Deserialize, Serialize};

use self::ledger::Ledger;
use self::regions::Regions;
use self::seen::{Edge, Seen};
use self::spokes::{Frame, LOOKS, MOST_EDGES, Spoke, Spokes};
use super::prepared::Prepared;
use super::pupil::lattice;
use super::ray::StarBeam;
use super::star::Star;
use super::stops::Part;
use crate::error::Error;
use crate::units::Field;

pub(crate) use around::is_mirrored;
pub use field_stop::FieldStopLight;
pub use illumination::Illumination;
pub use lit_circle::LitCircle;
pub use map::{LightMap, SensorCorner, SensorFrame};
pub use radial::RadialIllumination;

/// What the fractions themselves are good to, where their sums agree.
const ERROR_FLOOR: f64 = 1e-11;
/// A removal that returns less than this share is told from rounding by nobody.
const LEAST_RETURN: f64 = 1e-9;
/// Rays of the sampled answer, and what it is good to.
const SAMPLES: usize = 100_000;
const SAMPLED_ERROR: f64 = 3e-4;
/// A centre less deep inside an edge than this, in units of the edge's own scale, sees it turn too fast.
const DEEP: f64 = 0.12;
/// A stop so near to the focus that aberrations outweigh the cone there by this has no convex free side.
const BENT: f64 = 0.25;
/// Nor has one past whose edge the figure throws a zone's light by more than this share of its radius.
const THROWN: f64 = 0.2;

/// What one part stops of one star's light.
///
/// ```
/// let share = catoptric::Share { part: catoptric::Part::Diagonal, fraction: 0.02, returns_alone: 0.01 };
/// assert!(share.fraction < 1.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Share {
    /// The part.
    pub part: Part,
    /// What it stops, as a share of the light that falls on the clear aperture; light that an earlier part has
    /// stopped is not counted again.
    pub fraction: f64,
    /// What the image would gain if this part alone were taken away: light that no other part stops as well.
    pub returns_alone: f64,
}

/// How much of the light that falls on the clear aperture reaches the image, and where the rest stays.
///
/// The lit fraction and the shares add up to 1. Reflectances are not counted.
///
/// ```
/// use catoptric::{Diagonal, Field, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let light = Prepared::new(&train).light(Field::AXIS);
/// assert!((light.lit_fraction - (1.0 - (70.0_f64 / 318.0).powi(2))).abs() < 1e-9);
/// assert!((light.lit_without_shadow() - 1.0).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Light {
    /// Share that reaches the image.
    pub lit_fraction: f64,
    /// What each part stops, in the order in which light meets the parts; parts that the train lacks are left out.
    pub stopped: Vec<Share>,
    /// The opening whose removal alone would return most; where none alone returns anything, because others stop the same
    /// light, the one that stops most. Bodies that stand in the light of every star (the shadows of diagonal and holder,
    /// vanes, clips) and the mask are left aside. None where no opening stops anything.
    pub limited_by: Option<Part>,
    /// Estimated error of the fractions: three times the difference from a coarser sum, or that of sampled rays.
    pub error_estimate: f64,
    without_shadow: f64,
}

impl Light {
    fn of(
        prepared: &Prepared,
        (lit_fraction, without_shadow): (f64, f64),
        taken_and_returned: impl Iterator<Item = (f64, f64)>,
        error_estimate: f64,
    ) -> Self {
        let shares = prepared.parts().iter().zip(taken_and_returned);
        let stopped: Vec<Share> = shares
            .map(|(&part, (fraction, returns_alone))| Share { part, fraction, returns_alone })
            .collect();
        // What lies behind another opening that stops the same light limits nothing.
        let returning = stopped.iter().filter(|s| s.returns_alone > LEAST_RETURN);
        let limited_by = limiting(returning.map(|s| (s.part, s.returns_alone)))
            .or_else(|| limiting(stopped.iter().map(|s| (s.part, s.fraction))));
        Self { lit_fraction, stopped, limited_by, error_estimate, without_shadow }
    }

    /// Share that would pass with the shadows of the diagonal and its holder left out: what the openings and vanes
    /// leave.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert_eq!(Prepared::new(&train).light(Field::AXIS).lit_without_shadow(), 1.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn lit_without_shadow(&self) -> f64 {
        self.without_shadow
    }

    /// What the parts cost in magnitudes: -2.5 log10 of the lit fraction; infinite where no light arrives.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).mask_diameter_mm(159.0)).build()?;
    /// let light = Prepared::new(&train).light(Field::AXIS);
    /// assert!((light.magnitudes_lost() - 1.50515).abs() < 1e-5, "half the diameter: 5 log10(2)");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn magnitudes_lost(&self) -> f64 {
        magnitudes(self.lit_fraction)
    }

    /// The part that stops most, bodies and mask included.
    pub(crate) fn main_stop(&self) -> Option<Part> {
        self.stopped.iter().max_by(|a, b| a.fraction.total_cmp(&b.fraction)).map(|s| s.part)
    }
}

/// A share of light as a loss in magnitudes; infinite for none, and never -0.
pub(crate) fn magnitudes(share: f64) -> f64 {
    -2.5 * share.max(0.0).log10() + 0.0
}

/// The opening that stops most; of several that stop the same, the first.
pub(crate) fn limiting(shares: impl Iterator<Item = (Part, f64)>) -> Option<Part> {
    let openings = shares.filter(|(part, share)| *share > 0.0 && part.is_opening());
    openings.reduce(|most, next| if next.1 > most.1 { next } else { most }).map(|(part, _)| part)
}

impl Prepared {
    /// How much of a star's light reaches the image, and which part stops the rest; of a lamp's as well.
    ///
    /// Units: shares of the light that falls on the clear aperture.
    /// Method: the free side of every opening and every body is convex as the star sees them, so what passes is a sum
    /// of areas of convex regions, each exact by radii about a place inside it: 1e-9 (with a height map on the mirror
    /// 1e-7 is aimed at; the estimate says what was reached). What the removal of a part would return comes from the
    /// same sums.
    /// Leaves out: reflectances; slivers of a stop's edge that are seen twice behind a kink of the glass (an edge whose
    /// power is below 2: within 1e-8). Where a stop lies so near to the focus that aberrations outweigh the cone's
    /// width there (some millimetres) and the star falls on its edge, or where a figure so steep cuts that it throws light
    /// aside by more than a fifth of an opening's radius, 100 000 sampled rays answer, good to about 3e-4.
    /// A star in no direction (not a number) gives no light.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!((Prepared::new(&train).light(Field::arcmin(20.0, 0.0)).lit_fraction - 1.0).abs() < 1e-12);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn light(&self, star: impl Into<Star>) -> Light {
        let star = star.into();
        let beam = StarBeam::new(star);
        if !beam.towards.iter().all(|t| t.is_finite()) {
            return Light::of(self, (0.0, 0.0), self.parts().iter().map(|_| (0.0, 0.0)), 0.0);
        }
        let seen = Seen::new(self, beam);
        let ledger = Ledger::new(self);
        let Some((sums, error_mm2)) = account(&seen, &ledger) else { return self.light_by_rays(star) };
        let n = self.parts().len();
        let whole_mm2 = sums[..n].iter().sum::<f64>() + sums[ledger.lit()];
        let share = |sum: usize| (sums[sum] / whole_mm2).max(0.0);
        Light::of(
            self,
            (share(ledger.lit()), share(ledger.without_shadow())),
            (0..n).map(|i| (share(Ledger::taken(i)), share(ledger.returned(i)))),
            error_mm2 / whole_mm2 + ERROR_FLOOR,
        )
    }

    /// The same by sampled rays: the obvious way, good to about 3e-4; kept as a check on the exact one.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).mask_diameter_mm(159.0)).build()?;
    /// let light = Prepared::new(&train).light_by_rays(Field::AXIS);
    /// assert!((light.lit_fraction - 0.25).abs() < 1e-3);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn light_by_rays(&self, star: impl Into<Star>) -> Light {
        let beam = StarBeam::new(star);
        let ledger = Ledger::new(self);
        let mut sums = vec![0.0; ledger.sums()];
        for (x, y) in lattice(self.clear_radius_mm(), SAMPLES) {
            let ray = beam.ray(self.mirror(), x, y);
            let stops = self.stops().iter().filter(|stop| stop.excess_mm(&ray, &beam) > 0.0).map(|s| s.part);
            let strips = self.strips().iter().filter(|strip| strip.covers(&ray, &beam)).map(|s| s.part);
            let by = stops.chain(strips).fold(0, |by: u32, part| by | 1 << self.place_of(part));
            ledger.enter(by, ray.beam, &mut sums);
        }
        let n = self.parts().len();
        let whole = sums[..n].iter().sum::<f64>() + sums[ledger.lit()];
        Light::of(
            self,
            (sums[ledger.lit()] / whole, sums[ledger.without_shadow()] / whole),
            (0..n).map(|i| (sums[Ledger::taken(i)] / whole, sums[ledger.returned(i)] / whole)),
            SAMPLED_ERROR,
        )
    }
}

/// The account of a star's light in areas of its plane, and its error, mm^2; none where a stop's free side is not
/// convex.
fn account(seen: &Seen<'_>, ledger: &Ledger) -> Option<(Vec<f64>, f64)> {
    let rim = Edge::rim(seen.prepared.clear_radius_mm());
    let edges: Vec<Edge> = std::iter::once(rim)
        .chain(seen.prepared.stops().iter().map(|stop| Edge {
            stop: Some(*stop),
            radius_mm: stop.radius_mm(),
            place: seen.prepared.place_of(stop.part),
        }))
        .collect();
    let spokes = Spokes::new(seen, Frame::ON_THE_AXIS, edges);
    let looks = spokes.looks();
    let mut acting = [true; MOST_EDGES];
    let mut scales = [rim.radius_mm; MOST_EDGES];
    for (i, edge) in spokes.edges.iter().enumerate().skip(1) {
        if edge.is_body() {
            scales[i] = edge.radius_mm;
        } else {
            acting[i] = corners::reaches_inside(&spokes, i, &looks);
            let excess = looks.iter().map(|(_, spoke)| spoke.excess_at_rim_mm[i]);
            let (low, high) = excess
                .chain([spokes.at_centre_mm[i]])
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high): (f64, f64), e| {
                    (low.min(e), high.max(e))
                });
            scales[i] = (0.5 * (high - low)).max(spokes.nothing_mm);
            let partly = acting[i] && low < 0.0;
            let is_thrown = edge.stop.is_some_and(|stop| {
                let after_the_mirror = stop.part == Part::Diagonal || stop.part.is_beyond_the_flat();
                after_the_mirror && seen.prepared.thrown_mm() > THROWN * stop.radius_mm()
            });
            if partly && (is_thrown || is_bent(&looks, i, spokes.at_centre_mm[i])) {
                return None;
            }
        }
    }
    let count = spokes.edges.len();
    let chosen = || (0..count).filter(|&i| acting[i]);
    let is_deep = |at_centre_mm: &[f64]| chosen().all(|i| at_centre_mm[i] < -DEEP * scales[i]);
    let enter = |spokes: &Spokes<'_>, looks: &[(f64, Spoke)]| {
        spokes.integrate(looks, ledger.sums(), |spoke, weight, sums| {
            ledger.enter_spoke(&spokes.edges, spoke, weight, sums);
        })
    };
    let acting_edges: Vec<Edge> = chosen().map(|i| spokes.edges[i]).collect();
    let acting_scales: Vec<f64> = chosen().map(|i| scales[i]).collect();
    let (mut sums, error) = if is_deep(&spokes.at_centre_mm) {
        enter(&spokes, &looks)
    } else {
        match centre::inside(seen, &acting_edges, &acting_scales) {
            Some((place, depth)) if depth > DEEP => {
                let spokes = Spokes::new(seen, Frame::about(place), acting_edges.clone());
                enter(&spokes, &spokes.looks())
            }
            _ => Regions::new(seen, &acting_edges, &acting_scales).account(ledger),
        }
    };
    rows::take_over(seen, &acting_edges, ledger, &mut sums);
    Some((sums, error))
}

/// Whether the excess of an edge bends down along a line through the centre, by more than a share of its slope.
fn is_bent(looks: &[(f64, Spoke)], edge: usize, at_centre_mm: f64) -> bool {
    let at = |k: usize| looks[k].1.excess_at_rim_mm[edge];
    let (mut bend, mut slope) = (f64::INFINITY, 0.0_f64);
    for k in 0..LOOKS / 2 {
        let (here, there) = (at(k), at(k + LOOKS / 2));
        bend = bend.min(0.5 * (here + there) - at_centre_mm);
        slope = slope.max(0.5 * (here - there).abs());
    }
    bend < -BENT * slope
}

/// The error of a field point that no light reaches.
pub(crate) fn no_light(field: Field, light: &Light) -> Error {
    Error::NoLight {
        x_arcmin: field.x_arcmin,
        y_arcmin: field.y_arcmin,
        stopped_by: light.main_stop().map_or_else(String::new, |part| format!("{part} stops most of it")),
    }
}
