"""One builder for the text and the notebook display of every result.

A result hands over its title and its rows, name and value both as text; what is printed and what
a notebook shows are made from the same rows and cannot disagree.
"""

from __future__ import annotations

import html as _html
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LINE_WIDTH = 100
"""Characters after which a one-line `repr` is broken into two."""

# Notebook front ends typeset what stands between two dollar signs, even if the dollar sign was
# escaped as an entity; these two class names tell MathJax 2 and 3 to leave the element alone.
_NO_MATH = "tex2jax_ignore mathjax_ignore"

Row = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Card:
    """A title and rows of name and value, ready to be shown as text or as HTML.

    >>> shown = card("Airy", [("focal_ratio", "4.9"), ("wavelength_nm", "550")])
    >>> assert shown.text() == "Airy(focal_ratio=4.9, wavelength_nm=550)"
    >>> assert "<th" in shown.html() and "550" in shown.html()
    """

    title: str
    rows: tuple[Row, ...]

    def text(self) -> str:
        """Return one line, or two when one would be longer than `LINE_WIDTH`."""
        pairs = [f"{name}={value}" for name, value in self.rows]
        line = f"{self.title}({', '.join(pairs)})"
        if len(line) <= LINE_WIDTH or len(pairs) < 2:
            return line
        split = _balanced_split([len(pair) for pair in pairs])
        indent = " " * (len(self.title) + 1)
        first, second = ", ".join(pairs[:split]), ", ".join(pairs[split:])
        return f"{self.title}({first},\n{indent}{second})"

    def html(self) -> str:
        """Return a small table that keeps the notebook's own colours, light or dark."""
        body = "".join(
            f'<tr><th style="text-align:left;font-weight:normal;opacity:0.75">{escape(name)}</th>'
            f'<td style="text-align:left">{escape(value)}</td></tr>'
            for name, value in self.rows
        )
        return (
            f'<table class="{_NO_MATH}"><caption style="text-align:left;font-weight:bold">'
            f"{escape(self.title)}</caption><tbody>{body}</tbody></table>"
        )


def card(title: str, rows: Iterable[Row]) -> Card:
    """Gather a title and its rows.

    >>> assert card("Spot", [("rms_radius_um", "3.1")]).rows == (("rms_radius_um", "3.1"),)
    """
    return Card(title, tuple((str(name), str(value)) for name, value in rows))


def text(title: str, rows: Iterable[Row]) -> str:
    """Return the text of a card; the form the compiled classes call for `__repr__`.

    >>> assert text("Diagonal", [("minor_axis_mm", "70")]) == "Diagonal(minor_axis_mm=70)"
    """
    return card(title, rows).text()


def html(title: str, rows: Iterable[Row]) -> str:
    """Return the HTML of a card; the form the compiled classes call for `_repr_html_`.

    >>> assert "a &lt; b" in html("Note", [("why", "a < b")])
    """
    return card(title, rows).html()


def grid_html(
    heads: Sequence[str], body: Sequence[Sequence[str]], *, caption: str = "", note: str = ""
) -> str:
    """Return an HTML table with named columns, numbers set to the right.

    Shapes: every row of `body` is as long as `heads`.

    >>> page = grid_html(["price_$"], [["4 & more"]])
    >>> assert "price_&#36;" in page and "4 &amp; more" in page
    """
    head = "".join(f'<th style="text-align:right">{escape(name)}</th>' for name in heads)
    rows = "".join(
        "<tr>"
        + "".join(f'<td style="text-align:right">{escape(cell)}</td>' for cell in row)
        + "</tr>"
        for row in body
    )
    top = f'<caption style="text-align:left">{escape(caption)}</caption>' if caption else ""
    foot = (
        f'<tfoot><tr><td colspan="{max(len(heads), 1)}" style="text-align:left;opacity:0.75">'
        f"{escape(note)}</td></tr></tfoot>"
        if note
        else ""
    )
    return (
        f'<table class="{_NO_MATH}">{top}<thead><tr>{head}</tr></thead>'
        f"<tbody>{rows}</tbody>{foot}</table>"
    )


def grid_text(heads: Sequence[str], body: Sequence[Sequence[str]], *, note: str = "") -> str:
    r"""Return aligned text columns, everything set to the right.

    Shapes: every row of `body` is as long as `heads`.

    >>> assert grid_text(["r_mm"], [["5"], ["10"]]) == "r_mm\n   5\n  10"
    """
    widths = [
        max([len(head), *(len(row[column]) for row in body)]) for column, head in enumerate(heads)
    ]
    lines = [
        "  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True))
        for row in [heads, *body]
    ]
    return "\n".join([*lines, note] if note else lines)


def escape(shown: str) -> str:
    """Return `shown` with everything escaped that HTML or a notebook's formulas would read.

    >>> assert escape("<$&>") == "&lt;&#36;&amp;&gt;"
    """
    return _html.escape(shown, quote=True).replace("$", "&#36;")


def with_uncertainty(
    value: float, low: float, high: float, *, most_decimals: int | None = None
) -> str:
    """Write a value and its interval with the digits that the interval deserves.

    Two figures of the half width are kept, but no more than `most_decimals`; the value has no
    more decimals than its interval.

    Units: one unit for all three.

    >>> assert with_uncertainty(0.71382, 0.69663, 0.72541) == "0.714 (0.697 to 0.725)"
    >>> assert with_uncertainty(72.51, 61.0, 122.4) == "73 (61 to 122)"
    """
    if not all(math.isfinite(number) for number in (value, low, high)) or high <= low:
        return f"{value:.6g} ({low:.6g} to {high:.6g})"
    decimals = decimals_for((high - low) / 2.0)
    if most_decimals is not None:
        decimals = min(decimals, most_decimals)
    return " ".join(
        [fixed(value, decimals), f"({fixed(low, decimals)}", "to", f"{fixed(high, decimals)})"]
    )


def decimals_for(uncertainty: float, figures: int = 2) -> int:
    """Return the number of decimals that shows `figures` figures of `uncertainty`.

    Negative counts mean tens, hundreds and so on.

    >>> assert decimals_for(0.0143) == 3 and decimals_for(30.0) == 0 and decimals_for(450.0) == -1
    """
    return figures - 1 - math.floor(math.log10(uncertainty))


def fixed(number: float, decimals: int) -> str:
    """Write `number` with this many decimals, never as `-0`.

    >>> assert fixed(-0.0004, 2) == "0.00" and fixed(1234.0, -1) == "1230"
    """
    rounded = round(number, decimals) + 0.0
    return f"{rounded:.{max(decimals, 0)}f}"


def _balanced_split(lengths: Sequence[int]) -> int:
    """Return where to break a list of pieces so that its two lines are most alike in length."""
    total = sum(lengths)
    return min(range(1, len(lengths)), key=lambda split: abs(total - 2 * sum(lengths[:split])))
