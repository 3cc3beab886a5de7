"""`tankyear block`: several buildings at once."""

import argparse
import shlex
import sys
from pathlib import Path

from hpwhsim.cli.options import add_changes, add_json, add_out, files_text, path
from hpwhsim.cli.verb import DONE, FOUND, Verb
from hpwhsim.errors import InputError


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument(
        "buildings",
        type=path,
        nargs="?",
        metavar="BUILDINGS",
        help="table of buildings (CSV or XLSX): columns building and scenario, and keys of a scenario",
    )
    add_changes(parser)
    parser.add_argument(
        "--hours",
        action="append",
        default=[],
        metavar="NAME=WORDS",
        help="hours in which power is told, such as 'evening=Dec-Feb weekdays 17:00-20:00' or "
        "'system=07-18 17:00-18:00'; may be repeated; those of savings.peak_hours come with them",
    )
    parser.add_argument(
        "--rank",
        metavar="KEY",
        help="figure of the rows to rank by, such as total_kgco2e/apartment or at_peak_kw",
    )
    add_json(parser, "the record of the block")
    add_out(
        parser,
        "block.html, block.xlsx, buildings.csv, months.csv, hours.csv, power.csv (by the quarter of an hour) "
        "and block.json",
    )
    parser.add_argument(
        "--template",
        type=path,
        metavar="FILE.xlsx",
        help="write an empty table with lists of what is allowed, and do nothing else",
    )


def act(args: argparse.Namespace) -> int:
    """Read the table, check every row, simulate, print."""
    if args.template is not None:
        return _template(args)
    if args.buildings is None:
        raise InputError("block: got no table; allowed a CSV or XLSX file, or --template FILE.xlsx")
    from tqdm import tqdm

    from hpwhsim.blocks.block import of_buildings, ready, simulated
    from hpwhsim.blocks.report import block_text
    from hpwhsim.results.files import record_text, write_files

    buildings, hours = of_buildings(args.buildings, args.overrides, args.weather, args.hours)
    with tqdm(total=len(buildings.entries), desc="check", unit="row", leave=False, disable=None) as bar:
        ready(buildings, args.rank, bar.update)
    if args.out is not None:
        write_files(args.out, {})  # a folder that cannot be written is said before the work
    with tqdm(total=buildings.years, desc="simulate", unit="plant", leave=False, disable=None) as bar:
        found = simulated(buildings, hours, args.rank, bar.update)
    written: list[Path] = []
    if args.out is not None:
        from hpwhsim.blocks import report
        from hpwhsim.blocks.power import power_csv
        from hpwhsim.dossier.workbook.block_book import block_workbook
        from hpwhsim.page.block_page import block_page

        content = {
            "block.html": block_page(found, _command(args)),
            "block.xlsx": block_workbook(found.record),
            "buildings.csv": report.buildings_csv(found.record),
            "months.csv": report.months_csv(found.record),
            "power.csv": power_csv(found),
            "block.json": record_text(found.record).encode(),
        }
        if found.record["hours"]:
            content["hours.csv"] = report.hours_csv(found.record)
        written = write_files(args.out, content)
    sys.stdout.write(
        record_text(found.record) if args.json else block_text(found.record) + files_text(written)
    )
    return FOUND if found.record["failed"] else DONE


def _template(args: argparse.Namespace) -> int:
    """Write the empty table."""
    if args.template.suffix.lower() != ".xlsx":
        raise InputError(f"--template {args.template}: allowed a file *.xlsx")
    if args.template.exists():
        raise InputError(f"--template {args.template}: there is such a file; allowed a new one")
    from hpwhsim.dossier.workbook.block_template import block_template
    from hpwhsim.results.files import write_files

    (path,) = write_files(args.template.parent, {args.template.name: block_template()})
    sys.stdout.write(f"{path}\n")
    return DONE


def _command(args: argparse.Namespace) -> str:
    """What was typed, without the folder of its files."""
    words = ["tankyear", "block", args.buildings.name]
    words += [word for override in args.overrides for word in ("--set", override)]
    words += ["--weather", args.weather.name] if args.weather is not None else []
    words += [word for hours in args.hours for word in ("--hours", hours)]
    words += ["--rank", args.rank] if args.rank else []
    return shlex.join([*words, "--out", "DIR"])


VERB = Verb(
    name="block",
    help="several buildings at once: totals, coincident peak, ranks",
    description="Simulate every building of a table, each with random draws of its own, and add up energy, "
    "CO2e, cost, savings and power by the quarter of an hour: the coincident peak beside the sum of the "
    "buildings' peaks, by month and in named hours. Buildings may share a plant or a bore field. Every row "
    "is checked before the first is simulated; a building that fails after that is named, and the rest go on "
    "(then the exit code is 1).",
    example="tankyear block scenarios/block/buildings.csv --hours 'evening=Dec-Feb weekdays 17:00-20:00' "
    "--out out/block",
    options=options,
    act=act,
)
