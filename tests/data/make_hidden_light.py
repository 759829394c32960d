"""Light where a stop hides the mirror's centre, and what a removal returns -> hidden_light.json.

The trains and the integrals of make_diagonal.py: rows, then columns, of the lit part of a
paraboloid, with panels at every corner of the outline. Nothing there needs a lit centre.
"""

from __future__ import annotations

from exact import write
from make_diagonal import TRAINS, light_row, train_sizes

POINTS = {
    "318 mm with everything": ((24, 4), (-26, 3)),
    "twin ponds visual 79.4": ((-24, 8),),
    "250 mm flat without offset": ((-26, 0), (22, 14)),
    "200 mm f/4 narrow opening": ((14, 4),),
}
WITHOUT = {
    "front_opening": {"front_opening_diameter_mm": None},
    "drawtube": {"drawtube_bore_mm": None},
}


def main():
    rows = []
    for name, points in POINTS.items():
        numbers = train_sizes(*TRAINS[name])
        for along_mm, across_mm in points:
            row = light_row(name, numbers, along_mm, across_mm)
            for part, change in WITHOUT.items():
                fewer = light_row(name, {**numbers, **change}, along_mm, across_mm)
                row[f"returned_by_{part}"] = fewer["lit_fraction"] - row["lit_fraction"]
                worst = max(row["rows_minus_columns"], fewer["rows_minus_columns"])
                row["rows_minus_columns"] = worst
            rows.append(row)
            print(name, along_mm, across_mm, row["lit_fraction"], worst, flush=True)
    units = {
        "*_mm": "millimetres; offset toward the primary and equally away from the focuser",
        "*_arcmin": "where the star stands; its image falls at along = -f tan a, across = -f tan b",
        "stopped_by_*": "share of the clear aperture's light, parts in the order light meets them",
        "returned_by_*": "what the lit fraction gains without that part; both ends of the tube",
        "lit_fraction": "share that arrives, the diagonal's own shadow counted",
        "rows_minus_columns": "largest difference of any share computed by rows and by columns",
    }
    write("hidden_light", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
