"""`tankyear rate`: the federal 24-hour draw-pattern test of one packaged unit."""

import argparse
import sys

from hpwhsim.cli.options import add_json, add_scenario, read_scenario
from hpwhsim.cli.verb import DONE, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    parser.add_argument(
        "--pattern",
        metavar="NAME",
        help="very-small, low, medium or high (default: the one that belongs to the first-hour rating)",
    )
    add_json(parser, "the record of the test")


def act(args: argparse.Namespace) -> int:
    """Run the test, print the rating."""
    loaded = read_scenario(args)

    from hpwhsim.federal_test.rating import rate
    from hpwhsim.federal_test.report import rating_text
    from hpwhsim.results.files import record_text

    record = rate(loaded, args.pattern)
    sys.stdout.write(record_text(record) if args.json else rating_text(record))
    return DONE


VERB = Verb(
    name="rate",
    help="uniform energy factor and first-hour rating of one packaged unit (10 CFR 430)",
    description="Calculate uniform energy factor and first-hour rating of the one unit that a scenario's "
    "plant is, by the draw-pattern test of 10 CFR 430 Subpart B Appendix E. The test sets room, "
    "supply water, thermostat and draws; building, weather, use and loop of the scenario do "
    "not matter. It is not a certified rating.",
    example="tankyear rate scenarios/packaged-test.yaml --pattern medium",
    options=options,
    act=act,
)
