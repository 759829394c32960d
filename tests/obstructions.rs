//! Vanes, clips and the holder: areas in closed form, shares that add up, stars against sums of their own.

mod common;

use std::f64::consts::{PI, TAU};

use approx::assert_abs_diff_eq;
use catoptric::numeric::gauss;
use catoptric::{
    Diagonal, Drawtube, Field, FocalLengthMm, FocalPlane, Focus, Holder, Light, MirrorClips, Opening, Part,
    Prepared, Primary, PsfSize, Spider, Train, TrainBuilder, TurnedEdge, Wavefront,
};

const RIM_MM: f64 = 159.0;
const SHADOW_MM: f64 = 35.0;

fn newtonian() -> TrainBuilder {
    Train::builder(Primary::new(2.0 * RIM_MM, FocalLengthMm(1558.0)))
        .diagonal(Diagonal::new(2.0 * SHADOW_MM).offset_mm(0.0))
        .focal_plane(FocalPlane::new(235.0))
}

fn prepared(parts: TrainBuilder) -> Prepared {
    Prepared::new(&parts.build().expect("a sound train"))
}

fn share(light: &Light, part: Part) -> f64 {
    light.stopped.iter().find(|s| s.part == part).map_or(0.0, |s| s.fraction)
}

/// The integral of sqrt(r^2 - t^2) over |t| < w: the area of a strip through a circle's centre is twice that.
fn half_strip_mm2(r: f64, w: f64) -> f64 {
    w * (r * r - w * w).sqrt() + r * r * (w / r).asin()
}

const CLEAR_MM2: f64 = PI * RIM_MM * RIM_MM;

#[test]
fn straight_vanes_take_their_area_between_shadow_and_rim() {
    for (vanes, thickness) in [(1, 12.0), (3, 0.8), (4, 1.0), (4, 6.0), (5, 2.0)] {
        let light =
            prepared(newtonian().spider(Spider::new(vanes, thickness).angle_deg(17.0))).light(Field::AXIS);
        let w = thickness / 2.0;
        // Closed form; the offset is 0, so that both circles have their centre on the axis.
        let area = f64::from(vanes) * (half_strip_mm2(RIM_MM, w) - half_strip_mm2(SHADOW_MM, w));
        assert_abs_diff_eq!(share(&light, Part::Spider), area / CLEAR_MM2, epsilon = 1e-12);
        let shadow = (SHADOW_MM / RIM_MM).powi(2);
        assert_abs_diff_eq!(light.lit_fraction, 1.0 - shadow - area / CLEAR_MM2, epsilon = 1e-12);
    }
}

#[test]
fn vanes_that_cross_on_a_bare_mirror_count_their_crossing_once() {
    let bare = Train::builder(Primary::new(2.0 * RIM_MM, FocalLengthMm(1558.0)));
    let light = prepared(bare.spider(Spider::new(4, 3.0).above_vertex_mm(1400.0))).light(Field::AXIS);
    // Two strips across the disc, and the square in which they cross.
    let area = 4.0 * half_strip_mm2(RIM_MM, 1.5) - 9.0;
    assert_abs_diff_eq!(share(&light, Part::Spider), area / CLEAR_MM2, epsilon = 1e-12);
}

#[test]
fn bent_vanes_take_their_length_times_their_thickness() {
    let (bend, thickness) = (230.0, 1.2);
    let light =
        prepared(newtonian().spider(Spider::new(3, thickness).bend_radius_mm(bend))).light(Field::AXIS);
    // A circle of radius r about the axis is met where the chord 2 B sin(s/2B) is r; rows beside the middle line by quadrature.
    let row = |t: f64, r: f64| {
        let b = bend - t;
        // |C| = B, radius b: r^2 = B^2 + b^2 - 2 B b cos(angle).
        let cos = (bend * bend + b * b - r * r) / (2.0 * bend * b);
        b * cos.acos()
    };
    let area: f64 = gauss::on_interval(8, -thickness / 2.0, thickness / 2.0)
        .map(|(t, weight)| 3.0 * weight * (row(t, RIM_MM) - row(t, SHADOW_MM)))
        .sum();
    assert_abs_diff_eq!(share(&light, Part::Spider), area / CLEAR_MM2, epsilon = 1e-11);
    // The other way round takes as much.
    let other =
        prepared(newtonian().spider(Spider::new(3, thickness).bend_radius_mm(-bend))).light(Field::AXIS);
    assert_abs_diff_eq!(share(&other, Part::Spider), area / CLEAR_MM2, epsilon = 1e-11);
}

#[test]
fn clips_take_the_rectangle_inside_the_rim() {
    let (width, reach) = (20.0, 6.0);
    let light = prepared(newtonian().mirror_clips(MirrorClips::new(3, width, reach))).light(Field::AXIS);
    let area = 3.0 * (half_strip_mm2(RIM_MM, width / 2.0) - width * (RIM_MM - reach));
    assert_abs_diff_eq!(share(&light, Part::MirrorClips), area / CLEAR_MM2, epsilon = 1e-12);
    // A vane over a clip takes its part first, and both together take no more.
    let both = newtonian()
        .mirror_clips(MirrorClips::new(3, width, reach))
        .spider(Spider::new(3, 4.0).angle_deg(0.0));
    let light = prepared(both).light(Field::AXIS);
    let covered = 3.0 * (half_strip_mm2(RIM_MM, 2.0) - 4.0 * (RIM_MM - reach));
    assert_abs_diff_eq!(share(&light, Part::MirrorClips), (area - covered) / CLEAR_MM2, epsilon = 1e-12);
}

#[test]
fn a_wide_holder_adds_the_crescent_that_the_diagonal_leaves() {
    let (holder, offset) = (72.0, 3.3);
    let parts =
        newtonian().diagonal(Diagonal::new(2.0 * SHADOW_MM).offset_mm(offset)).holder(Holder::new(holder));
    let light = prepared(parts).light(Field::AXIS);
    // Overlap of two circles, closed form.
    let (a, b, d) = (SHADOW_MM, holder / 2.0, offset);
    let (ca, cb) = ((d * d + a * a - b * b) / (2.0 * d * a), (d * d + b * b - a * a) / (2.0 * d * b));
    let kite = 0.5 * ((-d + a + b) * (d + a - b) * (d - a + b) * (d + a + b)).sqrt();
    let overlap = a * a * ca.acos() + b * b * cb.acos() - kite;
    assert_abs_diff_eq!(share(&light, Part::DiagonalShadow), a * a / (RIM_MM * RIM_MM), epsilon = 1e-10);
    assert_abs_diff_eq!(share(&light, Part::Holder), (PI * b * b - overlap) / CLEAR_MM2, epsilon = 1e-10);
    // One that lies behind the diagonal stops nothing.
    let hidden = prepared(newtonian().holder(Holder::new(60.0))).light(Field::AXIS);
    assert_abs_diff_eq!(share(&hidden, Part::Holder), 0.0, epsilon = 1e-12);
}

/// Trains in which everything stops something, at fields off the axis.
fn crowded() -> Vec<(Prepared, Field)> {
    let base = || {
        newtonian()
            .diagonal(Diagonal::new(66.0))
            .front_opening(Opening::new(322.0, 1650.0))
            .drawtube(Drawtube::new(40.0, 60.0, 18.0))
            .holder(Holder::new(69.0))
            .mirror_clips(MirrorClips::new(3, 24.0, 7.0).angle_deg(35.0))
    };
    let straight = base().spider(Spider::new(4, 2.5).angle_deg(35.0));
    let bent = base().spider(Spider::new(3, 2.0).bend_radius_mm(-240.0).above_vertex_mm(1500.0));
    [straight, bent]
        .into_iter()
        .flat_map(|parts| {
            let prepared = prepared(parts);
            [(0.0, 0.0), (18.0, -11.0), (-25.0, 4.0)].map(|(a, b)| (prepared.clone(), Field::arcmin(a, b)))
        })
        .collect()
}

#[test]
fn shares_and_light_add_up_and_agree_with_sampled_rays() {
    for (prepared, field) in crowded() {
        let light = prepared.light(field);
        let total = light.lit_fraction + light.stopped.iter().map(|s| s.fraction).sum::<f64>();
        assert_abs_diff_eq!(total, 1.0, epsilon = 1e-12);
        let rays = prepared.light_by_rays(field);
        assert_eq!(rays.stopped.len(), light.stopped.len());
        assert_abs_diff_eq!(light.lit_fraction, rays.lit_fraction, epsilon = 3e-4);
        for (exact, sampled) in light.stopped.iter().zip(&rays.stopped) {
            assert_eq!(exact.part, sampled.part);
            assert_abs_diff_eq!(exact.fraction, sampled.fraction, epsilon = 3e-4);
            assert!(exact.fraction > -1e-12, "{} takes {}", exact.part, exact.fraction);
        }
        assert!(light.error_estimate < 1e-9);
    }
}

/// The light of a pupil in its plane of image, summed the obvious way over a fine polar net of kept and dropped points.
fn obvious_image(prepared: &Prepared, wave: &Wavefront, places_um: &[[f64; 2]]) -> Vec<f64> {
    let field = wave.field();
    let [x0, y0] = {
        let [tx, ty] = field.tangents();
        [-1558.0 * tx + wave.reference_um()[0] / 1000.0, -1558.0 * ty + wave.reference_um()[1] / 1000.0]
    };
    let z0 = 1558.0 + wave.focus_shift_mm();
    let d = field.towards();
    let per_mm = TAU / (wave.wavelength_nm * 1e-6);
    let mut sums = vec![[0.0; 2]; places_um.len()];
    let mut light = 0.0;
    // Odd counts: no row of the net lies along a vane.
    let (rings, spokes) = (1201, 4801);
    for i in 0..rings {
        let r = RIM_MM * ((f64::from(i) + 0.5) / f64::from(rings)).sqrt();
        for j in 0..spokes {
            let (sin, cos) = (TAU * (f64::from(j) + 0.37 * f64::from(i % 7)) / f64::from(spokes)).sin_cos();
            let (x, y) = (r * cos, r * sin);
            if !prepared.passes(field, x, y) {
                continue;
            }
            let ray = prepared.ray(field, x, y);
            let [qx, qy, qz] = ray.hit_mm;
            light += ray.beam;
            for (sum, place) in sums.iter_mut().zip(places_um) {
                let (px, py) = (x0 + place[0] / 1000.0, y0 + place[1] / 1000.0);
                let up = ((px - qx).powi(2) + (py - qy).powi(2) + (z0 - qz).powi(2)).sqrt();
                let path = up - z0 - (d[0] * qx + d[1] * qy + d[2] * qz);
                let (s, c) = (per_mm * path).sin_cos();
                sum[0] += ray.beam * c;
                sum[1] += ray.beam * s;
            }
        }
    }
    sums.iter().map(|[c, s]| (c * c + s * s) / (light * light)).collect()
}

#[test]
fn star_images_behind_vanes_clips_and_holder_are_those_of_the_full_path_sum() {
    let figured = |parts: TrainBuilder| {
        let mut parts = parts;
        parts.primary = parts.primary.layer(TurnedEdge::new(9.0, 120.0));
        parts
    };
    let straight = newtonian()
        .diagonal(Diagonal::new(70.0))
        .holder(Holder::new(74.0))
        .spider(Spider::new(4, 3.0).angle_deg(20.0))
        .mirror_clips(MirrorClips::new(3, 24.0, 7.0).angle_deg(35.0));
    let bent = newtonian().diagonal(Diagonal::new(70.0)).spider(Spider::new(3, 4.0).bend_radius_mm(240.0));
    for (parts, field) in [(straight, Field::AXIS), (bent, Field::arcmin(8.0, -5.0))] {
        let prepared = prepared(figured(parts));
        let wave = prepared.wavefront(field, Focus::LeastRms, 550.0).expect("a wavefront");
        let star = wave.psf(PsfSize { half_width_um: Some(24.0), pixels: 25 }).expect("a star");
        let pixels: Vec<[usize; 2]> = vec![[12, 12], [12, 15], [7, 12], [4, 20], [24, 24], [12, 22], [20, 4]];
        let places: Vec<[f64; 2]> =
            pixels.iter().map(|&[i, j]| [star.along_um[j], star.across_um[i]]).collect();
        let wanted = obvious_image(&prepared, &wave, &places);
        for ([i, j], wanted) in pixels.into_iter().zip(wanted) {
            // The net of 5.8 million points is good to about 1e-5 of the peak.
            assert_abs_diff_eq!(star.image[[i, j]], wanted, epsilon = 3e-5);
        }
        assert!(star.error_estimate < 1e-6);
    }
}

#[test]
fn a_spike_is_dark_at_wavelength_over_thickness() {
    // Thick vanes, so that the first dark place lies within the picture.
    let (thickness, wavelength_nm) = (12.0, 550.0);
    let plain = prepared(newtonian());
    let vaned = prepared(newtonian().spider(Spider::new(4, thickness).angle_deg(0.0)));
    let spikes = vaned.spikes(Field::AXIS, wavelength_nm).unwrap().expect("there are vanes");
    // lambda f/thickness; Born & Wolf, chapter 8.
    assert_abs_diff_eq!(spikes.first_null_um, 0.55 * 1558.0 / 12.0, epsilon = 1e-9);
    let share = |p: &Prepared, part| share(&p.light(Field::AXIS), part);
    let lit = plain.light(Field::AXIS).lit_fraction;
    assert_abs_diff_eq!(spikes.blocked_share, share(&vaned, Part::Spider) / lit, epsilon = 1e-12);
    // In units of the star without vanes: the mean over a ring or two, on the spike and on the same stretch of the plain star.
    let size = PsfSize { half_width_um: Some(80.0), pixels: 321 };
    let image = |p: &Prepared| {
        let wave = p.wavefront(Field::AXIS, Focus::Paraxial, wavelength_nm).unwrap();
        let light = p.light(Field::AXIS).lit_fraction;
        wave.psf(size).unwrap().image * (light / lit).powi(2)
    };
    let (with, without) = (image(&vaned), image(&plain));
    let mean = |image: &ndarray::Array2<f64>, um: f64| {
        let middle = 160 + (um / (160.0 / 321.0)).round() as usize;
        (middle - 6..=middle + 6).map(|j| image[[160, j]]).sum::<f64>() / 13.0
    };
    let null = spikes.first_null_um;
    // The slit's own amplitude for each vane: v/4 sinc, and both vanes of a line add up.
    for (place, slit) in [(null, 0.0), (null / 2.0, std::f64::consts::FRAC_2_PI)] {
        let own = (spikes.blocked_share / 2.0 * slit).powi(2);
        let extra = mean(&with, place) - mean(&without, place);
        assert!((extra - own).abs() < 0.12 * (spikes.blocked_share / 2.0).powi(2), "{place}: {extra} {own}");
    }
}

#[test]
fn a_holder_that_hides_the_whole_mask_leaves_no_light() {
    for mask_mm in [80.0, 100.0] {
        let primary = Primary::new(200.0, FocalLengthMm(1200.0)).mask_diameter_mm(mask_mm);
        let train = Train::builder(primary)
            .diagonal(Diagonal::new(45.0))
            .focal_plane(FocalPlane::new(170.0))
            .holder(Holder::new(100.0));
        for focus in [Focus::Paraxial, Focus::LeastSpot, Focus::LeastRms, Focus::Peak] {
            let error = prepared(train.clone()).wavefront(Field::AXIS, focus, 550.0).unwrap_err();
            assert!(matches!(error, catoptric::Error::NoLight { .. }), "{mask_mm} {focus:?}: {error}");
        }
    }
}

#[test]
fn vanes_leave_the_square_of_the_rest_in_the_pattern() {
    // Babinet: of the light that would pass without vanes (1 - v)^2 stays in the pattern, and 1 - v passes. Within the first
    // two rings the vanes' own pattern, spread over some hundred rings, holds next to nothing.
    let within = |parts: TrainBuilder| {
        let wave = prepared(parts).wavefront(Field::AXIS, Focus::Paraxial, 550.0).unwrap();
        wave.encircled_energy(&[6.0]).unwrap()[0]
    };
    let plain = within(newtonian());
    for thickness in [1.0, 2.0] {
        let vaned = newtonian().spider(Spider::new(4, thickness));
        let spikes = prepared(vaned.clone()).spikes(Field::AXIS, 550.0).unwrap().expect("there are vanes");
        let passes = 1.0 - spikes.blocked_share;
        let found = passes * within(vaned) / plain;
        assert_abs_diff_eq!(found, spikes.left_in_pattern, epsilon = 0.02 * spikes.blocked_share);
        assert_abs_diff_eq!(
            spikes.left_in_pattern + spikes.scattered_share + spikes.blocked_share,
            1.0,
            epsilon = 1e-12
        );
    }
}
