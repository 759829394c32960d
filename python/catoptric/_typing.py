"""The types of the package's arguments and results, for whoever checks programs with mypy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, Protocol, TypeAlias, TypedDict

import numpy as np
import numpy.typing as npt

from ._core import (
    CentralHill,
    Coating,
    EdgeRollOff,
    EdgeStep,
    HeightMap,
    MetalFilm,
    Misplacement,
    RadialProfile,
    Ripple,
    TurnedEdge,
    ZernikeTerms,
    Zone,
)


class Quantity(Protocol):
    """A number, or an array of them, that brings its unit along, as those of astropy."""

    @property
    def unit(self) -> Any: ...
    def to_value(self, unit: Any, /) -> Any: ...


class HoldsNumbers(Protocol):
    """Whatever numpy makes an array of real numbers from: arrays, columns of data frames."""

    def __array__(self) -> npt.NDArray[np.floating[Any] | np.integer[Any]]: ...


Floats: TypeAlias = npt.NDArray[np.float64]
"""What array-valued results are."""

Flags: TypeAlias = npt.NDArray[np.bool_]
"""What answers yes or no, entry by entry."""

Number: TypeAlias = float | np.floating[Any] | np.integer[Any] | Quantity
"""One finite number in the unit that the argument's name ends in, or a quantity."""

Numbers1D: TypeAlias = Sequence[Number] | HoldsNumbers | Quantity
"""A list of finite numbers in the unit that the argument's name ends in."""

Numbers2D: TypeAlias = Sequence[Numbers1D] | HoldsNumbers | Quantity
"""A table of finite numbers, row by row, in the unit that the argument's name ends in."""

RayColumns: TypeAlias = Sequence[Number | Numbers1D] | HoldsNumbers
"""Three columns x, y, z of many rays: an array of shape (3, N), or numbers or lists of N."""

Readings: TypeAlias = (
    Sequence[Number | None] | Sequence[Sequence[Number | None]] | Numbers1D | Numbers2D
)
"""One run of readings, or several; None (or NaN) for a reading that was not taken."""

Interval: TypeAlias = tuple[float, float]
"""Lower and upper end of a 95 % interval."""

FigureLayer: TypeAlias = (
    TurnedEdge
    | EdgeRollOff
    | EdgeStep
    | Zone
    | CentralHill
    | RadialProfile
    | ZernikeTerms
    | HeightMap
    | Ripple
)
"""What can lie on a primary; layers add."""

# Written as unions, which is what stubtest takes a literal of several values for.

AimName = Literal["planets"] | Literal["wide_field"] | Literal["sensor"]
AxisDirectionName = Literal["+x"] | Literal["-x"] | Literal["+y"] | Literal["-y"]
FlatEdgeName = Literal["along_tube"] | Literal["square_to_face"]
FocusName = Literal["paraxial"] | Literal["least_spot"] | Literal["least_rms"] | Literal["peak"]
BackgroundName = Literal["level"] | Literal["focus"] | Literal["conic"]
EdgeDirectionName = Literal["turned_down"] | Literal["raised"] | Literal["open"]
HeightKindName = Literal["surface"] | Literal["wavefront"]
HeightUnitName = Literal["nm"] | Literal["um"] | Literal["waves"]
LayerKindName = (
    Literal["zone"]
    | Literal["central_hill"]
    | Literal["turned_edge"]
    | Literal["edge_roll_off"]
    | Literal["edge_step"]
)
IndexingName = Literal["noll"] | Literal["osa"] | Literal["fringe"]
OffsetName = Literal["fitted"] | Literal["none"]
JoinedName = Literal["spline"] | Literal["straight_in_area"]
NormalisationName = Literal["rms"] | Literal["peak"]
OriginName = (
    Literal["turns with the mirror"]
    | Literal["stays with the stand"]
    | Literal["both"]
    | Literal["none seen"]
    | Literal["cannot tell"]
)
KnifeFromName = Literal["left"] | Literal["right"]
ReadingsIncreaseName = Literal["away_from_mirror"] | Literal["toward_mirror"]
ScaleName = Literal["root"] | Literal["linear"] | Literal["log"]
AutocorrelationName = Literal["gaussian"] | Literal["exponential"]
RecoatName = Literal["diagonal"] | Literal["primary"] | Literal["both"]
RingProfileName = Literal["flat"] | Literal["smooth"]
ThinBranchName = Literal["thinnest"] | Literal["thickest"]
WearKind: TypeAlias = Literal["haze"] | MetalFilm
MetalName = Literal["aluminium"] | Literal["silver"]
SourceName = Literal["moving"] | Literal["fixed"]
SurfaceOrWavefrontName = Literal["surface"] | Literal["wavefront"]
TestPlaceName = Literal["at_focus"] | Literal["at_centre_of_curvature"]
UnitName = Literal["waves"] | Literal["nm"]
CorrectionName = (
    Literal["over-corrected"]
    | Literal["under-corrected"]
    | Literal["a paraboloid within the noise"]
)
VerdictName = (
    Literal["better"]
    | Literal["probably better"]
    | Literal["cannot tell"]
    | Literal["probably worse"]
    | Literal["worse"]
)

# What the `with_...` methods of a train can change, by part.


class PrimaryChanges(TypedDict, total=False):
    """Keywords of `Train.with_primary` and `FigureEstimate.primary`."""

    clear_aperture_mm: Number
    focal_length_mm: Number
    radius_of_curvature_mm: Number
    conic: Number
    mask_diameter_mm: Number | None
    figure: Sequence[FigureLayer]
    coating: Coating


class DiagonalChanges(TypedDict, total=False):
    """Keywords of `Train.with_diagonal`."""

    minor_axis_mm: Number
    offset_mm: Number | None
    reflectance: Number
    thickness_mm: Number
    edge: FlatEdgeName | None
    bevel_mm: Number
    misplaced: Misplacement | None
    film: MetalFilm | None


class FocalPlaneChanges(TypedDict, total=False):
    """Keywords of `Train.with_focal_plane`."""

    axis_to_focus_mm: Number


class OpeningChanges(TypedDict, total=False):
    """Keywords of `Train.with_front_opening`."""

    diameter_mm: Number
    above_vertex_mm: Number


class DrawtubeChanges(TypedDict, total=False):
    """Keywords of `Train.with_drawtube`."""

    bore_mm: Number
    length_mm: Number
    outer_end_to_focus_mm: Number


class SpiderChanges(TypedDict, total=False):
    """Keywords of `Train.with_spider`."""

    vanes: int
    thickness_mm: Number
    angle_deg: Number
    above_vertex_mm: Number | None
    bend_radius_mm: Number | None


class HolderChanges(TypedDict, total=False):
    """Keywords of `Train.with_holder`."""

    diameter_mm: Number
    above_vertex_mm: Number | None


class MirrorClipsChanges(TypedDict, total=False):
    """Keywords of `Train.with_mirror_clips`."""

    clips: int
    width_mm: Number
    reach_mm: Number
    angle_deg: Number


class FocuserBoardChanges(TypedDict, total=False):
    """Keywords of `Train.with_focuser_board`."""

    hole_mm: Number
    axis_to_board_mm: Number


class FilterRingChanges(TypedDict, total=False):
    """Keywords of `Train.with_filter_ring`."""

    diameter_mm: Number
    before_focus_mm: Number


class SensorMaskChanges(TypedDict, total=False):
    """Keywords of `Train.with_sensor_mask`."""

    along_mm: Number
    across_mm: Number
    before_focus_mm: Number
    rotation_deg: Number
