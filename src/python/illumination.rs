//! Light over the field: at points of the focal plane, and against radius.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arrays::{Column, column};
use super::light::{keys, stopped, table};
use super::rays::draw;
use super::record::{getters, record};
use crate::{Illumination, RadialIllumination};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyIllumination>()?;
    module.add_class::<PyRadialIllumination>()
}


