"""Fixtures shared by all tests."""

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from hpwhsim.study.dossier import Papers

# An example that meets the compiler for the first time takes seconds: no example is timed.
# `make test` draws the same examples each time, so that a change and not the draw decides;
# `make search` draws new ones, and five times as many.
settings.register_profile("fresh", deadline=None, max_examples=500)
settings.register_profile("same", deadline=None, derandomize=True)
settings.load_profile("same")

ROOT = Path(__file__).resolve().parents[1]


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
def demo() -> "Papers":
    """What the dossier of the central air-source plant is made of."""
    from hpwhsim.scenario.reading import read_scenario
    from hpwhsim.study.dossier import gather

    return gather(read_scenario(ROOT / "scenarios" / "central-air.yaml"))
