"""The recirculation loop of a scenario as the march reads it, and its own tank."""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.demand.loop_running import aquastat_profile, crossover, daily_profile
from hpwhsim.demand.loop_sections import Section, read_sections, riser_sections
from hpwhsim.demand.recirculation import HotLoop, design, loop_of_watts, loss_at_supply
from hpwhsim.errors import InputError
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.heatpump.rated import fit_one
from hpwhsim.plant.arrays import LoopTank
from hpwhsim.plant.machine import Assumption, say_parts
from hpwhsim.scenario.recirculation import Recirculation
from hpwhsim.scenario.schema import Scenario
from hpwhsim.storage.fired_heaters import UNFIRED_TANK
from hpwhsim.storage.layers import RHO_CP

MINUTE = 60.0  # s; the march takes a step with a loop tank in such parts
SLENDER = (
    2.0  # height of a tank over its diameter, where only its volume is known; common practice, no source
)


class LoopYear(NamedTuple):
    """A loop ready to march; arrays have the shape (24,), by hour of the day."""

    loss: Array  # W from the plant
    back: Array  # °C
    coldest: Array  # at its end, running or standing, °C
    pump: Array  # electricity of its pump, W
    ambient: float  # °C
    supply: float  # water leaving for it, for which all of these are, °C

    @classmethod
    def steady(cls, loss: float, back: float, pump: float, ambient: float, supply: float) -> "LoopYear":
        """A loop that runs all day."""
        return cls(
            np.full(24, loss), np.full(24, back), np.full(24, back), np.full(24, pump), ambient, supply
        )


NO_LOOP = LoopYear.steady(0.0, 50.0, 0.0, 20.0, 60.0)


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
    supply, leaves = loop_supply(scenario)
    key = "return_temperature" if block.supply_drop is None else "supply_drop"
    back = block.return_temperature if block.supply_drop is None else supply - block.supply_drop
    if not back < supply:
        raise InputError(
            f"recirculation.{key}: got a return of {back:.1f} degC; allowed below the {supply:.1f} degC that "
            f"leave for the loop ({leaves})"
        )
    if block.sections is None and not back > block.ambient_temperature:
        raise InputError(
            f"recirculation.{key}: got a return of {back:.1f} degC; allowed above the air around the pipes "
            f"(recirculation.ambient_temperature, {block.ambient_temperature:.1f} degC)"
        )
    if block.loss_per_apartment is not None:
        loop, pump = _loop_by_loss(scenario, block.loss_per_apartment, supply, back, found, cautions)
    else:
        loop, pump = _loop_by_pipes(scenario, supply, supply - back, found, cautions)
    if block.crossover > 0.0:
        crossed = crossover(loop, block.crossover, float(mains.mean()))
        if not crossed.back > loop.ambient:
            raise InputError(
                f"recirculation.crossover: got {3.6e6 * block.crossover:.0f} L/h, with which the loop comes "
                f"back at {crossed.back:.1f} degC; allowed a return above the air around the pipes "
                f"({loop.ambient:.1f} degC)"
            )
        cautions += crossed.cautions
        return LoopYear.steady(loop.loss + crossed.heat, crossed.back, pump, loop.ambient, loop.supply)
    if block.aquastat is not None and block.aquastat + block.aquastat_band > loop.back:
        cautions.append(
            f"recirculation.aquastat: the pump never stops: it would at "
            f"{block.aquastat + block.aquastat_band:.1f} degC, and the running loop comes back at "
            f"{loop.back:.1f} degC"
        )
    return _running(block, loop, pump)


def _loop_by_loss(
    scenario: Scenario,
    per_apartment: float,
    supply: float,
    back: float,
    found: list[Assumption],
    cautions: list[str],
) -> tuple[HotLoop, float]:
    """The loop of a given loss [W per apartment], and the power of its pump. [W]"""
    block = scenario.recirculation
    assert block is not None  # there is a loop
    given = per_apartment * scenario.building.apartments
    loss = loss_at_supply(given, block.loss_at, supply, back, block.ambient_temperature)
    loop = loop_of_watts(loss, supply, back, block.ambient_temperature)
    found.append(
        {
            "key": "recirculation.flow",
            "value": f"{60e3 * loop.flow:.2f} L/min",
            "source": f"{loss:.0f} W between {loop.supply:.1f} and {loop.back:.1f} degC over rho c times "
            f"that fall; {given:.0f} W given at {block.loss_at:.1f} degC",
        }
    )
    if block.pump_power is not None:
        return loop, block.pump_power
    pump = block.pump_head * loop.flow / block.pump_efficiency
    found.append(
        {
            "key": "recirculation.pump_power",
            "value": f"{pump:.1f} W",
            "source": f"recirculation.pump_head, {block.pump_head / 1e3:.0f} kPa, times flow over "
            "recirculation.pump_efficiency",
        }
    )
    cautions.append(
        f"recirculation.pump_power: not given; {pump:.1f} W is the pump power for the loop's flow at "
        f"{block.pump_head / 1e3:.0f} kPa; installed pumps are often larger"
    )
    return loop, pump


def _loop_by_pipes(
    scenario: Scenario, supply: float, fall: float, found: list[Assumption], cautions: list[str]
) -> tuple[HotLoop, float]:
    """The loop of given pipes, whose water may fall so much on its way, and the power of its pump. [W]"""
    block = scenario.recirculation
    assert block is not None  # there is a loop
    found_design = design(
        _sections(block),
        supply,
        fall,
        least_flow=block.min_flow,
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
    found.append(
        {
            "key": "recirculation.flow",
            "value": f"{60e3 * loop.flow:.2f} L/min",
            "source": f"loss over rho c times the fall from {loop.supply:.1f} to {loop.back:.1f} degC",
        }
    )
    if block.pump_power is not None:
        return loop, block.pump_power
    pump = found_design.pump_power(block.pump_efficiency)
    found.append(
        {
            "key": "recirculation.pump_power",
            "value": f"{pump:.1f} W",
            "source": "[darcy-weisbach]; over the pipes",
        }
    )
    return loop, pump


def loop_supply(scenario: Scenario) -> tuple[float, str]:
    """Water that leaves for the loop [°C], and the key that sets it: a tempering valve's, if it is colder."""
    block, valve = scenario.recirculation, scenario.hot_water.tempering_valve
    supply, key = scenario.supply_setpoint, "plant.storage.setpoint"
    if supply > scenario.plant.storage.setpoint:
        key = "plant.backup.setpoint"
    if block is not None and block.loop_tank is not None:
        supply, key = block.loop_tank.setpoint, "recirculation.loop_tank.setpoint"
    if valve is not None and valve < supply:
        return valve, "hot_water.tempering_valve"
    return supply, key


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
        return LoopYear.steady(loop.loss, loop.back, pump, loop.ambient, loop.supply)
    if block.aquastat is not None:
        profile = aquastat_profile(loop, block.aquastat, block.aquastat + block.aquastat_band)
    else:
        minutes = block.running_minutes()
        profile = daily_profile(loop, [float(minute in minutes) for minute in range(1440)])
    back = np.where(np.isfinite(profile.back), profile.back, loop.back)
    back = np.maximum(back, loop.ambient + 0.01)  # as cold as the air, but for rounding
    heat = np.maximum(profile.heat, 0.0)
    return LoopYear(heat, back, profile.coldest, pump * profile.running, loop.ambient, loop.supply)


def make_loop_tank(
    scenario: Scenario, loss_of_loop: float, air: Array, found: list[Assumption], cautions: list[str]
) -> LoopTank:
    """The loop's own tank; of no volume where there is none.

    Parameters
    ----------
    scenario, found, cautions
        What the modeler wrote; defaults worked out and cautions join the lists.
    loss_of_loop : float
        Most that the loop loses. [W]
    air : ndarray, shape (8760,)
        What its heat pump draws in. [°C]

    Raises
    ------
    InputError
        If its heat pump cannot work, or the loop takes the tank through its dead band in a minute.
    """
    empty, nothing = np.zeros(1), np.zeros((1, 1, 1))
    machine, rise = PerformanceMap(empty, empty, empty, nothing, nothing), 1.0
    block = scenario.recirculation.loop_tank if scenario.recirculation is not None else None
    if block is None:
        return LoopTank(0.0, 0.0, 0.0, 1.0, 0.0, 0.0, machine, rise, 0.0)
    least = MINUTE * loss_of_loop / (RHO_CP * block.dead_band)
    if block.volume < least:
        raise InputError(
            f"recirculation.loop_tank.volume: got {1e3 * block.volume:.0f} L; allowed {1e3 * least:.0f} L or "
            "more, or the loop takes the tank through its dead band within a minute"
        )
    loss = block.heat_loss
    if loss is None:
        diameter = (4.0 * block.volume / (np.pi * SLENDER)) ** (1.0 / 3.0)
        loss = float(np.pi * diameter**2 * (0.5 + SLENDER) / UNFIRED_TANK)
        found.append(
            {
                "key": "recirculation.loop_tank.heat_loss",
                "value": f"{loss:.3g} W/K",
                "source": "[cfr-431-110]; surface of a tank twice as high as wide over R-12.5",
            }
        )
    heat_pump = block.heat_pump
    lowest = -np.inf
    if heat_pump is not None:
        rated = heat_pump.rated_at
        assert rated is not None  # the schema wants all three
        assert heat_pump.capacity is not None
        assert heat_pump.cop is not None
        rise = heat_pump.rise
        fitted = fit_one(
            heat_pump.refrigerant,
            heat_pump.capacity,
            heat_pump.cop,
            rated.source,
            rated.water_in,
            rated.water_out,
            block.setpoint + rise,
            water_side="multi-pass",
            rise_k=rise,
            approach_k=heat_pump.approach,
            key="recirculation.loop_tank.heat_pump",
        )
        machine = fitted.machine
        say_parts(fitted.parts, "recirculation.loop_tank.heat_pump", True, found)
        lowest = float(machine.source_c[np.isfinite(machine.capacity_w).any(axis=(1, 2))][0])
        cautions.append(
            f"recirculation.loop_tank.heat_pump: locked out below {lowest:g} degC, where its range ends, in "
            f"{int((air < lowest).sum())} h of the year; frost on its coil is not counted"
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
        lowest=lowest,
    )
