"""Accepted records: what is stored, and its history."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import regress_cases
from regress_cases import DAY, changed, run_all

from hpwhsim.errors import InputError
from hpwhsim.regression import report as drift
from hpwhsim.regression.compare import accept

# pytest finds a fixture by its name in the module
folder = regress_cases.folder


def test_accept_keeps_the_history(folder: Path) -> None:
    """Only what moved is stored; each reason stays with date, version and what moved by how much."""
    still = (folder / "records" / "element.json").read_bytes()

    def change(record: dict[str, Any]) -> None:
        record["tool.version"] = "0.2.0"
        if "resistance" not in record["title"]:
            record["electricity_kwh"] += 270.0
            record["monthly.electricity_kwh"] = [v + 21.1 for v in record["monthly.electricity_kwh"]]

    run = changed(change)
    stored = accept(list(run_all(folder, run).values()), " colder \n mains ", date(2026, 4, 2))
    assert [o.case.name for o in stored] == ["air"]
    assert (folder / "records" / "element.json").read_bytes() == still
    raw = json.loads((folder / "records" / "air.json").read_text(encoding="utf-8"))
    assert raw["history"] == [
        {"date": "2025-03-01", "version": "0.1.0", "reason": "first", "moved": ["first record"]},
        {
            "date": "2026-04-02",
            "version": "0.2.0",
            "reason": "colder mains",
            "moved": [
                "monthly.electricity_kwh[Jan]: 2000 -> 2021.1 (+1.05 %), the largest of 12 values",
                "electricity_kwh: 27000 -> 27270 (+1 %)",
            ],
        },
    ]
    assert list(raw["record"])[:3] == ["electricity_kwh", "unmet_kwh", "peak_kw"]  # as in the record
    assert raw["tool.version"] == "0.2.0"
    assert run_all(folder, run)["air"].state == "same"
    assert "accepted: colder mains" in drift.accepted_text(stored, " colder \n mains ")
    assert not list((folder / "records").glob(".*"))


def test_stored_text_is_the_same_each_time(folder: Path, tmp_path: Path) -> None:
    before = (folder / "records" / "air.json").read_bytes()
    (folder / "records" / "air.json").unlink()
    accept(list(run_all(folder).values()), "first", DAY)
    assert (folder / "records" / "air.json").read_bytes() == before


def test_empty_reason_is_refused(folder: Path) -> None:
    with pytest.raises(InputError, match="empty reason"):
        accept(list(run_all(folder).values()), " \n", DAY)


def test_nothing_is_written_if_one_record_cannot_be(folder: Path) -> None:
    """A folder stands where the second record should go: the first stays as it was."""
    run = changed(lambda r: r.update({"peak_kw": 16.0}))
    outcomes = list(run_all(folder, run).values())
    before = (folder / "records" / "air.json").read_bytes()
    (folder / "records" / "element.json").unlink()
    (folder / "records" / "element.json").mkdir()
    with pytest.raises(InputError, match=r"element\.json: cannot be written"):
        accept(outcomes, "why", DAY)
    assert (folder / "records" / "air.json").read_bytes() == before
    assert not list((folder / "records").glob(".*"))
