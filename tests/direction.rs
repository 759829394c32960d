//! Pins of direction and sign: what a round trip cannot see.

mod common;

use catoptric::{
    Diagonal, Drawtube, Field, FocalLengthMm, FocalPlane, Focus, Indexing, Opening, Primary, PsfSize,
    RADIANS_PER_ARCMIN, RadialProfile, Train, TurnedEdge, Zone,
};
use common::{assert_close, assert_close_relative, bare, paraboloid, prepare};

const WAVELENGTH_NM: f64 = 550.0;

fn primary() -> Primary {
    Primary::new(318.0, FocalLengthMm(1558.0))
}

/// The wavefront along +x of a mirror on the axis, seen from the paraxial focus: nm at whole millimetres from 0 to 159.
fn profile_nm(primary: Primary) -> Vec<f64> {
    let wavefront =
        bare(primary).wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM).expect("a wavefront");
    let map = wavefront.map(319).expect("a map");
    assert_close(map.axis_mm[318], 159.0, 1e-12, "+x is to the right of a map");
    (159..319).map(|j| map.path_nm[[159, j]].expect("lit")).collect()
}

#[test]
fn a_hill_is_a_hill() {
    // design: a hill of glass h gives W = 2h/(1 + (r/R)^2), which is positive; own derivation, exact in h to h^2/f.
    let wave = profile_nm(primary().layer(Zone::new(95.0, 13.0, 28.0)));
    let truth = 2.0 * 28.0 / (1.0 + (95.0_f64 / 3116.0).powi(2));
    assert!(wave[95] - wave[0] > 0.0, "a hill reads {} nm", wave[95] - wave[0]);
    assert_close(wave[95] - wave[0], truth, 1e-3, "a hill: W, nm");
    let pit = profile_nm(primary().layer(Zone::new(95.0, 13.0, -28.0)));
    assert_close(pit[95] - pit[0], -truth, 1e-3, "a pit: W, nm");
}

#[test]
fn a_profile_is_read_the_same_way() {
    let profile = RadialProfile::new(vec![0.0, 60.0, 95.0, 130.0, 159.0], vec![0.0, 0.0, 28.0, 0.0, 0.0]);
    let wave = profile_nm(primary().layer(profile));
    let truth = 2.0 * 28.0 / (1.0 + (95.0_f64 / 3116.0).powi(2));
    assert_close(wave[95] - wave[0], truth, 1e-3, "a hill given by points: W, nm");
}

#[test]
fn a_turned_down_edge_is_negative() {
    let wave = profile_nm(primary().layer(TurnedEdge::new(9.0, 330.0)));
    let truth = -2.0 * 330.0 / (1.0 + (159.0_f64 / 3116.0).powi(2));
    assert_close(wave[159] - wave[0], truth, 1e-3, "a turned edge: W at the rim, nm");
    assert_close(wave[149] - wave[0], 0.0, 1e-3, "a turned edge: W inside of it, nm");
    // h = -drop ((r - 150)/9)^2.
    let middle = -2.0 * 330.0 * (5.0_f64 / 9.0).powi(2) / (1.0 + (155.0_f64 / 3116.0).powi(2));
    assert_close(wave[155] - wave[0], middle, 1e-3, "a turned edge: W halfway, nm");
    let raised = profile_nm(primary().layer(TurnedEdge::new(9.0, -330.0)));
    assert_close(raised[159] - raised[0], -truth, 1e-3, "a raised edge: W at the rim, nm");
}

#[test]
fn glass_that_falls_toward_the_rim_turns_the_ray_outward() {
    // Law of reflection: the normal leans outward by the slope, the ray by twice that.
    let edge = bare(primary().layer(TurnedEdge::new(9.0, 330.0)));
    let [along, _] = edge.ray(Field::AXIS, 155.0, 0.0).at_height_mm(1558.0);
    // Slope -2 q drop/width at q = 5/9; over about one focal length the ray falls short of the axis, on its own side.
    let slope = -330.0e-6 * 2.0 * (5.0 / 9.0) / 9.0;
    assert_close_relative(
        along,
        -2.0 * slope * 1558.0,
        1e-2,
        "a turned edge's ray lands on its own side, mm",
    );
}

#[test]
fn under_correction_focuses_the_rim_nearer() {
    // A sphere, conic 0 above -1, is under-corrected: its rim focuses nearer to the mirror than its centre.
    for (conic, sign) in [(0.0, -1.0), (-2.0, 1.0)] {
        let mirror = bare(primary().conic(conic));
        let ray = mirror.ray(Field::AXIS, 159.0, 0.0);
        let crossing = ray.hit_mm[2] - ray.hit_mm[0] * ray.direction[2] / ray.direction[0];
        assert!(sign * (crossing - 1558.0) > 0.1, "conic {conic} focuses its rim at {crossing}");
        let shift = mirror.best_focus_mm(Focus::LeastSpot, Field::AXIS, WAVELENGTH_NM).expect("a focus");
        assert!(sign * shift > 0.05, "conic {conic} has its best focus at {shift}");
    }
}

#[test]
fn a_star_toward_the_focuser_lands_toward_the_primary() {
    // The image falls at along = -f tan a, across = -f tan b.
    let telescope = paraboloid(318.0, 1558.0);
    for (a, b) in [(10.0, 0.0), (0.0, 10.0), (-7.0, 12.0)] {
        let field = Field::arcmin(a, b);
        let [along, across] = telescope.ray(field, 0.0, 0.0).at_height_mm(1558.0);
        assert_close(along, -1558.0 * (a * RADIANS_PER_ARCMIN).tan(), 1e-10, "image of a star: along, mm");
        assert_close(across, -1558.0 * (b * RADIANS_PER_ARCMIN).tan(), 1e-10, "image of a star: across, mm");
    }
    let [along, _] = telescope.ray(Field::arcmin(10.0, 0.0), 0.0, 0.0).at_height_mm(1558.0);
    assert!(along < -4.5, "a star at +x lands at {along}");
    let towards = Field::arcmin(10.0, 0.0).towards();
    assert!(towards[0] > 0.0 && towards[2] > 0.0, "toward the star: {towards:?}");
}

#[test]
fn coma_flares_away_from_the_axis() {
    let telescope = paraboloid(250.0, 1250.0);
    for (a, b) in [(15.0, 0.0), (-15.0, 0.0), (0.0, 15.0), (9.0, -12.0)] {
        let field = Field::arcmin(a, b);
        let spot = telescope.spot_at(field, 0.0, 2000).expect("a spot");
        assert!(spot.tangential_coma_um > 0.0 && spot.sagittal_coma_um > 0.0);
        // The image lies at -(tan a, tan b); the centroid of the rays lies still further out, by the sagittal coma
        // (third order: the mean of the flare's circles, whose centres lie at twice (r/rim)^2 of it).
        let away = [-a, -b].map(|t| t / a.hypot(b));
        let outward_um = spot.centroid_um[0] * away[0] + spot.centroid_um[1] * away[1];
        assert_close_relative(outward_um, spot.sagittal_coma_um, 2e-2, "coma: centroid outward, um");
        // So does the light of the star image: seen from its peak, its centre of gravity.
        let wavefront = telescope.wavefront(field, Focus::Peak, WAVELENGTH_NM).expect("a wavefront");
        let star = wavefront.psf(PsfSize { half_width_um: Some(40.0), pixels: 65 }).expect("a star image");
        let mut moment = 0.0;
        for ((i, j), light) in star.image.indexed_iter() {
            moment += light * (star.along_um[j] * away[0] + star.across_um[i] * away[1]);
        }
        let outward_um = moment / star.image.sum();
        assert!(outward_um > 1.0, "star image at ({a}, {b}): outward by {outward_um} um");
    }
}

#[test]
fn everything_on_the_mirror_is_the_same_with_a_diagonal() {
    let with =
        prepare(Train::builder(primary()).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)));
    let without = bare(primary());
    let field = Field::arcmin(12.0, -5.0);
    for (x, y) in [(100.0, 0.0), (-100.0, 0.0), (30.0, 120.0)] {
        assert_eq!(with.ray(field, x, y), without.ray(field, x, y));
    }
    let map = |telescope: &catoptric::Prepared| {
        let wavefront = telescope.wavefront(field, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
        (wavefront.zernikes(Indexing::Noll, 8).expect("a fit"), wavefront.map(41).expect("a map"))
    };
    let ((terms, lit), (bare_terms, bare_lit)) = (map(&with), map(&without));
    // Coma as it lies on the mirror: the same sign and, but for the shadow, the same size.
    for term in [7, 8] {
        assert_close_relative(terms[&term], bare_terms[&term], 0.1, &format!("with a diagonal: Noll {term}"));
    }
    assert_eq!(lit.axis_mm, bare_lit.axis_mm);
    // The shadow is on the mirror's middle, and the rim is lit in both.
    assert!(lit.path_nm[[20, 20]].is_none() && bare_lit.path_nm[[20, 20]].is_some());
    assert!(lit.path_nm[[20, 38]].is_some() && bare_lit.path_nm[[20, 38]].is_some());
    // The image of the star lies on the same side.
    let centroid = |t: &catoptric::Prepared| t.spot_at(field, 0.0, 10).expect("a spot").centroid_um;
    let (one, other) = (centroid(&with), centroid(&without));
    assert!(one[0] * other[0] > 0.0 && one[1] * other[1] > 0.0, "{one:?} and {other:?}");
}

#[test]
fn a_positive_shift_of_focus_lies_further_out() {
    // W020 = +dz/(8 F^2) for a reference point further from the primary; Noll 4 is W020/(2 sqrt 3). Left out: the
    // next term of the cone, smaller by about 1/(16 F^2).
    let telescope = paraboloid(200.0, 4000.0);
    for shift_mm in [0.4, -0.4] {
        let wavefront =
            telescope.wavefront(Field::AXIS, Focus::ShiftMm(shift_mm), WAVELENGTH_NM).expect("a wavefront");
        assert_close(wavefront.focus_shift_mm(), shift_mm, 1e-12, "focus shift as asked, mm");
        let terms = wavefront.zernikes(Indexing::Noll, 11).expect("a fit");
        let w020_nm = shift_mm / (8.0 * 400.0) * 1e6;
        assert_close_relative(
            terms[&4],
            w020_nm / (2.0 * 3.0_f64.sqrt()),
            1e-3,
            "W020 of a shift, as Noll 4",
        );
    }
    // Rays that meet at f have crossed at f + 1 mm: the ray from +x is then on -x.
    let [along, _] = telescope.ray(Field::AXIS, 100.0, 0.0).at_height_mm(4001.0);
    assert!(along < -0.02, "behind the focus a ray from +x lies at {along}");
}

#[test]
fn the_offset_moves_the_shadow_away_from_the_focuser() {
    let telescope = prepare(
        Train::builder(primary())
            .diagonal(Diagonal::new(70.0).offset_mm(5.0))
            .focal_plane(FocalPlane::new(235.0)),
    );
    let dark = |x: f64, y: f64| !telescope.passes(Field::AXIS, x, y);
    // A circle of radius 35 about (-5, 0).
    assert!(dark(-39.9, 0.0) && !dark(-40.1, 0.0), "the far side of the shadow");
    assert!(dark(29.9, 0.0) && !dark(30.1, 0.0), "the focuser's side of the shadow");
    assert!(dark(-5.0, 34.9) && !dark(-5.0, 35.1), "across");
    // The default offset points the same way.
    let usual =
        prepare(Train::builder(primary()).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)));
    assert!(usual.diagonal_offset_mm().expect("a diagonal") > 1.0);
}

#[test]
fn the_shadow_moves_away_from_the_star() {
    // Light from a star at +x comes down toward -x, and so does the shadow.
    let telescope = prepare(
        Train::builder(primary())
            .diagonal(Diagonal::new(70.0).offset_mm(0.0))
            .focal_plane(FocalPlane::new(235.0)),
    );
    let field = Field::arcmin(20.0, 0.0);
    let moved = (1558.0 - 235.0) * (20.0 * RADIANS_PER_ARCMIN).tan();
    assert!(
        !telescope.passes(field, -35.0 - moved + 1.0, 0.0)
            && telescope.passes(field, 35.0 - moved + 1.0, 0.0)
    );
}

#[test]
fn the_front_opening_cuts_the_side_of_the_star() {
    let telescope = prepare(Train::builder(primary()).front_opening(Opening::new(320.0, 1650.0)));
    let field = Field::arcmin(20.0, 0.0);
    assert!(!telescope.passes(field, 158.0, 0.0), "light to the +x rim comes from further +x");
    assert!(telescope.passes(field, -158.0, 0.0));
    let field = Field::arcmin(0.0, -20.0);
    assert!(!telescope.passes(field, 0.0, -158.0) && telescope.passes(field, 0.0, 158.0));
}

#[test]
fn a_narrow_drawtube_cuts_the_far_side_of_the_cone() {
    // An image at along > 0: at the tube's inner end the cone still leans toward +x, so the ray from +x is the furthest out.
    let telescope = prepare(
        Train::builder(primary())
            .diagonal(Diagonal::new(70.0))
            .focal_plane(FocalPlane::new(235.0))
            .drawtube(Drawtube::new(32.0, 60.0, 10.0)),
    );
    let field = Field::arcmin(-22.0, 0.0);
    let ray = |x: f64| telescope.ray(field, x, 0.0).at_height_mm(1558.0 - 70.0)[0];
    assert!(ray(158.0) > 16.0 && ray(-158.0) < 16.0, "{} and {}", ray(158.0), ray(-158.0));
    assert!(!telescope.passes(field, 158.0, 0.0), "at the inner end the ray from +x is the furthest out");
    assert!(telescope.passes(field, -158.0, 0.0));
}

#[test]
fn a_star_image_is_seen_along_and_across() {
    // Row i of a picture lies at across_um[i], column j at along_um[j]: a star on +y is the transpose of one on +x.
    let telescope = paraboloid(250.0, 1250.0);
    let star = |field| {
        let wavefront = telescope.wavefront(field, Focus::Peak, WAVELENGTH_NM).expect("a wavefront");
        wavefront.psf(PsfSize { half_width_um: Some(30.0), pixels: 61 }).expect("a star image")
    };
    let (along, across) = (star(Field::arcmin(12.0, 0.0)), star(Field::arcmin(0.0, 12.0)));
    for i in 0..61 {
        for j in 0..61 {
            assert_close(across.image[[i, j]], along.image[[j, i]], 1e-6, "transposed star image");
        }
    }
}
