"""`tankyear operation` at the command line."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from cases import ROOT, refusal

from hpwhsim.cli.main import main

pytestmark = pytest.mark.contract

FILE = str(ROOT / "scenarios" / "packaged.yaml")


@pytest.mark.slow
@pytest.mark.year
def test_two_files_are_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["operation", FILE, "--out", str(tmp_path)]) == 0
    names = ["operation.html", "operation.docx"]
    assert capsys.readouterr().out.split() == [str(tmp_path / name) for name in names]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(names)


@pytest.mark.year
def test_json_alone_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["operation", FILE, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert list(tmp_path.iterdir()) == []
    assert {"sequence", "settings", "states", "points", "alarms", "expected"} <= set(found)
    (setpoint,) = [row for row in found["settings"] if row["key"] == "plant.storage.setpoint"]
    assert (setpoint["value"], setpoint["si"], setpoint["origin"]) == ("140 °F (60 °C)", "60 °C", "given")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere.yaml"], "nowhere.yaml"),
        ([FILE, "--set", "plant.storage.setpoint=20 degC"], "plant.storage.setpoint"),
        ([FILE, "--weather", "nowhere.epw"], "nowhere.epw"),
        ([], "scenario"),
    ],
)
def test_bad_input_is_one_line(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert said in refusal(["operation", *words], capsys).lower()


@pytest.mark.year
def test_a_folder_that_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("")
    assert "cannot be written" in refusal(["operation", FILE, "--out", str(tmp_path / "file")], capsys)


def test_a_missing_file_is_said_before_anything_heavy_is_loaded() -> None:
    code = (
        "import sys; from hpwhsim.cli.main import main; code = main(sys.argv[1:]); "
        "print(code, *sorted({'numba', 'docx', 'jinja2', 'scipy'} & set(sys.modules)))"
    )
    words = ["operation", FILE, "--weather", "nowhere.epw"]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["2"]
