"""The library beside its general-purpose peers: same inputs, same process, one core, one thread.

    python benches/side_by_side.py                    # all themes of benches/peers/
    python benches/side_by_side.py rays masks         # some
    python benches/side_by_side.py --simd avx2        # narrower instructions, 55 % of the goals
    python benches/side_by_side.py --readme           # puts the table into README.md as well

Rounds alternate between the peers. A row gives the median over the rounds of (peer's time / our
time) with its quartiles, our time, how far each answer lies from outside truth, the goal, and what
bounds it. A row whose answer is further off than its limit is not timed, and the exit code is 1.
At the end stands the table of the README. Other work on the machine empties caches and widens the
quartiles.
"""

from __future__ import annotations

import argparse
import dataclasses
import importlib
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from peers.machine import facts, take_one_core
from peers.table import block, goal_of, markdown, missed, put

if TYPE_CHECKING:
    from peers.measure import Timed

README = Path(__file__).parent.parent / "README.md"
THEMES = sorted(
    path.stem
    for path in (Path(__file__).parent / "peers").glob("*.py")
    if "\ndef rows(" in path.read_text(encoding="utf-8")
)


def main() -> int:
    """Measure and print the rows that are asked for; return the exit code."""
    asked = arguments()
    take_one_core(asked.core, asked.simd)
    machine = facts()
    print("\n".join(f"{name}: {fact}" for name, fact in machine.items()), flush=True)
    found: dict[str, list[Timed]] = {}
    failed: list[str] = []
    for theme in asked.themes or THEMES:
        print(f"\n== {theme}", flush=True)
        found[theme] = measured(theme, asked.rounds, machine["instructions"], failed)
    rows = [timed for theme in found.values() for timed in theme]
    table = markdown(rows, machine | {"load": facts()["load"]})
    print(f"\n== table\n\n{table}")
    if asked.readme:
        put(README, "speed", table)
    short = [timed.row.title for timed in rows if missed(timed, machine["instructions"])]
    print("\n" + ("rows below a goal:" if short else "no row is below a goal"))
    print("".join(f"    {title}\n" for title in short), end="")
    print("".join(f"FAILED: {line}\n" for line in failed), end="")
    if asked.json is not None:
        asked.json.write_text(json.dumps(plain(found, machine), indent=1), encoding="utf-8")
    return 1 if failed else 0


def arguments() -> argparse.Namespace:
    """Return what the command line asks for."""
    parser = argparse.ArgumentParser(description="Times of the library beside those of its peers.")
    parser.add_argument("themes", nargs="*", metavar="theme", help=f"of {', '.join(THEMES)} (all)")
    parser.add_argument("--rounds", type=int, default=7, help="alternating rounds (7)")
    parser.add_argument("--core", type=int, help="core to be pinned to (the last)")
    parser.add_argument("--simd", choices=["avx512", "avx2", "portable"], help="instructions")
    parser.add_argument("--json", type=Path, help="file for all that was measured")
    parser.add_argument("--readme", action="store_true", help="put the table into README.md")
    asked = parser.parse_args()
    unknown = set(asked.themes) - set(THEMES)
    if unknown:
        parser.error(f"no theme {', '.join(sorted(unknown))}; there are {', '.join(THEMES)}")
    return asked


def measured(theme: str, rounds: int, instructions: str, failed: list[str]) -> list[Timed]:
    """Return the rows of a theme that were timed, each printed as it comes."""
    from peers.measure import measure

    timed: list[Timed] = []
    try:
        rows = importlib.import_module(f"peers.{theme}").rows()
    except ModuleNotFoundError as missing:
        failed.append(f"{theme}: {missing.name} is not installed, its rows are left out")
        print(failed[-1], flush=True)
        return timed
    while rows:
        # Taken from the list, and kept without its work: columns of rays are large.
        try:
            found = measure(rows.pop(0), rounds)
        except Exception as wrong:
            # Told at the end with the exit code; the other rows are worth having.
            failed.append(f"{theme}: {type(wrong).__name__}: {wrong}")
            print(failed[-1], flush=True)
            continue
        timed.append(without_work(found))
        print(block(timed[-1], instructions), flush=True)
    return timed


def without_work(timed: Timed) -> Timed:
    """Return the same times without what was timed."""
    peers = [dataclasses.replace(peer, work=list) for peer in timed.row.peers]
    row = dataclasses.replace(timed.row, ours=list, accuracy=list, peers=peers)
    return dataclasses.replace(timed, row=row)


def plain(found: dict[str, list[Timed]], machine: dict[str, str]) -> dict[str, object]:
    """Return all that was measured, as JSON holds it."""
    rows = [
        {
            "theme": theme,
            "title": timed.row.title,
            "ours_s": timed.ours_s,
            "count": timed.row.count,
            "bound": timed.row.bound,
            "accuracy": [dataclasses.asdict(line) for line in timed.accuracy],
            "peers": [
                {
                    "name": peer.name,
                    "goal": goal_of(peer, machine["instructions"]),
                    "ratios": timed.ratios[peer.name],
                }
                for peer in timed.row.peers
            ],
        }
        for theme, rows in found.items()
        for timed in rows
    ]
    return {"machine": machine, "rows": rows}


if __name__ == "__main__":
    sys.exit(main())
