//! A set of readings as it is written down, before any check.

use serde::{Deserialize, Serialize};

use super::opening::{MaskOpening, ReadingsIncrease, TestSource};

/// The parts of a set of readings, unchecked: what files and other languages bring.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, ReadingsIncrease, ReadingsInput, TestSource};
/// let empty = ReadingsInput {
///     clear_aperture_mm: 318.0, radius_of_curvature_mm: 3116.0, source: TestSource::Moving,
///     readings_increase: ReadingsIncrease::AwayFromMirror, openings: vec![], runs_mm: vec![],
/// };
/// assert!(KnifeEdgeReadings::try_from(empty).is_err());
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReadingsInput {
    /// Clear aperture of the mirror, mm.
    pub clear_aperture_mm: f64,
    /// Radius of curvature at the vertex, mm.
    pub radius_of_curvature_mm: f64,
    /// Whether the source moves with the knife.
    pub source: TestSource,
    /// Which way the scale counts.
    pub readings_increase: ReadingsIncrease,
    /// The openings, from the centre outward.
    pub openings: Vec<MaskOpening>,
    /// Runs of readings, mm, one for each opening; none where a reading was not taken.
    pub runs_mm: Vec<Vec<Option<f64>>>,
}
