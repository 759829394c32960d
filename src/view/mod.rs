//! What one would see: a scene on the sky through the train and the air, at an eyepiece or on a sensor.

mod disc;
mod eye;
mod net;
mod picture;
mod scene;
mod see;
mod sensor;
mod stars;
mod tail;

pub use disc::{BandedDisc, DiscSpot};
pub use eye::{Eyepiece, eye_mtf};
pub use picture::{BrightnessUnit, View, ViewDifference};
pub use scene::Scene;
pub use see::{Through, ViewOptions};
pub use sensor::Sensor;
pub use stars::{DoubleStar, FieldStar, StarField};
