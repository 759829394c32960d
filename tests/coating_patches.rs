//! Patches of the coating: areas in closed form, stars against Bessel functions, soft rims against a quadrature of
//! their own.

use std::f64::consts::PI;

use approx::assert_abs_diff_eq;
use catoptric::numeric::gauss;
use catoptric::{
    Coating, CoatingPatch, CoatingRing, Diagonal, Error, Field, FocalLengthMm, FocalPlane, Focus, Prepared,
    Primary, PsfSize, Spider, Train, TrainBuilder, TurnedEdge, Wavefront,
};

const RIM_MM: f64 = 100.0;

fn mirror(coating: Coating) -> TrainBuilder {
    Train::builder(Primary::new(2.0 * RIM_MM, FocalLengthMm(1200.0)).coating(coating))
}

fn wavefront(parts: TrainBuilder) -> Wavefront {
    let train = parts.build().expect("a sound train");
    Prepared::new(&train).wavefront(Field::AXIS, Focus::Paraxial, 550.0).expect("a wavefront")
}

/// (sum A)^2/(sum 1 sum A^2) where a share p of the light returns the power r and the rest all.
fn factor(p: f64, r: f64) -> f64 {
    (1.0 - p + p * r.sqrt()).powi(2) / (1.0 - p + p * r)
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

#[test]
fn a_hard_patch_counts_with_its_lit_area() {
    // Inside, across the rim, over the centre, far too large.
    for (centre, radius) in
        [([30.0, -20.0], 20.0), ([85.0, 30.0], 25.0), ([3.0, 4.0], 30.0), ([60.0, 0.0], 100.0)]
    {
        let patch = CoatingPatch::new(centre, radius, 0.4);
        let wave = wavefront(mirror(Coating::new(1.0).patch(patch)));
        let p = overlap_mm2(RIM_MM, radius, centre[0].hypot(centre[1])) / (PI * RIM_MM * RIM_MM);
        assert_abs_diff_eq!(wave.amplitude_factor, factor(p, 0.4), epsilon = 1e-10);
        // The wavefront of a perfect mirror does not see it.
        assert!(wave.rms_nm < 1e-3 && (wave.strehl - 1.0).abs() < 1e-9);
    }
}

#[test]
fn a_patch_half_in_the_diagonal_s_shadow_counts_with_the_rest() {
    let patch = CoatingPatch::new([0.0, 26.0], 18.0, 0.3);
    let parts = mirror(Coating::new(1.0).patch(patch))
        .diagonal(Diagonal::new(50.0).offset_mm(0.0))
        .focal_plane(FocalPlane::new(150.0));
    let lit = PI * (RIM_MM * RIM_MM - 25.0 * 25.0);
    let p = (PI * 18.0 * 18.0 - overlap_mm2(25.0, 18.0, 26.0)) / lit;
    assert_abs_diff_eq!(wavefront(parts).amplitude_factor, factor(p, 0.3), epsilon = 1e-9);
}

#[test]
fn patches_replace_what_lies_under_them() {
    // A patch on a patch on a ring: areas of discs and of the ring.
    let coating = Coating::new(1.0)
        .ring(CoatingRing::new(80.0, 90.0, 0.6))
        .patch(CoatingPatch::new([40.0, 0.0], 20.0, 0.5))
        .patch(CoatingPatch::new([40.0, 0.0], 8.0, 0.9));
    let wave = wavefront(mirror(coating));
    let areas = [(90.0 * 90.0 - 80.0 * 80.0, 0.6), (400.0 - 64.0, 0.5), (64.0, 0.9)];
    let rest = 1e4 - areas.iter().map(|(a, _)| a).sum::<f64>();
    let amplitude: f64 = rest + areas.iter().map(|(a, r): &(f64, f64)| a * r.sqrt()).sum::<f64>();
    let energy: f64 = rest + areas.iter().map(|(a, r)| a * r).sum::<f64>();
    assert_abs_diff_eq!(wave.amplitude_factor, amplitude * amplitude / (1e4 * energy), epsilon = 1e-10);
}

#[test]
fn a_soft_patch_is_that_of_its_own_integral() {
    for softness in [0.5, 3.0] {
        let patch = CoatingPatch::new([-30.0, 35.0], 20.0, 0.42).softness_mm(softness);
        let wave = wavefront(mirror(Coating::new(0.85).patch(patch)));
        // About the patch's own centre; it ends well inside the rim. Many short panels, apart from the library's own.
        let far = 20.0 + 7.0 * softness;
        let (mut amplitude, mut energy) = (0.0, 0.0);
        for i in 0..200 {
            let ends = [i, i + 1].map(|k| far * f64::from(k) / 200.0);
            for (d, weight) in gauss::on_interval(6, ends[0], ends[1]) {
                let share = 1.0 / (1.0 + ((d - 20.0) / softness).exp());
                let r: f64 = 0.85 + share * (0.42 - 0.85);
                amplitude += 2.0 * PI * d * weight * (r.sqrt() - 0.85_f64.sqrt());
                energy += 2.0 * PI * d * weight * (r - 0.85);
            }
        }
        let area = PI * RIM_MM * RIM_MM;
        let (amplitude, energy) = (area * 0.85_f64.sqrt() + amplitude, area * 0.85 + energy);
        // exp(-7) of the rim's fall is left out here, on a tenth of the area: 2e-5 of it; softness times that.
        let left_out = 2e-6 * softness;
        assert_abs_diff_eq!(
            wave.amplitude_factor,
            amplitude * amplitude / (area * energy),
            epsilon = left_out
        );
    }
}

/// 2 J1(x)/x.
fn jinc(x: f64) -> f64 {
    if x.abs() < 1e-6 { 1.0 } else { 2.0 * libm::j1(x) / x }
}

#[test]
fn the_star_of_a_patched_mirror_is_a_sum_of_bessel_functions() {
    // A slow mirror, on which the textbook's coordinate X/f is good to 1e-6 of the peak.
    let (focal, centre, radius) = (40_000.0, [35.0, -28.0], 24.0);
    let coating = Coating::new(1.0).patch(CoatingPatch::new(centre, radius, 0.25));
    let train =
        Train::builder(Primary::new(2.0 * RIM_MM, FocalLengthMm(focal)).coating(coating)).build().unwrap();
    let wave = Prepared::new(&train).wavefront(Field::AXIS, Focus::Paraxial, 550.0).unwrap();
    let unit_um = 0.55 * focal / (2.0 * RIM_MM);
    let star = wave.psf(PsfSize { half_width_um: Some(10.0 * unit_um), pixels: 21 }).unwrap();
    let per_mm = 2.0 * PI / (550e-6 * focal);
    let p = (radius / RIM_MM).powi(2);
    for ((i, j), found) in star.image.indexed_iter() {
        let (x, y) = (star.along_um[j] / 1000.0, star.across_um[i] / 1000.0);
        let rho = per_mm * x.hypot(y);
        // The image's x runs against the mirror's phase: a node at X adds exp(+i k X x/f).
        let phase = per_mm * (centre[0] * x + centre[1] * y);
        let own = -0.5 * p * jinc(rho * radius);
        let (re, im) = (jinc(rho * RIM_MM) + own * phase.cos(), own * phase.sin());
        let wanted = (re * re + im * im) / (1.0 - 0.5 * p).powi(2);
        assert_abs_diff_eq!(*found, wanted, epsilon = 1e-6);
    }
}

#[test]
fn vanes_over_a_patch_take_what_the_patch_returns() {
    // The patch lies wholly under a thick vane's path: the vane takes dim light there.
    let patch = CoatingPatch::new([60.0, 0.0], 15.0, 0.25);
    let parts = mirror(Coating::new(1.0).patch(patch))
        .diagonal(Diagonal::new(50.0).offset_mm(0.0))
        .focal_plane(FocalPlane::new(150.0))
        .spider(Spider::new(2, 4.0).angle_deg(0.0));
    let wave = wavefront(parts);
    let strip = |r: f64| 2.0 * ((r * r - 4.0_f64).sqrt() * 2.0 + r * r * (2.0 / r).asin());
    let lit = PI * (RIM_MM * RIM_MM - 25.0 * 25.0) - (strip(RIM_MM) - strip(25.0));
    let dim = PI * 225.0 - strip(15.0);
    assert_abs_diff_eq!(wave.amplitude_factor, factor(dim / lit, 0.25), epsilon = 1e-9);
}

#[test]
fn a_figure_with_breaks_under_a_patch_keeps_the_promised_accuracy() {
    let patch = CoatingPatch::new([70.0, 30.0], 30.0, 0.5).softness_mm(2.0);
    let mut parts = mirror(Coating::new(0.9).patch(patch));
    parts.primary = parts.primary.layer(TurnedEdge::new(12.0, 150.0));
    let wave = wavefront(parts);
    assert!(wave.error_estimate < 1e-6, "{}", wave.error_estimate);
    let star = wave.psf(PsfSize::default()).unwrap();
    assert!(star.error_estimate < 1e-6, "{}", star.error_estimate);
}

#[test]
fn patches_that_cannot_be_are_refused_by_name() {
    let refused = |patch: CoatingPatch| match mirror(Coating::new(1.0).patch(patch)).build().unwrap_err() {
        Error::Input(problems) => problems[0].field.clone(),
        other => panic!("{other}"),
    };
    assert_eq!(refused(CoatingPatch::new([120.0, 0.0], 5.0, 0.5)), "primary.coating.patches[0].x_mm");
    assert_eq!(refused(CoatingPatch::new([0.0, 0.0], -5.0, 0.5)), "primary.coating.patches[0].radius_mm");
    assert_eq!(refused(CoatingPatch::new([0.0, 0.0], 5.0, 50.0)), "primary.coating.patches[0].reflectance");
    let soft = CoatingPatch::new([0.0, 0.0], 5.0, 0.5).softness_mm(9.0);
    assert_eq!(refused(soft), "primary.coating.patches[0].softness_mm");
}
