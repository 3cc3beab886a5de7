"""The schema: frozen, strict, described, sourced, and holding the contract of the scenario file."""

from typing import Annotated

import pytest
from pydantic import TypeAdapter, ValidationError

from hpwhsim.io.units import as_text
from hpwhsim.scenario import families
from hpwhsim.scenario.controls import Controls
from hpwhsim.scenario.keys import block_of, extra_of, key_paths, kind_of, walk
from hpwhsim.scenario.parts import Block, Window
from hpwhsim.scenario.plant import Storage
from hpwhsim.scenario.schema import STEPS_PER_HOUR, Scenario

pytestmark = pytest.mark.contract

# The key paths of the scenario contract that this version supports (design, section 4).
CONTRACT = (
    "title",
    "site.weather",
    "building.apartments",
    "building.people_per_apartment",
    "hot_water.daily_use_per_apartment",
    "hot_water.use_temperature",
    "hot_water.min_temperature",
    "hot_water.pattern",
    "hot_water.draws",
    "hot_water.seed",
    "hot_water.metered",
    "recirculation.loss_per_apartment",
    "recirculation.return_temperature",
    "recirculation.served_by",
    "plant.family",
    "plant.heat_pump.refrigerant",
    "plant.heat_pump.modules",
    "plant.heat_pump.capacity",
    "plant.heat_pump.cop",
    "plant.heat_pump.rated_at.source",
    "plant.heat_pump.rated_at.water_in",
    "plant.heat_pump.rated_at.water_out",
    "plant.heat_pump.condenser",
    "plant.heat_pump.outlet_temperature",
    "plant.heat_pump.min_source",
    "plant.heat_pump.table",
    "plant.source.kind",
    "plant.storage.volume",
    "plant.storage.tanks",
    "plant.storage.setpoint",
    "plant.storage.heat_loss",
    "plant.backup.kind",
    "plant.backup.power",
    "plant.backup.mode",
    "plant.controls.charge_windows",
    "plant.controls.lock_outs",
    "plant.controls.dead_band",
    "plant.controls.stage_delay",
    "run.steps_per_hour",
    "run.years",
)


def test_contract_key_paths_exist() -> None:
    assert set(CONTRACT) <= set(key_paths())


def test_the_contract_names_these_families() -> None:
    """The plan's families, and the two baselines of other fuels; every one can be run."""
    assert tuple(families.FAMILIES) == (
        "packaged",
        "split",
        "banked-split",
        "central-air",
        "ground",
        "wastewater",
        "resistance",
        "gas-tank",
        "gas-boiler",
        "oil-boiler",
        "district-steam",
    )
    for family in families.FAMILIES.values():
        assert set(family.source_kinds) <= set(families.SOURCE_KINDS)


@pytest.mark.parametrize(("path", "field"), list(walk()), ids=[path for path, _ in walk()])
def test_every_key_is_described_and_every_default_has_a_source(path: str, field: object) -> None:
    fields = dict(walk())
    assert fields[path].description
    if not fields[path].is_required():
        assert extra_of(fields[path])["source"]


def test_every_default_is_within_its_own_bounds() -> None:
    """Each default fed back as a value must be accepted; pydantic does not check defaults by itself."""
    checked = 0
    for path, field in walk():
        if not field.is_required() and field.default is not None and block_of(field) is None:
            kind = kind_of(field)
            value = as_text(field.default, kind) if kind else field.default
            adapter = TypeAdapter(Annotated[field.annotation, path, *field.metadata])
            assert adapter.validate_python(value) == field.default
            checked += 1
    assert checked > 25


def test_blocks_are_frozen_and_forbid_strangers() -> None:
    controls, name = Controls(), "dead_band"
    with pytest.raises(ValidationError, match="frozen"):
        setattr(controls, name, 3.0)
    with pytest.raises(ValidationError, match="extra_forbidden"):
        Controls.model_validate({"deadband": "3 K"})
    below = [block_of(field) for _, field in walk()]
    for block in [Scenario, *filter(None, below)]:
        assert block.model_config["frozen"]
        assert block.model_config["extra"] == "forbid"
        assert block.model_config["allow_inf_nan"] is False


def test_steps_per_hour_are_whole_seconds_and_whole_quarters() -> None:
    """Fifteen-minute peaks need whole quarters: a step must be a divisor of 900 s in whole seconds."""
    by_divisors = sorted(3600 // step for step in range(10, 901) if 900 % step == 0)
    assert list(STEPS_PER_HOUR) == [n for n in by_divisors if n <= 360]


@pytest.mark.parametrize(
    ("text", "start", "end", "minutes"),
    [
        ("22:00-06:00", 1320, 360, 480),
        ("00:00-24:00", 0, 1440, 1440),
        ("6:30 - 9:15", 390, 555, 165),
        ("23:59-00:00", 1439, 0, 1),
    ],
)
def test_windows(text: str, start: int, end: int, minutes: int) -> None:
    (window,) = Controls.model_validate({"charge_windows": [text]}).charge_windows
    assert window == Window(start, end)
    assert len(window.minutes()) == minutes
    assert Controls.model_validate({"charge_windows": [str(window)]}).charge_windows == (window,)


def test_charge_minutes_are_the_windows_less_the_lock_outs() -> None:
    assert len(Controls().charge_minutes()) == 1440
    controls = Controls.model_validate({"charge_windows": ["22:00-06:00"], "lock_outs": ["23:00-01:00"]})
    allowed = controls.charge_minutes()
    assert len(allowed) == 8 * 60 - 2 * 60
    assert {22 * 60, 22 * 60 + 59, 60, 359} <= allowed
    assert not {23 * 60, 0, 59, 360, 12 * 60} & allowed


def test_a_number_without_unit_is_refused_in_the_model_itself() -> None:
    with pytest.raises(ValidationError, match="write the unit too"):
        Storage.model_validate({"volume": 3.0, "setpoint": "60 degC"})


def test_given_tells_what_was_written() -> None:
    storage: Block = Storage.model_validate({"volume": "3 m3", "setpoint": "60 degC", "tanks": 1})
    assert storage.given("tanks")
    assert not storage.given("height")
