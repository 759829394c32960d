"""Named columns of equal length: what a batch of results is handed out as."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from . import _display
from .errors import InputError, Problem

__all__ = ["Table"]

SHOWN_ROWS = 20
"""Rows shown by the text and notebook displays; a longer table says how many it leaves out."""

_COLUMN_KINDS = "biufUSMm"  # bool, numbers, text, dates; complex and object columns are refused
_Default = TypeVar("_Default")


class Table(dict[str, "npt.NDArray[Any]"]):
    """A dictionary of equally long, named, one-dimensional numpy columns.

    Because it is a `dict`, `pandas.DataFrame(table)`, `polars.DataFrame(table)` and
    `pyarrow.table(table)` take it as it is, and this package depends on none of them.

    Units: each column's own, in its name.
    Shapes: every column is 1-D, all of the same length.
    Errors: `InputError` for a column that is not 1-D, not of numbers, text or dates, or not as
    long as the others; all such columns are named at once.

    >>> table = Table({"radius_mm": [0, 5, 10], "relative": [1.0, 0.98, 0.93]})
    >>> assert table.rows == 3 and table["relative"].min() == 0.93
    >>> assert table == Table(table.to_dict())
    """

    def __init__(
        self, columns: Mapping[str, Any] | Iterable[tuple[str, Any]] = (), /, **more: Any
    ) -> None:
        super().__init__(_checked({**dict(columns), **more}, None))

    @property
    def rows(self) -> int:
        """The length of every column; 0 for a table without columns."""
        return next((len(column) for column in self.values()), 0)

    def to_dict(self) -> dict[str, list[Any]]:
        """Return the columns as plain lists of Python values, ready for JSON.

        >>> assert Table(a=[1, 2]).to_dict() == {"a": [1, 2]}
        """
        return {name: column.tolist() for name, column in self.items()}

    def copy(self) -> Table:
        """Return a table of the same columns; the columns themselves are shared.

        >>> table = Table(a=[1, 2])
        >>> assert table.copy() == table and table.copy() is not table
        """
        return Table(self)

    # Whatever puts a column in passes the same check, so that a Table is always a table.

    def __setitem__(self, name: str, column: Any) -> None:
        others = {key: value for key, value in self.items() if key != name}
        length = next((len(other) for other in others.values()), None)
        super().__setitem__(name, _checked({name: column}, length)[name])

    def update(self, *columns: Any, **more: Any) -> None:
        """Put in or replace several columns, all or none of them.

        >>> table = Table(a=[1, 2])
        >>> table.update(b=[3, 4])
        >>> assert list(table) == ["a", "b"]
        """
        super().update(Table({**self, **dict(*columns, **more)}))

    def setdefault(self, name: str, column: Any = None, /) -> npt.NDArray[Any]:
        """Return the column of this name, put in first if there is none.

        >>> assert Table(a=[1]).setdefault("b", [2]).tolist() == [2]
        """
        if name not in self:
            self[name] = column
        return self[name]

    def __or__(self, other: Mapping[str, Any]) -> Table:  # type: ignore[override]
        return Table({**self, **other})

    def __ror__(self, other: Mapping[str, Any]) -> Table:  # type: ignore[override]
        return Table({**other, **self})

    def __ior__(self, other: Any) -> Table:  # type: ignore[override,misc]
        self.update(other)
        return self

    # Equality of arrays is an array; that of tables is one truth, with NaN equal to NaN so that a
    # copy is always equal. `dict` brings its own `!=`, which has to be replaced as well.

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Table):
            # A plain dict would compare arrays by their truth, which they do not have.
            return False if isinstance(other, dict) else NotImplemented
        return self.keys() == other.keys() and all(
            _same_column(column, other[name]) for name, column in self.items()
        )

    def __ne__(self, other: object) -> bool:
        return not self == other

    __hash__ = None

    def __repr__(self) -> str:
        if not self:
            return "Table(no columns)"
        return _display.grid_text(list(self), self._cells(), note=self._note())

    def _repr_html_(self) -> str:
        return _display.grid_html(list(self), self._cells(), note=self._note())

    def _cells(self) -> list[list[str]]:
        """Return the shown rows as text, the numbers of a column with the same decimals."""
        columns = [_column_texts(column[:SHOWN_ROWS]) for column in self.values()]
        return [list(row) for row in zip(*columns, strict=True)]

    def _note(self) -> str:
        hidden = self.rows - SHOWN_ROWS
        if hidden <= 0:
            return ""
        return f"... and {hidden} more row{'' if hidden == 1 else 's'} of {self.rows}"


def _checked(columns: Mapping[Any, Any], length: int | None) -> dict[str, npt.NDArray[Any]]:
    """Return the columns as arrays, or raise one InputError that names every bad one."""
    checked: dict[str, npt.NDArray[Any]] = {}
    problems: list[Problem] = []
    for name, values in columns.items():
        if not isinstance(name, str):
            problems.append(Problem("fault", repr(name), type(name).__name__, "a column's name"))
            continue
        try:
            column = np.asarray(values)
        except ValueError:  # numpy's answer to lists of unequal length
            problems.append(_not_a_column(name, "a ragged list"))
            continue
        if column.ndim != 1:
            problems.append(_not_a_column(name, f"{column.ndim} dimensions"))
        elif column.dtype.kind not in _COLUMN_KINDS:
            allowed = "a column of numbers, text or dates"
            cause = "an empty cell, or things of several kinds?"
            problems.append(Problem("fault", name, f"type {column.dtype}", allowed, cause))
        elif length is not None and len(column) != length:
            allowed = f"{length} rows, as the columns before it"
            problems.append(Problem("fault", name, f"{len(column)} rows", allowed))
        else:
            length = len(column)
            checked[name] = column
    if problems:
        raise InputError(problems)
    return checked


def _not_a_column(name: str, value: str) -> Problem:
    return Problem("fault", name, value, "a one-dimensional column")


def _same_column(one: npt.NDArray[Any], other: npt.NDArray[Any]) -> bool:
    if one.dtype.kind == "f" or other.dtype.kind == "f":
        try:
            return np.array_equal(one, other, equal_nan=True)
        except TypeError:  # a column of numbers against one of text
            return False
    return np.array_equal(one, other)


def _column_texts(column: npt.NDArray[Any]) -> list[str]:
    if column.dtype.kind != "f":
        return [str(value) for value in column]
    finite = column[np.isfinite(column)]
    largest = float(np.max(np.abs(finite), initial=0.0))
    if largest != 0.0 and not 1e-4 <= largest < 1e7:
        return [f"{value:.5g}" for value in column]
    # Six figures of the column's largest value, without the zeros that all its rows end in.
    decimals = 6 if largest == 0.0 else max(0, min(9, _display.decimals_for(largest, 6)))
    texts = [f"{value:.{decimals}f}" for value in column]
    while decimals > 0 and all(
        written.endswith("0")
        for written, value in zip(texts, column, strict=True)
        if np.isfinite(value)
    ):
        decimals -= 1
        texts = [f"{value:.{decimals}f}" for value in column]
    return texts
