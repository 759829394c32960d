//! Bench readings in, a figure with its uncertainty out.

mod csv_text;
mod estimate;
mod input;
mod noise;
mod opening;
mod options;
mod plain;
mod readings;
mod reduce;
mod sanity;
mod two_way;
mod unseen;

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
pub(crate) use unseen::{
    PairedDraws, Quadratic, WELL_MEASURED_MM, contributions, next_measurements, paired_draws, settling,
    sights,
};
