"""`tankyear check`: read a scenario and its files without simulating."""

import argparse

from hpwhsim.cli.options import add_out, add_scenario, read_scenario
from hpwhsim.cli.verb import DONE, Verb


def options(parser: argparse.ArgumentParser) -> None:
    """What may be written after the verb."""
    add_scenario(parser)
    add_out(parser, "schematic.svg, a drawing of the plant")


def act(args: argparse.Namespace) -> int:
    """Put the plant together, print what would be simulated."""
    loaded = read_scenario(args)

    from hpwhsim.evaluation.cautions import by_importance
    from hpwhsim.evaluation.evaluate import check
    from hpwhsim.evaluation.unusual_accounts import usual_accounts
    from hpwhsim.plant.use import shape_of_day
    from hpwhsim.simulation.unusual_plant import usual_cautions
    from hpwhsim.tables.sources import Cited

    checked = check(loaded)
    collected, weather, assembly = checked.collected, checked.weather, checked.assembly
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
    print(f"shape of the day: {shape_of_day(scenario, float(weather.attrs['latitude']))}")
    if collected.baseline is not None:
        print(f"baseline: {collected.baseline.scenario.plant.family}")
    print("defaults in force:")
    for default in assembly.assumptions:
        print(f"  {default['key']}: {default['value']} ({Cited(default['source'], default['status'])})")
    unusual = [*usual_cautions(scenario, assembly), *usual_accounts(collected, assembly.made)]
    if checked.baseline is not None:
        other = usual_cautions(checked.baseline.loaded.scenario, checked.baseline.assembly)
        unusual += [f"baseline: {text}" for text in other if text not in unusual]
    cautions = by_importance([*loaded.said, *assembly.cautions, *unusual])
    if cautions:
        print("cautions:")
        print("".join(f"  {text}\n" for text in cautions), end="")
    if args.out is not None:
        from hpwhsim.results.files import write_files
        from hpwhsim.schematic.sheet import schematic_svg

        drawn = {"schematic.svg": schematic_svg(scenario, assembly.made.capacity)}
        print("".join(f"drawn: {path}\n" for path in write_files(args.out, drawn)), end="")
    print("the input is good")
    return DONE


VERB = Verb(
    name="check",
    help="read a scenario and its weather, list defaults and cautions",
    description="Read a scenario and its files without simulating; list defaults and cautions.",
    example="tankyear check scenarios/central-air.yaml --out out/check",
    options=options,
    act=act,
)
