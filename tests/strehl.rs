//! The Strehl ratio: quarter waves, turned edges and steps, and the focus of greatest brightness.

mod common;

use catoptric::{
    Coating, CoatingRing, Diagonal, Field, FocalLengthMm, FocalPlane, Focus, Indexing, Prepared, Primary,
    Train, TurnedEdge, Wavefront, Zone,
};
use common::{Row, assert_close, assert_close_relative, bare, prepare, rows, with_shadow};

const WAVELENGTH_NM: f64 = 550.0;

fn at(telescope: &Prepared, focus: Focus) -> Wavefront {
    telescope.wavefront(Field::AXIS, focus, WAVELENGTH_NM).expect("a wavefront")
}

/// The mirror of a row, without its turned edge.
fn conic_and_zone(row: &Row, focal_length_mm: f64) -> Primary {
    let primary = Primary::new(row.number("clear_aperture_mm"), FocalLengthMm(focal_length_mm))
        .conic(row.optional("conic").unwrap_or(-1.0));
    match row.optional("zone_radius_mm") {
        Some(radius) => {
            primary.layer(Zone::new(radius, row.number("zone_half_width_mm"), row.number("zone_height_nm")))
        }
        None => primary,
    }
}

/// The telescope of a row; a step cannot be made of one turned edge.
fn telescope(row: &Row, focal_length_mm: f64) -> Prepared {
    let edge = TurnedEdge::new(row.number("edge_width_mm"), row.number("edge_drop_nm"))
        .power(row.number("edge_power"));
    with_shadow(conic_and_zone(row, focal_length_mm).layer(edge), row.number("obstruction_ratio"))
}

/// The telescope of a row whose edge is a step: two straight edges, whose difference is a ramp `ramp_mm` wide about the
/// step's place and level glass beyond it.
fn telescope_with_ramp(row: &Row, focal_length_mm: f64, ramp_mm: f64) -> Prepared {
    let (width, drop) = (row.number("edge_width_mm"), row.number("edge_drop_nm"));
    let straight = |width: f64, sign: f64| TurnedEdge::new(width, sign * drop * width / ramp_mm).power(1.0);
    let primary = conic_and_zone(row, focal_length_mm)
        .layer(straight(width + ramp_mm / 2.0, 1.0))
        .layer(straight(width - ramp_mm / 2.0, -1.0));
    with_shadow(primary, row.number("obstruction_ratio"))
}

/// A number of a step's telescope in the limit of a steep ramp: what the ramp changes is proportional to its width.
fn in_the_limit(row: &Row, focal_length_mm: f64, number: impl Fn(&Prepared) -> f64) -> f64 {
    let with = |ramp_mm: f64| number(&telescope_with_ramp(row, focal_length_mm, ramp_mm));
    2.0 * with(0.01) - with(0.02)
}

fn label(claim: &str, row: &Row) -> String {
    let number = |key| row.optional(key).unwrap_or(0.0);
    format!(
        "{claim}: {} edge {} mm, {} nm, power {}, f {}, obstruction {:.2}",
        row.text("name"),
        number("edge_width_mm"),
        number("edge_drop_nm"),
        number("edge_power"),
        number("focal_length_mm"),
        number("obstruction_ratio")
    )
}

#[test]
fn quarter_waves_of_single_terms() {
    // Own mpmath table, tests/data/strehl.json; the shapes are Noll's (1976, J. Opt. Soc. Am. 66, 207, table I).
    for row in rows("strehl", "kind", "zernike") {
        let index = row.number("noll") as u32;
        let terms = [(index, row.number("coefficient_nm_at_550"))].into();
        let obstruction = row.number("obstruction_ratio");
        let wavefront = Wavefront::from_zernikes(&terms, Indexing::Noll, obstruction, None, WAVELENGTH_NM)
            .expect("terms");
        let what = format!("quarter wave of {}, obstruction {obstruction}", row.text("name"));
        assert_close(wavefront.strehl, row.number("strehl"), 1e-6, &format!("Strehl: {what}"));
        let rms_nm = row.number("rms_waves") * WAVELENGTH_NM;
        assert_close_relative(wavefront.rms_nm, rms_nm, 1e-6, &format!("RMS: {what}"));
    }
}

#[test]
fn quarter_waves_of_single_terms_are_a_quarter_wave_high() {
    // The coefficients were made for a PV of exactly a quarter wave over the clear circle.
    for row in rows("strehl", "kind", "zernike").iter().filter(|r| r.number("obstruction_ratio") == 0.0) {
        let terms = [(row.number("noll") as u32, row.number("coefficient_nm_at_550"))].into();
        let wavefront =
            Wavefront::from_zernikes(&terms, Indexing::Noll, 0.0, None, WAVELENGTH_NM).expect("terms");
        let what = format!("PV of a quarter wave of {}", row.text("name"));
        assert_close_relative(wavefront.pv_nm, WAVELENGTH_NM / 4.0, 1e-6, &what);
    }
}

#[test]
fn the_four_textbook_quarter_waves() {
    // Exact Strehl of a quarter wave after balancing, own mpmath quadrature; Mahajan's tolerances (from memory) agree.
    for (noll, rms_waves, strehl) in [
        (4, 1.0 / (8.0 * 3.0_f64.sqrt()), 0.810_569_47),
        (11, 1.0 / (6.0 * 5.0_f64.sqrt()), 0.800_304_80),
        (8, 1.0 / (8.0 * 8.0_f64.sqrt()), 0.925_566_99),
        (6, 1.0 / (8.0 * 6.0_f64.sqrt()), 0.902_063_89),
    ] {
        let terms = [(noll, rms_waves * WAVELENGTH_NM)].into();
        let wavefront =
            Wavefront::from_zernikes(&terms, Indexing::Noll, 0.0, None, WAVELENGTH_NM).expect("terms");
        assert_close(wavefront.strehl, strehl, 1e-6, &format!("textbook quarter wave: Noll {noll}"));
    }
}

#[test]
fn edges_at_f20_follow_the_closed_forms() {
    // Own mpmath table, kind `closed_form`: W = 2h; a step over a share p of the lit area has the Strehl
    // 1 - 4 p (1 - p) sin^2(2 pi g/lambda) (elementary). At f/20 the slope factor departs from 1 by 1.6e-4.
    for row in rows("strehl", "kind", "closed_form") {
        let focal_mm = 20.0 * row.number("clear_aperture_mm");
        let paraxial = Focus::ShiftMm(0.0);
        let strehl = |t: &Prepared| at(t, paraxial).strehl;
        let rms_nm = |t: &Prepared| at(t, paraxial).rms_nm;
        let [strehl, rms_nm] = if row.number("edge_power") == 0.0 {
            [in_the_limit(&row, focal_mm, strehl), in_the_limit(&row, focal_mm, rms_nm)]
        } else {
            let telescope = telescope(&row, focal_mm);
            [strehl(&telescope), rms_nm(&telescope)]
        };
        assert_close(strehl, row.number("strehl"), 1e-4, &label("closed form at f/20, Strehl", &row));
        // 1 - 1/(1 + (r/R)^2) is at most 1/(16 F^2) = 1.56e-4.
        assert_close_relative(rms_nm, row.number("rms_nm"), 1.6e-4, &label("closed form at f/20, RMS", &row));
    }
}

// Truth of the next tests: own mpmath table, kind `exact`: one-dimensional quadrature of exact paths.

const FOCUSES: [(Focus, &str); 3] =
    [(Focus::ShiftMm(0.0), "paraxial"), (Focus::LeastRms, "least_rms"), (Focus::Peak, "peak")];

fn exact_rows(is_wanted: impl Fn(&Row) -> bool) -> Vec<Row> {
    let mut rows = rows("strehl", "kind", "exact");
    rows.retain(is_wanted);
    assert!(!rows.is_empty());
    rows
}

fn is_slow(row: &Row) -> bool {
    row.number("focal_length_mm") >= 10.0 * row.number("clear_aperture_mm")
}

fn is_step(row: &Row) -> bool {
    row.number("edge_power") == 0.0
}

#[test]
fn edges_and_zones_of_fast_mirrors_agree_with_exact_paths() {
    exact_rows(|r| !is_step(r) && !is_slow(r)).iter().for_each(hold_edge);
}

#[test]
fn edges_and_zones_of_slow_mirrors_agree_with_exact_paths() {
    exact_rows(|r| !is_step(r) && is_slow(r)).iter().for_each(hold_edge);
}

fn hold_edge(row: &Row) {
    let telescope = telescope(row, row.number("focal_length_mm"));
    for (focus, key) in FOCUSES {
        let wavefront = at(&telescope, focus);
        let strehl = row.number(&format!("{key}_strehl"));
        assert_close(wavefront.strehl, strehl, 1e-6, &label(&format!("exact, {key}, Strehl"), row));
        let rms_key = if key == "least_rms" { "least_rms_nm".to_owned() } else { format!("{key}_rms_nm") };
        // At the peak the RMS moves with the focus, which is known to the tolerance below.
        let share = if key == "peak" { 1e-4 } else { 1e-6 };
        let what = label(&format!("exact, {key}, RMS"), row);
        assert_close_relative(wavefront.rms_nm, row.number(&rms_key), share, &what);
        // Depths in units of the one that makes a wave of defocus, 8 F^2 lambda. The peak is flat: a Strehl within
        // 1e-6 of the greatest leaves 5e-4 of that unit open; a fiftieth of that is asked for.
        let ratio = row.number("focal_length_mm") / row.number("clear_aperture_mm");
        let unit_mm = 8.0 * ratio * ratio * WAVELENGTH_NM * 1e-6;
        let shift = row.optional(&format!("{key}_shift_mm")).unwrap_or(0.0) / unit_mm;
        let what = label(&format!("exact, {key}, shift in waves"), row);
        let tolerance = if key == "peak" { 1e-5 } else { 1e-6 };
        assert_close(wavefront.focus_shift_mm() / unit_mm, shift, tolerance, &what);
        assert!(wavefront.error_estimate <= 1e-6, "{what}: stated {}", wavefront.error_estimate);
    }
}

#[test]
fn steps_of_fast_mirrors_agree_with_exact_paths() {
    exact_rows(|r| is_step(r) && !is_slow(r)).iter().for_each(hold_step);
}

#[test]
fn steps_of_slow_mirrors_agree_with_exact_paths() {
    exact_rows(|r| is_step(r) && is_slow(r)).iter().for_each(hold_step);
}

fn hold_step(row: &Row) {
    for (focus, key) in FOCUSES {
        let found = in_the_limit(row, row.number("focal_length_mm"), |t| at(t, focus).strehl);
        let strehl = row.number(&format!("{key}_strehl"));
        assert_close(found, strehl, 1e-6, &label(&format!("exact step, {key}, Strehl"), row));
    }
}

#[test]
fn a_steep_ramp_approaches_the_step_with_its_width() {
    let row = &exact_rows(is_step)[0];
    let departure = |ramp_mm: f64| {
        let telescope = telescope_with_ramp(row, row.number("focal_length_mm"), ramp_mm);
        at(&telescope, Focus::ShiftMm(0.0)).strehl - row.number("paraxial_strehl")
    };
    let order = (departure(0.08) / departure(0.04)).log2();
    assert_close(order, 1.0, 0.02, "order of convergence of a ramp to a step");
}

#[test]
fn the_peak_is_the_greatest_of_many_shifts() {
    // No truth but the definition: no plane near the peak is brighter on the axis.
    for row in &exact_rows(|r| !r.text("name").is_empty()) {
        let telescope = telescope(row, row.number("focal_length_mm"));
        let peak = at(&telescope, Focus::Peak);
        for k in -20..=20 {
            let shift_mm = peak.focus_shift_mm() + 0.02 * f64::from(k);
            let other = at(&telescope, Focus::ShiftMm(shift_mm)).strehl;
            assert!(other <= peak.strehl + 1e-9, "{} at {shift_mm} mm beats {}", other, peak.strehl);
        }
    }
}

#[test]
fn a_refigured_mirror_has_its_invented_truth() {
    // The surfaces behind the invented readings of `fenlight`, with a 70 mm diagonal: Strehl of the truth at the peak
    // and, before the refigure, at least RMS (RMS 72.5 nm), as printed beside the readings (own quadrature with W = 2h).
    // The slope factor that W = 2h leaves out is at most 1/(16 F^2) of the RMS: 0.19 nm, and 1e-3 of the Strehl.
    for (name, peak) in [("before", 0.770), ("after", 0.988), ("touch_up", 0.984)] {
        let row = &rows("strehl", "name", name)[0];
        let edge = TurnedEdge::new(row.number("edge_width_mm"), row.number("edge_drop_nm"));
        let primary = conic_and_zone(row, 1558.0).layer(edge);
        let parts = Train::builder(primary).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0));
        let telescope = prepare(parts);
        assert_close(
            at(&telescope, Focus::Peak).strehl,
            peak,
            5.1e-4,
            &format!("invented truth: {name}, peak"),
        );
        if name == "before" {
            let best = at(&telescope, Focus::LeastRms);
            assert_close(best.strehl, 0.7175, 1e-3, "invented truth: before, least RMS, Strehl");
            assert_close(best.rms_nm, 72.5, 0.05 + 0.19, "invented truth: before, least RMS, RMS");
        }
    }
}

#[test]
fn a_uniform_coating_costs_nothing_and_a_ring_what_its_sums_say() {
    // `amplitude_factor` = (sum A)^2/(area x sum A^2) by its definition; for a ring over a share p of the area with
    // amplitude a beside 1 this is (1 - p + a p)^2/(1 - p + a^2 p).
    let plain = Primary::new(200.0, FocalLengthMm(1200.0));
    let even = at(&bare(plain.clone().coating(Coating::new(0.6))), Focus::Paraxial);
    assert_close(even.amplitude_factor, 1.0, 1e-12, "amplitude factor of an even coating");
    let ring = CoatingRing::new(40.0, 70.0, 0.25 * 0.8);
    let worn = at(&bare(plain.coating(Coating::new(0.8).ring(ring))), Focus::Paraxial);
    let (p, a) = ((70.0_f64.powi(2) - 40.0_f64.powi(2)) / 1e4, 0.5);
    let factor = (1.0 - p + a * p).powi(2) / (1.0 - p + a * a * p);
    assert_close(worn.amplitude_factor, factor, 1e-9, "amplitude factor of a worn ring");
    assert_close(worn.strehl, 1.0, 1e-9, "a worn ring makes no wavefront error");
}

#[test]
fn a_turned_edge_that_is_masked_away_is_gone() {
    let mirror = Primary::new(200.0, FocalLengthMm(1000.0)).layer(TurnedEdge::new(10.0, 600.0));
    let open = at(&bare(mirror.clone()), Focus::Peak);
    let masked = at(&bare(mirror.mask_diameter_mm(180.0)), Focus::Peak);
    assert!(open.strehl < 0.8, "{}", open.strehl);
    assert_close(masked.strehl, 1.0, 1e-9, "masked edge: Strehl");
    assert_close(
        masked.focal_ratio().expect("a mirror has one"),
        1000.0 / 180.0,
        1e-12,
        "masked edge: focal ratio",
    );
}
