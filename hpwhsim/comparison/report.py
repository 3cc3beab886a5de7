"""Several scenarios side by side: a table of 100 columns, rows for a program, and a picture."""

import csv
from collections.abc import Mapping, Sequence
from io import StringIO
from pathlib import Path
from textwrap import shorten, wrap
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from hpwhsim.account.energy import CREDITS
from hpwhsim.evaluation.draw_rows import NAMES, label
from hpwhsim.evaluation.draw_years import QUANTILES
from hpwhsim.io.figures import BLUE, GREEN, ORANGE, RED, SKY, YELLOW, house_style, png
from hpwhsim.results.declared import declarations, declared
from hpwhsim.results.numbers import decimals, shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Record = Mapping[str, Any]

WIDTH = 100
LABEL, CELL = 36, 12  # characters of a label and of a figure


class Line(NamedTuple):
    """A figure of the comparison."""

    label: str
    unit: str
    key: str  # of the annual record, or of `more`


def _declared(key: str, label: str = "{}") -> Line:
    """The line of a key of the record, its label within another text."""
    row = declared(key)
    return Line(label.format(row.label), row.screen_unit, key)


LINES = (
    _declared("electricity_kwh"),
    _declared("resistance_kwh", "  of it {}"),
    _declared("fuel_kwh"),
    _declared("room_heating_penalty_kwh"),
    Line("room cooling, drying credit", "kWh", "room_credit_kwh"),
    Line("purchased with the room", "kWh", "with_room_kwh"),
    _declared("peak_kw"),
    _declared("cop_plant"),
    _declared("cop_net"),
    _declared("short_hours"),
    _declared("short_litres"),
    _declared("operational_kgco2e"),
    _declared("refrigerant_kgco2e"),
    _declared("carbon.room_kgco2e"),
    _declared("total_kgco2e"),
    _declared("carbon.upstream_kgco2e"),
    _declared("energy_cost"),
    _declared("costs.room_usd"),
    Line("bill with the room", "USD", "cost_with_room"),
)
PARTS = {
    "Purchased with the room [MWh]": (
        1e3,
        (
            ("electricity, heat pump and others", "others_kwh", SKY),
            ("resistance", "resistance_kwh", RED),
            ("fuel", "fuel_kwh", YELLOW),
            ("room, heating less credits", "room_net_kwh", GREEN),
        ),
    ),
    "Peak power [kW]": (1.0, (("electricity, 15-minute mean", "peak_kw", BLUE),)),
    "CO2e a year [t]": (
        1e3,
        (
            ("energy", "operational_kgco2e", BLUE),
            ("refrigerant", "refrigerant_kgco2e", RED),
            ("room", "carbon.room_kgco2e", GREEN),
        ),
    ),
    "Bill a year with the room [USD]": (
        1.0,
        (("plant", "energy_cost", ORANGE), ("room", "costs.room_usd", GREEN)),
    ),
}
"""Panels of the picture: what a unit of the axis holds, and parts that add up."""


def more(record: Record) -> dict[str, float]:
    """Figures that are sums of figures of the record: of the room, and of plant and room."""
    found = {"others_kwh": record["electricity_kwh"] - record["resistance_kwh"]}
    whole = record["electricity_kwh"] + record["fuel_kwh"]
    if "room_heating_penalty_kwh" in record:
        found["room_credit_kwh"] = sum(record[key] for key in CREDITS)
        found["room_net_kwh"] = record["room_heating_penalty_kwh"] - found["room_credit_kwh"]
    found["with_room_kwh"] = whole + found.get("room_net_kwh", 0.0)
    for key, spread in record.get("seeds", {}).get("figures", {}).items():
        found |= {f"seeds.{key}.{which}": spread[which] for which in QUANTILES}
    if "energy_cost" in record:
        found["cost_with_room"] = record["energy_cost"] + record.get("costs.room_usd", 0.0)
    return found


SPREAD = ("peak_kw", "costs.demand_usd", "energy_cost", "electricity_kwh", "short_litres")
"""Figures whose spread over years of random draws is shown."""


def lines_of(records: Sequence[Record]) -> list[Line]:
    """Lines of the table, those of the spread over years of draws among them."""
    if all("seeds" not in record for record in records):
        return list(LINES)
    more_lines = []
    for key in SPREAD:
        name, unit = label(key)
        for which in QUANTILES:
            text = f"{name}, {NAMES[which]}"
            more_lines.append(Line(text, unit, f"seeds.{key}.{which}"))
    return [*LINES, *more_lines]


def comparison_rows(names: Sequence[str], records: Sequence[Record]) -> list[dict[str, Any]]:
    """One row for each scenario; what a scenario did not request is None."""
    rows, keys = [], [line.key for line in lines_of(records)]
    for name, record in zip(names, records, strict=True):
        figures = dict(record) | more(record)
        rows.append({"scenario": name, "title": record["title"], **{key: figures.get(key) for key in keys}})
    return rows


def labels(names: Sequence[str]) -> list[str]:
    """What the scenarios are called: the names of their files, with a number where two are alike."""
    stems = [Path(name).stem for name in names]
    return [f"{stem} ({at + 1})" if stems.count(stem) > 1 else stem for at, stem in enumerate(stems)]


def comparison_text(names: Sequence[str], records: Sequence[Record], cautions: Sequence[str] = ()) -> str:
    """The figures of a year, a column for each scenario, at most 100 wide; what none has is left out.

    Scenarios that do not fit beside each other follow below.
    """
    rows, heads = comparison_rows(names, records), labels(names)
    shown = [line for line in lines_of(records) if any(row[line.key] is not None for row in rows)]
    if all("room_heating_penalty_kwh" not in record for record in records):
        shown = [line for line in shown if line.key not in ("with_room_kwh", "cop_net", "cost_with_room")]
    fit = (WIDTH - LABEL) // CELL
    lines: list[str] = []
    for first in range(0, len(rows), fit):
        beside, over = rows[first : first + fit], heads[first : first + fit]
        if first:
            lines.append("")
        halves = [wrap(head, CELL - 2, break_long_words=True)[:3] for head in over]
        deep = max(len(half) for half in halves)
        for at in range(deep):
            texts = [half[at - deep + len(half)] if at >= deep - len(half) else "" for half in halves]
            lines.append((" " * LABEL + "".join(text.rjust(CELL) for text in texts)).rstrip())
        for line in shown:
            values = [row[line.key] for row in beside]
            cells = ["-" if value is None else figure(line, value) for value in values]
            label = f"{line.label:<{LABEL - 8}}{line.unit:<8}"
            lines.append(label + "".join(cell.rjust(CELL) for cell in cells))
    for caution in cautions:
        lines += wrap(f"caution: {caution}", WIDTH, subsequent_indent="  ")
    return "\n".join(lines) + "\n"


def figure(line: Line, value: float) -> str:
    """A figure as its declaration says, or that of the figure that it is the spread of."""
    key = line.key.removeprefix("seeds.").rpartition(".")[0] if line.key.startswith("seeds.") else line.key
    return shown(key, value) if key in declarations() else decimals(value, 0)


def comparison_csv(names: Sequence[str], records: Sequence[Record], cautions: Sequence[str] = ()) -> str:
    """The rows as CSV, figures in full, cautions as comments above."""
    out = StringIO()
    out.writelines(f"# caution: {caution}\n" for caution in cautions)
    rows = comparison_rows(names, records)
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def comparison_figure(names: Sequence[str], records: Sequence[Record], cautions: Sequence[str] = ()) -> bytes:
    """Purchases, peak, CO2e and bill of each scenario as bars of their parts; the bytes of a PNG file."""
    from matplotlib.figure import Figure

    figures = [dict(record) | more(record) for record in records]
    panels = [
        panel
        for panel, (_, parts) in PARTS.items()
        if any(of.get(key) is not None for of in figures for _, key, _ in parts)
    ]
    heads = [shorten(head, 30, placeholder="...") for head in labels(names)]
    with house_style():
        tall = 0.34 * len(records) + 1.1
        figure = Figure(figsize=(9.0, tall * len(panels) + 0.5 + 0.16 * len(cautions)), layout="constrained")
        for ax, panel in zip(figure.subplots(len(panels), 1, squeeze=False)[:, 0], panels, strict=True):
            _bars(ax, panel, figures, heads)
        weather = ", ".join(dict.fromkeys(str(record["weather.station"]) for record in records))
        figure.suptitle(
            f"Side by side; weather: {shorten(weather, 90, placeholder='...')}; "
            f"tankyear {records[0]['tool.version']}",
            x=0.01,
            ha="left",
            fontsize=9,
            parse_math=False,
        )
        if cautions:
            text = "\n".join(shorten(f"caution: {one}", 150, placeholder=" ...") for one in cautions)
            figure.supxlabel(text, x=0.01, ha="left", fontsize=6.5, color=RED, parse_math=False)
        return png(figure)


def _bars(ax: "Axes", panel: str, figures: Sequence[Record], heads: Sequence[str]) -> None:
    """One panel: a bar for each scenario, its parts on top of each other; what is less than 0 goes left."""
    size, parts = PARTS[panel]
    places = np.arange(len(heads))
    up, down = np.zeros(len(heads)), np.zeros(len(heads))
    for name, key, colour in parts:
        values = np.array([float(of.get(key) or 0.0) for of in figures]) / size
        if not values.any():
            continue
        start = np.where(values >= 0.0, up, down)
        ax.barh(places, values, 0.62, left=start, color=colour, label=name, gid=key)
        up, down = up + np.maximum(values, 0.0), down + np.minimum(values, 0.0)
    none = [all(of.get(key) is None for _, key, _ in parts) for of in figures]
    for place, total, missing in zip(places, up + down, none, strict=True):
        text = "not requested" if missing else f"{total:,.4g}" if total < 1e4 else f"{total:,.0f}"
        ax.annotate(text, (max(up[place], 0.0), place), (4, 0), textcoords="offset points", va="center")
    ax.set_yticks(places, heads)
    ax.invert_yaxis()
    ax.set_xlim(right=1.15 * max(float(up.max()), 1e-9))  # room for the figure beside the longest bar
    ax.set_title(panel, loc="left")
    ax.axvline(0.0, color="k", linewidth=0.8)
    ax.grid(axis="x", color="0.9", linewidth=0.6)
    if len(parts) > 1:
        ax.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))
