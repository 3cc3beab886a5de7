"""Fixtures of the page."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser

from hpwhsim.charts.year import draw_plant
from hpwhsim.cli.main import main
from hpwhsim.evaluation.result import Result
from hpwhsim.page.page import page

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def pictures(demo: Result) -> dict[str, bytes]:
    """The drawings of the demo."""
    return draw_plant(demo.plant.year, demo.loaded.scenario)


@pytest.fixture(scope="session")
def page_of_demo(demo: Result, pictures: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the demo as a file."""
    path = tmp_path_factory.mktemp("page") / "page.html"
    path.write_bytes(page(demo, pictures))
    return path


@pytest.fixture(scope="session")
def compared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a comparison of three plants, by the command."""
    folder = tmp_path_factory.mktemp("compared")
    files = [str(ROOT / "scenarios" / f"{name}.yaml") for name in ("central-air", "hybrid", "gas-boiler")]
    changed = ["--set", "carbon.grid=0.4 kg/kWh", "--set", "run.steps_per_hour=12"]
    assert main(["compare", *files, *changed, "--page", "--out", str(folder)]) == 0
    return folder


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A browser for the tests of a module; they skip where there is none."""
    one = Browser(tmp_path_factory.mktemp("saved"))
    yield one
    one.driver.quit()
