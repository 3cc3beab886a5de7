"""What the energy of a year costs: prices by the hour, tiers, demand charges, fixed charges and fuel.

Money is in USD, prices are those of the modeler. Hours are of the nominal year of `hpwhsim.account.calendar`:
local standard time without daylight saving.
"""

import itertools
import math
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hpwhsim.account.calendar import ALL_MONTHS, QUARTERS, When, hour_name, mask
from hpwhsim.account.energy import MONTH_STARTS, by_month
from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.io.user_csv import read_hours
from hpwhsim.tables.usual_ranges import refuse

COLUMN = "usd_per_kwh"


class TouBlock(NamedTuple):
    """A price and the hours in which it holds."""

    price: float  # USD/kWh
    when: When


class Tier(NamedTuple):
    """A price for the part of a month's energy between the tier before and `up_to`."""

    price: float  # USD/kWh
    up_to: float = math.inf  # kWh in the month
    months: tuple[int, ...] = ALL_MONTHS


class DemandCharge(NamedTuple):
    """A price of the month's highest 15-minute mean power."""

    price: float  # USD/kW in each month that it is charged
    when: When = When()  # the days and windows it is measured in, the months it is charged in
    ratchet: float = 0.0  # least billed kW, as a share of the highest of the months before
    ratchet_months: int = 11  # how many months before


class Tariff(NamedTuple):
    """Prices of a year."""

    electricity: Array | None  # USD/kWh, shape (8760,); None where tiers alone price the energy
    tiers: tuple[Tier, ...] = ()  # added to the hourly price
    demand: tuple[DemandCharge, ...] = ()
    fixed: float = 0.0  # USD/month
    fuel: Array | None = None  # USD/kWh of higher heating value, shape (12,); None: no fuel is purchased


class Bill(NamedTuple):
    """Costs of the twelve months; each array has shape (12,) but the last."""

    energy: Array  # USD, electric energy: hourly prices and tiers
    demand: Array  # USD, sum of the demand charges
    fixed: Array  # USD
    fuel: Array  # USD
    total: Array  # USD
    billed_kw: Array  # kW, shape (demand charges, 12): what each charge's price is multiplied with


def time_of_use(blocks: Sequence[TouBlock]) -> Array:
    """Price of each hour from blocks; the first block that holds an hour gives its price.

    Seasonal prices are blocks that differ in months only; "all other hours" is a last block without windows.

    Returns
    -------
    ndarray of float64, shape (8760,)
        [USD/kWh]

    Raises
    ------
    InputError
        If an hour is in no block, or all hours of a block are in blocks before it.

    Examples
    --------
    >>> peak = When(days="weekdays", windows=((16 * 60, 21 * 60),))
    >>> price = time_of_use([TouBlock(0.40, peak), TouBlock(0.15, When())])
    >>> float(price[15]), float(price[16]), float(price[5 * 24 + 16])  # Monday, Monday, Saturday
    (0.15, 0.4, 0.15)
    """
    price = np.full(HOURS, math.nan)
    for number, block in enumerate(blocks, start=1):
        new = mask(block.when) & np.isnan(price)
        if not new.any():
            raise InputError(
                f"tariff.electricity (item {number}): all its hours are in the blocks before it; allowed "
                "blocks in the order in which they count, the first that holds an hour gives its price"
            )
        price[new] = block.price
    gaps = np.flatnonzero(np.isnan(price))
    if gaps.size:
        raise InputError(
            f"tariff.electricity: no block holds {hour_name(int(gaps[0]))} ({gaps.size} hours of the year "
            "have no price); allowed blocks that together hold every hour, such as a last one without hours"
        )
    return price


def read_prices(path: Path) -> Array:
    """Hourly prices from the user's CSV file with the one column ``usd_per_kwh`` and 8760 rows.

    Lines that start with ``#`` are comments. Prices may be negative.

    Returns
    -------
    ndarray of float64, shape (8760,)
        [USD/kWh]

    Raises
    ------
    InputError
        If the file cannot be read, the column is another, a price is no finite number, there are not 8760, or
        their mean is that of no bill: single hours may cost more.
    """
    price = read_hours(path, {COLUMN: (-math.inf, math.inf)})[COLUMN]
    refuse("electricity price", float(price.mean()), f"{path}: column {COLUMN}: mean of the year")
    return price


def bill(tariff: Tariff, quarter_kw: Array, fuel_kwh: Array, *, credits: bool = False) -> Bill:
    """Cost of a year's energy by month.

    A demand charge is measured in the days and windows of its `when` in every month, and charged in its
    months. A ratchet looks back on what was measured, not on what was billed; the year is typical, so that
    the months before January are those at the end of the same year.

    Parameters
    ----------
    tariff : Tariff
        Prices.
    quarter_kw : ndarray, shape (35040,)
        Mean electric power in each quarter of an hour. [kW]
    fuel_kwh : ndarray, shape (8760,)
        Fuel burnt in each hour, higher heating value. [kWh]
    credits : bool
        Whether power and fuel may be below 0 in some hours: what others in the building save.

    Raises
    ------
    InputError
        If fuel is burnt and has no price, or tiers leave a month without a price.
    OutOfRangeError
        If an array has another shape, energy is negative, a number is not finite, tiers do not rise to an
        open end, or a ratchet is not a share of 0 to 1 over 1 to 11 months.

    Examples
    --------
    >>> flat = Tariff(np.full(8760, 0.20), demand=(DemandCharge(10.0),), fixed=25.0)
    >>> year = bill(flat, np.full(35040, 3.0), np.zeros(8760))
    >>> year.total[:2].round(2)  # 744 h * 3 kW * 0.20 USD/kWh + 30 USD + 25 USD; February has 672 h
    array([501.4, 458.2])
    """
    least = -math.inf if credits else 0.0
    _check("quarter_kw [kW]", quarter_kw, QUARTERS, least)
    _check("fuel_kwh [kWh]", fuel_kwh, HOURS, least)
    hourly_kwh = quarter_kw.reshape(HOURS, 4).sum(axis=1) * 0.25
    energy = np.zeros(12)
    if tariff.electricity is not None:
        _check("tariff.electricity [USD/kWh]", tariff.electricity, HOURS, -math.inf)
        energy += by_month(tariff.electricity * hourly_kwh)
    if tariff.tiers or tariff.electricity is None:
        energy += _tier_cost(tariff.tiers, by_month(hourly_kwh), tariff.electricity is None)
    billed = np.array([_billed_kw(charge, quarter_kw) for charge in tariff.demand]).reshape(-1, 12)
    demand = np.array([charge.price for charge in tariff.demand]) @ billed
    fuel = by_month(fuel_kwh)
    if tariff.fuel is not None:
        _check("tariff.fuel [USD/kWh]", tariff.fuel, 12, -math.inf)
        fuel = fuel * tariff.fuel
    elif fuel.any():
        raise InputError("tariff.fuel: got nothing; allowed a price such as '1.50 USD/therm': fuel is burnt")
    fixed = np.full(12, tariff.fixed)
    total = energy + demand + fixed + fuel
    _check("tariff: cost of a month [USD]", total, 12, -math.inf)
    return Bill(energy, demand, fixed, fuel, total, billed)


def _tier_cost(tiers: Sequence[Tier], month_kwh: Array, alone: bool) -> Array:
    """Cost of each month's energy by tiers, shape (12,); `alone` where there is no other price. [USD]."""
    cost = np.zeros(12)
    for month, kwh in zip(ALL_MONTHS, month_kwh, strict=True):
        rows = [tier for tier in tiers if month in tier.months]
        if not rows and alone:
            raise InputError(f"tariff.tiers: month {month} has no tier; allowed tiers for every month")
        ends = [0.0, *(tier.up_to for tier in rows)]
        if rows and (ends[-1] != math.inf or not all(a < b for a, b in itertools.pairwise(ends))):
            raise OutOfRangeError(
                f"tariff.tiers: month {month}: got ends at {', '.join(f'{end:g}' for end in ends[1:])} kWh; "
                "allowed rising ends, and a last tier without up_to"
            )
        for below, tier in zip(ends, rows, strict=False):
            cost[month - 1] += tier.price * min(max(kwh - below, 0.0), tier.up_to - below)
    return cost


def _billed_kw(charge: DemandCharge, quarter_kw: Array) -> Array:
    """Power that a demand charge bills in each month, shape (12,); 0 where it is not charged. [kW]."""
    if not 0.0 <= charge.ratchet <= 1.0:
        raise OutOfRangeError(f"tariff.demand: ratchet: got {charge.ratchet:g}; allowed 0 to 1")
    if not 1 <= charge.ratchet_months <= 11:
        raise OutOfRangeError(f"tariff.demand: ratchet_months: got {charge.ratchet_months}; allowed 1 to 11")
    counts = mask(charge.when._replace(months=ALL_MONTHS), 4)
    peak = np.maximum.reduceat(np.where(counts, quarter_kw, 0.0), MONTH_STARTS * 4)
    before = np.max([np.roll(peak, lag) for lag in range(1, charge.ratchet_months + 1)], axis=0)
    return np.where(np.isin(ALL_MONTHS, charge.when.months), np.maximum(peak, charge.ratchet * before), 0.0)


def _check(name: str, values: Array, size: int, least: float = 0.0) -> None:
    if values.shape != (size,):
        raise OutOfRangeError(f"{name}: got shape {values.shape}; allowed ({size},)")
    if not np.all(np.isfinite(values) & (values >= least)):
        allowed = "finite numbers" if math.isinf(least) else "0 or more"
        raise OutOfRangeError(f"{name}: got {values.min():g} to {values.max():g}; allowed {allowed}")
