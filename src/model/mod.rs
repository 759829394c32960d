//! What stands in the telescope: plain data that is checked and saved, and computes nothing.

mod coating;
mod diagonal;
mod figure;
mod primary;
mod stops;
pub(crate) mod text;
mod train;

pub use coating::{Coating, CoatingRing};
pub use diagonal::{Diagonal, FocalPlane};
pub use figure::{FigureLayer, Joined, RadialProfile, TurnedEdge, Zone};
pub use primary::{Primary, PrimaryInput};
pub use stops::{Drawtube, Opening};
pub use train::{Train, TrainBuilder};
