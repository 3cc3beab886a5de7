"""The sheet of factors: what the formulas weigh the hours with, in cells that may be changed."""

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from hpwhsim.account.calendar import ALL_MONTHS, MONTH_NAMES
from hpwhsim.account.savings import MMBTU_PER_KWH, site_to_source
from hpwhsim.account.tariff import Tariff
from hpwhsim.report.carbon_factors import CarbonFactors, carbon_factors
from hpwhsim.report.formula import HOURS, Array, Column, Formula
from hpwhsim.report.sheets import Book, Columns, Page
from hpwhsim.storage.tank import RHO_CP
from hpwhsim.study.dossier import Papers, Side
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


def hourly_factors(papers: Papers) -> dict[str, Array]:
    """Factors that change by the hour, each shape (8760,): of the grid, and the price or its band."""
    found = {}
    for name, grid in (("grid", papers.grid), ("marginal", papers.marginal)):
        if grid is not None and grid.kgco2e_per_kwh.shape[1] == HOURS:
            found[f"{name}_kg_per_kwh"] = grid.kgco2e_per_kwh[0]
    tariff = papers.plant.tariff
    if tariff is not None and tariff.electricity is not None:
        split = bands(tariff)
        if split is None:
            found["usd_per_kwh"] = tariff.electricity
        elif split[0].size > 1:
            found["price_band"] = split[1]
    return found


def factor_sheet(book: Book, papers: Papers, outside: Columns) -> Factors:
    """Fill the sheet; `outside` are the columns of `hourly_factors`."""
    page = Page(book, "Factors")
    book.widths("Factors", 58, 16, 18, 34, 90, freeze=1)
    label = "million Btu (International Table) in a kWh"
    mmbtu = page.given(label, "MMBtu/kWh", MMBTU_PER_KWH, "mmbtu_per_kwh", "NIST SP 811")
    to_source = _to_source(page, papers) if papers.baseline is not None else {}
    carbon = carbon_factors(page, papers, outside, mmbtu)
    prices = _prices(page, papers.sides, outside)
    sewage, water, floor = papers.plant.scenario.plant.source.wastewater, None, None
    if sewage is not None:
        label = "heat of a cubic metre of water for each K"
        water = page.given(label, "kWh/m3/K", RHO_CP / 3.6e6, "water_heat", "water at 50 degC")
        label = "temperature below which the sewage may not leave"
        floor = page.given(label, "degC", sewage.floor, "sewage_floor")
    return Factors(mmbtu, to_source, carbon, prices, water, floor)


def _to_source(page: Page, papers: Papers) -> dict[str, tuple[Formula, Formula, Formula]]:
    """Source energy over site energy by plant | baseline: of electricity, its fuel, gas of the room."""
    sides, what = papers.sides, "source energy over site energy"
    given = papers.plant.scenario.savings

    average = str(cited("[epa-source-energy]"))
    by_fuel = str(cited("[epa-source-energy]; [epa-source-energy-oil]; [doe-source-energy-steam]"))

    def source(key: str, packaged: str) -> str:
        return packaged if getattr(given, key) is None else f"savings.{key}"

    ratio, key = papers.electricity_to_source, "electricity_to_source"
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


def _prices(page: Page, sides: Mapping[str, Side], outside: Columns) -> Prices | None:
    """Prices of bands, tiers, demand charges, connection, and fuel by plant | baseline."""
    tariff = sides["plant"].tariff
    if tariff is None:
        return None
    split = bands(tariff)
    prices = [
        page.given(
            f"electricity, price band {n}", "USD/kWh", price, f"price_of_band_{n}", "tariff.electricity"
        )
        for n, price in enumerate(split[0].tolist() if split is not None else (), start=1)
    ]
    tiers: list[tuple[Formula, Formula | None]] = []
    for n, tier in enumerate(tariff.tiers, start=1):
        when = "" if tier.months == ALL_MONTHS else f" (months {', '.join(map(str, tier.months))})"
        price = page.given(
            f"electricity, tier {n}{when}", "USD/kWh", tier.price, f"tier_{n}_price", "tariff.tiers"
        )
        end = None
        if math.isfinite(tier.up_to):
            end = page.given(f"end of tier {n}", "kWh/month", tier.up_to, f"tier_{n}_end", "tariff.tiers")
        tiers.append((price, end))
    demand = [
        (
            page.given(
                f"demand charge {n}", "USD/kW/month", charge.price, f"demand_{n}_price", "tariff.demand"
            ),
            page.given(
                f"ratchet of demand charge {n}", "1", charge.ratchet, f"demand_{n}_ratchet", "tariff.demand"
            ),
        )
        for n, charge in enumerate(tariff.demand, start=1)
    ]
    fixed = page.given("charge for the connection", "USD/month", tariff.fixed, "fixed_charge", "tariff.fixed")
    fuel = {name: _fuel_prices(page, name, side.tariff) for name, side in sides.items()}
    return Prices(
        tuple(prices),
        outside.get("price_band"),
        outside.get("usd_per_kwh"),
        tuple(tiers),
        tuple(demand),
        fixed,
        {name: cells for name, cells in fuel.items() if cells},
    )


def _fuel_prices(page: Page, name: str, tariff: Tariff | None) -> tuple[Formula, ...]:
    """Prices of the twelve months; none without one."""
    if tariff is None or tariff.fuel is None:
        return ()
    by_month, label = tariff.fuel.tolist(), f"fuel of the {name}"
    if len(set(by_month)) == 1:
        return (page.given(label, "USD/kWh", by_month[0], f"{name}_fuel_price", "tariff.fuel"),) * 12
    return tuple(
        page.given(
            f"{label}, {MONTH_NAMES[m]}", "USD/kWh", price, f"{name}_fuel_price_{m + 1}", "tariff.fuel"
        )
        for m, price in enumerate(by_month)
    )
