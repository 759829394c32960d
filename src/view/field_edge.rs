//! The edge of a field: how bright, how sharp.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::model::{Primary, Train};
use crate::trace::{Part, Prepared, limiting, magnitudes};

/// A part whose share grows by less than this from the middle to the edge does not dim the edge.
const LEAST_GROWTH: f64 = 1e-8;

/// How bright the edge of a field is.
///
/// Units: shares of the light in the middle of the field; an edge is the circle of one radius, or the
/// four corners of a sensor.
///
/// ```
/// use catoptric::{Eyepiece, EyepieceOptions, FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0))).build()?;
/// let facts = Prepared::new(&train).behind(&Eyepiece::new(20.0, 24.0), EyepieceOptions::default())?;
/// let edge = facts.edge_light.expect("light arrives");
/// assert!((edge.worst - 1.0).abs() < 1e-9 && edge.dimmed_by.is_none(), "nothing dims the field of a bare mirror");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EdgeLight {
    /// The darkest point.
    pub worst: f64,
    /// The mean.
    pub mean: f64,
    /// The brightest point.
    pub best: f64,
    /// The opening whose share grows most from the middle to the edge, for the mean of its points; none where nothing
    /// dims the edge. What limits, there and in the middle, says [`crate::Light::limited_by`].
    pub dimmed_by: Option<Part>,
    /// Estimated error of the shares.
    pub error_estimate: f64,
}

impl EdgeLight {
    /// Magnitudes lost at the darkest point; none where no light arrives.
    ///
    /// ```
    /// let edge = catoptric::EdgeLight { worst: 0.5, mean: 0.7, best: 0.8, dimmed_by: None, error_estimate: 0.0 };
    /// assert!((edge.worst_magnitudes().expect("half of it") - 0.752_574_989).abs() < 1e-9); // 2.5 log10 2
    /// ```
    pub fn worst_magnitudes(&self) -> Option<f64> {
        lost(self.worst)
    }

    /// Magnitudes lost in the mean; none where no light arrives.
    ///
    /// ```
    /// let edge = catoptric::EdgeLight { worst: 0.0, mean: 0.0, best: 0.0, dimmed_by: None, error_estimate: 0.0 };
    /// assert_eq!(edge.mean_magnitudes(), None);
    /// ```
    pub fn mean_magnitudes(&self) -> Option<f64> {
        lost(self.mean)
    }

    /// The edge at a radius of the field, mm; none where the middle is dark.
    pub(crate) fn at_radius(prepared: &Prepared, radius_mm: f64) -> Result<Option<Self>> {
        let light = match prepared.illumination_at_radii(&[0.0, radius_mm]) {
            Ok(light) => light,
            Err(Error::NoLight { .. }) => return Ok(None),
            Err(other) => return Err(other),
        };
        let growths = light.stopped.iter().map(|(part, shares)| (*part, shares[1] - shares[0]));
        Ok(Some(Self {
            worst: light.worst[1],
            mean: light.mean[1],
            best: light.best[1],
            dimmed_by: limiting(growths.filter(|(_, growth)| *growth > LEAST_GROWTH)),
            error_estimate: light.error_estimate,
        }))
    }

    /// The edge as some points of the field, mm, and which of them is the brightest; none where the middle is dark.
    pub(super) fn at_points(
        prepared: &Prepared,
        along_mm: &[f64],
        across_mm: &[f64],
    ) -> Result<Option<(Self, usize)>> {
        let middle = |places: &[f64]| -> Vec<f64> { [0.0].into_iter().chain(places.to_vec()).collect() };
        let light = match prepared.illumination(&middle(along_mm), &middle(across_mm)) {
            Ok(light) => light,
            Err(Error::NoLight { .. }) => return Ok(None),
            Err(other) => return Err(other),
        };
        let edge = &light.relative[1..];
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let growths = light.stopped.iter().map(|(part, shares)| (*part, mean(&shares[1..]) - shares[0]));
        let brightest = (0..edge.len()).max_by(|a, b| edge[*a].total_cmp(&edge[*b])).unwrap_or(0);
        let this = Self {
            worst: edge.iter().copied().fold(f64::INFINITY, f64::min),
            mean: mean(edge),
            best: edge[brightest],
            dimmed_by: limiting(growths.filter(|(_, growth)| *growth > LEAST_GROWTH)),
            error_estimate: light.error_estimate,
        };
        Ok(Some((this, brightest)))
    }
}

/// A share of the light as magnitudes lost; none where it is dark.
fn lost(share: f64) -> Option<f64> {
    (share > 0.0).then(|| magnitudes(share))
}

/// How sharp the edge of a field is, by exact rays, the middle being in focus.
///
/// The middle's focus is the plane of its least spot; lengths are those of the spot in the flat plane through it. Where
/// no light arrives, in the middle or at the edge, they are those of the mirror with nothing in its way.
///
/// Units: um in the focal plane; mm.
/// Leaves out: diffraction; the lean of the focal plane behind a flat out of its place ([`Prepared::image_shift`] has
/// it), though the star is the one whose light meets the point.
///
/// ```
/// use catoptric::{Eyepiece, EyepieceOptions, FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(250.0, FocalLengthMm(1250.0))).build()?;
/// // A stop whose edge lies 15 arcmin from the axis.
/// let eyepiece = Eyepiece::new(10.0, 2.0 * 1250.0 * (0.25_f64).to_radians().tan());
/// let edge = Prepared::new(&train).behind(&eyepiece, EyepieceOptions::default())?.edge_spot;
/// assert!((edge.coma_um - 41.044_162).abs() < 1e-4); // exact trace in 40 digits, own computation
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EdgeSpot {
    /// Tangential coma, um: the two rim rays in the plane of the field less the ray by the vertex; positive away from
    /// the axis.
    pub coma_um: f64,
    /// Root of the mean squared distance from the centroid, um: coma, astigmatism and curvature together.
    pub rms_radius_um: f64,
    /// Length of the spot away from the axis, um.
    pub length_um: f64,
    /// RMS radius where the edge itself is brought to its least spot, um: what refocusing leaves.
    pub refocused_rms_radius_um: f64,
    /// From the middle's plane of least spot to the edge's, mm; negative: the edge's lies nearer to the primary.
    pub defocus_mm: f64,
    /// Estimated error of the RMS radius, um.
    pub error_um: f64,
    /// Whether no light arrives, so that these numbers are those of the mirror alone.
    pub of_bare_mirror: bool,
}

/// The focus shift of the middle's least spot, mm; none where the middle is dark.
#[derive(Clone, Copy, Debug)]
pub(super) struct MiddleFocus(Option<f64>);

impl MiddleFocus {
    pub(super) fn of(prepared: &Prepared) -> Result<Self> {
        match prepared.least_spot_shift_mm(prepared.field_of_image(0.0, 0.0)) {
            Err(Error::NoLight { .. }) => Ok(Self(None)),
            other => Ok(Self(Some(other?))),
        }
    }
}

impl EdgeSpot {
    /// The spot at a point of the field, mm, the middle being in focus.
    pub(super) fn at(
        prepared: &Prepared,
        MiddleFocus(middle_mm): MiddleFocus,
        along_mm: f64,
        across_mm: f64,
    ) -> Result<Self> {
        let traced = middle_mm.map(|middle_mm| Self::traced(prepared, middle_mm, along_mm, across_mm));
        match traced {
            None | Some(Err(Error::NoLight { .. })) => {
                Self::of_mirror(prepared.train().primary(), along_mm, across_mm)
            }
            Some(other) => other,
        }
    }

    /// The same with nothing in the mirror's way.
    pub(super) fn of_mirror(primary: &Primary, along_mm: f64, across_mm: f64) -> Result<Self> {
        let bare = Prepared::new(&Train::builder(primary.clone()).build()?);
        let middle_mm = bare.least_spot_shift_mm(bare.field_of_image(0.0, 0.0))?;
        Ok(Self { of_bare_mirror: true, ..Self::traced(&bare, middle_mm, along_mm, across_mm)? })
    }

    fn traced(prepared: &Prepared, middle_mm: f64, along_mm: f64, across_mm: f64) -> Result<Self> {
        let field = prepared.field_of_image(along_mm, across_mm);
        let edge = prepared.sharpness(field, middle_mm)?;
        Ok(Self {
            coma_um: edge.tangential_coma_um,
            rms_radius_um: edge.rms_radius_um,
            length_um: edge.tangential_extent_um,
            refocused_rms_radius_um: edge.least_rms_radius_um,
            defocus_mm: edge.least_spot_shift_mm - middle_mm,
            error_um: edge.error_um,
            of_bare_mirror: false,
        })
    }
}
