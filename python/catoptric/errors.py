"""What can go wrong, and how it is said."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["CatoptricError", "InputError", "NotConverged", "Problem"]

Severity = Literal["fault"] | Literal["warning"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, or odd, with an input.

    Units: the field's own, named in the field's name.

    >>> odd = Problem("warning", "primary.conic", "0.3", "usually -1.2 to 0", "a sign?")
    >>> assert str(odd) == "primary.conic = 0.3: usually -1.2 to 0 (a sign?)"
    """

    severity: Severity
    """`"fault"` forbids the work, `"warning"` only deserves a look."""
    field: str
    """Where: the path of the field, as `primary.coating.reflectance`."""
    value: str
    """The value found there, as text."""
    allowed: str
    """What is allowed there."""
    cause: str = ""
    """What most likely happened, or an empty text."""

    def __str__(self) -> str:
        said = f"{self.field} = {self.value}: {self.allowed}"
        return f"{said} ({self.cause})" if self.cause else said


class CatoptricError(Exception):
    """The base of every error that this package raises on purpose.

    >>> assert issubclass(InputError, CatoptricError)
    >>> assert issubclass(NotConverged, CatoptricError)
    """


class InputError(CatoptricError, ValueError):
    """Values that cannot be used; all that were found, not only the first.

    `field`, `value`, `allowed` and `cause` are those of the first problem.

    Errors: `ValueError` when it is made without any problem.

    >>> error = InputError.about("conic", "nan", "a finite number", "an empty cell?")
    >>> assert error.field == "conic" and len(error.problems) == 1
    >>> assert str(error) == "conic = nan: a finite number (an empty cell?)"
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        found = list(problems)
        if not found:
            raise ValueError("an InputError needs at least one problem")
        # The only argument is kept in `args`, from which pickle and copy make the error again.
        super().__init__(found)
        self.problems: list[Problem] = found

    @classmethod
    def about(cls, field: str, value: Any, allowed: str, cause: str = "") -> InputError:
        """Make the error for a single field.

        >>> assert InputError.about("runs", 0, "one or more").value == "0"
        """
        return cls([Problem("fault", field, str(value), allowed, cause)])

    @property
    def field(self) -> str:
        """The field of the first problem."""
        return self.problems[0].field

    @property
    def value(self) -> str:
        """The value of the first problem, as text."""
        return self.problems[0].value

    @property
    def allowed(self) -> str:
        """What is allowed for the first problem's field."""
        return self.problems[0].allowed

    @property
    def cause(self) -> str:
        """The likely cause of the first problem, or an empty text."""
        return self.problems[0].cause

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


class NotConverged(CatoptricError, RuntimeError):
    """An iteration that stopped before its accuracy was reached.

    Units: `reached` and `wanted` are both in the unit of the error estimate that `what` names.

    >>> error = NotConverged("focus of least RMS", 3e-5, 1e-6)
    >>> assert error.reached > error.wanted
    >>> assert str(error) == "focus of least RMS did not converge: reached 3e-05, wanted 1e-06"
    """

    def __init__(self, what: str, reached: float, wanted: float) -> None:
        super().__init__(what, reached, wanted)
        self.what = what
        self.reached = reached
        self.wanted = wanted

    def __str__(self) -> str:
        return f"{self.what} did not converge: reached {self.reached:.3g}, wanted {self.wanted:.3g}"
