"""Moist air against psychrolib, against a printed table and against its own laws."""

import importlib
import sys
from collections.abc import Iterator
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hpwhsim.climate import moist_air
from hpwhsim.errors import OutOfRangeError

pytestmark = pytest.mark.published


@pytest.fixture(scope="module")
def psychrolib() -> Iterator[ModuleType]:
    """A copy of psychrolib that works one number at a time: its compiled form takes seconds to build."""
    before = {name: sys.modules.pop(name) for name in ("psychrolib",) if name in sys.modules}
    compiler = sys.modules.get("numba")
    sys.modules["numba"] = None  # an import of it now fails, which psychrolib provides for
    try:
        library = importlib.import_module("psychrolib")
    finally:
        if compiler is None:
            del sys.modules["numba"]
        else:
            sys.modules["numba"] = compiler
    library.SetUnitSystem(library.SI)
    yield library
    sys.modules.pop("psychrolib", None)
    sys.modules.update(before)


def states() -> list[tuple[float, float, float]]:
    """Dry bulb, humidity ratio and pressure: cold and hot, dry and wet, at the sea and on a mountain."""
    return [
        (dry, float(moist_air.humidity_ratio_from_relative(dry, share, pressure)), pressure)
        for dry in (-45.0, -20.0, -5.0, -0.3, 0.0, 0.005, 0.4, 5.0, 12.0, 25.0, 38.0, 48.0)
        for share in (0.02, 0.3, 0.77, 1.0)
        for pressure in (70_000.0, 101_325.0, 104_000.0)
    ]


@pytest.mark.independent
def test_psychrolib_agrees(psychrolib: ModuleType) -> None:
    """psychrolib, one number at a time; same equations, so 1e-12 of the value."""
    for dry, w, pressure in states():
        dew = psychrolib.GetTDewPointFromHumRatio(dry, w, pressure)
        ours = float(moist_air.humidity_ratio(dew, pressure))
        if dew > moist_air.TRIPLE_POINT_C:  # below, psychrolib means the frost point
            assert ours == pytest.approx(psychrolib.GetHumRatioFromTDewPoint(dew, pressure), rel=1e-12)
        assert float(moist_air.relative_humidity(dry, w, pressure)) == pytest.approx(
            psychrolib.GetRelHumFromHumRatio(dry, w, pressure), rel=1e-12
        )
        assert float(moist_air.saturation_pressure(dry)) == pytest.approx(
            psychrolib.GetSatVapPres(dry), rel=1e-12
        )


def test_triple_point() -> None:
    """611.657 Pa at 0.01 °C (IAPWS), reached from the ice side and from the water side within 0.02 %."""
    for near in (0.01, 0.0100001):
        assert float(moist_air.saturation_pressure(near)) == pytest.approx(611.657, rel=2e-4)


@pytest.mark.contract
def test_arrays_keep_their_shape_and_broadcast() -> None:
    dry = np.linspace(-20.0, 40.0, 8760)
    w = moist_air.humidity_ratio(dry - 3.0, 99_000.0)
    assert w.shape == (8760,)
    assert moist_air.relative_humidity(dry[:, None], w[None, :3], 99_000.0).shape == (8760, 3)


@pytest.mark.law
@given(
    dry=st.floats(-40.0, 45.0),
    share=st.floats(0.01, 1.0),
    pressure=st.floats(60_000.0, 108_000.0),
)
def test_laws(dry: float, share: float, pressure: float) -> None:
    """Humidity there and back."""
    w = moist_air.humidity_ratio_from_relative(dry, share, pressure)
    assert float(moist_air.relative_humidity(dry, w, pressure)) == pytest.approx(share, rel=1e-12)


@pytest.mark.contract
@pytest.mark.parametrize("bad", [np.nan, -120.0, 300.0])
def test_outside_the_fits_is_an_error(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match=r"allowed -100 to 200"):
        moist_air.saturation_pressure([10.0, bad])


@pytest.mark.contract
def test_wrong_pressure_and_humidity_are_errors() -> None:
    with pytest.raises(OutOfRangeError, match="air pressure"):
        moist_air.humidity_ratio(10.0, 1013.0 / 10.0)
    with pytest.raises(OutOfRangeError, match="relative humidity"):
        moist_air.humidity_ratio_from_relative(20.0, 50.0, 101_325.0)
    with pytest.raises(OutOfRangeError, match="vapour pressure"):
        moist_air.humidity_ratio(110.0, 101_325.0)


def test_a_dew_point_below_freezing_is_over_water() -> None:
    """As stations report it. WMO-No. 8, annex 4.B, -45 to 60 °C: 6.112 hPa exp(17.62 t / (243.12 + t)).

    1 %: the formula is within 0.6 % of the standard's. Over ice it is 9 % less at -10 °C, 25 % at -30 °C.
    """
    for dew in (-30.0, -20.0, -10.0, -1.0):
        vapour = 611.2 * np.exp(17.62 * dew / (243.12 + dew))
        expected = 0.621945 * vapour / (101_325.0 - vapour)
        assert float(moist_air.humidity_ratio(dew, 101_325.0)) == pytest.approx(expected, rel=0.01)
