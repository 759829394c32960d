//! Light and what stops it, against trains followed in the real, folded space: tests/data/light.json and light_drawn.json.
//!
//! Truth: own tables. Laws of reflection and straight lines in three dimensions, the flat and the focuser where they
//! really stand, integrated by rows in panels (numpy, tests/data/make_light.py), and again by four million rays judged one
//! by one. Nothing there is unfolded, and nothing comes from the library.

mod common;

use catoptric::{
    Diagonal, Drawtube, Field, FilterRing, FlatEdge, FocalLengthMm, FocalPlane, FocuserBoard, Holder, Light,
    Misplacement, Opening, Prepared, Primary, SensorMask, Star, Train,
};
use common::{Row, assert_close, prepare, rows};

/// The train of a row of kind `train`.
fn telescope(row: &Row) -> Prepared {
    let n = |key: &str| row.number(key);
    let mut primary =
        Primary::new(n("clear_aperture_mm"), FocalLengthMm(n("focal_length_mm"))).conic(n("conic"));
    primary.mask_diameter_mm = row.optional("mask_diameter_mm");
    let mut parts = Train::builder(primary);
    if let Some(minor) = row.optional("minor_axis_mm") {
        parts = parts.diagonal(flat(row, minor)).focal_plane(FocalPlane::new(n("axis_to_focus_mm")));
    }
    if let Some(diameter) = row.optional("front_opening_diameter_mm") {
        parts = parts.front_opening(Opening::new(diameter, n("front_opening_above_vertex_mm")));
    }
    if let Some(diameter) = row.optional("holder_diameter_mm") {
        parts = parts.holder(Holder::new(diameter).above_vertex_mm(n("holder_above_vertex_mm")));
    }
    if let Some(hole) = row.optional("board_hole_mm") {
        parts = parts.focuser_board(FocuserBoard::new(hole, n("axis_to_board_mm")));
    }
    if let Some(bore) = row.optional("drawtube_bore_mm") {
        let (length, outer) = (n("drawtube_length_mm"), n("drawtube_outer_end_to_focus_mm"));
        parts = parts.drawtube(Drawtube::new(bore, length, outer));
    }
    if let Some(diameter) = row.optional("ring_diameter_mm") {
        parts = parts.filter_ring(FilterRing::new(diameter, n("ring_before_focus_mm")));
    }
    if let Some(along) = row.optional("sensor_along_mm") {
        let mask = SensorMask::new(along, n("sensor_across_mm"), n("sensor_before_focus_mm"));
        parts = parts.sensor_mask(mask.rotation_deg(n("sensor_rotation_deg")));
    }
    prepare(parts)
}

fn flat(row: &Row, minor_axis_mm: f64) -> Diagonal {
    let mut flat = Diagonal::new(minor_axis_mm);
    flat.offset_mm = row.optional("offset_mm").filter(|_| !row.flag("offset_is_default"));
    if let Some(thickness) = row.optional("thickness_mm") {
        let edge = FlatEdge::ALL.into_iter().find(|e| e.key() == row.text("edge")).expect("a known edge");
        flat = flat.thickness_mm(thickness, edge).bevel_mm(row.number("bevel_mm"));
    }
    let error = |key: &str| row.optional(key).unwrap_or(0.0);
    let misplaced = Misplacement {
        toward_primary_mm: error("toward_primary_mm"),
        toward_focuser_mm: error("toward_focuser_mm"),
        across_mm: error("across_mm"),
        nod_arcmin: error("nod_arcmin"),
        roll_arcmin: error("roll_arcmin"),
        turn_arcmin: error("turn_arcmin"),
    };
    if misplaced == Misplacement::NONE { flat } else { flat.misplaced(misplaced) }
}

/// One star's light, beside the row that says what it must be.
struct Case {
    telescope: Prepared,
    row: Row,
    /// Keys of the parts in the order in which light meets them.
    parts: Vec<String>,
    light: Light,
    label: String,
}

impl Case {
    fn share(&self, key: &str) -> f64 {
        self.light.stopped.iter().find(|s| s.part.key() == key).map_or(0.0, |s| s.fraction)
    }

    /// Each share and the lit fraction, named, in the order of the table.
    fn found(&self) -> Vec<(&str, f64)> {
        let shares = self.parts.iter().map(|key| (key.as_str(), self.share(key)));
        shares.chain([("lit", self.light.lit_fraction)]).collect()
    }
}

fn star(train: &Row, row: &Row) -> Star {
    let field = Field::arcmin(row.number("field_a_arcmin"), row.number("field_b_arcmin"));
    Star { field, distance_mm: train.optional("lamp_distance_mm") }
}

/// Rows of the hard trains and of the drawn ones.
fn both(kind: &str) -> Vec<Row> {
    let mut all = rows("light", "kind", kind);
    all.extend(rows("light_drawn", "kind", kind));
    all
}

fn cases() -> Vec<Case> {
    let trains = both("train");
    let cases: Vec<Case> = both("light")
        .into_iter()
        .map(|row| {
            let train = trains.iter().find(|t| t.text("name") == row.text("name")).expect("its train");
            let (telescope, star) = (telescope(train), star(train, &row));
            let label =
                format!("{} ({:.1}', {:.1}')", row.text("name"), star.field.x_arcmin, star.field.y_arcmin);
            let parts = train.text("parts").split(' ').map(str::to_owned).collect();
            Case { light: telescope.light(star), telescope, parts, row, label }
        })
        .collect();
    assert!(trains.len() >= 40 && cases.len() >= 80, "the table is whole");
    cases
}

#[test]
fn every_share_agrees_with_rows_in_panels() {
    for case in cases() {
        let truth = [case.row.list("stopped"), vec![case.row.number("lit_fraction")]].concat();
        let found = case.found();
        assert_eq!(truth.len(), found.len());
        // What is promised, and the table's own stated error (at most 1e-11).
        let tolerance = 1e-9 + case.row.number("rows_minus_columns") + case.row.number("change");
        for ((part, found), truth) in found.into_iter().zip(truth) {
            assert_close(found, truth, tolerance, &format!("folded space: {part}, {}", case.label));
        }
    }
}

#[test]
fn every_share_agrees_with_rays_judged_one_by_one() {
    for case in cases() {
        let (truth, four_sigma) = (case.row.list("sampled"), case.row.list("sampled_4_sigma"));
        for (i, (part, found)) in case.found().into_iter().enumerate() {
            let what = format!("four million rays: {part}, {}", case.label);
            assert_close(found, truth[i], four_sigma[i] + 1e-9, &what);
        }
    }
}

#[test]
fn a_point_of_the_sensor_is_lit_by_the_star_whose_ray_lands_there() {
    let mut misplaced = 0;
    for case in cases() {
        let (Some(along), Some(across)) = (case.row.optional("along_mm"), case.row.optional("across_mm"))
        else {
            continue;
        };
        let axis_is_lit = case.telescope.light(Field::AXIS).lit_fraction > 0.0;
        if case.row.number("lit_fraction") == 0.0 || !axis_is_lit {
            continue; // Illumination is also told relative to the axis.
        }
        misplaced += usize::from(case.telescope.train().diagonal().is_some_and(|d| d.misplaced.is_some()));
        let lit = case.telescope.illumination(&[along], &[across]).expect("light").absolute[0];
        let tolerance = 1e-9 + case.row.number("rows_minus_columns") + case.row.number("change");
        let what = format!("real focal plane: {}", case.label);
        assert_close(lit, case.row.number("lit_fraction"), tolerance, &what);
    }
    assert!(misplaced >= 10, "the table has misplaced flats: {misplaced}");
}

#[test]
fn what_a_part_s_removal_returns() {
    let mut counted = 0;
    for case in cases() {
        let Some(unshadowed) = case.row.optional("lit_without_shadow") else { continue };
        counted += 1;
        let found = case.light.lit_without_shadow();
        assert_close(found, unshadowed, 1e-9, &format!("without shadows: {}", case.label));
        for (part, truth) in case.parts.iter().zip(case.row.list("returns_alone")) {
            let share =
                case.light.stopped.iter().find(|s| s.part.key() == part).map_or(0.0, |s| s.returns_alone);
            // A difference of two shares, each promised to 1e-9.
            assert_close(share, truth, 2e-9, &format!("returned without {part}: {}", case.label));
        }
    }
    assert!(counted >= 10, "the table has such rows: {counted}");
}

#[test]
fn parts_are_met_in_the_order_of_the_real_space() {
    for case in cases() {
        let place = |key: &str| case.parts.iter().position(|p| p == key);
        let places: Vec<_> = case.light.stopped.iter().map(|s| place(s.part.key())).collect();
        assert!(places.iter().all(Option::is_some), "{}: a part that the table has not", case.label);
        assert!(places.is_sorted(), "{}: {places:?}", case.label);
    }
}

#[test]
fn shares_and_light_make_one_in_hard_cases_too() {
    for case in cases() {
        let whole: f64 = case.found().into_iter().map(|(_, share)| share).sum();
        assert_close(whole, 1.0, 1e-12, &format!("lit and stopped together: {}", case.label));
    }
}

#[test]
fn offsets_that_are_not_stated_are_the_table_s() {
    for row in both("train") {
        let Some(offset) = row.optional("offset_mm") else { continue };
        let found = telescope(&row).diagonal_offset_mm().expect("a diagonal");
        assert_close(
            found,
            offset,
            1e-9 * row.number("minor_axis_mm"),
            &format!("offset: {}", row.text("name")),
        );
    }
}

/// Known errors of the model of overlapping circles: circles less the library, for each part and what is lit.
fn error_of_circles(row: &Row) -> Vec<f64> {
    let light = telescope(row).light(star(row, row));
    let keys = ["diagonal_shadow", "diagonal", "drawtube_inner_end", "drawtube_outer_end"];
    let share = |key: &str| light.stopped.iter().find(|s| s.part.key() == key).map_or(0.0, |s| s.fraction);
    let found = keys.iter().map(|key| share(key)).chain([light.lit_fraction]);
    row.list("circles").into_iter().zip(found).map(|(circles, exact)| circles - exact).collect()
}

#[test]
fn overlapping_circles_err_by_what_is_known() {
    // Truth: own table, tests/data/circles.json: the usual model of vignetting, and the folded space.
    for row in rows("circles", "kind", "circles") {
        for (found, truth) in error_of_circles(&row).into_iter().zip(row.list("error")) {
            let what = format!(
                "circles at f/{}, {} mm along",
                row.number("focal_ratio"),
                row.number("image_along_mm")
            );
            // The table's errors have six digits.
            assert_close(found, truth, 1e-9 + 1e-5 * truth.abs(), &what);
        }
    }
}

#[test]
fn overlapping_circles_are_good_across_and_wrong_along() {
    let table = rows("circles", "kind", "circles");
    let diagonal_s = |ratio: f64, along: f64, across: f64| {
        let wanted = [("focal_ratio", ratio), ("image_along_mm", along), ("image_across_mm", across)];
        let row = table.iter().find(|r| wanted.iter().all(|(k, v)| (r.number(k) - v).abs() < 1e-9));
        error_of_circles(row.expect("a row"))[1]
    };
    for mm in [9.0, 15.0] {
        // The tilt of the flat: odd along, as 1/F. Circles call the diagonal's loss too small for light that lands toward
        // the sky and too great toward the primary.
        let odd = |ratio: f64| (diagonal_s(ratio, mm, 0.0) - diagonal_s(ratio, -mm, 0.0)) / 2.0;
        let what = format!("circles: order of what is odd along, {mm} mm");
        common::assert_close_relative(200.0 * odd(200.0), 20.0 * odd(20.0), 0.02, &what);
        // What is even, and all that is across, goes as 1/F^2.
        let even = |ratio: f64| f64::midpoint(diagonal_s(ratio, mm, 0.0), diagonal_s(ratio, -mm, 0.0));
        let across = |ratio: f64| diagonal_s(ratio, 0.0, mm);
        let what = format!("circles: order of the rest, {mm} mm");
        common::assert_close_relative(4e4 * even(200.0), 400.0 * even(20.0), 0.03, &what);
        common::assert_close_relative(4e4 * across(200.0), 400.0 * across(20.0), 0.03, &what);
        // At f/200 it serves across; at f/5 it is wrong by percents along, for both signs.
        assert!((1e-6..1e-5).contains(&across(200.0).abs()), "across at f/200: {}", across(200.0));
        assert!((3e-4..2e-3).contains(&odd(200.0).abs()), "along at f/200: {}", odd(200.0));
        assert!((5e-3..0.06).contains(&diagonal_s(5.0, mm, 0.0).abs()), "along at f/5");
        assert!((3e-3..0.02).contains(&across(5.0).abs()), "across at f/5: {}", across(5.0));
    }
    // On the axis of this family nothing but the shadow stops light, and the shadow is a circle.
    for ratio in [5.0, 20.0, 200.0] {
        assert_close(diagonal_s(ratio, 0.0, 0.0), 0.0, 1e-12, "circles on the axis");
    }
}
