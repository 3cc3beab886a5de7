"""The fluid in a ground loop: water, or water with glycol or alcohol.

References
----------
.. [1] Å. Melinder, "Properties of secondary working fluids for indirect systems", IIR, 2nd ed., 2010; as the
   library SecondaryCoolantProps holds them.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

from hpwhsim.errors import InputError, OutOfRangeError

FluidName = Literal["water", "propylene-glycol", "ethylene-glycol", "methanol", "ethanol"]
LIBRARY_NAMES: dict[FluidName, str] = {
    "water": "Water",
    "propylene-glycol": "MPG",
    "ethylene-glycol": "MEG",
    "methanol": "MMA",
    "ethanol": "MEA",
}
WARMEST = 40.0  # °C, end of the data for the alcohols [1]


@dataclass(frozen=True)
class Fluid:
    """Water, or a mixture with it."""

    name: FluidName
    mass_fraction: float = 0.0  # of what is mixed with the water, 0 to 0.6


class FluidState(NamedTuple):
    """Properties of the fluid at a temperature."""

    density: float  # kg/m³
    specific_heat: float  # J/kgK
    conductivity: float  # W/mK
    viscosity: float  # Pa·s
    freezing: float  # °C


def fluid_state(fluid: Fluid, temperature: float) -> FluidState:
    """Properties of a fluid.

    Parameters
    ----------
    fluid : Fluid
        The fluid.
    temperature : float
        From freezing to `WARMEST`. [°C]

    Raises
    ------
    InputError
        If the name is another word.
    OutOfRangeError
        If the mass fraction is outside 0 to 0.6 (0 for water), or the temperature out of range.

    References
    ----------
    Melinder [1]_, head of this module.
    """
    from pygfunction.media import Fluid as Melinder

    if fluid.name not in LIBRARY_NAMES:
        raise InputError(f"loop fluid: got {fluid.name!r}, allowed {', '.join(LIBRARY_NAMES)}")
    most = 0.0 if fluid.name == "water" else 0.6
    if not 0.0 <= fluid.mass_fraction <= most:
        raise OutOfRangeError(
            f"loop fluid: got a mass fraction of {fluid.mass_fraction:g} for {fluid.name}, "
            f"allowed 0 to {most:g}"
        )
    library = LIBRARY_NAMES[fluid.name], 100.0 * fluid.mass_fraction
    freezing = float(Melinder(*library).fluid.freeze_point(fluid.mass_fraction))
    if not freezing <= temperature <= WARMEST:
        raise OutOfRangeError(
            f"loop fluid: got {temperature:g} °C, allowed {freezing:.1f} (freezing) to {WARMEST:g} °C"
        )
    state = Melinder(*library, T=temperature)
    return FluidState(state.rho, state.cp, state.k, state.mu, freezing)
