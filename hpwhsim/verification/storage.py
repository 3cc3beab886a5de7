"""Checks of `storage`: fronts, mixed layers, conduction and loss, on the march's own store."""

from collections.abc import Iterator

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.plant.march import CONDUCTION
from hpwhsim.storage.layers import (
    RHO_CP,
    Column,
    Layers,
    make_column,
    make_layers,
    slices,
    take_head,
)
from hpwhsim.storage.order import pool, settle
from hpwhsim.storage.still import conduct, enter, fading, lose
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

HEIGHT, WATER = 1.5, 0.6406  # m; W/mK at 50 °C
HOT, COLD, USE, ROOM = 60.0, 10.0, 45.0, 20.0  # °C


def column(
    volume: float = 1.0, *, conductivity: float = WATER, stirred: float = 0.0, loss: float = 0.0
) -> Column:
    """A store of `volume` m³ in a room of 20 °C."""
    return make_column(volume, HEIGHT, loss=loss, room=ROOM, conductivity=conductivity, stirred=stirred)


def filled(of: Column, *temperature: float) -> Layers:
    """The store filled with equal slices, bottom to top. [°C]"""
    return make_layers(of, np.array(temperature, dtype=np.float64))


def _contents(layers: Layers) -> tuple[Array, Array]:
    """Volumes [m³] and temperatures [°C] of the layers, bottom to top."""
    low, n = layers.span[:2]
    return layers.volume[low : low + n].copy(), layers.temperature[low : low + n].copy()


def drawn(of: Column, hours: float, draws_per_hour: int) -> tuple[Array, Array]:
    """What left a hot store drawn 1.3 times in even draws: volumes of its layers [stores], and °C.

    As the march moves a store: each draw leaves and enters at once, and heat is conducted now and then.
    """
    layers, unmixed = filled(of, HOT), 0.0
    each = of.volume / (hours * draws_per_hour)
    parts: list[float] = []
    warm: list[float] = []
    for _ in range(int(1.3 * hours * draws_per_hour)):
        left = each
        for size, here in zip(*(part[::-1] for part in _contents(layers)), strict=True):
            taken = min(size, left)
            if warm and warm[-1] == here:
                parts[-1] += taken
            else:
                parts.append(taken)
                warm.append(here)
            left -= taken
            if left <= 0.0:
                break
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
    """The same from the exact front: plug flow with conduction, after Carslaw and Jaeger."""
    from scipy.optimize import brentq
    from scipy.special import erfc, erfcx

    alpha = WATER / RHO_CP
    speed = HEIGHT / (hours * 3600.0)

    def outlet(t: float) -> float:
        ahead = (HEIGHT - speed * t) / (2.0 * np.sqrt(alpha * t))
        behind = (HEIGHT + speed * t) / (2.0 * np.sqrt(alpha * t))
        cold = 0.5 * (erfc(ahead) + np.exp(-(ahead**2)) * erfcx(behind))
        return float(HOT - (HOT - COLD) * cold - USE)

    return float(brentq(outlet, 1.0, 2.0 * hours * 3600.0) / (hours * 3600.0))


def front_checks() -> Iterator[Check]:
    """A store emptied in 6 and in 24 hours, by 4 to 360 draws an hour, and with the default inlet mixing."""
    for hours in (6, 24):
        exact = front_share(float(hours))
        points = [Point(f"{n} draws an hour", exact, share_drawn(float(hours), n)) for n in (4, 12, 60, 360)]
        yield worst(f"storage.front.{hours}h", points)
    yield held("storage.front.default_mixing", share_drawn(6.0, 12, stirred=0.10))
    yield held("storage.front.sharper", share_drawn(1.0, 60))


def mixed_layer_checks() -> Iterator[Check]:
    """Stirred zones in a row: share drawn until the last falls to 45 °C, draws of 1/2000."""
    table = {int(row["N"]): float(row["V45"]) for row in rows("tank_mixed_layers")}
    for count in (1, 2, 4, 10, 24):
        of = column(1.0 / count, stirred=1.0)
        chain = [filled(of, HOT) for _ in range(count)]
        each, taken = 1.0 / 2000.0, 0.0
        while chain[-1].temperature[chain[-1].span[0] + chain[-1].span[1] - 1] > USE:
            water = COLD
            for layers in chain:
                enter(layers, of, each, water)
                water = take_head(layers, each) / each
            taken += each
        yield held(f"storage.mixed_layers.{count}", taken, table[count])


def standing_checks() -> Iterator[Check]:
    """Idle stores: conduction alone, loss alone, and both against scipy on the same store."""
    shares, tops = [], []
    layers, of, done, last = filled(column(), HOT), column(), 0.0, ""
    for row in rows("tank_idle_conduction"):
        if row["k_eff"] != last:
            of = column(conductivity=float(row["k_eff"].split()[-1]))
            layers, done, last = filled(of, COLD, HOT), 0.0, row["k_eff"]
        while done < 3600.0 * float(row["hours"]) - 1.0:
            conduct(layers, of, CONDUCTION)
            done += CONDUCTION
        size, warm = _contents(layers)
        at = f"{row['k_eff'].split()[-1]} W/mK, {row['hours']} h"
        height = float(np.interp(USE, warm, np.cumsum(size) - 0.5 * size))
        share = 1.0 - height if warm[-1] >= USE else 0.0
        shares.append(Point(at, float(row["frac_above_45"]), share))
        tops.append(Point(at, float(row["T_top_C"]), float(warm[-1])))
    yield worst("storage.idle.share_above_45", shares)
    yield worst("storage.idle.top", tops)
    for litres, loss in ((189, 1.5), (300, 2.0), (4000, 12.0)):
        of = column(litres / 1000.0, loss=loss)
        layers, share, lost = filled(of, *[HOT] * 10), fading(of, 900.0), 0.0
        for _ in range(96):
            lost += lose(layers, of.room, share)
        yield held(f"storage.standby.{litres}L_end", float(_contents(layers)[1].mean()))
        yield held(f"storage.standby.{litres}L_lost", lost * RHO_CP / 3.6e6)
    yield _day_by_scipy()


def _day_by_scipy() -> Check:
    """A lopsided store that conducts and loses heat for a day, beside scipy's integration of 300 cells."""
    from scipy.integrate import solve_ivp

    start = [14.0, 16.0, 16.0, 21.0, 38.0, 52.0, 58.0, 61.0, 64.0, 64.0]
    of = column(0.4, loss=3.0)
    layers, share = filled(of, *start), fading(of, 900.0)
    for _ in range(24):
        lose(layers, of.room, share)
        lose(layers, of.room, share)
        conduct(layers, of, CONDUCTION)
        lose(layers, of.room, share)
        lose(layers, of.room, share)
        settle(layers, of)
    cells = 300
    alpha, thick = WATER / RHO_CP, HEIGHT / cells
    fade = 3.0 / (RHO_CP * 0.4)

    def rate(_: float, t: Array) -> Array:
        flux = np.concatenate(([0.0], np.diff(t), [0.0])) * alpha / thick**2
        return np.asarray(np.diff(flux) - fade * (t - ROOM))

    solved = solve_ivp(
        rate, (0.0, 86400.0), np.repeat(start, cells // 10), method="LSODA", rtol=1e-8, atol=1e-8
    )
    exact = solved.y[:, -1].reshape(10, -1).mean(axis=1)
    found = slices(layers, 10)
    return worst(
        "storage.idle.scipy",
        [Point(f"tenth {k + 1} from the foot", float(exact[k]), float(found[k])) for k in range(10)],
    )


def order_checks() -> Iterator[Check]:
    """Warm water under cold is pooled as isotonic regression has it, by scipy."""
    from scipy.optimize import isotonic_regression

    random = np.random.default_rng(5)
    points = []
    for case in range(20):
        warm, size = random.uniform(5.0, 95.0, 25), random.uniform(0.001, 1.0, 25)
        store = filled(column(float(size.sum())), *warm)
        low, n = store.span[:2]
        store.volume[low : low + n] = size
        store.span[1] = pool(store, low, low + n, low) - low
        pooled, found = _contents(store)
        middles = np.cumsum(size) - 0.5 * size
        exact = isotonic_regression(warm, weights=size).x
        got = found[np.minimum(np.searchsorted(np.cumsum(pooled), middles), found.size - 1)]
        points += [Point(f"case {case}, layer {k}", float(exact[k]), float(got[k])) for k in range(25)]
    yield worst("storage.order.isotonic", points)
