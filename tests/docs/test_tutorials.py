"""The tutorials of the manual run as they are written, and print what they show."""

import difflib
import doctest
import re
import shlex
import shutil
from pathlib import Path

import pytest
import yaml
from cases import ROOT

from hpwhsim.cli.main import main
from hpwhsim.scenario.keys import key_paths

pytestmark = pytest.mark.contract

TUTORIALS = sorted((ROOT / "docs" / "tutorials").glob("*.md"))
EXAMPLES = [ROOT / "docs" / "method" / "fit.md"]  # pages with an example that runs
FENCE = re.compile(r"^```([a-z]+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
COMMAND = "$ tankyear "


def blocks(path: Path) -> list[tuple[str, str]]:
    """Language and text of every fenced block."""
    return FENCE.findall(path.read_text(encoding="utf-8"))


def commands(text: str) -> list[tuple[list[str], list[str]]]:
    """Arguments of each command of a console block, and the lines that it is said to print."""
    found: list[tuple[list[str], list[str]]] = []
    for line in text.splitlines():
        if line.startswith("$"):
            assert line.startswith(COMMAND), line
            found.append((shlex.split(line.removeprefix(COMMAND)), []))
        else:
            found[-1][1].append(line)
    return found


def printed_in_order(shown: list[str], printed: list[str]) -> str | None:
    """The first shown line that is not printed after those before it; a tutorial leaves lines out."""
    lines = iter([line.rstrip() for line in printed])
    return next((line for line in shown if line.rstrip() not in lines), None)


def test_a_line_that_is_not_printed_is_found() -> None:
    """The order counts, and so does every character but blanks at the end."""
    assert printed_in_order(["a", "c"], ["a ", "b", "c"]) is None
    assert printed_in_order(["c", "a"], ["a", "b", "c"]) == "a"
    assert printed_in_order(["1.0"], ["1.01"]) == "1.0"


def test_there_are_four() -> None:
    assert [path.stem for path in TUTORIALS] == ["choose", "incentive", "size", "study"]


@pytest.mark.slow
@pytest.mark.year
@pytest.mark.parametrize("path", [*TUTORIALS, *EXAMPLES], ids=lambda path: path.stem)
def test_runs_as_written(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Commands exit 0 and print the lines shown; Python's prompts answer as shown."""
    for folder in ("scenarios", "weather"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for number, (language, text) in enumerate(blocks(path)):
        if language == "console":
            for arguments, shown in commands(text):
                code = main(arguments)
                printed = capsys.readouterr()
                assert code == 0, printed.err
                lines = printed.out.splitlines()
                missing = printed_in_order(shown, lines)
                near = difflib.get_close_matches(missing or "", lines, n=1)
                assert missing is None, f"{arguments} prints no such line after those before it; near: {near}"
        elif language == "pycon":
            examples = doctest.DocTestParser().get_doctest(text, names, f"{path.name}:{number}", None, 0)
            runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
            said: list[str] = []
            runner.run(examples, out=said.append, clear_globs=False)
            names = examples.globs
            assert runner.summarize(verbose=False).failed == 0, "".join(said)


@pytest.mark.parametrize("path", TUTORIALS, ids=lambda path: path.stem)
def test_keys_of_its_scenarios_are_there(path: Path) -> None:
    """What a block of YAML writes are keys of the scenario."""
    known = set(key_paths())
    for language, text in blocks(path):
        if language == "yaml":
            block = yaml.safe_load(text)
            written = [
                f"{name}.{key}" if isinstance(below, dict) else name
                for name, below in block.items()
                for key in (below if isinstance(below, dict) else [name])
            ]
            assert [key for key in written if key not in known] == []
