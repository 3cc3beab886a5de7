"""A study on a screen."""

from collections.abc import Mapping
from textwrap import wrap
from typing import Any

from hpwhsim.results.declared import declarations
from hpwhsim.results.numbers import amount, shown

Record = Mapping[str, Any]
WIDTH = 100


def figure(name: str, value: float) -> str:
    """A number of the annual record for reading."""
    return shown(name, value, unit=True) if name in declarations() else amount(value)


def study_text(record: Record) -> str:
    """How many cases there are and what they span."""
    cases, failed = record["cases"], record["failed"]
    lines = [
        str(record["title"]),
        f"{cases:,} cases" + (f", of which {failed:,} have no year" if failed else ""),
    ]
    lines += [*(f"set in all cases: {text}" for text in record["scenario.overrides"]), ""]
    wide = max((len(key) for key in record["ranges"]), default=0)
    for key, held in record["ranges"].items():
        lines.append(f"  {key:<{wide}}  {figure(key, held['min'])} to {figure(key, held['max'])}")
    lines += said(record)
    return "\n".join(lines) + "\n"


def said(record: Record) -> list[str]:
    """Failed cases and cautions."""
    lines = []
    if record["failures"]:
        lines += ["", "Cases without a year"]
        for item in record["failures"]:
            lines += wrap(
                f"case {item['case']}: {item['message']}",
                WIDTH,
                initial_indent="  ",
                subsequent_indent="    ",
            )
        if record["failed"] > len(record["failures"]):
            more = record["failed"] - len(record["failures"])
            lines.append(f"  and {more:,} more, in the column failed of the table")
    if record["cautions"]:
        lines += ["", "Cautions (numbers of the first such case)"]
        for item in record["cautions"]:
            head = f"cases {item['cases']:,}, first {item['first']}: {item['text']}"
            lines += wrap(head, WIDTH, initial_indent="  ", subsequent_indent="    ")
    return lines
