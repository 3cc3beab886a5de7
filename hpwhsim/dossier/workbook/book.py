"""The year as a workbook: inputs, the hours of both plants, and formulas from them to every total."""

from collections.abc import Mapping

from hpwhsim.arrays import Array
from hpwhsim.dossier.workbook.carbon_factors import POTENTIALS
from hpwhsim.dossier.workbook.carbon_sheet import carbon_sheet
from hpwhsim.dossier.workbook.checks_sheet import checks_sheet
from hpwhsim.dossier.workbook.cost_sheet import cost_sheet
from hpwhsim.dossier.workbook.draw_sheet import draw_sheet
from hpwhsim.dossier.workbook.factors import factor_sheet, hourly_factors
from hpwhsim.dossier.workbook.front_sheet import GUIDE, Shown, front_sheet
from hpwhsim.dossier.workbook.hourly import hourly_sheet
from hpwhsim.dossier.workbook.life_cycle_sheet import life_cycle_sheet
from hpwhsim.dossier.workbook.lists import cautions_sheet, columns_sheet, inputs_sheet, monthly_sheet
from hpwhsim.dossier.workbook.price_sheet import price_sheet
from hpwhsim.dossier.workbook.savings_sheet import Saved, savings_sheet
from hpwhsim.dossier.workbook.sheets import Book, Cells
from hpwhsim.dossier.workbook.summary_sheet import summary_sheet
from hpwhsim.evaluation.result import Result, Side
from hpwhsim.results.declared import declarations
from hpwhsim.scenario.schema import Dossier


def workbook_bytes(result: Result) -> bytes:
    """The bytes of the XLSX file.

    Totals, savings, greenhouse gases and costs are formulas on the hourly rows and on cells of
    factors that may be changed; each carries the value that it has, for readers that do not recalculate.

    Parameters
    ----------
    result : Result
        What was calculated.
    """
    outside, record = hourly_factors(result), result.plant.record
    paper = (result.loaded.scenario.dossier or Dossier()).paper
    book = Book(str(record["title"]), _sheets(result, outside), paper)
    hours = hourly_sheet(book, "Hourly factors", outside) if outside else {}
    factors = factor_sheet(book, result, hours)
    columns = {
        name: hourly_sheet(book, f"Hourly {name}", _columns(side, result))
        for name, side in result.sides.items()
    }
    live: dict[str, Cells] = {name: {} for name in result.sides}
    saved: dict[str, Saved] = {}
    differences: Cells = {}
    if factors.carbon is not None:
        _join(live, carbon_sheet(book, result, columns, factors.carbon))
    elsewhere = None
    if factors.prices is not None:
        _join(live, cost_sheet(book, result, columns, factors.prices))
        if "Price bands" in book.sheets:
            elsewhere = price_sheet(book, factors.prices, hours)
    if result.baseline is not None:
        saved, differences["savings"] = savings_sheet(book, result, columns, live, factors)
    life_cycle: Cells = {}
    if result.plant.costs is not None:
        lines = {key: line.saved for key, line in saved.items()}
        life_cycle = life_cycle_sheet(book, result, columns, live, lines)
        live["plant"] |= life_cycle
    monthly_sheet(book, columns)
    if "seeds" in record:
        differences["years of draws"] = draw_sheet(book, record)
    own, of_summary = summary_sheet(book, result.sides, columns, live, factors)
    inputs_sheet(book, result)
    checked = checks_sheet(book, result, of_summary | differences, elsewhere)
    cautions_sheet(book, result)
    columns_sheet(book, columns | ({"factors": hours} if hours else {}))
    front_sheet(book, result, Shown(saved, own, life_cycle, checked))
    return book.close()


def _sheets(result: Result, outside: Mapping[str, Array]) -> list[str]:
    """Names of the sheets that there is something to put into."""
    tariff = result.plant.tariff
    there = {
        "Savings": result.baseline is not None,
        "Hourly baseline": result.baseline is not None,
        "Carbon": result.grid is not None,
        POTENTIALS: result.grid is not None,
        "Cost": tariff is not None,
        "Price bands": tariff is not None and tariff.electricity is not None,
        "Life cycle": result.plant.costs is not None,
        "Hourly factors": bool(outside),
        "Draws": "seeds" in result.plant.record,
    }
    return [name for name in GUIDE if there.get(name, True)]


def _join(live: dict[str, Cells], cells: Mapping[str, Cells]) -> None:
    for name, held in cells.items():
        live[name] |= held


def _columns(side: Side, result: Result) -> dict[str, Array]:
    """Hourly series of a plant in the order of tables/results.csv, and what bills and savings measure."""
    hourly = side.year.hourly
    found = {name: hourly[name] for name in declarations() if name in hourly and name not in OF_ALL}
    if side.room:
        found["room_electricity_kwh"] = side.bought.room_electricity
        found["room_fuel_kwh"] = side.bought.room_fuel
    for n, values in enumerate(side.measured_kw(False), start=1):
        found[f"demand_{n}_kw"] = values
    if side.room:
        for n, values in enumerate(side.measured_kw(True), start=1):
            found[f"demand_{n}_with_room_kw"] = values
    if result.baseline is not None:
        for name, when in result.peak_hours.items():
            found |= {f"{name}_{what}": values for what, values in side.in_hours(when).items()}
    return found


OF_ALL = (
    "grid_kgco2e_per_kwh",
    "electricity_usd_per_kwh",
    "baseline_electricity_kwh",
    "baseline_fuel_kwh",
)
"""Hourly series that stand in another sheet."""
