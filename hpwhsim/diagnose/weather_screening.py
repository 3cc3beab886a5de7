"""What a typical year says to the designer of a hot-water plant."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.cold_days import LENGTHS, cold_days
from hpwhsim.climate.ground import ground_temperature, surface_wave
from hpwhsim.climate.mains import mains_hours_held, mains_temperature
from hpwhsim.climate.typical_year import read_year
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.plant.plain_source import SOIL_DIFFUSIVITY

Record = dict[str, object]

BELOW_C = (0.0, -10.0, -15.0, -20.0, -25.0)
COLDER_HOURS = {"99_6": 35, "99": 88}
"""Hours of a year, at most, that are colder than the 99.6 % and the 99 % value."""
DEGREE_DAYS_BASE_C = 18.3
FROST_C, FROST_HUMIDITY = (-5.0, 5.0), 0.8
DEPTHS_M = (1.0, 2.0)
STAMPS = {
    "TMY3": "the file stamps the end of each hour (01:00 is the first of a day)",
    "EPW": "the file counts the hours of a day from 1 (hour 1 begins at midnight)",
}


class Site(NamedTuple):
    """A weather file."""

    record: Record
    dry_bulb: Array  # (8760,), °C
    mains: Array  # (8760,), °C
    ground: Mapping[float, Array]  # by depth in m, each (8760,), °C


def describe(path: Path, below_c: Sequence[float] = ()) -> Site:
    """Read a typical year and say what decides about a hot-water plant in it.

    Parameters
    ----------
    path : Path
        TMY3 CSV or EPW, plain or gzip-compressed.
    below_c : sequence of float
        Temperatures, besides `BELOW_C`, below which the hours are counted. [°C]

    Returns
    -------
    Site
        Record and series. Times are the start of an hour of the nominal year.

    Raises
    ------
    InputError
        If the file is no whole typical year, or its place is too cold for the mains-water formula.

    Notes
    -----
    The 99.6 % and the 99 % dry bulb are annual cumulative frequencies as in the ASHRAE Handbook,
    Fundamentals, Climatic Design Information (unverified): 35 and 88 of the 8760 hours at most
    are colder. The handbook takes them from decades of a station's record; a typical year leaves the
    extremes out.

    Degree-days are taken from the means of the 24 hours of each day.
    """
    weather = read_year(path)
    attrs = weather.attrs
    dry_bulb = np.asarray(weather["dry_bulb_c"].values, dtype=np.float64)
    humidity = np.asarray(weather["relative_humidity"].values, dtype=np.float64)
    latitude = float(attrs["latitude"])
    try:
        mains = mains_temperature(dry_bulb, latitude)
        held = mains_hours_held(dry_bulb, latitude)
    except OutOfRangeError as error:
        raise InputError(f"{path}: {error}") from None
    wave = surface_wave(dry_bulb)
    day = 0.5 + (np.arange(HOURS) + 0.5) / 24.0
    ground = {depth: ground_temperature(depth, day, *wave, SOIL_DIFFUSIVITY) for depth in DEPTHS_M}
    coldest_first = np.sort(dry_bulb)
    lowest, highest = int(np.argmin(dry_bulb)), int(np.argmax(dry_bulb))
    daily = dry_bulb.reshape(-1, 24).mean(axis=1)
    frost = (dry_bulb >= FROST_C[0]) & (dry_bulb <= FROST_C[1]) & (humidity > FROST_HUMIDITY)
    record: Record = {
        "file": str(path),
        "station": attrs["station"],
        "latitude": latitude,
        "longitude": float(attrs["longitude"]),
        "elevation_m": float(attrs["elevation_m"]),
        "utc_offset_h": float(attrs["utc_offset_h"]),
        "format": attrs["source_format"],
        "stamp": STAMPS[attrs["source_format"]],
        "hours": dry_bulb.size,
        "years_of_months": [int(year) for year in attrs["source_years"]],
        "dry_bulb": {
            "min_c": float(dry_bulb[lowest]),
            "min_time": _hour(lowest),
            **{f"annual_{name}_percent_c": float(coldest_first[n]) for name, n in COLDER_HOURS.items()},
            "mean_c": float(dry_bulb.mean()),
            "max_c": float(dry_bulb[highest]),
            "max_time": _hour(highest),
        },
        **{
            name.replace("-", "_"): _cold_period(daily, cold_days(dry_bulb, length), length)
            for name, length in LENGTHS.items()
        },
        "hours_below": [
            {"below_c": limit, "hours": int(np.count_nonzero(dry_bulb < limit))}
            for limit in sorted({*BELOW_C, *below_c}, reverse=True)
        ],
        "humid_frost_hours": int(np.count_nonzero(frost)),
        "heating_degree_days_k": float(np.maximum(DEGREE_DAYS_BASE_C - daily, 0.0).sum()),
        "mains": _wave(mains) | {"hours_held_at_freezing": held},
        "ground": [{"depth_m": depth, **_wave(soil)} for depth, soil in ground.items()],
        "ground_diffusivity_m2_s": SOIL_DIFFUSIVITY,
        "warnings": list(attrs["cautions"]),
        "sha256": attrs["sha256"],
    }
    return Site(record, dry_bulb, mains, ground)


def _hour(hour: int) -> str:
    """Start of an hour of the nominal year."""
    return str(np.datetime64("2001-01-01T00") + hour)[:13] + ":00"


def _day(day: int) -> str:
    return (date(2001, 1, 1) + timedelta(days=day % 365)).isoformat()


def _cold_period(daily: Array, first: int, length: int) -> Record:
    mean = float(np.take(daily, range(first, first + length), mode="wrap").mean())
    return {"first_day": _day(first), "last_day": _day(first + length - 1), "mean_c": mean}


def _wave(hourly: Array) -> Record:
    """Mean, ends and half the swing of a temperature that moves once a year."""
    low, high = float(hourly.min()), float(hourly.max())
    return {
        "mean_c": float(hourly.mean()),
        "min_c": low,
        "min_day": _day(int(np.argmin(hourly)) // 24),
        "max_c": high,
        "max_day": _day(int(np.argmax(hourly)) // 24),
        "amplitude_k": 0.5 * (high - low),
    }
