"""`tankyear regress`: stored annual records against fresh ones."""

import argparse
import sys

from hpwhsim.cli.options import new_file, path
from hpwhsim.cli.verb import DONE, FOUND, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument(
        "folder",
        type=path,
        metavar="FOLDER",
        help="folder of scenarios (*.yaml); its records/tolerances.csv (key, relative, absolute) overrides "
        "the tolerance of keys such as monthly.*",
    )
    parser.add_argument("--accept", metavar="REASON", help="store what moved or is new, with this reason")
    parser.add_argument("--junit", type=new_file, metavar="FILE", help="write the findings as JUnit XML")
    parser.add_argument(
        "--only", action="append", default=[], metavar="NAME", help="only this scenario; may be repeated"
    )
    parser.add_argument("--all", action="store_true", help="list every value that moved")
    parser.add_argument(
        "--exact",
        action="store_true",
        help="no tolerance at all: the same computer and libraries repeat a year bit for bit",
    )


def act(args: argparse.Namespace) -> int:
    """Run and compare each, store what is accepted; exit 1 where something moved."""
    from tqdm import tqdm

    from hpwhsim.regression import compare as regress
    from hpwhsim.regression import report as drift

    reason = None if args.accept is None else regress.checked_reason(args.accept)
    plan = regress.plan(args.folder, args.only)
    bar = tqdm(plan.cases, unit="scenario", leave=False, disable=None)  # None: no bar in a pipe
    outcomes = [regress.check(case, plan.rules, exact=args.exact) for case in bar]
    said = drift.drift_text(outcomes, None if args.all else drift.ROWS)
    if args.junit is not None:
        drift.write_junit(args.junit, outcomes, args.folder)
    left = [outcome for outcome in outcomes if outcome.state != "same"]
    if reason is not None:
        said += drift.accepted_text(regress.accept(outcomes, reason), reason)
        left = [outcome for outcome in left if outcome.state not in ("moved", "new")]
    sys.stdout.write(said)  # last: who reads it may go away
    return FOUND if left else DONE


VERB = Verb(
    name="regress",
    help="compare stored annual records of a folder with a fresh run",
    description="Run every scenario of a folder and report which values moved from FOLDER/records/NAME.json "
    "and by how much. Exit 0: nothing moved; 1: something moved, has no record or no scenario, "
    "or failed to run; 2: the folder, a record or the tolerances cannot be read.",
    example="tankyear regress scenarios --accept 'new standby loss: the bottom of the store counts too'",
    options=options,
    act=act,
)
