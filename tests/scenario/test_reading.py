"""Reading scenario files: what is accepted, what each error says, overrides."""

import subprocess
import sys
from pathlib import Path

import pytest
import yaml
from cases import GOOD
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hpwhsim.errors import InputError
from hpwhsim.scenario.keys import known_fields, walk
from hpwhsim.scenario.reading import Loaded, read_scenario, scenario_from
from hpwhsim.scenario.renamed import RENAMED, renamed
from hpwhsim.scenario.yaml_text import parsed

pytestmark = pytest.mark.contract


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Folder with a scenario, a weather file and a table; only their being there matters."""
    for name in ("weather.csv", "table.csv", "use.csv", "day.csv"):
        (tmp_path / name).write_text("x\n")
    (tmp_path / "good.yaml").write_text(GOOD)
    return tmp_path


def message(folder: Path, *overrides: str, text: str | None = None, weather: Path | None = None) -> str:
    """The one-line message that reading ends with."""
    said = messages(folder, *overrides, text=text, weather=weather)
    assert "\n" not in said
    return said


def messages(folder: Path, *overrides: str, text: str | None = None, weather: Path | None = None) -> str:
    """The message that reading ends with: one line, or a head and a line for each thing that is wrong."""
    path = folder / "good.yaml"
    if text is not None:
        path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_scenario(path, overrides, weather)
    said = str(caught.value)
    assert one_line_each(said)
    assert "validation error" not in said.lower()
    return said


def one_line_each(said: str) -> bool:
    """Whether a message is one line, or says how many lines follow it, and each of them is indented."""
    head, *lines = said.split("\n")
    if len(said.splitlines()) != 1 + len(lines):
        return False
    counted_ = not lines or head.endswith(f": {len(lines)} things are wrong")
    return counted_ and all(line.startswith("  ") for line in lines)


def test_a_good_file(folder: Path) -> None:
    loaded = read_scenario(folder / "good.yaml")
    scenario = loaded.scenario
    assert isinstance(loaded, Loaded)
    assert loaded.path == (folder / "good.yaml").resolve()
    assert loaded.overrides == ()
    assert scenario.site.weather == (folder / "weather.csv").resolve()
    assert scenario.plant.storage.volume == pytest.approx(600 * 3.785411784e-3, rel=1e-14)  # 231 in3, exact
    assert scenario.plant.storage.setpoint == pytest.approx((150 - 32) / 1.8, abs=1e-9)  # rounded there
    assert scenario.outlet_temperature == scenario.plant.storage.setpoint
    assert scenario.hot_water.daily_use_per_apartment is None
    assert scenario.recirculation is None


@pytest.mark.independent
@pytest.mark.parametrize(
    ("written", "printed"), [("2026-11-30", "2026-11-30"), ("'30 November'", "30 November")]
)
def test_the_date_of_a_dossier_is_text_as_written(folder: Path, written: str, printed: str) -> None:
    """YAML reads 2026-11-30 as a date (YAML 1.1, timestamp); nobody's date stays nobody's."""
    (folder / "dated.yaml").write_text(f"{GOOD}\ndossier:\n  date: {written}\n")
    found = read_scenario(folder / "dated.yaml").scenario.dossier
    assert found is not None
    assert (found.date, found.prepared_by, found.paper) == (printed, None, "letter")


def test_sha256_is_that_of_the_file(folder: Path) -> None:
    """The system's own tool, run on the same bytes, is the independent method."""
    out = subprocess.run(
        ["sha256sum", str(folder / "good.yaml")], capture_output=True, text=True, check=True
    ).stdout
    assert read_scenario(folder / "good.yaml", ["plant.storage.tanks=3"]).sha256 == out.split()[0]


@pytest.mark.independent
def test_ip_and_si_give_the_same_model(folder: Path) -> None:
    """Equal by definition of the units: 68 degF is 20 degC, 5 ft is 1.524 m, 9 delta_degF is 5 K."""
    si = [
        "plant.storage.setpoint=60 degC",
        "plant.storage.room_temperature=20 degC",
        "plant.storage.height=1.524 m",
        "plant.controls.dead_band=5 K",
        "hot_water.use_temperature=50 degC",
        "plant.controls.min_run=600 s",
    ]
    ip = [
        "plant.storage.setpoint=140 degF",
        "plant.storage.room_temperature=68 degF",
        "plant.storage.height=5 ft",
        "plant.controls.dead_band=9 delta_degF",
        "hot_water.use_temperature=122 degF",
        "plant.controls.min_run=10 min",
    ]
    path = folder / "good.yaml"
    assert read_scenario(path, si).scenario == read_scenario(path, ip).scenario


# -- the file itself ---------------------------------------------------------------------------------


def test_missing_file_and_folder(folder: Path) -> None:
    with pytest.raises(InputError, match=r"none\.yaml: there is no such file"):
        read_scenario(folder / "none.yaml")
    with pytest.raises(InputError, match="this is a folder"):
        read_scenario(folder)


def test_not_utf8(folder: Path) -> None:
    (folder / "latin.yaml").write_bytes(b"title: caf\xe9\n")
    with pytest.raises(InputError, match=r"latin\.yaml: not UTF-8 text \(byte 11\)"):
        read_scenario(folder / "latin.yaml")


def test_a_byte_order_mark_is_no_error(folder: Path) -> None:
    (folder / "bom.yaml").write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert read_scenario(folder / "bom.yaml").scenario.title == "An invented building"


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "the file is empty"),
        ("# only a comment\n", "the file is empty"),
        ("- 1\n- 2\n", "got a list at the top"),
        ("hello\n", "got 'hello' at the top"),
        ("title: [1\n", "line 2, column 1: not valid YAML"),
        ("title: x\nsite:\n\tweather: y\n", "line 3, column 1: not valid YAML"),
        ("title: x\ntitle: y\n", "line 2, column 1: not valid YAML: the key 'title' is written twice"),
        ("plant: {family: x,\n  family: y}\n", "line 2, column 3: not valid YAML: the key 'family'"),
        ("title: x\n---\ntitle: y\n", "another document"),
        ("title: !!python/object:os.system x\n", "line 1, column 8: not valid YAML"),
        ('building: {apartments: !!int ""}\n', "line 1, column 24: not valid YAML: the tag"),
        (
            "<<: {title: x}\n<<: {notes: y}\n",
            "line 2, column 1: not valid YAML: the key '<<' is written twice",
        ),
        ("title: \x07\n", "line 1: got U+0007 (BEL); allowed text without control characters"),
        ("title: 2024-99-01\n", "not valid YAML"),
        ("title: &a [*a]\n", "line 1, column 12: not valid YAML: a block that holds itself"),
    ],
)
def test_what_is_wrong_with_the_file(folder: Path, text: str, part: str) -> None:
    said = messages(folder, text=text)
    assert part in said
    assert said.startswith(str(folder / "good.yaml"))


@pytest.mark.parametrize("number", ["010", "1:30", "0x10", "1_0", "0b11"])
def test_a_number_that_yaml_1_1_reads_in_its_own_way_is_refused(folder: Path, number: str) -> None:
    """YAML 1.2, 10.3.2: no octal by a leading zero, no base 60; 1.1 took them for 8 and 90."""
    text = GOOD.replace("apartments: 20", f"apartments: {number}")
    assert f"building.apartments: got '{number}'; allowed a whole number" in messages(folder, text=text)


@pytest.mark.published
@pytest.mark.parametrize(
    ("text", "value"),
    [("0", 0), ("-12", -12), ("+7", 7), ("1e5", 1e5), (".5", 0.5), ("5.", 5.0), ("-1.5e-3", -1.5e-3)],
)
def test_plain_numbers_are_those_of_the_core_schema(text: str, value: float) -> None:
    """YAML 1.2.2, section 10.3.2."""
    found = parsed(f"a: {text}", "a text")["a"]
    assert (found, type(found)) == (value, type(value))


# -- keys --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("plant.storage.volum", "plant.storage.volume"),
        ("plant.storage.set_point", "plant.storage.setpoint"),
        ("plant.heat_pump.condensor", "plant.heat_pump.condenser"),
        ("hot_watr.seed", "hot_water.seed"),
        ("hot_water.use_temp", "hot_water.use_temperature"),
        ("volume", "recirculation.loop_tank.volume or plant.storage.volume"),
        ("storage.volume", "recirculation.loop_tank.volume or plant.storage.volume"),
        ("plant.controls.charge_window", "plant.controls.charge_windows"),
        ("appartments", "building.apartments"),
        (
            "plant.setpoint",
            "recirculation.loop_tank.setpoint or plant.storage.setpoint or plant.backup.setpoint",
        ),
    ],
)
def test_misspelt_keys_get_the_nearest(folder: Path, wrong: str, right: str) -> None:
    assert message(folder, f"{wrong}=1").endswith(f"unknown key; did you mean {right}?")


@pytest.mark.parametrize("block", ["plant", "baseline", "recirculation.loop_tank"])
def test_a_key_of_old_is_told_by_its_new_name(folder: Path, block: str) -> None:
    said = message(folder, f"{block}.heat_pump.pass=multi")
    assert said.endswith(f"is called {block}.heat_pump.condenser")


@pytest.mark.parametrize("block", ["plant", "baseline"])
def test_a_key_that_is_gone_is_told_so(folder: Path, block: str) -> None:
    """One line and exit code 2, on the command line and in a file."""
    said = message(folder, f"{block}.storage.cells=24")
    assert "unknown key; gone: the store has no cells any more" in said
    text = (folder / "good.yaml").read_text().replace("storage: {", "storage: {cells: 24, ", 1)
    assert "cells" in text
    (folder / "old.yaml").write_text(text)
    with pytest.raises(InputError, match=r"plant.storage.cells: unknown key; gone: the store has no cells"):
        read_scenario(folder / "old.yaml")


def test_a_misspelt_key_in_the_file_is_all_that_is_said_of_it(folder: Path) -> None:
    """The key that it was meant for is missing only because of it."""
    said = message(folder, text=GOOD.replace("volume:", "volum:"))
    assert said.endswith("plant.storage.volum: unknown key; did you mean plant.storage.volume?")


def test_a_key_like_no_other_lists_what_is_there(folder: Path) -> None:
    said = message(folder, text=GOOD + "  zzz: 1\n")
    assert "plant.zzz: unknown key; allowed family, heat_pump, source, storage, backup, controls" in said
    assert "1: unknown key; allowed title" in message(folder, text=GOOD + "1: x\n")


def test_a_key_that_is_little_like_any_gets_the_nearest_of_its_level(folder: Path) -> None:
    """Never the block it stands in, which is no answer; what else is allowed there stands beside it."""
    text = GOOD.replace("site: {weather: weather.csv}", "site: {weather: weather.csv, checks: {foo: 1}}")
    for said in (message(folder, "site.checks.foo=1"), message(folder, text=text)):
        near, _, listed = said.rpartition("; ")[2].partition("? (allowed ")
        assert near == "did you mean site.checks.footprint"
        assert "max_floor_load" in listed


# -- values ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("override", "said"),
    [
        # wrong or missing units
        ("plant.storage.volume=40", "got 40; allowed a volume with its unit, such as '40 gal' (write the"),
        ("plant.storage.volume=40 kW", "got '40 kW'; allowed a volume with its unit"),
        ("plant.storage.volume=40 galons", "did you mean 'gallons'?"),
        ("plant.storage.setpoint=150 F", "write degF"),
        ("plant.controls.dead_band=5 degC", "write delta_degC or K"),
        # out of range
        ("plant.storage.volume=-40 gal", "got '-40 gal'; allowed more than 0 m3"),
        ("plant.storage.setpoint=99 degC", "got '99 degC'; allowed at most 95 degC"),
        ("plant.storage.setpoint=20 degC", "allowed at least 40 degC"),
        ("plant.heat_pump.capacity=0 kW", "got '0 kW'; allowed more than 0 W"),
        ("plant.heat_pump.cop=0.5", "got 0.5; allowed at least 1"),
        ("plant.heat_pump.cop=.nan", "got nan; allowed a finite number"),
        ("plant.heat_pump.cop=.inf", "got inf; allowed"),
        ("building.apartments=0", "got 0; allowed at least 1"),
        ("building.apartments=5001", "got 5001; allowed at most 5000"),
        ("hot_water.month_factors=[1, 2]", "got [1, 2]; allowed a list of 12 values"),
        (
            "hot_water.month_factors=[1,1,1,1,1,1,1,1,1,1,1,-1]",
            "(item 12) (from --set): got -1; allowed more",
        ),
        ("hot_water.cold_water={}", "got nothing; allowed twelve of a temperature"),
        ("hot_water.cold_water.monthly=[5 degC, 6 degC]", "allowed a list of 12 values"),
        ("hot_water.cold_water.winter_low=-1 degC", "got '-1 degC'; allowed at least 0 degC"),
        ("hot_water.cold_water.summer_high=41 degC", "got '41 degC'; allowed at most 40 degC"),
        (
            "hot_water.cold_water={winter_low: 12 degC, summer_high: 11 degC}",
            "hot_water.cold_water.winter_low (from --set): got '12 degC'; allowed below",
        ),
        ("sizing.design_temperature=41 degC", "got '41 degC'; allowed at most 40 degC"),
        ("sizing.design_frequency=99", "got 99; allowed less than 1"),
        (
            "sizing={design_temperature: -20 degC, design_frequency: 0.99}",
            "sizing.design_frequency (from --set): got 0.99; allowed nothing beside",
        ),
        ("dossier.paper=A3", "got 'A3'; allowed letter, A4"),
        (f"dossier.project={'x' * 201}", "allowed text of at most 200 characters"),
        ("dossier={prepared_by: 12}", "dossier.prepared_by (from --set): got 12; allowed text"),
        # wrong type
        ("building.apartments=true", "got True; allowed a whole number"),
        ("building.apartments=2.5", "got 2.5; allowed a whole number"),
        ("building.apartments='20'", "got '20'; allowed a whole number"),
        ("plant.heat_pump.cop=3.5 kW", "got '3.5 kW'; allowed a number"),
        ("plant.heat_pump.injection=2", "got 2; allowed true or false"),
        ("plant.storage=3", "got 3; allowed a block of keys"),
        ("title=", "title (from --set): got nothing; allowed a value"),
        # lists of words
        ("plant.family=geothermal", "allowed packaged, split, banked-split, central-air, ground, wastewater"),
        ("plant.family=steam", "got 'steam'; allowed packaged, split, banked-split, central-air"),
        ("plant.heat_pump.condenser=double", "allowed single-pass, multi-pass, wrap-around"),
        ("plant.heat_pump.refrigerant=R-12", "any other only with a plant.heat_pump.table"),
        ("plant.heat_pump.refrigerant=water", "allowed the number of a refrigerant such as R-744"),
        ("plant.source.kind=room", "got 'room'; allowed outdoor-air with plant.family central-air"),
        (
            "recirculation={loss_per_apartment: 90 W, served_by: loop-tank}",
            "recirculation.loop_tank (from --set): got nothing; allowed a block",
        ),
        ("hot_water.draws=rndom", "got 'rndom'; allowed smooth, random"),
        ("run.steps_per_hour=7", "got 7; allowed one of 4, 8, 12,"),
        ("run.steps_per_hour=6", "got 6; allowed one of 4, 8, 12,"),
        ("run.years=2", "got 2; allowed 1"),
        # files
        ("site.weather=none.csv", "got 'none.csv'; allowed the path of a file that exists (there is none at"),
        ("site.weather=.", "that is a folder"),
        ("plant.heat_pump.table=none.csv", "allowed the path of a file that exists"),
        ("hot_water.metered=none.csv", "allowed the path of a file that exists"),
        ("hot_water.pattern=none.csv", "allowed the path of a file that exists"),
        ("hot_water.pattern=My pattern", "allowed the name of a packaged pattern such as 'apartments'"),
        # windows
        ("plant.controls.charge_windows=[22:00-25:00]", "allowed a window of the day such as '22:00-06:00'"),
        ("plant.controls.charge_windows=[22:00-24:01]", "ending at 24:00 at the latest"),
        ("plant.controls.charge_windows=[22:00-22:00]", "not empty"),
        ("plant.controls.charge_windows=22:00-06:00", "allowed a list"),
        ("plant.controls.lock_outs=[7]", "(item 1) (from --set): got 7; allowed a window"),
        # blocks that are needed
        (
            "plant.heat_pump=",
            "plant.heat_pump (from --set): got nothing; allowed a block, which plant.family",
        ),
        ("building=null", "building (from --set): got nothing; allowed a block of keys"),
        ("plant.storage.volume=null", "got nothing; allowed a volume with its unit, such as '40 gal'"),
    ],
)
def test_each_wrong_value_has_its_message(folder: Path, override: str, said: str) -> None:
    message_said = message(folder, override)
    key = override.partition("=")[0]
    assert message_said.startswith(f"{folder / 'good.yaml'}: {key}")
    assert said in message_said


@pytest.mark.parametrize(
    ("overrides", "said"),
    [
        (
            ["plant.heat_pump.table=table.csv"],
            "capacity: got '35 kW'; allowed nothing beside plant.heat_pump.table",
        ),
        (
            ["plant.heat_pump.cop="],
            "cop (from --set): got nothing; allowed a value (capacity, cop and rated_at",
        ),
        (
            ["plant.heat_pump.rated_at.water_out=20 degC", "plant.heat_pump.rated_at.water_in=20 degC"],
            "above rated",
        ),
        (
            ["plant.heat_pump.outlet_temperature=55 degC"],
            "at least 60.6 degC (plant.storage.setpoint less half of controls",
        ),
        (["plant.storage.setpoint=43 degC"], "at least hot_water.min_temperature (43.3 degC)"),
        (["hot_water.min_temperature=50 degC"], "below hot_water.use_temperature (49 degC)"),
        (
            ["hot_water.use_temperature=40 degC"],
            "min_temperature: got 43.3 degC (default); allowed below",
        ),
        (["hot_water.metered=use.csv", "hot_water.pattern=apartments"], "nothing beside hot_water.metered"),
        (
            ["hot_water.metered=use.csv", "hot_water.daily_use_per_apartment=40 gal"],
            "nothing beside hot_water.m",
        ),
        (
            ["hot_water.metered=use.csv", "hot_water.draws=random"],
            "draws (from --set): got 'random'; allowed smo",
        ),
        (
            ["plant.storage.setpoint=50 degC", "recirculation.loss_per_apartment=90 W"],
            "return_temperature: got 51 degC (default); allowed below plant.storage.setpoint (50 degC)",
        ),
        (["plant.backup.kind=resistance"], "plant.backup.power: got nothing; allowed a power with its unit"),
        (
            ["plant.backup.power=9 kW"],
            "got '9 kW'; allowed nothing unless plant.backup.kind is resistance, gas, oil or steam",
        ),
        (
            ["plant.backup.kind=resistance", "plant.backup.power=9 kW", "plant.backup.efficiency=0.9"],
            "got 0.9; allowed nothing unless plant.backup.kind is gas",
        ),
        (
            ["plant.backup={kind: gas, power: 9 kW, mode: series, height: 0.5}"],
            "got 0.5; allowed nothing unless plant.backup.mode is parallel",
        ),
        (
            ["plant.backup={kind: gas, power: 9 kW, setpoint: 40 degC}"],
            "at least hot_water.min_temperature",
        ),
        (
            ["plant.controls.stop_height=0.5", "plant.controls.sensor_height=0.35"],
            "at most plant.controls.sensor_height (0.35)",
        ),
        (
            ["plant.heat_pump.intake_height=0.2", "plant.controls.sensor_height=0.1"],
            "intake_height (from --set): got 0.2; allowed at most plant.controls.sensor_height (0.1)",
        ),
        (["plant.controls.lock_outs=[00:00-24:00]"], "allowed windows that leave time to charge"),
        (
            ["plant.controls.charge_windows=[22:00-02:00]", "plant.controls.lock_outs=[21:00-03:00]"],
            "allowed windows that leave time to charge",
        ),
        (
            ["plant.family=resistance"],
            "plant.backup: got nothing; allowed a block, which plant.family resistance",
        ),
        (
            ["plant.family=resistance", "plant.backup={kind: resistance, power: 9 kW}"],
            "allowed nothing: plant.family resistance does not use it",
        ),
        (
            ["plant.family=resistance", "plant.heat_pump=", "plant.backup={kind: gas, power: 9 kW}"],
            "plant.backup.kind (from --set): got 'gas'; allowed resistance with plant.family resistance",
        ),
    ],
)
def test_values_that_do_not_go_together(folder: Path, overrides: list[str], said: str) -> None:
    assert said in messages(folder, *overrides)


def test_every_error_of_a_file_has_its_line(folder: Path) -> None:
    said = messages(folder, "plant.storage.volume=-4 gal", "run.steps_per_hour=7", "building.apartments=0")
    head, *lines = said.split("\n")
    assert head.endswith("good.yaml: 3 things are wrong")
    for line in (
        "building.apartments (from --set): got 0; allowed at least 1",
        "plant.storage.volume (from --set): got '-4 gal'; allowed more than 0 m3",
    ):
        assert f"  {line}" in lines
    assert any(line.startswith("  run.steps_per_hour (from --set): got 7; allowed one of") for line in lines)


def test_wrong_overrides_and_a_wrong_file_are_said_together(folder: Path) -> None:
    text = GOOD.replace("apartments: 20", "apartments: 0")
    said = messages(folder, "plant.storag.volume=3 m3", "nothing", text=text)
    assert "unknown key; did you mean plant.storage.volume?" in said
    assert "--set nothing: allowed key.path=value" in said
    assert "building.apartments: got 0" in said
    assert "3 things are wrong" in said


# -- what hangs on a key that is taken out -----------------------------------------------------------

BACKED_UP = (
    GOOD
    + """\
  backup: {kind: resistance, power: "18 kW", dead_band: "4 K", height: 0.5, delay: "5 min"}
  controls: {pasteurise: {temperature: "65 degC", weekday: wed, window: "02:00-05:00"}}
"""
)
PAID = (
    GOOD
    + """\
baseline:
  family: gas-boiler
  storage: {volume: "200 gal", setpoint: "150 degF"}
  backup: {kind: gas, power: "60 kW"}
savings: {electricity_to_source: 2.8}
carbon: {grid: "0.4 kg/kWh", fuel: natural-gas}
tariff: {electricity: "0.2 USD/kWh", fuel: "1.2 USD/therm", baseline_fuel: "1.3 USD/therm"}
costs:
  capital: "10,000 USD"
  baseline: {capital: "5,000 USD"}
  incentives:
    - {name: lump, lump_sum: "100 USD", per_electricity_saved: "0.1 USD/kWh"}
    - {name: saved, per_site_energy_saved: "12 USD/MMBtu"}
"""
)


def read(folder: Path, text: str, *overrides: str) -> Loaded:
    (folder / "good.yaml").write_text(text)
    return read_scenario(folder / "good.yaml", overrides)


def test_no_backup_takes_out_its_keys(folder: Path) -> None:
    loaded = read(folder, BACKED_UP, "plant.backup.kind=none")
    bare = read(folder, GOOD).scenario
    assert loaded.scenario.plant.backup.kind == "none"
    assert loaded.scenario.plant.backup.power is None
    assert loaded.scenario.plant.controls.pasteurise is None
    assert loaded.scenario.plant.storage == bare.plant.storage
    (said,) = loaded.said
    for key in ("power", "dead_band", "height", "delay"):
        assert f"plant.backup.{key}" in said
    assert "plant.controls.pasteurise" in said
    whole = read(folder, BACKED_UP, "plant.backup=null")
    assert whole.scenario.plant.controls.pasteurise is None


def test_a_key_that_is_set_itself_is_not_taken_out(folder: Path) -> None:
    """Then the two do not go together, and that is an error as in the file."""
    (folder / "good.yaml").write_text(BACKED_UP)
    said = message(folder, "plant.backup.kind=none", "plant.backup.power=9 kW")
    assert "plant.backup.power (from --set): got '9 kW'; allowed nothing unless plant.backup.kind" in said


def test_no_baseline_takes_out_what_is_measured_against_it(folder: Path) -> None:
    loaded = read(folder, PAID, "baseline=null")
    scenario = loaded.scenario
    assert scenario.baseline is None
    assert not scenario.given("savings")
    assert scenario.costs is not None
    assert not scenario.costs.given("baseline")
    assert [(i.name, i.lump_sum, i.per_electricity_saved) for i in scenario.costs.incentives] == [
        ("lump", 100.0, None)
    ]
    assert scenario.tariff is not None
    assert scenario.tariff.baseline_fuel is None
    assert scenario.carbon is not None
    assert not scenario.carbon.given("fuel")  # nothing is left that burns
    (said,) = loaded.said
    assert said.startswith("baseline=null takes out what hangs on it: savings, costs.baseline, tariff.base")
    assert "costs.incentives.per_site_energy_saved (saved)" in said
    assert "carbon.fuel" in said


def test_both_together_and_nothing_without_an_override(folder: Path) -> None:
    text = BACKED_UP + PAID.removeprefix(GOOD)
    loaded = read(folder, text, "plant.backup.kind=none", "baseline=null", "tariff=null")
    assert loaded.scenario.costs is None
    assert len(loaded.said) == 3
    assert read(folder, text).said == ()
    assert read(folder, GOOD, "baseline=null").said == ()


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.dates(),
    lambda below: st.lists(below, max_size=3) | st.dictionaries(st.text(max_size=8), below, max_size=3),
    max_leaves=5,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(path=st.sampled_from([path for path, _ in walk()]), value=anything)
def test_any_value_anywhere_is_read_or_refused_in_one_line(folder: Path, path: str, value: object) -> None:
    raw = here = yaml.safe_load(GOOD)
    *blocks, leaf = path.split(".")
    for key in blocks:
        here = here.setdefault(key, {})
    here[leaf] = value
    said = "read"
    try:
        scenario_from(raw, folder)
    except InputError as error:
        said = str(error)
    assert one_line_each(said)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(text=st.text(max_size=40))
def test_any_file_and_any_override_is_read_or_refused_in_one_line(folder: Path, text: str) -> None:
    (folder / "any.yaml").write_text(text, encoding="utf-8", newline="")
    for path, overrides in (("any.yaml", []), ("good.yaml", [text]), ("good.yaml", [f"site.weather={text}"])):
        with pytest.raises(InputError) as caught:
            read_scenario(folder / path, overrides)
        assert one_line_each(str(caught.value))


# -- overrides ---------------------------------------------------------------------------------------


def test_overrides_change_create_and_remove(folder: Path) -> None:
    path = folder / "good.yaml"
    overrides = [
        "plant.storage.volume=800 gal",
        "plant.storage.volume=700 gal",  # the last one holds
        "recirculation.loss_per_apartment=90 W",  # the block is not in the file
        "hot_water.month_factors=[1, 1, 1, 1, 1, 1, 0.8, 0.8, 1, 1, 1, 1]",
        "plant.controls.charge_windows=['22:00-06:00', '12:00-24:00']",
        "title=a: b # c",  # free text is taken as typed
        "plant.heat_pump.table=table.csv",
        "plant.heat_pump.capacity=null",
        "plant.heat_pump.cop=",
        "plant.heat_pump.rated_at=",
        "plant.heat_pump.refrigerant=r290",
    ]
    loaded = read_scenario(path, overrides)
    scenario = loaded.scenario
    assert loaded.overrides == tuple(overrides)
    assert scenario.title == "a: b # c"
    assert scenario.plant.storage.volume == pytest.approx(700 * 3.785411784e-3, rel=1e-14)  # exact gallon
    assert scenario.recirculation is not None
    assert scenario.recirculation.loss_per_apartment == 90
    assert scenario.hot_water.month_factors == (1, 1, 1, 1, 1, 1, 0.8, 0.8, 1, 1, 1, 1)
    assert [tuple(window) for window in scenario.plant.controls.charge_windows] == [(1320, 360), (720, 1440)]
    assert scenario.plant.heat_pump is not None
    assert scenario.plant.heat_pump.refrigerant == "R-290"
    assert scenario.plant.heat_pump.table == (folder / "table.csv").resolve()
    assert path.read_text() == GOOD


@pytest.mark.parametrize(
    ("override", "said"),
    [
        ("nothing", "--set nothing: allowed key.path=value"),
        ("=3", "allowed key.path=value"),
        ("plant.storage.volume=[1", "--set plant.storage.volume=[1, line 1"),
        (
            "hot_water.month_factors.3=1",
            "unknown key; did you mean hot_water.mon",
        ),
    ],
)
def test_overrides_that_cannot_be_read(folder: Path, override: str, said: str) -> None:
    assert said in message(folder, override)


def test_override_below_something_that_is_no_block(folder: Path) -> None:
    said = messages(folder, "building.apartments=3", text="title: x\nbuilding: 7\n")
    assert "'building' is no block in the file" in said


def test_other_weather(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    other = folder / "it's here"
    other.mkdir()
    (other / "other.epw").write_text("x")
    monkeypatch.chdir(other)
    loaded = read_scenario(folder / "good.yaml", weather=Path("other.epw"))
    assert loaded.scenario.site.weather == (other / "other.epw").resolve()
    assert loaded.overrides == ("site.weather=other.epw",)
    assert "site.weather (from --set)" in message(folder, weather=Path("none.epw"))


@pytest.mark.law
def test_reading_remembers_nothing(folder: Path) -> None:
    path = folder / "good.yaml"
    first = read_scenario(path)
    read_scenario(path, ["plant.storage.volume=9 m3", "hot_water.draws=random"])
    assert read_scenario(path) == first


def test_import_loads_nothing_heavy() -> None:
    code = (
        "import sys, hpwhsim.scenario.reading;"
        "print([m for m in ('pint','numpy','pandas','numba','xarray','CoolProp') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.parametrize("old", RENAMED)
def test_an_old_key_has_one_error_with_its_new_name(old: str) -> None:
    """Every place of the schema where the old key stood: the new one is there, and the old is said by it."""
    block, _, leaf = old.rpartition(".")
    new = f"{block}.{RENAMED[old]}"
    paths = [path for path in known_fields() if f".{path}".endswith(f".{new}")]
    assert paths
    assert leaf not in {path.rpartition(".")[2] for path in known_fields() if f".{block}." in f".{path}"}
    for path in paths:
        assert renamed(f"{path.rpartition('.')[0]}.{leaf}") == path


def test_an_old_key_in_a_file_is_one_line(folder: Path) -> None:
    """Nothing follows from it: a default that would clash with the rest is not taken in its place."""
    raw = yaml.safe_load(GOOD)
    raw["hot_water"] = {"use_temperature": "42 degC", "minimum_temperature": "41 degC"}
    path = folder / "good.yaml"
    said = message(folder, text=yaml.safe_dump(raw))
    assert said == f"{path}: hot_water.minimum_temperature: is called hot_water.min_temperature"


def test_limits_are_called_min_and_max() -> None:
    """No key has another word for a limit."""
    words = {"least", "most", "lowest", "highest", "minimum", "maximum", "limit", "turndown", "cap"}
    assert [path for path in known_fields() if words & set(path.rpartition(".")[2].split("_"))] == []
