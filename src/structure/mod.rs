//! The structure around the optics: where things come to focus, and what has to move.

mod focuser;
mod ladder;
mod moves;
mod poles;

pub use focuser::{Camera, FocusItem, Focused, Focuser};
pub use ladder::{FocusLadder, Rung};
pub use moves::{FocusMove, FocusMoves, MoveOptions, Mover};
pub use poles::Poles;
