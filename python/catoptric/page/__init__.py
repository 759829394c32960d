"""The judgement of a train as one page: for a notebook, for a browser, for paper.

Everything on the page comes from the judgement: its numbers, its sentences, and pictures of its
own trains and evidence. The file needs nothing else, no network and no script.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from ._record import JudgementLike
from .html import fragment, whole_page

__all__ = ["display", "save_html", "to_html"]


def display(record: JudgementLike, *, refigure: Any = None) -> str:
    """Return the judgement as one element for a notebook.

    Without matplotlib it has no pictures and says so.
    """
    return fragment(record, refigure)


def to_html(record: JudgementLike, *, refigure: Any = None) -> str:
    """Return the judgement as one HTML document that needs no other file.

    `refigure` is the `Verdict` of a refigure that is shown as well. The same record gives the
    same text, byte by byte, on one machine.

    Errors: `ImportError` that says what to install, if matplotlib is missing.
    Leaves out: text of pictures is drawn as outlines and cannot be searched; each picture has a
    description in words.
    """
    return whole_page(record, refigure)


def save_html(
    record: JudgementLike,
    path: str | os.PathLike[str],
    *,
    overwrite: bool = False,
    refigure: Any = None,
) -> Path:
    """Write the judgement to a file and return its path.

    Errors: `FileExistsError` if there is such a file and `overwrite` is not set, other `OSError`
    where it cannot be written; `ImportError` if matplotlib is missing. Nothing is left half
    written where the page itself cannot be made.
    """
    file = Path(path)
    if file.exists() and not overwrite:
        raise FileExistsError(f"{file}: there is such a file already; overwrite=True replaces it")
    text = to_html(record, refigure=refigure)
    with file.open("w" if overwrite else "x", encoding="utf-8", newline="\n") as page:
        page.write(text)
    return file
