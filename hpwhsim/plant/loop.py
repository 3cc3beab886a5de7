"""The recirculation loop of a scenario as the march reads it, and its own tank."""

from typing import NamedTuple

import numpy as np

from hpwhsim.demand.loop_running import aquastat_profile, crossover, daily_profile
from hpwhsim.demand.loop_sections import Section, read_sections, riser_sections
from hpwhsim.demand.recirculation import HotLoop, design, loop_of_watts
from hpwhsim.errors import InputError
from hpwhsim.heatpump.performance import PerformanceMap, map_from_cycle
from hpwhsim.plant.arrays import Array, LoopTank
from hpwhsim.plant.machine import Assumption
from hpwhsim.scenario.schema import Recirculation, Scenario
from hpwhsim.storage.fired_heaters import UNFIRED_TANK

PRACTICE = "common practice, no source"
SLENDER = (
    2.0  # height of a tank over its diameter, where only its volume is known; common practice, no source
)


class LoopYear(NamedTuple):
    """A loop ready to march; arrays have the shape (24,), by hour of the day."""

    loss: Array  # W from the plant
    back: Array  # °C
    pump: Array  # electricity of its pump, W
    ambient: float  # °C


NO_LOOP = LoopYear(np.zeros(24), np.full(24, 50.0), np.zeros(24), 20.0)


def make_loop(scenario: Scenario, mains: Array, found: list[Assumption], cautions: list[str]) -> LoopYear:
    """Loss, return and pump of the loop of `scenario`.

    Raises
    ------
    InputError
        If the pipes or temperatures of the loop cannot be.
    """
    block = scenario.recirculation
    if block is None:
        return NO_LOOP
    tank = block.loop_tank
    supply = tank.setpoint if tank is not None else scenario.plant.storage.setpoint
    back = block.return_temperature if block.supply_drop is None else supply - block.supply_drop
    if not back < supply:
        raise InputError(
            f"recirculation.return_temperature: got {back:g} degC; allowed below the {supply:g} degC that "
            "leave the plant for the loop"
        )
    pump = block.pump_power
    if block.loss_per_apartment is not None:
        loss = block.loss_per_apartment * scenario.building.apartments
        loop = loop_of_watts(loss, supply, back, block.ambient_temperature)
        pump = 0.0 if pump is None else pump
    else:
        found_design = design(
            _sections(block),
            supply,
            supply - back,
            least_flow=block.least_flow,
            conductivity=block.conductivity,
            bare_share=block.bare_share,
            fittings=block.fittings,
            valve_drop=block.valve_drop,
        )
        loop = found_design.loop
        cautions += found_design.cautions
        watts = loop.loss / scenario.building.apartments
        found.append(
            {
                "key": "recirculation.loss_per_apartment",
                "value": f"{watts:.1f} W",
                "source": "conduction through the insulation of the pipes given (textbook formula)",
            }
        )
        if pump is None:
            pump = found_design.pump_power(block.pump_efficiency)
            found.append(
                {
                    "key": "recirculation.pump_power",
                    "value": f"{pump:.1f} W",
                    "source": "Darcy and Weisbach over the pipes",
                }
            )
    if block.crossover > 0.0:
        crossed = crossover(loop, block.crossover, float(mains.mean()))
        cautions += crossed.cautions
        return LoopYear(
            np.full(24, loop.loss + crossed.heat), np.full(24, crossed.back), np.full(24, pump), loop.ambient
        )
    return _running(block, loop, pump)


def _sections(block: Recirculation) -> list[Section]:
    if block.sections is not None:
        return read_sections(block.sections)
    risers = block.risers
    assert risers is not None  # the schema wants one of the three
    return riser_sections(
        risers=risers.risers,
        floors=risers.floors,
        apartments_per_riser=risers.apartments_per_riser,
        main_length=risers.main_length,
        riser_spacing=risers.spacing,
        floor_height=risers.floor_height,
        main_insulation=risers.main_insulation,
        riser_insulation=risers.riser_insulation,
        main_ambient=risers.main_ambient,
        riser_ambient=block.ambient_temperature,
        main_size=risers.main_size,
        riser_size=risers.riser_size,
        return_main_size=risers.return_main_size,
        return_riser_size=risers.return_riser_size,
    )


def _running(block: Recirculation, loop: HotLoop, pump: float) -> LoopYear:
    """The day of a loop whose pump may stand."""
    if block.aquastat is None and not block.schedule:
        return LoopYear(np.full(24, loop.loss), np.full(24, loop.back), np.full(24, pump), loop.ambient)
    if block.aquastat is not None:
        profile = aquastat_profile(loop, block.aquastat, block.aquastat + block.aquastat_band)
    else:
        minutes = block.running_minutes()
        profile = daily_profile(loop, [float(minute in minutes) for minute in range(1440)])
    back = np.where(np.isfinite(profile.back), profile.back, loop.back)
    return LoopYear(np.maximum(profile.heat, 0.0), back, pump * profile.running, loop.ambient)


def make_loop_tank(scenario: Scenario, found: list[Assumption]) -> LoopTank:
    """The loop's own tank; of no volume where there is none."""
    empty, nothing = np.zeros(1), np.zeros((1, 1, 1))
    machine, rise = PerformanceMap(empty, empty, empty, nothing, nothing), 1.0
    block = scenario.recirculation.loop_tank if scenario.recirculation is not None else None
    if block is None:
        return LoopTank(0.0, 0.0, 0.0, 1.0, 0.0, 0.0, machine, rise)
    loss = block.heat_loss
    if loss is None:
        diameter = (4.0 * block.volume / (np.pi * SLENDER)) ** (1.0 / 3.0)
        loss = float(np.pi * diameter**2 * (0.5 + SLENDER) / UNFIRED_TANK)
        found.append(
            {
                "key": "recirculation.loop_tank.heat_loss",
                "value": f"{loss:.3g} W/K",
                "source": "surface of a tank twice as high as wide over R-12.5 of 10 CFR 431.110",
            }
        )
    heat_pump = block.heat_pump
    if heat_pump is not None:
        rated = heat_pump.rated_at
        if rated is None or heat_pump.capacity is None or heat_pump.cop is None:
            raise InputError(
                "recirculation.loop_tank.heat_pump: got a table or ratings; allowed capacity, cop "
                "and rated_at"
            )
        rise = heat_pump.rise
        machine = map_from_cycle(
            heat_pump.refrigerant,
            heat_pump.capacity,
            heat_pump.cop,
            rated.source,
            rated.water_in,
            rated.water_out,
            block.setpoint + rise,
            water_side="multi",
            rise_k=rise,
            approach_k=heat_pump.approach,
            key="recirculation.loop_tank.heat_pump",
        )
    return LoopTank(
        volume=block.volume,
        loss=loss,
        setpoint=block.setpoint,
        dead_band=block.dead_band,
        power=block.power or 0.0,
        through=1.0 if block.connection == "series" else 0.0,
        machine=machine,
        rise=rise,
    )
