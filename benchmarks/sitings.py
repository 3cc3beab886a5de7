"""Where a packaged unit stands and breathes: matched houses side by side.

    python benchmarks/sitings.py --out out/

runs scenarios/packaged.yaml (invented: 8 apartments, four units) with the same building, draws, machine and
room size (a closet has 2 m2), and changes only the room and the ducts. By the plant's own meter a heated room
looks best; with the heating that the room buys booked to it, the order turns.
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
from hpwhsim.simulation.year import Year, run_year

HERE = Path(__file__).resolve().parent
ROOM = "plant.source.room."
HEATED = (ROOM + "kind=apartment",)
CLOSET = (ROOM + "kind=closet", ROOM + "floor_area=2 m2")
SITINGS: dict[str, tuple[str, ...]] = {
    "heated room": HEATED,
    "unheated cellar": (),
    "heated room, ducted both ways": (*HEATED, ROOM + "intake=outdoors", ROOM + "exhaust=outdoors"),
    "unheated garage": (ROOM + "kind=garage",),
    "heated room, exhaust duct only": (*HEATED, ROOM + "exhaust=outdoors"),
    "closet with grilles": CLOSET,
    "closet, sealed": (*CLOSET, ROOM + "vent_flow=0 m3/s"),
}


class Row(NamedTuple):
    """A row of the table; the field names are the columns of the CSV."""

    siting: str
    cop_heat_pump: float
    cop_plant: float
    cop_net: float
    electricity_kwh: float
    resistance_kwh: float
    room_heating_penalty_kwh: float
    room_cooling_credit_kwh: float
    lockout_hours: float
    short_hours: float
    room_min_c: float


HEADS = (
    "siting",
    "COP hp",
    "COP plant",
    "COP net",
    "kWh",
    "resist.",
    "penalty",
    "credit",
    "lockout h",
    "short h",
    "room min C",
)
FORMATS = ("", ".2f", ".2f", ".2f", ",.0f", ",.0f", ",.0f", ",.0f", ",.0f", ".1f", ".1f")


def row(name: str, year: Year) -> Row:
    record = {key: value for key, value in year.record.items() if isinstance(value, float)}
    return Row(name, **{key: record[key] for key in Row._fields[1:]})


def picture(years: dict[str, Year], rows: list[Row], path: Path) -> None:
    """Write the PNG: COP by the meter and net; the rooms' air through the year."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, (left, right) = plt.subplots(1, 2, figsize=(15.0, 6.0), layout="constrained")
    at = np.arange(len(rows))
    for offset, key, name, color in (
        (-0.2, "cop_plant", "by the plant's own meter", "tab:orange"),
        (0.2, "cop_net", "net of the room's heating and cooling", "tab:blue"),
    ):
        values = [getattr(r, key) for r in rows]
        bars = left.barh(at + offset, values, 0.38, color=color, label=name)
        left.bar_label(bars, fmt="%.2f", padding=3, fontsize=9)
    left.axvline(1.0, color="black", linewidth=0.8, linestyle=":")
    left.set_yticks(at, [r.siting for r in rows])
    left.invert_yaxis()
    left.set_xlim(0.0, 3.6)
    left.set_xlabel("useful heat over what is bought (dotted: resistance heating)")
    left.set_title("(a) COP of the year")
    left.legend(loc="lower right", fontsize=9)
    days = np.arange(365)
    colors = ("tab:red", "tab:brown", "tab:purple", "tab:gray")
    for name, color in zip(
        ("heated room", "unheated cellar", "closet with grilles", "unheated garage"), colors, strict=True
    ):
        hourly = years[name].hourly
        for key, line in (("room_c", "-"), ("reference_room_c", ":")):
            right.plot(
                days,
                hourly[key].reshape(365, 24).mean(axis=1),
                line,
                color=color,
                linewidth=1.2,
                label=name if line == "-" else None,
            )
    right.set_xlabel("day of the year")
    right.set_ylabel("air of the room, daily mean, °C")
    right.set_title("(b) The room with the machine, and without it (dotted)")
    right.set_xlim(0, 365)
    right.legend(loc="upper right", fontsize=9)
    for ax in (left, right):
        ax.spines[["top", "right"]].set_visible(False)
    figure.suptitle(
        "Juniper Row (invented, 8 apartments, four packaged units), Chicago, rooms heated by resistance",
        fontsize=12,
    )
    figure.savefig(path, dpi=130)
    plt.close(figure)


def main() -> int:
    parser = argparse.ArgumentParser(
        description="Sitings of a packaged unit side by side: a table, a CSV and a PNG.",
        epilog="example: python benchmarks/sitings.py --out out/",
    )
    parser.add_argument(
        "--scenario", type=Path, default=HERE.parent / "scenarios" / "packaged.yaml", help="scenario file"
    )
    parser.add_argument("--weather", type=Path, help="weather file instead of the scenario's")
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the files (default: out/)")
    arguments = parser.parse_args()
    try:
        bar = tqdm(SITINGS.items(), unit="year", leave=False, disable=None)  # None: no bar in a pipe
        years = {
            name: run_year(read_scenario(arguments.scenario, keys, weather=arguments.weather))
            for name, keys in bar
        }
    except InputError as error:
        sys.exit(str(error))
    rows = [row(name, year) for name, year in years.items()]
    path = arguments.out / "sitings.csv"
    put_out(path, HEADS, FORMATS, Row._fields, rows, lambda png: picture(years, rows, png))
    return 0


if __name__ == "__main__":
    sys.exit(main())
