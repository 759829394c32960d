//! What stops the light: each part as a sign function over the mirror.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::fold::Fold;
use super::mirror::length;
use super::ray::{Ray, StarBeam};
use crate::model::Train;

/// A part of the train that stops light, in the order in which light meets them.
///
/// ```
/// assert_eq!(catoptric::Part::DiagonalShadow.to_string(), "diagonal's shadow");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Part {
    /// The opening in front of the mirror.
    FrontOpening,
    /// The diagonal, seen by the light on its way down.
    DiagonalShadow,
    /// The diagonal's holder, where it stands out from behind the diagonal.
    Holder,
    /// The vanes of the spider, outside of both shadows.
    Spider,
    /// The mask over the mirror.
    Mask,
    /// The clips over the mirror's rim.
    MirrorClips,
    /// The diagonal's rim, passed by light on its way up.
    Diagonal,
    /// The drawtube's end nearer to the axis.
    DrawtubeInnerEnd,
    /// The drawtube's end nearer to the eye.
    DrawtubeOuterEnd,
}

impl Part {
    /// All parts, in the order in which light meets them.
    pub const ALL: [Self; 9] = [
        Self::FrontOpening,
        Self::DiagonalShadow,
        Self::Holder,
        Self::Spider,
        Self::Mask,
        Self::MirrorClips,
        Self::Diagonal,
        Self::DrawtubeInnerEnd,
        Self::DrawtubeOuterEnd,
    ];

    /// The part's name as files and tables write it.
    ///
    /// ```
    /// assert_eq!(catoptric::Part::FrontOpening.key(), "front_opening");
    /// ```
    pub fn key(self) -> &'static str {
        match self {
            Self::FrontOpening => "front_opening",
            Self::DiagonalShadow => "diagonal_shadow",
            Self::Holder => "holder",
            Self::Spider => "spider",
            Self::Mask => "mask",
            Self::MirrorClips => "mirror_clips",
            Self::Diagonal => "diagonal",
            Self::DrawtubeInnerEnd => "drawtube_inner_end",
            Self::DrawtubeOuterEnd => "drawtube_outer_end",
        }
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::FrontOpening => "front opening",
            Self::DiagonalShadow => "diagonal's shadow",
            Self::Holder => "holder",
            Self::Spider => "spider",
            Self::Mask => "mask",
            Self::MirrorClips => "mirror clips",
            Self::Diagonal => "diagonal too small",
            Self::DrawtubeInnerEnd => "drawtube's inner end",
            Self::DrawtubeOuterEnd => "drawtube's outer end",
        })
    }
}

/// A part made ready: a circle that light must pass inside of, or (the shadow) outside of.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stop {
    pub(crate) part: Part,
    radius_mm: f64,
    place: Place,
}

/// Where the circle lies.
#[derive(Clone, Copy, Debug)]
enum Place {
    /// Across the light on its way down, at this height.
    Above { height_mm: f64 },
    /// The same, around a body that light must pass outside of.
    BodyAbove { height_mm: f64 },
    /// On the mirror.
    OnMirror,
    /// On the flat's plane x = z - height; the face's centre is moved by (-offset, -offset) in x and z.
    /// Seen along either axis the tilted ellipse is a circle.
    FlatOnTheWayDown { height_mm: f64, offset_mm: f64 },
    /// The same, met by the light from the mirror.
    FlatOnTheWayUp { height_mm: f64, offset_mm: f64 },
    /// Across the light from the mirror, at this unfolded height.
    Beyond { height_mm: f64 },
}

impl Stop {
    /// Whether this is a body that light passes outside of.
    pub(crate) fn is_shadow(&self) -> bool {
        matches!(self.part, Part::DiagonalShadow | Part::Holder)
    }

    /// Radius of the part's own circle, mm.
    pub(crate) fn radius_mm(&self) -> f64 {
        self.radius_mm
    }

    /// How far outside of its free space a ray passes the part, mm: positive is stopped.
    ///
    /// Distances lie in the part's own circle.
    #[inline]
    pub(crate) fn excess_mm(&self, ray: &Ray, beam: &StarBeam) -> f64 {
        let [x, y, z] = ray.hit_mm;
        let at_height = |height: f64| {
            let t = (height - z) / ray.direction[2];
            length(x + ray.direction[0] * t, y + ray.direction[1] * t)
        };
        let above = |height: f64| {
            let [x, y] = beam.above(ray.hit_mm, height);
            length(x, y)
        };
        let on_flat = |direction: [f64; 3], height: f64, offset: f64| {
            let t = (x - z + height) / (direction[2] - direction[0]);
            length(x + direction[0] * t + offset, y + direction[1] * t)
        };
        match self.place {
            Place::Above { height_mm } => above(height_mm) - self.radius_mm,
            Place::BodyAbove { height_mm } => self.radius_mm - above(height_mm),
            Place::OnMirror => length(x, y) - self.radius_mm,
            Place::FlatOnTheWayDown { height_mm, offset_mm } => {
                self.radius_mm - on_flat(beam.seen_from(ray.hit_mm).0, height_mm, offset_mm)
            }
            Place::FlatOnTheWayUp { height_mm, offset_mm } => {
                on_flat(ray.direction, height_mm, offset_mm) - self.radius_mm
            }
            Place::Beyond { height_mm } => at_height(height_mm) - self.radius_mm,
        }
    }
}

/// A stop as a circle in a plane, for kernels that take many rays at once.
///
/// The plane is z = `height_mm` + `tilt` x; the circle is seen along the axis, its centre at x = -`offset_mm`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Circle {
    pub(crate) met: Met,
    pub(crate) tilt: f64,
    pub(crate) height_mm: f64,
    pub(crate) offset_mm: f64,
    pub(crate) radius_mm: f64,
}

/// Where on its way light meets a circle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Met {
    /// Before the mirror.
    Down,
    /// On the mirror.
    Mirror,
    /// After the mirror.
    Up,
}

impl Stop {
    /// The stop as a circle in a plane; nothing where it is more than that.
    pub(crate) fn circle(&self) -> Option<Circle> {
        let (met, tilt, height_mm, offset_mm) = match self.place {
            Place::Above { height_mm } | Place::BodyAbove { height_mm } => (Met::Down, 0.0, height_mm, 0.0),
            Place::OnMirror => (Met::Mirror, 0.0, 0.0, 0.0),
            Place::FlatOnTheWayDown { height_mm, offset_mm } => (Met::Down, 1.0, height_mm, offset_mm),
            Place::FlatOnTheWayUp { height_mm, offset_mm } => (Met::Up, 1.0, height_mm, offset_mm),
            Place::Beyond { height_mm } => (Met::Up, 0.0, height_mm, 0.0),
        };
        Some(Circle { met, tilt, height_mm, offset_mm, radius_mm: self.radius_mm })
    }
}

/// The stops of a train, in the order in which light meets them.
pub(crate) fn stops(train: &Train, fold: Option<Fold>) -> Vec<Stop> {
    let focal_mm = train.primary().focal_length_mm;
    let mut stops = Vec::new();
    let mut add =
        |part, diameter_mm: f64, place| stops.push(Stop { part, radius_mm: diameter_mm / 2.0, place });
    if let Some(opening) = train.front_opening() {
        add(Part::FrontOpening, opening.diameter_mm, Place::Above { height_mm: opening.above_vertex_mm });
    }
    if let Some(fold) = fold {
        let (height_mm, offset_mm) = (fold.height_mm, fold.offset_mm);
        add(Part::DiagonalShadow, fold.minor_axis_mm, Place::FlatOnTheWayDown { height_mm, offset_mm });
    }
    if let Some(holder) = train.holder() {
        // Either it states its height, or the diagonal gives one: the train's check.
        let height_mm = holder.above_vertex_mm.or(fold.map(|f| f.height_mm)).unwrap_or(focal_mm);
        add(Part::Holder, holder.diameter_mm, Place::BodyAbove { height_mm });
    }
    if let Some(mask_mm) = train.primary().mask_diameter_mm {
        add(Part::Mask, mask_mm, Place::OnMirror);
    }
    if let Some(fold) = fold {
        let (height_mm, offset_mm) = (fold.height_mm, fold.offset_mm);
        add(Part::Diagonal, fold.minor_axis_mm, Place::FlatOnTheWayUp { height_mm, offset_mm });
    }
    if let Some(tube) = train.drawtube() {
        let outer_mm = focal_mm - tube.outer_end_to_focus_mm;
        let inner_mm = outer_mm - tube.length_mm;
        // A straight bore stops at its ends, or where the image cuts it short; beyond the focus it stops nothing.
        if inner_mm < focal_mm {
            add(Part::DrawtubeInnerEnd, tube.bore_mm, Place::Beyond { height_mm: inner_mm });
            add(Part::DrawtubeOuterEnd, tube.bore_mm, Place::Beyond { height_mm: outer_mm.min(focal_mm) });
        }
    }
    stops
}
