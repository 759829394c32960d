//! Trains and results as text and back, and trains drawn at random: within physical bounds and outside of them.

mod common;

use catoptric::{
    CentralHill, Coating, CoatingPatch, CoatingRing, Diagonal, Drawtube, EdgeRollOff, EdgeStep, Error, Field,
    FigureLayer, FilterRing, FocalLengthMm, FocalPlane, Focus, FocuserBoard, Holder, Indexing, Light, Metal,
    MetalCoat, MetalFilm, MirrorClips, Opening, Prepared, Primary, PsfSize, RadialProfile, RingProfile,
    SensorMask, Spider, Spot, ThinRing, Train, TrainBuilder, TurnedEdge, Wavefront, ZernikeTerms, Zone,
};
use common::{everything, prepare};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// So many cases, the same ones in every run.
fn draws(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        rng_seed: RngSeed::Fixed(20_240_601),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// Text in which two numbers differ if their bits do: `Debug` prints the shortest digits that read back, and -0.
fn bits(value: &impl std::fmt::Debug) -> String {
    format!("{value:?}")
}

/// Numbers written with few digits and with many, as files have them.
fn between(low: f64, high: f64) -> impl Strategy<Value = f64> {
    (0.0..1.0_f64, any::<bool>()).prop_map(move |(t, short)| {
        let value = low + t * (high - low);
        if short { ((value * 16.0).round() / 16.0).clamp(low, high) } else { value }
    })
}

fn layer(rim_mm: f64) -> impl Strategy<Value = FigureLayer> {
    let edge = (between(0.01, 0.4), between(-600.0, 600.0), 1.0..4.0_f64)
        .prop_map(move |(w, drop, power)| TurnedEdge::new(w * rim_mm, drop).power(power).into());
    let zone = (between(0.0, 1.0), between(0.04, 0.3), between(-80.0, 80.0))
        .prop_map(move |(r, w, h)| Zone::new(r * rim_mm, w * rim_mm, h).into());
    let profile = vec(-60.0..60.0_f64, 2..9).prop_map(move |heights| {
        let step = rim_mm / (heights.len() - 1) as f64;
        let radii = (0..heights.len()).map(|i| (step * i as f64).min(rim_mm)).collect();
        RadialProfile::new(radii, heights).into()
    });
    let terms = vec((1_u32..40, -25.0..25.0_f64), 0..4)
        .prop_map(|terms| ZernikeTerms::new(terms, Indexing::Noll).into());
    let rolled = (between(0.01, 0.24), between(-600.0, 600.0))
        .prop_map(move |(reach, drop)| EdgeRollOff::new(reach * rim_mm, drop).into());
    let step = (between(0.01, 0.4), between(-130.0, 130.0))
        .prop_map(move |(width, drop)| EdgeStep::new(width * rim_mm, drop).into());
    let hill = (between(0.01, 1.0), between(-200.0, 200.0), 1.0..4.0_f64)
        .prop_map(move |(r, height, power)| CentralHill::new(r * rim_mm, height).power(power).into());
    prop_oneof![edge, zone, profile, terms, rolled, step, hill]
}

fn primary() -> impl Strategy<Value = Primary> {
    let sizes = (between(80.0, 800.0), between(3.2, 9.0), between(-1.5, 0.1));
    sizes.prop_flat_map(|(aperture, ratio, conic)| {
        let rim = aperture / 2.0;
        let ring = (0.0..0.5_f64, 0.05..0.5_f64, 0.05..1.0_f64).prop_map(move |(from, width, r)| {
            let ring = CoatingRing::new(from * rim, (from + width) * rim, r);
            if r < 0.4 { ring.profile(RingProfile::Smooth) } else { ring }
        });
        let patch = (0.0..0.8_f64, -3.0..3.0_f64, 0.02..0.5_f64, 0.1..1.0_f64, any::<bool>()).prop_map(
            move |(from, angle, radius, r, soft)| {
                let centre = [from * rim * f64::cos(angle), from * rim * f64::sin(angle)];
                let patch = CoatingPatch::new(centre, radius * rim, r);
                if soft { patch.softness_mm(0.1 * radius * rim) } else { patch }
            },
        );
        let thin = (0.0..0.5_f64, 0.05..0.5_f64, 0.0..150.0_f64, any::<bool>()).prop_map(
            move |(from, width, nm, soft)| {
                let ring = ThinRing::new(from * rim, (from + width) * rim, nm);
                match (soft, nm > 75.0) {
                    (true, _) => ring.softness_mm(0.1 * width * rim),
                    (false, true) => ring.profile(RingProfile::Smooth),
                    (false, false) => ring,
                }
            },
        );
        let metal =
            (any::<bool>(), 20.0..200.0_f64, vec(thin, 0..2)).prop_map(|(silver, nm, rings)| MetalCoat {
                rings,
                ..MetalCoat::new(MetalFilm::new(if silver { Metal::Silver } else { Metal::Aluminium }, nm))
            });
        let coating =
            (0.3..1.0_f64, vec(ring, 0..3), vec(patch, 0..2), prop::option::of(metal), 0.0..0.1_f64)
                .prop_map(|(reflectance, rings, patches, metal, pinhole_share)| Coating {
                    rings,
                    patches,
                    metal,
                    pinhole_share,
                    ..Coating::new(reflectance)
                });
        let mask = prop::option::of(between(0.6, 1.0));
        (coating, mask, vec(layer(rim), 0..4)).prop_map(move |(coating, mask, figure)| Primary {
            mask_diameter_mm: mask.map(|m| m * aperture),
            coating,
            figure,
            ..Primary::new(aperture, FocalLengthMm(ratio * aperture)).conic(conic)
        })
    })
}

/// A train that could stand in a garden.
fn physical() -> impl Strategy<Value = TrainBuilder> {
    let flat = (0.55..1.1_f64, 0.8..2.0_f64, prop::option::of(-0.2..0.2_f64), 0.3..1.0_f64);
    let opening = (0.95..1.4_f64, 0.8..1.3_f64);
    let tube = (0.05..0.3_f64, 0.05..0.2_f64, -0.02..0.1_f64);
    let thin = (1..6_u32, 0.002..0.01_f64, -180.0..180.0_f64, any::<[bool; 4]>());
    let parts = (primary(), prop::option::of(flat), prop::option::of(opening), prop::option::of(tube), thin);
    parts.prop_map(|(primary, flat, opening, tube, (count, thickness, angle, has))| {
        let (aperture, focal) = (primary.clear_aperture_mm, primary.focal_length_mm);
        let mut parts = Train::builder(primary);
        if let Some((to_focus, size, offset, reflectance)) = flat {
            // Beyond half the aperture, in units of the aperture; the flat as a multiple of the cone it must pass.
            let to_focus = to_focus * aperture;
            let minor = (size * to_focus * aperture / focal).min(0.6 * aperture);
            parts = parts
                .diagonal(Diagonal {
                    offset_mm: offset.map(|o| o * minor),
                    ..Diagonal::new(minor).reflectance(reflectance)
                })
                .focal_plane(FocalPlane::new(to_focus));
            if has[0] {
                let spider = Spider::new(count, thickness * aperture).angle_deg(angle);
                parts = parts.spider(if has[1] { spider.bend_radius_mm(0.7 * aperture) } else { spider });
            }
            if has[2] {
                parts = parts.holder(Holder::new(1.02 * minor));
            }
            if let Some((bore, length, outer)) = tube {
                parts = parts.drawtube(Drawtube::new(bore * aperture, length * aperture, outer * aperture));
            }
        }
        if let Some((diameter, height)) = opening {
            parts = parts.front_opening(Opening::new(diameter * aperture, height * focal));
        }
        let has_clips = flat.is_none() || has[3];
        if has_clips {
            let clips = MirrorClips::new(count, 5.0 * thickness * aperture, 2.0 * thickness * aperture);
            parts = parts.mirror_clips(clips.angle_deg(angle));
        }
        parts
    })
}

/// Any double at all.
fn wild() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(f64::NEG_INFINITY),
        Just(0.0),
        Just(-0.0),
        Just(f64::MIN_POSITIVE),
        -1e4..1e4_f64
    ]
}

/// A train of any doubles.
fn unphysical() -> impl Strategy<Value = TrainBuilder> {
    let numbers = vec(wild(), 38);
    let figure = vec(
        prop_oneof![
            (wild(), wild(), wild()).prop_map(|(a, b, c)| FigureLayer::from(TurnedEdge::new(a, b).power(c))),
            (wild(), wild(), wild()).prop_map(|(a, b, c)| Zone::new(a, b, c).into()),
            (vec(wild(), 0..4), vec(wild(), 0..4)).prop_map(|(a, b)| RadialProfile::new(a, b).into()),
        ],
        0..3,
    );
    (numbers, figure, any::<[bool; 8]>(), any::<[u32; 2]>()).prop_map(|(n, figure, has, counts)| {
        TrainBuilder {
            primary: Primary {
                conic: n[2],
                mask_diameter_mm: has[0].then_some(n[3]),
                coating: Coating::new(n[4])
                    .ring(CoatingRing::new(n[5], n[6], n[7]))
                    .patch(CoatingPatch::new([n[26], n[27]], n[28], n[7]).softness_mm(n[29])),
                figure,
                ..Primary::new(n[0], FocalLengthMm(n[1]))
            },
            diagonal: has[1].then(|| Diagonal::new(n[8]).offset_mm(n[9]).reflectance(n[10])),
            focal_plane: has[2].then(|| FocalPlane::new(n[11])),
            front_opening: has[3].then(|| Opening::new(n[12], n[13])),
            drawtube: has[4].then(|| Drawtube::new(n[14], n[15], n[16])),
            spider: has[5].then(|| Spider {
                vanes: counts[0] % 16,
                thickness_mm: n[17],
                angle_deg: n[18],
                above_vertex_mm: has[0].then_some(n[19]),
                bend_radius_mm: has[1].then_some(n[20]),
            }),
            holder: has[6].then(|| Holder { diameter_mm: n[21], above_vertex_mm: has[2].then_some(n[22]) }),
            mirror_clips: has[7].then(|| MirrorClips::new(counts[1] % 32, n[23], n[24]).angle_deg(n[25])),
            focuser_board: has[0].then(|| FocuserBoard::new(n[30], n[31])),
            filter_ring: has[1].then(|| FilterRing::new(n[32], n[33])),
            sensor_mask: has[2].then(|| SensorMask::new(n[34], n[35], n[36]).rotation_deg(n[37])),
        }
    })
}

/// The same train with one number replaced by any double.
fn spoilt() -> impl Strategy<Value = TrainBuilder> {
    (physical(), 0..12_usize, wild()).prop_map(|(mut parts, which, value)| {
        match which {
            0 => parts.primary.clear_aperture_mm = value,
            1 => parts.primary.focal_length_mm = value,
            2 => parts.primary.conic = value,
            3 => parts.primary.mask_diameter_mm = Some(value),
            4 => parts.primary.coating.reflectance = value,
            5 => parts.primary.figure = vec![Zone::new(0.0, value, 10.0).into()],
            6 => parts.primary.figure = vec![TurnedEdge::new(value, 10.0).into()],
            7 => parts.diagonal = parts.diagonal.map(|d| Diagonal { minor_axis_mm: value, ..d }),
            8 => parts.diagonal = parts.diagonal.map(|d| d.offset_mm(value)),
            9 => parts.focal_plane = Some(FocalPlane::new(value)),
            10 => parts.front_opening = Some(Opening::new(value, 1500.0)),
            _ => parts.drawtube = Some(Drawtube::new(value, 50.0, 18.0)),
        }
        parts
    })
}

fn fields() -> impl Strategy<Value = Field> {
    (-60.0..60.0_f64, -60.0..60.0_f64).prop_map(|(a, b)| Field::arcmin(a, b))
}

/// What every answer about light must be.
fn hold_light(light: &Light, accuracy: f64) {
    let whole = light.lit_fraction + light.stopped.iter().map(|s| s.fraction).sum::<f64>();
    assert!((whole - 1.0).abs() < accuracy, "lit and stopped together are {whole}: {light:?}");
    let shares = light.stopped.iter().map(|s| s.fraction).chain([light.lit_fraction]);
    for share in shares {
        assert!((-accuracy..=1.0 + accuracy).contains(&share), "{light:?}");
    }
}

/// No call panics, and no number it answers with is NaN.
fn hold_calls(telescope: &Prepared, field: Field) {
    // Exact for any mirror that could be made; each share of a stranger one to what it states.
    let light = telescope.light(field);
    let is_usual = (-1.6..=0.2).contains(&telescope.train().primary().conic);
    let accuracy = if is_usual { 1e-12 } else { light.error_estimate * (1 + light.stopped.len()) as f64 };
    hold_light(&light, accuracy);
    match telescope.spot_at(field, 0.0, 50) {
        Ok(spot) => {
            hold_light(&spot.light, accuracy);
            let numbers = [spot.rms_radius_um, spot.radius_80_um, spot.tangential_coma_um, spot.error_um];
            assert!(numbers.iter().all(|v| v.is_finite()), "{spot:?}");
            assert!(spot.rms_radius_um >= 0.0 && spot.radius_80_um >= 0.0, "{spot:?}");
        }
        Err(error) => assert!(matches!(error, Error::NoLight { .. }), "{error}"),
    }
    let shift = telescope.least_spot_shift_mm(field);
    assert!(shift.map_or_else(|e| matches!(e, Error::NoLight { .. }), f64::is_finite));
}

proptest! {
    #![proptest_config(draws(300))]

    #[test]
    fn trains_come_back_bit_for_bit(parts in physical()) {
        let train = parts.build().expect("a physical train");
        let json = Train::from_json(&train.to_json()).expect("JSON of our own");
        prop_assert_eq!(bits(&json), bits(&train));
        let toml = Train::from_toml(&train.to_toml()).expect("TOML of our own");
        prop_assert_eq!(bits(&toml), bits(&train));
        let rebuilt = train.to_parts().build().expect("the same parts");
        prop_assert_eq!(bits(&rebuilt), bits(&train));
    }

    #[test]
    fn physical_trains_answer_and_lose_no_light(parts in physical(), field in fields()) {
        let train = parts.build().expect("a physical train");
        prop_assert!(train.problems().iter().all(|p| p.severity == catoptric::Severity::Warning));
        hold_calls(&Prepared::new(&train), field);
    }

    #[test]
    fn trains_of_any_numbers_are_refused_or_sound(parts in unphysical(), field in fields()) {
        if let Ok(train) = parts.build() {
            hold_calls(&Prepared::new(&train), field);
        }
    }

    #[test]
    fn spoilt_trains_are_refused_or_sound(parts in spoilt(), field in fields()) {
        match parts.build() {
            Ok(train) => {
                // What was accepted can be written and read.
                let again = Train::from_json(&train.to_json()).expect("JSON of our own");
                prop_assert_eq!(bits(&again), bits(&train));
                hold_calls(&Prepared::new(&train), field);
            }
            Err(error) => prop_assert!(!error.problems().is_empty()),
        }
    }

    #[test]
    fn any_field_and_shift_is_answered_or_refused(a in wild(), b in wild(), shift in wild()) {
        let telescope = prepare(everything());
        let within = a.abs() <= 600.0 && b.abs() <= 600.0 && shift.abs() <= 1558.0 / 4.0;
        match telescope.spot_at(Field::arcmin(a, b), shift, 20) {
            Ok(spot) => prop_assert!(within && spot.rms_radius_um.is_finite()),
            Err(Error::NoLight { .. }) => prop_assert!(within),
            Err(error) => prop_assert!(!within && !error.problems().is_empty(), "{error}"),
        }
    }

    #[test]
    fn any_wavelength_and_obstruction_is_answered_or_refused(wave in wild(), obstruction in wild()) {
        prop_assert_eq!(prepare(everything()).airy(wave).is_ok(), (200.0..=3000.0).contains(&wave));
        match Wavefront::from_zernikes(&[(4, 60.0)].into(), Indexing::Noll, obstruction, Some(5.0), 550.0) {
            Ok(wavefront) => prop_assert!(wavefront.strehl.is_finite() && wavefront.rms_nm.is_finite()),
            Err(error) => prop_assert!(!error.problems().is_empty(), "{error}"),
        }
    }
}

proptest! {
    // A wavefront takes tens of milliseconds.
    #![proptest_config(draws(25))]

    #[test]
    fn physical_trains_have_a_wavefront(parts in physical(), a in -8.0..8.0_f64, b in -8.0..8.0_f64) {
        let telescope = prepare(parts);
        for focus in [Focus::Paraxial, Focus::LeastSpot, Focus::LeastRms, Focus::Peak] {
            match telescope.wavefront(Field::arcmin(a, b), focus, 550.0) {
                Ok(w) => {
                    prop_assert!(w.rms_nm.is_finite() && w.pv_nm >= 0.0, "{focus:?}");
                    prop_assert!((0.0..=1.0 + 1e-9).contains(&w.strehl), "{focus:?}: {}", w.strehl);
                    prop_assert!((0.0..=1.0 + 1e-9).contains(&w.amplitude_factor), "{focus:?}: {}", w.amplitude_factor);
                }
                // A mirror without an image may say that it has none; tests/convergence.rs asks more of sound ones.
                Err(error) => {
                    let is_said = matches!(error, Error::NoLight { .. } | Error::NotConverged { .. });
                    prop_assert!(is_said, "{focus:?}: {error}");
                }
            }
        }
    }
}

#[test]
fn a_needle_of_a_zone_is_refused_or_answered() {
    // Narrower than any double's square can say.
    let parts =
        Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).layer(Zone::new(50.0, 1e-200, 10.0)));
    if let Ok(train) = parts.build() {
        hold_calls(&Prepared::new(&train), Field::arcmin(5.0, 0.0));
    }
}

#[test]
fn a_term_of_any_size_is_refused_or_answered() {
    // It would need more nodes than a machine holds.
    for value in [1e300, -f64::MAX] {
        let given = std::panic::catch_unwind(|| {
            let terms = Wavefront::from_zernikes(&[(4, value)].into(), Indexing::Noll, 0.0, None, 550.0);
            terms.map(|w| w.strehl)
        });
        let answer = given.unwrap_or_else(|_| panic!("a panic at {value} nm"));
        assert!(answer.is_err(), "{value} nm is answered by {answer:?}");
    }
}

#[test]
fn wavefronts_come_back_bit_for_bit() {
    let star = prepare(everything())
        .wavefront(Field::arcmin(7.0, -3.0), Focus::LeastRms, 550.0)
        .expect("a wavefront");
    let terms = [(4, 20.0), (8, 0.1 + 0.2), (11, -33.3)].into();
    let given = Wavefront::from_zernikes(&terms, Indexing::Noll, 0.2, Some(4.9), 632.8).expect("terms");
    for wavefront in [star, given] {
        let text = serde_json::to_string(&wavefront).expect("JSON");
        let again: Wavefront = serde_json::from_str(&text).expect("JSON of our own");
        assert_eq!(again, wavefront);
        for (a, b) in [
            (again.strehl, wavefront.strehl),
            (again.rms_nm, wavefront.rms_nm),
            (again.pv_nm, wavefront.pv_nm),
            (again.amplitude_factor, wavefront.amplitude_factor),
            (again.focus_shift_mm(), wavefront.focus_shift_mm()),
        ] {
            assert_eq!(a.to_bits(), b.to_bits(), "{a} and {b}");
        }
        let small = PsfSize { half_width_um: None, pixels: 9 };
        let (one, other) = (again.psf(small).expect("an image"), wavefront.psf(small).expect("an image"));
        assert_eq!(bits(&one.image), bits(&other.image));
        let star: catoptric::Psf =
            serde_json::from_str(&serde_json::to_string(&one).expect("JSON")).expect("JSON of our own");
        assert_eq!(star, one);
    }
}

#[test]
fn spots_and_light_come_back_bit_for_bit() {
    let telescope = prepare(everything());
    let spot = telescope.spot_at(Field::arcmin(12.0, 4.0), 0.1, 60).expect("a spot");
    let again: Spot =
        serde_json::from_str(&serde_json::to_string(&spot).expect("JSON")).expect("JSON of our own");
    assert_eq!(bits(&again), bits(&spot));
    let lit = telescope.illumination(&[0.0, 9.0], &[0.0, 2.0]).expect("light");
    let again: catoptric::Illumination =
        serde_json::from_str(&serde_json::to_string(&lit).expect("JSON")).expect("JSON of our own");
    assert_eq!(bits(&again), bits(&lit));
}

#[test]
fn files_of_both_kinds_come_back() {
    let train = everything().build().expect("a sound train");
    for ending in ["json", "toml"] {
        let path = std::env::temp_dir().join(format!("catoptric-round-trip-{}.{ending}", std::process::id()));
        train.save(&path).expect("a file");
        let again = Train::load(&path).expect("a file of our own");
        std::fs::remove_file(&path).expect("it was there");
        assert_eq!(bits(&again), bits(&train));
    }
}

#[test]
fn a_radius_of_curvature_in_a_file_is_halved() {
    let text = "[primary]\nclear_aperture_mm = 318\nradius_of_curvature_mm = 3116\n";
    let train = Train::from_toml(text).expect("a train");
    assert_eq!(bits(&train.primary().focal_length_mm), bits(&1558.0));
}
