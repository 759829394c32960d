//! Contrast behind worn coatings: overlap areas of circles in closed form, symmetric limits, soft rims by columns.

mod common;

use std::f64::consts::PI;

use catoptric::numeric::gauss;
use catoptric::{
    Coating, CoatingPatch, CoatingRing, Field, FocalLengthMm, Focus, MtfOptions, Otf, Primary, Wavefront,
};
use common::{assert_close, bare};

const WAVELENGTH_NM: f64 = 550.0;
const RIM_MM: f64 = 50.0;
/// So slow that the cone's part, 1/(16 F^2), is 4e-7.
const FOCAL_MM: f64 = 40_000.0;

fn wavefront(coating: Coating) -> Wavefront {
    let primary = Primary::new(2.0 * RIM_MM, FocalLengthMm(FOCAL_MM)).coating(coating);
    bare(primary).wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM).expect("a wavefront")
}

/// The frequency at which both copies of the pupil lie so far apart on the mirror.
fn per_mm(apart_mm: f64) -> f64 {
    apart_mm / (WAVELENGTH_NM * 1e-6 * FOCAL_MM)
}

const APART_MM: [f64; 8] = [3.0, 11.0, 20.0, 35.0, 50.0, 66.0, 85.0, 97.0];

fn otf(wave: &Wavefront, azimuth_deg: f64) -> Otf {
    let frequency_per_mm = Some(APART_MM.map(per_mm).to_vec());
    wave.otf(azimuth_deg, &MtfOptions { frequency_per_mm, spectrum: None }).expect("a transfer function")
}

/// Overlap of two circles of radii a and b whose centres are d apart (closed form).
fn overlap_mm2(a: f64, b: f64, d: f64) -> f64 {
    if d >= a + b {
        return 0.0;
    }
    if d <= (a - b).abs() {
        return PI * a.min(b).powi(2);
    }
    let (ca, cb) = ((d * d + a * a - b * b) / (2.0 * d * a), (d * d + b * b - a * a) / (2.0 * d * b));
    let kite = 0.5 * ((-d + a + b) * (d + a - b) * (d - a + b) * (d + a + b)).sqrt();
    a * a * ca.acos() + b * b * cb.acos() - kite
}

/// The autocorrelation, over its value at 0, of discs that lie on each other: centre, radius, what each adds to the amplitude.
fn of_discs(discs: &[([f64; 2], f64, f64)], shift_mm: [f64; 2]) -> f64 {
    let at = |[sx, sy]: [f64; 2]| -> f64 {
        let pair = |(c, a, p): &([f64; 2], f64, f64), (d, b, q): &([f64; 2], f64, f64)| {
            p * q * overlap_mm2(*a, *b, (c[0] - d[0] - sx).hypot(c[1] - d[1] - sy))
        };
        discs.iter().flat_map(|one| discs.iter().map(move |other| pair(one, other))).sum()
    };
    at(shift_mm) / at([0.0; 2])
}

/// The transfer function at every azimuth of a table against discs.
fn held_against_discs(coating: Coating, discs: &[([f64; 2], f64, f64)], what: &str) {
    let wave = wavefront(coating);
    for azimuth_deg in [0.0_f64, 33.0, 90.0, 140.0] {
        let found = otf(&wave, azimuth_deg);
        let (sin, cos) = azimuth_deg.to_radians().sin_cos();
        for (k, apart_mm) in APART_MM.into_iter().enumerate() {
            let wanted = of_discs(discs, [apart_mm * cos, apart_mm * sin]);
            let error = (found.real[k] - wanted).abs();
            assert_close(found.real[k], wanted, 1e-5, &format!("{what}: overlap areas, {azimuth_deg}"));
            assert_close(found.imaginary[k], 0.0, 1e-6, &format!("{what}: a flat wave has no phase"));
            // The cone's own part is no error of the sum.
            assert!(error <= found.error_estimate + 1e-6, "{what}: {error:e} is more than stated");
        }
    }
}

#[test]
fn a_hard_patch_is_a_disc_on_a_disc() {
    let rim = ([0.0; 2], RIM_MM, 1.0);
    for (centre, radius_mm, reflectance) in [
        ([20.0, -12.0], 9.0, 0.4),
        ([-31.0, 0.0], 18.0, 0.01),
        ([3.0, 4.0], 22.0, 0.25),
        ([0.0, 0.0], 15.0, 0.1),
        ([0.0, 44.0], 5.0, 0.3),
    ] {
        let coating = Coating::new(1.0).patch(CoatingPatch::new(centre, radius_mm, reflectance));
        let discs = [rim, (centre, radius_mm, f64::sqrt(reflectance) - 1.0)];
        held_against_discs(coating, &discs, &format!("patch of {radius_mm} mm"));
    }
}

#[test]
fn two_patches_have_cross_terms() {
    let coating = Coating::new(1.0).patch(CoatingPatch::new([20.0, 5.0], 8.0, 0.3)).patch(CoatingPatch::new(
        [-15.0, -22.0],
        11.0,
        0.6,
    ));
    let discs = [
        ([0.0; 2], RIM_MM, 1.0),
        ([20.0, 5.0], 8.0, 0.3_f64.sqrt() - 1.0),
        ([-15.0, -22.0], 11.0, 0.6_f64.sqrt() - 1.0),
    ];
    held_against_discs(coating, &discs, "two patches");
}

#[test]
fn a_ring_is_two_discs() {
    let coating = Coating::new(0.81).ring(CoatingRing::new(30.0, 41.0, 0.36));
    // Amplitudes 0.9 outside of the ring and 0.6 in it.
    let discs = [([0.0; 2], RIM_MM, 0.9), ([0.0; 2], 41.0, -0.3), ([0.0; 2], 30.0, 0.3)];
    held_against_discs(coating, &discs, "ring");
    // A patch within the ring takes 0.9 to 0.5.
    let coating = Coating::new(0.81).ring(CoatingRing::new(30.0, 41.0, 0.36)).patch(CoatingPatch::new(
        [8.0, -14.0],
        10.0,
        0.25,
    ));
    let discs =
        [([0.0; 2], RIM_MM, 0.9), ([0.0; 2], 41.0, -0.3), ([0.0; 2], 30.0, 0.3), ([8.0, -14.0], 10.0, -0.4)];
    held_against_discs(coating, &discs, "ring and patch");
}

#[test]
fn turning_a_patch_turns_the_contrast() {
    for softness_mm in [0.0, 2.0] {
        let at = |degrees: f64| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            let patch = CoatingPatch::new([25.0 * cos, 25.0 * sin], 12.0, 0.2).softness_mm(softness_mm);
            wavefront(Coating::new(1.0).patch(patch))
        };
        let (one, turned) = (otf(&at(10.0), 0.0), otf(&at(77.0), 67.0));
        for k in 0..APART_MM.len() {
            assert_close(one.real[k], turned.real[k], 3e-6, "turned: the same contrast");
        }
        // A patch in the middle has none but round contrast.
        let middle = wavefront(
            Coating::new(1.0).patch(CoatingPatch::new([0.0; 2], 20.0, 0.2).softness_mm(softness_mm)),
        );
        let (a, b) = (otf(&middle, 0.0), otf(&middle, 41.0));
        for k in 0..APART_MM.len() {
            assert_close(a.real[k], b.real[k], 3e-6, "middle: round");
        }
    }
}

#[test]
fn a_patch_as_good_as_the_rest_is_none() {
    let (with, without) = (
        wavefront(Coating::new(0.8).patch(CoatingPatch::new([20.0, 9.0], 12.0, 0.8))),
        wavefront(Coating::new(0.8)),
    );
    let (a, b) = (otf(&with, 20.0), otf(&without, 20.0));
    for k in 0..APART_MM.len() {
        let stated = a.error_estimate + b.error_estimate;
        assert!(stated < 2e-5, "no patch: {stated:e}");
        assert_close(a.real[k], b.real[k], stated, "no patch: the clear aperture, to what both state");
    }
}

/// The autocorrelation of a clear disc with a soft patch by columns, both ends of each exact.
fn by_columns(patch: CoatingPatch, [sx, sy]: [f64; 2]) -> f64 {
    let amplitude = |x: f64, y: f64| {
        let share = patch.share((x - patch.x_mm).hypot(y - patch.y_mm));
        (1.0 + share * (patch.reflectance - 1.0)).sqrt()
    };
    let at = |apart_mm: f64, cos: f64, sin: f64| -> f64 {
        let half_mm = apart_mm / 2.0;
        let place = |u: f64, v: f64| [u * cos - v * sin, u * sin + v * cos];
        let top_mm = (RIM_MM * RIM_MM - half_mm * half_mm).sqrt();
        let row = |angle: f64| {
            let v = top_mm * angle.sin();
            let reach_mm = (RIM_MM * RIM_MM - v * v).sqrt() - half_mm;
            let along = gauss::on_interval(240, -reach_mm, reach_mm).map(|(u, weight)| {
                let ([a, b], [c, d]) = (place(u - half_mm, v), place(u + half_mm, v));
                weight * amplitude(a, b) * amplitude(c, d)
            });
            along.sum::<f64>() * top_mm * angle.cos()
        };
        gauss::on_interval(240, -PI / 2.0, PI / 2.0).map(|(angle, weight)| weight * row(angle)).sum()
    };
    let apart_mm = sx.hypot(sy);
    at(apart_mm, sx / apart_mm, sy / apart_mm) / at(0.0, 1.0, 0.0)
}

#[test]
fn a_soft_patch_agrees_with_columns() {
    for softness_mm in [1.5, 4.0] {
        let patch = CoatingPatch::new([18.0, -7.0], 14.0, 0.15).softness_mm(softness_mm);
        let wave = wavefront(Coating::new(1.0).patch(patch));
        for azimuth_deg in [0.0_f64, 70.0] {
            let found = otf(&wave, azimuth_deg);
            let (sin, cos) = azimuth_deg.to_radians().sin_cos();
            for (k, apart_mm) in APART_MM.into_iter().enumerate() {
                let wanted = by_columns(patch, [apart_mm * cos, apart_mm * sin]);
                assert_close(found.real[k], wanted, 1e-5, "columns: a soft patch");
            }
        }
    }
    // Ever less soft it becomes a hard one, in proportion.
    let off = |softness_mm: f64| {
        let patch = CoatingPatch::new([18.0, -7.0], 14.0, 0.15).softness_mm(softness_mm);
        let found = otf(&wavefront(Coating::new(1.0).patch(patch)), 0.0);
        let discs = [([0.0; 2], RIM_MM, 1.0), ([18.0, -7.0], 14.0, 0.15_f64.sqrt() - 1.0)];
        let each = APART_MM.into_iter().enumerate().map(|(k, apart)| {
            let wanted = of_discs(&discs, [apart, 0.0]);
            (found.real[k] - wanted).abs()
        });
        each.fold(0.0, f64::max)
    };
    let (soft, half) = (off(1.0), off(0.5));
    assert!(half < 0.6 * soft && half < 0.02, "{soft:e} {half:e}");
}
