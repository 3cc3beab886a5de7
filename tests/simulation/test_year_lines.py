"""Whole years of split systems: refrigerant lines, water lines outdoors, heat trace, glycol, outages."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from cases import ROOT, cautions, number, worked

from hpwhsim.scenario.reading import read_scenario
from hpwhsim.scenario.writing import cautions as scenario_cautions
from hpwhsim.simulation.year import Year

pytestmark = [pytest.mark.law, pytest.mark.year]
SMOOTH = "hot_water.draws=smooth"
LINES = "plant.heat_pump.lines."
WATER = "plant.heat_pump.water_lines."


@pytest.fixture(scope="session")
def banked() -> Callable[[str], Year]:
    """The banked split by length of its lines."""
    return cache(lambda feet: worked("banked-split", SMOOTH, f"{LINES}length={feet} ft"))


@pytest.fixture(scope="session")
def split() -> Callable[..., Year]:
    """The split home with changed water lines."""
    return cache(lambda *changes: worked("split", SMOOTH, *(WATER + change for change in changes)))


@pytest.mark.slow
def test_longer_refrigerant_lines_cost_more(banked: Callable[[str], Year]) -> None:
    """Pressure drop and heat loss: less capacity, more power, lower COP and more charge, foot by foot."""
    found = [banked(feet) for feet in ("30", "100", "200", "300")]
    capacity = [number(year, "line_capacity_factor") for year in found]
    power = [number(year, "line_power_factor") for year in found]
    cop = [number(year, "cop_heat_pump") for year in found]
    charge = [number(year, "line_charge_kg") for year in found]
    assert capacity[0] < 1.0
    assert capacity == sorted(capacity, reverse=True)
    assert power == sorted(power)
    assert power[0] > 1.0
    assert cop == sorted(cop, reverse=True)
    # volume of equal tubes is in proportion to length; they hold gas and liquid of one state
    assert charge[2] == pytest.approx(2.0 * charge[1], rel=1e-9)


@pytest.mark.independent
def test_the_year_sees_the_derate(banked: Callable[[str], Year]) -> None:
    """COP of the machine falls by capacity over power factor, within 1 %: it then runs in other hours."""
    short, long = banked("30"), banked("200")
    expected = 1.0
    for year, way in ((long, 1.0), (short, -1.0)):
        expected *= (number(year, "line_capacity_factor") / number(year, "line_power_factor")) ** way
    cops = [number(y, "heat_pump_heat_kwh") / number(y, "compressor_kwh") for y in (short, long)]
    assert cops[1] / cops[0] == pytest.approx(expected, rel=0.01)


@pytest.mark.contract
@pytest.mark.parametrize(("family", "feet", "most"), [("split", 60, 50), ("banked-split", 301, 300)])
def test_lines_beyond_what_is_common_are_a_caution(family: str, feet: int, most: int) -> None:
    """One to one 25 to 50 ft, banked systems 100 to 300 ft (common practice, no source)."""
    for length, beyond in ((feet, True), (most, False)):
        changes = [f"plant.family={family}", f"{LINES}length={length} ft", f"{LINES}rise=0 m"]
        path = ROOT / "scenarios" / "banked-split.yaml"
        found = [c for c in scenario_cautions(read_scenario(path, changes).scenario) if "lines.length" in c]
        assert bool(found) == beyond
        assert all(f"({most} ft)" in c and "common practice, no source" in c for c in found)


@pytest.mark.contract
def test_the_machines_own_limits_go_before_what_is_common() -> None:
    path = ROOT / "scenarios" / "banked-split.yaml"

    def said(*changes: str) -> list[str]:
        scenario = read_scenario(path, [f"{LINES}{change}" for change in changes]).scenario
        return [c for c in scenario_cautions(scenario) if "plant.heat_pump.lines." in c]

    assert said("length=330 ft", "max_length=400 ft") == []
    (short,) = said("length=200 ft", "max_length=120 ft")
    assert "lines.max_length 36.6 m (120 ft) of this heat pump" in short
    (high,) = said("length=200 ft", "rise=-40 ft", "max_height=30 ft")
    assert "lines.rise 12.2 m (40 ft) is beyond plant.heat_pump.lines.max_height" in high


def test_longer_water_lines_lose_more() -> None:
    """Loss is in proportion to length within 10 %: the water cools a little along it.

    With random draws: a home that is charged once a day by smooth ones is so at one hour for weeks, and what
    air its lines lose to then hangs on that hour.
    """
    short, long = (worked("split", "hot_water.draws=random", f"{WATER}length={n} m") for n in (10, 40))
    assert number(long, "line_loss_kwh") == pytest.approx(4.0 * number(short, "line_loss_kwh"), rel=0.10)
    assert number(long, "cop_heat_pump") < number(short, "cop_heat_pump")
    assert number(long, "source_heat_kwh") > number(short, "source_heat_kwh")


@pytest.mark.independent
def test_heat_trace_follows_the_cold(split: Callable[..., Year]) -> None:
    """On-off trace: rating times both pipes in every hour below its set temperature, exactly.

    The self-regulating one gives what standing pipes lose: nothing in warm hours, more in colder ones, and
    less than the rating.
    """
    on_off = split("trace_control=on-off")
    cold = on_off.hourly["dry_bulb_c"] < 5.0
    assert number(on_off, "trace_heating_kwh") == pytest.approx(2 * 10 * 9.0 * cold.sum() / 1000.0, rel=1e-9)
    regulating = split("length=10 m")
    trace, air = regulating.hourly["trace_heating_kwh"], regulating.hourly["dry_bulb_c"]
    assert trace[~cold].sum() == 0.0
    bands = [trace[(air >= low) & (air < low + 5.0)].mean() for low in (-20.0, -15.0, -10.0, -5.0, 0.0)]
    assert bands == sorted(bands, reverse=True)
    assert 0.0 < number(regulating, "trace_heating_kwh") < number(on_off, "trace_heating_kwh")
    assert regulating.hourly["electricity_kwh"] == pytest.approx(
        sum(regulating.hourly[key] for key in ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh"))
        + regulating.hourly["resistance_kwh"]
        + trace,
        abs=1e-9,
    )


@pytest.mark.slow
def test_glycol_costs_cop_and_ends_the_outages(split: Callable[..., Year]) -> None:
    """A second exchange: hotter water at the machine, no trace, nothing that freezes in an outage."""
    bare = split("protection=none", "trace_rating=null")
    glycol = split("protection=glycol", "trace_rating=null")
    better = split("protection=glycol", "trace_rating=null", "exchanger=2 kW/K")
    cops = [number(year, "cop_heat_pump") for year in (glycol, better, bare)]
    assert cops == sorted(cops)
    assert cops[0] < cops[1] - 0.02 < cops[2] - 0.04
    assert number(glycol, "trace_heating_kwh") == number(bare, "trace_heating_kwh") == 0.0
    assert "outage_ice_starts" not in glycol.record
    assert "outage_ice_starts" in bare.record


def test_outages_by_their_length(split: Callable[..., Year]) -> None:
    """The longer the outage, the more start hours freeze; none freezes before it is cold."""
    counts = []
    for hours in (2, 6, 12):
        year = split(f"outage={hours} h")
        ice, blocked = year.record["outage_ice_starts"], year.record["outage_blocked_starts"]
        assert isinstance(ice, int)
        assert isinstance(blocked, int)
        assert 0 < blocked <= ice
        assert 0.0 < number(year, "outage_ice_share") <= 1.0
        below = int((year.hourly["dry_bulb_c"] < 0.0).sum())
        assert number(year, "freeze_exposed_hours") == below
        assert number(year, "freeze_standing_hours") <= below
        # hours from which an outage of this length meets freezing air at all
        air = np.concatenate([year.hourly["dry_bulb_c"]] * 2)
        reach = np.array([air[h : h + hours].min() < 0.0 for h in range(8760)])
        assert ice <= reach.sum()
        assert f"outage of {hours} h" in cautions(year)
        counts.append((ice, blocked))
    assert counts == sorted(counts)
    thick = split("outage=6 h", "insulation=50 mm")
    assert int(str(thick.record["outage_ice_starts"])) < counts[1][0]
