//! A figure layer of chance: ripple with a stated power spectrum.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::figure::{HEIGHT, HEIGHT_CAUSE, TALLEST_NM};
use super::height_map::{AxisDirection, HeightMap};
use crate::error::{Findings, Result};
use crate::numeric::convolve::quick_size;
use crate::numeric::{rough, sums};

/// Pixels of the map for the shortest wave: a bicubic spline then draws it 4e-4 of its amplitude wrong.
const PIXELS_A_WAVE: f64 = 10.0;
/// Pixels beyond the clear aperture, which the spline needs to forget its end.
const MARGIN_PIXELS: usize = 8;
/// The surface repeats after so many clear apertures; only one is used.
const PERIOD: f64 = 2.0;
/// Shortest waves on a clear aperture, at most: 1600 pixels across it, 200 MiB while it is made.
const MOST_WAVES: f64 = 160.0;

/// Ripple all over the glass: a Gaussian surface of chance with an isotropic power spectrum.
///
/// The spectral density of the height (nm^2 mm^2, over both frequencies) is A f^(-slope) for 1/longest <= f <=
/// 1/shortest, f in cycles for each mm, and 0 elsewhere: slope 0 is white, 2 to 3 is usual for polished glass (common
/// practice, no source). `rms_nm` is the RMS about the mean over the clear aperture, exactly, for every seed; so A is
/// that of the surface drawn, and scatters about rms^2 (2 - slope)/(2 pi (f2^(2 - slope) - f1^(2 - slope))), its mean
/// over seeds, the more the fewer of the longest waves the mirror holds.
///
/// Units: mm and nm of glass height. The surface depends on these numbers, the seed and the clear aperture.
/// Errors: found by the train's check: a longest wave beyond the clear aperture, a shortest one below 1/160 of it.
/// Method: spectral synthesis on a net of ten pixels a wave ([`numeric::rough`](crate::numeric::rough)), drawn by
/// bicubic splines as every [`HeightMap`]: the shortest wave is 4e-4 of its amplitude wrong.
/// Leaves out: waves outside the two limits; any preferred direction, as of rings from a polishing stroke.
///
/// ```
/// use catoptric::{Field, FocalLengthMm, Focus, Prepared, Primary, Ripple, Train, scatter_loss};
/// let ripple = Ripple::new(5.0, 100.0, 40.0, 2);
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1600.0)).layer(ripple)).build()?;
/// let strehl = Prepared::new(&train).wavefront(Field::AXIS, Focus::Peak, 550.0)?.strehl;
/// assert!((1.0 - strehl - scatter_loss(5.0, 550.0, 0.0)?).abs() < 0.004);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ripple {
    /// Root mean square over the clear aperture about the mean height, nm.
    pub rms_nm: f64,
    /// Longest wave, mm.
    pub longest_mm: f64,
    /// Shortest wave, mm.
    pub shortest_mm: f64,
    /// The power of the frequency with which the spectral density falls; 2 unless given.
    #[serde(default = "usual_slope")]
    pub slope: f64,
    /// Which surface of all that are possible.
    pub seed: u64,
}

fn usual_slope() -> f64 {
    2.0
}

impl Ripple {
    /// Ripple whose spectral density falls as the square of the frequency.
    ///
    /// ```
    /// assert_eq!(catoptric::Ripple::new(5.0, 100.0, 20.0, 1).slope, 2.0);
    /// ```
    pub fn new(rms_nm: f64, longest_mm: f64, shortest_mm: f64, seed: u64) -> Self {
        Self { rms_nm, longest_mm, shortest_mm, slope: usual_slope(), seed }
    }

    /// The same ripple with another slope of its spectrum.
    ///
    /// ```
    /// assert_eq!(catoptric::Ripple::new(5.0, 100.0, 20.0, 1).slope(0.0).slope, 0.0);
    /// ```
    #[must_use]
    pub fn slope(self, slope: f64) -> Self {
        Self { slope, ..self }
    }

    /// The surface on a mirror of this clear aperture.
    ///
    /// Units: mm.
    /// Shapes: a square net with an odd number of rows, the mirror's centre in the middle one.
    /// Errors: [`Error::Input`](crate::Error::Input) for ripple that cannot be on such a mirror.
    ///
    /// ```
    /// let map = catoptric::Ripple::new(5.0, 100.0, 20.0, 1).height_map(200.0)?;
    /// assert_eq!(map.pixel_mm, 2.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn height_map(&self, clear_aperture_mm: f64) -> Result<HeightMap> {
        let mut findings = Findings::default();
        if findings.length("clear_aperture_mm", clear_aperture_mm) {
            self.note_problems(clear_aperture_mm / 2.0, &mut findings);
        }
        findings.refuse().map(|()| self.drawn(clear_aperture_mm))
    }

    /// The surface of ripple that has passed its checks.
    pub(crate) fn drawn(&self, clear_aperture_mm: f64) -> HeightMap {
        let pixel_mm = self.shortest_mm / PIXELS_A_WAVE;
        let reach = clear_aperture_mm / 2.0 / pixel_mm;
        let middle = reach.ceil() as usize + MARGIN_PIXELS;
        let count = 2 * middle + 1;
        let period = quick_size(((PERIOD * clear_aperture_mm / pixel_mm) as usize).max(count));
        let band = [pixel_mm / self.longest_mm, pixel_mm / self.shortest_mm];
        let surface = rough::surface(period, band, self.slope, self.seed);
        let from_middle = |i: usize| i as f64 - middle as f64;
        let is_lit = |i: usize, j: usize| i.max(j) < count && from_middle(i).hypot(from_middle(j)) <= reach;
        let lit = surface.indexed_iter().filter(|((i, j), _)| is_lit(*i, *j));
        let heights: Vec<f64> = lit.map(|(_, h)| *h).collect();
        let mean = sums::pairwise(&heights) / heights.len() as f64;
        let squares: Vec<f64> = heights.iter().map(|h| (h - mean).powi(2)).collect();
        let scale = self.rms_nm / (sums::pairwise(&squares) / heights.len() as f64).sqrt();
        let heights = Array2::from_shape_fn((count, count), |at| scale * (surface[at] - mean));
        HeightMap::new(heights, pixel_mm, AxisDirection::PlusY, AxisDirection::PlusX)
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let allowed = format!("0 or more, {HEIGHT}");
        findings.number(
            "rms_nm",
            self.rms_nm,
            |v| (0.0..=TALLEST_NM / 10.0).contains(&v),
            &allowed,
            HEIGHT_CAUSE,
        );
        let longest = findings.length("longest_mm", self.longest_mm);
        if longest && findings.length("shortest_mm", self.shortest_mm) {
            let allowed = "a shortest wave of at most 3/4 of the longest one";
            let below = |v: f64| v <= 0.75 * self.longest_mm;
            findings.number("shortest_mm", self.shortest_mm, below, allowed, "the two exchanged?");
            if rim_mm.is_finite() {
                let allowed = format!(
                    "{:.3} mm, 1/{MOST_WAVES} of the clear aperture, or more",
                    2.0 * rim_mm / MOST_WAVES
                );
                let above = |v: f64| v >= 2.0 * rim_mm / MOST_WAVES * (1.0 - 1e-9);
                let cause = "finer roughness only scatters light: see scatter_loss";
                findings.number("shortest_mm", self.shortest_mm, above, &allowed, cause);
            }
        }
        if longest && rim_mm.is_finite() {
            findings.number(
                "longest_mm",
                self.longest_mm,
                |v| v <= 2.0 * rim_mm * (1.0 + 1e-9),
                "a wave no longer than the clear aperture",
                "longer ones are the figure: Zernike terms describe them",
            );
        }
        findings.number(
            "slope",
            self.slope,
            |v| (-2.0..=6.0).contains(&v),
            "a slope from -2 to 6",
            "a sign?",
        );
    }
}
