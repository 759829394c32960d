"""Table: a dict that is always rectangular, and that other libraries take as it is."""

import copy
import json
import pickle

import numpy as np
import pytest
from catoptric.errors import InputError
from catoptric.table import Table


@pytest.fixture
def table():
    return Table(
        {"minor_axis_mm": [63.5, 70.0, 79.4], "relative": [0.91, np.nan, 1.0], "fits": [1, 2, 3]},
        stopped_by=["drawtube", "diagonal", "nothing"],
    )


def test_columns_are_arrays_of_one_length(table):
    assert table.rows == 3
    assert list(table) == ["minor_axis_mm", "relative", "fits", "stopped_by"]
    assert all(isinstance(column, np.ndarray) for column in table.values())


def test_an_empty_table_has_no_rows():
    assert Table().rows == 0
    assert repr(Table()) == "Table(no columns)"
    assert Table(a=[]).rows == 0


def test_all_bad_columns_are_named_at_once():
    with pytest.raises(InputError) as caught:
        Table(a=[1, 2], short=[1], flat=[[1, 2]], odd=[1, None], wavy=[1j, 2], ragged=[[1], [2, 3]])
    fields = [problem.field for problem in caught.value.problems]
    assert fields == ["short", "flat", "odd", "wavy", "ragged"]
    assert caught.value.value == "1 rows"
    assert caught.value.allowed == "2 rows, as the columns before it"


@pytest.mark.parametrize(
    "spoil",
    [
        lambda t: t.__setitem__("new", [1, 2]),
        lambda t: t.update(new=[1, 2]),
        lambda t: t.setdefault("new", [1, 2]),
        lambda t: t | {"new": [1, 2]},
        lambda t: {"new": [1, 2]} | t,
        lambda t: t.__ior__({"new": [1, 2]}),
        lambda t: t.update({"fits": [0, 0, 0], "new": [1, 2]}),
    ],
)
def test_no_door_lets_a_column_of_another_length_in(table, spoil):
    before = copy.deepcopy(table)
    with pytest.raises(InputError, match="rows, as the columns before it"):
        spoil(table)
    assert table == before


def test_columns_can_be_added_and_replaced(table):
    table["fits"] = [4, 5, 6]
    table |= {"price": [35.0, 40.0, 55.0]}
    assert isinstance(table, Table)
    assert isinstance(table | {"fits": [0, 0, 0]}, Table)
    assert table["fits"].tolist() == [4, 5, 6]
    one = Table(a=[1])
    one["a"] = [1, 2, 3]  # the only column may change its length
    assert one.rows == 3


def test_equality_is_one_truth(table):
    same = Table(dict(reversed(table.items())))  # the order of columns is not their content
    assert table == same
    assert (table != same) is False
    for name, column in [("fits", [1, 2, 4]), ("fits", ["1", "2", "3"]), ("other", [1, 2, 3])]:
        assert table != table | {name: column}
    assert table != dict(table)
    assert dict(table) != table
    assert table != 3


@pytest.mark.parametrize(
    "travel", [copy.copy, copy.deepcopy, Table.copy, lambda t: pickle.loads(pickle.dumps(t))]
)
def test_copies_are_equal_tables(table, travel):
    other = travel(table)
    assert type(other) is Table
    assert other == table
    assert list(other) == list(table)


def test_to_dict_is_ready_for_json(table):
    table["relative"] = [0.91, 0.95, 1.0]
    assert Table(json.loads(json.dumps(table.to_dict()))) == table


def test_a_frame_is_made_without_help(table):
    pandas = pytest.importorskip("pandas")
    frame = pandas.DataFrame(table)
    assert list(frame.columns) == list(table)
    assert len(frame) == 3
    for name, column in table.items():
        assert np.array_equal(
            frame[name].to_numpy().astype(column.dtype), column, equal_nan=column.dtype.kind == "f"
        )


def test_text_is_aligned_and_keeps_the_digits(table):
    lines = repr(table).splitlines()
    assert len({len(line) for line in lines}) == 1
    assert lines[0].split() == ["minor_axis_mm", "relative", "fits", "stopped_by"]
    assert lines[2].split() == ["70.0", "nan", "2", "diagonal"]


def test_a_long_table_says_how_much_is_hidden():
    long = Table(radius_mm=np.arange(50.0))
    lines = repr(long).splitlines()
    assert len(lines) == 22
    assert lines[-1] == "... and 30 more rows of 50"
    assert long._repr_html_().count("<tr>") == 22
    assert "30 more rows" in long._repr_html_()
    assert "more" not in repr(Table(radius_mm=np.arange(20.0)))


def test_html_escapes_names_and_cells():
    html = Table({"price_$ <b>": ["a & b"]})._repr_html_()
    assert "price_&#36; &lt;b&gt;" in html
    assert "a &amp; b" in html
    assert "$" not in html


@pytest.mark.parametrize(
    ("values", "shown"),
    [
        ([0.5, 0.25], ["0.50", "0.25"]),
        ([0.0, 0.0], ["0", "0"]),
        ([1e-9, 2e-9], ["1e-09", "2e-09"]),
        ([1e12, 1.0], ["1e+12", "1"]),
        ([1558.0, 1557.123456], ["1558.00", "1557.12"]),
        ([np.inf, np.nan], ["inf", "nan"]),
    ],
)
def test_numbers_of_one_column_share_their_decimals(values, shown):
    assert [line.strip() for line in repr(Table(a=values)).splitlines()[1:]] == shown
