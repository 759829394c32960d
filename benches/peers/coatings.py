"""Pictures of a coating, and the star behind it."""

from __future__ import annotations

from typing import Any

import catoptric as ct
import numpy as np
from scipy.fft import fft2
from scipy.signal import ZoomFFT

from .measure import Accuracy, Peer, Row

APERTURE_MM, FOCAL_MM, WAVE_UM = 318.0, 1558.0, 0.55
PIXELS, GRID = 256, 512
SIDE_MM = APERTURE_MM / (GRID - 4)
HALF_UM = 12 * WAVE_UM * FOCAL_MM / APERTURE_MM
Answer = Any


def share(x: Answer, y: Answer) -> Answer:
    """Return the reflectance of an invented coat, worn around one place and along a ring."""
    worn = 0.4 / (1.0 + np.exp((np.hypot(x - 40.0, y + 30.0) - 35.0) / 5.0))
    return 0.9 - worn - 0.1 * np.exp(-(((np.hypot(x, y) - 120.0) / 12.0) ** 2))


def positions_um() -> Answer:
    """Return the places of the pixels along one side."""
    return (np.arange(PIXELS) - (PIXELS - 1) / 2.0) * 2 * HALF_UM / PIXELS


class Coat:
    """The coat as pixels, and a peer's plan of the transform."""

    def __init__(self) -> None:
        axis = (np.arange(GRID) - (GRID - 1) / 2.0) * SIDE_MM
        x, y = np.meshgrid(axis, axis)
        self.share = share(x, y)
        # The peers' rim is a staircase, and their coordinate that of a slow mirror.
        self.amplitude = np.sqrt(self.share) * (np.hypot(x, y) <= APERTURE_MM / 2.0)
        cycles = positions_um() * SIDE_MM / FOCAL_MM / WAVE_UM
        self.zoom = ZoomFFT(GRID, [cycles[0], cycles[-1]], m=PIXELS, fs=1.0, endpoint=True)

    def trains(self) -> dict[str, ct.Train]:
        """Return bare mirrors with this coat as haze, and as thin metal."""
        given = {"pixel_mm": SIDE_MM, "rows_run": "+y", "columns_run": "+x"}
        haze = ct.Coating(map=ct.ReflectanceMap(reflectance=self.share, **given))
        thin = ct.ThicknessMap(thickness_nm=100.0 * self.share, **given)
        film = ct.MetalFilm(metal="aluminium", thickness_nm=90)
        metal = ct.Coating(metal=ct.MetalCoat(film=film, map=thin))
        size = {"clear_aperture_mm": APERTURE_MM, "focal_length_mm": FOCAL_MM}
        return {
            name: ct.Train(primary=ct.Primary(**size, coating=coating))
            for name, coating in (("reflectance", haze), ("thickness", metal))
        }


def by_polar_nodes(pixels: Answer) -> Answer:
    """Return the picture at some rows and columns from the coat itself, a converged sum: the truth.

    A perfect paraboloid on its axis: no path, and the sine of a ray's angle is
    (r/f) / (1 + (r/2f)^2).
    """
    node, weight = np.polynomial.legendre.leggauss(300)
    radius = APERTURE_MM / 4 * (1 + node)[:, None]
    turn = 2 * np.pi * np.arange(720)[None, :] / 720
    x, y = radius * np.cos(turn), radius * np.sin(turn)
    light = weight[:, None] * radius * np.sqrt(share(x, y))
    scale = 2 * np.pi / WAVE_UM / FOCAL_MM / (1 + (radius / (2 * FOCAL_MM)) ** 2)
    at = positions_um()[pixels]
    along = np.exp(1j * at[:, None, None] * (x * scale))
    across = np.exp(1j * at[:, None, None] * (y * scale))
    field = np.einsum("irt,jrt,rt->ji", along, across, light, optimize=True)
    return np.abs(field) ** 2 / light.sum() ** 2


def by_zooms(coat: Coat) -> Answer:
    """Return the picture by two chirp transforms."""
    image = coat.zoom(coat.zoom(coat.amplitude, axis=1), axis=0)
    return np.abs(image) ** 2 / coat.amplitude.sum() ** 2


def by_padding(coat: Coat) -> Answer:
    """Return the whole padded picture: its pixel is what the padding makes it."""
    return np.abs(fft2(coat.amplitude, s=(4096, 4096))) ** 2 / coat.amplitude.sum() ** 2


def star(train: ct.Train) -> ct.Psf:
    """Return our picture."""
    return train.wavefront(focus="paraxial").psf(half_width_um=HALF_UM, pixels=PIXELS)


def rows() -> list[Row]:
    """Return the theme's rows."""
    coat = Coat()
    return [row(coat, name, train) for name, train in coat.trains().items()]


def row(coat: Coat, name: str, train: ct.Train) -> Row:
    """Return the row of one kind of map."""

    def accuracy() -> list[Accuracy]:
        seen = star(train)
        lines = [Accuracy("stated error as a share of the peak", seen.error_estimate, 1e-6)]
        if name == "reflectance":
            some = np.arange(0, PIXELS, 15)
            truth, part = by_polar_nodes(some), np.ix_(some, some)
            for what, image, limit in (
                ("picture beside the coat's own sum, share of the peak", seen.image, 1e-6),
                ("the same by zooms", by_zooms(coat), None),
            ):
                lines.append(Accuracy(what, float(np.abs(image[part] - truth).max()), limit))
        return lines

    return Row(
        title=f"map of {name}, {GRID} x {GRID}, to a star of {PIXELS} x {PIXELS} pixels",
        ours=lambda: star(train).image,
        peers=[
            Peer("scipy, two zoom transforms", lambda: by_zooms(coat)),
            Peer("scipy, padded 4096 FFT", lambda: by_padding(coat)),
        ],
        accuracy=accuracy,
        count=GRID * GRID,
        pieces="pixels given",
        bound="the map is looked up at every node of the pupil, height and reflectance alike",
    )
