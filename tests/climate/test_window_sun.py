"""Sun on windows: a clear noon by hand, that east is morning, and what is kept."""

import numpy as np
import pytest
import xarray as xr
from cases import CHICAGO, GREENSBORO, SAND_POINT

from hpwhsim.climate import window_sun as module
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.climate.window_sun import FACING, window_sun
from hpwhsim.verification.window_sun import clear_sky

pytestmark = pytest.mark.independent


@pytest.fixture(scope="module")
def clear() -> xr.Dataset:
    """Clear sky at 40 N on the zone's meridian."""
    return clear_sky()


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
