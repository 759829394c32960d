"""Strehl of known wavefronts and of turned edges -> strehl.json.

kind "zernike": a wavefront of one circle Zernike term (Noll), coefficient such that the PV over
the clear circle is exactly a quarter wave; exact Strehl on the circle and on annuli (the circle's
shape, not refitted). Radial terms: 1-D integral of e^(2 pi i W); coma and astigmatism: the
integral over the azimuth is J0, leaving a 1-D integral. R. J. Noll, J. Opt. Soc. Am. 66, 207
(1976), table I, for the shapes.

kind "closed_form": edges with W = 2 h (normal incidence). Step of height g over the area fraction
p of the lit pupil: 1 - 4 p (1-p) sin^2(2 pi g/lambda) (elementary). Power edge: 1-D integral by
mpmath quad, split where the edge begins.

kind "exact": the same edges, and the mirrors of a worked refiguring example (conic, turned edge,
Gaussian zone), W from the exact path with the figure in the hit point, no small-angle form:
see axial.py. Focus: paraxial, least RMS (Gauss-Newton on the variance), and the greatest Strehl
along the axis, from a scan over +-2 waves of W020 in steps of 0.04 and then refined; a second
local maximum, if there is one within that range, stands in the row. Gauss-Legendre panels split
where the edge begins and at the zone's centre +- 1.2 and 3 half-widths; 40 nodes a panel
instead of 28 change no Strehl above 1e-15.

Layers: edge h = -drop ((r - (D/2 - width))/width)^power, zone h = height exp(-((r - radius)/
half_width)^2), heights positive where the glass is high; power 0 means a step.
"""

import mpmath as mp
from axial import Mirror
from exact import write

WAVELENGTH_NM = 550
MM_PER_NM = mp.mpf("1e-6")


def radial_terms():
    """Name, Noll index, coefficient in waves, radial shape, azimuthal order."""
    root = mp.sqrt
    return (
        ("defocus", 4, 1 / (8 * root(3)), lambda r: root(3) * (2 * r * r - 1), 0),
        ("spherical", 11, 1 / (6 * root(5)), lambda r: root(5) * (6 * r**4 - 6 * r * r + 1), 0),
        ("coma", 8, 1 / (8 * root(8)), lambda r: root(8) * (3 * r**3 - 2 * r), 1),
        ("astigmatism", 6, 1 / (8 * root(6)), lambda r: root(6) * r * r, 2),
    )


def zernike_row(name, noll, coefficient, shape, order, ratio):
    eps = mp.mpf(ratio)
    area = (1 - eps**2) / 2
    points = [eps, (1 + eps) / 2, mp.mpf(1)]

    def over(function):
        return mp.quad(lambda r: function(coefficient * shape(r)) * r, points) / area

    if order == 0:
        mean = over(lambda w: w)
        square = over(lambda w: w * w) - mean**2
        strehl = abs(over(lambda w: mp.expj(2 * mp.pi * w))) ** 2
    else:
        square = over(lambda w: w * w) / 2
        strehl = over(lambda w: mp.besselj(0, 2 * mp.pi * w)) ** 2
    return {
        "kind": "zernike",
        "name": name,
        "noll": noll,
        "coefficient_waves": coefficient,
        "coefficient_nm_at_550": coefficient * WAVELENGTH_NM,
        "obstruction_ratio": eps,
        "rms_waves": mp.sqrt(square),
        "strehl": strehl,
    }


def edge_inputs(aperture_mm, ratio, width_mm, drop_nm, power):
    return {
        "clear_aperture_mm": aperture_mm,
        "obstruction_ratio": mp.mpf(ratio),
        "edge_width_mm": width_mm,
        "edge_drop_nm": drop_nm,
        "edge_power": mp.mpf(power),
        "wavelength_nm": WAVELENGTH_NM,
    }


def closed_row(aperture_mm, ratio, width_mm, drop_nm, power):
    rim = mp.mpf(aperture_mm) / 2
    begin, inner = (rim - width_mm) / rim, mp.mpf(ratio)
    lit = 1 - inner**2
    p = (1 - begin**2) / lit
    if power == 0:
        phase = 4 * mp.pi * drop_nm / WAVELENGTH_NM
        strehl = 1 - 4 * p * (1 - p) * mp.sin(phase / 2) ** 2
        mean, square = p, p
    else:

        def over(function):
            """Share of the lit area times the mean of function(edge shape) over the edge."""

            def shaped(s):
                return function(s**power) * 2 * (begin + (1 - begin) * s) * (1 - begin) / lit

            return mp.quad(shaped, [0, mp.mpf(1) / 4, 1])

        turn = -4 * mp.pi * drop_nm / WAVELENGTH_NM
        strehl = abs(1 - p + over(lambda g: mp.expj(turn * g))) ** 2
        mean, square = over(lambda g: g), over(lambda g: g * g)
    return {
        "kind": "closed_form",
        **edge_inputs(aperture_mm, ratio, width_mm, drop_nm, power),
        "edge_share_of_lit_area": p,
        "rms_nm": 2 * abs(drop_nm) * mp.sqrt(square - mean**2),
        "strehl": strehl,
    }


def exact_numbers(build):
    """All numbers of a mirror at three focuses; `build` makes it with a given node count."""
    mirror, finer = build(28), build(40)
    least = mirror.least_rms_shift()
    maxima = mirror.peak(WAVELENGTH_NM)
    peak, best = maxima[0]
    change = max(
        abs(mirror.strehl(s, WAVELENGTH_NM) - finer.strehl(s, WAVELENGTH_NM))
        for s in (mp.mpf(0), least, peak)
    )
    if change > mp.mpf("1e-15"):
        raise ArithmeticError(f"nodes too few: {mp.nstr(change, 3)}")
    if not mirror.brightest_is_on_axis(peak, WAVELENGTH_NM):
        raise ArithmeticError("the brightest point is off the axis")
    second = maxima[1] if len(maxima) > 1 else (None, None)
    return {
        "paraxial_rms_nm": mirror.rms_nm(mp.mpf(0)),
        "paraxial_strehl": mirror.strehl(mp.mpf(0), WAVELENGTH_NM),
        "least_rms_shift_mm": least,
        "least_rms_nm": mirror.rms_nm(least),
        "least_rms_strehl": mirror.strehl(least, WAVELENGTH_NM),
        "peak_shift_mm": peak,
        "peak_rms_nm": mirror.rms_nm(peak),
        "peak_strehl": best,
        "second_maximum_shift_mm": second[0],
        "second_maximum_strehl": second[1],
        "node_change_absolute": change,
    }


def edge_height(rim, width_mm, drop_nm, power):
    begin = rim - mp.mpf(width_mm)

    def height(r):
        if r <= begin:
            return mp.mpf(0)
        return -drop_nm * MM_PER_NM * ((r - begin) / width_mm) ** power

    return height, begin


def exact_edge_row(aperture_mm, focal_length_mm, ratio, width_mm, drop_nm, power):
    rim = mp.mpf(aperture_mm) / 2
    height, begin = edge_height(rim, width_mm, drop_nm, power)

    def build(count):
        inner = rim * mp.mpf(ratio)
        return Mirror(inner, rim, focal_length_mm, -1, height, [begin], count)

    return {
        "kind": "exact",
        "focal_length_mm": focal_length_mm,
        "conic": -1.0,
        **edge_inputs(aperture_mm, ratio, width_mm, drop_nm, power),
        "zone_radius_mm": None,
        "zone_half_width_mm": None,
        "zone_height_nm": None,
        **exact_numbers(build),
    }


REFIGURED = {
    "before": ("-0.88", 9, 330, 95, 13, 28),
    "after": ("-0.985", 3, 60, 60, 16, -9),
    "touch_up": ("-0.97", 3, 60, 60, 16, -9),
}


def refigured_row(name, ratio):
    """A 318 mm f/4.9 mirror with conic, edge and zone; `ratio` is inner radius over 159 mm."""
    conic, width, drop, radius, half, high = REFIGURED[name]
    rim = mp.mpf(159)
    edge, begin = edge_height(rim, width, drop, 2)

    def height(r):
        return edge(r) + high * MM_PER_NM * mp.exp(-(((r - radius) / mp.mpf(half)) ** 2))

    tails = [radius + k * half for k in (-3, mp.mpf("-1.2"), mp.mpf("1.2"), 3)]

    def build(count):
        return Mirror(rim * ratio, rim, 1558, mp.mpf(conic), height, [begin, *tails], count)

    return {
        "kind": "exact",
        "name": name,
        "focal_length_mm": 1558,
        "conic": mp.mpf(conic),
        **edge_inputs(318, ratio, width, drop, 2),
        "zone_radius_mm": radius,
        "zone_half_width_mm": half,
        "zone_height_nm": high,
        **exact_numbers(build),
    }


EDGES = ((10, 150, 2), (5, 50, 0), (9, 330, 2), (3, 300, 1), (15, 600, 3), (8, -200, 2))


def main():
    rows = [zernike_row(*term, ratio) for ratio in ("0", "0.2", "0.33") for term in radial_terms()]
    for edge in EDGES:
        rows += [closed_row(200, ratio, *edge) for ratio in ("0", "0.22")]
    for focal_length_mm in (1000, 980, 4000):
        for edge in EDGES:
            rows += [exact_edge_row(200, focal_length_mm, r, *edge) for r in ("0", "0.22")]
    for name in REFIGURED:
        rows += [refigured_row(name, ratio) for ratio in (mp.mpf(0), mp.mpf(35) / 159)]
    units = {
        "*_nm": "nanometres; drop and height of glass, RMS of wavefront (area-weighted)",
        "*_waves": "waves of wavefront",
        "*_shift_mm": "focus from the paraxial focus, positive away from the primary",
        "obstruction_ratio": "by diameter, central and round",
        "*_maximum_*": "a second local maximum of the Strehl along the axis, null if none",
        "node_change_absolute": "largest change of a Strehl with 40 nodes a panel for 28",
    }
    write("strehl", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
