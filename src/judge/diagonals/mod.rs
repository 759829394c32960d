//! Which diagonal: many sizes, heights of the focal plane, drawtubes and trains compared, with exact fractions of light.

mod aims;
mod batch;
mod comparison;
mod row;
mod words;

pub use aims::{Aim, AimWeights, Recommendation, SizeScore};
pub use batch::{DiagonalBatch, DiagonalBatchInput, OffsetRule, RowChunks};
pub use comparison::{Ceiling, Criterion, DiagonalComparison};
pub use row::DiagonalRow;
