"""How measured rows are shown: a block for each on the screen, one table for the README."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from .measure import Accuracy, Peer, Timed

GOAL_SHARES = {"avx512": 1.0, "avx2": 0.55}
"""The part of a goal that each set of instructions has to reach; others have none."""


def goal_of(peer: Peer, instructions: str) -> float | None:
    """Return the ratio that is wanted with these instructions, or None."""
    share = GOAL_SHARES.get(instructions)
    return None if peer.goal is None or share is None else peer.goal * share


def missed(timed: Timed, instructions: str) -> list[Peer]:
    """Return the peers beside which a row stays below its goal."""
    goals = ((peer, goal_of(peer, instructions)) for peer in timed.row.peers)
    return [p for p, goal in goals if goal is not None and timed.ratio(p)[0] < goal]


def block(timed: Timed, instructions: str) -> str:
    """Return what the screen shows of a row."""
    row, own = timed.row, timed.median_s
    each = ""
    if row.count is not None and row.count > 1:
        each = f"   {time_text(own / row.count)} each of {row.count:,} {row.pieces}"
    lines = [row.title, f"    ours {time_text(own)}{each}"]
    for peer in row.peers:
        middle, low, high = timed.ratio(peer)
        goal = goal_of(peer, instructions)
        wanted = "" if goal is None else f"   goal {goal:g}"
        below = "   BELOW ITS GOAL" if goal is not None and middle < goal else ""
        spread = f"({digits(low)} to {digits(high)})"
        lines.append(f"    {peer.name:36s} {digits(middle):>6s} x   {spread:18s}{wanted}{below}")
    lines += [f"    accuracy: {accuracy_text(line)}" for line in timed.accuracy]
    if row.bound:
        lines.append(f"    bound: {row.bound}")
    return "\n".join(lines)


def markdown(rows: Sequence[Timed], facts: Mapping[str, str]) -> str:
    """Return the table of the README, with its machine and what falls short."""
    instructions = facts["instructions"]
    lines = [
        f"{facts['date']}; {facts['processor']}, {facts['cores']} cores, {instructions}; "
        f"{facts['versions']}; load average {facts['load']}.",
        "",
        "| question | ours | beside | their time / ours (quartiles) | goal | error, limit |",
        "| --- | ---: | --- | ---: | ---: | --- |",
    ]
    for timed in rows:
        row = timed.row
        held = [line for line in timed.accuracy if line.limit is not None]
        first = [row.title, time_text(timed.median_s)]
        last = "; ".join(accuracy_text(line) for line in held)
        for peer in row.peers:
            middle, low, high = timed.ratio(peer)
            goal = goal_of(peer, instructions)
            short = goal is not None and middle < goal
            ratio = f"{digits(middle)} ({digits(low)} to {digits(high)})"
            wanted = "" if goal is None else f"{goal:g}{', missed' if short else ''}"
            lines.append("| " + " | ".join([*first, peer.name, ratio, wanted, last]) + " |")
            first, last = ["", ""], ""
    behind = [timed.row for timed in rows if missed(timed, instructions)]
    if behind:
        lines += ["", "What bounds the rows that miss a goal:", ""]
        lines += [f"- {row.title}: {row.bound or 'not known'}" for row in behind]
    return "\n".join(lines)


def stated(page: Path) -> dict[tuple[str, str], float]:
    """Return the ratios of a page's table, as `markdown` writes it, by question and peer."""
    _, table, _ = around(page, "speed")
    found: dict[tuple[str, str], float] = {}
    title = ""
    for line in table.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split(" | ")]
        if line.startswith("|") and cells[3][:1].isdigit():
            title = cells[0] or title
            found[title, cells[2]] = float(cells[3].split()[0])
    return found


def put(page: Path, name: str, text: str) -> None:
    """Write a text into a page of the repository, between the two comments of this name."""
    before, _, after = around(page, name)
    page.write_text(f"{before}\n\n{text}\n\n{after}", encoding="utf-8")


def around(page: Path, name: str) -> tuple[str, str, str]:
    """Return a page up to the first comment of this name, what is between them, and the rest."""
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    before, rest = page.read_text(encoding="utf-8").split(begin)
    between, after = rest.split(end)
    return before + begin, between, end + after


def accuracy_text(line: Accuracy) -> str:
    """Return one line of accuracy."""
    limit = "" if line.limit is None else f" (limit {line.limit:.1g})"
    return f"{line.what} {line.reached:.2g}{limit}"


def time_text(seconds: float) -> str:
    """Return a time in the unit that suits it."""
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6)):
        if seconds >= size:
            return f"{digits(seconds / size)} {unit}"
    return f"{digits(seconds * 1e9)} ns"


def digits(value: float) -> str:
    """Return three digits of a number, without an exponent."""
    return f"{value:.{2 if value < 10 else 1 if value < 100 else 0}f}"
