"""What drives a difference: terms that add up, and the same words for the same records."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.account.energy import END_USES
from hpwhsim.comparison.drivers import gas_terms, heat_and_cop, purchase_terms, sentences
from hpwhsim.comparison.report import CREDITS
from hpwhsim.results.records import read_stored

pytestmark = pytest.mark.law
RECORDS = Path(__file__).parents[2] / "scenarios" / "records"
KWH = st.floats(1.0, 1e6)
RECORD = st.builds(
    lambda uses, heat, loop, fuel, factor, refrigerant, rest: {
        **dict(zip(END_USES, uses, strict=True)),
        "electricity_kwh": sum(uses),
        "fuel_kwh": fuel,
        "heat_to_taps_kwh": heat,
        "recirculation_loss_kwh": loop,
        "storage_loss_kwh": 100.0,
        "cop_plant": (heat + loop) / (sum(uses) + fuel),
        "carbon.grid_kgco2e_per_kwh": factor,
        "carbon.electricity_kgco2e": sum(uses) * factor,
        "carbon.fuel_kgco2e": 0.18 * fuel,
        "carbon.room_kgco2e": rest,
        "refrigerant_kgco2e": refrigerant,
        "total_kgco2e": sum(uses) * factor + refrigerant + 0.18 * fuel + rest,
    },
    st.lists(KWH, min_size=len(END_USES), max_size=len(END_USES)),
    KWH,
    KWH,
    st.floats(0.0, 1e6),
    st.floats(0.05, 1.0),
    st.floats(0.0, 1e4),
    st.floats(-50.0, 50.0),
)


@given(RECORD, RECORD)
def test_the_terms_add_up(one: dict[str, float], other: dict[str, float]) -> None:
    """Every split of a difference leaves no remainder, and turns its sign when the two change places."""
    bought = [record["electricity_kwh"] + record["fuel_kwh"] for record in (one, other)]
    scale = max(*bought, one["total_kgco2e"], other["total_kgco2e"])
    for terms, change in (
        (purchase_terms, bought[1] - bought[0]),
        (heat_and_cop, bought[1] - bought[0]),
        (gas_terms, other["total_kgco2e"] - one["total_kgco2e"]),
    ):
        there = {term.name: term.value for term in terms(one, other)}
        back = {term.name: term.value for term in terms(other, one)}
        assert math.fsum(there.values()) == pytest.approx(change, abs=1e-9 * scale)
        for name, value in there.items():
            assert back[name] == pytest.approx(-value, rel=1e-9, abs=1e-9 * scale)
    assert sentences(("a", "b"), one, other) == sentences(("a", "b"), one, other)


@pytest.mark.independent
def test_each_term_is_what_changed_by_hand() -> None:
    """Twice the electricity at one factor: 400 kg of use, none of the factor. A room of 100, then -50 kWh."""

    def year(kwh: float, kg: float, penalty: float) -> dict[str, float]:
        room = dict.fromkeys(CREDITS, 0.0) | {"room_heating_penalty_kwh": penalty}
        gases = {"carbon.electricity_kgco2e": kg, "total_kgco2e": kg}
        return {"electricity_kwh": kwh, "resistance_kwh": 0.0, "fuel_kwh": 0.0} | room | gases

    one, other = year(1000.0, 400.0, 100.0), year(2000.0, 800.0, -50.0)
    gas = {term.name: term.value for term in gas_terms(one, other)}
    assert gas["electricity used"] == pytest.approx(400.0)
    assert gas["factor of the electricity in its hours"] == pytest.approx(0.0, abs=1e-9)
    bought = {term.name: term.value for term in purchase_terms(one, other)}
    assert bought["room, heating less credits"] == pytest.approx(-150.0)


@pytest.mark.independent
def test_twice_the_heat_at_the_same_cop_is_the_heat() -> None:
    """Heat and purchases doubled: all comes from the heat, none from the COP; so with fuel for electricity.

    Half the COP at the same heat the other way round. Of heat and purchases grown by a fifth and a half,
    1,000 kWh become 1,500: 500 / ln 1.5 x ln 1.2 = 224.8 by the heat, the rest by the COP.
    """

    def year(heat: float, electricity: float, fuel: float) -> dict[str, float]:
        bought = {"electricity_kwh": electricity, "fuel_kwh": fuel}
        return bought | {"heat_to_taps_kwh": 0.75 * heat, "recirculation_loss_kwh": 0.25 * heat}

    def terms(one: dict[str, float], other: dict[str, float]) -> list[float]:
        return [term.value for term in heat_and_cop(one, other)]

    base = year(3000.0, 1000.0, 0.0)
    assert terms(base, year(6000.0, 500.0, 1500.0)) == pytest.approx([1000.0, 0.0], abs=1e-9)
    assert terms(base, year(3000.0, 2000.0, 0.0)) == pytest.approx([0.0, 1000.0], abs=1e-9)
    assert terms(base, year(3600.0, 1500.0, 0.0)) == pytest.approx([224.83, 275.17], abs=0.01)


@pytest.mark.parametrize("name", ["central-air", "laundry-room"])
def test_gases_of_the_worked_scenarios_add_up(name: str) -> None:
    """Against a plant without any: the terms are the parts of the stored record's total."""
    record = read_stored(RECORDS / f"{name}.json").record
    none = {key: 0.0 for key in record} | {"total_kgco2e": 0.0}
    if record.get("total_kgco2e") is None:
        assert gas_terms(none, record) == []
    else:
        assert sum(term.value for term in gas_terms(none, record)) == pytest.approx(record["total_kgco2e"])


@pytest.mark.independent
def test_sentences_by_hand() -> None:
    """Half the COP at the same heat: twice the purchases, all of it from the COP."""
    base = {"electricity_kwh": 1000.0, "resistance_kwh": 0.0, "compressor_kwh": 1000.0, "fuel_kwh": 0.0}
    base |= {"heat_to_taps_kwh": 2500.0, "recirculation_loss_kwh": 500.0, "storage_loss_kwh": 80.0}
    base |= {"cop_plant": 3.0, "peak_kw": 4.0}
    other = base | {"electricity_kwh": 2000.0, "resistance_kwh": 1200.0, "compressor_kwh": 800.0}
    other |= {"cop_plant": 1.5, "backup_hours_by_cause": {"capacity": 30.0, "lock-out": 10.0}}
    said = sentences(("air", "small"), base, other)
    assert said == [
        "small purchases 1,000 kWh more than air (+100 %): resistance +1,200 kWh, heat pump −200 kWh.",
        "Of the difference without a room, 0 kWh come from its useful heat and +1,000 kWh come from its "
        "COP of the plant (1.5 against 3).",
        "Backup 40 h against 0 h of air: capacity +30 h, lockout +10 h.",
    ]
    assert sentences(("air", "air"), base, base)[0] == "air purchases as much energy as air."
