"""The command: parse, call, print."""

import argparse
import io
import sys
from collections.abc import Sequence
from contextlib import redirect_stdout
from typing import NoReturn

import hpwhsim
from hpwhsim.cli.output import begin_output, escape_letters, say, write_output
from hpwhsim.cli.verb import DONE, FAULT, INTERRUPTED, WRONG_INPUT
from hpwhsim.cli.verbs import (
    block,
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
        block,
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
    """Run the command and return its exit code (`cli.verb`): no input and no fault of ours is a traceback."""
    words = sys.argv[1:] if argv is None else list(argv)
    printed = io.StringIO()  # written when the work is done: who reads it may go away before
    code = DONE
    try:
        output = begin_output()
        with redirect_stdout(printed):
            refuse_controls(words, "command line")  # before anything prints one of them
            args = parser().parse_args(words)
            if getattr(args, "json", False):
                escape_letters(output)
            code = args.act(args)
    except InputError as error:
        say(said(str(error)))
        code = WRONG_INPUT
    except KeyboardInterrupt:
        say("interrupted")
        code = INTERRUPTED
    except SystemExit as end:  # help, version, a wrong command line
        code = int(end.code or DONE)
    except Exception as error:
        from hpwhsim.cli.fault import fault_line

        say(said(fault_line(error, words)))
        code = FAULT
    lost = write_output(printed.getvalue())
    if lost is None or isinstance(lost, BrokenPipeError):
        return code
    say(f"standard output: cannot be written: {lost.strerror}")
    return WRONG_INPUT


if __name__ == "__main__":
    sys.exit(main())
