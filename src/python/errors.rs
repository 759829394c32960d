//! Errors of the crate as exceptions of the package, in one place.

use std::io::ErrorKind;

use pyo3::exceptions::{PyFileNotFoundError, PyKeyboardInterrupt, PyOSError, PyPermissionError};
use pyo3::prelude::*;

use crate::error::{Error, Problem, Severity};

mod exceptions {
    pyo3::import_exception!(catoptric.errors, InputError);
    pyo3::import_exception!(catoptric.errors, NotConverged);
}
pub(super) use exceptions::{InputError, NotConverged};

/// The exception that stands for an error.
pub(super) fn exception(py: Python<'_>, error: Error) -> PyErr {
    match error {
        Error::Input(problems) => input_error(py, &problems),
        Error::Unreadable { what, place, message } => {
            refused(py, &place, &message, &format!("what {what} can hold there"), "")
        }
        Error::File { path, kind, message } => {
            let words = format!("{path}: {message}");
            match kind {
                ErrorKind::NotFound => PyFileNotFoundError::new_err(words),
                ErrorKind::PermissionDenied => PyPermissionError::new_err(words),
                _ => PyOSError::new_err(words),
            }
        }
        Error::NoLight { x_arcmin, y_arcmin, stopped_by } => refused(
            py,
            "field_arcmin",
            &format!("({x_arcmin}, {y_arcmin})"),
            "a field point that light reaches",
            &stopped_by,
        ),
        Error::NotConverged { what, reached, wanted } => NotConverged::new_err((what, reached, wanted)),
        Error::Stopped => PyKeyboardInterrupt::new_err(()),
    }
}

/// An `InputError` about one field.
pub(super) fn refused(py: Python<'_>, field: &str, value: &str, allowed: &str, cause: &str) -> PyErr {
    input_error(
        py,
        &[Problem {
            severity: Severity::Fault,
            field: field.to_owned(),
            value: value.to_owned(),
            allowed: allowed.to_owned(),
            cause: cause.to_owned(),
        }],
    )
}

fn input_error(py: Python<'_>, problems: &[Problem]) -> PyErr {
    match python_problems(py, problems) {
        Ok(list) => InputError::new_err((list,)),
        Err(error) => error,
    }
}

/// Problems as instances of the package's own class.
pub(super) fn python_problems(py: Python<'_>, problems: &[Problem]) -> PyResult<Vec<Py<PyAny>>> {
    let class = py.import("catoptric.errors")?.getattr("Problem")?;
    let made = problems.iter().map(|p| {
        let severity = match p.severity {
            Severity::Fault => "fault",
            Severity::Warning => "warning",
        };
        Ok(class.call1((severity, &p.field, &p.value, &p.allowed, &p.cause))?.unbind())
    });
    made.collect()
}
