//! The telescope as a thing that is built: what an eye at the focal plane sees past the diagonal, and the section.

mod closing;
mod enclosure;
mod section;
mod sight_lines;
mod sight_row;
mod sight_rows;

pub use closing::{ClosingBaffle, ClosingFront, SightField};
pub use enclosure::{Enclosure, OppositeBaffle};
pub use section::{SectionLine, SectionRay, TrainSection};
pub use sight_lines::{SightLines, SightPoint};
