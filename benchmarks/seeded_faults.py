"""Whether the tests see a fault: one in a copy of the package, then the tests that are to see it.

A fault of `faults.toml` is a text of a file of the package, found there once, another in its place, and the
tests that should fail. `python benchmarks/seeded_faults.py` tries all, or those that are named, one after
the other, and keeps what came of it in `results/seeded_faults.csv`; the working copy stays as it is. A test
that fails has to pass without the fault. Tests of stored records and of printed figures are no use here
(`is_stored`), and none is named. Exits 1 where more than `MOST_MISSED` are missed.
"""

import argparse
import csv
import hashlib
import importlib
import json
import multiprocessing
import os
import shutil
import sys
import time
import tomllib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import TYPE_CHECKING, NamedTuple, cast

if TYPE_CHECKING:
    import pytest

ROOT = Path(__file__).resolve().parents[1]
LIST = ROOT / "benchmarks" / "faults.toml"
RESULTS = ROOT / "benchmarks" / "results" / "seeded_faults.csv"
WORKSHOP = ROOT / "out" / "faults"  # in one place: the compiler's cache knows files by their path
COPIED = ("hpwhsim", "tests", "benchmarks", "docs", "scenarios", "shared", "weather")
SINGLE = ("pyproject.toml", "README.md", "CHANGELOG.md", "DEVELOPERS.md", "Makefile", "setup.py")
PASSING = ("__pycache__", ".hypothesis")  # folders that neither go to the copy nor leave it
# Loaded once, before a process for each fault branches off.
PRELOADED = (
    *("pytest", "hypothesis", "numba", "pandas", "xarray", "pydantic", "jinja2", "yaml", "CoolProp", "pint"),
    *("scipy.stats", "scipy.interpolate", "scipy.optimize", "scipy.io", "matplotlib.figure", "tqdm"),
)
STORED = ("tests/docs", "tests/whole/test_readme.py")  # lines of the tutorials and of the front page
TEST_KINDS = ("published", "independent", "law", "contract")
KINDS = ("sign", "shift in time", "swapped", "constant", "missing term", "formula", "limit", "wrong name")
MOST_MISSED = 5
LONGEST = 900.0  # seconds that the tests of a fault may take


class Fault(NamedTuple):
    """One wrong line."""

    id: str
    package: str
    kind: str  # one of KINDS
    file: str  # below hpwhsim/
    right: str
    wrong: str
    tests: tuple[str, ...]  # files or node ids
    plain: bool = False  # whether kernels run as Python

    @property
    def digest(self) -> str:
        """Short hash of what is wrong and of who should see it: a result is of this alone."""
        return hashlib.sha256(repr(self).encode()).hexdigest()[:8]


class Outcome(NamedTuple):
    """What came of a fault."""

    id: str
    digest: str
    verdict: str  # caught | missed
    kind: str  # of the test that failed first; "stop" where no test could begin or end
    test: str


def faults() -> list[Fault]:
    """All of the list, in its order."""
    rows = tomllib.loads(LIST.read_text(encoding="utf-8"))["fault"]
    return [Fault(**row | {"tests": tuple(row["tests"])}) for row in rows]


def outcomes() -> dict[str, Outcome]:
    """What is kept of all faults that were tried, by id."""
    if not RESULTS.is_file():
        return {}
    with RESULTS.open(encoding="utf-8", newline="") as stream:
        return {row["id"]: Outcome(**row) for row in csv.DictReader(stream)}


def keep(found: dict[str, Outcome]) -> None:
    """Write what came of each fault, in the order of the list."""
    with RESULTS.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(Outcome._fields)
        writer.writerows(found[fault.id] for fault in faults() if fault.id in found)


def is_stored(test: str) -> bool:
    """Whether a test holds what the program itself stored or printed before."""
    return test.startswith(STORED)


def text_of(fault: Fault) -> str:
    """Text of the fault's file, which holds the right text once.

    Raises
    ------
    ValueError
        If it does not.
    """
    text = (ROOT / "hpwhsim" / fault.file).read_text(encoding="utf-8")
    if (times := text.count(fault.right)) != 1:
        raise ValueError(f"{fault.id}: {fault.file}: {fault.right!r} stands there {times} times")
    return text


def make_copy() -> Path:
    """Copy of all that the tests read, as it is now; what was compiled of it before stays."""
    copy = WORKSHOP / "copy"
    for name in COPIED:
        ignored = shutil.ignore_patterns(*PASSING)
        shutil.copytree(ROOT / name, copy / name, ignore=ignored, dirs_exist_ok=True)
        for path in (copy / name).rglob("*"):
            where = path.relative_to(copy)
            if path.is_file() and not set(PASSING) & set(where.parts) and not (ROOT / where).exists():
                path.unlink()
    for name in SINGLE:
        shutil.copy2(ROOT / name, copy)
    beside = WORKSHOP / "shared"
    if not beside.exists() and (ROOT.parent / "shared").is_dir():
        beside.symlink_to(ROOT.parent / "shared")
    return copy


@contextmanager
def seeded(copy: Path, fault: Fault) -> Iterator[None]:
    """The fault stands in the copy; afterwards it is gone, with the time of its file."""
    path = copy / "hpwhsim" / fault.file
    before, text = path.stat(), text_of(fault)

    def write(new: str) -> None:
        path.write_text(new, encoding="utf-8")
        for old in path.parent.glob(f"__pycache__/{path.stem}.*"):
            old.unlink()

    write(text.replace(fault.right, fault.wrong))
    try:
        yield
    finally:
        write(text)
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


class FirstFailure:
    """Plugin of pytest: kind and name of the first test that fails, as JSON in a file."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def pytest_sessionstart(self) -> None:
        """The first example that fails will do: looking for the smallest takes minutes."""
        from hypothesis import Phase, settings

        asked = settings.get_profile("same")
        settings.register_profile("first", asked, phases=(Phase.explicit, Phase.generate))
        settings.load_profile("first")

    def pytest_runtest_logreport(self, report: "pytest.TestReport") -> None:
        """Write the first failure, of a test or of what it is given."""
        if report.failed and not self.path.exists():
            kind = next((kind for kind in TEST_KINDS if kind in report.keywords), "")
            self.path.write_text(json.dumps([kind, report.nodeid]), encoding="utf-8")

    def pytest_collectreport(self, report: "pytest.CollectReport") -> None:
        """A module of tests that cannot be imported is a stop."""
        if report.failed and not self.path.exists():
            self.path.write_text(json.dumps(["stop", report.nodeid]), encoding="utf-8")


def session(copy: Path, tests: tuple[str, ...], plain: bool, cache: Path, report: Path) -> None:
    """Run tests of the copy, in a process of its own."""
    import numba
    import pytest

    vars(numba.config)["DISABLE_JIT"] = int(plain)
    os.chdir(copy)
    paths = [str(copy), str(copy / "benchmarks")]
    sys.path[:0] = paths
    os.environ |= {
        "PYTHONPATH": os.pathsep.join(paths),
        "XDG_CACHE_HOME": str(cache),
        "NUMBA_DISABLE_JIT": "1" if plain else "0",
    }
    # tests keep years for each other, and load all that marches for it: one selection gains nothing by that
    nothing = SimpleNamespace(MARCH=None, kept=lambda *_: None, march_by=lambda *_: None)
    sys.modules["years_once"] = cast(ModuleType, nothing)
    with (WORKSHOP / "pytest.log").open("w") as log:
        for stream in (1, 2):
            os.dup2(log.fileno(), stream)
        which = "not long and not year" if plain else "not long"
        argv = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-m", which, *tests]
        code = pytest.main(argv, plugins=[FirstFailure(report)])
        sys.stdout.flush()
    os._exit(int(code))


def first_failure(copy: Path, tests: tuple[str, ...], plain: bool, cache: Path) -> tuple[str, str]:
    """Kind and name of the first test that fails in the copy; two empty texts where all pass."""
    report = WORKSHOP / "first_failure.json"
    report.unlink(missing_ok=True)
    run = multiprocessing.get_context("fork").Process(
        target=session, args=(copy, tests, plain, cache, report)
    )
    run.start()
    run.join(LONGEST)
    if run.is_alive():
        run.kill()
        run.join()
        return "stop", f"no end within {LONGEST:.0f} s"
    if report.exists():
        kind, test = json.loads(report.read_text(encoding="utf-8"))
        return kind, test
    if run.exitcode == 0:
        return "", ""
    log = (WORKSHOP / "pytest.log").read_text(encoding="utf-8", errors="replace")
    raise ValueError(f"{' '.join(tests)}: pytest gives {run.exitcode}: {log[-800:]}")


def tried(copy: Path, fault: Fault) -> Outcome:
    """What the tests of the fault say with it; the cache that it fills is thrown away."""
    warm, own = WORKSHOP / "cache", WORKSHOP / "cache-of-fault"
    shutil.rmtree(own, ignore_errors=True)
    shutil.copytree(warm, own, copy_function=os.link)  # files of the cache are replaced, never written to
    with seeded(copy, fault):
        kind, test = first_failure(copy, fault.tests, fault.plain, own)
    return Outcome(fault.id, fault.digest, "caught" if kind else "missed", kind, test)


def failing_anyway(copy: Path, of: Iterable[Fault]) -> Iterator[str]:
    """Tests that saw one of these faults and fail in the sound copy too; all are run together."""
    kept = outcomes()
    for plain in (False, True):
        seen = [kept[fault.id] for fault in of if fault.plain == plain and fault.id in kept]
        tests = dict.fromkeys(one.test for one in seen if one.verdict == "caught" and one.kind != "stop")
        while tests:
            _, test = first_failure(copy, tuple(tests), plain, WORKSHOP / "cache")
            if not test:
                break
            del tests[test]
            yield test


def chosen(ids: list[str], packages: list[str], stale: bool) -> list[Fault]:
    """Faults that are to be tried: all, or what is named."""
    kept = outcomes()
    return [
        fault
        for fault in faults()
        if (not ids or fault.id in ids)
        and (not packages or fault.package in packages)
        and not (stale and fault.id in kept and kept[fault.id].digest == fault.digest)
    ]


def main() -> int:
    """Try faults and keep what came of them; 1 where more are missed than may be."""
    parser = argparse.ArgumentParser(description="Faults in a copy, and the tests that see them.")
    parser.add_argument("ids", nargs="*", help="ids of faults; none: all")
    parser.add_argument("--package", action="append", default=[], help="faults of this package alone")
    parser.add_argument("--stale", action="store_true", help="those alone whose text or tests have changed")
    given = parser.parse_args()
    for name in PRELOADED:
        importlib.import_module(name)
    (WORKSHOP / "cache").mkdir(parents=True, exist_ok=True)
    copy, asked = make_copy(), chosen(given.ids, given.package, given.stale)
    for fault in asked:
        began = time.monotonic()
        found = tried(copy, fault)
        keep(outcomes() | {fault.id: found})
        took = time.monotonic() - began
        print(f"{fault.id}: {found.verdict} {found.kind} {found.test} ({took:.0f} s)", flush=True)
    for test in failing_anyway(copy, asked):
        print(f"{test} fails without a fault too: what it saw does not count", flush=True)
        keep({name: outcome for name, outcome in outcomes().items() if outcome.test != test})
    known = outcomes()
    missed = [name for name, outcome in known.items() if outcome.verdict == "missed"]
    print(f"{len(known)} tried, {len(missed)} missed: {', '.join(missed)}")
    return 1 if len(missed) > MOST_MISSED else 0


if __name__ == "__main__":
    sys.exit(main())
