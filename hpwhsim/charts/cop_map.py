"""The map of COP of one module with the hours of the year on it."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.heatpump.maps import EDGE, PerformanceMap
from hpwhsim.heatpump.measured import read_ratings
from hpwhsim.heatpump.rated import WRAPPED_RISE
from hpwhsim.io.figures import RED, SKY, head
from hpwhsim.plant.running import SMALLEST_LIFT
from hpwhsim.results.numbers import MINUS, degrees
from hpwhsim.scenario.schema import Scenario
from hpwhsim.simulation.year import Year

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.contour import ContourSet
    from matplotlib.figure import Figure


BIN = 3.0  # K, side of the squares that gather the hours: whole, as much weather is in whole degrees
BIGGEST = 300.0  # pt², bubble of the fullest square, which it about fills
STEP = 0.75  # K, at most, between the points at which the map is drawn
SAME = 1e-6  # K


def cop_surface(machine: PerformanceMap, source_c: Array, water_in_c: Array, water_out_c: Array) -> Array:
    """COP of one module at full load over a grid of conditions, by the rules of the march.

    Capacity and power are linear between the points of the map. Beyond its axes they are held at the edge,
    but with a colder source or a warmer inlet the heat pump stands.

    Parameters
    ----------
    machine : PerformanceMap
        The map of one module.
    source_c : ndarray, shape (n_source,)
        Temperature of the source. [°C]
    water_in_c, water_out_c : ndarray, shape (n_in,)
        Water entering, and the water that then leaves; NaN where the heat pump does not take it. [°C]

    Returns
    -------
    ndarray, shape (n_in, n_source)
        COP; NaN where the heat pump does not work.
    """
    found = []
    each = np.arange(water_in_c.size)
    for field in (machine.capacity_w, machine.power_w):
        of_source = _along(field, machine.source_c, source_c)
        of_inlet = _along(of_source.swapaxes(0, 1), machine.water_in_c, water_in_c)
        found.append(_along(np.moveaxis(of_inlet, 2, 0), machine.water_out_c, water_out_c)[each, each])
    works = np.isfinite(water_out_c)
    if machine.water_in_c.size > 1:
        works &= water_in_c <= machine.water_in_c[-1] + EDGE
    works = works[:, None] & (source_c >= machine.source_c[0] - EDGE)
    return np.where(works, found[0] / found[1], np.nan)


def outlet_c(scenario: Scenario, water_in_c: Array) -> Array:
    """Water leaving the heat pump for the water entering it; NaN where it is too warm to enter. [°C]."""
    heat_pump, hottest = scenario.plant.heat_pump, scenario.outlet_temperature
    if heat_pump is None or heat_pump.condenser == "single-pass":
        return np.where(hottest - water_in_c >= SMALLEST_LIFT, hottest, np.nan)
    leaving = water_in_c + (heat_pump.rise if heat_pump.condenser == "multi-pass" else WRAPPED_RISE)
    return np.where(leaving <= hottest + EDGE, leaving, np.nan)


def _along(values: Array, axis: Array, at: Array) -> Array:
    """Linear along the first dimension, held at the ends; a neighbour without weight is not read."""
    if axis.size == 1:
        return np.repeat(values, at.size, axis=0)
    held = np.clip(at, axis[0], axis[-1])
    i = np.clip(np.searchsorted(axis, held, side="right") - 1, 0, axis.size - 2)
    u = ((held - axis[i]) / (axis[i + 1] - axis[i])).reshape(-1, *[1] * (values.ndim - 1))
    between = (1.0 - u) * values[i] + u * values[i + 1]
    return np.where(u == 0.0, values[i], np.where(u == 1.0, values[i + 1], between))


def lowest_source_c(machine: PerformanceMap, scenario: Scenario) -> float:
    """Source temperature below which the heat pump is locked out: by map, unit or controls. [°C]."""
    works = np.isfinite(machine.capacity_w).any(axis=(1, 2))
    heat_pump = scenario.plant.heat_pump
    given = (heat_pump.min_source if heat_pump else None, scenario.plant.controls.lock_out_below)
    return max([float(machine.source_c[works][0]), *(t for t in given if t is not None)])


def cop_map_figure(year: Year, machine: PerformanceMap, scenario: Scenario) -> "Figure":
    """COP over source and inlet temperature, and over it the heat of the year's hours.

    A bubble stands for the heat given in a square of `BIN` kelvin, each hour at its own source temperature
    and its flow-weighted inlet temperature.
    """
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    hourly, lowest = year.hourly, lowest_source_c(machine, scenario)
    at, rating = rated_points(scenario)
    runs = np.isfinite(hourly["water_in_c"])
    source, inlet = hourly["source_c"][runs], hourly["water_in_c"][runs]
    heat = hourly["heat_pump_heat_kwh"][runs]

    # the view: the year's conditions, the limit, the rating, and the inlets that the map has
    left, right = view([*(p[0] for p in at), lowest, hourly["source_c"].min(), hourly["source_c"].max()])
    low, high = view([*(p[1] for p in at), *inlet, hourly["mains_c"].min(), machine.water_in_c[-1] - BIN])
    low = max(low, 0.0)

    figure = Figure(figsize=(10.0, 7.4), layout="constrained")
    panels = figure.subplot_mosaic(
        [["by_source", "text", "text"], ["map", "by_inlet", "scale"]],
        width_ratios=[6.6, 1.3, 0.22],
        height_ratios=[1.25, 5.0],
    )
    ax, by_source, by_inlet = panels["map"], panels["by_source"], panels["by_inlet"]
    by_source.sharex(ax)
    by_inlet.sharey(ax)
    ax.set(xlim=(left, right), ylim=(low, high))
    wrapped = scenario.plant.heat_pump is not None and scenario.plant.heat_pump.condenser == "wrap-around"
    ax.set_ylabel("Water at the condenser [°C]" if wrapped else "Water entering the heat pump [°C]")
    met = np.array([*zip(source, inlet, strict=True), *at]).reshape(-1, 2)
    filled = _draw_map(ax, machine, scenario, met)
    figure.colorbar(
        filled, cax=panels["scale"], label="COP of one module at full load, by its performance map"
    )
    ax.axvspan(left, lowest, color="w", alpha=0.45, linewidth=0.0)
    ax.axvline(lowest, color=RED, linewidth=1.8, label=f"the heat pump is locked out below {degrees(lowest)}")
    if at:
        ax.plot(
            *zip(*at, strict=True), "X", color=RED, markeredgecolor="w", markersize=11, zorder=4, label=rating
        )

    x_edges, y_edges = np.arange(left, right + SAME, BIN), np.arange(low, high + SAME, BIN)
    squares, _, _ = np.histogram2d(source, inlet, (x_edges, y_edges), weights=heat)
    i, j = np.nonzero(squares > 0.0)
    fullest = float(squares.max()) if i.size else 1.0
    size = BIGGEST / fullest
    look: dict[str, Any] = {"facecolor": (1.0, 1.0, 1.0, 0.8), "edgecolor": "k", "linewidth": 0.8}
    middle = x_edges[i] + 0.5 * BIN, y_edges[j] + 0.5 * BIN
    ax.scatter(*middle, s=squares[i, j] * size, zorder=3, gid="hours", **look)
    for kwh in _round_sizes(fullest) if i.size else ():
        ax.scatter([], [], s=kwh * size, label=f"{kwh:,g} kWh a year, per {BIN:g} K x {BIN:g} K", **look)

    across, up = squares.sum(axis=1), squares.sum(axis=0)
    by_source.stairs(across, x_edges, fill=True, color=SKY, label="heat pump")
    backup, _ = np.histogram(hourly["source_c"], x_edges, weights=hourly["backup_heat_kwh"])
    if backup.any():
        by_source.stairs(across + backup, x_edges, baseline=across, fill=True, color=RED, label="backup")
        by_source.legend(loc="upper left")
    by_inlet.stairs(up, y_edges, fill=True, color=SKY, orientation="horizontal")

    of_air = np.array_equal(hourly["source_c"], hourly["dry_bulb_c"])
    ax.set_xlabel("Outdoor air [°C]" if of_air else "Source [°C]")
    by_source.set_ylabel(f"Heat\n[kWh per {BIN:g} K]")
    by_inlet.set_xlabel(f"Heat of the heat pump\n[kWh per {BIN:g} K]")
    by_inlet.set_xlim(left=0.0)
    by_inlet.xaxis.set_major_locator(MaxNLocator(2))
    for axis in (by_inlet.xaxis, by_source.yaxis):
        axis.set_major_formatter("{x:,g}")
    by_source.tick_params(labelbottom=False)
    by_inlet.tick_params(labelleft=False)
    panels["text"].axis("off")
    panels["text"].text(
        0.0, 1.0, _in_words(year, source, inlet, heat), va="top", linespacing=1.5, fontsize=8, in_layout=False
    )
    ax.legend(loc="upper left", bbox_to_anchor=(-0.06, -0.09), ncols=2)
    way = {"single-pass": f"to {degrees(scenario.outlet_temperature)}", "multi-pass": "in passes"}
    kind = scenario.plant.heat_pump.condenser if scenario.plant.heat_pump else "single-pass"
    what = f"COP of the heat pump {way.get(kind, 'around the tank')}"
    head(figure, year.record, f"{what}, and the conditions at which the year's heat was made")
    return figure


def rated_points(scenario: Scenario) -> tuple[list[tuple[float, float]], str]:
    """Source and inlet of the rated points [°C], and what they are; none where a table stands for them."""
    heat_pump = scenario.plant.heat_pump
    if heat_pump is not None and heat_pump.ratings is not None:
        return [(r.source_c, r.water_in_c) for r in read_ratings(heat_pump.ratings)], "rated points"
    if heat_pump is None or heat_pump.rated_at is None or heat_pump.cop is None:
        return [], ""
    at = heat_pump.rated_at
    water = f"{degrees(at.water_in)} to {degrees(at.water_out)}"
    return [(at.source, at.water_in)], f"rated: {water} at {degrees(at.source)}, COP {heat_pump.cop:.3g}"


def view(values: Sequence[float]) -> tuple[float, float]:
    """Whole squares around the values, with some room. [°C]."""
    return float(np.floor((min(values) - 0.5) / BIN) * BIN), float(np.ceil((max(values) + 0.5) / BIN) * BIN)


def _points(axis: Array, low: float, high: float) -> Array:
    """Where to evaluate the map: at its own points, and between them where these are far apart."""
    own = axis[(axis >= low) & (axis <= high)]
    even = np.linspace(low, high, int((high - low) / STEP) + 2)
    apart = np.abs(even[:, None] - own[None, :]).min(axis=1, initial=np.inf) > SAME
    return np.sort(np.concatenate((own, even[apart])))


def _draw_map(ax: "Axes", machine: PerformanceMap, scenario: Scenario, conditions: Array) -> "ContourSet":
    """Contours over the limits of `ax`; hatched where the heat pump does not work or has no data.

    The colours end at the best COP of the `conditions` that matter, source and inlet of shape (n, 2): a map
    may go far beyond it. [°C].
    """
    import matplotlib
    from matplotlib.colors import ListedColormap
    from matplotlib.patheffects import withStroke
    from matplotlib.ticker import MaxNLocator

    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    s, w = machine.source_c, machine.water_in_c
    source, inlet = _points(s, left, right), _points(w, low, high)
    cop = np.ma.masked_invalid(cop_surface(machine, source, inlet, outlet_c(scenario, inlet)))
    hatch: dict[str, Any] = {"facecolor": "none", "edgecolor": "0.35", "linewidth": 0.0}
    if cop.mask.any():
        ax.fill_between([left, right], low, high, color="0.92", linewidth=0.0)
        label = "outside the heat pump's working range"
        ax.fill_between([left, right], low, high, hatch="///", label=label, **hatch)
    least, most = (float(cop.min()), float(cop.max())) if cop.count() else (1.0, 1.0)
    met = cop[_nearest(inlet, conditions[:, 1]), _nearest(source, conditions[:, 0])].compressed()
    most = max(least, min(most, float(met.max()))) if met.size else most
    room = 0.05 if most - least < 0.05 else 0.0  # a constant has no contours
    levels = np.asarray(MaxNLocator(14, steps=[1, 2, 2.5, 5, 10]).tick_values(least - room, most + room))
    # uniform to the eye and in grey; without its darkest fifth, which would swallow the lines
    colours = ListedColormap(matplotlib.colormaps["cividis"](np.linspace(0.2, 1.0, 256)))
    grid = source, inlet, cop, levels
    extend: Literal["neither", "max"] = "max" if cop.count() and cop.max() > levels[-1] else "neither"
    filled = ax.contourf(*grid, cmap=colours, corner_mask=False, extend=extend)
    if not room:
        lines = ax.contour(*grid, colors="k", linewidths=0.6, corner_mask=False)
        for number in ax.clabel(lines, fontsize=8, fmt="%.3g", inline_spacing=2, zorder=5):
            number.set_path_effects([withStroke(linewidth=2.0, foreground="w")])
    start, end = max(left, s[0]), min(right, s[-1])
    beyond = [(end, right, low, high), (start, end, low, w[0])]
    if w.size == 1:  # else the heat pump stands with a warmer inlet
        beyond.append((start, end, w[0], high))
    label = "no data: the edge of the map is used"
    for x0, x1, y0, y1 in beyond:
        if x1 - x0 > EDGE and y1 - y0 > EDGE:
            ax.fill_between([x0, x1], y0, y1, hatch="..", label=label, **hatch)
            label = ""
    return filled


def _nearest(axis: Array, values: Array) -> NDArray[np.int_]:
    """Index of the first point of a close grid that is not below each value; of the last beyond its end."""
    return np.minimum(np.searchsorted(axis, values), axis.size - 1)


def _round_sizes(fullest: float) -> list[float]:
    """Two round numbers for a legend of bubbles."""
    found = []
    for most in (fullest, 0.2 * fullest):
        power = 10.0 ** np.floor(np.log10(most))
        found.append(float(max(m for m in (1.0, 2.0, 5.0) if m * power <= most) * power))
    return found


def _in_words(year: Year, source: Array, inlet: Array, heat: Array) -> str:
    """The year in the corner of the map."""
    record: Mapping[str, Any] = year.record
    lines = ["In the year the heat pump gave", f"{heat.sum():,.0f} kWh of heat"]
    if "cop_heat_pump" in record:
        lines.append(f"COP {record['cop_heat_pump']:.2f} (all its electricity)")
    if heat.sum() > 0.0:
        for what, values in (("source", source), ("water in", inlet)):
            mean = np.average(values, weights=heat)
            lines.append(f"mean {what} {mean:.1f} °C, by heat".replace("-", MINUS))
    missing = record["heat_pump_heat_kwh"] - heat.sum()
    if abs(missing) > 1e-6 * abs(record["heat_pump_heat_kwh"]):
        lines.append(f"not shown, as no inlet is known: {missing:,.0f} kWh")
    return "\n".join(lines)
