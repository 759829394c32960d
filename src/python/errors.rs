//! Errors of the crate as exceptions of the package, in one place.

use std::io::ErrorKind;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread;
use std::time::Duration;

use pyo3::exceptions::{
    PyFileNotFoundError, PyKeyboardInterrupt, PyOSError, PyPermissionError, PyRuntimeError,
};
use pyo3::prelude::*;

use crate::error::{Error, Problem, Severity};
use crate::numeric::pool::{self, StopFlag};

mod exceptions {
    pyo3::import_exception!(catoptric.errors, InputError);
    pyo3::import_exception!(catoptric.errors, NotConverged);
}
pub(super) use exceptions::{InputError, NotConverged};

/// How often a waiting call looks for Ctrl-C.
const GLANCE: Duration = Duration::from_millis(50);

/// Runs a computation without holding the interpreter, and turns what may go wrong into an exception.
///
/// A thread does the work while the caller's waits and looks for Ctrl-C; after one the answer is no longer
/// waited for, and the work stops at its next piece. A panic is a defect of the library; it becomes a
/// `RuntimeError` and never leaves as an abort.
pub(super) fn compute<T: Send + 'static>(
    py: Python<'_>,
    work: impl FnOnce() -> Result<T, Error> + Send + 'static,
) -> PyResult<T> {
    compute_while(py, work, || Ok(()))
}

/// The same, telling how far the work is: `progress(done, total)` at every glance and at the end.
///
/// What the callback raises stops the work and is returned unchanged.
pub(super) fn compute_counting<T: Send + 'static>(
    py: Python<'_>,
    total: usize,
    progress: Option<&Bound<'_, PyAny>>,
    work: impl FnOnce(&AtomicUsize) -> Result<T, Error> + Send + 'static,
) -> PyResult<T> {
    let counted = Arc::new(AtomicUsize::new(0));
    let done = counted.clone();
    let tell = || match progress {
        Some(progress) => progress.call1((done.load(Ordering::Relaxed), total)).map(|_| ()),
        None => Ok(()),
    };
    let answer = compute_while(py, move || work(&counted), tell)?;
    tell()?;
    Ok(answer)
}

/// Waits for a computation, and does something at every glance; an error of that stops the work.
fn compute_while<T: Send + 'static>(
    py: Python<'_>,
    work: impl FnOnce() -> Result<T, Error> + Send + 'static,
    at_a_glance: impl Fn() -> PyResult<()>,
) -> PyResult<T> {
    let (sender, mut receiver) = mpsc::channel();
    let flag = StopFlag::default();
    let heeded = flag.clone();
    thread::spawn(move || {
        let stoppable = || pool::stoppable(&heeded, work).unwrap_or(Err(Error::Stopped));
        let answer = catch_unwind(AssertUnwindSafe(stoppable));
        // Nobody listens any more after Ctrl-C.
        let _ = sender.send(answer);
    });
    loop {
        let waiting = &mut receiver;
        match py.detach(move || waiting.recv_timeout(GLANCE)) {
            Ok(Ok(answer)) => return answer.map_err(|error| exception(py, error)),
            Err(RecvTimeoutError::Timeout) => {
                py.check_signals().and_then(|()| at_a_glance()).inspect_err(|_| flag.stop())?;
            }
            Ok(Err(_)) | Err(RecvTimeoutError::Disconnected) => {
                return Err(PyRuntimeError::new_err("a defect in catoptric: the computation broke off"));
            }
        }
    }
}

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
