"""Performance of one heat-pump module: the map, its look-up, and the two ways to make one.

``map_from_cycle`` and ``map_from_ratings`` build a map from a refrigerant and its rating; ``read_table``
reads the user's own.
"""

from hpwhsim.heatpump.anchor import Rating, lorenz_cop
from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.heatpump.measured import read_ratings, read_table
from hpwhsim.heatpump.rated import Fitted, Parts, fit_one, map_from_cycle, map_from_ratings

__all__ = [
    "Fitted",
    "Parts",
    "PerformanceMap",
    "Rating",
    "fit_one",
    "look_up",
    "lorenz_cop",
    "map_from_cycle",
    "map_from_ratings",
    "read_ratings",
    "read_table",
]
