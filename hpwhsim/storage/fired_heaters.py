"""Baselines by the published minimum: gas and oil heaters, boilers, resistance tanks, and district steam.

What a new heater must at least do is published for the United States: commercial heaters have a least
thermal efficiency and a largest standby loss, residential ones a least uniform energy factor. The first two
make a simulated heater: fuel is heat over efficiency, and the standby loss is a heat loss of the store. The
uniform energy factor is a whole day of a test, standby included: never add a standby loss to it.

Fuel counts by higher heating value. A store that burns nothing needs R-12.5 h ft2 degF/Btu of insulation at
least (10 CFR 431.110), which is the default heat loss of any store here. The heater of an electric one turns
all its electricity into heat.

References
----------
.. [1] 10 CFR 431.110, commercial water heaters. The text that each row
   is from stands in the packaged table ``heater_standards``, and in what is returned.
"""

import math
from datetime import date
from typing import NamedTuple

from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.io.us_units import BTU_H, GALLON
from hpwhsim.tables import read_table

STANDBY_K = 70.0 / 1.8  # K, store over room in the standby rating
STORED_BTU = 8.25  # Btu per gallon and degF, as the rule's percentages are usually turned into power
ROUNDING = 1e-9  # of a volume written in other units
UNFIRED_TANK = 12.5 * 0.176110  # m²K/W; of unfired storage tanks, 10 CFR 431.110


class Standard(NamedTuple):
    """The least that a commercial heater must do."""

    thermal_efficiency: float | None  # heat to the water over fuel; None: the rule sets none
    standby_loss_w: float | None  # W of fuel or electricity, 38.9 K over the room; None: the rule sets none
    citation: str
    status: str  # verified | secondary | unverified

    @property
    def heat_loss(self) -> float | None:
        """Heat loss of the store that goes with the standby loss. [W/K]

        The standby loss of a fuel is fuel burnt to keep the store hot; the store loses the heat of it.
        """
        if self.standby_loss_w is None:
            return None
        return self.standby_loss_w * (self.thermal_efficiency or 1.0) / STANDBY_K


def commercial_standard(
    kind: str, made: date, input_w: float, volume_m3: float, key: str = "plant.heater"
) -> Standard:
    """Least thermal efficiency and largest standby loss of a commercial heater.

    Parameters
    ----------
    kind : str
        gas-storage, oil-storage, gas-boiler or oil-boiler (hot-water supply boilers, and the instantaneous
        heaters of that fuel), electric-storage, electric-instantaneous.
    made : datetime.date
        Date of manufacture. The rule of gas heaters changes on 6 October 2026.
    input_w : float
        Rated input of fuel, higher heating value; electric heaters do not need it. [W]
    volume_m3 : float
        Storage volume of the heater itself, 0 for a boiler with none. [m³]
    key : str
        Where the heater stands in the scenario, for messages.

    Returns
    -------
    Standard

    Raises
    ------
    InputError
        If the kind is not known, the date is before the rules held here, or a number is out of range.

    References
    ----------
    10 CFR 431.110 [1]_.

    Examples
    --------
    >>> tank = commercial_standard("gas-storage", date(2024, 1, 1), 199e3 * BTU_H, 100 * GALLON)
    >>> tank.thermal_efficiency, round(tank.standby_loss_w / BTU_H)
    (0.8, 1349)
    """
    for name, value in (("input", input_w), ("volume", volume_m3)):
        if not (math.isfinite(value) and value >= 0.0):
            raise OutOfRangeError(f"{key}.{name}: got {value:g}; allowed 0 or more")
    gallons, btu_h = volume_m3 / GALLON, input_w / BTU_H
    rows = _in_force("heater_standards", "kind", kind, made, key)
    row = max(
        (row for row in rows if gallons >= float(row["least_gal"]) * (1.0 - ROUNDING)),
        key=lambda row: (float(row["least_gal"]), row["effective"]),
    )
    loss: float | None = None
    if row["standby"] == "input-volume":
        loss = float(row["factor"]) * (btu_h / 800.0 + 110.0 * math.sqrt(gallons)) * BTU_H
    elif row["standby"] == "percent-volume":
        if not gallons > 0.0:
            raise OutOfRangeError(f"{key}.volume: got 0; allowed above 0 for {kind}")
        percent = float(row["a"]) + float(row["b"]) / gallons
        loss = percent / 100.0 * gallons * STORED_BTU * 70.0 * BTU_H
    efficiency = float(row["thermal_efficiency"]) if row["thermal_efficiency"] else None
    return Standard(efficiency, loss, row["citation"], row["status"])


def _in_force(table: str, column: str, name: str, made: date, key: str) -> list[dict[str, str]]:
    """Rows called `name` in `column` that hold at the date, or held before others took their place.

    Raises
    ------
    InputError
        If there is no such name, or none of its rows holds yet.
    """
    rows = read_table(table)
    if name not in {row[column] for row in rows}:
        known = ", ".join({row[column]: None for row in rows})
        raise InputError(f"{key}.kind: got {name!r}; allowed {known}")
    named = [row for row in rows if row[column] == name]
    held = [row for row in named if date.fromisoformat(row["effective"]) <= made]
    if not held:
        first = min(row["effective"] for row in named)
        raise InputError(f"{key}.made: got {made}; allowed {first} or later for {name}")
    return held


def district_steam_efficiency(
    condensate_returned: float = 0.0,
    *,
    steam_pressure_pa: float = 2e5,
    condensate_c: float = 90.0,
    make_up_c: float = 10.0,
    jacket_loss: float = 0.02,
) -> float:
    """Heat to the water over heat bought as steam, on the house's side of the service valve.

    The exchanger takes what steam gives up until its condensate leaves. Condensate that goes to the drain
    takes its heat along, and cold water must take its place in the steam works: all heat above that water is
    bought. Condensate that goes back is credited with its heat. What the jacket of exchanger and piping loses
    comes off as a share. What boilers and street mains lose belongs to the emission factor of the steam.

    All defaults are common practice, no source: steam reduced to 2 bar (15 psi gauge), condensate that leaves
    at 90 °C and goes to the drain, 2 % lost by insulated exchangers. They give 0.857; with all condensate
    returned, 0.98.

    Parameters
    ----------
    condensate_returned : float
        Share of the condensate that goes back, 0 to 1.
    steam_pressure_pa : float
        Dry saturated steam at the exchanger, 0.5 to 20 bar absolute. [Pa]
    condensate_c : float
        Condensate leaving the exchanger, below the boiling point at that pressure. [°C]
    make_up_c : float
        Water that replaces condensate lost. [°C]
    jacket_loss : float
        Share of the heat given up that does not reach the water, 0 to 0.5.

    Returns
    -------
    float

    Raises
    ------
    OutOfRangeError
        If a number is out of range.
    """
    from CoolProp.CoolProp import PropsSI

    for name, value, low, high in (
        ("condensate_returned", condensate_returned, 0.0, 1.0),
        ("steam_pressure [Pa]", steam_pressure_pa, 0.5e5, 20e5),
        ("make_up [degC]", make_up_c, 0.1, condensate_c),
        ("jacket_loss", jacket_loss, 0.0, 0.5),
    ):
        if not low <= value <= high:  # NaN fails this too
            raise OutOfRangeError(f"district steam, {name}: got {value:g}; allowed {low:g} to {high:g}")
    boiling_c = float(PropsSI("T", "P", steam_pressure_pa, "Q", 1.0, "Water")) - 273.15
    if not condensate_c <= boiling_c:
        raise OutOfRangeError(
            f"district steam, condensate [degC]: got {condensate_c:g}; allowed at most {boiling_c:.1f}, the "
            "boiling point at its pressure"
        )
    steam = float(PropsSI("H", "P", steam_pressure_pa, "Q", 1.0, "Water"))
    leaving, cold = (
        float(PropsSI("H", "T", t + 273.15, "Q", 0.0, "Water")) for t in (condensate_c, make_up_c)
    )
    bought = steam - condensate_returned * leaving - (1.0 - condensate_returned) * cold
    return (1.0 - jacket_loss) * (steam - leaving) / bought
