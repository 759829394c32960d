//! Lamp readings to levels of a coating: against least squares of another library, and against mirrors whose truth is
//! known.

use catoptric::numeric::random::Stream;
use catoptric::{
    CoatingEstimate, CoatingOutline, CoatingSpot, CoatingSpots, CoatingSpotsInput, FocalLengthMm, Metal,
    MetalFilm, OutlinePatch, OutlineRing, Prepared, Primary, RingProfile, Train, Wear,
};

fn old_lane() -> CoatingSpots {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/notebooks-demo/data/old_lane_lamp.csv");
    CoatingSpots::load_csv(path, 356.0, 0.90).expect("a table of twelve spots")
}

fn seen(profile: RingProfile) -> CoatingOutline {
    let ring = OutlineRing { profile, ..OutlineRing::flat(112.0, 139.0) };
    CoatingOutline::default().ring(ring).patch(OutlinePatch::new([-46.0, 71.0], 36.0).softness_mm(3.0))
}

fn old_lane_estimate() -> CoatingEstimate {
    old_lane().fit(&seen(RingProfile::Smooth)).expect("spots on every part")
}

#[test]
fn levels_agree_with_least_squares_of_another_library() {
    // numpy 2 numpy.linalg.lstsq of the weighted rows, scipy 1.17.1 scipy.stats.t and f; see
    // tests/python/test_coating_evidence.py, which computes them anew.
    let smooth = (
        [0.850_678_868_661_775_8, 0.707_259_919_785_866_6, 0.421_419_313_840_836_25],
        [0.008_061_498_799_635_788, 0.012_583_107_354_326_809, 0.011_756_974_881_840_562],
        (17.416_046_343_147_197, 0.095_026_274_409_333_24),
    );
    let estimate = old_lane_estimate();
    let (levels, halves, (chi_square, p)) = smooth;
    for ((level, value), half) in estimate.levels.iter().zip(levels).zip(halves) {
        assert!((level.reflectance - value).abs() < 1e-12, "{}: {}", level.part, level.reflectance);
        let found = 0.5 * (level.interval.high - level.interval.low);
        assert!((found - half).abs() < 1e-10, "{}: {found} for {half}", level.part);
    }
    assert!((estimate.ratio_sigma - 0.017_795_130_420_052_183).abs() < 1e-15);
    assert!((estimate.chi_square - chi_square).abs() < 1e-9);
    assert!((estimate.p_value.expect("nine spots to spare") - p).abs() < 1e-10);
    assert!((estimate.covariance[0][1] + 3.159_707_503_547_813_3e-6).abs() < 1e-16);
    assert_eq!((estimate.freedom, estimate.ratio_freedom, estimate.widened_by), (9, Some(24), 1.0));
    // The residual of the sixth spot in its own standard deviations.
    let sigmas = estimate.residuals[5].sigmas.expect("one of twelve");
    assert!((sigmas + 3.042_138_16).abs() < 1e-7, "{sigmas}");
}

#[test]
fn the_truth_of_old_lane_lies_where_the_estimate_says() {
    // The truth of the invented mirror: base 0.85, patch 0.42. The ring's deepest level, 0.72, lies just outside of
    // its interval, as one in twenty does.
    let estimate = old_lane_estimate();
    for (part, truth) in [(0, 0.85), (2, 0.42)] {
        let interval = estimate.levels[part].interval;
        assert!(interval.low < truth && truth < interval.high, "{part}: {interval:?}");
    }
    let ring = &estimate.levels[1];
    assert!((ring.reflectance - 0.72).abs() < 2.5 * ring.sigma);
}

#[test]
fn a_ring_drawn_flat_where_it_is_not_is_found_out() {
    let wrong = old_lane().fit(&seen(RingProfile::Flat)).expect("spots on every part");
    // scipy as above: p = 5.49e-6.
    assert!((wrong.p_value.expect("to spare") / 5.490_046_652_761_275e-6 - 1.0).abs() < 1e-6);
    // Closed form: the root of chi-square over its degrees of freedom.
    assert!((wrong.widened_by - (wrong.chi_square / 9.0).sqrt()).abs() < 1e-12);
    assert!(wrong.words[1].contains("does not agree") && wrong.words[1].contains("spot 3 at (118, 0)"));
    assert!(wrong.levels[1].sigma > 2.0 * old_lane_estimate().levels[0].sigma);
}

/// Lamp readings of a mirror whose levels are known.
fn readings(stream: &mut Stream, sigma: f64, flat: f64, outline: &CoatingOutline) -> CoatingSpotsInput {
    let levels = [0.85, 0.72, 0.42];
    let spots = old_lane().input().spots.clone();
    let spots = spots.into_iter().enumerate().map(|(i, spot)| {
        let shares = outline.shares(spot.x_mm, spot.y_mm);
        let truth: f64 = shares.iter().zip(levels).map(|(s, l)| s * l).sum();
        // Two, three or four repeats.
        let ratios = (0..2 + i % 3).map(|_| truth / flat + sigma * stream.normal()).collect();
        CoatingSpot::new(spot.x_mm, spot.y_mm, ratios)
    });
    CoatingSpotsInput::new(356.0, 0.90, spots.collect())
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let outline = seen(RingProfile::Smooth);
    let (count, truth) = (2000, [0.85, 0.72, 0.42]);
    for reference_sigma in [0.0, 0.01] {
        let mut held = [0_u32; 3];
        for k in 0..count {
            let mut stream = Stream::new(20_261, k);
            let flat = 0.90 + reference_sigma * stream.normal();
            let input = CoatingSpotsInput { reference_sigma, ..readings(&mut stream, 0.018, flat, &outline) };
            let estimate =
                CoatingSpots::new(input).and_then(|s| s.fit(&outline)).expect("spots on every part");
            for ((count, level), truth) in held.iter_mut().zip(&estimate.levels).zip(truth) {
                *count += u32::from(level.interval.low <= truth && truth <= level.interval.high);
            }
        }
        for (part, held) in held.iter().enumerate() {
            let share = f64::from(*held) / count as f64;
            println!("reference {reference_sigma}, part {part}: {share}");
            // Closed form: 95 %, or more where bad fits of chance widen it; three standard deviations of 2000 draws
            // are 1.5 %.
            assert!((0.935..0.975).contains(&share), "{part}: {share}");
        }
    }
}

#[test]
fn draws_have_the_moments_of_the_estimate() {
    let estimate =
        old_lane().reference_sigma(0.01).and_then(|s| s.fit(&seen(RingProfile::Smooth))).expect("fits");
    let count = 20_000;
    let draws = estimate.draws(count, 3).expect("draws");
    let mean = |j: usize| draws.iter().map(|d| d[j]).sum::<f64>() / count as f64;
    let means = [mean(0), mean(1), mean(2)];
    for i in 0..3 {
        let sigma = estimate.levels[i].sigma;
        assert!((means[i] - estimate.levels[i].reflectance).abs() < 4.0 * sigma / (count as f64).sqrt());
        for j in 0..3 {
            let product: f64 = draws.iter().map(|d| (d[i] - means[i]) * (d[j] - means[j])).sum();
            // Closed form: Student's variance of 24 degrees of freedom is 24/22 of the normal's; the flat's part has
            // none of that.
            let (ratio_i, ratio_j) = (means[i] / 0.9, means[j] / 0.9);
            let flat = ratio_i * ratio_j * 1e-4;
            let truth = 24.0 / 22.0 * (estimate.covariance[i][j] - flat) + flat;
            let scale = (estimate.covariance[i][i] * estimate.covariance[j][j]).sqrt();
            assert!((product / count as f64 - truth).abs() < 0.05 * scale, "{i} {j}");
        }
    }
}

#[test]
fn a_spot_left_out_moves_the_levels_as_its_pull_says() {
    let estimate = old_lane_estimate();
    for left_out in 0..12 {
        let mut input = old_lane().input().clone();
        input.spots.remove(left_out);
        let rest =
            CoatingSpots::new(input).and_then(|s| s.fit(&seen(RingProfile::Smooth))).expect("eleven spots");
        let pull = estimate.pulls[left_out].as_ref().expect("no spot is alone");
        for ((before, after), moved) in estimate.levels.iter().zip(&rest.levels).zip(pull) {
            assert!((after.reflectance - before.reflectance - moved).abs() < 1e-12);
        }
    }
}

#[test]
fn the_coating_of_the_train_is_what_the_spots_see() {
    let estimate = old_lane_estimate();
    let coating = estimate.coating(Wear::Haze).expect("levels below 1");
    assert_eq!(coating.patches[0].softness_mm.to_bits(), 3.0_f64.to_bits());
    assert_eq!(coating.reflectance.to_bits(), estimate.levels[0].reflectance.to_bits());
    // One ring with the levels and the profile of the fit: what the train returns at a place is what the fit says there.
    let [ring] = coating.rings[..] else { panic!("one ring") };
    assert_eq!((ring.profile, ring.reflectance), (RingProfile::Smooth, estimate.levels[1].reflectance));
    let mirror = Primary::new(356.0, FocalLengthMm(1673.0)).coating(coating);
    let telescope = Prepared::new(&Train::builder(mirror).build().expect("a mirror"));
    for [x, y] in [[0.0, -112.5], [0.0, -118.0], [90.0, -90.0], [133.0, 0.0], [-46.0, 107.0], [-30.0, 112.0]]
    {
        let apart = telescope.reflectance(x, y) - estimate.reflectance_at(x, y);
        assert!(apart.abs() < 1e-14, "{x} {y}: {apart:e}");
    }
    // As metal the middle agrees, and half-way the words say what does not.
    let film = MetalFilm::new(Metal::Aluminium, 100.0);
    let coating = estimate.coating(Wear::ThinMetal(film)).expect("thin metal");
    let thin = coating.metal.clone().expect("metal");
    assert_eq!((thin.rings.len(), thin.rings[0].profile), (1, RingProfile::Smooth));
    let mirror = Primary::new(356.0, FocalLengthMm(1673.0)).coating(coating);
    let telescope = Prepared::new(&Train::builder(mirror).build().expect("a mirror"));
    for r in [60.0, 111.9, 125.5, 139.1] {
        // The angle of incidence changes some 1e-5.
        let apart = telescope.reflectance(r, 0.0) - estimate.reflectance_at(r, 0.0);
        assert!(apart.abs() < 3e-5, "{r}: {apart:e}");
    }
    let half_way = telescope.reflectance(118.75, 0.0);
    let words = estimate.thin_metal(&film).expect("thin metal").remove(0).words;
    assert!(words.contains(&format!("returns {half_way:.2} where")), "{half_way} {words}");
}

#[test]
fn what_no_spot_touches_is_named() {
    let far = seen(RingProfile::Smooth).patch(OutlinePatch::new([120.0, -90.0], 10.0));
    let error = old_lane().fit(&far).unwrap_err();
    assert_eq!(error.problems()[0].field, "outline.patches[1]");
    // A ring over the whole mirror hides the base.
    let all = CoatingOutline::default().ring(OutlineRing::flat(0.0, 178.0));
    assert_eq!(old_lane().fit(&all).unwrap_err().problems()[0].field, "outline.base");
    // Two rings that only one spot sees, each by a part.
    let spots =
        CoatingSpots::from_csv_text("x_mm,y_mm,ratio_1,ratio_2\n10,0,0.9,0.9\n50,0,0.8,0.8\n", 200.0, 0.9);
    let twins =
        CoatingOutline::default().ring(OutlineRing::flat(40.0, 60.0)).ring(OutlineRing::smooth(40.0, 65.0));
    assert_eq!(spots.expect("a table").fit(&twins).unwrap_err().problems()[0].field, "spots");
    let off = CoatingOutline::default().ring(OutlineRing::flat(112.0, 190.0));
    assert_eq!(old_lane().fit(&off).unwrap_err().problems()[0].field, "outline.rings[0].outer_radius_mm");
}

#[test]
fn a_level_above_1_is_said_and_not_cut_off() {
    let table = "x_mm,y_mm,ratio_1,ratio_2,ratio_3\n10,0,1.15,1.16,1.14\n50,0,1.15,1.15,1.16\n";
    let estimate =
        CoatingSpots::from_csv_text(table, 200.0, 0.9).and_then(|s| s.fit(&CoatingOutline::default()));
    let estimate = estimate.expect("a fit");
    assert!((estimate.levels[0].reflectance - 0.9 * 6.91 / 6.0).abs() < 1e-12);
    assert!(estimate.words.iter().any(|w| w.contains("above 1")), "{:?}", estimate.words);
    let error = estimate.coating(Wear::Haze).unwrap_err();
    assert!(error.to_string().contains("reflectance"), "{error}");
}

#[test]
fn one_repeat_only_needs_the_noise() {
    let table = "x_mm,y_mm,ratio_1\n10,0,0.95\n50,0,0.96\n";
    let error = CoatingSpots::from_csv_text(table, 200.0, 0.9).unwrap_err();
    assert_eq!(error.problems()[0].field, "ratio_sigma");
    let spots = [(10.0, 0.95), (50.0, 0.96)].map(|(x, r)| CoatingSpot::new(x, 0.0, vec![r]));
    let input =
        CoatingSpotsInput { ratio_sigma: Some(0.02), ..CoatingSpotsInput::new(200.0, 0.9, spots.to_vec()) };
    let estimate = CoatingSpots::new(input).and_then(|s| s.fit(&CoatingOutline::default())).expect("a fit");
    // Closed form: 0.9 x 0.02/sqrt 2, and the normal distribution's 1.96.
    let half = 0.5 * (estimate.levels[0].interval.high - estimate.levels[0].interval.low);
    assert!((half - 1.959_963_984_540_054 * 0.9 * 0.02 / 2.0_f64.sqrt()).abs() < 1e-12);
    assert_eq!(estimate.ratio_freedom, None);
}

#[test]
fn tables_that_cannot_be_read_say_where() {
    for (table, wanted) in [
        ("x_mm,ratio_1\n10,0.9\n", "one column y_mm"),
        ("x_mm,y_mm\n10,0\n", "ratio_"),
        ("x_mm,y_mm,ratio_1,lamp\n10,0,0.9,1\n", "`lamp` is not known"),
        ("x_mm,y_mm,ratio_1\n10,0,bright\n", "line 2, column ratio_1"),
        ("x_mm,y_mm,ratio_1,ratio_2\n10,0,95,96\n", "per cent"),
        ("x_mm,y_mm,ratio_1,ratio_2\n10,0,,\n", "spots[0].ratios"),
        ("x_mm,y_mm,ratio_1,ratio_2\n310,0,0.9,0.9\n", "spots[0].x_mm"),
        ("x_mm,y_mm,ratio_1,ratio_2\n", "spots"),
    ] {
        let error = CoatingSpots::from_csv_text(table, 356.0, 0.9).unwrap_err().to_string();
        assert!(error.contains(wanted), "{table}: {error}");
    }
}
