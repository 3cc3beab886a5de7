"""Heat put into a store, or drawn out, where it stands: an element, a condenser at the wall, a defrost."""

from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.storage.layers import SLIVER, Column, Layers, cut, sensed


@kernel_apart
def heat_upper(layers: Layers, column: Column, height: float, heat: float, setpoint: float) -> float:
    """Heat the water above a height towards `setpoint` °C; the heat taken. [m³·K]

    A heater at the bottom of that part: its plume rises until it meets water as warm as itself. Of tanks in
    series each has its own, the coldest end first: no plume rises out of a tank. The store is settled.
    """
    size = column.volume / column.tanks
    taken = 0.0
    tank = min(int(height / size), column.tanks - 1)
    k = cut(layers, height)
    while tank < column.tanks and taken < heat:
        low, n = layers.span[0], layers.span[1]
        end = low + n
        if tank < column.tanks - 1:
            end = cut(layers, (tank + 1) * size)
        if k < end:
            taken += plume(layers, k, end, heat - taken, setpoint)
        k = cut(layers, (tank + 1) * size) if tank < column.tanks - 1 else end
        tank += 1
    return taken


@kernel
def plume(layers: Layers, first: int, end: int, heat: float, setpoint: float) -> float:
    """Heat the layers from `first` to `end` from below, to the setpoint at most; the heat taken. [m³·K]"""
    volume, temperature = layers.volume, layers.temperature
    room = 0.0
    for k in range(first, end):
        room += volume[k] * max(setpoint - temperature[k], 0.0)
    taken = left = min(heat, room)
    if left <= 0.0:
        return 0.0
    warm, pooled, k = temperature[first], volume[first], first
    while k + 1 < end:
        needed = pooled * (temperature[k + 1] - warm)
        if needed >= left:
            break
        left -= needed
        k += 1
        warm = temperature[k]
        pooled += volume[k]
    warm += left / pooled
    for j in range(first, k + 1):
        temperature[j] = warm
    return taken


@kernel
def coldest_foot(layers: Layers, column: Column, height: float) -> float:
    """Coldest of the water just above a height and at the feet of tanks in series above it. [°C]"""
    coldest, _, _ = sensed(layers, height)
    if column.tanks > 1:
        size = column.volume / column.tanks
        for tank in range(1, column.tanks):
            if tank * size > height:
                at_foot, _, _ = sensed(layers, tank * size + SLIVER)
                coldest = min(coldest, at_foot)
    return coldest


@kernel_apart
def at_wall(layers: Layers, top: float, hottest: float) -> tuple[float, float]:
    """What a condenser at the wall below the height `top` meets: heat lacking [m³·K] and temperature [°C].

    Each layer counts by what it lacks to the hottest water that the condenser makes.
    """
    low, n = layers.span[0], layers.span[1]
    volume, temperature = layers.volume[low : low + n], layers.temperature[low : low + n]
    lacking = met = height = 0.0
    for k in range(n):
        part = min(volume[k], top - height)
        if part <= 0.0:
            break
        lacks = part * max(hottest - temperature[k], 0.0)
        lacking += lacks
        met += lacks * temperature[k]
        height += volume[k]
    return lacking, met / lacking if lacking > 0.0 else hottest


@kernel_apart
def heat_wall(layers: Layers, top: float, hottest: float, share: float) -> None:
    """Give the layers below the height `top` a share of what each lacks to `hottest` °C."""
    temperature = layers.temperature[layers.span[0] : cut(layers, top)]
    for k in range(temperature.size):
        temperature[k] += share * max(hottest - temperature[k], 0.0)


@kernel_apart
def cool_between(layers: Layers, bottom: float, top: float, heat: float) -> None:
    """Take heat out of the water between two heights, evenly. [m³·K]"""
    end = layers.span[0] + layers.span[1]
    k, below = layers.span[0], 0.0
    while k < end and below + layers.volume[k] <= bottom:
        below += layers.volume[k]
        k += 1
    while k < end and below < top:
        part = min(below + layers.volume[k], top) - max(below, bottom)
        layers.temperature[k] -= heat * part / (top - bottom) / layers.volume[k]
        below += layers.volume[k]
        k += 1
