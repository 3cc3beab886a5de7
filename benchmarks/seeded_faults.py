"""Whether `tankyear verify` sees a fault: one in a copy of the package, then the checks that miss.

A fault is a text of a file, found once, and another in its place. `python benchmarks/seeded_faults.py` tries
all and prints a table; the working copy stays as it is. Known misses do not count.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

from hpwhsim.verification.all_checks import known_misses

ROOT = Path(__file__).resolve().parents[1]


class Fault(NamedTuple):
    """One wrong line."""

    package: str  # whose checks are to see it
    kind: str
    file: str  # below hpwhsim/
    right: str
    wrong: str


FAULTS = (
    Fault("climate", "sign", "climate/mains.py", "+ LAG_PER_K * warmer", "- LAG_PER_K * warmer"),
    Fault("climate", "swapped", "climate/window_sun.py", '"east": 90.0', '"east": 270.0'),
    Fault(
        "climate",
        "hour shift",
        "climate/mains.py",
        "np.asarray(day, dtype=np.float64) - 15.0",
        "np.asarray(day, dtype=np.float64) - 16.0",
    ),
    Fault("tables", "constant", "tables/demand_by_building_size.csv", "73.0,40.0", "73.0,41.0"),
    Fault(
        "io",
        "constant",
        "io/unit_words.py",
        '"thousand_btu_per_hour": ("1000 *',
        '"thousand_btu_per_hour": ("1e6 *',
    ),
    Fault("pipe_friction", "constant", "pipe_friction.py", "0.27 * rough", "0.37 * rough"),
    Fault(
        "demand",
        "missing term",
        "demand/loop_pipes.py",
        "(through + 1.0 / (2.0 * math.pi * radius * FILM))",
        "through",
    ),
    Fault(
        "demand",
        "hour shift",
        "demand/patterns.py",
        "weekday / weekday.sum()",
        "np.roll(weekday, 1) / weekday.sum()",
    ),
    Fault("heatpump", "missing term", "heatpump/states.py", "float(dew) + superheat_k", "float(dew) + 0.01"),
    Fault(
        "heatpump",
        "formula",
        "heatpump/anchor.py",
        "(t_out - t_in) / math.log(t_out / t_in) if",
        "0.5 * (t_in + t_out) if",
    ),
    Fault(
        "source",
        "hour shift",
        "source/ground_loop.py",
        "older = field.step[age]",
        "older = field.step[age - 1]",
    ),
    Fault("source", "missing term", "source/coil.py", "flow * (1.0 - bypass)", "flow"),
    Fault("source", "missing term", "source/drains.py", "added = heat_left * np", "added = np"),
    Fault(
        "storage",
        "constant",
        "storage/still.py",
        "0.5 * (height[k] + height[k + 1])",
        "(height[k] + height[k + 1])",
    ),
    Fault("storage", "missing term", "storage/still.py", "lost += volume[k] * fall", "lost += fall"),
    Fault(
        "account",
        "year shift",
        "account/economics.py",
        "** np.arange(flow.size)))",
        "** np.arange(1, flow.size + 1)))",
    ),
    Fault("account", "missing term", "account/tariff.py", "sum(axis=1) * 0.25", "mean(axis=1) * 0.25"),
    Fault("plant", "hour shift", "plant/decide.py", "drive.mains[index]", "drive.mains[index - 12]"),
    Fault("sizing", "constant", "sizing/mass_curve.py", "REPEATS = 2", "REPEATS = 1"),
    Fault("federal_test", "constant", "federal_test/draw_bench.py", "(58 - 32)", "(60 - 32)"),
)


def missed(fault: Fault) -> list[str]:
    """Checks of the fault's package that miss with it and hit without.

    Raises
    ------
    ValueError
        If the text of the fault does not stand in its file once.
    """
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for name in ("hpwhsim", "shared"):
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        path = copy / "hpwhsim" / fault.file
        text = path.read_text(encoding="utf-8")
        if text.count(fault.right) != 1:
            raise ValueError(f"{fault.file}: {fault.right!r} stands there {text.count(fault.right)} times")
        path.write_text(text.replace(fault.right, fault.wrong), encoding="utf-8")
        asked = [sys.executable, "-m", "hpwhsim", "verify", "--json", "--package", fault.package]
        run = subprocess.run(
            asked,
            cwd=copy,
            env=os.environ | {"PYTHONPATH": folder},
            capture_output=True,
            text=True,
            check=False,
        )
    if run.returncode not in (0, 1):  # the fault is seen, by a stop
        return [f"(stops: {run.stderr.strip().splitlines()[-1][:60]})"]
    checks = json.loads(run.stdout)["checks"]
    return [c["name"] for c in checks if c["verdict"] == "miss" and c["name"] not in known_misses()]


def main() -> int:
    """Try every fault; 1 where one is not seen."""
    parser = argparse.ArgumentParser(description="Faults in copies, and the checks that see them.")
    parser.add_argument("--package", help="only faults that the checks of this package are to see")
    only = parser.parse_args().package
    unseen = 0
    print("| package | fault | where | misses | first of them |\n|---|---|---|---|---|")
    for fault in (fault for fault in FAULTS if only in (None, fault.package)):
        found = missed(fault)
        unseen += not found
        first = f"`{found[0]}`" if found else "**not seen**"
        print(
            f"| {fault.package} | {fault.kind} | `{fault.file}`: `{fault.wrong}` | {len(found)} | {first} |",
            flush=True,
        )
    return 1 if unseen else 0


if __name__ == "__main__":
    sys.exit(main())
