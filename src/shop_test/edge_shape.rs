//! The shapes of edge that are tried against readings.

use serde::{Deserialize, Serialize};

use super::unseen::EdgeHeight;
use crate::model::{EdgeRollOff, EdgeStep, FigureLayer, TurnedEdge};

/// Where the slope of a roll-off is integrated piece by piece, in reaches from the rim.
const ROLL_OFF_PIECES: [f64; 4] = [16.0, 8.0, 4.0, 1.5];

/// Steps of height between which an edge is integrated: 2 to 3 radians each for 1000 nm.
const STEPS: i32 = 24;

/// A shape of edge, without its size.
///
/// ```
/// use catoptric::EdgeShape;
/// assert_eq!(EdgeShape::Power(2.0).name(), "power 2");
/// assert_eq!(EdgeShape::RollOff.name(), "roll-off");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EdgeShape {
    /// A [`TurnedEdge`] of this power.
    Power(f64),
    /// An [`EdgeRollOff`].
    RollOff,
    /// An [`EdgeStep`].
    Step,
}

impl EdgeShape {
    /// The shape's name: `power 2`, `roll-off`, `step`.
    pub fn name(self) -> String {
        match self {
            Self::Power(power) => format!("power {power}"),
            Self::RollOff => "roll-off".to_owned(),
            Self::Step => "step".to_owned(),
        }
    }

    /// The layer of this shape with a width (for a roll-off its reach) in mm and a drop in nm.
    ///
    /// ```
    /// use catoptric::{EdgeShape, FigureLayer, TurnedEdge};
    /// let edge = EdgeShape::Power(2.0).layer(9.0, 330.0);
    /// assert_eq!(edge, FigureLayer::from(TurnedEdge::new(9.0, 330.0)));
    /// ```
    pub fn layer(self, width_mm: f64, drop_nm: f64) -> FigureLayer {
        match self {
            Self::Power(power) => TurnedEdge::new(width_mm, drop_nm).power(power).into(),
            Self::RollOff => EdgeRollOff::new(width_mm, drop_nm).into(),
            Self::Step => EdgeStep::new(width_mm, drop_nm).into(),
        }
    }
}

/// A shape with its width, for a drop of 1 nm.
#[derive(Clone, Copy, Debug)]
pub(super) struct UnitEdge {
    pub(super) shape: EdgeShape,
    pub(super) width_mm: f64,
    pub(super) rim_mm: f64,
}

impl UnitEdge {
    /// Radii at which a quadrature of the height must stop.
    pub(super) fn breaks_mm(&self) -> Vec<f64> {
        // Steps of equal height near the rim, where the phase runs fastest; further in, steps that grow.
        let steps = (1..STEPS).map(|k| f64::from(k) / f64::from(STEPS));
        let from_rim: Vec<f64> = match self.shape {
            EdgeShape::RollOff => steps.map(|depth| -depth.ln()).chain([4.5, 6.0, 8.0, 11.0, 16.0]).collect(),
            // A fractional power begins steeply: a short panel at its start.
            EdgeShape::Power(power) => {
                steps.map(|depth| 1.0 - depth.powf(1.0 / power)).chain([0.97, 1.0]).collect()
            }
            EdgeShape::Step => vec![1.0],
        };
        from_rim.iter().map(|k| self.rim_mm - k * self.width_mm).filter(|r| *r > 0.0).collect()
    }
}

impl EdgeHeight for UnitEdge {
    fn height(&self, radius_mm: f64) -> f64 {
        let back = self.rim_mm - radius_mm;
        match self.shape {
            EdgeShape::Power(power) => -(1.0 - back / self.width_mm).max(0.0).powf(power),
            EdgeShape::RollOff => -(-back / self.width_mm).exp(),
            EdgeShape::Step => {
                if back < self.width_mm {
                    -1.0
                } else {
                    0.0
                }
            }
        }
    }

    fn slope_per_mm(&self, radius_mm: f64) -> f64 {
        let back = self.rim_mm - radius_mm;
        match self.shape {
            EdgeShape::Power(power) if back < self.width_mm => {
                -power / self.width_mm * (1.0 - back / self.width_mm).powf(power - 1.0)
            }
            EdgeShape::RollOff => -(-back / self.width_mm).exp() / self.width_mm,
            EdgeShape::Power(_) | EdgeShape::Step => 0.0,
        }
    }

    fn joints_mm(&self) -> Vec<f64> {
        match self.shape {
            EdgeShape::Power(_) => vec![self.rim_mm - self.width_mm],
            EdgeShape::RollOff => {
                ROLL_OFF_PIECES.map(|k| (self.rim_mm - k * self.width_mm).max(0.0)).to_vec()
            }
            EdgeShape::Step => Vec::new(),
        }
    }
}
