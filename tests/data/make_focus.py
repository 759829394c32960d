"""Where things come to focus, poles between two rings, exit pupils -> focus.json.

What: how far beyond the focal plane a near object's image lies; how far an eyepiece moves for an
eye without its glasses; the change of a pole's length; where and how large the exit pupil is.

Method, kind by kind, nothing taken from a formula of the library:
- `near`: a ray from the object's point on the axis, reflected by the law of reflection 1e-9 mm from
  a paraboloid's vertex, cut with the axis (mpmath). Beside it the mirror equation 1/s + 1/d = 1/f
  (Schroeder, Astronomical Optics, chapter 2), solved by sympy for s - f; the script checks that
  the two agree to 1e-15.
- `eye`: an eyepiece as a thin lens, the eye at its back focal point, the image wanted at 1/A metres
  from the eye. The object's distance from the lens by sympy; the eyepiece's move is that distance
  less the focal length, positive outward, away from the image.
- `pole`: ends of the pole in coordinates, the upper one moved along z, the distance taken anew.
- `pupil`: two rays from a point of the mirror's rim through the eyepiece as a thin lens, mirror and
  eyepiece one focal length each from the common focus; where they cross and at what height.
"""

import mpmath as mp
import sympy as sp
from exact import mirrored, unit, write

mp.mp.dps = 34


def near(focal_mm, distance_mm):
    f, d = mp.mpf(focal_mm), mp.mpf(distance_mm)
    x = mp.mpf("1e-9")
    z = x * x / (4 * f)
    out = mirrored(unit((x, mp.mpf(0), z - d)), unit((-x / (2 * f), mp.mpf(0), mp.mpf(1))))
    traced = z - x * out[2] / out[0] - f
    s, dd, ff = sp.symbols("s d f", positive=True)
    (image,) = sp.solve(sp.Eq(1 / s + 1 / dd, 1 / ff), s)
    exact = sp.Rational(str(distance_mm)), sp.Rational(str(focal_mm))
    by_equation = (image - ff).subs({dd: exact[0], ff: exact[1]})
    by_equation = mp.mpf(by_equation.p) / by_equation.q
    if abs(traced - by_equation) > 1e-15 * by_equation:
        raise ValueError((traced, by_equation))
    return {
        "kind": "near",
        "focal_length_mm": focal_mm,
        "object_distance_mm": distance_mm,
        "shift_mm": by_equation,
    }


def eye(focal_mm, dioptres):
    u, v, fe = sp.symbols("u v f_e")
    power = sp.Rational(str(dioptres))
    lens = sp.Rational(str(focal_mm))
    # Along the light from the lens: the eye at f_e, the image 1000/A mm further.
    (distance,) = sp.solve(sp.Eq(1 / u + 1 / v, 1 / fe), u)
    distance = distance.subs({v: lens + 1000 / power, fe: lens})
    move = mp.mpf((distance - lens).p) / (distance - lens).q
    return {
        "kind": "eye",
        "eyepiece_mm": focal_mm,
        "eye_dioptres": dioptres,
        "shift_mm": move,
    }


def pole(length_mm, slant_deg, rise_mm):
    slant = mp.mpf(slant_deg) * mp.pi / 180
    span, height = mp.mpf(length_mm) * mp.sin(slant), mp.mpf(length_mm) * mp.cos(slant)
    new = mp.sqrt(span**2 + (height + mp.mpf(rise_mm)) ** 2)
    return {
        "kind": "pole",
        "length_mm": length_mm,
        "slant_deg": slant_deg,
        "rise_mm": rise_mm,
        "change_mm": new - mp.mpf(length_mm),
        "cosine": mp.cos(slant),
    }


def pupil(aperture_mm, focal_mm, eyepiece_mm):
    f, fe, rim = mp.mpf(focal_mm), mp.mpf(eyepiece_mm), mp.mpf(aperture_mm) / 2
    behind = []
    for slope in (mp.mpf("-0.1"), mp.mpf("0.05")):
        # From the rim at this slope: to the eyepiece f + f_e away, through it.
        height = rim + (f + fe) * slope
        behind.append((height, slope - height / fe))
    (h1, s1), (h2, s2) = behind
    crossing = (h2 - h1) / (s1 - s2)
    return {
        "kind": "pupil",
        "clear_aperture_mm": aperture_mm,
        "focal_length_mm": focal_mm,
        "eyepiece_mm": eyepiece_mm,
        "exit_pupil_mm": 2 * abs(h1 + s1 * crossing),
        "beyond_focal_point_mm": crossing - fe,
    }


ROWS = [
    *(near(f, d) for f in (1000, 2030) for d in (4060.5, 20000, 150000, 5e6)),
    *(eye(fe, a) for fe in (8, 24, 31) for a in (-7.5, -2, -0.25, 1.5, 4)),
    *(
        pole(length, slant, rise)
        for length, slant in ((1600, 0), (1600, 12), (1480, 23.5), (700, 60))
        for rise in (-120, -22, -0.5, 3, 75)
    ),
    *(pupil(406, 2030, fe) for fe in (5, 13, 31)),
    *(pupil(200, 1600, fe) for fe in (6.5, 40)),
]

if __name__ == "__main__":
    write(
        "focus",
        __doc__,
        "lengths in mm; angles in degrees; dioptres of the eye, negative for a short-sighted one; "
        "shifts positive away from the tube's axis; rise positive away from the mirror",
        ROWS,
    )
