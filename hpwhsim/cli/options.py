"""Options that several verbs have, and what becomes of them."""

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hpwhsim.scenario.reading import Loaded


def add_scenario(parser: argparse.ArgumentParser) -> None:
    """The scenario and what changes it."""
    parser.add_argument("scenario", type=Path, metavar="SCENARIO", help="scenario file (YAML)")
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
    parser.add_argument("--weather", type=Path, metavar="FILE", help="use this weather file instead")


def add_json(parser: argparse._ActionsContainer, what: str) -> None:
    """`--json`."""
    parser.add_argument("--json", action="store_true", help=f"print {what} and nothing else")


def add_out(parser: argparse.ArgumentParser, what: str) -> None:
    """`--out DIR`."""
    parser.add_argument("--out", type=Path, metavar="DIR", help=f"folder for {what}")


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
        if not text.isdecimal() or not least <= int(text) <= most:
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
