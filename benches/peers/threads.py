"""Two threads beside one: each count lives in a process of its own, as a process reads it once."""

from __future__ import annotations

import atexit
import os
import subprocess
import sys

from .measure import Accuracy, Peer, Row

GOAL = 1.85
TWO_MILLION = 2_000_000
JOBS = {
    "rings": "statistics of 1e7 rays of our own rings",
    "rays": "statistics of 4e6 given rays",
    "readings": "12 readings, 2000 draws",
    "diagonals": "diagonals, 40 rows",
    "light_map": "light over a sensor, 33 x 22 points",
    "through_focus": "star images through focus, 24 planes of 129 x 129",
}

BOUNDS = {
    "readings": "a sixth of the work is one thread's: what is assumed is weighed before any draw",
    "through_focus": "pages of new memory for the pictures are handed out one after another",
}


class Worker:
    """A process that does jobs on so many threads, on whichever cores there are."""

    def __init__(self, threads: int) -> None:
        """Start it."""
        environment = os.environ | {"CATOPTRIC_NUM_THREADS": str(threads)}
        environment["PYTHONPATH"] = os.pathsep.join(path for path in sys.path if path)
        self.process = subprocess.Popen(
            [sys.executable, "-m", "peers.threads"],
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        atexit.register(self.process.kill)

    def ask(self, job: str) -> list[str]:
        """Do a job; return the answer's text, and the seconds of the processor and of the clock."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        print(job, file=self.process.stdin, flush=True)
        return self.process.stdout.readline().rstrip("\n").split("\t")


def rows() -> list[Row]:
    """Return the rows of this theme; none where there is one core."""
    if (os.cpu_count() or 1) < 2:
        return []
    one, two = Worker(1), Worker(2)
    return [row(job, title, one, two) for job, title in JOBS.items()]


def row(job: str, title: str, one: Worker, two: Worker) -> Row:
    """Compare one job on one thread and on two."""

    def accuracy() -> list[Accuracy]:
        alone = one.ask(job)
        found = [two.ask(job) for _ in range(5)]
        share = max(float(cpu) / float(wall) for _, cpu, wall in found)
        return [
            Accuracy("answers that differ in a bit", float(found[0][0] != alone[0]), 0.0),
            Accuracy("seconds of the processor a second, two threads, best of five", share),
            Accuracy("milliseconds on one thread", 1e3 * float(alone[2])),
        ]

    return Row(
        f"two threads: {title}",
        lambda: two.ask(job),
        [Peer("one thread", lambda: one.ask(job), goal=GOAL)],
        accuracy,
        bound=BOUNDS.get(job, "two cores; what others do on them counts against two threads alone"),
        repeats=5,
    )


def serve() -> None:
    """Do jobs as they are asked for, one line each."""
    import hashlib
    import time
    from collections.abc import Callable

    import catoptric as ct
    import numpy as np

    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, range(os.cpu_count() or 1))
    edge = ct.TurnedEdge(width_mm=9, drop_nm=330)
    train = ct.Train(
        primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[edge]),
        diagonal=ct.Diagonal(minor_axis_mm=70),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
        drawtube=ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18),
    )
    k = np.arange(2 * TWO_MILLION) + 0.5
    r, turn = 159 * np.sqrt(k / k.size), np.pi * (3 - np.sqrt(5)) * k
    origins = np.array([r * np.cos(turn), r * np.sin(turn), np.full(k.size, 2000.0)])
    radii = np.linspace(25, 155, 12)
    readings = ct.KnifeEdgeReadings(
        clear_aperture_mm=318,
        radius_of_curvature_mm=3116,
        source="moving",
        readings_increase="away_from_mirror",
        radius_mm=radii,
        runs_mm=[radii**2 / 3116 + 0.01 * np.sin(radii), radii**2 / 3116 - 0.01 * np.cos(radii)],
    )
    batch = ct.DiagonalBatch(
        train,
        minor_axis_mm=np.linspace(55, 95, 10),
        field_radius_mm=[0, 12],
        axis_to_focus_mm=np.linspace(225, 260, 4),
    )
    wave = train.wavefront(field_arcmin=(5.0, 0.0))
    jobs: dict[str, Callable[[], object]] = {
        "rings": lambda: train.spot_of_rings(rings=5000, rays_per_ring=2000),
        "rays": lambda: train.spot_of_rays(origins_mm=origins, directions=(0, 0, -1)),
        "readings": lambda: readings.reduce(draws=2000).strehl_interval,
        "diagonals": batch.run,
        "light_map": lambda: train.light_map(along_mm=36, across_mm=24, points=33).relative,
        "through_focus": lambda: (
            wave.through_focus(defocus_waves=np.linspace(-3, 3, 24), pixels=129).images
        ),
    }
    for line in sys.stdin:
        work = jobs[line.strip()]
        wall, cpu = time.perf_counter(), time.process_time()
        answer = work()
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        held = answer.tobytes() if isinstance(answer, np.ndarray) else repr(answer).encode()
        print(f"{hashlib.sha256(held).hexdigest()}\t{cpu}\t{wall}", flush=True)


if __name__ == "__main__":
    serve()
