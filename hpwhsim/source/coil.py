"""The evaporator in air: how much of its heat comes from cooling the air and how much from drying it.

A share of the air, the bypass factor, passes without touching. The rest leaves as saturated air of one
temperature, the apparatus dew point. Enthalpy and humidity of the mixture are linear in the bypass factor,
and the apparatus dew point is the one at which the air gives the heat that is asked for.

Condensate leaves as liquid at the apparatus dew point, or at 0 °C where that is lower: frost on the coil of
a machine in a room is melted again, so that its heat of fusion comes and goes and is not counted.

References
----------
.. [1] ASHRAE Handbook - Fundamentals (2017), SI, chapter 1, equations 5, 6, 20, 22 and 30. The bypass
   factor is a textbook method.
"""

from typing import NamedTuple

from hpwhsim.climate.moist_air import MASS_RATIO, TRIPLE_POINT_C, ZERO_C
from hpwhsim.constants import CP_AIR
from hpwhsim.kernel import kernel
from hpwhsim.plain_math import exponential, logarithm
from hpwhsim.source.offer import Offer, met

CP_VAPOUR = 1860.0  # J/kgK
CP_WATER = 4186.0  # J/kgK
VAPORISATION = 2501e3  # J/kg, at 0 °C

COLDEST_SURFACE = -15.0  # °C; colder than a machine in room air works at. Common practice, no source
LOWEST_C = -100.0  # °C, end of the saturation-pressure fits
HIGHEST_C = 80.0  # °C, above any apparatus dew point, and below boiling at any pressure of a site
MOST_STEPS = 60  # bisection alone would need fewer than this


class Split(NamedTuple):
    """What a coil does to the air; sensible and latent heat add up to the heat taken."""

    surface: float  # apparatus dew point; of a dry coil its mean surface temperature, °C
    sensible: float  # W
    latent: float  # W, exactly 0 when dry
    condensate: float  # kg/s
    frozen: bool  # the surface would be colder than `COLDEST_SURFACE`: more heat than the air has to give


@kernel
def humidity_at(temperature: float, relative: float, pressure: float) -> tuple[float, float]:
    """Humidity ratio of air and its slope over temperature, at constant relative humidity.

    Parameters
    ----------
    temperature : float
        Over ice up to 0.01 °C, over water above; held at the ends of -100 to 80. [°C]
    relative : float
        Relative humidity, 1 for saturated air. [-]
    pressure : float
        Air pressure. [Pa]

    Returns
    -------
    ratio, slope : float, float
        [kg/kg], [1/K]
    """
    t = min(max(temperature, LOWEST_C), HIGHEST_C) + ZERO_C
    if temperature <= TRIPLE_POINT_C:
        log = -5.6745359e3 / t + 6.3925247 + 4.1635019 * logarithm(t)
        log += t * (-9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - t * 9.484024e-13)))
        rise = 5.6745359e3 / (t * t) + 4.1635019 / t - 9.677843e-3
        rise += t * (2.0 * 6.2215701e-7 + t * (3.0 * 2.0747825e-9 - t * 4.0 * 9.484024e-13))
    else:
        log = -5.8002206e3 / t + 1.3914993 + 6.5459673 * logarithm(t)
        log += t * (-4.8640239e-2 + t * (4.1764768e-5 - t * 1.4452093e-8))
        rise = 5.8002206e3 / (t * t) + 6.5459673 / t - 4.8640239e-2
        rise += t * (2.0 * 4.1764768e-5 - t * 3.0 * 1.4452093e-8)
    vapour = relative * exponential(log)
    dry = pressure - vapour
    ratio = MASS_RATIO * vapour / dry
    return ratio, ratio * rise * pressure / dry


@kernel
def split(
    heat: float, flow: float, bypass: float, pressure: float, air: Offer, water: float, feedback: float
) -> Split:
    """Sensible and latent part of the heat that a coil takes from the air.

    Parameters
    ----------
    heat : float
        Heat taken from the air. [W]
    flow : float
        Dry air through the coil. [kg/s]
    bypass : float
        Bypass factor, 0 to below 1. [-]
    pressure : float
        Air pressure. [Pa]
    air : Offer
        Temperature of the air at the coil over the *sensible* heat; slope 0 where the coil does not cool the
        air that it draws.
    water, feedback : float
        Humidity ratio of the air at the coil, ``water + feedback * saturated``, with that of saturated air at
        the apparatus dew point: an implicit step of the room's moisture balance has this form. [kg/kg], [-]

    Returns
    -------
    Split

    Notes
    -----
    The heat that the air gives falls as the apparatus dew point rises, and does so ever faster: Newton's
    method started from the dry coil steps over the solution once and then runs down to it. A bracket stands
    behind it, for the kinks where the air's temperature is held.
    """
    contact = flow * (1.0 - bypass)
    if heat <= 0.0 or contact <= 0.0:
        return Split(met(air, heat), heat, 0.0, 0.0, False)
    if_dry = water / (1.0 - feedback)
    surface = met(air, heat) - heat / (contact * (CP_AIR + CP_VAPOUR * if_dry))
    low, high = max(surface, LOWEST_C), HIGHEST_C
    saturated, rise = humidity_at(low, 1.0, pressure)
    if saturated >= if_dry:
        return Split(surface, heat, 0.0, 0.0, surface < COLDEST_SURFACE)
    surface = low
    condensate = latent = 0.0
    for _ in range(MOST_STEPS):
        per_kelvin = contact * (CP_AIR + CP_VAPOUR * saturated)
        damped = 1.0 + air.slope * per_kelvin
        floating = (air.free + air.slope * per_kelvin * surface) / damped
        inlet = min(air.high, max(air.low, floating))
        if inlet != floating:
            damped = 1.0
        sensible = per_kelvin * (inlet - surface)
        sensible_rise = (contact * CP_VAPOUR * rise * (inlet - surface) - per_kelvin) / damped
        condensate = contact * (water - (1.0 - feedback) * saturated)
        per_kg = VAPORISATION + CP_VAPOUR * inlet - CP_WATER * max(surface, 0.0)
        latent = condensate * per_kg
        excess = sensible + latent - heat
        if abs(excess) <= 1e-9 * heat:
            break
        if excess > 0.0:
            low = surface
        else:
            high = surface
        per_kg_rise = -CP_WATER if surface > 0.0 else 0.0
        if inlet == floating:
            per_kg_rise -= CP_VAPOUR * air.slope * sensible_rise
        latent_rise = condensate * per_kg_rise - contact * (1.0 - feedback) * rise * per_kg
        surface -= excess / (sensible_rise + latent_rise)
        if not low < surface < high:
            surface = 0.5 * (low + high)
        saturated, rise = humidity_at(surface, 1.0, pressure)
    condensate, latent = max(condensate, 0.0), max(latent, 0.0)  # at the edge of dry they may round below 0
    return Split(surface, heat - latent, latent, condensate, surface < COLDEST_SURFACE)
