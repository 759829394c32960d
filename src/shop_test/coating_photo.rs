//! A photograph of the mirror turned to reflectance by two patches of known brightness.

use std::sync::Arc;

use ndarray::Array2;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::error::{Error, Findings, Result};
use crate::model::{AxisDirection, ReflectanceMap};

/// So many pixels make a mean whose error is known.
const LEAST_PIXELS: usize = 9;
/// The dark and the bright patch must lie apart by this much, or noise makes the scale.
const LEAST_APART: f64 = 0.1;
/// More pixels at the very same extreme than this share of those on the mirror: cut off.
const PILED: f64 = 1e-3;
const LEAST_PILED: usize = 9;
/// Two-sided 95 % of the normal distribution.
const NORMAL: f64 = 1.959_963_984_540_054;

/// A round patch of the mirror, or of a card on it, whose reflectance is known.
///
/// Units: mm, +x toward the focuser; shares of the power.
///
/// ```
/// let card = catoptric::KnownPatch::new([0.0, 60.0], 8.0, 0.18);
/// assert_eq!(card.sigma, 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KnownPatch {
    /// Where its centre lies, mm toward the focuser's side.
    pub x_mm: f64,
    /// Where its centre lies across, mm.
    pub y_mm: f64,
    /// Radius within which all is of this reflectance, mm.
    pub radius_mm: f64,
    /// Share of the power that it returns.
    pub reflectance: f64,
    /// Standard deviation of that share; 0: taken as exact.
    #[serde(default)]
    pub sigma: f64,
}

impl KnownPatch {
    /// A patch from its centre and radius, mm, and its reflectance, taken as exact.
    ///
    /// ```
    /// assert_eq!(catoptric::KnownPatch::new([1.0, 2.0], 8.0, 0.9).y_mm, 2.0);
    /// ```
    pub fn new([x_mm, y_mm]: [f64; 2], radius_mm: f64, reflectance: f64) -> Self {
        Self { x_mm, y_mm, radius_mm, reflectance, sigma: 0.0 }
    }

    /// The same patch, known only to a standard deviation.
    ///
    /// ```
    /// assert_eq!(catoptric::KnownPatch::new([1.0, 2.0], 8.0, 0.9).sigma(0.01).sigma, 0.01);
    /// ```
    #[must_use]
    pub fn sigma(self, sigma: f64) -> Self {
        Self { sigma, ..self }
    }

    fn note_problems(&self, findings: &mut Findings) {
        findings.number("radius_mm", self.radius_mm, |r| r > 0.0 && r < 1e4, "above 0", "");
        for (field, value) in [("x_mm", self.x_mm), ("y_mm", self.y_mm)] {
            findings.number(field, value, |v| v.abs() < 1e4, "a place on the mirror", "");
        }
        let cause = if self.reflectance > 1.0 { "per cent given for a share?" } else { "" };
        let allowed = "a share from 0 to 1";
        findings.number("reflectance", self.reflectance, |r| (0.0..=1.0).contains(&r), allowed, cause);
        findings.number("sigma", self.sigma, |s| (0.0..=0.5).contains(&s), "0 to 0.5", "per cent?");
    }
}

/// A photograph and what is known of it, before any check.
///
/// Units: mm; the values are in any unit that is linear in light.
///
/// ```
/// use catoptric::{AxisDirection, KnownPatch, ReflectancePhotoInput};
/// let input = ReflectancePhotoInput::new(
///     ndarray::Array2::from_elem((40, 40), 100.0), 5.0, AxisDirection::MinusY, AxisDirection::PlusX, 190.0,
///     KnownPatch::new([0.0, 0.0], 10.0, 0.2), KnownPatch::new([50.0, 0.0], 10.0, 0.9),
/// );
/// assert_eq!(input.centre_row, 19.5);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReflectancePhotoInput {
    /// Brightness, row by row, linear in light.
    #[serde(serialize_with = "as_rows", deserialize_with = "from_rows")]
    pub values: Arc<Array2<f64>>,
    /// Side of a pixel on the mirror, mm.
    pub pixel_mm: f64,
    /// Where the next row lies on the mirror, seen from the sky.
    pub rows_run: AxisDirection,
    /// Where the next column lies.
    pub columns_run: AxisDirection,
    /// The row, counted from 0, in which the mirror's centre lies.
    pub centre_row: f64,
    /// The column in which the mirror's centre lies.
    pub centre_column: f64,
    /// Clear aperture of the mirror, mm: what lies beyond is not looked at.
    pub clear_aperture_mm: f64,
    /// A dark patch of known reflectance.
    pub dark: KnownPatch,
    /// A bright patch of known reflectance.
    pub bright: KnownPatch,
    /// The value at which the camera saturates; none: only values that pile up at one end betray it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub saturates_at: Option<f64>,
}

impl ReflectancePhotoInput {
    /// A photograph whose middle is the mirror's centre.
    ///
    /// ```
    /// use catoptric::{AxisDirection, KnownPatch, ReflectancePhotoInput};
    /// let patch = KnownPatch::new([0.0, 0.0], 10.0, 0.2);
    /// let photo = ndarray::Array2::from_elem((40, 41), 100.0);
    /// let input = ReflectancePhotoInput::new(photo, 5.0, AxisDirection::MinusY, AxisDirection::PlusX, 190.0, patch,
    /// patch);
    /// assert_eq!(input.centre_column, 20.0);
    /// ```
    pub fn new(
        values: Array2<f64>,
        pixel_mm: f64,
        rows_run: AxisDirection,
        columns_run: AxisDirection,
        clear_aperture_mm: f64,
        dark: KnownPatch,
        bright: KnownPatch,
    ) -> Self {
        let middle = |count: usize| (count as f64 - 1.0) / 2.0;
        let (rows, columns) = values.dim();
        Self {
            values: Arc::new(values),
            pixel_mm,
            rows_run,
            columns_run,
            centre_row: middle(rows),
            centre_column: middle(columns),
            clear_aperture_mm,
            dark,
            bright,
            saturates_at: None,
        }
    }
}

fn as_rows<S: Serializer>(values: &Arc<Array2<f64>>, to: S) -> std::result::Result<S::Ok, S::Error> {
    values.as_ref().serialize(to)
}

fn from_rows<'de, D: Deserializer<'de>>(from: D) -> std::result::Result<Arc<Array2<f64>>, D::Error> {
    Array2::deserialize(from).map(Arc::new)
}

/// What a patch of the photograph comes to.
#[derive(Clone, Copy, Debug)]
struct Mean {
    value: f64,
    sigma: f64,
    /// Noise of a single pixel.
    noise: f64,
}

/// A photograph of the mirror, turned to reflectance by a dark and a bright patch that are known.
///
/// reflectance = `scale` x value + `offset`. The values must be linear in light already: raw counts, not a picture made
/// for the eye. To check it, expose twice as long: values less those of a covered lens must double; and ask a third
/// known patch ([`ReflectancePhoto::check`]).
///
/// Units: mm; shares of the power.
/// Errors: [`Error::Input`] at construction, with all faults found: values that are not finite, saturated or cut off at
/// one end on the mirror, patches off the mirror or with fewer than nine pixels, reflectances closer than 0.1, a bright
/// patch darker than the dark one.
/// Method: means over the pixels whose middles lie in the patches; errors of `scale` and `offset` from the scatter of
/// these pixels and the patches' own uncertainty.
/// Leaves out: uneven lighting and the lens's own fall-off, which enter the map in full (1 % for 1 %): photograph an
/// even card in the mirror's place and divide by it first.
///
/// ```
/// use catoptric::{AxisDirection, KnownPatch, ReflectancePhoto, ReflectancePhotoInput};
/// // Brightness 40 + 1000 R: a card of 0.20 on the left, fresh coating of 0.90 elsewhere.
/// let photo = ndarray::Array2::from_shape_fn((40, 40), |(_, j)| if j < 10 { 240.0 } else { 940.0 } + (j % 2) as f64);
/// let photo = ReflectancePhoto::new(ReflectancePhotoInput::new(
///     photo, 5.0, AxisDirection::MinusY, AxisDirection::PlusX, 190.0,
///     KnownPatch::new([-75.0, 0.0], 15.0, 0.20), KnownPatch::new([50.0, 0.0], 15.0, 0.90),
/// ))?;
/// assert!((photo.scale - 1e-3).abs() < 1e-5 && (photo.map()?.reflectance[[20, 20]] - 0.9).abs() < 2e-3);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "ReflectancePhotoInput", into = "ReflectancePhotoInput")]
pub struct ReflectancePhoto {
    input: ReflectancePhotoInput,
    /// Reflectance for a unit of brightness.
    pub scale: f64,
    /// Reflectance at brightness 0.
    pub offset: f64,
    /// Standard deviation of the scale.
    pub scale_sigma: f64,
    /// Standard deviation of the offset.
    pub offset_sigma: f64,
    /// Standard deviation of a pixel's reflectance from its own noise.
    pub pixel_sigma: f64,
    dark: (f64, f64),
    bright: (f64, f64),
}

/// A third known patch beside what the photograph makes of it.
///
/// Units: shares of the power.
///
/// ```
/// let check = catoptric::PhotoCheck { expected: 0.5, found: 0.52, sigma: 0.01, sigmas: 2.0, agrees: false };
/// assert!(!check.agrees);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PhotoCheck {
    /// What the patch is known to return.
    pub expected: f64,
    /// What the photograph says.
    pub found: f64,
    /// Standard deviation of the difference.
    pub sigma: f64,
    /// The difference in these.
    pub sigmas: f64,
    /// Whether it lies within 1.96 of them.
    pub agrees: bool,
}

impl ReflectancePhoto {
    /// A photograph from its parts.
    ///
    /// ```
    /// use catoptric::{AxisDirection, KnownPatch, ReflectancePhoto, ReflectancePhotoInput};
    /// // A sky burnt out to 4095 on half of the mirror.
    /// let photo = ndarray::Array2::from_shape_fn((40, 40), |(i, j)| if j < 20 { 900.0 + (i * j % 7) as f64 } else {
    /// 4095.0 });
    /// let error = ReflectancePhoto::new(ReflectancePhotoInput::new(
    ///     photo, 5.0, AxisDirection::MinusY, AxisDirection::PlusX, 190.0,
    ///     KnownPatch::new([-75.0, 0.0], 15.0, 0.20), KnownPatch::new([50.0, 0.0], 15.0, 0.90),
    /// )).unwrap_err();
    /// assert!(error.to_string().contains("saturated"));
    /// ```
    pub fn new(input: ReflectancePhotoInput) -> Result<Self> {
        input.try_into()
    }

    /// The parts as they were given.
    pub fn input(&self) -> &ReflectancePhotoInput {
        &self.input
    }

    /// The reflectance that a brightness stands for, and its standard deviation from scale and offset.
    fn reflectance(&self, value: f64) -> (f64, f64) {
        // Between the two patches the line is held by both, beyond them it is a lever.
        let share = (value - self.dark.0) / (self.bright.0 - self.dark.0);
        let sigma = ((1.0 - share) * self.dark.1).hypot(share * self.bright.1);
        (self.scale * value + self.offset, sigma)
    }

    /// The map of reflectance, for a coating.
    ///
    /// Units: shares of the power. What lies less than a pixel inside the rim, where the background mixes in, and
    /// beyond it takes the value of the next pixel inward; pixels beyond the clear aperture by more than two are left
    /// out (NaN).
    /// Errors: [`Error::Input`] where a pixel on the mirror comes out above 1 or not above 0: nothing is cut off.
    ///
    /// ```
    /// use catoptric::{AxisDirection, KnownPatch, ReflectancePhoto, ReflectancePhotoInput};
    /// let photo = ndarray::Array2::from_shape_fn((40, 40), |(_, j)| if j < 10 { 240.0 } else { 940.0 } + (j % 2) as
    /// f64);
    /// let photo = ReflectancePhoto::new(ReflectancePhotoInput::new(
    ///     photo, 5.0, AxisDirection::MinusY, AxisDirection::PlusX, 190.0,
    ///     KnownPatch::new([-75.0, 0.0], 15.0, 0.20), KnownPatch::new([50.0, 0.0], 15.0, 0.999_9),
    /// ))?;
    /// assert!(photo.map().unwrap_err().to_string().contains("above 0 and not above 1"));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn map(&self) -> Result<ReflectanceMap> {
        let input = &self.input;
        let reach_mm = input.clear_aperture_mm / 2.0 + 2.0 * input.pixel_mm;
        let mut worst: Option<((usize, usize), f64)> = None;
        let shares = Array2::from_shape_fn(input.values.dim(), |at| {
            if distance_mm(input, at) > reach_mm {
                return f64::NAN;
            }
            let (share, _) = self.reflectance(input.values[held(input, at)]);
            let off = (share - 1.0).max(-share);
            if off > worst.map_or(f64::NEG_INFINITY, |w| (w.1 - 1.0).max(-w.1)) {
                worst = Some((at, share));
            }
            share
        });
        if let Some((at, share)) = worst.filter(|(_, share)| *share > 1.0 || *share <= 0.0) {
            let cause =
                "glare, uneven light, or a patch that is not as bright as stated; nothing was cut off";
            let field = format!("values[{}][{}]", at.0, at.1);
            return Err(Error::input(field, share, "a share above 0 and not above 1", cause));
        }
        let map = ReflectanceMap::new(shares, input.pixel_mm, input.rows_run, input.columns_run);
        Ok(map.centre(input.centre_row, input.centre_column))
    }

    /// What the photograph makes of a third patch that is known.
    ///
    /// Units: shares of the power.
    /// Errors: [`Error::Input`] for a patch off the mirror or with fewer than nine pixels.
    ///
    /// ```
    /// use catoptric::{AxisDirection, KnownPatch, ReflectancePhoto, ReflectancePhotoInput};
    /// let photo = ndarray::Array2::from_shape_fn((40, 40), |(_, j)| if j < 10 { 240.0 } else { 940.0 } + (j % 2) as
    /// f64);
    /// let photo = ReflectancePhoto::new(ReflectancePhotoInput::new(
    ///     photo, 5.0, AxisDirection::MinusY, AxisDirection::PlusX, 190.0,
    ///     KnownPatch::new([-75.0, 0.0], 15.0, 0.20), KnownPatch::new([50.0, 0.0], 15.0, 0.90),
    /// ))?;
    /// assert!(photo.check(&KnownPatch::new([0.0, 60.0], 12.0, 0.90))?.agrees);
    /// assert!(!photo.check(&KnownPatch::new([0.0, 60.0], 12.0, 0.80))?.agrees);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn check(&self, third: &KnownPatch) -> Result<PhotoCheck> {
        let mut findings = Findings::default();
        let mean = findings_mean(&self.input, "third", third, &mut findings);
        findings.refuse()?;
        let Some(mean) = mean else { unreachable!("what has no mean was refused") };
        let (found, of_line) = self.reflectance(mean.value);
        let sigma = of_line.hypot(self.scale * mean.sigma).hypot(third.sigma).max(1e-12);
        let sigmas = (found - third.reflectance) / sigma;
        Ok(PhotoCheck { expected: third.reflectance, found, sigma, sigmas, agrees: sigmas.abs() <= NORMAL })
    }
}

/// Where the middle of a pixel lies.
fn place_mm(input: &ReflectancePhotoInput, (row, column): (usize, usize)) -> [f64; 2] {
    let down = (row as f64 - input.centre_row) * input.pixel_mm;
    let across = (column as f64 - input.centre_column) * input.pixel_mm;
    let (rows, columns) = (input.rows_run.unit(), input.columns_run.unit());
    [0, 1].map(|i| down * rows[i] + across * columns[i])
}

/// The pixel whose value counts for one: itself, or by the rim the next one inward.
fn held(input: &ReflectancePhotoInput, (row, column): (usize, usize)) -> (usize, usize) {
    let (down, across) = (row as f64 - input.centre_row, column as f64 - input.centre_column);
    let (far, most) = (down.hypot(across), input.clear_aperture_mm / 2.0 / input.pixel_mm - 1.0);
    if far <= most {
        return (row, column);
    }
    // Rounding to a pixel moves it by up to 0.71.
    let inward = (most - 0.71).max(0.0) / far;
    let to = |centre: f64, away: f64| (centre + inward * away).round().max(0.0) as usize;
    (to(input.centre_row, down), to(input.centre_column, across))
}

fn distance_mm(input: &ReflectancePhotoInput, at: (usize, usize)) -> f64 {
    let [x, y] = place_mm(input, at);
    x.hypot(y)
}

/// The mean of a patch; none where a fault was noted.
fn findings_mean(
    input: &ReflectancePhotoInput,
    name: &str,
    patch: &KnownPatch,
    findings: &mut Findings,
) -> Option<Mean> {
    let mut found = None;
    findings.within(name, |f| {
        let rim_mm = input.clear_aperture_mm / 2.0;
        patch.note_problems(f);
        let far_mm = patch.x_mm.hypot(patch.y_mm) + patch.radius_mm;
        if far_mm > rim_mm {
            let allowed = format!("a patch within the clear aperture: {rim_mm} mm from the centre");
            f.fault("radius_mm", format!("{far_mm:.1} mm from the centre at its far side"), &allowed, "");
            return;
        }
        let inside: Vec<f64> = input
            .values
            .indexed_iter()
            .filter(|(at, _)| {
                let [x, y] = place_mm(input, *at);
                (x - patch.x_mm).hypot(y - patch.y_mm) <= patch.radius_mm
            })
            .map(|(_, value)| *value)
            .collect();
        if inside.len() < LEAST_PIXELS {
            let found = format!("{} pixels", inside.len());
            f.fault("radius_mm", found, "a patch of nine pixels or more", "radius in pixels?");
            return;
        }
        let count = inside.len() as f64;
        let value = inside.iter().sum::<f64>() / count;
        let square = inside.iter().map(|v| (v - value).powi(2)).sum::<f64>() / (count - 1.0);
        found = Some(Mean { value, sigma: (square / count).sqrt(), noise: square.sqrt() });
    });
    found
}

/// Notes values that were cut off at one end.
fn note_cut_off(input: &ReflectancePhotoInput, findings: &mut Findings) {
    let rim_mm = input.clear_aperture_mm / 2.0;
    let on_mirror: Vec<f64> = input
        .values
        .indexed_iter()
        .filter(|(at, _)| distance_mm(input, *at) <= rim_mm)
        .map(|(_, v)| *v)
        .collect();
    let (low, high) =
        on_mirror.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    if let Some(limit) = input.saturates_at {
        let count = on_mirror.iter().filter(|v| **v >= limit).count();
        if count > 0 {
            let found = format!("{count} saturated pixels on the mirror");
            findings.fault("values", found, &format!("values below {limit}"), "expose for less long");
            return;
        }
    }
    let most = LEAST_PILED.max((PILED * on_mirror.len() as f64) as usize);
    // Brightness in whole steps repeats itself everywhere; what piles up at one end alone was cut off.
    let count = |at: f64| on_mirror.iter().filter(|v| v.to_bits() == at.to_bits()).count();
    let below = |at: f64, toward: f64| {
        let next = on_mirror.iter().filter(|v| (**v - at) * toward > 0.0).map(|v| (v - at).abs());
        let step = next.fold(f64::INFINITY, f64::min);
        if step.is_finite() { count(at + toward * step) } else { 0 }
    };
    for (end, toward, what) in [(high, -1.0, "saturated"), (low, 1.0, "cut off at the dark end")] {
        let (piled, beside) = (count(end), below(end, toward));
        if high > low && piled > most && piled > 3 * beside.max(1) && piled * 4 > on_mirror.len() {
            let found = format!("{piled} pixels on the mirror at {end}: {what}");
            let cause = "expose for less (or longer), or take the raw counts";
            findings.fault("values", found, "values that scatter at both ends", cause);
        }
    }
}

impl TryFrom<ReflectancePhotoInput> for ReflectancePhoto {
    type Error = Error;

    fn try_from(input: ReflectancePhotoInput) -> Result<Self> {
        let mut findings = Findings::default();
        let (rows, columns) = input.values.dim();
        findings.length("clear_aperture_mm", input.clear_aperture_mm);
        findings.length("pixel_mm", input.pixel_mm);
        let is_x = |d: AxisDirection| matches!(d, AxisDirection::PlusX | AxisDirection::MinusX);
        if is_x(input.rows_run) == is_x(input.columns_run) {
            let found = format!("{} beside rows_run = {}", input.columns_run.name(), input.rows_run.name());
            findings.fault("columns_run", found, "rows along one axis and columns along the other", "");
        }
        if let Some((at, value)) = input.values.indexed_iter().find(|(_, v)| !v.is_finite()) {
            let field = format!("values[{}][{}]", at.0, at.1);
            findings.fault(&field, value, "a finite brightness in every pixel", "a hole in the picture?");
        }
        if rows < 4 || columns < 4 {
            findings.fault("values", format!("{rows} x {columns}"), "4 x 4 values or more, row by row", "");
        }
        findings.refuse()?;
        let mut findings = Findings::default();
        let reach = input.clear_aperture_mm / 2.0 / input.pixel_mm;
        let covered = [(input.centre_row, rows), (input.centre_column, columns)]
            .iter()
            .all(|(centre, count)| centre - reach >= -0.5 && centre + reach <= *count as f64 - 0.5);
        if !covered {
            let found = format!("{rows} x {columns} pixels for a mirror of {:.1} across", 2.0 * reach);
            let cause = "pixel_mm is a pixel's side on the mirror; or another centre?";
            findings.fault("pixel_mm", found, "a picture of the whole clear aperture", cause);
            findings.refuse()?;
            unreachable!("a fault was noted");
        }
        note_cut_off(&input, &mut findings);
        let dark = findings_mean(&input, "dark", &input.dark, &mut findings);
        let bright = findings_mean(&input, "bright", &input.bright, &mut findings);
        let apart = input.bright.reflectance - input.dark.reflectance;
        if apart < LEAST_APART {
            let cause = "the two exchanged, or too much alike to make a scale";
            findings.fault("bright.reflectance", input.bright.reflectance, "0.1 above the dark one's", cause);
        }
        if let (Some(dark), Some(bright)) = (dark, bright)
            && bright.value <= dark.value
        {
            let found = format!("a mean of {:.4} beside {:.4} of the dark patch", bright.value, dark.value);
            let cause = "the patches exchanged, a negative, or another orientation than rows_run and columns_run say?";
            findings.fault("bright", found, "a bright patch that is brighter", cause);
        }
        findings.refuse()?;
        let (Some(dark), Some(bright)) = (dark, bright) else { unreachable!("what has no mean was refused") };
        let rise = bright.value - dark.value;
        let scale = apart / rise;
        let offset = input.dark.reflectance - scale * dark.value;
        // What each end of the line is known to, as a share of the power.
        let at_dark = input.dark.sigma.hypot(scale * dark.sigma);
        let at_bright = input.bright.sigma.hypot(scale * bright.sigma);
        Ok(Self {
            scale,
            offset,
            scale_sigma: at_dark.hypot(at_bright) / rise,
            offset_sigma: (at_dark * bright.value / rise).hypot(at_bright * dark.value / rise),
            pixel_sigma: scale * (0.5 * (dark.noise.powi(2) + bright.noise.powi(2))).sqrt(),
            dark: (dark.value, at_dark),
            bright: (bright.value, at_bright),
            input,
        })
    }
}

impl From<ReflectancePhoto> for ReflectancePhotoInput {
    fn from(photo: ReflectancePhoto) -> Self {
        photo.input
    }
}

impl ReflectancePhoto {
    /// Mean reflectance over the clear aperture, shadow and all: a share of the power.
    ///
    /// ```
    /// use catoptric::{AxisDirection, KnownPatch, ReflectancePhoto, ReflectancePhotoInput};
    /// let photo = ndarray::Array2::from_shape_fn((40, 40), |(_, j)| if j < 20 { 240.0 } else { 940.0 } + (j % 2) as
    /// f64);
    /// let photo = ReflectancePhoto::new(ReflectancePhotoInput::new(
    ///     photo, 5.0, AxisDirection::MinusY, AxisDirection::PlusX, 190.0,
    ///     KnownPatch::new([-50.0, 0.0], 15.0, 0.20), KnownPatch::new([50.0, 0.0], 15.0, 0.90),
    /// ))?;
    /// assert!((photo.mean_reflectance() - 0.55).abs() < 1e-3);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn mean_reflectance(&self) -> f64 {
        let rim_mm = self.input.clear_aperture_mm / 2.0;
        let inside =
            self.input.values.indexed_iter().filter(|(at, _)| distance_mm(&self.input, *at) <= rim_mm);
        let (sum, count) =
            inside.fold((0.0, 0.0), |(sum, count), (_, v)| (sum + self.reflectance(*v).0, count + 1.0));
        sum / count
    }
}
