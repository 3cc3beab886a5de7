"""README.md and the manual: what they show runs, and the keys that they name are there."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from cases import ROOT

import hpwhsim as ty
from hpwhsim.scenario.keys import key_paths
from hpwhsim.tables import read_table

pytestmark = pytest.mark.contract

README = ROOT / "README.md"
PAGES = [README, ROOT / "docs" / "families.md", ROOT / "docs" / "accounts.md"]
FILE = re.compile(r"\.(yaml|json|zip|csv|nc|pdf|xlsx|html|svg|png|md|py)$")
COLUMNS = {"rejection_kw", "signal"}  # of CSV files


def lines() -> Iterator[str]:
    """The lines of the pages that name keys."""
    for page in PAGES:
        yield from page.read_text(encoding="utf-8").splitlines()


def named() -> Iterator[str]:
    """Every full path in the pages; `.name` is a sibling of the path before it."""
    before = ""
    for line in lines():
        for token in re.findall(r"`([a-z_.]+)(?:\.\*|: [a-z-]+)?`", line):
            if FILE.search(token) or token in COLUMNS:
                continue
            if token.startswith("."):
                yield before.rpartition(".")[0] + token
            elif "." in token:
                before = token
                yield token


def of_sources() -> Iterator[str]:
    """The keys in the table of sources: bare words belong to the block that begins the row."""
    for line in lines():
        if found := re.match(r"\| `(plant\.(?:source|heat_pump)\.[a-z_]+|plant\.backup)` \|", line):
            for words in re.findall(r"`([a-z_ ]+)`", line):
                yield from (f"{found[1]}.{word}" for word in words.split() if word not in COLUMNS)


def test_keys_of_the_pages_are_there() -> None:
    """The program's own list of keys is the reference; a block counts as a key."""
    paths = key_paths()
    blocks = {path.rsplit(".", n)[0] for path in paths for n in range(1, path.count(".") + 1)}
    known = {*paths, *blocks, *(row["name"] for row in read_table("results"))}
    said = [*named(), *of_sources()]
    assert len(said) > 120
    assert [path for path in said if path not in known] == []


def block(language: str) -> str:
    """The one fenced block of a language in README.md."""
    (found,) = re.findall(rf"^```{language}\n(.*?)^```$", README.read_text(encoding="utf-8"), re.M | re.S)
    return str(found)


def test_readme_fits_100_lines() -> None:
    assert len(README.read_text(encoding="utf-8").splitlines()) <= 100


@pytest.mark.year
def test_first_scenario_runs(tmp_path: Path) -> None:
    """As written; nobody runs out of hot water in the year that a newcomer sees first."""
    (tmp_path / "weather").mkdir()
    name = "chicago-il-725300-tmy3.epw.gz"
    shutil.copyfile(ROOT / "weather" / name, tmp_path / "weather" / name)
    file = tmp_path / "first.yaml"
    file.write_text(block("yaml"), encoding="utf-8")
    assert ty.evaluate(ty.read(file)).record["short_litres"] == 0.0


@pytest.mark.year
def test_ten_lines_of_the_library_run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """At most ten lines of code, run from the top of the checkout; a line is printed by each `print`."""
    code = block("python")
    assert len([line for line in code.splitlines() if line]) <= 10
    monkeypatch.chdir(ROOT)
    exec(compile(code, str(README), "exec"), {})
    assert len(capsys.readouterr().out.splitlines()) >= 3
