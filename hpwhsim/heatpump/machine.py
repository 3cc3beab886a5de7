"""The machine as the cycle sees it, what a solved cycle holds, and the interpolation both sides share.

Suction gas at the evaporating temperature plus superheat; a compressor without heat loss; the high side
gives its heat to the water in counterflow, with the smallest difference (the pinch) wherever it falls.
Pressure drops and internal heat exchangers are left out: what they cost is inside the efficiency that the
rating point fixes.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.heatpump.limits import Limits
from hpwhsim.heatpump.refrigerants import Refrigerant


@dataclass(frozen=True)
class Compressor:
    """Efficiency of the compressor, as functions of the pressure ratio r.

    Isentropic efficiency is the polynomial ``isentropic`` in r (lowest order first) times ``scale``. The gas
    receives ``gas_share`` of the electricity; the rest (fan 3 to 8 %, inverter, shell) does not heat it,
    which matters to the discharge temperature. Common practice, no source. Volumetric efficiency is
    ``1 - clearance (r**(1/exponent) - 1)``.

    References
    ----------
    .. [1] D. M. Robinson, E. A. Groll, Int. J. Refrigeration 21, 1998, for R-744:
       0.815 + 0.022 r - 0.0041 r² + 0.0001 r³.
       Unverified; only its shape is used, because the rating fixes the scale.
    .. [2] C. Brunin, M. Feidt, S. Hivet, Int. J. Refrigeration 20, 1997: 0.874 - 0.0135 r.
       Unverified; only its shape is used.
    .. [3] Clearance form with exponent 1.15: textbook re-expansion of the dead volume; a clearance of 0.04
       is common practice, no source.
    """

    isentropic: tuple[float, ...] = (0.874, -0.0135)
    scale: float = 1.0
    gas_share: float = 0.9
    clearance: float = 0.04
    exponent: float = 1.15

    def efficiency(self, ratio: Array) -> Array:
        """Isentropic efficiency before `scale`; outside r = 1.5 to 12 the value at the end of that range."""
        return np.asarray(np.polynomial.polynomial.polyval(np.clip(ratio, 1.5, 12.0), self.isentropic))

    def filling(self, ratio: Array) -> Array:
        """Volumetric efficiency."""
        return np.asarray(1.0 - self.clearance * (ratio ** (1.0 / self.exponent) - 1.0))


ROBINSON_GROLL = Compressor(isentropic=(0.815, 0.022, -0.0041, 0.0001))


@dataclass(frozen=True)
class Machine:
    """What the cycle needs to know of the machine besides the conditions.

    `approach_k` is source minus evaporating temperature at full load: 10 K for air, because real air coils
    run 8 to 12 K below their air; 5 K for a water source. `pinch_k` 5 K and `superheat_k` 5 K are the usual
    design values of plate exchangers and expansion valves, and so is `subcooling_k` 5 K, which a gas cooler
    has no use for. All common practice, no source.
    """

    refrigerant: Refrigerant
    compressor: Compressor
    limits: Limits
    approach_k: float = 10.0  # K
    superheat_k: float = 5.0  # K
    pinch_k: float = 5.0  # K
    injection: bool = False  # two stages with vapour injection from an economiser; condensing refrigerants
    subcooling_k: float | None = 5.0  # K below bubble; None: liquid leaves one pinch above the water inlet
    deepest_subcooling_k: float = 0.0  # K, where it is more: reached when the water inlet is cold enough

    def with_scale(self, scale: float) -> "Machine":
        """The same machine with another scale of isentropic efficiency."""
        return replace(self, compressor=replace(self.compressor, scale=scale))


class Cycle(NamedTuple):
    """Solved conditions; each field has shape (n,), NaN where the machine cannot work."""

    heat: Array  # J/kg to the water
    work: Array  # J/kg, electricity
    volumetric: Array  # J/m³, heat per swept volume: the capacity before it is scaled
    high_pressure: Array  # Pa
    low_pressure: Array  # Pa
    discharge_c: Array  # °C
    exit_c: Array  # °C, refrigerant leaving the water heater

    @property
    def cop(self) -> Array:
        """Heat to the water over electricity."""
        return self.heat / self.work


def hermite(x: Array, axis: Array, value: Array, slope: Array) -> Array:
    """Cubic through `value` with `slope` at the points of `axis` (all 1-D), evaluated at `x` (n,)."""
    cell = np.clip(np.searchsorted(axis, x) - 1, 0, axis.size - 2)
    width = axis[cell + 1] - axis[cell]
    u = (x - axis[cell]) / width
    v = 1.0 - u
    return np.asarray(
        v * v * (1.0 + 2.0 * u) * value[cell]
        + u * u * (1.0 + 2.0 * v) * value[cell + 1]
        + u * v * width * (v * slope[cell] - u * slope[cell + 1])
    )


def lagrange(position: Array, count: int) -> tuple[Array, NDArray[np.intp]]:
    """Weights (4, n) and first row (n,) of the cubic through the four rows around `position` (n,) in rows."""
    first = np.clip(np.floor(position).astype(np.intp) - 1, 0, count - 4)
    x = position - first
    a, b, c, d = x, x - 1.0, x - 2.0, x - 3.0
    return np.stack([-b * c * d / 6.0, a * c * d / 2.0, -a * b * d / 2.0, a * b * c / 6.0]), first
