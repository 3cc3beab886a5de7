"""Several scenarios side by side."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

Record = Mapping[str, Any]


class Column(NamedTuple):
    """A figure of the table."""

    head: str  # two lines
    key: str  # of the annual record
    form: str


COLUMNS = (
    Column("electr.\nkWh", "electricity_kwh", ",.0f"),
    Column("fuel\nkWh", "fuel_kwh", ",.0f"),
    Column("peak\nkW", "peak_kw", ",.1f"),
    Column("COP\nplant", "cop_plant", ".2f"),
    Column("COP\nnet", "cop_net", ".2f"),
    Column("short\nh", "short_hours", ",.1f"),
    Column("energy\nkg CO2e", "operational_kgco2e", ",.0f"),
    Column("refrig.\nkg CO2e", "refrigerant_kgco2e", ",.0f"),
    Column("all\nkg CO2e", "total_kgco2e", ",.0f"),
    Column("bill\nUSD", "energy_cost", ",.0f"),
)


def comparison_rows(names: Sequence[str], records: Sequence[Record]) -> list[dict[str, object]]:
    """One row for each scenario; what a scenario did not ask for is None."""
    return [
        {"scenario": name, "title": record["title"], **{c.key: record.get(c.key) for c in COLUMNS}}
        for name, record in zip(names, records, strict=True)
    ]


def comparison_text(names: Sequence[str], records: Sequence[Record]) -> str:
    """The rows as a table, a figure of a year each; figures that none has are left out."""
    rows = comparison_rows(names, records)
    columns = [c for c in COLUMNS if any(row[c.key] is not None for row in rows)]
    labels = [Path(name).stem for name in names]
    first = max(len(label) for label in [*labels, "scenario"])
    cells = [["-" if row[c.key] is None else format(row[c.key], c.form) for c in columns] for row in rows]
    wide = [max(8, *(len(line[i]) for line in cells)) + 1 for i in range(len(columns))]
    heads = [c.head.split("\n") for c in columns]
    lines = ["".ljust(first) + "".join(h[0].rjust(w) for h, w in zip(heads, wide, strict=True))]
    lines.append("scenario".ljust(first) + "".join(h[1].rjust(w) for h, w in zip(heads, wide, strict=True)))
    lines += [
        label.ljust(first) + "".join(cell.rjust(w) for cell, w in zip(line, wide, strict=True))
        for label, line in zip(labels, cells, strict=True)
    ]
    stations = sorted({str(record["weather.station"]) for record in records})
    if len(stations) > 1:
        lines.append(f"caution: the weather is not the same: {', '.join(stations)}")
    return "\n".join(lines) + "\n"
