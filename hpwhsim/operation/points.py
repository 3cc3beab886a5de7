"""The points of a plant: what is measured, commanded and metered, of the parts that it has."""

from collections.abc import Iterator
from typing import NamedTuple

from hpwhsim.operation.facts import Facts

AI, DI, DO, AO = "AI", "DI", "DO", "AO"
FAST, USUAL, SLOW, METER = "1 min", "5 min", "15 min", "15 min"
ON_CHANGE = "on change"
SCALD_AT = 54.0  # °C at a tap; common practice, no source


class Point(NamedTuple):
    """One point."""

    tag: str
    name: str
    kind: str  # AI | AO | DI | DO
    unit: str  # in SI; degC for temperatures
    where: str
    interval: str  # of its trend
    alarm: str  # short; "" without one
    series: str = ""  # hourly variable of the simulated year; "" where there is none


def points(facts: Facts) -> list[Point]:
    """Every point of the parts that the plant has."""
    found = [*_outdoors(facts), *_water(facts), *_taps(facts), *_store(facts)]
    if facts.heats:
        found += [*_heat_pump(facts), *_source(facts)]
    if facts.backed:
        found += _heater(facts)
    return [*found, *_loop(facts), *_meters(facts), *_safety(facts)]


def _outdoors(facts: Facts) -> Iterator[Point]:
    yield Point(
        "OA-T", "outdoor air", AI, "degC", "north wall, shaded", USUAL, "frozen or open sensor", "dry_bulb_c"
    )


def _water(facts: Facts) -> Iterator[Point]:
    yield Point("CW-T", "cold water", AI, "degC", "make-up pipe, ahead of the store", USUAL, "", "mains_c")
    yield Point("CW-V", "make-up water meter", DI, "L", "make-up pipe", METER, "flow at night: leak")
    series = "" if facts.scenario.hot_water.tempering_valve is not None else _leaving(facts)
    where = "behind the tempering valve" if not series else "pipe to the building"
    yield Point("HW-T", "hot water to the building", AI, "degC", where, FAST, "low; high (scald)", series)
    yield Point(
        "HW-V", "hot water supplied", DI, "L", "pipe that leaves the store", METER, "", "hot_water_litres"
    )
    if facts.scenario.hot_water.tempering_valve is not None:
        yield Point(
            "HW-T-HOT",
            "hot port of the tempering valve",
            AI,
            "degC",
            "ahead of the valve",
            FAST,
            "low",
            _leaving(facts),
        )
        yield Point(
            "MV-CMD", "tempering valve position", AO, "%", "tempering valve", USUAL, "at its stop for 15 min"
        )


def _taps(facts: Facts) -> Iterator[Point]:
    if facts.scenario.hot_water.tempering_valve is None and facts.supply > SCALD_AT:
        yield Point(
            "TP-T", "sample taps", AI, "degC", "taps, by a portable instrument", "by hand", "high (scald)"
        )


def _leaving(facts: Facts) -> str:
    """Series of what leaves the plant for the taps, before a valve."""
    block = facts.scenario.recirculation
    tank = block.loop_tank if block is not None else None
    if tank is not None and tank.connection == "series":
        return "loop_tank_c"
    return "supply_c" if facts.backed == "series" else "store_top_c"


def _store(facts: Facts) -> Iterator[Point]:
    now, plant = facts.settings, facts.scenario.plant
    crossed = "crossed or frozen for 30 min"
    yield Point(
        "ST-T-TOP",
        "store, top",
        AI,
        "degC",
        "height 1.0 of the store",
        FAST,
        "under use temperature",
        "store_top_c",
    )
    if facts.backed == "parallel":
        where = f"height {now.backup_height:g} of the store"
        yield Point(facts.sensor, f"store, {facts.heater} sensor", AI, "degC", where, FAST, crossed)
    if facts.heats:
        yield Point(
            "ST-T-START",
            "store, start sensor",
            AI,
            "degC",
            f"height {now.sensor_height:g} of the store",
            FAST,
            crossed,
        )
        yield Point(
            "ST-T-STOP",
            "store, stop sensor",
            AI,
            "degC",
            f"height {now.stop_height:g} of the store",
            FAST,
            crossed,
        )
    yield Point(
        "ST-T-BOT", "store, bottom", AI, "degC", "height 0 of the store", USUAL, crossed, "store_bottom_c"
    )
    yield Point(
        "ST-T-MEAN", "store, mean of its sensors", AI, "degC", "calculated", USUAL, "", "store_mean_c"
    )
    if plant.storage.tanks > 1 and plant.storage.arrangement == "parallel":
        yield Point(
            "ST-T-EACH",
            f"top of each of {plant.storage.tanks} tanks",
            AI,
            "degC",
            "each tank",
            SLOW,
            "tanks apart: flow not balanced",
        )


def _heat_pump(facts: Facts) -> Iterator[Point]:
    heat_pump = facts.scenario.plant.heat_pump
    assert heat_pump is not None
    each = "each module" if facts.modules > 1 else "heat pump"
    yield Point("HP-ENA", "heat pump, enable", DO, "", "controller", ON_CHANGE, "")
    yield Point("HP-CMD", "module, start command", DO, "", each, ON_CHANGE, "no proof within 5 min")
    yield Point("HP-RUN", "modules running", DI, "modules", each, FAST, "starts in an hour", "module_hours")
    yield Point("HP-FLT", "module, fault", DI, "", each, ON_CHANGE, "fault")
    if heat_pump.condenser != "wrap-around":
        yield Point(
            "HP-T-IN",
            "water entering the heat pump",
            AI,
            "degC",
            "common pipe from the store",
            FAST,
            "too hot to enter",
            "water_in_c",
        )
        yield Point(
            "HP-T-OUT", "water leaving the heat pump", AI, "degC", each, FAST, "over limit; under setpoint"
        )
        yield Point("HP-F", "water flow of the heat pump", AI, "L/min", each, FAST, "none while running")
    if heat_pump.min_speed_fraction < 1.0:
        yield Point("HP-SPD", "compressor speed", AO, "%", each, USUAL, "")
    if facts.scenario.plant.source_kind == "outdoor-air" and heat_pump.defrosts_by != "none":
        yield Point("HP-DEF", "module in defrost", DI, "", each, ON_CHANGE, "longer than its limit")
    yield Point("HP-P-SUC", "suction pressure", AI, "kPa", each, FAST, "low")
    yield Point("HP-P-DIS", "discharge pressure", AI, "kPa", each, FAST, "high")
    if facts.scenario.plant.controls.signal is not None:
        yield Point("SIG", "signal that charging follows", AI, "", "network", SLOW, "not received for 1 h")
    if heat_pump.water_lines is not None and heat_pump.water_lines.protection == "trace":
        yield Point("TR-ON", "heat trace on", DI, "", "trace panel", ON_CHANGE, "off in frost")
        yield Point("TR-E", "heat trace, electricity", DI, "kWh", "sub-meter", METER, "", "trace_heating_kwh")


ENTERING = {
    "outdoor-air": ("air entering the coil", "each coil"),
    "room": ("air entering the heat pump", "intake"),
    "ground-loop": ("loop fluid entering the heat pump", "from the field"),
    "wastewater": ("source water entering the heat pump", "ahead of the evaporator"),
}
"""What the source temperature is of, and where it is measured."""


def _source(facts: Facts) -> Iterator[Point]:
    kind = facts.scenario.plant.source_kind
    name, where = ENTERING[kind]
    yield Point("SRC-T", name, AI, "degC", where, USUAL, "under lowest source", "source_c")
    if kind == "room":
        yield Point("RM-T", "room air", AI, "degC", "room, 1.5 m above the floor", USUAL, "", "room_c")
        yield Point("RM-RH", "room relative humidity", AI, "1", "room", USUAL, "", "room_relative_humidity")
        yield Point("CD-LVL", "condensate drain", DI, "", "pan of each unit", ON_CHANGE, "drain blocked")
    elif kind == "ground-loop":
        name, series = "loop fluid leaving the heat pump, coldest", "loop_coldest_c"
        yield Point("GL-T-OUT", name, AI, "degC", "to the field", USUAL, "near freezing", series)
        yield Point("GL-F", "loop flow", AI, "L/s", "main", USUAL, "low")
        name = "pressure difference of the loop"
        yield Point("GL-DP", name, AI, "kPa", "across the pump", USUAL, "high: fouling or air")
        yield Point("GL-P-RUN", "loop pump proof", DI, "", "pump", ON_CHANGE, "off while commanded")
    elif kind == "wastewater":
        before, behind = "ahead of the exchanger", "behind the exchanger"
        yield Point("WW-T", "sewage", AI, "degC", before, USUAL, "", "sewage_c")
        yield Point("WW-T-OUT", "sewage leaving the exchanger", AI, "degC", behind, USUAL, "under its lowest")
        if "well_c" in facts.hourly:
            yield Point("WW-T-WELL", "wet well", AI, "degC", "well", USUAL, "", "well_c")
            yield Point("WW-LVL", "level of the wet well", AI, "m", "well", USUAL, "low; high")
        name = "pressure difference of the exchanger"
        yield Point("WW-DP", name, AI, "kPa", "sewage side", USUAL, "high: clean it")
        yield Point("WW-V", "sewage at the exchanger", AI, "m3/h", before, SLOW, "", "sewage_m3")


def _heater(facts: Facts) -> Iterator[Point]:
    name, electric = facts.heater, facts.scenario.plant.backup.kind == "resistance"
    if facts.backed == "parallel" and facts.heats:
        yield Point(f"{facts.tag}-ENA", f"{name}, permission", DO, "", "controller", ON_CHANGE, "")
    series = "resistance_hours" if electric else "fuel_hours"
    alarm = ("on while locked out; " if facts.scenario.plant.backup.lock_outs else "") + "on too long"
    alarm = alarm if facts.heats else ""
    yield Point(
        f"{facts.tag}-RUN",
        f"{name} on, at full power equivalent",
        DI,
        "h/h",
        name,
        FAST,
        alarm,
        series,
    )
    yield Point(f"{facts.tag}-LIM", f"{name}, high limit", DI, "", name, ON_CHANGE, "tripped")


def _loop(facts: Facts) -> Iterator[Point]:
    block = facts.scenario.recirculation
    if block is None:
        return
    yield Point("RC-T", "loop return", AI, "degC", "return pipe at the plant", FAST, "low (Legionella)")
    yield Point(
        "RC-T-EACH", "return of each riser", AI, "degC", "each balancing valve", USUAL, "low: not balanced"
    )
    yield Point("RC-F", "loop flow", AI, "L/min", "return pipe", USUAL, "low")
    yield Point("RC-P-CMD", "loop pump, command", DO, "", "pump", ON_CHANGE, "")
    yield Point("RC-P-RUN", "loop pump, proof", DI, "", "pump", ON_CHANGE, "off while commanded")
    if block.loop_tank is not None:
        yield Point("LT-T", "loop tank", AI, "degC", "middle of the tank", FAST, "low", "loop_tank_c")


def _meters(facts: Facts) -> Iterator[Point]:
    def meter(tag: str, name: str, series: str, alarm: str = "") -> Iterator[Point]:
        if series in facts.hourly:
            yield Point(tag, name, DI, "kWh", "meter", METER, alarm, series)

    if facts.heats:
        yield from meter("HP-E", "heat pump, electricity", "compressor_kwh", "COP of the day low")
        yield from meter("HP-Q", "heat of the heat pump", "heat_pump_heat_kwh")
    kind = facts.scenario.plant.backup.kind
    if kind == "resistance":
        yield from meter(
            f"{facts.tag}-E",
            f"{facts.heater}, electricity",
            "backup_resistance_kwh",
            "over that of the month",
        )
    elif facts.backed:
        yield from meter(
            f"{facts.tag}-G",
            f"{facts.heater}, fuel (higher heating value)" if kind != "steam" else "purchased steam heat",
            "fuel_kwh",
        )
        yield from meter(f"{facts.tag}-Q", f"heat of the {facts.heater}", "backup_heat_kwh")
    yield from meter("RC-E", "loop pump, electricity", "recirculation_pump_kwh")
    yield from (
        meter("RC-Q", "recirculation loss", "recirculation_loss_kwh") if facts.scenario.recirculation else ()
    )
    yield from meter("LT-E", "loop tank heater, electricity", "loop_heater_kwh")
    source_pump = facts.scenario.plant.source_kind in ("ground-loop", "wastewater")
    yield from meter("SP-E", "source pumps, electricity", "source_pump_kwh") if source_pump else ()
    yield from meter("HW-Q", "hot water delivered, heat", "heat_to_taps_kwh")
    yield from meter("PL-E", "plant, electricity", "electricity_kwh")
    yield Point("PL-P", "plant, highest 15-minute power", AI, "kW", "meter", METER, "", "power_peak_kw")


def _safety(facts: Facts) -> Iterator[Point]:
    yield Point("LK", "water on the floor", DI, "", "plant room", ON_CHANGE, "leak")
    if facts.heats:
        yield Point(
            "RF-D",
            "refrigerant detector, where one is needed",
            AI,
            "g/m3",
            "closed room with a part of a circuit",
            FAST,
            "see alarms",
        )
