"""What a picture reads of a spot or a star image."""

from __future__ import annotations

from typing import Any, Protocol

from ..._typing import Floats


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


class StarImageLike(Protocol):
    """A star: `image[i, j]`, rows across, columns along; 1 is the perfect star's peak."""

    @property
    def image(self) -> Floats: ...
    @property
    def along_um(self) -> Floats: ...
    @property
    def across_um(self) -> Floats: ...
    @property
    def strehl(self) -> float: ...
    @property
    def wavelength_nm(self) -> float: ...


class MapPsfLike(StarImageLike, Protocol):
    """The star behind a map of the pupil."""

    @property
    def focal_ratio(self) -> float: ...
    @property
    def lit_pixels(self) -> int: ...


class PsfLike(StarImageLike, Protocol):
    """The star of a train."""

    @property
    def fwhm_um(self) -> float: ...
    @property
    def airy(self) -> AiryLike: ...
    def encircled_energy(self, radius_um: Any, /) -> Any: ...
    def ring_energy(self, *, rings: int = 5) -> Any: ...
