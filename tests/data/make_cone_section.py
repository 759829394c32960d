"""The cone of light on the 45 degree plane of the diagonal -> cone_section.json.

The light to a lit circle of diameter i fills the cone from the rim (diameter D, height D^2/(16
f)) to that circle in the focal plane. The diagonal's plane is z = f - L + x. Three ways, mpmath
with 40 digits:

1. Straight lines from the rim to the lit circle, cut by the plane; the conic through five of
these points (sympy, exact linear algebra on 40-digit numbers); its centre from the gradient, its
half axes from the eigenvalues of its matrix, as lengths in the plane itself. These numbers stand
in the rows.
2. The cone's equation and the plane's, solved by sympy in symbols for its centre and half axes:
must agree to 1e-30.
3. The smallest flat (an ellipse of axis ratio sqrt 2 with its long axis along the section's)
about a centre at a given offset: the farthest of all lines, searched on 720 of them and refined
(golden section). Fitted: the offset too is searched for, as the one that needs the smallest flat.

Offsets count toward the primary and equally away from the focuser; x is counted from the tube's
axis toward the focuser, so that the ends are where the section meets y = 0. Kind "section": one
row for each geometry; "stated_offset_mm" with "stated_minor_axis_mm" is a flat at an offset that
is not the best one. "usual_*" are the two usual rules L/F and a/(4F), with their errors in per
cent of the exact value (L/F against the axis cone's flat): common practice, no source, and no
truth.
"""

import mpmath as mp
import sympy as sp
from exact import write

mp.mp.dps = 40
ROOT2 = mp.sqrt(2)
TIGHT = mp.mpf("1e-30")


def symbols_solution():
    """Centre and half axes of the cone r - k x about the z axis, cut by z = h + x, in symbols."""
    x, y, r, k = sp.symbols("x y r k", positive=True)
    # On the plane the distance from the focal plane is L - x, so the cone's radius is r - k x.
    section = sp.expand(x**2 + y**2 - (r - k * x) ** 2)
    centre = sp.solve(sp.diff(section, x), x)[0]
    level = sp.simplify(-section.subs({x: centre, y: 0}))
    half_x = sp.sqrt(level / (sp.diff(section, x, 2) / 2))
    half_y = sp.sqrt(level / (sp.diff(section, y, 2) / 2))
    # In the plane a step in x is sqrt 2 times as long.
    long, short = sp.sqrt(2) * half_x, half_y
    return sp.lambdify((r, k), [sp.simplify(e) for e in (centre, long, short)], "mpmath")


class Cone:
    def __init__(self, aperture, focal, to_focus, lit):
        self.aperture, self.focal, self.to_focus, self.lit = map(
            mp.mpf, (aperture, focal, to_focus, lit)
        )
        self.sagitta = self.aperture**2 / (16 * self.focal)

    def point(self, turn):
        """(x, y) where the line of azimuth `turn` from rim to lit circle meets z = f - L + x."""
        c, s = mp.cos(turn), mp.sin(turn)
        start = (self.aperture / 2 * c, self.aperture / 2 * s, self.sagitta)
        go = (self.lit / 2 * c - start[0], self.lit / 2 * s - start[1], self.focal - start[2])
        t = (self.focal - self.to_focus + start[0] - start[2]) / (go[2] - go[0])
        return start[0] + t * go[0], start[1] + t * go[1]

    def conic(self):
        """Centre and half axes of the conic through five points, in lengths of the plane."""
        rows = []
        for turn in (0, 1, 2, 3.5, 5):
            x, y = self.point(mp.mpf(turn))
            u = ROOT2 * x
            rows.append([u * u, u * y, y * y, u, y])
        a, b, c, d, e = mp.lu_solve(mp.matrix(rows), mp.matrix([1] * 5))
        centre = mp.lu_solve(mp.matrix([[2 * a, b], [b, 2 * c]]), mp.matrix([-d, -e]))
        level = 1 - (d * centre[0] + e * centre[1]) / 2
        values = mp.eigsy(mp.matrix([[a, b / 2], [b / 2, c]]), eigvals_only=True)
        halves = sorted(mp.sqrt(level / v) for v in values)
        if abs(centre[1]) > TIGHT * self.aperture or abs(b) > TIGHT:
            raise ArithmeticError("the section is lopsided")
        return centre[0], halves[1], halves[0]

    def flat_at(self, offset):
        """Smallest minor axis about the centre (-offset, -offset): seen along the tube a circle."""

        def away(turn):
            x, y = self.point(turn)
            return mp.hypot(x + offset, y)

        best = max(range(720), key=lambda n: away(mp.pi * n / 360))
        low, high = mp.pi * (best - 1) / 360, mp.pi * (best + 1) / 360
        golden = (mp.sqrt(5) - 1) / 2
        for _ in range(110):
            one, two = high - golden * (high - low), low + golden * (high - low)
            if away(one) < away(two):
                low = one
            else:
                high = two
        return 2 * away((low + high) / 2)

    def fitted(self):
        """The offset that needs the smallest flat, by halving: then both ends are as far."""
        sky, primary = self.point(mp.mpf(0))[0], self.point(mp.pi)[0]
        low, high = -self.aperture, self.aperture
        for _ in range(160):
            middle = (low + high) / 2
            # Too small an offset leaves the primary's end further out.
            if -primary - middle > sky + middle:
                low = middle
            else:
                high = middle
        return low, self.flat_at(low)


def row(name, aperture, focal, to_focus, lit, stated, symbols):
    cone = Cone(aperture, focal, to_focus, lit)
    k = (cone.aperture - cone.lit) / (2 * (cone.focal - cone.sagitta))
    r = cone.lit / 2 + k * cone.to_focus
    centre, long, short = cone.conic()
    for found, wanted in zip((centre, long, short), symbols(r, k), strict=True):
        wanted = wanted * (ROOT2 if found is centre else 1)
        if abs(found - wanted) > TIGHT * cone.aperture:
            raise ArithmeticError(f"lines and symbols differ: {found} {wanted}")
    offset, minor = cone.fitted()
    # The farthest line is found to the square root of the working precision only in its azimuth.
    if abs(offset + centre / ROOT2) > TIGHT * 1000 or abs(minor - ROOT2 * long) > TIGHT * 1000:
        raise ArithmeticError("the best flat is not about the section's centre")
    ratio = cone.focal / cone.aperture
    axis_flat = Cone(aperture, focal, to_focus, 0).fitted()[1]
    usual_minor, usual_offset = cone.to_focus / ratio, minor / (4 * ratio)
    return {
        "kind": "section",
        "name": name,
        "clear_aperture_mm": cone.aperture,
        "focal_length_mm": cone.focal,
        "axis_to_focus_mm": cone.to_focus,
        "fully_lit_diameter_mm": cone.lit,
        "rim_sagitta_mm": cone.sagitta,
        "slope": k,
        "crossing_diameter_mm": 2 * r,
        "half_long_axis_mm": long,
        "half_short_axis_mm": short,
        "axis_ratio": long / short,
        "centre_offset_mm": -centre / ROOT2,
        "centre_in_face_mm": -centre,
        "sky_end_mm": cone.point(mp.mpf(0))[0],
        "primary_end_mm": cone.point(mp.pi)[0],
        "fitted_minor_axis_mm": minor,
        "fitted_offset_mm": offset,
        "unoffset_minor_axis_mm": cone.flat_at(mp.mpf(0)),
        "stated_offset_mm": mp.mpf(stated),
        "stated_minor_axis_mm": cone.flat_at(mp.mpf(stated)),
        "axis_cone_minor_axis_mm": axis_flat,
        "usual_minor_axis_mm": usual_minor,
        "usual_minor_axis_error_percent": 100 * (usual_minor / axis_flat - 1),
        "usual_offset_mm": usual_offset,
        "usual_offset_error_percent": 100 * (usual_offset / offset - 1),
    }


INCH = mp.mpf("25.4")
GEOMETRIES = (
    # Dakin 1962, in Texereau 1984 appendix G: 1.43423950 and 0.05664622 inches.
    ("published", 8 * INCH, 48 * INCH, mp.mpf("6.3") * INCH, mp.mpf("0.43") * INCH, 0.5),
    ("small and slow", 114, 900, 120, 5, -1.5),
    ("f/4, axis alone", 200, 800, 150, 0, 1.0),
    ("f/3, wide field", 500, 1500, 340, 30, 3.0),
    ("f/4.9", 318, 1558, 235, 20, 6.0),
    ("ponds, visual", 406, 2030, 303, 15, 2.0),
    ("ponds, camera", 406, 2030, 340, 25, -2.0),
    ("a lit circle as wide as half the mirror", 160, 960, 140, 80, 0.4),
    ("f/10", 150, 1500, 110, 10, 0.1),
    ("f/2", 300, 600, 200, 0, 9.0),
)


def main():
    symbols = symbols_solution()
    rows = [row(*line, symbols) for line in GEOMETRIES]
    published = rows[0]
    if abs(published["fitted_minor_axis_mm"] / INCH - mp.mpf("1.43423950")) > 1e-7:
        raise ArithmeticError("Dakin's minor axis")
    if abs(published["fitted_offset_mm"] / INCH - mp.mpf("0.05664622")) > 1e-8:
        raise ArithmeticError("Dakin's offset")
    units = {
        "*_mm": "millimetres; offsets toward the primary and equally away from the focuser; "
        "ends: x, toward the focuser",
        "slope": "radius that the cone gains for each millimetre away from the focal plane",
        "half_long_axis_mm, centre_in_face_mm": "measured in the face",
        "usual_*": "rules of thumb L/F and a/(4F), for comparison only",
    }
    write("cone_section", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
