"""Tables of published check values: those of `shared/` in the checkout, which an install brings along."""

import csv
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent


def folder() -> Path:
    """Where the tables stand: beside this file in an install, at the top of a checkout otherwise."""
    packaged = PACKAGE / "shared"
    return packaged if packaged.is_dir() else PACKAGE.parents[1] / "shared"


def rows(name: str) -> list[dict[str, str]]:
    """Rows of the table `name` (without ``.csv``), as text by column name; lines with ``#`` are comments.

    Raises
    ------
    FileNotFoundError
        If there is no such table.
    """
    return [dict(row) for row in _rows(name)]


@cache
def _rows(name: str) -> tuple[dict[str, str], ...]:
    text = (folder() / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(line for line in text.splitlines() if line and not line.startswith("#")))
