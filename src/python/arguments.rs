//! Arguments as a caller gives them: numbers, quantities with units, arrays of every kind, names.

use ndarray::Array2;
use numpy::{PyArray1, PyArray2, PyArrayMethods, PyReadonlyArray2, PyUntypedArrayMethods};
use pyo3::prelude::*;
use pyo3::types::{PyFloat, PyTuple, PyTupleMethods};

use super::errors::refused;
use crate::{DEFAULT_WAVELENGTH_NM, Field, Focus, Indexing, Star};

/// One finite number in the unit that its name ends in.
pub(super) fn number(value: &Bound<'_, PyAny>, name: &str) -> PyResult<f64> {
    if let Ok(plain) = value.cast_exact::<PyFloat>() {
        let plain = plain.value();
        if plain.is_finite() {
            return Ok(plain);
        }
    }
    units(value.py())?.call_method1("to_float", (value, unit(name), name))?.extract()
}

/// The same, or a default for what is not given.
pub(super) fn number_or(value: Option<&Bound<'_, PyAny>>, name: &str, default: f64) -> PyResult<f64> {
    value.map_or(Ok(default), |v| number(v, name))
}

/// The same, or nothing.
pub(super) fn maybe_number(value: Option<&Bound<'_, PyAny>>, name: &str) -> PyResult<Option<f64>> {
    value.map(|v| number(v, name)).transpose()
}

/// A list of finite numbers: lists, tuples, strided or narrower arrays, quantities.
pub(super) fn list(value: &Bound<'_, PyAny>, name: &str) -> PyResult<Vec<f64>> {
    let array = units(value.py())?.call_method1("as_array", (value, unit(name), name, 1))?;
    Ok(array.cast::<PyArray1<f64>>()?.to_vec()?)
}

/// One number alone or a list of them.
pub(super) fn one_or_list(value: &Bound<'_, PyAny>, name: &str) -> PyResult<Vec<f64>> {
    let dimensions = value.py().import("numpy")?.call_method1("ndim", (value,))?;
    if dimensions.extract::<usize>()? == 0 { Ok(vec![number(value, name)?]) } else { list(value, name) }
}

/// A table of finite numbers, row by row.
pub(super) fn table(value: &Bound<'_, PyAny>, name: &str) -> PyResult<Vec<Vec<f64>>> {
    let array = units(value.py())?.call_method1("as_array", (value, unit(name), name, 2))?;
    let array: PyReadonlyArray2<'_, f64> = array.cast::<PyArray2<f64>>()?.readonly();
    let columns = array.shape()[1];
    Ok(array.as_slice()?.chunks(columns.max(1)).map(<[f64]>::to_vec).collect())
}

/// A table of readings, row by row; one list is one row. What is missing (None, NaN, masked) comes as NaN.
pub(super) fn table_with_gaps(value: &Bound<'_, PyAny>, name: &str) -> PyResult<Vec<Vec<f64>>> {
    let array = units(value.py())?.call_method1("as_readings", (value, unit(name), name))?;
    let array: PyReadonlyArray2<'_, f64> = array.cast::<PyArray2<f64>>()?.readonly();
    let columns = array.shape()[1];
    Ok(array.as_slice()?.chunks(columns.max(1)).map(<[f64]>::to_vec).collect())
}

/// A table of heights; NaN and masked entries, where nothing was measured, pass as NaN.
pub(super) fn height_table(value: &Bound<'_, PyAny>, name: &str) -> PyResult<Array2<f64>> {
    let array = units(value.py())?.call_method1("as_array", (value, unit(name), name, 2, true))?;
    Ok(array.cast::<PyArray2<f64>>()?.readonly().as_array().to_owned())
}

/// A whole number of 0 or more; what it may be beyond that, the core says.
pub(super) fn count(value: &Bound<'_, PyAny>, name: &str) -> PyResult<usize> {
    value
        .extract()
        .map_err(|_| refused(value.py(), name, &value.to_string(), "a whole number of 0 or more", ""))
}

/// The same, or a default for what is not given.
pub(super) fn count_or(value: Option<&Bound<'_, PyAny>>, name: &str, default: usize) -> PyResult<usize> {
    value.map_or(Ok(default), |v| count(v, name))
}

/// A number for a part of a train, whose own check finds all faults at once: what is not finite passes here.
pub(super) fn part_number(value: &Bound<'_, PyAny>, name: &str) -> PyResult<f64> {
    value.cast_exact::<PyFloat>().map_or_else(|_| number(value, name), |plain| Ok(plain.value()))
}

/// The same, or a default for what is not given.
pub(super) fn part_number_or(value: Option<&Bound<'_, PyAny>>, name: &str, default: f64) -> PyResult<f64> {
    value.map_or(Ok(default), |v| part_number(v, name))
}

/// The same, or nothing.
pub(super) fn maybe_part_number(value: Option<&Bound<'_, PyAny>>, name: &str) -> PyResult<Option<f64>> {
    value.map(|v| part_number(v, name)).transpose()
}

/// A field angle given as a pair, arcmin.
pub(super) fn field(value: Option<&Bound<'_, PyAny>>) -> PyResult<Field> {
    let Some(value) = value else { return Ok(Field::AXIS) };
    // A plain pair needs no array.
    if let Ok(pair) = value.cast_exact::<PyTuple>()
        && pair.len() == 2
        && let (first, second) = (pair.get_item(0)?, pair.get_item(1)?)
        && let (Ok(x), Ok(y)) = (first.cast_exact::<PyFloat>(), second.cast_exact::<PyFloat>())
        && x.value().is_finite()
        && y.value().is_finite()
    {
        return Ok(Field::arcmin(x.value(), y.value()));
    }
    match list(value, "field_arcmin")?[..] {
        [x, y] => Ok(Field::arcmin(x, y)),
        ref other => {
            let found = format!("{} numbers", other.len());
            Err(refused(
                value.py(),
                "field_arcmin",
                &found,
                "a pair: toward the focuser's side, and across",
                "",
            ))
        }
    }
}

/// A star given by its field angle, and perhaps its distance.
pub(super) fn star(
    field_arcmin: Option<&Bound<'_, PyAny>>,
    star_distance_mm: Option<&Bound<'_, PyAny>>,
) -> PyResult<Star> {
    let distance_mm = maybe_number(star_distance_mm, "star_distance_mm")?;
    Ok(Star { field: field(field_arcmin)?, distance_mm })
}

/// A focus given by name, or by its shift.
pub(super) fn focus(
    py: Python<'_>,
    name: Option<&str>,
    shift_mm: Option<&Bound<'_, PyAny>>,
    default: Focus,
) -> PyResult<Focus> {
    match (name, shift_mm) {
        (None, None) => Ok(default),
        (None, Some(shift)) => Ok(Focus::ShiftMm(number(shift, "focus_shift_mm")?)),
        (Some(name), None) => focus_named(py, "focus", name),
        (Some(name), Some(_)) => {
            let found = format!("{name} beside focus_shift_mm");
            Err(refused(py, "focus", &found, "one of the two, not both", ""))
        }
    }
}

/// A focus given by name alone.
pub(super) fn focus_named(py: Python<'_>, argument: &str, name: &str) -> PyResult<Focus> {
    Focus::from_name(name)
        .ok_or_else(|| refused(py, argument, name, "'paraxial', 'least_spot', 'least_rms' or 'peak'", ""))
}

/// The wavelength, or the default one.
pub(super) fn wavelength(value: Option<&Bound<'_, PyAny>>) -> PyResult<f64> {
    number_or(value, "wavelength_nm", DEFAULT_WAVELENGTH_NM)
}

/// A choice by name.
pub(super) fn choice<T>(
    py: Python<'_>,
    argument: &str,
    name: &str,
    allowed: &str,
    pick: impl Fn(&str) -> Option<T>,
) -> PyResult<T> {
    pick(name).ok_or_else(|| refused(py, argument, name, allowed, ""))
}

/// A way of numbering Zernike terms.
pub(super) fn indexing_named(py: Python<'_>, name: &str) -> PyResult<Indexing> {
    choice(py, "indexing", name, "'noll', 'osa' or 'fringe'", Indexing::from_name)
}

/// The unit in which a name ends; none for a plain number.
fn unit(name: &str) -> &'static str {
    const UNITS: [&str; 6] = ["mm", "um", "nm", "arcmin", "arcsec", "deg"];
    let ending = name.rsplit('_').next().unwrap_or("");
    match name {
        "temperature_k" => return "K",
        _ if name.ends_with("_per_mm") => return "1 / mm",
        _ if name.ends_with("_per_arcsec") => return "1 / arcsec",
        _ if name.ends_with("_per_deg") => return "1 / deg",
        _ => {}
    }
    UNITS.into_iter().find(|u| *u == ending && name.contains('_')).unwrap_or("")
}

fn units(py: Python<'_>) -> PyResult<Bound<'_, PyModule>> {
    py.import("catoptric._units")
}
