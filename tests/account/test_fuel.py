"""Fuels and steam against 40 CFR 98, and methane lost upstream against handbook densities."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.account.fuel import METHANE_KG_PER_SCF, fuel, steam, upstream_methane
from hpwhsim.account.gases import warming
from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.tables import read_table

pytestmark = pytest.mark.published

KWH_PER_MMBTU = 1055.05585262 / 3.6  # International Table Btu, NIST SP 811 appendix B.8

NAMES = {"natural gas (US weighted average)": "natural-gas", "LPG": "lpg"}


def published(references: Path) -> dict[str, dict[str, str]]:
    text = (references / "fuel-factors.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in text if not line.startswith("#"))
    found = {}
    for row in rows:
        name = row["fuel"]
        found[NAMES.get(name) or (f"fuel-oil-{name[-1]}" if "oil" in name else name)] = row
    return found


def test_natural_gas() -> None:
    """40 CFR 98 Table C-1: 53.06 kg CO2/MMBtu; with C-2 and AR5 (fossil 30, 265) 53.1165, AR6 fossil 53.1171.

    0.00005: the last printed digit.
    """
    gas = fuel("natural-gas")
    assert gas.gases.co2 * KWH_PER_MMBTU == pytest.approx(53.06, rel=1e-12)
    assert gas.kgco2e_per_kwh("AR5-100") * KWH_PER_MMBTU == pytest.approx(53.1165, abs=5e-5)
    assert gas.kgco2e_per_kwh("AR6-100") * KWH_PER_MMBTU == pytest.approx(53.1171, abs=5e-5)


def test_every_fuel(references: Path) -> None:
    """fuel-factors.csv of the check values, all fuels; tolerances are half of the last printed digit.

    Its AR5 has methane of 28; with 30 of fossil methane (IPCC AR5 Table 8.A.1) each kg of it weighs 2 more.
    """
    rows = published(references)
    assert set(rows) == {row["fuel"] for row in read_table("fuel_factors")}
    for name, row in rows.items():
        held = fuel(name)
        per_mmbtu = held.gases.times(KWH_PER_MMBTU)
        assert per_mmbtu.co2 == pytest.approx(float(row["kgCO2_per_mmBtu"]), rel=1e-12)
        assert per_mmbtu.kgco2e("AR5-100") == pytest.approx(float(row["kgCO2e_ar5_per_mmBtu"]), abs=5e-5)
        assert per_mmbtu.kgco2e("AR6-100", fossil=True) == pytest.approx(
            float(row["kgCO2e_ar6_per_mmBtu"]), abs=5e-5
        )
        assert held.kgco2e_per_kwh("AR5-100") - 2.0 * held.gases.ch4 == pytest.approx(
            float(row["kgCO2e_ar5_per_kWh_hhv"]), abs=5.1e-7
        )
        # kg CO2 of a scf or a gallon, printed to five decimals
        assert held.kwh_per_unit * held.gases.co2 == pytest.approx(float(row["kgCO2_per_unit"]), abs=5.1e-6)


@pytest.mark.independent
def test_steam_by_hand() -> None:
    """Gas at 53.06 kg CO2/MMBtu, 80 % plant, 15 % lost: 53.06 / (0.80 x 0.85) = 78.0294 kg/MMBtu of heat."""
    heat = steam(fuel("natural-gas"), 0.80, 0.15)
    assert heat.gases.co2 * KWH_PER_MMBTU == pytest.approx(78.0294, abs=5e-5)
    assert "0.8" in heat.source
    assert "0.15" in heat.source
    assert steam(fuel("fuel-oil-6"), 1.0, 0.0).gases == fuel("fuel-oil-6").gases


def test_density_of_methane() -> None:
    """40 CFR 98.233: 0.0192 kg CH4 per standard cubic foot, at 60 degF and 14.7 psia; quoted from memory.

    Half of its last digit. CoolProp's real gas is 0.2 % denser than an ideal one: 0.3 % allowed.
    """
    from CoolProp.CoolProp import PropsSI

    held = METHANE_KG_PER_SCF
    assert held == pytest.approx(0.0192, abs=5e-5)
    real = PropsSI("D", "T", (60.0 + 459.67) / 1.8, "P", 101325.0, "Methane") * 0.3048**3
    assert held == pytest.approx(real, rel=3e-3)


@pytest.mark.independent
def test_pure_methane_by_its_heat_of_combustion() -> None:
    """A second way: 890.6 kJ/mol (gross, 25 degC; quoted from memory) is 19.00 kg per MMBtu.

    A gas of methane alone has 1,010 Btu per standard cubic foot (quoted from memory). 0.3 %: real gas, and
    25 degC against 60 degF.
    """
    direct = 1055.05585262e6 / (890.6e3 / 16.0425e-3)
    assert upstream_methane(0.01, 1.0, 1.010e-3) * KWH_PER_MMBTU == pytest.approx(0.01 * direct, rel=3e-3)


@pytest.mark.independent
def test_upstream_by_hand() -> None:
    """2 % of gas with 95 % methane: 0.02 x 0.95 x 0.01918 / 0.001026 = 0.3552 kg/MMBtu; AR5-20, 85: 30.2.

    0.001026 MMBtu per standard cubic foot: 40 CFR 98 Table C-1.

    0.1 %: four digits of the density.
    """
    lost = upstream_methane(0.02, 0.95) * KWH_PER_MMBTU
    assert lost == pytest.approx(0.3552, rel=1e-3)
    assert warming("AR5-20")["ch4_fossil"] * lost == pytest.approx(30.19, rel=1e-3)
    rows = {row["fuel"]: row for row in read_table("fuel_factors")}
    assert float(rows["natural-gas"]["mmbtu_per_unit"]) == 1.026e-3
    assert upstream_methane(0.02, 0.95) == upstream_methane(0.02, 0.95, 1.026e-3)


@pytest.mark.law
@given(st.floats(0.0, 0.4), st.floats(0.5, 1.0))
def test_upstream_is_proportional_and_never_in_the_factor(leak: float, share: float) -> None:
    """Law: linear in the leak; the combustion factor knows nothing of it. 1e-12: rounding."""
    before = fuel("natural-gas")
    assert upstream_methane(2.0 * leak, share) == pytest.approx(
        2.0 * upstream_methane(leak, share), rel=1e-12
    )
    assert fuel("natural-gas") == before


@pytest.mark.contract
def test_what_is_refused() -> None:
    with pytest.raises(InputError, match=r"carbon\.fuel: got 'coal'; allowed natural-gas, propane"):
        fuel("coal")
    for values in ((0.0, 0.1), (1.1, 0.1), (float("nan"), 0.1), (0.8, 1.0), (0.8, -0.1)):
        with pytest.raises(OutOfRangeError, match="allowed"):
            steam(fuel("natural-gas"), *values)
    for triple in (
        (-0.01, 0.9, 1e-3),
        (1.0, 0.9, 1e-3),
        (0.01, 0.0, 1e-3),
        (0.01, 1.1, 1e-3),
        (0.01, 0.9, 0.0),
    ):
        with pytest.raises(OutOfRangeError, match="allowed"):
            upstream_methane(*triple)
