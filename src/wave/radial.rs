//! RMS, PV and Strehl of an axisymmetric figure: one-dimensional pupil integrals, many figures in a row.

use std::f64::consts::PI;

use super::radial_grid::RadialGrid;
use crate::numeric::phase::sines_and_cosines;
use crate::numeric::sums::dot;

/// Steps of defocus looked at on either side of a start.
const STEPS: i32 = 5;
/// One such step, as the RMS of its phase over the pupil, radians.
const STEP_RAD: f64 = 0.3;
/// A second start within this many steps of the first is covered by the first.
const COVERED_STEPS: f64 = 4.0;
/// How often the look may move on when the brightest focus is the last one looked at.
const MOVES: usize = 6;
/// An RMS above this, radians (a quarter of a wave), breaks the light up into many maxima along the axis: all are
/// looked at within this many times the RMS. Spherical aberration has foci out to sqrt(15) of it.
const LARGE_RAD: f64 = 1.5;
const REACH: f64 = 4.5;
/// Further out the nodes no longer follow the phase: a wavefront RMS above half a wave has no Strehl worth the name,
/// and what is given for it is good to a few hundredths only.
const FURTHEST_RAD: f64 = 12.0;
/// Half a step from its summit a maximum still has this share of it.
const NEAR_GREATEST: f64 = 0.85;
/// Share of the area next to the rim that the second start leaves out.
const LEFT_OUT_AREA: f64 = 0.15;
/// Moments of the defocus that carry a focus to its neighbours: terms left out are below 1e-9.
const MOMENTS: usize = 8;

/// What a figure is worth over a pupil.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct RadialQuality {
    pub(crate) strehl: f64,
    /// Defocus of the brightest focus from that of least RMS: the RMS of its phase, radians.
    pub(crate) peak_defocus_rad: f64,
    pub(crate) strehl_least_rms: f64,
    pub(crate) rms_nm: f64,
    pub(crate) pv_nm: f64,
}

/// A ring of the mirror, from which light reaches the image.
///
/// W = 2h/(1 + (r/R)^2), and moving the reference point along the axis adds a multiple of
/// 1/(1 + (r/R)^2): exact to first order in both for a paraboloid, whose points lie f + z from its
/// focus. Left out: the square of the move over f, below 1e-6 of the defocus.
#[derive(Clone, Debug)]
pub(crate) struct RadialPupil {
    /// The nodes inside, one stretch of the grid's.
    nodes: std::ops::Range<usize>,
    /// Extra points inside: the rims of openings and the ends, for the PV.
    points: Vec<usize>,
    /// Area weights, which add up to 1.
    weight: Vec<f64>,
    /// Wavefront for each nm of glass, at the nodes and at the extra points.
    wave: Vec<f64>,
    point_wave: Vec<f64>,
    /// Defocus of mean 0 and RMS 1.
    defocus: Vec<f64>,
    point_defocus: Vec<f64>,
    /// For the second start: a weight for each node whose sum with the wavefront is its defocus.
    inner_fit: Vec<f64>,
    /// Cosines and sines of 1 to 5 steps, step by step.
    cosines: Vec<f64>,
    sines: Vec<f64>,
    /// Weights times powers of the defocus, power by power.
    moments: Vec<f64>,
    wavenumber_per_nm: f64,
}

/// Space for the phases of one figure.
#[derive(Clone, Debug, Default)]
pub(crate) struct Scratch {
    wave: Vec<f64>,
    phase: Vec<f64>,
    real: Vec<f64>,
    imaginary: Vec<f64>,
    turned_real: Vec<f64>,
    turned_imaginary: Vec<f64>,
}

/// The light at each node of a pupil, as a complex number of absolute value 1.
#[derive(Clone, Debug)]
pub(super) struct Phasors {
    pub(super) re: Vec<f64>,
    pub(super) im: Vec<f64>,
}

impl Phasors {
    /// Their sum, each with its weight: real and imaginary.
    pub(super) fn sum(&self, weights: &[f64]) -> (f64, f64) {
        let (mut a, mut b) = (0.0, 0.0);
        for ((w, x), y) in weights.iter().zip(&self.re).zip(&self.im) {
            a += w * x;
            b += w * y;
        }
        (a, b)
    }

    /// The square of that sum's absolute value.
    pub(super) fn intensity(&self, weights: &[f64]) -> f64 {
        let (a, b) = self.sum(weights);
        a * a + b * b
    }
}

impl RadialPupil {
    /// The ring between two radii that are breaks of the grid.
    pub(crate) fn new(
        grid: &RadialGrid,
        inner_mm: f64,
        outer_mm: f64,
        radius_of_curvature_mm: f64,
        wavelength_nm: f64,
    ) -> Self {
        let slack = 1e-7 * outer_mm;
        let radii = &grid.radius_mm;
        let inside = |k: &usize| radii[*k] >= inner_mm - slack && radii[*k] <= outer_mm + slack;
        let first = (0..grid.nodes).find(inside).unwrap_or(0);
        let nodes = first..(0..grid.nodes).rfind(inside).map_or(first, |last| last + 1);
        let points: Vec<usize> = (grid.nodes..radii.len()).filter(inside).collect();
        let weight = &grid.weight_mm2[nodes.clone()];
        Self::of_nodes(
            grid,
            nodes,
            points,
            weight,
            (inner_mm, outer_mm),
            radius_of_curvature_mm,
            wavelength_nm,
        )
    }

    /// The ring between any two radii: a segment of the grid that an end cuts counts with the integral of the cubic
    /// through its four nodes, up to the end.
    ///
    /// Left out: what a figure does within a segment beyond its cubic; next to the rim segments are 1 to 5 mm long.
    pub(crate) fn between(
        grid: &RadialGrid,
        (inner_mm, outer_mm): (f64, f64),
        radius_of_curvature_mm: f64,
        wavelength_nm: f64,
    ) -> Self {
        let (nodes, weight) = grid.weights_between(inner_mm, outer_mm);
        let slack = 1e-7 * outer_mm;
        let inside =
            |k: &usize| grid.radius_mm[*k] >= inner_mm - slack && grid.radius_mm[*k] <= outer_mm + slack;
        let points = (grid.nodes..grid.radius_mm.len()).filter(inside).collect();
        Self::of_nodes(
            grid,
            nodes,
            points,
            &weight,
            (inner_mm, outer_mm),
            radius_of_curvature_mm,
            wavelength_nm,
        )
    }

    fn of_nodes(
        grid: &RadialGrid,
        nodes: std::ops::Range<usize>,
        points: Vec<usize>,
        weight_mm2: &[f64],
        (inner_mm, outer_mm): (f64, f64),
        radius_of_curvature_mm: f64,
        wavelength_nm: f64,
    ) -> Self {
        let radii = &grid.radius_mm;
        let total: f64 = weight_mm2.iter().sum();
        let weight: Vec<f64> = weight_mm2.iter().map(|w| w / total).collect();
        let share = |r: f64| 1.0 / (1.0 + (r / radius_of_curvature_mm).powi(2));
        let wave: Vec<f64> = radii[nodes.clone()].iter().map(|&r| 2.0 * share(r)).collect();
        let point_wave: Vec<f64> = points.iter().map(|&k| 2.0 * share(radii[k])).collect();
        // 1 - share is small; as a quotient it keeps its digits.
        let raw = |r: f64| (r / outer_mm).powi(2) * share(r);
        let mean = radii[nodes.clone()].iter().zip(&weight).map(|(&r, w)| w * raw(r)).sum::<f64>();
        let square =
            radii[nodes.clone()].iter().zip(&weight).map(|(&r, w)| w * (raw(r) - mean).powi(2)).sum::<f64>();
        let unit = |r: f64| (raw(r) - mean) / square.sqrt();
        let defocus: Vec<f64> = radii[nodes.clone()].iter().map(|&r| unit(r)).collect();
        let limit = (outer_mm.powi(2) - LEFT_OUT_AREA * (outer_mm.powi(2) - inner_mm.powi(2))).sqrt();
        let kept: Vec<f64> = radii[nodes.clone()]
            .iter()
            .zip(&weight)
            .map(|(&r, &w)| if r < limit { w } else { 0.0 })
            .collect();
        let phases: Vec<f64> = (1..=STEPS)
            .flat_map(|step| defocus.iter().map(move |t| f64::from(step) * STEP_RAD * t))
            .collect();
        let mut moments = weight.clone();
        for power in 1..MOMENTS {
            let start = (power - 1) * weight.len();
            let next: Vec<f64> = defocus.iter().zip(&moments[start..]).map(|(t, w)| t * w).collect();
            moments.extend(next);
        }
        Self {
            point_defocus: points.iter().map(|&k| unit(radii[k])).collect(),
            inner_fit: slope_weights(&kept, &defocus),
            cosines: phases.iter().map(|&phase| libm::cos(phase)).collect(),
            sines: phases.iter().map(|&phase| libm::sin(phase)).collect(),
            wavenumber_per_nm: 2.0 * PI / wavelength_nm,
            nodes,
            points,
            weight,
            wave,
            point_wave,
            defocus,
            moments,
        }
    }

    /// RMS and PV of the wavefront at the focus of least RMS, nm, of heights at the grid's points.
    pub(crate) fn rms_and_pv_nm(&self, height_nm: &[f64], scratch: &mut Scratch) -> (f64, f64) {
        let (piston, slope) = self.refocus(height_nm, scratch);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for &wave in &scratch.wave {
            low = if wave < low { wave } else { low };
            high = if wave > high { wave } else { high };
        }
        for ((&point, factor), defocus) in self.points.iter().zip(&self.point_wave).zip(&self.point_defocus) {
            let wave = factor * height_nm[point] - piston - slope * defocus;
            (low, high) = (low.min(wave), high.max(wave));
        }
        let square: f64 = self.weight.iter().zip(&scratch.wave).map(|(w, wave)| w * wave * wave).sum();
        (square.max(0.0).sqrt(), high - low)
    }

    /// All that is asked of one figure, given by its heights at the grid's points.
    pub(crate) fn quality(&self, height_nm: &[f64], scratch: &mut Scratch) -> RadialQuality {
        let (rms_nm, pv_nm) = self.rms_and_pv_nm(height_nm, scratch);
        let ((strehl, peak_defocus_rad), strehl_least_rms) = self.strehls(scratch);
        // Rounding may carry a perfect figure beyond 1.
        let (strehl, strehl_least_rms) = (strehl.min(1.0), strehl_least_rms.min(1.0));
        RadialQuality { strehl, peak_defocus_rad, strehl_least_rms, rms_nm, pv_nm }
    }

    /// The phase of a figure at a defocus from the focus of least RMS, at the pupil's nodes, radians.
    pub(crate) fn phase_rad(&self, height_nm: &[f64], defocus_rad: f64, scratch: &mut Scratch) -> Vec<f64> {
        self.refocus(height_nm, scratch);
        let wave = scratch.wave.iter().zip(&self.defocus);
        wave.map(|(wave, t)| self.wavenumber_per_nm * wave - defocus_rad * t).collect()
    }

    /// The phasors of a figure at a defocus from the focus of least RMS, at the pupil's nodes.
    pub(super) fn phasors(&self, height_nm: &[f64], defocus_rad: f64, scratch: &mut Scratch) -> Phasors {
        let phase = self.phase_rad(height_nm, defocus_rad, scratch);
        let (mut im, mut re) = (Vec::new(), Vec::new());
        sines_and_cosines(&phase, &mut im, &mut re);
        Phasors { re, im }
    }

    /// Radii and area weights of the pupil's nodes; the weights add up to 1.
    pub(crate) fn nodes_mm<'a>(&'a self, grid: &'a RadialGrid) -> (&'a [f64], &'a [f64]) {
        (&grid.radius_mm[self.nodes.clone()], &self.weight)
    }

    /// The best-fitting parabola of a figure and its level, to be taken off for display: height at the centre
    /// and gain for each mm^2 of r^2, nm.
    pub(crate) fn level_and_focus(&self, grid: &RadialGrid, height_nm: &[f64]) -> (f64, f64) {
        let square: Vec<f64> = grid.radius_mm[self.nodes.clone()].iter().map(|r| r * r).collect();
        let height_nm = &height_nm[self.nodes.clone()];
        let gain = dot(&slope_weights(&self.weight, &square), height_nm);
        (dot(&self.weight, height_nm) - gain * dot(&self.weight, &square), gain)
    }

    /// Leaves the wavefront at the focus of least RMS in the scratch space; its piston and defocus come back.
    fn refocus(&self, height_nm: &[f64], scratch: &mut Scratch) -> (f64, f64) {
        let heights = &height_nm[self.nodes.clone()];
        scratch.wave.clear();
        scratch.wave.extend(heights.iter().zip(&self.wave).map(|(h, factor)| h * factor));
        let count = self.weight.len();
        let piston = dot(&self.weight, &scratch.wave);
        let slope = dot(&self.moments[count..2 * count], &scratch.wave);
        for (wave, t) in scratch.wave.iter_mut().zip(&self.defocus) {
            *wave -= piston + slope * t;
        }
        (piston, slope)
    }

    /// The greatest Strehl ratio with its defocus, and that at the focus of least RMS, of the wavefront in the scratch
    /// space.
    fn strehls(&self, scratch: &mut Scratch) -> ((f64, f64), f64) {
        let wavenumber = self.wavenumber_per_nm;
        let second = wavenumber * dot(&self.inner_fit, &scratch.wave);
        let at_least_rms = self.start(0.0, scratch);
        let mut peak = self.climb(at_least_rms, scratch);
        if second.abs() > COVERED_STEPS * STEP_RAD {
            let at_second = self.start(second, scratch);
            let (value, defocus) = self.climb(at_second, scratch);
            if value > peak.0 {
                peak = (value, second + defocus);
            }
        }
        let rms_rad = wavenumber * self.rms_of(&scratch.wave);
        if rms_rad > LARGE_RAD {
            for defocus in self.maxima((REACH * rms_rad).min(FURTHEST_RAD), scratch) {
                let here = self.start(defocus, scratch);
                let (value, further) = self.summit(here, scratch);
                if value > peak.0 {
                    peak = (value, defocus + further);
                }
            }
        }
        if at_least_rms > peak.0 {
            peak = (at_least_rms, 0.0);
        }
        (peak, at_least_rms)
    }

    /// Where the Strehl ratio is greatest within `reach_rad` of the focus of least RMS, step by step: all maxima that
    /// come near the greatest, for a step away from its summit one may fall behind another.
    fn maxima(&self, reach_rad: f64, scratch: &mut Scratch) -> Vec<f64> {
        let steps = (reach_rad / STEP_RAD).ceil();
        let count = 2 * steps as usize + 1;
        let mut values = Vec::with_capacity(count);
        values.push(self.start(-steps * STEP_RAD, scratch));
        while values.len() < count {
            self.turn(1, scratch);
            let (real, imaginary) = (dot(&self.weight, &scratch.real), dot(&self.weight, &scratch.imaginary));
            values.push(real * real + imaginary * imaginary);
        }
        let greatest = values.iter().copied().fold(0.0, f64::max);
        let at = |k: usize| values.get(k).copied().unwrap_or(0.0);
        let is_maximum = |k: &usize| {
            at(*k) >= at(k.wrapping_sub(1)) && at(*k) >= at(k + 1) && at(*k) > NEAR_GREATEST * greatest
        };
        (0..count).filter(is_maximum).map(|k| (k as f64 - steps) * STEP_RAD).collect()
    }

    fn rms_of(&self, wave: &[f64]) -> f64 {
        self.weight.iter().zip(wave).map(|(w, v)| w * v * v).sum::<f64>().max(0.0).sqrt()
    }

    /// Fills the phasors at a defocus from that of least RMS, radians; its Strehl ratio comes back.
    fn start(&self, defocus_rad: f64, scratch: &mut Scratch) -> f64 {
        let wavenumber = self.wavenumber_per_nm;
        scratch.phase.clear();
        scratch.phase.extend(
            scratch.wave.iter().zip(&self.defocus).map(|(wave, t)| wavenumber * wave - defocus_rad * t),
        );
        sines_and_cosines(&scratch.phase, &mut scratch.imaginary, &mut scratch.real);
        let (real, imaginary) = (dot(&self.weight, &scratch.real), dot(&self.weight, &scratch.imaginary));
        real * real + imaginary * imaginary
    }

    /// The greatest Strehl ratio near the phasors in the scratch space, of which that at the start is known, and how
    /// far from the start it is, radians.
    fn climb(&self, at_start: f64, scratch: &mut Scratch) -> (f64, f64) {
        let count = self.weight.len();
        let (mut here, mut passed) = (at_start, 0.0);
        for _ in 0..=MOVES {
            let (mut best, mut best_step) = (here, 0_i32);
            for (step, place) in (1..=STEPS).zip((0..).step_by(count)) {
                let place = place..place + count;
                let cosines = &self.cosines[place.clone()];
                let sines = &self.sines[place];
                let [rc, rs, ic, is] =
                    four_sums(&self.weight, cosines, sines, &scratch.real, &scratch.imaginary);
                // e^(i phase) e^(-i step t), and with the step turned round.
                let onward = (rc + is).powi(2) + (ic - rs).powi(2);
                let backward = (rc - is).powi(2) + (ic + rs).powi(2);
                if onward > best {
                    (best, best_step) = (onward, step);
                }
                if backward > best {
                    (best, best_step) = (backward, -step);
                }
            }
            self.turn(best_step, scratch);
            passed += STEP_RAD * f64::from(best_step);
            here = best;
            if best_step.abs() < STEPS {
                break;
            }
        }
        let (value, further) = self.summit(here, scratch);
        (value, passed + further)
    }

    /// Turns the phasors by whole steps of defocus.
    fn turn(&self, step: i32, scratch: &mut Scratch) {
        if step == 0 {
            return;
        }
        let count = self.weight.len();
        let place = (step.unsigned_abs() as usize - 1) * count..step.unsigned_abs() as usize * count;
        let sign = f64::from(step.signum());
        scratch.turned_real.clear();
        scratch.turned_imaginary.clear();
        let tables = self.cosines[place.clone()].iter().zip(&self.sines[place]);
        for ((re, im), (cosine, sine)) in scratch.real.iter().zip(&scratch.imaginary).zip(tables) {
            scratch.turned_real.push(re * cosine + sign * im * sine);
            scratch.turned_imaginary.push(im * cosine - sign * re * sine);
        }
        std::mem::swap(&mut scratch.real, &mut scratch.turned_real);
        std::mem::swap(&mut scratch.imaginary, &mut scratch.turned_imaginary);
    }

    /// The greatest Strehl ratio within a step of the phasors and its defocus from theirs, by Newton's method on their
    /// moments.
    fn summit(&self, here: f64, scratch: &Scratch) -> (f64, f64) {
        let count = self.weight.len();
        let mut moments = [(0.0, 0.0); MOMENTS];
        for (moment, weights) in moments.iter_mut().zip(self.moments.chunks_exact(count)) {
            *moment = (dot(weights, &scratch.real), dot(weights, &scratch.imaginary));
        }
        let (mut best, mut defocus) = ((here, 0.0), 0.0);
        for _ in 0..4 {
            let [f, f1, f2] = amplitude(&moments, defocus);
            let value = f.0 * f.0 + f.1 * f.1;
            if value > best.0 {
                best = (value, defocus);
            }
            let slope = 2.0 * (f.0 * f1.0 + f.1 * f1.1);
            let bend = 2.0 * (f1.0 * f1.0 + f1.1 * f1.1 + f.0 * f2.0 + f.1 * f2.1);
            if bend >= 0.0 {
                break;
            }
            let next = (defocus - slope / bend).clamp(-STEP_RAD, STEP_RAD);
            if (next - defocus).abs() < 1e-7 {
                break;
            }
            defocus = next;
        }
        best
    }
}

/// The mean phasor at a small defocus, with its first two derivatives, from its moments.
fn amplitude(moments: &[(f64, f64); MOMENTS], defocus: f64) -> [(f64, f64); 3] {
    // d/dx of the sum of (-i x)^k M_k / k! is the same sum with M_(k+1) (-i): start k + 1, k + 2.
    let turned = |shift: usize| {
        let (mut re, mut im) = (0.0, 0.0);
        let mut factor = 1.0;
        for (k, &(a, b)) in moments[shift..].iter().enumerate() {
            let (x, y) = match (k + shift) % 4 {
                0 => (a, b),
                1 => (b, -a),
                2 => (-a, -b),
                _ => (-b, a),
            };
            re += factor * x;
            im += factor * y;
            factor *= defocus / (k + 1) as f64;
        }
        (re, im)
    };
    [turned(0), turned(1), turned(2)]
}

/// Weights whose sum with values is the slope of their least-squares line over `abscissa`.
fn slope_weights(weight: &[f64], abscissa: &[f64]) -> Vec<f64> {
    let total: f64 = weight.iter().sum();
    let mean = dot(weight, abscissa) / total;
    let square: f64 = weight.iter().zip(abscissa).map(|(w, t)| w * (t - mean).powi(2)).sum();
    weight.iter().zip(abscissa).map(|(w, t)| w * (t - mean) / square).collect()
}

#[expect(
    clippy::needless_range_loop,
    reason = "two lanes of four sums: the form that becomes vector instructions"
)]
/// Weighted sums of the products of real and imaginary parts with cosines and sines.
fn four_sums(weight: &[f64], cosines: &[f64], sines: &[f64], real: &[f64], imaginary: &[f64]) -> [f64; 4] {
    let mut sums = [[0.0_f64; 2]; 4];
    let count = weight.len();
    let (cosines, sines) = (&cosines[..count], &sines[..count]);
    let (real, imaginary) = (&real[..count], &imaginary[..count]);
    for pair in 0..count / 2 {
        for lane in 0..2 {
            let k = 2 * pair + lane;
            let (re, im) = (weight[k] * real[k], weight[k] * imaginary[k]);
            sums[0][lane] += re * cosines[k];
            sums[1][lane] += re * sines[k];
            sums[2][lane] += im * cosines[k];
            sums[3][lane] += im * sines[k];
        }
    }
    let mut totals = sums.map(|lanes| lanes[0] + lanes[1]);
    if count % 2 == 1 {
        let k = count - 1;
        let (re, im) = (weight[k] * real[k], weight[k] * imaginary[k]);
        let last = [re * cosines[k], re * sines[k], im * cosines[k], im * sines[k]];
        for (total, last) in totals.iter_mut().zip(last) {
            *total += last;
        }
    }
    totals
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_brightest_focus_of_a_large_error_is_found() {
        let grid = RadialGrid::new(159.0, &[35.0]);
        let pupil = RadialPupil::new(&grid, 35.0, 159.0, 3116.0, 550.0);
        for rim_nm in [500.0, 1000.0, 1500.0, 2000.0, -1500.0] {
            let height_nm: Vec<f64> = grid.radius_mm.iter().map(|r| rim_nm * (r / 159.0).powi(4)).collect();
            let mut scratch = Scratch::default();
            let found = pupil.quality(&height_nm, &mut scratch);
            // The obvious way: every focus within 12 radians, in steps of a hundredth.
            let scan = (-1200..=1200).map(|step| {
                let phase = pupil.phase_rad(&height_nm, 0.01 * f64::from(step), &mut scratch);
                let sum = |f: fn(f64) -> f64| -> f64 {
                    phase.iter().zip(&pupil.weight).map(|(p, w)| w * f(*p)).sum()
                };
                sum(f64::cos).powi(2) + sum(f64::sin).powi(2)
            });
            let brightest = scan.fold(0.0, f64::max);
            assert!((found.strehl - brightest).abs() < 1e-4, "{rim_nm}: {} for {brightest}", found.strehl);
        }
    }
}
