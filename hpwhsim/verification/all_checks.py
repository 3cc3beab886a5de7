"""Every check, by the package that it tests, in the order of the layers."""

import math
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from typing import Protocol

from hpwhsim.errors import InputError
from hpwhsim.verification import (
    account,
    climate,
    demand,
    federal_test,
    field_bands,
    field_plants,
    ground,
    heat_pump,
    heaters,
    lines_and_frost,
    plant,
    room,
    sewage,
    sizing,
    storage,
    units_and_tables,
    window_sun,
)
from hpwhsim.verification.check import Check
from hpwhsim.verification.field_tables import hypotheses
from hpwhsim.verification.shared_tables import rows


class Subject(Protocol):
    """A function that yields checks."""

    __name__: str

    def __call__(self) -> Iterable[Check]:
        """The checks."""


SUBJECTS: dict[str, tuple[Subject, ...]] = {
    "climate": (
        climate.moist_air_checks,
        climate.mains_checks,
        climate.ground_checks,
        climate.weather_file_checks,
        window_sun.window_sun_checks,
    ),
    "tables": (units_and_tables.table_checks,),
    "io": (units_and_tables.unit_checks,),
    "pipe_friction": (lines_and_frost.friction_checks,),
    "demand": (demand.pattern_checks, demand.peak_checks, demand.pipe_checks),
    "heatpump": (
        heat_pump.grid_checks,
        heat_pump.gas_cooler_checks,
        heat_pump.textbook_checks,
        heat_pump.market_checks,
        lines_and_frost.suction_checks,
        lines_and_frost.frost_checks,
        lines_and_frost.refrigerant_checks,
    ),
    "source": (
        ground.response_checks,
        ground.sizing_checks,
        ground.resistance_checks,
        ground.fluid_checks,
        ground.loop_checks,
        room.zone_checks,
        room.coil_checks,
        sewage.mixing_checks,
        sewage.exchanger_checks,
    ),
    "storage": (
        storage.front_checks,
        storage.mixed_layer_checks,
        storage.standing_checks,
        storage.order_checks,
        heaters.heater_checks,
    ),
    "account": (
        account.bill_checks,
        account.life_cycle_checks,
        account.carbon_checks,
        account.energy_factor_checks,
        account.building_checks,
    ),
    "plant": (plant.machine_checks, plant.heater_checks),
    "sizing": (sizing.mass_curve_checks,),
    "federal_test": (federal_test.draw_checks, federal_test.factor_checks),
    "field": (field_plants.checks, field_bands.checks),  # the whole engine beside plants that were measured
}
"""Functions that yield checks, by the package tested; a new subject is a module, and its functions here."""


def packages(wanted: Sequence[str] = ()) -> list[str]:
    """Packages that checks test, those `wanted` or all, in their order.

    Raises
    ------
    InputError
        If no check tests a package that is wanted.
    """
    for name in wanted:
        if name not in SUBJECTS:
            raise InputError(f"verify: package {name!r}: allowed {', '.join(SUBJECTS)}")
    return [name for name in SUBJECTS if not wanted or name in wanted]


def of_package(name: str) -> Iterator[Check]:
    """The checks of one package, as they are computed; a subject that cannot be computed is one miss."""
    for subject in SUBJECTS[name]:
        try:
            yield from subject()
        except ModuleNotFoundError as missing:
            yield _not_run(name, subject, f"not run: needs {missing.name}")
        except InputError as refusal:
            yield _not_run(name, subject, f"not run: {refusal}")


def _not_run(package: str, subject: Subject, why: str) -> Check:
    """What stands for the checks of a subject from the one on that could not be computed."""
    nan = math.nan
    name = f"{package}.{subject.__name__}"
    return Check(name, package, "analytic", why, "", nan, nan, nan, "none", nan, None, "none")


@cache
def known_misses() -> dict[str, str]:
    """Checks that are known to miss, with the reason."""
    return {row["name"]: row["reason"] for row in rows("known_misses")} | hypotheses()
