"""The examples in the docstrings of the Python modules hold."""

import doctest
import importlib
import pkgutil

import catoptric
import matplotlib.pyplot as plt
import numpy as np
import pytest

# The compiled module has a test of its own, test_docstrings.py.
MODULES = [
    "catoptric",
    *(
        module.name
        for module in pkgutil.walk_packages(catoptric.__path__, "catoptric.")
        if module.name != "catoptric._core"
    ),
]
KNOWN = {"ct": catoptric, "np": np}


@pytest.mark.parametrize("name", MODULES)
def test_examples_hold(name):
    runner = doctest.DocTestRunner()
    for test in doctest.DocTestFinder().find(importlib.import_module(name), extraglobs=KNOWN):
        runner.run(test)
        plt.close("all")
    assert runner.summarize(verbose=False).failed == 0


def test_there_are_examples():
    modules = [importlib.import_module(name) for name in MODULES]
    tried = sum(len(test.examples) for m in modules for test in doctest.DocTestFinder().find(m))
    assert tried > 20
