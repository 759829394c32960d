"""Numbers and arrays from the caller: what is taken, what is refused, and in what words."""

from fractions import Fraction

import numpy as np
import pytest
from astropy import units as u
from catoptric._units import as_array, to_float
from catoptric.errors import InputError
from hypothesis import given
from hypothesis import strategies as st

NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    "value", [3, 3.0, np.float32(3), np.int16(3), np.array(3), np.array(3.0), Fraction(3)]
)
def test_plain_numbers_pass(value):
    result = to_float(value, "mm", "width_mm")
    assert result == 3.0
    assert type(result) is float


# The metric inch is 25.4 mm exactly (international yard and pound agreement, 1959; from memory);
# a turn has 360 * 60 arcminutes by definition.
@pytest.mark.parametrize(
    ("quantity", "unit", "expected"),
    [
        (12.5 * u.imperial.inch, "mm", 317.5),
        (1.558 * u.m, "mm", 1558.0),
        (0.55 * u.um, "nm", 550.0),
        (0.25 * u.deg, "arcmin", 15.0),
        (2.0 * u.arcmin, "arcsec", 120.0),
        (3.0 * u.mm, "um", 3000.0),
        (np.pi * u.rad, "deg", 180.0),
        (88.0 * u.percent, "", 0.88),
    ],
)
def test_quantities_are_converted_to_the_unit_of_the_name(quantity, unit, expected):
    assert to_float(quantity, unit, "name") == pytest.approx(expected, rel=1e-14)


@pytest.mark.parametrize(
    ("value", "cause"),
    [
        (NAN, "not a finite number"),
        (-INF, "not a finite number"),
        (10**400, "too large"),
        (1 + 0j, "a complex number"),
        (np.complex64(1), "a complex number"),
        (True, "true or false where a number is meant"),
        (np.bool_(False), "true or false where a number is meant"),
        ("3", "text where a number is meant"),
        (None, "a value left out?"),
        ([3.0], "a list where a single number is meant"),
        (np.array([3.0]), "a list where a single number is meant"),
        ({}, "a dict"),
    ],
)
def test_what_is_no_number_is_refused_by_name(value, cause):
    with pytest.raises(InputError) as caught:
        to_float(value, "mm", "width_mm")
    assert caught.value.field == "width_mm"
    assert caught.value.allowed == "one number in mm"
    assert caught.value.cause == cause


@pytest.mark.parametrize("wrong", [3.0 * u.s, 3.0 * u.deg, 3.0 * u.one])
def test_a_quantity_of_another_kind_is_refused(wrong):
    with pytest.raises(InputError, match="width_mm") as caught:
        to_float(wrong, "mm", "width_mm")
    assert caught.value.allowed == "a quantity that converts to mm"
    with pytest.raises(InputError):
        as_array(np.ones(3) * wrong.unit, "mm", "radius_mm", 1)


@pytest.mark.parametrize(
    "values",
    [
        [0, 5, 10],
        (0.0, 5.0, 10.0),
        np.array([0, 5, 10], dtype=np.float32),
        np.array([0, 5, 10], dtype=np.uint8),
        np.array([0, 5, 10], dtype=">f8"),
        np.array([0.0, 9.0, 5.0, 9.0, 10.0, 9.0])[::2],
        np.array([10.0, 5.0, 0.0])[::-1],
        range(0, 11, 5),
        np.ma.masked_invalid([0.0, 5.0, 10.0]),
        [0.0, 0.5, 1.0] * u.cm,
        [0.0 * u.mm, 0.5 * u.cm, 0.01 * u.m],
    ],
)
def test_arrays_of_all_kinds_pass(values):
    result = as_array(values, "mm", "radius_mm", 1)
    assert result.dtype == np.float64
    assert result.flags.c_contiguous
    assert result.tolist() == [0.0, 5.0, 10.0]


def test_columns_of_a_frame_pass():
    pandas = pytest.importorskip("pandas")
    frame = pandas.DataFrame({"radius_mm": [0, 5], "height_nm": [1.0, 2.0]})
    assert as_array(frame["radius_mm"], "mm", "radius_mm", 1).tolist() == [0.0, 5.0]
    assert as_array(frame, "", "table", 2).shape == (2, 2)


def test_a_transposed_table_keeps_its_meaning():
    runs = np.arange(6.0).reshape(2, 3)
    result = as_array(runs.T, "mm", "runs_mm", 2)
    assert result.flags.c_contiguous
    assert np.array_equal(result, runs.T)


@pytest.mark.parametrize(
    ("values", "ndim", "cause"),
    [
        ([1 + 0j, 2], 1, "complex numbers"),
        ([True, False], 1, "true or false where numbers are meant"),
        (["1", "2"], 1, "text where numbers are meant"),
        (b"12", 1, "text where numbers are meant"),
        ([1.0, None], 1, "a value left out?"),
        ([[1, 2], [3]], 2, "rows of unequal length?"),
        (5.0, 1, "a single number where a list is meant?"),
        ([[1.0, 2.0]], 1, ""),
        ([1.0, 2.0], 2, ""),
        (np.ma.masked_equal([1.0, 2.0], 2.0), 1, "missing readings?"),
    ],
)
def test_arrays_of_other_things_are_refused_by_name(values, ndim, cause):
    with pytest.raises(InputError) as caught:
        as_array(values, "mm", "radius_mm", ndim)
    assert caught.value.field == "radius_mm"
    assert "finite numbers in mm" in caught.value.allowed
    assert caught.value.cause == cause


def test_the_place_of_a_missing_reading_is_named():
    with pytest.raises(InputError) as caught:
        as_array([[1.0, 2.0], [3.0, NAN]], "mm", "runs_mm", 2)
    assert caught.value.field == "runs_mm[1, 1]"
    assert caught.value.value == "nan"


def test_a_long_value_is_shortened_in_the_message():
    with pytest.raises(InputError) as caught:
        to_float(list(range(1000)), "mm", "width_mm")
    assert len(caught.value.value) == 60
    assert caught.value.value.endswith("...")


@given(st.floats(allow_nan=False, allow_infinity=False, width=64))
def test_numbers_come_through_bit_for_bit(number):
    assert to_float(number, "mm", "x_mm").hex() == number.hex()
    assert as_array([number], "mm", "x_mm", 1)[0].hex() == number.hex()
