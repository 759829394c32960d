//! Judgements.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, wavelength};
use super::arrays::{Column, column};
use super::bench::PyKnifeEdgeReadings;
use super::compute::compute;
use super::errors::refused;
use super::estimate::{PyFigureEstimate, ends, next_table, table_of, total_ends};
use super::evidence::{PySheetFigure, PyTestSheet, PyZernikeFigure, PyZernikeReport};
use super::rays::draw;
use super::record::{getters, record};
use super::train::PyTrain;
use crate::{Evidence, KnifeEdgeReadings, ReadingDetails, ReduceOptions, TestSheet, Verdict, ZernikeReport};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyVerdict>()?;
    module.add_function(wrap_pyfunction!(judge_refigure, module)?)
}

/// The judgement of a refigure, with its probability and its reasons.
///
/// Units: Strehl at the brightest focus; every `..._total_interval` holds 95 % of the figures that give these readings
/// within noise and radii, the other intervals 95 % of repeats with readings redrawn within their noise.
/// Leaves out: what is not rotationally symmetric; the reasons say what is assumed.
/// Errors: those of `judge_refigure`, which makes it.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
/// >>> before = ct.KnifeEdgeReadings(runs_mm=[[0.500, 1.125, 2.000, 2.820]] * 4, **bench)
/// >>> after = ct.KnifeEdgeReadings(runs_mm=[[0.333, 0.750, 1.333, 1.880]] * 4, **bench)
/// >>> verdict = ct.judge_refigure(before=before, after=after)
/// >>> assert verdict.verdict == "better" and verdict.gain_total_interval[0] > 0
#[pyclass(name = "Verdict", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyVerdict(pub(super) Verdict);

#[pymethods]
impl PyVerdict {
    /// What is known of the figure before: a FigureEstimate, SheetFigure or ZernikeFigure.
    #[getter]
    fn before(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        figure_of(py, &self.0.before)
    }

    /// What is known of the figure after: a FigureEstimate, SheetFigure or ZernikeFigure.
    #[getter]
    fn after(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        figure_of(py, &self.0.after)
    }

    /// Strehl before, of every paired figure behind the probability.
    #[getter]
    fn strehl_before_total_draws<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.strehl_before_total_draws.iter().copied())
    }

    /// Strehl after, of every paired figure behind the probability.
    #[getter]
    fn strehl_after_total_draws<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.strehl_after_total_draws.iter().copied())
    }

    /// Return a Table of what the gain is worth at the eyepiece in still air.
    ///
    /// A row for the contrast of stripes of each period, and one for the light within the Airy disk of the unobstructed
    /// aperture: medians before and after, the gain, and the ends of its total interval.
    ///
    /// Source: modulation transfer as the overlap of the pupil with itself (Goodman, Introduction to Fourier Optics,
    /// section 6.3, from memory).
    /// Leaves out: seeing, and what the eye makes of it.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> worth = ct.judge_refigure(before=readings, after=readings).worth()
    /// >>> assert worth.rows == 4 and abs(worth["gain"]).max() < 0.2
    fn worth<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let worth = &details(py, &self.0)?.worth;
        let details = worth.period_arcsec.iter().map(|p| format!("contrast of stripes {p} arcsec apart"));
        let names: Vec<String> = details.chain(["light in the Airy disk".to_owned()]).collect();
        let changes: Vec<_> = worth.contrast.iter().chain([&worth.airy_light]).collect();
        let of = |value: fn(&crate::Change) -> f64| column(py, changes.iter().map(|c| value(c)));
        let columns = PyDict::new(py);
        columns.set_item("what", names)?;
        columns.set_item("before", of(|c| c.before.median))?;
        columns.set_item("after", of(|c| c.after.median))?;
        columns.set_item("gain", of(|c| c.gain.median))?;
        columns.set_item("gain_low", of(|c| c.gain.total.low))?;
        columns.set_item("gain_high", of(|c| c.gain.total.high))?;
        table_of(&columns)
    }

    /// Return a Table of where the doubt about the gain comes from, the largest share first.
    ///
    /// Shares of the variance of the gain in Strehl; they add up to 1.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> doubt = ct.judge_refigure(before=readings, after=readings).contributions()
    /// >>> assert abs(doubt["share"].sum() - 1) < 1e-9
    fn contributions<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let list = &details(py, &self.0)?.contributions;
        let columns = PyDict::new(py);
        columns.set_item("cause", list.iter().map(|c| c.cause.to_string()).collect::<Vec<String>>())?;
        let set = |c: &crate::Contribution| c.set.clone().unwrap_or_else(|| "both".to_owned());
        columns.set_item("readings", list.iter().map(set).collect::<Vec<String>>())?;
        columns.set_item("share", column(py, list.iter().map(|c| c.share)))?;
        table_of(&columns)
    }

    /// Return a Table of what could be measured next on the mirror as it is now, the most useful first.
    ///
    /// The half widths are those of the total 95 % interval of the gain in Strehl, as it is and, on the average, as it would
    /// be; NaN where too few draws are left to put a number to it.
    ///
    /// Source: preposterior analysis (Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961, from memory).
    /// Leaves out: the cost of each measurement.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> table = ct.judge_refigure(before=readings, after=readings).next_measurements()
    /// >>> assert "more runs" in " ".join(table["what"])
    fn next_measurements<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let verdict = self.0.clone();
        let next = compute(py, move || verdict.next_measurements())?;
        next_table(py, &next)
    }

    /// Draw both mirrors' Strehl with what the readings leave open; return the axes.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> axes = ct.judge_refigure(before=readings, after=readings).plot()
    /// >>> assert "Strehl" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("verdict", slf.as_any(), ax, None)
    }
}

getters!(PyVerdict, |verdict| {
    /// "better", "probably better", "cannot tell", "probably worse" or "worse".
    verdict: String = verdict.judgement.to_string();
    /// The verdict in one sentence.
    words: String = verdict.words.clone();
    /// The probability of "better" in words that never claim more than the draws can show.
    chance_better: String = verdict.chance_better();
    /// Share of paired figures in which the later one has the greater Strehl; what the readings cannot see is in it.
    probability_better: f64 = verdict.probability_better;
    /// Gain in Strehl at the brightest focus.
    gain: f64 = verdict.strehl_gain.value;
    /// Its interval from reading noise.
    gain_interval: (f64, f64) = ends(&verdict.strehl_gain);
    /// Its total interval.
    gain_total_interval: (f64, f64) = total_ends(&verdict.strehl_gain);
    /// Strehl before, at the brightest focus.
    strehl_before: f64 = verdict.before.strehl().value;
    /// Its interval from reading noise.
    strehl_before_interval: (f64, f64) = ends(&verdict.before.strehl());
    /// Its total interval.
    strehl_before_total_interval: (f64, f64) = total_ends(&verdict.before.strehl());
    /// Strehl after, at the brightest focus.
    strehl_after: f64 = verdict.after.strehl().value;
    /// Its interval from reading noise.
    strehl_after_interval: (f64, f64) = ends(&verdict.after.strehl());
    /// Its total interval.
    strehl_after_total_interval: (f64, f64) = total_ends(&verdict.after.strehl());
    /// Wavefront RMS before, nm.
    rms_before_nm: f64 = verdict.before.rms_nm().value;
    /// Its interval from reading noise, nm.
    rms_before_nm_interval: (f64, f64) = ends(&verdict.before.rms_nm());
    /// Its total interval, nm.
    rms_before_nm_total_interval: (f64, f64) = total_ends(&verdict.before.rms_nm());
    /// Wavefront RMS after, nm.
    rms_after_nm: f64 = verdict.after.rms_nm().value;
    /// Its interval from reading noise, nm.
    rms_after_nm_interval: (f64, f64) = ends(&verdict.after.rms_nm());
    /// Its total interval, nm.
    rms_after_nm_total_interval: (f64, f64) = total_ends(&verdict.after.rms_nm());
    /// Share of the gain's variance that no number of runs removes; None unless both sides are readings.
    floor_share: Option<f64> = verdict.details.as_ref().map(|d| d.settling.floor_share);
    /// How many more runs of each set would have most of the chance that any number of runs has to settle it; 0: it is
    /// settled; None: change the method.
    further_runs: Option<usize> = verdict.details.as_ref().and_then(|d| d.settling.further_runs);
    /// What the verdict rests on, and what it leaves out.
    reasons: Vec<String> = verdict.reasons.clone();
    /// Cautions for whoever handles the mirror.
    cautions: Vec<String> = verdict.cautions.clone();
    /// Seed of the draws; None where no readings were drawn from.
    seed: Option<u64> = verdict.before.readings().or(verdict.after.readings()).map(|f| f.options.seed);
    /// Wavelength, nm.
    wavelength_nm: f64 = verdict.before.wavelength_nm();
});
record!(PyVerdict, "Verdict",
    attributes: ["verdict", "words", "probability_better", "gain", "gain_interval", "gain_total_interval",
        "strehl_before", "strehl_before_interval", "strehl_before_total_interval", "strehl_after",
        "strehl_after_interval", "strehl_after_total_interval", "rms_before_nm", "rms_before_nm_interval",
        "rms_before_nm_total_interval", "rms_after_nm", "rms_after_nm_interval", "rms_after_nm_total_interval",
        "floor_share", "further_runs", "reasons", "cautions", "before", "after", "wavelength_nm", "seed"],
    shown: ["verdict", "chance_better", "gain",  "strehl_before", "strehl_after", "wavelength_nm"]);

/// Return the judgement of a refigure from what was measured before and after it.
///
/// `before` and `after` are KnifeEdgeReadings, TestSheets, ZernikeReports, or figures made of one of them. Of the train, if one is given, only the diagonal's
/// shadow counts, over the clear aperture: readings are reduced with that obstruction, else without. `draws`, `seed` and `wavelength_nm` count for
/// what is not a figure yet; radii of the openings are then taken as good to 0.2 mm, for another value reduce them first.
///
/// Units: nm.
/// Errors: InputError where the two are not of one mirror, or stand for different wavelengths or obstructions.
/// Leaves out: what is not rotationally symmetric; the verdict's reasons name what is assumed.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
/// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
/// >>> same = ct.judge_refigure(before=readings, after=readings, seed=3)
/// >>> assert same.verdict == "cannot tell" and abs(same.probability_better - 0.5) < 0.05
#[pyfunction]
#[pyo3(signature = (*, before, after, train=None, draws=None, seed=None, wavelength_nm=None),
    text_signature = "(*, before, after, train=None, draws=2000, seed=1, wavelength_nm=550.0)")]
fn judge_refigure(
    py: Python<'_>,
    before: &Bound<'_, PyAny>,
    after: &Bound<'_, PyAny>,
    train: Option<&Bound<'_, PyTrain>>,
    draws: Option<&Bound<'_, PyAny>>,
    seed: Option<&Bound<'_, PyAny>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyVerdict> {
    let options = ReduceOptions {
        obstruction_ratio: train.map_or(0.0, |t| shadow(t.get())),
        wavelength_nm: wavelength(wavelength_nm)?,
        draws: count_or(draws, "draws", 2000)?,
        seed: count_or(seed, "seed", 1)? as u64,
        ..ReduceOptions::default()
    };
    let (before, after) = (Given::new(before, "before")?, Given::new(after, "after")?);
    if let Some(train) = train {
        let (tested, own) = (before.clear_aperture_mm(), train.get().train.primary().clear_aperture_mm);
        if (tested - own).abs() > 0.01 * own {
            let allowed = format!("a primary of the {tested} mm that were tested");
            return Err(refused(
                py,
                "train",
                &format!("a primary of {own} mm"),
                &allowed,
                "another telescope?",
            ));
        }
    }
    compute(py, move || {
        let (before, after) = (before.evidence(&options)?, after.evidence(&options)?);
        crate::judge_refigure(&before, &after)
    })
    .map(PyVerdict)
}

/// The diagonal's shadow over the clear aperture, by diameter: a mask does not change what was tested.
pub(super) fn shadow(train: &PyTrain) -> f64 {
    let diagonal = train.train.diagonal().map_or(0.0, |d| d.minor_axis_mm);
    diagonal / train.train.primary().clear_aperture_mm
}

/// What was measured, as the caller gave it: figures are made of it with the options of the call.
pub(super) enum Given {
    Readings(KnifeEdgeReadings),
    Sheet(TestSheet),
    Report(ZernikeReport),
    Ready(Evidence),
}

impl Given {
    pub(super) fn new(value: &Bound<'_, PyAny>, name: &str) -> PyResult<Self> {
        Ok(if let Ok(readings) = value.cast::<PyKnifeEdgeReadings>() {
            Self::Readings(readings.get().0.clone())
        } else if let Ok(figure) = value.cast::<PyFigureEstimate>() {
            Self::Ready((&figure.get().0).into())
        } else if let Ok(sheet) = value.cast::<PyTestSheet>() {
            Self::Sheet(sheet.get().0)
        } else if let Ok(figure) = value.cast::<PySheetFigure>() {
            Self::Ready((&figure.get().0).into())
        } else if let Ok(report) = value.cast::<PyZernikeReport>() {
            Self::Report(report.get().0.clone())
        } else if let Ok(figure) = value.cast::<PyZernikeFigure>() {
            Self::Ready((&figure.get().0).into())
        } else {
            let found = value.get_type().name()?.to_string();
            let allowed = "KnifeEdgeReadings, a TestSheet, a ZernikeReport, or a figure made of one of them";
            return Err(refused(value.py(), name, &found, allowed, ""));
        })
    }

    fn clear_aperture_mm(&self) -> f64 {
        match self {
            Self::Readings(readings) => readings.clear_aperture_mm(),
            Self::Sheet(sheet) => sheet.input().clear_aperture_mm,
            Self::Report(report) => report.input().clear_aperture_mm,
            Self::Ready(evidence) => evidence.clear_aperture_mm(),
        }
    }

    pub(super) fn evidence(self, options: &ReduceOptions) -> crate::Result<Evidence> {
        Ok(match self {
            Self::Readings(readings) => (&readings.reduce(options.clone())?).into(),
            Self::Sheet(sheet) => (&sheet.figure(options.wavelength_nm)?).into(),
            Self::Report(report) => {
                let ReduceOptions { obstruction_ratio, wavelength_nm, draws, seed, .. } = *options;
                (&report.figure(obstruction_ratio, wavelength_nm, draws, seed)?).into()
            }
            Self::Ready(evidence) => evidence,
        })
    }
}

/// The object that wraps a piece of evidence.
pub(super) fn figure_of(py: Python<'_>, evidence: &Evidence) -> PyResult<Py<PyAny>> {
    Ok(match evidence {
        Evidence::Readings(figure) => {
            Bound::new(py, PyFigureEstimate((**figure).clone()))?.into_any().unbind()
        }
        Evidence::Sheet(figure) => Bound::new(py, PySheetFigure((**figure).clone()))?.into_any().unbind(),
        Evidence::Report(figure) => Bound::new(py, PyZernikeFigure((**figure).clone()))?.into_any().unbind(),
    })
}

/// What readings on both sides allow to say.
fn details<'a>(py: Python<'_>, verdict: &'a Verdict) -> PyResult<&'a ReadingDetails> {
    let cause = "numbers on paper do not say where on the mirror an error lies";
    let none = || refused(py, "evidence", "a sheet or a report", "readings before and after", cause);
    verdict.details.as_ref().ok_or_else(none)
}
