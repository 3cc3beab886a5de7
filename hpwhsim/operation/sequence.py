"""The sequence of operation: every setting of the controls in a sentence, by subject, and what is not set."""

from collections.abc import Callable, Iterator

from hpwhsim.operation import charging, heating, sources
from hpwhsim.operation.facts import DEFAULT, DERIVED, GIVEN, MARK, Facts
from hpwhsim.operation.parts import Listing, Paragraph, Section, Table
from hpwhsim.operation.sentences import Group, Sentence
from hpwhsim.scenario.keys import known_fields

Say = Callable[[Facts], Iterator[Sentence]]
OF_HEAT_PUMP: tuple[tuple[str, Say], ...] = (
    ("Enable, disable and lockouts", charging.enabling),
    ("Sensing, start and end of a charge", charging.sensing),
    ("Staging, rotation and speed of modules", charging.staging),
    ("Leaving water and limits", charging.leaving),
    ("Boost and reset of the setpoint", charging.resets),
    ("Defrost", charging.defrosting),
)
OF_ALL: tuple[tuple[str, Say], ...] = (
    ("Pasteurising", heating.pasteurising),
    ("Recirculation loop", heating.circulating),
    ("Tempering valve", heating.tempering),
    ("Frost protection and crankcase heat", heating.frost),
    ("Ground loop", sources.ground),
    ("Wastewater", sources.wastewater),
    ("Room of the heat pump", sources.room),
)
LEGEND = (
    f"A value marked {MARK} was not given: it is a default of the program or worked out from what was given, "
    "and the designer confirms it."
)
NOT_SET = {
    "plant.controls.charge_windows": "no charge windows: charging is allowed all day",
    "plant.controls.lock_outs": "no lockout of the heat pump by the clock",
    "plant.controls.signal": "no signal of price or carbon is followed",
    "plant.controls.reserve_height": "no reserve lifts a lockout",
    "plant.controls.demand_windows": "no demand windows: all modules may run at any time",
    "plant.controls.min_run": "no minimum run time",
    "plant.controls.min_off": "no minimum off time",
    "plant.controls.boost": "no boost",
    "plant.controls.outdoor_reset": "no outdoor reset",
    "plant.controls.pasteurise": "no weekly heat-up of the store",
    "plant.backup.delay": "no delay",
    "plant.backup.lock_outs": "no lockout by the clock",
    "recirculation.schedule": "the loop pump has no schedule",
    "recirculation.aquastat": "the loop pump has no aquastat",
    "hot_water.tempering_valve": "no tempering valve at the plant",
}
"""Functions that a plant may have, and what it means that this one does not."""


def groups(facts: Facts) -> list[Group]:
    """The sentences of a plant, by subject; subjects that it does not have are left out."""
    heater = "Backup heater" if facts.heats else "Heater"
    chosen = (
        *(OF_HEAT_PUMP if facts.heats else ()),
        *(((heater, heating.backing),) if facts.backed else ()),
        *OF_ALL,
    )
    found = (Group(heading, tuple(say(facts))) for heading, say in chosen)
    return [group for group in found if group.sentences]


def not_set(facts: Facts) -> list[tuple[str, str]]:
    """Functions that the plant could have and does not use: key, and what that means."""

    def could(key: str) -> bool:
        if key == "plant.controls.pasteurise":
            return facts.heats and facts.backed == "parallel"
        if key.startswith("plant.controls"):
            return facts.heats
        if key.startswith("plant.backup"):
            return facts.backed == "parallel"
        return not key.startswith("recirculation") or facts.scenario.recirculation is not None

    return [(key, text) for key, text in NOT_SET.items() if could(key) and not facts.value(key)]


def setting_rows(facts: Facts) -> list[tuple[str, str, str, str, str]]:
    """Every setting that a sentence says: meaning, value, in SI, origin and key; each once."""
    keys = dict.fromkeys(key for group in groups(facts) for one in group.sentences for key in one.keys)
    rows = []
    for key in keys:
        one = facts.setting(key)
        meaning = str(known_fields()[key].description)
        rows.append((meaning, one.text, one.si if one.si != one.text else "", one.origin, key))
    return rows


def sequence_sections(facts: Facts) -> list[Section]:
    """The chapter on the sequence of operation, and the schedule of settings."""
    sections = [Section("Sequence of operation", (Paragraph(LEGEND),))]
    for group in groups(facts):
        items = tuple(one.text for one in group.sentences)
        sections.append(Section(group.heading, (Listing(items, numbered=True),), level=2))
    idle = tuple((meaning, key) for key, meaning in not_set(facts))
    if idle:
        table = Table("Functions of the controls that are not used", ("function", "key"), idle, (3.0, 2.0))
        sections.append(Section("Not used in this plant", (table,), level=2))
    return sections


def settings_section(facts: Facts) -> Section:
    """The schedule of settings."""
    origin = (
        f"Origin: {GIVEN}, by the user; {DEFAULT}, of the program; {DERIVED}, from what was given. Keys "
        "are those of the scenario file."
    )
    heads = ("setting", "value", "in SI", "origin", "key", "as found on site")
    rows = tuple((*row, "") for row in setting_rows(facts))
    table = Table("Settings of the sequence", heads, rows, (3.6, 2.2, 1.2, 1.2, 3.9, 1.7), form=True)
    return Section("Schedule of settings", (Paragraph(origin), table))
