"""Greenhouse gases of a plant: from the electricity and fuel it buys, and from the refrigerant it loses.

Both follow the total equivalent warming impact (TEWI) of EN 378-1, Annex B, with n years of service::

    TEWI = GWP L n + GWP m (1 - recovered) + n E beta

L kg of refrigerant leak in a year and are topped up, m kg is the charge, E kWh is the energy of a year and
beta its kg CO2e per kWh. The functions give each part per year: the sum times n is the TEWI.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.errors import OutOfRangeError


def _checked(value: float, what: str, most: float = math.inf) -> None:
    """Refuse NaN, infinity, a negative value and one above `most`."""
    if not (math.isfinite(value) and 0.0 <= value <= most):
        allowed = "0 or more" if math.isinf(most) else f"0 to {most:g}"
        raise OutOfRangeError(f"{what}: got {value:g}; allowed {allowed}")


def operational_kgco2e(kwh: ArrayLike, kg_per_kwh: ArrayLike) -> float:
    """Greenhouse gases of the energy bought.

    Parameters
    ----------
    kwh : array_like of float, any shape
        Energy bought: of the year, or hour by hour, such as (8760,). [kWh]
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
    .. [1] EN 378-1, Annex B, the term n E beta for one year; quoted from memory, its form was seen in a
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
    when the machine is scrapped is spread over the years of service. Losses at the first filling are not in
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
        that counts only what is left in the machine makes it (share left) x (1 - recovered).
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
    .. [1] EN 378-1, Annex B: GWP L n + GWP m (1 - recovered), divided by n; quoted from memory, its form was
       seen in a public page.

    Examples
    --------
    >>> round(refrigerant_kgco2e(10.0, 2255.5, 0.03, 0.2, 15.0), 4)  # R-410A, GWP of AR6 over 100 years
    977.3833
    """
    _checked(charge_kg, "carbon.refrigerant.charge [kg]")
    _checked(gwp, "carbon.refrigerant.gwp")
    _checked(annual_leak, "carbon.refrigerant.annual_leak", 1.0)
    _checked(end_of_life_loss, "carbon.refrigerant.end_of_life_loss", 1.0)
    if not (math.isfinite(service_years) and service_years > 0.0):
        raise OutOfRangeError(f"carbon.service_years: got {service_years:g}; allowed more than 0")
    return charge_kg * gwp * (annual_leak + end_of_life_loss / service_years)


def total_kgco2e(operational: float, refrigerant: float) -> float:
    """Greenhouse gases of a year: energy and refrigerant; times the years of service this is the TEWI.

    Parameters
    ----------
    operational : float
        From `operational_kgco2e` for one year. [kg CO2e/a]
    refrigerant : float
        From `refrigerant_kgco2e`. [kg CO2e/a]

    Returns
    -------
    float
        [kg CO2e/a]

    Raises
    ------
    OutOfRangeError
        If a value is negative or not finite.

    References
    ----------
    .. [1] EN 378-1, Annex B; quoted from memory.

    Examples
    --------
    >>> total_kgco2e(17_500.0, 977.25)
    18477.25
    """
    _checked(operational, "operational_kgco2e")
    _checked(refrigerant, "refrigerant_kgco2e")
    return operational + refrigerant
