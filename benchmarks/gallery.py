"""Page, drawings and sequence of operation of every worked scenario and of random plants, to be looked at.

Writes a folder for each plant with page.html, schematic.svg, one_line.svg, operation.html and .docx; with
``--render`` each also as PNG, 1,280 px wide, by headless Chromium. A random plant is invented from its seed
and stands beside its pictures as a scenario of its own.
"""

import argparse
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from hpwhsim.charts.year import draw_plant
from hpwhsim.errors import InputError
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.result import Result
from hpwhsim.operation.write import write_operation
from hpwhsim.page.page import page
from hpwhsim.results.files import PAGE, write_files
from hpwhsim.scenario.reading import read_scenario

ROOT = Path(__file__).resolve().parent.parent
SCENARIOS, WEATHER = ROOT / "scenarios", sorted((ROOT / "weather").glob("*.gz"))
REFRIGERANTS = ("R-744", "R-290", "R-454B", "R-134a", "R-513A")
HEAT_PUMPS = ("central-air", "banked-split", "ground", "wastewater", "packaged", "split")
FIRED = {"gas-tank": "gas", "gas-boiler": "gas", "resistance": "resistance"}
BARE = 1.2  # heat that a family without a heat pump needs, over the design heat of the others
HIGH = 14_000  # px, of a picture of a page: the longest one


def random_scenario(seed: int) -> dict[str, Any]:
    """An invented plant; not every one can be built."""
    draw = np.random.default_rng(seed)

    def one(*values: Any) -> Any:
        return values[int(draw.integers(len(values)))]

    families = (*HEAT_PUMPS, *HEAT_PUMPS, *FIRED)
    family = families[seed % len(families)]
    homes = {"packaged": one(1, 2, 6), "split": 1, "banked-split": one(6, 12)}.get(family, one(12, 40, 150))
    tanks = 1 if family == "split" else one(1, 2, 3, 5)
    power = 0.45 * homes + 2.0  # kW, of all modules
    us = one(True, False)
    volume = 130.0 * homes * one(0.7, 1.0, 1.5) + 120.0  # L
    setpoint = one(60, 62, 65)
    raw: dict[str, Any] = {
        "title": f"Random plant {seed}, {homes} invented apartments, {family}",
        "site": {"weather": str(one(*WEATHER))},
        "building": {"apartments": homes, "people_per_apartment": one(1.8, 2.5, 3.0)},
        "hot_water": {"daily_use_per_apartment": one("95 L", "30 gal"), "seed": seed},
        "plant": {
            "family": family,
            "storage": {
                "volume": f"{volume / 3.785:.0f} gal" if us else f"{volume:.0f} L",
                "tanks": tanks,
                "setpoint": f"{1.8 * setpoint + 32:.0f} degF" if us else f"{setpoint} degC",
            },
        },
        "run": {"steps_per_hour": 12},
    }
    plant = raw["plant"]
    if tanks > 1 and family not in ("packaged", *FIRED):
        plant["storage"]["arrangement"] = one("parallel", "series")
    if family in FIRED:
        plant["backup"] = {"kind": FIRED[family], "power": f"{BARE * power:.3g} kW"}
    else:
        plant["heat_pump"] = _heat_pump(family, tanks, power, one)
        _source(raw, family, homes, one)
        backup = one("none", "resistance", "gas") if family != "packaged" else one("none", "resistance")
        if backup != "none":
            mode = one("parallel", "series") if family not in ("packaged", "split") else "parallel"
            plant["backup"] = {"kind": backup, "power": f"{power:.3g} kW", "mode": mode}
        plant["controls"] = {"dead_band": one("6 K", "10 K")}
        if one(True, False):
            plant["controls"] |= {"lock_outs": ["17:00-20:00"], "min_run": "10 min"}
    if homes > 6:
        raw["recirculation"] = {"loss_per_apartment": "80 W", "return_temperature": "50 degC"}
        if one(True, False) and plant.get("backup", {}).get("mode") != "series":
            tank = {"volume": "450 L", "setpoint": "54 degC", "power": f"{0.15 * homes + 2.0:.3g} kW"}
            raw["recirculation"] |= {"served_by": "loop-tank", "loop_tank": tank}
        else:
            raw["recirculation"]["return_height"] = one(0.3, 0.8)
    if one(True, False):
        raw["hot_water"]["tempering_valve"] = "54 degC"
    if one(True, False):
        raw["site"]["checks"] = {
            "voltage": one("208 V", "240 V"),
            "phases": 1 if homes < 6 else 3,
            "building_voltage": one("208 V", "480 V"),
            "available_current": "150 A",
        }
    if one(True, False):
        raw["carbon"] = {"grid": one("RFCW 2023", "0.25 kg/kWh"), "service_years": 15}
        raw["tariff"] = {"electricity": "0.19 USD/kWh", "fuel": "1.3 USD/therm"}
        raw["baseline"] = str(SCENARIOS / "gas-boiler.yaml")
    return raw


def _heat_pump(family: str, tanks: int, power: float, one: Any) -> dict[str, Any]:
    """The heat pump of a random plant, with its lines."""
    modules = {"packaged": tanks, "split": 1, "banked-split": one(2, 4)}.get(family, one(1, 2, 5))
    found: dict[str, Any] = {
        "refrigerant": one(*REFRIGERANTS),
        "modules": modules,
        "capacity": f"{power / modules:.3g} kW",
        "cop": one(3.2, 3.8, 4.3),
        "rated_at": {"source": "10 degC", "water_in": "12 degC", "water_out": "55 degC"},
        "min_source": one("-15 degC", "-5 degC") if family not in ("ground", "wastewater") else "0 degC",
    }
    if family == "packaged":
        found |= {"refrigerant": one("R-134a", "R-513A", "R-290"), "condenser": "wrap-around", "cop": 3.6}
        found["rated_at"] = {"source": "19 degC", "water_in": "40 degC", "water_out": "41 degC"}
    elif family == "banked-split":
        found |= {"condenser": one("single-pass", "multi-pass"), "lines": {"length": "25 m", "rise": "8 m"}}
        found["refrigerant"] = one("R-454B", "R-513A", "R-134a")
    elif family == "split":
        found |= one(
            {"water_lines": {"length": "9 m", "protection": one("trace", "glycol")}},
            {"condenser": "wrap-around", "lines": {"length": "6 m", "rise": "2 m"}},
        )
    else:
        found["condenser"] = one("single-pass", "multi-pass")
    if found.get("condenser") == "multi-pass":
        found["rated_at"] = {"source": "10 degC", "water_in": "45 degC", "water_out": "50 degC"}
    return found


def _source(raw: dict[str, Any], family: str, homes: int, one: Any) -> None:
    """What the heat pump of a random plant draws on, where that is not outdoor air."""
    if family == "packaged":
        kind = one("cellar", "garage", "apartment")
        raw["plant"]["source"] = {"kind": "room", "room": {"kind": kind, "floor_area": "60 m2"}}
        if one(True, False):
            raw["plant"]["source"] = {"kind": "outdoor-air"}
    elif family == "ground":
        field = {"rows": one(1, 2), "columns": max(1, homes // 4), "depth": "110 m", "spacing": "6 m"}
        field["ground_conductivity"] = one("1.6 W/m/K", "2.4 W/m/K")
        raw["plant"]["source"] = {"kind": "ground-loop", "ground_loop": field}
    elif family == "wastewater":
        block = one({"well_volume": "5000 L"}, {"well_volume": "5000 L", "clean_loop": True})
        raw["plant"]["source"] = {"kind": "wastewater", "wastewater": block}


def random_plants(out: Path, count: int) -> Iterator[tuple[str, Result]]:
    """The first plants by seed that can be built, each with its year."""
    seed = made = 0
    while made < count:
        seed += 1
        path = out / f"random-{seed}" / "scenario.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(yaml.safe_dump(random_scenario(seed), sort_keys=False))
        try:
            result = evaluate(read_scenario(path))
        except InputError as refused:
            print(f"random-{seed}: {refused}")
            shutil.rmtree(path.parent)
            continue
        made += 1
        yield path.parent.name, result


def worked(only: str) -> Iterator[tuple[str, Result]]:
    """Every worked scenario with its year, or those whose name holds a text."""
    for path in sorted(one for one in SCENARIOS.glob("*.yaml") if only in one.stem):
        yield path.stem, evaluate(read_scenario(path))


def rendered(path: Path) -> None:
    """A file as the browser shows it, beside it as PNG."""
    picture = path.with_suffix(path.suffix + ".png")
    size = f"1280,{HIGH if path.suffix == '.html' else 900}"
    chromium = ("chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars")
    subprocess.run(
        [*chromium, f"--window-size={size}", f"--screenshot={picture}", path.resolve().as_uri()],
        check=True,
        capture_output=True,
    )


def main() -> None:
    """Write what was asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, default=Path("out/gallery"))
    parser.add_argument("--random", type=int, default=10, help="random plants (default: 10)")
    parser.add_argument("--only", default="", help="worked scenarios whose name holds this")
    parser.add_argument("--render", action="store_true", help="also write PNG, by headless Chromium")
    args = parser.parse_args()
    for plants in (worked(args.only), random_plants(args.out, args.random)):
        for name, result in plants:
            folder = args.out / name
            drawn = draw_plant(result.plant.year, result.loaded.scenario)
            files = write_files(folder, {**drawn, PAGE: page(result)})
            files += write_operation(result, folder)
            print(name, result.loaded.scenario.title)
            for path in files if args.render else ():
                if path.suffix in (".html", ".svg"):
                    rendered(path)


if __name__ == "__main__":
    main()
