//! What a coating costs, and what a recoat returns.

use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, maybe_part_number, number_or, part_number, part_number_or};
use super::arrays::column;
use super::coating_evidence::{PyCoatingEstimate, branch, wear};
use super::coating_haze::{PyHazeHalo, PyHazeScatter};
use super::compute::compute;
use super::diagonals::{text, truths};
use super::errors::refused;
use super::rays::draw;
use super::record::{columns, getters, record};
use super::spectrum::PySpectrum;
use super::train::PyTrain;
use crate::{
    Ageing, CoatingEffect, EffectOptions, FreshCoat, Interval, MeasuredCoating, RecoatComparison,
    RecoatOptions, RecoatPrices, RecoatRow, coating_effect, recoat,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyFreshCoat>()?;
    module.add_class::<PyCoatingEffect>()?;
    module.add_class::<PyRecoatPrices>()?;
    module.add_class::<PyAgeing>()?;
    module.add_class::<PyRecoatComparison>()?;
    module.add_function(wrap_pyfunction!(py_coating_effect, module)?)?;
    module.add_function(wrap_pyfunction!(py_recoat, module)?)
}

fn ends(interval: Option<Interval>) -> Option<(f64, f64)> {
    interval.map(|i| (i.low, i.high))
}

/// A coat as it comes from the shop, by your own numbers.
///
/// Units: shares of the power; the diagonal's at 45 degrees.
/// Errors: InputError, where it is used.
///
/// >>> coat = ct.FreshCoat(name="standard", primary_reflectance=0.91, diagonal_reflectance=0.91)
/// >>> assert abs(coat.throughput - 0.8281) < 1e-12
#[pyclass(name = "FreshCoat", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFreshCoat(FreshCoat);

#[pymethods]
impl PyFreshCoat {
    #[new]
    #[pyo3(signature = (*, name, primary_reflectance, diagonal_reflectance))]
    fn new(
        name: &str,
        primary_reflectance: &Bound<'_, PyAny>,
        diagonal_reflectance: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let primary = part_number(primary_reflectance, "primary_reflectance")?;
        Ok(Self(FreshCoat::new(name, primary, part_number(diagonal_reflectance, "diagonal_reflectance")?)))
    }
}

getters!(PyFreshCoat, |coat| {
    /// Name, for tables.
    name: &str = &coat.name;
    /// Share of the power that the primary returns.
    primary_reflectance: f64 = coat.primary_reflectance;
    /// Share of the power that the diagonal returns.
    diagonal_reflectance: f64 = coat.diagonal_reflectance;
    /// What both mirrors return together.
    throughput: f64 = coat.throughput();
});
record!(PyFreshCoat, "FreshCoat", attributes: ["name", "primary_reflectance", "diagonal_reflectance", "throughput"],
    shown: ["name", "primary_reflectance", "diagonal_reflectance"]);

/// What the coating of a train costs on the axis: what `coating_effect` returns.
///
/// `throughput` is what primary and diagonal together return of the light that passes all parts; `of_clear_aperture`
/// counts what the parts stop as well. Losses count against the fresh coat that was stated. The shape's loss is that of
/// the peak per light that arrives: Strehl times `amplitude_factor` over the Strehl of the same glass under an even
/// coat.
///
/// Units: shares of the power, magnitudes, mm.
/// Errors: those of `coating_effect`.
/// Source: the exact pupil of the train, sum w A^2 / sum w; pinholes q (1 - q) by Babinet's principle (from memory).
/// Leaves out: the field off the axis; in `strehl_without_heights` the reference point is that of the even coat.
/// Intervals hold the noise of lamp readings and the stated one of the diagonal; not errors of the outline, nor of the
/// film's model.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=356, focal_length_mm=1673, coating=ct.Coating(reflectance=0.85))
/// >>> fresh = ct.FreshCoat(name="standard", primary_reflectance=0.91, diagonal_reflectance=0.91)
/// >>> effect = ct.coating_effect(ct.Train(primary=mirror), fresh=fresh)
/// >>> assert abs(effect.throughput - 0.85) < 1e-12 and abs(effect.magnitudes_lost - 0.17645) < 1e-5
/// >>> assert effect.acts_like_fresh_mm < 356 and abs(effect.shape_loss) < 1e-9
#[pyclass(name = "CoatingEffect", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingEffect(pub(super) CoatingEffect);

#[pymethods]
impl PyCoatingEffect {
    /// The train as it was judged, with its measured coating where there is one.
    #[getter]
    fn train(&self) -> PyTrain {
        self.0.train.clone().into()
    }

    /// The coat against which losses count.
    #[getter]
    fn fresh(&self) -> PyFreshCoat {
        PyFreshCoat(self.0.fresh.clone())
    }

    /// What haze scatters, where its roughness was stated.
    #[getter]
    fn halo(&self) -> Option<PyHazeHalo> {
        self.0.halo.clone().map(PyHazeHalo)
    }

    /// The light.
    #[getter]
    fn spectrum(&self) -> PySpectrum {
        PySpectrum(self.0.options.spectrum.clone())
    }
}

columns!(PyCoatingEffect, |effect| {
    /// Throughputs of draws of the measured coating and the diagonal; empty where nothing is uncertain.
    throughput_draws = effect.throughput_draws.iter().copied();
});
getters!(PyCoatingEffect, |effect| {
    /// Share of the light on the clear aperture that passes all parts.
    lit_fraction: f64 = effect.lit_fraction;
    /// Mean over the lit pupil of what the primary returns.
    primary_reflectance: f64 = effect.primary_reflectance;
    /// What the diagonal returns; 1 without one.
    diagonal_reflectance: f64 = effect.diagonal_reflectance;
    /// Mean over the lit pupil of what both return.
    throughput: f64 = effect.throughput;
    /// That times the lit fraction.
    of_clear_aperture: f64 = effect.of_clear_aperture;
    /// What both mirrors lose, magnitudes.
    magnitudes_lost: f64 = effect.magnitudes_lost;
    /// What of it a fresh coat would return, magnitudes.
    fresh_gain_magnitudes: f64 = effect.fresh_gain_magnitudes;
    /// Share of the fresh coat's light that is lost.
    light_loss: f64 = effect.light_loss;
    /// Diameter of a mirror under the fresh coat that gathers as much, the shadow in proportion, mm.
    acts_like_fresh_mm: f64 = effect.acts_like_fresh_mm;
    /// The same under a coat that returns all, mm.
    acts_like_perfect_mm: f64 = effect.acts_like_perfect_mm;
    /// Strehl at the peak focus.
    strehl: f64 = effect.strehl;
    /// The same light over the glass without the metal's heights.
    strehl_without_heights: f64 = effect.strehl_without_heights;
    /// The same glass under an even coat.
    strehl_even: f64 = effect.strehl_even;
    /// What the unevenness of the amplitude leaves of the peak per light.
    amplitude_factor: f64 = effect.amplitude_factor;
    /// Share of the peak per light that the coating takes.
    shape_loss: f64 = effect.shape_loss;
    /// Share of the light that pinholes spread into wide angles.
    pinhole_scatter: f64 = effect.pinhole_scatter;
    /// Interval of the throughput, 95 %; None where nothing is uncertain.
    throughput_range: Option<(f64, f64)> = ends(effect.throughput_interval);
    /// Interval of the loss in magnitudes.
    magnitudes_lost_range: Option<(f64, f64)> = ends(effect.magnitudes_lost_interval);
    /// Interval of the diameter under the fresh coat, mm.
    acts_like_fresh_range_mm: Option<(f64, f64)> = ends(effect.acts_like_fresh_interval_mm);
    /// Interval of the Strehl, for thin metal.
    strehl_range: Option<(f64, f64)> = ends(effect.strehl_interval);
    /// Share of the draws that a mirror can have; the others were left out.
    possible_share: f64 = effect.possible_share;
    /// Estimated error of the Strehls.
    error_estimate: f64 = effect.error_estimate;
    /// All this in sentences: light first, then shape, then what scatters.
    words: Vec<String> = effect.words.clone();
});
record!(PyCoatingEffect, "CoatingEffect",
    attributes: ["throughput", "throughput_range", "primary_reflectance", "diagonal_reflectance", "lit_fraction",
        "of_clear_aperture",
        "magnitudes_lost", "magnitudes_lost_range", "fresh_gain_magnitudes", "light_loss", "acts_like_fresh_mm",
        "acts_like_fresh_range_mm", "acts_like_perfect_mm", "strehl", "strehl_range", "strehl_without_heights",
        "strehl_even",
        "amplitude_factor", "shape_loss", "pinhole_scatter", "halo", "throughput_draws", "possible_share",
        "error_estimate", "words",
        "fresh", "spectrum", "train"],
    shown: ["throughput", "magnitudes_lost", "acts_like_fresh_mm", "strehl", "shape_loss"]);

/// What a recoat costs, in any currency; `both` not given: the sum.
///
/// Units: any currency, the same for all.
/// Errors: InputError, where it is used, for a price below 0.
///
/// >>> assert ct.RecoatPrices(diagonal=35, primary=240).both == 275
#[pyclass(name = "RecoatPrices", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRecoatPrices(RecoatPrices);

#[pymethods]
impl PyRecoatPrices {
    #[new]
    #[pyo3(signature = (*, diagonal, primary, both=None))]
    fn new(
        diagonal: &Bound<'_, PyAny>,
        primary: &Bound<'_, PyAny>,
        both: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        Ok(Self(RecoatPrices {
            diagonal: part_number(diagonal, "diagonal")?,
            primary: part_number(primary, "primary")?,
            both: maybe_part_number(both, "both")?,
        }))
    }
}

getters!(PyRecoatPrices, |prices| {
    /// The price of the diagonal alone.
    diagonal: f64 = prices.diagonal;
    /// The price of the primary alone.
    primary: f64 = prices.primary;
    /// The price of both.
    both: f64 = prices.of_both();
});
record!(PyRecoatPrices, "RecoatPrices", attributes: ["diagonal", "primary", "both"],
    shown: ["diagonal", "primary", "both"]);

/// How coats are assumed to age: each mirror keeps the same share of its light from year to year. An assumption of
/// yours.
///
/// Units: years; shares of the light a year.
/// Errors: InputError, where it is used.
///
/// >>> assert ct.Ageing(years=8, fresh_loss_per_year=0.01, old_loss_per_year=0.01).years == 8
#[pyclass(name = "Ageing", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyAgeing(Ageing);

#[pymethods]
impl PyAgeing {
    #[new]
    #[pyo3(signature = (*, years, fresh_loss_per_year, old_loss_per_year))]
    fn new(
        years: &Bound<'_, PyAny>,
        fresh_loss_per_year: &Bound<'_, PyAny>,
        old_loss_per_year: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        Ok(Self(Ageing {
            years: part_number(years, "years")?,
            fresh_loss_per_year: part_number(fresh_loss_per_year, "fresh_loss_per_year")?,
            old_loss_per_year: part_number(old_loss_per_year, "old_loss_per_year")?,
        }))
    }
}

getters!(PyAgeing, |ageing| {
    /// Over how many years the mean is taken.
    years: f64 = ageing.years;
    /// Share of its light that a fresh coat loses in a year.
    fresh_loss_per_year: f64 = ageing.fresh_loss_per_year;
    /// Share of its light that the old coat loses in a year.
    old_loss_per_year: f64 = ageing.old_loss_per_year;
});
record!(PyAgeing, "Ageing", attributes: ["years", "fresh_loss_per_year", "old_loss_per_year"],
    shown: ["years", "fresh_loss_per_year", "old_loss_per_year"]);

/// Recoats compared, what each returns and for which price: what `recoat` returns.
///
/// Units: shares of the power, magnitudes, mm; the prices' own currency.
/// Shapes: one entry for each fresh coat and each of "diagonal", "primary", "both" (the primary alone without a
/// diagonal).
/// Errors: those of `recoat`.
/// Leaves out: what a recoat risks (stripping that etches, a figure that changes under it), and that fresh coats
/// differ.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=356, focal_length_mm=1673, coating=ct.Coating(reflectance=0.85))
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=74, reflectance=0.78), ct.FocalPlane(axis_to_focus_mm=255)
/// >>> fresh = ct.FreshCoat(name="standard", primary_reflectance=0.91, diagonal_reflectance=0.91)
/// >>> found = ct.recoat(ct.Train(primary=mirror, diagonal=flat, focal_plane=plane), fresh=fresh,
/// ...     prices=ct.RecoatPrices(diagonal=35, primary=240))
/// >>> assert found.what == ("diagonal", "primary", "both") and found.returned_of_lost[0] > 0.5
#[pyclass(name = "RecoatComparison", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRecoatComparison(RecoatComparison);

#[pymethods]
impl PyRecoatComparison {
    /// The train as it is, against the first coat.
    #[getter]
    fn effect(&self) -> PyCoatingEffect {
        PyCoatingEffect(self.0.effect.clone())
    }

    /// Which mirrors: "diagonal", "primary" or "both".
    #[getter]
    fn what<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.rows.iter().map(|row| row.what.key()))
    }

    /// Names of the fresh coats.
    #[getter]
    fn coat<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.rows.iter().map(|row| row.coat.clone()))
    }

    /// Whether another returns as much or more for the same or less, and is better in one of both.
    #[getter]
    fn dominated<'py>(&self, py: Python<'py>) -> Bound<'py, numpy::PyArray1<bool>> {
        truths(py, self.0.rows.iter().map(|row| row.dominated))
    }

    /// The trains as they are afterwards.
    #[getter]
    fn trains<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.rows.iter().map(|row| PyTrain::from(row.train.clone())))
    }

    /// The 95 % intervals of the gains; empty where nothing is uncertain.
    #[getter]
    fn gain_ranges<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.rows.iter().filter_map(|row| ends(row.gain_interval)).collect::<Vec<_>>())
    }

    /// Return the rows as a table.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=356, focal_length_mm=1673, coating=ct.Coating(reflectance=0.85))
    /// >>> fresh = ct.FreshCoat(name="standard", primary_reflectance=0.91, diagonal_reflectance=0.91)
    /// >>> table = ct.recoat(ct.Train(primary=mirror), fresh=fresh).to_table()
    /// >>> assert table.rows == 1 and table["what"][0] == "primary"
    fn to_table<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let rows = &self.0.rows;
        let table = PyDict::new(py);
        table.set_item("what", text(py, rows.iter().map(|r| r.what.key()))?)?;
        let coats: Vec<&str> = rows.iter().map(|r| r.coat.as_str()).collect();
        table.set_item("coat", py.import("numpy")?.call_method1("array", (coats,))?)?;
        let number =
            |name: &str, of: fn(&RecoatRow) -> f64| table.set_item(name, column(py, rows.iter().map(of)));
        number("throughput", |r| r.throughput)?;
        number("gain", |r| r.gain)?;
        number("gain_magnitudes", |r| r.gain_magnitudes)?;
        number("returned_of_lost", |r| r.returned_of_lost)?;
        number("acts_like_fresh_mm", |r| r.acts_like_fresh_mm)?;
        number("strehl", |r| r.strehl)?;
        number("peak_ratio", |r| r.peak_ratio)?;
        if rows.iter().all(|r| r.gain_interval.is_some()) {
            number("gain_low", |r| r.gain_interval.map_or(r.gain, |i| i.low))?;
            number("gain_high", |r| r.gain_interval.map_or(r.gain, |i| i.high))?;
        }
        if rows.iter().all(|r| r.price.is_some()) {
            number("price", |r| r.price.unwrap_or(0.0))?;
        }
        if rows.iter().all(|r| r.gain_per_price.is_some()) {
            number("gain_per_price", |r| r.gain_per_price.unwrap_or(0.0))?;
        }
        if rows.iter().all(|r| r.aged_gain.is_some()) {
            number("aged_gain", |r| r.aged_gain.unwrap_or(0.0))?;
        }
        table.set_item("dominated", truths(py, rows.iter().map(|r| r.dominated)))?;
        py.import("catoptric.table")?.call_method1("Table", (table,))
    }

    /// Draw what each recoat returns, and per price, as bars; return the axes.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=356, focal_length_mm=1673, coating=ct.Coating(reflectance=0.85))
    /// >>> fresh = ct.FreshCoat(name="standard", primary_reflectance=0.91, diagonal_reflectance=0.91)
    /// >>> axes = ct.recoat(ct.Train(primary=mirror), fresh=fresh).plot()
    /// >>> assert "light" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("recoat", slf.as_any(), ax, None)
    }
}

columns!(PyRecoatComparison, |found| {
    /// What both mirrors return afterwards.
    throughput = found.rows.iter().map(|r| r.throughput);
    /// That less what they return now.
    gain = found.rows.iter().map(|r| r.gain);
    /// The gain as a star brighter by so many magnitudes.
    gain_magnitudes = found.rows.iter().map(|r| r.gain_magnitudes);
    /// The gain over what is lost now against both mirrors under the first coat.
    returned_of_lost = found.rows.iter().map(|r| r.returned_of_lost);
    /// Diameter under the first fresh coat that gathers as much, mm.
    acts_like_fresh_mm = found.rows.iter().map(|r| r.acts_like_fresh_mm);
    /// Strehl at the peak focus afterwards.
    strehl = found.rows.iter().map(|r| r.strehl);
    /// The star's peak afterwards over the peak now.
    peak_ratio = found.rows.iter().map(|r| r.peak_ratio);
    /// Prices, where they were told; else empty.
    price = found.rows.iter().filter_map(|r| r.price);
    /// Gain over price, where prices above 0 were told; else empty.
    gain_per_price = found.rows.iter().filter_map(|r| r.gain_per_price);
    /// Mean gain over the years of the assumed ageing; empty without one.
    aged_gain = found.rows.iter().filter_map(|r| r.aged_gain);
});
getters!(PyRecoatComparison, |found| {
    /// The comparison in sentences, best gain per price first.
    words: Vec<String> = found.words.clone();
});
record!(PyRecoatComparison, "RecoatComparison",
    attributes: ["what", "coat", "throughput", "gain", "gain_ranges", "gain_magnitudes", "returned_of_lost",
        "acts_like_fresh_mm",
        "strehl", "peak_ratio", "price", "gain_per_price", "aged_gain", "dominated", "words", "effect", "trains"],
    shown: ["what", "coat"]);

/// What both calls share.
struct Judged<'a, 'py> {
    py: Python<'py>,
    spectrum: Option<PySpectrum>,
    haze: Option<PyHazeScatter>,
    estimate: Option<PyCoatingEstimate>,
    wear: Option<&'a Bound<'py, PyAny>>,
    branch: Option<&'a str>,
    pinhole_share: Option<&'a Bound<'py, PyAny>>,
    diagonal_sigma: Option<&'a Bound<'py, PyAny>>,
    draws: Option<&'a Bound<'py, PyAny>>,
    seed: Option<&'a Bound<'py, PyAny>>,
}

impl Judged<'_, '_> {
    fn options(self) -> PyResult<EffectOptions> {
        let py = self.py;
        let usual = EffectOptions::default();
        let measured = if let Some(estimate) = self.estimate {
            Some(MeasuredCoating {
                branch: branch(py, self.branch)?,
                pinhole_share: number_or(self.pinhole_share, "pinhole_share", 0.0)?,
                ..MeasuredCoating::new(estimate.0, wear(py, self.wear)?)
            })
        } else {
            let beside = [
                ("wear", self.wear.is_some()),
                ("branch", self.branch.is_some()),
                ("pinhole_share", self.pinhole_share.is_some()),
            ];
            if let Some((name, _)) = beside.into_iter().find(|(_, given)| *given) {
                let cause = "without an estimate the train's own coating is judged as it stands";
                return Err(refused(py, name, "given alone", "an estimate beside it", cause));
            }
            None
        };
        Ok(EffectOptions {
            spectrum: self.spectrum.map_or(usual.spectrum, |s| s.0),
            haze: self.haze.map(|h| h.0),
            measured,
            diagonal_sigma: part_number_or(self.diagonal_sigma, "diagonal_sigma", usual.diagonal_sigma)?,
            draws: count_or(self.draws, "draws", usual.draws)?,
            seed: count_or(self.seed, "seed", usual.seed as usize)? as u64,
        })
    }
}

/// Return what the coating of a train costs on the axis, against a fresh coat.
///
/// With `estimate` (from `CoatingSpots.fit`) the measured coating stands in place of the train's own, with intervals;
/// then `wear` ("haze", or the `MetalFilm` of the base) has no default, and `pinhole_share` is the area without metal,
/// which the lamp's readings have in them. `diagonal_sigma` is the standard deviation of the diagonal's reflectance.
/// `haze` states a roughness, of which the scattered share is told. `spectrum` weighs the throughput; the Strehl is
/// that of its mean wavelength. Each of `draws` is a train of its own.
///
/// Units: shares of the power; nm and um for `haze`, as in `HazeScatter`.
/// Method and what it leaves out: see `CoatingEffect`.
/// Errors: InputError for shares that cannot be, readings of another mirror, wear not stated, a coating that the
/// readings do not allow.
///
/// >>> worn = ct.CoatingRing(inner_radius_mm=112, outer_radius_mm=139, reflectance=0.44)
/// >>> coating = ct.Coating(reflectance=0.88, rings=[worn])
/// >>> mirror = ct.Primary(clear_aperture_mm=356, focal_length_mm=1673, coating=coating)
/// >>> fresh = ct.FreshCoat(name="standard", primary_reflectance=0.91, diagonal_reflectance=0.91)
/// >>> effect = ct.coating_effect(ct.Train(primary=mirror), fresh=fresh)
/// >>> share = (139**2 - 112**2) / 178**2
/// >>> assert abs(effect.throughput - (0.88 - 0.44 * share)) < 1e-9 and effect.strehl > 0.999999
#[pyfunction]
#[pyo3(name = "coating_effect",
    signature = (train, /, *, fresh, spectrum=None, haze=None, estimate=None, wear=None, branch=None,
        pinhole_share=None,
        diagonal_sigma=None, draws=None, seed=None),
    text_signature = "(train, /, *, fresh, spectrum=None, haze=None, estimate=None, wear=None, branch=None, \
        pinhole_share=None, \
        diagonal_sigma=0.0, draws=100, seed=1)")]
#[allow(clippy::too_many_arguments)]
fn py_coating_effect(
    py: Python<'_>,
    train: &Bound<'_, PyTrain>,
    fresh: PyFreshCoat,
    spectrum: Option<PySpectrum>,
    haze: Option<PyHazeScatter>,
    estimate: Option<PyCoatingEstimate>,
    wear: Option<&Bound<'_, PyAny>>,
    branch: Option<&str>,
    pinhole_share: Option<&Bound<'_, PyAny>>,
    diagonal_sigma: Option<&Bound<'_, PyAny>>,
    draws: Option<&Bound<'_, PyAny>>,
    seed: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyCoatingEffect> {
    let judged =
        Judged { py, spectrum, haze, estimate, wear, branch, pinhole_share, diagonal_sigma, draws, seed };
    let (options, train) = (judged.options()?, train.get().train.clone());
    compute(py, move || coating_effect(&train, &fresh.0, &options)).map(PyCoatingEffect)
}

/// Return what recoating the diagonal, the primary or both returns, in one fresh coat or several.
///
/// `fresh` is a `FreshCoat` or a list of them; losses count against the first. `prices` is one `RecoatPrices` for all,
/// or a list, one a coat; `ageing` is an assumption on how coats age. For the other arguments see `coating_effect`.
/// Every row is a train of its own.
///
/// Units: shares of the power; prices in any currency, the same for all.
/// Leaves out: see `RecoatComparison`.
/// Errors: InputError for shares, prices and an ageing that cannot be; those of `coating_effect`.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=356, focal_length_mm=1673, coating=ct.Coating(reflectance=0.85))
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=74, reflectance=0.78), ct.FocalPlane(axis_to_focus_mm=255)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> coats = [ct.FreshCoat(name="standard", primary_reflectance=0.91, diagonal_reflectance=0.91),
/// ...     ct.FreshCoat(name="enhanced", primary_reflectance=0.95, diagonal_reflectance=0.96)]
/// >>> prices = [ct.RecoatPrices(diagonal=35, primary=240), ct.RecoatPrices(diagonal=60, primary=390)]
/// >>> found = ct.recoat(train, fresh=coats, prices=prices)
/// >>> assert len(found.gain) == 6 and abs(found.gain[0] - 0.85 * (0.91 - 0.78)) < 1e-12
#[pyfunction]
#[pyo3(name = "recoat",
    signature = (train, /, *, fresh, prices=None, ageing=None, spectrum=None, haze=None, estimate=None,
        wear=None, branch=None,
        pinhole_share=None, diagonal_sigma=None, draws=None, seed=None),
    text_signature = "(train, /, *, fresh, prices=None, ageing=None, spectrum=None, haze=None, estimate=None, \
        wear=None, branch=None, \
        pinhole_share=None, diagonal_sigma=0.0, draws=100, seed=1)")]
#[allow(clippy::too_many_arguments)]
fn py_recoat(
    py: Python<'_>,
    train: &Bound<'_, PyTrain>,
    fresh: &Bound<'_, PyAny>,
    prices: Option<&Bound<'_, PyAny>>,
    ageing: Option<PyAgeing>,
    spectrum: Option<PySpectrum>,
    haze: Option<PyHazeScatter>,
    estimate: Option<PyCoatingEstimate>,
    wear: Option<&Bound<'_, PyAny>>,
    branch: Option<&str>,
    pinhole_share: Option<&Bound<'_, PyAny>>,
    diagonal_sigma: Option<&Bound<'_, PyAny>>,
    draws: Option<&Bound<'_, PyAny>>,
    seed: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyRecoatComparison> {
    let judged =
        Judged { py, spectrum, haze, estimate, wear, branch, pinhole_share, diagonal_sigma, draws, seed };
    let coats = match fresh.extract::<PyFreshCoat>() {
        Ok(one) => vec![one],
        Err(_) => fresh.extract::<Vec<PyFreshCoat>>()?,
    };
    let prices = match prices {
        None => Vec::new(),
        Some(given) => match given.extract::<PyRecoatPrices>() {
            Ok(one) => vec![one],
            Err(_) => given.extract::<Vec<PyRecoatPrices>>()?,
        },
    };
    let options = RecoatOptions {
        fresh: coats.into_iter().map(|coat| coat.0).collect(),
        prices: prices.into_iter().map(|p| p.0).collect(),
        ageing: ageing.map(|a| a.0),
        effect: judged.options()?,
    };
    let train = train.get().train.clone();
    compute(py, move || recoat(&train, &options)).map(PyRecoatComparison)
}
