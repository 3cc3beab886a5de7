"""`tankyear bound`: what the best schedule could save."""

import argparse
import sys

from hpwhsim.cli.options import add_json, add_scenario, read_scenario
from hpwhsim.cli.verb import DONE, FOUND, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    add_json(parser, "the figures as JSON")


def act(args: argparse.Namespace) -> int:
    """Solve the bound, print it; exit 1 where it did not converge."""
    loaded = read_scenario(args)

    from hpwhsim.control_bound.bound import bounded
    from hpwhsim.control_bound.report import bound_text
    from hpwhsim.results.files import record_text

    found = bounded(loaded)
    sys.stdout.write(record_text(found._asdict()) if args.json else bound_text(found))
    return DONE if found.converged else FOUND


VERB = Verb(
    name="bound",
    help="fraction of the theoretical savings that the controls capture",
    description="Compare the controls of a scenario with the same plant without them and with the best "
    "schedule that perfect foresight could find, weighted by plant.controls.signal, without one "
    "by the hourly or time-of-use prices of the tariff (demand charges left out), or else in "
    "purchased kWh. A kWh of fuel counts at the mean of the signal, or at its price.",
    example="tankyear bound scenarios/central-air.yaml --set plant.controls.signal=price.csv",
    options=options,
    act=act,
)
