"""Diffraction patterns of perfect mirrors on the axis -> airy.json.

kind "textbook": the annular Airy pattern, v = pi r/(lambda F), obstruction ratio eps by diameter,
    I(v) = [2 J1(v)/v - eps^2 2 J1(eps v)/(eps v)]^2 / (1 - eps^2)^2,
(Born & Wolf, Principles of Optics, ch. 8; Schroeder, Astronomical Optics; both from memory, the
formula is the Hankel transform of two discs). Energy inside r: integral of I(v) v dv over its
total 2/(1 - eps^2) (Parseval). Dark rings are zeros of the amplitude, found by bisection.

kind "paraboloid": a real paraboloid, point image at the focus,
    amplitude(R) = integral of J0(2 pi R s(r)/lambda) r dr,  s = sin(theta) = (r/f)/(1 + r^2/4f^2),
with theta the angle of the straight line from the mirror's zone r to the focus and a weight that
is uniform in the entrance beam. This is the scalar Fraunhofer integral WITHOUT the amplitude
factor 1/(1 + r^2/4f^2). With ds/dr = (1/f)(1 - r^2/4f^2)/(1 + r^2/4f^2)^2 and the amplitude over
the plane of s being g(s) = (r/s)(dr/ds), Parseval gives the total energy
    integral of amplitude^2 R dR = (lambda/2 pi)^2 x integral of (r/s)(dr/ds) r dr.
The integrals are Gauss-Legendre in r^2 (mpmath, 34 digits) with enough nodes that adding a
third more changes nothing above 1e-15; the energy inside a radius is Gauss-Legendre in R.
"""

import mpmath as mp
from exact import UM_PER_MM, gauss_legendre, write

WAVELENGTH_NM = 550
RADII = [mp.mpf(k) / 4 for k in (1, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 28, 32, 36, 40, 44, 48)]


class Textbook:
    """Amplitude at radius u (in units of lambda F), 1 at the centre."""

    def __init__(self, ratio):
        self.ratio = mp.mpf(ratio)
        self.total = 2 / (1 - self.ratio**2)

    def amplitude(self, u):
        v = mp.pi * u

        def disc(x):
            return 2 * mp.besselj(1, x) / x if x else mp.mpf(1)

        hole = self.ratio**2
        return (disc(v) - hole * disc(self.ratio * v)) / (1 - hole)

    def energy_inside(self, u):
        """Share of all the light within u: Gauss-Legendre in v."""
        nodes = gauss_legendre(40, 0, mp.pi * u)
        return mp.fsum(w * v * self.amplitude(v / mp.pi) ** 2 for v, w in nodes) / self.total


class Paraboloid:
    """Amplitude at radius u (in units of lambda F) of a real paraboloid, 1 at the centre."""

    def __init__(self, aperture_mm, focal_length_mm, ratio, count=24):
        self.f = mp.mpf(focal_length_mm)
        rim = mp.mpf(aperture_mm) / 2
        inner = mp.mpf(ratio) * rim
        self.unit_mm = mp.mpf(WAVELENGTH_NM) * mp.mpf("1e-6") * self.f / (2 * rim)
        self.wave_mm = mp.mpf(WAVELENGTH_NM) * mp.mpf("1e-6")
        area = (rim**2 - inner**2) / 2
        self.nodes = []
        energy = mp.mpf(0)
        for square, weight in gauss_legendre(count, inner**2, rim**2):
            r, q = mp.sqrt(square), square / (4 * self.f**2)
            s = r / self.f / (1 + q)
            ds_dr = (1 - q) / (1 + q) ** 2 / self.f
            self.nodes.append((s, weight / 2 / area))
            energy += weight / 2 * (r / s / ds_dr)
        self.total = (self.wave_mm / (2 * mp.pi)) ** 2 * energy / area**2
        # Total that a uniform amplitude over the area would have in the paraxial coordinate r/f.
        self.paraxial_total = (self.wave_mm / (2 * mp.pi)) ** 2 * self.f**2 / area

    def amplitude(self, u):
        turn = 2 * mp.pi * u * self.unit_mm / self.wave_mm
        return mp.fsum(w * mp.besselj(0, turn * s) for s, w in self.nodes)

    def energy_inside(self, u):
        nodes = gauss_legendre(32, 0, u * self.unit_mm)
        return mp.fsum(w * r * self.amplitude(r / self.unit_mm) ** 2 for r, w in nodes) / self.total


def root(function, low, high):
    return mp.findroot(function, (low, high), solver="anderson", tol=mp.mpf("1e-50"), verify=False)


def dark_rings(pattern, count):
    """The first zeros of the amplitude, bracketed by steps of 0.05 lambda F."""
    found, u = [], mp.mpf("0.5")
    before = pattern.amplitude(u)
    while len(found) < count:
        u += mp.mpf("0.05")
        now = pattern.amplitude(u)
        if before * now < 0:
            found.append(root(pattern.amplitude, u - mp.mpf("0.05"), u))
        before = now
    return found


def full_width(pattern):
    level = mp.sqrt(mp.mpf(1) / 2)
    return 2 * root(lambda u: pattern.amplitude(u) - level, mp.mpf("0.4"), mp.mpf("0.6"))


def intensities(pattern, radii):
    return {f"intensity_at_{mp.nstr(u, 4)}_lambda_f": pattern.amplitude(u) ** 2 for u in radii}


def textbook_row(ratio):
    pattern = Textbook(ratio)
    row = {"kind": "textbook", "obstruction_ratio": mp.mpf(ratio)}
    for k, u in enumerate(dark_rings(pattern, 3), start=1):
        row[f"dark_ring_{k}_lambda_f"] = u
        row[f"energy_inside_dark_ring_{k}"] = pattern.energy_inside(u)
    row["fwhm_lambda_f"] = full_width(pattern)
    return row | intensities(pattern, RADII)


def paraboloid_row(aperture_mm, focal_length_mm, ratio):
    pattern = Paraboloid(aperture_mm, focal_length_mm, ratio)
    finer = Paraboloid(aperture_mm, focal_length_mm, ratio, count=32)
    change = max(abs(pattern.amplitude(u) - finer.amplitude(u)) for u in (1, 6, 12))
    if change > mp.mpf("1e-15"):
        raise ArithmeticError(f"nodes too few: {mp.nstr(change, 3)}")
    row = {
        "kind": "paraboloid",
        "clear_aperture_mm": aperture_mm,
        "focal_length_mm": focal_length_mm,
        "obstruction_ratio": mp.mpf(ratio),
        "wavelength_nm": WAVELENGTH_NM,
        "lambda_f_um": pattern.unit_mm * UM_PER_MM,
    }
    rings = dark_rings(pattern, 3)
    for k, u in enumerate(rings, start=1):
        row[f"dark_ring_{k}_um"] = u * pattern.unit_mm * UM_PER_MM
        row[f"dark_ring_{k}_lambda_f"] = u
        row[f"energy_inside_dark_ring_{k}"] = pattern.energy_inside(u)
    width = full_width(pattern)
    row["fwhm_um"] = width * pattern.unit_mm * UM_PER_MM
    row["fwhm_lambda_f"] = width
    row["total_energy_over_paraxial_total"] = pattern.total / pattern.paraxial_total
    row |= intensities(pattern, RADII)
    return row | {"node_change_absolute": change}


def check_totals():
    """The energy inside a large radius tends to 1 as 1 - c/u: a check of both Parseval totals."""
    for name, pattern in (("textbook", Textbook("0.3")), ("f/4", Paraboloid(200, 800, "0.3"))):
        rest, u = mp.mpf(0), mp.mpf(0)
        while u < 12:
            panel = gauss_legendre(16, u, u + 1)
            rest += mp.fsum(w * r * pattern.amplitude(r) ** 2 for r, w in panel)
            u += 1
        scale = mp.pi**2 if name == "textbook" else pattern.unit_mm**2
        print(name, "energy inside 12 lambda F:", mp.nstr(rest * scale / pattern.total, 8))


def main():
    ratios = ("0", "0.1", "0.2", "0.3", "0.4", "0.5")
    rows = [textbook_row(ratio) for ratio in ratios]
    for focal_length_mm in (800, 1000, 1200, 40_000):
        rows += [paraboloid_row(200, focal_length_mm, ratio) for ratio in ("0", "0.22", "0.35")]
    rows.append(paraboloid_row(318, 1558, "0.22"))
    units = {
        "*_um": "micrometres in the plane of the focus",
        "*_lambda_f": "radius or width over wavelength x focal ratio",
        "intensity_at_*": "intensity over that at the centre, radius in lambda F",
        "obstruction_ratio": "by diameter, central and round, cut in the entrance beam",
        "energy_inside_*": "share of all the light in the pattern",
        "total_energy_over_paraxial_total": "Parseval total over that of s = r/f",
    }
    write("airy", " ".join(__doc__.split()), units, rows)
    check_totals()


if __name__ == "__main__":
    main()
