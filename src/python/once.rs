//! What a frozen object makes when it is first asked for it.

use std::sync::{Arc, OnceLock};

use pyo3::prelude::*;

/// Something that is made at most once: no part of its object's value, and shared by its copies.
pub(super) struct Once<T>(Arc<OnceLock<T>>);

impl<T> Once<T> {
    /// What was made, or is made now.
    pub(super) fn get(&self, make: impl FnOnce() -> PyResult<T>) -> PyResult<&T> {
        if let Some(made) = self.0.get() {
            return Ok(made);
        }
        let made = make()?;
        Ok(self.0.get_or_init(|| made))
    }
}

impl<T> Default for Once<T> {
    fn default() -> Self {
        Self(Arc::default())
    }
}

impl<T> Clone for Once<T> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

/// Objects do not differ by what was asked of them.
impl<T> PartialEq for Once<T> {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}
