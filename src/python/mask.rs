//! Masks over a mirror's edge.

use numpy::PyArray2;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{list, maybe_number, number_or};
use super::arrays::{Column, column, square};
use super::bench::PyKnifeEdgeReadings;
use super::compute::compute_counting;
use super::errors::refused;
use super::estimate::{PyFigureEstimate, table_of};
use super::mask_row::{PyLeftAfterMask, PyMaskRow};
use super::rays::draw;
use super::record::{columns, getters, record};
use super::seeing::PySeeing;
use super::train::PyTrain;
use crate::{MaskOptions, MaskRow, MaskSubject, MaskSweep, MaskValue, ReduceOptions};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyMaskSweep>()?;
    module.add_function(wrap_pyfunction!(py_mask_sweep, module)?)
}

/// A mirror behind masks of several inner diameters: what `mask_sweep` returns.
///
/// The figure stays where it is; the mask takes the edge away from it, and each mask has its own brightest focus. Of a
/// train every number is the exact pupil integral with all its parts; `..._low` and `..._high` are then the value
/// itself. Of readings each is the median of figures that they allow, unseen edges among them, on the round pupil with
/// the shadow; `..._low` and `..._high` hold 95 % of those.
///
/// A diameter holds for a figure if its Strehl is not below that of the open mirror by more than 0.002, and if its core
/// light (Strehl times light) comes within 0.05 of the best that any diameter of the sweep, or no mask, gives for this
/// figure. The plateau is the longest run of diameters that hold for 95 % of the figures. Of its diameters whose core
/// light shows no difference from the best (0.005) the one that holds for the most figures is recommended, of those
/// alike the widest. Common practice, no source.
///
/// Units: mm, arcsec, nm; shares of 1.
/// Shapes: arrays have one entry a diameter, in the order given; contrasts one row a diameter, one column a detail.
/// Errors: those of `mask_sweep`.
/// Leaves out: what is not rotationally symmetric in a train's readings, and there the vanes and an uneven coating
/// except in `light`. Contrast, width and energy of readings are those of 400 of their figures.
///
/// >>> edge = ct.TurnedEdge(width_mm=4, drop_nm=500)
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, figure=[edge]))
/// >>> sweep = ct.mask_sweep(train, diameters_mm=[200, 196, 192, 188], detail_arcsec=[], star_image=False)
/// >>> assert sweep.strehl[2] > 0.99 > 0.95 > sweep.unmasked.strehl
/// >>> assert sweep.recommended_mm == 196 and sweep.words.startswith("A mask of 196 mm")
#[pyclass(name = "MaskSweep", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMaskSweep(pub(super) MaskSweep);

/// The value, and both ends of its interval.
type Ends = [fn(&MaskValue) -> f64; 3];
const ENDS: Ends = [|v| v.value, |v| v.ends().0, |v| v.ends().1];

impl PyMaskSweep {
    fn values<'py>(&self, py: Python<'py>, end: usize, of: fn(&MaskRow) -> Option<MaskValue>) -> Column<'py> {
        column(py, self.0.rows.iter().filter_map(of).map(|value| ENDS[end](&value)))
    }

    fn details<'py>(
        &self,
        py: Python<'py>,
        end: usize,
        of: fn(&MaskRow) -> &[MaskValue],
    ) -> Bound<'py, PyArray2<f64>> {
        let row = |row: &MaskRow| of(row).iter().map(ENDS[end]).collect::<Vec<f64>>();
        square(py, &self.0.rows.iter().map(row).collect::<Vec<_>>())
    }
}

/// What a row may hold or not.
type OfRow = fn(&MaskRow) -> Option<MaskValue>;

#[pymethods]
impl PyMaskSweep {
    fn __len__(&self) -> usize {
        self.0.rows.len()
    }

    /// The mirror without a mask.
    #[getter]
    fn unmasked(&self) -> PyMaskRow {
        PyMaskRow(self.0.unmasked.clone())
    }

    /// What the mask leaves to a perfect figure, at the recommended diameter; None without one.
    #[getter]
    fn left_after_mask(&self) -> Option<PyLeftAfterMask> {
        self.0.left_after_mask.clone().map(PyLeftAfterMask)
    }

    /// Return what one of the masks shows, by its inner diameter.
    ///
    /// Errors: InputError for a diameter that was not swept.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> sweep = ct.mask_sweep(train, diameters_mm=[180], detail_arcsec=[], star_image=False)
    /// >>> assert abs(sweep.at(diameter_mm=180).light - 0.81) < 1e-9
    #[pyo3(signature = (*, diameter_mm))]
    fn at(&self, py: Python<'_>, diameter_mm: &Bound<'_, PyAny>) -> PyResult<PyMaskRow> {
        let wanted = super::arguments::number(diameter_mm, "diameter_mm")?;
        let same = |row: &&MaskRow| (row.diameter_mm - wanted).abs() <= 1e-9 * wanted.abs();
        let found = self.0.rows.iter().find(same).cloned().map(PyMaskRow);
        found.ok_or_else(|| {
            refused(py, "diameter_mm", &wanted.to_string(), "one of the diameters that were swept", "")
        })
    }

    /// Full width of a star's image at half of its peak, arcsec; empty where not computed.
    #[getter]
    fn fwhm_arcsec<'py>(&self, py: Python<'py>) -> Column<'py> {
        self.values(py, 0, |row| row.fwhm_arcsec)
    }

    /// Share of the light through the mask within the Airy disk of the open mirror without obstruction: one circle for
    /// all diameters; empty where not computed.
    #[getter]
    fn airy_energy<'py>(&self, py: Python<'py>) -> Column<'py> {
        self.values(py, 0, |row| row.airy_energy)
    }

    /// The same within the Airy disk of the masked mirror itself; empty where not computed.
    #[getter]
    fn own_airy_energy<'py>(&self, py: Python<'py>) -> Column<'py> {
        self.values(py, 0, |row| row.own_airy_energy)
    }

    /// Contrast of each detail in still air.
    #[getter]
    fn contrast<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.details(py, 0, |row| &row.contrast)
    }

    /// Lower ends of the contrasts.
    #[getter]
    fn contrast_low<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.details(py, 1, |row| &row.contrast)
    }

    /// Upper ends of the contrasts.
    #[getter]
    fn contrast_high<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.details(py, 2, |row| &row.contrast)
    }

    /// What each mask adds to the contrast of each detail over that of the open mirror, figure by figure.
    #[getter]
    fn contrast_gain<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.details(py, 0, |row| &row.contrast_gain)
    }

    /// Lower ends of the gains in contrast.
    #[getter]
    fn contrast_gain_low<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.details(py, 1, |row| &row.contrast_gain)
    }

    /// Upper ends of the gains in contrast.
    #[getter]
    fn contrast_gain_high<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.details(py, 2, |row| &row.contrast_gain)
    }

    /// Contrast of each detail through the stated air; empty without one.
    #[getter]
    fn seeing_contrast<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.details(py, 0, |row| &row.seeing_contrast)
    }

    /// Return all numbers as a table, one row a mask.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> table = ct.mask_sweep(train, diameters_mm=[190, 180], detail_arcsec=[1], star_image=False).table()
    /// >>> assert {"diameter_mm", "strehl", "light", "contrast_at_1_arcsec"} <= set(table)
    fn table<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let (sweep, columns) = (&self.0, PyDict::new(py));
        let number = |name: &str, of: &dyn Fn(&MaskRow) -> f64| {
            columns.set_item(name, column(py, sweep.rows.iter().map(of)))
        };
        let drawn = sweep.draws > 0;
        let value = |name: &str, of: &dyn Fn(&MaskRow) -> MaskValue| -> PyResult<()> {
            number(name, &|row| of(row).value)?;
            if drawn {
                number(&format!("{name}_low"), &|row| of(row).ends().0)?;
                number(&format!("{name}_high"), &|row| of(row).ends().1)?;
            }
            Ok(())
        };
        number("diameter_mm", &|row| row.diameter_mm)?;
        value("strehl", &|row| row.strehl)?;
        number("light", &|row| row.light)?;
        value("core_light", &|row| row.core_light)?;
        value("peak_brightness", &|row| row.peak_brightness)?;
        number("focus_shift_mm", &|row| row.focus_shift_mm)?;
        number("cutoff_arcsec", &|row| row.cutoff_arcsec)?;
        let parts: [(&str, OfRow); 3] = [
            ("fwhm_arcsec", |row| row.fwhm_arcsec),
            ("airy_energy", |row| row.airy_energy),
            ("own_airy_energy", |row| row.own_airy_energy),
        ];
        for (name, of) in parts {
            if sweep.rows.iter().all(|row| of(row).is_some()) {
                value(name, &|row| of(row).unwrap_or(row.strehl))?;
            }
        }
        for (i, detail) in sweep.options.detail_arcsec.iter().flatten().enumerate() {
            value(&format!("contrast_at_{detail}_arcsec"), &|row| row.contrast[i])?;
            value(&format!("contrast_gain_at_{detail}_arcsec"), &|row| row.contrast_gain[i])?;
            if sweep.options.seeing.is_some() {
                value(&format!("seeing_contrast_at_{detail}_arcsec"), &|row| row.seeing_contrast[i])?;
            }
        }
        if drawn {
            number("probability_rises", &|row| row.probability_rises.unwrap_or(0.0))?;
            number("probability_brighter", &|row| row.probability_brighter.unwrap_or(0.0))?;
        }
        number("holds", &|row| row.holds)?;
        number("error_estimate", &|row| row.error_estimate)?;
        table_of(&columns)
    }

    /// Draw Strehl, light and contrast against the mask's inner diameter, the plateau shaded; return the axes.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> sweep = ct.mask_sweep(train, diameters_mm=[190, 180], detail_arcsec=[], star_image=False)
    /// >>> assert "diameter" in sweep.plot().get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("mask_sweep", slf.as_any(), ax, None)
    }
}

columns!(PyMaskSweep, |value| {
    /// Inner diameters of the masks, mm.
    diameter_mm = value.rows.iter().map(|row| row.diameter_mm);
    /// Strehl, each at its own brightest focus.
    strehl = value.rows.iter().map(|row| row.strehl.value);
    /// Lower ends of the Strehl.
    strehl_low = value.rows.iter().map(|row| row.strehl.ends().0);
    /// Upper ends of the Strehl.
    strehl_high = value.rows.iter().map(|row| row.strehl.ends().1);
    /// Light, as a share of that of the open mirror.
    light = value.rows.iter().map(|row| row.light);
    /// Strehl times light: the share of the open mirror's light that is where a perfect figure would send it.
    core_light = value.rows.iter().map(|row| row.core_light.value);
    /// Lower ends of the core light.
    core_light_low = value.rows.iter().map(|row| row.core_light.ends().0);
    /// Upper ends of the core light.
    core_light_high = value.rows.iter().map(|row| row.core_light.ends().1);
    /// Peak of a star's image over that of a perfect figure on the open mirror.
    peak_brightness = value.rows.iter().map(|row| row.peak_brightness.value);
    /// Lower ends of the peak brightness.
    peak_brightness_low = value.rows.iter().map(|row| row.peak_brightness.ends().0);
    /// Upper ends of the peak brightness.
    peak_brightness_high = value.rows.iter().map(|row| row.peak_brightness.ends().1);
    /// How far the brightest focus lies from that of the open mirror, mm; positive further from the primary.
    focus_shift_mm = value.rows.iter().map(|row| row.focus_shift_mm);
    /// The period beyond which nothing is resolved, wavelength over diameter, arcsec.
    cutoff_arcsec = value.rows.iter().map(|row| row.cutoff_arcsec);
    /// Share of the figures whose Strehl rises by `rise` or more; empty for a train.
    probability_rises = value.rows.iter().filter_map(|row| row.probability_rises);
    /// Share of the figures whose peak brightness rises; empty for a train.
    probability_brighter = value.rows.iter().filter_map(|row| row.probability_brighter);
    /// Share of the figures for which each diameter holds; of a train 0 or 1.
    holds = value.rows.iter().map(|row| row.holds);
    /// Full periods of the details, arcsec.
    detail_arcsec = value.options.detail_arcsec.iter().flatten().copied();
    /// Estimated error of each Strehl.
    error_estimate = value.rows.iter().map(|row| row.error_estimate);
});

getters!(PyMaskSweep, |sweep| {
    /// "nothing to mend", "a mask does it", "a mask helps, a refigure would do more" or "no mask helps for certain:
    /// refigure".
    answer: String = sweep.answer.to_string();
    /// The answer in a sentence or two.
    words: String = sweep.words.clone();
    /// The smallest and the largest diameter of the plateau, mm; None where there is none.
    plateau_mm: Option<(f64, f64)> = sweep.plateau_mm;
    /// The diameter to take, mm; None where no mask is better than none.
    recommended_mm: Option<f64> = sweep.recommended_mm;
    /// Why this diameter, or why none.
    reason: String = sweep.reason.clone();
    /// What it rests on, and what it leaves out.
    remarks: Vec<String> = sweep.remarks.clone();
    /// The rise of the Strehl of which the probability is given.
    rise: f64 = sweep.options.rise;
    /// The air; None where none was stated.
    seeing: Option<PySeeing> = sweep.options.seeing.map(PySeeing);
    /// Clear aperture of the mirror, mm.
    clear_aperture_mm: f64 = sweep.clear_aperture_mm;
    /// Diameter of the shadow over the clear aperture.
    obstruction_ratio: f64 = sweep.obstruction_ratio;
    /// Wavelength, nm.
    wavelength_nm: f64 = sweep.wavelength_nm;
    /// Figures behind the intervals; 0 for a train.
    draws: usize = sweep.draws;
    /// Their seed; None for a train.
    seed: Option<u64> = sweep.seed;
});
record!(PyMaskSweep, "MaskSweep",
    attributes: ["answer", "words", "plateau_mm", "recommended_mm", "reason", "unmasked", "left_after_mask",
        "diameter_mm", "strehl", "strehl_low", "strehl_high", "light", "core_light", "core_light_low", "core_light_high",
        "peak_brightness", "peak_brightness_low", "peak_brightness_high", "focus_shift_mm", "cutoff_arcsec",
        "fwhm_arcsec", "airy_energy", "own_airy_energy", "detail_arcsec", "contrast", "contrast_low", "contrast_high",
        "contrast_gain", "contrast_gain_low", "contrast_gain_high", "seeing_contrast", "probability_rises",
        "probability_brighter", "holds", "error_estimate", "rise", "clear_aperture_mm",
        "obstruction_ratio", "wavelength_nm", "draws", "seed", "remarks"],
    shown: ["answer", "recommended_mm", "plateau_mm", "unmasked", "wavelength_nm"]);

/// What is masked, as the caller gave it.
enum Given {
    Subject(MaskSubject),
    Readings(Box<crate::KnifeEdgeReadings>, ReduceOptions, Option<Box<crate::Train>>),
}

impl Given {
    fn new(
        what: &Bound<'_, PyAny>,
        train: Option<&Bound<'_, PyTrain>>,
        wavelength_nm: Option<f64>,
    ) -> PyResult<Self> {
        let py = what.py();
        let standing = train.map(|t| t.get().train.clone());
        if let Ok(own) = what.cast::<PyTrain>() {
            if train.is_some() {
                let allowed = "a train beside readings or a figure alone";
                return Err(refused(py, "train", "a second train", allowed, ""));
            }
            return Ok(Self::Subject(MaskSubject::from(&own.get().train)));
        }
        if let Ok(figure) = what.cast::<PyFigureEstimate>() {
            let figure = &figure.get().0;
            return Ok(Self::Subject(match &standing {
                Some(train) => (figure, train).into(),
                None => figure.into(),
            }));
        }
        if let Ok(readings) = what.cast::<PyKnifeEdgeReadings>() {
            let usual = ReduceOptions::default();
            let wavelength_nm = wavelength_nm.unwrap_or(usual.wavelength_nm);
            let options = ReduceOptions { wavelength_nm, ..usual };
            return Ok(Self::Readings(Box::new(readings.get().0.clone()), options, standing.map(Box::new)));
        }
        let found = what.get_type().name()?.to_string();
        let cause =
            "numbers on paper leave no figure to mask; a report's coefficients belong into a train's primary";
        Err(refused(py, "what", &found, "a Train, KnifeEdgeReadings or a FigureEstimate", cause))
    }

    fn steps(&self, diameters: usize, options: &MaskOptions) -> usize {
        match self {
            Self::Subject(subject) => subject.steps(diameters, options),
            Self::Readings(_, reduce, _) => MaskSubject::steps_of_draws(reduce.draws, diameters, options),
        }
    }

    fn subject(self) -> crate::Result<MaskSubject> {
        Ok(match self {
            Self::Subject(subject) => subject,
            Self::Readings(readings, options, train) => {
                let figure = readings.reduce(options)?;
                match train {
                    Some(train) => (&figure, &*train).into(),
                    None => (&figure).into(),
                }
            }
        })
    }
}

/// Return what a mirror shows behind masks of several inner diameters, with the diameter to take and its reason.
///
/// `what` is a Train (exact, with all its parts; a mask of its own is taken off first), or KnifeEdgeReadings or a
/// FigureEstimate (with their uncertainty and the edges that they cannot see). Beside the latter `train` gives the
/// shadow, the coating and the vanes for the light; without one the shadow is that of the reduction. `detail_arcsec`
/// are full periods on the sky, [] for none, not given: 0.5, 1 and 2 as far as the open mirror resolves them; `seeing` is the air of a night for the contrast through it;
/// `star_image=False` leaves out width and energies; `rise` is the rise of the Strehl whose probability is given.
/// `wavelength_nm` is that of the reduction, or 550, unless given. `progress(done, total)` is called some times a
/// second; what it raises ends the work.
///
/// Units: mm, arcsec, nm.
/// Errors: InputError for no diameters, diameters beyond the clear aperture, inside the shadow or given twice (any
/// order is kept), details that the open mirror does not resolve, seeing without details, a train of another mirror;
/// NotConverged.
/// Cost, on one core: a train some 10 ms a diameter for the Strehl and as much for the star image, and 50 ms for each
/// detail; several times that with vanes. Readings some 0.2 ms a figure for the Strehl at 100 diameters together, and
/// some 20 ms a diameter for the rest.
///
/// >>> edge = ct.TurnedEdge(width_mm=4, drop_nm=500)
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, figure=[edge]))
/// >>> sweep = ct.mask_sweep(train, diameters_mm=[198, 192], detail_arcsec=[1.0], seeing=ct.Seeing(fwhm_arcsec=2))
/// >>> assert sweep.contrast.shape == (2, 1) and sweep.strehl[1] > sweep.strehl[0]
/// >>> assert (sweep.seeing_contrast < sweep.contrast).all()
#[pyfunction(name = "mask_sweep")]
#[pyo3(signature = (what, *, diameters_mm, train=None, detail_arcsec=None, seeing=None, star_image=true, rise=None,
    wavelength_nm=None, progress=None),
    text_signature = "(what, *, diameters_mm, train=None, detail_arcsec=None, seeing=None, star_image=True, \
    rise=0.05, wavelength_nm=None, progress=None)")]
#[allow(clippy::too_many_arguments)]
fn py_mask_sweep(
    py: Python<'_>,
    what: &Bound<'_, PyAny>,
    diameters_mm: &Bound<'_, PyAny>,
    train: Option<&Bound<'_, PyTrain>>,
    detail_arcsec: Option<&Bound<'_, PyAny>>,
    seeing: Option<PySeeing>,
    star_image: bool,
    rise: Option<&Bound<'_, PyAny>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
    progress: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyMaskSweep> {
    let usual = MaskOptions::default();
    let options = MaskOptions {
        wavelength_nm: maybe_number(wavelength_nm, "wavelength_nm")?,
        detail_arcsec: detail_arcsec.map(|v| list(v, "detail_arcsec")).transpose()?,
        seeing: seeing.map(|air| air.0),
        star_image,
        rise: number_or(rise, "rise", usual.rise)?,
    };
    let diameters_mm = list(diameters_mm, "diameters_mm")?;
    let given = Given::new(what, train, options.wavelength_nm)?;
    let total = given.steps(diameters_mm.len(), &options);
    compute_counting(py, total, progress, move |done| {
        crate::mask_sweep_counting(given.subject()?, &diameters_mm, &options, done)
    })
    .map(PyMaskSweep)
}
