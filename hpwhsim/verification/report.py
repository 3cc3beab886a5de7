"""Checks for reading: a table of counts, each miss in full, and rows for a file."""

import math
from collections.abc import Iterator, Sequence
from textwrap import fill

from hpwhsim.verification.all_checks import known_misses
from hpwhsim.verification.check import Check

WIDTH = 80
FULL = 9  # digits of a check in full
CAUTION = (
    "A hit says that one number is as its source has it, within a tolerance that the source gives reason "
    "for; it does not say that a plant will do what its year shows."
)


def figure(value: float, digits: int = 6) -> str:
    """A number for a table; in full where a last digit may decide."""
    return f"{value:.{digits}g}"


def verify_text(checks: Sequence[Check], every: bool = False) -> str:
    """Counts by package, then each miss in full; with `every`, a line for each check too."""
    return "\n".join([*_counts(checks), *(_listed(checks) if every else ()), *_misses(checks)]) + "\n"


def _counts(checks: Sequence[Check]) -> Iterator[str]:
    yield f"{'package':16}{'checks':>8}{'hits':>8}{'misses':>8}"
    for name in dict.fromkeys(check.package for check in checks):
        yield _count(name, [check for check in checks if check.package == name])
    yield _count("all", checks)
    yield ""
    yield fill(CAUTION, WIDTH)


def _count(name: str, checks: Sequence[Check]) -> str:
    hits = sum(check.verdict == "hit" for check in checks)
    return f"{name:16}{len(checks):8}{hits:8}{len(checks) - hits:8}"


def _listed(checks: Sequence[Check]) -> Iterator[str]:
    yield ""
    yield f"{'check':42}{'expected':>12}{'obtained':>13}  {'unit':6}"
    for check in checks:
        values = f"{figure(check.expected):>12}{figure(check.obtained):>13}"
        verdict = "" if check.verdict == "hit" else "MISS "
        yield f"{check.name[:41]:42}{values}  {verdict}{check.unit}"[:WIDTH]


def _misses(checks: Sequence[Check]) -> Iterator[str]:
    for check in checks:
        if check.verdict == "miss":
            yield ""
            yield from in_full(check)


def in_full(check: Check) -> Iterator[str]:
    """Everything of a check, a fact a line, wrapped."""
    unit = f" {check.unit}" if check.unit else ""
    expected, low, high, got = (
        figure(value, FULL) for value in (check.expected, check.low, check.high, check.obtained)
    )
    got += unit
    if check.span is not None:
        got += f", over what is assumed {figure(check.span[0])} to {figure(check.span[1])}"
    facts = {
        "says": check.says,
        "kind": check.kind,
        "expected": f"{expected}{unit}, a hit within {low} to {high} ({check.tolerance})",
        "obtained": got,
        "source": check.source,
        "known": known_misses().get(check.name, ""),
    }
    yield f"{check.verdict.upper()} {check.name}"
    for name, text in facts.items():
        if text:
            yield fill(text, WIDTH, initial_indent=f"  {name:9} ", subsequent_indent=" " * 12)


def as_rows(checks: Sequence[Check]) -> list[dict[str, object]]:
    """A row for each check: its fields, and the verdict; what could not be computed has None for numbers."""

    def plain(value: object) -> object:
        return None if isinstance(value, float) and not math.isfinite(value) else value

    return [
        {**{name: plain(value) for name, value in check._asdict().items()}, "verdict": check.verdict}
        for check in checks
    ]
