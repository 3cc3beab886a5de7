"""The store against exact results, beside those of hpwhsim.verification: stirring, standby decay, slices."""

import numpy as np
import pytest
from layer_cases import column, filled, heat, height_of, middles, temperatures, volumes

from hpwhsim.storage.layers import NEAR, RHO_CP, slices, take_head
from hpwhsim.storage.order import settle
from hpwhsim.storage.still import conduct, enter, fading, lose, stir_feet
from hpwhsim.verification.storage import share_drawn

pytestmark = pytest.mark.independent

HOT, COLD, USE = 60.0, 10.0, 45.0  # °C


# -- drawn empty ---------------------------------------------------------------------------------------


@pytest.mark.law
def test_few_large_draws_leave_as_much_usable_as_many_small_ones() -> None:
    """The same hour's draw in parts of 1/12 to 1/600 of a store, with the default stirred foot: to 0.01."""
    shares = [share_drawn(1.0, draws, stirred=0.10) for draws in (12, 24, 60, 600)]
    assert shares == pytest.approx([shares[-1]] * 4, abs=0.01)


# -- stirred -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("draws", [1, 2, 50])
def test_a_wholly_stirred_store_is_one_mixed_layer(draws: int) -> None:
    """The N = 1 row of tanks.md: V45 = -ln 0.7 = 0.3567, at any number of draws."""
    of = column(stirred=1.0)
    layers = filled(of, HOT)
    for _ in range(draws):
        enter(layers, of, 0.3567 / draws, COLD)
        take_head(layers, 0.3567 / draws)
        settle(layers, of)
    # what has just left the zone is taken at once: the rest is what was stirred
    assert temperatures(layers) == pytest.approx([USE], abs=0.01)


@pytest.mark.parametrize("stores", [1.0, 1.5, 10.0, 1000.0])
def test_a_draw_larger_than_the_store_is_exact(stores: float) -> None:
    """Unmixed: the old contents and then the inlet; stirred: the zone's exponential behind the plug.

    Water within `NEAR` of a layer joins it, so that the zone's temperature is good to that, its heat exact.
    """
    of = column(stirred=0.0)
    layers = filled(of, *np.linspace(20.0, 60.0, 48))
    before = heat(layers)
    enter(layers, of, stores, COLD)
    out = take_head(layers, stores)
    assert out == pytest.approx(before + (stores - 1.0) * COLD, rel=1e-12)
    assert temperatures(layers)[volumes(layers) > 1e-9] == pytest.approx(COLD, abs=1e-9)
    of = column(stirred=0.25)
    layers = filled(of, HOT)
    enter(layers, of, stores, COLD)
    out = take_head(layers, stores)
    assert temperatures(layers)[0] == pytest.approx(COLD + (HOT - COLD) * np.exp(-stores / 0.25), abs=NEAR)
    assert out + heat(layers) == pytest.approx(HOT + stores * COLD, rel=1e-12)


@pytest.mark.parametrize(("rise", "inserted"), [(0.035, 0.0), (-0.025, 0.045), (25.0, 0.0)])
def test_the_foot_of_a_later_tank_is_stirred_by_what_comes_up(rise: float, inserted: float) -> None:
    """A stirred volume emptied by plug flow forgets by exp(-v/V) and keeps its heat."""
    of = column(tanks=2, stirred=0.3)
    layers = filled(of, *np.linspace(12.0, 30.0, 10), *np.linspace(40.0, 58.0, 10))
    before = slices(layers, 20)
    stir_feet(layers, of, rise, inserted, 0.25)
    spread = (before[10:13] - before[10:13].mean()) * np.exp(-(rise + inserted) / 0.15)
    store = slices(layers, 20)
    assert store[10:13] == pytest.approx(before[10:13].mean() + spread, abs=1e-11)
    assert np.delete(store, [10, 11, 12]) == pytest.approx(np.delete(before, [10, 11, 12]), abs=1e-11)
    assert heat(layers) == pytest.approx(before.mean(), rel=1e-14)


@pytest.mark.law
def test_nothing_is_stirred_by_water_that_goes_down() -> None:
    of = column(tanks=2, stirred=0.3)
    layers = filled(of, *np.linspace(12.0, 58.0, 20))
    stir_feet(layers, of, -0.15, 0.05, 0.25)
    assert slices(layers, 20) == pytest.approx(np.linspace(12.0, 58.0, 20), abs=1e-11)


# -- standing ------------------------------------------------------------------------------------------


@pytest.mark.law
def test_heat_conducted_often_or_seldom_comes_to_the_same() -> None:
    """A day of a steep front in parts of 5 min, an hour and two: 45 °C stands within 0.005 of the height."""
    of = column()
    found = []
    for seconds in (300.0, 3600.0, 7200.0):
        layers = filled(of, COLD, HOT)
        for _ in range(round(86400.0 / seconds)):
            conduct(layers, of, seconds)
        found.append(height_of(layers, USE))
    assert found == pytest.approx([found[0]] * 3, abs=0.005)


@pytest.mark.law
@pytest.mark.parametrize("tanks", [2, 3, 5])
def test_tanks_in_series_pass_no_heat(tanks: int) -> None:
    """Warm below cold, tank by tank: nothing passes between tanks by conduction or by pooling."""
    of = column(tanks=tanks, conductivity=2.5)
    parts = [v for k in range(tanks) for v in (60.0 - 8.0 * k, 64.0 - 8.0 * k)]
    layers = filled(of, *parts)
    for _ in range(24):
        settle(layers, of)
        conduct(layers, of, 3600.0)
    assert slices(layers, tanks) == pytest.approx([62.0 - 8.0 * k for k in range(tanks)], abs=1e-9)
    each = slices(layers, 2 * tanks).reshape(tanks, 2)
    assert np.all(np.diff(each, axis=1) >= -1e-9)


@pytest.mark.parametrize(
    ("litres", "loss"),
    [(189, 1.5), (300, 2.0), (4000, 12.0)],
)
@pytest.mark.parametrize("seconds", [10.0, 300.0, 3600.0])
def test_standby_decay(litres: float, loss: float, seconds: float) -> None:
    """Exponential cool-down from 60 °C in a 20 °C room over 24 h, by steps of any length. 1e-9: rounding."""
    of = column(litres / 1000.0, loss=loss)
    layers = filled(of, *[HOT] * 10)
    share, lost = fading(of, seconds), 0.0
    for _ in range(round(86400.0 / seconds)):
        lost += lose(layers, of.room, share)
    exact = 40.0 * np.exp(-loss * 86400.0 / (RHO_CP * of.volume))
    assert temperatures(layers) - 20.0 == pytest.approx(exact, rel=1e-9)
    assert lost == pytest.approx(of.volume * HOT - heat(layers), rel=1e-9)


def test_slices_of_layers_are_their_means() -> None:
    """Hand sums: 0.3 m³ of 10 °C under 0.7 m³ of 60 °C in quarters, and no heat is lost."""
    of = column()
    layers = filled(of, *[10.0] * 3, *[60.0] * 7)
    assert slices(layers, 4) == pytest.approx([10.0, (0.05 * 10.0 + 0.2 * 60.0) / 0.25, 60.0, 60.0])
    assert slices(layers, 7).mean() == pytest.approx(heat(layers))
    assert middles(layers)[0] == pytest.approx(0.05)


@pytest.mark.law
@pytest.mark.parametrize("tanks", [1, 5])
@pytest.mark.parametrize("low", [64, 3990])
def test_conduction_has_room_wherever_the_layers_lie(tanks: int, low: int) -> None:
    """Steep steps are cut into many pieces: near an end of the arrays they are those of the middle."""
    of = column(height=6.0, tanks=tanks)
    steps = np.linspace(10.0, 60.0, 30)
    middle, moved = filled(of, *steps), filled(of, *steps)
    n, at = int(moved.span[1]), int(moved.span[0])
    for values in (moved.volume, moved.temperature):
        values[low : low + n] = values[at : at + n].copy()
    moved.span[0] = low
    for layers in (middle, moved):
        conduct(layers, of, 3600.0)
    assert np.array_equal(volumes(middle), volumes(moved))
    assert np.array_equal(temperatures(middle), temperatures(moved))
    assert 64 <= moved.span[0] <= moved.volume.size - 64 - moved.span[1]
