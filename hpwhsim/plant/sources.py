"""The heat source of a scenario as the march reads it: constants, what drives it, how it starts."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from hpwhsim.climate.ground import ground_temperature, surface_wave
from hpwhsim.climate.moist_air import humidity_ratio_at_saturation, humidity_ratio_from_relative
from hpwhsim.disk_cache import cached, place
from hpwhsim.heatpump.frost import Frost, frost_losses
from hpwhsim.plant.arrays import Array, FrostTable, SourceKind, Sources, SourceState
from hpwhsim.plant.machine import Assumption, Made
from hpwhsim.scenario.schema import GroundLoop, Scenario, Wastewater
from hpwhsim.scenario.schema import Room as RoomBlock
from hpwhsim.source import bore_field, drains
from hpwhsim.source.bore_field import Bores, Response, g_function, make_field, undisturbed_ground
from hpwhsim.source.bore_pipes import Pipes, flow_cautions, make_loop, pump_watts
from hpwhsim.source.ground_loop import BoreField, History, Loop, make_history
from hpwhsim.source.loop_fluid import Fluid, fluid_state
from hpwhsim.source.room import Around
from hpwhsim.source.room_setup import Air, AirPath, Place, Zone, make_around, make_room, room_kind
from hpwhsim.source.wastewater import RHO_CP, Exchanger, Pumping, Well, make_exchanger, make_well
from hpwhsim.user_csv import read_hours

if TYPE_CHECKING:
    import xarray as xr

HOURS = 8760
KEEP = 100  # answers of bore fields that stay on disk
PRACTICE = "common practice, no source"
SOIL_DIFFUSIVITY = 0.05 / 86400.0  # m²/s, of the soil around cellars and wells; common practice, no source
SOIL_DEPTH = 1.5  # m, mean depth of that soil; common practice, no source
PLACES = {
    "room": Place.ROOM,
    "outdoors": Place.OUTDOORS,
    "neighbours": Place.NEIGHBOUR,
    "elsewhere": Place.ELSEWHERE,
}
FLOW_PER_WATT = 0.054e-6  # m³/s of loop fluid per W from the ground: 3 gpm per ton
AIR_PER_WATT = 0.07e-3  # m³/s of air per W of coil heat
USUAL_EXCHANGE_K, USUAL_COOLING_K = 3.0, 4.0  # of a sewage exchanger at the rating
USUAL_HEAD, PUMP_EFFICIENCY = 50e3, 0.4  # Pa on each side of a sewage exchanger
CLEANING_MONTHS = 6.0
USUAL_SHARE = 0.25  # of what is mixed with the water of a ground loop
FROST_FROM, FROST_TO, FROST_HUMIDITIES = -30.0, 12.0, 13  # °C, rows of 1 K; columns of relative humidity


class Sourced(NamedTuple):
    """A source ready to march."""

    sources: Sources
    state: SourceState
    drawn: Array  # (hour,) air that the machine draws where it does not draw its room's, °C
    frost: Frost  # of that air
    around: Around
    rejected: Array  # (hour,) W
    sewage: Array  # (step,) m³
    sewage_temperature: Array  # (step,) °C
    exchange: Array  # (hour,)
    to_neighbours: tuple[float, float]  # of a room's mass and of its air to the neighbouring spaces, W/K


def make_source(
    scenario: Scenario,
    weather: "xr.Dataset",
    use: Array,
    mains: Array,
    made: Made,
    found: list[Assumption],
    cautions: list[str],
) -> Sourced:
    """Source of `scenario` in the year `weather`.

    Parameters
    ----------
    scenario, weather
        What the modeler wrote, and the year.
    use : ndarray, shape (step,)
        Water at use temperature. [m³ in the step]
    mains : ndarray, shape (hour,)
        Cold water. [°C]
    made : Made
        The machine.
    found, cautions : list
        What was worked out and what must be said are added here.

    Raises
    ------
    InputError
        If a value or a file is wrong.
    """
    dry_bulb = np.asarray(weather["dry_bulb_c"].values, dtype=np.float64)
    humidity = np.asarray(weather["humidity_ratio"].values, dtype=np.float64)
    pressure = np.asarray(weather["pressure_pa"].values, dtype=np.float64)
    outdoors = Air(dry_bulb, humidity)
    plain = Sourced(
        sources=no_sources(SourceKind.OUTDOOR_AIR),
        state=_state(),
        drawn=dry_bulb,
        frost=_frost(scenario, made, outdoors, pressure),
        around=_no_around(),
        rejected=np.zeros(1),
        sewage=np.zeros(1),
        sewage_temperature=np.zeros(1),
        exchange=np.ones(1),
        to_neighbours=(0.0, 0.0),
    )
    kind, block = scenario.plant.source_kind, scenario.plant.source
    if kind == "room":
        assert block.room is not None  # the schema wants it
        return _room(scenario, block.room, made, outdoors, pressure, plain, found)
    if kind == "ground-loop":
        assert block.ground_loop is not None
        return _ground(scenario, block.ground_loop, made, dry_bulb, plain, found, cautions)
    if kind == "wastewater":
        sewage = block.wastewater or Wastewater()
        return _wastewater(scenario, sewage, made, dry_bulb, use, mains, plain, found)
    return plain


def _frost(scenario: Scenario, made: Made, air: Air, pressure: Array) -> Frost:
    """What frost costs a coil in `air`; nothing where there is no such coil or a table counts it."""
    heat_pump = scenario.plant.heat_pump
    counted = heat_pump is None or (heat_pump.defrost or ("none" if heat_pump.table else "")) == "none"
    water = scenario.plant.source_kind in ("ground-loop", "wastewater")
    return frost_losses(
        air.temperature,
        air.humidity,
        pressure,
        split_k=made.split_k,
        kind="none" if counted or water else "reverse-cycle",
    )


# -- none ----------------------------------------------------------------------------------------------


def no_sources(kind: SourceKind) -> Sources:
    """All kinds of sources, none of them real."""
    flat = np.ones((2, 2))
    return Sources(
        kind=int(kind),
        room=make_room(room_kind("cellar"), AirPath(0.1)),
        frost=FrostTable(FROST_FROM, 1.0, flat, flat.copy(), np.zeros((2, 2))),
        field=BoreField(np.zeros(2), 0.0),
        loop=Loop(0.0, 0.0, 1.0, np.zeros((1, 2)), np.ones(1), np.zeros(1)),
        well=Well(1.0, 0.0, 0.0, 0.0, Exchanger(1.0, 1.0, 1.0, False)),
        pumping=Pumping(0.0, 0.0),
    )


def _no_around() -> Around:
    return Around(*(np.zeros(1) for _ in Around._fields))


def _state(well: float = 0.0, history: History | None = None) -> SourceState:
    nothing = np.zeros(1, dtype=np.int64)
    return SourceState(
        room=np.zeros(3),
        reference=np.zeros(3),
        air=np.zeros(1),
        gain=np.zeros(1),
        coil=np.zeros(1),
        history=history or History(np.zeros((1, 1)), nothing, nothing.copy()),
        drop=np.zeros(1),
        hour_heat=np.zeros(1),
        well=np.array([well]),
    )


# -- room ----------------------------------------------------------------------------------------------


def _room(
    scenario: Scenario,
    block: RoomBlock,
    made: Made,
    outdoors: Air,
    pressure: Array,
    plain: Sourced,
    found: list[Assumption],
) -> Sourced:
    zone = _zone(block, found)
    airflow = block.airflow
    if airflow is None:
        airflow = max(AIR_PER_WATT * made.source_heat, 0.01)
        _say(found, "room.airflow", f"{airflow:.3g} m3/s", f"0.07 m3/s per kW of coil heat; {PRACTICE}")
    path = AirPath(airflow, block.bypass, PLACES[block.intake], PLACES[block.exhaust], PLACES[block.make_up])
    mean_pressure = float(pressure.mean())
    room = make_room(zone, path, mean_pressure)
    hours = np.arange(HOURS)
    wave = surface_wave(np.asarray(outdoors.temperature))
    soil = ground_temperature(SOIL_DEPTH, hours / 24.0, *wave, SOIL_DIFFUSIVITY)
    neighbour = _air(block.neighbour_temperature, block.neighbour_humidity, mean_pressure)
    further = block.elsewhere_temperature
    elsewhere = _air(20.0 if further is None else further, block.elsewhere_humidity, mean_pressure)
    around = make_around(zone, path, outdoors, soil, neighbour, elsewhere)
    intake = {Place.OUTDOORS: outdoors, Place.NEIGHBOUR: neighbour, Place.ELSEWHERE: elsewhere}.get(
        path.intake, outdoors
    )
    drawn = Air(
        np.broadcast_to(intake.temperature, (HOURS,)).astype(np.float64),
        np.broadcast_to(intake.humidity, (HOURS,)).astype(np.float64),
    )
    rows = np.arange(FROST_FROM, FROST_TO + 0.5)
    shares = np.linspace(0.0, 1.0, FROST_HUMIDITIES)
    grid = shares * humidity_ratio_at_saturation(rows, mean_pressure)[:, None]
    frost = _frost(scenario, made, Air(rows[:, None], grid), np.full((1, 1), mean_pressure))
    start = 20.0 if zone.heat_to is None else zone.heat_to
    if zone.heat_to is None:  # near what the room floats to: weighted by its conductances
        start = _floating(zone, outdoors, soil, block.neighbour_temperature)
    state = _state()
    damp = float(humidity_ratio_from_relative(start, 0.5, mean_pressure))
    state.room[:] = state.reference[:] = start, damp, 0.0
    state.coil[0] = made.source_heat
    state.air[0] = start
    return plain._replace(
        sources=plain.sources._replace(
            kind=int(SourceKind.ROOM),
            room=room,
            frost=FrostTable(FROST_FROM, 1.0, frost.capacity, frost.power, frost.drawn_back),
        ),
        state=state,
        drawn=np.asarray(drawn.temperature),
        frost=_frost(scenario, made, drawn, pressure),
        around=around,
        to_neighbours=(
            room.shell * zone.neighbours / max(zone.outdoors + zone.ground + zone.neighbours, 1e-9),
            1200.0 * mean_pressure / 101325.0 * zone.vent,
        ),
    )


def _air(temperature: float, relative: float, pressure: float) -> Air:
    return Air(temperature, humidity_ratio_from_relative(temperature, relative, pressure))


def _floating(zone: Zone, outdoors: Air, soil: Array, neighbours: float) -> float:
    """Temperature near which an unheated room starts the year: its surroundings in January, weighted."""
    january = slice(0, 744)
    leaks = 1200.0 * zone.air_changes * zone.volume / 3600.0
    out = zone.outdoors + zone.windows + leaks
    inside = zone.neighbours + 1200.0 * zone.vent
    total = out + inside + zone.ground
    if total == 0.0:
        return neighbours
    held = out * float(np.mean(np.asarray(outdoors.temperature)[january]))
    held += zone.ground * float(soil[january].mean()) + inside * neighbours + zone.gain
    return held / total


def _zone(block: RoomBlock, found: list[Assumption]) -> Zone:
    """The room: what the modeler wrote, and for the rest what is usual for its kind."""
    usual = room_kind(block.kind, block.floor_area)
    if block.height is not None:
        usual = replace(usual, volume=block.height * usual.floor_area)
    given: dict[str, Any] = {
        "mass_class": block.mass,
        "outdoors": block.loss_to_outdoors,
        "windows": block.window_loss,
        "ground": block.loss_to_ground,
        "neighbours": block.loss_to_neighbours,
        "air_changes": block.air_changes,
        "vent": block.vent_flow,
        "gain": block.gains,
        "moisture": block.moisture,
    }
    units = ("", " W/K", " W/K", " W/K", " W/K", " 1/h", " m3/s", " W", " kg/s")
    keys = (
        "mass",
        "loss_to_outdoors",
        "window_loss",
        "loss_to_ground",
        "loss_to_neighbours",
        "air_changes",
        "vent_flow",
        "gains",
        "moisture",
    )
    origin = f"usual for a {block.kind} (invented); {PRACTICE}"
    for (name, value), key, unit in zip(given.items(), keys, units, strict=True):
        if value is None:
            held = getattr(usual, name)
            _say(found, f"room.{key}", f"{held}" if unit == "" else f"{held:.4g}{unit}", origin)
    if block.floor_area is None:
        _say(found, "room.floor_area", f"{usual.floor_area:g} m2", origin)
    if block.height is None:
        _say(found, "room.height", f"{usual.volume / usual.floor_area:.3g} m", origin)
    heats = (block.heating or ("resistance" if usual.heat_to is not None else "none")) != "none"
    cools = (block.cooling or ("air-conditioner" if usual.cool_to is not None else "none")) != "none"
    heat_to = (block.heating_setpoint or usual.heat_to or 20.0) if heats else None
    cool_to = (block.cooling_setpoint or usual.cool_to or 26.0) if cools else None
    if heats and block.heating_setpoint is None:
        _say(found, "room.heating_setpoint", f"{heat_to:g} degC", origin)
    if cools and block.cooling_setpoint is None:
        _say(found, "room.cooling_setpoint", f"{cool_to:g} degC", origin)
    changed = {name: value for name, value in given.items() if value is not None}
    return replace(
        usual,
        **changed,
        heat_to=heat_to,
        heating_power=np.inf,
        cool_to=cool_to,
        cooling_power=np.inf,
        dry_to=block.dehumidifier_setpoint,
        drying_efficiency=block.dehumidifier_efficiency,
    )


# -- ground --------------------------------------------------------------------------------------------


def _ground(
    scenario: Scenario,
    block: GroundLoop,
    made: Made,
    dry_bulb: Array,
    plain: Sourced,
    found: list[Assumption],
    cautions: list[str],
) -> Sourced:
    bores = Bores(
        layout=block.layout,
        rows=block.rows,
        columns=block.columns,
        spacing=block.spacing,
        length=block.depth,
        buried=block.buried,
        radius=0.5 * block.diameter,
    )
    pipes = Pipes(
        tubes=block.u_tubes,
        outer=block.pipe_outer,
        inner=block.pipe_inner,
        shank=block.shank_spacing,
        conductivity=block.pipe_conductivity,
        grout=block.grout_conductivity,
        roughness=1e-6,
    )
    share = block.fluid_share
    if share is None:
        share = 0.0 if block.fluid == "water" else USUAL_SHARE
    fluid = Fluid(block.fluid, share)
    undisturbed = block.ground_temperature
    if undisturbed is None:
        undisturbed = undisturbed_ground(bores, surface_wave(dry_bulb))
        _say(
            found,
            "ground_loop.ground_temperature",
            f"{undisturbed:.4g} degC",
            "yearly mean at the surface by the weather file, no geothermal gradient",
        )
    heat = made.source_heat * made.modules
    state = fluid_state(fluid, undisturbed)
    flow = block.flow
    if flow is None:
        flow = FLOW_PER_WATT * heat
        _say(found, "ground_loop.flow", f"{flow:.3g} m3/s", f"3 gpm per ton of heat; {PRACTICE}")
    mass_flow = flow * state.density
    cold = fluid_state(fluid, max(state.freezing, min(undisturbed, 0.0)))
    pump = block.pump_power
    if pump is None:
        pump = pump_watts(
            bores,
            pipes,
            cold,
            mass_flow,
            run=block.header,
            other_drop=30e3,
            efficiency=block.pump_efficiency,
        )
        _say(
            found,
            "ground_loop.pump_power",
            f"{pump:.4g} W",
            f"Darcy-Weisbach in bores and header, 30 kPa for machine and manifold ({PRACTICE})",
        )
    diffusivity = block.ground_conductivity / block.ground_heat_capacity
    response = _response(bores, diffusivity)
    field = make_field(bores, response, block.ground_conductivity)
    loop = make_loop(
        bores,
        pipes,
        fluid,
        block.ground_conductivity,
        undisturbed,
        modules=made.modules,
        heat=heat,
        flow=mass_flow,
        least_flow=block.least_flow,
        pump=pump,
    )
    cautions += flow_cautions(
        bores, pipes, fluid, block.ground_conductivity, mass_flow, max(state.freezing, min(undisturbed, 0.0))
    )
    rejected = np.zeros(HOURS)
    if block.rejection is not None:
        rejected = 1000.0 * read_hours(block.rejection, {"rejection_kw": (0.0, np.inf)})["rejection_kw"]
    history = make_history(field, scenario.run.years)
    return plain._replace(
        sources=plain.sources._replace(kind=int(SourceKind.GROUND_LOOP), field=field, loop=loop),
        state=_state(history=history),
        rejected=rejected,
    )


def _response(bores: Bores, diffusivity: float) -> Response:
    """The field's g-function, kept on disk."""
    here = [Path(bore_field.__file__)]
    where = place("ground", repr((bores, diffusivity)), here, ("pygfunction", "numpy"))
    return Response(**cached(where, KEEP, lambda: g_function(bores, diffusivity)._asdict()))


# -- wastewater ----------------------------------------------------------------------------------------


def _wastewater(
    scenario: Scenario,
    block: Wastewater,
    made: Made,
    dry_bulb: Array,
    use: Array,
    mains: Array,
    plain: Sourced,
    found: list[Assumption],
) -> Sourced:
    heat = made.source_heat * made.modules
    flow, conductance = block.flow, block.exchanger
    if flow is None:
        flow = heat / (RHO_CP * USUAL_COOLING_K)
        _say(found, "wastewater.flow", f"{flow:.3g} m3/s", f"4 K of cooling at the rating; {PRACTICE}")
    if conductance is None:
        conductance = heat / USUAL_EXCHANGE_K
        _say(
            found,
            "wastewater.exchanger",
            f"{conductance:.4g} W/K",
            f"heat taken at the rating over 3 K; {PRACTICE}",
        )
    exchanger = make_exchanger(conductance, flow, flow, not block.clean_loop)
    pump = block.pump_power
    if pump is None:
        pump = (2.0 if block.clean_loop else 1.0) * USUAL_HEAD * flow / PUMP_EFFICIENCY
        _say(found, "wastewater.pump_power", f"{pump:.4g} W", f"50 kPa a side, efficiency 0.4; {PRACTICE}")
    months = CLEANING_MONTHS if block.cleaning_interval is None else float(block.cleaning_interval)
    if block.cleaning_interval is None:
        _say(found, "wastewater.cleaning_interval", f"{months:g} months", PRACTICE)
    exchange = drains.u_left(block.fouling, block.fouling_limit, months, block.fouling_growth)
    steps = use.size // HOURS
    kind, volume = SourceKind.SEWER, 1.0
    if block.sewer is not None:
        sewer = drains.read_sewer(block.sewer)
        sewage = np.repeat(sewer.flow / steps, steps)
        temperature = np.repeat(sewer.temperature, steps)
    else:
        sewage, temperature = _drains(scenario, block, use, mains, found)
        kind = SourceKind.WET_WELL
        if block.well_volume is None:
            volume = float(sewage.sum()) / HOURS
            _say(found, "wastewater.well_volume", f"{volume:.3g} m3", "an hour of the mean flow")
        else:
            volume = block.well_volume
    soil = float(surface_wave(dry_bulb).mean_c)
    well = make_well(volume, block.well_loss, soil, block.floor, exchanger)
    return plain._replace(
        sources=plain.sources._replace(kind=int(kind), well=well, pumping=Pumping(pump, block.grinding)),
        state=_state(well=float(temperature[: 24 * steps].mean())),
        sewage=sewage,
        sewage_temperature=temperature,
        exchange=exchange,
    )


def _drains(
    scenario: Scenario, block: Wastewater, use: Array, mains: Array, found: list[Assumption]
) -> tuple[Array, Array]:
    """Sewage of the building in each step: m³, °C."""
    apartments, hot_water = scenario.building.apartments, scenario.hot_water
    daily = float(use.sum()) / 365.0
    cold = block.cold_use_per_apartment
    if cold is None:
        whole = drains.other_cold_litres(1000.0 * daily, hot_water.use_temperature) / 1000.0
        _say(
            found,
            "wastewater.cold_use_per_apartment",
            f"{1000.0 * whole / apartments:.1f} L/day",
            "KWR, BTO 2015.208(s): the heat of the taps is 14.3 K over all the water of Dutch homes",
        )
    else:
        whole = cold * apartments
    by_hour = use.reshape(365, 24, -1).sum(axis=(0, 2))
    shape = by_hour / by_hour.sum() if by_hour.sum() > 0.0 else np.full(24, 1.0 / 24.0)
    sewage = drains.building_sewage(
        use,
        mains,
        whole,
        drains.cold_shape(shape),
        use_temperature=hot_water.use_temperature,
        heat_left=block.heat_left,
        cistern_pickup=block.cistern_pickup,
        room=20.0,
        lag=block.lag,
        screening_loss=block.screening_loss,
    )
    return np.ascontiguousarray(sewage.flow), np.ascontiguousarray(sewage.temperature)


def _say(found: list[Assumption], key: str, value: str, source: str) -> None:
    found.append({"key": f"plant.source.{key}", "value": value, "source": source})
