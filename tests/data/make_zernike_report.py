"""Reports of Zernike coefficients and what they mean -> zernike_report.json.

kind "term": one term in one numbering and normalisation with a wavefront written out as a
textbook polynomial: defocus 2 rho^2 - 1, spherical 6 rho^4 - 6 rho^2 + 1, astigmatism rho^2 cos 2
theta, coma (3 rho^3 - 2 rho) sin theta (Born & Wolf, Principles of Optics, sec. 9.2); unit
amplitude at the rim ("peak") or times sqrt 3, sqrt 5, sqrt 6, sqrt 8 ("rms", Noll 1976, table I).
Numbers: Noll 4, 11, 6, 7; OSA 4, 12, 5, 7; fringe 4, 9, 5, 8. The same wavefront from
galsim.zernike.Zernike (Noll) must agree to 1e-12 in the script; its Noll coefficient is in the
row.

kind "continued": galsim's Zernike on a circle of 150, evaluated on one of 160, fitted there by
least squares over a dense grid of galsim's own basis.

kind "null": a paraboloid at its centre of curvature. Source and image at (0, 0, R + e); W = 2 (R
+ e - |P - Q|), Q = (r, r^2/2R), distances by the square root, mpmath with 50 digits; e by a root
search for a vanishing term (2, 0); terms (n, 0) of unit RMS by Gauss quadrature. third_order_nm:
-a^4/(4R^3)/(6 sqrt 5) (from memory).
"""

import mpmath as mp
import numpy as np
from exact import gauss_legendre, write
from galsim.zernike import Zernike, zernikeBasis

mp.mp.dps = 50

PLACES = ((0.0, 0.0), (0.3, -0.4), (-0.62, 0.51), (0.9, 0.2))
SHAPES = {
    "defocus": (lambda r, t: 2 * r**2 - 1, 3, 4, {"noll": 4, "osa": 4, "fringe": 4}),
    "spherical": (
        lambda r, t: 6 * r**4 - 6 * r**2 + 1,
        5,
        11,
        {"noll": 11, "osa": 12, "fringe": 9},
    ),
    "astigmatism": (lambda r, t: r**2 * np.cos(2 * t), 6, 6, {"noll": 6, "osa": 5, "fringe": 5}),
    "coma": (lambda r, t: (3 * r**3 - 2 * r) * np.sin(t), 8, 7, {"noll": 7, "osa": 7, "fringe": 8}),
}
VALUE_NM = 37.5


def single(number, value):
    coefficients = np.zeros(number + 1)
    coefficients[number] = value
    return Zernike(coefficients)


def term_rows():
    rows = []
    for name, (shape, square, noll, numbers) in SHAPES.items():
        for indexing, index in numbers.items():
            for normalisation in ("rms", "peak"):
                factor = np.sqrt(square) if normalisation == "rms" else 1.0
                noll_nm = VALUE_NM if normalisation == "rms" else VALUE_NM / np.sqrt(square)
                row = {"kind": "term", "name": name, "indexing": indexing, "j": index}
                row |= {"normalisation": normalisation, "value_nm": VALUE_NM, "noll": noll}
                row["noll_nm"] = float(noll_nm)
                for k, (x, y) in enumerate(PLACES):
                    mine = VALUE_NM * factor * shape(np.hypot(x, y), np.arctan2(y, x))
                    other = single(noll, noll_nm).evalCartesian(x, y)
                    if abs(mine - other) > 1e-12 * VALUE_NM:
                        raise ArithmeticError(f"{name}: galsim disagrees")
                    row |= {f"x_{k}": x, f"y_{k}": y, f"wavefront_{k}_nm": float(mine)}
                rows.append(row)
    return rows


def continued_row():
    given = {5: 20.0, 8: -14.0, 11: 30.0, 22: -9.0}
    coefficients = np.zeros(23)
    for j, value in given.items():
        coefficients[j] = value
    axis = np.linspace(-1, 1, 401)
    x, y = (v.ravel() for v in np.meshgrid(axis, axis))
    inside = np.hypot(x, y) <= 1
    x, y = x[inside], y[inside]
    growth = 160 / 150
    path = Zernike(coefficients).evalCartesian(growth * x, growth * y)
    found = np.linalg.lstsq(zernikeBasis(22, x, y)[1:].T, path, rcond=None)[0]
    row = {"kind": "continued", "tested_diameter_mm": 150.0, "clear_aperture_mm": 160.0}
    row |= {f"given_{j}_nm": value for j, value in given.items()}
    return row | {f"noll_{j}_nm": float(found[j - 1]) for j in range(5, 23)}


def radial(n, s):
    """Radial polynomial R_n^0 at s = rho^2, a Legendre polynomial."""
    return mp.legendre(n // 2, 2 * s - 1)


def null_row(diameter, radius):
    a, big = mp.mpf(diameter) / 2, mp.mpf(radius)

    def coefficient(n, e):
        total = mp.mpf(0)
        for s, weight in gauss_legendre(30, 0, 1):
            z = a * a * s / (2 * big)
            path = 2 * (big + e - mp.sqrt(a * a * s + (big + e - z) ** 2))
            total += weight * path * radial(n, s)
        return mp.mpf(10) ** 6 * mp.sqrt(n + 1) * total

    e = mp.findroot(lambda e: coefficient(2, e), (mp.mpf(0), a * a / (2 * big)), solver="anderson")
    row = {
        "kind": "null",
        "tested_diameter_mm": float(diameter),
        "radius_of_curvature_mm": float(radius),
    }
    row |= {f"noll_{j}_nm": coefficient(n, e) for j, n in ((11, 4), (22, 6), (37, 8), (56, 10))}
    third = -(mp.mpf(10) ** 6) * a**4 / (4 * big**3) / (6 * mp.sqrt(5))
    return row | {"third_order_nm": third}


def main():
    rows = [*term_rows(), continued_row()]
    rows += [null_row(d, r) for d, r in ((200, 2400), (318, 3116), (150, 900), (406, 4060))]
    units = {
        "_nm": "nm of wavefront",
        "j, noll": "index of the term",
        "x, y": "radii of the tested circle",
    }
    write("zernike_report", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
