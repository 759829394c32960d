//! Lines of sight past the diagonal, what closes them, and the section.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, list, maybe_part_number, number, number_or, part_number};
use super::arrays::{Column, column};
use super::compute::compute;
use super::errors::{exception, refused};
use super::rays::draw;
use super::record::{getters, record};
use super::train::PyTrain;
use crate::{
    ClosingBaffle, ClosingFront, Enclosure, OppositeBaffle, SectionLine, SectionRay, SightField, SightLines,
    SightPoint, TrainSection,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyOppositeBaffle>()?;
    module.add_class::<PyEnclosure>()?;
    module.add_class::<PySightLines>()?;
    module.add_class::<PyClosingBaffle>()?;
    module.add_class::<PyClosingFront>()?;
    module.add_class::<PyTrainSection>()
}

/// A field given by its radius, or as a sensor.
fn sight_field(
    py: Python<'_>,
    radius_mm: Option<&Bound<'_, PyAny>>,
    along_mm: Option<&Bound<'_, PyAny>>,
    across_mm: Option<&Bound<'_, PyAny>>,
    rotation_deg: Option<&Bound<'_, PyAny>>,
) -> PyResult<SightField> {
    match (radius_mm, along_mm, across_mm) {
        (Some(radius), None, None) if rotation_deg.is_none() => {
            Ok(SightField::Circle { radius_mm: number(radius, "field_radius_mm")? })
        }
        (None, Some(along), Some(across)) => Ok(SightField::Rectangle {
            along_mm: number(along, "sensor_along_mm")?,
            across_mm: number(across, "sensor_across_mm")?,
            rotation_deg: number_or(rotation_deg, "sensor_rotation_deg", 0.0)?,
        }),
        _ => Err(refused(
            py,
            "field_radius_mm",
            "other arguments",
            "field_radius_mm alone, or sensor_along_mm and sensor_across_mm",
            "",
        )),
    }
}

fn around(enclosure: Option<PyEnclosure>) -> Enclosure {
    enclosure.map_or_else(Enclosure::open, |e| e.0)
}

#[pymethods]
impl PyTrain {
    /// Return what points of the focal plane see through the drawtube without any mirror: past the diagonal to a
    /// baffle, to the wall, or into the open.
    ///
    /// Give the points by along_mm and across_mm, or field_radius_mm for the centre, four points half way out and eight
    /// at the edge. Without an enclosure the telescope is an open truss.
    ///
    /// Units: mm in the focal plane, `along` positive toward the sky end.
    /// Errors: InputError for a train without diagonal or drawtube, or for points and enclosures that cannot be.
    /// Leaves out: poles and vanes; light that gets in by one reflection or more.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, drawtube=tube)
    /// >>> truss = train.sight_lines(along_mm=[0, 12], across_mm=[0, 0])
    /// >>> assert truss.open_sr[0] > 0.05 and truss.against_image.max() > 0.5
    /// >>> closed = ct.Enclosure(tube_diameter_mm=380, upper_edge_mm=1700)
    /// >>> assert train.sight_lines(field_radius_mm=12, enclosure=closed).open_sr.max() == 0
    #[pyo3(signature = (*, along_mm=None, across_mm=None, field_radius_mm=None, enclosure=None))]
    fn sight_lines(
        &self,
        py: Python<'_>,
        along_mm: Option<&Bound<'_, PyAny>>,
        across_mm: Option<&Bound<'_, PyAny>>,
        field_radius_mm: Option<&Bound<'_, PyAny>>,
        enclosure: Option<PyEnclosure>,
    ) -> PyResult<PySightLines> {
        let (along, across) = match (along_mm, across_mm, field_radius_mm) {
            (Some(along), Some(across), None) => (list(along, "along_mm")?, list(across, "across_mm")?),
            (None, None, Some(radius)) => {
                let field = SightField::Circle { radius_mm: number(radius, "field_radius_mm")? };
                field.check().map_err(|e| exception(py, e))?;
                rosette(field.reach_mm())
            }
            _ => {
                let allowed = "along_mm and across_mm, or field_radius_mm alone";
                return Err(refused(py, "along_mm", "other arguments", allowed, ""));
            }
        };
        let (prepared, enclosure) = (self.prepared().clone(), around(enclosure));
        compute(py, move || prepared.sight_lines(&enclosure, &along, &across)).map(PySightLines)
    }

    /// Return the smallest upright baffle opposite the focuser, at a distance from the tube's axis, that leaves no line
    /// of sight from the field into the open. A baffle that the enclosure has already is left out of account.
    ///
    /// Units: mm, degrees from `along` toward `across`.
    /// Errors: InputError; NotConverged.
    /// Source: the outermost open lines, sought over the field; each side is made 0.001 mm larger than they ask for.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, drawtube=tube)
    /// >>> sheet = train.closing_baffle(field_radius_mm=10, axis_to_baffle_mm=200).baffle
    /// >>> closed = train.sight_lines(field_radius_mm=10, enclosure=ct.Enclosure(baffle=sheet))
    /// >>> assert closed.open_sr.max() < 1e-12
    #[pyo3(signature = (*, axis_to_baffle_mm, field_radius_mm=None, sensor_along_mm=None, sensor_across_mm=None,
        sensor_rotation_deg=None, enclosure=None))]
    #[allow(clippy::too_many_arguments)]
    fn closing_baffle(
        &self,
        py: Python<'_>,
        axis_to_baffle_mm: &Bound<'_, PyAny>,
        field_radius_mm: Option<&Bound<'_, PyAny>>,
        sensor_along_mm: Option<&Bound<'_, PyAny>>,
        sensor_across_mm: Option<&Bound<'_, PyAny>>,
        sensor_rotation_deg: Option<&Bound<'_, PyAny>>,
        enclosure: Option<PyEnclosure>,
    ) -> PyResult<PyClosingBaffle> {
        let field = sight_field(py, field_radius_mm, sensor_along_mm, sensor_across_mm, sensor_rotation_deg)?;
        let distance_mm = number(axis_to_baffle_mm, "axis_to_baffle_mm")?;
        let (prepared, enclosure) = (self.prepared().clone(), around(enclosure));
        compute(py, move || prepared.closing_baffle(&enclosure, field, distance_mm)).map(PyClosingBaffle)
    }

    /// Return how far a tube or shroud must reach, and how narrow a ring in front may be, so that no line of sight from
    /// the field gets into the open.
    ///
    /// Units: mm, degrees from `along` toward `across`.
    /// Errors: InputError, also for an enclosure without a tube; NotConverged.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, drawtube=tube)
    /// >>> short = ct.Enclosure(tube_diameter_mm=380, upper_edge_mm=1400)
    /// >>> front = train.closing_front(field_radius_mm=10, enclosure=short)
    /// >>> assert front.upper_edge_mm > 1400 and front.extension_mm == front.upper_edge_mm - 1400
    #[pyo3(signature = (*, enclosure, field_radius_mm=None, sensor_along_mm=None, sensor_across_mm=None,
        sensor_rotation_deg=None))]
    fn closing_front(
        &self,
        py: Python<'_>,
        enclosure: PyEnclosure,
        field_radius_mm: Option<&Bound<'_, PyAny>>,
        sensor_along_mm: Option<&Bound<'_, PyAny>>,
        sensor_across_mm: Option<&Bound<'_, PyAny>>,
        sensor_rotation_deg: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyClosingFront> {
        let field = sight_field(py, field_radius_mm, sensor_along_mm, sensor_across_mm, sensor_rotation_deg)?;
        let prepared = self.prepared().clone();
        compute(py, move || prepared.closing_front(&enclosure.0, field)).map(PyClosingFront)
    }

    /// Return the section of the train with rays of the axis and of both edges of the field, in the plane of tube and
    /// focuser; each ray ends where a part stops it.
    ///
    /// Units: mm, x from the tube's axis toward the focuser, z above the mirror's vertex.
    /// Errors: InputError.
    /// Leaves out: vanes; the mirror's back.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> section = train.section(field_radius_mm=12, rays_each=9)
    /// >>> assert len(section.rays) == 27 and section.rays[4]["ended_by"] == "diagonal_shadow"
    #[pyo3(signature = (*, field_radius_mm=None, rays_each=None, enclosure=None),
        text_signature = "($self, *, field_radius_mm=0.0, rays_each=9, enclosure=None)")]
    fn section(
        &self,
        py: Python<'_>,
        field_radius_mm: Option<&Bound<'_, PyAny>>,
        rays_each: Option<&Bound<'_, PyAny>>,
        enclosure: Option<PyEnclosure>,
    ) -> PyResult<PyTrainSection> {
        let radius_mm = number_or(field_radius_mm, "field_radius_mm", 0.0)?;
        let rays_each = count_or(rays_each, "rays_each", 9)?;
        self.prepared()
            .section(&around(enclosure), radius_mm, rays_each)
            .map(PyTrainSection)
            .map_err(|e| exception(py, e))
    }
}

/// The centre, four points half way out, eight at the edge; the centre alone for a field without size.
fn rosette(radius_mm: f64) -> (Vec<f64>, Vec<f64>) {
    let mut places = vec![(0.0, 0.0)];
    if radius_mm > 0.0 {
        for (share, count) in [(0.5, 4_u32), (1.0, 8)] {
            places.extend((0..count).map(|k| {
                let (sin, cos) = (std::f64::consts::TAU * f64::from(k) / f64::from(count)).sin_cos();
                (share * radius_mm * cos, share * radius_mm * sin)
            }));
        }
    }
    places.into_iter().unzip()
}

/// A flat sheet opposite the focuser, square to the focuser's axis.
///
/// Units: mm; how far it reaches beyond the focuser's axis toward the sky and toward the primary (one may be negative),
/// and its distance from the tube's axis, away from the focuser.
/// Errors: InputError.
///
/// >>> sheet = ct.OppositeBaffle(width_mm=220, above_axis_mm=160, below_axis_mm=140, axis_to_baffle_mm=230)
/// >>> assert ct.Enclosure(baffle=sheet).baffle == sheet
#[pyclass(name = "OppositeBaffle", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyOppositeBaffle(OppositeBaffle);

#[pymethods]
impl PyOppositeBaffle {
    #[new]
    #[pyo3(signature = (*, width_mm, above_axis_mm, below_axis_mm, axis_to_baffle_mm))]
    fn new(
        py: Python<'_>,
        width_mm: &Bound<'_, PyAny>,
        above_axis_mm: &Bound<'_, PyAny>,
        below_axis_mm: &Bound<'_, PyAny>,
        axis_to_baffle_mm: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let baffle = OppositeBaffle::new(
            part_number(width_mm, "width_mm")?,
            part_number(above_axis_mm, "above_axis_mm")?,
            part_number(below_axis_mm, "below_axis_mm")?,
            part_number(axis_to_baffle_mm, "axis_to_baffle_mm")?,
        );
        Enclosure::open().baffle(baffle).check().map_err(|e| exception(py, e))?;
        Ok(Self(baffle))
    }
}

getters!(PyOppositeBaffle, |baffle| {
    /// Width across, mm.
    width_mm: f64 = baffle.width_mm;
    /// Reach beyond the focuser's axis toward the sky, mm.
    above_axis_mm: f64 = baffle.above_axis_mm;
    /// Reach beyond the focuser's axis toward the primary, mm.
    below_axis_mm: f64 = baffle.below_axis_mm;
    /// Distance from the tube's axis, away from the focuser, mm.
    axis_to_baffle_mm: f64 = baffle.axis_to_baffle_mm;
});
record!(PyOppositeBaffle, "OppositeBaffle",
    attributes: ["width_mm", "above_axis_mm", "below_axis_mm", "axis_to_baffle_mm"],
    shown: ["width_mm", "above_axis_mm", "below_axis_mm", "axis_to_baffle_mm"]);

/// What stands around the optics: a closed tube or a shroud, and a baffle opposite the focuser.
///
/// Without a tube's diameter nothing stands there but the baffle: an open truss. Without a lower edge the tube is
/// closed down to the mirror. The train's front opening is a ring from its diameter out to `ring_outer_mm`, or to the
/// tube.
///
/// Units: mm; heights above the primary's vertex.
/// Errors: InputError.
/// Leaves out: poles, vanes, the thickness of walls.
///
/// >>> shroud = ct.Enclosure(tube_diameter_mm=460, upper_edge_mm=2100, lower_edge_mm=1500)
/// >>> assert shroud.baffle is None and ct.Enclosure().tube_diameter_mm is None
#[pyclass(name = "Enclosure", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyEnclosure(Enclosure);

#[pymethods]
impl PyEnclosure {
    #[new]
    #[pyo3(signature = (*, tube_diameter_mm=None, upper_edge_mm=None, lower_edge_mm=None, ring_outer_mm=None,
        baffle=None))]
    fn new(
        py: Python<'_>,
        tube_diameter_mm: Option<&Bound<'_, PyAny>>,
        upper_edge_mm: Option<&Bound<'_, PyAny>>,
        lower_edge_mm: Option<&Bound<'_, PyAny>>,
        ring_outer_mm: Option<&Bound<'_, PyAny>>,
        baffle: Option<PyOppositeBaffle>,
    ) -> PyResult<Self> {
        let enclosure = Enclosure {
            tube_diameter_mm: maybe_part_number(tube_diameter_mm, "tube_diameter_mm")?,
            upper_edge_mm: maybe_part_number(upper_edge_mm, "upper_edge_mm")?,
            lower_edge_mm: maybe_part_number(lower_edge_mm, "lower_edge_mm")?,
            ring_outer_mm: maybe_part_number(ring_outer_mm, "ring_outer_mm")?,
            baffle: baffle.map(|b| b.0),
        };
        enclosure.check().map_err(|e| exception(py, e))?;
        Ok(Self(enclosure))
    }
}

getters!(PyEnclosure, |enclosure| {
    /// Inner diameter of a tube or shroud, mm, or None: an open truss.
    tube_diameter_mm: Option<f64> = enclosure.tube_diameter_mm;
    /// Height of its upper edge, mm, or None.
    upper_edge_mm: Option<f64> = enclosure.upper_edge_mm;
    /// Height of its lower edge, mm, or None: closed down to the mirror.
    lower_edge_mm: Option<f64> = enclosure.lower_edge_mm;
    /// Outer diameter of the ring around the front opening, mm, or None.
    ring_outer_mm: Option<f64> = enclosure.ring_outer_mm;
    /// The baffle opposite the focuser, or None.
    baffle: Option<PyOppositeBaffle> = enclosure.baffle.map(PyOppositeBaffle);
});
record!(PyEnclosure, "Enclosure",
    attributes: ["tube_diameter_mm", "upper_edge_mm", "lower_edge_mm", "ring_outer_mm", "baffle"],
    shown: ["tube_diameter_mm", "upper_edge_mm", "lower_edge_mm", "ring_outer_mm", "baffle"]);

/// What points of the focal plane see through the drawtube without any mirror.
///
/// Units: mm, sr. Shapes: one entry a point.
/// Errors: those of `Train.sight_lines`, which makes it.
/// Leaves out: poles and vanes; light that gets in by one reflection or more.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, drawtube=tube)
/// >>> seen = train.sight_lines(along_mm=[0], across_mm=[0])
/// >>> assert abs(seen.diagonal_sr[0] + seen.open_sr[0] - seen.view_sr[0]) < 1e-12 and "sensor" in seen.words
#[pyclass(name = "SightLines", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySightLines(SightLines);

/// Writes getters of columns.
macro_rules! columns {
    ($($(#[$meta:meta])* $name:ident = $from:expr;)*) => {
        #[pymethods]
        impl PySightLines {
            $($(#[$meta])* #[getter] fn $name<'py>(&self, py: Python<'py>) -> Column<'py> {
                let from: fn(&SightPoint) -> f64 = $from;
                column(py, self.0.points.iter().map(from))
            })*
        }
    };
}

columns! {
    /// Where the points lie, positive toward the sky end, mm.
    along_mm = |p| p.along_mm;
    /// Where they lie across, mm.
    across_mm = |p| p.across_mm;
    /// All that is seen through the drawtube, sr.
    view_sr = |p| p.view_sr;
    /// Lines that end at the diagonal, sr.
    diagonal_sr = |p| p.diagonal_sr;
    /// At its holder, as far as the diagonal does not hide it, sr.
    holder_sr = |p| p.holder_sr;
    /// At the baffle opposite the focuser, sr.
    baffle_sr = |p| p.baffle_sr;
    /// At the ring around the front opening, sr.
    front_ring_sr = |p| p.front_ring_sr;
    /// At the wall of tube or shroud, sr.
    wall_sr = |p| p.wall_sr;
    /// Open sky and open ground seen directly, sr.
    open_sr = SightPoint::open_sr;
    /// Of it, lines that rise toward the tube's sky end, sr.
    open_above_sr = |p| p.open_above_sr;
    /// Lines that sink toward the mirror's end, sr.
    open_below_sr = |p| p.open_below_sr;
    /// Open lines weighted with the cosine of their slant against the focuser's axis, sr.
    open_projected_sr = |p| p.open_projected_sr;
    /// Open lines as a share of the view through the drawtube.
    open_share = SightPoint::open_share;
    /// Sky seen directly over the sky focused in the image: open_projected_sr over pi/(4 F^2).
    against_image = |p| p.against_image;
    /// How far the solid angles may be wrong, sr.
    error_estimate_sr = |p| p.error_estimate_sr;
}

#[pymethods]
impl PySightLines {
    /// Draw how bright the open sky is at each point against the sky in the image, and where the lines end; return the
    /// axes.
    ///
    /// Units: mm in the focal plane; per cent of the view.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, drawtube=tube)
    /// >>> axes = train.sight_lines(along_mm=[-10, 0, 10], across_mm=[0, 0, 0]).plot()
    /// >>> assert "mm" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("sight_lines", slf.as_any(), ax, None)
    }
}

getters!(PySightLines, |lines| {
    /// What stood around the optics.
    enclosure: PyEnclosure = PyEnclosure(lines.enclosure);
    /// Distance of the plane opposite from the tube's axis, mm.
    opposite_mm: f64 = lines.opposite_mm;
    /// Lowest height at which a line past diagonal and holder crosses the plane opposite, mm; None without such lines.
    patch_low_mm: Vec<Option<f64>> = lines.points.iter().map(|p| p.patch_low_mm).collect();
    /// Highest height there, mm.
    patch_high_mm: Vec<Option<f64>> = lines.points.iter().map(|p| p.patch_high_mm).collect();
    /// How far from the plane y = 0 such lines cross it at most, mm.
    patch_half_width_mm: Vec<Option<f64>> = lines.points.iter().map(|p| p.patch_half_width_mm).collect();
    /// Focal length over the diameter that gathers light.
    focal_ratio: f64 = lines.focal_ratio;
    /// What is odd, in words.
    cautions: Vec<String> = lines.cautions.clone();
    /// The finding in a few sentences.
    words: String = lines.words();
    /// The most sky seen directly over the sky focused in the image, of all points.
    worst_against_image: f64 = lines.worst().against_image;
});
record!(PySightLines, "SightLines",
    attributes: ["along_mm", "across_mm", "view_sr", "diagonal_sr", "holder_sr", "baffle_sr", "front_ring_sr",
        "wall_sr", "open_sr", "open_above_sr", "open_below_sr", "open_projected_sr", "open_share", "against_image",
        "error_estimate_sr",
        "enclosure", "opposite_mm", "patch_low_mm", "patch_high_mm", "patch_half_width_mm", "focal_ratio", "cautions",
        "words", "worst_against_image"],
    shown: ["worst_against_image", "opposite_mm", "focal_ratio"]);

/// The smallest baffle opposite the focuser that closes all lines of sight of a field.
///
/// Units: mm.
/// Errors: those of `Train.closing_baffle`, which makes it.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, drawtube=tube)
/// >>> found = train.closing_baffle(sensor_along_mm=13.3, sensor_across_mm=17.6, axis_to_baffle_mm=200)
/// >>> assert found.baffle.axis_to_baffle_mm == 200 and "closes" in found.words
#[pyclass(name = "ClosingBaffle", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyClosingBaffle(ClosingBaffle);

getters!(PyClosingBaffle, |found| {
    /// The baffle, or None where nothing is open.
    baffle: Option<PyOppositeBaffle> = found.baffle.map(PyOppositeBaffle);
    /// Its width across, mm, or None.
    width_mm: Option<f64> = found.baffle.map(|b| b.width_mm);
    /// Its reach beyond the focuser's axis toward the sky, mm, or None.
    above_axis_mm: Option<f64> = found.baffle.map(|b| b.above_axis_mm);
    /// Its reach beyond the focuser's axis toward the primary, mm, or None.
    below_axis_mm: Option<f64> = found.baffle.map(|b| b.below_axis_mm);
    /// How far the field reaches from its centre, mm.
    field_reach_mm: f64 = found.field.reach_mm();
    /// What is odd, in words.
    cautions: Vec<String> = found.cautions.clone();
    /// The finding in a sentence or two.
    words: String = found.words();
});
record!(PyClosingBaffle, "ClosingBaffle", attributes: ["baffle", "width_mm", "above_axis_mm", "below_axis_mm", "field_reach_mm", "cautions", "words"],
    shown: ["width_mm", "above_axis_mm", "below_axis_mm", "field_reach_mm"]);

/// What in front of the telescope closes all lines of sight of a field.
///
/// Units: mm; heights above the primary's vertex.
/// Errors: those of `Train.closing_front`, which makes it.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, drawtube=tube)
/// >>> long = ct.Enclosure(tube_diameter_mm=380, upper_edge_mm=1700)
/// >>> assert train.closing_front(field_radius_mm=10, enclosure=long).extension_mm == 0
#[pyclass(name = "ClosingFront", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyClosingFront(ClosingFront);

getters!(PyClosingFront, |found| {
    /// How far the field reaches from its centre, mm.
    field_reach_mm: f64 = found.field.reach_mm();
    /// Inner diameter of the tube or shroud, mm.
    tube_diameter_mm: f64 = found.tube_diameter_mm;
    /// Height to which it must reach, mm, or None where no line rises to it.
    upper_edge_mm: Option<f64> = found.upper_edge_mm;
    /// The same counted from the focuser's axis, mm, or None.
    above_focuser_mm: Option<f64> = found.above_focuser_mm;
    /// How much longer than now it must be, mm.
    extension_mm: f64 = found.extension_mm;
    /// Height down to which it must reach, mm, or None where it is closed below.
    lower_edge_mm: Option<f64> = found.lower_edge_mm;
    /// Height of the ring below, mm.
    ring_height_mm: f64 = found.ring_height_mm;
    /// Diameter of the largest opening of a ring there that closes all rising lines as the tube stands, mm, or None.
    opening_mm: Option<f64> = found.opening_mm;
    /// What the light of the whole field needs there, mm.
    light_needs_mm: f64 = found.light_needs_mm;
    /// What is odd, in words.
    cautions: Vec<String> = found.cautions.clone();
    /// The finding in a few sentences.
    words: String = found.words();
});
record!(PyClosingFront, "ClosingFront",
    attributes: ["field_reach_mm", "tube_diameter_mm", "upper_edge_mm", "above_focuser_mm", "extension_mm",
        "lower_edge_mm", "ring_height_mm", "opening_mm", "light_needs_mm", "cautions", "words"],
    shown: ["tube_diameter_mm", "upper_edge_mm", "above_focuser_mm", "extension_mm", "opening_mm", "light_needs_mm"]);

/// The section of a train in the plane of tube and focuser, to scale.
///
/// `lines` are the outlines of the parts, each a dictionary of part, x_mm and z_mm; `rays` likewise, with along_mm
/// (where the star's image lies), field_x_arcmin, pupil_x_mm, x_mm, z_mm and ended_by (the part that stops the ray, or
/// None).
///
/// Units: mm, x from the tube's axis toward the focuser, z above the mirror's vertex.
/// Errors: those of `Train.section`, which makes it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> section = train.section(rays_each=5)
/// >>> assert section.axis_to_focus_mm is None and section.rays[0]["ended_by"] is None
/// >>> assert section.lines[0]["part"] == "mirror"
#[pyclass(name = "TrainSection", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyTrainSection(TrainSection);

fn line_dict<'py>(py: Python<'py>, line: &SectionLine) -> PyResult<Bound<'py, PyDict>> {
    let dict = PyDict::new(py);
    dict.set_item("part", &line.part)?;
    dict.set_item("x_mm", line.x_mm.clone())?;
    dict.set_item("z_mm", line.z_mm.clone())?;
    Ok(dict)
}

fn ray_dict<'py>(py: Python<'py>, ray: &SectionRay) -> PyResult<Bound<'py, PyDict>> {
    let dict = PyDict::new(py);
    dict.set_item("along_mm", ray.along_mm)?;
    dict.set_item("field_x_arcmin", ray.field_x_arcmin)?;
    dict.set_item("pupil_x_mm", ray.pupil_x_mm)?;
    dict.set_item("x_mm", ray.x_mm.clone())?;
    dict.set_item("z_mm", ray.z_mm.clone())?;
    dict.set_item("ended_by", ray.ended_by.map(crate::Part::key))?;
    Ok(dict)
}

#[pymethods]
impl PyTrainSection {
    /// Outlines of all parts.
    #[getter]
    fn lines<'py>(&self, py: Python<'py>) -> PyResult<Vec<Bound<'py, PyDict>>> {
        self.0.lines.iter().map(|line| line_dict(py, line)).collect()
    }

    /// Rays of the axis and of both edges of the field.
    #[getter]
    fn rays<'py>(&self, py: Python<'py>) -> PyResult<Vec<Bound<'py, PyDict>>> {
        self.0.rays.iter().map(|ray| ray_dict(py, ray)).collect()
    }

    /// Draw the section to scale with its rays, and beside it the focuser's side enlarged; return the axes.
    ///
    /// Without axes of your own a second panel enlarges the focuser's side; it is the next axes of the same figure.
    /// Units: mm on both axes.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> axes = train.section(field_radius_mm=12).plot()
    /// >>> assert "mm" in axes.get_xlabel() and "mm" in axes.get_ylabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("train_section", slf.as_any(), ax, None)
    }
}

getters!(PyTrainSection, |section| {
    /// From the tube's axis to the focal plane, mm, or None for a train without a diagonal.
    axis_to_focus_mm: Option<f64> = section.axis_to_focus_mm;
    /// Height of the focuser's axis, or of the focal plane of a train without a diagonal, mm.
    focuser_height_mm: f64 = section.focuser_height_mm;
    /// Field radius to which the outer rays belong, mm.
    field_radius_mm: f64 = section.field_radius_mm;
    /// Clear aperture, mm.
    clear_aperture_mm: f64 = section.clear_aperture_mm;
});
record!(PyTrainSection, "TrainSection",
    attributes: ["lines", "rays", "axis_to_focus_mm", "focuser_height_mm", "field_radius_mm", "clear_aperture_mm"],
    shown: ["axis_to_focus_mm", "focuser_height_mm", "field_radius_mm", "clear_aperture_mm"]);
