"""What a plant saves against a baseline in the same year: energy, peak power, greenhouse gases, cost.

A saving is the baseline less the plant. Where the plant takes more, it is negative and stays so.
"""

import math
from collections.abc import Mapping
from typing import NamedTuple

from hpwhsim.account.calendar import QUARTERS, When, mask
from hpwhsim.arrays import Array
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.tables import read_table

MMBTU_PER_KWH = 3.6 / 1055.05585262  # International Table Btu, NIST SP 811


class Use(NamedTuple):
    """What a plant takes in a year."""

    quarter_kw: Array  # kW, shape (35040,): mean electric power of each quarter of an hour
    fuel_kwh: float  # kWh of higher heating value
    fuel_to_source: float  # source energy over site energy of its fuel
    kgco2e: float
    cost: float  # USD


class Line(NamedTuple):
    """One figure of the comparison, in the unit its name ends in."""

    baseline: float
    plant: float
    saved: float  # baseline - plant, negative where the plant takes more
    percent: float | None  # of the baseline; None where the baseline is 0


def site_to_source(energy: str) -> float:
    """Source energy over site energy, national average of the United States; packaged table `site_to_source`.

    Raises
    ------
    InputError
        If the energy is not in the packaged table.

    Examples
    --------
    >>> site_to_source("electricity"), site_to_source("district-steam")
    (2.8, 1.2)
    """
    factors = {row["energy"]: float(row["factor"]) for row in read_table("site_to_source")}
    if energy not in factors:
        raise InputError(f"site-to-source factor: got {energy!r}; allowed {', '.join(factors)}, or a number")
    return factors[energy]


def saved(
    plant: Use, baseline: Use, electricity_to_source: float, peaks: Mapping[str, When]
) -> dict[str, Line]:
    """Compare a plant with a baseline for one year.

    Parameters
    ----------
    plant, baseline : Use
        The same building and weather.
    electricity_to_source : float
        Source energy over site energy of electricity, such as ``site_to_source("electricity")``.
    peaks : mapping of str to When
        Named sets of hours in which power is compared.

    Returns
    -------
    dict of str to Line
        ``electricity_kwh``, ``fuel_kwh``, ``fuel_mmbtu``, ``site_mmbtu``, ``source_mmbtu``, ``kgco2e``,
        ``cost``; and for every name in `peaks` ``NAME.highest_kw``, the highest 15-minute mean of each plant
        in the hours, whenever each has it, and ``NAME.mean_kw``, the mean power over the hours.

    Raises
    ------
    OutOfRangeError
        If an array has another shape or a number is not finite, or hours are wrong or none.
    """

    def figures(use: Use) -> dict[str, float]:
        if use.quarter_kw.shape != (QUARTERS,):
            raise OutOfRangeError(f"quarter_kw: got shape {use.quarter_kw.shape}; allowed ({QUARTERS},)")
        kwh = float(use.quarter_kw.sum()) * 0.25
        electric, fuel = kwh * MMBTU_PER_KWH, use.fuel_kwh * MMBTU_PER_KWH
        found = {
            "electricity_kwh": kwh,
            "fuel_kwh": use.fuel_kwh,
            "fuel_mmbtu": fuel,
            "site_mmbtu": electric + fuel,
            "source_mmbtu": electric * electricity_to_source + fuel * use.fuel_to_source,
            "kgco2e": use.kgco2e,
            "cost": use.cost,
        }
        for name, when in peaks.items():
            inside = use.quarter_kw[mask(when, 4)]
            found |= {f"{name}.highest_kw": float(inside.max()), f"{name}.mean_kw": float(inside.mean())}
        return found

    ours = figures(plant)
    return {key: line(theirs, ours[key], key) for key, theirs in figures(baseline).items()}


def line(baseline: float, plant: float, name: str = "saving") -> Line:
    """One figure of both and what is saved.

    Raises
    ------
    OutOfRangeError
        If one is not finite.

    Examples
    --------
    >>> line(200.0, 250.0)
    Line(baseline=200.0, plant=250.0, saved=-50.0, percent=-25.0)
    """
    if not (math.isfinite(baseline) and math.isfinite(plant)):
        raise OutOfRangeError(f"{name}: got {baseline:g} and {plant:g}; allowed finite numbers")
    less = baseline - plant
    return Line(baseline, plant, less, 100.0 * less / abs(baseline) if baseline else None)
