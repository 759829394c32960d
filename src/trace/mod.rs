//! Rays: the surfaces, what stops the light, pupil sampling, spots and illumination.

mod coat;
mod coating_picture;
mod cone;
mod detail;
mod figure;
mod fold;
mod glass;
mod height_map;
mod image_shift;
mod kernel;
mod light;
mod light_by_size;
mod limits;
mod mirror;
mod patches;
mod prepared;
mod problems;
mod pupil;
mod quick_lanes;
mod quick_light;
mod quick_lit_circle;
mod ray;
mod rays;
mod served_aperture;
mod size_lanes;
mod spot;
mod star;
mod stops;
mod strips;

pub use coating_picture::CoatingPicture;
pub use cone::{
    ConeClearance, ConeOnFlat, ConeRule, DiagonalFit, DiagonalShadow, MisplacementEffects, RuleError,
    cone_on_flat, smallest_diagonal,
};
pub(crate) use detail::Detail;
pub(crate) use figure::ROLL_OFF_PANELS;
pub(crate) use fold::Fold;
pub use image_shift::ImageShift;
pub use kernel::{RayColumn, RaySpot, Rays, RaysOut, TracedRays};
pub use light::{
    FieldStopLight, Illumination, Light, LightMap, LitCircle, RadialIllumination, SensorCorner, SensorFrame,
    Share,
};
pub(crate) use light::{is_mirrored, limiting, magnitudes, no_light};
pub use light_by_size::LightBySize;
pub(crate) use mirror::SurfacePoint;
pub use prepared::Prepared;
pub(crate) use prepared::obstruction_ratio;
pub(crate) use pupil::{Density, Nodes};
pub(crate) use quick_light::QuickLight;
pub use ray::Ray;
pub(crate) use ray::StarBeam;
pub(crate) use spot::check_shift;
pub use spot::{Spot, SpotPoints};
pub use star::Star;
pub use stops::Part;
