"""Exact single rays through figured mirrors -> rays.json.

What: where given lines, reflected by a conic mirror with a round figure on it, cross the plane
z = f + shift; also where they meet the mirror.

Method: Newton's rule along the line for the gap to the surface z = conic + figure, in 40 digits,
reflection at the exact normal, straight line to the plane. The figure is a sum of closed forms
(turned edge, zone, straight pieces over the area) or a cubic spline with a slope of 0 in the centre
and no bend at the rim, whose linear equations are solved in 40 digits.

Formulas: law of reflection; cubic splines: C. de Boor, A Practical Guide to Splines, 1978, ch. IV.
"""

import random

import mpmath as mp
from exact import NM_PER_MM, UM_PER_MM, minus, mirrored, plus, scaled, unit, write

mp.mp.dps = 40

RADII_MM = [0, 25, 50, 75, 100, 125, 150, 159]
HEIGHTS_NM = [12, -30, 45, 8, -21, 60, -15, -140]
RIM_MM = mp.mpf(159)
FIGURES = ("none", "edge_and_zone", "straight_in_area", "spline")
RAYS = 9


def spline_slopes(x, y):
    """Slopes at the knots: 0 at the first, no bend at the last."""
    count = len(x)
    matrix, right = mp.matrix(count, count), mp.matrix(count, 1)
    matrix[0, 0] = 1
    for k in range(1, count - 1):
        before, after = x[k] - x[k - 1], x[k + 1] - x[k]
        matrix[k, k - 1], matrix[k, k], matrix[k, k + 1] = after, 2 * (before + after), before
        right[k] = 3 * (after * (y[k] - y[k - 1]) / before + before * (y[k + 1] - y[k]) / after)
    matrix[count - 1, count - 2], matrix[count - 1, count - 1] = 1, 2
    right[count - 1] = 3 * (y[-1] - y[-2]) / (x[-1] - x[-2])
    return list(mp.lu_solve(matrix, right))


KNOTS = [mp.mpf(r) for r in RADII_MM]
VALUES = [mp.mpf(h) / NM_PER_MM for h in HEIGHTS_NM]
SLOPES = spline_slopes(KNOTS, VALUES)


def figure(name, r):
    """Height and slope of the figure, mm."""
    if name == "none":
        return mp.mpf(0), mp.mpf(0)
    if name == "edge_and_zone":
        depth = max((r - 150) / 9, mp.mpf(0))
        drop, hill = mp.mpf(330) / NM_PER_MM, mp.mpf(28) / NM_PER_MM
        bell = hill * mp.exp(-(((r - 95) / 13) ** 2))
        return bell - drop * depth**2, -2 * (r - 95) / 169 * bell - 2 * drop * depth / 9
    k = max(i for i in range(len(KNOTS) - 1) if KNOTS[i] <= r)
    low, high = KNOTS[k], KNOTS[k + 1]
    if name == "straight_in_area":
        rate = (VALUES[k + 1] - VALUES[k]) / (high**2 - low**2)
        return VALUES[k] + rate * (r * r - low**2), 2 * r * rate
    width, t = high - low, (r - low) / (high - low)
    a, b, p, q = VALUES[k], VALUES[k + 1], width * SLOPES[k], width * SLOPES[k + 1]
    second, third = 3 * (b - a) - 2 * p - q, 2 * (a - b) + p + q
    value = a + t * (p + t * (second + t * third))
    return value, (p + t * (2 * second + 3 * t * third)) / width


def surface(name, focal, conic, x, y):
    """Height and both slopes of the glass."""
    c, k = 1 / (2 * focal), 1 + conic
    r = mp.sqrt(x * x + y * y)
    root = mp.sqrt(1 - k * (c * r) ** 2)
    h, s = figure(name, r)
    per_radius = c / root + (s / r if r else 0)
    return c * r * r / (1 + root) + h, (x * per_radius, y * per_radius)


def trace(name, focal, conic, start, direction, height):
    """Hit point and landing place of a line."""
    t = -start[2] / direction[2]
    for _ in range(60):
        x, y, z = plus(start, scaled(t, direction))
        sag, (sx, sy) = surface(name, focal, conic, x, y)
        step = (z - sag) / (direction[2] - sx * direction[0] - sy * direction[1])
        t -= step
        if abs(step) < mp.mpf("1e-36"):
            break
    else:
        raise ArithmeticError("Newton's rule did not settle")
    hit = plus(start, scaled(t, direction))
    _, (sx, sy) = surface(name, focal, conic, hit[0], hit[1])
    out = mirrored(direction, unit((-sx, -sy, mp.mpf(1))))
    reach = (height - hit[2]) / out[2]
    return hit, plus(hit, scaled(reach, out))


def main():
    """Write the table."""
    draw = random.Random(20)
    rows = []
    for name in FIGURES:
        for conic in ("-1", "-0.6"):
            for number in range(RAYS):
                focal = mp.mpf(1558)
                radius, angle = 159 * draw.random() ** 0.5, 6.283 * draw.random()
                tilt = (0.001, 0.01, 0.06)[number % 3]
                slopes = [mp.mpf(draw.uniform(-tilt, tilt)) for _ in range(2)]
                # Doubles, as the library gets them; their length is 1 to rounding.
                direction = [float(c) for c in unit((*slopes, mp.mpf(-1)))]
                direction = tuple(mp.mpf(c) for c in direction)
                place = (mp.mpf(radius) * mp.cos(angle), mp.mpf(radius) * mp.sin(angle), mp.mpf(5))
                start = minus(place, scaled(mp.mpf(draw.uniform(500, 3000)), direction))
                start = tuple(mp.mpf(float(c)) for c in start)
                shift = mp.mpf((0, 0, "-1.25")[number % 3])
                hit, place = trace(name, focal, mp.mpf(conic), start, direction, focal + shift)
                rows.append(
                    {
                        "kind": "ray",
                        "figure": name,
                        "conic": mp.mpf(conic),
                        "focus_shift_mm": shift,
                        "origin_x_mm": start[0],
                        "origin_y_mm": start[1],
                        "origin_z_mm": start[2],
                        "direction_x": direction[0],
                        "direction_y": direction[1],
                        "direction_z": direction[2],
                        "hit_x_mm": hit[0],
                        "hit_y_mm": hit[1],
                        "along_um": place[0] * UM_PER_MM,
                        "across_um": place[1] * UM_PER_MM,
                    }
                )
    write("rays", " ".join(__doc__.split()), "mm, um; directions are unit vectors", rows)


if __name__ == "__main__":
    main()
