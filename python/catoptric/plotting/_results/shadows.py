"""What a picture reads of what a tester sees."""

from __future__ import annotations

from typing import Protocol

from ..._typing import Floats


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
