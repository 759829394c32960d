//! Rays: the surfaces, what stops the light, pupil sampling, spots and illumination.

mod cone;
mod detail;
mod figure;
mod fold;
mod height_map;
mod image_shift;
mod light;
mod limits;
mod mirror;
mod patches;
mod prepared;
mod problems;
mod pupil;
mod ray;
mod rays;
mod served_aperture;
mod spot;
mod star;
mod stops;
mod strips;

pub use cone::{DiagonalFit, smallest_diagonal};
pub(crate) use detail::Detail;
pub use image_shift::ImageShift;
pub(crate) use light::no_light;
pub use light::{
    FieldStopLight, Illumination, Light, LightMap, LitCircle, RadialIllumination, SensorCorner, SensorFrame,
    Share,
};
pub use prepared::Prepared;
pub(crate) use pupil::{Density, Nodes};
pub use ray::Ray;
pub(crate) use ray::StarBeam;
pub(crate) use spot::check_shift;
pub use spot::{Spot, SpotPoints};
pub use star::Star;
pub use stops::Part;
