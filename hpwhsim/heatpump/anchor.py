"""Anchor the cycle to what is known of the machine: one rated point exactly, or several as well as it can."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.heatpump.cycle import solve
from hpwhsim.heatpump.evaporator import Coil, coil_at, solve_with_coil, taken
from hpwhsim.heatpump.limits import Limits
from hpwhsim.heatpump.machine import Machine
from hpwhsim.heatpump.states import KELVIN, Condensing, Isobars

USUAL = (0.55, 0.80)  # peak isentropic efficiency of hermetic compressors; common practice, no source
DEEPEST_K = 40.0  # K of subcooling that the best condenser reaches; common practice, no source
USUAL_END, AMPLE_END = 0.4, 0.8  # of quality: where the exchangers begin to improve, and where they end
QUALITIES = 41  # tried at first
LEAST_SHARE = 0.5  # of the electricity that reaches the refrigerant
APPROACH_RANGE = (1.0, 25.0)  # K at the first point, searched where several points are given
TRIED = 13  # values of each unknown in a round of that search
DIFFERENCES = np.array(
    [0.2, 2.0, 4.0, 6.0, 8.0, 10.0, 13.0, 16.0, 20.0, 25.0, 32.0, 40.0]
)  # K, at its points
OPEN = Limits(
    discharge_c=1e3,
    high_pressure=1e9,
    pressure_ratio=1e3,
    highest_evaporating_c=100.0,
    lowest_evaporating_c=-100.0,
)


class Rating(NamedTuple):
    """One point of a rating or a data sheet, one module at full load."""

    source_c: float  # °C
    water_in_c: float  # °C
    water_out_c: float  # °C
    capacity_w: float  # W, heat to water
    cop: float  # with all the electricity that the rating counts

    def __str__(self) -> str:
        return f"source {self.source_c:g} °C, water {self.water_in_c:g} to {self.water_out_c:g} °C"


class Design(NamedTuple):
    """Parts of a machine at one quality, or at many."""

    efficiency: Array  # peak isentropic efficiency
    subcooling_k: Array  # deepest, K
    approach_k: Array  # source minus evaporating temperature at the rating, K
    pinch_k: Array  # K


class Anchored(NamedTuple):
    """A machine that meets its ratings."""

    machine: Machine  # its approach is that at the rating, of several at the first
    swept: float  # m³/s, scale of capacity: W over the J/m³ of the cycle
    coil: Coil
    cop_residual: Array  # (n_rating,) COP of the cycle over the rated one, less 1
    capacity_residual: Array  # (n_rating,) the same of capacity


def lorenz_cop(source_c: float, water_in_c: float, water_out_c: float) -> float:
    """Highest COP any machine can have between a source and water that is warmed from inlet to outlet.

    The Lorenz limit ``T / (T - T_source)`` at the log-mean temperature T of the water; infinite where the
    source is as warm as that.
    """
    t_in, t_out, t_source = water_in_c + KELVIN, water_out_c + KELVIN, source_c + KELVIN
    mean = (t_out - t_in) / math.log(t_out / t_in) if t_out > t_in else t_out
    return mean / (mean - t_source) if mean > t_source else math.inf


def check(rating: Rating, key: str) -> None:
    """Refuse a rating that no machine can have.

    Raises
    ------
    InputError
        If a value is no positive number, the outlet not above the inlet, or the COP not below Lorenz.
    """
    for name, value in (("capacity", rating.capacity_w), ("cop", rating.cop)):
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(f"{key}.{name}: must be above 0, got {value:g}")
    if not all(math.isfinite(x) for x in rating[:3]):
        raise InputError(f"{key}.rated_at: must be finite temperatures, got {rating}")
    if not rating.water_out_c > rating.water_in_c:
        raise InputError(f"{key}.rated_at: water_out must be above water_in, got {rating}")
    best = lorenz_cop(*rating[:3])
    if rating.cop >= best:
        raise InputError(
            f"{key}.cop: {rating.cop:g} is not below the thermodynamic (Lorenz) limit {best:.2f} at {rating}"
        )


def why_not(machine: Machine, high_side: Isobars | Condensing, rating: Rating) -> str:
    """Which limit keeps the machine from working at a point."""
    limits, refrigerant = machine.limits, machine.refrigerant
    free = solve(replace(machine, limits=OPEN), high_side, *rating[:3])
    if isinstance(high_side, Isobars):
        return (
            f"no pressure up to {limits.high_pressure / 1e5:g} bar and pressure ratio "
            f"{limits.pressure_ratio:g} reaches that outlet with discharge gas of at most "
            f"{limits.discharge_c:g} °C, evaporating not below {limits.lowest_evaporating_c:g} °C"
        )
    if not np.isfinite(free.cop[0]):
        return f"{refrigerant.name}, critical at {refrigerant.critical_c:g} °C, cannot condense so hot"
    stages = 2 if machine.injection else 1
    ratio = (free.high_pressure[0] / free.low_pressure[0]) ** (1 / stages)
    said = [
        f"{name} {value:.{digits}f} {unit} {side} the limit of {limit:g} {unit}".replace("  ", " ").rstrip()
        for name, value, limit, unit, digits, above in (
            ("discharge temperature", free.discharge_c[0], limits.discharge_c, "°C", 0, True),
            ("pressure", free.high_pressure[0] / 1e5, limits.high_pressure / 1e5, "bar", 1, True),
            ("pressure ratio", ratio, limits.pressure_ratio, "", 1, True),
            (
                "evaporating temperature",
                rating.source_c - machine.approach_k,
                limits.lowest_evaporating_c,
                "°C",
                1,
                False,
            ),
        )
        if (value > limit if above else value < limit)
        for side in ("above" if above else "below",)
    ]
    if limits.highest_inlet_c is not None and rating.water_in_c > limits.highest_inlet_c:
        said.append(f"water inlet above the limit of {limits.highest_inlet_c:g} °C")
    return "; ".join(said) or "no condensing temperature suffices"


def design(machine: Machine, quality: ArrayLike) -> Design:
    """The machine's parts at a quality, or at many, from a usual poor compressor to what no part can better.

    One number moves all parts, each in one direction and without a jump, so that a machine of better rating
    is nowhere worse: up to `USUAL_END` the compressor improves, from the low to the high end of what is
    usual; then the exchangers, together, until the liquid can leave `DEEPEST_K` below bubble and approach
    and pinch are half of what was described; from `AMPLE_END` on the compressor again, to a perfect one.

    Parameters
    ----------
    machine : Machine
        As described; its exchangers are the least that it has.
    quality : array_like
        0 to 1. [-]
    """
    u = np.asarray(quality, dtype=np.float64)
    better = np.clip((u - USUAL_END) / (AMPLE_END - USUAL_END), 0.0, 1.0)
    least = machine.subcooling_k or 0.0
    return Design(
        efficiency=np.interp(u, [0.0, USUAL_END, AMPLE_END, 1.0], [*USUAL, USUAL[1], 1.0]),
        subcooling_k=least + better * max(DEEPEST_K - least, 0.0),
        approach_k=machine.approach_k * (1.0 - 0.5 * better),
        pinch_k=machine.pinch_k * (1.0 - 0.5 * better),
    )


def peak_efficiency(machine: Machine) -> float:
    """Highest isentropic efficiency of the compressor over the pressure ratio, before its scale."""
    return float(machine.compressor.efficiency(np.linspace(1.5, 12.0, 50)).max())


def anchor_one(machine: Machine, high_side: Isobars | Condensing, rating: Rating, key: str) -> Anchored:
    """Find a machine of plausible parts that has the rated COP exactly, and its swept volume.

    One number, the quality of its parts, is raised until the COP is met (see `design`). A COP that is below
    that of the poorest says that more of the electricity never reaches the gas, so `gas_share` falls.

    Parameters
    ----------
    machine : Machine
        All of it but the scale. Its approach is meant at the rating.
    high_side : Isobars or Condensing
        From `sample` for the same machine.
    rating : Rating
        Checked already.
    key : str
        Where the rating came from, for messages.

    Raises
    ------
    InputError
        If no such machine has that COP, or none works at the point.
    """
    peak = peak_efficiency(machine)

    def cop_of(quality: Array) -> Array:
        parts = design(machine, quality)
        return solve(
            machine,
            high_side,
            *rating[:3],
            scale=parts.efficiency / peak,
            approach_k=parts.approach_k,
            pinch_k=parts.pinch_k,
            deepest_k=parts.subcooling_k,
        ).cop

    quality = np.linspace(0.0, 1.0, QUALITIES)
    cop = cop_of(quality)
    works = np.isfinite(cop)
    if not works.any():
        reason = why_not(machine.with_scale(USUAL[1] / peak), high_side, rating)
        raise InputError(f"{key}.rated_at: the heat pump cannot work at its rated point, {rating}: {reason}")
    quality, cop = quality[works], cop[works]
    share = machine.compressor.gas_share
    if rating.cop > cop.max():
        best = design(machine, quality[int(cop.argmax())])
        raise InputError(
            f"{key}.cop: {rating.cop:g} at {rating} is beyond reach: with a perfect compressor and "
            f"ample exchangers (evaporating {best.approach_k:g} K below the source, pinch "
            f"{best.pinch_k:g} K) {machine.refrigerant.name} has {cop.max():.2f}"
        )
    if rating.cop <= cop[0]:
        share *= rating.cop / float(cop[0])
        if share < LEAST_SHARE:
            raise InputError(
                f"{key}.cop: {rating.cop:g} at {rating} is too low: even a poor compressor of this cycle has "
                f"{cop[0]:.2f}, and at least {LEAST_SHARE:.0%} of the electricity must reach the refrigerant"
            )
        met = float(quality[0])
    else:
        for _ in range(3):
            k = int(np.argmax(cop >= rating.cop))  # the poorest parts that have it
            quality = np.linspace(quality[k - 1], quality[k], 17)
            cop = cop_of(quality)
        k = max(int(np.argmax(cop >= rating.cop)), 1)
        met = float(np.interp(rating.cop, cop[k - 1 : k + 1], quality[k - 1 : k + 1]))
    parts = design(machine, met)
    found = replace(
        machine,
        compressor=replace(machine.compressor, scale=float(parts.efficiency) / peak, gas_share=share),
        approach_k=float(parts.approach_k),
        pinch_k=float(parts.pinch_k),
        deepest_subcooling_k=float(parts.subcooling_k) if machine.subcooling_k is not None else 0.0,
    )
    at = solve(found, high_side, *rating[:3])
    swept = rating.capacity_w / float(at.volumetric[0])
    coil = Coil(found.approach_k, float(taken(found, at)[0]))
    return Anchored(found, swept, coil, at.cop / rating.cop - 1.0, np.zeros(1))


def anchor_many(
    machine: Machine, high_side: Isobars | Condensing, ratings: Sequence[Rating], key: str
) -> Anchored:
    """Least squares on the logarithms of COP and capacity: scale of efficiency, approach, swept volume.

    The evaporator has one conductance, so that a guess of the approach at the first point says what it is at
    the others (`evaporator`).

    Parameters
    ----------
    machine : Machine
        All of it but scale and approach.
    high_side : Isobars or Condensing
        From `sample` for the same machine.
    ratings : sequence of Rating
        Two or more, checked already.
    key : str
        Where the ratings came from, for messages.

    Raises
    ------
    InputError
        If no guess lets the machine work at every point.
    """
    points = np.array(ratings, dtype=np.float64)
    source, water_in, water_out = points[:, 0], points[:, 1], points[:, 2]
    peak = peak_efficiency(machine)
    (low_s, high_s), (low_a, high_a) = (0.2 / peak, 1.0 / peak), APPROACH_RANGE
    best = (1.0, machine.approach_k)
    for _ in range(5):
        scale, approach = np.linspace(low_s, high_s, TRIED), np.linspace(low_a, high_a, TRIED)
        curves = _over_approaches(machine, high_side, points, scale)
        error = np.array([_misfit(curve, points, approach) for curve in curves])
        if not np.isfinite(error).any():
            raise InputError(
                f"{key}: no efficiency and approach let a heat pump with {machine.refrigerant.name} work at "
                f"every one of the {len(ratings)} rated points within its limits; give fewer points "
                "or wider limits"
            )
        i, j = np.unravel_index(int(np.nanargmin(error)), error.shape)
        best = (float(scale[i]), float(approach[j]))
        half_s, half_a = (high_s - low_s) / (TRIED - 1), (high_a - low_a) / (TRIED - 1)
        low_s, high_s = max(best[0] - half_s, low_s), min(best[0] + half_s, high_s)
        low_a, high_a = max(best[1] - half_a, APPROACH_RANGE[0]), min(best[1] + half_a, APPROACH_RANGE[1])
    fitted = replace(machine.with_scale(best[0]), approach_k=best[1])
    coil = coil_at(fitted, high_side, ratings[0][:3])
    at, _ = solve_with_coil(fitted, high_side, coil, source, water_in, water_out)
    swept = float(np.exp(np.mean(np.log(points[:, 3] / at.volumetric))))
    return Anchored(
        fitted, swept, coil, at.cop / points[:, 4] - 1.0, swept * at.volumetric / points[:, 3] - 1.0
    )


class _Curve(NamedTuple):
    """The cycle at every rated point over `DIFFERENCES`, each (n_difference, n_rating)."""

    log_cop: Array
    log_volumetric: Array
    log_heat: Array  # taken from the source, per swept volume


def _over_approaches(
    machine: Machine, high_side: Isobars | Condensing, points: Array, scale: Array
) -> list[_Curve]:
    """Of each scale of efficiency the cycle over a few approaches: its logarithms are nearly straight."""
    found = solve(
        machine,
        high_side,
        points[:, 0],
        points[:, 1],
        points[:, 2],
        scale=scale[:, None, None],
        approach_k=DIFFERENCES[:, None],
    )
    shape = scale.size, DIFFERENCES.size, len(points)
    columns = [np.log(x).reshape(shape) for x in (found.cop, found.volumetric, taken(machine, found))]
    return [_Curve(*(x[k] for x in columns)) for k in range(scale.size)]


def _misfit(curve: _Curve, points: Array, approach: Array) -> Array:
    """Sum of squares of the logarithms of COP and capacity, for each approach (n,) at the first of `points`.

    NaN where the machine does not work at every point.
    """
    works = np.isfinite(curve.log_heat)
    cop, capacity = np.full((2, approach.size, len(points)), np.nan)
    for i, point in enumerate(points):
        if works[:, i].sum() < 2:
            return np.full(approach.size, np.nan)
        difference, heat = DIFFERENCES[works[:, i]], curve.log_heat[works[:, i], i]
        if i == 0:
            per_heat = np.log(approach) - np.interp(approach, difference, heat)
        # difference over heat is the inverse of the conductance, and rises with the difference
        inverse = np.log(difference) - heat
        met = np.interp(per_heat, inverse, np.log(difference), left=np.nan, right=np.nan)
        cop[:, i] = np.interp(np.exp(met), difference, curve.log_cop[works[:, i], i]) - math.log(point[4])
        capacity[:, i] = np.interp(np.exp(met), difference, curve.log_volumetric[works[:, i], i])
        capacity[:, i] -= math.log(point[3])
    capacity = capacity - capacity.mean(axis=1, keepdims=True)
    return np.asarray(np.sum(cop**2 + capacity**2, axis=1))
