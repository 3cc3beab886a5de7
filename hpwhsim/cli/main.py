"""The command: parse, call, print."""

import argparse
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import hpwhsim
from hpwhsim.cli.verb import DONE, WRONG_INPUT
from hpwhsim.cli.verbs import (
    bound,
    check,
    compare,
    dossier,
    fit,
    keys,
    new,
    operation,
    rate,
    regress,
    run,
    size,
    sweep,
    uncertainty,
    verify,
    weather,
    why,
)
from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import refuse_controls, said

VERBS = tuple(
    module.VERB
    for module in (
        run,
        check,
        new,
        keys,
        compare,
        size,
        sweep,
        uncertainty,
        fit,
        weather,
        why,
        rate,
        bound,
        operation,
        dossier,
        regress,
        verify,
    )
)
"""Every verb, in the order of the help."""


class _Parser(argparse.ArgumentParser):
    """A parser that says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(WRONG_INPUT, said(f"{self.prog}: {message} (see {self.prog} --help)") + "\n")


def parser() -> argparse.ArgumentParser:
    """The parser of the command line; ``act`` is what the given verb does."""
    command = _Parser(
        prog="tankyear",
        description="Heat-pump hot-water plants in housing: one plant, one year, every hour.",
        epilog="example: tankyear run scenarios/central-air.yaml",
    )
    command.add_argument("--version", action="version", version=f"tankyear {hpwhsim.__version__}")
    verbs = command.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=_Parser)
    for verb in VERBS:
        below = verbs.add_parser(
            verb.name, help=verb.help, description=verb.description, epilog=f"example: {verb.example}"
        )
        verb.options(below)
        below.set_defaults(act=verb.act)
    return command


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command and return its exit code: 0 done, 1 found what was looked for, 2 the input is wrong."""
    words = sys.argv[1:] if argv is None else list(argv)
    try:
        refuse_controls(words, "command line")  # before anything prints one of them
        args = parser().parse_args(words)
        code: int = args.act(args)
        sys.stdout.flush()
    except InputError as error:
        print(said(f"tankyear: {error}"), file=sys.stderr)
        return WRONG_INPUT
    except BrokenPipeError:  # the reader of our output went away
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return 130
    return code


if __name__ == "__main__":
    sys.exit(main())
