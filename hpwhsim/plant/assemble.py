"""Scenario and weather become the arrays that the march reads."""

from collections.abc import Sequence
from copy import deepcopy
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.mains import by_month, mains_hours_held, mains_temperature, stretched
from hpwhsim.heatpump.frost import Frost
from hpwhsim.last_digits import digest, settled, settled_alike
from hpwhsim.plant.arrays import SLICES, BackupMode, Drive, LoopTank, Plant, SourceState
from hpwhsim.plant.clock import make_clock
from hpwhsim.plant.controls import Controls
from hpwhsim.plant.files import refuse_files
from hpwhsim.plant.lines import loss_share, standing_lines
from hpwhsim.plant.loop import LoopYear, make_loop, make_loop_tank
from hpwhsim.plant.machine import Assumption, Made, auxiliaries, make_machine, water_side
from hpwhsim.plant.plain_source import Sourced
from hpwhsim.plant.sources import make_source
from hpwhsim.plant.use import EVEN_PARTS, use_of_buildings, use_of_year
from hpwhsim.scenario.heat_pump_first import LOOP_FALL
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.writing import assumptions
from hpwhsim.scenario.writing import cautions as scenario_cautions
from hpwhsim.source.neighbours import Neighbours
from hpwhsim.storage.fired_heaters import (
    UNFIRED_TANK,
    Standard,
    commercial_standard,
    district_steam_efficiency,
)
from hpwhsim.storage.layers import Column, make_column
from hpwhsim.tables.sources import assumption

if TYPE_CHECKING:
    import xarray as xr


MOST_LOOKS = 60  # in an hour
LEAST = (
    0.01  # share of the store that ports at its ends keep from each other, and a start sensor from its foot
)
THINNEST = 1e-6  # share of the store below which a zone or a height is none
# of an `Assembly`, what the march reads and what is weighed with its hours afterwards
MARCHED = (
    *("plant", "drive", "start", "state"),
    *("to_neighbours", "line_loss", "loop_coldest", "loop_pump"),
)


class Assembly(NamedTuple):
    """A plant ready to march, and what was assumed and found on the way."""

    plant: Plant
    drive: Drive
    start: Array  # slices of the store at the start, bottom to top, °C
    state: SourceState  # the source at the start; the march fills it
    made: Made
    to_neighbours: tuple[float, float]  # of a room's mass and of its air to the neighbouring spaces, W/K
    neighbours: Neighbours | None  # of a room
    line_loss: Array | None  # share of the machine's heat that water lines outdoors lose, (hour,)
    loop_coldest: Array  # at the loop's end by hour of the day, running or standing, °C
    loop_pump: Array  # electricity of the loop's pump by hour of the day, W
    assumptions: list[Assumption]  # every default in force, with its source
    cautions: list[str]  # of weather, scenario and plant
    digest: str = ""  # SHA-256 of all that the march reads


def assemble(scenario: Scenario, weather: "xr.Dataset", served: Sequence[Scenario] = ()) -> Assembly:
    """Plant and drive of `scenario` in the year `weather`.

    Parameters
    ----------
    scenario : Scenario
        What the modeler wrote.
    weather : Dataset
        Its year.
    served : sequence of Scenario
        Buildings whose draws, added, the plant serves; none: those of `scenario`.

    Raises
    ------
    InputError
        If the machine cannot work as asked, or a file named in the scenario is wrong.
    """
    refuse_files(scenario)
    found: list[Assumption] = []
    cautions: list[str] = []
    dry_bulb = np.asarray(weather["dry_bulb_c"].values, dtype=np.float64)
    latitude = float(weather.attrs["latitude"])
    mains = cold_water(scenario, dry_bulb, latitude, cautions)
    looks = looks_of(scenario)
    outdoor = scenario.plant.source_kind == "outdoor-air"
    made = make_machine(scenario, dry_bulb if outdoor else None, found, cautions)
    if served:
        litres, seen, draws = use_of_buildings(served, latitude, looks)
    else:
        litres, seen, draws = use_of_year(scenario, latitude, looks, found)
    loop = make_loop(scenario, mains, found, cautions)
    sourced = make_source(scenario, weather, seen / 1000.0, mains, made, found, cautions)
    frost = frost_of(scenario, made, sourced.frost, dry_bulb)
    block = scenario.plant.heat_pump.water_lines if scenario.plant.heat_pump is not None else None
    lines, around_lines = standing_lines(block, made.shift, dry_bulb)
    volume = scenario.plant.storage.volume
    clock = make_clock(scenario, dry_bulb, min(scenario.backup_height, 1.0 - LEAST) * volume, looks)
    drive = Drive(
        looks=looks,
        use=litres / 1000.0,
        draws=draws,
        **clock._asdict(),
        loop_loss=loop.loss,
        loop_return=loop.back,
        mains=mains,
        line_around=around_lines.around_c,
        line_hold=around_lines.hold_c,
        line_floor=around_lines.floor_c,
        **_source_and_frost(sourced, frost),
    )
    column = store_column(scenario, found)
    if scenario.trims and scenario.plant.backup.setpoint is None:
        found.append(_trim_setpoint(scenario))
    tank = make_loop_tank(scenario, float(loop.loss.max()), sourced.drawn, found, cautions)
    plant = Plant(
        step_seconds=3600.0 / looks,
        column=column,
        machine=made.machine,
        sources=sourced.sources,
        modules=made.modules,
        **water_side(scenario, made.machine, scenario.plant.storage.draw_height * volume),
        **auxiliaries(scenario.plant.heat_pump, made),
        outlet=np.array([scenario.outlet_temperature]),
        lowest_source=made.lowest,
        **_controls(scenario),
        backup_efficiency=_backup_efficiency(scenario, found),
        **_taps_and_loop(scenario, loop, tank, column),
        lines=lines,
    )
    worked_out = {item["key"] for item in found}
    assumed = [item for item in assumptions(scenario) if item["key"] not in worked_out]
    said = [*weather.attrs["cautions"], *scenario_cautions(scenario), *cautions]
    return without_last_digits(
        Assembly(
            plant=plant,
            drive=drive,
            start=np.full(SLICES, scenario.plant.storage.setpoint),
            state=sourced.state,
            made=made,
            to_neighbours=sourced.to_neighbours,
            neighbours=sourced.neighbours,
            line_loss=frost.line_loss,
            loop_coldest=loop.coldest,
            loop_pump=loop.pump,
            assumptions=[assumption(**item) for item in (*assumed, *found)],
            cautions=said,
        )
    )


def with_draws(assembly: Assembly, scenario: Scenario, latitude: float) -> Assembly:
    """A plant that was never marched with the draws of `scenario`, from which it differs in its seed alone.

    Not for sewage of the building's own drains, which is that of its draws.
    """
    litres, _, draws = use_of_year(scenario, latitude, assembly.drive.looks, [])
    drive = assembly.drive._replace(use=litres / 1000.0, draws=draws)
    return without_last_digits(assembly._replace(drive=drive, state=deepcopy(assembly.state)))


class FrostYear(NamedTuple):
    """What frost, and lines outdoors while the machine runs, cost hour by hour."""

    at_load: Array  # (hour, 3, share of the full coil load) capacity, power, drawn
    capacity: Array  # (hour,) at full speed over that of a clean coil, with the loss of the lines
    pause: Array  # (hour,) share of the time for defrosts where these are events, else 0
    line_loss: Array | None  # (hour,) share of the machine's heat that water lines outdoors lose


def frost_of(scenario: Scenario, made: Made, frost: Frost, dry_bulb: Array) -> FrostYear:
    """What `frost` costs as this scenario's defrosts are simulated, and its lines lose."""
    at_load = np.stack(np.broadcast_arrays(*frost), axis=1)
    capacity, pause = at_load[:, 0, -1], np.zeros(dry_bulb.size)
    if scenario.plant.controls.defrosts != "averaged":  # heating between them is that of a clean coil
        capacity, pause = np.ones(dry_bulb.size), 1.0 - capacity
    heat_pump = scenario.plant.heat_pump
    if heat_pump is None or heat_pump.water_lines is None:
        return FrostYear(at_load, capacity, pause, None)
    rise = None if heat_pump.condenser == "single-pass" else heat_pump.rise
    whole = made.capacity * made.modules
    loss = loss_share(heat_pump.water_lines, made.shift, scenario.outlet_temperature, whole, rise, dry_bulb)
    return FrostYear(at_load, capacity * (1.0 - loss), pause, loss)


def _source_and_frost(sourced: Sourced, frost: FrostYear) -> dict[str, Any]:
    """What the source gives, and its frost costs, as fields of `Drive`."""
    return {
        "source": sourced.drawn,
        "frost_capacity": np.ascontiguousarray(frost.capacity),
        "frost_power": np.ascontiguousarray(frost.at_load[:, 1, -1]),
        "frost_drawn": np.ascontiguousarray(frost.at_load[:, 2, -1]),
        "frost_pause": frost.pause,
        "frost_part": frost.at_load if frost.at_load.shape[2] > 1 else np.zeros((1, 3, 1)),
        "around": sourced.around,
        "rejected": sourced.rejected,
        "sewage": sourced.sewage,
        "sewage_temperature": sourced.sewage_temperature,
        "exchange": sourced.exchange,
    }


def _trim_setpoint(scenario: Scenario) -> Assumption:
    """What the setpoint of a series backup is by default."""
    return {
        "key": "plant.backup.setpoint",
        "value": f"{scenario.backup_setpoint:.4g} degC",
        "source": "in series: the hottest of the use temperature, the tempering valve with its "
        f"difference, and the return of the store's loop + {LOOP_FALL:g} K; common practice, no source",
    }


def _controls(scenario: Scenario) -> dict[str, Any]:
    """Controls of heat pump and backup, as fields of `Plant`."""
    controls, settings, volume = scenario.plant.controls, scenario.settings, scenario.plant.storage.volume
    backup = scenario.plant.backup
    return {
        "controls": Controls(
            # a sensor at the very bottom would be looked at every second while water comes in past it
            start_level=max(settings.sensor_height, LEAST) * volume,
            stop_level=settings.stop_height * volume,
            start_at=settings.start_at,
            stop_at=settings.stop_at,
            minimum_run=controls.min_run,
            minimum_off=controls.min_off,
            stage_delay=controls.stage_delay,
            rotates=controls.lead == "rotating",
            together=controls.defrosts == "together",
            defrost_time=controls.defrost_time,
        ),
        "reserve_level": (1.0 - controls.reserve_height) * volume if controls.reserve_height > 0.0 else 0.0,
        "backup_mode": int(BackupMode.NONE if backup.kind == "none" else BackupMode[backup.mode.upper()]),
        "backup_power": backup.power or 0.0,
        "backup_electric": 1.0 if backup.kind == "resistance" else 0.0,
        "backup_dead_band": backup.dead_band,
        "backup_delay": backup.delay,
    }


def _taps_and_loop(scenario: Scenario, loop: LoopYear, tank: LoopTank, column: Column) -> dict[str, Any]:
    """What taps and loop want of the store, as fields of `Plant`."""
    hot_water, block = scenario.hot_water, scenario.recirculation
    draw_port = scenario.plant.storage.draw_height * scenario.plant.storage.volume
    return {
        "draw_port": draw_port,
        "use_temperature": hot_water.use_temperature,
        "minimum_temperature": hot_water.min_temperature,
        "loop_runs": 1.0 if block is not None and tank.volume == 0.0 else 0.0,
        "loop_ambient": loop.ambient,
        "loop_supply": loop.supply,
        "loop_limit": np.inf if hot_water.tempering_valve is None else hot_water.tempering_valve,
        "valve_setpoint": hot_water.tempering_valve or hot_water.use_temperature,
        "valve_difference": hot_water.tempering_min_difference,
        "loop_port": _loop_port(block.return_height if block else 0.5, draw_port, column),
        "loop_tank": tank,
    }


def without_last_digits(assembly: Assembly) -> Assembly:
    """The assembly with what enters the march rounded (`hpwhsim.last_digits`), and the digest of that."""
    found = {name: settled_alike(getattr(assembly, name)) for name in MARCHED if name != "state"}
    found["state"] = settled(assembly.state)  # the march writes to it
    return assembly._replace(**found, digest=digest(tuple(found[name] for name in MARCHED)))


def store_column(scenario: Scenario, found: list[Assumption]) -> Column:
    """The store of `scenario`; what is worked out for it joins `found`."""
    storage = scenario.plant.storage
    series = storage.tanks if storage.arrangement == "series" else 1
    return make_column(
        storage.volume,
        storage.height * series,
        loss=_heat_loss(scenario, found),
        room=storage.room_temperature,
        conductivity=storage.conductivity,
        stirred=storage.inlet_mixing if storage.inlet_mixing >= THINNEST else 0.0,  # no layer is thinner
        tanks=series,
    )


def looks_of(scenario: Scenario) -> int:
    """How often in an hour source and signals are looked at: looks within a minute are one.

    Never more seldom than draws are taken as even. Outdoor air is that of the hour, and a clock that changes
    at whole such parts needs no more.
    """
    plant = scenario.plant
    windows = (
        *(*plant.controls.charge_windows, *plant.controls.lock_outs, *plant.controls.demand_windows),
        *plant.backup.lock_outs,
    )
    edges = [minute for window in windows for minute in (window.start, window.end)]
    if plant.source_kind == "outdoor-air" and not any(minute * EVEN_PARTS % 60 for minute in edges):
        return EVEN_PARTS
    return min(max(scenario.run.steps_per_hour, EVEN_PARTS), MOST_LOOKS)


def cold_water(scenario: Scenario, dry_bulb: Array, latitude: float, cautions: list[str]) -> Array:
    """Cold water of each hour of the year, as given, else by the formula. [°C]"""
    given = scenario.hot_water.cold_water
    if given is not None and given.monthly is not None:
        return by_month(given.monthly)
    mains = mains_temperature(dry_bulb, latitude)
    if given is not None:
        return stretched(mains, given.winter_low, given.summer_high)
    if held := mains_hours_held(dry_bulb, latitude):
        cautions.append(f"the mains-water formula falls below 0 degC in {held} h; it is held at 0 degC there")
    return mains


def _loop_port(height: float, draw_port: float, column: Column) -> float:
    """Height where the loop comes back [m³ below it]: above the stirred foot, below where it is fed."""
    above_foot = height * column.volume if height >= THINNEST else 0.0  # no layer is thinner
    return min(max(above_foot, column.stirred), draw_port - LEAST * column.volume)


def _heat_loss(scenario: Scenario, found: list[Assumption]) -> float:
    """Heat loss coefficient of the whole store. [W/K]."""
    storage = scenario.plant.storage
    if storage.heat_loss is not None:
        return storage.heat_loss
    standard = _standard(scenario)
    if scenario.plant.family == "gas-tank" and standard is not None and standard.heat_loss is not None:
        loss = storage.tanks * standard.heat_loss
        found.append(
            {
                "key": "plant.storage.heat_loss",
                "value": f"{loss:.3g} W/K",
                "source": f"{standard.citation}; heat of the largest standby loss over 70 degF",
                "status": standard.status,
            }
        )
        return loss
    section = storage.volume / storage.tanks / storage.height
    surface = storage.tanks * (2.0 * section + 2.0 * np.sqrt(np.pi * section) * storage.height)
    loss = float(surface / UNFIRED_TANK)
    found.append(
        {
            "key": "plant.storage.heat_loss",
            "value": f"{loss:.3g} W/K",
            "source": f"[cfr-431-110]; tank surface {surface:.3g} m2 over R-12.5, no fittings",
        }
    )
    return loss


def _standard(scenario: Scenario) -> Standard | None:
    """What the rule asks of one heater of the plant; None where no fuel is burnt in the house."""
    backup, tanks = scenario.plant.backup, scenario.plant.storage.tanks
    if backup.kind not in ("gas", "oil") or backup.power is None:
        return None
    tank = scenario.plant.family == "gas-tank"
    volume = scenario.plant.storage.volume / tanks if tank else 0.0
    heat = backup.power / (tanks if tank else 1)
    kind = f"{backup.kind}-{'storage' if tank else 'boiler'}"

    def at(efficiency: float) -> Standard:
        return commercial_standard(kind, backup.made_on, heat / efficiency, volume, "plant.backup")

    return at(backup.efficiency or at(0.8).thermal_efficiency or 0.8)


def _backup_efficiency(scenario: Scenario, found: list[Assumption]) -> float:
    """Heat of the backup over the energy it buys."""
    backup = scenario.plant.backup
    if backup.kind in ("none", "resistance"):
        return 1.0
    if backup.efficiency is not None:
        return backup.efficiency
    standard = _standard(scenario)
    if standard is None:
        value = district_steam_efficiency()
        source = (
            "2 bar steam, condensate at 90 degC to the drain, 2 % of jacket loss; common practice, no source"
        )
    else:
        assert standard.thermal_efficiency is not None  # the rule has one for every fuel
        value = standard.thermal_efficiency
        source = f"{standard.citation}; least thermal efficiency, made {scenario.plant.backup.made_on}"
    status = standard.status if standard is not None else ""
    found.append(
        {"key": "plant.backup.efficiency", "value": f"{value:.3g}", "source": source, "status": status}
    )
    return value
