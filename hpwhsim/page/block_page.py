"""A block of buildings on one page of HTML: totals, peaks, named hours, ranks, every building."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, cast

import numpy as np

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.arrays import Array
from hpwhsim.blocks.block import Simulated
from hpwhsim.blocks.record import RANKED, figure, more_is_better
from hpwhsim.blocks.report import (
    FIGURES,
    caution_words,
    field_words,
    figures_of,
    headlines,
    rank_label,
    size_words,
    text_of,
)
from hpwhsim.page.frame import Chart, Choice, PagePart, html
from hpwhsim.page.hours import packed
from hpwhsim.page.year_data import READ, meanings
from hpwhsim.results.declared import declarations
from hpwhsim.results.numbers import decimals
from hpwhsim.results.texts import Exact
from hpwhsim.sections.parts import Document, Listing, Part, Section, Table, Text, Typed

SCRIPTS = ("tools.js", "drawing.js", "pictures.js", "compare.js", "block.js", "page.js")
MOST_RANKED = 60  # entries of the picture
MOST_STACKED = 7  # entries of the picture of the peak day; the others are one
ABOUT = (
    "One typical year of every plant, simulated hour by hour, and their power added quarter of an hour by "
    "quarter of an hour. The coincident peak is the highest of that sum; the diversity factor is the sum of "
    "the plants' own peaks over it. These are calculations with the assumptions of each scenario, not "
    "certified ratings and not guarantees."
)
Record = Mapping[str, Any]


def block_page(found: Simulated, command: str) -> bytes:
    """The bytes of ``block.html``.

    Parameters
    ----------
    found : Simulated
        The block.
    command : str
        What is typed to repeat it.
    """
    record = found.record
    rows, fields = record["rows"], [field_words(one) for one in record["fields"]]
    sections: dict[str, Sequence[PagePart]] = {
        "Block": [
            Text(f"{size_words(record)}; weather: {', '.join(record['weather.stations'])}."),
            Table(("", "unit", "block"), list(_headlines(record)), "lur", "The block in figures"),
        ],
        "Peak power": list(_peak_parts(record)),
        "Months": [Table(*_month_table(record), "Energy and power by month")],
        "Rank": [
            Choice("rank-by", "Rank by", _choices(rows, record["rank"]["by"])),
            Chart("rank", "Rank by the chosen figure", f"The best stands first. {_ranked_words(rows)}{READ}"),
        ],
        "Buildings": [Table(*_building_table(record), "Every plant of the block")],
        "Shared bore fields": [Listing(fields)] if fields else [],
        "Power through the year": [
            Chart("map", "Electricity of the block, days across and hours up", READ),
            Chart("duration", "Load duration", f"Hours of the year in which it is exceeded. {READ}"),
        ],
        "Cautions": [
            Listing([caution_words(one) for one in record["cautions"]] or ["None."]),
            *([Listing([_failed(one) for one in record["failed"]])] if record["failed"] else []),
        ],
        "How to repeat it": [Table(("what", "value"), _repeat(record, command), "ll", "Table and command")],
    }
    content = [Section(title, cast("Sequence[Part]", parts)) for title, parts in sections.items() if parts]
    return html(Document(record["title"], [Text(ABOUT)], content), {}, _data(found), SCRIPTS)


def _headlines(record: Record) -> Iterator[tuple[str, str, str]]:
    for one in headlines(record):
        text = one.text if one.value is None else Exact(one.text, one.value, one.key)
        yield one.label, one.unit, text


def _failed(one: Record) -> str:
    return f"Failed, and not in the totals: {one['building']}: {one['message']}"


def _kw(value: float | None, digits: int = 1) -> str:
    return "-" if value is None else Exact(decimals(value, digits), value)


def _peak_parts(record: Record) -> Iterator[PagePart]:
    peak = record["peak"]
    yield Text(
        f"The block's highest 15-minute mean is {decimals(peak['coincident_kw'])} kW, on {peak['weekday']} "
        f"{peak['time']} of the nominal year; its plants' own peaks add up to {decimals(peak['sum_kw'])} kW."
    )
    yield Chart("peak-day", "The day of the coincident peak", f"Plants on top of each other. {READ}")
    yield Chart("month-peaks", "Peaks by month", READ)
    if record["hours"]:
        rows = [(one["name"], *_power_cells(one)) for one in record["hours"]]
        yield Table(("hours", *POWER_HEADS), rows, "lrrrrrr", "Power in named hours")
        yield Listing([f"{one['name']}: {one['hours']}" for one in record["hours"]])


POWER_HEADS = (
    "coincident peak [kW]",
    "at",
    "sum of own peaks [kW]",
    "diversity factor",
    "mean [kW]",
    "baselines' peak [kW]",
)


def _power_cells(one: Record) -> tuple[str, ...]:
    return (
        _kw(one["coincident_kw"]),
        f"{one['weekday']} {one['time']}",
        _kw(one["sum_kw"]),
        _kw(one["diversity_factor"], 2),
        _kw(one["mean_kw"]),
        _kw(one["baseline_coincident_kw"]),
    )


def _month_table(record: Record) -> tuple[Sequence[str], list[Sequence[str]], str]:
    burns = any(one["fuel_kwh"] for one in record["months"])
    heads = ["", "electricity [kWh]", *(["fuel [kWh]"] if burns else []), *POWER_HEADS]
    rows: list[Sequence[str]] = []
    for one in record["months"]:
        fuel = [_kw(one["fuel_kwh"], 0)] if burns else []
        rows.append([one["month"], _kw(one["electricity_kwh"], 0), *fuel, *_power_cells(one)])
    return heads, rows, "l" + "r" * (len(heads) - 1)


def _building_table(record: Record) -> tuple[Sequence[str], list[Sequence[str]], str]:
    columns = figures_of(record)
    heads = ["building", "buildings", "apartments"]
    heads += [f"{column.label} [{column.unit}]" if column.unit else column.label for column in columns]
    rows: list[Sequence[str]] = []
    for row in record["rows"]:
        serves = f" (for {', '.join(row['serves'])})" if row["serves"] else ""
        field = f" (bore field {row['field']})" if row["field"] else ""
        cells = [f"{row['building']}{serves}{field}", str(row["buildings"]), str(row["apartments"])]
        for column in columns:
            value = row.get(column.key)
            text = text_of(column, value)
            key = column.key if column.key in declarations() else ""
            cells.append(text if value is None else Exact(text, value, key))
        rows.append(cells)
    return heads, rows, "l" + "r" * (len(heads) - 1)


def _choices(rows: Sequence[Record], first: str) -> dict[str, str]:
    """What may be ranked by, the figure of the record first."""
    keys = [first, *(key for key in RANKED if key != first)]
    found = {}
    for key in keys:
        if all(figure(row, key) is not None for row in rows):
            label, unit = rank_label(key)
            found[key] = f"{label} [{unit}]" if unit else label
    return found


def _largest(rows: Sequence[Record], most: int) -> list[Record]:
    """Rows of the most electricity, in the order of the table."""
    kept = sorted(rows, key=lambda row: -row["electricity_kwh"])[:most]
    names = {row["building"] for row in kept}
    return [row for row in rows if row["building"] in names]


def _ranked_words(rows: Sequence[Record]) -> str:
    return f"Of the {MOST_RANKED} with the most electricity. " if len(rows) > MOST_RANKED else ""


def _repeat(record: Record, command: str) -> list[Sequence[str]]:
    run = f"tankyear {record['tool.version']}; table {record['table.sha256'][:12]}"
    return [("table", str(record["table"])), ("run", run), ("command", Typed(command))]


# -- what the script reads -----------------------------------------------------------------------------


def _data(found: Simulated) -> dict[str, Any]:
    record = found.record
    ranked = _largest(record["rows"], MOST_RANKED)
    choices = _choices(record["rows"], record["rank"]["by"])
    hours = {"electricity_kwh": _hourly(found.quarter_kw)}
    if found.baseline_kw is not None:
        hours["baseline_electricity_kwh"] = _hourly(found.baseline_kw)
    keys = meanings(key for column in FIGURES if (key := column.key) in declarations())
    for key in choices:
        if key in keys:
            continue
        label, unit = rank_label(key)
        keys[key] = {"label": label, "long": label, "unit": unit}
    peaks = [
        {"label": "sum of the plants' own peaks", "colour": "sky", "values": _column(record, "sum_kw")},
        {"label": "coincident peak", "colour": "blue", "values": _column(record, "coincident_kw")},
    ]
    if found.baseline_kw is not None:
        values = _column(record, "baseline_coincident_kw")
        peaks.append({"label": "coincident peak of the baselines", "colour": "red", "values": values})
    return {
        "kind": "block",
        "title": record["title"],
        "run": f"tankyear {record['tool.version']}; table {record['table.sha256'][:12]}",
        "us": found.us,
        "months": MONTH_NAMES,
        "keys": keys,
        "plants": [{"name": row["building"]} for row in ranked],
        "values": {key: [figure(row, key) for row in ranked] for key in choices},
        "better": [key for key in choices if more_is_better(key)],
        "peaks": peaks,
        "day": _day(record),
        "hours": packed(hours),
    }


def _hourly(quarter_kw: Array) -> Array:
    return np.asarray(quarter_kw.reshape(-1, 4).mean(axis=1))


def _column(record: Record, key: str) -> list[float]:
    return [one[key] for one in record["months"]]


def _day(record: Record) -> dict[str, Any]:
    """The power of the largest entries on the day of the peak, and of the others together. [kW]"""
    day = record["peak_day"]
    order = sorted(day["kw"], key=lambda name: -max(day["kw"][name]))
    parts = [{"label": name, "values": day["kw"][name]} for name in order[:MOST_STACKED]]
    if rest := order[MOST_STACKED:]:
        values = np.sum([day["kw"][name] for name in rest], axis=0).tolist()
        parts.append({"label": f"{len(rest)} others", "values": values})
    return {"day": day["day"], "parts": parts}
