//! Diagonals beside one another, and the advice.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, number_or};
use super::arrays::{Column, column};
use super::diagonals::{PyDiagonalBatch, table, truths};
use super::errors::{exception, refused};
use super::rays::draw;
use super::record::{columns, getters, record};
use crate::{Aim, AimWeights, Criterion, DiagonalComparison, DiagonalRow, Recommendation, SizeScore};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyDiagonalComparison>()?;
    module.add_class::<PyRecommendation>()
}

/// Candidates beside one another: what `compare_diagonals` and `DiagonalBatch.run` return.
///
/// A row is dominated where another of the same train, height and drawtube is better by one of `criteria` and worse
/// by none.
///
/// Units: mm; shares of the light on the clear aperture, relative ones over the middle of the field; magnitudes
/// against the whole mirror without any obstruction (infinite where no light arrives).
/// Shapes: arrays have one entry a row.
/// Errors: those of `compare_diagonals`.
/// Source: exact fractions of light, good to `error_estimate`; contrast from overlap areas of circles (O'Neill 1956,
/// J. Opt. Soc. Am. 46, 285), over that of the mirror without obstruction; where the axis is cut, that of the circle
/// that is left.
/// Leaves out: in the contrast the figure and vanes; in the throughput scatter; azimuths between those looked at.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> found = ct.compare_diagonals(train, minor_axis_mm=[45, 63, 70], field_radius_mm=[0, 15])
/// >>> assert found.table()["minor_axis_mm"].tolist() == [45, 63, 70]
/// >>> assert "works as one of" in found.findings[0]
#[pyclass(name = "DiagonalComparison", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDiagonalComparison(pub(super) DiagonalComparison);

#[pymethods]
impl PyDiagonalComparison {
    fn __len__(&self) -> usize {
        self.0.rows.len()
    }

    /// What was compared.
    #[getter]
    fn batch(&self) -> PyDiagonalBatch {
        PyDiagonalBatch(self.0.batch.clone())
    }

    /// Light in the darkest azimuth of the edge, over the middle of the field.
    #[getter]
    fn edge_relative<'py>(&self, py: Python<'py>) -> Column<'py> {
        let edge = self.0.edge();
        column(py, self.0.rows.iter().map(|r| r.relative_worst[edge]))
    }

    /// Share of the light that reaches the darkest azimuth of the edge.
    #[getter]
    fn edge_light<'py>(&self, py: Python<'py>) -> Column<'py> {
        let edge = self.0.edge();
        column(py, self.0.rows.iter().map(|r| r.absolute_worst(edge)))
    }

    /// Whether a part cuts the light of the axis itself.
    #[getter]
    fn clipped_axis<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<bool>> {
        truths(py, self.0.rows.iter().map(|r| r.clipped_axis))
    }

    /// Whether another candidate is better by one criterion and worse by none.
    #[getter]
    fn dominated<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<bool>> {
        truths(py, self.0.dominated.iter().copied())
    }

    /// Which train, by its number.
    #[getter]
    fn train<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<i64>> {
        self.0.rows.iter().map(|r| r.train as i64).collect::<Vec<_>>().into_pyarray(py)
    }

    /// Which drawtube, by its number; -1: the train's own.
    #[getter]
    fn drawtube<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<i64>> {
        let number = |r: &DiagonalRow| r.drawtube.map_or(-1, |d| d as i64);
        self.0.rows.iter().map(number).collect::<Vec<_>>().into_pyarray(py)
    }

    /// Return all numbers as a table, one row a candidate.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> found = ct.compare_diagonals(ct.Train(primary=mirror), minor_axis_mm=[60, 70], field_radius_mm=[0, 15],
    /// ...     axis_to_focus_mm=[235], detail_arcsec=[1])
    /// >>> assert {"relative_worst_at_15_mm", "contrast_at_1_arcsec", "dominated"} <= set(found.table())
    fn table<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        table(py, self.0.batch.input(), &self.0.rows, Some(&self.0.dominated))
    }

    /// Return the comparison that parts of one batch make together, given in their order: bit for bit that of the whole.
    ///
    /// Errors: InputError for no parts, and for parts that do not follow one another.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> batch = ct.DiagonalBatch(ct.Train(primary=mirror), minor_axis_mm=[60, 70, 80], field_radius_mm=[0],
    /// ...     axis_to_focus_mm=[235])
    /// >>> parts = [batch.part(k, of=2).run() for k in range(2)]
    /// >>> assert ct.DiagonalComparison.join(parts) == batch.run()
    #[staticmethod]
    #[pyo3(signature = (parts, /))]
    fn join(py: Python<'_>, parts: Vec<Py<Self>>) -> PyResult<Self> {
        let parts: Vec<DiagonalComparison> = parts.iter().map(|part| part.get().0.clone()).collect();
        DiagonalComparison::join(&parts).map(Self).map_err(|e| exception(py, e))
    }

    /// Return the same candidates held against one another by other criteria: columns of `criteria`.
    ///
    /// Errors: InputError for no criteria, and for a name that is none of "obstruction_ratio", "edge_light", "on_axis",
    /// "fully_lit_diameter_mm", "price".
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> found = ct.compare_diagonals(ct.Train(primary=mirror), minor_axis_mm=[60, 70], field_radius_mm=[0],
    /// ...     axis_to_focus_mm=[235])
    /// >>> assert found.by("obstruction_ratio").dominated.tolist() == [False, True]
    #[pyo3(signature = (*criteria))]
    fn by(&self, py: Python<'_>, criteria: Vec<String>) -> PyResult<Self> {
        const ALL: [Criterion; 5] = [
            Criterion::Obstruction,
            Criterion::EdgeLight,
            Criterion::AxisLight,
            Criterion::FullyLit,
            Criterion::Price,
        ];
        let allowed = "'obstruction_ratio', 'edge_light', 'on_axis', 'fully_lit_diameter_mm' or 'price'";
        if criteria.is_empty() {
            return Err(refused(py, "criteria", "none", allowed, ""));
        }
        let pick = |name: &str| ALL.into_iter().find(|c| c.key() == name);
        let chosen = criteria.iter().map(|name| choice(py, "criteria", name, allowed, pick));
        Ok(Self(self.0.clone().by(&chosen.collect::<PyResult<Vec<_>>>()?)))
    }

    /// Return the size to take for an aim, over all settings alike, with its reason.
    ///
    /// `aim` is "planets", "wide_field" or "sensor". `weights` changes some of the aim's own: contrast, axis_light,
    /// edge_light, fully_lit, price.
    /// Errors: InputError for another aim, weights below 0 or all 0, unknown names.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> found = ct.compare_diagonals(ct.Train(primary=mirror), minor_axis_mm=[40, 52, 90], field_radius_mm=[0, 10],
    /// ...     axis_to_focus_mm=[235])
    /// >>> advice = found.recommend(aim="planets")
    /// >>> assert advice.minor_axis_mm == 52 and advice.words == "Take 52 mm for planets."
    /// >>> assert found.recommend(aim="sensor", weights={"edge_light": 10}).minor_axis_mm == 90
    #[pyo3(signature = (*, aim, weights=None))]
    fn recommend(
        &self,
        py: Python<'_>,
        aim: &str,
        weights: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<PyRecommendation> {
        let aim = choice(py, "aim", aim, "'planets', 'wide_field' or 'sensor'", Aim::from_name)?;
        let usual = aim.weights();
        let mut chosen = usual;
        if let Some(weights) = weights {
            for (name, value) in weights.iter() {
                let name: String = name.str()?.extract()?;
                let place = match name.as_str() {
                    "contrast" => &mut chosen.contrast,
                    "axis_light" => &mut chosen.axis_light,
                    "edge_light" => &mut chosen.edge_light,
                    "fully_lit" => &mut chosen.fully_lit,
                    "price" => &mut chosen.price,
                    _ => {
                        let allowed = "contrast, axis_light, edge_light, fully_lit, price";
                        return Err(refused(py, "weights", &name, allowed, ""));
                    }
                };
                *place = number_or(Some(&value), &format!("weights.{name}"), 0.0)?;
            }
        }
        self.0.recommend(aim, Some(chosen)).map(PyRecommendation).map_err(|e| exception(py, e))
    }

    /// Draw the obstruction against the light at the edge, dominated sizes and prices marked; return the axes.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> found = ct.compare_diagonals(ct.Train(primary=mirror), minor_axis_mm=[60, 70], field_radius_mm=[0, 15],
    /// ...     axis_to_focus_mm=[235])
    /// >>> axes = found.plot()
    /// >>> assert "edge" in axes.get_ylabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("diagonals", slf.as_any(), ax, None)
    }
}

columns!(PyDiagonalComparison, |value| {
    /// Minor axes, mm.
    minor_axis_mm = value.rows.iter().map(|r| r.minor_axis_mm);
    /// Diameter of the shadow over that of the mirror that gathers light.
    obstruction_ratio = value.rows.iter().map(|r| r.obstruction_ratio);
    /// Diameter of the circle over which nothing but the shadow takes light, mm; 0 where the axis is cut.
    fully_lit_diameter_mm = value.rows.iter().map(|r| r.fully_lit_diameter_mm);
    /// Share of the light that reaches the middle of the field.
    on_axis = value.rows.iter().map(|r| r.on_axis);
    /// Diameter of the circle of the same area as what the parts leave of the mirror for the axis, mm.
    acts_as_aperture_mm = value.rows.iter().map(|r| r.acts_as_aperture_mm);
    /// Distances from the tube's axis to the focal plane, mm.
    axis_to_focus_mm = value.rows.iter().map(|r| r.axis_to_focus_mm);
    /// Prices, where they were told; else empty.
    price = value.rows.iter().filter_map(|r| r.price);
});

getters!(PyDiagonalComparison, |found| {
    /// Columns by which the candidates are held against one another.
    criteria: Vec<&'static str> = found.criteria.iter().map(|c| c.key()).collect();
    /// The largest field radius, mm.
    edge_radius_mm: f64 = found.batch.input().field_radius_mm[found.edge()];
    /// In words: axes that are cut, and sizes beyond which nothing improves.
    findings: Vec<String> = found.findings();
    /// Number of candidates.
    rows: usize = found.rows.len();
    /// Largest estimated error of a share.
    error_estimate: f64 = found.rows.iter().map(|r| r.error_estimate).fold(0.0, f64::max);
});
record!(PyDiagonalComparison, "DiagonalComparison",
    attributes: ["rows", "train", "drawtube", "axis_to_focus_mm", "minor_axis_mm", "obstruction_ratio", "fully_lit_diameter_mm",
        "on_axis", "edge_radius_mm", "edge_relative", "edge_light", "clipped_axis", "acts_as_aperture_mm", "price", "dominated",
        "criteria", "findings", "error_estimate"],
    shown: ["rows", "edge_radius_mm", "error_estimate"]);

/// Which size to take, and why: what `DiagonalComparison.recommend` returns.
///
/// Units: mm; scores and the worths they are made of lie between 0 and 1.
/// Errors: those of `DiagonalComparison.recommend`.
/// Leaves out: everything that the weights do not name.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> found = ct.compare_diagonals(ct.Train(primary=mirror), minor_axis_mm=[70, 70.1], field_radius_mm=[0, 10],
/// ...     axis_to_focus_mm=[235])
/// >>> advice = found.recommend(aim="planets")
/// >>> assert advice.minor_axis_mm is None and advice.words.startswith("Cannot tell between")
#[pyclass(name = "Recommendation", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRecommendation(Recommendation);

#[pymethods]
impl PyRecommendation {
    /// How much each worth counted.
    #[getter]
    fn weights<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let AimWeights { contrast, axis_light, edge_light, fully_lit, price } = self.0.weights;
        let dict = PyDict::new(py);
        dict.set_item("contrast", contrast)?;
        dict.set_item("axis_light", axis_light)?;
        dict.set_item("edge_light", edge_light)?;
        dict.set_item("fully_lit", fully_lit)?;
        dict.set_item("price", price)?;
        Ok(dict)
    }

    /// Return all sizes with their scores and worths, the best first.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> found = ct.compare_diagonals(ct.Train(primary=mirror), minor_axis_mm=[40, 52], field_radius_mm=[0],
    /// ...     axis_to_focus_mm=[235])
    /// >>> assert found.recommend(aim="planets").table()["minor_axis_mm"].tolist() == [52, 40]
    fn table<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let columns = PyDict::new(py);
        let scores = &self.0.scores;
        let number =
            |name: &str, of: fn(&SizeScore) -> f64| columns.set_item(name, column(py, scores.iter().map(of)));
        number("minor_axis_mm", |s| s.minor_axis_mm)?;
        number("score", |s| s.score)?;
        number("contrast", |s| s.contrast)?;
        number("axis_light", |s| s.axis_light)?;
        number("edge_light", |s| s.edge_light)?;
        number("fully_lit", |s| s.fully_lit)?;
        if scores.iter().all(|s| s.price.is_some()) {
            number("price", |s| s.price.unwrap_or(0.0))?;
        }
        py.import("catoptric.table")?.call_method1("Table", (columns,))
    }
}

getters!(PyRecommendation, |advice| {
    /// For what: "planets", "wide_field" or "sensor".
    aim: &'static str = advice.aim.key();
    /// The size to take, mm; None where several cannot be told apart.
    minor_axis_mm: Option<f64> = advice.minor_axis_mm;
    /// The sizes that score alike, the best first, mm.
    alike_mm: Vec<f64> = advice.alike_mm.clone();
    /// The advice in words.
    words: String = advice.words.clone();
    /// What it rests on, and what the owner should know besides.
    reasons: Vec<String> = advice.reasons.clone();
});
record!(PyRecommendation, "Recommendation",
    attributes: ["aim", "weights", "minor_axis_mm", "alike_mm", "words", "reasons"],
    shown: ["aim", "minor_axis_mm", "words"]);
