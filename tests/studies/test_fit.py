"""A fit finds hidden values in its own noisy output, and refuses what readings do not tell apart."""

import csv
import gzip
import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from cases import CHICAGO, GOLDEN, ROOT, central_air, refusal
from fit_cases import COP, LOOP, USE, electric, times, write_meter, write_rows
from scipy import stats

import hpwhsim as ty
from hpwhsim.cli import main as cli
from hpwhsim.errors import InputError
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.year import Year, run_year
from hpwhsim.studies.fit_keys import ranged

pytestmark = pytest.mark.independent

KWH, LITRES, LOSS = "electricity_kwh", "litres", "recirculation_loss_kwh"
STORE = "plant.storage.heat_loss"
BOUNDS = {LOOP: "40 W..160 W", USE: "90 L..200 L", STORE: "2 W/K..20 W/K"}


def rated(folder: Path) -> dict[str, Any]:
    """An invented air-source plant with a rated COP and a loop, in Golden."""
    raw = central_air(folder)
    raw["site"] = {"weather": str(GOLDEN)}
    raw["recirculation"] = {"loss_per_apartment": "70 W"}
    rating = {"source": "7 degC", "water_in": "15 degC", "water_out": "60 degC"}
    raw["plant"]["heat_pump"] = {"refrigerant": "R-134a", "capacity": "30 kW", "cop": 3.2, "rated_at": rating}
    return raw


def written(folder: Path, raw: Mapping[str, Any]) -> Path:
    path = folder / "plant.yaml"
    path.write_text(yaml.safe_dump(dict(raw), sort_keys=False))
    return path


def hidden_year(path: Path, hidden: Mapping[str, str]) -> Year:
    return run_year(read_scenario(path, [f"{key}={value}" for key, value in hidden.items()]))


def fitted(path: Path, meter: Path, keys: Sequence[str], **bounds: str) -> ty.Fitted:
    return ty.fit(ty.read(path), meter, {key: (BOUNDS | bounds)[key] for key in keys})


def values(found: ty.Fitted) -> dict[str, float]:
    return {row["key"]: row["fitted"] for row in found.record["keys"]}


def holds(found: ty.Fitted, hidden: Mapping[str, float]) -> None:
    """Within 5 % of what was hidden, and as near as an interval of 99.99 % (Student's t) reaches."""
    sums = found.record["metered"]["compared_sums"] * len(found.record["metered"]["columns"])
    errors = float(stats.t.ppf(1.0 - 0.5e-4, sums - len(found.record["keys"])))
    for row in found.record["keys"]:
        truth = hidden[row["key"]]
        assert row["fitted"] == pytest.approx(truth, rel=0.05), row
        assert abs(row["fitted"] - truth) <= errors * row["standard_error"], row
        assert row["identified"], row
        assert row["at_bound"] is None, row


# -- hidden values are found ---------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.year
@pytest.mark.parametrize(
    ("spacing", "noise", "columns"),
    [("hour", 0.10, (KWH, LITRES)), ("day", 0.08, (KWH, LITRES)), ("month", 0.05, (KWH, LITRES, LOSS))],
)
def test_an_electric_plant_in_chicago(
    tmp_path: Path, spacing: str, noise: float, columns: tuple[str, ...]
) -> None:
    path = written(tmp_path, electric(tmp_path))
    year = hidden_year(path, {LOOP: "112 W", USE: "118 L"})
    meter = write_meter(tmp_path / "m.csv", year, columns, spacing, noise=noise)
    found = fitted(path, meter, [LOOP, USE])
    holds(found, {LOOP: 112.0, USE: 118.0})
    by_month = [row for row in found.record["agreement"] if row["spacing"] == "month"]
    assert [row["before"]["within"] for row in by_month if row["column"] == LITRES] == [False]
    assert all(row["after"]["within"] for row in by_month)


@pytest.mark.year
def test_ten_weeks_of_hours_across_a_new_year(tmp_path: Path) -> None:
    path = written(tmp_path, electric(tmp_path))
    year = hidden_year(path, {LOOP: "64 W"})
    stretch = {"start": "2023-11-20T07:00", "end": "2024-02-01"}
    meter = write_meter(tmp_path / "m.csv", year, [KWH], "hour", noise=0.08, **stretch)
    found = fitted(path, meter, [LOOP])
    holds(found, {LOOP: 64.0})
    said = " ".join(found.record["cautions"])
    assert "weather is of months from 19" in said
    assert "the readings of 2023, 2024" in said
    assert "2023-11-20 was a Monday, in the nominal year it is a Tuesday" in said


@pytest.mark.year
def test_weather_of_the_measured_year_takes_the_caution_away(tmp_path: Path) -> None:
    """A file whose months are of the year of the readings; rows by date and hour are those of the plant."""
    text = gzip.decompress(GOLDEN.read_bytes()).decode()
    weather = tmp_path / "golden-2018.csv"
    weather.write_text(re.sub(r"^(\d\d/\d\d/)\d{4},", r"\g<1>2018,", text, flags=re.MULTILINE))
    path = written(tmp_path, electric(tmp_path))
    plant = ty.read(path, weather=weather)
    year = ty.simulate(plant.with_({LOOP: "112 W"})).plant.year
    meter = write_meter(tmp_path / "m.csv", year, [KWH], "day", noise=0.05)
    found = ty.fit(plant, meter, {LOOP: BOUNDS[LOOP]})
    holds(found, {LOOP: 112.0})
    assert not any("the weather is of" in text for text in found.record["cautions"])


@pytest.mark.slow
@pytest.mark.year
def test_an_air_source_plant_in_golden(tmp_path: Path) -> None:
    """Loop loss, COP and litres at once from electricity, water and loop."""
    path = written(tmp_path, rated(tmp_path))
    year = hidden_year(path, {LOOP: "95 W", COP: "2.8", USE: "128 L"})
    meter = write_meter(tmp_path / "m.csv", year, (KWH, LITRES, LOSS), "hour", noise=0.08)
    holds(fitted(path, meter, [LOOP, COP, USE], **{COP: "2.4..4"}), {LOOP: 95.0, COP: 2.8, USE: 128.0})


@pytest.mark.year
@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "weather", "spacing", "noise"),
    [
        ("ground", CHICAGO, "day", 0.08),
        ("ground", GOLDEN, "month", 0.05),
        ("central-air", GOLDEN, "hour", 0.10),
    ],
)
def test_worked_plants(tmp_path: Path, name: str, weather: Path, spacing: str, noise: float) -> None:
    """Random draws, in gallons; the hidden COP is a factor of 0.9 on the rated one."""
    plant = ty.read(ROOT / "scenarios" / f"{name}.yaml", weather=weather)
    hidden = {LOOP: 86.0, COP: 0.9 * plant[COP], USE: 31.0}
    year = ty.simulate(plant.with_({LOOP: "86 W", COP: hidden[COP], USE: "31 gal"})).plant.year
    meter = write_meter(tmp_path / "m.csv", year, (KWH, LITRES, LOSS), spacing, noise=noise)
    found = ty.fit(plant, meter, {LOOP: "40 W..160 W", COP: (2.5, 4.8), USE: "25..50 gal"})
    holds(found, hidden)


@pytest.mark.year
def test_its_own_output_without_noise_is_found_exactly(tmp_path: Path) -> None:
    """No scatter: what is left is the eight digits of the file, and steps of 0.02 % of the bounds."""
    path = written(tmp_path, electric(tmp_path))
    year = hidden_year(path, {LOOP: "112 W", USE: "118 L"})
    meter = write_meter(tmp_path / "m.csv", year, (KWH, LITRES), "day", noise=0.0)
    found = values(fitted(path, meter, [LOOP, USE]))
    assert found == pytest.approx({LOOP: 112.0, USE: 118.0}, rel=1e-3)


# -- what cannot be told -------------------------------------------------------------------------------


@pytest.fixture
def bills(tmp_path: Path) -> tuple[Path, Path]:
    """An electric plant and twelve electricity bills of it."""
    path = written(tmp_path, electric(tmp_path))
    year = hidden_year(path, {LOOP: "112 W"})
    return path, write_meter(tmp_path / "bills.csv", year, [KWH], "month", noise=0.01)


@pytest.mark.year
def test_two_constant_losses_are_not_told_apart_by_bills(bills: tuple[Path, Path]) -> None:
    """Loss of loop and store are constant heat; the loop's own meter would tell them apart, and does."""
    with pytest.raises(InputError) as error:
        fitted(*bills, [LOOP, STORE])
    said = str(error.value)
    assert f"do not tell {LOOP} and {STORE} apart" in said
    assert float(re.search(r"correlation of ([\d.]+)", said)[1]) >= 0.99
    assert LOSS in said


@pytest.mark.year
def test_the_meter_that_is_named_does_tell_them_apart(tmp_path: Path) -> None:
    path = written(tmp_path, electric(tmp_path))
    year = hidden_year(path, {LOOP: "112 W", STORE: "14 W/K"})
    meter = write_meter(tmp_path / "m.csv", year, (KWH, LOSS), "month", noise=0.001)
    found = fitted(path, meter, [LOOP, STORE])
    assert values(found) == pytest.approx({LOOP: 112.0, STORE: 14.0}, rel=0.05)


@pytest.mark.year
def test_a_key_without_effect_is_named(bills: tuple[Path, Path]) -> None:
    """What leaks from a refrigerant circuit is on no electricity bill."""
    with pytest.raises(InputError, match=r"do not identify carbon\.refrigerant\.annual_leak.* by 0\.00 %"):
        ty.fit(ty.read(bills[0]), bills[1], {"carbon.refrigerant.annual_leak": (0.01, 0.1)})


@pytest.mark.year
def test_a_bound_and_an_open_interval_are_cautioned(bills: tuple[Path, Path], tmp_path: Path) -> None:
    path, meter = bills
    found = fitted(path, meter, [LOOP], **{LOOP: "40 W..100 W"})
    (row,) = found.record["keys"]
    assert (row["at_bound"], row["fitted"]) == ("high", 100.0)
    assert any("at its upper bound" in text for text in found.record["cautions"])
    noisy = write_meter(
        tmp_path / "noisy.csv", hidden_year(path, {STORE: "10 W/K"}), [KWH], "month", noise=0.08
    )
    found = fitted(path, noisy, [STORE], **{STORE: "8..12 W/K"})
    assert not found.record["keys"][0]["identified"]
    assert any("not identified" in text for text in found.record["cautions"])


@pytest.mark.year
def test_gallons_in_the_place_of_litres_are_refused(tmp_path: Path) -> None:
    path = written(tmp_path, electric(tmp_path))
    year = hidden_year(path, {})
    at = times("2018-01-01", "2019-01-01", "day")
    litres = year.hourly["hot_water_litres"].reshape(365, 24).sum(axis=1) / 3.785412  # NIST SP 811
    meter = write_rows(tmp_path / "m.csv", [LITRES], [t.isoformat() for t in at], [litres.tolist()])
    with pytest.raises(InputError, match="looks like gallons"):
        fitted(path, meter, [USE])
    wide = fitted(path, meter, [USE], **{USE: "30 L..200 L"})  # bounds that reach it: nothing to refuse
    assert values(wide)[USE] == pytest.approx(150.0 / 3.785412, rel=0.01)


# -- command and library -------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.year
@pytest.mark.contract
def test_the_command_writes_what_the_library_gives(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Record, fitted scenario as it was written, readings, picture."""
    path = written(tmp_path, electric(tmp_path))
    path.write_text("# a comment of the user's\n" + path.read_text())
    year = hidden_year(path, {LOOP: "112 W"})
    meter = write_meter(tmp_path / "m.csv", year, (KWH, LITRES), "day", noise=0.05)
    out = tmp_path / "below" / "out"
    argv = ["fit", str(path), "--metered", str(meter), "--key", f"{LOOP}={BOUNDS[LOOP]}"]
    changed = ["--set", "plant.storage.height=1.9 m"]
    assert cli.main([*argv, *changed, "--json", "--out", str(out)]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    record = json.loads(said.out)
    found = ty.fit(ty.read(path, {"plant.storage.height": "1.9 m"}), meter, {LOOP: ("40 W", "160 W")})
    assert record == json.loads(json.dumps(found.record))
    assert sorted(file.name for file in out.iterdir()) == ["fit.csv", "fit.json", "fit.png", "fitted.yaml"]
    assert json.loads((out / "fit.json").read_text()) == record
    text = (out / "fitted.yaml").read_text()
    assert text.startswith("# a comment of the user's\n")
    assert "height: 1.9 m" in text
    again = ty.read(out / "fitted.yaml")
    assert again == found.scenario
    rows = list(csv.DictReader(line for line in (out / "fit.csv").open() if not line.startswith("#")))
    total = sum(float(row[f"{KWH} after"]) for row in rows)
    assert total == pytest.approx(ty.simulate(again).record[KWH], rel=1e-9)
    assert (out / "fit.png").read_bytes().startswith(b"\x89PNG")
    assert cli.main([*argv, *changed]) == 0
    screen = capsys.readouterr().out
    assert max(map(len, screen.splitlines())) <= 110
    for words in ("95 % interval", "NMBE before", "ASHRAE Guideline 14-2014", "Cautions"):
        assert words in screen


@pytest.mark.contract
@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ([f"{LOOP}=40 W"], ["LOW..HIGH"]),
        ([LOOP], ["LOW..HIGH"]),
        (["recirculation.los=1..2"], ["recirculation.los", "did you mean"]),
        ([f"{LOOP}=40..160"], ["write the unit too"]),
        ([f"{LOOP}=40..160 gal"], ["does not measure a power"]),
        ([f"{LOOP}=160..40 W"], ["lower bound below"]),
        ([f"{LOOP}=40..160 W", f"{LOOP}=40..80 W"], ["twice"]),
        (["plant.heat_pump.modules=1..4"], ["one number, not a whole one"]),
        (["hot_water.month_factors=0.8..1.2"], ["one number"]),
        (["baseline.storage.heat_loss=2..8 W/K"], ["of the plant"]),
        ([f"{COP}=a..b"], ["two numbers"]),
        (["plant.storage.setpoint=30..70 degC"], ["plant.storage.setpoint=30 degC", "at least 40"]),
        ([f"{COP}=2..4"], ["no heat pump"]),
    ],
)
def test_a_wrong_key_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], keys: list[str], words: list[str]
) -> None:
    path = written(tmp_path, electric(tmp_path))
    at = [time.isoformat() for time in times("2023-01-01", "2024-01-01", "day")]
    meter = write_rows(tmp_path / "m.csv", [KWH], at, [np.linspace(90.0, 120.0, 365) % 17.0 + 80.0])
    line = refusal(
        ["fit", str(path), "--metered", str(meter), *(w for key in keys for w in ("--key", key))], capsys
    )
    assert [word for word in words if word not in line] == [], line


@pytest.mark.contract
def test_a_table_has_no_cop_to_fit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(tmp_path, central_air(tmp_path))
    line = refusal(["fit", str(path), "--metered", str(path), "--key", f"{COP}=2..4"], capsys)
    assert "plant.heat_pump.table" in line
    assert "power_kw" in line


@pytest.mark.contract
def test_a_column_that_the_plant_lacks_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(tmp_path, electric(tmp_path))
    at = [time.isoformat() for time in times("2023-01-01", "2024-01-01", "month")]
    meter = write_rows(tmp_path / "m.csv", ["fuel_kwh"], at, [[float(n) for n in range(1, 13)]])
    line = refusal(["fit", str(path), "--metered", str(meter), "--key", f"{LOOP}=40..160 W"], capsys)
    assert "column fuel_kwh: the scenario's plant has none" in line
    short = write_rows(tmp_path / "s.csv", [KWH], at[:3], [[3000.0, 2900.0, 3100.0]])
    line = refusal(["fit", str(path), "--metered", str(short), "--key", f"{LOOP}=40..160 W"], capsys)
    assert "4 months or more" in line


@pytest.mark.contract
def test_bounds_in_any_unit_are_bounds() -> None:
    """40 gal is 151.4165 L (NIST SP 811); a unit at one end is that of both."""
    (found,) = ranged([f"{USE}=100 L..40 gal"])
    assert (found.unit, found.low, found.high) == ("L", 100.0, pytest.approx(151.4165, rel=1e-6))
    for text in ("25..50 gal", "25 gal..50", "'25 gal'..'50 gal'"):
        (found,) = ranged([f"{USE}={text}"])
        assert (found.unit, found.low, found.high) == ("gal", 25.0, 50.0)
    (found,) = ranged(["plant.storage.setpoint=131 degF..65 degC"])  # 55 degC to 149 degF
    assert (found.unit, found.low, found.high) == ("degF", pytest.approx(131.0), pytest.approx(149.0))
    assert found.own(read_scenario(ROOT / "scenarios" / "central-air.yaml")) == pytest.approx(149.0)
    (found,) = ranged([f"{COP}=2.5..4"])
    assert (found.unit, found.low, found.high, found.text(3.0)) == ("", 2.5, 4.0, "3")
