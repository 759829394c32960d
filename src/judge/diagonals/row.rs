//! One candidate: a size in one train, at one height of the focal plane, with one drawtube.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use super::batch::{DiagonalBatchInput, Place};
use crate::numeric::gauss;
use crate::trace::{Part, Prepared, QuickLight, is_mirrored, limiting, magnitudes};
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM};
use crate::wave::perfect_mtf;

/// A part that stops less than this stops nothing: the error of the fractions.
const NOTHING: f64 = 1e-9;

/// One candidate of a comparison of diagonals.
///
/// Units: mm; shares of the light on the clear aperture unless they are called relative, which is over the middle of the
/// field; magnitudes against the whole mirror without any obstruction.
/// Shapes: `relative_worst` and `relative_mean` have one entry a field radius, over the batch's azimuths; `contrast` has one
/// entry a detail.
/// Source of the contrast: O'Neill 1956, J. Opt. Soc. Am. 46, 285 (overlap areas of circles), over that of the same mirror
/// without obstruction. Where the diagonal cuts the light of the axis the aperture that is left counts, as a circle.
/// Leaves out: in the contrast the figure, vanes, and the shape of a notch; in the throughput scatter.
///
/// ```
/// use catoptric::{Diagonal, DiagonalBatchInput, FocalLengthMm, FocalPlane, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let rows = DiagonalBatchInput::new(vec![train], vec![70.0], vec![0.0, 15.0]).check()?.run()?.rows;
/// assert!((rows[0].on_axis - (1.0 - (70.0_f64 / 318.0).powi(2))).abs() < 1e-9);
/// assert_eq!(rows[0].acts_as_aperture_mm, 318.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DiagonalRow {
    /// Number of the row in the whole batch.
    pub row: usize,
    /// Number of the train.
    pub train: usize,
    /// Number of the drawtube; none: the train's own, or none.
    pub drawtube: Option<usize>,
    /// Minor axis, mm.
    pub minor_axis_mm: f64,
    /// Offset toward the primary and equally away from the focuser, mm.
    pub offset_mm: f64,
    /// Distance from the tube's axis to the focal plane, mm.
    pub axis_to_focus_mm: f64,
    /// Diameter of the shadow over that of the mirror that gathers light.
    pub obstruction_ratio: f64,
    /// Diameter of the circle in the focal plane over which nothing but the shadow takes light, mm; 0 where even the axis is
    /// cut.
    pub fully_lit_diameter_mm: f64,
    /// The part that ends that circle; none where nothing does.
    pub fully_lit_limited_by: Option<Part>,
    /// Share of the light that reaches the middle of the field.
    pub on_axis: f64,
    /// For each radius the darkest azimuth, over the middle of the field; 0 where that is dark.
    pub relative_worst: Vec<f64>,
    /// For each radius the mean over azimuth, over the middle of the field.
    pub relative_mean: Vec<f64>,
    /// The opening that takes most at the edge in its darkest azimuth; which one would return most,
    /// [`crate::Light::limited_by`] tells.
    pub edge_limited_by: Option<Part>,
    /// Share of the light that would reach the darkest azimuth of the edge with the shadow left out.
    pub edge_without_shadow: f64,
    /// Contrast of each detail over that of the mirror without obstruction.
    pub contrast: Vec<f64>,
    /// Share of the power on the clear aperture that reaches the middle of the field, reflectances counted.
    pub throughput: f64,
    /// Light lost in the middle of the field, magnitudes; none where it is dark.
    pub lost_on_axis_magnitudes: Option<f64>,
    /// Light lost in the darkest azimuth of the edge, magnitudes; none where it is dark.
    pub lost_at_edge_magnitudes: Option<f64>,
    /// Whether a part cuts the light of the axis itself.
    pub clipped_axis: bool,
    /// Diameter of the circle of the same area as what the parts leave of the mirror for the axis, the shadow filled, mm.
    pub acts_as_aperture_mm: f64,
    /// What it costs, where that was told.
    pub price: Option<f64>,
    /// Estimated error of the shares.
    pub error_estimate: f64,
}

/// The light of one field point.
#[derive(Clone, Copy)]
struct Seen {
    lit: f64,
    without_shadow: f64,
    /// With vanes and clips left out as well; good where no opening cuts into what they hide.
    without_bodies: f64,
    limited_by: Option<Part>,
    error: f64,
}

/// A train ready to be looked at: fast where it can be.
struct Viewer {
    prepared: Prepared,
    quick: Option<QuickLight>,
}

impl Viewer {
    fn see(&self, along_mm: f64, across_mm: f64) -> Seen {
        if let Some(answer) = self.quick.and_then(|q| q.light_at(along_mm, across_mm)) {
            return Seen {
                lit: answer.lit_fraction,
                without_shadow: answer.lit_without_shadow,
                without_bodies: answer.lit_without_shadow,
                limited_by: limiting(answer.stopped().filter(|(_, share)| *share > NOTHING)),
                error: answer.error_estimate,
            };
        }
        let light = self.prepared.light(self.prepared.field_of_image(along_mm, across_mm));
        // The middle of the mirror is theirs alone: without them all that they take goes on.
        let bodies = light.stopped.iter().filter(|s| !s.part.is_opening() && s.part != Part::Mask);
        Seen {
            lit: light.lit_fraction,
            without_shadow: light.lit_without_shadow(),
            without_bodies: light.lit_fraction + bodies.map(|s| s.fraction).sum::<f64>(),
            limited_by: limiting(
                light.stopped.iter().map(|s| (s.part, s.fraction)).filter(|(_, share)| *share > NOTHING),
            ),
            error: light.error_estimate,
        }
    }
}

/// Light over azimuth at one radius.
struct Around {
    worst: Seen,
    mean: f64,
    error: f64,
}

impl DiagonalRow {
    pub(super) fn new(input: &DiagonalBatchInput, place: Place, prepared: Prepared) -> Self {
        let quick = QuickLight::new(&prepared);
        let viewer = Viewer { prepared, quick };
        let prepared = &viewer.prepared;
        let symmetric = is_mirrored(prepared);
        let axis = viewer.see(0.0, 0.0);
        let mut error_estimate = axis.error;
        let (mut worst, mut mean) = (Vec::new(), Vec::new());
        let relative = |share: f64| if axis.lit > 0.0 { share / axis.lit } else { 0.0 };
        let (edge_place, mut edge) = (input.edge(), axis);
        for (i, &radius_mm) in input.field_radius_mm.iter().enumerate() {
            let around = around(&viewer, radius_mm, input.azimuths, symmetric, axis);
            worst.push(relative(around.worst.lit));
            mean.push(relative(around.mean));
            error_estimate = around.error.max(error_estimate);
            if i == edge_place {
                edge = around.worst;
            }
        }
        let (fully_lit_diameter_mm, fully_lit_limited_by) = fully_lit(&viewer);
        let aperture_mm = prepared.clear_radius_mm() * 2.0;
        let open_mm = prepared.train().primary().open_diameter_mm();
        let minor_axis_mm = input.minor_axis_mm[place.size];
        // A mask is the mirror's own size, and stops nothing that it silently becomes.
        let acts_as = aperture_mm * axis.without_bodies.max(0.0).sqrt();
        let clipped_axis = acts_as < open_mm * (1.0 - 10.0 * NOTHING);
        let acts_as_aperture_mm = if clipped_axis { acts_as } else { open_mm };
        let shadow_mm = prepared.obstruction_ratio() * open_mm;
        let wavelength_mm = input.wavelength_nm / NM_PER_MM;
        let contrast = input.detail_arcsec.iter().map(|detail| {
            let frequency = wavelength_mm * ARCSEC_PER_RADIAN / (detail * open_mm);
            contrast(frequency, open_mm, acts_as_aperture_mm, shadow_mm)
        });
        let reflectance = mean_reflectance(prepared, shadow_mm / 2.0, acts_as_aperture_mm / 2.0);
        let lost = |share: f64| (share > 0.0).then(|| magnitudes(share));
        Self {
            row: place.row,
            train: place.train,
            drawtube: place.drawtube,
            minor_axis_mm,
            offset_mm: prepared.diagonal_offset_mm().unwrap_or(0.0),
            axis_to_focus_mm: place.axis_to_focus_mm,
            obstruction_ratio: prepared.obstruction_ratio(),
            fully_lit_diameter_mm,
            fully_lit_limited_by,
            on_axis: axis.lit,
            relative_worst: worst,
            relative_mean: mean,
            edge_limited_by: edge.limited_by,
            edge_without_shadow: edge.without_shadow,
            contrast: contrast.collect(),
            throughput: axis.lit * reflectance,
            lost_on_axis_magnitudes: lost(axis.lit),
            lost_at_edge_magnitudes: lost(edge.lit),
            clipped_axis,
            acts_as_aperture_mm,
            price: input.price.get(place.size).copied(),
            error_estimate,
        }
    }

    /// Contrast over that of the unobstructed mirror at a share of its cut-off.
    pub(super) fn contrast_at(&self, frequency_ratio: f64, open_mm: f64) -> f64 {
        let shadow_mm = self.obstruction_ratio * open_mm;
        contrast(frequency_ratio, open_mm, self.acts_as_aperture_mm, shadow_mm)
    }

    /// Share of the light that reaches the darkest azimuth of a radius, by its number.
    pub fn absolute_worst(&self, radius: usize) -> f64 {
        self.relative_worst[radius] * self.on_axis
    }

    /// Share of the light at a radius, the mean over azimuth, by its number.
    pub fn absolute_mean(&self, radius: usize) -> f64 {
        self.relative_mean[radius] * self.on_axis
    }
}

/// The darkest and the mean azimuth of a radius. Azimuths count from along; where both sides of the focuser's plane are alike
/// one of them is looked at.
fn around(viewer: &Viewer, radius_mm: f64, azimuths: usize, symmetric: bool, axis: Seen) -> Around {
    if radius_mm == 0.0 {
        return Around { worst: axis, mean: axis.lit, error: axis.error };
    }
    let looked_at = if symmetric { azimuths / 2 + 1 } else { azimuths };
    let (mut worst, mut sum, mut error) = (axis, 0.0, 0.0_f64);
    for i in 0..looked_at {
        let (sin, cos) = (TAU * i as f64 / azimuths as f64).sin_cos();
        let seen = viewer.see(radius_mm * cos, radius_mm * sin);
        let alone = !symmetric || i == 0 || 2 * i == azimuths;
        sum += if alone { seen.lit } else { 2.0 * seen.lit };
        error = error.max(seen.error);
        if i == 0 || seen.lit < worst.lit {
            worst = seen;
        }
    }
    Around { worst, mean: sum / azimuths as f64, error }
}

/// The fully lit circle of the whole train, and the part that ends it.
fn fully_lit(viewer: &Viewer) -> (f64, Option<Part>) {
    if let Some(circle) = viewer.quick.map(|q| q.lit_circle()) {
        return (circle.diameter_mm, circle.limited_by);
    }
    let prepared = &viewer.prepared;
    // Vanes, clips and a holder take no part in it; a figure moves its edge by some tenths of a millimetre.
    let circles = QuickLight::of_circles(prepared).filter(|_| prepared.mirror().bare_conic().is_some());
    if let Some(circle) = circles.map(|q| q.lit_circle()) {
        return (circle.diameter_mm, circle.limited_by);
    }
    let circle = prepared.fully_lit_circle();
    (circle.diameter_mm, circle.limited_by)
}

/// Contrast of an aperture with a round shadow over that of the open mirror, at a share of the latter's cut-off; 0 where the
/// shadow leaves next to nothing of the aperture, or the aperture no longer resolves it.
fn contrast(frequency_ratio: f64, open_mm: f64, acts_as_mm: f64, shadow_mm: f64) -> f64 {
    let clear = perfect_mtf(frequency_ratio, 0.0).unwrap_or(0.0);
    let seen = perfect_mtf(frequency_ratio * open_mm / acts_as_mm, shadow_mm / acts_as_mm).unwrap_or(0.0);
    if clear > 0.0 { seen / clear } else { 0.0 }
}

/// Mean reflectance of mirror and flat over a ring of the mirror, at 550 nm: exact for one coating, within about 1e-3 for patches and
/// maps.
fn mean_reflectance(prepared: &Prepared, inner_mm: f64, outer_mm: f64) -> f64 {
    if prepared.coat().is_even() {
        return prepared.reflectance(0.0, 0.0);
    }
    let mut cuts = vec![inner_mm, outer_mm];
    cuts.extend(prepared.coat().cuts_mm());
    cuts.retain(|r| (inner_mm..=outer_mm).contains(r));
    cuts.sort_by(f64::total_cmp);
    let around = if prepared.coat().is_round() { 1 } else { 96 };
    let (mut sum, mut area) = (0.0, 0.0);
    for pair in cuts.windows(2) {
        for (square, weight) in gauss::on_interval(24, pair[0] * pair[0], pair[1] * pair[1]) {
            for i in 0..around {
                let (sin, cos) = (TAU * (f64::from(i) + 0.5) / f64::from(around)).sin_cos();
                let r = square.sqrt();
                sum += weight * prepared.reflectance(r * cos, r * sin);
                area += weight;
            }
        }
    }
    if area > 0.0 { sum / area } else { prepared.reflectance(0.0, 0.0) }
}
