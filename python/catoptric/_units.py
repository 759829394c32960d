"""Numbers and arrays as they come from a caller, made ready for the compiled core.

Every numeric argument of the package passes one of the three functions here first.
"""

from __future__ import annotations

import math
import sys
from numbers import Real
from typing import Any, NoReturn

import numpy as np
import numpy.typing as npt

from .errors import InputError


def to_float(value: Any, unit: str, name: str) -> float:
    """Return one finite number, in the unit that the argument's name carries.

    Plain numbers are taken to be in that unit already; an astropy Quantity is converted.

    Units: `unit` as `"mm"`, `"um"`, `"nm"`, `"arcmin"`, `"arcsec"`, `"deg"`, `""` for none.
    Errors: `InputError` for text, truth values, complex numbers, arrays, NaN, infinity and
    quantities of another kind.

    >>> import numpy as np
    >>> assert to_float(np.float32(1.5), "mm", "width_mm") == 1.5
    """
    value = _in_unit(value, unit, name)
    number = _plain_number(value)
    if number is None:
        _refuse(name, value, _one_number(unit), _likely_cause(value))
    try:
        result = float(number)
    except OverflowError:
        _refuse(name, value, _one_number(unit), "too large")
    if not math.isfinite(result):
        _refuse(name, value, _one_number(unit), "not a finite number")
    return result


def as_array(
    value: Any, unit: str, name: str, ndim: int, may_miss: bool = False
) -> npt.NDArray[np.float64]:
    """Return a C-ordered array of finite numbers, in the unit that the argument's name carries.

    Lists, tuples, strided views, integers, narrower floats, columns of data frames and astropy
    Quantities are taken; what is already C-ordered float64 is returned without copying. With
    `may_miss`, masked entries become NaN, and NaN and infinity pass: the core says what they mean.

    Units: as for `to_float`.
    Shapes: `ndim` dimensions, any lengths.
    Errors: `InputError` for text, truth values, complex numbers, masked or missing entries, NaN,
    infinity, ragged lists, a wrong number of dimensions and quantities of another kind.

    >>> assert as_array([1, 2], "mm", "radius_mm", 1).tolist() == [1.0, 2.0]
    """
    value = _in_unit(value, unit, name)
    allowed = _numbers(ndim, unit)
    if may_miss and np.ma.is_masked(value) and value.dtype.kind in "iuf":
        value = np.ma.filled(value.astype(np.float64), np.nan)
    if np.ma.is_masked(value):
        _refuse(name, "masked entries", allowed, "missing readings?")
    try:
        array = np.asarray(value)
    except ValueError:  # numpy's answer to rows of unequal length
        _refuse(name, value, allowed, "rows of unequal length?")
    except TypeError as error:
        _refuse(name, value, allowed, str(error))
    if array.dtype.kind not in "iuf" and array.size > 0:
        _refuse(name, value, allowed, _array_cause(array))
    if array.ndim != ndim:
        cause = "a single number where a list is meant?" if array.ndim == 0 else ""
        _refuse(name, f"{array.ndim} dimensions", allowed, cause)
    # A value beyond float64 becomes infinite here and is refused below.
    with np.errstate(over="ignore"):
        result = np.ascontiguousarray(array, dtype=np.float64)
    if may_miss:
        return result
    bad = np.argwhere(~np.isfinite(result))
    if len(bad):
        place = ", ".join(str(index) for index in bad[0])
        _refuse(f"{name}[{place}]", array[tuple(bad[0])], "a finite number", "an empty cell?")
    return result


def as_readings(value: Any, unit: str, name: str) -> npt.NDArray[np.float64]:
    """Return a C-ordered table of readings: a row a run, NaN where a reading was not taken.

    None, NaN and masked entries are missing readings; the caller's array is never changed.

    Units: as for `to_float`.
    Shapes: one or two dimensions in (one list is one run), two out.
    Errors: those of `as_array`, but for what is missing.

    >>> table = as_readings([[1, None], [2.5, 3]], "mm", "runs_mm")
    >>> assert np.isnan(table[0, 1]) and table[1].tolist() == [2.5, 3.0]
    """
    value = _in_unit(value, unit, name)
    if np.ma.is_masked(value):
        mask, value = np.ma.getmaskarray(value), np.ma.getdata(value).astype(object)
        value[mask] = None
    try:
        array = np.asarray(value)
    except ValueError:  # rows of unequal length
        cause = "rows of unequal length? Put None where a reading is missing"
        _refuse(name, value, _numbers(2, unit), cause)
    if array.ndim not in (1, 2):
        return as_array(value, unit, name, 2)
    missing = np.frompyfunc(_is_missing, 1, 1)(array).astype(bool)
    if not missing.any():
        return np.atleast_2d(as_array(array, unit, name, array.ndim))
    filled = array.astype(object)
    filled[missing] = 0.0
    table = as_array(filled.tolist(), unit, name, array.ndim)
    table[missing] = np.nan
    return np.atleast_2d(table)


def _is_missing(item: Any) -> bool:
    return item is None or (isinstance(item, Real) and math.isnan(item))


def _in_unit(value: Any, unit: str, name: str) -> Any:
    """Return the plain value of an astropy Quantity, or of a list of them; else `value` itself."""
    units = sys.modules.get("astropy.units")
    if units is None:  # nobody can hold a Quantity before this module is loaded
        return value
    held = isinstance(value, (list, tuple)) and any(
        isinstance(item, units.Quantity) for item in value
    )
    if not held and not isinstance(value, units.Quantity):
        return value
    try:
        return units.Quantity(value).to_value(unit)
    except (units.UnitConversionError, TypeError) as error:
        raise InputError.about(
            name, value, f"a quantity that converts to {unit or 'a plain number'}", str(error)
        ) from error


def _plain_number(value: Any) -> Real | None:
    """Return a real number if `value` is one, also as an array without dimensions."""
    if isinstance(value, np.ndarray) and value.ndim == 0:
        value = value[()]
    if isinstance(value, (bool, np.bool_)) or not isinstance(value, Real):
        return None
    return value


def _one_number(unit: str) -> str:
    return f"one number in {unit}" if unit else "one number"


def _numbers(ndim: int, unit: str) -> str:
    shape = {1: "a list", 2: "a table (rows of equal length)"}.get(ndim, f"{ndim} dimensions")
    return f"{shape} of finite numbers" + (f" in {unit}" if unit else "")


def _likely_cause(value: Any) -> str:
    if value is None:
        return "a value left out?"
    if isinstance(value, str):
        return "text where a number is meant"
    if isinstance(value, (bool, np.bool_)):
        return "true or false where a number is meant"
    if isinstance(value, (complex, np.complexfloating)):
        return "a complex number"
    if isinstance(value, (list, tuple, np.ndarray)):
        return "a list where a single number is meant"
    return f"a {type(value).__name__}"


def _array_cause(array: npt.NDArray[Any]) -> str:
    kinds = {
        "b": "true or false where numbers are meant",
        "c": "complex numbers",
        "U": "text where numbers are meant",
        "S": "text where numbers are meant",
    }
    if array.dtype.kind == "O":
        odd = next((item for item in array.flat if _plain_number(item) is None), None)
        return _likely_cause(odd)
    return kinds.get(array.dtype.kind, f"numbers of type {array.dtype}")


def _refuse(name: str, value: Any, allowed: str, cause: str) -> NoReturn:
    shown = " ".join(str(value).split())
    if len(shown) > 60:
        shown = f"{shown[:57]}..."
    raise InputError.about(name, shown, allowed, cause)
