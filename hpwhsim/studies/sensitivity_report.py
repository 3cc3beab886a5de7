"""The tornado: how far each assumption moves the result, the widest on top."""

from typing import TYPE_CHECKING, NamedTuple

from hpwhsim.io.figures import BLUE, ORANGE, house_style, png
from hpwhsim.results.declared import declared
from hpwhsim.results.numbers import decimals
from hpwhsim.studies.sensitivity import Figures, Sensitivities, Sensitivity

if TYPE_CHECKING:
    from matplotlib.axes import Axes


class Figure(NamedTuple):
    """A figure that is followed."""

    field: str  # of Figures
    name: str
    unit: str


def _figure(field: str, key: str) -> Figure:
    """The figure of a field that is a key of the record."""
    row = declared(key)
    return Figure(field, row.label, f"{row.screen_unit} a year")


FIGURES = (
    _figure("saved_kgco2e", "savings.kgco2e"),
    _figure("kgco2e", "total_kgco2e"),
    _figure("saved_cost", "savings.cost_usd"),
    _figure("cost", "energy_cost"),
    _figure("electricity_kwh", "electricity_kwh"),
    _figure("fuel_kwh", "fuel_kwh"),
)


def followed(sensitivities: Sensitivities) -> list[Figure]:
    """The three figures that matter most of those that there are: gases, cost, energy.

    What is saved comes before what is spent.
    """
    there = [f for f in FIGURES if getattr(sensitivities.base, f.field) not in (None, 0.0)]
    kinds = {"kgco2e": 0, "cost": 1, "kwh": 2}
    first: dict[int, Figure] = {}
    for figure in there:
        first.setdefault(kinds[figure.field.rpartition("_")[2]], figure)
    return [first[kind] for kind in sorted(first)]


def value(result: Figures, figure: Figure) -> float:
    """A figure of a result that has it."""
    return float(getattr(result, figure.field))


def span(row: Sensitivity, base: Figures, figure: Figure) -> float:
    """How far the figure moves, from the least to the most of both ends and the base."""
    reached = [value(result, figure) for result in (row.low, row.high, base)]
    return max(reached) - min(reached)


def tornado(sensitivities: Sensitivities) -> bytes:
    """The picture as the bytes of a PNG file: a panel for each figure of `followed`."""
    from matplotlib.figure import Figure as Canvas

    figures = followed(sensitivities)
    with house_style():
        height = 0.9 + len(figures) * (0.75 + 0.3 * len(sensitivities.rows))
        canvas = Canvas(figsize=(7.6, height), layout="constrained")
        panels = canvas.subplots(len(figures), 1, squeeze=False)[:, 0]
        for ax, figure in zip(panels, figures, strict=True):
            _draw(ax, sensitivities, figure)
        handles, labels = panels[0].get_legend_handles_labels()
        canvas.legend(handles, labels, loc="outside upper right", ncols=2)
        return png(canvas)


def _draw(ax: "Axes", sensitivities: Sensitivities, figure: Figure) -> None:
    rows = sorted(sensitivities.rows, key=lambda row: span(row, sensitivities.base, figure))
    base = value(sensitivities.base, figure)
    for place, row in enumerate(rows):
        ends = {
            "low value": (value(row.low, figure) - base, BLUE),
            "high value": (value(row.high, figure) - base, ORANGE),
        }
        for label, (length, colour) in sorted(ends.items(), key=lambda item: -abs(item[1][0])):
            ax.barh(place, length, left=base, height=0.62, color=colour, label=label if place == 0 else None)
    ax.axvline(base, color="black", linewidth=0.9)
    ax.set_yticks(range(len(rows)), [f"{row.name}: {row.low_value} to {row.high_value}" for row in rows])
    ax.set_title(f"{figure.name} [{figure.unit}]; as it is: {decimals(base, 0)}", loc="left")
    ax.xaxis.set_major_formatter(lambda x, _: decimals(x, 0))
    ax.tick_params(axis="y", length=0)
    ax.margins(x=0.04)
