//! Coatings, maps, spots and prices that cannot be: each fault names its field, the value found, what is allowed and
//! the likely cause.

use catoptric::{
    AxisDirection, Coating, CoatingOutline, CoatingPatch, CoatingRing, CoatingSpots, Diagonal, Error,
    FocalLengthMm, FocalPlane, FreshCoat, KnownPatch, LadderOptions, MeasuredCoating, Metal, MetalCoat,
    MetalFilm, OutlinePatch, Overcoat, Primary, RecoatOptions, RecoatPrices, RefigureAfter, ReflectanceMap,
    ReflectancePhoto, ReflectancePhotoInput, Severity, ThicknessMap, ThinPatch, ThinRing, Train, Wear, Work,
    recoat, value_ladder,
};

fn mirror(coating: Coating) -> Train {
    newtonian(coating, Diagonal::new(70.0)).expect("a train")
}

fn newtonian(coating: Coating, diagonal: Diagonal) -> catoptric::Result<Train> {
    Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).coating(coating))
        .diagonal(diagonal)
        .focal_plane(FocalPlane::new(235.0))
        .build()
}

fn coat(coating: Coating) -> Error {
    newtonian(coating, Diagonal::new(70.0)).expect_err("a coat that cannot be")
}

fn flat(diagonal: Diagonal) -> Error {
    newtonian(Coating::default(), diagonal).expect_err("a flat that cannot be")
}

fn thin(change: impl FnOnce(MetalCoat) -> MetalCoat) -> Error {
    coat(Coating::default().metal(change(MetalCoat::new(aluminium(90.0)))))
}

fn aluminium(thickness_nm: f64) -> MetalFilm {
    MetalFilm::new(Metal::Aluminium, thickness_nm)
}

fn net(value: f64) -> ndarray::Array2<f64> {
    ndarray::Array2::from_elem((50, 50), value)
}

fn offered(work: Work) -> Error {
    let works = [Work::mask(308.0, 4.0), work];
    let train = mirror(Coating::new(0.88));
    value_ladder(&train, None, &works, &LadderOptions::default()).expect_err("a work that cannot be")
}

fn compared(fresh: FreshCoat, prices: RecoatPrices) -> Error {
    let options = RecoatOptions::new(vec![fresh]).prices(prices);
    recoat(&mirror(Coating::new(0.88)), &options).expect_err("a recoat that cannot be")
}

fn standard() -> FreshCoat {
    FreshCoat::new("standard", 0.91, 0.91)
}

fn prices() -> RecoatPrices {
    RecoatPrices { diagonal: 35.0, primary: 240.0, both: None }
}

const SPOTS: &str = "x_mm,y_mm,ratio_1,ratio_2\n10,0,0.95,0.96\n-60,40,0.94,0.93\n";

fn spots(reference_reflectance: f64) -> catoptric::Result<CoatingSpots> {
    CoatingSpots::from_csv_text(SPOTS, 318.0, reference_reflectance)
}

fn photographed(dark: KnownPatch, columns_run: AxisDirection) -> Error {
    let bright = KnownPatch::new([60.0, 0.0], 20.0, 0.9);
    let values = ndarray::Array2::from_shape_fn((170, 170), |(i, j)| 1000.0 + (i % 7) as f64 + j as f64);
    let input =
        ReflectancePhotoInput::new(values, 2.0, AxisDirection::MinusY, columns_run, 318.0, dark, bright);
    ReflectancePhoto::new(input).expect_err("a photograph that cannot be")
}

/// What is wrong, and what must be said of it: the field exactly, value, allowed range and cause by a part of their
/// text. A cause is left out where nothing is more likely than anything else.
#[track_caller]
fn says(error: &Error, [field, value, allowed, cause]: [&str; 4]) {
    let problems = error.problems();
    assert_eq!(problems.len(), 1, "{field}: {error:?}");
    let found = &problems[0];
    assert_eq!((found.field.as_str(), found.severity), (field, Severity::Fault), "{error}");
    assert!(found.value.contains(value), "{value}: {error}");
    assert!(found.allowed.contains(allowed), "{allowed}: {error}");
    assert!(found.cause.contains(cause) && cause.is_empty() == found.cause.is_empty(), "{cause}: {error}");
    let message = error.to_string();
    for text in [field, value, allowed, cause] {
        assert!(message.contains(text), "`{text}` is not in `{message}`");
    }
}

#[test]
fn reflectances_in_per_cent() {
    let share = |field| [field, "90", "above 0 and not above 1", "per cent"];
    let even = Coating::new(0.88);
    says(&coat(Coating::new(90.0)), share("primary.coating.reflectance"));
    let ring = even.clone().ring(CoatingRing::new(112.0, 139.0, 90.0));
    says(&coat(ring), share("primary.coating.rings[0].reflectance"));
    let patch = even.patch(CoatingPatch::new([20.0, 30.0], 9.0, 90.0));
    says(&coat(patch), share("primary.coating.patches[0].reflectance"));
    let map = ReflectanceMap::new(net(90.0), 8.0, AxisDirection::MinusY, AxisDirection::PlusX);
    says(&coat(Coating::of_map(map)), share("primary.coating.map.reflectance[0][0]"));
    says(&flat(Diagonal::new(70.0).reflectance(90.0)), share("diagonal.reflectance"));
    says(&offered(Work::recoat_primary(90.0, 240.0)), share("works[1].primary_reflectance"));
    says(&offered(Work::recoat_diagonal(90.0, 35.0)), share("works[1].diagonal_reflectance"));
    let refigure = Work::refigure(RefigureAfter::PerfectParaboloid, 880.0).with_recoat(90.0);
    says(&offered(refigure), share("works[1].recoat_reflectance"));
    let in_per_cent = FreshCoat::new("standard", 0.91, 90.0);
    says(&compared(in_per_cent, prices()), share("fresh[0].diagonal_reflectance"));
    says(&spots(90.0).expect_err("per cent"), share("reference_reflectance"));
    // Ninety is no share, and leaves no scale between the two patches either: both are said.
    let photo = photographed(KnownPatch::new([-60.0, 0.0], 20.0, 90.0), AxisDirection::PlusX);
    let found = &photo.problems()[0];
    assert!(found.field == "dark.reflectance" && found.value == "90", "{photo}");
    assert!(found.allowed == "a share from 0 to 1" && found.cause.contains("per cent"), "{photo}");
    let measured = aluminium(80.0).thickness_from_reflectance(90.0, 0.01, 550.0).expect_err("per cent");
    let found = &measured.problems()[0];
    assert!(found.field == "reflectance" && found.cause.contains("per cent"), "{measured}");
    // A share just above 1 is no per cent less than 90 is.
    says(&coat(Coating::new(1.01)), ["primary.coating.reflectance", "1.01", "not above 1", "per cent"]);
}

#[test]
fn thicknesses_below_nothing() {
    let nm = |field| [field, "-5", "0 to 2000 nm", "micrometres"];
    let film = Coating::default().metal(MetalCoat::new(aluminium(-5.0)));
    says(&coat(film), nm("primary.coating.metal.film.thickness_nm"));
    let ring = thin(|metal| metal.ring(ThinRing::new(20.0, 30.0, -5.0)));
    says(&ring, nm("primary.coating.metal.rings[0].thickness_nm"));
    let patch = thin(|metal| metal.patch(ThinPatch::new([20.0, 0.0], 5.0, -5.0)));
    says(&patch, nm("primary.coating.metal.patches[0].thickness_nm"));
    let map = ThicknessMap::new(net(-5.0), 8.0, AxisDirection::MinusY, AxisDirection::PlusX);
    says(&thin(|metal| metal.map(map)), nm("primary.coating.metal.map.thickness_nm[0][0]"));
    says(&flat(Diagonal::new(70.0).film(aluminium(-5.0))), nm("diagonal.film.thickness_nm"));
    let over = aluminium(80.0).overcoat(Overcoat::new(1.45, -5.0));
    says(&over.check().expect_err("negative"), nm("metal_film.overcoat.thickness_nm"));
}

#[test]
fn patches_off_the_mirror() {
    let place = |field| [field, "170", "a place on the mirror, counted from its centre", "from the rim"];
    let haze = Coating::new(0.88).patch(CoatingPatch::new([170.0, 0.0], 9.0, 0.5));
    says(&coat(haze), place("primary.coating.patches[0].x_mm"));
    let metal = thin(|metal| metal.patch(ThinPatch::new([0.0, -170.0], 9.0, 20.0)));
    says(&metal, place("primary.coating.metal.patches[0].y_mm"));
    let outline = CoatingOutline::default().patch(OutlinePatch::new([170.0, 0.0], 9.0));
    let error = spots(0.9).expect("spots").fit(&outline).expect_err("a patch off the mirror");
    says(&error, place("outline.patches[0].x_mm"));
    let table = "x_mm,y_mm,ratio_1,ratio_2\n10,0,0.95,0.96\n170,0,0.95,0.96\n";
    let error = CoatingSpots::from_csv_text(table, 318.0, 0.9).expect_err("a spot off the mirror");
    assert!(error.problems()[0].field == "spots[1].x_mm", "{error}");
    assert!(error.problems()[0].cause.contains("rim"), "{error}");
}

#[test]
fn haze_or_metal_is_never_taken_for_granted() {
    // In the code there is no coating without the word. In a file there is none either.
    let estimate = spots(0.9).and_then(|s| s.fit(&CoatingOutline::default())).expect("a fit");
    let told = MeasuredCoating::new(estimate.clone(), Wear::Haze);
    let mut text: serde_json::Value = serde_json::to_value(&told).expect("a value");
    assert_eq!(serde_json::from_value::<MeasuredCoating>(text.clone()).expect("as written"), told);
    text.as_object_mut().expect("fields").remove("wear");
    let error = serde_json::from_value::<MeasuredCoating>(text).expect_err("wear is not stated");
    assert!(error.to_string().contains("missing field `wear`"), "{error}");
    // A base brighter than the film that is said to be there is no thin metal.
    let bright = estimate.coating(Wear::ThinMetal(aluminium(9.0))).expect_err("brighter than its film");
    assert_eq!(bright.problems()[0].field, "wear");
    assert!(!bright.problems()[0].cause.is_empty(), "{bright}");
}

#[test]
fn maps_without_their_orientation() {
    let train = mirror(Coating::of_map(ReflectanceMap::new(
        net(0.9),
        8.0,
        AxisDirection::MinusY,
        AxisDirection::PlusX,
    )));
    let mut text: serde_json::Value = serde_json::from_str(&train.to_json()).expect("a train's text");
    let missing = |text: &serde_json::Value, field: &str| {
        let mut text = text.clone();
        let map = &mut text["primary"]["coating"]["map"];
        assert!(map.as_object_mut().expect("a map").remove(field).is_some(), "{field} is written down");
        let error = Train::from_json(&text.to_string()).expect_err("a map that may lie anyhow");
        assert!(error.to_string().contains(&format!("missing field `{field}`")), "{error}");
    };
    for field in ["rows_run", "columns_run", "pixel_mm"] {
        missing(&text, field);
    }
    text["primary"]["coating"]["map"]["rows_run"] = "up".into();
    let error = Train::from_json(&text.to_string()).expect_err("no direction of a mirror");
    assert!(error.to_string().contains("up"), "{error}");
    // Rows and columns along one axis.
    let along = ReflectanceMap::new(net(0.9), 8.0, AxisDirection::MinusY, AxisDirection::PlusY);
    let error = coat(Coating::of_map(along));
    assert_eq!(error.problems()[0].field, "primary.coating.map.columns_run", "{error}");
    let dark = KnownPatch::new([-60.0, 0.0], 20.0, 0.2);
    let error = photographed(dark, AxisDirection::PlusY);
    assert_eq!(error.problems()[0].field, "columns_run", "{error}");
}

#[test]
fn prices_below_nothing() {
    let price = |field| [field, "-4", "0 or more", "a sign"];
    says(&offered(Work::mask(300.0, -4.0)), price("works[1].price"));
    says(&offered(Work::recoat_both(0.9, 0.9, -4.0)), price("works[1].price"));
    for (field, wrong) in [
        ("prices[0].diagonal", RecoatPrices { diagonal: -4.0, ..prices() }),
        ("prices[0].primary", RecoatPrices { primary: -4.0, ..prices() }),
        ("prices[0].both", RecoatPrices { both: Some(-4.0), ..prices() }),
    ] {
        says(&compared(standard(), wrong), price(field));
    }
}
