"""Size and offset of the diagonal, and the share of light that arrives -> diagonal.json.

kind "size": the light to a lit circle of diameter i lies inside the cone from the rim (diameter D,
height s = D^2/(16 f)) to that circle in the focal plane: radius rho(u) = i/2 + k u at distance u
from the focal plane, k = (D - i)/(2 (f - s)). The diagonal's plane is at 45 degrees through the
axis, L from the focal plane. With r = rho(L): offset toward the primary and equally away from the
focuser r k/(1 - k^2); a flat of axis ratio sqrt 2 needs the minor axis 2 r/(1 - k^2). The script
verifies both against straight lines of the cone cut by the plane (mpmath, 34 digits): the ends of
the section, its middle, and that no line misses the flat. The row "published" is the worked
example of Dakin 1962 (in Texereau, How to Make a Telescope, 2nd ed. 1984, appendix G, and Suiter,
Star Testing Astronomical Telescopes, appendix C), in millimetres (25.4 mm/in).
"simple_minor_axis_mm" is L/F, for comparison only.

kind "light": the share of a star's light in the clear aperture that reaches the focal plane, for
a paraboloid. A star at field angle (a, b); hit points (X, Y) on the mirror, weight
1 - (X tan a + Y tan b)/(2 f) (the beam's cross-section, relative); divided by the clear
aperture's area. Each hit point is followed exactly (reflection at the exact normal, straight
lines): inside the front opening's circle on the way in; not stopped by the diagonal seen from
behind (45 degree plane, ellipse); after reflection inside the diagonal; inside the drawtube's bore
at both of its ends (circles about the unfolded axis). Method: on each row Y the ends of every lit
interval in X are found by sampling the smallest margin at 6000 points and regula falsi to 1e-10 mm;
the row's integral is then closed form; the rows are summed by adaptive Gauss-Kronrod quadrature
(scipy) between all rows where the number of intervals or the limiting part changes. The whole is
done twice, by rows and by columns, and the mean is kept; the difference stands in the row. On the
axis the shadow's 1 - (minor axis/D)^2 is met to 1e-11.
Shares are taken in the order in which light meets the parts. Before that, 20 000 random hit points
of every row are followed a second way, folded at the flat, with 3-D vectors, planes and the
ellipse's two axes: every one must be judged alike.
"""

from itertools import pairwise

import mpmath as mp
import numpy as np
from exact import arcmin, write
from scipy.integrate import quad

PARTS = ("front_opening", "diagonal_shadow", "diagonal", "drawtube")
SAMPLES = 6000
MOST_BREAKS = 60
ROOT_MM = 1e-10
MM_PER_INCH = mp.mpf("25.4")


def size(aperture, focal, axis_to_focus, lit):
    """Minor axis and offset by the closed forms, checked against lines of the cone."""
    aperture, focal, axis_to_focus, lit = map(mp.mpf, (aperture, focal, axis_to_focus, lit))
    sagitta = aperture**2 / (16 * focal)
    k = (aperture - lit) / (2 * (focal - sagitta))
    r = lit / 2 + k * axis_to_focus
    minor, offset = 2 * r / (1 - k**2), r * k / (1 - k**2)

    def section(turn):
        """Where the straight line of azimuth `turn` meets the plane z = f - L + x: (x, y)."""
        c, s = mp.cos(turn), mp.sin(turn)
        start = (aperture / 2 * c, aperture / 2 * s, sagitta)
        end = (lit / 2 * c, lit / 2 * s, focal)
        go = [b - a for a, b in zip(start, end, strict=True)]
        t = (focal - axis_to_focus + start[0] - start[2]) / (go[2] - go[0])
        return start[0] + t * go[0], start[1] + t * go[1]

    sky_end, primary_end = section(mp.mpf(0))[0], section(mp.pi)[0]
    tight = mp.mpf("1e-28") * aperture
    if abs((sky_end + primary_end) / 2 + offset) > tight:
        raise ArithmeticError("offset")
    if abs(sky_end - primary_end - minor) > tight:
        raise ArithmeticError("minor axis")
    for n in range(181):
        x, y = section(mp.pi * n / 180)
        if mp.hypot(x + offset, y) > minor / 2 + tight:
            raise ArithmeticError("a line of the cone misses the flat")
    return sagitta, k, minor, offset


def size_row(name, aperture, focal, axis_to_focus, lit):
    sagitta, k, minor, offset = size(aperture, focal, axis_to_focus, lit)
    return {
        "kind": "size",
        "name": name,
        "clear_aperture_mm": mp.mpf(aperture),
        "focal_length_mm": mp.mpf(focal),
        "axis_to_focus_mm": mp.mpf(axis_to_focus),
        "fully_lit_diameter_mm": mp.mpf(lit),
        "rim_sagitta_mm": sagitta,
        "cone_slope": k,
        "minor_axis_mm": minor,
        "offset_mm": offset,
        "offset_in_the_face_mm": offset * mp.sqrt(2),
        "simple_minor_axis_mm": mp.mpf(axis_to_focus) * aperture / focal,
    }


def fitted_lit_circle(aperture, focal, axis_to_focus, minor):
    """Lit circle that a diagonal of this minor axis serves (negative: smaller than the cone)."""
    lit = mp.findroot(lambda i: size(aperture, focal, axis_to_focus, i)[2] - minor, (0, 20))
    return lit, size(aperture, focal, axis_to_focus, lit)[3]


class Train:
    """A paraboloid, a 45 degree flat, a front opening and a drawtube; margins in mm."""

    def __init__(self, sizes, tan_a, tan_b):
        self.s = sizes
        self.f = sizes["focal_length_mm"]
        self.rim = sizes["clear_aperture_mm"] / 2
        self.tan = (tan_a, tan_b)
        norm = np.sqrt(tan_a**2 + tan_b**2 + 1)
        self.light = (-tan_a / norm, -tan_b / norm, -1 / norm)

    def margins(self, x, y):
        """Smallest margin of each part (positive: light passes), in the order of PARTS."""
        s, f = self.s, self.f
        z = (x * x + y * y) / (4 * f)
        ta, tb = self.tan
        front = np.inf * np.ones_like(x)
        if s["front_opening_diameter_mm"] is not None:
            rise = s["front_opening_above_vertex_mm"] - z
            front = s["front_opening_diameter_mm"] / 2 - np.hypot(x + rise * ta, y + rise * tb)
        plane, radius, offset = f - s["axis_to_focus_mm"], s["minor_axis_mm"] / 2, s["offset_mm"]
        # Seen along its axis the tilted ellipse is a circle of the minor axis, centre (-offset, 0).
        t = (plane + x - z) / (1 - ta)
        shadow = np.hypot(x + t * ta + offset, y + t * tb) - radius
        nx, ny = -x / (2 * f), -y / (2 * f)
        dx, dy, dz = self.light
        factor = 2 * (dx * nx + dy * ny + dz) / (nx * nx + ny * ny + 1)
        ox, oy, oz = dx - factor * nx, dy - factor * ny, dz - factor
        ux, uy = ox / oz, oy / oz
        t = (plane + x - z) / (1 - ux)
        flat = radius - np.hypot(x + t * ux + offset, y + t * uy)
        tube = np.inf * np.ones_like(x)
        if s["drawtube_bore_mm"] is not None:
            outer = f - s["drawtube_outer_end_to_focus_mm"]
            for height in (outer - s["drawtube_length_mm"], outer):
                reach = np.hypot(x + (height - z) * ux, y + (height - z) * uy)
                tube = np.minimum(tube, s["drawtube_bore_mm"] / 2 - reach)
        return front, shadow, flat, tube

    def open_margin(self, x, y, parts):
        """Smallest margin over the first `parts` parts."""
        return np.minimum.reduce(self.margins(x, y)[:parts])

    def line(self, fixed, free, by_rows):
        return (free, np.full_like(free, fixed)) if by_rows else (np.full_like(free, fixed), free)

    def intervals(self, fixed, parts, by_rows):
        """Ends of the lit intervals on one row (or column), refined by bisection."""
        half = np.sqrt(max(self.rim**2 - fixed**2, 0.0))
        if half == 0:
            return []
        # Samples crowd at both ends, where a rim cut begins as a thin sliver.
        free = -half * np.cos(np.linspace(0, np.pi, SAMPLES))
        lit = self.open_margin(*self.line(fixed, free, by_rows), parts) > 0
        change = np.nonzero(lit[1:] != lit[:-1])[0]
        ends = list(self.crossings(fixed, free[change], free[change + 1], parts, by_rows))
        if lit[0]:
            ends.insert(0, -half)
        if lit[-1]:
            ends.append(half)
        return list(zip(ends[::2], ends[1::2], strict=True))

    def crossings(self, fixed, low, high, parts, by_rows):
        """Zeros of the margin in brackets: regula falsi (Illinois), bisection where that fails."""

        def margin(free):
            return self.open_margin(*self.line(fixed, free, by_rows), parts)

        a, b = low.copy(), high.copy()
        at_a, at_b = margin(a), margin(b)
        for _ in range(12):
            c = (a * at_b - b * at_a) / (at_b - at_a)
            at_c = margin(c)
            if np.all(np.abs(at_c) < ROOT_MM):
                return c
            crossed = (at_c > 0) != (at_b > 0)
            a, at_a = np.where(crossed, b, a), np.where(crossed, at_b, at_a / 2)
            b, at_b = c, at_c
        start = margin(low) > 0
        for _ in range(48):
            middle = (low + high) / 2
            same = (margin(middle) > 0) == start
            low, high = np.where(same, middle, low), np.where(same, high, middle)
        return (low + high) / 2

    def row(self, fixed, parts, by_rows):
        """Integral of 1 - (X tan a + Y tan b)/(2f) over the lit part of one row."""
        along, across = self.tan if by_rows else self.tan[::-1]
        total = 0.0
        for low, high in self.intervals(fixed, parts, by_rows):
            total += (high - low) * (1 - fixed * across / (2 * self.f))
            total -= along * (high * high - low * low) / (4 * self.f)
        return total

    def breaks(self, parts, by_rows):
        """Rows where the number of lit intervals or the part that limits an end changes."""

        def shape(fixed):
            found = []
            for ends in self.intervals(fixed, parts, by_rows):
                for end in ends:
                    margins = self.margins(*self.line(fixed, np.array([end]), by_rows))[:parts]
                    half = np.sqrt(self.rim**2 - fixed**2)
                    nearest = int(np.argmin(np.abs(np.concatenate(margins))))
                    found.append(-1 if abs(end) >= half * (1 - 1e-15) else nearest)
            return tuple(found)

        rows = self.rim * np.sin(np.linspace(-np.pi / 2, np.pi / 2, 162)[1:-1])
        shapes = [shape(r) for r in rows]
        marks = []
        for low, after, wanted in zip(rows, rows[1:], shapes[1:], strict=False):
            here = shape(low)
            # Several changes may lie between two rows: take them one by one.
            while here != wanted and len(marks) < MOST_BREAKS:
                high = after
                for _ in range(44):
                    middle = (low + high) / 2
                    if shape(middle) == here:
                        low = middle
                    else:
                        high = middle
                marks.append((low + high) / 2)
                low, here = high, shape(high)
        return marks

    def share(self, parts, by_rows):
        """Share of the clear aperture's light that passes the first `parts` parts."""
        marks = [-self.rim, *self.breaks(parts, by_rows), self.rim]
        total = 0.0
        for low, high in pairwise(marks):
            middle, half = (low + high) / 2, (high - low) / 2
            # The sine takes the square roots out of both ends.
            total += quad(
                lambda t, m=middle, h=half: (
                    self.row(m + h * np.sin(t), parts, by_rows) * h * np.cos(t)
                ),
                -np.pi / 2,
                np.pi / 2,
                epsabs=1e-6,
                epsrel=1e-12,
                limit=60,
            )[0]
        return total / (np.pi * self.rim**2)


def check_by_vectors(sizes, along_mm, across_mm, count=20_000, seed=1):
    """Random hit points followed with 3-D vectors and an ellipse given by its two axes.

    A second way of writing the geometry: normals, planes and dot products throughout, none of
    the short cuts of `Train.margins`. Every ray must be judged alike.
    """
    f, s = sizes["focal_length_mm"], sizes
    train = Train(sizes, -along_mm / f, -across_mm / f)
    draw = np.random.default_rng(seed)
    radius = train.rim * np.sqrt(draw.random(count))
    turn = 2 * np.pi * draw.random(count)
    x, y = radius * np.cos(turn), radius * np.sin(turn)
    hit = np.stack([x, y, (x * x + y * y) / (4 * f)], axis=1)
    normal = np.stack([-x / (2 * f), -y / (2 * f), np.ones(count)], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    travel = np.array([along_mm, across_mm, -f], dtype=float)
    travel /= np.linalg.norm(travel)
    after = travel - 2 * (normal @ travel)[:, None] * normal

    def meet(direction, point, facing):
        t = ((point - hit) @ facing) / (direction @ facing)
        return hit + t[:, None] * direction

    facing = np.array([-1.0, 0, 1]) / np.sqrt(2)
    major = np.array([1.0, 0, 1]) / np.sqrt(2)
    minor = np.array([0.0, 1, 0])
    crossing = f - s["axis_to_focus_mm"]
    centre = np.array([-s["offset_mm"], 0, crossing - s["offset_mm"]])
    half = s["minor_axis_mm"] / 2

    def on_flat(points):
        across = (points - centre) @ minor / half
        along = (points - centre) @ major / (half * np.sqrt(2))
        return across**2 + along**2 < 1

    coming = np.broadcast_to(travel, hit.shape)
    lit = ~on_flat(meet(coming, centre, facing)) & on_flat(meet(after, centre, facing))
    sky = np.array([0, 0, 1.0])
    if s["front_opening_diameter_mm"] is not None:
        ring = meet(coming, np.array([0, 0, s["front_opening_above_vertex_mm"]]), sky)
        lit &= np.linalg.norm(ring[:, :2], axis=1) < s["front_opening_diameter_mm"] / 2
    if s["drawtube_bore_mm"] is not None:
        # Folded: reflect the rays at the flat; the tube's axis is then x at the height `crossing`.
        start = meet(after, centre, facing)
        folded = after - 2 * (after @ facing)[:, None] * facing
        outer = s["axis_to_focus_mm"] - s["drawtube_outer_end_to_focus_mm"]
        for distance in (outer - s["drawtube_length_mm"], outer):
            end = start + ((distance - start[:, 0]) / folded[:, 0])[:, None] * folded
            lit &= np.hypot(end[:, 1], end[:, 2] - crossing) < s["drawtube_bore_mm"] / 2
    same = lit == (train.open_margin(x, y, len(PARTS)) > 0)
    if not same.all():
        raise ArithmeticError(f"{(~same).sum()} rays judged differently")


def light_row(name, sizes, along_mm, across_mm):
    """Shares for the star whose image falls at (along, across)."""
    focal = sizes["focal_length_mm"]
    train = Train(sizes, -along_mm / focal, -across_mm / focal)
    present = {
        "front_opening": sizes["front_opening_diameter_mm"] is not None,
        "diagonal_shadow": True,
        "diagonal": True,
        "drawtube": sizes["drawtube_bore_mm"] is not None,
    }
    left, worst, shares = 1.0, 0.0, {}
    for count, part in enumerate(PARTS, start=1):
        if not present[part]:
            shares[f"stopped_by_{part}"] = 0.0
            continue
        rows, columns = train.share(count, True), train.share(count, False)
        worst = max(worst, abs(rows - columns))
        now = (rows + columns) / 2
        shares[f"stopped_by_{part}"] = left - now
        left = now
    minutes = [float(mp.atan(t) / arcmin(1)) for t in train.tan]
    return {
        "kind": "light",
        "name": name,
        **sizes,
        "along_mm": along_mm,
        "across_mm": across_mm,
        "field_a_arcmin": minutes[0],
        "field_b_arcmin": minutes[1],
        **shares,
        "lit_fraction": left,
        "rows_minus_columns": worst,
    }


def train_sizes(aperture, focal, axis_to_focus, minor, opening=None, tube=None, offset=None):
    """Sizes of one train; the offset is the library's default unless given."""
    lit, own = fitted_lit_circle(aperture, focal, axis_to_focus, minor)
    opening = opening or (None, None)
    tube = tube or (None, None, None)
    return {
        "clear_aperture_mm": aperture,
        "focal_length_mm": focal,
        "axis_to_focus_mm": axis_to_focus,
        "minor_axis_mm": minor,
        "offset_mm": float(own) if offset is None else offset,
        "offset_is_default": offset is None,
        "served_lit_diameter_mm": float(lit),
        "front_opening_diameter_mm": opening[0],
        "front_opening_above_vertex_mm": opening[1],
        "drawtube_bore_mm": tube[0],
        "drawtube_length_mm": tube[1],
        "drawtube_outer_end_to_focus_mm": tube[2],
    }


POND_RING = (460, 2150)
POND_VISUAL = (47, 70, 18)
POND_CAMERA = (47, 70, 55)
TRAINS = {
    "twin ponds visual 79.4": (406, 2030, 303, 79.4, POND_RING, POND_VISUAL),
    "twin ponds visual 66": (406, 2030, 303, 66, POND_RING, POND_VISUAL),
    "twin ponds camera 63.5": (406, 2030, 340, 63.5, POND_RING, POND_CAMERA),
    "twin ponds camera 88.9": (406, 2030, 340, 88.9, POND_RING, POND_CAMERA),
    "318 mm with everything": (318, 1558, 235, 70, (360, 1650), (47, 50, 18)),
    "250 mm flat only": (250, 1250, 200, 50, None, None),
    "250 mm flat without offset": (250, 1250, 200, 50, None, None, 0.0),
    "200 mm f/4 narrow opening": (200, 800, 150, 50, (204, 900), (30, 40, 15)),
}
POINTS = ((0, 0), (10, 0), (-10, 0), (0, 10), (-12, 9))

SIZES = (
    (
        "published",
        8 * MM_PER_INCH,
        48 * MM_PER_INCH,
        mp.mpf("6.3") * MM_PER_INCH,
        mp.mpf("0.43") * MM_PER_INCH,
    ),
    ("table", 114, 900, 120, 5),
    ("table", 200, 800, 150, 0),
    ("table", 200, 1200, 160, 12),
    ("table", 250, 1250, 200, 10),
    ("table", 318, 1558, 235, 0),
    ("table", 318, 1558, 235, 20),
    ("table", 406, 2030, 303, 15),
    ("table", 406, 2030, 340, 25),
    ("table", 500, 1650, 330, 12),
    ("table", 406, 2030, 303, -15),
)


def main():
    rows = [size_row(*line) for line in SIZES]
    for name, sizes in TRAINS.items():
        numbers = train_sizes(*sizes)
        for along_mm, across_mm in POINTS:
            check_by_vectors(numbers, along_mm, across_mm)
            rows.append(light_row(name, numbers, along_mm, across_mm))
            print(
                name,
                along_mm,
                across_mm,
                rows[-1]["lit_fraction"],
                rows[-1]["rows_minus_columns"],
                flush=True,
            )
    units = {
        "*_mm": "millimetres; offset toward the primary and equally away from the focuser",
        "*_arcmin": "where the star stands; its image falls at along = -f tan a, across = -f tan b",
        "stopped_by_*": "share of the clear aperture's light, parts in the order light meets them",
        "lit_fraction": "share that arrives, the diagonal's own shadow counted",
        "drawtube_outer_end_to_focus_mm": "positive: the focal plane lies outside the tube's end",
        "rows_minus_columns": "largest difference of any share computed by rows and by columns",
    }
    write("diagonal", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
