"""The sheet of factors: what the formulas weigh the hours with, in cells that may be changed."""

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.account.calendar import ALL_MONTHS, MONTH_NAMES
from hpwhsim.account.grid import Grid
from hpwhsim.account.savings import MMBTU_PER_KWH, site_to_source
from hpwhsim.account.tariff import Tariff
from hpwhsim.report.sheets import HOURS, Book, Cell, Column
from hpwhsim.study.dossier import Papers, Refrigerant, Side

Array = NDArray[np.float64]
BANDS = 24  # a tariff of more prices than these is no list of bands: each hour has its own price


class Factors(NamedTuple):
    """Cells of the sheet, and columns where a factor changes by the hour."""

    mmbtu: Cell  # MMBtu in a kWh
    grid: tuple[Cell, ...]  # kg CO2e/kWh: one, or one for each year of service; none where hourly
    grid_hourly: Column | None
    marginal: tuple[Cell, ...]  # in the same way
    marginal_hourly: Column | None
    fuel: dict[str, Cell]  # kg CO2e/kWh, by plant | baseline
    room_gas: Cell | None  # kg CO2e/kWh, of the gas that heats the room of a machine
    refrigerant: dict[str, dict[str, Cell]]  # by plant | baseline, then the fields of Refrigerant
    to_source: dict[str, tuple[Cell, Cell, Cell]]  # of electricity, fuel, and gas that heats a room
    prices: tuple[Cell, ...]  # USD/kWh of each band
    band: Column | None  # number of each hour's band, from 1
    price: Column | None  # USD/kWh of each hour, where there are no bands
    tiers: tuple[tuple[Cell, Cell | None], ...]  # price and end
    demand: tuple[tuple[Cell, Cell], ...]  # price and ratchet
    fixed: Cell | None
    fuel_price: dict[str, tuple[Cell, ...]]  # of the twelve months


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


class _Page:
    """Rows of the sheet, one below the other."""

    def __init__(self, book: Book) -> None:
        self.book, self.row = book, 0
        book.texts("Factors", 0, ["factor", "unit", "value", "name of the cell", "source"])
        book.widths("Factors", 58, 16, 18, 34, 90, freeze=1)

    def put(self, label: str, unit: str, value: float, name: str, source: str = "") -> Cell:
        self.row += 1
        self.book.texts("Factors", self.row, [label, unit], "text")
        self.book.texts("Factors", self.row, [name, source], "text", column=3)
        return self.book.named("Factors", self.row, 2, value, name)


def factor_sheet(book: Book, papers: Papers, outside: Mapping[str, Column]) -> Factors:
    """Fill the sheet; `outside` are the columns of `hourly_factors`."""
    page = _Page(book)
    sides = papers.sides
    mmbtu = page.put(
        "million Btu (International Table) in a kWh", "MMBtu/kWh", MMBTU_PER_KWH, "mmbtu_per_kwh"
    )
    to_source = {}
    if papers.baseline is not None:
        ratio = papers.electricity_to_source
        electric = page.put(
            "source energy over site energy, electricity", "1", ratio, "electricity_to_source"
        )
        heating = electric  # of the room's heating by gas
        if any(side.room for side in sides.values()):
            label, ratio = "source energy over site energy, gas of the room", site_to_source("natural-gas")
            heating = page.put(label, "1", ratio, "room_gas_to_source")
        for name, side in sides.items():
            label = f"source energy over site energy, fuel of the {name}"
            own = page.put(label, "1", side.fuel_to_source, f"{name}_fuel_to_source")
            to_source[name] = (electric, own, heating)
    grid: list[Cell] = []
    marginal: list[Cell] = []
    fuel: dict[str, Cell] = {}
    room_gas = None
    refrigerant: dict[str, dict[str, Cell]] = {}
    if papers.grid is not None:
        grid = _grid(page, papers.grid, "grid")
        if papers.marginal is not None:
            marginal = _grid(page, papers.marginal, "marginal")
        if any(side.room for side in sides.values()):
            label, factor = "gas that heats the room of the machine", papers.room_gas_kgco2e_per_kwh
            room_gas = page.put(label, "kg CO2e/kWh", factor, "room_gas_factor")
        for name, side in sides.items():
            label = f"fuel of the {name}"
            factor = side.fuel_kgco2e_per_kwh
            fuel[name] = page.put(label, "kg CO2e/kWh", factor, f"{name}_fuel_factor", side.fuel_source)
            if side.refrigerant is not None:
                refrigerant[name] = _refrigerant(page, name, side.refrigerant)
    prices, tiers, demand, fixed, fuel_price = _tariff(page, sides)
    return Factors(
        mmbtu,
        tuple(grid),
        outside.get("grid_kg_per_kwh"),
        tuple(marginal),
        outside.get("marginal_kg_per_kwh"),
        fuel,
        room_gas,
        refrigerant,
        to_source,
        prices,
        outside.get("price_band"),
        outside.get("usd_per_kwh"),
        tiers,
        demand,
        fixed,
        fuel_price,
    )


def _grid(page: _Page, grid: Grid, name: str) -> list[Cell]:
    held, unit, label = grid.kgco2e_per_kwh, "kg CO2e/kWh", f"electricity at the meter, {grid.kind}"
    if held.shape[1] == HOURS:
        return []
    if len(held) == 1:
        return [page.put(label, unit, float(held[0, 0]), f"{name}_factor", grid.source)]
    return [
        page.put(f"{label}, year of service {year}", unit, value, f"{name}_factor_{year}", grid.source)
        for year, value in enumerate(held[:, 0].tolist(), start=1)
    ]


def _refrigerant(page: _Page, name: str, held: Refrigerant) -> dict[str, Cell]:
    rows = (
        ("charge_kg", "refrigerant", "kg"),
        ("gwp", "warming potential of the refrigerant", "kg CO2e/kg"),
        ("annual_leak", "yearly leak, share of the charge", "1"),
        ("end_of_life_loss", "loss at the end, share of the charge", "1"),
        ("installation_loss", "loss at the first filling, share of the charge", "1"),
        ("service_loss", "yearly loss by work on the machine, share of the charge", "1"),
    )
    return {
        key: page.put(f"{label}, {name}", unit, getattr(held, key), f"{name}_{key}")
        for key, label, unit in rows
    }


def _tariff(
    page: _Page, sides: Mapping[str, Side]
) -> tuple[
    tuple[Cell, ...],
    tuple[tuple[Cell, Cell | None], ...],
    tuple[tuple[Cell, Cell], ...],
    Cell | None,
    dict[str, tuple[Cell, ...]],
]:
    """Prices of bands, tiers, demand charges, connection, and fuel by plant | baseline."""
    tariff = sides["plant"].tariff
    if tariff is None:
        return (), (), (), None, {}
    split = bands(tariff)
    prices = [
        page.put(f"electricity, price band {n}", "USD/kWh", price, f"price_of_band_{n}")
        for n, price in enumerate(split[0].tolist() if split is not None else (), start=1)
    ]
    tiers: list[tuple[Cell, Cell | None]] = []
    for n, tier in enumerate(tariff.tiers, start=1):
        when = "" if tier.months == ALL_MONTHS else f" (months {', '.join(map(str, tier.months))})"
        price = page.put(f"electricity, tier {n}{when}", "USD/kWh", tier.price, f"tier_{n}_price")
        end = None
        if math.isfinite(tier.up_to):
            end = page.put(f"end of tier {n}", "kWh/month", tier.up_to, f"tier_{n}_end")
        tiers.append((price, end))
    demand = [
        (
            page.put(f"demand charge {n}", "USD/kW/month", charge.price, f"demand_{n}_price"),
            page.put(f"ratchet of demand charge {n}", "1", charge.ratchet, f"demand_{n}_ratchet"),
        )
        for n, charge in enumerate(tariff.demand, start=1)
    ]
    fixed = page.put("charge for the connection", "USD/month", tariff.fixed, "fixed_charge")
    fuel_price: dict[str, tuple[Cell, ...]] = {}
    for name, side in sides.items():
        if side.tariff is None or side.tariff.fuel is None:
            continue
        by_month, label = side.tariff.fuel.tolist(), f"fuel of the {name}"
        if len(set(by_month)) == 1:
            fuel_price[name] = (page.put(label, "USD/kWh", by_month[0], f"{name}_fuel_price"),) * 12
        else:
            fuel_price[name] = tuple(
                page.put(f"{label}, {MONTH_NAMES[m]}", "USD/kWh", price, f"{name}_fuel_price_{m + 1}")
                for m, price in enumerate(by_month)
            )
    return tuple(prices), tuple(tiers), tuple(demand), fixed, fuel_price
