"""The most that each part of a plant may draw, whatever the year's draws and weather ask of it."""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.plant.arrays import SourceKind, Sources, WaterSide
from hpwhsim.plant.assemble import Assembly
from hpwhsim.storage.layers import RHO_CP


class Connected(NamedTuple):
    """Electric power of the parts that may run together. [W]"""

    compressor: float  # greatest of one module over its permitted envelope
    beside: float  # fan and pump of a running module that its map does not count
    resistance: float  # backup and element of the loop's tank
    other: float  # pumps of source and loop, heat pump of the loop's tank
    grinder: float  # what grinding takes while the sewage that the exchanger is made for is lifted


def connected(assembly: Assembly) -> Connected:
    """What may run together in a plant.

    Every module, the backup, the loop's own heater and all pumps count at once. Frost lowers a machine's
    power and part speed does too, so that the clean machine at full speed is the greatest. What stands
    (crankcase heat, standby) does not run beside its compressor. Not counted here: heat trace.
    """
    plant, drive = assembly.plant, assembly.drive
    compressor = 0.0
    if plant.modules:
        single = plant.water_side == WaterSide.SINGLE  # elsewhere the outlet follows the inlet
        outlets = (float(drive.outlet.min()) if single else -np.inf, float(drive.outlet.max()))
        compressor = greatest_power(plant.machine, plant.lowest_source, plant.highest_inlet, outlets)
    sources, tank = plant.sources, plant.loop_tank
    other = float(assembly.loop_pump.max()) if assembly.loop_pump.size else 0.0
    if plant.modules:
        other += float(sources.loop.pump.max()) + sources.pumping.pump_power
    if tank.volume > 0.0 and tank.power == 0.0:
        other += greatest_power(tank.machine, tank.lowest, np.inf, (-np.inf, np.inf))
    backup = plant.backup_power / plant.backup_efficiency if plant.backup_electric > 0.0 else 0.0
    return Connected(
        compressor=compressor,
        beside=plant.fan_power + plant.pump_power,
        resistance=backup + (tank.power if tank.volume > 0.0 else 0.0),
        other=other,
        grinder=grinding_power(sources),
    )


def grinding_power(sources: Sources) -> float:
    """Electricity of the grinder while the flow of the exchanger is lifted; 0 without sewage. [W]"""
    if sources.kind not in (SourceKind.WET_WELL, SourceKind.SEWER):
        return 0.0
    return sources.pumping.grinder * sources.well.exchanger.sewage / RHO_CP


def greatest_power(
    machine: PerformanceMap, lowest_source: float, highest_inlet: float, outlets: tuple[float, float]
) -> float:
    """Greatest power of a module wherever it may work: its map cut off at the limits. [W].

    Between the points of the map power is linear along each axis, so that the greatest lies at a point of
    the map or where a limit cuts it. Where a corner of a cell is missing the machine does not work in it.

    Parameters
    ----------
    machine : PerformanceMap
        The map of one module.
    lowest_source, highest_inlet : float
        Limits of source and of water entering. [°C]
    outlets : tuple of float
        Least and highest outlet temperature that the plant asks for. [°C]

    Returns
    -------
    float
        0 where it works nowhere.
    """
    power = machine.power_w
    for axis, (knots, low, high) in enumerate(
        (
            (machine.source_c, lowest_source, np.inf),
            (machine.water_in_c, -np.inf, highest_inlet),
            (machine.water_out_c, *outlets),
        )
    ):
        if knots.size == 1:
            continue
        at = np.clip((low, high), knots[0], knots[-1])
        values = np.unique([*at, *knots[(knots > at[0]) & (knots < at[1])]])
        power = _along(power, axis, knots, values)
    works = np.isfinite(power)
    return float(power[works].max()) if works.any() else 0.0


def _along(field: Array, axis: int, knots: Array, at: Array) -> Array:
    """A field at other places on one of its axes: linear between `knots`, held at their ends."""
    cell = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, knots.size - 2)
    shape = [1] * field.ndim
    shape[axis] = at.size
    share = np.clip((at - knots[cell]) / np.diff(knots)[cell], 0.0, 1.0).reshape(shape)
    low, high = field.take(cell, axis), field.take(cell + 1, axis)
    middle = (1.0 - share) * low + share * high  # where an end has no weight its NaN does not count
    return np.asarray(np.where(share == 0.0, low, np.where(share == 1.0, high, middle)))
