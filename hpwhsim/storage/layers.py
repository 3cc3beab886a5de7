"""A stratified store: layers of water that move with it, from the bottom up.

Water that enters is a layer, or joins one of its own temperature; water that leaves is taken from the layers
where it leaves, and what is above or below moves up or down as a whole. Nothing is remapped, so a front stays
as sharp as conduction and mixing leave it, whatever the time between two looks at the store.

Volumes are in m³ and heights are the volume below them; heat is in m³·K (multiply by ``RHO_CP`` for J).
Tanks in series are one column, cut into tanks of equal volume: water passes from one to the next, heat does
not.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.kernel import kernel, kernel_apart

RHO_CP = 988.035 * 4181.3
"""Heat capacity of water by volume, J/m³K: density and specific heat at 50 °C, one atmosphere (IAPWS-95)."""

MOST = 64
"""Layers of a tank after a merger; with it a year's kWh are those of twice as many, see tests."""

NEAR = 0.05  # K: water so near to a layer's temperature joins it
SPARE = 16  # layers more than after the last merger before the next
FEWEST = 6  # of each of many tanks in series
FIRST_LOSS = 1e-5  # K²: spread over the store's volume that a merger may always lose
LESS_NICE = 4.0  # times more, until the layers are few enough
PLACES = 4096  # of the arrays; the layers lie in their middle
EDGE = 64  # free places at either end, below which the layers are moved to the middle again
LEAST_LIFT = 1.0  # K
SLIVER = 1e-9  # m³ that are no layer of their own


class Column(NamedTuple):
    """What the store is."""

    volume: float  # m³
    tanks: int  # in series, bottom to top
    area: float  # of the water's section, of the chain of tanks, m²
    stirred: float  # at the foot of each tank, by what flows in, m³
    loss: float  # heat loss coefficient of the whole store, W/K
    room: float  # °C
    diffusivity: float  # effective, of heat along the height, m²/s


class Layers(NamedTuple):
    """The water of a store and work space; filled by the march."""

    volume: Array  # (place,) m³
    temperature: Array  # (place,) °C
    span: NDArray[
        np.int64
    ]  # (3,) place of the lowest layer, how many there are, and how many call for a merger
    piece: Array  # (5, place) work space of the conduction


def make_column(
    volume: float,
    height: float,
    *,
    loss: float,
    room: float,
    conductivity: float,
    stirred: float,
    tanks: int = 1,
) -> Column:
    """Constants of a store.

    Parameters
    ----------
    volume, height : float
        Of the water in all tanks; height of the chain, one upon the other. [m³], [m]
    loss : float
        Heat loss coefficient of the whole store, spread evenly over its volume. [W/K]
    room : float
        Temperature around the store. [°C]
    conductivity : float
        Effective vertical conductivity. [W/mK]
    stirred : float
        Share of a tank that water entering at its foot stirs.
    tanks : int
        In series.
    """
    return Column(
        volume=volume,
        tanks=tanks,
        area=volume / height,
        stirred=stirred * volume / tanks,
        loss=loss,
        room=room,
        diffusivity=conductivity / RHO_CP,
    )


def make_layers(column: Column, temperature: Array) -> Layers:
    """The store filled with slices of equal volume. [°C], bottom to top."""
    layers = Layers(
        np.zeros(PLACES), np.zeros(PLACES), np.zeros(3, dtype=np.int64), np.zeros((5, 2 * PLACES))
    )
    low = PLACES // 2 - temperature.size // 2
    layers.span[:] = low, temperature.size, 0
    layers.volume[low : low + temperature.size] = column.volume / temperature.size
    layers.temperature[low : low + temperature.size] = temperature
    return layers


def slices(layers: Layers, count: int) -> Array:
    """Mean temperatures of `count` slices of equal volume, bottom to top. [°C]"""
    low, n = layers.span[0], layers.span[1]
    volume = layers.volume[low : low + n]
    edges = np.concatenate(([0.0], np.cumsum(volume)))
    heat = np.concatenate(([0.0], np.cumsum(volume * layers.temperature[low : low + n])))
    at = np.linspace(0.0, edges[-1], count + 1)
    return np.asarray(np.diff(np.interp(at, edges, heat)) / np.diff(at))


@kernel
def sensed(layers: Layers, height: float) -> tuple[float, float, float]:
    """Temperature at a height [°C], and how far that layer reaches above and below it [m³]."""
    low, n = layers.span[0], layers.span[1]
    volume = layers.volume[low : low + n]
    below, k = height, 0
    for k in range(n):
        if below < volume[k]:
            break
        below -= volume[k]
    else:
        below = volume[n - 1]
    return layers.temperature[low + k], volume[k] - below, below


@kernel
def top_of(layers: Layers) -> float:
    """Temperature at the top. [°C]"""
    return layers.temperature[layers.span[0] + layers.span[1] - 1]


@kernel
def foot(layers: Layers) -> float:
    """Temperature at the bottom. [°C]"""
    return layers.temperature[layers.span[0]]


@kernel
def level_of(layers: Layers, column: Column, value: float) -> float:
    """Lowest height at which the store is at least `value` °C; its volume where it is colder throughout."""
    low, n = layers.span[0], layers.span[1]
    volume, temperature = layers.volume[low : low + n], layers.temperature[low : low + n]
    height = 0.0
    for k in range(n):
        if temperature[k] >= value:
            return height
        height += volume[k]
    return column.volume


@kernel
def mean_above(layers: Layers, height: float, volume: float) -> float:
    """Mean temperature of the `volume` that lies above a height. [°C]"""
    k = layers.span[0]
    last = k + layers.span[1] - 1
    below = height
    while k < last and below >= layers.volume[k]:
        below -= layers.volume[k]
        k += 1
    left, heat = volume, 0.0
    part = layers.volume[k] - below
    while k < last and part < left:
        heat += part * layers.temperature[k]
        left -= part
        k += 1
        part = layers.volume[k]
    return (heat + left * layers.temperature[k]) / volume


@kernel
def mean_brought(layers: Layers, height: float, heat: float, hot: float) -> float:
    """Mean temperature of the water above a height, from there up, that `heat` brings to `hot` °C.

    Water that is nearly as hot counts as colder by `LEAST_LIFT`. Heat in m³·K; none: of the first water.
    """
    k = layers.span[0]
    last = k + layers.span[1] - 1
    below = height
    while k < last and below >= layers.volume[k]:
        below -= layers.volume[k]
        k += 1
    left, volume, held = heat, 0.0, 0.0
    part, warm = layers.volume[k] - below, layers.temperature[k]
    lift = max(hot - warm, LEAST_LIFT)
    while k < last and part * lift < left:
        left -= part * lift
        volume += part
        held += part * warm
        k += 1
        part, warm = layers.volume[k], layers.temperature[k]
        lift = max(hot - warm, LEAST_LIFT)
    part = left / lift
    return (held + part * warm) / (volume + part) if left > 0.0 else warm


@kernel
def heat_of(layers: Layers) -> float:
    """Heat above 0 °C. [m³·K]"""
    low, n = layers.span[0], layers.span[1]
    heat = 0.0
    for k in range(low, low + n):
        heat += layers.volume[k] * layers.temperature[k]
    return heat


@kernel
def join(layers: Layers, k: int, other: int) -> None:
    """Give the water of a layer to another, which keeps the heat; the layer stays in its place, empty."""
    both = layers.volume[k] + layers.volume[other]
    layers.temperature[other] = (
        layers.temperature[k] * layers.volume[k] + layers.temperature[other] * layers.volume[other]
    ) / both
    layers.volume[other] = both
    layers.volume[k] = 0.0


@kernel
def take_foot(layers: Layers, volume: float) -> float:
    """Take water from the bottom, less than there is; its heat. [m³·K]"""
    k, n = layers.span[0], layers.span[1]
    left, heat = volume, 0.0
    while n > 1 and layers.volume[k] <= left:
        heat += layers.volume[k] * layers.temperature[k]
        left -= layers.volume[k]
        k += 1
        n -= 1
    layers.volume[k] -= left
    heat += left * layers.temperature[k]
    if layers.volume[k] < SLIVER and n > 1:
        join(layers, k, k + 1)
        k += 1
        n -= 1
    layers.span[0], layers.span[1] = k, n
    return heat


@kernel
def take_head(layers: Layers, volume: float) -> float:
    """Take water from the top, less than there is; its heat. [m³·K]"""
    low, n = layers.span[0], layers.span[1]
    left, heat = volume, 0.0
    k = low + n - 1
    while k > low and layers.volume[k] <= left:
        heat += layers.volume[k] * layers.temperature[k]
        left -= layers.volume[k]
        k -= 1
    layers.volume[k] -= left
    heat += left * layers.temperature[k]
    if layers.volume[k] < SLIVER and k > low:
        join(layers, k, k - 1)
        k -= 1
    layers.span[1] = k - low + 1
    return heat


@kernel_apart
def take_above(layers: Layers, height: float, volume: float) -> float:
    """Take the `volume` that lies above a height; its heat. What is above comes down. [m³·K]"""
    low, n = layers.span[0], layers.span[1]
    last = low + n - 1
    k = low
    below = height
    while k < last and below >= layers.volume[k]:
        below -= layers.volume[k]
        k += 1
    first, left, heat = k, volume, 0.0
    part = layers.volume[k] - below
    while k < last and part <= left:
        heat += part * layers.temperature[k]
        layers.volume[k] -= part
        left -= part
        k += 1
        part = layers.volume[k]
    layers.volume[k] -= left
    heat += left * layers.temperature[k]
    keep = first + 1  # what of the first layer lies below stays
    if layers.volume[first] < SLIVER and first < last:
        join(layers, first, max(k, first + 1))
        keep, k = first, max(k, first + 1)
    if layers.volume[k] < SLIVER and k > keep and k < last:
        join(layers, k, k + 1)
        k += 1
    gone = max(k - keep, 0)
    if gone > 0:
        for j in range(k, last + 1):
            layers.volume[j - gone], layers.temperature[j - gone] = layers.volume[j], layers.temperature[j]
        layers.span[1] = n - gone
    return heat


@kernel
def blend(layers: Layers, k: int, volume: float, temperature: float) -> None:
    """Let water join a layer."""
    both = layers.volume[k] + volume
    layers.temperature[k] = (layers.temperature[k] * layers.volume[k] + temperature * volume) / both
    layers.volume[k] = both


@kernel
def add_foot(layers: Layers, volume: float, temperature: float) -> None:
    """Put water at the bottom."""
    low = layers.span[0]
    if abs(layers.temperature[low] - temperature) < NEAR or volume < SLIVER:
        blend(layers, low, volume, temperature)
        return
    low -= 1
    layers.volume[low], layers.temperature[low] = volume, temperature
    layers.span[0] = low
    layers.span[1] += 1


@kernel
def add_head(layers: Layers, volume: float, temperature: float) -> None:
    """Put water at the top."""
    top = layers.span[0] + layers.span[1] - 1
    if abs(layers.temperature[top] - temperature) < NEAR or volume < SLIVER:
        blend(layers, top, volume, temperature)
        return
    layers.volume[top + 1], layers.temperature[top + 1] = volume, temperature
    layers.span[1] += 1


@kernel_apart
def cut(layers: Layers, height: float) -> int:
    """Make a height a boundary between two layers; place of the layer above it."""
    low, n = layers.span[0], layers.span[1]
    end = low + n
    k, below = low, height
    while k < end and below > layers.volume[k] - SLIVER:
        below -= layers.volume[k]
        k += 1
    if k == end or below < SLIVER:
        return k
    open_place(layers, k)
    layers.volume[k + 1] -= below
    layers.volume[k] = below
    return k + 1


@kernel
def open_place(layers: Layers, k: int) -> None:
    """Move the layers from place `k` up by one; what is at `k` is to be filled, and is as it was."""
    # a part of an array from its first place on, and a water in hand: the compiler then looks at no sign
    moved = layers.span[0] + layers.span[1] - k
    volume, temperature = layers.volume[k : k + moved + 1], layers.temperature[k : k + moved + 1]
    v, t = volume[0], temperature[0]
    for j in range(1, moved + 1):
        volume[j], v = v, volume[j]
        temperature[j], t = t, temperature[j]
    layers.span[1] += 1


@kernel
def close_gap(layers: Layers, first: int, end: int) -> None:
    """Take the places from `first` up to `end` out of the arrays; what lies above them comes down."""
    last = layers.span[0] + layers.span[1]
    if end > first:
        volume, temperature = layers.volume[first:last], layers.temperature[first:last]
        gone = end - first
        for k in range(last - end):
            volume[k], temperature[k] = volume[k + gone], temperature[k + gone]
        layers.span[1] -= gone
