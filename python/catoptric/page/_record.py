"""What the page reads of a judgement: these attributes, and no more."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

from .._typing import Interval


class NumberLike(Protocol):
    """One of the three numbers, with its interval and what it means to a layman."""

    @property
    def name(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def value(self) -> float: ...
    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...
    @property
    def meaning(self) -> str: ...


class GainLike(Protocol):
    """What one quantity gains by one row's work."""

    @property
    def name(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def before(self) -> float: ...
    @property
    def before_interval(self) -> Interval: ...
    @property
    def after(self) -> float: ...
    @property
    def after_interval(self) -> Interval: ...
    @property
    def gain(self) -> float: ...
    @property
    def gain_interval(self) -> Interval: ...
    @property
    def gain_per_price(self) -> float | None: ...
    @property
    def proven(self) -> bool: ...


class RowLike(Protocol):
    """One work, or two together; the same quantities in the same order in every row."""

    @property
    def name(self) -> str: ...
    @property
    def price(self) -> float: ...
    @property
    def gains(self) -> Sequence[GainLike]: ...
    @property
    def dominated_by(self) -> Sequence[str]: ...
    @property
    def no_proven_gain(self) -> bool: ...
    @property
    def upper_bound(self) -> bool: ...
    @property
    def tied_with(self) -> Sequence[str]: ...
    @property
    def words(self) -> str: ...
    @property
    def train_after(self) -> Any: ...


class LadderLike(Protocol):
    """The works by what they bring, and the rules behind their order."""

    @property
    def rows(self) -> Sequence[RowLike]: ...
    @property
    def order_rule(self) -> str: ...
    @property
    def no_gain_rule(self) -> str: ...
    @property
    def field_rule(self) -> str: ...
    @property
    def left_out(self) -> Sequence[str]: ...
    @property
    def details_arcsec(self) -> Sequence[float]: ...
    @property
    def currency(self) -> str: ...


class JudgementLike(Protocol):
    """A judged train.

    `mask` (a sweep), `edge` (sentences) and `coating` (an effect with `words`) are shown where the
    record has them.
    """

    @property
    def verdict(self) -> str: ...
    @property
    def numbers(self) -> Sequence[NumberLike]: ...
    @property
    def wavelength_nm(self) -> float: ...
    @property
    def focus(self) -> str: ...
    @property
    def obstruction_ratio(self) -> float: ...
    @property
    def ladder(self) -> LadderLike | None: ...
    @property
    def next(self) -> Sequence[str]: ...
    @property
    def reasons(self) -> Sequence[str]: ...
    @property
    def assumptions(self) -> Sequence[str]: ...
    @property
    def cautions(self) -> Sequence[str]: ...
    @property
    def train(self) -> Any: ...
    @property
    def train_now(self) -> Any: ...
    @property
    def figure_words(self) -> str: ...
    @property
    def evidence(self) -> Any: ...


def chosen(record: JudgementLike) -> RowLike | None:
    """Return the row whose star is drawn as "after": the first that is worth its money.

    That is the first one with a proven gain and a train to draw that no other row dominates and
    that is not a mere upper bound.
    """
    for row in record.ladder.rows if record.ladder else ():
        doubted = row.no_proven_gain or row.dominated_by or row.upper_bound
        if not doubted and row.train_after is not None:
            return row
    return None


def middle_gain(got: GainLike) -> float:
    """Return the gain in the middle of the figures that the evidence allows, where it is known.

    The gain of the one figure behind `before` and `after` may lie outside of the interval.
    """
    return float(getattr(got, "median_gain", got.gain))


def doubt_about(got: GainLike) -> str:
    """Return what has to be said beside a gain that is not proven, else an empty text."""
    low, high = got.gain_interval
    if got.proven:
        return ""
    if high < 0.0:
        return "a loss"
    if low == high == 0.0:
        return "no change"
    certain = low == high and getattr(got, "basis", "") == "described"
    return "too small to count" if certain else "not proven"
