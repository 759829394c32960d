//! The judgement of a whole train.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::coating_effect::PyCoatingEffect;
use super::compute::compute;
use super::judge::figure_of;
use super::mask::PyMaskSweep;
use super::record::{getters, record};
use super::seeing::PySeeing;
use super::train::PyTrain;
use super::value_ladder::{Asked, PyValueLadder, Question};
use super::work::PyWork;
use crate::{Evidence, NamedInterval, TrainJudgement};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyNamedInterval>()?;
    module.add_class::<PyTrainJudgement>()?;
    module.add_function(wrap_pyfunction!(judgement, module)?)
}

/// A number with its interval and what it means.
///
/// Units: the one in `unit`; an empty text for a share.
/// Errors: those of `judgement`, which makes it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> light = ct.judgement(train).numbers[1]
/// >>> assert light.value == 200 and light.unit == "mm" and light.low == light.high
#[pyclass(name = "NamedInterval", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyNamedInterval(NamedInterval);

getters!(PyNamedInterval, |number| {
    /// What it is called.
    name: String = number.name.clone();
    /// Its unit; empty for a share.
    unit: String = number.unit.clone();
    /// The number.
    value: f64 = number.value;
    /// Lower end of 95 %; the value itself where nothing is uncertain.
    low: f64 = number.low;
    /// Upper end.
    high: f64 = number.high;
    /// What it means, in one sentence.
    meaning: String = number.meaning.clone();
});
record!(PyNamedInterval, "NamedInterval",
    attributes: ["name", "unit", "value", "low", "high", "meaning"], shown: ["name", "value", "low", "high"]);

/// The judgement of a train: what to do first and why, three numbers, what to measure next, and what that rests on.
///
/// `numbers` holds three: the Strehl ratio at the brightest focus, the diameter of the perfect clear aperture that
/// gathers as much light, the contrast of the first detail in still air.
///
/// Units: see the numbers and the ladder.
/// Errors: those of `judgement`, which makes it.
/// Leaves out: what `ValueLadder` leaves out.
///
/// >>> dull = ct.Coating(reflectance=0.7)
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, coating=dull)
/// >>> works = [ct.Work.recoat(mirror="primary", reflectance=0.91, price=90)]
/// >>> found = ct.judgement(ct.Train(primary=mirror), works=works)
/// >>> assert found.verdict.startswith("First: recoat of the primary") and len(found.numbers) == 3
#[pyclass(name = "TrainJudgement", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyTrainJudgement(TrainJudgement);

#[pymethods]
impl PyTrainJudgement {
    /// What is known of the figure: a FigureEstimate, SheetFigure or ZernikeFigure; None where nothing was measured.
    #[getter]
    fn evidence(&self, py: Python<'_>) -> PyResult<Option<Py<PyAny>>> {
        self.0.evidence.as_ref().map(|evidence| figure_of(py, evidence)).transpose()
    }

    /// How many figures are behind the intervals; 0 where nothing was measured.
    #[getter]
    fn draws(&self) -> usize {
        match &self.0.evidence {
            Some(Evidence::Readings(figure)) => figure.total_draws.strehl.len(),
            Some(Evidence::Report(report)) => report.strehl_draws.len(),
            Some(Evidence::Sheet(_)) => 2000,
            None => 0,
        }
    }

    /// Return the judgement as one HTML document that needs no other file: no network, no script.
    ///
    /// `refigure` is the Verdict of a refigure that is shown as well. The same judgement gives the same text.
    ///
    /// Errors: ImportError that says what to install, if matplotlib is missing.
    ///
    /// >>> text = ct.judgement(ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))).to_html()
    /// >>> assert text.startswith("<!DOCTYPE html>") and "http" not in text
    #[pyo3(signature = (*, refigure=None))]
    fn to_html<'py>(
        slf: &Bound<'py, Self>,
        refigure: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("refigure", refigure)?;
        slf.py().import("catoptric.page")?.call_method("to_html", (slf,), Some(&options))
    }

    /// Write the judgement to one HTML file and return its path.
    ///
    /// Errors: FileExistsError where there is such a file and `overwrite` is not set, other OSError where it cannot be
    /// written; ImportError that says what to install, if matplotlib is missing.
    ///
    /// >>> import pathlib, tempfile
    /// >>> found = ct.judgement(ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)))
    /// >>> page = found.save_html(pathlib.Path(tempfile.mkdtemp()) / "page.html")
    /// >>> assert page.read_text(encoding="utf-8") == found.to_html()
    #[pyo3(signature = (path, /, *, overwrite=false, refigure=None))]
    fn save_html<'py>(
        slf: &Bound<'py, Self>,
        path: &Bound<'py, PyAny>,
        overwrite: bool,
        refigure: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("overwrite", overwrite)?;
        options.set_item("refigure", refigure)?;
        slf.py().import("catoptric.page")?.call_method("save_html", (slf, path), Some(&options))
    }
}

getters!(PyTrainJudgement, |found| {
    /// What to do first and why, in one sentence.
    verdict: String = found.verdict.clone();
    /// Strehl ratio, light, contrast.
    numbers: Vec<PyNamedInterval> = found.numbers.iter().cloned().map(PyNamedInterval).collect();
    /// All works beside one another; None: no works were offered.
    ladder: Option<PyValueLadder> = found.ladder.clone().map(PyValueLadder);
    /// Masks from the clear aperture inward; None where the evidence does not say where the error lies.
    mask: Option<PyMaskSweep> = found.mask.clone().map(PyMaskSweep);
    /// What the readings say of the edge, in sentences.
    edge: Vec<String> = found.edge.clone();
    /// What the coats take, against those that the works offer; None where they offer none.
    coating: Option<PyCoatingEffect> = found.coating.clone().map(PyCoatingEffect);
    /// What to measure next, the most useful first, each with what it brings.
    next: Vec<String> = found.next.clone();
    /// Reasons for the verdict, a sentence each.
    reasons: Vec<String> = found.reasons.clone();
    /// What was assumed.
    assumptions: Vec<String> = found.assumptions.clone();
    /// Cautions for whoever does the work.
    cautions: Vec<String> = found.cautions.clone();
    /// Diameter of the shadow over the diameter that gathers light.
    obstruction_ratio: f64 = found.obstruction_ratio;
    /// The focus of Strehl and contrast: the brightest.
    focus: &'static str = { let _ = found; "peak" };
    /// The train as given.
    train: PyTrain = found.train.clone().into();
    /// The same with the figure that stands for the evidence.
    train_now: PyTrain = found.train_now.clone().into();
    /// Which figure that is.
    figure_words: String = found.figure_words.clone();
    /// The works that were offered.
    works: Vec<PyWork> = found.works.iter().cloned().map(PyWork).collect();
    /// Wavelength, nm.
    wavelength_nm: f64 = found.options.wavelength_nm;
    /// Seed of the draws.
    seed: u64 = match &found.evidence {
        Some(Evidence::Readings(figure)) => figure.options.seed,
        _ => found.options.seed,
    };
});
record!(PyTrainJudgement, "TrainJudgement",
    attributes: ["verdict", "numbers", "ladder", "mask", "edge", "coating", "next", "reasons", "assumptions", "cautions", "obstruction_ratio", "focus",
        "train", "train_now", "figure_words", "evidence", "works", "wavelength_nm", "draws", "seed"],
    shown: ["verdict", "obstruction_ratio", "wavelength_nm"], page: "catoptric.page");

/// Return the judgement of a train: its worth, what to do first, what to measure next.
///
/// Arguments as those of `value_ladder`; without works the verdict says what the train is worth.
///
/// Units: arcsec for the full period of a detail; magnitudes; nm.
/// Errors: those of `value_ladder`.
/// Leaves out: see `ValueLadder`.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> found = ct.judgement(train)
/// >>> assert found.ladder is None and found.numbers[0].value > 0.999999
#[pyfunction]
#[pyo3(signature = (train, evidence=None, works=None, *, details_arcsec=None, seeing=None, field_loss_magnitudes=None,
    weights=None, wavelength_nm=None, draws=None, seed=None, currency=""),
    text_signature = "(train, evidence=None, works=(), *, details_arcsec=(1.0,), seeing=None, field_loss_magnitudes=0.3, \
weights=None, wavelength_nm=550.0, draws=2000, seed=1, currency='')")]
#[allow(clippy::too_many_arguments)]
fn judgement(
    py: Python<'_>,
    train: &Bound<'_, PyTrain>,
    evidence: Option<&Bound<'_, PyAny>>,
    works: Option<&Bound<'_, PyAny>>,
    details_arcsec: Option<&Bound<'_, PyAny>>,
    seeing: Option<PySeeing>,
    field_loss_magnitudes: Option<&Bound<'_, PyAny>>,
    weights: Option<&Bound<'_, PyDict>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
    draws: Option<&Bound<'_, PyAny>>,
    seed: Option<&Bound<'_, PyAny>>,
    currency: &str,
) -> PyResult<PyTrainJudgement> {
    let asked = Asked {
        details_arcsec,
        seeing,
        field_loss_magnitudes,
        weights,
        wavelength_nm,
        draws,
        seed,
        currency,
    };
    let mut question = Question::new(py, train, evidence, works, &asked)?;
    compute(py, move || {
        let evidence = question.evidence()?;
        crate::judgement(&question.train, evidence.as_ref(), &question.works, &question.options)
    })
    .map(PyTrainJudgement)
}
