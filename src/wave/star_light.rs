//! A star's light in the image, by the shortest way that its pupil allows, with its estimated error.

use std::f64::consts::TAU;

use ndarray::Array2;

use super::amplitude::{Amplitude, CloseUp};
use super::density::{Fineness, PhaseDensity, SlopeTable};
use super::image::{ERROR_FLOOR, IMAGE_ACCURACY, REFINEMENTS};
use super::round_star::RoundStar;
use super::source::{Pupil, Source};
use super::spectrum::Spectrum;
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::pool;

/// The intensity in the image, ready to be asked for.
#[derive(Clone, Debug)]
pub(crate) enum StarLight {
    /// Of any pupil.
    Net(Amplitude),
    /// Of a pupil that is the same around the axis, with the half-width of the square that it holds, um.
    Round(RoundStar, f64),
}

/// How much of the image is wanted.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reach {
    /// Half of the square's side, um.
    pub(crate) half_um: f64,
    /// The farthest radius, um: the square's corner, or that of a disc inside it.
    pub(crate) corner_um: f64,
    /// The shortest wavelength times the focal ratio, um.
    pub(crate) unit_um: f64,
}

/// The light near a point.
pub(crate) enum Near<'a> {
    CloseUp(CloseUp<'a>, &'a Amplitude),
    Round(&'a RoundStar),
}

impl Near<'_> {
    pub(crate) fn intensity(&self, along_um: f64, across_um: f64) -> f64 {
        match self {
            Self::CloseUp(near, _) if near.holds(along_um, across_um) => near.intensity(along_um, across_um),
            Self::CloseUp(_, light) => light.intensity(along_um, across_um),
            Self::Round(star) => star.at(along_um.hypot(across_um)),
        }
    }
}

impl StarLight {
    fn new(pupil: &SharedPupil, reference_mm: [f64; 3], spectrum: &Spectrum, reach: Reach) -> Self {
        if pupil.is_meridian {
            let star =
                RoundStar::new(&pupil.nodes, reference_mm, spectrum, reach.unit_um, 1.001 * reach.corner_um);
            return Self::Round(star, reach.half_um);
        }
        Self::Net(Amplitude::new(&pupil.nodes, reference_mm, spectrum, reach.half_um))
    }

    pub(crate) fn intensity(&self, along_um: f64, across_um: f64) -> f64 {
        match self {
            Self::Net(light) => light.intensity(along_um, across_um),
            Self::Round(star, _) => star.at(along_um.hypot(across_um)),
        }
    }

    pub(crate) fn picture(&self, axis_um: &[f64]) -> Array2<f64> {
        match self {
            Self::Net(light) => light.picture(axis_um),
            Self::Round(star, _) => star.picture(axis_um),
        }
    }

    pub(crate) fn near(&self, centre_um: [f64; 2], reach_um: f64) -> Near<'_> {
        match self {
            Self::Net(light) => Near::CloseUp(light.close_up(centre_um, reach_um), light),
            Self::Round(star, _) => Near::Round(star),
        }
    }

    /// Half of the side of the square that is known, um.
    pub(crate) fn reach_um(&self) -> f64 {
        match self {
            Self::Net(light) => light.reach_um,
            Self::Round(_, half_um) => *half_um,
        }
    }

    /// Integral of the intensity over the whole plane, um^2.
    pub(crate) fn whole_um2(&self) -> f64 {
        match self {
            Self::Net(light) => light.whole_um2,
            Self::Round(star, _) => star.whole_um2,
        }
    }

    pub(crate) fn within_disc_um2(&self, radius_um: f64, unit_um: f64) -> f64 {
        match self {
            Self::Net(light) => light.within_disc_um2(radius_um, unit_um),
            Self::Round(star, _) => star.within_disc_um2(radius_um, unit_um),
        }
    }

    pub(crate) fn within_rectangle_um2(&self, half_along_um: f64, half_across_um: f64, unit_um: f64) -> f64 {
        match self {
            Self::Net(light) => light.within_rectangle_um2(half_along_um, half_across_um, unit_um),
            Self::Round(star, _) => star.within_rectangle_um2(half_along_um, half_across_um, unit_um),
        }
    }

    pub(crate) fn mean_around(&self, radius_um: &[f64], unit_um: f64) -> Vec<f64> {
        match self {
            Self::Net(light) => light.mean_around(radius_um, unit_um),
            Self::Round(star, _) => radius_um.iter().map(|r| star.at(*r)).collect(),
        }
    }
}

/// One list of nodes for several reference points, and the estimated error of the intensity.
pub(crate) struct SharedPupil {
    nodes: Pupil,
    is_meridian: bool,
    pub(crate) error: f64,
}

impl SharedPupil {
    /// On as many nodes as a density asks for; along one radius where that is enough.
    fn at(source: &Source, references: &[[f64; 3]], density: &PhaseDensity, may_be_round: bool) -> Self {
        // A strip's reference points lie on one line: the first tells.
        if may_be_round && let Some(nodes) = source.meridian(references[0], density) {
            return Self { nodes, is_meridian: true, error: 0.0 };
        }
        Self { nodes: source.pupil(density), is_meridian: false, error: 0.0 }
    }

    /// The light as seen from one of the reference points.
    pub(crate) fn light(&self, reference_mm: [f64; 3], spectrum: &Spectrum, reach: Reach) -> StarLight {
        StarLight::new(self, reference_mm, spectrum, reach)
    }
}

impl Wavefront {
    /// The light in the image, on as many nodes as its corner needs, and the estimated error of the intensity.
    pub(crate) fn star_light(
        &self,
        spectrum: &Spectrum,
        half_um: f64,
        corner_um: f64,
    ) -> Result<(StarLight, f64)> {
        let unit_um = spectrum.lines()[0].0 / 1000.0 * self.image_focal_ratio()?;
        let reach = Reach { half_um, corner_um, unit_um };
        let slopes = self.source.slopes(self.reference_mm);
        let (pupil, mut lights) =
            self.shared_pupil(&[self.reference_mm], slopes, spectrum, reach, ALLOW_ROUND)?;
        let light = lights.pop().unwrap_or_else(|| pupil.light(self.reference_mm, spectrum, reach));
        Ok((light, pupil.error))
    }

    /// Nodes that serve all of these reference points, compared with a coarser list at each; with the light at each.
    pub(crate) fn shared_pupil(
        &self,
        references: &[[f64; 3]],
        slopes: SlopeTable,
        spectrum: &Spectrum,
        reach: Reach,
        may_be_round: bool,
    ) -> Result<(SharedPupil, Vec<StarLight>)> {
        let shortest_nm = spectrum.lines()[0].0;
        let mut density =
            PhaseDensity::new(slopes, shortest_nm, reach.corner_um / reach.unit_um, Fineness::IMAGES);
        let (mut error, tolerance) = (f64::INFINITY, self.source.tolerance(IMAGE_ACCURACY));
        for refinement in 0..=REFINEMENTS {
            let pupil = SharedPupil::at(&self.source, references, &density, may_be_round);
            let coarse = density.with(density.fineness().companion());
            let companion = SharedPupil::at(&self.source, references, &coarse, may_be_round);
            let compared = pool::map_ordered(references.len(), references.len() > 1, |k| {
                let light = pupil.light(references[k], spectrum, reach);
                let coarser = companion.light(references[k], spectrum, reach);
                let difference = largest_difference(&light, &coarser, reach);
                (light, difference)
            });
            error = 3.0 * compared.iter().fold(0.0, |largest: f64, c| largest.max(c.1)) + ERROR_FLOOR;
            let lights = || compared.into_iter().map(|c| c.0).collect();
            if let Some(sampling) = pupil.nodes.sampling_error {
                return Ok((SharedPupil { error: error.max(sampling), ..pupil }, lights()));
            }
            if error <= tolerance.wanted || (refinement == REFINEMENTS && error <= tolerance.accepted) {
                return Ok((SharedPupil { error, ..pupil }, lights()));
            }
            density = density.with(density.fineness().finer());
        }
        Err(Error::NotConverged { what: "the star image", reached: error, wanted: tolerance.accepted })
    }
}

/// Whether a pupil that is the same around the axis is summed along one radius; tests hold this against the other way.
pub(crate) const ALLOW_ROUND: bool = true;

/// The largest difference of two lists of nodes in the centre, near the corners of the square and around half of it.
fn largest_difference(light: &StarLight, companion: &StarLight, reach: Reach) -> f64 {
    let toward = |radius: f64, turn: f64| {
        let (sin, cos) = (TAU * turn).sin_cos();
        // Beyond the square on which the sums hold, its edge.
        let radius = radius.min(reach.half_um / cos.abs().max(sin.abs()));
        [radius * cos, radius * sin]
    };
    let ring = |radius: f64, count: u32, from: f64| {
        (0..count).map(move |i| toward(radius, (f64::from(i) + from) / f64::from(count)))
    };
    // The corner's radius counts most: two thirds of these looks lie near a corner, at 41 and 49 degrees.
    let corners = (0..8_u32).map(|i| {
        let turn = (0.25 * f64::from(i / 2)) + if i % 2 == 0 { 41.0 } else { 49.0 } / 360.0;
        toward(reach.corner_um, turn)
    });
    ring(0.0, 1, 0.3)
        .chain(corners)
        .chain(ring(reach.corner_um, 4, 0.05))
        .chain(ring(reach.corner_um / 2.0, 6, 0.3))
        .map(|[x, y]| (light.intensity(x, y) - companion.intensity(x, y)).abs())
        .fold(0.0, f64::max)
}
