"""Greenhouse gases of a plant: from the electricity and fuel it purchases, and from the refrigerant it loses.

Both follow the total equivalent warming impact (TEWI) of EN 378-1, Annex B, with n years of service::

    TEWI = GWP L n + GWP m (1 - recovered) + n E beta

L kg of refrigerant leak in a year and are topped up, m kg is the charge, E kWh is the energy of a year and
beta its kg CO2e per kWh. The functions give each part per year: the sum times n is the TEWI. Losses at
installation and at service are no part of it; they are kept apart.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.errors import OutOfRangeError


class Life(NamedTuple):
    """Greenhouse gases in each year of service; every field has shape (service_years,). [kg CO2e]."""

    operational: Array  # purchased energy
    leak: Array  # refrigerant, the same every year
    end_of_life: Array  # refrigerant, in the last year
    installation: Array  # refrigerant, in the first year; not in TEWI
    service: Array  # refrigerant lost by work on the heat pump; not in TEWI

    @property
    def tewi(self) -> float:
        """TEWI of EN 378-1 over the life: without the losses at installation and service. [kg CO2e]"""
        return float(np.sum(self.operational + self.leak + self.end_of_life))

    @property
    def cumulative(self) -> Array:
        """All five parts added up to the end of each year, shape (service_years,). [kg CO2e]"""
        return np.cumsum(np.sum(self, axis=0))


def _checked(value: float, what: str, most: float = math.inf) -> None:
    """Refuse NaN, infinity, a negative value and one above `most`."""
    if not (math.isfinite(value) and 0.0 <= value <= most):
        allowed = "0 or more" if math.isinf(most) else f"0 to {most:g}"
        raise OutOfRangeError(f"{what}: got {value:g}; allowed {allowed}")


def _check_refrigerant(charge_kg: float, gwp: float, annual_leak: float, end_of_life_loss: float) -> None:
    _checked(charge_kg, "carbon.refrigerant.charge [kg]")
    _checked(gwp, "carbon.refrigerant.gwp")
    _checked(annual_leak, "carbon.refrigerant.annual_leak", 1.0)
    _checked(end_of_life_loss, "carbon.refrigerant.end_of_life_loss", 1.0)


def operational_kgco2e(kwh: ArrayLike, kg_per_kwh: ArrayLike) -> float:
    """Greenhouse gases of the purchased energy.

    Parameters
    ----------
    kwh : array_like of float, any shape
        Purchased energy: of the year, or hour by hour, such as (8760,). [kWh]
    kg_per_kwh : array_like of float, one number or the shape of `kwh`
        Factor of that energy, at the meter: a factor per kWh generated must first be divided by 1 less the
        loss of the grid. [kg CO2e/kWh]

    Returns
    -------
    float
        Sum over all of `kwh`. [kg CO2e]

    Raises
    ------
    OutOfRangeError
        If a value is negative or not finite, or there are neither one factor nor as many as energies.

    References
    ----------
    .. [1] EN 378-1, Annex B, the term n E beta for one year (unverified); its form was seen in a
       public page.

    Examples
    --------
    >>> operational_kgco2e(50_000.0, 0.35)
    17500.0
    >>> round(operational_kgco2e([1.0, 3.0], [0.5, 0.1]), 9)
    0.8
    """
    energy = np.asarray(kwh, dtype=np.float64)
    factor = np.asarray(kg_per_kwh, dtype=np.float64)
    for name, values in (("energy [kWh]", energy), ("carbon.grid [kg/kWh]", factor)):
        for value in np.extract(~((values >= 0.0) & (values < np.inf)), values)[:1]:
            _checked(float(value), name)
    if factor.ndim > 0 and factor.shape != energy.shape:
        raise OutOfRangeError(
            f"carbon.grid: got {factor.size} factors for {energy.size} values of energy; "
            "allowed one number, or as many"
        )
    return float(np.sum(energy * factor))


def refrigerant_kgco2e(
    charge_kg: float,
    gwp: float,
    annual_leak: float,
    end_of_life_loss: float,
    service_years: float,
) -> float:
    """Greenhouse gases of the refrigerant lost, per year of service.

    Each year's leak is topped up, so that it is the same share of the full charge every year; what is lost
    when the heat pump is scrapped is spread over the years of service. Losses at the first filling are not in
    TEWI and not here.

    Parameters
    ----------
    charge_kg : float
        Refrigerant in the whole plant. [kg]
    gwp : float
        Its warming potential. [kg CO2e/kg]
    annual_leak : float
        Share of the charge that leaks in a year, 0 to 1.
    end_of_life_loss : float
        Share of the charge lost at the end, 0 to 1: 1 less the recovered share of EN 378. A recovery rate
        that counts only what is left in the heat pump makes it (share left) x (1 - recovered).
    service_years : float
        Years of service, above 0. [a]

    Returns
    -------
    float
        [kg CO2e/a]

    Raises
    ------
    OutOfRangeError
        If a share is not 0 to 1, the years are not above 0, or a value is negative or not finite.

    References
    ----------
    .. [1] EN 378-1, Annex B: GWP L n + GWP m (1 - recovered), divided by n (unverified), its form was
       seen in a public page.

    Examples
    --------
    >>> round(refrigerant_kgco2e(10.0, 2255.5, 0.03, 0.2, 15.0), 4)  # R-410A, GWP of AR6 over 100 years
    977.3833
    """
    _check_refrigerant(charge_kg, gwp, annual_leak, end_of_life_loss)
    if not (math.isfinite(service_years) and service_years > 0.0):
        raise OutOfRangeError(f"carbon.service_years: got {service_years:g}; allowed more than 0")
    return charge_kg * gwp * (annual_leak + end_of_life_loss / service_years)


def operational_by_year(kwh: ArrayLike, kgco2e_per_kwh: ArrayLike, service_years: int) -> Array:
    """Greenhouse gases of the purchased energy in each year of service, every year using as much as this one.

    Parameters
    ----------
    kwh : array_like of float, one number or shape (8760,)
        Energy of the year. [kWh]
    kgco2e_per_kwh : array_like of float, shape (1 or service_years, 1 or 8760)
        Factors at the meter, as in `grid.Grid`. [kg CO2e/kWh]
    service_years : int
        Years of service, 1 or more.

    Returns
    -------
    ndarray of float64, shape (service_years,)
        [kg CO2e]

    Raises
    ------
    OutOfRangeError
        If a value is negative or not finite, or the factors fit neither the years nor the hours.

    Examples
    --------
    >>> operational_by_year([1.0, 3.0], [[0.5], [0.4]], 2)
    array([2. , 1.6])
    """
    factors = np.atleast_2d(np.asarray(kgco2e_per_kwh, dtype=np.float64))
    if factors.ndim != 2 or len(factors) not in (1, service_years) or service_years < 1:
        raise OutOfRangeError(
            f"carbon.service_years: got {service_years} years and factors of {len(factors)}; allowed factors "
            "of one year, or of every year of service"
        )
    by_year = [operational_kgco2e(kwh, row if row.size > 1 else row[0]) for row in factors]
    return np.full(service_years, by_year)


def lost_at_end(left: float, recovered: float) -> float:
    """Share of the charge lost at the end: what is left in the heat pump and not recovered.

    Parameters
    ----------
    left : float
        Share of the full charge still in the heat pump, 0 to 1.
    recovered : float
        Share of what is left that is recovered, 0 to 1.

    Raises
    ------
    OutOfRangeError
        If a share is not 0 to 1.

    Examples
    --------
    >>> round(lost_at_end(0.8, 0.95), 9)  # UK Defra 2010, air conditioning with heat pumps
    0.04
    """
    _checked(left, "carbon.refrigerant.left_at_end", 1.0)
    _checked(recovered, "carbon.refrigerant.recovered", 1.0)
    return left * (1.0 - recovered)


def life(
    operational: ArrayLike,
    charge_kg: float,
    gwp: float,
    annual_leak: float,
    end_of_life_loss: float,
    installation_loss: float = 0.0,
    service_loss: float = 0.0,
) -> Life:
    """Energy and refrigerant in every year of service.

    The charge is full after the first filling and topped up every year.

    Parameters
    ----------
    operational : array_like of float, shape (service_years,)
        From `operational_by_year`; its length is the service life. [kg CO2e]
    charge_kg, gwp, annual_leak, end_of_life_loss : float
        As in `refrigerant_kgco2e`.
    installation_loss : float
        Share of the charge lost at the first filling, 0 to 1; in the first year.
    service_loss : float
        Share of the charge lost in a year by work on the heat pump, 0 to 1.

    Raises
    ------
    OutOfRangeError
        If a share is not 0 to 1, or a value is negative or not finite.

    Examples
    --------
    >>> round(life(np.full(15, 17_500.0), 10.0, 2255.5, 0.03, 0.2).tewi, 6)  # R-410A, AR6-100
    277160.75
    """
    energy = np.array(operational, dtype=np.float64, ndmin=1)
    for value in energy:
        _checked(float(value), "operational_kgco2e")
    _checked(installation_loss, "carbon.refrigerant.installation_loss", 1.0)
    _checked(service_loss, "carbon.refrigerant.service_loss", 1.0)
    _check_refrigerant(charge_kg, gwp, annual_leak, end_of_life_loss)
    whole, years = charge_kg * gwp, np.arange(energy.size)
    return Life(
        operational=energy,
        leak=np.full(energy.size, whole * annual_leak),
        end_of_life=np.where(years == energy.size - 1, whole * end_of_life_loss, 0.0),
        installation=np.where(years == 0, whole * installation_loss, 0.0),
        service=np.full(energy.size, whole * service_loss),
    )


def turning_years(one: Life, other: Life) -> list[int]:
    """Years of service, counted from 1, at whose end the order of two plants in cumulative carbon has turned.

    Years in which both are level turn nothing by themselves.

    Raises
    ------
    OutOfRangeError
        If the lives are not of one length.

    Examples
    --------
    >>> leaky = life([100.0] * 5, 1.0, 300.0, 0.0, 0.0, installation_loss=1.0)
    >>> tight = life([200.0] * 5, 0.0, 300.0, 0.0, 0.0)
    >>> turning_years(leaky, tight)  # 100 a year better, 300 worse at the start
    [4]
    """
    if one.operational.size != other.operational.size:
        raise OutOfRangeError(
            f"carbon.service_years: got {one.operational.size} and {other.operational.size}; "
            "allowed the same for both plants"
        )
    sign = np.sign(one.cumulative - other.cumulative)
    apart = np.flatnonzero(sign)
    return [int(y) + 1 for y in apart[1:][np.diff(sign[apart]) != 0.0]]
