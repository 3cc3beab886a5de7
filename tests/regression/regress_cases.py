"""Scenarios with stored records for the tests of `regress`.

Most tests put an invented record in place of the year's march, so that every figure is known beforehand.
"""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from hpwhsim.regression import compare as regress
from hpwhsim.regression.compare import Outcome, accept, check, plan
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.starter import SCHEMA
from hpwhsim.scenario.templates import template

DAY = date(2025, 3, 1)
Change = Callable[[dict[str, Any]], None]


def invented(loaded: Loaded) -> dict[str, Any]:
    """An invented record; only its shape is that of a year."""
    return {
        "electricity_kwh": 27000.0,
        "unmet_kwh": 0.0,
        "peak_kw": 15.0,
        "peak_time": "01-05 07:15",
        "balance_error": 3e-15,
        "backup_hours_by_cause": {"capacity": 2.0},
        "monthly.electricity_kwh": [2000.0 + 10.0 * month for month in range(12)],
        "monthly.cop_plant": [2.0] * 6 + [None] + [2.0] * 5,
        "assumptions": [
            {"key": "plant.storage.height", "value": "1.5 m", "source": "common practice, no source"},
            {"key": "plant.storage.heat_loss", "value": "R-12.5", "source": "a rule"},
            {"key": "plant.storage.heat_loss", "value": "5.58 W/K", "source": "surface over R-12.5"},
        ],
        "cautions": ["scald: the store holds water at 66 degC"],
        "title": loaded.scenario.title,
        "tool.version": "0.1.0",
        "scenario.sha256": loaded.sha256,
        "scenario.overrides": [],
        "weather.sha256": "0" * 64,
        "weather.station": "INVENTED",
        "inputs.sha256": "1" * 64,
    }


def changed(change: Change) -> regress.Run:
    """A run whose record is the invented one after `change`."""

    def run(loaded: Loaded) -> dict[str, Any]:
        record = invented(loaded)
        change(record)
        return record

    return run


def run_all(folder: Path, run: regress.Run = invented, exact: bool = False) -> dict[str, Outcome]:
    job = plan(folder)
    return {case.name: check(case, job.rules, run, exact) for case in job.cases}


@pytest.fixture
def folder(tmp_path: Path, root: Path) -> Path:
    """Two scenarios of invented buildings with stored records."""
    weather = str(root / "weather" / "golden-co-724666-tmy3.csv.gz")
    top = tmp_path / "scenarios"
    top.mkdir()
    (top / "air.yaml").write_text(template("central-air", weather, SCHEMA.as_uri()), encoding="utf-8")
    (top / "element.yaml").write_text(template("resistance", weather, SCHEMA.as_uri()), encoding="utf-8")
    accept(list(run_all(top).values()), "first", DAY)
    return top


def keys(outcome: Outcome) -> list[str]:
    return [move.key for move in outcome.moves]
