"""A block of buildings on a screen and as CSV files."""

import csv
from collections.abc import Iterator, Mapping, Sequence
from io import StringIO
from textwrap import shorten, wrap
from typing import Any, NamedTuple

from hpwhsim.blocks.record import PER_APARTMENT
from hpwhsim.results.declared import declarations, declared
from hpwhsim.results.numbers import amount, decimals, shown

Record = Mapping[str, Any]

WIDTH = 100
NAME = 26  # characters of a building's name on the screen


class Column(NamedTuple):
    """A figure of the rows."""

    key: str
    label: str
    unit: str
    format_of: str  # key whose number format it has


def _declared(key: str, label: str = "") -> Column:
    row = declared(key)
    return Column(key, label or row.label, row.screen_unit, key)


FIGURES = (
    _declared("electricity_kwh"),
    _declared("fuel_kwh"),
    _declared("peak_kw", "peak power"),
    Column("at_peak_kw", "power at the coincident peak", "kW", "peak_kw"),
    _declared("cop_plant"),
    _declared("heat_to_taps_kwh"),
    _declared("recirculation_loss_kwh"),
    _declared("short_litres"),
    _declared("unmet_kwh"),
    _declared("total_kgco2e"),
    _declared("energy_cost"),
    _declared("savings.electricity_kwh"),
    _declared("savings.fuel_kwh"),
    _declared("savings.site_mmbtu"),
    _declared("savings.kgco2e"),
    _declared("savings.cost_usd"),
)
"""Figures of a row that are shown, in their order."""
NARROW = ("electricity_kwh", "fuel_kwh", "peak_kw", "at_peak_kw", "cop_plant", "short_litres")
"""Those of the screen's table, with `LAST`."""
LAST = ("total_kgco2e", "energy_cost")
HEADS = {"electricity_kwh": "kWh", "fuel_kwh": "fuel kWh", "peak_kw": "peak kW", "at_peak_kw": "at peak"}
HEADS |= {"cop_plant": "COP", "short_litres": "short L", "total_kgco2e": "kg CO2e", "energy_cost": "USD"}


def figures_of(record: Record) -> list[Column]:
    """The figures that a row of this block has."""
    rows = record["rows"]
    found = [column for column in FIGURES if any(row.get(column.key) is not None for row in rows)]
    return [column for column in found if column.key != "fuel_kwh" or any(row["fuel_kwh"] for row in rows)]


def text_of(column: Column, value: float | None) -> str:
    """A figure as it is read."""
    return "-" if value is None else shown(column.format_of, value)


def rank_label(by: str) -> tuple[str, str]:
    """What a figure to rank by is called, and its unit."""
    bare, each = by.removesuffix(PER_APARTMENT), by.endswith(PER_APARTMENT)
    of = {column.key: column for column in FIGURES}
    if bare in of:
        name, unit = of[bare].label, of[bare].unit
    elif bare in declarations():
        name, unit = declared(bare).label, declared(bare).screen_unit
    else:
        name, unit = bare, ""
    return (f"{name} per apartment" if each else name), unit


class Headline(NamedTuple):
    """A figure of the whole block."""

    label: str
    value: float | None
    text: str
    unit: str
    key: str = ""  # of the annual record, where it is one


def headlines(record: Record) -> Iterator[Headline]:
    """Figures of the block in the order in which they are shown."""
    totals, peak = record["totals"], record["peak"]
    for column in FIGURES:
        value = totals.get(column.key)
        if value is not None and (column.key != "fuel_kwh" or value):
            text = shown(column.format_of, value)
            yield Headline(column.label, value, text, column.unit, column.key)
    kw = peak["coincident_kw"]
    yield Headline("coincident peak, 15-minute mean", kw, decimals(kw), "kW")
    yield Headline("sum of the plants' own peaks", peak["sum_kw"], decimals(peak["sum_kw"]), "kW")
    ratio = peak["diversity_factor"]
    yield Headline("diversity factor", ratio, _ratio(ratio), "")
    theirs = peak["baseline_coincident_kw"]
    if theirs is not None:
        yield Headline("coincident peak of the baselines", theirs, decimals(theirs), "kW")


def _ratio(value: float | None) -> str:
    return "-" if value is None else decimals(value, 2)


def block_text(record: Record) -> str:
    """The block at most 100 wide: totals, rows, months, named hours, rank, cautions."""
    peak = record["peak"]
    lines = [
        size_words(record),
        *(f"  {one.label:<40}{one.text:>14} {one.unit}".rstrip() for one in headlines(record)),
        f"  the coincident peak stands on {peak['weekday']} {peak['time']}",
        "",
        *_rows(record),
        "",
        *_powers("Peak power by month", "month", record["months"]),
    ]
    if record["hours"]:
        lines += ["", *_powers("Peak power in named hours", "name", record["hours"])]
        lines += [
            text
            for one in record["hours"]
            for text in wrap(f"{one['name']}: {one['hours']}", WIDTH, initial_indent="  ")
        ]
    lines += ["", *_rank(record)]
    for found in record["fields"]:
        lines += ["", *wrap(field_words(found), WIDTH)]
    for caution in record["cautions"]:
        lines += wrap(f"caution: {caution_words(caution)}", WIDTH, subsequent_indent="  ")
    for failed in record["failed"]:
        lines += wrap(f"failed: {failed['building']}: {failed['message']}", WIDTH, subsequent_indent="  ")
    return "\n".join(lines) + "\n"


def field_words(found: Record) -> str:
    """How the plants on a bore field were settled."""
    end = "settled" if found["settled"] else "not settled"
    return (
        f"Bore field {found['field']}, {found['plants']} plants: {end} after {found['passes']} passes (the "
        f"monthly mean of the fluid moved by {found['month_moved_k']:.3f} K at most in the last, that of a "
        f"day by {found['day_moved_k']:.2f} K); coldest fluid {decimals(found['source_min_c'])} °C, "
        f"{amount(found['heat_kwh'])} kWh taken from the ground"
    )


def caution_words(caution: Record) -> str:
    """A caution with the buildings that it is said of."""
    names = caution["buildings"]
    if not names:
        return str(caution["text"])
    some = ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
    return f"{some}: {caution['text']}"


def size_words(record: Record) -> str:
    """How much the block holds."""
    buildings, plants = record["buildings"], record["plants"]
    return (
        f"{buildings} {'building' if buildings == 1 else 'buildings'} with {record['apartments']} apartments "
        f"on {plants} {'plant' if plants == 1 else 'plants'}"
    )


def _rows(record: Record) -> Iterator[str]:
    shown_keys = {column.key: column for column in figures_of(record)}
    columns = [shown_keys[key] for key in (*NARROW, *LAST) if key in shown_keys]
    yield f"{'':<{NAME}}" + "".join(f"{HEADS[column.key]:>10}" for column in columns)
    for row in record["rows"]:
        name = f"{row['building']} x{row['plants']}" if row["plants"] > 1 else row["building"]
        cells = "".join(f"{text_of(column, row[column.key]):>10}" for column in columns)
        yield f"{shorten(name, NAME - 1, placeholder='...'):<{NAME}}{cells}"


def _powers(title: str, name: str, rows: Sequence[Record]) -> Iterator[str]:
    heads = f"{'coincident kW':>14}  {'at':<18}{'sum of peaks':>13}{'diversity':>11}{'mean kW':>10}"
    yield f"{title:<{NAME}}{heads}"
    for row in rows:
        cells = f"{decimals(row['sum_kw']):>13}{_ratio(row['diversity_factor']):>11}"
        when = f"{row['weekday']} {row['time']}"
        yield (
            f"  {shorten(row[name], NAME - 3, placeholder='...'):<{NAME - 2}}"
            f"{decimals(row['coincident_kw']):>14}  {when:<18}{cells}{decimals(row['mean_kw']):>10}"
        )


def _rank(record: Record) -> Iterator[str]:
    found = record["rank"]
    label, unit = rank_label(found["by"])
    yield f"Rank by {label} [{unit}], the {found['best']} first" if unit else f"Rank by {label}"
    for place, one in enumerate(found["order"], 1):
        yield f"  {place:>3}  {shorten(one['building'], 40, placeholder='...'):<42}{amount(one['value']):>12}"


# -- files ---------------------------------------------------------------------------------------------


def _csv(rows: Sequence[Mapping[str, Any]], comments: Sequence[str] = ()) -> bytes:
    out = StringIO()
    out.writelines(f"# {text}\n" for text in comments)
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def buildings_csv(record: Record) -> bytes:
    """A row for each entry, figures in full, and cautions as comments above."""
    rows = [
        {key: " ".join(map(str, value)) if isinstance(value, list) else value for key, value in row.items()}
        for row in record["rows"]
    ]
    return _csv(rows, [f"caution: {caution_words(one)}" for one in record["cautions"]])


def months_csv(record: Record) -> bytes:
    """Energy and coincident peak by month."""
    return _csv(record["months"])


def hours_csv(record: Record) -> bytes:
    """Power in the named hours."""
    return _csv(record["hours"])
