//! Bench readings in, a figure with its uncertainty out.

mod csv_text;
mod estimate;
mod noise;
mod opening;
mod readings;
mod reduce;
mod sanity;
mod unseen;

pub use estimate::{Draws, Estimated, FigureEstimate, Interval, Measured};
pub use opening::{MaskOpening, ReadingsIncrease, TestSource};
pub use readings::{KnifeEdgeReadings, ReadingsInput};
pub use reduce::ReduceOptions;
pub(crate) use unseen::{PairedDraws, paired_draws};
