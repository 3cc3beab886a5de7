"""The order of the layers: warmer above in each tank, and like neighbours merged where layers are many.

And water put in at a height.
"""

import numpy as np

from hpwhsim.kernel import kernel, kernel_apart
from hpwhsim.storage.layers import (
    EDGE,
    FEWEST,
    FIRST_LOSS,
    LESS_NICE,
    MOST,
    NEAR,
    PLACES,
    SLIVER,
    SPARE,
    Column,
    Layers,
    blend,
    close_gap,
    cut,
    join,
    open_place,
)


@kernel
def settle(layers: Layers, column: Column) -> None:
    """Mix what is warmer below than above, in each tank, and merge what is alike where layers are many.

    Pooled are adjacent violators: the one order of temperatures that keeps the heat and differs least
    (Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under Order Restrictions, 1972).
    Merging two layers loses their spread, ``v w / (v + w) (t - u)^2``; those that lose least go first.
    """
    low, n = layers.span[0], layers.span[1]
    temperature = layers.temperature[low : low + n]
    odd = 0
    for k in range(1, n):  # counted, not broken off: the compiler then takes several at once
        odd += temperature[k] < temperature[k - 1]
    crowded = n > layers.span[2] or low < EDGE or low + n > PLACES - EDGE
    if column.tanks > 1 or crowded:
        set_right(layers, column)
    elif odd > 0:
        layers.span[1] = pool(layers, low, low + n, low) - low


@kernel_apart
def set_right(layers: Layers, column: Column) -> None:
    """What `settle` does where tanks are several or layers many."""
    low, n = layers.span[0], layers.span[1]
    if low < EDGE or low + n > PLACES - EDGE:
        to_middle(layers)
    size = column.volume / column.tanks
    share = most_layers(column)
    start = layers.span[0]
    for tank in range(column.tanks):
        end = end_of_tank(layers, column, tank, size)
        last = pool(layers, start, end, start)
        if column.tanks == 1 or last - start > share + 2:
            last = merge(layers, start, last, share, FIRST_LOSS * size)
        close_gap(layers, last, end)
        start = last
    layers.span[2] = layers.span[1] + SPARE


@kernel
def most_layers(column: Column) -> int:
    """Layers that a tank keeps."""
    return MOST if column.tanks == 1 else max(MOST // column.tanks, FEWEST)


@kernel
def end_of_tank(layers: Layers, column: Column, tank: int, size: float) -> int:
    """Place of the first layer above a tank, cut there if it reaches into it."""
    if tank == column.tanks - 1:
        return layers.span[0] + layers.span[1]
    return cut(layers, (tank + 1) * size)


@kernel_apart
def to_middle(layers: Layers) -> None:
    """Move the layers to the middle of their arrays."""
    low, n = layers.span[0], layers.span[1]
    new = (PLACES - n) // 2
    if new < low:
        for k in range(n):
            layers.volume[new + k], layers.temperature[new + k] = (
                layers.volume[low + k],
                layers.temperature[low + k],
            )
    else:
        for k in range(n - 1, -1, -1):
            layers.volume[new + k], layers.temperature[new + k] = (
                layers.volume[low + k],
                layers.temperature[low + k],
            )
    layers.span[0] = new


@kernel_apart
def pool(layers: Layers, first: int, end: int, start: int) -> int:
    """Pool inversions of the layers from `first` to `end` with those from `start` on, in order; new end."""
    volume, temperature = layers.volume, layers.temperature
    write = first
    for k in range(first, end):
        v, t = volume[k], temperature[k]
        while write > start and t < temperature[write - 1]:
            write -= 1
            both = v + volume[write]
            t = (t * v + temperature[write] * volume[write]) / both
            v = both
        volume[write], temperature[write] = v, t
        write += 1
    return write


@kernel_apart
def merge(layers: Layers, first: int, end: int, most: int, loss: float) -> int:
    """Merge neighbours that lose less than `loss` [m³·K²], then more, to at most `most` layers; new end."""
    volume, temperature = layers.volume, layers.temperature
    while True:
        last = first
        for k in range(first + 1, end):
            apart, both = temperature[k] - temperature[last], volume[k] + volume[last]
            if apart * apart * volume[k] * volume[last] < loss * both:
                temperature[last] = (temperature[last] * volume[last] + temperature[k] * volume[k]) / both
                volume[last] = both
            else:
                last += 1
                volume[last], temperature[last] = volume[k], temperature[k]
        end = last + 1
        if end - first <= most:
            return end
        loss *= LESS_NICE


@kernel_apart
def insert(layers: Layers, height: float, volume: float, temperature: float, mixes: bool) -> None:
    """Put water at a height: it joins water of its temperature there, or splits the layer that it meets.

    Where it `mixes`: with water below that is warmer, or above that is colder, as `pool` would.
    """
    low, n = layers.span[0], layers.span[1]
    at, below = 0, height
    standing = layers.volume[low : low + n]
    while at < n and below > standing[at] - SLIVER:
        below -= standing[at]
        at += 1
    k, end = low + at, low + n
    near = NEAR if volume >= SLIVER else np.inf
    for j in (k, k - 1):
        beside = j == k or below < SLIVER
        if low <= j < end and beside and abs(layers.temperature[j] - temperature) < near:
            blend(layers, j, volume, temperature)
            return
    splits = k < end and below >= SLIVER
    if splits:  # k becomes the upper part, k - 1 the lower one
        open_place(layers, k)
        layers.volume[k], layers.temperature[k] = below, layers.temperature[k + 1]
        layers.volume[k + 1] -= below
        k += 1
        end += 1
    if mixes and k > low and temperature < layers.temperature[k - 1]:
        blend(layers, k - 1, volume, temperature)
        sink(layers, k - 1)
    elif mixes and k < end and temperature > layers.temperature[k]:
        blend(layers, k, volume, temperature)
        rise(layers, k)
    else:
        open_place(layers, k)
        layers.volume[k], layers.temperature[k] = volume, temperature


@kernel
def sink(layers: Layers, k: int) -> None:
    """Mix a layer with those below it that are warmer."""
    below = k
    while below > layers.span[0] and layers.temperature[below - 1] > layers.temperature[k]:
        below -= 1
        join(layers, below, k)
    if below < k:
        layers.volume[below], layers.temperature[below] = layers.volume[k], layers.temperature[k]
        close_gap(layers, below + 1, k + 1)


@kernel
def rise(layers: Layers, k: int) -> None:
    """Mix a layer with those above it that are colder."""
    above, last = k, layers.span[0] + layers.span[1] - 1
    while above < last and layers.temperature[above + 1] < layers.temperature[k]:
        above += 1
        join(layers, above, k)
    close_gap(layers, k + 1, above + 1)
