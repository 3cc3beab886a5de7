"""Refrigerant in a tube: friction, standard tubes, and the states that a line needs of its fluid.

References
----------
.. [1] S. W. Churchill, "Friction-factor equation spans all fluid-flow regimes", Chemical Engineering 84(24),
   1977, 91-92 (unverified), held against Moody's limits in the tests.
.. [2] ASHRAE Handbook, Refrigeration, sizing of halocarbon lines: tables at 0.02 K of saturation temperature
   per metre of discharge and liquid line (unverified).
.. [3] ASTM B280, copper tube for refrigeration service, outside diameter and wall (unverified).
"""

import math
from typing import NamedTuple

from hpwhsim.errors import InputError
from hpwhsim.heatpump.states import KELVIN, Fluid
from hpwhsim.pipe_friction import friction_factor

INCH = 0.0254  # m
ROUGHNESS = 1.5e-6  # m, drawn tube, from Moody's chart (unverified)
USUAL_DROP = 0.02  # K of saturation temperature per metre of line, fittings counted as length [2]
SECANT = 30  # steps at most

# Outside diameter and wall, inches [3].
TUBES = tuple(
    (outside - 2.0 * wall) * INCH
    for outside, wall in (
        (0.25, 0.030),
        (0.375, 0.032),
        (0.5, 0.032),
        (0.625, 0.035),
        (0.75, 0.035),
        (0.875, 0.045),
        (1.125, 0.050),
        (1.375, 0.055),
        (1.625, 0.060),
        (2.125, 0.070),
        (2.625, 0.080),
        (3.125, 0.090),
        (3.625, 0.100),
        (4.125, 0.110),
    )
)
"""Inside diameters of standard copper tube, ascending. [m]"""


def friction(
    flow: float,
    density: float,
    viscosity: float,
    inner_m: float,
    length_m: float,
    roughness: float = ROUGHNESS,
) -> float:
    """Pressure lost to friction in a round pipe, by Darcy and Weisbach.

    Parameters
    ----------
    flow : float
        Mass flow. [kg/s]
    density, viscosity : float
        Of the fluid. [kg/m³], [Pa s]
    inner_m, length_m : float
        Inside diameter, and length with its fittings. [m]
    roughness : float
        Of the wall. [m]

    Returns
    -------
    float
        Pressure drop. [Pa]
    """
    speed = flow / (density * math.pi / 4.0 * inner_m**2)
    reynolds = density * speed * inner_m / viscosity
    factor = float(friction_factor(reynolds, roughness / inner_m))
    return factor * length_m / inner_m * 0.5 * density * speed**2


class Stream(NamedTuple):
    """What flows in one line."""

    flow: float  # kg/s
    density: float  # kg/m³
    viscosity: float  # Pa s
    slope: float  # Pa per K of saturation temperature

    def speed(self, inner_m: float) -> float:
        """Mean speed. [m/s]"""
        return self.flow / (self.density * math.pi / 4.0 * inner_m**2)

    def friction(self, inner_m: float, length_m: float) -> float:
        """Pressure lost over a length with its fittings. [Pa]"""
        return friction(self.flow, self.density, self.viscosity, inner_m, length_m)

    def usual_tube(self, fastest: float, key: str) -> float:
        """Inside diameter of the smallest tube within `fastest` [m/s] and `USUAL_DROP`. [m]"""
        for inner in TUBES:
            if self.speed(inner) <= fastest and self.friction(inner, 1.0) <= USUAL_DROP * self.slope:
                return inner
        raise InputError(
            f"{key}: got nothing, and {self.flow:.2f} kg/s of refrigerant is more than tubes up to "
            f"{1e3 * TUBES[-1]:.0f} mm usually carry; allowed: an inside diameter"
        )


class Flowing(Fluid):
    """The refrigerant with what a line needs besides: viscosity, and saturation at a pressure."""

    def stream(self, flow: float, pressure: float, temperature_c: float, phase: str) -> Stream:
        """`flow` [kg/s] in a state that is known by pressure and temperature."""
        density, viscosity = self.at(pressure, temperature_c, phase)[3], self._state.viscosity()
        quality = 1.0 if phase == "gas" else 0.0
        below = self.pressure(self.saturated_c(pressure, quality) - 1.0, quality)
        return Stream(flow, density, viscosity, pressure - below)

    def saturated_c(self, pressure: float, quality: float) -> float:
        """Temperature at which the fluid of `quality` (0 bubble, 1 dew) is saturated at a pressure. [°C]

        ln p is nearly linear in 1/T, so a few secants on it meet rounding.

        Raises
        ------
        InputError
            If there is none: the pressure is too near the critical one.
        """
        try:
            return self._saturated_c(pressure, quality)
        except ValueError as error:
            raise InputError(
                f"{self.of.name}: no saturated state at {pressure / 1e5:.1f} bar, critical at "
                f"{self.of.critical_pressure / 1e5:.1f} bar"
            ) from error

    def _saturated_c(self, pressure: float, quality: float) -> float:
        inverse = [1.0 / (20.0 + KELVIN), 1.0 / (40.0 + KELVIN)]
        off = [math.log(self.pressure(1.0 / x - KELVIN, quality) / pressure) for x in inverse]
        for _ in range(SECANT):
            if abs(off[1]) < 1e-9:
                break
            step = off[1] * (inverse[1] - inverse[0]) / (off[1] - off[0])
            inverse = [inverse[1], inverse[1] - step]
            off = [off[1], math.log(self.pressure(1.0 / inverse[1] - KELVIN, quality) / pressure)]
        return 1.0 / inverse[1] - KELVIN
