"""Plant against baseline: a case worked by hand, laws, and what is refused."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hpwhsim.account.calendar import When
from hpwhsim.account.savings import MMBTU_PER_KWH, Use, saved, site_to_source
from hpwhsim.errors import InputError

pytestmark = pytest.mark.law

SUMMER = When((6, 7, 8, 9), "weekdays", ((840, 1080),))
PEAKS = {"summer": SUMMER, "winter_morning": When((1, 2, 12), "all", ((375, 555),))}
ELECTRICITY = 2.80


def use(seed: int, fuel_kwh: float = 0.0, factor: float = 1.05) -> Use:
    random = np.random.default_rng(seed)
    power = 10.0 * random.random(35040) ** 3
    return Use(power, fuel_kwh, factor, kgco2e=100.0 * seed, cost=50.0 * seed + 7.0)


@pytest.mark.published
def test_million_btu() -> None:
    """NIST SP 811 (2008), B.8: 1 kWh is 3412.142 Btu (International Table); half of the last digit."""
    btu_per_kwh = 1e6 * MMBTU_PER_KWH
    assert btu_per_kwh == pytest.approx(3412.142, abs=5e-4)


@pytest.mark.independent
def test_comparison_worked_by_hand() -> None:
    """A steam baseline with a small pump against a heat pump, by hand.

    Baseline 0.1 kW all year, 876 kWh, and 100,000 kWh of steam; plant 3 kW all year, 26,280 kWh, and on
    Tuesday 3 July from 15:30 to 16:00 9 kW, 3 kWh more. Site, 3412.142 Btu/kWh: 2.98904 + 341.21416 =
    344.20320 and 89.68132 MMBtu, saved 254.5219. Source at 2.80 and 1.20: 8.36930 + 409.45699 = 417.82629
    and 251.10770, saved 166.7186. Summer afternoons are 344 h: highest 9 kW, mean 3 + 3/344 kW.
    Costs and kilograms as given. Half of the last digit.
    """
    power = np.full(35040, 3.0)
    at = ((181 + 2) * 24 + 15) * 4 + 2  # 181 days to the end of June
    power[at : at + 2] = 9.0
    baseline = Use(np.full(35040, 0.1), 100_000.0, site_to_source("district-steam"), 25_000.0, 9_000.0)
    plant = Use(power, 0.0, 1.0, 10_000.0, 5_500.0)
    lines = saved(plant, baseline, site_to_source("electricity"), PEAKS)
    assert lines["electricity_kwh"].saved == pytest.approx(876.0 - 26_283.0, rel=1e-12)
    assert lines["fuel_kwh"].saved == 100_000.0
    assert lines["fuel_mmbtu"].saved == pytest.approx(341.21416, abs=5e-6)
    assert lines["site_mmbtu"].saved == pytest.approx(254.5219, abs=5e-5)
    assert lines["source_mmbtu"].saved == pytest.approx(166.7186, abs=5e-5)
    assert lines["summer.highest_kw"].saved == pytest.approx(-8.9, rel=1e-12)
    assert lines["summer.mean_kw"].saved == pytest.approx(-2.9 - 3.0 / 344.0, rel=1e-12)
    assert lines["winter_morning.highest_kw"].plant == 3.0
    assert lines["kgco2e"].percent == pytest.approx(60.0, rel=1e-12)
    assert lines["cost"].saved == 3_500.0


@settings(max_examples=20)
@given(
    first=st.integers(1, 50), second=st.integers(1, 50), fuel=st.floats(0.0, 1e6), factor=st.floats(0.5, 3.0)
)
def test_change_of_roles_changes_the_sign(first: int, second: int, fuel: float, factor: float) -> None:
    """Law: savings are antisymmetric, to the bit, and a plant saves nothing against itself."""
    a, b = use(first, fuel, factor), use(second, 2e4)
    ab, ba = saved(a, b, ELECTRICITY, PEAKS), saved(b, a, ELECTRICITY, PEAKS)
    assert list(ab) == list(ba)
    for key, line in ab.items():
        assert line.saved == -ba[key].saved
        assert (line.baseline, line.plant) == (ba[key].plant, ba[key].baseline)
    assert all(line.saved == 0.0 for line in saved(a, a, ELECTRICITY, PEAKS).values())


def test_with_factors_of_one_source_is_site() -> None:
    """Law: source energy is site energy where nothing is lost on the way; the highest is above the mean."""
    lines = saved(use(3, 5e3, 1.0), use(4, 7e3, 1.0), 1.0, PEAKS)
    for part in ("baseline", "plant", "saved"):
        site, source = getattr(lines["site_mmbtu"], part), getattr(lines["source_mmbtu"], part)
        assert source == pytest.approx(site, rel=1e-12)
    assert lines["summer.highest_kw"].plant > lines["summer.mean_kw"].plant
    everything = saved(use(3), use(4), 1.0, {"year": When()})
    kwh = everything["electricity_kwh"].plant
    assert everything["year.mean_kw"].plant * 8760.0 == pytest.approx(kwh, rel=1e-12)


@pytest.mark.contract
def test_percent_of_nothing_is_none() -> None:
    """No baseline, no percentage; a plant that takes more than the baseline has a negative one."""
    lines = saved(use(2, 300.0), use(2, 0.0)._replace(cost=50.0), ELECTRICITY, {})
    assert lines["fuel_kwh"].percent is None
    assert lines["fuel_kwh"].saved == -300.0
    assert lines["cost"].percent == pytest.approx(-114.0, rel=1e-12)  # 107 against 50


@pytest.mark.published
@pytest.mark.parametrize(
    ("energy", "factor"),
    [("electricity", 2.80), ("natural-gas", 1.05), ("fuel-oil", 1.01), ("district-steam", 1.20)],
)
def test_packaged_factors(energy: str, factor: float) -> None:
    """ENERGY STAR Portfolio Manager Technical Reference, Source Energy; national averages, from memory."""
    assert site_to_source(energy) == factor


@pytest.mark.contract
@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: site_to_source("coal"), ["coal", "natural-gas", "or a number"]),
        (lambda: saved(use(1)._replace(quarter_kw=np.ones(8760)), use(2), 2.8, {}), ["quarter_kw", "8760"]),
        (lambda: saved(use(1)._replace(cost=math.nan), use(2), 2.8, {}), ["cost", "nan"]),
        (lambda: saved(use(1), use(2), math.inf, {}), ["source_mmbtu", "inf"]),
        (lambda: saved(use(1), use(2), 2.8, {"x": When(days="sunday")}), ["sunday"]),
    ],
)
def test_impossible_comparisons_are_refused(wrong: Callable[[], object], words: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        wrong()
    for word in words:
        assert word in str(caught.value)
