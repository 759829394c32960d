//! Stars inside and outside of focus: closed forms on the axis, directions, and what each common fault looks like.

mod common;

use std::f64::consts::PI;

use catoptric::{
    Diagonal, Field, FocalLengthMm, FocalPlane, Focus, FocusSteps, Indexing, Prepared, Primary, PsfSize,
    Spectrum, ThroughFocus, Train, TurnedEdge, TypicalFault, Wavefront, ZernikeTerms, typical_faults,
};
use common::{assert_close, bare, prepare};

const WAVELENGTH_NM: f64 = 550.0;

fn green() -> Spectrum {
    Spectrum::line(WAVELENGTH_NM).expect("a line")
}

fn size(half_width_um: f64, pixels: usize) -> PsfSize {
    PsfSize { half_width_um: Some(half_width_um), pixels }
}

/// A wavefront of terms so slow that its defocus is W020 rho^2: the next term is W020/(16 F^2) rho^4, 1.6e-6 of it.
fn slow(coefficients_nm: &[(u32, f64)], obstruction: f64) -> Wavefront {
    let coefficients = coefficients_nm.iter().copied().collect();
    Wavefront::from_zernikes(&coefficients, Indexing::Noll, obstruction, Some(200.0), WAVELENGTH_NM)
        .expect("a wavefront")
}

fn strip(wavefront: &Wavefront, waves: &[f64], half_width_um: f64, pixels: usize) -> ThroughFocus {
    let steps = FocusSteps::Waves(waves.to_vec());
    wavefront.through_focus(&steps, size(half_width_um, pixels), &green()).expect("a strip")
}

/// The middle pixels of a strip with an odd number of pixels.
fn on_axis(strip: &ThroughFocus) -> Vec<f64> {
    let middle = strip.along_um.len() / 2;
    (0..strip.shift_mm.len()).map(|k| strip.images[[k, middle, middle]]).collect()
}

#[test]
fn the_axis_follows_the_closed_form() {
    // references.md 9; Born & Wolf, Principles of Optics, chapter 8: sinc^2(pi W020 (1 - eps^2)), dark at whole multiples of
    // 1/(1 - eps^2).
    for obstruction in [0.0, 0.2, 0.35] {
        let lit: f64 = 1.0 - obstruction * obstruction;
        let waves = [-3.3, -1.0 / lit, -0.6, -0.25, 0.0, 0.25, 0.5, 1.0 / lit, 2.0 / lit, 2.4];
        let found = on_axis(&strip(&slow(&[], obstruction), &waves, 200.0, 9));
        for (w, intensity) in waves.iter().zip(found) {
            let turn = PI * w * lit;
            let truth = if *w == 0.0 { 1.0 } else { (turn.sin() / turn).powi(2) };
            assert_close(intensity, truth, 2e-6, &format!("axis, {w} waves, obstruction {obstruction}"));
        }
    }
}

#[test]
fn the_axis_alone_cannot_show_spherical_aberration_but_the_pictures_can() {
    // references.md 9: with W040 the curve is symmetric about W020 = -W040 (1 + eps^2). Noll 11 of c is W040 = 6 sqrt(5) c
    // with W020 = -W040, so the middle lies at a further -W040 eps^2.
    let (coefficient_nm, obstruction) = (30.0, 0.3);
    let w040 = 6.0 * 5.0_f64.sqrt() * coefficient_nm / WAVELENGTH_NM;
    let middle = -w040 * obstruction * obstruction;
    let offsets = [0.3, 0.9, 1.7, 3.0];
    let waves: Vec<f64> = offsets.iter().flat_map(|d| [middle - d, middle + d]).collect();
    let found = strip(&slow(&[(11, coefficient_nm)], obstruction), &waves, 1500.0, 65);
    let axis = on_axis(&found);
    for (k, offset) in offsets.iter().enumerate() {
        let (inside, outside) = (2 * k, 2 * k + 1);
        assert_close(axis[inside], axis[outside], 1e-5, &format!("axis, {offset} waves on either side"));
        let apart = (0..found.profile_radius_um.len())
            .map(|i| (found.profile[[inside, i]] - found.profile[[outside, i]]).abs())
            .fold(0.0, f64::max);
        let brightest = found.profile.row(inside).iter().copied().fold(0.0, f64::max);
        assert!(apart > 0.05 * brightest, "{offset} waves: the pictures differ by {apart} of {brightest}");
    }
}

#[test]
fn every_picture_is_the_star_at_its_own_focus() {
    let edge = || Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 120.0));
    let newtonian =
        prepare(Train::builder(edge()).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)));
    for (telescope, field) in
        [(bare(edge()), Field::AXIS), (newtonian, Field::AXIS), (bare(edge()), Field::arcmin(9.0, -4.0))]
    {
        let shift_mm = [-0.25, -0.1, 0.0, 0.25];
        let focus = telescope.wavefront(field, Focus::ShiftMm(0.0), WAVELENGTH_NM).expect("a wavefront");
        let picture = size(24.0, 32);
        let steps = FocusSteps::ShiftMm(shift_mm.to_vec());
        let strip = focus.through_focus(&steps, picture, &green()).expect("a strip");
        assert!(strip.error_estimate < 1e-6);
        for (k, shift) in shift_mm.iter().enumerate() {
            let alone =
                telescope.wavefront(field, Focus::ShiftMm(*shift), WAVELENGTH_NM).expect("a wavefront");
            let alone = alone.psf(picture).expect("a star");
            for ((i, j), intensity) in alone.image.indexed_iter() {
                let what = "a picture of a strip against the star at that focus";
                let found = strip.images[[k, i, j]];
                assert!(
                    (found - intensity).abs() < 1e-6,
                    "{what}: {found} {intensity} at {shift} mm {field:?}"
                );
            }
        }
    }
}

#[test]
fn no_light_is_lost_on_the_way_through_focus() {
    // A disc of 4 W lambda F in radius and some fringes hold nearly all of the light on both sides alike.
    let strip = strip(&slow(&[], 0.2), &[-3.0, 0.0, 3.0], 0.55 * 200.0 * 30.0, 33);
    assert_close(strip.energy_in_circle[0], strip.energy_in_circle[2], 1e-5, "energy on both sides");
    assert!(strip.energy_in_circle.iter().all(|e| *e > 0.97 && *e < 1.0), "{:?}", strip.energy_in_circle);
    let middle = strip.profile.row(1);
    assert!(middle[0] > 0.99, "the profile begins at the peak: {}", middle[0]);
}

/// Second moments along and across of the light of one picture within a radius, um^2.
fn moments_um2(strip: &ThroughFocus, picture: usize, radius_um: f64) -> [f64; 2] {
    let (mut light, mut along, mut across) = (0.0, 0.0, 0.0);
    for (i, y) in strip.across_um.iter().enumerate() {
        for (j, x) in strip.along_um.iter().enumerate() {
            if x.hypot(*y) < radius_um {
                let intensity = strip.images[[picture, i, j]];
                light += intensity;
                along += intensity * x * x;
                across += intensity * y * y;
            }
        }
    }
    [along / light, across / light]
}

#[test]
fn astigmatism_points_across_inside_focus_where_the_glass_stands_high_along_x() {
    // W = 2h ahead along x: there the light focuses short (W020 = dz/(8F^2) takes W away for dz < 0), so inside focus the
    // section along x is narrow and the star points across, along y; outside focus the other way.
    let primary = |nm: f64| {
        Primary::new(200.0, FocalLengthMm(1600.0)).layer(ZernikeTerms::new([(6, nm)], Indexing::Noll))
    };
    for (nm, sign) in [(60.0, 1.0), (-60.0, -1.0)] {
        let wavefront =
            bare(primary(nm)).wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
        let strip = strip(&wavefront, &[-1.5, 1.5], 60.0, 65);
        let [along, across] = moments_um2(&strip, 0, 50.0);
        assert!(sign * (across - along) > 0.2 * along.min(across), "inside: {along} along, {across} across");
        let [along, across] = moments_um2(&strip, 1, 50.0);
        assert!(sign * (along - across) > 0.2 * along.min(across), "outside: {along} along, {across} across");
    }
}

const DEFOCUS: f64 = 5.0;

/// Strips 5 waves inside and outside of the focus of least RMS, and the radius of the disc there, um.
fn both_sides(telescope: &Prepared) -> (ThroughFocus, f64) {
    let wavefront = telescope.wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    let disc_um = 4.0 * DEFOCUS * 0.55 * telescope.focal_ratio();
    (strip(&wavefront, &[-DEFOCUS, DEFOCUS], 1.8 * disc_um, 97), disc_um)
}

/// Light between two radii (in radii of the disc) of a picture, from its mean profile, as a share of the perfect star's peak times
/// um^2.
fn light_between(strip: &ThroughFocus, picture: usize, from_um: f64, to_um: f64) -> f64 {
    let radius = &strip.profile_radius_um;
    let mut sum = 0.0;
    for i in 1..radius.len() {
        if radius[i - 1] >= from_um && radius[i] <= to_um {
            let ring = |k: usize| radius[k] * strip.profile[[picture, k]];
            sum += PI * (ring(i) + ring(i - 1)) * (radius[i] - radius[i - 1]);
        }
    }
    sum
}

fn faults() -> Vec<TypicalFault> {
    let train = Train::builder(Primary::new(200.0, FocalLengthMm(1600.0))).build().expect("a sound train");
    typical_faults(&train, 0.5, WAVELENGTH_NM).expect("faults")
}

fn fault(name: &str) -> Prepared {
    let found = faults().into_iter().find(|fault| fault.name == name).expect("a fault");
    assert!(name == "none" || (found.pv_waves - 0.5).abs() < 1e-3, "{name}: {} waves", found.pv_waves);
    assert!(!found.words.is_empty() && !found.words.contains("  "), "{}", found.words);
    Prepared::new(&found.train)
}

#[test]
fn a_perfect_star_is_the_same_on_both_sides() {
    let (strip, disc_um) = both_sides(&fault("none"));
    for (from, to) in [(0.0, 0.5), (0.5, 0.8), (0.8, 1.1), (1.1, 1.6)] {
        let [inside, outside] = [0, 1].map(|k| light_between(&strip, k, from * disc_um, to * disc_um));
        assert_close(inside / outside, 1.0, 0.02, &format!("light from {from} to {to} of the disc"));
    }
}

/// The radius that holds 80 % of the perfect star's light in a picture, um, and the share of that light within half of it.
fn heaped(strip: &ThroughFocus, picture: usize) -> (f64, f64) {
    let unit_um = 0.55 * strip.focal_ratio;
    // Parseval for a clear pupil: peak times (4/pi) (lambda F)^2 is all of the light.
    let wanted = 0.8 * 4.0 / PI * unit_um * unit_um;
    let holds = |radius_um: f64| light_between(strip, picture, 0.0, radius_um);
    let radius = *strip.profile_radius_um.iter().find(|r| holds(**r) >= wanted).expect("80 % of the light");
    (radius, holds(0.5 * radius) / wanted)
}

#[test]
fn correction_heaps_the_light_into_the_outer_ring_on_one_side() {
    // Rays: y = 2 W020 r + 4 W040 r^3, W040 > 0 for an under-corrected mirror, whose rim focuses short. Inside focus (W020 < 0) the
    // rays of the outer zones turn back and crowd at the edge of a smaller disc; outside they spread over a larger one.
    for (name, bright) in [("undercorrected", 0), ("overcorrected", 1)] {
        let (strip, _) = both_sides(&fault(name));
        let ((hard_um, hollow), (soft_um, full)) = (heaped(&strip, bright), heaped(&strip, 1 - bright));
        assert!(hard_um < 0.8 * soft_um, "{name}: radii of 80 %: {hard_um} and {soft_um} um");
        assert!(hollow < 0.7 * full, "{name}: within half of it {hollow} and {full}");
    }
}

#[test]
fn an_edge_veils_the_disc_on_one_side() {
    // Rays: glass that falls away at the rim sends its light outward of where it should cross, so inside focus it lies beyond
    // the disc and outside focus within it.
    for (name, veiled) in [("turned-down edge", 0), ("raised edge", 1)] {
        let (strip, disc_um) = both_sides(&fault(name));
        let beyond = |k: usize| light_between(&strip, k, 1.1 * disc_um, 1.7 * disc_um);
        let ring = |k: usize| light_between(&strip, k, 0.75 * disc_um, 0.9 * disc_um);
        assert!(
            beyond(veiled) > 3.0 * beyond(1 - veiled),
            "{name}: {} {}",
            beyond(veiled),
            beyond(1 - veiled)
        );
        assert!(ring(veiled) < 0.85 * ring(1 - veiled), "{name}: {} {}", ring(veiled), ring(1 - veiled));
    }
}

#[test]
fn a_zone_shows_at_its_own_radius_on_one_side() {
    let (perfect, _) = both_sides(&fault("none"));
    let (strip, disc_um) = both_sides(&fault("zone"));
    let excess = |k: usize| {
        light_between(&strip, k, 0.55 * disc_um, 0.75 * disc_um)
            / light_between(&perfect, k, 0.55 * disc_um, 0.75 * disc_um)
    };
    let (inside, outside) = (excess(0), excess(1));
    assert!((inside - outside).abs() > 0.2, "inside {inside}, outside {outside} of the perfect disc");
    assert!((inside - 1.0) * (outside - 1.0) < 0.0, "inside {inside}, outside {outside} of the perfect disc");
}

/// The angle of a picture's light in the pattern cos(order x angle), radians, within radii of the disc; and how strong it is.
fn orientation(strip: &ThroughFocus, picture: usize, order: f64, radius_um: f64) -> (f64, f64) {
    let (mut c, mut s, mut light) = (0.0, 0.0, 0.0);
    for (i, y) in strip.across_um.iter().enumerate() {
        for (j, x) in strip.along_um.iter().enumerate() {
            let r = x.hypot(*y);
            if r < radius_um {
                let weight = strip.images[[picture, i, j]] * (r / radius_um).powf(order);
                c += weight * (order * y.atan2(*x)).cos();
                s += weight * (order * y.atan2(*x)).sin();
                light += weight;
            }
        }
    }
    (s.atan2(c), c.hypot(s) / light)
}

#[test]
fn uneven_faults_turn_from_side_to_side_as_their_words_say() {
    // Conjugate fields: the picture at -dz of W is that at dz of -W, turned by half a turn. A wavefront odd in the half turn (coma,
    // trefoil) is its own negative so turned: both sides look alike. Astigmatism is its own negative turned by a quarter.
    for (name, order, turns) in
        [("astigmatism", 2.0, true), ("pinching by three clips", 3.0, false), ("coma", 1.0, false)]
    {
        let (strip, disc_um) = both_sides(&fault(name));
        let (inside, strong) = orientation(&strip, 0, order, 1.4 * disc_um);
        let (outside, also) = orientation(&strip, 1, order, 1.4 * disc_um);
        assert!(strong > 0.03 && also > 0.03, "{name}: {strong} inside, {also} outside");
        let same = (inside - outside).cos() > 0.0;
        assert_eq!(same, !turns, "{name}: {inside} inside, {outside} outside");
    }
}

#[test]
fn steps_that_cannot_be_are_refused() {
    let wavefront = slow(&[], 0.0);
    let ask = |steps: FocusSteps, pixels: usize| {
        let picture = PsfSize { half_width_um: None, pixels };
        wavefront.through_focus(&steps, picture, &green()).unwrap_err().to_string()
    };
    for (steps, pixels, words) in [
        (FocusSteps::Waves(vec![]), 33, "defocus_waves"),
        (FocusSteps::Waves(vec![0.0, f64::NAN]), 33, "defocus_waves[1]"),
        (FocusSteps::Waves(vec![61.0]), 33, "60 waves"),
        (FocusSteps::ShiftMm(vec![1e9]), 33, "shift_mm[0]"),
        (FocusSteps::Waves(vec![1.0]), 1, "pixels"),
        (FocusSteps::Waves(vec![1.0; 9]), 2048, "288 MiB"),
    ] {
        let message = ask(steps.clone(), pixels);
        assert!(message.contains(words), "{steps:?}: {message}");
    }
    let train = Train::builder(Primary::new(200.0, FocalLengthMm(1600.0))).build().expect("a sound train");
    for (waves, nm) in [(0.0, 550.0), (5.0, 550.0), (f64::NAN, 550.0), (0.5, 5500.0)] {
        assert!(typical_faults(&train, waves, nm).is_err(), "{waves} waves at {nm} nm");
    }
}
