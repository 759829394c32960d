//! What the noise of readings makes of a Strehl ratio: many noisy repeats in little time.

use serde::{Deserialize, Serialize};

use super::noise::ZoneMeans;
use super::noise_lanes::{Answers, MOST_RAD, Room, Study, repeats};
use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use crate::error::{Error, Result};
use crate::numeric::counter::LANES;
use crate::numeric::{pool, simd::Instructions, stats, sums};
use crate::units::DEFAULT_WAVELENGTH_NM;

/// Repeats of a study, at most.
const MOST_REPEATS: usize = 10_000_000;
/// Repeats that are handled in one piece by one thread: some tens of microseconds.
const CHUNK: usize = 16 * LANES;

/// How readings are repeated.
///
/// ```
/// assert_eq!(catoptric::NoiseStudyOptions::default().repeats, 10_000);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoiseStudyOptions {
    /// Diameter of the diagonal's shadow over the clear aperture: what is behind it does not count.
    pub obstruction_ratio: f64,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Noise of one reading, mm: one number, or one for each opening; none: estimated from the repeats, with the long tails of
    /// few runs.
    #[serde(default)]
    pub reading_sigma_mm: Option<Vec<f64>>,
    /// How often all readings are drawn again, up to ten million.
    pub repeats: usize,
    /// Seed of the noise.
    pub seed: u64,
}

impl Default for NoiseStudyOptions {
    fn default() -> Self {
        Self {
            obstruction_ratio: 0.0,
            wavelength_nm: DEFAULT_WAVELENGTH_NM,
            reading_sigma_mm: None,
            repeats: 10_000,
            seed: 1,
        }
    }
}

impl NoiseStudyOptions {
    fn of_reduction(&self) -> Result<ReduceOptions> {
        let options = ReduceOptions {
            obstruction_ratio: self.obstruction_ratio,
            wavelength_nm: self.wavelength_nm,
            reading_sigma_mm: self.reading_sigma_mm.clone(),
            seed: self.seed,
            ..ReduceOptions::default()
        };
        options.check()?;
        if !(1..=MOST_REPEATS).contains(&self.repeats) {
            return Err(Error::input("repeats", self.repeats, "from 1 to 10 000 000", ""));
        }
        Ok(options)
    }
}

/// The Strehl ratio and RMS of a plain reduction, repeated many times with readings drawn again within their noise.
///
/// Units: nm of wavefront. Shapes: one entry a repeat.
/// Each repeat draws every opening's mean reading again: its noise is that of one reading over the root of the number of runs,
/// or what missing readings make of it. Draws are normal, numbered by seed and repeat
/// ([`crate::numeric::counter::numbered_normals`]): a repeat has the same readings in a study of any length, at any number of
/// threads.
/// Source: own derivation: between two knots the wavefront is straight in t = s/(1 + s/R^2), s = r^2, so that the light of each
/// opening is added up in closed form; good to 1e-8 of the Strehl ratio.
/// Leaves out: what the readings cannot see ([`KnifeEdgeReadings::reduce`] has it). The focus is that of least squares. The
/// brightest focus gives more: less than 1e-5 where the Strehl ratio is 0.99, 0.08 for a turned edge (0.70 for 0.62); see
/// [`KnifeEdgeReadings::repeat_with_noise`], which looks for it and takes some ten times as long.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, NoiseStudyOptions, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
/// let readings = KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
/// )?;
/// let careful = NoiseStudyOptions { reading_sigma_mm: Some(vec![0.02]), ..Default::default() };
/// let hasty = NoiseStudyOptions { reading_sigma_mm: Some(vec![0.2]), ..Default::default() };
/// let (careful, hasty) = (readings.noise_study(&careful)?, readings.noise_study(&hasty)?);
/// assert_eq!(careful.strehl_least_rms.len(), 10_000);
/// assert!(hasty.strehl_quantiles(&[0.05])?[0] < careful.strehl_quantiles(&[0.05])?[0]);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Asked", into = "Asked")]
pub struct NoiseStudy {
    /// The readings behind it.
    pub readings: KnifeEdgeReadings,
    /// How they were repeated.
    pub options: NoiseStudyOptions,
    /// Noise of one reading of each opening, mm.
    pub reading_sigma_mm: Vec<f64>,
    /// Strehl ratio of each repeat at the focus of least RMS.
    pub strehl_least_rms: Vec<f64>,
    /// RMS of each repeat's wavefront at that focus, nm.
    pub rms_nm: Vec<f64>,
}

/// What a study is written down as: all else follows from it, bit for bit, and is made anew when read back.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    readings: KnifeEdgeReadings,
    options: NoiseStudyOptions,
}

impl TryFrom<Asked> for NoiseStudy {
    type Error = Error;

    fn try_from(asked: Asked) -> Result<Self> {
        asked.readings.noise_study(&asked.options)
    }
}

impl From<NoiseStudy> for Asked {
    fn from(study: NoiseStudy) -> Self {
        Self { readings: study.readings, options: study.options }
    }
}

impl KnifeEdgeReadings {
    /// The Strehl ratio of many noisy repeats of these readings: how far the noise alone carries the answer.
    ///
    /// Units, method, focus and what it leaves out: see [`NoiseStudy`].
    /// Errors: [`Error::Input`] for options that cannot be, and for readings or noise so far from any mirror's that their phase
    /// cannot be followed (some thousand waves).
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, NoiseStudyOptions, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// let readings = KnifeEdgeReadings::at_radii(
    ///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    ///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]; 5],
    /// )?;
    /// let study = readings.noise_study(&NoiseStudyOptions { repeats: 1000, ..Default::default() })?;
    /// assert!(study.mean_strehl_least_rms() < 1.0 && study.rms_nm.len() == 1000);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn noise_study(&self, options: &NoiseStudyOptions) -> Result<NoiseStudy> {
        self.noise_study_with(Instructions::in_use(), options)
    }

    fn noise_study_with(&self, set: Instructions, options: &NoiseStudyOptions) -> Result<NoiseStudy> {
        let (study, reading_sigma_mm) = self.prepared_study(options)?;
        let (mut strehl_least_rms, mut rms_nm) = (vec![0.0; options.repeats], vec![0.0; options.repeats]);
        let places = strehl_least_rms.chunks_mut(CHUNK).zip(rms_nm.chunks_mut(CHUNK));
        pool::map_each(places, options.repeats > 2 * CHUNK, |chunk, (strehl, rms)| {
            fill(set, &study, (chunk * CHUNK) as u64, strehl, rms);
        });
        let (readings, options) = (self.clone(), options.clone());
        Ok(NoiseStudy { readings, options, reading_sigma_mm, strehl_least_rms, rms_nm })
    }

    fn prepared_study(&self, options: &NoiseStudyOptions) -> Result<(Study, Vec<f64>)> {
        let reduction = options.of_reduction()?;
        let means = ZoneMeans::new(self, &reduction)?;
        Ok((Study::new(self, &means, &reduction)?, means.sigma_mm))
    }
}

/// Fills the answers of repeats number `first` and on.
fn fill(set: Instructions, study: &Study, first: u64, strehl: &mut [f64], rms_nm: &mut [f64]) {
    let (mut room, mut answers) = (Room::default(), Answers::new());
    for (block, (strehl, rms_nm)) in strehl.chunks_mut(LANES).zip(rms_nm.chunks_mut(LANES)).enumerate() {
        repeats(set, study, first + (block * LANES) as u64, &mut room, &mut answers);
        for i in 0..LANES {
            if answers.worst[i] > MOST_RAD * MOST_RAD {
                let errors: Vec<f64> = room.errors_mm.iter().map(|column| column.0[i]).collect();
                (answers.strehl[i], answers.rms_nm[i]) = study.by_nodes(&errors);
            }
        }
        strehl.copy_from_slice(&answers.strehl[..strehl.len()]);
        rms_nm.copy_from_slice(&answers.rms_nm[..rms_nm.len()]);
    }
}

impl NoiseStudy {
    /// Mean of the repeats' Strehl ratios.
    pub fn mean_strehl_least_rms(&self) -> f64 {
        sums::pairwise(&self.strehl_least_rms) / self.strehl_least_rms.len() as f64
    }

    /// Mean of the repeats' RMS, nm.
    pub fn mean_rms_nm(&self) -> f64 {
        sums::pairwise(&self.rms_nm) / self.rms_nm.len() as f64
    }

    /// Strehl ratios below which given shares of the repeats lie.
    ///
    /// Errors: [`Error::Input`] for shares outside of 0 to 1. Source: [`stats::quantile_sorted`].
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// # let readings = KnifeEdgeReadings::at_radii(
    /// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    /// #     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
    /// # )?;
    /// let study = readings.noise_study(&Default::default())?;
    /// let [low, median, high] = study.strehl_quantiles(&[0.025, 0.5, 0.975])?[..] else { panic!() };
    /// assert!(low < median && median < high);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn strehl_quantiles(&self, shares: &[f64]) -> Result<Vec<f64>> {
        quantiles(&self.strehl_least_rms, shares)
    }

    /// RMS, nm, below which given shares of the repeats lie.
    ///
    /// Errors: [`Error::Input`] for shares outside of 0 to 1. Source: [`stats::quantile_sorted`].
    pub fn rms_quantiles_nm(&self, shares: &[f64]) -> Result<Vec<f64>> {
        quantiles(&self.rms_nm, shares)
    }

    /// What the mean readings of some repeats are too long by, mm: a row a repeat, an entry an opening, drawn again.
    ///
    /// A common zero changes nothing. Together with [`KnifeEdgeReadings::figure_operator`] they give each repeat's figure.
    /// Errors: [`Error::Input`] for repeats that the study has not.
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// # let readings = KnifeEdgeReadings::at_radii(
    /// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    /// #     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
    /// # )?;
    /// let study = readings.noise_study(&Default::default())?;
    /// assert_eq!(study.zone_errors_mm(9_990, 10)?.len(), 10);
    /// assert!(study.zone_errors_mm(9_990, 11).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn zone_errors_mm(&self, first: usize, count: usize) -> Result<Vec<Vec<f64>>> {
        let all = self.options.repeats;
        if first.checked_add(count).is_none_or(|end| end > all) {
            let found = format!("{count} from number {first} on");
            return Err(Error::input("count", found, format!("repeats from 0 to {}", all - 1), ""));
        }
        let (study, _) = self.readings.prepared_study(&self.options)?;
        let (mut room, mut answers) = (Room::default(), Answers::new());
        let mut rows = Vec::with_capacity(count);
        for from in (first..first + count).step_by(LANES) {
            repeats(Instructions::in_use(), &study, from as u64, &mut room, &mut answers);
            let here = LANES.min(first + count - from);
            rows.extend((0..here).map(|i| room.errors_mm.iter().map(|column| column.0[i]).collect()));
        }
        Ok(rows)
    }
}

fn quantiles(values: &[f64], shares: &[f64]) -> Result<Vec<f64>> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let at = |share: &f64| {
        stats::quantile_sorted(&sorted, *share)
            .ok_or_else(|| Error::input("shares", share, "from 0 to 1", "per cent?"))
    };
    shares.iter().map(at).collect()
}

#[cfg(test)]
mod tests;
