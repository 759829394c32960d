"""The page of a judgement: what stands on it and in which order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from .._core import __version__
from . import pictures
from ._record import (
    GainLike,
    JudgementLike,
    LadderLike,
    NumberLike,
    RowLike,
    chosen,
    doubt_about,
)
from .markup import Markup, items, join, paragraph, tag
from .numbers import alike, gain, measured, parts, plain
from .style import css
from .svg import Picture

__all__ = ["fragment", "whole_page"]

ADVICE = "Advice for a decision, not a certificate."


def whole_page(record: JudgementLike, refigure: Any = None) -> str:
    """Return the judgement as one HTML document that needs nothing else."""
    body = _sheet(record, refigure, top=1, drawn=True)
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("title", f"{_subject(record)}: judgement"),
        tag("style", Markup(css())),
    )
    page = tag(
        "html", head, tag("body", body, class_="catoptric"), lang="en", class_="catoptric-page"
    )
    return f"<!DOCTYPE html>\n{page}\n"


def fragment(record: JudgementLike, refigure: Any = None) -> str:
    """Return the judgement as one element for a notebook; without pictures if they cannot be."""
    drawn = _can_draw()
    # A notebook has headings of its own above.
    body = _sheet(record, refigure, top=2, drawn=drawn)
    kept = "catoptric tex2jax_ignore mathjax_ignore"
    return tag("div", tag("style", Markup(css())), body, class_=kept, lang="en")


def _can_draw() -> bool:
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        return False
    return True


def _sheet(record: JudgementLike, refigure: Any, *, top: int, drawn: bool) -> Markup:
    build = _Sections(top)
    sections = [
        _what_to_do(build, record, drawn=drawn),
        _refigure(build, refigure, drawn),
        _pictures(build, record, drawn),
        build.section("next", "What to measure next", items(record.next, ordered=True)),
        _why(build, record),
        _cautions(build, record, refigure),
        _inputs(build, record),
    ]
    # Landmarks belong to a page of its own; a notebook has its own.
    header, main, footer = ("header", "main", "footer") if top == 1 else ("div", "div", "div")
    return tag(
        "div",
        tag(
            header,
            paragraph(f"Judgement of {_subject(record)}", "subject"),
            build.heading(0, record.verdict, "verdict"),
            paragraph(_basis(record), "basis"),
            class_="top",
        ),
        tag(main, _numbers(record.numbers), *sections),
        tag(
            footer,
            paragraph(f"{ADVICE} Made by catoptric {__version__}."),
            class_="foot",
        ),
        class_="sheet",
    )


class _Sections:
    """Writes headings that begin at a given level, and the sections under them."""

    def __init__(self, top: int) -> None:
        self.top = top

    def heading(self, depth: int, text: str, class_: str) -> Markup:
        return tag(f"h{self.top + depth}", text, class_=class_)

    def section(self, key: str, title: str, *inside: Markup, class_: str | None = None) -> Markup:
        """Return a section, or nothing if there is nothing in it."""
        if not any(inside):
            return Markup("")
        named = f"judgement-{key}"
        heading = tag(f"h{self.top + 1}", title, class_="title", id=named)
        return tag("section", heading, *inside, class_=class_, aria_labelledby=named)

    def part(self, title: str, inside: Markup) -> Markup:
        """Return a part of a section under its own heading, or nothing."""
        return join([self.heading(2, title, "part"), inside]) if inside else Markup("")

    def grid(self, shown: Sequence[Picture]) -> Markup:
        """Return pictures beside one another, each under its title and notes; or nothing."""
        figures = []
        for picture in shown:
            notes = [tag("span", note, class_="note") for note in picture.notes]
            caption = tag("figcaption", tag("strong", picture.title, class_="part"), *notes)
            figures.append(tag("figure", caption, picture.svg))
        return tag("div", *figures, class_="pictures") if figures else Markup("")


def _subject(record: JudgementLike) -> str:
    primary = record.train.primary
    return f"a {plain(primary.clear_aperture_mm)} mm f/{record.train.focal_ratio:.1f} mirror"


def _basis(record: JudgementLike) -> str:
    return (
        f"All Strehl ratios, contrasts and stars are for {plain(record.wavelength_nm)} nm at the "
        f"focus named {record.focus}, with an obstruction of {plain(record.obstruction_ratio)} by "
        "diameter. Values in brackets are intervals of 95 %."
        + (_PLAIN_VALUE.format(record.figure_words) if record.evidence is not None else "")
    )


_PLAIN_VALUE = (
    " The value before them, unless it is a gain, is that of {}; it may lie at an end of its "
    "interval or outside it, for the interval also holds what the evidence cannot see."
)


_MIDDLE_VALUE = (
    "In these sentences the value before an interval is that in the middle of the figures allowed."
)


def _numbers(numbers: Sequence[NumberLike]) -> Markup:
    return tag("dl", *(_number(number) for number in numbers), class_="numbers")


def _number(number: NumberLike) -> Markup:
    value, low, high = parts(number.value, number.low, number.high)
    unit = tag("small", f" {number.unit}") if number.unit else Markup("")
    reach = Markup("")
    if number.high > number.low:
        share = (number.value - number.low) / (number.high - number.low)
        reach = tag(
            "dd",
            tag("span", low),
            _strip(share),
            tag("span", high),
            class_="reach",
            aria_label=f"interval of 95 %: {low} to {high}",
            role="group",
        )
    return tag(
        "div",
        tag("dt", number.name),
        tag("dd", value, unit, class_="value"),
        reach,
        tag("dd", number.meaning, class_="meaning") if number.meaning else Markup(""),
        class_="number",
    )


def _strip(share: float) -> Markup:
    """Return a line from the low to the high end, with a stroke where the value lies."""
    at = f"{100.0 * min(max(share, 0.0), 1.0):.1f}"
    ends = "M0 3V11M100 3V11"
    return tag(
        "svg",
        tag("path", d=f"M0 7H100{ends}", stroke="currentColor", vector_effect="non-scaling-stroke"),
        tag(
            "path",
            d=f"M{at} 0V14",
            stroke="currentColor",
            stroke_width="4",
            vector_effect="non-scaling-stroke",
        ),
        viewBox="0 0 100 14",
        preserveAspectRatio="none",
        aria_hidden="true",
        fill="none",
    )


def _what_to_do(build: _Sections, record: JudgementLike, *, drawn: bool) -> Markup:
    ladder = record.ladder
    if ladder is None or not ladder.rows:
        return Markup("")
    best = chosen(record)
    words = best.words if best is not None else "None of these works has a proven gain."
    rules = [ladder.order_rule, ladder.no_gain_rule, ladder.field_rule]
    return build.section(
        "ladder",
        "What to do",
        paragraph(words),
        _ladder_table(ladder),
        build.grid([pictures.gains_picture(ladder)] if drawn else []),
        build.part("How to read it", items(filter(None, rules))),
        build.part("Left out", items(ladder.left_out)),
    )


def _ladder_table(ladder: LadderLike) -> Markup:
    names = [got.name for got in ladder.rows[0].gains]
    price = f"price ({ladder.currency})" if ladder.currency else "price"
    heads = [tag("th", name, scope="col", role="columnheader") for name in ("work", price, *names)]
    now = _row_now(ladder)
    body = [
        _ladder_row(number, row, ladder, price, say_before=not now)
        for number, row in enumerate(ladder.rows, 1)
    ]
    below = "below it what it comes to" if now else "below it before and after"
    caption = (
        "Gain of each work in the middle of the figures that the evidence allows, with its "
        f"interval of 95 %; {below}, and the gain for its price."
    )
    # Roles are named because a telephone stacks the cells, which would take their meaning away.
    table = tag(
        "table",
        tag("caption", caption),
        tag("thead", tag("tr", *heads, role="row"), role="rowgroup"),
        tag("tbody", now, *body, role="rowgroup"),
        class_="ladder",
        role="table",
    )
    return _scrolling(table, "Works compared")


def _scrolling(table: Markup, name: str) -> Markup:
    """Return a table that scrolls by itself where it is too wide, also with the keyboard."""
    return tag("div", table, class_="scroll", tabindex="0", role="region", aria_label=name)


def _row_now(ladder: LadderLike) -> Markup:
    """Return the row of what is there now; nothing where the works do not begin from the same."""
    first, *others = ladder.rows
    starts = [(got.before, got.before_interval) for got in first.gains]
    if any([(g.before, g.before_interval) for g in row.gains] != starts for row in others):
        return Markup("")
    cells = [
        tag(
            "td",
            tag("span", measured(got.before, *got.before_interval, got.unit), class_="main"),
            data_label=got.name,
            role="cell",
        )
        for got in first.gains
    ]
    name = tag("th", "as it is now", scope="row", role="rowheader")
    return tag("tr", name, tag("td", role="cell"), *cells, class_="weak", role="row")


def _ladder_row(
    number: int, row: RowLike, ladder: LadderLike, price: str, *, say_before: bool
) -> Markup:
    numbers = {other.name: place for place, other in enumerate(ladder.rows, 1)}
    said = [tag("span", text, class_="flag") for text in _flags(row, numbers)]
    if row.tied_with:
        tied = f"order not certain against {_places(row.tied_with, numbers)}"
        said.append(tag("span", tied, class_="more"))
    cost = tag("span", plain(row.price, 6), class_="main")
    return tag(
        "tr",
        tag("th", f"{number}. {row.name}", *said, scope="row", role="rowheader"),
        tag("td", cost, data_label=price, role="cell"),
        *(_gain_cell(got, ladder.currency, say_before=say_before) for got in row.gains),
        class_="weak" if row.no_proven_gain or row.dominated_by else None,
        role="row",
    )


def _gain_cell(got: GainLike, currency: str, *, say_before: bool) -> Markup:
    lines = []
    if doubt := doubt_about(got):
        lines.append(doubt)
    if say_before:
        lines.append(f"before {measured(got.before, *got.before_interval, got.unit)}")
    lines.append(f"after {measured(got.after, *got.after_interval, got.unit)}")
    # Losses have no price.
    if got.gain_per_price is not None and got.gain_per_price > 0.0:
        lines.append(f"{plain(got.gain_per_price, 2)} per {currency or 'unit of price'}")
    main = tag("span", gain(got.median_gain, *got.gain_interval, got.unit), class_="main")
    more = (tag("span", line, class_="more") for line in lines)
    return tag("td", main, *more, data_label=got.name, role="cell")


BASES = {
    "promised": "if the promise is kept",
    "assumed_shape": "the shape of the error is assumed",
}
"""What has to be said beside a gain that rests on something else than readings."""


def _flags(row: RowLike, numbers: Mapping[str, int]) -> list[str]:
    flags = []
    if row.upper_bound:
        flags.append("an upper bound, not a promise")
    if row.no_proven_gain:
        flags.append("no proven gain")
    if row.dominated_by:
        flags.append(f"dominated by {_places(row.dominated_by, numbers)}")
    bases = (BASES.get(got.basis) for got in row.gains)
    return flags + list(dict.fromkeys(basis for basis in bases if basis))


def _places(names: Sequence[str], numbers: Mapping[str, int]) -> str:
    """Name rows by their numbers in the table; what is no row of it by its name."""
    known = [str(place) for place in sorted(numbers[name] for name in names if name in numbers)]
    others = [f'"{name}"' for name in names if name not in numbers]
    word = "row" if len(known) == 1 else "rows"
    return ", ".join(filter(None, [*others, f"{word} {', '.join(known)}" if known else ""]))


def _refigure(build: _Sections, verdict: Any, drawn: bool) -> Markup:
    if verdict is None:
        return Markup("")
    shown = build.grid([pictures.refigure_picture(verdict)] if drawn else [])
    return build.section(
        "refigure",
        "The refigure, judged",
        paragraph(verdict.words),
        shown,
        items(verdict.reasons),
    )


def _pictures(build: _Sections, record: JudgementLike, drawn: bool) -> Markup:
    if not drawn:
        note = "Pictures need matplotlib, which is not installed: pip install catoptric[plot]"
        return build.section("pictures", "Pictures", paragraph(note, "note"))
    return build.section("pictures", "Pictures", build.grid(pictures.all_pictures(record)))


def _why(build: _Sections, record: JudgementLike) -> Markup:
    mask, coating = record.mask, record.coating
    about_mask = [mask.words, mask.reason] if mask is not None else []
    if mask is not None and record.evidence is not None:
        about_mask.append(_MIDDLE_VALUE)
    return build.section(
        "why",
        "Why, and what was assumed",
        build.part("Reasons", items(record.reasons)),
        build.part("The edge", items(record.edge)),
        build.part("The edge mask", items(about_mask)),
        build.part("The coating", items(coating.words if coating is not None else ())),
        build.part("Assumptions", items(record.assumptions)),
    )


def _cautions(build: _Sections, record: JudgementLike, refigure: Any) -> Markup:
    """Return all that warns, from the judgement and from the refigure, each once."""
    said = dict.fromkeys([*record.cautions, *(refigure.cautions if refigure is not None else ())])
    return build.section("cautions", "Cautions", items(said), class_="cautions")


def _inputs(build: _Sections, record: JudgementLike) -> Markup:
    evidence = record.evidence
    readings = getattr(evidence, "readings", None)
    paper = getattr(evidence, "sheet", None) or getattr(evidence, "report", None)
    asked = [*record.train.problems(), *(readings.problems() if readings is not None else ())]
    shown = _readings_table(readings) if readings is not None else Markup("")
    if paper is not None:
        shown = _facts(paper.to_dict())
    return build.section(
        "inputs",
        "What went in",
        build.part("The telescope", tag("pre", tag("code", record.train.to_toml()), tabindex="0")),
        build.part("The evidence", shown),
        build.part("What deserves a look", items(str(problem) for problem in asked)),
    )


def _readings_table(readings: Any) -> Markup:
    runs = np.asarray(readings.runs_mm)
    radii = np.stack([np.asarray(readings.inner_radius_mm), np.asarray(readings.outer_radius_mm)])
    heads = ["inner radius (mm)", "outer radius (mm)"]
    heads += [f"run {number + 1} (mm)" for number in range(len(runs))]
    columns = [*alike(radii), *alike(runs)]
    caption = (
        f"Knife-edge readings: {readings.source} source, readings increase "
        f"{readings.readings_increase.replace('_', ' ')}, radius of curvature "
        f"{plain(readings.radius_of_curvature_mm)} mm."
    )
    table = tag(
        "table",
        tag("caption", caption),
        tag("thead", tag("tr", *(tag("th", head, scope="col") for head in heads))),
        tag(
            "tbody",
            *(tag("tr", *(tag("td", c) for c in row)) for row in zip(*columns, strict=True)),
        ),
        class_="readings",
    )
    return _scrolling(table, "Readings")


def _facts(values: dict[str, Any]) -> Markup:
    """Return the plain values of an input by name; lists and absent values are left out."""
    rows = [
        tag("tr", tag("th", name.replace("_", " "), scope="row"), tag("td", _fact(value)))
        for name, value in values.items()
        if isinstance(value, str | int | float)
    ]
    return tag("table", tag("tbody", *rows)) if rows else Markup("")


def _fact(value: str | float) -> str:
    return value if isinstance(value, str) else plain(float(value), 6)
