"""Water lines between an outdoor machine and the indoor store: heat lost, heat trace, glycol.

Two equal pipes run outdoors, one out and one back, each in its own insulation, which holds nearly all of the
resistance. What an outage does to the water in them is in `line_freezing`.

References
----------
.. [1] Insulated cylinder, textbook, per metre:
   ``q = (T - T_air) / (ln(r2 / r1) / (2 pi k) + 1 / (2 pi r2 h))``.
.. [2] Effectiveness of a counterflow exchanger by number of transfer units: W. M. Kays, A. L. London, Compact
   Heat Exchangers (unverified).
"""

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array, Flags
from hpwhsim.errors import OutOfRangeError

WATER_HEAT = 4.18e6  # J/m³K, 0 to 60 °C within 2 % (IAPWS-95)


@dataclass(frozen=True)
class WaterLine:
    """One of the two pipes outdoors.

    The defaults are 25 mm (1 in) of foam, the film of a windy surface, and a wall of copper. All common
    practice, no source.
    """

    length_m: float  # one way, outdoors
    inner_m: float  # inside diameter
    outer_m: float  # outside diameter of the bare pipe
    insulation_m: float = 0.025
    conductivity: float = 0.038  # W/mK, of the insulation
    film: float = 25.0  # W/m2K, outside
    wall_heat: float = 3.45e6  # J/m³K, of the pipe's wall
    fluid_heat: float = WATER_HEAT  # J/m³K, of what is in it

    def check(self, key: str = "plant.heat_pump.water_lines") -> None:
        """Refuse a pipe that cannot be.

        Raises
        ------
        OutOfRangeError
            If a number is out of its range; the message names `key`.
        """
        for name, value, low, high, unit in (
            ("length", self.length_m, 0.0, 300.0, "m"),
            ("inner_diameter", self.inner_m, 0.005, 0.5, "m"),
            ("outer_diameter", self.outer_m, self.inner_m, 0.6, "m"),
            ("insulation", self.insulation_m, 0.0, 0.3, "m"),
            ("conductivity", self.conductivity, 0.01, 1.0, "W/m/K"),
            ("film", self.film, 1.0, 200.0, "W/m2/K"),
        ):
            if not low <= value <= high:  # NaN fails this too
                raise OutOfRangeError(
                    f"{key}.{name}: got {value:g} {unit}; allowed {low:g} to {high:g} {unit}"
                )

    @property
    def resistance(self) -> float:
        """Of one metre, from its water to the air [1]. [m K/W]"""
        bare, outside = 0.5 * self.outer_m, 0.5 * self.outer_m + self.insulation_m
        across = math.log(outside / bare) / (2.0 * math.pi * self.conductivity)
        return across + 1.0 / (2.0 * math.pi * outside * self.film)

    @property
    def bore(self) -> float:
        """Section of the water. [m²]"""
        return math.pi / 4.0 * self.inner_m**2

    @property
    def wall(self) -> float:
        """Heat capacity of one metre of empty pipe. [J/mK]"""
        return self.wall_heat * math.pi / 4.0 * (self.outer_m**2 - self.inner_m**2)

    @property
    def holds(self) -> float:
        """Heat capacity of one metre with what is in it. [J/mK]"""
        return self.fluid_heat * self.bore + self.wall

    @property
    def time_constant(self) -> float:
        """Of standing water. [s]"""
        return self.resistance * self.holds


def circulating_loss(
    line: WaterLine, out_c: ArrayLike, back_c: ArrayLike, outdoor_c: ArrayLike, rate: ArrayLike
) -> Array:
    """Heat that both pipes lose while the water runs.

    Parameters
    ----------
    line : WaterLine
        One of the two.
    out_c, back_c : array_like of float, shapes that broadcast to (n,)
        Water entering the pipe out to the machine, and the pipe back from it. [°C]
    outdoor_c : array_like of float, shape (n,)
        Outdoor air. [°C]
    rate : array_like of float, above 0
        Heat capacity rate of the water, mass flow times specific heat. [W/K]

    Returns
    -------
    ndarray of float64, shape (n,)
        Negative where the air is warmer. [W]
    """
    flow = np.asarray(rate, dtype=np.float64)
    warmer = np.asarray(out_c) + np.asarray(back_c) - 2.0 * np.asarray(outdoor_c, dtype=np.float64)
    return np.asarray(-flow * warmer * np.expm1(-line.length_m / line.resistance / flow))


@dataclass(frozen=True)
class Trace:
    """Electric heat trace along both pipes.

    *Self-regulating*, with a thermostat on the pipe: standing water that has cooled to `hold_c` is given what
    it loses, within the rating. *On-off*, with a thermostat in the air: the rating whenever the air is below
    `on_below_c`, whether the water runs or not. 5 °C is common practice, no source.
    """

    rating: float  # W per metre of pipe
    hold_c: float = 5.0  # °C
    on_below_c: float = 5.0  # °C, of the air
    control: Literal["self-regulating", "on-off"] = "self-regulating"


class TraceHeat(NamedTuple):
    """The heat trace hour by hour."""

    power_w: Array  # (n,) W, mean of the hour, both pipes
    too_small: Flags  # (n,) the pipe at hold_c loses more than the rating
    holds_to_c: float  # coldest air in which the rating holds the pipe


class Surroundings(NamedTuple):
    """What a standing pipe cools towards, by hour, each (n,). [°C]

    Above `hold_c` that is `around_c`, the air (with an on-off trace: what its rating holds above the air). At
    `hold_c` and below it that is `floor_c`: what a self-regulating trace within its rating can hold; 0 °C for
    water without one, because water that freezes stays there until all is ice. -inf: no such limit.
    """

    around_c: Array
    hold_c: Array
    floor_c: Array


def surroundings(
    line: WaterLine, outdoor_c: ArrayLike, trace: Trace | None, freezes: bool = True
) -> Surroundings:
    """What standing pipes cool towards.

    Parameters
    ----------
    line : WaterLine
        One of the two pipes.
    outdoor_c : array_like of float, shape (n,)
        Outdoor air by hour. [°C]
    trace : Trace, optional
        What heats them.
    freezes : bool
        Whether what is in them freezes at 0 °C; glycol does not.
    """
    air = np.asarray(outdoor_c, dtype=np.float64)
    around, hold = air.copy(), np.full(air.shape, -np.inf)
    floor = hold.copy()
    if trace is not None:
        on = air < trace.on_below_c
        held = air + trace.rating * line.resistance
        if trace.control == "on-off":
            around = np.where(on, held, air)
        else:
            hold = np.where(on, trace.hold_c, hold)
            floor = np.where(on, np.minimum(trace.hold_c, held), floor)
    if freezes:
        hold = np.where(around < 0.0, np.maximum(hold, 0.0), hold)
        floor = np.where(around < 0.0, np.maximum(floor, 0.0), floor)
    return Surroundings(around, hold, floor)


def trace_heat(line: WaterLine, trace: Trace, outdoor_c: ArrayLike, standing: ArrayLike = 1.0) -> TraceHeat:
    """Electricity of the heat trace.

    Parameters
    ----------
    line : WaterLine
        One of the two pipes.
    trace : Trace
        What heats them.
    outdoor_c : array_like of float, shape (n,)
        Outdoor air by hour. [°C]
    standing : array_like of float, one number or shape (n,)
        Share of the hour in which the water stands and has cooled to `hold_c`, mean of both pipes; only a
        self-regulating trace looks at it.

    Returns
    -------
    TraceHeat
    """
    air = np.asarray(outdoor_c, dtype=np.float64)
    on = air < trace.on_below_c
    needed = np.maximum(trace.hold_c - air, 0.0) / line.resistance
    if trace.control == "on-off":
        power = np.where(on, trace.rating, 0.0)
    else:
        power = np.where(on, np.minimum(needed, trace.rating), 0.0) * np.asarray(standing, dtype=np.float64)
    return TraceHeat(
        power_w=2.0 * line.length_m * power,
        too_small=needed > trace.rating,
        holds_to_c=trace.hold_c - trace.rating * line.resistance,
    )


class Exchanger(NamedTuple):
    """What a glycol loop between machine and store asks of the machine; each as the inputs broadcast."""

    effectiveness: Array
    machine_out_c: Array  # °C, glycol leaving the machine
    machine_in_c: Array  # °C, glycol coming back to it
    hot_end_k: Array  # glycol in less water out
    cold_end_k: Array  # glycol out less water in


def glycol_loop(
    water_in_c: ArrayLike,
    water_out_c: ArrayLike,
    water_rate: ArrayLike,
    glycol_rate: ArrayLike,
    ua: ArrayLike,
) -> Exchanger:
    """Temperatures at the machine when a plate exchanger in counterflow parts it from the water.

    Parameters
    ----------
    water_in_c, water_out_c : array_like of float, shapes that broadcast
        Water entering the exchanger from the store and leaving it. [°C]
    water_rate, glycol_rate : array_like of float, above 0
        Heat capacity rates, mass flow times specific heat. [W/K]
    ua : array_like of float, above 0
        Of the exchanger. [W/K]

    Returns
    -------
    Exchanger
        The machine is then asked at these temperatures in place of the water's.

    References
    ----------
    Kays and London [2]_.

    Examples
    --------
    >>> loop = glycol_loop(10.0, 60.0, 200.0, 200.0, 1800.0)  # NTU 9: effectiveness 0.9
    >>> float(loop.machine_out_c.round(4))
    65.5556
    """
    cold, hot, capacity = (np.asarray(x, dtype=np.float64) for x in (water_rate, glycol_rate, ua))
    water_in, water_out = (np.asarray(x, dtype=np.float64) for x in (water_in_c, water_out_c))
    least, most = np.minimum(cold, hot), np.maximum(cold, hot)
    ntu, ratio = capacity / least, least / most
    # (1 - e) / (1 - r e) with e = exp(-NTU (1 - r)); divided by (1 - r) e it runs smoothly through r = 1
    spread = ntu * (1.0 - ratio)
    even = spread == 0.0
    grown = np.where(even, ntu, ntu * -np.expm1(-spread) / np.where(even, 1.0, spread))
    effectiveness = grown / (np.exp(-spread) + grown)
    heat = cold * (water_out - water_in)
    out = water_in + heat / (effectiveness * least)
    back = out - heat / hot
    return Exchanger(effectiveness, out, back, out - water_out, back - water_in)


class Glycol(NamedTuple):
    """Propylene glycol in water."""

    heat_capacity: float  # J/m³K
    freezing_c: float  # °C, first crystals


def propylene_glycol(share: float, temperature_c: float) -> Glycol:
    """Heat capacity and freezing point of propylene glycol in water.

    Parameters
    ----------
    share : float
        Mass of glycol in the mass of the mixture, 0 to 0.6.
    temperature_c : float
        Of the loop, at most 100. [°C]

    Returns
    -------
    Glycol

    Raises
    ------
    OutOfRangeError
        If the share or the temperature is out of range, or the mixture freezes there.

    References
    ----------
    .. [1] A. Melinder, Properties of Secondary Working Fluids for Indirect Systems, IIR, 2010; by CoolProp.
    """
    from CoolProp.CoolProp import PropsSI

    if not 0.0 <= share <= 0.6:
        raise OutOfRangeError(f"propylene glycol: got a mass share of {share:g}; allowed 0 to 0.6")
    fluid, kelvin, pressure = f"INCOMP::MPG[{share}]", temperature_c + 273.15, 2e5
    freezing = float(PropsSI("T_freeze", "T", 313.15, "P", pressure, fluid)) - 273.15
    if not freezing < temperature_c <= 100.0:
        raise OutOfRangeError(
            f"propylene glycol, {share:.0%}: got {temperature_c:g} °C; allowed {freezing:.1f} to 100 °C"
        )
    density, heat = (float(PropsSI(x, "T", kelvin, "P", pressure, fluid)) for x in "DC")
    return Glycol(density * heat, freezing)
