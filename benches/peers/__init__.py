"""Peers: what a good user of numpy, scipy or numba would write, one theme a file.

Each theme has a function `rows()` that returns its rows (see `measure.py`). A row is one question
that the library and its peers answer from the same inputs.
"""
