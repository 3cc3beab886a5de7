"""`tankyear weather`: weather screening."""

import argparse
import sys
from pathlib import Path

from hpwhsim.cli.options import add_json, add_out, files_text, path
from hpwhsim.cli.verb import DONE, Verb


def _below(text: str) -> float:
    """A temperature for `--below`, in degC."""
    from hpwhsim.io.units import TEMPERATURE, QuantityError, read_quantity

    try:
        return read_quantity(text, TEMPERATURE)
    except QuantityError as error:
        raise argparse.ArgumentTypeError(f"got {text}; allowed {error}") from None


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    parser.add_argument("files", type=path, nargs="+", metavar="FILE", help="typical-year file")
    parser.add_argument(
        "--below",
        type=_below,
        action="append",
        default=[],
        metavar="TEMPERATURE",
        help="count the hours below this too, such as plant.heat_pump.min_source; may be repeated",
    )
    add_json(parser, "the figures as JSON")
    add_out(parser, "weather.json and weather.png")


def act(args: argparse.Namespace) -> int:
    """Describe each file, print them side by side."""
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
    sys.stdout.write(text if args.json else weather_text(records) + files_text(written))
    return DONE


VERB = Verb(
    name="weather",
    help="weather screening: what of a weather file matters to a hot-water plant",
    description="Read typical-year files as a run does (TMY3 CSV or EPW, plain or .gz) and print place, "
    "cold hours and days, hours of frost, mains water and ground side by side. A typical year "
    "is not a record of design conditions.",
    example="tankyear weather weather/*.gz --below '5 degF' --out out/weather",
    options=options,
    act=act,
)
