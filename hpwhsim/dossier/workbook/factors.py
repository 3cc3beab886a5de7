"""The sheet of factors: what the formulas weigh the hours with, in cells that may be changed."""

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.account.calendar import ALL_MONTHS, MONTH_NAMES, When, mask
from hpwhsim.account.savings import MMBTU_PER_KWH, site_to_source
from hpwhsim.account.tariff import Tariff
from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.dossier.workbook.carbon_factors import CarbonFactors, carbon_factors
from hpwhsim.dossier.workbook.factor_rows import Page
from hpwhsim.dossier.workbook.formula import Column, Formula
from hpwhsim.dossier.workbook.sheets import Book, Columns, at
from hpwhsim.evaluation.result import Result
from hpwhsim.io.units import DEMAND_PRICE, ENERGY, ENERGY_PRICE, MONTHLY_MONEY, written_in
from hpwhsim.storage.layers import RHO_CP
from hpwhsim.tables.sources import cited

BANDS = 24  # a tariff of more prices than these is no list of bands: each hour has its own price


class Prices(NamedTuple):
    """Cells of a tariff."""

    bands: tuple[Formula, ...]  # USD/kWh of each band
    band: Column | None  # number of each hour's band, from 1
    hourly: Column | None  # USD/kWh of each hour, where there are no bands
    tiers: tuple[tuple[Formula, Formula | None], ...]  # price and end
    demand: tuple[tuple[Formula, Formula], ...]  # price and ratchet
    fixed: Formula
    fuel: dict[str, tuple[Formula, ...]]  # of the twelve months, by plant | baseline


class Factors(NamedTuple):
    """Cells of the sheet, and columns where a factor changes by the hour."""

    mmbtu: Formula  # MMBtu in a kWh
    to_source: dict[str, tuple[Formula, Formula, Formula]]  # electricity, fuel, and gas that heats a room
    carbon: CarbonFactors | None
    prices: Prices | None
    water: Formula | None  # kWh in a cubic metre of water for each K
    sewage_floor: Formula | None  # degC, below which sewage may not leave


def bands(tariff: Tariff) -> tuple[Array, Array] | None:
    """Different hourly prices, and the number of each hour's from 1; None where there are too many."""
    if tariff.electricity is None:
        return None
    prices, index = np.unique(tariff.electricity, return_inverse=True)
    return (prices, np.asarray(index + 1.0, dtype=np.float64)) if prices.size <= BANDS else None


def hourly_factors(result: Result) -> dict[str, Array]:
    """Factors that change by the hour, each shape (8760,): of the grid, and the price or its band."""
    found = {}
    for name, grid in (("grid", result.grid), ("marginal", result.marginal)):
        if grid is not None and grid.kgco2e_per_kwh.shape[1] == HOURS:
            found[f"{name}_kg_per_kwh"] = grid.kgco2e_per_kwh[0]
    tariff = result.plant.tariff
    if tariff is not None and tariff.electricity is not None:
        split = bands(tariff)
        if split is None:
            found["usd_per_kwh"] = tariff.electricity
        elif split[0].size > 1:
            found["price_band"] = split[1]
    if "usd_per_kwh" in found or "price_band" in found:  # what a price is looked up by
        found["hour_of_day"] = np.arange(float(HOURS)) % 24.0
        found["weekend"] = mask(When(days="weekends")).astype(np.float64)
    return found


def factor_sheet(book: Book, result: Result, outside: Columns) -> Factors:
    """Fill the sheet; `outside` are the columns of `hourly_factors`."""
    page = Page(book, "Factors")
    book.widths("Factors", 54, 13, 16, 24, 32, 80, freeze=1)
    label = "million Btu (International Table) in a kWh"
    mmbtu = page.given(label, "MMBtu/kWh", MMBTU_PER_KWH, "mmbtu_per_kwh", "NIST SP 811")
    to_source = _to_source(page, result) if result.baseline is not None else {}
    carbon = carbon_factors(page, result, outside, mmbtu)
    prices = _prices(page, result, outside)
    sewage, water, floor = result.plant.scenario.plant.source.wastewater, None, None
    if sewage is not None:
        label = "heat of a cubic metre of water for each K"
        water = page.given(label, "kWh/m3/K", RHO_CP / 3.6e6, "water_heat", "water at 50 degC")
        label = "temperature below which the sewage may not leave"
        floor = page.given(label, "degC", sewage.min_temperature, "sewage_floor")
    return Factors(mmbtu, to_source, carbon, prices, water, floor)


def _to_source(page: Page, result: Result) -> dict[str, tuple[Formula, Formula, Formula]]:
    """Source energy over site energy by plant | baseline: of electricity, its fuel, gas of the room."""
    sides, what = result.sides, "source energy over site energy"
    given = result.plant.scenario.savings

    average = str(cited("[epa-source-energy]"))
    by_fuel = str(cited("[epa-source-energy]; [epa-source-energy-oil]; [doe-source-energy-steam]"))

    def source(key: str, packaged: str) -> str:
        return packaged if getattr(given, key) is None else f"savings.{key}"

    ratio, key = result.electricity_to_source, "electricity_to_source"
    electric = page.given(f"{what}, electricity", "1", ratio, key, source(key, average))
    heating = electric  # of the room's heating by gas
    if any(side.room for side in sides.values()):
        ratio = site_to_source("natural-gas")
        heating = page.given(f"{what}, gas of the room", "1", ratio, "room_gas_to_source", average)
    found = {}
    for name, side in sides.items():
        label, key = f"{what}, fuel of the {name}", f"{name}_fuel_to_source"
        own = page.given(label, "1", side.fuel_to_source, key, source(key.removeprefix("plant_"), by_fuel))
        found[name] = (electric, own, heating)
    return found


def _prices(page: Page, result: Result, outside: Columns) -> Prices | None:
    """Prices of bands, tiers, demand charges, connection, and fuel by plant | baseline."""
    sides = result.sides
    tariff, written = sides["plant"].tariff, sides["plant"].written
    if tariff is None:
        return None
    split = bands(tariff)
    texts = _written_prices(at(written, "tariff", "electricity"))
    prices = [
        page.quantity(
            f"electricity, price band {n}",
            "USD/kWh",
            price,
            f"price_of_band_{n}",
            "tariff.electricity",
            texts.get(price),
            ENERGY_PRICE,
        )
        for n, price in enumerate(split[0].tolist() if split is not None else (), start=1)
    ]
    tiers: list[tuple[Formula, Formula | None]] = []
    for n, tier in enumerate(tariff.tiers, start=1):
        when = "" if tier.months == ALL_MONTHS else f" (months {', '.join(map(str, tier.months))})"
        price = page.quantity(
            f"electricity, tier {n}{when}",
            "USD/kWh",
            tier.price,
            f"tier_{n}_price",
            "tariff.tiers",
            at(written, "tariff", "tiers", n - 1, "price"),
            ENERGY_PRICE,
        )
        end = None
        if math.isfinite(tier.up_to):
            label, up_to = f"end of tier {n}", at(written, "tariff", "tiers", n - 1, "up_to")
            end = page.quantity(
                label, "kWh/month", tier.up_to, f"tier_{n}_end", "tariff.tiers", up_to, ENERGY
            )
        tiers.append((price, end))
    demand = [
        (
            page.quantity(
                f"demand charge {n}",
                "USD/kW/month",
                charge.price,
                f"demand_{n}_price",
                "tariff.demand",
                at(written, "tariff", "demand", n - 1, "price"),
                DEMAND_PRICE,
            ),
            page.given(
                f"ratchet of demand charge {n}", "1", charge.ratchet, f"demand_{n}_ratchet", "tariff.demand"
            ),
        )
        for n, charge in enumerate(tariff.demand, start=1)
    ]
    fixed = page.quantity(
        "charge for the connection",
        "USD/month",
        tariff.fixed,
        "fixed_charge",
        "tariff.fixed",
        at(written, "tariff", "fixed"),
        MONTHLY_MONEY,
    )
    fuel = {name: _fuel_prices(page, name, side.tariff, written) for name, side in sides.items()}
    return Prices(
        tuple(prices),
        outside.get("price_band"),
        outside.get("usd_per_kwh"),
        tuple(tiers),
        tuple(demand),
        fixed,
        {name: cells for name, cells in fuel.items() if cells},
    )


def _written_prices(electricity: object) -> dict[float, str]:
    """What was written of each price of electricity, by the price. [USD/kWh]"""
    blocks = electricity if isinstance(electricity, list) else [{"price": electricity}]
    texts = [text for block in blocks if isinstance(text := at(block, "price"), str)]
    return {
        found[0] * found[2]: text
        for text in reversed(texts)
        if (found := written_in(text, ENERGY_PRICE)) is not None
    }


def _fuel_prices(
    page: Page, name: str, tariff: Tariff | None, written: Mapping[str, Any]
) -> tuple[Formula, ...]:
    """Prices of the twelve months; none without one."""
    if tariff is None or tariff.fuel is None:
        return ()
    own = name == "baseline" and at(written, "tariff", "baseline_fuel") is not None
    key = "baseline_fuel" if own else "fuel"
    by_month, label, texts = tariff.fuel.tolist(), f"fuel of the {name}", at(written, "tariff", key)
    if len(set(by_month)) == 1:
        text = texts[0] if isinstance(texts, list) else texts
        cell = f"{name}_fuel_price"
        price = page.quantity(label, "USD/kWh", by_month[0], cell, f"tariff.{key}", text, ENERGY_PRICE)
        return (price,) * 12
    return tuple(
        page.quantity(
            f"{label}, {MONTH_NAMES[m]}",
            "USD/kWh",
            price,
            f"{name}_fuel_price_{m + 1}",
            f"tariff.{key}",
            at(texts, m),
            ENERGY_PRICE,
        )
        for m, price in enumerate(by_month)
    )
