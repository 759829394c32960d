"""Balanced aberrations of annular pupils, a quarter wave high -> annular.json.

kind "quarter_wave": the balanced primary aberrations of an annulus of obstruction e (by diameter),
V. N. Mahajan, J. Opt. Soc. Am. 71, 75 (1981), from memory: defocus r^2; spherical
r^4 - (1 + e^2) r^2; coma (r^3 - (2/3) (1 + e^2 + e^4)/(1 + e^2) r) cos t; astigmatism r^2 cos 2t.
Each is scaled so that its highest point over the annulus lies a quarter wave above its lowest.
Exact Strehl |mean of e^(2 pi i W)|^2: radial terms by a 1-D integral; coma and astigmatism over the
azimuth in closed form, J0, leaving a 1-D integral. RMS likewise by quadrature; Mahajan's closed
forms (from memory) agree to 1e-25, checked in the script: defocus A (1 - e^2)/(2 sqrt 3), spherical
A (1 - e^2)^2/(6 sqrt 5), coma A (1 - e^2) sqrt(1 + 4 e^2 + e^4)/(6 sqrt 2 sqrt(1 + e^2)),
astigmatism B sqrt(1 + e^2 + e^4)/(2 sqrt 6), B that of r^2 cos^2 t, twice ours.

noll_<j>_waves: the same wavefront, but for piston, as coefficients of the circle's Noll terms
(R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976), table I), which is how a program takes it.
"""

import mpmath as mp
from exact import write

TERMS = ("defocus", "spherical", "coma", "astigmatism")


def shape(name, e):
    """Radial shape, azimuthal order, and PV over the annulus of a unit coefficient."""
    if name == "defocus":
        return (lambda r: r**2), 0, 1 - e**2
    if name == "spherical":
        return (lambda r: r**4 - (1 + e**2) * r**2), 0, (1 - e**2) ** 2 / 4
    if name == "coma":
        k = mp.mpf(2) / 3 * (1 + e**2 + e**4) / (1 + e**2)
        turning = mp.sqrt(k / 3)
        radii = [e, mp.mpf(1)] + ([turning] if turning > e else [])
        return (lambda r: r**3 - k * r), 1, 2 * max(abs(r**3 - k * r) for r in radii)
    return (lambda r: r**2), 2, mp.mpf(2)


def mahajan_rms(name, a, e):
    root = mp.sqrt
    return {
        "defocus": a * (1 - e**2) / (2 * root(3)),
        "spherical": a * (1 - e**2) ** 2 / (6 * root(5)),
        "coma": a * (1 - e**2) * root(1 + 4 * e**2 + e**4) / (6 * root(2) * root(1 + e**2)),
        "astigmatism": 2 * a * root(1 + e**2 + e**4) / (2 * root(6)),
    }[name]


def noll(name, a, e):
    """Coefficients of Noll's terms: r^2 = (Z4/sqrt 3 + 1)/2 and so on, piston left out."""
    root = mp.sqrt
    if name == "defocus":
        return {4: a / (2 * root(3))}
    if name == "spherical":
        # 6 r^4 = Z11/sqrt 5 + 6 r^2 - 1, r^2 = (Z4/sqrt 3 + 1)/2.
        return {11: a / (6 * root(5)), 4: a * (1 - (1 + e**2)) / (2 * root(3))}
    if name == "coma":
        # Z8 = sqrt 8 (3 r^3 - 2 r) cos t, Z2 = 2 r cos t.
        k = mp.mpf(2) / 3 * (1 + e**2 + e**4) / (1 + e**2)
        return {8: a / (3 * root(8)), 2: a * (mp.mpf(2) / 3 - k) / 2}
    return {6: a / root(6)}  # Z6 = sqrt 6 r^2 cos 2t


def row(name, ratio):
    e = mp.mpf(ratio)
    radial, order, height = shape(name, e)
    a = mp.mpf(1) / 4 / height
    area = (1 - e**2) / 2

    def mean(f):
        return mp.quad(lambda r: f(r) * r, [e, (e + 1) / 2, 1]) / area

    if order == 0:
        wave = mean(lambda r: mp.expjpi(2 * a * radial(r)))
        variance = mean(lambda r: (a * radial(r)) ** 2) - mean(lambda r: a * radial(r)) ** 2
    else:
        wave = mean(lambda r: mp.besselj(0, 2 * mp.pi * a * radial(r)))
        variance = mean(lambda r: (a * radial(r)) ** 2) / 2
    rms = mp.sqrt(variance)
    assert abs(rms / mahajan_rms(name, a, e) - 1) < mp.mpf("1e-25"), name
    return {
        "kind": "quarter_wave",
        "name": name,
        "obstruction_ratio": e,
        "coefficient_waves": a,
        **{f"noll_{j}_waves": c for j, c in noll(name, a, e).items()},
        "rms_waves": rms,
        "strehl": abs(wave) ** 2,
    }


def main():
    rows = [row(name, ratio) for ratio in ("0", "0.1", "0.2", "0.33", "0.5") for name in TERMS]
    units = {
        "*_waves": "waves of wavefront",
        "obstruction_ratio": "by diameter, central and round",
    }
    write("annular", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
