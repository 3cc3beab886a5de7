"""tables/results.csv declares every key once, and what it says can be used."""

from pathlib import Path

import pytest

from hpwhsim.results.declared import declarations
from hpwhsim.results.numbers import MINUS, shown
from hpwhsim.results.records import read_stored
from hpwhsim.tables import read_table

pytestmark = pytest.mark.contract

RECORDS = sorted((Path(__file__).parents[2] / "scenarios" / "records").glob("*.json"))


def test_every_key_of_every_stored_record_is_declared() -> None:
    assert len(RECORDS) > 10
    keys = {row.name for row in declarations().values() if row.in_record}
    for path in RECORDS:
        stored = read_stored(path)
        assert {*stored.record, *stored.context} <= keys, path.name


def test_each_is_declared_once_and_fully() -> None:
    names = [row["name"] for row in read_table("results")]
    assert len(names) == len(set(names))
    for row in declarations().values():
        assert row.where in ("hourly", "record", "both")
        assert row.kind in ("sum", "mean", "min", "max", "value", "text")
        assert row.more_is in ("better", "worse", "neutral")
        assert 0 < len(row.label) <= 42, row.name
        assert 0 < len(row.short) <= 16, row.name
        assert row.long_name
        format(1.0, row.format) if row.format != "d" else format(1, "d")


def test_more_is_follows_from_what_a_positive_value_means() -> None:
    good, bad = (
        {"positive saved"},
        {"positive purchased", "positive emitted", "positive paid", "positive unmet", "positive missing"},
    )
    for row in declarations().values():
        if row.sign in good | bad:
            assert row.more_is == ("better" if row.sign in good else "worse"), row.name


@pytest.mark.parametrize(
    ("key", "value", "text"),
    [
        ("electricity_kwh", 30000.5178, "30,001 kWh"),
        ("electricity_kwh", -0.2, f"{MINUS}0.2 kWh"),
        ("electricity_kwh", -1e-9, "0 kWh"),
        ("cop_plant", 2.8449, "2.84"),
        ("peak_kw", 0.00625, "0.0063 kW"),
        ("costs.npv_usd", -119175.2, f"{MINUS}119,175 USD"),
        ("balance_error", -4e-15, "-4.0e-15"),
        ("costs.simple_payback_years", 3.52, "3.5 years"),
        ("total_kgco2e", 13013.6, "13,014 kg CO2e"),
    ],
)
def test_a_number_reads_as_declared_and_never_as_zero_where_it_is_not(
    key: str, value: float, text: str
) -> None:
    assert shown(key, value, unit=True) == text
