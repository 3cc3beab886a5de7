"""Options that several verbs have, and what becomes of them."""

import argparse
import os
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from hpwhsim.io.user_file import cannot_hold_files

if TYPE_CHECKING:
    from hpwhsim.scenario.reading import Loaded


def path(text: str) -> Path:
    """A path as it is typed."""
    if not text.strip():
        raise argparse.ArgumentTypeError("got a name without a character; allowed a path")
    return Path(text)


def folder(text: str) -> Path:
    """A folder that files are to be written to; asked before any work."""
    found = path(text)
    if wrong := cannot_hold_files(found):
        raise argparse.ArgumentTypeError(f"{text}: cannot be written: {wrong}; allowed a folder")
    return found


def new_file(text: str) -> Path:
    """A file that is to be written, in a folder that is there or can be made."""
    found = path(text)
    wrong = "it is a folder" if os.path.isdir(found) else cannot_hold_files(found.parent)
    if wrong:
        raise argparse.ArgumentTypeError(f"{text}: cannot be written: {wrong}; allowed a file")
    return found


def add_scenario(parser: argparse.ArgumentParser) -> None:
    """The scenario and what changes it."""
    parser.add_argument("scenario", type=path, metavar="SCENARIO", help="scenario file (YAML)")
    add_changes(parser)


def add_changes(parser: argparse.ArgumentParser) -> None:
    """What changes a scenario."""
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY.PATH=VALUE",
        dest="overrides",
        help="override a key of the scenario; may be repeated",
    )
    parser.add_argument("--weather", type=path, metavar="FILE", help="use this weather file instead")


def add_json(parser: argparse._ActionsContainer, what: str) -> None:
    """`--json`."""
    parser.add_argument("--json", action="store_true", help=f"print {what} and nothing else")


def add_out(parser: argparse.ArgumentParser, what: str) -> None:
    """`--out DIR`."""
    parser.add_argument("--out", type=folder, metavar="DIR", help=f"folder for {what}")


def add_seeds(parser: argparse.ArgumentParser) -> None:
    """`--seeds N` of the verbs that simulate whole years."""
    parser.add_argument(
        "--seeds",
        type=whole(2, 1000),
        default=0,
        metavar="N",
        help="also simulate the seeds of random draws that follow, N years in all, and give P10, median and "
        "P90 of peak power, demand charges, bills and energy",
    )


def whole(least: int, most: int) -> Callable[[str], int]:
    """A reader of a whole number within limits."""

    def read(text: str) -> int:
        if not re.fullmatch("[0-9]{1,9}", text) or not least <= int(text) <= most:
            raise argparse.ArgumentTypeError(f"got {text}; allowed a whole number from {least} to {most}")
        return int(text)

    return read


def read_scenario(args: argparse.Namespace) -> "Loaded":
    """The scenario of a verb, before what simulates it is loaded: a wrong path is reported at once."""
    from hpwhsim.evaluation.reading import read

    return read(args.scenario, args.overrides, args.weather)


def files_text(written: Sequence[Path]) -> str:
    """What was written, for the end of a screen."""
    return "\nFiles\n" + "".join(f"  {path}\n" for path in written) if written else ""
