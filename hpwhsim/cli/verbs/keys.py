"""`tankyear keys`: what may be written in a scenario file."""

import argparse
import sys
from typing import TYPE_CHECKING

from hpwhsim.cli.options import add_json
from hpwhsim.cli.verb import DONE, Verb
from hpwhsim.errors import InputError

if TYPE_CHECKING:
    from hpwhsim.scenario.key_list import Key

WIDTH = 80


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument(
        "pattern",
        nargs="?",
        default="",
        metavar="PATTERN",
        help="a part of the key's path, or a pattern of the whole of it such as '*.min_*' (default: every "
        "key)",
    )
    one = parser.add_mutually_exclusive_group()
    add_json(one, "the keys as JSON")
    one.add_argument(
        "--schema", action="store_true", help="print the JSON Schema (draft 7) of the file instead"
    )


def act(args: argparse.Namespace) -> int:
    """Print the keys that fit, or the schema."""
    import json

    from hpwhsim.scenario.key_list import key_list

    if args.schema:
        if args.pattern:
            raise InputError(f"keys {args.pattern}: allowed nothing beside --schema, which prints all")
        from hpwhsim.scenario.json_schema import schema_text

        sys.stdout.write(schema_text())
        return DONE
    found = key_list(args.pattern)
    if args.json:
        keys = [key._asdict() for key in found]
        sys.stdout.write(json.dumps({"keys": keys}, indent=2, ensure_ascii=False) + "\n")
    else:
        sys.stdout.write("\n".join(_text(key) for key in found))
    return DONE


def _text(key: "Key") -> str:
    """A key in a few lines."""
    from textwrap import fill

    if key.required:
        left_out = "must be written"
    elif key.default:
        left_out = f"default: {key.default}; source: {key.source}"
    else:
        left_out = f"left out: {key.source}"
    said = (key.meaning, ", ".join(filter(None, (key.type, key.allowed))), left_out)
    lines = (fill(line, WIDTH, initial_indent="  ", subsequent_indent="    ") for line in said)
    return "\n".join((key.key, *lines)) + "\n"


VERB = Verb(
    name="keys",
    help="what may be written in a scenario file: type, range, default, source and meaning of each key",
    description="List the keys of the scenario file with their meaning, type, range or choices, default and "
    "the source of the default. The keys of a `baseline` block are those of `plant`.",
    example="tankyear keys plant.storage",
    options=options,
    act=act,
)
