"""Greenhouse gases of a kWh of fuel or steam, and of the methane lost on the gas's way to the building.

Energy of fuel is by the higher heating value, as 40 CFR 98 counts it and as gas is billed in the US.
"""

import math
from typing import NamedTuple

from hpwhsim.account.gases import Gases
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.io.us_units import KWH_PER_MMBTU
from hpwhsim.tables import read_table

"""Kilowatt-hours in a million Btu (International Table, NIST SP 811)."""

METHANE_SHARE = 0.93
"""Methane in pipeline gas by volume: 0.87 to 0.97; common practice, no source."""

MMBTU_PER_SCF = 1.026e-3
"""Higher heating value of natural gas per standard cubic foot: 40 CFR 98 Table C-1."""

# A standard cubic foot is measured at 60 degF and 14.696 psi; as an ideal gas, 0.2 % from the real one.
_MOLES_PER_SCF = 101325.0 * 0.3048**3 / (8.314462618 * (273.15 + 140.0 / 9.0))
METHANE_KG_PER_SCF = _MOLES_PER_SCF * 16.0425e-3


class Fuel(NamedTuple):
    """What a kWh of it emits where it is burnt."""

    name: str
    gases: Gases  # kg per kWh of fuel (higher heating value), or per kWh of steam delivered
    unit: str  # in which it is sold: scf, gal; kWh of heat for steam
    kwh_per_unit: float
    source: str
    status: str  # of the source: verified | secondary | unverified

    def kgco2e_per_kwh(self, basis: str) -> float:
        """All gases of a kWh as CO2, methane as fossil. [kg CO2e/kWh]."""
        return self.gases.kgco2e(basis, fossil=True)


def fuel(name: str, key: str = "carbon.fuel") -> Fuel:
    """Combustion factors of a fuel of the packaged table.

    Parameters
    ----------
    name : str
        Such as natural-gas, propane, fuel-oil-2.
    key : str
        Key of the scenario, for the message.

    Raises
    ------
    InputError
        If the table has no such fuel.

    References
    ----------
    .. [1] 40 CFR 98 Subpart C, Tables C-1 and C-2.

    Examples
    --------
    >>> round(fuel("natural-gas").kgco2e_per_kwh("AR5-100"), 5)
    0.18124
    """
    rows = {row["fuel"]: row for row in read_table("fuel_factors")}
    if name not in rows:
        raise InputError(f"{key}: got {name!r}; allowed {', '.join(rows)}")
    row = rows[name]
    gases = Gases(*(float(row[f"{gas}_kg_per_mmbtu"]) for gas in Gases._fields))
    return Fuel(
        name=name,
        gases=gases.times(1.0 / KWH_PER_MMBTU),
        unit=row["unit"],
        kwh_per_unit=float(row["mmbtu_per_unit"]) * KWH_PER_MMBTU,
        source=f"{row['citation']}, higher heating value",
        status=row["status"],
    )


def steam(boiler_fuel: Fuel, plant_efficiency: float, network_loss: float) -> Fuel:
    """District or central steam, by the heat that reaches the building.

    Parameters
    ----------
    boiler_fuel : Fuel
        What the boiler plant burns.
    plant_efficiency : float
        Heat leaving the plant over its fuel, above 0 and at most 1.
    network_loss : float
        Share of that heat lost on the way, at least 0 and below 1.

    Returns
    -------
    Fuel
        Per kWh of heat delivered: that of the fuel over ``plant_efficiency * (1 - network_loss)``.

    Raises
    ------
    OutOfRangeError
        If a share is not as said.

    Examples
    --------
    >>> oil = fuel("fuel-oil-6")
    >>> round(steam(oil, 0.8, 0.15).gases.co2 / oil.gases.co2, 4)
    1.4706
    """
    if not 0.0 < plant_efficiency <= 1.0:
        raise OutOfRangeError(
            f"carbon.steam.plant_efficiency: got {plant_efficiency:g}; allowed above 0, to 1"
        )
    if not 0.0 <= network_loss < 1.0:
        raise OutOfRangeError(f"carbon.steam.network_loss: got {network_loss:g}; allowed 0 to below 1")
    per_heat = 1.0 / (plant_efficiency * (1.0 - network_loss))
    return Fuel(
        name=f"steam from {boiler_fuel.name}",
        gases=boiler_fuel.gases.times(per_heat),
        unit="kWh",
        kwh_per_unit=1.0,
        source=f"{boiler_fuel.source}; over plant efficiency {plant_efficiency:g} x (1 - network loss "
        f"{network_loss:g}), both as stated",
        status=boiler_fuel.status,
    )


def upstream_methane(
    leak: float, methane_share: float = METHANE_SHARE, mmbtu_per_scf: float = MMBTU_PER_SCF
) -> float:
    """Methane lost between the well and the meter, for each kWh of gas delivered.

    It is reported apart and belongs in no combustion factor: times the fossil methane's warming potential it
    is the upstream part.

    Parameters
    ----------
    leak : float
        Gas lost on the way over gas delivered, at least 0 and below 1.
    methane_share : float
        Share of methane in the gas, by volume, above 0 and at most 1.
    mmbtu_per_scf : float
        Higher heating value of the gas, above 0. [MMBtu per standard cubic foot]

    Returns
    -------
    float
        [kg CH4 per kWh of gas delivered]

    Raises
    ------
    OutOfRangeError
        If a value is not as said.

    Examples
    --------
    >>> round(upstream_methane(0.01) * KWH_PER_MMBTU, 3)  # kg per MMBtu, at 1 % lost
    0.174
    """
    if not 0.0 <= leak < 1.0:
        raise OutOfRangeError(f"carbon.upstream_leak: got {leak:g}; allowed 0 to below 1")
    if not 0.0 < methane_share <= 1.0:
        raise OutOfRangeError(f"carbon.methane_share: got {methane_share:g}; allowed above 0, to 1")
    if not 0.0 < mmbtu_per_scf < math.inf:
        raise OutOfRangeError(f"heating value of gas [MMBtu/scf]: got {mmbtu_per_scf:g}; allowed above 0")
    return leak * methane_share * METHANE_KG_PER_SCF / mmbtu_per_scf / KWH_PER_MMBTU
