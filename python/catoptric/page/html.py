"""The page of a judgement: what stands on it and in which order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from .._core import __version__
from . import pictures
from ._record import GainLike, JudgementLike, LadderLike, NumberLike, RowLike, chosen
from .markup import Markup, items, join, paragraph, tag
from .numbers import gain, measured, parts, plain
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
    page = tag("html", head, tag("body", body, class_="catoptric"), lang="en")
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
        _what_to_do(build, record),
        _refigure(build, refigure, drawn),
        _pictures(build, record, drawn),
        build.section("next", "What to measure next", items(record.next, ordered=True)),
        _why(build, record),
        _cautions(build, record),
        _inputs(build, record, drawn),
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

    def figure(self, picture: Picture) -> Markup:
        notes = [tag("span", note, class_="note") for note in picture.notes]
        caption = tag("figcaption", tag("strong", picture.title, class_="part"), *notes)
        return tag("figure", caption, picture.svg)


def _subject(record: JudgementLike) -> str:
    primary = record.train.primary
    return f"a {plain(primary.clear_aperture_mm)} mm f/{record.train.focal_ratio:.1f} mirror"


def _basis(record: JudgementLike) -> str:
    return (
        f"All Strehl ratios, contrasts and stars are for {plain(record.wavelength_nm)} nm at the "
        f"focus named {record.focus}, with an obstruction of {plain(record.obstruction_ratio)} by "
        "diameter. Values in brackets are intervals of 95 %."
    )


def _numbers(numbers: Sequence[NumberLike]) -> Markup:
    return tag("dl", *(_number(number) for number in numbers), class_="numbers")


def _number(number: NumberLike) -> Markup:
    value, low, high = parts(number.value, number.low, number.high)
    unit = tag("small", f" {number.unit}") if number.unit else Markup("")
    reach = Markup("")
    if number.high > number.low:
        share = (number.value - number.low) / (number.high - number.low)
        reach = tag("dd", low, " to ", _strip(share), high, class_="reach")
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


def _what_to_do(build: _Sections, record: JudgementLike) -> Markup:
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
        build.part("How to read it", items(filter(None, rules))),
        build.part("Left out", items(ladder.left_out)),
    )


def _ladder_table(ladder: LadderLike) -> Markup:
    names = [got.name for got in ladder.rows[0].gains]
    price = f"price ({ladder.currency})" if ladder.currency else "price"
    heads = ["work", price, *names, "remarks"]
    head = tag("tr", *(tag("th", name, scope="col", role="columnheader") for name in heads), role="row")
    body = [_ladder_row(row, price, ladder.currency) for row in ladder.rows]
    caption = tag(
        "caption",
        "Gain of each work with its interval of 95 %, below it before and after, and the gain for "
        "each unit of price.",
    )
    # Roles are named because a phone stacks the cells, which would take their meaning away.
    table = tag(
        "table",
        caption,
        tag("thead", head, role="rowgroup"),
        tag("tbody", *body, role="rowgroup"),
        class_="ladder",
        role="table",
    )
    return tag("div", table, class_="scroll", tabindex="0", role="region", aria_label="Works compared")


def _ladder_row(row: RowLike, price: str, currency: str) -> Markup:
    name = tag("th", row.name, scope="row", role="rowheader")
    cost = tag(
        "td", tag("span", plain(row.price, 6), class_="main"), data_label=price, role="cell"
    )
    remarks = [tag("span", text, class_="flag") for text in _flags(row)]
    if row.words:
        remarks.append(tag("span", row.words, class_="more"))
    weak = "weak" if row.no_proven_gain or row.dominated_by else None
    return tag(
        "tr",
        name,
        cost,
        *(_gain_cell(got, currency) for got in row.gains),
        tag("td", *remarks, data_label="remarks", role="cell"),
        class_=weak,
        role="row",
    )


def _gain_cell(got: GainLike, currency: str) -> Markup:
    lines = [tag("span", gain(got.gain, *got.gain_interval, got.unit), class_="main")]
    if not got.proven:
        lines.append(tag("span", "not proven", class_="more"))
    before = measured(got.before, *got.before_interval, got.unit)
    after = measured(got.after, *got.after_interval, got.unit)
    lines.append(tag("span", f"before {before}", class_="more"))
    lines.append(tag("span", f"after {after}", class_="more"))
    if got.gain_per_price is not None:
        lines.append(tag("span", f"{plain(got.gain_per_price, 2)} per {currency or 'price'}", class_="more"))
    return tag("td", *lines, data_label=got.name, role="cell")


def _flags(row: RowLike) -> list[str]:
    flags = []
    if row.no_proven_gain:
        flags.append("no proven gain")
    if row.dominated_by:
        flags.append(f"dominated by: {', '.join(row.dominated_by)}")
    if row.tied_with:
        flags.append(f"cannot be told from: {', '.join(row.tied_with)}")
    return flags


def _refigure(build: _Sections, verdict: Any, drawn: bool) -> Markup:
    if verdict is None:
        return Markup("")
    shown = build.figure(pictures.refigure_picture(verdict)) if drawn else Markup("")
    return build.section(
        "refigure",
        "The refigure, judged",
        paragraph(verdict.words),
        tag("div", shown, class_="pictures") if shown else Markup(""),
        items(verdict.reasons),
        items(verdict.cautions),
    )


def _pictures(build: _Sections, record: JudgementLike, drawn: bool) -> Markup:
    if not drawn:
        note = "Pictures need matplotlib, which is not installed: pip install catoptric[plot]"
        return build.section("pictures", "Pictures", paragraph(note, "note"))
    figures = [build.figure(picture) for picture in pictures.all_pictures(record)]
    return build.section("pictures", "Pictures", tag("div", *figures, class_="pictures"))


def _why(build: _Sections, record: JudgementLike) -> Markup:
    mask = record.mask
    about_mask = [] if mask is None else [str(mask.reason)]
    return build.section(
        "why",
        "Why, and what was assumed",
        build.part("Reasons", items(record.reasons)),
        build.part("The edge", items(record.edge)),
        build.part("The edge mask", items(filter(None, about_mask))),
        build.part("The coating", items(_words_of(record.coating))),
        build.part("Assumptions", items(record.assumptions)),
    )


def _words_of(result: Any) -> list[str]:
    words = getattr(result, "words", ())
    return [words] if isinstance(words, str) else list(words)


def _cautions(build: _Sections, record: JudgementLike) -> Markup:
    return build.section("cautions", "Cautions", items(record.cautions), class_="cautions")


def _inputs(build: _Sections, record: JudgementLike, drawn: bool) -> Markup:
    evidence = record.evidence
    readings = getattr(evidence, "readings", None)
    picture = pictures.readings_picture(record) if drawn else None
    shown = [_readings_table(readings)] if readings is not None else []
    if picture is not None:
        shown.append(tag("div", build.figure(picture), class_="pictures"))
    paper = getattr(evidence, "sheet", None) or getattr(evidence, "report", None)
    if paper is not None:
        shown.append(_facts(paper.to_dict()))
    return build.section(
        "inputs",
        "What went in",
        build.part("The telescope", tag("pre", tag("code", record.train.to_toml()), tabindex="0")),
        build.part("The evidence", join(shown)),
    )


def _readings_table(readings: Any) -> Markup:
    runs = np.asarray(readings.runs_mm)
    heads = ["inner radius (mm)", "outer radius (mm)"]
    heads += [f"run {number + 1} (mm)" for number in range(len(runs))]
    rows = [
        [plain(inner, 6), plain(outer, 6), *(_reading(value) for value in zone)]
        for inner, outer, zone in zip(
            np.asarray(readings.inner_radius_mm),
            np.asarray(readings.outer_radius_mm),
            runs.T,
            strict=True,
        )
    ]
    caption = (
        f"Knife-edge readings: {readings.source} source, readings increase "
        f"{readings.readings_increase.replace('_', ' ')}, radius of curvature "
        f"{plain(readings.radius_of_curvature_mm)} mm."
    )
    table = tag(
        "table",
        tag("caption", caption),
        tag("thead", tag("tr", *(tag("th", head, scope="col") for head in heads))),
        tag("tbody", *(tag("tr", *(tag("td", cell) for cell in row)) for row in rows)),
        class_="readings",
    )
    return tag("div", table, class_="scroll", tabindex="0", role="region", aria_label="Readings")


def _reading(value: float) -> str:
    return plain(float(value), 6) if np.isfinite(value) else "none"


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
