"""Standing water in lines outdoors: when it freezes, and what an outage in any hour of the year would do.

A metre of water and pipe wall has one temperature, inside insulation that holds nearly all of the resistance
(so this is also right for ice). It cools exponentially towards the air; at 0 °C it freezes at the rate at
which the insulation lets the latent heat out; the ice then cools on. Supercooling, which lets real water
stand below 0 °C for a while, is left out, and so are bare valves and fittings, which freeze first.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.source.outdoor_lines import WATER_HEAT, Glycol, TraceHeat, WaterLine

HOUR = 3600.0  # s
NEAR_ZERO = 1e-6  # K: air so near 0 °C neither freezes nor thaws, in any year
MELTING = 333.6e3 * 999.84  # J per m³ of water; 333.6 kJ/kg unverified
ICE_HEAT = 2.06e3 * 999.84  # J/K per m³ of water; ice near -5 °C (unverified)


def freezing_hours(outdoor_c: ArrayLike, standing: ArrayLike = 1.0) -> tuple[float, float]:
    """Hours of the year with air below 0 °C: all, and those in which the water stands.

    Parameters
    ----------
    outdoor_c : array_like of float, shape (n,)
        Outdoor air by hour. [°C]
    standing : array_like of float, one number or shape (n,)
        Share of each hour in which the water stands.

    Returns
    -------
    below, below_and_standing : float
        [h]
    """
    below = np.asarray(outdoor_c, dtype=np.float64) < 0.0
    still = np.where(below, np.broadcast_to(np.asarray(standing, dtype=np.float64), below.shape), 0.0)
    return float(np.count_nonzero(below)), float(still.sum())


class Outage(NamedTuple):
    """What an outage does to standing water, for each hour of the year in which it may begin."""

    hours_to_zero: Array  # (n,) h from its start until ice begins; NaN: none begins
    ice_share: Array  # (n,) largest share of the water that is frozen at once
    ice_at_end: Array  # (n,) share frozen when it ends
    ice_begins: int  # start hours from which ice begins
    blocked: int  # start hours from which more than `blocking` of the water freezes
    worst_start: int  # row of the start that takes most heat out of the pipe


def outage(
    line: WaterLine, outdoor_c: ArrayLike, hours: float, start_c: ArrayLike, *, blocking: float = 0.2
) -> Outage:
    """Let the water of one pipe stand through an outage that begins in any hour of the year.

    Within each hour the air is constant and the solution exact: exponential while all is water or all is
    ice, linear while both are there. An outage at the end of the year runs on into its beginning.

    Parameters
    ----------
    line : WaterLine
        The pipe; the one with the colder water is the one to ask about.
    outdoor_c : array_like of float, shape (n,)
        Outdoor air by hour. [°C]
    hours : float
        Length of the outage, above 0, at most n. [h]
    start_c : array_like of float, one number or shape (n,)
        Water when it begins, 0 or more. [°C]
    blocking : float
        Share of ice taken to block and endanger the pipe. The first ice is a mesh of needles that fills the
        bore long before all is frozen: 0.2 is our choice, no source.

    Returns
    -------
    Outage

    Raises
    ------
    InputError
        If the hours, the water or the air are out of range.
    """
    air = np.asarray(outdoor_c, dtype=np.float64)
    start = np.broadcast_to(np.asarray(start_c, dtype=np.float64), air.shape)
    if not 0.0 < hours <= air.size:
        raise OutOfRangeError(f"outage: got {hours:g} h; allowed above 0, at most {air.size} h")
    if not (np.isfinite(air).all() and np.all((start >= 0.0) & (start <= 100.0))):
        raise InputError("outage: got air that is no number or water outside 0 to 100 °C; allowed: neither")
    air = np.where(np.abs(air) < NEAR_ZERO, 0.0, air)
    thermal = _Thermal(
        line.resistance,
        WATER_HEAT * line.bore + line.wall,
        ICE_HEAT * line.bore + line.wall,
        MELTING * line.bore,
    )
    heat = thermal.liquid * start
    least = heat.copy()
    to_zero = np.full(air.shape, np.nan)
    for hour in range(math.ceil(hours)):
        seconds = min(HOUR, HOUR * (hours - hour))
        now = np.roll(air, -hour)  # the air this long after each start
        heat, reached = _stand(heat, now, seconds, thermal)
        first = np.isnan(to_zero) & np.isfinite(reached)
        to_zero[first] = hour + reached[first] / HOUR
        least = np.minimum(least, heat)  # within an hour it only falls or only rises
    ice = np.clip(-least / thermal.latent, 0.0, 1.0)
    return Outage(
        hours_to_zero=to_zero,
        ice_share=ice,
        ice_at_end=np.clip(-heat / thermal.latent, 0.0, 1.0),
        ice_begins=int(np.count_nonzero(ice > 0.0)),
        blocked=int(np.count_nonzero(ice > blocking)),
        worst_start=int(np.argmin(least)),
    )


class _Thermal(NamedTuple):
    """One metre of pipe with its water."""

    resistance: float  # m K/W
    liquid: float  # J/mK
    ice: float  # J/mK
    latent: float  # J/m


def _stand(heat: Array, air: Array, seconds: float, pipe: _Thermal) -> tuple[Array, Array]:
    """Heat after `seconds` in constant air, and when in them freezing began [s] (NaN: it did not).

    `heat` is that of one metre above water at 0 °C [J/m]: above 0 it is water, below ``-latent`` ice, between
    both. Towards its end state it passes up to three stretches: alone, both, alone again.
    """
    cold, warm = air < 0.0, air > 0.0
    divisor = np.where(cold | warm, air, 1.0)  # where the air is at 0 °C nothing crosses 0 °C
    left = np.full(heat.shape, seconds)
    alone = ((heat > 0.0, cold, pipe.liquid, 0.0), (heat < -pipe.latent, warm, pipe.ice, -pipe.latent))

    def relaxed(capacity: float, base: float) -> Array:
        """Heat of water or ice alone after the time left."""
        excess = (heat - base) / capacity - air
        return np.asarray(base + capacity * (air + excess * np.exp(-left / (pipe.resistance * capacity))))

    for here, crossing, capacity, base in alone:
        to_cross = np.log1p(np.where(here & crossing, -(heat - base) / capacity / divisor, 0.0))
        takes = pipe.resistance * capacity * to_cross
        crosses = here & crossing & (takes <= left)
        heat = np.where(here, np.where(crosses, base, relaxed(capacity, base)), heat)
        left = np.where(here, np.where(crosses, left - takes, 0.0), left)

    both = (left > 0.0) & (heat <= 0.0) & (heat >= -pipe.latent)
    began = np.where(both & cold & (heat == 0.0), seconds - left, np.nan)
    moved = np.clip(heat + air / pipe.resistance * left, -pipe.latent, 0.0)
    at_edge = (moved == 0.0) | (moved == -pipe.latent)
    rest = np.maximum(left - (moved - heat) * pipe.resistance / divisor, 0.0)
    left = np.where(both & at_edge & (cold | warm), rest, 0.0)
    heat = np.where(both, moved, heat)

    for edge, here in ((-pipe.latent, cold), (0.0, warm)):
        capacity = pipe.ice if edge < 0.0 else pipe.liquid
        heat = np.where(both & here & (heat == edge), relaxed(capacity, edge), heat)
    return heat, began


def water_line_cautions(
    outdoor_c: ArrayLike,
    *,
    trace: TraceHeat | None = None,
    glycol: Glycol | None = None,
    outage_hours: float | None = None,
    stands: Outage | None = None,
) -> tuple[str, ...]:
    """What the designer of water lines outdoors should look at.

    Parameters
    ----------
    outdoor_c : array_like of float, shape (n,)
        Outdoor air by hour. [°C]
    trace : TraceHeat, optional
        The heat trace, if there is one.
    glycol : Glycol, optional
        What runs outdoors in place of water.
    outage_hours, stands : float and Outage, optional
        Length of the outage that was tried, and what it did. [h]

    Returns
    -------
    tuple of str
        Empty where the air stays at 0 °C or above.
    """
    air = np.asarray(outdoor_c, dtype=np.float64)
    below, _ = freezing_hours(air)
    if not below:
        return ()
    coldest = float(air.min())
    said = []
    if glycol is not None:
        if glycol.freezing_c > coldest:
            said.append(
                f"glycol loop: first crystals at {glycol.freezing_c:.1f} degC, and the coldest hour has "
                f"{coldest:.1f} degC; a stronger mixture is usual"
            )
        return tuple(said)
    said.append(
        f"water lines outdoors: {below:.0f} hours of the year are below 0 degC. Heat trace, frost runs of "
        "the pump and controls all stop in an outage; common practice gives them emergency power, or drains "
        "the lines, or runs glycol outdoors. A licensed designer and the local code decide"
    )
    if trace is not None and trace.too_small.any():
        said.append(
            f"heat trace: too small to hold the lines in {int(trace.too_small.sum())} hours; its rating "
            f"does down to {trace.holds_to_c:.1f} degC of air, and the coldest hour has {coldest:.1f} degC"
        )
    if stands is not None and outage_hours is not None and stands.ice_begins:
        said.append(
            f"outage of {outage_hours:g} h: ice forms in standing water for {stands.ice_begins:,} of "
            f"{air.size:,} start hours, and may block the pipe for {stands.blocked:,}; the worst starts in "
            f"hour {stands.worst_start} of the year and freezes {float(stands.ice_share.max()):.0%}"
        )
    return tuple(said)
