"""Points of a sample in the unit cube, and the values of keys at them."""

import math
import re
from typing import Any, NamedTuple

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.errors import InputError
from hpwhsim.io.units import DIFFERENCE, TEMPERATURE, Kind, QuantityError, read_quantity
from hpwhsim.scenario.keys import inner_types, kind_of, known_fields
from hpwhsim.scenario.study import Sample, Spread

DIGITS = 10  # of a sampled value, so that a processor's last digit is none of it
_NUMBER = re.compile(r"[-+]?\d[\d,.]*(?:[eE][-+]?\d+)?")


class Drawn(NamedTuple):
    """A key with its distribution, in the unit that the user wrote first."""

    key: str
    form: str
    numbers: tuple[float, ...]  # of the form; a normal one has mean, deviation, and where it is cut
    unit: str
    values: tuple[Any, ...]  # discrete ones
    shares: tuple[float, ...]  # of these, summed up

    def at(self, share: float) -> Any:
        """The value below which a share of the distribution lies."""
        if self.form == "discrete":
            place = int(np.searchsorted(self.shares, share * self.shares[-1], side="right"))
            return self.values[min(place, len(self.values) - 1)]
        if self.form == "whole":
            low, high = (int(number) for number in self.numbers)
            return min(low + int(share * (high - low + 1)), high)
        return f"{self._number(share):.{DIGITS}g} {self.unit}".strip()

    def _number(self, share: float) -> float:
        if self.form == "uniform":
            low, high = self.numbers
            return low + share * (high - low)
        if self.form == "triangular":
            low, mode, high = self.numbers
            part = (mode - low) / (high - low)
            if share < part:
                return low + math.sqrt(share * (high - low) * (mode - low))
            return high - math.sqrt((1.0 - share) * (high - low) * (high - mode))
        from scipy.special import ndtr, ndtri

        mean, deviation, low, high = self.numbers
        first, last = (float(ndtr((end - mean) / deviation)) for end in (low, high))
        value = mean + deviation * float(ndtri(first + share * (last - first)))
        return min(max(value, low), high)


def points(sample: Sample) -> Array:
    """Shares of the distributions, a row for each case; (cases, keys), each from 0 to below 1.

    Sobol's points are scrambled (Owen 1998), so that none is at a bound. Of Saltelli's scheme a point of
    twice the dimensions gives the rows A and B and, for each key, A with that key as in B, one after another.
    """
    from scipy.stats import qmc

    count, keys, rng = sample.count, len(sample.keys), np.random.default_rng(sample.seed)
    if sample.method == "random":
        return rng.random((count, keys))
    if sample.method == "latin-hypercube":
        return qmc.LatinHypercube(keys, rng=rng).random(count)
    if sample.method == "sobol":
        return qmc.Sobol(keys, rng=rng).random(count)
    both = qmc.Sobol(2 * keys, rng=rng).random(count)
    found = np.repeat(both[:, None, :keys], keys + 2, axis=1)
    found[:, 1] = both[:, keys:]
    for key in range(keys):
        found[:, 2 + key, key] = both[:, keys + key]
    return found.reshape(-1, keys)


def drawn(key: str, spread: Spread) -> Drawn:
    """The distribution of a key as numbers of one unit.

    Raises
    ------
    InputError
        Naming the key, if a number is none of it or they are out of order.
    """
    form, field = spread.form, known_fields()[key]
    if form == "discrete":
        values = spread.discrete or []
        weights = spread.weights or [1.0] * len(values)
        return Drawn(key, form, (), "", tuple(values), tuple(np.cumsum(weights).tolist()))
    if form == "whole":
        ends = tuple(float(end) for end in spread.whole or ())
        _in_order(key, form, ends)
        return Drawn(key, form, ends, "", (), ())
    if float not in list(inner_types(field.annotation)):
        raise InputError(f"{key}: got {form}; allowed discrete or whole for a key that is no plain number")
    kind = kind_of(field)
    written = [*getattr(spread, form), *(spread.within or ())]
    try:
        numbers, unit = _numbers(written, kind, form)
    except QuantityError as error:
        raise InputError(f"{key}: got {', '.join(map(str, written))}; allowed {error}") from None
    except ValueError:
        raise InputError(f"{key}: got {', '.join(map(str, written))}; allowed numbers without unit") from None
    if form == "normal":
        mean, deviation, low, high = numbers
        _in_order(key, "within", (low, high))
        if not deviation > 0.0:
            raise InputError(f"{key}: got a standard deviation of {written[1]}; allowed more than 0")
        if not low - 5.0 * deviation <= mean <= high + 5.0 * deviation:
            raise InputError(f"{key}: got a mean of {written[0]}; allowed one near where it is cut off")
    else:
        _in_order(key, form, numbers)
    return Drawn(key, form, numbers, unit, (), ())


def _in_order(key: str, form: str, numbers: tuple[float, ...]) -> None:
    if list(numbers) != sorted(numbers) or numbers[0] == numbers[-1] or not np.isfinite(numbers).all():
        said = ", ".join(f"{number:g}" for number in numbers)
        raise InputError(f"{key}: {form}: got {said}; allowed numbers that rise")


def _numbers(written: list[Any], kind: Kind | None, form: str) -> tuple[tuple[float, ...], str]:
    """The numbers in the unit of the first; a standard deviation of a temperature is a difference."""
    if kind is None:
        if any(isinstance(value, bool) for value in written):
            raise ValueError
        return tuple(float(value) for value in written), ""
    match = _NUMBER.match(str(written[0]).strip())
    unit = str(written[0]).strip()[match.end() :].strip() if match else ""
    read_quantity(written[0], kind)
    zero, hundred = (read_quantity(f"{text} {unit}", kind) for text in ("0", "100"))
    factor = (hundred - zero) / 100.0

    def number(place: int, value: Any) -> float:
        if form == "normal" and place == 1 and kind is TEMPERATURE:
            return read_quantity(value, DIFFERENCE) / factor
        return (read_quantity(value, kind) - zero) / factor

    return tuple(number(place, value) for place, value in enumerate(written)), unit
