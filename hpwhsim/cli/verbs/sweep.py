"""`tankyear sweep`: one scenario over several values of some of its keys."""

import argparse
import sys
from pathlib import Path

from hpwhsim.cli.options import add_json, add_out, add_scenario, files_text
from hpwhsim.cli.verb import DONE, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    parser.add_argument(
        "--vary",
        action="append",
        required=True,
        metavar="KEY.PATH=VALUES",
        help="a key and its values, each as --set takes it, with commas between (quote a value that holds "
        "one); '200 gal..1000 gal/5' is five values in equal steps, both ends counted; may be repeated for a "
        "grid. The first key is the axis of the picture",
    )
    parser.add_argument(
        "--keys",
        metavar="KEY,KEY",
        help="keys of the annual record to show (of a list or block: 'monthly.electricity_kwh[Jan]')",
    )
    add_json(parser, "the record of the sweep")
    add_out(parser, "sweep.csv and sweep.png")


def act(args: argparse.Namespace) -> int:
    """Check every case, simulate each, print the table."""
    from tqdm import tqdm

    from hpwhsim.results.files import record_text, write_files
    from hpwhsim.studies import sweep
    from hpwhsim.studies.sweep_report import sweep_csv, sweep_figure, sweep_text

    plan = sweep.plan(args.scenario, args.vary, args.overrides, args.weather, args.keys)
    cases = plan.cases
    for case in tqdm(cases, "check", unit="case", leave=False, disable=None):  # None: no bar in a pipe
        sweep.check(plan, case)
    if args.out is not None:
        write_files(args.out, {})  # a folder that cannot be written is said before the work
    bar = tqdm(cases, "simulate", unit="case", leave=False, disable=None)
    rows = [sweep.run(plan, case) for case in bar]
    record = sweep.gather(plan, rows)
    written: list[Path] = []
    if args.out is not None:
        content = {"sweep.csv": sweep_csv(record).encode(), "sweep.png": sweep_figure(record)}
        written = write_files(args.out, content)
    sys.stdout.write(record_text(record) if args.json else sweep_text(record) + files_text(written))
    return DONE


VERB = Verb(
    name="sweep",
    help="one scenario over several values of some of its keys",
    description="Simulate a scenario with every combination of the values of the varied keys and print a "
    "row of figures for each. Every case is checked before the first is simulated.",
    example="tankyear sweep scenarios/central-air.yaml --vary 'plant.storage.volume=600 gal..1200 gal/3' "
    "--vary 'plant.storage.setpoint=145 degF,149 degF' --out out/sweep",
    options=options,
    act=act,
)
