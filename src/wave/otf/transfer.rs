//! Transfer functions of one wavefront: curves for given azimuths, refined until they settle.

use super::air::Air;
use super::bands::{Band, bands};
use super::overlap::{Fineness, Rows, Slopes};
use super::plane::Plane;
use super::row::Turned;
use crate::error::{Error, Result};
use crate::numeric::{pool, sums};
use crate::units::NM_PER_MM;
use crate::wave::source::Tolerance;
use crate::wave::spectrum::Spectrum;
use crate::wave::wavefront::Wavefront;

/// Accuracy that is promised for a transfer function.
const ACCURACY: f64 = 1e-5;
const REFINEMENTS: usize = 3;
/// What interpolated rows are good to.
const ERROR_FLOOR: f64 = 1e-9;
/// Frequencies of each azimuth at which two finenesses are compared.
const PROBES: usize = 6;

/// The values of one azimuth: real and imaginary part at each frequency.
pub(in crate::wave) type Curve = Vec<[f64; 2]>;

/// Curves of several azimuths with the largest estimated error.
pub(in crate::wave) struct Curves {
    pub(in crate::wave) curves: Vec<Curve>,
    pub(in crate::wave) error_estimate: f64,
}

/// One direction: its rows, and the energy that they hold.
struct Direction<'a> {
    turned: Turned<'a>,
    bands: Vec<Band>,
    energy: f64,
}

/// Contrast in the wavefront's own colour along and across at each frequency, with its estimated error.
pub(in crate::wave) fn contrasts(
    wavefront: &Wavefront,
    frequency_per_mm: &[f64],
) -> Result<(Vec<[f64; 2]>, f64)> {
    let line = Spectrum::line(wavefront.wavelength_nm)?;
    let found = curves(wavefront, &line, &[0.0, 90.0], frequency_per_mm, None)?;
    let modulus = |azimuth: usize, k: usize| {
        let [re, im] = found.curves[azimuth][k];
        re.hypot(im)
    };
    let both = (0..frequency_per_mm.len()).map(|k| [modulus(0, k), modulus(1, k)]).collect();
    Ok((both, found.error_estimate))
}

/// The transfer functions of a wavefront for some azimuths, in degrees, at frequencies in cycles for each mm; each wavelength
/// times what the air leaves to it, if there is any.
pub(super) fn curves(
    wavefront: &Wavefront,
    spectrum: &Spectrum,
    azimuths_deg: &[f64],
    frequency_per_mm: &[f64],
    air: Option<&Air>,
) -> Result<Curves> {
    let is_own = |lines: &[(f64, f64)]| matches!(lines, [(nm, _)] if nm.to_bits() == wavefront.wavelength_nm.to_bits());
    if wavefront.source.has_film() && !is_own(spectrum.lines()) {
        return curves_by_colour(wavefront, spectrum, azimuths_deg, frequency_per_mm, air);
    }
    curves_from(Fineness::CURVES, wavefront, spectrum, azimuths_deg, frequency_per_mm, air)
}

/// The same behind metal, where every colour has a wavefront of its own.
fn curves_by_colour(
    wavefront: &Wavefront,
    spectrum: &Spectrum,
    azimuths_deg: &[f64],
    frequency_per_mm: &[f64],
    air: Option<&Air>,
) -> Result<Curves> {
    let nothing = |frequencies: usize| vec![vec![[0.0; 2]; frequencies]; azimuths_deg.len()];
    let mut all = Curves { curves: nothing(frequency_per_mm.len()), error_estimate: 0.0 };
    for &(wavelength_nm, share) in spectrum.lines().iter().filter(|(_, share)| *share > 0.0) {
        let (own, line) = (wavefront.at_wavelength(wavelength_nm)?, Spectrum::line(wavelength_nm)?);
        let found = curves_from(Fineness::CURVES, &own, &line, azimuths_deg, frequency_per_mm, air)?;
        all.error_estimate += share * found.error_estimate;
        for (to, from) in all.curves.iter_mut().flatten().zip(found.curves.iter().flatten()) {
            (to[0], to[1]) = (to[0] + share * from[0], to[1] + share * from[1]);
        }
    }
    Ok(all)
}

/// The same, beginning with a given fineness.
pub(super) fn curves_from(
    mut fineness: Fineness,
    wavefront: &Wavefront,
    spectrum: &Spectrum,
    azimuths_deg: &[f64],
    frequency_per_mm: &[f64],
    air: Option<&Air>,
) -> Result<Curves> {
    let focal_ratio = wavefront.image_focal_ratio()?;
    let source = &wavefront.source;
    let plane = Plane::new(source, wavefront.reference_mm, focal_ratio);
    // All azimuths of a round pupil are one.
    let asked = if plane.is_round { &azimuths_deg[..azimuths_deg.len().min(1)] } else { azimuths_deg };
    // Slopes for a unit of the pupil's radius become slopes for a unit of m; at 1 nm, so that a wavelength divides them.
    let per_radius = source.rim() / plane.rim.radius;
    let steep = wavefront.slopes.steepest_by_radius();
    let radians = |(end, nm): (f64, f64)| (end / per_radius, std::f64::consts::TAU * nm * per_radius);
    let slopes = Slopes::new(steep.into_iter().map(radians).collect());
    let directions = pool::map_ordered(asked.len(), true, |i| {
        let turned = Turned::new(&plane, asked[i].to_radians());
        let bands = bands(&turned);
        let rows = Rows { turned, bands: &bands, slopes: slopes.scaled(0.0), wavelength_nm: 1.0 };
        let [energy, _] = rows.correlation(0.0, Fineness::CURVES.finer());
        Direction { turned, bands, energy }
    });
    let outline = outline_error(wavefront, &directions)?;
    let value = |direction: &Direction<'_>, frequency: f64, fineness: Fineness| {
        let mut sum = [0.0; 2];
        for &(wavelength_nm, share) in spectrum.lines() {
            if share == 0.0 {
                continue;
            }
            let Direction { turned, bands, energy } = direction;
            let slopes = slopes.scaled(1.0 / wavelength_nm);
            let rows = Rows { turned: *turned, bands, slopes, wavelength_nm };
            let shift = frequency * wavelength_nm / NM_PER_MM;
            let part = if shift == 0.0 { [*energy, 0.0] } else { rows.correlation(shift, fineness) };
            let share = share * air.map_or(1.0, |air| air.leaves(frequency, wavelength_nm));
            sum[0] += share * part[0] / energy;
            sum[1] += share * part[1] / energy;
        }
        sum
    };
    let tolerance = tolerance(wavefront);
    let probes = probes(frequency_per_mm);
    let mut error = f64::INFINITY;
    for refinement in 0..=REFINEMENTS {
        let pairs = pool::map_ordered(directions.len() * probes.len(), true, |i| {
            let (direction, frequency) = (&directions[i / probes.len()], probes[i % probes.len()]);
            let fine = value(direction, frequency, fineness);
            let coarse = value(direction, frequency, fineness.companion());
            (fine, (fine[0] - coarse[0]).hypot(fine[1] - coarse[1]))
        });
        error = 3.0 * pairs.iter().map(|pair| pair.1).fold(0.0, f64::max) + outline + ERROR_FLOOR;
        if error <= tolerance.wanted || (refinement == REFINEMENTS && error <= tolerance.accepted) {
            let (count, each) = (frequency_per_mm.len(), directions.len());
            let all = pool::map_ordered(each * count, true, |i| {
                let (direction, frequency) = (i / count, frequency_per_mm[i % count]);
                let probe = probes.iter().position(|probe| probe.to_bits() == frequency.to_bits());
                probe.map_or_else(
                    || value(&directions[direction], frequency, fineness),
                    |probe| pairs[direction * probes.len() + probe].0,
                )
            });
            let mut curves: Vec<Curve> = all.chunks(count.max(1)).map(<[_]>::to_vec).collect();
            if plane.is_round {
                curves = vec![curves.pop().unwrap_or_default(); azimuths_deg.len()];
            }
            return Ok(Curves { curves, error_estimate: error });
        }
        fineness = fineness.finer();
    }
    Err(Error::NotConverged { what: "the transfer function", reached: error, wanted: tolerance.accepted })
}

/// A map of heights on the mirror is rough from pixel to pixel and known no better.
fn tolerance(wavefront: &Wavefront) -> Tolerance {
    let rough = wavefront.source.light_detail().pixel_mm.is_some();
    Tolerance { wanted: ACCURACY, accepted: if rough { 100.0 * ACCURACY } else { ACCURACY } }
}

/// Frequencies spread over those that were asked for, the lowest and the highest above 0 among them.
fn probes(frequency_per_mm: &[f64]) -> Vec<f64> {
    let mut all: Vec<f64> = frequency_per_mm.iter().copied().filter(|f| *f > 0.0).collect();
    all.sort_by(f64::total_cmp);
    all.dedup();
    let count = all.len().min(PROBES);
    (0..count).map(|k| all[if count < 2 { 0 } else { k * (all.len() - 1) / (count - 1) }]).collect()
}

/// How far the energy of the rows is from that of the wavefront's own nodes, which know nothing of rows: what the outline of
/// the lit pupil is good to.
fn outline_error(wavefront: &Wavefront, directions: &[Direction<'_>]) -> Result<f64> {
    let pupil = &wavefront.pupil;
    let spread = pupil.spread(wavefront.reference_mm);
    let each: Vec<f64> =
        (0..pupil.len()).map(|i| pupil.weight[i] * pupil.amplitude[i].powi(2) / spread[i]).collect();
    let energy = sums::pairwise(&each);
    let worst = directions.iter().map(|d| (d.energy / energy - 1.0).abs()).fold(0.0, f64::max);
    match pupil.sampling_error {
        // Kept and dropped samples tell only of a part that is missing.
        Some(sampling) if worst <= 10.0 * sampling => Ok(0.0),
        _ if worst.is_finite() => Ok(worst),
        _ => Err(Error::NotConverged {
            what: "the outline of the lit pupil",
            reached: worst,
            wanted: ACCURACY,
        }),
    }
}
