//! Bench readings in, a figure with its uncertainty out.

mod bench_scatter;
mod conic_fit;
mod csv_text;
mod estimate;
mod guards;
mod input;
mod noise;
mod opening;
mod options;
mod plain;
mod readings;
mod reduce;
mod two_way;
mod unseen;

pub use bench_scatter::{BenchScatter, bench_scatter};
pub use conic_fit::{ConicEstimate, ConicFit, Correction};
pub use estimate::{Draws, Estimated, FigureEstimate, Interval, Measured};
pub use input::ReadingsInput;
pub use noise::Outlier;
pub use opening::{MaskOpening, ReadingsIncrease, TestSource};
pub use options::ReduceOptions;
pub use readings::KnifeEdgeReadings;
pub use reduce::FigureOperator;
pub use unseen::{
    AssumedEnds, Cause, Contribution, EdgeFinding, NextMeasurement, Settling, SmoothFigure, ZoneCheck,
};
pub(crate) use unseen::{PairedDraws, contributions, next_measurements, paired_draws, settling, sights};
