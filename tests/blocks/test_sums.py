"""Sums of a block by hand, on invented series: no plant is simulated."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from hpwhsim.blocks.block import Simulated
from hpwhsim.blocks.hours import named_hours
from hpwhsim.blocks.power import power_csv
from hpwhsim.blocks.record import _peak, _peak_day
from hpwhsim.blocks.sums import Power

pytestmark = pytest.mark.independent
HOURS = [named_hours("evening=weekdays 17:00-20:00")]
AT = 4 * (24 * 31 + 18)  # 18:00 on 1 February, a Thursday: 2001 began on a Monday


def peaked(at: int, kw: float) -> np.ndarray:
    """1 kW all year, and `kw` in one quarter of an hour."""
    series = np.ones(35040)
    series[at] = kw
    return series


def block_of() -> Power:
    """Two plants of 9 kW at 18:00 on 1 February, and one of 5 kW at 03:00 on 2 January."""
    power = Power(HOURS)
    power.add(peaked(AT, 9.0), 2)
    power.add(peaked(4 * 27, 5.0))
    return power


def test_each_plant_counts_with_its_own_peak() -> None:
    """2 x 9 + 5 kW; in January 1 + 1 + 5, in February 9 + 9 + 1, in March 3; in the evenings 9 + 9 + 1."""
    power = block_of()
    assert power.quarter_kw[AT] == 19.0
    assert power.peaks == 23.0
    assert list(power.months[:3]) == [7.0, 19.0, 3.0]
    assert list(power.named) == [19.0]


def test_the_peak_is_that_of_all_together() -> None:
    """19 kW where 23 kW would be the sum: 23/19; a baseline of 30 kW saves 11 kW."""
    baseline = Power(HOURS)
    baseline.add(peaked(0, 30.0))
    found = _peak(block_of().quarter_kw, 23.0, baseline, slice(None))
    assert (found["time"], found["weekday"]) == ("02-01 18:00", "Thu")
    assert (found["coincident_kw"], found["saved_kw"]) == (19.0, 11.0)
    assert found["diversity_factor"] == pytest.approx(23.0 / 19.0)
    assert found["mean_kw"] == pytest.approx(3.0 + (16.0 + 4.0) / 35040)


def test_the_day_of_the_peak_is_from_midnight_to_midnight() -> None:
    """The peak at 18:00 is quarter 72 of 96."""
    series = peaked(AT, 9.0)
    block = SimpleNamespace(parts={"A": None}, series=lambda of: series[np.newaxis, of])
    found: Any = _peak_day(cast(Any, block), cast(Any, [SimpleNamespace(name="A")]), AT)
    assert found["day"] == "02-01"
    assert len(found["kw"]["A"]) == 96
    assert found["kw"]["A"][72] == 9.0


def test_a_date_is_the_day_of_that_name() -> None:
    """18 July is day 199 of a year without 29 February: 31 + 28 + 31 + 30 + 31 + 30 + 18."""
    quarters = np.flatnonzero(named_hours("system=07-18 17:00-18:00").mask)
    assert list(quarters) == [96 * 198 + 4 * 17 + place for place in range(4)]


def test_rows_of_the_file_bear_the_start_of_their_quarter() -> None:
    rows = power_csv(Simulated({}, peaked(AT, 9.0), None, False)).decode().splitlines()[2:]
    assert len(rows) == 35040
    assert (rows[0], rows[1]) == ("2001-01-01T00:00,1", "2001-01-01T00:15,1")
    assert [row for row in rows if not row.endswith(",1")] == ["2001-02-01T18:00,9"]
