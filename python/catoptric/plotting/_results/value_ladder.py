"""What a picture reads of works and their prices."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol


class LadderRowLike(Protocol):
    """One work or a pair of works."""

    @property
    def name(self) -> str: ...
    @property
    def price(self) -> float: ...
    @property
    def score(self) -> float: ...
    @property
    def score_interval(self) -> tuple[float, float]: ...
    @property
    def dominated_by(self) -> Sequence[str]: ...
    @property
    def no_proven_gain(self) -> bool: ...
    @property
    def upper_bound(self) -> bool: ...


class ValueLadderLike(Protocol):
    """Works beside one another, in order."""

    @property
    def rows(self) -> Sequence[LadderRowLike]: ...
    @property
    def currency(self) -> str: ...
