"""The page of a judgement: it needs nothing else, says what the record says, and can be read."""

import builtins
import copy
import functools
import itertools
import math
import re
from html.parser import HTMLParser
from types import SimpleNamespace

import catoptric as ct
import matplotlib as mpl
import numpy as np
import page_twin
import pytest
from catoptric import page
from catoptric.page import html, numbers, style, svg
from page_twin import HOSTILE

mpl.use("Agg")  # the tests' own choice; the package never makes it

import matplotlib.pyplot as plt

VOID = {"meta", "br", "hr", "link", "img", "input"}


@functools.cache
def a_record():
    return page_twin.judgement()


def small(**changes):
    """Return a record without works, of a perfect mirror: its page is soon drawn."""
    return a_record().but(**{"ladder": None, "train_now": a_record().train} | changes)


@functools.cache
def a_page():
    return page.to_html(a_record(), refigure=page_twin.verdict())


@functools.cache
def a_hostile_page():
    return page.to_html(page_twin.hostile())


class Reader(HTMLParser):
    """Follows tags from opening to end and keeps what is shown outside of pictures."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.faults, self.starts, self.shown = [], [], [], []
        self.text_of = {}
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.starts.append((tag, dict(attrs)))
        if len({name for name, _ in attrs}) < len(attrs):
            self.faults.append(f"an attribute twice on {tag}")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.starts.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> within {self.open[-3:]}")
        else:
            self.open.pop()

    def handle_data(self, data):
        if not {"svg", "style"} & set(self.open):
            self.shown.append(data)
            if self.open:
                tag = self.open[-1]
                self.text_of.setdefault(tag, []).append(data)

    def all(self, tag):
        return [attrs for name, attrs in self.starts if name == tag]


# What the file is.


@pytest.mark.parametrize("text", [a_page, a_hostile_page])
def test_every_element_is_closed_where_it_should_be(text):
    reader = Reader(text())
    assert reader.faults == []
    assert reader.open == []


@pytest.mark.parametrize("text", [a_page, a_hostile_page])
def test_the_page_needs_no_other_file_and_no_script(text):
    reader = Reader(text())
    names = {tag for tag, _ in reader.starts}
    assert not names & {"script", "link", "img", "iframe", "object", "embed", "base", "form"}
    for tag, attrs in reader.starts:
        for name, value in attrs.items():
            assert not name.startswith("on"), (tag, name)
            if name in {"href", "src", "srcset", "action", "data", "poster"}:
                assert value.startswith(("#", "data:image/png;base64,")), (tag, value[:60])
            elif name == "style":
                assert not re.search(r"url\((?!#)", value), value
    outside = re.sub(r"data:image/png;base64,[A-Za-z0-9+/=\s]+", "", text())
    assert "http" not in outside
    assert not re.search(r"@import|url\((?!#)", outside)


def test_the_reader_would_see_a_foreign_address():
    """The checks above can fail."""
    reader = Reader('<p><img src="https://a.example/x.png"><b></p>')
    assert reader.faults
    assert reader.all("img")[0]["src"].startswith("https")


def test_names_inside_the_page_are_unique_and_links_lead_somewhere():
    reader = Reader(a_page())
    names = [attrs["id"] for _, attrs in reader.starts if "id" in attrs]
    assert len(set(names)) == len(names)
    links = [attrs["href"] for _, attrs in reader.starts if "href" in attrs]
    asked = {link[1:] for link in links if link.startswith("#")}
    asked |= set(re.findall(r"url\(#([^)]+)\)", a_page()))
    asked |= {attrs["aria-labelledby"] for _, attrs in reader.starts if "aria-labelledby" in attrs}
    assert asked <= set(names)


def test_the_same_record_gives_the_same_bytes_whatever_matplotlib_is_set_to():
    record = small()
    first = page.to_html(record)
    with mpl.rc_context({"figure.facecolor": "black", "font.size": 23, "lines.linewidth": 9}):
        before = mpl.rcParams.copy()
        assert page.to_html(copy.deepcopy(record)) == first
        assert mpl.rcParams == before
    assert plt.get_fignums() == []
    assert not re.search(r"\b20\d\d-\d\d-\d\d", first)


# What stands on it.


def test_language_title_landmarks_and_headings():
    reader = Reader(a_page())
    assert reader.all("html")[0]["lang"] == "en"
    assert reader.text_of["title"] == ["a 318 mm f/4.9 mirror: judgement"]
    assert [len(reader.all(t)) for t in ("header", "main", "footer", "h1")] == [1, 1, 1, 1]
    levels = [int(tag[1]) for tag, _ in reader.starts if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    for attrs in reader.all("section"):
        assert attrs["aria-labelledby"]


def test_order_of_the_page():
    shown = " ".join(Reader(a_page()).shown)
    order = [
        a_record().verdict,
        "Wavefront error",
        "What to do",
        "The refigure, judged",
        "Pictures",
        "Knife-edge readings, the paraboloid taken away",
        "Figure of the glass",
        "The star now",
        "The star after: mask of 308 mm",
        "Contrast of fine detail",
        "Illumination of the field",
        "What to measure next",
        "Why, and what was assumed",
        "Cautions",
        "What went in",
        "Advice for a decision, not a certificate. Made by catoptric",
    ]
    places = [shown.index(words) for words in order]
    assert places == sorted(places)


def test_wavelength_focus_and_obstruction_are_said():
    shown = " ".join(Reader(a_page()).shown)
    assert "for 550 nm at the focus named peak, with an obstruction of 0.22 by diameter" in shown
    other = Reader(page.to_html(small(wavelength_nm=632.8)))
    assert "for 633 nm at the focus" in " ".join(other.shown)


def test_every_sentence_of_the_record_is_there():
    shown = " ".join(Reader(a_page()).shown)
    record = a_record()
    ladder = record.ladder
    said = [record.verdict, *record.next, *record.reasons, *record.assumptions, *record.cautions]
    said += [*record.edge, ladder.order_rule, ladder.no_gain_rule, ladder.field_rule]
    said += [*ladder.left_out, ladder.rows[0].words]
    said += [number.meaning for number in record.numbers]
    said += [*page_twin.verdict().reasons, page_twin.verdict().words]
    for sentence in said:
        assert sentence in shown, sentence


def test_what_a_work_is_worth_is_said_in_words():
    shown = " ".join(Reader(a_page()).shown)
    assert "no proven gain" in shown
    assert "dominated by row 1" in shown
    assert "order not certain against row 2" in shown
    assert "a loss" in shown  # the mask's light
    rows = page_twin.judgement().ladder.rows
    rows[1].upper_bound = True
    rows[0].no_proven_gain = True
    rows[0].dominated_by = ["leave it as it is", rows[2].name, rows[1].name]
    rows[1].gains[0].basis = "promised"
    record = a_record().but(ladder=page_twin.Ladder(rows))
    bounded = html._what_to_do(html._Sections(1), record, drawn=False)
    assert "if the promise is kept" in bounded
    assert "dominated by &quot;leave it as it is&quot;, rows 2, 3" in bounded
    assert "an upper bound, not a promise" in bounded
    assert "None of these works has a proven gain." in bounded


def test_what_is_now_stands_in_a_row_of_its_own_where_all_works_begin_from_it():
    rows = page_twin.judgement().ladder.rows
    apart = html._ladder_table(page_twin.Ladder(rows))
    assert "as it is now" not in apart
    assert "before 0.511 (0.490 to 0.532)" in apart
    for row in rows:
        for got, first in zip(row.gains, rows[0].gains, strict=True):
            got.before, got.before_interval = first.before, first.before_interval
    together = html._ladder_table(page_twin.Ladder(rows))
    assert together.count("0.511 (0.490 to 0.532)") == 1
    assert "as it is now" in together
    assert "before 0.5" not in together


def test_the_gain_is_that_in_the_middle_of_the_figures_allowed():
    rows = page_twin.judgement().ladder.rows[:1]
    rows[0].gains[0].median_gain, rows[0].gains[0].gain_per_price = 0.0321, 0.0321 / 4
    ladder = page_twin.Ladder(rows)
    assert "+0.032 (+0.020 to +0.062)" in html._ladder_table(ladder)
    assert "0.0080 per unit of price" in html._ladder_table(ladder)  # 0.0321/4
    assert "mask of 308 mm: +0.032 (+0.020 to +0.062)" in html.pictures.gains_picture(ladder).alt


def test_cautions_are_there_on_paper_too():
    """Print hides nothing: its rules only set sizes, colours and breaks."""
    assert "display: none" not in style._PRINT
    assert "visibility" not in style._PRINT
    cautions = [attrs for attrs in Reader(a_page()).all("section") if attrs.get("class")]
    assert cautions == [{"class": "cautions", "aria-labelledby": "judgement-cautions"}]


def test_what_deserves_a_look_is_shown_beside_the_inputs():
    odd = a_record().train.with_primary(conic=0.5)
    assert odd.problems()
    shown = " ".join(Reader(page.to_html(small(train=odd))).shown)
    assert str(odd.problems()[0]) in shown


# Numbers.


def flat(thing):
    """Return the plain numbers and texts of a record, its arrays left out but for the inputs."""
    if isinstance(thing, str):
        return [], [thing]
    if isinstance(thing, bool) or thing is None:
        return [], []
    if isinstance(thing, int | float):
        return [float(thing)], []
    values, texts = [], []
    if isinstance(thing, dict):
        thing = list(thing.values())
    elif hasattr(thing, "__dataclass_fields__"):
        thing = [getattr(thing, name) for name in thing.__dataclass_fields__]
    if isinstance(thing, list | tuple):
        for one in thing:
            more, said = flat(one)
            values, texts = values + more, texts + said
    return values, texts


def test_every_number_of_the_page_comes_from_the_record():
    record = a_record()
    verdict = page_twin.verdict()
    values, texts = flat(record.but(train=None, train_now=None, evidence=None))
    readings = record.evidence.readings
    values += [record.train.focal_ratio, readings.radius_of_curvature_mm, 318.0]
    values += [*readings.inner_radius_mm, *readings.outer_radius_mm, *readings.runs_mm.ravel()]
    values += [float(run + 1) for run in range(readings.run_count)]
    stars = [record.train_now, record.ladder.rows[0].train_after]
    values += [train.psf(focus="peak").strehl for train in stars]
    texts += [verdict.words, *verdict.reasons, *verdict.cautions, verdict.chance_better]
    texts += [record.train.to_toml(), html.__version__]
    # What the page itself says: shares of intervals, and the dots of the picture of chances.
    texts += ["intervals of 95 %", "bars of 95 %", "a dot: one chance in 50", "bands of 95 %"]
    values += [1.0, 2.0, 3.0]  # the rows of the works are numbered
    known = " ".join(texts)
    shown = " ".join(Reader(a_page()).shown)
    for text in texts:
        shown = shown.replace(text, " ")
    tokens = re.findall(r"(?<![\w.])-?\d+(?:\.\d+)?", shown)
    assert len(tokens) > 120
    strange = [t for t in tokens if not traced(t, values) and t not in known]
    assert strange == []


def traced(token, values):
    """Tell whether a written number is one of the values, rounded as it is written."""
    decimals = len(token.partition(".")[2])
    written = float(token)
    zeros = len(token) - len(token.rstrip("0")) if decimals == 0 and written else 0
    # Half a step of the last digit written; trailing zeros of whole numbers may be rounding too.
    half = 0.5 * 10.0 ** (-decimals if decimals else zeros) * (1.0 + 1e-9)
    return any(abs(abs(value) - abs(written)) <= half for value in values)


def test_a_number_that_is_not_the_records_would_be_found():
    values, _ = flat(a_record().but(train=None, train_now=None, evidence=None))
    assert traced("0.511", values)
    assert not traced("0.517", values)


@pytest.mark.parametrize(
    ("value", "error", "written", "error_written"),
    [
        # Particle Data Group, Review of Particle Physics, Introduction, Rounding: its two examples.
        (0.827, 0.119, "0.83", 0.12),
        (0.827, 0.367, "0.8", 0.4),
        # And its rule: 100 to 354 two digits, 355 to 949 one, 950 to 999 as 1000 with two.
        (0.827, 0.354, "0.83", 0.35),
        (0.827, 0.355, "0.8", 0.4),
        (0.827, 0.949, "0.8", 0.9),
        (0.827, 0.951, "0.8", 1.0),
        (1234.0, 35.6, "1230", 40.0),
    ],
)
def test_digits_follow_the_uncertainty(value, error, written, error_written):
    shown = numbers.parts(value, value - error, value + error)[0]
    assert shown == written
    assert round(error, numbers.decimals_deserved(error)) == pytest.approx(error_written)


@pytest.mark.parametrize("scale", [10.0**k for k in range(-12, 9)])
@pytest.mark.parametrize("leading", [1.0, 3.54, 3.56, 9.49, 9.5, 9.99])
def test_one_or_two_figures_of_the_uncertainty_are_kept_at_every_scale(scale, leading):
    error = leading * scale
    kept = error * 10.0 ** numbers.decimals_deserved(error)
    assert (
        3.5 <= kept <= 35.5
        if leading < 9.5
        else kept == pytest.approx(10.0 * leading / 10.0, rel=0.01)
    )


def test_numbers_without_width_and_without_end():
    assert numbers.measured(95.2, 95.2, 95.2, "%") == "95.2\u00a0%"
    assert numbers.plain(0.0) == "0"
    assert numbers.plain(1.0e-9) == "0.000000001"
    assert numbers.plain(math.nan) == "none"
    # An interval far narrower than its value is not written with ten digits.
    assert numbers.measured(0.511, 0.51099999, 0.51100001) == "0.5110"
    assert numbers.measured(0.5, 0.6, 0.7) == "0.50 (0.60 to 0.70)"  # a value outside its interval


# Texts of others.


def test_nothing_in_a_record_is_obeyed():
    text = a_hostile_page()
    reader = Reader(text)
    assert not reader.all("script")
    assert not reader.all("u")
    assert "<script" not in text
    shown = " ".join(reader.shown)
    assert shown.count(HOSTILE) > 12
    assert HOSTILE in reader.text_of["h1"]
    labels = [attrs["data-label"] for attrs in reader.all("td") if "data-label" in attrs]
    assert HOSTILE in labels
    assert any(HOSTILE in attrs.get("aria-label", "") for attrs in reader.all("svg"))
    # A notebook typesets what stands between dollar signs.
    assert "$" not in re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)


# Pictures.


def test_every_picture_says_in_words_what_it_shows():
    drawn = [attrs for attrs in Reader(a_page()).all("svg") if attrs.get("role") == "img"]
    assert len(drawn) == 8
    for attrs in drawn:
        assert len(attrs["aria-label"]) > 60
        assert re.search(r"\d", attrs["aria-label"])
    alts = " ".join(attrs["aria-label"] for attrs in drawn)
    assert a_record().evidence.height_nm.min() == pytest.approx(-181.8, abs=0.5)
    assert "Lowest at 159 mm: -182 (" in alts
    strehl = a_record().train_now.psf(focus="peak").strehl
    assert f"Strehl {strehl:.2f} at 550 nm, focus peak" in alts
    assert "mask of 308 mm: +0.041 (+0.020 to +0.062)" in alts
    hidden = [attrs for attrs in Reader(a_page()).all("svg") if "aria-hidden" in attrs]
    assert len(hidden) == 2  # the strips beside numbers that are written out


def test_both_stars_have_one_scale(monkeypatch):
    asked = []
    real = html.pictures.plotting.star_image

    def drawn(psf, ax, **options):
        real(psf, ax, **options)
        asked.append((ax.get_xlim(), ax.get_ylim(), ax.images[0].get_clim()))

    monkeypatch.setattr(html.pictures.plotting, "star_image", drawn)
    html.pictures._stars(a_record(), a_record().ladder.rows[0])
    assert len(asked) == 2
    assert asked[0] == asked[1]


def test_a_sweep_of_masks_is_drawn_and_told():
    def plot(ax):
        for name in ("light", "Strehl", "contrast"):
            ax.plot([306, 310, 318], [0.8, 0.9, 0.7], label=name)
        ax.legend(ncols=3)

    sweep = SimpleNamespace(
        diameter_mm=[306, 310, 318],
        strehl=[0.88, 0.87, 0.71],
        plateau_mm=(306, 310),
        recommended_mm=310,
        words="A mask of 310 mm takes the Strehl from 0.71 to 0.87.",
        reason="310 mm holds for the most figures.",
        plot=plot,
    )
    shown = html.pictures._mask(SimpleNamespace(mask=sweep))
    assert "The highest Strehl, 0.88, is at 306 mm" in shown.alt
    assert "From 306 to 310 mm a mask holds. The one to take: 310 mm." in shown.alt
    record = small()
    record.mask = sweep
    told = " ".join(Reader(html._why(html._Sections(1), record)).shown)
    assert sweep.words in told
    assert sweep.reason in told
    assert "in the middle of the figures allowed" in told  # what stands before an interval there


def test_titles_and_notes_are_text_of_the_page_not_of_the_picture():
    picture = svg.draw("x", lambda ax: ax.set_title("A title", loc="left"), "a picture in words")
    assert picture.title == "A title"
    assert picture.notes == ()
    assert 'role="img"' in picture.svg
    assert re.findall(r'id="(?!x-)', picture.svg) == []


def test_a_picture_is_the_same_text_wherever_its_layout_ends_in_the_last_bit():
    def painted(shift):
        def paint(ax):
            ax.plot([0, 1], [0, 1])
            ax.figure.set_layout_engine("none")
            ax.set_position([0.1, 0.1, 0.8, 0.8 + shift])

        return svg.draw("x", paint, "a line").svg

    assert 0.8 + 2e-16 != 0.8
    assert painted(2e-16) == painted(0.0)
    names = re.findall(r' id="([^"]+)"', painted(0.0))
    assert sorted(names) == sorted(f"x-{i + 1}" for i in range(len(names)))
    assert len(names) > 5


def test_a_page_without_evidence_works_or_diagonal():
    bare = ct.Train(primary=a_record().train.primary)
    record = a_record().but(evidence=None, ladder=None, train=bare, train_now=bare, next=[])
    reader = Reader(page.to_html(record))
    shown = " ".join(reader.shown)
    assert reader.faults == []
    assert "What to do" not in shown
    assert "What to measure next" not in shown
    assert "The star now" in shown


def without_matplotlib(monkeypatch):
    real = builtins.__import__

    def refuse(name, *args, **kwargs):
        if name.partition(".")[0] == "matplotlib":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", refuse)


def test_without_matplotlib_the_page_says_what_to_install(monkeypatch, tmp_path):
    without_matplotlib(monkeypatch)
    with pytest.raises(ImportError, match=r"pictures need matplotlib.*pip install"):
        page.save_html(a_record(), tmp_path / "page.html")
    assert list(tmp_path.iterdir()) == []
    shown = page.display(a_record())
    assert "Pictures need matplotlib" in shown
    assert 'role="img"' not in shown
    assert a_record().verdict in shown


# In a notebook, and as a file.


def test_in_a_notebook_the_style_reaches_nothing_else(monkeypatch):
    without_matplotlib(monkeypatch)
    text = page.display(a_record())
    reader = Reader(text)
    assert reader.faults == []
    assert not {"html", "body", "head", "main", "header", "footer", "h1"} & {
        t for t, _ in reader.starts
    }
    assert "mathjax_ignore" in reader.starts[0][1]["class"]
    sheet = re.sub(r"@media[^{]*\{|@page[^}]*\}", "", style.css())
    for selectors in re.findall(r"([^{}]+)\{", sheet):
        for selector in selectors.split(","):
            assert "catoptric" in selector, selector


def test_a_file_is_not_replaced_unless_asked(tmp_path):
    record = small(evidence=None)
    file = page.save_html(record, tmp_path / "page.html")
    assert file.read_text(encoding="utf-8") == page.to_html(record)
    with pytest.raises(FileExistsError, match="overwrite=True"):
        page.save_html(record, file)
    assert page.save_html(record, str(file), overwrite=True) == file
    with pytest.raises(FileNotFoundError):
        page.save_html(record, tmp_path / "none" / "page.html")


# What can be read by whom.


def luminance(colour):
    """Relative luminance of WCAG 2.2, section "relative luminance"."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    """Contrast ratio of WCAG 2.2: (L1 + 0.05)/(L2 + 0.05)."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_computed_as_the_standard_does():
    assert contrast("#000000", "#ffffff") == pytest.approx(
        21.0
    )  # WCAG 2.2, success criterion 1.4.3
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # known to fail 4.5


@pytest.mark.parametrize("scheme", [style.LIGHT, style.DARK], ids=["light", "dark"])
def test_text_stands_out_from_its_ground(scheme):
    for text in style.TEXTS:
        for ground in style.GROUNDS:
            assert contrast(scheme[text], scheme[ground]) >= 4.5, (text, ground)
    assert set(style.LIGHT) == set(style.DARK)


@pytest.mark.parametrize("scheme", [style.LIGHT, style.DARK], ids=["light", "dark"])
def test_curves_that_are_told_apart_stand_out_from_the_panel(scheme):
    """WCAG 2.2, success criterion 1.4.11: 3 to 1 for what is needed to understand a picture."""
    for curve in ("ink", "quiet", "blue", "vermillion", "green"):
        assert contrast(scheme[curve], scheme["panel"]) >= 3.0, curve


def test_only_colours_of_the_tables_are_used_for_text():
    used = set(re.findall(r"(?<!-)\bcolor: var\(--(\w+)\)", style.css()))
    assert used == set(style.TEXTS)
    sheet = style.css().split("@media", 2)[2]
    assert not re.search(r"#[0-9a-f]{3,8}\b", sheet.partition("}}")[2])


def test_gains_are_told_apart_without_colour():
    """Filled and hollow marks of two shapes, and words beside them."""
    shown = html.pictures.gains_picture(a_record().ladder)
    assert "filled: proven, hollow: not proven" in shown.notes[0]
    assert "recoat the primary: 0.0000" in shown.alt
    assert "not proven" in shown.alt


def test_a_curve_through_points_is_that_of_scipy():
    from scipy.interpolate import PchipInterpolator

    rng = np.random.default_rng(3)
    x = np.cumsum(rng.uniform(0.05, 1.0, 14))
    for y in (np.exp(-x), np.cos(2 * x), rng.normal(size=14)):
        shown_x, shown_y = html.pictures._smooth(x, y)
        # scipy's slopes inside are the same; its ends are others, so those two pieces are left out.
        inside = (shown_x >= x[1]) & (shown_x <= x[-2])
        truth = PchipInterpolator(x, y)(shown_x)
        np.testing.assert_allclose(shown_y[inside], truth[inside], atol=1e-12)
        assert shown_y.max() <= y.max() + 1e-12
        assert shown_y.min() >= y.min() - 1e-12
