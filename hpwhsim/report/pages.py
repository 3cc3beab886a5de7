"""The dossier as a PDF: what was asked, how it was calculated, what came out, how to repeat it."""

import os
import shlex
from collections.abc import Callable, Iterator, Mapping, Sequence
from math import isclose
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import OK, beyond
from hpwhsim.account.energy import by_month
from hpwhsim.account.savings import line as saving
from hpwhsim.report.document import (
    BODY,
    FONT,
    SMALL,
    TITLE,
    add_heading,
    add_picture,
    add_table,
    add_text,
    amount,
    decimals,
    new_pdf,
)
from hpwhsim.report.drawing import png
from hpwhsim.report.life_cycle_sheet import FIGURES
from hpwhsim.report.schematic import schematic
from hpwhsim.report.swing import followed, span
from hpwhsim.report.swing import number as whole
from hpwhsim.report.swing import value as swing_value
from hpwhsim.study.bundle import WEATHER
from hpwhsim.study.dossier import Papers, Side, inputs
from hpwhsim.study.swing import Swings
from hpwhsim.tables import read_table

if TYPE_CHECKING:
    from fpdf import FPDF

PURPOSE = (
    "This dossier documents one calculation of a hot-water plant for one building in one typical year, "
    "hour by hour: the energy it buys, its peak power, how well it serves the taps, and, where they were "
    "asked for, its greenhouse gases, its cost, and what it saves against a baseline that gives the same "
    "service. It is meant to be checked: the workbook beside it holds every hour of the year and formulas "
    "from these hours to every total, and the bundle beside it lets the program repeat the calculation. It"
    " is no design, no certificate and no guarantee of what a building will use."
)

METHOD_HIGH = 190.0  # mm that the method needs, to stay in one page
METHOD = (
    (
        "Year",
        "8,760 hours of a typical-year weather file in local standard time; each hour is marched in steps "
        "of {minutes:g} minutes. The calendar is nominal: 1 January is a Monday.",
    ),
    (
        "Hot water",
        "Daily use at the temperature of use follows a pattern of the day by weekday and weekend; random "
        "draws are single events whose mean follows the pattern. Cold water follows the weather of the "
        "year.",
    ),
    (
        "Store",
        "A stratified column in plug flow: every volume drawn or charged displaces the column as a whole "
        "in one conservative step. Mixing, conduction and loss to the room are separate and explicit.",
    ),
    (
        "Heat pump",
        "A refrigerant cycle with real-fluid properties, counterflow condenser or gas cooler, scaled to "
        "the rating that was given; or a table of measurements, used inside its range. Frost, starts, "
        "lines and limits of the machine are counted where they apply. Source and machine are solved in "
        "the same step.",
    ),
    (
        "Controls and backup",
        "Charging, stages, lock-outs and backup follow the written sequence; each hour of backup is booked"
        " to what kept the heat pump from doing it.",
    ),
    (
        "Balance",
        "Heat put in less heat delivered, lost and stored is held to at most 1e-6 of the heat put in.",
    ),
    (
        "Greenhouse gases",
        "Electricity of each hour times the factor of the grid at the meter; fuel times the factor of its "
        "combustion, by the higher heating value; refrigerant by its charge, warming potential, yearly "
        "leak and loss at the end, over the years of service (total equivalent warming impact, after EN "
        "378-1).",
    ),
    (
        "Cost",
        "Prices by the hour, tiers of the month, demand charges on the 15-minute mean power, connection "
        "and fuel. Costs over the years are held against the baseline's as net present value.",
    ),
    (
        "Savings",
        "The baseline less the plant, in the same year with the same draws. What a machine in a room makes"
        " heating and cooling buy is booked to its plant. A saving may be negative.",
    ),
)


class Drawn(NamedTuple):
    """What takes long and is made beside the pages."""

    swings: Swings  # each assumption moved
    pictures: Mapping[str, bytes]  # PNG files by caption, in order


def pdf_bytes(papers: Papers, drawn: Callable[[], Drawn], command: str) -> bytes:
    """The bytes of the PDF file.

    Parameters
    ----------
    papers : Papers
        What was calculated.
    drawn : callable
        Gives swings and pictures; asked when their pages are reached.
    command : str
        What repeats the calculation.
    """
    pdf = new_pdf(str(papers.plant.record["title"]))
    _first_page(pdf, papers)
    _repeat(pdf, papers, command)
    _method(pdf, papers)
    _inputs(pdf, papers)
    _plant(pdf, papers)
    _results(pdf, papers)
    swings, pictures = drawn()
    _swings(pdf, swings)
    for caption, picture in pictures.items():
        add_picture(pdf, caption, picture)
    _checks(pdf, papers)
    _cautions(pdf, papers)
    return bytes(pdf.output())


# -- pages ---------------------------------------------------------------------------------------------


def _first_page(pdf: "FPDF", papers: Papers) -> None:
    record: Any = papers.plant.record
    pdf.add_page()
    pdf.set_font(FONT, "B", TITLE)
    pdf.multi_cell(0, 8, str(record["title"]), new_x="LMARGIN", new_y="NEXT", align="L")
    pdf.ln(1)
    add_text(pdf, f"Dossier of an hourly annual calculation. Weather: {record['weather.station']}")
    add_heading(pdf, "Purpose")
    add_text(pdf, PURPOSE)
    if papers.loaded.scenario.notes:
        add_text(pdf, f"Notes of the modeler: {' '.join(papers.loaded.scenario.notes.split())}")
    add_heading(pdf, "The answer")
    heads = ["", "unit", *papers.sides, *(["saved"] if papers.baseline is not None else [])]
    add_table(
        pdf, heads, list(headline(papers)), (62, 24, 26, 26, 26)[: len(heads)], "llrrr"[: len(heads)], 8.0
    )
    if any(side.room for side in papers.sides.values()):
        add_text(
            pdf,
            "Rooms included: with what heating, cooling and drying of a machine's room buy more.",
            SMALL,
        )
    if papers.answer.checks:
        add_text(pdf, _fits(papers), SMALL)
    if papers.terms is not None:
        add_heading(pdf, f"Costs over {papers.terms.years} years")
        add_table(pdf, ("", "unit", "value"), list(_over_the_years(record)), (82, 24, 78), "lll")


def _repeat(pdf: "FPDF", papers: Papers, command: str) -> None:
    add_heading(pdf, "How to repeat it")
    rows = [
        *origins(papers),
        ("command, typed in the scenario's folder", command),
        ("to verify", "tankyear dossier --verify bundle.json (says same, or what moved)"),
    ]
    add_table(pdf, ("what", "value"), rows, (38, 140), "ll")


def origins(papers: Papers) -> list[tuple[str, str]]:
    """Program, scenario and weather with their checksums."""
    record: Any = papers.plant.record
    overrides = papers.loaded.overrides
    return [
        ("tool", f"tankyear {record['tool.version']}"),
        ("scenario", f"{papers.loaded.path.name}, SHA-256 {record['scenario.sha256']}"),
        *([("set on the command line", "; ".join(overrides))] if overrides else []),
        ("weather", f"{papers.loaded.scenario.site.weather.name}, SHA-256 {record['weather.sha256']}"),
    ]


SAVED = {
    "electricity_kwh": "electricity_kwh",
    "fuel_kwh": "fuel_kwh",
    "operational_kgco2e": "operational_kgco2e",
    "total_kgco2e": "kgco2e",
    "energy_cost": "cost",
}
"""Lines of the savings by key of the record; they include what the room of a machine buys."""
PLAIN = ("peak_kw", "refrigerant_kgco2e")
"""Keys of which the savings have no line: the plants' own, one less the other."""
ENERGIES = {"site_mmbtu": "site energy", "source_mmbtu": "source energy"}
ROOMS = ", rooms included"


def headline(papers: Papers) -> Iterator[list[str]]:
    """Rows of the answer: label, unit, each plant, saved."""
    record: Any = papers.plant.record
    other: Any = papers.baseline.record if papers.baseline is not None else {}
    rows = (
        ("electricity", "kWh", "electricity_kwh"),
        ("fuel (higher heating value)", "kWh", "fuel_kwh"),
        ("highest 15-minute mean power", "kW", "peak_kw"),
        ("COP of the plant", "", "cop_plant"),
        ("COP with the room booked to it", "", "cop_net"),
        ("hours of resistance heat", "h", "resistance_hours"),
        ("hours of short hot water", "h", "short_hours"),
        ("greenhouse gases of energy, a year", "kg CO2e", "operational_kgco2e"),
        ("greenhouse gases of refrigerant, a year", "kg CO2e", "refrigerant_kgco2e"),
        ("greenhouse gases, a year", "kg CO2e", "total_kgco2e"),
        ("energy cost, a year", "USD", "energy_cost"),
    )
    for label, unit, key in rows:
        if key not in record and key not in other:
            continue
        if key == "cop_plant":
            yield from _lines(papers)
        cells = [label, unit, amount(record.get(key))]
        if papers.baseline is not None:
            cells.append(amount(other.get(key)))
            line = papers.answer.savings.get(SAVED.get(key, ""))
            if line is None and key in PLAIN:
                line = saving(other[key], record[key])
            same = line is None or (isclose(line.plant, record[key]) and isclose(line.baseline, other[key]))
            if line is not None and not same:
                yield [*cells, ""]
                cells = [f"{label}{ROOMS}", unit, amount(line.plant), amount(line.baseline)]
            cells.append(amount(line.saved) if line is not None else "")
        yield cells


def _lines(papers: Papers) -> Iterator[list[str]]:
    """Rows of savings that are no key of a record: energies in MMBtu, power in the hours that are named."""
    hours = {one.name: f"highest power in {one}" for one in papers.loaded.scenario.savings.peak_hours}
    for key, line in papers.answer.savings.items():
        if key in ENERGIES:
            label, unit = ENERGIES[key], "MMBtu"
        elif key.endswith(".highest_kw"):
            label, unit = hours[key.removesuffix(".highest_kw")], "kW"
        else:
            continue
        label += ROOMS if any(side.room for side in papers.sides.values()) else ""
        yield [label, unit, *map(amount, (line.plant, line.baseline, line.saved))]


def _over_the_years(record: Mapping[str, Any]) -> Iterator[list[str]]:
    """Rows on the life cycle: label, unit, value or why there is none."""
    for key, (label, unit, name) in FIGURES.items():
        if key in record:
            value = record[key]
            yield [label, unit, f"none: {record['costs.reasons'][name]}" if value is None else amount(value)]


def _fits(papers: Papers) -> str:
    """Whether the plant fits the building, in one line."""
    checks = papers.answer.checks
    sure, far = sum(c.state == OK for c in checks), [c.name for c in checks if beyond(c.limit)]
    said = f"Checks of site and refrigerant: {sure} ok, {len(checks) - sure} for a person to confirm"
    return f"{said}; beyond their limit: {', '.join(far)}." if far else f"{said}; none beyond its limit."


def _method(pdf: "FPDF", papers: Papers) -> None:
    add_heading(pdf, "Method", new_page=pdf.get_y() > pdf.h - METHOD_HIGH)
    add_text(
        pdf,
        "The program walks a plant through a typical year in short steps: it senses, decides, takes heat "
        "from the source, charges the store, draws, and books every kilowatt-hour. Equations and their "
        "sources stand in the program's own files.",
    )
    minutes = 60.0 / papers.loaded.scenario.run.steps_per_hour
    for head, text in METHOD:
        pdf.set_font(FONT, "B", BODY)
        pdf.multi_cell(0, 5, head, new_x="LMARGIN", new_y="NEXT")
        add_text(pdf, text.format(minutes=minutes))


def _inputs(pdf: "FPDF", papers: Papers) -> None:
    rows = inputs(papers)
    add_heading(pdf, "Inputs that were given", new_page=True)
    given = [row for row in rows if row.origin.startswith("given")]
    add_table(pdf, ("key", "value", "origin"), [row[:3] for row in given], (66, 96, 22), "lll")
    add_heading(pdf, "Defaults in force, and values that follow from a choice and a table")
    rest = [row for row in rows if not row.origin.startswith("given")]
    cells = [(row.key, row.value, row.origin, row.source) for row in rest]
    add_table(pdf, ("key", "value", "origin", "source"), cells, (52, 48, 16, 66), "llll")


def _plant(pdf: "FPDF", papers: Papers) -> None:
    add_heading(pdf, "The plant", new_page=True)
    year = papers.plant.year
    drawn = png(schematic(papers.plant.scenario, year.made.capacity, year))
    add_picture(pdf, "What stands where, and the heat of the year at each arrow", drawn)


def result_rows(papers: Papers) -> list[list[str]]:
    """Every number of the record: key, what it is, unit, value, and that of the baseline."""
    rows = []
    for row in read_table("results"):
        value: Any = papers.plant.record.get(row["name"])
        theirs: Any = papers.baseline.record.get(row["name"]) if papers.baseline is not None else None
        if row["where"] == "hourly" or row["name"].startswith(("savings.", "baseline.")):
            continue
        none = row["name"] in papers.plant.record and value is None
        numbers = isinstance(value, float | int) or isinstance(theirs, float | int)
        if none or numbers or row["name"] == "peak_time":
            cells = [row["name"], row["long_name"], row["unit"], "none" if none else amount(value)]
            rows.append([*cells, amount(theirs)] if papers.baseline is not None else cells)
    return rows


def _results(pdf: "FPDF", papers: Papers) -> None:
    add_heading(pdf, "Results", new_page=True)
    rows = result_rows(papers)
    heads = ["key", "what it is", "unit", *papers.sides]
    add_table(pdf, heads, rows, (50, 74, 18, 21, 21)[: len(heads)], "lllrr"[: len(heads)])
    if papers.answer.savings:
        add_heading(pdf, "Savings: the baseline less the plant, its room included")
        add_table(
            pdf,
            SAVING_HEADS,
            saving_rows(papers),
            (62, 30, 30, 30, 30),
            "lrrrr",
        )
    for name, side in papers.sides.items():
        _months(pdf, name, side)


SAVING_HEADS = ("figure", "baseline", "plant", "saved", "of the baseline")


def saving_rows(papers: Papers) -> list[list[str]]:
    """Every line of the savings, as text below `SAVING_HEADS`."""
    return [
        [name, *(amount(x) for x in line[:3]), amount(line.percent, "%")]
        for name, line in papers.answer.savings.items()
    ]


def month_rows(side: Side) -> list[list[str]]:
    """Figures of a plant by month, as text: what, twelve months, the year."""
    series = [
        ("electricity", "kWh", by_month(side.year.hourly["electricity_kwh"])),
        ("of it resistance", "kWh", by_month(side.year.hourly["resistance_kwh"])),
        ("fuel", "kWh", by_month(side.year.hourly["fuel_kwh"])),
        ("heat to taps", "kWh", by_month(side.year.hourly["heat_to_taps_kwh"])),
        ("loss of the loop", "kWh", by_month(side.year.hourly["recirculation_loss_kwh"])),
        ("loss of the store", "kWh", by_month(side.year.hourly["storage_loss_kwh"])),
    ]
    rows = [
        [f"{label} [{unit}]", *(whole(v) for v in months), whole(float(months.sum()))]
        for label, unit, months in series
    ]
    record: Any = side.record
    rows.append(["peak [kW]", *(decimals(v) for v in record["monthly.peak_kw"]), decimals(record["peak_kw"])])
    if "monthly.cop_plant" in record:
        cops = [decimals(v, 2) for v in record["monthly.cop_plant"]]
        rows.append(["COP of the plant", *cops, decimals(record.get("cop_plant"), 2)])
    if "monthly.energy_cost" in record:
        costs = [whole(v) for v in record["monthly.energy_cost"]]
        rows.append(["energy cost [USD]", *costs, whole(record["energy_cost"])])
    return rows


def _months(pdf: "FPDF", name: str, side: Side) -> None:
    add_heading(pdf, f"Months of the {name}")
    add_table(
        pdf, ("", *MONTH_NAMES, "year"), month_rows(side), (32, *([11.2] * 12), 14.5), "l" + "r" * 13, 6.2
    )


def _swings(pdf: "FPDF", swings: Swings) -> None:
    add_heading(pdf, "Assumptions that drive the answer", new_page=True)
    add_text(
        pdf,
        "Each assumption is moved down and up by itself, everything else as it is. How far it is moved is "
        "a choice of this program and says nothing of how sure the value is.",
    )
    figures = followed(swings)
    heads = ["assumption", "low", "high", *(f"{f.short},\n{end}" for f in figures for end in ("low", "high"))]
    rows = [["as it is", "", "", *(c for f in figures for c in (whole(swing_value(swings.base, f)), ""))]]
    for row in sorted(swings.rows, key=lambda row: -span(row, swings.base, figures[0])):
        cells = [whole(swing_value(end, f)) for f in figures for end in (row.low, row.high)]
        rows.append([row.name, row.low_value, row.high_value, *cells])
    add_table(pdf, heads, rows, (30, 25, 25, *([18] * (2 * len(figures)))), "lll" + "rr" * len(figures))
    add_text(pdf, "; ".join(f"{f.short} in {f.unit}" for f in figures), SMALL)
    for name, reason in swings.left_out.items():
        add_text(pdf, f"Left out: {name}: {reason}", SMALL)


CHECK_HEADS = ("check", "value", "limit", "source", "state")


def check_rows(papers: Papers) -> list[Sequence[str]]:
    """The heat balance, and every check of site and refrigerant, as text below `CHECK_HEADS`."""
    rows: list[Sequence[str]] = []
    for name, side in papers.sides.items():
        balance: Any = side.record["balance_error"]
        state = "ok" if abs(balance) <= 1e-6 else "look"
        rows.append(
            (f"heat balance of the year, {name}", f"{balance:.1e}", "at most 1e-6", "first law", state)
        )
    rows += [(c.name, c.text, c.limit, c.source, c.state) for c in papers.answer.checks]
    return rows


def _checks(pdf: "FPDF", papers: Papers) -> None:
    add_heading(pdf, "Checks", new_page=True)
    add_table(pdf, CHECK_HEADS, check_rows(papers), (42, 30, 54, 42, 15), "lllll")
    add_text(
        pdf,
        "'confirm' means that a person has to look; local codes and licensed professionals decide.",
        SMALL,
    )


def _cautions(pdf: "FPDF", papers: Papers) -> None:
    cautions: Any = papers.plant.record["cautions"]
    add_heading(pdf, "Cautions")
    for caution in cautions:
        add_text(pdf, f"•  {caution}")


def command_of(papers: Papers, verb: str = "dossier") -> str:
    """The command that repeats the calculation, to be typed in the folder of the scenario."""
    loaded = papers.loaded
    words = ["tankyear", verb, loaded.path.name]
    for override in loaded.overrides:
        if override.startswith(WEATHER):  # --weather, from wherever the command was typed
            weather = os.path.relpath(loaded.scenario.site.weather, loaded.path.parent)
            words += ["--weather", Path(weather).as_posix()]
        else:
            words += ["--set", override]
    return shlex.join(words)
