//! What stands in the telescope: plain data that is checked and saved, and computes nothing.

mod beyond_the_flat;
mod coating;
mod coating_map;
mod diagonal;
mod edge_layers;
mod figure;
mod height_map;
mod metal_coat;
mod misplacement;
mod obstructions;
mod primary;
mod ripple;
mod square_net;
mod stops;
pub(crate) mod text;
mod train;
mod zernike_terms;

pub use beyond_the_flat::{FilterRing, FocuserBoard, SensorMask};
pub use coating::{Coating, CoatingPatch, CoatingRing, RingProfile};
pub(crate) use coating::{patch_share, ring_share};
pub use coating_map::{ReflectanceMap, ThicknessMap};
pub use diagonal::{Diagonal, FlatEdge, FocalPlane};
pub use edge_layers::{CentralHill, EdgeRollOff, EdgeStep};
pub use figure::{FigureLayer, Joined, RadialProfile, TurnedEdge, Zone};
pub use height_map::{AxisDirection, HeightMap};
pub use metal_coat::{MetalCoat, ThinPatch, ThinRing};
pub use misplacement::Misplacement;
pub use obstructions::{Holder, MirrorClips, Spider};
pub use primary::{Primary, PrimaryInput};
pub use ripple::Ripple;
pub(crate) use square_net::SquareNet;
pub use stops::{Drawtube, Opening};
pub use train::{Train, TrainBuilder};
pub use zernike_terms::ZernikeTerms;
