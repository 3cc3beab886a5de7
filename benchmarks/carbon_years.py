"""Refrigerant and operation over the years of service: four refrigerants on three grids, added up.

    python benchmarks/carbon_years.py --out out/

runs scenarios/studies/cold-or-warm-inlet.yaml with the loop (warm inlet) and each refrigerant, single or
multi-pass, whichever takes less electricity, and writes carbon-years.csv and carbon-years.png. Every machine
is of one quality, as in refrigerant_tradeoff.py, whose numbers are taken.

Two grids stay as they are: MRO East, the dirtiest of the mainland, and California (eGRID2023). The third
starts as California and gets cleaner by an equal step each year, to a tenth in the last (INVENTED). Filling
loses 1 % of the charge in the first year, the leak is 3 % a year, a fifth of the charge is lost in the last
year: UK Defra for chillers, and 80 % recovered.

What to expect. With warm water R-744 takes the most electricity, and R-290, which leaks as little, is ahead
of it on every grid. R-410A is ahead of R-744 by far on the dirty grid. In California it is ahead by little,
and the loss of the last year turns the order. Where the grid gets cleaner, electricity saved is worth less
each year while the leak stays: the order turns before. R-513A stays ahead.
"""

import argparse
import csv
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray
from refrigerant_tradeoff import DIRTY, END_OF_LIFE_LOSS, GRIDS, MACHINES, SCENARIO, SERVICE_YEARS, USUAL_LEAK
from tqdm import tqdm

from hpwhsim.account.carbon import Life, turning_years
from hpwhsim.errors import InputError
from hpwhsim.evaluation.emissions import bought, factors, greenhouse
from hpwhsim.scenario.reading import changed, read_scenario
from hpwhsim.simulation.year import Year, run_year

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES = ("R-744", "R-290", "R-513A", "R-410A")
REFERENCE = NAMES[0]
YEARS, FIRST = int(SERVICE_YEARS), 2026
CLEAN, LAST_SHARE = "CAMX", 0.1  # the grid that gets cleaner, and what is left of its factor in the last year
CLEANER = f"{CLEAN} falling"
FACTORS = {
    DIRTY: np.full(YEARS, GRIDS[DIRTY]),
    CLEAN: np.full(YEARS, GRIDS[CLEAN]),
    CLEANER: np.linspace(GRIDS[CLEAN], LAST_SHARE * GRIDS[CLEAN], YEARS),
}
"""Grid factor of each year of service. [kg CO2e/kWh]"""
FILLING_LOSS = 0.01  # share of the charge in the first year: UK Defra
COLORS = {"R-744": "black", "R-290": "#1b7837", "R-513A": "#b8860b", "R-410A": "#7b3294"}


class Case(NamedTuple):
    """A refrigerant on a grid."""

    name: str
    grid: str
    electricity_kwh: float
    charge_kg: float
    life: Life

    @property
    def refrigerant(self) -> NDArray[np.float64]:
        """All losses of refrigerant added up to the end of each year, shape (YEARS,). [kg CO2e]"""
        return np.asarray(self.life.cumulative - np.cumsum(self.life.operational))


def best_year(name: str, weather: Path | None) -> tuple[Year, tuple[str, ...]]:
    """The year of a refrigerant in the better of its passes, and the overrides that gave it."""
    machine = next(m for m in MACHINES if m.name == name)
    found = []
    for water_side in ("single-pass",) if name == "R-744" else ("single-pass", "multi-pass"):
        overrides = (
            f"plant.heat_pump.refrigerant={machine.refrigerant}",
            f"plant.heat_pump.cop={machine.cop}",
            f"plant.heat_pump.condenser={water_side}",
            f"carbon.refrigerant.charge_per_kw={machine.charge} kg/kW",
        )
        found.append((run_year(read_scenario(SCENARIO, overrides, weather)), overrides))
    return min(found, key=lambda pair: float(pair[0].hourly["electricity_kwh"].sum()))


def cases(out: Path, weather: Path | None) -> list[Case]:
    """Every refrigerant on every grid."""
    path = out.resolve() / "carbon-years-grid.csv"
    rows = "".join(f"{FIRST + k},{factor!r}\n" for k, factor in enumerate(FACTORS[CLEANER].tolist()))
    path.write_text(f"# invented: from {CLEAN} to a tenth of it\nyear,kg_per_kwh\n{rows}", encoding="utf-8")
    given = {DIRTY: f"{GRIDS[DIRTY]} kg/kWh", CLEAN: f"{GRIDS[CLEAN]} kg/kWh", CLEANER: str(path)}
    found = []
    for name in tqdm(NAMES, unit="refrigerant", leave=False, disable=None):
        year, overrides = best_year(name, weather)
        for grid, factor in given.items():
            scenario = changed(
                read_scenario(SCENARIO, overrides, weather).scenario,
                [
                    f"carbon.grid={factor}",
                    f"carbon.service_years={YEARS}",
                    f"carbon.refrigerant.annual_leak={USUAL_LEAK}",
                    f"carbon.refrigerant.end_of_life_loss={END_OF_LIFE_LOSS}",
                    f"carbon.refrigerant.installation_loss={FILLING_LOSS}",
                ],
                SCENARIO.parent,
            )
            assert scenario.carbon is not None
            of = bought(scenario, year)
            gases = greenhouse(scenario, year, of, factors(scenario.carbon))
            charge = gases.record["carbon.refrigerant_charge_kg"]
            assert isinstance(charge, float)
            found.append(Case(name, grid, float(of.electricity.sum()), charge, gases.net))
    return found


def table(found: list[Case]) -> str:
    """What each takes, and the years in which its order with the reference turns, as text."""
    lines = [
        f"{'':<8}{'grid':<14}{'kWh':>8}{'kg':>7}{'t energy':>10}{'t refr.':>9}{'t all':>8}  turns in year"
    ]
    for case in found:
        other = next(c for c in found if c.grid == case.grid and c.name == REFERENCE)
        turns = ", ".join(map(str, turning_years(case.life, other.life))) or "-"
        energy, lost, whole = (
            v / 1e3 for v in (case.life.operational.sum(), case.refrigerant[-1], case.life.cumulative[-1])
        )
        lines.append(
            f"{case.name:<8}{case.grid:<14}{case.electricity_kwh:8.0f}{case.charge_kg:7.1f}"
            f"{energy:10.1f}{lost:9.1f}{whole:8.1f}  {turns}"
        )
    return "\n".join(lines)


def draw_totals(ax: "Axes", found: list[Case], grid: str) -> None:
    """Cumulative carbon of each refrigerant, and of its losses alone."""
    years = np.arange(YEARS + 1)
    for case in (c for c in found if c.grid == grid):
        color = COLORS[case.name]
        ax.plot(years, np.r_[0.0, case.life.cumulative] / 1e3, color=color, label=case.name)
        ax.plot(years, np.r_[0.0, case.refrigerant] / 1e3, color=color, linestyle=":")
    ax.plot([], [], color="gray", linestyle=":", label="refrigerant alone")
    ax.set_ylabel("t CO2e since the start")
    ax.legend(loc="upper left", fontsize=9, frameon=False)


def draw_difference(ax: "Axes", found: list[Case], grid: str) -> None:
    """Cumulative carbon less that of the reference, with the years in which the order turns."""
    years = np.arange(1, YEARS + 1)
    reference = next(c for c in found if c.grid == grid and c.name == REFERENCE)
    for case in (c for c in found if c.grid == grid and c.name != REFERENCE):
        less = (case.life.cumulative - reference.life.cumulative) / 1e3
        ax.plot(years, less, "o-", color=COLORS[case.name], markersize=3, label=case.name)
        for turn in turning_years(case.life, reference.life):
            ax.plot(turn, less[turn - 1], "o", color=COLORS[case.name], markersize=9, markerfacecolor="white")
            ax.annotate(
                f"year {turn}", (turn, less[turn - 1]), (0, 11), textcoords="offset points", ha="center"
            )
    ax.axhline(0.0, color="black", linewidth=1.0)
    ax.set_xlabel("year of service")
    ax.set_ylabel(f"t CO2e since the start, less {REFERENCE}\n(above 0: {REFERENCE} is better)")
    ax.legend(loc="best", fontsize=9, frameon=False)


def picture(found: list[Case], path: Path) -> None:
    """Write the PNG."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(2, 3, figsize=(17.0, 10.0), layout="constrained", sharex=True)
    heads = {
        DIRTY: f"MRO East as in 2023: {GRIDS[DIRTY]:.3f} kg/kWh",
        CLEAN: f"California as in 2023: {GRIDS[CLEAN]:.3f} kg/kWh",
        CLEANER: f"California falling (invented): {GRIDS[CLEAN]:.3f} to {FACTORS[CLEANER][-1]:.3f} kg/kWh",
    }
    for column, grid in enumerate(FACTORS):
        draw_totals(axes[0, column], found, grid)
        draw_difference(axes[1, column], found, grid)
        axes[0, column].set_title(heads[grid])
    for ax in axes.flat:
        ax.spines[["top", "right"]].set_visible(False)
        ax.set_xticks(range(0, YEARS + 1, 2))
    figure.suptitle(
        "Osier Row (invented, 40 apartments), warm inlet, machines of one quality: carbon over the years. "
        f"AR6-100, leak {100 * USUAL_LEAK:g} % a year, 1 % lost at filling, 20 % in the last year",
        fontsize=11,
    )
    figure.savefig(path, dpi=130)
    plt.close(figure)


def main() -> int:
    parser = argparse.ArgumentParser(
        description="Carbon of four refrigerants over the years on three grids: a table, a CSV and a PNG.",
        epilog="example: python benchmarks/carbon_years.py --out out/",
    )
    parser.add_argument("--weather", type=Path, help="weather file instead of the scenario's")
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the files (default: out/)")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    try:
        found = cases(arguments.out, arguments.weather)
    except InputError as error:
        sys.exit(str(error))
    print(table(found))
    path = arguments.out / "carbon-years.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["refrigerant", "grid", "year", "operational_kgco2e", "refrigerant_kgco2e"])
        for case in found:
            sums = zip(np.cumsum(case.life.operational), case.refrigerant, strict=True)
            writer.writerows([case.name, case.grid, k, *both] for k, both in enumerate(sums, start=1))
    picture(found, path.with_suffix(".png"))
    print(path, path.with_suffix(".png"), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
