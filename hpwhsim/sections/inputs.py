"""What a dossier is made of: the answer to a scenario with the factors its accounts used, and its inputs."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from hpwhsim.evaluation.result import Result
from hpwhsim.scenario.writing import dump


class Input(NamedTuple):
    """An input of the calculation and where it is from."""

    key: str
    value: str  # as the modeler wrote it, and in the units of the calculation where these are others
    origin: str  # given | given on the command line | default | derived
    source: str
    status: str  # of the source: verified | secondary | unverified; empty where none is needed


def inputs(result: Result) -> list[Input]:
    """What the modeler gave, every default in force, and what follows from both."""
    rows: list[Input] = []
    set_keys = {text.partition("=")[0].strip() for text in result.loaded.overrides}

    def look(value: Any, written: Any, path: str) -> None:
        if isinstance(value, dict):
            for key, item in value.items():
                theirs = written.get(key) if isinstance(written, Mapping) else None
                look(item, theirs, f"{path}.{key}" if path else str(key))
        elif isinstance(value, list | tuple) and any(isinstance(item, dict) for item in value):
            theirs = written if isinstance(written, list) else [written] * len(value)
            for number, (item, one) in enumerate(zip(value, theirs, strict=True), start=1):
                look(item, one, f"{path}[{number}]")
        else:
            text = _text(value)
            if Path(text).is_absolute() and Path(text).is_file():
                text = Path(text).name  # no folder of this machine
            elif isinstance(value, list | tuple) and written is not None:
                text = _text(written)
            elif written is not None:
                text = _as_written(text, " ".join(str(written).split()))
            given = any(f"{path}.".startswith(f"{key}.") for key in set_keys)
            rows.append(Input(path, text, "given on the command line" if given else "given", "the user", ""))

    look(dump(result.loaded.scenario), result.plant.written, "")
    if isinstance(result.loaded.scenario.baseline, Path) and result.baseline is not None:
        theirs = dump(result.baseline.scenario)["plant"]  # as its own file has it
        look(theirs, result.baseline.written["plant"], "baseline")
    record: Any = result.plant.record
    written = {row.key for row in rows}
    for item in record["assumptions"]:
        derived = item["key"] in written or item["key"] in DERIVED
        rows.append(
            Input(
                item["key"],
                item["value"],
                "derived" if derived else "default",
                item["source"],
                item["status"],
            )
        )
    return rows


def _text(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)


def _as_written(text: str, written: str) -> str:
    """What the modeler wrote, and what the program makes of it where that reads otherwise.

    Examples
    --------
    >>> _as_written("3.4068706055999995 m3", "900 gal"), _as_written("148000 USD", "148,000 USD")
    ('900 gal = 3.40687 m3', '148,000 USD')
    """
    number, space, unit = text.partition(" ")
    try:
        short = f"{float(f'{float(number):.6g}'):.12g}{space}{unit}"  # six digits, no exponent
    except ValueError:
        return text.strip()
    same = written.replace(",", "") in (text, short)
    return written if same else f"{written} = {short}"


DERIVED = (
    "carbon.grid",
    "carbon.fuel",
    "carbon.fuel (heating of the room)",
    "carbon.refrigerant.gwp",
    "carbon.refrigerant.charge",
    "baseline.carbon.fuel",
)
"""Assumptions that follow from a choice and a table."""
