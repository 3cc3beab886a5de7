"""`tankyear uncertainty`: how sure the figures of a scenario are, and which keys decide."""

import argparse
import sys

from hpwhsim.cli.options import add_changes, add_json, files_text, folder, path
from hpwhsim.cli.verb import DONE, FOUND, Verb
from hpwhsim.cli.verbs.sweep import add_workers, run


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument(
        "study", type=path, metavar="STUDY", help="study file (YAML) with distributions of keys"
    )
    add_changes(parser)
    add_workers(parser)
    add_json(parser, "the record of the study")
    parser.add_argument(
        "--out",
        type=folder,
        required=True,
        metavar="DIR",
        help="folder for uncertainty.json, .csv and .png and the cases, as tankyear sweep keeps them; the "
        "same command goes on from cases that are there",
    )


def act(args: argparse.Namespace) -> int:
    """Simulate the sample and say what it spans."""
    from hpwhsim.studies.cases import study_cases
    from hpwhsim.studies.uncertainty import refuse_unsampled, uncertainty

    cases = study_cases(args.study, args.overrides, args.weather)
    refuse_unsampled(cases)
    from hpwhsim.results.files import record_text, write_files
    from hpwhsim.studies.uncertainty_report import uncertainty_csv, uncertainty_figure, uncertainty_text

    found = run(cases, args)
    record = uncertainty(cases, found)
    content = {
        "uncertainty.json": record_text(record).encode(),
        "uncertainty.csv": uncertainty_csv(record).encode(),
        "uncertainty.png": uncertainty_figure(record, found.dataset),
    }
    written = [*write_files(args.out, content), *found.files]
    sys.stdout.write(record_text(record) if args.json else uncertainty_text(record) + files_text(written))
    return FOUND if record["failed"] else DONE


VERB = Verb(
    name="uncertainty",
    help="how sure the figures are, and which keys decide",
    description="Draw keys of a scenario from the distributions of a study file, simulate every case on "
    "all cores, and print P10, P50 and P90 of each figure, how far off they were with half the points, and "
    "what moves them: rank correlations, or with sample.method saltelli shares of the variance. Exit code 1: "
    "some cases could not be simulated and are left out.",
    example="tankyear uncertainty scenarios/sweeps/store-and-loop.yaml --out out/uncertainty",
    options=options,
    act=act,
)
