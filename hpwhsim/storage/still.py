"""What happens to a store that nobody moves: conduction, standby loss, and the stirring of what flows in."""

from hpwhsim.arrays import Array
from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.plain_math import exponential_less_one
from hpwhsim.storage.layers import (
    FIRST_LOSS,
    PLACES,
    RHO_CP,
    SPARE,
    Column,
    Layers,
    add_foot,
    close_gap,
    cut,
    take_foot,
)
from hpwhsim.storage.order import end_of_tank, merge, most_layers, set_right, to_middle

THIN = 0.02  # m: thickness of the pieces at a steep step
GROWTH = 1.5  # of the next piece away from it
STEEP = 0.5  # K between layers that makes a step steep
AT_ONCE = 0.25  # of the stirred zone leaves it as one layer
THINNEST = 1e-4  # m: less is no piece of its own
MANY = PLACES // 2 - 512  # pieces; so many fit above the middle of the arrays, beside other tanks


@kernel_apart
def conduct(layers: Layers, column: Column, seconds: float) -> None:
    """Conduction along the height of each tank; its ends are insulated.

    The layers are cut finer beside steep steps, in pieces that grow away from the step; the pieces exchange
    heat implicitly, so that any time is stable, in two parts; then those that lose least are merged.
    """
    set_right(layers, column)
    to_middle(layers)  # the pieces need room
    size = column.volume / column.tanks
    share = most_layers(column)
    start = layers.span[0]
    for tank in range(column.tanks):
        end = end_of_tank(layers, column, tank, size)
        if end - start > 1:
            count = cut_finer(layers, column, start, end)
            exchange(layers.piece, count, 0.5 * column.diffusivity * seconds, 2)
            end = put_back(layers, column, start, end, count)
            last = merge(layers, start, end, share, FIRST_LOSS * size)
            close_gap(layers, last, end)
            end = last
        start = end
    layers.span[2] = layers.span[1] + SPARE


@kernel_apart
def cut_finer(layers: Layers, column: Column, start: int, end: int) -> int:
    """Fill the work space with pieces of the layers from `start` to `end`: height [m] and °C; how many."""
    height, warm = layers.piece[0], layers.piece[1]
    m = 0
    for k in range(start, end):
        h, t = layers.volume[k] / column.area, layers.temperature[k]
        if h < THINNEST and m > 0:
            warm[m - 1] = (warm[m - 1] * height[m - 1] + t * h) / (height[m - 1] + h)
            height[m - 1] += h
            continue
        below = k > start and abs(t - layers.temperature[k - 1]) > STEEP
        above = k < end - 1 and abs(layers.temperature[k + 1] - t) > STEEP
        if h <= GROWTH * THIN or not (below or above) or m > MANY:
            height[m], warm[m] = h, t
            m += 1
            continue
        first = m
        reach = 0.5 * h if below and above else h
        done, piece = 0.0, THIN
        while done < reach:
            part = min(piece, reach - done)
            if reach - done - part < 0.5 * THIN:
                part = reach - done
            height[m], warm[m] = part, t
            m += 1
            done += part
            piece *= GROWTH
        if below and above:  # the other half, the other way round
            for j in range(m - 1, first - 1, -1):
                height[m], warm[m] = height[j], t
                m += 1
        elif above:
            i, j = first, m - 1
            while i < j:
                height[i], height[j] = height[j], height[i]
                i, j = i + 1, j - 1
    return m


@kernel_apart
def exchange(piece: Array, count: int, reach: float, times: int) -> None:
    """Conduction between the pieces, some times over a while, implicit: the tridiagonal equations by Thomas.

    `reach` is diffusivity times the while. [m²]
    """
    height, warm, inverse, upper, lower = piece[0], piece[1], piece[2], piece[3], piece[4]
    above = 0.0
    for k in range(count):
        below = above
        above = reach / (0.5 * (height[k] + height[k + 1])) if k < count - 1 else 0.0
        here = 1.0 / height[k]
        diagonal = 1.0 + (above + below) * here
        lower[k] = 0.0
        if k > 0:
            lower[k] = -below * here * inverse[k - 1]
            diagonal -= lower[k] * upper[k - 1]
        upper[k] = -above * here
        inverse[k] = 1.0 / diagonal
    for _ in range(times):
        for k in range(1, count):
            warm[k] -= lower[k] * warm[k - 1]
        warm[count - 1] *= inverse[count - 1]
        for k in range(count - 2, -1, -1):
            warm[k] = (warm[k] - upper[k] * warm[k + 1]) * inverse[k]


@kernel_apart
def put_back(layers: Layers, column: Column, start: int, end: int, count: int) -> int:
    """Make layers of the pieces in place of those from `start` to `end`; place after the last."""
    height, warm = layers.piece[0], layers.piece[1]
    more = count - (end - start)
    if more < 0:
        close_gap(layers, start + count, end)
    elif more > 0:
        for k in range(layers.span[0] + layers.span[1] - 1, end - 1, -1):
            layers.volume[k + more], layers.temperature[k + more] = layers.volume[k], layers.temperature[k]
        layers.span[1] += more
    for k in range(count):
        layers.volume[start + k], layers.temperature[start + k] = height[k] * column.area, warm[k]
    return start + count


@kernel
def lose(layers: Layers, room: float, share: float) -> float:
    """Standby loss to a room [°C] that takes a share of every layer's excess; the heat. [m³·K]"""
    low, n = layers.span[0], layers.span[1]
    volume, temperature = layers.volume[low : low + n], layers.temperature[low : low + n]
    lost = 0.0
    for k in range(n):
        fall = (temperature[k] - room) * share
        temperature[k] -= fall
        lost += volume[k] * fall
    return lost


def fading(column: Column, seconds: float) -> float:
    """Share of the excess over the room's temperature that standby takes in a time."""
    return float(-exponential_less_one(-column.loss * seconds / (RHO_CP * column.volume)))


@kernel_apart
def enter(layers: Layers, column: Column, volume: float, temperature: float) -> None:
    """Let water in at the foot, where it stirs a zone.

    The zone is one water; as much of it leaves upwards as comes in, and a mixed volume empties
    exponentially: what leaves has the mean temperature of that time, in parts of a quarter of the zone.
    """
    zone = column.stirred
    if zone <= 0.0:
        add_foot(layers, volume, temperature)
        return
    mixed = take_foot(layers, zone) / zone
    parts = int(volume / (AT_ONCE * zone)) + 1
    part = volume / parts
    gone = -exponential_less_one(-part / zone)
    for _ in range(parts):
        over = (mixed - temperature) * gone  # of the zone leaves, above what enters
        add_foot(layers, part, temperature + over * zone / part)
        mixed -= over
    add_foot(layers, zone, mixed)


@kernel_apart
def stir_feet(layers: Layers, column: Column, rise: float, inserted: float, port: float) -> None:
    """Stir the foot of every later tank in series by the water that came up into it.

    A zone through which a volume ``v`` flows comes nearer to its mean by ``1 - exp(-v / zone)``: a flow far
    larger than the zone mixes it through. It keeps its heat.

    Parameters
    ----------
    layers, column
        The store.
    rise, inserted, port : float
        Water that came in at the bottom and at the height `port`. [m³]
    """
    zone = column.stirred
    size = column.volume / column.tanks
    for tank in range(1, column.tanks):
        through = rise if tank * size < port else rise + inserted
        if through <= 0.0:
            continue
        share = -exponential_less_one(-through / zone)
        first = cut(layers, tank * size)
        end = cut(layers, tank * size + zone)
        heat = volume = 0.0
        for k in range(first, end):
            heat += layers.volume[k] * layers.temperature[k]
            volume += layers.volume[k]
        for k in range(first, end):
            layers.temperature[k] += share * (heat / volume - layers.temperature[k])
