//! What one would see: a scene on the sky through the train and the air, at an eyepiece or on a sensor.

mod behind_eyepiece;
mod disc;
mod eye;
mod field_edge;
mod net;
mod on_sensor;
mod picture;
mod scene;
mod see;
mod sensor;
mod stars;
mod tail;

pub use behind_eyepiece::{EyepieceFacts, EyepieceOptions};
pub use disc::{BandedDisc, DiscSpot};
pub use eye::{Eyepiece, eye_mtf};
pub use field_edge::{EdgeLight, EdgeSpot};
pub use on_sensor::SensorFacts;
pub use picture::{BrightnessUnit, View, ViewDifference};
pub use scene::Scene;
pub use see::{Through, ViewOptions};
pub use sensor::Sensor;
pub use stars::{DoubleStar, FieldStar, StarField};
