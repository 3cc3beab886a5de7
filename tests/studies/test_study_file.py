"""A study file: what it may say, which cases that makes, and what is wrong in one line each."""

from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import CHICAGO, GOLDEN, refusal
from scipy import stats
from study_cases import LOSS, VOLUME, cases_of, electric, sample, study

from hpwhsim.scenario.study import Sample, Spread
from hpwhsim.studies.sampling import drawn, points

pytestmark = pytest.mark.contract
COP = "plant.heat_pump.cop"


def test_cases_are_every_combination_in_order(tmp_path: Path) -> None:
    """Grid, then rows, then sample, the last one fastest; each case once."""
    rows = [{"building.apartments": 10, LOSS: "3 W/K"}, {"building.apartments": 30, LOSS: "9 W/K"}]
    cases = cases_of(
        tmp_path,
        grid={VOLUME: ["1 m3", "2 m3"], "plant.storage.setpoint": ["58 degC", "62 degC"]},
        rows=rows,
        sample=sample(2, "random", {"hot_water.seed": {"whole": [1, 9]}}),
    )
    found = [cases.values(number) for number in range(cases.size)]
    wanted = product(("1 m3", "2 m3"), ("58 degC", "62 degC"), rows, range(2))
    assert len(found) == 16
    for one, (volume, setpoint, row, _) in zip(found, wanted, strict=True):
        assert (one[VOLUME], one["plant.storage.setpoint"]) == (volume, setpoint)
        assert {key: one[key] for key in row} == row
    assert found[0]["hot_water.seed"] == found[2]["hot_water.seed"]


def test_a_table_is_rows(tmp_path: Path) -> None:
    """A CSV whose header has key paths says the same as `rows`; files start at the study's folder."""
    (tmp_path / "cases.csv").write_text(
        f"# invented\nsite.weather,{VOLUME}\n{GOLDEN},900 gal\n{CHICAGO},2 m3\n"
    )
    cases = cases_of(tmp_path, table="cases.csv")
    assert [cases.values(number) for number in range(2)] == [
        {"site.weather": GOLDEN, VOLUME: "900 gal"},
        {"site.weather": CHICAGO, VOLUME: "2 m3"},
    ]


@pytest.mark.parametrize(
    ("blocks", "words"),
    [
        ({}, ["grid, rows, table or sample"]),
        ({"gird": {VOLUME: ["1 m3"]}}, ["gird: unknown key; did you mean grid?"]),
        ({"grid": {"plant.storage.volum": ["1 m3"]}}, ["plant.storage.volum", f"did you mean {VOLUME}?"]),
        ({"grid": {VOLUME: []}}, [VOLUME, "got []", "1 or more"]),
        ({"grid": {VOLUME: ["1 m3", "1 m3"]}}, [VOLUME, "twice"]),
        ({"grid": {VOLUME: ["1 m3"]}, "set": {VOLUME: "2 m3"}}, [VOLUME, "in set already"]),
        ({"grid": {VOLUME: ["1 m3"], "plant.storage": [{}]}}, ["in grid already"]),
        ({"grid": {"site.weather": ["nowhere.epw"]}}, ["site.weather: got nowhere.epw", "there is none at"]),
        ({"rows": [{VOLUME: "1 m3", LOSS: "3 W/K"}, {VOLUME: "1 m3"}]}, ["rows.2", LOSS, "same keys"]),
        ({"rows": [{VOLUME: "1 m3"}], "table": "plant.yaml"}, ["rows or table, not both"]),
        ({"grid": {VOLUME: ["1 m3"]}, "record": ["electricty_kwh"]}, ["did you mean electricity_kwh?"]),
        ({"grid": {VOLUME: ["1 m3"]}, "hourly": ["peak_kw"]}, ["hourly: got peak_kw"]),
        (
            {"grid": {VOLUME: [f"{n} L" for n in range(1, 1002)], LOSS: [f"{n} W/K" for n in range(1000)]}},
            ["1,001,000 cases", "1,000,000"],
        ),
        (
            {"sample": sample(100, "sobol", {LOSS: {"uniform": ["3 W/K", "9 W/K"]}})},
            ["count: got 100", "64 or 128"],
        ),
        (
            {"sample": sample(8, "halton", {LOSS: {"uniform": ["3 W/K", "9 W/K"]}})},
            ["method: got 'halton'", "sobol"],
        ),
        ({"sample": sample(8, "sobol", {LOSS: {"unifrom": ["3 W/K", "9 W/K"]}})}, ["did you mean uniform?"]),
        ({"sample": sample(8, "sobol", {LOSS: {"uniform": ["3 W/K"]}})}, ["uniform", "2 or more"]),
        (
            {"sample": sample(8, "sobol", {LOSS: {"uniform": ["9 W/K", "3 W/K"]}})},
            [LOSS, "numbers that rise"],
        ),
        ({"sample": sample(8, "sobol", {LOSS: {"uniform": ["3 W", "9 W/K"]}})}, [LOSS, "W/K"]),
        ({"sample": sample(8, "sobol", {LOSS: {"uniform": [3, 9]}})}, [LOSS, "unit"]),
        ({"sample": sample(8, "sobol", {COP: {"uniform": ["3 kW", 4]}})}, [COP, "without unit"]),
        ({"sample": sample(8, "sobol", {COP: {"normal": [3, 0.2]}})}, ["within", "with normal"]),
        ({"sample": sample(8, "sobol", {COP: {"normal": [3, 0.2], "within": [30, 40]}})}, ["mean", "near"]),
        (
            {"sample": sample(8, "sobol", {COP: {"normal": [3, 0], "within": [2, 4]}})},
            ["deviation", "more than 0"],
        ),
        ({"sample": sample(8, "sobol", {"hot_water.seed": {"uniform": [1, 9]}})}, ["discrete or whole"]),
        ({"sample": sample(8, "sobol", {COP: {"discrete": [3, 4], "weights": [1]}})}, ["weights", "as many"]),
        ({"sample": sample(8, "sobol", {COP: {"discrete": [3], "whole": [1, 2]}})}, ["one of uniform"]),
    ],
)
def test_wrong_input_is_said_before_any_march(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], blocks: dict[str, Any], words: list[str]
) -> None:
    """Exit 2, one line that names the file, and no folder is made."""
    path, out = study(tmp_path, **blocks), tmp_path / "out"
    said = refusal(["sweep", str(path), "--out", str(out)], capsys)
    for word in [path.name, *words]:
        assert word in said
    assert not out.exists()


def test_what_a_study_lacks_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = study(tmp_path, grid={VOLUME: ["1 m3"]})
    assert "--out: got nothing" in refusal(["sweep", str(path)], capsys)
    assert "--vary" in refusal(["sweep", str(electric(tmp_path)), "--out", "x"], capsys)
    argv = ["sweep", str(path), "--out", "x", "--set", f"{VOLUME}=3 m3"]
    assert f"the study varies {VOLUME}" in refusal(argv, capsys)
    assert "sample: got nothing" in refusal(["uncertainty", str(path), "--out", "x"], capsys)
    keys = {LOSS: {"uniform": ["3 W/K", "9 W/K"]}}
    path = study(tmp_path, grid={VOLUME: ["1 m3"]}, sample=sample(8, "sobol", keys))
    assert "grid: allowed nothing beside sample" in refusal(["uncertainty", str(path), "--out", "x"], capsys)


# -- distributions -------------------------------------------------------------------------------------


@pytest.mark.independent
@pytest.mark.parametrize(
    ("key", "spread", "law"),
    [
        (COP, {"uniform": [3.0, 4.0]}, stats.uniform(3.0, 1.0)),
        (LOSS, {"triangular": ["3 W/K", "4 W/K", "9 W/K"]}, stats.triang(1.0 / 6.0, 3.0, 6.0)),
        (COP, {"normal": [3.7, 0.2], "within": [3.2, 4.0]}, stats.truncnorm(-2.5, 1.5, 3.7, 0.2)),
    ],
)
def test_values_are_quantiles_of_the_distribution(key: str, spread: dict[str, Any], law: Any) -> None:
    """The inverse distribution functions of scipy.stats, to the ten digits that a value is written with."""
    found = drawn(key, Spread(**spread))
    for share in (0.0, 1e-6, 0.1, 1.0 / 6.0, 0.5, 0.9, 1.0 - 1e-9):
        assert float(found.at(share).split(" ")[0]) == pytest.approx(law.ppf(share), rel=1e-9)


@pytest.mark.independent
def test_units_stay_those_of_the_user() -> None:
    """A spread of a temperature is a difference: 9 degF are 5 K; ends in two units are those of the first."""
    found = drawn(
        "plant.storage.setpoint", Spread(normal=["140 degF", "5 K"], within=["131 degF", "65 degC"])
    )
    assert found.numbers == pytest.approx((140.0, 9.0, 131.0, 149.0))
    assert found.at(0.5) == "140 degF"


@pytest.mark.independent
def test_discrete_and_whole_numbers_are_as_likely_as_said() -> None:
    """Shares of the unit interval by hand: weights 1, 2, 1, and ten whole numbers alike."""
    shares = (np.arange(1000) + 0.5) / 1000.0
    three = drawn("plant.storage.tanks", Spread(discrete=[1, 2, 3], weights=[1, 2, 1]))
    values = [three.at(share) for share in shares]
    assert [values.count(n) for n in (1, 2, 3)] == [250, 500, 250]
    ten = drawn("hot_water.seed", Spread(whole=[1, 10]))
    values = [ten.at(share) for share in shares]
    assert [values.count(n) for n in range(1, 11)] == [100] * 10
    assert ten.at(np.nextafter(1.0, 0.0)) == 10


@pytest.mark.independent
@pytest.mark.parametrize("method", ["sobol", "latin-hypercube"])
def test_even_samples_fill_each_stratum_once(method: str) -> None:
    """Of n points each n-th part of every axis holds one (McKay et al. 1979; a (t, m, s)-net in base 2)."""
    keys = {COP: Spread(uniform=[3, 4]), "hot_water.seed": Spread(whole=[1, 9])}
    found = points(Sample.model_validate(sample(64, method, keys)))
    for column in found.T:
        assert sorted((column * 64).astype(int)) == list(range(64))


@pytest.mark.law
def test_a_sample_is_its_seed() -> None:
    keys = {COP: Spread(uniform=[3, 4])}
    for method in ("sobol", "latin-hypercube", "random", "saltelli"):
        one, same, other = (
            points(Sample.model_validate(sample(8, method, keys, seed))) for seed in (1, 1, 2)
        )
        assert np.array_equal(one, same)
        assert not np.array_equal(one, other)
