"""What a reader of a record sees: no document without its status.

The stored records are what the engine gives: `regress` holds them to it.
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cases import ROOT

pytestmark = pytest.mark.contract

DOCUMENT = re.compile(
    r"(?<![\d,.])(?:19|20)\d\d(?=[,;:)]|$)|\bCFR\b|\bFR \d|ASHRAE|\bEN \d|\bISO \d|\bIEC \d|\bUL \d|"
    r"\bNREL\b|\bIPCC\b|\bNEC\b|\bWHO\b|Regulation \("
)
STATUS = re.compile(r"\b(?:verified|secondary|unverified)\b")
RECORDS = sorted((ROOT / "scenarios" / "records").glob("*.json"))


def texts(record: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Where a text stands, and the text with the status beside it."""
    for row in record["assumptions"]:
        yield row["key"], f"{row['source']} {row['status']}"
    for row in record.get("checks", ()):
        yield row["name"], row["source"]
    for row in record.get("hygiene", ()):
        yield row["key"], f"{row['source']} {row['status']}"
    for caution in record["cautions"]:
        yield "caution", caution


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_a_document_stands_with_its_status(path: Path) -> None:
    record = json.loads(path.read_text(encoding="utf-8"))["record"]
    named = [(where, text) for where, text in texts(record) if DOCUMENT.search(text)]
    assert named
    assert [pair for pair in named if not STATUS.search(pair[1])] == []


def test_the_cold_water_of_homes_stands_with_its_status() -> None:
    path = ROOT / "scenarios" / "records" / "wastewater.json"
    record = json.loads(path.read_text(encoding="utf-8"))["record"]
    (row,) = [row for row in record["assumptions"] if row["key"].endswith("cold_use_per_apartment")]
    assert row["status"] == "verified"
