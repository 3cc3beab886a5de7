"""Bars and overnight charging empty the afternoon where the store allows: years of the shipped plant.

The plant, the hours and the stores are those of benchmarks/peak_over_store.py. The claim is the trade's: a
tower charged ahead of the peak draws next to nothing in it (sizing-and-load-shift.md, section 3, row 4).
"""

from functools import cache
from typing import Any

import peak_over_store
import pytest

pytestmark = [pytest.mark.law, pytest.mark.year]
STORES = (1000, 2000, 6000, 12000)
BAR, NIGHT, ANY = "barred 16:00-21:00", "only 21:00-07:00", "at any hour"


@cache
def rows() -> dict[tuple[str, int], Any]:
    """Row of the study by charging and store."""
    table = peak_over_store.study(STORES)
    return {(row.charging, row.store_litres): row for row in table.itertuples()}


@pytest.mark.independent
@pytest.mark.long
def test_an_ample_store_leaves_standby_and_pump() -> None:
    """The closed form of next to nothing: two modules' standby and the loop's pump, and no water short.

    At any hour the same plant draws over 70 times as much in its worst quarter of an hour.
    """
    idle = (2 * peak_over_store.STANDBY_W + peak_over_store.PUMP_W) / 1000.0
    for charging, store in ((BAR, 6000), (BAR, 12000), (NIGHT, 12000)):
        row = rows()[charging, store]
        assert row.afternoon_kw == pytest.approx(idle, rel=1e-9)
        assert row.short_litres == 0.0
        assert rows()[ANY, store].afternoon_kw > 70.0 * idle
    backed = rows()[BAR, 12000]
    assert backed.backed_afternoon_kw == pytest.approx(idle, rel=1e-9)
    assert backed.backed_afternoon_kwh == pytest.approx(idle * 5 * 365, rel=1e-9)


@pytest.mark.slow
def test_a_small_store_runs_short_or_brings_resistance_into_the_peak() -> None:
    """Charged at any hour these stores serve all; barred, or by night alone, the same stores do not.

    With the backup the barred hours then see its 30 kW, more than the machine would have drawn.
    """
    for store in (1000, 2000):
        assert rows()[ANY, store].short_litres == 0.0
        for charging in (BAR, NIGHT):
            row = rows()[charging, store]
            assert row.short_litres > 1000.0
            assert row.backed_afternoon_kw > 30.0 > rows()[ANY, store].backed_afternoon_kw


@pytest.mark.parametrize("charging", [BAR, NIGHT])
def test_short_water_falls_with_the_store(charging: str) -> None:
    """Each larger store is short of less, down to nothing; the night, with fewer hours, of more."""
    short = [rows()[charging, store].short_litres for store in STORES]
    assert short == sorted(short, reverse=True)
    assert short[0] > short[-1] == 0.0
    assert all(rows()[NIGHT, s].short_litres >= rows()[BAR, s].short_litres for s in STORES)


def test_shifting_is_paid_in_energy() -> None:
    """A store that is ample for the bar buys more than the small one that serves all at any hour.

    The reference: a shifted day uses more than the same day unshifted, by the loss of the store.
    """
    assert rows()[BAR, 6000].backed_kwh > 1.05 * rows()[ANY, 1000].backed_kwh
    assert rows()[BAR, 12000].backed_kwh > rows()[BAR, 6000].backed_kwh
