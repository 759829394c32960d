"""Masks over the edge of a mirror that is known by readings: the Strehl through each."""

from __future__ import annotations

from typing import Any

import catoptric as ct
import numpy as np
from scipy.optimize import minimize_scalar

from .measure import Accuracy, Peer, Row, size

RIM_MM, SHADOW_MM, WAVE_NM, CURVATURE_MM = 159.0, 35.0, 550.0, 3116.0
FIGURES, FEW = size(1000, 100), size(20, 2)
Answer = Any


class MaskNodes:
    """Quadrature nodes of a round mirror that stop at each mask's rim, and steps of defocus."""

    def __init__(self, masks_mm: Answer, order: int = 4) -> None:
        breaks = np.unique(np.concatenate([[SHADOW_MM], np.linspace(35, 140, 9), masks_mm / 2]))
        x, w = np.polynomial.legendre.leggauss(order)
        low, high = breaks[:-1, None], breaks[1:, None]
        self.r = ((low + high) / 2 + (high - low) / 2 * x).ravel()
        self.weight = ((high - low) / 2 * w).ravel() * self.r
        self.end = np.searchsorted(self.r, masks_mm / 2)
        self.defocus = (self.r / RIM_MM) ** 2 * 2 * np.sqrt(3)
        self.steps = np.arange(-20, 21) * 0.15

    def figures(self, count: int) -> Answer:
        """Return wavefronts of mirrors of chance, radians: a conic, a wave and a turned edge."""
        rng = np.random.default_rng(1)
        t = self.r / RIM_MM
        conic = rng.normal(60, 15, (count, 1)) * t**4
        wave = rng.normal(0, 8, (count, 1)) * np.cos(6 * t + rng.uniform(0, 6, (count, 1)))
        width = rng.uniform(1, 12, (count, 1))
        edge = rng.normal(300, 100, (count, 1)) * np.clip(1 + (self.r - RIM_MM) / width, 0, 1) ** 2
        return radians(conic + wave - edge, self.r)

    def known(self) -> Answer:
        """Return the wavefront of the known mirror, radians."""
        edge = np.clip(1 + (self.r - RIM_MM) / 9, 0, 1) ** 2
        zone = np.exp(-(((self.r - 95) / 13) ** 2))
        return radians(28 * zone - 330 * edge, self.r)

    def focused(self, phase: Answer) -> Answer:
        """Return the phases less piston and the defocus of least RMS over the whole mirror."""
        total = self.weight.sum()
        t = self.defocus - (self.weight @ self.defocus) / total
        slope = (phase * self.weight) @ t / ((self.weight * t) @ t)
        return phase - slope[:, None] * t


def radians(height_nm: Answer, radius_mm: Answer) -> Answer:
    """Return the wavefront of a height of glass."""
    return 4 * np.pi / WAVE_NM * height_nm / (1 + (radius_mm / CURVATURE_MM) ** 2)


def by_running_sums(nodes: MaskNodes, phase: Answer) -> Answer:
    """Return the Strehl of each figure at each mask: running sums of whole arrays, a parabola."""
    phase = nodes.focused(phase)
    area = np.cumsum(nodes.weight)[nodes.end - 1]
    seen = np.empty((len(nodes.steps), len(phase), len(nodes.end)))
    turned = nodes.weight * np.exp(1j * (phase - nodes.steps[0] * nodes.defocus))
    step = np.exp(-1j * (nodes.steps[1] - nodes.steps[0]) * nodes.defocus)
    for k in range(len(nodes.steps)):
        seen[k] = np.abs(np.cumsum(turned, axis=1)[:, nodes.end - 1] / area) ** 2
        turned *= step
    return summit(seen)


def one_mask_after_another(nodes: MaskNodes, phase: Answer) -> Answer:
    """Return the same, each mask by itself, as one writes it first."""
    found = np.empty((len(phase), len(nodes.end)))
    phase = nodes.focused(phase)
    for j, end in enumerate(nodes.end):
        weight = nodes.weight[:end] / nodes.weight[:end].sum()
        turns = [phase[:, :end] - d * nodes.defocus[:end] for d in nodes.steps]
        found[:, j] = summit(np.array([np.abs(np.exp(1j * turn) @ weight) ** 2 for turn in turns]))
    return found


def summit(seen: Answer) -> Answer:
    """Return the greatest value along the first axis, by a parabola through three steps."""
    best = np.clip(np.argmax(seen, axis=0), 1, len(seen) - 2)[None]
    a, b, c = (np.take_along_axis(seen, best + k, axis=0)[0] for k in (-1, 0, 1))
    return b - (c - a) ** 2 / (8 * np.minimum(a - 2 * b + c, -1e-12))


def at_its_best_focus(nodes: MaskNodes) -> Answer:
    """Return the Strehl of the known mirror at each mask, its focus sought to rounding: the truth.

    The defocus is that of a moved focus on the mirror's own sphere of reference, r^2/(1 + (r/R)^2).
    """
    phase, found = nodes.known(), []
    defocus = nodes.defocus / (1 + (nodes.r / CURVATURE_MM) ** 2)
    around = nodes.steps[np.argmax(steps_of_focus(nodes, phase, defocus), axis=0)]
    for end, near in zip(nodes.end, around, strict=True):
        weight = nodes.weight[:end] / nodes.weight[:end].sum()

        def dark(d: float, end: int = end, weight: Answer = weight) -> float:
            return -float(np.abs(np.exp(1j * (phase[:end] - d * defocus[:end])) @ weight) ** 2)

        best = minimize_scalar(
            dark, bounds=(near - 0.15, near + 0.15), method="bounded", options={"xatol": 1e-6}
        )
        found.append(-best.fun)
    return np.array(found)


def steps_of_focus(nodes: MaskNodes, phase: Answer, defocus: Answer) -> Answer:
    """Return the brightness at each step of defocus and each mask."""
    turned = nodes.weight * np.exp(1j * (phase - np.outer(nodes.steps, defocus)))
    area = np.cumsum(nodes.weight)[nodes.end - 1]
    return np.abs(np.cumsum(turned, axis=1)[:, nodes.end - 1] / area) ** 2


def known_mirror() -> ct.Train:
    """Return the train of the known mirror, its shadow in the middle."""
    edge = ct.TurnedEdge(width_mm=9, drop_nm=330)
    hill = ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28)
    mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[edge, hill])
    return ct.Train(
        primary=mirror,
        diagonal=ct.Diagonal(minor_axis_mm=2 * SHADOW_MM, offset_mm=0),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
    )


def readings() -> ct.KnifeEdgeReadings:
    """Return invented readings."""
    return ct.KnifeEdgeReadings(
        clear_aperture_mm=318,
        radius_of_curvature_mm=CURVATURE_MM,
        source="moving",
        readings_increase="away_from_mirror",
        radius_mm=[40, 65, 86, 104, 119, 132, 144, 154],
        runs_mm=[[0.25, 0.66, 1.17, 1.75, 2.27, 2.81, 3.33, 5.2]] * 4,
    )


def rows() -> list[Row]:
    """Return the theme's rows."""
    masks = np.linspace(268, 318, 101)[:-1]
    fast = {"diameters_mm": masks, "detail_arcsec": [], "star_image": False}
    figure = readings().reduce(draws=FIGURES, obstruction_ratio=SHADOW_MM / RIM_MM)
    nodes = MaskNodes(np.append(masks, 318.0))
    phase = nodes.figures(FIGURES)

    def accuracy() -> list[Accuracy]:
        truth = at_its_best_focus(MaskNodes(np.append(masks, 318.0), order=16))[:-1]
        known = nodes.known()[None]
        what = "Strehl of a known mirror beside a sum of its nodes"
        return [
            Accuracy(what, off(ct.mask_sweep(known_mirror(), **fast).strehl, truth), 1e-7),
            Accuracy("the same by running sums", off(by_running_sums(nodes, known)[0][:-1], truth)),
            Accuracy(
                "the same, one mask after another",
                off(one_mask_after_another(nodes, known)[0][:-1], truth),
            ),
        ]

    return [
        Row(
            title=f"{len(masks)} masks over {FIGURES} figures, drawn from readings on the way",
            ours=lambda: ct.mask_sweep(figure, **fast).strehl,
            peers=[
                Peer("numpy, running sums, figures given", lambda: by_running_sums(nodes, phase)),
                Peer(
                    "numpy, one mask after another",
                    lambda: one_mask_after_another(nodes, phase[:FEW]),
                    share=FEW / FIGURES,
                ),
            ],
            accuracy=accuracy,
            count=len(masks) * FIGURES,
            pieces="Strehls",
            bound="the sines and cosines of each figure's nodes, and drawing the figures",
        )
    ]


def off(found: Answer, truth: Answer) -> float:
    """Return the largest difference."""
    return float(np.abs(found - truth).max())
