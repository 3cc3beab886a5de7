"""`tankyear size`: choose capacity and storage on the coldest days."""

import argparse
import sys
from pathlib import Path

from hpwhsim.cli.options import add_json, add_out, add_scenario, files_text, read_scenario, whole
from hpwhsim.cli.verb import DONE, FOUND, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    add_json(parser, "the record of the sizing")
    add_out(parser, "sizing.json and sizing.png")
    parser.add_argument(
        "--seeds",
        type=whole(1, 10000),
        default=0,
        metavar="N",
        help="count days with unmet hot water of the chosen plant over N more years of random draws",
    )


def act(args: argparse.Namespace) -> int:
    """Size, print the curve and the choice; exit 1 where no candidate passes."""
    loaded = read_scenario(args)

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


VERB = Verb(
    name="size",
    help="choose capacity and storage on the coldest days",
    description="Minimum storage for each capacity on the design days of the weather file, by the engine "
    "and by the mass curve; then the best of an equipment catalogue's modules and tanks by the "
    "scenario's sizing block, checked on the whole year. Exit 1: no candidate passes.",
    example="tankyear size scenarios/central-air.yaml --set sizing.criterion=n-1 --out out/size",
    options=options,
    act=act,
)
