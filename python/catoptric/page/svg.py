"""From axes to a picture inside the page: SVG that follows the page's colours and never changes.

The same numbers give the same bytes: the names inside the picture come from a fixed salt, the date
and the maker's note are left out, and the reader's own settings of matplotlib have no say.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..plotting import _style
from .markup import Markup, tag
from .style import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Picture", "draw"]

WIDTH_IN = 4.5
"""Width of every picture, inches: on a telephone its text is then still as large as a footnote."""

MOST_COLUMNS = 2
"""Columns of a legend that a picture of this width has room for."""

_SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "path",
    # Names are the user's: a dollar sign in them is no formula.
    "text.parse_math": False,
    "font.size": 9.0,
    "axes.labelsize": 9.0,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
}

# The colours of matplotlib's files and of the shared look, as names of the page's colours.
_COLOURS = {
    "#000000": "ink",
    "#ffffff": "paper",
    "#595959": "quiet",
    "#e0e0e0": "grid",
    _style.GLASS.lower(): "glass",
    **{LIGHT[name]: name for name in ("blue", "vermillion", "green", "purple", "sky", "orange")},
}


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture of the page, with what stands above it and what is read out in its place."""

    key: str
    """Short and unlike the others' on the page; the names inside the picture begin with it."""
    title: str
    notes: tuple[str, ...]
    alt: str
    """The picture in words, made from the numbers that it draws."""
    svg: Markup


def draw(
    key: str,
    paint: Callable[[Axes], object],
    alt: str,
    *,
    height_in: float = 3.1,
    title: str | None = None,
    notes: tuple[str, ...] | None = None,
) -> Picture:
    """Paint on fresh axes and return the picture; its title and notes become text of the page.

    `title` and `notes` replace those that were painted.

    Units: inches.
    Errors: `ImportError` that says what to install, if matplotlib is missing.
    """
    try:
        import matplotlib as mpl
        from matplotlib import style
        from matplotlib.figure import Figure
    except ImportError as missing:
        raise ImportError(
            "pictures need matplotlib, which is not installed: pip install catoptric[plot]"
        ) from missing
    with style.context("default", after_reset=True), mpl.rc_context(_SETTINGS):
        figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
        ax = figure.add_subplot()
        paint(ax)
        for axes in figure.axes:
            axes.patch.set_alpha(0.0)
            legend = axes.get_legend()
            if legend is not None and getattr(legend, "_ncols", 1) > MOST_COLUMNS:
                legend.set_ncols(MOST_COLUMNS)
        painted_title, painted_notes = _take_words(ax)
        file = io.StringIO()
        figure.savefig(file, format="svg", transparent=True, metadata={"Date": None})
    return Picture(
        key,
        painted_title if title is None else title,
        painted_notes if notes is None else notes,
        alt,
        _inline(file.getvalue(), key, alt),
    )


def _take_words(ax: Axes) -> tuple[str, tuple[str, ...]]:
    """Take title and notes off the axes and return them."""
    title = ax.get_title(loc="left")
    ax.set_title("", loc="left")
    notes = [text for text in ax.texts if text.get_gid() == _style._NOTE]
    words = tuple(line for note in notes for line in note.get_text().splitlines())
    for note in notes:
        note.remove()
    return title, words


def _inline(file: str, key: str, alt: str) -> Markup:
    """Turn an SVG file into an element of the page."""
    inside = file[file.index("<svg") :]
    box = re.search(r'viewBox="([^"]+)"', inside)
    assert box is not None
    body = inside[inside.index(">") + 1 : inside.rindex("</svg>")]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r"<!--.*?-->", "", body, flags=re.DOTALL)
    # In a page, unlike in a file, links need no second set of names.
    body = body.replace("xlink:href=", "href=")
    # Only what something refers to keeps a name: its number in the picture. Matplotlib's own names
    # are hashes of places to the last bit, and the layout's solver does not always give the same.
    numbers: dict[str, str] = {}

    def refer(found: re.Match[str]) -> str:
        place, link = found.groups()
        number = numbers.setdefault(place or link, f"{key}-{len(numbers) + 1}")
        return f"url(#{number})" if place else f'href="#{number}"'

    def name(found: re.Match[str]) -> str:
        number = numbers.get(found.group(1))
        return f' id="{number}"' if number else ""

    body = re.sub(r'url\(#([^)]+)\)|href="#([^"]+)"', refer, body)
    body = re.sub(r'\s+id="([^"]+)"', name, body)
    body = re.sub(r"(fill|stroke|stop-color): (#[0-9a-f]{6})", _follow, body)
    body = re.sub(r"\s*\n\s*", "\n", body).strip()
    return tag(
        "svg",
        Markup(body),
        viewBox=box.group(1),
        role="img",
        aria_label=alt,
        preserveAspectRatio="xMidYMid meet",
    )


def _follow(found: re.Match[str]) -> str:
    name = _COLOURS.get(found.group(2))
    return f"{found.group(1)}: var(--{name})" if name else found.group(0)
