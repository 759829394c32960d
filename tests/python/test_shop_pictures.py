"""Predicted shop tests: readings, knife-edge shadows and grating bands against independent sums."""

import catoptric as ct
import numpy as np
import pytest
from catoptric.errors import InputError
from samples import FENLIGHT, primary, rows
from scipy.special import sici

RADIUS_MM = 3116.0
RIM_MM = 159.0
WAVELENGTH_MM = 550e-6


def refusal(ask):
    with pytest.raises(InputError) as caught:
        ask()
    return caught.value


# Readings.


@pytest.mark.parametrize("name", FENLIGHT)
@pytest.mark.parametrize("source", ["moving", "fixed"])
def test_expected_readings_are_the_means_of_exact_normals(name, source):
    # tests/data/make_knife_edge.py: mpmath, exact normals and reflections.
    wanted = rows("knife_edge", kind="opening", name=name)
    inner = [row["inner_radius_mm"] for row in wanted]
    outer = [row["outer_radius_mm"] for row in wanted]
    found = ct.expected_readings(
        primary(**FENLIGHT[name]), source=source, inner_radius_mm=inner, outer_radius_mm=outer
    )
    truth = [row[f"{source}_source_mean_mm"] for row in wanted]
    np.testing.assert_allclose(found, truth, rtol=0, atol=1e-9)  # mm


def test_expected_readings_reduce_to_the_figure_they_came_from():
    # A paraboloid's readings, reduced, show no figure; those of a hollow edge show a hollow edge.
    openings = {"inner_radius_mm": [0, 40, 80, 120], "outer_radius_mm": [40, 80, 120, 159]}
    bench = {"clear_aperture_mm": 318, "radius_of_curvature_mm": RADIUS_MM, "source": "moving"}
    bench |= {"readings_increase": "away_from_mirror"} | openings

    def reduced(mirror):
        readings = ct.expected_readings(mirror, source="moving", **openings)
        return ct.KnifeEdgeReadings(runs_mm=readings, **bench).reduce(draws=100)

    assert np.abs(reduced(primary()).height_nm).max() < 1e-6
    turned = reduced(primary(figure=[ct.TurnedEdge(width_mm=39, drop_nm=200)]))
    assert turned.height_nm[-1] - turned.height_nm[-2] < -50


def test_single_radii_are_read_at_the_radius():
    radius = np.array([40.0, 80.0, 159.0])
    found = ct.expected_readings(primary(), source="fixed", radius_mm=radius)
    closed = radius**2 / RADIUS_MM + radius**4 / (2 * RADIUS_MM**3)
    np.testing.assert_allclose(found, closed, rtol=0, atol=1e-10)


def test_readings_know_what_a_paraboloid_reads():
    openings = {"inner_radius_mm": [0, 40, 80, 120], "outer_radius_mm": [40, 80, 120, 159]}
    for source in ("moving", "fixed"):
        found = ct.expected_readings(primary(), source=source, **openings)
        readings = ct.KnifeEdgeReadings(
            clear_aperture_mm=318,
            radius_of_curvature_mm=RADIUS_MM,
            source=source,
            readings_increase="away_from_mirror",
            runs_mm=found,
            **openings,
        )
        np.testing.assert_allclose(readings.paraboloid_mm, found, rtol=0, atol=1e-9)


# Knife.


def shadow(mirror=None, **changes):
    standing = {"source": "moving", "stage_mm": 2.0, "slit_width_um": 20, "pixels": 101}
    return ct.knife_edge_picture(mirror or primary(), **(standing | changes))


def test_a_sphere_with_the_edge_beside_focus_against_sine_and_cosine_integrals():
    # U' = U/2 + (i/2 pi) PV int exp(i q x')/(x - x') dx' over the row -c < x' < c
    #    = exp(iqx) [1/2 + (i/2 pi) (Ci(q(c+x)) - Ci(q(c-x))) + (1/2 pi) (Si(q(c+x)) + Si(q(c-x)))],
    # by t = x - x'; q = 2 pi (edge + slit point)/(lambda R); averaged over the slit by 64 nodes.
    edge_um, slit_um = 9.0, 15.0
    seen = shadow(primary(conic=0), stage_mm=0.0, edge_um=edge_um, slit_width_um=slit_um)
    nodes, weights = np.polynomial.legendre.leggauss(64)
    offsets_mm = (edge_um + slit_um / 2 * nodes) * 1e-3
    x, y = np.meshgrid(seen.axis_mm, seen.axis_mm)
    half = np.sqrt(np.maximum(RIM_MM**2 - y**2, 0.0))
    inside = half - np.abs(x) > 4.0
    x, half = x[inside], half[inside]
    truth = np.zeros_like(x)
    for offset, weight in zip(offsets_mm, weights, strict=True):
        # Light goes to the right of the edge where the path grows with x: from an edge at the
        # right, exp(iqx) with q negative.
        q = -2 * np.pi * offset / (WAVELENGTH_MM * RADIUS_MM)
        (si_plus, ci_plus), (si_minus, ci_minus) = (
            sici(abs(q) * (half + x)),
            sici(abs(q) * (half - x)),
        )
        real = 0.5 + np.sign(q) * (si_plus + si_minus) / (2 * np.pi)
        imaginary = (ci_plus - ci_minus) / (2 * np.pi)
        truth += weight / 2 * (real**2 + imaginary**2)
    # Left out there: the next order of the path, about q x (x/R)^2/2 = 1e-3 rad.
    np.testing.assert_allclose(seen.image[inside], truth, rtol=0, atol=1e-3)


@pytest.mark.parametrize("name", ["paraboloid", "before"])
@pytest.mark.parametrize(("source", "stage_mm"), [("moving", 2.0), ("fixed", 3.0)])
@pytest.mark.parametrize("knife_from", ["left", "right"])
def test_the_middle_row_against_transforms_to_the_knife_and_back(
    name, source, stage_mm, knife_from
):
    # Another route: the row's field, sampled, is transformed to the plane of the knife, cut there,
    # and transformed back. 2^19 samples over 64 apertures; the edge half way between two samples.
    samples, width_mm = 2**19, 64 * 2 * RIM_MM
    knife_mm = RADIUS_MM + stage_mm
    step_um = WAVELENGTH_MM * knife_mm / width_mm * 1e3
    edge_um = (40 + 0.5) * step_um
    mirror = primary(**FENLIGHT[name]) if name in FENLIGHT else primary()
    seen = shadow(
        mirror,
        source=source,
        stage_mm=stage_mm,
        edge_um=edge_um,
        knife_from=knife_from,
        slit_width_um=0.1,
    )
    x = (np.arange(samples) - samples // 2) * width_mm / samples
    r = np.abs(x)
    z = height_mm(np.minimum(r, RIM_MM), -1.0 if name == "paraboloid" else -0.88, name)
    slit_mm = knife_mm if source == "moving" else RADIUS_MM
    path = np.hypot(x, slit_mm - z) + np.hypot(x, knife_mm - z) - slit_mm - knife_mm
    field = np.where(r < RIM_MM, np.exp(2j * np.pi * path / WAVELENGTH_MM), 0.0)
    # |Q - P| = L - x xi/L: the transform that belongs to the knife's coordinate xi.
    at_knife = np.fft.fft(np.fft.ifftshift(field))
    xi_um = np.fft.fftfreq(samples, 1.0 / samples) * step_um
    passes = xi_um > edge_um if knife_from == "left" else xi_um < edge_um
    behind = np.fft.fftshift(np.fft.ifft(np.where(passes, at_knife, 0.0)))
    wanted = np.abs(np.interp(seen.axis_mm, x, behind)) ** 2
    within = np.abs(np.abs(seen.axis_mm) - RIM_MM) > 3.0
    # Sampling the rim's jump at 0.04 mm spoils the transform by about 0.04 mm/(2 pi 3 mm).
    np.testing.assert_allclose(seen.image[50][within], wanted[within], rtol=0, atol=4e-3)


def height_mm(r, conic, name):
    z = r**2 / RADIUS_MM / (1 + np.sqrt(1 - (1 + conic) * (r / RADIUS_MM) ** 2))
    if name == "paraboloid":
        return z
    # The invented mirror "before" of the first notebook.
    edge = 330e-6 * np.maximum((r - 150.0) / 9.0, 0.0) ** 2
    return z - edge + 28e-6 * np.exp(-(((r - 95.0) / 13.0) ** 2))


def test_several_wavelengths_share_the_light():
    waves = (480.0, 550.0, 620.0)
    together = shadow(wavelength_nm=waves, pixels=41)
    single = [shadow(wavelength_nm=wave, pixels=41).image for wave in waves]
    assert together.wavelength_nm == waves
    np.testing.assert_allclose(together.image, np.mean(single, axis=0), rtol=0, atol=2e-5)


def test_the_picture_holds_all_it_was_made_from():
    seen = shadow(edge_um=3, knife_from="right", inner_radius_mm=[0, 90], outer_radius_mm=[60, 159])
    again = ct.knife_edge_picture(
        seen.primary,
        source=seen.source,
        stage_mm=seen.stage_mm,
        edge_um=seen.edge_um,
        knife_from=seen.knife_from,
        slit_width_um=seen.slit_width_um,
        wavelength_nm=seen.wavelength_nm,
        inner_radius_mm=seen.inner_radius_mm,
        outer_radius_mm=seen.outer_radius_mm,
        pixels=seen.pixels,
    )
    assert again == seen
    assert seen != shadow()
    assert len(seen.axis_mm) == seen.pixels == 101
    assert seen.axis_mm[50] == 0
    assert seen.axis_mm[-1] == pytest.approx(1.05 * RIM_MM)


def test_zone_crossings_are_readings_seen_sideways():
    # Where a zone's own reading is the stage, its rays cross the axis in the knife's plane.
    for source in ("moving", "fixed"):
        (reading,) = ct.expected_readings(primary(), source=source, radius_mm=[100.0])
        seen = shadow(source=source, stage_mm=reading, pixels=11)
        crossing = np.interp(100.0, seen.zone_radius_mm, seen.zone_crossing_um)
        # 200 zones: between two of them the straight line lies within 0.01 um.
        assert crossing == pytest.approx(0.0, abs=0.02)


# Grating.


def bands(mirror=None, **changes):
    standing = {"source": "moving", "stage_mm": -9.0, "lines_per_mm": 4.0, "pixels": 61}
    return ct.grating_picture(mirror or primary(), **(standing | changes))


def test_bands_against_points_of_the_source_and_transforms():
    # The slow way in numpy: each point of the source by itself, its field on the mirror times each
    # order of the grating, orders by the transform of a sampled bar pattern.
    stage_mm, lines, phase, slit_um = 6.0, 5.0, 0.2, 30.0
    seen = bands(stage_mm=stage_mm, lines_per_mm=lines, phase=phase, slit_width_um=slit_um)
    knife_mm = RADIUS_MM + stage_mm
    # A period sampled at 4096 middles.
    place = (np.arange(4096) + 0.5) / 4096 - 0.5
    gap = np.abs(place - phase) < 0.25
    shear = WAVELENGTH_MM * knife_mm * lines
    nodes, weights = np.polynomial.legendre.leggauss(120)
    row, x = 20, seen.axis_mm
    y = seen.axis_mm[row]
    total = np.zeros(len(x))
    for node, weight in zip(nodes, weights, strict=True):
        slit_mm = slit_um / 2e3 * node
        field = np.zeros(len(x), dtype=complex)
        for order in range(-45, 46):
            share = np.mean(gap * np.exp(-2j * np.pi * order * place))
            at = x + order * shear
            r = np.hypot(at, y)
            z = np.minimum(r, RIM_MM) ** 2 / (2 * RADIUS_MM)
            path = np.sqrt((at - slit_mm) ** 2 + y**2 + (knife_mm - z) ** 2)
            path += np.sqrt(at**2 + y**2 + (knife_mm - z) ** 2)
            # Orders shift the middle of each copy: a wave of the order's own tilt.
            wave = np.exp(2j * np.pi * (path - 2 * knife_mm) / WAVELENGTH_MM)
            field += np.where(r < RIM_MM, share * wave, 0.0)
        total += weight / 2 * np.abs(field) ** 2
    np.testing.assert_allclose(seen.image[row], total, rtol=0, atol=5e-4)


def test_ray_bands_of_the_moving_grating_are_its_own_shadow():
    # Seen through the gaps that light it, a plane mirror's worth of bar pattern is a triangle wave
    # of the crossing: share = 1 - 2 |place| (place in periods, from -1/2 to 1/2).
    seen = bands(stage_mm=-9.0)
    x, y = np.meshgrid(seen.axis_mm, seen.axis_mm)
    r = np.hypot(x, y)
    lit = (r < RIM_MM - 0.5) & (r > 0)
    crossing = np.interp(r[lit], seen.zone_radius_mm, seen.zone_crossing_um) * x[lit] / r[lit]
    place = crossing * 1e-3 * 4.0
    triangle = 1 - 2 * np.abs(place - np.round(place))
    np.testing.assert_allclose(seen.ray_image[lit], triangle, rtol=0, atol=1e-3)
    assert seen.ray_image[~lit & (r > RIM_MM + 0.5)].max() == 0


def test_bands_widen_toward_focus():
    counts = []
    for stage_mm in (-24.0, -12.0, -6.0):
        seen = bands(primary(conic=0), stage_mm=stage_mm, pixels=401)
        row = seen.ray_image[200][np.abs(seen.axis_mm) < RIM_MM]
        counts.append(int(np.count_nonzero(np.diff(np.sign(row - 0.5)))))
    # A sphere of diameter D: 2 D/R stage lines bands, each with two borders.
    wanted = [2 * 2 * 318 / RADIUS_MM * stage * 4 for stage in (24.0, 12.0, 6.0)]
    assert counts == pytest.approx(wanted, abs=2)


# Bad input.


@pytest.mark.parametrize(
    ("changes", "field", "cause"),
    [
        ({"slit_width_um": 0}, "slit_width_um", "without width"),
        ({"slit_width_um": -3}, "slit_width_um", "without width"),
        ({"slit_width_um": 0.02}, "slit_width_um", "millimetres"),
        ({"wavelength_nm": 0.55}, "wavelength_nm", "micrometres"),
        ({"wavelength_nm": []}, "wavelength_nm", ""),
        ({"stage_mm": 3118}, "stage_mm", "from the mirror"),
        ({"stage_mm": -5000}, "stage_mm", ""),
        ({"stage_mm": float("nan")}, "stage_mm", ""),
        ({"edge_um": 1e9}, "edge_um", "nanometres"),
        ({"knife_from": "above"}, "knife_from", ""),
        ({"source": "both"}, "source", ""),
        ({"pixels": 100_000}, "pixels", ""),
        ({"inner_radius_mm": [0], "outer_radius_mm": [200]}, "openings[0].outer_radius_mm", ""),
        ({"inner_radius_mm": [0]}, "radius_mm", ""),
    ],
)
def test_a_knife_that_cannot_be_is_refused(changes, field, cause):
    error = refusal(lambda: shadow(**changes))
    assert error.field == field
    assert cause in error.cause


@pytest.mark.parametrize(
    ("changes", "field", "cause"),
    [
        ({"lines_per_mm": 100}, "lines_per_mm", "inch"),
        ({"lines_per_mm": 0}, "lines_per_mm", "period"),
        ({"phase": 30}, "phase", "micrometres"),
        ({"source": "fixed"}, "slit_width_um", ""),
        ({"slit_width_um": 0}, "slit_width_um", "without width"),
        ({"stage_mm": 3118}, "stage_mm", "from the mirror"),
    ],
)
def test_a_grating_that_cannot_be_is_refused(changes, field, cause):
    error = refusal(lambda: bands(**changes))
    assert error.field == field
    assert cause in error.cause


def test_what_needs_too_much_memory_is_refused_with_the_limit():
    error = refusal(lambda: shadow(stage_mm=700, slit_width_um=2000))
    assert error.field == "stage_mm"
    assert "32 MiB" in error.allowed


def test_odd_benches_are_named():
    assert shadow(pixels=11).problems() == []
    (odd,) = shadow(edge_um=5000, pixels=11).problems()
    assert odd.field == "edge_um"
    assert [p.field for p in bands(stage_mm=0.1, lines_per_mm=1, pixels=11).problems()] == [
        "stage_mm"
    ]
