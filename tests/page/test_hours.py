"""What the script of a page reads: series unpacked by another way, COP and stretches of the year by hand."""

import base64
import struct
import zlib

import numpy as np
import pytest

from hpwhsim.page.hours import cop_by_hour, packed
from hpwhsim.page.year_data import stretches

pytestmark = pytest.mark.independent


def test_a_packed_series_is_read_back_byte_by_byte() -> None:
    """The four bytes of each binary32 stand a plane apart, the least significant first (IEEE 754)."""
    series = {"one": np.array([1.5, -2.25, np.nan]), "other": np.array([0.0, 1e-3, 8760.0])}
    found = packed(series)
    assert found["names"] == ["one", "other"]
    raw = zlib.decompress(base64.b64decode(str(found["deflated"])))
    count = len(raw) // 4
    values = [struct.unpack("<f", bytes(raw[at + k * count] for k in range(4)))[0] for at in range(count)]
    np.testing.assert_array_equal(np.array(values, "f4"), np.array([*series["one"], *series["other"]], "f4"))


def test_the_cop_of_an_hour_counts_all_electricity_of_the_heat_pump() -> None:
    """9 kWh of heat from 2 kWh of compressor, 0.5 of fan and 0.5 of pump: 3; none while it stands."""
    hourly = {
        "compressor_kwh": np.array([2.0, 0.0]),
        "fan_kwh": np.array([0.5, 0.0]),
        "pump_kwh": np.array([0.5, 0.1]),
        "heat_pump_heat_kwh": np.array([9.0, 0.0]),
    }
    found = cop_by_hour(hourly)
    assert found[0] == pytest.approx(3.0)
    assert np.isnan(found[1])


def test_stretches_are_those_of_an_invented_year() -> None:
    """Coldest on days 10 to 16, warmest on days 200 to 206; most water on day 123, in its last hour."""
    air, litres = np.full(8760, 10.0), np.full(8760, 5.0)
    air[240:408], air[4800:4968], litres[24 * 123 + 23] = -20.0, 35.0, 500.0
    found = stretches({"dry_bulb_c": air, "hot_water_litres": litres})
    assert found["coldest week"] == [240, 408]
    assert found["warmest week"] == [4800, 4968]
    assert found["peak-use day"] == [24 * 123, 24 * 124]
