//! A ring laid over a mirror's edge: how far to mask, and whether a mask does it.

mod advice;
mod bound;
mod of_figure;
mod of_train;
mod options;
mod sweep;
mod words;

pub use bound::{MaskingBound, masking_bound};
pub use options::MaskOptions;
pub use sweep::{
    LeftAfterMask, MaskAnswer, MaskRow, MaskSubject, MaskSweep, MaskValue, mask_sweep, mask_sweep_counting,
};
