"""Controls and signs of direction in text: refused where a scenario is read, and never printed."""

import unicodedata
from pathlib import Path

import pytest
import yaml
from cases import ROOT

from hpwhsim.cli import main as cli
from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import refuse_controls, said, visible
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.contract

DEMO = ROOT / "scenarios" / "central-air.yaml"
# Unicode Standard Annex 9: the explicit classes of table 4, and the marks of section 2.6
EXPLICIT = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
MARKS = "\u061c\u200e\u200f"
SIGNS = "\x1b\x07\x00\x08\x0c\r\x7f\x85\x9b\u202a\u202e\u2066\u2069\u200e\u061c\u2028\ufffe"


@pytest.mark.parametrize("sign", SIGNS, ids=lambda sign: f"U+{ord(sign):04X}")
@pytest.mark.parametrize("key", ["title", "notes", "savings"])
def test_a_control_in_a_text_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sign: str, key: str
) -> None:
    """In a title, in notes, in a name within a list: exit 2, the sign named and not printed."""
    escape = f"\\u{ord(sign):04x}"
    text = f'"a{escape}b"'
    raw = yaml.safe_load(DEMO.read_text())
    raw.pop(key, None)
    whole = yaml.safe_dump(raw)
    if key == "savings":
        whole += f"savings: {{peak_hours: [{{name: {text}, hours: ['14:00-18:00']}}]}}\n"
    else:
        whole += f"{key}: {text}\n"
    path = tmp_path / "main.yaml"
    path.write_text(whole)
    out = tmp_path / "out"
    assert cli.main(["check", str(path), "--out", str(out)]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert streams.err.count("\n") == 1
    assert f"{key}" in streams.err
    assert f"U+{ord(sign):04X}" in streams.err
    assert sign not in streams.err
    assert not out.exists()


def test_raw_controls_in_the_file_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "main.yaml"
    for sign in "\x1b\x07\x7f\x9b\u202e\u2067":
        path.write_text(DEMO.read_text().replace("title: ", f"title: {sign}"))
        assert cli.main(["check", str(path)]) == 2
        streams = capsys.readouterr()
        assert streams.err.count("\n") == 1
        assert sign not in streams.err + streams.out


@pytest.mark.parametrize(
    "argv",
    [
        ["run", "a\x1b[31m.yaml"],
        ["check", str(DEMO), "--set", "title=a\u202eb"],
        ["check", str(DEMO), "--set", "a\x07b=1"],
        ["check", str(DEMO), "--out", "o\x1but"],
        ["wrong\x1bverb"],
        ["run", "a\udce9.yaml"],
    ],
)
def test_a_control_on_the_command_line_is_refused(
    argv: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.main(argv) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert streams.err.startswith("tankyear: command line: got U+")
    assert streams.err[:-1].isprintable()
    assert list(tmp_path.iterdir()) == []


def test_escapes_of_yaml_in_an_override_are_refused() -> None:
    """The words of the command line are plain, what YAML makes of them is not."""
    with pytest.raises(InputError, match=r"plant.storage.volume: got U\+001B \(ESC\)"):
        read_scenario(DEMO, [r'plant.storage={"volume": "\e"}'])


def test_a_folder_of_scenarios_with_a_name_of_controls_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a\x1b[31m.yaml").write_text("title: x\n")
    assert cli.main(["regress", str(tmp_path)]) == 2
    assert "\x1b" not in capsys.readouterr().err


def test_other_writing_is_allowed() -> None:
    """Letters of any script, also those written from the right, line breaks, tabs, joiners, emoji."""
    refuse_controls(
        {"title": "Ζεστό نيون Ñ 温水 עברית", "notes": "a\n\tb\u200dc 🚿", "n": [1, None, "x"]}, "x"
    )


@pytest.mark.published
def test_every_sign_of_the_standards_is_refused() -> None:
    """By the classes of Unicode's own tables: C0, C1, DEL (Cc), and explicit directions (Annex 9)."""
    for code in range(0x110000):
        sign = chr(code)
        control = unicodedata.category(sign) == "Cc" and sign not in "\t\n"
        if control or unicodedata.bidirectional(sign) in EXPLICIT or sign in MARKS:
            with pytest.raises(InputError):
                refuse_controls(f"a{sign}b", "x")
            assert sign not in visible(f"a{sign}b")


def test_letters_and_signs_pass_as_they_are() -> None:
    """No letter, number, mark or symbol of Unicode is touched."""
    for code in range(0x110000):
        sign = chr(code)
        if unicodedata.category(sign)[0] in "LMNPS":
            assert visible(sign) == sign


def test_a_message_shows_every_sign() -> None:
    """The byte order mark before ``gal`` went unseen: Python's own class of what prints is the measure."""
    for code in range(0, 0x110000, 32):
        signs = "".join(map(chr, range(code, code + 32)))
        assert said(f"got {signs}").replace("\n", "").isprintable()


def test_blocks_that_hold_each_other_are_looked_at_once() -> None:
    """Ten lists in nine levels, each nine times in the next: 9**9 ways to one text, found at once."""
    held: list[object] = ["x"]
    for _ in range(9):
        held = [held] * 9
    held.append(held)
    refuse_controls(held, "x")
    with pytest.raises(InputError):
        refuse_controls([held, "\x07"], "x")
