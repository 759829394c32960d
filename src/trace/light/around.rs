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

/// Light at even azimuths of each circle, circle by circle. Where the train is alike on both sides of the focuser's
/// plane, one side is told from the other; in the middle all azimuths are one.
pub(super) fn lights_around(prepared: &Prepared, radius_mm: &[f64], count: usize) -> Vec<Light> {
    let (is_mirrored, turns): (bool, Vec<f64>) = (is_mirrored(prepared), azimuths(count).collect());
    // Which of the azimuths that are looked at stands for one.
    let told_from = |radius: f64, i: usize| match radius {
        0.0 => 0,
        _ if is_mirrored && 2 * i > count => count - i,
        _ => i,
    };
    let looked_at = |radius: f64| (0..count).filter(move |&i| told_from(radius, i) == i);
    let points: Vec<[f64; 2]> = radius_mm
        .iter()
        .flat_map(|&radius| looked_at(radius).map(move |i| (radius, i)))
        .map(|(radius, i)| on_circle(radius, turns[i]))
        .collect();
    let known = prepared.lights_at(&points);
    let (mut lights, mut rest) = (Vec::with_capacity(radius_mm.len() * count), &known[..]);
    for &radius in radius_mm {
        let (of_circle, others) = rest.split_at(looked_at(radius).count());
        lights.extend((0..count).map(|i| of_circle[told_from(radius, i)].clone()));
        rest = others;
    }
    lights
}

/// Whether a train is alike on both sides of the plane of the tube and the focuser, y to -y.
pub(crate) fn is_mirrored(prepared: &Prepared) -> bool {
    let train = prepared.train();
    // Half a turn over the number of spokes brings them onto themselves, and so does their mirror image.
    let spokes = |angle_deg: f64, count: u32| {
        let steps = 2.0 * angle_deg * f64::from(count) / 360.0;
        (steps - steps.round()).abs() < 1e-13
    };
    let is_in_place = train
        .diagonal()
        .and_then(|d| d.misplaced)
        .is_none_or(|m| m.across_mm == 0.0 && m.roll_arcmin == 0.0 && m.turn_arcmin == 0.0);
    prepared.detail().is_none()
        && is_in_place
        && train.spider().is_none_or(|s| s.bend_radius_mm.is_none() && spokes(s.angle_deg, s.vanes))
        && train.mirror_clips().is_none_or(|c| spokes(c.angle_deg, c.clips))
        && train.sensor_mask().is_none_or(|m| m.rotation_deg % 90.0 == 0.0)
}

/// The extremes of each circle, from the light at even azimuths on it and a search between their neighbours.
pub(super) fn extremes(prepared: &Prepared, circles: &[(f64, &[Light])]) -> Vec<Extremes> {
    let is_mirrored = is_mirrored(prepared);
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
        let n = looks.len();
        if is_mirrored && (i == 0 || 2 * i == n) {
            // In the plane of symmetry the light is level: it falls to both sides, or rises to both.
            let falls = |share: f64| value(place + share * step) <= look;
            if falls(0.125) && falls(0.5) {
                return (place.to_degrees(), sign * look);
            }
        }
        let known =
            [(place - step, looks[(i + n - 1) % n]), (place, look), (place + step, looks[(i + 1) % n])];
        let (found, top) = roots::maximum_between(value, known, PLACE_RAD);
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
