"""A row of a list of checks: a value, its limit, how far it is from that, and where the limit is from."""

from collections.abc import Iterable
from typing import NamedTuple, Self

from hpwhsim.io.us_units import LITRES_PER_GALLON

FAIL, CONFIRM, OK, INFORMATION = "fail", "confirm", "ok", "information"
STATES = (FAIL, CONFIRM, OK, INFORMATION)
"""From what must be mended to what is only good to know."""

MEANING = (
    "fail: beyond its limit; confirm: a limit applies, but value or limit is not given or not certain; ok: "
    "within its limit; information: no limit. Local codes and licensed professionals decide."
)
LOCAL = "verify with local code"
AT_MOST, BELOW, AT_LEAST = "at most", "below", "at least"
"""How a value may stand to its limit."""

# (IP unit, IP units in one SI unit): NIST SP 811 appendix B.
_IP = {
    "kg": ("lb", 1.0 / 0.45359237),
    "kPa": ("lb/ft2", 1e3 * 0.3048**2 / (0.45359237 * 9.80665)),
    "L": ("gal", 1.0 / LITRES_PER_GALLON),
    "L/day": ("gal/day", 1.0 / LITRES_PER_GALLON),
    "m": ("ft", 1.0 / 0.3048),
    "m2": ("ft2", 1.0 / 0.3048**2),
    "m3": ("ft3", 1.0 / 0.3048**3),
    "m3/s": ("cfm", 60.0 / 0.3048**3),
    "g/m3": ("lb/1,000 ft3", 0.3048**3 / 0.45359237),
}
_SI = {name: (unit, 1.0 / factor) for unit, (name, factor) in _IP.items()}


def amount(value: float, unit: str) -> str:
    """A number with its unit to three digits, in SI and IP where they differ, first as it was handed in.

    Examples
    --------
    >>> amount(3785.0, "kg")
    '3,780 kg (8,340 lb)'
    >>> amount(100.0, "lb/ft2")
    '100 lb/ft2 (4.79 kPa)'
    """
    text = f"{digits(value)} {unit}".strip()
    if unit in _IP or unit in _SI:
        name, factor = _IP[unit] if unit in _IP else _SI[unit]
        text += f" ({digits(value * factor)} {name})"
    return text


def digits(value: float) -> str:
    """Three digits, without an exponent."""
    return f"{float(f'{value:.3g}'):,.12g}"


class Check(NamedTuple):
    """One check."""

    name: str
    value: float | None  # None: not known
    unit: str
    note: str  # what the limit is about, or what to look at; who decides
    source: str
    state: str  # one of `STATES`
    limit_value: float | None = None  # in `unit`; None: there is no limit
    limit_kind: str = AT_MOST  # one of `AT_MOST`, `BELOW`, `AT_LEAST`

    @property
    def text(self) -> str:
        """The value with its unit."""
        return "not given" if self.value is None else amount(self.value, self.unit)

    @property
    def limit_text(self) -> str:
        """The limit with its unit; empty without one."""
        if self.limit_value is None:
            return ""
        return f"{self.limit_kind} {amount(self.limit_value, self.unit)}"

    @property
    def limit(self) -> str:
        """The limit, whether it is met, and what there is to say about it."""
        if self.limit_value is None:
            return self.note
        said = ""
        if self.value is not None:
            wrong = "not met" if self.limit_kind == AT_LEAST else "exceeded"
            said = f": {wrong if self.beyond else 'met'}"
        return f"{self.limit_text}{said}; {self.note}"

    @property
    def beyond(self) -> bool:
        """Whether there is a limit and the value is beyond it."""
        if self.value is None or self.limit_value is None:
            return False
        if self.limit_kind == AT_LEAST:
            return self.value < self.limit_value
        return self.value > self.limit_value or (self.limit_kind == BELOW and self.value == self.limit_value)

    @property
    def ratio(self) -> float | None:
        """Value over limit, or limit over a value that must be at least that: above 1 is beyond it."""
        if self.value is None or self.limit_value is None:
            return None
        over, under = self.value, self.limit_value
        if self.limit_kind == AT_LEAST:
            over, under = under, over
        return over / under if under > 0.0 else None

    def in_units(self, us: bool) -> Self:
        """The same check in IP units (`us`) or SI units, where its unit has a fellow there."""
        table = _IP if us else _SI
        if self.unit not in table:
            return self
        unit, factor = table[self.unit]
        value, limit = (None if x is None else x * factor for x in (self.value, self.limit_value))
        return self._replace(value=value, unit=unit, limit_value=limit)

    def record(self) -> dict[str, object]:
        """The check as the record holds it."""
        return {
            "name": self.name,
            "value": self.value,
            "unit": self.unit,
            "limit_kind": self.limit_kind if self.limit_value is not None else "",
            "limit_value": self.limit_value,
            "ratio": self.ratio,
            "state": self.state,
            "limit": self.limit,
            "source": self.source,
        }


def held(
    name: str,
    value: float,
    limit: float,
    unit: str,
    source: str,
    *,
    note: str = LOCAL,
    sure: bool = True,
    limit_kind: str = AT_MOST,
) -> Check:
    """A value against its limit: 'fail' beyond it, 'ok' within it where the limit itself is `sure`."""
    check = Check(name, value, unit, note, source, OK if sure else CONFIRM, limit, limit_kind)
    return check._replace(state=FAIL) if check.beyond else check


def worst_first(checks: Iterable[Check]) -> list[Check]:
    """What failed first, then what is to be confirmed, met and known; each by its ratio, then as it came."""
    return sorted(checks, key=lambda c: (STATES.index(c.state), -(c.ratio or 0.0)))


def counted(states: Iterable[str]) -> str:
    """How many checks are in each state.

    Examples
    --------
    >>> counted(["ok", "fail", "ok"])
    '1 fail, 0 confirm, 2 ok, 0 information'
    """
    found = list(states)
    return ", ".join(f"{found.count(state)} {state}" for state in STATES)
