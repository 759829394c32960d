"""Knife-edge readings at the centre of curvature -> knife_edge.json.

Readings increase away from the mirror and are counted from the vertex centre of curvature R.

Moving source (source and knife travel together): the light returns on itself, so the knife
stands where the normal at zone r meets the axis: reading = z + h + r/(z' + h') - R. For a pure
conic that is -K z(r), which the script checks; for a paraboloid r^2/(2R).
Fixed source at (0, R): the ray from there to the mirror at (r, z + h), reflected at the exact
normal (2-D vectors), meets the axis again; reading = that crossing - R. For a paraboloid
r^2/R + r^4/(2 R^3), which the script checks.

kind "zone": one radius. kind "opening": mean over an opening r1..r2 weighted by r (its area), by
mpmath quad split where the edge begins and at the bump. kind "reduction": the slope formula
W = -2 integral of r d/R^2 dr (d = moving reading - r^2/(2R)) of a pure conic, with the best focus
(a multiple of r^2, least squares over the area) and piston removed, RMS and exact Strehl beside
those of the exact path (axial.py): the two differ because the slope formula is paraxial.

Sources: the normal of a conic and both readings follow from its equation (derived here); the
slope formula is common practice, e.g. J. Texereau, How to Make a Telescope (from memory).
"""

from itertools import pairwise

import mpmath as mp
from axial import Mirror, conic_height, conic_slope
from exact import NM_PER_MM, dot, minus, mirrored, unit, write

WAVELENGTH_NM = 550
MM_PER_NM = mp.mpf("1e-6")
TIGHT = mp.mpf("1e-25")


class Surface:
    """A conic with an optional turned edge and Gaussian bump (heights of glass)."""

    def __init__(self, radius_mm, conic, edge=None, bump=None):
        self.radius, self.conic = mp.mpf(radius_mm), mp.mpf(conic)
        self.edge, self.bump = edge, bump

    def height(self, r):
        z = conic_height(r, self.radius, self.conic)
        if self.edge and r > self.edge[0]:
            begin, width, drop = self.edge
            z -= drop * MM_PER_NM * ((r - begin) / mp.mpf(width)) ** 2
        if self.bump:
            centre, half, high = self.bump
            z += high * MM_PER_NM * mp.exp(-(((r - centre) / mp.mpf(half)) ** 2))
        return z

    def slope(self, r):
        dz = conic_slope(r, self.radius, self.conic)
        if self.edge and r > self.edge[0]:
            begin, width, drop = self.edge
            dz -= drop * MM_PER_NM * 2 * (r - begin) / mp.mpf(width) ** 2
        if self.bump:
            centre, half, high = self.bump
            u = (r - centre) / mp.mpf(half)
            dz -= high * MM_PER_NM * 2 * u / half * mp.exp(-u * u)
        return dz

    def moving(self, r):
        return self.height(r) + r / self.slope(r) - self.radius

    def fixed(self, r):
        hit = (r, self.height(r))
        inward = unit(minus(hit, (mp.mpf(0), self.radius)))
        out = mirrored(inward, unit((-self.slope(r), mp.mpf(1))))
        if dot(out, (0, 1)) <= 0:
            raise ArithmeticError("the ray does not come back")
        return hit[1] - hit[0] * out[1] / out[0] - self.radius

    def mean(self, reading, low, high):
        """Mean of a reading over an opening, weighted by the radius."""
        marks = [low, high]
        if self.edge:
            marks.append(self.edge[0])
        if self.bump:
            centre, half, _ = self.bump
            marks += [centre + k * half for k in (-3, -1, 0, 1, 3)]
        points = sorted({mp.mpf(m) for m in marks if low <= m <= high})
        total = mp.quad(lambda r: r * reading(r), points)
        return total / (mp.mpf(high) ** 2 - mp.mpf(low) ** 2) * 2


def check_closed_forms(surface, r):
    z = conic_height(r, surface.radius, surface.conic)
    if abs(surface.moving(r) + surface.conic * z) > TIGHT:
        raise ArithmeticError("the normal does not meet the axis at R - K z")
    if surface.conic == -1:
        series = r**2 / surface.radius + r**4 / (2 * surface.radius**3)
        if abs(surface.fixed(r) - series) > TIGHT:
            raise ArithmeticError("fixed-source reading of the paraboloid")


def zone_row(aperture_mm, radius_mm, conic, r):
    surface, r = Surface(radius_mm, conic), mp.mpf(r)
    check_closed_forms(surface, r)
    return {
        "kind": "zone",
        "clear_aperture_mm": aperture_mm,
        "radius_of_curvature_mm": radius_mm,
        "conic": mp.mpf(conic),
        "zone_radius_mm": r,
        "moving_source_reading_mm": surface.moving(r),
        "fixed_source_reading_mm": surface.fixed(r),
    }


def opening_row(name, aperture_mm, surface, low, high):
    edge, bump = surface.edge or (None,) * 3, surface.bump or (None,) * 3
    return {
        "kind": "opening",
        "name": name,
        "clear_aperture_mm": aperture_mm,
        "radius_of_curvature_mm": surface.radius,
        "conic": surface.conic,
        "edge_begins_mm": edge[0],
        "edge_width_mm": edge[1],
        "edge_drop_nm": edge[2],
        "bump_radius_mm": bump[0],
        "bump_half_width_mm": bump[1],
        "bump_height_nm": bump[2],
        "inner_radius_mm": low,
        "outer_radius_mm": high,
        "moving_source_mean_mm": surface.mean(surface.moving, low, high),
        "fixed_source_mean_mm": surface.mean(surface.fixed, low, high),
    }


def reduction_row(aperture_mm, radius_mm, conic):
    """The slope formula on exact readings of a conic, against the exact path."""
    rim, big = mp.mpf(aperture_mm) / 2, mp.mpf(radius_mm)
    conic = mp.mpf(conic)

    def wave(r):
        """-2/R^2 x integral of r d dr, d = -K z - r^2/(2R), in mm; z integrated by quadrature."""

        def shortfall(t):
            return t * (-conic * conic_height(t, big, conic) - t * t / (2 * big))

        return -2 / big**2 * mp.quad(shortfall, [0, r])

    mirror = Mirror(0, rim, big / 2, conic, lambda _: mp.mpf(0), [], 40)
    nodes = [((r / rim) ** 2, weight, wave(r)) for r, _, weight in mirror.nodes]
    mean_w = mp.fsum(k * w for _, k, w in nodes)
    mean_s = mp.fsum(k * s for s, k, _ in nodes)
    spread = mp.fsum(k * (s - mean_s) ** 2 for s, k, _ in nodes)
    focus = mp.fsum(k * (s - mean_s) * (w - mean_w) for s, k, w in nodes) / spread
    rest = [(k, w - mean_w - focus * (s - mean_s)) for s, k, w in nodes]
    turn = 2 * mp.pi * NM_PER_MM / WAVELENGTH_NM
    shift = mirror.least_rms_shift()
    return {
        "kind": "reduction",
        "clear_aperture_mm": aperture_mm,
        "radius_of_curvature_mm": radius_mm,
        "conic": conic,
        "wavelength_nm": WAVELENGTH_NM,
        "slope_formula_rms_nm": mp.sqrt(mp.fsum(k * w * w for k, w in rest)) * NM_PER_MM,
        "slope_formula_strehl": abs(mp.fsum(k * mp.expj(turn * w) for k, w in rest)) ** 2,
        "exact_rms_nm": mirror.rms_nm(shift),
        "exact_strehl": mirror.strehl(shift, WAVELENGTH_NM),
    }


SYNTHETIC_ZONES = ("31.622777", "54.772256", "70.710678", "83.666003", "94.868330")
OPENINGS = (14, 52, 77, 96, 112, 126, 138.5, 149.5, 158)
REFIGURED = {
    "before": ("-0.88", (150, 9, 330), (95, 13, 28)),
    "after": ("-0.985", (156, 3, 60), (60, 16, -9)),
    "touch_up": ("-0.97", (156, 3, 60), (60, 16, -9)),
}


def main():
    rows = []
    for aperture_mm, radius_mm in ((200, 2400), (318, 3116), (250, 2000)):
        for conic in ("-1", "-0.8", "0", "-1.2"):
            for share in ("0.25", "0.5", "0.75", "1"):
                rows.append(
                    zone_row(aperture_mm, radius_mm, conic, mp.mpf(share) * aperture_mm / 2)
                )
    rows += [zone_row(200, 2400, "-0.80", r) for r in SYNTHETIC_ZONES]
    rows += [reduction_row(200, 2400, k) for k in ("-0.80", "0", "-1.2")]
    rows += [reduction_row(318, 3116, "-0.88")]
    for conic in ("-1", "-0.8", "-1.2"):
        surface = Surface(2400, conic)
        rows += [
            opening_row("conic", 200, surface, low, high)
            for low, high in ((0, 40), (40, 60), (60, 80), (80, 98))
        ]
    for name, (conic, edge, bump) in REFIGURED.items():
        surface = Surface(3116, conic, edge, bump)
        rows += [opening_row(name, 318, surface, *pair) for pair in pairwise(OPENINGS)]
    units = {
        "*_mm": "millimetres; readings from the vertex centre of curvature, away from the mirror",
        "*_nm": "edge_drop and bump_height of glass (nm, hill positive), rms of wavefront",
        "edge": "h = -edge_drop ((r - edge_begins)/edge_width)^2 beyond edge_begins",
        "bump": "h = bump_height exp(-((r - bump_radius)/bump_half_width)^2)",
    }
    write("knife_edge", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
