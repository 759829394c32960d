//! The layers that can be fitted to heights: their sizes, their unit height, and its derivatives.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::model::{CentralHill, EdgeRollOff, EdgeStep, FigureLayer, TurnedEdge, Zone};

/// The kind of layer that is fitted.
///
/// ```
/// use catoptric::LayerKind;
/// assert_eq!(LayerKind::from_name("central_hill", 2.0), Some(LayerKind::Hill(2.0)));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LayerKind {
    /// A [`Zone`].
    Zone,
    /// A [`CentralHill`] of a stated power.
    Hill(f64),
    /// A [`TurnedEdge`] of a stated power.
    Edge(f64),
    /// An [`EdgeRollOff`].
    RollOff,
    /// An [`EdgeStep`]: its place is found between two of the heights, and no closer.
    Step,
}

impl LayerKind {
    /// The kind of a layer's name in files, with the power for those that have one.
    pub fn from_name(name: &str, power: f64) -> Option<Self> {
        Some(match name {
            "zone" => Self::Zone,
            "central_hill" => Self::Hill(power),
            "turned_edge" => Self::Edge(power),
            "edge_roll_off" => Self::RollOff,
            "edge_step" => Self::Step,
            _ => return None,
        })
    }

    pub(super) fn check(self) -> Result<()> {
        match self {
            Self::Hill(power) | Self::Edge(power) if !(1.0..=50.0).contains(&power) => {
                Err(Error::input("power", power, "an exponent from 1 to 50", ""))
            }
            _ => Ok(()),
        }
    }

    /// The sizes, then the amplitude.
    pub(super) fn names(self) -> &'static [&'static str] {
        match self {
            Self::Zone => &["radius_mm", "half_width_mm", "height_nm"],
            Self::Hill(_) => &["radius_mm", "height_nm"],
            Self::Edge(_) | Self::Step => &["width_mm", "drop_nm"],
            Self::RollOff => &["reach_mm", "drop_nm"],
        }
    }

    pub(super) fn sizes(self) -> usize {
        self.names().len() - 1
    }

    pub(super) fn layer(self, v: &[f64]) -> FigureLayer {
        match self {
            Self::Zone => Zone::new(v[0], v[1], v[2]).into(),
            Self::Hill(power) => CentralHill::new(v[0], v[1]).power(power).into(),
            Self::Edge(power) => TurnedEdge::new(v[0], v[1]).power(power).into(),
            Self::RollOff => EdgeRollOff::new(v[0], v[1]).into(),
            Self::Step => EdgeStep::new(v[0], v[1]).into(),
        }
    }

    /// The ends of a size, mm.
    pub(super) fn range(self, size: usize, rim_mm: f64) -> (f64, f64) {
        match (self, size) {
            (Self::Zone, 0) => (0.0, rim_mm),
            (Self::RollOff, _) => (1e-3, 0.25 * rim_mm),
            _ => (1e-3, rim_mm),
        }
    }

    /// Sizes to begin with: even for a place, in equal ratios for a width, none much narrower than the heights lie apart.
    pub(super) fn net(self, rim_mm: f64, spacing_mm: f64) -> Vec<Vec<f64>> {
        let ratios = |from: f64, to: f64, count: i32| {
            (0..=count).map(move |k| from * (to / from).powf(f64::from(k) / f64::from(count)))
        };
        let least = spacing_mm.min(0.1 * rim_mm);
        match self {
            Self::Zone => (0..=60)
                .flat_map(|k| ratios(least, rim_mm, 14).map(move |w| vec![rim_mm * f64::from(k) / 60.0, w]))
                .collect(),
            Self::RollOff => ratios(0.5 * least, 0.25 * rim_mm, 60).map(|w| vec![w]).collect(),
            // Every place between two heights that lie evenly: a step knows no better.
            Self::Step => {
                let count = (2.0 * rim_mm / spacing_mm).clamp(100.0, 1200.0);
                (1..count as i32).map(|k| vec![rim_mm * f64::from(k) / count]).collect()
            }
            Self::Hill(_) | Self::Edge(_) => ratios(least, rim_mm, 80).map(|w| vec![w]).collect(),
        }
    }
}

/// A kind of layer with its sizes, of amplitude 1.
pub(super) struct Shape<'a> {
    pub(super) kind: LayerKind,
    pub(super) rim_mm: f64,
    pub(super) sizes: &'a [f64],
}

impl Shape<'_> {
    /// Height for an amplitude of 1: of a drop it is negative.
    pub(super) fn value(&self, r: f64) -> f64 {
        let (s, back) = (self.sizes, self.rim_mm - r);
        match self.kind {
            LayerKind::Zone => (-((r - s[0]) / s[1]).powi(2)).exp(),
            LayerKind::Hill(power) => (1.0 - r / s[0]).max(0.0).powf(power),
            LayerKind::Edge(power) => -(1.0 - back / s[0]).max(0.0).powf(power),
            LayerKind::RollOff => -(-back / s[0]).exp(),
            LayerKind::Step => {
                if back < s[0] {
                    -1.0
                } else {
                    0.0
                }
            }
        }
    }

    /// How that height changes with one of the sizes, for each mm.
    pub(super) fn derivative(&self, size: usize, r: f64) -> f64 {
        let (s, back) = (self.sizes, self.rim_mm - r);
        match (self.kind, size) {
            (LayerKind::Zone, 0) => 2.0 * (r - s[0]) / (s[1] * s[1]) * self.value(r),
            (LayerKind::Zone, _) => 2.0 * (r - s[0]).powi(2) / s[1].powi(3) * self.value(r),
            (LayerKind::Hill(power), _) => {
                let left = 1.0 - r / s[0];
                if left > 0.0 { power * left.powf(power - 1.0) * r / (s[0] * s[0]) } else { 0.0 }
            }
            (LayerKind::Edge(power), _) => {
                let depth = 1.0 - back / s[0];
                if depth > 0.0 { -power * depth.powf(power - 1.0) * back / (s[0] * s[0]) } else { 0.0 }
            }
            (LayerKind::RollOff, _) => self.value(r) * back / (s[0] * s[0]),
            (LayerKind::Step, _) => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn derivatives_are_those_of_the_heights() {
        let kinds = [
            (LayerKind::Zone, vec![60.0, 12.0]),
            (LayerKind::Hill(2.5), vec![70.0]),
            (LayerKind::Edge(1.7), vec![30.0]),
            (LayerKind::RollOff, vec![6.0]),
        ];
        for (kind, sizes) in kinds {
            for size in 0..kind.sizes() {
                for r in [3.0, 40.0, 57.0, 75.0, 88.0, 99.0] {
                    let at = |step: f64| {
                        let mut moved = sizes.clone();
                        moved[size] += step;
                        Shape { kind, rim_mm: 100.0, sizes: &moved }.value(r)
                    };
                    let secant = (at(1e-5) - at(-1e-5)) / 2e-5;
                    let found = Shape { kind, rim_mm: 100.0, sizes: &sizes }.derivative(size, r);
                    assert!((found - secant).abs() < 1e-8, "{kind:?} {size} at {r}: {found} for {secant}");
                }
            }
        }
    }
}
