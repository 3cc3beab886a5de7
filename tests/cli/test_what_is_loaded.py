"""What a command loads before it answers: heavy libraries only where they are used. Nothing here is timed."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.contract

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "resistance.yaml"
HEAVY = ("numpy", "pydantic", "yaml", "numba", "pandas", "xarray", "scipy", "pint", "pvlib", "CoolProp")
COMMAND = """
import contextlib, io, sys
from hpwhsim.cli.main import main
out, said = io.StringIO(), io.StringIO()
with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
    code = main(sys.argv[1:])
print(code, *sorted(set(sys.modules) & {modules!r}))
"""


def loaded_by(*words: str) -> tuple[int, set[str]]:
    """Exit code of a command in a process of its own, and which of `HEAVY` it loaded."""
    code = COMMAND.replace("{modules!r}", repr(set(HEAVY)))
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True)
    exit_code, *modules = done.stdout.split()
    return int(exit_code), set(modules)


def test_the_command_itself_is_light() -> None:
    """What a verb needs is loaded by the verb."""
    code = f"import sys, hpwhsim.cli.main; print(sorted(set(sys.modules) & {set(HEAVY)!r}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_new_and_keys_load_no_more_than_they_need(tmp_path: Path) -> None:
    """A scenario is written from text; the keys are read from the models."""
    assert loaded_by("new", str(tmp_path / "one.yaml")) == (0, set())
    code, modules = loaded_by("keys", "plant.storage")
    assert code == 0
    assert modules <= {"pydantic", "yaml"}


@pytest.mark.parametrize("verb", ["run", "check", "rate", "size", "bound", "dossier"])
def test_a_missing_file_is_said_without_the_compiler(verb: str) -> None:
    code, modules = loaded_by(verb, str(DEMO), "--weather", "nowhere.epw")
    assert code == 2
    assert not modules & {"numba", "scipy", "pandas", "xarray"}


@pytest.mark.slow
@pytest.mark.year
def test_a_year_on_the_screen_loads_neither_pandas_nor_xarray(tmp_path: Path) -> None:
    """Nor pint, nor pvlib, once a first run has kept units and weather; with files it loads xarray."""
    assert loaded_by("run", str(DEMO), "--json")[0] == 0
    code, modules = loaded_by("run", str(DEMO), "--json")
    assert code == 0
    assert not modules & {"pandas", "xarray", "pint", "pvlib", "CoolProp"}
    code, modules = loaded_by("run", str(DEMO), "--out", str(tmp_path))
    assert code == 0
    assert "xarray" in modules


FIRST = """
import sys
from hpwhsim.kernel import announced, kernel_entry

@kernel_entry
def double(x):
    return 2.0 * x

announced(double, "the march for nothing")
print(double(1.5), double(2.5))
"""


@pytest.mark.slow
@pytest.mark.year
def test_what_is_compiled_is_said_once_and_not_on_standard_output(tmp_path: Path) -> None:
    """A first process compiles, and says so on standard error; a second finds the code, and says nothing."""
    script = tmp_path / "first.py"
    script.write_text(FIRST)
    env = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "cache"), "PYTHONPATH": str(ROOT)}
    env.pop("NUMBA_DISABLE_JIT", None)
    for expected in ("compiling the march for nothing, once on this machine ...\n", ""):
        done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, env=env)
        assert (done.stdout, done.stderr) == ("3.0 5.0\n", expected)


def test_the_march_says_which_source_it_is_compiled_for(monkeypatch: pytest.MonkeyPatch) -> None:
    from hpwhsim.plant import first_march
    from hpwhsim.plant.arrays import SourceKind

    said: list[str] = []
    monkeypatch.setattr(first_march, "announced", lambda _, what: said.append(what))
    for kind in (SourceKind.OUTDOOR_AIR, SourceKind.WET_WELL):
        first_march.prepare.__wrapped__(int(kind))
    assert said == ["the march for outdoor air", "the march for wet well"]
