//! Focus by name: where in the image the wavefront is looked at from.
//!
//! Focus and tilt are removed by moving the reference point, never by subtracting polynomials.

use std::f64::consts::TAU;

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::density::{Fineness, Looks, PhaseDensity};
use super::source::{Pupil, Source, View};
use super::wavelength::check_wavelength;
use crate::error::{Error, Result};
use crate::numeric::sums;
use crate::trace::{Prepared, Spot, Star, check_shift, no_light};
use crate::units::{Field, NM_PER_MM};

/// What the search for the greatest Strehl calls itself where it fails.
const PEAK: &str = "the focus of greatest Strehl";
/// The step, in units of the search's scale, at which that search has arrived.
const SETTLED: f64 = 1e-7;
/// A gain of brightness that may be lost in rounding: paths of 4 m are good to 5e-9 rad. Slopes tell the summit far beyond it.
const UNSEEN: f64 = 1e-8;
/// Reference points as near as this, in waves, have one list of nodes in common, and as near as that one companion: a tenth
/// of a wave more of slope asks for a node or two more where they are fewest.
const STILL: f64 = 1e-3;
const NEAR: f64 = 0.1;

/// Where the image is looked at.
///
/// In every case but `Peak` the point is moved along and across until the wavefront's RMS is least, so
/// that no tilt is left; `LeastRms` moves it in depth as well. `Peak` is the point in space with the greatest
/// Strehl, which is where an observer focuses. It is sought from two points, the foci of least RMS of the whole
/// mirror and of its inner 85 % by area: within 3 waves of defocus of either (24 wavelengths times F^2 along the
/// axis), and 2.4 wavelengths times F across; a brighter point further away is not found.
///
/// ```
/// assert_eq!(catoptric::Focus::from_name("least_rms"), Some(catoptric::Focus::LeastRms));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum Focus {
    /// The plane of the paraxial focus.
    Paraxial,
    /// The plane in which the rays scatter least.
    LeastSpot,
    /// The point of least wavefront RMS.
    LeastRms,
    /// The point of greatest Strehl.
    Peak,
    /// A plane at this distance behind the paraxial focus, mm; positive: further from the primary.
    ShiftMm(f64),
}

impl Focus {
    /// The focus of a name: `paraxial`, `least_spot`, `least_rms` or `peak`.
    ///
    /// ```
    /// assert_eq!(catoptric::Focus::from_name("sharpest"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "paraxial" => Some(Self::Paraxial),
            "least_spot" => Some(Self::LeastSpot),
            "least_rms" => Some(Self::LeastRms),
            "peak" => Some(Self::Peak),
            _ => None,
        }
    }
}

impl Prepared {
    /// The shift behind the paraxial focus at which a star is in focus by a given rule, mm.
    ///
    /// Units: nm for the wavelength, which only `Peak` depends on.
    /// Errors: [`Error::Input`], [`Error::NoLight`], [`Error::NotConverged`].
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0)).build()?;
    /// let shift = Prepared::new(&train).best_focus_mm(Focus::LeastRms, Field::AXIS, 550.0)?;
    /// assert!(shift < 0.0, "a sphere's rim focuses nearer");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn best_focus_mm(&self, by: Focus, star: impl Into<Star>, wavelength_nm: f64) -> Result<f64> {
        let star = star.into();
        star.check(self.focal_length_mm())?;
        check_wavelength(wavelength_nm)?;
        match by {
            Focus::Paraxial => Ok(0.0),
            Focus::ShiftMm(shift_mm) => check_shift(shift_mm, self.focal_length_mm()).map(|()| shift_mm),
            Focus::LeastSpot => self.least_spot_shift_mm(star),
            Focus::LeastRms | Focus::Peak => {
                let reference = self.reference_mm(by, star, wavelength_nm)?;
                Ok(reference[2] - star.gaussian_mm(self.focal_length_mm())[2])
            }
        }
    }

    /// A star's spot at a focus by name: [`Prepared::spot_at`] in the plane that the name stands for.
    ///
    /// Errors: as [`Prepared::best_focus_mm`].
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0)).build()?;
    /// let prepared = Prepared::new(&train);
    /// let (best, paraxial) = (prepared.spot(Field::AXIS, Focus::LeastSpot, 550.0, 100)?, prepared.spot_at(Field::AXIS, 0.0, 100)?);
    /// assert!(best.rms_radius_um < paraxial.rms_radius_um);
    /// assert_eq!((best.wavelength_nm, paraxial.wavelength_nm), (Some(550.0), None));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn spot(&self, field: Field, focus: Focus, wavelength_nm: f64, points: usize) -> Result<Spot> {
        let spot = self.spot_at(field, self.best_focus_mm(focus, field, wavelength_nm)?, points)?;
        Ok(Spot { wavelength_nm: Some(wavelength_nm), ..spot })
    }

    /// The reference point in the image that a focus stands for, mm in the unfolded space.
    fn reference_mm(&self, focus: Focus, star: Star, wavelength_nm: f64) -> Result<[f64; 3]> {
        Ok(self.found_focus(focus, star, wavelength_nm)?.reference_mm)
    }

    /// The reference point that a focus stands for, and the list of nodes on which it was found.
    pub(crate) fn found_focus(&self, focus: Focus, star: Star, wavelength_nm: f64) -> Result<FoundFocus> {
        star.check(self.focal_length_mm())?;
        check_wavelength(wavelength_nm)?;
        let coloured = self.in_colour(wavelength_nm)?;
        let looks = Looks::new(&coloured, star);
        let source = Source::Star { prepared: coloured, star };
        let mut start = source.gaussian_mm();
        match focus {
            Focus::ShiftMm(shift_mm) => {
                check_shift(shift_mm, self.focal_length_mm())?;
                start[2] += shift_mm;
            }
            Focus::LeastSpot => start[2] += self.least_spot_shift_mm(star)?,
            Focus::Paraxial | Focus::LeastRms | Focus::Peak => {}
        }
        let in_depth = matches!(focus, Focus::LeastRms | Focus::Peak);
        let scale = Scale::new(self.focal_ratio(), wavelength_nm);
        let seen_from =
            |reference_mm| PhaseDensity::of_statistics(looks.seen_from(reference_mm), wavelength_nm);
        // The nodes follow the slopes seen from the reference point: a coarse list tells where that is.
        let first = seen_from(start);
        let companion = source.pupil(&first.companion());
        if companion.is_dark() {
            return Err(no_light(star.field, &self.light(star.field)));
        }
        let guess = least_rms(&companion, start, in_depth)?;
        let (density, seen_from_mm) =
            if scale.is_within(STILL, start, guess) { (first, start) } else { (seen_from(guess), guess) };
        let pupil = source.pupil(&density);
        let mut reference_mm = least_rms(&pupil, guess, in_depth)?;
        if focus == Focus::Peak {
            let coarse = source.pupil(&density.with(Fineness::LOOKS));
            reference_mm = brightest(&pupil, &coarse, source.rim(), &scale, reference_mm)?;
        }
        let companion = scale.is_within(NEAR, start, reference_mm).then_some(companion);
        let is_still = scale.is_within(STILL, seen_from_mm, reference_mm);
        let list = is_still.then_some(FoundList { density, pupil, companion });
        Ok(FoundFocus { reference_mm, list })
    }
}

/// A reference point, and the list for the slopes seen from there where the search has one.
pub(crate) struct FoundFocus {
    pub(crate) reference_mm: [f64; 3],
    pub(crate) list: Option<FoundList>,
}

/// A list of nodes, what it was made for, and a coarser one for nearly the same slopes.
pub(crate) struct FoundList {
    pub(crate) density: PhaseDensity,
    pub(crate) pupil: Pupil,
    pub(crate) companion: Option<Pupil>,
}

/// Moves a reference point until the RMS of the wavefront is least: across the plane, or in depth as well.
pub(crate) fn least_rms(pupil: &Pupil, start_mm: [f64; 3], in_depth: bool) -> Result<[f64; 3]> {
    let everything = |_: usize| true;
    least_rms_of(pupil, start_mm, in_depth, everything)
}

fn least_rms_of(
    pupil: &Pupil,
    start_mm: [f64; 3],
    in_depth: bool,
    counts: impl Fn(usize) -> bool,
) -> Result<[f64; 3]> {
    let mut reference = start_mm;
    let mut change_nm = f64::INFINITY;
    // The path is almost linear in the point: Gauss-Newton settles in three rounds. A step that changes the wavefront by
    // less than this is rounding.
    let wanted_nm = 1e-5;
    for _ in 0..30 {
        let view = pupil.seen_from(reference);
        let failed =
            Error::NotConverged { what: "the focus of least RMS", reached: change_nm, wanted: wanted_nm };
        let step = linear_step(pupil, &view, in_depth, &counts).ok_or(failed)?;
        for axis in 0..3 {
            reference[axis] += step[axis];
        }
        change_nm = largest_change_nm(&view, &step);
        if change_nm < wanted_nm {
            return Ok(reference);
        }
    }
    Err(Error::NotConverged { what: "the focus of least RMS", reached: change_nm, wanted: wanted_nm })
}

/// How much a step of the reference point changes the shape of the wavefront at most, nm.
fn largest_change_nm(view: &View, step_mm: &Vector3<f64>) -> f64 {
    let changes = view.toward.iter().map(|m| m[0] * step_mm[0] + m[1] * step_mm[1] + m[2] * step_mm[2]);
    let (low, high) = changes.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), c| (l.min(c), h.max(c)));
    (high - low) * NM_PER_MM
}

/// The step that makes the variance of W - m.step least, mm.
fn linear_step(
    pupil: &Pupil,
    view: &View,
    in_depth: bool,
    counts: &impl Fn(usize) -> bool,
) -> Option<Vector3<f64>> {
    let weight = |i: usize| if counts(i) { pupil.weight[i] } else { 0.0 };
    let [total, path, u, v, w] = sums::of_terms(pupil.len(), |i| {
        let (weight, [u, v, w]) = (weight(i), view.toward[i]);
        [weight, weight * view.path_nm[i], weight * u, weight * v, weight * w]
    });
    let (mean_path, mean_line) = (path / total, [u, v, w].map(|sum| sum / total));
    let [uu, uv, uw, vv, vw, ww, up, vp, wp] = sums::of_terms(pupil.len(), |i| {
        let [u, v, w] = [0, 1, 2].map(|axis| view.toward[i][axis] - mean_line[axis]);
        let share = weight(i) / total;
        let path = share * (view.path_nm[i] - mean_path) / NM_PER_MM;
        let (along, across, down) = (share * u, share * v, share * w);
        [along * u, along * v, along * w, across * v, across * w, down * w, path * u, path * v, path * w]
    });
    let mut normal = Matrix3::new(uu, uv, uw, uv, vv, vw, uw, vw, ww);
    let mut right = Vector3::new(up, vp, wp);
    if !in_depth {
        for other in 0..2 {
            normal[(2, other)] = 0.0;
            normal[(other, 2)] = 0.0;
        }
        (normal[(2, 2)], right[2]) = (1.0, 0.0);
    }
    // Depth is seen by 1/F^2 less than the plane: bring the columns to one size first.
    let scale = Vector3::from_fn(|i, _| normal[(i, i)].sqrt().recip());
    let scaled = Matrix3::from_fn(|i, j| normal[(i, j)] * scale[i] * scale[j]);
    let solved = scaled.lu().solve(&right.component_mul(&scale))?;
    let step = solved.component_mul(&scale);
    step.iter().all(|s| s.is_finite()).then_some(step)
}

/// The point of greatest Strehl near a point of least RMS.
///
/// A turned edge makes two maxima: one for the whole mirror, one for what lies inside the edge. So the search begins from
/// both, looks along the depth and across with few nodes, and climbs from the best places with all of them.
fn brightest(
    pupil: &Pupil,
    coarse: &Pupil,
    rim: f64,
    scale: &Scale,
    least_rms_mm: [f64; 3],
) -> Result<[f64; 3]> {
    let edge_free = 0.85 * rim * rim;
    let inner = |i: usize| pupil.x[i].powi(2) + pupil.y[i].powi(2) <= edge_free;
    let starts = [least_rms_mm, least_rms_of(pupil, least_rms_mm, true, inner)?];
    let look = PeakSearch { pupil: coarse, scale };
    let mut candidates: Vec<(f64, [f64; 3])> = starts.iter().flat_map(|&s| look.along_depth(s)).collect();
    best_first(&mut candidates);
    candidates.truncate(4);
    let climb = PeakSearch { pupil, scale };
    let mut summits = Vec::new();
    for (_, point) in candidates {
        summits.push(climb.climb(look.best_across(point))?);
    }
    best_first(&mut summits);
    // Without a maximum to climb to, no step was taken, and nothing is known of how far the summit is.
    summits.first().map(|s| s.1).ok_or(Error::NotConverged {
        what: PEAK,
        reached: f64::INFINITY,
        wanted: SETTLED,
    })
}

/// Lengths over which the Strehl changes by much.
struct Scale {
    wavelength_nm: f64,
    across_mm: f64,
    depth_mm: f64,
}

impl Scale {
    fn new(focal_ratio: f64, wavelength_nm: f64) -> Self {
        let wavelength_mm = wavelength_nm / NM_PER_MM;
        Self {
            wavelength_nm,
            across_mm: wavelength_mm * focal_ratio,
            depth_mm: 8.0 * wavelength_mm * focal_ratio * focal_ratio,
        }
    }
}

impl Scale {
    /// Whether two reference points are as near to each other as some waves of tilt or defocus.
    fn is_within(&self, waves: f64, before_mm: [f64; 3], after_mm: [f64; 3]) -> bool {
        let [x, y, z] = [0, 1, 2].map(|i| (after_mm[i] - before_mm[i]).abs());
        x.max(y) <= waves * self.across_mm && z <= waves * self.depth_mm
    }
}

/// The search for the point of greatest Strehl, on one list of nodes.
struct PeakSearch<'a> {
    pupil: &'a Pupil,
    scale: &'a Scale,
}

impl PeakSearch<'_> {
    /// Local maxima of the brightness along the depth through a point.
    fn along_depth(&self, start_mm: [f64; 3]) -> Vec<(f64, [f64; 3])> {
        const STEPS: i32 = 60;
        let step_mm = self.scale.depth_mm / 20.0;
        let at = |k: i32| [start_mm[0], start_mm[1], start_mm[2] + step_mm * f64::from(k)];
        let first = at(-STEPS);
        let brightness = self.brightness_on_line(first, [0.0, 0.0, step_mm], 2 * STEPS as usize + 1);
        let local = |i: &usize| {
            let value = brightness[*i];
            (*i == 0 || brightness[i - 1] <= value) && brightness.get(i + 1).is_none_or(|b| *b <= value)
        };
        (0..brightness.len()).filter(local).map(|i| (brightness[i], at(i as i32 - STEPS))).collect()
    }

    /// The brightest point of a coarse net across the image.
    fn best_across(&self, start_mm: [f64; 3]) -> [f64; 3] {
        const HALF: i32 = 6;
        let step_mm = 0.4 * self.scale.across_mm;
        let mut best = (f64::NEG_INFINITY, start_mm);
        for row in -HALF..=HALF {
            let y = start_mm[1] + step_mm * f64::from(row);
            let first = [start_mm[0] - step_mm * f64::from(HALF), y, start_mm[2]];
            let line = self.brightness_on_line(first, [step_mm, 0.0, 0.0], 2 * HALF as usize + 1);
            for (i, value) in line.into_iter().enumerate() {
                if value > best.0 {
                    best = (value, [first[0] + step_mm * i as f64, y, start_mm[2]]);
                }
            }
        }
        best.1
    }

    /// |sum A exp(2 pi i W/lambda)|^2 at evenly spaced points, W taken as linear along the line.
    fn brightness_on_line(&self, first_mm: [f64; 3], step_mm: [f64; 3], count: usize) -> Vec<f64> {
        let view = self.pupil.seen_from(first_mm);
        let per_nm = TAU / self.scale.wavelength_nm;
        let (mut re, mut im) = (vec![0.0; count], vec![0.0; count]);
        for i in 0..self.pupil.len() {
            let light = self.pupil.weight[i] * self.pupil.amplitude[i];
            let (mut s, mut c) = (per_nm * (view.path_nm[i] - view.path_nm[0])).sin_cos();
            let along: f64 = (0..3).map(|a| view.toward[i][a] * step_mm[a]).sum();
            let piston: f64 = (0..3).map(|a| view.toward[0][a] * step_mm[a]).sum();
            let (turn_s, turn_c) = (-per_nm * NM_PER_MM * (along - piston)).sin_cos();
            for k in 0..count {
                re[k] += light * c;
                im[k] += light * s;
                (s, c) = (s * turn_c + c * turn_s, c * turn_c - s * turn_s);
            }
        }
        re.iter().zip(&im).map(|(a, b)| a * a + b * b).collect()
    }

    /// Newton's method on the logarithm of the brightness, with every step checked.
    fn climb(&self, start_mm: [f64; 3]) -> Result<(f64, [f64; 3])> {
        let scale = Vector3::new(self.scale.across_mm, self.scale.across_mm, self.scale.depth_mm);
        let mut point = start_mm;
        let mut here = self.local_shape(point, scale);
        let mut size = f64::INFINITY;
        for _ in 0..60 {
            let mut step = here.newton_step();
            let mut next = here;
            let mut moved = point;
            // Halve the step until the light grows, where that can be seen.
            let is_seen = 0.5 * here.gradient.dot(&step) > UNSEEN;
            for _ in 0..30 {
                moved = [0, 1, 2].map(|a| point[a] + step[a] * scale[a]);
                next = self.local_shape(moved, scale);
                if !is_seen || next.brightness >= here.brightness {
                    break;
                }
                step *= 0.5;
            }
            size = step.norm();
            (point, here) = (moved, next);
            if size < SETTLED {
                return Ok((here.brightness, point));
            }
        }
        Err(Error::NotConverged { what: PEAK, reached: size, wanted: SETTLED })
    }

    /// Brightness at a point with its slopes and curvatures, in units of `scale`.
    fn local_shape(&self, point_mm: [f64; 3], scale: Vector3<f64>) -> LocalShape {
        let view = self.pupil.seen_from(point_mm);
        let per_nm = TAU / self.scale.wavelength_nm;
        let turn = per_nm * NM_PER_MM;
        // U = sum A e^(i k W), and its derivatives; dW = -m.dP. Lines are taken about the first one.
        let (mut re, mut im) = (0.0, 0.0);
        let (mut re1, mut im1) = (Vector3::zeros(), Vector3::zeros());
        let (mut re2, mut im2) = (Matrix3::zeros(), Matrix3::zeros());
        for i in 0..self.pupil.len() {
            let light = self.pupil.weight[i] * self.pupil.amplitude[i];
            let (s, c) = (per_nm * (view.path_nm[i] - view.path_nm[0])).sin_cos();
            let (s, c) = (light * s, light * c);
            let q = Vector3::from_fn(|a, _| -turn * (view.toward[i][a] - view.toward[0][a]) * scale[a]);
            re += c;
            im += s;
            re1 -= q * s;
            im1 += q * c;
            let qq = q * q.transpose();
            re2 -= qq * c;
            im2 -= qq * s;
        }
        let gradient = 2.0 * (re1 * re + im1 * im);
        let curvature = 2.0 * (re2 * re + im2 * im + re1 * re1.transpose() + im1 * im1.transpose());
        let brightness = re * re + im * im;
        LocalShape { brightness, gradient: gradient / brightness, curvature: curvature / brightness }
    }
}

/// The brightness around a point, relative to the brightness there.
#[derive(Clone, Copy)]
struct LocalShape {
    brightness: f64,
    gradient: Vector3<f64>,
    curvature: Matrix3<f64>,
}

impl LocalShape {
    /// Newton's step, turned uphill where the brightness curves upward; never more than a quarter of the scale.
    fn newton_step(&self) -> Vector3<f64> {
        let eigen = self.curvature.symmetric_eigen();
        let flattest = 1e-3 * eigen.eigenvalues.amax();
        let along = eigen.eigenvectors.transpose() * self.gradient;
        let step = Vector3::from_fn(|i, _| along[i] / eigen.eigenvalues[i].abs().max(flattest));
        let step = eigen.eigenvectors * step;
        let longest = step.amax();
        if longest > 0.25 { step * (0.25 / longest) } else { step }
    }
}

fn best_first(points: &mut [(f64, [f64; 3])]) {
    points.sort_by(|a, b| b.0.total_cmp(&a.0));
}
