"""The command: parse, call, print."""

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

import hpwhsim
from hpwhsim.errors import InputError
from hpwhsim.scenario import families
from hpwhsim.scenario.templates import template

DONE, FOUND, WRONG_INPUT = 0, 1, 2


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


def _below(text: str) -> float:
    """A temperature for `--below`, in degC."""
    from hpwhsim.quantities import TEMPERATURE, QuantityError, read_quantity

    try:
        return read_quantity(text, TEMPERATURE)
    except QuantityError as error:
        raise argparse.ArgumentTypeError(f"got {text}; allowed {error}") from None


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="tankyear",
        description="Heat-pump hot-water plants in housing: one plant, one year, every hour.",
        epilog="example: tankyear run scenarios/central-air.yaml",
    )
    parser.add_argument("--version", action="version", version=f"tankyear {hpwhsim.__version__}")
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=_Parser)

    run = verbs.add_parser(
        "run",
        help="march a scenario through its year",
        description="March a scenario through its year; print a summary and write the results.",
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
    run.add_argument(
        "--pictures",
        action="store_true",
        help="also draw cop_map.png (the year's hours on the map of COP), year.png, weeks.png and, "
        "where greenhouse gases are counted, carbon.png",
    )
    run.set_defaults(act=_run)

    compare = verbs.add_parser(
        "compare",
        help="several scenarios side by side",
        description="March several scenarios and print energy, peak, COP, short hours, carbon and cost side "
        "by side. Each keeps its own building and weather unless --set or --weather gives all the same.",
        epilog="example: tankyear compare scenarios/central-air.yaml scenarios/gas-boiler.yaml "
        "--set carbon.grid='RFCW 2023'",
    )
    compare.add_argument("scenarios", type=Path, nargs="+", metavar="SCENARIO", help="scenario file (YAML)")
    _add_changes(compare)
    compare.add_argument("--json", action="store_true", help="print the rows and nothing else")
    compare.set_defaults(act=_compare)

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
    sweep.set_defaults(act=_sweep)

    check = verbs.add_parser(
        "check",
        help="read a scenario and its weather, and say what would be run",
        description="Read a scenario and its files without marching; list defaults and cautions.",
        epilog="example: tankyear check scenarios/central-air.yaml",
    )
    _add_scenario(check)
    check.set_defaults(act=_check)

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
    weather.set_defaults(act=_weather)

    new = verbs.add_parser(
        "new",
        help="write a scenario to start from",
        description="Write a commented scenario of an invented building to start from.",
        epilog="example: tankyear new mine.yaml --weather weather/chicago-il-725300-tmy3.epw.gz",
    )
    new.add_argument("file", type=Path, metavar="FILE", help="file to write; it must not exist yet")
    new.add_argument("--family", default="central-air", help=f"plant family: {', '.join(families.FAMILIES)}")
    new.add_argument("--weather", type=Path, required=True, metavar="FILE", help="weather file")
    new.set_defaults(act=_new)

    rate = verbs.add_parser(
        "rate",
        help="put one packaged unit through the federal 24-hour draw-pattern test",
        description="Calculate energy factor and first-hour delivery of the one unit that a scenario's plant "
        "is, by the draw-pattern test of 10 CFR 430 Subpart B Appendix E. The test sets room, supply water, "
        "thermostat and draws; building, weather, use and loop of the scenario do not matter. It certifies "
        "nothing.",
        epilog="example: tankyear rate scenarios/packaged-test.yaml --pattern medium",
    )
    _add_scenario(rate)
    rate.add_argument(
        "--pattern",
        metavar="NAME",
        help="very-small, low, medium or high (default: the one that belongs to the first-hour delivery)",
    )
    rate.add_argument("--json", action="store_true", help="print the record of the test and nothing else")
    rate.set_defaults(act=_rate)

    bound = verbs.add_parser(
        "bound",
        help="what share of the possible saving the controls reach",
        description="Compare the controls of a scenario with the same plant without them and with the best "
        "schedule that perfect foresight could find, in the signal of plant.controls.signal or in kWh.",
        epilog="example: tankyear bound scenarios/central-air.yaml --set plant.controls.signal=price.csv",
    )
    _add_scenario(bound)
    bound.add_argument("--json", action="store_true", help="print the figures as JSON and nothing else")
    bound.set_defaults(act=_bound)

    dossier = verbs.add_parser(
        "dossier",
        help="write what a reviewer needs: workbook, PDF and bundle; or verify a bundle",
        description="Write dossier.xlsx (every hour, formulas from the hours to every total), dossier.pdf "
        "and bundle.json. With --verify, repeat the calculation of a bundle: exit 0 says same, 1 that "
        "something moved.",
        epilog="example: tankyear dossier scenarios/central-air.yaml --out out/dossier; "
        "tankyear dossier --verify out/dossier/bundle.json",
    )
    dossier.add_argument("scenario", type=Path, nargs="?", metavar="SCENARIO", help="scenario file (YAML)")
    _add_changes(dossier)
    dossier.add_argument(
        "--out", type=Path, metavar="DIR", help="folder for the three files (default: out/NAME-dossier)"
    )
    dossier.add_argument("--verify", type=Path, metavar="BUNDLE", help="repeat the calculation of a bundle")
    dossier.set_defaults(act=_dossier)

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
        help="count short days of the chosen plant over N years of random draws",
    )
    size.set_defaults(act=_size)

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
    why.set_defaults(act=_why)

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
    regress.set_defaults(act=_regress)
    return parser


def _run(args: argparse.Namespace) -> int:
    from hpwhsim.report.files import record_text, write_results
    from hpwhsim.report.summary import year_text
    from hpwhsim.scenario.reading import read_scenario
    from hpwhsim.study.answer import answer
    from hpwhsim.study.year import to_dataset

    out = args.out
    if out is None and not args.json:
        out = Path("out") / args.scenario.stem
    if args.pictures and out is None:
        raise InputError("--pictures: with --json, --out DIR must say where the pictures go")
    loaded = read_scenario(args.scenario, args.overrides, args.weather)
    year = answer(loaded).year
    pictures = {}
    if args.pictures:
        from hpwhsim.report.figures import draw_pictures

        pictures = draw_pictures(year, loaded.scenario)
    written = write_results(out, year.record, to_dataset(year), pictures) if out is not None else []
    sys.stdout.write(record_text(year.record) if args.json else year_text(year.record) + _files(written))
    return DONE


def _files(written: Sequence[Path]) -> str:
    """What was written, for the end of a screen."""
    return "\nFiles\n" + "".join(f"  {path}\n" for path in written) if written else ""


def _compare(args: argparse.Namespace) -> int:
    from tqdm import tqdm

    from hpwhsim.report.files import record_text
    from hpwhsim.report.side_by_side import comparison_rows, comparison_text
    from hpwhsim.scenario.reading import read_scenario
    from hpwhsim.study.answer import answer

    loaded = [read_scenario(path, args.overrides, args.weather) for path in args.scenarios]
    bar = tqdm(loaded, unit="scenario", leave=False, disable=None)  # None: no bar in a pipe
    records = [answer(one).year.record for one in bar]
    names = [str(path) for path in args.scenarios]
    if args.json:
        sys.stdout.write(record_text({"rows": comparison_rows(names, records)}))
    else:
        sys.stdout.write(comparison_text(names, records))
    return DONE


def _sweep(args: argparse.Namespace) -> int:
    from tqdm import tqdm

    from hpwhsim.report.files import record_text, write_files
    from hpwhsim.report.sweep import sweep_csv, sweep_figure, sweep_text
    from hpwhsim.study import sweep

    plan = sweep.plan(args.scenario, args.vary, args.overrides, args.weather, args.keys)
    cases = plan.cases
    for case in tqdm(cases, "check", unit="case", leave=False, disable=None):  # None: no bar in a pipe
        sweep.check(case)
    if args.out is not None:
        write_files(args.out, {})  # a folder that cannot be written is said before the work
    bar = tqdm(cases, "march", unit="case", leave=False, disable=None)
    rows = [sweep.run(case, plan.keys) for case in bar]
    record = sweep.gather(plan, rows)
    written: list[Path] = []
    if args.out is not None:
        content = {"sweep.csv": sweep_csv(record).encode(), "sweep.png": sweep_figure(record)}
        written = write_files(args.out, content)
    sys.stdout.write(record_text(record) if args.json else sweep_text(record) + _files(written))
    return DONE


def _weather(args: argparse.Namespace) -> int:
    from hpwhsim.report.files import record_text, write_files
    from hpwhsim.report.weather import weather_figure, weather_text
    from hpwhsim.study.weather import describe

    sites = [describe(path, args.below) for path in args.files]
    records = [site.record for site in sites]
    text = record_text({"files": records})
    written: list[Path] = []
    if args.out is not None:
        content = {"weather.json": text.encode(), "weather.png": weather_figure(sites)}
        written = write_files(args.out, content)
    sys.stdout.write(text if args.json else weather_text(records) + _files(written))
    return DONE


def _rate(args: argparse.Namespace) -> int:
    from hpwhsim.report.files import record_text
    from hpwhsim.report.rating import rating_text
    from hpwhsim.scenario.reading import read_scenario
    from hpwhsim.study.rating import rate

    record = rate(read_scenario(args.scenario, args.overrides, args.weather), args.pattern)
    sys.stdout.write(record_text(record) if args.json else rating_text(record))
    return DONE


def _size(args: argparse.Namespace) -> int:
    from hpwhsim.report.files import record_text, write_files
    from hpwhsim.report.sizing import sizing_figure, sizing_text
    from hpwhsim.scenario.reading import read_scenario
    from hpwhsim.study.size import size

    record = size(read_scenario(args.scenario, args.overrides, args.weather), range(1, args.seeds + 1))
    written: list[Path] = []
    if args.out is not None:
        content = {"sizing.json": record_text(record).encode(), "sizing.png": sizing_figure(record)}
        written = write_files(args.out, content)
    sys.stdout.write(record_text(record) if args.json else sizing_text(record) + _files(written))
    return DONE if "chosen" in record else FOUND


def _why(args: argparse.Namespace) -> int:
    from hpwhsim.report.files import record_text
    from hpwhsim.report.why import why_text
    from hpwhsim.study.why import why

    record = why(args.result, args.gap)
    sys.stdout.write(record_text(record) if args.json else why_text(record, args.all))
    return DONE


def _check(args: argparse.Namespace) -> int:
    from hpwhsim.climate.typical_year import read_weather
    from hpwhsim.plant.assemble import assemble
    from hpwhsim.scenario.reading import read_scenario
    from hpwhsim.study.answer import ask

    loaded = read_scenario(args.scenario, args.overrides, args.weather)
    asked = ask(loaded)
    scenario = loaded.scenario
    weather = read_weather(scenario.site.weather)
    assembly = assemble(scenario, weather)
    dry_bulb = weather["dry_bulb_c"].values
    print(f"{args.scenario}: {scenario.title}")
    print(
        f"weather: {weather.attrs['station']}, {dry_bulb.min():.1f} to {dry_bulb.max():.1f} degC, "
        f"mean {dry_bulb.mean():.1f} degC"
    )
    litres = assembly.drive.use.sum() * 1000.0
    apartments = scenario.building.apartments
    print(f"use: {litres / 365.0:,.0f} L/day, {litres / 365.0 / apartments:.0f} L/day per apartment")
    if asked.baseline is not None:
        assemble(asked.baseline.scenario, weather)
        print(f"baseline: {asked.baseline.scenario.plant.family}")
    print("defaults in force:")
    for default in assembly.assumptions:
        print(f"  {default['key']}: {default['value']} ({default['source']})")
    print("cautions:")
    for caution in assembly.cautions:
        print(f"  {caution}")
    print("the input is good")
    return DONE


def _new(args: argparse.Namespace) -> int:
    weather: Path = args.weather
    if not weather.is_file():
        raise InputError(f"--weather {weather}: there is no such file")
    start = args.file.resolve().parent
    text = template(args.family, Path(os.path.relpath(weather.resolve(), start)).as_posix())
    try:
        with args.file.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise InputError(f"{args.file}: the file exists; allowed a new name") from None
    except OSError as err:
        raise InputError(f"{args.file}: cannot be written: {err.strerror}") from None
    print(f"wrote {args.file}; next: tankyear check {args.file}")
    return DONE


def _bound(args: argparse.Namespace) -> int:
    from hpwhsim.report.bound import bound_text
    from hpwhsim.report.files import record_text
    from hpwhsim.scenario.reading import read_scenario
    from hpwhsim.study.bound import bounded

    found = bounded(read_scenario(args.scenario, args.overrides, args.weather))
    sys.stdout.write(record_text(found._asdict()) if args.json else bound_text(found))
    return DONE if found.converged else FOUND


def _dossier(args: argparse.Namespace) -> int:
    if (args.scenario is None) == (args.verify is None):
        raise InputError("dossier: allowed either a SCENARIO, or --verify BUNDLE")
    if args.verify is not None:
        from hpwhsim.report.dossier import verdict_text
        from hpwhsim.study.bundle import verify

        if args.overrides or args.weather or args.out:
            raise InputError("dossier: allowed nothing beside --verify BUNDLE: a bundle is repeated as it is")
        verdict = verify(args.verify)
        sys.stdout.write(verdict_text(verdict))
        return DONE if verdict.same else FOUND
    from hpwhsim.report.dossier import write_dossier
    from hpwhsim.scenario.reading import read_scenario

    loaded = read_scenario(args.scenario, args.overrides, args.weather)
    out = args.out or Path("out") / f"{args.scenario.stem}-dossier"
    sys.stdout.write("".join(f"{path}\n" for path in write_dossier(loaded, out)))
    return DONE


def _regress(args: argparse.Namespace) -> int:
    from tqdm import tqdm

    from hpwhsim.report import drift
    from hpwhsim.study import regress

    reason = None if args.accept is None else regress.checked_reason(args.accept)
    plan = regress.plan(args.folder, args.only)
    bar = tqdm(plan.cases, unit="scenario", leave=False, disable=None)  # None: no bar in a pipe
    outcomes = [regress.check(case, plan.rules, exact=args.exact) for case in bar]
    sys.stdout.write(drift.drift_text(outcomes, None if args.all else drift.ROWS))
    if args.junit is not None:
        drift.write_junit(args.junit, outcomes, args.folder)
    left = [outcome for outcome in outcomes if outcome.state != "same"]
    if reason is not None:
        stored = regress.accept(outcomes, reason)
        sys.stdout.write(drift.accepted_text(stored, reason))
        left = [outcome for outcome in left if outcome.state not in ("moved", "new")]
    return FOUND if left else DONE


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command and return its exit code: 0 done, 1 found what was looked for, 2 the input is wrong."""
    args = _parser().parse_args(argv)
    try:
        code: int = args.act(args)
        sys.stdout.flush()
    except InputError as error:
        print(f"tankyear: {error}", file=sys.stderr)
        return WRONG_INPUT
    except BrokenPipeError:  # the reader of our output went away
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return 130
    return code


if __name__ == "__main__":
    sys.exit(main())
