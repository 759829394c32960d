"""Knife-edge readings of an astigmatic paraboloid, mirror and mask turned -> turned.json.

Surface, a hill positive: z = r^2/(2R) + h, h = (G/2) (r/a)^2 cos 2(phi - t - g) + (S/2) (r/a)^2
cos 2(phi - s), in the stand's frame: t the angle of the mirror's mark, G and g the wavefront
amplitude and axis of the glass (g from the mark), S and s those of the stand. The knife's edge is
square to the mask's diameter, so only the plane of that diameter counts.

moving: where the surface's normal at (r, p) crosses, seen along the edge, the axis: z + r/(dz/dr)
exactly. fixed: light from (0, 0, R) is reflected about the unit normal in three dimensions; where
the coordinate along the diameter is 0. Exact; numpy with 80-bit floats. Readings are counted from
R, away from the mirror, the mean of the two openings left and right.

Check in the script: the normal's slope against a central difference of the surface.
"""

import numpy as np
from exact import write

A, R = np.longdouble(150), np.longdouble(3000)
RADII = (50, 90, 125, 145)
NM = np.longdouble(1e-6)


def turn(degrees):
    return np.deg2rad(np.longdouble(degrees))


def height(r, phi, terms):
    parts = [0.5 * amplitude * NM * np.cos(2 * (phi - axis)) for amplitude, axis in terms]
    return r**2 / (2 * R) + (r / A) ** 2 * sum(parts)


def slopes(r, phi, terms):
    """Along the radius, and around it (per mm)."""
    cosines = sum(0.5 * k * NM * np.cos(2 * (phi - axis)) for k, axis in terms)
    sines = sum(0.5 * k * NM * np.sin(2 * (phi - axis)) for k, axis in terms)
    return r / R + 2 * r / A**2 * cosines, -2 * r / A**2 * sines


def crossing(r, phi, terms, source):
    z = height(r, phi, terms)
    along, around = slopes(r, phi, terms)
    if source == "moving":
        return z + r / along - R
    normal = np.array([-along, -around, np.longdouble(1)])
    normal /= np.sqrt(normal @ normal)
    light = np.array([r, np.longdouble(0), z - R])
    light /= np.sqrt(light @ light)
    back = light - 2 * (light @ normal) * normal
    return z - r * back[2] / back[0] - R


def check_slopes(terms):
    step = np.longdouble(1e-3)
    for r, phi in ((50, 0.3), (145, 2.0)):
        along, around = slopes(np.longdouble(r), np.longdouble(phi), terms)
        rise = height(r + step, phi, terms) - height(r - step, phi, terms)
        swing = height(r, phi + step / r, terms) - height(r, phi - step / r, terms)
        if abs(rise / (2 * step) - along) > 1e-14 or abs(swing / (2 * step) - around) > 1e-14:
            raise ArithmeticError("slopes")


def row(name, source, truth, mirror, mask):
    glass, axis, stand, stand_axis = truth
    terms = [(glass, turn(mirror + axis)), (stand, turn(stand_axis))]
    check_slopes(terms)
    found = {
        "set": name,
        "source": source,
        "glass_amplitude_nm": glass,
        "glass_axis_deg": axis,
        "stand_amplitude_nm": stand,
        "stand_axis_deg": stand_axis,
        "mirror_angle_deg": mirror,
        "mask_angle_deg": mask,
    }
    for r in RADII:
        sides = [crossing(np.longdouble(r), turn(mask + side), terms, source) for side in (0, 180)]
        found[f"reading_at_{r}_mm"] = float(sum(sides) / 2)
    return found


def main():
    eighths = (0, 45, 90, 135)
    sets = {
        "glass_four": ((120.0, 25.0, 0.0, 0.0), [(t, 0) for t in eighths]),
        "glass_two": ((120.0, 0.0, 0.0, 0.0), [(t, 0) for t in (0, 90)]),
        "glass_hidden": ((120.0, 45.0, 0.0, 0.0), [(t, 0) for t in (0, 90)]),
        "stand_all": ((0.0, 0.0, 90.0, 70.0), [(t, p) for t in eighths for p in eighths]),
        "both_all": ((80.0, 110.0, 60.0, 20.0), [(t, p) for t in eighths for p in eighths]),
        "mask_only": ((70.0, 10.0, 50.0, 55.0), [(30, p) for p in eighths]),
        "tilted_mask": ((100.0, 40.0, 40.0, 5.0), [(t, 30) for t in (10, 70, 130)]),
    }
    rows = [
        row(name, source, truth, mirror, mask)
        for name, (truth, runs) in sets.items()
        for source in ("moving", "fixed")
        for mirror, mask in runs
    ]
    units = {
        "amplitude_nm": "wavefront at the rim (radius 150 mm), twice the glass",
        "reading_at_r_mm": "mm away from the mirror, from the centre of curvature (3000 mm)",
        "deg": "degrees from +x toward +y, seen from the sky",
    }
    write("turned", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
