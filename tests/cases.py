"""Invented plants for the tests, and a way to run them."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from hpwhsim.cli.main import main
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year, run_year

ROOT = Path(__file__).resolve().parents[1]
CHICAGO = ROOT / "weather" / "chicago-il-725300-tmy3.epw.gz"
GOLDEN = ROOT / "weather" / "golden-co-724666-tmy3.csv.gz"
GREENSBORO = ROOT / "weather" / "greensboro-nc-723170-tmy3.csv.gz"
SAND_POINT = ROOT / "weather" / "sand-point-ak-703165-tmy3.csv.gz"

GOOD = """\
title: An invented building
site: {weather: weather.csv}
building: {apartments: 20}
plant:
  family: central-air
  heat_pump:
    refrigerant: R-744
    capacity: "35 kW"
    cop: 3.5
    rated_at: {source: "7 degC", water_in: "17 degC", water_out: "65 degC"}
  storage: {volume: "600 gal", setpoint: "150 degF"}
"""
"""A scenario as it stands in a file, with the weather beside it."""


def write_table(path: Path, cop: Mapping[float, float], capacity_kw: float = 60.0) -> None:
    """A measured table whose COP depends on the source alone; `cop` by source temperature, degC."""
    lines = ["# invented machine", "source_c,water_in_c,water_out_c,capacity_kw,power_kw"]
    lines += [
        f"{source},{inlet},{outlet},{capacity_kw},{capacity_kw / value!r}"
        for source, value in cop.items()
        for inlet in (0, 56)
        for outlet in (60, 65)
    ]
    path.write_text("\n".join(lines) + "\n")


def central_air(
    folder: Path, cop: Mapping[float, float] | None = None, capacity_kw: float = 60.0
) -> dict[str, Any]:
    """A plant of 20 invented apartments on a machine of constant COP 3.0 unless `cop` says otherwise."""
    table = folder / "machine.csv"
    write_table(table, cop or {-45.0: 3.0, 45.0: 3.0}, capacity_kw)
    return {
        "title": "invented test plant",
        "site": {"weather": str(CHICAGO)},
        "building": {"apartments": 20},
        "hot_water": {"daily_use_per_apartment": "150 L", "draws": "smooth"},
        "plant": {
            "family": "central-air",
            "heat_pump": {"refrigerant": "R-134a", "table": str(table)},
            "storage": {"volume": "2000 L", "setpoint": "60 degC"},
        },
    }


def run(folder: Path, raw: Mapping[str, Any], *overrides: str) -> Year:
    """Write the scenario to `folder` and march its year, as the command does."""
    path = folder / "case.yaml"
    path.write_text(yaml.safe_dump(dict(raw), sort_keys=False))
    return run_year(read_scenario(path, overrides))


HEAVY_USE = (
    "hot_water.daily_use_per_apartment=38 gal",
    "hot_water.month_factors=none",
    "hot_water.day_spread=0.17",
    "recirculation.loss_per_apartment=60 W",
)
"""More use than the worked files have, the same in every month, and less loop: sharp peaks (invented)."""
HEAVY_DEMO = (*HEAVY_USE, "plant.heat_pump.capacity=24 kW", "plant.storage.volume=900 gal")
"""The same with modules and a store of the demo's that go with it."""


def worked(name: str, *overrides: str) -> Year:
    """Year of one of the worked files of scenarios/, with overrides as on the command line."""
    return run_year(read_scenario(ROOT / "scenarios" / f"{name}.yaml", overrides))


def number(year: Year, key: str) -> float:
    """A number of the annual record."""
    value = year.record[key]
    assert isinstance(value, float), key
    return value


def series(year: Year, key: str) -> list[float]:
    """A list of numbers of the annual record."""
    values = year.record[key]
    assert isinstance(values, list), key
    return [float(value) for value in values]


def cautions(year: Year) -> str:
    """All cautions of the annual record in one text."""
    said = year.record["cautions"]
    assert isinstance(said, list)
    return "\n".join(said)


def hours_of_day(values: np.ndarray[Any, np.dtype[np.float64]]) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Sums by hour of the day, shape (24,)."""
    return np.asarray(values.reshape(365, 24).sum(axis=0))


def refusal(argv: Sequence[str], capsys: pytest.CaptureFixture[str]) -> str:
    """The one line that the command says to wrong input, with exit code 2 and nothing on standard output."""
    code = main(list(argv))
    said = capsys.readouterr()
    assert (code, said.out, said.err.count("\n")) == (2, "", 1)
    return said.err
