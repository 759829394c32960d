//! Computing without holding the interpreter, while the caller's thread looks for Ctrl-C.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, SendError, Sender};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use pyo3::exceptions::PyRuntimeError;
use pyo3::prelude::*;

use super::errors::exception;
use crate::error::{Error, Result};
use crate::numeric::pool::{self, StopFlag};

/// How often a waiting call looks for Ctrl-C.
const GLANCE: Duration = Duration::from_millis(50);
/// How many threads wait for the next call: the making of one, and of its memory, costs as much as a small picture.
const KEPT: usize = 4;

/// What a computation has come to; the outer error is a panic.
type Answer<T> = thread::Result<Result<T>>;

/// Runs a computation without holding the interpreter, and turns what may go wrong into an exception.
///
/// A thread does the work while the caller's waits and looks for Ctrl-C; after one the answer is no longer
/// waited for, and the work stops at its next piece. A panic is a defect of the library; it becomes a
/// `RuntimeError` and never leaves as an abort.
pub(super) fn compute<T: Send + 'static>(
    py: Python<'_>,
    work: impl FnOnce() -> Result<T> + Send + 'static,
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
    work: impl FnOnce(&AtomicUsize) -> Result<T> + Send + 'static,
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

/// Runs a computation on arrays that are borrowed. Only a long one leaves the caller's thread.
pub(super) fn compute_on_loan<T: Send>(
    py: Python<'_>,
    is_long: bool,
    work: impl FnOnce() -> Result<T> + Send,
) -> PyResult<T> {
    if !is_long {
        return told(py, py.detach(|| catch_unwind(AssertUnwindSafe(work))));
    }
    let (sender, receiver) = mpsc::channel();
    let flag = StopFlag::default();
    // After Ctrl-C the work ends at its next piece, and with it the loan.
    thread::scope(|scope| {
        let heeded = flag.clone();
        scope.spawn(move || sender.send(heeding(&heeded, work)));
        awaited(py, receiver, &flag, || Ok(()))
    })
}

/// Waits for a computation, and does something at every glance; an error of that stops the work.
fn compute_while<T: Send + 'static>(
    py: Python<'_>,
    work: impl FnOnce() -> Result<T> + Send + 'static,
    at_a_glance: impl Fn() -> PyResult<()>,
) -> PyResult<T> {
    let (sender, receiver) = mpsc::channel();
    let flag = StopFlag::default();
    let heeded = flag.clone();
    hand_over(Box::new(move || {
        let answer = heeding(&heeded, work);
        // Nobody listens any more after Ctrl-C.
        Box::new(move || drop(sender.send(answer)))
    }));
    awaited(py, receiver, &flag, at_a_glance)
}

fn heeding<T>(flag: &StopFlag, work: impl FnOnce() -> Result<T>) -> Answer<T> {
    let stoppable = || pool::stoppable(flag, work).unwrap_or(Err(Error::Stopped));
    catch_unwind(AssertUnwindSafe(stoppable))
}

fn awaited<T: Send>(
    py: Python<'_>,
    mut receiver: Receiver<Answer<T>>,
    flag: &StopFlag,
    at_a_glance: impl Fn() -> PyResult<()>,
) -> PyResult<T> {
    loop {
        let waiting = &mut receiver;
        match py.detach(move || waiting.recv_timeout(GLANCE)) {
            Ok(answer) => return told(py, answer),
            Err(RecvTimeoutError::Timeout) => {
                py.check_signals().and_then(|()| at_a_glance()).inspect_err(|_| flag.stop())?;
            }
            Err(RecvTimeoutError::Disconnected) => return Err(broken_off()),
        }
    }
}

fn told<T>(py: Python<'_>, answer: Answer<T>) -> PyResult<T> {
    answer.map_err(|_| broken_off())?.map_err(|error| exception(py, error))
}

fn broken_off() -> PyErr {
    PyRuntimeError::new_err("a defect in catoptric: the computation broke off")
}

/// Work for a thread, and how to tell of it afterwards.
type Work = Box<dyn FnOnce() -> Tell + Send>;
type Tell = Box<dyn FnOnce()>;

/// The threads that wait for work, and the process that they live in: a fork leaves them behind.
static IDLE: Mutex<(u32, Vec<Sender<Work>>)> = Mutex::new((0, Vec::new()));

/// Gives work to a thread that waits for it, or to a new one.
fn hand_over(work: Work) {
    // A lock that somebody held when the process was forked stays closed: nobody waits for it here.
    let waiting = IDLE.try_lock().ok().and_then(|mut idle| {
        let (process, threads) = &mut *idle;
        if *process != process::id() {
            (*process, *threads) = (process::id(), Vec::new());
        }
        threads.pop()
    });
    let not_taken = match waiting {
        Some(thread) => thread.send(work).err().map(|SendError(work)| work),
        None => Some(work),
    };
    if let Some(work) = not_taken {
        thread::spawn(move || work_on(work));
    }
}

/// Does work after work, for as long as few threads wait.
fn work_on(mut work: Work) {
    let (sender, receiver) = mpsc::channel();
    loop {
        let tell = work();
        // Whoever is told may have the next work at once, so this thread is at hand before.
        let waits = IDLE.try_lock().is_ok_and(|mut idle| {
            let (process, threads) = &mut *idle;
            let waits = *process == process::id() && threads.len() < KEPT;
            if waits {
                threads.push(sender.clone());
            }
            waits
        });
        tell();
        match waits.then(|| receiver.recv()) {
            Some(Ok(next)) => work = next,
            _ => return,
        }
    }
}
