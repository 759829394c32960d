//! Star images beside the direct sum, every node at every point.

use super::*;
use crate::model::{Diagonal, FocalPlane, Primary, Train, TurnedEdge};
use crate::trace::Prepared;
use crate::units::{Field, FocalLengthMm};
use crate::wave::density::{Fineness, PhaseDensity};
use crate::wave::source::Source;

/// The obvious way: every node at every point.
fn direct(places: &Places, spectrum: &Spectrum, along_um: f64, across_um: f64) -> f64 {
    let (mut sum, mut total) = (0.0, 0.0);
    for &(nm, share) in spectrum.lines() {
        let (mut re, mut im) = (0.0, 0.0);
        for i in 0..places.light.len() {
            let step_nm = 1000.0 * (places.along[i] * along_um + places.across[i] * across_um);
            let (s, c) = (TAU * (places.path_nm[i] - places.path_nm[0] + step_nm) / nm).sin_cos();
            re += places.light[i] * c;
            im += places.light[i] * s;
        }
        sum += share / (nm * nm) * (re * re + im * im);
        total += share / (nm * nm);
    }
    sum / total
}

/// A star somewhere on a turned mirror with its diagonal.
fn star(field: Field) -> Source {
    let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 330.0)))
        .diagonal(Diagonal::new(70.0))
        .focal_plane(FocalPlane::new(235.0))
        .build()
        .expect("a sound train");
    Source::Star { prepared: Prepared::new(&train), star: field.into() }
}

/// A star's light within a reach of so many waves times the focal ratio, its nodes, and that reach, um.
fn light(source: &Source, spectrum: &Spectrum, reach: f64) -> (Amplitude, Places, f64) {
    let reference = source.gaussian_mm();
    let shortest_nm = spectrum.lines()[0].0;
    let density = PhaseDensity::new(source.slopes(&[reference]), shortest_nm, 1.5 * reach, Fineness::IMAGES);
    let pupil = source.pupil(&density);
    let half_width_um = reach * shortest_nm / 1000.0 * 4.9;
    let amplitude = Amplitude::new(&pupil, reference, spectrum, half_width_um);
    (amplitude, Places::new(Instructions::in_use(), &pupil, reference, None), half_width_um)
}

fn nine_colours() -> Spectrum {
    let nine: Vec<f64> = (0..9).map(|k| 450.0 + 25.0 * f64::from(k)).collect();
    let shares: Vec<f64> = (0..9).map(|k| 1.0 + f64::from(k % 4)).collect();
    Spectrum::of_lines(&nine, &shares).expect("lines")
}

fn axis_um(half_width_um: f64, pixels: u32) -> Vec<f64> {
    (0..pixels).map(|i| half_width_um * (2.0 * f64::from(i) / f64::from(pixels - 1) - 1.0)).collect()
}

#[test]
fn spread_weights_give_the_direct_sum() {
    let source = star(Field::arcmin(12.0, -7.0));
    for (reach, spectrum) in [
        (12.0, Spectrum::line(550.0).expect("a line")),
        (40.0, Spectrum::line(450.0).expect("a line")),
        (12.0, nine_colours()),
    ] {
        let (amplitude, places, half_width_um) = light(&source, &spectrum, reach);
        for pixels in [9, 36] {
            let axis_um = axis_um(half_width_um, pixels);
            let picture = square(axis_um.len(), |image| amplitude.picture(&axis_um, image));
            let near = amplitude.close_up([axis_um[3], axis_um[5]], 0.2 * half_width_um);
            for (i, y) in axis_um.iter().enumerate().step_by(3) {
                for (j, x) in axis_um.iter().enumerate() {
                    let truth = direct(&places, &spectrum, *x, *y);
                    let off = (picture[[i, j]] - truth).abs();
                    assert!(off < 2e-11, "pixel at {x}, {y}: {off:e}");
                    let off = (amplitude.intensity(*x, *y) - truth).abs();
                    assert!(off < 2e-11, "point at {x}, {y}: {off:e}");
                    if near.holds(*x, *y) {
                        let off = (near.intensity(*x, *y) - truth).abs();
                        assert!(off < 4e-11, "close up at {x}, {y}: {off:e}");
                    }
                }
            }
        }
    }
}

#[test]
fn large_pictures_and_even_pupils_give_the_direct_sum() {
    // In the plane of the diagonal one half of the pupil mirrors the other; beside it, by 1 arcsec even, it does not.
    for (field, is_even) in [
        (Field::arcmin(12.0, 0.0), true),
        (Field::arcmin(12.0, 1.0 / 60.0), false),
        (Field::arcmin(12.0, -7.0), false),
    ] {
        for spectrum in [Spectrum::line(550.0).expect("a line"), nine_colours()] {
            let (amplitude, places, half_width_um) = light(&star(field), &spectrum, 12.0);
            assert_eq!(amplitude.is_even, is_even, "{field:?}");
            for pixels in [160, 161] {
                assert!(amplitude.coarse_for(pixels as usize).is_some(), "the road that is tested");
                let axis_um = axis_um(half_width_um, pixels);
                let picture = square(axis_um.len(), |image| amplitude.picture(&axis_um, image));
                let summed = square(axis_um.len(), |image| amplitude.summed_picture(&axis_um, image));
                for (i, y) in axis_um.iter().enumerate().step_by(23) {
                    for (j, x) in axis_um.iter().enumerate().step_by(19) {
                        let truth = direct(&places, &spectrum, *x, *y);
                        let point = amplitude.intensity(*x, *y);
                        let roads =
                            [("few to many", picture[[i, j]]), ("summed", summed[[i, j]]), ("point", point)];
                        for (road, found) in roads {
                            let off = (found - truth).abs();
                            assert!(off < 2e-11, "{road} at {x}, {y}: {off:e}");
                        }
                    }
                }
            }
        }
    }
}
