"""The sheet of greenhouse gases: each year of service, and the figures of the mean year."""

from collections.abc import Mapping

import numpy as np

from hpwhsim.account.gases import Gases
from hpwhsim.dossier.workbook.carbon_factors import CarbonFactors, Energy
from hpwhsim.dossier.workbook.formula import Column, Formula, added, formula, letter
from hpwhsim.dossier.workbook.sheets import Book, Cells, Columns
from hpwhsim.evaluation.emissions import NATURAL_GAS, burnt_fuel
from hpwhsim.evaluation.result import Result, Side

SHEET = "Carbon"
PARTS = ("electricity", "fuel", "room", "leak", "end of life", "installation", "service", "all", "added up")
ALL, END, INSTALLATION = (PARTS.index(part) for part in ("all", "end of life", "installation"))
OF_YEAR, AFTER = "kgco2e of year ", "kgco2e of a year after the service life"
"""Keys of the figures of each year of service, and of the years after the last, which lose nothing once."""
TOP = 4  # row of the first year of service, counted from 0
NONE = formula(0.0)
LOST = (
    "Refrigerant: charge x warming potential x fraction lost; at the end in the last year, at installation "
    "in the first."
)


def carbon_sheet(
    book: Book, result: Result, columns: Mapping[str, Columns], factors: CarbonFactors
) -> dict[str, Cells]:
    """Greenhouse gases of each year of service; returns figures by key of the record."""
    book.text(SHEET, 0, 0, "Greenhouse gases in each year of service [kg CO2e]", "title")
    book.text(
        SHEET,
        1,
        0,
        "Electricity of the hours times the factor of the grid, and fuel times its own; room: what heating, "
        "cooling and drying of the heat pump's room purchase more.",
    )
    book.text(SHEET, 2, 0, LOST)
    years = result.service_years
    heads = [f"{name}: {part}" for name in columns for part in PARTS]
    book.texts(SHEET, TOP - 1, ["year of service", *heads])
    book.widths(SHEET, 16, *([12] * len(heads)), freeze=TOP, across=1)
    for year in range(1, years + 1):
        book.number(SHEET, TOP - 1 + year, 0, float(year), "text")
    found = {}
    for i, (name, held) in enumerate(columns.items()):
        place = 1 + i * len(PARTS)
        cells, means = _years(book, place, _yearly(name, result.sides[name], held, factors, years))
        figures = _figures(name, result.sides[name], held, factors, means, years)
        found[name] = _below(book, place, figures, TOP + years + 3)
        found[name] |= {f"{OF_YEAR}{year}": row[ALL] for year, row in enumerate(cells, start=1)}
        found[name][AFTER] = cells[-1][ALL] - cells[-1][END] - cells[-1][INSTALLATION]
    return found


def _yearly(name: str, side: Side, held: Columns, factors: CarbonFactors, years: int) -> list[list[Formula]]:
    """Parts of each year of service, without their sum. [kg CO2e]"""
    fuel, gas = factors.fuel.get(name), factors.refrigerant.get(name)
    rows = []
    for year in range(1, years + 1):
        row = [factors.grid.weigh(held["electricity_kwh"], year)]
        row.append(fuel.weigh(held["fuel_kwh"], year) if fuel is not None else NONE)
        row.append(_room(held, factors.grid, factors.room_gas, year) if side.room else NONE)
        for key, counts in (
            ("annual_leak", True),
            ("end_of_life_loss", year == years),
            ("installation_loss", year == 1),
            ("service_loss", True),
        ):
            row.append(gas["charge_kg"] * gas["gwp"] * gas[key] if gas is not None and counts else NONE)
        rows.append(row)
    return rows


def _room(held: Columns, grid: Energy, gas: Energy | None, year: int) -> Formula:
    """What the room of a heat pump purchases more, in a year of service. [kg CO2e]"""
    electric = grid.weigh(held["room_electricity_kwh"], year)
    return electric + gas.weigh(held["room_fuel_kwh"], year) if gas is not None else electric


def _years(book: Book, place: int, rows: list[list[Formula]]) -> tuple[list[list[Formula]], list[Formula]]:
    """Write the years of a plant from column `place` on; returns the parts of each year and their means."""
    found: list[list[Formula]] = []
    running = NONE
    for at, row in enumerate(rows, start=TOP):
        cells = [book.live(SHEET, at, place + i, part) for i, part in enumerate(row)]
        cells.append(book.live(SHEET, at, place + len(row), added(cells)))
        running = book.live(SHEET, at, place + len(row) + 1, cells[-1] + running if found else cells[-1])
        found.append(cells)
    below = TOP + len(rows) + 1
    book.text(SHEET, below, 0, "mean year", "part")
    means = []
    for i, part in enumerate(zip(*found, strict=True)):
        column = Column(SHEET, letter(place + i), np.array([cell.value for cell in part]), TOP + 1)
        means.append(book.live(SHEET, below, place + i, column.mean()))
    return found, means


def _figures(
    name: str, side: Side, held: Columns, factors: CarbonFactors, means: list[Formula], years: int
) -> dict[str, tuple[str, Formula]]:
    """Label and formula by key of the record."""
    electricity, fuel, room, leak, end, installation, service, whole = means
    operational = electricity + fuel
    found = {
        "operational_kgco2e": ("energy, mean year [kg CO2e]", operational),
        "refrigerant_kgco2e": ("refrigerant, mean year [kg CO2e]", leak + end + installation + service),
        "total_kgco2e": ("all, mean year [kg CO2e]", whole),
        "carbon.electricity_kgco2e": ("of it electricity [kg CO2e]", electricity),
        "carbon.fuel_kgco2e": ("of it fuel [kg CO2e]", fuel),
        "carbon.room_kgco2e": ("of it the room of the heat pump [kg CO2e]", room),
        "carbon.leak_kgco2e": ("of it leak [kg CO2e]", leak),
        "carbon.end_of_life_kgco2e": ("of it loss at the end [kg CO2e]", end),
        "carbon.installation_kgco2e": ("of it loss at installation [kg CO2e]", installation),
        "carbon.service_kgco2e": ("of it loss by service work [kg CO2e]", service),
        "carbon.tewi_kgco2e": ("TEWI of the life [kg CO2e]", (operational + leak + end) * years),
        "carbon.grid_kgco2e_per_kwh": ("factor of the grid, mean [kg CO2e/kWh]", factors.grid.mean()),
    }
    for what, energy in (("electricity", factors.grid), ("fuel", factors.fuel.get(name))):
        if energy is not None and energy.gases:
            bought = held[f"{what}_kwh"].total()
            for mass, factor in zip(Gases._fields, energy.gases, strict=True):
                found[f"carbon.{what}_{mass}_kg"] = (f"{mass.upper()} of {what} [kg]", bought * factor)
    if factors.upstream is not None:
        methane = _gas(side, held) * factors.upstream
        label = "methane lost before the meter, in no other figure"
        found["carbon.upstream_methane_kg"] = (f"{label} [kg]", methane)
        found["carbon.upstream_kgco2e"] = (f"{label} [kg CO2e]", methane * factors.fossil_methane)
    if factors.marginal is not None:
        marginal = _marginal(side, held, factors, factors.marginal, factors.fuel.get(name), years)
        found["carbon.marginal_kgco2e"] = ("energy by the marginal factor, mean year [kg CO2e]", marginal)
    gas = factors.refrigerant.get(name)
    if gas is not None:
        found["carbon.refrigerant_charge_kg"] = ("refrigerant [kg]", gas["charge_kg"])
        found["carbon.refrigerant_gwp"] = ("its warming potential [kg CO2e/kg]", gas["gwp"])
        once = (gas["end_of_life_loss"] + gas["installation_loss"]) / years
        lost = gas["charge_kg"] * (gas["annual_leak"] + gas["service_loss"] + once)
        for basis, potential in factors.by_set[name].items():
            label = f"refrigerant by {basis}, mean year [kg CO2e]"
            found[f"carbon.refrigerant_by_gwp[{basis}]"] = (label, lost * potential)
    return found


def _gas(side: Side, held: Columns) -> Formula:
    """Natural gas that comes through the meter for plant and room. [kWh]"""
    burnt = burnt_fuel(side.scenario)
    columns = ["fuel_kwh"] if burnt is not None and burnt.name == NATURAL_GAS else []
    return added(held[key].total() for key in (*columns, *(["room_fuel_kwh"] if side.room else [])))


def _marginal(
    side: Side, held: Columns, factors: CarbonFactors, grid: Energy, fuel: Energy | None, years: int
) -> Formula:
    """A year's energy, room included, by the marginal factor: mean of the service life. [kg CO2e]"""
    parts = [fuel.weigh(held["fuel_kwh"], 1)] if fuel is not None else []
    if side.room and factors.room_gas is not None:
        parts.append(factors.room_gas.weigh(held["room_fuel_kwh"], 1))
    for key in ("electricity_kwh", *(["room_electricity_kwh"] if side.room else [])):
        if grid.hourly is not None:
            parts.append(grid.weigh(held[key], 1))
        else:
            parts.append(held[key].total() * grid.mean())
    return added(parts)


def _below(book: Book, place: int, figures: Mapping[str, tuple[str, Formula]], row: int) -> Cells:
    """Write figures one below the other, each with its label: the plants need not have the same."""
    found = {}
    for at, (key, (label, content)) in enumerate(figures.items(), start=row):
        book.text(SHEET, at, place, label)
        style = "fine" if "/kWh]" in label else "number"
        found[key] = book.live(SHEET, at, place + 5, content, style)
    return found
