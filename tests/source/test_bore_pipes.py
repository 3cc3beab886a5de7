"""Resistances, film, fluid and pump against tables, other formulas and another solution of the same bore."""

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from pygfunction.boreholes import Borehole
from pygfunction.pipes import MultipleUTube, SingleUTube

from hpwhsim.errors import InputError, OutOfRangeError
from hpwhsim.source.bore_field import Bores
from hpwhsim.source.bore_pipes import (
    Pipes,
    bore_resistance,
    flow_cautions,
    grout_resistance,
    make_loop,
    pump_watts,
)
from hpwhsim.source.ground_loop import BoreField, loop_offer
from hpwhsim.source.loop_fluid import Fluid, fluid_state
from hpwhsim.source.offer import met

pytestmark = pytest.mark.independent

BORES = Bores("rectangle", 2, 3, spacing=6.0, length=150.0, buried=2.0, radius=0.075)
SINGLE = Pipes(1, 0.032, 0.0262, 0.06, 0.40, 1.5, 1.5e-6)
DOUBLE = Pipes(2, 0.032, 0.0262, 0.09, 0.40, 1.2, 1.5e-6)
GLYCOL = Fluid("propylene-glycol", 0.25)
ROCK = 2.0  # W/mK


def read(path: Path) -> list[dict[str, str]]:
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def library_bore(pipes: Pipes, to_pipe: float) -> SingleUTube | MultipleUTube:
    """The same bore in the library that solves the fluid along the depth."""
    bore = Borehole(BORES.length, BORES.buried, BORES.radius, 0.0, 0.0)
    half = 0.5 * pipes.shank
    inner, outer = 0.5 * pipes.inner, 0.5 * pipes.outer
    if pipes.tubes == 1:
        legs = [(-half, 0.0), (half, 0.0)]
        return SingleUTube(legs, inner, outer, bore, ROCK, pipes.grout, to_pipe, J=3)
    legs = [(half, 0.0), (0.0, half), (-half, 0.0), (0.0, -half)]
    return MultipleUTube(legs, inner, outer, bore, ROCK, pipes.grout, to_pipe, 2, config="parallel", J=3)


@pytest.mark.parametrize("pipes", [SINGLE, DOUBLE], ids=["single", "double"])
@pytest.mark.parametrize("flow", [0.06, 0.2, 0.6])
def test_effective_resistance_by_another_solution(pipes: Pipes, flow: float) -> None:
    """Cimmino's solution for any number of pipes (pygfunction), by eigenvalues: the short circuit included.

    Slow flow in a deep bore raises the resistance by a third. 1e-4: the multipoles converge to 1e-5.
    """
    state = fluid_state(GLYCOL, 2.0)
    found = bore_resistance(BORES, pipes, state, ROCK, flow)
    each = flow / pipes.tubes
    assert found.reynolds == pytest.approx(4.0 * each / (np.pi * pipes.inner * state.viscosity))
    wall = np.log(pipes.outer / pipes.inner) / (2.0 * np.pi * pipes.conductivity)
    film = film_of(state.conductivity, state.specific_heat, state.viscosity, each, pipes.inner)
    library = library_bore(pipes, wall + 1.0 / (np.pi * pipes.inner * film))
    same_film = grout_resistance(BORES, pipes, ROCK, wall + 1.0 / (np.pi * pipes.inner * film))
    assert same_film[0] == pytest.approx(library.local_borehole_thermal_resistance(), rel=1e-4)
    passes = BORES.length / (flow * state.specific_heat * np.sqrt(same_film[0] * same_film[1]))
    effective = library.effective_borehole_thermal_resistance(flow, state.specific_heat)
    assert same_film[0] * passes / np.tanh(passes) == pytest.approx(effective, rel=1e-4)
    # and the function as a whole, whose film has another friction factor: see the test of the film
    assert found.effective == pytest.approx(effective, rel=0.01)


def film_of(conductivity: float, specific_heat: float, viscosity: float, flow: float, inner: float) -> float:
    """Film by hand: 3.66 laminar, Gnielinski with Petukhov's friction, linear 2300 to 4000. [W/m²K]"""
    reynolds = 4.0 * flow / (np.pi * inner * viscosity)
    prandtl = specific_heat * viscosity / conductivity

    def turbulent(re: float) -> float:
        friction = (0.79 * np.log(re) - 1.64) ** -2
        top = friction / 8.0 * (re - 1000.0) * prandtl
        return top / (1.0 + 12.7 * np.sqrt(friction / 8.0) * (prandtl ** (2.0 / 3.0) - 1.0))

    share = min(max((reynolds - 2300.0) / 1700.0, 0.0), 1.0)
    nusselt = (1.0 - share) * 3.66 + share * turbulent(max(reynolds, 4000.0))
    return nusselt * conductivity / inner


@pytest.mark.parametrize(
    ("flow", "temperature", "close"), [(0.1, 0.0, 1e-6), (0.45, 5.0, 2e-3), (0.9, 10.0, 2e-3)]
)
def test_film_by_textbook_formulas(flow: float, temperature: float, close: float) -> None:
    """Laminar exactly; turbulent to 0.2 %: Gnielinski with Petukhov's smooth friction (any textbook).

    The film is some per cent of the resistance there, and so is the difference of the two friction factors.
    """
    state = fluid_state(GLYCOL, temperature)
    found = bore_resistance(BORES, SINGLE, state, ROCK, flow)
    assert found.reynolds == pytest.approx(4.0 * flow / (np.pi * 0.0262 * state.viscosity))
    film = film_of(state.conductivity, state.specific_heat, state.viscosity, flow, 0.0262)
    to_pipe = np.log(32.0 / 26.2) / (2.0 * np.pi * 0.40) + 1.0 / (np.pi * 0.0262 * film)
    assert found.across == pytest.approx(grout_resistance(BORES, SINGLE, ROCK, to_pipe)[0], rel=close)


@pytest.mark.parametrize("pipes", [SINGLE, DOUBLE], ids=["single", "double"])
def test_offer_by_the_fluid_of_a_whole_bore(pipes: Pipes) -> None:
    """The machine's source line against the library's outlet of a bore with the same wall and inlet.

    Two of four modules: half of the flow. 1e-4 of the 5 K between wall and fluid: multipoles converge to
    1e-5. The wall stands on a column of the table and usual heat is nil, so no interpolation enters.
    """
    loop = make_loop(
        BORES, pipes, GLYCOL, ROCK, 12.0, modules=4, heat=0.0, flow=3.6, least_flow=0.2, pump=0.0
    )
    field = BoreField(np.zeros(3), 0.0)
    wall = loop.coldest + 5 * loop.spread
    heat = 14e3
    leaving = met(loop_offer(loop, field, 12.0 - wall, 2, 0.0), heat)
    state = fluid_state(GLYCOL, wall)
    film = bore_resistance(BORES, pipes, state, ROCK, 0.3)
    # the library's own film: from the resistance found for the same state, taken apart by bisection
    low, high = 0.01, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if grout_resistance(BORES, pipes, ROCK, middle)[0] < film.across:
            low = middle
        else:
            high = middle
    capacity = 0.3 * state.specific_heat
    entering = leaving - heat / (BORES.count * capacity)
    outlet = library_bore(pipes, low).get_outlet_temperature(entering, wall, 0.3, state.specific_heat)
    assert leaving == pytest.approx(float(outlet), abs=5e-4)
    assert loop.carried[2] == pytest.approx(6 * 0.3 * fluid_state(GLYCOL, 12.0).specific_heat)


@pytest.mark.law
def test_fluid_colder_than_the_wall_has_the_thicker_film() -> None:
    """Usual heat moves the film to the fluid's temperature; below freezing it stays that of freezing.

    25 W/m put the fluid 4 K below the wall: at 1 °C of wall the flow turns laminar, worth a tenth and more.
    """
    loops = [
        make_loop(BORES, SINGLE, GLYCOL, ROCK, 12.0, modules=1, heat=heat, flow=1.8, least_flow=1.0, pump=0.0)
        for heat in (0.0, 22.5e3)
    ]
    assert np.all(loops[1].resistance >= loops[0].resistance - 1e-12)
    assert loops[1].resistance[1, 5] > 1.1 * loops[0].resistance[1, 5]
    assert loops[1].resistance[1, 0] == loops[0].resistance[1, 0]


@pytest.mark.law
def test_pump_follows_the_cube_down_to_its_floor() -> None:
    """Affinity laws: half of the flow, an eighth of the power; at the floor of 0.4 it is 0.064."""
    loop = make_loop(
        BORES, SINGLE, GLYCOL, ROCK, 12.0, modules=4, heat=0.0, flow=2.4, least_flow=0.4, pump=800.0
    )
    assert loop.pump == pytest.approx([0.0, 51.2, 100.0, 337.5, 800.0])
    constant = make_loop(
        BORES, SINGLE, GLYCOL, ROCK, 12.0, modules=4, heat=0.0, flow=2.4, least_flow=1.0, pump=800.0
    )
    assert constant.pump == pytest.approx([0.0, 800.0, 800.0, 800.0, 800.0])
    assert constant.carried == pytest.approx(np.full(5, loop.carried[4]))


@pytest.mark.parametrize(("flow", "close"), [(0.6, 1e-9), (6.0, 0.02)])
@pytest.mark.parametrize("pipes", [SINGLE, DOUBLE], ids=["single", "double"])
def test_pump_by_textbook_friction(pipes: Pipes, flow: float, close: float) -> None:
    """Hagen and Poiseuille's drop where laminar, exactly; Haaland's friction where turbulent, to 2 %.

    Haaland's formula is within 2 % of the Colebrook-White equation (its author's claim; quoted from memory).
    """
    state = fluid_state(GLYCOL, 5.0)
    each, path = flow / (6 * pipes.tubes), 2.0 * 152.0 + 50.0
    volume = each / state.density
    reynolds = 4.0 * each / (np.pi * 0.0262 * state.viscosity)
    if reynolds < 2300.0:
        drop = 128.0 * state.viscosity * path * volume / (np.pi * 0.0262**4)
    else:
        inside = (1.5e-6 / 0.0262 / 3.7) ** 1.11 + 6.9 / reynolds
        friction = (-1.8 * np.log10(inside)) ** -2
        drop = friction * path / 0.0262 * 8.0 * state.density * volume**2 / (np.pi**2 * 0.0262**4)
    power = pump_watts(BORES, pipes, state, flow, run=50.0, other_drop=0.0, efficiency=0.4)
    assert power == pytest.approx(6.0 * pipes.tubes * volume * drop / 0.4, rel=close)
    more = pump_watts(BORES, pipes, state, flow, run=50.0, other_drop=3e4, efficiency=0.4)
    assert more - power == pytest.approx(flow / state.density * 3e4 / 0.4, rel=1e-6)


@pytest.mark.contract
def test_slow_flow_is_told() -> None:
    """Reynolds numbers by hand from Melinder's viscosity; laminar below 2300, turbulent from 4000."""
    viscosity = PropsSI("V", "T", 268.15, "P", 3e5, "INCOMP::MPG[0.25]")
    for flow, word in ((1.2, "is laminar"), (2.4, "between laminar and turbulent")):
        (caution,) = flow_cautions(BORES, SINGLE, GLYCOL, ROCK, flow, -5.0)
        assert word in caution
        assert f"Reynolds number {4.0 * flow / 6.0 / (np.pi * 0.0262 * viscosity):.0f}," in caution
    assert flow_cautions(BORES, SINGLE, GLYCOL, ROCK, 6.0, -5.0) == []


@pytest.mark.contract
def test_bad_input_is_named() -> None:
    state = fluid_state(GLYCOL, 5.0)
    brine: Any = "brine"
    with pytest.raises(InputError, match="'brine', allowed water"):
        fluid_state(Fluid(brine), 5.0)
    with pytest.raises(OutOfRangeError, match=r"mass fraction of 0\.2 for water"):
        fluid_state(Fluid("water", 0.2), 5.0)
    with pytest.raises(OutOfRangeError, match=r"allowed -9.8 \(freezing\) to 40"):
        fluid_state(GLYCOL, -12.0)
    with pytest.raises(InputError, match="3 U-tubes"):
        Pipes(3, 0.032, 0.0262, 0.06, 0.4, 1.5, 1.5e-6)
    with pytest.raises(OutOfRangeError, match="outer diameter"):
        Pipes(1, 0.02, 0.0262, 0.06, 0.4, 1.5, 1.5e-6)
    with pytest.raises(OutOfRangeError, match="grout"):
        Pipes(1, 0.032, 0.0262, 0.06, 0.4, 0.0, 1.5e-6)
    for shank, allowed in ((0.03, "0.032 to 0.118"), (0.12, "0.032 to 0.118")):
        with pytest.raises(OutOfRangeError, match=allowed):
            grout_resistance(BORES, Pipes(1, 0.032, 0.0262, shank, 0.4, 1.5, 1.5e-6), ROCK, 0.1)
    with pytest.raises(OutOfRangeError, match="flow in a bore"):
        bore_resistance(BORES, SINGLE, state, ROCK, 0.0)
    with pytest.raises(OutOfRangeError, match="efficiency"):
        pump_watts(BORES, SINGLE, state, 1.0, run=0.0, other_drop=0.0, efficiency=0.0)
    with pytest.raises(OutOfRangeError, match="m of run"):
        pump_watts(BORES, SINGLE, state, 1.0, run=-1.0, other_drop=0.0, efficiency=0.4)
    good: dict[str, Any] = {"modules": 2, "heat": 0.0, "flow": 1.0, "least_flow": 0.5, "pump": 10.0}
    for key, bad, word in (
        ("modules", 0, "0 modules"),
        ("heat", np.nan, "usual heat"),
        ("least_flow", 0.0, "minimum fraction"),
        ("pump", -1.0, "pump of -1"),
    ):
        with pytest.raises(OutOfRangeError, match=word):
            make_loop(BORES, SINGLE, GLYCOL, ROCK, 12.0, **(good | {key: bad}))
