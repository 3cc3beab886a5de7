"""`tankyear operation`: sequence of operation, points, alarms and functional tests of a plant."""

import argparse
import sys
from pathlib import Path

from hpwhsim.cli.options import add_json, add_out, add_scenario, read_scenario
from hpwhsim.cli.verb import DONE, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    add_json(parser, "sentences, settings, states, points with their range, alarms and expected values")
    add_out(parser, "operation.html and operation.docx (default: out/NAME-operation; with --json: none)")


def act(args: argparse.Namespace) -> int:
    """Simulate the year, write the documents, print where they are."""
    out = args.out
    if out is None and not args.json:
        out = Path("out") / f"{args.scenario.stem}-operation"
    loaded = read_scenario(args)

    from hpwhsim.evaluation.evaluate import evaluate
    from hpwhsim.operation.write import operation_text, write_operation

    result = evaluate(loaded)
    written = write_operation(result, out) if out is not None else []
    if args.json:
        sys.stdout.write(operation_text(result))
    else:
        sys.stdout.write("".join(f"{path}\n" for path in written))
    return DONE


VERB = Verb(
    name="operation",
    help="write sequence of operation, points list, alarms and functional tests of a plant",
    description="Simulate the year of a scenario and write, as operation.html and as operation.docx to be "
    "edited: the sequence of operation with every setting, the states, the positions without power, the "
    "points "
    "with the range that the year gives (p1 to p99), the alarms, and the functional tests as a form with "
    "expected "
    "values. A draft for the engineer of record.",
    example="tankyear operation scenarios/central-air.yaml --out out/operation",
    options=options,
    act=act,
)
