//! What stands on the sky.

use serde::{Deserialize, Serialize};

use super::disc::BandedDisc;
use super::stars::{DoubleStar, FieldStar, StarField};
use crate::error::{Findings, Result};

/// A scene that is looked at.
///
/// In a file a scene is a table with a key `kind`: `banded_disc`, `double_star` or `star_field`.
///
/// ```
/// use catoptric::{BandedDisc, Scene};
/// assert!(Scene::from(BandedDisc::new(-45.0)).check().is_err());
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Scene {
    /// An invented planet.
    BandedDisc(BandedDisc),
    /// Two stars.
    DoubleStar(DoubleStar),
    /// Stars.
    StarField(StarField),
}

impl Scene {
    /// Refuses what cannot be.
    ///
    /// Errors: [`Error::Input`](crate::Error::Input) with all faults found.
    ///
    /// ```
    /// use catoptric::{DoubleStar, Scene};
    /// assert!(Scene::from(DoubleStar::new(1.0, f64::NAN, 6.0)).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        match self {
            Self::BandedDisc(disc) => disc.note_problems(&mut findings),
            Self::DoubleStar(pair) => pair.note_problems(&mut findings),
            Self::StarField(field) => field.note_problems(&mut findings),
        }
        findings.refuse()
    }

    /// The stars of a scene of stars; none for a planet.
    pub(super) fn stars(&self) -> Vec<FieldStar> {
        match self {
            Self::BandedDisc(_) => Vec::new(),
            Self::DoubleStar(pair) => pair.stars().to_vec(),
            Self::StarField(field) => field.stars.clone(),
        }
    }

    /// Distance from the middle of the view within which everything lies, arcsec.
    pub(super) fn reach_arcsec(&self) -> f64 {
        match self {
            Self::BandedDisc(disc) => disc.diameter_arcsec / 2.0,
            _ => self.stars().iter().map(|s| s.x_arcsec.abs().max(s.y_arcsec.abs())).fold(0.0, f64::max),
        }
    }
}

impl From<BandedDisc> for Scene {
    fn from(disc: BandedDisc) -> Self {
        Self::BandedDisc(disc)
    }
}

impl From<DoubleStar> for Scene {
    fn from(pair: DoubleStar) -> Self {
        Self::DoubleStar(pair)
    }
}

impl From<StarField> for Scene {
    fn from(field: StarField) -> Self {
        Self::StarField(field)
    }
}
