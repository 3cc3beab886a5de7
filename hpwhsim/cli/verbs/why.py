"""`tankyear why`: why the backup ran and why hot water was unmet."""

import argparse
import sys

from hpwhsim.cli.options import add_json, path, whole
from hpwhsim.cli.verb import DONE, Verb
from hpwhsim.constants import HOURS


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument("result", type=path, metavar="RESULT", help="folder written by 'tankyear run'")
    add_json(parser, "the record of all events")
    parser.add_argument("--all", action="store_true", help="list every event, not only the ten worst")
    parser.add_argument(
        "--gap",
        type=whole(0, HOURS),
        default=2,
        metavar="HOURS",
        help="quiet hours at most that do not end an event (default: 2)",
    )


def act(args: argparse.Namespace) -> int:
    """Find the events of a result, print them."""
    from hpwhsim.diagnose.causes import why
    from hpwhsim.diagnose.report import why_text
    from hpwhsim.results.files import record_text

    record = why(args.result, args.gap)
    sys.stdout.write(record_text(record) if args.json else why_text(record, args.all))
    return DONE


VERB = Verb(
    name="why",
    help="say why the backup ran and why hot water was unmet",
    description="List the events of backup and of unmet hot water in a year that was run: start, length, "
    "energy or volume, cause, and the state of source, store and controls in the hour before.",
    example="tankyear why out/central-air",
    options=options,
    act=act,
)
