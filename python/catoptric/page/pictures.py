"""The pictures of a judgement, drawn from its own trains and evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from .. import plotting
from ..plotting import _style
from ._record import JudgementLike, LadderLike, RowLike, chosen, doubt_about
from .numbers import gain, measured, plain
from .svg import Picture, draw

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .._typing import Floats

__all__ = ["all_pictures", "gains_picture", "refigure_picture"]

FREQUENCIES = (
    *(0.0, 0.006, 0.012, 0.018, 0.026, 0.04, 0.08, 0.16, 0.26, 0.34),
    *(0.40, 0.46, 0.54, 0.62, 0.72, 0.82, 0.92, 1.0),
)
"""Points of a contrast curve, shares of the cut-off: close where a turned edge makes it fall.

A figure with kinks takes one or two tenths of a second for each. The stated details are added;
between points the curve is drawn by cubics, which for such a figure are good to 0.01.
"""

BETWEEN = 12
"""Pieces of line between two points of such a curve."""

FIELD_SHARE = 0.3
"""How far from the axis the light is drawn, in minor axes of the diagonal."""

FIELD_POINTS = 46

LONGEST_NAME = 44
"""Letters of a work's name in a picture; in the text around it the name stands in full."""

NM_PER_MM = 1e6
ARCSEC_PER_RAD = 206264.80624709636


def all_pictures(record: JudgementLike) -> list[Picture]:
    """Return the pictures that the record has something for, in the order of the page."""
    after = chosen(record)
    found = [
        _readings(record),
        _glass(record),
        *_stars(record, after),
        _contrast(record, after),
        _mask(record),
        _light(record),
    ]
    return [picture for picture in found if picture is not None]


def _readings(record: JudgementLike) -> Picture | None:
    """Draw the readings as they were taken, the paraboloid taken away, if there are any."""
    readings = getattr(record.evidence, "readings", None)
    if readings is None:
        return None
    spread = np.asarray(readings.mean_mm) - np.asarray(readings.paraboloid_mm)
    alt = (
        f"{readings.run_count} runs of knife-edge readings through {readings.opening_count} "
        f"openings. Less the paraboloid, their means span {plain(float(np.ptp(spread)))} mm."
    )
    return draw("readings", lambda ax: plotting.readings(readings, ax), alt, height_in=3.3)


def _glass(record: JudgementLike) -> Picture | None:
    """Draw the height of the glass with what the readings leave open."""
    figure = record.evidence
    if getattr(figure, "covariance_nm2", None) is None:
        return None
    radius, height = np.asarray(figure.radius_mm), np.asarray(figure.height_nm)
    sigma = np.asarray(figure.height_sigma_nm)
    low, high = int(np.argmin(height)), int(np.argmax(height))
    alt = (
        f"Height of the glass from the centre to a radius of {plain(radius[-1])} mm. "
        f"Highest at {plain(radius[high])} mm: {_nm(height[high], sigma[high])}. "
        f"Lowest at {plain(radius[low])} mm: {_nm(height[low], sigma[low])}. "
        f"At the rim: {_nm(height[-1], sigma[-1])}. The intervals are reading noise alone."
    )
    return draw("glass", lambda ax: plotting.figure_estimate(figure, ax), alt, height_in=3.4)


def _nm(height: float, sigma: float) -> str:
    half = plotting.bench.TWO_SIDED_95 * sigma
    return measured(height, height - half, height + half, "nm")


def _stars(record: JudgementLike, after: RowLike | None) -> list[Picture]:
    """Draw the star now and after the work, on one scale of size and brightness."""
    now = _psf(record, record.train_now)
    half_width_um = plotting.star.RINGS_SHOWN * float(np.asarray(now.airy.dark_rings_um)[0])
    basis = f"{plain(record.wavelength_nm)} nm, focus {record.focus}"
    pairs = [("now", "The star now", now, f"drawn from {record.figure_words}")]
    if after is not None:
        done = _psf(record, after.train_after)
        pairs.append(
            ("after", f"The star after: {after.name}", done, "the same figure, with the work done")
        )
    pictures = []
    for key, title, psf, words in pairs:
        notes = [f"Strehl {psf.strehl:.2f} at {basis}", _style.SEEN_IN_EYEPIECE]
        notes.append("white: the peak of a perfect star of the same aperture")
        notes.append(words)
        alt = (
            f"{title}: a bright disc {plain(psf.fwhm_um)} um wide at half brightness, with rings. "
            f"Strehl {psf.strehl:.2f} at {basis}."
        )
        pictures.append(_star(key, title, psf, half_width_um, tuple(notes), alt))
    return pictures


def _star(
    key: str, title: str, psf: Any, half_width_um: float, notes: tuple[str, ...], alt: str
) -> Picture:
    def paint(ax: Axes) -> None:
        plotting.star_image(psf, ax, half_width_um=half_width_um)

    return draw(f"star-{key}", paint, alt, height_in=3.7, title=title, notes=notes)


def _psf(record: JudgementLike, train: Any) -> Any:
    return train.psf(focus=record.focus, wavelength_nm=record.wavelength_nm)


def _contrast(record: JudgementLike, after: RowLike | None) -> Picture:
    """Draw the contrast of fine detail now, after the work, and that of perfect optics."""
    focal_mm = record.train.primary.focal_length_mm
    cutoff = NM_PER_MM / (record.wavelength_nm * record.train.focal_ratio)
    details = record.ladder.details_arcsec if record.ladder else (1.0,)
    stated = ARCSEC_PER_RAD / (focal_mm * np.asarray(details))
    usual = cutoff * np.asarray(FREQUENCIES)
    apart = np.abs(stated[:, None] - usual).min(axis=1) > 0.01 * cutoff
    frequency = np.union1d(usual, stated[(stated < cutoff) & apart])
    options = {
        "focus": record.focus,
        "wavelength_nm": record.wavelength_nm,
        "frequency_per_mm": frequency,
    }
    curves = [("now", record.train_now.mtf(**options))]
    if after is not None:
        curves.append((f"after: {after.name}", after.train_after.mtf(**options)))
    on_sky = frequency * focal_mm / ARCSEC_PER_RAD

    def paint(ax: Axes) -> None:
        perfect = np.asarray(curves[0][1].perfect_obstructed)
        ax.plot(
            *_smooth(on_sky, perfect),
            ":",
            color=_style.INK,
            linewidth=1.4,
            label="perfect, same shadow",
        )
        for series, (name, curve) in zip(_style.SERIES, curves, strict=False):
            ax.plot(
                *_smooth(on_sky, np.asarray(curve.contrast_mean)),
                series.line,
                color=series.colour,
                linewidth=1.8,
                label=_short(name, 30),
            )
        ax.set_xlim(0.0, float(on_sky[-1]))
        ax.set_ylim(0.0, 1.02)
        periods = [p for p in (5.0, 2.0, 1.0, 0.7, 0.5, 0.4) if p * on_sky[-1] >= 1.0]
        ax.set_xticks([1.0 / p for p in periods], [f"{p:g}" for p in periods])
        ax.set_xlabel("one bright and one dark bar together (arcsec), finer to the right")
        ax.set_ylabel("contrast, mean of all directions")
        _style.open_frame(ax)
        _style.legend(ax, "upper right")

    said = [
        f"at {plain(detail)} arcsec {name} {float(curve.at_detail(detail).contrast_mean):.2f}"
        for detail in details
        for name, curve in curves
    ]
    notes = (
        f"{plain(record.wavelength_nm)} nm, focus {record.focus}, without air",
        f"now: {record.figure_words}",
    )
    alt = f"Contrast against the fineness of detail: {'; '.join(said)}."
    return draw("contrast", paint, alt, title="Contrast of fine detail", notes=notes)


def _smooth(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return a curve through points that never overshoots them.

    Cubics between the points, with slopes by weighted harmonic means (Fritsch & Butland 1984, SIAM
    J. Sci. Stat. Comput. 5, 300); at the ends the slope is that of the first and the last piece.
    """
    width, slope = np.diff(x), np.diff(y) / np.diff(x)
    left, right = slope[:-1], slope[1:]
    first, second = width[1:] + 2.0 * width[:-1], 2.0 * width[1:] + width[:-1]
    turns = left * right <= 0.0
    # Where the curve turns its slope is none; the quotient there is not used.
    safe_left, safe_right = np.where(turns, 1.0, left), np.where(turns, 1.0, right)
    mean = 3.0 * (width[:-1] + width[1:]) / (second / safe_left + first / safe_right)
    ends = np.concatenate(([slope[0]], np.where(turns, 0.0, mean), [slope[-1]]))
    t = np.linspace(0.0, 1.0, BETWEEN, endpoint=False)[:, None]
    rise, back = t * t * (3.0 - 2.0 * t), 1.0 - t
    between = (
        (1.0 - rise) * y[:-1] + rise * y[1:] + width * t * back * (back * ends[:-1] - t * ends[1:])
    )
    places = x[:-1] + t * width
    return np.append(places.T.ravel(), x[-1]), np.append(between.T.ravel(), y[-1])


def _mask(record: JudgementLike) -> Picture | None:
    """Draw the sweep over mask diameters, if there is one."""
    sweep = record.mask
    if sweep is None:
        return None
    diameter, strehl = np.asarray(sweep.diameter_mm), np.asarray(sweep.strehl)
    best = int(np.argmax(strehl))
    alt = (
        f"Strehl and light against the diameter of an edge mask from {plain(diameter.min())} to "
        f"{plain(diameter.max())} mm. The highest Strehl, {strehl[best]:.2f}, is at "
        f"{plain(diameter[best])} mm."
    )
    if sweep.plateau_mm is not None:
        low, high = sweep.plateau_mm
        alt += f" From {plain(low)} to {plain(high)} mm a mask holds."
    if sweep.recommended_mm is not None:
        alt += f" The one to take: {plain(sweep.recommended_mm)} mm."
    return draw("mask", lambda ax: sweep.plot(ax), alt, height_in=3.4)


def _light(record: JudgementLike) -> Picture | None:
    """Draw the light over the field of the train as it stands."""
    diagonal = record.train.diagonal
    if diagonal is None:
        return None
    reach_mm = FIELD_SHARE * diagonal.minor_axis_mm
    light = record.train.illumination(radius_mm=np.linspace(0.0, reach_mm, FIELD_POINTS))
    mean, worst = np.asarray(light.mean), np.asarray(light.worst)
    alt = (
        f"Light against the radius in the field, relative to the axis: {plain(reach_mm)} mm from "
        f"the axis {mean[-1]:.2f} in the mean of all directions, {worst[-1]:.2f} in the worst."
    )
    return draw("light", lambda ax: plotting.illumination(light, ax), alt)


def gains_picture(ladder: LadderLike) -> Picture:
    """Return what each row gains in the first quantity, with its interval."""
    rows = ladder.rows
    first = rows[0].gains[0]
    unit = f" ({first.unit})" if first.unit else ""

    def paint(ax: Axes) -> None:
        for place, row in enumerate(rows):
            got = row.gains[0]
            series = _style.SERIES[1 if got.proven else 0]
            # The zero line is broken where the names stand.
            ax.vlines(0.0, place - 0.2, place + 0.42, color=_style.INK, linewidth=0.8)
            ax.plot(got.gain_interval, (place, place), color=series.colour, linewidth=2.4)
            ax.plot(
                [got.median_gain],
                [place],
                series.marker,
                color=series.colour,
                markerfacecolor=series.colour if got.proven else "white",
                markersize=6.5,
            )
            ax.annotate(
                _short(f"{place + 1}. {row.name}"),
                xy=(0.0, place),
                xycoords=("axes fraction", "data"),
                xytext=(2.0, 5.5),
                textcoords="offset points",
                fontsize=8.5,
            )
        ax.set_ylim(len(rows) - 0.4, -0.75)
        ax.set_yticks([])
        ax.set_xlabel(f"gain in {first.name}{unit}")
        _style.open_frame(ax)
        ax.grid(False, axis="y")
        ax.spines["left"].set_visible(False)

    said = [f"{row.name}: {_gain_words(row)}" for row in rows]
    return draw(
        "gains",
        paint,
        f"Gain in {first.name}. {'; '.join(said)}.",
        height_in=0.75 + 0.42 * len(rows),
        title=f"What each work gains in {first.name}",
        notes=("bars of 95 %; filled: proven, hollow: not proven",),
    )


def _short(name: str, longest: int = LONGEST_NAME) -> str:
    return name if len(name) <= longest else f"{name[: longest - 3].rstrip()}..."


def _gain_words(row: RowLike) -> str:
    got = row.gains[0]
    words = gain(got.median_gain, *got.gain_interval, got.unit)
    doubt = doubt_about(got)
    return f"{words}, {doubt}" if doubt else words


def refigure_picture(verdict: Any) -> Picture:
    """Return the Strehl ratios before and after a refigure."""
    before, after = (
        measured(getattr(verdict, f"strehl_{n}"), *getattr(verdict, f"strehl_{n}_total_interval"))
        for n in ("before", "after")
    )
    alt = (
        f"Strehl ratio before {before}, after {after}; chance that after is better: "
        f"{verdict.chance_better}."
    )
    return draw("refigure", lambda ax: plotting.verdict(verdict, ax), alt, height_in=3.2)
