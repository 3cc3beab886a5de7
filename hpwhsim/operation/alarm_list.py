"""The chapter on alarms, and the cautions on scald, Legionella and refrigerant that go with it."""

import numpy as np

from hpwhsim.account.checks import digits
from hpwhsim.account.hygiene import DEFER, burn_seconds
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.operation.alarms import alarms, highest_outlet
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.parts import Listing, Paragraph, Section, Table
from hpwhsim.operation.source_alarms import charge_checks

LEVELS = "1: life safety; 2: critical equipment; 3: urgent; 4: normal (common practice, no source)"
QUIET = (
    "An alarm waits while its part is off, for 5 min after it was enabled, for 10 min after a change of "
    "setpoint, and while an alarm before it in the chain stands (common practice, no source)."
)


def hottest_water(facts: Facts) -> float:
    """Hottest water that the plant holds or makes, a tempering valve apart. [°C]"""
    plant = facts.scenario.plant
    found = [plant.storage.setpoint, facts.scenario.supply_setpoint]
    if facts.heats:
        found.append(highest_outlet(facts))
    if plant.controls.pasteurise is not None:
        found.append(plant.controls.pasteurise.temperature + plant.backup.dead_band)
    return max(found)


def cautions(facts: Facts) -> list[str]:
    """Cautions on scald, Legionella and refrigerant, and what the checks say of its charge."""
    hottest = hottest_water(facts)
    seconds = float(burn_seconds(hottest))
    found = []
    if np.isfinite(seconds):
        found.append(
            f"Scald: water of {facts.degrees(hottest)} burns adult skin within {seconds:.2g} s, children "
            "sooner (times of published tables). Devices at taps and a valve at the plant: by local "
            "plumbing code."
        )
    found.append(f"Legionella: temperatures here are alarms and no proof of safety; {DEFER}.")
    heat_pump = facts.scenario.plant.heat_pump
    if heat_pump is None:
        return found
    safety = (
        heat_pump.refrigerant
        if heat_pump.table is not None
        else f"{heat_pump.refrigerant}, class {refrigerant(heat_pump.refrigerant).safety}"
    )
    found.append(
        f"Refrigerant {safety}: detectors, ventilation and pressure equipment by local code and licensed "
        "practice."
    )
    charge = charge_checks(facts)
    found += [
        f"Check of the charge, {row['state']}: {row['name']}: {digits(row['value'])} {row['unit']}; "
        f"{row['limit']} ({row['source']})."
        for row in charge
    ]
    if not charge:
        found.append(
            "The charge of a circuit was not given, or greenhouse gases are not counted: whether a "
            "detector is needed is not checked here."
        )
    return found


def alarms_sections(facts: Facts) -> list[Section]:
    """Alarms, and the cautions that go with them."""
    rows = tuple(
        (str(n), one.tag, one.condition, one.delay, str(one.priority), one.action, one.year)
        for n, one in enumerate(alarms(facts), 1)
    )
    heads = ("no", "point", "condition", "delay", "priority", "action", "simulated year")
    table = Table("Alarms", heads, rows, (0.6, 1.5, 3.0, 0.9, 1.25, 2.4, 2.75))
    words = (
        f"Priority {LEVELS}. {QUIET} Delays and what is not from scenario or year are common practice, no "
        "source."
    )
    return [
        Section("Alarms", (Paragraph(words), table)),
        Section(
            "Scald, Legionella, refrigerant" if facts.heats else "Scald, Legionella",
            (Listing(tuple(cautions(facts))),),
            2,
        ),
    ]
