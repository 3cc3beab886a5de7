"""A fit as a screen, as a table of readings and as a picture."""

import csv
from collections.abc import Mapping
from io import StringIO
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.io.figures import BLUE, ORANGE, head, house_style, png
from hpwhsim.results.declared import declared
from hpwhsim.results.numbers import amount, decimals
from hpwhsim.studies.fit import Fit
from hpwhsim.studies.fit_measures import GUIDELINE
from hpwhsim.studies.fit_meter import COLUMNS, HOUR, MONTH, Metered, span_text, whole_months
from hpwhsim.tables.sources import cited

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Record = Mapping[str, Any]

WIDTH = 100
MIN_MONTHS = 3  # of a picture by month; shorter stretches are drawn by day


def fit_text(fit: Fit) -> str:
    """Fitted keys with their intervals, correlations, agreement with the meter, cautions."""
    record = fit.record
    lines = [
        str(record["title"]),
        f"Weather: {record['weather.station']}",
        f"Meter: {fit.metered.file.name}, {span_text(fit.metered)}",
    ]
    lines += [f"Set: {text}" for text in record["scenario.overrides"]] + [""]
    lines += _table(
        ("key", "bounds", "scenario", "fitted", "std. error", "95 % interval", ""),
        [_key_row(row) for row in record["keys"]],
    )
    lines += ["", *_correlations(record)]
    lines += _table(
        (
            "agreement with the meter",
            "n",
            "NMBE before",
            "after",
            "limit",
            "CV(RMSE) before",
            "after",
            "limit",
            "",
        ),
        [_agreement_row(row) for row in record["agreement"]],
    )
    p = len(record["keys"])
    lines += [
        "",
        *wrap(
            f"NMBE above 0: the meter counts more than was computed. p = {p}, the number of fitted "
            f"keys. Limits: {cited(GUIDELINE)}; it has none for days.",
            WIDTH,
        ),
        "",
        "Cautions",
    ]
    for text in record["cautions"]:
        lines += wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines) + "\n"


def _key_row(row: Record) -> tuple[str, ...]:
    notes = [f"at its {row['at_bound']} bound"] if row["at_bound"] else []
    notes += [] if row["identified"] else ["not identified"]
    return (
        row["key"],
        f"{row['low']:g} to {row['high']:g} {row['unit']}".strip(),
        "-" if row["scenario"] is None else amount(row["scenario"]),
        amount(row["fitted"]),
        f"{row['standard_error']:.2g}",
        f"{amount(row['low_95'])} to {amount(row['high_95'])}",
        ", ".join(notes),
    )


def _correlations(record: Record) -> list[str]:
    names = [row["key"].rpartition(".")[2] for row in record["keys"]]
    pairs = [
        f"{names[i]} and {names[j]} {decimals(record['correlation'][i][j], 2)}"
        for i in range(len(names))
        for j in range(i + 1, len(names))
    ]
    return [*wrap("Correlation of the estimates: " + ", ".join(pairs), WIDTH), ""] if pairs else []


def _agreement_row(row: Record) -> tuple[str, ...]:
    before, after, limits = row["before"], row["after"], row["limits"]
    verdict = {True: "within", False: "outside", None: ""}[after["within"]]
    return (
        f"{row['column']} by {row['spacing']}",
        f"{row['points']:,}",
        _percent(before["nmbe"]),
        _percent(after["nmbe"]),
        "none" if limits is None else f"±{limits['nmbe']:.0%}".replace("%", " %"),
        _percent(before["cv_rmse"]),
        _percent(after["cv_rmse"]),
        "none" if limits is None else f"{limits['cv_rmse']:.0%}".replace("%", " %"),
        verdict,
    )


def _percent(share: float) -> str:
    return f"{decimals(share * 100.0, 1)} %"


def _table(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    """Columns under their heads, the first to the left."""
    columns = list(zip(heads, *rows, strict=True))
    wide = [max(map(len, column)) for column in columns]
    return [
        "  ".join(
            cell.ljust(w) if i in (0, len(wide) - 1) else cell.rjust(w)
            for i, (cell, w) in enumerate(zip(cells, wide, strict=True))
        ).rstrip()
        for cells in zip(*columns, strict=True)
    ]


def fit_csv(fit: Fit) -> str:
    """Every compared reading beside what was computed before and after the fit."""
    out = StringIO()
    out.write(f"# {' '.join(str(fit.record['title']).split())}\n")
    out.write("# metered as read; before: with the scenario as it was; after: with the fitted keys\n")
    writer = csv.writer(out, lineterminator="\n")
    names = list(fit.metered.columns)
    writer.writerow(
        ["time", *(f"{name} {what}" for name in names for what in ("metered", "before", "after"))]
    )
    series = [s for name in names for s in (fit.metered.columns[name], fit.before[name], fit.after[name])]
    for time, *values in zip(fit.metered.starts, *series, strict=True):
        writer.writerow([time.isoformat(timespec="minutes"), *(f"{value:.10g}" for value in values)])
    return out.getvalue()


# -- the picture ---------------------------------------------------------------------------------------


def fit_figure(fit: Fit) -> bytes:
    """Metered and computed by month or day, what is left, and for hours the mean day; bytes of a PNG file."""
    from matplotlib.figure import Figure

    names, hourly = list(fit.metered.columns), fit.metered.spacing == HOUR
    labels, rows = _periods(fit.metered)
    with house_style():
        figure = Figure(figsize=(12.6 if hourly else 9.4, 2.7 * len(names) + 1.3), layout="constrained")
        panels = figure.subplots(len(names), 3 if hourly else 2, squeeze=False)
        for name, (left, middle, *right) in zip(names, panels, strict=True):
            metered, before, after = fit.metered.columns[name], fit.before[name], fit.after[name]
            sums = [np.array([values[one].sum() for one in rows]) for values in (metered, before, after)]
            row = declared(COLUMNS[name])
            _series(left, labels, *sums)
            left.set_title(f"{row.label} [{row.unit}]", loc="left")
            left.set_ylim(bottom=0.0)
            _residuals(middle, labels, *sums)
            for ax in right:
                _mean_day(ax, fit.metered, metered, before, after)
        handles, texts = panels[0][0].get_legend_handles_labels()
        figure.legend(handles, texts, loc="outside upper right", ncols=3)
        keys = ", ".join(
            f"{row['key'].rpartition('.')[2]} {amount(row['fitted'], row['unit'])}"
            for row in fit.record["keys"]
        )
        head(figure, fit.record, f"Fitted to {fit.metered.file.name}: {keys}")
        return png(figure)


def _periods(metered: Metered) -> tuple[list[str], list[slice]]:
    """Whole months, or where there are few, days."""
    months = whole_months(metered)
    if len(months.rows) >= MIN_MONTHS or metered.spacing == MONTH:
        return months.names, months.rows
    size = 24 if metered.spacing == HOUR else 1
    starts = range(0, len(metered.starts) - size + 1, size)
    return [f"{metered.starts[i]:%d %b %Y}" for i in starts], [slice(i, i + size) for i in starts]


def _ticks(ax: "Axes", labels: list[str]) -> None:
    each = -(-len(labels) // 12)
    ax.set_xticks(range(0, len(labels), each), labels[::each], rotation=45, ha="right")
    ax.yaxis.set_major_formatter(lambda y, _: amount(y))
    ax.grid(axis="y", color="0.9", linewidth=0.6)


def _series(ax: "Axes", labels: list[str], metered: Array, before: Array, after: Array) -> None:
    at = np.arange(metered.size)
    few = metered.size <= 24
    ax.plot(at, before, color=ORANGE, linewidth=1.2, linestyle="--", label="computed, scenario as it was")
    ax.plot(at, after, color=BLUE, linewidth=1.5, label="computed, fitted")
    ax.plot(
        at, metered, color="black", linestyle="", marker="o" if few else ".", markersize=4, label="metered"
    )
    _ticks(ax, labels)


def _residuals(ax: "Axes", labels: list[str], metered: Array, before: Array, after: Array) -> None:
    at, mean = np.arange(metered.size), metered.mean() / 100.0
    ax.plot(at, (metered - before) / mean, color=ORANGE, linewidth=1.2, linestyle="--")
    ax.bar(at, (metered - after) / mean, color=BLUE, width=0.75)
    ax.axhline(0.0, color="black", linewidth=0.8)
    ax.set_title("metered less computed [% of the mean]", loc="left")
    _ticks(ax, labels)


def _mean_day(ax: "Axes", metered: Metered, *series: Array) -> None:
    """Mean by hour of the day; series metered, before, after."""
    hour = metered.first % HOURS % 24
    count = np.bincount(hour, minlength=24)
    mean = [np.bincount(hour, values, minlength=24) / count for values in series]
    at = np.arange(25)
    for values, colour, style in zip(mean, ("black", ORANGE, BLUE), ("-", "--", "-"), strict=True):
        ax.step(at, [*values, values[-1]], where="post", color=colour, linestyle=style, linewidth=1.3)
    ax.set_title("mean day, by the hour", loc="left")
    ax.set_xticks(range(0, 25, 6))
    ax.set_ylim(bottom=0.0)
    ax.grid(axis="y", color="0.9", linewidth=0.6)
