"""The condensing cycle: the lowest condensing temperature at which the water is warmed as asked."""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.heatpump.machine import Cycle, Machine, hermite, lagrange
from hpwhsim.heatpump.states import DEW_STEP, KELVIN, LIQUID_FLOOR, Condensing, Suction

HALVINGS = 18  # of the range of dew temperature, about 100 K: 4e-4 K
ROUNDING = 2.0  # K, over which the held head pressure takes over from the pinch
ECONOMISER_K = 5.0  # K, cold end of the economiser; usual for a plate exchanger, common practice, no source


def solve_condenser(
    machine: Machine,
    table: Condensing,
    gas: Suction,
    water_in: Array,
    water_out: Array,
    scale: Array,
    pinch: Array,
    deepest: Array,
) -> Cycle:
    """Solve the condensing cycle.

    Desuperheating, condensing and subcooling share one counterflow exchanger. As in the gas cooler, each
    point of the refrigerant at temperature T and enthalpy h bounds the heat:
    ``q <= (h_discharge - h) (t_out - t_in) / (t_out + pinch - T)``. The liquid leaves subcooled by a fixed
    amount, by more where the water is cold enough and the machine so built, or one pinch above the inlet;
    the condensing temperature is the lowest at which no bound is broken, which can be below the leaving
    water. Between dew and bubble the temperature of a blend runs linearly with enthalpy, so the bounds at
    dew and bubble hold between them; so does, by the rising specific heat of liquid, the bound along it.

    Parameters
    ----------
    machine : Machine
        Its compressor, least subcooling and limits.
    table : Condensing
        From `condensing_rows`.
    gas : Suction
        Gas at the compressor inlet, by condition.
    water_in, water_out : ndarray, shape (n,)
        Temperature of the water entering and leaving. [°C]
    scale : ndarray, shape (n,)
        Scale of isentropic efficiency.
    pinch : ndarray, shape (n,)
        Smallest difference between refrigerant and water. [K]
    deepest : ndarray, shape (n,)
        Subcooling that is reached where the water is cold enough. [K]

    Returns
    -------
    Cycle
        NaN where a limit stands in the way, or no condensing temperature below the critical one suffices.
    """
    limits, compressor = machine.limits, machine.compressor
    n, count = scale.size, table.dew_c.size
    each, four = np.arange(n), np.arange(4)[:, None]
    cold, hot = water_in + pinch, water_out + pinch
    rise = (water_out - water_in)[:, None]

    ideal = np.empty((n, count))
    for j, dew in enumerate(table.dew_c):
        s, h = table.vapour_entropy[j], table.vapour_enthalpy[j]
        dry = hermite(gas.entropy, s, h, dew + table.superheat + KELVIN)  # dh/ds = T along an isobar
        ideal[:, j] = np.where(gas.entropy >= s[0], dry, h[0] - (dew + KELVIN) * (s[0] - gas.entropy))

    def compressed(dew: Array, pressure: Array) -> Array:
        """Enthalpy [J/kg] of the suction gas compressed to the saturation pressure of `dew`."""
        weight, first = lagrange((dew - table.dew_c[0]) / DEW_STEP, count)
        lift = np.sum(weight * ideal[each, first + four], axis=0) - gas.enthalpy
        return np.asarray(gas.enthalpy + lift / (scale * compressor.efficiency(pressure / gas.pressure)))

    def at(dew: Array) -> tuple[_State, Array]:
        """The cycle at a dew temperature, and by how much its tightest bound is kept (negative: broken)."""
        row = _Row(table, dew)
        if machine.subcooling_k is None:
            exit_c = cold
        else:
            reached = np.maximum(deepest, machine.subcooling_k)
            exit_c = np.clip(cold, row.bubble_c - reached, row.bubble_c - machine.subcooling_k)
        exit_enthalpy = row.liquid(exit_c)
        if machine.injection:
            first_stage = np.sqrt(gas.pressure * row.pressure)
            middle = _Row(table, np.interp(np.log(first_stage), np.log(table.pressure), table.dew_c))
            leaving, work, injected = _second_stage(
                compressor.efficiency(row.pressure / first_stage) * scale,
                gas,
                compressed(middle.dew_c, first_stage),
                middle,
                row,
                exit_enthalpy,
            )
        else:
            first_stage = row.pressure
            leaving = compressed(dew, row.pressure)
            work, injected = leaving - gas.enthalpy, np.zeros(n)
        heat = leaving - exit_enthalpy
        discharge_c = dew + row.superheat(leaving)

        t = np.concatenate([dew[:, None] + table.superheat, row.bubble_c[:, None]], axis=1)
        h = np.concatenate([row.vapour_enthalpy, row.liquid_enthalpy[:, -1:]], axis=1)
        on_line = t < hot[:, None]
        bound = (leaving[:, None] - h) * rise / np.where(on_line, hot[:, None] - t, 1.0)
        tightest = np.min(bound, axis=1, initial=np.inf, where=on_line)
        kept = np.minimum(tightest / heat - 1.0, (discharge_c - hot) / 100.0)
        kept = np.minimum(kept, (np.minimum(exit_c, row.bubble_c) - cold) / 100.0)
        kept = np.where(exit_c > row.bubble_c, np.minimum(kept, (row.bubble_c - exit_c) / 100.0), kept)
        return _State(row.pressure, first_stage, work, heat, injected, discharge_c, exit_c), kept

    low, high = np.full(n, table.dew_c[0]), np.full(n, table.dew_c[-1])
    works = at(high)[1] >= 0.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        enough = at(middle)[1] >= 0.0
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    held = np.interp(np.log(limits.least_ratio * gas.pressure), np.log(table.pressure), table.dew_c)
    found, _ = at(_rounded_max(high, held))

    ratio = found.first_stage / gas.pressure
    electricity = found.work / compressor.gas_share
    works &= (found.discharge_c <= limits.discharge_c) & (found.pressure <= limits.high_pressure)
    works &= (ratio <= limits.pressure_ratio) & (found.heat > electricity)
    volumetric = found.heat / (1.0 - found.injected) * gas.density * compressor.filling(ratio)
    columns = (
        found.heat,
        electricity,
        volumetric,
        found.pressure,
        gas.pressure,
        found.discharge_c,
        found.exit_c,
    )
    return Cycle(*(np.where(works, x, np.nan) for x in columns))


def _rounded_max(a: Array, b: Array) -> Array:
    """The larger of two temperatures, the corner rounded over `ROUNDING` so that maps are smooth there."""
    return np.asarray(
        np.where(np.abs(a - b) < ROUNDING, b + (a - b + ROUNDING) ** 2 / (4.0 * ROUNDING), np.maximum(a, b))
    )


class _State(NamedTuple):
    """One guess of the solver; each field has shape (n,)."""

    pressure: Array  # Pa, high side
    first_stage: Array  # Pa, outlet of the first (or only) stage
    work: Array  # J per kg through the condenser
    heat: Array  # J per kg through the condenser
    injected: Array  # share of the condenser's flow that skips the evaporator
    discharge_c: Array  # °C
    exit_c: Array  # °C


class _Row:
    """The high side at any dew temperatures (n,), between the rows of the table."""

    def __init__(self, table: Condensing, dew_c: Array) -> None:
        weight, first = lagrange((dew_c - table.dew_c[0]) / DEW_STEP, table.dew_c.size)
        rows = first + np.arange(4)[:, None]

        def of(values: Array) -> Array:
            shaped = weight.reshape(weight.shape + (1,) * (values.ndim - 1))
            return np.asarray(np.sum(shaped * values[rows], axis=0))

        self._table = table
        self.dew_c = dew_c
        self.pressure, self.bubble_c = of(table.pressure), of(table.bubble_c)
        self.vapour_enthalpy, self.vapour_entropy = of(table.vapour_enthalpy), of(table.vapour_entropy)
        self._vapour_heat = of(table.vapour_heat_capacity)
        self.liquid_enthalpy, self._liquid_heat = of(table.liquid_enthalpy), of(table.liquid_heat_capacity)
        self._kelvin = dew_c[:, None] + table.superheat + KELVIN

    def liquid(self, temperature_c: Array) -> Array:
        """Enthalpy of liquid; of saturated liquid where the temperature is above bubble. [J/kg]"""
        span = self.bubble_c - LIQUID_FLOOR
        share = np.clip((temperature_c - LIQUID_FLOOR) / span, 0.0, 1.0)
        axis = np.broadcast_to(self._table.share, self.liquid_enthalpy.shape)
        return _by_row(share, axis, self.liquid_enthalpy, self._liquid_heat * span[:, None])

    def superheat(self, enthalpy: Array) -> Array:
        """Kelvin above dew of a vapour; 0 for one that is wet. [K]"""
        inner = np.clip(enthalpy, self.vapour_enthalpy[:, 0], self.vapour_enthalpy[:, -1])
        axis = np.broadcast_to(self._table.superheat, self.vapour_enthalpy.shape)
        return _by_row(inner, self.vapour_enthalpy, axis, 1.0 / self._vapour_heat)

    def entropy(self, enthalpy: Array) -> Array:
        """Entropy of a vapour. [J/kgK]"""
        return _by_row(enthalpy, self.vapour_enthalpy, self.vapour_entropy, 1.0 / self._kelvin)

    def isentropic(self, entropy: Array) -> Array:
        """Enthalpy of a vapour of this entropy. [J/kg]"""
        return _by_row(entropy, self.vapour_entropy, self.vapour_enthalpy, self._kelvin)


def _second_stage(
    efficiency: Array, gas: Suction, arriving: Array, middle: _Row, row: _Row, exit_enthalpy: Array
) -> tuple[Array, Array, Array]:
    """Vapour injection between two stages, from an economiser.

    A share of the condensed liquid boils off at the middle pressure, to dry vapour, and subcools the rest to
    `ECONOMISER_K` above its own temperature; it joins the gas between the stages.

    Returns discharge enthalpy and work, both per kg through the condenser [J/kg], and the injected share.
    """
    subcooled = np.minimum(row.liquid(middle.dew_c + ECONOMISER_K), exit_enthalpy)
    dry = middle.vapour_enthalpy[:, 0]
    split = (exit_enthalpy - subcooled) / (dry - exit_enthalpy)
    injected = split / (1.0 + split)
    mixed = (1.0 - injected) * arriving + injected * dry
    leaving = mixed + (row.isentropic(middle.entropy(mixed)) - mixed) / efficiency
    work = (1.0 - injected) * (arriving - gas.enthalpy) + leaving - mixed
    return leaving, work, injected


def _by_row(x: Array, axis: Array, value: Array, slope: Array) -> Array:
    """Cubic at `x` (n,) through `value` with `slope` at `axis`, all (n, k): each row its own curve."""
    each = np.arange(x.size)
    cell = np.clip((axis < x[:, None]).sum(axis=1) - 1, 0, axis.shape[1] - 2)
    left, width = axis[each, cell], axis[each, cell + 1] - axis[each, cell]
    u = (x - left) / width
    v = 1.0 - u
    return np.asarray(
        v * v * (1.0 + 2.0 * u) * value[each, cell]
        + u * u * (1.0 + 2.0 * v) * value[each, cell + 1]
        + u * v * width * (v * slope[each, cell] - u * slope[each, cell + 1])
    )
