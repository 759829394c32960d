//! What the readings cannot see, and so the second interval.
//!
//! A reading is the height difference between the rims of its opening. What lies between the rims, inside the first
//! opening and beyond the last is filled by an assumption alone: the prior of [`prior`], many components of smooth
//! figures and turned edges, each weighed by how well it explains the readings ([`evidence`]). Figures drawn from
//! those that survive ([`draws`]) all fit the readings within their noise; how they differ is the total interval.
//!
//! Leaves out: what is not rotationally symmetric; a reader whose eye does not take the mean of an opening. With
//! 2000 draws the ends of a 95 % interval of the Strehl scatter by 0.004.

mod conditional;
mod draws;
mod evidence;
mod figure_model;
mod joint;
mod linear;
mod paired;
mod posterior;
mod prior;
mod reading_model;
mod sensitivity;

pub(crate) use paired::{PairedDraws, paired_draws};
pub(super) use posterior::Analysis;
pub(super) use sensitivity::with_assumption;
