"""`tankyear compare`: several scenarios side by side."""

import argparse
import shlex
import sys
from pathlib import Path

from hpwhsim.cli.options import add_changes, add_json, add_out, add_seeds, files_text, path
from hpwhsim.cli.verb import DONE, Verb
from hpwhsim.errors import InputError


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument("scenarios", type=path, nargs="+", metavar="SCENARIO", help="scenario file (YAML)")
    add_changes(parser)
    add_seeds(parser)
    add_json(parser, "the rows")
    add_out(parser, "compare.csv and compare.png")
    parser.add_argument(
        "--page",
        action="store_true",
        help="with --out, also write compare.html: key figures with differences and what drives them, a "
        "rank, pictures on the same axes; one file that needs nothing else",
    )


def act(args: argparse.Namespace) -> int:
    """Simulate each, print them side by side."""
    from tqdm import tqdm

    from hpwhsim.comparison import report as side_by_side
    from hpwhsim.comparison.unlike import Case, one_seed, unlike
    from hpwhsim.evaluation.draw_years import evaluate_over, is_random
    from hpwhsim.evaluation.reading import read
    from hpwhsim.results.files import record_text, write_files

    if args.page and args.out is None:
        raise InputError("--page: --out DIR must say where it goes")
    if args.out is not None:
        write_files(args.out, {})  # a folder that cannot be written is said before the work
    loaded = [read(path, args.overrides, args.weather) for path in args.scenarios]
    bar = tqdm(loaded, unit="scenario", leave=False, disable=None)  # None: no bar in a pipe
    if args.seeds and not any(is_random(one.scenario) for one in loaded):
        raise InputError("--seeds: allowed nothing unless hot_water.draws of a scenario is random")
    results = [evaluate_over(one, args.seeds if is_random(one.scenario) else 0) for one in bar]
    records = [result.record for result in results]
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
        if args.page:
            from hpwhsim.page.comparison_page import comparison_page

            content["compare.html"] = comparison_page(heads, results, said, _command(args))
        written = write_files(args.out, content)
    if args.json:
        rows = side_by_side.comparison_rows(names, records)
        sys.stdout.write(record_text({"rows": rows, "cautions": said}))
    else:
        sys.stdout.write(side_by_side.comparison_text(names, records, said) + files_text(written))
    return DONE


def _command(args: argparse.Namespace) -> str:
    """What was typed, without the folder of its files."""
    words = ["tankyear", "compare", *(path.name for path in args.scenarios)]
    words += [word for override in args.overrides for word in ("--set", override)]
    words += ["--weather", args.weather.name] if args.weather is not None else []
    words += ["--seeds", str(args.seeds)] if args.seeds else []
    return shlex.join([*words, "--page", "--out", "DIR"])


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
