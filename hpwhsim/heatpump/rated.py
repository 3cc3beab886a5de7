"""From a refrigerant and its rating, one point or several, to a performance map."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.heatpump.anchor import (
    Anchored,
    Rating,
    anchor_many,
    anchor_one,
    check,
    peak_efficiency,
    why_not,
)
from hpwhsim.heatpump.cycle import sample, solve
from hpwhsim.heatpump.evaporator import by_source, taken
from hpwhsim.heatpump.limits import Limits, usual_limits
from hpwhsim.heatpump.machine import ROBINSON_GROLL, Compressor, Cycle, Machine
from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.heatpump.refrigerants import refrigerant as known
from hpwhsim.heatpump.states import Condensing, Isobars
from hpwhsim.io.disk_cache import Arrays, cached, place

WaterSide = Literal["single-pass", "multi-pass", "wrap-around"]

COLDEST, HOTTEST = -40.0, 45.0  # °C, ends of the axis of source temperature
MOST_APPROACH = 15.0  # K, of the coldest source: of a rated 30 K, with half the heat of the rating
STEP = 0.5  # K, of the axes of source and inlet; bounds the interpolation error (see the tests)
LEAST_RISE = 3.0  # K, smallest difference between outlet and inlet of a single-pass machine
KEEP = 200  # maps that stay on disk; one is about 100 kB
MOST_LATEST = 8  # of them in memory
WRAPPED_RISE = 1.0  # K along a condenser wrapped around a tank: the water there hardly moves


class Parts(NamedTuple):
    """What was found of the machine behind a map."""

    efficiency: float  # peak isentropic efficiency of its compressor
    gas_share: float  # of the electricity that reaches the refrigerant
    subcooling_k: float  # of the liquid where the water is cold enough, K; NaN: one pinch above the water
    approach_k: float  # source minus evaporating temperature at the rating, of several at the first, K
    pinch_k: float  # K
    coil_heat_w: float  # that one module takes from its source there, W


class Fitted(NamedTuple):
    """A map fitted to one rating or to several, what machine that is, and how far it stays from them."""

    machine: PerformanceMap
    parts: Parts
    cop_residual: Array  # (n_rating,) COP of the cycle over the rated one, less 1
    capacity_residual: Array  # (n_rating,) the same of capacity

    @property
    def approach_k(self) -> float:
        """Source minus evaporating temperature at the rating, of several at the first. [K]"""
        return self.parts.approach_k


def fit_one(
    refrigerant: str,
    capacity_w: float,
    cop: float,
    rated_source_c: float,
    rated_water_in_c: float,
    rated_water_out_c: float,
    outlet_c: float | Sequence[float],
    *,
    water_side: WaterSide = "single-pass",
    rise_k: float = 5.0,
    approach_k: float = 10.0,
    subcooling_k: float | None = 5.0,
    injection: bool = False,
    limits: Limits | None = None,
    key: str = "plant.heat_pump",
) -> Fitted:
    """Map of a machine from its refrigerant and one rated point, which it reproduces exactly.

    The cycle is scaled twice: isentropic efficiency, until its COP is the rated one (see `anchor_one` for
    ratings that are better or worse than a usual machine); and swept volume, until its capacity is. Kept
    on disk. Capacity less power is what the source gives, net of the small share of the
    electricity (fan, shell) that warms the machine's surroundings.

    Parameters
    ----------
    refrigerant : str
        Such as ``R-744``.
    capacity_w, cop : float
        Heat to the water of one module at the rated point [W], and its COP with all the electricity that
        the rating counts.
    rated_source_c, rated_water_in_c, rated_water_out_c : float
        The rated point. [°C]
    outlet_c : float or sequence of float
        Single pass: outlet temperature; or several, ascending, between which the map is linear (5 K apart,
        the error reaches 2 %; a cell that touches an inlet too warm for its lower outlet is lost).
        Multi-pass and wrapped: the highest water temperature the machine makes. [°C]
    water_side : {"single-pass", "multi-pass", "wrap-around"}
        Single pass makes the outlet temperature in one go; multi-pass adds `rise_k`; wrapped condenses
        around a tank whose temperature is the inlet.
    rise_k : float
        Rise of the water per pass of a multi-pass machine. [K]
    approach_k : float
        Source minus evaporating temperature at the rating: 10 for air coils, 5 for water (common practice);
        elsewhere it is in proportion to the heat that the evaporator takes. [K]
    subcooling_k : float or None
        Of the liquid below bubble [K]; None: cooled to one pinch above the water inlet. R-744: not used.
    injection : bool
        Two stages with vapour injection; not for R-744.
    limits : Limits, optional
        In place of the usual limits of the refrigerant.
    key : str
        Where the numbers came from, for messages.

    Returns
    -------
    Fitted
        Its map has a source of -40 to 45 °C and an inlet of 0 °C to the highest, in steps of 0.5 K.

    Raises
    ------
    InputError
        If the rating is above the thermodynamic limit or beyond reach of this cycle, or the outlet is.
    """
    rating = Rating(rated_source_c, rated_water_in_c, rated_water_out_c, 1.0, cop)
    check(rating._replace(capacity_w=capacity_w), key)
    machine = _machine(refrigerant, approach_k, subcooling_k, injection, limits, key)
    outlets = _outlets(outlet_c, water_side, rise_k, key)
    inputs = repr((machine, rating, outlets, water_side, rise_k))

    def build() -> Arrays:
        high_side = sample(machine)
        anchored = anchor_one(machine, high_side, rating, key)
        m = _map(anchored, high_side, outlets, water_side, rise_k, rating, key)
        return _kept(_at_rating(m, rating), anchored)

    unit = _fitted(_made(inputs, build))
    m = unit.machine
    return unit._replace(
        machine=m._replace(capacity_w=m.capacity_w * capacity_w, power_w=m.power_w * capacity_w),
        parts=unit.parts._replace(coil_heat_w=unit.parts.coil_heat_w * capacity_w),
    )


def _kept(m: PerformanceMap, anchored: Anchored) -> Arrays:
    """A fit as arrays, for the disk."""
    machine = anchored.machine
    subcooling = machine.subcooling_k
    parts = Parts(
        efficiency=machine.compressor.scale * peak_efficiency(machine),
        gas_share=machine.compressor.gas_share,
        subcooling_k=math.nan if subcooling is None else max(subcooling, machine.deepest_subcooling_k),
        approach_k=machine.approach_k,
        pinch_k=machine.pinch_k,
        coil_heat_w=anchored.swept * anchored.coil.heat,
    )
    return m._asdict() | {
        "parts": np.array(parts),
        "cop_residual": anchored.cop_residual,
        "capacity_residual": anchored.capacity_residual,
    }


def _fitted(found: Arrays) -> Fitted:
    """A fit from its arrays."""
    return Fitted(
        PerformanceMap(*(found[name] for name in PerformanceMap._fields)),
        Parts(*found["parts"].tolist()),
        found["cop_residual"],
        found["capacity_residual"],
    )


def map_from_ratings(
    refrigerant: str,
    ratings: Sequence[Rating],
    outlet_c: float | Sequence[float],
    *,
    water_side: WaterSide = "single-pass",
    rise_k: float = 5.0,
    subcooling_k: float | None = 5.0,
    injection: bool = False,
    limits: Limits | None = None,
    key: str = "plant.heat_pump",
) -> Fitted:
    """Map of a machine from its refrigerant and several rated points, met as well as one cycle can.

    Isentropic efficiency, approach and swept volume are found by least squares; what is left is in the
    residuals, for the caller to report. Kept on disk.

    Parameters
    ----------
    refrigerant : str
        Such as ``R-290``.
    ratings : sequence of Rating
        Two or more points.
    outlet_c, water_side, rise_k, subcooling_k, injection, limits, key
        As for `fit_one`.

    Returns
    -------
    Fitted
        The map, as from `fit_one`, and its residuals.

    Raises
    ------
    InputError
        If a rating is impossible, or no machine works at all of them.
    """
    if len(ratings) < 2:
        raise InputError(f"{key}: two or more rated points are needed, got {len(ratings)}")
    for i, rating in enumerate(ratings, start=1):
        check(rating, f"{key}, rated point {i}")
    machine = _machine(refrigerant, 10.0, subcooling_k, injection, limits, key)
    outlets = _outlets(outlet_c, water_side, rise_k, key)

    def build() -> Arrays:
        high_side = sample(machine)
        anchored = anchor_many(machine, high_side, ratings, key)
        return _kept(_map(anchored, high_side, outlets, water_side, rise_k, ratings[0], key), anchored)

    return _fitted(_made(repr((machine, list(ratings), outlets, water_side, rise_k)), build))


_latest: dict[str, Arrays] = {}  # by what they were made from


def _made(inputs: str, build: Callable[[], Arrays]) -> Arrays:
    """What `build` makes of `inputs`: made before in this process, kept on disk, or built now."""
    found = _latest.pop(inputs, None)
    if found is None:
        found = cached(_place(inputs), KEEP, build)
    _latest[inputs] = found  # the latest at the end
    for old in list(_latest)[:-MOST_LATEST]:
        del _latest[old]
    return {name: values.copy() for name, values in found.items()}


def _place(inputs: str) -> Path:
    """Where the map of `inputs` is kept: it depends on the sources of this room and its table."""
    here = Path(__file__).parent
    sources = [*here.glob("*.py"), here.parent / "tables" / "refrigerants.csv"]
    return place("maps", inputs, sources, ("CoolProp", "numpy"))


def _machine(
    refrigerant: str,
    approach_k: float,
    subcooling_k: float | None,
    injection: bool,
    limits: Limits | None,
    key: str,
) -> Machine:
    of = known(refrigerant, f"{key}.refrigerant")
    for name, value in (
        ("approach", approach_k),
        ("subcooling", 0.0 if subcooling_k is None else subcooling_k),
    ):
        if not 0.0 <= value <= 40.0:
            raise InputError(f"{key}.{name}: must be 0 to 40 K, got {value:g}")
    transcritical = of.name == "R-744"
    if transcritical and injection:
        raise InputError(f"{key}.injection: vapour injection is not modelled for R-744")
    return Machine(
        refrigerant=of,
        compressor=ROBINSON_GROLL if transcritical else Compressor(),
        limits=limits or usual_limits(of.name),
        approach_k=approach_k,
        subcooling_k=None if transcritical else subcooling_k,
        injection=injection,
    )


def _outlets(
    outlet_c: float | Sequence[float], water_side: WaterSide, rise_k: float, key: str
) -> tuple[float, ...]:
    outlets = tuple(float(x) for x in np.atleast_1d(np.asarray(outlet_c, dtype=np.float64)))
    if not all(15.0 <= x <= 100.0 for x in outlets):
        raise InputError(
            f"{key}.outlet_temperature: must be 15 to 100 °C, got {', '.join(f'{x:g}' for x in outlets)}"
        )
    if any(b <= a for a, b in pairwise(outlets)):
        raise InputError(f"{key}.outlet_temperature: must ascend, got {', '.join(f'{x:g}' for x in outlets)}")
    if water_side == "multi-pass" and not 0.5 <= rise_k <= max(outlets):
        raise InputError(f"{key}.rise: must be 0.5 K to the outlet temperature, got {rise_k:g}")
    return outlets


def _even(low: float, high: float) -> Array:
    return np.linspace(low, high, max(math.ceil((high - low) / STEP), 1) + 1)


def _map(
    anchored: Anchored,
    high_side: Isobars | Condensing,
    outlets: tuple[float, ...],
    water_side: WaterSide,
    rise_k: float,
    rating: Rating,
    key: str,
) -> PerformanceMap:
    """Solve the cycle over evaporating temperature and water, and read it where source and coil meet it.

    Raises
    ------
    InputError
        If the machine reaches an outlet temperature at no point of the grid.
    """
    source, limits = _even(COLDEST, HOTTEST), anchored.machine.limits
    coldest = max(limits.lowest_evaporating_c, COLDEST - MOST_APPROACH)
    evaporating = _even(coldest, min(limits.highest_evaporating_c, HOTTEST))
    if water_side == "single-pass":
        rise, outlet = LEAST_RISE, np.array(outlets)
        inlet = _even(0.0, max(outlets) - rise)
        t, i, o = np.meshgrid(evaporating, inlet, outlet, indexing="ij")
        o = np.where(o - i < rise - 1e-9, np.nan, o)
    else:
        rise, outlet = rise_k if water_side == "multi-pass" else WRAPPED_RISE, np.array([np.nan])
        inlet = _even(0.0, max(outlets) - rise)
        t, i, _ = np.meshgrid(evaporating, inlet, outlet, indexing="ij")
        o = i + rise
    at_refrigerant = replace(anchored.machine, approach_k=0.0)
    found = _solve_where_finite(at_refrigerant, high_side, t.ravel(), i.ravel(), o.ravel())
    heat = taken(anchored.machine, found).reshape(t.shape)
    values = anchored.swept * found.volumetric, anchored.swept * found.volumetric / found.cop
    capacity, power = by_source(
        source, evaporating, (values[0].reshape(t.shape), values[1].reshape(t.shape)), heat, anchored.coil
    )

    hottest = capacity if water_side == "single-pass" else capacity[:, -1:, :]
    works = np.isfinite(hottest).any(axis=(0, 1))
    if not works.all():
        beyond = float(np.asarray(outlets)[-1] if water_side != "single-pass" else outlet[~works][0])
        asked = rating._replace(
            water_in_c=beyond - rise if water_side != "single-pass" else min(10.0, beyond - rise)
        )
        asked = asked._replace(water_out_c=beyond)
        raise InputError(
            f"{key}.outlet_temperature: {anchored.machine.refrigerant.name} does not reach {beyond:g} °C at "
            f"any source from {COLDEST:g} to {HOTTEST:g} °C; at {asked}: "
            f"{why_not(anchored.machine, high_side, asked)}"
        )
    return PerformanceMap(source, inlet, outlet, capacity, power)


def _solve_where_finite(
    machine: Machine, high_side: Isobars | Condensing, s: Array, i: Array, o: Array
) -> Cycle:
    """Solve the conditions whose outlet is a number; NaN for the others."""
    real = np.isfinite(o)
    spread = np.full((len(Cycle._fields), s.size), np.nan)
    spread[:, real] = solve(machine, high_side, s[real], i[real], o[real])
    return Cycle(*spread)


def _at_rating(m: PerformanceMap, rating: Rating) -> PerformanceMap:
    """The map with its linear look-up, up to some 0.1 % off between nodes, made exact at the rating."""
    point = rating[:3]
    capacity, power = _between(m, m.capacity_w, point), _between(m, m.power_w, point)
    if not (math.isfinite(capacity) and math.isfinite(power)):
        return m  # rated at an outlet the map does not hold: the cycle is exact there
    exact = rating.capacity_w / rating.cop
    return m._replace(
        capacity_w=m.capacity_w * (rating.capacity_w / capacity), power_w=m.power_w * (exact / power)
    )


def _between(m: PerformanceMap, values: Array, point: tuple[float, ...]) -> float:
    """Linear look-up of `values` at `point`; NaN outside the axes. Spares compiling the kernel."""
    v = values
    for axis, x in zip((m.source_c, m.water_in_c, m.water_out_c), point, strict=True):
        if axis.size == 1:
            if axis[0] != x:  # another outlet, or NaN: a multi-pass machine, rated at another rise
                return math.nan
            v = v[0]
            continue
        if not axis[0] <= x <= axis[-1]:
            return math.nan
        i = min(int(np.searchsorted(axis, x, side="right")) - 1, axis.size - 2)
        u = (x - axis[i]) / (axis[i + 1] - axis[i])
        v = v[i] if u == 0.0 else v[i + 1] if u == 1.0 else (1.0 - u) * v[i] + u * v[i + 1]
    return float(v)
