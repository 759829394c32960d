//! Where the flat stands.

use super::cone::Envelope;
use crate::model::Train;

/// The flat's place: its plane crosses the axis at `height_mm`, its face is moved by the offset.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fold {
    pub(crate) height_mm: f64,
    pub(crate) minor_axis_mm: f64,
    pub(crate) offset_mm: f64,
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
        })
    }
}
