//! A map of heights made ready for a kernel.

use ndarray::Array2;

use crate::model::SquareNet;
use crate::numeric::bicubic::Bicubic;

/// Measured pixels beyond the clear aperture that still count: a spline forgets its end by a factor 0.27 each pixel.
const MARGIN_PIXELS: i64 = 8;

/// The smooth surface through a map, in millimetres over the mirror.
#[derive(Clone, Debug)]
pub(super) struct MapSurface {
    surface: Bicubic,
    pixel_mm: f64,
    /// Row and column of the mirror's centre, counted from the first that is kept.
    centre: [f64; 2],
    /// Steps of row and column for each pixel's length along x and along y.
    steps: [[f64; 2]; 2],
}

impl MapSurface {
    /// The surface through a map's numbers, each taken `scale` times, over a clear aperture of this radius; the map has
    /// passed its checks.
    pub(super) fn new(map: SquareNet<'_>, scale: impl Fn(f64) -> f64, rim_mm: f64) -> Self {
        let [top, bottom, left, right] = map.needed(rim_mm);
        let [top, left] = [top, left].map(|first| first - MARGIN_PIXELS);
        let [bottom, right] = [bottom, right].map(|last| last + MARGIN_PIXELS);
        let size = ((bottom - top + 1) as usize, (right - left + 1) as usize);
        let mut heights = Array2::from_shape_fn(size, |(i, j)| {
            map.measured(top + i as i64, left + j as i64).map_or(f64::NAN, &scale)
        });
        for (row, column) in map.gaps(rim_mm) {
            heights[[(row - top) as usize, (column - left) as usize]] = scale(nearest(map, row, column));
        }
        Self {
            surface: Bicubic::through(&heights),
            pixel_mm: map.pixel_mm,
            centre: [map.centre_row - top as f64, map.centre_column - left as f64],
            steps: [map.rows_run.unit(), map.columns_run.unit()],
        }
    }

    pub(super) fn pixel_mm(&self) -> f64 {
        self.pixel_mm
    }

    /// Height and slopes along x and y at a point of the clear aperture.
    #[inline]
    pub(super) fn height_and_slopes(&self, x_mm: f64, y_mm: f64) -> (f64, [f64; 2]) {
        let [rows, columns] = self.steps;
        let place = |step: [f64; 2], centre: f64| centre + (x_mm * step[0] + y_mm * step[1]) / self.pixel_mm;
        let (height, [by_row, by_column]) =
            self.surface.value_and_slopes(place(rows, self.centre[0]), place(columns, self.centre[1]));
        (height, [0, 1].map(|i| (by_row * rows[i] + by_column * columns[i]) / self.pixel_mm))
    }
}

/// The height of the measured pixel nearest to one that was not; the mean of those equally near.
///
/// A checked map has one within a narrow rim.
fn nearest(map: SquareNet<'_>, row: i64, column: i64) -> f64 {
    let (mut nearest, mut sum, mut count) = (i64::MAX, 0.0, 0.0);
    let mut ring = 1;
    // Squares about the pixel; beyond one whose nearest side is further than the best there is nothing nearer.
    while ring * ring <= nearest && ring < i64::from(u16::MAX) {
        for di in -ring..=ring {
            let step = if di.abs() == ring { 1 } else { 2 * ring };
            for dj in (-ring..=ring).step_by(step as usize) {
                let (distance, height) = (di * di + dj * dj, map.measured(row + di, column + dj));
                match height {
                    Some(h) if distance < nearest => (nearest, sum, count) = (distance, h, 1.0),
                    Some(h) if distance == nearest => (sum, count) = (sum + h, count + 1.0),
                    _ => {}
                }
            }
        }
        ring += 1;
    }
    sum / count
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{AxisDirection, HeightMap};
    use crate::units::NM_PER_MM;

    #[test]
    fn slopes_are_the_derivatives_of_the_heights() {
        let heights =
            Array2::from_shape_fn((40, 44), |(i, j)| 90.0 * (0.3 * i as f64).sin() * (0.2 * j as f64).cos());
        let map = HeightMap::new(heights, 2.5, AxisDirection::MinusX, AxisDirection::PlusY);
        let surface = MapSurface::new(map.net(), |nm| nm / NM_PER_MM, 45.0);
        for (x, y) in [(0.0, 0.0), (31.0, -20.0), (-44.0, 3.3), (10.1, 12.6)] {
            let (d, at) = (1e-4, |x, y| surface.height_and_slopes(x, y).0);
            let [by_x, by_y] = surface.height_and_slopes(x, y).1;
            assert!((by_x - (at(x + d, y) - at(x - d, y)) / (2.0 * d)).abs() < 1e-13, "{x} {y}");
            assert!((by_y - (at(x, y + d) - at(x, y - d)) / (2.0 * d)).abs() < 1e-13, "{x} {y}");
        }
    }

    #[test]
    fn a_held_pixel_takes_its_nearest_neighbours_mean() {
        let mut heights = Array2::from_shape_fn((9, 9), |(i, j)| (i + 10 * j) as f64);
        heights[[4, 0]] = f64::NAN;
        let map = HeightMap::new(heights, 1.0, AxisDirection::PlusY, AxisDirection::PlusX).hold_edge();
        // Neighbours above, below and beside it: (3, 0), (5, 0) and (4, 1).
        assert!((nearest(map.net(), 4, 0) - (3.0 + 5.0 + 14.0) / 3.0).abs() < 1e-12);
        assert!((nearest(map.net(), 4, -2) - 4.0).abs() < 1e-12, "two steps out, one aside");
    }
}
