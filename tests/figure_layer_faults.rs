//! Figure layers that are not round: as text and back, and what is refused.

use catoptric::AxisDirection::{MinusX, MinusY, PlusX, PlusY};
use catoptric::{FigureLayer, FocalLengthMm, HeightMap, Indexing, Primary, Train, ZernikeTerms};
use ndarray::Array2;

fn slow() -> Primary {
    Primary::new(200.0, FocalLengthMm(4000.0))
}

#[test]
fn layers_come_back_from_text() {
    let heights =
        Array2::from_shape_fn((48, 49), |(i, j)| (0.31 * i as f64).sin() * (0.17 * j as f64).cos() / 3.0);
    let mut map = HeightMap::new(heights, 5.0, MinusX, PlusY).centre(24.0, 23.75).hold_edge();
    std::sync::Arc::make_mut(&mut map.height_nm)[[0, 3]] = f64::NAN;
    let terms = ZernikeTerms::new([(5, 0.1 + 0.2), (11, -7.0)], Indexing::Noll);
    let train = Train::builder(slow().layer(terms).layer(map)).build().expect("a train");
    let (json, toml) = (train.to_json(), train.to_toml());
    for back in [Train::from_json(&json), Train::from_toml(&toml)] {
        assert_eq!(back.expect("its own text"), train);
    }
    assert!(json.contains("\"kind\": \"zernike_terms\"") && json.contains("\"kind\": \"height_map\""));
    assert!(json.contains("\"5\": 0.30000000000000004") && json.contains("null") && json.contains("\"-x\""));
    assert!(toml.contains("nan") && toml.contains("rows_run = \"-x\""));
    let other = train.to_json().replacen("\"11\"", "\"12\"", 1);
    assert_ne!(Train::from_json(&other).expect("a train"), train);
}

/// The text of the error of a mirror with one layer.
fn refusal(layer: impl Into<FigureLayer>) -> String {
    Train::builder(slow().layer(layer)).build().expect_err("a fault").to_string()
}

#[test]
fn bad_terms_are_refused_by_name() {
    for (indexing, j, words) in [
        (Indexing::Noll, 0, "figure[0].coefficients_nm[0] = index 0: a Noll index from 1"),
        (Indexing::Noll, 862, "index 862"),
        (Indexing::Osa, 861, "an OSA index from 0 to 860"),
        (Indexing::Fringe, 38, "a fringe index from 1 to 37"),
    ] {
        let text = refusal(ZernikeTerms::new([(j, 1.0)], indexing));
        assert!(text.contains(words) && text.contains("another indexing?"), "{text}");
    }
    for height_nm in [f64::NAN, f64::INFINITY, 2e5] {
        let text = refusal(ZernikeTerms::new([(5, height_nm)], Indexing::Noll));
        assert!(text.contains("coefficients_nm[5]"), "{text}");
    }
    let from = |layer: &str| {
        let text = format!(
            r#"{{"primary": {{"clear_aperture_mm": 200, "focal_length_mm": 4000, "figure": [{layer}]}}}}"#
        );
        Train::from_json(&text)
    };
    assert!(from(r#"{"kind": "zernike_terms", "indexing": "noll", "coefficients_nm": {"5": 1}}"#).is_ok());
    for (layer, words) in [
        (r#"{"kind": "zernike_terms", "coefficients_nm": {"5": 1}}"#, "indexing"),
        (r#"{"kind": "zernike_terms", "indexing": "NOLL", "coefficients_nm": {"5": 1}}"#, "NOLL"),
        (r#"{"kind": "zernike_terms", "indexing": "noll", "coefficients_nm": {"Z5": 1}}"#, "Z5"),
        (r#"{"kind": "zernike_terms", "indexing": "noll", "coefficients_nm": {"05": 1}}"#, "05"),
        (
            r#"{"kind": "height_map", "pixel_mm": 1, "rows_run": "+y", "columns_run": "right", "height_nm": [[1]]}"#,
            "right",
        ),
        (r#"{"kind": "height_map", "pixel_mm": 1, "columns_run": "+x", "height_nm": [[1]]}"#, "rows_run"),
        (
            r#"{"kind": "height_map", "pixel_mm": 1, "rows_run": "+y", "columns_run": "+x", "height_nm": [[1, 2], [1]]}"#,
            "row 1",
        ),
    ] {
        let text = from(layer).expect_err("a fault").to_string();
        assert!(text.contains(words), "{layer}: {text}");
    }
}

#[test]
fn bad_maps_are_refused_by_name() {
    let flat = |rows: usize, columns: usize, pixel_mm: f64| {
        HeightMap::new(Array2::zeros((rows, columns)), pixel_mm, PlusY, PlusX)
    };
    assert!(Train::builder(slow().layer(flat(101, 101, 2.0))).build().is_ok(), "it just covers");
    let mut hole = flat(101, 101, 2.0).hold_edge();
    std::sync::Arc::make_mut(&mut hole.height_nm)[[50, 60]] = f64::NAN;
    let mut tall = flat(101, 101, 2.0);
    std::sync::Arc::make_mut(&mut tall.height_nm)[[3, 4]] = 1e6;
    let mut infinite = flat(101, 101, 2.0);
    std::sync::Arc::make_mut(&mut infinite.height_nm)[[3, 4]] = f64::NEG_INFINITY;
    let along_one = HeightMap { columns_run: MinusY, ..flat(101, 101, 2.0) };
    for (map, words) in [
        (flat(100, 101, 2.0), vec!["height_nm", "hold_edge", "100.000 mm in radius"]),
        (flat(90, 90, 2.0), vec!["height_nm", "% of its area", "a hole in the map"]),
        (flat(90, 90, 2.0).hold_edge(), vec!["height_nm", "a hole in the map"]),
        (flat(101, 101, 0.02), vec!["pixel_mm", "other units"]),
        (flat(101, 101, 0.0), vec!["pixel_mm = 0"]),
        (flat(101, 101, -2.0), vec!["pixel_mm = -2"]),
        (flat(101, 101, f64::NAN), vec!["pixel_mm = NaN"]),
        (flat(3, 101, 2.0), vec!["3 x 101"]),
        (flat(0, 0, 2.0), vec!["0 x 0"]),
        (flat(101, 101, 2.0).centre(50.0, 120.0), vec!["centre_column", "0 to 100"]),
        (flat(101, 101, 2.0).centre(f64::NAN, 50.0), vec!["centre_row"]),
        (flat(121, 121, 2.0).centre(40.0, 60.0), vec!["another centre?"]),
        (hole, vec!["1 pixels without a height", "80.00 mm inside its rim", "a hole in the map"]),
        (tall, vec!["height_nm[3][4]", "1000000", "nanometres"]),
        (infinite, vec!["height_nm[3][4]", "-inf"]),
        (along_one, vec!["columns_run", "-y beside rows_run = +y"]),
    ] {
        let text = refusal(map);
        for word in words {
            assert!(text.contains(word), "'{word}' is not in: {text}");
        }
    }
}
