//! The coating as physics: what only dims against what is a hollow as well, soft rims, maps, colours.

mod common;

use std::f64::consts::{PI, TAU};

use catoptric::numeric::gauss;
use catoptric::{
    AxisDirection, Coating, CoatingPatch, CoatingRing, Diagonal, Field, FocalPlane, Focus, Joined, MetalFilm,
    MtfOptions, Overcoat, Prepared, PsfSize, RadialProfile, ReflectanceMap, RingProfile, Spectrum,
    ThicknessMap, ThinPatch, ThinRing, Train, TurnedEdge,
};
use common::coated::{RIM_MM, aluminium, metal, net, prepared, primary, wave};
use ndarray::Array2;

fn logistic(beyond: f64) -> f64 {
    1.0 / (1.0 + beyond.exp())
}

#[test]
fn what_only_dims_moves_no_wave() {
    // mean(A)^2/mean(A^2) of a soft ring by a quadrature of its own.
    let (inner, outer, softness, dim) = (50.0, 70.0, 2.0, 0.4);
    let share = |r: f64| logistic((r - outer) / softness) * logistic((inner - r) / softness);
    let power = |r: f64| 0.9 + share(r) * (dim - 0.9);
    let sums = |f: &dyn Fn(f64) -> f64| -> f64 {
        let panels = (0..200).map(|k| (0.5 * f64::from(k), 0.5 * f64::from(k + 1)));
        panels.flat_map(|(a, b)| gauss::on_interval(8, a, b)).map(|(r, w)| w * r * f(r)).sum()
    };
    let mean = |f: &dyn Fn(f64) -> f64| sums(f) / (RIM_MM * RIM_MM / 2.0);
    // Weights are the beam's, which on a paraboloid on the axis is the plain area.
    let factor = mean(&|r| power(r).sqrt()).powi(2) / mean(&power);
    let soft = wave(Coating::new(0.9).ring(CoatingRing::new(inner, outer, dim).softness_mm(softness)), 550.0);
    assert!((soft.amplitude_factor - factor).abs() < 1e-9, "{} {factor}", soft.amplitude_factor);
    let patch = CoatingPatch::new([30.0, -20.0], 25.0, 0.5).softness_mm(3.0);
    let map = ReflectanceMap::new(
        net(2.0, |x, y| 0.9 - 0.4 * logistic(((x - 30.0).hypot(y + 20.0) - 25.0) / 3.0)),
        2.0,
        AxisDirection::PlusY,
        AxisDirection::PlusX,
    );
    let bare = wave(Coating::new(1.0), 550.0);
    let of_patch = wave(Coating::new(0.9).patch(patch), 550.0);
    let of_map = wave(Coating::of_map(map), 550.0);
    for dimmed in [&soft, &of_patch, &of_map] {
        assert!((dimmed.rms_nm - bare.rms_nm).abs() < 1e-6, "{}", dimmed.rms_nm);
        assert!((dimmed.strehl - 1.0).abs() < 1e-9, "{}", dimmed.strehl);
        assert!(dimmed.amplitude_factor < 0.999);
    }
    // Two ways of writing down the same wear.
    assert!((of_patch.amplitude_factor - of_map.amplitude_factor).abs() < 1e-5);
    // What is lost in pinholes is lost everywhere.
    let holes = wave(Coating::new(0.9).patch(patch).pinhole_share(0.1), 550.0);
    assert!((holes.amplitude_factor - of_patch.amplitude_factor).abs() < 1e-14);
    let light = |coating| prepared(primary(coating)).reflectance(0.0, 0.0);
    assert!((light(Coating::new(0.9).pinhole_share(0.1)) - 0.81).abs() < 1e-15);
}

#[test]
fn an_even_coat_changes_no_star_but_its_focus() {
    // f/6. The light's path over the film at the rim's angle less that in the centre, nm, mean of both polarisations,
    // for 450, 550 and 700 nm: bare, and under 175 nm of 1.46. tmm 0.2 (S. Byrnes), with the published model's index.
    let paths_nm = [
        (5.0, [[-0.00858, -0.00860, -0.00867], [-0.11509, -0.17321, -0.15215]]),
        (40.0, [[-0.06936, -0.06936, -0.06937], [-0.19145, -0.23055, -0.19340]]),
        (100.0, [[-0.17340, -0.17340, -0.17340], [-0.29553, -0.33458, -0.29744]]),
    ];
    let sine2 = |r: f64| (r / 2400.0).powi(2) / (1.0 + (r / 2400.0).powi(2));
    for (thickness_nm, both) in paths_nm {
        let plain = aluminium(thickness_nm);
        for (film, by_colour) in [plain, plain.overcoat(Overcoat::new(1.46, 175.0))].into_iter().zip(both) {
            for (wavelength_nm, path_nm) in [450.0, 550.0, 700.0].into_iter().zip(by_colour) {
                let telescope = prepared(primary(Coating::default().metal(metal(film))));
                let seen =
                    |focus| telescope.wavefront(Field::AXIS, focus, wavelength_nm).expect("a wavefront");
                let (wave, best) = (seen(Focus::Paraxial), seen(Focus::LeastRms));
                // Heights are counted from the film's in the centre, as if the mirror stood there: by the rim, that
                // far along the normal is a path shorter by the cosine. Both grow as r^2, a change of focus, of which
                // the RMS is the rim's value over sqrt(12) (closed form; the next power, r^4, and the film's own
                // dimming are 1e-3 of it).
                let centre_nm = film.response(wavelength_nm, 0.0).expect("a film").height_nm();
                let rim_nm = path_nm + 2.0 * centre_nm * (1.0 - (1.0 - sine2(RIM_MM)).sqrt());
                let rms_nm = rim_nm.abs() / 12.0_f64.sqrt();
                assert!(
                    (wave.rms_nm - rms_nm).abs() < 1e-3 * rms_nm + 1e-5,
                    "{film:?}: {} {rms_nm}",
                    wave.rms_nm
                );
                assert!(best.rms_nm < 1e-3 && best.strehl > 1.0 - 1e-9, "{film:?}: {} nm", best.rms_nm);
                // An overcoat over next to no metal returns some 1e-3 more or less at the rim.
                assert!(wave.amplitude_factor > 1.0 - 1e-7);
            }
        }
    }
}

/// Height and reflectance of a film at the angle of a radius, seen through the film's own door.
fn response(film: MetalFilm, wavelength_nm: f64, r_mm: f64) -> (f64, f64) {
    let found = film.response(wavelength_nm, (r_mm / 2400.0).atan().to_degrees()).expect("a film");
    (found.reflectance(), found.height_nm())
}

/// |sum A e^(2 pi i W/lambda)|^2/(sum A)^2 and (sum A)^2/(sum 1 sum A^2) for a round mirror whose reflectance and
/// height along the normal are known, by Gauss on many panels: W = 2 h cos i.
fn round_truth(of: impl Fn(f64) -> (f64, f64), wavelength_nm: f64, cuts: &[f64]) -> [f64; 2] {
    let (mut re, mut im, mut amplitude, mut energy) = (0.0, 0.0, 0.0, 0.0);
    let mut ends = vec![0.0];
    ends.extend_from_slice(cuts);
    ends.push(RIM_MM);
    for pair in ends.windows(2) {
        for k in 0..60 {
            let at = |k: i32| pair[0] + (pair[1] - pair[0]) * f64::from(k) / 60.0;
            for (r, w) in gauss::on_interval(8, at(k), at(k + 1)) {
                let (power, height_nm) = of(r);
                let cosine = (1.0 + (r / 2400.0).powi(2)).sqrt().recip();
                let (light, phase) = (w * r * power.sqrt(), TAU / wavelength_nm * 2.0 * height_nm * cosine);
                re += light * phase.cos();
                im += light * phase.sin();
                amplitude += light;
                energy += w * r * power;
            }
        }
    }
    let squared = amplitude * amplitude;
    [(re * re + im * im) / squared, squared / (RIM_MM * RIM_MM / 2.0 * energy)]
}

#[test]
fn thin_rings_are_their_own_integral() {
    // A hard and a soft ring, at colours of very different phase.
    for softness_mm in [0.0, 1.5] {
        for (base_nm, thin_nm) in [(100.0, 40.0), (90.0, 8.0), (60.0, 0.0)] {
            for wavelength_nm in [450.0, 550.0, 700.0] {
                let ring = ThinRing::new(60.0, 85.0, thin_nm).softness_mm(softness_mm);
                let seen =
                    wave(Coating::default().metal(metal(aluminium(base_nm)).ring(ring)), wavelength_nm);
                let thickness = |r: f64| base_nm + ring.share(r) * (thin_nm - base_nm);
                // Counted from the even film in the centre.
                let datum_nm = response(aluminium(base_nm), wavelength_nm, 0.0).1;
                let of = |r: f64| {
                    let (power, height_nm) = response(aluminium(thickness(r)), wavelength_nm, r);
                    (power, height_nm - datum_nm)
                };
                let [strehl, factor] = round_truth(of, wavelength_nm, &[60.0, 85.0]);
                let found = (seen.strehl, seen.amplitude_factor);
                assert!(
                    (found.0 - strehl).abs() < 1e-8,
                    "{softness_mm} {thin_nm} {wavelength_nm}: {found:?} {strehl}"
                );
                assert!(
                    (found.1 - factor).abs() < 1e-8,
                    "{softness_mm} {thin_nm} {wavelength_nm}: {found:?} {factor}"
                );
                assert!(found.0 < 0.95, "it is a hollow");
            }
        }
    }
}

#[test]
fn a_thin_ring_is_haze_and_a_hollow() {
    // Thin metal from 100 to 40 nm between 60 and 85 mm, and a train that says the same in words of haze and glass.
    for wavelength_nm in [450.0, 550.0] {
        let ring = ThinRing::new(60.0, 85.0, 40.0);
        let thin = wave(Coating::default().metal(metal(aluminium(100.0)).ring(ring)), wavelength_nm);
        let (base, worn) =
            (response(aluminium(100.0), wavelength_nm, 0.0), response(aluminium(40.0), wavelength_nm, 0.0));
        let hollow_nm = worn.1 - base.1;
        assert!((hollow_nm + 60.0).abs() < 0.2, "{hollow_nm}");
        // A height along z is longer than one along the normal by the cosine, here that of 72 mm; steps 1e-4 mm wide.
        let along_z = hollow_nm * (1.0 + (72.5_f64 / 2400.0).powi(2)).sqrt();
        let step = 1e-4;
        let profile = RadialProfile::new(
            vec![0.0, 60.0 - step, 60.0, 85.0 - step, 85.0, 100.0],
            vec![0.0, 0.0, along_z, along_z, 0.0, 0.0],
        )
        .joined(Joined::StraightInArea);
        let haze = Coating::new(base.0).ring(CoatingRing::new(60.0, 85.0, worn.0));
        let told = prepared(primary(haze).layer(profile));
        let told = told.wavefront(Field::AXIS, Focus::Paraxial, wavelength_nm).expect("a wavefront");
        // What is left: the angle's own 0.02 nm, and the steps' area of 4e-6.
        assert!((thin.strehl - told.strehl).abs() < 1e-4, "{} {}", thin.strehl, told.strehl);
        assert!((thin.amplitude_factor - told.amplitude_factor).abs() < 1e-6);
        assert!((thin.rms_nm - told.rms_nm).abs() < 0.02, "{} {}", thin.rms_nm, told.rms_nm);
        assert!((thin.pv_nm - told.pv_nm).abs() < 0.2, "{} {}", thin.pv_nm, told.pv_nm);
    }
}

/// The plain sum over a square net of places for a mirror with a soft patch of thin metal, lines cut at the rim by
/// Gauss.
fn patch_truth(coat: &dyn Fn(f64, f64) -> f64, wavelength_nm: f64, image_um: [f64; 2]) -> f64 {
    let (mut re, mut im, mut amplitude) = (0.0, 0.0, 0.0);
    // Reflectance and height at each thickness from a fine table of the film's own answers, in the centre and at the
    // rim's angle, between which both change with the squared sine; heights counted from that of 90 nm.
    let at = |r_mm: f64| -> Vec<(f64, f64)> {
        (0..=4000).map(|k| response(aluminium(f64::from(k) * 0.025), wavelength_nm, r_mm)).collect()
    };
    let (centre, rim) = (at(0.0), at(RIM_MM));
    let film = |thickness_nm: f64, share: f64| {
        let place = thickness_nm / 0.025;
        let k = (place as usize).clamp(1, 3998);
        let t = place - k as f64;
        // Lagrange through four places.
        let w = [
            -t * (t - 1.0) * (t - 2.0) / 6.0,
            (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
            -(t + 1.0) * t * (t - 2.0) / 2.0,
            (t + 1.0) * t * (t - 1.0) / 6.0,
        ];
        let both = |i: usize, of: &dyn Fn(&(f64, f64)) -> f64| {
            of(&centre[k - 1 + i]) + share * (of(&rim[k - 1 + i]) - of(&centre[k - 1 + i]))
        };
        let sum = |of: &dyn Fn(&(f64, f64)) -> f64| (0..4).map(|i| w[i] * both(i, of)).sum::<f64>();
        (sum(&|found| found.0), sum(&|found| found.1) - centre[3600].1)
    };
    let sine2 = |r: f64| (r / 2400.0).powi(2) / (1.0 + (r / 2400.0).powi(2));
    let ring = (0..40).map(|k| (2.5 * f64::from(k), 2.5 * f64::from(k + 1)));
    for (from, to) in ring {
        for (r, w) in gauss::on_interval(10, from, to) {
            for k in 0..720 {
                let (sin, cos) = (TAU * f64::from(k) / 720.0).sin_cos();
                let (power, height_nm) = film(coat(r * cos, r * sin), sine2(r) / sine2(RIM_MM));
                let cosine = (1.0 + (r / 2400.0).powi(2)).sqrt().recip();
                let turn = 1000.0 * (image_um[0] * r * cos + image_um[1] * r * sin)
                    / (1200.0 * (1.0 + (r / 2400.0).powi(2)));
                // The line to the image leads inward: m = -x/f.
                let phase = TAU / wavelength_nm * (2.0 * height_nm * cosine + turn);
                let light = w * r * power.sqrt();
                re += light * phase.cos();
                im += light * phase.sin();
                amplitude += light;
            }
        }
    }
    (re * re + im * im) / (amplitude * amplitude)
}

#[test]
fn a_soft_patch_of_thin_metal_is_its_own_integral() {
    let patch = ThinPatch::new([38.0, -25.0], 28.0, 12.0).softness_mm(4.0);
    let thickness = |x: f64, y: f64| 90.0 + patch.share((x - 38.0).hypot(y + 25.0)) * (12.0 - 90.0);
    let coat = metal(aluminium(90.0)).patch(patch);
    let telescope = prepared(primary(Coating::default().metal(coat)));
    let wave = telescope.wavefront(Field::AXIS, Focus::Paraxial, 550.0).expect("a wavefront");
    // The hollow moves the reference point aside, from which the picture is counted.
    let [along, across] = wave.reference_um();
    let strehl = patch_truth(&thickness, 550.0, [along, across]);
    assert!((wave.strehl - strehl).abs() < 1e-6, "{} {strehl}", wave.strehl);
    assert!(wave.strehl < 0.9 && wave.error_estimate < 1e-6);
    let psf = wave.psf(PsfSize { pixels: 64, half_width_um: Some(30.0) }).expect("a star");
    for (i, j) in [(32, 32), (20, 40), (45, 30), (31, 10)] {
        let truth = patch_truth(&thickness, 550.0, [psf.along_um[j] + along, psf.across_um[i] + across]);
        assert!((psf.image[[i, j]] - truth).abs() < 2e-6, "{i} {j}: {} {truth}", psf.image[[i, j]]);
    }
    // A map of the same converges to it.
    let of_map = |pixel_mm: f64| {
        let map =
            ThicknessMap::new(net(pixel_mm, thickness), pixel_mm, AxisDirection::PlusY, AxisDirection::PlusX);
        let telescope = prepared(primary(Coating::default().metal(metal(aluminium(90.0)).map(map))));
        telescope.wavefront(Field::AXIS, Focus::Paraxial, 550.0).expect("a wavefront").strehl
    };
    let (coarse, fine) = ((of_map(6.0) - wave.strehl).abs(), (of_map(2.0) - wave.strehl).abs());
    // Bicubic: a third of the pixel leaves at most a twentieth of the error, down to what a map promises.
    assert!(fine < (coarse / 20.0).max(1e-5), "{coarse:e} {fine:e}");
    assert!(fine < 3e-5, "{fine:e}");
}

#[test]
fn a_map_lies_as_it_is_named() {
    // Thin toward the focuser: a hollow there.
    let of = |x: f64, y: f64| 90.0 - 50.0 * (-((x - 60.0).powi(2) + (y - 20.0).powi(2)) / 400.0).exp();
    let map = ThicknessMap::new(net(4.0, of), 4.0, AxisDirection::PlusY, AxisDirection::PlusX);
    let mirrored = ThicknessMap::new(net(4.0, of), 4.0, AxisDirection::PlusY, AxisDirection::MinusX);
    for (map, x) in [(map, 60.0), (mirrored, -60.0)] {
        let telescope = prepared(primary(Coating::default().metal(metal(aluminium(90.0)).map(map))));
        let seen = telescope.coating_picture(550.0, 201).expect("a picture");
        let heights = seen.height_nm.expect("metal");
        let lowest = heights.indexed_iter().filter_map(|(at, h)| h.map(|h| (at, h)));
        let (at, depth_nm) = lowest.min_by(|a, b| a.1.total_cmp(&b.1)).expect("a mirror");
        assert!((seen.axis_mm[at.1] - x).abs() < 1.1 && (seen.axis_mm[at.0] - 20.0).abs() < 1.1, "{at:?}");
        assert!((depth_nm + 50.0).abs() < 0.5, "{depth_nm}");
        // The wave is late there: a hollow.
        let wave = telescope.wavefront(Field::AXIS, Focus::Paraxial, 550.0).expect("a wavefront");
        let map = wave.map(101).expect("a map");
        let lowest = map.path_nm.indexed_iter().filter_map(|(at, w)| w.map(|w| (at, w)));
        let (at, _) = lowest.min_by(|a, b| a.1.total_cmp(&b.1)).expect("a mirror");
        assert!((map.axis_mm[at.1] - x).abs() < 4.0 && (map.axis_mm[at.0] - 20.0).abs() < 4.0, "{at:?}");
    }
}

#[test]
fn every_colour_has_its_own_film() {
    let ring = ThinRing::new(40.0, 75.0, 9.0).softness_mm(3.0);
    // Two patches across from each other: the image stays in its place in every colour.
    let (patch, across) =
        (ThinPatch::new([-60.0, 30.0], 12.0, 25.0), ThinPatch::new([60.0, -30.0], 12.0, 25.0));
    let telescope = prepared(primary(
        Coating::default().metal(metal(aluminium(90.0)).ring(ring).patch(patch).patch(across)),
    ));
    let spectrum = Spectrum::of_lines(&[430.0, 550.0, 680.0], &[1.0, 2.0, 1.0]).expect("lines");
    let found = telescope.spectral_strehl(Field::AXIS, Focus::Paraxial, &spectrum).expect("a Strehl");
    let middle = telescope.wavefront(Field::AXIS, Focus::Paraxial, 550.0).expect("a wavefront");
    let star = middle.psf_of(PsfSize { pixels: 48, half_width_um: Some(20.0) }, &spectrum).expect("a star");
    let mut sum = Array2::<f64>::zeros((48, 48));
    for (k, (nm, counts)) in [430.0, 550.0, 680.0].into_iter().zip(spectrum.peak_shares()).enumerate() {
        let own = telescope.wavefront(Field::AXIS, Focus::Paraxial, nm).expect("a wavefront");
        assert!((own.strehl - found.strehl_by_wavelength[k]).abs() < 1e-9, "{nm}");
        let single = own.psf(PsfSize { pixels: 48, half_width_um: Some(20.0) }).expect("a star");
        sum = sum + single.image * counts;
    }
    for (a, b) in star.image.iter().zip(&sum) {
        assert!((a - b).abs() < 1e-6, "{a} {b}");
    }
    assert!((star.strehl() - found.strehl).abs() < 1e-6);
    // And contrast: the energy-weighted mean of the colours.
    let per_mm = vec![40.0, 120.0];
    let options = |spectrum| MtfOptions { spectrum, frequency_per_mm: Some(per_mm.clone()) };
    let all = middle.otf(0.0, &options(Some(spectrum.clone()))).expect("contrast");
    let mut mean = [[0.0; 2]; 2];
    for &(nm, share) in &[(430.0, 0.25), (550.0, 0.5), (680.0, 0.25)] {
        let own = telescope.wavefront(Field::AXIS, Focus::Paraxial, nm).expect("a wavefront");
        let one = own.otf(0.0, &options(None)).expect("contrast");
        for k in 0..2 {
            mean[k][0] += share * one.real[k];
            mean[k][1] += share * one.imaginary[k];
        }
    }
    for k in 0..2 {
        assert!((all.real[k] - mean[k][0]).abs() < 2e-5 && (all.imaginary[k] - mean[k][1]).abs() < 2e-5);
    }
}

#[test]
fn contrast_of_thin_metal_is_the_transform_of_its_star() {
    // The plain autocorrelation of the pupil on a fine net, in the image's own coordinate.
    let patch = ThinPatch::new([30.0, 40.0], 22.0, 30.0);
    let telescope = prepared(primary(Coating::default().metal(metal(aluminium(90.0)).patch(patch))));
    let wave = telescope.wavefront(Field::AXIS, Focus::Paraxial, 550.0).expect("a wavefront");
    let cutoff_per_mm = 2.0 * RIM_MM / 1200.0 / (1.0 + (RIM_MM / 2400.0).powi(2)) / 550e-6;
    let per_mm = vec![0.2 * cutoff_per_mm, 0.5 * cutoff_per_mm];
    let options = MtfOptions { frequency_per_mm: Some(per_mm.clone()), ..MtfOptions::default() };
    let found = wave.otf(0.0, &options).expect("contrast");
    let side = 1600_u32;
    let largest = RIM_MM / 1200.0 / (1.0 + (RIM_MM / 2400.0).powi(2));
    let (base, thin) = (response(aluminium(90.0), 550.0, 0.0), response(aluminium(30.0), 550.0, 0.0));
    // The field over m: amplitude for a unit of area of m, and the phase.
    let field = |mx: f64, my: f64| -> [f64; 2] {
        let m = mx.hypot(my);
        if m > largest {
            return [0.0; 2];
        }
        // m = (r/f)/(1 + r^2/4f^2) on a paraboloid.
        let r = if m > 0.0 { 2.0 * 1200.0 * (1.0 - (1.0 - m * m).sqrt()) / m } else { 0.0 };
        let (x, y) = if m > 0.0 { (-mx / m * r, -my / m * r) } else { (0.0, 0.0) };
        let (power, height_nm) = if (x - 30.0).hypot(y - 40.0) <= 22.0 { thin } else { base };
        let q = (r / 2400.0).powi(2);
        // r dr/(m dm): light of equal areas of the mirror over the plane of m.
        let spread = (1.0 + q).powi(3) / (1.0 - q);
        let (amplitude, phase) =
            (power.sqrt() * spread, TAU / 550.0 * 2.0 * (height_nm - base.1) / (1.0 + q).sqrt());
        [amplitude * phase.cos(), amplitude * phase.sin()]
    };
    for (k, nu) in per_mm.iter().enumerate() {
        let shift = nu * 550e-6;
        let step = 2.0 * largest / f64::from(side);
        let (mut re, mut im, mut energy) = (0.0, 0.0, 0.0);
        for i in 0..side {
            for j in 0..side {
                let (mx, my) = ((f64::from(j) + 0.5) * step - largest, (f64::from(i) + 0.5) * step - largest);
                let [a, b] = field(mx, my);
                energy += a * a + b * b;
                let [[p, q], [s, t]] = [field(mx + shift / 2.0, my), field(mx - shift / 2.0, my)];
                re += p * s + q * t;
                im += q * s - p * t;
            }
        }
        let (re, im) = (re / energy, im / energy);
        // The moduli: the reference point is not the vertex's image. Two and a half million places: some 1e-5 by the
        // edges.
        let contrast = found.contrast()[k];
        assert!((contrast - re.hypot(im)).abs() < 1e-4, "{contrast} {}", re.hypot(im));
        assert!(im.abs() > 1e-4, "thin metal on one side moves the bars");
    }
}

#[test]
fn both_mirrors_return_their_share() {
    let flat = Diagonal::new(60.0).film(aluminium(90.0));
    let mirror = primary(Coating::default().metal(metal(aluminium(90.0))));
    let train =
        Train::builder(mirror).diagonal(flat).focal_plane(FocalPlane::new(160.0)).build().expect("a train");
    for wavelength_nm in [400.0, 550.0, 800.0] {
        let both = Prepared::new(&train).in_colour(wavelength_nm).expect("a colour").reflectance(0.0, 0.0);
        let at = |angle: f64| aluminium(90.0).response(wavelength_nm, angle).expect("a film").reflectance();
        assert!((both - at(0.0) * at(45.0)).abs() < 1e-10, "{both}");
    }
    // Two fresh mirrors cost about a fifth of a magnitude: 2.5 log10(1/(0.915 0.911)).
    let both = Prepared::new(&train).reflectance(0.0, 0.0);
    assert!((-2.5 * both.log10() - 0.197).abs() < 0.003, "{both}");
    assert!(Prepared::new(&train).in_colour(240.0).is_err());
    assert!(Prepared::new(&train).wavefront(Field::AXIS, Focus::Peak, 220.0).is_err());
}

/// A ring's share as its page writes it.
fn smooth_share(r: f64, inner: f64, outer: f64) -> f64 {
    if r > inner && r < outer { (PI * (r - inner) / (outer - inner)).sin().powi(2) } else { 0.0 }
}

#[test]
fn smooth_rings_are_their_own_integral() {
    for (base_nm, thin_nm) in [(100.0, 40.0), (90.0, 8.0), (60.0, 0.0), (100.0, 14.0)] {
        for wavelength_nm in [450.0, 550.0, 700.0] {
            let ring = ThinRing::new(60.0, 85.0, thin_nm).profile(RingProfile::Smooth);
            let seen = wave(Coating::default().metal(metal(aluminium(base_nm)).ring(ring)), wavelength_nm);
            let datum_nm = response(aluminium(base_nm), wavelength_nm, 0.0).1;
            let of = |r: f64| {
                let film = aluminium(base_nm + smooth_share(r, 60.0, 85.0) * (thin_nm - base_nm));
                let (power, height_nm) = response(film, wavelength_nm, r);
                (power, height_nm - datum_nm)
            };
            let [strehl, factor] = round_truth(of, wavelength_nm, &[60.0, 85.0]);
            let found = (seen.strehl, seen.amplitude_factor);
            assert!((found.0 - strehl).abs() < 1e-8, "{thin_nm} {wavelength_nm}: {found:?} {strehl}");
            assert!((found.1 - factor).abs() < 1e-8, "{thin_nm} {wavelength_nm}: {found:?} {factor}");
        }
    }
    // As haze: no wave, and the factor of its own integral. From the centre, across another ring, and nearly black.
    for (inner, outer, dim) in [(60.0, 85.0, 0.72), (0.0, 40.0, 0.3), (30.0, 100.0, 0.01)] {
        let ring = CoatingRing::new(inner, outer, dim).profile(RingProfile::Smooth);
        let under = CoatingRing::new(50.0, 70.0, 0.6);
        let seen = wave(Coating::new(0.9).ring(under).ring(ring), 550.0);
        let of = |r: f64| {
            let under = if (50.0..70.0).contains(&r) { 0.6 } else { 0.9 };
            (under + smooth_share(r, inner, outer) * (dim - under), 0.0)
        };
        let mut cuts = vec![50.0, 70.0];
        cuts.extend([inner, outer].into_iter().filter(|r| *r > 0.0 && *r < RIM_MM));
        cuts.sort_by(f64::total_cmp);
        let [_, factor] = round_truth(of, 550.0, &cuts);
        assert!((seen.amplitude_factor - factor).abs() < 1e-8, "{} {factor}", seen.amplitude_factor);
        assert!(seen.rms_nm < 1e-6);
    }
}

#[test]
fn slopes_of_a_smooth_ring_are_those_of_its_height() {
    // Rays meet the film's own slope: the spot of the outermost steep place, 2 f h'.
    let ring = ThinRing::new(60.0, 85.0, 40.0).profile(RingProfile::Smooth);
    let telescope = prepared(primary(Coating::default().metal(metal(aluminium(100.0)).ring(ring))));
    let picture = telescope.coating_picture(550.0, 2001).expect("a picture");
    let heights = picture.height_nm.expect("metal");
    // Steepest where sin^2 is a half: pi/w of the depth, by differences of the picture.
    let (mut steepest, step_mm) = (0.0_f64, picture.axis_mm[1] - picture.axis_mm[0]);
    for j in 1601..1850 {
        if let (Some(a), Some(b)) = (heights[[1000, j - 1]], heights[[1000, j + 1]]) {
            steepest = steepest.max((b - a).abs() / (2.0 * step_mm));
        }
    }
    assert!((steepest / (PI / 25.0 * 60.0) - 1.0).abs() < 0.01, "{steepest}");
    let spot = telescope.spot_at(Field::AXIS, 0.0, 20_000).expect("a spot");
    let along = spot.points.along_um.iter().zip(&spot.points.across_um);
    let far_um = along.map(|(a, b)| a.hypot(*b)).fold(0.0, f64::max);
    assert!((far_um / (2.0 * 1200.0 * steepest * 1e-3) - 1.0).abs() < 0.02, "{far_um} {steepest}");
}

#[test]
fn haze_beside_metal_multiplies() {
    let coating =
        Coating::new(0.95).patch(CoatingPatch::new([40.0, 0.0], 10.0, 0.5)).metal(metal(aluminium(90.0)));
    let telescope = prepared(primary(coating));
    let alone = aluminium(90.0).response(550.0, 0.0).expect("a film").reflectance();
    assert!((telescope.reflectance(0.0, 0.0) - 0.95 * alone).abs() < 1e-10);
    assert!((telescope.reflectance(40.0, 0.0) - 0.5 * alone).abs() < 1e-6);
}

#[test]
fn a_step_of_thin_metal_beside_a_turned_edge_keeps_both() {
    // Off axis, with patches of both kinds over each other: the stated error covers the difference of two ways of
    // counting.
    let coating = Coating::new(0.98)
        .patch(CoatingPatch::new([20.0, 20.0], 15.0, 0.6).softness_mm(2.0))
        .metal(metal(aluminium(90.0)).patch(ThinPatch::new([28.0, 15.0], 14.0, 35.0)));
    let mirror = primary(coating).layer(TurnedEdge::new(8.0, 120.0));
    let wave =
        prepared(mirror).wavefront(Field::arcmin(8.0, -5.0), Focus::LeastRms, 550.0).expect("a wavefront");
    assert!(wave.error_estimate < 1e-6);
    // Area of the patch by Gauss against its closed form, seen in PV: the hollow is at least as deep as 55 nm of glass.
    assert!(wave.pv_nm > 2.0 * 55.0);
    let share = PI * 14.0 * 14.0 / (PI * RIM_MM * RIM_MM);
    assert!(share < 0.02 && wave.strehl < 0.97);
}
