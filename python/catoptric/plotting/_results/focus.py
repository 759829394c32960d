"""What a picture reads of where things come to focus, and of eyepieces."""

from __future__ import annotations

from typing import Any, Protocol

from ..._typing import Floats


class LadderLike(Protocol):
    """Where shoulders must stand for focus, beside a focuser's travel; arrays one entry a thing."""

    @property
    def names(self) -> tuple[str, ...]: ...
    @property
    def shoulder_mm(self) -> Floats: ...
    @property
    def misses_by_mm(self) -> Floats: ...
    @property
    def focuser(self) -> Any: ...
    @property
    def train(self) -> Any: ...


class EyepieceFactsLike(Protocol):
    """An eyepiece behind a telescope: its exit pupil, the shadow in it, the eye's iris."""

    @property
    def eyepiece(self) -> Any: ...
    @property
    def magnification(self) -> float: ...
    @property
    def exit_pupil_mm(self) -> float: ...
    @property
    def shadow_mm(self) -> float: ...
    @property
    def eye_pupil_mm(self) -> float | None: ...
    @property
    def effective_aperture_mm(self) -> float: ...
