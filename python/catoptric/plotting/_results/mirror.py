"""What a picture reads of a mirror's figure and of a wavefront."""

from __future__ import annotations

from typing import Protocol

from ..._typing import Floats


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
