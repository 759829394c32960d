"""Zernike polynomials in three orders of counting -> zernike.json.

Radial polynomial from the explicit sum with exact integers
    R_n^m(rho) = sum_k (-1)^k (n-k)! / (k! ((n+m)/2-k)! ((n-m)/2-k)!) rho^(n-2k)
(Born & Wolf, Principles of Optics, sec. 9.2), mpmath with 34 digits; times cos(m theta) for m >= 0
and sin(|m| theta) for m < 0, theta from +x toward +y.

noll: R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976), table I, from j = 1; n grows, within n the |m|
grow, even j is the cosine, odd j the sine; unit RMS over the disc: sqrt(n+1), and sqrt 2 more for
m != 0. osa: j = (n(n+2)+m)/2 from 0 (OSA/ANSI Z80.28, ISO 24157), unit RMS likewise. fringe:
terms 1 to 37 (University of Arizona order; from memory): sorted by (n+|m|)/2, then by falling |m|,
cosine before sine; the 37th is the radial term of n = 12; unit amplitude at the rim, no factor.

Checks in the script: the unit RMS and orthogonality of the first 36 by exact integration of the
radial products (rational arithmetic), and the Noll values against galsim's if that is installed.
"""

from fractions import Fraction
from math import factorial

import mpmath as mp
import numpy as np
from exact import arcmin, write

POINTS = (("0", 0), ("0.25", 20), ("0.5", 100), ("0.7", 215), ("0.9", 301), ("1", 37))
MINUTES = 60


def radial_coefficients(n, m):
    """Exact integer coefficients {power: value} of R_n^m."""
    return {
        n - 2 * k: (-1) ** k
        * factorial(n - k)
        // (factorial(k) * factorial((n + m) // 2 - k) * factorial((n - m) // 2 - k))
        for k in range((n - m) // 2 + 1)
    }


def shape(n, m, rho, theta):
    """R_n^|m| times the cosine (m >= 0) or sine (m < 0), 1 at the rim's crest."""
    radial = mp.fsum(c * rho**p for p, c in radial_coefficients(n, abs(m)).items())
    return radial * (mp.cos(m * theta) if m >= 0 else mp.sin(-m * theta))


def unit_factor(n, m):
    return mp.sqrt((n + 1) * (2 if m else 1))


def noll_order(count):
    """(n, m) of Noll's j = 1.. : the even j of a pair is the cosine."""
    found, n = [], 0
    while len(found) < count:
        for size in range(n % 2, n + 1, 2):
            if size == 0:
                found.append((n, 0))
            else:
                next_is_even = (len(found) + 1) % 2 == 0
                pair = [(n, size), (n, -size)]
                found += pair if next_is_even else pair[::-1]
        n += 1
    return found[:count]


def osa_order(count):
    """(n, m) of j = 0.., where j = (n(n+2)+m)/2."""
    found, n = [], 0
    while len(found) < count:
        found += [(n, m) for m in range(-n, n + 1, 2)]
        n += 1
    for j, (n, m) in enumerate(found):
        if j != (n * (n + 2) + m) // 2:
            raise ArithmeticError("OSA index")
    return found[:count]


def fringe_order():
    """(n, m) of the 37 fringe terms."""
    found = []
    for level in range(6):
        for m in range(level, -1, -1):
            n = 2 * level - m
            found += [(n, m), (n, -m)] if m else [(n, 0)]
    return [*found, (12, 0)]


def check_orthogonal(order):
    """Exact integrals of R R' rho over 0..1: 1/(2(n+1)) for the same n, 0 otherwise."""
    for n, m in order:
        for k, q in order:
            if abs(q) != abs(m):
                continue
            total = sum(
                Fraction(a * b, p + r + 2)
                for p, a in radial_coefficients(n, abs(m)).items()
                for r, b in radial_coefficients(k, abs(m)).items()
            )
            if total != (Fraction(1, 2 * (n + 1)) if n == k else 0):
                raise ArithmeticError(f"R_{n}^{m} and R_{k}^{q}")


def check_with_galsim(order):
    """Noll values against galsim.zernike.zernikeBasis, where galsim is installed."""
    try:
        from galsim.zernike import zernikeBasis
    except ImportError:
        print("galsim is not installed; its check is left out")
        return
    worst = 0.0
    for rho, degrees in POINTS:
        rho, theta = mp.mpf(rho), arcmin(degrees * MINUTES)
        place = [np.array([float(rho * turn(theta))]) for turn in (mp.cos, mp.sin)]
        basis = zernikeBasis(len(order), *place)
        for j, (n, m) in enumerate(order, start=1):
            mine = unit_factor(n, m) * shape(n, m, rho, theta)
            worst = max(worst, abs(float(basis[j][0]) - float(mine)))
    print("largest difference from galsim:", worst)
    if worst > 1e-12:
        raise ArithmeticError("galsim disagrees")


def term_row(indexing, j, n, m, factor):
    row = {"indexing": indexing, "j": j, "n": n, "m": m}
    for rho, degrees in POINTS:
        value = factor * shape(n, m, mp.mpf(rho), arcmin(degrees * MINUTES))
        row[f"at_rho_{rho}_theta_{degrees}_deg"] = value
    return row


def main():
    noll, osa = noll_order(36), osa_order(36)
    if sorted(noll) != sorted(osa):
        raise ArithmeticError("the first 36 terms (n up to 7) must be the same set")
    check_orthogonal(noll)
    check_with_galsim(noll)
    rows = [term_row("noll", j, n, m, unit_factor(n, m)) for j, (n, m) in enumerate(noll, 1)]
    rows += [term_row("osa", j, n, m, unit_factor(n, m)) for j, (n, m) in enumerate(osa)]
    rows += [term_row("fringe", j, n, m, mp.mpf(1)) for j, (n, m) in enumerate(fringe_order(), 1)]
    units = {
        "at_rho_R_theta_T_deg": "value at radius R of the unit disc, T degrees from +x toward +y",
        "m": "positive: cosine, negative: sine",
        "noll, osa": "unit RMS over the disc",
        "fringe": "unit amplitude at the rim",
    }
    write("zernike", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
