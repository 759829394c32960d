"""What a picture needs to know of a result: the attributes it reads, and no more."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Interval = tuple[float, float]


class SpotLike(Protocol):
    """Ray hits about their centroid, and where each ray met the mirror; 1-D, equally long."""

    @property
    def along_um(self) -> Floats: ...
    @property
    def across_um(self) -> Floats: ...
    @property
    def pupil_x_mm(self) -> Floats: ...
    @property
    def pupil_y_mm(self) -> Floats: ...
    @property
    def focal_ratio(self) -> float: ...
    @property
    def rms_radius_um(self) -> float: ...
    @property
    def radius_80_um(self) -> float: ...


class AiryLike(Protocol):
    """The perfect star of the same focal ratio and obstruction."""

    @property
    def dark_rings_um(self) -> Any: ...
    def encircled_energy(self, radius_um: Any, /) -> Any: ...


class PsfLike(Protocol):
    """A star image: `image[i, j]`, rows across, columns along; 1 is the perfect star's peak."""

    @property
    def image(self) -> Floats: ...
    @property
    def along_um(self) -> Floats: ...
    @property
    def across_um(self) -> Floats: ...
    @property
    def strehl(self) -> float: ...
    @property
    def fwhm_um(self) -> float: ...
    @property
    def wavelength_nm(self) -> float: ...
    @property
    def airy(self) -> AiryLike: ...
    def encircled_energy(self, radius_um: Any, /) -> Any: ...
    def ring_energy(self, *, rings: int = 5) -> Any: ...


class WavefrontLike(Protocol):
    """A wavefront: `map_nm[i, j]`, rows along y, columns along x, NaN where no light comes."""

    @property
    def map_nm(self) -> Floats: ...
    @property
    def map_axis_mm(self) -> Floats: ...
    @property
    def rms_nm(self) -> float: ...
    @property
    def pv_nm(self) -> float: ...
    @property
    def strehl(self) -> float: ...
    @property
    def wavelength_nm(self) -> float: ...


class ProfileLike(Protocol):
    """Heights of the glass against radius; 1-D, equally long."""

    @property
    def radius_mm(self) -> Floats: ...
    @property
    def height_nm(self) -> Floats: ...


class EstimateLike(ProfileLike, Protocol):
    """Heights at knots, straight in r^2 between them, and what the readings' noise makes of them.

    `covariance_nm2` has a row and a column a knot.
    """

    @property
    def covariance_nm2(self) -> Floats: ...


class ReadingsLike(Protocol):
    """Knife-edge readings: `runs_mm[run, zone]`, the zones' means and the noise of one reading.

    `paraboloid_mm` is what a perfect paraboloid reads, as the stage counts.
    """

    @property
    def runs_mm(self) -> Floats: ...
    @property
    def mean_mm(self) -> Floats: ...
    @property
    def sigma_mm(self) -> Floats: ...
    @property
    def paraboloid_mm(self) -> Floats: ...
    @property
    def inner_radius_mm(self) -> Floats: ...
    @property
    def outer_radius_mm(self) -> Floats: ...
    @property
    def source(self) -> str: ...
    @property
    def readings_increase(self) -> str: ...


class BenchPictureLike(Protocol):
    """The mirror seen at its centre of curvature: `image[i, j]`, rows along y, columns along x.

    1 is the mirror without knife or grating.
    """

    @property
    def image(self) -> Floats: ...
    @property
    def ray_image(self) -> Floats: ...
    @property
    def axis_mm(self) -> Floats: ...
    @property
    def source(self) -> str: ...
    @property
    def stage_mm(self) -> float: ...
    @property
    def wavelength_nm(self) -> tuple[float, ...]: ...


class KnifePictureLike(BenchPictureLike, Protocol):
    """The mirror behind a knife edge."""

    @property
    def edge_um(self) -> float: ...
    @property
    def knife_from(self) -> str: ...
    @property
    def slit_width_um(self) -> float: ...


class GratingPictureLike(BenchPictureLike, Protocol):
    """The mirror behind a grating; without a slit the light comes through the grating itself."""

    @property
    def lines_per_mm(self) -> float: ...
    @property
    def phase(self) -> float: ...
    @property
    def slit_width_um(self) -> float | None: ...


class VerdictLike(Protocol):
    """The judgement of a refigure; noise intervals, draws and estimates are used if it has them."""

    @property
    def chance_better(self) -> str: ...
    @property
    def strehl_before(self) -> float: ...
    @property
    def strehl_before_total_interval(self) -> Interval: ...
    @property
    def strehl_after(self) -> float: ...
    @property
    def strehl_after_total_interval(self) -> Interval: ...
    @property
    def verdict(self) -> str: ...


class LightMapLike(Protocol):
    """Light at points of the focal plane, relative to the middle of the field; 1-D."""

    @property
    def along_mm(self) -> Floats: ...
    @property
    def across_mm(self) -> Floats: ...
    @property
    def relative(self) -> Floats: ...


class IlluminationLike(Protocol):
    """Light against field radius, relative to the axis, and the share each part stops."""

    @property
    def radius_mm(self) -> Floats: ...
    @property
    def worst(self) -> Floats: ...
    @property
    def mean(self) -> Floats: ...
    @property
    def best(self) -> Floats: ...
    @property
    def stopped(self) -> Mapping[str, Floats]: ...
