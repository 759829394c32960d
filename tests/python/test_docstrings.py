"""The help of the compiled classes: each says what it is, and its examples hold."""

import doctest
import inspect

import catoptric as ct
import matplotlib.pyplot as plt
import numpy as np
import pytest
from catoptric import _core

PUBLIC = {name: getattr(_core, name) for name in _core.__all__ if callable(getattr(_core, name))}
CLASSES = {name: thing for name, thing in PUBLIC.items() if inspect.isclass(thing)}


def examples(name):
    """Return the examples of a function, or of a class and all its methods."""
    finder = doctest.DocTestFinder(exclude_empty=True)
    # The classes call themselves members of the package: `module=False` looks at them all the same.
    return finder.find(PUBLIC[name], name, module=False, globs={"ct": ct, "np": np})


def members():
    for name, cls in CLASSES.items():
        for member in vars(cls):
            if not member.startswith("_"):
                yield pytest.param(getattr(cls, member), id=f"{name}.{member}")


@pytest.fixture(autouse=True)
def no_figure_left_open():
    yield
    plt.close("all")


@pytest.mark.parametrize("name", PUBLIC)
def test_examples_hold(name):
    runner = doctest.DocTestRunner()
    for example in examples(name):
        runner.run(example)
    assert runner.failures == 0
    assert runner.tries > 0, f"{name} has no example"


@pytest.mark.parametrize("name", PUBLIC)
def test_examples_assert_something(name):
    for test in examples(name):
        if test.examples:
            assert any(e.source.startswith("assert ") for e in test.examples), test.name


@pytest.mark.parametrize("member", [*members()])
def test_every_member_says_what_it_is(member):
    text = inspect.getdoc(member)
    assert text is not None
    first = text.splitlines()[0]
    assert first[0].isupper() or first.startswith('"')
    assert len(first) > 5


@pytest.mark.parametrize("name", CLASSES)
def test_every_method_has_an_example(name):
    shown = {test.name for test in examples(name) if test.examples}
    for member, value in vars(CLASSES[name]).items():
        if not member.startswith("_") and inspect.isroutine(value):
            assert f"{name}.{member}" in shown


# What makes a class or a function impossible to use rightly is missing from its help: units for
# lengths, and what is raised.


@pytest.mark.parametrize("name", PUBLIC)
def test_help_names_units_and_errors(name):
    text = inspect.getdoc(PUBLIC[name])
    assert "Units:" in text or name in {"Train", "inches"}
    assert "Errors:" in text
