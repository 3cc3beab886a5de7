"""`tankyear verify`: what the program computes, held against sources outside of it."""

import argparse
import sys

from hpwhsim.cli.options import add_json
from hpwhsim.cli.verb import DONE, FOUND, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument(
        "--package",
        action="append",
        default=[],
        metavar="NAME",
        dest="packages",
        help="only the checks of this package, such as storage; may be repeated",
    )
    parser.add_argument("--all", action="store_true", help="list every check, not only the misses")
    add_json(parser, "a row for each check")


def act(args: argparse.Namespace) -> int:
    """Compute and compare all; exit 1 where one misses."""
    import json

    from tqdm import tqdm

    from hpwhsim.verification.all_checks import of_package, packages
    from hpwhsim.verification.report import as_rows, verify_text

    names = packages(args.packages)
    bar = tqdm(names, unit="package", leave=False, disable=None)  # None: no bar in a pipe
    checks = [check for name in bar for check in of_package(name)]
    if args.json:
        sys.stdout.write(json.dumps({"checks": as_rows(checks)}, indent=2, ensure_ascii=False) + "\n")
    else:
        sys.stdout.write(verify_text(checks, args.all))
    return DONE if all(check.verdict == "hit" for check in checks) else FOUND


VERB = Verb(
    name="verify",
    help="hold what the program computes against tables, closed forms and other libraries",
    description="Compute what handbook tables, standards, closed forms, reference libraries and measured "
    "heat pumps say otherwise, and report each with its source, tolerance and verdict. Exit 0: all hit; "
    "1: something missed; 2: no such package. The first run compiles and takes a minute or two.",
    example="tankyear verify --package storage --all",
    options=options,
    act=act,
)
