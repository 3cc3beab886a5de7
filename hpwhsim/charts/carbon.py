"""Greenhouse gases over the service life: plant, its refrigerant, and the baseline."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from hpwhsim.io.figures import BLUE, ORANGE, RED, head
from hpwhsim.simulation.year import Year

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def carbon_figure(year: Year) -> "Figure":
    """Cumulative CO2e at the end of each year of service, with the years in which the order turns.

    `year` is one whose record counts greenhouse gases.
    """
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    record: Mapping[str, Any] = year.record
    figure = Figure(figsize=(10.0, 6.0), layout="constrained")
    ax = figure.subplots()

    def tonnes(key: str) -> Any:
        return np.r_[0.0, record[key]] / 1e3

    energy, whole = tonnes("carbon.cumulative_operational_kgco2e"), tonnes("carbon.cumulative_kgco2e")
    years = np.arange(whole.size)
    ax.fill_between(years, 0.0, energy, color=BLUE, alpha=0.35, linewidth=0.0, label="plant: energy")
    ax.fill_between(years, energy, whole, color=RED, alpha=0.6, linewidth=0.0, label="plant: refrigerant")
    ax.plot(years, whole, color=BLUE, linewidth=1.5)
    if "baseline.cumulative_kgco2e" in record:
        theirs = tonnes("baseline.cumulative_kgco2e")
        name = f"baseline ({record['baseline.family']})"
        ax.plot(years, theirs, color=ORANGE, linewidth=1.5, linestyle="--", label=name)
        for turn in record["carbon.turning_years"]:
            ax.plot(turn, whole[turn], "o", color="black", markerfacecolor="white")
            ax.annotate(
                f"order turns in year {turn}", (turn, whole[turn]), (6, -12), textcoords="offset points"
            )
    ax.set_xlim(0, years[-1])
    ax.set_ylim(bottom=min(0.0, float(whole.min())))
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_xlabel("years of service")
    ax.set_ylabel("t CO2e since the start")
    ax.legend(loc="upper left")
    factor = f"{record['carbon.grid']}, {record['carbon.grid_kgco2e_per_kwh']:.3f} kg/kWh"
    head(figure, year.record, f"Greenhouse gases added up ({factor}, {record['carbon.gwp']})")
    return figure
