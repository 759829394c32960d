//! The light of one point of the mirror behind a grating, by diffraction.
//!
//! A grating of period p turns the field in the mirror's image into copies, one an order, each shifted by
//! n lambda L/p, where L is the distance from mirror to grating:
//!
//! ```text
//! U'(x) = sum over n of c_n exp(-2 pi i n phase) U(x + n lambda L/p),   c_n = sin(n pi/2)/(n pi)
//! ```
//!
//! A point of the source at s off its middle adds the phase -2 pi n s/p, so the sum over a source of width w is closed: two
//! orders n and m interfere with the contrast sin(pi k w/p)/(pi k w/p), k = n - m.
//!
//! Source: Ronchi 1964, Forty years of history of a grating interferometer, Appl. Opt. 3, 437 (from memory, sheared copies);
//! derived anew.

use std::f64::consts::{PI, TAU};

use super::bench_picture::lit_stretches;
use super::bench_ray::Bench;
use super::opening::MaskOpening;
use crate::numeric::gauss;
use crate::units::NM_PER_MM;

/// A grating of bars as wide as their gaps, and the source that shines on the mirror.
#[derive(Clone, Debug)]
pub(super) struct Grating {
    pub(super) bench: Bench,
    pub(super) openings: Vec<MaskOpening>,
    pub(super) period_mm: f64,
    /// How far the middle of a gap lies to the right of the axis, periods.
    pub(super) phase: f64,
    /// Middle and width of the source in its plane, mm.
    pub(super) source_mm: f64,
    pub(super) source_width_mm: f64,
    pub(super) wavelengths_nm: Vec<f64>,
}

impl Grating {
    /// The share of order n in the amplitude behind the grating.
    fn share(order: i64) -> f64 {
        match order {
            0 => 0.5,
            n if n % 2 == 0 => 0.0,
            n => (n as f64 * PI / 2.0).sin() / (n as f64 * PI),
        }
    }

    fn shear_mm(&self, wavelength_nm: f64) -> f64 {
        wavelength_nm / NM_PER_MM * self.bench.knife_height_mm() / self.period_mm
    }

    /// The farthest order that a copy of the mirror brings into the picture.
    pub(super) fn farthest_order(&self, reach_mm: f64) -> i64 {
        let shortest = self.wavelengths_nm.iter().copied().fold(f64::INFINITY, f64::min);
        ((reach_mm + self.bench.mirror().open_radius_mm()) / self.shear_mm(shortest)).floor() as i64
    }

    /// Brightness along a row at the given places; 1 is the mirror without the grating.
    pub(super) fn row(&self, y_mm: f64, x_mm: &[f64]) -> Vec<f64> {
        let stretches = lit_stretches(&self.openings, y_mm);
        let contrasts = self.contrasts(x_mm);
        let mean = |x: &f64| {
            let of = |w: &f64| self.brightness(*w, *x, y_mm, &stretches, &contrasts);
            self.wavelengths_nm.iter().map(of).sum::<f64>() / self.wavelengths_nm.len() as f64
        };
        x_mm.iter().map(mean).collect()
    }

    /// How well two orders interfere, by their distance.
    fn contrasts(&self, x_mm: &[f64]) -> Vec<f64> {
        let reach = x_mm.iter().map(|x| x.abs()).fold(0.0, f64::max);
        let width = self.source_width_mm * self.bench.magnification() / self.period_mm;
        (0..=2 * self.farthest_order(reach) + 1)
            .map(|k| {
                let half_turns = PI * k as f64 * width;
                let contrast = if k == 0 { 1.0 } else { half_turns.sin() / half_turns };
                // A source of half a period: every second distance has none, up to rounding.
                if contrast.abs() < 1e-14 { 0.0 } else { contrast }
            })
            .collect()
    }

    fn brightness(&self, wavelength_nm: f64, x: f64, y: f64, lit: &[(f64, f64)], contrasts: &[f64]) -> f64 {
        let waves = self.orders(wavelength_nm, x, y, lit);
        let mut sum = 0.0;
        for (i, (n, re, im)) in waves.iter().enumerate() {
            sum += re * re + im * im;
            for (m, other_re, other_im) in &waves[..i] {
                let contrast = contrasts[(n - m) as usize];
                if contrast != 0.0 {
                    sum += 2.0 * contrast * (re * other_re + im * other_im);
                }
            }
        }
        sum
    }

    /// The orders that bring light to a place, ascending, with real and imaginary part of each, for the source's middle.
    fn orders(&self, wavelength_nm: f64, x_mm: f64, y_mm: f64, lit: &[(f64, f64)]) -> Vec<(i64, f64, f64)> {
        let shear = self.shear_mm(wavelength_nm);
        let turn = self.phase + self.source_mm * self.bench.magnification() / self.period_mm;
        let mut waves = Vec::new();
        for &(from, to) in lit {
            let first = ((from - x_mm) / shear).ceil() as i64;
            let last = ((to - x_mm) / shear).floor() as i64;
            for n in (first..=last).filter(|n| Self::share(*n) != 0.0) {
                let hit = self.bench.mirror().surface(x_mm + n as f64 * shear, y_mm).position_mm;
                let path = self.bench.outward_nm(hit, 0.0) + self.bench.homeward_nm(hit, 0.0);
                let (sin, cos) = (TAU * (path / wavelength_nm - n as f64 * turn)).sin_cos();
                waves.push((n, Self::share(n) * cos, Self::share(n) * sin));
            }
        }
        waves
    }

    /// The brightness at one place by adding up points of the source, each with its own exact path: the slow twin that
    /// the error estimate is made from.
    pub(super) fn slow_brightness(&self, x_mm: f64, y_mm: f64) -> f64 {
        let lit = lit_stretches(&self.openings, y_mm);
        let periods = self.source_width_mm / self.period_mm;
        let orders = 2.0 * self.farthest_order(x_mm.abs()) as f64 + 1.0;
        let range = TAU * periods * orders;
        let count = (range / 2.0 + 4.0 * range.cbrt() + 6.0).ceil() as usize;
        let half = self.source_width_mm / 2.0;
        let of_a_point = |s: f64, wavelength_nm: f64| {
            let (mut re, mut im) = (0.0, 0.0);
            for (n, ..) in self.orders(wavelength_nm, x_mm, y_mm, &lit) {
                let at = x_mm + n as f64 * self.shear_mm(wavelength_nm);
                let hit = self.bench.mirror().surface(at, y_mm).position_mm;
                let path = self.bench.outward_nm(hit, s) + self.bench.homeward_nm(hit, 0.0);
                let (sin, cos) = (TAU * (path / wavelength_nm - n as f64 * self.phase)).sin_cos();
                re += Self::share(n) * cos;
                im += Self::share(n) * sin;
            }
            re * re + im * im
        };
        let whole = |wavelength_nm: &f64| {
            gauss::on_interval(count, self.source_mm - half, self.source_mm + half)
                .map(|(s, weight)| weight / self.source_width_mm * of_a_point(s, *wavelength_nm))
                .sum::<f64>()
        };
        self.wavelengths_nm.iter().map(whole).sum::<f64>() / self.wavelengths_nm.len() as f64
    }

    /// The share of the source's light that rays bring through the gaps from a point of the mirror.
    pub(super) fn ray_share(&self, x_mm: f64, y_mm: f64) -> f64 {
        let magnification = self.bench.magnification();
        let middle = self.bench.landing_mm(x_mm, y_mm) - self.source_mm * magnification;
        let half = self.source_width_mm * magnification / 2.0;
        let open_up_to = |at_mm: f64| open_length(at_mm / self.period_mm - self.phase);
        (open_up_to(middle + half) - open_up_to(middle - half)) * self.period_mm / (2.0 * half)
    }
}

/// Length of the gaps from 0 to a place, both in periods; a gap lies about each whole number.
fn open_length(place: f64) -> f64 {
    let whole = (place + 0.25).floor();
    0.5 * whole + (place + 0.25 - whole).min(0.5)
}
