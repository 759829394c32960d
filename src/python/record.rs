//! What every object of the package can do: be shown, compared, copied, pickled, taken apart.

use pyo3::prelude::*;
use pyo3::types::{PyDict, PyFloat, PyString};

/// Writes the common methods of a wrapper class, from the names of its attributes.
///
/// `attributes` make up `to_dict()`, `shown` the text and the notebook display. Pickles are the JSON of the
/// Rust value; parts, readings, estimates and verdicts come back through the checks of their making. What has a page of
/// its own names the Python module whose `display` shows it in a notebook.
macro_rules! record {
    ($class:ident, $title:literal, attributes: [$($attribute:literal),* $(,)?], shown: [$($shown:literal),* $(,)?]) => {
        $crate::python::record::record!(@common $class, $title, [$($attribute),*], [$($shown),*]);

        #[pymethods]
        impl $class {
            fn _repr_html_(slf: &Bound<'_, Self>) -> PyResult<String> {
                $crate::python::record::display(slf.as_any(), "html", $title, &[$($shown),*])
            }
        }
    };
    ($class:ident, $title:literal, attributes: [$($attribute:literal),* $(,)?], shown: [$($shown:literal),* $(,)?],
        page: $module:literal) => {
        $crate::python::record::record!(@common $class, $title, [$($attribute),*], [$($shown),*]);

        #[pymethods]
        impl $class {
            fn _repr_html_(slf: &Bound<'_, Self>) -> PyResult<String> {
                slf.py().import($module)?.call_method1("display", (slf,))?.extract()
            }
        }
    };
    (@common $class:ident, $title:literal, [$($attribute:literal),*], [$($shown:literal),*]) => {
        #[pymethods]
        impl $class {
            /// Return the attributes by name; arrays stay arrays, parts become dictionaries.
            ///
            /// >>> flat = ct.FocalPlane(axis_to_focus_mm=235)
            /// >>> assert flat.to_dict() == {"axis_to_focus_mm": 235.0}
            fn to_dict<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyDict>> {
                $crate::python::record::to_dict(slf.as_any(), &[$($attribute),*])
            }

            fn __repr__(slf: &Bound<'_, Self>) -> PyResult<String> {
                $crate::python::record::display(slf.as_any(), "text", $title, &[$($shown),*])
            }

            fn __copy__(slf: Py<Self>) -> Py<Self> {
                slf
            }

            #[pyo3(signature = (memo, /))]
            fn __deepcopy__(slf: Py<Self>, memo: &Bound<'_, PyAny>) -> Py<Self> {
                let _ = memo;
                slf
            }

            fn __reduce__<'py>(slf: &Bound<'py, Self>) -> PyResult<(Bound<'py, PyAny>, (String,))> {
                let json = $crate::python::record::to_json(slf.py(), slf.get())?;
                Ok((slf.get_type().getattr("_from_json")?, (json,)))
            }

            #[staticmethod]
            #[pyo3(signature = (text, /))]
            fn _from_json(py: Python<'_>, text: &str) -> PyResult<Self> {
                $crate::model::text::from_json("a pickle", text).map_err(|e| $crate::python::errors::exception(py, e))
            }
        }
    };
}
pub(super) use record;

/// Writes getters: a name, its type, how it comes from the wrapped value, and its page of help.
macro_rules! getters {
    ($class:ident, |$value:ident| { $($(#[$meta:meta])* $name:ident: $type:ty = $from:expr;)* }) => {
        #[pymethods]
        impl $class {
            $($(#[$meta])* #[getter] fn $name(&self) -> $type { let $value = &self.0; $from })*
        }
    };
}
pub(super) use getters;

/// Writes getters of arrays: a name, its kind of array, where it stands in the wrapped value, and its page of help.
macro_rules! arrays {
    ($class:ident, |$value:ident| { $($(#[$meta:meta])* $name:ident: $kind:ident = $from:expr;)* }) => {
        #[pymethods]
        impl $class {
            $($(#[$meta])* #[getter] fn $name<'py>(&self, py: Python<'py>) -> Bound<'py, $kind<f64>> {
                let $value = &self.0;
                numpy::IntoPyArray::into_pyarray($from.clone(), py)
            })*
        }
    };
}
pub(super) use arrays;

/// Writes getters of columns: a name, the numbers of the wrapped value that it holds, and its page of help.
macro_rules! columns {
    ($class:ident, |$value:ident| { $($(#[$meta:meta])* $name:ident = $from:expr;)* }) => {
        #[pymethods]
        impl $class {
            $($(#[$meta])* #[getter] fn $name<'py>(&self, py: Python<'py>) -> $crate::python::arrays::Column<'py> {
                let $value = &self.0;
                $crate::python::arrays::column(py, $from)
            })*
        }
    };
}
pub(super) use columns;

/// The JSON of a wrapped value.
pub(super) fn to_json(py: Python<'_>, value: &impl serde::Serialize) -> PyResult<String> {
    serde_json::to_string(value).map_err(|e| {
        super::errors::refused(py, "pickle", "a value", "something that JSON can hold", &e.to_string())
    })
}

/// The named attributes of an object; parts that have a `to_dict` of their own are taken apart as well.
pub(super) fn to_dict<'py>(object: &Bound<'py, PyAny>, names: &[&str]) -> PyResult<Bound<'py, PyDict>> {
    let dict = PyDict::new(object.py());
    for name in names {
        let value = object.getattr(*name)?;
        dict.set_item(name, plain(&value)?)?;
    }
    Ok(dict)
}

fn plain<'py>(value: &Bound<'py, PyAny>) -> PyResult<Bound<'py, PyAny>> {
    if let Ok(parts) = value.cast::<pyo3::types::PyTuple>() {
        let parts = parts.iter().map(|part| plain(&part)).collect::<PyResult<Vec<_>>>()?;
        return Ok(pyo3::types::PyTuple::new(value.py(), parts)?.into_any());
    }
    if let Ok(parts) = value.cast::<pyo3::types::PyList>() {
        let parts = parts.iter().map(|part| plain(&part)).collect::<PyResult<Vec<_>>>()?;
        return Ok(pyo3::types::PyList::new(value.py(), parts)?.into_any());
    }
    if value.hasattr("to_dict")? { value.call_method0("to_dict") } else { Ok(value.clone()) }
}

/// An object's text or notebook display, from the named attributes.
pub(super) fn display(
    object: &Bound<'_, PyAny>,
    form: &str,
    title: &str,
    names: &[&str],
) -> PyResult<String> {
    let mut rows = Vec::with_capacity(names.len());
    for name in names {
        let value = object.getattr(*name)?;
        if !value.is_none() {
            rows.push((*name, shown_with_interval(object, name, &value)?));
        }
    }
    object.py().import("catoptric._display")?.call_method1(form, (title, rows))?.extract()
}

/// A value as text; where the object has its interval, the total one first, with the digits that this deserves.
fn shown_with_interval(object: &Bound<'_, PyAny>, name: &str, value: &Bound<'_, PyAny>) -> PyResult<String> {
    let mut ends = None;
    for interval in [format!("{name}_total_interval"), format!("{name}_interval")] {
        if ends.is_none() && object.hasattr(interval.as_str())? {
            ends = object.getattr(interval.as_str())?.extract::<Option<(f64, f64)>>()?;
        }
    }
    let Some((low, high)) = ends else { return shown(value) };
    let display = object.py().import("catoptric._display")?;
    display.call_method1("with_uncertainty", (value, low, high))?.extract()
}

/// A value as text: numbers with six figures, names bare, everything else as it shows itself.
fn shown(value: &Bound<'_, PyAny>) -> PyResult<String> {
    if value.is_instance_of::<PyFloat>() {
        return value.call_method1("__format__", (".6g",))?.extract();
    }
    if value.is_instance_of::<PyString>() {
        return value.extract();
    }
    if let Ok(parts) = value.cast::<pyo3::types::PyTuple>() {
        let parts = parts.iter().map(|part| shown(&part)).collect::<PyResult<Vec<_>>>()?;
        return Ok(format!("({})", parts.join(", ")));
    }
    // A part's own display may be broken into lines.
    let text = value.repr()?.to_string();
    Ok(text.split_whitespace().collect::<Vec<_>>().join(" "))
}
