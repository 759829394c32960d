//! Light of several colours, the Strehl over a spectrum, and the Strehl by formulas of the RMS.

mod common;

use std::f64::consts::TAU;

use catoptric::numeric::gauss::on_interval;
use catoptric::{
    Coating, CoatingRing, Error, Field, FocalLengthMm, Focus, Indexing, Prepared, Primary, Spectrum, Train,
    TurnedEdge, Wavefront,
};
use common::{Row, assert_close, assert_close_relative, bare, everything, prepare, rows, with_shadow};

const WAVELENGTH_NM: f64 = 550.0;

/// Average over a spectrum.
fn average(spectrum: &Spectrum, f: impl Fn(f64) -> f64) -> f64 {
    spectrum.lines().iter().map(|(nm, share)| share * f(*nm)).sum()
}

// Light.

#[test]
fn the_eye_by_day_is_that_of_1924() {
    // CIE 1924 photopic observer, colour-science 0.4.7, all its values 1 nm apart: mean, and averages of cos(2 pi
    // w/lambda) for paths w, by numpy. tests/python/test_spectrum.py does it again.
    let day = Spectrum::photopic();
    assert_close(day.mean_nm(), 560.191_867_6, 1e-4, "mean of V");
    for (path_nm, truth, tolerance) in [
        (137.5, 0.019_794_966_936, 1e-6),
        (275.0, -0.971_871_103_405, 1e-6),
        (550.0, 0.892_440_786_173, 1e-6),
        (1100.0, 0.636_865_610_400, 1e-6),
        (2200.0, 0.160_074_460_387, 2e-5),
        (3300.0, -0.000_902_744_987, 6e-3),
    ] {
        let found = average(&day, |nm| (TAU * path_nm / nm).cos());
        assert_close(found, truth, tolerance, &format!("V-weighted average of a cosine: path {path_nm} nm"));
        let finer = Spectrum::photopic_of(15, None).expect("a spectrum");
        let found = average(&finer, |nm| (TAU * path_nm / nm).cos());
        assert_close(found, truth, 5e-6, &format!("the same on fifteen wavelengths: path {path_nm} nm"));
    }
}

#[test]
fn a_lamp_shines_by_plancks_law() {
    // The same tables times 1/(lambda^5 (exp(c2/(lambda T)) - 1)), c2 = 1.438 776 877e-2 m K (CODATA 2018), by numpy.
    for (kelvin, mean_nm) in [(2856.0, 572.227_423_358_7), (5800.0, 558.732_962_643_5)] {
        let lamp = Spectrum::photopic_of(9, Some(kelvin)).expect("a lamp");
        assert_close(lamp.mean_nm(), mean_nm, 2e-4, &format!("mean of V with a lamp: {kelvin} K"));
    }
}

#[test]
fn a_band_is_even() {
    // Elementary: the mean of lambda^k over a band.
    let band = Spectrum::band(450.0, 650.0, 9).expect("a band");
    for k in [1, 2, 7, 17] {
        let truth = (650.0_f64.powi(k + 1) - 450.0_f64.powi(k + 1)) / (f64::from(k + 1) * 200.0);
        assert_close_relative(
            average(&band, |nm| nm.powi(k)),
            truth,
            1e-13,
            &format!("even band: power {k}"),
        );
    }
}

#[test]
fn light_that_cannot_be_is_refused() {
    let refused = |found: Result<Spectrum, Error>, field: &str, cause: &str| {
        let error = found.expect_err(field);
        let problem = &error.problems()[0];
        assert!(problem.field == field && problem.cause.contains(cause), "{error}");
    };
    refused(Spectrum::line(0.0), "wavelength_nm", "");
    refused(Spectrum::line(5500.0), "wavelength_nm", "angstroms");
    refused(Spectrum::line(f64::NAN), "wavelength_nm", "");
    refused(Spectrum::of_lines(&[600.0, 500.0], &[1.0, 1.0]), "wavelength_nm[1]", "order");
    refused(Spectrum::of_lines(&[500.0], &[1.0, 1.0]), "weight", "");
    refused(Spectrum::of_lines(&[500.0, 600.0], &[1.0, f64::NAN]), "weight[1]", "");
    refused(Spectrum::of_lines(&[500.0, 600.0], &[0.0, 0.0]), "weight", "");
    refused(Spectrum::band(600.0, 500.0, 9), "to_nm", "exchanged");
    refused(Spectrum::band(0.5, 600.0, 9), "from_nm", "micrometres");
    refused(Spectrum::band(500.0, 600.0, 0), "count", "");
    refused(Spectrum::photopic_of(100, None), "count", "");
    refused(Spectrum::photopic_of(9, Some(5.8)), "temperature_k", "thousands");
}

// The Strehl over a spectrum.

#[test]
fn defocus_in_many_colours_is_the_weighted_closed_form() {
    // On the axis sinc^2(pi W020 (1 - e^2)/lambda) for each colour (elementary), weighted with share/lambda^2.
    let (path_nm, ratio) = (200.0, 0.25);
    let terms = [(4, path_nm / (2.0 * 3.0_f64.sqrt()))].into();
    let wave = Wavefront::from_zernikes(&terms, Indexing::Noll, ratio, None, WAVELENGTH_NM).expect("terms");
    for spectrum in [Spectrum::photopic(), Spectrum::band(420.0, 900.0, 7).expect("a band")] {
        let found = wave.spectral_strehl(&spectrum).expect("a Strehl");
        let (mut truth, mut whole) = (0.0, 0.0);
        for (i, (nm, share)) in spectrum.lines().iter().enumerate() {
            let half_phase = std::f64::consts::PI * path_nm * (1.0 - ratio * ratio) / nm;
            let strehl = (half_phase.sin() / half_phase).powi(2);
            assert_close(found.strehl_by_wavelength[i], strehl, 1e-8, &format!("defocus at {nm:.1} nm"));
            truth += share / (nm * nm) * strehl;
            whole += share / (nm * nm);
        }
        assert_close(found.strehl, truth / whole, 1e-8, "defocus over a spectrum");
        assert!((found.strehl - truth / whole).abs() <= found.error_estimate, "{}", found.error_estimate);
    }
}

#[test]
fn one_line_is_the_wavefront_itself() {
    let telescope = prepare(everything());
    let line = Spectrum::line(480.0).expect("a line");
    for focus in [Focus::Paraxial, Focus::LeastRms, Focus::Peak, Focus::ShiftMm(0.1)] {
        let found = telescope.spectral_strehl(Field::arcmin(5.0, -3.0), focus, &line).expect("a Strehl");
        let alone = telescope.wavefront(Field::arcmin(5.0, -3.0), focus, 480.0).expect("a wavefront");
        assert_eq!(found.strehl.to_bits(), alone.strehl.to_bits());
        assert_eq!(found.focus_shift_mm.to_bits(), alone.focus_shift_mm().to_bits());
    }
}

#[test]
fn a_perfect_mirror_is_perfect_in_all_colours_and_light_has_no_weight() {
    let worn = Coating::new(0.8).ring(CoatingRing::new(40.0, 70.0, 0.3));
    let telescope = bare(Primary::new(200.0, FocalLengthMm(1200.0)).coating(worn));
    let found = telescope.spectral_strehl(Field::AXIS, Focus::Paraxial, &Spectrum::photopic()).expect("one");
    assert_close(found.strehl, 1.0, 1e-9, "a perfect figure under a worn coating");
}

// Exact Strehl at the pupil.

/// The wavefront of a row's Noll terms.
fn terms_of(row: &Row) -> Wavefront {
    let terms = row
        .keys_after("noll_")
        .map(|(key, rest)| {
            let index = rest.trim_end_matches("_waves").parse().expect("an index");
            (index, row.number(key) * WAVELENGTH_NM)
        })
        .collect();
    Wavefront::from_zernikes(&terms, Indexing::Noll, row.number("obstruction_ratio"), None, WAVELENGTH_NM)
        .expect("terms")
}

#[test]
fn balanced_quarter_waves_of_annular_pupils() {
    // tests/data/annular.json: own mpmath table of Mahajan's balanced aberrations (1981, J. Opt. Soc. Am. 71, 75, from
    // memory). Clear: 0.81056947, 0.80030480, 0.92556699, 0.90206389 (Mahajan's tolerances, from memory).
    let table = rows("annular", "kind", "quarter_wave");
    assert_eq!(table.len(), 20);
    for row in &table {
        let wave = terms_of(row);
        let what = format!(
            "quarter wave of {}, obstruction {:.2}",
            row.text("name"),
            row.number("obstruction_ratio")
        );
        assert_close(wave.strehl, row.number("strehl"), 1e-8, &format!("Strehl: {what}"));
        assert_close_relative(
            wave.rms_nm,
            row.number("rms_waves") * WAVELENGTH_NM,
            1e-8,
            &format!("RMS: {what}"),
        );
        assert_close_relative(wave.pv_nm, WAVELENGTH_NM / 4.0, 1e-6, &format!("PV: {what}"));
    }
}

#[test]
fn quarter_waves_of_the_circles_terms_on_annuli() {
    // tests/data/strehl.json, kind `zernike`: own mpmath table.
    for row in rows("strehl", "kind", "zernike") {
        let terms = [(row.number("noll") as u32, row.number("coefficient_nm_at_550"))].into();
        let ratio = row.number("obstruction_ratio");
        let wave =
            Wavefront::from_zernikes(&terms, Indexing::Noll, ratio, None, WAVELENGTH_NM).expect("terms");
        assert_close(
            wave.strehl,
            row.number("strehl"),
            1e-8,
            &format!("Strehl: {} {ratio}", row.text("name")),
        );
    }
}

/// The mirror of a row at a focal ratio, with the edges that stand for its own.
fn mirror(row: &Row, focal_ratio: f64, edges: Vec<TurnedEdge>) -> Prepared {
    let aperture_mm = row.number("clear_aperture_mm");
    let bare = Primary::new(aperture_mm, FocalLengthMm(focal_ratio * aperture_mm));
    with_shadow(edges.into_iter().fold(bare, Primary::layer), row.number("obstruction_ratio"))
}

fn paraxial_strehl(telescope: &Prepared) -> f64 {
    telescope.wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM).expect("a wavefront").strehl
}

/// The closed form of a row's edge as an integral over the radius, W = 2h/(1 + (r/R)^2) with R the radius of
/// curvature, mm; an endless R is the paraxial limit W = 2h of the table.
fn closed_form(row: &Row, curvature_mm: f64) -> f64 {
    let (rim, width) = (0.5 * row.number("clear_aperture_mm"), row.number("edge_width_mm"));
    let (inner, start) = (rim * row.number("obstruction_ratio"), rim - width);
    let (mut re, mut im) = ((start * start - inner * inner) / 2.0, 0.0);
    for (r, weight) in on_interval(60, start, rim) {
        let height = -row.number("edge_drop_nm") * ((r - start) / width).powf(row.number("edge_power"));
        let phase = TAU / WAVELENGTH_NM * 2.0 * height / (1.0 + (r / curvature_mm).powi(2));
        re += weight * r * phase.cos();
        im += weight * r * phase.sin();
    }
    let area = (rim * rim - inner * inner) / 2.0;
    (re * re + im * im) / (area * area)
}

// Truth of the next two: tests/data/strehl.json, kind `closed_form`: own mpmath table of W = 2h; steps in elementary
// form, 1 - 4 p (1 - p) sin^2(2 pi g/lambda). The integral above gives the table's values, and with the factor of a
// real mirror those that its pupil must have: at f/5 0.759009 for 0.758473 (D 200, 10 mm, 150 nm, power 2).

#[test]
fn the_closed_form_is_that_of_the_table() {
    for row in rows("strehl", "kind", "closed_form") {
        assert_close(closed_form(&row, 1e30), row.number("strehl"), 1e-12, "closed form by quadrature");
    }
}

#[test]
fn power_edges_at_the_pupil_follow_the_closed_form() {
    for row in rows("strehl", "kind", "closed_form").iter().filter(|r| r.number("edge_power") != 0.0) {
        for focal_ratio in [5.0, 20.0, 100.0] {
            let edge = TurnedEdge::new(row.number("edge_width_mm"), row.number("edge_drop_nm"))
                .power(row.number("edge_power"));
            let found = paraxial_strehl(&mirror(row, focal_ratio, vec![edge]));
            let truth = closed_form(row, 2.0 * focal_ratio * row.number("clear_aperture_mm"));
            let drop = row.number("edge_drop_nm");
            let what = format!("power edge at the pupil: {drop} nm, f/{focal_ratio}");
            assert_close(found, truth, 1e-8, &what);
        }
    }
}

#[test]
fn a_step_at_the_pupil_follows_the_closed_form() {
    // A step is the limit of steep ramps: what a ramp of width w changes is a polynomial of w, the sum over the pupil
    // one of second degree and its square one of fourth; three widths leave the third degree, 1e-11 here.
    for row in rows("strehl", "kind", "closed_form").iter().filter(|r| r.number("edge_power") == 0.0) {
        let (width, drop) = (row.number("edge_width_mm"), row.number("edge_drop_nm"));
        for focal_ratio in [20.0, 100.0] {
            let with_ramp = |ramp: f64| {
                let straight =
                    |width: f64, sign: f64| TurnedEdge::new(width, sign * drop * width / ramp).power(1.0);
                let edges = vec![straight(width + ramp / 2.0, 1.0), straight(width - ramp / 2.0, -1.0)];
                paraxial_strehl(&mirror(row, focal_ratio, edges))
            };
            let found = 3.0 * with_ramp(0.01) - 3.0 * with_ramp(0.02) + with_ramp(0.03);
            let truth = closed_form(row, 2.0 * focal_ratio * row.number("clear_aperture_mm"));
            assert_close(found, truth, 1e-8, &format!("step at the pupil: {width} mm, f/{focal_ratio}"));
        }
    }
}

// The Strehl by formulas.

#[test]
fn formulas_of_the_rms_against_the_exact_value() {
    // (1 - 2 pi^2 s^2)^2 and exp(-(2 pi s)^2) by hand for the RMS of 0.1 waves: variance 0.3947842.
    let terms = [(11, 55.0)].into();
    let wave = Wavefront::from_zernikes(&terms, Indexing::Noll, 0.0, None, WAVELENGTH_NM).expect("terms");
    let by = wave.strehl_approximations();
    assert_close(by.rms_waves, 0.1, 1e-9, "RMS of a tenth of a wave");
    assert_close(by.strehl_marechal, 0.644_179_4, 1e-6, "Marechal's form at a tenth of a wave");
    assert_close(by.strehl_exponential, 0.673_825_5, 1e-6, "the exponential form at a tenth of a wave");
    assert_eq!(by.strehl.to_bits(), wave.strehl.to_bits());
}

#[test]
fn a_thin_steep_edge_makes_the_exponential_form_fail_and_the_words_say_by_how_much() {
    // A step over a share p of the area: RMS and exact Strehl in closed form (elementary): with a half wave of
    // wavefront over p, s^2 = p (1 - p)/4 and the Strehl is (1 - 2p)^2. At p = 0.0223 the exponential form says 0.807,
    // the truth is 0.913.
    let aperture_mm = 200.0;
    let p: f64 = 0.0223;
    let width = aperture_mm / 2.0 * (1.0 - (1.0 - p).sqrt());
    let ramp = 0.01;
    let straight = |w: f64, sign: f64| TurnedEdge::new(w, sign * 137.5 * w / ramp).power(1.0);
    let mirror = Primary::new(aperture_mm, FocalLengthMm(4000.0))
        .layer(straight(width + ramp / 2.0, 1.0))
        .layer(straight(width - ramp / 2.0, -1.0));
    let wave = bare(mirror).wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM).expect("a wavefront");
    let by = wave.strehl_approximations();
    assert_close(by.strehl, (1.0 - 2.0 * p).powi(2), 2e-3, "half a wave over a thin ring, exact");
    let exponential = (-TAU * TAU * p * (1.0 - p) / 4.0).exp();
    assert_close(by.strehl_exponential, exponential, 2e-3, "half a wave over a thin ring, exponential");
    let words = format!("{:.3} too low", by.strehl - by.strehl_exponential);
    assert!(by.warning.contains(&words) && by.warning.contains("few parts of the pupil"), "{}", by.warning);
}

#[test]
fn marechals_form_is_warned_of_where_it_rises_again() {
    for (rms_nm, warned) in [(0.2250 * 550.0, false), (0.2252 * 550.0, true)] {
        let terms = [(11, rms_nm)].into();
        let wave = Wavefront::from_zernikes(&terms, Indexing::Noll, 0.0, None, WAVELENGTH_NM).expect("terms");
        let by = wave.strehl_approximations();
        assert_eq!(by.warning.contains("rises again"), warned, "{}", by.warning);
    }
}

#[test]
fn a_train_is_asked_once_for_all_colours() {
    let train =
        Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).conic(-0.6)).build().expect("a train");
    let telescope = Prepared::new(&train);
    let day = Spectrum::photopic();
    let found = telescope.spectral_strehl(Field::AXIS, Focus::Peak, &day).expect("a Strehl");
    let at_mean = telescope.best_focus_mm(Focus::Peak, Field::AXIS, day.mean_nm()).expect("a focus");
    assert_eq!(found.focus_shift_mm.to_bits(), at_mean.to_bits());
}
