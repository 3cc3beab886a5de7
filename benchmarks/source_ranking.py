"""Air, ground and sewage at equal comfort in cold climates: COP with and without the pumps.

    python benchmarks/source_ranking.py --out out/

One building (32 apartments), one store, one resistance backup and one quality of machine (R-454B, the same
compressor: COP 4.0 evaporating at 5 degC) on three sources: outdoor air with its fan, the bore field of
scenarios/ground.yaml in its year 1 and in its year 20, and the building's own sewage. All invented.
"""

import argparse
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
from side_by_side import put_out
from tqdm import tqdm

from hpwhsim.account.energy import by_month
from hpwhsim.errors import InputError
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year, run_year

HERE = Path(__file__).resolve().parent
CLIMATES = ("hibbing", "minneapolis", "chicago")
# The machine of ground.yaml evaporates 5 K below its source; a coil in air 8 K, with a fan of 3 % of its
# heat (memory: 0.02 to 0.04 W per W).
AIR = (
    "plant.family=central-air",
    "plant.source.kind=outdoor-air",
    "plant.source.ground_loop=null",
    "plant.heat_pump.rated_at.source=13 degC",
    "plant.heat_pump.approach=8 K",
    "plant.heat_pump.fan_power=0.55 kW",
    "plant.heat_pump.min_source=-20 degC",
)
SOURCES: dict[str, tuple[str, tuple[str, ...]]] = {
    "air": ("ground", AIR),
    "ground, year 1": ("ground", ()),
    "ground, year 20": ("ground", ("run.years=20",)),
    "sewage": ("wastewater", ()),
}
COLORS = {
    "air": "tab:red",
    "ground, year 1": "tab:green",
    "ground, year 20": "tab:olive",
    "sewage": "tab:brown",
}


class Row(NamedTuple):
    """A row of the table; the field names are the columns of the CSV."""

    climate: str
    source: str
    cop_compressor: float  # heat of the machine over the compressor's electricity
    cop_with_pumps: float  # over that of fans and source pumps too
    cop_plant: float
    auxiliary_share: float  # of the machine's electricity
    resistance_kwh: float
    short_hours: float
    source_min_c: float
    spent_hours: float


HEADS = (
    "climate",
    "source",
    "COP bare",
    "with pumps",
    "COP plant",
    "pumps, fans",
    "resist.",
    "short h",
    "source min C",
    "spent h",
)
FORMATS = ("", "", ".2f", ".2f", ".2f", ".1%", ",.0f", ".2f", ".1f", ",.0f")


def row(climate: str, source: str, year: Year) -> Row:
    record = {key: value for key, value in year.record.items() if isinstance(value, float)}
    heat, compressor = record["heat_pump_heat_kwh"], record["compressor_kwh"]
    auxiliary = record["fan_kwh"] + record["pump_kwh"]
    return Row(
        climate,
        source,
        heat / compressor,
        heat / (compressor + auxiliary),
        record["cop_plant"],
        auxiliary / (compressor + auxiliary),
        record["resistance_kwh"],
        record["short_hours"],
        record["source_min_c"],
        record.get("source_spent_hours", 0.0),
    )


def sewage_months(year: Year) -> tuple[list[float], list[float], list[float]]:
    """By month: sewage [degC], well [degC], hours in which the sewage limited the heat."""
    hourly = year.hourly
    warm = by_month(np.nan_to_num(hourly["sewage_c"]) * hourly["sewage_m3"]) / by_month(hourly["sewage_m3"])
    well = by_month(hourly["well_c"]) / by_month(np.ones(8760))
    return warm.tolist(), well.tolist(), by_month(hourly["source_spent_hours"]).tolist()


def picture(years: dict[tuple[str, str], Year], rows: list[Row], path: Path) -> None:
    """Write the PNG: COP with and without pumps; sources by month; when the sewage runs out."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    climates = list(dict.fromkeys(r.climate for r in rows))
    figure, axes = plt.subplots(1, 3, figsize=(18.0, 5.8), layout="constrained")
    for i, source in enumerate(SOURCES):
        line = [r for r in rows if r.source == source]
        at = np.arange(len(line)) + (i - 1.5) * 0.2
        axes[0].bar(at, [r.cop_compressor for r in line], 0.18, color=COLORS[source], alpha=0.35)
        bars = axes[0].bar(at, [r.cop_with_pumps for r in line], 0.18, color=COLORS[source], label=source)
        axes[0].bar_label(bars, fmt="%.2f", fontsize=8, label_type="center", color="white")
    axes[0].set_xticks(range(len(climates)), climates)
    axes[0].set_ylim(0.0, 4.2)
    axes[0].set_ylabel("heat of the machine over its electricity")
    axes[0].set_title("(a) COP with pumps and fans; pale: what they eat")
    axes[0].legend(loc="upper left", fontsize=9, ncols=4, columnspacing=1.0, handlelength=1.0)
    months = np.arange(12)
    coldest = climates[0]
    for source, color in COLORS.items():
        monthly = by_month(years[coldest, source].hourly["source_c"]) / by_month(np.ones(8760))
        axes[1].plot(months, monthly, "o-", markersize=4, color=color, label=source)
    axes[1].set_ylabel("temperature that the machine meets, monthly mean, °C")
    axes[1].set_title(f"(b) Sources in {coldest}")
    axes[1].legend(loc="upper left", fontsize=9)
    width = 0.8 / len(climates)
    for i, climate in enumerate(climates):
        _, _, spent = sewage_months(years[climate, "sewage"])
        axes[2].bar(months + (i - 0.5 * (len(climates) - 1)) * width, spent, width, label=climate)
    axes[2].set_ylabel("hours in which the sewage limits the heat")
    axes[2].set_title("(c) When the sewage runs out of heat")
    axes[2].legend(loc="upper right", fontsize=9)
    for ax in axes[1:]:
        ax.set_xticks(months, list("JFMAMJJASOND"))
    for ax in axes:
        ax.spines[["top", "right"]].set_visible(False)
    figure.suptitle(
        "One building, store, backup and quality of machine on three sources (invented, 32 apartments)",
        fontsize=12,
    )
    figure.savefig(path, dpi=130)
    plt.close(figure)


def main() -> int:
    beside, shipped = HERE.parent.parent / "shared" / "weather", HERE.parent / "weather"
    parser = argparse.ArgumentParser(
        description="Air, ground and sewage at equal comfort: a table, a CSV and a PNG.",
        epilog="example: python benchmarks/source_ranking.py --out out/",
    )
    parser.add_argument(
        "--weather",
        type=Path,
        default=beside if beside.is_dir() else shipped,
        help="folder of weather files; those of Hibbing, Minneapolis and Chicago that are there are taken",
    )
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the files (default: out/)")
    arguments = parser.parse_args()
    files = {name.capitalize(): sorted(arguments.weather.glob(f"{name}*")) for name in CLIMATES}
    cases = [(name, found[0], source) for name, found in files.items() if found for source in SOURCES]
    if not cases:
        sys.exit(f"{arguments.weather}: no weather file of {', '.join(CLIMATES)} there")
    years: dict[tuple[str, str], Year] = {}
    try:
        for climate, weather, source in tqdm(cases, unit="plant", leave=False, disable=None):
            name, keys = SOURCES[source]
            scenario = HERE.parent / "scenarios" / f"{name}.yaml"
            years[climate, source] = run_year(read_scenario(scenario, keys, weather=weather))
    except InputError as error:
        sys.exit(str(error))
    rows = [row(*case, year) for case, year in years.items()]
    for climate in dict.fromkeys(r.climate for r in rows):
        warm, well, _ = sewage_months(years[climate, "sewage"])
        print(f"sewage by month, degC: {climate:12}", " ".join(f"{v:4.1f}" for v in warm))
        print(f"wet well by month, degC: {climate:10}", " ".join(f"{v:4.1f}" for v in well))
    path = arguments.out / "source-ranking.csv"
    put_out(path, HEADS, FORMATS, Row._fields, rows, lambda png: picture(years, rows, png))
    return 0


if __name__ == "__main__":
    sys.exit(main())
