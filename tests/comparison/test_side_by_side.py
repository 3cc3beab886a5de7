"""Several scenarios side by side: unlike accounts are named, rooms are booked alike, nothing is too wide."""

import csv
import json
from pathlib import Path
from typing import Any

import answer_cases
import pytest
from answer_cases import Case, close

from hpwhsim.cli.main import main
from hpwhsim.comparison import unlike
from hpwhsim.comparison.report import WIDTH, comparison_rows, comparison_text, labels
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.contract

# pytest finds a fixture by its name in the module
case = answer_cases.case

OTHER = [
    "carbon.gwp=AR5-100",
    "carbon.grid=0.3 kg/kWh",
    "carbon.service_years=10",
    "tariff.fixed=31 USD",
    "run.steps_per_hour=4",
]


def cases_of(case: Case) -> list[unlike.Case]:
    path = case.folder / "packaged.yaml"
    other = read_scenario(path, OTHER)
    return [
        unlike.Case("one", read_scenario(path), case.one.record),
        unlike.Case("other", other, evaluate(other).record),
    ]


@pytest.mark.slow
def test_every_unlike_account_has_a_caution(case: Case) -> None:
    """Each key that was changed is named with both values; the same scenario twice has none."""
    one, other = cases_of(case)
    said = unlike.unlike([one, other])
    for what in (
        "the set of warming potentials is not the same, which touches kg CO2e (one: AR6-100; other: AR5-100)",
        "the grid is not the same",
        "the service life is not the same, which touches kg CO2e (one: 12; other: 10)",
        "the tariff is not the same, which touches USD (one; other)",
    ):
        assert sum(text.startswith(what) for text in said) == 1, what
    assert "other: 0.3 kg/kWh" in " ".join(said)
    assert len(said) == 4
    assert unlike.unlike([one, one._replace(name="again")]) == []
    (note,) = unlike.one_seed([one, other])  # the draws of both are random
    assert "peak and bill of one, other" in note


def test_rooms_missing_blocks_and_unlike_loads_are_said(case: Case) -> None:
    one, _ = cases_of(case)
    path = case.folder / "packaged.yaml"
    loaded = read_scenario(path, ["carbon=", "tariff=", "costs="])
    bare: dict[str, Any] = {k: v for k, v in one.record.items() if not k.startswith(("carbon.", "room_"))}
    bare["heat_to_taps_kwh"] *= 1.1
    said = " / ".join(unlike.unlike([one, unlike.Case("bare", loaded, bare)]))
    assert "no kg CO2e of bare: there is no block carbon" in said
    assert "no USD of bare: there is no block tariff" in said
    assert "the useful heat is not the same" in said
    assert "the heat pump's room is counted for one:" in said


@pytest.mark.independent
def test_plant_and_room_are_added_in_every_row(case: Case) -> None:
    """By hand: purchases and bill of the plant, and what its room takes more and less."""
    record: Any = case.one.record
    (row,) = comparison_rows(["one.yaml"], [record])
    credit = record["room_cooling_credit_kwh"] + record["dehumidifier_credit_kwh"]
    assert credit > 0.0
    whole = record["electricity_kwh"] + record["fuel_kwh"] + record["room_heating_penalty_kwh"] - credit
    assert row["with_room_kwh"] == close(whole)
    assert row["room_credit_kwh"] == close(credit)
    assert row["cost_with_room"] == close(case.one.savings["cost"].plant)
    useful = record["heat_to_taps_kwh"] + record["recirculation_loss_kwh"]
    assert useful / row["with_room_kwh"] == close(row["cop_net"])
    for key in ("resistance_kwh", "short_litres", "carbon.room_kgco2e", "costs.room_usd"):
        assert row[key] == record[key]


@pytest.mark.parametrize("count", [1, 2, 5, 6, 13])
def test_no_line_is_wider_than_a_hundred(case: Case, count: int) -> None:
    names = [f"a-rather-long-name-of-a-file-{n}.yaml" for n in range(count)]
    records: list[Any] = [case.one.record] * count
    caution = "words " * 60
    text = comparison_text(names, records, [caution])
    assert max(map(len, text.splitlines())) <= WIDTH == 100
    assert text.count(f"{records[0]['electricity_kwh']:,.0f}") == count
    assert text.startswith(" ")


def test_files_of_one_name_are_told_apart() -> None:
    assert labels(["a/x.yaml", "b/x.yaml", "y.yaml"]) == ["x (1)", "x (2)", "y"]


@pytest.mark.slow
def test_compare_writes_table_and_picture(
    case: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [str(case.folder / name) for name in ("packaged.yaml", "tanks.yaml")]
    assert main(["compare", *files, "--set", "run.steps_per_hour=4", "--out", str(tmp_path), "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    lines = (tmp_path / "compare.csv").read_text().splitlines()
    said = [line for line in lines if line.startswith("# caution: ")]
    assert [line.removeprefix("# caution: ") for line in said] == shown["cautions"]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    for row, of in zip(rows, shown["rows"], strict=True):
        for key in ("electricity_kwh", "total_kgco2e", "energy_cost", "resistance_kwh", "with_room_kwh"):
            assert float(row[key]) == of[key], key
    assert (tmp_path / "compare.png").read_bytes().startswith(b"\x89PNG")


def test_a_folder_that_is_a_file_is_refused_before_the_work(
    case: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    assert main(["compare", str(case.folder / "packaged.yaml"), "--out", str(tmp_path / "file")]) == 2
    assert "--out" in capsys.readouterr().err
