"""How many packaged units for how many apartments: a common rule against the short hours of random draws.

    python benchmarks/group_rule.py --out out/

The rule (common practice, no source): 1 unit for 1 apartment, 2 for 2, 3 for 4 to 5, 4 for 7 to 10. Here
every number of units of scenarios/packaged.yaml (invented: 75 gal, 1.7 kW and a 4.5 kW element each, in a
cellar of 300 ft2 a unit) serves 1 to 10 apartments with several seeds of random draws.
"""

import argparse
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
from side_by_side import put_out
from tqdm import tqdm

from hpwhsim.errors import InputError
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import run_year

HERE = Path(__file__).resolve().parent
RULE = {1: 1, 2: 2, 4: 3, 5: 3, 7: 4, 8: 4, 9: 4, 10: 4}  # silent on 3 and 6
MOST_UNITS = 4


class Row(NamedTuple):
    """A row of the table; the field names are the columns of the CSV."""

    apartments: int
    units: int
    by_rule: str
    short_hours_mean: float
    short_hours_most: float
    short_litres_mean: float
    resistance_kwh_mean: float
    cop_plant_mean: float


HEADS = ("apartments", "units", "rule", "short h", "worst seed", "short L", "resist. kWh", "COP plant")
FORMATS = ("", "", "", ".2f", ".2f", ",.0f", ",.0f", ".2f")


def run(scenario: Path, apartments: int, units: int, seeds: range) -> Row:
    """Years of `units` units for `apartments` apartments, one for each seed."""
    found = []
    for seed in seeds:
        loaded = read_scenario(
            scenario,
            [
                f"building.apartments={apartments}",
                f"hot_water.seed={seed}",
                f"plant.heat_pump.modules={units}",
                f"plant.storage.tanks={units}",
                f"plant.storage.volume={75 * units} gal",
                f"plant.backup.power={4.5 * units} kW",
                f"plant.source.room.floor_area={300 * units} ft2",
            ],
        )
        record = run_year(loaded).record
        keys = ("short_hours", "short_litres", "resistance_kwh", "cop_plant")
        found.append([float(str(record[key])) for key in keys])
    hours, litres, resistance, cop = np.array(found).T
    return Row(
        apartments,
        units,
        "rule" if RULE.get(apartments) == units else "",
        float(hours.mean()),
        float(hours.max()),
        float(litres.mean()),
        float(resistance.mean()),
        float(cop.mean()),
    )


def picture(rows: list[Row], path: Path) -> None:
    """Write the PNG: short hours and resistance heat over apartments, by number of units."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(1, 2, figsize=(14.0, 5.5), layout="constrained")
    for units in range(1, MOST_UNITS + 1):
        line = [r for r in rows if r.units == units]
        x = [r.apartments for r in line]
        series = ([r.short_hours_mean for r in line], [r.resistance_kwh_mean / r.apartments for r in line])
        for ax, y in zip(axes, series, strict=True):
            (drawn,) = ax.plot(x, y, "o-", markersize=4, label=f"{units} unit{'s' if units > 1 else ''}")
            ruled = [(a, b) for a, b, r in zip(x, y, line, strict=True) if r.by_rule]
            rings = {"markersize": 13, "markerfacecolor": "none", "clip_on": False}
            ax.plot(*zip(*ruled, strict=True), "o", color=drawn.get_color(), **rings)
    axes[0].set_yscale("symlog", linthresh=0.1)
    axes[0].set_ylim(bottom=0.0)
    axes[0].set_ylabel("hours a year below 110 °F, mean of the seeds")
    axes[0].set_title("(a) Short hours (circles: the rule)")
    axes[1].set_ylabel("resistance heat, kWh per apartment and year")
    axes[1].set_ylim(bottom=0.0)
    axes[1].set_title("(b) Resistance heat (circles: the rule)")
    for ax in axes:
        ax.set_xlabel("apartments")
        ax.set_xticks(range(1, 11))
        ax.legend(loc="upper left", fontsize=9)
        ax.spines[["top", "right"]].set_visible(False)
    figure.suptitle(
        "Packaged units on one manifold (invented: 75 gal, 1.7 kW, 4.5 kW element each), Chicago", fontsize=12
    )
    figure.savefig(path, dpi=130)
    plt.close(figure)


def main() -> int:
    parser = argparse.ArgumentParser(
        description="Packaged units for 1 to 10 apartments against a common rule: a table, a CSV and a PNG.",
        epilog="example: python benchmarks/group_rule.py --seeds 3 --out out/",
    )
    parser.add_argument(
        "--scenario", type=Path, default=HERE.parent / "scenarios" / "packaged.yaml", help="scenario file"
    )
    parser.add_argument("--seeds", type=int, default=5, help="seeds of the random draws (default: 5)")
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the files (default: out/)")
    arguments = parser.parse_args()
    cases = [(a, u) for a in range(1, 11) for u in range(1, MOST_UNITS + 1)]
    try:
        bar = tqdm(cases, unit="plant", leave=False, disable=None)  # None: no bar in a pipe
        rows = [run(arguments.scenario, *case, range(1, arguments.seeds + 1)) for case in bar]
    except InputError as error:
        sys.exit(str(error))
    path = arguments.out / "group-rule.csv"
    put_out(path, HEADS, FORMATS, Row._fields, rows, lambda png: picture(rows, png))
    return 0


if __name__ == "__main__":
    sys.exit(main())
