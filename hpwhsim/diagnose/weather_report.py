"""Weather files side by side, as text and as a picture."""

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import groupby
from textwrap import shorten, wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.diagnose.weather_screening import COLDER_HOURS, DEGREE_DAYS_BASE_C, Site
from hpwhsim.io.figures import BLUE, GREEN, ORANGE, PINK, RED, SKY, house_style, png

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Record = Mapping[str, Any]

WIDTH = 100
COLOURS = (BLUE, ORANGE, GREEN, RED, SKY, PINK, "0.35", "k")
NOTE = (
    "99.6 % and 99 % are annual cumulative frequencies: at most 35 and at most 88 of the 8760 hours are "
    "colder. They are those of this typical year, not of a station's record: a typical year is not a design "
    "condition, and decades hold colder hours. Mains water by the formula of Burch and Christensen."
)


def _day(text: str) -> str:
    """A date of the nominal year, with the hour where there is one."""
    day = date.fromisoformat(text[:10])
    return f"{day.day} {MONTH_NAMES[day.month - 1]}" + text[10:].replace("T", " ")


def _from_to(period: Record) -> str:
    first, last = _day(period["first_day"]), _day(period["last_day"])
    if first == last:
        return first
    start = first.split()[0] if first[-3:] == last[-3:] else first
    return f"{start}-{last}"


def _years(years: Sequence[int]) -> str:
    """Years of the twelve months, one for a stretch that shares it."""
    stretches = [
        (year, [month for month, _ in group]) for year, group in groupby(enumerate(years), lambda p: p[1])
    ]
    if len(stretches) == 1:
        return f"months of {years[0]}"
    named = [
        f"{MONTH_NAMES[months[0]]}{'-' + MONTH_NAMES[months[-1]] if len(months) > 1 else ''} {year}"
        for year, months in stretches
    ]
    return ", ".join(named)


def _rows(record: Record) -> list[tuple[str, str]]:
    """Label and figure; a label alone is a heading."""
    air, mains = record["dry_bulb"], record["mains"]
    rows = [
        ("Dry bulb, degC", ""),
        ("  minimum hour", f"{air['min_c']:.1f}"),
        ("    starting", _day(air["min_time"])),
        ("  99.6 %", f"{air['annual_99_6_percent_c']:.1f}"),
        ("  99 %", f"{air['annual_99_percent_c']:.1f}"),
        ("  mean", f"{air['mean_c']:.1f}"),
        ("  maximum hour", f"{air['max_c']:.1f}"),
        ("  coldest day, mean", f"{record['coldest_day']['mean_c']:.1f}"),
        ("", _from_to(record["coldest_day"])),
        ("  coldest three days, mean", f"{record['coldest_three_days']['mean_c']:.1f}"),
        ("", _from_to(record["coldest_three_days"])),
        ("Hours", ""),
    ]
    rows += [(f"  below {row['below_c']:g} degC", f"{row['hours']:,d}") for row in record["hours_below"]]
    rows += [
        ("  -5 to 5 degC above 80 % humidity", f"{record['humid_frost_hours']:,d}"),
        (f"Degree-days below {DEGREE_DAYS_BASE_C:g} degC, K d", f"{record['heating_degree_days_k']:,.0f}"),
        ("Mains water by the formula, degC", ""),
        ("  mean", f"{mains['mean_c']:.1f}"),
        ("  lowest", f"{mains['min_c']:.1f} in {_day(mains['min_day'])[-3:]}"),
        ("  highest", f"{mains['max_c']:.1f} in {_day(mains['max_day'])[-3:]}"),
        ("Undisturbed ground, degC", ""),
    ]
    for soil in record["ground"]:
        rows.append(
            (
                f"  {soil['depth_m']:g} m, mean and amplitude",
                f"{soil['mean_c']:.1f} +/- {soil['amplitude_k']:.1f}",
            )
        )
        rows.append(("    lowest", f"{soil['min_c']:.1f} in {_day(soil['min_day'])[-3:]}"))
    return rows


def _place(value: float, ends: str) -> str:
    return f"{abs(value):.2f} {ends[0] if value >= 0.0 else ends[1]}"


def weather_text(records: Sequence[Record]) -> str:
    """What `tankyear weather` prints: the files, then their figures in columns."""
    lines = []
    for number, record in enumerate(records, 1):
        where = f"{_place(record['latitude'], 'NS')}, {_place(record['longitude'], 'EW')}"
        lines += [
            f"{number}  {record['file']}",
            f"   {record['station']}; {where}, {record['elevation_m']:.0f} m, UTC{record['utc_offset_h']:+g}",
            f"   {record['format']}, {record['hours']} hours; {record['stamp']}",
            f"   {_years(record['years_of_months'])}",
            f"   sha256 {record['sha256']}",
        ]
        held = record["mains"]["hours_held_at_freezing"]
        warnings = list(record["warnings"])
        if held:
            warnings.append(f"the mains-water formula falls below 0 degC in {held} h; it is held there")
        for warning in warnings:
            lines += wrap(f"warning: {warning}", WIDTH, initial_indent="   ", subsequent_indent="     ")
    columns = [_rows(record) for record in records]
    left = max(len(label) for label, _ in columns[0]) + 1
    wide = max(len(cell) for rows in columns for _, cell in rows) + 2
    many = max((WIDTH - left) // wide, 1)
    for first in range(0, len(columns), many):
        shown = columns[first : first + many]
        heads = "".join(str(number).rjust(wide) for number in range(first + 1, first + 1 + len(shown)))
        lines += ["", "File".ljust(left) + heads]
        for cells in zip(*shown, strict=True):
            lines.append((cells[0][0].ljust(left) + "".join(cell.rjust(wide) for _, cell in cells)).rstrip())
    per_day = records[0]["ground_diffusivity_m2_s"] * 86400.0
    note = f"{NOTE} Ground by the yearly wave of the air, no snow on it, in soil of {per_day:.3g} m2/day."
    return "\n".join([*lines, "", *wrap(note, WIDTH)]) + "\n"


def weather_figure(sites: Sequence[Site]) -> bytes:
    """The year of each file by day, and the hours of all in order of temperature, as a PNG file."""
    from matplotlib.figure import Figure

    with house_style():
        figure = Figure(figsize=(10.0, 2.6 * len(sites) + 3.9), layout="constrained")
        grid = figure.add_gridspec(len(sites) + 1, 2, height_ratios=[1.0] * len(sites) + [1.2])
        first: Axes | None = None
        for row, site in enumerate(sites):
            ax = figure.add_subplot(grid[row, :], sharey=first)
            first = first or ax
            _draw_year(ax, site)
        assert first is not None
        first.legend(loc="lower left", bbox_to_anchor=(0.0, 1.12), ncols=5)
        _draw_duration(figure.add_subplot(grid[-1, 0]), figure.add_subplot(grid[-1, 1]), sites)
        return png(figure)


def _draw_year(ax: "Axes", site: Site) -> None:
    edges, record = np.arange(366.0), site.record
    of_day = site.dry_bulb.reshape(365, 24)
    ax.stairs(
        of_day.max(axis=1),
        edges,
        baseline=of_day.min(axis=1),
        fill=True,
        color="0.8",
        label="outdoor air, hours of a day",
    )
    ax.stairs(of_day.mean(axis=1), edges, baseline=None, color="0.35", linewidth=0.8, label="its mean")
    ax.stairs(site.mains[::24], edges, baseline=None, color=BLUE, linewidth=1.6, label="mains water")
    for (depth, soil), line in zip(site.ground.items(), ("-", "--"), strict=True):
        ax.stairs(
            soil.reshape(365, 24).mean(axis=1),
            edges,
            baseline=None,
            color=RED,
            linestyle=line,
            label=f"ground, {depth:g} m",
        )
    ax.axhline(0.0, color="k", linewidth=0.5)
    starts = [date(2001, month, 1).timetuple().tm_yday - 1 for month in range(1, 13)]
    bounds = np.array([*starts, 365])
    ax.set_xticks(bounds, [""] * 13)
    ax.set_xticks(0.5 * (bounds[:-1] + bounds[1:]), MONTH_NAMES, minor=True)
    ax.tick_params(axis="x", which="minor", length=0)
    ax.set_xlim(0, 365)
    ax.set_ylabel("Temperature [°C]")
    ax.grid(color="0.9", linewidth=0.6)
    ax.set_title(
        shorten(f"{record['station']} ({record['format']})", 110, placeholder=" ..."),
        loc="left",
        parse_math=False,
    )


def _draw_duration(whole: "Axes", cold: "Axes", sites: Sequence[Site]) -> None:
    """Hours that are colder than a temperature: all, and the coldest."""
    hours = np.arange(1, 8761)
    for number, site in enumerate(sites):
        ordered = np.sort(site.dry_bulb)
        look: dict[str, Any] = {
            "color": COLOURS[number % len(COLOURS)],
            "linestyle": ("-", "--")[number // len(COLOURS) % 2],
        }
        label = shorten(str(site.record["station"]), 40, placeholder=" ...")
        whole.plot(hours, ordered, label=label, gid="whole", **look)
        cold.plot(hours[:500], ordered[:500], label=label, gid="cold", **look)
    for name, count in COLDER_HOURS.items():
        cold.axvline(count, color="k", linewidth=0.7, linestyle=":")
        cold.annotate(
            f"{name.replace('_', '.')} %",
            (count, 0.01),
            xycoords=("data", "axes fraction"),
            xytext=(2, 2),
            textcoords="offset points",
            fontsize=7.5,
        )
    whole.set_xlim(0, 8760)
    cold.set_xlim(0, 500)
    for ax in (whole, cold):
        ax.axhline(0.0, color="k", linewidth=0.5)
        ax.grid(color="0.9", linewidth=0.6)
        ax.set_xlabel("Hours of the year that are colder")
        ax.set_ylabel("Outdoor air [°C]")
    cold.set_title("The coldest 500 hours of a typical year (no design condition)", loc="left")
    whole.set_title("All hours in order", loc="left")
    whole.legend(loc="upper left", fontsize=7)
