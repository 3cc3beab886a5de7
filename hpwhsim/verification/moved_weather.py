"""The packaged typical year moved to the published normals of another place.

In each month the dry bulb is shifted and its swing within the day stretched so that the means of the daily
highs and lows are those of the place; days part from the mean of their month by as much more or less than
those of the base as brings the coldest hours to the place's design dry bulb. Relative humidity, radiation and
wind stay as they were. Where no file of a place ships, a measured plant is simulated in such a year, and the
weather is one of the inputs that are assumed.

References
----------
S. E. Belcher, J. N. Hacker, D. S. Powell, "Constructing design weather data for future climates", Building
Services Engineering Research and Technology 26(1), 2005, 49-61: shift and stretch of the dry bulb by
month. One stretch for all, as there, would bring the spells of a continental base to a dry mild place (-24 °C
to Davis). ``belcher-2005`` of the table of sources says how it is known.
"""

from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.moist_air import MASS_RATIO, humidity_ratio, humidity_ratio_from_relative
from hpwhsim.climate.typical_year import Column, WeatherYear, read_year
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.scenario.starter import WEATHER
from hpwhsim.verification.field_tables import rows

MONTH_OF_DAY = np.repeat(np.arange(12), MONTH_DAYS)
STARTS = np.cumsum((0, *MONTH_DAYS[:-1]))
COLD = 0.004  # share of the hours colder than the design dry bulb
MOST_SPELLS, HALVINGS = 3.0, 40  # how far cold and warm spells may grow, and steps of the search for it
DEW_POINTS = np.linspace(-90.0, 40.0, 2601)  # °C, every 0.05 K


class Normals(NamedTuple):
    """What a public climate table says of a place."""

    place: str
    elevation_m: float
    highs_c: tuple[float, ...]  # mean daily highest dry bulb of the twelve months, °C
    lows_c: tuple[float, ...]  # mean daily lowest, °C
    cold_c: float  # heating design dry bulb: 99.6 % of the hours are warmer, °C


@cache
def normals() -> dict[str, Normals]:
    """The places of plants/places.csv, by name."""

    def months(text: str) -> tuple[float, ...]:
        return tuple(map(float, text.split()))

    return {
        row["place"]: Normals(
            row["place"],
            float(row["elevation_m"]),
            months(row["highs_c"]),
            months(row["lows_c"]),
            float(row["cold_c"]),
        )
        for row in rows("places")
    }


def normals_of(weather: WeatherYear, place: str) -> Normals:
    """The normals that a year itself has."""
    air = np.asarray(weather["dry_bulb_c"].values)
    days = air.reshape(365, 24)
    highs, lows = by_month(days.max(axis=1)), by_month(days.min(axis=1))
    cold = float(np.quantile(air, COLD))
    return Normals(place, float(weather.attrs["elevation_m"]), tuple(highs), tuple(lows), cold)


def by_month(days: Array) -> Array:
    """Means of the months of a daily series, shape (12,)."""
    return np.asarray(np.add.reduceat(days, STARTS) / MONTH_DAYS)


def moved_year(normals: Normals, warmer_k: float = 0.0, base: Path = WEATHER) -> WeatherYear:
    """A typical year with the normals of another place.

    Parameters
    ----------
    normals : Normals
        Of the place.
    warmer_k : float
        All hours are that much warmer than the normals say. [K]
    base : Path
        The year that is moved.

    Returns
    -------
    WeatherYear
        With the elevation's air pressure; radiation, wind and the sun's position are those of the base.
    """
    year = read_year(base)
    own = normals_of(year, "")
    days = np.asarray(year["dry_bulb_c"].values).reshape(365, 24)
    means = days.mean(axis=1)
    stretch = np.subtract(normals.highs_c, normals.lows_c) / np.subtract(own.highs_c, own.lows_c)
    middle = np.asarray(normals.highs_c) - stretch * (np.asarray(own.highs_c) - by_month(means))
    own_part = middle[MONTH_OF_DAY, None] + stretch[MONTH_OF_DAY, None] * (days - means[:, None])
    spells = (means - by_month(means)[MONTH_OF_DAY])[:, None]
    low, high = 0.0, MOST_SPELLS
    for _ in range(HALVINGS):
        share = 0.5 * (low + high)
        colder = np.quantile(own_part + share * spells, COLD) < normals.cold_c
        low, high = (low, share) if colder else (share, high)
    air = (own_part + share * spells).reshape(-1) + warmer_k
    pressure = np.asarray(year["pressure_pa"].values)
    pressure = pressure * _standard(normals.elevation_m) / _standard(float(year.attrs["elevation_m"]))
    water = humidity_ratio_from_relative(air, year["relative_humidity"].values, pressure)
    values = {
        "dry_bulb_c": air,
        "dew_point_c": np.interp(
            _vapour(water, pressure), _vapour(humidity_ratio(DEW_POINTS, 1e5), 1e5), DEW_POINTS
        ),
        "humidity_ratio": water,
        "pressure_pa": pressure,
    }
    for column in values.values():
        column.flags.writeable = False
    attrs = {"station": f"{year.attrs['station']}, moved to {normals.place}", "cautions": ()}
    return WeatherYear(
        year.columns | {name: Column(column) for name, column in values.items()},
        year.attrs | attrs | {"elevation_m": normals.elevation_m},
    )


def _vapour(water: Array, pressure_pa: Array | float) -> Array:
    """Pressure of the vapour in air of a humidity ratio. [Pa]"""
    return np.asarray(water / (MASS_RATIO + water) * pressure_pa)


def _standard(elevation_m: float) -> float:
    """Pressure of the standard atmosphere over that at sea level (ASHRAE Fundamentals, ch. 1, equation 3)."""
    return float((1.0 - 2.25577e-5 * elevation_m) ** 5.2559)
