//! The mean of a picture over azimuth at many radii, for many pictures of one size.
//!
//! Within a square the intensity is a short polynomial in both directions, of which the mean around takes the even part. So the
//! light is asked for at the Chebyshev points of the square alone, and what each counts for each radius is the same in all
//! pictures.

use std::f64::consts::{PI, TAU};

use super::amplitude::square;
use super::star_light::StarLight;
use crate::numeric::{chebyshev, pool};

/// Longest table of what points count: 32 MiB.
const MOST_NUMBERS: usize = 1 << 22;

/// Radii at which pictures are averaged over azimuth.
pub(crate) struct Rings {
    radius_um: Vec<f64>,
    unit_um: f64,
    /// The points along one side, and what their quarters count, radius after radius; none where the table would be too long.
    net: Option<(Vec<f64>, Vec<f64>)>,
}

impl Rings {
    /// Radii up to `half_um`; the intensity's finest detail has a length of wavelength times focal ratio, `unit_um`.
    pub(crate) fn new(radius_um: &[f64], half_um: f64, unit_um: f64) -> Self {
        // exp(i a x) on -1 to 1, a = 2 pi half/unit: even terms up to a, and what falls off beyond.
        let turn = TAU * half_um / unit_um;
        let half = (0.5 * turn + 2.5 * turn.cbrt() + 10.0) as usize;
        let fits = radius_um.len().saturating_mul(half * half) <= MOST_NUMBERS;
        let net = fits.then(|| {
            let basis = chebyshev::Points::new(half);
            let side = (0..2 * half).map(|i| half_um * chebyshev::point(2 * half - 1 - i, 2 * half));
            let eighth = half * (half + 1) / 2;
            let mut table = vec![0.0; radius_um.len() * eighth];
            pool::map_each(table.chunks_exact_mut(eighth), true, |k, shares| {
                add_shares(radius_um[k] / half_um, turn, &basis, shares);
            });
            (side.collect(), table)
        });
        Self { radius_um: radius_um.to_vec(), unit_um, net }
    }

    /// The mean over azimuth at each radius.
    pub(crate) fn means(&self, light: &StarLight) -> Vec<f64> {
        let (Some((side_um, shares)), StarLight::Net(light)) = (&self.net, light) else {
            return light.mean_around(&self.radius_um, self.unit_um);
        };
        let half = side_um.len() / 2;
        let picture = square(side_um.len(), |image| light.picture(side_um, image));
        // The outermost point first, as in the table.
        let quarter = |i: usize, k: usize| {
            let [[low, high], [left, right]] = [i, k].map(|i| [i, 2 * half - 1 - i]);
            picture[[low, left]] + picture[[low, right]] + picture[[high, left]] + picture[[high, right]]
        };
        let mut eighth = Vec::with_capacity(half * (half + 1) / 2);
        for i in 0..half {
            eighth.push(quarter(i, i));
            eighth.extend((i + 1..half).map(|k| quarter(i, k) + quarter(k, i)));
        }
        shares.chunks_exact(eighth.len()).map(|shares| dot(shares, &eighth)).collect()
    }
}

/// A sum of products in eight parts, so that none waits for itself.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let (mut ends_a, mut ends_b) = (a.chunks_exact(8), b.chunks_exact(8));
    for (a, b) in ends_a.by_ref().zip(ends_b.by_ref()) {
        for lane in 0..8 {
            sums[lane] += a[lane] * b[lane];
        }
    }
    for ((sum, a), b) in sums.iter_mut().zip(ends_a.remainder()).zip(ends_b.remainder()) {
        *sum += a * b;
    }
    sums.iter().sum()
}

/// Adds what the points of an eighth of the square count for the mean around at a radius, in half-sides of the square: of the
/// upper triangle of a quarter, row after row.
fn add_shares(radius: f64, turn: f64, basis: &chebyshev::Points, shares: &mut [f64]) {
    // As in `mean_around`: even steps, an eighth of the circle with its mirror images.
    let count = ((turn * radius + 20.0) / 8.0).ceil() as usize;
    let half = basis.len();
    // Each place stands for its image on the other side of the diagonal as well; a quarter holds four points.
    let scale = 1.0 / (8 * count) as f64;
    for k in 0..count {
        let (sin, cos) = (PI / 4.0 * (k as f64 + 0.5) / count as f64).sin_cos();
        // The even part is a polynomial of the square, whose points are Chebyshev's again.
        let [x, y] = [cos, sin].map(|c| basis.shares(2.0 * (radius * c).powi(2) - 1.0));
        let mut rest = &mut *shares;
        for i in 0..half {
            let (row, others) = std::mem::take(&mut rest).split_at_mut(half - i);
            let (across, along) = (scale * y[i], scale * x[i]);
            for ((share, x), y) in row.iter_mut().zip(&x[i..]).zip(&y[i..]) {
                *share += across * x + along * y;
            }
            rest = others;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Diagonal, FocalPlane, Primary, Train};
    use crate::trace::Prepared;
    use crate::units::{Field, FocalLengthMm};
    use crate::wave::{Focus, Spectrum};

    #[test]
    fn the_mean_by_the_square_is_the_mean_around() {
        let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).conic(-0.97))
            .diagonal(Diagonal::new(70.0))
            .focal_plane(FocalPlane::new(235.0))
            .build()
            .expect("a sound train");
        let telescope = Prepared::new(&train);
        let wavefront =
            telescope.wavefront(Field::arcmin(9.0, 4.0), Focus::ShiftMm(0.2), 550.0).expect("a wavefront");
        for (lines, half_um) in [(&[550.0][..], 30.0), (&[480.0, 560.0][..], 7.0)] {
            let light = Spectrum::of_lines(lines, &vec![1.0; lines.len()]).expect("lines");
            let settled = wavefront.star_light(&light, half_um, 1.42 * half_um).expect("nodes");
            let radii: Vec<f64> = (0..=20).map(|k| half_um * f64::from(k) / 20.0).collect();
            let unit_um = lines[0] / 1000.0 * 1558.0 / 318.0;
            let means = Rings::new(&radii, half_um, unit_um).means(settled.light());
            for (mean, truth) in means.iter().zip(settled.light().mean_around(&radii, unit_um)) {
                assert!((mean - truth).abs() < 2e-11, "{mean} for {truth}");
            }
        }
    }
}
