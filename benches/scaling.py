"""How the time of each analysis grows with its size, over three decades, on one core.

    python benches/scaling.py                      # the table on the screen
    python benches/scaling.py --page               # into DEVELOPERS.md, with its picture

A straight line through the logarithms of time and size gives the exponent with its standard error.
A fixed part of the work flattens the small end, so the exponent of the last decade stands beside
it. `needs` says which exponent the work itself has there.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from peers.machine import facts, take_one_core

if TYPE_CHECKING:
    import catoptric as ct

Work = Callable[[], object]
PICTURE = Path(__file__).with_name("scaling.png")
PAGE = Path(__file__).parent.parent / "DEVELOPERS.md"
FOCAL_MM, RIM_MM = 1558.0, 159.0
HALF_UM = 12 * 0.55 * FOCAL_MM / (2 * RIM_MM)
LONG_ENOUGH_S, ROUNDS = 0.02, 5


@dataclass(frozen=True)
class Analysis:
    """One question, and what of it grows."""

    name: str
    sizes: Sequence[int]
    ready: Callable[[int], Work]
    needs: float
    """Exponent of the work at the large end."""
    why: str


@dataclass(frozen=True)
class Curve:
    """Times of an analysis, and the exponents that they show."""

    analysis: Analysis
    seconds: list[float]

    def exponent(self, decades: float = math.inf) -> tuple[float, float]:
        """Return the exponent over the last so many decades, and its standard error."""
        import numpy as np

        size, time = np.log10(self.analysis.sizes), np.log10(self.seconds)
        last = size >= size[-1] - decades - 1e-9
        (slope, _), spread = np.polyfit(size[last], time[last], 1, cov="unscaled")
        off = time[last] - np.polyval(np.polyfit(size[last], time[last], 1), size[last])
        freedom = max(1, int(last.sum()) - 2)
        return float(slope), float(np.sqrt(spread[0, 0] * (off @ off) / freedom))


def main() -> None:
    """Measure, print, and draw if asked to."""
    parser = argparse.ArgumentParser(description="Exponents of all analyses.")
    parser.add_argument("--page", action="store_true", help=f"write {PAGE.name}, {PICTURE.name}")
    asked = parser.parse_args()
    take_one_core()
    machine = facts()
    lines = [
        f"{machine['date']}; {machine['processor']}, {machine['instructions']}, one core.",
        "",
        "| analysis | from, to | time | exponent | last decade | the work's own |",
        "| --- | --- | --- | ---: | ---: | --- |",
    ]
    print("\n".join(lines))
    curves = []
    for analysis in analyses():
        curves.append(Curve(analysis, seconds(analysis)))
        lines.append(table_line(curves[-1]))
        print(lines[-1], flush=True)
    if asked.page:
        from peers.table import put

        put(PAGE, "scaling", "\n".join(lines))
        draw(curves, machine)


def seconds(analysis: Analysis) -> list[float]:
    """Return the shortest time at each size, rounds over all sizes so that a busy while spreads."""
    from peers.measure import fastest

    works = [analysis.ready(size) for size in analysis.sizes]
    calls = [max(1, math.ceil(LONG_ENOUGH_S / fastest(work, 2))) for work in works]
    rounds = [
        [fastest(work, min(many, 200)) for work, many in zip(works, calls, strict=True)]
        for _ in range(ROUNDS)
    ]
    return [min(times) for times in zip(*rounds, strict=True)]


def table_line(curve: Curve) -> str:
    """Return the line of the table."""
    from peers.table import time_text

    analysis = curve.analysis
    (whole, error), (last, last_error) = curve.exponent(), curve.exponent(1.0)
    ends = f"{analysis.sizes[0]:,} to {analysis.sizes[-1]:,}"
    times = f"{time_text(curve.seconds[0])} to {time_text(curve.seconds[-1])}"
    exponents = f"{whole:.2f} ± {error:.2f} | {last:.2f} ± {last_error:.2f}"
    return (
        f"| {analysis.name} | {ends} | {times} | {exponents} | {analysis.needs:g}: {analysis.why} |"
    )


def steps(low: float, high: float, a_decade: int = 3) -> list[int]:
    """Return whole numbers evenly spread over the logarithm."""
    count = round(a_decade * math.log10(high / low))
    return sorted({round(low * (high / low) ** (k / count)) for k in range(count + 1)})


def analyses() -> list[Analysis]:
    """Return all that is measured."""
    import catoptric as ct
    import numpy as np

    telescope = train()
    wave = telescope.wavefront(focus="paraxial")
    figure = readings().reduce(draws=200, obstruction_ratio=0.22)
    mm = {"low": 60.0, "high": 110.0}

    def given(count: int) -> Work:
        origins, directions = beam(count)
        return lambda: telescope.spot_of_rays(origins_mm=origins, directions=directions)

    def rings(count: int) -> Work:
        side = math.isqrt(count)
        return lambda: telescope.spot_of_rings(rings=side, rays_per_ring=side)

    def star(pixels: int) -> Work:
        side = math.isqrt(pixels)
        return lambda: wave.psf(half_width_um=HALF_UM, pixels=side).image

    def colours(count: int) -> Work:
        light = ct.Spectrum(wavelength_nm=np.linspace(450, 650, count + 1)[1:], weight=[1] * count)
        return lambda: wave.psf(half_width_um=HALF_UM, pixels=64, spectrum=light).image

    def sizes(count: int) -> Work:
        minor = np.linspace(mm["low"], mm["high"], count)
        return lambda: ct.light_by_size(
            telescope, minor_axis_mm=minor, x_arcmin=[10], y_arcmin=[0], rays=10_000
        )

    def fields(count: int) -> Work:
        x = np.linspace(0, 24, count)
        return lambda: telescope.illumination(along_mm=x, across_mm=0 * x)

    def repeats(draws: int) -> Work:
        given = readings()
        return lambda: given.noise_study(repeats=draws, obstruction_ratio=0.22)

    def masks(count: int) -> Work:
        diameters = np.linspace(268, 318, count + 1)[:-1]
        return lambda: ct.mask_sweep(
            figure, diameters_mm=diameters, detail_arcsec=[], star_image=False
        )

    sides = [round(16 * 2 ** (k / 2)) for k in range(11)]
    return [
        Analysis("rays given by the caller", steps(1e3, 1e6), given, 1, "each ray is traced"),
        Analysis("rays of own rings", steps(1e3, 1e7), rings, 1, "each ray is traced"),
        Analysis(
            "pixels of a star image",
            [side * side for side in sides],
            star,
            1,
            "the second fold costs a side of the net for each pixel",
        ),
        Analysis(
            "wavelengths of a star image",
            steps(1, 1e3),
            colours,
            1,
            "a picture for each; beyond some tens their nets leave the caches",
        ),
        Analysis(
            "sizes of the diagonal", steps(1, 1e3), sizes, 0, "each ray finds its own two sizes"
        ),
        Analysis("field points", steps(1, 1e3), fields, 1, "each star has its own outline"),
        Analysis("noisy repeats", steps(1e3, 1e6), repeats, 1, "each has its own figure"),
        Analysis("masks", steps(1, 1e3), masks, 2, "figures are drawn at all rims, pair by pair"),
    ]


def train() -> ct.Train:
    """Return an invented telescope."""
    import catoptric as ct

    edge = ct.TurnedEdge(width_mm=9, drop_nm=90)
    return ct.Train(
        primary=ct.Primary(clear_aperture_mm=2 * RIM_MM, focal_length_mm=FOCAL_MM, figure=[edge]),
        diagonal=ct.Diagonal(minor_axis_mm=70),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
    )


def readings() -> ct.KnifeEdgeReadings:
    """Return invented readings."""
    import catoptric as ct

    return ct.KnifeEdgeReadings(
        clear_aperture_mm=2 * RIM_MM,
        radius_of_curvature_mm=2 * FOCAL_MM,
        source="moving",
        readings_increase="away_from_mirror",
        radius_mm=[40, 65, 86, 104, 119, 132, 144, 154],
        runs_mm=[[0.25, 0.66, 1.17, 1.75, 2.27, 2.81, 3.33, 5.2]] * 4,
    )


def beam(count: int) -> tuple[Any, Any]:
    """Return starts and directions of a parallel beam over the mirror."""
    import numpy as np

    k, tilt = np.arange(count) + 0.5, 0.003
    r, turn = RIM_MM * np.sqrt(k / count), np.pi * (3 - np.sqrt(5)) * k
    down = math.sqrt(1 - tilt**2)
    x = r * np.cos(turn) + tilt / down * 2000
    origins = np.array([x, r * np.sin(turn), np.full(count, 2000.0)])
    directions = np.array([np.full(count, -tilt), np.zeros(count), np.full(count, -down)])
    return origins, directions


def draw(curves: list[Curve], machine: dict[str, str]) -> None:
    """Write the picture: all curves, their names and last exponents at their large ends."""
    import matplotlib as mpl

    mpl.use("Agg")
    from catoptric.plotting import _style
    from matplotlib.figure import Figure

    looks = [
        (_style.VERMILLION, "-", "^"),
        (_style.BLUE, "-", "o"),
        (_style.INK, "-", "s"),
        (_style.GREEN, "--", "D"),
        (_style.PURPLE, "-.", "v"),
        (_style.ORANGE, "--", "P"),
        (_style.SKY, "-", "X"),
        (_style.QUIET, ":", "*"),
    ]
    figure = Figure(figsize=(8.6, 5.6), layout="constrained")
    ax = figure.subplots()
    ax.set_xscale("log")
    ax.set_yscale("log")
    for curve, (colour, line, marker) in zip(curves, looks, strict=True):
        sizes, times = curve.analysis.sizes, curve.seconds
        ax.plot(sizes, times, color=colour, linestyle=line, marker=marker, ms=4, lw=1.2)
    # Names stand in a column to the right, in the order of the curves' ends, and apart.
    low, high = (math.log10(limit) for limit in ax.get_ylim())
    ends = sorted(zip(curves, looks, strict=True), key=lambda pair: pair[0].seconds[-1])
    apart = 0.062 * (high - low)
    heights = spread([math.log10(curve.seconds[-1]) for curve, _ in ends], apart)
    for (curve, (colour, line, _)), height in zip(ends, heights, strict=True):
        slope, error = curve.exponent(1.0)
        ax.annotate(
            f"{curve.analysis.name}\nexponent {slope:.2f} ± {error:.2f}",
            xy=(curve.analysis.sizes[-1], curve.seconds[-1]),
            xytext=(1.03, (height - low) / (high - low)),
            textcoords="axes fraction",
            fontsize=8,
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.5, "linestyle": line},
        )
    _style.open_frame(ax)
    ax.set_xlabel("size: rays, pixels, wavelengths, sizes, field points, repeats, masks")
    ax.set_ylabel("time of one call from Python (s)")
    _style.heading(
        ax,
        "Time against size",
        "exponents of the last decade; one core, " + machine["instructions"],
    )
    figure.savefig(PICTURE, dpi=110)
    print(f"{PICTURE}: {PICTURE.stat().st_size / 1000:.0f} kB")


def spread(places: list[float], apart: float) -> list[float]:
    """Return rising places moved as little as keeps them apart."""
    moved = list(places)
    for _ in range(200):
        for k in range(len(moved) - 1):
            lack = apart - (moved[k + 1] - moved[k])
            if lack > 0:
                moved[k] -= lack / 2
                moved[k + 1] += lack / 2
    return moved


if __name__ == "__main__":
    main()
