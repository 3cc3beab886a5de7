"""Life-cycle cost of a plant against a baseline.

Convention (that of NIST Handbook 135): money is of today, year 0; every yearly cost falls at the end of its
year and is today's cost times (1 + growth) to the power of the year; no salvage at the end. Discount rate
and growth are all real (above general inflation; then `inflation` is 0) or all nominal (then `inflation` is
the growth of maintenance and replacements). Both ways give the same net present value.

References
----------
.. [1] NIST Handbook 135, Life-Cycle Costing Manual for the Federal Energy Management Program (unverified).
.. [2] C. J. Norstrom, J. Financial and Quantitative Analysis 7(3), 1835-1839, 1972: flows whose running sum
   changes its sign once have one positive internal rate (unverified).
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.errors import OutOfRangeError

KG_PER_TONNE = 1000.0


class Terms(NamedTuple):
    """Years and rates, shares per year: all rates real, or all nominal."""

    years: int
    discount_rate: float
    electricity_escalation: float = 0.0
    fuel_escalation: float = 0.0
    inflation: float = 0.0  # of maintenance and replacements; 0 where the rates are real

    @property
    def real_rate(self) -> float:
        """Discount rate above inflation, share per year."""
        return (1.0 + self.discount_rate) / (1.0 + self.inflation) - 1.0


class Incentive(NamedTuple):
    """What somebody else pays towards the capital: the sum of its parts, up to a share of the capital."""

    lump_sum: float = 0.0  # USD
    per_unit: float = 0.0  # USD
    units: float = 0.0  # such as apartments or heat pumps
    per_kw: float = 0.0  # USD per kW of capacity
    per_mmbtu: float = 0.0  # USD per MMBtu of site energy saved in a year
    per_kwh: float = 0.0  # USD per kWh of electricity saved in a year
    cap: float = 1.0  # most, as a share of the capital


class PlantCosts(NamedTuple):
    """What a plant costs and gives, in money of today."""

    capital: float  # USD
    electricity: float  # USD/a, the year's bill
    fuel: float  # USD/a, the year's bill
    maintenance: float = 0.0  # USD/a
    replacements: tuple[tuple[int, float], ...] = ()  # year 1 to the last, USD
    incentives: float = 0.0  # USD, received in year 0
    heat_mwh: float = 0.0  # useful heat of a year
    kgco2e: ArrayLike = 0.0  # of each year: one number, or shape (years,)


class LifeCycle(NamedTuple):
    """A plant against a baseline; a positive saving or value speaks for the plant."""

    net_flow: Array  # USD, shape (years + 1,): cost of the baseline less that of the plant, not discounted
    extra_capital: float  # USD, after incentives
    first_year_saving: float  # USD/a at today's prices: energy and maintenance
    simple_payback: float | None  # years
    discounted_payback: float | None  # years
    npv: float  # USD
    irr: float | None  # share per year, real or nominal as the rates are
    carbon_cost: float | None  # USD per tonne CO2e; negative where the plant also saves money
    heat_cost: float | None  # USD/MWh of useful heat, levelised
    baseline_heat_cost: float | None  # USD/MWh
    avoided: Array  # kg CO2e, shape (years,): of the baseline less of the plant in each year
    reasons: dict[str, str]  # why a value is None


def incentive_amounts(
    incentives: Sequence[Incentive],
    *,
    capital: float,
    capacity_kw: float,
    site_mmbtu_saved: float,
    electricity_kwh_saved: float,
) -> tuple[float, ...]:
    """What each incentive pays, in their order; together never more than the capital.

    Energy that is not saved (a negative saving) earns nothing and costs nothing.

    Parameters
    ----------
    incentives : sequence of Incentive
        As the modeler wrote them.
    capital : float
        Cost of the plant before incentives. [USD]
    capacity_kw : float
        Heat of the whole plant at its rating. [kW]
    site_mmbtu_saved, electricity_kwh_saved : float
        Savings of a year, from `hpwhsim.account.savings`. [MMBtu], [kWh]

    Returns
    -------
    tuple of float
        [USD]

    Examples
    --------
    >>> rebate = Incentive(per_kw=450.0, cap=0.5)
    >>> case = dict(capital=90_000.0, site_mmbtu_saved=0.0, electricity_kwh_saved=0.0)
    >>> incentive_amounts([rebate], capacity_kw=36.0, **case)
    (16200.0,)
    >>> incentive_amounts([rebate], capacity_kw=360.0, **case)
    (45000.0,)
    """
    left, paid = capital, []
    for one in incentives:
        amount = (
            one.lump_sum
            + one.per_unit * one.units
            + one.per_kw * capacity_kw
            + one.per_mmbtu * max(site_mmbtu_saved, 0.0)
            + one.per_kwh * max(electricity_kwh_saved, 0.0)
        )
        paid.append(min(amount, one.cap * capital, left))
        left -= paid[-1]
    return tuple(paid)


def cash_flow(costs: PlantCosts, terms: Terms) -> Array:
    """Costs of a plant in each year, not discounted; year 0 is the capital less incentives.

    Returns
    -------
    ndarray of float64, shape (years + 1,)
        [USD]

    Raises
    ------
    OutOfRangeError
        If there are no years, a rate is -1 or less, a replacement is outside the years, or a cost or rate is
        not finite.
    """
    if terms.years < 1:
        raise OutOfRangeError(f"costs.years: got {terms.years}; allowed 1 or more")
    for name, rate in zip(Terms._fields[1:], terms[1:], strict=True):
        if not -1.0 < rate < math.inf:
            raise OutOfRangeError(f"costs.{name}: got {rate:g}; allowed more than -1")
    today = np.zeros(terms.years + 1)
    today[1:] = costs.maintenance
    for year, cost in costs.replacements:
        if not 1 <= year <= terms.years:
            raise OutOfRangeError(
                f"costs.replacements: got year {year}; allowed 1 to costs.years ({terms.years})"
            )
        today[year] += cost
    year_number = np.arange(terms.years + 1)
    flow = today * (1.0 + terms.inflation) ** year_number
    flow[1:] += costs.electricity * (1.0 + terms.electricity_escalation) ** year_number[1:]
    flow[1:] += costs.fuel * (1.0 + terms.fuel_escalation) ** year_number[1:]
    flow[0] = costs.capital - costs.incentives
    if not np.all(np.isfinite(flow)):
        raise OutOfRangeError(
            f"costs: got {flow[0]:g} USD at first, {flow[-1]:g} at last; allowed finite costs"
        )
    return flow


def present_value(flow: Array, rate: float) -> float:
    """Value today of amounts at the end of years 0, 1, ..., the first not discounted.

    Examples
    --------
    >>> round(present_value(np.array([0.0, 110.0, 121.0]), 0.10), 9)
    200.0
    """
    return float(np.sum(flow / (1.0 + rate) ** np.arange(flow.size)))


def internal_rate(flow: Array) -> tuple[float | None, str]:
    """Rate at which the present value of a net flow is nothing.

    Given only where it is one rate for certain: money is laid out first, and either the flow changes its sign
    once (rule of signs of Descartes), or its running sum does, from below to above nothing (Norstrom).

    Returns
    -------
    rate : float or None
        Share per year, above -1.
    reason : str
        Why there is none; else empty.

    Examples
    --------
    >>> rate, _ = internal_rate(np.array([-100.0, 0.0, 121.0]))
    >>> round(rate, 12)
    0.1
    """
    held = flow[flow != 0.0]
    if held.size == 0 or held[0] > 0.0:
        return None, "no extra money is laid out first"
    if (held < 0.0).all():
        return None, "the money laid out never begins to come back"
    total = np.cumsum(held)
    once = np.count_nonzero(np.diff(held > 0.0)) == 1
    if not once and np.count_nonzero(np.diff(total > 0.0)) != 1:
        return None, "the net flow changes its sign more than once: there may be no such rate or several"
    start = int(np.argmax(flow != 0.0))

    def value(v: float) -> float:
        """Present value at the discount factor `v`, of the flow from its first amount on."""
        return float(np.polynomial.polynomial.polyval(v, flow[start:]))

    if once:
        low, high = 0.0, 1.0
        while value(high) <= 0.0:
            low, high = high, 2.0 * high
    else:  # a positive rate: a discount factor between 0 and 1
        low, high = 0.0, 1.0
    factor = 0.5 * (low + high)
    while low < factor < high:  # halved to the last digit: scipy's root finders take 0.3 s to import
        if value(factor) > 0.0:
            high = factor
        else:
            low = factor
        factor = 0.5 * (low + high)
    return 1.0 / factor - 1.0, ""


def payback_years(flow: Array, rate: float) -> float | None:
    """Time from which the running sum of the discounted net flow stays at or above nothing to the end.

    A sum that turns positive and is pulled under again by a later replacement has not paid back yet. Within
    a year the flow is spread evenly. None where the sum is below nothing at the end.

    Examples
    --------
    >>> payback_years(np.array([-100.0, 40.0, 40.0, 40.0]), 0.0)
    2.5
    """
    total = np.cumsum(flow / (1.0 + rate) ** np.arange(flow.size))
    if total[-1] < 0.0:
        return None
    below = np.flatnonzero(total < 0.0)
    if below.size == 0:
        return 0.0
    last = int(below[-1])
    return last + float(-total[last] / (total[last + 1] - total[last]))


def heat_cost(costs: PlantCosts, terms: Terms) -> float | None:
    """Levelised cost of useful heat: present value of all costs over that of the heat. [USD/MWh].

    The same amount per MWh every year, real or nominal as the rates are. None where there is no heat.
    """
    heat = np.full(terms.years + 1, costs.heat_mwh)
    heat[0] = 0.0
    discounted = present_value(heat, terms.discount_rate)
    if discounted <= 0.0:
        return None
    return present_value(cash_flow(costs, terms), terms.discount_rate) / discounted


def life_cycle(plant: PlantCosts, baseline: PlantCosts, terms: Terms) -> LifeCycle:
    """Compare a plant with a baseline over the years.

    The simple payback is the extra capital over the saving of a year at today's prices, without growth,
    discount and replacements. The cost of carbon avoided is the present value of the extra cost over the
    tonnes avoided in each year, discounted at the real rate: the price per tonne in money of today, constant
    above inflation, at which the two plants cost the same. Rates that are all nominal or all real give the
    same price.

    Parameters
    ----------
    plant, baseline : PlantCosts
        Both for the same service.
    terms : Terms
        Years and rates.

    Returns
    -------
    LifeCycle
        `reasons` has an entry for each value that is None.

    Raises
    ------
    OutOfRangeError
        As in `cash_flow`, or if greenhouse gases are neither one number nor one for each year.
    """
    net = cash_flow(baseline, terms) - cash_flow(plant, terms)
    extra = -float(net[0])
    saving = sum(
        getattr(baseline, key) - getattr(plant, key) for key in ("electricity", "fuel", "maintenance")
    )
    npv = present_value(net, terms.discount_rate)
    reasons = {}

    simple = None
    if saving > 0.0 or (saving == 0.0 and extra <= 0.0):
        simple = max(extra, 0.0) / saving if saving > 0.0 else 0.0
    else:
        reasons["simple_payback"] = "nothing is saved in a year"
    discounted = payback_years(net, terms.discount_rate)
    if discounted is None:
        reasons["discounted_payback"] = f"not paid back within {terms.years} years"
    irr, reason = internal_rate(net)
    if irr is None:
        reasons["irr"] = reason

    avoided = _yearly(baseline.kgco2e, terms.years) - _yearly(plant.kgco2e, terms.years)
    tonnes = present_value(np.concatenate(([0.0], avoided)), terms.real_rate) / KG_PER_TONNE
    carbon = None
    if tonnes > 0.0:
        carbon = -npv / tonnes
    else:
        reasons["carbon_cost"] = "no greenhouse gas is saved"

    heat, baseline_heat = heat_cost(plant, terms), heat_cost(baseline, terms)
    for key, value in (("heat_cost", heat), ("baseline_heat_cost", baseline_heat)):
        if value is None:
            reasons[key] = "no useful heat"
    return LifeCycle(
        net, extra, saving, simple, discounted, npv, irr, carbon, heat, baseline_heat, avoided, reasons
    )


def _yearly(kgco2e: ArrayLike, years: int) -> Array:
    values = np.asarray(kgco2e, dtype=np.float64)
    if values.shape not in ((), (years,)):
        raise OutOfRangeError(
            f"kgco2e: got {values.size} values; allowed one, or one for each of {years} years"
        )
    return np.broadcast_to(values, years)
