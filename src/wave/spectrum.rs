//! The colours of the light: wavelengths and their shares of the energy.

use serde::{Deserialize, Serialize};

use super::photopic::{FIRST_NM, LUMINOUS_EFFICIENCY, STEP_NM, black_body};
use super::wavelength::check_wavelength;
use crate::error::{Error, Result};
use crate::numeric::gauss;

/// Wavelengths of a photopic spectrum and of a band, unless asked for.
const LINES: usize = 9;
/// The most that a rule is made for.
const MOST_LINES: usize = 31;

/// Light of several wavelengths, each with its share of the energy.
///
/// The image in such light is the sum over share/wavelength^2 of the images in single colours, each with 1 at the
/// perfect peak, over the sum of share/wavelength^2: a perfect star of fixed energy has a peak that goes as
/// 1/wavelength^2. So the perfect star has 1 at its centre here too, and the energy in the plane adds up with the
/// shares.
///
/// Units: nm. The shares add up to 1. A share is energy as the receiver counts it: the source's light times the
/// receiver's response.
///
/// ```
/// let two = catoptric::Spectrum::of_lines(&[500.0, 600.0], &[1.0, 3.0])?;
/// assert_eq!(two.lines(), [(500.0, 0.25), (600.0, 0.75)]);
/// assert_eq!(two.mean_nm(), 575.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Unchecked", into = "Unchecked")]
pub struct Spectrum {
    lines: Vec<(f64, f64)>,
}

/// The lines as a file gives them, before the checks of [`Spectrum::of_lines`].
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Unchecked {
    wavelength_nm: Vec<f64>,
    weight: Vec<f64>,
}

impl TryFrom<Unchecked> for Spectrum {
    type Error = Error;

    fn try_from(found: Unchecked) -> Result<Self> {
        Self::of_lines(&found.wavelength_nm, &found.weight)
    }
}

impl From<Spectrum> for Unchecked {
    fn from(spectrum: Spectrum) -> Self {
        let (wavelength_nm, weight) = spectrum.lines.into_iter().unzip();
        Self { wavelength_nm, weight }
    }
}

impl Spectrum {
    /// A single wavelength, nm.
    ///
    /// Errors: [`Error::Input`] for a wavelength that cannot be.
    ///
    /// ```
    /// assert!(catoptric::Spectrum::line(0.0).is_err());
    /// ```
    pub fn line(wavelength_nm: f64) -> Result<Self> {
        Self::of_lines(&[wavelength_nm], &[1.0])
    }

    /// Wavelengths with their weights, which need not add up to 1.
    ///
    /// Errors: [`Error::Input`] for lists of unequal length or none, wavelengths that cannot be or do not ascend,
    /// weights that are negative, not finite, or all 0.
    ///
    /// ```
    /// assert!(catoptric::Spectrum::of_lines(&[500.0, 600.0], &[1.0, -1.0]).is_err());
    /// ```
    pub fn of_lines(wavelength_nm: &[f64], weight: &[f64]) -> Result<Self> {
        if wavelength_nm.is_empty() || wavelength_nm.len() != weight.len() {
            let found = format!("{} weights beside {} wavelengths", weight.len(), wavelength_nm.len());
            return Err(Error::input("weight", found, "one weight for each wavelength, one or more", ""));
        }
        for (i, &nm) in wavelength_nm.iter().enumerate() {
            check_wavelength(nm)?;
            if i > 0 && nm <= wavelength_nm[i - 1] {
                let field = format!("wavelength_nm[{i}]");
                return Err(Error::input(field, nm, "wavelengths that ascend", "a list in another order?"));
            }
        }
        let total: f64 = weight.iter().sum();
        let possible = |w: &f64| *w >= 0.0 && w.is_finite();
        if let Some(i) = weight.iter().position(|w| !possible(w)) {
            return Err(Error::input(format!("weight[{i}]"), weight[i], "0 or more", ""));
        }
        if !(total > 0.0 && total.is_finite()) {
            return Err(Error::input("weight", total, "weights with a sum above 0", ""));
        }
        // Shares that were saved come back bit for bit.
        let total = if (total - 1.0).abs() < 1e-14 { 1.0 } else { total };
        Ok(Self { lines: wavelength_nm.iter().zip(weight).map(|(&nm, w)| (nm, w / total)).collect() })
    }

    /// What the eye in daylight sees of a source of equal energy at all wavelengths, on nine wavelengths.
    ///
    /// Units: nm.
    /// Source: the CIE 1924 photopic luminous efficiency V (colour-science 0.4.7), and the Gauss rule of nine nodes
    /// for it, exact for polynomials of the wavelength up to degree 17. The mean is 560.19 nm.
    /// Leaves out: averages of cos(2 pi w/lambda), w a path, come out within 1e-6 for paths up to 1100 nm, 2e-5 for
    /// 2200 nm, 2e-3 for 2750 nm and 6e-3 for 3300 nm; take more wavelengths beyond ([`Spectrum::photopic_of`]). The
    /// dark-adapted eye, whose peak lies at 507 nm, sees otherwise.
    ///
    /// ```
    /// let day = catoptric::Spectrum::photopic();
    /// assert!(day.lines().len() == 9 && (day.mean_nm() - 560.192).abs() < 1e-3); // CIE 1924, colour-science
    /// ```
    pub fn photopic() -> Self {
        Self::seen_by_day(LINES, |_| 1.0)
    }

    /// The same on another number of wavelengths, or for a source that shines as a black body of a temperature in
    /// kelvin.
    ///
    /// Errors: [`Error::Input`] for fewer than 1 or more than 31 wavelengths, a temperature outside 1000 to 100 000 K.
    /// Source: Planck's law.
    /// Leaves out: with eleven wavelengths paths up to 2200 nm are good to 2e-6 and 3300 nm to 1e-4, with fifteen 3300
    /// nm to 5e-6; then the steps of the table, 5 nm, are what is left.
    ///
    /// ```
    /// let lamp = catoptric::Spectrum::photopic_of(9, Some(2856.0))?;
    /// assert!(lamp.mean_nm() > catoptric::Spectrum::photopic().mean_nm(), "a lamp is redder");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn photopic_of(count: usize, temperature_k: Option<f64>) -> Result<Self> {
        check_count(count)?;
        let Some(kelvin) = temperature_k else { return Ok(Self::seen_by_day(count, |_| 1.0)) };
        if !(1e3..=1e5).contains(&kelvin) {
            let cause = if (0.0..100.0).contains(&kelvin) { "thousands of kelvin?" } else { "" };
            return Err(Error::input("temperature_k", kelvin, "1000 to 100 000 K", cause));
        }
        Ok(Self::seen_by_day(count, |nm| black_body(nm, kelvin)))
    }

    /// The Gauss rule for V times a source.
    fn seen_by_day(count: usize, source: impl Fn(f64) -> f64) -> Self {
        let at: Vec<f64> = (0..LUMINOUS_EFFICIENCY.len()).map(|i| FIRST_NM + STEP_NM * i as f64).collect();
        let seen: Vec<f64> = at.iter().zip(LUMINOUS_EFFICIENCY).map(|(&nm, v)| v * source(nm)).collect();
        let rule = gauss::of_points(&at, &seen, count);
        let total: f64 = rule.weights.iter().sum();
        Self { lines: rule.nodes.iter().zip(&rule.weights).map(|(&nm, w)| (nm, w / total)).collect() }
    }

    /// A band of even energy between two wavelengths, as a sensor behind a filter counts it.
    ///
    /// Units: nm.
    /// Errors: [`Error::Input`] for wavelengths that cannot be or do not ascend, fewer than 1 or more than 31 lines.
    /// Source: Gauss-Legendre nodes, exact for polynomials of the wavelength up to degree 2 `count` - 1.
    /// Leaves out: the slopes of a real filter and the sensor's uneven response; give those as lines
    /// ([`Spectrum::of_lines`]). "Even" is in energy as it is counted, not in photons that arrive.
    ///
    /// ```
    /// let green = catoptric::Spectrum::band(500.0, 600.0, 9)?;
    /// assert!((green.mean_nm() - 550.0).abs() < 1e-9 && green.lines()[0].0 > 500.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn band(from_nm: f64, to_nm: f64, count: usize) -> Result<Self> {
        check_count(count)?;
        for (field, nm) in [("from_nm", from_nm), ("to_nm", to_nm)] {
            check_wavelength(nm).map_err(|e| renamed(&e, field))?;
        }
        if to_nm <= from_nm {
            let found = format!("{to_nm} beside from_nm = {from_nm}");
            return Err(Error::input(
                "to_nm",
                found,
                "a wavelength longer than from_nm",
                "the two exchanged?",
            ));
        }
        let (at, weight): (Vec<f64>, Vec<f64>) = gauss::on_interval(count, from_nm, to_nm).unzip();
        Self::of_lines(&at, &weight)
    }

    /// Wavelengths, nm, ascending, each with its share of the energy.
    pub fn lines(&self) -> &[(f64, f64)] {
        &self.lines
    }

    /// The mean wavelength, nm, weighted by energy.
    pub fn mean_nm(&self) -> f64 {
        self.lines.iter().map(|(nm, share)| nm * share).sum()
    }

    /// What each wavelength's image counts in the sum: share/wavelength^2 over the sum of these.
    ///
    /// ```
    /// let two = catoptric::Spectrum::of_lines(&[500.0, 1000.0], &[1.0, 4.0])?;
    /// assert_eq!(two.peak_shares(), [0.5, 0.5]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn peak_shares(&self) -> Vec<f64> {
        let peaks: Vec<f64> = self.lines.iter().map(|(nm, share)| share / (nm * nm)).collect();
        let total: f64 = peaks.iter().sum();
        peaks.into_iter().map(|peak| peak / total).collect()
    }
}

fn check_count(count: usize) -> Result<()> {
    if (1..=MOST_LINES).contains(&count) {
        return Ok(());
    }
    Err(Error::input("count", count, format!("1 to {MOST_LINES} wavelengths"), ""))
}

/// The same refusal under the name of another argument.
fn renamed(error: &Error, field: &str) -> Error {
    match error.problems() {
        [only] => Error::input(field, &only.value, &only.allowed, &only.cause),
        _ => error.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_saved_spectrum_comes_back_bit_for_bit_and_checked() {
        for spectrum in
            [Spectrum::photopic(), Spectrum::of_lines(&[450.0, 500.0, 700.0], &[1.0, 3.0, 7.0]).unwrap()]
        {
            let text = serde_json::to_string(&spectrum).unwrap();
            assert_eq!(serde_json::from_str::<Spectrum>(&text).unwrap(), spectrum);
        }
        let odd = r#"{"wavelength_nm": [5500], "weight": [1]}"#;
        assert!(
            serde_json::from_str::<Spectrum>(odd).unwrap_err().to_string().contains("wavelength_nm = 5500")
        );
    }
}
