//! The Strehl by formulas that know the RMS alone, beside the exact one.

use serde::{Deserialize, Serialize};

use super::wavefront::Wavefront;

/// The RMS, in waves, from which Marechal's form rises again: 1/(pi sqrt 2).
const TURN: f64 = 0.225_079_079_039_276_5;
/// What a formula may be wrong before the words say that it fails.
const TOLERATED: f64 = 0.01;

/// Two approximations of the Strehl, by the RMS alone, beside the exact value.
///
/// Units: waves for the RMS.
/// Source: Marechal's (1 - 2 pi^2 s^2)^2 and the exponential exp(-(2 pi s)^2), s the RMS in waves (Mahajan, from
/// memory).
/// Leaves out: all of the wavefront but its RMS. For smooth errors of less than a tenth of a wave RMS both are right
/// within a few hundredths; Marechal's form rises again past 0.225 waves, and the exponential one fails for thin
/// steep edges, where it says 0.452 and the truth is 0.913. Neither weights the RMS by the coating's amplitude.
///
/// ```
/// use catoptric::{Indexing, Wavefront};
/// let quarter = 550.0 / (8.0 * 3.0_f64.sqrt()); // defocus of a quarter wave
/// let wave = Wavefront::from_zernikes(&[(4, quarter)].into(), Indexing::Noll, 0.0, None, 550.0)?;
/// let by = wave.strehl_approximations();
/// assert!((by.strehl_marechal - 0.8050).abs() < 1e-4 && (by.strehl_exponential - 0.8141).abs() < 1e-4);
/// assert!((by.strehl - 0.8106).abs() < 1e-4 && by.warning.is_empty());
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StrehlApproximations {
    /// Root mean square of the wavefront, waves.
    pub rms_waves: f64,
    /// The exact pupil integral.
    pub strehl: f64,
    /// (1 - 2 pi^2 s^2)^2.
    pub strehl_marechal: f64,
    /// exp(-(2 pi s)^2).
    pub strehl_exponential: f64,
    /// Where a form fails here, and by how much; empty where both are within 0.01 of the exact value.
    pub warning: String,
}

impl Wavefront {
    /// The Strehl by Marechal's form and by the exponential one, beside the exact value, with words where they fail.
    ///
    /// ```
    /// use catoptric::{Indexing, Wavefront};
    /// let wave = Wavefront::from_zernikes(&[(11, 165.0)].into(), Indexing::Noll, 0.0, None, 550.0)?;
    /// let by = wave.strehl_approximations();
    /// assert!(by.strehl_marechal > 0.5 && by.warning.contains("rises again"));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn strehl_approximations(&self) -> StrehlApproximations {
        StrehlApproximations::new(self.rms_nm / self.wavelength_nm, self.strehl)
    }
}

impl StrehlApproximations {
    fn new(rms_waves: f64, strehl: f64) -> Self {
        let variance = (std::f64::consts::TAU * rms_waves).powi(2);
        let (marechal, exponential) = ((1.0 - variance / 2.0).powi(2), (-variance).exp());
        let mut words = Vec::new();
        for (name, value) in [("Marechal's form", marechal), ("the exponential form", exponential)] {
            let off = value - strehl;
            if off.abs() > TOLERATED {
                let side = if off > 0.0 { "too high" } else { "too low" };
                words.push(format!("{name} gives {value:.3}, {:.3} {side}", off.abs()));
            }
        }
        if !words.is_empty() {
            words.push(format!("the exact Strehl is {strehl:.3}"));
        }
        if rms_waves > TURN {
            words.push(format!(
                "past an RMS of 0.225 waves (here {rms_waves:.3}) Marechal's form rises again, and both mean nothing"
            ));
        } else if strehl - exponential > TOLERATED {
            words.push(
                "an error that few parts of the pupil share, as a thin steep edge, costs less than its RMS says".to_owned(),
            );
        }
        Self {
            rms_waves,
            strehl,
            strehl_marechal: marechal,
            strehl_exponential: exponential,
            warning: words.join("; "),
        }
    }
}
