"""What the study scripts share: where files are, and a table on the screen and in a CSV file."""

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

import pandas as pd

import hpwhsim as ty

ROOT = Path(__file__).resolve().parent.parent
SCENARIOS, SHIPPED = ROOT / "scenarios", ROOT / "weather"
BESIDE = ROOT.parent / "shared" / "weather"  # more climates, which do not ship
WEATHER = BESIDE if BESIDE.is_dir() else SHIPPED


def picked(record: ty.Result | dict, *keys: str) -> dict[str, object]:
    """Some keys of a record; NaN where there is none."""
    held = record.record if isinstance(record, ty.Result) else record
    return {key: held.get(key, float("nan")) for key in keys}


def main(name: str, about: str | None, study: Callable[..., pd.DataFrame], **options: int | Path) -> None:
    """Run a study with its options, print its table and write NAME.csv."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=Path("out"), help="folder for the CSV (default: out/)")
    for option, value in options.items():
        parser.add_argument(
            f"--{option}", type=type(value) if isinstance(value, int) else Path, default=value
        )
    given = vars(parser.parse_args())
    out = given.pop("out")
    try:
        table = study(**given)
    except ty.InputError as error:
        sys.exit(str(error))
    print(table.round(3).to_string(index=False))
    out.mkdir(parents=True, exist_ok=True)
    table.to_csv(out / f"{name}.csv", index=False)
    print(out / f"{name}.csv")
