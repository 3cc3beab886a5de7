"""Keys that README.md names are keys of the scenario or of the record."""

import re
from collections.abc import Iterator

import pytest
from cases import ROOT

from hpwhsim.scenario.keys import key_paths
from hpwhsim.tables import read_table

pytestmark = pytest.mark.contract

FILE = re.compile(r"\.(yaml|json|zip|csv|nc|pdf|xlsx|html|svg|png|md|py)$")
COLUMNS = {"rejection_kw", "signal"}  # of CSV files


def named() -> Iterator[str]:
    """Every full path in README.md; `.name` is a sibling of the path before it."""
    before = ""
    for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines():
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
    for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines():
        if found := re.match(r"\| `(plant\.(?:source|heat_pump)\.[a-z_]+|plant\.backup)` \|", line):
            for words in re.findall(r"`([a-z_ ]+)`", line):
                yield from (f"{found[1]}.{word}" for word in words.split() if word not in COLUMNS)


def test_keys_of_the_readme_are_there() -> None:
    """The program's own list of keys is the reference; a block counts as a key."""
    paths = key_paths()
    blocks = {path.rsplit(".", n)[0] for path in paths for n in range(1, path.count(".") + 1)}
    known = {*paths, *blocks, *(row["name"] for row in read_table("results"))}
    said = [*named(), *of_sources()]
    assert len(said) > 120
    assert [path for path in said if path not in known] == []
