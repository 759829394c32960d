//! Star images against closed forms, the full path at every pixel, and the sums of their colours.

mod common;

use std::f64::consts::TAU;

use catoptric::numeric::gauss::on_interval;
use catoptric::{
    Airy, Field, FocalLengthMm, Focus, Indexing, Prepared, Primary, PsfSize, Spectrum, Train, TurnedEdge,
    Wavefront,
};
use common::{assert_close, bare, with_shadow};

const WAVELENGTH_NM: f64 = 550.0;

/// Ten obstructions by diameter.
fn obstructions() -> impl Iterator<Item = f64> {
    (0..10).map(|k| 0.05 * f64::from(k))
}

/// A perfect wavefront; with `uneven_nm` of astigmatism it is not the same around the axis, and summed over the whole pupil.
fn perfect(obstruction: f64, uneven_nm: f64) -> Wavefront {
    let terms = [(6, uneven_nm)].into();
    Wavefront::from_zernikes(&terms, Indexing::Noll, obstruction, Some(5.0), WAVELENGTH_NM)
        .expect("a wavefront")
}

#[test]
fn ten_annular_pupils_show_airys_pattern() {
    // Born & Wolf, Principles of Optics, chapter 8; the closed form itself is held to mpmath in tests/airy.rs. 1e-9 nm of
    // astigmatism changes nothing above 1e-11.
    for obstruction in obstructions() {
        let airy = Airy::new(5.0, obstruction, WAVELENGTH_NM).expect("a star");
        for uneven_nm in [0.0, 1e-9] {
            let wavefront = perfect(obstruction, uneven_nm);
            let star = wavefront.psf(PsfSize { half_width_um: None, pixels: 48 }).expect("a star");
            let mut worst = 0.0_f64;
            for ((i, j), intensity) in star.image.indexed_iter() {
                let truth = airy.intensity(star.along_um[j].hypot(star.across_um[i]));
                worst = worst.max((intensity - truth).abs());
            }
            assert_close(worst, 0.0, 1e-9, &format!("annular pupil {obstruction}, {uneven_nm} nm uneven"));
            let radii: Vec<f64> = (1..=3).map(|k| airy.dark_ring_um(k)).chain([25.0]).collect();
            let energies = wavefront.encircled_energy(&radii).expect("energies");
            for (radius, energy) in radii.iter().zip(energies) {
                let what = format!("energy within {radius} um, {obstruction}, {uneven_nm} nm uneven");
                assert_close(energy, airy.encircled_energy(*radius), 1e-9, &what);
            }
        }
    }
}

#[test]
fn ten_slow_traced_trains_show_airys_pattern() {
    // As above. At f/200 the real cone's pattern lies 0.031/F^2 = 8e-7 from the textbook's.
    for obstruction in obstructions() {
        let telescope = with_shadow(Primary::new(200.0, FocalLengthMm(40_000.0)), obstruction);
        let airy = telescope.airy(WAVELENGTH_NM).expect("a star");
        let wavefront =
            telescope.wavefront(Field::AXIS, Focus::Paraxial, WAVELENGTH_NM).expect("a wavefront");
        let star = wavefront.psf(PsfSize { half_width_um: None, pixels: 48 }).expect("a star");
        for ((i, j), intensity) in star.image.indexed_iter() {
            let truth = airy.intensity(star.along_um[j].hypot(star.across_um[i]));
            assert_close(*intensity, truth, 1e-6, &format!("traced at f/200, obstruction {obstruction}"));
        }
    }
}

/// Intensities in the plane of a wavefront's reference point by the full path |P - Q| at every place, on a clear mirror: Gauss in
/// r^2, even angles, rays of the library.
fn by_full_path(telescope: &Prepared, wavefront: &Wavefront, places_um: &[[f64; 2]]) -> Vec<f64> {
    let (field, rim, focal) = (wavefront.field(), 159.0_f64, 1558.0);
    let moved = wavefront.reference_um().map(|v| v / 1000.0);
    let [tx, ty] = field.tangents();
    let centre = [-focal * tx + moved[0], -focal * ty + moved[1], focal + wavefront.focus_shift_mm()];
    let towards = field.towards();
    let (mut nodes, angles) = (Vec::new(), 176);
    // Split where the edge begins, 9 mm from the rim.
    for (from, to, count) in [(0.0, 150.0_f64.powi(2), 44), (150.0_f64.powi(2), rim * rim, 20)] {
        for (square, weight) in on_interval(count, from, to) {
            for k in 0..angles {
                let (sin, cos) = (TAU * f64::from(k) / f64::from(angles)).sin_cos();
                let ray = telescope.ray(field, square.sqrt() * cos, square.sqrt() * sin);
                let down: f64 = (0..3).map(|i| towards[i] * ray.hit_mm[i]).sum();
                nodes.push((ray.hit_mm, weight * ray.beam, down));
            }
        }
    }
    let whole: f64 = nodes.iter().map(|n| n.1).sum();
    let per_mm = TAU * 1e6 / WAVELENGTH_NM;
    let intensity = |[x, y]: &[f64; 2]| {
        let point = [centre[0] + x / 1000.0, centre[1] + y / 1000.0, centre[2]];
        let (mut re, mut im) = (0.0, 0.0);
        for (hit, weight, down) in &nodes {
            let distance = (0..3).map(|i| (point[i] - hit[i]).powi(2)).sum::<f64>().sqrt();
            let (s, c) = (per_mm * (down - distance + focal)).sin_cos();
            re += weight * c;
            im += weight * s;
        }
        (re * re + im * im) / (whole * whole)
    };
    places_um.iter().map(intensity).collect()
}

#[test]
fn every_pixel_is_the_sum_of_full_paths() {
    let telescope = bare(Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 60.0)));
    for field in [Field::AXIS, Field::arcmin(10.0, 0.0), Field::arcmin(-18.0, 24.0)] {
        let wavefront = telescope.wavefront(field, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
        let star = wavefront.psf(PsfSize { half_width_um: None, pixels: 14 }).expect("a star");
        let places: Vec<[f64; 2]> =
            star.image.indexed_iter().map(|((i, j), _)| [star.along_um[j], star.across_um[i]]).collect();
        let worst = by_full_path(&telescope, &wavefront, &places)
            .iter()
            .zip(&star.image)
            .map(|(truth, found)| (truth - found).abs())
            .fold(0.0, f64::max);
        assert_close(worst, 0.0, 1e-7, &format!("full path at {field:?}"));
    }
}

#[test]
fn colours_add_up_by_their_weights() {
    let telescope = with_shadow(Primary::new(200.0, FocalLengthMm(1000.0)).conic(-0.8), 0.25);
    let lines = [(480.0, 0.2), (550.0, 0.5), (640.0, 0.3)];
    let light = Spectrum::of_lines(&lines.map(|l| l.0), &lines.map(|l| l.1)).expect("lines");
    for field in [Field::AXIS, Field::arcmin(12.0, 5.0)] {
        let wavefront = telescope.wavefront(field, Focus::LeastRms, light.mean_nm()).expect("a wavefront");
        let size = PsfSize { half_width_um: Some(25.0), pixels: 31 };
        let together = wavefront.psf_of(size, &light).expect("a star");
        let radii = [2.0, 6.0, 20.0];
        let energies = wavefront.encircled_energy_of(&radii, &light).expect("energies");
        let (mut sum, mut total, mut energy) = (0.0 * &together.image, 0.0, [0.0; 3]);
        for (nm, share) in lines {
            // Seen from the same reference point: a line's spectrum of its own.
            let line = Spectrum::line(nm).expect("a line");
            let alone = wavefront.psf_of(size, &line).expect("a star");
            sum = sum + share / (nm * nm) * &alone.image;
            total += share / (nm * nm);
            for (e, part) in
                energy.iter_mut().zip(wavefront.encircled_energy_of(&radii, &line).expect("energies"))
            {
                *e += share * part;
            }
        }
        let worst = together.image.iter().zip(&sum).map(|(a, b)| (a - b / total).abs()).fold(0.0, f64::max);
        assert_close(worst, 0.0, 1e-8, &format!("three colours at {field:?}"));
        for (found, truth) in energies.iter().zip(energy) {
            assert_close(*found, truth, 1e-8, &format!("energies of three colours at {field:?}"));
        }
        assert_close(together.strehl(), together.image[[15, 15]], 1e-6, "the Strehl of three colours");
        assert_close(together.wavefront.wavelength_nm, light.mean_nm(), 1e-12, "the mean wavelength");
        assert_eq!(together.spectrum, light);
    }
}

#[test]
fn rings_and_rectangles_share_out_the_light() {
    let wavefront = perfect(0.3, 1e-9);
    let star = wavefront.psf(PsfSize::default()).expect("a star");
    let rings = star.ring_energy(4).expect("rings");
    for (share, perfect) in rings.share.iter().zip(&rings.perfect_share) {
        assert_close(*share, *perfect, 1e-8, "the perfect star's own rings");
    }
    assert_eq!(rings.inner_radius_um[1].to_bits(), rings.outer_radius_um[0].to_bits());
    // A square lies between its inscribed and its circumscribed disc, and two ways of summing agree.
    let square = star.rectangle_energy(6.0, 6.0).expect("an energy");
    let discs = star.encircled_energy(&[6.0, 6.0 * 2.0_f64.sqrt()]).expect("energies");
    assert!(discs[0] < square && square < discs[1], "{discs:?} {square}");
    let round = perfect(0.3, 0.0).psf(PsfSize::default()).expect("a star");
    assert_close(round.rectangle_energy(6.0, 6.0).expect("an energy"), square, 1e-9, "a square, two ways");
    let (long, turned) = (star.rectangle_energy(20.0, 2.0), star.rectangle_energy(2.0, 20.0));
    assert_close(long.expect("an energy"), turned.expect("an energy"), 1e-9, "a strip along and across");
}

#[test]
fn what_cannot_be_a_picture_is_refused() {
    let wavefront = perfect(0.0, 0.0);
    let ask = |half_width_um: Option<f64>, pixels: usize| {
        wavefront.psf(PsfSize { half_width_um, pixels }).unwrap_err().to_string()
    };
    assert!(ask(None, 100_000).contains("76294 MiB"), "{}", ask(None, 100_000));
    assert!(ask(None, 1).contains("pixels"), "{}", ask(None, 1));
    assert!(ask(Some(-1.0), 9).contains("half_width_um"));
    assert!(ask(Some(f64::NAN), 9).contains("half_width_um"));
    let huge = wavefront.psf(PsfSize::of_pixels(5000.0, 9)).unwrap_err().to_string();
    assert!(huge.contains("pixels larger than the field"), "{huge}");
    for (nm, words) in [(0.0, "wavelength_nm = 0"), (5500.0, "angstroms")] {
        let message = Spectrum::line(nm).unwrap_err().to_string();
        assert!(message.contains(words), "{message}");
    }
    let star = wavefront.psf(PsfSize::default()).expect("a star");
    assert!(star.ring_energy(0).is_err() && star.ring_energy(61).is_err());
    assert!(star.rectangle_energy(0.0, 1.0).is_err() && star.rectangle_energy(1.0, f64::NAN).is_err());
    let blocked = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
        .front_opening(catoptric::Opening::new(150.0, 1100.0))
        .build()
        .expect("a sound train");
    let far = Prepared::new(&blocked).wavefront(Field::arcmin(900.0, 0.0), Focus::LeastRms, WAVELENGTH_NM);
    assert!(far.is_err(), "all light blocked");
}
