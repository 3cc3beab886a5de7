"""Every plant family through a year: what closes and adds up, what a heater buys, when a hybrid locks out."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from cases import ROOT, cautions, number, series, worked

from hpwhsim.scenario.families import FAMILIES
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year

pytestmark = [pytest.mark.law, pytest.mark.year]

FILES = (
    "packaged",
    "split",
    "banked-split",
    "central-air",
    "ground",
    "wastewater",
    "hybrid",
    "resistance",
    "gas-tank",
    "gas-boiler",
    "oil-boiler",
    "district-steam",
)
FUELS = {"gas-tank": "gas", "gas-boiler": "gas", "oil-boiler": "oil", "district-steam": "steam"}
GALLON, BTU_H, DELTA_F = 3.785411784e-3, 0.29307107, 1.0 / 1.8  # m³, W, K


@pytest.fixture(scope="session")
def year_of() -> Callable[[str], Year]:
    """The year of a worked file, marched once."""
    return cache(worked)


@pytest.mark.contract
def test_every_family_has_a_worked_file() -> None:
    """The plan: every plant family works end to end; the hybrid is a family with a second heater."""
    found = {name: read_scenario(ROOT / "scenarios" / f"{name}.yaml").scenario.plant for name in FILES}
    assert {plant.family for plant in found.values()} == set(FAMILIES)
    assert found["hybrid"].heat_pump is not None
    assert found["hybrid"].backup.kind == "gas"


@pytest.mark.parametrize("name", FILES)
def test_the_year_closes_and_adds_up(year_of: Callable[[str], Year], name: str) -> None:
    """First law over the plant's water within 1e-6, and every record key re-added from its parts.

    Parts are sums of the same floats in another order: 1e-9 is a thousand times their rounding.
    """
    year = year_of(name)
    record, hourly = year.record, year.hourly
    assert abs(number(year, "balance_error")) <= 1e-6
    parts = ("compressor_kwh", "fan_kwh", "pump_kwh", "standby_kwh", "trace_heating_kwh", "resistance_kwh")
    parts += ("recirculation_pump_kwh", "loop_heat_pump_kwh")
    bought = sum(float(hourly[key].sum()) for key in parts if key in hourly)
    assert number(year, "electricity_kwh") == pytest.approx(bought, rel=1e-9, abs=1e-9)
    useful = number(year, "heat_to_taps_kwh") + number(year, "recirculation_loss_kwh")
    assert number(year, "cop_plant") == pytest.approx(useful / (bought + number(year, "fuel_kwh")), rel=1e-9)
    assert number(year, "peak_kw") == float(hourly["power_peak_kw"].max())
    assert number(year, "peak_kw") >= float(hourly["electricity_kwh"].max()) * (1.0 - 1e-12)
    for key in record:
        if key.startswith("monthly.") and key.endswith("_kwh"):
            assert sum(series(year, key)) == pytest.approx(
                number(year, key.removeprefix("monthly.")), rel=1e-9
            )
    if "heat_pump_heat_kwh" in record:
        lost = hourly["machine_loss_kwh"] + hourly.get("line_loss_kwh", np.zeros(8760))
        first_law = hourly["heat_pump_heat_kwh"] + lost - hourly["compressor_kwh"]
        assert hourly["source_heat_kwh"] == pytest.approx(first_law, abs=1e-9)


@pytest.mark.contract
@pytest.mark.parametrize("name", FILES)
def test_nobody_of_a_worked_building_runs_short(year_of: Callable[[str], Year], name: str) -> None:
    """The worked plants carry their invented load: no draw below 110 degF, the loop warm all year."""
    year = year_of(name)
    assert number(year, "short_hours") == 0.0
    assert "does not carry this load" not in cautions(year)


@pytest.mark.published
@pytest.mark.parametrize("name", sorted(FUELS))
def test_fuel_is_heat_over_efficiency(year_of: Callable[[str], Year], name: str) -> None:
    """10 CFR 431.110 of 2015: gas and oil heaters 80 % at least. Steam: first law of its condensate.

    Steam of 2 bar: 2706 kJ/kg; condensate at 90 °C is 377 kJ/kg and feed water of 10 °C 42 kJ/kg (steam
    tables, quoted from memory, whole kJ/kg: within 1e-3); 2 % of jacket loss.
    """
    year = year_of(name)
    efficiency = number(year, "backup_heat_kwh") / number(year, "fuel_kwh")
    if name == "district-steam":
        assert efficiency == pytest.approx(0.98 * (2706.0 - 377.0) / (2706.0 - 42.0), abs=1e-3)
    else:
        assert efficiency == pytest.approx(0.80, rel=1e-9)
    # no electricity but that of the loop's pump
    assert number(year, "electricity_kwh") == year.record.get("recirculation_pump_kwh", 0.0)
    assert (
        year.record["fuel"]
        == {"gas": "natural-gas", "oil": "fuel-oil", "steam": "district-steam"}[FUELS[name]]
    )


@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "made_on", "efficiency"),
    [
        ("gas-tank", "2026-10-05", 0.80),
        ("gas-tank", "2026-10-06", 0.95),
        ("gas-boiler", "2026-10-05", 0.80),
        ("gas-boiler", "2026-10-06", 0.96),
        ("oil-boiler", "2026-10-06", 0.80),
    ],
)
def test_the_date_of_manufacture_says_the_standard(name: str, made_on: str, efficiency: float) -> None:
    """10 CFR 431.110, table of October 2026: the gas rule starts on the 6th; oil is left as it was."""
    year = worked(name, f"plant.backup.made_on={made_on}", "hot_water.draws=smooth")
    assert number(year, "backup_heat_kwh") / number(year, "fuel_kwh") == pytest.approx(efficiency, rel=1e-9)


@pytest.mark.published
@pytest.mark.parametrize(
    ("made_on", "efficiency", "factor"), [("2020-01-01", 0.80, 1.0), ("2027-01-01", 0.95, 0.86)]
)
def test_a_gas_tank_loses_what_the_rule_allows(made_on: str, efficiency: float, factor: float) -> None:
    """10 CFR 431.110: Q/800 + 110 sqrt(V) Btu/h (2026: times 0.86) over 70 degF, heat side; by hand.

    Eight tanks of 100 gal and 20 kW of heat. The store stays between setpoint and dead band (3 K), so the
    loss at the setpoint is an upper bound, and 3 K less of 40 K a lower one.
    """
    year = worked("gas-tank", f"plant.backup.made_on={made_on}", "hot_water.draws=smooth")
    nameplate = 20e3 / efficiency / BTU_H
    standby = factor * (nameplate / 800.0 + 110.0 * np.sqrt(100.0)) * BTU_H * efficiency
    loss = 8 * standby / (70.0 * DELTA_F)  # W/K
    most = loss * (60.0 - 20.0) * 8.76
    assert 0.92 * most < number(year, "storage_loss_kwh") < most


# -- hybrid ------------------------------------------------------------------------------------------


def test_a_hybrid_stands_below_its_limit_and_gas_takes_over(year_of: Callable[[str], Year]) -> None:
    """-5 degC of the file: no compressor energy in any colder hour; below the limit gas gives all heat."""
    year = year_of("hybrid")
    cold = year.hourly["dry_bulb_c"] < -5.0
    assert cold.sum() > 500
    assert year.hourly["compressor_kwh"][cold].sum() == 0.0
    assert year.hourly["fuel_kwh"][cold].sum() > 0.8 * number(year, "fuel_kwh")
    causes = year.record["backup_hours_by_cause"]
    assert isinstance(causes, dict)
    assert causes["source-too-cold"] > 0.8 * number(year, "fuel_hours")


def test_a_warmer_lock_out_moves_the_load_to_gas(year_of: Callable[[str], Year]) -> None:
    """Share of gas rises with the lock-out temperature; the heat the building takes does not change."""
    shares = []
    years = [
        year_of("hybrid"),
        *(worked("hybrid", f"plant.controls.lock_out_below={t} degC") for t in (2, 10)),
    ]
    for year, limit in zip(years, (-5.0, 2.0, 10.0), strict=True):
        assert year.hourly["compressor_kwh"][year.hourly["dry_bulb_c"] < limit].sum() == 0.0
        heat = number(year, "backup_heat_kwh") + number(year, "heat_pump_heat_kwh")
        shares.append(number(year, "backup_heat_kwh") / heat)
        assert number(year, "heat_to_taps_kwh") == pytest.approx(
            number(years[0], "heat_to_taps_kwh"), rel=1e-6
        )
    assert shares == sorted(shares)
    assert shares[2] > shares[1] + 0.1 > shares[0] + 0.2


def test_a_lock_out_by_the_hour(year_of: Callable[[str], Year]) -> None:
    """No charge from 17:00 to 20:00; standing modules may still need power, so the heat is what is zero."""
    year = worked("hybrid", "plant.controls.lock_outs=['17:00-20:00']")
    of_day = np.arange(8760) % 24
    barred = (of_day >= 17) & (of_day < 20)
    assert year.hourly["run_hours"][barred].sum() == 0.0
    assert year_of("hybrid").hourly["run_hours"][barred].sum() > 100.0


def test_in_series_the_gas_heats_taps_and_loop() -> None:
    """Without heat pump for days the heater ahead of the loop's branch keeps it hot.

    By smooth draws: of random ones a burst may ask for more than its power.
    """
    year = worked("hybrid", "plant.backup.mode=series", "hot_water.draws=smooth")
    assert number(year, "short_hours") == 0.0
    assert number(year, "recirculation_loss_kwh") > 0.9 * 32 * 60.0 * 8.76
    assert "does not carry this load" not in cautions(year)
