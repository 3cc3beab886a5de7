"""Peaks, bills and energy over years of draws: against runs of single seeds and the standard library."""

import json
import statistics
from pathlib import Path
from typing import Any

import answer_cases
import pytest
from answer_cases import Case
from recalculation import recalculated, table
from workbook_cases import RELATIVE, needs_office

from hpwhsim.cli.main import main
from hpwhsim.dossier.archive import packed, unpacked
from hpwhsim.dossier.bundle import bundle
from hpwhsim.dossier.verify import verify
from hpwhsim.dossier.workbook.book import workbook_bytes
from hpwhsim.dossier.workbook.draw_sheet import SHARES, SHEET, TOP
from hpwhsim.evaluation.draw_rows import draw_rows
from hpwhsim.evaluation.draw_years import evaluate_over, is_headline
from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.first_screen import first_screen
from hpwhsim.evaluation.report import year_text
from hpwhsim.evaluation.result import Result
from hpwhsim.results.records import absent, flatten
from hpwhsim.scenario.reading import Loaded, read_scenario
from hpwhsim.simulation.year import ONE_SEED

pytestmark = pytest.mark.independent

# pytest finds a fixture by its name in the module
case = answer_cases.case

COUNT = 10  # more than are simulated at once, and enough for P10 and P90 within them
QUICK = "run.steps_per_hour=4"


@pytest.fixture(scope="module")
def loaded(case: Case) -> Loaded:
    return read_scenario(case.folder / "packaged.yaml", [QUICK])


@pytest.fixture(scope="module")
def result(loaded: Loaded) -> Result:
    return evaluate_over(loaded, COUNT)


def spread_of(result: Result) -> dict[str, Any]:
    found: Any = result.plant.record["seeds"]
    return dict(found)


@pytest.mark.slow
@pytest.mark.parametrize("at", [0, 1, 8, COUNT - 1])
def test_each_year_is_that_of_its_seed(case: Case, result: Result, at: int) -> None:
    """The scenario written with that seed gives the same figures, the baseline's and the peak hours' too."""
    found = spread_of(result)
    seed = found["seeds"][at]
    assert found["seeds"] == list(range(3, 3 + COUNT))  # the scenario's own is 3
    alone: Any = evaluate(
        read_scenario(case.folder / "packaged.yaml", [QUICK, f"hot_water.seed={seed}"])
    ).record
    for key in ("peak_kw", "costs.demand_usd", "electricity_kwh", "savings.cost_usd", "baseline.peak_kw"):
        assert found["figures"][key]["values"][at] == alone[key], key
    for part in ("plant", "baseline", "saved"):
        line = alone["savings.lines"]["july.highest_kw"]
        assert found["figures"][f"savings.lines[july.highest_kw][{part}]"]["values"][at] == line[part]


def test_quantiles_are_those_of_the_standard_library(result: Result) -> None:
    """`statistics.quantiles`, method exclusive: places at shares of n + 1; sums of two floats, 1e-12."""
    headlines = {key: of for key, of in spread_of(result)["figures"].items() if is_headline(key)}
    assert {"peak_kw", "energy_cost", "savings.lines[july.highest_kw][saved]"} <= set(headlines)
    for key, of in headlines.items():
        tenths = statistics.quantiles(of["values"], n=10, method="exclusive")
        assert of["p10"] == pytest.approx(tenths[0], rel=1e-12, abs=1e-12), key
        assert of["median"] == pytest.approx(statistics.median(of["values"]), rel=1e-12, abs=1e-12), key
        assert of["p90"] == pytest.approx(tenths[8], rel=1e-12, abs=1e-12), key
    assert len(set(spread_of(result)["figures"]["peak_kw"]["values"])) > COUNT // 2  # seeds do differ


def test_every_number_of_the_record_that_differs_between_seeds_has_its_spread(
    case: Case, loaded: Loaded
) -> None:
    """Of two years P10 and P90 are the smaller and the larger, and the median is their mean; run alone."""
    path = case.folder / "packaged.yaml"
    alone = [flatten(evaluate(read_scenario(path, [QUICK, f"hot_water.seed={n}"])).record) for n in (3, 4)]
    found = spread_of(evaluate_over(loaded, 2))["figures"]
    both = {key: [year.get(key, absent(key)) for year in alone] for key in {**alone[0], **alone[1]}}
    numbers = {
        key: pair for key, pair in both.items() if all(isinstance(value, float | int) for value in pair)
    }
    apart = {key: sorted(pair) for key, pair in numbers.items() if pair[0] != pair[1]}
    assert {"monthly.peak_kw[Jul]", "backup_hours_by_cause[capacity]", "costs.npv_usd"} <= set(apart)
    for key, (low, high) in apart.items():
        assert (found[key]["p10"], found[key]["p90"]) == (low, high), key
        assert found[key]["median"] == pytest.approx(0.5 * (low + high), rel=1e-12, abs=1e-12), key
    assert {key for key in found if not is_headline(key)} <= set(apart)


@pytest.mark.contract
def test_without_more_seeds_a_caution_says_that_there_is_one(loaded: Loaded, result: Result) -> None:
    one, many = evaluate_over(loaded).plant.year, result.plant.year
    assert "seeds" not in one.record
    assert sum(text.startswith(f"{ONE_SEED} (hot_water.seed 3)") for text in one.cautions) == 1
    assert not any(ONE_SEED in text for text in many.cautions)
    same = [text for text in one.cautions if ONE_SEED not in text]
    assert same == many.cautions
    assert "; one seed" in first_screen(one.record)
    assert "; one seed" not in first_screen(many.record)
    peak = spread_of(result)["figures"]["peak_kw"]
    words = f"P10 {peak['p10']:,.1f}, P90 {peak['p90']:,.1f} kW"
    assert words in year_text(many.record)
    rest = {key: value for key, value in many.record.items() if key not in ("seeds", "cautions")}
    assert rest == {key: value for key, value in one.record.items() if key != "cautions"}


@pytest.mark.contract
def test_the_screen_shows_the_spread_within_a_hundred_columns(result: Result) -> None:
    text = year_text(result.plant.record)
    head = f"Over {COUNT} years of random draws in the same weather, seeds 3 to {2 + COUNT}"
    block = text[text.index(head) :].split("\n\n")[0].splitlines()
    assert max(map(len, block)) <= 100
    shown = {row[0]: row[2:] for row in draw_rows(result.plant.record)}
    peak = "peak power (15-minute mean)"
    assert [line.split()[-6:] for line in block if line.strip().startswith(peak)] == [shown[peak]]
    assert "july: highest, plant" in text
    assert any(row[0] == "demand charges" for row in draw_rows(result.plant.record))


@pytest.mark.slow
@needs_office
def test_the_workbook_has_each_year_and_its_quantiles_as_formulas(result: Result, tmp_path: Path) -> None:
    """Recalculated by LibreOffice from the values of the years."""
    file = tmp_path / "dossier.xlsx"
    file.write_bytes(workbook_bytes(result))
    rows = table(recalculated(file, tmp_path), SHEET)
    keys = rows[TOP - 1][1:]
    figures = spread_of(result)["figures"]
    shown = [key for key in figures if is_headline(key)]
    assert [key for key in keys if key] == shown
    for at, key in enumerate(shown, start=1):
        for row, which in enumerate(SHARES, start=5):
            assert rows[row][at] == pytest.approx(figures[key][which], rel=RELATIVE, abs=1e-9), (key, which)
        assert [rows[TOP + n][at] for n in range(COUNT)] == pytest.approx(figures[key]["values"])


@pytest.mark.slow
@pytest.mark.contract
def test_a_bundle_repeats_all_years(loaded: Loaded, tmp_path: Path) -> None:
    """Two seeds; then a value of the second is changed, and the verdict is no longer `same`."""
    path = tmp_path / "bundle.zip"
    path.write_bytes(bundle(evaluate_over(loaded, 2), {}))
    assert verify(path).same
    held = unpacked(path)
    record: Any = json.loads(held["record.json"])
    record["seeds"]["figures"]["peak_kw"]["values"][1] *= 1.01
    path.write_bytes(packed(held | {"record.json": json.dumps(record).encode()}))
    assert [move.key for move in verify(path).moves] == ["seeds[figures][peak_kw][values][1]"]


@pytest.mark.contract
def test_no_seeds_without_random_draws(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    """Smooth draws have no chance in them: said in one line, and no caution about a seed."""
    smooth = ["--set", "hot_water.draws=smooth", "--set", QUICK, "--set", "hot_water.seed="]
    file = str(case.folder / "packaged.yaml")
    for verb in ("run", "compare"):
        assert main([verb, file, *smooth, "--seeds", "3", "--json"]) == 2
        found = capsys.readouterr()
        assert found.out == ""
        assert "--seeds" in found.err
        assert len(found.err.splitlines()) == 1
    assert main(["run", file, *smooth, "--json"]) == 0
    assert ONE_SEED not in capsys.readouterr().out


@pytest.mark.slow
@pytest.mark.contract
def test_compare_gives_the_spread_of_each(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(case.folder / "packaged.yaml")
    both = ["--set", QUICK, "--seeds", "2", "--json"]
    assert main(["compare", file, file, *both]) == 0
    (row, other) = json.loads(capsys.readouterr().out)["rows"]
    alone = evaluate_over(read_scenario(case.folder / "packaged.yaml", [QUICK]), 2).plant.year
    spread: Any = alone.record["seeds"]
    for which in ("p10", "median", "p90"):
        for key in ("peak_kw", "costs.demand_usd"):
            assert row[f"seeds.{key}.{which}"] == spread["figures"][key][which]
    assert {**row, "scenario": ""} == {**other, "scenario": ""}
