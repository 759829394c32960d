"""Transfer functions of known pupils -> mtf.json.

All of them are autocorrelations of the pupil over its own energy, at a shift of n times the
diameter, n the frequency over the cut-off; OTF(nu) = integral of I(delta) exp(-2 pi i nu.delta),
so that with P = exp(2 pi i W/lambda) over pupil points X in units of the radius and the image's
amplitude integral of P exp(+2 pi i X.delta/(2 lambda F)) the OTF at a frequency along the unit
vector u is the integral of P(X) conj P(X - 2 n u). A wave ahead at +x sends the light to -x.

kind "perfect": clear and annular apertures, overlap areas of circles (O'Neill, J. Opt. Soc. Am.
46, 285, 1956, with the erratum p. 1096; written down anew from the area of a lens), mpmath. kind
"defocus": the clear aperture out of focus, Hopkins's single integral (Proc. R. Soc. A 231, 91,
1955), here 4/pi x integral from 0 to 1-n of cos(4 pi W20/lambda 2n x) sqrt(1-(x+n)^2) dx, mpmath.
kind "terms": an annulus with coma, astigmatism, spherical aberration and trefoil (Noll's terms),
integrated by columns at right angles to the shift with limits in closed form, scipy's adaptive
quadrature. kind "round": a paraboloid with a turned edge and a zone on the axis, its shadow round
and centred, exact distances to the reference point, in polar coordinates about the middle of one
copy: radius from the middle of one copy, angle cut where a circle of the other is crossed; numpy,
panels between all radii at which a circle of one copy touches or meets one of the other. kind
"vanes": a mirror so slow that its pupil is plain, four vanes and coma (Noll 7 and 8, wavefront),
by thirty thousand columns at right angles to the shift, each with closed limits; no panels.
"change" is the difference from fewer nodes.
"""

import itertools
import math

import mpmath as mp
import numpy as np
from exact import write
from scipy.integrate import quad

WAVELENGTH_NM = 550.0


def lens(d, a, b):
    """Area common to circles of radii a and b at distance d."""
    if d >= a + b:
        return mp.mpf(0)
    if d <= abs(a - b):
        return mp.pi * min(a, b) ** 2
    at_a = mp.acos((d * d + a * a - b * b) / (2 * d * a))
    at_b = mp.acos((d * d + b * b - a * a) / (2 * d * b))
    sides = (-d + a + b) * (d + a - b) * (d - a + b) * (d + a + b)
    # Where the circles just touch rounding leaves a trace of an imaginary part.
    return mp.re(a * a * at_a + b * b * at_b - mp.sqrt(sides) / 2)


def perfect(n, eps):
    d = 2 * mp.mpf(n)
    area = lens(d, mp.mpf(1), mp.mpf(1)) + lens(d, eps, eps) - 2 * lens(d, mp.mpf(1), eps)
    return area / (mp.pi * (1 - eps * eps))


def perfect_rows():
    for eps in ("0", "0.1", "0.2", "0.22", "0.33", "0.5", "0.8"):
        row = {"kind": "perfect", "obstruction_ratio": mp.mpf(eps)}
        shares = [mp.mpf(k) / 20 for k in range(21)]
        row["frequency_ratio"] = [float(n) for n in shares]
        row["contrast"] = [float(perfect(n, mp.mpf(eps))) for n in shares]
        yield row


def defocus_rows():
    for waves in ("0.25", "0.64", "1", "2.5"):
        shares = [mp.mpf(k) / 10 for k in range(1, 10)]

        w20 = mp.mpf(waves)

        def value(n, w20=w20):
            def integrand(x, n=n):
                return mp.cos(8 * mp.pi * w20 * n * x) * mp.sqrt(max(0, 1 - (x + n) ** 2))

            return 4 / mp.pi * mp.quad(integrand, mp.linspace(0, 1 - n, 9))

        yield {
            "kind": "defocus",
            "defocus_waves": mp.mpf(waves),
            "frequency_ratio": [float(n) for n in shares],
            "real": [float(value(n)) for n in shares],
        }


def noll(j, x, y):
    """Noll's terms 4 to 11 in Cartesian form."""
    r2 = x * x + y * y
    return {
        4: 3**0.5 * (2 * r2 - 1),
        5: 6**0.5 * 2 * x * y,
        6: 6**0.5 * (x * x - y * y),
        7: 8**0.5 * (3 * r2 - 2) * y,
        8: 8**0.5 * (3 * r2 - 2) * x,
        9: 8**0.5 * (3 * x * x * y - y**3),
        10: 8**0.5 * (x**3 - 3 * x * y * y),
        11: 5**0.5 * (6 * r2 * r2 - 6 * r2 + 1),
    }[j]


TERMS = {4: 25.0, 5: 30.0, 7: -45.0, 8: 60.0, 9: 20.0, 11: 35.0}


def terms_value(n, eps, azimuth_deg, terms):
    """One OTF value by columns: x along the shift, y across it."""
    cos, sin = np.cos(np.radians(azimuth_deg)), np.sin(np.radians(azimuth_deg))

    def wave(x, y):
        px, py = x * cos - y * sin, x * sin + y * cos
        return sum(c * noll(j, px, py) for j, c in terms.items())

    def phase(x, y):
        return 2 * np.pi / WAVELENGTH_NM * (wave(x + n, y) - wave(x - n, y))

    def column(x, part):
        high = 1 - (abs(x) + n) ** 2
        low = max(0.0, eps**2 - (x - n) ** 2, eps**2 - (x + n) ** 2)
        if high <= low:
            return 0.0
        high, low = high**0.5, low**0.5

        def both(y):
            return part(phase(x, y)) + part(phase(x, -y))

        return quad(both, low, high, epsabs=1e-11, epsrel=1e-11, limit=200)[0]

    # Ends of circles, their crossings in the middle, and where the outer circle of one meets
    # the inner one of the other.
    ends = {-(1 - n), 1 - n, 0.0}
    for side, e in itertools.product((-n, n), (-eps, eps)):
        ends.add(side + e)
    for sign in (-1, 1):
        # (|x| + n)^2 - (|x| - n)^2 = 1 - eps^2, and the same with both on one side.
        ends.add(sign * (1 - eps**2) / (4 * n))
    ends = sorted(e for e in ends if abs(e) <= 1 - n)

    def total(part):
        pieces = itertools.pairwise(ends)
        return sum(
            quad(column, a, b, args=(part,), epsabs=1e-9, epsrel=1e-9, limit=200)[0]
            for a, b in pieces
            if b - a > 1e-12
        )

    area = np.pi * (1 - eps**2)
    return total(np.cos) / area, total(np.sin) / area


def terms_rows():
    for eps, azimuth_deg in ((0.0, 0.0), (0.25, 0.0), (0.25, 90.0), (0.25, 33.0)):
        shares = [0.1, 0.3, 0.55, 0.8]
        values = [terms_value(n, eps, azimuth_deg, TERMS) for n in shares]
        yield {
            "kind": "terms",
            "obstruction_ratio": eps,
            "azimuth_deg": azimuth_deg,
            "noll": list(TERMS),
            "coefficient_nm": list(TERMS.values()),
            "frequency_ratio": shares,
            "real": [v[0] for v in values],
            "imaginary": [v[1] for v in values],
        }


class Round:
    """A paraboloid with an edge and a zone, seen from a point of its axis."""

    def __init__(self, aperture, focal, shadow, edge, zone, shift):
        self.rim, self.focal, self.shadow = aperture / 2, focal, shadow / 2
        self.edge, self.zone, self.image = edge, zone, focal + shift
        radii = [self.shadow, self.rim]
        if edge:
            radii.append(self.rim - edge[0])
        if zone:
            radii += [zone[0] + k * zone[1] for k in (-4, -2, -1, 0, 1, 2, 4)]
        self.radii = np.array(sorted(r for r in radii if self.shadow <= r <= self.rim))
        self.ends = self.sine(self.radii)

    def height(self, r):
        z = r * r / (4 * self.focal)
        if self.edge:
            width, drop_nm = self.edge
            z = z - drop_nm * 1e-6 * np.maximum(0, (r - self.rim + width) / width) ** 2
        if self.zone:
            middle, half, height_nm = self.zone
            z = z + height_nm * 1e-6 * np.exp(-(((r - middle) / half) ** 2))
        return z

    def sine(self, r):
        return r / np.hypot(r, self.image - self.height(r))

    def wave_mm(self, r):
        z = self.height(r)
        return z - np.hypot(r, self.image - z)

    def radius(self, s):
        """The zone seen at sine s: Newton with a secant, from the paraboloid's own."""
        r = s * self.focal * 2 / (1 + np.sqrt(np.maximum(0, 1 - s * s)))
        for _ in range(8):
            step = 1e-4
            slope = (self.sine(r + step) - self.sine(r - step)) / (2 * step)
            r = r + (s - self.sine(r)) / slope
        return r

    def weight(self, r):
        """g(s) = (r/s)(dr/ds), dr/ds by a central difference."""
        step = 1e-3
        slope = (-self.sine(r + 2 * step) + 8 * self.sine(r + step)) / (12 * step)
        slope += (-8 * self.sine(r - step) + self.sine(r - 2 * step)) / (12 * step)
        return r / self.sine(r) / slope

    def otf(self, frequency_per_mm, outer, inner):
        """Polar about one copy: `outer` nodes a panel in its radius, `inner` in the angle."""
        shift = frequency_per_mm * WAVELENGTH_NM * 1e-6
        k = 2 * np.pi / (WAVELENGTH_NM * 1e-6)
        limits = set(self.ends)
        for s in self.ends:
            limits |= {abs(shift - s), shift + s}
        limits = sorted(x for x in limits if self.ends[0] <= x <= self.ends[-1])
        node, weight = np.polynomial.legendre.leggauss(outer)
        angle, share = np.polynomial.legendre.leggauss(inner)
        total = 0j
        for a, b in itertools.pairwise(limits):
            if b - a < 1e-13:
                continue
            turn = np.pi / 2 * node
            places = (a + b) / 2 + (b - a) / 2 * np.sin(turn)
            steps = weight * np.pi / 2 * (b - a) / 2 * np.cos(turn)
            for s1, ds in zip(places, steps, strict=True):
                r1 = self.radius(s1)
                # Angles at which the other copy's circles are crossed.
                cosines = (s1**2 + shift**2 - self.ends**2) / (2 * s1 * shift)
                marks = np.unique(np.arccos(np.clip(cosines, -1, 1)))
                sum_here = 0j
                for p, q in itertools.pairwise(marks):
                    alpha = (p + q) / 2 + (q - p) / 2 * angle
                    s2 = np.sqrt(s1**2 + shift**2 - 2 * s1 * shift * np.cos(alpha))
                    if not self.ends[0] < s2[inner // 2] < self.ends[-1]:
                        continue
                    r2 = self.radius(s2)
                    phase = k * (self.wave_mm(r1) - self.wave_mm(r2))
                    sum_here += np.sum(share * self.weight(r2) * np.exp(1j * phase)) * (q - p) / 2
                total += 2 * ds * s1 * self.weight(r1) * sum_here
        energy = 0.0
        for a, b in itertools.pairwise(self.radii):
            r = (a + b) / 2 + (b - a) / 2 * node
            energy += 2 * np.pi * np.sum(weight * (b - a) / 2 * r * self.weight(r))
        return total / energy


def round_rows():
    cases = [
        (318.0, 1558.0, 70.0, None, None, 0.0),
        (318.0, 1558.0, 70.0, (9.0, 330.0), None, 0.02),
        (318.0, 1558.0, 70.0, (9.0, 330.0), (95.0, 13.0, 28.0), -0.03),
        (200.0, 800.0, 0.0, (4.0, -150.0), (40.0, 8.0, 60.0), 0.0),
    ]
    for aperture, focal, shadow, edge, zone, shift in cases:
        mirror = Round(aperture, focal, max(shadow, 1e-7), edge, zone, shift)
        ratios = [0.05, 0.2, 0.4, 0.6, 0.85]
        frequencies = [n * aperture / (WAVELENGTH_NM * 1e-6 * focal) for n in ratios]
        values = [mirror.otf(f, 24, 20) for f in frequencies]
        fewer = [mirror.otf(f, 18, 15) for f in frequencies]
        change = max(abs(a - b) for a, b in zip(values, fewer, strict=True))
        if change > 2e-7:
            raise ArithmeticError(f"nodes too few: {change:.1e}")
        yield {
            "kind": "round",
            "clear_aperture_mm": aperture,
            "focal_length_mm": focal,
            "shadow_mm": shadow,
            "edge_width_mm": edge[0] if edge else None,
            "edge_drop_nm": edge[1] if edge else None,
            "zone_radius_mm": zone[0] if zone else None,
            "zone_half_width_mm": zone[1] if zone else None,
            "zone_height_nm": zone[2] if zone else None,
            "focus_shift_mm": shift,
            "frequency_per_mm": frequencies,
            "real": [v.real for v in values],
            "change": change,
        }


def open_stretches(x, eps, half, directions):
    """Where a column of the pupil is open: pairs of y, ascending; vanes of half width `half`."""
    if abs(x) >= 1:
        return []
    marks = {-math.sqrt(1 - x * x), math.sqrt(1 - x * x)}
    if abs(x) < eps:
        marks |= {-math.sqrt(eps**2 - x * x), math.sqrt(eps**2 - x * x)}
    for cos, sin in directions:
        # y cos - x sin = +-half.
        marks |= {(x * sin + half) / cos, (x * sin - half) / cos}
    marks = sorted(marks)

    def lit(y):
        if not eps <= math.hypot(x, y) <= 1:
            return False
        return not any(x * c + y * s > 0 and abs(y * c - x * s) < half for c, s in directions)

    return [(a, b) for a, b in itertools.pairwise(marks) if b > a and lit((a + b) / 2)]


def vanes_value(n, eps, half, angles, terms, columns):
    node, weight = np.polynomial.legendre.leggauss(10)
    width = 2 * (1 - n) / columns
    xs, lows, highs = [], [], []
    for i in range(columns):
        x = -(1 - n) + width * (i + 0.5)
        first = open_stretches(x - n, eps, half, angles)
        second = open_stretches(x + n, eps, half, angles)
        for (a, b), (c, d) in itertools.product(first, second):
            if min(b, d) > max(a, c):
                xs.append(x)
                lows.append(max(a, c))
                highs.append(min(b, d))
    x, low, high = (np.array(v)[:, None] for v in (xs, lows, highs))
    y = (low + high) / 2 + (high - low) / 2 * node

    def wave(px, py):
        return sum(c * noll(j, px, py) for j, c in terms.items())

    phase = 2 * np.pi / WAVELENGTH_NM * (wave(x + n, y) - wave(x - n, y))
    return width * np.sum(weight * (high - low) / 2 * np.exp(1j * phase))


def vanes_rows():
    eps, half = 0.25, 0.02
    angles = [(math.cos(a), math.sin(a)) for a in np.radians([30.0, 120.0, 210.0, 300.0])]
    strip = lambda y: np.sqrt(1 - y * y) - np.sqrt(eps**2 - y * y)  # noqa: E731
    area = np.pi * (1 - eps**2) - 4 * quad(strip, -half, half)[0]
    for terms in ({}, {7: 50.0, 8: 30.0}):
        ratios = [0.12, 0.35, 0.7]
        values = [vanes_value(n, eps, half, angles, terms, 30_000) / area for n in ratios]
        fewer = [vanes_value(n, eps, half, angles, terms, 20_000) / area for n in ratios]
        yield {
            "kind": "vanes",
            "obstruction_ratio": eps,
            "vane_thickness_over_radius": 2 * half,
            "first_vane_deg": 30.0,
            "noll": list(terms),
            "coefficient_nm": list(terms.values()),
            "frequency_ratio": ratios,
            "real": [v.real for v in values],
            "imaginary": [v.imag for v in values],
            "change": max(abs(a - b) for a, b in zip(values, fewer, strict=True)),
        }


def main():
    rows = [*perfect_rows(), *defocus_rows(), *terms_rows(), *round_rows(), *vanes_rows()]
    units = {
        "frequency_ratio": "over the cut-off D/(lambda f)",
        "frequency_per_mm": "cycles for each mm in the focal plane",
        "*_nm": "coefficients: wavefront, RMS (Noll); drops and heights: glass",
        "azimuth_deg": "of the frequency, from along (x) toward across (y)",
        "real, imaginary": "of the transfer function; wavelength 550 nm",
    }
    write("mtf", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
