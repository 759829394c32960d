"""How rows are measured: in one process, in alternating rounds, medians of ratios."""

from __future__ import annotations

import os
import resource
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

Work = Callable[[], object]

SHORT_S = 1e-3
"""Shorter than the time for which another program is given the core."""


@dataclass(frozen=True)
class Peer:
    """Another way to the same answer."""

    name: str
    work: Work
    goal: float | None = None
    """The ratio peer / ours that the library wants to reach; none where none is set."""
    share: float = 1.0
    """The part of the whole question that `work` answers, where the whole would take minutes."""


@dataclass(frozen=True)
class Accuracy:
    """How far an answer lies from outside truth or from another answer."""

    what: str
    """What is compared with what, and the unit."""
    reached: float
    limit: float | None = None
    """What the row promises; none for the error of a peer."""


@dataclass(frozen=True)
class Row:
    """One question, our answer and those of the peers."""

    title: str
    ours: Work
    peers: Sequence[Peer]
    accuracy: Callable[[], list[Accuracy]]
    """Asked before the clock starts; a row whose accuracy is beyond its limit is not timed."""
    count: int | None = None
    """How many pieces the work has (rays, repeats), and what they are called."""
    pieces: str = "pieces"
    bound: str = ""
    """What no program on this kind of processor goes below, and why."""
    repeats: int = 3
    """Calls of ours in a round, of which the fastest counts, as for the peers."""


@dataclass(frozen=True)
class Timed:
    """A row's measured times."""

    row: Row
    accuracy: list[Accuracy]
    ours_s: list[float]
    ratios: dict[str, list[float]] = field(default_factory=dict)

    @property
    def median_s(self) -> float:
        """The median over the rounds of our time, s."""
        return statistics.median(self.ours_s)

    def ratio(self, peer: Peer) -> tuple[float, float, float]:
        """Return the median over the rounds of peer / ours, and its quartiles."""
        found = sorted(self.ratios[peer.name])
        if len(found) < 2:
            return found[0], found[0], found[0]
        low, middle, high = statistics.quantiles(found, n=4, method="inclusive")
        return middle, low, high


def size(full: int, small: int) -> int:
    """Return a size of a row's work: the small one in a test, which sets CATOPTRIC_BENCH_SMALL."""
    return small if os.environ.get("CATOPTRIC_BENCH_SMALL") else full


def measure(row: Row, rounds: int) -> Timed:
    """Check a row's accuracy, then time it against its peers in alternating rounds.

    Errors: `AssertionError` where an answer is further off than its row allows.
    """
    accuracy = row.accuracy()
    for line in accuracy:
        assert line.limit is None or line.reached <= line.limit, (
            f"{row.title}: {line.what} is {line.reached:.2e}, the limit is {line.limit:.1e}"
        )
    row.ours()
    for peer in row.peers:
        peer.work()
    ours: list[float] = []
    ratios: dict[str, list[float]] = {peer.name: [] for peer in row.peers}
    for _ in range(rounds):
        own = fastest(row.ours, row.repeats)
        ours.append(own)
        for peer in row.peers:
            # Long work needs no repeats: what disturbs it is a small part.
            calls = 1 if own > 0.2 or peer.share < 1.0 else row.repeats
            ratios[peer.name].append(fastest(peer.work, calls) / peer.share / own)
    return Timed(row, accuracy, ours, ratios)


def fastest(work: Work, calls: int) -> float:
    """Return the seconds that the fastest of some calls takes.

    What other programs take of the core does not count: of the wall's and the processor's seconds
    the fewer are taken, which for work in several threads are the wall's. Work that waits for
    another process has given up the core by itself: there the wall's count. So they do for short
    work, which others stop rarely, and whose seconds of the processor are too coarse.
    """
    best = float("inf")
    for _ in range(calls):
        gave_up, busy, start = times_given_up(), time.process_time(), time.perf_counter()
        work()
        took = time.perf_counter() - start
        busy = time.process_time() - busy
        waited = times_given_up() > gave_up and busy < 0.1 * took
        best = min(best, took if waited or took < SHORT_S else min(took, busy))
    return best


def times_given_up() -> int:
    """Return how often this process has waited rather than been stopped."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_nvcsw
