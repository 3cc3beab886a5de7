"""`tankyear run`: simulate one year of a scenario."""

import argparse
import sys
from pathlib import Path

from hpwhsim.cli.options import add_json, add_out, add_scenario, add_seeds, read_scenario
from hpwhsim.cli.verb import DONE, FOUND, Verb
from hpwhsim.errors import InputError


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    add_json(parser, "the annual record")
    add_out(parser, "annual.json, hourly.csv and hourly.nc (default: out/NAME; with --json: none)")
    add_seeds(parser)
    parser.add_argument(
        "--months", action="store_true", help="also show electricity, peak, COP, bill by month"
    )
    parser.add_argument("--checks", action="store_true", help="also list every check of site and refrigerant")
    parser.add_argument(
        "--cautions",
        action="store_true",
        help="also list every caution, and with sources every temperature of published guidance on "
        "Legionella that the year touched",
    )
    parser.add_argument(
        "--all", action="store_true", help="also show all figures, months, checks and cautions"
    )
    parser.add_argument(
        "--strict",
        action="store_true",
        help="exit 1 where a check of site or refrigerant fails (site.checks, carbon)",
    )
    parser.add_argument(
        "--pictures",
        action="store_true",
        help="also draw schematic.svg (the plant with the year's heat at its arrows), cop_map.png (the "
        "year's hours on the map of COP), year.png, weeks.png and, where greenhouse gases are counted, "
        "carbon.png, and page.html",
    )
    parser.add_argument(
        "--page",
        action="store_true",
        help="also write page.html: the year hour by hour to zoom and read, pictures to save, all tables, SI "
        "or inch-pound; one file that needs nothing else",
    )


def act(args: argparse.Namespace) -> int:
    """Simulate, write, print; exit 1 with --strict where a check fails."""
    out = args.out
    if out is None and not args.json:
        out = Path("out") / args.scenario.stem
    for option in ("pictures", "page"):
        if getattr(args, option) and out is None:
            raise InputError(f"--{option}: with --json, --out DIR must say where it goes")
    loaded = read_scenario(args)

    from hpwhsim.account.checks import FAIL
    from hpwhsim.evaluation.draw_years import evaluate_over
    from hpwhsim.evaluation.first_screen import first_screen
    from hpwhsim.evaluation.report import PARTS, year_text
    from hpwhsim.evaluation.site_checks import writes_us_units
    from hpwhsim.results.files import PAGE, record_text, write_results

    us = writes_us_units(loaded.written)
    found = evaluate_over(loaded, args.seeds)
    pictures: dict[str, bytes] = {}
    if args.pictures or args.page:
        from hpwhsim.charts.year import draw_pictures
        from hpwhsim.page.page import page

        pictures[PAGE] = page(found)
        if args.pictures:
            pictures |= draw_pictures(found.plant.year, loaded.scenario, us=us)
    record = found.record
    written = write_results(out, record, found.hourly, pictures) if out is not None else []
    if args.json:
        sys.stdout.write(record_text(record))
    else:
        sys.stdout.write(first_screen(record, written, us=us))
        if parts := PARTS if args.all else [part for part in PARTS if getattr(args, part, False)]:
            sys.stdout.write("\n" + year_text(record, parts, us=us))
    return FOUND if args.strict and any(check.state == FAIL for check in found.checks) else DONE


VERB = Verb(
    name="run",
    help="simulate one year of a scenario",
    description="Simulate one year of a scenario; print a summary and write the results.",
    example="tankyear run scenarios/central-air.yaml --set plant.storage.volume='800 gal'",
    options=options,
    act=act,
)
