//! The fine net on which a scene is drawn and blurred: the telescope, the air, the eye and the pixel as one filter.

use std::f64::consts::{PI, TAU};

use ndarray::Array2;

use super::eye::eye_beyond_diffraction;
use super::stars::FieldStar;
use super::tail::Tail;
use crate::error::{Error, Result};
use crate::numeric::convolve::{frequency, quick_size};
use crate::numeric::gauss;
use crate::numeric::periodic::Filter;
use crate::units::{ARCSEC_PER_RADIAN, UM_PER_MM};
use crate::wave::{Seeing, Wavefront};

/// Fine pixels for a wavelength times focal ratio, at least: the image holds nothing finer than one period of that.
const FINENESS: f64 = 3.0;
/// Half width of the window in which a star is summed, in wavelengths times focal ratio, and the same in fine pixels at
/// most.
const WINDOW: f64 = 64.0;
const MOST_WINDOW_PIXELS: f64 = 400.0;
/// Largest net on a side.
const MOST_PIXELS: usize = 4096;
/// A hair beyond the limit of diffraction everything is set to nothing: there only rounding is left.
const LIMIT: f64 = 1.005;
/// Points on a side at which a fine pixel on a rim is looked at.
const RIM_SAMPLES: usize = 8;
/// A star is spread over so many fine pixels on a side by a bell whose transform is divided out.
const TAPS: usize = 10;
/// Steepness of the bell: the image holds frequencies up to 1/FINENESS, so the net is finer than they need by
/// FINENESS/2.
const STEEPNESS: f64 = 0.98 * PI * TAPS as f64 * (1.0 - 1.0 / FINENESS);

/// How the picture's pixels lie on the sky and in the focal plane.
#[derive(Clone, Copy, Debug)]
pub(super) struct Layout {
    /// Pixels of the picture: rows (y), columns (x).
    pub(super) rows: usize,
    pub(super) columns: usize,
    /// Side of one, arcsec.
    pub(super) pixel_arcsec: f64,
    /// Fine pixels in one, on a side: odd.
    fine: usize,
    /// Fine pixels beyond the picture on each side.
    margin: usize,
    height: usize,
    width: usize,
    focal_mm: f64,
}

impl Layout {
    /// The net for a picture of this size, for light of these wavelengths.
    ///
    /// Errors: [`Error::Input`] under the given name where it would take more memory than a picture may.
    pub(super) fn new(
        (rows, columns): (usize, usize),
        pixel_arcsec: f64,
        (shortest_nm, longest_nm): (f64, f64),
        (focal_mm, focal_ratio): (f64, f64),
        name: &str,
    ) -> Result<Self> {
        let unit_arcsec = |nm: f64| nm / 1000.0 * focal_ratio / UM_PER_MM / focal_mm * ARCSEC_PER_RADIAN;
        let least = (pixel_arcsec * FINENESS / unit_arcsec(shortest_nm)).ceil().clamp(1.0, 1e6) as usize;
        let fine = least | 1;
        let window = (WINDOW * unit_arcsec(longest_nm) / pixel_arcsec * fine as f64).min(MOST_WINDOW_PIXELS);
        let margin = window.ceil() as usize + TAPS;
        let side = |count: usize| quick_size(count.saturating_mul(fine).saturating_add(2 * margin));
        let too_many = |found: f64| {
            // Four planes of complex numbers.
            let mebibytes = found * found * 64.0 / 1_048_576.0;
            let found = format!("{rows} x {columns} ({found:.0} fine pixels on a side, {mebibytes:.0} MiB)");
            let allowed = format!("a picture that needs at most {MOST_PIXELS} fine pixels on a side");
            Error::input(name, found, allowed, "a smaller field, or fewer pixels?")
        };
        let longest = rows.max(columns) as f64 * fine as f64 + 2.0 * margin as f64;
        if longest > MOST_PIXELS as f64 {
            return Err(too_many(longest));
        }
        let (height, width) = (side(rows), side(columns));
        Ok(Self { rows, columns, pixel_arcsec, fine, margin, height, width, focal_mm })
    }

    fn fine_arcsec(&self) -> f64 {
        self.pixel_arcsec / self.fine as f64
    }

    pub(super) fn fine_area_arcsec2(&self) -> f64 {
        self.fine_arcsec() * self.fine_arcsec()
    }

    fn fine_um(&self) -> f64 {
        self.fine_arcsec() / ARCSEC_PER_RADIAN * self.focal_mm * UM_PER_MM
    }

    /// Row and column, on the fine net, of the middle of the view.
    fn middle(&self) -> [f64; 2] {
        [self.rows, self.columns].map(|n| self.margin as f64 + ((n * self.fine) as f64 - 1.0) / 2.0)
    }

    /// Positions of the picture's rows and columns on the sky, arcsec.
    pub(super) fn axes_arcsec(&self) -> [Vec<f64>; 2] {
        [self.rows, self.columns]
            .map(|n| (0..n).map(|i| (i as f64 - (n as f64 - 1.0) / 2.0) * self.pixel_arcsec).collect())
    }

    /// The means of a brightness over the fine pixels; where a circle of `rims` crosses one (middle x, y and radius,
    /// arcsec), over 64 points in it or it lies beside one, elsewhere over four. The brightness is given a place and
    /// the side of the square, arcsec, that the place stands for: over that length it softens its rims.
    pub(super) fn drawn(
        &self,
        brightness: impl Fn(f64, f64, f64) -> f64,
        rims: &[([f64; 2], f64)],
        reach_arcsec: f64,
    ) -> Array2<f64> {
        let (step, [row, column]) = (self.fine_arcsec(), self.middle());
        Array2::from_shape_fn((self.height, self.width), |(i, j)| {
            let (x, y) = ((j as f64 - column) * step, (i as f64 - row) * step);
            if x.hypot(y) > reach_arcsec + step {
                return 0.0;
            }
            let near =
                |([a, b], radius): &([f64; 2], f64)| ((x - a).hypot(y - b) - radius).abs() < 2.0 * step;
            let samples = if rims.iter().any(near) { RIM_SAMPLES } else { 2 };
            let soft = step / samples as f64;
            let place = |k: usize| step * ((k as f64 + 0.5) / samples as f64 - 0.5);
            let sum: f64 = (0..samples)
                .flat_map(|k| (0..samples).map(move |l| (k, l)))
                .map(|(k, l)| brightness(x + place(l), y + place(k), soft))
                .sum();
            sum / (samples * samples) as f64
        })
    }

    /// Stars as bells on the fine net, the sum of each its light; those beyond the net are left out.
    pub(super) fn spread(&self, stars: &[FieldStar]) -> Array2<f64> {
        let (step, [row, column]) = (self.fine_arcsec(), self.middle());
        let mut net = Array2::zeros((self.height, self.width));
        for star in stars {
            let places = [row + star.y_arcsec / step, column + star.x_arcsec / step];
            let firsts = places.map(|p| (p - TAPS as f64 / 2.0).ceil());
            let fits = |first: f64, count: usize| first >= 0.0 && first + TAPS as f64 <= count as f64;
            if !fits(firsts[0], self.height) || !fits(firsts[1], self.width) {
                continue;
            }
            let share =
                |axis: usize, k: usize| bell((firsts[axis] + k as f64 - places[axis]) / (TAPS as f64 / 2.0));
            for k in 0..TAPS {
                for l in 0..TAPS {
                    net[[firsts[0] as usize + k, firsts[1] as usize + l]] +=
                        star.light() * share(0, k) * share(1, l);
                }
            }
        }
        net
    }

    /// Every pixel of the picture from a filtered net: the filter has the pixel's mean in it.
    pub(super) fn sampled(&self, net: &Array2<f64>) -> Array2<f64> {
        let at = |i: usize| self.margin + i * self.fine + self.fine / 2;
        Array2::from_shape_fn((self.rows, self.columns), |(i, j)| net[[at(i), at(j)]])
    }

    /// Every pixel's mean of a net as it was drawn.
    pub(super) fn mean(&self, net: &Array2<f64>) -> Array2<f64> {
        let fine = self.fine;
        Array2::from_shape_fn((self.rows, self.columns), |(i, j)| {
            let (top, left) = (self.margin + i * fine, self.margin + j * fine);
            let sum: f64 = (0..fine)
                .flat_map(|k| (0..fine).map(move |l| (k, l)))
                .map(|(k, l)| net[[top + k, left + l]])
                .sum();
            sum / (fine * fine) as f64
        })
    }
}

/// What stands on the net before the filter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Drawn {
    /// Means over fine pixels.
    Means,
    /// Bells.
    Bells,
    /// Values at the middles of fine pixels, of a scene that holds nothing finer than the net.
    #[cfg(test)]
    Points,
}

/// What the light passes after the telescope.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Beyond<'a> {
    pub(super) seeing: Option<&'a Seeing>,
    /// Exit pupil, mm, and magnification.
    pub(super) eye: Option<[f64; 2]>,
}

/// The filter for a spectrum, and the largest share of a star's light that was added as a tail.
pub(super) fn filter(
    layout: &Layout,
    waves: &[(Wavefront, f64)],
    beyond: Beyond<'_>,
    drawn: Drawn,
) -> Result<(Filter, f64)> {
    let (height, width) = (layout.height, layout.width);
    let axis = |count: usize| -> Vec<[f64; 2]> {
        (0..count)
            .map(|k| {
                let f = frequency(k, count);
                let before = match drawn {
                    Drawn::Means => sinc(f),
                    Drawn::Bells => bell_transform(f),
                    #[cfg(test)]
                    Drawn::Points => 1.0,
                };
                [f, sinc(f * layout.fine as f64) / before]
            })
            .collect()
    };
    let (rows, columns) = (axis(height), axis(width));
    let tail = Tail::new();
    let mut filter = Filter::dark(height, width);
    let mut most_beyond = 0.0_f64;
    for (wave, share) in waves {
        let (kernel, radius, beyond_share) = kernel(layout, wave)?;
        most_beyond = most_beyond.max(beyond_share);
        let unit_um = wave.wavelength_nm / 1000.0 * wave.image_focal_ratio()?;
        let limit = LIMIT * layout.fine_um() / unit_um;
        let per_arcsec = 1.0 / layout.fine_arcsec();
        filter.add(&kernel, |i, j, [re, im]| {
            let ([y, by_row], [x, by_column]) = (rows[i], columns[j]);
            let f = x.hypot(y);
            if f > limit {
                return [0.0; 2];
            }
            let cycles = f * per_arcsec;
            let air = beyond.seeing.map_or(1.0, |s| s.transfer(cycles, wave.wavelength_nm));
            let eye = beyond
                .eye
                .map_or(1.0, |[pupil, power]| eye_beyond_diffraction(cycles * 3600.0 / power, pupil));
            let factor = share * by_row * by_column * air * eye;
            [factor * (re + beyond_share * tail.at(f, radius)), factor * im]
        });
    }
    Ok((filter, most_beyond))
}

/// A star's image on the fine net, its middle the first entry, as shares of all its light; the window's radius in fine
/// pixels; and the share beyond it.
fn kernel(layout: &Layout, wave: &Wavefront) -> Result<(Array2<f64>, f64, f64)> {
    let (step_um, unit_um) = (layout.fine_um(), wave.wavelength_nm / 1000.0 * wave.image_focal_ratio()?);
    let radius = (WINDOW * unit_um / step_um).min((layout.margin - TAPS) as f64).floor();
    let reach = radius as usize;
    let axis_um: Vec<f64> = (0..=2 * reach).map(|i| (i as f64 - radius) * step_um).collect();
    // The fold of the picture's sum must not fall into the window: a little more than its radius.
    let star = wave.whole_star(&axis_um, 1.02 * radius * step_um + unit_um)?;
    let scale = step_um * step_um / star.whole_um2;
    let mut kernel = Array2::zeros((layout.height, layout.width));
    let mut within = 0.0;
    for ((i, j), &intensity) in star.image.indexed_iter() {
        let (across, along) = (i as i64 - reach as i64, j as i64 - reach as i64);
        if (across as f64).hypot(along as f64) > radius {
            continue;
        }
        // On the sky the image lies upside down: a step along is one away from the focuser's side.
        let place = |step: i64, count: usize| (-step).rem_euclid(count as i64) as usize;
        kernel[[place(across, layout.height), place(along, layout.width)]] = scale * intensity;
        within += scale * intensity;
    }
    Ok((kernel, radius, 1.0 - within))
}

/// sin(pi x)/(pi x): the transform of a pixel's mean.
fn sinc(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { (PI * x).sin() / (PI * x) }
}

/// The bell at a distance from its middle, in half widths (Barnett, Magland & af Klinteberg 2019, from memory).
fn bell(z: f64) -> f64 {
    if z.abs() > 1.0 { 0.0 } else { (STEEPNESS * ((1.0 - z * z).sqrt() - 1.0)).exp() }
}

fn bell_transform(f: f64) -> f64 {
    let half_width = TAPS as f64 / 2.0;
    let half: f64 = gauss::on_interval(40, 0.0, 1.0)
        .map(|(z, weight)| weight * bell(z) * (TAU * half_width * f * z).cos())
        .sum();
    2.0 * half_width * half
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Diagonal, FocalPlane, Primary, Train};
    use crate::trace::Prepared;
    use crate::units::{Field, FocalLengthMm};
    use crate::view::BandedDisc;
    use crate::wave::Focus;

    const FOCAL_MM: f64 = 1200.0;
    const FOCAL_RATIO: f64 = 60.0;

    /// A perfect telescope so slow that the textbook's pupil holds to 1e-5.
    fn star(obstruction_ratio: f64) -> Wavefront {
        let mut parts = Train::builder(Primary::new(20.0, FocalLengthMm(FOCAL_MM)));
        if obstruction_ratio > 0.0 {
            let flat = Diagonal::new(20.0 * obstruction_ratio).offset_mm(0.0);
            parts = parts.diagonal(flat).focal_plane(FocalPlane::new(100.0));
        }
        let train = parts.build().expect("a sound train");
        Prepared::new(&train).wavefront(Field::AXIS, Focus::Paraxial, 550.0).expect("a wavefront")
    }

    fn layout(pixels: usize, per_unit: f64) -> Layout {
        let unit_arcsec = 0.55 * FOCAL_RATIO / 1000.0 / FOCAL_MM * ARCSEC_PER_RADIAN;
        let size = (pixels, pixels);
        Layout::new(size, unit_arcsec / per_unit, (550.0, 550.0), (FOCAL_MM, FOCAL_RATIO), "pixels")
            .expect("a net")
    }

    /// Overlap of two circles of these radii at a distance, O'Neill 1956 (J. Opt. Soc. Am. 46, 285): plane geometry.
    fn overlap(a: f64, b: f64, d: f64) -> f64 {
        if d >= a + b {
            return 0.0;
        }
        if d <= (a - b).abs() {
            return PI * a.min(b).powi(2);
        }
        let angle = |p: f64, q: f64| ((d * d + p * p - q * q) / (2.0 * d * p)).acos();
        let (at_a, at_b) = (angle(a, b), angle(b, a));
        a * a * (at_a - (2.0 * at_a).sin() / 2.0) + b * b * (at_b - (2.0 * at_b).sin() / 2.0)
    }

    /// The annulus shifted over itself; the frequency in shares of the limit.
    fn annular_mtf(share: f64, inner: f64) -> f64 {
        let d = 2.0 * share;
        let both = overlap(1.0, 1.0, d) + overlap(inner, inner, d) - 2.0 * overlap(1.0, inner, d);
        both / (PI * (1.0 - inner * inner))
    }

    #[test]
    fn a_grating_keeps_the_contrast_of_the_pupils_mtf() {
        for inner in [0.0, 0.2, 0.35] {
            let (layout, wave) = (layout(64, 4.0), star(inner));
            let (filter, tail) =
                filter(&layout, &[(wave, 1.0)], Beyond::default(), Drawn::Points).expect("a filter");
            assert!(tail > 0.0 && tail < 0.02, "{tail}");
            let mut worst = 0.0_f64;
            for m in [1, 2, 5, 17, 40, 70, 100, 130, 150] {
                let cycles = f64::from(m) / layout.width as f64;
                let net = Array2::from_shape_fn((layout.height, layout.width), |(_, j)| {
                    1.0 + (TAU * cycles * j as f64).cos()
                });
                let seen = filter.applied(&net);
                let count = seen.len() as f64;
                let mean = seen.sum() / count;
                let wave: f64 =
                    seen.indexed_iter().map(|((_, j), v)| v * (TAU * cycles * j as f64).cos()).sum();
                let contrast = 2.0 * wave / count / mean / sinc(cycles * layout.fine as f64);
                let truth = annular_mtf(4.0 * cycles, inner);
                assert!((mean - 1.0).abs() < 1e-9, "energy {mean}");
                worst = worst.max((contrast - truth).abs());
                println!("{inner} {:.4} {contrast:.6} {truth:.6} {:.1e}", 4.0 * cycles, contrast - truth);
            }
            // What is left of the window: that the tail's rings are not a mean, and its sharp edge; 1e-2 of its share.
            assert!(worst < 5e-5, "{inner}: {worst}");
        }
    }

    #[test]
    fn a_disc_is_drawn_with_its_area_and_its_limb() {
        let layout = layout(64, 4.0);
        for (limb_darkening, diameter) in [(0.0, 50.0), (0.6, 50.0), (0.6, 7.0)] {
            let disc = BandedDisc { limb_darkening, band_count: 0, ..BandedDisc::new(diameter) };
            let net = layout.drawn(|x, y, soft| disc.bare(x, y, soft), &disc.rims(), diameter / 2.0);
            // Closed form: the integral of 1 - k + k sqrt(1 - r^2/R^2) over the disc is pi R^2 (1 - k/3).
            let truth = PI * (diameter / 2.0).powi(2) * (1.0 - limb_darkening / 3.0);
            let found = net.sum() * layout.fine_area_arcsec2();
            println!("{limb_darkening} {diameter} {:.2e}", found / truth - 1.0);
            // The limb falls as a square root: means of samples h apart are off by h^1.5. 1e-4 for a disc of 36 pixels,
            // 2e-3 for 5.
            let pixels = diameter / layout.fine_arcsec();
            assert!(
                (found / truth - 1.0).abs() < 0.02 / pixels.powf(1.5),
                "{limb_darkening} {diameter}: {found}"
            );
        }
    }

    #[test]
    fn a_bell_is_a_point_wherever_it_lies() {
        // A star at any place of the net, blurred by the telescope, holds all of its light.
        let (layout, wave) = (layout(40, 5.0), star(0.0));
        let (filter, _) = filter(&layout, &[(wave, 1.0)], Beyond::default(), Drawn::Bells).expect("a filter");
        for x_arcsec in [0.0, 0.31, -1.77] {
            let star = FieldStar { x_arcsec, y_arcsec: 0.2, magnitude: 0.0 };
            let seen = filter.applied(&layout.spread(&[star]));
            assert!((seen.sum() - 1.0).abs() < 1e-6, "{x_arcsec}: {}", seen.sum());
        }
    }
}
