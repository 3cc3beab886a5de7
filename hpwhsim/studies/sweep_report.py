"""A sweep as a table, as CSV and as a picture."""

import csv
from collections.abc import Mapping
from io import StringIO
from itertools import product
from textwrap import fill, shorten
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.io.figures import BLUE, GREEN, ORANGE, PINK, RED, SKY, house_style, png
from hpwhsim.results.declared import declarations
from hpwhsim.results.numbers import amount, shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Record = Mapping[str, Any]

WIDTH = 100
COLOURS = (BLUE, ORANGE, GREEN, RED, SKY, PINK, "0.35")
MARKERS = "os^Dv<>"


def _head(name: str, unit: str) -> tuple[str, str]:
    """Head of two lines of a figure: its short label, with the block of its key, over its unit."""
    row = declarations().get(name)
    if row is None:  # an element, such as backup_hours_by_cause[capacity]
        return name, "" if unit == "1" else unit
    block, dot, _ = name.rpartition(".")
    return f"{block} {row.short}" if dot else row.short, row.screen_unit


def _cell(name: str, value: float | None) -> str:
    if value is None:
        return "-"
    return shown(name, value) if name in declarations() else amount(value)


def sweep_text(record: Record) -> str:
    """One row for each case: the values that were varied, then the figures of the year."""
    rows, keys = record["rows"], [key["key"] for key in record["keys"]]
    columns: list[list[str]] = [["", "case", *(str(row["case"]) for row in rows)]]
    for axis in record["varied"]:
        label = dict(zip(axis["values"], axis["labels"], strict=True))
        above, _, below = axis["key"].rpartition(".")
        columns.append([above, below, *(label[row[axis["key"]]] for row in rows)])
    for key in record["keys"]:
        name, unit = key["key"], key["unit"]
        columns.append([*_head(name, unit), *(_cell(name, row[name]) for row in rows)])
    left = 1 + len(record["varied"])
    lines = [str(record["title"]), f"weather: {', '.join(record['weather.stations'])}"]
    lines += [*(f"set in all cases: {text}" for text in record["scenario.overrides"]), ""]
    wide = [max(map(len, column)) + (0 if i == 0 else 2) for i, column in enumerate(columns)]
    for cells in zip(*columns, strict=True):
        words = [
            ("  " + cell).ljust(w) if 0 < i < left else cell.rjust(w)
            for i, (cell, w) in enumerate(zip(cells, wide, strict=True))
        ]
        lines.append("".join(words).rstrip())
    none = [key for key in keys if all(row[key] is None for row in rows)]
    if none:
        lines.append(f"no case has a value of {', '.join(none)}")
    if record["cautions"]:
        lines += ["", "Cautions, each in the words of its first case (--json has them in full)"]
    for caution in record["cautions"]:
        count = len(caution["cases"])
        where = "" if count == len(rows) else f"in {count} of {len(rows)}, first {caution['cases'][0]}: "
        lines.append(f"  - {shorten(where + caution['text'], WIDTH - 4, placeholder=' ...')}")
    return "\n".join(lines) + "\n"


def sweep_csv(record: Record) -> str:
    """The table as CSV: comment lines with the unit and meaning of each figure, then a row for each case."""
    out = StringIO()
    out.write(f"# {' '.join(str(record['title']).split())}\n")
    for text in record["scenario.overrides"]:
        out.write(f"# set in all cases: {' '.join(text.split())}\n")
    for key in record["keys"]:
        out.write(f"# {key['key']} [{key['unit']}]: {key['long_name']}\n")
    writer = csv.writer(out, lineterminator="\n")
    heads = [axis["key"] + (f" [{axis['unit']}]" if axis["unit"] else "") for axis in record["varied"]]
    writer.writerow(["case", *heads, *(key["key"] for key in record["keys"])])
    shown = [dict(zip(a["values"], a["numbers"] or a["labels"], strict=True)) for a in record["varied"]]
    for row in record["rows"]:
        varied = [number[row[axis["key"]]] for axis, number in zip(record["varied"], shown, strict=True)]
        figures = [row[key["key"]] for key in record["keys"]]
        cells = [row["case"], *varied, *figures]
        writer.writerow([f"{cell:.10g}" if isinstance(cell, float) else cell for cell in cells])
    return out.getvalue()


def sweep_figure(record: Record) -> bytes:
    """Each figure against the first key, a line for each value of the others, as the bytes of a PNG file."""
    from matplotlib.figure import Figure

    keys = record["keys"]
    columns = 2 if len(keys) == 4 else min(len(keys), 3)
    height = -(-len(keys) // columns)
    with house_style():
        size = (max(3.6 * columns, 6.0), 2.7 * height + 1.3)
        figure = Figure(figsize=size, layout="constrained")
        panels = list(figure.subplots(height, columns, squeeze=False, sharex=True).flat)
        for ax, key in zip(panels, keys, strict=False):
            _panel(ax, record, key)
        for number, ax in enumerate(panels):
            ax.set_visible(number < len(keys))
            if len(keys) - columns <= number < len(keys):  # the lowest of its column
                ax.tick_params(axis="x", labelbottom=True)
        axis = record["varied"][0]
        figure.supxlabel(_named(axis), fontsize=9)
        if len(record["varied"]) > 1:
            title = "\n".join(_named(other) for other in record["varied"][1:])
            lines, labels = panels[0].get_legend_handles_labels()
            figure.legend(lines, labels, title=title, loc="outside right center")
        head = shorten(str(record["title"]), 100, placeholder=" ...")
        where = shorten(", ".join(record["weather.stations"]), 90, placeholder=" ...")
        run = f"tankyear {record['tool.version']}; scenario {record['scenario.sha256'][:12]}"
        if changed := len(record["scenario.overrides"]):
            run += f", {changed} of its keys set in all cases"
        figure.suptitle(
            f"{head}\nWeather: {where}\n{run}",
            x=0.01,
            ha="left",
            fontsize=9,
            parse_math=False,
        )
        return png(figure)


def _named(axis: Record) -> str:
    return axis["key"] + (f" [{axis['unit']}]" if axis["unit"] else "")


def _panel(ax: "Axes", record: Record, key: Record) -> None:
    """One figure of the year."""
    first, *others = record["varied"]
    x = first["numbers"] or list(range(len(first["values"])))
    found = {tuple(row[axis["key"]] for axis in record["varied"]): row[key["key"]] for row in record["rows"]}
    lines = list(product(*(axis["values"] for axis in others)))
    order = np.argsort(x)
    for number, values in enumerate(lines):
        y = [found[value, *values] for value in first["values"]]
        names = [
            dict(zip(axis["values"], axis["labels"], strict=True))[value]
            for axis, value in zip(others, values, strict=True)
        ]
        ax.plot(
            np.asarray(x, dtype=float)[order],
            np.array([np.nan if value is None else value for value in y], dtype=float)[order],
            color=_colour(number, len(lines)),
            marker=MARKERS[number % len(MARKERS)],
            markersize=4,
            linewidth=1.3,
            linestyle="-" if first["numbers"] else ":",
            label=", ".join(names),
            gid=key["key"],
        )
    if not first["numbers"]:
        ax.set_xticks(x, [fill(label, 18) for label in first["labels"]], rotation=30, ha="right")
        ax.margins(x=0.15)
    unit = "" if key["unit"] == "1" else f" [{key['unit']}]"
    if not any(found.values()):  # nothing but zeros: no axis of their rounding
        ax.set_ylim(0.0, 1.0)
    ax.set_title(fill(shorten(key["long_name"], 76, placeholder=" ..."), 40), loc="left", fontsize=8)
    ax.set_ylabel(key["key"].replace("[", "\n[") + unit)
    ax.ticklabel_format(axis="y", useOffset=False, style="plain")
    ax.grid(color="0.9", linewidth=0.6)


def _colour(number: int, count: int) -> Any:
    if count <= len(COLOURS):
        return COLOURS[number]
    from matplotlib import colormaps

    return colormaps["viridis"](number / (count - 1) * 0.9)
