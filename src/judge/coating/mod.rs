//! What a worn coating costs, and what a recoat returns.

mod effect;
mod evidence;
mod light;
mod recoat;
mod recoat_rows;
mod words;

pub use effect::{CoatingEffect, EffectOptions, coating_effect};
pub use evidence::{FreshCoat, MeasuredCoating};
pub use recoat::{Ageing, RecoatComparison, RecoatOptions, RecoatPrices, RecoatWhat, recoat};
pub use recoat_rows::RecoatRow;
