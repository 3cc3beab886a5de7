"""Cells of what plant and baseline cost, as given: capital, incentives, upkeep, replacements, bills."""

from typing import NamedTuple

from hpwhsim.account.economics import PlantCosts
from hpwhsim.account.savings import MMBTU_PER_KWH
from hpwhsim.dossier.workbook.carbon_sheet import AFTER, OF_YEAR
from hpwhsim.dossier.workbook.factor_rows import Page
from hpwhsim.dossier.workbook.formula import Formula, added, maximum, minimum
from hpwhsim.dossier.workbook.sheets import Cells, Columns, at
from hpwhsim.io.units import CAPACITY_PRICE, ENERGY_PRICE, YEARLY_MONEY
from hpwhsim.scenario.money import Costs


class Outlay(NamedTuple):
    """Cells of one plant, in money of today."""

    capital: Formula
    incentives: Formula
    maintenance: Formula
    electricity: Formula
    fuel: Formula
    heat: Formula  # MWh of a year
    kgco2e: list[Formula]  # of each year; none where no gases are counted
    replacements: list[tuple[Formula, Formula]]  # year and cost


def incentives(
    page: Page, costs: Costs, capital: Formula, capacity: float, saved: Cells, written: object = None
) -> list[Formula]:
    """What each incentive pays: the sum of its parts, up to its cap and to what is left of the capital."""
    size: Formula | None = None
    left, paid = capital, []
    for n, one in enumerate(costs.incentives, start=1):

        def given(what: str, unit: str, value: float, key: str, n: int = n, name: str = one.name) -> Formula:
            return page.given(f"{name}: {what}", unit, value, f"incentive_{n}_{key}", "costs.incentives")

        parts: list[Formula] = []
        if one.lump_sum is not None:
            parts.append(given("an amount", "USD", one.lump_sum, "lump_sum"))
        if one.per_unit is not None:
            each = given("for each unit", "USD", one.per_unit, "per_unit")
            parts.append(each * given("units", "1", float(one.units or 0), "units"))
        if one.per_capacity is not None:
            if size is None:
                size = page.given(
                    "rated heat of the whole plant", "kW", capacity, "plant_capacity_kw", "of all modules"
                )
            each = page.quantity(
                f"{one.name}: for each kW",
                "USD/kW",
                one.per_capacity,
                f"incentive_{n}_per_capacity",
                "costs.incentives",
                at(written, n - 1, "per_capacity"),
                CAPACITY_PRICE,
            )
            parts.append(each * size)
        if one.per_site_energy_saved is not None:
            price = one.per_site_energy_saved / MMBTU_PER_KWH
            each = given("for each MMBtu of site energy saved", "USD/MMBtu", price, "per_site_mmbtu")
            parts.append(each * maximum(saved.get("site_mmbtu", 0.0), 0.0))
        if one.per_electricity_saved is not None:
            each = page.quantity(
                f"{one.name}: for each kWh of electricity saved",
                "USD/kWh",
                one.per_electricity_saved,
                f"incentive_{n}_per_kwh",
                "costs.incentives",
                at(written, n - 1, "per_electricity_saved"),
                ENERGY_PRICE,
            )
            parts.append(each * maximum(saved.get("electricity_kwh", 0.0), 0.0))
        cap = given("maximum, fraction of the capital", "1", one.max_share, "max_share")
        amount = minimum(added(parts), cap * capital, left)
        paid.append(page.follows(f"{one.name}: pays", "USD", amount, f"incentive_{n}_usd"))
        left = left - paid[-1]
    return paid


def outlay(
    page: Page,
    name: str,
    costs: PlantCosts,
    columns: Columns,
    live: Cells,
    capital: Formula,
    paid: list[Formula],
    written: object,
    years: int,
) -> Outlay:
    """Write what a plant costs, beside its capital and the incentives `paid`."""
    label, key = f"incentives of the {name}", f"{name}_incentives"
    got = page.follows(label, "USD", added(paid), key) if paid else page.given(label, "USD", 0.0, key)
    label = f"maintenance of the {name}"
    maintenance = page.quantity(
        label,
        "USD/year",
        costs.maintenance,
        f"{name}_maintenance",
        f"{block(name)}.maintenance",
        at(written, "maintenance"),
        YEARLY_MONEY,
    )
    bills = {}
    for energy in ("electricity", "fuel"):
        parts = [live[f"{whose}.{energy}"] for whose in ("bill", "room") if f"{whose}.{energy}" in live]
        label = f"{energy} of the {name}, with its room, today's prices"
        bills[energy] = page.follows(label, "USD/year", added(parts), f"{name}_{energy}_usd")
    heat = (columns["heat_to_taps_kwh"].total() + columns["recirculation_loss_kwh"].total()) / 1000.0
    useful = page.follows(f"useful heat of the {name}", "MWh/year", heat, f"{name}_useful_mwh")
    gases = []
    if AFTER in live:
        gases = [live.get(f"{OF_YEAR}{year}", live[AFTER]) for year in range(1, years + 1)]
    again, source = [], f"{block(name)}.replacements"
    for n, (year, cost) in enumerate(costs.replacements, start=1):
        label, key = f"replacement {n} of the {name}", f"{name}_replacement_{n}"
        when = page.given(f"{label}: at the end of year", "year", float(year), f"{key}_year", source)
        again.append(
            (when, page.given(f"{label}: cost in money of today", "USD", cost, f"{key}_usd", source))
        )
    return Outlay(capital, got, maintenance, bills["electricity"], bills["fuel"], useful, gases, again)


def block(name: str) -> str:
    """Key of the costs of plant or baseline."""
    return "costs" if name == "plant" else f"costs.{name}"
