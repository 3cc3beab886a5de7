"""Frost on the coil of an outdoor machine: what it costs hour by hour, whatever the store does.

The coil takes heat and water out of the air in a fixed proportion: air drawn towards a surface loses
``Δw L`` of latent and ``c_p ΔT`` of sensible heat, however much of it passes by without touching. That
latent share of the source heat is the one variable here. It is small in dry air, because the surface must be
below the frost point of the air, and small in deep cold, because cold air holds little water; so the worst
air is humid and a little above freezing. Where the surface is at 0 °C or above no frost stays.

Everything is proportional to it:

- *Melting.* Ice to water and off the coil takes 394 kJ/kg: the ideal defrost, a floor.
- *Defrost.* A real one also heats metal, water and outdoor air: twice the floor (`DEFROST_FACTOR`).
- *Frosted running.* Frost between defrosts chokes the air, and the machine does not heat while it defrosts.
  This follows from the rating rule for the frosting point (35 °F, wet bulb 33 °F): capacity 0.90 and power
  0.985 of what clean coils would give, defrosts included.

Within 3 K of a surface at 0 °C the last two fade out: the warmest part of the coil is then free of frost,
and air above freezing melts it in every pause.

References
----------
.. [1] 10 CFR 430 Subpart B Appendix M: 0.90 capacity and 0.985 power where the frosting point is not tested.
   The factors were read in a public copy of a code that applies them, the wet bulb is unverified.
.. [2] OSTI 5220887 (1984), one-row coil in a laboratory, -8.3 to 8.3 °C, 50 to 90 % relative humidity: frost
   growth cost more capacity than the defrosts. Abstract.
.. [3] ASHRAE Transactions 93(1), NY-87-16-3 (1987): of the yearly energy, frosting took 1 to 5 % and demand
   defrost 1 to 3 %. Abstract.
"""

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array
from hpwhsim.bounds import inside
from hpwhsim.climate.moist_air import humidity_ratio_at_saturation
from hpwhsim.constants import CP_AIR
from hpwhsim.errors import InputError

Defrost = Literal["reverse-cycle", "none"]

CONDENSATION = 2501e3  # J/kg, vapour to water at 0 °C
SUBLIMATION = 2834e3  # J/kg, vapour to ice at 0 °C
MELTING = 334e3 + 60e3  # J/kg, of the ice, and to warm ice and water until they run off

# Coil surface below the air, per source minus evaporating temperature: most of the resistance is on the
# air's side. 6 K at the usual 10 K. Common practice, no source. Both are in proportion to the coil's heat.
SPLIT_PER_APPROACH = 0.6
USUAL_SPLIT_K = 6.0
LEAST_SPLIT_K, MOST_SPLIT_K = 0.01, 30.0
LOADS = np.linspace(0.1, 1.0, 10)  # of the coil over that at full speed, at which frost is worked out

# Store heat of a real defrost over the floor. Real ones take 2 to 4 times the floor (common practice, no
# source). With 2 the rating rule leaves 5.4 % of capacity to frosted running and gives 4.8 % to the
# defrosts, which is the order that [2] found; from 2.2 on it would be the reverse.
DEFROST_FACTOR = 2.0
USUAL_COP = 2.5  # of a machine that makes hot water in frosting weather; common practice, no source

RULE_CAPACITY, RULE_POWER = 0.90, 0.985  # at 1.67 °C, wet bulb 0.56 °C [1]
RULE_LATENT_SHARE = 0.28744  # latent share there, 6 K of split, 101.325 kPa (see the tests)

# Our choice: how far the surface must be below 0 °C for all the frost to stay (no jump at 0 °C), and for its
# full effect. The worst air is then near 3 °C; 0 °C in a chamber, -4 to 3 °C on a frosting map (unverified).
EDGE_K, FADE_K = 1.0, 3.0


class Frost(NamedTuple):
    """What frost costs, each with the shape of the weather, meant for each hour that the machine runs.

    While a clean machine would make `Q` of heat from `P` of electricity, means over frosting and defrosting:

    - heat while heating: ``capacity * Q``
    - electricity, that of the defrosts included: ``power * P``
    - heat drawn back from the store: ``drawn_back * capacity * Q``
    - net heat to the store: ``(1 - drawn_back) * capacity * Q``
    - net heat from the outdoor air: net heat to the store less electricity
    """

    capacity: Array  # heating while frosted, pauses for defrost included, over that of a clean coil
    power: Array  # electricity over that of a clean coil
    drawn_back: Array  # heat that defrosts take from the store over heat while heating

    @property
    def net_capacity(self) -> Array:
        """Net heat to the store over the heat of a clean machine."""
        return self.capacity * (1.0 - self.drawn_back)

    @property
    def cop(self) -> Array:
        """Net coefficient of performance over that of a clean machine."""
        return self.net_capacity / self.power


def latent_share(
    dry_bulb_c: ArrayLike,
    humidity_ratio: ArrayLike,
    pressure_pa: ArrayLike,
    *,
    split_k: ArrayLike = USUAL_SPLIT_K,
) -> Array:
    """Share of the source heat that comes from water leaving the air, as frost or as dew.

    Parameters
    ----------
    dry_bulb_c : array_like of float, any shape
        Air entering the coil, -60 to 60. [°C]
    humidity_ratio : array_like of float, broadcast with the others
        Its water per mass of dry air, 0 to 0.2. [kg/kg]
    pressure_pa : array_like of float, broadcast with the others
        Its pressure. [Pa]
    split_k : array_like of float, broadcast with the others
        Air minus coil surface (apparatus dew point), 0.01 to 30. [K]

    Returns
    -------
    ndarray of float64, broadcast shape
        Latent share, 0 to below 1; 0 where the surface is above the dew point or frost point. Frost per
        source heat is this over `SUBLIMATION`. [-]

    Raises
    ------
    OutOfRangeError
        If a value is NaN or out of range.

    References
    ----------
    Apparatus dew point and bypass factor of a cooling coil: textbook method. The share of the air that
    touches the surface stands in latent and sensible heat alike and falls out.
    """
    air = inside("outdoor dry bulb", dry_bulb_c, -60.0, 60.0, "°C")
    water = inside("outdoor humidity ratio", humidity_ratio, 0.0, 0.2, "kg/kg")
    split = inside("split of the outdoor coil", split_k, LEAST_SPLIT_K, MOST_SPLIT_K, "K")
    surface = air - split
    lost = np.maximum(water - humidity_ratio_at_saturation(surface, pressure_pa), 0.0)
    latent = lost * np.where(surface < 0.0, SUBLIMATION, CONDENSATION)
    return np.asarray(latent / (latent + CP_AIR * split))


def melt_heat_share(
    dry_bulb_c: ArrayLike,
    humidity_ratio: ArrayLike,
    pressure_pa: ArrayLike,
    *,
    split_k: ArrayLike = USUAL_SPLIT_K,
    cop: ArrayLike = USUAL_COP,
) -> Array:
    """Heat to melt all the frost over the heat delivered: the least that any defrost by the plant can cost.

    Parameters
    ----------
    dry_bulb_c, humidity_ratio, pressure_pa, split_k
        As for `latent_share`.
    cop : array_like of float, broadcast with the others
        Heat delivered over electricity, 1 to 20; the rest of the heat comes through the coil. [-]

    Returns
    -------
    ndarray of float64, broadcast shape
        Melting heat over delivered heat, 0 where the surface is at 0 °C or above. [-]

    Raises
    ------
    OutOfRangeError
        If a value is NaN or out of range.
    """
    below = np.asarray(split_k, dtype=np.float64) - np.asarray(dry_bulb_c, dtype=np.float64)
    share = latent_share(dry_bulb_c, humidity_ratio, pressure_pa, split_k=split_k)
    ratio = inside("coefficient of performance", cop, 1.0, 20.0, "")
    stays = np.clip(below / EDGE_K, 0.0, 1.0)
    return np.asarray(stays * share * (MELTING / SUBLIMATION) * (1.0 - 1.0 / ratio))


def frost_losses(
    dry_bulb_c: ArrayLike,
    humidity_ratio: ArrayLike,
    pressure_pa: ArrayLike,
    *,
    split_k: ArrayLike = USUAL_SPLIT_K,
    kind: Defrost = "reverse-cycle",
    cop: ArrayLike = USUAL_COP,
) -> Frost:
    """What frost and defrost cost an outdoor machine, for whole years at once.

    Parameters
    ----------
    dry_bulb_c, humidity_ratio, pressure_pa
        As for `latent_share`.
    split_k : array_like of float, broadcast with the others
        Air minus coil surface: `SPLIT_PER_APPROACH` times source less evaporating temperature. [K]
    kind : {"reverse-cycle", "none"}
        Reverse-cycle and hot-gas defrost take their heat from the store. None: no outdoor coil, or a map that
        was measured with its defrosts: all factors neutral.
    cop : array_like of float, broadcast with the others
        Of the clean machine; enters only through the share of heat that passes the coil. [-]

    Returns
    -------
    Frost
        Neutral (1, 1, 0) where no frost forms.

    Raises
    ------
    InputError
        If `kind` is another word.
    OutOfRangeError
        If a value is NaN or out of range.

    Notes
    -----
    For a machine with a clean COP of 2.5 and 6 K of split the rating rule is met exactly. Frost is taken to
    be gone by the end of the hour. A machine that takes less heat in the cold, or at part speed, has less
    split, which an array of splits says: it frosts more slowly in any air, and for the same heat less, too,
    in air of up to 90 % (splits of up to 6 K, -10 °C and above). In saturated air it gives up to 17 % more
    for the same heat, because the saturation curve is steeper near the air's own temperature.

    Over the whole winter of the typical years of the tests frost and defrost take 2 to 5 % of the machine's
    electricity, as in [3]_; over its cold humid hours (-5 to 5 °C, above 80 %) 9 to 10 %. A two-year field
    test of one machine in Tennessee found 10.2 % for defrost and 3.7 % for frost over the heating season
    (OSTI 5589942, 1985, abstract): timed defrosts, which come whether there is frost or not, are not here.

    References
    ----------
    See the head of this module.

    Examples
    --------
    Saturated air at 2 and at -15 °C, and air of 60 % at 2 °C:

    >>> found = frost_losses([2.0, -15.0, 2.0], [0.00436, 0.00102, 0.00261], 101325.0)
    >>> found.cop.round(3)
    array([0.869, 0.948, 1.   ])
    """
    if kind not in ("reverse-cycle", "none"):
        raise InputError(f"defrost: got {kind!r}, allowed 'reverse-cycle' or 'none'")
    floor = melt_heat_share(dry_bulb_c, humidity_ratio, pressure_pa, split_k=split_k, cop=cop)
    if kind == "none":
        return Frost(np.ones_like(floor), np.ones_like(floor), np.zeros_like(floor))
    below = np.asarray(split_k, dtype=np.float64) - np.asarray(dry_bulb_c, dtype=np.float64)
    fade = np.clip(below / FADE_K, 0.0, 1.0)
    rule_drawn = DEFROST_FACTOR * RULE_LATENT_SHARE * (MELTING / SUBLIMATION) * (1.0 - 1.0 / USUAL_COP)
    rule_frosted = 1.0 - RULE_CAPACITY / (1.0 - rule_drawn)
    share = latent_share(dry_bulb_c, humidity_ratio, pressure_pa, split_k=split_k)
    of_rule = np.broadcast_to(fade * share / RULE_LATENT_SHARE, floor.shape)
    return Frost(
        capacity=1.0 - rule_frosted * of_rule,
        power=1.0 - (1.0 - RULE_POWER) * of_rule,
        drawn_back=floor * (1.0 + (DEFROST_FACTOR - 1.0) * fade),
    )
