"""The blocks on carbon and site checks: contract, defaults with their sources, forms of a grid, refusals."""

from pathlib import Path
from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter, ValidationError

from hpwhsim.account.electrical import VOLTAGES
from hpwhsim.account.fuel import fuel, upstream_methane
from hpwhsim.account.gases import warming
from hpwhsim.account.grid import read_grid
from hpwhsim.account.site import MODULE_KG_PER_KW, SHELL_KG_PER_M3
from hpwhsim.heatpump.refrigerants import GWP_SETS as REFRIGERANT_SETS
from hpwhsim.io.units import (
    AREA,
    CURRENT,
    FLOOR_LOAD,
    MASS,
    MASS_PER_LENGTH,
    MASS_PER_POWER,
    VOLTAGE,
    Kind,
    QuantityError,
    as_text,
    read_quantity,
)
from hpwhsim.scenario.carbon import FUELS, GWP_SETS, Carbon, RefrigerantCarbon, SiteChecks
from hpwhsim.scenario.keys import block_of, extra_of, kind_of, walk
from hpwhsim.scenario.parts import Block

pytestmark = pytest.mark.contract

BLOCKS: tuple[type[Block], ...] = (Carbon, SiteChecks)
FIELDS = [(f"{block.__name__}.{path}", field) for block in BLOCKS for path, field in walk(block)]
POUND = 0.45359237  # kg, exact; NIST SP 811 appendix B.8
FOOT = 0.3048  # m, exact


def test_contract_key_paths_exist() -> None:
    """Design, section 4, the keys under carbon."""
    paths = {path for path, _ in walk(Carbon)}
    assert {"grid", "service_years"} <= paths
    assert {f"refrigerant.{k}" for k in ("charge", "annual_leak", "end_of_life_loss", "gwp")} <= paths


@pytest.mark.parametrize(("path", "field"), FIELDS, ids=[path for path, _ in FIELDS])
def test_every_key_is_described_and_every_default_has_a_source(path: str, field: Any) -> None:
    assert field.description, path
    if not field.is_required():
        assert extra_of(field)["source"]


def test_every_default_is_within_its_own_bounds() -> None:
    """Each default fed back as a value must be accepted; pydantic does not check defaults by itself."""
    checked = 0
    for path, field in FIELDS:
        if not field.is_required() and field.default is not None and block_of(field) is None:
            kind = kind_of(field)
            given = as_text(field.default, kind) if kind else field.default
            adapter = TypeAdapter(Annotated[field.annotation, path, *field.metadata])
            assert adapter.validate_python(given) == field.default
            checked += 1
    assert checked > 12


def test_blocks_are_frozen_and_forbid_strangers() -> None:
    carbon, name = Carbon(), "gwp"
    with pytest.raises(ValidationError, match="frozen"):
        setattr(carbon, name, "AR4-100")
    with pytest.raises(ValidationError, match="extra_forbidden"):
        RefrigerantCarbon.model_validate({"anual_leak": 0.03})


def test_defaults_are_those_of_the_accounts() -> None:
    """Schema and accounts may not import each other: their shared numbers must agree."""
    assert upstream_methane(0.01, Carbon().methane_share) == upstream_methane(0.01)
    assert set(GWP_SETS) == set(REFRIGERANT_SETS)
    assert all(warming(basis) for basis in GWP_SETS)
    assert all(fuel(name).name == name for name in FUELS)
    grid = Carbon().grid
    assert read_grid(grid, basis=Carbon().gwp).name == grid
    checks = SiteChecks()
    assert checks.voltage in VOLTAGES[checks.phases]
    said = {path.split(".")[1]: extra_of(field) for path, field in FIELDS}
    assert f"{SHELL_KG_PER_M3:g} kg" in said["tank_mass"]["none"]
    assert f"{MODULE_KG_PER_KW:g} kg" in said["module_mass"]["none"]


@pytest.mark.parametrize(
    "text", ["0.39 kg/kWh", "860 lb/MWh", "RFCW", "RFCW 2023", "Canada-ON 2021", "EU DE"]
)
def test_grids_keep_what_was_written(text: str) -> None:
    carbon = Carbon.model_validate({"grid": text})
    assert carbon.grid == text
    assert float(read_grid(carbon.grid).kgco2e_per_kwh[0, 0]) > 0.0


def test_a_file_is_found_from_the_folder_of_the_scenario(tmp_path: Path) -> None:
    (tmp_path / "grid.csv").write_text("year,kg_per_kwh\n2025,0.5\n2040,0.1\n")
    for key in ("grid", "marginal"):
        carbon = Carbon.model_validate({key: "grid.csv"}, context={"folder": str(tmp_path)})
        assert getattr(carbon, key) == tmp_path / "grid.csv"
    with pytest.raises(ValidationError, match=r"there is none at .*none\.csv"):
        Carbon.model_validate({"grid": "none.csv"}, context={"folder": str(tmp_path)})


def test_warming_potential_by_name_or_number() -> None:
    assert RefrigerantCarbon.model_validate({"gwp": "AR5-20"}).gwp == "AR5-20"
    assert RefrigerantCarbon.model_validate({"gwp": 2088}).gwp == 2088.0
    assert RefrigerantCarbon().gwp is None  # that of carbon.gwp


@pytest.mark.published
def test_end_of_life_either_way() -> None:
    """UK Defra 2010, air conditioning with heat pumps: 80 % left, 95 % of it recovered: 4 % lost."""
    assert RefrigerantCarbon().lost_at_end == 0.2
    block = RefrigerantCarbon.model_validate({"left_at_end": 0.8, "recovered": 0.95})
    assert block.lost_at_end == pytest.approx(0.04)


@pytest.mark.parametrize(
    ("block", "given", "key", "words"),
    [
        (Carbon, {"grid": 0.39}, "grid", "write the unit too), a region such as 'RFCW 2023'"),
        (Carbon, {"grid": "0.39"}, "grid", "a region such as"),
        (Carbon, {"grid": "-0.1 kg/kWh"}, "grid", "0 kg/kWh or more"),
        (Carbon, {"grid": "5 kW"}, "grid", "does not measure a mass per energy"),
        (Carbon, {"grid": True}, "grid", "a region such as"),
        (Carbon, {"grid_kind": "mean"}, "grid_kind", "'average' or 'marginal'"),
        (Carbon, {"grid_kind": "marginal", "marginal": "0.5 kg/kWh"}, "", "carbon.grid is marginal"),
        (Carbon, {"grid": "0.39 kg/kWh", "grid_loss": 0.05}, "", "at the meter"),
        (Carbon, {"gwp": "AR7-100"}, "gwp", "AR6-100"),
        (Carbon, {"service_years": 0}, "service_years", "greater than or equal to 1"),
        (Carbon, {"service_years": 15.5}, "service_years", "valid integer"),
        (Carbon, {"fuel": "coal"}, "fuel", "natural-gas"),
        (Carbon, {"methane_share": 0.9}, "", "without carbon.upstream_leak"),
        (Carbon, {"upstream_leak": 0.02, "fuel": "propane"}, "", "natural-gas"),
        (
            Carbon,
            {"fuel": "propane", "steam": {"fuel": "propane", "plant_efficiency": 0.8, "network_loss": 0.1}},
            "",
            "nothing beside carbon.steam",
        ),
        (Carbon, {"steam": {"fuel": "propane", "network_loss": 0.1}}, "plant_efficiency", "required"),
        (RefrigerantCarbon, {"charge": 12.0}, "charge", "write the unit too"),
        (RefrigerantCarbon, {"charge": "12 L"}, "charge", "does not measure a mass"),
        (RefrigerantCarbon, {"annual_leak": 3.0}, "annual_leak", "less than or equal to 1"),
        (RefrigerantCarbon, {"annual_leak": float("nan")}, "annual_leak", "finite"),
        (RefrigerantCarbon, {"gwp": "AR7"}, "gwp", "or a number"),
        (RefrigerantCarbon, {"gwp": -1.0}, "gwp", "from 0"),
        (RefrigerantCarbon, {"gwp": True}, "gwp", "or a number"),
        (RefrigerantCarbon, {"charge": "9 kg", "charge_per_kw": "0.2 kg/kW"}, "", "beside"),
        (RefrigerantCarbon, {"recovered": 0.9, "end_of_life_loss": 0.1}, "", "beside"),
        (RefrigerantCarbon, {"left_at_end": 0.9}, "", "without"),
        (SiteChecks, {"voltage": "208 kW"}, "voltage", "does not measure a voltage"),
        (SiteChecks, {"phases": 2}, "phases", "1 or 3"),
        (SiteChecks, {"max_floor_load": "100 lb"}, "max_floor_load", "a load per area"),
    ],
)
def test_what_is_refused(block: type[Block], given: dict[str, Any], key: str, words: str) -> None:
    with pytest.raises(ValidationError) as caught:
        block.model_validate(given)
    (error,) = caught.value.errors(include_url=False)
    assert error["loc"][-1:] == ((key,) if key else ())
    assert words in error["msg"]


@pytest.mark.published
@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("12 kg", MASS, 12.0),
        ("2,500 lb", MASS, 2500 * POUND),
        ("8 oz", MASS, POUND / 2),  # 16 ounces in a pound, NIST SP 811 B.8
        ("0.25 kg/kW", MASS_PER_POWER, 0.25),
        ("2 lb/ton", MASS_PER_POWER, 2 * POUND / 3.516852842),  # 12,000 Btu/h = 3.516853 kW, NIST SP 811 B.8
        ("0.5 oz/ft", MASS_PER_LENGTH, POUND / 32 / FOOT),
        ("200 ft2", AREA, 200 * FOOT**2),
        ("20 m²", AREA, 20.0),
        ("480 V", VOLTAGE, 480.0),
        ("400 A", CURRENT, 400.0),
        ("100 lb/ft2", FLOOR_LOAD, 100 * POUND * 9.80665 / FOOT**2),
        ("100 lb per sq ft", FLOOR_LOAD, 100 * POUND * 9.80665 / FOOT**2),
        ("100 psf", FLOOR_LOAD, 4788.026),  # 1 lbf/ft2 = 47.88026 Pa, NIST SP 811 B.8
        ("5 kN/m2", FLOOR_LOAD, 5000.0),
        ("4.8 kPa", FLOOR_LOAD, 4800.0),
    ],
)
def test_quantities_of_these_blocks(text: str, kind: Kind, value: float) -> None:
    """Defined factors, NIST SP 811 (2008) appendix B.8; seven digits where it prints a rounded one."""
    assert read_quantity(text, kind) == pytest.approx(value, rel=1e-7)


@pytest.mark.parametrize(
    ("text", "kind"),
    [("100 lb", FLOOR_LOAD), ("60 lb/ft3", FLOOR_LOAD), ("208 A", VOLTAGE), ("12 m", AREA), ("2 tons", MASS)],
)
def test_quantities_that_are_refused(text: str, kind: Kind) -> None:
    with pytest.raises(QuantityError, match=kind.noun):
        read_quantity(text, kind)
