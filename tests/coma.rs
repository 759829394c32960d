//! The paraboloid off the axis: coma, astigmatism and the curved field, against an exact trace written apart.

mod common;

use catoptric::{
    Field, FocalLengthMm, Focus, Indexing, NM_PER_MM, Prepared, Primary, RADIANS_PER_ARCMIN, UM_PER_MM,
};
use common::{Row, assert_close, assert_close_relative, bare, paraboloid, rows};

const WAVELENGTH_NM: f64 = 550.0;

fn telescope(row: &Row) -> Prepared {
    paraboloid(row.number("clear_aperture_mm"), row.number("focal_length_mm"))
}

fn field(row: &Row) -> Field {
    Field::arcmin(row.number("field_a_arcmin"), row.number("field_b_arcmin"))
}

fn label(row: &Row) -> String {
    let number = |key| row.number(key);
    format!(
        "{} mm, f {} mm, field ({}, {})",
        number("clear_aperture_mm"),
        number("focal_length_mm"),
        number("field_a_arcmin"),
        number("field_b_arcmin")
    )
}

/// Where the Gaussian image lies, um.
fn gaussian_um(row: &Row) -> [f64; 2] {
    field(row).tangents().map(|t| -row.number("focal_length_mm") * t * UM_PER_MM)
}

/// Ten roundings of a path of one focal length, nm: what doubles can tell apart.
fn path_rounding_nm(row: &Row) -> f64 {
    10.0 * f64::EPSILON * row.number("focal_length_mm") * NM_PER_MM
}

// Truth of the next four tests: own mpmath table, tests/data/coma.json (exact rays in 34 digits).

#[test]
fn spots_agree_with_the_exact_trace() {
    for row in rows("coma", "kind", "field").iter().chain(&rows("coma", "kind", "slow")) {
        let spot = telescope(row).spot_at(field(row), 0.0, 10).expect("a spot");
        let rms_um = row.number("rms_spot_um");
        let what = |claim: &str| format!("{claim}: {}", label(row));
        assert_close_relative(spot.rms_radius_um, rms_um, 1e-6, &what("RMS spot"));
        let tangential_um = row.number("tangential_coma_um");
        assert_close_relative(spot.tangential_coma_um, tangential_um, 1e-6, &what("tangential coma"));
        assert_close_relative(
            spot.sagittal_coma_um,
            row.number("sagittal_coma_um"),
            1e-6,
            &what("sagittal coma"),
        );
        // Positions to a millionth of the spot itself.
        for (i, key) in ["centroid_along_um", "centroid_across_um"].into_iter().enumerate() {
            let truth = row.number(key) - gaussian_um(row)[i];
            assert_close(spot.centroid_um[i], truth, 1e-6 * rms_um, &what("centroid"));
        }
        assert!(spot.error_um <= 1e-6 * rms_um, "{}: stated {} um", label(row), spot.error_um);
    }
}

#[test]
fn the_focus_of_least_spot_agrees_with_the_exact_trace() {
    for row in rows("coma", "kind", "field").iter().chain(&rows("coma", "kind", "slow")) {
        let telescope = telescope(row);
        let shift_mm = telescope.best_focus_mm(Focus::LeastSpot, field(row), WAVELENGTH_NM).expect("a focus");
        // The slowest mirror's rays are known to a rounding of their landing point, spread over the cone's slope.
        let slope = row.number("clear_aperture_mm") / row.number("focal_length_mm") / 4.0;
        let rounding_mm = 4.0 * f64::EPSILON * row.number("focal_length_mm") / slope;
        let truth = row.number("least_spot_shift_mm");
        let what = format!("least-spot shift: {}", label(row));
        assert_close(shift_mm, truth, 1e-6 * truth.abs() + rounding_mm, &what);
        let spot = telescope.spot(field(row), Focus::LeastSpot, WAVELENGTH_NM, 10).expect("a spot");
        let what = format!("least spot: {}", label(row));
        assert_close_relative(spot.rms_radius_um, row.number("least_spot_rms_um"), 1e-6, &what);
    }
}

#[test]
fn wavefronts_agree_with_the_exact_trace() {
    hold_wavefronts(&rows("coma", "kind", "field"));
}

#[test]
fn wavefronts_of_slow_mirrors_agree_with_the_exact_trace() {
    hold_wavefronts(&rows("coma", "kind", "slow"));
}

fn hold_wavefronts(rows: &[Row]) {
    for row in rows {
        for (focus, key) in [(Focus::LeastRms, "least_rms"), (Focus::Paraxial, "in_plane")] {
            let wavefront = telescope(row).wavefront(field(row), focus, WAVELENGTH_NM).expect("a wavefront");
            let what = |claim: &str| format!("{claim} ({key}): {}", label(row));
            let rms_nm = row.number(&format!("{key}_rms_nm").replace("rms_rms", "rms"));
            let path_nm = path_rounding_nm(row);
            assert_close(wavefront.rms_nm, rms_nm, 1e-6 * rms_nm + path_nm, &what("wavefront RMS"));
            let strehl = row.number(&format!("{key}_strehl"));
            assert_close(wavefront.strehl, strehl, 1e-6, &what("Strehl"));
            // A reference point is known as well as the path: across times 2F, in depth times 8F^2.
            let ratio = row.number("focal_length_mm") / row.number("clear_aperture_mm");
            let across_um = path_nm * 2.0 * ratio / 1000.0;
            for (i, axis) in ["along", "across"].into_iter().enumerate() {
                let truth = row.number(&format!("{key}_{axis}_mm")) * UM_PER_MM - gaussian_um(row)[i];
                let tolerance = 1e-6 * row.number("rms_spot_um") + across_um;
                assert_close(wavefront.reference_um()[i], truth, tolerance, &what("reference point"));
            }
            let shift_mm = row.optional(&format!("{key}_shift_mm")).unwrap_or(0.0);
            let depth_mm = path_nm / NM_PER_MM * 8.0 * ratio * ratio;
            let tolerance = 1e-6 * shift_mm.abs() + depth_mm;
            assert_close(wavefront.focus_shift_mm(), shift_mm, tolerance, &what("focus shift"));
        }
    }
}

/// Limits as the field goes to 0, over third order: by Richardson's rule from two small fields, whose error is of
/// second order.
fn limits(aperture_mm: f64, focal_mm: f64) -> [f64; 3] {
    let at = |arcmin: f64| ratios_to_third_order(&paraboloid(aperture_mm, focal_mm), arcmin);
    let (two, one) = (at(2.0), at(1.0));
    [0, 1, 2].map(|i| (4.0 * one[i] - two[i]) / 3.0)
}

/// Tangential coma, sagittal coma and RMS spot over their third-order values.
///
/// Schroeder, Astronomical Optics, chapter 6: sagittal coma t/(16 F^2) as an angle, tangential coma three times that;
/// RMS spot sqrt(2/3) of the sagittal coma.
fn ratios_to_third_order(telescope: &Prepared, arcmin: f64) -> [f64; 3] {
    let focal_mm = telescope.train().primary().focal_length_mm;
    let spot = telescope.spot_at(Field::arcmin(arcmin, 0.0), 0.0, 10).expect("a spot");
    let sagittal_um =
        arcmin * RADIANS_PER_ARCMIN * focal_mm / (16.0 * telescope.focal_ratio().powi(2)) * UM_PER_MM;
    [
        spot.tangential_coma_um / (3.0 * sagittal_um),
        spot.sagittal_coma_um / sagittal_um,
        spot.rms_radius_um / ((2.0_f64 / 3.0).sqrt() * sagittal_um),
    ]
}

#[test]
fn third_order_and_its_first_factors_are_the_limit_of_small_fields() {
    for row in rows("coma", "kind", "field_to_zero") {
        let (aperture_mm, focal_mm) = (row.number("clear_aperture_mm"), row.number("focal_length_mm"));
        let ratio = focal_mm / aperture_mm;
        let found = limits(aperture_mm, focal_mm);
        let keys = ["tangential_coma", "sagittal_coma", "rms_spot"];
        // 1 + 1/(12 F^2) and 1 + 5/(64 F^2): first order in the field, own expansion; they leave out terms of 1/F^4.
        let factors = [1.0 + 1.0 / (12.0 * ratio.powi(2)), 1.0, 1.0 + 5.0 / (64.0 * ratio.powi(2))];
        for i in 0..3 {
            let truth = row.number(&format!("{}_over_third_order", keys[i]));
            assert_close_relative(
                found[i],
                truth,
                1e-6,
                &format!("{} as the field goes to 0: f/{ratio}", keys[i]),
            );
            let what = format!("{} first factor: f/{ratio}", keys[i]);
            assert_close(found[i], factors[i], 0.01 / ratio.powi(4), &what);
        }
    }
}

#[test]
fn third_order_is_approached_with_the_square_of_the_field() {
    let telescope = paraboloid(250.0, 1250.0);
    let limit = limits(250.0, 1250.0);
    let departure = |arcmin: f64| ratios_to_third_order(&telescope, arcmin).map(|r| r - 1.0);
    for (i, what) in [(0, "tangential coma"), (2, "RMS spot")] {
        let left = |arcmin: f64| departure(arcmin)[i] - (limit[i] - 1.0);
        let order = (left(40.0) / left(20.0)).log2();
        assert_close(order, 2.0, 0.05, &format!("order of convergence: {what}"));
    }
}

#[test]
fn the_known_numbers_of_a_250_mm_f5() {
    // Own exact trace in mpmath, printed to these digits; the third order gives 40.906154 um at 15'.
    let known = [(15.0, 11.232_246, 41.044_162, 162.295_7), (30.0, 22.844_993, 82.096_196, 335.245_6)];
    for (arcmin, rms_um, tangential_um, rms_nm) in known {
        let (telescope, field) = (paraboloid(250.0, 1250.0), Field::arcmin(arcmin, 0.0));
        let spot = telescope.spot_at(field, 0.0, 10).expect("a spot");
        assert_close_relative(spot.rms_radius_um, rms_um, 1e-4, "250 mm f/5: RMS spot");
        assert_close_relative(spot.tangential_coma_um, tangential_um, 1e-4, "250 mm f/5: tangential coma");
        let wavefront = telescope.wavefront(field, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
        assert_close_relative(wavefront.rms_nm, rms_nm, 1e-4, "250 mm f/5: wavefront RMS");
    }
}

#[test]
fn narrow_pencils_focus_where_coddington_says() {
    // Coddington's equations for a mirror, from memory (Welford, Aberrations of Optical Systems): along the central ray
    // the tangential focus lies at f cos t and the sagittal one at f/cos t, which are heights f cos^2 t and f.
    for arcmin in [10.0, 30.0, 60.0] {
        let (focal_mm, telescope) = (1250.0, paraboloid(250.0, 1250.0));
        let field = Field::arcmin(arcmin, 0.0);
        let angle = arcmin * RADIANS_PER_ARCMIN;
        let near_mm = 0.01;
        // Height at which two neighbouring rays have the same place along one axis of the image.
        let crossing = |x: f64, y: f64, axis: usize| {
            let [a, b] = [1.0, -1.0].map(|sign| telescope.ray(field, sign * x, sign * y));
            let place = |height: f64| a.at_height_mm(height)[axis] - b.at_height_mm(height)[axis];
            let (low, high) = (place(0.9 * focal_mm), place(1.1 * focal_mm));
            focal_mm * (0.9 + 0.2 * low / (low - high))
        };
        let (tangential_mm, sagittal_mm) = (crossing(near_mm, 0.0, 0), crossing(0.0, near_mm, 1));
        assert_close(
            tangential_mm,
            focal_mm * angle.cos().powi(2),
            1e-6,
            "tangential focus of a narrow pencil",
        );
        assert_close(sagittal_mm, focal_mm, 1e-6, "sagittal focus of a narrow pencil");
    }
}

#[test]
fn the_field_curves_with_the_focal_length_for_its_radius() {
    // Medial surface of radius f (Schroeder, chapter 6): halfway between Coddington's two focuses. A small mask
    // takes the coma away; the rest falls with the square of the mask.
    for arcmin in [15.0, 30.0, 45.0] {
        let masked = bare(Primary::new(250.0, FocalLengthMm(1250.0)).mask_diameter_mm(2.0));
        let shift_mm = masked.least_spot_shift_mm(Field::arcmin(arcmin, 0.0)).expect("a focus");
        let angle: f64 = arcmin * RADIANS_PER_ARCMIN;
        let medial_mm = -1250.0 * angle.sin().powi(2) / 2.0;
        assert_close_relative(shift_mm, medial_mm, 1e-3, "medial focus");
    }
}

#[test]
fn coma_and_astigmatism_have_their_third_order_size() {
    // Welford: W131 = D t/(32 F^2), W222 = D t^2/(8 F); with best tilt and focus W131/sqrt 72 and W222/sqrt 24.
    // At f/50 and 30' the neglected terms are of the order 1/F^2 and t^2, below 1e-3.
    let wavefront = paraboloid(100.0, 5000.0)
        .wavefront(Field::arcmin(30.0, 0.0), Focus::Paraxial, WAVELENGTH_NM)
        .expect("a wavefront");
    let terms = wavefront.zernikes(Indexing::Noll, 15).expect("a fit");
    let angle = 30.0 * RADIANS_PER_ARCMIN;
    let coma_nm = 100.0 * angle / (32.0 * 2500.0) / 72.0_f64.sqrt() * NM_PER_MM;
    let astigmatism_nm = 100.0 * angle * angle / 400.0 / 24.0_f64.sqrt() * NM_PER_MM;
    assert_close_relative(terms[&8].abs(), coma_nm, 1e-3, "third-order coma at f/50");
    assert_close_relative(terms[&6].abs(), astigmatism_nm, 1e-3, "third-order astigmatism at f/50");
    // Coma and astigmatism add in quadrature; a star on +x has neither sine term.
    let crossed = terms[&5].abs().max(terms[&7].abs());
    assert!(crossed < 1e-4, "sine terms {crossed} nm");
}

#[test]
fn the_direction_of_the_field_does_not_matter() {
    // One paraboloid is round: stars at one distance from the axis have one RMS.
    let telescope = paraboloid(250.0, 1250.0);
    let tangent = (20.0 * RADIANS_PER_ARCMIN).tan();
    let reference = telescope.spot_at(Field::arcmin(20.0, 0.0), 0.0, 10).expect("a spot");
    for turn in [0.4_f64, 1.3, 2.9, 4.4] {
        let angle = |t: f64| (tangent * t).atan() / RADIANS_PER_ARCMIN;
        let field = Field::arcmin(angle(turn.cos()), angle(turn.sin()));
        let spot = telescope.spot_at(field, 0.0, 10).expect("a spot");
        assert_close_relative(spot.rms_radius_um, reference.rms_radius_um, 1e-10, "round mirror: RMS spot");
        let coma_um = reference.tangential_coma_um;
        assert_close_relative(spot.tangential_coma_um, coma_um, 1e-10, "round mirror: tangential coma");
    }
}
