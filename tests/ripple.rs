//! Ripple: its RMS, its loss against the formula of total integrated scatter, its seeds, and what cannot be.

mod common;

use std::f64::consts::PI;

use catoptric::{
    Error, Field, FigureLayer, FocalLengthMm, Focus, Prepared, Primary, Ripple, Train, Wavefront,
    scatter_loss,
};
use common::assert_close;

const WAVELENGTH_NM: f64 = 550.0;
const CLEAR_MM: f64 = 200.0;
const RADIUS_OF_CURVATURE_MM: f64 = 3200.0;

fn seen(ripple: Ripple) -> Wavefront {
    let primary = Primary::new(CLEAR_MM, FocalLengthMm(RADIUS_OF_CURVATURE_MM / 2.0)).layer(ripple);
    let train = Train::builder(primary).build().expect("a sound train");
    Prepared::new(&train).wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM).expect("a wavefront")
}

#[test]
fn the_strehl_is_that_of_total_integrated_scatter() {
    // Bennett & Porteus 1961: exp(-(4 pi s/lambda)^2), s on glass. What one surface may differ by, own derivation: a
    // hill counts 2h/(1 + (r/R)^2), which takes the mean of 2 (r/R)^2 from the variance; the best point of the image
    // takes some tilt with it, at most 5e-3 of the variance (waves of 20 to 40 mm have next to none); and a sample of N
    // independent patches has an excess of kurtosis of 0 +- sqrt(24/N), which enters as phase^4/12. N = area (integral
    // of the density)^2/integral of its square = 158 for this spectrum.
    let oblique = (CLEAR_MM / 2.0 / RADIUS_OF_CURVATURE_MM).powi(2);
    let patches = PI * (CLEAR_MM / 2.0).powi(2) * (2.0 * PI * 2.0_f64.ln()).powi(2) / (PI * (1600.0 - 400.0));
    for rms_nm in [5.0, 10.0, 20.0] {
        let square = (4.0 * PI * rms_nm / WAVELENGTH_NM).powi(2);
        let truth = (-square).exp();
        assert_close(
            1.0 - scatter_loss(rms_nm, WAVELENGTH_NM, 0.0).expect("a loss"),
            truth,
            1e-15,
            "formula",
        );
        for seed in 0..8 {
            let found = seen(Ripple::new(rms_nm, 40.0, 20.0, seed));
            let kurtosis = 3.0 * (24.0 / patches).sqrt() * square * square / 12.0;
            let allowed = truth * (square * (oblique + 5e-3) + kurtosis);
            assert_close(found.strehl, truth, allowed, &format!("Strehl of {rms_nm} nm, seed {seed}"));
            assert!(found.error_estimate < 1e-5, "{}", found.error_estimate);
            assert_close(
                found.rms_nm,
                2.0 * rms_nm,
                2.0 * rms_nm * (oblique + 2.5e-3),
                "RMS of the wavefront, nm",
            );
        }
    }
}

#[test]
fn the_loss_at_an_angle_is_that_of_the_foreshortened_height() {
    // Bennett & Porteus 1961 with cos i: 45 degrees halve the exponent.
    let (level, tilted) = (scatter_loss(10.0, 550.0, 0.0), scatter_loss(10.0, 550.0, 45.0));
    let exponent = |loss: Result<f64, Error>| -(-loss.expect("a loss")).ln_1p();
    assert_close(exponent(tilted), exponent(level) / 2.0, 1e-15, "exponent at 45 degrees");
    for (field, loss) in [
        ("rms_nm", scatter_loss(-1.0, 550.0, 0.0)),
        ("rms_nm", scatter_loss(f64::NAN, 550.0, 0.0)),
        ("wavelength_nm", scatter_loss(1.0, 5500.0, 0.0)),
        ("incidence_deg", scatter_loss(1.0, 550.0, 91.0)),
    ] {
        assert_eq!(loss.expect_err(field).problems()[0].field, field);
    }
}

#[test]
fn the_rms_of_the_glass_is_as_stated_and_the_seed_decides() {
    let ripple = Ripple::new(7.0, 200.0, 25.0, 3).slope(2.5);
    let map = ripple.height_map(CLEAR_MM).expect("a map");
    let on_glass: Vec<f64> = map
        .height_nm
        .indexed_iter()
        .filter(|((i, j), _)| {
            let [x, y] = map.place_mm(*i, *j);
            x.hypot(y) <= CLEAR_MM / 2.0
        })
        .map(|(_, h)| *h)
        .collect();
    let mean = on_glass.iter().sum::<f64>() / on_glass.len() as f64;
    let variance = on_glass.iter().map(|h| (h - mean).powi(2)).sum::<f64>() / on_glass.len() as f64;
    assert_close(mean, 0.0, 1e-9, "mean height, nm");
    assert_close(variance.sqrt(), 7.0, 1e-9, "RMS, nm");
    assert_eq!(map, ripple.height_map(CLEAR_MM).expect("a map"));
    assert_ne!(map, Ripple { seed: 4, ..ripple }.height_map(CLEAR_MM).expect("a map"));
    assert_eq!(seen(ripple).strehl.to_bits(), seen(ripple).strehl.to_bits());
    // A layer of ripple is the layer of its map.
    let by_map = Primary::new(CLEAR_MM, FocalLengthMm(RADIUS_OF_CURVATURE_MM / 2.0)).layer(map);
    let by_map = Prepared::new(&Train::builder(by_map).build().expect("a train"));
    let by_map = by_map.wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM).expect("a wavefront");
    assert_eq!(by_map.strehl.to_bits(), seen(ripple).strehl.to_bits());
}

#[test]
fn ripple_is_saved_by_its_numbers() {
    let primary = Primary::new(200.0, FocalLengthMm(1600.0)).layer(Ripple::new(7.0, 100.0, 25.0, 3));
    let train = Train::builder(primary).build().expect("a train");
    let text = train.to_json();
    assert!(text.contains("\"kind\":\"ripple\"") || text.contains("\"kind\": \"ripple\""), "{text}");
    assert_eq!(Train::from_json(&text).expect("a train"), train);
    assert_eq!(Train::from_toml(&train.to_toml()).expect("a train"), train);
}

#[test]
fn ripple_that_cannot_be_is_refused_with_its_field() {
    let sound = Ripple::new(7.0, 100.0, 25.0, 3);
    let cases = [
        (Ripple { rms_nm: -1.0, ..sound }, "rms_nm"),
        (Ripple { rms_nm: f64::NAN, ..sound }, "rms_nm"),
        (Ripple { longest_mm: 0.0, ..sound }, "longest_mm"),
        (Ripple { longest_mm: 300.0, ..sound }, "longest_mm"),
        (Ripple { shortest_mm: 100.0, ..sound }, "shortest_mm"),
        (Ripple { shortest_mm: 0.5, ..sound }, "shortest_mm"),
        (Ripple { slope: 9.0, ..sound }, "slope"),
    ];
    for (ripple, field) in cases {
        let parts = Train::builder(Primary::new(200.0, FocalLengthMm(1600.0)).layer(ripple));
        let error = parts.build().expect_err(field);
        assert_eq!(error.problems()[0].field, format!("primary.figure[0].{field}"), "{error}");
        assert_eq!(ripple.height_map(200.0).expect_err(field).problems()[0].field, field);
    }
    assert!(FigureLayer::from(sound).check().is_ok());
    assert_eq!(sound.height_map(-3.0).expect_err("a diameter").problems()[0].field, "clear_aperture_mm");
}
