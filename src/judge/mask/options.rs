//! What a sweep of masks computes, and the checks of what is asked.

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM};
use crate::wave::Seeing;

/// Longest list of diameters and of details.
const MOST: usize = 1000;
/// Full periods of the usual details, arcsec.
const USUAL_DETAILS_ARCSEC: [f64; 3] = [0.5, 1.0, 2.0];
/// A mask leaves a ring around the shadow at least this much wider than it.
const LEAST_OPEN: f64 = 1.02;

/// What a sweep of masks computes.
///
/// Units: nm; arcsec for the full period of a detail.
///
/// ```
/// let options = catoptric::MaskOptions::default();
/// assert_eq!(options.detail_arcsec, None, "the usual ones");
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaskOptions {
    /// Wavelength, nm; none: that at which the readings were reduced, or 550 nm for a train.
    pub wavelength_nm: Option<f64>,
    /// Full periods of details on the sky, arcsec, for the contrast; empty: no contrast is computed; none: 0.5, 1 and 2
    /// arcsec, as far as the open mirror resolves them. A sweep's own options say which they were.
    pub detail_arcsec: Option<Vec<f64>>,
    /// The air of a night, for the contrast through it; none: it is not computed.
    pub seeing: Option<Seeing>,
    /// Whether the star's width and its energy in the Airy disk are computed.
    pub star_image: bool,
    /// The rise of the Strehl of which the probability is given.
    pub rise: f64,
}

impl Default for MaskOptions {
    fn default() -> Self {
        Self { wavelength_nm: None, detail_arcsec: None, seeing: None, star_image: true, rise: 0.05 }
    }
}

impl MaskOptions {
    /// The Strehl alone, with what follows from it: the fast road.
    ///
    /// ```
    /// assert!(!catoptric::MaskOptions::strehl_alone().star_image);
    /// ```
    pub fn strehl_alone() -> Self {
        Self { detail_arcsec: Some(Vec::new()), star_image: false, ..Self::default() }
    }

    /// The details whose contrast is computed, once a sweep has settled which.
    pub(super) fn details_arcsec(&self) -> &[f64] {
        self.detail_arcsec.as_deref().unwrap_or_default()
    }

    /// The same with the usual details, if none are named, as far as a mirror resolves them.
    pub(super) fn settled(&self, clear_mm: f64, wavelength_nm: f64) -> Self {
        let finest = finest_arcsec(clear_mm, wavelength_nm);
        let usual = || USUAL_DETAILS_ARCSEC.into_iter().filter(|detail| *detail > finest).collect();
        Self { detail_arcsec: Some(self.detail_arcsec.clone().unwrap_or_else(usual)), ..self.clone() }
    }

    /// Refuses what cannot be swept: all faults found.
    pub(super) fn check(
        &self,
        diameter_mm: &[f64],
        (clear_mm, shadow_mm, wavelength_nm): (f64, f64, f64),
    ) -> Result<()> {
        let mut findings = Findings::default();
        if diameter_mm.is_empty() || diameter_mm.len() > MOST {
            let found = format!("{} diameters", diameter_mm.len());
            findings.fault("diameters_mm", found, "1 to 1000 diameters", "");
        }
        let least_mm = LEAST_OPEN * shadow_mm;
        let good = |d: f64| d > least_mm && d <= clear_mm;
        let allowed = if shadow_mm > 0.0 {
            format!(
                "above {least_mm:.4} mm (the shadow and a ring of light) and up to the clear aperture, {clear_mm} mm"
            )
        } else {
            format!("above 0 and up to the clear aperture, {clear_mm} mm")
        };
        let bad = (0..diameter_mm.len()).filter(|i| !good(diameter_mm[*i]));
        // A longer list of faults helps nobody.
        for i in bad.take(20) {
            let cause = if diameter_mm[i] > clear_mm {
                "the mask's outer diameter?"
            } else if diameter_mm[i] <= 0.0 {
                "a sign?"
            } else {
                "radii or inches given for diameters in mm?"
            };
            findings.number(&format!("diameters_mm[{i}]"), diameter_mm[i], good, &allowed, cause);
        }
        let mut order: Vec<usize> = (0..diameter_mm.len()).collect();
        order.sort_by(|&a, &b| diameter_mm[a].total_cmp(&diameter_mm[b]).then(a.cmp(&b)));
        if let Some(pair) = order.windows(2).find(|p| diameter_mm[p[1]] - diameter_mm[p[0]] < 1e-6 * clear_mm)
        {
            let again = pair[1];
            let cause = format!("the same as diameters_mm[{}], or within a millionth of it", pair[0]);
            findings.fault(
                &format!("diameters_mm[{again}]"),
                diameter_mm[again],
                "each diameter once",
                &cause,
            );
        }
        let details = self.details_arcsec();
        if details.len() > MOST {
            let found = format!("{} details", details.len());
            findings.fault("detail_arcsec", found, "0 to 1000 details", "");
        }
        let finest = finest_arcsec(clear_mm, wavelength_nm);
        let allowed = format!("a full period that the open mirror resolves: above {finest:.3} arcsec");
        for (i, detail) in details.iter().enumerate() {
            let coarser = |d: f64| d > finest && d < 3600.0;
            findings.number(&format!("detail_arcsec[{i}]"), *detail, coarser, &allowed, "half of a period?");
        }
        if self.seeing.is_some() && details.is_empty() {
            findings.fault("seeing", "given", "details whose contrast is asked for, or no seeing", "");
        }
        findings.number(
            "rise",
            self.rise,
            |rise| rise > 0.0 && rise < 1.0,
            "a rise of the Strehl, above 0 and below 1",
            "per cent?",
        );
        findings.refuse()
    }
}

/// The finest full period on the sky that a mirror resolves, arcsec.
fn finest_arcsec(clear_mm: f64, wavelength_nm: f64) -> f64 {
    wavelength_nm / NM_PER_MM * ARCSEC_PER_RADIAN / clear_mm
}
