"""The transcritical cycle: a gas cooler whose high-side pressure is chosen for the best COP."""

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.heatpump.machine import Cycle, Machine, hermite, lagrange
from hpwhsim.heatpump.states import KELVIN, STEP, Isobars, Suction

COARSE = 17  # pressures tried before the search narrows
GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0
SOFT = 1e5  # Pa, over which the pressure rounds off towards the one where discharge or ratio holds it
NARROW = 2e2  # Pa, width at which the search for the best pressure ends: COP is then flat to 1e-5


def _crossing(rising: Array, level: Array, pressure: Array) -> Array:
    """Pressure (n,) at which each row of `rising` (n, n_p) reaches `level` (n,); infinite beyond the axis."""
    above = rising >= level[:, None]
    k = np.clip(np.argmax(above, axis=1), 1, pressure.size - 1)
    rows = np.arange(rising.shape[0])
    low, high = rising[rows, k - 1], rising[rows, k]
    slope = (pressure[k] - pressure[k - 1]) / np.where(high > low, high - low, np.inf)
    found = pressure[k - 1] + (level - low) * slope
    found = np.where(above[:, 0], -np.inf, found)
    return np.asarray(np.where(above.any(axis=1), found, np.inf))


def solve_gas_cooler(
    machine: Machine,
    table: Isobars,
    gas: Suction,
    water_in: Array,
    water_out: Array,
    scale: Array,
    pinch: Array,
) -> Cycle:
    """Solve the transcritical cycle at the high-side pressure of best COP.

    Along an isobar, the water line may rise from its inlet to its outlet over the heat q only while it stays
    one pinch below the refrigerant. For a refrigerant at temperature T and enthalpy h that says
    ``q <= (h_discharge - h) (t_out - t_in) / (t_out + pinch - T)``, so the greatest heat is the smallest of
    these bounds over the isobar from ``t_in + pinch`` to ``t_out + pinch``: the pinch is found without
    iteration, at whichever temperature it falls. The pressure of best COP is then searched up to the cap;
    where the limit of discharge temperature or ratio lies lower, the machine holds its pressure down to it.

    Parameters
    ----------
    machine : Machine
        Its compressor and limits.
    table : Isobars
        From `supercritical_isobars`, covering the pressure cap of the machine.
    gas : Suction
        Gas at the compressor inlet, by condition.
    water_in, water_out : ndarray, shape (n,)
        Temperature of the water entering and leaving. [°C]
    scale : ndarray, shape (n,)
        Scale of isentropic efficiency.
    pinch : ndarray, shape (n,)
        Smallest difference between gas and water. [K]

    Returns
    -------
    Cycle
        NaN where a limit stands in the way.
    """
    limits, compressor = machine.limits, machine.compressor
    rows = np.arange(scale.size)
    kelvin = table.temperature + KELVIN
    cold, hot = water_in + pinch, water_out + pinch

    # On every isobar: discharge for an ideal compressor, its temperature for the real one, and the cold end.
    shape = (scale.size, table.pressure.size)
    ideal, discharge, cold_end = np.empty(shape), np.empty(shape), np.empty(shape)
    for j, p in enumerate(table.pressure):
        h, s, cp = table.enthalpy[j], table.entropy[j], table.heat_capacity[j]
        ideal[:, j] = hermite(gas.entropy, s, h, kelvin)  # dh/ds = T along an isobar
        real = gas.enthalpy + (ideal[:, j] - gas.enthalpy) / (scale * compressor.efficiency(p / gas.pressure))
        discharge[:, j] = hermite(np.minimum(real, h[-1]), h, table.temperature, 1.0 / cp)
        cold_end[:, j] = hermite(cold, table.temperature, h, cp)

    lowest = np.maximum(_crossing(discharge, hot, table.pressure), table.pressure[0])
    hottest = _crossing(discharge, np.full_like(scale, limits.discharge_c), table.pressure)
    held = np.minimum(hottest, limits.pressure_ratio * gas.pressure)
    highest = np.full_like(scale, limits.high_pressure)
    works = lowest <= np.minimum(held, highest)
    held = np.where(works, held, highest)
    lowest = np.where(works, lowest, table.pressure[0])

    inner = (table.temperature > cold.min()) & (table.temperature < hot.max())
    t = table.temperature[inner]
    h_inner = np.ascontiguousarray(table.enthalpy[:, inner])
    between = (t > cold[:, None]) & (t < hot[:, None])
    slope = (water_out - water_in)[:, None] / np.where(between, hot[:, None] - t, 1.0)

    def at(pressure: Array) -> tuple[Array, Array]:
        """Heat and work [J/kg] at one pressure for each condition."""
        weight, first = lagrange((pressure - table.pressure[0]) / STEP, table.pressure.size)
        lift = sum(weight[m] * ideal[rows, first + m] for m in range(4)) - gas.enthalpy
        work = lift / (scale * compressor.efficiency(pressure / gas.pressure))
        leaving = gas.enthalpy + work
        h = sum(weight[m][:, None] * h_inner[first + m] for m in range(4))
        bound = np.min((leaving[:, None] - h) * slope, axis=1, initial=np.inf, where=between)
        end = leaving - sum(weight[m] * cold_end[rows, first + m] for m in range(4))
        return np.minimum(bound, end), work

    def cop(position: Array) -> Array:
        heat, work = at(lowest + position * (highest - lowest))
        return np.asarray(heat / work)

    tried = np.linspace(0.0, 1.0, COARSE)
    best = tried[np.argmax([cop(np.full_like(scale, x)) for x in tried], axis=0)]
    a = np.maximum(best - 1.0 / (COARSE - 1), 0.0)
    b = np.minimum(best + 1.0 / (COARSE - 1), 1.0)
    c, d = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
    at_c, at_d = cop(c), cop(d)
    while np.max((b - a) * (highest - lowest)) > NARROW:
        left = at_c > at_d
        a, b = np.where(left, a, c), np.where(left, d, b)
        kept, kept_cop = np.where(left, c, d), np.where(left, at_c, at_d)
        new = np.where(left, b - GOLDEN * (b - a), a + GOLDEN * (b - a))
        new_cop = cop(new)
        c, at_c = np.where(left, new, kept), np.where(left, new_cop, kept_cop)
        d, at_d = np.where(left, kept, new), np.where(left, kept_cop, new_cop)
    pressure = lowest + 0.5 * (a + b) * (highest - lowest)
    pressure = -SOFT * np.logaddexp(-pressure / SOFT, -held / SOFT)  # a smooth minimum: no kink in the map
    works &= lowest <= pressure
    pressure = np.maximum(pressure, lowest)

    heat, work = at(pressure)
    weight, first = lagrange((pressure - table.pressure[0]) / STEP, table.pressure.size)
    t2 = sum(weight[m] * discharge[rows, first + m] for m in range(4))
    h3 = gas.enthalpy + work - heat
    share = (pressure - table.pressure[first + 1]) / STEP
    t3 = np.array(
        [
            (1.0 - u) * np.interp(x, table.enthalpy[j + 1], table.temperature)
            + u * np.interp(x, table.enthalpy[j + 2], table.temperature)
            for x, j, u in zip(h3, first, share, strict=True)
        ]
    )
    volumetric = heat * gas.density * compressor.filling(pressure / gas.pressure)
    works &= heat > work / compressor.gas_share  # else the source would have to be heated
    found = (heat, work / compressor.gas_share, volumetric, pressure, gas.pressure, np.asarray(t2), t3)
    return Cycle(*(np.where(works, x, np.nan) for x in found))
