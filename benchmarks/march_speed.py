"""Processor time of a plant-year, for every family, beside other ways to one.

    python benchmarks/march_speed.py

The worked scenarios of `scenarios/`, one year each. Of the demo's plant: pure Python (the package's own march
without the compiler, over some whole days), a plain C loop over layers, scipy's `solve_ivp` on its store, a
spreadsheet of 8,760 rows recalculated by LibreOffice. Then a case of a sweep, and the whole command. All take
turns; the fastest of several counts. What is not installed is said and left out. Exits 1 where a family takes
more than twice the demo.
"""

import argparse
import json
import os
import pickle
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import other_ways
from other_ways import Missing, Timed

if TYPE_CHECKING:
    from hpwhsim.plant.arrays import Drive
    from hpwhsim.plant.assemble import Assembly

HERE = Path(__file__).parent
SCENARIOS = HERE.parent / "scenarios"
DEMO = "central-air"
FAMILY_BOUND = 2.0  # times the demo
PYTHON_DAYS = 4  # whole days, spread over the year
SLOW_TURNS = 3  # of what takes seconds


def read(scenario: Path) -> "Assembly":
    """The plant of `scenario`, ready to march."""
    from hpwhsim.climate.typical_year import read_weather
    from hpwhsim.plant.assemble import assemble
    from hpwhsim.scenario.reading import read_scenario

    loaded = read_scenario(scenario)
    return assemble(loaded.scenario, read_weather(loaded.scenario.site.weather))


def some_days(drive: "Drive", days: int) -> "Drive":
    """Every 365/`days`-th day of a year's drive, end to end; for a plant on outdoor air."""
    import numpy as np

    from hpwhsim.sizing.design_days import draws_of

    chosen = ((np.arange(days) + 0.5) * 365 // days).astype(np.int64)
    fields: dict[str, Any] = {}
    for name in drive._fields:
        value = getattr(drive, name)
        if isinstance(value, np.ndarray) and len(value) % 8760 == 0:
            by_day = value.reshape(365, len(value) // 365, *value.shape[1:])[chosen]
            fields[name] = np.ascontiguousarray(by_day.reshape(-1, *value.shape[1:]))
    return drive._replace(**fields, draws=draws_of(drive.draws, chosen))


def march_ms(assembly: "Assembly") -> float:
    """Processor time of one march. [ms]"""
    from hpwhsim.plant.march import march

    start, state = pickle.loads(pickle.dumps((assembly.start, assembly.state)))  # the march fills them
    begun = time.process_time()
    march(assembly.plant, assembly.drive, state, start)
    return 1e3 * (time.process_time() - begun)


def in_python(short: "Assembly") -> Timed:
    """The march of some days with the compiler switched off, times what they are of a year."""

    def run() -> float:
        with tempfile.NamedTemporaryFile(suffix=".pickle") as file:
            pickle.dump(short, file)
            file.flush()
            done = subprocess.run(
                [sys.executable, __file__, "--uncompiled", file.name],
                env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
                check=True,
                capture_output=True,
                text=True,
            )
        return float(done.stdout) * 365 / PYTHON_DAYS

    return Timed(run, f"the package's march without the compiler, {PYTHON_DAYS} days times 365/{PYTHON_DAYS}")


def command_ms(folder: Path, *words: str) -> float:
    """Processor time of one run of the command in a process of its own. [ms]"""
    code = "import sys; from hpwhsim.cli.main import main; sys.exit(main())"
    env = {**os.environ, "PYTHONPATH": str(HERE.parent)}
    env.pop("PYTHONDONTWRITEBYTECODE", None)  # warm: nothing is left to be compiled, modules neither
    child = subprocess.Popen(
        [sys.executable, "-c", code, "run", str(SCENARIOS / f"{DEMO}.yaml"), *words],
        stdout=subprocess.DEVNULL,
        cwd=folder,
        env=env,
    )
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        sys.exit(f"tankyear run {DEMO} failed")
    return 1e3 * (usage.ru_utime + usage.ru_stime)


def sweep_ms(values: int) -> float:
    """Processor time of a case of a sweep over sizes of the demo's store, checked and marched. [ms]"""
    from hpwhsim.studies import sweep

    litres = ",".join(f"{3000 + 50 * k} L" for k in range(values))
    begun = time.process_time()
    plan = sweep.plan(SCENARIOS / f"{DEMO}.yaml", [f"plant.storage.volume={litres}"])
    for case in plan.cases:
        sweep.check(plan, case)
    sweep.gather(plan, [sweep.run(plan, case) for case in plan.cases])
    return 1e3 * (time.process_time() - begun) / values


def fastest(runs: dict[str, Callable[[], float]], turns: int) -> dict[str, float]:
    """The least of each over `turns` rounds in which all take their turn."""
    found: dict[str, float] = {}
    for _ in range(turns):
        for name, run in runs.items():
            found[name] = min(found.get(name, float("inf")), run())
    return found


def ways(demo: "Assembly", folder: Path) -> dict[str, Timed | str]:
    """The other ways; a text says why one is left out."""
    makers: dict[str, Callable[[], Timed]] = {
        "pure Python": lambda: in_python(demo._replace(drive=some_days(demo.drive, PYTHON_DAYS))),
        "C loop over layers": lambda: other_ways.in_c(demo, folder),
        "scipy solve_ivp": lambda: other_ways.by_solver(demo),
        "spreadsheet": lambda: other_ways.by_spreadsheet(demo, folder),
    }
    found: dict[str, Timed | str] = {}
    for name, make in makers.items():
        try:
            found[name] = make()
        except Missing as error:
            found[name] = str(error)
    return found


def machine() -> dict[str, object]:
    """What the figures were taken on; neither its name nor its folders."""
    model = platform.processor() or platform.machine()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.is_file():
        names = [line for line in cpuinfo.read_text().splitlines() if line.startswith("model name")]
        model = names[0].partition(":")[2].strip() if names else model
    return {
        "processor": model,
        "cores": os.cpu_count(),
        "system": f"{platform.system()} {platform.machine()}",
        "python": platform.python_version(),
        **{name: version(name) for name in ("numba", "numpy", "scipy")},
        "gcc": other_ways.version("gcc", "--version"),
        "libreoffice": other_ways.version("soffice", "--version"),
        "load_average_at_start": round(os.getloadavg()[0], 1),
    }


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--turns", type=int, default=7, help="rounds of marches and C (default: 7)")
    parser.add_argument(
        "--out",
        type=Path,
        default=HERE / "results" / "march_speed.json",
        help="where the figures are kept (default: benchmarks/results/march_speed.json)",
    )
    parser.add_argument("--uncompiled", type=Path, help=argparse.SUPPRESS)  # the child of `in_python`
    arguments = parser.parse_args()
    if arguments.uncompiled:
        print(march_ms(pickle.loads(arguments.uncompiled.read_bytes())))
        return 0
    described = machine()
    plants = {path.stem: read(path) for path in sorted(SCENARIOS.glob("*.yaml"))}
    demo = plants[DEMO]
    short = demo._replace(drive=some_days(demo.drive, PYTHON_DAYS))
    for plant in (*plants.values(), short):
        march_ms(plant)  # compiles, or loads what was compiled
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        other = ways(demo, folder)
        timed = {way: found for way, found in other.items() if isinstance(found, Timed)}
        quick: dict[str, Callable[[], float]] = {
            name: lambda plant=plant: march_ms(plant) for name, plant in plants.items()
        }
        quick["days"] = lambda: march_ms(short)
        c_loop = "C loop over layers"
        quick |= {way: found.run for way, found in timed.items() if way == c_loop}
        found = fastest(quick, arguments.turns)
        slow = {way: of.run for way, of in timed.items() if way != c_loop}
        slow["a case of a sweep"] = lambda: sweep_ms(8)
        slow["run --json"] = lambda: command_ms(folder, "--json")
        slow["run"] = lambda: command_ms(folder, "--out", str(folder / "out"))
        command_ms(folder, "--json")
        sweep_ms(1)
        found |= fastest(slow, SLOW_TURNS)
    over = {name: found[name] / found[DEMO] for name in plants}
    record: dict[str, Any] = {
        "what": "milliseconds of processor time, the fastest of several that took turns",
        "machine": described,
        "families": {name: round(found[name], 1) for name in plants},
        "other_ways": {
            way: {
                "ms": round(found[way], 1),
                "over_demo": round(found[way] / found[DEMO], 1),
                "note": of.note,
            }
            if isinstance(of, Timed)
            else {"left_out": of}
            for way, of in other.items()
        },
        "a_case_of_a_sweep": round(found["a case of a sweep"], 1),
        "command": {name: round(found[name], 1) for name in ("run --json", "run")},
    }
    if "pure Python" in timed:
        record["python_over_compiled"] = round(
            found["pure Python"] * PYTHON_DAYS / 365 / found["days"], 1
        )  # over the same days
    arguments.out.parent.mkdir(parents=True, exist_ok=True)
    arguments.out.write_text(json.dumps(record, indent=2) + "\n", encoding="utf-8")
    print("\n".join(f"{name}: {value}" for name, value in described.items()))
    print(f"\n{'ms of processor time per plant-year':44s}{'ms':>12s}{'over demo':>12s}")
    for family in plants:
        print(f"  {family:42s}{found[family]:12.1f}{over[family]:12.2f}")
    for way, of in other.items():
        if isinstance(of, Timed):
            print(f"  {way:42s}{found[way]:12.1f}{found[way] / found[DEMO]:12.2f}  {of.note}")
        else:
            print(f"  {way:42s}{'left out':>12s}  {of}")
    if "pure Python" in timed:
        print(f"pure Python over compiled, the same days: {record['python_over_compiled']:,.0f}")
    print(f"\na case of a sweep (demo and its baseline): {found['a case of a sweep']:.0f} ms")
    print(
        f"tankyear run --json, whole process: {found['run --json']:.0f} ms; with files {found['run']:.0f} ms"
    )
    slow_ones = [f"{name} {ratio:.2f}" for name, ratio in over.items() if ratio > FAMILY_BOUND]
    print(f"families above {FAMILY_BOUND:g} times the demo: {', '.join(slow_ones) or 'none'}")
    return 1 if slow_ones else 0


if __name__ == "__main__":
    sys.exit(main())
