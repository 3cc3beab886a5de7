"""`tankyear compare`: several scenarios side by side."""

import argparse
import sys
from pathlib import Path

from hpwhsim.cli.options import add_changes, add_json, add_out, add_seeds, files_text
from hpwhsim.cli.verb import DONE, Verb
from hpwhsim.errors import InputError


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument("scenarios", type=Path, nargs="+", metavar="SCENARIO", help="scenario file (YAML)")
    add_changes(parser)
    add_seeds(parser)
    add_json(parser, "the rows")
    add_out(parser, "compare.csv and compare.png")


def act(args: argparse.Namespace) -> int:
    """Simulate each, print them side by side."""
    from tqdm import tqdm

    from hpwhsim.comparison import report as side_by_side
    from hpwhsim.comparison.unlike import Case, one_seed, unlike
    from hpwhsim.evaluation.draw_years import evaluate_over, is_random
    from hpwhsim.evaluation.reading import read
    from hpwhsim.results.files import record_text, write_files

    if args.out is not None:
        write_files(args.out, {})  # a folder that cannot be written is said before the work
    loaded = [read(path, args.overrides, args.weather) for path in args.scenarios]
    bar = tqdm(loaded, unit="scenario", leave=False, disable=None)  # None: no bar in a pipe
    if args.seeds and not any(is_random(one.scenario) for one in loaded):
        raise InputError("--seeds: allowed nothing unless hot_water.draws of a scenario is random")
    records = [evaluate_over(one, args.seeds if is_random(one.scenario) else 0).record for one in bar]
    names = [str(path) for path in args.scenarios]
    heads = side_by_side.labels(names)
    cases = [Case(*of) for of in zip(heads, loaded, records, strict=True)]
    said = unlike(cases) + one_seed(cases)
    written: list[Path] = []
    if args.out is not None:
        content = {
            "compare.csv": side_by_side.comparison_csv(names, records, said).encode(),
            "compare.png": side_by_side.comparison_figure(names, records, said),
        }
        written = write_files(args.out, content)
    if args.json:
        rows = side_by_side.comparison_rows(names, records)
        sys.stdout.write(record_text({"rows": rows, "cautions": said}))
    else:
        sys.stdout.write(side_by_side.comparison_text(names, records, said) + files_text(written))
    return DONE


VERB = Verb(
    name="compare",
    help="several scenarios side by side",
    description="Simulate a year of several scenarios and print energy, peak, COP, unmet hot water, CO2e "
    "and cost side by side, with a caution for everything in which their accounts are not "
    "alike. Each keeps its own building and weather unless --set or --weather gives all the "
    "same.",
    example="tankyear compare scenarios/central-air.yaml scenarios/gas-boiler.yaml --set "
    "carbon.grid='RFCW 2023'",
    options=options,
    act=act,
)
