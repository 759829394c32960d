//! The ladder of what works are worth.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, number_or, one_or_list, wavelength};
use super::arrays::column;
use super::compute::compute;
use super::errors::refused;
use super::estimate::table_of;
use super::judge::{Given, figure_of, shadow};
use super::rays::draw;
use super::record::{columns, getters, record};
use super::seeing::PySeeing;
use super::train::PyTrain;
use super::work::PyWork;
use crate::{
    Evidence, Interval, LadderGain, LadderOptions, LadderRow, LadderWeights, ReduceOptions, ValueLadder, Work,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyLadderGain>()?;
    module.add_class::<PyLadderRow>()?;
    module.add_class::<PyValueLadder>()?;
    module.add_function(wrap_pyfunction!(value_ladder, module)?)
}

fn both(interval: Interval) -> (f64, f64) {
    (interval.low, interval.high)
}

/// One quantity before and after some work, with its gain.
///
/// The values are those of the plain figure; the intervals hold 95 % of paired draws (the same figure before and
/// after), and have no width where nothing is drawn. Where an edge hides in the last opening a value may stand at an
/// end of its interval, or outside.
///
/// Units: shares for the Strehl ratio, contrast and light (`unit` is empty), mm for the usable field.
/// Shapes: both lists of draws are of one length, or empty.
/// Errors: those of `value_ladder`, which makes it.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, conic=-0.7)
/// >>> ladder = ct.value_ladder(ct.Train(primary=mirror), works=[ct.Work.mask(diameter_mm=180, price=4)])
/// >>> strehl = ladder.rows[0].gains[0]
/// >>> assert strehl.name == "Strehl ratio" and strehl.gain_per_price == strehl.median_gain / 4
#[pyclass(name = "LadderGain", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyLadderGain(LadderGain);

columns!(PyLadderGain, |gain| {
    /// Draws as it is; of contrasts those of 400 evenly chosen figures.
    before_draws = gain.before_draws.iter().copied();
    /// Draws after the work, in the same order.
    after_draws = gain.after_draws.iter().copied();
});
getters!(PyLadderGain, |gain| {
    /// Of what: "Strehl ratio", "contrast at 1 arcsec", "light" or "usable field".
    name: String = gain.name.clone();
    /// Its unit; empty for a share.
    unit: String = gain.unit.clone();
    /// As it is.
    before: f64 = gain.before;
    /// After the work.
    after: f64 = gain.after;
    /// The one less the other.
    gain: f64 = gain.gain;
    /// Half of the draws gain less; the gain itself where nothing is drawn.
    median_gain: f64 = gain.median_gain;
    /// Interval that holds 95 % of its draws.
    before_interval: (f64, f64) = both(gain.before_interval);
    /// Interval that holds 95 % of its draws.
    after_interval: (f64, f64) = both(gain.after_interval);
    /// Interval that holds 95 % of the differences, draw by draw.
    gain_interval: (f64, f64) = both(gain.gain_interval);
    /// The median gain for a unit of money; None where it costs nothing.
    gain_per_price: Option<f64> = gain.gain_per_price;
    /// What it rests on: "described", "drawn", "promised", "assumed_shape" or "upper_bound".
    basis: &'static str = gain.basis.key();
    /// Whether the whole interval lies above a gain of 0.002 (of the field: 1 mm).
    proven: bool = gain.proven;
});
record!(PyLadderGain, "LadderGain",
    attributes: ["name", "unit", "before", "after", "gain", "median_gain", "before_interval", "after_interval", "gain_interval",
        "gain_per_price", "basis", "proven"],
    shown: ["name", "before", "after", "gain", "basis", "proven"]);

/// One work, or a pair of works, and what it gains for its price.
///
/// Units: prices in the user's own currency.
/// Errors: those of `value_ladder`, which makes it.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
/// >>> ladder = ct.value_ladder(ct.Train(primary=mirror), works=[ct.Work.mask(diameter_mm=180, price=4)])
/// >>> row = ladder.rows[0]
/// >>> assert row.no_proven_gain and row.dominated_by == ["leave it as it is"]
#[pyclass(name = "LadderRow", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyLadderRow(LadderRow);

getters!(PyLadderRow, |row| {
    /// What is done.
    name: String = row.name.clone();
    /// The works, one or two.
    works: Vec<PyWork> = row.works.iter().cloned().map(PyWork).collect();
    /// What they cost together.
    price: f64 = row.price;
    /// Quantities, the same in every row: Strehl ratio, contrast of each detail, light, usable field.
    gains: Vec<PyLadderGain> = row.gains.iter().cloned().map(PyLadderGain).collect();
    /// Weighted steps gained: what the order goes by.
    score: f64 = row.score;
    /// Interval that holds 95 % of its draws.
    score_interval: (f64, f64) = both(row.score_interval);
    /// Names of what is no worse in anything, costs no more, and is better in something.
    dominated_by: Vec<String> = row.dominated_by.clone();
    /// Whether no quantity has a proven gain.
    no_proven_gain: bool = row.no_proven_gain;
    /// Whether a figure without any error is part of it.
    upper_bound: bool = row.upper_bound;
    /// Names of rows that the order cannot tell from this one.
    tied_with: Vec<String> = row.tied_with.clone();
    /// The row in one sentence.
    words: String = row.words.clone();
    /// The train after the work, with the figure that stands for what is known.
    train_after: PyTrain = row.train_after.clone().into();
});
record!(PyLadderRow, "LadderRow",
    attributes: ["name", "works", "price", "gains", "score", "score_interval", "dominated_by", "no_proven_gain",
        "upper_bound", "tied_with", "words", "train_after"],
    shown: ["name", "price", "score", "no_proven_gain"]);

/// Works and pairs of works beside one another, by what they gain and what they cost: what `value_ladder` returns.
///
/// Units: see its gains.
/// Shapes: one row for each work and for each pair that makes sense, in the order of `order_rule`.
/// Errors: those of `value_ladder`.
/// Leaves out: in the draws what is not round (it counts through the plain figure alone); uncertain reflectances; wear;
/// the work's own risk.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, conic=-0.7)
/// >>> works = [ct.Work.mask(diameter_mm=180, price=4), ct.Work.mask(diameter_mm=170, price=4)]
/// >>> ladder = ct.value_ladder(ct.Train(primary=mirror), works=works)
/// >>> assert len(ladder) == 2 and "takes the other's place" in ladder.left_out[0]
#[pyclass(name = "ValueLadder", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyValueLadder(pub(super) ValueLadder);

#[pymethods]
impl PyValueLadder {
    fn __len__(&self) -> usize {
        self.0.rows.len()
    }

    /// What is known of the figure: a FigureEstimate, SheetFigure or ZernikeFigure; None where nothing was measured.
    #[getter]
    fn evidence(&self, py: Python<'_>) -> PyResult<Option<Py<PyAny>>> {
        self.0.evidence.as_ref().map(|evidence| figure_of(py, evidence)).transpose()
    }

    /// How much each step counts: contrast, light, field.
    #[getter]
    fn weights<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let LadderWeights { contrast, light, field } = self.0.options.weights;
        let dict = PyDict::new(py);
        dict.set_item("contrast", contrast)?;
        dict.set_item("light", light)?;
        dict.set_item("field", field)?;
        Ok(dict)
    }

    /// Return all rows as a Table: name, price, every quantity before, after, gain and its ends, gain for the price.
    ///
    /// A gain for a price of 0 is NaN.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, conic=-0.7)
    /// >>> ladder = ct.value_ladder(ct.Train(primary=mirror), works=[ct.Work.mask(diameter_mm=180, price=4)])
    /// >>> assert {"name", "strehl_gain_low", "usable_field_after_mm"} <= set(ladder.table())
    fn table<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let rows = &self.0.rows;
        let columns = PyDict::new(py);
        columns.set_item("name", rows.iter().map(|r| r.name.clone()).collect::<Vec<String>>())?;
        columns.set_item("price", column(py, rows.iter().map(|r| r.price)))?;
        let quantities = rows.first().map_or(0, |row| row.gains.len());
        for k in 0..quantities {
            let gains: Vec<&LadderGain> = rows.iter().map(|row| &row.gains[k]).collect();
            let stem = key(&gains[0].name);
            let ending = if gains[0].unit.is_empty() { String::new() } else { format!("_{}", gains[0].unit) };
            let put = |what: &str, of: fn(&LadderGain) -> f64| {
                columns.set_item(format!("{stem}_{what}{ending}"), column(py, gains.iter().map(|g| of(g))))
            };
            put("before", |g| g.before)?;
            put("after", |g| g.after)?;
            put("gain", |g| g.gain)?;
            put("gain_median", |g| g.median_gain)?;
            put("gain_low", |g| g.gain_interval.low)?;
            put("gain_high", |g| g.gain_interval.high)?;
            put("gain_per_price", |g| g.gain_per_price.unwrap_or(f64::NAN))?;
        }
        columns.set_item("score", column(py, rows.iter().map(|r| r.score)))?;
        let texts = |of: fn(&LadderRow) -> String| rows.iter().map(of).collect::<Vec<String>>();
        columns.set_item("dominated_by", texts(|r| r.dominated_by.join("; ")))?;
        columns.set_item("tied_with", texts(|r| r.tied_with.join("; ")))?;
        columns.set_item("no_proven_gain", rows.iter().map(|r| r.no_proven_gain).collect::<Vec<bool>>())?;
        table_of(&columns)
    }

    /// Draw what each row gains, the cheapest first, with intervals, dominated rows hollow; return the axes.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, conic=-0.7)
    /// >>> ladder = ct.value_ladder(ct.Train(primary=mirror), works=[ct.Work.mask(diameter_mm=180, price=4)])
    /// >>> assert "price" in ladder.plot().get_ylabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("value_ladder", slf.as_any(), ax, None)
    }
}

/// The name of a quantity as a column begins with it.
fn key(name: &str) -> String {
    let plain = name.replace(" ratio", "").replace('.', "_");
    plain.to_lowercase().split_whitespace().collect::<Vec<_>>().join("_")
}

columns!(PyValueLadder, |ladder| {
    /// Prices of the rows.
    price = ladder.rows.iter().map(|r| r.price);
    /// Scores of the rows.
    score = ladder.rows.iter().map(|r| r.score);
});
getters!(PyValueLadder, |ladder| {
    /// The rows, in order.
    rows: Vec<PyLadderRow> = ladder.rows.iter().cloned().map(PyLadderRow).collect();
    /// The rule of the order.
    order_rule: String = ladder.order_rule.clone();
    /// The rule of a proven gain.
    no_gain_rule: String = ladder.no_gain_rule.clone();
    /// The rule of the usable field.
    field_rule: String = ladder.field_rule.clone();
    /// Works and pairs that were left out, each with its reason.
    left_out: Vec<String> = ladder.left_out.clone();
    /// What is assumed.
    assumptions: Vec<String> = ladder.assumptions.clone();
    /// Details whose contrast is compared, arcsec.
    details_arcsec: Vec<f64> = ladder.options.details_arcsec.clone();
    /// The air of one night; None: still air alone.
    seeing: Option<PySeeing> = ladder.options.seeing.map(PySeeing);
    /// Loss of light that ends the usable field, magnitudes.
    field_loss_magnitudes: f64 = ladder.options.field_loss_magnitudes;
    /// A word for the money, or an empty text.
    currency: String = ladder.options.currency.clone();
    /// The train as given.
    train: PyTrain = ladder.train.clone().into();
    /// The same with the figure that stands for the evidence.
    train_now: PyTrain = ladder.train_now.clone().into();
    /// The works that were offered.
    works: Vec<PyWork> = ladder.works.iter().cloned().map(PyWork).collect();
    /// Wavelength, nm.
    wavelength_nm: f64 = ladder.options.wavelength_nm;
    /// Seed of what is drawn beside the evidence.
    seed: u64 = ladder.options.seed;
});
record!(PyValueLadder, "ValueLadder",
    attributes: ["rows", "order_rule", "no_gain_rule", "field_rule", "left_out", "assumptions", "details_arcsec", "seeing",
        "field_loss_magnitudes", "weights", "currency", "train", "train_now", "evidence", "works", "wavelength_nm", "seed"],
    shown: ["details_arcsec", "field_loss_magnitudes", "wavelength_nm"]);

/// What a call asks for: the train, what was measured, the works, the options.
pub(super) struct Question {
    pub(super) train: crate::Train,
    given: Option<Given>,
    reduce: ReduceOptions,
    pub(super) works: Vec<Work>,
    pub(super) options: LadderOptions,
}

/// The arguments that `value_ladder` and `judgement` share.
pub(super) struct Asked<'a, 'py> {
    pub(super) details_arcsec: Option<&'a Bound<'py, PyAny>>,
    pub(super) seeing: Option<PySeeing>,
    pub(super) field_loss_magnitudes: Option<&'a Bound<'py, PyAny>>,
    pub(super) weights: Option<&'a Bound<'py, PyDict>>,
    pub(super) wavelength_nm: Option<&'a Bound<'py, PyAny>>,
    pub(super) draws: Option<&'a Bound<'py, PyAny>>,
    pub(super) seed: Option<&'a Bound<'py, PyAny>>,
    pub(super) currency: &'a str,
}

impl Question {
    pub(super) fn new(
        py: Python<'_>,
        train: &Bound<'_, PyTrain>,
        evidence: Option<&Bound<'_, PyAny>>,
        works: Option<&Bound<'_, PyAny>>,
        asked: &Asked<'_, '_>,
    ) -> PyResult<Self> {
        let mut list_of_works = Vec::new();
        if let Some(works) = works {
            for (i, work) in works.try_iter()?.enumerate() {
                let work = work?;
                let Ok(this) = work.cast::<PyWork>() else {
                    let found = work.get_type().name()?.to_string();
                    return Err(refused(py, &format!("works[{i}]"), &found, "a Work", ""));
                };
                list_of_works.push(this.get().0.clone());
            }
        }
        let usual = LadderOptions::default();
        let mut weights = usual.weights;
        for (name, value) in asked.weights.iter().flat_map(|w| w.iter()) {
            let name: String = name.str()?.extract()?;
            let place = match name.as_str() {
                "contrast" => &mut weights.contrast,
                "light" => &mut weights.light,
                "field" => &mut weights.field,
                _ => return Err(refused(py, "weights", &name, "contrast, light, field", "")),
            };
            *place = number_or(Some(&value), &format!("weights.{name}"), 0.0)?;
        }
        let seed = count_or(asked.seed, "seed", 1)? as u64;
        let options = LadderOptions {
            details_arcsec: match asked.details_arcsec {
                Some(details) => one_or_list(details, "details_arcsec")?,
                None => usual.details_arcsec,
            },
            seeing: asked.seeing.as_ref().map(|s| s.0),
            field_loss_magnitudes: number_or(
                asked.field_loss_magnitudes,
                "field_loss_magnitudes",
                usual.field_loss_magnitudes,
            )?,
            weights,
            wavelength_nm: wavelength(asked.wavelength_nm)?,
            seed,
            currency: asked.currency.to_owned(),
        };
        let reduce = ReduceOptions {
            obstruction_ratio: shadow(train.get()),
            wavelength_nm: options.wavelength_nm,
            draws: count_or(asked.draws, "draws", 2000)?,
            seed,
            ..ReduceOptions::default()
        };
        let given = evidence.map(|evidence| Given::new(evidence, "evidence")).transpose()?;
        Ok(Self { train: train.get().train.clone(), given, reduce, works: list_of_works, options })
    }

    pub(super) fn evidence(&mut self) -> crate::Result<Option<Evidence>> {
        self.given.take().map(|given| given.evidence(&self.reduce)).transpose()
    }
}

/// Return works, and pairs of them, beside one another, by what they gain and what they cost.
///
/// `evidence` is what was measured of the mirror's figure: KnifeEdgeReadings, a TestSheet, a ZernikeReport, or a figure
/// made of one of them; without it the train's own figure is taken as known. `draws` and `seed` count for what is not a
/// figure yet.
/// `weights` changes how much a step counts in the order: "contrast" (0.05, or 0.1 of Strehl), "light" (0.1 mag),
/// "field" (a tenth of its diameter); 2, 1 and 1 unless given. With a `seeing` contrasts stand in that air beside those
/// in still air, and the order goes by them.
///
/// Units: arcsec for the full period of a detail; magnitudes; nm.
/// Errors: InputError for works that cannot be, names that stand twice, evidence of another mirror, a work that leaves
/// no train or no light; NotConverged.
/// Method: values from the exact train, intervals from paired draws of the evidence.
/// Leaves out: see `ValueLadder`.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70, reflectance=0.78), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> works = [ct.Work.recoat(mirror="diagonal", reflectance=0.91, price=35)]
/// >>> light = ct.value_ladder(train, works=works).rows[0].gains[2]
/// >>> assert abs(light.after / light.before - 0.91 / 0.78) < 1e-12
#[pyfunction]
#[pyo3(signature = (train, evidence=None, works=None, *, details_arcsec=None, seeing=None, field_loss_magnitudes=None,
    weights=None, wavelength_nm=None, draws=None, seed=None, currency=""),
    text_signature = "(train, evidence=None, works=(), *, details_arcsec=(1.0,), seeing=None, field_loss_magnitudes=0.3, \
weights=None, wavelength_nm=550.0, draws=2000, seed=1, currency='')")]
#[allow(clippy::too_many_arguments)]
fn value_ladder(
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
) -> PyResult<PyValueLadder> {
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
        crate::value_ladder(&question.train, evidence.as_ref(), &question.works, &question.options)
    })
    .map(PyValueLadder)
}
