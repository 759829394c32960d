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

pub use estimate::{Draws, FigureEstimate, Interval, Measured};
pub use input::ReadingsInput;
pub use opening::{MaskOpening, ReadingsIncrease, TestSource};
pub use options::ReduceOptions;
pub use readings::KnifeEdgeReadings;
