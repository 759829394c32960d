//! Bench readings in, a figure with its uncertainty out; a figure in, what the tester will read and see.

mod bench_picture;
mod bench_ray;
mod bench_wave;
mod csv_text;
mod estimate;
mod expected_readings;
mod grating_picture;
mod grating_wave;
mod input;
mod knife_picture;
mod noise;
mod opening;
mod options;
mod readings;
mod reduce;
mod sanity;

pub use estimate::{Draws, FigureEstimate, Interval, Measured};
pub use expected_readings::expected_readings;
pub use grating_picture::{GratingBench, GratingPicture, grating_picture};
pub use input::ReadingsInput;
pub use knife_picture::{KnifeBench, KnifeFrom, KnifePicture, knife_edge_picture};
pub use opening::{MaskOpening, ReadingsIncrease, TestSource};
pub use options::ReduceOptions;
pub use readings::KnifeEdgeReadings;
