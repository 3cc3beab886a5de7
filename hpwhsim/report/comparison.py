"""Sheets that hold the plant against its baseline: savings of a year, and costs over the years."""

from collections.abc import Mapping

import numpy as np

from hpwhsim.account.economics import cash_flow
from hpwhsim.report.accounts import Cells, Columns
from hpwhsim.report.factors import Factors
from hpwhsim.report.sheets import Book, Cell, difference, sum_of
from hpwhsim.study.dossier import Papers, Side

UNITS = {"kwh": "kWh", "mmbtu": "MMBtu", "kgco2e": "kg CO2e", "cost": "USD", "kw": "kW"}


def savings_sheet(
    book: Book, papers: Papers, columns: Mapping[str, Columns], live: Mapping[str, Cells], factors: Factors
) -> str:
    """What the plant saves, baseline less plant, the room of a machine included; returns the differences."""
    sheet = "Savings"
    book.texts(
        sheet,
        0,
        ["figure", "unit", "baseline", "plant", "saved", "saved, %", "saved, engine", "difference"],
    )
    book.widths(sheet, 34, 10, 18, 18, 18, 10, 18, 12, freeze=1)
    row = 0
    for key, line in papers.answer.savings.items():
        both = {
            name: _figure(key, side, columns[name], live[name], factors, name)
            for name, side in papers.sides.items()
        }
        row += 1
        unit = next((text for end, text in UNITS.items() if key.endswith(end)), "")
        book.texts(sheet, row, [key, unit], "text")
        base = book.live(sheet, row, 2, *both["baseline"])
        plant = book.live(sheet, row, 3, *both["plant"])
        saved = book.live(sheet, row, 4, f"={base.ref}-{plant.ref}", base.value - plant.value)
        percent = 100.0 * saved.value / abs(base.value) if base.value else 0.0
        book.live(sheet, row, 5, f'=IF({base.ref}=0,"",100*{saved.ref}/ABS({base.ref}))', percent)
        engine = book.number(sheet, row, 6, line.saved)
        difference(book, (sheet, row, 7), saved, engine)
    book.text(
        sheet, row + 2, 0, "A negative saving means that the plant takes more than the baseline. What a "
    )
    book.text(sheet, row + 3, 0, "machine makes its room's heating and cooling buy is booked to its plant.")
    return f"'{sheet}'!$H$2:$H${row + 1}"


def _figure(
    key: str, side: Side, columns: Columns, live: Cells, factors: Factors, name: str
) -> tuple[str, float]:
    """Formula and value of one figure of one plant, with what its room buys more."""
    electricity = [columns["electricity_kwh"], *([columns["room_electricity_kwh"]] if side.room else [])]
    fuel = [columns["fuel_kwh"], *([columns["room_fuel_kwh"]] if side.room else [])]
    electric = [column.total() for column in electricity]
    burnt = [column.total() for column in fuel]
    electric_to_source, *fuel_to_source = factors.to_source[name]
    weights = {
        "electricity_kwh": ([Cell("1", 1.0)] * len(electric), [], Cell("1", 1.0)),
        "fuel_kwh": ([], [Cell("1", 1.0)] * len(burnt), Cell("1", 1.0)),
        "fuel_mmbtu": ([], [Cell("1", 1.0)] * len(burnt), factors.mmbtu),
        "site_mmbtu": ([Cell("1", 1.0)] * len(electric), [Cell("1", 1.0)] * len(burnt), factors.mmbtu),
        "source_mmbtu": ([electric_to_source] * len(electric), fuel_to_source[: len(burnt)], factors.mmbtu),
    }
    if key in weights:
        of_electricity, of_fuel, unit = weights[key]
        held = [*zip(electric[: len(of_electricity)], of_electricity, strict=True)]
        held += zip(burnt[: len(of_fuel)], of_fuel, strict=True)
        terms = [f"{formula[1:]}*{weight.ref}" for (formula, _), weight in held]
        value = sum(number * weight.value for (_, number), weight in held)
        return f"=({'+'.join(terms)})*{unit.ref}", value * unit.value
    if key == "kgco2e":
        cell = live["total_kgco2e"]
        return f"={cell.ref}", cell.value
    if key == "operational_kgco2e":
        return sum_of([live["operational_kgco2e"], live["carbon.room_kgco2e"]])
    if key == "marginal_kgco2e":
        cell = live["carbon.marginal_kgco2e"]
        return f"={cell.ref}", cell.value
    if key == "cost":
        return sum_of([live["energy_cost"], *([live["costs.room_usd"]] if side.room else [])])
    hours, _, what = key.rpartition(".")
    if what == "highest_kw":
        column = columns[f"{hours}_kw"]
        return f"=MAX({column.range})", float(np.nanmax(column.values))
    column = columns[f"{hours}_kwh"]
    quarters = columns[f"{hours}_hours"]
    formula, value = column.total()
    time, length = quarters.total()
    return f"{formula}/{time[1:]}", value / length


def life_cycle_sheet(book: Book, papers: Papers, live: Mapping[str, Cells]) -> None:
    """Costs of each year of both plants, their difference, and its present value."""
    sheet, terms, found = "Life cycle", papers.terms, papers.answer.life_cycle
    assert terms is not None
    assert found is not None
    book.text(sheet, 0, 0, "Costs of each year [USD], each at the end of its year", "title")
    book.widths(sheet, 34, *([16] * 12))
    named = {
        "discount_rate": terms.discount_rate,
        "electricity_escalation": terms.electricity_escalation,
        "fuel_escalation": terms.fuel_escalation,
        "inflation": terms.inflation,
    }
    rates = {
        key: book.named(sheet, row, 1, value, f"life_{key}")
        for row, (key, value) in enumerate(named.items(), 2)
    }
    for row, key in enumerate(named, 2):
        book.text(sheet, row, 0, f"{key.replace('_', ' ')}, share per year")
    inputs: dict[str, dict[str, Cell]] = {}
    row = 7
    for name, side in papers.sides.items():
        assert side.costs is not None
        inputs[name] = {}
        for key in ("capital", "incentives", "maintenance"):
            book.text(sheet, row, 0, f"{key} of the {name}")
            inputs[name][key] = book.named(sheet, row, 1, getattr(side.costs, key), f"{name}_{key}")
            row += 1
        for key in ("electricity", "fuel"):
            book.text(sheet, row, 0, f"{key} of the {name}, today's prices")
            parts = [
                live[name][f"{whose}.{key}"] for whose in ("bill", "room") if f"{whose}.{key}" in live[name]
            ]
            inputs[name][key] = book.live(sheet, row, 1, *sum_of(parts or [Cell("0", 0.0)]))
            row += 1
    top = row + 1
    book.texts(
        sheet,
        top,
        [
            "year",
            *(f"{name}: {part}" for name in papers.sides for part in ("all costs", "replacements")),
            "baseline less plant",
            "discounted",
            "added up",
        ],
    )
    flows = {
        name: cash_flow(side.costs, terms) for name, side in papers.sides.items() if side.costs is not None
    }
    running: Cell | None = None
    net_cells, discounted_cells = [], []
    for year in range(terms.years + 1):
        at = top + 1 + year
        book.number(sheet, at, 0, float(year), "text")
        cost: dict[str, Cell] = {}
        for i, (name, side) in enumerate(papers.sides.items()):
            assert side.costs is not None
            own = inputs[name]
            bought = sum(amount for when, amount in side.costs.replacements if when == year)
            again = book.number(sheet, at, 2 + 2 * i, bought)
            if year == 0:
                formula = f"={own['capital'].ref}-{own['incentives'].ref}"
            else:
                formula = (
                    f"=({own['maintenance'].ref}+{again.ref})*(1+{rates['inflation'].ref})^{year}"
                    f"+{own['electricity'].ref}*(1+{rates['electricity_escalation'].ref})^{year}"
                    f"+{own['fuel'].ref}*(1+{rates['fuel_escalation'].ref})^{year}"
                )
            cost[name] = book.live(sheet, at, 1 + 2 * i, formula, float(flows[name][year]))
        ours, theirs = cost["plant"], cost["baseline"]
        net = book.live(sheet, at, 5, f"={theirs.ref}-{ours.ref}", theirs.value - ours.value)
        factor = (1.0 + terms.discount_rate) ** year
        formula = f"={net.ref}/(1+{rates['discount_rate'].ref})^{year}"
        today = book.live(sheet, at, 6, formula, net.value / factor)
        before = f"+{running.ref}" if running is not None else ""
        total = today.value + (running.value if running is not None else 0.0)
        running = book.live(sheet, at, 7, f"={today.ref}{before}", total)
        net_cells.append(net)
        discounted_cells.append(today)
    assert running is not None
    row = top + terms.years + 3
    book.text(sheet, row, 0, "net present value", "part")
    npv = book.live(sheet, row, 1, f"={running.ref}", running.value)
    engine = book.number(sheet, row, 2, found.npv)
    book.text(sheet, row - 1, 2, "engine")
    difference(book, (sheet, row, 3), npv, engine)
