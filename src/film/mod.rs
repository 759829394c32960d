//! Thin metal on glass: what it returns, what it lets through, and at which height light turns around.

mod metal;
mod metal_film;
mod stack;
mod table;
mod thickness;

pub use metal::Metal;
pub use metal_film::{FilmResponse, MetalFilm, Overcoat};
pub(crate) use table::FilmTable;
pub use thickness::{ThicknessFinding, ThicknessRange};
