"""The sequence of a source that has equipment of its own: ground loop, wastewater, the heat pump's room."""

from collections.abc import Iterator

from hpwhsim.operation.facts import Facts
from hpwhsim.operation.sentences import Sentence

GROUND, SEWAGE, ROOM = "plant.source.ground_loop", "plant.source.wastewater", "plant.source.room"
HEATING = {"resistance": "resistance", "gas": "gas", "heat-pump": "a heat pump"}


def ground(facts: Facts) -> Iterator[Sentence]:
    """Pump and fluid of a ground loop."""
    block, said = facts.scenario.plant.source.ground_loop, facts.said
    if block is None:
        return
    keys = (f"{GROUND}.flow", f"{GROUND}.min_flow_fraction")
    yield Sentence(
        keys,
        f"The ground loop pump runs while a module runs: at {said(keys[0])} with all modules, with fewer "
        f"in proportion, and at no less than {said(keys[1])} of that flow.",
    )
    keys = (f"{GROUND}.fluid", f"{GROUND}.fluid_share")
    share = f", {said(keys[1])} of its mass antifreeze" if block.fluid != "water" else ""
    fluid = said(keys[0]).replace("-", " ")
    yield Sentence(keys if share else keys[:1], f"The fluid of the ground loop is {fluid}{share}.")
    if block.rejection is not None:
        keys = (f"{GROUND}.rejection", f"{GROUND}.rejection_circuit")
        way = "their water is the loop's own fluid, warmed before the heat pump meets it"
        if block.rejection_circuit == "own":
            way = "a circuit of their own warms the ground"
        yield Sentence(
            keys, f"Chillers reject heat into the loop by {said(keys[0])} (circuit: {said(keys[1])}): {way}."
        )


def wastewater(facts: Facts) -> Iterator[Sentence]:
    """Sewage, its exchanger and pumps."""
    if facts.scenario.plant.source_kind != "wastewater":
        return
    path, said = SEWAGE, facts.said
    keys = (f"{path}.flow", f"{path}.clean_loop")
    loop = "a loop of clean water carries its heat to the heat pump"
    if not facts.value(keys[1]):
        loop = "it runs to the evaporator itself"
    yield Sentence(
        keys,
        f"Sewage passes the exchanger at {said(keys[0])} with all modules running and in proportion with "
        f"fewer; {loop} (clean loop: {said(keys[1])}).",
    )
    key = f"{path}.min_temperature"
    yield Sentence(
        (key,),
        f"It is cooled to no less than {said(key)}: modules stop, or run part of the time, where the flow "
        "that came does not carry more.",
    )
    key = f"{path}.cleaning_interval"
    yield Sentence((key,), f"The exchanger is cleaned every {said(key)} months, the first time on 1 January.")


def room(facts: Facts) -> Iterator[Sentence]:
    """The room of the heat pump: its air, ducts, heating, cooling and drying."""
    block, said = facts.scenario.plant.source.room, facts.said
    if block is None:
        return
    keys = tuple(f"{ROOM}.{name}" for name in ("airflow", "intake", "exhaust"))
    yield Sentence(
        keys,
        f"The fan of a running module moves {said(keys[0])}, from {said(keys[1])} to {said(keys[2])}.",
    )
    if block.intake == "room" and block.exhaust != "room":
        key = f"{ROOM}.make_up"
        yield Sentence((key,), f"Air from {said(key)} replaces what it takes out of the room.")
    if block.heated_by != "none":
        keys = (f"{ROOM}.heating", f"{ROOM}.heating_setpoint")
        yield Sentence(
            keys,
            f"The room is heated to {said(keys[1])} by {HEATING[block.heated_by]} (heating: "
            f"{said(keys[0])}).",
        )
    if block.cooled_by != "none":
        keys = (f"{ROOM}.cooling", f"{ROOM}.cooling_setpoint")
        yield Sentence(keys, f"The room is cooled to {said(keys[1])} (cooling: {said(keys[0])}).")
    if block.dehumidifier_setpoint is not None:
        key = f"{ROOM}.dehumidifier_setpoint"
        yield Sentence((key,), f"A dehumidifier holds the room at a relative humidity of {said(key)}.")
