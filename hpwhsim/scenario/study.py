"""A study file: a scenario, and which of its keys take which values in how many cases."""

import difflib
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple, get_args

from pydantic import Field, ValidationError
from pydantic.fields import FieldInfo

from hpwhsim.errors import InputError, together
from hpwhsim.io.plain_text import refuse_controls
from hpwhsim.io.user_csv import header, read_rows
from hpwhsim.io.user_file import read_text, real
from hpwhsim.scenario.keys import block_of, known_fields, not_a_key
from hpwhsim.scenario.messages import one_line, short
from hpwhsim.scenario.parts import Block, Clash, FilePath, no_file_at, rule
from hpwhsim.scenario.yaml_text import LARGEST, parsed

MOST_CASES = 1_000_000
Scalar = str | int | float | bool
Three = Annotated[list[Scalar], Field(min_length=3, max_length=3)]
Two = Annotated[list[Scalar], Field(min_length=2, max_length=2)]
FORMS = ("uniform", "normal", "triangular", "discrete", "whole")
WHAT = {
    "greater_than_equal": "at least {ge}",
    "less_than_equal": "at most {le}",
    "greater_than": "more than {gt}",
    "too_short": "a list of {min_length} or more values",
    "too_long": "a list of {max_length} values at most",
    "literal_error": "{expected}",
    "int_type": "a whole number",
    "string_type": "text",
    "list_type": "a list",
    "dict_type": "a block of keys",
    "model_type": "a block of keys",
    "finite_number": "a finite number",
    "float_type": "a number",
    "bool_type": "true or false",
}
_UNION = re.compile(r"list\[.*|int|float|str|bool|constrained-.*")  # what pydantic adds to a place


class Spread(Block):
    """How a sampled key is distributed, in one of the `FORMS`."""

    uniform: Two | None = Field(None, description="lowest and highest value, all between equally likely")
    normal: Two | None = Field(None, description="mean and standard deviation; needs within")
    within: Two | None = Field(None, description="where a normal distribution is cut off")
    triangular: Three | None = Field(None, description="lowest, likeliest and highest value")
    discrete: list[Any] | None = Field(None, min_length=1, description="the values")
    weights: list[Annotated[float, Field(ge=0)] | Annotated[int, Field(ge=0)]] | None = Field(
        None, description="how likely each discrete value is; equally if left out"
    )
    whole: Annotated[list[int], Field(min_length=2, max_length=2)] | None = Field(
        None, description="lowest and highest whole number"
    )

    @property
    def form(self) -> str:
        """Which of the `FORMS` it has."""
        return next(name for name in FORMS if getattr(self, name) is not None)

    @rule
    def _one_form(self) -> Iterator[Clash]:
        given = [name for name in FORMS if getattr(self, name) is not None]
        if len(given) != 1:
            yield Clash("", f"one of {', '.join(FORMS)}", " and ".join(given) or "nothing")

    @rule
    def _companions(self) -> Iterator[Clash]:
        if (self.normal is None) != (self.within is None):
            yield Clash("within", "a lowest and a highest value with normal, and only with it")
        weights, values = self.weights, self.discrete
        if weights is not None and (values is None or len(weights) != len(values) or not sum(weights) > 0):
            yield Clash("weights", "with discrete, as many numbers as values, not all of them 0")


class Sample(Block):
    """Cases drawn at random or evenly from distributions."""

    count: int = Field(ge=2, le=MOST_CASES, description="points drawn")
    method: Literal["sobol", "latin-hypercube", "random", "saltelli"] = Field(
        "sobol",
        description="how; saltelli takes count times (keys + 2) cases, for shares of the variance",
    )
    seed: int = Field(1, ge=0, le=2**32 - 1, description="of the sample, not of the draws of hot water")
    keys: dict[str, Spread] = Field(min_length=1, description="distribution by key path of the scenario")

    @rule
    def _balanced(self) -> Iterator[Clash]:
        if self.method in ("sobol", "saltelli") and self.count & (self.count - 1):
            below = 1 << (self.count.bit_length() - 1)
            yield Clash(
                "count", f"a power of two with {self.method}, such as {below} or {2 * below}", str(self.count)
            )


class Range(Block):
    """Values between which the best is sought, in one of two forms."""

    uniform: Two | None = Field(None, description="lowest and highest value, in steps of a thousandth")
    whole: Annotated[list[int], Field(min_length=2, max_length=2)] | None = Field(
        None, description="lowest and highest whole number"
    )

    @rule
    def _one_form(self) -> Iterator[Clash]:
        if (self.uniform is None) == (self.whole is None):
            given = "nothing" if self.whole is None else "uniform and whole"
            yield Clash("", "one of uniform, whole", given)


class Bound(Block):
    """Between what a figure must be."""

    min: Scalar | None = Field(None, description="the figure is this or more")
    max: Scalar | None = Field(None, description="the figure is this or less")


class Best(Block):
    """Which of the cases is sought."""

    objectives: Annotated[list[str], Field(min_length=1, max_length=2)] = Field(
        description="cost, co2e, peak or a key of the annual record, or two of them"
    )
    limits: dict[str, Bound] = Field({}, description="by key of the annual record min, max or both")
    ranges: dict[str, Range] = Field({}, description="ranges by key path, beside grid and rows")
    capital: dict[str, Any] = Field(
        {},
        description="what choices add to costs.capital, by key path: an amount for each of a whole number, "
        "a list with one for each value of the grid, or two for the ends of a range; rows by the word rows",
    )
    budget: int = Field(500, ge=10, le=100_000, description="cases that may be simulated")
    seed: int = Field(1, ge=0, le=2**32 - 1, description="of the search, not of the draws of hot water")


class Study(Block):
    """What a study file holds: every combination of grid, rows and sample."""

    title: str = Field("", max_length=200, description="what the study asks")
    scenario: FilePath = Field(description="scenario file, seen from the study file")
    set: dict[str, Any] = Field({}, description="keys of the scenario that are changed in all cases")
    grid: dict[str, Annotated[list[Any], Field(min_length=1)]] = Field(
        {}, description="values by key path, in every combination; the last key runs fastest"
    )
    rows: list[Annotated[dict[str, Any], Field(min_length=1)]] = Field(
        [], description="values that go together, a block of keys for each"
    )
    table: FilePath | None = Field(
        None, description="the same as a CSV file whose header has the key paths; instead of rows"
    )
    sample: Sample | None = Field(None, description="values that are drawn")
    best: Best | None = Field(None, description="which of the cases is sought, under which limits")
    record: list[str] = Field([], description="keys of the annual record in the table of the cases")
    hourly: list[str] = Field([], description="hourly series that are kept of every case")

    @rule
    def _something(self) -> Iterator[Clash]:
        ranges = self.best is not None and self.best.ranges
        if not (self.grid or self.rows or self.table or self.sample or ranges):
            yield Clash("grid", "grid, rows, table or sample: one or more of them")
        if self.best is not None and self.sample is not None:
            yield Clash("best", "grid, rows, table and best.ranges with it, no sample", "sample and best")
        if self.best is not None and self.hourly:
            yield Clash("hourly", "nothing with best", ", ".join(self.hourly))
        if self.rows and self.table:
            yield Clash("table", "rows or table, not both", str(self.table))


class StudyFile(NamedTuple):
    """A study that has been read."""

    path: Path  # absolute
    study: Study  # key paths known, files absolute, no key in two places
    rows: list[dict[str, Any]]  # of `rows` or `table`


def read_study(path: Path) -> StudyFile:
    """Read a study file.

    Raises
    ------
    InputError
        ``FILE: key: got X; allowed Y``; where several things are wrong, a line for each.
    """
    path = Path(path).absolute()
    raw = parsed(read_text(path, "a study file (YAML)", LARGEST), str(path))
    if not isinstance(raw, dict):
        raise InputError(f"{path}: got {short(raw)} at the top; allowed keys such as scenario, grid, sample")
    if "plant" in raw and "scenario" not in raw:
        raise InputError(
            f"{path}: this is a scenario; allowed a study file, whose key scenario names one, or --vary "
            "KEY.PATH=VALUES with the scenario"
        )
    refuse_controls(raw, str(path))
    study = _checked(raw, path)
    rows = study.rows if study.table is None else [dict(row) for row in _table(study.table)]
    lines = list(_wrong_keys(study, rows))
    if lines:
        raise together(str(path), lines)
    return _placed(path, raw, rows)


def keys_of(file: StudyFile) -> tuple[str, ...]:
    """The keys that differ between cases, in the order of grid, rows, sample and ranges."""
    sampled = file.study.sample.keys if file.study.sample is not None else {}
    ranges = file.study.best.ranges if file.study.best is not None else {}
    rows = (key for row in file.rows for key in row)
    return tuple(dict.fromkeys([*file.study.grid, *rows, *sampled, *ranges]))


# -- what is wrong -------------------------------------------------------------------------------------


def _place(error: Any) -> list[str | int]:
    """Where an error is, without the names of the alternatives that a value may be."""
    return [part for part in error["loc"] if isinstance(part, int) or not _UNION.fullmatch(part)]


def _one_a_value(errors: Sequence[Any]) -> Iterator[Any]:
    """Of what each alternative says of one value the last, or that it is no finite number."""
    found: dict[tuple[str | int, ...], Any] = {}
    for one in errors:
        place = tuple(_place(one))
        if place not in found or found[place]["type"] != "finite_number":
            found[place] = one
    yield from found.values()


def _lines(error: Any) -> Iterator[str]:
    """An error of the schema, a line for each thing that is wrong."""
    loc = _place(error)
    where = ".".join(str(part + 1) if isinstance(part, int) else part for part in loc)
    if error["type"] == "extra_forbidden":
        block = _block_at(loc[:-1])
        near = difflib.get_close_matches(str(loc[-1]), block.model_fields, n=1, cutoff=0.6)
        hint = f"did you mean {near[0]}? " if near else ""
        yield one_line(f"{where}: unknown key; {hint}(allowed {', '.join(block.model_fields)})")
    elif error["type"] == "missing":
        field = _block_at(loc[:-1]).model_fields[str(loc[-1])]
        yield f"{where}: got nothing; allowed {field.description}"
    elif (clashes := getattr(error.get("ctx", {}).get("error"), "found", None)) is not None:
        for clash in clashes:
            place = ".".join(part for part in (where, clash.key) if part)
            yield one_line(f"{place}: got {clash.got}; allowed {clash.allowed}")
    else:
        context = error.get("ctx", {})
        form = WHAT.get(error["type"])  # what an error says may hold the user's text, braces too
        said = form.format(**context) if form is not None else str(context.get("error", error["msg"]))
        yield one_line(f"{where}: got {short(error['input'])}; allowed {said}")


def _block_at(loc: Sequence[str | int]) -> type[Block]:
    first, *rest = loc or [""]
    if first == "sample":
        return Spread if rest else Sample
    if first == "best":
        below = rest[0] if rest else ""
        return Range if below == "ranges" else Bound if below == "limits" else Best
    return Study


def _wrong_keys(study: Study, rows: Sequence[dict[str, Any]]) -> Iterator[str]:
    sampled = study.sample.keys if study.sample is not None else {}
    row_keys = dict.fromkeys(key for row in rows for key in row)
    ranges = study.best.ranges if study.best is not None else {}
    places = {
        "set": study.set,
        "grid": study.grid,
        "rows": row_keys,
        "sample.keys": sampled,
        "best.ranges": ranges,
    }
    seen: dict[str, str] = {}
    for place, keys in places.items():
        for key in keys:
            if key not in known_fields():
                yield f"{place}: {key}: {not_a_key(key)}"
            for before, other in seen.items():
                if f"{before}.".startswith(f"{key}.") or f"{key}.".startswith(f"{before}."):
                    yield f"{place}: {key}: {before} is in {other} already; allowed each key in one place"
            seen[key] = place
    for number, row in enumerate(rows, 1):
        if missing := [key for key in row_keys if key not in row]:
            yield f"rows.{number}: {', '.join(missing)}: got nothing; allowed the same keys in every row"
    for key, spread in sampled.items():
        if key in known_fields() and block_of(known_fields()[key]) and spread.form != "discrete":
            yield f"sample.keys: {key}: got {spread.form}; allowed discrete for a block of keys"
    count = study.sample.count if study.sample is not None else 1
    count *= len(sampled) + 2 if study.sample is not None and study.sample.method == "saltelli" else 1
    count *= max(len(rows), 1)
    for key, values in study.grid.items():
        count *= len(values)
        if len({repr(value) for value in values}) < len(values):
            yield f"grid: {key}: got a value twice; allowed values that differ"
    if count > MOST_CASES and study.best is None:
        yield f"got {count:,} cases; allowed at most {MOST_CASES:,}"


def _table(path: Path) -> Iterator[dict[str, Any]]:
    """Rows of a CSV file, each cell as an override has it."""
    keys = header(path)
    if not keys or not all(keys):
        named = "a column without a name" if keys else "no header row"
        raise InputError(f"{path}: got {named}; allowed key paths of the scenario, with commas between")
    for row in read_rows(path):
        yield dict(row.cells)


# -- files ---------------------------------------------------------------------------------------------


def _takes(annotation: Any, kind: type) -> bool:
    return annotation is kind or any(_takes(part, kind) for part in get_args(annotation))


def _placed(path: Path, raw: dict[str, Any], rows: list[dict[str, Any]]) -> StudyFile:
    """The study with the files that its values name as absolute paths; they start at the study's folder.

    `raw` has been checked already.
    """
    lines: list[str] = []

    def placed(key: str, value: Any) -> Any:
        field: FieldInfo = known_fields()[key]
        named = _takes(field.annotation, Path) and isinstance(value, str) and value != "null"
        if not named or (_takes(field.annotation, str) and not value.lower().endswith(".csv")):
            return value
        file = real(path.parent / value)
        if wrong := no_file_at(file):
            lines.append(f"{key}: got {value}; allowed {wrong}")
        return file

    found = dict(raw)
    for block in ("grid", "set"):
        found[block] = {
            key: [placed(key, one) for one in value] if block == "grid" else placed(key, value)
            for key, value in raw.get(block, {}).items()
        }
    if "sample" in raw:
        keys = {
            key: spread | {"discrete": [placed(key, value) for value in spread["discrete"]]}
            if "discrete" in spread
            else spread
            for key, spread in raw["sample"]["keys"].items()
        }
        found["sample"] = raw["sample"] | {"keys": keys}
    placed_rows = [{key: placed(key, value) for key, value in row.items()} for row in rows]
    if lines:
        raise together(str(path), lines)
    return StudyFile(path, _checked(found, path), placed_rows)


def _checked(raw: dict[str, Any], path: Path) -> Study:
    try:
        return Study.model_validate(raw, context={"folder": str(path.parent)})
    except ValidationError as error:
        errors = sorted(error.errors(include_url=False), key=lambda one: one["type"] != "extra_forbidden")
        lines = [line for one in _one_a_value(errors) for line in _lines(one)]
        raise together(str(path), lines) from None
