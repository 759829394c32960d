"""What a picture reads of a judged refigure."""

from __future__ import annotations

from typing import Protocol

from ..._typing import Interval


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
