"""The sheet of savings: the plant against its baseline in one year, the room of a heat pump included."""

from collections.abc import Mapping
from typing import NamedTuple

from hpwhsim.dossier.workbook.factors import Factors
from hpwhsim.dossier.workbook.formula import Formula, added, ratio
from hpwhsim.dossier.workbook.sheets import Book, Cells, Columns, difference
from hpwhsim.evaluation.result import Result, Side
from hpwhsim.evaluation.saving_labels import saving_label
from hpwhsim.results.declared import declared

SHEET = "Savings"
FROM_ACCOUNTS = {
    "kgco2e": ("total_kgco2e",),
    "operational_kgco2e": ("operational_kgco2e", "carbon.room_kgco2e"),
    "marginal_kgco2e": ("carbon.marginal_kgco2e",),
    "upstream_kgco2e": ("carbon.upstream_kgco2e",),
    "cost": ("energy_cost", "costs.room_usd"),
}
"""Savings that are sums of figures of the sheets Carbon and Cost, as far as a plant has them."""


class Saved(NamedTuple):
    """Cells of a line of the savings."""

    baseline: Formula
    plant: Formula
    saved: Formula
    percent: Formula


def savings_sheet(
    book: Book, result: Result, columns: Mapping[str, Columns], live: Mapping[str, Cells], factors: Factors
) -> tuple[dict[str, Saved], Formula]:
    """What the plant saves, baseline less plant; returns its lines, and the largest difference."""
    heads = ["figure", "key", "unit", "baseline", "plant", "saved", "saved, %", "saved, engine", "difference"]
    book.heads(SHEET, 0, heads, heads[3:])
    book.widths(SHEET, 40, 28, 14, 16, 16, 16, 10, 16, 12, freeze=1, across=1)
    found: dict[str, Saved] = {}
    row, apart = 0, [0.0]
    for row, (key, line) in enumerate(result.savings.items(), start=1):
        (label, unit), style = saving_label(key), style_of(book, key)
        book.texts(SHEET, row, [label, key, unit], "text")
        base, plant = (
            book.live(
                SHEET,
                row,
                place,
                _figure(key, name, result.sides[name], columns[name], live[name], factors),
                style,
            )
            for place, name in ((3, "baseline"), (4, "plant"))
        )
        saved = book.live(SHEET, row, 5, base - plant, style)
        size = Formula(f"ABS({base.text})", abs(base.value))
        percent = book.live(SHEET, row, 6, ratio(saved * 100.0, size), "percent")
        found[key] = Saved(base, plant, saved, percent)
        engine = book.number(SHEET, row, 7, line.saved, style)
        apart.append(difference(book, (SHEET, row, 8), saved, engine).value)
    for below, text in enumerate(
        (
            "A negative saving means that the plant takes more than the baseline. What a",
            "heat pump makes its room's heating and cooling purchase is booked to its plant.",
        ),
        start=row + 2,
    ):
        book.text(SHEET, below, 0, text)
    return found, Formula(f"MAX('{SHEET}'!$I$2:$I${row + 1})", max(apart))


def style_of(book: Book, key: str) -> str:
    """Name of the format of a line."""
    if "." in key:
        return book.declared(declared("peak_kw"))
    return book.declared(declared("savings.cost_usd" if key == "cost" else f"savings.{key}"))


def _figure(key: str, name: str, side: Side, columns: Columns, live: Cells, factors: Factors) -> Formula:
    """One figure of one plant, with what its room purchases more."""
    if key in FROM_ACCOUNTS:
        return added(live[part] for part in FROM_ACCOUNTS[key] if part in live)
    if "." in key:
        return _power(key, columns)
    electric, own = columns["electricity_kwh"].total(), columns["fuel_kwh"].total()
    electric_to_source, fuel_to_source, gas_to_source = factors.to_source[name]
    fuel = own
    to_source = own * fuel_to_source
    if side.room:
        gas = columns["room_fuel_kwh"].total()
        electric, fuel = electric + columns["room_electricity_kwh"].total(), own + gas
        to_source = to_source + gas * gas_to_source
    figures = {
        "electricity_kwh": electric,
        "fuel_kwh": fuel,
        "fuel_mmbtu": fuel * factors.mmbtu,
        "site_mmbtu": (electric + fuel) * factors.mmbtu,
        "source_mmbtu": (electric * electric_to_source + to_source) * factors.mmbtu,
    }
    return figures[key]


def _power(key: str, columns: Columns) -> Formula:
    """Highest or mean power in named hours. [kW]"""
    hours, _, what = key.rpartition(".")
    if what == "highest_kw":
        return columns[f"{hours}_kw"].highest()
    return columns[f"{hours}_kwh"].total() / columns[f"{hours}_hours"].total()
