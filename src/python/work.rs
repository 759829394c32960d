//! Works that one may pay for.

use pyo3::prelude::*;
use pyo3::types::{PyDict, PyString};
use serde::{Deserialize, Serialize};

use super::arguments::{list, maybe_part_number, one_or_list, part_number};
use super::compute::compute;
use super::errors::{exception, refused};
use super::judge::{Given, figure_of};
use super::record::{getters, record};
use super::train::PyTrain;
use crate::{ReduceOptions, RefigureAfter, Work, WorkChange};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyWork>()
}

/// A work that one may pay for: its name, its price, and what it changes in the train.
///
/// Made by `Work.mask`, `Work.refigure`, `Work.recoat`, `Work.change_diagonal` and `Work.other`, each with a price (0
/// for what costs nothing) in the user's own currency, and a name if the usual one does not serve.
///
/// Units: mm; shares of the power.
/// Errors: InputError for prices below 0, empty names, values that cannot be.
///
/// >>> assert ct.Work.mask(diameter_mm=308, price=4).name == "mask of 308 mm"
#[pyclass(name = "Work", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyWork(pub(super) Work);

impl PyWork {
    fn checked(py: Python<'_>, work: Work, name: Option<&str>) -> PyResult<Self> {
        let work = match name {
            Some(name) => work.named(name),
            None => work,
        };
        work.check().map_err(|e| exception(py, e))?;
        Ok(Self(work))
    }
}

#[pymethods]
impl PyWork {
    /// Return a ring mask over the mirror's rim, by its inner diameter; it takes the place of any that is there.
    ///
    /// Units: mm.
    ///
    /// >>> assert ct.Work.mask(diameter_mm=308, price=4, name="cardboard ring").kind == "mask"
    #[staticmethod]
    #[pyo3(signature = (*, diameter_mm, price, name=None))]
    fn mask(
        py: Python<'_>,
        diameter_mm: &Bound<'_, PyAny>,
        price: &Bound<'_, PyAny>,
        name: Option<&str>,
    ) -> PyResult<Self> {
        let work = Work::mask(part_number(diameter_mm, "diameter_mm")?, part_number(price, "price")?);
        Self::checked(py, work, name)
    }

    /// Return a refigure of the primary.
    ///
    /// What is known of the figure afterwards is one of these. `after_rms_nm`: a promised range of the wavefront's RMS
    /// over the clear aperture; it is carried as evenly spread and as spherical aberration, and is no measurement.
    /// `after`: readings, a sheet, a report or a figure made of one, where the mirror was measured already; or
    /// "perfect_paraboloid", an upper bound.
    /// `recoat_reflectance` is that of a new coat, where it is part of the work.
    ///
    /// Units: nm of wavefront.
    /// Leaves out: readings given here are reduced with radii good to 0.2 mm; reduce them first for another value.
    ///
    /// >>> work = ct.Work.refigure(after_rms_nm=(5, 20), recoat_reflectance=0.91, price=880)
    /// >>> assert work.name == "refigure and recoat"
    /// >>> assert "upper bound" in ct.Work.refigure(after="perfect_paraboloid", price=880).name
    #[staticmethod]
    #[pyo3(signature = (*, price, after=None, after_rms_nm=None, recoat_reflectance=None, name=None))]
    fn refigure(
        py: Python<'_>,
        price: &Bound<'_, PyAny>,
        after: Option<&Bound<'_, PyAny>>,
        after_rms_nm: Option<&Bound<'_, PyAny>>,
        recoat_reflectance: Option<&Bound<'_, PyAny>>,
        name: Option<&str>,
    ) -> PyResult<Self> {
        let after = match (after, after_rms_nm) {
            (Some(after), None) => refigured(py, after)?,
            (None, Some(range)) => match list(range, "after_rms_nm")?[..] {
                [least, greatest] => RefigureAfter::PromisedRmsNm { least, greatest },
                ref other => {
                    let found = format!("{} numbers", other.len());
                    return Err(refused(
                        py,
                        "after_rms_nm",
                        &found,
                        "a pair: the least and the greatest RMS",
                        "",
                    ));
                }
            },
            (given, _) => {
                let found = if given.is_some() { "both" } else { "nothing" };
                let allowed = "one of after and after_rms_nm";
                return Err(refused(py, "after", found, allowed, ""));
            }
        };
        let mut work = Work::refigure(after, part_number(price, "price")?);
        if let Some(reflectance) = maybe_part_number(recoat_reflectance, "recoat_reflectance")? {
            work = work.with_recoat(reflectance);
        }
        Self::checked(py, work, name)
    }

    /// Return a new coat of the "primary", the "diagonal" or "both"; for both give one reflectance or a pair in that
    /// order.
    ///
    /// Units: shares of the power.
    ///
    /// >>> assert ct.Work.recoat(mirror="primary", reflectance=0.91, price=240).name == "recoat of the primary"
    /// >>> assert ct.Work.recoat(mirror="both", reflectance=(0.91, 0.94), price=275).kind == "recoat"
    #[staticmethod]
    #[pyo3(signature = (*, mirror, reflectance, price, name=None))]
    fn recoat(
        py: Python<'_>,
        mirror: &str,
        reflectance: &Bound<'_, PyAny>,
        price: &Bound<'_, PyAny>,
        name: Option<&str>,
    ) -> PyResult<Self> {
        let price = part_number(price, "price")?;
        let shares = one_or_list(reflectance, "reflectance")?;
        let work = match (mirror, &shares[..]) {
            ("primary", [one]) => Work::recoat_primary(*one, price),
            ("diagonal", [one]) => Work::recoat_diagonal(*one, price),
            ("both", [one]) => Work::recoat_both(*one, *one, price),
            ("both", [primary, diagonal]) => Work::recoat_both(*primary, *diagonal, price),
            ("primary" | "diagonal" | "both", other) => {
                let found = format!("{} numbers", other.len());
                return Err(refused(py, "reflectance", &found, "one share, or for both mirrors a pair", ""));
            }
            (other, _) => return Err(refused(py, "mirror", other, "'primary', 'diagonal' or 'both'", "")),
        };
        Self::checked(py, work, name)
    }

    /// Return a change of the diagonal, by the minor axis of the new one, offset for the largest lit circle it serves.
    ///
    /// Without a reflectance it is taken to return what the present one does, its film included.
    /// Units: mm; a share of the power.
    ///
    /// >>> assert ct.Work.change_diagonal(minor_axis_mm=63.5, price=60).name == "diagonal of 63.5 mm"
    #[staticmethod]
    #[pyo3(signature = (*, minor_axis_mm, price, reflectance=None, name=None))]
    fn change_diagonal(
        py: Python<'_>,
        minor_axis_mm: &Bound<'_, PyAny>,
        price: &Bound<'_, PyAny>,
        reflectance: Option<&Bound<'_, PyAny>>,
        name: Option<&str>,
    ) -> PyResult<Self> {
        let minor_axis_mm = part_number(minor_axis_mm, "minor_axis_mm")?;
        let mut work = Work::change_diagonal(minor_axis_mm, part_number(price, "price")?);
        let reflectance = maybe_part_number(reflectance, "reflectance")?;
        work.change = WorkChange::ChangeDiagonal { minor_axis_mm, reflectance };
        Self::checked(py, work, name)
    }

    /// Return any other work, by the train that it leaves.
    ///
    /// Where that train's primary has the figure of the train that is judged, what was measured of it counts for both.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> assert ct.Work.other(name="new spider", train=train, price=30).kind == "other"
    #[staticmethod]
    #[pyo3(signature = (*, name, train, price))]
    fn other(
        py: Python<'_>,
        name: &str,
        train: &Bound<'_, PyTrain>,
        price: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let train = train.get().train.clone();
        Self::checked(py, Work::other(name, train, part_number(price, "price")?), None)
    }

    /// Reflectances of new coats: of the primary and of the diagonal, each None where it keeps what it has.
    #[getter]
    fn reflectance(&self) -> (Option<f64>, Option<f64>) {
        match self.0.change {
            WorkChange::Recoat { primary_reflectance, diagonal_reflectance } => {
                (primary_reflectance, diagonal_reflectance)
            }
            WorkChange::Refigure { recoat_reflectance, .. } => (recoat_reflectance, None),
            WorkChange::ChangeDiagonal { reflectance, .. } => (None, reflectance),
            WorkChange::Mask { .. } | WorkChange::Other { .. } => (None, None),
        }
    }

    /// The train that another work leaves; None for all other kinds.
    #[getter]
    fn train(&self) -> Option<PyTrain> {
        match &self.0.change {
            WorkChange::Other { train } => Some((**train).clone().into()),
            _ => None,
        }
    }

    /// What a refigure leaves: "perfect_paraboloid", or what was measured; None for a promise and all other kinds.
    #[getter]
    fn after(&self, py: Python<'_>) -> PyResult<Option<Py<PyAny>>> {
        Ok(match &self.0.change {
            WorkChange::Refigure { after: RefigureAfter::Measured(after), .. } => Some(figure_of(py, after)?),
            WorkChange::Refigure { after: RefigureAfter::PerfectParaboloid, .. } => {
                Some(PyString::new(py, "perfect_paraboloid").into_any().unbind())
            }
            _ => None,
        })
    }
}

getters!(PyWork, |work| {
    /// "mask", "refigure", "recoat", "change_diagonal" or "other".
    kind: &'static str = work.kind();
    /// What it is called in tables and sentences.
    name: String = work.name.clone();
    /// What it costs.
    price: f64 = work.price;
    /// Inner diameter of a mask, mm; None for all other kinds.
    diameter_mm: Option<f64> = match work.change {
        WorkChange::Mask { diameter_mm } => Some(diameter_mm),
        _ => None,
    };
    /// Minor axis of a new diagonal, mm; None for all other kinds.
    minor_axis_mm: Option<f64> = match work.change {
        WorkChange::ChangeDiagonal { minor_axis_mm, .. } => Some(minor_axis_mm),
        _ => None,
    };
    /// The range that a refigure promises, nm of wavefront RMS; None for all else.
    after_rms_nm: Option<(f64, f64)> = match work.change {
        WorkChange::Refigure { after: RefigureAfter::PromisedRmsNm { least, greatest }, .. } => Some((least, greatest)),
        _ => None,
    };
});
record!(PyWork, "Work",
    attributes: ["kind", "name", "price", "diameter_mm", "minor_axis_mm", "after", "after_rms_nm", "reflectance", "train"],
    shown: ["kind", "name", "price"]);

/// What was measured after a refigure, or a perfect paraboloid.
fn refigured(py: Python<'_>, after: &Bound<'_, PyAny>) -> PyResult<RefigureAfter> {
    if let Ok(name) = after.cast::<PyString>() {
        let name = name.to_string();
        if name == "perfect_paraboloid" {
            return Ok(RefigureAfter::PerfectParaboloid);
        }
        let allowed = "'perfect_paraboloid', or what was measured";
        return Err(refused(py, "after", &name, allowed, "a promised range is given as after_rms_nm"));
    }
    let given = Given::new(after, "after")?;
    let evidence = compute(py, move || given.evidence(&ReduceOptions::default()))?;
    Ok(RefigureAfter::Measured(Box::new(evidence)))
}
