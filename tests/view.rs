//! What one would see: energy, stars and pairs, planets, eyepieces and sensors, directions, and what cannot be.

mod common;

use std::f64::consts::PI;

use catoptric::{
    ARCSEC_PER_RADIAN, BandedDisc, BrightnessUnit, Diagonal, DiscSpot, DoubleStar, Error, Eyepiece, Field,
    FieldStar, FocalLengthMm, FocalPlane, Focus, Prepared, Primary, PsfSize, Scene, Seeing, SeenSize, Sensor,
    Spectrum, StarField, Through, Train, TurnedEdge, View, ViewOptions, eye_mtf,
};
use common::{assert_close, assert_close_relative};

fn telescope(primary: Primary) -> Prepared {
    Prepared::new(&Train::builder(primary).build().expect("a sound train"))
}

/// A telescope so slow that the textbook's pupil holds to 1e-5.
fn slow() -> Prepared {
    telescope(Primary::new(20.0, FocalLengthMm(1200.0)))
}

/// Wavelength times focal ratio of it at 550 nm: um in the focal plane, arcsec on the sky.
const SLOW_UM: f64 = 33.0;
const SLOW_ARCSEC: f64 = SLOW_UM / 1.2e6 * ARCSEC_PER_RADIAN;

fn newtonian(layer: Option<TurnedEdge>) -> Prepared {
    let mut primary = Primary::new(200.0, FocalLengthMm(1200.0));
    if let Some(edge) = layer {
        primary = primary.layer(edge);
    }
    let train = Train::builder(primary).diagonal(Diagonal::new(50.0)).focal_plane(FocalPlane::new(160.0));
    Prepared::new(&train.build().expect("a sound train"))
}

fn planet() -> BandedDisc {
    BandedDisc::new(40.0).spot(DiscSpot { x_arcsec: 9.0, y_arcsec: 4.0, diameter_arcsec: 1.2, contrast: 0.6 })
}

fn seen(
    telescope: &Prepared,
    scene: impl Into<Scene>,
    through: impl Into<Through>,
    options: &ViewOptions,
) -> View {
    telescope.view(&scene.into(), &through.into(), options).expect("a view")
}

fn refused(
    telescope: &Prepared,
    scene: impl Into<Scene>,
    through: impl Into<Through>,
    options: &ViewOptions,
) -> Error {
    telescope.view(&scene.into(), &through.into(), options).expect_err("a refusal")
}

fn one_star(x_arcsec: f64, y_arcsec: f64) -> StarField {
    StarField::new(vec![FieldStar { x_arcsec, y_arcsec, magnitude: 0.0 }])
}

/// Where a view is brightest: x and y, arcsec.
fn brightest(view: &View) -> [f64; 2] {
    let top =
        view.image.indexed_iter().fold(((0, 0), f64::MIN), |a, (at, &v)| if v > a.1 { (at, v) } else { a });
    [view.x_arcsec[top.0.1], view.y_arcsec[top.0.0]]
}

#[test]
fn a_star_gives_back_its_own_image() {
    // The means of the picture's squares from the pupil integral itself, 5 x 5 points each: off by p^4 terms, below
    // 1e-4.
    let train = newtonian(Some(TurnedEdge::new(15.0, 300.0)));
    let star = train.wavefront(Field::arcmin(12.0, 5.0), Focus::Peak, 550.0).expect("a wavefront");
    let (pixel_um, side) = (0.7, 31);
    let size = PsfSize { half_width_um: Some(pixel_um * side as f64 / 2.0), pixels: 5 * side };
    let fine = star.psf(size).expect("a star image");
    let options = ViewOptions { field: Field::arcmin(12.0, 5.0), ..ViewOptions::default() };
    let view = seen(&train, one_star(0.0, 0.0), Sensor::new(pixel_um, side, side), &options);
    let mean = |i: usize, j: usize| {
        let square = (0..5).flat_map(|k| (0..5).map(move |l| (k, l)));
        square.map(|(k, l)| fine.image[[5 * i + k, 5 * j + l]]).sum::<f64>() / 25.0
    };
    let middle = view.image[[15, 15]] / mean(15, 15);
    for i in 0..side {
        for j in 0..side {
            // Upside down on the sky.
            let found = view.image[[side - 1 - i, side - 1 - j]] / middle;
            assert!((found - mean(i, j)).abs() < 2e-4, "{i} {j}: {found} for {}", mean(i, j));
        }
    }
    // By Parseval a perfect star's peak times the plane's whole is the light: (lambda F)^2 4/(pi lit) for a pupil of
    // which the share `lit` is lit, here the throughput. A paraboloid's conjugate coordinate is r/(f + r^2/(4 f)),
    // which makes the whole larger by the mean of r^2/f^2 over the annulus (own derivation, next order 1e-5); the field
    // of 13' and its vignetting are left at 1e-3.
    let unit_arcsec = 0.55 * 6.0 / 1.2e6 * ARCSEC_PER_RADIAN;
    let slow = unit_arcsec.powi(2) * 4.0 / (PI * view.throughput);
    let whole = slow * (1.0 + f64::midpoint(100.0_f64.powi(2), 25.0_f64.powi(2)) / 1200.0_f64.powi(2));
    assert_close_relative(middle, view.throughput / whole, 1e-3, "light of a perfect peak, 1/arcsec^2");
}

#[test]
fn all_light_of_the_stars_arrives() {
    let train = newtonian(None);
    let star = train.wavefront(Field::AXIS, Focus::Peak, 550.0).expect("a wavefront");
    let view = seen(&train, one_star(0.0, 0.0), Sensor::new(1.5, 121, 121), &ViewOptions::default());
    let pixel = view.pixel_arcsec;
    for radius_um in [20.0, 60.0, 85.0] {
        let radius = radius_um / 1.2e6 * ARCSEC_PER_RADIAN;
        let inside = view
            .image
            .indexed_iter()
            .filter(|((i, j), _)| view.x_arcsec[*j].hypot(view.y_arcsec[*i]) <= radius);
        let found = inside.map(|(_, v)| v * pixel * pixel).sum::<f64>() / view.throughput;
        let truth = star.encircled_energy(&[radius_um]).expect("a share")[0];
        // A circle made of pixels: the light of about half a ring of them is undecided.
        assert_close(found, truth, 2e-3, &format!("light within {radius_um} um"));
    }
    assert_close(view.throughput, 1.0 - 0.0625, 1e-9, "throughput of an annulus");
    assert_eq!(view.unit, BrightnessUnit::MagnitudeZeroPerArcsec2);
    // Light does not depend on where between the pixels a star lies, however coarse they are.
    let sensor = Sensor::new(6.6, 61, 61);
    let lights = [0.0, 0.2, 0.5]
        .map(|x| seen(&train, one_star(x, -x), sensor, &ViewOptions::default()).light_arcsec2());
    for light in lights {
        assert_close(light, lights[0], 2e-4, "light of a star between pixels");
    }
}

#[test]
fn a_uniform_field_stays_uniform() {
    let disc = BandedDisc { band_count: 0, limb_darkening: 0.0, ..BandedDisc::new(3000.0) };
    let options = ViewOptions { half_width_arcsec: Some(20.0), pixels: 65, ..ViewOptions::default() };
    let night = Seeing::from_fwhm(2.0, 550.0, 0.0).expect("a night");
    for seeing in [None, Some(night)] {
        let options = ViewOptions { seeing, ..options.clone() };
        let view = seen(&newtonian(None), disc.clone(), Eyepiece::new(8.0, 10.0), &options);
        for value in &view.image {
            assert_close(*value, 1.0 - 0.0625, 1e-9, "brightness of a field without detail");
        }
    }
}

#[test]
fn a_pair_at_the_rayleigh_distance_has_the_textbooks_gap() {
    // scipy 1.16 (j1): two Airy patterns 1.21967 lambda/D apart, darkest point between over the peak: 0.735032; others
    // at 1, 1.5 and 2 lambda/D. A pixel of 1/24 of the unit takes 7e-4 of the peaks.
    for (distance, truth) in [(1.219_669_891, 0.735_032), (1.5, 0.397_853), (2.0, 0.065_352)] {
        for angle in [0.0, 90.0, 33.0] {
            let pair = DoubleStar::new(distance * SLOW_ARCSEC, 2.0, 2.0).position_angle_deg(angle);
            let view = seen(&slow(), pair, Sensor::new(SLOW_UM / 24.0, 121, 121), &ViewOptions::default());
            assert_close(view.star_gap.expect("a gap"), truth, 1.5e-3, "gap of a pair");
        }
    }
    // The same sums for a second star fainter by 1 and 2 magnitudes: the darkest point over its own peak.
    for (distance, fainter_by, truth) in [(2.0, 1.0, 0.096_048), (1.5, 1.0, 0.559_664), (1.6, 2.0, 0.506_838)]
    {
        for (first, second) in [(2.0, 2.0 + fainter_by), (2.0 + fainter_by, 2.0)] {
            let pair = DoubleStar::new(distance * SLOW_ARCSEC, first, second);
            let sensor = Sensor::new(SLOW_UM / 24.0, 121, 121);
            let view = seen(&slow(), pair, sensor, &ViewOptions::default());
            assert_close(view.star_gap.expect("a gap"), truth, 2.5e-3, "gap of an unequal pair");
        }
    }
    let close = DoubleStar::new(0.5 * SLOW_ARCSEC, 2.0, 3.0);
    let view = seen(&slow(), close, Sensor::new(SLOW_UM / 24.0, 121, 121), &ViewOptions::default());
    assert_close(view.star_gap.expect("a gap"), 1.0, 1e-6, "no peak of its own");
    let close = DoubleStar::new(0.5 * SLOW_ARCSEC, 2.0, 2.0);
    let view = seen(&slow(), close, Sensor::new(SLOW_UM / 24.0, 121, 121), &ViewOptions::default());
    assert_close(view.star_gap.expect("a gap"), 1.0, 1e-6, "two stars seen as one");
}

#[test]
fn magnitudes_and_places_of_stars_are_kept() {
    let field = StarField::new(vec![
        FieldStar { x_arcsec: 6.0, y_arcsec: 0.0, magnitude: 1.0 },
        FieldStar { x_arcsec: -3.0, y_arcsec: 5.0, magnitude: 3.5 },
    ]);
    let view = seen(&newtonian(None), field, Sensor::new(0.6, 201, 201), &ViewOptions::default());
    let [x, y] = brightest(&view);
    assert_close(x, 6.0, view.pixel_arcsec, "the brighter star toward +x, arcsec");
    assert_close(y, 0.0, view.pixel_arcsec, "its y, arcsec");
    let near = |x: f64, y: f64| {
        let at = |(i, j): (usize, usize)| (view.x_arcsec[j] - x).hypot(view.y_arcsec[i] - y) < 1.5;
        view.image.indexed_iter().filter(|(place, _)| at(*place)).map(|(_, v)| v).sum::<f64>()
    };
    // Pogson: 2.5 magnitudes are a factor of 10; the brighter one's rings reach over by 1e-3 of its light.
    assert_close(near(-3.0, 5.0) / near(6.0, 0.0), 0.1, 1.5e-3, "2.5 magnitudes");
}

#[test]
fn seeing_is_that_of_a_star_in_seeing() {
    // The other road: Wavefront::in_seeing, a radial or filtered star image scaled to the perfect star's peak.
    let (train, night) = (newtonian(None), Seeing::from_fwhm(1.5, 550.0, 0.0).expect("a night"));
    let options = ViewOptions { seeing: Some(night), ..ViewOptions::default() };
    let view = seen(&train, one_star(0.0, 0.0), Sensor::new(0.8, 81, 81), &options);
    let clear = seen(&train, one_star(0.0, 0.0), Sensor::new(0.8, 81, 81), &ViewOptions::default());
    let star = train.wavefront(Field::AXIS, Focus::Peak, 550.0).expect("a wavefront");
    let size = SeenSize { half_width_um: Some(0.4), pixels: 3 };
    let truth = star.in_seeing(&night, size, None).expect("a star").peak;
    // The sharp star's peak is dulled by its pixel, by pi^2/8 of its square in units of lambda F over 1.1: known to
    // 1e-3.
    let unit = 0.8_f64 / 3.3;
    let dulled = 1.0 - PI * PI / 4.0 * (1.0 + 0.0625) * unit * unit / 6.0;
    let found = view.image[[40, 40]] / clear.image[[40, 40]] * dulled;
    assert_close_relative(found, truth, 6e-3, "peak in seeing");
}

#[test]
fn an_eyepiece_magnifies_and_its_stop_cuts() {
    let options = ViewOptions { half_width_arcsec: Some(60.0), pixels: 64, ..ViewOptions::default() };
    let view = seen(&newtonian(None), planet(), Eyepiece::new(6.0, 0.72), &options);
    // By hand: 6 mm / f/6, 1200 mm / 6 mm, and 2 atan(0.72/2400) = 2.0626 arcmin.
    assert_eq!((view.exit_pupil_mm, view.magnification), (Some(1.0), Some(200.0)));
    assert_close(view.true_field_arcmin.expect("a field"), 2.062_648, 1e-6, "true field, arcmin");
    assert_close(view.image[[0, 0]], 0.0, 0.0, "brightness beyond the field stop");
    let wider = ViewOptions { half_width_arcsec: Some(62.0), ..options };
    assert_eq!(
        refused(&newtonian(None), planet(), Eyepiece::new(6.0, 0.72), &wider).problems()[0].field,
        "half_width_arcsec"
    );
}

#[test]
fn the_eye_is_that_of_the_paper() {
    // Watson 2013, Journal of Vision 13(6):18, evaluated in mpmath 1.4 at 25 digits.
    let rows = [
        (10.0, 3.0, 0.562_616_845_632),
        (20.0, 2.0, 0.352_985_330_364),
        (5.0, 6.0, 0.430_815_664_425),
        (30.0, 4.0, 0.114_837_842_76),
    ];
    for (cycles, pupil, truth) in rows {
        assert_close(eye_mtf(cycles, pupil), truth, 1e-11, "mean eye");
    }
    // A small exit pupil leaves the eye nothing to add; a large one does, at the same magnified detail.
    let options = ViewOptions { half_width_arcsec: Some(25.0), ..ViewOptions::default() };
    let left = |focal: f64| seen(&newtonian(None), planet(), Eyepiece::new(focal, 6.0), &options).spots_left;
    let (small, large) = (left(5.0).expect("spots"), left(24.0).expect("spots"));
    let bare = seen(
        &newtonian(None),
        planet(),
        Sensor::new(50.0 / 257.0 / ARCSEC_PER_RADIAN * 1.2e6, 257, 257),
        &options,
    );
    assert_close(
        small,
        bare.spots_left.expect("spots"),
        0.02,
        "spot at 0.8 mm exit pupil against no eye at all",
    );
    assert!(large < 0.7 * small, "{large} at 4 mm, {small} at 0.8 mm");
}

#[test]
fn detail_is_lost_in_the_order_that_it_should() {
    let (good, turned) = (newtonian(None), newtonian(Some(TurnedEdge::new(15.0, 300.0))));
    let eyepiece = Eyepiece::new(6.0, 6.0);
    let in_air = |fwhm: f64| ViewOptions {
        seeing: Some(Seeing::from_fwhm(fwhm, 550.0, 0.0).expect("a night")),
        half_width_arcsec: Some(26.0),
        pixels: 129,
        ..ViewOptions::default()
    };
    let space = ViewOptions { half_width_arcsec: Some(26.0), pixels: 129, ..ViewOptions::default() };
    let bands = |train: &Prepared, options: &ViewOptions| {
        let view = seen(train, planet(), eyepiece, options);
        (view.bands_left.expect("bands"), view.spots_left.expect("spots"))
    };
    let (perfect, edge) = (bands(&good, &space), bands(&turned, &space));
    assert!(1.0 > perfect.0 && perfect.0 > perfect.1, "bands are wider than the spot: {perfect:?}");
    assert!(edge.0 < perfect.0 - 0.02 && edge.1 < perfect.1 - 0.05, "{edge:?} {perfect:?}");
    let mut last = perfect;
    for fwhm in [0.5, 1.0, 2.0, 4.0] {
        let now = bands(&good, &in_air(fwhm));
        assert!(now.0 < last.0 && now.1 < last.1, "{now:?} {last:?}");
        last = now;
    }
    // Bad air makes both mirrors alike: by Parseval no filter can add to a difference.
    let apart = |options: &ViewOptions| {
        let views = [&good, &turned].map(|train| seen(train, planet(), eyepiece, options));
        views[1].difference(&views[0]).expect("a difference").rms
    };
    let differences = [apart(&space), apart(&in_air(1.0)), apart(&in_air(4.0))];
    println!("{differences:?}");
    assert!(differences[0] > differences[1] && differences[1] > 1.3 * differences[2]);
    // Several colours lie between the single ones.
    let at = |spectrum: Spectrum| bands(&good, &ViewOptions { spectrum: Some(spectrum), ..space.clone() }).1;
    let line = |nm: f64| at(Spectrum::line(nm).expect("a line"));
    let both = at(Spectrum::of_lines(&[450.0, 650.0], &[1.0, 1.0]).expect("two lines"));
    assert!(line(650.0) < both && both < line(450.0));
}

#[test]
fn what_stands_toward_x_is_seen_there() {
    let spot = DiscSpot { x_arcsec: 12.0, y_arcsec: 0.0, diameter_arcsec: 6.0, contrast: 1.0 };
    let disc = BandedDisc { band_count: 0, limb_darkening: 0.0, ..BandedDisc::new(40.0) }.spot(spot);
    let view = seen(&newtonian(None), disc, Sensor::new(4.0, 81, 81), &ViewOptions::default());
    let column =
        |x: f64| view.x_arcsec.iter().position(|v| (v - x).abs() <= view.pixel_arcsec / 2.0).expect("there");
    assert!(view.image[[40, column(12.0)]] < 0.1 && view.image[[40, column(-12.0)]] > 0.8);
    assert!(view.image[[column(12.0), 40]] > 0.8, "rows run along y");
    // The flare of coma points away from the axis: for a star toward +x that is +x on the sky.
    let train = telescope(Primary::new(200.0, FocalLengthMm(1000.0)));
    let options = ViewOptions { field: Field::arcmin(25.0, 0.0), ..ViewOptions::default() };
    let view = seen(&train, one_star(0.0, 0.0), Sensor::new(0.8, 101, 101), &options);
    let light: f64 = view.image.sum();
    let mean = |axis: &[f64], by: fn((usize, usize)) -> usize| {
        view.image.indexed_iter().map(|(at, v)| v * axis[by(at)]).sum::<f64>() / light
    };
    let (x, y) = (mean(&view.x_arcsec, |at| at.1), mean(&view.y_arcsec, |at| at.0));
    let [peak_x, _] = brightest(&view);
    assert!(x - peak_x > 0.1, "centre of light {x}, peak {peak_x} arcsec");
    assert_close(y, 0.0, 0.01, "nothing sideways, arcsec");
    // The bands lie square to the pole: along y where the pole is +x.
    let view =
        seen(&newtonian(None), BandedDisc::new(40.0), Sensor::new(4.0, 81, 81), &ViewOptions::default());
    let along_y =
        (30..51).map(|i| view.image[[i, 40]]).fold(0.0_f64, |a, v| a.max((v - view.image[[40, 40]]).abs()));
    let along_x =
        (30..51).map(|j| view.image[[40, j]]).fold(0.0_f64, |a, v| a.max((v - view.image[[40, 40]]).abs()));
    assert!(along_y < 0.25 * along_x, "{along_y} {along_x}");
}

#[test]
fn coarse_pixels_are_named_and_blur() {
    let view = seen(&slow(), one_star(0.0, 0.0), Sensor::new(SLOW_UM, 33, 33), &ViewOptions::default());
    assert_close(view.pixels_per_lambda_f, 1.0, 1e-12, "pixels for a wavelength times focal ratio");
    // The light of a square of the unit's side about an Airy pattern's middle: scipy 1.16, dblquad of (2 J1(v)/v)^2
    // pi/4.
    let found = view.image[[16, 16]] * view.pixel_arcsec.powi(2);
    assert_close(found, 0.528_891_006, 2e-4, "light on the middle pixel");
    // A star between two coarse pixels sends them equal light.
    let between = seen(
        &slow(),
        one_star(0.5 * SLOW_ARCSEC, 0.0),
        Sensor::new(SLOW_UM, 33, 33),
        &ViewOptions::default(),
    );
    assert_close(between.image[[16, 16]], between.image[[16, 17]], 1e-6 * between.image[[16, 17]], "halves");
}

#[test]
fn chance_is_named_by_its_seed() {
    let field = |seed| StarField::of_chance(20.0, 40, 9.0, seed);
    let (one, two) = (field(1), field(2));
    assert_eq!(one, field(1));
    assert_ne!(one, two);
    let views = [one.clone(), one]
        .map(|f| seen(&newtonian(None), f, Sensor::new(3.0, 81, 81), &ViewOptions::default()));
    assert_eq!(views[0], views[1]);
    let streaks = |seed| BandedDisc { detail_contrast: 0.05, seed, ..BandedDisc::new(30.0) };
    let at = |seed: u64| {
        (0..50).map(|i| streaks(seed).brightness_at(f64::from(i) * 0.2 - 5.0, 1.0)).collect::<Vec<_>>()
    };
    assert_eq!(at(3), at(3));
    assert_ne!(at(3), at(4));
    // Star counts: 10^-0.6 of the stars are brighter by one magnitude or more; 4000 draws, four deviations.
    let many = StarField::of_chance(20.0, 4000, 9.0, 5);
    let brighter = many.stars.iter().filter(|s| s.magnitude < 8.0).count() as f64 / 4000.0;
    let share = 10.0_f64.powf(-0.6);
    assert_close(brighter, share, 4.0 * (share * (1.0 - share) / 4000.0).sqrt(), "share of brighter stars");
    // A view is saved and comes back.
    let text = serde_json::to_string(&views[0]).expect("JSON");
    assert_eq!(serde_json::from_str::<View>(&text).expect("a view"), views[0]);
}

#[test]
fn what_cannot_be_is_refused_with_its_field() {
    let (train, options) = (newtonian(None), ViewOptions::default());
    let eyepiece = Eyepiece::new(6.0, 6.0);
    let beside_the_disc = DiscSpot { x_arcsec: 19.0, y_arcsec: 19.0, ..planet().spots[0] };
    let scenes: [(Scene, &str); 10] = [
        (BandedDisc::new(-40.0).into(), "diameter_arcsec"),
        (BandedDisc { band_contrast: 30.0, ..BandedDisc::new(40.0) }.into(), "band_contrast"),
        (BandedDisc { band_width_arcsec: Some(20.0), ..BandedDisc::new(40.0) }.into(), "band_width_arcsec"),
        (BandedDisc { limb_darkening: f64::NAN, ..BandedDisc::new(40.0) }.into(), "limb_darkening"),
        (BandedDisc::new(4.0).spot(planet().spots[0]).into(), "spots[0].x_arcsec"),
        (BandedDisc::new(40.0).spot(beside_the_disc).into(), "spots[0].y_arcsec"),
        (DoubleStar::new(0.0, 1.0, 1.0).into(), "separation_arcsec"),
        (DoubleStar::new(2.0, f64::NAN, 1.0).into(), "first_magnitude"),
        (StarField::new(Vec::new()).into(), "stars"),
        (StarField::of_chance(10.0, 3, f64::NAN, 1).into(), "stars[0].magnitude"),
    ];
    for (scene, field) in scenes {
        assert_eq!(refused(&train, scene, eyepiece, &options).problems()[0].field, field);
    }
    let throughs: [(Through, &str, &str); 8] = [
        (Eyepiece::new(0.0, 6.0).into(), "eyepiece.focal_length_mm", "mm"),
        (Eyepiece::new(f64::NAN, 6.0).into(), "eyepiece.focal_length_mm", "mm"),
        (Eyepiece::new(50.0, 6.0).into(), "eyepiece.focal_length_mm", "exit pupil of at most 7"),
        (Eyepiece::new(6.0, 0.0).into(), "eyepiece.field_stop_mm", "mm"),
        (Sensor::new(0.0, 100, 100).into(), "sensor.pixel_um", "um"),
        (Sensor::new(3.0, 0, 100).into(), "sensor", "4 pixels"),
        (Sensor::new(3.0, 100_000, 100_000).into(), "sensor", "fine pixels"),
        (Sensor::new(400.0, 10, 10).into(), "sensor", "smaller than the disc"),
    ];
    for (through, field, allowed) in throughs {
        let error = refused(&train, planet(), through, &options);
        assert_eq!(error.problems()[0].field, field, "{error}");
        assert!(error.problems()[0].allowed.contains(allowed), "{error}");
    }
    let error = refused(&train, planet(), Sensor::new(3.0, 100_000, 100_000), &options);
    assert!(error.problems()[0].value.contains("MiB"), "{error}");
    for (wrong, field) in [
        (ViewOptions { pixels: 100_000, ..options.clone() }, "pixels"),
        (ViewOptions { pixels: 0, ..options.clone() }, "pixels"),
        (ViewOptions { half_width_arcsec: Some(-3.0), ..options.clone() }, "half_width_arcsec"),
        (ViewOptions { half_width_arcsec: Some(f64::NAN), ..options.clone() }, "half_width_arcsec"),
        (ViewOptions { half_width_arcsec: Some(500.0), pixels: 4, ..options.clone() }, "pixels"),
    ] {
        assert_eq!(refused(&train, planet(), eyepiece, &wrong).problems()[0].field, field);
    }
    let views = [planet(), BandedDisc::new(30.0)]
        .map(|disc| seen(&train, disc, eyepiece, &ViewOptions { pixels: 33, ..options.clone() }));
    assert_eq!(views[0].difference(&views[1]).expect_err("another scene").problems()[0].field, "other");
}
