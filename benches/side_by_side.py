"""Star images, diagonals and masks beside what a good user of numpy and scipy would write.

Rounds alternate between the peers; a row gives the median over the rounds of (peer's time / our
time), our time, and how far each answer lies from a converged sum. Run pinned to one core, with
one thread:

    export CATOPTRIC_NUM_THREADS=1 OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1
    taskset -c 0 python benches/side_by_side.py
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import catoptric as ct
import numpy as np
from scipy.fft import fft2
from scipy.signal import ZoomFFT
from scipy.special import j0

APERTURE_MM, FOCAL_MM = 318.0, 1558.0
RATIO = FOCAL_MM / APERTURE_MM
PIXELS, GRID = 256, 512
VANE_MM = 1.0
Answer = np.ndarray


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


def pixel_positions(half_width_um: float) -> Answer:
    """Return the places of the pixels along one side, um."""
    pixel = 2.0 * half_width_um / PIXELS
    return (np.arange(PIXELS) - (PIXELS - 1) / 2.0) * pixel


class Grid:
    """The same pupil on a grid, as a peer has it before the clock starts.

    The coordinate of each point is the sine of its angle at the focus, on an even grid of sines.
    """

    def __init__(self, telescope: ct.Train, points: int) -> None:
        half = (APERTURE_MM / 2 / FOCAL_MM) / (1 + (APERTURE_MM / 4 / FOCAL_MM) ** 2)
        self.step = 2 * half / points
        sine = (np.arange(points) - (points - 1) / 2) * self.step
        self.sine = sine
        across, along = np.meshgrid(sine, sine, indexing="ij")
        # A paraboloid: s = (r/f)/(1 + r^2/4f^2), solved for r; the mirror's x is on the other side.
        total = np.hypot(along, across)
        # r = 2 f tan(angle/2)
        radius = 2 * FOCAL_MM * np.tan(np.arcsin(np.minimum(total, 0.9)) / 2)
        scale = np.divide(radius, total, out=np.zeros_like(total), where=total > 0)
        x, y = -along * scale, -across * scale
        edge = np.clip((radius - (APERTURE_MM / 2 - 9)) / 9, 0, None)
        self.path_nm = 2 * -90 * edge**2 / (1 + (radius / (2 * FOCAL_MM)) ** 2)
        lit = radius <= APERTURE_MM / 2
        if telescope.diagonal is not None:
            centre = shadow_centre_mm(telescope)
            lit &= np.hypot(x - centre, y) > 35.0
            # Four vanes between the axes.
            lit &= (np.abs(x - y) > VANE_MM / np.sqrt(2)) & (np.abs(x + y) > VANE_MM / np.sqrt(2))
        # Light for a unit of the sine's plane: the mirror's area that it stands for.
        self.light = np.where(lit, mirror_area_per_sine(total), 0.0)

    def field(self, wavelength_nm: float) -> Answer:
        """Return the complex amplitude over the pupil."""
        return self.light * np.exp(2j * np.pi * self.path_nm / wavelength_nm)


def mirror_area_per_sine(sine: Answer) -> Answer:
    """Return r dr over s ds for r = 2 f tan(angle/2), s = sin(angle)."""
    cosine = np.sqrt(1 - np.minimum(sine, 0.9) ** 2)
    return 4 * FOCAL_MM**2 / ((1 + cosine) ** 2 * cosine)


def shadow_centre_mm(telescope: ct.Train) -> float:
    """Return where the middle of the diagonal's shadow lies on the mirror along x."""
    return -float(telescope.diagonal_offset_mm)


def by_zoom(grid: Grid, wavelength_nm: float, zoom: ZoomFFT, centre: Answer) -> Answer:
    """Return the picture by two chirp transforms."""
    field = grid.field(wavelength_nm)
    rows = zoom(field, axis=1)
    image = zoom(rows, axis=0)
    return np.abs(image) ** 2 / grid.light.sum() ** 2


def by_matrices(grid: Grid, wavelength_nm: float, position_um: Answer) -> Answer:
    """Return the picture by two matrix products."""
    turn = np.exp(-2j * np.pi / (wavelength_nm / 1000) * np.outer(position_um, grid.sine))
    return np.abs(turn @ grid.field(wavelength_nm) @ turn.T) ** 2 / grid.light.sum() ** 2


def by_padded_fft(grid: Grid, wavelength_nm: float) -> Answer:
    """Return the whole padded picture: its pixel is what the padding makes it."""
    return np.abs(fft2(grid.field(wavelength_nm), s=(4096, 4096))) ** 2 / grid.light.sum() ** 2


def by_hankel(
    radius_mm: Answer,
    weight: Answer,
    sine: Answer,
    path_nm: Answer,
    spectrum: ct.Spectrum,
    far_um: float,
) -> Callable[[Answer], Answer]:
    """Return the picture of a round pupil by a sum with J0, interpolated over the pixels."""
    out_um = np.linspace(0, far_um, 700)
    total, counts = np.zeros(len(out_um)), spectrum.weight / spectrum.wavelength_nm**2
    for nm, count in zip(spectrum.wavelength_nm, counts, strict=True):
        table = j0(2 * np.pi / (nm / 1000) * np.outer(out_um, sine))
        field = weight * np.exp(2j * np.pi * path_nm / nm)
        total += count * np.abs(table @ field) ** 2 / weight.sum() ** 2
    total /= counts.sum()
    return lambda r: np.interp(r, out_um, total)


def timed(work: Callable[[], Answer]) -> float:
    """Return the seconds that one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def compare(
    title: str, ours: Callable[[], Answer], peers: dict[str, Callable[[], Answer]], rounds: int
) -> None:
    """Print our time and the ratios of all peers, measured in turn."""
    ours()
    for peer in peers.values():
        peer()
    mine: list[float] = []
    ratios: dict[str, list[float]] = {name: [] for name in peers}
    for _ in range(rounds):
        own = min(timed(ours) for _ in range(3))
        mine.append(own)
        for name, peer in peers.items():
            ratios[name].append(timed(peer) / own)
    print(f"{title}: ours {1e3 * float(np.median(mine)):.3f} ms")
    for name, found in ratios.items():
        print(f"    {name:34s} {float(np.median(found)):8.1f} x")


def difference(a: Answer, b: Answer) -> str:
    """Return the largest difference as text."""
    return f"{float(np.abs(a - b).max()):.1e}"


def main() -> None:
    """Measure and print all rows."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    half_um = 12 * 0.55 * RATIO
    position = pixel_positions(half_um)
    telescope, nine = train(), ct.Spectrum.photopic()
    grid = Grid(telescope, GRID)
    # ZoomFFT sums exp(-2 pi i f n): the frequency of a pixel, in cycles a point of the grid.
    cycles = position * grid.step / 0.55
    zoom = ZoomFFT(GRID, [cycles[0], cycles[-1]], m=PIXELS, fs=1.0, endpoint=True)
    wave = telescope.wavefront(focus="paraxial")

    star = wave.psf(half_width_um=half_um, pixels=PIXELS)
    fine = by_matrices(Grid(telescope, 2048), 550.0, position)
    print("accuracy, largest difference as a share of the perfect peak:")
    print(
        "    ours: stated error",
        f"{star.error_estimate:.1e};",
        "against a 2048 grid",
        difference(star.image, fine),
    )
    print(
        "    512 grid by matrices against a 2048 grid",
        difference(by_matrices(grid, 550.0, position), fine),
    )
    print(
        "    ZoomFFT against matrices",
        difference(by_zoom(grid, 550.0, zoom, position), by_matrices(grid, 550.0, position)),
    )
    peers = {
        "scipy ZoomFFT": lambda: by_zoom(grid, 550.0, zoom, position),
        "numpy matrix transform": lambda: by_matrices(grid, 550.0, position),
        "scipy padded 4096 FFT": lambda: by_padded_fft(grid, 550.0),
    }
    compare(
        "PSF 256 x 256, wavefront given",
        lambda: wave.psf(half_width_um=half_um, pixels=PIXELS).image,
        peers,
        rounds,
    )
    compare(
        "the same, from the train",
        lambda: telescope.psf(focus="paraxial", half_width_um=half_um, pixels=PIXELS).image,
        peers,
        rounds,
    )

    def nine_by_matrices() -> Answer:
        counts = nine.weight / nine.wavelength_nm**2
        pictures = (
            c * by_matrices(grid, float(nm), position)
            for nm, c in zip(nine.wavelength_nm, counts, strict=True)
        )
        return sum(pictures, start=np.zeros((PIXELS, PIXELS))) / counts.sum()

    together = wave.psf(half_width_um=half_um, pixels=PIXELS, spectrum=nine)
    print(
        "nine wavelengths: difference from matrices on the 512 grid",
        difference(together.image, nine_by_matrices()),
    )
    compare(
        "PSF, nine wavelengths, wavefront given",
        lambda: wave.psf(half_width_um=half_um, pixels=PIXELS, spectrum=nine).image,
        {"numpy matrix transform": nine_by_matrices},
        rounds,
    )

    # Round pupil: Gauss nodes in r^2, 200 of them split at the edge, as a careful user would.
    bare = train(symmetric=True).wavefront(focus="paraxial")
    nodes, weights = np.polynomial.legendre.leggauss(100)
    square, weight = [], []
    for low, high in [(0.0, 150.0**2), (150.0**2, 159.0**2)]:
        square.append((low + high) / 2 + (high - low) / 2 * nodes)
        weight.append((high - low) / 2 * weights)
    radius, light = np.sqrt(np.concatenate(square)), np.concatenate(weight)
    sine = (radius / FOCAL_MM) / (1 + (radius / (2 * FOCAL_MM)) ** 2)
    edge = np.clip((radius - 150.0) / 9, 0, None)
    path = -180 * edge**2 / (1 + (radius / (2 * FOCAL_MM)) ** 2)
    distance = np.hypot(*np.meshgrid(position, position, indexing="ij"))
    far = float(distance.max())

    def hankel() -> Answer:
        return by_hankel(radius, light, sine, path, nine, far)(distance)

    round_star = bare.psf(half_width_um=half_um, pixels=PIXELS, spectrum=nine)
    print(
        "round, nine wavelengths: difference from the J0 sum",
        difference(round_star.image, hankel()),
    )
    compare(
        "round PSF, nine wavelengths, wavefront given",
        lambda: bare.psf(half_width_um=half_um, pixels=PIXELS, spectrum=nine).image,
        {"numpy/scipy Hankel sum": hankel},
        rounds,
    )

    steps = np.linspace(-2.5, 2.5, 11)

    def strip_by_matrices() -> Answer:
        turn = np.exp(-2j * np.pi / 0.55 * np.outer(position, grid.sine))
        along, across = np.meshgrid(grid.sine, grid.sine, indexing="ij")
        square = (along**2 + across**2) * (2 * RATIO) ** 2
        field = grid.field(550.0)
        return np.array(
            [np.abs(turn @ (field * np.exp(2j * np.pi * w * square)) @ turn.T) ** 2 for w in steps]
        )

    compare(
        "eleven pictures through focus, wavefront given",
        lambda: (
            wave.through_focus(defocus_waves=steps, half_width_um=half_um, pixels=PIXELS).images
        ),
        {"numpy matrix transform": strip_by_matrices},
        rounds,
    )


def rays_at_the_flat(field_arcmin: float, rays: int) -> tuple[Answer, ...]:
    """Return where rays of an even net cross the flat's plane, going down and coming up.

    A paraboloid of 406 mm f/5 with the focal plane 303 mm from the axis; traced in whole arrays.
    """
    focal, rim, height = 2030.0, 203.0, 2030.0 - 303.0
    number = np.arange(rays) + 0.5
    radius = rim * np.sqrt(number / rays)
    turn = np.pi * (3 - np.sqrt(5)) * np.arange(rays)
    start_x, start_y = radius * np.cos(turn), radius * np.sin(turn)
    tangent = np.tan(np.radians(field_arcmin / 60))
    tx, tz = tangent / np.hypot(1, tangent), 1 / np.hypot(1, tangent)
    x, y = start_x, start_y
    for _ in range(3):
        x = start_x - tx / tz * (rim**2 - x**2 - y**2) / (4 * focal)
    z = (x**2 + y**2) / (4 * focal)
    sx, sy = x / (2 * focal), y / (2 * focal)
    scale = 2 * (tz - tx * sx) / (1 + sx**2 + sy**2)
    dx, dy, dz = -tx - scale * sx, -scale * sy, scale - tz
    up = (x - z + height) / (dz - dx)
    down = (x - z + height) / (tz - tx)
    return x + dx * up, y + dy * up, x + tx * down, y


def fitted_slope(minor_axis_mm: Answer) -> Answer:
    """Return the slope k of the cone that a flat offset for its own lit circle cuts."""
    span = 2030.0 - 203.0**2 / (4 * 2030.0) - 303.0
    wider = 406.0 - minor_axis_mm
    return wider / (span + np.sqrt(span**2 - minor_axis_mm * wider))


def by_critical_sizes(sizes: Answer, fields: Answer, rays: int) -> Answer:
    """Return the lit shares by each ray's own two sizes, sorted into the list of sizes."""
    span, half = 2030.0 - 203.0**2 / (4 * 2030.0) - 303.0, 203.0
    shares = np.empty((len(fields), len(sizes)))
    for row, field in enumerate(fields):
        places = []
        up_x, up_y, down_x, down_y = rays_at_the_flat(field, rays)
        for x, y in ((up_x, up_y), (down_x, down_y)):
            far = span + x
            root = np.sqrt(far**2 * x**2 + y**2 * (far**2 - half**2 + x**2 + y**2))
            k = (half * far - root) / (far**2 + y**2)
            places.append(np.searchsorted(sizes, 2 * (half - k * span) / (1 - k * k)))
        begin, end = places
        lit = begin < end
        change = np.bincount(begin[lit], minlength=len(sizes) + 1)
        change -= np.bincount(end[lit], minlength=len(sizes) + 1)
        shares[row] = np.cumsum(change)[:-1] / rays
    return shares


def by_one_size_after_another(sizes: Answer, fields: Answer, rays: int) -> Answer:
    """Return the lit shares, each size asked of all rays."""
    shares = np.empty((len(fields), len(sizes)))
    offsets = sizes * fitted_slope(sizes) / 2
    for row, field in enumerate(fields):
        up_x, up_y, down_x, down_y = rays_at_the_flat(field, rays)
        for column, (size, offset) in enumerate(zip(sizes, offsets, strict=True)):
            passes = (up_x + offset) ** 2 + up_y**2 <= (size / 2) ** 2
            dark = (down_x + offset) ** 2 + down_y**2 < (size / 2) ** 2
            shares[row, column] = np.count_nonzero(passes & ~dark) / rays
    return shares


def compare_sizes(rounds: int) -> None:
    """Measure and print 1000 diagonals x 25 field radii x 10 000 rays."""
    flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=303)
    mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
    telescope = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    sizes, fields = np.linspace(60, 110, 1000), np.linspace(0, 24, 25)

    def ours() -> Answer:
        return ct.light_by_size(
            telescope, minor_axis_mm=sizes, x_arcmin=fields, y_arcmin=0 * fields, rays=10_000
        )

    found = ours()
    print("1000 diagonals: largest difference of a share")
    print(
        "    numpy by critical sizes", difference(found, by_critical_sizes(sizes, fields, 10_000))
    )
    few = by_one_size_after_another(sizes[::50], fields, 10_000)
    print("    numpy, one size after another", difference(found[:, ::50], few))
    compare(
        "1000 diagonals x 25 field radii x 1e4 rays",
        ours,
        {"numpy by critical sizes": lambda: by_critical_sizes(sizes, fields, 10_000)},
        rounds,
    )
    compare(
        "the same beside 20 of the sizes (times 50 for all)",
        ours,
        {
            "numpy, one size after another": lambda: by_one_size_after_another(
                sizes[::50], fields, 10_000
            )
        },
        rounds,
    )


RIM_MM, SHADOW_MM, WAVE_NM = 159.0, 35.0, 550.0


class MaskNodes:
    """Quadrature nodes of a round mirror that stop at each mask's rim, and steps of defocus."""

    def __init__(self, masks_mm: Answer) -> None:
        breaks = np.unique(np.concatenate([[SHADOW_MM], np.linspace(35, 140, 9), masks_mm / 2]))
        x, w = np.polynomial.legendre.leggauss(4)
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
        return 4 * np.pi / WAVE_NM * (conic + wave - edge) / (1 + (self.r / 3116) ** 2)

    def focused(self, phase: Answer) -> Answer:
        """Return the phases less piston and the defocus of least RMS over the whole mirror."""
        total = self.weight.sum()
        t = self.defocus - (self.weight @ self.defocus) / total
        slope = (phase * self.weight) @ t / ((self.weight * t) @ t)
        return phase - slope[:, None] * t


def strehl_by_cumulative_sums(nodes: MaskNodes, phase: Answer) -> Answer:
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


def summit(seen: Answer) -> Answer:
    """Return the greatest value along the first axis, by a parabola through three steps."""
    best = np.clip(np.argmax(seen, axis=0), 1, len(seen) - 2)[None]
    a, b, c = (np.take_along_axis(seen, best + k, axis=0)[0] for k in (-1, 0, 1))
    return b - (c - a) ** 2 / (8 * np.minimum(a - 2 * b + c, -1e-12))


def strehl_one_mask_after_another(nodes: MaskNodes, phase: Answer) -> Answer:
    """Return the same, each mask by itself, as one writes it first."""
    found = np.empty((len(phase), len(nodes.end)))
    phase = nodes.focused(phase)
    for j, end in enumerate(nodes.end):
        weight = nodes.weight[:end] / nodes.weight[:end].sum()
        turns = [phase[:, :end] - d * nodes.defocus[:end] for d in nodes.steps]
        found[:, j] = summit(np.array([np.abs(np.exp(1j * turn) @ weight) ** 2 for turn in turns]))
    return found


def compare_masks(rounds: int) -> None:
    """Measure and print 100 masks over 1000 figures that readings allow."""
    masks = np.linspace(268, 318, 101)[:-1]
    edge, hill = (
        ct.TurnedEdge(width_mm=9, drop_nm=330),
        ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28),
    )
    mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[edge, hill])
    telescope = ct.Train(
        primary=mirror,
        diagonal=ct.Diagonal(minor_axis_mm=70),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
    )
    readings = ct.KnifeEdgeReadings(
        clear_aperture_mm=318,
        radius_of_curvature_mm=3116,
        source="moving",
        readings_increase="away_from_mirror",
        radius_mm=[40, 65, 86, 104, 119, 132, 144, 154],
        runs_mm=[[0.25, 0.66, 1.17, 1.75, 2.27, 2.81, 3.33, 5.2]] * 4,
    )
    figure = readings.reduce(draws=1000, obstruction_ratio=70 / 318)
    fast = {"diameters_mm": masks, "detail_arcsec": [], "star_image": False}
    nodes = MaskNodes(np.append(masks, 318.0))
    phase = nodes.figures(1000)
    t = nodes.r
    known = -330 * np.clip(1 + (t - RIM_MM) / 9, 0, 1) ** 2 + 28 * np.exp(-(((t - 95) / 13) ** 2))
    known = 4 * np.pi / WAVE_NM * known / (1 + (t / 3116) ** 2)
    exact = ct.mask_sweep(telescope, **fast).strehl
    peer = strehl_by_cumulative_sums(nodes, known[None])[0][:-1]
    print("100 masks: largest difference of the Strehl of a known mirror")
    print("    numpy, running sums", difference(exact, peer))
    peer = strehl_one_mask_after_another(nodes, known[None])[0][:-1]
    print("    numpy, one mask after another", difference(exact, peer))

    def ours() -> Answer:
        return ct.mask_sweep(figure, **fast).strehl

    compare(
        "100 masks x 1000 figures, drawing these from readings included",
        ours,
        {"numpy, running sums (figures given)": lambda: strehl_by_cumulative_sums(nodes, phase)},
        rounds,
    )
    compare(
        "the same beside 20 of the figures (times 50 for all)",
        ours,
        {"numpy, one mask after another": lambda: strehl_one_mask_after_another(nodes, phase[:20])},
        rounds,
    )


def compare_coating_maps(rounds: int) -> None:
    """Measure and print a picture of a coating of 512 x 512 pixels, and the star behind it."""
    side = APERTURE_MM / (GRID - 4)
    axis = (np.arange(GRID) - (GRID - 1) / 2.0) * side
    x, y = np.meshgrid(axis, axis)
    worn = 0.4 / (1.0 + np.exp((np.hypot(x - 40.0, y + 30.0) - 35.0) / 5.0))
    shares = 0.9 - worn - 0.1 * np.exp(-(((np.hypot(x, y) - 120.0) / 12.0) ** 2))
    half_um = 12 * 0.55 * RATIO
    position = pixel_positions(half_um)
    cycles = position * (side / FOCAL_MM) / 0.55
    zoom = ZoomFFT(GRID, [cycles[0], cycles[-1]], m=PIXELS, fs=1.0, endpoint=True)
    amplitude = np.sqrt(shares) * (np.hypot(x, y) <= APERTURE_MM / 2.0)

    def by_zooms() -> Answer:
        return np.abs(zoom(zoom(amplitude, axis=1), axis=0)) ** 2 / amplitude.sum() ** 2

    def by_padding() -> Answer:
        return np.abs(fft2(amplitude, s=(4096, 4096))) ** 2 / amplitude.sum() ** 2

    peers = {"two zoom transforms": by_zooms, "padded FFT, 4096 x 4096": by_padding}
    given = {"pixel_mm": side, "rows_run": "+y", "columns_run": "+x"}
    film = ct.MetalFilm(metal="aluminium", thickness_nm=90)
    thin = ct.ThicknessMap(thickness_nm=100.0 * shares, **given)
    for name, coating in (
        ("reflectance", ct.Coating(map=ct.ReflectanceMap(reflectance=shares, **given))),
        ("thickness", ct.Coating(metal=ct.MetalCoat(film=film, map=thin))),
    ):
        telescope = ct.Train(
            primary=ct.Primary(
                clear_aperture_mm=APERTURE_MM, focal_length_mm=FOCAL_MM, coating=coating
            )
        )

        def ours(telescope: ct.Train = telescope) -> Answer:
            wave = telescope.wavefront(focus="paraxial")
            return wave.psf(half_width_um=half_um, pixels=PIXELS).image

        compare(f"map of {name}, 512 x 512, to a star", ours, peers, rounds)
        if name == "reflectance":
            # The peers' rim is a staircase, and their coordinate that of a slow mirror.
            print(f"    difference from two zooms {difference(ours(), by_zooms())}")


if __name__ == "__main__":
    main()
    compare_coating_maps(int(sys.argv[1]) if len(sys.argv) > 1 else 7)
    compare_sizes(int(sys.argv[1]) if len(sys.argv) > 1 else 7)
    compare_masks(int(sys.argv[1]) if len(sys.argv) > 1 else 7)
