//! The cone of light on the plane of the diagonal, against straight lines from rim to lit circle: tests/data/cone_section.json.
//!
//! Truth: own table (tests/data/make_cone_section.py). Lines cut by the plane and the conic through five of them, 40 digits, mpmath;
//! the same in symbols, sympy; the smallest flats by search over all lines.

mod common;

use catoptric::{
    Diagonal, FocalLengthMm, FocalPlane, Primary, Train, cone_on_flat, inches, smallest_diagonal,
};
use common::{Row, assert_close, assert_close_relative, prepare, rows};

fn mirror(row: &Row) -> Primary {
    Primary::new(row.number("clear_aperture_mm"), FocalLengthMm(row.number("focal_length_mm")))
}

#[test]
fn the_smallest_diagonal_holds_every_line_of_the_cone() {
    for row in rows("cone_section", "kind", "section") {
        let (to_focus, lit) = (row.number("axis_to_focus_mm"), row.number("fully_lit_diameter_mm"));
        let fit = smallest_diagonal(&mirror(&row), to_focus, lit).expect("sound sizes");
        let what = |claim: &str| format!("{claim}: {}", row.text("name"));
        assert_close_relative(
            fit.minor_axis_mm,
            row.number("fitted_minor_axis_mm"),
            1e-13,
            &what("smallest flat"),
        );
        // The offset is a small share of the flat, and so is its rounding.
        let tolerance = 1e-14 * row.number("fitted_minor_axis_mm");
        assert_close(
            fit.offset_mm,
            row.number("fitted_offset_mm"),
            tolerance,
            &what("offset of the smallest flat"),
        );
    }
}

#[test]
fn a_diagonal_without_a_stated_offset_stands_about_the_middle_of_the_section() {
    for row in rows("cone_section", "kind", "section") {
        let minor = row.number("fitted_minor_axis_mm");
        let parts = Train::builder(mirror(&row))
            .diagonal(Diagonal::new(minor))
            .focal_plane(FocalPlane::new(row.number("axis_to_focus_mm")));
        let offset = prepare(parts).diagonal_offset_mm().expect("a diagonal");
        let what = format!("offset of a size: {}", row.text("name"));
        assert_close(offset, row.number("centre_offset_mm"), 1e-12 * minor, &what);
    }
}

#[test]
fn the_published_example_is_among_them() {
    // Dakin 1962, in Texereau 1984, appendix G: D 8, f 48, L 6.3, lit field 0.43; 1.43423950 and 0.05664622 inches.
    let rows = rows("cone_section", "kind", "section");
    let row = rows.iter().find(|r| r.text("name") == "published").expect("the published row");
    assert_close(
        row.number("fitted_minor_axis_mm") / inches(1.0),
        1.434_239_50,
        1e-7,
        "Dakin 1962: minor axis",
    );
    assert_close(row.number("fitted_offset_mm") / inches(1.0), 0.056_646_22, 1e-8, "Dakin 1962: offset");
}

#[test]
fn the_record_of_the_cone_is_that_of_its_lines() {
    for row in rows("cone_section", "kind", "section") {
        let (to_focus, lit) = (row.number("axis_to_focus_mm"), row.number("fully_lit_diameter_mm"));
        let cone = cone_on_flat(&mirror(&row), to_focus, lit).expect("sound sizes");
        let at_stated =
            cone.minor_axis_at_offset_mm(row.number("stated_offset_mm")).expect("an offset within the cone");
        let scale = row.number("fitted_minor_axis_mm");
        for (name, found) in [
            ("crossing_diameter_mm", cone.crossing_diameter_mm),
            ("half_long_axis_mm", cone.half_long_axis_mm),
            ("half_short_axis_mm", cone.half_short_axis_mm),
            ("centre_offset_mm", cone.centre_offset_mm),
            ("centre_in_face_mm", cone.centre_in_face_mm),
            ("sky_end_mm", cone.sky_end_mm),
            ("primary_end_mm", cone.primary_end_mm),
            ("fitted_minor_axis_mm", cone.smallest.minor_axis_mm),
            ("fitted_offset_mm", cone.smallest.offset_mm),
            ("unoffset_minor_axis_mm", cone.unoffset_minor_axis_mm),
            ("stated_minor_axis_mm", at_stated),
        ] {
            let what = format!("{name}: {}", row.text("name"));
            assert_close(found, row.number(name), 1e-13 * scale, &what);
        }
        assert_close_relative(cone.axis_ratio, row.number("axis_ratio"), 1e-13, "the section's own ratio");
    }
}
