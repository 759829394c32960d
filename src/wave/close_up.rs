//! The light near one point of the image, where many points are asked for: the summit, the width.

use super::amplitude::{Amplitude, Colour, folded, single_turns};
use super::lanes::{self, Folded, Lanes, TAP_LANES, Taps};
use super::taps::{self, TAPS};

impl Amplitude {
    /// The light near a point of the plane, on a net so small that many points are cheap.
    pub(crate) fn close_up(&self, centre_um: [f64; 2], reach_um: f64) -> CloseUp<'_> {
        // The colours' phases of one step differ; the widest counts.
        let coarser = (self.reach_um / reach_um).max(1.0);
        let half = (self.half as f64 / coarser).ceil() as usize + TAPS / 2 + 1;
        // Every point of the net has the same place between two points of the coarser one in rows and in columns.
        let places: Vec<(usize, Taps)> = (0..2 * self.half)
            .map(|k| {
                let from_middle = k as f64 + 0.5 - self.half as f64;
                let (first, at) = taps::first_and_variable(from_middle / coarser + (half as f64 - 0.5));
                let mut tap = [[0.0; TAP_LANES]];
                lanes::polynomials(&taps::POLYNOMIALS, &[at], &mut tap);
                (first, tap[0])
            })
            .collect();
        let nets = self.colours.iter().map(|colour| {
            let turns = centre_um.map(|x| single_turns(colour.step_per_um * x, self.half));
            coarse_net(colour, self.half, (half, &places), &turns)
        });
        CloseUp { amplitude: self, centre_um, coarser, half, reach_um, nets: nets.collect() }
    }
}

/// The light near a point of the plane.
pub(crate) struct CloseUp<'a> {
    amplitude: &'a Amplitude,
    centre_um: [f64; 2],
    coarser: f64,
    half: usize,
    reach_um: f64,
    nets: Vec<Vec<Folded>>,
}

impl CloseUp<'_> {
    /// Whether a point is near enough.
    pub(crate) fn holds(&self, along_um: f64, across_um: f64) -> bool {
        (along_um - self.centre_um[0]).abs().max((across_um - self.centre_um[1]).abs()) <= self.reach_um
    }

    /// Intensity at a point that this holds.
    pub(crate) fn intensity(&self, along_um: f64, across_um: f64) -> f64 {
        let of_colour = |(colour, net): (&Colour, &Vec<Folded>)| {
            let (x, y) = (colour.step_per_um * along_um, colour.step_per_um * across_um);
            let [dx, dy] = [along_um - self.centre_um[0], across_um - self.centre_um[1]]
                .map(|d| colour.step_per_um * self.coarser * d);
            let kernel = taps::transform(x) * taps::transform(y) * taps::transform(dx) * taps::transform(dy);
            colour.counts * lanes::at_place(net, &single_turns(dx, self.half), &single_turns(dy, self.half))
                / (kernel * kernel)
        };
        self.amplitude.colours.iter().zip(&self.nets).map(of_colour).sum()
    }
}

/// The four points again.
fn unfold(f: &Folded) -> [[f64; 2]; 4] {
    let part = |i: usize| {
        let (sum, difference, sum_odd, difference_odd) = (f[i], f[2 + i], f[4 + i], f[6 + i]);
        [
            0.25 * (sum + difference + sum_odd + difference_odd),
            0.25 * (sum + difference - sum_odd - difference_odd),
            0.25 * (sum - difference + sum_odd - difference_odd),
            0.25 * (sum - difference - sum_odd + difference_odd),
        ]
    };
    let (re, im) = (part(0), part(1));
    [0, 1, 2, 3].map(|i| [re[i], im[i]])
}

/// A net turned to another centre and spread over a coarser one.
fn coarse_net(
    colour: &Colour,
    half: usize,
    (coarse_half, places): (usize, &[(usize, Taps)]),
    turns: &[Vec<Lanes>; 2],
) -> Vec<Folded> {
    let stride = 2 * coarse_half + TAP_LANES;
    let mut coarse = vec![0.0; 2 * stride * 2 * coarse_half];
    // Cosine and sine of a signed rate.
    let turn = |axis: usize, k: usize| -> [f64; 2] {
        if k >= half {
            [turns[axis][k - half][0], turns[axis][k - half][4]]
        } else {
            [turns[axis][half - 1 - k][0], -turns[axis][half - 1 - k][4]]
        }
    };
    let columns: Vec<[f64; 2]> = (0..2 * half).map(|k| turn(0, k)).collect();
    // First along each row: every point with its place in the row, and one tap across.
    let mut rows = vec![0.0; 2 * stride * 2 * half];
    let along: Vec<Taps> = places.iter().map(|place| place.1).collect();
    let one = vec![[1.0; TAP_LANES]; 2 * half];
    let mut first = vec![0; 2 * half];
    for j in 0..half {
        let mut points =
            [[vec![0.0; 2 * half], vec![0.0; 2 * half]], [vec![0.0; 2 * half], vec![0.0; 2 * half]]];
        for k in 0..half {
            let four = unfold(&colour.net[j * half + k]);
            for (i, column) in [half + k, half - 1 - k].into_iter().enumerate() {
                let [c, s] = columns[column];
                for (side, point) in points.iter_mut().zip([four[i], four[2 + i]]) {
                    side[0][column] = point[0] * c - point[1] * s;
                    side[1][column] = point[0] * s + point[1] * c;
                }
            }
        }
        for ([re, im], row) in points.iter().zip([half + j, half - 1 - j]) {
            for (first, (column, _)) in first.iter_mut().zip(places) {
                *first = 2 * row * stride + column;
            }
            lanes::spread::<1>(&mut rows, stride, &first, (re, im), (&along, &one));
        }
    }
    for (row, (first, tap)) in places.iter().enumerate() {
        let [cy, sy] = turn(1, row);
        let (row_re, row_im) = rows[2 * row * stride..(2 * row + 2) * stride].split_at(stride);
        for t in 0..TAPS {
            let (to_re, to_im) =
                coarse[2 * (first + t) * stride..(2 * (first + t) + 2) * stride].split_at_mut(stride);
            let (c, s) = (tap[t] * cy, tap[t] * sy);
            for k in 0..stride {
                to_re[k] += c * row_re[k] - s * row_im[k];
                to_im[k] += s * row_re[k] + c * row_im[k];
            }
        }
    }
    folded(&coarse, coarse_half, stride)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wave::amplitude::fold;

    #[test]
    fn a_folded_point_unfolds() {
        let points = [[1.0, 2.0], [3.0, -4.0], [0.5, 7.0], [-2.0, 0.25]];
        let again = unfold(&fold(points));
        for (a, b) in points.iter().flatten().zip(again.iter().flatten()) {
            assert!((a - b).abs() < 1e-14);
        }
    }
}
