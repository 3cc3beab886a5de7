"""The march as the rest of the package calls it."""

import pytest
from cases import ROOT

from hpwhsim.climate.typical_year import read_weather
from hpwhsim.plant.assemble import assemble
from hpwhsim.plant.march import OF_HOURS, march
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.contract


def test_a_drive_whose_arrays_differ_in_length_is_refused() -> None:
    """Compiled code looks at no length: it would go on with whatever lies in memory behind the array."""
    loaded = read_scenario(ROOT / "scenarios" / "central-air.yaml")
    assembly = assemble(loaded.scenario, read_weather(loaded.scenario.site.weather))
    for name in (*OF_HOURS, "use"):
        drive = assembly.drive._replace(**{name: getattr(assembly.drive, name)[:-1]})
        with pytest.raises(ValueError, match=name):
            march(assembly.plant, drive, assembly.state, assembly.start.copy())
