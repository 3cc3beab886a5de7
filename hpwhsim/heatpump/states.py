"""Refrigerant properties, sampled once with CoolProp into arrays that the cycle works on.

CoolProp takes 1 to 2 s to import, so it is imported inside the functions: a run that finds its map in the
cache never pays for it.
"""

from typing import Any, NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import OutOfRangeError
from hpwhsim.heatpump.refrigerants import Refrigerant, refrigerant

KELVIN = 273.15
STEP = 1e5  # Pa between two isobars of the gas cooler
DEW_STEP = 1.0  # K between two condensing pressures
COLDEST_DEW = 10.0  # °C, lowest condensing temperature sampled
COLDEST_MIDDLE = -45.0  # °C, the same for the middle pressure of two stages
LIQUID_FLOOR = -60.0  # °C, coldest liquid sampled
BELOW_CRITICAL = 1.5  # K: nearer to the critical point a saturation state is not trusted
BELOW_CRITICAL_MIXTURE = 7.0  # K: nearer, equal fugacities are not found


class Suction(NamedTuple):
    """Gas at the compressor inlet; each field has shape (n,)."""

    pressure: Array  # Pa, saturation at the evaporating (dew) temperature
    enthalpy: Array  # J/kg
    entropy: Array  # J/kgK
    density: Array  # kg/m³


class Isobars(NamedTuple):
    """The high side above the critical pressure, on isobars that share one axis of temperature."""

    pressure: Array  # (n_p,) uniform and ascending [Pa]
    temperature: Array  # (n_t,) ascending [°C]
    enthalpy: Array  # (n_p, n_t) [J/kg]
    entropy: Array  # (n_p, n_t) [J/kgK]
    heat_capacity: Array  # (n_p, n_t) [J/kgK]


class Condensing(NamedTuple):
    """The high side below the critical pressure: one row for each dew temperature.

    Vapour is sampled at fixed superheats above dew; liquid at fixed shares of the way from `LIQUID_FLOOR` to
    the bubble temperature. So each node moves smoothly from row to row.
    """

    dew_c: Array  # (n_r,) uniform and ascending [°C]
    bubble_c: Array  # (n_r,) [°C]
    pressure: Array  # (n_r,) [Pa]
    superheat: Array  # (n_v,) from 0 [K]
    vapour_enthalpy: Array  # (n_r, n_v) [J/kg]
    vapour_entropy: Array  # (n_r, n_v) [J/kgK]
    vapour_heat_capacity: Array  # (n_r, n_v) [J/kgK]
    share: Array  # (n_l,) 0 to 1
    liquid_enthalpy: Array  # (n_r, n_l) [J/kg]
    liquid_heat_capacity: Array  # (n_r, n_l) [J/kgK]


class Fluid:
    """CoolProp's states of one refrigerant, with the phase imposed wherever it is known.

    A mixture without an equation of state of its own has its dew and bubble points found here, by equal
    fugacity between a liquid and a vapour of imposed phase: the general mixture flash fails at places.
    """

    def __init__(self, of: Refrigerant) -> None:
        from CoolProp import CoolProp

        self._lib = CoolProp
        self.of = of
        self.hottest_c = of.critical_c - (BELOW_CRITICAL if of.fluid else BELOW_CRITICAL_MIXTURE)
        self._parts: list[Any] = []
        if of.fluid:
            self._state = CoolProp.AbstractState("HEOS", of.fluid)
            return
        fluids = [refrigerant(component).fluid for component, _ in of.composition]
        self._parts = [CoolProp.AbstractState("HEOS", fluid) for fluid in fluids]
        moles = np.array(
            [s / part.molar_mass() for (_, s), part in zip(of.composition, self._parts, strict=True)]
        )
        self._moles: Array = moles / moles.sum()
        self._state, self._other = (CoolProp.AbstractState("HEOS", "&".join(fluids)) for _ in range(2))
        self._state.set_mole_fractions(self._moles.tolist())

    def pressure(self, saturated_c: float, quality: float) -> float:
        """Pressure at which the fluid of `quality` (0 bubble, 1 dew) is saturated at a temperature. [Pa]"""
        if not self._parts:
            self._state.update(self._lib.QT_INPUTS, quality, saturated_c + KELVIN)
            return float(self._state.p())
        return self._mixture_pressure(saturated_c + KELVIN, dew=quality == 1.0)

    def at(self, pressure: float, temperature_c: float, phase: str) -> tuple[float, float, float, float]:
        """Enthalpy, entropy, specific heat [J/kg, J/kgK] and density [kg/m³] in `phase`, which may be any."""
        state, lib = self._state, self._lib
        if phase != "any":
            state.specify_phase(lib.iphase_gas if phase == "gas" else lib.iphase_liquid)
        try:
            state.update(lib.PT_INPUTS, pressure, temperature_c + KELVIN)
            return state.hmass(), state.smass(), state.cpmass(), state.rhomass()
        finally:
            state.unspecify_phase()

    def bubble_c(self, pressure: Array) -> Array:
        """Bubble temperature at each pressure (n,). [°C]"""
        if not self._parts:
            found = np.empty(pressure.size)
            for i, p in enumerate(pressure):
                self._state.update(self._lib.PQ_INPUTS, p, 0.0)
                found[i] = self._state.T() - KELVIN
            return found
        from scipy.interpolate import CubicSpline

        # ln p is nearly linear in 1/T, so a spline over 2 K returns the bubble line to 1e-5 K
        bubble = np.arange(COLDEST_MIDDLE - 16.0, self.hottest_c + 2.0, 2.0)
        logs = np.log([self.pressure(float(t), 0.0) for t in bubble])
        return np.asarray(1.0 / CubicSpline(logs, 1.0 / (bubble + KELVIN))(np.log(pressure)) - KELVIN)

    def _mixture_pressure(self, kelvin: float, *, dew: bool) -> float:
        """Dew or bubble pressure by successive substitution on equal fugacities, from Raoult's law. [Pa]

        Raises
        ------
        OutOfRangeError
            If it does not converge: a gap in the properties is never bridged.
        """
        lib, z = self._lib, self._moles
        alone = np.empty(z.size)
        self._state.specify_phase(lib.iphase_gas if dew else lib.iphase_liquid)
        self._other.specify_phase(lib.iphase_liquid if dew else lib.iphase_gas)
        try:
            for i, part in enumerate(self._parts):
                part.update(lib.QT_INPUTS, 1.0, kelvin)
                alone[i] = part.p()
            p = float(1.0 / np.sum(z / alone) if dew else np.sum(z * alone))
            other = z * p / alone if dew else z * alone / p
            for _ in range(200):
                self._other.set_mole_fractions((other / other.sum()).tolist())
                self._state.update(lib.PT_INPUTS, p, kelvin)
                self._other.update(lib.PT_INPUTS, p, kelvin)
                ratio = np.array(
                    [
                        self._state.fugacity_coefficient(i) / self._other.fugacity_coefficient(i)
                        for i in range(z.size)
                    ]
                )
                other = z * ratio
                total = float(other.sum())
                p *= 1.0 / total if dew else total
                if abs(total - 1.0) < 1e-9:
                    return p
        except ValueError as error:
            raise OutOfRangeError(
                f"{self.of.name}: no saturated state at {kelvin - KELVIN:.2f} °C: {error}"
            ) from error
        finally:
            self._state.unspecify_phase()
        raise OutOfRangeError(
            f"{self.of.name}: the saturated state at {kelvin - KELVIN:.2f} °C does not converge"
        )


def suction(fluid: Fluid, evaporating_c: Array, superheat_k: float) -> Suction:
    """State of the suction gas, computed once for each distinct evaporating temperature.

    Parameters
    ----------
    fluid : Fluid
        The refrigerant.
    evaporating_c : ndarray, shape (n,)
        Evaporating (dew) temperature. [°C]
    superheat_k : float
        Superheat at the compressor inlet; 0 for saturated gas. [K]
    """
    distinct, back = np.unique(evaporating_c, return_inverse=True)
    found = np.empty((4, distinct.size))
    for i, dew in enumerate(distinct):
        pressure = fluid.pressure(float(dew), 1.0)
        enthalpy, entropy, _, density = fluid.at(pressure, float(dew) + superheat_k, "gas")
        found[:, i] = pressure, enthalpy, entropy, density
    return Suction(*found[:, back])


def supercritical_isobars(fluid: Fluid, lowest: float, highest: float) -> Isobars:
    """Sample the isobars of a gas cooler from just above the critical pressure to its cap.

    The axis of temperature is densest where the specific heat peaks, which is where the pinch sits.

    Parameters
    ----------
    fluid : Fluid
        The refrigerant; the axis suits R-744.
    lowest, highest : float
        Lowest and highest pressure that must be covered. [Pa]
    """
    count = int(np.ceil((highest - lowest) / STEP)) + 1
    pressure = lowest + STEP * np.arange(max(count, 4), dtype=np.float64)
    temperature: Array = np.concatenate(
        [
            np.arange(-4.0, 24.0, 2.0),
            np.arange(24.0, 28.0, 0.5),
            np.arange(28.0, 45.0, 0.25),
            np.arange(45.0, 60.0, 0.5),
            np.arange(60.0, 105.0, 1.5),
            np.arange(105.0, 260.0, 5.0),
        ]
    )
    values = np.empty((3, pressure.size, temperature.size))
    for i, p in enumerate(pressure):
        for j, t in enumerate(temperature):
            values[:, i, j] = fluid.at(float(p), float(t), "any")[:3]
    return Isobars(pressure, temperature, *values)


def condensing_rows(fluid: Fluid, coldest: float = COLDEST_DEW) -> Condensing:
    """Sample the condenser from a dew temperature of `coldest` to a little below the critical point.

    Raises
    ------
    OutOfRangeError
        If a state in that range cannot be found.
    """
    top = fluid.hottest_c
    dew = top - DEW_STEP * np.arange(int((top - coldest) / DEW_STEP), -1.0, -1.0)
    superheat: Array = np.concatenate(
        [np.arange(0.0, 10.0, 1.0), np.arange(10.0, 30.0, 2.5), np.arange(30.0, 161.0, 10.0)]
    )
    share = 1.0 - np.linspace(1.0, 0.0, 24) ** 2  # closer where the specific heat rises
    pressure = np.array([fluid.pressure(float(t), 1.0) for t in dew])
    bubble = fluid.bubble_c(pressure)
    vapour = np.empty((3, dew.size, superheat.size))
    liquid = np.empty((2, dew.size, share.size))
    for r, p in enumerate(pressure):
        for j, k in enumerate(superheat):
            vapour[:, r, j] = fluid.at(p, float(dew[r] + k), "gas")[:3]
        for j, x in enumerate(share):
            enthalpy, _, heat, _ = fluid.at(p, float(LIQUID_FLOOR + x * (bubble[r] - LIQUID_FLOOR)), "liquid")
            liquid[:, r, j] = enthalpy, heat
    return Condensing(
        dew, bubble, pressure, superheat, vapour[0], vapour[1], vapour[2], share, liquid[0], liquid[1]
    )
