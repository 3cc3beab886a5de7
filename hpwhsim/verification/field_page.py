"""The field results as tables for readers: what was measured, computed and assumed."""

from collections.abc import Iterator
from typing import NamedTuple

from hpwhsim.verification import field_bands
from hpwhsim.verification.field_plants import Result, results
from hpwhsim.verification.field_tables import hypotheses, inputs, not_compared

MOST = 3  # inputs that are named beside a result


class Table(NamedTuple):
    """Heads and rows of text."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def tables() -> dict[str, Table]:
    """All tables of the page, by name."""
    found = results()
    return {
        "results": Table(
            ("result", "measured", "computed", "span", "inside", "verdict", "what moves it most", "source"),
            tuple(map(_row, found)),
        ),
        "charge": Table(
            ("result", "certified heat pumps", "ours", "range", "verdict"),
            tuple(
                (
                    check.says,
                    f"{check.expected:g} ({check.low:g} to {check.high:g}) {check.unit}",
                    f"{check.obtained:g}",
                    _to(check.span or (check.obtained, check.obtained)),
                    check.verdict,
                )
                for check in field_bands.checks()
            ),
        ),
        "explained": Table(
            ("result", "verdict", "what may explain it: an hypothesis"),
            tuple(
                (one.check.name, one.verdict, hypotheses()[one.check.name])
                for one in found
                if one.verdict != "hit"
            ),
        ),
        "inputs": Table(("plant", "input", "low", "middle", "high", "mark", "source"), tuple(_inputs())),
        "skipped": Table(("measured", "why nothing is held against it", "source"), tuple(not_compared())),
    }


def _row(one: Result) -> tuple[str, ...]:
    check = one.check
    moves = ", ".join(
        f"{effect.input.key} {effect.input.low} to {effect.input.high}: {number(effect.at_low)} to "
        f"{number(effect.at_high)}"
        for effect in one.effects[:MOST]
    )
    unit = {"1": ""}.get(check.unit, f" {check.unit}")
    return (
        f"{check.name}: {check.says}",
        f"{number(check.expected)} ({_to((check.low, check.high))}){unit}; {check.tolerance}",
        number(check.obtained),
        f"{_to(one.usual)}; corners {_to(check.span or (check.obtained, check.obtained))}",
        f"{100.0 * one.inside:.0f} %",
        one.verdict,
        moves,
        check.source,
    )


def _inputs() -> Iterator[tuple[str, ...]]:
    for its in inputs().values():
        for one in its:
            yield one.plant, one.key, one.low, one.middle, one.high, one.mark, one.source


def number(value: float) -> str:
    """Three digits, or all of a large number's."""
    return f"{value:,.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"


def _to(ends: tuple[float, float]) -> str:
    return f"{number(ends[0])} to {number(ends[1])}"
