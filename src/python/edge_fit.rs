//! Edges fitted to readings; zones, hills and edges fitted to heights.

use numpy::{IntoPyArray, PyArray1, PyArray2};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{choice, count, list, maybe_number, number, number_or, one_or_list, wavelength};
use super::arrays::square;
use super::bench::PyKnifeEdgeReadings;
use super::compute::compute;
use super::errors::{exception, refused};
use super::estimate::{PyFigureEstimate, table_of};
use super::model::{layer, python_layer};
use super::rays::draw;
use super::record::{arrays, columns, getters, record};
use crate::{Background, EdgeFit, EdgeFitOptions, EdgeFits, LayerFit, LayerKind, ReduceOptions};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyEdgeFits>()?;
    module.add_class::<PyEdgeFit>()?;
    module.add_class::<PyLayerFit>()?;
    module.add_function(wrap_pyfunction!(fit_edges, module)?)?;
    module.add_function(wrap_pyfunction!(fit_zone, module)?)
}

/// Return the edges that readings allow: for each shape and width the interval of drops, and what the mirror is worth.
///
/// `what` is a KnifeEdgeReadings, or a FigureEstimate, whose noise, radii, wavelength and obstruction then count. Tried are
/// turned edges of the given powers, a roll-off and a sharp step, each of either sign and each with all smooth figures that the
/// reduction thinks of inside it. A pair of width and drop is allowed where -2 ln of its likelihood lies within the chi-square
/// point of two degrees of freedom (5.99 for 95 %) of the shape's best pair.
///
/// Units: mm; nm of glass height. Shapes: `widths_mm` rises; a roll-off is tried with a third of each as its reach.
/// Leaves out: edges of two shapes at once; an eye that matches two greys beside a step and passes over the line between them
/// sees nothing of the step.
/// Errors: InputError for options that cannot be, and those of `KnifeEdgeReadings.reduce`.
///
/// >>> rims = np.array([14, 52, 77, 96, 112, 126, 138.5, 149.5, 158])
/// >>> run = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * 3116)  # a paraboloid
/// >>> run[-1] += 2  # but for its last opening: the glass falls
/// >>> bench = dict(clear_aperture_mm=318, radius_of_curvature_mm=3116, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
/// >>> fits = ct.fit_edges(ct.KnifeEdgeReadings(runs_mm=[run] * 3, **bench), widths_mm=[2, 4, 8])
/// >>> assert fits.shapes[0].direction == "turned_down" and not fits.shape_is_told
#[pyfunction]
#[pyo3(signature = (what, /, *, powers=None, roll_off=true, step=true, widths_mm=None, largest_drop_nm=None, share=None,
    obstruction_ratio=None, wavelength_nm=None, radius_sigma_mm=None, reading_sigma_mm=None, bench_scatter_mm=None),
    text_signature = "(what, /, *, powers=2.0, roll_off=True, step=True, widths_mm=None, largest_drop_nm=3000.0, share=0.95, \
        obstruction_ratio=None, wavelength_nm=None, radius_sigma_mm=None, reading_sigma_mm=None, bench_scatter_mm=None)")]
#[allow(clippy::too_many_arguments)]
fn fit_edges(
    what: &Bound<'_, PyAny>,
    powers: Option<&Bound<'_, PyAny>>,
    roll_off: bool,
    step: bool,
    widths_mm: Option<&Bound<'_, PyAny>>,
    largest_drop_nm: Option<&Bound<'_, PyAny>>,
    share: Option<&Bound<'_, PyAny>>,
    obstruction_ratio: Option<&Bound<'_, PyAny>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
    radius_sigma_mm: Option<&Bound<'_, PyAny>>,
    reading_sigma_mm: Option<&Bound<'_, PyAny>>,
    bench_scatter_mm: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyEdgeFits> {
    let py = what.py();
    let (readings, given) = if let Ok(readings) = what.cast::<PyKnifeEdgeReadings>() {
        (readings.get().0.clone(), ReduceOptions::default())
    } else if let Ok(estimate) = what.cast::<PyFigureEstimate>() {
        (estimate.get().0.readings.clone(), estimate.get().0.options.clone())
    } else {
        let found = what.get_type().name()?.to_string();
        return Err(refused(py, "what", &found, "a KnifeEdgeReadings or a FigureEstimate", ""));
    };
    let reading_sigma_mm = reading_sigma_mm.map(|v| one_or_list(v, "reading_sigma_mm")).transpose()?;
    let reduce = ReduceOptions {
        obstruction_ratio: number_or(obstruction_ratio, "obstruction_ratio", given.obstruction_ratio)?,
        wavelength_nm: if wavelength_nm.is_some() { wavelength(wavelength_nm)? } else { given.wavelength_nm },
        radius_sigma_mm: maybe_number(radius_sigma_mm, "radius_sigma_mm")?.or(given.radius_sigma_mm),
        reading_sigma_mm: reading_sigma_mm.or(given.reading_sigma_mm),
        bench_scatter_mm: number_or(bench_scatter_mm, "bench_scatter_mm", given.bench_scatter_mm)?,
        ..given
    };
    let usual = EdgeFitOptions::default();
    let options = EdgeFitOptions {
        powers: powers.map(|p| one_or_list(p, "powers")).transpose()?.unwrap_or(usual.powers),
        roll_off,
        step,
        widths_mm: widths_mm.map(|w| list(w, "widths_mm")).transpose()?,
        largest_drop_nm: number_or(largest_drop_nm, "largest_drop_nm", usual.largest_drop_nm)?,
        share: number_or(share, "share", usual.share)?,
        reduce,
    };
    compute(py, move || readings.fit_edges(&options)).map(PyEdgeFits)
}

/// The edges that readings allow, shape by shape.
///
/// Units: mm; nm of glass height.
/// Shapes: `shapes` has one EdgeFit for each shape tried.
/// Leaves out: see `fit_edges`, which makes it.
/// Errors: those of `fit_edges`.
///
/// >>> rims = np.array([20, 58, 85, 106, 124, 140, 158])
/// >>> run = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * 3116) + [0, 0, 0, 0, 0, 2]
/// >>> bench = dict(clear_aperture_mm=318, radius_of_curvature_mm=3116, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
/// >>> fits = ct.fit_edges(ct.KnifeEdgeReadings(runs_mm=[run] * 3, **bench), widths_mm=[3, 6, 12])
/// >>> assert fits.seen_to_mm == 158 and "cannot be told" in fits.words
#[pyclass(name = "EdgeFits", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyEdgeFits(pub(super) EdgeFits);

#[pymethods]
impl PyEdgeFits {
    /// The shapes that were tried, an EdgeFit each.
    #[getter]
    fn shapes<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.shapes.iter().map(|s| PyEdgeFit(s.clone())))
    }

    /// Return figures along the allowed curve, as lists of layers for a paraboloid of the tested size.
    ///
    /// The best shape's, or those of another by its place in `shapes`; evenly spread over the allowed widths at their best
    /// drops, and when more are asked for also at the lowest and highest allowed drops.
    ///
    /// Errors: InputError for more figures than there are, and for a place that is none.
    ///
    /// >>> rims = np.array([20, 58, 85, 106, 124, 140, 158])
    /// >>> run = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * 3116) + [0, 0, 0, 0, 0, 2]
    /// >>> bench = dict(clear_aperture_mm=318, radius_of_curvature_mm=3116, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
    /// >>> fits = ct.fit_edges(ct.KnifeEdgeReadings(runs_mm=[run] * 3, **bench), widths_mm=[3, 6, 12])
    /// >>> figures = fits.family(3, shape=0)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, radius_of_curvature_mm=3116, figure=figures[0])
    /// >>> assert isinstance(figures[0][1], ct.TurnedEdge) and mirror.conic == -1
    #[pyo3(signature = (figures, /, *, shape=None))]
    fn family(
        &self,
        py: Python<'_>,
        figures: &Bound<'_, PyAny>,
        shape: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Vec<Vec<Py<PyAny>>>> {
        let place = shape.map(|s| count(s, "shape")).transpose()?.unwrap_or(self.0.best);
        let found = self.0.family_of(place, count(figures, "figures")?).map_err(|e| exception(py, e))?;
        found.iter().map(|f| f.iter().map(|l| python_layer(py, l)).collect()).collect()
    }

    /// Draw the allowed drop against the width, shape by shape; return the axes.
    ///
    /// >>> rims = np.array([20, 58, 85, 106, 124, 140, 158])
    /// >>> run = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * 3116) + [0, 0, 0, 0, 0, 2]
    /// >>> bench = dict(clear_aperture_mm=318, radius_of_curvature_mm=3116, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
    /// >>> fits = ct.fit_edges(ct.KnifeEdgeReadings(runs_mm=[run] * 3, **bench), widths_mm=[3, 6, 12])
    /// >>> assert "nm" in fits.plot().get_ylabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("edge_curves", slf.as_any(), ax, None)
    }

    /// Draw the glass near the rim for figures along the allowed curves; return the axes.
    ///
    /// >>> rims = np.array([20, 58, 85, 106, 124, 140, 158])
    /// >>> run = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * 3116) + [0, 0, 0, 0, 0, 2]
    /// >>> bench = dict(clear_aperture_mm=318, radius_of_curvature_mm=3116, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
    /// >>> fits = ct.fit_edges(ct.KnifeEdgeReadings(runs_mm=[run] * 3, **bench), widths_mm=[3, 6, 12])
    /// >>> assert "mm" in fits.plot_family().get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot_family<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        draw("edge_family", slf.as_any(), ax, None)
    }
}

getters!(PyEdgeFits, |fits| {
    /// The shape that explains the readings best.
    best_shape: String = fits.shapes[fits.best].shape.name();
    /// Chi-square without any edge above that of the best pair.
    no_edge_above_best: f64 = fits.no_edge_above_best;
    /// The chance of so large a difference, two degrees of freedom: small where there is an edge.
    no_edge_p_value: f64 = fits.no_edge_p_value;
    /// Whether the readings leave one shape only, of several.
    shape_is_told: bool = fits.shape_is_told();
    /// Lowest and highest Strehl along the curves of all shapes that are not ruled out.
    strehl_range: (f64, f64) = fits.strehl_range();
    /// Outer radius of the last opening, mm: what lies beyond is not seen.
    seen_to_mm: f64 = fits.seen_to_mm;
    /// Clear aperture of the mirror, mm.
    clear_aperture_mm: f64 = fits.clear_aperture_mm;
    /// The share of cases in which the allowed pairs should hold the truth.
    share: f64 = fits.options.share;
    /// Diameter of the diagonal's shadow over the clear aperture.
    obstruction_ratio: f64 = fits.options.reduce.obstruction_ratio;
    /// Wavelength of Strehl and RMS, nm.
    wavelength_nm: f64 = fits.options.reduce.wavelength_nm;
    /// What all this means, in sentences.
    words: String = fits.words();
});
arrays!(PyEdgeFits, |fits| {
    /// Radii of the smooth figures inside the edges, mm.
    inner_radius_mm: PyArray1 = fits.inner_radius_mm;
});
record!(PyEdgeFits, "EdgeFits",
    attributes: ["shapes", "best_shape", "no_edge_above_best", "no_edge_p_value", "shape_is_told", "strehl_range", "seen_to_mm",
        "clear_aperture_mm", "share", "obstruction_ratio", "wavelength_nm", "inner_radius_mm", "words"],
    shown: ["words", "best_shape", "shape_is_told", "strehl_range", "no_edge_p_value"]);

/// One shape of edge: the curve of widths and drops that give the same readings.
///
/// Units: mm; nm of glass height; nm of wavefront for the RMS.
/// Shapes: every array has an entry for each width; `inner_height_nm[width, radius]`.
/// Leaves out: Strehl and RMS are those of the mean smooth figure inside each edge, between the allowed drops.
/// Errors: those of `fit_edges`, which makes it.
///
/// >>> rims = np.array([20, 58, 85, 106, 124, 140, 158])
/// >>> run = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * 3116) + [0, 0, 0, 0, 0, 2]
/// >>> bench = dict(clear_aperture_mm=318, radius_of_curvature_mm=3116, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
/// >>> fits = ct.fit_edges(ct.KnifeEdgeReadings(runs_mm=[run] * 3, **bench), widths_mm=[3, 6, 12])
/// >>> power = fits.shapes[0]
/// >>> assert power.shape == "power 2" and power.drop_nm[0] > power.drop_nm[1] > 0
#[pyclass(name = "EdgeFit", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyEdgeFit(pub(super) EdgeFit);

#[pymethods]
impl PyEdgeFit {
    /// Whether the readings allow any drop at each width.
    #[getter]
    fn allowed<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<bool>> {
        self.0.points.iter().map(|p| p.allowed).collect::<Vec<_>>().into_pyarray(py)
    }

    /// Whether the readings bound the drop at each width: not where the edge lies beyond the last opening.
    #[getter]
    fn bounded<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<bool>> {
        self.0.points.iter().map(|p| p.bounded).collect::<Vec<_>>().into_pyarray(py)
    }

    /// Mean height of the smooth figure inside the edge at its best drop, nm, at `EdgeFits.inner_radius_mm`.
    #[getter]
    fn inner_height_nm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        square(py, &self.0.points.iter().map(|p| p.inner_height_nm[0].clone()).collect::<Vec<_>>())
    }

    /// Return whether a pair of width (of a roll-off its reach) and drop lies within the allowed ones.
    ///
    /// Errors: InputError for what is not one finite number.
    ///
    /// >>> rims = np.array([20, 58, 85, 106, 124, 140, 158])
    /// >>> run = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * 3116) + [0, 0, 0, 0, 0, 2]
    /// >>> bench = dict(clear_aperture_mm=318, radius_of_curvature_mm=3116, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
    /// >>> fits = ct.fit_edges(ct.KnifeEdgeReadings(runs_mm=[run] * 3, **bench), widths_mm=[3, 6, 12])
    /// >>> assert not fits.shapes[0].allows(width_mm=6, drop_nm=-300)
    #[pyo3(signature = (*, width_mm, drop_nm))]
    fn allows(&self, width_mm: &Bound<'_, PyAny>, drop_nm: &Bound<'_, PyAny>) -> PyResult<bool> {
        Ok(self.0.allows(number(width_mm, "width_mm")?, number(drop_nm, "drop_nm")?))
    }

    /// Return the curve as a Table, a row for each width.
    ///
    /// >>> rims = np.array([20, 58, 85, 106, 124, 140, 158])
    /// >>> run = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * 3116) + [0, 0, 0, 0, 0, 2]
    /// >>> bench = dict(clear_aperture_mm=318, radius_of_curvature_mm=3116, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
    /// >>> fits = ct.fit_edges(ct.KnifeEdgeReadings(runs_mm=[run] * 3, **bench), widths_mm=[3, 6, 12])
    /// >>> assert fits.shapes[0].to_table().rows == 3
    fn to_table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        let columns = PyDict::new(slf.py());
        for name in [
            "width_mm",
            "drop_nm",
            "drop_low_nm",
            "drop_high_nm",
            "chi_square_above_best",
            "allowed",
            "bounded",
            "strehl",
            "strehl_low",
            "strehl_high",
            "rms_nm",
            "rms_low_nm",
            "rms_high_nm",
        ] {
            columns.set_item(name, slf.getattr(name)?)?;
        }
        table_of(&columns)
    }
}

columns!(PyEdgeFit, |fit| {
    /// Widths that were tried, of a roll-off its reaches, mm.
    width_mm = fit.points.iter().map(|p| p.width_mm);
    /// Best drop at each width, nm; negative: raised.
    drop_nm = fit.points.iter().map(|p| p.drop_nm);
    /// Lowest allowed drop, nm.
    drop_low_nm = fit.points.iter().map(|p| p.drop_low_nm);
    /// Highest allowed drop, nm.
    drop_high_nm = fit.points.iter().map(|p| p.drop_high_nm);
    /// Chi-square of the best drop above that of the shape's best pair.
    chi_square_above_best = fit.points.iter().map(|p| p.chi_square_above_best);
    /// Strehl at the brightest focus with the best drop.
    strehl = fit.points.iter().map(|p| p.strehl);
    /// The lowest Strehl between the allowed drops.
    strehl_low = fit.points.iter().map(|p| p.strehl_low);
    /// The highest Strehl between the allowed drops.
    strehl_high = fit.points.iter().map(|p| p.strehl_high);
    /// RMS of the wavefront with the best drop, nm.
    rms_nm = fit.points.iter().map(|p| p.rms_nm);
    /// The least RMS between the allowed drops, nm.
    rms_low_nm = fit.points.iter().map(|p| p.rms_low_nm);
    /// The greatest RMS between the allowed drops, nm.
    rms_high_nm = fit.points.iter().map(|p| p.rms_high_nm);
});
getters!(PyEdgeFit, |fit| {
    /// The shape: "power 2", "roll-off" or "step".
    shape: String = fit.shape.name();
    /// Width of the pair that explains the readings best, mm.
    best_width_mm: f64 = fit.points[fit.best].width_mm;
    /// Drop of that pair, nm.
    best_drop_nm: f64 = fit.points[fit.best].drop_nm;
    /// Chi-square of that pair above that of the best pair of all shapes.
    chi_square_above_best_shape: f64 = fit.chi_square_above_best_shape;
    /// The chance of so large a difference, two degrees of freedom.
    p_value: f64 = fit.p_value;
    /// "turned_down", "raised" or "open".
    direction: &'static str = fit.direction().name();
    /// Narrowest and widest allowed width, mm.
    width_range_mm: (f64, f64) = fit.width_range_mm();
    /// Lowest and highest Strehl along the allowed curve.
    strehl_range: (f64, f64) = fit.strehl_range();
    /// Least and greatest RMS along the allowed curve, nm.
    rms_range_nm: (f64, f64) = fit.rms_range_nm();
    /// Least and greatest product of drop and width along it, nm mm.
    drop_times_width_nm_mm: (f64, f64) = fit.drop_times_width_nm_mm();
    /// The allowed curve in words.
    words: String = fit.words();
});
record!(PyEdgeFit, "EdgeFit",
    attributes: ["shape", "width_mm", "drop_nm", "drop_low_nm", "drop_high_nm", "chi_square_above_best", "allowed", "bounded",
        "strehl", "strehl_low", "strehl_high", "rms_nm", "rms_low_nm", "rms_high_nm", "inner_height_nm", "best_width_mm",
        "best_drop_nm", "chi_square_above_best_shape", "p_value", "direction", "width_range_mm", "strehl_range",
        "rms_range_nm", "drop_times_width_nm_mm", "words"],
    shown: ["shape", "direction", "best_width_mm", "best_drop_nm", "width_range_mm", "strehl_range", "p_value"]);

/// Return a zone, a central hill or an edge fitted by least squares to a figure layer that is known.
///
/// `figure` is a RadialProfile (its points), a HeightMap (its pixels) or ZernikeTerms (samples); `kind` is "zone",
/// "central_hill", "turned_edge", "edge_roll_off" or "edge_step"; `background` is what is fitted beside it: a "level", level and
/// "focus" (r^2), or these and a "conic" (r^4).
///
/// Units: mm; nm of glass height. `sigma_nm` is the noise of one height, taken from what the fit leaves if not given.
/// Leaves out: that neighbouring heights of a map err together, which makes the errors larger than stated.
/// Errors: InputError for sizes that cannot be, and for too few heights.
///
/// >>> r = np.linspace(0, 159, 160)
/// >>> profile = ct.RadialProfile(radius_mm=r, height_nm=28 * np.exp(-(((r - 95) / 13) ** 2)) + 4)
/// >>> fit = ct.fit_zone(profile, kind="zone", clear_aperture_mm=318)
/// >>> assert abs(fit.layer.radius_mm - 95) < 1e-6 and abs(fit.layer.height_nm - 28) < 1e-6
#[pyfunction]
#[pyo3(signature = (figure, /, *, kind, clear_aperture_mm, power=None, background="focus", sigma_nm=None),
    text_signature = "(figure, /, *, kind, clear_aperture_mm, power=2.0, background='focus', sigma_nm=None)")]
fn fit_zone(
    figure: &Bound<'_, PyAny>,
    kind: &str,
    clear_aperture_mm: &Bound<'_, PyAny>,
    power: Option<&Bound<'_, PyAny>>,
    background: &str,
    sigma_nm: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyLayerFit> {
    let py = figure.py();
    let known = layer(0, figure)?;
    let power = number_or(power, "power", 2.0)?;
    let kinds = "'zone', 'central_hill', 'turned_edge', 'edge_roll_off' or 'edge_step'";
    let kind = choice(py, "kind", kind, kinds, |name| LayerKind::from_name(name, power))?;
    let backgrounds = "'level', 'focus' or 'conic'";
    let background = choice(py, "background", background, backgrounds, Background::from_name)?;
    let aperture_mm = number(clear_aperture_mm, "clear_aperture_mm")?;
    let sigma_nm = maybe_number(sigma_nm, "sigma_nm")?;
    compute(py, move || crate::fit_zone(&known, aperture_mm, kind, background, sigma_nm)).map(PyLayerFit)
}

/// A layer fitted to heights.
///
/// Units: mm; nm of glass height.
/// Shapes: an entry of `values` and `sigmas` for each of `names`; `radius_mm`, `height_nm` and `fitted_nm` are the points, or
/// the means of rings where there are more than 2000.
/// Leaves out: see `fit_zone`, which makes it.
/// Errors: those of `fit_zone`.
///
/// >>> r = np.linspace(0, 100, 101)
/// >>> profile = ct.RadialProfile(radius_mm=r, height_nm=-90 * np.exp(-(100 - r) / 6))
/// >>> fit = ct.fit_zone(profile, kind="edge_roll_off", clear_aperture_mm=200, background="level")
/// >>> assert fit.names[:2] == ("reach_mm", "drop_nm") and abs(fit.values[0] - 6) < 1e-6
#[pyclass(name = "LayerFit", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyLayerFit(pub(super) LayerFit);

#[pymethods]
impl PyLayerFit {
    /// The fitted layer, ready for a primary.
    #[getter]
    fn layer(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        python_layer(py, &self.0.layer)
    }

    /// What the numbers are: those of the layer, then the background's heights at the rim.
    #[getter]
    fn names<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, &self.0.names)
    }

    /// Standard errors of the numbers; None at the end of a range, and for the place of a step.
    #[getter]
    fn sigmas<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, &self.0.sigmas)
    }

    /// Covariance of the numbers, 0 where one was not free.
    #[getter]
    fn covariance<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        square(py, &self.0.covariance)
    }

    /// Draw the heights, the fit and what is left; return the axes.
    ///
    /// >>> r = np.linspace(0, 100, 101)
    /// >>> profile = ct.RadialProfile(radius_mm=r, height_nm=-90 * np.exp(-(100 - r) / 6))
    /// >>> fit = ct.fit_zone(profile, kind="edge_roll_off", clear_aperture_mm=200)
    /// >>> assert "nm" in fit.plot().get_ylabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("layer_fit", slf.as_any(), ax, None)
    }
}

arrays!(PyLayerFit, |fit| {
    /// The numbers.
    values: PyArray1 = fit.values;
    /// Radii, mm.
    radius_mm: PyArray1 = fit.radius_mm;
    /// Heights there, nm, as given.
    height_nm: PyArray1 = fit.height_nm;
    /// Heights there, nm, as fitted.
    fitted_nm: PyArray1 = fit.fitted_nm;
});
getters!(PyLayerFit, |fit| {
    /// RMS of what the fit leaves, nm.
    residual_rms_nm: f64 = fit.residual_rms_nm;
    /// RMS of what the background alone would leave, nm.
    background_rms_nm: f64 = fit.background_rms_nm;
    /// How many heights there were.
    points: usize = fit.points;
});
record!(PyLayerFit, "LayerFit",
    attributes: ["layer", "names", "values", "sigmas", "covariance", "residual_rms_nm", "background_rms_nm", "points",
        "radius_mm", "height_nm", "fitted_nm"],
    shown: ["names", "values", "sigmas", "residual_rms_nm", "background_rms_nm", "points"]);
