//! The brightest focus of one round figure behind many masks at once.
//!
//! All pupils share their inner end and their figure; each reaches as far as its mask. So the phase of a node is turned
//! to a focus once for all of them, and sums that run outward serve each mask as they pass its rim. The transfer from
//! focus to focus is smooth: between steps of defocus the sums of one mask are interpolated, and their summit found
//! there.

use std::f64::consts::PI;

use multiversion::multiversion;

use super::radial_grid::RadialGrid;
use crate::numeric::phase::sine_and_cosine;

/// One step of defocus, as the RMS of its phase over the widest pupil of a band, radians.
const STEP_RAD: f64 = 0.3;
/// Pupils whose units of defocus differ by less than this factor share their steps.
const BAND: f64 = 1.5;
/// Steps of one block lie on both sides of its middle, half a step from it and on.
const PAIRS: usize = 8;
const BLOCK: usize = 2 * PAIRS;
/// How far around a start is looked, as the RMS of its phase, radians.
const AROUND_RAD: f64 = 1.5;
/// How often the look may move on, by so many steps, when the brightest focus is the last one looked at.
const MOVES: usize = 6;
const MOVE_STEPS: i64 = 5;
/// An RMS that breaks the light up into many maxima has them within so many times itself, for spherical aberration has
/// foci out to sqrt(15) of it; further out than the last, radians, the nodes no longer follow the phase.
const REACH: f64 = 4.5;
const FURTHEST_RAD: f64 = 12.0;
/// Half a step from its summit a maximum still has this share of it.
const NEAR_GREATEST: f64 = 0.85;
/// Share of the area next to the rim that the second start leaves out.
const LEFT_OUT_AREA: f64 = 0.15;
/// Points of the interpolation between steps, the first of them so many steps before the place: good to 2e-8 of the
/// amplitude, for no node of a pupil turns by more than sqrt(3) x 0.3 a step.
const POINTS: usize = 12;
const BEFORE: i64 = 5;

/// The brightest focus behind one mask.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct NestedPeak {
    pub(crate) strehl: f64,
    /// Where it lies, mm from the focus to which the heights refer; positive further from the primary.
    pub(crate) focus_mm: f64,
}

/// Rings of one mirror that share their inner radius.
#[derive(Clone, Debug)]
pub(crate) struct NestedPupils {
    /// The nodes inside the widest, one stretch of the grid's.
    nodes: std::ops::Range<usize>,
    weight: Vec<f64>,
    /// Phase for each nm of glass, radians.
    phase_per_nm: Vec<f64>,
    /// Defocus of mean 0 and RMS 1 over the widest pupil.
    defocus: Vec<f64>,
    /// Pupil by pupil, as given.
    pupils: Vec<Pupil>,
    bands: Vec<Band>,
    /// Place along the axis for a unit of defocus, mm.
    focus_mm: f64,
    /// Point by point what its value adds to the coefficients of powers of the step.
    powers: [[f64; POINTS]; POINTS],
}

#[derive(Clone, Copy, Debug)]
struct Pupil {
    /// Nodes inside, and those that the second start keeps.
    end: usize,
    kept: usize,
    area: f64,
    /// Mean and RMS of the defocus about it, over the pupil; its mean and its variance over the kept nodes.
    mean: f64,
    rms: f64,
    kept_mean: f64,
    kept_square: f64,
}

impl Pupil {
    /// The defocus of least RMS, that of the part away from the rim, and the RMS at the first, radians.
    fn starts(&self, scratch: &NestedScratch) -> (f64, f64, f64) {
        let [sum, by_defocus, square] = scratch.running[self.end];
        let slope = (by_defocus - self.mean * sum) / (self.area * self.rms * self.rms);
        let variance = square / self.area - (sum / self.area).powi(2) - (slope * self.rms).powi(2);
        let [sum, by_defocus, _] = scratch.running[self.kept];
        let inner = (by_defocus - self.kept_mean * sum) / self.kept_square;
        (slope, inner, variance.max(0.0).sqrt())
    }
}

/// Pupils that share steps of defocus.
#[derive(Clone, Debug)]
struct Band {
    /// From the narrowest to the widest, with the nodes inside each.
    members: Vec<usize>,
    ends: Vec<usize>,
    /// One step, in units of the defocus.
    step: f64,
    /// Defocus of each node from the mean of the widest: a common turn of all phasors would be a fast wave from step to
    /// step.
    defocus: Vec<f64>,
    /// Cosines and sines of half a step, one and a half, ..., node by node.
    cosines: Vec<[f64; PAIRS]>,
    sines: Vec<[f64; PAIRS]>,
}

/// Space for the sums of one figure.
#[derive(Clone, Debug, Default)]
pub(crate) struct NestedScratch {
    phase: Vec<f64>,
    /// Running sums of weight times phase, times phase and defocus, times phase squared: one more than the nodes.
    running: Vec<[f64; 3]>,
    blocks: Vec<Block>,
    free: Vec<Vec<[[f64; 2]; BLOCK]>>,
}

/// Sums of a stretch of steps: member by member, step by step, real and imaginary.
#[derive(Clone, Debug)]
struct Block {
    number: i64,
    sums: Vec<[[f64; 2]; BLOCK]>,
}

impl NestedPupils {
    /// The rings from `inner_mm` to each of some radii; all are breaks of the grid.
    pub(crate) fn new(
        grid: &RadialGrid,
        inner_mm: f64,
        outer_mm: &[f64],
        radius_of_curvature_mm: f64,
        wavelength_nm: f64,
    ) -> Self {
        let widest_mm = outer_mm.iter().copied().fold(0.0, f64::max);
        let slack = 1e-7 * widest_mm;
        let radii = &grid.radius_mm[..grid.nodes];
        let first = radii.partition_point(|r| *r < inner_mm - slack);
        let nodes = first..radii.partition_point(|r| *r <= widest_mm + slack);
        let radii = &radii[nodes.clone()];
        let weight = grid.weight_mm2[nodes.clone()].to_vec();
        let share = |r: f64| 1.0 / (1.0 + (r / radius_of_curvature_mm).powi(2));
        let raw: Vec<f64> = radii.iter().map(|&r| (r / widest_mm).powi(2) * share(r)).collect();
        let moments = |end: usize, values: &[f64]| {
            let area: f64 = weight[..end].iter().sum();
            let mean = weight[..end].iter().zip(values).map(|(w, t)| w * t).sum::<f64>() / area;
            let square: f64 = weight[..end].iter().zip(values).map(|(w, t)| w * (t - mean).powi(2)).sum();
            (area, mean, square)
        };
        let (area, mean, square) = moments(radii.len(), &raw);
        let unit = (square / area).sqrt();
        let defocus: Vec<f64> = raw.iter().map(|t| (t - mean) / unit).collect();
        let pupil = |outer: &f64| {
            let end = radii.partition_point(|r| *r <= outer + slack);
            let limit = (outer.powi(2) - LEFT_OUT_AREA * (outer.powi(2) - inner_mm.powi(2))).sqrt();
            let kept = radii.partition_point(|r| *r < limit).max(2);
            let (area, mean, square) = moments(end, &defocus);
            let (_, kept_mean, kept_square) = moments(kept, &defocus);
            Pupil { end, kept, area, mean, rms: (square / area).sqrt(), kept_mean, kept_square }
        };
        let pupils: Vec<Pupil> = outer_mm.iter().map(pupil).collect();
        let wavenumber = 2.0 * PI / wavelength_nm;
        // A move dz adds 2 dz (r/R)^2/(1 + (r/R)^2) to the wavefront, and the phase is turned by less the defocus.
        let per_mm = 2e6 * wavenumber * (widest_mm / radius_of_curvature_mm).powi(2) * unit;
        Self {
            bands: bands(&pupils, &defocus),
            phase_per_nm: radii.iter().map(|&r| 2.0 * share(r) * wavenumber).collect(),
            nodes,
            weight,
            defocus,
            pupils,
            focus_mm: -1.0 / per_mm,
            powers: powers(),
        }
    }

    /// The brightest focus of each pupil for a figure given by its heights at the grid's points, nm.
    pub(crate) fn peaks(&self, height_nm: &[f64], scratch: &mut NestedScratch, peaks: &mut Vec<NestedPeak>) {
        let heights = &height_nm[self.nodes.clone()];
        scratch.phase.clear();
        scratch.phase.extend(heights.iter().zip(&self.phase_per_nm).map(|(h, factor)| h * factor));
        let mut sums = [0.0; 3];
        scratch.running.clear();
        scratch.running.push(sums);
        for ((phase, w), t) in scratch.phase.iter().zip(&self.weight).zip(&self.defocus) {
            let weighted = w * phase;
            sums = [sums[0] + weighted, sums[1] + weighted * t, sums[2] + weighted * phase];
            scratch.running.push(sums);
        }
        peaks.clear();
        peaks.resize(self.pupils.len(), NestedPeak::default());
        for band in &self.bands {
            scratch.free.extend(scratch.blocks.drain(..).map(|block| block.sums));
            let widest = band.members.last().map_or(0, |member| *member);
            let origin = self.pupils[widest].starts(scratch).0;
            for (place, &member) in band.members.iter().enumerate() {
                peaks[member] = self.peak(band, place, origin, scratch);
            }
        }
    }

    /// The brightest focus of one member of a band.
    fn peak(&self, band: &Band, place: usize, origin: f64, scratch: &mut NestedScratch) -> NestedPeak {
        let pupil = &self.pupils[band.members[place]];
        let (least, inner, rms) = pupil.starts(scratch);
        let steps = |defocus: f64| (defocus - origin) / band.step + STEP_OFFSET;
        // A large RMS breaks the light up into several maxima.
        let around = (REACH * rms).clamp(AROUND_RAD, FURTHEST_RAD) / (pupil.rms * band.step);
        let (mut low, mut high) = (steps(least) - around, steps(least) + around);
        let around = AROUND_RAD / (pupil.rms * band.step);
        (low, high) = (low.min(steps(inner) - around), high.max(steps(inner) + around));
        let (mut low, mut high) = (low.floor() as i64, high.ceil() as i64);
        let intensity = |step: i64, scratch: &mut NestedScratch| {
            let [re, im] = self.sum(band, place, origin, step, scratch);
            re * re + im * im
        };
        let mut values: Vec<f64> = (low..=high).map(|step| intensity(step, scratch)).collect();
        for _ in 0..MOVES {
            let best = (0..values.len()).fold(0, |best, k| if values[k] > values[best] { k } else { best });
            if best == 0 {
                let more: Vec<f64> = (low - MOVE_STEPS..low).map(|step| intensity(step, scratch)).collect();
                values.splice(0..0, more);
                low -= MOVE_STEPS;
            } else if best == values.len() - 1 {
                values.extend((high + 1..=high + MOVE_STEPS).map(|step| intensity(step, scratch)));
                high += MOVE_STEPS;
            } else {
                break;
            }
        }
        let greatest = values.iter().copied().fold(0.0, f64::max);
        let at = |k: usize| values.get(k).copied().unwrap_or(0.0);
        let mut best = (0.0, 0.0);
        for k in 0..values.len() {
            let is_maximum = at(k) >= at(k.wrapping_sub(1)) && at(k) >= at(k + 1);
            if is_maximum && at(k) > NEAR_GREATEST * greatest {
                let step = low + k as i64;
                let (value, further) = self.summit(band, place, origin, step, scratch);
                if value > best.0 {
                    best = (value, step as f64 + further);
                }
            }
        }
        NestedPeak {
            // Rounding may carry a perfect figure beyond 1.
            strehl: (best.0 / (pupil.area * pupil.area)).min(1.0),
            focus_mm: (origin + (best.1 - STEP_OFFSET) * band.step) * self.focus_mm,
        }
    }

    /// The greatest intensity within a step of one of the steps, and how far from it, by Newton's method on the
    /// interpolated sums.
    fn summit(
        &self,
        band: &Band,
        place: usize,
        origin: f64,
        step: i64,
        scratch: &mut NestedScratch,
    ) -> (f64, f64) {
        let mut sums = [[0.0; 2]; POINTS];
        for (sum, k) in sums.iter_mut().zip(0_i64..) {
            *sum = self.sum(band, place, origin, step - BEFORE + k, scratch);
        }
        let coefficient = self.coefficients(&sums);
        let (mut best, mut x) = ((0.0, 0.0), 0.0);
        for _ in 0..6 {
            let [f, f1, f2] = value_and_slopes(&coefficient, x);
            let value = f[0] * f[0] + f[1] * f[1];
            if value > best.0 {
                best = (value, x);
            }
            let slope = 2.0 * (f[0] * f1[0] + f[1] * f1[1]);
            let bend = 2.0 * (f1[0] * f1[0] + f1[1] * f1[1] + f[0] * f2[0] + f[1] * f2[1]);
            if bend >= 0.0 {
                break;
            }
            let next = (x - slope / bend).clamp(-1.0, 1.0);
            if (next - x).abs() < 1e-7 {
                break;
            }
            x = next;
        }
        best
    }

    /// Coefficients of powers of the step, from the sums at the points.
    fn coefficients(&self, sums: &[[f64; 2]; POINTS]) -> [[f64; 2]; POINTS] {
        let [mut re, mut im] = [[0.0; POINTS]; 2];
        for (powers, sum) in self.powers.iter().zip(sums) {
            for k in 0..POINTS {
                re[k] += powers[k] * sum[0];
                im[k] += powers[k] * sum[1];
            }
        }
        std::array::from_fn(|k| [re[k], im[k]])
    }

    /// The sum of a member's phasors at one step.
    fn sum(
        &self,
        band: &Band,
        place: usize,
        origin: f64,
        step: i64,
        scratch: &mut NestedScratch,
    ) -> [f64; 2] {
        let number = step.div_euclid(BLOCK as i64);
        let within = step.rem_euclid(BLOCK as i64) as usize;
        let known = scratch.blocks.iter().position(|block| block.number == number);
        let block = known.unwrap_or_else(|| {
            let mut sums = scratch.free.pop().unwrap_or_default();
            let middle = origin + (number * BLOCK as i64) as f64 * band.step;
            let turned = Turned { weight: &self.weight, phase: &scratch.phase, middle };
            running_sums(&turned, band, &mut sums);
            scratch.blocks.push(Block { number, sums });
            scratch.blocks.len() - 1
        });
        scratch.blocks[block].sums[place][within]
    }
}

/// The steps of block 0 lie about its middle: the first of them this many steps before it.
const STEP_OFFSET: f64 = PAIRS as f64 - 0.5;

/// A figure's phases turned to the middle of a block.
struct Turned<'a> {
    weight: &'a [f64],
    phase: &'a [f64],
    middle: f64,
}

/// Sums of the phasors from the inner end outward, as they stand at each of the rising ends: for each step of a block.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
fn running_sums(turned: &Turned<'_>, band: &Band, sums: &mut Vec<[[f64; 2]; BLOCK]>) {
    let Turned { weight, phase, middle } = turned;
    let defocus = &band.defocus;
    let mut lanes = [[0.0_f64; PAIRS]; 4];
    let mut from = 0;
    sums.clear();
    for &end in &band.ends {
        for n in from..end {
            let (sine, cosine) = sine_and_cosine(phase[n] - middle * defocus[n]);
            let (re, im) = (weight[n] * cosine, weight[n] * sine);
            let (cosines, sines) = (&band.cosines[n], &band.sines[n]);
            for q in 0..PAIRS {
                lanes[0][q] += re * cosines[q];
                lanes[1][q] += re * sines[q];
                lanes[2][q] += im * cosines[q];
                lanes[3][q] += im * sines[q];
            }
        }
        // e^(i phase) e^(-i step t), and with the step turned round.
        let mut row = [[0.0; 2]; BLOCK];
        for q in 0..PAIRS {
            let [rc, rs, ic, is] = [lanes[0][q], lanes[1][q], lanes[2][q], lanes[3][q]];
            row[PAIRS + q] = [rc + is, ic - rs];
            row[PAIRS - 1 - q] = [rc - is, ic + rs];
        }
        sums.push(row);
        from = end;
    }
}

/// Pupils from the widest unit of defocus down, in bands.
fn bands(pupils: &[Pupil], defocus: &[f64]) -> Vec<Band> {
    let mut order: Vec<usize> = (0..pupils.len()).collect();
    order.sort_by(|&a, &b| pupils[b].end.cmp(&pupils[a].end).then(a.cmp(&b)));
    let mut bands = Vec::new();
    let mut rest = &order[..];
    while let Some(&widest) = rest.first() {
        let unit = pupils[widest].rms;
        let count = rest.iter().take_while(|k| pupils[**k].rms * BAND > unit).count().max(1);
        let (own, others) = rest.split_at(count);
        let step = STEP_RAD / unit;
        let nodes: Vec<f64> = defocus[..pupils[widest].end].iter().map(|t| t - pupils[widest].mean).collect();
        let table = |of: fn(f64) -> f64| {
            let row = |t: &f64| std::array::from_fn(|q| of((q as f64 + 0.5) * step * t));
            nodes.iter().map(row).collect::<Vec<[f64; PAIRS]>>()
        };
        bands.push(Band {
            members: own.iter().rev().copied().collect(),
            ends: own.iter().rev().map(|member| pupils[*member].end).collect(),
            step,
            cosines: table(libm::cos),
            sines: table(libm::sin),
            defocus: nodes,
        });
        rest = others;
    }
    bands
}

/// A polynomial of complex coefficients with its first two derivatives.
fn value_and_slopes(coefficient: &[[f64; 2]; POINTS], x: f64) -> [[f64; 2]; 3] {
    let mut found = [[0.0; 2]; 3];
    for c in coefficient.iter().rev() {
        for i in 0..2 {
            found[2][i] = found[2][i] * x + 2.0 * found[1][i];
            found[1][i] = found[1][i] * x + found[0][i];
            found[0][i] = found[0][i] * x + c[i];
        }
    }
    found
}

/// Lagrange's polynomials of the points, multiplied out: the coefficients of each.
fn powers() -> [[f64; POINTS]; POINTS] {
    let place = |k: usize| k as f64 - BEFORE as f64;
    let mut rows = [[0.0; POINTS]; POINTS];
    for own in 0..POINTS {
        let mut polynomial = [0.0; POINTS];
        polynomial[0] = 1.0;
        for other in (0..POINTS).filter(|k| *k != own) {
            let width = place(own) - place(other);
            for power in (0..POINTS).rev() {
                let lower = if power > 0 { polynomial[power - 1] } else { 0.0 };
                polynomial[power] = (lower - place(other) * polynomial[power]) / width;
            }
        }
        rows[own] = polynomial;
    }
    rows
}

#[cfg(test)]
mod tests;
