"""The command: parse, call, print."""

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from hpwhsim.cli.arguments import WRONG_INPUT, parser
from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import refuse_controls, visible
from hpwhsim.scenario.templates import template

if TYPE_CHECKING:
    from hpwhsim.scenario.reading import Loaded

DONE, FOUND = 0, 1  # exit codes, beside WRONG_INPUT


def _read(args: argparse.Namespace) -> "Loaded":
    """The scenario of a verb, before what marches it is loaded: a wrong path is said at once."""
    from hpwhsim.evaluate.reading import read

    return read(args.scenario, args.overrides, args.weather)


def _run(args: argparse.Namespace) -> int:
    out = args.out
    if out is None and not args.json:
        out = Path("out") / args.scenario.stem
    if args.pictures and out is None:
        raise InputError("--pictures: with --json, --out DIR must say where the pictures go")
    loaded = _read(args)

    from hpwhsim.account.checks import FAIL
    from hpwhsim.evaluate.draw_years import answer_over
    from hpwhsim.evaluate.first_screen import first_screen
    from hpwhsim.evaluate.report import PARTS, year_text
    from hpwhsim.evaluate.site_checks import writes_us_units
    from hpwhsim.results.files import PAGE, record_text, write_results
    from hpwhsim.simulate.year import to_dataset

    pictures = {}
    if args.pictures:
        from hpwhsim.charts.year import draw_pictures
        from hpwhsim.dossier.content import gather
        from hpwhsim.page.page import page

        papers = gather(loaded, args.seeds)
        found, year = papers.answer, papers.answer.year
        pictures = draw_pictures(year, loaded.scenario)
        pictures[PAGE] = page(papers, pictures)
    else:
        found = answer_over(loaded, args.seeds)
        year = found.year
    written = write_results(out, year.record, to_dataset(year), pictures) if out is not None else []
    if args.json:
        sys.stdout.write(record_text(year.record))
    else:
        us = writes_us_units(loaded.written)
        sys.stdout.write(first_screen(year.record, written, us=us))
        if parts := PARTS if args.all else [part for part in PARTS if getattr(args, part, False)]:
            sys.stdout.write("\n" + year_text(year.record, parts, us=us))
    return FOUND if args.strict and any(check.state == FAIL for check in found.checks) else DONE


def _files(written: Sequence[Path]) -> str:
    """What was written, for the end of a screen."""
    return "\nFiles\n" + "".join(f"  {path}\n" for path in written) if written else ""


def _compare(args: argparse.Namespace) -> int:
    from tqdm import tqdm

    from hpwhsim.compare import report as side_by_side
    from hpwhsim.compare.unlike import Case, one_seed, unlike
    from hpwhsim.evaluate.draw_years import answer_over, is_random
    from hpwhsim.evaluate.reading import read
    from hpwhsim.results.files import record_text, write_files

    if args.out is not None:
        write_files(args.out, {})  # a folder that cannot be written is said before the work
    loaded = [read(path, args.overrides, args.weather) for path in args.scenarios]
    bar = tqdm(loaded, unit="scenario", leave=False, disable=None)  # None: no bar in a pipe
    if args.seeds and not any(is_random(one.scenario) for one in loaded):
        raise InputError("--seeds: allowed nothing unless hot_water.draws of a scenario is random")
    records = [answer_over(one, args.seeds if is_random(one.scenario) else 0).year.record for one in bar]
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
        sys.stdout.write(side_by_side.comparison_text(names, records, said) + _files(written))
    return DONE


def _sweep(args: argparse.Namespace) -> int:
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
    bar = tqdm(cases, "march", unit="case", leave=False, disable=None)
    rows = [sweep.run(plan, case) for case in bar]
    record = sweep.gather(plan, rows)
    written: list[Path] = []
    if args.out is not None:
        content = {"sweep.csv": sweep_csv(record).encode(), "sweep.png": sweep_figure(record)}
        written = write_files(args.out, content)
    sys.stdout.write(record_text(record) if args.json else sweep_text(record) + _files(written))
    return DONE


def _weather(args: argparse.Namespace) -> int:
    from hpwhsim.diagnose.weather_report import weather_figure, weather_text
    from hpwhsim.diagnose.weather_screening import describe
    from hpwhsim.results.files import record_text, write_files

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
    loaded = _read(args)

    from hpwhsim.federal_test.rating import rate
    from hpwhsim.federal_test.report import rating_text
    from hpwhsim.results.files import record_text

    record = rate(loaded, args.pattern)
    sys.stdout.write(record_text(record) if args.json else rating_text(record))
    return DONE


def _size(args: argparse.Namespace) -> int:
    loaded = _read(args)

    from hpwhsim.results.files import record_text, write_files
    from hpwhsim.sizing.report import sizing_figure, sizing_text
    from hpwhsim.sizing.size import size

    record = size(loaded, args.seeds)
    written: list[Path] = []
    if args.out is not None:
        content = {"sizing.json": record_text(record).encode(), "sizing.png": sizing_figure(record)}
        written = write_files(args.out, content)
    sys.stdout.write(record_text(record) if args.json else sizing_text(record) + _files(written))
    return DONE if "chosen" in record else FOUND


def _why(args: argparse.Namespace) -> int:
    from hpwhsim.diagnose.causes import why
    from hpwhsim.diagnose.report import why_text
    from hpwhsim.results.files import record_text

    record = why(args.result, args.gap)
    sys.stdout.write(record_text(record) if args.json else why_text(record, args.all))
    return DONE


def _check(args: argparse.Namespace) -> int:
    loaded = _read(args)

    from hpwhsim.evaluate.evaluation import check
    from hpwhsim.tables.sources import Cited

    checked = check(loaded)
    asked, weather, assembly = checked.asked, checked.weather, checked.assembly
    scenario = loaded.scenario
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
        print(f"baseline: {asked.baseline.scenario.plant.family}")
    print("defaults in force:")
    for default in assembly.assumptions:
        print(f"  {default['key']}: {default['value']} ({Cited(default['source'], default['status'])})")
    print("cautions:")
    for caution in (*loaded.said, *assembly.cautions):
        print(f"  {caution}")
    if args.out is not None:
        from hpwhsim.io.figures import svg
        from hpwhsim.results.files import write_files
        from hpwhsim.schematic.sheet import schematic

        drawn = {"schematic.svg": svg(schematic(scenario, assembly.made.capacity))}
        print("".join(f"drawn: {path}\n" for path in write_files(args.out, drawn)), end="")
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
    loaded = _read(args)

    from hpwhsim.control_bound.bound import bounded
    from hpwhsim.control_bound.report import bound_text
    from hpwhsim.results.files import record_text

    found = bounded(loaded)
    sys.stdout.write(record_text(found._asdict()) if args.json else bound_text(found))
    return DONE if found.converged else FOUND


def _dossier(args: argparse.Namespace) -> int:
    if (args.scenario is None) == (args.verify is None):
        raise InputError("dossier: allowed either a SCENARIO, or --verify BUNDLE")
    if args.verify is not None:
        from hpwhsim.dossier.verify import verify
        from hpwhsim.dossier.write import verdict_text

        if args.overrides or args.weather or args.out or args.seeds:
            raise InputError("dossier: allowed nothing beside --verify BUNDLE: a bundle is repeated as it is")
        verdict = verify(args.verify)
        sys.stdout.write(verdict_text(verdict))
        return DONE if verdict.same else FOUND
    loaded = _read(args)

    from hpwhsim.dossier.write import write_dossier

    out = args.out or Path("out") / f"{args.scenario.stem}-dossier"
    sys.stdout.write("".join(f"{path}\n" for path in write_dossier(loaded, out, args.seeds)))
    return DONE


def _regress(args: argparse.Namespace) -> int:
    from tqdm import tqdm

    from hpwhsim.regression import compare as regress
    from hpwhsim.regression import report as drift

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


ACTS = {
    "run": _run,
    "compare": _compare,
    "sweep": _sweep,
    "weather": _weather,
    "rate": _rate,
    "size": _size,
    "why": _why,
    "check": _check,
    "new": _new,
    "bound": _bound,
    "dossier": _dossier,
    "regress": _regress,
}
"""What each verb does."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command and return its exit code: 0 done, 1 found what was looked for, 2 the input is wrong."""
    words = sys.argv[1:] if argv is None else list(argv)
    try:
        refuse_controls(words, "command line")  # before anything prints one of them
        args = parser().parse_args(words)
        code = ACTS[args.verb](args)
        sys.stdout.flush()
    except InputError as error:
        print(f"tankyear: {visible(str(error))}", file=sys.stderr)
        return WRONG_INPUT
    except BrokenPipeError:  # the reader of our output went away
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return 130
    return code


if __name__ == "__main__":
    sys.exit(main())
