//! Zernike circle polynomials: values, numbering, and coefficients given and found again.

mod common;

use std::collections::BTreeMap;

use catoptric::numeric::random::Stream;
use catoptric::numeric::zernike::{norm, zernike};
use catoptric::{Field, FocalLengthMm, Focus, Indexing, Primary, Wavefront};
use common::{assert_close, assert_close_relative, bare, root_sum_square, rows};

const WAVELENGTH_NM: f64 = 550.0;
const ORDERS: [(Indexing, &str); 3] =
    [(Indexing::Noll, "noll"), (Indexing::Osa, "osa"), (Indexing::Fringe, "fringe")];

/// Orders (n, m) of a row of the table.
fn orders(row: &common::Row) -> (u32, i32) {
    (row.number("n") as u32, row.number("m") as i32)
}

// Truth of the next two tests: own mpmath table, tests/data/zernike.json (exact integer sums). Noll 1976, J. Opt. Soc. Am.
// 66, 207, table I; OSA/ANSI Z80.28; fringe terms of the University of Arizona order, from memory.

#[test]
fn the_three_numberings() {
    for (indexing, name) in ORDERS {
        for row in rows("zernike", "indexing", name) {
            let (index, (n, m)) = (row.number("j") as u32, orders(&row));
            assert_eq!(indexing.order(index), Some((n, m)), "{name} {index}");
            assert_eq!(indexing.index(n, m), Some(index), "{name} of n = {n}, m = {m}");
        }
        assert_eq!(Indexing::from_name(name), Some(indexing));
    }
    assert_eq!(Indexing::Noll.order(0), None);
    assert_eq!(Indexing::Fringe.order(38), None);
}

#[test]
fn values_of_the_polynomials() {
    for (indexing, name) in ORDERS {
        for row in rows("zernike", "indexing", name) {
            let (n, m) = orders(&row);
            for (key, rest) in row.keys_after("at_rho_") {
                let (rho, degrees) =
                    rest.trim_end_matches("_deg").split_once("_theta_").expect("two numbers");
                let number = |text: &str| text.parse::<f64>().expect("a number");
                let value = zernike(n, m, number(rho), number(degrees).to_radians());
                let scaled = if indexing == Indexing::Fringe { value / norm(n, m) } else { value };
                assert_close(
                    scaled,
                    row.number(key),
                    1e-13,
                    &format!("polynomial, {name}: {}", row.number("j")),
                );
            }
        }
    }
}

/// Random coefficients of the first terms, without piston, nm.
fn coefficients(indexing: Indexing, seed: u64) -> BTreeMap<u32, f64> {
    let mut draws = Stream::new(seed, 0);
    let piston = indexing.index(0, 0).expect("a piston term");
    (piston + 1..piston + 28).map(|j| (j, 40.0 * (draws.uniform() - 0.5))).collect()
}

#[test]
fn coefficients_are_found_again() {
    for (indexing, name) in ORDERS {
        for obstruction in [0.0, 0.3] {
            let given = coefficients(indexing, 7);
            let wavefront =
                Wavefront::from_zernikes(&given, indexing, obstruction, None, WAVELENGTH_NM).expect("terms");
            let found = wavefront.zernikes(indexing, 28).expect("a fit");
            for (index, value) in &given {
                assert_close(
                    found[index],
                    *value,
                    1e-9,
                    &format!("fit, {name}, obstruction {obstruction}: nm"),
                );
            }
        }
    }
}

#[test]
fn on_a_clear_circle_the_squares_add_up() {
    for (indexing, name) in ORDERS {
        let given = coefficients(indexing, 11);
        let wavefront = Wavefront::from_zernikes(&given, indexing, 0.0, None, WAVELENGTH_NM).expect("terms");
        let unit_rms = given.iter().map(|(&j, value)| {
            let (n, m) = indexing.order(j).expect("a term");
            if indexing == Indexing::Fringe { value / norm(n, m) } else { *value }
        });
        assert_close_relative(
            wavefront.rms_nm,
            root_sum_square(unit_rms),
            1e-9,
            &format!("RMS of terms, {name}"),
        );
    }
}

#[test]
fn one_wavefront_in_three_numberings() {
    let given: BTreeMap<u32, f64> =
        [(4, 20.0), (6, -15.0), (7, 9.0), (8, 30.0), (11, -25.0), (14, 12.0)].into();
    let noll = Wavefront::from_zernikes(&given, Indexing::Noll, 0.2, None, WAVELENGTH_NM).expect("terms");
    for (indexing, name) in [(Indexing::Osa, "osa"), (Indexing::Fringe, "fringe")] {
        let other: BTreeMap<u32, f64> = given
            .iter()
            .map(|(&j, &value)| {
                let (n, m) = Indexing::Noll.order(j).expect("a term");
                let scale = if indexing == Indexing::Fringe { norm(n, m) } else { 1.0 };
                (indexing.index(n, m).expect("it has a number"), value * scale)
            })
            .collect();
        let same = Wavefront::from_zernikes(&other, indexing, 0.2, None, WAVELENGTH_NM).expect("terms");
        assert_close(same.strehl, noll.strehl, 1e-12, &format!("same wavefront, {name}: Strehl"));
        assert_close(same.rms_nm, noll.rms_nm, 1e-10, &format!("same wavefront, {name}: RMS"));
    }
}

#[test]
fn a_cosine_term_is_high_on_the_side_of_the_focuser() {
    // Noll 8, the cosine of coma, is sqrt 8 at (1, 0), on +x; Noll 7, the sine, at (0, 1), on +y (Noll 1976, table I).
    let map = |index: u32| {
        let wavefront =
            Wavefront::from_zernikes(&[(index, 10.0)].into(), Indexing::Noll, 0.0, None, WAVELENGTH_NM)
                .expect("terms");
        wavefront.map(5).expect("a map").path_nm
    };
    let (cosine, sine) = (map(8), map(7));
    let crest = 10.0 * 8.0_f64.sqrt();
    assert_close(cosine[[2, 4]].expect("lit"), crest, 1e-9, "Noll 8 at +x, nm");
    assert_close(cosine[[2, 0]].expect("lit"), -crest, 1e-9, "Noll 8 at -x, nm");
    assert_close(sine[[4, 2]].expect("lit"), crest, 1e-9, "Noll 7 at +y, nm");
    assert_close(sine[[0, 2]].expect("lit"), -crest, 1e-9, "Noll 7 at -y, nm");
}

#[test]
fn a_sphere_is_spherical_aberration_and_nothing_else() {
    let sphere = bare(Primary::new(200.0, FocalLengthMm(2400.0)).conic(0.0));
    let wavefront = sphere.wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    let terms = wavefront.zernikes(Indexing::Noll, 22).expect("a fit");
    // W040/(6 sqrt 5) (Welford, from memory), the next term smaller by 1/F^2; a sphere's rim focuses nearer: W < 0 there.
    let third_order_nm = 200.0e6 / (512.0 * 12.0_f64.powi(3)) / (6.0 * 5.0_f64.sqrt());
    assert_close_relative(terms[&11], third_order_nm, 2e-3, "Noll 11 of a sphere");
    let others = root_sum_square(terms.iter().filter(|(j, _)| **j != 11 && **j != 22).map(|(_, v)| *v));
    assert!(others < 1e-2, "other terms {others} nm");
}
