//! Light on a circle about the middle of the field: its mean, and the darkest and the brightest place.

use std::f64::consts::TAU;

use super::super::prepared::Prepared;
use super::Light;
use crate::error::{Error, Result};
use crate::numeric::{pool, roots};

/// Azimuths at which a circle is looked at before its darkest and brightest places are sought between them.
pub(super) const AZIMUTHS: usize = 24;
/// The places are found to this, rad: where the light has a kink there, their values are good to the slope times this.
const PLACE_RAD: f64 = 1e-5;

/// The two extremes of a circle.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extremes {
    /// Azimuth, degrees from +along toward +across, and lit fraction.
    pub(super) worst: (f64, f64),
    pub(super) best: (f64, f64),
    /// What the two fractions are good to: the steepest change between looks over the accuracy of the place.
    pub(super) error: f64,
}

/// Even azimuths, rad, from +along toward +across.
pub(super) fn azimuths(count: usize) -> impl Iterator<Item = f64> {
    (0..count).map(move |i| TAU * i as f64 / count as f64)
}

pub(super) fn on_circle(radius_mm: f64, azimuth: f64) -> [f64; 2] {
    let (sin, cos) = azimuth.sin_cos();
    [radius_mm * cos, radius_mm * sin]
}

/// The extremes of each circle, from the light at even azimuths on it and a search between their neighbours.
pub(super) fn extremes(prepared: &Prepared, circles: &[(f64, &[Light])]) -> Vec<Extremes> {
    let sought = pool::map_ordered(2 * circles.len(), true, |k| {
        let ((radius_mm, lights), sign) = (circles[k / 2], if k % 2 == 0 { -1.0 } else { 1.0 });
        let looks: Vec<f64> = lights.iter().map(|l| sign * l.lit_fraction).collect();
        let step = TAU / looks.len() as f64;
        // The first of equals, so that a flat circle is not searched at random.
        let (i, look) = (0..looks.len())
            .map(|i| (i, looks[i]))
            .fold((0, f64::NEG_INFINITY), |top, next| if next.1 > top.1 { next } else { top });
        let place = step * i as f64;
        if looks.iter().all(|l| (l - look).abs() <= 1e-12) {
            return (place.to_degrees(), sign * look);
        }
        let value = |azimuth: f64| {
            let [along, across] = on_circle(radius_mm, azimuth);
            sign * prepared.light(prepared.field_of_image(along, across)).lit_fraction
        };
        let (found, top) = roots::maximum(value, place - step, place + step, PLACE_RAD);
        // A symmetric train has its extremes on a look.
        let (place, top) = if top > look + 1e-12 { (found, top) } else { (place, look) };
        (place.rem_euclid(TAU).to_degrees(), sign * top)
    });
    let pairs = circles.iter().zip(sought.chunks(2));
    pairs
        .map(|((_, lights), pair)| {
            let n = lights.len();
            let change = |i: usize| (lights[i].lit_fraction - lights[(i + 1) % n].lit_fraction).abs();
            let steepest = (0..n).map(change).fold(0.0, f64::max) * n as f64 / TAU;
            Extremes { worst: pair[0], best: pair[1], error: steepest * PLACE_RAD }
        })
        .collect()
}

/// The mean over even azimuths, and its difference from that over every other one.
pub(super) fn mean(lights: &[Light]) -> (f64, f64) {
    let over = |step: usize| {
        let chosen = lights.iter().step_by(step);
        chosen.map(|l| l.lit_fraction).sum::<f64>() / lights.len().div_ceil(step) as f64
    };
    (over(1), (over(1) - over(2)).abs())
}

/// Refuses a radius that cannot be one in the image.
pub(super) fn check_radius(name: String, radius_mm: f64, focal_mm: f64) -> Result<()> {
    if (0.0..=focal_mm).contains(&radius_mm) {
        return Ok(());
    }
    Err(Error::input(name, radius_mm, "a radius from 0 to the focal length", "a sign, or micrometres?"))
}
