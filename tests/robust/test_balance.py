"""A march that loses heat or makes some gives no result, whoever asked for it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from study_cases import VOLUME, electric, study

from hpwhsim.cli import main as cli
from hpwhsim.climate.typical_year import read_year
from hpwhsim.errors import UnbalancedError
from hpwhsim.evaluation.reading import read
from hpwhsim.plant.arrays import Hourly
from hpwhsim.simulation import balance
from hpwhsim.simulation.year import built
from hpwhsim.simulation.years import march_years
from hpwhsim.studies.chunks import Worker

pytestmark = [pytest.mark.contract, pytest.mark.year, pytest.mark.usefixtures("anew")]


def lossy(monkeypatch: pytest.MonkeyPatch, share: float, number: int) -> None:
    """Let the march of this number, from 1, hand on so much more heat to the taps than was put in."""
    real: Callable[..., Hourly] = balance.march
    marched: list[Hourly] = []

    def march(*given: Any) -> Hourly:
        out = real(*given)
        marched.append(out)
        if len(marched) == number:
            out.taps_heat[4000] += share * (out.heat_pump_heat + out.backup_heat + out.loop_heater_heat).sum()
        return out

    monkeypatch.setattr(balance, "march", march)


@pytest.mark.parametrize("number", [1, 2])
def test_neither_plant_nor_baseline_is_delivered_unbalanced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], number: int
) -> None:
    """2e-6 of the heat is too much: one line, exit 3, no record and no file; 5e-7 passes."""
    path = electric(tmp_path)
    (tmp_path / "other.yaml").write_text(path.read_text())
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    argv = ["run", str(path), "--set", "baseline=other.yaml", "--set", "plant.storage.volume=1900 L"]
    with monkeypatch.context() as patch:
        lossy(patch, 2e-6, number)
        assert cli.main([*argv, "--json", "--out", str(tmp_path / "out")]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "UnbalancedError: 8760 hours do not balance: -2.0e-06 of the heat put in is not accounted" in err
    assert not (tmp_path / "out").exists()
    lossy(monkeypatch, 5e-7, number)
    assert cli.main([*argv, "--json"]) == 0


@pytest.mark.parametrize("share", [2e-6, -2e-6, float("nan")])
def test_every_year_of_many_is_held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, share: float) -> None:
    """The second of three years loses heat: its last one balances, and is not given all the same."""
    loaded = read(electric(tmp_path), [], None)
    ready = built(loaded, read_year(loaded.scenario.site.weather))
    lossy(monkeypatch, share, 2)
    with pytest.raises(UnbalancedError, match="hours do not balance"):
        march_years(ready.assembly, 3)


def test_a_case_of_a_study_that_does_not_balance_has_failed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The others of ten thousand are not lost with it."""
    study(tmp_path)
    lossy(monkeypatch, 1e-3, 1)
    chunk = Worker(read(tmp_path / "plant.yaml", [], None), ()).chunk([{VOLUME: "1 m3"}, {VOLUME: "2 m3"}])
    assert "do not balance" in chunk.failed[0]
    assert chunk.failed[1] == ""
