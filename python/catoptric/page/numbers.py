"""How the page writes numbers: as many digits as their uncertainty deserves, never more."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .._display import decimals_for, fixed

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

__all__ = ["alike", "gain", "measured", "parts", "plain"]

PLAIN_FIGURES = 3
"""Figures of a number whose uncertainty is not known."""

MOST_FIGURES = 4
"""Figures of the largest of three numbers, however narrow the interval is."""

SPACE = "\u00a0"
"""Between a number and its unit: no line breaks there."""


def decimals_deserved(uncertainty: float) -> int:
    """Return the decimals that an uncertainty deserves: two figures up to 354, else one.

    The rule looks at the three highest digits of the uncertainty: 100 to 354 keep two of them,
    355 to 949 one; 950 to 999 are rounded up to 1000 and keep two.

    Units: the uncertainty's own. Negative counts mean tens, hundreds and so on.
    Source: Particle Data Group, Review of Particle Physics, Introduction, section Rounding.

    >>> assert decimals_deserved(0.119) == 2 and decimals_deserved(0.367) == 1
    >>> assert decimals_deserved(0.0967) == 2 and decimals_deserved(42.0) == -1
    """
    power = math.floor(math.log10(uncertainty))
    # 0.095 divided by a power of ten is not exactly 9.5.
    leading = round(uncertainty / 10.0**power * 100.0)
    if leading >= 950:
        return -power
    return 1 - power if leading <= 354 else -power


def parts(value: float, low: float, high: float) -> tuple[str, str, str]:
    """Return a value and the ends of its interval as text, all with the same decimals.

    Half the interval's width counts as the uncertainty. Where the interval has no width, the
    three are written as plain numbers.

    Units: one for all three.

    >>> assert parts(0.7052, 0.683, 0.872) == ("0.71", "0.68", "0.87")
    >>> assert parts(75.9, 36.7, 185.2) == ("80", "40", "190")
    """
    half = (high - low) / 2.0
    if not half > 0.0 or not math.isfinite(half):
        return plain(value), plain(low), plain(high)
    largest = max(abs(value), abs(low), abs(high))
    decimals = min(decimals_deserved(half), decimals_for(largest, MOST_FIGURES))
    return fixed(value, decimals), fixed(low, decimals), fixed(high, decimals)


def measured(value: float, low: float, high: float, unit: str = "") -> str:
    r"""Write a value with its interval and unit; a value without uncertainty stands alone.

    Units: as named.

    >>> assert measured(0.7052, 0.683, 0.872) == "0.71 (0.68 to 0.87)"
    >>> assert measured(308.0, 308.0, 308.0, "mm") == "308\u00a0mm"
    """
    middle, bottom, top = parts(value, low, high)
    written = middle if bottom == top else f"{middle} ({bottom} to {top})"
    return f"{written}{SPACE}{unit}" if unit else written


def gain(value: float, low: float, high: float, unit: str = "") -> str:
    """Write a change with its interval: the sign always stands before it.

    Units: as named.

    >>> assert gain(0.121, 0.049, 0.184) == "+0.12 (+0.05 to +0.18)"
    >>> assert gain(-0.061, -0.061, -0.061) == "-0.061"
    """
    middle, bottom, top = (_signed(text) for text in parts(value, low, high))
    written = middle if bottom == top else f"{middle} ({bottom} to {top})"
    return f"{written}{SPACE}{unit}" if unit else written


def plain(value: float, figures: int = PLAIN_FIGURES) -> str:
    """Write a number whose uncertainty is not known with three figures, exact ones as they are.

    >>> assert plain(0.88004) == "0.880" and plain(1558.0) == "1558" and plain(-0.0) == "0"
    >>> assert plain(0.88) == "0.88" and plain(48.03) == "48.0"
    """
    if not math.isfinite(value):
        return "none"
    if value == round(value) and abs(value) < 1e7:
        return f"{round(value)}"
    decimals = figures - 1 - math.floor(math.log10(abs(value)))
    while decimals > 0 and abs(round(value, decimals - 1) - value) < 1e-12 * abs(value):
        decimals -= 1
    return fixed(value, decimals)


def alike(rows: npt.NDArray[np.float64]) -> list[list[str]]:
    """Write a table of given numbers, all with as many decimals as the finest of them has.

    What is missing (NaN) is written as "none".

    >>> assert alike(np.array([[7.5, 7.68], [10.0, np.nan]]))[1] == ["10.00", "none"]
    """
    given = [float(value) for value in rows.flat if math.isfinite(value)]
    decimals = next((d for d in range(6) if all(abs(round(v, d) - v) < 1e-9 for v in given)), 6)
    return [
        [fixed(float(v), decimals) if math.isfinite(v) else "none" for v in row] for row in rows
    ]


def _signed(text: str) -> str:
    if text.startswith("-") or float(text) == 0.0:
        return text
    return f"+{text}"
