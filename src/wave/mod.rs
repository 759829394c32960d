//! Waves: the wavefront seen from a point of the image, focus by name, Strehl, star images, energy.

mod airy;
mod amplitude;
mod artificial_star;
mod density;
mod energy;
mod extremes;
mod focus;
mod image;
mod otf;
mod path;
mod picture;
mod radial;
mod radial_grid;
mod radial_view;
mod source;
mod spectrum;
mod spikes;
mod terms;
mod wavefront;
mod wavelength;

pub use airy::Airy;
pub use artificial_star::ArtificialStar;
pub use focus::Focus;
pub use image::{Psf, PsfSize};
pub use otf::{DetailContrast, Mtf, MtfOptions, Otf, perfect_mtf};
pub use picture::WavefrontMap;
pub(crate) use radial::{RadialPupil, RadialQuality, Scratch};
pub(crate) use radial_grid::RadialGrid;
pub(crate) use radial_view::{RadialSight, RadialView};
pub use spectrum::Spectrum;
pub use spikes::Spikes;
pub use wavefront::Wavefront;
pub(crate) use wavelength::check_wavelength;
