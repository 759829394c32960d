//! The coating as it is written down: what comes back from a file, and what is refused.

mod common;

use catoptric::{
    AxisDirection, Coating, CoatingPatch, CoatingRing, Diagonal, FocalPlane, Metal, MetalCoat, MetalFilm,
    Overcoat, ReflectanceMap, RingProfile, ThicknessMap, ThinPatch, ThinRing, Train, Wavefront,
};
use common::coated::{aluminium, metal, net, primary, wave};

#[test]
fn trains_with_all_of_it_come_back_from_text() {
    let map = ReflectanceMap::new(
        net(10.0, |x, y| 0.6 + 0.001 * x + 0.0005 * y),
        10.0,
        AxisDirection::MinusY,
        AxisDirection::PlusX,
    );
    let thick =
        ThicknessMap::new(net(10.0, |x, _| 60.0 + 0.1 * x), 10.0, AxisDirection::PlusX, AxisDirection::PlusY);
    let coat = metal(aluminium(90.0).overcoat(Overcoat::new(1.46, 120.0)))
        .ring(ThinRing::new(20.0, 40.0, 33.0).softness_mm(1.25))
        .ring(ThinRing::new(45.0, 65.0, 28.0).profile(RingProfile::Smooth))
        .patch(ThinPatch::new([-50.0, 10.0], 9.0, 12.5).softness_mm(0.75))
        .map(thick);
    let coating = Coating::of_map(map)
        .ring(CoatingRing::new(50.0, 60.0, 0.7).softness_mm(0.5))
        .ring(CoatingRing::new(70.0, 90.0, 0.6).profile(RingProfile::Smooth))
        .patch(CoatingPatch::new([5.0, 5.0], 4.0, 0.3))
        .pinhole_share(0.02)
        .metal(coat);
    let flat = Diagonal::new(60.0).film(MetalFilm::new(Metal::Silver, 80.0));
    let train = Train::builder(primary(coating)).diagonal(flat).focal_plane(FocalPlane::new(160.0));
    let train = train.build().expect("a train");
    assert_eq!(Train::from_json(&train.to_json()).expect("JSON"), train);
    assert_eq!(Train::from_toml(&train.to_toml()).expect("TOML"), train);
    // Parts that are not there leave no word in the file.
    let plain = Train::builder(primary(Coating::new(0.9).ring(CoatingRing::new(1.0, 2.0, 0.5))))
        .build()
        .expect("a train");
    for word in ["metal", "pinhole", "map", "film", "softness", "profile"] {
        assert!(!plain.to_json().contains(word), "{word}");
    }
    let ring = ThinRing::new(20.0, 40.0, 33.0);
    let wave = wave(Coating::default().metal(metal(aluminium(90.0)).ring(ring)), 500.0);
    let again: Wavefront =
        serde_json::from_str(&serde_json::to_string(&wave).expect("text")).expect("a wavefront");
    assert_eq!(again.strehl.to_bits(), wave.strehl.to_bits());
}

/// What is refused, and the words that must stand in the refusal.
fn refusal(coating: Coating) -> String {
    Train::builder(primary(coating)).build().expect_err("it cannot be").to_string()
}

#[test]
fn what_cannot_be_is_refused() {
    let ring = |inner, outer, soft| CoatingRing::new(inner, outer, 0.5).softness_mm(soft);
    let thin = |coat: MetalCoat| Coating::default().metal(coat);
    let fresh = || metal(aluminium(90.0));
    let map = |value: f64| {
        ReflectanceMap::new(net(5.0, |_, _| value), 5.0, AxisDirection::PlusY, AxisDirection::PlusX)
    };
    let nm = |value: f64| {
        ThicknessMap::new(net(5.0, |_, _| value), 5.0, AxisDirection::PlusY, AxisDirection::PlusX)
    };
    let holed = || {
        let shares = net(5.0, |x, y| if x.hypot(y) < 8.0 { f64::NAN } else { 0.9 });
        ReflectanceMap::new(shares, 5.0, AxisDirection::PlusY, AxisDirection::PlusX)
    };
    let along = ReflectanceMap::new(net(5.0, |_, _| 0.9), 5.0, AxisDirection::PlusY, AxisDirection::MinusY);
    let beside = Coating { reflectance: 0.9, ..Coating::of_map(map(0.9)) };
    let cases = [
        (Coating::new(90.0), "coating.reflectance = 90"),
        (Coating::new(0.9).ring(ring(20.0, 30.0, 11.0)), "rings[0].softness_mm = 11"),
        (Coating::new(0.9).ring(ring(20.0, 30.0, f64::NAN)), "rings[0].softness_mm = NaN"),
        (Coating::new(0.9).ring(ring(20.0, 131.0, 1.0)), "rings[0].outer_radius_mm = 131"),
        (
            Coating::new(0.9).ring(ring(20.0, 30.0, 1.0).profile(RingProfile::Smooth)),
            "rings[0].softness_mm = 1",
        ),
        (Coating::new(0.9).pinhole_share(2.0), "pinhole_share = 2"),
        (Coating::new(0.9).pinhole_share(-0.1), "pinhole_share = -0.1"),
        (Coating::of_map(map(90.0)), "map.reflectance[0][0] = 90"),
        (Coating::of_map(map(0.0)), "map.reflectance[0][0] = 0"),
        (Coating::of_map(holed()), "map.reflectance"),
        (Coating::of_map(along), "map.columns_run"),
        (beside, "reflectance = 0.9 beside a map"),
        (thin(metal(aluminium(-3.0))), "metal.film.thickness_nm = -3"),
        (thin(metal(aluminium(90.0).overcoat(Overcoat::new(0.5, 10.0)))), "film.overcoat.index = 0.5"),
        (thin(fresh().ring(ThinRing::new(20.0, 30.0, -1.0))), "metal.rings[0].thickness_nm = -1"),
        (thin(fresh().ring(ThinRing::new(30.0, 20.0, 1.0))), "metal.rings[0].outer_radius_mm = 20"),
        (thin(fresh().patch(ThinPatch::new([0.0, 0.0], 5.0, 4e4))), "metal.patches[0].thickness_nm = 40000"),
        (thin(fresh().patch(ThinPatch::new([150.0, 0.0], 5.0, 40.0))), "metal.patches[0].x_mm = 150"),
        (thin(fresh().map(nm(-5.0))), "metal.map.thickness_nm[0][0] = -5"),
    ];
    for (coating, words) in cases {
        let message = refusal(coating);
        assert!(message.contains(words), "{words} is not in: {message}");
    }
    let both = Diagonal::new(60.0).film(aluminium(90.0)).reflectance(0.9).check().expect_err("both");
    assert!(both.to_string().contains("beside a film"), "{both}");
    // Haze beside metal counts on top, and is said.
    let dusty = Train::builder(primary(Coating::new(0.95).metal(fresh()))).build().expect("it can be");
    assert!(
        dusty.problems().iter().any(|p| p.field.ends_with("coating.reflectance")),
        "{:?}",
        dusty.problems()
    );
    let clean = Train::builder(primary(Coating::default().metal(fresh()))).build().expect("it can be");
    assert!(clean.problems().is_empty());
}
