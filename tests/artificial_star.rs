//! A lamp in the place of the star: conjugate foci, third order, direction, distance for a given error.

use approx::assert_abs_diff_eq;
use catoptric::{
    Diagonal, Error, Field, FocalLengthMm, FocalPlane, Focus, Indexing, Prepared, Primary, PsfSize, Seeing,
    SeenSize, Star, Train,
};

fn mirror(conic: f64) -> Prepared {
    let primary = Primary::new(200.0, FocalLengthMm(1200.0)).conic(conic);
    Prepared::new(&Train::builder(primary).build().expect("a sound train"))
}

#[test]
fn an_ellipsoid_with_lamp_and_image_in_its_foci_is_perfect() {
    for distance_mm in [2400.0, 5000.0, 20_000.0, 1e6] {
        let conic = mirror(-1.0).artificial_star(distance_mm, 550.0).unwrap().matching_conic;
        let lamp = Star::artificial(Field::AXIS, distance_mm);
        let wave = mirror(conic).wavefront(lamp, Focus::Paraxial, 550.0).unwrap();
        // Geometry: every path from focus to focus is as long. Doubles of some metres are good to 1e-6 nm.
        assert!(wave.rms_nm < 1e-4, "{distance_mm}: {}", wave.rms_nm);
        assert_abs_diff_eq!(wave.focus_shift_mm(), 0.0, epsilon = 1e-9);
    }
}

#[test]
fn a_near_lamp_shows_the_third_order_and_over_correction() {
    // A slow mirror: higher orders are below a hundredth.
    let train = Train::builder(Primary::new(200.0, FocalLengthMm(3000.0))).build().unwrap();
    let prepared = Prepared::new(&train);
    for distance_mm in [15_000.0, 60_000.0] {
        let near = prepared.artificial_star(distance_mm, 550.0).unwrap();
        // W040 at best focus: PV a quarter, RMS 1/(6 sqrt 5) (Born & Wolf, chapter 9).
        assert_abs_diff_eq!(near.pv_nm / (near.spherical_nm.abs() / 4.0), 1.0, epsilon = 5e-3);
        assert_abs_diff_eq!(near.rms_nm / (near.spherical_nm.abs() / 180.0_f64.sqrt()), 1.0, epsilon = 5e-3);
        // Direction: the same sign as that of a hyperboloid under the sky.
        let term = |w: catoptric::Wavefront| w.zernikes(Indexing::Noll, 11).unwrap()[&11];
        let lamp = term(
            prepared.wavefront(Star::artificial(Field::AXIS, distance_mm), Focus::LeastRms, 550.0).unwrap(),
        );
        let mut over = train.to_parts();
        over.primary = over.primary.conic(-1.3);
        let over = Prepared::new(&over.build().unwrap());
        let sky = term(over.wavefront(Field::AXIS, Focus::LeastRms, 550.0).unwrap());
        assert!(lamp < 0.0 && sky < 0.0 && near.spherical_nm < 0.0);
        assert_abs_diff_eq!(lamp, near.spherical_nm / 180.0_f64.sqrt(), epsilon = 0.01 * lamp.abs());
    }
}

#[test]
fn exact_paths_of_a_fast_mirror() {
    // Python 3.11 with mpmath 1.3, 40 digits: rim and centre paths |S - Q| + |Q - P| on the paraboloid of 318 mm f 1558, lamp at
    // 30 m, P the Gaussian image; W at the rim against the vertex.
    let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build().unwrap();
    let wave = Prepared::new(&train)
        .wavefront(Star::artificial(Field::AXIS, 30_000.0), Focus::Paraxial, 550.0)
        .unwrap();
    assert_abs_diff_eq!(wave.pv_nm, 1_037.944_369_740_554_6, epsilon = 1e-3);
}

#[test]
fn a_lamp_off_the_axis_lands_where_its_image_is() {
    let star = Star::artificial(Field::arcmin(10.0, -4.0), 25_000.0);
    let wave = mirror(-1.0).wavefront(star, Focus::LeastRms, 550.0).unwrap();
    // Coma moves the best point by less than 20 um.
    assert!(wave.reference_um().iter().all(|r| r.abs() < 20.0), "{:?}", wave.reference_um());
    assert_eq!(wave.star_distance_mm(), Some(25_000.0));
    // Far enough away, it is a star of the sky.
    let far = mirror(-1.0)
        .wavefront(Star::artificial(Field::arcmin(10.0, -4.0), 1e11), Focus::LeastRms, 550.0)
        .unwrap();
    let sky = mirror(-1.0).wavefront(Field::arcmin(10.0, -4.0), Focus::LeastRms, 550.0).unwrap();
    assert_abs_diff_eq!(far.rms_nm, sky.rms_nm, epsilon = 1e-3);
    assert_abs_diff_eq!(far.strehl, sky.strehl, epsilon = 1e-6);
}

#[test]
fn pictures_of_a_lamp_are_scaled_by_the_distance_of_its_image() {
    // The ellipsoid with lamp and image in its foci is perfect, so that only the scale of the image is left.
    let (focal_mm, distance_mm) = (1200.0, 9000.0);
    let conic = mirror(-1.0).artificial_star(distance_mm, 550.0).unwrap().matching_conic;
    let lamp = Star::artificial(Field::AXIS, distance_mm);
    let near = mirror(conic).wavefront(lamp, Focus::Paraxial, 550.0).unwrap();
    let sky = mirror(-1.0).wavefront(Field::AXIS, Focus::Paraxial, 550.0).unwrap();
    // Conjugate foci: 1/f = 1/distance + 1/image.
    let image_mm = focal_mm * distance_mm / (distance_mm - focal_mm);
    let size = PsfSize { half_width_um: Some(20.0), pixels: 41 };
    let star = near.psf(size).unwrap();
    assert_abs_diff_eq!(star.focal_ratio, image_mm / 200.0, epsilon = 1e-9);
    let arcsec = star.pixel_um / 1000.0 / image_mm * catoptric::ARCSEC_PER_RADIAN;
    assert_abs_diff_eq!(star.pixel_arcsec().unwrap(), arcsec, epsilon = 1e-9);
    // Airy's disc at the ratio of the image; the real cone takes 1/(16 F^2) of it, 1e-3.
    assert_abs_diff_eq!(star.fwhm_um / (1.028_993_97 * 0.55 * image_mm / 200.0), 1.0, epsilon = 2e-3);
    let rings = star.ring_energy(2).unwrap();
    // Born & Wolf, chapter 8: 83.8 % within the first dark ring, which is that of the image's own ratio.
    assert_abs_diff_eq!(rings.outer_radius_um[0], 1.219_669_9 * 0.55 * image_mm / 200.0, epsilon = 1e-5);
    assert_abs_diff_eq!(rings.share[0], 0.837_784_9, epsilon = 1e-3);
    // Air and aperture spread both by the same angle.
    let air = Seeing::from_fwhm(2.0, 550.0, 0.0).unwrap();
    let [near, sky] =
        [&near, &sky].map(|w| w.in_seeing(&air, SeenSize::default(), None).unwrap().fwhm_arcsec);
    assert_abs_diff_eq!(near / sky, 1.0, epsilon = 2e-3);
}

#[test]
fn light_that_turns_back_on_itself_is_hidden_by_the_diagonal() {
    // From twice the focal length every ray comes back by its own way: what would meet the diagonal lay in its shadow.
    let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)))
        .diagonal(Diagonal::new(45.0))
        .focal_plane(FocalPlane::new(170.0))
        .build()
        .unwrap();
    for focus in [Focus::Paraxial, Focus::LeastRms, Focus::Peak] {
        let lamp = Star::artificial(Field::AXIS, 2400.0);
        let error = Prepared::new(&train).wavefront(lamp, focus, 550.0).unwrap_err();
        assert!(matches!(error, Error::NoLight { .. }), "{error}");
    }
}

#[test]
fn the_smallest_distance_is_where_the_error_is_reached() {
    let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).conic(-0.9))
        .diagonal(Diagonal::new(70.0))
        .focal_plane(FocalPlane::new(235.0))
        .build()
        .unwrap();
    let prepared = Prepared::new(&train);
    for pv_nm in [2.0, 68.75, 500.0] {
        let distance = prepared.smallest_star_distance_mm(pv_nm).unwrap();
        let there = prepared.artificial_star(distance, 550.0).unwrap();
        assert_abs_diff_eq!(there.pv_nm, pv_nm, epsilon = 1e-2);
        // Third order: a quarter of W040, to a few per cent at f/4.9.
        assert_abs_diff_eq!(there.spherical_nm.abs() / 4.0 / pv_nm, 1.0, epsilon = 0.05);
    }
    for wrong in [0.0, -5.0, f64::NAN, 1e7] {
        let error = prepared.smallest_star_distance_mm(wrong).unwrap_err();
        assert!(matches!(&error, Error::Input(p) if p[0].field == "largest_pv_nm"), "{error}");
    }
}

#[test]
fn distances_that_cannot_be_are_refused() {
    for wrong in [0.0, -1.0, 2000.0, f64::NAN, f64::INFINITY] {
        let star = Star::artificial(Field::AXIS, wrong);
        let error = mirror(-1.0).wavefront(star, Focus::LeastRms, 550.0).unwrap_err();
        assert!(error.to_string().contains("star_distance_mm"), "{error}");
        assert!(error.to_string().contains("metres"), "{error}");
    }
}
