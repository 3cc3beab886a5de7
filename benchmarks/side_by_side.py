"""What the scripts that compare worked plants share: a table in columns, a CSV file, and a picture."""

import csv
from collections.abc import Callable, Sequence
from pathlib import Path


def columns(heads: Sequence[str], formats: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """Rows as text in columns, the first aligned left."""
    cells = [list(heads), *([f"{v:{f}}" for v, f in zip(row, formats, strict=True)] for row in rows)]
    wide = [max(len(line[i]) for line in cells) for i in range(len(heads))]
    return "\n".join(
        "  ".join(
            text.ljust(width) if i == 0 else text.rjust(width)
            for i, (text, width) in enumerate(zip(line, wide, strict=True))
        )
        for line in cells
    )


def put_out(
    path: Path,
    heads: Sequence[str],
    formats: Sequence[str],
    names: Sequence[str],
    rows: Sequence[Sequence[object]],
    draw: Callable[[Path], None],
) -> None:
    """Print the rows, write them to a CSV file and draw the picture beside it; say where both are."""
    print(columns(heads, formats, rows))
    _write_csv(path, names, rows)
    draw(path.with_suffix(".png"))
    print(path, path.with_suffix(".png"), sep="\n")


def _write_csv(path: Path, names: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(names)
        writer.writerows(rows)
