"""Years marched at once, each in a thread, against the same years marched one after another."""

from pathlib import Path

import numpy as np
import pytest
from cases import CHICAGO, ROOT, central_air

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.errors import InputError
from hpwhsim.plant.assemble import Assembly, assemble
from hpwhsim.scenario.reading import Loaded, read_scenario, scenario_from
from hpwhsim.simulation.year import Year, run_year, run_years
from hpwhsim.simulation.years import march_each, march_years

pytestmark = pytest.mark.contract


def worked(name: str, *overrides: str) -> Loaded:
    return read_scenario(ROOT / "scenarios" / f"{name}.yaml", overrides)


def set_up(loaded: Loaded) -> tuple[Assembly, int]:
    scenario = loaded.scenario
    return assemble(scenario, read_weather(scenario.site.weather)), scenario.run.years


@pytest.mark.slow
@pytest.mark.independent
@pytest.mark.year
@pytest.mark.usefixtures("anew")
def test_marched_at_once_as_one_after_another() -> None:
    """Bit for bit: every array of every hour, for air, room and ground, the same plant twice among them.

    The reference is the march in the calling thread of plants set up anew. Equality without tolerance: each
    year is the same sequence of operations on arrays of its own, whatever runs beside it.
    """
    loaded = [
        worked("central-air"),
        worked("packaged"),
        worked("central-air", "plant.storage.volume=700 gal"),
        worked("ground", "run.years=4"),
        worked("central-air"),
    ]
    together = march_each([set_up(one) for one in loaded])
    for one, found in zip(loaded, together, strict=True):
        alone = march_years(*set_up(one))
        for name in found.last._fields:
            ours, theirs = getattr(found.last, name), getattr(alone.last, name)
            assert np.array_equal(ours, theirs, equal_nan=True), (one.path.stem, name)
        assert np.array_equal(found.start, alone.start)
        assert found.yearly == alone.yearly
    assert together[0].last.heat_pump_energy.sum() != together[2].last.heat_pump_energy.sum()


@pytest.mark.year
@pytest.mark.usefixtures("anew")
def test_an_error_stays_with_its_case(tmp_path: Path) -> None:
    """Of three plants the second has no weather: the others have their years, it the error of `run_year`."""
    raw = central_air(tmp_path)
    good = Loaded(scenario_from(raw, tmp_path), tmp_path / "good.yaml", "0" * 64, ())
    site = good.scenario.site.model_copy(update={"weather": tmp_path / "none.epw"})
    bad = good._replace(scenario=good.scenario.model_copy(update={"site": site}))
    first, error, last = run_years([good, bad, good])
    assert isinstance(first, Year)
    assert isinstance(last, Year)
    assert first.record == last.record == run_year(good).record
    with pytest.raises(InputError) as raised:
        run_year(bad)
    assert str(error) == str(raised.value)
    assert "none.epw" in str(error)
    assert good.scenario.site.weather == CHICAGO
