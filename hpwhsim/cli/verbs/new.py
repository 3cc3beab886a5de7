"""`tankyear new`: a scenario to start from."""

import argparse
import os
from pathlib import Path

from hpwhsim.cli.options import new_file, path
from hpwhsim.cli.verb import DONE, Verb
from hpwhsim.errors import InputError
from hpwhsim.io.user_file import real
from hpwhsim.scenario import families
from hpwhsim.scenario.starter import SCHEMA, WEATHER, weather_beside
from hpwhsim.scenario.templates import template


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument("file", type=new_file, metavar="FILE", help="file to write; it must not exist yet")
    parser.add_argument(
        "--family", default="central-air", help=f"plant family: {', '.join(families.FAMILIES)}"
    )
    parser.add_argument(
        "--weather",
        type=path,
        metavar="FILE",
        help="weather file (default: a typical year of Chicago, which is put beside the scenario)",
    )


def act(args: argparse.Namespace) -> int:
    """Write the scenario, and where no weather was given a weather file beside it."""
    file: Path = args.file
    weather: Path | None = args.weather
    if weather is not None:
        from hpwhsim.climate.typical_year import read_year

        read_year(weather)  # says what is wrong with it
    folder = real(file).parent
    named = WEATHER.name if weather is None else Path(os.path.relpath(real(weather), folder)).as_posix()
    text = template(args.family, named, SCHEMA.as_uri())
    try:
        with file.open("x", encoding="utf-8") as opened:
            opened.write(text)
    except FileExistsError:
        raise InputError(f"{file}: the file exists; allowed a new name") from None
    except OSError as error:
        raise InputError(f"{file}: cannot be written: {error.strerror}") from None
    if weather is None:
        try:
            print(f"weather: {weather_beside(folder)}")
        except InputError:
            file.unlink()  # nothing half-written
            raise
    print(f"wrote {file}; next: tankyear check {file}")
    return DONE


VERB = Verb(
    name="new",
    help="write a scenario to start from",
    description="Write a commented scenario of an invented building to start from. It runs as it stands; its "
    "first line tells an editor where the schema of its keys lies.",
    example="tankyear new mine.yaml --family ground",
    options=options,
    act=act,
)
