"""The water in a room: an ODE solver, closed forms, the dehumidifier; and balances that close in any room."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from room_cases import CHECK, DENSITY, HOUR, build, conductance, run, steady
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from hpwhsim.climate import moist_air
from hpwhsim.constants import CP_AIR
from hpwhsim.source.coil import CP_WATER
from hpwhsim.source.offer import met
from hpwhsim.source.room import Around, Room, State, room_offer, room_step
from hpwhsim.source.room_setup import (
    MASS_CLASSES,
    SEA_LEVEL,
    Air,
    AirPath,
    Place,
    Zone,
    make_around,
    make_room,
)

pytestmark = pytest.mark.independent


def enthalpy(dry_bulb_c: float, water: float) -> float:
    """Of moist air per kg of dry air: ASHRAE Fundamentals 2017, chapter 1, equation 30. [J/kg]"""
    return (1.006 * dry_bulb_c + water * (2501.0 + 1.86 * dry_bulb_c)) * 1000.0


Array = NDArray[np.float64]


def test_drying_of_a_room_against_an_ode_solver() -> None:
    """Solve_ivp of scipy on the humidity of a room held at 20 °C, its coil solved by Brent on moist_air.

    Volume 120 m³ unbuffered, 0.3 air changes, a source, 1500 W at the coil for two hours. An implicit step
    errs in proportion to its length: five times more at 300 s than at 60 s, second order aside (a tenth), and
    what two lengths extrapolate to errs with the square, 1 / 20 of that: 0.05 % of the fall, where 60 s
    alone is 0.5 % off.
    """
    zone = Zone(
        50.0, 120.0, "medium", outdoors=20.0, air_changes=0.3, moisture=5e-5, heat_to=20.0, cool_to=20.0
    )
    room, around = build(zone, outdoors=(5.0, 0.004))
    flow, mass = 0.12 * DENSITY, 120.0 * DENSITY
    leak = 0.3 * 120.0 / HOUR * DENSITY

    def condensate(water: float) -> float:
        """kg/s, from the enthalpies of moist air over a saturated surface."""
        contact = 0.8 * flow

        def missing(surface: float) -> float:
            left = min(float(moist_air.humidity_ratio_at_saturation(surface, SEA_LEVEL)), water)
            drained = (water - left) * CP_WATER * max(surface, 0.0)
            given = enthalpy(20.0, water) - enthalpy(surface, left) - drained
            return contact * given - 1500.0

        surface = brentq(missing, -60.0, 20.0, xtol=1e-10)
        return contact * max(water - float(moist_air.humidity_ratio_at_saturation(surface, SEA_LEVEL)), 0.0)

    def change(_: float, humidity: Array) -> list[float]:
        water = float(humidity[0])
        return [(5e-5 + leak * (0.004 - water) - condensate(water)) / mass]

    exact = solve_ivp(change, (0.0, 7200.0), [0.010], rtol=1e-8, atol=1e-12, t_eval=[1200.0, 3600.0, 7200.0])
    fall = 0.010 - exact.y[0][-1]
    assert fall > 0.002
    short, long = (
        run(room, around, State(20.0, 0.010, 0.0), int(7200.0 / dt), dt, modules=1.0, heat=1500.0)
        for dt in (60.0, 300.0)
    )
    for time, humidity in zip(exact.t, exact.y[0], strict=True):
        one, five = short[int(time / 60.0) - 1], long[int(time / 300.0) - 1]
        assert one.air == pytest.approx(20.0, abs=1e-12)
        error, longer = one.state.humidity - humidity, five.state.humidity - humidity
        assert abs(error) < 0.005 * fall
        assert longer == pytest.approx(5.0 * error, rel=0.1)
        assert abs(5.0 * error - longer) / 4.0 < 5e-4 * fall


def test_humidity_without_coil_is_the_implicit_closed_form() -> None:
    """A mixed volume: each implicit step divides the distance to the steady value by 1 + air changes x dt."""
    zone = Zone(50.0, 120.0, "medium", outdoors=20.0, air_changes=0.5, moisture=2e-5, buffering=4.0)
    room, around = build(zone, outdoors=(18.0, 0.005))
    flow = 0.5 * 120.0 / HOUR * DENSITY
    end = 0.005 + 2e-5 / flow
    found = run(room, around, State(18.0, 0.010, 0.0), 12, 300.0)
    for i, step in enumerate(found):
        left = (0.010 - end) / (1.0 + 0.5 / 4.0 * 300.0 / HOUR) ** (i + 1)
        assert step.state.humidity == pytest.approx(end + left, rel=1e-12)


@pytest.mark.law
def test_room_dries_until_its_supply_bounds_the_condensate() -> None:
    """Steady state: what the coil drains is what comes in, less what the air carries out.

    With no exchange of air the condensate is the internal source, whatever the coil's heat; a Kentucky
    cellar's 0.7 L/day on average (Murphy 2016, second-hand) is the order of such a source.
    """
    source = 0.7 / 86400.0
    zone = Zone(50.0, 120.0, "heavy", ground=60.0, moisture=source)
    room, around = build(zone, ground=25.0)
    for heat in (300.0, 400.0):
        found = steady(room, around, modules=1.0, heat=heat)
        assert found.condensate / (10.0 * HOUR) == pytest.approx(source, rel=1e-9)


def test_air_that_saturates_drops_its_water() -> None:
    """A wet, cold room: the humidity stays at saturation (moist_air), the rest is booked, and warms the air.

    1e-9 kg/kg above saturation may stay. Steady: water dropped is the source less what infiltration takes.
    """
    zone = replace(CHECK, moisture=1e-3, outdoors=100.0)
    room, around = build(zone, outdoors=(2.0, 0.004))
    found = steady(room, around)
    saturated = float(moist_air.humidity_ratio_at_saturation(found.air, SEA_LEVEL))
    assert found.state.humidity == pytest.approx(saturated, abs=1.1e-9)
    dropped = 1e-3 + 50.0 / CP_AIR * (0.004 - found.state.humidity)
    assert found.dried / (10.0 * HOUR) == pytest.approx(dropped, rel=1e-9)
    warmed = 2.0 + dropped * (2501e3 - 2326.0 * 20.0) / conductance(zone, 50.0)
    assert found.air == pytest.approx(warmed, abs=1e-6)
    assert found.dehumidifier == 0.0


def test_dehumidifier_holds_its_setpoint_and_the_machine_relieves_it() -> None:
    """50 % held with 2 L/kWh: electricity by hand; it and the heat of condensation warm the room.

    With the machine drying the air of the same room the dehumidifier saves what the coil drains, while there
    is still something left to dry; and all it used, once the coil alone keeps the room below its setpoint.
    The search for the water to dry stops at 1e-9 of 0.007 kg/kg: 1e-6 of the electricity.
    """
    zone = replace(CHECK, moisture=1.5e-4, dry_to=0.5, drying_efficiency=2.0, heat_to=20.0)
    room, around = build(zone, outdoors=(10.0, 0.0072))
    alone = steady(room, around)
    held = float(moist_air.humidity_ratio_from_relative(20.0, 0.5, SEA_LEVEL))
    assert alone.air == pytest.approx(20.0, abs=1e-9)
    assert alone.state.humidity == pytest.approx(held, abs=1.1e-9)
    water = 1.5e-4 + 50.0 / CP_AIR * (0.0072 - held)
    assert alone.dehumidifier == pytest.approx(water / 2.0 * 3.6e6, rel=1e-6)
    undried_room, undried = build(replace(zone, dry_to=None), outdoors=(10.0, 0.0072))
    saved = steady(undried_room, undried).heating - alone.heating
    assert saved == pytest.approx(alone.dehumidifier + water * (2501e3 - 2326.0 * 20.0), rel=1e-6)
    some = steady(room, around, modules=1.0, heat=1500.0)
    drained = some.condensate / (10.0 * HOUR)
    assert 0.0 < drained < water
    credit = alone.dehumidifier - some.dehumidifier
    assert credit == pytest.approx(drained / 2.0 * 3.6e6, rel=1e-5)
    plenty = steady(room, around, modules=1.0, heat=3000.0)
    assert plenty.dehumidifier == 0.0
    assert plenty.state.humidity < held


def test_only_the_sensible_heat_of_the_coil_is_made_up() -> None:
    """A damp room held at 20 °C: what the heating adds is the coil's heat less that of the water it drains.

    Steam tables: vapour of 20 °C has 2,537 kJ/kg, water of 10 °C 42 kJ/kg. The coil that drains it is colder
    than the air's dew point, below 10 °C (0.00766 kg/kg at saturation, ASHRAE), and hardly below 0 °C.
    """
    zone = replace(CHECK, moisture=1e-4, heat_to=20.0)
    room, around = build(zone, outdoors=(5.0, 0.005))
    without, found = steady(room, around), steady(room, around, modules=1.0, heat=1500.0)
    assert without.air == pytest.approx(20.0) == found.air
    assert found.state.humidity < 0.00766
    drained = found.condensate / (10.0 * HOUR)
    not_made_up = 1500.0 - (found.heating - without.heating)
    assert 40.0 < drained * (2537e3 - 42e3) <= not_made_up <= drained * 2537e3


@pytest.mark.law
def test_offer_knows_the_heat_of_a_dehumidifier() -> None:
    """A free room in a steady state with both running: what the machine meets is the room's air.

    The dehumidifier takes as much in the next step as in the last, to the end of its search: 1e-9 of 0.007
    kg/kg of water that brings 4.1 MJ/kg, some 1e-6 K.
    """
    zone = replace(CHECK, moisture=3e-4, dry_to=0.5, drying_efficiency=2.2)
    room, around = build(zone, outdoors=(22.0, 0.010))
    found = steady(room, around, modules=1.0, heat=1500.0)
    assert found.dehumidifier > 300.0
    assert found.condensate > 0.0
    offer = room_offer(room, around, 0, found.state, 10.0 * HOUR, 1.0, 1500.0, 0.0)
    assert met(offer, 1500.0) == pytest.approx(found.air, abs=1e-5)


# laws, for any room


PLACES = st.sampled_from(list(Place))


@st.composite
def cases(draw: st.DrawFn) -> tuple[Room, Around, State, float, float, float, float]:
    """A random room, its world, a state, a step and a machine."""
    area = draw(st.floats(1.0, 500.0))
    to_mass = 9.1 * 2.5 * area
    share = st.floats(0.0, 0.3)
    heated, cooled, dried = draw(st.booleans()), draw(st.booleans()), draw(st.booleans())
    zone = Zone(
        area,
        area * draw(st.floats(2.0, 4.0)),
        draw(st.sampled_from(sorted(MASS_CLASSES))),
        outdoors=draw(share) * to_mass,
        windows=draw(share) * to_mass,
        ground=draw(share) * to_mass,
        neighbours=draw(share) * to_mass,
        air_changes=draw(st.floats(0.0, 5.0)),
        vent=draw(st.floats(0.0, 0.2)),
        gain=draw(st.floats(0.0, 20.0)) * area,
        moisture=draw(st.floats(0.0, 1e-6)) * area,
        buffering=draw(st.floats(1.0, 20.0)),
        heat_to=draw(st.floats(5.0, 22.0)) if heated else None,
        heating_power=draw(st.sampled_from([100.0, 2000.0, math.inf])),
        cool_to=draw(st.floats(22.0, 28.0)) if cooled else None,
        cooling_power=draw(st.sampled_from([100.0, 2000.0, math.inf])),
        dry_to=draw(st.floats(0.3, 0.8)) if dried else None,
    )
    path = AirPath(
        draw(st.floats(0.02, 0.5)),
        draw(st.floats(0.0, 0.5)),
        draw(PLACES),
        draw(PLACES),
        draw(st.sampled_from([Place.OUTDOORS, Place.NEIGHBOUR, Place.ELSEWHERE])),
    )

    def air(low: float, high: float) -> Air:
        temperature = draw(st.floats(low, high))
        relative = draw(st.floats(0.0, 1.0))
        humidity = moist_air.humidity_ratio_from_relative(temperature, relative, SEA_LEVEL)
        return Air(temperature, float(humidity))

    around = make_around(
        zone, path, air(-25.0, 40.0), draw(st.floats(0.0, 20.0)), air(10.0, 28.0), air(0.0, 35.0)
    )
    state = State(draw(st.floats(0.0, 30.0)), draw(st.floats(0.0, 0.012)), draw(st.floats(0.0, 1e-5)))
    modules = draw(st.floats(0.0, 3.0))
    heat = draw(st.floats(0.0, 1.0)) * modules * path.module_airflow * 15e3
    dt = draw(st.sampled_from([5.0, 60.0, 300.0, HOUR]))
    return make_room(zone, path), around, state, dt, modules, heat, draw(st.floats(0.0, 300.0))


@pytest.mark.slow
@pytest.mark.law
@settings(max_examples=300)
@given(case=cases())
def test_heat_and_water_close_in_any_step(
    case: tuple[Room, Around, State, float, float, float, float],
) -> None:
    """First law and mass balance, each residual to rounding: 1e-11 of the largest term of its balance.

    Humidity stays at or above 0 and does not exceed its ceiling by more than 1e-9 kg/kg (the search stops
    there), nor stay below it where water is dried out.
    """
    room, around, state, dt, modules, heat, plant = case
    for _ in range(3):
        step = room_step(room, around, 0, state, dt, modules, heat, plant)
        largest = room.capacity / dt * 60.0 + step.heating + step.cooling + heat + room.shell * 60.0
        ventilation = CP_AIR * (room.supply + modules * room.module_flow)
        largest += (room.to_surface + room.to_mass + ventilation) * 60.0
        assert abs(step.heat_residual) <= 1e-11 * largest
        flows = room.vapour_mass / dt + room.supply + modules * room.module_flow
        assert abs(step.water_residual) <= 1e-11 * flows * 0.05
        assert step.converged
        humidity = step.state.humidity
        assert humidity >= -1e-15
        ceiling = moist_air.humidity_ratio_from_relative(
            min(max(step.air, -100.0), 80.0), room.ceiling, SEA_LEVEL
        )
        assert humidity <= float(ceiling) + 1.1e-9
        assert step.dried == 0.0 or humidity >= float(ceiling) - 1.1e-9
        assert step.condensate >= 0.0
        assert step.dried >= 0.0
        assert step.heating == 0.0 or step.cooling == 0.0
        assert 0.0 <= step.heating <= room.most_heating
        assert 0.0 <= step.cooling <= room.most_cooling
        state = step.state
