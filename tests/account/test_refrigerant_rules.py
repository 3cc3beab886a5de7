"""Rules on warming potential, and charge limits by safety, against printed tables."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.account.checks import Check, amount
from hpwhsim.account.refrigerant_rules import (
    COUNTRIES,
    charge_caps,
    charge_checks,
    gwp_checks,
    occupied_room_charge,
    region_of,
)
from hpwhsim.errors import OutOfRangeError
from hpwhsim.heatpump.refrigerants import refrigerant
from hpwhsim.tables import read_table

pytestmark = pytest.mark.published


def gwp(
    name: str, region: str | None, *, split: bool, unit_kw: float, unit_kg: float | None = None
) -> list[Check]:
    held = refrigerant(name)
    return gwp_checks(
        name,
        dict(held.legal_gwp),
        fluorinated=held.fluorinated,
        split=split,
        unit_kw=unit_kw,
        unit_kg=unit_kg,
        region=region,
    )


@pytest.mark.parametrize(
    ("name", "us", "eu"),
    [
        ("R-410A", 2087.5, 2087.5),
        ("R-454B", 465.4, 465.2),
        ("R-513A", 629.8, 629.5),
        ("R-134a", 1430.0, 1430.0),
        ("R-290", 3.3, 0.02),
        ("R-744", 1.0, 1.0),
    ],
)
def test_potentials_as_the_rules_count_them(name: str, us: float, eu: float) -> None:
    """40 CFR 84.64: HFCs by AR4, R-1234yf 1, propane 3.3; the agency prints R-454B 465 and R-513A 630.

    Regulation (EU) 2024/573, Annexes I, II, VI: HFCs by AR4, R-1234yf 0.501. By hand to the digits given.
    """
    assert dict(refrigerant(name).legal_gwp) == {
        "US": pytest.approx(us, abs=0.05),
        "EU": pytest.approx(eu, abs=0.05),
    }


@pytest.mark.parametrize(
    ("name", "passes"),
    [
        ("R-454B", True),
        ("R-32", True),
        ("R-513A", True),
        ("R-744", True),
        ("R-290", True),
        ("R-410A", False),
        ("R-134a", False),
    ],
)
def test_the_us_limit_of_700(name: str, passes: bool) -> None:
    """40 CFR 84.54(a)(1): 700 or greater is barred; carbon.md section 6 lists who passes."""
    (us,) = gwp(name, "US", split=False, unit_kw=30.0)
    assert us.name.endswith("US from 2025-01-01")  # and no rule of another region
    assert us.state == ("ok" if passes else "confirm")
    assert us.ratio == pytest.approx(dict(refrigerant(name).legal_gwp)["US"] / 700.0)
    assert ("met" if passes else "exceeded") in us.limit
    assert us.limit_text == "below 700 (as the rule counts it)"
    assert "verify with local code" in us.limit


@pytest.mark.parametrize(
    ("split", "unit_kw", "limits"),
    [
        (True, 12.0, [(750, 2025), (150, 2027), (None, 2035)]),
        (True, 12.1, [(750, 2025), (750, 2029), (150, 2033)]),
        (False, 12.0, [(150, 2027), (None, 2032)]),
        (False, 50.0, [(150, 2027)]),
        (False, 60.0, [(150, 2030)]),
    ],
)
def test_the_rows_of_the_eu(split: bool, unit_kw: float, limits: list[tuple[int | None, int]]) -> None:
    """Regulation (EU) 2024/573, Annex IV 8(b) to 8(e), 9(a), (b), (d) to (f); R-32 is an F-gas of 675.

    No rule of the US. None stands for "no F-gas".
    """
    rows = gwp("R-32", "EU", split=split, unit_kw=unit_kw)
    assert [row.limit_value for row in rows] == [most for most, _ in limits]
    for row, (most, year) in zip(rows, limits, strict=True):
        assert f", EU from {year}-" in row.name
        assert "(verified)" in row.source
        assert row.state == ("ok" if most == 750 else "fail")
        assert ("exceeded" in row.limit) == (most != 750)


def test_rules_that_ask_for_the_charge_and_for_no_f_gas() -> None:
    """Annex IV 9(a): single split below 3 kg; 8(c), 9(d): no F-gas at all, so hydrocarbons and CO2 pass."""
    small, large = (gwp("R-32", "EU", split=True, unit_kw=10.0, unit_kg=kg) for kg in (2.9, 3.0))
    assert len(small) == len(large) + 1
    for name, ok in (("R-290", True), ("R-744", True), ("R-454B", False), ("R-1234yf", False)):
        found = gwp(name, "EU", split=False, unit_kw=10.0)
        (none,) = [c for c in found if c.limit.startswith("no F-gas")]
        assert none.state == ("ok" if ok else "fail")


def test_older_stock_may_go_on_being_installed() -> None:
    """91 FR 31284, effective 27 July 2026: systems of parts made or imported before 1 January 2025."""
    (split,) = gwp("R-410A", "US", split=True, unit_kw=30.0)
    assert "may go on being installed" in split.limit
    assert "91 FR 31284" in split.source


@pytest.mark.contract
def test_rules_by_place() -> None:
    """Where nobody knows the place every rule is listed and none is met for sure."""
    assert gwp("R-32", "other", split=False, unit_kw=30.0) == []
    unknown = gwp("R-744", None, split=False, unit_kw=30.0)
    assert {c.name.split(", ")[1][:2] for c in unknown} == {"US", "EU"}
    assert {c.state for c in unknown} == {"confirm"}
    # ISO 3166-1 alpha-3; 27 members of the European Union
    assert [region_of(c) for c in ("USA", "DEU", "GBR", "")] == ["US", "EU", "other", None]
    assert sum(region == "EU" for region in COUNTRIES.values()) == 27


def test_european_limits_are_left_out_in_the_us() -> None:
    """EN 378 is a European standard; flammable charges have UL 60335-2-40 there."""
    for region, european in (("US", False), ("EU", True), (None, True)):
        rows = charge_checks("R-290", "A3", 1.0, room_m3=50.0, room_m2=20.0, region=region)
        assert any(c.name.startswith("practical limit") for c in rows) == european
        assert any("EN 378" in c.source for c in rows) == european


def test_a_limit_itself_does_not_pass() -> None:
    """The rules ban a GWP of 700, or of 150, or more."""
    for value, said in ((700.0, "exceeded"), (699.9, "met")):
        both = {"US": value, "EU": value}
        (found,) = gwp_checks("X", both, fluorinated=True, split=False, unit_kw=30.0, region="US")
        assert said in found.limit


@pytest.mark.parametrize(
    ("name", "m1", "m2", "m3"),
    [
        ("R-290", 0.152, 0.99, 4.94),
        ("R-32", 1.842, 7.98, 39.9),
        ("R-454B", 1.782, 7.72, 38.6),
        ("R-1234yf", 1.734, 7.51, 37.6),
    ],
)
def test_caps_by_flammability(name: str, m1: float, m2: float, m3: float) -> None:
    """calibration-and-site-checks.md section 6: m1 = 4 LFL (2L: x 1.5), m2 = 26 LFL, m3 = 130 LFL.

    Half of the last printed digit.
    """
    lfl = {r["refrigerant"]: r["lfl_kg_m3"] for r in read_table("refrigerant_safety")}[name]
    found = charge_caps(float(lfl), slow_burning=refrigerant(name).safety == "A2L")
    assert found[0] == pytest.approx(m1, abs=5.1e-4)
    assert found[1] == pytest.approx(m2, abs=5.1e-3)
    assert found[2] == pytest.approx(m3, abs=5.1e-2)


@pytest.mark.parametrize(
    ("name", "floor", "wall", "ceiling", "digit"),
    [
        ("R-290", 0.113, 0.338, 0.413, 5.1e-4),
        ("R-32", 1.53, 4.60, 5.62, 5.1e-3),
        ("R-454B", 1.47, 4.41, 5.39, 5.1e-3),
        ("R-1234yf", 1.42, 4.26, 5.21, 5.1e-3),
    ],
)
def test_occupied_room_of_20_m2(name: str, floor: float, wall: float, ceiling: float, digit: float) -> None:
    """calibration-and-site-checks.md section 6: 2.5 LFL^1.25 h0 A^0.5; half of the last printed digit."""
    lfl = float({r["refrigerant"]: r["lfl_kg_m3"] for r in read_table("refrigerant_safety")}[name])
    for height, published in ((0.6, floor), (1.8, wall), (2.2, ceiling)):
        assert occupied_room_charge(lfl, height, 20.0) == pytest.approx(published, abs=digit)


@pytest.mark.independent
def test_concentration_limits_in_grams() -> None:
    """Grams are ppm x molar mass / 24.45 L/mol (25 degC); molar masses of CoolProp, blends by mass fractions.

    Both figures are printed to two digits: half a unit of the second of each.
    """
    from CoolProp.CoolProp import PropsSI

    def half_digit(value: float) -> float:
        return float(0.5 * 10.0 ** (math.floor(math.log10(value)) - 1))

    rows = [row for row in read_table("refrigerant_safety") if row["rcl_ppm"] != "-"]
    assert len(rows) == len(read_table("refrigerant_safety")) - 1  # R-454B: withdrawn
    for row in rows:
        parts = refrigerant(row["refrigerant"]).composition
        moles_per_kg = sum(share / PropsSI("M", refrigerant(name).fluid) for name, share in parts)
        ppm, printed = float(row["rcl_ppm"]), float(row["rcl_g_m3"])
        grams = ppm / moles_per_kg / 24.45
        bound = half_digit(printed) + grams * half_digit(ppm) / ppm
        assert grams == pytest.approx(printed, abs=bound), row["refrigerant"]


@pytest.mark.parametrize(
    ("grams", "pounds"),
    [(210.0, 13.0), (77.0, 4.8), (420.0, 26.0), (320.0, 20.0), (54.0, 3.4), (49.0, 3.1), (9.5, 0.59)],
)
def test_pounds_per_thousand_cubic_feet(grams: float, pounds: float) -> None:
    """Mechanical-code table 1103.1 prints both units; two digits, so half of the second."""
    printed = float(amount(grams, "g/m3").split("(")[1].split()[0])
    assert printed == pytest.approx(pounds, abs=0.06 if pounds < 10 else 0.6)


def test_r744_in_a_closed_room() -> None:
    """calibration-and-site-checks.md: 54 g/m3 in later editions; 5 kg need 5000 / 54 = 92.6 m3."""
    rows = charge_checks("R-744", "A1", 5.0)
    assert rows[0].value == pytest.approx(92.6, abs=0.05)
    assert rows[0].unit == "m3"
    assert len(rows) == 2  # concentration and practical limit; it does not burn
    inside = charge_checks("R-744", "A1", 5.0, room_m3=80.0)
    assert inside[0].value == pytest.approx(62.5)
    assert "exceeded" in inside[0].limit
    assert inside[1].value == pytest.approx(62.5)
    assert "met" in inside[1].limit  # 100 g/m3
    assert {c.state for c in rows} == {"information"}  # no room is given
    assert [c.state for c in inside] == ["fail", "ok"]


def test_a_withdrawn_limit_is_not_used() -> None:
    """R-454B: model code amendment of 2024; a quarter of 0.297 kg/m3 is 74 g/m3, so 5 kg need 67 m3."""
    rows = charge_checks("R-454B", "A2L", 5.0)
    assert not any(c.name.startswith("refrigerant concentration limit") for c in rows)
    assert rows[0].value == pytest.approx(5000.0 / 74.25, rel=1e-9)


@pytest.mark.contract
def test_only_a_limit_that_was_seen_gives_ok() -> None:
    """R-134a: 210 g/m3 was seen in a code table. 10 kg in 50 m3 are 200, in 40 m3 250."""
    assert charge_checks("R-134a", "A1", 10.0, room_m3=50.0)[0].state == "ok"
    assert charge_checks("R-134a", "A1", 10.0, room_m3=40.0)[0].state == "fail"


@pytest.mark.parametrize(
    ("kg", "words"),
    [(0.15, "up to m1"), (0.5, "above m1"), (1.5, "above m2"), (6.0, "above m3")],
)
def test_steps_of_a_flammable_charge(kg: float, words: str) -> None:
    """R-290: m1 0.152, m2 0.988, m3 4.94 kg."""
    (row,) = [c for c in charge_checks("R-290", "A3", kg) if c.name.startswith("charge of one")]
    assert words in row.limit
    assert row.state == "confirm"


@pytest.mark.independent
def test_rooms_with_people() -> None:
    """20 m2, R-290 on the floor: 0.113 kg, but m1 of 0.152 kg is always allowed; R-32: 1.842 over 1.53."""
    for name, safety, most in (("R-290", "A3", 0.152), ("R-32", "A2L", 1.84)):
        rows = charge_checks(name, safety, 0.1, room_m3=50.0, room_m2=20.0)
        assert f"at most {most:g} kg" in rows[-1].limit
    assert "at most 3.07 kg" in charge_checks("R-32", "A2L", 0.1, room_m2=80.0)[-1].limit  # 1.533 x 2


@pytest.mark.contract
def test_unknown_refrigerants_are_left_to_the_code() -> None:
    (row,) = charge_checks("R-9999", "A1", 5.0, room_m3=50.0)
    assert row.state == "confirm"
    assert "not in the table" in row.limit


@pytest.mark.law
@given(st.floats(0.01, 100.0), st.floats(1.0, 1e4))
def test_a_leak_fills_the_room_evenly(kg: float, room: float) -> None:
    """Laws: concentration times room is the charge; the least room just meets the limit. 1e-12: rounding."""
    for row, alone in zip(
        charge_checks("R-290", "A3", kg, room_m3=room)[:3], charge_checks("R-290", "A3", kg)[:3], strict=True
    ):
        assert row.value is not None
        assert alone.value is not None
        assert row.value * room == pytest.approx(1e3 * kg, rel=1e-12)
        assert ("exceeded" in row.limit) == (room < alone.value) or math.isclose(room, alone.value)


@pytest.mark.contract
def test_what_is_refused() -> None:
    for options in ({"room_m3": 0.0}, {"room_m2": -1.0}, {"room_m3": float("nan")}):
        with pytest.raises(OutOfRangeError, match="room"):
            charge_checks("R-290", "A3", 1.0, **options)
    with pytest.raises(OutOfRangeError, match="charge"):
        charge_checks("R-290", "A3", -1.0)
    with pytest.raises(OutOfRangeError, match="warming potential"):
        gwp_checks(
            "R-290", {"US": -1.0, "EU": 0.02}, fluorinated=False, split=False, unit_kw=10.0, region="US"
        )
