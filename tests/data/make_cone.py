"""The light cone on the plane of the diagonal -> cone.json.

The light to a lit circle of diameter i lies inside the straight lines from the rim (diameter D,
height s = D^2/(16 f)) to that circle in the focal plane, rim point and circle point at the same
azimuth. Each line is cut by the plane z = f - L + x (mpmath, 34 digits); nothing of the closed form
of the ellipse is used:

- "half_short_axis_mm": the largest |y| over all azimuths; "half_long_axis_mm": half the distance in
  the face between the two points with y = 0; "centre_offset_mm": minus their mean x;
- "unoffset_minor_axis_mm" and "minor_axis_at_offset_mm": twice the largest distance, seen along the
  tube, from the axis and from (-offset, 0), found by golden sections over the azimuth from the best
  of 720;
- "across_clearance_mm": at the azimuth of the largest |y|, how far the flat's circle lies outside.

The largest |y| is found from its derivative (mpmath's findroot).

The line of the rows "published" is the worked example of Dakin 1962 (in Texereau, How to Make a
Telescope, 2nd ed. 1984, appendix G): 8, 48, 6.3 and 0.43 inches.
"""

import mpmath as mp
from exact import write

MM_PER_INCH = mp.mpf("25.4")
CASES = (
    ("published", *(mp.mpf(inches) * MM_PER_INCH for inches in ("8", "48", "6.3", "0.43"))),
    ("f5", 406, 2030, 303, 0),
    ("f5, lit", 406, 2030, 303, 20),
    ("f4", 250, 1000, 190, 12),
    ("f4.9", 318, 1558, 235, 15),
    ("f8", 150, 1200, 160, 10),
    ("f3", 500, 1500, 380, 25),
)


def point(case, turn):
    """Where the line of this azimuth meets the plane of the flat: (x, y)."""
    _, aperture, focal, to_focus, lit = case
    c, s = mp.cos(turn), mp.sin(turn)
    sagitta = mp.mpf(aperture) ** 2 / (16 * focal)
    start = (aperture * c / 2, aperture * s / 2, sagitta)
    end = (lit * c / 2, lit * s / 2, mp.mpf(focal))
    go = [b - a for a, b in zip(start, end, strict=True)]
    t = (focal - to_focus + start[0] - start[2]) / (go[2] - go[0])
    return start[0] + t * go[0], start[1] + t * go[1]


def greatest(function):
    """The greatest value over all azimuths."""
    looks = [2 * mp.pi * k / 720 for k in range(720)]
    best = max(looks, key=function)
    low, high = best - mp.pi / 360, best + mp.pi / 360
    ratio = (mp.sqrt(5) - 1) / 2
    for _ in range(160):
        a, b = high - ratio * (high - low), low + ratio * (high - low)
        if function(a) > function(b):
            high = b
        else:
            low = a
    return function((low + high) / 2)


def row(case):
    name, aperture, focal, to_focus, lit = case
    sky, primary = point(case, mp.mpf(0))[0], point(case, mp.pi)[0]
    widest = mp.findroot(lambda turn: mp.diff(lambda u: point(case, u)[1], turn), mp.pi / 2)
    x, y = point(case, widest)
    offset = -(sky + primary) / 2
    stated = offset / 3 + 1
    reach = greatest(lambda turn: mp.hypot(point(case, turn)[0] + stated, point(case, turn)[1]))
    bare = greatest(lambda turn: mp.hypot(*point(case, turn)))
    flat = 2 * reach + 4
    return {
        "kind": "ellipse",
        "name": name,
        "clear_aperture_mm": mp.mpf(aperture),
        "focal_length_mm": mp.mpf(focal),
        "axis_to_focus_mm": mp.mpf(to_focus),
        "fully_lit_diameter_mm": mp.mpf(lit),
        "half_long_axis_mm": (sky - primary) / mp.sqrt(2),
        "half_short_axis_mm": y,
        "centre_offset_mm": offset,
        "sky_end_mm": sky,
        "primary_end_mm": primary,
        "unoffset_minor_axis_mm": 2 * bare,
        "offset_mm": stated,
        "minor_axis_at_offset_mm": 2 * reach,
        "flat_mm": flat,
        "across_clearance_mm": mp.sqrt((flat / 2) ** 2 - (x + stated) ** 2) - y,
        "axis_minor_axis_over_simple": axis_minor(case) / (mp.mpf(to_focus) * aperture / focal),
    }


def axis_minor(case):
    """Minor axis for the axis alone, by the same cut."""
    alone = (*case[:4], mp.mpf(0))
    return point(alone, mp.mpf(0))[0] - point(alone, mp.pi)[0]


def main():
    units = {
        "*_mm": "millimetres; x from the tube's axis toward the focuser; "
        "offsets toward the primary",
        "axis_minor_axis_over_simple": "exact minor axis for the axis alone over L/F",
    }
    write("cone", " ".join(__doc__.split()), units, [row(case) for case in CASES])


if __name__ == "__main__":
    main()
