"""What a picture reads of compared diagonals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt

from ..._typing import Floats


class DrawtubeLike(Protocol):
    """A drawtube's bore."""

    @property
    def bore_mm(self) -> float: ...


class DiagonalBatchLike(Protocol):
    """What was compared: the drawtubes tried, none where each train has its own."""

    @property
    def drawtubes(self) -> Sequence[DrawtubeLike]: ...


class DiagonalsLike(Protocol):
    """Candidates beside one another; 1-D, one entry each, prices only where they are known."""

    @property
    def batch(self) -> DiagonalBatchLike: ...
    @property
    def train(self) -> npt.NDArray[np.int64]: ...
    @property
    def drawtube(self) -> npt.NDArray[np.int64]: ...
    @property
    def axis_to_focus_mm(self) -> Floats: ...
    @property
    def minor_axis_mm(self) -> Floats: ...
    @property
    def obstruction_ratio(self) -> Floats: ...
    @property
    def edge_radius_mm(self) -> float: ...
    @property
    def edge_light(self) -> Floats: ...
    @property
    def clipped_axis(self) -> npt.NDArray[np.bool_]: ...
    @property
    def dominated(self) -> npt.NDArray[np.bool_]: ...
    @property
    def price(self) -> Floats: ...
