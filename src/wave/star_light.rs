//! A star's light in the image, by the shortest way that its pupil allows, with its estimated error.

use std::f64::consts::TAU;
use std::sync::{Arc, Mutex, PoisonError};

use ndarray::Array2;

use super::amplitude::{Amplitude, square};
use super::between::Coarse;
use super::close_up::CloseUp;
use super::density::{Fineness, PhaseDensity, SlopeTable};
use super::image::{ERROR_FLOOR, IMAGE_ACCURACY, REFINEMENTS};
use super::round_star::RoundStar;
use super::source::{Pupil, Source};
use super::spectrum::Spectrum;
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::{pool, sums};

/// The intensity in the image, ready to be asked for.
#[derive(Clone, Debug)]
pub(crate) enum StarLight {
    /// Of any pupil.
    Net(Amplitude),
    /// Of a pupil that is the same around the axis.
    Round(RoundStar),
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
    Coarse(&'a Coarse),
    CloseUp(CloseUp, &'a Amplitude),
    Round(&'a RoundStar),
}

impl Near<'_> {
    pub(crate) fn intensity(&self, along_um: f64, across_um: f64) -> f64 {
        match self {
            Self::Coarse(light) => light.intensity(along_um, across_um),
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
            return Self::Round(star);
        }
        Self::Net(Amplitude::new(&pupil.nodes, reference_mm, spectrum, reach.half_um))
    }

    pub(crate) fn picture(&self, axis_um: &[f64]) -> Array2<f64> {
        square(axis_um.len(), |image| self.picture_into(axis_um, image))
    }

    /// The same, row by row into as many numbers.
    pub(crate) fn picture_into(&self, axis_um: &[f64], image: &mut [f64]) {
        match self {
            Self::Net(light) => light.picture(axis_um, image),
            Self::Round(star) => star.picture(axis_um, image),
        }
    }

    pub(crate) fn near(&self, centre_um: [f64; 2], reach_um: f64) -> Near<'_> {
        match self {
            Self::Net(light) => match light.coarse_near() {
                Some(coarse) => Near::Coarse(coarse),
                None => Near::CloseUp(light.close_up(centre_um, reach_um), light),
            },
            Self::Round(star) => Near::Round(star),
        }
    }

    /// Where the error of a list shows first: the intensity of the shortest wavelength, or of a round star all of it.
    fn telling_intensity(&self, along_um: f64, across_um: f64) -> f64 {
        match self {
            Self::Net(light) => light.shortest_intensity(along_um, across_um),
            Self::Round(star) => star.at(along_um.hypot(across_um)),
        }
    }

    pub(crate) fn within_disc_um2(&self, radius_um: f64, unit_um: f64) -> f64 {
        match self {
            Self::Net(light) => light.within_disc_um2(radius_um, unit_um),
            Self::Round(star) => star.within_disc_um2(radius_um, unit_um),
        }
    }

    pub(crate) fn within_rectangle_um2(&self, half_along_um: f64, half_across_um: f64, unit_um: f64) -> f64 {
        match self {
            Self::Net(light) => light.within_rectangle_um2(half_along_um, half_across_um, unit_um),
            Self::Round(star) => star.within_rectangle_um2(half_along_um, half_across_um, unit_um),
        }
    }

    pub(crate) fn mean_around(&self, radius_um: &[f64], unit_um: f64) -> Vec<f64> {
        match self {
            Self::Net(light) => light.mean_around(radius_um, unit_um),
            Self::Round(star) => radius_um.iter().map(|r| star.at(*r)).collect(),
        }
    }
}

/// One list of nodes for several reference points.
#[derive(Debug)]
pub(crate) struct SharedPupil {
    nodes: Pupil,
    is_meridian: bool,
}

impl SharedPupil {
    /// On as many nodes as a density asks for; along one radius where that is enough.
    fn new(source: &Source, references: &[[f64; 3]], density: &PhaseDensity, may_be_round: bool) -> Self {
        // A strip's reference points lie on one line: the first tells.
        if may_be_round && let Some(nodes) = source.meridian(references[0], density) {
            return Self { nodes, is_meridian: true };
        }
        Self { nodes: source.pupil(density), is_meridian: false }
    }

    /// The intensity's integral over the whole image plane, um^2: by Parseval's theorem that of the pupil in the conjugate
    /// coordinate.
    pub(crate) fn whole_um2(&self, reference_mm: [f64; 3], spectrum: &Spectrum) -> f64 {
        let over_peak = |pupil: &Pupil| {
            let light: Vec<f64> = pupil.weight.iter().zip(&pupil.amplitude).map(|(w, a)| w * a).collect();
            let peak = sums::pairwise(&light);
            let spread = pupil.spread(reference_mm);
            let energy: Vec<f64> =
                (0..light.len()).map(|i| light[i] * pupil.amplitude[i] / spread[i]).collect();
            sums::pairwise(&energy) / (peak * peak)
        };
        let counts = spectrum.peak_shares();
        let lines = spectrum.lines().iter().zip(counts);
        if self.nodes.has_film() {
            let of_line = |(line, counts): (&(f64, f64), f64)| {
                over_peak(&self.nodes.in_colour(line.0)) * counts * (line.0 / 1000.0).powi(2)
            };
            return lines.map(of_line).sum();
        }
        let wavelengths_um2: f64 = lines.map(|((nm, _), counts)| counts * (nm / 1000.0).powi(2)).sum();
        over_peak(&self.nodes) * wavelengths_um2
    }

    /// The light as seen from one of the reference points.
    pub(crate) fn light(&self, reference_mm: [f64; 3], spectrum: &Spectrum, reach: Reach) -> StarLight {
        StarLight::new(self, reference_mm, spectrum, reach)
    }
}

/// A list of nodes, its coarser companion, and what both were made for.
#[derive(Debug)]
pub(crate) struct Lists {
    pub(crate) pupil: SharedPupil,
    companion: SharedPupil,
    density: PhaseDensity,
}

impl Lists {
    fn new(source: &Source, references: &[[f64; 3]], density: PhaseDensity, may_be_round: bool) -> Self {
        let coarser = density.companion();
        Self {
            pupil: SharedPupil::new(source, references, &density, may_be_round),
            companion: SharedPupil::new(source, references, &coarser, may_be_round),
            density,
        }
    }
}

/// The lists of a wavefront's last picture and the error they came to: the next one of the same reach, light and reference
/// points needs neither others nor another comparison.
#[derive(Clone, Debug, Default)]
pub(crate) struct KeptLists(Arc<Mutex<Option<Kept>>>);

/// What lists were made and compared for, the lists, and their error.
type Kept = (Vec<u64>, Arc<Lists>, f64);

impl KeptLists {
    fn get(&self, key: &[u64]) -> Option<(Arc<Lists>, f64)> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.as_ref().filter(|(of, ..)| of == key).map(|(_, lists, error)| (Arc::clone(lists), *error))
    }

    fn keep(&self, key: Vec<u64>, lists: &Arc<Lists>, error: f64) {
        // A long list is not worth its room.
        if lists.pupil.nodes.len() < 20_000 {
            *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some((key, Arc::clone(lists), error));
        }
    }
}

/// All on which lists and their error hang, bit by bit.
fn key(references: &[[f64; 3]], spectrum: &Spectrum, reach: Reach) -> Vec<u64> {
    let lines = spectrum.lines().iter().flat_map(|(nm, share)| [*nm, *share]);
    let numbers = [reach.half_um, reach.corner_um].into_iter().chain(lines);
    numbers.chain(references.iter().flatten().copied()).map(f64::to_bits).collect()
}

/// A picture of a star of one wavelength, with all of its light.
pub(crate) struct WholeStar {
    /// Intensity, rows across, columns along.
    pub(crate) image: Array2<f64>,
    /// The intensity's integral over the whole plane, also outside of the picture, um^2.
    pub(crate) whole_um2: f64,
    /// Estimated error of the intensity.
    pub(crate) error: f64,
}

impl Wavefront {
    /// The star at the points of an axis in both directions; right as far as a radius.
    pub(crate) fn whole_star(&self, axis_um: &[f64], radius_um: f64) -> Result<WholeStar> {
        let line = Spectrum::line(self.wavelength_nm)?;
        let half_um = axis_um.iter().fold(0.0_f64, |most, x| most.max(x.abs()));
        let settled = self.star_light(&line, half_um, radius_um)?;
        let whole_um2 = settled.lists.pupil.whole_um2(self.reference_mm, &line);
        Ok(WholeStar { image: settled.light().picture(axis_um), whole_um2, error: settled.error })
    }

    /// The light in the image, on as many nodes as its corner needs, and the estimated error of the intensity.
    pub(crate) fn star_light(&self, spectrum: &Spectrum, half_um: f64, corner_um: f64) -> Result<Settled> {
        let shortest_nm = spectrum.lines()[0].0;
        let reach = Reach { half_um, corner_um, unit_um: shortest_nm / 1000.0 * self.image_focal_ratio()? };
        self.star_light_from(&[self.reference_mm], spectrum, reach, || SlopeTable::clone(&self.slopes))
    }

    /// The light as seen from several reference points, on one list for the steepest slopes of all.
    pub(crate) fn star_light_from(
        &self,
        references: &[[f64; 3]],
        spectrum: &Spectrum,
        reach: Reach,
        slopes: impl FnOnce() -> SlopeTable,
    ) -> Result<Settled> {
        self.source.check_colours(spectrum)?;
        let key = key(references, spectrum, reach);
        if let Some((lists, error)) = self.kept.get(&key) {
            // Without a comparison nothing is at hand; several lights are made by whoever needs them, with all others.
            let light = || lists.pupil.light(references[0], spectrum, reach);
            let lights = if references.len() == 1 { vec![light()] } else { Vec::new() };
            return Ok(Settled { lists, lights, error });
        }
        let lists = Arc::new(self.lists(references, slopes(), reach, ALLOW_ROUND));
        let settled = self.settled(lists, references, spectrum, reach, ALLOW_ROUND)?;
        self.kept.keep(key, &settled.lists, settled.error);
        Ok(settled)
    }

    /// Nodes for all of these reference points, as many as the steepest slopes and the reach ask for.
    pub(crate) fn lists(
        &self,
        references: &[[f64; 3]],
        slopes: SlopeTable,
        reach: Reach,
        may_be_round: bool,
    ) -> Lists {
        let reach_in_units = reach.corner_um / reach.unit_um;
        let shortest_nm = reach.unit_um * 1000.0 / self.source.working_focal_ratio().unwrap_or(1.0);
        let density = PhaseDensity::new(slopes, shortest_nm, reach_in_units, Fineness::IMAGES);
        Lists::new(&self.source, references, density, may_be_round)
    }

    /// The lists compared with each other at each reference point, and made finer until they agree.
    pub(crate) fn settled(
        &self,
        mut lists: Arc<Lists>,
        references: &[[f64; 3]],
        spectrum: &Spectrum,
        reach: Reach,
        may_be_round: bool,
    ) -> Result<Settled> {
        let (mut error, tolerance) = (f64::INFINITY, self.source.tolerance(IMAGE_ACCURACY));
        for refinement in 0..=REFINEMENTS {
            // The error is largest, and tells, at the shortest wavelength.
            let shortest = Spectrum::line(spectrum.lines()[0].0)?;
            let told_by = if lists.companion.is_meridian { spectrum } else { &shortest };
            let compared = pool::map_ordered(references.len(), references.len() > 1, |k| {
                let light = lists.pupil.light(references[k], spectrum, reach);
                let coarser = lists.companion.light(references[k], told_by, reach);
                let difference = largest_difference(&light, &coarser, reach);
                (light, difference)
            });
            error = 3.0 * compared.iter().fold(0.0, |largest: f64, c| largest.max(c.1)) + ERROR_FLOOR;
            let lights = || compared.into_iter().map(|c| c.0).collect();
            if let Some(sampling) = lists.pupil.nodes.sampling_error {
                return Ok(Settled { error: error.max(sampling), lights: lights(), lists });
            }
            if error <= tolerance.wanted || (refinement == REFINEMENTS && error <= tolerance.accepted) {
                return Ok(Settled { error, lights: lights(), lists });
            }
            let finer = lists.density.with(lists.density.fineness().finer());
            lists = Arc::new(Lists::new(&self.source, references, finer, may_be_round));
        }
        Err(Error::NotConverged { what: "the star image", reached: error, wanted: tolerance.accepted })
    }
}

/// Lists that agree, the light at each reference point, and the estimated error of the intensity.
pub(crate) struct Settled {
    pub(crate) lists: Arc<Lists>,
    lights: Vec<StarLight>,
    pub(crate) error: f64,
}

impl Settled {
    /// The light at the only reference point.
    pub(crate) fn light(&self) -> &StarLight {
        &self.lights[0]
    }

    /// The light at one of several reference points, where the comparison has made it.
    pub(crate) fn light_at_hand(&self, reference: usize) -> Option<&StarLight> {
        self.lights.get(reference)
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
        .map(|[x, y]| (light.telling_intensity(x, y) - companion.telling_intensity(x, y)).abs())
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Primary, Train, TurnedEdge};
    use crate::trace::Prepared;
    use crate::units::{Field, FocalLengthMm};
    use crate::wave::focus::Focus;

    fn round_train() -> Wavefront {
        let primary =
            Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 120.0)).conic(-0.97);
        let telescope = Prepared::new(&Train::builder(primary).build().expect("a sound train"));
        telescope.wavefront(Field::AXIS, Focus::LeastRms, 550.0).expect("a wavefront")
    }

    /// The light by either way.
    fn light(
        wavefront: &Wavefront,
        spectrum: &Spectrum,
        reach: Reach,
        may_be_round: bool,
    ) -> (StarLight, f64) {
        let references = [wavefront.reference_mm];
        let slopes = wavefront.source.slopes(&[wavefront.reference_mm]);
        let lists = Arc::new(wavefront.lists(&references, slopes, reach, may_be_round));
        let mut settled =
            wavefront.settled(lists, &references, spectrum, reach, may_be_round).expect("nodes");
        assert_eq!(settled.lists.pupil.is_meridian, may_be_round);
        assert_eq!(settled.lights.len(), 1);
        let whole = settled.lists.pupil.whole_um2(wavefront.reference_mm, spectrum);
        (settled.lights.remove(0), whole)
    }

    #[test]
    fn the_sum_over_one_radius_is_the_sum_over_the_pupil() {
        let wavefront = round_train();
        let nine: Vec<f64> = (0..9).map(|k| 470.0 + 22.0 * f64::from(k)).collect();
        let shares: Vec<f64> = (0..9).map(|k| 1.0 + f64::from(k % 3)).collect();
        for spectrum in
            [Spectrum::line(550.0).expect("a line"), Spectrum::of_lines(&nine, &shares).expect("lines")]
        {
            let unit_um = spectrum.lines()[0].0 / 1000.0 * 1558.0 / 318.0;
            let reach = Reach { half_um: 12.0 * unit_um, corner_um: 17.0 * unit_um, unit_um };
            let ((round, whole), (net, also)) =
                (light(&wavefront, &spectrum, reach, true), light(&wavefront, &spectrum, reach, false));
            assert!((whole / also - 1.0).abs() < 1e-10);
            for (x, y) in [(0.0, 0.0), (1.3, 0.4), (-5.0, 2.0), (0.0, 11.0), (-11.0, -11.5), (11.9, 11.9)] {
                let [a, b] =
                    [&round, &net].map(|l| l.near([0.0; 2], unit_um).intensity(x * unit_um, y * unit_um));
                assert!((a - b).abs() < 1e-10, "at {x}, {y}: {:e}", a - b);
            }
            let axis: Vec<f64> = (0..20).map(|i| unit_um * (1.2 * f64::from(i) - 11.4)).collect();
            for (a, b) in round.picture(&axis).iter().zip(&net.picture(&axis)) {
                assert!((a - b).abs() < 1e-10, "picture: {:e}", a - b);
            }
            for radius_um in [1.0, 6.0, 30.0] {
                let discs = [&round, &net].map(|l| l.within_disc_um2(radius_um, unit_um) / whole);
                assert!((discs[0] - discs[1]).abs() < 1e-10, "disc: {discs:?}");
                let squares = [&round, &net].map(|l| l.within_rectangle_um2(radius_um, 3.0, unit_um) / whole);
                assert!((squares[0] - squares[1]).abs() < 1e-10, "rectangle: {squares:?}");
            }
            let radii = [0.5, 9.0, 25.0];
            for (a, b) in round.mean_around(&radii, unit_um).iter().zip(net.mean_around(&radii, unit_um)) {
                assert!((a - b).abs() < 1e-10, "mean around: {:e}", a - b);
            }
        }
    }
}
