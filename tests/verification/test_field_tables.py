"""The tables of the field results: each input of each plant has its mark, its span and its source."""

from collections.abc import Iterator, Mapping

import pytest

from hpwhsim.scenario.reading import read_scenario
from hpwhsim.verification.field_plants import BASELINE, QUANTITIES, loaded_as
from hpwhsim.verification.field_tables import (
    HOUSE,
    PLANTS,
    WEATHER,
    Input,
    hypotheses,
    inputs,
    measured,
    not_compared,
)
from hpwhsim.verification.moved_weather import normals

pytestmark = pytest.mark.contract

MARKS = ("measured", "derived", "assumed")

NAMES = sorted(path.stem for path in PLANTS.glob("*.yaml"))
ALL = [one for its in inputs().values() for one in its]
NO_INPUTS = ("title", "site.weather")


def leaves(written: Mapping[str, object], at: str = "") -> Iterator[tuple[str, object]]:
    for key, value in written.items():
        if isinstance(value, Mapping):
            yield from leaves(value, f"{at}{key}.")
        else:
            yield f"{at}{key}", value


def compared(plant: str) -> dict[str, str]:
    """Keys of what a plant is compared with, where these are keys."""
    texts = [one.against for one in measured() if one.plant == plant and "=" in one.against]
    return dict(part.strip().split("=", 1) for text in texts for part in text.split(";"))


def named(one: Input) -> str:
    return f"{one.plant} {one.key}"


def test_every_plant_has_inputs_and_a_measured_result() -> None:
    assert NAMES
    assert sorted(inputs()) == NAMES
    assert {one.plant for one in measured()} == set(NAMES)


@pytest.mark.parametrize("plant", NAMES)
def test_every_key_has_one_row_with_the_value_of_the_scenario(plant: str) -> None:
    written = dict(leaves(read_scenario(PLANTS / f"{plant}.yaml").written))
    rows = [one for one in inputs()[plant] if not one.key.startswith((WEATHER, HOUSE))]
    own = {one.key: one.middle for one in rows if one.key in written}
    assert own == {key: str(value) for key, value in written.items() if key not in NO_INPUTS}
    others = {one.key: one.middle for one in rows if one.key not in written}
    assert others == {key: value for key, value in compared(plant).items() if key not in written}
    assert len({one.key for one in inputs()[plant]}) == len(inputs()[plant])


@pytest.mark.parametrize("one", ALL, ids=named)
def test_what_is_assumed_has_a_span_and_all_have_a_source(one: Input) -> None:
    assert one.mark in MARKS
    assert bool(one.low) == bool(one.high) == (one.mark == "assumed")
    assert one.middle
    assert not one.low or len({one.low, one.high}) == 2
    assert one.source
    assert "[" not in one.source, "an id that the table of sources has not"


@pytest.mark.parametrize("plant", NAMES)
def test_the_weather_is_that_of_a_place_with_normals(plant: str) -> None:
    places = [one for one in inputs()[plant] if one.key == "weather.place"]
    assert len(places) == 1
    assert {value for value in (places[0].low, places[0].middle, places[0].high) if value} <= set(normals())


@pytest.mark.parametrize("plant", NAMES)
def test_every_end_of_a_span_is_a_scenario(plant: str) -> None:
    """Both ends are read, and where the key belongs to what the plant is compared with, they reach that."""
    against = {one.against for one in measured() if one.plant == plant and "=" in one.against} or {""}
    for one in inputs()[plant]:
        if one.mark == "assumed" and not one.key.startswith((WEATHER, HOUSE)):
            for text in against if one.key in compared(plant) else {""}:
                if one.key in text or not text:
                    low, high = (
                        loaded_as(plant, ((one.key, end),), text).scenario for end in (one.low, one.high)
                    )
                    assert low != high, named(one)


def test_measured_results_lie_in_their_band_and_can_be_read() -> None:
    assert len({one.name for one in measured()}) == len(measured())
    for one in measured():
        assert one.name.startswith("field.")
        assert one.low <= one.expected <= one.high, one.name
        assert one.low < one.high, one.name
        assert one.quantity in QUANTITIES
        assert one.against in ("", BASELINE) or "=" in one.against
        assert one.tolerance
        assert "[" not in one.source


def test_what_is_not_compared_says_why() -> None:
    assert all(all(row) for row in not_compared())
    assert all(hypotheses().values())
