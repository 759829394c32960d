"""What the optics of a Newtonian telescope are worth.

Rays, diffraction, bench readings and the judgement of a refigure, for people who rescue,
refigure and build reflectors. Every name of a quantity carries its unit.

>>> import catoptric as ct
>>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
>>> round(train.focal_ratio, 1)
4.9
"""

from . import plotting
from ._core import (
    DEFAULT_WAVELENGTH_NM,
    Airy,
    BenchScatter,
    Coating,
    CoatingRing,
    ConicFit,
    Diagonal,
    DiagonalFit,
    Drawtube,
    FigureEstimate,
    FocalPlane,
    Illumination,
    KnifeEdgeReadings,
    Opening,
    Primary,
    Psf,
    RadialIllumination,
    RadialProfile,
    Spot,
    Train,
    TurnedEdge,
    Verdict,
    Wavefront,
    Zone,
    __version__,
    bench_scatter,
    inches,
    judge_refigure,
    smallest_diagonal,
)
from .errors import CatoptricError, InputError, NotConverged, Problem
from .table import Table

__all__ = [
    "DEFAULT_WAVELENGTH_NM",
    "Airy",
    "BenchScatter",
    "CatoptricError",
    "Coating",
    "CoatingRing",
    "ConicFit",
    "Diagonal",
    "DiagonalFit",
    "Drawtube",
    "FigureEstimate",
    "FocalPlane",
    "Illumination",
    "InputError",
    "KnifeEdgeReadings",
    "NotConverged",
    "Opening",
    "Primary",
    "Problem",
    "Psf",
    "RadialIllumination",
    "RadialProfile",
    "Spot",
    "Table",
    "Train",
    "TurnedEdge",
    "Verdict",
    "Wavefront",
    "Zone",
    "__version__",
    "bench_scatter",
    "inches",
    "judge_refigure",
    "plotting",
    "smallest_diagonal",
]
