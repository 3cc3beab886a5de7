"""The sequence of what heats beside the heat pump, and of loop, loop tank, valve and frost protection."""

from collections.abc import Iterator

from hpwhsim.io.units import TEMPERATURE
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.sentences import Sentence
from hpwhsim.operation.words import in_si

BACKUP, LOOP, VALVE, LINES = "plant.backup", "recirculation", "hot_water", "plant.heat_pump.water_lines"
HEATERS = {
    "resistance": "an electric resistance heater",
    "gas": "a gas burner",
    "oil": "an oil burner",
    "steam": "district steam",
}
DAYS = {
    "mon": "Mondays",
    "tue": "Tuesdays",
    "wed": "Wednesdays",
    "thu": "Thursdays",
    "fri": "Fridays",
    "sat": "Saturdays",
    "sun": "Sundays",
}


def backing(facts: Facts) -> Iterator[Sentence]:
    """The backup, or the only heater."""
    backup, said, now = facts.scenario.plant.backup, facts.said, facts.settings
    keys = tuple(f"{BACKUP}.{name}" for name in ("kind", "power", "mode"))
    what = f"The {facts.heater} is {HEATERS[backup.kind]} of {said(keys[1])}"
    setpoint, band = f"{BACKUP}.setpoint", f"{BACKUP}.dead_band"
    if facts.backed == "series":
        yield Sentence(
            keys,
            f"{what}, a trim heater in the pipe that leaves the store ({said(keys[2])}), ahead of the "
            "branch of the loop.",
        )
        band_keys = (band,) if backup.given("dead_band") else ()
        idle = f" Its dead band of {said(band)} has no effect." if band_keys else ""
        yield Sentence(
            (setpoint, *band_keys),
            f"It heats what flows to {said(setpoint)} as far as its power reaches, with no delay and no "
            f"lockout, and gives no heat to water that leaves the store hotter.{idle}",
        )
        return
    height = f"{BACKUP}.height"
    yield Sentence(
        (*keys, height),
        f"{what}; it heats the store above {said(height)} of its height ({said(keys[2])}).",
    )
    if not facts.heats:
        store = "plant.storage.setpoint"
        yield Sentence((store,), f"The setpoint of the store is {said(store)}.")
    yield Sentence(
        (setpoint, band),
        f"It starts when the water at that height ({facts.sensor}) is colder than "
        f"{facts.degrees(now.backup_start)}, its setpoint of {said(setpoint)} less its dead band of "
        f"{said(band)}, and stops when the coldest water above is at the setpoint.",
    )
    if facts.heats:
        yield Sentence((), _first(facts))
    if backup.delay > 0.0:
        key = f"{BACKUP}.delay"
        yield Sentence((key,), f"It waits {said(key)} after its thermostat calls.")
    if backup.lock_outs:
        key = f"{BACKUP}.lock_outs"
        yield Sentence((key,), f"It is locked out from {said(key)} of each day.")


def _first(facts: Facts) -> str:
    """Whether the heat pump is called before the backup."""
    now = facts.settings
    own = "Its thermostat alone calls it: it runs beside the heat pump and while that is locked out."
    if now.start_at > now.backup_start and now.sensor_height <= now.backup_height:
        return (
            f"{own} The heat pump is called {facts.kelvin(now.start_at - now.backup_start)} before it, so "
            "that in a store that cools evenly the heat pump comes first."
        )
    return f"{own} With these settings it may start before the heat pump is called: see the cautions."


def pasteurising(facts: Facts) -> Iterator[Sentence]:
    """The weekly heat-up of the store."""
    block = facts.scenario.plant.controls.pasteurise
    if block is None:
        return
    said, backup = facts.said, facts.scenario.plant.backup
    keys = tuple(f"plant.controls.pasteurise.{name}" for name in ("temperature", "weekday", "window"))
    mark = facts.said(keys[1]).removeprefix(facts.setting(keys[1]).text)
    end = facts.degrees(block.temperature + backup.dead_band)
    yield Sentence(
        keys,
        f"On {DAYS[block.weekday]}{mark}, from {said(keys[2])}, the backup heats the whole store: it "
        f"starts where the coldest water is colder than {said(keys[0])} and stops when all of it is at "
        f"{end}. Its own delay and lockouts hold.",
    )


def circulating(facts: Facts) -> Iterator[Sentence]:
    """The recirculation loop."""
    block, said = facts.scenario.recirculation, facts.said
    if block is None:
        return
    served = f"{LOOP}.served_by"
    yield Sentence(
        (served,),
        f"The recirculation loop leaves at {facts.degrees(facts.supply)} and is served by the "
        f"{said(served).replace('-', ' ')}.",
    )
    key = f"{LOOP}.return_temperature" if block.supply_drop is None else f"{LOOP}.supply_drop"
    with_flow = f"; the flow for that is {facts.loop_flow}" if facts.loop_flow else ""
    target = f"a return of {said(key)}"
    if block.supply_drop is not None:
        target = (
            f"a fall of {said(key)} from supply to return, which comes back at "
            f"{facts.degrees(facts.loop_back)}"
        )
    yield Sentence((key,), f"It is balanced for {target}{with_flow}.")
    if block.loss_per_apartment is None:
        key = f"{LOOP}.min_flow"
        yield Sentence((key,), f"No branch is set to less than {said(key)}.")
    if block.schedule:
        key = f"{LOOP}.schedule"
        yield Sentence((key,), f"The loop pump runs from {said(key)} of each day only.")
    elif block.aquastat is not None:
        keys = (f"{LOOP}.aquastat", f"{LOOP}.aquastat_band")
        off = facts.degrees(block.aquastat + block.aquastat_band)
        yield Sentence(
            keys,
            f"The loop pump starts when the return pipe is colder than {said(keys[0])} and stops at {off}, "
            f"{said(keys[1])} above.",
        )
    else:
        yield Sentence((), "The loop pump runs all day.")
    yield from loop_tank(facts)


def loop_tank(facts: Facts) -> Iterator[Sentence]:
    """The loop's own tank and its heater."""
    block = facts.scenario.recirculation
    tank = block.loop_tank if block is not None else None
    if tank is None:
        return
    said, path = facts.said, f"{LOOP}.loop_tank"
    key = f"{path}.connection"
    way = "the store's hot water runs through it to the taps"
    if tank.connection == "parallel":
        way = "it serves the loop alone"
    yield Sentence((key,), f"The loop has a tank of its own, connected in {said(key)}: {way}.")
    keys = (f"{path}.setpoint", f"{path}.dead_band")
    start = facts.degrees(tank.setpoint - tank.dead_band)
    if tank.power is not None:
        heater, more = f"its resistance heater of {said(f'{path}.power')}", (f"{path}.power",)
    else:
        rise = f"{path}.heat_pump.rise"
        heater, more = f"its own air-source heat pump, {said(rise)} at each pass,", (rise,)
    yield Sentence(
        (*keys, *more),
        f"Colder than {start}, its setpoint of {said(keys[0])} less the dead band of {said(keys[1])}, "
        f"{heater} starts and heats the tank to the setpoint.",
    )
    if tank.heat_pump is not None:
        yield Sentence(
            (), "That heat pump is locked out in air colder than its own range; nothing stands in for it."
        )


def tempering(facts: Facts) -> Iterator[Sentence]:
    """The mixing valve at the plant."""
    block, said = facts.scenario.hot_water, facts.said
    if block.tempering_valve is None:
        return
    keys = (f"{VALVE}.tempering_valve", f"{VALVE}.tempering_min_difference")
    least = facts.degrees(block.tempering_valve + block.tempering_min_difference)
    yield Sentence(
        keys,
        f"The tempering valve mixes what leaves the plant to {said(keys[0])}. It holds that with hot water "
        f"at {least} or hotter ({said(keys[1])} above its setpoint); with colder water it passes as much "
        "cold water as then.",
    )
    if block.tempering_min_flow is not None:
        key = f"{VALVE}.tempering_min_flow"
        yield Sentence(
            (key,), f"Below {said(key)} it does not control, and may pass water as hot as the store."
        )
    if block.tempering_max_flow is not None:
        key = f"{VALVE}.tempering_max_flow"
        yield Sentence((key,), f"Above {said(key)} it is too small for the flow.")


def frost(facts: Facts) -> Iterator[Sentence]:
    """Freeze protection of water lines outdoors, and crankcase heat."""
    heat_pump, said = facts.scenario.plant.heat_pump, facts.said
    if heat_pump is None:
        return
    lines = heat_pump.water_lines
    key = f"{LINES}.protection"
    if lines is not None and lines.protection == "trace":
        keys = (key, *(f"{LINES}.{name}" for name in ("trace_hold", "trace_rating", "trace_control")))
        how = (
            "gives what the pipe loses, up to its rating"
            if lines.trace_control == "self-regulating"
            else ("gives its rating whenever the air is that cold")
        )
        yield Sentence(
            keys,
            f"Water lines outdoors are protected by heat {said(key)}: it is on in outdoor air colder than "
            f"{said(keys[1])} and holds standing water there; at {said(keys[2])} of pipe ({said(keys[3])}) "
            f"it {how}.",
        )
    elif lines is not None and lines.protection == "glycol":
        keys = (key, f"{LINES}.glycol_share")
        yield Sentence(
            keys,
            f"Water lines outdoors are protected by {said(key)}: {said(keys[1])} of the mass in them is "
            "propylene glycol, and an exchanger stands at the store.",
        )
    elif lines is not None:
        yield Sentence(
            (key,),
            f"Water lines outdoors have no protection (protection: {said(key)}): drain them in an outage "
            f"below {in_si(0.0, TEMPERATURE)}.",
        )
    if heat_pump.crankcase_power > 0.0:
        keys = ("plant.heat_pump.crankcase_below", "plant.heat_pump.crankcase_power")
        yield Sentence(
            keys,
            f"The crankcase heater of an idle module ({said(keys[1])}) is on while the source is colder "
            f"than {said(keys[0])}.",
        )
