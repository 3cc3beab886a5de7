"""Several scenarios on one page of HTML: figures with differences, what drives them, one set of axes."""

from collections.abc import Iterator, Sequence
from typing import Any, cast

import numpy as np

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.comparison.drivers import sentences, signed
from hpwhsim.comparison.report import PARTS, Line, figure, lines_of, more
from hpwhsim.evaluation.result import Result
from hpwhsim.evaluation.site_checks import writes_us_units
from hpwhsim.page.frame import Chart, Choice, Details, Difference, Hours, PagePart, html
from hpwhsim.page.hours import packed
from hpwhsim.page.year_data import NAMED, READ, meanings, run_words, stretches
from hpwhsim.results.declared import declarations, record_keys
from hpwhsim.results.numbers import amount
from hpwhsim.sections.parts import Document, Exact, Listing, Part, Section, Table, Text, Typed

SCRIPTS = ("tools.js", "drawing.js", "pictures.js", "series.js", "compare.js", "page.js")
HUES = ("blue", "red", "green", "orange", "pink", "sky", "dark", "grey")
"""Hues of the scenarios, in their order; of more than eight the ninth begins again, dashed."""
SERIES = ("electricity_kwh", "fuel_kwh", "heat_to_taps_kwh", "backup_heat_kwh", "store_top_c", "source_c")
"""Hourly series that are held beside each other."""
RANKED = (
    "with_room_kwh",
    "electricity_kwh",
    "peak_kw",
    "cop_plant",
    "short_hours",
    "total_kgco2e",
    "energy_cost",
)
"""What may be chosen to rank by, where all scenarios have it."""
ABOUT = (
    "One typical year of each scenario, simulated hour by hour. Differences are against the first, {base}: "
    "positive where a scenario has more. They are calculations with the assumptions of each scenario, not "
    "certified ratings and not guarantees; where the accounts of the scenarios are not alike, the cautions "
    "say so."
)


def comparison_page(
    names: Sequence[str], results: Sequence[Result], cautions: Sequence[str], command: str
) -> bytes:
    """The bytes of ``compare.html``.

    Parameters
    ----------
    names : sequence of str
        What the scenarios are called.
    results : sequence of Result
        Their years.
    cautions : sequence of str
        In what their accounts are not alike.
    command : str
        What is typed to repeat it.
    """
    records: list[dict[str, Any]] = [dict(one.record) for one in results]
    lines = [
        line for line in lines_of(records) if any(_value(record, line.key) is not None for record in records)
    ]
    by_key = {line.key: line for line in lines}
    ranked = {
        key: f"{by_key[key].label.strip()}{f' [{by_key[key].unit}]' if by_key[key].unit else ''}"
        for key in RANKED
        if key in by_key and all(_value(record, key) is not None for record in records)
    }
    data = _data(names, results, lines)
    drives = [
        part
        for name, record in zip(names[1:], records[1:], strict=True)
        for part in (
            Text(f"{name} against {names[0]}"),
            Listing(sentences((names[0], name), records[0], record)),
        )
    ]
    keys = [Line(row.label, row.screen_unit, row.name) for row in record_keys()]
    sections: dict[str, list[PagePart]] = {
        "What drives the difference": list(drives),
        "Key figures": [
            Table(*_table(names, records, lines), f"The year in figures; differences against {names[0]}"),
            Details(
                "All figures of the records", Table(*_table(names, records, keys, full=True), "All figures")
            ),
        ],
        "Rank": [
            Choice("rank-by", "Rank by", ranked),
            Chart(
                "rank",
                "Rank by the chosen figure",
                f"The best stands first; behind each, its distance. {READ}",
            ),
        ],
        "Cautions": [Listing(list(cautions) or ["The accounts are alike in weather, building and use."])],
        "Parts that add up": [
            Chart(f"panel-{at}", panel["title"], "Parts on top of each other; what is less than 0 goes left.")
            for at, panel in enumerate(data["panels"])
        ],
        "Months": [Chart("months", "Purchased energy by month, fuel by its higher heating value", READ)],
        "Load duration": [
            Chart(
                "duration",
                "Load duration of electricity",
                f"Hours of the year in which it is exceeded. {READ}",
            )
        ],
        "Hour by hour": [Hours()],
        "Day by hour": [
            Chart(
                f"map-{at}",
                f"{name}: electricity, days across and hours up",
                f"One scale of colours for all. {READ}",
            )
            for at, name in enumerate(names)
        ],
    }
    if data["carbon"]:
        sections["Greenhouse gases"] = [Chart("carbon", "Greenhouse gases over the years of service", READ)]
    said = [(name, str(record["title"])) for name, record in zip(names, records, strict=True)]
    said += [(f"{name}, run", run_words(record)) for name, record in zip(names, records, strict=True)]
    said.append(("command", Typed(command)))
    sections["How to repeat it"] = [Table(("what", "value"), said, "ll", "Scenarios and command")]
    content = [Section(title, cast("Sequence[Part]", parts)) for title, parts in sections.items() if parts]
    title = f"Side by side: {', '.join(names)}"
    return html(Document(title, [Text(ABOUT.format(base=names[0]))], content), {}, data, SCRIPTS)


def _value(record: dict[str, Any], key: str) -> float | None:
    value = (record | more(record)).get(key)
    return value if isinstance(value, float | int) else None


def _table(
    names: Sequence[str], records: Sequence[dict[str, Any]], lines: Sequence[Line], full: bool = False
) -> tuple[list[str], list[list[str]], str]:
    """Heads, rows and alignments: label, unit, each scenario, and its difference from the first."""
    heads = ["", "unit", names[0]]
    for name in names[1:]:
        heads += [name, "difference", "%"]
    rows = []
    for line in lines:
        values = [_value(record, line.key) for record in records]
        if all(value is None for value in values):
            continue
        key = line.key if line.key in declarations() else ""
        cells = [line.label.strip() if not full else f"{line.label} ({line.key})", line.unit]
        for at, value in enumerate(values):
            shown = "" if value is None else amount(value) if full else figure(line, value)
            cells.append("" if value is None else Exact(shown, value, key))
            if at:
                cells += _difference(values[0], value, key)
        rows.append(cells)
    return heads, rows, "lur" + "rrr" * (len(names) - 1)


def _difference(base: float | None, value: float | None, key: str) -> list[str]:
    if base is None or value is None:
        return ["", ""]
    change = value - base
    return [Difference(signed(change), change, key), signed(round(100.0 * change / base, 1)) if base else ""]


def _data(names: Sequence[str], results: Sequence[Result], lines: Sequence[Line]) -> dict[str, Any]:
    """All that the script reads."""
    records: list[dict[str, Any]] = [dict(one.record) | more(one.record) for one in results]
    declared_keys = [line.key for line in lines if line.key in declarations()]
    keys = meanings(dict.fromkeys([*declared_keys, *SERIES, *(row.name for row in record_keys())]))
    for line in lines:
        keys.setdefault(
            line.key, {"label": line.label.strip(), "unit": line.unit, "long": line.label.strip()}
        )
    panels = []
    for title, (size, parts) in PARTS.items():
        rows = [[name, label, NAMED[colour]] for label, name, colour in parts]
        values = {
            name: [None if (value := record.get(name)) is None else value / size for record in records]
            for name, _, _ in rows
        }
        if any(any(of) for of in values.values()):
            panels.append({"title": title, "parts": rows, "values": values})
    hours: dict[str, Any] = {}
    for at, result in enumerate(results):
        for name in SERIES:
            if name in result.plant.year.hourly:
                hours[f"{at}:{name}"] = result.plant.year.hourly[name]
                keys[f"{at}:{name}"] = keys[name] | {"label": f"{names[at]}: {keys[name]['label']}"}
    return {
        "kind": "comparison",
        "title": "; ".join(names),
        "run": run_words(records[0]),
        "us": writes_us_units(results[0].loaded.written),
        "months": MONTH_NAMES,
        "keys": keys,
        "plants": [
            {"name": name, "colour": HUES[at % len(HUES)], "dash": "5 3" if at >= len(HUES) else "none"}
            for at, name in enumerate(names)
        ],
        "fields": list(_fields(names, hours, keys)),
        "values": {
            line.key: [record.get(line.key) for record in records] for line in lines if line.key in RANKED
        },
        "better": [
            key for key in RANKED if key in declarations() and declarations()[key].more_is == "better"
        ],
        "panels": panels,
        "hours": packed(hours),
        "stretches": stretches(results[0].plant.year.hourly),
        "carbon": _carbon(names, records),
    }


def _fields(names: Sequence[str], hours: dict[str, Any], keys: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Fields of the hourly series: one for each name, a line for each scenario that has it."""
    for name in SERIES:
        parts = [
            [f"{at}:{name}", each, HUES[at % len(HUES)]]
            for at, each in enumerate(names)
            if np.nan_to_num(hours.get(f"{at}:{name}", np.zeros(1))).any()
        ]
        if parts:
            power = keys[name]["unit"] == "kWh"
            yield {
                "name": keys[name]["label"].capitalize(),
                "key": parts[0][0],
                "parts": parts,
                "power": power,
            }


def _carbon(names: Sequence[str], records: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Cumulative CO2e of each scenario that counts it, over the years that all of them have. [kg]"""
    key = "carbon.cumulative_kgco2e"
    years = min((len(record[key]) for record in records if key in record), default=0)
    return [
        {"label": name, "colour": HUES[at % len(HUES)], "values": [0.0, *record[key][:years]]}
        for at, (name, record) in enumerate(zip(names, records, strict=True))
        if key in record
    ]
