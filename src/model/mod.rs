//! What stands in the telescope: plain data that is checked and saved, and computes nothing.

mod coating;
mod diagonal;
mod figure;
mod height_map;
mod obstructions;
mod primary;
mod stops;
pub(crate) mod text;
mod train;
mod zernike_terms;

pub use coating::{Coating, CoatingPatch, CoatingRing};
pub use diagonal::{Diagonal, FocalPlane};
pub use figure::{FigureLayer, Joined, RadialProfile, TurnedEdge, Zone};
pub use height_map::{AxisDirection, HeightMap};
pub use obstructions::{Holder, MirrorClips, Spider};
pub use primary::{Primary, PrimaryInput};
pub use stops::{Drawtube, Opening};
pub use train::{Train, TrainBuilder};
pub use zernike_terms::ZernikeTerms;
