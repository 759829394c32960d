"""Rays and waves against computations of other kinds, in numpy, scipy and galsim, and in a hurry.

The Rust tests hold the crate against mpmath, row by row. Here the package is held against shorter
computations from first principles, written apart, so that the way through Python is seen as well.
"""

import hashlib
import multiprocessing
import os
import pickle
import subprocess
import sys

import catoptric as ct
import galsim
import numpy as np
import pytest
from samples import FENLIGHT, bare, newtonian, primary, readings, rows
from scipy import integrate, optimize
from scipy.special import j0, j1

ARCMIN = np.pi / 180 / 60
WAVELENGTH_UM = 0.55


# The perfect star. Intensity [2 J1(v)/v - e^2 2 J1(e v)/(e v)]^2/(1 - e^2)^2, v = pi r/(lambda F):
# Born & Wolf, Principles of Optics, chapter 8 (from memory; the limits below check it).


def airy_intensity(v, ratio):
    def bessel(x):
        return np.where(x == 0, 1.0, 2 * j1(x) / np.where(x == 0, 1.0, x))

    return ((bessel(v) - ratio**2 * bessel(ratio * v)) / (1 - ratio**2)) ** 2


def airy_energy(v, ratio):
    """Return the share of light within v: the intensity over the pupil's Parseval total."""
    held, _ = integrate.quad(lambda x: airy_intensity(x, ratio) * x, 0, v, limit=200)
    return held * (1 - ratio**2) / 2


@pytest.mark.parametrize("ratio", [0.0, 0.1, 0.2, 0.3, 0.4, 0.5])
def test_the_airy_pattern_is_that_of_bessel_functions(ratio):
    star = ct.Airy(focal_ratio=5, obstruction_ratio=ratio)
    unit = WAVELENGTH_UM * 5
    radius = np.linspace(0, 20, 201)
    v = np.pi * radius / unit
    np.testing.assert_allclose(star.intensity(radius), airy_intensity(v, ratio), atol=1e-13)
    energy = [airy_energy(x, ratio) for x in v[1::20]]
    np.testing.assert_allclose(star.encircled_energy(radius[1::20]), energy, atol=1e-9)

    def half(x):
        return airy_intensity(np.array(x), ratio) - 0.5

    width = 2 * optimize.brentq(half, 0.5, 2.5, xtol=1e-14) / np.pi
    assert star.fwhm_um == pytest.approx(width * unit, rel=1e-9)
    # A dark ring is a zero of the amplitude, J1(v) - e J1(e v).
    fine = np.arange(1.0, 30.0, 0.01)
    amplitude = j1(fine) - ratio * j1(ratio * fine)
    (left,) = np.nonzero(np.diff(np.sign(amplitude)))
    zeros = [
        optimize.brentq(lambda x: j1(x) - ratio * j1(ratio * x), fine[i], fine[i + 1], xtol=1e-13)
        for i in left[:5]
    ]
    np.testing.assert_allclose(star.dark_rings_um, np.array(zeros) * unit / np.pi, rtol=1e-9)


@pytest.mark.parametrize(
    ("ratio", "ring", "held"),
    [(0.0, 1.21966989, 0.83778487), (0.2, 1.16650678, 0.76376267), (0.3, 1.11451776, 0.68236755)],
)
def test_dark_rings_and_their_energy_are_the_published_ones(ratio, ring, held):
    # Born & Wolf, chapter 8, for the clear aperture; printed tables give 83.8, 76.4 and 68.2 %
    # (from memory); the further digits are a computation in mpmath of their own.
    star = ct.Airy(focal_ratio=8, obstruction_ratio=ratio, wavelength_nm=500)
    assert star.dark_rings_um[0] == pytest.approx(ring * 4, rel=1e-8)
    assert star.encircled_energy(star.dark_rings_um)[0] == pytest.approx(held, abs=1e-8)


def test_a_slow_perfect_mirror_shows_the_airy_pattern():
    # At f/200 the real cone and the textbook's differ by 1e-6 of the peak.
    train = ct.Train(primary=ct.Primary(clear_aperture_mm=50, focal_length_mm=10_000))
    star = train.psf(half_width_um=600, pixels=61)
    along, across = np.meshgrid(star.along_um, star.across_um)
    v = np.pi * np.hypot(along, across) / (WAVELENGTH_UM * 200)
    np.testing.assert_allclose(star.image, airy_intensity(v, 0.0), atol=1e-5)
    rings = star.airy.dark_rings_um[:3]
    expected = [airy_energy(np.pi * r / (WAVELENGTH_UM * 200), 0.0) for r in rings]
    np.testing.assert_allclose(star.encircled_energy(rings), expected, atol=1e-5)


# A trace of our own: straight lines and the law of reflection on z = r^2/(4 f), figure none. The
# wave that arrives at a point P in the image is the sum over the mirror of e^(2 pi i path/lambda),
# weighted with the beam that each piece of glass takes up; no far-field approximation is made.


class OwnParaboloid:
    """A bare paraboloid on a fine polar net, and what arrives from one star."""

    def __init__(self, aperture_mm, focal_mm, field_arcmin, nodes=(48, 192)):
        self.focal_mm = focal_mm
        share, weight = np.polynomial.legendre.leggauss(nodes[0])
        radius = aperture_mm / 2 * np.sqrt((share + 1) / 2)  # equal areas: r dr = d(r^2)/2
        turn = 2 * np.pi * (np.arange(nodes[1]) + 0.5) / nodes[1]
        r, t = np.meshgrid(radius, turn, indexing="ij")
        self.glass = np.stack([r * np.cos(t), r * np.sin(t), r**2 / (4 * focal_mm)], axis=-1)
        slope = np.tan(np.array(field_arcmin) * ARCMIN)
        toward_star = np.array([*slope, 1.0])
        self.travel = -toward_star / np.linalg.norm(toward_star)
        self.gauss_mm = np.array([*(-focal_mm * slope), focal_mm])
        # |d . N| dx dy with N the normal scaled to a z of 1.
        normal = np.stack([-self.glass[..., 0], -self.glass[..., 1], 0 * r + 2 * focal_mm], -1)
        normal /= 2 * focal_mm
        self.flux = np.abs(normal @ self.travel) * weight[:, np.newaxis]

    def path_mm(self, point_mm):
        return self.glass @ self.travel + np.linalg.norm(point_mm - self.glass, axis=-1)

    def intensity(self, points_mm):
        """Return intensities over that of the same light in phase."""
        found = []
        for point in points_mm:
            wave = np.exp(2j * np.pi * self.path_mm(point) / (WAVELENGTH_UM * 1e-3))
            found.append(abs(np.sum(self.flux * wave) / self.flux.sum()) ** 2)
        return np.array(found)

    def rms_nm(self, point_mm):
        path = self.path_mm(point_mm) * 1e6
        mean = np.average(path, weights=self.flux)
        return np.sqrt(np.average((path - mean) ** 2, weights=self.flux))


@pytest.mark.parametrize("field", [(0.0, 0.0), (6.0, 0.0), (-3.0, 8.0)])
def test_a_star_image_is_the_sum_over_the_mirror(field):
    train = ct.Train(primary=ct.Primary(clear_aperture_mm=100, focal_length_mm=600))
    star = train.psf(field_arcmin=field, focus="least_rms", half_width_um=12, pixels=13)
    wave = star.wavefront
    own = OwnParaboloid(100, 600, field)
    reference = own.gauss_mm + np.array(
        [wave.reference_along_um * 1e-3, wave.reference_across_um * 1e-3, wave.focus_shift_mm]
    )
    assert own.rms_nm(reference) == pytest.approx(wave.rms_nm, abs=1e-3)
    along, across = np.meshgrid(star.along_um, star.across_um)
    shift = np.stack([along, across, 0 * along], axis=-1).reshape(-1, 3) * 1e-3
    expected = own.intensity(reference + shift).reshape(star.image.shape)
    # What is left is the depth term p^2/(2f) of the far field: 1e-5 at 17 um from the middle.
    np.testing.assert_allclose(star.image, expected, atol=3e-5)
    assert wave.strehl == pytest.approx(own.intensity([reference])[0], abs=1e-6)


def test_least_rms_is_least():
    field = (10.0, 0.0)
    own = OwnParaboloid(250, 1250, field)
    wave = ct.Train(primary=ct.Primary(clear_aperture_mm=250, focal_length_mm=1250)).wavefront(
        field_arcmin=field
    )
    best = optimize.minimize(
        lambda p: own.rms_nm(own.gauss_mm + p * [1e-2, 1e-2, 1e-1]),
        [0.0, 0.0, 0.0],
        method="Nelder-Mead",
        options={"xatol": 1e-6, "fatol": 1e-9, "maxiter": 2000},
    )
    assert wave.rms_nm == pytest.approx(best.fun, rel=1e-6)
    assert wave.focus_shift_mm == pytest.approx(best.x[2] * 0.1, abs=1e-3)


def test_spots_against_published_numbers():
    # An exact trace in mpmath, apart from this library: tests/data/make_coma.py.
    for row in rows("coma", kind="field", focal_length_mm=1250):
        mirror = ct.Primary(clear_aperture_mm=250, focal_length_mm=1250)
        field = (row["field_a_arcmin"], row["field_b_arcmin"])
        spot = ct.Train(primary=mirror).spot(field_arcmin=field)
        assert spot.rms_radius_um == pytest.approx(row["rms_spot_um"], rel=1e-6)
        assert spot.tangential_coma_um == pytest.approx(row["tangential_coma_um"], rel=1e-6)


# Zernike terms. Noll's indices: R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976); values by galsim.

TERMS = {2: 20.0, 4: -15.0, 5: 8.0, 6: 11.0, 7: -9.0, 8: 14.0, 9: 3.0, 11: 21.0, 14: -4.0, 22: 6.0}


def by_galsim(terms, x, y):
    """Return the sum of Noll terms at points of the unit disc."""
    coefficients = np.zeros(max(terms) + 1)
    for index, value in terms.items():
        coefficients[index] = value
    return galsim.zernike.Zernike(coefficients)(x, y)


@pytest.mark.parametrize("ratio", [0.0, 0.3])
def test_zernike_terms_are_those_of_galsim(ratio):
    # Tilt is kept: given terms are not refocused.
    wave = ct.Wavefront.from_zernikes(TERMS, indexing="noll", obstruction_ratio=ratio)
    x, y = np.meshgrid(wave.map_axis_mm, wave.map_axis_mm)
    lit = np.isfinite(wave.map_nm)
    expected = by_galsim(TERMS, x, y)
    difference = (wave.map_nm - expected)[lit]
    assert np.ptp(difference) < 1e-9  # piston is free
    found = wave.zernikes(indexing="noll", terms=22)
    for index in range(2, 23):
        assert found[index] == pytest.approx(TERMS.get(index, 0.0), abs=1e-6)
    if ratio == 0:
        assert wave.rms_nm == pytest.approx(np.linalg.norm(list(TERMS.values())), rel=1e-6)


@pytest.mark.parametrize(
    ("noll", "other", "indexing"),
    # OSA/ANSI: j = (n(n + 2) + m)/2 from 0; the fringe order after Wyant & Creath (from memory).
    [(4, 4, "osa"), (6, 5, "osa"), (8, 8, "osa"), (7, 7, "osa"), (11, 12, "osa")],
)
def test_terms_of_osa(noll, other, indexing):
    one = ct.Wavefront.from_zernikes({noll: 25.0}, indexing="noll")
    two = ct.Wavefront.from_zernikes({other: 25.0}, indexing=indexing)
    np.testing.assert_allclose(one.map_nm, two.map_nm, atol=1e-12)


def test_a_fringe_term_has_its_height_at_the_rim():
    # Fringe spherical, index 9: 6 r^4 - 6 r^2 + 1, from -0.5 to 1 (from memory).
    wave = ct.Wavefront.from_zernikes({9: 100.0}, indexing="fringe")
    assert wave.pv_nm == pytest.approx(150.0, rel=1e-3)
    assert wave.rms_nm == pytest.approx(100 / np.sqrt(5), rel=1e-6)


def test_zernikes_of_a_traced_wavefront_against_a_fit_with_galsim():
    wave = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)).wavefront(
        field_arcmin=(12, 0)
    )
    lit = np.isfinite(wave.map_nm)
    x, y = np.meshgrid(wave.map_axis_mm, wave.map_axis_mm)
    inside = lit & (np.hypot(x, y) < 99)
    basis = galsim.zernike.zernikeBasis(15, x[inside] / 100, y[inside] / 100)[1:]
    fitted, *_ = np.linalg.lstsq(basis.T, wave.map_nm[inside], rcond=None)
    found = wave.zernikes(indexing="noll", terms=15)
    for index in range(4, 16):
        assert found[index] == pytest.approx(fitted[index - 1], abs=0.02), index
    # The star stands toward +x: its coma is the cosine term, and the flare points to -x.
    assert abs(found[8]) > 100 * abs(found[7])


# Strehl.


@pytest.mark.parametrize("ratio", [0.0, 0.2, 0.33])
@pytest.mark.parametrize("waves", [0.1, 0.25, 0.6, 1.3])
def test_defocus_dims_as_the_square_of_a_sinc(ratio, waves):
    # On the axis sinc^2(pi W020 (1 - e^2)): elementary integral; W020 in waves at the rim is
    # 2 sqrt(3) times Noll's fourth coefficient.
    given = {4: waves * 550 / (2 * np.sqrt(3))}
    wave = ct.Wavefront.from_zernikes(given, indexing="noll", obstruction_ratio=ratio)
    assert wave.strehl == pytest.approx(np.sinc(waves * (1 - ratio**2)) ** 2, abs=1e-9)


@pytest.mark.parametrize("shift_mm", [-40.0, 15.0, 60.0])
def test_a_shift_of_focus_is_defocus(shift_mm):
    # Two spheres of radii f and f + dz about one vertex: W020 = (D^2/8)(1/f - 1/(f + dz)), which is
    # dz/(8 F^2) for small shifts. The sign: a shift is positive further from the primary.
    train = ct.Train(primary=ct.Primary(clear_aperture_mm=50, focal_length_mm=10_000))
    wave = train.wavefront(focus_shift_mm=shift_mm)
    waves = 50**2 / 8 * (1e-4 - 1 / (10_000 + shift_mm)) / (WAVELENGTH_UM * 1e-3)
    assert wave.strehl == pytest.approx(np.sinc(waves) ** 2, abs=1e-5)
    defocus = wave.zernikes(indexing="noll", terms=4)[4]
    assert defocus == pytest.approx(waves * 550 / (2 * np.sqrt(3)), rel=1e-4)


@pytest.mark.parametrize("row", rows("strehl", kind="zernike"), ids=lambda row: row["name"])
def test_quarter_waves(row):
    # tests/data/make_strehl.py; 0.8106, 0.8003, 0.9256, 0.9021 for a clear aperture: Mahajan.
    wave = ct.Wavefront.from_zernikes(
        {row["noll"]: row["coefficient_nm_at_550"]},
        indexing="noll",
        obstruction_ratio=row["obstruction_ratio"],
    )
    assert wave.strehl == pytest.approx(row["strehl"], abs=1e-6)


def test_encircled_energy_of_an_aberrated_star_against_a_hankel_transform():
    terms = {4: 30.0, 11: 40.0}
    ratio, focal_ratio = 0.25, 6.0
    wave = ct.Wavefront.from_zernikes(
        terms, indexing="noll", obstruction_ratio=ratio, focal_ratio=focal_ratio
    )
    node, weight = np.polynomial.legendre.leggauss(80)
    rho = ratio + (1 - ratio) * (node + 1) / 2
    weight = weight * (1 - ratio) / 2 * rho
    pupil = np.exp(2j * np.pi * by_galsim(terms, rho, 0 * rho) / 550) * weight
    unit = WAVELENGTH_UM * focal_ratio
    # Intensity against radius by the Hankel transform, then the light inside by Gauss-Legendre.
    found = []
    for limit in (2.0, 4.5, 12.0):
        at, step = np.polynomial.legendre.leggauss(200)
        radius, step = limit * (at + 1) / 2, step * limit / 2
        field = j0(2 * np.pi * np.outer(radius, rho) / (2 * unit)) @ pupil
        total = unit**2 / np.pi**2 * 2 * weight.sum()
        found.append(np.sum(abs(field) ** 2 * radius * step) / total * 2)
    np.testing.assert_allclose(wave.encircled_energy([2.0, 4.5, 12.0]), found, atol=1e-6)


@pytest.mark.parametrize(
    ("name", "strehl"), [("before", 0.770), ("after", 0.988), ("touch_up", 0.984)]
)
def test_the_invented_mirror_has_its_strehl(name, strehl):
    # The exact path with the figure in the hit point, in mpmath: tests/data/make_strehl.py. The
    # 70 mm diagonal's shadow is taken as central there; its offset moves it by 3.6 mm.
    train = newtonian(primary=primary(**FENLIGHT[name]))
    wave = train.wavefront(focus="peak")
    assert wave.strehl == pytest.approx(strehl, abs=1e-3)
    (row,) = (r for r in rows("strehl", name=name) if r["obstruction_ratio"] > 0)
    assert wave.strehl == pytest.approx(row["peak_strehl"], abs=1e-3)
    assert row["peak_strehl"] == pytest.approx(strehl, abs=1e-3)
    (clear,) = rows("strehl", name=name, obstruction_ratio=0.0)
    alone = bare(**FENLIGHT[name])
    assert alone.wavefront(focus="peak").strehl == pytest.approx(clear["peak_strehl"], abs=1e-6)
    least = alone.wavefront(focus="least_rms")
    assert least.rms_nm == pytest.approx(clear["least_rms_nm"], abs=1e-3)
    assert least.focus_shift_mm == pytest.approx(clear["least_rms_shift_mm"], abs=1e-5)


# Directions.


@pytest.mark.parametrize("field", [(15, 0), (-15, 0), (0, 15), (0, -15), (10, 10)])
def test_the_image_lies_opposite_and_the_flare_points_away_from_the_axis(field):
    train = ct.Train(primary=ct.Primary(clear_aperture_mm=250, focal_length_mm=1250))
    spot = train.spot(field_arcmin=field, points=3000)
    # The image of a star at (a, b) falls at -f tan a, -f tan b; away from the axis is that way.
    outward = -np.array(field) / np.linalg.norm(field)
    centroid = np.array([spot.centroid_along_um, spot.centroid_across_um])
    assert centroid @ outward > 10
    assert spot.tangential_coma_um == pytest.approx(41.0, abs=7)
    reach = np.stack([spot.along_um, spot.across_um], axis=-1) @ outward
    assert reach.max() > 2 * -reach.min()  # the bright tip is toward the axis, the tail outward
    star = train.psf(field_arcmin=field, half_width_um=60, pixels=61)
    along, across = np.meshgrid(star.along_um, star.across_um)
    outside = outward[0] * along + outward[1] * across
    peak = outward @ [star.peak_along_um, star.peak_across_um]
    light = star.image / star.image.sum()
    # The centre of all the light lies on the outer side of the peak.
    assert np.sum(light * outside) > peak + 3


def test_a_hill_is_ahead_and_a_turned_edge_is_behind():
    hill = bare(figure=[ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28)])
    wave = hill.wavefront(focus_shift_mm=0)
    middle = len(wave.map_axis_mm) // 2
    row = wave.map_nm[middle]
    at = np.interp([0, 95], wave.map_axis_mm, row)
    assert at[1] - at[0] == pytest.approx(2 * 28 / (1 + (95 / 3116) ** 2), abs=0.5)
    edge = bare(figure=[ct.TurnedEdge(width_mm=9, drop_nm=330)]).wavefront(focus_shift_mm=0)
    row = edge.map_nm[middle]
    lit = row[np.isfinite(row)]
    assert lit[-1] - lit[len(lit) // 2] < -600


def test_the_focuser_side_is_dimmed_by_what_stands_there():
    # Stars toward the focuser fall toward the primary (along < 0) at the tube's low side.
    low = newtonian(drawtube=ct.Drawtube(bore_mm=40, length_mm=60, outer_end_to_focus_mm=20))
    light = low.illumination(along_mm=[-15, 15], across_mm=[0, 0])
    mirrored = low.illumination(along_mm=[0, 0], across_mm=[-15, 15])
    assert light.absolute[0] != pytest.approx(light.absolute[1], abs=1e-6)
    assert mirrored.absolute[0] == pytest.approx(mirrored.absolute[1], abs=1e-9)


# The diagonal. J. Dakin 1962, in Texereau, How to Make a Telescope (1984), appendix G.


def test_dakins_example():
    mm = ct.inches
    fit = ct.smallest_diagonal(
        primary=ct.Primary(clear_aperture_mm=mm(8), focal_length_mm=mm(48)),
        axis_to_focus_mm=mm(6.3),
        fully_lit_diameter_mm=mm(0.43),
    )
    assert fit.minor_axis_mm == pytest.approx(mm(1.43423950), abs=mm(1e-7))
    assert fit.offset_mm == pytest.approx(mm(0.05664622), abs=mm(1e-7))


def test_light_against_integrals_over_the_cone():
    # tests/data/make_diagonal.py: lines of the cone and row integrals in mpmath and scipy.
    for row in rows("diagonal", kind="light")[::4]:
        parts = {}
        if row["front_opening_diameter_mm"]:
            parts["front_opening"] = ct.Opening(
                diameter_mm=row["front_opening_diameter_mm"],
                above_vertex_mm=row["front_opening_above_vertex_mm"],
            )
        if row["drawtube_bore_mm"]:
            parts["drawtube"] = ct.Drawtube(
                bore_mm=row["drawtube_bore_mm"],
                length_mm=row["drawtube_length_mm"],
                outer_end_to_focus_mm=row["drawtube_outer_end_to_focus_mm"],
            )
        train = ct.Train(
            primary=ct.Primary(
                clear_aperture_mm=row["clear_aperture_mm"], focal_length_mm=row["focal_length_mm"]
            ),
            diagonal=ct.Diagonal(minor_axis_mm=row["minor_axis_mm"], offset_mm=row["offset_mm"]),
            focal_plane=ct.FocalPlane(axis_to_focus_mm=row["axis_to_focus_mm"]),
            **parts,
        )
        light = train.illumination(along_mm=[row["along_mm"]], across_mm=[row["across_mm"]])
        assert light.absolute[0] == pytest.approx(row["lit_fraction"], abs=1e-7), row["name"]
        shadow = light.stopped["diagonal_shadow"][0]
        assert shadow == pytest.approx(row["stopped_by_diagonal_shadow"], abs=1e-7)


# Threads and processes.


def digest():
    """Return a mark of the last bit of one result of each kind."""
    train = newtonian(primary=primary(**FENLIGHT["before"]))
    found = [
        train.spot(field_arcmin=(7, 3)),
        train.wavefront(field_arcmin=(7, 3), focus="peak"),
        train.psf(half_width_um=15, pixels=33),
        train.illumination(radius_mm=[0, 5, 10, 20]),
        readings("before").reduce(draws=500),
        ct.judge_refigure(before=readings("before"), after=readings("after"), draws=500),
    ]
    return hashlib.sha256(b"".join(pickle.dumps(result) for result in found)).hexdigest()


@pytest.mark.parametrize(
    "variables",
    [
        {"CATOPTRIC_NUM_THREADS": "1"},
        {"CATOPTRIC_NUM_THREADS": "2"},
        {"CATOPTRIC_NUM_THREADS": "7"},
        {"RAYON_NUM_THREADS": "3"},
        {"CATOPTRIC_NUM_THREADS": "many", "OMP_NUM_THREADS": "1"},
    ],
    ids=repr,
)
def test_the_same_bits_at_any_number_of_threads(variables):
    here = os.path.dirname(__file__)
    others = {key: value for key, value in os.environ.items() if not key.endswith("NUM_THREADS")}
    done = subprocess.run(
        [sys.executable, "-c", "import test_optics; print(test_optics.digest())"],
        env=others | variables | {"PYTHONPATH": here},
        check=True,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.stdout.strip() == digest()


# From CPython 3.12 a fork beside running threads is warned about; that is the point here.
@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
def test_a_forked_child_works_after_the_parent_has_used_its_threads():
    expected = digest()
    with multiprocessing.get_context("fork").Pool(2) as pool:
        waiting = [pool.apply_async(digest) for _ in range(4)]
        assert [answer.get(timeout=120) for answer in waiting] == [expected] * 4
