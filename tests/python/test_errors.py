"""The errors: what they are caught as, what they carry, and that they travel between processes."""

import copy
import pickle

import pytest
from catoptric.errors import CatoptricError, InputError, NotConverged, Problem

CONIC = Problem("fault", "primary.conic", "nan", "a finite number", "an empty cell?")
WIDTH = Problem("fault", "edge.width_mm", "-2", "a length above 0")


def test_a_problem_says_field_value_allowed_and_cause():
    assert str(CONIC) == "primary.conic = nan: a finite number (an empty cell?)"
    assert str(WIDTH) == "edge.width_mm = -2: a length above 0"


def test_a_problem_cannot_be_changed():
    with pytest.raises(AttributeError):
        CONIC.field = "conic"


def test_an_input_error_holds_all_problems_and_shows_the_first():
    error = InputError([CONIC, WIDTH])
    assert error.problems == [CONIC, WIDTH]
    assert (error.field, error.value) == ("primary.conic", "nan")
    assert (error.allowed, error.cause) == ("a finite number", "an empty cell?")
    assert str(error).splitlines() == [str(CONIC), str(WIDTH)]


def test_an_input_error_needs_a_problem():
    with pytest.raises(ValueError, match="at least one problem"):
        InputError([])


@pytest.mark.parametrize(
    ("error", "also"),
    [(InputError([CONIC]), ValueError), (NotConverged("least RMS", 3e-5, 1e-6), RuntimeError)],
)
def test_errors_are_caught_by_the_base_and_by_the_builtin(error, also):
    assert isinstance(error, CatoptricError)
    assert isinstance(error, also)


def test_not_converged_says_how_far_it_came():
    error = NotConverged("least RMS", 3e-5, 1e-6)
    assert (error.what, error.reached, error.wanted) == ("least RMS", 3e-5, 1e-6)
    assert str(error) == "least RMS did not converge: reached 3e-05, wanted 1e-06"


@pytest.mark.parametrize(
    "travel", [copy.copy, copy.deepcopy, lambda e: pickle.loads(pickle.dumps(e))]
)
def test_errors_survive_copying_and_pickling(travel):
    two = travel(InputError([CONIC, WIDTH]))
    assert two.problems == [CONIC, WIDTH]
    assert str(two) == str(InputError([CONIC, WIDTH]))
    stopped = travel(NotConverged("least RMS", 3e-5, 1e-6))
    assert (stopped.what, stopped.reached, stopped.wanted) == ("least RMS", 3e-5, 1e-6)
