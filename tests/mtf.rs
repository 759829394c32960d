//! Contrast against spatial frequency: closed forms, independent autocorrelations, limits and directions.

mod common;

use std::collections::BTreeMap;

use catoptric::{
    Coating, CoatingRing, Diagonal, Drawtube, Field, FocalLengthMm, FocalPlane, Focus, Holder, Indexing,
    MirrorClips, Mtf, MtfOptions, Opening, Otf, Prepared, Primary, PsfSize, Spectrum, Spider, Train,
    TurnedEdge, Wavefront, ZernikeTerms, Zone, perfect_mtf,
};
use common::{Row, assert_close, bare, everything, paraboloid, prepare, rows, with_shadow};

const WAVELENGTH_NM: f64 = 550.0;
const FOCAL_RATIO: f64 = 5.0;

fn terms(coefficients_nm: &BTreeMap<u32, f64>, obstruction_ratio: f64) -> Wavefront {
    let made = Wavefront::from_zernikes(
        coefficients_nm,
        Indexing::Noll,
        obstruction_ratio,
        Some(FOCAL_RATIO),
        WAVELENGTH_NM,
    );
    made.expect("a wavefront of terms")
}

/// Cycles for each mm at the textbook's cut-off.
fn cutoff_per_mm(focal_ratio: f64) -> f64 {
    1.0 / (WAVELENGTH_NM * 1e-6 * focal_ratio)
}

fn at(frequency_per_mm: Vec<f64>) -> MtfOptions {
    MtfOptions { frequency_per_mm: Some(frequency_per_mm), spectrum: None }
}

fn shares(row: &Row, focal_ratio: f64) -> Vec<f64> {
    row.list("frequency_ratio").iter().map(|n| n * cutoff_per_mm(focal_ratio)).collect()
}

fn otf(wavefront: &Wavefront, azimuth_deg: f64, frequency_per_mm: Vec<f64>) -> Otf {
    wavefront.otf(azimuth_deg, &at(frequency_per_mm)).expect("a transfer function")
}

fn mtf(wavefront: &Wavefront, frequency_per_mm: Vec<f64>) -> Mtf {
    wavefront.mtf(&at(frequency_per_mm)).expect("contrast")
}

/// Coefficients of a row of truth.
fn coefficients(row: &Row) -> BTreeMap<u32, f64> {
    row.list("noll").iter().map(|j| *j as u32).zip(row.list("coefficient_nm")).collect()
}

#[test]
fn the_closed_form_is_o_neills() {
    for row in rows("mtf", "kind", "perfect") {
        let eps = row.number("obstruction_ratio");
        for (n, contrast) in row.list("frequency_ratio").iter().zip(row.list("contrast")) {
            let found = perfect_mtf(*n, eps).expect("a frequency");
            assert_close(found, contrast, 1e-14, "closed form: contrast of a perfect aperture");
        }
    }
    // 30 digits, own evaluation of O'Neill 1956.
    assert_close(perfect_mtf(0.3, 0.2).expect("contrast"), 0.566_497_57, 5e-9, "closed form: eps 0.2 at 0.3");
}

#[test]
fn perfect_pupils_have_o_neills_contrast() {
    for row in rows("mtf", "kind", "perfect") {
        let eps = row.number("obstruction_ratio");
        let by_terms = mtf(&terms(&BTreeMap::new(), eps), shares(&row, FOCAL_RATIO));
        let slow = with_shadow(Primary::new(100.0, FocalLengthMm(40_000.0)), eps);
        let slow = slow.wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM).expect("a wavefront");
        let by_train = mtf(&slow, shares(&row, 400.0));
        // The cone lowers the cut-off by 1/(16 F^2) of itself and crowds the light: at f/200 1.6e-6 and more, which is
        // no error; at f/400 a quarter of it.
        for (k, contrast) in row.list("contrast").into_iter().enumerate() {
            assert_close(by_terms.contrast_along[k], contrast, 1e-6, "O'Neill: terms along");
            assert_close(by_terms.contrast_across[k], contrast, 1e-6, "O'Neill: terms across");
            assert_close(by_train.contrast_along[k], contrast, 1e-6, "O'Neill: a train at f/400, along");
            assert_close(by_train.contrast_mean[k], contrast, 1e-6, "O'Neill: a train at f/400, mean");
            assert_close(by_train.perfect_obstructed[k], contrast, 1e-12, "O'Neill: the curve beside");
        }
    }
}

#[test]
fn a_clear_aperture_out_of_focus_is_hopkins() {
    for row in rows("mtf", "kind", "defocus") {
        // W20 = 2 sqrt 3 times Noll's coefficient.
        let coefficient_nm = row.number("defocus_waves") * WAVELENGTH_NM / (2.0 * 3.0_f64.sqrt());
        let found = otf(&terms(&[(4, coefficient_nm)].into(), 0.0), 0.0, shares(&row, FOCAL_RATIO));
        for (k, real) in row.list("real").into_iter().enumerate() {
            assert_close(found.real[k], real, 2e-6, "Hopkins: a defocused clear aperture");
            assert_close(found.imaginary[k], 0.0, 1e-9, "Hopkins: no phase");
            let error = (found.real[k] - real).abs();
            assert!(error <= found.error_estimate, "Hopkins: the stated error holds, {error:e}");
        }
    }
}

#[test]
fn uneven_wavefronts_agree_with_columns() {
    for row in rows("mtf", "kind", "terms") {
        let wavefront = terms(&coefficients(&row), row.number("obstruction_ratio"));
        let found = otf(&wavefront, row.number("azimuth_deg"), shares(&row, FOCAL_RATIO));
        let wanted = row.list("real").into_iter().zip(row.list("imaginary"));
        for (k, (real, imaginary)) in wanted.enumerate() {
            assert_close(found.real[k], real, 3e-6, "columns: real part");
            assert_close(found.imaginary[k], imaginary, 3e-6, "columns: imaginary part");
        }
    }
}

#[test]
fn edges_and_zones_of_a_real_cone_agree_with_polar_sums() {
    for row in rows("mtf", "kind", "round") {
        let (aperture_mm, focal_mm) = (row.number("clear_aperture_mm"), row.number("focal_length_mm"));
        let mut primary = Primary::new(aperture_mm, FocalLengthMm(focal_mm));
        if let Some(width_mm) = row.optional("edge_width_mm") {
            primary = primary.layer(TurnedEdge::new(width_mm, row.number("edge_drop_nm")));
        }
        if let Some(radius_mm) = row.optional("zone_radius_mm") {
            let (half_mm, height_nm) = (row.number("zone_half_width_mm"), row.number("zone_height_nm"));
            primary = primary.layer(Zone::new(radius_mm, half_mm, height_nm));
        }
        let telescope = with_shadow(primary, row.number("shadow_mm") / aperture_mm);
        let focus = Focus::ShiftMm(row.number("focus_shift_mm"));
        let wavefront = telescope.wavefront(Field::AXIS, focus, WAVELENGTH_NM).expect("a wavefront");
        for azimuth_deg in [0.0, 71.0] {
            let found = otf(&wavefront, azimuth_deg, row.list("frequency_per_mm"));
            for (k, real) in row.list("real").into_iter().enumerate() {
                assert_close(found.real[k], real, 5e-6, "polar sums: real part");
                assert_close(found.imaginary[k], 0.0, 1e-7, "polar sums: no phase");
            }
        }
    }
}

/// A mirror so slow that its pupil is plain, with vanes and Zernike terms of the glass.
fn slow_with_vanes(row: &Row) -> Prepared {
    let (aperture_mm, focal_mm) = (100.0, 40_000.0);
    let glass: BTreeMap<u32, f64> = coefficients(row).into_iter().map(|(j, w)| (j, w / 2.0)).collect();
    let eps = row.number("obstruction_ratio");
    let mut primary = Primary::new(aperture_mm, FocalLengthMm(focal_mm));
    if !glass.is_empty() {
        primary = primary.layer(ZernikeTerms::new(glass, Indexing::Noll));
    }
    let flat = Diagonal::new(eps * aperture_mm).offset_mm(0.0);
    let spider = Spider::new(4, row.number("vane_thickness_over_radius") * aperture_mm / 2.0);
    let train = Train::builder(primary).diagonal(flat).focal_plane(FocalPlane::new(0.501 * aperture_mm));
    prepare(train.spider(spider.angle_deg(row.number("first_vane_deg"))))
}

#[test]
fn vanes_and_coma_agree_with_columns() {
    for row in rows("mtf", "kind", "vanes") {
        let wavefront = slow_with_vanes(&row)
            .wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM)
            .expect("a wavefront");
        let found = otf(&wavefront, 0.0, shares(&row, 400.0));
        let wanted = row.list("real").into_iter().zip(row.list("imaginary"));
        // The table counts from the Gaussian image point, the wavefront from the middle of its spot.
        let moved_mm = wavefront.reference_um()[0] * 1e-3;
        for (k, (real, imaginary)) in wanted.enumerate() {
            let (sin, cos) = (std::f64::consts::TAU * found.frequency_per_mm[k] * moved_mm).sin_cos();
            assert_close(found.real[k], real * cos - imaginary * sin, 2e-6, "vanes: real part");
            assert_close(found.imaginary[k], real * sin + imaginary * cos, 2e-6, "vanes: imaginary part");
        }
    }
}

/// The centre of the light from the reference point, um: along, across.
fn centroid_um(wavefront: &Wavefront) -> [f64; 2] {
    let star = wavefront.psf(PsfSize { half_width_um: Some(80.0), pixels: 161 }).expect("a star image");
    let (mut total, mut along, mut across) = (0.0, 0.0, 0.0);
    for ((i, j), light) in star.image.indexed_iter() {
        total += light;
        along += light * star.along_um[j];
        across += light * star.across_um[i];
    }
    [along / total, across / total]
}

#[test]
fn the_phase_lies_on_the_side_of_the_flare() {
    // OTF = integral of I exp(-2 pi i nu.delta): at low frequencies the phase is -2 pi nu times the light's centre.
    let telescope = paraboloid(200.0, 1000.0);
    for (x, y) in [(20.0, 0.0), (0.0, -20.0), (14.0, 14.0)] {
        let wavefront =
            telescope.wavefront(Field::arcmin(x, y), Focus::Paraxial, WAVELENGTH_NM).expect("a wavefront");
        let centre = centroid_um(&wavefront);
        for (azimuth_deg, centre_um) in [(0.0, centre[0]), (90.0, centre[1])] {
            let frequency = 0.25;
            let phase = otf(&wavefront, azimuth_deg, vec![frequency]).phase_rad()[0];
            let wanted = -std::f64::consts::TAU * frequency * centre_um * 1e-3;
            // The flare of coma points away from the axis, where the star's own image lies: along = -f tan a.
            assert_close(
                phase,
                wanted,
                3e-4 + 0.03 * wanted.abs(),
                "flare: the phase is that of the light's centre",
            );
            let away = if azimuth_deg == 0.0 { -x } else { -y };
            if away != 0.0 {
                assert!(phase * away < -1e-4, "flare: coma points away from the axis, {phase}");
            }
        }
    }
}

#[test]
fn tilt_moves_the_bars_and_nothing_else() {
    // W = a x sends the light to along = -2 F a: Noll 2 is 2 x.
    let moved = terms(&[(2, 100.0)].into(), 0.2);
    let still = terms(&BTreeMap::new(), 0.2);
    let frequency = vec![50.0, 150.0];
    let (a, b) = (otf(&moved, 0.0, frequency.clone()), otf(&still, 0.0, frequency));
    for k in 0..2 {
        let shift_mm = -2.0 * FOCAL_RATIO * 200e-6;
        let wanted = -std::f64::consts::TAU * a.frequency_per_mm[k] * shift_mm;
        assert_close(a.contrast()[k], b.contrast()[k], 1e-6, "tilt: the contrast stays");
        assert_close((a.phase_rad()[k] - wanted).sin(), 0.0, 1e-6, "tilt: the phase is the shift");
    }
}

#[test]
fn a_picture_has_nearly_the_same_transfer_function() {
    // The transform of a picture of 12 wavelengths times the focal ratio, normalised by its own sum: cropping alone
    // loses 1 to 2 % of the light, and the low frequencies with it, so no better than 2e-2 below and 3e-3 further on.
    let telescope = bare(Primary::new(200.0, FocalLengthMm(1000.0)).layer(TurnedEdge::new(6.0, 200.0)));
    let wavefront =
        telescope.wavefront(Field::arcmin(6.0, 2.0), Focus::Peak, WAVELENGTH_NM).expect("a wavefront");
    let unit_um = WAVELENGTH_NM * 1e-3 * 5.0;
    let half_width_um = 60.0 * unit_um;
    let star =
        wavefront.psf(PsfSize { half_width_um: Some(half_width_um), pixels: 300 }).expect("a star image");
    let frequency = vec![0.1 * cutoff_per_mm(5.0), 0.4 * cutoff_per_mm(5.0), 0.7 * cutoff_per_mm(5.0)];
    for azimuth_deg in [0.0_f64, 90.0] {
        let found = otf(&wavefront, azimuth_deg, frequency.clone());
        for (k, nu) in frequency.iter().enumerate() {
            let (mut re, mut im) = (0.0, 0.0);
            for ((i, j), light) in star.image.indexed_iter() {
                let place_um = if azimuth_deg == 0.0 { star.along_um[j] } else { star.across_um[i] };
                let (sin, cos) = (-std::f64::consts::TAU * nu * place_um * 1e-3).sin_cos();
                re += light * cos;
                im += light * sin;
            }
            // The pupil's own energy, by Parseval: the peak of the perfect star is (integral of g)^2, its total
            // light lambda^2 times the integral of g^2.
            let total = star.image.sum() / (1.0 - lost_beyond(&wavefront, half_width_um));
            assert_close(re / total, found.real[k], 2e-3, "picture: real part");
            assert_close(im / total, found.imaginary[k], 2e-3, "picture: imaginary part");
        }
    }
}

/// Share of the light outside of a square picture: beyond its inscribed circle, less a fifth or so for the corners.
fn lost_beyond(wavefront: &Wavefront, half_width_um: f64) -> f64 {
    // Far out the light beyond r goes as 1/r; over a square of this half width that is 0.90 of the inscribed circle's.
    let inside = wavefront.encircled_energy(&[half_width_um]).expect("energy")[0];
    0.9 * (1.0 - inside)
}

/// Trains that touch every part.
fn trains() -> Vec<(&'static str, Prepared, Field)> {
    let mirror = || Primary::new(318.0, FocalLengthMm(1558.0));
    let newtonian =
        |p: Primary| Train::builder(p).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0));
    let ring = Coating::new(0.9).ring(CoatingRing::new(100.0, 140.0, 0.6));
    vec![
        ("bare", prepare(Train::builder(mirror())), Field::AXIS),
        ("everything", prepare(everything()), Field::arcmin(8.0, -5.0)),
        ("vanes along", prepare(newtonian(mirror()).spider(Spider::new(4, 1.0).angle_deg(0.0))), Field::AXIS),
        (
            "bent vanes",
            prepare(newtonian(mirror()).spider(Spider::new(3, 1.0).bend_radius_mm(200.0))),
            Field::arcmin(5.0, 0.0),
        ),
        (
            "clips",
            prepare(Train::builder(mirror()).mirror_clips(MirrorClips::new(3, 20.0, 6.0))),
            Field::AXIS,
        ),
        // Rows along two collinear vanes.
        (
            "vanes along a diagonal",
            prepare(
                newtonian(mirror())
                    .spider(Spider::new(4, 1.0))
                    .mirror_clips(MirrorClips::new(3, 20.0, 6.0).angle_deg(30.0)),
            ),
            Field::AXIS,
        ),
        // No shadow hides where the vanes meet.
        (
            "vanes alone",
            prepare(
                Train::builder(mirror()).spider(Spider::new(4, 1.0).angle_deg(20.0).above_vertex_mm(1400.0)),
            ),
            Field::AXIS,
        ),
        ("holder", prepare(newtonian(mirror()).holder(Holder::new(76.0))), Field::AXIS),
        ("worn ring", prepare(newtonian(mirror().coating(ring))), Field::AXIS),
        (
            "cut",
            prepare(
                newtonian(mirror())
                    .front_opening(Opening::new(322.0, 1650.0))
                    .drawtube(Drawtube::new(47.0, 50.0, 18.0)),
            ),
            Field::arcmin(25.0, 10.0),
        ),
    ]
}

#[test]
fn every_pupil_keeps_the_laws() {
    for (name, telescope, field) in trains() {
        let wavefront = telescope.wavefront(field, Focus::LeastRms, WAVELENGTH_NM).expect(name);
        let cutoff = cutoff_per_mm(telescope.focal_ratio());
        let frequency = vec![0.0, 0.2 * cutoff, 0.5 * cutoff, 0.9 * cutoff, 1.01 * cutoff, 3.0 * cutoff];
        for azimuth_deg in [0.0, 30.0, 90.0, 135.0] {
            let there = otf(&wavefront, azimuth_deg, frequency.clone());
            let back = otf(&wavefront, azimuth_deg + 180.0, frequency.clone());
            assert_eq!(
                (there.real[0], there.imaginary[0]),
                (1.0, 0.0),
                "{name}: all of the light at frequency 0"
            );
            for k in 0..frequency.len() {
                assert_close(there.real[k], back.real[k], 1e-6, "laws: the real part is even");
                assert_close(there.imaginary[k], -back.imaginary[k], 1e-6, "laws: the imaginary part is odd");
            }
            for k in 4..6 {
                assert!(
                    there.real[k] == 0.0 && there.imaginary[k] == 0.0,
                    "{name}: nothing beyond the cut-off"
                );
            }
            assert!(
                there.error_estimate > 0.0 && there.error_estimate <= 1e-5,
                "{name}: {}",
                there.error_estimate
            );
        }
    }
}

#[test]
fn errors_lower_the_contrast_of_the_same_pupil() {
    // The modulus of an autocorrelation is at most that of the modulus: exact, for the same pupil without error.
    let errors: BTreeMap<u32, f64> = [(5, 40.0), (8, -60.0), (11, 35.0)].into();
    for eps in [0.0, 0.3] {
        let frequency: Vec<f64> = (1..20).map(|k| f64::from(k) / 20.0 * cutoff_per_mm(FOCAL_RATIO)).collect();
        let found = mtf(&terms(&errors, eps), frequency);
        for k in 0..found.frequency_per_mm.len() {
            for contrast in [found.contrast_along[k], found.contrast_across[k], found.contrast_mean[k]] {
                assert!(contrast <= found.perfect_obstructed[k] + 1e-6, "at {}", found.frequency_per_mm[k]);
            }
        }
    }
}

#[test]
fn many_waves_of_error_still_settle() {
    // A sphere in place of the paraboloid, 318 mm f/4.9: all azimuths of a round pupil agree.
    let sphere = bare(Primary::new(318.0, FocalLengthMm(1558.0)).conic(0.0));
    let wavefront = sphere.wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    let frequency = vec![3.0, 30.0, 100.0, 250.0];
    let (a, b) = (otf(&wavefront, 0.0, frequency.clone()), otf(&wavefront, 37.0, frequency));
    for k in 0..4 {
        assert_close(
            a.real[k],
            b.real[k],
            a.error_estimate + b.error_estimate,
            "many waves: all azimuths agree",
        );
        assert_close(a.imaginary[k], 0.0, 1e-6, "many waves: no phase");
    }
}

#[test]
fn an_obstruction_lowers_coarse_detail_and_raises_fine_detail() {
    let found = |n: f64| {
        let there = mtf(&terms(&BTreeMap::new(), 0.3), vec![n * cutoff_per_mm(FOCAL_RATIO)]);
        there.contrast_mean[0] - there.perfect_clear[0]
    };
    assert!(found(0.3) < -0.01 && found(0.8) > 0.01);
}

#[test]
fn a_spectrum_is_the_mean_of_its_lines() {
    let telescope = bare(Primary::new(200.0, FocalLengthMm(1000.0)).layer(TurnedEdge::new(6.0, 200.0)));
    let wavefront =
        telescope.wavefront(Field::arcmin(4.0, 0.0), Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    let lines = Spectrum::of_lines(&[480.0, 560.0, 640.0], &[1.0, 2.0, 1.0]).expect("a spectrum");
    let frequency = vec![60.0, 180.0, 350.0];
    let all = MtfOptions { frequency_per_mm: Some(frequency.clone()), spectrum: Some(lines.clone()) };
    let together = wavefront.otf(40.0, &all).expect("a transfer function");
    for k in 0..frequency.len() {
        let (mut re, mut im) = (0.0, 0.0);
        for &(nm, share) in lines.lines() {
            let one = MtfOptions { spectrum: Some(Spectrum::line(nm).expect("a line")), ..all.clone() };
            let one = wavefront.otf(40.0, &one).expect("a transfer function");
            re += share * one.real[k];
            im += share * one.imaginary[k];
        }
        assert_close(together.real[k], re, 1e-6, "spectrum: real part");
        assert_close(together.imaginary[k], im, 1e-6, "spectrum: imaginary part");
    }
    let contrast = wavefront.mtf(&all).expect("contrast");
    assert_close(
        contrast.cutoff_per_mm,
        2.0 * 0.1 / (1.0 + 0.0025) / 480e-6,
        0.1,
        "spectrum: the shortest line's cut-off",
    );
}

#[test]
fn the_cut_off_is_that_of_the_real_cone() {
    // sin(theta) = (r/f)/(1 + r^2/4f^2) on the axis of a paraboloid: closed form.
    let telescope = paraboloid(200.0, 1000.0);
    let wavefront = telescope.wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM).expect("a wavefront");
    let found = wavefront.mtf(&MtfOptions::default()).expect("contrast");
    let sine = 0.1 / (1.0 + 0.0025);
    assert_close(found.cutoff_per_mm, 2.0 * sine / 550e-6, 1e-9, "cut-off: 2 sin(theta)/lambda");
    assert_close(found.textbook_cutoff_per_mm, 0.2 / 550e-6, 1e-9, "cut-off: D/(lambda f)");
    assert_eq!(found.frequency_per_mm.len(), found.contrast_mean.len());
    let just_inside =
        otf(&wavefront, 0.0, vec![0.999 * found.cutoff_per_mm, 1.000_001 * found.cutoff_per_mm]);
    assert!(just_inside.real[0] > 1e-5 && just_inside.real[1] == 0.0);
}

#[test]
fn the_equivalent_aperture_of_a_perfect_mirror_is_its_own() {
    let slow = paraboloid(150.0, 30_000.0)
        .wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM)
        .expect("a wavefront");
    let contrast = slow.mtf(&at(vec![1.0])).expect("contrast");
    for detail_arcsec in [0.9, 1.5, 3.0, 10.0] {
        let diameter = contrast.equivalent_aperture_mm(detail_arcsec).expect("contrast is left");
        assert_close(diameter, 150.0, 0.01, "equivalent: a perfect slow mirror, mm");
    }
    // A fast one differs by its cone alone.
    let fast = paraboloid(318.0, 1558.0)
        .wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM)
        .expect("a wavefront");
    let diameter =
        fast.mtf(&at(vec![1.0])).expect("contrast").equivalent_aperture_mm(1.0).expect("contrast is left");
    // The rim's light comes from an angle smaller by r^2/4f^2 = 1/(16 F^2), and more or less light with it: twice that.
    let cone = 2.0 / (16.0 * 4.9 * 4.9);
    assert_close(diameter, 318.0, cone * 318.0, "equivalent: a perfect f/4.9, mm");
    // With a bad edge it is smaller, and its own perfect contrast is the contrast found: closed form.
    let edge = bare(Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(20.0, 330.0)));
    let edge = edge.wavefront(Field::AXIS, Focus::Peak, WAVELENGTH_NM).expect("a wavefront");
    let detail = edge.mtf(&at(vec![1.0])).expect("contrast").at_detail(0.8).expect("a detail");
    let diameter = detail.equivalent_aperture_mm.expect("contrast is left");
    assert!(diameter < 300.0, "{diameter}");
    let ratio = 550e-6 / diameter * catoptric::ARCSEC_PER_RADIAN / 0.8;
    assert_close(
        perfect_mtf(ratio, 0.0).expect("contrast"),
        detail.contrast_mean,
        1e-9,
        "equivalent: the same contrast",
    );
    // Bars of 0.8 arcsec, bright and dark together: so many for each mm.
    assert_close(detail.frequency_per_mm, 206_264.806_247 / 0.8 / 1558.0, 1e-6, "equivalent: the frequency");
}

#[test]
fn finer_than_the_cut_off_there_is_no_equivalent() {
    let wavefront = paraboloid(100.0, 1000.0)
        .wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM)
        .expect("a wavefront");
    let contrast = wavefront.mtf(&at(vec![1.0])).expect("contrast");
    let detail = contrast.at_detail(0.5).expect("a detail");
    assert_eq!((detail.contrast_mean, detail.equivalent_aperture_mm), (0.0, None));
    let error = contrast.equivalent_aperture_mm(0.5).expect_err("nothing is left");
    assert_eq!(error.problems()[0].field, "detail_arcsec");
}

#[test]
fn what_cannot_be_is_refused() {
    let wavefront = terms(&BTreeMap::new(), 0.0);
    let field =
        |options: &MtfOptions| wavefront.mtf(options).expect_err("refused").problems()[0].field.clone();
    assert_eq!(field(&at(vec![10.0, -1.0])), "frequency_per_mm[1]");
    assert_eq!(field(&at(vec![f64::NAN])), "frequency_per_mm[0]");
    assert_eq!(field(&at(vec![])), "frequency_per_mm");
    assert_eq!(wavefront.otf(720.0, &at(vec![1.0])).expect_err("refused").problems()[0].field, "azimuth_deg");
    let alone =
        Wavefront::from_zernikes(&BTreeMap::new(), Indexing::Noll, 0.0, None, WAVELENGTH_NM).expect("terms");
    assert_eq!(alone.mtf(&at(vec![1.0])).expect_err("refused").problems()[0].field, "focal_ratio");
    // Coefficients have no focal length, so no angles.
    let contrast = mtf(&wavefront, vec![1.0]);
    assert_eq!(contrast.frequency_per_arcsec(), None);
    assert_eq!(contrast.at_detail(1.0).expect_err("refused").problems()[0].field, "detail_arcsec");
    let telescope = paraboloid(100.0, 1000.0);
    let seen = telescope.wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM).expect("a wavefront");
    let contrast = mtf(&seen, vec![1.0]);
    for detail_arcsec in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(
            contrast.at_detail(detail_arcsec).expect_err("refused").problems()[0].field,
            "detail_arcsec"
        );
    }
    assert_eq!(perfect_mtf(-0.1, 0.0).expect_err("refused").problems()[0].field, "frequency_ratio");
    assert_eq!(perfect_mtf(0.1, 1.0).expect_err("refused").problems()[0].field, "obstruction_ratio");
}
