"""Alarms with the numbers of the plant and of its year."""

from collections.abc import Iterator

import numpy as np

from hpwhsim.account.adequacy import MOST_STARTS
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import digits
from hpwhsim.account.energy import by_month
from hpwhsim.account.hygiene import sensor_tolerance
from hpwhsim.operation.expected import low_cop
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.points import SCALD_AT
from hpwhsim.operation.sentences import Alarm, hours_text
from hpwhsim.operation.source_alarms import refrigerant_alarms, source_alarms
from hpwhsim.operation.words import listed
from hpwhsim.results.numbers import amount

SUPPLY_FALL, RETURN_AT = 3.0, 51.0  # K, °C; common practice, no source
MUCH = 88.0  # h: 1 % of a year


def alarms(facts: Facts) -> list[Alarm]:
    """The alarms of the parts that the plant has, the gravest first."""
    found = [*_water(facts), *_store(facts)]
    if facts.heats:
        found += [*_heat_pump(facts), *source_alarms(facts), *refrigerant_alarms(facts)]
    if facts.backed:
        found += _heater(facts)
    found += _loop(facts)
    found.append(
        Alarm("LK", "water on the floor of the plant room", "10 s", 2, "find the leak; close the make-up", "")
    )
    found.append(Alarm("any sensor", "open, shorted, or unchanged", "30 min", 4, "check the sensor", ""))
    return sorted(found, key=lambda one: one.priority)


def _water(facts: Facts) -> Iterator[Alarm]:
    hot_water, record = facts.scenario.hot_water, facts.record
    unmet = (
        f"{hours_text(record['short_hours'])} of the year with water delivered below "
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
    return f"{hours_text(facts.record['valve_starved_hours'])} with hot water too cold for it"


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
        f"{hours_text(hours)} of the year touch it; coldest {facts.degrees(facts.record['store_min_top_c'])}",
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
    mean = f"{amount(starts)} starts in {hours_text(hours)} of module running"
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
        f"{hours_text(late)} of backup for that cause" if facts.backed else "",
    )
    cold = facts.degrees(facts.lowest_source)
    hours_below = float(np.count_nonzero(facts.hourly["source_c"] < facts.lowest_source))
    yield Alarm(
        "SRC-T",
        f"{facts.source} colder than {cold}",
        "30 min",
        4,
        "none while the source is known to be so cold; else look at it",
        f"{hours_text(hours_below)} of the year; coldest {facts.degrees(record['source_min_c'])}",
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
    year = f"the most of any month ({MONTH_NAMES[top]}); {hours_text(total)} in the year"
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
        year = f"{hours_text(row['hours'])} of the year colder than {at}"
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
