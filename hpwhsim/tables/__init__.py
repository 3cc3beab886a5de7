"""Packaged CSV tables; each row names its source by an id of ``sources.csv``."""

import csv
from functools import cache
from importlib.resources import files


def read_plain(name: str) -> list[dict[str, str]]:
    """Rows of the packaged table `name` (without ``.csv``), as text by column name.

    Lines that start with ``#`` are comments.

    Raises
    ------
    FileNotFoundError
        If the package carries no such table.
    """
    return [dict(row) for row in _rows(name)]


@cache
def _rows(name: str) -> tuple[dict[str, str], ...]:
    text = (files(__name__) / f"{name}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return tuple(csv.DictReader(lines))


def read_table(name: str) -> list[dict[str, str]]:
    """Rows of a packaged table; beside a column ``source`` of ids, what a reader sees of them.

    Returns
    -------
    list of dict
        As `read_plain`, and for ``source`` (``rcl_source``) also ``citation`` and ``status``
        (``rcl_citation`` and ``rcl_status``).

    Raises
    ------
    FileNotFoundError
        If the package carries no such table.
    """
    return [dict(row) for row in _cited_rows(name)]


@cache
def _cited_rows(name: str) -> tuple[dict[str, str], ...]:
    from hpwhsim.tables.sources import cited

    rows = read_plain(name)
    for row in rows:
        for column in [column for column in row if column.endswith("source")]:
            ids = [f"[{name}]" for name in row[column].split()]
            stem = column.removesuffix("source")
            row[f"{stem}citation"], row[f"{stem}status"] = cited("; ".join(ids))
    return tuple(rows)
