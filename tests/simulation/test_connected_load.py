"""The greatest power of a machine over its permitted envelope, by hand; whose units a file is written in."""

import numpy as np
import pytest

from hpwhsim.evaluation.site_checks import writes_us_units
from hpwhsim.heatpump.maps import PerformanceMap, look_up
from hpwhsim.simulation.connected_load import greatest_power

pytestmark = pytest.mark.independent

SOURCE, INLET, OUTLET = np.array([-10.0, 0.0, 20.0]), np.array([10.0, 30.0, 50.0]), np.array([55.0, 65.0])
POWER = 1000.0 + 10.0 * INLET[None, :, None] + 20.0 * OUTLET[None, None, :] - 5.0 * SOURCE[:, None, None]
MAP = PerformanceMap(SOURCE, INLET, OUTLET, np.full(POWER.shape, 5000.0), POWER)


@pytest.mark.parametrize(
    ("lowest", "highest", "outlets", "watts"),
    [
        (-10.0, 50.0, (55.0, 65.0), 1000.0 + 500.0 + 1300.0 + 50.0),
        (-4.0, 50.0, (55.0, 65.0), 1000.0 + 500.0 + 1300.0 + 20.0),  # between two points of the map
        (-10.0, 42.0, (55.0, 65.0), 1000.0 + 420.0 + 1300.0 + 50.0),
        (-10.0, 50.0, (55.0, 60.0), 1000.0 + 500.0 + 1200.0 + 50.0),
        (-30.0, 90.0, (40.0, 90.0), 1000.0 + 500.0 + 1300.0 + 50.0),  # never beyond the map
    ],
)
def test_limits_cut_the_map(
    lowest: float, highest: float, outlets: tuple[float, float], watts: float
) -> None:
    """A power that is linear in all three temperatures, so that the corner of the envelope is known."""
    assert greatest_power(MAP, lowest, highest, outlets) == pytest.approx(watts, rel=1e-12)


def test_where_the_machine_cannot_work_does_not_count() -> None:
    """Without its coldest points with the hottest water it works in no cell that they are a corner of."""
    power = POWER.copy()
    power[0, 2, :] = np.nan
    cut = MAP._replace(power_w=power, capacity_w=np.where(np.isnan(power), np.nan, 5000.0))
    found = greatest_power(cut, -10.0, 50.0, (55.0, 65.0))
    assert found == pytest.approx(1000.0 + 500.0 + 1300.0)  # at 0 degC of source, inlet 50 degC
    nowhere = MAP._replace(power_w=np.full(POWER.shape, np.nan))
    assert greatest_power(nowhere, -10.0, 50.0, (55.0, 65.0)) == 0.0


@pytest.mark.law
def test_no_look_up_of_the_march_is_above_it() -> None:
    """Law: points drawn in the envelope of a bent map; 1e-9: rounding of their interpolation."""
    rng = np.random.default_rng(5)
    bent = MAP._replace(power_w=rng.uniform(500.0, 2000.0, POWER.shape))
    most = greatest_power(bent, -7.0, 44.0, (57.0, 63.0))
    for source, inlet, outlet in rng.uniform((-7.0, 10.0, 57.0), (20.0, 44.0, 63.0), (500, 3)):
        assert look_up(bent, source, inlet, outlet)[1] <= most * (1.0 + 1e-9)


@pytest.mark.contract
def test_the_users_units_are_those_of_most_of_the_file() -> None:
    us = {"plant": {"storage": {"volume": "500 gal", "setpoint": "140 degF"}, "power": "30 kW"}}
    si = {"plant": {"storage": {"volume": "2 m3", "setpoint": "60 degC"}, "heights": ["1 ft"]}}
    assert writes_us_units(us)
    assert not writes_us_units(si)
    assert not writes_us_units({})
