"""States of the plant with entry and exit, loss and return of power, and where each part fails to."""

from typing import NamedTuple

from hpwhsim.operation.facts import Facts
from hpwhsim.operation.parts import Listing, Paragraph, Section, Table
from hpwhsim.operation.words import listed, time_text, windows_text

SIMULATED, PRACTICE = "simulated", "common practice, no source"
DEFER = (
    "What is marked 'common practice, no source' is not simulated and no rule: licensed practice, the "
    "makers' instructions and local codes decide."
)


class State(NamedTuple):
    """A state of the plant."""

    name: str
    entry: str
    exit: str
    what: str  # what runs
    basis: str  # simulated, or where it is from


class FailSafe(NamedTuple):
    """Where a part goes without power or signal."""

    part: str
    position: str
    why: str


def states(facts: Facts) -> list[State]:
    """The states that the plant has."""
    heat_pump = facts.scenario.plant.heat_pump
    lines = heat_pump.water_lines if heat_pump is not None else None
    idle = "heat trace only" if lines is not None and lines.protection == "trace" else "nothing"
    found = [
        State(
            "Off",
            "the plant is disabled by hand",
            "it is enabled by hand",
            idle,
            PRACTICE,
        ),
        *(_heat_pump_states(facts) if facts.heats else ()),
        *_heater_states(facts),
    ]
    fault = "an alarm of priority 1 or 2, or a fault of a unit"
    what = "the part at fault is off; the others run by this sequence"
    found.append(State("Fault", fault, "the fault is mended and reset by hand", what, PRACTICE))
    return found


def _heat_pump_states(facts: Facts) -> list[State]:
    now, controls, modules = facts.settings, facts.scenario.plant.controls, facts.modules
    start, stop = facts.degrees(now.start_at), facts.degrees(now.stop_at)
    end = f"ST-T-STOP at {stop} or hotter"
    if controls.min_run > 0.0:
        end += f" and {time_text(controls.min_run)} of running are over"
    call = f"ST-T-START colder than {start}, every permission holds"
    if controls.min_off > 0.0:
        call += f", and {time_text(controls.min_off)} since the last stop are over"
    found = [State("Idle", end, call, "no module; the loop pump by its own control", SIMULATED)]
    if not facts.scenario.recirculation:
        found = [found[0]._replace(what="no module")]
    first = "all modules" if controls.stage_delay <= 0.0 and modules > 1 else "1 module"
    found.append(State(f"Heating, {first}", call, f"{end}; or a permission ends", first, SIMULATED))
    if modules > 1 and controls.stage_delay > 0.0:
        number = "2 modules" if modules == 2 else f"2 to {modules} modules"
        entry = f"the call stands for {time_text(controls.stage_delay)} since the start"
        entry += "" if modules == 2 else ", for as long again for each further module"
        found.append(State(f"Heating, {number}", entry, f"{end}; or a permission ends", number, SIMULATED))
    if _defrosts(facts):
        what = "a defrosting module takes heat from the store"
        if controls.defrosts == "averaged":
            found.append(
                State("Defrost", "by the unit: its coil is full of frost", "by the unit", what, PRACTICE)
            )
        else:
            span = time_text(controls.defrost_time)
            found.append(State("Defrost", "a coil is full of frost", f"after {span}", what, SIMULATED))
    if controls.boost > 0.0:
        begin, over = _edges(windows_text(controls.boost_windows))
        what = f"the setpoint is {facts.kelvin(controls.boost)} higher"
        found.append(State("Boost", begin, over, what, SIMULATED))
    found.append(_locked_out(facts))
    return found


def _edges(windows: str) -> tuple[str, str]:
    return f"window begins ({windows})", "window ends"


def _defrosts(facts: Facts) -> bool:
    heat_pump = facts.scenario.plant.heat_pump
    outdoors = facts.scenario.plant.source_kind == "outdoor-air"
    return heat_pump is not None and outdoors and heat_pump.defrosts_by != "none"


def _locked_out(facts: Facts) -> State:
    controls = facts.scenario.plant.controls
    causes = [f"{facts.source} colder than {facts.degrees(facts.lowest_source)}"]
    causes.append(f"water at the heat pump hotter than {facts.degrees(facts.hottest_inlet)}")
    if controls.charge_windows:
        causes.append(f"outside the charge windows ({windows_text(controls.charge_windows)})")
    if controls.lock_outs:
        causes.append(f"in a lockout window ({windows_text(controls.lock_outs)})")
    if controls.signal is not None:
        causes.append("an hour in which the signal does not let it run")
    if controls.demand_windows and controls.demand_modules == 0:
        causes.append("a demand window that allows no module")
    what = "no module" if not facts.backed else f"no module; the {facts.heater} by its own thermostat"
    return State("Locked out while calling", "; or ".join(causes), "none of these holds", what, SIMULATED)


def _heater_states(facts: Facts) -> list[State]:
    if not facts.backed:
        return []
    backup, now, name = facts.scenario.plant.backup, facts.settings, facts.heater.capitalize()
    target = facts.degrees(now.backup_setpoint)
    if facts.backed == "series":
        entry = f"water flows that leaves the store colder than {target}"
        return [
            State(
                f"{name} on",
                entry,
                "water leaves the store as hot as that, or none flows",
                "trim heater",
                SIMULATED,
            )
        ]
    entry = f"{facts.sensor} colder than {facts.degrees(now.backup_start)}"
    if backup.delay > 0.0:
        entry += f" for {time_text(backup.delay)}"
    over = f"the coldest water above {facts.sensor} at {target}"
    if backup.lock_outs:
        entry, over = f"{entry}, outside its lockout windows", f"{over}, or a lockout window begins"
    found = [State(f"{name} on", entry, over, f"the {facts.heater}", SIMULATED)]
    if not facts.heats:
        found.insert(0, State("Idle", over, entry, "no heater", SIMULATED))
    heat_up = facts.scenario.plant.controls.pasteurise
    if heat_up is not None and facts.heats:
        entry = (
            f"{heat_up.weekday.capitalize()} {windows_text([heat_up.window])}, any water of the store "
            "colder than "
        )
        entry += facts.degrees(heat_up.temperature)
        over = f"all of it at {facts.degrees(heat_up.temperature + backup.dead_band)}, or the window ends"
        found.append(State("Pasteurising", entry, over, f"the {facts.heater} on the whole store", SIMULATED))
    return found


def power_steps(facts: Facts) -> list[str]:
    """What happens as power is lost and comes back."""
    found = [
        "Power is lost: every output goes to its fail-safe position; the controller keeps its settings "
        "and the time."
    ]
    back = "Power returns: the controller waits until its sensors read true"
    parts = []
    if facts.scenario.recirculation is not None:
        parts.append("the loop pump starts")
    if facts.heats:
        parts.append("the heat pump is enabled")
    if facts.backed:
        parts.append(f"the {facts.heater} is permitted")
    found.append(f"{back}, then in this order {listed(parts)}.")
    if facts.heats:
        wait = facts.scenario.plant.controls.min_off
        how = f"the minimum off time of {time_text(wait)}" if wait > 0.0 else "the unit's own restart delay"
        rest = "; modules start one after the other, not all at once" if facts.modules > 1 else ""
        found.append(f"A compressor does not start before {how}{rest}.")
    found.append("Each loss of power is recorded with its time; no alarm is latched by it alone.")
    if facts.scenario.hot_water.tempering_valve is not None:
        found.append(
            "The outlet of the tempering valve is watched until it is steady before anybody draws (scald)."
        )
    return found


def fail_safes(facts: Facts) -> list[FailSafe]:
    """Where each part that the plant has goes without power or signal."""
    found = []
    if facts.heats:
        found.append(FailSafe("heat pump", "off", "no heat without control of leaving water and pressure"))
    if facts.backed == "parallel":
        position = "off; its own high-limit thermostat cuts it out beside the controller"
        found.append(
            FailSafe(facts.heater, position, "no heat without a sensor; the limit needs no controller")
        )
        if facts.heats:
            reason = "hot water goes on while the heat pump is at fault"
            found.append(
                FailSafe("backup on a fault of the heat pump", "permitted by its own thermostat", reason)
            )
    elif facts.backed == "series":
        found.append(FailSafe("trim heater", "off, and off without flow", "no heat into water that stands"))
    if facts.scenario.hot_water.tempering_valve is not None:
        reason = "no water of the store unmixed to the taps (scald)"
        found.append(FailSafe("tempering valve, cold water lost", "closes the hot port", reason))
    if facts.scenario.recirculation is not None:
        reason = "the loop stays hot (Legionella)"
        found.append(FailSafe("loop pump, signal lost", "runs while there is power", reason))
        if facts.scenario.recirculation.loop_tank is not None:
            found.append(
                FailSafe("loop tank heater", "off; its own high-limit thermostat", "no heat without a sensor")
            )
    found += _source_fail_safes(facts)
    found.append(
        FailSafe(
            "a sensor of the store",
            "its charge ends, with an alarm; by hand on another sensor",
            "no charge without end",
        )
    )
    return found


def _source_fail_safes(facts: Facts) -> list[FailSafe]:
    kind, heat_pump = facts.scenario.plant.source_kind, facts.scenario.plant.heat_pump
    if heat_pump is None:
        return []
    found = []
    if kind == "ground-loop":
        found.append(
            FailSafe(
                "ground loop pump", "off, and the heat pump off without its flow", "the evaporator freezes"
            )
        )
    if kind == "wastewater":
        found.append(
            FailSafe(
                "sewage pump and grinder", "off, and the heat pump off without flow", "the evaporator freezes"
            )
        )
    lines = heat_pump.water_lines
    if lines is not None and lines.protection == "trace":
        found.append(
            FailSafe("heat trace, signal lost", "on in cold air by its own thermostat", "lines freeze")
        )
    if lines is not None and lines.protection == "none":
        found.append(FailSafe("water lines outdoors", "drained in an outage in frost", "lines freeze"))
    return found


def states_sections(facts: Facts) -> list[Section]:
    """The chapter on states, power and fail-safe positions."""
    heads = ("state", "entry", "exit", "what runs", "basis")
    table = Table("States of the plant", heads, tuple(states(facts)), (1.6, 3.0, 3.0, 2.0, 1.4))
    rows = tuple((*one, PRACTICE) for one in fail_safes(facts))
    fails = Table(
        "Positions without power or signal", ("part", "goes to", "why", "basis"), rows, (2.0, 3.0, 2.6, 1.6)
    )
    return [
        Section("States", (Paragraph(DEFER, caution=True), table)),
        Section(
            "Loss and return of power",
            (Paragraph(f"Basis: {PRACTICE}."), Listing(tuple(power_steps(facts)), True)),
            2,
        ),
        Section("Fail-safe positions", (fails,), 2),
    ]
