//! Where the flat stands, and where what lies beyond it stands in the unfolded space.

use std::f64::consts::FRAC_1_SQRT_2;

use super::cone::Envelope;
use crate::model::{FlatEdge, Misplacement, Train};
use crate::units::RADIANS_PER_ARCMIN;

pub(crate) type Vector = [f64; 3];

/// The flat's place: its plane crosses the axis at `height_mm`, its face is moved by the offset. The rest tells what the glass
/// is around the face, and how far it stands from that place.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fold {
    pub(crate) height_mm: f64,
    pub(crate) minor_axis_mm: f64,
    pub(crate) offset_mm: f64,
    /// Width of the glass as seen along the tube, mm.
    pub(crate) glass_mm: f64,
    thickness_mm: f64,
    edge: Option<FlatEdge>,
    misplaced: Option<Misplacement>,
}

/// The plane of the flat's face in the real space: its centre, its normal toward the light, and the directions of its long and
/// its short axis.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Face {
    pub(crate) centre_mm: Vector,
    pub(crate) normal: Vector,
    pub(crate) long: Vector,
    pub(crate) short: Vector,
}

/// A plane beyond the flat, in the unfolded space: a point of it on the focuser's axis, its normal along the light, and its
/// directions along and across.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Disc {
    pub(crate) centre_mm: Vector,
    pub(crate) normal: Vector,
    pub(crate) along: Vector,
    pub(crate) across: Vector,
}

impl Fold {
    /// The fold of a train that has a diagonal.
    pub(crate) fn of(train: &Train) -> Option<Self> {
        let (diagonal, plane) = (train.diagonal()?, train.focal_plane()?);
        let primary = train.primary();
        let envelope = Envelope::new(primary, plane.axis_to_focus_mm);
        Some(Self {
            height_mm: primary.focal_length_mm - plane.axis_to_focus_mm,
            minor_axis_mm: diagonal.minor_axis_mm,
            offset_mm: diagonal.offset_mm.unwrap_or_else(|| envelope.offset_mm(diagonal.minor_axis_mm)),
            glass_mm: diagonal.minor_axis_mm + 2.0 * diagonal.bevel_mm,
            thickness_mm: diagonal.thickness_mm,
            edge: diagonal.edge.filter(|_| diagonal.thickness_mm > 0.0),
            misplaced: diagonal.misplaced.filter(|m| *m != Misplacement::NONE),
        })
    }

    /// Whether the flat stands anywhere but in its place.
    pub(crate) fn is_misplaced(&self) -> bool {
        self.misplaced.is_some()
    }

    /// Whether the glass has a thickness.
    pub(crate) fn is_thick(&self) -> bool {
        self.edge.is_some()
    }

    /// The face where it really is.
    pub(crate) fn face(&self) -> Face {
        let moved = self.misplaced.unwrap_or(Misplacement::NONE);
        let turned = |v: Vector| turned(&moved, v);
        let s = FRAC_1_SQRT_2;
        Face {
            centre_mm: [
                moved.toward_focuser_mm - self.offset_mm,
                moved.across_mm,
                self.height_mm - self.offset_mm - moved.toward_primary_mm,
            ],
            normal: turned([s, 0.0, -s]),
            long: turned([s, 0.0, s]),
            short: turned([0.0, 1.0, 0.0]),
        }
    }

    /// From the face to the back of the glass along its rim, mm.
    pub(crate) fn back_mm(&self) -> Vector {
        let t = self.thickness_mm;
        let back = match self.edge {
            None => [0.0; 3],
            // A face at 45 degrees: square to it a length along the tube counts 1/sqrt 2.
            Some(FlatEdge::AlongTube) => [0.0, 0.0, t / FRAC_1_SQRT_2],
            Some(FlatEdge::SquareToFace) => [-t * FRAC_1_SQRT_2, 0.0, t * FRAC_1_SQRT_2],
        };
        turned(&self.misplaced.unwrap_or(Misplacement::NONE), back)
    }

    /// A plane square to the focuser's axis at a distance from the tube's axis, as the mirror sees it in the flat.
    pub(crate) fn beyond(&self, from_axis_mm: f64) -> Disc {
        if !self.is_misplaced() {
            return Disc {
                centre_mm: [0.0, 0.0, self.height_mm + from_axis_mm],
                normal: [0.0, 0.0, 1.0],
                along: [1.0, 0.0, 0.0],
                across: [0.0, 1.0, 0.0],
            };
        }
        let face = self.face();
        let mirrored = |v: Vector| {
            let twice = 2.0 * dot(v, face.normal);
            [0, 1, 2].map(|i| v[i] - twice * face.normal[i])
        };
        let from_face = minus([from_axis_mm, 0.0, self.height_mm], face.centre_mm);
        let seen = mirrored(from_face);
        Disc {
            centre_mm: [0, 1, 2].map(|i| face.centre_mm[i] + seen[i]),
            normal: mirrored([1.0, 0.0, 0.0]),
            along: mirrored([0.0, 0.0, 1.0]),
            across: mirrored([0.0, 1.0, 0.0]),
        }
    }
}

impl Disc {
    /// Where a line crosses the plane: along, across, mm.
    #[inline]
    pub(crate) fn crossed_by(&self, from_mm: Vector, direction: Vector) -> [f64; 2] {
        let gap = minus(self.centre_mm, from_mm);
        let t = dot(gap, self.normal) / dot(direction, self.normal);
        let place = [0, 1, 2].map(|i| direction[i] * t - gap[i]);
        [dot(place, self.along), dot(place, self.across)]
    }

    /// A point of the plane.
    pub(crate) fn point_mm(&self, along_mm: f64, across_mm: f64) -> Vector {
        [0, 1, 2].map(|i| self.centre_mm[i] + along_mm * self.along[i] + across_mm * self.across[i])
    }
}

impl Face {
    /// Where a line crosses the face's plane, in lengths as seen along either axis: along its long, along its short side, mm.
    #[inline]
    pub(crate) fn crossed_by(&self, from_mm: Vector, direction: Vector) -> [f64; 2] {
        let gap = minus(self.centre_mm, from_mm);
        let t = dot(gap, self.normal) / dot(direction, self.normal);
        self.seen([0, 1, 2].map(|i| direction[i] * t - gap[i]))
    }

    /// A vector's parts in the face, the long one shortened so that the face is a circle.
    pub(crate) fn seen(&self, v: Vector) -> [f64; 2] {
        [dot(v, self.long) * FRAC_1_SQRT_2, dot(v, self.short)]
    }

    /// How far the shadow of the back lies from that of the face, for light of a direction, mm as [`Face::seen`].
    pub(crate) fn drift_mm(&self, back_mm: Vector, direction: Vector) -> [f64; 2] {
        let steps = dot(back_mm, self.normal) / dot(direction, self.normal);
        self.seen([0, 1, 2].map(|i| direction[i] * steps - back_mm[i]))
    }
}

/// A vector turned with the flat: `roll` first, then `nod`, then `turn`.
fn turned(by: &Misplacement, v: Vector) -> Vector {
    let s = FRAC_1_SQRT_2;
    let rolled = about([s, 0.0, s], by.roll_arcmin, v);
    let nodded = about([0.0, -1.0, 0.0], by.nod_arcmin, rolled);
    about([0.0, 0.0, 1.0], by.turn_arcmin, nodded)
}

/// A vector turned about a unit vector, right-handed.
fn about(axis: Vector, angle_arcmin: f64, v: Vector) -> Vector {
    if angle_arcmin == 0.0 {
        return v;
    }
    let (sin, cos) = (angle_arcmin * RADIANS_PER_ARCMIN).sin_cos();
    let square =
        [axis[1] * v[2] - axis[2] * v[1], axis[2] * v[0] - axis[0] * v[2], axis[0] * v[1] - axis[1] * v[0]];
    let kept = dot(axis, v) * (1.0 - cos);
    [0, 1, 2].map(|i| v[i] * cos + square[i] * sin + axis[i] * kept)
}

#[inline]
pub(crate) fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

#[inline]
fn minus(a: Vector, b: Vector) -> Vector {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}
