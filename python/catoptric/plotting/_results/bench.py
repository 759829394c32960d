"""What a picture reads of readings and of a figure made of them."""

from __future__ import annotations

from typing import Protocol

from ..._typing import Floats, Numbers1D
from .mirror import ProfileLike


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


class NoiseStudyLike(Protocol):
    """The Strehl ratios of noisy repeats, and the noise of one reading of each opening."""

    @property
    def strehl_least_rms(self) -> Floats: ...
    @property
    def reading_sigma_mm(self) -> Floats: ...
    def strehl_quantiles(self, shares: Numbers1D, /) -> Floats: ...
