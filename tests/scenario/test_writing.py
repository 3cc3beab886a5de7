"""What a scenario assumes and is cautioned about, templates, and writing that reads back equal."""

from pathlib import Path
from typing import Any

import pytest
import yaml
from cases import GOOD, ROOT
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hpwhsim.errors import InputError
from hpwhsim.scenario.families import FAMILIES
from hpwhsim.scenario.reading import changed, read_scenario, scenario_from
from hpwhsim.scenario.starter import SCHEMA
from hpwhsim.scenario.templates import template
from hpwhsim.scenario.writing import assumptions, cautions, dump, dump_text

pytestmark = pytest.mark.contract


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Folder with a scenario, a weather file and a table; only their being there matters."""
    for name in ("weather.csv", "table.csv", "use.csv", "day.csv"):
        (tmp_path / name).write_text("x\n")
    (tmp_path / "good.yaml").write_text(GOOD)
    return tmp_path


def test_changed_checks_and_leaves_the_first_alone(folder: Path) -> None:
    scenario = read_scenario(folder / "good.yaml").scenario
    other = changed(scenario, ["plant.storage.volume=3 m3"], folder)
    assert other.plant.storage.volume == 3
    assert scenario.plant.storage.volume != 3
    with pytest.raises(InputError, match="allowed more than 0 m3"):
        changed(scenario, ["plant.storage.volume=0 m3"], folder)


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_template_is_valid_as_it_stands(folder: Path, family: str) -> None:
    text = template(family, "weather.csv", SCHEMA.as_uri())
    (folder / "new.yaml").write_text(text)
    scenario = read_scenario(folder / "new.yaml").scenario
    assert scenario.plant.family == family
    assert "INVENTED" in text
    assert scenario.title.startswith("Invented")
    assert cautions(scenario) == []


def test_template_of_an_unknown_family() -> None:
    with pytest.raises(InputError, match=r"'steam'; allowed central-air, packaged, split"):
        template("steam", "weather.csv", SCHEMA.as_uri())


@st.composite
def raw_scenarios(draw: st.DrawFn) -> dict[str, Any]:
    """Mappings a modeler could have written, with any number of optional keys."""

    def some(low: float, high: float, unit: str) -> st.SearchStrategy[str]:
        return st.floats(low, high).map(lambda value: f"{value!r} {unit}")

    clock = st.tuples(st.integers(0, 23), st.sampled_from(range(0, 60, 5)))  # on the usual steps
    window = (
        st.tuples(clock, clock)
        .filter(lambda pair: pair[0] != pair[1])
        .map(lambda pair: "{:02d}:{:02d}-{:02d}:{:02d}".format(*pair[0], *pair[1]))
    )
    rated = {
        "source": some(-20, 30, "degC"),
        "water_in": some(1, 40, "degC"),
        "water_out": some(50, 90, "degC"),
    }
    machine = draw(
        st.fixed_dictionaries(
            {
                "refrigerant": st.just("R-744"),
                "capacity": some(1, 500, "kBtu/h"),
                "cop": st.floats(1, 15),
                "rated_at": st.fixed_dictionaries(rated),
            },
            optional={"modules": st.integers(1, 100), "min_source": some(-40, 5, "degF")},
        )
    )
    plant: dict[str, Any] = {"family": "central-air", "heat_pump": machine}
    plant["storage"] = draw(
        st.fixed_dictionaries(
            {"volume": some(10, 9000, "gal"), "setpoint": some(55, 95, "degC")},
            optional={
                "tanks": st.integers(1, 9),
                "heat_loss": some(0, 90, "Btu/h/delta_degF"),
                "height": some(3, 20, "ft"),
                "inlet_mixing": st.floats(0, 0.5),
            },
        )
    )
    if draw(st.booleans()):
        plant["backup"] = draw(
            st.fixed_dictionaries(
                {"kind": st.just("gas"), "power": some(1, 900, "MBH")},
                optional={"efficiency": st.floats(0.3, 1), "dead_band": some(1, 50, "delta_degF")},
            )
        )
    if draw(st.booleans()):
        plant["controls"] = draw(
            st.fixed_dictionaries(
                {},
                optional={"charge_windows": st.lists(window, max_size=3), "min_run": some(0, 60, "min")},
            )
        )
    raw: dict[str, Any] = {
        "title": draw(
            st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=40)
        ),
        "site": {"weather": "weather.csv"},
        "building": {"apartments": draw(st.integers(1, 5000))},
        "plant": plant,
    }
    if draw(st.booleans()):
        raw["hot_water"] = draw(
            st.fixed_dictionaries(
                {},
                optional={
                    "daily_use_per_apartment": some(1, 200, "gal/day"),
                    "draws": st.sampled_from(["smooth", "random"]),
                    "month_factors": st.just("none") | st.lists(st.floats(0.1, 10), min_size=12, max_size=12),
                    "weekend_factor": st.floats(0.1, 5),
                    "day_spread": st.floats(0, 0.5),
                },
            )
        )
    if draw(st.booleans()):
        raw["recirculation"] = {"loss_per_apartment": draw(some(1, 900, "W"))}
    return raw


@pytest.mark.slow
@pytest.mark.law
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)
@given(raw=raw_scenarios())
def test_dump_reads_back_equal(folder: Path, raw: dict[str, Any]) -> None:
    """A law: writing then reading is the identity, defaults stay defaults, and text equals mapping."""
    scenario = scenario_from(raw, folder)
    again = scenario_from(dump(scenario), Path("/nowhere"))
    assert again == scenario
    assert assumptions(again) == assumptions(scenario)
    text = dump_text(scenario, folder)
    assert "weather: weather.csv" in text
    assert scenario_from(yaml.safe_load(text), folder) == scenario


# -- assumptions and cautions ------------------------------------------------------------------------


def test_assumptions_are_the_defaults_in_force(folder: Path) -> None:
    path = folder / "good.yaml"
    found = {row["key"]: row["value"] for row in assumptions(read_scenario(path).scenario)}
    assert found["hot_water.use_temperature"] == "49 degC"
    said = found["hot_water.daily_use_per_apartment"]
    assert said.startswith("handbook average day for this number of apartments, taken as water of 49 degC")
    assert found["hot_water.month_factors"].startswith("the season of metered apartments: +8 %")
    assert found["hot_water.weekend_factor"] == "1.0"
    assert found["plant.storage.conductivity"] == "0.64 W/m/K"
    assert found["plant.controls.charge_windows"] == "none"
    assert found["recirculation"] == "no recirculation loop"
    assert found["plant.heat_pump.condenser"] == "single-pass"
    assert found["plant.backup.kind"] == "none"
    absent = {
        "title",
        "notes",
        "building.apartments",
        "plant.storage.volume",
        "hot_water.seed",
        "hot_water.metered",
    }
    assert not absent & set(found)
    assert not [key for key in found if key.startswith("plant.backup.") and key != "plant.backup.kind"]
    overrides = ["hot_water.use_temperature=50 degC", "hot_water.draws=random", "hot_water.pattern=day.csv"]
    changed_keys = {row["key"] for row in assumptions(read_scenario(path, overrides).scenario)}
    assert "hot_water.use_temperature" not in changed_keys
    assert "hot_water.pattern" not in changed_keys
    assert "hot_water.seed" in changed_keys


def test_an_assumption_gives_the_value_that_its_default_comes_to(folder: Path) -> None:
    """A plant with one heater and one with a heat pump; by hand from the templates."""

    def assumed(family: str) -> dict[str, str]:
        (folder / "new.yaml").write_text(template(family, "weather.csv", SCHEMA.as_uri()))
        scenario = read_scenario(folder / "new.yaml").scenario
        return {row["key"]: row["value"] for row in assumptions(scenario)}

    heater = assumed("resistance")
    assert heater["plant.backup.setpoint"] == "60 degC"  # that of the store, 140 degF
    assert heater["plant.backup.height"] == "0.05"
    air = assumed("central-air")
    assert air["plant.source.kind"] == "outdoor-air"
    assert air["plant.heat_pump.defrost"] == "reverse-cycle"
    assert air["plant.heat_pump.return_height"] == "1"
    assert air["plant.heat_pump.outlet_temperature"] == "65.6 degC"  # 150 degF
    idle = {"hot_water.tempering_min_flow", "plant.heat_pump.rise", "plant.heat_pump.condenser_height"}
    assert not idle & air.keys()
    packaged = assumed("packaged").keys()
    assert "plant.heat_pump.condenser_height" in packaged
    assert not {"plant.heat_pump.return_height", "plant.source.room.heating_setpoint"} & packaged
    assert not {"plant.heat_pump.defrost", "plant.controls.defrosts"} & assumed("ground").keys()


def test_what_does_nothing_is_no_assumption(folder: Path) -> None:
    (folder / "new.yaml").write_text(template("resistance", "weather.csv", SCHEMA.as_uri()))
    keys = {row["key"] for row in assumptions(read_scenario(folder / "new.yaml").scenario)}
    assert not [key for key in keys if key.startswith(("plant.heat_pump", "plant.source", "plant.controls"))]
    assert "plant.backup.efficiency" not in keys
    overrides = ["hot_water.metered=use.csv"]
    keys = {row["key"] for row in assumptions(read_scenario(folder / "good.yaml", overrides).scenario)}
    assert not {"hot_water.daily_use_per_apartment", "hot_water.pattern", "hot_water.month_factors"} & keys
    overrides = ["plant.backup={kind: gas, power: 9 kW, mode: series}"]
    keys = {row["key"] for row in assumptions(read_scenario(folder / "good.yaml", overrides).scenario)}
    assert "plant.backup.efficiency" in keys
    assert "plant.backup.height" not in keys


@pytest.mark.parametrize(
    ("override", "part"),
    [
        ("plant.storage.setpoint=58 degC", "below 60 degC (140 degF) Legionella"),  # Guideline 12-2000, 4.1.6
        ("plant.storage.setpoint=45 degC", "taps never get water at the temperature of use"),
        (
            "recirculation={loss_per_apartment: 90 W, return_temperature: 45 degC}",
            "Legionella may grow in the loop",
        ),
        ("hot_water.use_temperature=55 degC", "can scald"),  # 120 degF maximum at bathing outlets
        ("plant.controls={boost: 5 K, boost_windows: ['1:00-3:00']}", "is not charged further"),
    ],
)
def test_cautions(folder: Path, override: str, part: str) -> None:
    said = cautions(read_scenario(folder / "good.yaml", [override]).scenario)
    assert any(part in line for line in said)
    assert cautions(read_scenario(folder / "good.yaml").scenario) == []


def test_a_preheat_store_below_the_use_temperature_is_allowed(folder: Path) -> None:
    """A series backup lifts the water on its way to the taps, so the store may stand below them."""
    overrides = ["plant.storage.setpoint=42 degC", "plant.backup={kind: gas, power: 90 kW, mode: series}"]
    said = cautions(read_scenario(folder / "good.yaml", overrides).scenario)
    assert not any("temperature of use" in line for line in said)


WORKED = sorted((ROOT / "scenarios").glob("*.yaml")) + sorted((ROOT / "scenarios" / "studies").glob("*.yaml"))


@pytest.mark.law
@pytest.mark.parametrize("path", WORKED, ids=lambda path: path.stem)
def test_every_worked_file_reads_back_equal(path: Path, tmp_path: Path) -> None:
    """The same law for every file that ships: a bundle is repeated from what is dumped here."""
    scenario = read_scenario(path).scenario
    assert scenario_from(dump(scenario), tmp_path) == scenario
    assert scenario_from(yaml.safe_load(dump_text(scenario)), tmp_path) == scenario
