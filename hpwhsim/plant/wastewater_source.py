"""Sewage as the march reads it: flow and temperature by the step, wet well, exchanger and pumps."""

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.ground import ground_temperature, surface_wave
from hpwhsim.constants import HOURS
from hpwhsim.plant.arrays import SourceKind
from hpwhsim.plant.machine import Assumption, Made
from hpwhsim.plant.plain_source import PRACTICE, SOIL_DIFFUSIVITY, Sourced, at_rest, say
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.sources import (
    CLEANING_MONTHS,
    COOLING_K,
    EXCHANGE_K,
    EXCHANGER_PA,
    SEWAGE_PUMP_EFFICIENCY,
    Wastewater,
)
from hpwhsim.source import drains
from hpwhsim.source.wastewater import RHO_CP, Pumping, make_exchanger, make_well

ROOM_C = 20.0  # of the building that stacks run through


def wastewater_source(
    scenario: Scenario,
    block: Wastewater,
    made: Made,
    dry_bulb: Array,
    use: Array,
    mains: Array,
    plain: Sourced,
    found: list[Assumption],
) -> Sourced:
    """Sewage as source; `plain` holds what it has of no other kind."""
    heat = made.source_heat * made.modules
    flow, conductance = block.flow, block.exchanger
    if flow is None:
        flow = heat / (RHO_CP * COOLING_K)
        say(
            found,
            "wastewater.flow",
            f"{flow:.3g} m3/s",
            f"{COOLING_K:g} K of cooling at the rating; {PRACTICE}",
        )
    if conductance is None:
        conductance = heat / EXCHANGE_K
        say(
            found,
            "wastewater.exchanger",
            f"{conductance:.4g} W/K",
            f"heat taken at the rating over {EXCHANGE_K:g} K; {PRACTICE}",
        )
    exchanger = make_exchanger(conductance, flow, flow, not block.clean_loop)
    pump = block.pump_power
    if pump is None:
        pump = (2.0 if block.clean_loop else 1.0) * EXCHANGER_PA * flow / SEWAGE_PUMP_EFFICIENCY
        said = f"{EXCHANGER_PA / 1e3:g} kPa a side, efficiency {SEWAGE_PUMP_EFFICIENCY:g}; {PRACTICE}"
        say(found, "wastewater.pump_power", f"{pump:.4g} W", said)
    months = float(CLEANING_MONTHS if block.cleaning_interval is None else block.cleaning_interval)
    if block.cleaning_interval is None:
        say(found, "wastewater.cleaning_interval", f"{months:g} months", PRACTICE)
    exchange = drains.u_left(block.fouling, block.max_fouling, months, block.fouling_growth)
    steps = use.size // HOURS
    kind, volume = SourceKind.SEWER, 1.0
    if block.sewer is not None:
        sewer = drains.read_sewer(block.sewer)
        sewage = np.repeat(sewer.flow / steps, steps)
        temperature = np.repeat(sewer.temperature, steps)
    else:
        sewage, temperature = _drains(scenario, block, use, mains, dry_bulb, found)
        kind = SourceKind.WET_WELL
        if block.well_volume is None:
            volume = float(sewage.sum()) / HOURS
            say(found, "wastewater.well_volume", f"{volume:.3g} m3", "an hour of the mean flow")
        else:
            volume = block.well_volume
    soil = float(surface_wave(dry_bulb).mean_c)
    well = make_well(volume, block.well_loss, soil, block.min_temperature, exchanger)
    return plain._replace(
        sources=plain.sources._replace(kind=int(kind), well=well, pumping=Pumping(pump, block.grinding)),
        state=at_rest(well=float(temperature[: 24 * steps].mean())),
        sewage=sewage,
        sewage_temperature=temperature,
        exchange=exchange,
    )


def _drains(
    scenario: Scenario,
    block: Wastewater,
    use: Array,
    mains: Array,
    dry_bulb: Array,
    found: list[Assumption],
) -> tuple[Array, Array]:
    """Sewage of the building in each step: m³, °C."""
    apartments, hot_water = scenario.building.apartments, scenario.hot_water
    daily = float(use.sum()) / 365.0
    cold = block.cold_use_per_apartment
    if cold is None:
        whole = drains.other_cold_litres(1000.0 * daily, hot_water.use_temperature) / 1000.0
        say(
            found,
            "wastewater.cold_use_per_apartment",
            f"{1000.0 * whole / apartments:.1f} L/day",
            "[kwr-2015]; over all the water of a home",
        )
    else:
        whole = cold * apartments
    by_hour = use.reshape(365, 24, -1).sum(axis=(0, 2))
    shape = by_hour / by_hour.sum() if by_hour.sum() > 0.0 else np.full(24, 1.0 / 24.0)
    days = np.arange(HOURS) / 24.0
    soil = ground_temperature(drains.DRAIN_DEPTH, days, *surface_wave(dry_bulb), SOIL_DIFFUSIVITY)
    sewage = drains.building_sewage(
        use,
        mains,
        whole,
        drains.cold_shape(shape),
        use_temperature=hot_water.use_temperature,
        heat_left=block.heat_left,
        cistern_pickup=block.cistern_pickup,
        room=ROOM_C,
        lag=block.lag,
        screening_loss=block.screening_loss,
        drain_loss=block.drain_loss * apartments,
        around=0.5 * (ROOM_C + soil),
    )
    return np.ascontiguousarray(sewage.flow), np.ascontiguousarray(sewage.temperature)
