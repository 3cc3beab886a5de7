"""A year on one page of HTML that needs nothing else: its data, pictures and script within it, no address."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from hpwhsim.account.checks import FAIL
from hpwhsim.charts.year import SCHEMATIC, draw_plant
from hpwhsim.evaluation.result import Result
from hpwhsim.evaluation.site_checks import writes_us_units
from hpwhsim.page.both_units import with_both
from hpwhsim.page.events import event_parts
from hpwhsim.page.frame import Card, Cards, Chart, Hours, PagePart, html, with_parts
from hpwhsim.page.year_data import READ, year_data
from hpwhsim.results.declared import declared
from hpwhsim.results.numbers import shown
from hpwhsim.schematic.sheet import alternative, schematic_svg
from hpwhsim.sections.document import WIRED, document
from hpwhsim.sections.parts import Document, Listing, Typed
from hpwhsim.sections.rows import command_of

SCRIPTS = ("tools.js", "drawing.js", "pictures.js", "series.js", "page.js")
HEADLINE = (
    "electricity_kwh",
    "fuel_kwh",
    "peak_kw",
    "cop_plant",
    "short_hours",
    "resistance_hours",
    "total_kgco2e",
    "energy_cost",
)
"""Keys of the figures that stand first."""
MAPS = ("source_c", "cop_hour", "electricity_kwh", "fuel_kwh", "backup_heat_kwh", "store_mean_c")
"""Series that are drawn as day by hour."""
AFTER = "The plant"  # what the new sections follow


def page(result: Result) -> bytes:
    """The bytes of ``page.html``: figures follow the switch of units, sentences are in both systems."""
    year, scenario = result.plant.year, result.loaded.scenario
    drawings = draw_plant(year, scenario)
    other = schematic_svg(scenario, year.made.capacity, year, us=True), alternative(year, us=True)
    command = Typed(f"{command_of(result, 'run')} --page")
    repeat = [("command, typed in the folder of the scenario", command)]
    content = _wired_beside(document(result, drawings, repeat))
    data = year_data(result, writes_us_units(result.loaded.written))
    parts = _parts(result, data)
    new = {title: parts.pop(title) for title in NEW if title in parts}
    whole = with_both(with_parts(content, parts, new, after=AFTER))
    return html(whole, drawings, data, SCRIPTS, {SCHEMATIC: other})


def _wired_beside(content: Document) -> Document:
    """The electrical one-line below the schematic, and not where paper has it."""
    wired = [part for section in content.sections if section.title == WIRED for part in section.parts]
    sections = [
        section._replace(parts=[*section.parts, *wired]) if section.title == AFTER else section
        for section in content.sections
        if section.title != WIRED
    ]
    return content._replace(sections=sections)


def cards(record: Mapping[str, Any]) -> Cards:
    """The figures that stand first, of those that were asked for."""
    found = []
    for key in HEADLINE:
        value = record.get(key)
        if isinstance(value, float | int) and (value != 0.0 or key not in ("fuel_kwh", "resistance_hours")):
            row = declared(key)
            found.append(Card(row.label, row.screen_unit, key, value, shown(key, value)))
    return Cards(found)


NEW = ("Hour by hour", "Day by hour", "Coldest week and peak-use day", "Load duration", "Map of COP")
"""Sections that only a page has."""


def _moves(result: Result, key: str) -> bool:
    """Whether a series is not the same in every hour: a map of one colour shows nothing."""
    if key not in result.hourly:
        return True
    values = result.hourly[key].values
    known = values[np.isfinite(values)]
    return bool(known.size) and bool(known.max() > known.min())


def _parts(result: Result, data: dict[str, Any]) -> dict[str, list[PagePart]]:
    """What the page shows in each section before what the document says there."""
    names = data["hours"]["names"]
    weeks = {
        "coldest-week": "The coldest week by outdoor air, hour by hour",
        "peak-use-day": "The day on which most hot water is used",
    }
    strips = "Temperatures, heat made upwards and used downwards, and purchased power as means of the hour"
    found: dict[str, list[PagePart]] = {
        "Summary": [cards(result.plant.record), *_failed(result)],
        NEW[0]: [Hours()],
        NEW[1]: [
            Chart(
                f"map-{key}", f"{data['keys'][key]['label']}, days across and hours up", f"{MAP_WORDS} {READ}"
            )
            for key in MAPS
            if key in names and _moves(result, key)
        ],
        NEW[2]: [Chart(name, caption, f"{strips}.") for name, caption in weeks.items()],
        NEW[3]: [
            Chart("duration", "Load duration", f"Hours of the year in which a load is exceeded. {READ}")
        ],
        "Months": [Chart("months", "Purchased energy by end use and month", f"{_months_words(data)} {READ}")],
        "Backup and unmet hot water": [*event_parts(result.plant.year.hourly)],
    }
    if data["map"] is not None:
        words = (
            "Colours: COP of one module at full load; circles: the heat of the year, by source and water, "
            f"their areas in proportion; grey: the heat pump does not work there. {READ}"
        )
        found[NEW[4]] = [Chart("cop-map", "Map of COP with the year's heat", words)]
    if data["causes"]:
        words = f"Each hour of backup stands under what kept the heat pump from giving the heat. {READ}"
        found["Backup and unmet hot water"].insert(0, Chart("causes", "Backup by cause and month", words))
    if data["carbon"] is not None:
        turns = ", ".join(f"{turn}" for turn in data["carbon"]["turns"])
        words = (
            f"Crossover in year {turns} of service." if turns else "The order of the lines does not change."
        )
        found["Greenhouse gases"] = [
            Chart("carbon", "Greenhouse gases added up over the service life", f"{words} {READ}")
        ]
    return found


def _failed(result: Result) -> list[PagePart]:
    """The checks that failed, beside the figures that stand first."""
    failed = [f"Failed: {c.name}: {c.text}, {c.limit_text}" for c in result.checks if c.state == FAIL]
    return [Listing(failed)] if failed else []


MAP_WORDS = "Each hour of the year is a cell, dark where the value is small and light where it is large."


def _months_words(data: Mapping[str, Any]) -> str:
    said = "Fuel counts by its higher heating value."
    if "baseline_electricity_kwh" in data["hours"]["names"]:
        said += " Lines across: all purchases of the baseline."
    return said
