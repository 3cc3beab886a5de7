"""The year's heat as sums that a reader can add again: of water, heat pump, burner and meter."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from hpwhsim.account.energy import END_USES
from hpwhsim.results.declared import declared
from hpwhsim.results.numbers import decimals

Record = Mapping[str, Any]
Parts = tuple[tuple[str, str], ...]  # key of the record, what it is called

WATER_IN: Parts = (
    ("heat_pump_heat_kwh", "heat pump"),
    ("backup_heat_kwh", "backup"),
    ("loop_heater_heat_kwh", "loop tank heater"),
)
WATER_OUT: Parts = (
    ("heat_to_taps_kwh", "hot water delivered"),
    ("recirculation_loss_kwh", "recirculation loss"),
    ("storage_loss_kwh", "standby loss"),
    ("store_change_kwh", "change in stored heat"),
)
HEAT_PUMP_IN: Parts = (("source_heat_kwh", "source"), ("compressor_kwh", "its electricity"))
HEAT_PUMP_OUT: Parts = (
    ("heat_pump_heat_kwh", "to the water"),
    ("machine_loss_kwh", "unit loss"),
    ("line_loss_kwh", "line loss"),
)
ELECTRIC: Parts = tuple((key, declared(key).label) for key in END_USES)
"""What the year's electricity is used for, as every list names it; it adds up to all electricity."""

RESISTANCE: Parts = (("backup_resistance_kwh", "backup"), ("loop_heater_kwh", "loop tank"))
"""Parts of ``resistance_kwh`` where the loop's own tank has an element."""

BESIDE = ("fan_kwh", "pump_kwh", "standby_kwh")
"""What the heat pump purchases beside its own electricity; none of it counts as heat of the water."""


ELECTRICITY = "Purchased"
"""Name of the sum of the meter."""


class Sum(NamedTuple):
    """Two sides that are equal. [MWh]"""

    name: str
    left: dict[str, float]
    right: dict[str, float]


def mwh(record: Record, key: str) -> float:
    """A figure of the record in MWh; 0 where the plant has none such."""
    return float(record.get(key, 0.0)) / 1e3


def sums(record: Record) -> list[Sum]:
    """Sums of the year: the first law on the plant's water, on the heat pump, on the burner; electricity.

    What the plant does not have is left out.
    """

    def there(parts: Parts) -> dict[str, float]:
        return {name: mwh(record, key) for key, name in parts if record.get(key, 0.0) != 0.0}

    water = there(WATER_IN)
    if "heat_pump_heat_kwh" not in record and "backup" in water:
        water["heater"] = water.pop("backup")  # then it backs nothing up
    found = [Sum("Water", water, there(WATER_OUT))]
    if "heat_pump_heat_kwh" in record:
        found.append(Sum("Heat pump", there(HEAT_PUMP_IN), there(HEAT_PUMP_OUT)))
    if fuel := mwh(record, "fuel_kwh"):
        heat = mwh(record, "backup_heat_kwh")
        burnt = str(record["fuel"]).replace("-", " ")
        found.append(Sum("Fuel", {burnt: fuel}, {"to the water": heat, "heater loss": fuel - heat}))
    if electric := there(ELECTRIC):
        found.append(Sum(ELECTRICITY, electric, {"electricity": mwh(record, "electricity_kwh")}))
    return found


def digits(record: Record, factor: float = 1.0) -> int:
    """Digits behind the point at which the largest flow has four: one for all flows, so that they add up.

    Parameters
    ----------
    record : mapping
        The annual record.
    factor : float
        What a MWh is in the unit that is shown.
    """
    keys = (*WATER_IN, *WATER_OUT, *HEAT_PUMP_IN, ("fuel_kwh", ""))
    most = factor * max(abs(mwh(record, key)) for key, _ in keys)
    return next((n for n, limit in ((3, 10.0), (2, 100.0), (1, 1000.0)) if most < limit), 0)


def sum_text(one: Sum, places: int, factor: float = 1.0) -> str:
    """A sum as a line of text; terms that read as zero are left out. `factor` is a MWh in the unit shown."""

    def side(parts: dict[str, float]) -> str:
        shown = {name: factor * value for name, value in parts.items()}
        seen = {name: value for name, value in shown.items() if round(value, places) != 0.0}
        return " + ".join(f"{name} {decimals(value, places)}" for name, value in seen.items()) or "0"

    return f"{one.name}: {side(one.left)} = {side(one.right)}"
