"""Copper tube of a hot-water loop: what it loses and holds, its friction, and the size that a draw needs.

References
----------
.. [1] Loss of an insulated cylinder: conduction through the insulation and a film outside, textbook. With
   0.25 Btu in/h ft2 degF and 1.65 Btu/h ft2 degF it gives the insulated column of the worked table in the
   tests; 1.9 Btu/h ft2 degF of bare copper in still air is unverified.
.. [2] S. W. Churchill, "Friction-factor equation spans all fluid-flow regimes", Chemical Engineering 84(24),
   1977, 91-92 (unverified), held against Colebrook and White and against 64/Re in the tests.
.. [3] Viscosity of water, 2.414e-5 Pa s times 10 to the power of 247.8 K / (T - 140 K): textbook, from
   memory; within 1 % of IAPWS-95 from 10 to 90 °C.
.. [4] International Plumbing Code, appendix E: fixture units and estimated demand (unverified).
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.errors import OutOfRangeError
from hpwhsim.pipe_friction import friction_factor
from hpwhsim.tables import read_table

RHO = 988.035  # kg/m³, water at 50 °C, as in the store
RHO_CP = RHO * 4181.3  # J/m³K
COPPER = 8940.0 * 385.0  # J/m³K; handbook values (unverified)

CONDUCTIVITY = 0.03606  # W/mK, 0.25 Btu in/h ft2 degF [1]
FILM = 9.369  # W/m²K outside insulation, 1.65 Btu/h ft2 degF [1]
BARE_FILM = 10.789  # W/m²K of bare copper, 1.9 Btu/h ft2 degF [1]
ROUGHNESS = 1.5e-6  # m, drawn tube, from Moody's chart (unverified)

GPM = 231.0 * 0.0254**3 / 60.0  # m³/s
FASTEST_DRAW = 1.524  # m/s, 5 ft/s in copper with hot water; common practice, no source
UNITS_PER_APARTMENT = 3.9  # hot: bathroom group 1.5, kitchen sink 1.0, dishwasher 1.4 [4]


class Tube(NamedTuple):
    """One nominal size."""

    size: str
    outer: float  # m
    wall: float  # m

    @property
    def inner(self) -> float:
        """Inside diameter. [m]"""
        return self.outer - 2.0 * self.wall

    @property
    def bore(self) -> float:
        """Inside section. [m²]"""
        return math.pi / 4.0 * self.inner**2

    @property
    def heat_capacity(self) -> float:
        """Of a metre of it with its water. [J/mK]"""
        return RHO_CP * self.bore + COPPER * math.pi * self.wall * (self.outer - self.wall)


def tubes() -> dict[str, Tube]:
    """The packaged sizes by name, thinnest first within a standard.

    Examples
    --------
    >>> tube = tubes()["3/4 in"]
    >>> round(1e3 * tube.outer, 3), round(1e3 * tube.inner, 3), round(tube.heat_capacity)
    (22.225, 19.939, 1551)
    """
    return {
        row["size"]: Tube(row["size"], float(row["outer_mm"]) / 1e3, float(row["wall_mm"]) / 1e3)
        for row in read_table("copper_tubes")
    }


def conductance(
    outer: ArrayLike, insulation: ArrayLike, conductivity: float = CONDUCTIVITY, bare_share: float = 0.0
) -> Array:
    """Heat lost by a metre of pipe per kelvin between its water and the air around it.

    The film inside and the wall of copper are left out, on the side of too much loss: about 1 % of the
    resistance of a bare pipe, less of an insulated one, and several times that where the water creeps.

    Parameters
    ----------
    outer : array_like of float, above 0
        Outside diameter of the tube. [m]
    insulation : array_like of float, broadcast with it
        Thickness, 0 where the tube is bare. [m]
    conductivity : float
        Of the insulation, above 0. [W/mK]
    bare_share : float
        Share of the length that is bare, 0 to 1: valves, fittings, hangers and gaps.

    Returns
    -------
    ndarray of float64, broadcast shape
        [W/mK]

    Raises
    ------
    OutOfRangeError
        If a value is NaN or out of range.

    References
    ----------
    The insulated cylinder of the module's head [1]_.

    Examples
    --------
    A tube of 1 in, bare and with 1 in of glass fibre:

    >>> conductance(0.028575, [0.0, 0.0254]).round(3)
    array([0.969, 0.203])
    """
    across, cover = np.asarray(outer, dtype=np.float64), np.asarray(insulation, dtype=np.float64)
    if not np.all((across > 0.0) & (across < np.inf)):
        raise OutOfRangeError("outside diameter of a pipe: got a value that is not above 0 m")
    if not np.all((cover >= 0.0) & (cover < np.inf)):
        raise OutOfRangeError("insulation of a pipe: got a value that is not 0 m or more")
    if not (conductivity > 0.0 and 0.0 <= bare_share <= 1.0):
        raise OutOfRangeError(
            f"insulation of a pipe: got {conductivity:g} W/mK and a bare share of {bare_share:g}; "
            "allowed above 0, and 0 to 1"
        )
    radius = 0.5 * across + cover
    through = np.log(2.0 * radius / across) / (2.0 * math.pi * conductivity)
    covered = 1.0 / (through + 1.0 / (2.0 * math.pi * radius * FILM))
    bare = math.pi * across * BARE_FILM
    return np.where(cover > 0.0, (1.0 - bare_share) * covered + bare_share * bare, bare)


def viscosity(temperature: float) -> float:
    """Dynamic viscosity of water [Pa s] at a temperature [°C], within 1 % from 10 to 90 °C [3]_.

    Examples
    --------
    >>> round(1e3 * viscosity(60.0), 3)
    0.463
    """
    return 2.414e-5 * 10.0 ** (247.8 / (temperature + 133.15))


def friction_per_metre(speed: ArrayLike, inner: ArrayLike, temperature: float) -> Array:
    """Pressure that water loses in a metre of copper tube, by Darcy and Weisbach.

    Parameters
    ----------
    speed : array_like of float, above 0
        Mean speed. [m/s]
    inner : array_like of float, broadcast with it
        Inside diameter. [m]
    temperature : float
        Of the water. [°C]

    Returns
    -------
    ndarray of float64, broadcast shape
        [Pa/m]

    Examples
    --------
    >>> friction_per_metre([0.5, 1.0], 0.026, 55.0).round()
    array([116., 397.])
    """
    flow, across = np.asarray(speed, dtype=np.float64), np.asarray(inner, dtype=np.float64)
    factor = friction_factor(RHO * flow * across / viscosity(temperature), ROUGHNESS / across)
    return np.asarray(factor / across * 0.5 * RHO * flow**2)


def probable_flow(apartments: float) -> float:
    """Most probable draw of hot water at once [m³/s] by some apartments, by fixture units [4]_.

    Raises
    ------
    OutOfRangeError
        If the table does not reach so far.

    Examples
    --------
    >>> round(probable_flow(10) / GPM, 1)
    26.0
    """
    table = read_table("fixture_unit_flow")
    units = np.array([float(row["fixture_units"]) for row in table])
    flow = np.array([float(row["flow_gpm"]) for row in table])
    most = units[-1] / UNITS_PER_APARTMENT
    if not 1.0 <= apartments <= most:
        raise OutOfRangeError(
            f"apartments on one pipe: got {apartments:g}; allowed 1 to {most:.0f}, or the size of the pipe"
        )
    return float(np.interp(apartments * UNITS_PER_APARTMENT, units, flow)) * GPM


def supply_size(apartments: float) -> str:
    """Smallest tube in inches that carries the probable draw of some apartments at 5 ft/s or less.

    Not a design: the plumbing engineer's sizes, if known, are better.

    Raises
    ------
    OutOfRangeError
        If there is none.

    Examples
    --------
    >>> supply_size(1), supply_size(10), supply_size(200)
    ('1 in', '1-1/2 in', '4 in')
    """
    flow = probable_flow(apartments)
    for tube in tubes().values():
        if tube.size.endswith("in") and tube.bore * FASTEST_DRAW >= flow:
            return tube.size
    raise OutOfRangeError(f"apartments on one pipe: got {apartments:g}, too many for one copper tube")
