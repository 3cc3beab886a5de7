"""`tankyear size`: choose capacity and storage on the coldest days."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from hpwhsim.cli.options import add_json, add_out, add_scenario, files_text, read_scenario, whole
from hpwhsim.cli.verb import DONE, FOUND, Verb
from hpwhsim.errors import InputError

if TYPE_CHECKING:
    from hpwhsim.scenario.reading import Loaded


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    add_json(parser, "the record of the sizing")
    add_out(parser, "sizing.json and sizing.png; with --objectives best.json, best.csv and best.png")
    parser.add_argument(
        "--seeds",
        type=whole(1, 10000),
        default=0,
        metavar="N",
        help="count days with unmet hot water of the chosen plant over N more years of random draws",
    )
    parser.add_argument(
        "--objectives",
        metavar="KEY[,KEY]",
        help="choose by the figures of the whole year: cost (present value of all costs), co2e, peak, or a "
        "key of the annual record; two give the Pareto front between them",
    )
    parser.add_argument(
        "--vary",
        action="append",
        default=[],
        metavar="KEY.PATH=VALUES",
        help="with --objectives: choose this key too, such as the refrigerant, the setpoint or a control; as "
        "tankyear sweep has it",
    )
    parser.add_argument(
        "--budget",
        type=whole(10, 100000),
        metavar="N",
        help="with --objectives: plants that may be tried (500); if there are no more, all are",
    )


def act(args: argparse.Namespace) -> int:
    """Size, print the curve and the choice; exit 1 where no candidate passes."""
    loaded = read_scenario(args)
    if args.objectives is not None:
        return _best(args, loaded)
    if args.vary or args.budget is not None:
        raise InputError("--vary, --budget: allowed with --objectives")

    from hpwhsim.results.files import record_text, write_files
    from hpwhsim.sizing.report import sizing_figure, sizing_text
    from hpwhsim.sizing.size import size

    record = size(loaded, args.seeds)
    written: list[Path] = []
    if args.out is not None:
        content = {"sizing.json": record_text(record).encode(), "sizing.png": sizing_figure(record)}
        written = write_files(args.out, content)
    sys.stdout.write(record_text(record) if args.json else sizing_text(record) + files_text(written))
    return DONE if "chosen" in record else FOUND


def _best(args: argparse.Namespace, loaded: "Loaded") -> int:
    """Choose by the figures of the year; exit 1 where no plant of the catalogue passes."""
    if args.seeds:
        raise InputError("--seeds: allowed without --objectives")

    from hpwhsim.results.files import write_files
    from hpwhsim.search.engine import BUDGET
    from hpwhsim.search.report import best_files, best_screen
    from hpwhsim.search.varied import axis_of
    from hpwhsim.sizing.best import best_size

    axes = [axis_of(text) for text in args.vary]
    found = best_size(loaded, args.objectives.split(","), axes, args.budget or BUDGET)
    written = [] if args.out is None else write_files(args.out, best_files(found))
    sys.stdout.write(best_screen(found, args.json) + ("" if args.json else files_text(written)))
    return DONE if found.record["best"] else FOUND


VERB = Verb(
    name="size",
    help="choose capacity and storage on the coldest days",
    description="Minimum storage for each capacity on the design days of the weather file, by the engine "
    "and by the mass curve; then the best of an equipment catalogue's modules and tanks by the "
    "scenario's sizing block, checked on the whole year. With --objectives the best of them by cost, CO2e or "
    "peak of the whole year, or the Pareto front of two. Exit 1: no candidate passes.",
    example="tankyear size scenarios/central-air.yaml --set sizing.criterion=n-1 --out out/size",
    options=options,
    act=act,
)
