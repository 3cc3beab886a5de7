"""Anchor the cycle to what is known of the machine: one rated point exactly, or several as well as it can."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.errors import InputError
from hpwhsim.heatpump.cycle import solve
from hpwhsim.heatpump.limits import Limits
from hpwhsim.heatpump.machine import Machine
from hpwhsim.heatpump.states import KELVIN, Condensing, Isobars

Array = NDArray[np.float64]

USUAL = (0.55, 0.80)  # peak isentropic efficiency of hermetic compressors; common practice, no source
DEEPER = (10.0, 15.0, 20.0, 25.0, 30.0, 40.0)  # K of subcooling that a better condenser reaches
LEAST_SHARE = 0.5  # of the electricity that reaches the refrigerant
APPROACH_RANGE = (1.0, 25.0)  # K, searched where several points are given
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


class Anchored(NamedTuple):
    """A machine that meets its ratings."""

    machine: Machine
    swept: float  # m³/s, scale of capacity: W over the J/m³ of the cycle
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
            f"{limits.pressure_ratio:g} makes such water with gas of at most {limits.discharge_c:g} °C, "
            f"evaporating not below {limits.lowest_evaporating_c:g} °C"
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


def _designs(machine: Machine) -> list[Machine]:
    """The machine as described, and ever better exchangers."""
    found = [machine]
    if machine.subcooling_k is not None:
        found += [replace(machine, deepest_subcooling_k=k) for k in DEEPER if k > machine.subcooling_k]
    found += [replace(found[-1], approach_k=machine.approach_k * share) for share in (0.8, 0.65, 0.5)]
    found += [replace(found[-1], pinch_k=machine.pinch_k * share) for share in (0.75, 0.5)]
    return found


def anchor_one(machine: Machine, high_side: Isobars | Condensing, rating: Rating, key: str) -> Anchored:
    """Find a machine of plausible parts that has the rated COP exactly, and its swept volume.

    Isentropic efficiency is scaled until the COP is met, its peak within `USUAL`. A COP that would need more
    says that the exchangers are better than described: in steps the liquid is subcooled more, by up to 40 K,
    then the approach shrinks to a half, then the pinch; only then may the efficiency rise to 1. A COP
    that would need less says that more of the electricity never reaches the gas, so `gas_share` falls.

    Parameters
    ----------
    machine : Machine
        All of it but the scale.
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
    peak = float(machine.compressor.efficiency(np.linspace(1.5, 12.0, 50)).max())
    low, usual, perfect = USUAL[0] / peak, USUAL[1] / peak, 1.0 / peak
    designs = _designs(machine)
    for design in designs:
        last = design is designs[-1]
        tried = np.linspace(low, perfect if last else usual, 33)
        cop = solve(design, high_side, *rating[:3], scale=tried).cop
        works = np.isfinite(cop)
        if not works.any():
            if last:
                reason = why_not(machine.with_scale(usual), high_side, rating)
                raise InputError(
                    f"{key}.rated_at: the machine cannot work at its rated point, {rating}: {reason}"
                )
            continue
        tried, cop = tried[works], cop[works]
        if rating.cop > cop[-1]:
            if last:
                raise InputError(
                    f"{key}.cop: {rating.cop:g} at {rating} is beyond reach: with a perfect compressor and "
                    f"ample exchangers (evaporating {design.approach_k:g} K below the source, pinch "
                    f"{design.pinch_k:g} K) {design.refrigerant.name} has {cop[-1]:.2f}"
                )
            continue
        return _exactly(design, high_side, rating, key, tried, cop)
    raise AssertionError("the last design returns or raises")


def _exactly(
    design: Machine, high_side: Isobars | Condensing, rating: Rating, key: str, tried: Array, cop: Array
) -> Anchored:
    """The machine of `design` with the rated COP, not above the last of `cop` at the scales `tried`."""
    if rating.cop < cop[0]:
        share = design.compressor.gas_share * rating.cop / float(cop[0])
        if share < LEAST_SHARE:
            raise InputError(
                f"{key}.cop: {rating.cop:g} at {rating} is too low: even a poor compressor of this cycle has "
                f"{cop[0]:.2f}, and at least {LEAST_SHARE:.0%} of the electricity must reach the refrigerant"
            )
        scale = float(tried[0])
        design = replace(design, compressor=replace(design.compressor, gas_share=share))
    else:
        for _ in range(3):
            k = min(max(int(np.searchsorted(cop, rating.cop)), 1), tried.size - 1)
            tried = np.linspace(tried[k - 1], tried[k], 17)
            cop = solve(design, high_side, *rating[:3], scale=tried).cop
        scale = float(np.interp(rating.cop, cop, tried))
    found = design.with_scale(scale)
    at = solve(found, high_side, *rating[:3])
    swept = rating.capacity_w / float(at.volumetric[0])
    return Anchored(found, swept, at.cop / rating.cop - 1.0, np.zeros(1))


def anchor_many(
    machine: Machine, high_side: Isobars | Condensing, ratings: Sequence[Rating], key: str
) -> Anchored:
    """Least squares on the logarithms of COP and capacity: scale of efficiency, approach, swept volume.

    The approach moves with the source, so every guess of (scale, approach) is one condition of one call.

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
    peak = float(machine.compressor.efficiency(np.linspace(1.5, 12.0, 50)).max())
    (low_s, high_s), (low_a, high_a) = (0.2 / peak, 1.0 / peak), APPROACH_RANGE
    best = (1.0, machine.approach_k)
    for _ in range(5):
        scale, approach = (
            a.ravel() for a in np.meshgrid(np.linspace(low_s, high_s, 13), np.linspace(low_a, high_a, 13))
        )
        shifted = points[None, :, 0] + machine.approach_k - approach[:, None]
        found = solve(machine, high_side, shifted, points[:, 1], points[:, 2], scale=scale[:, None])
        cop = np.log(found.cop.reshape(shifted.shape) / points[:, 4])
        capacity = np.log(found.volumetric.reshape(shifted.shape) / points[:, 3])
        capacity = capacity - capacity.mean(axis=1, keepdims=True)
        error = np.sum(cop**2 + capacity**2, axis=1)
        if not np.isfinite(error).any():
            raise InputError(
                f"{key}: no efficiency and approach let a machine with {machine.refrigerant.name} work at "
                f"every one of the {len(ratings)} rated points within its limits; give fewer points "
                "or wider limits"
            )
        k = int(np.nanargmin(error))
        best = (float(scale[k]), float(approach[k]))
        half_s, half_a = (high_s - low_s) / 12.0, (high_a - low_a) / 12.0
        low_s, high_s = max(best[0] - half_s, low_s), min(best[0] + half_s, high_s)
        low_a, high_a = max(best[1] - half_a, APPROACH_RANGE[0]), min(best[1] + half_a, APPROACH_RANGE[1])
    fitted = replace(machine.with_scale(best[0]), approach_k=best[1])
    at = solve(fitted, high_side, points[:, 0], points[:, 1], points[:, 2])
    swept = float(np.exp(np.mean(np.log(points[:, 3] / at.volumetric))))
    return Anchored(fitted, swept, at.cop / points[:, 4] - 1.0, swept * at.volumetric / points[:, 3] - 1.0)
