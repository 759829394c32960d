"""Wavefront, RMS and Strehl of axisymmetric mirrors on the axis, shared by two generators.

W(r) = -(d . Q + |P0 - Q|) with Q = (r, 0, z(r) + h(r)), d = (0, 0, -1), P0 = (0, 0, f + shift).
Every integral over the mirror is uniform in r dr (the beam's area); piston is removed.
"""

from itertools import pairwise

import mpmath as mp
from exact import NM_PER_MM, gauss_legendre

SCAN_STEP_WAVES = mp.mpf("0.04")


def conic_height(r, radius_mm, conic):
    """Sagitta of a conic of revolution: c r^2/(1 + sqrt(1 - (1 + K) c^2 r^2))."""
    c = 1 / mp.mpf(radius_mm)
    return c * r * r / (1 + mp.sqrt(1 - (1 + mp.mpf(conic)) * c * c * r * r))


def conic_slope(r, radius_mm, conic):
    """dz/dr of the same conic."""
    c = 1 / mp.mpf(radius_mm)
    return c * r / mp.sqrt(1 - (1 + mp.mpf(conic)) * c * c * r * r)


class Mirror:
    """Nodes over a ring of the mirror, split at `breaks`; `height` gives h(r) in mm."""

    def __init__(self, inner_mm, rim_mm, focal_length_mm, conic, height, breaks, count):
        self.f = mp.mpf(focal_length_mm)
        self.rim, self.inner = mp.mpf(rim_mm), mp.mpf(inner_mm)
        self.conic, self.height = conic, height
        inside = sorted(mp.mpf(b) for b in breaks if self.inner < b < self.rim)
        edges = [self.inner, *inside, self.rim]
        area = (self.rim**2 - self.inner**2) / 2
        self.nodes = []
        for low, high in pairwise(edges):
            for r, weight in gauss_legendre(count, low, high):
                self.nodes.append((r, self.surface(r), weight * r / area))

    def surface(self, r):
        return conic_height(r, 2 * self.f, self.conic) + self.height(r)

    def path(self, r, z, shift):
        """W before piston is removed, and its derivative with respect to the shift, in mm."""
        rise = self.f + shift - z
        line = mp.sqrt(r * r + rise * rise)
        return z - line, -rise / line

    def waves(self, shift):
        """W in mm with its mean removed, and the derivative likewise."""
        pairs = [self.path(r, z, shift) for r, z, _ in self.nodes]
        mean = mp.fsum(n[2] * p[0] for n, p in zip(self.nodes, pairs, strict=True))
        slope = mp.fsum(n[2] * p[1] for n, p in zip(self.nodes, pairs, strict=True))
        return [p[0] - mean for p in pairs], [p[1] - slope for p in pairs]

    def rms_nm(self, shift):
        waves, _ = self.waves(shift)
        square = mp.fsum(n[2] * w * w for n, w in zip(self.nodes, waves, strict=True))
        return mp.sqrt(square) * NM_PER_MM

    def least_rms_shift(self):
        """Gauss-Newton on the variance of W; the shift that makes it least."""
        shift = mp.mpf(0)
        for _ in range(40):
            waves, slopes = self.waves(shift)
            both = list(zip(self.nodes, waves, slopes, strict=True))
            step = -mp.fsum(n[2] * w * s for n, w, s in both)
            step /= mp.fsum(n[2] * s * s for n, _, s in both)
            shift += step
            if abs(step) < mp.mpf("1e-22"):
                return shift
        raise ArithmeticError("the focus did not settle")

    def amplitude(self, shift, wavelength_nm):
        """Sum of e^(2 pi i W/lambda) over the lit area, and its derivative with the shift."""
        turn = 2 * mp.pi * NM_PER_MM / wavelength_nm
        waves, slopes = self.waves(shift)
        terms = [n[2] * mp.expj(turn * w) for n, w in zip(self.nodes, waves, strict=True)]
        bent = [1j * turn * s * t for s, t in zip(slopes, terms, strict=True)]
        return mp.fsum(terms), mp.fsum(bent)

    def strehl(self, shift, wavelength_nm):
        return abs(self.amplitude(shift, wavelength_nm)[0]) ** 2

    def rise_of_strehl(self, shift, wavelength_nm):
        value, bent = self.amplitude(shift, wavelength_nm)
        return 2 * (mp.conj(value) * bent).real

    def peak(self, wavelength_nm, reach_waves=2):
        """Greatest Strehl along the axis: scan W020, refine every local maximum, keep the best.

        Returns (shift, Strehl) of all local maxima within `reach_waves` of the least-RMS focus,
        greatest first.
        """
        ratio = self.f / (2 * self.rim)
        unit = 8 * ratio**2 * wavelength_nm / NM_PER_MM
        start = self.least_rms_shift()
        count = int(reach_waves / SCAN_STEP_WAVES)
        shifts = [start + k * SCAN_STEP_WAVES * unit for k in range(-count, count + 1)]
        slopes = [self.rise_of_strehl(s, wavelength_nm) for s in shifts]
        found = []
        for k in range(len(shifts) - 1):
            if slopes[k] > 0 >= slopes[k + 1]:
                shift = mp.findroot(
                    lambda s: self.rise_of_strehl(s, wavelength_nm),
                    (shifts[k], shifts[k + 1]),
                    solver="anderson",
                    tol=mp.mpf("1e-40"),
                    verify=False,
                )
                found.append((shift, self.strehl(shift, wavelength_nm)))
        return sorted(found, key=lambda pair: -pair[1])

    def brightest_is_on_axis(self, shift, wavelength_nm):
        """True if no point off the axis in the plane of the peak is brighter than the axis."""
        turn = 2 * mp.pi * NM_PER_MM / wavelength_nm
        waves, _ = self.waves(shift)
        terms = []
        for (r, z, weight), w in zip(self.nodes, waves, strict=True):
            line = mp.hypot(r, self.f + shift - z)
            terms.append((r / line, weight * mp.expj(turn * w)))
        unit = wavelength_nm / mp.mpf(NM_PER_MM) * self.f / (2 * self.rim)
        centre = abs(mp.fsum(t for _, t in terms))
        return all(
            abs(mp.fsum(mp.besselj(0, turn * k * unit / 8 * s) * t for s, t in terms)) < centre
            for k in range(1, 17)
        )
