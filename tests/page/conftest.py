"""Fixtures of the page."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser

from hpwhsim.cli.main import main
from hpwhsim.evaluation.result import Result
from hpwhsim.operation.document import document
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.html import html
from hpwhsim.page.page import page

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def page_of_demo(demo: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the demo as a file."""
    path = tmp_path_factory.mktemp("page") / "page.html"
    path.write_bytes(page(demo))
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


@pytest.fixture
def operation(browser: Browser, operation_of_demo: Path) -> Browser:
    """The document on the demo's operation, which no script makes ready."""
    browser.show(operation_of_demo)
    return browser


@pytest.fixture(scope="session")
def operation_of_demo(demo: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sequence of operation of the demo as a file."""
    path = tmp_path_factory.mktemp("operation") / "operation.html"
    path.write_bytes(html(document(Facts(demo))))
    return path
