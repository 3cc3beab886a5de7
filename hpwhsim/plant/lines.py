"""What the lines between an outdoor machine and its store do to it."""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.heatpump.anchor import Rating
from hpwhsim.heatpump.lines import LineDerate, Lines, line_derate
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.plant.arrays import StandingLines
from hpwhsim.scenario.lines import USUAL_UNITS, WaterLines
from hpwhsim.scenario.machine import HeatPump
from hpwhsim.source.line_freezing import Outage, freezing_hours, outage, water_line_cautions
from hpwhsim.source.outdoor_lines import (
    WATER_HEAT,
    Glycol,
    Surroundings,
    Trace,
    TraceHeat,
    WaterLine,
    circulating_loss,
    glycol_loop,
    propylene_glycol,
    surroundings,
    trace_heat,
)

USUAL_COLD_C = 15.0  # water to the machine where lines are rated; common practice, no source


class Shift(NamedTuple):
    """How much hotter the machine must work behind a glycol exchanger."""

    hot_k: float  # glycol leaving the machine less water going to the store
    cold_k: float  # glycol back less water from the store
    glycol: Glycol | None


class LinesYear(NamedTuple):
    """What water lines did in the year; (hour,) unless said."""

    trace_kwh: Array
    loss_kwh: Array
    standing_kwh: Array  # of it, what was lost standing
    freeze_hours: float  # below 0 °C, h
    standing_freeze_hours: float  # of these with the water standing, h
    outage: Outage | None
    cautions: list[str]


def refrigerant_lines(heat_pump: HeatPump) -> LineDerate | None:
    """Derate of a module by its refrigerant lines; None where there are none.

    Raises
    ------
    InputError
        If the lines cannot be.
    """
    block = heat_pump.lines
    if block is None:
        return None
    assert heat_pump.rated_at is not None  # the schema wants a rating beside lines
    assert heat_pump.capacity is not None
    assert heat_pump.cop is not None
    at = heat_pump.rated_at
    rating = Rating(at.source, at.water_in, at.water_out, heat_pump.capacity, heat_pump.cop)
    lines = Lines(
        length_m=block.length,
        rise_m=block.rise,
        gas_inner_m=block.gas_diameter,
        liquid_inner_m=block.liquid_diameter,
        compressor=block.compressor,
        rated_length_m=block.rated_length,
    )
    return line_derate(
        heat_pump.refrigerant,
        rating,
        lines,
        approach_k=heat_pump.approach,
        injection=heat_pump.injection,
    )


def derated(machine: PerformanceMap, by: LineDerate) -> PerformanceMap:
    """The map of a module behind its refrigerant lines."""
    return machine._replace(capacity_w=machine.capacity_w * by.capacity, power_w=machine.power_w * by.power)


def glycol_shift(block: WaterLines | None, outlet: float, capacity: float, rise: float | None) -> Shift:
    """Temperatures that a glycol exchanger costs at the rating; none without one.

    Parameters
    ----------
    block : WaterLines or None
        The lines.
    outlet : float
        Water to the store. [°C]
    capacity : float
        Heat of all modules at the rating. [W]
    rise : float or None
        Of the water per pass; None: all the way from `USUAL_COLD_C`. [K]
    """
    if block is None or block.protection != "glycol":
        return Shift(0.0, 0.0, None)
    cold = outlet - rise if rise is not None else USUAL_COLD_C
    rate = capacity / (outlet - cold)
    ua = USUAL_UNITS * rate if block.exchanger is None else block.exchanger
    found = glycol_loop(cold, outlet, rate, rate, ua)
    glycol = propylene_glycol(block.glycol_share, 0.5 * (cold + outlet))
    return Shift(float(found.hot_end_k), float(found.cold_end_k), glycol)


def behind_exchanger(machine: PerformanceMap, shift: Shift) -> PerformanceMap:
    """The map as the water of the store sees it: the machine works at warmer water than that."""
    if shift.glycol is None:
        return machine
    return machine._replace(
        water_in_c=machine.water_in_c - shift.cold_k, water_out_c=machine.water_out_c - shift.hot_k
    )


def _pipe(block: WaterLines, glycol: Glycol | None = None) -> WaterLine:
    pipe = WaterLine(
        length_m=block.length,
        inner_m=block.inner_diameter,
        outer_m=block.outer_diameter,
        insulation_m=block.insulation,
        fluid_heat=WATER_HEAT if glycol is None else glycol.heat_capacity,
    )
    pipe.check()
    return pipe


def _trace(block: WaterLines) -> Trace | None:
    if block.protection != "trace":
        return None
    return Trace(block.trace_rating, block.trace_hold, block.trace_hold, block.trace_control)


def loss_share(
    block: WaterLines, shift: Shift, outlet: float, capacity: float, rise: float | None, air: Array
) -> Array:
    """Share of the machine's heat that its water lines lose while it runs, (hour,)."""
    cold = outlet - rise if rise is not None else USUAL_COLD_C
    rate = capacity / (outlet - cold)
    lost = circulating_loss(_pipe(block), cold + shift.cold_k, outlet + shift.hot_k, air, rate)
    return np.clip(lost / capacity, 0.0, 0.9)


NO_LINES = StandingLines(0.0, 1.0, 0.0, 0.0)
NOTHING_AROUND = Surroundings(np.zeros(1), np.zeros(1), np.zeros(1))


def standing_lines(block: WaterLines | None, shift: Shift, air: Array) -> tuple[StandingLines, Surroundings]:
    """Water lines as they stand between runs, and what is around them by hour.

    Parameters
    ----------
    block, shift : WaterLines or None, Shift
        The lines, and what an exchanger between them and the store does to their temperatures.
    air : ndarray, shape (hour,)
        Outdoors. [°C]
    """
    if block is None:
        return NO_LINES, NOTHING_AROUND
    pipe = _pipe(block, shift.glycol)
    lines = StandingLines(pipe.length_m * pipe.holds, pipe.time_constant, shift.cold_k, shift.hot_k)
    return lines, surroundings(pipe, air, _trace(block), freezes=shift.glycol is None)


def lines_year(
    block: WaterLines,
    shift: Shift,
    share: Array,
    *,
    heat_kwh: Array,
    standing_kwh: Array,
    running: Array,
    held: Array,
    air: Array,
) -> LinesYear:
    """Heat trace, loss and freezing of water lines in a year that was marched.

    Parameters
    ----------
    block, shift : WaterLines, Shift
        The lines.
    share : ndarray, shape (hour,)
        From `loss_share`.
    heat_kwh : ndarray, shape (hour,)
        Heat that came into the store, before what defrosts drew back. [kWh]
    standing_kwh : ndarray, shape (hour,)
        Heat that the machine gave to the lines in place of what they had lost standing. [kWh]
    running : ndarray, shape (hour,)
        Share of the hour that the machine ran.
    held : ndarray, shape (hour,)
        Share of the hour in which the lines stood as cold as their trace holds them.
    air : ndarray, shape (hour,)
        Outdoors. [°C]
    """
    pipe, standing = _pipe(block), 1.0 - np.clip(running, 0.0, 1.0)
    trace: TraceHeat | None = None
    setting = _trace(block)
    power = np.zeros(air.size)
    if setting is not None:
        trace = trace_heat(pipe, setting, air, held)
        power = trace.power_w / 1000.0
    below, exposed = freezing_hours(air, standing)
    stands = None
    if shift.glycol is None:
        stands = outage(pipe, air, block.outage / 3600.0, USUAL_COLD_C)
    said = water_line_cautions(
        air, trace=trace, glycol=shift.glycol, outage_hours=block.outage / 3600.0, stands=stands
    )
    lost = (heat_kwh + standing_kwh) * share / (1.0 - share) + standing_kwh
    return LinesYear(power, lost, standing_kwh, below, exposed, stands, list(said))
