"""Vignetting by overlapping circles, and its error against the folded space -> circles.json.

The usual model: the light to an image point y in the focal plane fills, a distance u before it, a
circle of diameter D u/f about y (1 - u/f), and each part is a circle square to the axis there:
the diagonal one of its minor axis about the axis at u = L (its offset is taken to make up for its
tilt), the drawtube's ends their bores. Carried back to the mirror these are circles about -y (f -
u)/u of radius R f/u; the diagonal's shadow is a circle of its minor axis about y (f - L)/f. What
is left of the mirror's circle, over its area, is the model's share of light ("circles_*"). It
leaves out the flat's tilt (first order in 1/F, along only, what the offset leaves of it), coma
and the sagitta (second order), and the foreshortening |d.N| (field angle over 2F).

"folded_*" are the shares in the real folded space (folded.py, row_panels.py), for three focal
ratios of one family: aperture 200 mm, all lengths along the light in proportion to the focal
length, all widths the same, so that the model gives the same shares to each. "error_*" is circles
less folded: the known error of the model. Order of the lists: diagonal's shadow, diagonal,
drawtube's inner and outer end, lit.
"""

import numpy as np
from exact import write
from folded import ARCMIN, Scene, fitted_offset, smallest_flat, star_of
from row_panels import Rows

APERTURE = 200.0
POINTS = ((0.0, 0.0), (9.0, 0.0), (-9.0, 0.0), (0.0, 9.0), (15.0, 0.0), (-15.0, 0.0), (0.0, 15.0))
RATIOS = (5.0, 20.0, 200.0)


def train(ratio):
    focal = APERTURE * ratio
    to_focus = 0.17 * focal
    minor = round(smallest_flat(APERTURE, 1e9, 0.17e9, 8.0)[0], 1)
    return {
        "clear_aperture_mm": APERTURE,
        "focal_length_mm": focal,
        "conic": -1.0,
        "axis_to_focus_mm": to_focus,
        "minor_axis_mm": minor,
        "offset_mm": fitted_offset(APERTURE, focal, to_focus, minor),
        "offset_is_default": True,
        "drawtube_bore_mm": 34.0,
        "drawtube_length_mm": 0.06 * focal,
        "drawtube_outer_end_to_focus_mm": 0.016 * focal,
    }


class Circles:
    """The model as a scene for the rows: circles over a flat mirror of even brightness."""

    def __init__(self, s, along, across):
        self.rim = s["clear_aperture_mm"] / 2
        self.parts = ("diagonal_shadow", "diagonal", "drawtube_inner_end", "drawtube_outer_end")
        focal, minor = s["focal_length_mm"], s["minor_axis_mm"]
        outer = s["drawtube_outer_end_to_focus_mm"]
        self.found = []

        def circle(kind, centre, radius):
            def value(x, y):
                return (x - centre[0]) ** 2 + (y - centre[1]) ** 2 - radius**2

            self.found.append([(kind, value)])

        shift = 1 - s["axis_to_focus_mm"] / focal
        circle("body", (along * shift, across * shift), minor / 2)
        for before, width in (
            (s["axis_to_focus_mm"], minor),
            (outer + s["drawtube_length_mm"], s["drawtube_bore_mm"]),
            (outer, s["drawtube_bore_mm"]),
        ):
            back = -(focal - before) / before
            circle("opening", (along * back, across * back), width / 2 * focal / before)

    def conditions(self):
        return self.found

    def weight(self, x, y):
        return np.ones_like(x + y)


def shares(scene):
    left, _, change = Rows(scene, True).shares()
    if change > 1e-11:
        raise ArithmeticError(f"rows change by {change}")
    left = np.concatenate([[1.0], left])
    return np.append(left[:-1] - left[1:], left[-1])


def main():
    rows = []
    for along, across in POINTS:
        model = None
        for ratio in RATIOS:
            s = train(ratio)
            minutes = [float(np.arctan(t) / ARCMIN) for t in star_of(s, along, across)]
            scene = Scene(s, *(np.tan(m * ARCMIN) for m in minutes))
            here = shares(Circles(s, along, across))
            if model is not None and np.abs(here - model).max() > 1e-11:
                raise ArithmeticError("the model depends on the focal ratio")
            model = here
            folded = shares(scene)
            rows.append(
                {
                    "kind": "circles",
                    "focal_ratio": ratio,
                    "image_along_mm": along,
                    "image_across_mm": across,
                    "field_a_arcmin": minutes[0],
                    "field_b_arcmin": minutes[1],
                    **s,
                    "folded": [float(v) for v in folded],
                    "circles": [float(v) for v in model],
                    "error": [float(f"{v:.6g}") for v in model - folded],
                }
            )
            print(ratio, along, across, model, model - folded, flush=True)
    units = {
        "*_mm": "millimetres",
        "*_arcmin": "where the star stands",
        "folded, circles, error": (
            "shares of the clear aperture: diagonal's shadow, diagonal, drawtube's ends, lit"
        ),
    }
    write("circles", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
