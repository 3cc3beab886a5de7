"""Water has one heat capacity by volume wherever it is counted, that of another library at 50 °C."""

import pytest
from CoolProp.CoolProp import PropsSI

from hpwhsim.demand import loop_pipes
from hpwhsim.source import wastewater
from hpwhsim.storage import layers

pytestmark = pytest.mark.independent


@pytest.mark.parametrize("module", [layers, wastewater, loop_pipes], ids=lambda module: module.__name__)
def test_heat_capacity_by_volume_is_that_of_water_at_50(module: object) -> None:
    """IAPWS-95 by CoolProp, one atmosphere, 50 °C. Water at 20 °C holds 1.1 % more, at 60 °C 0.4 % less.

    3e-5: the six and five digits that are written.
    """
    state = "T", 323.15, "P", 101325.0, "Water"
    water = float(PropsSI("D", *state)) * float(PropsSI("C", *state))
    assert vars(module)["RHO_CP"] == pytest.approx(water, rel=3e-5)
