//! The axisymmetric pupil: one radius instead of a surface, for thousands of figures of one mirror.

use std::f64::consts::TAU;

use crate::numeric::{gauss, roots, sums};

/// Gauss nodes on each panel of the radius: a figure between knots is a low power of r^2.
const NODES_PER_PANEL: usize = 6;
/// Defocus over which the brightest focus is looked for, waves at the rim, and the steps of the look.
const LOOK_WAVES: f64 = 3.0;
const LOOKS: usize = 61;
/// Share of the area that the second start of the search leaves out: a turned edge makes two maxima.
const INNER_AREA: f64 = 0.85;

/// A clear or annular pupil on the axis, sampled along one radius.
///
/// A figure is its surface heights at `radius_mm`. The wavefront is 2 h/(1 + (r/R)^2), as the exact trace of
/// a paraboloid gives it to first order in h; refocusing moves the reference point along the axis.
#[derive(Clone, Debug)]
pub(crate) struct RadialPupil {
    pub(crate) radius_mm: Vec<f64>,
    /// Shares of the lit area: they add up to 1.
    weight: Vec<f64>,
    /// Wavefront for a unit of surface height.
    doubling: Vec<f64>,
    /// Path gained by a unit of depth, 0 in the mean and 1 from centre to rim.
    defocus: Vec<f64>,
    wavelength_nm: f64,
    inner: usize,
}

/// What one figure is worth on the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RadialQuality {
    /// At the focus of least RMS, nm.
    pub(crate) rms_nm: f64,
    /// At the focus of least RMS, nm.
    pub(crate) pv_nm: f64,
    /// At the brightest focus.
    pub(crate) strehl: f64,
    /// At the focus of least RMS.
    pub(crate) strehl_least_rms: f64,
}

impl RadialPupil {
    /// A pupil of a mirror's open radius, split at `breaks_mm`; the obstruction counts by diameter.
    pub(crate) fn new(
        open_radius_mm: f64,
        radius_of_curvature_mm: f64,
        obstruction_ratio: f64,
        breaks_mm: &[f64],
        wavelength_nm: f64,
    ) -> Self {
        let inner_mm = obstruction_ratio * open_radius_mm;
        let mut ends: Vec<f64> = [inner_mm, open_radius_mm].to_vec();
        ends.extend(breaks_mm.iter().copied().filter(|b| *b > inner_mm && *b < open_radius_mm));
        ends.sort_by(f64::total_cmp);
        let (mut radius_mm, mut weight) = (Vec::new(), Vec::new());
        for pair in ends.windows(2) {
            for (square, share) in gauss::on_interval(NODES_PER_PANEL, pair[0] * pair[0], pair[1] * pair[1]) {
                radius_mm.push(square.sqrt());
                weight.push(share / (open_radius_mm * open_radius_mm - inner_mm * inner_mm));
            }
        }
        let ratio = |r: f64| (r / radius_of_curvature_mm).powi(2);
        let doubling = radius_mm.iter().map(|&r| 2.0 / (1.0 + ratio(r))).collect();
        // The line of sight's axial part is (1 - u)/(1 + u), u = (r/R)^2, for the paraboloid.
        let depth = |r: f64| 2.0 * ratio(r) / (1.0 + ratio(r));
        let raw: Vec<f64> = radius_mm.iter().map(|&r| depth(r) / depth(open_radius_mm)).collect();
        let mean = sums::dot(&weight, &raw);
        let limit = inner_mm.powi(2) + INNER_AREA * (open_radius_mm.powi(2) - inner_mm.powi(2));
        let inner = radius_mm.iter().filter(|r| **r * **r <= limit).count();
        Self {
            defocus: raw.iter().map(|d| d - mean).collect(),
            radius_mm,
            weight,
            doubling,
            wavelength_nm,
            inner,
        }
    }

    /// The wavefront of a figure at the focus of least RMS, nm, mean 0.
    fn at_least_rms(&self, height_nm: &[f64]) -> Vec<f64> {
        let raw: Vec<f64> = height_nm.iter().zip(&self.doubling).map(|(h, k)| h * k).collect();
        self.flattened(&raw, raw.len())
    }

    /// A wavefront less its mean and its defocus, both taken over the first `count` nodes.
    fn flattened(&self, path_nm: &[f64], count: usize) -> Vec<f64> {
        let weight = &self.weight[..count];
        let total = sums::pairwise(weight);
        let centred = |column: &[f64]| -> Vec<f64> {
            let mean = sums::dot(weight, &column[..count]) / total;
            column.iter().map(|v| v - mean).collect()
        };
        let (path, defocus) = (centred(path_nm), centred(&self.defocus));
        let product = |a: &[f64], b: &[f64]| -> f64 { (0..count).map(|i| weight[i] * a[i] * b[i]).sum() };
        let slope = product(&path, &defocus) / product(&defocus, &defocus);
        path.iter().zip(&defocus).map(|(w, d)| w - slope * d).collect()
    }

    /// RMS, PV and Strehl of a figure given by its heights at the nodes.
    ///
    /// PV is that of the nodes: they stop short of the ends of each panel by 3 % of it.
    pub(crate) fn quality(&self, height_nm: &[f64]) -> RadialQuality {
        let best = self.at_least_rms(height_nm);
        let square: f64 = best.iter().zip(&self.weight).map(|(w, a)| a * w * w).sum();
        let (low, high) =
            best.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &w| (l.min(w), h.max(w)));
        let inside = self.flattened(&best, self.inner.max(2));
        let strehl = [&best, &inside].map(|start| self.brightest(start)).into_iter().fold(0.0, f64::max);
        RadialQuality {
            rms_nm: square.sqrt(),
            pv_nm: high - low,
            strehl,
            strehl_least_rms: self.strehl(&best, 0.0),
        }
    }

    /// Strehl of a wavefront moved out of focus by a path of `defocus_nm` between centre and rim.
    fn strehl(&self, path_nm: &[f64], defocus_nm: f64) -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        for i in 0..path_nm.len() {
            let (s, c) = (TAU / self.wavelength_nm * (path_nm[i] + defocus_nm * self.defocus[i])).sin_cos();
            re += self.weight[i] * c;
            im += self.weight[i] * s;
        }
        re * re + im * im
    }

    /// The greatest Strehl over the focus.
    fn brightest(&self, path_nm: &[f64]) -> f64 {
        let step_nm = 2.0 * LOOK_WAVES * self.wavelength_nm / (LOOKS - 1) as f64;
        let first_nm = -LOOK_WAVES * self.wavelength_nm;
        let (mut re, mut im) = ([0.0; LOOKS], [0.0; LOOKS]);
        for i in 0..path_nm.len() {
            let per_nm = TAU / self.wavelength_nm;
            let (mut s, mut c) = (per_nm * (path_nm[i] + first_nm * self.defocus[i])).sin_cos();
            let (turn_s, turn_c) = (per_nm * step_nm * self.defocus[i]).sin_cos();
            for k in 0..LOOKS {
                re[k] += self.weight[i] * c;
                im[k] += self.weight[i] * s;
                (s, c) = (s * turn_c + c * turn_s, c * turn_c - s * turn_s);
            }
        }
        let best =
            (0..LOOKS).max_by(|&a, &b| (re[a].hypot(im[a])).total_cmp(&re[b].hypot(im[b]))).unwrap_or(0);
        let middle = first_nm + step_nm * best as f64;
        let near = |t: f64| self.strehl(path_nm, t);
        roots::maximum(near, middle - step_nm, middle + step_nm, 1e-4 * self.wavelength_nm).1
    }

    /// The best-fitting parabola of a figure and its level, to be taken off for display: height at the centre
    /// and gain for each mm^2 of r^2, nm.
    pub(crate) fn level_and_focus(&self, height_nm: &[f64]) -> (f64, f64) {
        let square: Vec<f64> = self.radius_mm.iter().map(|r| r * r).collect();
        let (mean_s, mean_h) = (sums::dot(&self.weight, &square), sums::dot(&self.weight, height_nm));
        let (mut joint, mut spread) = (0.0, 0.0);
        for i in 0..square.len() {
            joint += self.weight[i] * (square[i] - mean_s) * (height_nm[i] - mean_h);
            spread += self.weight[i] * (square[i] - mean_s).powi(2);
        }
        let gain = joint / spread;
        (mean_h - gain * mean_s, gain)
    }
}
