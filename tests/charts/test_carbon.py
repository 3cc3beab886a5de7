"""The picture of greenhouse gases: tonnes of the kilograms that add up, year by year."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from hpwhsim.charts.carbon import carbon_figure
from hpwhsim.simulation.year import Year

pytestmark = pytest.mark.independent


def year_of(**more: Any) -> Year:
    """An invented plant that gives off 2 t a year for three years, 500 kg of each of its refrigerant."""
    record = {
        "title": "invented",
        "weather.station": "nowhere",
        "weather.sha256": "0" * 64,
        "tool.version": "0",
        "scenario.sha256": "0" * 64,
        "scenario.overrides": [],
        "carbon.grid": "0.4 kg/kWh",
        "carbon.grid_kgco2e_per_kwh": 0.4,
        "carbon.gwp": "AR6-100",
        "carbon.cumulative_operational_kgco2e": [1500.0, 3000.0, 4500.0],
        "carbon.cumulative_kgco2e": [2000.0, 4000.0, 6000.0],
    }
    return cast(Year, SimpleNamespace(record=record | more))


def test_what_is_drawn_is_in_tonnes() -> None:
    """2,000 kg are 2 t at the end of the first year, and 0 at the start."""
    ax = carbon_figure(year_of()).axes[0]
    assert ax.get_ylabel() == "t CO2e since the start"
    assert list(ax.lines[0].get_xdata()) == [0, 1, 2, 3]
    assert list(ax.lines[0].get_ydata()) == pytest.approx([0.0, 2.0, 4.0, 6.0])
    energy, refrigerant = (area.get_paths()[0].vertices for area in ax.collections)
    assert energy[:, 1].max() == pytest.approx(4.5)
    last = refrigerant[refrigerant[:, 0] == 3.0][:, 1]
    assert np.ptp(last) == pytest.approx(1.5)


def test_the_baseline_stands_beside_and_the_year_is_marked_in_which_the_order_turns() -> None:
    """2.5 t a year of the baseline after 0.1 t in the first: the lines cross after year 1, seen in year 2."""
    theirs = {
        "baseline.cumulative_kgco2e": [100.0, 4600.0, 7100.0],
        "baseline.family": "gas",
        "carbon.turning_years": [2],
    }
    ax = carbon_figure(year_of(**theirs)).axes[0]
    assert list(ax.lines[1].get_ydata()) == pytest.approx([0.0, 0.1, 4.6, 7.1])
    assert (list(ax.lines[2].get_xdata()), list(ax.lines[2].get_ydata())) == ([2], [4.0])
