//! How works are compared: details, air, the limit of the field, and what counts for how much.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::units::DEFAULT_WAVELENGTH_NM;
use crate::wave::{Seeing, check_wavelength};

/// Most details of one comparison.
const MOST_DETAILS: usize = 12;

/// Steps of each quantity that count as one: a twentieth of full contrast, a tenth of the star's peak, a tenth of a
/// magnitude of light, a tenth of the field's diameter. Common practice, no source: about what a trained eye tells side
/// by side.
pub(super) const CONTRAST_STEP: f64 = 0.05;
pub(super) const STREHL_STEP: f64 = 0.1;
pub(super) const LIGHT_STEP_MAGNITUDES: f64 = 0.1;
pub(super) const FIELD_STEP: f64 = 0.1;

/// How much a step of each quantity counts when works are put in order.
///
/// One step is 0.05 of contrast or 0.1 of the Strehl ratio, 0.1 magnitudes of light, a tenth of the usable field's
/// diameter. Unless given contrast counts double and the others once: the maker's own judgement, no source, and the
/// user's to change.
///
/// ```
/// let planets = catoptric::LadderWeights { light: 0.25, field: 0.0, ..Default::default() };
/// assert_eq!(planets.contrast, 2.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LadderWeights {
    /// For each 0.05 of contrast, the mean over the details; in still air the Strehl ratio, which is the mean contrast
    /// of all details, counts as one of them with steps of 0.1.
    pub contrast: f64,
    /// For each 0.1 magnitudes of light.
    pub light: f64,
    /// For each tenth of the usable field's diameter.
    pub field: f64,
}

impl Default for LadderWeights {
    fn default() -> Self {
        Self { contrast: 2.0, light: 1.0, field: 1.0 }
    }
}

/// How works are compared.
///
/// Units: arcsec for the full period of a detail (one bright and one dark bar), magnitudes, nm.
///
/// ```
/// let options = catoptric::LadderOptions::default();
/// assert_eq!((options.details_arcsec, options.field_loss_magnitudes), (vec![1.0], 0.3));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LadderOptions {
    /// Details whose contrast is compared, arcsec; 1 arcsec unless given.
    pub details_arcsec: Vec<f64>,
    /// The air of one night, for contrasts beside those in still air; none: still air alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seeing: Option<Seeing>,
    /// The usable field ends where its darkest azimuth has lost so much against the middle, magnitudes.
    pub field_loss_magnitudes: f64,
    /// What counts for how much in the order.
    pub weights: LadderWeights,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Seed of what is drawn beside the evidence: ranges on paper and promises.
    pub seed: u64,
    /// A word for the money, or an empty text.
    pub currency: String,
}

impl Default for LadderOptions {
    fn default() -> Self {
        Self {
            details_arcsec: vec![1.0],
            seeing: None,
            field_loss_magnitudes: 0.3,
            weights: LadderWeights::default(),
            wavelength_nm: DEFAULT_WAVELENGTH_NM,
            seed: 1,
            currency: String::new(),
        }
    }
}

impl LadderOptions {
    pub(crate) fn check(&self) -> Result<()> {
        check_wavelength(self.wavelength_nm)?;
        if !(1..=MOST_DETAILS).contains(&self.details_arcsec.len()) {
            let allowed = format!("1 to {MOST_DETAILS} details");
            return Err(Error::input("details_arcsec", self.details_arcsec.len(), allowed, ""));
        }
        for (i, &detail) in self.details_arcsec.iter().enumerate() {
            if !(1e-3..=1e4).contains(&detail) {
                let allowed = "a period of 0.001 to 10000 arcsec, one bright and one dark bar together";
                return Err(Error::input(format!("details_arcsec[{i}]"), detail, allowed, ""));
            }
            if self.details_arcsec[..i].contains(&detail) {
                let field = format!("details_arcsec[{i}]");
                return Err(Error::input(field, detail, "each detail once", ""));
            }
        }
        if !(0.01..=5.0).contains(&self.field_loss_magnitudes) {
            let (value, allowed) = (self.field_loss_magnitudes, "0.01 to 5 magnitudes");
            return Err(Error::input("field_loss_magnitudes", value, allowed, "a share of the light?"));
        }
        let LadderWeights { contrast, light, field } = self.weights;
        let named = [("contrast", contrast), ("light", light), ("field", field)];
        for (name, weight) in named {
            if !(weight >= 0.0 && weight.is_finite()) {
                return Err(Error::input(format!("weights.{name}"), weight, "0 or more", ""));
            }
        }
        if named.iter().all(|(_, weight)| *weight == 0.0) {
            return Err(Error::input("weights", "all 0", "one weight above 0", ""));
        }
        Ok(())
    }
}
