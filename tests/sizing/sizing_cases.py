"""Plants on their design days for the tests of sizing."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import CHICAGO, ROOT, central_air
from numpy.typing import NDArray

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.scenario.reading import read_scenario, scenario_from
from hpwhsim.sizing.trials import Bench, hot_litres, make_bench
from hpwhsim.verification.shared_tables import rows

Array = NDArray[np.float64]
DEMO = ROOT / "scenarios" / "central-air.yaml"
LOAD = (
    "hot_water.daily_use_per_apartment=38 gal",
    "recirculation.loss_per_apartment=60 W",
    "plant.heat_pump.capacity=24 kW",
    "plant.storage.volume=900 gal",
)
"""More use and less loop than the worked file has, on larger modules: a load with sharp peaks."""
ALONE = ("plant.backup=null", "plant.heat_pump.min_source='-25 degC'", *LOAD)
ONE = ("sizing.seeds=1", "sizing.min_probability=0.5")  # the scenario's own draws alone


def stated() -> tuple[Array, list[dict[str, str]]]:
    """Hourly profile and table of mass_curve_tradeoff.csv."""
    profile = np.array([float(row["use"]) for row in rows("two_peak_day")])
    return profile / profile.sum(), rows("mass_curve_tradeoff")


def steady(folder: Path, *lock_outs: str, least: str = "110 degF") -> Bench:
    """The stated profile every day alike, cold water at 10 °C, constant capacity, no loop and no loss.

    Water below `least` is short.
    """
    profile, _ = stated()
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
