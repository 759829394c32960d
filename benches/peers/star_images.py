"""Star images: a train's, a caller's own map's, in one colour and nine, round ones, strips.

The peers sum a pupil on a grid of 512 x 512 points, even in the sine of the angle at the focus,
which stands ready before the clock starts; what depends on the wavelength is made within it, as
is the library's list of nodes for an image that has not been asked for before.
"""

from __future__ import annotations

from collections.abc import Callable

import catoptric as ct
import numpy as np
from scipy.fft import fft2
from scipy.signal import ZoomFFT
from scipy.special import j0

from .measure import Accuracy, Peer, Row

Array = np.ndarray

APERTURE_MM, FOCAL_MM = 318.0, 1558.0
RATIO = FOCAL_MM / APERTURE_MM
PIXELS, GRID = 256, 512
VANE_MM, WAVE_NM = 1.0, 550.0
HALF_UM = 12 * WAVE_NM / 1000 * RATIO


def train(*, symmetric: bool = False) -> ct.Train:
    """Return an invented telescope: turned edge, displaced shadow, vanes; or a bare mirror."""
    primary = ct.Primary(
        clear_aperture_mm=APERTURE_MM,
        focal_length_mm=FOCAL_MM,
        figure=[ct.TurnedEdge(width_mm=9, drop_nm=90)],
    )
    if symmetric:
        return ct.Train(primary=primary)
    return ct.Train(
        primary=primary,
        diagonal=ct.Diagonal(minor_axis_mm=70),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
        spider=ct.Spider(vanes=4, thickness_mm=VANE_MM),
    )


def pixel_positions() -> Array:
    """Return the places of the pixels along one side, um."""
    return (np.arange(PIXELS) - (PIXELS - 1) / 2.0) * (2.0 * HALF_UM / PIXELS)


class Grid:
    """The train's pupil on a grid, as a peer has it before the clock starts."""

    def __init__(self, points: int) -> None:
        half = (APERTURE_MM / 2 / FOCAL_MM) / (1 + (APERTURE_MM / 4 / FOCAL_MM) ** 2)
        self.step = 2 * half / points
        self.sine = (np.arange(points) - (points - 1) / 2) * self.step
        across, along = np.meshgrid(self.sine, self.sine, indexing="ij")
        # A paraboloid: s = (r/f)/(1 + r^2/4f^2), r = 2 f tan(angle/2); the mirror's x is on the
        # other side.
        total = np.hypot(along, across)
        radius = 2 * FOCAL_MM * np.tan(np.arcsin(np.minimum(total, 0.9)) / 2)
        scale = np.divide(radius, total, out=np.zeros_like(total), where=total > 0)
        x, y = -along * scale, -across * scale
        edge = np.clip((radius - (APERTURE_MM / 2 - 9)) / 9, 0, None)
        self.path_nm = 2 * -90 * edge**2 / (1 + (radius / (2 * FOCAL_MM)) ** 2)
        centre = -float(train().diagonal_offset_mm)
        lit = (radius <= APERTURE_MM / 2) & (np.hypot(x - centre, y) > 35.0)
        lit &= (np.abs(x - y) > VANE_MM / np.sqrt(2)) & (np.abs(x + y) > VANE_MM / np.sqrt(2))
        # Light for a unit of the sine's plane: r dr over s ds.
        cosine = np.sqrt(1 - np.minimum(total, 0.9) ** 2)
        self.light = np.where(lit, 4 * FOCAL_MM**2 / ((1 + cosine) ** 2 * cosine), 0.0)

    def field(self, wavelength_nm: float) -> Array:
        """Return the complex amplitude over the pupil."""
        return self.light * np.exp(2j * np.pi * self.path_nm / wavelength_nm)

    def turns(self, wavelength_nm: float, position_um: Array) -> Array:
        """Return the phasors of every place for every sine."""
        return np.exp(-2j * np.pi / (wavelength_nm / 1000) * np.outer(position_um, self.sine))


def by_zoom(grid: Grid, zoom: ZoomFFT) -> Array:
    """Return the picture by two chirp transforms."""
    image = zoom(zoom(grid.field(WAVE_NM), axis=1), axis=0)
    return np.abs(image) ** 2 / grid.light.sum() ** 2


def by_matrices(grid: Grid, wavelength_nm: float, position_um: Array) -> Array:
    """Return the picture by two matrix products."""
    turn = grid.turns(wavelength_nm, position_um)
    return np.abs(turn @ grid.field(wavelength_nm) @ turn.T) ** 2 / grid.light.sum() ** 2


def by_padded_fft(grid: Grid) -> Array:
    """Return the whole padded picture: its pixel is what the padding makes it."""
    return np.abs(fft2(grid.field(WAVE_NM), s=(4096, 4096))) ** 2 / grid.light.sum() ** 2


def of_colours(picture: Callable[[float], Array], spectrum: ct.Spectrum) -> Array:
    """Return the sum of single colours by their energy over the wavelength squared."""
    counts = spectrum.weight / spectrum.wavelength_nm**2
    total = np.zeros((PIXELS, PIXELS))
    for nm, count in zip(spectrum.wavelength_nm, counts, strict=True):
        total += count * picture(float(nm))
    return total / counts.sum()


class Meridian:
    """Gauss nodes in r^2 along one radius of the bare mirror, split where the edge begins."""

    def __init__(self, count: int) -> None:
        nodes, weights = np.polynomial.legendre.leggauss(count)
        square, weight = [], []
        for low, high in [(0.0, 150.0**2), (150.0**2, 159.0**2)]:
            square.append((low + high) / 2 + (high - low) / 2 * nodes)
            weight.append((high - low) / 2 * weights)
        radius, self.weight = np.sqrt(np.concatenate(square)), np.concatenate(weight)
        self.sine = (radius / FOCAL_MM) / (1 + (radius / (2 * FOCAL_MM)) ** 2)
        edge = np.clip((radius - 150.0) / 9, 0, None)
        self.path_nm = -180 * edge**2 / (1 + (radius / (2 * FOCAL_MM)) ** 2)

    def intensity(self, spectrum: ct.Spectrum, radius_um: Array) -> Array:
        """Return the intensity at radii by sums with J0."""
        total, counts = np.zeros(len(radius_um)), spectrum.weight / spectrum.wavelength_nm**2
        for nm, count in zip(spectrum.wavelength_nm, counts, strict=True):
            table = j0(2 * np.pi / (nm / 1000) * np.outer(radius_um, self.sine))
            field = self.weight * np.exp(2j * np.pi * self.path_nm / nm)
            total += count * np.abs(table @ field) ** 2 / self.weight.sum() ** 2
        return total / counts.sum()

    def picture(self, spectrum: ct.Spectrum, distance_um: Array) -> Array:
        """Return the picture: 700 radii, interpolated over the pixels."""
        out_um = np.linspace(0, float(distance_um.max()), 700)
        return np.interp(distance_um, out_um, self.intensity(spectrum, out_um))


def worst(a: Array, b: Array) -> float:
    """Return the largest difference."""
    return float(np.abs(a - b).max())


def rows() -> list[Row]:
    """Return all rows of star images."""
    telescope, nine = train(), ct.Spectrum.photopic()
    position, grid, fine = pixel_positions(), Grid(GRID), Grid(2048)
    # ZoomFFT sums exp(-2 pi i f n): the frequency of a pixel, in cycles a point of the grid.
    cycles = position * grid.step / (WAVE_NM / 1000)
    zoom = ZoomFFT(GRID, [cycles[0], cycles[-1]], m=PIXELS, fs=1.0, endpoint=True)
    wave = telescope.wavefront(focus="paraxial")
    size = {"half_width_um": HALF_UM, "pixels": PIXELS}

    def peers(zoomed: float | None, matrices: float | None, padded: float | None) -> list[Peer]:
        return [
            Peer("scipy ZoomFFT", lambda: by_zoom(grid, zoom), zoomed),
            Peer("numpy matrix transform", lambda: by_matrices(grid, WAVE_NM, position), matrices),
            Peer("scipy padded 4096 FFT", lambda: by_padded_fft(grid), padded),
        ]

    def of_train() -> list[Accuracy]:
        star = wave.psf(**size)
        truth = by_matrices(fine, WAVE_NM, position)
        return [
            Accuracy("ours, stated error, peaks", star.error_estimate, 1e-6),
            # The grid's own edges are staircases.
            Accuracy("ours against a 2048 grid, peaks", worst(star.image, truth), 1e-3),
            Accuracy(
                "peers: a 512 grid by matrices against a 2048 grid, peaks",
                worst(by_matrices(grid, WAVE_NM, position), truth),
            ),
            Accuracy(
                "ZoomFFT against matrices, peaks",
                worst(by_zoom(grid, zoom), by_matrices(grid, WAVE_NM, position)),
            ),
        ]

    path_nm = np.where(grid.light > 0, grid.path_nm, np.nan)
    given = {
        "path_nm": path_nm,
        "amplitude": grid.light,
        "pixel_mm": grid.step * FOCAL_MM,
        "focal_length_mm": FOCAL_MM,
        # The mirror's +x side sends light that meets the focus under negative sines.
        "rows_run": "-y",
        "columns_run": "-x",
    }

    def own_map() -> list[Accuracy]:
        image = ct.psf_of_map(**given, **size).image
        truth = by_matrices(grid, WAVE_NM, position)
        places = [0, 100, 127, 128, 255]
        turn = grid.turns(WAVE_NM, position[places]).astype(np.clongdouble)
        exact = np.abs(turn @ grid.field(WAVE_NM).astype(np.clongdouble) @ turn.T) ** 2
        exact /= grid.light.sum() ** 2
        return [
            Accuracy(
                "ours against sums in 80 bits at 25 pixels, peaks",
                worst(image[np.ix_(places, places)], exact.astype(float)),
                1e-14,
            ),
            Accuracy(
                "ours against numpy's matrices, all pixels, peaks", worst(image, truth), 3e-14
            ),
            Accuracy("ZoomFFT against numpy's matrices, peaks", worst(by_zoom(grid, zoom), truth)),
        ]

    def nine_by_matrices() -> Array:
        return of_colours(lambda nm: by_matrices(grid, nm, position), nine)

    def of_nine() -> list[Accuracy]:
        star = wave.psf(**size, spectrum=nine)
        return [
            Accuracy("ours, stated error, peaks", star.error_estimate, 1e-6),
            Accuracy(
                "ours against the 512 grid, peaks", worst(star.image, nine_by_matrices()), 1e-3
            ),
        ]

    bare = train(symmetric=True).wavefront(focus="paraxial")
    nodes = Meridian(100)
    distance = np.hypot(*np.meshgrid(position, position, indexing="ij"))

    def of_round() -> list[Accuracy]:
        image = bare.psf(**size, spectrum=nine).image
        line = slice(None, None, 15)
        truth = nodes.intensity(nine, distance[128, line])
        return [
            Accuracy(
                "ours against J0 sums at each pixel, peaks", worst(image[128, line], truth), 1e-8
            ),
            Accuracy(
                "J0 sums at 700 radii, interpolated, against those, peaks",
                worst(nodes.picture(nine, distance)[128, line], truth),
            ),
        ]

    steps = np.linspace(-2.5, 2.5, 11)
    along, across = np.meshgrid(grid.sine, grid.sine, indexing="ij")
    square = (along**2 + across**2) * (2 * RATIO) ** 2

    def strip_by_matrices() -> Array:
        turn, field = grid.turns(WAVE_NM, position), grid.field(WAVE_NM)
        planes = [turn @ (field * np.exp(2j * np.pi * w * square)) @ turn.T for w in steps]
        return np.abs(np.array(planes)) ** 2 / grid.light.sum() ** 2

    def strip() -> ct.ThroughFocus:
        return wave.through_focus(defocus_waves=steps, **size)

    def of_strip() -> list[Accuracy]:
        found = strip()
        return [
            Accuracy("ours, stated error, peaks", found.error_estimate, 1e-6),
            Accuracy(
                "the plane in focus against the picture, peaks",
                worst(found.images[5], wave.psf(**size).image),
                1e-9,
            ),
        ]

    return [
        Row(
            "PSF 256 x 256, half-width 12 lambda F, wavefront given",
            lambda: wave.psf(**size).image,
            peers(40, 55, 900),
            of_train,
            bound="nodes spread over a small net (stores); taps between few places; copies",
        ),
        Row(
            "the same, from the train",
            lambda: telescope.psf(focus="paraxial", **size).image,
            peers(None, None, None),
            of_train,
        ),
        Row(
            "PSF 256 x 256 from a caller's own 512 x 512 map",
            lambda: ct.psf_of_map(**given, **size).image,
            peers(7, 10, 170),
            own_map,
            bound="sines and cosines of the map's pixels, 32 products for each",
        ),
        Row(
            "PSF, nine wavelengths, wavefront given",
            lambda: wave.psf(**size, spectrum=nine).image,
            [Peer("numpy matrix transform", nine_by_matrices, 70)],
            of_nine,
            bound="nine nets and pictures; of all that a colour needs only the taps are shared",
        ),
        Row(
            "round PSF, nine wavelengths, wavefront given",
            lambda: bare.psf(**size, spectrum=nine).image,
            [Peer("numpy/scipy Hankel sum", lambda: nodes.picture(nine, distance), 20)],
            of_round,
            bound="series of 280 radii from 200 nodes in nine colours; 20 products a pixel",
        ),
        Row(
            "eleven pictures through focus, wavefront given",
            lambda: strip().images,
            [Peer("numpy matrix transform", strip_by_matrices)],
            of_strip,
        ),
    ]
