//! What can go wrong: one error type, and the problems it carries.

use std::fmt;

/// Whether a problem forbids the work or only deserves a look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Severity {
    /// The input cannot be used.
    Fault,
    /// The input is used as it stands, but is unusual.
    Warning,
}

/// One thing that is wrong, or odd, with an input.
///
/// Units: the field's own, named in the field's name.
///
/// ```
/// use catoptric::{Primary, FocalLengthMm, Train};
/// let error = Train::builder(Primary::new(f64::NAN, FocalLengthMm(1558.0))).build().unwrap_err();
/// assert_eq!(error.problems()[0].field, "primary.clear_aperture_mm");
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Fault or warning.
    pub severity: Severity,
    /// Where: the path of the field, as `primary.coating.reflectance`.
    pub field: String,
    /// The value found there, as text.
    pub value: String,
    /// What is allowed there.
    pub allowed: String,
    /// What most likely happened, or an empty text.
    pub cause: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} = {}: {}", self.field, self.value, self.allowed)?;
        if !self.cause.is_empty() {
            write!(f, " ({})", self.cause)?;
        }
        Ok(())
    }
}

/// Every way in which a call of this library can fail.
///
/// ```
/// use catoptric::{Error, Train};
/// assert!(matches!(Train::from_json("{"), Err(Error::Unreadable { .. })));
/// ```
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// Values that cannot be used; all that were found, not only the first.
    #[error("{}", list(.0))]
    Input(Vec<Problem>),
    /// A text that is not of the expected format at all.
    #[error("{what} cannot be read at {place}: {message}")]
    Unreadable {
        /// What was being read: a train, a table of readings.
        what: &'static str,
        /// The line or field where reading stopped.
        place: String,
        /// What the reader found there.
        message: String,
    },
    /// A file that the system did not give.
    #[error("{path}: {message}")]
    File {
        /// The file's path as it was given.
        path: String,
        /// What kind of failure it was.
        kind: std::io::ErrorKind,
        /// The system's words.
        message: String,
    },
    /// An iteration that did not reach its accuracy.
    #[error("{what} did not converge: reached {reached:.3e}, wanted {wanted:.3e}")]
    NotConverged {
        /// What was being computed.
        what: &'static str,
        /// The error estimate where it stopped.
        reached: f64,
        /// The error allowed.
        wanted: f64,
    },
    /// No light reaches the image at the field point that was asked for.
    #[error("no light reaches the image at field ({x_arcmin}, {y_arcmin}) arcmin: {stopped_by}")]
    NoLight {
        /// Field angle toward the focuser's side.
        x_arcmin: f64,
        /// Field angle across.
        y_arcmin: f64,
        /// The part that stops most of the light.
        stopped_by: String,
    },
    /// The caller asked the work to stop.
    #[error("stopped on request")]
    Stopped,
}

/// The result of every fallible call.
pub type Result<T> = std::result::Result<T, Error>;

impl Error {
    /// The faults that an [`Error::Input`] carries; empty for the other kinds.
    pub fn problems(&self) -> &[Problem] {
        match self {
            Self::Input(problems) => problems,
            _ => &[],
        }
    }

    /// An input error about one field.
    pub(crate) fn input(
        field: impl Into<String>,
        value: impl fmt::Display,
        allowed: impl Into<String>,
        cause: impl Into<String>,
    ) -> Self {
        Self::Input(vec![Problem {
            severity: Severity::Fault,
            field: field.into(),
            value: value.to_string(),
            allowed: allowed.into(),
            cause: cause.into(),
        }])
    }
}

fn list(problems: &[Problem]) -> String {
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

/// Collects the problems of one object, field by field, under one path.
///
/// Every `check` in [`crate::model`] writes into one of these, so that construction,
/// reading from a file and `problems()` share the same rules.
#[derive(Debug, Default)]
pub(crate) struct Findings {
    path: Vec<String>,
    problems: Vec<Problem>,
}

impl Findings {
    /// Runs `check` with `part` appended to the path of the fields it names.
    pub(crate) fn within(&mut self, part: impl Into<String>, check: impl FnOnce(&mut Self)) {
        self.path.push(part.into());
        check(self);
        self.path.pop();
    }

    /// Notes a fault.
    pub(crate) fn fault(&mut self, field: &str, value: impl fmt::Display, allowed: &str, cause: &str) {
        self.note(Severity::Fault, field, &value, allowed, cause);
    }

    /// Notes a warning.
    pub(crate) fn warning(&mut self, field: &str, value: impl fmt::Display, allowed: &str, cause: &str) {
        self.note(Severity::Warning, field, &value, allowed, cause);
    }

    /// Notes a fault unless `value` is a finite number that `is_good`; tells whether it was.
    pub(crate) fn number(
        &mut self,
        field: &str,
        value: f64,
        is_good: impl FnOnce(f64) -> bool,
        allowed: &str,
        cause: &str,
    ) -> bool {
        if !value.is_finite() {
            self.fault(field, value, allowed, "not a finite number");
            return false;
        }
        let good = is_good(value);
        if !good {
            self.fault(field, value, allowed, cause);
        }
        good
    }

    /// Notes a fault unless `value` is a length that a telescope can have; tells whether it was.
    pub(crate) fn length(&mut self, field: &str, value: f64) -> bool {
        // Between a micrometre and a kilometre: beyond, sums of squares lose their digits.
        let allowed = "a length above 0 (0.001 mm to 1000 m)";
        let cause = if value <= 0.0 { "a sign, or an empty cell read as 0" } else { "other units?" };
        self.number(field, value, |v| (1e-3..=1e6).contains(&v), allowed, cause)
    }

    /// The faults as an error, or nothing if there are none.
    pub(crate) fn refuse(self) -> Result<()> {
        let faults: Vec<Problem> =
            self.problems.into_iter().filter(|p| p.severity == Severity::Fault).collect();
        if faults.is_empty() { Ok(()) } else { Err(Error::Input(faults)) }
    }

    /// The warnings alone.
    pub(crate) fn warnings(self) -> Vec<Problem> {
        self.problems.into_iter().filter(|p| p.severity == Severity::Warning).collect()
    }

    /// Whether a fault was noted so far.
    pub(crate) fn has_fault(&self) -> bool {
        self.problems.iter().any(|p| p.severity == Severity::Fault)
    }

    fn note(
        &mut self,
        severity: Severity,
        field: &str,
        value: &dyn fmt::Display,
        allowed: &str,
        cause: &str,
    ) {
        let mut path = self.path.join(".");
        if !path.is_empty() && !field.is_empty() {
            path.push('.');
        }
        path.push_str(field);
        self.problems.push(Problem {
            severity,
            field: path,
            value: value.to_string(),
            allowed: allowed.to_owned(),
            cause: cause.to_owned(),
        });
    }
}
