//! Bench readings in, a figure with its uncertainty out.

mod csv_text;
mod estimate;
mod input;
mod noise;
mod opening;
mod options;
mod readings;
mod reduce;
mod sanity;
mod unseen;

pub use estimate::{Draws, Estimated, FigureEstimate, Interval, Measured};
pub use input::ReadingsInput;
pub use opening::{MaskOpening, ReadingsIncrease, TestSource};
pub use options::ReduceOptions;
pub use readings::KnifeEdgeReadings;
pub(crate) use unseen::{PairedDraws, paired_draws};
