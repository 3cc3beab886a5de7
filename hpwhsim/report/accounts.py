"""Sheets of the accounts: greenhouse gases of each year of service, and the bill of each month."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.report.factors import Factors
from hpwhsim.report.sheets import Book, Cell, Column, hours_of_month, sum_of
from hpwhsim.study.dossier import Papers, Side

Columns = Mapping[str, Column]
Cells = dict[str, Cell]


class Meter(NamedTuple):
    """What a bill counts: hourly columns that are added up."""

    electricity: tuple[Column, ...]
    fuel: tuple[Column, ...]
    demand: tuple[Column, ...]  # highest kW in the hour that each demand charge measures


def meters(side: Side, columns: Columns) -> dict[str, Meter]:
    """The meter of the plant alone, and that of plant and room where there is a room to pay for."""
    number = len(side.tariff.demand) if side.tariff is not None else 0

    def demand(name: str) -> tuple[Column, ...]:
        return tuple(columns[name.format(n)] for n in range(1, number + 1))

    electricity, fuel = (columns["electricity_kwh"],), (columns["fuel_kwh"],)
    found = {"": Meter(electricity, fuel, demand("demand_{}_kw"))}
    if side.room:
        found[" and its room"] = Meter(
            (*electricity, columns["room_electricity_kwh"]),
            (*fuel, columns["room_fuel_kwh"]),
            demand("demand_{}_with_room_kw"),
        )
    return found


# -- greenhouse gases ----------------------------------------------------------------------------------


def _weighed(column: Column, cells: Sequence[Cell], hourly: Column | None, year: int) -> tuple[str, float]:
    """Formula and value of electricity times the factor of a year of service, from 1. [kg CO2e]"""
    if hourly is not None:
        value = float(np.sum(column.values * hourly.values))
        return f"=SUMPRODUCT({column.range},{hourly.range})", value
    factor = cells[min(year, len(cells)) - 1]
    formula, value = column.total()
    return f"{formula}*{factor.ref}", value * factor.value


def _burnt(column: Column, factor: Cell) -> tuple[str, float]:
    formula, value = column.total()
    return f"{formula}*{factor.ref}", value * factor.value


def _plus(*parts: tuple[str, float]) -> tuple[str, float]:
    return "=" + "+".join(formula[1:] for formula, _ in parts), sum(value for _, value in parts)


def carbon_sheet(
    book: Book, papers: Papers, columns: Mapping[str, Columns], factors: Factors
) -> dict[str, Cells]:
    """Greenhouse gases of each year of service; returns the mean year by key of the record."""
    sheet, years = "Carbon", papers.service_years
    book.text(sheet, 0, 0, "Greenhouse gases in each year of service [kg CO2e]", "title")
    book.text(
        sheet,
        1,
        0,
        "Energy: electricity of the hours times the factor of the grid, and fuel times its own; room: what "
        "heating, cooling and drying of the machine's room buy more. Refrigerant: charge x warming potential "
        "x share lost; at the end in the last year, at the first filling in the first.",
    )
    sides = papers.sides
    parts = ("energy", "room", "leak", "end of life", "installation", "service", "all", "added up")
    heads = [f"{name}: {part}" for name in columns for part in parts]
    book.texts(sheet, 3, ["year of service", *heads])
    book.widths(sheet, 18, *([13] * len(heads)), freeze=4)
    for year in range(1, years + 1):
        book.number(sheet, 3 + year, 0, float(year), "text")
    found: dict[str, Cells] = {}
    for i, name in enumerate(columns):
        side = sides[name]
        place, held = 1 + i * len(parts), columns[name]
        rows: list[list[Cell]] = []
        running: Cell | None = None
        for year in range(1, years + 1):
            at = 3 + year
            electricity = _weighed(held["electricity_kwh"], factors.grid, factors.grid_hourly, year)
            energy = _plus(electricity, _burnt(held["fuel_kwh"], factors.fuel[name]))
            cells = [book.live(sheet, at, place, *energy)]
            room = ("=0", 0.0)
            if factors.room_gas is not None and side.room:
                room = _plus(
                    _weighed(held["room_electricity_kwh"], factors.grid, factors.grid_hourly, year),
                    _burnt(held["room_fuel_kwh"], factors.room_gas),
                )
            cells.append(book.live(sheet, at, place + 1, *room))
            lost = (
                ("annual_leak", True),
                ("end_of_life_loss", year == years),
                ("installation_loss", year == 1),
                ("service_loss", True),
            )
            for part, (key, counts) in enumerate(lost, start=2):
                gas = factors.refrigerant.get(name)
                formula, value = "=0", 0.0
                if gas is not None and counts:
                    three = (gas["charge_kg"], gas["gwp"], gas[key])
                    formula = "=" + "*".join(cell.ref for cell in three)
                    value = float(np.prod([cell.value for cell in three]))
                cells.append(book.live(sheet, at, place + part, formula, value))
            cells.append(book.live(sheet, at, place + 6, *sum_of(cells)))
            before = f"+{running.ref}" if running is not None else ""
            total = cells[6].value + (running.value if running is not None else 0.0)
            running = book.live(sheet, at, place + 7, f"={cells[6].ref}{before}", total)
            rows.append(cells)
        means = []
        for part in range(7):
            span = f"{rows[0][part].ref}:{rows[-1][part].ref.split('!')[1]}"
            value = float(np.mean([cells[part].value for cells in rows]))
            means.append(book.live(sheet, 5 + years, place + part, f"=AVERAGE({span})", value))
        tewi = [means[0], means[2], means[3]]
        formula, value = sum_of(tewi)
        found[name] = {
            "operational_kgco2e": means[0],
            "carbon.room_kgco2e": means[1],
            "refrigerant_kgco2e": book.live(sheet, 6 + years, place + 2, *sum_of(means[2:6])),
            "total_kgco2e": means[6],
            "carbon.tewi_kgco2e": book.live(
                sheet, 7 + years, place, f"=({formula[1:]})*{years}", value * years
            ),
            "carbon.leak_kgco2e": means[2],
            "carbon.end_of_life_kgco2e": means[3],
            "carbon.installation_kgco2e": means[4],
            "carbon.service_kgco2e": means[5],
        }
        if factors.marginal or factors.marginal_hourly is not None:
            formula, value = _marginal(side, held, factors, factors.fuel[name], years)
            found[name]["carbon.marginal_kgco2e"] = book.live(sheet, 8 + years, place, formula, value)
    book.text(sheet, 5 + years, 0, "mean year", "part")
    book.text(sheet, 6 + years, 0, "refrigerant, mean year", "part")
    book.text(sheet, 7 + years, 0, "TEWI of the life", "part")
    if factors.marginal or factors.marginal_hourly is not None:
        book.text(sheet, 8 + years, 0, "energy, marginal", "part")
    return found


def _marginal(side: Side, held: Columns, factors: Factors, fuel: Cell, years: int) -> tuple[str, float]:
    """Formula and value of a year's energy by the marginal factor, mean of the service life. [kg CO2e]"""
    columns = [held["electricity_kwh"], *([held["room_electricity_kwh"]] if side.room else [])]
    parts = [_burnt(held["fuel_kwh"], fuel)]
    if factors.room_gas is not None and side.room:
        parts.append(_burnt(held["room_fuel_kwh"], factors.room_gas))
    for column in columns:
        by_year = [
            _weighed(column, factors.marginal, factors.marginal_hourly, y) for y in range(1, years + 1)
        ]
        if len(factors.marginal) <= 1:
            parts.append(by_year[0])
        else:
            formula, _ = _plus(*by_year)
            parts.append((f"=({formula[1:]})/{years}", sum(v for _, v in by_year) / years))
    return _plus(*parts)


# -- the bill ------------------------------------------------------------------------------------------


def _added(columns: Sequence[Column], month: int) -> tuple[str, float]:
    """Formula and value of a month's sum over columns."""
    return _plus(*(column.month(month) for column in columns))


def _electric(meter: Meter, side: Side, factors: Factors, month: int, kwh: Cell) -> tuple[str, float]:
    """Formula and value of a month's electric energy, by hourly prices and tiers. [USD]"""
    assert side.tariff is not None
    parts: list[str] = []
    value = 0.0
    rows = hours_of_month(month)
    for column in meter.electricity:
        if factors.price is not None:
            parts.append(f"SUMPRODUCT({column.rows(rows)},{factors.price.rows(rows)})")
            value += float(np.sum((column.values * factors.price.values)[rows]))
        elif factors.band is not None:
            for number, price in enumerate(factors.prices, start=1):
                held = np.where(factors.band.values == number, column.values, 0.0)[rows]
                inside = f"{column.range},{column.months},{month},{factors.band.range},{number}"
                parts.append(f"{price.ref}*SUMIFS({inside})")
                value += price.value * float(held.sum())
    if factors.prices and factors.band is None:  # one price
        parts.append(f"{factors.prices[0].ref}*{kwh.ref}")
        value += factors.prices[0].value * kwh.value
    below = Cell("0", 0.0)
    for tier, (price, top) in zip(side.tariff.tiers, factors.tiers, strict=True):
        if month not in tier.months:
            continue
        part, amount = f"MAX({kwh.ref}-{below.ref},0)", max(kwh.value - below.value, 0.0)
        if top is not None:
            part, amount = f"MIN({part},{top.ref}-{below.ref})", min(amount, top.value - below.value)
            below = top
        parts.append(f"{price.ref}*{part}")
        value += price.value * amount
    return "=" + "+".join(parts), value


def _billed(meter: Meter, side: Side, number: int, ratchet: Cell, month: int) -> tuple[str, float]:
    """Formula and value of the power that demand charge `number`, from 0, bills in a month. [kW]"""
    assert side.tariff is not None
    charge, column = side.tariff.demand[number], meter.demand[number]
    if month not in charge.when.months:
        return "=0", 0.0
    before = [(month - 1 - lag) % 12 + 1 for lag in range(1, charge.ratchet_months + 1)]
    own = column.rows(hours_of_month(month))
    spans = ",".join(column.rows(hours_of_month(m)) for m in before)
    highest = max(float(column.values[hours_of_month(m)].max()) for m in before)
    value = max(float(column.values[hours_of_month(month)].max()), ratchet.value * highest)
    return f"=MAX({own},{ratchet.ref}*MAX({spans}))", value


def cost_sheet(
    book: Book, papers: Papers, columns: Mapping[str, Columns], factors: Factors
) -> dict[str, Cells]:
    """The bill of each month; returns the year's by key of the record."""
    book.widths("Cost", 38, *([12] * 13))
    sides = papers.sides
    found: dict[str, Cells] = {}
    row = 0
    for name, held in columns.items():
        side = sides[name]
        totals: list[Cells] = []
        for whose, meter in meters(side, held).items():
            book.text("Cost", row, 0, f"Bill of the {name}{whose} [USD]", "title")
            row, cells = _bill(book, row + 1, meter, side, factors, factors.fuel_price.get(name))
            totals.append(cells)
        found[name] = totals[0]
        if len(totals) > 1:
            for key, label, name_of in (
                ("energy_cost", "all", "costs.room_usd"),
                ("bill.electricity", "electricity", "room.electricity"),
                ("bill.fuel", "fuel", "room.fuel"),
            ):
                if key in totals[1]:
                    both, alone = totals[1][key], totals[0][key]
                    book.text("Cost", row, 0, f"what the room adds to the bill of the {name}: {label}")
                    content = (f"={both.ref}-{alone.ref}", both.value - alone.value)
                    found[name][name_of] = book.live("Cost", row, 13, *content)
                    row += 1
            row += 1
    return found


def _bill(
    book: Book, row: int, meter: Meter, side: Side, factors: Factors, fuel_price: Sequence[Cell] | None
) -> tuple[int, Cells]:
    """Write a bill from `row` on; returns the row below it and the year's sums by key of the record."""
    assert factors.fixed is not None
    book.texts("Cost", row, ["part", *MONTH_NAMES, "year"])

    def line(label: str, months: Sequence[tuple[str, float]], year: bool = True) -> tuple[list[Cell], Cell]:
        nonlocal row
        row += 1
        book.text("Cost", row, 0, label)
        cells = [book.live("Cost", row, m, *content) for m, content in enumerate(months, start=1)]
        if not year:
            return cells, cells[0]
        span = f"{cells[0].ref}:{cells[-1].ref.split('!')[1]}"
        return cells, book.live("Cost", row, 13, f"=SUM({span})", sum(c.value for c in cells))

    months = range(1, 13)
    kwh, _ = line("electricity [kWh]", [_added(meter.electricity, m) for m in months])
    energy, energy_year = line(
        "electric energy", [_electric(meter, side, factors, m, kwh[m - 1]) for m in months]
    )
    parts, sums = [energy], {"costs.electric_energy_usd": energy_year}
    charges = []
    for n, (price, ratchet) in enumerate(factors.demand):
        billed, _ = line(
            f"power billed by demand charge {n + 1} [kW]",
            [_billed(meter, side, n, ratchet, m) for m in months],
            year=False,
        )
        cells, whole = line(
            f"demand charge {n + 1}", [(f"={price.ref}*{b.ref}", price.value * b.value) for b in billed]
        )
        parts.append(cells)
        charges.append(whole)
    cells, sums["costs.fixed_usd"] = line("connection", [(f"={factors.fixed.ref}", factors.fixed.value)] * 12)
    parts.append(cells)
    if fuel_price is not None:
        burnt = [_added(meter.fuel, m) for m in months]
        cells, sums["costs.fuel_usd"] = line(
            "fuel",
            [
                (f"=({formula[1:]})*{price.ref}", value * price.value)
                for (formula, value), price in zip(burnt, fuel_price, strict=True)
            ],
        )
        parts.append(cells)
    _, sums["energy_cost"] = line("all", [sum_of([part[m] for part in parts]) for m in range(12)])
    if charges:
        row += 1
        book.text("Cost", row, 0, "of it demand charges")
        sums["costs.demand_usd"] = book.live("Cost", row, 13, *sum_of(charges))
    row += 1
    book.text("Cost", row, 0, "of it electricity")
    keys = ("costs.electric_energy_usd", "costs.demand_usd", "costs.fixed_usd")
    content = sum_of([sums[key] for key in keys if key in sums])
    sums["bill.electricity"] = book.live("Cost", row, 13, *content)
    if "costs.fuel_usd" in sums:
        sums["bill.fuel"] = sums["costs.fuel_usd"]
    return row + 2, sums
