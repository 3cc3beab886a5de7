"""The dossier as a PDF: question, method, inputs, results, and how to repeat it."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import MEANING
from hpwhsim.dossier.content import Input, inputs
from hpwhsim.dossier.document import (
    BODY,
    FONT,
    SMALL,
    TITLE,
    add_heading,
    add_picture,
    add_table,
    add_text,
    new_pdf,
)
from hpwhsim.dossier.rows import (
    CHECK_HEADS,
    HYGIENE,
    HYGIENE_HEADS,
    SAVING_HEADS,
    check_rows,
    fits,
    headline,
    hygiene_rows,
    month_rows,
    origins,
    over_the_years,
    result_rows,
    saving_rows,
)
from hpwhsim.evaluation.draw_rows import DRAW_HEADS, draw_rows, draw_title
from hpwhsim.evaluation.result import Result, Side
from hpwhsim.io.figures import png
from hpwhsim.results.numbers import decimals
from hpwhsim.schematic.sheet import schematic
from hpwhsim.studies.sensitivity import Sensitivities
from hpwhsim.studies.sensitivity_report import followed, span
from hpwhsim.studies.sensitivity_report import value as value_of

if TYPE_CHECKING:
    from fpdf import FPDF

PURPOSE = (
    "This dossier documents one calculation of a hot-water plant for one building in one typical year, "
    "hour by hour: purchased energy, peak power, unmet hot water, and, where they were "
    "requested, greenhouse gases, cost, and savings against a baseline that gives the same "
    "service. It is meant to be checked: the workbook beside it holds every hour of the year and formulas "
    "from these hours to every total, and the archive beside it holds every input, so that the program can "
    "repeat the calculation anywhere. It is not a design, not a certified rating and not a guarantee of "
    "what a building will use."
)

METHOD_HIGH = 190.0  # mm that the method needs, to stay in one page
PLANT_HIGH = 160.0  # mm for the drawing of the plant
METHOD = (
    (
        "Year",
        "8,760 hours of a typical-year weather file in local standard time; the plant is simulated from "
        "event to event (a draw, a sensor, a timer); room, ground, sewage and signals are updated every "
        "{minutes:g} minutes. The calendar is nominal: 1 January is a Monday.",
    ),
    (
        "Hot water",
        "Daily use at the temperature of use follows a pattern of the day by weekday and weekend; random "
        "draws are single events whose mean follows the pattern. Cold water follows the weather of the "
        "year.",
    ),
    (
        "Store",
        "A stratified column in plug flow, held as layers that move with the water: what enters is a "
        "layer, what leaves is taken where it leaves. Mixing, conduction and loss to the room are separate "
        "and explicit.",
    ),
    (
        "Heat pump",
        "A refrigerant cycle with real-fluid properties, counterflow condenser or gas cooler, scaled to "
        "the rating that was given; or a table of measurements, used inside its range. Frost, starts, "
        "lines and limits of the unit are counted where they apply. Source and unit are solved in "
        "the same step.",
    ),
    (
        "Controls and backup",
        "Charging, stages, lockouts and backup follow the written sequence; each hour of backup is booked "
        "to its cause.",
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
        "The baseline less the plant, in the same year with the same draws. What a heat pump in a room makes "
        "heating and cooling purchase is booked to its plant. A saving may be negative.",
    ),
)


class Drawn(NamedTuple):
    """What takes long and is made beside the pages."""

    sensitivities: Sensitivities  # each assumption moved
    pictures: Mapping[str, bytes]  # PNG files by caption, in order


def pdf_bytes(result: Result, drawn: Callable[[], Drawn], command: str) -> bytes:
    """The bytes of the PDF file.

    Parameters
    ----------
    result : Result
        What was calculated.
    drawn : callable
        Gives sensitivities and pictures; asked when their pages are reached.
    command : str
        What repeats the calculation.
    """
    pdf = new_pdf(str(result.plant.record["title"]))
    _first_page(pdf, result)
    _repeat(pdf, result, command)
    _method(pdf, result)
    _inputs(pdf, result)
    _plant(pdf, result)
    _results(pdf, result)
    sensitivities, pictures = drawn()
    _sensitivities(pdf, sensitivities)
    for caption, picture in pictures.items():
        add_picture(pdf, caption, picture)
    _checks(pdf, result)
    _cautions(pdf, result)
    return bytes(pdf.output())


# -- pages ---------------------------------------------------------------------------------------------


def _first_page(pdf: "FPDF", result: Result) -> None:
    record: Any = result.plant.record
    pdf.add_page()
    pdf.set_font(FONT, "B", TITLE)
    pdf.multi_cell(0, 8, str(record["title"]), new_x="LMARGIN", new_y="NEXT", align="L")
    pdf.ln(1)
    add_text(pdf, f"Dossier of an hourly annual calculation. Weather: {record['weather.station']}")
    add_heading(pdf, "Purpose")
    add_text(pdf, PURPOSE)
    if result.loaded.scenario.notes:
        add_text(pdf, f"Notes of the modeler: {' '.join(result.loaded.scenario.notes.split())}")
    add_heading(pdf, "Summary")
    heads = ["", "unit", *result.sides, *(["saved"] if result.baseline is not None else [])]
    add_table(
        pdf, heads, list(headline(result)), (62, 24, 26, 26, 26)[: len(heads)], "llrrr"[: len(heads)], 8.0
    )
    if any(side.room for side in result.sides.values()):
        add_text(
            pdf,
            "Rooms included: with the extra purchases for heating, cooling and drying of a heat pump's room.",
            SMALL,
        )
    if result.checks:
        add_text(pdf, fits(result), SMALL)
    if result.terms is not None:
        add_heading(pdf, f"Costs over {result.terms.years} years")
        add_table(pdf, ("", "unit", "value"), list(over_the_years(record)), (82, 24, 78), "lll")


def _repeat(pdf: "FPDF", result: Result, command: str) -> None:
    add_heading(pdf, "How to repeat it")
    rows = [
        *origins(result),
        ("command, typed where bundle.zip was unpacked", command),
        ("to verify", "tankyear dossier --verify bundle.zip (says same, or what differs)"),
    ]
    add_table(pdf, ("what", "value"), rows, (38, 140), "ll")


def _method(pdf: "FPDF", result: Result) -> None:
    add_heading(pdf, "Method", new_page=pdf.get_y() > pdf.h - METHOD_HIGH)
    add_text(
        pdf,
        "The program simulates a plant through a typical year from event to event: it senses, decides, takes "
        "heat from the source, charges the store, draws, and books every kilowatt-hour. Equations and "
        "their sources are documented in the program's own files.",
    )
    minutes = 60.0 / result.loaded.scenario.run.steps_per_hour
    for head, text in METHOD:
        pdf.set_font(FONT, "B", BODY)
        pdf.multi_cell(0, 5, head, new_x="LMARGIN", new_y="NEXT")
        add_text(pdf, text.format(minutes=minutes))


def _inputs(pdf: "FPDF", result: Result) -> None:
    rows = inputs(result)
    add_heading(pdf, "User inputs", new_page=True)
    given = [row for row in rows if row.origin.startswith("given")]
    add_table(pdf, ("key", "value", "origin"), [row[:3] for row in given], (66, 96, 22), "lll")
    add_heading(pdf, "Defaults in force, and values that follow from a choice and a table")
    rest = [row for row in rows if not row.origin.startswith("given")]
    add_table(pdf, Input._fields, rest, (48, 44, 16, 56, 18), "lllll")


def _plant(pdf: "FPDF", result: Result) -> None:
    add_heading(pdf, "The plant", new_page=pdf.get_y() > pdf.h - PLANT_HIGH)
    year = result.plant.year
    drawn = png(schematic(result.plant.scenario, year.made.capacity, year))
    add_picture(pdf, "Schematic, with the heat of the year at each arrow", drawn)


def _results(pdf: "FPDF", result: Result) -> None:
    add_heading(pdf, "Results", new_page=True)
    rows = result_rows(result)
    heads = ["key", "what it is", "unit", *result.sides]
    add_table(pdf, heads, rows, (50, 74, 18, 21, 21)[: len(heads)], "lllrr"[: len(heads)])
    if result.savings:
        add_heading(pdf, "Savings: the baseline less the plant, its room included")
        add_table(
            pdf,
            SAVING_HEADS,
            saving_rows(result),
            (56, 18, 27, 27, 27, 27),
            "llrrrr",
        )
    if "seeds" in result.plant.record:
        add_heading(pdf, "Years of draws")
        add_text(pdf, draw_title(result.plant.record))
        rows = draw_rows(result.plant.record)
        add_table(pdf, DRAW_HEADS, rows, (54, 16, *([19] * 6)), "llrrrrrr", 7.0)
    for name, side in result.sides.items():
        _months(pdf, name, side)


def _months(pdf: "FPDF", name: str, side: Side) -> None:
    add_heading(pdf, f"Months of the {name}")
    add_table(
        pdf, ("", *MONTH_NAMES, "year"), month_rows(side), (32, *([11.2] * 12), 14.5), "l" + "r" * 13, 6.2
    )


def _sensitivities(pdf: "FPDF", sensitivities: Sensitivities) -> None:
    add_heading(pdf, "Sensitivity, one at a time", new_page=True)
    add_text(
        pdf,
        "Each assumption is moved down and up by itself, everything else as it is. How far it is moved is "
        "a tankyear default and says nothing of how sure the value is.",
    )
    figures = followed(sensitivities)
    heads = ["assumption", "low", "high", *(f"{f.name},\n{end}" for f in figures for end in ("low", "high"))]
    rows = [
        [
            "as it is",
            "",
            "",
            *(c for f in figures for c in (decimals(value_of(sensitivities.base, f), 0), "")),
        ]
    ]
    for row in sorted(sensitivities.rows, key=lambda row: -span(row, sensitivities.base, figures[0])):
        cells = [decimals(value_of(end, f), 0) for f in figures for end in (row.low, row.high)]
        rows.append([row.name, row.low_value, row.high_value, *cells])
    add_table(pdf, heads, rows, (30, 25, 25, *([18] * (2 * len(figures)))), "lll" + "rr" * len(figures))
    add_text(pdf, "; ".join(f"{f.name} in {f.unit}" for f in figures), SMALL)
    for name, reason in sensitivities.left_out.items():
        add_text(pdf, f"Left out: {name}: {reason}", SMALL)


def _checks(pdf: "FPDF", result: Result) -> None:
    add_heading(pdf, "Checks", new_page=True)
    add_table(pdf, CHECK_HEADS, check_rows(result), (19, 35, 28, 50, 11, 40), "llllrl")
    add_text(pdf, MEANING, SMALL)


def _cautions(pdf: "FPDF", result: Result) -> None:
    cautions: Any = result.plant.record["cautions"]
    add_heading(pdf, "Legionella")
    add_text(pdf, HYGIENE)
    for name, side in result.sides.items():
        if rows := hygiene_rows(side.record):
            add_text(pdf, f"Of the {name}", SMALL)
            add_table(pdf, HYGIENE_HEADS, rows, (46, 24, 18, 24, 70), "llrrl")
    add_heading(pdf, "Cautions")
    for caution in cautions:
        add_text(pdf, f"•  {caution}")
