"""The benches: every theme runs and is as accurate as it says, and the frame counts right."""

import json
import math
import os
import subprocess
import sys

import catoptric as ct
import pytest
from samples import ROOT

BENCHES = ROOT / "benches"
sys.path.insert(0, str(BENCHES))

import guard  # noqa: E402
import scaling  # noqa: E402
from peers.measure import Accuracy, Peer, Row, Timed, fastest, measure  # noqa: E402
from peers.table import block, markdown, missed, stated  # noqa: E402
from side_by_side import THEMES  # noqa: E402


def test_all_themes_are_found():
    assert {"coatings", "masks"} <= set(THEMES)
    assert not {"machine", "measure", "table"} & set(THEMES)


@pytest.mark.parametrize("theme", THEMES)
def test_each_theme_is_as_accurate_as_it_says(theme, tmp_path):
    # The command itself, at sizes that are small where that is cheaper. It refuses to time what is
    # further off than its limit, and says which peer is not installed.
    found = tmp_path / "found.json"
    command = [sys.executable, str(BENCHES / "side_by_side.py"), theme, "--rounds", "1"]
    done = subprocess.run(
        [*command, "--json", str(found)],
        env=os.environ | {"CATOPTRIC_BENCH_SMALL": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    rows = json.loads(found.read_text())["rows"]
    in_readme = stated(ROOT / "README.md")
    # Two threads are compared where there are two cores.
    assert rows or (theme == "threads" and os.cpu_count() == 1)
    assert len({row["title"] for row in rows}) == len(rows)
    for row in rows:
        assert row["peers"], row["title"]
        assert all(math.isfinite(t) and t > 0 for t in row["ours_s"])
        assert all(r > 0 for peer in row["peers"] for r in peer["ratios"])
        limits = [line["limit"] for line in row["accuracy"] if line["limit"] is not None]
        assert limits, f"{row['title']} says of no answer how far off it may be"
        # Who has a goal stands in the README, half of whose ratio the guard asks for.
        with_goal = [(row["title"], p["name"]) for p in row["peers"] if p["goal"] is not None]
        assert set(with_goal) <= set(in_readme)
        # And has the bound beside it.
        assert row["bound"] or all(peer["goal"] is None for peer in row["peers"])


def spin(seconds):
    """Return work that keeps the processor busy for so long."""
    import time

    def work():
        end = time.process_time() + seconds
        while time.process_time() < end:
            pass

    return work


def row(off=0.0):
    accuracy = [Accuracy("answer beside the truth, mm", off, 1e-9), Accuracy("peer", 1e-3)]
    peers = [Peer("slow", spin(0.008), 3.0), Peer("a fifth", spin(0.002), 6.0, share=0.2)]
    return Row("a question", spin(0.002), peers, lambda: accuracy, 1000, "rays", "arithmetic")


def test_ratios_are_those_of_known_work(tmp_path):
    timed = measure(row(), rounds=3)
    slow, fifth = timed.row.peers
    assert timed.median_s == pytest.approx(0.002, rel=0.2)
    assert timed.ratio(slow)[0] == pytest.approx(4.0, rel=0.2)
    # A fifth of the question in the same time: five times as slow.
    assert timed.ratio(fifth)[0] == pytest.approx(5.0, rel=0.2)
    assert missed(timed, "avx512") == [fifth]
    assert missed(timed, "avx2") == []
    shown = block(timed, "avx512")
    assert "us each of 1,000 rays" in shown
    assert shown.count("BELOW ITS GOAL") == 1
    facts = {"instructions": "avx512", "date": "", "processor": "", "cores": "", "versions": ""}
    table = markdown([timed], facts | {"load": ""})
    assert table.count("missed") == 1
    assert "- a question: arithmetic" in table
    page = tmp_path / "page.md"
    page.write_text(
        f"# A page\n<!-- speed: begin -->\n{table}\n<!-- speed: end -->\n| a | b | c | 1 |\n"
    )
    read = stated(page)
    assert list(read) == [("a question", "slow"), ("a question", "a fifth")]
    assert list(read.values()) == pytest.approx([4.0, 5.0], rel=0.2)


def test_a_row_that_is_too_far_off_is_not_timed():
    with pytest.raises(AssertionError, match="a question: answer beside the truth, mm"):
        measure(row(off=1e-6), rounds=1)


def test_a_busy_core_does_not_count_but_waiting_for_another_process_does():
    import signal
    import threading
    import time

    # Stopped from outside for 0.1 s, and not by itself.
    stop = (
        f"import os, time; os.kill({os.getpid()}, 19); time.sleep(0.1); os.kill({os.getpid()}, 18)"
    )
    assert signal.SIGSTOP == 19
    other = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(0.05)\n" + stop])
    start = time.perf_counter()
    took = fastest(spin(0.3), 1)
    wall = time.perf_counter() - start
    assert other.wait() == 0
    assert wall > 0.38
    assert took == pytest.approx(0.3, rel=0.05)
    # Waiting is the work's own time.
    assert fastest(lambda: time.sleep(0.05), 1) > 0.04
    # Two threads that sleep and work at once: the wall's.
    thread = threading.Thread(target=time.sleep, args=(0.05,))
    thread.start()
    assert fastest(thread.join, 1) > 0.02


def test_quartiles_are_those_of_the_ratios():
    peer = Peer("any", list)
    timed = Timed(Row("", list, [peer], list), [], [1.0], {"any": [5.0, 1.0, 2.0, 4.0, 3.0]})
    assert timed.ratio(peer) == (3.0, 2.0, 4.0)


def test_exponents_are_those_of_known_powers():
    sizes = scaling.steps(1, 1e3)
    assert len(sizes) == 10
    assert (sizes[0], sizes[-1]) == (1, 1000)
    times = [1.0 + 1e-3 * n**1.5 for n in sizes]
    analysis = scaling.Analysis("", sizes, None, 1.5, "")
    pure = scaling.Curve(analysis, [1e-6 * n**1.5 for n in sizes])
    assert pure.exponent() == pytest.approx((1.5, 0.0), abs=1e-9)
    # A fixed part flattens the small end, less the last decade.
    mixed = scaling.Curve(analysis, times)
    assert mixed.exponent()[0] < mixed.exponent(1.0)[0] < 1.5
    assert mixed.exponent()[1] > 0.01


def test_the_guard_asks_for_half_of_what_the_readme_states():
    assert guard.least_of(20.0, "avx512") == 10.0
    assert guard.least_of(20.0, "avx2") == pytest.approx(5.5)
    # A row that the README lacks is told.
    assert guard.least_of(None, "avx512") == math.inf


def test_budgets_say_what_the_work_needs():
    counts = (BENCHES / "counts.rs").read_text()
    for line in guard.BUDGETS:
        assert f'("{line.name}"' in counts
        assert f'("{line.twin}"' in counts
        assert line.needs
        assert min(line.counted) > 1
        assert line.fewer > 1


@pytest.mark.parametrize("name", ["portable", "avx2"])
def test_instructions_are_those_that_are_asked_for(name):
    program = "import catoptric as ct; print(ct.vector_instructions())"
    done = subprocess.run(
        [sys.executable, "-c", program],
        env=os.environ | {"CATOPTRIC_SIMD": name},
        capture_output=True,
        text=True,
        check=True,
    )
    # A processor without AVX2 falls back.
    assert done.stdout.strip() in {name, "portable"}
    assert ct.vector_instructions() in {"avx512", "avx2", "portable"}
