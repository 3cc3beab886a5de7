"""The lists of the manual hold all that the code has, each thing once."""

import re

import lists
import pytest
from cases import ROOT

from hpwhsim.cli.main import VERBS
from hpwhsim.results.declared import declarations
from hpwhsim.scenario.key_list import key_list
from hpwhsim.tables.sources import sources
from hpwhsim.verification.check import near

pytestmark = pytest.mark.contract


def firsts(name: str) -> list[str]:
    """What the rows of a list begin with."""
    found = (re.match(r"\| `([^`]+)` \|", line) for line in lists.LISTS[name]())
    return [match[1] for match in found if match]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("keys", lambda: [key.key for key in key_list()]),
        ("results", lambda: list(declarations())),
        ("sources", lambda: list(sources())),
    ],
)
def test_every_one_is_listed_once(name: str, expected: object) -> None:
    assert callable(expected)
    assert sorted(firsts(name)) == sorted(expected())


def test_rows_have_as_many_cells_as_heads() -> None:
    """A bar within a text would make one more."""
    for name in ("keys", "results", "sources", "ranges"):
        width = 0
        for line in lists.LISTS[name]():
            if line.startswith("|"):
                cells = len(re.findall(r"(?<!\\)\|", line))
                width = cells if line.startswith(("| key", "| name", "| id", "| quantity")) else width
                assert cells == width, line


def test_every_verb_has_its_help() -> None:
    text = "\n".join(lists.verbs())
    assert [name for name in re.findall(r"^## (.+)$", text, re.MULTILINE) if name.strip()] == [
        verb.name for verb in VERBS
    ]
    assert all(f"usage: tankyear {verb.name}" in text for verb in VERBS)


def test_the_page_of_checks_shows_hits_and_misses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two checks in the place of all, which take a while; a bar within a text makes no cell more."""
    held = near("storage.x", "analytic", "a | b", "K", 2.0, 2.0, "as printed", "a book", absolute=0.5)
    missed = held._replace(name="storage.y", obtained=3.0, span=(2.9, 3.1))
    monkeypatch.setattr(lists, "kept_checks", lambda: [held, missed])
    text = list(lists.verification())
    assert text[0].startswith("2 checks, 1 hits, 1 misses")
    assert firsts("verification") == ["storage.x", "storage.y"]
    assert [len(re.findall(r"(?<!\\)\|", line)) for line in text if line.startswith("|")] == [8] * 4
    assert "**miss**" in text[-2]
    assert "(2.9 to 3.1)" in text[-2]


def test_every_list_has_its_page() -> None:
    marks = [
        mark
        for page in (ROOT / "docs").glob("*.md")
        for mark in re.findall(r"^<<([a-z]+)>>$", page.read_text(encoding="utf-8"), re.MULTILINE)
    ]
    assert sorted(marks) == sorted(lists.LISTS)
