//! What the readings cannot see, and so the second interval.
//!
//! A reading is the height difference between the rims of its opening. What lies between the rims, inside the first
//! opening and beyond the last is filled by an assumption alone: the prior of [`prior`], many components of smooth
//! figures and turned edges, each weighed by how well it explains the readings ([`evidence`]). Figures drawn from
//! those that survive ([`draws`]) all fit the readings within their noise; how they differ is the total interval.
//!
//! Leaves out: what is not rotationally symmetric; a reader whose eye does not take the mean of an opening. With
//! 2000 draws the ends of a 95 % interval of the Strehl scatter by 0.004.

mod at_breaks;
mod conditional;
mod contributions;
mod draws;
mod edge_curve;
mod evidence;
mod figure_model;
mod joint;
mod linear;
mod misread;
mod next_reading;
mod paired;
mod posterior;
mod prior;
mod reading_model;
mod regression;
mod sensitivity;
mod settling;
mod sight;
mod summary;
mod through;

pub(crate) use at_breaks::figures_at;
pub(crate) use contributions::contributions;
pub use contributions::{Cause, Contribution};
pub(super) use edge_curve::{EdgeCurve, EdgeHeight, Places, SeenEdge};
pub(super) use evidence::Evidence;
pub use misread::ZoneCheck;
pub(super) use misread::zone_checks;
pub use next_reading::NextMeasurement;
pub(crate) use next_reading::{WELL_MEASURED_MM, next_measurements};
pub(crate) use paired::{PairedDraws, paired_draws};
pub(super) use posterior::Analysis;
pub(crate) use posterior::pieces_of_draws;
pub(crate) use regression::Quadratic;
pub use sensitivity::AssumedEnds;
pub(crate) use sensitivity::{assumed_ends, assumption};
pub use settling::Settling;
pub(crate) use settling::settling;
pub(crate) use sight::{looked_through, sights};
pub(super) use summary::smooth_figure;
pub use summary::{EdgeFinding, SmoothFigure};
pub(crate) use through::{AllowedFigures, RingQuality, RoundRing};
