//! Thin metal on glass: what it returns, what it lets through, at which height light turns around.

use approx::assert_abs_diff_eq;
use catoptric::{Metal, MetalFilm, Overcoat};

fn bulk() -> MetalFilm {
    MetalFilm::new(Metal::Aluminium, 2000.0)
}

#[test]
fn bulk_aluminium_is_that_of_the_published_model() {
    // Rakic et al. 1998, Applied Optics 37, 5271, Lorentz-Drude; computed from its table in 40 digits with mpmath.
    let (n, k) = Metal::Aluminium.index(550.0).expect("green light");
    assert_abs_diff_eq!(n, 0.965_632, epsilon = 5e-7);
    assert_abs_diff_eq!(k, 6.458_058, epsilon = 5e-7);
    let normal = bulk().response(550.0, 0.0).expect("a film");
    assert_abs_diff_eq!(normal.reflectance(), 0.915_240_1, epsilon = 5e-8);
    let tilted = bulk().response(550.0, 45.0).expect("a film");
    assert_abs_diff_eq!(tilted.reflectance_s, 0.939_625_6, epsilon = 5e-8);
    assert_abs_diff_eq!(tilted.reflectance_p, 0.882_896_2, epsilon = 5e-8);
}

#[test]
fn handbook_rows_of_aluminium_lie_near_the_model() {
    // Handbook of optical constants, excerpt of its rows (n, k) by wavelength: measured films, smoothed by the model.
    let rows = [
        (400.0, 0.40, 4.45),
        (450.0, 0.51, 5.00),
        (500.0, 0.77, 6.08),
        (550.0, 0.96, 6.69),
        (600.0, 1.18, 7.26),
        (650.0, 1.43, 7.79),
        (700.0, 1.72, 8.31),
    ];
    for (wavelength_nm, n, k) in rows {
        let model = Metal::Aluminium.index(wavelength_nm).expect("visible light");
        assert!(
            (model.0 - n).abs() < 0.085 && (model.1 / k - 1.0).abs() < 0.065,
            "{wavelength_nm} nm: {model:?}"
        );
        let r = |n: f64, k: f64| ((n - 1.0).powi(2) + k * k) / ((n + 1.0).powi(2) + k * k);
        assert!((r(model.0, model.1) - r(n, k)).abs() < 0.012, "{wavelength_nm} nm");
        let thick = MetalFilm::new(Metal::Aluminium, 500.0).response(wavelength_nm, 0.0).expect("a film");
        assert!((thick.reflectance() - r(n, k)).abs() < 0.012, "{wavelength_nm} nm: {}", thick.reflectance());
    }
}

#[test]
fn any_thick_metal_at_45_degrees_returns_the_square_of_s_in_p() {
    // Rp(45) = Rs(45)^2 for a half space of any index: Fresnel's formulas, from memory.
    for metal in [Metal::Aluminium, Metal::Silver] {
        for wavelength_nm in [400.0, 550.0, 900.0] {
            let found = MetalFilm::new(metal, 2000.0).response(wavelength_nm, 45.0).expect("a film");
            assert_abs_diff_eq!(found.reflectance_s.powi(2), found.reflectance_p, epsilon = 1e-14);
        }
    }
}

#[test]
fn thinner_metal_is_a_hollow() {
    // (0.96 + 6.69 i) on 1.5168 gives -6.369, 27.258, 87.265 nm for 10, 40, 100 nm; with the model's own index the heights
    // are others by a few tenths. Bare glass lies at 0.
    let height = |thickness_nm: f64| {
        let film = MetalFilm::new(Metal::Aluminium, thickness_nm).glass_index(1.5168);
        film.response(550.0, 0.0).expect("a film").height_nm()
    };
    assert_abs_diff_eq!(height(0.0), 0.0, epsilon = 1e-12);
    for (thickness_nm, published) in [(10.0, -6.369), (40.0, 27.258), (100.0, 87.265)] {
        assert_abs_diff_eq!(height(thickness_nm), published, epsilon = 0.6);
    }
    assert!(height(10.0) < 0.0 && height(40.0) < height(100.0));
}

#[test]
fn nothing_is_lost() {
    // What stays in the metal, from the field inside it: A = integral of (2 pi/lambda) Im(eps) |E|^2 dz at normal incidence
    // (Poynting's theorem). The field is that of the two waves in the film, matched at the glass.
    let film = MetalFilm::new(Metal::Aluminium, 25.0);
    let found = film.response(550.0, 0.0).expect("a film");
    let (n, k) = Metal::Aluminium.index(550.0).expect("green light");
    let (n, glass) = (nalgebra::Complex::new(n, k), film.glass_index);
    let wave = 2.0 * std::f64::consts::PI / 550.0;
    let transmitted = (found.transmittance() / glass).sqrt();
    let field = |above_glass_nm: f64| {
        let phase = nalgebra::Complex::new(0.0, wave * above_glass_nm) * n;
        let (down, up) = ((n + glass) / (n * 2.0), (n - glass) / (n * 2.0));
        (down * (-phase).exp() + up * phase.exp()) * transmitted
    };
    let steps = 20_000;
    let step = 25.0 / f64::from(steps);
    let absorbed: f64 = (0..steps).map(|i| field((f64::from(i) + 0.5) * step).norm_sqr() * step).sum::<f64>()
        * wave
        * (n * n).im;
    assert_abs_diff_eq!(found.absorptance(), absorbed, epsilon = 1e-8);
}

#[test]
fn nothing_is_lost_on_the_way() {
    for metal in [Metal::Aluminium, Metal::Silver] {
        for over in [None, Some(Overcoat::new(1.46, 175.0)), Some(Overcoat::new(2.3, 60.0))] {
            for thickness_nm in [0.0, 8.0, 40.0, 150.0] {
                let film = MetalFilm { overcoat: over, ..MetalFilm::new(metal, thickness_nm) };
                for angle in [0.0, 3.0, 45.0] {
                    let found = film.response(550.0, angle).expect("a film");
                    let kept = found.absorptance();
                    assert!((-1e-12..1.0).contains(&kept), "{film:?}: {kept}");
                    let without = thickness_nm == 0.0;
                    assert!(!without || kept.abs() < 1e-12, "glass keeps nothing");
                }
            }
        }
    }
}

#[test]
fn an_overcoat_of_half_a_wave_changes_nothing_and_one_of_a_quarter_dims() {
    // Half a wave of a transparent layer is absent at its wavelength (Born and Wolf, Principles of Optics, 1.6; from memory).
    let bare = MetalFilm::new(Metal::Aluminium, 90.0);
    let half = bare.overcoat(Overcoat::new(1.46, 550.0 / (2.0 * 1.46))).response(550.0, 0.0).expect("a film");
    let quarter =
        bare.overcoat(Overcoat::new(1.46, 550.0 / (4.0 * 1.46))).response(550.0, 0.0).expect("a film");
    let plain = bare.response(550.0, 0.0).expect("a film");
    assert_abs_diff_eq!(half.reflectance(), plain.reflectance(), epsilon = 1e-14);
    assert!(quarter.reflectance() < plain.reflectance() - 0.04);
    // Its surface lies half a wave of it above the metal, and light needs half a wave of air more: the optical surplus.
    let lift = 550.0 / (2.0 * 1.46) - 550.0 / 2.0;
    assert_abs_diff_eq!(half.height_nm() - plain.height_nm(), lift, epsilon = 1e-9);
}

#[test]
fn a_lamp_behind_the_mirror_tells_thickness_where_reflectance_cannot() {
    let film = MetalFilm::new(Metal::Aluminium, 45.0);
    let seen = film.response(550.0, 0.0).expect("a film");
    let by_light = film.thickness_from_reflectance(seen.reflectance(), 0.01, 550.0).expect("thicknesses");
    assert!(
        by_light.ranges.last().expect("a range").high_nm.is_none(),
        "bright metal may be of any thickness"
    );
    assert!(by_light.height_open_nm > 100.0 && by_light.words.contains("cannot tell"));
    let lamp = seen.lamp_transmittance();
    let by_lamp = film.thickness_from_lamp(lamp, 0.1 * lamp, 550.0).expect("thicknesses");
    let [only] = by_lamp.ranges[..] else { panic!("one range: {by_lamp:?}") };
    assert!(only.low_nm < 45.0 && only.high_nm.expect("an end") > 45.0);
    assert!(only.high_nm.expect("an end") - only.low_nm < 2.0);
    // A tolerance finer than the looks finds its range as well.
    let fine = film.thickness_from_lamp(lamp, 1e-6 * lamp, 550.0).expect("thicknesses");
    assert_abs_diff_eq!(fine.ranges[0].low_nm, 45.0, epsilon = 1e-4);
}

#[test]
fn what_cannot_be_is_refused_by_name() {
    let film = MetalFilm::new(Metal::Aluminium, 80.0);
    let field = |error: catoptric::Error| error.problems()[0].field.clone();
    assert_eq!(field(MetalFilm::new(Metal::Silver, -1.0).check().unwrap_err()), "metal_film.thickness_nm");
    assert_eq!(field(film.glass_index(0.5).check().unwrap_err()), "metal_film.glass_index");
    let over = film.overcoat(Overcoat::new(f64::NAN, 100.0));
    assert_eq!(field(over.check().unwrap_err()), "metal_film.overcoat.index");
    assert_eq!(field(film.response(0.55, 0.0).unwrap_err()), "wavelength_nm");
    assert_eq!(field(film.response(550.0, 90.0).unwrap_err()), "angle_deg");
    assert_eq!(field(film.thickness_from_reflectance(90.0, 0.01, 550.0).unwrap_err()), "reflectance");
    assert_eq!(field(film.thickness_from_reflectance(0.9, 0.0, 550.0).unwrap_err()), "tolerance");
    assert_eq!(field(film.thickness_from_reflectance(0.99, 0.01, 550.0).unwrap_err()), "reflectance");
}
