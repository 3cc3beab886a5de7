"""The recirculation block: sourced defaults within their bounds, and what does not go together."""

from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter, ValidationError

from hpwhsim.demand.loop_sections import Section
from hpwhsim.demand.recirculation import design
from hpwhsim.io.units import as_text
from hpwhsim.scenario.keys import block_of, extra_of, kind_of, walk
from hpwhsim.scenario.recirculation import LoopTank, Recirculation

pytestmark = pytest.mark.contract

RISERS = {"risers": 6, "floors": 8, "apartments_per_riser": 8.0, "main_length": "50 ft"}
TANK = {"volume": "120 gal", "setpoint": "140 degF", "power": "9 kW"}


def read(**keys: Any) -> Recirculation:
    return Recirculation.model_validate(keys)


def test_contract_keys_are_there() -> None:
    """Keys of the plan, section 4, and those of the loop's pipes, pump and tank."""
    paths = {path for path, _ in walk(Recirculation)}
    assert paths >= {
        "loss_per_apartment",
        "return_temperature",
        "return_height",
        "served_by",
        "sections",
        "risers",
        "supply_drop",
        "pump_power",
        "schedule",
        "aquastat",
        "crossover",
        "loop_tank.volume",
        "loop_tank.setpoint",
        "loop_tank.heat_loss",
        "loop_tank.heat_pump",
        "loop_tank.power",
    }


def test_every_key_is_described_and_every_default_is_sourced_and_within_its_bounds() -> None:
    for path, field in walk(Recirculation):
        assert field.description, path
        if field.is_required():
            continue
        assert extra_of(field)["source"], path
        if field.default is not None and block_of(field) is None:
            kind = kind_of(field)
            value = as_text(field.default, kind) if kind else field.default
            adapter = TypeAdapter(Annotated[field.annotation, path, *field.metadata])
            assert adapter.validate_python(value) == field.default, path


def test_the_defaults_are_those_of_the_loop() -> None:
    """The schema and demand/ may not import each other: their defaults are held together here."""
    loop = read(risers=RISERS)
    pipes = [Section("1 in", 200.0, 0.025, 20.0, "supply", ())]
    own = design(pipes, 60.0, 5.0)
    its = design(
        pipes,
        60.0,
        5.0,
        least_flow=loop.min_flow,
        conductivity=loop.conductivity,
        bare_share=loop.bare_share,
        fittings=loop.fittings,
        valve_drop=loop.valve_drop,
    )
    assert (its.loop, its.head) == (own.loop, own.head)
    few = [pipe._replace(length=1.0) for pipe in pipes]  # the least flow decides; five figures are written
    flows = [design(few, 60.0, 5.0, least_flow=flow).loop.flow for flow in (loop.min_flow, 0.5 * 6.30902e-5)]
    assert flows == pytest.approx([design(few, 60.0, 5.0).loop.flow] * 2, rel=1e-4)


def test_units_of_both_worlds() -> None:
    loop = read(
        risers=RISERS | {"main_size": "2 in", "riser_size": "35 mm", "main_insulation": "2 in"},
        supply_drop="9 delta_degF",
        crossover="5 gal/h",
        pump_power="85 W",
    )
    assert loop.risers is not None
    assert loop.risers.main_length == pytest.approx(15.24)
    assert loop.risers.main_insulation == pytest.approx(0.0508)
    assert loop.supply_drop == pytest.approx(5.0)
    assert loop.crossover == pytest.approx(5.0 * 3.785411784e-3 / 3600.0)


def test_minutes_of_running() -> None:
    assert len(read(loss_per_apartment="90 W").running_minutes()) == 1440
    night = read(loss_per_apartment="90 W", schedule=["22:30-05:00", "12:00-13:00"]).running_minutes()
    assert len(night) == 390 + 60
    assert {22 * 60 + 30, 0, 299, 720} <= night
    assert not {22 * 60 + 29, 300, 780} & night


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({}, ["got nothing", "recirculation.sections, or recirculation.risers"]),
        ({"loss_per_apartment": "90 W", "risers": RISERS}, ["nothing beside", "loss_per_apartment"]),
        ({"loss_per_apartment": "90 W", "bare_share": 0.2}, ["nothing beside"]),
        ({"risers": RISERS | {"main_size": "2.2 in"}}, ["2-1/2 in"]),
        ({"risers": RISERS, "pump_power": "80 W", "fittings": 2.0}, ["pump_power"]),
        ({"risers": RISERS, "supply_drop": "5 K", "return_temperature": "51 degC"}, ["supply_drop"]),
        ({"risers": RISERS, "aquastat_band": "3 K"}, ["aquastat"]),
        ({"risers": RISERS, "aquastat": "45 degC", "schedule": ["06:00-22:00"]}, ["aquastat"]),
        ({"risers": RISERS, "aquastat": "21 degC"}, ["above", "ambient_temperature", "22"]),
        ({"risers": RISERS, "served_by": "store", "loop_tank": TANK}, ["served_by store"]),
        ({"risers": RISERS | {"apartments_per_riser": "many"}}, ["number"]),
        ({"risers": RISERS, "loss_at": "50 degC"}, ["nothing without recirculation.loss_per_apartment"]),
        ({"risers": RISERS, "pump_head": "30 kPa"}, ["nothing without recirculation.loss_per_apartment"]),
        ({"loss_per_apartment": "90 W", "loss_at": "20 degC"}, ["greater than or equal to 25"]),
        (
            {"loss_per_apartment": "90 W", "loss_at": "30 degC", "ambient_temperature": "31 degC"},
            ["above recirculation.ambient_temperature"],
        ),
        ({"loss_per_apartment": "90 W", "pump_power": "80 W", "pump_head": "9 kPa"}, ["pump_power"]),
    ],
)
def test_what_does_not_go_together(keys: dict[str, Any], words: list[str]) -> None:
    with pytest.raises(ValidationError) as caught:
        read(**keys)
    for word in words:
        assert word in str(caught.value)


def test_a_loop_tank_has_one_heater() -> None:
    """A resistance of some power, or one multi-pass heat pump; not both and not neither."""
    machine = {
        "refrigerant": "R-134a",
        "condenser": "multi-pass",
        "capacity": "6 kW",
        "cop": 3.0,
        "rated_at": {"source": "7 degC", "water_in": "50 degC", "water_out": "55 degC"},
    }
    bare = {key: value for key, value in TANK.items() if key != "power"}
    assert LoopTank.model_validate(TANK).heat_pump is None
    assert LoopTank.model_validate(bare | {"heat_pump": machine}).power is None
    for wrong in (
        bare,
        TANK | {"heat_pump": machine},
        bare | {"heat_pump": machine | {"condenser": "single-pass"}},
    ):
        with pytest.raises(ValidationError, match=r"loop_tank\.heat_pump|multi"):
            LoopTank.model_validate(wrong)
