"""What the year would buy if the sewage ran at one end or the other of what is usual.

Where nothing of the sewage is measured, its temperature is the least certain number of a wastewater plant. So
its year is simulated twice more, with sewage as cold and as warm as building drains and sewers run.
"""

from typing import NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.plant.assemble import Assembly
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.sources import Wastewater
from hpwhsim.simulation.years import Marched, figures
from hpwhsim.source.drains import USUAL_C

ENDS = ("min", "max")


class EndYears(NamedTuple):
    """The years with sewage of 10 and of 21 °C."""

    electricity_kwh: tuple[float, float]
    cop_plant: tuple[float | None, float | None]


def is_unmeasured(scenario: Scenario) -> bool:
    """Whether the sewage is that of the building's drains, of which the modeler says nothing."""
    if scenario.plant.source_kind != "wastewater" or scenario.plant.heat_pump is None:
        return False
    block = scenario.plant.source.wastewater or Wastewater()
    return block.sewer is None and not block.given("drain_loss") and not block.given("heat_left")


def at_ends(assembly: Assembly) -> list[Assembly]:
    """The plant with sewage of 10 °C, and of 21 °C, all year; nothing is shared that a march fills."""
    found = []
    for temperature in USUAL_C:
        drive = assembly.drive._replace(
            sewage_temperature=np.full(assembly.drive.sewage_temperature.size, temperature)
        )
        state = assembly.state._replace(well=np.array([temperature]))
        plant = assembly.plant._replace(outlet=assembly.plant.outlet.copy())
        found.append(assembly._replace(plant=plant, drive=drive, state=state))
    return found


def end_years(assemblies: list[Assembly], marched: list[Marched]) -> EndYears:
    """Figures of the two years."""
    low, high = (figures(assembly, year.last) for assembly, year in zip(assemblies, marched, strict=True))
    return EndYears((low.electricity_kwh, high.electricity_kwh), (low.cop_plant, high.cop_plant))


def range_record(found: EndYears) -> dict[str, object]:
    """Their keys of the annual record."""
    keys: dict[str, object] = {}
    for end, electricity, cop in zip(ENDS, found.electricity_kwh, found.cop_plant, strict=True):
        keys |= {f"sewage_{end}_electricity_kwh": electricity, f"sewage_{end}_cop_plant": cop}
    return keys


def caution(found: EndYears, months: Array, mains: Array) -> str:
    """The caution on a plant whose sewage was not measured.

    Parameters
    ----------
    found : EndYears
        The years at both ends.
    months, mains : ndarray, (month,)
        Monthly means of the sewage as computed, and of the mains water. [°C]
    """
    low, high = USUAL_C
    ends = [
        f"at {at:g} degC all year the plant purchases {kwh:,.0f} kWh of electricity"
        + (f" (COP {cop:.2f})" if cop else "")
        for at, kwh, cop in zip(USUAL_C, found.electricity_kwh, found.cop_plant, strict=True)
    ]
    text = (
        f"sewage not measured: its monthly means are computed as {months.min():.1f} to "
        f"{months.max():.1f} degC; building drains and sewers run between {low:g} and {high:g} degC (common "
        f"practice, no source); {ends[0]}, {ends[1]}"
    )
    if months.max() > high and mains.max() > high:
        text += f". The mains water alone is {mains.max():.1f} degC in its warmest month"
    return text
