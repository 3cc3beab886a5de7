"""The dossier beside its workbook: sensitivity, files, refusals."""

import shutil
from pathlib import Path
from typing import Any

import pytest
from cases import ROOT

from hpwhsim.cli import main as cli
from hpwhsim.errors import InputError
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.evaluation.result import Result
from hpwhsim.results.files import write_files
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.studies.sensitivity import Figures, sensitivities
from hpwhsim.studies.sensitivity_report import followed, tornado

pytestmark = [pytest.mark.contract, pytest.mark.year]
DEMO = ROOT / "scenarios" / "central-air.yaml"


# -- sensitivity ----------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.law
def test_swings_start_at_the_record_and_go_the_right_way(demo: Result) -> None:
    """The base is the record's; more use, more loss and a worse COP buy more; a dirtier grid saves less."""
    assert demo.baseline is not None
    found = sensitivities(demo.loaded, demo.plant.year, demo.baseline.year)
    record: Any = demo.plant.record
    assert found.left_out == {}
    base = found.base
    assert base.electricity_kwh == record["electricity_kwh"]
    assert base.kgco2e == record["total_kgco2e"]
    assert base.saved_kgco2e == pytest.approx(demo.savings["kgco2e"].saved, rel=1e-12)
    assert base.saved_cost == pytest.approx(demo.savings["cost"].saved, rel=1e-12)
    rows = {row.name: row for row in found.rows}
    assert set(rows) == {
        "hot-water use",
        "recirculation loss",
        "standby loss",
        "rated COP",
        "refrigerant leak",
        "grid factor",
    }

    def electric(result: Figures) -> float:
        return result.electricity_kwh

    for name in ("hot-water use", "recirculation loss", "standby loss"):
        assert electric(rows[name].low) < electric(base) < electric(rows[name].high), name
    assert electric(rows["rated COP"].low) > electric(base) > electric(rows["rated COP"].high)
    for name in ("refrigerant leak", "grid factor"):
        low, high = rows[name].low, rows[name].high
        assert low.electricity_kwh == high.electricity_kwh == base.electricity_kwh
        assert low.kgco2e is not None
        assert high.kgco2e is not None
        assert base.kgco2e is not None
        assert low.kgco2e < base.kgco2e < high.kgco2e
        # linear in both: the base is half-way
        assert low.kgco2e + high.kgco2e == pytest.approx(2.0 * base.kgco2e, rel=1e-12)
    # by hand: a fifth of the factor is a fifth of the energy's gases; the baseline buys no electricity here
    fifth = 0.2 * record["operational_kgco2e"]
    assert rows["grid factor"].high.kgco2e == pytest.approx(record["total_kgco2e"] + fifth, rel=1e-12)
    assert [f.field for f in followed(found)] == ["saved_kgco2e", "saved_cost", "electricity_kwh"]
    assert tornado(found).startswith(b"\x89PNG")


@pytest.mark.slow
def test_what_is_left_out_names_no_folder() -> None:
    """A COP that cannot be 10 % more has its reason, with the scenario's name and without its folder."""
    loaded = read_scenario(DEMO, ["plant.heat_pump.cop=5.4", "baseline=null", "costs=null"])
    found = sensitivities(loaded, evaluate_over(loaded).plant.year, None)
    assert set(found.left_out) == {"rated COP"}
    assert DEMO.name in found.left_out["rated COP"]
    assert str(DEMO.parent) not in found.left_out["rated COP"]


# -- files ----------------------------------------------------------------------------------------------


def test_three_files(written: Path) -> None:
    assert sorted(path.name for path in written.iterdir()) == ["bundle.zip", "dossier.pdf", "dossier.xlsx"]


@pytest.mark.parametrize(
    "argv",
    [
        ["dossier"],
        ["dossier", str(DEMO), "--verify", "bundle.zip"],
        ["dossier", "--verify", "bundle.zip", "--set", "title=x"],
        ["dossier", "missing.yaml"],
        ["dossier", str(DEMO), "--set", "plant.heat_pump.cop=40"],
        ["dossier", str(DEMO), "--out", str(DEMO / "below")],
    ],
)
def test_wrong_command_lines_write_nothing(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, argv: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.main(argv) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_failure_while_writing_leaves_the_old_files(
    written: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All or none: a part that cannot be made leaves what was there, and no scrap."""
    out = tmp_path / "out"
    shutil.copytree(written, out)
    before = {path.name: path.read_bytes() for path in out.iterdir()}

    def full(*_: object) -> bytes:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(InputError, match="No space left"):
        write_files(out, {"dossier.xlsx": b"1", "dossier.pdf": b"2"})
    monkeypatch.undo()
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
