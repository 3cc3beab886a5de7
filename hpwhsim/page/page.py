"""A year on one page of HTML that needs nothing else: no script, no address, its pictures within it."""

from collections.abc import Iterator, Mapping
from typing import Any

from hpwhsim.account.adequacy import cause_name
from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.account.checks import MEANING
from hpwhsim.charts.year import CAPTIONS, SCHEMATIC
from hpwhsim.dossier.content import Input, inputs
from hpwhsim.dossier.rows import (
    CHECK_HEADS,
    HYGIENE,
    HYGIENE_HEADS,
    SAVING_HEADS,
    check_rows,
    command_of,
    fits,
    headline,
    hygiene_rows,
    month_rows,
    origins,
    result_rows,
    saving_rows,
)
from hpwhsim.evaluation.draw_rows import DRAW_HEADS, draw_rows, draw_title
from hpwhsim.evaluation.report import REASONS
from hpwhsim.evaluation.result import Result
from hpwhsim.io.us_units import BTU_H, KWH_PER_MMBTU, LITRES_PER_GALLON
from hpwhsim.page.markup import Html, element, figure, listing, table
from hpwhsim.results.declared import record_keys
from hpwhsim.results.heat_flows import digits, sums
from hpwhsim.results.numbers import amount, decimals
from hpwhsim.schematic.sheet import alternative

STYLE = """
:root { color-scheme: light dark; --ink: #1a1a1a; --paper: #fff; --rule: #c4c9ce; --shade: #e8eef4;
  --dim: #555; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e4e4e4; --paper: #16181a; --rule: #484d52; --shade: #262c31; --dim: #a8adb2; }
}
body { color: var(--ink); background: var(--paper); font: 16px/1.5 system-ui, "DejaVu Sans", sans-serif;
  max-width: 72rem; margin: 0 auto; padding: 1rem 1.5rem 4rem; overflow-wrap: break-word; }
h1 { font-size: 1.7rem; line-height: 1.25; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 .6rem; border-bottom: 1px solid var(--rule); }
p, li { max-width: 46rem; }
.dim, caption, figcaption { color: var(--dim); font-size: .875rem; text-align: left; }
.wide { overflow-x: auto; margin: .8rem 0; }
table { border-collapse: collapse; font-size: .875rem; font-variant-numeric: tabular-nums; }
caption { padding: 0 0 .3rem; }
th, td { padding: .2rem .6rem; border-bottom: 1px solid var(--rule); vertical-align: top; text-align: left; }
thead th { background: var(--shade); }
tbody th { font-weight: normal; }
.number { text-align: right; white-space: nowrap; }
.unit { white-space: nowrap; }
nav ul { display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; list-style: none; padding: 0; max-width: none; }
a { color: inherit; }
figure { margin: 1rem 0; }
img { max-width: 100%; height: auto; background: #fff; }
code { font-size: .875rem; background: var(--shade); padding: .1rem .3rem; }
@page { margin: 14mm; }
@media print {
  :root { --ink: #000; --paper: #fff; --rule: #b4b4b4; --shade: #eee; --dim: #333; }
  :root { font-size: 10pt; }
  body { font-size: 1rem; max-width: none; padding: 0; }
  nav { display: none; }
  img { max-height: 115mm; }
  h2, caption { break-after: avoid; }
  figure, tr { break-inside: avoid; }
  thead { display: table-header-group; }
  .wide { overflow: visible; }
  table { font-size: 7.5pt; }
  th, td { padding: .1rem .25rem; }
}
"""
NO_ADDRESS = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
ABOUT = (
    "One hot-water plant in one typical year, calculated hour by hour: purchased energy, peak power, unmet "
    "hot water, and what else was requested. It is a calculation with the assumptions listed below; it is "
    "not a design, not a certified rating and not a guarantee of what a building will use."
)


def page(result: Result, pictures: Mapping[str, bytes]) -> bytes:
    """The bytes of ``page.html``.

    Parameters
    ----------
    result : Result
        What was calculated.
    pictures : mapping of str to bytes
        What `draw_pictures` drew of it.
    """
    title = str(result.plant.record["title"])
    sections = {
        "Summary": _answer(result),
        "The plant": _plant(result, pictures),
        "Months": _months(result),
        "Backup and unmet hot water": _causes(result.plant.record),
        "Pictures": _pictures(pictures),
        "Savings": _savings(result),
        "Greenhouse gases": _part(result, GASES, "carbon."),
        "Cost": _part(result, ("energy_cost",), "costs."),
        "Years of draws": _draws(result.plant.record),
        "Checks": _checks(result),
        "Legionella": _hygiene(result),
        "Cautions": _cautions(result.plant.record),
        "User inputs": _inputs(result, given=True),
        "Assumptions": _inputs(result, given=False),
        "All numbers": _all(result),
        "How to repeat it": _repeat(result),
    }
    there = {name: parts for name, parts in sections.items() if parts}
    links = [element("a", name, href=f"#{_anchor(name)}") for name in there]
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", http_equiv="Content-Security-Policy", content=NO_ADDRESS),
        element("title", title),
        element("style", Html(STYLE)),
    )
    main = element(
        "main",
        *_beginning(result, title),
        element("nav", listing(links), aria_label="Sections"),
        *(element("section", element("h2", name, id=_anchor(name)), *parts) for name, parts in there.items()),
    )
    whole = element("html", head, "\n", element("body", main), lang="en")
    return f"<!DOCTYPE html>\n{whole}\n".encode()


def _anchor(name: str) -> str:
    return name.lower().replace(" ", "-")


def _beginning(result: Result, title: str) -> list[Html]:
    scenario, record = result.plant.scenario, result.plant.record
    plant, homes = scenario.plant, scenario.building.apartments
    words = f"A {plant.family} plant"
    if plant.heat_pump is not None:
        words += f" with {plant.heat_pump.refrigerant}"
    said = f"{words} for {homes:,} apartment{'s' if homes > 1 else ''}. Weather: {record['weather.station']}."
    parts = [element("h1", title), element("p", said), element("p", ABOUT)]
    if scenario.notes:
        parts.append(element("p", f"Notes of the modeler: {' '.join(scenario.notes.split())}", class_="dim"))
    return parts


def _answer(result: Result) -> list[Html]:
    heads = ["", "unit", *result.sides, *(["saved"] if result.baseline is not None else [])]
    found = table(heads, headline(result), "lurrr"[: len(heads)], "The year in figures")
    measures = table(("", "SI", "inch-pound"), _measures(result), "lrr", "Usual measures of the plant")
    checked = [element("p", fits(result))] if result.checks else []
    return [found, *checked, measures]


def _measures(result: Result) -> Iterator[tuple[str, str, str]]:
    """What engineers compare plants by, in both systems of units."""
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


def _plant(result: Result, pictures: Mapping[str, bytes]) -> list[Html]:
    year, record = result.plant.year, result.plant.record
    places = digits(record)
    rows = []
    for one in sums(record):
        rows += [(f"{one.name}: {name}", decimals(value, places), "") for name, value in one.left.items()]
        rows += [(f"{one.name}: {name}", "", decimals(value, places)) for name, value in one.right.items()]
        left, right = (decimals(sum(side.values()), places) for side in (one.left, one.right))
        rows.append((f"{one.name}: sum", left, right))
    caption = "Schematic, with the heat of the year at each arrow"
    heads = ("", "in [MWh]", "out [MWh]")
    return [
        figure(SCHEMATIC, pictures[SCHEMATIC], caption, alternative(year)),
        table(heads, rows, "lrr", "The heat of the year: what goes in comes out"),
    ]


def _months(result: Result) -> list[Html]:
    heads = ("", *MONTH_NAMES, "year")
    return [
        table(heads, month_rows(side), "l" + "r" * 13, f"Months of the {name}")
        for name, side in result.sides.items()
    ]


def _causes(record: Mapping[str, Any]) -> list[Html]:
    """Hours of backup and unmet hours by cause."""
    backup, short = record["backup_hours_by_cause"], record["short_hours_by_cause"]
    rows = [
        (cause_name(cause), amount(backup.get(cause, 0.0)), amount(short.get(cause, 0.0)))
        for cause in dict.fromkeys((*backup, *short))
    ]
    hours = record["resistance_hours"] + record["fuel_hours"]
    rows.append(("all", amount(hours), amount(record["short_hours"])))
    heads = ("cause", "backup, at full power [h]", "unmet hours [h]")
    missing = f"{amount(record['short_litres'])} L were delivered below the minimum delivery temperature; "
    missing += f"{amount(record['unmet_kwh'])} kWh were missing to the use temperature."
    return [table(heads, rows, "lrr", "Hours of the year by cause"), element("p", missing)]


def _pictures(pictures: Mapping[str, bytes]) -> list[Html]:
    return [
        figure(name, pictures[name], caption, f"{caption}; its figures are in the tables of this page")
        for name, caption in CAPTIONS.items()
        if name in pictures
    ]


def _savings(result: Result) -> list[Html]:
    if not result.savings:
        return []
    caption = "The baseline less the plant, its room included; negative: the plant takes more"
    return [table(SAVING_HEADS, saving_rows(result), "lurrrr", caption)]


GASES = ("operational_kgco2e", "refrigerant_kgco2e", "total_kgco2e")


def _part(result: Result, keys: tuple[str, ...], prefix: str) -> list[Html]:
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
            rows.append((row.long_name, row.unit.removesuffix("1"), amount(value)))
    return [table(("", "unit", "value"), rows, "lur", "Of the plant")] if rows else []


def _checks(result: Result) -> list[Html]:
    return [
        table(CHECK_HEADS, check_rows(result), "llllrl", "Value, limit, ratio and source; what failed first"),
        element("p", MEANING, class_="dim"),
    ]


def _draws(record: Mapping[str, Any]) -> list[Html]:
    if "seeds" not in record:
        return []
    return [table(DRAW_HEADS, draw_rows(record), "lurrrrrr", draw_title(record))]


def _hygiene(result: Result) -> list[Html]:
    rows = {name: hygiene_rows(side.record) for name, side in result.sides.items()}
    return [
        table(HYGIENE_HEADS, found, "llrrl", f"{HYGIENE} Of the {name}")
        for name, found in rows.items()
        if found
    ]


def _cautions(record: Mapping[str, Any]) -> list[Html]:
    return [listing(record["cautions"])]


def _inputs(result: Result, given: bool) -> list[Html]:
    rows = [row for row in inputs(result) if row.origin.startswith("given") == given]
    if given:
        return [
            table(("key", "value", "origin"), [row[:3] for row in rows], "lll", "As given in the scenario")
        ]
    caption = "Defaults in force, and values that follow from a choice and a table"
    return [table(Input._fields, rows, "lllll", caption)]


def _all(result: Result) -> list[Html]:
    """Every number of the record; that of the plant in full in its `value`."""
    record = result.plant.record
    rows = []
    for key, name, unit, value, *theirs in result_rows(result):
        exact = record.get(key)
        cell = element("data", value, value=repr(exact)) if isinstance(exact, float | int) else value
        rows.append([key, name, unit, cell, *theirs])
    heads = ["key", "what it is", "unit", *result.sides]
    return [table(heads, rows, "llurr"[: len(heads)], "The annual record")]


def _repeat(result: Result) -> list[Html]:
    command = element("code", f"{command_of(result, 'run')} --pictures")
    caption = "The command is typed in the folder of the scenario"
    return [table(("what", "value"), [*origins(result), ("command", command)], "ll", caption)]
