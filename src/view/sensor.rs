//! A sensor in the focal plane.

use serde::{Deserialize, Serialize};

use crate::error::Findings;
use crate::units::UM_PER_MM;

/// A sensor in the focal plane: each pixel integrates over its whole square.
///
/// Units: um; the first axis (columns) lies along, the second (rows) across.
/// Errors: found when something is looked at.
/// Leaves out: noise, gaps between pixels, colour masks.
///
/// ```
/// assert_eq!(catoptric::Sensor::new(3.75, 320, 240).columns, 320);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sensor {
    /// Side of a pixel, um.
    pub pixel_um: f64,
    /// Pixels along.
    pub columns: usize,
    /// Pixels across.
    pub rows: usize,
}

impl Sensor {
    /// A sensor from its three numbers.
    ///
    /// ```
    /// assert_eq!(catoptric::Sensor::new(3.75, 320, 240).pixel_um, 3.75);
    /// ```
    pub fn new(pixel_um: f64, columns: usize, rows: usize) -> Self {
        Self { pixel_um, columns, rows }
    }

    /// Sides along and across, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Sensor::new(5.0, 3520, 2660).size_mm(), [17.6, 13.3]);
    /// ```
    pub fn size_mm(&self) -> [f64; 2] {
        [self.columns, self.rows].map(|count| count as f64 * self.pixel_um / UM_PER_MM)
    }

    pub(crate) fn note_problems(&self, findings: &mut Findings) {
        let size = |v: f64| (0.05..=1000.0).contains(&v);
        findings.number("pixel_um", self.pixel_um, size, "0.05 to 1000 um", "millimetres given for um?");
    }
}
