"""The tests' own store of years: what it gives is what the march gave, to the same input alone."""

from pathlib import Path

import numpy as np
import pytest
from cases import ROOT
from years_once import MARCH, kept

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.last_digits import digest
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import read_scenario
from hpwhsim.simulation.years import Marched

pytestmark = [pytest.mark.contract, pytest.mark.year]
FIVE = "run.years=5"  # what the field has room to remember


def set_up(*overrides: str) -> Assembly:
    scenario = read_scenario(ROOT / "scenarios" / "ground.yaml", overrides).scenario
    return assemble(scenario, read_weather(scenario.site.weather))


@pytest.mark.slow
def test_the_second_year_is_the_first_and_leaves_the_ground_as_it_did(tmp_path: Path) -> None:
    """Bit for bit, years and state, of a bore field that remembers; a state of its own is another year."""
    marched: list[int] = []

    def counted(assembly: Assembly, count: int) -> Marched:
        marched.append(count)
        return MARCH(assembly, count)

    once = kept(counted, tmp_path)
    one, two = set_up(FIVE), set_up(FIVE)
    first, second = once(one, 2), once(two, 2)
    assert marched == [2]
    assert digest((second, two.state)) == digest((first, one.state))
    assert not np.array_equal(two.state.drop, set_up(FIVE).state.drop)
    once(set_up(FIVE), 1)
    once(set_up(FIVE, "plant.storage.volume=700 gal"), 2)
    once(set_up(FIVE)._replace(state=one.state), 2)  # its own digest is that of the set-up
    assert marched == [2, 1, 2, 2]
