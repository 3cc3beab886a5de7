"""The uncertainty of a study's figures on a screen, as CSV and as a picture."""

import csv
from collections.abc import Mapping, Sequence
from io import StringIO
from pathlib import Path
from textwrap import fill, shorten, wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.io.figures import BLUE, ORANGE, house_style, png
from hpwhsim.results.declared import declarations
from hpwhsim.results.numbers import amount, decimals, shown
from hpwhsim.studies.study_report import WIDTH, said
from hpwhsim.studies.uncertainty import QUANTILES, SALTELLI, columns_of, spread_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Record = Mapping[str, Any]
MEASURES = {
    "total": "share of the variance, with what the key does together with others",
    "partial": "partial rank correlation",
}
NAMES = {"first": "alone", "total": "in all", "spearman": "Spearman", "partial": "partial"}
MOST_PANELS = 4


def table_keys(record: Record) -> list[str]:
    """Figures that screen and picture show: those of the table of the cases which differ between them."""
    return [key for key in record["ranges"] if key in record["figures"]]


def measures(record: Record) -> tuple[str, str]:
    """By which a figure's keys are told apart, the one that orders them last."""
    return ("first", "total") if record["sample"]["method"] == SALTELLI else ("spearman", "partial")


def uncertainty_text(record: Record) -> str:
    """Quantiles, how far they stand, and what moves each figure most."""
    sample = record["sample"]
    lines = [
        str(record["title"]),
        f"{record['cases']:,} cases of {sample['points']:,} points, {sample['method']}",
    ]
    lines += [f"set in all cases: {text}" for text in record["scenario.overrides"]]
    lines += ["", "Drawn"]
    wide = max(len(key["key"]) for key in record["keys"])
    lines += [f"  {key['key']:<{wide}}  {key['distribution']}" for key in record["keys"]]
    names = table_keys(record)
    rows = [["", "", "P10", "P50", "P90", "with half of the points", "", ""]]
    for name in names:
        found = record["figures"][name]
        held = [_number(name, found[q]) for q in QUANTILES]
        change = [_change(found["half"][q], found[q]) for q in QUANTILES]
        rows.append([name, "" if found["unit"] == "1" else found["unit"], *held, *change])
    lines += ["", *_aligned(rows)]
    by = measures(record)
    heads = ["", "", *(f"{NAMES[one]} (half)" for one in by)]
    lines += ["", "What moves it, by " + MEASURES[by[1]]]
    rows = [heads]
    for name in names:
        for place, (key, moved) in enumerate(_ordered(record, name)):
            cells = [f"{_share(moved[one])} ({_share(moved['half'].get(one))})" for one in by]
            rows.append([name if place == 0 else "", key, *cells])
    lines += _aligned(rows)
    for text in record["limits"]:
        lines += wrap(f"note: {text}", WIDTH, subsequent_indent="  ")
    return "\n".join([*lines, *said(record)]) + "\n"


def _ordered(record: Record, name: str) -> list[tuple[str, Any]]:
    by = measures(record)[1]
    moved = record["figures"][name]["moved_by"]
    return sorted(moved.items(), key=lambda item: -abs(item[1][by] or 0.0))


def _number(name: str, value: float | None) -> str:
    if value is None:
        return "-"
    return shown(name, value) if name in declarations() else amount(value)


def _share(value: float | None) -> str:
    return "-" if value is None else decimals(value, 2)


def _change(half: float | None, whole: float | None) -> str:
    if half is None or not whole:
        return "-"
    change = round(half / whole - 1.0, 3) + 0.0  # no minus before a zero
    return f"{change:+.1%}".replace("-", "\N{MINUS SIGN}")


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows in columns, two of text and the rest of numbers; a long head reaches over what follows."""
    if len(rows) == 1:
        return ["  none"]
    wide = [max(len(cell) for cell in column) for column in zip(*rows[1:], strict=True)]
    wide = [max(w, len(head)) if len(head) < 16 else w for w, head in zip(wide, rows[0], strict=True)]
    lines = []
    for number, row in enumerate(rows):
        cells = [
            cell.ljust(w) if place < 2 or (number == 0 and len(cell) > 15) else cell.rjust(w)
            for place, (cell, w) in enumerate(zip(row, wide, strict=True))
        ]
        lines.append(("  " + "  ".join(cells)).rstrip())
    return lines


def uncertainty_csv(record: Record) -> str:
    """A row for each figure that differs between cases; of the first half of the points after the whole."""
    keys = [key["key"] for key in record["keys"]]
    by = measures(record)
    stream = StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(
        [
            "figure",
            "unit",
            *QUANTILES,
            *(f"{q} half" for q in QUANTILES),
            *(f"{key} {one}" for key in keys for one in by),
        ]
    )
    for name, found in record["figures"].items():
        quantities = [found[q] for q in QUANTILES] + [found["half"][q] for q in QUANTILES]
        moved = [found["moved_by"].get(key, {}).get(one) for key in keys for one in by]
        writer.writerow([name, found["unit"], *("" if v is None else repr(v) for v in [*quantities, *moved])])
    return stream.getvalue()


def uncertainty_figure(record: Record, dataset: Path) -> bytes:
    """How the first figures are distributed, beside what moves each; PNG."""
    from matplotlib.figure import Figure

    names = table_keys(record)[:MOST_PANELS]
    keys = len(record["keys"]) if record["sample"]["method"] == SALTELLI else None
    values = {name: spread_of(column, keys) for name, _, column in columns_of(dataset) if name in names}
    with house_style():
        figure = Figure(figsize=(9.0, 1.0 + 2.1 * max(len(names), 1)), layout="constrained")
        panels = figure.subplots(max(len(names), 1), 2, squeeze=False)
        for panel in panels.ravel():
            panel.set_visible(bool(names))
        for (left, right), name in zip(panels, names, strict=False):
            _spread(left, record, name, values[name])
            _moved(right, record, name)
        title = shorten(str(record["title"]), 100, placeholder=" ...")
        run = f"tankyear {record['tool.version']}; scenario {record['scenario.sha256'][:12]}"
        count = f"{record['cases']:,} cases, {record['sample']['method']}, seed {record['sample']['seed']}"
        figure.suptitle(f"{title}\n{count}; {run}", x=0.01, ha="left", fontsize=9, parse_math=False)
        return png(figure)


def _spread(ax: "Axes", record: Record, name: str, column: Array) -> None:
    """The share of the cases below each value, with P10, P50 and P90."""
    found = record["figures"][name]
    ordered = np.sort(column)
    ax.plot(
        ordered, np.arange(1, ordered.size + 1) / ordered.size * 100.0, color=BLUE, drawstyle="steps-post"
    )
    for key, share in zip(QUANTILES, (10, 50, 90), strict=True):
        ax.plot([found[key]] * 2, [0.0, share], color="0.4", linewidth=0.8, linestyle=":")
        ax.plot(found[key], share, "o", color=ORANGE, markersize=4)
        ax.annotate(
            f"P{share} {_number(name, found[key])}",
            (found[key], share),
            xytext=(5, -3 if share > 50 else -1),
            textcoords="offset points",
            fontsize=7.5,
            va="top",
        )
    row = declarations().get(name)
    unit = "" if found["unit"] == "1" else f" [{found['unit']}]"
    ax.set_title(fill(row.long_name if row is not None else name, 60), loc="left", fontsize=8)
    ax.set_xlabel(f"{name}{unit}")
    ax.set_ylabel("cases below [%]")
    ax.set_ylim(0.0, 102.0)
    ax.margins(x=0.12)
    ax.ticklabel_format(axis="x", useOffset=False, style="plain")
    ax.grid(color="0.9", linewidth=0.6)


def _moved(ax: "Axes", record: Record, name: str) -> None:
    """What moves a figure, most first."""
    first, last = measures(record)
    rows = _ordered(record, name)[:8][::-1]
    places = np.arange(len(rows))
    for shift, one, color in ((-0.2, last, BLUE), (0.2, first, "0.7")):
        ax.barh(places + shift, [row[one] or 0.0 for _, row in rows], 0.38, color=color, label=NAMES[one])
        halves = [row["half"].get(one) for _, row in rows]
        ax.plot(
            [np.nan if half is None else half for half in halves],
            places + shift,
            "|",
            color="black",
            markersize=6,
            label="half of the points" if one == last else None,
        )
    ax.set_yticks(
        places, [key.rpartition(".")[0][-24:] + "\n" + key.rpartition(".")[2] for key, _ in rows], fontsize=7
    )
    ax.axvline(0.0, color="0.4", linewidth=0.8)
    words = "share of the variance" if last == "total" else "rank correlation"
    ax.set_xlabel(words)
    ends = [row[one] or 0.0 for _, row in rows for one in (first, last)]
    ax.set_xlim(-1.05 if min(ends, default=0.0) < -0.1 else -0.2, 1.05)
    ax.set_title(f"what moves it ({words})", loc="left", fontsize=8)
    ax.legend(fontsize=6.5, loc="best")
    ax.grid(color="0.9", linewidth=0.6, axis="x")
