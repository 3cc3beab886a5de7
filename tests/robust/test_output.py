"""What the command says when its output is full, closed or without a letter, and when it has a fault."""

import io
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from robust_cases import full_disk

from hpwhsim.cli import main as cli
from hpwhsim.cli.options import add_json
from hpwhsim.cli.verbs import check

pytestmark = pytest.mark.contract

KEYS = [sys.executable, "-m", "hpwhsim", "keys", "plant.storage"]


@pytest.mark.parametrize(
    ("redirection", "code", "said"),
    [
        ("> /dev/full", 2, "tankyear: standard output: cannot be written: No space left on device\n"),
        (">&-", 2, "tankyear: standard output is closed; allowed one that is open, or > FILE\n"),
        (">&- 2>&-", 2, ""),
        ("2>/dev/full > /dev/full", 2, ""),
    ],
)
def test_full_and_closed_output(redirection: str, code: int, said: str) -> None:
    line = f'exec "$0" "$@" {redirection}'
    done = subprocess.run(["sh", "-c", line, *KEYS], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (code, "", said)


ESCAPED = b'{"a": "40 \\u00b0C \\ud834\\udd1e \\udcff"}\n'


@pytest.mark.parametrize(("words", "wanted"), [([], b'{"a": "40 ?C ? ?"}\n'), (["--json"], ESCAPED)])
def test_letters_that_an_output_does_not_have(
    monkeypatch: pytest.MonkeyPatch, words: list[str], wanted: bytes
) -> None:
    """In ASCII a letter is a ? in text, and an escape in JSON, whose content is whole."""
    text = {"a": "40 °C \U0001d11e \udcff"}

    def act(_: object) -> int:
        print(json.dumps(text, ensure_ascii=False))
        return 0

    verb = check.VERB._replace(act=act, options=lambda parser: add_json(parser, "it"))
    monkeypatch.setattr(cli, "VERBS", (verb,))
    shown = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(shown, encoding="ascii"))
    assert cli.main(["check", *words]) == 0
    assert shown.getvalue() == wanted
    if words:
        assert json.loads(shown.getvalue()) == text


def broken(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    """Let `tankyear check` raise this."""

    def act(_: object) -> int:
        print("what was said before")
        raise error

    monkeypatch.setattr(cli, "VERBS", (check.VERB._replace(act=act),))


def test_a_fault_is_one_line_a_report_and_exit_3(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The report has traceback, versions and command; nothing of the environment, and no name of the user."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setenv("HOME", "/home/jo-doe")
    monkeypatch.setenv("TOKEN", "hunter2")
    broken(monkeypatch, ZeroDivisionError("\x1b[31mof\nnothing"))
    assert cli.main(["check", "/home/jo-doe/a b.yaml"]) == 3
    out, err = capsys.readouterr()
    assert out == "what was said before\n"
    (report,) = tmp_path.iterdir()
    assert err == (
        "tankyear: fault of the program, not of the input: ZeroDivisionError: \\x1b[31mof nothing; "
        f"traceback, versions and command line are in {report}\n"
    )
    text = report.read_text()
    assert "raise error" in text
    assert "numba " in text
    assert "check '~/a b.yaml'" in text
    assert "hunter2" not in text
    assert "jo-doe" not in text
    assert report.stat().st_mode & 0o077 == 0


def test_a_fault_on_a_full_disk_is_still_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    broken(monkeypatch, MemoryError())
    with full_disk():
        assert cli.main(["check", "x.yaml"]) == 3
    assert capsys.readouterr().err == (
        "tankyear: fault of the program, not of the input: MemoryError; no report could be written: File too "
        "large\n"
    )
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_is_one_line_and_exit_130(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    broken(monkeypatch, KeyboardInterrupt())
    assert cli.main(["check", "x.yaml"]) == 130
    assert capsys.readouterr().err == "tankyear: interrupted\n"
