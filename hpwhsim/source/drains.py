"""What flows to a wastewater plant: the drains of its own building or a street sewer, and how it fouls.

Water and heat of the building, step by step. Water drawn at the taps carries its heat above mains
temperature, of which a share is left at the pit; the other cold water (cisterns, cold taps, laundry, leaks)
warms a little in the building. With f the share of all the water that is drawn at use temperature, Tc mains::

    T0 = Tc + f (T_use - Tc) heat_left + (1 - f) pick-up

On its way down stacks and drains it comes nearer to what lies around them, Ta, half of it rooms and half soil
under the cellar, as water does in a pipe of the heat loss UA that carries the mean flow V::

    T = Ta + (T0 - Ta) e^(-UA / (rho c V))

So the flow is that of all the water, not of the hot water, and it is warm only when hot water is drawn; less
water arrives colder. Building drains and sewers are said to run between 10 and 21 °C (common practice, no
source), where homes are measured to let go of 25 to 30 °C [1]_: UA is chosen to bring the one to the other.

References
----------
.. [1] KWR, BTO 2015.208(s), domestic water of Dutch homes: 60 MJ of primary energy per m³ to heat, 25 to
   30 °C where it leaves the home. 60 MJ/m³ is 14.3 K if all of it reached the water.
.. [2] Dutch indoor use by a water utility, secondary: toilet 33.3 and washing machine 14.3 of about
   119.5 L per person and day.
.. [3] Building Services Engineering Research and Technology, doi:10.1177/0143624412463571, a spa's grey-water
   heat pump as measured: performance fell by 16.9 % in one month and by 20.1 % after about five.
"""

import math
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.io.user_csv import read_hours
from hpwhsim.source.wastewater import RHO_CP

Growth = Literal["saturating", "linear"]

MONTH_HOURS = HOURS / 12

DUTCH_RISE_K = 14.3  # at the taps, over all the water of the home [1]
DUTCH_MAINS_C = 11.5  # 11 to 12 there
DUTCH_COLD_SHARE = (33.3 + 14.3) / 119.5  # toilet and washing machine alone [2]

# Leaks and night flushes run at all hours: leaks are about 12 % of indoor use (Residential End Uses of Water,
# 2016, unverified), which is near a quarter of the cold water.
EVEN_SHARE = 0.25

MOST_SEWER = 1e5  # m³/h, of the main sewer of a large city
WARMEST_SEWER_C = 45.0  # a value above is taken for °F or a mistake; our choice


# W/K an apartment: 20 m of pipe 0.1 m wide at 1.4 W/mK. The months of a building with default use then lie
# within `USUAL_C` in every climate tried whose mains water does, -5 to 21 °C of soil. Choice of this program.
DRAIN_DEPTH = 2.5  # m, of the soil around drains under a cellar; common practice, no source
USUAL_C = (10.0, 21.0)  # of building drains and sewers; common practice, no source


class Sewage(NamedTuple):
    """What flows to the plant; both (step,), or (hour,) if read from a file."""

    flow: Array  # m³ in the step
    temperature: Array  # °C


def other_cold_litres(use_litres: float, use_temperature: float) -> float:
    """Litres of other cold water that go with a use of hot water, where the modeler states none.

    All the water of a home is taken to be so much that the heat of the taps warms it by 14.3 K, as in Dutch
    homes [1]_, and toilet and washing machine to be at least 39.8 % of it [2]_. The heat is bought energy,
    losses of the water heater included, so there may well be more cold water than this.

    Parameters
    ----------
    use_litres : float
        Drawn at the taps, at `use_temperature`. [L], or any unit of volume
    use_temperature : float
        12.5 to 100. [°C]

    Returns
    -------
    float
        In the unit of `use_litres`.

    Raises
    ------
    OutOfRangeError
        If the use is negative or the temperature is out of its range.

    Examples
    --------
    >>> round(other_cold_litres(143.8, 49.0), 1)  # 38 gal an apartment
    233.3
    """
    _inside("hot_water.daily_use_per_apartment", use_litres, 0.0, math.inf, " L")
    _inside("hot_water.use_temperature", use_temperature, DUTCH_MAINS_C + 1.0, 100.0, " degC")
    by_heat = (use_temperature - DUTCH_MAINS_C) / DUTCH_RISE_K
    return use_litres * (max(by_heat, 1.0 / (1.0 - DUTCH_COLD_SHARE)) - 1.0)


def cold_shape(hot_shape: ArrayLike) -> Array:
    """Hour-of-day shape of the other cold water where the modeler states none: people and a base.

    Three quarters follow the hot water, a quarter is even (leaks, night). Our choice; no measured shape of
    the cold water was found.

    Parameters
    ----------
    hot_shape : array_like of float, (24,)
        Shares of the hot water's day, summing to 1.

    Returns
    -------
    ndarray of float64, (24,)
        Shares of the day, summing to 1.
    """
    return np.asarray((1.0 - EVEN_SHARE) * np.asarray(hot_shape, dtype=np.float64) + EVEN_SHARE / 24.0)


def building_sewage(
    use: ArrayLike,
    mains: ArrayLike,
    cold: float,
    shape: ArrayLike,
    *,
    use_temperature: float,
    heat_left: float,
    cistern_pickup: float,
    room: float,
    lag: float,
    screening_loss: float,
    drain_loss: float = 0.0,
    around: ArrayLike = 0.0,
) -> Sewage:
    """Sewage of the building's own drains in each step of a typical year, which follows on itself.

    Parameters
    ----------
    use : array_like of float, (8760 * n,)
        Water drawn at the taps at use temperature, mixed from hot and mains, n steps an hour. [m³ in the
        step]
    mains : array_like of float, (8760,)
        [°C]
    cold : float
        Other cold water of the whole building. [m³ in a day]
    shape : array_like of float, (24,)
        Its shares of the day, hour by hour, summing to 1.
    use_temperature : float
        Where the mains is warmer, the taps draw it as it comes. [°C]
    heat_left : float
        Share of the heat added at the taps that is still there at the pit, 0 to 1.
    cistern_pickup : float
        Warming of the other cold water in cisterns and pipes, at most to `room`; 0 to 20. [K]
    room : float
        Temperature of the rooms. [°C]
    lag : float
        Mean time of the water on its way to the pit, 0 to 86400. The stack is taken as one mixed volume in
        proportion to what it holds: the times spread exponentially. [s]
    screening_loss : float
        Share of the sewage that goes past the exchanger with the screenings, 0 to below 1.
    drain_loss : float
        Heat loss of all stacks and drains to what lies around them, 0 or more. [W/K]
    around : array_like of float, (8760,) or one number
        That. [°C]

    Returns
    -------
    Sewage
        What reaches the exchanger: (1 - `screening_loss`) of the year's water and of its heat, less what the
        drains lose, to rounding.

    Raises
    ------
    OutOfRangeError
        If an argument is out of its range or has the wrong shape.
    """
    drawn = np.asarray(use, dtype=np.float64)
    hourly = np.asarray(mains, dtype=np.float64)
    of_day = np.asarray(shape, dtype=np.float64)
    if drawn.ndim != 1 or drawn.size == 0 or drawn.size % HOURS or not _all_inside(drawn, 0.0, math.inf):
        raise OutOfRangeError(
            f"water use: 8760 values or a multiple, zero or more, are needed, got shape {drawn.shape}, "
            f"lowest {np.min(drawn, initial=math.inf):g}"
        )
    if hourly.shape != (HOURS,) or not _all_inside(hourly, 0.0, 45.0):
        raise OutOfRangeError(f"mains: 8760 values of 0 to 45 degC are needed, got shape {hourly.shape}")
    if of_day.shape != (24,) or not _all_inside(of_day, 0.0, 1.0) or abs(of_day.sum() - 1.0) > 1e-3:
        raise OutOfRangeError(
            "plant.source.wastewater.cold_pattern: 24 shares that sum to 1 (within 0.001) are needed, got "
            f"{of_day.size} that sum to {of_day.sum():g}"
        )
    place = "plant.source.wastewater"
    _inside(f"{place}.cold_use", cold, 0.0, math.inf, " m3 in a day")
    _inside("hot_water.use_temperature", use_temperature, 0.0, 100.0, " degC")
    _inside(f"{place}.heat_left", heat_left, 0.0, 1.0, "")
    _inside(f"{place}.cistern_pickup", cistern_pickup, 0.0, 20.0, " K")
    _inside(f"{place}.room", room, 0.0, 40.0, " degC")
    _inside(f"{place}.lag", lag, 0.0, 86400.0, " s")
    _inside(f"{place}.screening_loss", screening_loss, 0.0, 0.999, "")
    _inside(f"{place}.drain_loss", drain_loss, 0.0, math.inf, " W/K")

    per_hour = drawn.size // HOURS
    cold_mains = np.repeat(hourly, per_hour)
    other = np.repeat(np.tile(cold * of_day / of_day.sum() / per_hour, 365), per_hour)
    added = heat_left * np.maximum(use_temperature - cold_mains, 0.0)
    pickup = np.clip(room - cold_mains, 0.0, cistern_pickup)
    # heat in K·m³ above 0 °C; both pass the stack alike, so their ratio stays between its past values
    dt = 3600.0 / per_hour
    flow = _after_stack(drawn + other, lag, dt)
    heat = _after_stack(drawn * (cold_mains + added) + other * (cold_mains + pickup), lag, dt)
    flows = flow > 1e-12 * flow.mean()  # the tail of a spread underflows in the end: no heat worth naming
    temperature = np.where(flows, heat / np.where(flows, flow, 1.0), cold_mains)
    if drain_loss > 0.0 and flow.sum() > 0.0:
        carried = RHO_CP * float(flow.sum()) / (HOURS * 3600.0)  # W/K
        surroundings = np.repeat(np.broadcast_to(np.asarray(around, dtype=np.float64), HOURS), per_hour)
        temperature = surroundings + (temperature - surroundings) * math.exp(-drain_loss / carried)
    return Sewage((1.0 - screening_loss) * flow, temperature)


def _after_stack(amount: Array, lag: float, dt: float) -> Array:
    """`amount` of each step, spread by a first-order lag of mean time `lag`; the year follows on itself.

    Exact for an even inflow within each step: of what is held, ``1 - e^(-dt/lag)`` leaves in the step, and of
    what comes, ``lag/dt (1 - e^(-dt/lag))`` stays.
    """
    if lag < 1e-6 * dt:
        return amount
    from scipy.signal import lfilter

    leaves = -math.expm1(-dt / lag)
    new_stays = lag / dt * leaves
    held = lfilter([new_stays], [1.0, leaves - 1.0], amount)  # at the end of each step, from an empty stack
    # what the year ends with is what it began with, faded through the year
    first = held[-1] / -math.expm1(-amount.size * dt / lag)
    held += first * np.exp(-dt / lag * np.arange(1.0, amount.size + 1.0))
    before = np.concatenate((held[-1:], held[:-1]))
    return np.asarray(leaves * before + (1.0 - new_stays) * amount)


def read_sewer(path: str | Path) -> Sewage:
    """Street sewer from the user's CSV file with the columns ``flow_m3_per_h``, ``temperature_c``.

    One row for each hour of the year, from 1 January 00:00, local standard time, without a leap day. Lines
    that start with ``#`` are comments.

    Returns
    -------
    Sewage
        Each (8760,); the flow is m³ in the hour.

    Raises
    ------
    InputError
        If the file cannot be read, a column is missing or unknown, there are not 8760 rows, a value is
        missing or not a number, a flow is negative, or a temperature is outside 0 to 45 °C; the message names
        file, line and column.
    """
    held = read_hours(path, {"flow_m3_per_h": (0.0, MOST_SEWER), "temperature_c": (0.0, WARMEST_SEWER_C)})
    if not held["flow_m3_per_h"].any():
        raise InputError(
            f"{path}: column flow_m3_per_h: got 0 in all {HOURS} rows; allowed a year in which the "
            "sewer flows: a meter that was not connected, or another column, reads so"
        )
    return Sewage(held["flow_m3_per_h"], held["temperature_c"])


def u_left(first_month: float, limit: float, cleaning_interval: float, growth: Growth) -> Array:
    """Heat transfer coefficient of the exchanger over the clean one, hour by hour.

    With m months since the last cleaning the loss is ``limit (1 - (1 - first_month/limit)^m)`` (saturating)
    or ``min(limit, first_month m)`` (linear). A month is 730 h.

    Parameters
    ----------
    first_month : float
        Share of U lost in the first month, 0 or more, at most `limit`.
    limit : float
        Largest share of U that is ever lost, below 1.
    cleaning_interval : float
        Time between cleanings, to the hour, the first on 1 January; infinite: never cleaned, at the limit all
        year (with ``first_month`` 0 always clean). [months]
    growth : {"saturating", "linear"}
        How it grows.

    Returns
    -------
    ndarray of float64, (8760,)
        Above 0 to 1, at the start of each hour.

    Raises
    ------
    InputError
        If `growth` is another word, or a number is out of its range.

    References
    ----------
    ``u_left(0.169, 0.201, ...)`` follows the fall in performance of [3]_. Beside it,
    unverified: U of in-sewer exchangers falls by 30 to 50 %; a tunnel-wall exchanger fouled little in four
    years (Energies 2024, 17(19):4832, seen).

    Examples
    --------
    >>> u_left(0.169, 0.201, 6.0, "saturating")[[0, 730, 3650, 4380]].round(3)
    array([1.   , 0.831, 0.799, 1.   ])
    """
    if growth not in ("saturating", "linear"):
        raise InputError(
            f"plant.source.wastewater.fouling_growth: got {growth!r}, allowed 'saturating' or 'linear'"
        )
    _inside("plant.source.wastewater.max_fouling", limit, 0.0, 0.95, "")
    _inside("plant.source.wastewater.fouling", first_month, 0.0, limit, "")
    if not cleaning_interval > 0.0:
        raise OutOfRangeError(
            "plant.source.wastewater.cleaning_interval: "
            f"got {cleaning_interval:g} months; allowed more than 0 months"
        )
    if first_month == 0.0:
        return np.ones(HOURS)
    if math.isinf(cleaning_interval):
        return np.full(HOURS, 1.0 - limit)
    months = np.arange(HOURS) % max(1, round(cleaning_interval * MONTH_HOURS)) / MONTH_HOURS
    if growth == "linear":
        return np.asarray(1.0 - np.minimum(limit, first_month * months))
    return np.asarray(1.0 - limit * (1.0 - (1.0 - first_month / limit) ** months))


def _all_inside(values: Array, low: float, high: float) -> bool:
    return bool(np.all(np.isfinite(values) & (values >= low) & (values <= high)))


def _inside(key: str, value: float, low: float, high: float, unit: str) -> None:
    """Refuse NaN, infinity and a value outside `low` to `high` (`unit` with its space)."""
    if not (math.isfinite(value) and low <= value <= high):
        allowed = f"{low:g}{unit} or more" if math.isinf(high) else f"{low:g} to {high:g}{unit}"
        raise OutOfRangeError(f"{key}: got {value:g}{unit}; allowed {allowed}")
