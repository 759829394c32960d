//! The optical transfer function: the contrast that the pupil leaves to each spatial frequency.
//!
//! The flow: `plane` (the pupil over the image's conjugate coordinate), `row` (one row of it, solved), `bands` (all rows
//! of a direction), `overlap` (the autocorrelation at one shift, the light at its nodes by `lights`), `transfer` (curves,
//! refined until they settle), `mtf` (what is handed out), `air` (the same through seeing), `perfect` (closed forms beside it).

mod air;
mod bands;
#[cfg(test)]
mod dense;
mod lights;
mod mtf;
mod overlap;
mod perfect;
mod plane;
mod row;
mod transfer;

#[cfg(test)]
pub(super) use dense::{dense, finer, stated};
pub use mtf::{DetailContrast, Mtf, MtfOptions, Otf};
pub use perfect::perfect_mtf;
pub(super) use transfer::contrasts;
