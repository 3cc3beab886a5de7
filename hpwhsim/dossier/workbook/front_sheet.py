"""The front sheet: what is saved against what, what failed, who it is for, and where each number stands."""

from collections.abc import Mapping
from math import isnan
from pathlib import Path
from typing import Any, NamedTuple

from hpwhsim.account.checks import CONFIRM, FAIL, INFORMATION, OK
from hpwhsim.dossier.workbook import checks_sheet, life_cycle_sheet, savings_sheet
from hpwhsim.dossier.workbook.checks_sheet import CHANGED, Checked
from hpwhsim.dossier.workbook.formula import Formula, Words, either_words, number_words, quoted
from hpwhsim.dossier.workbook.savings_sheet import Saved
from hpwhsim.dossier.workbook.sheets import Book, Cells, unit_of
from hpwhsim.evaluation.report import MOST_PERCENT, REASONS
from hpwhsim.evaluation.result import Result, Side
from hpwhsim.evaluation.saving_labels import saving_label
from hpwhsim.results.declared import declared
from hpwhsim.scenario.schema import Dossier
from hpwhsim.sections.document import PARTIES
from hpwhsim.sections.rows import ROOMS, SAVED, origins

SHEET = "Front"
HEADS = ("figure", "unit", "baseline", "plant", "saved", "saved, %", "where it stands")
NUMBERS = ("baseline", "plant", "saved", "saved, %", "value")
WHERE = HEADS.index("where it stands")
OWN = (
    "electricity_kwh",
    "resistance_kwh",
    "fuel_kwh",
    "peak_kw",
    "cop_plant",
    "cop_net",
    "total_kgco2e",
    "energy_cost",
    "short_hours",
    "short_litres",
)
"""Keys of the record, shown from the sheet Summary where no line of the savings says the same."""
WITH_ROOM = ("cop_net",)  # the same as another where no room is heated or cooled
SAID = ("electricity_kwh", "fuel_kwh", "site_mmbtu", "kgco2e", "cost")
"""Lines of the savings that the verdict says in words."""
GUIDE = {
    SHEET: "the verdict, what was compared with what, and where each number stands",
    "Summary": "every figure of the year: live, as the program wrote it, and the difference",
    "Savings": "the plant against the baseline, room of the heat pump included",
    "Carbon": "greenhouse gases of each year of service",
    "Cost": "the bill of each month",
    "Price bands": "price of electric energy by month and hour, weekdays and weekends",
    "Life cycle": "costs of each year, net present value, payback",
    "Monthly": "energy, peak power and COP of each month",
    "Draws": "years of other random draws, and their quantiles",
    "Inputs": "every input: given, default or derived, with its source",
    "Factors": "factors and prices that the formulas use; those with a border may be changed",
    "Warming potentials": "warming potentials of gases and refrigerants by assessment",
    "Checks": "whether the sheets add up to the record, whether the year closes, site and refrigerant",
    "Cautions": "what must be known before the result is used; temperatures that matter for Legionella",
    "Hourly plant": "the 8,760 hours of the plant",
    "Hourly baseline": "the 8,760 hours of the baseline",
    "Hourly factors": "factors and prices that change by the hour",
    "Columns": "what each column of the hourly sheets means",
}
"""The sheets in their order, and what they hold."""


class Shown(NamedTuple):
    """Cells of the other sheets."""

    saved: Mapping[str, Saved]  # by line of the savings
    own: Mapping[str, Cells]  # of Summary, by plant | baseline
    life_cycle: Cells  # by key of the record
    checked: Checked


def front_sheet(book: Book, result: Result, shown: Shown) -> None:
    """Fill the sheet."""
    record: Mapping[str, Any] = result.plant.record
    book.widths(SHEET, 44, 14, 16, 16, 16, 11, 26)
    book.text(SHEET, 0, 0, str(record["title"]), "title")
    row = _rows(book, 2, None, _parties(result))
    row = _verdict(book, row, result, shown)
    row = _rows(book, row, "What was compared", _compared(result))
    row = _figures(book, row, result, shown)
    row = _over_the_years(book, row, result, shown.life_cycle)
    book.texts(SHEET, row, ["sheet", "what it holds", "", "", "", "", ""])
    for at, name in enumerate(book.sheets, start=row + 1):
        book.link(SHEET, at, 0, f"'{name}'!A1", name)
        book.text(SHEET, at, 1, GUIDE[name])


def _rows(book: Book, row: int, head: str | None, rows: Mapping[str, str]) -> int:
    """Names and texts below a heading; returns the row of what comes next."""
    if head is not None:
        book.texts(SHEET, row, [head, *[""] * WHERE])
        row += 1
    for at, (name, text) in enumerate(rows.items(), start=row):
        book.text(SHEET, at, 0, name)
        book.text(SHEET, at, 1, text)
    return row + len(rows) + 1 if rows else row


def _parties(result: Result) -> dict[str, str]:
    written = result.loaded.scenario.dossier or Dossier()
    found = {name: getattr(written, key) for key, name in PARTIES.items()}
    return {name: " ".join(text.split()) for name, text in found.items() if text}


def _compared(result: Result) -> dict[str, str]:
    """Plant, baseline, building, weather and origins."""
    record: Mapping[str, Any] = result.plant.record
    homes = result.loaded.scenario.building.apartments
    found = {name: _what(side) for name, side in result.sides.items()}
    if result.baseline is None:
        found["baseline"] = "none: nothing was compared, no savings are reported"
    else:
        found["baseline"] += f", from {baseline_name(result)}; the same building, weather and draws"
    found["building"] = f"{homes:,} apartment{'s' if homes > 1 else ''}"
    found["weather station"] = str(record["weather.station"])
    return found | dict(origins(result))


def _what(side: Side) -> str:
    """A plant in a few words."""
    plant, made = side.scenario.plant, side.year.made
    words = plant.family
    if plant.heat_pump is not None:
        words += f", {plant.heat_pump.refrigerant}, {made.modules} x {made.capacity / 1e3:.3g} kW"
    return f"{words}, store of {plant.storage.volume * 1e3:,.0f} L"


def baseline_name(result: Result) -> str:
    """The file of the baseline, or the block of the scenario."""
    written = result.loaded.scenario.baseline
    return written.name if isinstance(written, Path) else "the block baseline of the scenario"


def _verdict(book: Book, row: int, result: Result, shown: Shown) -> int:
    """What is saved and what failed, in words that follow the cells; returns the row of what comes next."""
    checked = shown.checked
    book.texts(SHEET, row, ["Verdict", *[""] * WHERE])
    row += 1
    book.spread(SHEET, row, WHERE, _sentence(result, shown))
    for key in (key for key in SAID if key in shown.saved):
        row += 1
        book.words(SHEET, row, 0, _line(key, shown.saved[key]))
        book.place(SHEET, row, WHERE, shown.saved[key].saved)
    hours = {name: own["short_hours"] for name, own in shown.own.items() if "short_hours" in own}
    row += 1
    book.words(SHEET, row, 0, _unmet(hours))
    book.place(SHEET, row, WHERE, hours["plant"])
    row += 1
    book.words(SHEET, row, 0, _counts(checked))
    book.link(SHEET, row, WHERE, f"'{checks_sheet.SHEET}'!A1", checks_sheet.SHEET)
    for at, check in checked.rows.items():
        if check.state in (FAIL, CONFIRM):
            row += 1
            of = f"'{checks_sheet.SHEET}'!"
            start = {FAIL: "Failed: ", CONFIRM: "To be confirmed: "}[check.state]
            name, value = Words(f"{of}$A${at + 1}", check.name), Words(f"{of}$B${at + 1}", check.text)
            book.words(SHEET, row, 0, quoted(start).then(name, quoted(": "), value))
            book.link(SHEET, row, WHERE, f"{of}A{at + 1}", f"{checks_sheet.SHEET}, A{at + 1}")
    row += 1
    test = f'COUNTIF({checked.balances},"{OK}")=ROWS({checked.balances})'
    closes, open_ = (
        quoted(f"Heat balance of the year: {word}") for word in ("closes to 1e-6.", "does not close.")
    )
    book.words(SHEET, row, 0, either_words(test, checked.closed, closes, open_))
    row += 1
    same = quoted("Cells: as the program wrote them; the live figures are those of its record.")
    other = quoted("Cells: changed by hand; the live figures are no longer those of the program's record.")
    book.words(SHEET, row, 0, either_words(_changed(checked), checked.changed, other, same))
    row += 1
    cautions: Any = result.plant.record["cautions"]
    book.text(SHEET, row, 0, f"Cautions: {len(cautions)}, to be read before the result is used.")
    book.link(SHEET, row, WHERE, "'Cautions'!A1", "Cautions")
    return row + 2


def _changed(checked: Checked) -> str:
    """Whether a cell was changed by hand."""
    return f'COUNTIF({checked.live},"{CHANGED}")>0'


def _sentence(result: Result, shown: Shown) -> Words:
    """The verdict in one sentence."""
    if "site_mmbtu" in shown.saved:
        saved = shown.saved["site_mmbtu"].saved
        size = number_words(Formula(f"ABS({saved.text})", abs(saved.value)), 1)
        family = result.sides["baseline"].scenario.plant.family
        name = f"the baseline {baseline_name(result)} ({family})"
        when = "in a typical year, calculated,"
        less = quoted("Savings ").then(size, quoted(f" MMBtu of site energy {when} against {name}"))
        more = quoted("No savings: ").then(size, quoted(f" MMBtu more site energy {when} than {name}"))
        found = either_words(f"{saved.text}>=0", saved.value >= 0.0, less, more)
    else:
        used = shown.own["plant"]["electricity_kwh"]
        found = quoted("No baseline, so no savings are reported. The plant takes ")
        found = found.then(number_words(used), quoted(" kWh of electricity in a typical year, calculated"))
    npv = shown.life_cycle.get("costs.npv_usd")
    if npv is not None:
        over = f" over {result.terms.years} years" if result.terms is not None else ""
        found = found.then(quoted("; net present value "), number_words(npv), quoted(f" USD{over}"))
    found = found.then(quoted("; "), _short(shown.checked))
    by_hand = quoted(", with cells changed by hand.")
    return found.then(either_words(_changed(shown.checked), shown.checked.changed, by_hand, quoted(".")))


def _count(checked: Checked, state: str) -> Formula:
    """Checks of site and refrigerant in a state."""
    number = sum(check.state == state for check in checked.rows.values())
    return Formula(f'COUNTIF({checked.states},"{state}")', float(number))


def _short(checked: Checked) -> Words:
    if not checked.rows:
        return quoted("no checks of site and refrigerant were made")
    failed, confirm = (number_words(_count(checked, state)) for state in (FAIL, CONFIRM))
    return quoted("checks: ").then(failed, quoted(" failed, "), confirm, quoted(" to be confirmed"))


def _counts(checked: Checked) -> Words:
    """All states of the checks."""
    if not checked.rows:
        return quoted("Checks of site and refrigerant: none were made.")
    found = quoted("Checks of site and refrigerant: ")
    ends = {FAIL: " failed, ", CONFIRM: " to be confirmed, ", OK: " within their limits, ", INFORMATION: ""}
    ends[INFORMATION] = " without a limit."
    return found.then(
        *(part for state, end in ends.items() for part in (number_words(_count(checked, state)), quoted(end)))
    )


def _unmet(hours: Cells) -> Words:
    """Whether what is compared is the same service."""
    found = quoted("Hours below the minimum delivery temperature of hot water: ")
    for at, (name, cell) in enumerate(hours.items()):
        found = found.then(quoted(f"{', ' if at else ''}{name} "), number_words(cell, 1), quoted(" h"))
    return found.then(quoted("."))


def _line(key: str, line: Saved) -> Words:
    """A line of the savings in words."""
    label, unit = saving_label(key)
    saved, percent = line.saved, line.percent
    digits = 0 if abs(saved.value) >= 1000.0 else 1
    size = number_words(Formula(f"ABS({saved.text})", abs(saved.value)), digits)
    less, more = (quoted(f" {unit.split()[0]} a year {word}") for word in ("saved", "more than the baseline"))
    share = Formula(f"ABS({percent.text})", abs(percent.value))
    of = quoted(" (").then(number_words(share), quoted(" % of the baseline)"))
    none = not abs(percent.value) < MOST_PERCENT  # NaN too
    test = f'IF({percent.text}="",TRUE,ABS({percent.text})>={MOST_PERCENT:g})'
    part = either_words(test, none, quoted(""), Words(of.text, "" if none else of.value))
    return quoted(f"{label[:1].upper()}{label[1:]}: ").then(
        size, either_words(f"{saved.text}>=0", saved.value >= 0.0, less, more), part, quoted(".")
    )


def _figures(book: Book, row: int, result: Result, shown: Shown) -> int:
    """Figures of both plants; returns the row of what comes next."""
    book.heads(SHEET, row, HEADS, NUMBERS)
    rooms = any(side.room for side in result.sides.values())
    for key, line in shown.saved.items():
        row += 1
        label, unit = saving_label(key)
        style = savings_sheet.style_of(book, key)
        book.texts(SHEET, row, [f"{label}{ROOMS if rooms else ''}", unit], "text")
        for at, cell in enumerate((line.baseline, line.plant, line.saved), start=2):
            book.live(SHEET, row, at, cell, style)
        book.live(SHEET, row, 5, line.percent, "percent")
        book.place(SHEET, row, WHERE, line.baseline)
    for key in OWN:
        cells = {name: own[key] for name, own in shown.own.items() if key in own}
        if not cells or (not rooms and (SAVED.get(key) in shown.saved or key in WITH_ROOM)):
            continue
        row += 1
        one = declared(key)
        alone = ", rooms left out" if rooms and key in SAVED else ""
        book.texts(SHEET, row, [f"{one.label}{alone}", unit_of(one)], "text")
        for at, name in ((2, "baseline"), (3, "plant")):
            if name in cells:
                book.live(SHEET, row, at, cells[name], book.declared(one))
        book.place(SHEET, row, WHERE, cells.get("plant", next(iter(cells.values()))))
    return row + 2


def _over_the_years(book: Book, row: int, result: Result, cells: Cells) -> int:
    """Figures of the life cycle; returns the row of what comes next."""
    found = {key: cells[key] for key in life_cycle_sheet.FIGURES if key in cells}
    if not found:
        return row
    assert result.terms is not None
    reasons: Any = result.plant.record.get("costs.reasons", {})
    heads = (f"over {result.terms.years} years", "unit", "value", "", "", "", HEADS[WHERE])
    book.heads(SHEET, row, heads, NUMBERS)
    for key, cell in found.items():
        row += 1
        one = declared(key)
        book.texts(SHEET, row, [one.label, unit_of(one)], "text")
        book.live(SHEET, row, 2, cell, book.declared(one))
        why = cell.text.replace("$C$", "$D$")  # beside a figure that there is not, the reason
        told = Words(why, str(reasons.get(REASONS.get(key, ""), "none")))
        told = either_words(f"ISTEXT({why})", True, told, quoted("none with the cells as they were changed"))
        book.words(SHEET, row, 3, either_words(f'{cell.text}=""', isnan(cell.value), told, quoted("")))
        book.place(SHEET, row, WHERE, cell)
    return row + 2
