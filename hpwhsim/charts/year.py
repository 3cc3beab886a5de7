"""Pictures of a year: the map of COP with the year's hours on it, the year by day, and two of its weeks.

The plotting library loads more slowly than a year is simulated, so it is imported inside the functions. It
runs on its own defaults, whatever the user's are: the same year gives the same file, byte for byte.
"""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from hpwhsim.account.calendar import MONTH_NAMES
from hpwhsim.arrays import Array
from hpwhsim.charts.carbon import carbon_figure
from hpwhsim.charts.cop_map import cop_map_figure, lowest_source_c
from hpwhsim.io.figures import BLUE, GREEN, ORANGE, PINK, RED, SKY, YELLOW, head, house_style, png
from hpwhsim.results.files import PICTURES
from hpwhsim.results.heat_flows import ELECTRIC
from hpwhsim.results.numbers import MINUS
from hpwhsim.scenario.schema import Scenario
from hpwhsim.schematic.one_line import one_line_svg
from hpwhsim.schematic.sheet import schematic_svg
from hpwhsim.simulation.year import Year

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Hourly = Mapping[str, Array]

SCHEMATIC, ONE_LINE, COP_MAP, YEAR, WEEKS, CARBON = PICTURES
CAPTIONS = {
    COP_MAP: "The map of COP, and where the year's hours lie on it",
    YEAR: "The year by day",
    WEEKS: "The coldest and the warmest week by hour",
    CARBON: "Greenhouse gases over the years of service",
}
WEEK = 168  # h
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

Parts = tuple[tuple[str, str, str], ...]  # hourly variable, what it is called, colour
MADE: Parts = (
    ("heat_pump_heat_kwh", "heat pump", SKY),
    ("backup_heat_kwh", "backup", RED),
    ("loop_heater_heat_kwh", "loop tank heater", ORANGE),
)
USED: Parts = (
    ("heat_to_taps_kwh", "hot water delivered", BLUE),
    ("recirculation_loss_kwh", "recirculation loss", GREEN),
    ("storage_loss_kwh", "standby loss", "0.6"),
)
COLOURS = {
    "compressor_kwh": SKY,
    "fan_kwh": GREEN,
    "pump_kwh": PINK,
    "standby_kwh": "0.6",
    "trace_heating_kwh": ORANGE,
    "loop_heat_pump_kwh": BLUE,
    "resistance_kwh": RED,
    "recirculation_pump_kwh": "0.3",
}
PURCHASED: Parts = (
    *((key, label, COLOURS[key]) for key, label in ELECTRIC),
    ("fuel_kwh", "fuel", YELLOW),
)
MARKS: Parts = (
    ("lockout_hours", "locked out while calling", "0.86"),
    ("short_hours", "unmet hot water", "#7B3294"),
)
PEAK = "electricity: maximum 15-minute mean"


def draw_plant(year: Year, scenario: Scenario, *, us: bool = False) -> dict[str, bytes]:
    """The drawings of the plant as SVG by file name: schematic and, with electrical checks, one-line."""
    drawn = {SCHEMATIC: schematic_svg(scenario, year.made.capacity, year, us=us)}
    wired = one_line_svg(year.record, year.made.modules)
    return drawn | ({ONE_LINE: wired} if wired is not None else {})


def draw_pictures(year: Year, scenario: Scenario, *, us: bool = False) -> dict[str, bytes]:
    """Draw a year.

    Parameters
    ----------
    year : Year
        What the run of `scenario` gave.
    scenario : Scenario
        Gives rated point, outlet temperature and limits.
    us : bool
        The schematic in inch-pound units.

    Returns
    -------
    dict of str to bytes
        SVG and PNG by file name: ``schematic.svg``, ``one_line.svg`` (with electrical checks),
        ``cop_map.png`` (with a heat pump), ``year.png``, ``weeks.png``, ``carbon.png`` (where greenhouse
        gases are counted). Neither the time of drawing nor the user's plotting settings are in them.
    """
    figures: dict[str, Figure] = {}
    with house_style():
        drawn = draw_plant(year, scenario, us=us)
        if year.machine is not None:
            figures[COP_MAP] = cop_map_figure(year, year.machine, scenario)
        figures[YEAR] = year_figure(year)
        figures[WEEKS] = weeks_figure(year, scenario)
        if "carbon.cumulative_kgco2e" in year.record:
            figures[CARBON] = carbon_figure(year)
        return drawn | {name: png(figure) for name, figure in figures.items()}


def year_figure(year: Year) -> "Figure":
    """Temperatures, heat and energy purchased, by day of the year."""
    from matplotlib.figure import Figure

    hourly = year.hourly
    edges = np.arange(366.0)
    figure = Figure(figsize=(10.0, 7.4), layout="constrained")
    air, heat, purchased = figure.subplots(3, 1, sharex=True, height_ratios=(1.0, 1.3, 1.2))

    of_day = hourly["dry_bulb_c"].reshape(365, 24)
    span = {
        "baseline": of_day.min(axis=1),
        "fill": True,
        "color": "0.8",
        "label": "outdoor, minimum to maximum",
    }
    air.stairs(of_day.max(axis=1), edges, **span)
    for name, label, colour in _temperatures(hourly):
        mean = hourly[name].reshape(365, 24).mean(axis=1)
        air.stairs(mean, edges, baseline=None, color=colour, linewidth=1.2, label=f"{label}, mean", gid=name)
    air.set_ylabel("Temperature [°C]")
    air.margins(y=0.08)

    _draw_heat(heat, hourly, edges, 24)
    heat.set_ylabel("Heat [kWh per day]\nmade up, used down")
    for row, (name, what, colour) in enumerate(MARKS):
        if (days := np.flatnonzero(_sums(hourly, name, 24) > 0.0)).size:
            look: dict[str, Any] = {"markersize": 5, "color": "k" if row == 0 else colour}
            look |= {"label": f"{what} ({days.size} days)", "gid": name}
            level = np.full(days.size, 0.03 + 0.045 * row)
            heat.plot(days + 0.5, level, "|", transform=heat.get_xaxis_transform(), **look)

    _stack(purchased, hourly, PURCHASED, edges, 24)
    purchased.set_ylabel("Purchased [kWh per day]")
    purchased.margins(y=0.4)  # room for the peaks above
    peak = purchased.twinx()
    peak_kw = hourly["power_peak_kw"].reshape(365, 24).max(axis=1)
    peak.stairs(peak_kw, edges, baseline=None, color="k", linewidth=0.9, label=PEAK, gid="power_peak_kw")
    peak.set_ylabel("Electric power [kW]")
    peak.spines["right"].set_visible(True)
    starts = [date(2001, month, 1).timetuple().tm_yday - 1 for month in range(1, 13)]
    _name_stretches(purchased, np.array([*starts, 365]), MONTH_NAMES)
    for ax in (purchased, peak):
        ax.set_ylim(bottom=0.0)
    for ax in (air, heat, purchased):
        ax.grid(color="0.9", linewidth=0.6)
        drawn = _legend(ax, peak) if ax is purchased else _legend(ax)
        ax.legend(*drawn, loc="lower left", bbox_to_anchor=(0.0, 0.99), ncols=4, columnspacing=1.2)
    head(figure, year.record, "The year by day")
    return figure


def weeks_figure(year: Year, scenario: Scenario) -> "Figure":
    """The coldest and the warmest week by outdoor air, hour by hour, side by side."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.0, 8.2), layout="constrained")
    rows = figure.subplots(4, 2, sharex="col", sharey="row", height_ratios=(0.8, 1.1, 1.1, 1.0))
    for column, first in enumerate(coldest_and_warmest(year.hourly["dry_bulb_c"])):
        week = {name: values[first * 24 : first * 24 + WEEK] for name, values in year.hourly.items()}
        _draw_week(rows[:, column], week, year, scenario)
        days = [date(2001, 1, 1) + timedelta(days=first + k) for k in range(7)]
        names = [f"{DAYS[d.weekday()]}\n{d.day} {MONTH_NAMES[d.month - 1]}" for d in days]
        _name_stretches(rows[3, column], np.arange(8) * 24, names)
        mean = f"mean {week['dry_bulb_c'].mean():.1f} °C".replace("-", MINUS)
        rows[0, column].set_title(f"{('Coldest', 'Warmest')[column]} week: {mean}")
    words = ("Temperature [°C]", "Store [°C]", "Heat [kW]\nmade up, used down", "Purchased [kW]")
    for row, label in zip(rows, words, strict=True):
        row[0].set_ylabel(label)
        row[1].legend(*_legend(*row), loc="center left", bbox_to_anchor=(1.0, 0.5))
    rows[3, 0].set_ylim(bottom=0.0)
    head(figure, year.record, "The coldest and the warmest week, hour by hour")
    return figure


def coldest_and_warmest(dry_bulb_c: Array) -> tuple[int, int]:
    """First days (0 to 358) of the seven with the lowest and with the highest mean dry bulb."""
    total = np.concatenate(([0.0], np.cumsum(dry_bulb_c.reshape(365, 24).sum(axis=1))))
    weeks = total[7:] - total[:-7]
    return int(np.argmin(weeks)), int(np.argmax(weeks))


def _draw_week(panels: "Sequence[Axes]", week: Hourly, year: Year, scenario: Scenario) -> None:
    """One week, from top to bottom; the energy of an hour is the mean power in it."""
    air, store, heat, purchased = panels
    edges = np.arange(WEEK + 1.0)
    middle = edges[:-1] + 0.5
    for name, label, colour in _temperatures(week):
        air.plot(middle, week[name], color=colour, label=label)
    if year.machine is not None:
        lowest = lowest_source_c(year.machine, scenario)
        if week["source_c"].min() < lowest + 10.0:  # elsewhere it would only squeeze the curves
            air.axhline(lowest, color=RED, linewidth=1.0, label="minimum source")
    store.plot(edges[1:], week["store_mean_c"], color="k", label="mean")
    store.plot(edges[1:], week["store_bottom_c"], color=BLUE, linewidth=0.9, label="bottom")
    store.stairs(week["store_top_c"], edges, baseline=None, color=RED, label="top, minimum in the hour")
    if "water_in_c" in week:
        store.plot(middle, week["water_in_c"], ".", color=GREEN, markersize=3.5, label="at the heat pump")
    least = scenario.hot_water.min_temperature
    store.axhline(least, color="0.4", linewidth=0.9, linestyle=":", label="minimum delivery temperature")
    _draw_heat(heat, week, edges, 1)
    _stack(purchased, week, PURCHASED, edges, 1)
    look: dict[str, Any] = {
        "color": "k",
        "linewidth": 0.9,
        "label": PEAK.replace(": ", ":\n"),
        "gid": "power_peak_kw",
    }
    purchased.stairs(week["power_peak_kw"], edges, baseline=None, **look)
    for ax in panels:
        ax.grid(color="0.9", linewidth=0.6)
        for name, what, colour in MARKS:
            if (hours := _sums(week, name, 1)).any():
                shade = hours if name == "lockout_hours" else 0.06 * (hours > 0.0)  # share of the hour
                look = {"color": colour, "linewidth": 0.0, "zorder": 0.5, "gid": name, "step": "post"}
                look |= {"label": what if ax is air else "", "transform": ax.get_xaxis_transform()}
                ax.fill_between(edges, 0.0, np.append(shade, 0.0), **look)


def _temperatures(hourly: Hourly) -> Parts:
    """What stands around the plant; the source too, unless it is the outdoor air."""
    around: Parts = (("dry_bulb_c", "outdoor", "k"), ("mains_c", "cold water", BLUE))
    if "source_c" not in hourly or np.array_equal(hourly["source_c"], hourly["dry_bulb_c"]):
        return around
    return (*around, ("source_c", "source", ORANGE))


def _sums(hourly: Hourly, name: str, hours: int) -> Array:
    """Sums over `hours` hours of a series; zeros where the plant has none such."""
    values = hourly.get(name, np.zeros_like(hourly["dry_bulb_c"]))
    return np.asarray(values.reshape(-1, hours).sum(axis=1))


def _stack(ax: "Axes", hourly: Hourly, parts: Parts, edges: Array, hours: int, sign: float = 1.0) -> None:
    """Parts on top of each other from zero, in steps of `hours` hours; what is always zero is left out."""
    base = np.zeros(edges.size - 1)
    for name, label, colour in parts:
        if (part := sign * _sums(hourly, name, hours)).any():
            look: dict[str, Any] = {"fill": True, "color": colour, "label": label, "gid": name}
            ax.stairs(base + part, edges, baseline=base, **look)
            base = base + part


def _draw_heat(ax: "Axes", hourly: Hourly, edges: Array, hours: int) -> None:
    """Heat made upwards and heat used downwards, both from zero."""
    alone = "heat_pump_heat_kwh" not in hourly  # then the heater backs nothing up
    made = tuple(
        (n, "from the heater" if alone and n == "backup_heat_kwh" else label, colour)
        for n, label, colour in MADE
    )
    _stack(ax, hourly, made, edges, hours)
    _stack(ax, hourly, USED, edges, hours, sign=-1.0)
    ax.axhline(0.0, color="k", linewidth=0.8)
    ax.margins(y=0.1)  # room for the marks
    ax.yaxis.set_major_formatter(lambda value, _: f"{abs(value):,g}")


def _name_stretches(ax: "Axes", bounds: NDArray[np.int_], names: Sequence[str]) -> None:
    """Tick the bounds of months or days, and name what lies between them."""
    ax.set_xticks(bounds, [""] * bounds.size)
    ax.set_xticks(0.5 * (bounds[:-1] + bounds[1:]), names, minor=True)
    ax.tick_params(axis="x", which="minor", length=0)
    ax.set_xlim(bounds[0], bounds[-1])


def _legend(*axes: "Axes") -> tuple[list[Any], list[str]]:
    """What is drawn in `axes`, each name once."""
    drawn = {n: h for ax in axes for h, n in zip(*ax.get_legend_handles_labels(), strict=True)}
    return list(drawn.values()), list(drawn)
