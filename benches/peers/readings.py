"""Noisy repeats of knife-edge readings beside what a good numpy user would write."""

from __future__ import annotations

import catoptric as ct
import numpy as np

from .measure import Accuracy, Peer, Row

Answer = np.ndarray

APERTURE_MM, CURVATURE_MM, OBSTRUCTION = 318.0, 3116.0, 0.22
WAVE_NM, SIGMA_MM, REPEATS, OPENINGS = 550.0, 0.05, 10_000, 12
TURN = 2.0 * np.pi / WAVE_NM
NODES = 3
"""Gauss nodes on each opening: 4e-9 of the Strehl; two are 6e-6 off, more than the row allows."""


class Mirror:
    """An invented 318 mm mirror, read once through twelve openings."""

    def __init__(self) -> None:
        rims = 20.0 + 139.0 * np.sqrt(np.arange(OPENINGS + 1) / OPENINGS)
        ideal = (rims[:-1] ** 2 + rims[1:] ** 2) / (4.0 * CURVATURE_MM)
        number = np.arange(OPENINGS)
        off = 0.05 * np.sin(1.3 * number) + 0.004 * number
        self.readings = ct.KnifeEdgeReadings(
            clear_aperture_mm=APERTURE_MM,
            radius_of_curvature_mm=CURVATURE_MM,
            source="moving",
            readings_increase="away_from_mirror",
            inner_radius_mm=rims[:-1],
            outer_radius_mm=rims[1:],
            runs_mm=ideal + off,
        )
        self.error_mm = off - off.mean()
        # Openings touch: the first one is taken to reach the centre.
        self.knots = np.concatenate([[0.0], rims[1:]]) ** 2
        self.inner = (OBSTRUCTION * APERTURE_MM / 2.0) ** 2

    def nodes(self, count: int) -> tuple[Answer, Answer]:
        """Return squared radii and weights that add up to 1, `count` of them on each opening."""
        x, w = np.polynomial.legendre.leggauss(count)
        low, high = np.maximum(self.knots[:-1], self.inner)[:, None], self.knots[1:, None]
        width = np.maximum(high - low, 0.0)
        square = (low + high) / 2.0 + width / 2.0 * x
        weight = width / 2.0 * w
        kept = weight.ravel() > 0.0
        return square.ravel()[kept], weight.ravel()[kept] / weight.sum()

    def heights(self, square: Answer) -> Answer:
        """Return the heights for an error of 1 mm of each opening, nm: points by openings."""
        width = np.clip(square[:, None], self.knots[:-1], self.knots[1:]) - self.knots[:-1]
        return -1e6 / (2.0 * CURVATURE_MM**2) * width


class Operator:
    """Readings to phases at best focus, as one matrix made before the clock starts."""

    def __init__(self, mirror: Mirror, nodes: int) -> None:
        square, self.weight = mirror.nodes(nodes)
        share = 1.0 / (1.0 + square / CURVATURE_MM**2)
        phase = TURN * 2.0 * share[:, None] * mirror.heights(square)
        t = share * square
        t = t - self.weight @ t
        slope = (self.weight * t) @ phase / (self.weight @ t**2)
        self.matrix = phase - self.weight @ phase - np.outer(t, slope)
        self.base = self.matrix @ mirror.error_mm
        self.noise = SIGMA_MM * self.matrix.T

    def strehl(self, normals: Answer) -> Answer:
        """Return the Strehl of each row of draws: one matrix product, one exponential of all."""
        phase = normals @ self.noise
        phase += self.base
        return np.abs(np.exp(1j * phase) @ self.weight) ** 2

    def strehl_by_two(self, normals: Answer) -> Answer:
        """Return the same by cosine and sine, which numpy has as vector instructions."""
        phase = normals @ self.noise
        phase += self.base
        return (np.cos(phase) @ self.weight) ** 2 + (np.sin(phase) @ self.weight) ** 2


class Steps:
    """The reduction step by step, in whole arrays; what does not change is made beforehand."""

    def __init__(self, mirror: Mirror) -> None:
        self.error_mm = mirror.error_mm
        self.rise = -1e6 / (2.0 * CURVATURE_MM**2) * np.diff(mirror.knots)
        square, self.weight = mirror.nodes(NODES)
        self.place = np.clip(np.searchsorted(mirror.knots, square) - 1, 0, OPENINGS - 1)
        self.part = (square - mirror.knots[self.place]) / np.diff(mirror.knots)[self.place]
        self.share = 2.0 / (1.0 + square / CURVATURE_MM**2)
        t = self.share * square
        self.t = t - self.weight @ t
        self.fit = self.weight * self.t / (self.weight @ self.t**2)

    def strehl(self, normals: Answer) -> Answer:
        """Return the Strehl of each row of draws."""
        errors = self.error_mm + SIGMA_MM * normals
        errors -= errors.mean(axis=1, keepdims=True)
        heights = np.zeros((len(errors), OPENINGS + 1))
        np.cumsum(self.rise * errors, axis=1, out=heights[:, 1:])
        low, high = heights[:, self.place], heights[:, self.place + 1]
        wave = self.share * (low + (high - low) * self.part)
        wave -= (wave @ self.weight)[:, None]
        wave -= (wave @ self.fit)[:, None] * self.t
        return np.abs(np.exp(1j * TURN * wave) @ self.weight) ** 2


def rows() -> list[Row]:
    """Return the row of noisy repeats."""
    mirror = Mirror()
    operator, converged, steps = Operator(mirror, NODES), Operator(mirror, 32), Steps(mirror)

    def draws(count: int) -> Answer:
        return np.random.default_rng(1).standard_normal((count, OPENINGS))

    def ours() -> Answer:
        study = mirror.readings.noise_study(
            reading_sigma_mm=SIGMA_MM, repeats=REPEATS, obstruction_ratio=OBSTRUCTION
        )
        return np.asarray(study.strehl_least_rms)

    def loop(count: int) -> Answer:
        found = np.empty(count)
        for k, normals in enumerate(draws(count)):
            phase = operator.base + normals @ operator.noise
            found[k] = np.abs(np.exp(1j * phase) @ operator.weight) ** 2
        return found

    def accuracy() -> list[Accuracy]:
        study = mirror.readings.noise_study(
            reading_sigma_mm=SIGMA_MM, repeats=REPEATS, obstruction_ratio=OBSTRUCTION
        )
        # The very draws of our repeats, through a converged quadrature.
        errors = np.asarray(study.zone_errors_mm(first=0, count=REPEATS))
        truth = converged.strehl((errors - mirror.error_mm) / SIGMA_MM)
        normals = draws(REPEATS)
        known = converged.strehl(normals)
        both = np.sort(np.concatenate([study.strehl_least_rms, known]))
        below = [
            np.searchsorted(np.sort(list_), both, side="right") / REPEATS
            for list_ in (study.strehl_least_rms, known)
        ]
        # Smirnov's point that chance passes once in a thousand.
        allowed = 1.949 * np.sqrt(2.0 / REPEATS)
        found = [
            Accuracy("ours, same draws, Strehl", largest(study.strehl_least_rms, truth), 1e-7),
            Accuracy(
                "ours and numpy's own draws, distance of distributions over chance's",
                float(np.abs(below[0] - below[1]).max() / allowed),
                1.0,
            ),
            Accuracy("matrix product, Strehl", largest(operator.strehl(normals), known)),
            Accuracy(
                "its cosine and sine, Strehl", largest(operator.strehl_by_two(normals), known)
            ),
            Accuracy("step by step, Strehl", largest(steps.strehl(normals), known)),
        ]
        few = draws(200)
        found.append(Accuracy("loop, Strehl", largest(loop(200), converged.strehl(few))))
        return found

    return [
        Row(
            title="10 000 noisy repeats of 12 readings to a Strehl each",
            ours=ours,
            peers=[
                Peer("numpy, one matrix product", lambda: operator.strehl(draws(REPEATS)), 65),
                Peer("the same by cosine and sine", lambda: operator.strehl_by_two(draws(REPEATS))),
                Peer(
                    "numpy, step by step in whole arrays",
                    lambda: steps.strehl(draws(REPEATS)),
                    95,
                ),
                Peer("numpy, a loop over repeats", lambda: loop(500), 650, 500 / REPEATS),
            ],
            accuracy=accuracy,
            count=REPEATS,
            pieces="repeats",
            bound=(
                "for eight repeats side by side 32 multiplications for each of 12 openings, 29 for "
                "each of 6 pairs of draws, 20 for each of 3 sets of words, 75 from draws to "
                "phases: some 700 cycles of one multiplier, 0.24 ms for all at 3.7 GHz"
            ),
            repeats=15,
        )
    ]


def largest(a: Answer, b: Answer) -> float:
    """Return the largest difference."""
    return float(np.abs(np.asarray(a) - np.asarray(b)).max())
