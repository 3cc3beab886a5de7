"""What the blocks of the scenario are made of: the strict base, windows, paths, names, messages."""

import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import FunctionType
from typing import Annotated, Any, Literal, NamedTuple, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    GetCoreSchemaHandler,
    Tag,
    ValidationInfo,
    model_validator,
)
from pydantic_core import CoreSchema, core_schema

from hpwhsim.io.units import TEMPERATURE, as_text
from hpwhsim.io.user_file import real
from hpwhsim.scenario import families

PRACTICE = "common practice, no source"
A_FILE = "the path of a file that exists"


class Clash(ValueError):
    """A value that is good by itself does not go with another; names the key, below the block that checks.

    `got` is said when the key is not in the file: a default, or nothing.
    """

    def __init__(self, key: str, allowed: str, got: str = "nothing") -> None:
        super().__init__(f"got {got}; allowed {allowed}")
        self.key, self.allowed, self.got = key, allowed, got


class Clashes(ValueError):
    """All that clash in one block."""

    def __init__(self, found: Sequence[Clash]) -> None:
        super().__init__("; ".join(f"{clash.key}: {clash}" for clash in found))
        self.found = tuple(found)


class Window(NamedTuple):
    """A stretch of the day, in minutes after midnight; it crosses midnight when `end` <= `start`."""

    start: int  # 0 to 1439
    end: int  # 0 to 1440

    def __str__(self) -> str:
        return "-".join(f"{minute // 60:02d}:{minute % 60:02d}" for minute in self)

    @property
    def by_hours(self) -> bool:
        """Whether it starts and ends at whole hours."""
        return self.start % 60 == 0 == self.end % 60

    def minutes(self) -> range:
        """Minutes covered, counted on past 1440 where the window crosses midnight."""
        return range(self.start, self.end if self.end > self.start else self.end + 1440)


def covered(windows: Sequence[Window]) -> frozenset[int]:
    """Minutes of the day (0 to 1439) that lie in one of the windows."""
    return frozenset(minute % 1440 for window in windows for minute in window.minutes())


_WINDOW = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)\s*[-–]\s*([01]?\d|2[0-4]):([0-5]\d)")


def _window(value: object) -> Window:
    if isinstance(value, Window):
        return value
    match = _WINDOW.fullmatch(value.strip()) if isinstance(value, str) else None
    hint = "a window of the day such as '22:00-06:00'"
    if match is None:
        raise ValueError(hint)
    start, end = int(match[1]) * 60 + int(match[2]), int(match[3]) * 60 + int(match[4])
    if end > 1440 or start == end:
        raise ValueError(f"{hint}, not empty and ending at 24:00 at the latest")
    return Window(start, end)


def as_tuple(value: object) -> object:
    """A list as YAML gives it as the tuple of a frozen block."""
    return tuple(value) if isinstance(value, list) else value


def existing_file(value: object, info: ValidationInfo) -> Path:
    """Absolute path of a file that is there; relative paths start at the folder of the scenario file."""
    if not isinstance(value, str | Path) or not str(value).strip():
        raise ValueError("the path of a file, relative to the scenario file")
    folder = Path((info.context or {}).get("folder", "."))
    path = real(folder / value)
    if wrong := no_file_at(path):
        raise ValueError(wrong)
    return path


def no_file_at(path: Path) -> str:
    """What is allowed where no regular file is; empty where one is."""
    if os.path.isdir(path):
        return f"the path of a file (that is a folder: {path})"
    if os.path.isfile(path):
        return ""
    return f"{A_FILE} ({'that is no regular file' if os.path.exists(path) else 'there is none at'} {path})"


def _pattern(value: object, info: ValidationInfo) -> str | Path:
    """Name of a packaged pattern, or the path of a CSV file of the user's."""
    if isinstance(value, Path) or (isinstance(value, str) and value.lower().endswith(".csv")):
        return existing_file(value, info)
    if isinstance(value, str) and re.fullmatch(r"[a-z0-9]+([-_][a-z0-9]+)*", value):
        return value
    raise ValueError("the name of a packaged pattern such as 'apartments', or the path of a file *.csv")


@dataclass(frozen=True)
class OneOf:
    """Decorates a text that is one of a few names."""

    names: tuple[str, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self._known, handler(source))

    def _known(self, value: object) -> object:
        if value not in self.names:
            raise ValueError(", ".join(self.names))
        return value


@dataclass(frozen=True)
class Form:
    """Decorates a value that a validator of its own reads: how it is written in the file."""

    noun: str  # "the path of a file"
    json: Mapping[str, Any] = field(hash=False)  # the same as JSON Schema, draft 7


def _refrigerant(value: object) -> object:
    """R-744, r744 and 744 are one name; isomers keep their small letters (R-134a), blends their capitals."""
    match = re.fullmatch(r"(?:R-?)?(\d{2,4}[A-Z]{0,2}(?:\([A-Z]+\))?)", str(value).strip().upper())
    if isinstance(value, bool) or match is None:
        raise ValueError("the number of a refrigerant such as R-744")
    name = f"R-{match[1]}"
    return next((known for known in families.REFRIGERANTS if known.upper() == name), name)


DayWindow = Annotated[
    Window,
    BeforeValidator(_window),
    Form("a window of the day", {"type": "string", "pattern": f"^\\s*{_WINDOW.pattern}\\s*$"}),
]
Windows = Annotated[tuple[DayWindow, ...], BeforeValidator(as_tuple)]
FilePath = Annotated[
    Path, BeforeValidator(existing_file), Form("the path of a file", {"type": "string", "minLength": 1})
]
Pattern = Annotated[
    str | Path, BeforeValidator(_pattern), Form("a name, or the path of a file *.csv", {"type": "string"})
]
Family = Annotated[str, OneOf(tuple(families.FAMILIES))]
Condenser = Annotated[str, OneOf(families.CONDENSERS)]
SourceKind = Annotated[str, OneOf(families.SOURCE_KINDS)]
RoomKind = Annotated[str, OneOf(families.ROOM_KINDS)]
Loop = Annotated[str, OneOf(families.LOOPS)]
Refrigerant = Annotated[
    str,
    BeforeValidator(_refrigerant),
    Form("the number of a refrigerant", {"anyOf": [{"type": "string"}, {"type": "integer"}]}),
]


def _none_or_months(value: object) -> str | None:
    if value == "none":
        return "(none)"
    return "(months)" if isinstance(value, list | tuple) else None


MonthFactors = Annotated[
    Annotated[Literal["none"], Tag("(none)")]
    | Annotated[
        tuple[Annotated[float, Field(gt=0, le=10)], ...],
        BeforeValidator(as_tuple),
        Field(min_length=12, max_length=12),
        Tag("(months)"),
    ],
    Discriminator(
        _none_or_months,
        custom_error_type="months_type",
        custom_error_message="none, or a list of 12 numbers",
    ),
]
"""Twelve numbers, or the word for the same in every month."""


def origin(source: str, none: str = "") -> dict[str, Any]:
    """Where a default is from, and what None stands for; without `none` a None is not an assumption."""
    return {"source": source, "none": none}


Rule = Callable[[Any], Iterator[Clash]]
"""What does not go together in a block, by one rule; the rules of a block do not need each other."""


def rule(check: Rule) -> Rule:
    """Marks a method of a block as one of its rules."""
    check.__dict__["is_rule"] = True
    return check


class Block(BaseModel):
    """Base of every block: frozen, no unknown key, no NaN, no silent conversion, all rules asked at once."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, strict=True)

    @classmethod
    @cache
    def rules(cls) -> tuple[Rule, ...]:
        """Every rule of the block, in the order in which they stand in its class."""
        held = (item for kind in reversed(cls.__mro__) for item in vars(kind).values())
        return tuple(item for item in held if isinstance(item, FunctionType) and item.__dict__.get("is_rule"))

    @model_validator(mode="after")
    def _hold_rules(self) -> Self:
        if found := [clash for check in self.rules() for clash in check(self)]:
            raise Clashes(found)
        return self

    def given(self, key: str) -> bool:
        """Whether the modeler wrote this field (a default is not given)."""
        return key in self.model_fields_set


def degrees(value: float) -> str:
    """A temperature for a message, to a tenth."""
    return as_text(round(value, 1), TEMPERATURE)


def default(value: float | str) -> str:
    """A default for a message: a number is a temperature in degC."""
    return f"{value if isinstance(value, str) else degrees(value)} (default)"
