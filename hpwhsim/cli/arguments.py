"""What may be written on the command line: verbs, options, and their help."""

import argparse
from pathlib import Path
from typing import NoReturn

import hpwhsim
from hpwhsim.scenario import families

WRONG_INPUT = 2  # exit code


class _Parser(argparse.ArgumentParser):
    """A parser that says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(WRONG_INPUT, f"{self.prog}: {message} (see {self.prog} --help)\n")


def _add_scenario(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scenario", type=Path, metavar="SCENARIO", help="scenario file (YAML)")
    _add_changes(parser)


def _add_changes(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY.PATH=VALUE",
        dest="overrides",
        help="override a key of the scenario; may be repeated",
    )
    parser.add_argument("--weather", type=Path, metavar="FILE", help="use this weather file instead")


def _years(text: str) -> int:
    """A number of years for `--seeds`."""
    if not text.isdecimal() or not 1 <= int(text) <= 10000:
        raise argparse.ArgumentTypeError(f"got {text}; allowed a whole number from 1 to 10000")
    return int(text)


def _seeds(text: str) -> int:
    """A number of years of draws whose spread is given."""
    if not text.isdecimal() or not 2 <= int(text) <= 1000:
        raise argparse.ArgumentTypeError(f"got {text}; allowed a whole number from 2 to 1000")
    return int(text)


def _add_seeds(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--seeds",
        type=_seeds,
        default=0,
        metavar="N",
        help="also simulate the seeds of random draws that follow, N years in all, and give P10, median and "
        "P90 of peak power, demand charges, bills and energy",
    )


def _below(text: str) -> float:
    """A temperature for `--below`, in degC."""
    from hpwhsim.io.units import TEMPERATURE, QuantityError, read_quantity

    try:
        return read_quantity(text, TEMPERATURE)
    except QuantityError as error:
        raise argparse.ArgumentTypeError(f"got {text}; allowed {error}") from None


def parser() -> argparse.ArgumentParser:
    """The parser of the command line; ``verb`` says which verb was given."""
    command = _Parser(
        prog="tankyear",
        description="Heat-pump hot-water plants in housing: one plant, one year, every hour.",
        epilog="example: tankyear run scenarios/central-air.yaml",
    )
    command.add_argument("--version", action="version", version=f"tankyear {hpwhsim.__version__}")
    verbs = command.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=_Parser)

    run = verbs.add_parser(
        "run",
        help="simulate one year of a scenario",
        description="Simulate one year of a scenario; print a summary and write the results.",
        epilog="example: tankyear run scenarios/central-air.yaml --set plant.storage.volume='800 gal'",
    )
    _add_scenario(run)
    run.add_argument("--json", action="store_true", help="print the annual record and nothing else")
    run.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="folder for annual.json, hourly.csv and hourly.nc (default: out/NAME; with --json: none)",
    )
    _add_seeds(run)
    run.add_argument("--months", action="store_true", help="also show electricity, peak, COP, bill by month")
    run.add_argument("--checks", action="store_true", help="also list every check of site and refrigerant")
    run.add_argument(
        "--cautions",
        action="store_true",
        help="also list every caution, and with sources every temperature of published guidance on "
        "Legionella that the year touched",
    )
    run.add_argument("--all", action="store_true", help="also show all figures, months, checks and cautions")
    run.add_argument(
        "--strict",
        action="store_true",
        help="exit 1 where a check of site or refrigerant fails (site.checks, carbon)",
    )
    run.add_argument(
        "--pictures",
        action="store_true",
        help="also draw schematic.svg (the plant with the year's heat at its arrows), cop_map.png (the "
        "year's hours on the map of COP), year.png, weeks.png and, where greenhouse gases are counted, "
        "carbon.png; page.html shows them with all tables and needs nothing else",
    )

    compare = verbs.add_parser(
        "compare",
        help="several scenarios side by side",
        description="Simulate a year of several scenarios and print energy, peak, COP, unmet hot water, CO2e "
        "and cost side by side, with a caution for everything in which their accounts are not alike. Each "
        "keeps its own building and weather unless --set or --weather gives all the same.",
        epilog="example: tankyear compare scenarios/central-air.yaml scenarios/gas-boiler.yaml "
        "--set carbon.grid='RFCW 2023'",
    )
    compare.add_argument("scenarios", type=Path, nargs="+", metavar="SCENARIO", help="scenario file (YAML)")
    _add_changes(compare)
    _add_seeds(compare)
    compare.add_argument("--json", action="store_true", help="print the rows and nothing else")
    compare.add_argument("--out", type=Path, metavar="DIR", help="folder for compare.csv and compare.png")

    sweep = verbs.add_parser(
        "sweep",
        help="one scenario over several values of some of its keys",
        description="March a scenario with every combination of the values of the varied keys and print a "
        "row of figures for each. Every case is checked before the first is marched.",
        epilog="example: tankyear sweep scenarios/central-air.yaml --vary "
        "'plant.storage.volume=600 gal..1200 gal/3' --vary 'plant.storage.setpoint=145 degF,149 degF' "
        "--out out/sweep",
    )
    _add_scenario(sweep)
    sweep.add_argument(
        "--vary",
        action="append",
        required=True,
        metavar="KEY.PATH=VALUES",
        help="a key and its values, each as --set takes it, with commas between (quote a value that holds "
        "one); '200 gal..1000 gal/5' is five values in equal steps, both ends counted; may be repeated for a "
        "grid. The first key is the axis of the picture",
    )
    sweep.add_argument(
        "--keys",
        metavar="KEY,KEY",
        help="keys of the annual record to show (of a list or block: 'monthly.electricity_kwh[Jan]')",
    )
    sweep.add_argument("--json", action="store_true", help="print the record of the sweep and nothing else")
    sweep.add_argument("--out", type=Path, metavar="DIR", help="folder for sweep.csv and sweep.png")

    check = verbs.add_parser(
        "check",
        help="read a scenario and its weather, and say what would be run",
        description="Read a scenario and its files without marching; list defaults and cautions.",
        epilog="example: tankyear check scenarios/central-air.yaml --out out/check",
    )
    _add_scenario(check)
    check.add_argument(
        "--out", type=Path, metavar="DIR", help="folder for schematic.svg, a drawing of the plant"
    )

    weather = verbs.add_parser(
        "weather",
        help="what a weather file says to a hot-water plant",
        description="Read typical-year files as a run does (TMY3 CSV or EPW, plain or .gz) and print place, "
        "cold hours and days, hours of frost, mains water and ground side by side. A typical year is not a "
        "record of design conditions.",
        epilog="example: tankyear weather weather/*.gz --below '5 degF' --out out/weather",
    )
    weather.add_argument("files", type=Path, nargs="+", metavar="FILE", help="typical-year file")
    weather.add_argument(
        "--below",
        type=_below,
        action="append",
        default=[],
        metavar="TEMPERATURE",
        help="count the hours below this too, such as a heat pump's lowest source; may be repeated",
    )
    weather.add_argument("--json", action="store_true", help="print the figures as JSON and nothing else")
    weather.add_argument("--out", type=Path, metavar="DIR", help="folder for weather.json and weather.png")

    new = verbs.add_parser(
        "new",
        help="write a scenario to start from",
        description="Write a commented scenario of an invented building to start from.",
        epilog="example: tankyear new mine.yaml --weather weather/chicago-il-725300-tmy3.epw.gz",
    )
    new.add_argument("file", type=Path, metavar="FILE", help="file to write; it must not exist yet")
    new.add_argument("--family", default="central-air", help=f"plant family: {', '.join(families.FAMILIES)}")
    new.add_argument("--weather", type=Path, required=True, metavar="FILE", help="weather file")

    rate = verbs.add_parser(
        "rate",
        help="put one packaged unit through the federal 24-hour draw-pattern test",
        description="Calculate uniform energy factor and first-hour rating of the one unit that a scenario's "
        "plant is, by the draw-pattern test of 10 CFR 430 Subpart B Appendix E. The test sets room, supply "
        "water, thermostat and draws; building, weather, use and loop of the scenario do not matter. It is "
        "no certified rating.",
        epilog="example: tankyear rate scenarios/packaged-test.yaml --pattern medium",
    )
    _add_scenario(rate)
    rate.add_argument(
        "--pattern",
        metavar="NAME",
        help="very-small, low, medium or high (default: the one that belongs to the first-hour rating)",
    )
    rate.add_argument("--json", action="store_true", help="print the record of the test and nothing else")

    bound = verbs.add_parser(
        "bound",
        help="what share of the possible saving the controls reach",
        description="Compare the controls of a scenario with the same plant without them and with the best "
        "schedule that perfect foresight could find, weighed by plant.controls.signal, without one by the "
        "hourly or time-of-use prices of the tariff (demand charges left out), or else in kWh bought. A kWh "
        "of fuel counts at the mean of the signal, or at its price.",
        epilog="example: tankyear bound scenarios/central-air.yaml --set plant.controls.signal=price.csv",
    )
    _add_scenario(bound)
    bound.add_argument("--json", action="store_true", help="print the figures as JSON and nothing else")

    dossier = verbs.add_parser(
        "dossier",
        help="write what a reviewer needs: workbook, PDF and bundle; or verify a bundle",
        description="Write dossier.xlsx (every hour, formulas from the hours to every total), dossier.pdf "
        "and bundle.zip, an archive of every input. With --verify, compare every file of an archive, the "
        "workbook and PDF beside it, its factors and its record with a fresh run: exit 0 says same, 1 that "
        "something differs. The archive is enough, in any folder.",
        epilog="example: tankyear dossier scenarios/central-air.yaml --out out/dossier; "
        "tankyear dossier --verify out/dossier/bundle.zip",
    )
    dossier.add_argument("scenario", type=Path, nargs="?", metavar="SCENARIO", help="scenario file (YAML)")
    _add_changes(dossier)
    dossier.add_argument(
        "--out", type=Path, metavar="DIR", help="folder for the three files (default: out/NAME-dossier)"
    )
    _add_seeds(dossier)
    dossier.add_argument(
        "--verify", type=Path, metavar="BUNDLE", help="hold a bundle.zip against a fresh run"
    )

    size = verbs.add_parser(
        "size",
        help="choose capacity and storage on the coldest days",
        description="Least storage for each capacity on the design days of the weather file, by the engine "
        "and by the mass curve; then the best of real modules and tanks by the scenario's sizing block, "
        "checked on the whole year. Exit 1: none of them passes.",
        epilog="example: tankyear size scenarios/central-air.yaml --set sizing.criterion=n-1 --out out/size",
    )
    _add_scenario(size)
    size.add_argument("--json", action="store_true", help="print the record of the sizing and nothing else")
    size.add_argument("--out", type=Path, metavar="DIR", help="folder for sizing.json and sizing.png")
    size.add_argument(
        "--seeds",
        type=_years,
        default=0,
        metavar="N",
        help="count short days of the chosen plant over N more years of random draws",
    )

    why = verbs.add_parser(
        "why",
        help="say why the backup ran and why hot water ran short",
        description="List the spells of backup and of short hot water in a year that was run: start, length, "
        "energy or litres, cause, and the state of source, store and control in the hour before.",
        epilog="example: tankyear why out/central-air",
    )
    why.add_argument("result", type=Path, metavar="RESULT", help="folder written by 'tankyear run'")
    why.add_argument("--json", action="store_true", help="print the record of all spells and nothing else")
    why.add_argument("--all", action="store_true", help="list every spell, not only the ten worst")
    why.add_argument(
        "--gap",
        type=int,
        default=2,
        metavar="HOURS",
        help="quiet hours at most that do not end a spell (default: 2)",
    )

    regress = verbs.add_parser(
        "regress",
        help="compare stored annual records of a folder with a fresh run",
        description="Run every scenario of a folder and say which values moved from FOLDER/records/NAME.json "
        "and by how much. Exit 0: nothing moved; 1: something moved, has no record or no scenario, or failed "
        "to run; 2: the folder, a record or the tolerances cannot be read.",
        epilog="example: tankyear regress scenarios --accept 'new loss of the store: its bottom counts too'",
    )
    regress.add_argument(
        "folder",
        type=Path,
        metavar="FOLDER",
        help="folder of scenarios (*.yaml); its records/tolerances.csv (key, relative, absolute) overrides "
        "the tolerance of keys such as monthly.*",
    )
    regress.add_argument("--accept", metavar="REASON", help="store what moved or is new, with this reason")
    regress.add_argument("--junit", type=Path, metavar="FILE", help="write the findings as JUnit XML")
    regress.add_argument(
        "--only", action="append", default=[], metavar="NAME", help="only this scenario; may be repeated"
    )
    regress.add_argument("--all", action="store_true", help="list every value that moved")
    regress.add_argument(
        "--exact",
        action="store_true",
        help="no tolerance at all: the same machine and libraries repeat a year bit for bit",
    )
    return command
