"""Checks of the sun on windows: written out by hand, over pvlib's clear sky."""

import hashlib
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.climate.window_sun import window_sun
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, worst

if TYPE_CHECKING:
    import xarray as xr

LATITUDE = 40.0
COMPASS = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}  # degrees clockwise from north
DAYS = (21, 80, 172, 264, 355)  # solstices, equinoxes, a cold day


def sun_by_hand(day: int, hour: float) -> tuple[float, float]:
    """Zenith and azimuth (from north) of the sun in degrees, by declination and hour angle.

    Clock of the zone's meridian, turned into sundial time. Spencer's series for the declination and the
    equation of time (textbook of solar engineering, Duffie and Beckman, chapter 1, quoted from memory).
    """
    b = 2.0 * np.pi * (day - 1.5 + hour / 24.0) / 365.0
    minutes = 0.000075 + 0.001868 * np.cos(b) - 0.032077 * np.sin(b)
    hour += 229.2 * (minutes - 0.014615 * np.cos(2.0 * b) - 0.04089 * np.sin(2.0 * b)) / 60.0
    tilt = 0.006918 - 0.399912 * np.cos(b) + 0.070257 * np.sin(b) - 0.006758 * np.cos(2.0 * b)
    tilt += 0.000907 * np.sin(2.0 * b) - 0.002697 * np.cos(3.0 * b) + 0.00148 * np.sin(3.0 * b)
    turn, place = np.deg2rad(15.0 * (hour - 12.0)), np.deg2rad(LATITUDE)
    up = np.sin(place) * np.sin(tilt) + np.cos(place) * np.cos(tilt) * np.cos(turn)
    south = np.sin(place) * np.cos(tilt) * np.cos(turn) - np.cos(place) * np.sin(tilt)
    west = np.cos(tilt) * np.sin(turn)
    return float(np.rad2deg(np.arccos(up))), float(180.0 + np.rad2deg(np.arctan2(west, south)))


def clear_sky() -> "xr.Dataset":
    """Clear sky at 40 N on the zone's meridian: pvlib's model of Ineichen, hand-made sun, turbidity 3."""
    import xarray as xr
    from pvlib.clearsky import ineichen

    zenith = np.array([min(sun_by_hand(i // 24 + 1, i % 24 + 0.5)[0], 89.9) for i in range(8760)])
    model: Callable[..., Any] = ineichen
    mass = np.where(zenith < 89.0, 1.0 / np.cos(np.deg2rad(np.minimum(zenith, 89.0))), 40.0)
    sky = model(zenith, mass, 3.0, altitude=0.0, dni_extra=1366.0)
    values = {f"{name}_w_m2": ("time", np.asarray(sky[name])) for name in ("ghi", "dni", "dhi")}
    content = hashlib.sha256(b"".join(column.tobytes() for _, column in values.values())).hexdigest()
    attrs = {"sha256": content, "latitude": LATITUDE, "longitude": 0.0, "utc_offset_h": 0.0}
    return xr.Dataset(values, attrs=attrs)


def _day_by_hand(sky: "dict[str, np.ndarray[Any, Any]]", day: int, facing: str) -> float:
    """Sun through the glass in a day: direct, sky after Hay and Davies, a fifth of the ground's. [Wh/m²]

    Glass passes 1 - 0.17 (1 / cos - 1).
    """
    total = 0.0
    for hour in range(24):
        at = 24 * (day - 1) + hour
        zenith, azimuth = sun_by_hand(day, hour + 0.5)
        if zenith >= 88.0:
            continue
        ghi, dni, dhi = (float(sky[name][at]) for name in ("ghi", "dni", "dhi"))
        up = np.cos(np.deg2rad(zenith))
        meets = max(np.sin(np.deg2rad(zenith)) * np.cos(np.deg2rad(azimuth - COMPASS[facing])), 0.0)
        ring = dni / (1367.0 * (1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.0)))
        around = dhi * (ring * meets / up + (1.0 - ring) * 0.5) + 0.2 * ghi * 0.5
        glass = max(1.0 - 0.17 * (1.0 / meets - 1.0), 0.0) if meets > 0.0 else 0.0
        total += dni * meets * glass + around * (1.0 - 0.17 * (1.0 / 0.5 - 1.0))
    return float(total)


def window_sun_checks() -> Iterator[Check]:
    """Five days of each facade."""
    clear = clear_sky()
    sky = {name: np.asarray(clear[f"{name}_w_m2"].values) for name in ("ghi", "dni", "dhi")}
    found = window_sun(clear)
    for facing in COMPASS:
        points = [
            Point(
                f"day {day}",
                _day_by_hand(sky, day, facing),
                float(found[facing][24 * (day - 1) : 24 * day].sum()),
            )
            for day in DAYS
        ]
        yield worst(f"climate.window_sun.{facing}", points)
