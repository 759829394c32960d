"""Pictures of the results, one file for each family.

Every function draws on the axes it is given, or on a new figure if it is given none, and returns
the axes. None of them changes a setting of matplotlib. The results' own `.plot()` calls these.
"""

from .bench import figure_estimate, readings
from .light import illumination, illumination_map, shares
from .mirror import figure_profile, wavefront_map
from .mtf import contrast
from .seeing import air_contrast, nights, seen_star
from .shadows import grating_bands, knife_shadow
from .star import energy, spot, star_image
from .verdict import profiles, verdict

__all__ = [
    "air_contrast",
    "contrast",
    "energy",
    "figure_estimate",
    "figure_profile",
    "grating_bands",
    "illumination",
    "illumination_map",
    "knife_shadow",
    "nights",
    "profiles",
    "readings",
    "seen_star",
    "shares",
    "spot",
    "star_image",
    "verdict",
    "wavefront_map",
]
