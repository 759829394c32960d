//! The star of a train that is the same all around its axis: a sum over one radius.
//!
//! A ring of the pupil at the conjugate coordinate m adds J0(2 pi m r/lambda) to the amplitude at the radius r. As a function of
//! r/lambda the table of J0 is the same for all wavelengths. Intensities are kept as Chebyshev series on pieces of
//! the radius, from which pictures, widths and energies are read.

use std::f64::consts::{PI, TAU};

use super::source::Pupil;
use super::spectrum::Spectrum;
use crate::numeric::{bessel, chebyshev, gauss, sums};

/// Terms of a series.
const TERMS: usize = 20;
/// Longest piece, in units of the shortest wavelength times focal ratio: the intensity turns once in one unit.
const LONGEST: f64 = 0.9;

/// The intensity of a round star by radius.
#[derive(Clone, Debug)]
pub(crate) struct RoundStar {
    pieces: Pieces,
}

/// A function of one variable from 0 on, piece by piece.
#[derive(Clone, Debug)]
struct Pieces {
    per_piece: f64,
    series: Vec<[f64; TERMS]>,
}

impl Pieces {
    /// From values at the Chebyshev points of each piece.
    fn new(length: f64, values: &[f64], cosines: &[[f64; TERMS]; TERMS]) -> Self {
        let of_piece = |values: &[f64]| {
            std::array::from_fn(|k| {
                let sum: f64 = values.iter().zip(&cosines[k]).map(|(v, c)| v * c).sum();
                sum * if k == 0 { 1.0 } else { 2.0 } / TERMS as f64
            })
        };
        Self { per_piece: length.recip(), series: values.chunks_exact(TERMS).map(of_piece).collect() }
    }

    #[inline]
    fn at(&self, x: f64) -> f64 {
        let place = x * self.per_piece;
        let piece = (place as usize).min(self.series.len() - 1);
        chebyshev::sum(&self.series[piece], 2.0 * (place - piece as f64) - 1.0)
    }
}

/// cos(k angle) for each term k at the Chebyshev points.
fn cosines() -> [[f64; TERMS]; TERMS] {
    std::array::from_fn(|k| std::array::from_fn(|i| (PI * k as f64 * (i as f64 + 0.5) / TERMS as f64).cos()))
}

/// The Chebyshev points of so many pieces from 0 on.
fn points(pieces: usize, length: f64) -> impl Iterator<Item = f64> {
    (0..pieces * TERMS)
        .map(move |j| length * ((j / TERMS) as f64 + 0.5 * (chebyshev::point(j % TERMS, TERMS) + 1.0)))
}

fn light_of(pupil: &Pupil) -> Vec<f64> {
    pupil.weight.iter().zip(&pupil.amplitude).map(|(w, a)| w * a).collect()
}

impl RoundStar {
    /// The star of a meridian's nodes, out to a radius.
    pub(crate) fn new(
        meridian: &Pupil,
        reference_mm: [f64; 3],
        spectrum: &Spectrum,
        unit_um: f64,
        largest_um: f64,
    ) -> Self {
        let view = meridian.seen_from(reference_mm);
        let light = light_of(meridian);
        let peak = sums::pairwise(&light);
        let rates: Vec<f64> = view.toward.iter().map(|m| TAU * m[0].hypot(m[1])).collect();
        let lines = spectrum.lines();
        let (count, colours) = (light.len(), lines.len());
        // Real and imaginary part of each colour, node by node.
        let mut weights = vec![0.0; count * 2 * colours];
        let mut set = |k: usize, nm: f64, light: &[f64], peak: f64, path_nm: &[f64]| {
            for i in 0..count {
                let (s, c) = (TAU / nm * (path_nm[i] - path_nm[0])).sin_cos();
                weights[i * 2 * colours + 2 * k] = light[i] * c / peak;
                weights[i * 2 * colours + 2 * k + 1] = light[i] * s / peak;
            }
        };
        for (k, (nm, _)) in lines.iter().enumerate() {
            if meridian.has_film() {
                // Behind metal every colour has a path and a light of its own.
                let own = meridian.in_colour(*nm);
                let light = light_of(&own);
                set(k, *nm, &light, sums::pairwise(&light), &own.seen_from(reference_mm).path_nm);
            } else {
                set(k, *nm, &light, peak, &view.path_nm);
            }
        }
        // In r/lambda: one table of J0 for all colours.
        let shortest_um = lines[0].0 / 1000.0;
        let pieces = (largest_um / (LONGEST * unit_um)).ceil().max(1.0) as usize;
        let length_um = largest_um * (1.0 + 1e-12) / pieces as f64;
        let length = length_um / shortest_um;
        let mut values = vec![Vec::with_capacity(pieces * TERMS); colours];
        let mut amplitude = vec![0.0; 2 * colours];
        for q in points(pieces, length) {
            amplitude.fill(0.0);
            for (rate, weights) in rates.iter().zip(weights.chunks_exact(2 * colours)) {
                let turn = bessel::j0(rate * q);
                for (sum, weight) in amplitude.iter_mut().zip(weights) {
                    *sum += turn * weight;
                }
            }
            for (k, parts) in amplitude.chunks_exact(2).enumerate() {
                values[k].push(parts[0] * parts[0] + parts[1] * parts[1]);
            }
        }
        let (cosines, counts) = (cosines(), spectrum.peak_shares());
        let of_colour: Vec<Pieces> = values.iter().map(|v| Pieces::new(length, v, &cosines)).collect();
        let pieces = if let [only] = &of_colour[..] {
            Pieces { per_piece: length_um.recip(), series: only.series.clone() }
        } else {
            let all = |r: f64| -> f64 {
                let colours = of_colour.iter().zip(lines).zip(&counts);
                colours.map(|((pieces, (nm, _)), counts)| counts * pieces.at(1000.0 * r / nm)).sum()
            };
            let summed: Vec<f64> = points(pieces, length_um).map(all).collect();
            Pieces::new(length_um, &summed, &cosines)
        };
        Self { pieces }
    }

    /// Intensity at a radius, um.
    #[inline]
    pub(crate) fn at(&self, radius_um: f64) -> f64 {
        self.pieces.at(radius_um)
    }

    /// Intensity on the square net of an axis in both directions, symmetric about 0, row by row.
    pub(crate) fn picture(&self, axis_um: &[f64], image: &mut [f64]) {
        let pixels = axis_um.len();
        let positive = &axis_um[pixels / 2..];
        for (i, y) in positive.iter().enumerate() {
            for (j, x) in positive[..=i].iter().enumerate() {
                let value = self.at(x.hypot(*y));
                let (high, low) =
                    ([pixels / 2 + i, pixels / 2 + j], [i, j].map(|k| pixels - 1 - (pixels / 2 + k)));
                for row in [high[0], low[0]] {
                    for column in [high[1], low[1]] {
                        image[row * pixels + column] = value;
                        image[column * pixels + row] = value;
                    }
                }
            }
        }
    }

    /// The intensity integrated over a disc, um^2.
    pub(crate) fn within_disc_um2(&self, radius_um: f64, unit_um: f64) -> f64 {
        let count = (TAU * radius_um / unit_um + 16.0) as usize;
        let rings = gauss::on_interval(count, 0.0, radius_um);
        sums::pairwise(&rings.map(|(r, w)| TAU * r * w * self.at(r)).collect::<Vec<_>>())
    }

    /// The intensity integrated over a rectangle, um^2.
    pub(crate) fn within_rectangle_um2(&self, half_along_um: f64, half_across_um: f64, unit_um: f64) -> f64 {
        let nodes = |half_um: f64| {
            gauss::on_interval((PI * half_um / unit_um + 12.0) as usize, 0.0, half_um).collect::<Vec<_>>()
        };
        let across = nodes(half_across_um);
        let lines = nodes(half_along_um).into_iter().map(|(x, w)| {
            4.0 * w * across.iter().map(|(y, weight)| weight * self.at(x.hypot(*y))).sum::<f64>()
        });
        sums::pairwise(&lines.collect::<Vec<_>>())
    }
}
