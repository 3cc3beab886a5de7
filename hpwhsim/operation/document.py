"""The whole document on a plant's operation, and the same as a record of values."""

from typing import Any

from hpwhsim.evaluation.cautions import by_importance
from hpwhsim.operation.alarm_list import alarms_sections
from hpwhsim.operation.alarms import alarms
from hpwhsim.operation.expected import expected
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.parts import Document, Listing, Paragraph, Section, Table
from hpwhsim.operation.points import points
from hpwhsim.operation.ranges import points_section, span
from hpwhsim.operation.sequence import groups, not_set, sequence_sections, setting_rows, settings_section
from hpwhsim.operation.states import fail_safes, power_steps, states, states_sections
from hpwhsim.operation.tests_form import tests_sections
from hpwhsim.results.both_units import both
from hpwhsim.results.numbers import amount

ABOUT = (
    "A draft for the engineer of record, made from a scenario and its simulated year. It is no design and "
    "no instruction to operate: licensed practice, the makers' instructions and local codes decide. "
    "Sentences of the sequence say what the simulation does; what is common practice beyond it is marked "
    "as such."
)


def document(facts: Facts) -> Document:
    """Sections of the document, whichever way they are written."""
    sections = [
        _plant(facts),
        *sequence_sections(facts),
        *states_sections(facts),
        points_section(facts),
        *alarms_sections(facts),
        *tests_sections(facts),
        settings_section(facts),
        _cautions(facts),
    ]
    title = "Sequence of operation, points, alarms and functional tests"
    return Document(title, str(facts.record["title"]), tuple(sections))


def _plant(facts: Facts) -> Section:
    """What the plant is."""
    scenario, record = facts.scenario, facts.record
    plant, storage = scenario.plant, scenario.plant.storage
    rows = [("plant family", plant.family), ("apartments", amount(scenario.building.apartments))]
    if plant.heat_pump is not None:
        made = facts.result.plant.year.made
        rows.append(
            (
                "heat pump",
                f"{facts.modules} x {amount(made.capacity / 1e3)} kW, {plant.heat_pump.refrigerant}, "
                f"{plant.heat_pump.condenser}",
            )
        )
        rows.append(("source", plant.source_kind.replace("-", " ")))
    tanks = "1 tank" if storage.tanks == 1 else f"{storage.tanks} tanks in {storage.arrangement}"
    rows.append(
        (
            "store",
            f"{facts.setting('plant.storage.volume').text}, {tanks}, charged to "
            f"{facts.setting('plant.storage.setpoint').text}",
        )
    )
    if facts.backed:
        rows.append(
            (
                facts.heater,
                f"{plant.backup.kind}, {facts.setting('plant.backup.power').text}, {plant.backup.mode}",
            )
        )
    if scenario.recirculation is not None:
        rows.append(
            (
                "recirculation",
                f"{facts.degrees(facts.supply)} out, {facts.degrees(facts.loop_back)} back, served by the "
                f"{scenario.recirculation.served_by.replace('-', ' ')}",
            )
        )
    rows += [
        ("weather", str(record["weather.station"])),
        ("scenario, SHA-256", str(record["scenario.sha256"])),
        ("program version", str(record["tool.version"])),
    ]
    table = Table("The plant", ("part", "what it is"), tuple(rows), (1.0, 3.0))
    return Section("Plant", (Paragraph(ABOUT, caution=True), table))


def _cautions(facts: Facts) -> Section:
    """Cautions of the year, the most important first."""
    said = by_importance(facts.record["cautions"])
    items = tuple(both(text) if facts.us else text for text in said)
    return Section("Cautions of the simulated year", (Listing(items),))


def values(facts: Facts) -> dict[str, Any]:
    """The same as values: for a program that reads the document; temperatures in degC."""
    found = []
    for point in points(facts):
        there = span(facts, point)
        of_year = {"p1": None, "p99": None, "hours": 0} if there is None else there._asdict()
        found.append(point._asdict() | of_year)
    return {
        "title": facts.record["title"],
        "scenario.sha256": facts.record["scenario.sha256"],
        "sequence": [
            {"subject": group.heading, "sentences": [one._asdict() for one in group.sentences]}
            for group in groups(facts)
        ],
        "not_used": [{"key": key, "meaning": meaning} for key, meaning in not_set(facts)],
        "settings": [
            dict(zip(("meaning", "value", "si", "origin", "key"), row, strict=True))
            for row in setting_rows(facts)
        ],
        "states": [one._asdict() for one in states(facts)],
        "power": power_steps(facts),
        "fail_safe": [one._asdict() for one in fail_safes(facts)],
        "points": found,
        "alarms": [one._asdict() for one in alarms(facts)],
        "expected": [one._asdict() for one in expected(facts)] if facts.heats else [],
    }
