"""Quantiles and what moves them: against closed forms, another program, and a plant that is linear."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import refusal
from scipy import stats
from scipy.stats import sobol_indices
from study_cases import LOSS, USE, sample, study

from hpwhsim.cli import main as cli
from hpwhsim.evaluation.reading import read
from hpwhsim.scenario.study import Sample, Spread
from hpwhsim.simulation.year import run_year
from hpwhsim.studies.sampling import points
from hpwhsim.studies.uncertainty import ranked, shares, spread_of

KEYS = ("plant.heat_pump.cop", "plant.storage.heat_loss", "plant.storage.volume")
UNIT = {key: Spread(whole=[0, 1]) for key in KEYS}


def saltelli(count: int) -> np.ndarray[Any, Any]:
    """Saltelli's points of three keys in the unit cube; (count, 5, 3)."""
    return points(Sample(count=count, method="saltelli", keys=UNIT)).reshape(count, 5, 3)


@pytest.mark.published
def test_shares_of_a_function_in_print() -> None:
    """Ishigami and Homma (1990), a = 7, b = 0.1; closed form of Saltelli et al., Global Sensitivity Analysis
    (2008): S = 0.3139, 0.4424, 0, ST = 0.5576, 0.4424, 0.2437.

    Within three standard errors that the means of the estimators would have on points drawn at random.
    """
    x = math.pi * (2.0 * saltelli(4096) - 1.0)
    y = np.sin(x[..., 0]) + 7.0 * np.sin(x[..., 1]) ** 2 + 0.1 * x[..., 2] ** 4 * np.sin(x[..., 0])
    centred = y - y[:, :2].mean()
    steps, variance = centred[:, 2:] - centred[:, :1], centred[:, :2].var()
    error_first = (centred[:, 1:2] * steps / variance).std(axis=0) / math.sqrt(4096)
    error_total = (0.5 * steps**2 / variance).std(axis=0) / math.sqrt(4096)
    assert max(*error_first, *error_total) < 0.025
    for one, first, total, of_first, of_total in zip(
        shares(y), (0.3139, 0.4424, 0.0), (0.5576, 0.4424, 0.2437), error_first, error_total, strict=True
    ):
        assert one["first"] == pytest.approx(first, abs=3.0 * of_first)
        assert one["total"] == pytest.approx(total, abs=3.0 * of_total)


@pytest.mark.independent
def test_shares_are_those_of_another_program() -> None:
    """scipy.stats.sobol_indices on the same points; a case without a year takes its whole point out."""
    x = saltelli(64)
    y = np.exp(x[..., 0]) * (1.0 + x[..., 1]) + x[..., 2]
    function = {"f_A": y[None, :, 0], "f_B": y[None, :, 1], "f_AB": np.moveaxis(y[:, 2:], 1, 0)[:, None]}
    other = sobol_indices(func=function, n=64)
    found = shares(y)
    assert [one["first"] for one in found] == pytest.approx(other.first_order.ravel(), rel=1e-9)
    assert [one["total"] for one in found] == pytest.approx(other.total_order.ravel(), rel=1e-9)
    failed = y.copy()
    failed[5, 3] = np.nan
    assert shares(failed) == shares(np.delete(y, 5, axis=0))


@pytest.mark.independent
def test_ranks_are_those_of_another_way() -> None:
    """Spearman's of scipy; partial by what a fit to the ranks of the other columns leaves."""
    rng = np.random.default_rng(3)
    x = rng.random((3, 200))
    x[2] = x[0] + 0.3 * x[2]  # goes with the first
    y = np.exp(2.0 * x[0]) - x[1] + 0.5 * rng.random(200)
    found = ranked(list(x), y)
    ranks = np.apply_along_axis(stats.rankdata, 1, [*x, y])
    for place in range(3):
        assert found[place]["spearman"] == pytest.approx(stats.spearmanr(x[place], y).statistic, rel=1e-9)
        others = np.stack([np.ones(200), *(ranks[k] for k in range(3) if k != place)], axis=1)
        left = [r - others @ np.linalg.lstsq(others, r)[0] for r in (ranks[place], ranks[3])]
        assert found[place]["partial"] == pytest.approx(np.corrcoef(left)[0, 1], rel=1e-6)


@pytest.mark.law
def test_what_does_not_vary_moves_nothing() -> None:
    none = {"spearman": None, "partial": None}
    assert ranked([np.arange(9.0), np.ones(9)], np.zeros(9)) == [none, none]
    found = ranked([np.arange(9.0), np.ones(9)], np.arange(9.0)[::-1])
    assert found[0]["spearman"] == pytest.approx(-1.0)
    assert found[1] == none
    assert shares(np.ones((8, 3))) == [{"first": None, "total": None}]
    assert spread_of(np.array([1.0, 2.0, 3.0, 4.0, np.nan, 6.0]), 1).tolist() == [1.0, 2.0, 4.0]


def uncertain(folder: Path, capsys: pytest.CaptureFixture[str], **blocks: Any) -> Any:
    """What `uncertainty --json` says of a study."""
    path = study(folder, **blocks)
    assert cli.main(["uncertainty", str(path), "--out", str(folder / "out"), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.contract
@pytest.mark.year
def test_quantiles_half_and_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """P10, P50, P90 of hand: the n + 1 gaps of eight cases in order; the first four stand beside them."""
    keys = {USE: {"uniform": ["100 L", "180 L"]}, LOSS: {"uniform": ["3 W/K", "9 W/K"]}}
    record = uncertain(tmp_path, capsys, sample=sample(8, "sobol", keys), record=["electricity_kwh"])
    rows = (tmp_path / "out" / "study.csv").read_text().splitlines()[1:]
    values = [float(row.split(",")[3]) for row in rows]
    for held, some in (
        (record["figures"]["electricity_kwh"], values),
        (record["figures"]["electricity_kwh"]["half"], values[:4]),
    ):
        low, *_, high = ordered = sorted(some)
        gap = 0.1 * (len(some) + 1) - 1.0  # below the first place the lowest stands
        assert held["p10"] == pytest.approx(low if gap <= 0.0 else low + gap * (ordered[1] - low), rel=1e-12)
        assert held["p90"] == pytest.approx(
            high if gap <= 0.0 else high - gap * (high - ordered[-2]), rel=1e-12
        )
        assert held["p50"] == pytest.approx(
            (ordered[len(some) // 2 - 1] + ordered[len(some) // 2]) / 2.0, rel=1e-12
        )
    assert set(record["figures"]["electricity_kwh"]["moved_by"]) == {USE, LOSS}
    assert {one.name for one in (tmp_path / "out").iterdir()} == {
        *("study.nc", "study.csv", "study.json"),
        *("uncertainty.json", "uncertainty.csv", "uncertainty.png"),
    }
    assert cli.main(["uncertainty", str(tmp_path / "study.yaml"), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    assert "uniform, 100 to 180 L" in said
    assert "note: 8 points are few" in said
    assert "allowed" in refusal(["uncertainty", str(tmp_path / "plant.yaml"), "--out", "x"], capsys)


@pytest.mark.contract
@pytest.mark.year
def test_nothing_to_say_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No case has a year: exit code 1, files all the same, and no quantile."""
    keys = {"plant.storage.setpoint": {"uniform": ["300 degC", "400 degC"]}}
    path, out = study(tmp_path, sample=sample(2, "random", keys)), tmp_path / "out"
    assert cli.main(["uncertainty", str(path), "--out", str(out)]) == 1
    said = capsys.readouterr().out
    assert "2 of 2 cases have no year" in said.replace("\n  ", " ")
    assert json.loads((out / "uncertainty.json").read_text())["figures"] == {}


@pytest.mark.independent
@pytest.mark.year
@pytest.mark.long
def test_shares_of_a_linear_plant(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An electric store takes the heat of the draws and its loss: both are linear in their keys.

    Two years each give the slopes; with uniform keys the shares of the variance are those of the squares of
    slope times width. 64 points of Sobol's are held to 0.03: random ones would scatter by 1/8.
    """
    ends = {USE: ("100 L", "180 L"), LOSS: ("3 W/K", "300 W/K")}
    record = uncertain(
        tmp_path,
        capsys,
        sample=sample(64, "saltelli", {key: {"uniform": list(two)} for key, two in ends.items()}),
    )
    middle = {USE: "140 L", LOSS: "151.5 W/K"}
    change = {}
    for key, two in ends.items():
        years = [
            run_year(
                read(tmp_path / "plant.yaml", [f"{k}={v}" for k, v in (middle | {key: end}).items()])
            ).record
            for end in two
        ]
        change[key] = float(years[1]["electricity_kwh"]) - float(years[0]["electricity_kwh"])
    whole = sum(value**2 for value in change.values())
    moved = record["figures"]["electricity_kwh"]["moved_by"]
    for key, value in change.items():
        assert 0.05 < value**2 / whole < 0.95
        assert moved[key]["first"] == pytest.approx(value**2 / whole, abs=0.03)
        assert moved[key]["total"] == pytest.approx(value**2 / whole, abs=0.03)


@pytest.mark.law
@pytest.mark.year
@pytest.mark.long
def test_quantiles_stand_when_the_sample_doubles(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """P10 to P90 of the electricity, 128 points beside 64: within 1 %, as the record's half says itself."""
    keys = {
        USE: {"triangular": ["120 L", "150 L", "170 L"]},
        LOSS: {"normal": ["5 W/K", "1 W/K"], "within": ["2 W/K", "8 W/K"]},
    }
    found = []
    for count in (64, 128):
        folder = tmp_path / str(count)
        folder.mkdir()
        record = uncertain(folder, capsys, sample=sample(count, "sobol", keys))
        found.append(record["figures"]["electricity_kwh"])
    for name in ("p10", "p50", "p90"):
        assert found[1][name] == pytest.approx(found[0][name], rel=0.01)
        assert (
            found[1]["half"][name] == found[0][name]
        )  # the first half of a Sobol sequence is the shorter one
