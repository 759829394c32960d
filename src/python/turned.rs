//! Runs with the mirror turned, and the astigmatism that they show.

use numpy::PyArray2;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, list, maybe_part_number, part_number, table};
use super::arrays::{Column, column, square};
use super::bench::openings;
use super::errors::{exception, refused};
use super::evidence::pair;
use super::record::{getters, record};
use crate::{
    Astigmatism, AstigmatismEstimate, ReadingsIncrease, TestSource, TurnedRun, TurnedRuns, TurnedRunsInput,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyTurnedRuns>()?;
    module.add_class::<PyAstigmatism>()?;
    module.add_class::<PyAstigmatismEstimate>()
}

/// Knife-edge runs along one diameter with the mirror or the mask turned between them: astigmatism of the glass or of
/// the stand.
///
/// `mirror_angle_deg` says where the mark on the mirror's rim stands in each run, `mask_angle_deg` along which diameter the openings lie.
/// A mask that stays shows the glass alone, with the mirror at 0, 45, 90 and 135 degrees; at 0 and 90 one of its two
/// components. A mirror that stays shows the sum of glass and stand. Both turned, each against the other, show both.
/// All runs need one zero (`zero_kept=True`): astigmatism along a diameter is a pure shift of focus, which a free zero would
/// hide.
///
/// Units: mm; degrees from +x toward +y, seen from the sky side.
/// Shapes: `readings_mm[run, opening]`; one angle a run.
/// Errors: InputError with all faults found.
/// Leaves out: astigmatism that grows faster than r^2; whatever turns with the mirror counts as glass.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, radius_mm=[40, 80], source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", zero_kept=True, reseating_sigma_mm=0.005)
/// >>> readings = np.array([30 - 0.0576, 30, 30 + 0.0576, 30])[:, None] + [0.33, 1.33]
/// >>> angles = dict(mirror_angle_deg=[0, 45, 90, 135], mask_angle_deg=[0, 0, 0, 0])
/// >>> found = ct.TurnedRuns(readings_mm=readings, **angles, **bench).estimate()
/// >>> assert found.origin == "turns with the mirror" and abs(found.glass.amplitude_nm - 100) < 1e-6
#[pyclass(name = "TurnedRuns", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyTurnedRuns(pub(super) TurnedRuns);

#[pymethods]
impl PyTurnedRuns {
    #[new]
    #[pyo3(signature = (*, clear_aperture_mm, radius_of_curvature_mm, source, readings_increase, mirror_angle_deg,
        mask_angle_deg, readings_mm, zero_kept, inner_radius_mm=None, outer_radius_mm=None, radius_mm=None,
        reseating_sigma_mm=None))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        clear_aperture_mm: &Bound<'_, PyAny>,
        radius_of_curvature_mm: &Bound<'_, PyAny>,
        source: &str,
        readings_increase: &str,
        mirror_angle_deg: &Bound<'_, PyAny>,
        mask_angle_deg: &Bound<'_, PyAny>,
        readings_mm: &Bound<'_, PyAny>,
        zero_kept: bool,
        inner_radius_mm: Option<&Bound<'_, PyAny>>,
        outer_radius_mm: Option<&Bound<'_, PyAny>>,
        radius_mm: Option<&Bound<'_, PyAny>>,
        reseating_sigma_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let (mirror, mask) =
            (list(mirror_angle_deg, "mirror_angle_deg")?, list(mask_angle_deg, "mask_angle_deg")?);
        let readings = table(readings_mm, "readings_mm")?;
        for (name, angles) in [("mirror_angle_deg", &mirror), ("mask_angle_deg", &mask)] {
            if angles.len() != readings.len() {
                let allowed = format!("one angle for each of the {} runs", readings.len());
                return Err(refused(py, name, &format!("{} angles", angles.len()), &allowed, ""));
            }
        }
        let angles = mirror.into_iter().zip(mask);
        let runs = angles.zip(readings).map(|((mirror_angle_deg, mask_angle_deg), readings_mm)| TurnedRun {
            mirror_angle_deg,
            mask_angle_deg,
            readings_mm,
        });
        let directions = "'away_from_mirror' or 'toward_mirror'";
        let input = TurnedRunsInput {
            clear_aperture_mm: part_number(clear_aperture_mm, "clear_aperture_mm")?,
            radius_of_curvature_mm: part_number(radius_of_curvature_mm, "radius_of_curvature_mm")?,
            source: choice(py, "source", source, "'moving' or 'fixed'", TestSource::from_name)?,
            readings_increase: choice(
                py,
                "readings_increase",
                readings_increase,
                directions,
                ReadingsIncrease::from_name,
            )?,
            openings: openings(py, inner_radius_mm, outer_radius_mm, radius_mm)?,
            runs: runs.collect(),
            zero_kept,
            reseating_sigma_mm: maybe_part_number(reseating_sigma_mm, "reseating_sigma_mm")?,
        };
        TurnedRuns::new(input).map(Self).map_err(|e| exception(py, e))
    }

    /// Return what of the astigmatism turns with the mirror and what stays with the stand.
    ///
    /// Units: nm of wavefront, degrees.
    /// Errors: InputError where the runs leave nothing to tell their scatter from.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, radius_mm=[40, 80], source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", zero_kept=True, reseating_sigma_mm=0.005)
    /// >>> readings = np.array([30 - 0.0576, 30 + 0.0576])[:, None] + [0.33, 1.33]
    /// >>> runs = ct.TurnedRuns(readings_mm=readings, mirror_angle_deg=[0, 90], mask_angle_deg=[0, 0], **bench)
    /// >>> assert runs.estimate().glass.axis_deg is None  # 45 degrees to the mask stays unseen
    fn estimate(&self, py: Python<'_>) -> PyResult<PyAstigmatismEstimate> {
        self.0.estimate().map(PyAstigmatismEstimate).map_err(|e| exception(py, e))
    }

    /// Where the mark on the mirror stood in each run, degrees.
    #[getter]
    fn mirror_angle_deg<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.input().runs.iter().map(|run| run.mirror_angle_deg))
    }

    /// Along which diameter the openings lay in each run, degrees.
    #[getter]
    fn mask_angle_deg<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.input().runs.iter().map(|run| run.mask_angle_deg))
    }

    /// The readings as they were given, mm: `readings_mm[run, opening]`.
    #[getter]
    fn readings_mm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        let rows: Vec<Vec<f64>> = self.0.input().runs.iter().map(|run| run.readings_mm.clone()).collect();
        square(py, &rows)
    }

    /// Inner radii of the openings, mm.
    #[getter]
    fn inner_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.input().openings.iter().map(|o| o.inner_radius_mm))
    }

    /// Outer radii of the openings, mm.
    #[getter]
    fn outer_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.input().openings.iter().map(|o| o.outer_radius_mm))
    }
}

getters!(PyTurnedRuns, |runs| {
    /// Clear aperture of the mirror, mm.
    clear_aperture_mm: f64 = runs.input().clear_aperture_mm;
    /// Radius of curvature at the vertex, mm.
    radius_of_curvature_mm: f64 = runs.input().radius_of_curvature_mm;
    /// Whether the source moves with the knife: "moving" or "fixed".
    source: &'static str = runs.input().source.name();
    /// Which way the scale counts: "away_from_mirror" or "toward_mirror".
    readings_increase: &'static str = runs.input().readings_increase.name();
    /// Whether the zero stayed the same from run to run; always so.
    zero_kept: bool = runs.input().zero_kept;
    /// How well the distance comes back when the mirror is set down again, mm, or None.
    reseating_sigma_mm: Option<f64> = runs.input().reseating_sigma_mm;
    /// Number of runs.
    run_count: usize = runs.input().runs.len();
    /// Number of openings.
    opening_count: usize = runs.input().openings.len();
});
record!(PyTurnedRuns, "TurnedRuns",
    attributes: ["clear_aperture_mm", "radius_of_curvature_mm", "source", "readings_increase", "mirror_angle_deg",
        "mask_angle_deg", "readings_mm", "inner_radius_mm", "outer_radius_mm", "zero_kept", "reseating_sigma_mm"],
    shown: ["run_count", "opening_count", "clear_aperture_mm", "radius_of_curvature_mm", "source", "readings_increase",
        "reseating_sigma_mm"]);

/// Astigmatism of one origin: amplitude (r/a)^2 cos 2(phi - axis), the wave ahead along the axis.
///
/// Units: nm of wavefront at the rim (PV is twice that, the RMS its sqrt(6)th part); degrees.
/// Leaves out: a part that the runs do not see is None, and the whole may then be larger.
/// Errors: those of `TurnedRuns.estimate`, which makes it.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, radius_mm=[40, 80], source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", zero_kept=True, reseating_sigma_mm=0.005)
/// >>> readings = np.array([30 - 0.0576, 30 + 0.0576])[:, None] + [0.33, 1.33]
/// >>> runs = ct.TurnedRuns(readings_mm=readings, mirror_angle_deg=[0, 90], mask_angle_deg=[0, 0], **bench)
/// >>> glass = runs.estimate().glass
/// >>> assert abs(glass.cosine_nm - 100) < 1e-6 and glass.sine_nm is None and not glass.whole
#[pyclass(name = "Astigmatism", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyAstigmatism(pub(super) Astigmatism);

getters!(PyAstigmatism, |found| {
    /// Part that goes with cos 2(phi - reference), nm, or None.
    cosine_nm: Option<f64> = found.cosine_nm;
    /// Its 95 % interval, nm, or None.
    cosine_nm_interval: Option<(f64, f64)> = found.cosine_interval_nm.map(pair);
    /// Part that goes with sin 2(phi - reference), nm, or None.
    sine_nm: Option<f64> = found.sine_nm;
    /// Its 95 % interval, nm, or None.
    sine_nm_interval: Option<(f64, f64)> = found.sine_interval_nm.map(pair);
    /// Where phi is counted from for the two parts: the mask's diameter in the first run, degrees.
    reference_deg: f64 = found.reference_deg;
    /// Size of what is seen, nm.
    amplitude_nm: f64 = found.amplitude_nm;
    /// An interval that holds it at least 95 times in 100, nm.
    amplitude_nm_interval: (f64, f64) = pair(found.amplitude_interval_nm);
    /// Diameter along which the wave is ahead, 0 to 180 degrees, or None; glass: from the mark, stand: from +x.
    axis_deg: Option<f64> = found.axis_deg;
    /// Chance that noise alone shows so much or more.
    chance_of_none: f64 = found.chance_of_none;
    /// Whether both parts are seen.
    whole: bool = found.is_whole();
});
record!(PyAstigmatism, "Astigmatism",
    attributes: ["cosine_nm", "cosine_nm_interval", "sine_nm", "sine_nm_interval", "reference_deg", "amplitude_nm",
        "amplitude_nm_interval", "axis_deg", "chance_of_none", "whole"],
    shown: ["amplitude_nm", "axis_deg", "whole", "chance_of_none"]);

/// Astigmatism of the glass and of the stand, from runs with the mirror turned.
///
/// Units: nm of wavefront at the rim, mm, degrees; intervals are Student's.
/// Source: the focus along the diameter phi moves by -k R^2 A/a^2 cos 2(phi - axis), k = 1 for a moving source and 2 for a fixed one.
/// Leaves out: terms of the order (r/R)^2, 0.4 % at the rim at f/4.
/// Errors: those of `TurnedRuns.estimate`, which makes it.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, radius_mm=[40, 80], source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", zero_kept=True, reseating_sigma_mm=0.005)
/// >>> readings = np.array([30 - 0.0576, 30, 30 + 0.0576, 30])[:, None] + [0.33, 1.33]
/// >>> angles = dict(mirror_angle_deg=[0, 0, 0, 0], mask_angle_deg=[0, 45, 90, 135])
/// >>> found = ct.TurnedRuns(readings_mm=readings, **angles, **bench).estimate()
/// >>> assert found.origin == "cannot tell" and abs(found.together.amplitude_nm - 100) < 1e-6
#[pyclass(name = "AstigmatismEstimate", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyAstigmatismEstimate(pub(super) AstigmatismEstimate);

getters!(PyAstigmatismEstimate, |estimate| {
    /// The runs behind it.
    runs: PyTurnedRuns = PyTurnedRuns(estimate.runs.clone());
    /// What turns with the mirror, or None where the angles do not show it apart.
    glass: Option<PyAstigmatism> = estimate.glass.map(PyAstigmatism);
    /// What stays with the stand, or None where the angles do not show it apart.
    stand: Option<PyAstigmatism> = estimate.stand.map(PyAstigmatism);
    /// The sum of both where the mirror was never turned, else None.
    together: Option<PyAstigmatism> = estimate.together.map(PyAstigmatism);
    /// Standard deviation of one run's shift, mm.
    shift_sigma_mm: f64 = estimate.shift_sigma_mm;
    /// Degrees of freedom behind it, or None where it is known.
    freedom: Option<f64> = estimate.freedom;
    /// "turns with the mirror", "stays with the stand", "both", "none seen" or "cannot tell".
    origin: &'static str = estimate.origin.name();
    /// What all this means, in one sentence.
    words: String = estimate.words.clone();
});
record!(PyAstigmatismEstimate, "AstigmatismEstimate",
    attributes: ["runs", "glass", "stand", "together", "shift_sigma_mm", "freedom", "origin", "words"],
    shown: ["origin", "words", "shift_sigma_mm"]);
