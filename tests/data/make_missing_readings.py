"""Knife-edge readings with holes, reduced by generalised least squares -> missing_readings.json.

The readings of an invented mirror, 200 mm wide, radius of curvature 2400 mm, moving source, zone
by zone in four runs, each with a zero of its own; some were not taken (null). The noise of a
reading is stated, zone by zone.

kind "means": y[run, zone] = zero[run] + mean[zone] + noise, solved over all readings at once by
numpy.linalg.lstsq on rows weighted by 1/sigma, zeros of the runs and means of the zones side by
side. Every mean less the mean of all, and the covariance of the means from the pseudo-inverse of
the normal equations: only what is blind to a common shift of all means has a meaning.

kind "conic": y[run, zone] = zero[run] + s/(2R) - (1 + K) s/(2R) + noise, s the mean of the squared
radii, solved on the single readings, never on means; K, its standard error, and chi-square less
what the scatter of the runs about free zone means takes (the means' own misfit). Once with all
zones, once with a free mean for the outermost, whose readings then only hold the runs together.

Sources: generalised least squares, textbook; the reading of a conic to first order, own derivation.
"""

import json
from pathlib import Path

import numpy as np

RADIUS_MM = 2400.0
RIMS_MM = [14.0, 42.0, 60.0, 74.0, 86.0, 97.0]
SIGMA_MM = [0.08, 0.05, 0.04, 0.03, 0.03]
NONE = np.nan
RUNS_MM = [
    [1.31, 1.61, 2.02, NONE, 2.83],
    [4.42, 4.66, NONE, 5.46, 5.86],
    [NONE, 0.71, 1.07, 1.46, NONE],
    [2.18, NONE, NONE, 3.21, 3.67],
]


def design(runs_mm, columns):
    """Weighted rows of the single readings: zeros of the runs, then the given columns by zone."""
    count = len(runs_mm)
    rows, values = [], []
    for (run, zone), reading in np.ndenumerate(runs_mm):
        if not np.isnan(reading):
            zero = np.zeros(count)
            zero[run] = 1.0
            rows.append(np.concatenate([zero, columns[zone]]) / SIGMA_MM[zone])
            values.append(reading / SIGMA_MM[zone])
    return np.array(rows), np.array(values)


def solved(runs_mm, columns):
    rows, values = design(runs_mm, columns)
    found = np.linalg.lstsq(rows, values, rcond=None)[0]
    covariance = np.linalg.pinv(rows.T @ rows)
    return found, covariance, float(np.sum((rows @ found - values) ** 2))


def means_row(runs_mm):
    zones = len(SIGMA_MM)
    found, covariance, _ = solved(runs_mm, np.eye(zones))
    mean, spread = found[-zones:], covariance[-zones:, -zones:]
    return {
        "kind": "means",
        "mean_mm": (mean - mean.mean()).tolist(),
        "mean_covariance_mm2": spread.tolist(),
    }


def conic_row(runs_mm, name):
    zones = len(SIGMA_MM)
    rims = np.array(RIMS_MM)
    lever = (rims[:-1] ** 2 + rims[1:] ** 2) / (4 * RADIUS_MM)
    columns = [-lever] if name == "all" else [-lever, np.eye(zones)[-1]]
    found, covariance, total = solved(runs_mm - lever, np.column_stack(columns))
    _, _, within = solved(runs_mm, np.eye(zones))
    place = len(runs_mm)
    return {
        "kind": "conic",
        "name": name,
        "conic": float(found[place] - 1.0),
        "conic_sigma": float(np.sqrt(covariance[place, place])),
        "chi_square": total - within,
    }


def main():
    runs_mm = np.array(RUNS_MM)
    rows = [means_row(runs_mm), conic_row(runs_mm, "all"), conic_row(runs_mm, "without_outermost")]
    holes = [[None if np.isnan(y) else y for y in run] for run in RUNS_MM]
    rows[0] |= {"rims_mm": RIMS_MM, "sigma_mm": SIGMA_MM, "runs_mm": holes}
    units = {
        "*_mm": "millimetres; runs_mm[run][zone], null: not taken; zone i begins at rims_mm[i]",
        "mean_mm": "less the mean of all zones",
        "mean_covariance_mm2": "up to what a common shift of all means adds",
    }
    table = {"provenance": " ".join(__doc__.split()), "units": units, "rows": rows}
    path = Path(__file__).with_name("missing_readings.json")
    path.write_text(json.dumps(table, indent=1) + "\n")


if __name__ == "__main__":
    main()
