"""Guard against slower code, without absolute times: counted instructions, and same-run ratios.

    python benches/guard.py                 # both, as CI runs it
    python benches/guard.py counts          # counted instructions alone (needs valgrind)
    python benches/guard.py ratios          # ratios beside the peers alone

Counts: `counts.rs` runs an analysis once and three times; half of the difference is what one run
takes, start-up left out. A piece (a ray, a pixel, ...) may take no more than its budget, and the
slow obvious twin takes at least so many times more. valgrind knows no AVX-512, so the sets are AVX2
and the portable one. The table that is printed has what a new budget is set by.

Ratios: every row of `peers/` that has goals and whose round is short reaches half of what the
README's table states. A row that stays below is measured once more.
"""

from __future__ import annotations

import argparse
import importlib
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from peers.measure import Row

ROOT = Path(__file__).parent.parent
SETS = ("avx2", "portable")
MARGIN = 1.3
"""How far a count may lie above what was measured: compilers differ."""
STATED_SHARE = 0.5
"""The part of a ratio of the README that is reached on a busy machine, too."""
LONGEST_ROUND_S = 1.5
TOGETHER_S = 45.0
"""Ratios are measured for so long; rows that come after it are named and left out."""


@dataclass(frozen=True)
class Budget:
    """What a piece of an analysis may take."""

    name: str
    """As `counts.rs` has it."""
    counted: tuple[float, float]
    """Instructions a piece with AVX2 and with the portable set, as this line was written."""
    needs: str
    """The operations that the formula asks for: why the count is what it is."""
    twin: str
    """The slow obvious way."""
    fewer: float
    """The twin takes at least so many times the instructions, with AVX2."""
    twins: int = 1
    """Pieces of the twin that one piece stands for."""


# About half of what was counted as the least gain over the twin. An instruction of AVX2 does four
# operations at once, of two when products and sums are fused; loads, tests and masks come on top.
BUDGETS = (
    Budget(
        "given_rays",
        (62, 367),
        "130 operations a ray: root 20, figure 40, reflection 20, diagonal 30, focus and sums 20",
        "rays_one_by_one",
        12,
    ),
    Budget(
        "ring_rays",
        (15, 87),
        "60 operations a ray: height and normal are those of its ring",
        "rays_one_by_one",
        48,
    ),
    Budget(
        "star",
        (220, 361),
        "some thousand nodes spread over 10 x 10 places each, then two folded products of a net "
        "of about 66 a side: 300 a pixel, and a shorter list of nodes for the error",
        "star_path_by_path",
        17_000,
    ),
    Budget(
        "star_of_nine_colours",
        (10_619, 15_950),
        "nine times a star, but for the taps of its nodes",
        "star_path_by_path",
        3400,
        twins=9,
    ),
    Budget(
        "round_star",
        (517, 517),
        "a series of 20 terms a pixel; 280 radii of 200 nodes in nine colours, once",
        "star_path_by_path",
        70_000,
        twins=9,
    ),
    Budget(
        "repeats",
        (29_315, 29_196),
        "sine and cosine (25 operations) of some hundred nodes at some ten foci, RMS and PV",
        "repeats_one_by_one",
        80,
    ),
    Budget(
        "noise_study",
        (632, 1186),
        "32 products for each of 8 openings, 29 for each of 4 pairs of draws, 20 for each of 2 "
        "sets of words",
        "repeats_one_by_one",
        4500,
    ),
    Budget(
        "light_by_sizes",
        (187, 214),
        "the size's own offset (an iteration with roots), and a place in the sums",
        "rays_at_one_size",
        110,
        twins=100,
    ),
    Budget(
        "light_by_rays",
        (100, 180),
        "two meetings with the flat's plane and two quadratics (100), two searches in 1000 sizes",
        "rays_at_one_size",
        2100,
        twins=1000,
    ),
    Budget(
        "masks",
        (50_193, 50_193),
        "phasors of some hundred nodes at 16 steps of defocus or more, for all masks together; "
        "the draw of the figure at all rims",
        "masks_one_by_one",
        40,
    ),
    Budget(
        "contrast",
        (50_259_393, 53_988_329),
        "thousands of panels in hundreds of rows, until curves settle to 1e-6; the twin, of 1e-2, "
        "is cheap",
        "contrast_by_a_net",
        3,
    ),
)


def main() -> int:
    """Run what is asked for; return the exit code."""
    parser = argparse.ArgumentParser(description="Guard against slower code.")
    parser.add_argument("what", nargs="?", choices=["counts", "ratios"], help="both, if not said")
    asked = parser.parse_args().what
    wrong: list[str] = []
    if asked != "ratios":
        wrong += counts()
    if asked != "counts":
        wrong += ratios()
    print("".join(f"SLOWER: {line}\n" for line in wrong) or "nothing is slower than it may be")
    return 1 if wrong else 0


def counts() -> list[str]:
    """Print the counts beside their budgets; return what is beyond."""
    if shutil.which("valgrind") is None:
        print("valgrind is not here: no instructions are counted")
        return []
    program = executable()
    listed = subprocess.run([program], check=True, capture_output=True, text=True).stdout
    pieces = {name: (int(many), of) for name, many, of in map(str.split, listed.splitlines())}
    sets = [name for name in SETS if name in has_sets(program)]
    wanted = [(line.name, use) for line in BUDGETS for use in sets]
    wanted += [(twin, sets[0]) for twin in dict.fromkeys(line.twin for line in BUDGETS)]
    with ThreadPoolExecutor() as several:
        work = {
            (name, use, times): several.submit(instructions, program, name, times, use)
            for name, use in wanted
            for times in (1, 3)
        }
    a_piece = {
        (name, use): (work[name, use, 3].result() - work[name, use, 1].result())
        / (2 * pieces[name][0])
        for name, use in wanted
    }
    print(f"instructions a piece with {', '.join(sets)}; budgets are {MARGIN:g} times those before")
    wrong: list[str] = []
    for line in BUDGETS:
        found = [a_piece[line.name, use] for use in sets]
        numbers = ", ".join(f"{number:,.0f}" for number in found)
        before = ", ".join(f"{number:,.0f}" for number in line.counted[: len(sets)])
        print(f"    {line.name:22s} ({numbers}) a {pieces[line.name][1]}, before ({before})")
        print(f"        needs {line.needs}")
        for use, number, counted in zip(sets, found, line.counted, strict=False):
            if number > MARGIN * counted:
                wrong.append(f"{line.name}, {use}: {number:.1f} instructions, not {counted:.1f}")
        fewer = line.twins * a_piece[line.twin, sets[0]] / a_piece[line.name, sets[0]]
        print(f"        {fewer:,.0f} times fewer than {line.twin}, at least {line.fewer:,g}")
        if fewer < line.fewer:
            wrong.append(f"{line.name} is {fewer:.1f} times cheaper than its twin {line.twin}")
    return wrong


def executable() -> str:
    """Return the path of `counts`, built as releases are."""
    build = ["cargo", "bench", "--quiet", "--bench", "counts", "--no-run"]
    told = subprocess.run(
        [*build, "--message-format=json"], cwd=ROOT, check=True, capture_output=True, text=True
    )
    lines = [json.loads(line) for line in told.stdout.splitlines() if line.startswith("{")]
    (found,) = (line["executable"] for line in lines if line.get("executable"))
    return str(found)


def has_sets(program: str) -> list[str]:
    """Return the sets of instructions that the processor has."""
    told = subprocess.run([program, "sets"], check=True, capture_output=True, text=True)
    return told.stdout.split()


def instructions(program: str, name: str, times: int, use: str) -> int:
    """Return the instructions of a whole process."""
    alone = {"CATOPTRIC_SIMD": use, "CATOPTRIC_NUM_THREADS": "1"}
    with tempfile.NamedTemporaryFile() as found:
        tool = ["valgrind", "--tool=callgrind", f"--callgrind-out-file={found.name}"]
        done = subprocess.run(
            [*tool, program, name, str(times)],
            env=os.environ | alone,
            capture_output=True,
            text=True,
        )
        if done.returncode:
            raise RuntimeError(f"{name} under valgrind: {done.stderr[-2000:]}")
        lines = Path(found.name).read_text(encoding="utf-8").splitlines()
    (total,) = (line.split()[1] for line in lines if line.startswith("totals:"))
    return int(total)


def ratios() -> list[str]:
    """Print the ratios of short rows beside half of the README's; return what is below."""
    from peers.machine import take_one_core

    take_one_core()
    import catoptric
    from peers.table import goal_of, stated
    from side_by_side import THEMES

    use = catoptric.vector_instructions()
    known = stated(ROOT / "README.md")
    print(f"ratios with {use}, and {STATED_SHARE:g} of those in README.md")
    wrong: list[str] = []
    themes: list[list[Row]] = []
    for theme in THEMES:
        try:
            themes.append(importlib.import_module(f"peers.{theme}").rows())
        except ModuleNotFoundError as missing:
            print(f"    {theme}: {missing.name} is not installed, its rows are left out")
    end = time.monotonic() + TOGETHER_S
    # The first rows of all themes come before their second ones.
    for row in (row for level in zip_longest(*themes) for row in level if row is not None):
        wanted = [peer for peer in row.peers if goal_of(peer, use) is not None]
        if wanted and time.monotonic() > end:
            print(f"    {row.title}: no time left")
        elif wanted and is_short(row):
            least = {peer.name: least_of(known.get((row.title, peer.name)), use) for peer in wanted}
            below = short_of(row, least) and short_of(row, least)
            wrong += [f"{row.title}: {line}" for line in below]
    return wrong


def is_short(row: Row) -> bool:
    """Return whether a round of all peers takes little time; the first call may compile them."""
    from peers.measure import fastest

    together = sum(fastest(peer.work, 2) for peer in row.peers)
    if together > LONGEST_ROUND_S:
        print(f"    {row.title}: a round of {together:.1f} s is too long here")
    return together <= LONGEST_ROUND_S


def least_of(ratio: float | None, use: str) -> float:
    """Return what a row has to reach beside a peer, from the README's ratio with AVX-512."""
    from peers.table import GOAL_SHARES

    # A row that is not in the README asks to be put there.
    return math.inf if ratio is None else STATED_SHARE * GOAL_SHARES[use] * ratio


def short_of(row: Row, least: dict[str, float]) -> list[str]:
    """Print the ratios of a row; return those that lie below what is asked for."""
    from peers.measure import measure
    from peers.table import digits

    timed = measure(row, rounds=3)
    print(f"    {row.title}")
    below = []
    for peer in (peer for peer in row.peers if peer.name in least):
        ratio, asked = timed.ratio(peer)[0], least[peer.name]
        line = f"{digits(ratio)} x beside {peer.name}, at least {digits(asked)}"
        print(f"        {line}")
        if ratio < asked:
            below.append(line)
    return below


if __name__ == "__main__":
    sys.exit(main())
