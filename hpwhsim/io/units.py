"""Units: text with a unit in, SI floats out. The only module that imports pint.

Number and unit are split before anything is parsed, because one expression such as ``"2 W/degC"``
can be read with the offset of the scale and come out 274 times too small. The units are our own
short list (`unit_words`), so a name means what an engineer means by it (MBH is a thousand Btu per hour, not a
mega-something; C is no unit at all rather than a coulomb) and the registry is built in milliseconds.
"""

import difflib
import hashlib
import json
import math
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from tokenize import TokenError
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import platformdirs
from pydantic import GetCoreSchemaHandler
from pydantic_core.core_schema import CoreSchema, no_info_before_validator_function

from hpwhsim.errors import InputError
from hpwhsim.io import unit_words
from hpwhsim.io.unit_words import DELTAS, FOLDED, HINTS, SPELLINGS, TIDY, UNITS
from hpwhsim.io.whole_files import prune, read_whole, write_whole

if TYPE_CHECKING:
    from pint import UnitRegistry


class QuantityError(InputError, ValueError):
    """A quantity cannot be read; the message says what is allowed instead."""


@dataclass(frozen=True)
class Kind:
    """What a quantity measures and the unit it has inside the program."""

    noun: str  # "a volume"
    unit: str  # inside, and as written by `as_text`
    example: str  # a quantity as an engineer would write it
    short: str = ""  # what may be written for `unit`, its "per day" or "per month" understood

    def __str__(self) -> str:
        return f"{self.noun} with its unit, such as '{self.example}'"

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """In a type of an input model: text is read as a quantity of this kind."""
        return no_info_before_validator_function(lambda value: read_quantity(value, self), handler(source))


VOLUME = Kind("a volume", "m3", "40 gal")
DAILY_VOLUME = Kind("a volume per day", "m3/day", "35 gal/day", short="m3")
TEMPERATURE = Kind("a temperature", "degC", "140 degF")
DIFFERENCE = Kind("a temperature difference", "K", "10 delta_degF")
POWER = Kind("a power", "W", "35 kW")
HEAT_LOSS = Kind("a heat loss", "W/K", "8 Btu/h/delta_degF")
LENGTH = Kind("a length", "m", "5 ft")
DURATION = Kind("a duration", "s", "10 min")
FLOW = Kind("a flow", "m3/s", "12 gpm")
CONDUCTIVITY = Kind("a thermal conductivity", "W/m/K", "0.64 W/m/K")
PRESSURE = Kind("a pressure", "Pa", "140 bar")
MASS_FACTOR = Kind("a mass per energy", "kg/kWh", "0.39 kg/kWh")
AREA = Kind("an area", "m2", "120 ft2")
HEAT_CAPACITY = Kind("a volumetric heat capacity", "J/m3/K", "2.2 MJ/m3/K")
LINE_POWER = Kind("a power per length", "W/m", "5 W/ft")
PUMPING = Kind("an energy per volume", "J/m3", "20 Wh/m3")
MOISTURE = Kind("a mass per time", "kg/s", "2 kg/day")
ENERGY = Kind("an energy", "kWh", "500 kWh")
MONEY = Kind("an amount of money", "USD", "12000 USD")
MONTHLY_MONEY = Kind("an amount of money per month", "USD/month", "25 USD/month", short="USD")
YEARLY_MONEY = Kind("an amount of money per year", "USD/year", "1200 USD/year", short="USD")
ENERGY_PRICE = Kind("a price of energy", "USD/kWh", "0.21 USD/kWh")
DEMAND_PRICE = Kind("a price of power per month", "USD/kW/month", "14 USD/kW/month", short="USD/kW")
CAPACITY_PRICE = Kind("a price of capacity", "USD/kW", "450 USD/kW")
MASS = Kind("a mass", "kg", "12 kg")
MASS_PER_POWER = Kind("a mass per power", "kg/kW", "0.25 kg/kW")
MASS_PER_LENGTH = Kind("a mass per length", "kg/m", "0.05 kg/m")
VOLTAGE = Kind("a voltage", "V", "208 V")
CURRENT = Kind("a current", "A", "400 A")
FLOOR_LOAD = Kind("a load per area", "Pa", "100 lb/ft2")

MOST_KEPT, FILES = 1000, 12  # conversions in a file on disk, and files of other versions
_TONS = (POWER, CAPACITY_PRICE, MASS_PER_POWER)  # where a ton is one of refrigeration
# where a plain C or F was meant as a degree
_THERMAL = (TEMPERATURE, DIFFERENCE, HEAT_LOSS, CONDUCTIVITY, HEAT_CAPACITY)

_NUMBER = re.compile(r"([+-]?(?:\d{1,3}(?:,\d{3})+(?![\d,])|\d+|(?=\.\d))(?:\.\d*)?(?:[eE][+-]?\d+)?)(.*)")
LONGEST = 60  # characters of a unit
_POWERS = re.compile(r"\*\*[\s\d]*\*\*|\)\s*\*\*")
_TOKEN = re.compile(r"[^\W\d]\w*|\*\*|[-*/()]|\d+|\S")


@lru_cache(maxsize=1)
def _registry() -> "UnitRegistry[Any]":
    """Build the registry of our own units, once."""
    import pint  # here, because importing it costs 0.15 s

    registry: UnitRegistry[Any] = pint.UnitRegistry(None)
    registry.load_definitions([f"{name} = {definition}" for name, (definition, _) in UNITS.items()])
    return registry


def _canonical(word: str, kind: Kind) -> str:
    """Canonical name of one unit word."""
    if word.casefold() in ("ton", "tons") and kind in _TONS:
        return "ton_refrigeration"
    if word in SPELLINGS:
        return SPELLINGS[word]
    hint = HINTS.get(word) or HINTS.get(word.casefold())
    if hint and (word not in "CcFf" or kind in _THERMAL):
        raise QuantityError(hint)
    folded = FOLDED.get(word.casefold(), set())
    if len(folded) == 1:
        return next(iter(folded))
    near = difflib.get_close_matches(word, SPELLINGS, n=1, cutoff=0.5)
    raise QuantityError(f"'{word}' is no unit" + (f"; did you mean '{near[0]}'?" if near else ""))


def _expression(words: str, kind: Kind, all_below: bool) -> str:
    """Unit text in canonical names; `all_below` puts everything after the first slash below it."""
    if len(words) > LONGEST:
        raise QuantityError(f"no unit has {len(words):,} characters")
    if _POWERS.search(words):  # 3**3**3**3 has more digits than there is room for
        raise QuantityError("no unit has a power of a power")
    tokens = _TOKEN.findall(words)
    alone = len(tokens) == 1
    out: list[str] = []
    for token in tokens:
        if token[0].isalpha() or token[0] == "_":
            name = _canonical(token, kind)
            if not alone:  # within a compound unit a degree is always a difference
                name = DELTAS.get(name, name)
            if out and (out[-1][-1].isalnum() or out[-1] == ")"):
                out.append("*")
            out.append(name)
        elif token == "-":
            out.append("*")  # Btu/h-ft-degF
        elif token in "*/()" or token == "**" or (token in ("2", "3") and out and out[-1] == "**"):
            out.append(token)
        else:
            raise QuantityError("write one number and one unit")
    if all_below and "/" in out:
        slash = out.index("/")
        below = ["*" if token == "/" else token for token in out[slash + 1 :]]
        out = [*out[: slash + 1], "(", *below, ")"]
    return " ".join(out)


class _Conversion(NamedTuple):
    """How a unit is read: ``value = number * factor + zero``, in the unit of its kind."""

    unit: str  # canonical
    factor: float
    zero: float  # what 0 of the unit is, of a scale that does not begin there


@lru_cache(maxsize=512)
def _conversion(words: str, kind: Kind) -> _Conversion:
    """What a unit means; kept on disk, since pint takes longer to load than a file takes to be read."""
    key = f"{kind.noun}: {words}"
    if key in _kept():
        return _Conversion(*_kept()[key])
    found = _converted(words, kind)
    _keep(key, found)
    return found


def _converted(words: str, kind: Kind) -> _Conversion:
    """The same by pint."""
    from pint.errors import PintError

    registry = _registry()
    if kind is TEMPERATURE and _expression(words, kind, False).startswith("delta_"):
        raise QuantityError("this is a temperature, not a difference: write degC or degF")
    targets = [_expression(text, kind, False) for text in (kind.short, kind.unit) if text]
    for all_below in (False, True):  # W/m*K and W/m-K can only mean W/(m*K)
        unit = _expression(words, kind, all_below)
        if unit in DELTAS and kind is DIFFERENCE:
            short = unit.replace("degree_", "deg")[:4]
            raise QuantityError(f"this is a difference, not a temperature: write delta_{short} or K")
        for target in targets:
            try:
                if unit == target:
                    return _Conversion(unit, 1.0, 0.0)
                if kind is TEMPERATURE and registry.Quantity(1.0, unit).check("[temperature]"):
                    zero, hundred = (
                        float(registry.Quantity(number, unit).to("degree_Celsius").magnitude)
                        for number in (0.0, 100.0)
                    )
                    return _Conversion(unit, (hundred - zero) / 100.0, zero)
                if unit not in DELTAS:
                    factor = float(registry.Quantity(1.0, unit).to(target).magnitude)
                    return _Conversion(unit, factor, 0.0)
            except (PintError, TokenError, AssertionError, AttributeError, TypeError, ValueError):
                continue  # not this reading (pint asserts on some bad syntax); if none fits we say so below
    raise QuantityError(f"'{words}' does not measure {kind.noun}")


@lru_cache(maxsize=1)
def _place() -> Path:
    """File of the kept conversions: those of these units, read as this file does, by this version of pint."""
    texts = (Path(path).read_bytes() for path in (__file__, unit_words.__file__))
    own = hashlib.sha256(b"".join(texts) + version("pint").encode()).hexdigest()
    return Path(platformdirs.user_cache_dir("tankyear")) / "units" / f"{own[:16]}.json"


@lru_cache(maxsize=1)
def _kept() -> dict[str, list[Any]]:
    """Conversions that were asked for before; none where there is no file, or a damaged one."""
    kept = read_whole(_place())
    return {} if kept is None else json.loads(kept)


def _keep(key: str, found: _Conversion) -> None:
    """Keep a conversion; in silence nothing is kept where the folder cannot be written, or of very many."""
    kept = _kept()
    if len(kept) >= MOST_KEPT:
        return
    kept[key] = list(found)
    try:
        write_whole(_place(), json.dumps(kept).encode())  # a digit that is another would be another unit
        prune(_place().parent, ".json", FILES)
    except OSError:
        return


def read_quantity(text: object, kind: Kind) -> float:
    """Read one number with its unit.

    Parameters
    ----------
    text : str
        Such as ``"40 gal"``, ``"1,000 gal"``, ``"1e3 gal"`` or ``"40gal"``.
    kind : Kind
        What it must measure.

    Returns
    -------
    float
        The quantity in `kind.unit`.

    Raises
    ------
    QuantityError
        If the number or the unit is missing, unknown, not finite or of another kind.

    Examples
    --------
    >>> read_quantity("140 degF", TEMPERATURE)
    60.0
    >>> round(read_quantity("400 MBH", POWER))
    117228
    """
    try:
        number, words = _split(text)
        unit = _conversion(words, kind)
        value = number * unit.factor
        if unit.zero != 0.0:
            value = round(value + unit.zero, 9)  # so that 140 degF is 60 degC, not 60.00000000000006
        if not math.isfinite(value):
            raise QuantityError("the number is too large")
    except QuantityError as error:
        raise QuantityError(f"{kind} ({error})") from None
    return value


def written_in(text: object, kind: Kind) -> tuple[float, str, float] | None:
    """Number, unit as it was written, and factor to the unit of `kind`; None where there is no such factor.

    A temperature in degF, a number without a unit and what cannot be read have none.

    Examples
    --------
    >>> number, unit, factor = written_in("1.45 USD/therm", ENERGY_PRICE) or (0.0, "", 0.0)
    >>> number, unit, round(factor, 7)
    (1.45, 'USD/therm', 0.0341214)
    """
    try:
        number, words = _split(text)
        unit = _conversion(words, kind)
    except QuantityError:
        return None
    return (number, words, unit.factor) if unit.zero == 0.0 else None


def _split(text: object) -> tuple[float, str]:
    """Number and unit of a quantity, the unit in plain signs."""
    if not isinstance(text, str):
        if isinstance(text, int | float) and not isinstance(text, bool):
            raise QuantityError("write the unit too")
        raise QuantityError("write a number and its unit")
    words = text.strip()
    for pattern, plain in TIDY:
        words = pattern.sub(plain, words)
    match = _NUMBER.fullmatch(words)
    if match is None:
        raise QuantityError("write a number and its unit, both finite and plain")
    number, words = float(match[1].replace(",", "")), match[2].strip()
    if not words:
        raise QuantityError("write the unit too")
    if words[0] in ",.":
        raise QuantityError("a comma may only part thousands, and a decimal takes a point")
    return number, words


def as_text(value: float, kind: Kind) -> str:
    """Write a quantity with its unit so that reading it back gives the same float.

    Examples
    --------
    >>> as_text(0.15, VOLUME)
    '0.15 m3'
    """
    return f"{float(value)!r}".removesuffix(".0") + f" {kind.unit}"


# Types for frozen input models: text in, float in the commented unit out.
Volume = Annotated[float, VOLUME]  # m3
DailyVolume = Annotated[float, DAILY_VOLUME]  # m3 per day
Temperature = Annotated[float, TEMPERATURE]  # degC
Difference = Annotated[float, DIFFERENCE]  # K
Power = Annotated[float, POWER]  # W
HeatLoss = Annotated[float, HEAT_LOSS]  # W/K
Length = Annotated[float, LENGTH]  # m
Duration = Annotated[float, DURATION]  # s
Flow = Annotated[float, FLOW]  # m3/s
Conductivity = Annotated[float, CONDUCTIVITY]  # W/m/K
Pressure = Annotated[float, PRESSURE]  # Pa
Area = Annotated[float, AREA]  # m2
HeatCapacity = Annotated[float, HEAT_CAPACITY]  # J/m3/K
LinePower = Annotated[float, LINE_POWER]  # W/m
Pumping = Annotated[float, PUMPING]  # J/m3
Moisture = Annotated[float, MOISTURE]  # kg/s
Energy = Annotated[float, ENERGY]  # kWh
Money = Annotated[float, MONEY]  # USD
MonthlyMoney = Annotated[float, MONTHLY_MONEY]  # USD per month
YearlyMoney = Annotated[float, YEARLY_MONEY]  # USD per year
EnergyPrice = Annotated[float, ENERGY_PRICE]  # USD/kWh
DemandPrice = Annotated[float, DEMAND_PRICE]  # USD/kW per month
CapacityPrice = Annotated[float, CAPACITY_PRICE]  # USD/kW
Mass = Annotated[float, MASS]  # kg
MassPerPower = Annotated[float, MASS_PER_POWER]  # kg/kW
MassPerLength = Annotated[float, MASS_PER_LENGTH]  # kg/m
Voltage = Annotated[float, VOLTAGE]  # V
Current = Annotated[float, CURRENT]  # A
FloorLoad = Annotated[float, FLOOR_LOAD]  # Pa
