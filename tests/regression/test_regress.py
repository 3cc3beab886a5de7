"""Stored records against fresh runs: what counts as moved, and what a build server is told."""

import json
import math
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import regress_cases
from regress_cases import DAY, changed, invented, keys, run_all

from hpwhsim.cli import main as cli
from hpwhsim.cli.verb import DONE, FOUND, WRONG_INPUT
from hpwhsim.errors import InputError
from hpwhsim.regression import compare as regress
from hpwhsim.regression import report as drift
from hpwhsim.regression.compare import accept, plan, run_record
from hpwhsim.scenario.reading import Loaded

pytestmark = pytest.mark.contract

# pytest finds a fixture by its name in the module
folder = regress_cases.folder


def test_same_record_is_same(folder: Path) -> None:
    """Nothing moved, also with every tolerance zero."""
    for exact in (False, True):
        outcomes = run_all(folder, exact=exact)
        assert [o.state for o in outcomes.values()] == ["same", "same"]
        assert not any(o.moves or o.within for o in outcomes.values())


@pytest.mark.parametrize(("factor", "moved"), [(1 + 0.5e-6, False), (1 + 2e-6, True), (1 - 2e-6, True)])
def test_default_tolerance_is_one_in_a_million(folder: Path, factor: float, moved: bool) -> None:
    """Half and twice the tolerance of 1e-6; exact sees both."""
    run = changed(lambda r: r.update({"electricity_kwh": r["electricity_kwh"] * factor}))
    outcome = run_all(folder, run)["air"]
    assert keys(outcome) == (["electricity_kwh"] if moved else [])
    assert [m.key for m in outcome.within] == ([] if moved else ["electricity_kwh"])
    assert keys(run_all(folder, run, exact=True)["air"]) == ["electricity_kwh"]


def test_tampered_record_is_seen(folder: Path) -> None:
    """A figure changed by hand in the stored file; change and percent by hand: 270 of 26730 is 1.0101 %."""
    path = folder / "records" / "air.json"
    raw = json.loads(path.read_text(encoding="utf-8"))
    raw["record"]["electricity_kwh"] = 26730.0
    path.write_text(json.dumps(raw), encoding="utf-8")
    outcomes = run_all(folder)
    (move,) = outcomes["air"].moves
    assert (move.stored, move.fresh, move.change) == (26730.0, 27000.0, 270.0)
    assert move.relative == pytest.approx(270.0 / 26730.0, rel=1e-12)  # rounding only
    assert outcomes["element"].state == "same"
    text = drift.drift_text(list(outcomes.values()))
    assert "+1.01 %" in text
    assert "air: 1 key moved; record of version 0.1.0, 2025-03-01: first" in text
    assert "2 scenarios: 1 same, 1 moved" in text


def test_whether_other_numbers_were_simulated_is_said(folder: Path) -> None:
    """Of a record that moved: the set-up moved, or what is made of it did. It is no result by itself."""

    def other(record: dict[str, Any]) -> None:
        record["inputs.sha256"] = "2" * 64

    assert run_all(folder, changed(other), exact=True)["air"].state == "same"
    for move, said in ((other, "other numbers entered the simulation"), (None, "the same numbers entered")):

        def change(record: dict[str, Any], move: Any = move) -> None:
            record["peak_kw"] = 16.0
            if move is not None:
                move(record)

        outcome = run_all(folder, changed(change))["air"]
        assert keys(outcome) == ["peak_kw"]
        assert said in drift.drift_text([outcome])


def test_older_record_with_its_spread_of_rounding_is_read(folder: Path) -> None:
    """Records up to version 0.1 hold the spread of nudged years: it widens nothing any more."""
    path = folder / "records" / "air.json"
    raw = json.loads(path.read_text(encoding="utf-8"))
    del raw["inputs.sha256"]
    raw |= {"spread": {"peak_kw": 5.0}, "unsettled": ["peak_time"]}
    path.write_text(json.dumps(raw), encoding="utf-8")
    assert run_all(folder)["air"].state == "same"
    outcome = run_all(folder, changed(lambda r: r.update(peak_kw=15.1, peak_time="02-05 07:15")))["air"]
    assert set(keys(outcome)) == {"peak_kw", "peak_time"}
    assert "entered the simulation" not in drift.drift_text([outcome])
    accept([outcome], "stored anew", DAY)
    assert not {"spread", "unsettled"} & set(json.loads(path.read_text(encoding="utf-8")))


def test_months_are_named(folder: Path) -> None:
    """The third value of a monthly list is March; a month that gets a value where it had none has moved."""

    def change(record: dict[str, Any]) -> None:
        record["monthly.electricity_kwh"][2] += 1.0
        record["monthly.cop_plant"][6] = 2.0

    assert keys(run_all(folder, changed(change))["air"]) == [
        "monthly.cop_plant[Jul]",
        "monthly.electricity_kwh[Mar]",
    ]


def test_largest_relative_change_comes_first(folder: Path) -> None:
    """1 kW of 15 is more than 1 kWh of 27000; what was zero is before both."""

    def change(record: dict[str, Any]) -> None:
        for key in ("electricity_kwh", "unmet_kwh", "peak_kw"):
            record[key] += 1.0

    outcome = run_all(folder, changed(change))["air"]
    assert keys(outcome) == ["unmet_kwh", "peak_kw", "electricity_kwh"]
    short = drift.table(outcome.moves, 2)
    assert short[-1] == "and 1 more (--all lists them)"
    assert len(drift.table(outcome.moves, None)) == len(short)


def test_new_and_gone_keys_are_drift(folder: Path) -> None:
    def change(record: dict[str, Any]) -> None:
        del record["peak_kw"]
        record["carbon_kg"] = 1.0
        record["source_c"] = None

    outcome = run_all(folder, changed(change))["air"]
    assert {m.key: m.note for m in outcome.moves} == {
        "peak_kw": "gone",
        "carbon_kg": "new",
        "source_c": "new",
    }
    text = "\n".join(drift.table(outcome.moves))
    assert "carbon_kg is new" in text
    assert "peak_kw is gone" in text


def test_cause_that_is_left_out_counts_as_zero(folder: Path) -> None:
    def change(record: dict[str, Any]) -> None:
        record["backup_hours_by_cause"] = {"lock-out": 0.5, "starting": 1e-9}

    outcome = run_all(folder, changed(change))["air"]
    assert {m.key: m.change for m in outcome.moves} == {
        "backup_hours_by_cause[lock-out]": 0.5,
        "backup_hours_by_cause[capacity]": -2.0,
    }
    assert [m.key for m in outcome.within] == ["backup_hours_by_cause[starting]"]


def test_default_in_force_and_caution_are_drift(folder: Path) -> None:
    """A changed default, its source, a repeated key's second entry, and the words of a caution."""

    def change(record: dict[str, Any]) -> None:
        record["assumptions"][0].update(value="1.8 m", source="a standard")
        record["assumptions"][2].update(value="5.60 W/K")
        record["cautions"] = ["scald: the store holds water at 71 degC", "another"]

    outcome = run_all(folder, changed(change))["air"]
    assert set(keys(outcome)) == {
        "assumptions[plant.storage.height]",
        "assumptions[plant.storage.height].source",
        "assumptions[plant.storage.heat_loss]#2",
        "cautions[scald: the store holds water at 0 degC]",
        "cautions[another]",
    }
    text = "\n".join(drift.table(outcome.moves))
    assert "stored  1.5 m" in text
    assert "fresh   1.8 m" in text


def test_numbers_that_are_not_finite(folder: Path) -> None:
    """NaN against a number has moved; NaN against the NaN that was stored (as null) has not."""
    run = changed(lambda r: r.update({"peak_kw": math.nan}))
    outcomes = run_all(folder, run)
    assert keys(outcomes["air"]) == ["peak_kw"]
    accept([outcomes["air"]], "no peak", DAY)
    assert '"peak_kw": null' in (folder / "records" / "air.json").read_text(encoding="utf-8")
    assert run_all(folder, run, exact=True)["air"].state == "same"


def test_balance_error_is_held_to_its_bound(folder: Path) -> None:
    """The design allows 1e-6 in size; within it any value is the same, in exact mode too."""
    for error, moved in [(-9e-7, False), (1.1e-6, True), (-1.1e-6, True)]:
        run = changed(lambda r, e=error: r.update({"balance_error": e}))
        for exact in (False, True):
            assert keys(run_all(folder, run, exact)["air"]) == (["balance_error"] if moved else [])


def test_tolerance_file(folder: Path) -> None:
    """By pattern; the last line that fits counts; inf takes a text out; other keys keep the default."""

    def change(record: dict[str, Any]) -> None:
        record["monthly.electricity_kwh"][0] *= 1.009
        record["monthly.electricity_kwh"][1] *= 1.011
        record["unmet_kwh"] = 0.4
        record["peak_kw"] *= 1.009
        record["peak_time"] = "02-05 07:15"

    path = folder / "records" / "tolerances.csv"
    path.write_text(
        "# invented\nkey, relative, absolute\nmonthly.*, 0, 0\nmonthly.*, 0.01, 0\n"
        "unmet_kwh, 0, 0.5\npeak_time, inf, 0\n",
        encoding="utf-8",
    )
    outcome = run_all(folder, changed(change))["air"]
    assert keys(outcome) == ["monthly.electricity_kwh[Feb]", "peak_kw"]
    assert len(keys(run_all(folder, changed(change), exact=True)["air"])) == 5


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("key, relative\n", "line 1: columns: missing absolute"),
        ("key, relative, absolute\npeak_kw, 1 %, 0\n", "line 2: column relative: got '1 %'"),
        ("key, relative, absolute\n\npeak_kw, 0, -1\n", "line 3: column absolute: got '-1'"),
        ("key, relative, absolute\npeak_kw, nan, 0\n", "line 2: column relative: got 'nan'"),
    ],
)
def test_wrong_tolerance_file(folder: Path, text: str, said: str) -> None:
    (folder / "records" / "tolerances.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said):
        plan(folder)


def test_missing_and_orphan_records(folder: Path) -> None:
    records = folder / "records"
    (records / "air.json").rename(records / "old.json")
    outcomes = run_all(folder)
    assert {name: o.state for name, o in outcomes.items()} == {
        "air": "new",
        "element": "same",
        "old": "orphan",
    }
    text = drift.drift_text(list(outcomes.values()))
    assert "air: there is no stored record" in text
    assert "old: there is no old.yaml for this record" in text


def test_scenario_that_fails_lets_the_others_run(folder: Path) -> None:
    path = folder / "air.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("volume", "volumes"), encoding="utf-8")
    outcomes = run_all(folder)
    assert (outcomes["air"].state, outcomes["element"].state) == ("failed", "same")
    assert "volumes" in outcomes["air"].message
    assert accept(list(outcomes.values()), "why", DAY) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"record": {', r"air\.json, line 1, column 13: not valid JSON"),
        ("[1]", "allowed a block named 'record'"),
        ('{"record": {}, "history": {}}', "allowed a list named 'history'"),
        ('{"record": {}, "history": [1]}', "history: allowed a list of blocks"),
        ('{"record": {"a": NaN}}', "NaN is no number of JSON"),
        ("[" * 100_000, "got blocks more than 40 deep"),
        ("\udcff", "not UTF-8"),
    ],
)
def test_corrupt_record(folder: Path, text: str, said: str) -> None:
    """One line that names the file, before anything is run."""
    (folder / "records" / "air.json").write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(InputError, match=said) as caught:
        plan(folder)
    assert "\n" not in str(caught.value)


def test_junit_counts_and_escapes(folder: Path, tmp_path: Path) -> None:
    """Read back by the library's parser: counts as the JUnit attributes say, control characters replaced."""
    records = folder / "records"
    (records / "old.json").write_bytes((records / "air.json").read_bytes())
    (folder / "broken.yaml").write_text("title: [", encoding="utf-8")

    def change(record: dict[str, Any]) -> None:
        if "resistance" not in record["title"]:
            record["cautions"] = ["<b> & \x00\x1b]]>"]

    outcomes = list(run_all(folder, changed(change)).values())
    path = tmp_path / "out" / "junit.xml"
    drift.write_junit(path, outcomes, folder)
    root = ElementTree.parse(path).getroot()
    (suite,) = root
    counts = {key: suite.attrib[key] for key in ("tests", "failures", "errors", "skipped")}
    assert counts == {"tests": "4", "failures": "2", "errors": "1", "skipped": "0"}
    cases = {case.attrib["name"]: case for case in suite.iter("testcase")}
    assert {name: [part.tag for part in case] for name, case in cases.items()} == {
        "air": ["failure"],
        "broken": ["error"],
        "element": [],
        "old": ["failure"],
    }
    assert "<b> & ??]]>" in (cases["air"][0].text or "")
    assert "not valid YAML" in cases["broken"][0].attrib["message"]
    with pytest.raises(InputError, match="--junit"):
        drift.write_junit(tmp_path, outcomes, folder)


def test_command_exit_codes(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 nothing moved, 1 drift, 0 once accepted, 1 while an orphan is left."""
    monkeypatch.setattr(regress, "run_record", invented)
    assert cli.main(["regress", str(folder)]) == DONE
    monkeypatch.setattr(regress, "run_record", changed(lambda r: r.update({"peak_kw": 16.0})))
    junit = folder / "junit.xml"
    assert cli.main(["regress", str(folder), "--only", "air", "--junit", str(junit)]) == FOUND
    assert ElementTree.parse(junit).getroot().attrib["failures"] == "1"
    out, err = capsys.readouterr()
    assert "peak_kw" in out
    assert err == ""  # no progress bar where there is no terminal
    assert cli.main(["regress", str(folder), "--accept", "bigger peak"]) == DONE
    assert "accepted: bigger peak" in capsys.readouterr().out
    assert cli.main(["regress", str(folder)]) == DONE
    (folder / "element.yaml").unlink()
    assert cli.main(["regress", str(folder), "--accept", "gone"]) == FOUND


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["nowhere"], "nowhere: there is no such folder"),
        (["empty"], "empty: no scenarios in this folder"),
        (["scenarios", "--accept", " "], "--accept: got an empty reason"),
        (["scenarios", "--only", "airs"], "--only airs: there is no such scenario in scenarios; allowed air"),
    ],
)
def test_command_wrong_input(
    folder: Path,
    more: list[str],
    said: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One line on standard error and exit code 2."""
    monkeypatch.chdir(folder.parent)
    (folder.parent / "empty").mkdir()
    assert cli.main(["regress", *more]) == WRONG_INPUT
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert err.count("\n") == 1


@pytest.mark.law
@pytest.mark.year
def test_changed_physics_is_seen(folder: Path) -> None:
    """A store that loses a tenth more heat: its loss rises by a tenth, and electricity with it.

    Newton's law of cooling: loss is proportional to UA at the same temperatures. The thermostat holds the
    electric store within its 3 K dead band of a 40 K difference, so the ratio is 1.10 to half of the band:
    4 %. All the heat of this plant comes from the element, so electricity rises by the extra loss and what
    the store gained more; both years balance to 1e-6 of 63 MWh, so the sum is good to 0.13 kWh.
    """
    (folder / "air.yaml").unlink()
    for path in (folder / "records").iterdir():
        path.unlink()
    (first,) = run_all(folder, run_record).values()
    accept([first], "first", DAY)
    assert run_all(folder, run_record, exact=True)["element"].state == "same"

    def leaky(loaded: Loaded) -> regress.Record:
        plant = loaded.scenario.plant
        storage = plant.storage.model_copy(update={"heat_loss": 1.1 * loss})
        scenario = loaded.scenario.model_copy(update={"plant": plant.model_copy(update={"storage": storage})})
        return run_record(loaded._replace(scenario=scenario))

    assert first.fresh is not None
    said = [a for a in first.fresh["assumptions"] if a["value"].endswith(" W/K")]
    loss = float(said[0]["value"].split()[0])
    outcome = run_all(folder, leaky)["element"]
    assert outcome.state == "moved"
    moves = {move.key: move for move in outcome.moves}
    assert moves["storage_loss_kwh"].relative == pytest.approx(0.10, abs=0.04)
    heat = ("storage_loss_kwh", "store_change_kwh", "recirculation_loss_kwh")  # a cooler store feeds the loop
    extra = sum(moves[key].change or 0.0 for key in heat if key in moves)
    assert moves["electricity_kwh"].change == pytest.approx(extra, abs=0.13)
    assert "heat_to_taps_kwh" not in moves
