"""`tankyear bound`: what the best schedule could save."""

import argparse
import sys

from hpwhsim.cli.options import add_json, add_scenario, read_scenario
from hpwhsim.cli.verb import DONE, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    add_json(parser, "the figures as JSON")


def act(args: argparse.Namespace) -> int:
    """Simulate the schedules and print what the best of them saves."""
    loaded = read_scenario(args)

    from hpwhsim.control_bound.bound import bounded
    from hpwhsim.control_bound.report import bound_record, bound_text
    from hpwhsim.results.files import record_text

    found = bounded(loaded)
    sys.stdout.write(record_text(bound_record(found)) if args.json else bound_text(found))
    return DONE


VERB = Verb(
    name="bound",
    help="how much of the savings within reach the controls capture",
    description="Simulate a scenario with its controls, without them, and under some twenty schedules: "
    "the heat pump locked out in the dearest hours, the store hotter in the cheapest. Report what the best "
    "saves, and what the controls capture of that. A kWh weighs what plant.controls.signal says, "
    "without one its price by the hour or time of use (demand charges left out); a kWh of fuel counts at "
    "the mean of the signal, or at its price.",
    example="tankyear bound scenarios/central-air.yaml --set plant.controls.signal=price.csv",
    options=options,
    act=act,
)
