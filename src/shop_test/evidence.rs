//! What all evidence about a mirror shares, whoever measured it: bounds, and whether glass or wavefront is meant.

use serde::{Deserialize, Serialize};

/// A range that a quantity lies in, ends included.
///
/// ```
/// let bounds = catoptric::Bounds { low: 6.0, high: 10.0 };
/// assert!(bounds.holds(8.0) && !bounds.holds(11.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bounds {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Bounds {
    /// Whether a value lies within.
    ///
    /// ```
    /// assert!(catoptric::Bounds { low: 1.0, high: 1.0 }.holds(1.0));
    /// ```
    pub fn holds(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    pub(super) fn scaled(self, factor: f64) -> Self {
        Self { low: self.low * factor, high: self.high * factor }
    }

    /// The smallest range that holds both.
    pub(super) fn hull(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }

    pub(super) fn meets(self, other: Self) -> bool {
        self.low <= other.high && other.low <= self.high
    }
}

/// What an error is counted on. There is no default: the wavefront's error is twice that of the glass.
///
/// ```
/// use catoptric::SurfaceOrWavefront;
/// assert_eq!(SurfaceOrWavefront::from_name("surface"), Some(SurfaceOrWavefront::Surface));
/// assert_eq!(SurfaceOrWavefront::Surface.to_wavefront(), 2.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SurfaceOrWavefront {
    /// Heights of the glass.
    Surface,
    /// The wavefront after one reflection.
    Wavefront,
}

impl SurfaceOrWavefront {
    /// The choice of a name: `surface` or `wavefront`.
    ///
    /// ```
    /// assert_eq!(catoptric::SurfaceOrWavefront::from_name("glass"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "surface" => Some(Self::Surface),
            "wavefront" => Some(Self::Wavefront),
            _ => None,
        }
    }

    /// The choice's name.
    ///
    /// ```
    /// assert_eq!(catoptric::SurfaceOrWavefront::Wavefront.name(), "wavefront");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Surface => "surface",
            Self::Wavefront => "wavefront",
        }
    }

    /// What turns an error counted this way into that of the wavefront after one reflection, square on.
    ///
    /// Leaves out: the slope of the mirror, 1 - 1/(1 + (r/R)^2), 0.4 % at the rim of an f/4 mirror.
    pub fn to_wavefront(self) -> f64 {
        match self {
            Self::Surface => 2.0,
            Self::Wavefront => 1.0,
        }
    }
}

/// Half a unit of the last decimal that a number was written with, but no more than 5 % of it.
///
/// A number on paper is rounded; 0.0065 stands for anything from 0.00645 to 0.00655. Zeros at the end are lost
/// where text becomes a number, hence the limit.
pub(super) fn rounding(value: f64) -> f64 {
    let text = format!("{value}");
    let decimals = text.split_once('.').map_or(0, |(_, tail)| tail.len());
    let half_unit = 0.5 * 10_f64.powi(-(decimals as i32));
    half_unit.min(0.05 * value.abs())
}

/// The share of the clear aperture's area beyond a tested circle.
pub(super) fn untested_share(tested_diameter_mm: f64, clear_aperture_mm: f64) -> f64 {
    (1.0 - (tested_diameter_mm / clear_aperture_mm).powi(2)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_is_half_of_the_last_decimal() {
        assert!((rounding(0.0065) - 5e-5).abs() < 1e-18);
        assert!((rounding(0.95) - 5e-3).abs() < 1e-18);
        assert!((rounding(12.0) - 0.5).abs() < 1e-15);
        assert!((rounding(1.0) - 0.05).abs() < 1e-15, "not half of the number itself");
    }
}
