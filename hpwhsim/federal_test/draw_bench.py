"""The room of the federal draw-pattern test: its conditions and draws, and a unit set up and simulated in it.

The unit of a scenario is put into the room, its thermostat is set, it heats up from cold, and the march that
runs the year runs the test. Each step of the march is recorded by itself. A march has no memory, so where the
test waits for the unit (until it has recovered), the march is made again from the cold start with what was
learned; a day in steps of 10 s takes some milliseconds.

References
----------
10 CFR 430 Subpart B Appendix E, uniform test method for water heaters; ``cfr-430-appendix-e`` and
``cfr-430-appendix-e-draws`` of the packaged table of sources say how it is known; ``cfr-305-d3`` the limits.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from hpwhsim.arrays import Array, Flags
from hpwhsim.climate.moist_air import humidity_ratio_from_relative
from hpwhsim.errors import InputError
from hpwhsim.io.units import DIFFERENCE, TEMPERATURE, as_text
from hpwhsim.io.us_units import GALLON
from hpwhsim.plant.arrays import Drive, Hourly, Plant, SourceState
from hpwhsim.plant.assemble import assemble
from hpwhsim.plant.draw_times import EVEN
from hpwhsim.plant.march import march
from hpwhsim.scenario.reading import Loaded, scenario_from
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.writing import dump
from hpwhsim.storage.layers import RHO_CP
from hpwhsim.tables import read_table

if TYPE_CHECKING:
    import xarray as xr


DELIVERY_C, SUPPLY_C, ROOM_C = (125 - 32) / 1.8, (58 - 32) / 1.8, (67.5 - 32) / 1.8
HUMIDITY = 0.5  # relative, of the room
PRESSURE_PA = 101325.0  # the test may be made at any height; tankyear default
FIRST_HOUR_LIMITS = {"very-small": 0.0, "low": 18.0, "medium": 51.0, "high": 75.0}  # gal, from this on
QUIET_S = 600.0  # the unit is satisfied when nothing has run for so long; tankyear default
ALWAYS = slice(None)
ENDLESS_USE_C = 1000.0  # as use temperature: no valve, the draws are of the water at the outlet


class Draw(NamedTuple):
    """One draw of a pattern."""

    start: float  # after the first draw began, s
    volume: float  # m³
    flow: float  # m³/s
    first_cluster: bool


class Unit(NamedTuple):
    """A unit in the room of the test, its thermostat set."""

    plant: Plant
    drive: Drive  # one element or one year each; all constant
    start: Array  # cold, °C
    state: SourceState  # of the outdoor air: none
    ready: int  # step in which it has heated up and cut out
    setpoint: float  # °C
    assumptions: list[dict[str, str]]
    cautions: list[str]


class Trace(NamedTuple):
    """A march of the unit, step by step from the cold start."""

    out: Hourly  # an "hour" is a step
    bought: Array  # (step,) J
    machine: Flags  # (step,)
    backup: Flags  # (step,) backup at more than half of its power
    stored: Array  # (step + 1,) heat in the store above 0 °C at the edges of the steps, J

    @property
    def running(self) -> Flags:
        """Whether heat pump or backup heats, shape (step,)."""
        return self.machine | self.backup

    def outlet(self) -> Array:
        """Mean temperature of the water delivered in each step, NaN where none is. [°C]."""
        return SUPPLY_C + np.divide(
            self.out.taps_heat,
            self.out.hot_volume * RHO_CP,
            out=np.full_like(self.out.taps_heat, np.nan),
            where=self.out.hot_volume > 0.0,
        )


def draw_pattern(name: str) -> tuple[Draw, ...]:
    """The draws of a pattern of the 24-hour test.

    Parameters
    ----------
    name : str
        very-small, low, medium or high.

    Raises
    ------
    InputError
        If there is no such pattern.
    """
    if name not in FIRST_HOUR_LIMITS:
        raise InputError(f"--pattern: got {name!r}; allowed {', '.join(FIRST_HOUR_LIMITS)}")
    return tuple(
        Draw(
            60.0 * float(row["minute"]),
            GALLON * float(row["volume_gal"]),
            GALLON / 60.0 * float(row["flow_gpm"]),
            row["first_cluster"] == "1",
        )
        for row in read_table("draw_patterns_24h")
        if row["pattern"] == name
    )


def pattern_of(first_hour: float) -> str:
    """The draw pattern that belongs to a first-hour rating. [m³]."""
    return [name for name, least in FIRST_HOUR_LIMITS.items() if first_hour >= least * GALLON][-1]


def drawn_in_steps(draws: Sequence[Draw], steps: int, step_s: float) -> Array:
    """Water drawn in each of `steps` steps of `step_s` seconds. [m³]."""
    edges = step_s * np.arange(steps + 1)
    taken = np.zeros(steps + 1)
    for draw in draws:
        taken += np.clip((edges - draw.start) * draw.flow, 0.0, draw.volume)
    return np.diff(taken)


def prepare(loaded: Loaded, steps_per_hour: int) -> Unit:
    """The unit of a scenario in the room of the test, its thermostat set for the temperature of delivery.

    Kept from the scenario: the block `plant`, without charge windows, lock-outs and the room around the
    store. The thermostat is that of the store; a second heater in it keeps the scenario's setpoint, but no
    more than the temperature of delivery. A unit whose charge ends below its setpoint (wrapped condenser,
    multi-pass) is set higher, until the top of its store has the temperature of delivery.

    Raises
    ------
    InputError
        If the plant is no single unit, or cannot work in the test.
    """
    scenario = loaded.scenario
    _check_single(scenario, str(loaded.path))
    heat_pump = scenario.plant.heat_pump
    adjustable = heat_pump is not None and heat_pump.condenser != "single-pass"
    follows = heat_pump is not None and heat_pump.outlet_temperature is None
    highest = DELIVERY_C + (0.5 * scenario.settings.dead_band if adjustable else 0.0)
    test = _in_the_test(loaded, highest, steps_per_hour)
    with loaded.named():
        assembly = assemble(test, _room_weather())
    # power that is off is off: no reserve of hot water brings it back
    plant = assembly.plant._replace(
        step_seconds=3600.0 / steps_per_hour, use_temperature=ENDLESS_USE_C, reserve_level=0.0
    )
    unit = Unit(
        plant,
        assembly.drive,
        np.full(assembly.start.size, SUPPLY_C),
        assembly.state,
        0,
        highest,
        [item for item in assembly.assumptions if item["key"].startswith("plant.")],
        assembly.cautions,
    )
    unit = unit._replace(ready=_heated_up(unit))
    for _ in range(8 if adjustable else 0):
        short = DELIVERY_C - _top(unit)
        if abs(short) < 0.05 or unit.setpoint + short > highest + 1e-6:
            break
        unit = _turned(unit, short, follows)
        unit = unit._replace(ready=_heated_up(unit))
    return unit


def _check_single(scenario: Scenario, where: str) -> None:
    """Refuse what is no packaged unit."""
    plant = scenario.plant
    one = "the test is of one packaged unit"
    if plant.heat_pump is not None and plant.heat_pump.modules > 1:
        raise InputError(f"{where}: plant.heat_pump.modules: got {plant.heat_pump.modules}; allowed 1: {one}")
    if plant.heat_pump is not None and plant.source_kind not in ("outdoor-air", "room"):
        raise InputError(
            f"{where}: plant.source.kind: got {plant.source_kind!r}; allowed outdoor-air or room: {one}, "
            "which takes its heat from the air of the test room"
        )
    if plant.storage.tanks > 1:
        raise InputError(f"{where}: plant.storage.tanks: got {plant.storage.tanks}; allowed 1: {one}")
    if plant.backup.kind != "none" and plant.backup.mode == "series":
        raise InputError(
            f"{where}: plant.backup.mode: got 'series'; allowed parallel: {one}, its elements in the tank"
        )


def _in_the_test(loaded: Loaded, setpoint: float, steps_per_hour: int) -> Scenario:
    """The scenario with the unit's surroundings and settings replaced by those of the test."""
    scenario = loaded.scenario
    raw = dump(scenario)
    for key in ("hot_water", "recirculation"):
        raw.pop(key, None)
    raw["run"] = {"steps_per_hour": steps_per_hour}
    plant: dict[str, Any] = raw["plant"]
    plant.pop("source", None)
    if scenario.plant.heat_pump is not None:
        plant["family"] = "central-air"  # a heat pump in air of constant state
    plant["storage"] |= {
        "setpoint": as_text(setpoint, TEMPERATURE),
        "room_temperature": as_text(ROOM_C, TEMPERATURE),
    }
    for key in ("charge_windows", "lock_outs"):
        plant.get("controls", {}).pop(key, None)
    if scenario.plant.heat_pump is not None:  # not to be worked out anew for the setpoints of the test
        kept = {"dead_band": as_text(scenario.settings.dead_band, DIFFERENCE)}
        kept |= {key: getattr(scenario.settings, key) for key in ("sensor_height", "stop_height")}
        plant["controls"] = kept | plant.get("controls", {})
        if scenario.plant.backup.kind != "none":
            plant["backup"]["height"] = scenario.backup_height
    if scenario.plant.heat_pump is not None and scenario.plant.heat_pump.condenser == "single-pass":
        plant["heat_pump"].pop("outlet_temperature", None)
    if scenario.plant.backup.kind != "none":
        only = scenario.plant.heat_pump is None
        backup = DELIVERY_C if only else min(scenario.backup_setpoint, DELIVERY_C)
        plant["backup"]["setpoint"] = as_text(backup, TEMPERATURE)
    return scenario_from(raw, loaded.path.parent, f"{loaded.path} in the test")


def _room_weather() -> "xr.Dataset":
    """The air of the test room as a year of weather without a sun."""
    import xarray as xr

    values = {
        "dry_bulb_c": ROOM_C,
        "relative_humidity": HUMIDITY,
        "humidity_ratio": float(humidity_ratio_from_relative(ROOM_C, HUMIDITY, PRESSURE_PA)),
        "pressure_pa": PRESSURE_PA,
    }
    return xr.Dataset(
        {name: ("time", np.full(8760, value)) for name, value in values.items()},
        attrs={"station": "test room", "latitude": 40.0, "cautions": ()},
    )


def _heated_up(unit: Unit) -> int:
    """Step in which a cold unit has heated up and cut out."""
    for days in (1, 4):
        steps = round(days * 86400.0 / unit.plant.step_seconds)
        trace = follow(unit, np.zeros(steps))
        found = cut_out(trace.running, 0, unit.plant.step_seconds)
        if found is not None:
            return found
    raise InputError(
        "the unit does not heat its store from cold to the setpoint within 4 days; allowed a unit that works "
        f"in a room of {ROOM_C:.1f} degC (plant.heat_pump, plant.backup.power, plant.controls)"
    )


def _top(unit: Unit) -> float:
    """Top of the store when the unit has heated up. [°C]."""
    trace = follow(unit, np.zeros(unit.ready))
    return float(trace.out.profile[-1])


def _turned(unit: Unit, by: float, follows: bool) -> Unit:
    """The unit with its thermostat turned by `by` kelvin; the hottest water it makes `follows`, or not."""
    setpoint = unit.setpoint + by
    controls = unit.plant.controls
    plant = unit.plant._replace(
        controls=controls._replace(start_at=controls.start_at + by, stop_at=controls.stop_at + by)
    )
    if follows:
        plant = plant._replace(outlet=np.array([setpoint]))
    return unit._replace(plant=plant, setpoint=setpoint)


def follow(unit: Unit, use: Array, power: slice = ALWAYS) -> Trace:
    """Simulate the unit from the cold start.

    Parameters
    ----------
    unit : Unit
        What is simulated.
    use : ndarray, shape (step,)
        Water drawn in each step. [m³]
    power : slice
        Steps in which heat pump and backup have power.

    Raises
    ------
    InputError
        If the march ends in no numbers.
    """
    steps = use.size
    on = np.zeros(steps, dtype=np.bool_)
    on[power] = True
    drive = unit.drive._replace(
        use=use,
        looks=1,
        permitted=on,
        most_modules=np.ones(steps, dtype=np.int64),
        backup_permitted=on,
        draws=EVEN,
        mains=np.full(steps, SUPPLY_C),
        source=np.full(steps, ROOM_C),
        outlet=np.full(steps, unit.plant.outlet[0]),
        lift=np.zeros(steps),
        backup_setpoint=np.full(steps, unit.drive.backup_setpoint[0]),
        backup_level=np.full(steps, unit.drive.backup_level[0]),
        frost_capacity=np.ones(steps),
        frost_power=np.ones(steps),
        frost_drawn=np.zeros(steps),
        frost_pause=np.zeros(steps),
        frost_part=np.zeros((1, 3, 1)),
    )
    out = march(unit.plant, drive, unit.state, unit.start.copy())
    if not np.isfinite(out.store_mean).all():
        raise InputError(
            "the simulation of this unit gives no numbers: it cannot be simulated in the test's steps"
        )
    whole = unit.plant.column.volume * RHO_CP
    bought = out.heat_pump_energy + out.fan_energy + out.pump_energy + out.standby_energy + out.backup_energy
    # a heater that only holds its temperature, at a part of its power, has done what it was called for
    backup = out.backup_heat > 0.5 * unit.plant.backup_power * unit.plant.step_seconds
    return Trace(
        out=out,
        bought=bought,
        machine=out.module_seconds > 0.0,
        backup=backup,
        stored=whole * np.concatenate(([unit.start.mean()], out.store_mean)),
    )


def cut_out(running: Flags, since: int, step_s: float) -> int | None:
    """First step in which a heater that ran at or after the step `since` has cut out for good.

    "For good" is `QUIET_S`; None where it never runs or does not stop within the record.
    """
    ran = np.flatnonzero(running[since:])
    if ran.size == 0:
        return None
    return quiet(running, since + int(ran[0]), step_s)


def quiet(running: Flags, since: int, step_s: float) -> int | None:
    """First step at or after `since` from which on nothing runs for `QUIET_S`; None if there is none."""
    window = max(round(QUIET_S / step_s), 1)
    count = np.concatenate(([0], np.cumsum(running)))
    free = np.flatnonzero(count[since + window :] == count[since : count.size - window])
    return since + int(free[0]) if free.size else None
