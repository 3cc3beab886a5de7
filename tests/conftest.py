"""Fixtures shared by all tests."""

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from hpwhsim.evaluation.result import Result

# An example that meets the compiler for the first time takes seconds: no example is timed.
# `make test` draws the same examples each time, so that a change and not the draw decides;
# `make search` draws new ones, and five times as many.
settings.register_profile("fresh", deadline=None, max_examples=500)
settings.register_profile("same", deadline=None, derandomize=True)
settings.load_profile("same")

ROOT = Path(__file__).resolve().parents[1]
KINDS = ("published", "independent", "law", "contract")
COLLECTED = pytest.StashKey[list[pytest.Item]]()
YEARS = "TANKYEAR_TESTS_YEARS"  # names the folder of the years to every process of a run of the tests


def pytest_configure(config: pytest.Config) -> None:
    """Make the folder of the years in the first process; those that it starts find its name."""
    if YEARS not in os.environ:
        folder = tempfile.TemporaryDirectory(prefix="tankyear-years-")
        os.environ[YEARS] = folder.name
        config.add_cleanup(folder.cleanup)


def of_kind(marks: list[pytest.Mark]) -> list[pytest.Mark]:
    """Those of the marks that say what stands behind a test."""
    return [mark for mark in marks if mark.name in KINDS]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """A test without a kind of its own has that of its module: `-m law` selects laws alone."""
    for item in items:
        module = item.getparent(pytest.Module)
        if module is not None and not of_kind(item.own_markers):
            item.own_markers.extend(of_kind(module.own_markers))
    for module in {item.getparent(pytest.Module) for item in items} - {None}:
        module.own_markers[:] = [mark for mark in module.own_markers if mark.name not in KINDS]
    config.stash[COLLECTED] = list(items)


@pytest.fixture
def collected(request: pytest.FixtureRequest) -> list[pytest.Item]:
    """Every test that was found, those included that `-m` then left out."""
    return request.config.stash[COLLECTED]


@pytest.fixture(scope="session", autouse=True)
def _years_once() -> Iterator[None]:
    """Years are marched once: `years_once`."""
    import years_once

    with pytest.MonkeyPatch.context() as patch:
        years_once.march_by(years_once.kept(years_once.MARCH, Path(os.environ[YEARS])), patch)
        yield


@pytest.fixture
def anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every year of a test is marched, for tests of the march being a function."""
    import years_once

    years_once.march_by(years_once.MARCH, monkeypatch)


@pytest.fixture(scope="session")
def root() -> Path:
    """Top folder of the checkout."""
    return ROOT


@pytest.fixture(scope="session")
def references() -> Path:
    """Folder of published check values in the checkout."""
    return ROOT / "shared"


@pytest.fixture(scope="session")
def shared() -> Path:
    """Folder of trial weather and further check values beside the checkout; skips where it is absent."""
    folder = ROOT.parent / "shared"
    if not (folder / "references").is_dir():
        pytest.skip("the folder ../shared with trial weather is not here")
    return folder


@pytest.fixture(scope="session")
def demo() -> "Result":
    """What the dossier of the central air-source plant is made of."""
    from hpwhsim.evaluation.draw_years import evaluate_over
    from hpwhsim.scenario.reading import read_scenario

    return evaluate_over(read_scenario(ROOT / "scenarios" / "central-air.yaml"))


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The dossier of a copy of the demo, by the command, in a folder that no file may name.

    The scenario names its weather by a full path and its baseline in a folder below, whose file holds a date
    (YAML reads it as one) and names the weather from there. Nothing that reads it may change it.
    """
    import shutil

    from hpwhsim.cli import main as cli

    folder = tmp_path_factory.mktemp("secret-place")
    (folder / "below").mkdir()
    shutil.copy(ROOT / "weather" / "chicago-il-725300-tmy3.epw.gz", folder)
    text = (ROOT / "scenarios" / "central-air.yaml").read_text().replace("../weather", str(folder))
    text = text.replace("baseline: gas-boiler.yaml", "baseline: below/gas-boiler.yaml")
    (folder / "demo.yaml").write_text(text)
    boiler = (ROOT / "scenarios" / "gas-boiler.yaml").read_text().replace("../weather", "..")
    assert "made_on: 2020-01-01" in boiler
    (folder / "below" / "gas-boiler.yaml").write_text(boiler)
    argv = ["dossier", str(folder / "demo.yaml"), "--out", str(folder / "out")]
    assert (
        cli.main(
            [*argv, "--set", "plant.storage.volume=850 gal", "--set", "site.checks.max_floor_load=150 lb/ft2"]
        )
        == 0
    )
    return folder / "out"
