//! What stops the light: each part as a sign function over the mirror.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::fold::{Disc, Face, Fold, Vector};
use super::mirror::length;
use super::ray::{Ray, StarBeam};
use crate::model::Train;

/// A part of the train that stops light, in the order in which light meets them.
///
/// Those beyond the diagonal are met in the order of their distances from the tube's axis, which in a train may be
/// another one: a drawtube that is racked in beyond the board is met before it.
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
    /// The hole in the board that carries the focuser.
    FocuserBoard,
    /// The drawtube's end nearer to the axis.
    DrawtubeInnerEnd,
    /// The drawtube's end nearer to the eye.
    DrawtubeOuterEnd,
    /// The clear opening of a filter or an adapter.
    FilterRing,
    /// The rectangular opening before a sensor.
    SensorMask,
}

impl Part {
    /// All parts, in the order in which light meets them.
    pub const ALL: [Self; 12] = [
        Self::FrontOpening,
        Self::DiagonalShadow,
        Self::Holder,
        Self::Spider,
        Self::Mask,
        Self::MirrorClips,
        Self::Diagonal,
        Self::FocuserBoard,
        Self::DrawtubeInnerEnd,
        Self::DrawtubeOuterEnd,
        Self::FilterRing,
        Self::SensorMask,
    ];

    /// Whether light meets the part after the flat, in the focuser.
    pub(crate) fn is_beyond_the_flat(self) -> bool {
        self > Self::Diagonal
    }

    /// Whether the part is an opening that something else could widen, and no body that stands in the light of every
    /// star (the shadows, vanes, clips), nor the mask.
    pub(crate) fn is_opening(self) -> bool {
        !matches!(self, Self::DiagonalShadow | Self::Holder | Self::Spider | Self::Mask | Self::MirrorClips)
    }

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
            Self::FocuserBoard => "focuser_board",
            Self::DrawtubeInnerEnd => "drawtube_inner_end",
            Self::DrawtubeOuterEnd => "drawtube_outer_end",
            Self::FilterRing => "filter_ring",
            Self::SensorMask => "sensor_mask",
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
            Self::FocuserBoard => "focuser board's hole",
            Self::DrawtubeInnerEnd => "drawtube's inner end",
            Self::DrawtubeOuterEnd => "drawtube's outer end",
            Self::FilterRing => "filter ring",
            Self::SensorMask => "sensor mask",
        })
    }
}

/// A part made ready: an opening that light must pass inside of, or a body (the shadows) that it must pass outside of.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stop {
    pub(crate) part: Part,
    radius_mm: f64,
    place: Place,
}

/// Where the part lies, and what it is there: a circle unless said.
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
    /// A flat of some thickness, or out of its place: the circle of its glass, drawn along its rim to its back.
    GlassOnTheWayDown { face: Face, back_mm: Vector },
    /// The face of a flat out of its place, met by the light from the mirror.
    FaceOnTheWayUp { face: Face },
    /// Across the light from the mirror, at this unfolded height.
    Beyond { height_mm: f64 },
    /// The same behind a flat out of its place.
    BeyondTilted { disc: Disc },
    /// A rectangle there: half of its sides, and the sine and cosine of its angle.
    Rectangle { disc: Disc, half_mm: [f64; 2], sin_cos: (f64, f64) },
}

impl Stop {
    /// Whether this is a body that light passes outside of.
    pub(crate) fn is_shadow(&self) -> bool {
        matches!(self.part, Part::DiagonalShadow | Part::Holder)
    }

    /// Radius of the part's own circle, mm; of a rectangle half of its shorter side.
    pub(crate) fn radius_mm(&self) -> f64 {
        self.radius_mm
    }

    /// How far outside of its free space a ray passes the part, mm: positive is stopped.
    ///
    /// Distances lie in the part's own circle, or count from a rectangle's sides.
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
        let size = |[u, v]: [f64; 2]| length(u, v);
        match &self.place {
            Place::Above { height_mm } => above(*height_mm) - self.radius_mm,
            Place::BodyAbove { height_mm } => self.radius_mm - above(*height_mm),
            Place::OnMirror => length(x, y) - self.radius_mm,
            Place::FlatOnTheWayDown { height_mm, offset_mm } => {
                self.radius_mm - on_flat(beam.seen_from(ray.hit_mm).0, *height_mm, *offset_mm)
            }
            Place::FlatOnTheWayUp { height_mm, offset_mm } => {
                on_flat(ray.direction, *height_mm, *offset_mm) - self.radius_mm
            }
            Place::GlassOnTheWayDown { face, back_mm } => {
                let (place, drift) = on_glass(face, *back_mm, ray, beam);
                self.radius_mm - size(from_segment(place, drift).0)
            }
            Place::FaceOnTheWayUp { face } => {
                size(face.crossed_by(ray.hit_mm, ray.direction)) - self.radius_mm
            }
            Place::Beyond { height_mm } => at_height(*height_mm) - self.radius_mm,
            Place::BeyondTilted { disc } => size(disc.crossed_by(ray.hit_mm, ray.direction)) - self.radius_mm,
            Place::Rectangle { disc, half_mm, sin_cos } => {
                let [u, v] = in_rectangle(disc, *sin_cos, ray);
                (u.abs() - half_mm[0]).max(v.abs() - half_mm[1])
            }
        }
    }

    /// Which side of the part a ray passes nearest to: 0 for a circle; 0 to 3 for a rectangle (its far and near sides
    /// along, then across); 0 to 2 for glass of some thickness (beside its face, its rim, its back).
    ///
    /// Where it changes along the part's edge, the edge has a corner or bends differently.
    #[inline]
    pub(crate) fn side(&self, ray: &Ray, beam: &StarBeam) -> usize {
        match &self.place {
            Place::GlassOnTheWayDown { face, back_mm } => {
                let (place, drift) = on_glass(face, *back_mm, ray, beam);
                from_segment(place, drift).1
            }
            Place::Rectangle { disc, half_mm, sin_cos } => {
                let [u, v] = in_rectangle(disc, *sin_cos, ray);
                if u.abs() - half_mm[0] >= v.abs() - half_mm[1] {
                    usize::from(u < 0.0)
                } else {
                    2 + usize::from(v < 0.0)
                }
            }
            _ => 0,
        }
    }

    /// Whether the part is no plain circle, so that its edge may have corners.
    pub(crate) fn has_sides(&self) -> bool {
        match &self.place {
            Place::GlassOnTheWayDown { back_mm, .. } => back_mm.iter().any(|b| *b != 0.0),
            Place::Rectangle { .. } => true,
            _ => false,
        }
    }
}

/// The smooth lines that bound a part: what an integral over the pupil must not run across.
impl Stop {
    /// How many there are: one for a circle, the sides of a rectangle, the two circles and the two sides of thick
    /// glass.
    pub(crate) fn edges(&self, beam: &StarBeam) -> usize {
        match &self.place {
            Place::Rectangle { .. } => 4,
            Place::GlassOnTheWayDown { face, back_mm } => {
                let drift = face.drift_mm(*back_mm, beam.towards);
                // A drift that no number tells from none leaves one circle.
                if length(drift[0], drift[1]) > 1e-9 * self.radius_mm { 4 } else { 1 }
            }
            _ => 1,
        }
    }

    /// A function of one sign on either side of an edge and nearly a parabola along any line: mm^2 for circles, mm for
    /// lines.
    pub(crate) fn beyond_edge(&self, edge: usize, ray: &Ray, beam: &StarBeam) -> f64 {
        let beyond_circle = |[u, v]: [f64; 2]| u * u + v * v - self.radius_mm * self.radius_mm;
        match &self.place {
            Place::Rectangle { disc, half_mm, sin_cos } => {
                let [u, v] = in_rectangle(disc, *sin_cos, ray);
                [u - half_mm[0], -u - half_mm[0], v - half_mm[1], -v - half_mm[1]][edge.min(3)]
            }
            Place::GlassOnTheWayDown { face, back_mm } => {
                let ([u, v], [du, dv]) = on_glass(face, *back_mm, ray, beam);
                match edge {
                    0 => beyond_circle([u, v]),
                    1 => beyond_circle([u + du, v + dv]),
                    // Beside the line along which the circle was drawn.
                    _ => {
                        let aside = (u * dv - v * du) / length(du, dv);
                        if edge == 2 { aside - self.radius_mm } else { -aside - self.radius_mm }
                    }
                }
            }
            _ => {
                let (excess, radius) = (self.excess_mm(ray, beam), self.radius_mm);
                if self.is_shadow() {
                    excess * (excess - 2.0 * radius)
                } else {
                    excess * (excess + 2.0 * radius)
                }
            }
        }
    }

    /// The part without what makes its edge bend in more than one way: thick glass without its thickness.
    pub(crate) fn core(&self) -> Self {
        match self.place {
            Place::GlassOnTheWayDown { face, .. } => {
                Self { place: Place::GlassOnTheWayDown { face, back_mm: [0.0; 3] }, ..*self }
            }
            _ => *self,
        }
    }
}

/// Where a ray on its way down passes the flat's face, and how far from there the shadow of its back lies.
#[inline]
fn on_glass(face: &Face, back_mm: Vector, ray: &Ray, beam: &StarBeam) -> ([f64; 2], [f64; 2]) {
    let (towards, _) = beam.seen_from(ray.hit_mm);
    (face.crossed_by(ray.hit_mm, towards), face.drift_mm(back_mm, towards))
}

/// The smallest of the vectors place + s drift, s from 0 to 1, and where it lies: at the start, between, at the end.
#[inline]
fn from_segment(place: [f64; 2], drift: [f64; 2]) -> ([f64; 2], usize) {
    let square = drift[0] * drift[0] + drift[1] * drift[1];
    let share = -(place[0] * drift[0] + place[1] * drift[1]);
    if share <= 0.0 {
        return (place, 0);
    }
    let (s, side) = if share < square { (share / square, 1) } else { (1.0, 2) };
    ([place[0] + s * drift[0], place[1] + s * drift[1]], side)
}

/// Where a ray passes a rectangle, in its own directions.
#[inline]
fn in_rectangle(disc: &Disc, (sin, cos): (f64, f64), ray: &Ray) -> [f64; 2] {
    let [along, across] = disc.crossed_by(ray.hit_mm, ray.direction);
    [along * cos + across * sin, across * cos - along * sin]
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
            Place::GlassOnTheWayDown { .. }
            | Place::FaceOnTheWayUp { .. }
            | Place::BeyondTilted { .. }
            | Place::Rectangle { .. } => return None,
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
        let place = if fold.is_misplaced() || fold.is_thick() {
            Place::GlassOnTheWayDown { face: fold.face(), back_mm: fold.back_mm() }
        } else {
            Place::FlatOnTheWayDown { height_mm, offset_mm }
        };
        add(Part::DiagonalShadow, fold.glass_mm, place);
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
        let place = if fold.is_misplaced() {
            Place::FaceOnTheWayUp { face: fold.face() }
        } else {
            Place::FlatOnTheWayUp { height_mm, offset_mm }
        };
        add(Part::Diagonal, fold.minor_axis_mm, place);
        stops.extend(beyond(train, fold));
    }
    stops
}

/// The stops between the flat and the focal plane, the nearest to the flat first; what lies beyond the focus stops
/// nothing.
fn beyond(train: &Train, fold: Fold) -> Vec<Stop> {
    let focal_mm = train.primary().focal_length_mm;
    let mut found = Vec::new();
    // Heights in the unfolded space of a flat in its place: from there on the order is that of the distances.
    let mut add = |part, diameter_mm: f64, height_mm: f64| {
        let place = if fold.is_misplaced() {
            Place::BeyondTilted { disc: fold.beyond(height_mm - fold.height_mm) }
        } else {
            Place::Beyond { height_mm }
        };
        found.push((height_mm, Stop { part, radius_mm: diameter_mm / 2.0, place }));
    };
    if let Some(board) = train.focuser_board() {
        let height_mm = fold.height_mm + board.axis_to_board_mm;
        if height_mm < focal_mm {
            add(Part::FocuserBoard, board.hole_mm, height_mm);
        }
    }
    if let Some(tube) = train.drawtube() {
        let outer_mm = focal_mm - tube.outer_end_to_focus_mm;
        let inner_mm = outer_mm - tube.length_mm;
        // A straight bore stops at its ends, or where the image cuts it short; beyond the focus it stops nothing.
        if inner_mm < focal_mm {
            add(Part::DrawtubeInnerEnd, tube.bore_mm, inner_mm);
            add(Part::DrawtubeOuterEnd, tube.bore_mm, outer_mm.min(focal_mm));
        }
    }
    if let Some(ring) = train.filter_ring() {
        add(Part::FilterRing, ring.diameter_mm, focal_mm - ring.before_focus_mm);
    }
    if let Some(mask) = train.sensor_mask() {
        let height_mm = focal_mm - mask.before_focus_mm;
        let half_mm = [mask.along_mm / 2.0, mask.across_mm / 2.0];
        let place = Place::Rectangle {
            disc: fold.beyond(height_mm - fold.height_mm),
            half_mm,
            sin_cos: mask.rotation_deg.to_radians().sin_cos(),
        };
        found
            .push((height_mm, Stop { part: Part::SensorMask, radius_mm: half_mm[0].min(half_mm[1]), place }));
    }
    // Parts at one distance keep the order of `Part`.
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found.into_iter().map(|(_, stop)| stop).collect()
}
