"""The transcritical cycle: a gas cooler whose high-side pressure is chosen for the best COP.

A map has some 20,000 conditions, each with some 40 pressures, so the search is compiled; what conditions
have in common, a few hundred suction states and water inlets, is worked out before it.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array, Flags, Ints
from hpwhsim.compiler import by_reference
from hpwhsim.heatpump.machine import Cycle, Machine, hermite
from hpwhsim.heatpump.states import KELVIN, STEP, Isobars, Suction
from hpwhsim.kernel import announced, kernel, kernel_apart, kernel_entry

COARSE = 17  # pressures tried before the search narrows
GOLDEN = (5.0**0.5 - 1.0) / 2.0
SOFT = 1e5  # Pa, over which the pressure rounds off towards the one where discharge or ratio holds it
NARROW = 2e2  # Pa, width at which the search for the best pressure ends: COP is then flat to 1e-5
TOGETHER = 512  # conditions whose searches end together


class _Tables(NamedTuple):
    """What conditions have in common, over the isobars: rows by suction gas and by cold end."""

    pressure: Array  # (n_p,) [Pa]
    temperature: Array  # (n_t,) [°C]
    enthalpy: Array  # (n_p, n_t) [J/kg]
    ideal: Array  # (n_gas, n_p) enthalpy of gas compressed without loss [J/kg]
    discharge: Array  # (n_gas, n_p) temperature that leaves the real compressor [°C]
    cold_end: Array  # (n_cold, n_p) enthalpy one pinch above the water that enters [J/kg]
    isentropic: Array  # coefficients of the compressor's efficiency, the highest first


class _Conditions(NamedTuple):
    """Conditions to be solved, each field of shape (n,), and the limits of the machine."""

    gas: Ints  # row of their suction gas
    end: Ints  # row of their cold end
    suction_enthalpy: Array  # J/kg
    suction_pressure: Array  # Pa
    scale: Array  # of isentropic efficiency
    water_in: Array  # °C
    water_out: Array  # °C
    cold: Array  # °C, gas one pinch above the water that enters
    hot: Array  # °C, and above the water that leaves
    highest: float  # Pa, cap of the pressure
    hottest: float  # °C, of discharge gas
    ratio: float  # of pressures, at most


class _Line(NamedTuple):
    """Water lines of conditions, between whose ends the heat is bounded."""

    first: Ints  # (n,) points of the isobars between cold and hot
    past: Ints
    slope: Array  # (n, n_t) rise of the water over what is left to its hot end, at these points


class _Bracket(NamedTuple):
    """Where searches for the best pressure have come; each field has shape (n,)."""

    lowest: Array  # Pa, whose discharge gas is hot enough
    a: Array  # ends, as shares of the way from the lowest pressure to the cap
    b: Array
    c: Array  # points inside
    d: Array
    cop_c: Array  # there
    cop_d: Array


class _Best(NamedTuple):
    """What the search gave; each field has shape (n,)."""

    lowest: Array  # Pa, whose discharge gas is hot enough
    held: Array  # Pa, where discharge temperature or ratio holds the machine; the cap where it cannot work
    works: Flags
    pressure: Array  # Pa, of best COP


class _Scene(NamedTuple):
    """All of a search."""

    of: _Tables
    at: _Conditions
    line: _Line
    bracket: _Bracket
    best: _Best
    tried: Array  # shares of the way from lowest pressure to cap that are tried at first


@kernel
def _crossing(rising: Array, level: float, pressure: Array) -> float:
    """Pressure at which `rising` (n_p,) reaches `level`; infinite beyond the axis."""
    k = 0
    while k < pressure.size and not rising[k] >= level:
        k += 1
    if k == pressure.size:
        return np.inf
    if k == 0:
        return -np.inf
    low, high = rising[k - 1], rising[k]
    width = high - low if high > low else np.inf
    return float(pressure[k - 1] + (level - low) * ((pressure[k] - pressure[k - 1]) / width))


@kernel
def _cubic(scene: _Scene, pressure: float) -> tuple[int, float, float, float, float]:
    """First row and weights of the cubic through the four isobars around a pressure, as `lagrange`."""
    of = scene.of
    position = (pressure - of.pressure[0]) / STEP
    first = min(max(int(np.floor(position)) - 1, 0), of.pressure.size - 4)
    x = position - first
    a, b, c, d = x, x - 1.0, x - 2.0, x - 3.0
    return first, -b * c * d / 6.0, a * c * d / 2.0, -a * b * d / 2.0, a * b * c / 6.0


@kernel_apart
def _lay(scene: _Scene, i: int, j: int) -> None:
    """Lay line `j` for condition `i`."""
    of, at, line = scene.of, scene.at, scene.line
    hot, rise = at.hot[i], at.water_out[i] - at.water_in[i]
    first, past = 0, of.temperature.size
    while first < past and not of.temperature[first] > at.cold[i]:
        first += 1
    while past > first and not of.temperature[past - 1] < hot:
        past -= 1
    line.first[j], line.past[j] = first, past
    for k in range(first, past):
        line.slope[j, k] = rise / (hot - of.temperature[k])


@kernel_apart
def _heat_and_work(scene: _Scene, i: int, j: int, pressure: float) -> tuple[float, float]:
    """Heat and work of condition `i`, whose line is `j`, at a pressure. [J/kg]"""
    of, at, line = scene.of, scene.at, scene.line
    first, w0, w1, w2, w3 = _cubic(scene, pressure)
    ideal, end, slope = of.ideal[at.gas[i]], of.cold_end[at.end[i]], line.slope[j]
    enthalpy = at.suction_enthalpy[i]
    row = w0 * ideal[first] + w1 * ideal[first + 1] + w2 * ideal[first + 2] + w3 * ideal[first + 3]
    ratio = min(max(pressure / at.suction_pressure[i], 1.5), 12.0)
    efficiency = of.isentropic[0]
    for k in range(1, of.isentropic.size):
        efficiency = of.isentropic[k] + efficiency * ratio
    work = (row - enthalpy) / (at.scale[i] * efficiency)
    leaving = enthalpy + work
    h0, h1 = of.enthalpy[first], of.enthalpy[first + 1]
    h2, h3 = of.enthalpy[first + 2], of.enthalpy[first + 3]
    tightest = np.inf
    for k in range(line.first[j], line.past[j]):
        bound = (leaving - (w0 * h0[k] + w1 * h1[k] + w2 * h2[k] + w3 * h3[k])) * slope[k]
        tightest = min(tightest, bound)
    rest = w0 * end[first] + w1 * end[first + 1] + w2 * end[first + 2] + w3 * end[first + 3]
    return min(tightest, leaving - rest), work


@kernel_apart
def _cop(scene: _Scene, i: int, j: int, pressure: float) -> float:
    """COP of condition `i`, whose line is `j`, at a pressure."""
    heat, work = _heat_and_work(scene, i, j, pressure)
    return heat / work


@kernel_apart
def _begin(scene: _Scene, i: int, j: int) -> None:
    """Bracket the best of the pressures tried for condition `i`, in place `j`."""
    of, at, bracket, best = scene.of, scene.at, scene.bracket, scene.best
    discharge = of.discharge[at.gas[i]]
    lowest = max(_crossing(discharge, at.hot[i], of.pressure), of.pressure[0])
    held = min(_crossing(discharge, at.hottest, of.pressure), at.ratio * at.suction_pressure[i])
    works = lowest <= min(held, at.highest)
    low = lowest if works else of.pressure[0]
    best.works[i], best.held[i], best.lowest[i] = works, held if works else at.highest, low
    _lay(scene, i, j)
    span, place, most = at.highest - low, 0, -np.inf
    for k in range(scene.tried.size):
        cop = _cop(scene, i, j, low + scene.tried[k] * span)
        if cop > most:
            place, most = k, cop
    a = max(scene.tried[place] - 1.0 / (COARSE - 1), 0.0)
    b = min(scene.tried[place] + 1.0 / (COARSE - 1), 1.0)
    c, d = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
    bracket.lowest[j], bracket.a[j], bracket.b[j], bracket.c[j], bracket.d[j] = low, a, b, c, d
    bracket.cop_c[j] = _cop(scene, i, j, low + c * span)
    bracket.cop_d[j] = _cop(scene, i, j, low + d * span)


@kernel_apart
def _narrow(scene: _Scene, i: int, j: int) -> None:
    """One step of the golden section."""
    highest, bracket = scene.at.highest, scene.bracket
    a, b, low = bracket.a[j], bracket.b[j], bracket.lowest[j]
    left = bracket.cop_c[j] > bracket.cop_d[j]
    if left:
        b = bracket.d[j]
        bracket.d[j], bracket.cop_d[j] = bracket.c[j], bracket.cop_c[j]
    else:
        a = bracket.c[j]
        bracket.c[j], bracket.cop_c[j] = bracket.d[j], bracket.cop_d[j]
    new = b - GOLDEN * (b - a) if left else a + GOLDEN * (b - a)
    cop = _cop(scene, i, j, low + new * (highest - low))
    if left:
        bracket.c[j], bracket.cop_c[j] = new, cop
    else:
        bracket.d[j], bracket.cop_d[j] = new, cop
    bracket.a[j], bracket.b[j] = a, b


@kernel_entry
def _search(given: _Scene) -> None:
    """Fill `best`, some conditions together: until the widest of their brackets is narrow."""
    scene = by_reference(given)
    bracket, pressure, highest = scene.bracket, scene.best.pressure, scene.at.highest
    together = bracket.lowest.size
    for begin in range(0, pressure.size, together):
        size = min(together, pressure.size - begin)
        for j in range(size):
            _begin(scene, begin + j, j)
        while True:
            widest = 0.0
            for j in range(size):
                widest = max(widest, (bracket.b[j] - bracket.a[j]) * (highest - bracket.lowest[j]))
            if not widest > NARROW:
                break
            for j in range(size):
                _narrow(scene, begin + j, j)
        for j in range(size):
            low = bracket.lowest[j]
            pressure[begin + j] = low + 0.5 * (bracket.a[j] + bracket.b[j]) * (highest - low)


@kernel_apart
def _warmth(scene: _Scene, row: int, value: float) -> float:
    """Temperature at an enthalpy along an isobar, linear between its points. [°C]"""
    enthalpy, temperature = scene.of.enthalpy[row], scene.of.temperature
    last = enthalpy.size - 1
    if not value > enthalpy[0]:
        return float(temperature[0])
    if value >= enthalpy[last]:
        return float(temperature[last])
    k, past = 0, last
    while past - k > 1:
        middle = (k + past) // 2
        if enthalpy[middle] <= value:
            k = middle
        else:
            past = middle
    slope = (temperature[k + 1] - temperature[k]) / (enthalpy[k + 1] - enthalpy[k])
    return float(slope * (value - enthalpy[k]) + temperature[k])


@kernel_entry
def _states(given: _Scene, pressure: Array, found: Array) -> None:
    """Fill `found` (4, n): heat, work [J/kg], temperature at discharge and exit [°C] at a pressure (n,)."""
    scene = by_reference(given)
    of, at = scene.of, scene.at
    for i in range(pressure.size):
        _lay(scene, i, 0)
        heat, work = _heat_and_work(scene, i, 0, pressure[i])
        first, w0, w1, w2, w3 = _cubic(scene, pressure[i])
        gas = of.discharge[at.gas[i]]
        left = at.suction_enthalpy[i] + work - heat
        share = (pressure[i] - of.pressure[first + 1]) / STEP
        found[0, i], found[1, i] = heat, work
        found[2, i] = w0 * gas[first] + w1 * gas[first + 1] + w2 * gas[first + 2] + w3 * gas[first + 3]
        one, two = _warmth(scene, first + 1, left), _warmth(scene, first + 2, left)
        found[3, i] = (1.0 - share) * one + share * two


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
    n, kelvin = scale.size, table.temperature + KELVIN
    cold, hot = water_in + pinch, water_out + pinch

    # On every isobar: discharge for an ideal compressor, its temperature for the real one, and the cold end.
    _, of_gas, row = np.unique(gas.pressure + 1j * scale, return_index=True, return_inverse=True)
    _, of_end, end = np.unique(cold, return_index=True, return_inverse=True)
    entropy, enthalpy, low = gas.entropy[of_gas], gas.enthalpy[of_gas], gas.pressure[of_gas]
    shape = (table.pressure.size, of_gas.size)
    ideal, discharge = np.empty(shape), np.empty(shape)
    cold_end = np.empty((table.pressure.size, of_end.size))
    for j, p in enumerate(table.pressure):
        h, s, cp = table.enthalpy[j], table.entropy[j], table.heat_capacity[j]
        ideal[j] = hermite(entropy, s, h, kelvin)  # dh/ds = T along an isobar
        real = enthalpy + (ideal[j] - enthalpy) / (scale[of_gas] * compressor.efficiency(p / low))
        discharge[j] = hermite(np.minimum(real, h[-1]), h, table.temperature, 1.0 / cp)
        cold_end[j] = hermite(cold[of_end], table.temperature, h, cp)
    of = _Tables(
        table.pressure,
        table.temperature,
        table.enthalpy,
        np.ascontiguousarray(ideal.T),
        np.ascontiguousarray(discharge.T),
        np.ascontiguousarray(cold_end.T),
        np.array(compressor.isentropic[::-1]),
    )
    contiguous = np.ascontiguousarray  # all calls alike, for which the search is compiled once
    at = _Conditions(
        row.ravel(),
        end.ravel(),
        contiguous(gas.enthalpy),
        contiguous(gas.pressure),
        contiguous(scale),
        contiguous(water_in),
        contiguous(water_out),
        contiguous(cold),
        contiguous(hot),
        float(limits.high_pressure),
        float(limits.discharge_c),
        float(limits.pressure_ratio),
    )
    size = min(TOGETHER, n)
    ends = np.zeros((2, size), dtype=np.int64)
    line = _Line(ends[0], ends[1], np.empty((size, table.temperature.size)))
    best = _Best(np.empty(n), np.empty(n), np.empty(n, dtype=np.bool_), np.empty(n))
    scene = _Scene(of, at, line, _Bracket(*np.empty((7, size))), best, np.linspace(0.0, 1.0, COARSE))
    announced(_search, "the search for the best pressure above the critical one")(scene)
    # a smooth minimum: no kink in the map
    pressure = -SOFT * np.logaddexp(-best.pressure / SOFT, -best.held / SOFT)
    works = best.works & (best.lowest <= pressure)
    pressure = np.maximum(pressure, best.lowest)
    heat, work, t2, t3 = states = np.empty((4, n))
    _states(scene, pressure, states)
    volumetric = heat * gas.density * compressor.filling(pressure / gas.pressure)
    works &= heat > work / compressor.gas_share  # else the source would have to be heated
    found = (heat, work / compressor.gas_share, volumetric, pressure, gas.pressure, t2, t3)
    return Cycle(*(np.where(works, x, np.nan) for x in found))
