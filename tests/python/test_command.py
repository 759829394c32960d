"""`python -m catoptric`: a page without writing Python, and one clear line where it cannot be."""

import os
import re
import signal
import subprocess
import sys
import time

import catoptric as ct
import pytest
from catoptric.page import command, works_file
from samples import READINGS, ROOT

TRAIN = READINGS / "fenlight.toml"
BEFORE = READINGS / "fenlight_before.csv"
WORKS = READINGS / "fenlight_works.toml"
BENCH = ["--source", "moving", "--readings-increase", "away_from_mirror"]


def run(*arguments, cwd=None):
    """Run the command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "catoptric", *map(str, arguments)],
        cwd=cwd,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def refused(capsys, *arguments):
    """Run the command here, and return the only line it says."""
    code = command.main([str(argument) for argument in arguments])
    said = capsys.readouterr()
    assert code == 2
    assert said.out == ""
    lines = [line for line in said.err.splitlines() if not line.startswith("warning: ")]
    assert len(lines) == 1, said.err
    assert lines[0].startswith("error: ")
    return lines[0].removeprefix("error: ")


@pytest.fixture
def folder(tmp_path):
    """A folder with the files of a good run, to be spoilt one at a time."""
    for file in (TRAIN, BEFORE, WORKS):
        (tmp_path / file.name).write_text(file.read_text())
    return tmp_path


def judge(folder, capsys, **changes):
    """Run the command on the files of a folder and return the line of its refusal."""
    files = {"train": TRAIN.name, "readings": BEFORE.name, "works": WORKS.name, "out": "page.html"}
    files |= changes
    before = sorted(folder.iterdir())
    line = refused(
        capsys,
        folder / files["train"],
        folder / files["readings"],
        *BENCH,
        "--works",
        folder / files["works"],
        "--out",
        folder / files["out"],
    )
    assert sorted(folder.iterdir()) == before  # nothing was written
    return line


# A good run.


def test_a_good_run_writes_the_page_and_says_its_verdict(folder):
    after = READINGS / "fenlight_after.csv"
    files = [TRAIN.name, BEFORE.name, *BENCH, "--works", WORKS.name, "--after", after]
    before = {path.name for path in folder.iterdir()}
    done = run(*files, "--out", "page.html", cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    verdict, page = done.stdout.splitlines()
    assert page == "page.html"
    text = (folder / "page.html").read_text(encoding="utf-8")
    assert verdict.replace('"', "&quot;") in text
    assert {path.name for path in folder.iterdir()} - before == {"page.html"}
    # The page is that of the same call in Python, the verdict of the refigure with it.
    train = ct.Train.load(TRAIN)
    bench = {
        "clear_aperture_mm": 318,
        "radius_of_curvature_mm": 3116,
        "source": "moving",
        "readings_increase": "away_from_mirror",
    }
    first, second = (ct.KnifeEdgeReadings.from_csv(path, **bench) for path in (BEFORE, after))
    record = ct.judgement(train, first, works_file.read_works(WORKS).works)
    refigure = ct.judge_refigure(before=first, after=second, train=train)
    assert record.verdict == verdict
    assert text == record.to_html(refigure=refigure)
    assert refigure.words in text
    # What the invented mirror asks for (shared readings: masking 5 mm of radius is good for every
    # edge that the last opening allows).
    assert "mask of 308 mm" in verdict


def test_help_and_version_say_what_they_are():
    told = run("--help")
    assert told.returncode == 0
    for words in ("--source", "--readings-increase", "--works", "--after", "--out", "--force"):
        assert words in told.stdout
    for words in ("exit codes", "not a certificate", "needs no network"):
        assert words in told.stdout
    assert run("--version").stdout == f"catoptric {ct.__version__}\n"


# What has no default is asked for.


@pytest.mark.parametrize("left_out", ["--source", "--readings-increase", "--out"])
def test_what_would_be_a_guess_has_to_be_said(left_out, capsys):
    given = {"--source": "moving", "--readings-increase": "away_from_mirror", "--out": "p.html"}
    del given[left_out]
    with pytest.raises(SystemExit) as stopped:
        command.main([str(TRAIN), str(BEFORE), *(word for pair in given.items() for word in pair)])
    assert stopped.value.code == 2
    assert left_out in capsys.readouterr().err


def test_names_are_written_in_full(capsys):
    with pytest.raises(SystemExit) as stopped:
        command.main([str(TRAIN), str(BEFORE), *BENCH, "--o", "page.html"])
    assert stopped.value.code == 2


# Each refusal names the file, the field, the value, what is allowed.


def test_bad_input_leaves_one_line_exit_code_2_and_no_page(folder):
    (folder / TRAIN.name).write_text(
        "[primary]\nclear_aperture_mm = -318\nfocal_length_mm = 1558\n"
    )
    done = run(TRAIN.name, BEFORE.name, *BENCH, "--out", "page.html", cwd=folder)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert done.stderr == (
        "error: fenlight.toml: primary.clear_aperture_mm = -318: a length above 0 "
        "(0.001 mm to 1000 m) (a sign, or an empty cell read as 0)\n"
    )
    assert not (folder / "page.html").exists()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("diameter_mm = 308", "diameter_mm = -308", ("work 1", "diameter_mm", "-308", "above 0")),
        ("price = 4\n", "price = -4\n", ("work 1", "price", "-4", "0 or more")),
        ("price = 4\n", "", ("work 1: price", "none", "needed")),
        ("price = 4\n", 'price = "four"\n', ("work 1", "four")),
        ("price = 4\n", "price = nan\n", ("work 1", "price", "NaN")),
        ('kind = "mask"', 'kind = "paint"', ("work 1: kind", "'paint'", "mask, refigure, recoat")),
        ('kind = "mask"', "", ("work 1: kind", "None", "mask, refigure, recoat")),
        ("diameter_mm = 308", "diameter = 308", ("work 1: diameter", "308", "diameter_mm")),
        ("reflectance = 0.91\n", "reflectance = 91\n", ("work 2", "reflectance", "91", "share")),
        ('mirror = "primary"', 'mirror = "third"', ("work 2", "mirror", "third", "primary")),
        ("[5, 20]", "[20, 5]", ("work 3", "after_rms_nm", "20 to 5")),
        ("after_rms_nm = [5, 20]", 'after = "good"', ("work 3: after", "'good'", "perfect_parab")),
        ("after_rms_nm = [5, 20]", "", ("work 3: after", "none", "--after")),
        ("[[work]]", "[work]", ("whole text",)),
        (
            "[[work]]\nkind",
            'money = "coins"\n[[work]]\nkind',
            ("money", "'coins'", "currency, work"),
        ),
        ('"mask"', '"mask', ("the whole text", "line 3")),
    ],
)
def test_works_that_cannot_be(folder, capsys, old, new, said):
    text = WORKS.read_text()
    assert old in text
    (folder / WORKS.name).write_text(text.replace(old, new, 1))
    line = judge(folder, capsys)
    assert WORKS.name in line
    for words in said:
        assert words in line, line


def test_works_of_every_kind_are_read(tmp_path):
    (tmp_path / "spider.toml").write_text(TRAIN.read_text())
    (tmp_path / "works.toml").write_text(
        'currency = "crowns"\n'
        '[[work]]\nkind = "mask"\ndiameter_mm = 308\nprice = 4\nname = "cardboard ring"\n'
        '[[work]]\nkind = "refigure"\nafter = "perfect_paraboloid"\nprice = 880\n'
        '[[work]]\nkind = "refigure"\nprice = 880\n'
        '[[work]]\nkind = "recoat"\nmirror = "both"\nreflectance = 0.91\nprice = 275\n'
        '[[work]]\nkind = "change_diagonal"\nminor_axis_mm = 63.5\nreflectance = 0.9\nprice = 60\n'
        '[[work]]\nkind = "other"\nname = "new spider"\ntrain = "spider.toml"\nprice = 0\n'
    )
    sheet = ct.TestSheet(
        clear_aperture_mm=318,
        tested_diameter_mm=318,
        surface_or_wavefront="wavefront",
        wavelength_nm=550,
        rms_nm=12,
    )
    found = works_file.read_works(tmp_path / "works.toml", after=sheet)
    kinds = [work.kind for work in found.works]
    assert kinds == ["mask", "refigure", "refigure", "recoat", "change_diagonal", "other"]
    assert found.currency == "crowns"
    assert [work.price for work in found.works] == [4, 880, 880, 275, 60, 0]
    assert found.works[0].name == "cardboard ring"
    assert found.works[0].diameter_mm == 308
    assert found.works[1].after == "perfect_paraboloid"
    assert isinstance(found.works[2].after, ct.SheetFigure)
    assert found.works[4].minor_axis_mm == 63.5
    assert found.works[5].train == ct.Train.load(TRAIN)


def test_a_work_of_another_train_names_that_trains_fault(tmp_path):
    (tmp_path / "bad.toml").write_text(TRAIN.read_text().replace("1558", "-1558"))
    works = tmp_path / "works.toml"
    works.write_text('[[work]]\nkind = "other"\nname = "x"\ntrain = "bad.toml"\nprice = 0\n')
    with pytest.raises(ct.InputError, match=r"work 1: train: primary.focal_length_mm = -1558"):
        works_file.read_works(works)
    works.write_text('[[work]]\nkind = "other"\nname = "x"\ntrain = "none.toml"\nprice = 0\n')
    with pytest.raises(OSError, match=r"none\.toml"):
        works_file.read_works(works)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("7.68", "abc", ("line 2", "run_1_mm", "`abc`", "no number")),
        ("7.68", "7,68", ("line 2",)),
        ("inner_radius_mm", "inner_radius", ("first line", "`inner_radius`", "unit")),
        ("149.5,158,", "149.5,358,", ("outer_radius_mm", "358")),
        ("7.68", "inf", ("runs_mm", "inf")),
    ],
)
def test_readings_that_cannot_be(folder, capsys, old, new, said):
    text = BEFORE.read_text()
    assert old in text
    (folder / BEFORE.name).write_text(text.replace(old, new, 1))
    line = judge(folder, capsys)
    assert line.count(BEFORE.name) == 1
    for words in said:
        assert words in line, line


def test_readings_in_inches_are_refused_with_the_likely_cause(folder, capsys):
    head, *rows = BEFORE.read_text().splitlines()
    scaled = [
        ",".join([*row.split(",")[:2], *(str(float(x) * 25.4) for x in row.split(",")[2:])])
        for row in rows
    ]
    (folder / BEFORE.name).write_text("\n".join([head, *scaled]))
    assert "inches" in judge(folder, capsys)


def test_files_that_are_not_there(folder, capsys):
    for name in ("train", "readings", "works"):
        missing = f"none.{'csv' if name == 'readings' else 'toml'}"
        line = judge(folder, capsys, **{name: missing})
        assert line == f"{folder / missing}: No such file or directory"
    (folder / "sheet.csv").write_bytes(b"\xff\xfe\x00\x01")
    assert "sheet.csv" in judge(folder, capsys, readings="sheet.csv")
    (folder / "works.bin").write_bytes(b"\xff\xfe\x00\x01")
    assert "UTF-8" in judge(folder, capsys, works="works.bin")
    assert "ends in .json or .toml" in judge(folder, capsys, train=BEFORE.name)


# Where the page goes.


def test_only_pages_are_written_and_only_new_ones(folder, capsys):
    assert "ends in .html or .htm" in judge(folder, capsys, out=TRAIN.name)
    assert "folder that exists" in judge(folder, capsys, out="none/page.html")
    (folder / "inner.html").mkdir()
    assert "this is a folder" in judge(folder, capsys, out="inner.html")
    (folder / "page.html").write_text("mine")
    assert "--force replaces it" in judge(folder, capsys)
    assert (folder / "page.html").read_text() == "mine"
    # --force looks at nothing else: the inputs cannot be written over.
    line = refused(
        capsys, folder / TRAIN.name, BEFORE, *BENCH, "--force", "--out", folder / TRAIN.name
    )
    assert "ends in .html" in line


def test_force_replaces_a_page(tmp_path, capsys):
    page = tmp_path / "page.html"
    page.write_text("old")
    code = command.main([str(TRAIN), str(BEFORE), *BENCH, "--force", "--out", str(page)])
    assert code == 0
    assert capsys.readouterr().out.splitlines()[1] == str(page)
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_questions_about_the_input_are_warnings(tmp_path, capsys):
    odd = tmp_path / "odd.toml"
    odd.write_text(
        TRAIN.read_text().replace("focal_length_mm = 1558", "focal_length_mm = 1558\nconic = 0.5")
    )
    assert ct.Train.load(odd).problems()
    command._warn(str(odd), ct.Train.load(odd).problems())
    assert re.match(r"warning: .*odd\.toml: primary\.conic = 0\.5: ", capsys.readouterr().err)


def test_what_does_not_settle_has_an_exit_code_of_its_own(tmp_path, capsys, monkeypatch):
    def fail(given):
        raise ct.NotConverged("Strehl", 1e-3, 1e-6)

    monkeypatch.setattr(command, "_judge", fail)
    code = command.main([str(TRAIN), str(BEFORE), *BENCH, "--out", str(tmp_path / "p.html")])
    assert code == 3
    assert "Strehl did not converge" in capsys.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="signals of another kind")
def test_an_interruption_leaves_nothing_behind(folder):
    program = [sys.executable, "-m", "catoptric", TRAIN.name, BEFORE.name, *BENCH]
    started = subprocess.Popen(
        [*program, "--works", WORKS.name, "--out", "page.html"],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    time.sleep(2.0)  # past the imports, within the work
    started.send_signal(signal.SIGINT)
    out, err = started.communicate(timeout=60)
    assert (started.returncode, out) == (130, "")
    assert err == "interrupted; no page was written\n"
    assert not (folder / "page.html").exists()


def test_the_readme_says_the_same_command():
    readme = (ROOT / "README.md").read_text()
    section = readme.partition("## Without writing Python")[2].partition("\n## ")[0]
    told = re.search(r"-m catoptric (.*?)$", section.replace("\\\n", " "), re.MULTILINE).group(1)
    given = command._parser().parse_args(told.split())
    assert (ROOT / given.train).samefile(TRAIN)
    assert (ROOT / given.readings).samefile(BEFORE)
    assert (ROOT / given.works).samefile(WORKS)
    for kind in works_file._KINDS:
        assert f"`{kind}`" in section
