"""A cooled room: the air conditioner's coil, opened windows, and the sun against an independent zone."""

import importlib
import sys
from collections.abc import Iterator
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray
from room_cases import CHECK, DENSITY, HOUR, NO_DUCTS, build, independent, run, steady
from scipy.integrate import solve_ivp

from hpwhsim.climate import moist_air
from hpwhsim.constants import CP_AIR
from hpwhsim.errors import InputError
from hpwhsim.source.neighbours import effect, make_neighbours, neighbour_zone
from hpwhsim.source.offer import met
from hpwhsim.source.room import State, room_offer, room_step
from hpwhsim.source.room_setup import (
    SEA_LEVEL,
    Air,
    coil_surface,
    make_around,
    make_room,
)

pytestmark = pytest.mark.independent

Array = NDArray[np.float64]
COOLED = replace(CHECK, cool_to=26.0, gain=2000.0)


@pytest.fixture
def psychrolib() -> Iterator[ModuleType]:
    """A copy of psychrolib that works one number at a time: its compiled form takes seconds to build."""
    before = {name: sys.modules.pop(name) for name in ("psychrolib",) if name in sys.modules}
    numba = sys.modules.get("numba")
    sys.modules["numba"] = None  # an import of it now fails, which it provides for
    try:
        library = importlib.import_module("psychrolib")
    finally:
        if numba is not None:
            sys.modules["numba"] = numba
        else:
            del sys.modules["numba"]
    library.SetUnitSystem(library.SI)
    yield library
    sys.modules.pop("psychrolib", None)
    sys.modules.update(before)


# -- the coil ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("air", "wet_bulb"), [(26.7, 19.4), (24.0, 17.0), (26.0, 22.0)])
def test_split_of_the_cooling_coil(psychrolib: ModuleType, air: float, wet_bulb: float) -> None:
    """Psychrolib: air goes from where it is to saturated air at 13 °C, its condensate leaves at 13 °C.

    A step of a millisecond, so that the air's humidity is that of its start; 0.2 %: psychrolib keeps heat
    capacities of its own. At the usual rating point the sensible share is 0.75 (common practice, no source).
    """
    water = psychrolib.GetHumRatioFromTWetBulb(air, wet_bulb, SEA_LEVEL)
    wet = psychrolib.GetSatHumRatio(13.0, SEA_LEVEL)
    room, around = build(replace(COOLED, cool_to=air), outdoors=(35.0, 0.014))
    step = room_step(room, around, 0, State(30.0, water, 0.0), 1e-3, 0.0, 0.0, 0.0)
    water = max(water, wet)  # a dry coil's heat is all sensible
    whole = psychrolib.GetMoistAirEnthalpy(air, water) - psychrolib.GetMoistAirEnthalpy(13.0, wet)
    whole -= (water - wet) * 4186.0 * 13.0
    sensible = psychrolib.GetMoistAirEnthalpy(air, wet) - psychrolib.GetMoistAirEnthalpy(13.0, wet)
    share = step.cooling / (step.cooling + step.drying)
    assert share == pytest.approx(sensible / whole, rel=2e-3)
    if wet_bulb == 19.4:
        assert share == pytest.approx(0.75, abs=0.02)


@pytest.mark.law
def test_dry_air_has_no_latent_load() -> None:
    """Air whose dew point is below the coil's: the whole heat is sensible and no water goes."""
    room, around = build(COOLED, outdoors=(35.0, 0.004))
    step = steady(room, around)
    assert step.cooling > 1000.0
    assert step.drying == 0.0
    assert step.state.humidity == pytest.approx(0.004, rel=1e-9)


def test_drying_by_the_air_conditioner_against_an_ode_solver() -> None:
    """Solve_ivp on the humidity: what touches the coil leaves saturated at 13 °C. First order in the step."""
    zone = replace(COOLED, moisture=1e-4, buffering=10.0)
    room, around = build(zone, outdoors=(33.0, 0.016))
    wet = float(moist_air.humidity_ratio_at_saturation(13.0, SEA_LEVEL))
    cooling = room_step(room, around, 0, State(27.0, 0.012, 0.0), 1e-3, 0.0, 0.0, 0.0).cooling
    held = room._replace(capacity=1e15)  # the mass stays at 27 °C, so the sensible load is that one
    touching = cooling / ((CP_AIR + 1860.0 * wet) * 13.0)
    leak = 50.0 / CP_AIR

    def change(_: float, humidity: Array) -> list[float]:
        gained = 1e-4 + leak * (0.016 - humidity[0]) - touching * max(humidity[0] - wet, 0.0)
        return [gained / (250.0 * DENSITY * 10.0)]

    exact = solve_ivp(change, (0.0, 4 * HOUR), [0.012], rtol=1e-9, atol=1e-12).y[0][-1]
    error = {}
    for dt in (60.0, 300.0):
        found = run(held, around, State(27.0, 0.012, 0.0), int(4 * HOUR / dt), dt)[-1]
        error[dt] = found.state.humidity - exact
    assert abs(0.012 - exact) > 1e-4
    assert abs(error[60.0]) < 0.005 * abs(0.012 - exact)
    assert error[300.0] == pytest.approx(5.0 * error[60.0], rel=0.1)


@pytest.mark.law
def test_what_the_machine_drains_the_air_conditioner_need_not() -> None:
    """Steady and cooled: sensible is saved one to one; all water that comes in goes by one of two coils."""
    zone = replace(COOLED, moisture=2e-4)
    room, around = build(zone, outdoors=(33.0, 0.016))
    alone, beside = steady(room, around), steady(room, around, modules=1.0, heat=1500.0)
    per_kg = room.coil_per_kilogram
    assert alone.cooling - beside.cooling == pytest.approx(beside.sensible, abs=1e-6)
    drained = beside.condensate / (10.0 * HOUR)
    assert drained > 1e-4
    for step, coil in ((alone, 0.0), (beside, drained)):
        came = 2e-4 + 50.0 / CP_AIR * (0.016 - step.state.humidity)
        assert step.drying / per_kg + coil == pytest.approx(came, rel=1e-9)
    saved = alone.drying - beside.drying
    assert 0.5 * drained * per_kg < saved < drained * per_kg  # drier air lets more water in from outdoors


@pytest.mark.contract
def test_a_coil_warmer_than_the_air_is_refused() -> None:
    assert coil_surface(26.0) == 13.0
    with pytest.raises(InputError, match="cooling coil"):
        make_room(replace(COOLED, cool_to=18.0, coil_surface=18.0), NO_DUCTS)


# -- opened windows ----------------------------------------------------------------------------------


def test_windows_are_opened_before_the_air_conditioner_starts() -> None:
    """Outdoors 15 °C and dry: 3 air changes carry 3 x 250 m3/h x 1200 J/m3K x 11 K = 2.75 kW; no more.

    Humid or warm outdoors they stay shut; with a small room the air conditioner does the rest.
    """
    zone = replace(COOLED, airing=3.0)
    room, around = build(zone, outdoors=(15.0, 0.006))
    assert around.airing[0] == pytest.approx(3.0 * 250.0 / 3600.0 * 1200.0 * 11.0, rel=1e-12)
    step = steady(room, around)
    assert step.cooling == 0.0
    assert step.air == pytest.approx(26.0, abs=1e-9)
    shut_room, shut = build(replace(zone, airing=0.0), outdoors=(15.0, 0.006))
    assert step.aired == pytest.approx(steady(shut_room, shut).cooling, rel=1e-12)
    for outdoors in ((15.0, 0.0125), (25.0, 0.006)):
        assert build(zone, outdoors=outdoors)[1].airing[0] == 0.0
    much = replace(zone, gain=9000.0)
    room, around = build(much, outdoors=(15.0, 0.006))
    step = steady(room, around)
    assert step.aired == around.airing[0]
    assert step.cooling > 1000.0
    assert abs(step.heat_residual) < 1e-8
    assert abs(step.water_residual) < 1e-15
    uncooled, around = build(replace(much, cool_to=None), outdoors=(15.0, 0.006))
    assert steady(uncooled, around).air > 26.0


@pytest.mark.law
def test_what_the_machine_meets_with_windows_open() -> None:
    """The offer made before a step is the step's air: shut, part open, open and the air conditioner on."""
    regimes = set()
    for gain in (500.0, 2500.0, 9000.0):
        room, around = build(replace(COOLED, gain=gain, airing=3.0), outdoors=(15.0, 0.006))
        for mass in (20.0, 26.0, 29.0):
            state = State(mass, 0.009, 0.0)
            offer = room_offer(room, around, 0, state, 300.0, 1.0, 900.0, 40.0)
            step = room_step(room, around, 0, state, 300.0, 1.0, 900.0, 40.0)
            assert met(offer, 900.0) == pytest.approx(step.air, abs=1e-6)
            regimes.add((step.aired > 0.0, step.cooling > 0.0))
    assert regimes == {(False, False), (True, False), (True, True)}


# -- an independent zone -----------------------------------------------------------------------------


def weather() -> tuple[Array, Array]:
    """An invented year: outdoor air of -8 to 34 °C, and sun through the windows of one home. [°C], [W]"""
    hours = np.arange(8760)
    season = -np.cos(2.0 * np.pi * (hours - 360) / 8760.0)
    outdoors = 12.0 + 14.0 * season - 6.0 * np.cos(2.0 * np.pi * (hours - 3) / 24.0)
    day = np.maximum(np.sin(2.0 * np.pi * (hours - 6) / 24.0), 0.0)
    return outdoors, 900.0 * day * (1.0 + 0.5 * np.cos(2.0 * np.pi * hours / 113.0))


def test_neighbours_are_the_zone_of_the_standard() -> None:
    """Air, heating and cooling of a home's year, hour by hour, with sun: the independent zone's."""
    outdoors, sun = weather()
    zone = replace(neighbour_zone(75.0, heat_to=20.0, cool_to=26.0), airing=0.0)
    room, path = make_room(zone, NO_DUCTS), NO_DUCTS
    outside = Air(outdoors, 0.006)
    around = make_around(zone, path, outside, 10.0, outside, outside, sun)
    air, heating, cooling = independent(zone, outdoors, sun, np.zeros(8760))
    state = State(20.0, 0.006, 0.0)
    for i in range(-2000, 8760):
        step = room_step(room, around, i % 8760, state, HOUR, 0.0, 0.0, 0.0)
        state = step.state
        if i >= 0:
            assert step.air == pytest.approx(air[i], abs=1e-6)
            assert step.heating == pytest.approx(heating[i], abs=1e-3)
            assert step.cooling == pytest.approx(cooling[i], abs=1e-3)
    assert heating.sum() > 1e6
    assert cooling.sum() > 3e5


def test_what_a_plant_takes_from_a_home_against_the_standard() -> None:
    """A sink of 0 to 700 W: extra heating and saved cooling of the year by two years of the independent zone.

    Dry air, windows shut (outdoors too humid to open them), so that the sensible loads alone are compared:
    in a heated hour the sink is all made up, in a cooled one all saved, and while the home floats neither.
    """
    outdoors, sun = weather()
    hours = np.arange(8760)
    sink = 350.0 * (1.0 + np.sin(2.0 * np.pi * hours / 24.0))
    outside = Air(outdoors, np.full(8760, 0.0121))
    homes = make_neighbours(75.0, outside, sun / 75.0, SEA_LEVEL, heat_to=20.0, cool_to=26.0)
    found = effect(homes, sink, np.zeros(8760))
    zone = neighbour_zone(75.0, heat_to=20.0, cool_to=26.0)
    _, heating, cooling = independent(zone, outdoors, sun, np.zeros(8760))
    _, more, less = independent(zone, outdoors, sun, sink)
    assert found.heating.sum() == pytest.approx((more - heating).sum(), rel=1e-6)
    assert found.cooling.sum() == pytest.approx((cooling - less).sum(), rel=1e-6)
    assert 0.3 * sink.sum() < found.heating.sum() < 0.8 * sink.sum()
    assert 0.05 * sink.sum() < found.cooling.sum() < 0.5 * sink.sum()
    held = (homes.year[2] > 800.0) & (found.colder == 0.0)
    assert held.sum() > 1000
    settled = held & np.roll(held, 1) & np.roll(held, 2)
    assert found.heating[settled] == pytest.approx(sink[settled], rel=0.05)


@pytest.mark.law
def test_vapour_taken_from_a_home_is_drying_saved() -> None:
    """0.1 kg/h taken in a humid cooled summer: latent heat saved, at most that of the vapour."""
    outdoors, sun = weather()
    humid = np.where(outdoors > 18.0, 0.016, 0.004)
    homes = make_neighbours(75.0, Air(outdoors, humid), sun / 75.0, SEA_LEVEL, heat_to=20.0, cool_to=26.0)
    vapour = np.full(8760, 0.1 / 3600.0)
    found = effect(homes, np.zeros(8760), vapour)
    latent = found.drying.sum() / 1000.0
    assert 20.0 < latent < 0.1 * 8760 * 0.69  # kWh of 2.49 MJ/kg
    assert np.abs(found.drying[:1000]).max() < 1e-9
    assert np.abs(found.heating).max() < 1e-6
    assert np.all(homes.around.moisture == homes.around.moisture[0])
    dry = effect(homes, np.zeros(8760), np.full(8760, 1.0))  # more than there is: all of it and no more
    assert np.isfinite(dry.drying).all()
    assert np.abs(dry.heating).max() < 1e-6
