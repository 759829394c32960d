"""Contrast of an aperture with a round shadow, in the middle or beside it -> contrast.json.

The transfer function of a perfect aperture is the area common to it and to a copy of it shifted
by 2 n (in units of the rim's radius, n the frequency over the cut-off D/(lambda f)), over its own
area (O'Neill, J. Opt. Soc. Am. 46, 285, 1956, with the erratum p. 1096, for the shadow in the
middle). With rim A and shadow B, B inside A: common = A*A + B*B - A*B' - A'*B, areas of lenses of
two circles; the centres of A and B' lie |2 n u + o| apart, those of A' and B |2 n u - o|, with u
along the detail's frequency and o the shadow's centre. Closed form, mpmath with 34 digits. The
script checks some of them against the same overlap integrated by columns (scipy), to 1e-9, and
the shadow in the middle against the Fourier transform of its Airy pattern: J1 against J0 in a
damped integral, extrapolated to no damping, to 1e-6.

kind "contrast": `shadow_offset_ratio` is the distance of the shadow's centre from the middle over
the rim's radius, `offset_azimuth_deg` its direction from that of the frequency. "contrast_mean":
the mean over all directions (quadrature). "against_clear": contrast over that of the clear
aperture. kind "detail": the same for a full period on the sky in arcseconds: n = lambda/(D
period).
"""

from itertools import pairwise

import mpmath as mp
import numpy as np
from exact import write
from make_mtf import lens
from scipy.integrate import quad

RATIOS = ("0", "0.1", "0.15", "0.2", "0.25", "0.3", "0.35", "0.4", "0.45", "0.5")
SHARES = [mp.mpf(k) / 20 for k in range(1, 20)]
ARCSEC = mp.pi / (180 * 3600)


def contrast(n, eps, offset=0, azimuth=0):
    n, eps, offset = mp.mpf(n), mp.mpf(eps), mp.mpf(offset)
    if offset + eps > 1:
        raise ValueError("a shadow over the rim")
    d = 2 * n
    apart = [
        mp.sqrt(max(mp.mpf(0), d * d + offset**2 + sign * 2 * d * offset * mp.cos(azimuth)))
        for sign in (1, -1)
    ]
    one = mp.mpf(1)
    area = lens(d, one, one)
    if eps > 0:
        area += lens(d, eps, eps) - lens(apart[0], one, eps) - lens(apart[1], one, eps)
    return area / (mp.pi * (1 - eps * eps))


def by_columns(n, eps, offset, azimuth):
    """The same overlap, column by column at right angles to the shift."""
    n, eps = float(n), float(eps)
    hole = (float(offset) * np.cos(azimuth), float(offset) * np.sin(azimuth))

    def pieces(x):
        rim = np.sqrt(max(0.0, 1 - x * x))
        out = [(-rim, rim)]
        square = eps * eps - (x - hole[0]) ** 2
        if square > 0:
            half = np.sqrt(square)
            out = [(-rim, hole[1] - half), (hole[1] + half, rim)]
        return out

    def column(x):
        return sum(
            max(0.0, min(b, d) - max(a, c)) for a, b in pieces(x + n) for c, d in pieces(x - n)
        )

    marks = sorted(
        {h + s * e + t * n for h, e in ((0, 1), (hole[0], eps)) for s in (-1, 1) for t in (-1, 1)}
    )
    marks = [m for m in marks if abs(m) <= 1 - n]
    total = 0.0
    edges = np.unique([n - 1, *marks, 1 - n, *np.linspace(n - 1, 1 - n, 400)])
    for low, high in pairwise(edges):
        total += quad(column, low, high, epsabs=1e-13, epsrel=1e-12, limit=100)[0]
    return total / (np.pi * (1 - eps**2))


def by_bessel(n, eps):
    """The Airy pattern's own transform: 2 n is the frequency in units of the radius' conjugate.

    I(v) = ((J1(v) - eps J1(eps v))/v)^2; OTF(n) = integral of I J0(2 n v) v dv over that of n = 0,
    which is (1 - eps^2)/2 (Parseval). Damped by exp(-(s v)^2) and extrapolated in s^2.
    """
    eps, n = float(eps), float(n)
    from scipy.special import j0, j1

    def damped(s):
        nodes, weights = np.polynomial.legendre.leggauss(20)
        edges = np.arange(0, 6 / s, 1.0)
        v = (edges[:, None] + 0.5 + 0.5 * nodes).ravel()
        w = np.tile(0.5 * weights, len(edges))
        amplitude = (j1(v) - eps * j1(eps * v)) / v
        return np.sum(w * amplitude**2 * j0(2 * n * v) * v * np.exp(-((s * v) ** 2)))

    values = [damped(s) for s in (4e-3, 2.83e-3, 2e-3)]
    squares = np.array([4e-3, 2.83e-3, 2e-3]) ** 2
    return np.polyfit(squares, values, 2)[2] / ((1 - eps**2) / 2)


def mean(n, eps, offset):
    if offset == 0:
        return contrast(n, eps)
    # The lens areas have corners in the azimuth where circles touch: many small panels.
    return (
        mp.quad(lambda t: contrast(n, eps, offset, t), mp.linspace(0, mp.pi / 2, 61), maxdegree=3)
        * 2
        / mp.pi
    )


def row(eps, offset, degrees, with_mean):
    azimuth = mp.radians(degrees)
    values = [contrast(n, eps, offset, azimuth) for n in SHARES]
    found = {
        "kind": "contrast",
        "obstruction_ratio": mp.mpf(eps),
        "shadow_offset_ratio": mp.mpf(offset),
        "offset_azimuth_deg": float(degrees),
        "frequency_ratio": [float(n) for n in SHARES],
        "contrast": [float(v) for v in values],
        "against_clear": [float(v / contrast(n, 0)) for v, n in zip(values, SHARES, strict=True)],
    }
    if with_mean:
        found["contrast_mean"] = [
            float(f"{float(mean(n, eps, mp.mpf(offset))):.9f}") for n in SHARES
        ]
    return found


def main():
    mp.mp.dps = 34
    rows = [row(eps, 0, 0, False) for eps in RATIOS]
    for eps, offset in (("0.2", "0.04"), ("0.3", "0.1"), ("0.5", "0.2")):
        rows += [row(eps, offset, degrees, degrees == 0) for degrees in (0, 35, 90)]
    for eps, offset, degrees in (
        ("0.2", "0.04", 0),
        ("0.3", "0.1", 35),
        ("0.5", "0.2", 90),
        ("0.5", "0", 0),
    ):
        for n in ("0.05", "0.15", "0.35", "0.6", "0.85"):
            exact, columns = (
                contrast(n, eps, offset, mp.radians(degrees)),
                by_columns(n, eps, offset, float(np.radians(degrees))),
            )
            if abs(exact - columns) > 1e-9:
                raise ArithmeticError(f"lenses {exact}, columns {columns}")
    for eps in ("0", "0.2", "0.5"):
        for n in ("0.15", "0.35", "0.65"):
            if abs(contrast(n, eps) - by_bessel(n, eps)) > 1e-6:
                raise ArithmeticError(
                    f"{eps} {n}: lenses {contrast(n, eps)}, Bessel {by_bessel(n, eps)}"
                )
    for aperture, eps, wavelength, period in (
        (406, "0.1564", 550, "0.5"),
        (406, "0.219", 550, 1),
        (200, "0.3", 550, 1),
        (200, "0.2", 510, 2),
        (318, "0.22", 656, "0.8"),
    ):
        n = mp.mpf(wavelength) * mp.mpf("1e-6") / (aperture * mp.mpf(period) * ARCSEC)
        rows.append(
            {
                "kind": "detail",
                "clear_aperture_mm": float(aperture),
                "obstruction_ratio": mp.mpf(eps),
                "wavelength_nm": float(wavelength),
                "detail_arcsec": mp.mpf(period),
                "frequency_ratio": n,
                "contrast": contrast(n, eps),
                "contrast_of_clear": contrast(n, 0),
                "against_clear": contrast(n, eps) / contrast(n, 0),
            }
        )
    units = {
        "*_ratio": "frequency over the cut-off; shadow's diameter over the aperture's; "
        "its centre's distance over the rim's radius",
        "offset_azimuth_deg": "from the direction of the frequency to that of the shadow's centre",
        "detail_arcsec": "full period on the sky, one bright and one dark bar",
    }
    write("contrast", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
