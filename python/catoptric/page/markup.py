"""HTML, element by element: whatever is not already markup is escaped."""

from __future__ import annotations

from collections.abc import Iterable

from .._display import escape

__all__ = ["Markup", "items", "join", "paragraph", "tag"]

VOID = frozenset({"meta", "br", "hr", "link"})
"""Elements of the page that have no end."""


class Markup(str):
    """Text that is HTML already.

    >>> assert tag("b", Markup("<i>so</i>")) == "<b><i>so</i></b>"
    """

    __slots__ = ()


def tag(name: str, /, *inside: str, **attributes: str | None) -> Markup:
    """Return one element; plain text inside it and in its attributes is escaped.

    A trailing underscore of an attribute falls off, other underscores become hyphens; an
    attribute that is None is left out.

    >>> assert tag("p", "a < b", class_="note") == '<p class="note">a &lt; b</p>'
    >>> assert tag("td", "1", data_label='"x"') == '<td data-label="&quot;x&quot;">1</td>'
    """
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if name in VOID:
        return Markup(f"<{name}{written}>")
    return Markup(f"<{name}{written}>{join(inside)}</{name}>")


def join(pieces: Iterable[str]) -> Markup:
    """Return pieces of markup and text, one after the other, the text escaped.

    >>> assert join(["a & ", tag("b", "c")]) == "a &amp; <b>c</b>"
    """
    return Markup("".join(p if isinstance(p, Markup) else escape(p) for p in pieces))


def paragraph(text: str, class_: str | None = None) -> Markup:
    """Return a paragraph, or nothing for an empty text.

    >>> assert paragraph("") == ""
    """
    return tag("p", text, class_=class_) if text else Markup("")


def items(texts: Iterable[str], *, ordered: bool = False) -> Markup:
    """Return a list, or nothing if there is nothing to list.

    >>> assert items(["one"]) == "<ul><li>one</li></ul>" and items([]) == ""
    """
    entries = [tag("li", text) for text in texts]
    return tag("ol" if ordered else "ul", *entries) if entries else Markup("")
