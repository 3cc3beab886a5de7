"""The functional tests as a form: steps, expected values from plant and year, fields to fill in."""

from collections.abc import Iterator

from hpwhsim.account.checks import digits
from hpwhsim.io.units import VOLUME
from hpwhsim.operation.alarms import alarms, return_limit
from hpwhsim.operation.expected import expected_table
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.parts import Listing, Paragraph, Part, Section, Table
from hpwhsim.operation.states import fail_safes
from hpwhsim.operation.words import listed, quantity, time_text
from hpwhsim.results.numbers import amount
from hpwhsim.storage.layers import RHO_CP

WITHIN = 15.0  # %, of measured to expected heat and power; a functional form seen
SENSOR = 0.5  # K between two sensors at one place; common practice, no source
BAND = 1.0  # K of a start or stop about its setting; common practice, no source
ABOUT = (
    "Washington State Energy Code, WAC 51-11C-40803 (C408.3, commissioning of service water heating, text "
    "seen), wants functional tests of the sequence of operation at 50 % load or more and at part load, in "
    "(1) normal operation, (2) redundant or automatic back-up mode, (3) performance of alarms and (4) "
    "loss and restoration of power. The steps and limits of this form are common practice, no source; "
    f"heat and power are accepted within ±{WITHIN:g} % of what is expected. Where another code governs, "
    "its form goes before this one."
)
HEADS = ("check", "expected", "accepted", "measured", "pass or fail")
WIDTHS = (3.6, 2.6, 1.6, 1.6, 1.1)
Row = tuple[str, str, str, str, str]


def row(check: str, expects: str, accepted: str) -> Row:
    """A line of the form with its two empty fields."""
    return check, expects, accepted, "", ""


def _degree(facts: Facts, value: float = BAND) -> str:
    return f"±{facts.kelvin(value)}"


def part_checks(facts: Facts) -> list[Row]:
    """Checks of the parts, before the four tests."""
    plant = facts.scenario.plant
    found = [
        row("every temperature sensor beside a reference thermometer", "the same", _degree(facts, SENSOR)),
        row("heights of the sensors of the store", "as in the points list", "as drawn"),
        row("settings in the controller", "as in the schedule of settings", "the same"),
    ]
    if plant.heat_pump is not None:
        made = facts.result.plant.year.made
        rated = plant.heat_pump.rated_at
        at = "see the table of expected values"
        if rated is not None:
            at = (
                f"{amount(made.capacity / 1e3)} kW at source {facts.degrees(rated.source)}, water "
                f"{facts.degrees(rated.water_in)} to {facts.degrees(rated.water_out)}"
            )
        found.append(row("rated heat of one module, from its plate", at, "the same"))
        if plant.heat_pump.condenser != "wrap-around":
            outlet = facts.degrees(facts.settings.outlet_temperature)
            found.append(row("HP-T-OUT of each module, steady", f"{outlet} at most", _degree(facts, 2.0)))
    if facts.backed:
        power = plant.backup.power or 0.0
        found.append(
            row(f"heat of the {facts.heater} at full power", f"{amount(power / 1e3)} kW", f"±{WITHIN:g} %")
        )
    if facts.scenario.recirculation is not None:
        flow = facts.loop_flow
        found.append(row("loop flow, balanced", flow if flow else "as designed", f"±{WITHIN:g} %"))
        found.append(
            row(
                "loop return, all risers",
                facts.degrees(facts.loop_back),
                f"none colder than {facts.degrees(return_limit(facts))}",
            )
        )
    valve = facts.scenario.hot_water.tempering_valve
    if valve is not None:
        found.append(row("tempering valve at most and least draw", facts.degrees(valve), _degree(facts, 2.0)))
        found.append(
            row(
                "tempering valve with cold water shut",
                "hot port closes",
                "no flow, or colder than its setpoint",
            )
        )
    if plant.source_kind == "ground-loop" and facts.heats:
        found.append(
            row(
                "ground loop flow with all modules",
                facts.setting("plant.source.ground_loop.flow").text,
                f"±{WITHIN:g} %",
            )
        )
    if plant.source_kind == "wastewater" and facts.heats:
        found.append(
            row(
                "sewage flow with all modules",
                facts.setting("plant.source.wastewater.flow").text,
                f"±{WITHIN:g} %",
            )
        )
    return found


def normal_steps(facts: Facts) -> list[str]:
    """Steps of the first test."""
    calls = "the heat pump" if facts.heats else "the heater"
    least = "or none" if facts.scenario.recirculation is None else "or none but the loop"
    steps = [
        f"At 50 % load or more: draw hot water, by taps or a drain, until the store calls for {calls}; "
        "keep the draw on.",
        "Write down each start with time and temperature; let it run until the values are steady for 15 min.",
        "Stop the draw and let the store reach the end of its charge.",
        f"At part load: repeat with the draw of a quiet hour, {least}.",
    ]
    if facts.modules > 1:
        steps.append(
            "Repeat the start until each module was the lead."
            if facts.scenario.plant.controls.lead == "rotating"
            else "Repeat the start: module 1 leads again."
        )
    return steps


def charge_rows(facts: Facts) -> Iterator[Row]:
    """Lines of the first test on the heat pump."""
    now, controls = facts.settings, facts.scenario.plant.controls
    by_table = "table of expected values, at the source of the day"
    yield row("ST-T-START when the first module starts", facts.degrees(now.start_at), _degree(facts))
    if facts.modules > 1:
        when = f"{time_text(controls.stage_delay)} after the one before"
        yield row(
            "start of each further module", when if controls.stage_delay > 0.0 else "together", "±1 min"
        )
    for load in ("50 % load or more", "part load"):
        yield row(f"heat and power of a module, {load}", by_table, f"±{WITHIN:g} %")
    yield row("ST-T-STOP when the last module stops", facts.degrees(now.stop_at), _degree(facts))
    if controls.min_run > 0.0:
        yield row("shortest run", f"{time_text(controls.min_run)} or more", "no shorter, lockouts apart")
    if controls.min_off > 0.0:
        yield row("shortest rest", f"{time_text(controls.min_off)} or more", "no shorter")
    if facts.modules > 1:
        lead = "the next module" if controls.lead == "rotating" else "module 1"
        yield row("lead at the next start", lead, "the same")
    if controls.charge_windows:
        windows = facts.setting("plant.controls.charge_windows").text
        yield row("charge windows: no module runs outside", windows, "the same")
    if controls.lock_outs:
        windows = facts.setting("plant.controls.lock_outs").text
        yield row("lockout windows: no module runs", windows, "the same")


def normal_rows(facts: Facts) -> list[Row]:
    """Lines of the first test."""
    now, hot_water = facts.settings, facts.scenario.hot_water
    daily = quantity(facts.record["hot_water_litres"] / 365e3, VOLUME, facts.us)
    found = [row("hot water supplied, mean day of the year", daily, "for information")]
    if facts.heats:
        found += charge_rows(facts)
    elif facts.backed == "parallel":
        found += [
            row(f"{facts.sensor} when the heater starts", facts.degrees(now.backup_start), _degree(facts)),
            row(
                f"coldest water above {facts.sensor} when the heater stops",
                facts.degrees(now.backup_setpoint),
                _degree(facts),
            ),
        ]
    least = f"{facts.degrees(hot_water.min_temperature)} or hotter"
    found.append(row("hot water to the building while drawn", least, "no colder"))
    if facts.scenario.recirculation is not None:
        limit = f"no colder than {facts.degrees(return_limit(facts))}"
        found.append(row("loop return, steady", facts.degrees(facts.loop_back), limit))
    return found


def backup_parts(facts: Facts) -> list[Part]:
    """The second test: what the plant has of backup and of redundant modules."""
    now, backup = facts.settings, facts.scenario.plant.backup
    steps, found = [], []
    if facts.modules > 1:
        steps.append("Put the lead module out of service by its switch while the store calls.")
        found.append(row("next module starts", "within 5 min, with alarm", "the same"))
    if facts.heats and facts.backed == "parallel":
        steps.append("Disable the heat pump and draw hot water until the backup starts; then stop the draw.")
        idle = "draws" if facts.scenario.recirculation is None else "draws or loop"
        volume = (1.0 - now.backup_height) * facts.scenario.plant.storage.volume
        seconds = RHO_CP * volume * backup.dead_band / (backup.power or 1.0)
        found += [
            row(f"{facts.sensor} when the backup starts", facts.degrees(now.backup_start), _degree(facts)),
            row(
                f"coldest water above {facts.sensor} when the backup stops",
                facts.degrees(now.backup_setpoint),
                _degree(facts),
            ),
            row(
                f"time from start to stop without {idle}, all of that water being at the start temperature",
                f"{digits(seconds / 60.0)} min",
                f"±{WITHIN:g} %",
            ),
        ]
        if backup.delay > 0.0:
            found.append(row("time from its call to its start", time_text(backup.delay), "±1 min"))
        if backup.lock_outs:
            found.append(
                row(
                    "lockout windows: the backup is off",
                    facts.setting("plant.backup.lock_outs").text,
                    "the same",
                )
            )
    elif facts.heats and facts.backed == "series":
        steps.append(
            "Disable the heat pump and draw hot water until the store gives colder water than the trim "
            "heater's setpoint."
        )
        found.append(
            row(
                "water behind the trim heater, within its power",
                facts.degrees(now.backup_setpoint),
                _degree(facts, 2.0),
            )
        )
    if facts.heats and facts.backed:
        hours = facts.record["resistance_hours"] + facts.record["fuel_hours"]
        found.append(row("backup in the simulated year, full power", f"{digits(hours)} h", "for information"))
        steps.append(
            "Enable the heat pump again; "
            f"{'the backup ends and ' if facts.backed == 'parallel' else ''}the store is charged by the "
            "heat pump."
        )
    if not steps:
        only = "heat pump of one module, no second heater" if facts.heats else "one heater"
        return [
            Paragraph(
                f"The plant has no redundant part: {only}. Nothing is tested; write down who accepts that."
            )
        ]
    return [
        Listing(tuple(steps), numbered=True),
        Table("Redundant or automatic back-up mode", HEADS, tuple(found), WIDTHS, form=True),
    ]


def alarm_rows(facts: Facts) -> Iterator[tuple[str, ...]]:
    """Lines of the third test: every alarm of the list."""
    for number, one in enumerate(alarms(facts), 1):
        yield str(number), one.tag, one.condition, one.delay, str(one.priority), "", "", ""


def power_rows(facts: Facts) -> list[Row]:
    """Lines of the fourth test."""
    found = [
        row(f"power off: {one.part}", one.position, "the same")
        for one in fail_safes(facts)
        if "sensor" not in one.part and "fault" not in one.part
    ]
    found += [
        row("settings and time in the controller after power returns", "as before", "the same"),
        row(
            "hot water to the building after power returns",
            f"{facts.degrees(facts.scenario.hot_water.min_temperature)} or hotter",
            "no colder while the store holds it",
        ),
        row("parts start again without anybody's help, in the order of the sequence", "yes", "the same"),
    ]
    return found


FIELDS = (
    "project",
    "date and outdoor temperature",
    "who tests",
    "who witnesses",
    "instruments with date of calibration",
)


def _licensed(facts: Facts) -> str:
    """Who works on what, of the parts that the plant has."""
    kind = facts.scenario.plant.backup.kind
    works = ["pressure", *(["refrigerant"] if facts.heats else []), "electricity"]
    works += [kind] if facts.backed and kind != "resistance" else []
    return f"Licensed persons work on {listed(works)}; hot water scalds."


def tests_sections(facts: Facts) -> list[Section]:
    """The chapter with the form."""
    fields = Table(
        "Filled in by hand", ("field", "entry"), tuple((name, "") for name in FIELDS), (1.0, 3.0), form=True
    )
    sections = [Section("Functional tests", (Paragraph(f"{ABOUT} {_licensed(facts)}", caution=True), fields))]
    checks = Table("Checks of the parts", HEADS, tuple(part_checks(facts)), WIDTHS, form=True)
    sections.append(Section("Before the tests: the parts", (checks,), 2))
    normal = Table("Normal operation", HEADS, tuple(normal_rows(facts)), WIDTHS, form=True)
    parts: list[Part] = [Listing(tuple(normal_steps(facts)), numbered=True), normal]
    if facts.heats and (table := expected_table(facts)) is not None:
        parts.append(table)
    sections.append(Section("Test 1: normal operation", tuple(parts), 2))
    sections.append(Section("Test 2: redundant or automatic back-up mode", tuple(backup_parts(facts)), 2))
    heads = (
        "no",
        "point",
        "condition, made by hand",
        "expected delay",
        "priority",
        "measured delay",
        "action seen",
        "pass or fail",
    )
    table = Table(
        "Performance of alarms",
        heads,
        tuple(alarm_rows(facts)),
        (0.6, 1.4, 3.0, 1.15, 1.05, 1.2, 1.1, 1.0),
        form=True,
    )
    how = (
        "Make each condition by a simulated sensor value or an override point, never by real hot water at "
        "a tap."
    )
    sections.append(Section("Test 3: performance of alarms", (Paragraph(how), table), 2))
    heating = "the heat pump runs" if facts.heats else "the heater is on"
    steps = (
        f"Open the supply of controller and plant while {heating} and hot water is drawn; wait 10 min.",
        "Close it; write down what starts, when and in which order.",
        "Repeat with the controller's supply alone.",
    )
    power = Table("Loss and restoration of power", HEADS, tuple(power_rows(facts)), WIDTHS, form=True)
    sections.append(
        Section("Test 4: loss and restoration of power", (Listing(steps, numbered=True), power), 2)
    )
    signs = Table(
        "Result",
        ("result", "name", "signature", "date"),
        (("passed", "", "", ""), ("to be repeated", "", "", "")),
        (1.0, 1.0, 1.0, 1.0),
        form=True,
    )
    sections.append(Section("Result of the tests", (signs,), 2))
    return sections
