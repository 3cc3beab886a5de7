"""`tankyear dossier`: what a reviewer needs; or verify a bundle."""

import argparse
import sys
from pathlib import Path

from hpwhsim.cli.options import add_changes, add_out, add_seeds, path, read_scenario
from hpwhsim.cli.verb import DONE, FOUND, Verb
from hpwhsim.errors import InputError


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument("scenario", type=path, nargs="?", metavar="SCENARIO", help="scenario file (YAML)")
    add_changes(parser)
    add_out(parser, "the three files (default: out/NAME-dossier)")
    add_seeds(parser)
    parser.add_argument("--verify", type=path, metavar="BUNDLE", help="compare a bundle.zip with a fresh run")


def act(args: argparse.Namespace) -> int:
    """Write the dossier, or verify a bundle; exit 1 where something differs."""
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
    loaded = read_scenario(args)

    from hpwhsim.dossier.write import write_dossier

    out = args.out or Path("out") / f"{args.scenario.stem}-dossier"
    sys.stdout.write("".join(f"{path}\n" for path in write_dossier(loaded, out, args.seeds)))
    return DONE


VERB = Verb(
    name="dossier",
    help="write what a reviewer needs: workbook, PDF and bundle; or verify a bundle",
    description="Write dossier.xlsx (every hour, formulas from the hours to every total), dossier.pdf and "
    "bundle.zip, an archive of every input. With --verify, compare every file of an archive, "
    "the workbook and PDF beside it, its factors and its record with a fresh run: exit 0: the "
    "same; 1: something differs. The archive is enough, in any folder.",
    example="tankyear dossier scenarios/central-air.yaml --out out/dossier; tankyear dossier --verify "
    "out/dossier/bundle.zip",
    options=options,
    act=act,
)
