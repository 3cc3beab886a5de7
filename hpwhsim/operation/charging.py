"""The sequence of a charge: when the heat pump may run, is called, stages, stops, and how hot it heats."""

from collections.abc import Iterator

from hpwhsim.operation.facts import Facts
from hpwhsim.operation.sentences import Sentence
from hpwhsim.operation.words import listed
from hpwhsim.plant.decide import RESET, RESET_TIME
from hpwhsim.scenario.families import CONDENSERS

CONTROLS, PUMP = "plant.controls", "plant.heat_pump"
SINGLE, MULTI, WRAPPED = CONDENSERS


def enabling(facts: Facts) -> Iterator[Sentence]:
    """When the heat pump may run."""
    controls, said = facts.scenario.plant.controls, facts.said
    yield Sentence(
        (),
        "The heat pump runs while the store calls for heat and every permission below holds. A permission "
        "that ends stops all modules at once, before their minimum run time.",
    )
    if controls.charge_windows:
        key = f"{CONTROLS}.charge_windows"
        yield Sentence((key,), f"A charge may run from {said(key)} of each day only.")
    if controls.lock_outs:
        key = f"{CONTROLS}.lock_outs"
        yield Sentence((key,), f"The heat pump is locked out from {said(key)} of each day.")
    if controls.signal is not None:
        keys = (f"{CONTROLS}.signal", f"{CONTROLS}.signal_hours")
        yield Sentence(
            keys,
            f"A charge follows the signal of {said(keys[0])}: it may run in the {said(keys[1])} hours of "
            "each day in which the signal is lowest, and in hours in which it is as low as in the last of "
            "them.",
        )
    if controls.reserve_height > 0.0:
        key = f"{CONTROLS}.reserve_height"
        use = facts.degrees(facts.scenario.hot_water.use_temperature)
        yield Sentence(
            (key,),
            "Charge windows, lockout windows and the signal do not hold while less than the upper "
            f"{said(key)} of the store (share of its volume, from the top) is at {use} or hotter. Source "
            "limits and demand windows hold even then.",
        )
    if controls.demand_windows:
        keys = (f"{CONTROLS}.demand_windows", f"{CONTROLS}.demand_modules")
        unit = "module may" if controls.demand_modules == 1 else "modules may"
        yield Sentence(
            keys,
            f"From {said(keys[0])} of each day (demand windows) at most {said(keys[1])} {unit} run; "
            "modules above that number stop as the window begins.",
        )
    yield from _source_limits(facts)


def _source_limits(facts: Facts) -> Iterator[Sentence]:
    controls, heat_pump = facts.scenario.plant.controls, facts.scenario.plant.heat_pump
    assert heat_pump is not None
    own = {f"{CONTROLS}.lock_out_below": controls.lock_out_below, f"{PUMP}.min_source": heat_pump.min_source}
    names = {
        f"{CONTROLS}.lock_out_below": "lockout of the controls",
        f"{PUMP}.min_source": "limit of the heat pump",
    }
    keys = tuple(key for key, value in own.items() if value is not None)
    limits = [f"{names[key]} {facts.said(key)}" for key in keys]
    lowest = facts.lowest_source
    if not any(value == lowest for value in own.values()):
        limits.append(f"end of the heat pump's own range {facts.degrees(lowest)}")
    yield Sentence(
        keys,
        f"The heat pump is locked out while the {facts.source} is colder than {facts.degrees(lowest)} "
        f"({listed(limits)}).",
    )
    if facts.scenario.plant.source_kind != "outdoor-air":
        yield Sentence(
            (),
            "Only as many modules run as leave the source above that limit. One that it stopped joins again "
            f"when the source is {facts.kelvin(RESET)} above it; this differential falls to nothing within "
            f"{RESET_TIME / 3600.0:g} h.",
        )


def sensing(facts: Facts) -> Iterator[Sentence]:
    """Where the store is sensed, and when a charge starts and stops."""
    said, now = facts.said, facts.settings
    start, stop = f"{CONTROLS}.sensor_height", f"{CONTROLS}.stop_height"
    setpoint, band = "plant.storage.setpoint", f"{CONTROLS}.dead_band"
    yield Sentence(
        (start, setpoint, band),
        f"A charge starts when the water at the start sensor (ST-T-START, at {said(start)} of the height "
        f"of the store from its bottom) is colder than {facts.degrees(now.start_at)}: the setpoint of "
        f"{said(setpoint)} less the dead band of {said(band)}.",
    )
    yield Sentence(
        (stop,),
        f"It ends when the water at the stop sensor (ST-T-STOP, at {said(stop)} of the height) is at "
        f"{facts.degrees(now.stop_at)} or hotter: the setpoint less half the dead band. Between the two "
        "the call stays as it is.",
    )
    yield from _minimum_times(facts)


def _minimum_times(facts: Facts) -> Iterator[Sentence]:
    controls = facts.scenario.plant.controls
    if controls.min_run > 0.0:
        key = f"{CONTROLS}.min_run"
        yield Sentence(
            (key,),
            f"Once the first module has started, a charge runs for at least {facts.said(key)}, even where "
            "the call ends before; a lockout, or water too hot to enter, ends it at once.",
        )
    if controls.min_off > 0.0:
        key = f"{CONTROLS}.min_off"
        yield Sentence(
            (key,), f"After the last module has stopped, none starts for at least {facts.said(key)}."
        )


def staging(facts: Facts) -> Iterator[Sentence]:
    """How many modules run, which of them, and how fast."""
    said, modules, controls = facts.said, facts.modules, facts.scenario.plant.controls
    heat_pump = facts.scenario.plant.heat_pump
    assert heat_pump is not None
    count, delay = f"{PUMP}.modules", f"{CONTROLS}.stage_delay"
    retry = " After the source or the water has stopped a module, none joins for "
    retry += f"{said(delay)}" if controls.min_off <= controls.stage_delay else "the minimum off time"
    retry += "." if controls.min_off != controls.stage_delay else ", the minimum off time too."
    if controls.stage_delay <= 0.0 and controls.min_off <= 0.0:
        retry = ""
    if modules == 1:
        yield Sentence(
            (count, delay), f"The plant has {said(count)} module, which starts with the call.{retry}"
        )
    elif controls.stage_delay <= 0.0:
        yield Sentence(
            (count, delay),
            f"All {said(count)} modules start together with the call (stage delay {said(delay)}).{retry}",
        )
    else:
        yield Sentence(
            (count, delay),
            "With the call the lead module starts. While the call stands, one more starts each "
            f"{said(delay)} after that start until all {said(count)} run. All that run stop "
            f"together.{retry}",
        )
    lead = f"{CONTROLS}.lead"
    if modules > 1 or controls.given("lead"):
        text = "The lead passes to the next module each time the last module stops"
        if controls.lead == "fixed":
            text = "Module 1 is always the lead, and the others follow in their order"
        yield Sentence((lead,), f"{text} (lead: {said(lead)}).")
    if heat_pump.min_speed_fraction < 1.0:
        key = f"{PUMP}.min_speed_fraction"
        yield Sentence(
            (key,),
            "The compressors run at full speed while the water at the start sensor calls, then in "
            "proportion to the height of that temperature between stop and start sensor, and at no less "
            f"than {said(key)} of full speed.",
        )
    if heat_pump.start_loss > 0.0:
        key = f"{PUMP}.start_loss"
        yield Sentence(
            (key,),
            f"At each start a module draws power for {said(key)} before it gives heat; alarms on it wait "
            "so long.",
        )


def leaving(facts: Facts) -> Iterator[Sentence]:
    """Water that leaves the heat pump, and what it may meet."""
    said = facts.said
    heat_pump = facts.scenario.plant.heat_pump
    assert heat_pump is not None
    kind, outlet = f"{PUMP}.condenser", f"{PUMP}.outlet_temperature"
    if heat_pump.condenser == SINGLE:
        yield Sentence(
            (kind, outlet),
            f"Each module ({said(kind)}) controls its water flow so that the water leaves at {said(outlet)}.",
        )
    elif heat_pump.condenser == MULTI:
        rise = f"{PUMP}.rise"
        yield Sentence(
            (kind, outlet, rise),
            f"Each module ({said(kind)}) heats its water by {said(rise)} at each pass, to {said(outlet)} "
            "at most.",
        )
    else:
        yield Sentence(
            (kind, outlet),
            f"The condenser lies on the wall of the tank ({said(kind)}) and heats its water to "
            f"{said(outlet)} at most.",
        )
    if heat_pump.table is None:
        key = f"{PUMP}.max_outlet"
        yield Sentence((key,), f"No setpoint asks the heat pump for water hotter than {said(key)}.")
    key = f"{PUMP}.max_inlet"
    given = f"the limit {said(key)}" if heat_pump.max_inlet is not None else "the end of its own range"
    controls = facts.scenario.plant.controls
    moved = controls.boost > 0.0 or controls.outdoor_reset is not None
    apart = ", without boost and reset" if moved else ""
    what = "the tank's water is" if heat_pump.condenser == WRAPPED else "the water entering it is"
    yield Sentence(
        (key,) if heat_pump.max_inlet is not None else (),
        f"A module does not start, and stops, while {what} hotter than "
        f"{facts.degrees(facts.hottest_inlet)} (the lower of {given} and what its leaving water "
        f"allows{apart}).",
    )
    if heat_pump.table is None:
        keys = tuple(
            f"{PUMP}.limits.{name}" for name in ("max_discharge", "max_pressure", "max_pressure_ratio")
        )
        yield Sentence(
            keys,
            f"The unit stays below a discharge gas of {said(keys[0])}, a pressure of {said(keys[1])} and a "
            f"pressure ratio of {said(keys[2])} by its own controls; its maker's safety devices are not "
            "part of this sequence.",
        )


def resets(facts: Facts) -> Iterator[Sentence]:
    """What moves the setpoint of the store."""
    controls, said = facts.scenario.plant.controls, facts.said
    rise_too = "Start and stop temperature of a charge and the leaving water rise by the same"
    if controls.boost > 0.0:
        keys = (f"{CONTROLS}.boost", f"{CONTROLS}.boost_windows")
        yield Sentence(
            keys,
            f"Boost: from {said(keys[1])} of each day the setpoint of the store is {said(keys[0])} higher. "
            f"{rise_too}.",
        )
    if controls.outdoor_reset is not None:
        cold, mild, rise = (f"{CONTROLS}.outdoor_reset.{name}" for name in ("cold", "mild", "rise"))
        yield Sentence(
            (cold, mild, rise),
            f"Outdoor reset: with outdoor air at {said(cold)} or colder the setpoint is {said(rise)} "
            f"higher, from {said(mild)} up nothing is added, and in between the rise is in proportion. "
            f"{rise_too}.",
        )


def defrosting(facts: Facts) -> Iterator[Sentence]:
    """How the outdoor coil is kept clear of frost."""
    controls, heat_pump, said = facts.scenario.plant.controls, facts.scenario.plant.heat_pump, facts.said
    assert heat_pump is not None
    if facts.scenario.plant.source_kind != "outdoor-air":
        return
    if heat_pump.defrosts_by == "none":
        yield Sentence(
            (f"{PUMP}.defrost",),
            f"No defrost is counted (defrost: {said(f'{PUMP}.defrost')}); the unit's own controls defrost "
            "it.",
        )
        return
    how, many, long = f"{PUMP}.defrost", f"{CONTROLS}.defrosts", f"{CONTROLS}.defrost_time"
    start = (
        f"A module defrosts by {said(how)} when its coil is full of frost, and takes the heat from the store."
    )
    if controls.defrosts == "averaged":
        yield Sentence(
            (how, many),
            f"{start} In the simulation its cost is spread over the hour (defrosts: {said(many)}); start "
            "and end of a defrost are those of the unit's own controls.",
        )
        return
    text = "the first module that calls for it takes all running modules along"
    if controls.defrosts == "staggered":
        text = "modules defrost one after the other, no more at a time than the frost needs"
    yield Sentence(
        (how, many, long), f"{start} A defrost lasts {said(long)} (defrosts: {said(many)}): {text}."
    )
