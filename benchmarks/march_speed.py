"""The compiled march beside a plain C loop and a pure-Python loop of the same equations, in one run.

    python benchmarks/march_speed.py

Prints milliseconds per plant-year at 12 and 60 steps per hour, the ratio of the compiled march to C (bound
1.5) and of Python to the compiled march (bound 100), how far the year's sums of the two are apart, and the
wall time and peak memory of a warm `tankyear run` (bounds 2 s and 400 MB). Exits 1 if a bound is missed.

Compiled march and C take turns, so that other work on the machine meets both alike; ratios are of the
fastest times, which other work disturbs least. The Python loop is the package's own march with the compiler
switched off, over a few whole days spread evenly over the year; its ratio is to the compiled march over the
same days.
"""

import argparse
import ctypes
import os
import pickle
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:  # imported where they are used: see `whole_process`
    from hpwhsim.plant.arrays import Drive, Hourly
    from hpwhsim.plant.assemble import Assembly

HERE = Path(__file__).resolve().parent
C_BOUND = 1.5
PYTHON_BOUND = 100.0
WALL_BOUND_S = 2.0
MEMORY_BOUND_MB = 400.0
REPEATS = 5  # plant-years of each family
FAMILY_BOUND = 2.0  # of the C loop of the air-source plant
# What the C loop has: one outdoor-air plant whose settings are the same all year.
PLANT = (
    *("step_seconds", "column", "machine", "modules", "water_side", "outlet", "rise", "return_port"),
    *("condenser_cells", "highest_inlet", "turndown", "coil", "fan_power", "pump_power"),
    *("crankcase_power", "crankcase_below", "standby_power", "start_loss", "lowest_source", "controls"),
    *("backup_mode", "backup_power", "backup_efficiency", "backup_electric", "backup_level"),
    *("backup_setpoint", "backup_dead_band", "use_temperature", "minimum_temperature", "loop_loss"),
    *("loop_return", "loop_ambient", "loop_supply", "loop_port"),
)
DRIVE = ("use", "draws", "permitted", "source", "mains", "frost_capacity", "frost_power", "frost_drawn")
LEFT_OUT = {
    "Scratch": ("tank",),
    "Controls": ("rotates", "together", "defrost_time"),
    "Hourly": (
        *("loop_heater_heat", "loop_heater_energy", "loop_tank_end", "source", "room", "supply"),
        *("module_run", "module_starts", "machine_loss", "line_heat", "line_held"),
    ),
}
SAME = 1e-9  # relative; between sums of a year by C without contraction and by the compiled march
GCC = ("gcc", "-O3", "-march=native", "-fPIC", "-shared")  # an ISO -std would switch contraction off


class Process(NamedTuple):
    """One run of the whole command."""

    wall_s: float
    cpu_s: float
    memory_mb: float


def whole_process(scenario: Path, runs: int) -> list[Process]:
    """Wall time and peak memory of `runs` warm runs of the command, after one that fills the caches.

    To be called while this process is small: the kernel counts the memory of the parent at the time of
    the fork into the peak of the child.
    """
    script = Path(sys.executable).with_name("tankyear")
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(runs + 1):
            begun = time.perf_counter()
            child = subprocess.Popen(
                [str(script), "run", str(scenario), "--out", folder], stdout=subprocess.DEVNULL
            )
            _, status, usage = os.wait4(child.pid, 0)
            child.returncode = os.waitstatus_to_exitcode(status)
            if child.returncode != 0:
                sys.exit(f"tankyear run {scenario} failed")
            wall, cpu = time.perf_counter() - begun, usage.ru_utime + usage.ru_stime
            found.append(Process(wall, cpu, usage.ru_maxrss * 1024 / 1e6))
    return found[1:]


def read(scenario: Path, steps_per_hour: int, *overrides: str) -> "Assembly":
    """The plant of `scenario`, ready to march."""
    from hpwhsim.climate.typical_year import read_weather
    from hpwhsim.plant.assemble import assemble
    from hpwhsim.scenario.reading import read_scenario

    loaded = read_scenario(scenario, [f"run.steps_per_hour={steps_per_hour}", *overrides])
    return assemble(loaded.scenario, read_weather(loaded.scenario.site.weather))


def some_days(drive: "Drive", days: int) -> "Drive":
    """Every 365/`days`-th day of a year's drive, end to end."""
    import numpy as np

    from hpwhsim.study.design_days import draws_of

    chosen = ((np.arange(days) + 0.5) * 365 // days).astype(np.int64)
    fields: dict[str, Any] = {
        name: np.ascontiguousarray(getattr(drive, name).reshape(365, -1)[chosen].ravel())
        for name in drive._fields
        if isinstance(getattr(drive, name), np.ndarray) and getattr(drive, name).size % 365 == 0
    }
    return drive._replace(**fields, draws=draws_of(drive.draws, chosen))


def compiled(assembly: "Assembly") -> "tuple[float, Hourly]":
    """Seconds of one march by the package, and what it filled."""
    from hpwhsim.plant.march import march

    start, state = pickle.loads(pickle.dumps((assembly.start, assembly.state)))  # the march fills them
    begun = time.perf_counter()
    out = march(assembly.plant, assembly.drive, state, start)
    return time.perf_counter() - begun, out


def as_struct(value: Any) -> ctypes.Structure:
    """A NamedTuple as the C struct of the same fields; arrays become pointers and their lengths follow.

    The C loop knows outdoor air alone: what belongs to other plants is left out.
    """
    import numpy as np

    lengths = {
        "PerformanceMap": {"source_c": "n_source", "water_in_c": "n_in", "water_out_c": "n_out"},
        "Drive": {"use": "steps", "permitted": "day_steps", "source": "hours"},
        "DrawTimes": {"first": "n_first"},
    }
    fields: list[tuple[str, Any]] = []
    values: list[Any] = []
    for name, item in value._asdict().items():
        if name in LEFT_OUT.get(type(value).__name__, ()):
            continue
        if isinstance(item, np.ndarray):
            assert item.flags.c_contiguous
            assert item.dtype in (np.float64, np.int64, np.bool_)
            fields.append((name, ctypes.c_void_p))
            values.append(item.ctypes.data)
        elif isinstance(item, tuple):
            inner = as_struct(item)
            fields.append((name, type(inner)))
            values.append(inner)
        else:
            whole = isinstance(item, int)
            fields.append((name, ctypes.c_long if whole else ctypes.c_double))
            values.append(item)
    for name, length in lengths.get(type(value).__name__, {}).items():
        fields.append((length, ctypes.c_long))
        values.append(getattr(value, name).size)
    made: type[ctypes.Structure] = type(type(value).__name__, (ctypes.Structure,), {"_fields_": fields})
    return made(*values)


def reduced(assembly: "Assembly") -> tuple[Any, Any]:
    """Plant and drive of an assembly as the C loop knows them."""
    from collections import namedtuple

    plant, drive = assembly.plant, assembly.drive
    settings = {
        "outlet": float(plant.outlet[0]),
        "backup_level": float(drive.backup_level[0]),
        "backup_setpoint": float(drive.backup_setpoint[0]),
        "loop_loss": float(drive.loop_loss[0]) * plant.loop_runs,
        "loop_return": float(drive.loop_return[0]),
    }
    values = {name: settings[name] if name in settings else getattr(plant, name) for name in PLANT}
    made_plant = namedtuple("Plant", PLANT)(**values)
    made_drive = namedtuple("Drive", DRIVE)(*(getattr(drive, name) for name in DRIVE))
    return made_plant, made_drive


def build(folder: Path, *options: str) -> ctypes.CDLL:
    """The C loop, compiled into `folder`."""
    library = folder / f"march{len(options)}.so"
    subprocess.run([*GCC, *options, "-o", str(library), str(HERE / "march_c.c"), "-lm"], check=True)
    return ctypes.CDLL(str(library))


def in_c(library: ctypes.CDLL, assembly: "Assembly") -> "tuple[float, Hourly]":
    """Seconds of one march by the C loop, and what it filled."""
    from hpwhsim.plant.arrays import make_hourly
    from hpwhsim.storage.layers import make_scratch

    out = make_hourly(assembly.drive.source.size, assembly.start.size)
    start, scratch = assembly.start.copy(), make_scratch(assembly.start.size)
    structs = [as_struct(value) for value in (*reduced(assembly), scratch, out)]
    sizes = list((ctypes.c_size_t * 4).in_dll(library, "struct_sizes"))
    if sizes != [ctypes.sizeof(struct) for struct in structs]:
        sys.exit("march_c.c: its structs are not those of hpwhsim; bring both to the same fields")
    plant, drive, work, filled = (ctypes.byref(struct) for struct in structs)
    column = ctypes.c_void_p(start.ctypes.data)
    begun = time.perf_counter()
    library.march(plant, drive, column, ctypes.c_long(start.size), work, filled)
    return time.perf_counter() - begun, out


def apart(a: "Hourly", b: "Hourly") -> tuple[float, str]:
    """Largest relative difference between the sums of the fields of `a` and `b`, and its field."""
    import numpy as np

    worst = (0.0, "none")
    for name in a._fields:
        if name in LEFT_OUT["Hourly"]:
            continue
        one, other = float(np.sum(getattr(a, name))), float(np.sum(getattr(b, name)))
        if not np.isfinite(one + other):  # a fast wrong answer is no result
            return np.inf, name
        if one != other:
            worst = max(worst, (abs(one - other) / max(abs(one), abs(other)), name))
    return worst


def in_python(assembly: "Assembly") -> float:
    """Seconds of the march of `assembly` with the compiler switched off."""
    with tempfile.NamedTemporaryFile(suffix=".pickle") as file:
        pickle.dump(assembly, file)
        file.flush()
        done = subprocess.run(
            [sys.executable, __file__, "--uncompiled", file.name],
            env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
            check=True,
            capture_output=True,
            text=True,
        )
    return float(done.stdout)


def line(name: str, seconds: list[float]) -> str:
    return f"  {name:32s} {1e3 * min(seconds):12.1f} {1e3 * statistics.median(seconds):12.1f}"


def verdict(text: str, *, good: bool) -> bool:
    print(f"  {text}: {'met' if good else 'MISSED'}")
    return good


def compare(
    scenario: Path, steps_per_hour: int, years: int, days: int, libraries: tuple[ctypes.CDLL, ctypes.CDLL]
) -> bool:
    """Print the times and ratios at one step length; whether the bounds are met."""
    assembly = read(scenario, steps_per_hour)
    short = assembly._replace(drive=some_days(assembly.drive, days))
    ours: list[float] = []
    short_ours: list[float] = []
    contracted: list[float] = []
    plain: list[float] = []
    runs: list[tuple[list[float], Callable[[], tuple[float, Any]]]] = [
        (ours, lambda: compiled(assembly)),
        (contracted, lambda: in_c(libraries[0], assembly)),
        (plain, lambda: in_c(libraries[1], assembly)),
        (short_ours, lambda: compiled(short)),
    ]
    results = [run()[1] for _, run in runs]  # loads what is compiled, and warms up
    for _ in range(years):
        for seconds, run in runs:
            seconds.append(run()[0])
    python = in_python(short)

    print(f"\n{steps_per_hour} steps per hour, ms per plant-year{'fastest':>19s} {'median':>12s}")
    print(line("compiled march", ours))
    print(line("C, gcc -O3 -march=native", contracted))
    print(line("C, the same, -ffp-contract=off", plain))
    print(line(f"pure Python, {days} days * 365/{days}", [python * 365 / days]))
    for name, index in (("C", 1), ("C, -ffp-contract=off", 2)):
        difference, field = apart(results[0], results[index])
        print(f"  sums of the year, {name}: apart by {difference:.1e} of {field}")
    to_c, to_python = min(ours) / min(contracted), python / min(short_ours)
    return all(
        [
            verdict(f"no more than {SAME:g} apart without contraction", good=difference <= SAME),
            verdict(f"compiled over C {to_c:.2f}, at most {C_BOUND:g}", good=to_c <= C_BOUND),
            verdict(
                f"Python over compiled {to_python:.0f}, at least {PYTHON_BOUND:g}",
                good=to_python >= PYTHON_BOUND,
            ),
        ]
    )


ON_AIR = (  # the packaged units of scenarios/packaged.yaml outdoors, where they run nearly as long
    "plant.source.room=",
    "plant.source.kind=outdoor-air",
    "plant.heat_pump.lowest_source=-30 degC",
    "plant.heat_pump.limits.pressure_ratio=15",
)


def families(air: Path, library: ctypes.CDLL) -> bool:
    """Print a march of every plant family beside the C loop of an air-source plant, and 25 ground years.

    Small packaged units run more than twice the hours of a central plant, and running is what costs: they
    stand beside the C loop of the same units on outdoor air.
    """
    from hpwhsim.study.years import march_years

    plant = read(air, 12)
    in_c(library, plant)
    in_loop = min(in_c(library, plant)[0] for _ in range(REPEATS))
    units = read(air.parent / "packaged.yaml", 12, *ON_AIR)
    of_units = min(in_c(library, units)[0] for _ in range(REPEATS))
    print(f"\nC loop: central plant {1e3 * in_loop:.0f} ms, packaged units {1e3 * of_units:.0f} ms")
    print(f"\nfamilies at 12 steps per hour{'ms':>14s} {'over C air':>12s} {'run h':>8s}")
    good = []
    for scenario in sorted(air.parent.glob("*.yaml")):
        assembly = read(scenario, 12)
        out = compiled(assembly)[1]
        seconds = min(compiled(assembly)[0] for _ in range(REPEATS))
        ratio = seconds / (of_units if scenario.stem == "packaged" else in_loop)
        hours = float(out.run_seconds.sum()) / 3600.0
        print(f"  {scenario.stem:24s} {1e3 * seconds:12.1f} {ratio:12.2f} {hours:8.0f}")
        good.append(verdict(f"{scenario.stem}: at most {FAMILY_BOUND:g}", good=ratio <= FAMILY_BOUND))
    times = []
    for _ in range(REPEATS):
        assembly = read_years(air.parent / "ground.yaml", 25)
        begun = time.perf_counter()
        march_years(assembly, 25)
        times.append(time.perf_counter() - begun)
    good.append(
        verdict(f"25 years of the ground loop in {min(times):.2f} s, at most 10 s", good=min(times) <= 10.0)
    )
    return all(good)


def read_years(scenario: Path, years: int) -> "Assembly":
    """The plant of `scenario` with room for `years` years."""
    from hpwhsim.climate.typical_year import read_weather
    from hpwhsim.plant.assemble import assemble
    from hpwhsim.scenario.reading import read_scenario

    loaded = read_scenario(scenario, [f"run.years={years}"])
    return assemble(loaded.scenario, read_weather(loaded.scenario.site.weather))


def process_report(runs: list[Process]) -> bool:
    """Print what the whole command takes; whether the bounds are met."""
    wall, cpu, memory = ([run[i] for run in runs] for i in range(3))
    print(f"\nwarm tankyear run, whole process, {len(runs)} runs{'fastest':>15s} {'median':>12s}")
    print(f"  {'wall, s':32s} {min(wall):12.2f} {statistics.median(wall):12.2f}")
    print(f"  {'processor, s':32s} {min(cpu):12.2f} {statistics.median(cpu):12.2f}")
    print(f"  {'peak memory, MB':32s} {min(memory):12.0f} {statistics.median(memory):12.0f}")
    return all(
        [
            verdict(f"wall at most {WALL_BOUND_S:g} s", good=min(wall) <= WALL_BOUND_S),
            verdict(f"memory at most {MEMORY_BOUND_MB:g} MB", good=max(memory) <= MEMORY_BOUND_MB),
        ]
    )


def machine() -> str:
    import numba

    gcc = subprocess.run(["gcc", "-dumpfullversion"], capture_output=True, text=True, check=True)
    return (
        f"{os.cpu_count()} cores {platform.machine()}, gcc {gcc.stdout.strip()}, "
        f"Python {platform.python_version()}, numba {numba.__version__}"
    )


def main() -> int:
    parser = argparse.ArgumentParser(
        description="Compiled march beside C and pure Python, and the whole command. Exits 1 if a bound "
        "is missed.",
        epilog="example: python benchmarks/march_speed.py --years 10 --python-days 2",
    )
    parser.add_argument(
        "--scenario",
        type=Path,
        default=HERE.parent / "scenarios" / "central-air.yaml",
        help="scenario file (default: scenarios/central-air.yaml)",
    )
    parser.add_argument("--years", type=int, default=20, help="plant-years timed each (default: 20)")
    parser.add_argument(
        "--python-days", type=int, default=6, help="days of the pure-Python loop (default: 6)"
    )
    parser.add_argument("--runs", type=int, default=5, help="runs of the whole command (default: 5)")
    parser.add_argument("--uncompiled", type=Path, help=argparse.SUPPRESS)  # the child of `in_python`
    arguments = parser.parse_args()
    if arguments.uncompiled:
        print(compiled(pickle.loads(arguments.uncompiled.read_bytes()))[0])
        return 0
    processes = whole_process(arguments.scenario, arguments.runs)
    print(machine())
    with tempfile.TemporaryDirectory() as folder:
        libraries = build(Path(folder)), build(Path(folder), "-ffp-contract=off")
        good = [
            compare(arguments.scenario, steps, arguments.years, arguments.python_days, libraries)
            for steps in (12, 60)
        ]
        good.append(families(arguments.scenario, libraries[0]))
    good.append(process_report(processes))
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
