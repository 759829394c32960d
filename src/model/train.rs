//! The train: all parts together, checked.

use serde::{Deserialize, Serialize};

use super::beyond_the_flat::{FilterRing, FocuserBoard, SensorMask};
use super::diagonal::{Diagonal, FocalPlane};
use super::obstructions::{Holder, MirrorClips, Spider, Surroundings};
use super::primary::Primary;
use super::stops::{Drawtube, Opening};
use crate::error::{Error, Findings, Problem, Result};

/// The whole optical train, a description that has passed its checks.
///
/// Every part but the primary may be left out; without a diagonal the light is caught on the axis
/// at the focal length. A train is cheap to copy, to change one part in and to save.
///
/// Units: mm, see the parts.
/// Errors: [`Error::Input`] at construction, with all faults found.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// assert_eq!(Train::from_json(&train.to_json())?, train);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "TrainBuilder", into = "TrainBuilder")]
pub struct Train(TrainBuilder);

/// Collects the parts of a train; [`TrainBuilder::build`] checks them all together.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, Primary, Train};
/// let error = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .build()
///     .unwrap_err();
/// assert!(error.to_string().contains("focal_plane"));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TrainBuilder {
    /// The primary mirror.
    pub primary: Primary,
    /// The flat, if there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub diagonal: Option<Diagonal>,
    /// The focal plane beside the tube; goes with a diagonal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub focal_plane: Option<FocalPlane>,
    /// An opening in front.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub front_opening: Option<Opening>,
    /// The focuser's inner tube; goes with a focal plane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drawtube: Option<Drawtube>,
    /// The vanes that carry the diagonal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spider: Option<Spider>,
    /// The diagonal's holder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub holder: Option<Holder>,
    /// Clips over the mirror's rim.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mirror_clips: Option<MirrorClips>,
    /// The hole in the board that carries the focuser; goes with a focal plane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub focuser_board: Option<FocuserBoard>,
    /// The clear opening of a filter or an adapter; goes with a focal plane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub filter_ring: Option<FilterRing>,
    /// The rectangular opening before a sensor; goes with a focal plane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sensor_mask: Option<SensorMask>,
}

impl Train {
    /// Begins a train with its primary.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, Train};
    /// assert!(Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build().is_ok());
    /// ```
    pub fn builder(primary: Primary) -> TrainBuilder {
        TrainBuilder {
            primary,
            diagonal: None,
            focal_plane: None,
            front_opening: None,
            drawtube: None,
            spider: None,
            holder: None,
            mirror_clips: None,
            focuser_board: None,
            filter_ring: None,
            sensor_mask: None,
        }
    }

    /// The parts, to change some of them and build again.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let mut parts = train.to_parts();
    /// parts.primary.conic = 0.0;
    /// assert_eq!(parts.build()?.primary().conic, 0.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn to_parts(&self) -> TrainBuilder {
        self.0.clone()
    }

    /// The primary mirror.
    pub fn primary(&self) -> &Primary {
        &self.0.primary
    }

    /// The flat, if there is one.
    pub fn diagonal(&self) -> Option<&Diagonal> {
        self.0.diagonal.as_ref()
    }

    /// The focal plane beside the tube, if there is a diagonal.
    pub fn focal_plane(&self) -> Option<&FocalPlane> {
        self.0.focal_plane.as_ref()
    }

    /// The opening in front, if there is one.
    pub fn front_opening(&self) -> Option<&Opening> {
        self.0.front_opening.as_ref()
    }

    /// The focuser's inner tube, if there is one.
    pub fn drawtube(&self) -> Option<&Drawtube> {
        self.0.drawtube.as_ref()
    }

    /// The vanes that carry the diagonal, if there are any.
    pub fn spider(&self) -> Option<&Spider> {
        self.0.spider.as_ref()
    }

    /// The diagonal's holder, if it is given.
    pub fn holder(&self) -> Option<&Holder> {
        self.0.holder.as_ref()
    }

    /// Clips over the mirror's rim, if there are any.
    pub fn mirror_clips(&self) -> Option<&MirrorClips> {
        self.0.mirror_clips.as_ref()
    }

    /// The hole in the board that carries the focuser, if it is given.
    pub fn focuser_board(&self) -> Option<&FocuserBoard> {
        self.0.focuser_board.as_ref()
    }

    /// The clear opening of a filter or an adapter, if there is one.
    pub fn filter_ring(&self) -> Option<&FilterRing> {
        self.0.filter_ring.as_ref()
    }

    /// The rectangular opening before a sensor, if there is one.
    pub fn sensor_mask(&self) -> Option<&SensorMask> {
        self.0.sensor_mask.as_ref()
    }

    /// Warnings that need no geometry; the cone's own come with [`Train::problems`].
    pub(crate) fn warnings(&self) -> Vec<Problem> {
        self.0.findings(None).warnings()
    }
}

impl TrainBuilder {
    /// Adds the flat.
    #[must_use]
    pub fn diagonal(self, diagonal: Diagonal) -> Self {
        Self { diagonal: Some(diagonal), ..self }
    }

    /// Adds the focal plane beside the tube.
    #[must_use]
    pub fn focal_plane(self, focal_plane: FocalPlane) -> Self {
        Self { focal_plane: Some(focal_plane), ..self }
    }

    /// Adds an opening in front.
    #[must_use]
    pub fn front_opening(self, opening: Opening) -> Self {
        Self { front_opening: Some(opening), ..self }
    }

    /// Adds the focuser's inner tube.
    #[must_use]
    pub fn drawtube(self, drawtube: Drawtube) -> Self {
        Self { drawtube: Some(drawtube), ..self }
    }

    /// Adds the vanes that carry the diagonal.
    #[must_use]
    pub fn spider(self, spider: Spider) -> Self {
        Self { spider: Some(spider), ..self }
    }

    /// Adds the diagonal's holder.
    #[must_use]
    pub fn holder(self, holder: Holder) -> Self {
        Self { holder: Some(holder), ..self }
    }

    /// Adds clips over the mirror's rim.
    #[must_use]
    pub fn mirror_clips(self, clips: MirrorClips) -> Self {
        Self { mirror_clips: Some(clips), ..self }
    }

    /// Adds the hole in the board that carries the focuser.
    #[must_use]
    pub fn focuser_board(self, board: FocuserBoard) -> Self {
        Self { focuser_board: Some(board), ..self }
    }

    /// Adds the clear opening of a filter or an adapter.
    #[must_use]
    pub fn filter_ring(self, ring: FilterRing) -> Self {
        Self { filter_ring: Some(ring), ..self }
    }

    /// Adds the rectangular opening before a sensor.
    #[must_use]
    pub fn sensor_mask(self, mask: SensorMask) -> Self {
        Self { sensor_mask: Some(mask), ..self }
    }

    /// The checked train, or every fault found.
    pub fn build(self) -> Result<Train> {
        self.findings(None).refuse()?;
        Ok(Train(self))
    }

    /// The same for parts most of which are those of a checked train: what of the primary is equal is not looked at again,
    /// which for a map takes longer than all the rest.
    pub(crate) fn build_after(self, other: &Train) -> Result<Train> {
        self.findings(Some(other)).refuse()?;
        Ok(Train(self))
    }

    fn findings(&self, sound: Option<&Train>) -> Findings {
        let mut findings = Findings::default();
        let mut primary_is_sound = false;
        let sound = sound.map(Train::primary);
        findings.within("primary", |f| primary_is_sound = self.primary.note_problems_but(sound, f));
        match (&self.diagonal, &self.focal_plane) {
            (Some(_), None) => findings.fault(
                "focal_plane",
                "nothing",
                "a focal plane (axis_to_focus_mm) beside a diagonal",
                "the diagonal stands where the light to the focal plane crosses the axis",
            ),
            (None, Some(_)) => findings.fault(
                "diagonal",
                "nothing",
                "a diagonal (minor_axis_mm) beside a focal plane",
                "without a diagonal the light is caught on the axis, at the focal length",
            ),
            _ => {}
        }
        if self.focal_plane.is_none() {
            let beside = [
                (self.drawtube.is_some(), "a focal plane beside a drawtube"),
                (self.focuser_board.is_some(), "a focal plane beside a focuser board"),
                (self.filter_ring.is_some(), "a focal plane beside a filter ring"),
                (self.sensor_mask.is_some(), "a focal plane beside a sensor mask"),
            ];
            for (_, wanted) in beside.into_iter().filter(|(is_there, _)| *is_there) {
                findings.fault("focal_plane", "nothing", wanted, "");
            }
        }
        // Sizes are judged against the primary, so only beside a primary that can be.
        let (aperture, focal) = if primary_is_sound {
            (self.primary.clear_aperture_mm, self.primary.focal_length_mm)
        } else {
            (f64::INFINITY, f64::INFINITY)
        };
        let aperture_below = if primary_is_sound { aperture } else { 0.0 };
        if let Some(diagonal) = &self.diagonal {
            findings.within("diagonal", |f| diagonal.note_problems(aperture, f));
        }
        if let Some(plane) = &self.focal_plane {
            findings.within("focal_plane", |f| plane.note_problems(aperture_below, focal, f));
        }
        if let (Some(diagonal), Some(plane), true) =
            (&self.diagonal, &self.focal_plane, !findings.has_fault())
        {
            // Below this no light cone passes by the flat to the mirror and back to it.
            let span = focal - aperture * aperture / (16.0 * focal) - plane.axis_to_focus_mm;
            if span <= 0.0 || span * span <= diagonal.minor_axis_mm * (aperture - diagonal.minor_axis_mm) {
                findings.fault(
                    "focal_plane.axis_to_focus_mm",
                    plane.axis_to_focus_mm,
                    "a diagonal that stands well above the mirror",
                    "counted from the mirror instead of from the tube's axis?",
                );
            }
        }
        if let Some(opening) = &self.front_opening {
            findings.within("front_opening", |f| opening.note_problems(aperture_below, f));
        }
        let axis_to_focus = self.focal_plane.map(|p| p.axis_to_focus_mm).filter(|l| l.is_finite());
        if let Some(tube) = &self.drawtube {
            findings.within("drawtube", |f| tube.note_problems(axis_to_focus, f));
        }
        if let Some(board) = &self.focuser_board {
            findings.within("focuser_board", |f| board.note_problems(aperture_below, axis_to_focus, f));
        }
        if let Some(ring) = &self.filter_ring {
            findings.within("filter_ring", |f| ring.note_problems(axis_to_focus, f));
        }
        if let Some(mask) = &self.sensor_mask {
            findings.within("sensor_mask", |f| mask.note_problems(axis_to_focus, f));
        }
        let around = Surroundings {
            clear_aperture_mm: aperture,
            has_diagonal: self.diagonal.is_some() || self.holder.is_some(),
            gives_height: self.diagonal.is_some(),
            is_known: true,
        };
        if let Some(spider) = &self.spider {
            findings.within("spider", |f| spider.note_problems(around, f));
        }
        if let Some(holder) = &self.holder {
            findings.within("holder", |f| holder.note_problems(around, f));
        }
        if let Some(clips) = &self.mirror_clips {
            findings.within("mirror_clips", |f| clips.note_problems(around, f));
        }
        findings
    }
}

impl TryFrom<TrainBuilder> for Train {
    type Error = Error;

    fn try_from(parts: TrainBuilder) -> Result<Self> {
        parts.build()
    }
}

impl From<Train> for TrainBuilder {
    fn from(train: Train) -> Self {
        train.0
    }
}
