//! The train's section: every ray ends where the exact light says, in mm of the real space.

mod common;

use catoptric::{
    Diagonal, Drawtube, Enclosure, Field, FilterRing, FlatEdge, FocalLengthMm, FocalPlane, FocuserBoard,
    Holder, MirrorClips, Misplacement, Opening, OppositeBaffle, Part, Prepared, Primary, SensorMask,
    SightField, Train, TrainBuilder,
};
use common::{assert_close, bare, prepare};

fn parts(flat: Diagonal) -> TrainBuilder {
    Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)).mask_diameter_mm(400.0))
        .diagonal(flat)
        .focal_plane(FocalPlane::new(303.0))
        .front_opening(Opening::new(418.0, 2150.0))
        .drawtube(Drawtube::new(47.0, 70.0, 18.0))
        .holder(Holder::new(70.0).above_vertex_mm(1760.0))
        .mirror_clips(MirrorClips::new(3, 20.0, 6.0))
        .focuser_board(FocuserBoard::new(60.0, 215.0))
        .filter_ring(FilterRing::new(44.0, 60.0))
        .sensor_mask(SensorMask::new(30.0, 40.0, 10.0))
}

#[test]
fn rays_end_as_the_exact_light_says() {
    let thick = Diagonal::new(80.0).thickness_mm(14.0, FlatEdge::SquareToFace).bevel_mm(0.8);
    let nodding = Misplacement { nod_arcmin: 12.0, toward_primary_mm: 2.0, ..Misplacement::NONE };
    let mut seen = std::collections::BTreeSet::new();
    for flat in [Diagonal::new(63.5), thick, thick.misplaced(nodding)] {
        let telescope = prepare(parts(flat));
        let section = telescope.section(&Enclosure::open(), 20.0, 201).expect("a section");
        for ray in &section.rays {
            let field = Field::arcmin(ray.field_x_arcmin, 0.0);
            let passes = telescope.passes(field, ray.pupil_x_mm, 0.0);
            let at = format!("{} mm on the mirror, image at {}", ray.pupil_x_mm, ray.along_mm);
            assert_eq!(ray.ended_by.is_none(), passes, "{at}: {:?}", ray.ended_by);
            if let Some(part) = ray.ended_by {
                seen.insert(part);
            } else {
                let (x, z) = (ray.x_mm[3], ray.z_mm[3]);
                assert_close(x, 303.0, 1e-9, "ends in the focal plane");
                let moved = telescope.image_shift().expect("a flat").along_mm;
                // Coma and the lean of the plane: tenths of a millimetre at 20 mm.
                assert_close(z - section.focuser_height_mm, ray.along_mm + moved, 0.3, "lands on its image");
            }
        }
    }
    for part in [Part::FrontOpening, Part::DiagonalShadow, Part::Holder, Part::Mask, Part::Diagonal] {
        assert!(seen.contains(&part), "no ray ends at {part}: {seen:?}");
    }
}

#[test]
fn the_section_is_the_train_in_millimetres() {
    let telescope = prepare(parts(Diagonal::new(88.9).offset_mm(4.0)));
    let around = Enclosure::tube(470.0, 2100.0).baffle(OppositeBaffle::new(200.0, 150.0, 120.0, 230.0));
    let section = telescope.section(&around, 15.0, 5).expect("a section");
    let of =
        |part: &str| section.lines.iter().find(|l| l.part == part).unwrap_or_else(|| panic!("no {part}"));
    let mirror = of("mirror");
    // The sagitta of a paraboloid: r^2/(4 f).
    assert_close(mirror.z_mm[0], 203.0_f64.powi(2) / 8120.0, 1e-9, "sagitta at the rim");
    let glass = of("diagonal");
    assert_close(glass.x_mm[0], -4.0 - 44.45, 1e-9, "the flat's end toward the primary");
    assert_close(glass.z_mm[0], 1727.0 - 4.0 - 44.45, 1e-9, "its height");
    assert_close(glass.z_mm[1], 1727.0 - 4.0 + 44.45, 1e-9, "the end toward the sky lies toward the focuser");
    let tube = of("drawtube");
    assert_eq!((tube.x_mm[0], tube.x_mm[1]), (303.0 - 88.0, 303.0 - 18.0));
    assert_eq!(of("baffle").z_mm, [1727.0 - 120.0, 1727.0 + 150.0]);
    assert_eq!(of("focal_plane").x_mm, [303.0, 303.0]);
    for part in [
        "mask",
        "mirror_clips",
        "front_opening",
        "holder",
        "focuser_board",
        "filter_ring",
        "sensor_mask",
        "tube",
    ] {
        assert!(of(part).x_mm.len() >= 2, "{part}");
    }
    assert_eq!(section.rays.len(), 15);
    // Without a diagonal the light is caught above the mirror.
    let plain =
        bare(Primary::new(200.0, FocalLengthMm(1200.0))).section(&Enclosure::open(), 0.0, 3).expect("rays");
    assert!(plain.axis_to_focus_mm.is_none() && plain.rays.iter().all(|r| r.ended_by.is_none()));
    assert_close(plain.rays[0].x_mm[2], 0.0, 1e-9, "rays meet in the focus");
}

/// The one field that an error names.
#[track_caller]
fn refused<T>(result: catoptric::Result<T>, field: &str) {
    let error = result.err().unwrap_or_else(|| panic!("{field} is not refused"));
    let problems = error.problems();
    assert!(problems.iter().any(|p| p.field == field), "{field}: {error}");
    assert!(problems.iter().all(|p| !p.allowed.is_empty()), "{field}: {error}");
}

#[test]
fn what_cannot_be_is_refused() {
    let telescope = prepare(parts(Diagonal::new(88.9)));
    let truss = Enclosure::open();
    let see = |around: &Enclosure| telescope.sight_lines(around, &[0.0], &[0.0]);
    for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
        refused(see(&Enclosure::tube(bad, 2000.0)), "enclosure.tube_diameter_mm");
        refused(see(&truss.ring_outer_mm(bad)), "enclosure.ring_outer_mm");
        let sheet = OppositeBaffle::new(bad, 100.0, 100.0, 215.0);
        refused(see(&truss.baffle(sheet)), "enclosure.baffle.width_mm");
        let sheet = OppositeBaffle::new(100.0, 100.0, 100.0, bad);
        refused(see(&truss.baffle(sheet)), "enclosure.baffle.axis_to_baffle_mm");
        refused(
            telescope.closing_baffle(&truss, SightField::Circle { radius_mm: 10.0 }, bad),
            "axis_to_baffle_mm",
        );
    }
    refused(see(&Enclosure::tube(470.0, f64::NAN)), "enclosure.upper_edge_mm");
    refused(see(&Enclosure::tube(470.0, 2000.0).lower_edge_mm(f64::NAN)), "enclosure.lower_edge_mm");
    refused(see(&Enclosure::tube(470.0, 2000.0).lower_edge_mm(2100.0)), "enclosure.lower_edge_mm");
    refused(see(&Enclosure::tube(470.0, 2000.0).lower_edge_mm(1800.0)), "enclosure.lower_edge_mm");
    refused(see(&Enclosure { upper_edge_mm: Some(2000.0), ..truss }), "enclosure.tube_diameter_mm");
    refused(see(&Enclosure { tube_diameter_mm: Some(470.0), ..truss }), "enclosure.upper_edge_mm");
    refused(
        see(&truss.baffle(OppositeBaffle::new(100.0, 50.0, -60.0, 215.0))),
        "enclosure.baffle.below_axis_mm",
    );
    refused(telescope.sight_lines(&truss, &[0.0, 1.0], &[0.0]), "across_mm");
    refused(telescope.sight_lines(&truss, &[], &[]), "across_mm");
    refused(telescope.sight_lines(&truss, &[0.0, f64::NAN], &[0.0, 0.0]), "along_mm[1]");
    refused(telescope.sight_lines(&truss, &[0.0], &[400.0]), "across_mm[0]");
    let circle = |radius_mm| SightField::Circle { radius_mm };
    for bad in [f64::NAN, -1.0, 400.0] {
        refused(telescope.closing_baffle(&truss, circle(bad), 215.0), "field_radius_mm");
        refused(telescope.section(&truss, if bad > 0.0 { 200.0 } else { bad }, 9), "field_radius_mm");
        refused(telescope.misplacement_effects(&Misplacement::NONE, bad, 550.0), "field_radius_mm");
    }
    refused(telescope.closing_front(&truss, circle(10.0)), "enclosure.tube_diameter_mm");
    refused(telescope.section(&truss, 10.0, 1), "rays_each");
    refused(telescope.misplacement_effects(&Misplacement::NONE, 10.0, 0.0), "wavelength_nm");
    let far = Misplacement { toward_primary_mm: f64::NAN, ..Misplacement::NONE };
    refused(telescope.misplacement_effects(&far, 10.0, 550.0), "diagonal.misplaced.toward_primary_mm");
    refused(telescope.diagonal_shadow(Field::arcmin(f64::NAN, 0.0)), "field_arcmin[0]");
    // Trains without what is asked about.
    let plain: Prepared = bare(Primary::new(318.0, FocalLengthMm(1558.0)));
    refused(plain.sight_lines(&truss, &[0.0], &[0.0]), "diagonal");
    refused(plain.diagonal_shadow(Field::AXIS), "diagonal");
    refused(plain.misplacement_effects(&Misplacement::NONE, 10.0, 550.0), "diagonal");
    let mirror = Primary::new(318.0, FocalLengthMm(1558.0));
    let without_tube = prepare(
        Train::builder(mirror.clone()).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)),
    );
    refused(without_tube.sight_lines(&truss, &[0.0], &[0.0]), "drawtube");
    let cone = catoptric::cone_on_flat(&mirror, 235.0, 15.0).expect("a cone");
    refused(cone.clearance(f64::NAN, None), "minor_axis_mm");
    refused(cone.clearance(70.0, Some(f64::NAN)), "offset_mm");
    refused(cone.minor_axis_at_offset_mm(1000.0), "offset_mm");
    refused(catoptric::cone_on_flat(&mirror, f64::NAN, 15.0), "axis_to_focus_mm");
}
