"""A sweep: every combination once, each as if run alone, every fault before the first march."""

import csv
import io
import json
import struct
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import yaml
from cases import CHICAGO, GOLDEN, ROOT, central_air, refusal
from matplotlib.figure import Figure

from hpwhsim.cli import main as cli
from hpwhsim.errors import InputError
from hpwhsim.io import figures as drawing
from hpwhsim.simulation import year, years
from hpwhsim.storage.layers import RHO_CP
from hpwhsim.studies import sweep
from hpwhsim.studies import sweep_report as report

pytestmark = pytest.mark.contract

DEMO = ROOT / "scenarios" / "central-air.yaml"
LITRES_PER_GALLON = 3.785412  # NIST SP 811 (2008), appendix B.8


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """An invented electric store of smooth draws, without a loop."""
    raw: dict[str, Any] = central_air(tmp_path)
    raw["plant"] = {
        "family": "resistance",
        "storage": {"volume": "2000 L", "setpoint": "60 degC", "heat_loss": "4 W/K"},
        "backup": {"kind": "resistance", "power": "60 kW"},
    }
    path = tmp_path / "plant.yaml"
    path.write_text(yaml.safe_dump(raw))
    return path


def swept(path: Path, *argv: str, capsys: pytest.CaptureFixture[str]) -> Any:
    """The record that ``sweep --json`` prints."""
    assert cli.main(["sweep", str(path), *argv, "--json"]) == 0
    said = capsys.readouterr()
    assert said.err == ""  # no bar in a pipe
    return json.loads(said.out)


def values_of(text: str) -> tuple[str, ...]:
    return sweep.plan(DEMO, [text]).axes[0].values


# -- what is written -----------------------------------------------------------------------------------


@pytest.mark.independent
def test_a_range_is_that_of_numpy() -> None:
    """Both ends counted, as numpy.linspace; the unit goes with each value."""
    axis = sweep.plan(DEMO, ["plant.storage.volume=200 gal..1000 gal/5"]).axes[0]
    assert axis.values == ("200 gal", "400 gal", "600 gal", "800 gal", "1000 gal")
    assert (axis.numbers, axis.unit) == (tuple(np.linspace(200.0, 1000.0, 5)), "gal")
    assert values_of("hot_water.daily_use_per_apartment=30 gal/day..60 gal/day/3") == (
        "30 gal/day",
        "45 gal/day",
        "60 gal/day",
    )
    assert values_of("plant.heat_pump.min_source=-20..-10 degC/3") == ("-20 degC", "-15 degC", "-10 degC")
    assert values_of("plant.controls.stop_height=0.1..0.3/3") == ("0.1", "0.2", "0.3")


def test_commas_in_marks_and_brackets_part_nothing() -> None:
    windows = '["17:00-20:00", "06:00-09:00"]'
    assert values_of(f"plant.controls.lock_outs=[],{windows}") == ("[]", windows)
    axis = sweep.plan(DEMO, ["plant.storage.volume='1,000 gal', \"1,200 gal\""]).axes[0]
    assert (axis.labels, axis.numbers, axis.unit) == (("1,000 gal", "1,200 gal"), (1000.0, 1200.0), "gal")
    assert values_of("plant.backup={kind: none},{kind: resistance, power: 18 kW}")[0] == "{kind: none}"
    assert values_of("plant.heat_pump.refrigerant='R-744'") == ("R-744",)


@pytest.mark.independent
def test_values_of_several_units_are_numbers_of_one() -> None:
    """Gallons beside litres: cubic metres in the table, by the gallon of NIST SP 811 (seven digits)."""
    axis = sweep.plan(DEMO, ["plant.storage.volume=900 gal,3000 L"]).axes[0]
    assert axis.unit == "m3"
    assert axis.numbers == pytest.approx((0.9 * LITRES_PER_GALLON, 3.0), rel=1e-6)
    weather = sweep.plan(DEMO, [f"site.weather={CHICAGO},{GOLDEN}"]).axes[0]
    assert weather.numbers is None
    assert weather.labels == (CHICAGO.name, GOLDEN.name)


def test_the_grid_is_every_combination_in_order() -> None:
    cases = sweep.plan(
        DEMO,
        ["building.apartments=20,30,40", "plant.storage.tanks=1,2", "run.steps_per_hour=8,12"],
    ).cases
    assert [case.values for case in cases] == list(product(("20", "30", "40"), "12", ("8", "12")))
    scenario = cases[7].loaded.scenario
    assert (scenario.building.apartments, scenario.plant.storage.tanks, scenario.run.steps_per_hour) == (
        30,
        2,
        12,
    )


VOLUME = "plant.storage.volume"


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        ([], ["--vary"]),
        (["--vary", VOLUME], ["KEY.PATH="]),
        (["--vary", f"{VOLUME}="], ["KEY.PATH="]),
        (["--vary", "plant.storage.volum=1 gal"], ["plant.storage.volum", VOLUME]),
        (["--vary", f"{VOLUME}=600 gal,600 gal"], ["twice"]),
        (["--vary", f"{VOLUME}=600 gal,,700 gal"], ["empty"]),
        (["--vary", f"{VOLUME}=1,000 gal,2,000 gal"], ["1,000 gal", "quotation"]),
        (["--vary", f"{VOLUME}=600 gal..900 gal"], ["FIRST..LAST/NUMBER"]),
        (["--vary", f"{VOLUME}=600 gal..900 gal/1"], ["2 to 1000"]),
        (["--vary", f"{VOLUME}=600 gal..4 m3/3"], ["same unit"]),
        (["--vary", f"{VOLUME}=600 gal,700"], [f"case {VOLUME}=700:", "unit"]),
        (["--vary", f"{VOLUME}=600 gal", "--set", f"{VOLUME}=1 m3"], [VOLUME, "twice"]),
        (["--vary", f"{VOLUME}=600 gal", "--vary", "plant.storage={volume: 1 m3}"], ["replace"]),
        (["--vary", f"site.weather={GOLDEN}", "--weather", str(CHICAGO)], ["site.weather", "twice"]),
        (["--vary", "site.weather=nowhere.epw"], ["case site.weather=nowhere.epw", "none at"]),
        (["--vary", f"site.weather={CHICAGO},{ROOT / 'README.md'}"], ["README.md", "neither TMY3"]),
        (["--vary", f"{VOLUME}=1 m3", "--keys", "electricty_kwh"], ["electricity_kwh"]),
        (["--vary", f"{VOLUME}=1 m3", "--keys", "peak_time"], ["text"]),
        (["--vary", f"{VOLUME}=1 m3", "--keys", ","], ["nothing"]),
        (["--vary", f"{VOLUME}=1 m3", "--out", str(ROOT / "README.md")], ["--out", "cannot be written"]),
    ],
)
def test_wrong_input_is_one_message_before_any_march(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    argv: list[str],
    words: list[str],
) -> None:
    """Exit 2, one line, no file; a march would raise another error."""
    monkeypatch.setattr(sweep, "years_of", lambda *_: pytest.fail("a case was marched"))
    out = [] if "--out" in argv else ["--out", str(tmp_path / "out")]
    said = refusal(["sweep", str(DEMO), *argv, *out], capsys)
    for word in words:
        assert word in said
    assert not (tmp_path / "out").exists()


def test_a_plant_that_cannot_be_built_stops_all(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """94 degC is more than an R-744 machine makes: found after the schema, before the first march."""
    monkeypatch.setattr(sweep, "years_of", lambda *_: pytest.fail("a case was marched"))
    assert cli.main(["sweep", str(DEMO), "--vary", "plant.storage.setpoint=149 degF,94 degC"]) == 2
    said = capsys.readouterr().err
    assert "case plant.storage.setpoint=94 degC: " in said
    assert "central-air.yaml: plant.heat_pump.outlet_temperature: got 94 degC" in said


def test_a_fault_of_the_file_is_not_one_of_a_case(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["sweep", "missing.yaml", "--vary", f"{VOLUME}=1 m3"]) == 2
    assert capsys.readouterr().err.startswith("tankyear: missing.yaml: there is no such file")


# -- what comes out ------------------------------------------------------------------------------------


@pytest.mark.law
@pytest.mark.year
def test_each_row_is_the_run_of_its_case(capsys: pytest.CaptureFixture[str]) -> None:
    """Bit for bit the record of ``run`` with the same overrides, baseline and bill too; A, B, A."""
    low, high = "plant.storage.volume=700 gal", "plant.storage.volume=1100 gal"
    dead_band = ["--set", "plant.controls.dead_band=8 K"]
    record = swept(DEMO, "--vary", "plant.storage.volume=700 gal,1100 gal", *dead_band, capsys=capsys)
    found = record["rows"]
    assert record["scenario.overrides"] == dead_band[1:]
    for row, override in zip([*found, found[0]], [low, high, low], strict=True):
        assert cli.main(["run", str(DEMO), *dead_band, "--set", override, "--json"]) == 0
        record = json.loads(capsys.readouterr().out)
        keys = set(row) - {"case", VOLUME}
        assert keys == set(sweep.KEYS) - {"fuel_kwh"}
        assert {key: row[key] for key in keys} == {key: record[key] for key in keys}


@pytest.mark.year
def test_a_common_baseline_is_marched_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three stores beside one baseline: four plants are marched, one after the other."""
    marched = []
    real = years.march_each
    monkeypatch.setattr(year, "march_each", lambda plants: (marched.append(len(plants)), real(plants))[1])
    plan = sweep.plan(DEMO, [f"{VOLUME}=700 gal,900 gal,1100 gal"])
    for case in plan.cases:
        sweep.check(plan, case)
    rows = [sweep.run(plan, case) for case in plan.cases]
    assert marched == [1, 1, 1, 1]
    assert plan.checked == {}  # nothing is held longer than it waits
    assert len({row.record["baseline.fuel_kwh"] for row in rows}) == 1
    assert len({row.record["electricity_kwh"] for row in rows}) == 3


@pytest.mark.law
@pytest.mark.year
def test_loss_and_use_grow_as_they_must(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """First law on each row, and two laws across rows of an electric store.

    Heat at the taps is proportional to the apartments (litres times rho cp times the rise are summed in
    another order: 1e-9). The store's loss is proportional to its coefficient while its temperature stays: a
    larger loss cools it by less than the dead band, 2 % of the difference to its room.
    """
    found = swept(
        plant,
        "--vary",
        "building.apartments=10,20,30",
        "--vary",
        "plant.storage.heat_loss=2 W/K..8 W/K/3",
        "--keys",
        "electricity_kwh,heat_to_taps_kwh,storage_loss_kwh,store_change_kwh",
        capsys=capsys,
    )
    rows = pd.DataFrame(found["rows"])
    out = rows.heat_to_taps_kwh + rows.storage_loss_kwh + rows.store_change_kwh
    assert rows.electricity_kwh.to_numpy() == pytest.approx(out.to_numpy(), rel=1e-9)
    taps = rows.pivot_table(
        index="building.apartments", columns="plant.storage.heat_loss", values="heat_to_taps_kwh"
    )
    assert taps.loc["30"].to_numpy() == pytest.approx(
        3.0 * taps.loc["10"].to_numpy(), rel=5e-6
    )  # draws: 6 digits
    losses = rows.pivot_table(
        index="plant.storage.heat_loss", columns="building.apartments", values="storage_loss_kwh"
    )
    assert losses.loc["8 W/K"].to_numpy() == pytest.approx(4.0 * losses.loc["2 W/K"].to_numpy(), rel=0.02)
    assert losses.loc["5 W/K"].to_numpy() == pytest.approx(2.5 * losses.loc["2 W/K"].to_numpy(), rel=0.02)


@pytest.mark.independent
@pytest.mark.year
def test_weather_is_varied_like_any_key(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two climates: the heat at the taps differs by the mean cold water of each, weighted by smooth draws.

    The formula's yearly mean is the air's plus 6 degF and the draws repeat by day, without a season, so the
    difference of the heats is litres times rho cp times the difference of the means. Those of the table are
    rounded to 0.01 K, 0.01 K of 0.23 K: 5 %.
    """
    found = swept(
        plant,
        "--vary",
        f"site.weather={CHICAGO},{GOLDEN}",
        "--set",
        "hot_water.month_factors=none",
        "--keys",
        "heat_to_taps_kwh,hot_water_litres",
        capsys=capsys,
    )
    assert len(found["weather.stations"]) == 2
    first, second = (row["heat_to_taps_kwh"] for row in found["rows"])
    assert [row["site.weather"] for row in found["rows"]] == [str(CHICAGO), str(GOLDEN)]
    means = [9.99, 9.76]  # weather/README.md
    expected = 20 * 0.150 * 365 * RHO_CP * (means[1] - means[0]) / 3.6e6
    assert first - second == pytest.approx(expected, rel=0.05)


@pytest.mark.slow
@pytest.mark.year
def test_files_agree_with_the_record_and_the_picture_with_both(
    plant: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """sweep.csv read by pandas, the lines drawn, and the record: the same numbers, in the user's units."""
    drawn: list[Figure] = []
    real = drawing.png
    monkeypatch.setattr(report, "png", lambda figure: (drawn.append(figure), real(figure))[1])
    argv = [
        "--vary",
        "plant.storage.volume=800 gal,400 gal",
        "--vary",
        "plant.storage.setpoint=140 degF,60 degC",
    ]
    out = tmp_path / "o"
    found = swept(plant, *argv, "--out", str(out), capsys=capsys)
    assert sorted(p.name for p in out.iterdir()) == ["sweep.csv", "sweep.png"]
    text = (out / "sweep.csv").read_text(encoding="utf-8")
    table = pd.read_csv(io.StringIO(text), comment="#")
    heads = ["plant.storage.volume [gal]", "plant.storage.setpoint [degC]"]
    assert list(table.columns[:3]) == ["case", *heads]
    assert table[heads[0]].tolist() == [800, 800, 400, 400]
    assert table[heads[1]].to_numpy() == pytest.approx([60.0] * 4, abs=1e-9)  # 140 degF is 60 degC
    for key in found["keys"]:
        name = key["key"]
        assert f"# {name} [{key['unit']}]: " in text
        assert table[name].to_numpy() == pytest.approx([row[name] for row in found["rows"]], rel=1e-9)
        (ax,) = [ax for ax in drawn[0].axes if any(line.get_gid() == name for line in ax.lines)]
        assert len(ax.lines) == 2
        for number, line in enumerate(ax.lines):
            assert list(line.get_xdata()) == [400.0, 800.0]
            there = [row[name] for row in found["rows"]][number::2][::-1]
            assert list(line.get_ydata()) == pytest.approx(there, rel=1e-12)
    png = (out / "sweep.png").read_bytes()
    assert struct.unpack(">4sII", png[12:24])[0] == b"IHDR"  # ISO/IEC 15948, 11.2.2
    again = swept(plant, *argv, "--out", str(out), capsys=capsys)
    assert (again, (out / "sweep.png").read_bytes()) == (found, png)


@pytest.mark.year
def test_elements_of_lists_and_blocks(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Twelve months named one by one add up to the year; a whole list is refused with its elements."""
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    keys = [f"monthly.electricity_kwh[{month}]" for month in months]
    vary = ["--vary", "building.apartments=10"]
    (row,) = swept(
        plant, *vary, "--keys", ",".join(["electricity_kwh", *keys, "total_kgco2e"]), capsys=capsys
    )["rows"]
    assert sum(row[key] for key in keys) == pytest.approx(row["electricity_kwh"], rel=1e-12)
    assert row["total_kgco2e"] is None
    assert cli.main(["sweep", str(plant), *vary, "--keys", "monthly.electricity_kwh"]) == 2
    assert "monthly.electricity_kwh[Jan]" in capsys.readouterr().err
    assert cli.main(["sweep", str(plant), *vary, "--keys", "electricity_kwh,total_kgco2e"]) == 0
    assert "no case has a value of total_kgco2e" in capsys.readouterr().out


@pytest.mark.year
def test_a_fault_of_the_march_names_its_case(
    plant: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A plant that fails in its march: one line, exit 2, no file."""

    def stop(*_: object) -> None:
        raise InputError("it cannot work")

    monkeypatch.setattr(sweep, "years_of", stop)
    out = tmp_path / "o"
    argv = ["sweep", str(plant), "--vary", "building.apartments=10,20", "--out", str(out)]
    assert cli.main(argv) == 2
    assert capsys.readouterr().err == "tankyear: case building.apartments=10: it cannot work\n"
    assert list(out.iterdir()) == []


def test_quotes_of_csv_text(tmp_path: Path) -> None:
    """A value that holds a comma is one cell of the CSV by RFC 4180."""
    record = {
        "title": "invented, of course",
        "scenario.overrides": [],
        "varied": [
            {
                "key": "k",
                "values": ['["a", "b"]', "[]"],
                "labels": ['["a", "b"]', "[]"],
                "numbers": None,
                "unit": "",
            }
        ],
        "keys": [{"key": "peak_kw", "unit": "kW", "long_name": "peak"}],
        "rows": [{"case": 1, "k": '["a", "b"]', "peak_kw": 1.5}, {"case": 2, "k": "[]", "peak_kw": None}],
    }
    lines = [line for line in report.sweep_csv(record).splitlines() if not line.startswith("#")]
    assert list(csv.reader(lines)) == [["case", "k", "peak_kw"], ["1", '["a", "b"]', "1.5"], ["2", "[]", ""]]


@pytest.mark.parametrize("verb", ["sweep", "weather"])
def test_help_has_an_example(capsys: pytest.CaptureFixture[str], verb: str) -> None:
    assert cli.main([verb, "--help"]) == 0
    assert f"example: tankyear {verb}" in capsys.readouterr().out
