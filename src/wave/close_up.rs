//! The light near one point of the image, where many points are asked for: the summit, the width.
//!
//! On a small square the intensity of all wavelengths together is a short polynomial in both directions, known by its values
//! at Chebyshev points.

use super::amplitude::Amplitude;
use super::lanes::{self, LANES};
use super::taps::TAPS;
use crate::numeric::chebyshev;

impl Amplitude {
    /// The light near a point of the plane; the square is moved to where the sums hold.
    pub(crate) fn close_up(&self, centre_um: [f64; 2], reach_um: f64) -> CloseUp {
        let reach_um = reach_um.min(self.reach_um);
        let room_um = self.reach_um - reach_um;
        let centre_um = centre_um.map(|x| x.clamp(-room_um, room_um));
        // exp(i a x) on -1 to 1, a for the widest difference of two rates: terms up to a, and what falls off beyond.
        let turn = 2.0 * (self.half - TAPS / 2) as f64 * self.colours[0].step_per_um * reach_um;
        let count = (turn + 3.0 * turn.cbrt() + 13.0) as usize;
        let places = |axis: usize| -> Vec<f64> {
            (0..count).map(|i| centre_um[axis] + reach_um * chebyshev::point(i, count)).collect()
        };
        let values = self.on_net(&places(0), &places(1));
        CloseUp { centre_um, reach_um, points: chebyshev::Points::new(count), values }
    }

    /// Intensity where lines along and across meet, row by row.
    fn on_net(&self, along_um: &[f64], across_um: &[f64]) -> Vec<f64> {
        let mut values = vec![0.0; along_um.len() * across_um.len()];
        let mut panels = self.empty_panels();
        for (chunk, places) in along_um.chunks(LANES).enumerate() {
            for colour in &self.colours {
                self.panels(colour, &self.tables(colour, places), &mut panels);
                for (row, y) in values.chunks_exact_mut(along_um.len()).zip(across_um) {
                    let turn = colour.step_per_um * y;
                    let share = colour.counts / self.kernel(turn).powi(2);
                    let [here, _] = lanes::at_places(self.set, &panels[0], &[turn; LANES]);
                    for (value, intensity) in row[chunk * LANES..].iter_mut().zip(&here) {
                        *value += share * intensity;
                    }
                }
            }
        }
        values
    }
}

/// The light near a point of the plane.
pub(crate) struct CloseUp {
    centre_um: [f64; 2],
    reach_um: f64,
    points: chebyshev::Points,
    /// Intensity at the points, row by row.
    values: Vec<f64>,
}

impl CloseUp {
    /// Whether a point is near enough.
    pub(crate) fn holds(&self, along_um: f64, across_um: f64) -> bool {
        (along_um - self.centre_um[0]).abs().max((across_um - self.centre_um[1]).abs()) <= self.reach_um
    }

    /// Intensity at a point that this holds.
    pub(crate) fn intensity(&self, along_um: f64, across_um: f64) -> f64 {
        let shares = |axis: usize, at: f64| self.points.shares((at - self.centre_um[axis]) / self.reach_um);
        let (along, across) = (shares(0, along_um), shares(1, across_um));
        let mut column = vec![0.0; along.len()];
        for (row, share) in self.values.chunks_exact(along.len()).zip(&across) {
            for (sum, value) in column.iter_mut().zip(row) {
                *sum += share * value;
            }
        }
        column.iter().zip(&along).map(|(sum, share)| sum * share).sum()
    }
}
