"""The best case of a study: by brute force over its records, each as if run alone; asked again; refused."""

import csv
import json
import shutil
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from cases import refusal
from study_cases import LOSS, USE, VOLUME, electric, sample, study

import hpwhsim as ty
from hpwhsim.cli import main as cli
from hpwhsim.results.records import flatten
from hpwhsim.studies import study as running

pytestmark = [pytest.mark.contract, pytest.mark.year]
COST, CAPITAL = "costs.present_value_usd", "costs.capital"
COSTS = {
    "costs": {"capital": "20,000 USD"},
    "tariff": {"electricity": [{"price": "0.2 USD/kWh"}]},
}
GRID = {
    "plant.storage.tanks": [1, 2],
    VOLUME: ["1000 L", "2000 L"],
    "plant.backup.power": ["6 kW", "30 kW"],
}
LIMITS = {"short_litres": {"max": "0 L"}}
PRICES = {"plant.storage.tanks": "500 USD", VOLUME: ["2,000 USD", "3,500 USD"]}


def asked(folder: Path, **blocks: Any) -> Path:
    """A study of the electric store with costs, and a block `best`."""
    best = {"objectives": ["cost"], "limits": LIMITS, "capital": PRICES} | blocks.pop("best", {})
    path = study(folder, **{"set": COSTS, "grid": GRID, "best": best} | blocks)
    return path


def table(out: Path) -> list[dict[str, str]]:
    """Rows of best.csv."""
    lines = (out / "best.csv").read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.fixture(scope="module")
def searched(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the study `asked` and, in ``out``, its eight cases."""
    folder = tmp_path_factory.mktemp("best")
    assert cli.main(["sweep", str(asked(folder)), "--out", str(folder / "out")]) == 0
    return folder


def test_best_of_all_cases(searched: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Capital by hand; the least cost under the limit; the record of the best bit for bit that of `run`."""
    record, rows = json.loads((searched / "out" / "best.json").read_text()), table(searched / "out")
    wanted = list(product(*GRID.values()))
    assert [tuple(row[key] for key in GRID) for row in rows] == [tuple(map(str, values)) for values in wanted]
    for row, (tanks, volume, _) in zip(rows, wanted, strict=True):
        capital = 20000 + 500 * tanks + {"1000 L": 2000, "2000 L": 3500}[str(volume)]
        assert float(row[CAPITAL].split()[0]) == capital
    allowed = [row for row in rows if float(row["short_litres"]) <= 0.0]
    assert 0 < len(allowed) < len(rows) == record["search"]["simulated"] == 8
    best = min(allowed, key=lambda row: float(row[COST]))
    assert record["search"]["proven"]
    (found,) = record["best"]
    assert found["case"] == int(best["case"])
    assert [row["case"] for row in rows if row["best"] == "1"] == [best["case"]]
    assert found["values"] == {key: best[key] for key in (*GRID, CAPITAL)}
    library = ty.best(searched / "study.yaml", searched / "out")
    assert library.record == record
    assert library.plants[0]["plant.storage.tanks"] == int(best["plant.storage.tanks"])
    assert library.table["electricity_kwh"].tolist() == [float(row["electricity_kwh"]) for row in rows]
    words = [word for key, value in found["values"].items() for word in ("--set", f"{key}={value}")]
    words += [word for key, block in COSTS.items() for word in ("--set", f"{key}={json.dumps(block)}")]
    capital = words.index(f"{CAPITAL}={found['values'][CAPITAL]}")
    words = [*words[: capital - 1], *words[capital + 1 :], *words[capital - 1 : capital + 1]]
    assert cli.main(["run", str(searched / "plant.yaml"), *words, "--json"]) == 0
    alone = flatten(json.loads(capsys.readouterr().out))
    assert {key: alone.get(key) for key in found["figures"]} == found["figures"]


def test_another_question_of_the_same_cases(
    searched: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two objectives and another limit: no worker is started, and both ends of the front are there."""
    out = tmp_path / "out"
    shutil.copytree(searched / "out", out)
    monkeypatch.setattr(running, "ProcessPoolExecutor", lambda *_: pytest.fail("a worker was started"))
    other = asked(tmp_path, best={"objectives": ["cost", "peak"], "limits": {"short_litres": {"max": 1e9}}})
    assert cli.main(["sweep", str(other), "--out", str(out), "--json"]) == 0
    record, rows = json.loads(capsys.readouterr().out), table(out)
    for best, key in zip(record["best"], (COST, "peak_kw"), strict=True):
        assert best["figures"][key] == min(float(row[key]) for row in rows)
    assert [one["case"] for one in record["front"]] == sorted(
        (int(row["case"]) for row in rows if row["front"] == "1"),
        key=lambda case: float(rows[case - 1][COST]),
    )
    assert (out / "best.png").read_bytes().startswith(b"\x89PNG")
    none = asked(tmp_path, best={"limits": {"peak_kw": {"max": 0.1}}})
    assert cli.main(["sweep", str(none), "--out", str(out)]) == 1
    said = capsys.readouterr().out
    assert "No case keeps every limit" in said
    assert "8 combinations, all of them simulated: the best is proven" in said


@pytest.mark.long
def test_a_large_space_is_searched_within_its_budget(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """1,001 steps of a loss, two volumes: ten cases, not proven; once more it is what is kept."""
    best = {"budget": 10, "limits": {}, "capital": {}, "objectives": ["electricity_kwh"]}
    best["ranges"] = {LOSS: {"uniform": ["2 W/K", "12 W/K"]}}
    path, out = asked(tmp_path, grid={VOLUME: ["1000 L", "2000 L"]}, best=best), tmp_path / "out"
    argv = ["sweep", str(path), "--out", str(out), "--json"]
    assert cli.main(argv) == 0
    first = capsys.readouterr().out
    record, rows = json.loads(first), table(out)
    assert (record["search"]["combinations"], len(rows), record["search"]["proven"]) == (2002, 10, False)
    assert all(2.0 <= float(row[LOSS].split()[0]) <= 12.0 for row in rows)
    assert record["best"][0]["figures"]["electricity_kwh"] == min(
        float(row["electricity_kwh"]) for row in rows
    )
    monkeypatch.setattr(running, "ProcessPoolExecutor", lambda *_: pytest.fail("a worker was started"))
    assert cli.main(argv) == 0
    assert capsys.readouterr().out == first


@pytest.mark.parametrize(
    ("blocks", "words"),
    [
        ({"best": {"objectives": ["cots"]}}, ["objectives cots: unknown key"]),
        ({"best": {"objectives": []}}, ["best.objectives", "got []", "1 or more"]),
        ({"best": {"objectives": ["cost", "peak", "co2e"]}}, ["best.objectives", "2 values at most"]),
        ({"best": {"objectives": ["co2e"]}}, ["total_kgco2e", "no block carbon"]),
        ({"best": {"limits": {"peak_kw": {"most": 3}}}}, ["most: unknown key", "min, max"]),
        (
            {"best": {"limits": {"peak_kw": {"max": "3 W"}}}},
            ["limits peak_kw: got 3 W; allowed a number in kW"],
        ),
        ({"best": {"capital": {LOSS: "3 USD"}}}, [f"best.capital: {LOSS}: got a key that is not chosen"]),
        ({"best": {"capital": {VOLUME: "3 USD"}}}, [VOLUME, "got one amount", "a list with one for each"]),
        ({"best": {"capital": {VOLUME: ["3 USD"]}}}, [VOLUME, "got 1 amounts; allowed 2"]),
        ({"best": {"capital": {VOLUME: [3, 4]}}}, [VOLUME, "USD"]),
        (
            {"best": {"ranges": {USE: {"whole": [1, 2], "uniform": ["1 L", "2 L"]}}}},
            ["one of uniform, whole"],
        ),
        ({"best": {"ranges": {USE: {"uniform": ["9 L", "2 L"]}}}}, [USE, "numbers that rise"]),
        ({"best": {"ranges": {VOLUME: {"uniform": ["1 L", "2 L"]}}}}, [VOLUME, "in grid already"]),
        ({"best": {"budget": 3}}, ["best.budget: got 3; allowed at least 10"]),
        ({"grid": GRID | {"hot_water.seed": [1, 2]}}, ["hot_water.seed: nobody chooses the draws"]),
        ({"hourly": ["electricity_kwh"]}, ["hourly", "nothing with best"]),
        (
            {"sample": sample(8, "sobol", {LOSS: {"uniform": ["3 W/K", "9 W/K"]}})},
            ["best", "no sample"],
        ),
    ],
)
def test_wrong_questions(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], blocks: dict[str, Any], words: list[str]
) -> None:
    path = asked(tmp_path, **blocks)
    said = refusal(["sweep", str(path), "--out", str(tmp_path / "out")], capsys)
    assert not [word for word in (path.name, *words) if word not in said]
    assert not (tmp_path / "out").exists()


def test_costs_are_wanted_where_choices_have_prices(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = study(tmp_path, grid=GRID, best={"objectives": ["peak"], "capital": PRICES})
    assert electric(tmp_path).exists()
    assert "no block costs" in refusal(["sweep", str(path), "--out", str(tmp_path / "out")], capsys)
