"""The keys that a fit adjusts, each with the bounds that the user wrote."""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from hpwhsim.errors import InputError
from hpwhsim.evaluation.reading import with_changes
from hpwhsim.io.units import QuantityError, read_quantity
from hpwhsim.scenario.keys import inner_types, kind_of, known_fields, not_a_key
from hpwhsim.scenario.reading import Loaded

MAX_KEYS = 5
FORM = "allowed KEY.PATH=LOW..HIGH, such as recirculation.loss_per_apartment='40 W..160 W'"
COP = "plant.heat_pump.cop"
_NUMBER = re.compile(r"[-+]?\d[\d,.]*(?:[eE][-+]?\d+)?")


class Ranged(NamedTuple):
    """A key between its bounds, in the unit that the user wrote."""

    key: str
    unit: str  # empty: a plain number
    low: float
    high: float
    factor: float  # of the unit to that of the program
    zero: float  # of the unit in that of the program: of degF not 0

    def text(self, value: float) -> str:
        """A value as a scenario has it, to seven digits."""
        return f"{value:.7g} {self.unit}".strip()

    def own(self, loaded: Loaded) -> float | None:
        """The value that a scenario gives, in our unit; None where it leaves it to be worked out."""
        value: Any = loaded.scenario
        for name in self.key.split("."):
            value = getattr(value, name, None)
        return (
            None
            if value is None or isinstance(value, str | tuple)
            else (float(value) - self.zero) / self.factor
        )


def ranged(texts: Sequence[str]) -> list[Ranged]:
    """Keys and bounds of ``KEY.PATH=LOW..HIGH``.

    Raises
    ------
    InputError
        Naming the key.
    """
    found: dict[str, Any] = {}
    for text in texts:
        key, equals, rest = text.partition("=")
        key = key.strip()
        if not equals or not key or not rest.strip():
            raise InputError(f"--key {text}: {FORM}")
        if key in found:
            raise InputError(f"--key {key}: got it twice; allowed each key once")
        found[key] = rest
    return of_mapping(found)


def of_mapping(keys: Mapping[str, Any]) -> list[Ranged]:
    """Keys with their bounds, each as text ``LOW..HIGH`` or a pair.

    Raises
    ------
    InputError
        Naming the key.
    """
    if not 1 <= len(keys) <= MAX_KEYS:
        raise InputError(f"--key: got {len(keys)} keys; allowed 1 to {MAX_KEYS}")
    return [_ranged(key, bounds) for key, bounds in keys.items()]


def _ranged(key: str, bounds: Any) -> Ranged:
    field = known_fields().get(key)
    if field is None:
        raise InputError(f"--key {key}: {not_a_key(key)}")
    if float not in list(inner_types(field.annotation)) or key.startswith("baseline."):
        raise InputError(f"--key {key}: allowed a key of the plant that holds one number, not a whole one")
    low, high = _ends(key, bounds)
    kind = kind_of(field)
    try:
        if kind is None:
            ends = Ranged(key, "", float(low), float(high), 1.0, 0.0)
        else:
            number = _NUMBER.match(low)
            unit = low[number.end() :].strip() if number else ""
            first, last = read_quantity(low, kind), read_quantity(high, kind)
            zero, hundred = (read_quantity(f"{text} {unit}", kind) for text in ("0", "100"))
            factor = (hundred - zero) / 100.0
            ends = Ranged(key, unit, (first - zero) / factor, (last - zero) / factor, factor, zero)
    except QuantityError as error:
        raise InputError(f"--key {key}: got {low}..{high}; allowed {error}") from None
    except ValueError:
        raise InputError(f"--key {key}: got {low}..{high}; allowed two numbers without a unit") from None
    if not (math.isfinite(ends.low) and math.isfinite(ends.high) and ends.low < ends.high):
        raise InputError(f"--key {key}: got {low}..{high}; allowed a lower bound below the upper one")
    return ends


def _ends(key: str, bounds: Any) -> tuple[str, str]:
    """Both ends as text; a unit that stands at one of them is that of both."""
    ends = bounds.split("..") if isinstance(bounds, str) else bounds
    if not isinstance(ends, list | tuple) or len(ends) != 2:
        raise InputError(f"--key {key}: got {bounds}; {FORM}")
    low, high = (str(end).strip().strip("'\"").strip() for end in ends)
    if _NUMBER.fullmatch(low) and (match := _NUMBER.match(high)):
        low = f"{low} {high[match.end() :].strip()}".strip()
    elif _NUMBER.fullmatch(high) and (match := _NUMBER.match(low)):
        high = f"{high} {low[match.end() :].strip()}".strip()
    return low, high


def within(loaded: Loaded, keys: Sequence[Ranged], values: Iterable[float]) -> Loaded:
    """The scenario with values for the keys.

    Raises
    ------
    InputError
        Naming the keys, if the scenario does not take them.
    """
    changes = {key.key: key.text(value) for key, value in zip(keys, values, strict=True)}
    try:
        return with_changes(loaded, changes)
    except InputError as error:
        said = ", ".join(f"{key}={value}" for key, value in changes.items())
        raise InputError(f"--key: {said}: {error}") from None


def refuse_no_rating(loaded: Loaded, keys: Sequence[Ranged]) -> None:
    """Refuse to fit the rated COP of a heat pump that has none.

    Raises
    ------
    InputError
        If its performance comes from a table or several ratings, or there is no heat pump.
    """
    if COP not in [key.key for key in keys]:
        return
    heat_pump = loaded.scenario.plant.heat_pump
    if heat_pump is None:
        raise InputError(f"--key {COP}: the plant has no heat pump; allowed a key that it has")
    name = "table" if heat_pump.table else "ratings" if heat_pump.ratings else ""
    if name:
        raise InputError(
            f"--key {COP}: the heat pump's power is that of plant.heat_pump.{name}; allowed a rated COP "
            f"(capacity, cop and rated_at) to fit, or divide power_kw in the {name} by a factor of your own "
            "and compare several such files with tankyear sweep"
        )
