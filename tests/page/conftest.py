"""Fixtures of the page."""

import pytest

from hpwhsim.charts.year import draw_pictures
from hpwhsim.evaluation.result import Result


@pytest.fixture(scope="session")
def pictures(demo: Result) -> dict[str, bytes]:
    """What is drawn of the demo."""
    return draw_pictures(demo.plant.year, demo.loaded.scenario)
