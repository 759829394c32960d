"""Strehl of edges of several shapes and of central hills -> edges.json.

kind "closed_form": W = 2 h (normal incidence), focus left where it is. Power edge over the depth s
from its start to the rim: the integral of s^k e^(i a s^n) from 0 to 1 is gamma((k+1)/n, -i a) (-i
a)^(-(k+1)/n)/n, the lower incomplete gamma function (DLMF 8.2.1, 8.2.7), a = -4 pi drop/lambda; k
= 0 and 1 make up the ring's area. Checked in the script against quadrature, 1e-20. Step of height
g over the share p of the lit area: 1 - 4 p (1-p) sin^2(2 pi g/lambda) (elementary). Roll-off h =
-drop exp(-(D/2 - r)/reach): quadrature by mpmath, panels at 1, 3, 8 and 20 reaches.

kind "exact": the same layers and central hills h = height (1 - r/radius)^power, W from the exact
path with the figure in the hit point: see axial.py and make_strehl.py, whose focus names and
columns these are.
"""

import mpmath as mp
from axial import Mirror
from exact import write
from make_strehl import MM_PER_NM, WAVELENGTH_NM, exact_numbers

APERTURE_MM = 200
RIM = mp.mpf(APERTURE_MM) / 2
OBSTRUCTIONS = ("0", "0.22")

POWER_EDGES = [(w, d, n) for n in ("1", "1.5", "2", "3", "4") for w, d in ((5, 150), (12, -90))]
STEPS = ((5, 60), (12, -40), (1, 300))
ROLL_OFFS = ((4, 200), ("0.7", 600), (20, -80))
HILLS = ((30, 100, "1"), (30, -100, "2"), (60, 80, "1.7"))


def power_amplitude(begin, inner, drop_nm, power):
    """Sum of e^(i phase) over the lit area as a share of it, by incomplete gamma functions."""
    a, lit = -4 * mp.pi * mp.mpf(drop_nm) / WAVELENGTH_NM, 1 - inner**2

    def moment(k):
        order = (k + 1) / power
        return mp.gammainc(order, 0, -1j * a) * mp.power(-1j * a, -order) / power

    edge = 2 * (1 - begin) * (begin * moment(0) + (1 - begin) * moment(1)) / lit

    def shaped(s):
        return mp.expj(a * s**power) * 2 * (begin + (1 - begin) * s) * (1 - begin) / lit

    checked = mp.quad(shaped, [0, mp.mpf(1) / 100, mp.mpf(1) / 4, mp.mpf(1) / 2, 1])
    if abs(edge - checked) > mp.mpf("1e-20"):
        raise ArithmeticError(
            f"gamma functions and quadrature differ by {mp.nstr(abs(edge - checked), 3)}"
        )
    return (begin**2 - inner**2) / lit + edge


def roll_off_amplitude(inner, reach_mm, drop_nm):
    turn, reach = -4 * mp.pi * mp.mpf(drop_nm) / WAVELENGTH_NM, mp.mpf(reach_mm) / RIM
    panels = sorted(
        {inner, mp.mpf(1), *(1 - k * reach for k in (1, 3, 8, 20) if 1 - k * reach > inner)}
    )
    return mp.quad(
        lambda r: mp.expj(turn * mp.exp(-(1 - r) / reach)) * 2 * r / (1 - inner**2), panels
    )


def inputs(layer, ratio, **numbers):
    return {
        "layer": layer,
        "clear_aperture_mm": APERTURE_MM,
        "obstruction_ratio": mp.mpf(ratio),
        "wavelength_nm": WAVELENGTH_NM,
        **{key: mp.mpf(value) for key, value in numbers.items()},
    }


def closed_rows():
    for ratio in OBSTRUCTIONS:
        inner = mp.mpf(ratio)
        for width, drop, power in POWER_EDGES:
            amplitude = power_amplitude(1 - mp.mpf(width) / RIM, inner, drop, mp.mpf(power))
            given = inputs("turned_edge", ratio, width_mm=width, drop_nm=drop, power=power)
            yield {"kind": "closed_form", **given, "strehl": abs(amplitude) ** 2}
        for width, drop in STEPS:
            p = (1 - (1 - mp.mpf(width) / RIM) ** 2) / (1 - inner**2)
            lost = 4 * p * (1 - p) * mp.sin(2 * mp.pi * drop / WAVELENGTH_NM) ** 2
            given = inputs("edge_step", ratio, width_mm=width, drop_nm=drop)
            yield {"kind": "closed_form", **given, "strehl": 1 - lost}
        for reach, drop in ROLL_OFFS:
            given = inputs("edge_roll_off", ratio, reach_mm=reach, drop_nm=drop)
            strehl = abs(roll_off_amplitude(inner, reach, drop)) ** 2
            yield {"kind": "closed_form", **given, "strehl": strehl}


def shapes():
    """Layer, its numbers, its height in mm, and where quadrature must stop."""
    for width, drop, power in POWER_EDGES:
        if power in ("1.5", "4"):
            begin, n = RIM - width, mp.mpf(power)

            def edge(r, begin=begin, width=width, drop=drop, n=n):
                s = (r - begin) / width
                return -drop * MM_PER_NM * s**n if s > 0 else mp.mpf(0)

            near = [begin + width * mp.mpf(2) ** -k for k in range(1, 30)] if power == "1.5" else []
            numbers = {"width_mm": width, "drop_nm": drop, "power": power}
            yield "turned_edge", numbers, edge, [begin, *near]
    for width, drop in STEPS:
        begin = RIM - width

        def step(r, begin=begin, drop=drop):
            return -drop * MM_PER_NM if r > begin else mp.mpf(0)

        yield "edge_step", {"width_mm": width, "drop_nm": drop}, step, [begin]
    for reach, drop in ROLL_OFFS:
        length = mp.mpf(reach)

        def roll(r, length=length, drop=drop):
            return -drop * MM_PER_NM * mp.exp((r - RIM) / length)

        panels = [RIM - k * length for k in (1, 2, 4, 7, 11, 16, 30)]
        yield "edge_roll_off", {"reach_mm": reach, "drop_nm": drop}, roll, panels
    for radius, high, power in HILLS:
        n = mp.mpf(power)

        def hill(r, radius=radius, high=high, n=n):
            left = 1 - r / radius
            return high * MM_PER_NM * left**n if left > 0 else mp.mpf(0)

        near = [radius * (1 - mp.mpf(2) ** -k) for k in range(1, 30)] if power == "1.7" else []
        numbers = {"radius_mm": radius, "height_nm": high, "power": power}
        yield "central_hill", numbers, hill, [radius, *near]


def exact_rows():
    for focal_length_mm in (1000, 4000):
        for layer, numbers, height, breaks in shapes():
            for ratio in OBSTRUCTIONS:

                def build(count, ratio=ratio, height=height, breaks=breaks, f=focal_length_mm):
                    # The small panels that lead to a fractional power need few nodes.
                    fewer = count if len(breaks) < 20 else count // 3 + 2
                    return Mirror(RIM * mp.mpf(ratio), RIM, f, -1, height, breaks, fewer)

                given = inputs(layer, ratio, **numbers)
                numbers_out = exact_numbers(build)
                kept = ("paraxial_strehl", "least_rms_strehl", "peak_strehl", "least_rms_nm")
                yield {
                    "kind": "exact",
                    "focal_length_mm": focal_length_mm,
                    **given,
                    **{key: numbers_out[key] for key in kept},
                }


def main():
    units = {
        "*_nm": "nanometres; drop and height of glass, RMS of wavefront (area-weighted)",
        "*_mm": "millimetres",
        "obstruction_ratio": "by diameter, central and round",
    }
    rows = [*closed_rows(), *exact_rows()]
    write("edges", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
