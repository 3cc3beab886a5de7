"""`tankyear fit`: adjust a few keys of a scenario to metered readings."""

import argparse
import sys
from pathlib import Path

from hpwhsim.cli.options import add_json, add_out, add_scenario, files_text, path, read_scenario
from hpwhsim.cli.verb import DONE, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    parser.add_argument(
        "--metered",
        type=path,
        required=True,
        metavar="CSV",
        help="readings by the hour, day or calendar month: columns time (its start, local standard time) and "
        "one or more of electricity_kwh, fuel_kwh, heat_pump_heat_kwh, heat_to_taps_kwh, "
        "recirculation_loss_kwh, litres (water that leaves the plant for the taps, before mixing)",
    )
    parser.add_argument(
        "--key",
        action="append",
        required=True,
        metavar="KEY.PATH=LOW..HIGH",
        help="a key to adjust and its bounds, as 'recirculation.loss_per_apartment=40 W..160 W'; 1 to 5 "
        "keys. The fit begins at the scenario's own value. Usual ones: recirculation.loss_per_apartment, "
        "plant.heat_pump.cop, hot_water.daily_use_per_apartment",
    )
    add_json(parser, "the record of the fit")
    add_out(parser, "fitted.yaml, fit.json, fit.csv and fit.png")


def act(args: argparse.Namespace) -> int:
    """Read scenario and meter, fit, print."""
    from hpwhsim.studies.fit_keys import ranged

    keys, loaded = ranged(args.key), read_scenario(args)
    from tqdm import tqdm

    from hpwhsim.results.files import record_text, write_files
    from hpwhsim.scenario.text_at import text_at
    from hpwhsim.studies.fit import fit
    from hpwhsim.studies.fit_report import fit_csv, fit_figure, fit_text

    if args.out is not None:
        write_files(args.out, {})  # a folder that cannot be written is said before the work
    with tqdm(desc="simulate", unit="year", leave=False, disable=None) as bar:  # None: no bar in a pipe
        found = fit(loaded, args.metered, keys, bar.update)
    written: list[Path] = []
    if args.out is not None:
        content = {
            "fitted.yaml": text_at(found.loaded, args.out / "fitted.yaml").encode(),
            "fit.json": record_text(found.record).encode(),
            "fit.csv": fit_csv(found).encode(),
            "fit.png": fit_figure(found),
        }
        written = write_files(args.out, content)
    sys.stdout.write(record_text(found.record) if args.json else fit_text(found) + files_text(written))
    return DONE


VERB = Verb(
    name="fit",
    help="adjust a few keys of a scenario to metered readings",
    description="Adjust named keys within bounds until the simulated year agrees best with metered "
    "readings, and print fitted values with 95 % intervals, and NMBE and CV(RMSE) beside the limits of "
    "ASHRAE Guideline 14. Refuses readings with gaps, clock changes, resets or wrong units, and keys that "
    "they do not tell apart.",
    example="tankyear fit scenarios/central-air.yaml --metered meter.csv "
    "--key 'recirculation.loss_per_apartment=40 W..160 W' --key plant.heat_pump.cop=2.5..4.5 --out out/fit",
    options=options,
    act=act,
)
