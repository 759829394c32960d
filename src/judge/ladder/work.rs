//! The works that one may pay for, and what each changes in a train.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::judge::evidence::Evidence;
use crate::model::Train;

/// A promised RMS above this is no promise, nm of wavefront.
const MOST_PROMISED_NM: f64 = 200.0;

/// A work that one may pay for: its name, its price, and what it changes.
///
/// Units: mm; shares of the power; prices in the user's own currency, 0 for what costs nothing.
/// Errors: [`Error::Input`] from [`Work::check`], and wherever works are compared, for a price below 0 or not finite,
/// an empty name, and values that cannot be.
///
/// ```
/// use catoptric::Work;
/// let mask = Work::mask(308.0, 4.0);
/// assert_eq!((mask.name.as_str(), mask.kind()), ("mask of 308 mm", "mask"));
/// assert!(Work::mask(308.0, -4.0).check().is_err());
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Work {
    /// What it is called in tables and sentences.
    pub name: String,
    /// What it costs.
    pub price: f64,
    /// What it changes.
    pub change: WorkChange,
}

/// What a work changes in a train.
///
/// ```
/// use catoptric::{Work, WorkChange};
/// assert_eq!(Work::mask(308.0, 4.0).change, WorkChange::Mask { diameter_mm: 308.0 });
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum WorkChange {
    /// A ring mask over the mirror's rim, in place of any that is there.
    Mask {
        /// Its inner diameter, mm.
        diameter_mm: f64,
    },
    /// The primary is figured again.
    Refigure {
        /// What is known, promised or hoped of the figure afterwards.
        after: RefigureAfter,
        /// Reflectance of the new coat, where one is part of the work; none: the mirror is taken to return what it does
        /// now.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        recoat_reflectance: Option<f64>,
    },
    /// New coats, even ones, in place of all that is there: haze, worn or thin metal, pinholes, a film on the diagonal.
    Recoat {
        /// Share of the power that the primary's new coat returns; none: the primary keeps its coat.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        primary_reflectance: Option<f64>,
        /// The same of the diagonal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        diagonal_reflectance: Option<f64>,
    },
    /// Another diagonal, offset for the largest lit circle it serves.
    ChangeDiagonal {
        /// Its minor axis, mm.
        minor_axis_mm: f64,
        /// Share of the power that it returns; none: what the present one returns, its film included.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reflectance: Option<f64>,
    },
    /// Anything else: the train as it will be.
    Other {
        /// That train.
        train: Box<Train>,
    },
}

/// What is known, promised or hoped of a figure after a refigure.
///
/// A promise is not a measurement: its range is carried as evenly spread, and the shape that it leaves is taken to be
/// spherical aberration, a conic off the paraboloid. A perfect paraboloid is an upper bound and is called so.
///
/// ```
/// use catoptric::RefigureAfter;
/// let promise = RefigureAfter::PromisedRmsNm { least: 5.0, greatest: 20.0 };
/// assert_ne!(promise, RefigureAfter::PerfectParaboloid);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum RefigureAfter {
    /// A range that somebody promises, RMS of the wavefront over the clear aperture, nm.
    PromisedRmsNm {
        /// Its lower end, nm.
        least: f64,
        /// Its upper end, nm.
        greatest: f64,
    },
    /// What was measured afterwards.
    Measured(Box<Evidence>),
    /// No error at all: an upper bound of what the work can bring.
    PerfectParaboloid,
}

impl Work {
    fn new(name: String, price: f64, change: WorkChange) -> Self {
        Self { name, price, change }
    }

    /// A ring mask of this inner diameter, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Work::mask(308.0, 4.0).price, 4.0);
    /// ```
    pub fn mask(diameter_mm: f64, price: f64) -> Self {
        Self::new(format!("mask of {diameter_mm} mm"), price, WorkChange::Mask { diameter_mm })
    }

    /// A refigure of the primary.
    ///
    /// ```
    /// use catoptric::{RefigureAfter, Work};
    /// let work = Work::refigure(RefigureAfter::PerfectParaboloid, 700.0);
    /// assert_eq!(work.name, "refigure to a perfect paraboloid (upper bound)");
    /// ```
    pub fn refigure(after: RefigureAfter, price: f64) -> Self {
        let name = if matches!(after, RefigureAfter::PerfectParaboloid) {
            "refigure to a perfect paraboloid (upper bound)"
        } else {
            "refigure"
        };
        Self::new(name.to_owned(), price, WorkChange::Refigure { after, recoat_reflectance: None })
    }

    /// The same refigure with a new coat of this reflectance; other works are left as they are.
    ///
    /// ```
    /// use catoptric::{RefigureAfter, Work};
    /// let promise = RefigureAfter::PromisedRmsNm { least: 5.0, greatest: 20.0 };
    /// assert_eq!(Work::refigure(promise, 880.0).with_recoat(0.91).name, "refigure and recoat");
    /// ```
    #[must_use]
    pub fn with_recoat(mut self, reflectance: f64) -> Self {
        if let WorkChange::Refigure { recoat_reflectance, .. } = &mut self.change {
            *recoat_reflectance = Some(reflectance);
            self.name = self.name.replacen("refigure", "refigure and recoat", 1);
        }
        self
    }

    /// A new coat of the primary that returns this share of the power.
    ///
    /// ```
    /// assert_eq!(catoptric::Work::recoat_primary(0.91, 240.0).name, "recoat of the primary");
    /// ```
    pub fn recoat_primary(reflectance: f64, price: f64) -> Self {
        Self::recoat("recoat of the primary", (Some(reflectance), None), price)
    }

    /// A new coat of the diagonal that returns this share of the power.
    ///
    /// ```
    /// assert_eq!(catoptric::Work::recoat_diagonal(0.91, 35.0).name, "recoat of the diagonal");
    /// ```
    pub fn recoat_diagonal(reflectance: f64, price: f64) -> Self {
        Self::recoat("recoat of the diagonal", (None, Some(reflectance)), price)
    }

    /// New coats of primary and diagonal, in this order.
    ///
    /// ```
    /// assert_eq!(catoptric::Work::recoat_both(0.91, 0.95, 275.0).name, "recoat of both mirrors");
    /// ```
    pub fn recoat_both(primary_reflectance: f64, diagonal_reflectance: f64, price: f64) -> Self {
        let both = (Some(primary_reflectance), Some(diagonal_reflectance));
        Self::recoat("recoat of both mirrors", both, price)
    }

    fn recoat(name: &str, (primary, diagonal): (Option<f64>, Option<f64>), price: f64) -> Self {
        let change = WorkChange::Recoat { primary_reflectance: primary, diagonal_reflectance: diagonal };
        Self::new(name.to_owned(), price, change)
    }

    /// Another diagonal of this minor axis, mm, that returns what the present one does.
    ///
    /// ```
    /// assert_eq!(catoptric::Work::change_diagonal(63.5, 60.0).name, "diagonal of 63.5 mm");
    /// ```
    pub fn change_diagonal(minor_axis_mm: f64, price: f64) -> Self {
        let change = WorkChange::ChangeDiagonal { minor_axis_mm, reflectance: None };
        Self::new(format!("diagonal of {minor_axis_mm} mm"), price, change)
    }

    /// Any other work, by the train that it leaves.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, Train, Work};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert_eq!(Work::other("new spider", train, 30.0).kind(), "other");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn other(name: impl Into<String>, train: Train, price: f64) -> Self {
        Self::new(name.into(), price, WorkChange::Other { train: Box::new(train) })
    }

    /// The same work under another name.
    ///
    /// ```
    /// assert_eq!(catoptric::Work::mask(308.0, 4.0).named("cardboard ring").name, "cardboard ring");
    /// ```
    #[must_use]
    pub fn named(self, name: impl Into<String>) -> Self {
        Self { name: name.into(), ..self }
    }

    /// What kind of work it is: `mask`, `refigure`, `recoat`, `change_diagonal` or `other`.
    ///
    /// ```
    /// assert_eq!(catoptric::Work::change_diagonal(63.5, 60.0).kind(), "change_diagonal");
    /// ```
    pub fn kind(&self) -> &'static str {
        match self.change {
            WorkChange::Mask { .. } => "mask",
            WorkChange::Refigure { .. } => "refigure",
            WorkChange::Recoat { .. } => "recoat",
            WorkChange::ChangeDiagonal { .. } => "change_diagonal",
            WorkChange::Other { .. } => "other",
        }
    }

    /// Refuses a work that cannot be, whatever the train.
    ///
    /// ```
    /// assert!(catoptric::Work::recoat_primary(91.0, 240.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        self.check_within("")
    }

    /// The same; `path` stands before the names of fields.
    pub(super) fn check_within(&self, path: &str) -> Result<()> {
        let refuse = |field: &str, value: String, allowed: &str, cause: &str| {
            Err(Error::input(format!("{path}{field}"), value, allowed, cause))
        };
        if self.name.trim().is_empty() {
            return refuse("name", format!("{:?}", self.name), "a name to be told by", "");
        }
        if !(self.price >= 0.0 && self.price.is_finite()) {
            let cause = if self.price < 0.0 { "a sign? what is sold again is no work" } else { "" };
            return refuse("price", self.price.to_string(), "0 or more", cause);
        }
        let length = |field: &str, value: f64| {
            if value > 0.0 && value.is_finite() {
                return Ok(());
            }
            refuse(field, value.to_string(), "a length above 0, mm", "")
        };
        let share = |field: &str, value: Option<f64>| match value {
            Some(value) if !(value > 0.0 && value <= 1.0) => {
                let cause = if value > 1.0 { "per cent given for a share?" } else { "" };
                refuse(field, value.to_string(), "a share above 0 and not above 1", cause)
            }
            _ => Ok(()),
        };
        match &self.change {
            WorkChange::Mask { diameter_mm } => length("diameter_mm", *diameter_mm),
            WorkChange::Refigure { after, recoat_reflectance } => {
                if let RefigureAfter::PromisedRmsNm { least, greatest } = after
                    && !(*least >= 0.0 && *greatest <= MOST_PROMISED_NM && least <= greatest)
                {
                    let found = format!("{least} to {greatest}");
                    let allowed = format!("a range within 0 to {MOST_PROMISED_NM} nm of wavefront");
                    return refuse("after_rms_nm", found, &allowed, "ends exchanged, or waves for nm?");
                }
                share("recoat_reflectance", *recoat_reflectance)
            }
            WorkChange::Recoat { primary_reflectance, diagonal_reflectance } => {
                if primary_reflectance.is_none() && diagonal_reflectance.is_none() {
                    return refuse("reflectance", "nothing".to_owned(), "that of one mirror or of both", "");
                }
                share("primary_reflectance", *primary_reflectance)?;
                share("diagonal_reflectance", *diagonal_reflectance)
            }
            WorkChange::ChangeDiagonal { minor_axis_mm, reflectance } => {
                length("minor_axis_mm", *minor_axis_mm)?;
                share("reflectance", *reflectance)
            }
            WorkChange::Other { .. } => Ok(()),
        }
    }

    /// Why two works make no pair, if they make none.
    pub(super) fn excludes(&self, other: &Self) -> Option<&'static str> {
        use WorkChange::{ChangeDiagonal, Mask, Other, Recoat, Refigure};
        match (&self.change, &other.change) {
            (Mask { .. }, Mask { .. }) => Some("one mask takes the other's place"),
            (Refigure { .. }, Refigure { .. }) => Some("one figure takes the other's place"),
            (ChangeDiagonal { .. }, ChangeDiagonal { .. }) => Some("one diagonal takes the other's place"),
            (Other { .. }, Other { .. }) => {
                Some("each is a whole train of its own: put the train with both on the list")
            }
            (
                Recoat { primary_reflectance: p, diagonal_reflectance: d },
                Recoat { primary_reflectance: q, diagonal_reflectance: e },
            ) => (p.is_some() && q.is_some() || d.is_some() && e.is_some())
                .then_some("one coat takes the other's place"),
            (Refigure { recoat_reflectance: Some(_), .. }, Recoat { primary_reflectance: Some(_), .. })
            | (Recoat { primary_reflectance: Some(_), .. }, Refigure { recoat_reflectance: Some(_), .. }) => {
                Some("the refigure brings a new coat of the primary already")
            }
            (ChangeDiagonal { reflectance: Some(_), .. }, Recoat { diagonal_reflectance: Some(_), .. })
            | (Recoat { diagonal_reflectance: Some(_), .. }, ChangeDiagonal { reflectance: Some(_), .. }) => {
                Some("the new diagonal brings its own coat")
            }
            _ => None,
        }
    }
}
