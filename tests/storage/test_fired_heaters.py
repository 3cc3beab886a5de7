"""Baseline heaters against the published rules, worked by hand, and steam against the steam table."""

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.errors import InputError
from hpwhsim.io.us_units import BTU_H, GALLON
from hpwhsim.storage.fired_heaters import commercial_standard, district_steam_efficiency
from hpwhsim.tables import read_table

pytestmark = pytest.mark.published

BEFORE, FROM = date(2026, 10, 5), date(2026, 10, 6)
NOW = date(2024, 6, 1)


# --- commercial ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "gallons", "before", "since"),
    [
        ("gas-storage", 100.0, 0.80, 0.95),
        ("oil-storage", 100.0, 0.80, 0.80),
        ("gas-boiler", 0.0, 0.80, 0.96),
        ("gas-boiler", 10.0, 0.80, 0.96),
        ("oil-boiler", 9.9, 0.80, 0.80),
        ("oil-boiler", 10.0, 0.78, 0.78),
        ("electric-instantaneous", 9.0, 0.80, 0.80),
        ("electric-instantaneous", 10.0, 0.77, 0.77),
        ("electric-storage", 100.0, None, None),
    ],
)
def test_thermal_efficiency(kind: str, gallons: float, before: float | None, since: float | None) -> None:
    """10 CFR 431.110, text as amended October 2023 (88 FR 69686), Table 1."""
    for made, expected in ((BEFORE, before), (FROM, since)):
        found = commercial_standard(kind, made, 199e3 * BTU_H, gallons * GALLON)
        assert found.thermal_efficiency == expected
        assert found.status == "verified"


def test_standby_loss_of_electric_storage() -> None:
    """(0.30 + 27/V) % per hour at 120 gal: 0.525 %/h of 120 x 8.25 x 70 Btu, 364 Btu/h, 107 W; by hand."""
    found = commercial_standard("electric-storage", NOW, 0.0, 120.0 * GALLON)
    assert found.standby_loss_w is not None
    assert found.standby_loss_w / (120.0 * 8.25 * 70.0 * BTU_H) == pytest.approx(0.00525, rel=1e-12)
    assert found.standby_loss_w / BTU_H == pytest.approx(364.0, abs=0.5)
    assert found.standby_loss_w == pytest.approx(107.0, abs=0.5)


@pytest.mark.parametrize(("made", "share"), [(NOW, 1.0), (date(2026, 10, 6), 0.86)])
def test_standby_loss_of_gas_storage(made: date, share: float) -> None:
    """10 CFR 431.110: Q/800 + 110 V^0.5 [Btu/h], of late x 0.86; 199,000 Btu/h, 100 gal: 248.75 + 1,100."""
    found = commercial_standard("gas-storage", made, 199e3 * BTU_H, 100.0 * GALLON)
    assert found.standby_loss_w is not None
    assert found.standby_loss_w == pytest.approx(share * 1348.75 * 0.29307107, rel=1e-7)


@pytest.mark.parametrize("kind", ["gas-boiler", "oil-boiler", "electric-instantaneous"])
def test_a_boiler_below_10_gallons_has_no_standby_limit(kind: str) -> None:
    found = commercial_standard(kind, NOW, 399e3 * BTU_H, 9.99 * GALLON)
    assert (found.standby_loss_w, found.heat_loss) == (None, None)
    assert commercial_standard(kind, NOW, 399e3 * BTU_H, 10.0 * GALLON).heat_loss is not None


@pytest.mark.law
@given(
    kbtu=st.floats(50.0, 5000.0),
    gallons=st.floats(20.0, 5000.0),
    kind=st.sampled_from(["gas-storage", "oil-storage", "electric-storage", "gas-boiler"]),
    made=st.sampled_from([BEFORE, FROM]),
)
def test_a_larger_heater_may_lose_more(kbtu: float, gallons: float, kind: str, made: date) -> None:
    small = commercial_standard(kind, made, kbtu * 1e3 * BTU_H, gallons * GALLON).standby_loss_w
    large = commercial_standard(kind, made, 1.1e3 * kbtu * BTU_H, 1.1 * gallons * GALLON).standby_loss_w
    assert small is not None
    assert large is not None
    assert large > small > 0.0


@pytest.mark.contract
@pytest.mark.parametrize(
    ("kind", "made", "volume", "said"),
    [
        ("gas", NOW, 0.4, "plant.heater.kind: got 'gas'; allowed electric-storage, gas-storage"),
        ("gas-storage", date(2015, 10, 8), 0.4, "plant.heater.made: got 2015-10-08; allowed 2015-10-09"),
        ("gas-storage", NOW, -0.4, "plant.heater.volume"),
        ("gas-storage", NOW, math.nan, "plant.heater.volume"),
        ("electric-storage", NOW, 0.0, "plant.heater.volume: got 0"),
    ],
)
def test_heaters_that_are_refused(kind: str, made: date, volume: float, said: str) -> None:
    with pytest.raises(InputError, match=said):
        commercial_standard(kind, made, 1e5, volume)


# --- residential -----------------------------------------------------------------------------------------


@pytest.mark.contract
def test_tables_are_whole() -> None:
    """Every row can be asked for by its date and the middle of its volumes, and says how it is known."""
    for row in read_table("heater_standards"):
        made = date.fromisoformat(row["effective"])
        found = commercial_standard(row["kind"], made, 1e5, max(float(row["least_gal"]), 1.0) * GALLON)
        assert (found.citation, found.status) == (row["citation"], row["status"])


# --- district steam --------------------------------------------------------------------------------------


@pytest.mark.law
def test_steam_with_all_condensate_returned_loses_its_jacket_alone() -> None:
    """First law: what is not lost and not returned went to the water. Rounding."""
    assert district_steam_efficiency(1.0) == pytest.approx(0.98, rel=1e-12)
    assert district_steam_efficiency(0.0, jacket_loss=0.0, condensate_c=10.0) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.law
@given(a=st.floats(0.0, 1.0), b=st.floats(0.0, 1.0))
def test_returning_condensate_pays(a: float, b: float) -> None:
    less, more = sorted((a, b))
    assert district_steam_efficiency(less) <= district_steam_efficiency(more) <= 0.98 + 1e-12


@pytest.mark.contract
@pytest.mark.parametrize(
    "wrong",
    [
        {"condensate_returned": 1.1},
        {"condensate_c": 130.0},
        {"make_up_c": 95.0},
        {"jacket_loss": math.nan},
        {"steam_pressure_pa": 1.0},
    ],
)
def test_steam_that_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(InputError, match="district steam"):
        district_steam_efficiency(**wrong)
