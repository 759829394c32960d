"""Works and their prices from a TOML file, for those who write no Python."""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from .. import _core
from ..errors import InputError

__all__ = ["WorksFile", "read_works"]


@dataclass(frozen=True, slots=True)
class WorksFile:
    """What a file of works holds."""

    works: tuple[Any, ...]
    currency: str
    """A word for the money, or an empty text."""


def read_works(path: str | os.PathLike[str], *, after: Any = None) -> WorksFile:
    """Return the works of a TOML file: one table `[[work]]` for each, told apart by its `kind`.

    `mask` has `diameter_mm`; `refigure` has `after = "perfect_paraboloid"`, `after_rms_nm = [low,
    high]` (a promised RMS of the wavefront at 550 nm) or neither, where `after` (readings taken
    after the refigure) stands for it, and may have `recoat_reflectance`; `recoat` has `mirror`
    (`"primary"`, `"diagonal"` or `"both"`) and `reflectance`; `change_diagonal` has
    `minor_axis_mm` and may have `reflectance`; `other` has `name` and `train`, the file of the
    changed train, looked for beside this one. Every work has a `price` and may have a `name`.
    Above the works there may be a `currency`.

    Units: mm; shares of the power; prices in any currency.
    Errors: `InputError` that names the table, its field, the value and what is allowed; `OSError`
    where a file cannot be read.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
        given = tomllib.loads(text)
    except UnicodeDecodeError:
        raise _fault("the whole text", "other bytes", "text in UTF-8", "a spreadsheet?") from None
    except tomllib.TOMLDecodeError as broken:
        raise _fault("the whole text", str(broken), "TOML", "a missing quote or bracket?") from None
    _only_known("", given, {"work", "currency"})
    currency, tables = given.get("currency", ""), given.get("work", [])
    if not isinstance(currency, str):
        raise _fault("currency", repr(currency), "a word in quotes")
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise _fault("work", repr(tables), "tables that begin with [[work]]", "single brackets?")
    if not tables:
        raise _fault("work", "none", "one table [[work]] or more")
    works = [_work(number, table, file.parent, after) for number, table in enumerate(tables)]
    return WorksFile(tuple(works), currency)


def _work(number: int, table: dict[str, Any], folder: Path, after: Any) -> Any:
    """Return the work of one table; `number` counts from 0, the message from 1."""
    here = f"work {number + 1}"
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in _KINDS:
        raise _fault(f"{here}: kind", repr(kind), f"one of {', '.join(_KINDS)}")
    required, optional = _KINDS[kind]
    _only_known(here, table, {"kind", "price", "name", *required, *optional})
    for field in ("price", *required):
        if field not in table:
            raise _fault(f"{here}: {field}", "none", f"needed for a work of kind {kind}")
    values = {field: value for field, value in table.items() if field != "kind"}
    if kind == "refigure":
        _complete_refigure(here, values, after)
    if kind == "other":
        values["train"] = _train(here, values["train"], folder)
    try:
        return getattr(_core.Work, kind)(**values)
    except InputError as error:
        raise _within(here, error) from None
    except TypeError as error:
        raise _fault(here, repr(values), str(error)) from None


def _complete_refigure(here: str, values: dict[str, Any], after: Any) -> None:
    """Put in the readings taken afterwards where the table promises nothing itself."""
    said = [field for field in ("after", "after_rms_nm") if field in values]
    if len(said) == 2:
        raise _fault(f"{here}: after_rms_nm", repr(values["after_rms_nm"]), "only one of the two")
    if "after" in values and values["after"] != "perfect_paraboloid":
        cause = "readings are given with --after, and the field is left out"
        raise _fault(f"{here}: after", repr(values["after"]), '"perfect_paraboloid"', cause)
    if not said and after is None:
        allowed = 'after = "perfect_paraboloid", after_rms_nm = [low, high], or readings (--after)'
        raise _fault(f"{here}: after", "none", allowed)
    if not said:
        values["after"] = after


def _train(here: str, name: Any, folder: Path) -> Any:
    if not isinstance(name, str):
        raise _fault(f"{here}: train", repr(name), "the name of a train's file, in quotes")
    try:
        return _core.Train.load(folder / name)
    except InputError as error:
        raise _within(f"{here}: train", error) from None


def _only_known(here: str, table: dict[str, Any], known: set[str]) -> None:
    for field, value in table.items():
        if field not in known:
            place = f"{here}: {field}" if here else field
            allowed = f"a known name: {', '.join(sorted(known))}"
            raise _fault(place, repr(value), allowed, "a slip of the pen?")


def _within(place: str, error: InputError) -> InputError:
    """Return the same faults with the place in the file before each field."""
    return InputError(
        replace(problem, field=f"{place}: {problem.field}") for problem in error.problems
    )


def _fault(field: str, value: str, allowed: str, cause: str = "") -> InputError:
    return InputError.about(field, value, allowed, cause)


_KINDS = {
    "mask": (("diameter_mm",), ()),
    "refigure": ((), ("after", "after_rms_nm", "recoat_reflectance")),
    "recoat": (("mirror", "reflectance"), ()),
    "change_diagonal": (("minor_axis_mm",), ("reflectance",)),
    "other": (("name", "train"), ()),
}
"""What a table of each kind must have, and may have, beside price and name."""
