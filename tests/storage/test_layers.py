"""The store against exact results: the error-function front, idle conduction, standby decay, mixed layers."""

import csv
from pathlib import Path

import numpy as np
import pytest
from layer_cases import WATER, Array, column, filled, heat, height_of, middles, temperatures, volumes
from scipy.optimize import brentq
from scipy.special import erfc, erfcx, gammaincinv

from hpwhsim.plant.march import CONDUCTION
from hpwhsim.storage.layers import NEAR, RHO_CP, Column, Layers, slices, take_head
from hpwhsim.storage.order import settle
from hpwhsim.storage.still import conduct, enter, fading, lose, stir_feet

pytestmark = pytest.mark.independent

HEIGHT = 1.5  # m
HOT, COLD, USE = 60.0, 10.0, 45.0  # °C


# -- drawn empty ---------------------------------------------------------------------------------------


def leaves(layers: Layers, volume: float) -> tuple[list[float], list[float]]:
    """Volumes and temperatures of the water that is to leave at the top, first what leaves first."""
    parts, warm, left = [], [], volume
    for size, here in zip(volumes(layers)[::-1], temperatures(layers)[::-1], strict=True):
        parts.append(min(size, left))
        warm.append(here)
        left -= parts[-1]
        if left <= 0.0:
            break
    return parts, warm


def drawn(of: Column, hours: float, draws_per_hour: int) -> tuple[Array, Array]:
    """What left a hot store drawn 1.3 times in even draws: volumes of its layers [stores], and °C.

    As the march moves a store: each draw leaves and enters at once, and heat is conducted now and then.
    """
    layers, unmixed = filled(of, HOT), 0.0
    each = of.volume / (hours * draws_per_hour)
    parts: list[float] = []
    warm: list[float] = []
    for _ in range(int(1.3 * hours * draws_per_hour)):
        for size, here in zip(*leaves(layers, each), strict=True):
            if warm and warm[-1] == here:
                parts[-1] += size
            else:
                parts.append(size)
                warm.append(here)
        take_head(layers, each)
        enter(layers, of, each, COLD)
        settle(layers, of)
        unmixed += 3600.0 / draws_per_hour
        if unmixed >= 0.5 * CONDUCTION - 1e-6:
            conduct(layers, of, CONDUCTION)
            unmixed -= CONDUCTION
    return np.array(parts) / of.volume, np.array(warm)


def share_drawn(hours: float, draws_per_hour: int, stirred: float = 0.0) -> float:
    """Stores drawn until the outlet falls to 45 °C, between the middles of what leaves.

    A layer thicker than those of a front is read as several of their thickness.
    """
    parts, outlet = drawn(column(stirred=stirred), hours, draws_per_hour)
    pieces = np.ceil(parts / 0.02).astype(int)
    sizes, outlet = np.repeat(parts / pieces, pieces), np.repeat(outlet, pieces)
    at = np.cumsum(sizes) - 0.5 * sizes
    first = int(np.argmax(outlet < USE))
    between = (outlet[first - 1] - USE) / (outlet[first - 1] - outlet[first])
    return float(at[first - 1] + between * (at[first] - at[first - 1]))


def front_share(hours: float) -> float:
    """The same from the exact front: plug flow with conduction, Carslaw and Jaeger (tanks.md section 2)."""
    alpha = WATER / RHO_CP
    speed = HEIGHT / (hours * 3600.0)

    def outlet(t: float) -> float:
        ahead = (HEIGHT - speed * t) / (2.0 * np.sqrt(alpha * t))
        behind = (HEIGHT + speed * t) / (2.0 * np.sqrt(alpha * t))
        cold = 0.5 * (erfc(ahead) + np.exp(-(ahead**2)) * erfcx(behind))
        return float(HOT - (HOT - COLD) * cold - USE)

    return float(brentq(outlet, 1.0, 2.0 * hours * 3600.0) / (hours * 3600.0))


@pytest.mark.parametrize(("hours", "published"), [(6.0, 0.970), (24.0, 0.939)])
@pytest.mark.parametrize("draws_per_hour", [4, 12, 60, 360])
def test_share_drawn_meets_the_error_function_front(
    hours: float, published: float, draws_per_hour: int
) -> None:
    """0.970 emptied in 6 h, 0.939 in 24 h, at any number of draws; 0.005 allowed: a quarter of a layer."""
    assert front_share(hours) == pytest.approx(published, abs=0.0006)  # the printed digits
    assert share_drawn(hours, draws_per_hour) == pytest.approx(published, abs=0.005)


@pytest.mark.published
@pytest.mark.parametrize("hours", [1.0, 6.0])
def test_default_inlet_mixing_leaves_85_to_95_percent_usable(hours: float) -> None:
    """Typical good tanks deliver 85 to 95 % (tanks.md section 2, published figures of merit)."""
    assert 0.85 < share_drawn(hours, 12, stirred=0.10) < 0.95


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


@pytest.mark.parametrize("count", [1, 2, 4, 10, 24])
def test_mixed_layers_one_after_the_other_make_the_table(count: int, references: Path) -> None:
    """tank_mixed_layers.csv: share drawn until the last of N equal stirred zones falls to 45 °C.

    As a chain of wholly stirred stores; draws of 1/2000 pass from one to the next at their mean: 0.001.
    """
    rows = csv.DictReader(
        line for line in (references / "tank_mixed_layers.csv").read_text().splitlines() if line[0] != "#"
    )
    (published,) = (float(row["V45"]) for row in rows if int(row["N"]) == count)
    assert gammaincinv(count, 0.3) / count == pytest.approx(published, abs=5e-5)
    of = column(1.0 / count, stirred=1.0)
    chain = [filled(of, HOT) for _ in range(count)]
    each, taken = 1.0 / 2000.0, 0.0
    while temperatures(chain[-1])[-1] > USE:
        water = COLD
        for layers in chain:
            enter(layers, of, each, water)
            water = take_head(layers, each) / each
        taken += each
    assert taken == pytest.approx(published, abs=0.001)


def test_layers_are_sharper_than_a_thousand_mixed_ones() -> None:
    """tank_mixed_layers.csv ends with 0.983 for 1,000 of them."""
    assert share_drawn(1.0, 60) > 0.983


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


def idle_rows(references: Path) -> list[dict[str, str]]:
    """Rows of tank_idle_conduction.csv (image series)."""
    lines = (references / "tank_idle_conduction.csv").read_text().splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


@pytest.mark.parametrize("k_eff", ["water 0.64", "1.0", "1.5", "2.5"])
def test_idle_two_layers_match_the_conduction_table(k_eff: str, references: Path) -> None:
    """Share of the height at 45 °C or above within 0.005; the top within 0.3 K, a fifth of a layer's fall.

    Heat is conducted as often as the march does it.
    """
    of = column(conductivity=float(k_eff.split()[-1]))
    layers, done, far = filled(of, COLD, HOT), 0.0, []
    for row in idle_rows(references):
        if row["k_eff"] != k_eff:
            continue
        while done < 3600.0 * float(row["hours"]) - 1.0:
            conduct(layers, of, CONDUCTION)
            done += CONDUCTION
        top = temperatures(layers)[-1]
        share = 1.0 - height_of(layers, USE) if top >= USE else 0.0
        apart = share - float(row["frac_above_45"]), top - float(row["T_top_C"])
        if abs(apart[0]) > 0.005 or abs(apart[1]) > 0.3:
            far.append((row["hours"], *apart))
    assert heat(layers) == pytest.approx(0.5 * (HOT + COLD), rel=1e-12)
    assert not far


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
    ("litres", "loss", "end", "kwh"),
    [(189, 1.5, 53.86, 1.327), (300, 2.0, 54.78, 1.792), (4000, 12.0, 57.56, 11.17)],
)
@pytest.mark.parametrize("seconds", [10.0, 300.0, 3600.0])
def test_standby_decay(litres: float, loss: float, end: float, kwh: float, seconds: float) -> None:
    """tanks.md section 5: exponential cool-down from 60 °C in a 20 °C room over 24 h, by steps of any length.

    The table takes 985 kg/m³ and 4181 J/kgK, we take 988.035 and 4181.3: 0.31 % more heat capacity, so the
    excess over the room is compared after correcting the time constant; then 0.1 %.
    """
    of = column(litres / 1000.0, loss=loss)
    layers = filled(of, *[HOT] * 10)
    share, lost = fading(of, seconds), 0.0
    for _ in range(round(86400.0 / seconds)):
        lost += lose(layers, of.room, share)
    exact = 40.0 * np.exp(-loss * 86400.0 / (RHO_CP * of.volume))
    assert temperatures(layers) - 20.0 == pytest.approx(exact, rel=1e-9)
    table_capacity = 985.0 * 4181.0
    assert 20.0 + 40.0 * (exact / 40.0) ** (RHO_CP / table_capacity) == pytest.approx(end, abs=0.005)
    assert lost * RHO_CP / 3.6e6 == pytest.approx(kwh, rel=0.0035)  # the 0.31 % and the printed digits
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
