"""The one list of sections: the result first, then what it rests on."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any

from hpwhsim.account.adequacy import cause_name
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import FAIL, MEANING, counted
from hpwhsim.charts.year import CAPTIONS, ONE_LINE, SCHEMATIC
from hpwhsim.evaluation.draw_rows import DRAW_HEADS, draw_rows, draw_title
from hpwhsim.evaluation.report import REASONS
from hpwhsim.evaluation.result import Result
from hpwhsim.io.us_units import BTU_H, KWH_PER_MMBTU, LITRES_PER_GALLON
from hpwhsim.results.declared import record_keys
from hpwhsim.results.heat_flows import ELECTRICITY, Sum, digits, sums
from hpwhsim.results.inch_pound import HEAT_MWH
from hpwhsim.results.numbers import amount, decimals
from hpwhsim.results.texts import Exact, Figure, Phrase
from hpwhsim.scenario.schema import Dossier
from hpwhsim.schematic.sheet import alternative
from hpwhsim.sections.inputs import Input, inputs
from hpwhsim.sections.method import METHOD, METHOD_ROWS
from hpwhsim.sections.parts import Document, Listing, Part, Picture, Section, Table, Text
from hpwhsim.sections.rows import (
    CHECK_HEADS,
    HYGIENE,
    HYGIENE_HEADS,
    SAVING_HEADS,
    check_rows,
    exact,
    headline,
    hygiene_rows,
    month_rows,
    origins,
    result_rows,
    saving_rows,
)
from hpwhsim.studies.sensitivity import Sensitivities
from hpwhsim.studies.sensitivity_report import followed, span
from hpwhsim.studies.sensitivity_report import value as value_of

ABOUT = (
    "One hot-water plant in one typical year, calculated hour by hour: purchased energy, peak power, unmet "
    "hot water, and what else was requested. It is a calculation with the assumptions listed below; it is "
    "not a design, not a certified rating and not a guarantee of what a building will use."
)
GASES = ("operational_kgco2e", "refrigerant_kgco2e", "total_kgco2e")
TORNADO = "tornado.png"
WIRED = "Electrical one-line"
PARTIES = {"prepared_by": "Prepared by", "prepared_for": "Prepared for", "project": "Project", "date": "Date"}
"""What a user writes of a document, and how it is printed."""


def document(
    result: Result,
    pictures: Collection[str],
    repeat: Sequence[tuple[str, str]],
    moved: Sensitivities | None = None,
) -> Document:
    """All that is said of a result; pictures are those drawn of it, `repeat` what is typed to repeat it."""
    record: Any = result.plant.record
    numbers = ["key", "what it is", "unit", *result.sides]
    main: dict[str, list[Part]] = {
        "Summary": _summary(result),
        "The plant": _plant(result),
        "Cautions": [Listing(record["cautions"])],
        "Savings": _savings(result),
        "Cost": _part(result, ("energy_cost",), "costs."),
        "Months": _months(result),
        "Usual measures": [Table(("", "SI", "inch-pound"), list(_measures(result)), "lrr", "Of the plant")],
        "Backup and unmet hot water": _causes(record),
        "Years of draws": _draws(record),
    }
    appendix: dict[str, list[Part]] = {
        "Pictures": [
            Picture(name, caption, f"{caption}; its figures are in the tables of this document")
            for name, caption in CAPTIONS.items()
            if name in pictures
        ],
        "Sensitivity, one at a time": _sensitivities(moved) if moved is not None else [],
        "Greenhouse gases": _part(result, GASES, "carbon."),
        WIRED: _wired() if ONE_LINE in pictures else [],
        "Checks": [
            Table(CHECK_HEADS, check_rows(result), "llllrl", "What failed stands first"),
            Text(MEANING, small=True),
        ],
        "Legionella": _hygiene(result),
        "Method": _method(result),
        **_inputs(result),
        "All numbers": [Table(numbers, result_rows(result), "llurr"[: len(numbers)], "The annual record")],
        "How to repeat it": [
            Table(("what", "value"), [*origins(result), *repeat], "ll", "Inputs and commands")
        ],
    }
    sections = [Section(title, parts) for title, parts in main.items() if parts]
    sections += [Section(title, parts, appendix=True) for title, parts in appendix.items() if parts]
    return Document(str(record["title"]), _front(result), sections)


def _front(result: Result) -> list[Text]:
    """What stands below the title."""
    scenario = result.loaded.scenario
    plant, homes = scenario.plant, scenario.building.apartments
    words = f"A {plant.family} plant"
    if plant.heat_pump is not None:
        words += f" with {plant.heat_pump.refrigerant}"
    said = f"{words} for {homes:,} apartment{'s' if homes > 1 else ''}. "
    said += f"Weather: {result.plant.record['weather.station']}."
    written = scenario.dossier or Dossier()
    found = {name: getattr(written, key) for key, name in PARTIES.items()}
    found |= {"About": f"{said} {ABOUT}", "Notes of the modeler": scenario.notes}
    return [Text(f"{name}: {' '.join(text.split())}") for name, text in found.items() if text]


def _summary(result: Result) -> list[Part]:
    heads = ["", "unit", *result.sides, *(["saved"] if result.baseline is not None else [])]
    parts: list[Part] = [Table(heads, list(headline(result)), "lurrr"[: len(heads)], "The year in figures")]
    if any(side.room for side in result.sides.values()):
        said = "Rooms included: with the purchases for heating, cooling and drying of a heat pump's room."
        parts.append(Text(said, small=True))
    if result.checks:
        failed = [f"Failed: {c.name}: {c.text}, {c.limit_text}" for c in result.checks if c.state == FAIL]
        said = f"Checks of site and refrigerant: {counted(c.state for c in result.checks)}."
        parts += [Text(said), Listing(failed)] if failed else [Text(f"{said} None failed.")]
    return parts


def _measures(result: Result) -> Iterator[tuple[str, str, str]]:
    """What engineers compare plants by: name, SI and inch-pound."""
    scenario, year, record = result.plant.scenario, result.plant.year, dict(result.plant.record)
    values: dict[str, Any] = record
    homes, storage = scenario.building.apartments, scenario.plant.storage
    made, litres = year.made, values["hot_water_litres"]
    heat, purchased = values["heat_to_taps_kwh"], values["electricity_kwh"] + values["fuel_kwh"]

    def temperature(name: str, value: float) -> tuple[str, str, str]:
        return name, f"{decimals(value)} °C", f"{decimals(1.8 * value + 32.0)} °F"

    def volume(name: str, value: float, per: str) -> tuple[str, str, str]:
        return name, amount(value, f"L{per}"), amount(value / LITRES_PER_GALLON, f"gal{per}")

    def energy(name: str, value: float) -> tuple[str, str, str]:
        return name, amount(value / 1e3, "MWh"), amount(value / KWH_PER_MMBTU, "MMBtu")

    def power(name: str, watts: float, per: str = "") -> tuple[str, str, str]:
        return name, amount(watts, f"W{per}"), amount(watts / BTU_H, f"Btu/h{per}")

    yield volume("hot water from the plant, a day and apartment", litres / 365.0 / homes, "")
    yield energy("hot water delivered", heat)
    yield power("recirculation loss, mean", values["recirculation_loss_kwh"] / 8.76 / homes, " per apartment")
    yield power("standby loss, mean", values["storage_loss_kwh"] / 8.76)
    if litres > 0.0:
        per = purchased / litres * 1e3
        yield (
            "purchased energy for the hot water",
            amount(per, "kWh/m³"),
            amount(per * LITRES_PER_GALLON, "kWh per 1,000 gal"),
        )
    yield "electricity, a year and apartment", amount(values["electricity_kwh"] / homes, "kWh"), ""
    yield "peak power", amount(values["peak_kw"] * 1e3 / homes, "W per apartment"), ""
    if values["fuel_kwh"] > 0.0:
        fuel = values["fuel_kwh"]
        yield "fuel (higher heating value)", amount(fuel, "kWh"), amount(fuel * 10.0 / KWH_PER_MMBTU, "therm")
    if made.modules > 0:
        watts = made.capacity * made.modules
        yield "heat pump, rated capacity", amount(watts / 1e3, "kW"), amount(watts / BTU_H / 1e3, "kBtu/h")
        yield temperature("coldest source", values["source_min_c"])
        yield temperature("mean source", values["source_mean_c"])
    yield volume("store", storage.volume * 1e3, "")
    yield volume("store, an apartment", storage.volume * 1e3 / homes, "")
    yield temperature("store is charged to", storage.setpoint)
    yield temperature("coldest top of the store", values["store_min_top_c"])


def _wired() -> list[Part]:
    said = "Electrical one-line: currents and protective devices of the site checks"
    return [Picture(ONE_LINE, said, f"{said}; its figures are in the table of checks")]


def _plant(result: Result) -> list[Part]:
    """The drawing with the year's heat, and the sums."""
    record = result.plant.record
    places, rows = digits(record), []
    for one in sums(record):
        for goes_in, comes_out in zip_longest(one.left.items(), one.right.items(), fillvalue=("", None)):
            (left, more), (right, less) = goes_in, comes_out
            said = f"{one.name}: {left}" if left else ""
            rows.append((said, _flow(more, places, one), right, _flow(less, places, one), "MWh"))
        whole = [_flow(sum(side.values()), places, one) for side in (one.left, one.right)]
        rows.append((f"{one.name}: sum", whole[0], "sum", whole[1], "MWh"))
    caption = "Schematic, with the heat of the year at each arrow"
    heads = ("in", "energy", "out", "energy", "unit")
    return [
        Picture(SCHEMATIC, caption, alternative(result.plant.year)),
        Table(heads, rows, "lrlru", "The heat of the year: what goes in comes out"),
    ]


def _flow(value: float | None, places: int, of: Sum) -> str:
    """A term of a sum [MWh]; electricity is the same in both systems of units."""
    if value is None:
        return ""
    return Exact(decimals(value, places), value, "" if of.name == ELECTRICITY else HEAT_MWH)


def _savings(result: Result) -> list[Part]:
    caption = "The baseline less the plant, its room included; negative: the plant takes more"
    return [Table(SAVING_HEADS, saving_rows(result), "lurrrr", caption)] if result.savings else []


def _part(result: Result, keys: tuple[str, ...], prefix: str) -> list[Part]:
    """Figures of the record by key, or by how their keys begin; empty where there are none."""
    record, rows = result.plant.record, []
    for row in record_keys():
        name = row.name
        value: Any = record.get(name)
        if name not in record or not (name in keys or name.startswith(prefix)):
            continue
        if value is None:
            reasons: Any = record["costs.reasons"]
            value = f"none: {reasons.get(REASONS[name], '')}"
        if isinstance(value, str | float | int):
            rows.append((row.long_name, row.unit.removesuffix("1"), exact(value, name)))
    return [Table(("", "unit", "value"), rows, "lur", "Of the plant")] if rows else []


def _causes(record: Mapping[str, Any]) -> list[Part]:
    """Hours of backup and unmet hours by cause."""
    backup, short = record["backup_hours_by_cause"], record["short_hours_by_cause"]
    rows = [
        (cause_name(cause), amount(backup.get(cause, 0.0)), amount(short.get(cause, 0.0)))
        for cause in dict.fromkeys((*backup, *short))
    ]
    hours = record["resistance_hours"] + record["fuel_hours"]
    rows.append(("all", amount(hours), amount(record["short_hours"])))
    heads = ("cause", "backup, at full power [h]", "unmet hours [h]")
    litres, heat = record["short_litres"], record["unmet_kwh"]
    missing = Phrase(
        Figure(amount(litres, "L"), litres, "short_litres"),
        " were delivered below the minimum delivery temperature; ",
        Figure(amount(heat, "kWh"), heat, "unmet_kwh"),
        " were missing to the use temperature.",
    )
    return [Text(missing, small=True), Table(heads, rows, "lrr", "Hours of the year by cause")]


def _months(result: Result) -> list[Part]:
    heads = ("", *MONTH_NAMES, "year")
    return [
        Table(heads, month_rows(side), "l" + "r" * 13, f"Months of the {name}")
        for name, side in result.sides.items()
    ]


def _draws(record: Mapping[str, Any]) -> list[Part]:
    return [Table(DRAW_HEADS, draw_rows(record), "lurrrrrr", draw_title(record))] if "seeds" in record else []


def _sensitivities(moved: Sensitivities) -> list[Part]:
    figures = followed(moved)
    heads = ["assumption", "low", "high", *(f"{f.name}, {end}" for f in figures for end in ("low", "high"))]
    base = [cell for f in figures for cell in (decimals(value_of(moved.base, f), 0), "")]
    rows = [["as it is", "", "", *base]]
    for row in sorted(moved.rows, key=lambda row: -span(row, moved.base, figures[0])):
        cells = [decimals(value_of(end, f), 0) for f in figures for end in (row.low, row.high)]
        rows.append([row.name, row.low_value, row.high_value, *cells])
    said = (
        "Each assumption is moved down and up by itself, everything else as it is. How far it is moved is a "
        "tankyear default and says nothing of how sure the value is."
    )
    caption = "; ".join(f"{f.name} in {f.unit}" for f in figures)
    return [
        Text(said),
        Table(heads, rows, "lll" + "rr" * len(figures), caption),
        *(Text(f"Left out: {name}: {reason}", small=True) for name, reason in moved.left_out.items()),
        Picture(TORNADO, "How far each assumption moves the result", f"{said} Its figures are in the table."),
    ]


def _hygiene(result: Result) -> list[Part]:
    rows = {name: hygiene_rows(side.record) for name, side in result.sides.items()}
    found = [Table(HYGIENE_HEADS, r, "llrrl", f"Legionella: the {name}") for name, r in rows.items() if r]
    return [Text(HYGIENE), *found]


def _method(result: Result) -> list[Part]:
    minutes = 60.0 / result.loaded.scenario.run.steps_per_hour
    rows = [(name, text.format(minutes=minutes)) for name, text in METHOD_ROWS]
    return [Text(METHOD), Table(("part", "how it is calculated"), rows, "ll", "The parts of the calculation")]


def _inputs(result: Result) -> dict[str, list[Part]]:
    rows = inputs(result)
    given = [row for row in rows if row.origin.startswith("given")]
    rest = [row for row in rows if not row.origin.startswith("given")]
    caption = "Defaults in force, and values that follow from a choice and a table"
    return {
        "User inputs": [
            Table(("key", "value", "origin"), [row[:3] for row in given], "lll", "As given in the scenario")
        ],
        "Assumptions": [Table(Input._fields, rest, "lllll", caption)],
    }
