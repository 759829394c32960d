"""Mirrors behind masks of several inner diameters -> mask.json.

kind "exact": the mirrors of a worked refiguring example (conic, turned edge, Gaussian zone) and a
family of edges that give the same reading in the last opening, W from the exact path with the
figure in the hit point: W = -(d . Q + |P0 - Q|), r dr for the beam. For each inner diameter the
greatest Strehl along the axis, from a scan over +-2 waves of W020 in steps of 0.02 and golden
sections; the full width at half of the peak and the light within the Airy disks of the open and
of the masked mirror, in the conjugate coordinate m = r/|P0 - Q|: amplitude by J0, energy by
quadrature over the disk, over that of the whole image by Parseval's theorem. The mask stops the
light and leaves the figure where it is: layers are tied to the clear aperture.

kind "round": the same surfaces by W = 2 h/(1 + (r/R)^2), the conic as its difference from the
paraboloid, a move of the focus as a multiple of (r/R)^2/(1 + (r/R)^2).

Gauss-Legendre panels split where the edge begins, at the zone's centre +- 1.2 and 3 half-widths
and every tenth of the radius, 24 nodes a panel in 80-bit floats; 32 nodes change no Strehl by more
than `node_change`.

Layers as in strehl.json. A reading of an opening measures the height difference of its rims, to
first order: those of the last opening lie 9.5 and 1 mm within the rim here, so that an edge of
width w (1 to 9.5 mm) and power 2 reads as one of 9 mm and 330 nm does if its drop is
330 (8/9)^2 (w/(w - 1))^2. The row of 2 mm has 1036 nm, which second order makes of it.
Units: mm, nm, arcsec.
"""

from itertools import pairwise

import numpy as np
from exact import write
from scipy.special import j0

WAVELENGTH_NM = 550.0
APERTURE_MM, FOCAL_MM, SHADOW_MM = 318.0, 1558.0, 70.0
LEFT_OF_318 = (318.0, 315.0, 312.0, 308.0, 300.0, 280.0)
ARCSEC = 180 * 3600 / np.pi
AIRY = 1.2196698912665045
REAL = np.longdouble


def gauss(count, low, high):
    x, w = np.polynomial.legendre.leggauss(count)
    return (REAL(low) + REAL(high)) / 2 + (REAL(high) - REAL(low)) / 2 * x.astype(REAL), (
        (REAL(high) - REAL(low)) / 2 * w.astype(REAL)
    )


class Mirror:
    def __init__(self, conic, edge, zone):
        self.conic, self.edge, self.zone = conic, edge, zone

    def layers_mm(self, r):
        height = np.zeros_like(r)
        if self.edge:
            width, drop = self.edge
            q = np.maximum((r - (REAL(APERTURE_MM) / 2 - width)) / width, 0)
            height -= drop * REAL("1e-6") * q**2
        if self.zone:
            radius, half, nm = self.zone
            height += nm * REAL("1e-6") * np.exp(-(((r - radius) / half) ** 2))
        return height

    def conic_mm(self, r, conic):
        radius = REAL(2 * FOCAL_MM)
        return r**2 / (radius * (1 + np.sqrt(1 - (1 + REAL(conic)) * r**2 / radius**2)))

    def nodes(self, outer_mm, count):
        inner = REAL(SHADOW_MM) / 2
        breaks = [inner, REAL(outer_mm)]
        breaks += [inner + (outer_mm - inner) * REAL(k) / 10 for k in range(1, 10)]
        if self.edge:
            breaks.append(REAL(APERTURE_MM) / 2 - self.edge[0])
        if self.zone:
            breaks += [self.zone[0] + REAL(k) * self.zone[1] for k in (-3, -1.2, 1.2, 3)]
        breaks = sorted({b for b in breaks if inner <= b <= outer_mm})
        parts = [gauss(count, a, b) for a, b in pairwise(breaks) if b - a > 1e-9]
        r = np.concatenate([p[0] for p in parts])
        weight = np.concatenate([p[1] for p in parts]) * r
        return r, weight / weight.sum()


def exact_paths(mirror, r):
    """W in nm and the conjugate coordinate at a shift of the focus, mm."""
    z = mirror.conic_mm(r, mirror.conic) + mirror.layers_mm(r)

    def at(shift_mm):
        above = REAL(FOCAL_MM) + shift_mm - z
        line = np.sqrt(r**2 + above**2)
        return -(-z + line) * REAL("1e6"), r / line

    return at


def round_paths(mirror, r):
    radius = REAL(2 * FOCAL_MM)
    share = 1 / (1 + (r / radius) ** 2)
    height = mirror.conic_mm(r, mirror.conic) - mirror.conic_mm(r, -1) + mirror.layers_mm(r)

    def at(shift_mm):
        return (2 * height + 2 * shift_mm * (r / radius) ** 2) * share * REAL("1e6"), r / FOCAL_MM

    return at


def strehl(path_nm, weight):
    turn = 2 * np.pi * (path_nm - path_nm[0]) / WAVELENGTH_NM
    return float(np.sum(weight * np.cos(turn)) ** 2 + np.sum(weight * np.sin(turn)) ** 2)


def peak(paths, weight, diameter_mm):
    unit = 8 * (FOCAL_MM / diameter_mm) ** 2 * WAVELENGTH_NM * 1e-6
    scan = [(strehl(paths(k * 0.02 * unit)[0], weight), k) for k in range(-100, 101)]
    _, best = max(scan)
    low, high = (best - 1) * 0.02 * unit, (best + 1) * 0.02 * unit
    ratio = (np.sqrt(5) - 1) / 2
    for _ in range(80):
        a, b = high - ratio * (high - low), low + ratio * (high - low)
        if strehl(paths(a)[0], weight) < strehl(paths(b)[0], weight):
            low = a
        else:
            high = b
    shift = (low + high) / 2
    return strehl(paths(shift)[0], weight), shift


def image(path_nm, m, weight):
    """Intensity over that of the perfect peak at a distance in the image, mm."""
    turn = (2 * np.pi * (path_nm - path_nm[0]) / WAVELENGTH_NM).astype(float)
    phasor, m = weight.astype(float) * np.exp(1j * turn), m.astype(float)
    k = 2 * np.pi / (WAVELENGTH_NM * 1e-6)
    return lambda rho: abs(np.sum(phasor * j0(k * m * rho))) ** 2


def width_arcsec(intensity, diameter_mm):
    unit = WAVELENGTH_NM * 1e-6 * FOCAL_MM / diameter_mm
    half = intensity(0.0) / 2
    low, high = 0.0, 0.0
    while intensity(high) > half:
        low, high = high, high + 0.02 * unit
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if intensity(middle) > half else (low, middle)
    return 2 * low / FOCAL_MM * ARCSEC


def energy(paths, shift, diameter_mm, mirror, radii_mm, count=40):
    """Light within circles: an integral over the image against Parseval's over the pupil."""
    r, weight = mirror.nodes(diameter_mm / 2, count)
    path, m = paths(mirror, r)(shift)
    intensity = image(path, m, weight)
    step = REAL("1e-3")
    up, down = paths(mirror, r + step)(shift)[1], paths(mirror, r - step)(shift)[1]
    slope = (up - down) / (2 * step)
    # weight = r dr/half; the amplitude for a unit of area in m is weight/(2 pi m dm), so that the
    # integral of its square is the sum of weight r/(m dm/dr), over 2 pi half.
    half = ((diameter_mm / 2) ** 2 - (SHADOW_MM / 2) ** 2) / 2
    whole = float(np.sum(weight * r / (m * slope))) / (2 * np.pi * half)
    wave_mm = WAVELENGTH_NM * 1e-6
    found = []
    for radius in radii_mm:
        x, w = np.polynomial.legendre.leggauss(60)
        rho, wide = radius * (x + 1) / 2, radius / 2 * w
        flux = 2 * np.pi * sum(g * q * intensity(q) for q, g in zip(rho, wide, strict=True))
        found.append(flux / (wave_mm**2 * whole))
    return found


def row(kind, name, mirror, paths, diameter_mm):
    r, weight = mirror.nodes(diameter_mm / 2, 24)
    found, shift = peak(paths(mirror, r), weight, diameter_mm)
    r2, weight2 = mirror.nodes(diameter_mm / 2, 32)
    change = abs(strehl(paths(mirror, r2)(shift)[0], weight2) - found)
    if change > 1e-12:
        raise ArithmeticError(f"nodes too few: {change}")
    numbers = {
        "kind": kind,
        "name": name,
        "conic": mirror.conic,
        "edge_width_mm": mirror.edge[0],
        "edge_drop_nm": mirror.edge[1],
        "zone_radius_mm": mirror.zone[0] if mirror.zone else None,
        "zone_half_width_mm": mirror.zone[1] if mirror.zone else None,
        "zone_height_nm": mirror.zone[2] if mirror.zone else None,
        "mask_diameter_mm": diameter_mm,
        "strehl": found,
        "shift_mm": float(shift),
        "node_change": change,
    }
    if kind == "exact":
        path, m = paths(mirror, r)(shift)
        numbers["fwhm_arcsec"] = width_arcsec(image(path, m, weight), diameter_mm)
        unit = AIRY * WAVELENGTH_NM * 1e-6 * FOCAL_MM
        disks = [unit / APERTURE_MM, unit / diameter_mm]
        numbers["airy_energy"], numbers["own_airy_energy"] = energy(
            paths, shift, diameter_mm, mirror, disks
        )
    return numbers


def family_drop(width):
    """The drop of an edge of this width that reads as one of 9 mm and 330 nm."""
    return 330 * (8 / 9) ** 2 * (width / (width - 1)) ** 2


def main():
    before = Mirror(-0.88, (9.0, 330.0), (95.0, 13.0, 28.0))
    after = Mirror(-0.985, (3.0, 60.0), (60.0, 16.0, -9.0))
    rows = []
    for name, mirror in (("before", before), ("after", after)):
        for diameter in LEFT_OF_318:
            rows.append(row("exact", name, mirror, exact_paths, diameter))
            rows.append(row("round", name, mirror, round_paths, diameter))
    for name, (width, drop) in (
        ("edge 2", (2.0, 1036.0)),
        ("edge 3", (3.0, family_drop(3.0))),
        ("edge 4", (4.0, family_drop(4.0))),
        ("edge 6", (6.0, family_drop(6.0))),
        ("edge 9", (9.0, 330.0)),
    ):
        mirror = Mirror(-0.88, (width, drop), (95.0, 13.0, 28.0))
        for diameter in LEFT_OF_318:
            rows.append(row("exact", name, mirror, exact_paths, diameter))
    units = {
        "mask_diameter_mm": "inner diameter of the mask; 318: none",
        "shift_mm": "of the brightest focus from the paraxial one, away from the primary",
        "airy_energy": "share of the light through the mask within 1.21967 lambda f/318 mm",
        "own_airy_energy": "the same within 1.21967 lambda f/mask diameter",
    }
    write("mask", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
