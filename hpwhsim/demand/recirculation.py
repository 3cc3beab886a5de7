"""The hot-water loop of a building: what it loses, the flow it needs, and the pump.

The water of each section cools exponentially towards the air around it; where flows meet they mix. The loop's
flow is what returns at the allowed drop below the supply temperature, by the first law::

    flow = loss / (rho c drop)

and is raised where a branch would get less than it needs. Draws, which run through the supply pipes too, are
left out: the flow, the speeds and the head are those of the loop alone, as at night.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.demand.loop_pipes import (
    CONDUCTIVITY,
    GPM,
    RHO_CP,
    conductance,
    friction_per_metre,
    tubes,
)
from hpwhsim.demand.loop_sections import Section
from hpwhsim.errors import OutOfRangeError

BARE_SHARE = 0.1  # of the length: valves, fittings, hangers and gaps; common practice, no source
FITTINGS = 1.5  # friction with fittings over that of the pipe; common practice, no source
VALVE_DROP = 15e3  # Pa, of a balancing and a check valve at the loop's flow; common practice, no source
LEAST_FLOW = 0.5 * GPM  # m³/s in a branch, which a balancing valve can still set; common practice, no source
FAST, TOO_FAST = 1.0, 1.5  # m/s of circulating hot water in copper; common practice, no source
ITERATIONS = 200


class HotLoop(NamedTuple):
    """A loop as one pipe that loses and holds what all of its sections do."""

    supply: float  # water leaving the plant, °C
    back: float  # water coming back, °C
    ambient: float  # air around the pipes, mean by what each loses per kelvin, °C
    flow: float  # m³/s
    heat_capacity: float  # of its water and copper, J/K

    @property
    def loss(self) -> float:
        """Heat lost while it runs. [W]"""
        return RHO_CP * self.flow * (self.supply - self.back)

    @property
    def ua(self) -> float:
        """Heat lost per kelvin: of the one pipe in which the water cools from supply to return. [W/K]"""
        ratio = (self.supply - self.ambient) / (self.back - self.ambient)
        return RHO_CP * self.flow * math.log(ratio)

    @property
    def cooling_time(self) -> float:
        """Time in which the standing loop's excess over the air falls to 1/e. [s]"""
        return self.heat_capacity / self.ua

    @property
    def passage(self) -> float:
        """Time in which a change of temperature runs through the loop, its copper included. [s]"""
        return self.heat_capacity / (RHO_CP * self.flow)


class Design(NamedTuple):
    """A loop worked out section by section; arrays have the shape (section,)."""

    loop: HotLoop
    ua: Array  # of all the pipes a section stands for, W/K
    entering: Array  # °C
    leaving: Array  # °C
    loss: Array  # of all the pipes a section stands for, W
    speed: Array  # m/s
    head: float  # friction over the longest way, with fittings and valves, Pa
    cautions: tuple[str, ...]

    def pump_power(self, efficiency: float) -> float:
        """Electricity of the running pump, by the efficiency of pump and motor together. [W]

        Most of it ends as heat in the water, which is left out.
        """
        return self.head * self.loop.flow / efficiency


def design(
    sections: Sequence[Section],
    supply: float,
    drop: float,
    *,
    least_flow: float = LEAST_FLOW,
    conductivity: float = CONDUCTIVITY,
    bare_share: float = BARE_SHARE,
    fittings: float = FITTINGS,
    valve_drop: float = VALVE_DROP,
) -> Design:
    """Loss, flow and head of a loop at its supply temperature.

    Parameters
    ----------
    sections : sequence of Section
        Each after those that feed it; the last ends at the plant.
    supply : float
        Water leaving the plant. [°C]
    drop : float
        Allowed fall of temperature from the plant and back. [K]
    least_flow : float
        In the branch that gets least; 0: no limit. [m³/s]
    conductivity, bare_share : float
        As for `conductance`.
    fittings : float
        Friction with fittings over that of the pipe, 1 or more.
    valve_drop : float
        Pressure lost once on the way in the balancing valve and the check valve. [Pa]

    Returns
    -------
    Design

    Raises
    ------
    OutOfRangeError
        If there is no pipe, a size is unknown, a section is fed by one behind it, a length is negative, or
        the drop is not above 0 and at most half of what the supply is above the warmest air.

    Examples
    --------
    100 m of 1 in tube there and back, 1 in of glass fibre, in air of 20 °C:

    >>> way = Section("1 in", 50.0, 0.0254, 20.0, "supply", ())
    >>> found = design([way, way._replace(side="return", fed_by=(0,))], 60.0, 5.0)
    >>> round(found.loop.loss), round(60e3 * found.loop.flow, 2), round(found.loop.back, 3)
    (1045, 3.04, 55.0)
    """
    _check(sections, supply, drop)
    known = tubes()
    tube = [known[section.size] for section in sections]
    outer = np.array([item.outer for item in tube])
    length = np.array([section.length for section in sections])
    share = np.array([section.share for section in sections])
    parallel = np.array([section.parallel for section in sections])
    ambient = np.array([section.ambient for section in sections])
    insulation = np.array([section.insulation for section in sections])
    ua = length * parallel * conductance(outer, insulation, conductivity, bare_share)
    flow = float(np.sum(ua * (supply - ambient))) / (RHO_CP * drop)  # more than enough: no water cooled yet
    for _ in range(ITERATIONS):
        entering, leaving = _cool(sections, ua, flow, supply)
        before, flow = flow, flow * float(supply - leaving[-1]) / drop
        if abs(flow - before) <= 1e-13 * before:
            break
    else:
        raise OutOfRangeError(f"loop: no flow was found that brings the water back {drop:g} K colder")
    asked = flow
    flow = max(flow, least_flow / float(share.min()))
    entering, leaving = _cool(sections, ua, flow, supply)

    speed = flow * share / np.array([item.bore for item in tube])
    inner = np.array([item.inner for item in tube])
    friction = fittings * length * friction_per_metre(speed, inner, 0.5 * (supply + float(leaving[-1])))
    lost: list[float] = []  # pressure from the plant to the end of each section, on the longest way
    for section, own in zip(sections, friction, strict=True):
        lost.append(float(own) + max((lost[i] for i in section.fed_by), default=0.0))
    loop = HotLoop(
        supply=supply,
        back=float(leaving[-1]),
        ambient=float(np.average(ambient, weights=ua)),
        flow=flow,
        heat_capacity=float(np.sum(length * parallel * [item.heat_capacity for item in tube])),
    )
    return Design(
        loop=loop,
        ua=ua,
        entering=entering,
        leaving=leaving,
        loss=RHO_CP * flow * share * parallel * (entering - leaving),
        speed=speed,
        head=lost[-1] + valve_drop,
        cautions=_cautions(sections, speed, loop, asked, least_flow),
    )


def loop_of_watts(loss: float, supply: float, back: float, ambient: float) -> HotLoop:
    """A loop of which only the loss is known.

    Its water and copper are those of a 1 in tube with 1 in of glass fibre that would lose as much.

    Parameters
    ----------
    loss : float
        Of the running loop, above 0. [W]
    supply, back, ambient : float
        Water leaving the plant and coming back, and air around the pipes. [°C]

    Raises
    ------
    OutOfRangeError
        If the loss is not above 0, or not supply > back > ambient.

    Examples
    --------
    >>> loop = loop_of_watts(2000.0, 60.0, 55.0, 20.0)
    >>> round(60e3 * loop.flow, 2), round(loop.ua, 1), round(loop.cooling_time / 3600.0, 1)
    (5.81, 53.4, 2.6)
    """
    if not (loss > 0.0 and math.isfinite(loss) and supply > back > ambient):
        raise OutOfRangeError(
            f"loop: got {loss:g} W, {supply:g} degC out, {back:g} degC back and air of {ambient:g} degC; "
            "allowed a loss above 0 W, and each temperature below the one before"
        )
    usual = tubes()["1 in"]
    per_kelvin = float(conductance(usual.outer, 0.0254, CONDUCTIVITY, BARE_SHARE))
    loop = HotLoop(supply, back, ambient, loss / (RHO_CP * (supply - back)), 0.0)
    return loop._replace(heat_capacity=loop.ua * usual.heat_capacity / per_kelvin)


def loss_at_supply(loss: float, mean: float, supply: float, back: float, ambient: float) -> float:
    """Heat that a loop loses between a supply and a return, given its loss at a mean temperature. [W]

    Its pipes and insulation stay what they are: the loss is ``UA`` times the mean excess over the air, which
    for water that cools exponentially on its way is the logarithmic mean of the excess at both ends.

    Parameters
    ----------
    loss, mean : float
        Loss [W] where the mean of the loop's water is `mean`. [°C]
    supply, back, ambient : float
        Water leaving the plant and coming back, and air around the pipes. [°C]

    Raises
    ------
    OutOfRangeError
        If not mean > ambient, and supply > back > ambient.

    Examples
    --------
    >>> round(loss_at_supply(1000.0, 55.5, 60.0, 51.0, 22.0))
    994
    >>> round(loss_at_supply(1000.0, 55.5, 79.4, 70.4, 22.0))
    1575
    """
    if not (mean > ambient and supply > back > ambient):  # NaN fails this too
        raise OutOfRangeError(
            f"loop: got a loss at {mean:g} degC, {supply:g} degC out, {back:g} degC back and air of "
            f"{ambient:g} degC; allowed a mean above the air, and each temperature below the one before"
        )
    first, last = supply - ambient, back - ambient
    return loss / (mean - ambient) * (first - last) / math.log(first / last)


def _check(sections: Sequence[Section], supply: float, drop: float) -> None:
    if not sections:
        raise OutOfRangeError("loop: got no section; allowed one or more")
    known = tubes()
    for place, section in enumerate(sections):
        if section.size not in known:
            raise OutOfRangeError(f"loop: got a pipe of {section.size}; allowed {', '.join(known)}")
        if not (0.0 <= section.length < math.inf) or not all(0 <= i < place for i in section.fed_by):
            raise OutOfRangeError(
                f"loop: section {place + 1} is {section.length:g} m long and fed by {section.fed_by}; "
                "allowed 0 m or more, and sections before it"
            )
    if not sum(section.length for section in sections) > 0.0:
        raise OutOfRangeError("loop: got 0 m of pipe; allowed more")
    warmest = max(section.ambient for section in sections)
    if not 0.0 < drop <= 0.5 * (supply - warmest):  # NaN fails this too
        raise OutOfRangeError(
            f"loop: got a drop of {drop:g} K from {supply:g} degC with air of {warmest:g} degC around it; "
            "allowed above 0 K, and at most half of what the supply is above that air"
        )


def _cool(sections: Sequence[Section], ua: Array, flow: float, supply: float) -> tuple[Array, Array]:
    """Water entering and leaving each section, each (section,). [°C]."""
    carried = np.array([section.share * section.parallel for section in sections])
    kept = np.exp(-ua / (RHO_CP * flow * carried))
    entering, leaving = np.full(len(sections), supply), np.empty(len(sections))
    for place, section in enumerate(sections):
        if section.fed_by:
            feeding = list(section.fed_by)
            entering[place] = np.average(leaving[feeding], weights=carried[feeding])
        leaving[place] = section.ambient + (entering[place] - section.ambient) * kept[place]
    return entering, leaving


def _cautions(
    sections: Sequence[Section], speed: Array, loop: HotLoop, asked: float, least_flow: float
) -> tuple[str, ...]:
    """What the designer of the loop should look at."""
    said = []
    if loop.flow > asked * (1.0 + 1e-9):
        said.append(
            f"loop: {60e3 * asked:.2f} L/min would do for the allowed drop; {60e3 * loop.flow:.2f} L/min run "
            f"so that each branch gets {60e3 * least_flow:.2f} L/min"
        )
    fastest = int(np.argmax(speed))
    if speed[fastest] > FAST:
        limit = TOO_FAST if speed[fastest] > TOO_FAST else FAST
        said.append(
            f"loop: the water of a {sections[fastest].side} pipe of {sections[fastest].size} circulates at "
            f"{speed[fastest]:.2f} m/s; above {limit:g} m/s hot water may wear copper (common practice, no "
            "source)"
        )
    return tuple(said)
