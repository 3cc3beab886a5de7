"""`tankyear sweep`: one scenario over several values of some of its keys."""

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from hpwhsim.cli.options import add_changes, add_json, add_out, files_text, path, whole
from hpwhsim.cli.verb import DONE, FOUND, Verb
from hpwhsim.errors import InputError

if TYPE_CHECKING:
    from hpwhsim.studies.best import Question
    from hpwhsim.studies.cases import Cases
    from hpwhsim.studies.study import Finished


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument(
        "scenario",
        type=path,
        metavar="FILE",
        help="study file (YAML), or with --vary a scenario file; the manual shows what a study file holds",
    )
    add_changes(parser)
    parser.add_argument(
        "--vary",
        action="append",
        metavar="KEY.PATH=VALUES",
        help="a key and its values, each as --set takes it, with commas between (quote a value that holds "
        "one); '200 gal..1000 gal/5' is five values in equal steps, both ends counted; may be repeated for a "
        "grid. The first key is the axis of the picture",
    )
    parser.add_argument(
        "--keys",
        metavar="KEY,KEY",
        help="with --vary: keys of the annual record to show (of a list or block: "
        "'monthly.electricity_kwh[Jan]')",
    )
    add_workers(parser)
    add_json(parser, "the record of the sweep")
    add_out(
        parser,
        "sweep.csv and sweep.png; of a study study.nc, study.csv and study.json, and until all "
        "are there its cases, from which the same command goes on; best.json, best.csv and best.png where "
        "the study asks for the best case",
    )


def add_workers(parser: argparse.ArgumentParser) -> None:
    """`--workers N` of the verbs that run a study."""
    parser.add_argument(
        "--workers",
        type=whole(1, 256),
        metavar="N",
        help="processes that simulate the cases of a study; as many as there are cores if left out",
    )
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="of dask.distributed, such as host:8786, whose workers simulate the cases of a study instead of "
        "processes of our own; the manual shows how to start them",
    )


def run(cases: "Cases", args: argparse.Namespace) -> "Finished":
    """Run a study as the options of `add_workers` say, with a bar of progress."""
    from tqdm import tqdm

    from hpwhsim.processes import cores
    from hpwhsim.studies.study import run_study

    if args.scheduler is not None and args.workers is not None:
        raise InputError("--workers: allowed without --scheduler, whose workers are there already")
    with tqdm(total=cases.size, desc="simulate", unit="case", leave=False, disable=None) as bar:
        return run_study(cases, args.out, args.workers or cores(), bar.update, args.scheduler)


def act(args: argparse.Namespace) -> int:
    """Run a study, or check every case of a grid, simulate each and print the table."""
    if not args.vary:
        return _study(args)
    if args.scheduler is not None:
        raise InputError("--scheduler: allowed with a study file; what --vary names is simulated here")
    from tqdm import tqdm

    from hpwhsim.results.files import record_text, write_files
    from hpwhsim.studies import sweep
    from hpwhsim.studies.sweep_report import sweep_csv, sweep_figure, sweep_text

    def along(values: list[tuple[str, ...]]) -> Iterable[tuple[str, ...]]:
        return tqdm(values, "read", unit="case", leave=False, disable=None)

    plan = sweep.plan(args.scenario, args.vary, args.overrides, args.weather, args.keys, along)
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


def _study(args: argparse.Namespace) -> int:
    """Run the cases of a study file."""
    from hpwhsim.results.files import record_text
    from hpwhsim.studies.best import question_of
    from hpwhsim.studies.cases import study_cases
    from hpwhsim.studies.study_report import study_text

    cases = study_cases(args.scenario, args.overrides, args.weather)
    if args.out is None:
        raise InputError("--out: got nothing; allowed a folder, in which a study keeps its cases")
    if args.keys is not None:
        raise InputError("--keys: allowed with --vary; a study file names them under record")
    question = question_of(cases)
    if question is not None:
        if args.scheduler is not None:
            raise InputError("--scheduler: allowed without a block best, whose cases are simulated here")
        return _best(args, question)
    found = run(cases, args)
    sys.stdout.write(
        record_text(found.record) if args.json else study_text(found.record) + files_text(found.files)
    )
    return FOUND if found.record["failed"] else DONE


def _best(args: argparse.Namespace, question: "Question") -> int:
    """Search the cases of a study file for the best; exit 1 where none keeps every limit."""
    from tqdm import tqdm

    from hpwhsim.processes import cores
    from hpwhsim.results.files import write_files
    from hpwhsim.search.report import best_files, best_screen
    from hpwhsim.studies.best import best_study

    most = min(question.combinations, question.best.budget)
    with tqdm(total=most, desc="simulate", unit="case", leave=False, disable=None) as bar:
        found = best_study(question, args.out, args.workers or cores(), bar.update)
    written = write_files(args.out, best_files(found))
    sys.stdout.write(best_screen(found, args.json) + ("" if args.json else files_text(written)))
    return DONE if found.record["best"] else FOUND


VERB = Verb(
    name="sweep",
    help="one scenario over several values of some of its keys",
    description="Simulate a scenario with every combination of the values of the varied keys and print a "
    "row of figures for each; every case is checked before the first is simulated. Or run a study file: "
    "grids, rows that go together and samples of any keys, on all cores, into one dataset. A study that was "
    "stopped goes on where it was, and a case that cannot be simulated is kept with its message (then the "
    "exit code is 1). With a block best in the study file it finds the case with the least cost, CO2e or "
    "peak under limits, or the Pareto front of two figures; exit code 1: no case keeps the limits.",
    example="tankyear sweep scenarios/central-air.yaml --vary 'plant.storage.volume=600 gal..1200 gal/3' "
    "--vary 'plant.storage.setpoint=145 degF,149 degF' --out out/sweep",
    options=options,
    act=act,
)
