"""Alarms with the numbers of the plant and of its year."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from hpwhsim.account.adequacy import MOST_STARTS
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import digits
from hpwhsim.account.energy import by_month
from hpwhsim.account.hygiene import sensor_tolerance
from hpwhsim.operation.expected import low_cop
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.points import SCALD_AT
from hpwhsim.operation.words import listed
from hpwhsim.results.numbers import amount
from hpwhsim.scenario.sources import ANTIFREEZE_SHARE
from hpwhsim.source.loop_fluid import Fluid, fluid_state
from hpwhsim.tables import read_table

SUPPLY_FALL, RETURN_AT = 3.0, 51.0  # K, °C; common practice, no source
UNDER_FLOOR = 0.5  # K under the lowest that sewage is cooled to; common practice, no source
MUCH = 88.0  # h: 1 % of a year
NEAR_FREEZING = 3.0  # K above the freezing of a loop's fluid


class Alarm(NamedTuple):
    """One alarm."""

    tag: str
    condition: str
    delay: str
    priority: int  # 1 to 4
    action: str
    year: str  # what the simulated year says to it; empty where nothing


def alarms(facts: Facts) -> list[Alarm]:
    """The alarms of the parts that the plant has, the gravest first."""
    found = [*_water(facts), *_store(facts)]
    if facts.heats:
        found += [*_heat_pump(facts), *_source(facts), *_refrigerant(facts)]
    if facts.backed:
        found += _heater(facts)
    found += _loop(facts)
    found.append(
        Alarm("LK", "water on the floor of the plant room", "10 s", 2, "find the leak; close the make-up", "")
    )
    found.append(Alarm("any sensor", "open, shorted, or unchanged", "30 min", 4, "check the sensor", ""))
    return sorted(found, key=lambda one: one.priority)


def _hours(count: float) -> str:
    return f"{digits(count)} h"


def _water(facts: Facts) -> Iterator[Alarm]:
    hot_water, record = facts.scenario.hot_water, facts.record
    unmet = (
        f"{_hours(record['short_hours'])} of the year with water delivered below "
        f"{facts.degrees(hot_water.min_temperature)}"
    )
    limit = max(facts.supply - SUPPLY_FALL, hot_water.min_temperature)
    if hot_water.tempering_valve is None:  # what leaves falls within a dead band
        band = _supply_band(facts)
        limit = hot_water.min_temperature if band is None else max(limit - band, hot_water.min_temperature)
    yield Alarm(
        "HW-T",
        f"hot water to the building colder than {facts.degrees(limit)}",
        "10 min",
        3,
        "look at store, valve and heaters",
        unmet,
    )
    scald = facts.degrees(SCALD_AT)
    if hot_water.tempering_valve is not None:
        hot = facts.degrees(max(hot_water.tempering_valve + SUPPLY_FALL, SCALD_AT))
        yield Alarm(
            "HW-T",
            f"hot water behind the tempering valve hotter than {hot}",
            "1 min",
            2,
            "close the hot port; mend the valve",
            "",
        )
        yield Alarm(
            "MV-CMD", "tempering valve at its stop", "15 min", 4, "look at hot and cold port", _starved(facts)
        )
    elif facts.supply <= SCALD_AT:
        yield Alarm(
            "HW-T",
            f"hot water to the building hotter than {scald}",
            "1 min",
            2,
            "stop the heaters; find the cause",
            "",
        )
    else:
        yield Alarm(
            "TP-T",
            f"water at a tap hotter than {scald}",
            "1 min",
            2,
            "mend the valve at the point of use",
            f"the plant has no tempering valve: {facts.degrees(facts.supply)} leaves it as designed",
        )


def _supply_band(facts: Facts) -> float | None:
    """Dead band of what holds the supply (trim heater, loop tank ahead of the taps); None without. [K]"""
    block = facts.scenario.recirculation
    tank = block.loop_tank if block is not None else None
    if facts.backed == "series":
        return 0.0
    return tank.dead_band if tank is not None and tank.connection == "series" else None


def _starved(facts: Facts) -> str:
    return f"{_hours(facts.record['valve_starved_hours'])} with hot water too cold for it"


def _heaters(facts: Facts) -> list[str]:
    """What heats the store."""
    return [*(["heat pump"] if facts.heats else []), *([facts.heater] if facts.backed else [])]


def _store(facts: Facts) -> Iterator[Alarm]:
    use = facts.scenario.hot_water.use_temperature
    if facts.backed == "series":
        use = min(use, facts.settings.start_at) if facts.heats else use
    hours = float(np.count_nonzero(facts.hourly["store_top_c"] < use))
    yield Alarm(
        "ST-T-TOP",
        f"top of the store colder than {facts.degrees(use)}",
        "5 min",
        2,
        f"look at {listed(_heaters(facts))}",
        f"{_hours(hours)} of the year touch it; coldest {facts.degrees(facts.record['store_min_top_c'])}",
    )
    yield Alarm(
        "ST-T-TOP to ST-T-BOT",
        "a sensor of the store hotter than the one above it",
        "30 min",
        4,
        "sensors crossed, or water mixes",
        "",
    )


def _heat_pump(facts: Facts) -> Iterator[Alarm]:
    heat_pump, record, now = facts.scenario.plant.heat_pump, facts.record, facts.settings
    assert heat_pump is not None
    starts, hours = sum(record["module_starts"]), sum(record["module_run_hours"])
    mean = f"{amount(starts)} starts in {_hours(hours)} of module running"
    if hours > 0.0:
        mean += f", a mean of {starts / hours:.2f} in an hour of running"
    start = "next module takes its place" if facts.modules > 1 else "call for service"
    yield Alarm("HP-RUN", "a module does not prove within the delay of its command", "5 min", 3, start, "")
    yield Alarm(
        "HP-RUN",
        f"more than {MOST_STARTS:g} starts of a module in an hour (short cycling)",
        "1 h",
        4,
        "look at sensors, flow and times",
        mean,
    )
    yield Alarm(
        "HP-FLT", "fault of a module", "none", 2 if facts.modules == 1 else 3, f"{start}; reset by hand", ""
    )
    if heat_pump.condenser != "wrap-around":
        high = facts.degrees(highest_outlet(facts) + SUPPLY_FALL)
        yield Alarm(
            "HP-T-OUT", f"water leaving a module hotter than {high}", "1 min", 2, "stop the module", ""
        )
        yield Alarm("HP-F", "no water flow while a module runs", "30 s", 2, "stop the module", "")
    inlet = facts.degrees(facts.hottest_inlet)
    late = record["backup_hours_by_cause"].get("water-too-warm", 0.0)
    yield Alarm(
        "HP-T-IN" if heat_pump.condenser != "wrap-around" else "ST-T-BOT",
        f"water at the heat pump hotter than {inlet} while the store calls",
        "30 min",
        4,
        "look at the store's layers"
        if facts.scenario.recirculation is None
        else "look at the loop's return and at the store's layers",
        f"{_hours(late)} of backup for that cause" if facts.backed else "",
    )
    cold = facts.degrees(facts.lowest_source)
    hours_below = float(np.count_nonzero(facts.hourly["source_c"] < facts.lowest_source))
    yield Alarm(
        "SRC-T",
        f"{facts.source} colder than {cold}",
        "30 min",
        4,
        "none while the source is known to be so cold; else look at it",
        f"{_hours(hours_below)} of the year; coldest {facts.degrees(record['source_min_c'])}",
    )
    yield Alarm(
        "HP-ENA",
        f"store calls (ST-T-START colder than {facts.degrees(now.start_at)}) and no module runs, none "
        "locked out",
        "30 min",
        3,
        "look at the heat pump",
        "",
    )
    if (floor := low_cop(facts)) is not None:
        yield Alarm(
            "HP-E, HP-Q",
            f"COP of a day under {floor:.2f}",
            "1 day",
            4,
            "compare with the table of expected values",
            "80 % of the lowest monthly COP of the heat pump",
        )


def highest_outlet(facts: Facts) -> float:
    """Hottest water that the heat pump is asked for in the year. [°C]"""
    controls = facts.scenario.plant.controls
    reset = controls.outdoor_reset.rise if controls.outdoor_reset is not None else 0.0
    return facts.settings.outlet_temperature + controls.boost + reset


def _source(facts: Facts) -> Iterator[Alarm]:
    plant = facts.scenario.plant
    if plant.source_kind == "ground-loop" and plant.source.ground_loop is not None:
        block = plant.source.ground_loop
        usual = 0.0 if block.fluid == "water" else ANTIFREEZE_SHARE
        share = block.fluid_share if block.fluid_share is not None else usual
        freezing = fluid_state(Fluid(block.fluid, share), 10.0).freezing
        coldest = facts.record.get("loop_min_c")
        year = f"coldest {facts.degrees(coldest)}" if coldest is not None else ""
        limit = facts.degrees(freezing + NEAR_FREEZING)
        yield Alarm(
            "GL-T-OUT",
            f"fluid leaving the heat pump colder than {limit}; it freezes at {facts.degrees(freezing)}",
            "2 min",
            2,
            "stop the heat pump",
            year,
        )
        yield Alarm(
            "GL-F",
            "loop flow under half of that commanded, or no proof of the pump",
            "1 min",
            2,
            "stop the heat pump",
            "",
        )
    if plant.source_kind == "wastewater":
        floor = facts.number("plant.source.wastewater.min_temperature")
        spent = facts.record.get("source_spent_hours", 0.0)
        yield Alarm(
            "WW-T-OUT",
            f"sewage behind the exchanger colder than {facts.degrees(floor - UNDER_FLOOR)}",
            "15 min",
            2,
            "stop the heat pump",
            f"cooled to no less than {facts.degrees(floor)}; {_hours(spent)} in which that limits the heat",
        )
        yield Alarm(
            "WW-DP",
            "pressure difference of the exchanger 50 % over that of the clean one",
            "30 min",
            4,
            "clean the exchanger",
            "",
        )
    if plant.source_kind == "room":
        yield Alarm(
            "CD-LVL",
            "condensate stands in a pan",
            "1 min",
            3,
            "stop the unit; clear the drain",
            f"{amount(facts.record['condensate_litres'])} L in the year",
        )
    heat_pump = plant.heat_pump
    lines = heat_pump.water_lines if heat_pump is not None else None
    if lines is not None and lines.protection == "trace":
        hold = facts.degrees(lines.trace_hold)
        yield Alarm(
            "TR-ON",
            f"heat trace off in outdoor air colder than {hold}",
            "10 min",
            2,
            "drain the lines, or run the heat pump",
            f"{_hours(facts.record['freeze_exposed_hours'])} of the year below {facts.degrees(0.0)}",
        )


def _refrigerant(facts: Facts) -> Iterator[Alarm]:
    heat_pump = facts.scenario.plant.heat_pump
    assert heat_pump is not None
    row = next(
        (r for r in read_table("refrigerant_safety") if r["refrigerant"] == heat_pump.refrigerant), None
    )
    where = "where a part of a circuit stands in a closed room and its charge asks for a detector"
    limit = "the detector's limit"
    if row is not None and row["rcl_g_m3"] != "-":
        limit = f"its concentration limit of {row['rcl_g_m3']} g/m³ ({row['rcl_status']})"
    elif row is not None and row["lfl_kg_m3"] != "-":
        limit = (
            f"a quarter of its flammability limit, {250.0 * float(row['lfl_kg_m3']):.3g} g/m³ "
            f"({row['lfl_status']})"
        )
    yield Alarm(
        "RF-D",
        f"{heat_pump.refrigerant} in the air at {limit}, {where}",
        "none",
        1,
        "stop the heat pump, ventilate, leave the room; by local code",
        "",
    )


def _heater(facts: Facts) -> Iterator[Alarm]:
    record, name = facts.record, facts.heater
    hours = facts.hourly["resistance_hours"] + facts.hourly["fuel_hours"]
    months = by_month(hours)
    top = int(np.argmax(months))
    total = record["resistance_hours"] + record["fuel_hours"]
    yield Alarm(
        f"{facts.tag}-LIM",
        f"high limit of the {name} tripped",
        "none",
        2,
        "find the cause; reset by hand",
        "",
    )
    if not facts.heats:
        return
    most = float(months[top])
    year = f"the most of any month of the simulated year ({MONTH_NAMES[top]}); {_hours(total)} in the year"
    if most <= 0.0:
        most, year = 1.0, "never on in the simulated year"
    yield Alarm(
        f"{facts.tag}-RUN",
        f"{name} on for more than {digits(most)} h of full power in a month",
        "1 month",
        4,
        "look for what keeps the heat pump from heating",
        year,
    )
    yield Alarm(
        f"{facts.tag}-RUN",
        f"{name} on while the heat pump is permitted and does not run",
        "60 min",
        4,
        "look at sensors and setpoints",
        "",
    )
    if facts.scenario.plant.backup.lock_outs:
        yield Alarm(
            f"{facts.tag}-RUN", f"{name} on while locked out", "5 min", 3, "look at its contactor", ""
        )


def return_limit(facts: Facts) -> float:
    """Return of the loop below which an alarm follows, its design being no colder. [°C]"""
    tolerance = sensor_tolerance(RETURN_AT)
    return min(RETURN_AT, facts.loop_back) - tolerance


def _loop(facts: Facts) -> Iterator[Alarm]:
    block = facts.scenario.recirculation
    if block is None:
        return
    limit = return_limit(facts)
    row = next((r for r in facts.record["hygiene"] if r["key"] == "return-guideline-12"), None)
    year = ""
    if row is not None:
        at = facts.degrees(row["at_c"] - row["tolerance_k"])
        year = f"{_hours(row['hours'])} of the year colder than {at}"
        year += ": hotter supply or more flow first, or it stands" if row["hours"] > MUCH else ""
    rests = " while its pump runs" if block.schedule or block.aquastat is not None else ""
    yield Alarm(
        "RC-T",
        f"loop return colder than {facts.degrees(limit)}{rests} (Legionella)",
        "30 min",
        3,
        "look at pump, balance and supply",
        year,
    )
    yield Alarm("RC-P-RUN", "loop pump off while commanded", "1 min", 3, "second pump, or service", "")
    if block.loop_tank is not None:
        cold = facts.degrees(block.loop_tank.setpoint - block.loop_tank.dead_band - SUPPLY_FALL)
        yield Alarm(
            "LT-T",
            f"loop tank colder than {cold}",
            "15 min",
            3,
            "look at its heater",
            f"coldest hour's end {facts.degrees(float(facts.hourly['loop_tank_c'].min()))}",
        )
