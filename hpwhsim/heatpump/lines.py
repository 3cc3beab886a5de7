"""Refrigerant lines of a split machine: what their length costs, and the refrigerant they hold.

The condenser stands at the store, the evaporator outdoors; where both stand outdoors no refrigerant comes in
and the lines carry water. Two lines join them, and the place of the compressor says what the thick one holds:

- *Compressor outdoors*, as usual: hot gas at high pressure. The compressor must push it through the line, so
  its outlet pressure is higher than the condenser's. Mass flow hardly changes, and the extra work goes
  into the gas: the line costs power, and little capacity. What costs capacity is the heat that the hot line
  loses on its way.
- *Compressor indoors*, beside the condenser: suction gas at low pressure. The drop makes the gas thinner at
  the compressor, which moves less of it, over a higher ratio: the line costs capacity and COP.

The thin line brings liquid back out to the expansion valve, at the high pressure in both cases. Its drop
costs nothing until the liquid boils: it arrives at the valve with what is left of its subcooling, less the
pressure lost to friction and, where the valve stands above the store, to height.

References
----------
.. [1] M. L. Jacobs et al., "Oil transport by refrigerant vapor", ASHRAE Transactions 82(2), 1976: oil climbs
   where the mass flux is above ``0.723 sqrt(rho_gas g d (rho_oil - rho_gas))`` (unverified).
.. [2] ASHRAE Handbook, Refrigeration, sizing of halocarbon lines: 20 m/s of gas and 1.5 m/s of liquid at
   most (unverified).
"""

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from hpwhsim.errors import InputError
from hpwhsim.heatpump.anchor import OPEN, Rating, anchor_one, check
from hpwhsim.heatpump.cycle import sample, solve
from hpwhsim.heatpump.machine import Compressor, Machine
from hpwhsim.heatpump.pipes import Flowing
from hpwhsim.heatpump.refrigerants import refrigerant as known
from hpwhsim.heatpump.states import KELVIN, Fluid

FOOT = 0.3048  # m
GRAVITY = 9.80665  # m/s²
OIL_DENSITY = 920.0  # kg/m³, with refrigerant in it; common practice, no source

FASTEST_GAS, FASTEST_LIQUID = 20.0, 1.5  # m/s [2]
USUAL_WHOLE_DROP_K = 2.0  # K, of a whole gas line: 1 to 2 K is usual; common practice, no source
LARGEST_DROP_K = 10.0  # K: beyond it the rating says nothing of the machine; our choice
NEWTON = 8  # steps; each knows the exact slope, and five reach rounding


@dataclass(frozen=True)
class Lines:
    """One pair of lines, between one outdoor unit and the store.

    Fittings count as 20 % more length, a usual run with few bends. On the gas line lie 19 mm (3/4 in) of foam
    of 0.038 W/mK, with a film of 10 W/m2K. All common practice, no source.
    """

    length_m: float  # one way
    rise_m: float = 0.0  # store above the outdoor unit; negative: below
    gas_inner_m: float | None = None  # inside diameter; None: the smallest usual tube
    liquid_inner_m: float | None = None
    compressor: Literal["outdoors", "indoors"] = "outdoors"
    rated_length_m: float = 0.0  # one way, level: what the rating was measured with; 0: it leaves lines out
    fittings: float = 1.2  # length with fittings over length
    insulation_m: float = 0.019
    insulation_conductivity: float = 0.038  # W/mK
    film: float = 10.0  # W/m2K, on the outside of the insulation


class LineDerate(NamedTuple):
    """What the lines of one outdoor unit do at its rated point."""

    capacity: float  # heat to the water over that of the rating
    power: float  # electricity over that of the rating
    saturation_drop_k: float  # of the gas line
    gas_drop_pa: float  # friction, and the weight of the gas
    gas_speed: float  # m/s
    heat_loss_w: float  # from the hot gas on its way
    liquid_drop_pa: float  # condenser less valve: friction, and the weight of the liquid
    liquid_margin_k: float  # subcooling left at the valve; negative: it arrives with bubbles
    oil_share: float  # least share of full flow that carries oil up the gas line; 0 where it does not rise
    charge_kg: float  # refrigerant in both lines
    charge_kg_per_m: float  # the same per metre, one way
    gas_inner_m: float
    liquid_inner_m: float
    cautions: tuple[str, ...]

    @property
    def cop(self) -> float:
        """COP over that of the rating."""
        return self.capacity / self.power


class Point(NamedTuple):
    """The cycle without lines, at one condition."""

    low_pressure: float  # Pa, evaporator
    high_pressure: float  # Pa, condenser or gas cooler
    suction_c: float  # °C, gas leaving the evaporator
    heat: float  # J/kg to the water
    work: float  # J/kg, electricity


def drop_factors(
    fluid: Fluid, compressor: Compressor, point: Point, suction_pa: float, discharge_pa: float
) -> tuple[float, float]:
    """What pressure drops before and behind the compressor do to heat and power.

    Enthalpy stays as it is along a suction line, and the condenser keeps its pressure at the end of a
    discharge line. The work changes as isentropic work over the compressor's efficiency does; what it adds
    to the gas is added to the heat. A machine of two stages is taken as one stage of the same work.

    Parameters
    ----------
    fluid : Fluid
        The refrigerant.
    compressor : Compressor
        Its efficiencies by pressure ratio; their scale does not matter.
    point : Point
        The cycle without drops.
    suction_pa, discharge_pa : float
        Pressure lost from evaporator to compressor, and from compressor to condenser. [Pa]

    Returns
    -------
    heat, power : float
        Over those without drops; exactly 1 where there are none.
    """
    enthalpy, entropy, _, density = fluid.at(point.low_pressure, point.suction_c, "gas")
    low, high = point.low_pressure - suction_pa, point.high_pressure + discharge_pa

    thin_c = point.suction_c
    for _ in range(NEWTON):
        h, _, cp, _ = fluid.at(low, thin_c, "gas")
        thin_c -= (h - enthalpy) / cp
    _, thin_entropy, _, thin_density = fluid.at(low, thin_c, "gas")

    def lift(s: float, pressure: float, ratio: float) -> float:
        """Work of the compressor on gas of entropy `s`, but for its scale. [J/kg]"""
        ideal = _isentropic(fluid, s, pressure) - enthalpy
        return ideal / float(compressor.efficiency(np.array(ratio)))

    ratio, with_lines = point.high_pressure / point.low_pressure, high / low
    if suction_pa == 0.0:
        thin_entropy, thin_density = entropy, density
    more_work = lift(thin_entropy, high, with_lines) / lift(entropy, point.high_pressure, ratio)
    filling = compressor.filling(np.array([ratio, with_lines]))
    flow = thin_density / density * float(filling[1] / filling[0])
    heat = point.heat + compressor.gas_share * point.work * (more_work - 1.0)
    return flow * heat / point.heat, flow * more_work


def _isentropic(fluid: Fluid, entropy: float, pressure: float) -> float:
    """Enthalpy of gas of an entropy at a pressure. [J/kg]"""
    phase = "gas" if pressure < fluid.of.critical_pressure else "any"
    kelvin = 80.0 + KELVIN  # a usual discharge temperature
    for _ in range(NEWTON):
        _, s, cp, _ = fluid.at(pressure, kelvin - KELVIN, phase)
        kelvin *= math.exp((entropy - s) / cp)
    return fluid.at(pressure, kelvin - KELVIN, phase)[0]


def line_derate(
    refrigerant: str,
    rating: Rating,
    lines: Lines,
    *,
    approach_k: float = 10.0,
    injection: bool = False,
    key: str = "plant.heat_pump",
) -> LineDerate:
    """What the lines of one outdoor unit cost at its rated point, and what they hold.

    The cycle is anchored to the rating as its map is; flow, pressures and temperatures in the lines are those
    of that cycle. A tube that is not given is the smallest standard one within `USUAL_DROP` and the usual
    speed; so it does not depend on the length.

    Parameters
    ----------
    refrigerant : str
        Such as ``R-410A``; not R-744, whose split machines have water lines.
    rating : Rating
        Of one outdoor unit.
    lines : Lines
        Its own pair of lines.
    approach_k, injection : float, bool
        As for the map of the machine.
    key : str
        Where the machine stands in the scenario, for messages.

    Returns
    -------
    LineDerate
        Factors on the capacity and power of the machine's map; exactly 1 at the length of the rating. They
        hold at the rated point: with a colder source the hot line loses more, of less heat.

    Raises
    ------
    InputError
        If a length is negative or not finite, the rating is impossible, the refrigerant is R-744, or a tube
        is so thin that the rating says nothing of the machine.
    """
    of = known(refrigerant, f"{key}.refrigerant")
    if of.name == "R-744":
        raise InputError(
            f"{key}.lines: got refrigerant lines with R-744, whose split units keep it outdoors; allowed: "
            "another refrigerant, or water lines"
        )
    key_lines = f"{key}.lines"
    _check(lines, key_lines)
    check(rating, key)
    usual = Machine(of, Compressor(), OPEN, approach_k=approach_k, injection=injection)
    high_side = sample(usual)
    machine = anchor_one(usual, high_side, rating, key).machine
    at = solve(machine, high_side, *rating[:3])
    low, high, discharge_c, exit_c = (
        float(x[0]) for x in (at.low_pressure, at.high_pressure, at.discharge_c, at.exit_c)
    )
    fluid, hot = Flowing(of), lines.compressor == "outdoors"
    suction_c = rating.source_c - machine.approach_k + machine.superheat_k
    point = Point(low, high, suction_c, float(at.heat[0]), float(at.work[0]))
    flow = rating.capacity_w / point.heat
    gas_at, gas_c = (high, discharge_c) if hot else (low, suction_c)
    gas = fluid.stream(flow, gas_at, gas_c, "gas")
    liquid = fluid.stream(flow, high, exit_c, "liquid")
    gas_inner = lines.gas_inner_m or gas.usual_tube(FASTEST_GAS, f"{key_lines}.gas_diameter")
    liquid_inner = lines.liquid_inner_m or liquid.usual_tube(FASTEST_LIQUID, f"{key_lines}.liquid_diameter")

    def dropped(length: float, rise: float) -> float:
        """Pressure lost in the gas line. [Pa]

        Its density follows the pressure, as in an ideal gas of one temperature: the squares of the pressures
        at the ends then differ by twice the pressure times the drop that the density at one end gives.
        """
        near = gas.friction(gas_inner, length * lines.fittings) + gas.density * GRAVITY * rise
        if hot:
            found = math.sqrt(high**2 + 2.0 * high * near) - high
        else:
            found = low - math.sqrt(max(low**2 - 2.0 * low * near, 0.0))
        if not found < LARGEST_DROP_K * gas.slope:
            raise InputError(
                f"{key_lines}.gas_diameter: got {1e3 * gas_inner:.1f} mm, in which the gas loses more than "
                f"{LARGEST_DROP_K:g} K of saturation temperature over {length:.1f} m; allowed: a wider tube"
            )
        return found

    def effect(length: float, drop: float) -> tuple[float, float, float]:
        """Heat and power over those without lines, and heat lost on the way [W]."""
        drops = (0.0, drop) if hot else (drop, 0.0)
        heat, power = drop_factors(fluid, machine.compressor, point, *drops)
        lost = 0.0
        if hot:
            ua = length / _resistance(gas_inner, lines)
            rate = flow * fluid.at(high, discharge_c, "gas")[2]
            lost = rate * (discharge_c - rating.source_c) * -math.expm1(-ua / rate)
        return heat - lost / rating.capacity_w, power, lost

    gas_drop = dropped(lines.length_m, lines.rise_m)
    ends = (high + gas_drop, high) if hot else (low, low - gas_drop)
    saturation_drop = fluid.saturated_c(ends[0], 1.0) - fluid.saturated_c(ends[1], 1.0)
    liquid_drop = liquid.friction(liquid_inner, lines.length_m * lines.fittings)
    liquid_drop -= liquid.density * GRAVITY * lines.rise_m
    at_valve = high - liquid_drop
    if not at_valve > low:
        raise InputError(
            f"{key_lines}.liquid_diameter: got {1e3 * liquid_inner:.1f} mm, in which {liquid_drop / 1e5:.1f} "
            f"bar of {(high - low) / 1e5:.1f} bar is lost before the valve; allowed: a wider tube"
        )
    whole, rated = effect(lines.length_m, gas_drop), (1.0, 1.0)
    if lines.rated_length_m:
        rated = effect(lines.rated_length_m, dropped(lines.rated_length_m, 0.0))[:2]
    oil_share = 0.0
    if lines.rise_m > 0.0:
        oil_share = _oil_flux(gas.density, gas_inner) / (gas.density * gas.speed(gas_inner))
    charge = math.pi / 4.0 * (gas_inner**2 * gas.density + liquid_inner**2 * liquid.density)
    found = LineDerate(
        capacity=whole[0] / rated[0],
        power=whole[1] / rated[1],
        saturation_drop_k=saturation_drop,
        gas_drop_pa=gas_drop,
        gas_speed=gas.speed(gas_inner),
        heat_loss_w=whole[2],
        liquid_drop_pa=liquid_drop,
        liquid_margin_k=fluid.saturated_c(at_valve, 0.0) - exit_c,
        oil_share=oil_share,
        charge_kg=charge * lines.length_m,
        charge_kg_per_m=charge,
        gas_inner_m=gas_inner,
        liquid_inner_m=liquid_inner,
        cautions=(),
    )
    return found._replace(cautions=_cautions(found))


def _check(lines: Lines, key: str) -> None:
    """Refuse what no such plant has."""
    for name, value in (("length", lines.length_m), ("rated_length", lines.rated_length_m)):
        if not 0.0 <= value < math.inf:  # NaN fails this too
            raise InputError(f"{key}.{name}: got {value:g} m one way; allowed 0 or more")
    if not abs(lines.rise_m) <= lines.length_m:
        raise InputError(
            f"{key}.rise: got {_feet(lines.rise_m)}; allowed at most {key}.length ({_feet(lines.length_m)}), "
            "up or down"
        )
    for name, inner in (("gas_diameter", lines.gas_inner_m), ("liquid_diameter", lines.liquid_inner_m)):
        if inner is not None and not 0.002 <= inner <= 0.3:
            raise InputError(f"{key}.{name}: got {1e3 * inner:g} mm; allowed 2 to 300 mm, inside")


def _feet(metres: float) -> str:
    return f"{metres:.1f} m ({metres / FOOT:.0f} ft)"


def _resistance(inner_m: float, lines: Lines) -> float:
    """Resistance of one metre of insulated tube, whose wall is thin and of copper. [m K/W]"""
    bare = 0.5 * inner_m
    outer = bare + lines.insulation_m
    across = math.log(outer / bare) / (2.0 * math.pi * lines.insulation_conductivity)
    return across + 1.0 / (2.0 * math.pi * outer * lines.film)


def _oil_flux(density: float, inner_m: float) -> float:
    """Least mass flux of gas that carries oil up a tube [1]. [kg/m²s]"""
    return 0.723 * math.sqrt(density * GRAVITY * inner_m * (OIL_DENSITY - density))


def _cautions(found: LineDerate) -> tuple[str, ...]:
    """What the designer of the lines should look at."""
    said = []
    if found.saturation_drop_k > USUAL_WHOLE_DROP_K:
        said.append(
            f"refrigerant lines: the gas line loses {found.saturation_drop_k:.1f} K of saturation "
            f"temperature, more than the usual {USUAL_WHOLE_DROP_K:g} K; a wider tube costs less energy"
        )
    if found.gas_speed > FASTEST_GAS * (1.0 + 1e-9):
        said.append(
            f"refrigerant lines: the gas runs at {found.gas_speed:.0f} m/s, faster than the usual "
            f"{FASTEST_GAS:g} m/s; expect noise"
        )
    if found.liquid_margin_k < 0.0:
        said.append(
            "refrigerant lines: the liquid boils before it reaches the expansion valve, "
            f"{-found.liquid_margin_k:.1f} K short of subcooling; the valve then starves the evaporator, "
            "which is not simulated"
        )
    if found.oil_share > 1.0:
        said.append(
            f"refrigerant lines: gas rises at {found.gas_speed:.1f} m/s and carries oil up only from "
            f"{found.oil_share * found.gas_speed:.1f} m/s; a thinner riser, or traps as the manufacturer "
            "requires"
        )
    return tuple(said)
