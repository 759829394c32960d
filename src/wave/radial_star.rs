//! The star image of an axisymmetric figure: its width, and its light within two circles.

use std::f64::consts::{PI, TAU};

use super::radial::{RadialPupil, Scratch};
use super::radial_grid::RadialGrid;
use crate::numeric::gauss::on_interval;
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM};

/// Radii in each panel of the image, where the intensity is computed; between them it is interpolated.
const RADII: usize = 12;
/// How many panels, each as wide as the inner circle, the half of the peak is looked for in.
const PANELS: usize = 3;

/// A pupil made ready for its star image.
///
/// Leaves out: the radius on the mirror is taken for the pupil's, as [`super::RadialView`] does.
#[derive(Clone, Debug)]
pub(crate) struct RadialStar {
    /// Radii in the image, in cycles for each mm of the pupil, panel by panel, with the weights of their rings.
    radius_per_mm: Vec<f64>,
    ring: Vec<f64>,
    /// Weights of the phasors in the amplitude, radius by radius.
    amplitude: Vec<f64>,
    weight: Vec<f64>,
    /// Panels whose light lies within the inner and within the outer circle.
    held: [usize; 2],
    wavelength_nm: f64,
}

/// What the star image of one figure shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RadialStarSight {
    /// Share of the light within the inner and within the outer circle.
    pub(crate) held: [f64; 2],
    /// Full width at half of the peak, arcsec; none if it is wider than three times the inner circle's radius.
    pub(crate) fwhm_arcsec: Option<f64>,
}

impl RadialStar {
    /// A pupil from `inner_mm` to `outer_mm`, and the radii of two circles, cycles for each mm of the pupil, the second
    /// not the smaller.
    pub(crate) fn new(
        grid: &RadialGrid,
        pupil: &RadialPupil,
        (inner_mm, outer_mm): (f64, f64),
        wavelength_nm: f64,
        circles_per_mm: [f64; 2],
    ) -> Self {
        let (radius_mm, weight) = pupil.nodes_mm(grid);
        let area_mm2 = PI * (outer_mm * outer_mm - inner_mm * inner_mm);
        let [small, large] = circles_per_mm;
        let mut ends = vec![0.0, small];
        if large > small * (1.0 + 1e-12) {
            ends.push(large);
        }
        let held = [1, ends.len() - 1];
        let widest = large.max(small * PANELS as f64);
        while ends[ends.len() - 1] < widest * (1.0 - 1e-12) {
            ends.push((ends[ends.len() - 1] + small).min(widest));
        }
        let rings: Vec<(f64, f64)> =
            ends.windows(2).flat_map(|pair| on_interval(RADII, pair[0], pair[1])).collect();
        let row = |q: f64| radius_mm.iter().zip(weight).map(move |(r, w)| w * libm::j0(TAU * q * r));
        Self {
            radius_per_mm: rings.iter().map(|ring| ring.0).collect(),
            ring: rings.iter().map(|(q, w)| area_mm2 * TAU * q * w).collect(),
            amplitude: rings.iter().flat_map(|(q, _)| row(*q)).collect(),
            weight: weight.to_vec(),
            held,
            wavelength_nm,
        }
    }

    /// The star image at a defocus from the focus of least RMS.
    pub(crate) fn sight(
        &self,
        pupil: &RadialPupil,
        height_nm: &[f64],
        defocus_rad: f64,
        scratch: &mut Scratch,
    ) -> RadialStarSight {
        let phasors = pupil.phasors(height_nm, defocus_rad, scratch);
        let peak = phasors.intensity(&self.weight);
        let values: Vec<f64> =
            self.amplitude.chunks_exact(self.weight.len()).map(|row| phasors.intensity(row)).collect();
        let within = |panels: usize| {
            let count = panels * RADII;
            values[..count].iter().zip(&self.ring).map(|(value, ring)| value * ring).sum::<f64>()
        };
        let half = self.half_per_mm(&values, 0.5 * peak);
        let arcsec = |per_mm: f64| per_mm * self.wavelength_nm / NM_PER_MM * ARCSEC_PER_RADIAN;
        RadialStarSight { held: self.held.map(within), fwhm_arcsec: half.map(|q| 2.0 * arcsec(q)) }
    }

    /// Where the intensity first falls to a value, cycles for each mm.
    fn half_per_mm(&self, values: &[f64], half: f64) -> Option<f64> {
        let first = values.iter().position(|value| *value < half)?;
        let panel = first / RADII;
        let stretch = panel * RADII..(panel + 1) * RADII;
        let (radii, values) = (&self.radius_per_mm[stretch.clone()], &values[stretch]);
        let at = |q: f64| -> f64 {
            let term = |k: usize| {
                let others = radii.iter().enumerate().filter(|(j, _)| *j != k);
                others.fold(values[k], |product, (_, other)| product * (q - other) / (radii[k] - other))
            };
            (0..RADII).map(term).sum()
        };
        // The first radius below half may be the panel's first: then the fall lies between it and the last of the panel
        // before.
        let mut low = if first == 0 { 0.0 } else { self.radius_per_mm[first - 1] };
        let mut high = self.radius_per_mm[first];
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if at(middle) > half { low = middle } else { high = middle }
        }
        Some(0.5 * (low + high))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wave::AIRY;

    #[test]
    fn the_textbook_star_and_one_with_an_obstruction() {
        for (obstruction, width, share) in [
            // Airy's pattern (Born & Wolf, section 8.5.2; the width from scipy's j1, 1.0289939 lambda/D).
            (0.0, 1.028_993_97, 0.837_784_87),
            // The annulus, integrated with mpmath 1.3 from its closed form (Born & Wolf, section 8.5.2).
            (0.2, 1.006_752_08, 0.763_918_84),
        ] {
            let outer = 150.0;
            let inner = obstruction * outer;
            let grid = RadialGrid::new(outer, &[inner]);
            let pupil = RadialPupil::new(&grid, inner, outer, 3000.0, 550.0);
            let edge = AIRY / (2.0 * outer);
            let star = RadialStar::new(&grid, &pupil, (inner, outer), 550.0, [edge, 1.3 * edge]);
            let flat = vec![0.0; grid.radius_mm.len()];
            let seen = star.sight(&pupil, &flat, 0.0, &mut Scratch::default());
            let unit_arcsec = 550e-6 / (2.0 * outer) * ARCSEC_PER_RADIAN;
            let found = seen.fwhm_arcsec.expect("a width") / unit_arcsec;
            assert!((found - width).abs() < 1e-6, "{found}");
            assert!((seen.held[0] - share).abs() < 1e-6 && seen.held[1] > share, "{:?}", seen.held);
        }
    }
}
