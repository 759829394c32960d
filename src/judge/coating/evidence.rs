//! What stands beside a train where its coating is judged: a fresh coat, and a coating as it was measured.

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};
use crate::model::{Coating, Train};
use crate::shop_test::{CoatingEstimate, ThinBranch, Wear};

/// A coat as it comes from the shop, by the user's own numbers.
///
/// Units: shares of the power, at the wavelength or over the spectrum in use; the diagonal's at 45 degrees.
/// Errors: [`crate::Error::Input`] where it is used.
///
/// ```
/// let coat = catoptric::FreshCoat::new("standard", 0.91, 0.91);
/// assert!((coat.throughput() - 0.8281).abs() < 1e-15);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FreshCoat {
    /// Name, for tables.
    pub name: String,
    /// Share of the power that the primary returns.
    pub primary_reflectance: f64,
    /// Share of the power that the diagonal returns.
    pub diagonal_reflectance: f64,
}

impl FreshCoat {
    /// A coat from its name and the two reflectances.
    ///
    /// ```
    /// assert_eq!(catoptric::FreshCoat::new("enhanced", 0.96, 0.97).name, "enhanced");
    /// ```
    pub fn new(name: &str, primary_reflectance: f64, diagonal_reflectance: f64) -> Self {
        Self { name: name.to_owned(), primary_reflectance, diagonal_reflectance }
    }

    /// What both mirrors return together.
    pub fn throughput(&self) -> f64 {
        self.primary_reflectance * self.diagonal_reflectance
    }

    pub(super) fn note_problems(&self, findings: &mut Findings) {
        for (field, value) in [
            ("primary_reflectance", self.primary_reflectance),
            ("diagonal_reflectance", self.diagonal_reflectance),
        ] {
            let cause = if value > 1.0 { "per cent given for a share?" } else { "" };
            findings.number(field, value, |v| v > 0.0 && v <= 1.0, "a share above 0 and not above 1", cause);
        }
    }
}

/// A primary's coating as lamp readings have it, and what wore it.
///
/// ```
/// use catoptric::{CoatingSpots, MeasuredCoating, Wear};
/// let table = "x_mm,y_mm,ratio_1,ratio_2\n40,0,0.96,0.95\n";
/// let estimate = CoatingSpots::from_csv_text(table, 356.0, 0.90)?.fit(&Default::default())?;
/// assert_eq!(MeasuredCoating::new(estimate, Wear::Haze).pinhole_share, 0.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasuredCoating {
    /// The levels with their uncertainty.
    pub estimate: CoatingEstimate,
    /// Haze or thin metal.
    pub wear: Wear,
    /// Which thickness, where two return the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub branch: Option<ThinBranch>,
    /// Share of the area without metal, counted against a lamp. The readings have it in them: the coating between the
    /// pinholes is brighter by 1/(1 - share).
    #[serde(default)]
    pub pinhole_share: f64,
}

impl MeasuredCoating {
    /// A coating without pinholes.
    pub fn new(estimate: CoatingEstimate, wear: Wear) -> Self {
        Self { estimate, wear, branch: None, pinhole_share: 0.0 }
    }

    /// The coating with the estimated levels.
    pub(super) fn coating(&self) -> Result<Coating> {
        self.coating_at(&self.estimate.reflectances())
    }

    pub(super) fn coating_at(&self, levels: &[f64]) -> Result<Coating> {
        let full: Vec<f64> = levels.iter().map(|level| level / (1.0 - self.pinhole_share)).collect();
        let coating = self.estimate.coating_at(&full, self.wear, self.branch)?;
        let coating = coating.pinhole_share(self.pinhole_share);
        coating.check().map(|()| coating)
    }

    pub(super) fn note_problems(&self, train: &Train, findings: &mut Findings) {
        let (found, wanted) =
            (self.estimate.spots.input().clear_aperture_mm, train.primary().clear_aperture_mm);
        if (found - wanted).abs() > 0.01 * wanted {
            let allowed = format!("within 1 % of the train's {wanted}");
            findings.fault("clear_aperture_mm", found, &allowed, "readings of another mirror?");
        }
        let share = |v: f64| (0.0..=0.5).contains(&v);
        findings.number("pinhole_share", self.pinhole_share, share, "a share from 0 to 0.5", "per cent?");
    }
}
