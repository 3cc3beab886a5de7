"""The sheet of costs over the years: what follows of what is given, and the flow of each year."""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.account.economics import KG_PER_TONNE, Terms, internal_rate, payback_years
from hpwhsim.dossier.workbook.factor_rows import Page
from hpwhsim.dossier.workbook.formula import (
    EMPTY,
    Column,
    Formula,
    added,
    either,
    formula,
    letter,
    maximum,
    ratio,
    weighed,
)
from hpwhsim.dossier.workbook.outlays import Outlay, block, incentives, outlay
from hpwhsim.dossier.workbook.sheets import Book, Cells, Columns, at, difference, unit_of
from hpwhsim.evaluation.report import REASONS
from hpwhsim.evaluation.result import Result
from hpwhsim.results.declared import declared

SHEET = "Life cycle"
FIGURES = (
    "costs.extra_capital_usd",
    "costs.first_year_saving_usd",
    "costs.simple_payback_years",
    "costs.discounted_payback_years",
    "costs.npv_usd",
    "costs.internal_rate",
    "costs.carbon_usd_per_tonne",
    "costs.present_value_usd",
    "costs.heat_usd_per_mwh",
    "costs.baseline_heat_usd_per_mwh",
)
"""Keys of the record that follow from the flows."""
GUESSES = (0.1, 0.0, -0.1, 0.3, -0.2, -0.3, 1.0, -0.5)
"""Rates from which the spreadsheet's IRR starts, one after the other until it finds something."""


Put = Callable[[Formula, str], Formula]  # content and style


class Compared(NamedTuple):
    """Columns of the baseline less the plant."""

    net: Column
    running: Column  # added up
    today: Column  # discounted and added up
    sign: Column  # of the last flow that is not nothing
    below: Column  # last year in which `today` is below nothing; -1 before
    tonnes: Column | None  # CO2e avoided, discounted at the real rate; None where no gases are counted


class Flows(NamedTuple):
    """Columns over the years, the first of them 0."""

    year: Column
    discount: Column
    costs: dict[str, Column]  # by plant | baseline
    compared: Compared | None  # None without a baseline


def life_cycle_sheet(
    book: Book, result: Result, columns: Mapping[str, Columns], live: Mapping[str, Cells], saved: Cells
) -> Cells:
    """Costs of both plants over the years; returns figures of the plant by key of the record."""
    terms, costs = result.terms, result.plant.scenario.costs
    assert terms is not None
    assert costs is not None
    book.text(SHEET, 0, 0, "Costs over the years [USD], those of a year at its end", "title")
    book.widths(SHEET, 46, 13, 14, 18, 26, 28, *([12] * 7), freeze=1, across=1)
    page = Page(book, SHEET, 2)
    rates = {
        key: page.given(
            f"{key.replace('_', ' ')}, per year", "1", getattr(terms, key), f"life_{key}", f"costs.{key}"
        )
        for key in Terms._fields[1:]
    }
    real = (1.0 + rates["discount_rate"]) / (1.0 + rates["inflation"]) - 1.0
    rates["real_rate"] = page.follows("real discount rate, per year", "1", real, "life_real_rate")
    found: Cells = {"costs.real_discount_rate": rates["real_rate"]} if result.grid is not None else {}
    outlays = {}
    for name, side in result.sides.items():
        assert side.costs is not None
        key = block(name)
        written = at(result.plant.written, *key.split("."))
        capital = page.given(
            f"capital of the {name}", "USD", side.costs.capital, f"{name}_capital", f"{key}.capital"
        )
        paid: list[Formula] = []
        if name == "plant":
            made = side.year.made
            size = made.capacity * made.modules / 1e3
            paid = incentives(page, costs, capital, size, saved, at(written, "incentives"))
            names = (one.name for one in costs.incentives)
            found |= {f"costs.incentives_usd[{one}]": cell for one, cell in zip(names, paid, strict=True)}
        outlays[name] = outlay(
            page, name, side.costs, columns[name], live[name], capital, paid, written, terms.years
        )
    top = page.row + len(FIGURES) + 6  # two rows more than figures for what they need
    flows = _flows(book, top, terms, rates, outlays)
    return found | _figures(book, page.row + 2, result, outlays, flows, rates["discount_rate"])


def _flows(book: Book, top: int, terms: Terms, rates: Cells, outlays: Mapping[str, Outlay]) -> Flows:
    """Write the years below row `top`, from 0."""
    heads = ["year", "discount factor"]
    heads += [f"{name}: {part}" for name in outlays for part in ("replacement, present money", "all costs")]
    if "baseline" in outlays:
        heads += ["baseline less plant", "added up", "discounted and added up", "sign of the last flow"]
        heads += ["last year below zero"]
    gases = "baseline" in outlays and all(own.kgco2e for own in outlays.values())
    if gases:
        heads += ["kg CO2e avoided", "t CO2e avoided, discounted at the real rate"]
    book.texts(SHEET, top, heads)
    rows: list[list[Formula]] = []
    for year in range(terms.years + 1):
        at = top + 1 + year
        row = [book.number(SHEET, at, 0, float(year), "text")]

        def put(content: Formula, style: str, at: int = at, row: list[Formula] = row) -> Formula:
            row.append(book.live(SHEET, at, len(row), content, style))
            return row[-1]

        discount = put(formula(1.0) / (1.0 + rates["discount_rate"]) ** year, "fine")
        cost = {}
        for name, own in outlays.items():
            again = put(_bought(own, year), "number")
            cost[name] = put(_cost(own, again, rates, year), "number")
        if "baseline" in cost:
            before = rows[-1][len(row) : len(row) + 5] if rows else []
            _compare(put, cost["baseline"] - cost["plant"], discount, before, year)
        if gases:
            theirs, ours = (outlays[name].kgco2e for name in ("baseline", "plant"))
            avoided = put(theirs[year - 1] - ours[year - 1] if year else formula(0.0), "number")
            put(avoided / KG_PER_TONNE / (1.0 + rates["real_rate"]) ** year, "fine")
        rows.append(row)

    def column(at: int) -> Column:
        return Column(SHEET, letter(at), np.array([row[at].value for row in rows]), top + 2)

    costs = {name: column(3 + 2 * i) for i, name in enumerate(outlays)}
    compared = None
    if "baseline" in outlays:
        net, running, today, sign, below = map(column, range(6, 11))
        compared = Compared(net, running, today, sign, below, column(12) if gases else None)
    return Flows(column(0), column(1), costs, compared)


def _bought(own: Outlay, year: int) -> Formula:
    """Replacements at the end of a year, in money of today. [USD]"""
    none = formula(0.0)
    return added(
        either(f"{when.text}={year}", when.value == year, cost, none) for when, cost in own.replacements
    )


def _cost(own: Outlay, again: Formula, rates: Cells, year: int) -> Formula:
    """All costs of a year, not discounted. [USD]"""
    if year == 0:
        return own.capital - own.incentives
    return (
        (own.maintenance + again) * (1.0 + rates["inflation"]) ** year
        + own.electricity * (1.0 + rates["electricity_escalation"]) ** year
        + own.fuel * (1.0 + rates["fuel_escalation"]) ** year
    )


def _compare(put: Put, saved: Formula, discount: Formula, before: list[Formula], year: int) -> None:
    """Write the columns of `Compared` of a year; `before` are those of the year before."""
    net = put(saved, "number")
    size = Formula(f"SIGN({net.text})", float(np.sign(net.value)))
    if not before:
        put(net, "number")
        today, sign, below = put(net * discount, "number"), size, formula(-1.0)
    else:
        _, running, added_up, last_sign, last_below = before
        put(running + net, "number")
        today = put(added_up + net * discount, "number")
        sign = either(f"{net.text}=0", net.value == 0.0, last_sign, size)
        below = last_below
    put(sign, "text")
    put(either(f"{today.text}<0", today.value < 0.0, formula(float(year)), below), "text")


def _figures(
    book: Book, row: int, result: Result, outlays: Mapping[str, Outlay], flows: Flows, rate: Formula
) -> Cells:
    """Write what follows from the flows, beside the engine's figures; returns it by key of the record."""
    book.texts(SHEET, row, ["figure", "unit", "value", "engine", "difference", "key"])
    record: Mapping[str, Any] = result.plant.record
    ours, found = flows.costs["plant"], {}
    later = flows.discount._replace(values=flows.discount.values[1:], first=flows.discount.first + 1)
    annuity = later.total()

    def put(key: str, content: Formula) -> Formula:
        nonlocal row
        row += 1
        engine, declaration = record.get(key), declared(key)
        book.texts(SHEET, row, [declaration.label, unit_of(declaration)], "text")
        book.text(SHEET, row, 5, key)
        style = book.declared(declaration)
        found[key] = book.live(SHEET, row, 2, content, style)
        if isinstance(engine, float | int):
            difference(book, (SHEET, row, 4), found[key], book.number(SHEET, row, 3, engine, style))
        else:
            book.text(
                SHEET, row, 3, record.get("costs.reasons", {}).get(REASONS.get(key, ""), "none"), "wrap"
            )
        return found[key]

    if flows.compared is not None:
        of, theirs = flows.compared, outlays["baseline"]
        own = outlays["plant"]
        extra = put("costs.extra_capital_usd", ours.cell(0) - flows.costs["baseline"].cell(0))
        parts = ("electricity", "fuel", "maintenance")
        saving = added(getattr(theirs, part) - getattr(own, part) for part in parts)
        put("costs.simple_payback_years", _simple(extra, put("costs.first_year_saving_usd", saving)))
        put("costs.discounted_payback_years", _discounted(of, rate.value))
        npv = put("costs.npv_usd", of.today.cell(-1))
        row += 1
        put("costs.internal_rate", _internal_rate(book, row, flows.year, of))
        if of.tonnes is not None:
            book.texts(SHEET, row + 1, ["CO2e avoided, by year, discounted at the real rate", "t"], "text")
            row += 1
            avoided = book.live(SHEET, row, 2, of.tonnes.total(), book.in_unit("t"))
            price = (0.0 - npv) / avoided
            content = either(f"{avoided.text}>0", avoided.value > 0.0, price)
            put("costs.carbon_usd_per_tonne", content)
    put("costs.present_value_usd", weighed(ours, flows.discount))
    for name, key in (("plant", "costs.heat_usd_per_mwh"), ("baseline", "costs.baseline_heat_usd_per_mwh")):
        if name in outlays:
            present = weighed(flows.costs[name], flows.discount)
            put(key, ratio(present, outlays[name].heat * annuity))
    return found


def _simple(extra: Formula, saving: Formula) -> Formula:
    """Simple payback; nothing where nothing is saved. [a]"""
    never = either(
        f"AND({saving.text}=0,{extra.text}<=0)", saving.value == 0.0 and extra.value <= 0.0, formula(0.0)
    )
    return either(f"{saving.text}>0", saving.value > 0.0, maximum(extra, 0.0) / saving, never)


def _discounted(of: Compared, rate: float) -> Formula:
    """Time from which the discounted flow, added up, stays at or above nothing. [a]"""
    end, last = of.today.cell(-1), of.below.cell(-1)
    at = f"INDEX({of.today.range},{last.text}+1)"
    after = f"INDEX({of.today.range},{last.text}+2)"
    text = f'IF({end.text}<0,"",IF({last.text}<0,0,{last.text}-{at}/({after}-{at})))'
    found = payback_years(of.net.values, rate)
    return Formula(text, np.nan if found is None else found)


def _internal_rate(book: Book, row: int, year: Column, of: Compared) -> Formula:
    """Internal rate of return; nothing where there is none or may be several.

    That is so unless money is laid out first and either the flow or its running sum changes its sign once. A
    step of Newton's method makes up for the digits at which a spreadsheet's own IRR stops.
    """
    years = year.values.size - 1
    early, late = slice(0, years), slice(1, years + 1)
    held = of.sign.values
    change = f"({of.sign.rows(late)}<>{of.sign.rows(early)})*({of.sign.rows(early)}<>0)"
    changes = Formula(
        f"SUMPRODUCT({change})", float(np.count_nonzero((held[1:] != held[:-1]) & (held[:-1] != 0.0)))
    )
    up = of.running.values > 0.0
    turn = f"--(({of.running.rows(late)}>0)<>({of.running.rows(early)}>0))"
    turns = Formula(f"SUMPRODUCT({turn})", float(np.count_nonzero(up[1:] != up[:-1])))
    rate, _ = internal_rate(of.net.values)
    found = np.nan if rate is None else rate
    tried = "NA()"
    for guess in reversed(GUESSES):
        tried = f"IFERROR(IRR({of.net.range},{guess:g}),{tried})"
    book.texts(SHEET, row, ["changes of sign: of the flow, of its running sum; rate by IRR"], "text")
    changes, turns = book.live(SHEET, row, 1, changes, "text"), book.live(SHEET, row, 2, turns, "text")
    last = of.sign.cell(-1)
    one = f"AND({last.text}*(-1)^{changes.text}<0,{changes.text}>0,OR({changes.text}=1,{turns.text}=1))"
    start = book.live(SHEET, row, 3, either(one, rate is not None, Formula(tried, found)), "fine")
    grown = f"(1+{start.text})^{year.range}"
    value = f"SUMPRODUCT({of.net.range}/{grown})"
    slope = f"SUMPRODUCT({year.range}*{of.net.range}/({grown}*(1+{start.text})))"
    step = Formula(f"{start.text}+{value}/{slope}", found)
    return either(f'{start.text}=""', rate is None, EMPTY, step)
