"""Plants on their design days for the tests of sizing."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import CHICAGO, ROOT, central_air
from numpy.typing import NDArray

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.scenario.reading import read_scenario, scenario_from
from hpwhsim.sizing.trials import Bench, hot_litres, make_bench

Array = NDArray[np.float64]
DEMO = ROOT / "scenarios" / "central-air.yaml"
ALONE = ("plant.backup=null", "plant.heat_pump.min_source='-25 degC'")
ONE = ("sizing.seeds=1", "sizing.min_probability=0.5")  # the scenario's own draws alone


def stated(references: Path) -> tuple[Array, list[dict[str, str]]]:
    """Hourly profile and table of mass_curve_tradeoff.csv."""
    lines = (references / "mass_curve_tradeoff.csv").read_text(encoding="utf-8").splitlines()
    comment = "".join(line for line in lines if line.startswith("#"))
    profile = np.array(json.loads(comment[comment.index("[") : comment.index("]") + 1]))
    return profile / profile.sum(), list(csv.DictReader(line for line in lines if not line.startswith("#")))


def steady(folder: Path, references: Path, *lock_outs: str, least: str = "110 degF") -> Bench:
    """The stated profile every day alike, cold water at 10 °C, constant capacity, no loop and no loss.

    Water below `least` is short.
    """
    profile, _ = stated(references)
    pattern = folder / "stated.csv"
    rows = [f"{hour},{share!r},{share!r}" for hour, share in enumerate(profile.tolist())]
    pattern.write_text("\n".join(["hour,weekday,weekend", *rows]) + "\n")
    raw = central_air(folder)
    raw["hot_water"] |= {"pattern": str(pattern), "min_temperature": least, "month_factors": "none"}
    raw["plant"]["storage"]["heat_loss"] = "0 W/K"
    raw["plant"]["controls"] = {"lock_outs": list(lock_outs)}
    raw["sizing"] = {"peak_day": "none"}
    bench = make_bench(scenario_from(raw, folder), read_weather(CHICAGO))
    drive = bench.design.drive
    drive = drive._replace(mains=np.full_like(drive.mains, 10.0), source=np.full_like(drive.source, 5.0))
    bench = bench._replace(design=bench.design._replace(drive=drive))
    return bench._replace(day_litres=float(hot_litres(bench).sum()) / bench.design.days.size)


@pytest.fixture(scope="module")
def demo() -> Bench:
    scenario = read_scenario(DEMO, (*ALONE, *ONE)).scenario
    return make_bench(scenario, read_weather(scenario.site.weather))


def with_criterion(bench: Bench, *criterion: str, **more: Any) -> Bench:
    sizing = bench.sizing.model_copy(update={"criterion": criterion, **more})
    return bench._replace(sizing=sizing, criterion=criterion, short_volume=sizing.max_unmet_volume)
