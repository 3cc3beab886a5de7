"""A room with a machine in it: the zone's check case, closed forms, ducts, penalty and credit, set-up."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from room_cases import CHECK, DENSITY, HOUR, NO_DUCTS, build, conductance, run, steady
from scipy.linalg import expm

from hpwhsim.constants import CP_AIR
from hpwhsim.errors import InputError
from hpwhsim.source.offer import met
from hpwhsim.source.room import State, room_offer, room_step
from hpwhsim.source.room_setup import (
    AIR_CAPACITY,
    SEA_LEVEL,
    Air,
    AirPath,
    Place,
    Zone,
    make_around,
    make_room,
    room_kind,
)
from hpwhsim.tables import read_table

pytestmark = pytest.mark.independent

# the zone alone


@pytest.mark.slow
def test_steady_heat_is_the_closed_form() -> None:
    """20 {H_ve + 1 / [1 / H_is + 1 / (H_w + H_op)]} = 2,878.971 W, by hand with H_is = 1552.5 W/K."""
    room, around = build(replace(CHECK, heat_to=20.0))
    by_hand = 20.0 * (50.0 + 1.0 / (1.0 / 1552.5 + 1.0 / 100.0))
    assert by_hand == pytest.approx(2878.971, abs=5e-4)
    assert steady(room, around).heating == pytest.approx(by_hand, rel=1e-12)
    assert 20.0 * conductance(CHECK, 50.0) == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.law
@pytest.mark.parametrize("dt", [60.0, 300.0, HOUR])
def test_a_sink_in_a_held_zone_is_all_made_up(dt: float) -> None:
    """First law: the sink is at the held node, so 1 kW adds 1000 W in every step, not only at last."""
    room, around = build(replace(CHECK, heat_to=20.0))
    state = State(17.0, 0.0, 0.0)
    without = run(room, around, state, 50, dt)
    with_it = run(room, around, state, 50, dt, modules=1.0, heat=1000.0)
    for one, other in zip(with_it, without, strict=True):
        assert one.heating - other.heating == pytest.approx(1000.0, abs=1e-8)
        assert one.state.mass == pytest.approx(other.state.mass, abs=1e-12)


def test_short_steps_approach_the_exact_solution() -> None:
    """The linear ODE of the mass, reduced from the matrix of the three nodes, solved by scipy's expm.

    Air and surfaces store nothing, so that the Schur complement of the mass is the whole dynamics. Crank and
    Nicolson err with the square of the step: 144 times less at 300 s than at 3600 s, here asked to be 100.
    """
    room, around = build(CHECK)
    air, surface, mass = 0, 1, 2
    matrix = np.zeros((3, 3))  # heat flow between nodes, W/K; outdoors is 0 °C
    for one, other, value in ((air, surface, 1552.5), (surface, mass, 9.1 * 250.0)):
        matrix[one, other] += value
        matrix[other, one] += value
    to_outdoors = [50.0, 40.0, 1.0 / (1.0 / 60.0 - 1.0 / (9.1 * 250.0))]
    matrix -= np.diag(matrix.sum(axis=1) + to_outdoors)
    fast = matrix[:2, :2]
    reduced = matrix[2:, 2:] - matrix[2:, :2] @ np.linalg.inv(fast) @ matrix[:2, 2:]
    errors = {}
    for dt in (HOUR, 300.0):
        found = run(room, around, State(20.0, 0.0, 0.0), int(24 * HOUR / dt), dt)
        each_hour = found[int(HOUR / dt) - 1 :: int(HOUR / dt)]
        exact = [20.0 * expm(reduced * HOUR * (i + 1) / 165e5)[0, 0] for i in range(24)]
        errors[dt] = max(abs(step.state.mass - e) for step, e in zip(each_hour, exact, strict=True))
    assert errors[300.0] < errors[HOUR] / 100.0
    assert errors[300.0] < 1e-5


def test_parallel_boundaries_fold_exactly() -> None:
    """Steady closed form with outdoors, ground and neighbours at three temperatures: the weighted mean.

    Vents and infiltration likewise; internal gains are off.
    """
    zone = replace(CHECK, outdoors=30.0, ground=25.0, neighbours=35.0, vent=0.02, windows=0.0)
    room, around = build(zone, outdoors=(-5.0, 0.0), ground=8.0, neighbour=(20.0, 0.0))
    shell = (30.0 * -5.0 + 25.0 * 8.0 + 35.0 * 20.0) / 90.0
    to_shell = 1.0 / (1.0 / 1552.5 + 1.0 / 90.0)
    supply = (50.0 * -5.0 + 24.0 * 20.0) / 74.0
    expected = (to_shell * shell + 74.0 * supply) / (to_shell + 74.0)
    assert steady(room, around).air == pytest.approx(expected, abs=1e-9)


def test_gains_and_what_goes_out_at_the_windows() -> None:
    """ISO 13790 C.2 and C.3: the three shares add up to all but H_w / (9.1 A_t) of what meets surfaces.

    Steady and free, in a room without windows, all of it leaves through the conductances.
    """
    zone = replace(CHECK, gain=300.0)
    around = make_around(zone, NO_DUCTS, Air(0.0, 0.0), 0.0, Air(0.0, 0.0), Air(0.0, 0.0), [0.0, 500.0])
    for hour, sun in enumerate((0.0, 500.0)):
        entering = around.to_air[hour] + around.to_surface[hour] + around.to_mass[hour]
        lost = 40.0 / (9.1 * 450.0) * (150.0 + sun)
        assert entering == pytest.approx(300.0 + sun - lost, rel=1e-12)
    blind = replace(CHECK, windows=0.0, gain=300.0, heat_to=20.0)
    room, around = build(blind)
    quiet_room, quiet = build(replace(blind, gain=0.0))
    saved = steady(quiet_room, quiet).heating - steady(room, around).heating
    assert 150.0 < saved < 300.0  # gains at the mass pass out more easily than those at the air


# small rooms


def test_closet() -> None:
    """1 kW out of a sealed closet of 20 W/K, and with 0.05 m³/s of exchange besides.

    The surfaces settle 1000 / 20 = 50 K below what surrounds the closet. The method puts the resistance
    1 / H_is between air and surfaces in series to that, so that the air is 1000 / H_is colder still: 15.8 K
    in 2 m² with 18.4 m² of surfaces. Without that resistance (a floor that goes to infinity at the same
    20 W/K) the plain balances come out: 50 K, and 1000 / (20 + 60) = 12.5 K with the exchange. The limit
    is taken with 1e6 m², where the resistance is 6.4e-8 K/W: 1e-4 K is allowed. The sealed closet is far
    below what a machine can use, and the coil says so.
    """
    closet = Zone(2.0, 4.8, "light", neighbours=20.0, surface_ratio=9.2)
    room, around = build(closet, neighbour=(20.0, 0.0))
    found = steady(room, around, modules=1.0, heat=1000.0)
    to_surface = 3.45 * 18.4
    assert found.air == pytest.approx(20.0 - 1000.0 / 20.0 - 1000.0 / to_surface, abs=1e-9)
    assert found.air + 1000.0 / to_surface == pytest.approx(-30.0, abs=1e-9)
    assert found.frozen
    vented, around = build(replace(closet, vent=0.05), neighbour=(20.0, 0.0))
    expected = 20.0 - 1000.0 / conductance(closet, 60.0)
    assert steady(vented, around, modules=1.0, heat=1000.0).air == pytest.approx(expected, abs=1e-9)
    for vent, drop in ((0.0, 50.0), (0.05, 12.5)):
        plain = Zone(1e6, 4.8, "very light", neighbours=20.0, vent=vent)
        room, around = build(plain, neighbour=(20.0, 0.0))
        light = room._replace(capacity=3e5)  # else it would take millennia to settle
        settled = steady(light, around, modules=1.0, heat=1000.0)
        assert settled.air == pytest.approx(20.0 - drop, abs=1e-4)


@pytest.mark.law
def test_what_the_machine_meets_is_what_the_room_becomes() -> None:
    """The offer made before a step, at the heat then taken, is the step's air temperature.

    In every regime: free, held by heating, heating at its limit and beyond, cooled, cooling at its limit; dry
    and wet coils. The coil stops at 1e-9 of its heat: 1e-6 K is allowed.
    """
    free = Zone(30.0, 70.0, "light", outdoors=20.0, neighbours=20.0, air_changes=0.3, moisture=1e-5)
    weak_heat = replace(free, heat_to=18.0, heating_power=300.0)
    weak_cold = replace(free, cool_to=16.0, cooling_power=200.0, gain=3000.0)
    zones = [free, weak_heat, weak_cold, replace(free, heat_to=18.0), replace(free, cool_to=17.0)]
    seen = set()
    for zone in zones:
        for outdoors in ((-5.0, 0.002), (16.0, 0.008), (32.0, 0.012)):
            room, around = build(zone, outdoors=outdoors)
            for mass in (10.0, 18.0, 25.0):
                for heat in (100.0, 800.0, 2500.0):
                    state = State(mass, 0.006, 0.0)
                    offer = room_offer(room, around, 0, state, 300.0, 1.0, heat, 60.0)
                    step = room_step(room, around, 0, state, 300.0, 1.0, heat, 60.0)
                    if step.dried == 0.0:
                        assert met(offer, heat) == pytest.approx(step.air, abs=1e-6)
                        at_limit = step.heating == room.most_heating or step.cooling == room.most_cooling
                        regime = (step.heating > 0.0, step.cooling > 0.0, at_limit)
                        seen.add((*regime, step.condensate > 0.0))
    dry_or_wet = {state[:3] for state in seen}
    assert dry_or_wet == {
        (False, False, False),
        (True, False, False),
        (True, False, True),
        (False, True, False),
        (False, True, True),
    }
    assert {state[3] for state in seen} == {True, False}


# with and without the machine


@pytest.mark.law
def test_heat_made_up_by_resistance_brings_the_system_to_one() -> None:
    """1 / [1 / COP + φ (1 - 1 / COP) / COP_h] = 1 with φ = 1 and COP_h = 1, whatever the COP.

    A dry room held all year in a cold climate; the machine (COP 3) runs a third of the time, its fan stands
    in the room, the tank loses heat to it. Water gets useful heat = heat made - tank loss; electricity is
    the machine, the fan and what the heating has to add.
    """
    hours = np.arange(8760)
    outdoors = 2.0 - 10.0 * np.cos(2.0 * np.pi * hours / 8760.0) - 4.0 * np.cos(2.0 * np.pi * hours / 24.0)
    zone = Zone(75.0, 195.0, "medium", outdoors=35.0, windows=25.0, air_changes=0.5, heat_to=20.0)
    around = make_around(zone, NO_DUCTS, Air(outdoors, 0.0), 10.0, Air(20.0, 0.0), Air(20.0, 0.0))
    room = make_room(zone, NO_DUCTS)
    mine = reference = State(20.0, 0.0, 0.0)
    made = machine = fan = lost = heating = before = 0.0
    for hour in range(8760):
        on = 1.0 if hour % 3 == 0 else 0.0
        step = room_step(room, around, hour, mine, HOUR, on, 2000.0 * on, 40.0 * on + 50.0)
        plain = room_step(room, around, hour, reference, HOUR, 0.0, 0.0, 0.0)
        mine, reference = step.state, plain.state
        made, machine, fan, lost = made + 3000.0 * on, machine + 1000.0 * on, fan + 40.0 * on, lost + 50.0
        heating, before = heating + step.heating, before + plain.heating
        assert plain.heating > 0.0
    assert (made - lost) / (machine + fan + heating - before) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("share", "efficiency", "system"), [(1.0, 3.0, 1.80), (0.5, 1.0, 1.50)])
def test_system_cop_of_other_heaters(share: float, efficiency: float, system: float) -> None:
    """The same identity by hand: COP 3 with φ 1 and a heat pump of 3 is 1.80; φ 0.5 and resistance 1.50.

    φ 0.5 here: half of the hours the room is warm enough by itself and floats.
    """
    zone = replace(CHECK, heat_to=20.0)
    room, around = build(zone, outdoors=(0.0, 0.0))
    warm_room, warm = build(replace(zone, heat_to=None), outdoors=(25.0, 0.0))
    extra = []
    for where, what in ((room, around), (warm_room, warm)):
        with_it = steady(where, what, modules=1.0, heat=2000.0)
        extra.append(with_it.heating - steady(where, what).heating)
    electricity = 1000.0 + (share * extra[0] + (1.0 - share) * extra[1]) / efficiency
    assert 3000.0 / electricity == pytest.approx(system, abs=1e-9)


@pytest.mark.law
def test_credit_for_cooling() -> None:
    """A held room that is cooled: 1500 W taken out of dry air saves 1500 W of cooling in every step."""
    room, around = build(replace(CHECK, cool_to=24.0, gain=2000.0), outdoors=(33.0, 0.0))
    start = State(24.0, 0.0, 0.0)
    without = run(room, around, start, 30, 300.0)
    with_it = run(room, around, start, 30, 300.0, modules=1.0, heat=1500.0)
    for one, other in zip(with_it, without, strict=True):
        assert other.cooling - one.cooling == pytest.approx(1500.0, abs=1e-8)


@pytest.mark.published
def test_ducts_and_the_heating_of_a_house() -> None:
    """Matched test houses in winter: fully ducted -4.2 %, exhaust ducted only +2.9 % against no ducts.

    Widder et al. 2014 (PNNL-23526, laboratory highlight). Signs of the heating they cause, and its size by
    hand: none, the coil's sensible heat, and make-up air warmed from outdoors.
    """
    zone = replace(CHECK, heat_to=20.0)
    heat, outdoors = 1500.0, (0.0, 0.0)
    penalty = {}
    for name, path in (
        ("none", NO_DUCTS),
        ("both", replace(NO_DUCTS, intake=Place.OUTDOORS, exhaust=Place.OUTDOORS)),
        ("exhaust", replace(NO_DUCTS, exhaust=Place.OUTDOORS)),
        ("intake", replace(NO_DUCTS, intake=Place.OUTDOORS)),
        ("exhaust, neighbours", replace(NO_DUCTS, exhaust=Place.OUTDOORS, make_up=Place.NEIGHBOUR)),
    ):
        room, around = build(zone, outdoors=outdoors, path=path, neighbour=(20.0, 0.0))
        with_it = steady(room, around, modules=1.0, heat=heat)
        penalty[name] = with_it.heating - steady(room, around).heating
    air = 0.12 * AIR_CAPACITY * 20.0
    assert penalty["none"] == pytest.approx(heat, abs=1e-8)
    assert penalty["both"] == 0.0
    assert penalty["exhaust"] == pytest.approx(air, abs=1e-8)
    assert penalty["intake"] == pytest.approx(air + heat, abs=1e-8)  # the same air, blown in colder
    assert penalty["exhaust, neighbours"] == pytest.approx(0.0, abs=1e-8)
    assert penalty["both"] < penalty["none"] < penalty["exhaust"]


@pytest.mark.law
def test_outdoor_ducts_leave_gains_only() -> None:
    """Intake and exhaust outdoors: the room is the reference room with the heat of tank and fan in it."""
    path = replace(NO_DUCTS, intake=Place.OUTDOORS, exhaust=Place.OUTDOORS)
    room, around = build(replace(CHECK, moisture=2e-5), outdoors=(5.0, 0.004), path=path)
    start = State(18.0, 0.006, 0.0)
    ducted = run(room, around, start, 40, 300.0, modules=2.0, heat=3000.0, gain=90.0)
    gains = run(room, around, start, 40, 300.0, gain=90.0)
    assert [step.air for step in ducted] == [step.air for step in gains]
    assert [step.state for step in ducted] == [step.state for step in gains]
    assert ducted[-1].condensate > 0.0  # outdoors, not the room's


@pytest.mark.law
def test_air_blown_in_is_what_the_coil_makes_of_it() -> None:
    """Intake elsewhere, exhaust into the room: inflow equals outflow, cold and dried.

    A sealed room, adiabatic but for a trace, ends at the state of the air that leaves the coil: by hand from
    the split, 30 °C less its sensible heat, 0.012 kg/kg less its condensate, over the air's flow.
    """
    sealed = Zone(50.0, 120.0, "light", neighbours=1e-9)
    path = AirPath(0.1, intake=Place.ELSEWHERE)
    room, around = build(sealed, path=path, elsewhere=(30.0, 0.012))
    found = steady(room, around, modules=1.0, heat=1500.0)
    flow = 0.1 * DENSITY
    assert found.condensate > 0.0
    assert found.air == pytest.approx(30.0 - found.sensible / (flow * CP_AIR), abs=1e-6)
    per_second = found.condensate / (10.0 * HOUR)
    assert found.state.humidity == pytest.approx(0.012 - per_second / flow, rel=1e-9)
    offer = room_offer(room, around, 0, found.state, 300.0, 1.0, 1500.0, 0.0)
    assert (met(offer, 0.0), met(offer, 1500.0)) == (30.0, 30.0)


def test_make_up_air_carries_its_water() -> None:
    """Intake in the room, exhaust elsewhere, make-up air from the neighbours: steady mixing, by hand."""
    zone = replace(CHECK, moisture=1e-4)
    path = replace(NO_DUCTS, exhaust=Place.ELSEWHERE, make_up=Place.NEIGHBOUR)
    room, around = build(zone, outdoors=(10.0, 0.003), path=path, neighbour=(22.0, 0.008))
    found = steady(room, around, modules=1.0, heat=500.0)
    leak, moved = 50.0 / CP_AIR, 0.12 * DENSITY
    expected = (leak * 0.003 + moved * 0.008 + 1e-4) / (leak + moved)
    assert found.state.humidity == pytest.approx(expected, rel=1e-9)


# set-up


@pytest.mark.law
def test_packaged_kinds_work() -> None:
    """Every row makes a room, its heat flows stand for its conductances, and size scales."""
    names = [row["kind"] for row in read_table("room_kinds")]
    assert names == ["cellar", "garage", "mechanical-room", "closet", "apartment", "hallway"]
    for name in names:
        zone = room_kind(name)
        room, around = build(zone, outdoors=(5.0, 0.004), neighbour=(5.0, 0.004), ground=5.0)
        free = room._replace(heated=False, cooled=False)
        ventilation = CP_AIR * room.supply
        cooler = steady(free, around._replace(moisture=np.zeros(1)))
        warmer = steady(free, around._replace(moisture=np.zeros(1)), gain=100.0)
        assert warmer.air - cooler.air == pytest.approx(100.0 / conductance(zone, ventilation), rel=1e-9)
    small, large = room_kind("cellar", 30.0), room_kind("cellar", 60.0)
    assert large.ground == pytest.approx(2.0 * small.ground, rel=1e-12)
    assert large.volume == pytest.approx(2.0 * small.volume, rel=1e-12)
    heated = [name for name in names if room_kind(name).heat_to is not None]
    assert heated == ["apartment", "hallway"]


@pytest.mark.law
def test_thin_air_carries_less() -> None:
    """At 83.5 kPa every stream of air has 83.5 / 101.325 of its mass."""
    high, sea = (make_room(CHECK, NO_DUCTS, pressure) for pressure in (83500.0, SEA_LEVEL))
    for name in ("supply", "module_flow", "vapour_mass"):
        assert getattr(high, name) / getattr(sea, name) == pytest.approx(83500.0 / 101325.0, rel=1e-12)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"mass_class": "feather"}, "class of mass"),
        ({"outdoors": 3000.0}, "opaque parts"),
        ({"windows": 2000.0}, "windows"),
        ({"air_changes": math.nan}, "air changes"),
        ({"heat_to": 24.0, "cool_to": 22.0}, "above cooling"),
        ({"heat_to": 200.0}, "heating setpoint"),
        ({"dry_to": 1.4}, "relative humidity"),
        ({"volume": 0.0}, "volume"),
    ],
)
def test_wrong_rooms_are_refused(change: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        make_room(replace(CHECK, **change), NO_DUCTS)


@pytest.mark.contract
def test_wrong_words_and_worlds_are_refused() -> None:
    with pytest.raises(InputError, match="kind of room"):
        room_kind("attic of someone")
    with pytest.raises(InputError, match="make-up"):
        make_room(CHECK, replace(NO_DUCTS, make_up=Place.ROOM))
    with pytest.raises(InputError, match="finite"):
        build(CHECK, outdoors=(math.nan, 0.0))


@pytest.mark.law
def test_runs_leave_nothing_behind() -> None:
    """A, B, A gives the same A."""
    room, around = build(room_kind("cellar"), outdoors=(3.0, 0.004))
    other, elsewhere = build(room_kind("garage"), outdoors=(-3.0, 0.002))
    start = State(14.0, 0.007, 0.0)
    first = run(room, around, start, 20, 300.0, modules=1.0, heat=1200.0)
    run(other, elsewhere, start, 20, 300.0, modules=1.0, heat=1200.0)
    assert run(room, around, start, 20, 300.0, modules=1.0, heat=1200.0) == first
