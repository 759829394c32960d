//! The Python face: wrappers only. Nothing else in the crate knows of it.

// Comments here are what Python's help() shows; the macros of pyo3 write the code that the others point at.
#![allow(
    clippy::doc_link_with_quotes,
    clippy::doc_markdown,
    clippy::needless_pass_by_value,
    clippy::unsafe_derive_deserialize
)]

mod arguments;
mod arrays;
mod behind;
mod bench;
mod beyond_the_flat;
mod coating;
mod coating_effect;
mod coating_evidence;
mod coating_haze;
mod coating_outline;
mod coating_photo;
mod compute;
mod cone;
mod diagonal_comparison;
mod diagonals;
mod edge_fit;
mod edge_layers;
mod errors;
mod estimate;
mod evidence;
mod figure;
mod film;
mod flat;
mod focuser;
mod guards;
mod illumination;
mod judge;
mod ladder;
mod light;
mod mask;
mod mask_row;
mod metal_coat;
mod model;
mod moves;
mod mtf;
mod nights;
mod noise_study;
mod obstructions;
mod once;
mod pictures;
mod pupil_map;
mod rays;
mod record;
mod ripple;
mod seeing;
mod sight_lines;
mod spectrum;
mod square_map;
mod star_tests;
mod through_focus;
mod trace_rays;
mod train;
mod train_judgement;
mod train_parts;
mod turned;
mod value_ladder;
mod view;
mod view_scenes;
mod waves;
mod work;

use pyo3::prelude::*;

use crate::numeric::simd::Instructions;

/// Adds everything to a module: the door for another extension that embeds this one.
///
/// Errors: those of Python, if a name cannot be added.
pub fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    model::register(module)?;
    edge_layers::register(module)?;
    coating::register(module)?;
    figure::register(module)?;
    film::register(module)?;
    metal_coat::register(module)?;
    ripple::register(module)?;
    obstructions::register(module)?;
    flat::register(module)?;
    beyond_the_flat::register(module)?;
    train::register(module)?;
    light::register(module)?;
    illumination::register(module)?;
    rays::register(module)?;
    trace_rays::register(module)?;
    cone::register(module)?;
    sight_lines::register(module)?;
    waves::register(module)?;
    pupil_map::register(module)?;
    mtf::register(module)?;
    nights::register(module)?;
    seeing::register(module)?;
    through_focus::register(module)?;
    spectrum::register(module)?;
    star_tests::register(module)?;
    bench::register(module)?;
    estimate::register(module)?;
    noise_study::register(module)?;
    edge_fit::register(module)?;
    evidence::register(module)?;
    turned::register(module)?;
    pictures::register(module)?;
    view_scenes::register(module)?;
    view::register(module)?;
    behind::register(module)?;
    focuser::register(module)?;
    ladder::register(module)?;
    moves::register(module)?;
    coating_outline::register(module)?;
    coating_evidence::register(module)?;
    coating_photo::register(module)?;
    coating_haze::register(module)?;
    coating_effect::register(module)?;
    guards::register(module)?;
    judge::register(module)?;
    mask::register(module)?;
    mask_row::register(module)?;
    work::register(module)?;
    value_ladder::register(module)?;
    train_judgement::register(module)?;
    diagonals::register(module)?;
    diagonal_comparison::register(module)?;
    module.add("__version__", env!("CARGO_PKG_VERSION"))?;
    module.add("DEFAULT_WAVELENGTH_NM", crate::DEFAULT_WAVELENGTH_NM)?;
    module.add_function(wrap_pyfunction!(inches, module)?)?;
    module.add_function(wrap_pyfunction!(vector_instructions, module)?)
}

/// The compiled core of the package.
#[pymodule]
fn _core(module: &Bound<'_, PyModule>) -> PyResult<()> {
    register(module)
}

/// Return the millimetres in `value` inches.
///
/// Errors: InputError for what is not one finite number.
///
/// >>> assert ct.inches(12.5) == 317.5
#[pyfunction]
#[pyo3(signature = (value, /))]
fn inches(value: &Bound<'_, PyAny>) -> PyResult<f64> {
    Ok(crate::inches(arguments::number(value, "value")?))
}

/// Return which vector instructions the loops of this process use: `"avx512"`, `"avx2"` or `"portable"`.
///
/// The best that the processor has, unless the environment variable CATOPTRIC_SIMD names a narrower set before the first
/// computation. Units: none. Errors: none. Leaves out: last bits of results differ between the sets.
///
/// >>> assert ct.vector_instructions() in {"avx512", "avx2", "portable"}
#[pyfunction]
fn vector_instructions() -> &'static str {
    match Instructions::in_use() {
        Instructions::Avx512 => "avx512",
        Instructions::Avx2 => "avx2",
        Instructions::Portable => "portable",
    }
}
