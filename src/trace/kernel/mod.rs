//! Many rays at once: those that a caller gives, and those of the library's own rings; as statistics, or as columns.
//!
//! `block.rs` has the inner loops, `table.rs` the figure as they look it up, `optics.rs` a train as they see it and
//! bounds that spare them tests, `compiled.rs` its making and the slow road for single rays, `given.rs` the caller's
//! rays, `rings.rs` and `ring_loop.rs` the library's own, `lanes.rs` and `ray_spot.rs` the sums.

mod block;
mod compiled;
mod given;
mod lanes;
mod optics;
mod ray_spot;
mod ring_loop;
mod rings;
mod table;

pub(crate) use compiled::Compiled;
pub use given::{RayColumn, Rays, RaysOut, TracedRays};
pub use ray_spot::RaySpot;
pub(crate) use table::Table;
