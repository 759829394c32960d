//! The optical transfer function: the contrast that the pupil leaves to each spatial frequency.
//!
//! The flow: `plane` (the pupil over the image's conjugate coordinate), `row` (one row of it, solved), `bands` (all rows
//! of a direction), `overlap` (the autocorrelation at one shift), `transfer` (curves, refined until they settle), `mtf` (what is
//! handed out), `perfect` (closed forms beside it).

mod bands;
mod mtf;
mod overlap;
mod perfect;
mod plane;
mod row;
mod transfer;

pub use mtf::{DetailContrast, Mtf, MtfOptions, Otf};
pub use perfect::perfect_mtf;
