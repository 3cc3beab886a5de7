"""Weather that is odd but read: what is kept is said in a caution, and real jumps pass."""

from pathlib import Path

import numpy as np
import pytest
import weather_cases
from weather_cases import CSV, EPW, Bench, keep

from hpwhsim.climate import moist_air
from hpwhsim.climate.typical_year import read_weather

pytestmark = pytest.mark.contract

# pytest finds a fixture by its name in the module
own_cache = weather_cases.own_cache
lines = weather_cases.lines
bench = weather_cases.bench


def test_frost_in_a_florida_april_is_said(shared: Path, tmp_path: Path) -> None:
    """-18 °C in Miami in April: an hour and two days (rule of the season), 20 days (rule of the latitude)."""
    text = (shared / "weather" / "miami-fl-722020-tmy3.epw").read_text(encoding="ascii").splitlines()
    april = 8 + 90 * 24 + 100
    for hours, rule in ((1, "far from all days"), (48, "far from all days"), (480, "latitude 25.82")):
        rows = list(text)
        for at in range(april, april + hours):
            cells = rows[at].split(",")
            cells[6], cells[7], cells[8] = f"{-18.0 - at % 2}", "-20.0", "80"
            rows[at] = ",".join(cells)
        path = tmp_path / f"miami-{hours}.epw"
        path.write_text("\n".join(rows), encoding="ascii")
        data = read_weather(path)
        assert any(rule in c and f"{april + 1}" in c for c in data.cautions), data.cautions
        assert data.dry_bulb_c.values[april - 8] == -18.0 - april % 2


def test_stuck_sensor_and_wrong_elevation_are_said(bench: Bench) -> None:
    data = bench.read(CSV, bench.put(CSV, "dry", range(5000, 5060), "27.0"))
    assert any("without any change for 48 hours" in c for c in data.cautions)
    data = bench.read(EPW, lambda t: [t[0].replace("201.0", "2010"), *t[1:]])
    assert any("elevation of 2010 m" in c for c in data.cautions)


def test_humidity_just_above_100_and_slightly_negative_sun_are_held_and_said(bench: Bench) -> None:
    data = bench.read(EPW, bench.put(EPW, "rh", [10, 11], "103"))
    assert np.all(data.relative_humidity.values[10:12] == 1.0)
    assert any("2 hours (line 19-20) held at 100 %" in c for c in data.cautions)
    data = bench.read(EPW, bench.put(EPW, "ghi", [2], "-1.5"))
    assert data.ghi_w_m2.values[2] == 0.0
    assert any("1 hours (line 11) held at 0" in c for c in data.cautions)


def test_few_dew_points_above_the_dry_bulb_are_said(bench: Bench) -> None:
    data = bench.read(CSV, bench.put(CSV, "dew", [4000], "38"))
    assert any("above the dry bulb in 1 hours (line 4003)" in c for c in data.cautions)
    hour = data.isel(time=4000)
    saturated = moist_air.humidity_ratio_at_saturation(float(hour.dry_bulb_c), float(hour.pressure_pa))
    assert float(hour.humidity_ratio) == pytest.approx(float(saturated), rel=1e-12)


def test_radiation_that_does_not_add_up_is_said(bench: Bench) -> None:
    data = bench.read(EPW, bench.put(EPW, "dni", range(8760), "0"))
    assert any("global radiation differs from direct and diffuse" in c for c in data.cautions)


def test_real_jumps_pass(bench: Bench) -> None:
    """shared/weather/README.md: jumps of 16 K between two hours are real; here 16 K down in Greensboro."""
    air = bench.read(CSV, keep).dry_bulb_c.values
    hot = int(np.argmax(air))
    data = bench.read(CSV, bench.put(CSV, "dry", [hot + 1], f"{air[hot] - 16.0:.1f}"))
    assert not any("far from" in c or "latitude" in c for c in data.cautions)
