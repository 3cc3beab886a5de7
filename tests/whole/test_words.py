"""What users read says the field's words, not this program's own for the same thing."""

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import hpwhsim
from hpwhsim.cli.main import VERBS, main, parser
from hpwhsim.comparison.report import comparison_text
from hpwhsim.diagnose.report import why_text
from hpwhsim.evaluation.first_screen import first_screen
from hpwhsim.evaluation.report import year_text
from hpwhsim.results.declared import declarations
from hpwhsim.results.records import read_stored
from hpwhsim.scenario.key_list import key_list
from hpwhsim.tables import read_plain

pytestmark = pytest.mark.contract

PACKAGE = Path(hpwhsim.__file__).parent
ROOT = PACKAGE.parent
RECORDS = sorted((ROOT / "scenarios" / "records").glob("*.json"))

INSTEAD = {
    r"march(es|ed|ing)? (a|the|its|through|of)|marched": "simulate",
    r"bought|buys?|buying": "purchase",
    r"machines?": "heat pump, unit, module",
    r"is said|are said|kept and said": "report, warn, flag",
    r"barred|bars": "locked out, lockout",
    r"hot water short|short water|short hot water|runs? short|short hours": "unmet hot water",
    r"spells?|on end": "event, consecutive",
    r"drawn back|draws? back": "defrost heat drawn from storage",
    r"lost by the (store|loop)|loss of the (store|loop)": "standby loss, recirculation loss",
    r"(heat|hot water) to (the )?taps": "hot water delivered",
    r"standing (machines?|modules?|units?)": "idle units",
    r"possible savings?|share of the saving": "fraction of the theoretical savings that the controls capture",
    r"swings?": "sensitivity",
    r"what can be bought|the market": "equipment catalogue, candidate",
    r"chances?": "reliability, probability",
    r"turning years?": "crossover year",
    r"choice of this program": "tankyear default",
    r"from memory|second-hand": "unverified citation, secondary source",
    r"(?<!uniform )energy factor|first-hour delivery": "uniform energy factor, first-hour rating",
    r"turndown|least share": "minimum speed fraction",
    r"edge hours|outside its performance data": "hours outside the performance map",
    r"yellow": "a column that says what may be changed",
    r"certif(ies|y) nothing|no certificate": "not a certified rating",
    r"the answer|papers": "result, content",
    r"the modeler wrote": "user input",
}
"""Right column of the vocabulary, as users would meet it, and what is said instead."""

WORDS = re.compile("|".join(rf"\b(?:{words})\b" for words in INSTEAD), re.IGNORECASE)

KEY = re.compile(r"\b[a-z_]+(?:\.[a-z_0-9]+)+\b")

FILES = sorted(PACKAGE.rglob("*.py"))

OTHERS = {"bars bara", ", once on this machine ...", "turndown"}
"""Texts in which a word means something else: spellings of a unit, the computer, a field of the march."""

DECISIONS = "decisions"  # a log, in the words of its time
PAGES = [
    *(path for path in sorted((ROOT / "docs").rglob("*.md")) if path.stem != DECISIONS),
    ROOT / "README.md",
    *sorted((ROOT / "scenarios").rglob("*.yaml")),
]


def literals(path: Path) -> Iterator[tuple[int, str]]:
    """Texts of a file with their lines, but for documentation and types."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    apart: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            apart.add(id(node.value))
        for field in ("annotation", "returns"):
            kind = getattr(node, field, None)
            apart |= {id(part) for part in ast.walk(kind)} if kind is not None else set()
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str) or id(node) in apart:
            continue
        if node.value not in OTHERS:
            yield node.lineno, node.value


def found_in(text: str) -> list[str]:
    """Words of the list in a text; names of keys, such as ``plant.heat_pump.turndown``, are not prose."""
    return [match.group() for match in WORDS.finditer(KEY.sub("", text))]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_texts_of_the_report_files(path: Path) -> None:
    assert [(line, found_in(text)) for line, text in literals(path) if found_in(text)] == []


@pytest.mark.parametrize("path", PAGES, ids=lambda path: str(path.relative_to(ROOT)))
def test_manual_and_worked_scenarios(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert [(n, found_in(line)) for n, line in enumerate(lines, start=1) if found_in(line)] == []


def test_help_of_every_verb() -> None:
    command = parser()
    (choices,) = (action.choices for action in command._actions if isinstance(action.choices, dict))
    assert len(choices) == len(VERBS)
    for helped in (command, *choices.values()):
        assert found_in(helped.format_help()) == [], helped.prog


def test_meanings_and_sources_of_the_keys() -> None:
    for key in key_list():
        for text in (key.meaning, key.default, key.source, key.type, key.allowed):
            assert found_in(str(text or "")) == [], key.key
    assert found_in((PACKAGE / "scenario" / "scenario.schema.json").read_text(encoding="utf-8")) == []


def test_rows_of_the_packaged_tables() -> None:
    """Notes and citations; comments of a file are for those who keep it."""
    for path in sorted((PACKAGE / "tables").glob("*.csv")):
        for row in read_plain(path.stem):
            assert found_in(" ".join(row.values())) == [], path.name


def test_labels_and_meanings_of_the_results() -> None:
    for row in declarations().values():
        for text in (row.label, row.short, row.long_name, row.sign):
            assert found_in(text) == [], row.name


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_screens_of_every_stored_year(path: Path) -> None:
    stored = read_stored(path)
    record: dict[str, Any] = {**stored.context, **stored.record}
    assert found_in(first_screen(record) + year_text(record)) == []
    for key in ("checks", "assumptions"):
        assert found_in(json.dumps(record.get(key, []))) == []


def test_the_comparison_of_every_stored_year() -> None:
    stored = [read_stored(path) for path in RECORDS]
    records = [{**one.context, **one.record} for one in stored]
    assert found_in(comparison_text([path.stem for path in RECORDS], records)) == []


@pytest.mark.slow
@pytest.mark.year
def test_screens_of_the_verbs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every verb that takes a scenario alone, over one worked file, with all that it can show."""
    path = str(ROOT / "scenarios" / "packaged-test.yaml")
    out = str(tmp_path / "out")
    weather = str(next((ROOT / "weather").glob("chicago*")))
    quick = ("hot_water.draws=smooth", "sizing.criterion=short-litres", "sizing.max_run_hours=null")
    sized = str(ROOT / "scenarios" / "sizing.yaml")
    signal = f"plant.controls.signal={ROOT / 'scenarios' / 'signals' / 'sunny-grid.csv'}"
    for command in (
        ["run", path, "--all", "--out", out],
        ["check", path],
        ["compare", path, path],
        ["sweep", path, "--vary", "plant.storage.setpoint=52 degC,54 degC"],
        ["rate", path],
        ["why", out, "--all"],
        ["weather", weather],
        ["size", sized, *(word for one in quick for word in ("--set", one))],
        ["bound", path, "--set", signal],
        ["keys"],
    ):
        assert main(command) == 0, command
        assert found_in(capsys.readouterr().out) == [], command


def test_the_list_finds_what_it_names() -> None:
    """A scan that finds nothing proves nothing: each pattern meets a text of its own."""
    for text in (
        *("the plant is marched", "what it bought", "the machine", "it is said", "barred by the hour"),
        *("hot water short", "two spells", "19 h on end", "drawn back by defrosts", "lost by the store"),
        *("heat to the taps", "standing modules", "the possible saving", "a swing", "the market", "chances"),
        *("turning years", "a choice of this program", "from memory", "an energy factor", "turndown"),
        *("edge hours", "a yellow cell", "it certifies nothing", "the answer", "as the modeler wrote"),
    ):
        assert found_in(text), text
    for text in ("uniform energy factor", "machinery room", "machine_loss_kwh", "140 bar", "event", "search"):
        assert not found_in(text), text
    assert why_text  # its screen is read above
