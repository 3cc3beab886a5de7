"""What engineers compare plants by, in both systems of units."""

from collections.abc import Iterator
from typing import Any

from hpwhsim.evaluation.result import Result
from hpwhsim.io.us_units import BTU_H, KWH_PER_MMBTU, LITRES_PER_GALLON
from hpwhsim.results.numbers import amount, decimals


def measures(result: Result) -> Iterator[tuple[str, str, str]]:
    """Rows of name, SI and inch-pound."""
    scenario, year, record = result.plant.scenario, result.plant.year, dict(result.plant.record)
    values: dict[str, Any] = record
    homes, storage = scenario.building.apartments, scenario.plant.storage
    made, litres = year.made, values["hot_water_litres"]
    heat, purchased = values["heat_to_taps_kwh"], values["electricity_kwh"] + values["fuel_kwh"]

    def temperature(name: str, value: float) -> tuple[str, str, str]:
        return name, f"{decimals(value)} °C", f"{decimals(1.8 * value + 32.0)} °F"

    def volume(name: str, value: float, per: str) -> tuple[str, str, str]:
        return name, amount(value, f"L{per}"), amount(value / LITRES_PER_GALLON, f"gal{per}")

    def energy(name: str, value: float) -> tuple[str, str, str]:
        return name, amount(value / 1e3, "MWh"), amount(value / KWH_PER_MMBTU, "MMBtu")

    def power(name: str, watts: float, per: str = "") -> tuple[str, str, str]:
        return name, amount(watts, f"W{per}"), amount(watts / BTU_H, f"Btu/h{per}")

    yield volume("hot water from the plant, a day and apartment", litres / 365.0 / homes, "")
    yield energy("hot water delivered", heat)
    yield power("recirculation loss, mean", values["recirculation_loss_kwh"] / 8.76 / homes, " per apartment")
    yield power("standby loss, mean", values["storage_loss_kwh"] / 8.76)
    if litres > 0.0:
        per = purchased / litres * 1e3
        yield (
            "purchased energy for the hot water",
            amount(per, "kWh/m³"),
            amount(per * LITRES_PER_GALLON, "kWh per 1,000 gal"),
        )
    yield "electricity, a year and apartment", amount(values["electricity_kwh"] / homes, "kWh"), ""
    yield "peak power", amount(values["peak_kw"] * 1e3 / homes, "W per apartment"), ""
    if values["fuel_kwh"] > 0.0:
        fuel = values["fuel_kwh"]
        yield "fuel (higher heating value)", amount(fuel, "kWh"), amount(fuel * 10.0 / KWH_PER_MMBTU, "therm")
    if made.modules > 0:
        watts = made.capacity * made.modules
        yield "heat pump, rated capacity", amount(watts / 1e3, "kW"), amount(watts / BTU_H / 1e3, "kBtu/h")
        yield temperature("coldest source", values["source_min_c"])
        yield temperature("mean source", values["source_mean_c"])
    yield volume("store", storage.volume * 1e3, "")
    yield volume("store, an apartment", storage.volume * 1e3 / homes, "")
    yield temperature("store is charged to", storage.setpoint)
    yield temperature("coldest top of the store", values["store_min_top_c"])
