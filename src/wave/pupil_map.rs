//! The star behind a pupil that the caller gives pixel by pixel.

use std::f64::consts::TAU;

use ndarray::{Array2, Axis, CowArray, Ix2};
use serde::{Deserialize, Serialize};

use super::amplitude::{Amplitude, Undo, fold, square};
use super::image::{PsfSize, axis_um, check_pixels};
use super::lanes::{self, Folded, LANES, Lanes, eight};
use super::map_sums::{self, Lines, Part};
use super::spectrum::Spectrum;
use crate::error::{Error, Result};
use crate::model::AxisDirection;
use crate::numeric::simd::{Instructions, each_set};
use crate::numeric::{pool, sums};

/// Largest map and largest picture on a side.
const MOST_MAP_PIXELS: usize = 4096;
const MOST_PIXELS: usize = 2048;
/// Pixels of a map for which a thread of its own for each colour pays.
const WORTHWHILE: usize = 10_000;
/// Longest path, nm: a millimetre. Phases of longer ones lose digits.
const LONGEST_PATH_NM: f64 = 1e6;

/// A pupil as a map: a path and an amplitude for every pixel of a square net.
///
/// The net is even in the sine of the angle at the focus. A pixel x mm from the middle stands for light that meets the focus under
/// the sine x/`focal_length_mm`, from the mirror's +x side if x is positive. A map that is even in mm on the face of
/// a paraboloid is not quite that: there the sine is (x/f)/(1 + r^2/(4 f^2)), and taking one for the other moves the picture by
/// 2e-3 of the peak at f/4, 1.3e-3 at f/5 and 3e-4 at f/10.
///
/// Units: nm of wavefront (twice the glass height), positive where the wave is ahead, NaN where no light is; mm for a pixel's side
/// and the focal length. Amplitudes are square roots of the light that a pixel passes, 1 unless given.
/// Shapes: 2 x 2 to 4096 x 4096 pixels, both tables alike.
/// Leaves out: what lies between the pixels. Edges are staircases: with 512 pixels over the mirror the picture is 1e-4 of the peak
/// off, where nodes that follow the edges ([`crate::Wavefront::psf`]) reach 1e-8. Where the mirror's middle lies on the net does not
/// matter: it changes the phase in the image, which no light shows.
///
/// ```
/// use catoptric::{AxisDirection, PsfSize, PupilMap, Spectrum};
/// let path_nm = ndarray::Array2::from_shape_fn((64, 64), |(i, j)| {
///     let r = (i as f64 - 31.5).hypot(j as f64 - 31.5);
///     if r <= 31.0 { 20.0 * (r / 31.0).powi(4) } else { f64::NAN }
/// });
/// let map = PupilMap::new(path_nm, 200.0 / 62.0, 1000.0, AxisDirection::PlusY, AxisDirection::PlusX);
/// let star = map.psf(PsfSize { half_width_um: Some(20.0), pixels: 65 }, &Spectrum::line(550.0)?)?;
/// assert!((star.image[[32, 32]] - star.strehl).abs() < 1e-12 && star.strehl > 0.9 && star.strehl < 1.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct PupilMap<'a> {
    /// The wavefront, nm; NaN where no light is.
    pub path_nm: CowArray<'a, f64, Ix2>,
    /// Square root of the light of each pixel; 1 everywhere unless given.
    pub amplitude: Option<CowArray<'a, f64, Ix2>>,
    /// Side of a pixel, mm.
    pub pixel_mm: f64,
    /// What turns mm into sines at the focus, mm.
    pub focal_length_mm: f64,
    /// Where the next row lies, seen from the sky.
    pub rows_run: AxisDirection,
    /// Where the next column lies.
    pub columns_run: AxisDirection,
}

/// The image of a star behind a [`PupilMap`].
///
/// Units: um in the focal plane about the point from which the map's wavefront is seen; `along` is positive toward the sky end, +x of
/// the mirror. Intensity 1 is the centre of the star of the same amplitudes without path differences.
/// Shapes: `image[[i, j]]`, row i at `across_um[i]`, column j at `along_um[j]`.
/// Method: the sum over all pixels, W + x.s/f being the path of each at the place s; good to 1e-14 of the peak.
/// Leaves out: what [`PupilMap`] does. How well pixels stand for the pupil only the caller can tell: compare two maps.
///
/// ```
/// use catoptric::{AxisDirection, PsfSize, PupilMap, Spectrum};
/// let map = PupilMap::new(ndarray::Array2::zeros((40, 40)), 5.0, 1000.0, AxisDirection::PlusY, AxisDirection::PlusX);
/// let star = map.psf(PsfSize { half_width_um: Some(10.0), pixels: 21 }, &Spectrum::line(500.0)?)?;
/// // A square aperture: the first dark line lies a wavelength times f over the side away from the middle, 2.5 um.
/// assert!(star.along_um.len() == 21 && (star.focal_ratio - 5.0).abs() < 1e-12 && star.lit_pixels == 1600);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MapPsf {
    /// Intensity: rows across, columns along.
    pub image: Array2<f64>,
    /// Distance of neighbouring pixels, um.
    pub pixel_um: f64,
    /// Positions of the columns, um.
    pub along_um: Vec<f64>,
    /// Positions of the rows, um.
    pub across_um: Vec<f64>,
    /// Intensity in the middle.
    pub strehl: f64,
    /// Focal length over the longer side of the lit part.
    pub focal_ratio: f64,
    /// How many pixels of the map light passes.
    pub lit_pixels: usize,
    /// The light of the picture.
    pub spectrum: Spectrum,
}

/// What one look over a map tells.
struct Lit {
    /// First and number of lit rows, of lit columns.
    rows: (usize, usize),
    columns: (usize, usize),
    pixels: usize,
    /// Sum of the amplitudes.
    total: f64,
}

impl<'a> PupilMap<'a> {
    /// A map of paths that passes all light: a table, or a view of one, which is read in place where its rows lie one after
    /// another.
    ///
    /// ```
    /// use catoptric::{AxisDirection, PupilMap};
    /// let map = PupilMap::new(ndarray::Array2::zeros((9, 9)), 5.0, 900.0, AxisDirection::MinusY, AxisDirection::PlusX);
    /// assert!(map.amplitude.is_none() && map.focal_length_mm == 900.0);
    /// ```
    pub fn new(
        path_nm: impl Into<CowArray<'a, f64, Ix2>>,
        pixel_mm: f64,
        focal_length_mm: f64,
        rows_run: AxisDirection,
        columns_run: AxisDirection,
    ) -> Self {
        let path_nm = path_nm.into();
        Self { path_nm, amplitude: None, pixel_mm, focal_length_mm, rows_run, columns_run }
    }

    /// The same map with amplitudes, 0 where no light is.
    ///
    /// ```
    /// use catoptric::{AxisDirection, PupilMap};
    /// let map = PupilMap::new(ndarray::Array2::zeros((9, 9)), 5.0, 900.0, AxisDirection::MinusY, AxisDirection::PlusX);
    /// assert!(map.amplitude(ndarray::Array2::ones((9, 9))).amplitude.is_some());
    /// ```
    #[must_use]
    pub fn amplitude(self, amplitude: impl Into<CowArray<'a, f64, Ix2>>) -> Self {
        Self { amplitude: Some(amplitude.into()), ..self }
    }

    /// The image of a star in the plane of the point from which the wavefront is seen.
    ///
    /// Units: um; without a half width the picture reaches to twelve mean wavelengths times the focal ratio of the lit
    /// part, or as far as a map of few pixels allows.
    /// Errors: [`Error::Input`] for tables, sizes and directions that cannot be, for a map without light, and for a picture so wide
    /// that it would repeat itself: wider than wavelength times focal length over a pixel.
    ///
    /// ```
    /// use catoptric::{AxisDirection, PsfSize, PupilMap, Spectrum};
    /// let dark = ndarray::Array2::from_elem((9, 9), f64::NAN);
    /// let map = PupilMap::new(dark, 5.0, 900.0, AxisDirection::MinusY, AxisDirection::PlusX);
    /// assert!(map.psf(PsfSize::default(), &Spectrum::line(550.0)?).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn psf(&self, size: PsfSize, spectrum: &Spectrum) -> Result<MapPsf> {
        self.psf_with(Instructions::in_use(), size, spectrum)
    }

    fn psf_with(&self, set: Instructions, size: PsfSize, spectrum: &Spectrum) -> Result<MapPsf> {
        self.check_net()?;
        check_pixels(size.pixels, MOST_PIXELS)?;
        let path = self.path_nm.as_standard_layout();
        let amplitude = self.amplitude.as_ref().map(|table| table.as_standard_layout());
        let width = self.path_nm.ncols();
        let path = path.as_slice().unwrap_or_default();
        let amplitude = amplitude.as_ref().and_then(|table| table.as_slice());
        let lit = look(set, path, amplitude, width)?;
        let focal_ratio = self.focal_length_mm / (self.pixel_mm * lit.rows.1.max(lit.columns.1) as f64);
        let shortest_um = spectrum.lines()[0].0 / 1000.0;
        let rate = self.pixel_mm / self.focal_length_mm;
        let widest_um = 0.5 * shortest_um / rate;
        let usual_um = 12.0 * spectrum.mean_nm() / 1000.0 * focal_ratio;
        let half_width_um = size.half_width_um.unwrap_or(usual_um.min(widest_um));
        if !(half_width_um > 0.0 && half_width_um <= widest_um) {
            let allowed = format!(
                "above 0 and up to {widest_um:.4} um, beyond which pixels of this size repeat the picture"
            );
            let cause = "nanometres or arcseconds, or a pixel_mm in other units?";
            return Err(Error::input("half_width_um", half_width_um, allowed, cause));
        }
        let part = Part { path_nm: path, amplitude, width, columns: lit.columns, rows: lit.rows };
        let light = Self::light(set, part, lit.total, spectrum, (rate, half_width_um));
        let axis_um = axis_um(half_width_um, size.pixels);
        let image = self.turned(square(size.pixels, |image| light.summed_picture(&axis_um, image)));
        Ok(MapPsf {
            image,
            pixel_um: 2.0 * half_width_um / size.pixels as f64,
            across_um: axis_um.clone(),
            along_um: axis_um,
            strehl: light.intensity(0.0, 0.0),
            focal_ratio,
            lit_pixels: lit.pixels,
            spectrum: spectrum.clone(),
        })
    }

    /// The light of the lit part, ready to be summed.
    fn light(
        set: Instructions,
        part: Part<'_>,
        total: f64,
        spectrum: &Spectrum,
        (rate, half_width_um): (f64, f64),
    ) -> Amplitude {
        let lines = spectrum.lines();
        let longest = part.rows.1.max(part.columns.1);
        let step = map_sums::net_step(lines[0].0 / 1000.0, half_width_um);
        let half = Lines::half(longest, rate / step);
        let per_path = |nm: f64| TAU / nm;
        let worthwhile = part.rows.1 * part.columns.1 > WORTHWHILE;
        // Where a net would be no smaller than the map, the map is the net.
        if 2 * half >= longest {
            let half = longest.div_ceil(2);
            let nets = pool::map_ordered(lines.len(), worthwhile, |k| {
                whole(set, part, per_path(lines[k].0), half, total)
            });
            return Amplitude::of_nets(set, (half, Undo::Nothing), nets, spectrum, rate, half_width_um);
        }
        let rows = Lines::new(part.rows.1, rate / step, half);
        let columns = Lines::new(part.columns.1, rate / step, half);
        let nets = pool::map_ordered(lines.len(), worthwhile, |k| {
            let net = map_sums::on_net(set, part, per_path(lines[k].0), &rows, &columns);
            let at = |row: usize, column: usize| {
                let [re, im] = &net[row / LANES][column];
                [re[row % LANES] / total, im[row % LANES] / total]
            };
            folded(half, at)
        });
        Amplitude::of_nets(set, (half, Undo::Lines), nets, spectrum, step, half_width_um)
    }

    /// A picture whose rows and columns run as the map's do, turned to across and along.
    fn turned(&self, image: Array2<f64>) -> Array2<f64> {
        let (mut image, [across, along]) = if self.columns_run.is_along_x() {
            (image, [self.rows_run, self.columns_run])
        } else {
            (image.reversed_axes(), [self.columns_run, self.rows_run])
        };
        if across == AxisDirection::MinusY {
            image.invert_axis(Axis(0));
        }
        if along == AxisDirection::MinusX {
            image.invert_axis(Axis(1));
        }
        if image.is_standard_layout() { image } else { image.as_standard_layout().into_owned() }
    }

    fn check_net(&self) -> Result<()> {
        let (rows, columns) = self.path_nm.dim();
        let possible = 2..=MOST_MAP_PIXELS;
        if !possible.contains(&rows) || !possible.contains(&columns) {
            let allowed = "2 x 2 to 4096 x 4096 paths, row by row";
            let found = format!("{rows} x {columns}");
            return Err(Error::input("path_nm", found, allowed, "a list where a table is meant?"));
        }
        if let Some(amplitude) = &self.amplitude
            && amplitude.dim() != (rows, columns)
        {
            let (found_rows, found_columns) = amplitude.dim();
            let found = format!("{found_rows} x {found_columns} beside {rows} x {columns} paths");
            return Err(Error::input("amplitude", found, "an amplitude for each path", ""));
        }
        for (name, length) in [("pixel_mm", self.pixel_mm), ("focal_length_mm", self.focal_length_mm)] {
            if !(length > 0.0 && length.is_finite()) {
                return Err(Error::input(name, length, "a length above 0 mm", ""));
            }
        }
        let sine = 0.5 * rows.max(columns) as f64 * self.pixel_mm / self.focal_length_mm;
        if sine > 1.0 {
            let allowed = "a map whose farthest sine, half a side over the focal length, is at most 1";
            let cause = "a focal length in other units, or the pixel in micrometres?";
            return Err(Error::input("focal_length_mm", self.focal_length_mm, allowed, cause));
        }
        if self.rows_run.is_along_x() == self.columns_run.is_along_x() {
            let found = format!("{} beside rows_run = {}", self.columns_run.name(), self.rows_run.name());
            let allowed = "rows along one axis and columns along the other";
            let cause = "the direction in which the next column lies, not the next row";
            return Err(Error::input("columns_run", found, allowed, cause));
        }
        Ok(())
    }
}

/// Looks over a map once: what is lit, and whether all numbers can be.
fn look(set: Instructions, path: &[f64], amplitude: Option<&[f64]>, width: usize) -> Result<Lit> {
    let mut lit_columns = vec![0.0; width];
    let (mut totals, mut lit_rows, mut pixels) = (Vec::new(), Vec::new(), 0.0);
    for (row, path) in path.chunks_exact(width).enumerate() {
        let amplitude = amplitude.map(|table| &table[row * width..(row + 1) * width]);
        let [total, count, bad] = look_at_row(set, path, amplitude, &mut lit_columns);
        if bad != 0.0 {
            return Err(bad_number(row, path, amplitude));
        }
        pixels += count;
        totals.push(total);
        lit_rows.push(count);
    }
    let (Some(rows), Some(columns)) = (span(&lit_rows), span(&lit_columns)) else {
        let allowed = "a path that is a number, and an amplitude above 0, in one pixel or more";
        return Err(Error::input("path_nm", "no light at all", allowed, ""));
    };
    Ok(Lit { rows, columns, pixels: pixels as usize, total: sums::pairwise(&totals) })
}

/// The first and the number of the entries from the first to the last that are not 0.
fn span(lit: &[f64]) -> Option<(usize, usize)> {
    let first = lit.iter().position(|n| *n > 0.0)?;
    let last = lit.iter().rposition(|n| *n > 0.0)?;
    Some((first, last + 1 - first))
}

fn bad_number(row: usize, path: &[f64], amplitude: Option<&[f64]>) -> Error {
    if let Some(at) = path.iter().position(|w| w.abs() > LONGEST_PATH_NM) {
        let field = format!("path_nm[{row}][{at}]");
        return Error::input(field, path[at], "within +-1e6 nm, or NaN where no light is", "other units?");
    }
    let amplitude = amplitude.unwrap_or_default();
    let at = amplitude.iter().position(|a| !(*a >= 0.0 && a.is_finite())).unwrap_or(0);
    let found = amplitude.get(at).copied().unwrap_or(f64::NAN);
    Error::input(
        format!("amplitude[{row}][{at}]"),
        found,
        "0 or more, and finite",
        "NaN belongs into path_nm",
    )
}

each_set! {
    /// Sum of a row's amplitudes, how many pixels are lit, and how many numbers cannot be; lit pixels are added up by column.
    fn look_at_row(path: &[f64], amplitude: Option<&[f64]>, columns: &mut [f64]) -> [f64; 3] = look_at_row_with;
}

#[allow(clippy::inline_always)] // or it is compiled without the vector instructions of its caller
#[inline(always)]
fn look_at_row_with<const FUSED: bool>(
    path: &[f64],
    amplitude: Option<&[f64]>,
    columns: &mut [f64],
) -> [f64; 3] {
    let mut sums = [[0.0; LANES]; 3];
    let whole = path.len() / LANES * LANES;
    for start in (0..whole).step_by(LANES) {
        let a = amplitude.map_or([1.0; LANES], |amplitude| eight(&amplitude[start..]));
        let columns = columns[start..].first_chunk_mut().unwrap_or_else(|| unreachable!());
        look_at_eight(&eight(&path[start..]), &a, columns, &mut sums);
    }
    // Behind the last pixel it is dark.
    let (mut w, mut a, mut lit) = ([f64::NAN; LANES], [1.0; LANES], [0.0; LANES]);
    let rest = path.len() - whole;
    w[..rest].copy_from_slice(&path[whole..]);
    if let Some(amplitude) = amplitude {
        a[..rest].copy_from_slice(&amplitude[whole..]);
    }
    look_at_eight(&w, &a, &mut lit, &mut sums);
    for (column, lit) in columns[whole..].iter_mut().zip(lit) {
        *column += lit;
    }
    sums.map(|lanes| lanes.iter().sum())
}

#[allow(clippy::inline_always)] // or it is compiled without the vector instructions of its caller
#[inline(always)]
fn look_at_eight(path: &Lanes, amplitude: &Lanes, columns: &mut Lanes, sums: &mut [Lanes; 3]) {
    for lane in 0..LANES {
        let (w, a) = (path[lane], amplitude[lane]);
        let light = if w.is_nan() { 0.0 } else { a };
        let lit = if light > 0.0 { 1.0 } else { 0.0 };
        sums[0][lane] += light;
        sums[1][lane] += lit;
        sums[2][lane] += if w.abs() > LONGEST_PATH_NM { 1.0 } else { 0.0 };
        // Nothing times a number is nothing; what is none stays none. A comparison would not be made eight at once.
        sums[2][lane] += 0.0 * a;
        sums[2][lane] += if a < 0.0 { 1.0 } else { 0.0 };
        columns[lane] += lit;
    }
}

/// The four points (+-column, +-row) of a square net taken together.
fn folded(half: usize, at: impl Fn(usize, usize) -> [f64; 2]) -> Vec<Folded> {
    let mut net = Vec::with_capacity(half * half);
    for j in 0..half {
        for k in 0..half {
            let (up, down, right, left) = (half + j, half - 1 - j, half + k, half - 1 - k);
            net.push(fold([at(up, right), at(up, left), at(down, right), at(down, left)]));
        }
    }
    net
}

/// The map as its own net: each pixel a rate.
fn whole(set: Instructions, part: Part<'_>, per_path: f64, half: usize, total: f64) -> Vec<Folded> {
    let side = 2 * half;
    let (mut re, mut im) = (vec![0.0; side * side], vec![0.0; side * side]);
    let (mut path, mut light) = (vec![0.0; part.columns.1], vec![0.0; part.columns.1]);
    for row in 0..part.rows.1 {
        let start = (part.rows.0 + row) * part.width + part.columns.0;
        for k in 0..part.columns.1 {
            let w = part.path_nm[start + k];
            let amplitude = part.amplitude.map_or(1.0, |table| table[start + k]);
            (path[k], light[k]) = if w.is_nan() { (0.0, 0.0) } else { (w, amplitude / total) };
        }
        let here = row * side..row * side + part.columns.1;
        lanes::phasors(set, &path, per_path, &light, &mut re[here.clone()], &mut im[here]);
    }
    folded(half, |row, column| [re[row * side + column], im[row * side + column]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::random::Stream;

    /// A map of chance with holes, its rows shorter than its columns are long, and not in the middle.
    fn chance(rows: usize, columns: usize, seed: u64) -> PupilMap<'static> {
        let mut draw = Stream::new(seed, 1);
        let path = Array2::from_shape_fn((rows, columns), |(i, j)| {
            let (y, x) = (2.0 * i as f64 / rows as f64 - 0.9, 2.0 * j as f64 / columns as f64 - 1.0);
            let w = 300.0 * (draw.uniform() - 0.5) + 500.0 * x * y;
            if x.hypot(y) > 0.85 || x.hypot(y) < 0.2 { f64::NAN } else { w }
        });
        let amplitude = Array2::from_shape_fn((rows, columns), |_| draw.uniform());
        PupilMap::new(path, 1.0, 1000.0, AxisDirection::PlusY, AxisDirection::PlusX).amplitude(amplitude)
    }

    /// The obvious way: every pixel at a place, the map's axes along x and y as they are given.
    fn direct(map: &PupilMap<'_>, spectrum: &Spectrum, along_um: f64, across_um: f64) -> f64 {
        let amplitude = map.amplitude.as_ref().expect("amplitudes");
        let (rows, columns) = (map.rows_run.unit(), map.columns_run.unit());
        let (mut sum, mut total) = (0.0, 0.0);
        for &(nm, share) in spectrum.lines() {
            let (mut re, mut im, mut light) = (Vec::new(), Vec::new(), Vec::new());
            for ((i, j), w) in map.path_nm.indexed_iter().filter(|(_, w)| !w.is_nan()) {
                let place = [0, 1].map(|a| map.pixel_mm * (i as f64 * rows[a] + j as f64 * columns[a]));
                let step_nm = 1000.0 * (place[0] * along_um + place[1] * across_um) / map.focal_length_mm;
                let (s, c) = (TAU * (w + step_nm) / nm).sin_cos();
                re.push(amplitude[[i, j]] * c);
                im.push(amplitude[[i, j]] * s);
                light.push(amplitude[[i, j]]);
            }
            let [re, im, light] = [re, im, light].map(|list| sums::pairwise(&list));
            sum += share / (nm * nm) * (re * re + im * im) / (light * light);
            total += share / (nm * nm);
        }
        sum / total
    }

    fn worst(map: &PupilMap<'_>, half_um: f64, pixels: usize, every: usize, spectrum: &Spectrum) -> f64 {
        let size = PsfSize { half_width_um: Some(half_um), pixels };
        let mut worst = 0.0_f64;
        for set in Instructions::ALL.into_iter().filter(|set| set.is_there()) {
            let star = map.psf_with(set, size, spectrum).expect("a star");
            assert!((star.strehl - direct(map, spectrum, 0.0, 0.0)).abs() < 1e-14);
            for (i, y) in star.across_um.iter().enumerate().step_by(every) {
                for (j, x) in star.along_um.iter().enumerate().step_by(every) {
                    worst = worst.max((star.image[[i, j]] - direct(map, spectrum, *x, *y)).abs());
                }
            }
        }
        worst
    }

    #[test]
    fn a_level_map_is_a_perfect_star() {
        // Paths of chance dim a star, and its error with it; here all light meets.
        let lit = |i: usize, j: usize| (i as f64 - 199.5).hypot(j as f64 - 199.5) < 200.0;
        let path = Array2::from_shape_fn((400, 400), |(i, j)| if lit(i, j) { 0.0 } else { f64::NAN });
        let map = PupilMap::new(path, 1.0, 2000.0, AxisDirection::PlusY, AxisDirection::PlusX);
        let line = Spectrum::line(550.0).expect("a line");
        let size = PsfSize { half_width_um: Some(30.0), pixels: 33 };
        for set in Instructions::ALL.into_iter().filter(|set| set.is_there()) {
            let star = map.psf_with(set, size, &line).expect("a star");
            for peak in [star.strehl, star.image[[16, 16]]] {
                assert!((peak - 1.0).abs() < 5e-15, "{:e}", peak - 1.0);
            }
        }
    }

    #[test]
    fn a_map_gives_the_sum_over_its_pixels() {
        let (line, two) = (
            Spectrum::line(550.0).expect("a line"),
            Spectrum::of_lines(&[480.0, 620.0], &[1.0, 2.0]).expect("lines"),
        );
        // A net of its own for large maps and narrow pictures; the map itself for small maps and wide ones.
        for (rows, columns, half_um, pixels) in
            [(200, 180, 20.0, 33), (150, 190, 40.0, 24), (60, 41, 80.0, 25), (17, 24, 200.0, 16)]
        {
            let map = chance(rows, columns, rows as u64);
            for spectrum in [&line, &two] {
                let off = worst(&map, half_um, pixels, 5, spectrum);
                assert!(off < 1e-14, "{rows} x {columns}, {half_um} um: {off:e}");
            }
        }
    }

    #[test]
    fn a_large_map_gives_the_sum_over_its_pixels() {
        // Twelve wavelengths times the focal ratio.
        let map = chance(512, 512, 7);
        let half_um = 12.0 * 0.55 * 1000.0 / 435.0;
        let off = worst(&map, half_um, 256, 61, &Spectrum::line(550.0).expect("a line"));
        assert!(off < 1e-14, "{off:e}");
    }

    #[test]
    fn every_orientation_is_that_of_its_places() {
        let directions =
            [AxisDirection::PlusX, AxisDirection::MinusX, AxisDirection::PlusY, AxisDirection::MinusY];
        let line = Spectrum::line(550.0).expect("a line");
        for rows_run in directions {
            for columns_run in directions.into_iter().filter(|d| d.is_along_x() != rows_run.is_along_x()) {
                let map = PupilMap { rows_run, columns_run, ..chance(44, 60, 3) };
                let off = worst(&map, 60.0, 12, 1, &line);
                assert!(off < 1e-14, "{rows_run:?}, {columns_run:?}: {off:e}");
            }
        }
    }

    #[test]
    fn bad_maps_are_refused_with_their_field() {
        let line = Spectrum::line(550.0).expect("a line");
        let sound = || chance(24, 24, 1);
        let mut hill = sound();
        hill.path_nm[[12, 5]] = 2e6;
        let mut endless = sound();
        endless.path_nm[[12, 5]] = f64::INFINITY;
        let mut dim = sound();
        dim.amplitude.as_mut().expect("amplitudes")[[3, 4]] = f64::NAN;
        let mut negative = sound();
        negative.amplitude.as_mut().expect("amplitudes")[[3, 4]] = -0.1;
        let mut blinding = sound();
        blinding.amplitude.as_mut().expect("amplitudes")[[3, 4]] = f64::INFINITY;
        let dark = PupilMap { path_nm: Array2::from_elem((24, 24), f64::NAN).into(), ..sound() };
        let cases = [
            (hill, "path_nm[12][5]"),
            (endless, "path_nm[12][5]"),
            (dim, "amplitude[3][4]"),
            (negative, "amplitude[3][4]"),
            (blinding, "amplitude[3][4]"),
            (dark, "path_nm"),
            (PupilMap { path_nm: Array2::zeros((1, 24)).into(), ..sound() }, "path_nm"),
            (PupilMap { amplitude: Some(Array2::zeros((24, 23)).into()), ..sound() }, "amplitude"),
            (PupilMap { pixel_mm: 0.0, ..sound() }, "pixel_mm"),
            (PupilMap { pixel_mm: f64::NAN, ..sound() }, "pixel_mm"),
            (PupilMap { focal_length_mm: 1.0, ..sound() }, "focal_length_mm"),
            (PupilMap { rows_run: AxisDirection::MinusX, ..sound() }, "columns_run"),
        ];
        for (map, field) in cases {
            let Err(Error::Input(problems)) = map.psf(PsfSize::default(), &line) else {
                panic!("{field} is accepted")
            };
            assert_eq!(problems[0].field, field);
        }
        for (half_width_um, pixels, field) in
            [(Some(1e6), 9, "half_width_um"), (Some(f64::NAN), 9, "half_width_um"), (None, 1, "pixels")]
        {
            let Err(Error::Input(problems)) = sound().psf(PsfSize { half_width_um, pixels }, &line) else {
                panic!("{field} is accepted")
            };
            assert_eq!(problems[0].field, field);
        }
    }
}
