"""The text and the notebook display: both say the same, and nothing in them is taken for markup."""

from html.parser import HTMLParser

import pytest
from catoptric import _display


class Reader(HTMLParser):
    """Collects what a browser would show, and the tags it would obey."""

    def __init__(self):
        super().__init__()
        self.shown, self.tags = [], []

    def handle_data(self, data):
        self.shown.append(data)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)


def read(html):
    reader = Reader()
    reader.feed(html)
    return reader


ROWS = [("rms_radius_um", "3.214"), ("focus_shift_mm", "-0.120")]


def test_text_is_one_line_when_it_fits():
    text = _display.text("Spot", ROWS)
    assert text == "Spot(rms_radius_um=3.214, focus_shift_mm=-0.120)"


def test_text_is_two_lines_of_like_length_when_it_does_not():
    rows = [(f"quantity_{number}_mm", "123.456") for number in range(8)]
    first, second = _display.text("Result", rows).splitlines()
    assert second.startswith(" " * len("Result("))
    assert abs(len(first) - len(second)) < 30
    assert (first + second).count("=123.456") == 8


def test_both_displays_show_the_same_names_and_values():
    reader = read(_display.html("Spot", ROWS))
    assert reader.shown == ["Spot", "rms_radius_um", "3.214", "focus_shift_mm", "-0.120"]


NASTY = "<script>alert('$x$ & \"y\"')</script>"


@pytest.mark.parametrize(
    "html",
    [
        _display.html(NASTY, [(NASTY, NASTY)]),
        _display.grid_html([NASTY], [[NASTY]], caption=NASTY, note=NASTY),
    ],
)
def test_nothing_shown_is_taken_for_markup(html):
    assert "$" not in html  # two of them would be typeset as a formula
    reader = read(html)
    assert "script" not in reader.tags
    assert set(reader.shown) == {NASTY}
    # MathJax reads the page after the entities are resolved; these classes keep it out.
    assert 'class="tex2jax_ignore mathjax_ignore"' in html


@pytest.mark.parametrize(
    ("value", "low", "high", "expected"),
    [
        (0.71382, 0.69663, 0.72541, "0.714 (0.697 to 0.725)"),
        (0.98811, 0.96403, 0.99504, "0.988 (0.964 to 0.995)"),
        (72.51, 61.0, 122.4, "73 (61 to 122)"),
        (1234.0, 800.0, 2100.0, "1230 (800 to 2100)"),
        (-0.0004, -0.031, 0.029, "0.000 (-0.031 to 0.029)"),
        (9.96, 9.1, 10.8, "9.96 (9.10 to 10.80)"),
    ],
)
def test_digits_follow_the_uncertainty(value, low, high, expected):
    assert _display.with_uncertainty(value, low, high) == expected


def test_an_interval_without_width_does_not_invent_digits():
    assert _display.with_uncertainty(0.5, 0.5, 0.5) == "0.5 (0.5 to 0.5)"
