"""The sheet of bills: each month of plant and baseline, with and without the room of a heat pump."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.tariff import Tariff
from hpwhsim.dossier.workbook.factors import Prices
from hpwhsim.dossier.workbook.formula import (
    Column,
    Formula,
    added,
    formula,
    hours_of_month,
    letter,
    maximum,
    minimum,
    weighed,
)
from hpwhsim.dossier.workbook.sheets import Book, Cells, Columns
from hpwhsim.evaluation.result import Result, Side

SHEET = "Cost"
MONTHS = range(1, 13)
ROOM = {
    "energy_cost": ("all", "costs.room_usd"),
    "bill.electricity": ("electricity", "room.electricity"),
    "bill.fuel": ("fuel", "room.fuel"),
}
"""What the room adds to a bill: part of the bill, its label, and the name of the room's share."""


class Meter(NamedTuple):
    """What a bill counts: hourly columns that are added up."""

    electricity: tuple[Column, ...]
    fuel: tuple[Column, ...]
    demand: tuple[Column, ...]  # highest kW in the hour that each demand charge measures


def meters(tariff: Tariff, side: Side, columns: Columns) -> dict[str, Meter]:
    """The meter of the plant alone, and that of plant and room where there is a room to pay for."""

    def demand(name: str) -> tuple[Column, ...]:
        return tuple(columns[name.format(n)] for n in range(1, len(tariff.demand) + 1))

    electricity, fuel = (columns["electricity_kwh"],), (columns["fuel_kwh"],)
    found = {"": Meter(electricity, fuel, demand("demand_{}_kw"))}
    if side.room:
        found[" and its room"] = Meter(
            (*electricity, columns["room_electricity_kwh"]),
            (*fuel, columns["room_fuel_kwh"]),
            demand("demand_{}_with_room_kw"),
        )
    return found


def cost_sheet(
    book: Book, result: Result, columns: Mapping[str, Columns], prices: Prices
) -> dict[str, Cells]:
    """The bill of each month; returns the year's by key of the record."""
    book.widths(SHEET, 38, *([12] * 13), across=1)
    found: dict[str, Cells] = {}
    row = 0
    for name, held in columns.items():
        side = result.sides[name]
        assert side.tariff is not None
        totals: list[Cells] = []
        for whose, meter in meters(side.tariff, side, held).items():
            book.text(SHEET, row, 0, f"Bill of the {name}{whose} [USD]", "title")
            row, cells = _bill(book, row + 1, meter, side.tariff, prices, prices.fuel.get(name))
            totals.append(cells)
        found[name] = totals[0]
        if len(totals) > 1:
            alone, both = totals
            for key, (label, name_of) in ROOM.items():
                if key in both:
                    book.text(SHEET, row, 0, f"what the room adds to the bill of the {name}: {label}")
                    found[name][name_of] = book.live(SHEET, row, 13, both[key] - alone[key])
                    row += 1
            row += 1
    return found


def _energy(meter: Meter, tariff: Tariff, prices: Prices, month: int, kwh: Formula) -> Formula:
    """A month's electric energy, by hourly prices and tiers. [USD]"""
    parts: list[Formula] = []
    for column in meter.electricity:
        if prices.hourly is not None:
            parts.append(weighed(column, prices.hourly, hours_of_month(month)))
        elif prices.band is not None:
            bands = enumerate(prices.bands, start=1)
            parts += [price * _in_band(column, prices.band, number, month) for number, price in bands]
    if prices.bands and prices.band is None:  # one price
        parts.append(prices.bands[0] * kwh)
    below: Formula = formula(0.0)
    for tier, (price, top) in zip(tariff.tiers, prices.tiers, strict=True):
        if month not in tier.months:
            continue
        amount = maximum(kwh - below, 0.0)
        if top is not None:
            amount = minimum(amount, top - below)
            below = top
        parts.append(price * amount)
    return added(parts)


def _in_band(column: Column, band: Column, number: int, month: int) -> Formula:
    """Energy of a month in the hours of a price band. [kWh]"""
    rows = hours_of_month(month)
    value = float(column.values[rows][band.values[rows] == number].sum())
    return Formula(f"SUMIFS({column.range},{column.months},{month},{band.range},{number})", value)


def _billed(meter: Meter, tariff: Tariff, number: int, ratchet: Formula, month: int) -> Formula:
    """Power that demand charge `number`, from 0, bills in a month. [kW]"""
    charge, column = tariff.demand[number], meter.demand[number]
    if month not in charge.when.months:
        return formula(0.0)
    before = [(month - 1 - lag) % 12 + 1 for lag in range(1, charge.ratchet_months + 1)]
    return maximum(column.month_highest(month), ratchet * maximum(*map(column.month_highest, before)))


def _bill(
    book: Book, row: int, meter: Meter, tariff: Tariff, prices: Prices, fuel: Sequence[Formula] | None
) -> tuple[int, Cells]:
    """Write a bill from `row` on; returns the row below it and the year's sums by key of the record."""
    book.heads(SHEET, row, ["part", *MONTH_NAMES, "year"], (*MONTH_NAMES, "year"))

    def line(label: str, months: Sequence[Formula]) -> list[Formula]:
        nonlocal row
        row += 1
        book.text(SHEET, row, 0, label)
        return [book.live(SHEET, row, m, content) for m, content in zip(MONTHS, months, strict=True)]

    def year(cells: Sequence[Formula]) -> Formula:
        value = sum(cell.value for cell in cells)
        return book.live(SHEET, row, 13, Formula(f"SUM(B{row + 1}:{letter(12)}{row + 1})", value))

    kwh = line("electricity [kWh]", [added(c.month(m) for c in meter.electricity) for m in MONTHS])
    year(kwh)
    energy = line("electric energy", [_energy(meter, tariff, prices, m, kwh[m - 1]) for m in MONTHS])
    parts, sums = [energy], {"costs.electric_energy_usd": year(energy)}
    charges = []
    for n, (price, ratchet) in enumerate(prices.demand):
        label = f"power billed by demand charge {n + 1} [kW]"
        billed = line(label, [_billed(meter, tariff, n, ratchet, m) for m in MONTHS])
        parts.append(line(f"demand charge {n + 1}", [price * power for power in billed]))
        charges.append(year(parts[-1]))
    parts.append(line("connection", [prices.fixed] * 12))
    sums["costs.fixed_usd"] = year(parts[-1])
    sums["costs.fuel_usd"] = formula(0.0)
    if fuel is not None:
        burnt = [added(c.month(m) for c in meter.fuel) for m in MONTHS]
        parts.append(line("fuel", [kwh * price for kwh, price in zip(burnt, fuel, strict=True)]))
        sums["costs.fuel_usd"] = sums["bill.fuel"] = year(parts[-1])
    sums["energy_cost"] = year(line("all", [added(part[m] for part in parts) for m in range(12)]))
    row += 1
    book.text(SHEET, row, 0, "of it demand charges")
    sums["costs.demand_usd"] = book.live(SHEET, row, 13, added(charges))
    row += 1
    book.text(SHEET, row, 0, "of it electricity")
    keys = ("costs.electric_energy_usd", "costs.demand_usd", "costs.fixed_usd")
    sums["bill.electricity"] = book.live(SHEET, row, 13, added(sums[key] for key in keys))
    return row + 2, sums
