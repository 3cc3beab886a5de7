"""What makes the accounts of several scenarios unlike, so that their figures cannot stand side by side."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from hpwhsim.evaluation.against_baseline import SERVICE
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.writing import dump
from hpwhsim.simulation.year import ONE_SEED

Record = Mapping[str, Any]


class Case(NamedTuple):
    """A scenario that was answered."""

    name: str
    loaded: Loaded
    record: Record


class Ground(NamedTuple):
    """Something that must be the same in all cases."""

    what: str
    touches: str  # figures that it decides
    of: Callable[[Case], object]  # None: it has no such account
    says: Callable[[Case], str] | None = None  # how it reads; None: the files tell


def _block(*names: str) -> Callable[[Case], object]:
    """Keys of the scenario as they would be written."""

    def of(case: Case) -> object:
        found: Any = dump(case.loaded.scenario)
        for name in names:
            found = found.get(name) if isinstance(found, dict) else None
        return found

    return of


def _key(name: str) -> Callable[[Case], object]:
    return lambda case: case.record.get(name)


def _said(name: str) -> Callable[[Case], str]:
    return lambda case: str(case.record.get(name))


def _grid(case: Case) -> object:
    keys = ("grid", "grid_kind", "grid_kgco2e_per_kwh")
    found = [case.record.get(f"carbon.{key}") for key in keys]
    return None if found[0] is None else (found[0], found[1], round(float(found[2] or 0.0), 9))


def _grid_said(case: Case) -> str:
    return f"{case.record['carbon.grid']}, {case.record['carbon.grid_kgco2e_per_kwh']:.4g} kg/kWh"


GASES, MONEY, ALL = "kg CO2e", "USD", "every figure"
GROUNDS = (
    Ground("the weather is", ALL, _key("weather.sha256"), _said("weather.station")),
    Ground("the building is", ALL, _block("building")),
    Ground("the use of hot water is", ALL, _block("hot_water")),
    Ground("the set of warming potentials is", GASES, _key("carbon.gwp"), _said("carbon.gwp")),
    Ground("the grid is", GASES, _grid, _grid_said),
    Ground("the service life is", GASES, _key("carbon.service_years"), _said("carbon.service_years")),
    Ground(
        "the leak of gas upstream is",
        "upstream methane",
        _block("carbon", "upstream_leak"),
        lambda case: f"{_block('carbon', 'upstream_leak')(case)}",
    ),
    Ground("the tariff is", MONEY, _block("tariff")),
)
"""Grounds of a comparison; accounts that a case does not have are said apart."""


def unlike(cases: Sequence[Case]) -> list[str]:
    """A caution for everything in which the accounts of the cases are not alike.

    Parameters
    ----------
    cases : sequence of Case
        Scenarios with their annual records.
    """
    found = []
    for ground in GROUNDS:
        groups: list[tuple[object, list[Case]]] = []
        for case in cases:
            value = ground.of(case)
            if value is None:
                continue
            for other, members in groups:
                if other == value:
                    members.append(case)
                    break
            else:
                groups.append((value, [case]))
        if len(groups) > 1:
            parts = []
            for _, members in groups:
                names = ", ".join(case.name for case in members)
                parts.append(f"{names}: {ground.says(members[0])}" if ground.says else names)
            found.append(f"{ground.what} not the same, which touches {ground.touches} ({'; '.join(parts)})")
    for block, touches in (("carbon", GASES), ("tariff", MONEY)):
        without = [case.name for case in cases if getattr(case.loaded.scenario, block) is None]
        if 0 < len(without) < len(cases):
            found.append(f"no {touches} of {', '.join(without)}: there is no block {block}")
    found += _service(cases)
    rooms = [case.name for case in cases if "room_heating_penalty_kwh" in case.record]
    if 0 < len(rooms) < len(cases):
        found.append(
            f"the heat pump's room is counted for {', '.join(rooms)}: electricity, fuel, peak, COP plant and "
            "energy bill are without it; COP net, purchases, all CO2e and the bill with the room include it"
        )
    return found


def one_seed(cases: Sequence[Case]) -> list[str]:
    """A caution where the peaks of a case come from one year of random draws."""
    names = [
        case.name for case in cases if any(text.startswith(ONE_SEED) for text in case.record["cautions"])
    ]
    if not names:
        return []
    return [f"{ONE_SEED} gives peak and bill of {', '.join(names)}; --seeds N gives P10, median and P90"]


def _service(cases: Sequence[Case]) -> list[str]:
    """A caution where the useful heat is not the same."""
    heat = {
        case.name: case.record["heat_to_taps_kwh"] + case.record["recirculation_loss_kwh"] for case in cases
    }
    low, high = min(heat.values()), max(heat.values())
    if high <= 0.0 or high - low <= SERVICE * high:
        return []
    text = "; ".join(f"{name}: {kwh:,.0f} kWh" for name, kwh in heat.items())
    return [f"the useful heat is not the same, and energy, CO2e and bill are for unlike loads ({text})"]
