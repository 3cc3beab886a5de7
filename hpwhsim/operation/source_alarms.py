"""Alarms of the source, of water lines outdoors and of the refrigerant."""

from collections.abc import Iterator, Mapping
from typing import Any

from hpwhsim.account.checks import digits
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.sentences import Alarm, hours_text
from hpwhsim.results.both_units import both
from hpwhsim.results.numbers import amount
from hpwhsim.scenario.sources import ANTIFREEZE_SHARE
from hpwhsim.source.loop_fluid import Fluid, fluid_state
from hpwhsim.tables import read_table

UNDER_FLOOR = 0.5  # K under the lowest that sewage is cooled to; common practice, no source
NEAR_FREEZING = 3.0  # K above the freezing of a loop's fluid


def source_alarms(facts: Facts) -> Iterator[Alarm]:
    """Of ground loop, sewage, the room's air and water lines outdoors."""
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
            f"cooled to no less than {facts.degrees(floor)}; {hours_text(spent)} in which it limits the heat",
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
            f"{hours_text(facts.record['freeze_exposed_hours'])} of the year below {facts.degrees(0.0)}",
        )


def charge_checks(facts: Facts) -> list[Mapping[str, Any]]:
    """Checks of the record on the charge of a circuit and the room that it may leak into."""
    names = ("charge of one circuit", "concentration limit", "practical limit", "lower flammability limit")
    return [row for row in facts.record.get("checks", ()) if any(name in row["name"] for name in names)]


def refrigerant_alarms(facts: Facts) -> Iterator[Alarm]:
    """Of the refrigerant in the air of a room."""
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
    found = "; ".join(
        f"check of one circuit: {digits(check['value'])} {check['unit']} ({check['state']})"
        for check in charge_checks(facts)
    )
    yield Alarm(
        "RF-D",
        f"{heat_pump.refrigerant} in the air at {limit}, {where}",
        "none",
        1,
        "stop the heat pump, ventilate, leave the room; by local code",
        both(found) if facts.us else found,
    )
