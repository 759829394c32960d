//! The telescope as a thing that is built: where things come to focus and what has to move, what the field sees past the
//! diagonal, and the section.

mod closing;
mod enclosure;
mod focuser;
mod ladder;
mod moves;
mod poles;
mod section;
mod sight_lines;
mod sight_row;
mod sight_rows;

pub use closing::{ClosingBaffle, ClosingFront, SightField};
pub use enclosure::{Enclosure, OppositeBaffle};
pub use focuser::{Camera, FocusItem, Focused, Focuser};
pub use ladder::{FocusLadder, Rung};
pub use moves::{FocusMove, FocusMoves, MoveOptions, Mover};
pub use poles::Poles;
pub use section::{SectionLine, SectionRay, TrainSection};
pub use sight_lines::{SightLines, SightPoint};
