"""Largest day and hour of the handbook by building size: a design envelope over many buildings.

References
----------
.. [1] ASHRAE Handbook, HVAC Applications, service water heating; see tables/demand_by_building_size.csv.
"""

import numpy as np

from hpwhsim.tables import read_table


def maximum_day_factor(apartments: int) -> float:
    """Use of the largest day over that of the average day, by building size.

    Examples
    --------
    >>> round(maximum_day_factor(20), 3), round(maximum_day_factor(500), 3)
    (1.905, 1.429)
    """
    return _over_average_day("maximum_day_gal", apartments)


def maximum_hour_factor(apartments: int) -> float:
    """Use of the largest clock hour over that of the average day, by building size.

    Examples
    --------
    >>> round(maximum_hour_factor(20), 3), round(maximum_hour_factor(500), 3)
    (0.286, 0.143)
    """
    return _over_average_day("maximum_hour_gal", apartments)


def _over_average_day(column: str, apartments: int) -> float:
    rows = read_table("demand_by_building_size")
    sizes = [float(row["apartments"]) for row in rows]
    most, mean = (
        float(np.interp(apartments, sizes, [float(row[name]) for row in rows]))
        for name in (column, "average_day_gal")
    )
    return most / mean
