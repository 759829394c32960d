"""Pictures of the results, one file for each family.

Every function draws on the axes it is given, or on a new figure if it is given none, and returns
the axes. None of them changes a setting of matplotlib. The results' own `.plot()` calls these.
"""

from .bench import figure_estimate, readings
from .coating import coating
from .coating_worth import coating_spots, recoat
from .diagonals import diagonals
from .edge import edge_curves, edge_family, layer_fit
from .focus import exit_pupils, focus_ladder
from .light import field_stop_light, illumination, illumination_map, sensor_light, shares
from .mask import mask_sweep
from .mirror import figure_profile, wavefront_map
from .mtf import contrast
from .noise import noise_study
from .section import sight_lines, sights_in_section, train_section
from .seeing import air_contrast, nights, seen_star
from .shadows import grating_bands, knife_shadow
from .star import energy, map_star_image, ring_energy, spot, star_image
from .through_focus import through_focus, through_focus_gallery, through_focus_profiles
from .value_ladder import value_ladder
from .verdict import profiles, verdict
from .views import ripple_map, view, views

__all__ = [
    "air_contrast",
    "coating",
    "coating_spots",
    "contrast",
    "diagonals",
    "edge_curves",
    "edge_family",
    "energy",
    "exit_pupils",
    "field_stop_light",
    "figure_estimate",
    "figure_profile",
    "focus_ladder",
    "grating_bands",
    "illumination",
    "illumination_map",
    "knife_shadow",
    "layer_fit",
    "map_star_image",
    "mask_sweep",
    "nights",
    "noise_study",
    "profiles",
    "readings",
    "recoat",
    "ring_energy",
    "ripple_map",
    "seen_star",
    "sensor_light",
    "shares",
    "sight_lines",
    "sights_in_section",
    "spot",
    "star_image",
    "through_focus",
    "through_focus_gallery",
    "through_focus_profiles",
    "train_section",
    "value_ladder",
    "verdict",
    "view",
    "views",
    "wavefront_map",
]
