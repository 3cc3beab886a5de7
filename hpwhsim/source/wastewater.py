"""Sewage as a source: the wet well, the street sewer, and the exchanger between sewage and machine.

*Well.* Always full and well mixed: what flows in pushes as much out. Over a step with constant inflow q, heat
taken Q and surroundings Ts::

    C dT/dt = rc q (Tin - T) - UA (T - Ts) - Q,   C = rc V,   rc = RHO_CP

is linear, so end and mean temperature are exact for a step of any length and inflow.

*Exchanger.* The sewage enters at T, the clean loop comes from the machine at Tb and goes back to it at Ta::

    Q = eps Cmin (T - Tb),   Q = C_loop (Ta - Tb)   =>   Ta = T - (1 / (eps Cmin) - 1 / C_loop) Q

so the machine meets a straight line in the heat it takes. With eps of counterflow (Incropera and DeWitt,
Fundamentals of Heat and Mass Transfer, table of effectiveness relations) 1 / (eps Cmin) is
1 / Cmin + b(x) / UA, where x = UA (1 / Cmin - 1 / Cmax) and b(x) = x / (e^x - 1): no case is special.

The pumps go with the machine's modules: a running module brings its share of both flows and of the
exchanger. The electricity of pumps and grinder is not credited to the sewage: it is taken to warm the pump
room.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.errors import OutOfRangeError
from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plain_math import exponential_less_one
from hpwhsim.source.offer import Offer

RHO_CP = 988.035 * 4181.3
"""Heat capacity of water by volume, J/m³K, that of the store: a litre then brings to the drain the heat that
the plant put into it. Water at 15 °C holds 1.3 % more."""

ABSOLUTE_ZERO = -273.15  # °C; an offer with this lower end has none


class Exchanger(NamedTuple):
    """Between sewage and machine, all modules together, clean."""

    ua: float  # W/K; with no loop that of the machine's own evaporator in the sewage
    sewage: float  # heat capacity flow of the sewage, W/K
    loop: float  # heat capacity flow of the clean loop, W/K; not read if `direct`
    direct: bool  # sewage goes to the evaporator, whose clean exchange the machine's map already holds


class Well(NamedTuple):
    """A wet well and the exchanger that its water is pumped through."""

    capacity: float  # J/K
    loss: float  # W/K
    around: float  # soil or room, °C
    floor: float  # taking heat leaves the sewage no colder, °C
    exchanger: Exchanger


class Pumping(NamedTuple):
    """Electricity of the sewage side."""

    pump_power: float  # circulation pumps with all modules running, W
    grinder: float  # grinding and lifting, J/m³


def make_exchanger(ua: float, sewage_flow: float, loop_flow: float, direct: bool) -> Exchanger:
    """Exchanger from its clean conductance and the flows on both sides, all modules together.

    Parameters
    ----------
    ua : float
        Clean conductance; `direct`: of the evaporator. [W/K]
    sewage_flow, loop_flow : float
        Pumped flows; the loop is water, its flow is not read if `direct`. [m³/s]
    direct : bool
        No clean loop: the sewage itself goes to the evaporator.

    Raises
    ------
    OutOfRangeError
        If a value that is read is not above 0.
    """
    _above_zero("exchanger", ua, "W/K")
    _above_zero("sewage_flow", sewage_flow, "m3/s")
    if not direct:
        _above_zero("loop_flow", loop_flow, "m3/s")
    return Exchanger(ua, RHO_CP * sewage_flow, RHO_CP * loop_flow, direct)


def make_well(volume: float, loss: float, around: float, floor: float, exchanger: Exchanger) -> Well:
    """Wet well from its size.

    Parameters
    ----------
    volume : float
        Working volume, constant. [m³]
    loss : float
        Conductance of its wall, 0 or more. [W/K]
    around : float
        Soil or room around it. [°C]
    floor : float
        Taking heat leaves the sewage no colder, 0 to 20. Common practice is 5 to 8 (freezing, biology), and
        often 10 where a by-law counts; no source. [°C]
    exchanger : Exchanger
        From `make_exchanger`.

    Raises
    ------
    OutOfRangeError
        If a value is out of its range.
    """
    _above_zero("volume", volume, "m3")
    check_floor(floor)
    if not 0.0 <= loss < np.inf:
        raise OutOfRangeError(f"plant.source.wastewater.loss: got {loss:g} W/K; allowed 0 or more")
    if not -20.0 <= around <= 50.0:
        raise OutOfRangeError(
            f"temperature around the wet well: got {around:g} degC; allowed -20 degC to 50 degC"
        )
    return Well(RHO_CP * volume, loss, around, floor, exchanger)


def check_floor(floor: float) -> None:
    """Raise `OutOfRangeError` unless the lowest sewage temperature is 0 to 20 °C."""
    if not 0.0 <= floor <= 20.0:
        key = "plant.source.wastewater.min_temperature"
        raise OutOfRangeError(f"{key}: got {floor:g} degC; allowed 0 degC to 20 degC")


def _above_zero(key: str, value: float, unit: str) -> None:
    if not 0.0 < value < np.inf:
        raise OutOfRangeError(
            f"plant.source.wastewater.{key}: got {value:g} {unit}; allowed more than 0 {unit}"
        )


@kernel
def _bernoulli(x: float) -> float:
    """``x / (e^x - 1)``, 1 at 0; for x of 0 or more."""
    gone = -exponential_less_one(-x)
    return x * (1.0 - gone) / gone if gone > 0.0 else 1.0


@kernel
def exchanger_slope(
    exchanger: Exchanger, available: float, u_left: float, running: float, modules: int
) -> float:
    """By how much a watt taken makes the machine's source colder than the sewage. [K/W]

    Parameters
    ----------
    exchanger : Exchanger
        All modules, clean.
    available : float
        Heat capacity flow of the sewage that is there, 0 or more; the pumps get no more. [W/K]
    u_left : float
        Heat transfer coefficient over that of the clean exchanger, above 0 to 1.
    running : float
        Modules running; below 1 counts as 1.
    modules : int
        All modules.
    """
    share = max(running, 1.0) / modules
    clean = exchanger.ua * share
    pumped = exchanger.sewage * share
    sewage = min(pumped, available) if available > 0.0 else pumped  # without sewage no heat is taken
    fouled = clean * u_left
    if exchanger.direct:
        # an evaporator: 1 / (eps C) against one temperature, over what the machine's map holds already
        beyond = 1.0 / sewage + _bernoulli(fouled / sewage) / fouled
        return beyond - (1.0 / pumped + _bernoulli(clean / pumped) / clean)
    loop = exchanger.loop * share
    least, largest = min(sewage, loop), max(sewage, loop)
    met_by_loop = 1.0 / least + _bernoulli(fouled * (1.0 / least - 1.0 / largest)) / fouled
    return met_by_loop - 1.0 / loop


@kernel
def _response(x: float) -> tuple[float, float]:
    """Share of ``net dt / C`` by which a well has moved at the end of a step, and in its mean; at 0: 1, 1/2.

    x is the step over the well's time constant: ``(1 - e^-x) / x`` and ``(1 - (1 - e^-x) / x) / x``.
    """
    if x < 0.01:  # the series is good to 1e-14 here, the closed form loses digits
        mean = 0.5 - x * (1.0 / 6.0 - x * (1.0 / 24.0 - x * (1.0 / 120.0 - x / 720.0)))
    else:
        mean = (1.0 + exponential_less_one(-x) / x) / x
    return 1.0 - x * mean, mean


@kernel_apart
def well_step(
    well: Well, temperature: float, inflow: float, inflow_temperature: float, heat: float, dt: float
) -> tuple[float, float, float]:
    """One step of the well; exact while inflow and heat are constant over the step.

    Parameters
    ----------
    well : Well
        The well.
    temperature : float
        At the start of the step. [°C]
    inflow : float
        Sewage that comes in the step, any amount. [m³]
    inflow_temperature : float
        Its temperature. [°C]
    heat : float
        Taken by the machine in the step. [J]
    dt : float
        Length of the step. [s]

    Returns
    -------
    tuple of float
        Temperature at the end [°C]; heat that left with the overflow, above 0 °C [J]; wall loss [J]. Inflow
        heat - overflow heat - wall loss - `heat` is the change of stored heat, to rounding.
    """
    change = RHO_CP * inflow + well.loss * dt  # J/K
    net = RHO_CP * inflow * (inflow_temperature - temperature) - well.loss * dt * (temperature - well.around)
    net -= heat
    end, mean = _response(change / well.capacity)
    average = temperature + net / well.capacity * mean
    overflow = RHO_CP * inflow * average
    lost = well.loss * dt * (average - well.around)
    return temperature + net / well.capacity * end, overflow, lost


@kernel_apart
def well_offer(
    well: Well,
    temperature: float,
    inflow: float,
    inflow_temperature: float,
    u_left: float,
    running: float,
    modules: int,
    dt: float,
) -> Offer:
    """What the machine meets over a step in the well, its own cooling of the well included.

    Parameters
    ----------
    well, temperature, inflow, inflow_temperature, dt
        As for `well_step`.
    u_left, running, modules
        As for `exchanger_slope`.

    Returns
    -------
    Offer
        `most` is the mean heat over the step that leaves the well at `well.floor` at its end; 0 if it is
        colder by itself. The line is exact for a machine that runs all through the step; one that `most`
        limits to a part of it is met by a line too steep by the well's own part, (mean response) dt / C,
        0.2 K at the most for 50 kW, 2 m³ and a minute.
    """
    change = RHO_CP * inflow + well.loss * dt
    net = RHO_CP * inflow * (inflow_temperature - temperature) - well.loss * dt * (temperature - well.around)
    end, mean = _response(change / well.capacity)
    free = temperature + net / well.capacity * mean
    most = max(0.0, net + (temperature - well.floor) * well.capacity / end) / dt
    available = np.inf  # the pumps draw on the whole well
    slope = exchanger_slope(well.exchanger, available, u_left, running, modules)
    return Offer(free, slope + dt * mean / well.capacity, ABSOLUTE_ZERO, free, most)


@kernel_apart
def sewer_offer(
    exchanger: Exchanger,
    floor: float,
    flow: float,
    temperature: float,
    u_left: float,
    running: float,
    modules: int,
    dt: float,
) -> Offer:
    """What the machine meets in a sewer without a well: what flows by in the step and no more.

    Parameters
    ----------
    exchanger : Exchanger
        Its pumps draw from the sewer and give back to it.
    floor : float
        The sewer goes on no colder, once the two are mixed. [°C]
    flow, temperature : float
        Sewage that comes in the step [m³] and its temperature [°C].
    u_left, running, modules
        As for `exchanger_slope`.
    dt : float
        Length of the step. [s]

    Returns
    -------
    Offer
        `most` is RHO_CP flow (temperature - floor) / dt.
    """
    available = RHO_CP * flow / dt
    most = available * max(0.0, temperature - floor)
    slope = exchanger_slope(exchanger, available, u_left, running, modules)
    return Offer(temperature, slope, ABSOLUTE_ZERO, temperature, most)


@kernel
def pumping_energy(
    pumping: Pumping, module_seconds: float, modules: int, ground: float
) -> tuple[float, float]:
    """Electricity of the circulation pumps and of the grinder in a step. [J], [J]

    `module_seconds` counts the running of all modules; `ground` is the sewage ground in the step: what flows
    into a well, or what is pumped from a sewer. [m³]
    """
    return pumping.pump_power * module_seconds / modules, pumping.grinder * ground
