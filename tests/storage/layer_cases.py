"""Stores of layers for tests, and what they hold."""

import numpy as np
from numpy.typing import NDArray

from hpwhsim.storage.layers import Column, Layers, make_column, make_layers

Array = NDArray[np.float64]
WATER = 0.6406  # W/mK at 50 °C


def column(
    volume: float = 1.0,
    height: float = 1.5,
    *,
    stirred: float = 0.0,
    conductivity: float = WATER,
    loss: float = 0.0,
    tanks: int = 1,
) -> Column:
    """A store of `volume` m³ and `height` m in a room of 20 °C."""
    return make_column(
        volume, height, loss=loss, room=20.0, conductivity=conductivity, stirred=stirred, tanks=tanks
    )


def filled(of: Column, *temperature: float) -> Layers:
    """The store filled with equal slices, bottom to top. [°C]"""
    return make_layers(of, np.array(temperature, dtype=np.float64))


def volumes(layers: Layers) -> Array:
    """Of the layers, bottom to top; a copy. [m³]"""
    low, n = layers.span[:2]
    return layers.volume[low : low + n].copy()


def temperatures(layers: Layers) -> Array:
    """Of the layers, bottom to top; a copy. [°C]"""
    low, n = layers.span[:2]
    return layers.temperature[low : low + n].copy()


def middles(layers: Layers) -> Array:
    """Heights of the middles of the layers. [m³ below them]"""
    volume = volumes(layers)
    return np.cumsum(volume) - 0.5 * volume


def heat(layers: Layers) -> float:
    """Above 0 °C. [m³·K]"""
    return float((volumes(layers) * temperatures(layers)).sum())


def height_of(layers: Layers, value: float) -> float:
    """Height at which the store has a temperature, between the middles of its layers. [m³ below it]"""
    return float(np.interp(value, temperatures(layers), middles(layers)))
