"""The command `python -m catoptric`: a train and readings in, the page of their judgement out."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from .. import _core
from ..errors import InputError, NotConverged, Problem
from . import save_html
from .works_file import WorksFile, read_works

__all__ = ["main"]

WRITTEN, REFUSED, NOT_SETTLED, INTERRUPTED = 0, 2, 3, 130
"""Exit codes."""

PAGES = (".html", ".htm")
"""Endings of a page: no other file is ever written over."""

ABOUT = """\
Judge a Newtonian telescope from its sizes and knife-edge readings, and write one page: a verdict,
three numbers with their intervals, what each work would gain for its price, pictures, what to
measure next. The page opens in any browser and needs no network."""

NOTES = """\
exit codes: 0 the page is written; 2 something given cannot be used, the message says what;
3 a computation did not settle; 130 interrupted. Nothing but the page is ever written.
The results are advice for a decision, not a certificate."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit code; without arguments, those of the process."""
    given = _parser().parse_args(arguments)
    try:
        verdict, page = _judge(given)
    except _Refusal as refusal:
        for line in refusal.lines:
            print(f"error: {line}", file=sys.stderr)
        return REFUSED
    except NotConverged as unsettled:
        print(f"error: {_one_line(str(unsettled))}", file=sys.stderr)
        return NOT_SETTLED
    except KeyboardInterrupt:
        print("interrupted; no page was written", file=sys.stderr)
        return INTERRUPTED
    print(verdict)
    print(page)
    return WRITTEN


class _Refusal(Exception):
    """What is wrong, one line each, ready to be printed."""

    def __init__(self, *lines: str) -> None:
        super().__init__(*lines)
        self.lines = [_one_line(line) for line in lines]


def _judge(given: argparse.Namespace) -> tuple[str, Path]:
    """Read, judge and write; return the verdict's sentence and the page's path."""
    _check_page(given)
    train = _read(given.train, _core.Train.load)
    _warn(given.train, train.problems())
    readings = _readings(given, given.readings, train)
    after = None if given.after is None else _readings(given, given.after, train)
    works = WorksFile((), "")
    if given.works is not None:
        works = _read(given.works, lambda path: read_works(path, after=after))
    try:
        record = _core.judgement(train, readings, works.works, currency=works.currency)
        refigure = None
        if after is not None:
            refigure = _core.judge_refigure(before=readings, after=after, train=train)
    except InputError as error:
        raise _Refusal(*_lines("", error)) from None
    try:
        page = save_html(record, given.out, overwrite=given.force, refigure=refigure)
    except (OSError, ImportError) as error:
        raise _Refusal(_os_words(given.out, error)) from None
    return record.verdict, page


def _check_page(given: argparse.Namespace) -> None:
    """Refuse what would be found only after the work, or would write over something else."""
    page = Path(given.out)
    if page.suffix.lower() not in PAGES:
        raise _Refusal(f"--out = {page}: a name that ends in {' or '.join(PAGES)}")
    if page.is_dir():
        raise _Refusal(f"--out = {page}: the name of a file (this is a folder)")
    if not page.parent.is_dir():
        raise _Refusal(f"--out = {page}: a file in a folder that exists ({page.parent} does not)")
    if page.exists() and not given.force:
        raise _Refusal(f"--out = {page}: a new file (there is such a file; --force replaces it)")


def _readings(given: argparse.Namespace, path: str, train: Any) -> Any:
    """Return the readings of a file, taken of the train's primary."""

    def load(path: str) -> Any:
        return _core.KnifeEdgeReadings.from_csv(
            path,
            clear_aperture_mm=train.primary.clear_aperture_mm,
            radius_of_curvature_mm=train.primary.radius_of_curvature_mm,
            source=given.source,
            readings_increase=given.readings_increase,
        )

    readings = _read(path, load)
    _warn(path, readings.problems())
    return readings


def _read(path: str, load: Any) -> Any:
    try:
        return load(path)
    except InputError as error:
        raise _Refusal(*_lines(path, error)) from None
    except (OSError, UnicodeDecodeError) as error:
        raise _Refusal(_os_words(path, error)) from None


def _lines(path: str, error: InputError) -> list[str]:
    """Return one line a fault, each with the file it is in."""
    faults = [problem for problem in error.problems if problem.severity == "fault"]
    return [f"{path}: {problem}" if path else str(problem) for problem in faults or error.problems]


def _os_words(path: str, error: Exception) -> str:
    if isinstance(error, UnicodeDecodeError):
        return f"{path}: text in UTF-8 is needed (a spreadsheet's own file?)"
    if isinstance(error, OSError):
        # What the system says, without its number; some errors bring their own sentence.
        words = error.strerror or str(error).removeprefix(f"{path}: ")
        return f"{path}: {words.split(' (os error')[0]}"
    return str(error)


def _warn(path: str, problems: Sequence[Problem]) -> None:
    for problem in problems:
        print(f"warning: {path}: {_one_line(str(problem))}", file=sys.stderr)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m catoptric",
        description=ABOUT,
        epilog=NOTES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("train", metavar="TRAIN.toml", help="the telescope, .toml or .json")
    parser.add_argument(
        "readings",
        metavar="READINGS.csv",
        help="knife-edge readings: inner_radius_mm, outer_radius_mm, run_1_mm, ...",
    )
    parser.add_argument(
        "--source",
        required=True,
        choices=("moving", "fixed"),
        help="whether the light source moves with the knife",
    )
    parser.add_argument(
        "--readings-increase",
        required=True,
        choices=("away_from_mirror", "toward_mirror"),
        help="which way the scale counts",
    )
    parser.add_argument(
        "--works", metavar="WORKS.toml", help="works to compare, with their prices; see the README"
    )
    parser.add_argument(
        "--after",
        metavar="AFTER.csv",
        help="readings taken after a refigure, on the same bench: the refigure is judged as well",
    )
    parser.add_argument("--out", required=True, metavar="PAGE.html", help="the page to write")
    parser.add_argument("--force", action="store_true", help="replace a page that is there already")
    parser.add_argument("--version", action="version", version=f"catoptric {_core.__version__}")
    return parser
