"""Sun on windows: by hand against pvlib's clear sky, and that east is morning."""

import hashlib
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import xarray as xr
from cases import CHICAGO, GREENSBORO, SAND_POINT
from pvlib.clearsky import ineichen

from hpwhsim.climate import window_sun as module
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.climate.window_sun import FACING, window_sun

pytestmark = pytest.mark.independent

LATITUDE = 40.0


def by_hand(day: int, hour: float) -> tuple[float, float]:
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


@pytest.fixture(scope="module")
def clear() -> xr.Dataset:
    """Clear sky at 40 N on the zone's meridian: pvlib's model of Ineichen, hand-made sun, turbidity 3."""
    zenith = np.array([min(by_hand(i // 24 + 1, i % 24 + 0.5)[0], 89.9) for i in range(8760)])
    model: Callable[..., Any] = ineichen
    mass = np.where(zenith < 89.0, 1.0 / np.cos(np.deg2rad(np.minimum(zenith, 89.0))), 40.0)
    sky = model(zenith, mass, 3.0, altitude=0.0, dni_extra=1366.0)
    values = {f"{name}_w_m2": ("time", np.asarray(sky[name])) for name in ("ghi", "dni", "dhi")}
    content = hashlib.sha256(b"".join(column.tobytes() for _, column in values.values())).hexdigest()
    attrs = {"sha256": content, "latitude": LATITUDE, "longitude": 0.0, "utc_offset_h": 0.0}
    return xr.Dataset(values, attrs=attrs)


@pytest.mark.parametrize("day", [21, 80, 172, 264, 355])  # solstices, equinoxes, a cold day
@pytest.mark.parametrize("facing", ["south", "east", "west", "north"])
def test_sun_through_a_window_by_hand(clear: xr.Dataset, day: int, facing: str) -> None:
    """Direct times the cosine, sky by Hay and Davies, a fifth of the ground's; glass 1 - 0.17 (1 / cos - 1).

    Written out from the angles of `by_hand`, over a day. The declination moves by 0.4 degrees in a day at an
    equinox and the series does not know where in the cycle of leap years it is: 2 % of a facade's day, and
    2 W/m2 in the mean where the sun only grazes.
    """
    got = want = 0.0
    for hour in range(24):
        at = 24 * (day - 1) + hour
        zenith, azimuth = by_hand(day, hour + 0.5)
        got += float(window_sun(clear)[facing][at])
        if zenith >= 88.0:
            continue
        ghi, dni, dhi = (float(clear[f"{name}_w_m2"][at]) for name in ("ghi", "dni", "dhi"))
        up = np.cos(np.deg2rad(zenith))
        meets = max(np.sin(np.deg2rad(zenith)) * np.cos(np.deg2rad(azimuth - FACING[facing])), 0.0)
        ring = dni / (1367.0 * (1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.0)))
        sky = dhi * (ring * meets / up + (1.0 - ring) * 0.5) + 0.2 * ghi * 0.5
        glass = max(1.0 - 0.17 * (1.0 / meets - 1.0), 0.0) if meets > 0.0 else 0.0
        want += dni * meets * glass + sky * (1.0 - 0.17 * (1.0 / 0.5 - 1.0))
    assert got == pytest.approx(want, rel=0.02, abs=2.0 * 24.0)


def test_a_clear_winter_noon_in_the_south(clear: xr.Dataset) -> None:
    """21 December, 40 N, noon: zenith 40 + 23.45 = 63.45 degrees; the sun meets the glass at 26.55."""
    found = float(window_sun(clear)["south"][24 * 354 + 12])
    dni, dhi, ghi = (float(clear[f"{name}_w_m2"][24 * 354 + 12]) for name in ("dni", "dhi", "ghi"))
    meets = np.cos(np.deg2rad(26.55))
    beam = dni * meets * (1.0 - 0.17 * (1.0 / meets - 1.0))
    # between half the sky and the sky's ring about the sun seen whole
    assert beam + 0.83 * (0.5 * dhi + 0.1 * ghi) < found < beam + 0.83 * (2.1 * dhi + 0.1 * ghi)
    assert found > 600.0


@pytest.mark.law
def test_east_is_morning_and_nights_are_dark() -> None:
    """Real years: energy-weighted hour of each facade; none below the horizon; north gets the least."""
    hour = np.arange(8760) % 24 + 0.5
    for path in (CHICAGO, GREENSBORO, SAND_POINT):
        weather = read_weather(path)
        sun = window_sun(weather)
        noon = 12.0 + float(weather.attrs["utc_offset_h"]) - float(weather.attrs["longitude"]) / 15.0
        middle = {name: float((hour * v).sum() / v.sum()) - noon for name, v in sun.items()}
        assert -4.0 < middle["east"] < -1.0 < middle["south"] < 1.0 < middle["west"] < 4.0
        assert sun["north"].sum() < min(sun[name].sum() for name in ("east", "south", "west"))
        dark = np.asarray(weather["ghi_w_m2"].values) <= 0.0
        assert all(float(v[dark].max()) < 20.0 for v in sun.values())


@pytest.mark.contract
def test_it_is_kept_by_place_and_weather(clear: xr.Dataset, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second call reads the disk; another longitude does not find the first one's sun."""
    first = window_sun(clear)
    other = clear.assign_attrs(longitude=15.0)
    assert not np.array_equal(window_sun(other)["east"], first["east"])
    monkeypatch.setattr(module, "_window_sun", lambda weather: pytest.fail("worked out again"))
    again = window_sun(clear)
    assert all(np.array_equal(again[name], first[name]) for name in FACING)
