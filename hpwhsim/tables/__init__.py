"""Packaged CSV tables; the source of each stands in its header comment."""

import csv
from importlib.resources import files


def read_table(name: str) -> list[dict[str, str]]:
    """Rows of the packaged table `name` (without ``.csv``), as text by column name.

    Lines that start with ``#`` are comments: they carry the source of the numbers.

    Raises
    ------
    FileNotFoundError
        If the package carries no such table.
    """
    text = (files(__name__) / f"{name}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return list(csv.DictReader(lines))
