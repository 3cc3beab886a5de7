"""The shipped plant in every climate of a folder, coldest to hottest.

    python benchmarks/climates.py --out out/

runs scenarios/central-air.yaml with each weather file, prints a table and writes it as climates.csv. The
building, its plant and its hot-water use stay the same: only the weather and the mains water it gives change.

What to expect: kWh falls and COP rises with warmth, by far less than the source alone would give: warmer
mains water means less water from the store, so that the warm return of the loop is a larger part of what
this R-744 machine takes in (weighted by heat: 21 degC in the coldest climate, 37 to 39 in the hottest).
Exceptions in order: kWh of Golden below Chicago, which has three times the hours below the machine's lowest
source; COP of Portland above New York, whose winter is colder, and above Piedmont, which defrosts more; of
Los Angeles above Houston, and of Houston above Phoenix, whose hottest months bring the warmest mains water.
"""

import argparse
import csv
import sys
from pathlib import Path
from typing import NamedTuple

from tqdm import tqdm

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import run_year

HERE = Path(__file__).resolve().parent
ENDINGS = (".epw", ".csv", ".epw.gz", ".csv.gz")


class Climate(NamedTuple):
    """A row of the table; the field names are the columns of the CSV."""

    climate: str
    mean_c: float
    min_c: float
    mains_mean_c: float
    electricity_kwh: float
    compressor_kwh: float
    resistance_kwh: float
    cop_heat_pump: float
    cop_plant: float
    peak_kw: float
    backup_hours: float
    lockout_hours: float
    short_hours: float
    balance_error: float


HEADS = (
    "climate",
    "mean C",
    "min C",
    "mains C",
    "kWh",
    "compr.",
    "resist.",
    "COP hp",
    "COP pl",
    "peak kW",
    "backup h",
    "lockout h",
    "short h",
    "balance",
)
FORMATS = ("", ".1f", ".1f", ".1f", ".0f", ".0f", ".0f", ".2f", ".2f", ".1f", ".1f", ".1f", ".2f", ".0e")


def run(scenario: Path, weather: Path) -> Climate:
    """One year of `scenario` in `weather`."""
    dry_bulb = read_weather(weather)["dry_bulb_c"].values
    year = run_year(read_scenario(scenario, weather=weather))
    record = {key: value for key, value in year.record.items() if isinstance(value, float)}
    return Climate(
        climate=weather.name.split(".")[0],
        mean_c=float(dry_bulb.mean()),
        min_c=float(dry_bulb.min()),
        mains_mean_c=float(year.hourly["mains_c"].mean()),
        backup_hours=float((year.hourly["resistance_hours"] + year.hourly["fuel_hours"]).sum()),
        **{name: record[name] for name in Climate._fields if name in record},
    )


def table(rows: list[Climate]) -> str:
    """The rows as text in columns."""
    cells = [HEADS, *(tuple(f"{v:{f}}" for v, f in zip(row, FORMATS, strict=True)) for row in rows)]
    wide = [max(len(line[i]) for line in cells) for i in range(len(HEADS))]
    return "\n".join(
        "  ".join(
            text.ljust(width) if i == 0 else text.rjust(width)
            for i, (text, width) in enumerate(zip(line, wide, strict=True))
        )
        for line in cells
    )


def main() -> int:
    beside, shipped = HERE.parent.parent / "shared" / "weather", HERE.parent / "weather"
    parser = argparse.ArgumentParser(
        description="A scenario in every climate of a folder, coldest to hottest: a table, and climates.csv.",
        epilog="example: python benchmarks/climates.py --weather weather --out out/",
    )
    parser.add_argument(
        "--scenario",
        type=Path,
        default=HERE.parent / "scenarios" / "central-air.yaml",
        help="scenario file (default: scenarios/central-air.yaml)",
    )
    parser.add_argument(
        "--weather",
        type=Path,
        default=beside if beside.is_dir() else shipped,
        help="folder of TMY3 CSV and EPW files, gzipped or not (default: ../shared/weather beside the "
        "checkout, where there is one, else weather/)",
    )
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the CSV (default: out/)")
    arguments = parser.parse_args()
    files = sorted(path for path in arguments.weather.glob("*") if path.name.endswith(ENDINGS))
    if not files:
        sys.exit(f"{arguments.weather}: no weather files there ({', '.join(ENDINGS)})")
    try:
        bar = tqdm(files, unit="climate", leave=False, disable=None)  # None: no bar in a pipe
        rows = sorted((run(arguments.scenario, path) for path in bar), key=lambda row: row.mean_c)
    except InputError as error:
        sys.exit(str(error))
    print(table(rows))
    arguments.out.mkdir(parents=True, exist_ok=True)
    path = arguments.out / "climates.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(Climate._fields)
        writer.writerows(rows)
    print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main())
