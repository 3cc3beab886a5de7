"""What moved between stored and fresh records: as a table, and as JUnit XML for a build server."""

import math
import re
from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree

from hpwhsim.errors import InputError
from hpwhsim.regression.compare import Move, Outcome, summary
from hpwhsim.results.records import Value, bare, write_texts

ROWS = 20
KEY_WIDTH, TEXT_WIDTH = 52, 70
WORDS = {
    "same": "same",
    "moved": "moved",
    "new": "without a stored record",
    "orphan": "without a scenario",
    "failed": "failed",
}

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def drift_text(outcomes: Sequence[Outcome], rows: int | None = ROWS) -> str:
    """The table of each scenario, its verdict, and the totals.

    Parameters
    ----------
    outcomes : sequence of Outcome
        As of `tankyear regress`, in order.
    rows : int or None
        Most rows of a scenario's table; None for all.
    """
    blocks = [block for outcome in outcomes if (block := _block(outcome, rows))]
    counts = [f"{sum(o.state == state for o in outcomes)} {words}" for state, words in WORDS.items()]
    number = f"{len(outcomes)} scenario" + ("" if len(outcomes) == 1 else "s")
    return "\n".join([*blocks, f"{number}: {', '.join(counts)}"]) + "\n"


def verdict(outcome: Outcome) -> str:
    """One line that says what was found."""
    if outcome.state in ("new", "orphan", "failed"):
        return outcome.message
    inside = ""
    if outcome.within:
        some = "value" if len(outcome.within) == 1 else "values"
        inside = f"{len(outcome.within)} {some} moved within tolerance (--exact lists them)"
    if outcome.state == "same":
        return f"same, {inside}" if inside else "same"
    keys = len({bare(move.key) for move in outcome.moves})
    values = f" ({len(outcome.moves)} values)" if len(outcome.moves) > keys else ""
    said = f"{keys} key{'' if keys == 1 else 's'} moved{values}"
    return f"{said}, {inside}" if inside else said


def accepted_text(stored: Sequence[Outcome], reason: str) -> str:
    """What was stored, and why."""
    if not stored:
        return "nothing to accept: no record was written\n"
    lines = [f"accepted: {' '.join(reason.split())}"]
    for outcome in stored:
        lines.append(f"  {outcome.case.record_path}")
        lines += [f"    {line}" for line in (summary(outcome.moves) or ["first record"])]
    return "\n".join(lines) + "\n"


def _block(outcome: Outcome, rows: int | None) -> str:
    """The notes and table of a scenario over its verdict."""
    name, last = outcome.case.name, ""
    if outcome.state == "moved" and outcome.case.stored and outcome.case.stored.history:
        entry = outcome.case.stored.history[-1]
        last = f"; record of version {entry.get('version')}, {entry.get('date')}: {entry.get('reason')}"
    lines = [*_changed_input(outcome)] if outcome.state == "moved" else []
    lines += table(outcome.moves, rows)
    return "\n".join([*(f"  {line}".rstrip() for line in lines), f"{name}: {verdict(outcome)}{last}"])


def _changed_input(outcome: Outcome) -> list[str]:
    """That the record was made with another scenario, weather or set-up."""
    if outcome.case.stored is None or outcome.fresh is None:
        return []
    known = outcome.case.stored.context
    said = [
        f"the {what} file has changed since the record was stored"
        for what in ("scenario", "weather")
        if known.get(f"{what}.sha256") != outcome.fresh.get(f"{what}.sha256")
    ]
    if known.get("inputs.sha256") is not None:  # a record of an earlier version has none
        same = known["inputs.sha256"] == outcome.fresh.get("inputs.sha256")
        said += [
            "the same numbers entered the simulation (inputs.sha256): its code or its accounts moved"
            if same
            else "other numbers entered the simulation (inputs.sha256)"
        ]
    return said


def table(moves: Sequence[Move], rows: int | None = ROWS) -> list[str]:
    """Lines of the table of what moved; at most `rows` values, then how many more there are."""
    if not moves:
        return []
    shown = moves if rows is None else moves[:rows]
    numbers = [move for move in shown if move.change is not None]
    lines = []
    for move in shown:
        if move.change is None:
            lines.append(_cut(move.key, KEY_WIDTH) + (f" is {move.note}" if move.note else ""))
            if move.note != "new":
                lines.append(f"    stored  {_cut(_cell(move.stored), TEXT_WIDTH)}")
            if move.note != "gone":
                lines.append(f"    fresh   {_cut(_cell(move.fresh), TEXT_WIDTH)}")
    if numbers:
        wide = max(len(_cut(move.key, KEY_WIDTH)) for move in numbers)
        head = f"{'stored':>16}{'fresh':>16}{'change':>12}{'percent':>13}{'tolerance':>11}"
        lines.append(f"{'key':<{wide}}{head}")
    for move in numbers:
        percent = "-" if math.isinf(move.relative) else f"{100.0 * move.relative:+.3g} %"
        lines.append(
            f"{_cut(move.key, KEY_WIDTH):<{wide}}{_cell(move.stored):>16}{_cell(move.fresh):>16}"
            f"{move.change:>+12.4g}{percent:>13}{move.tolerance:>11.2g}"
        )
    if len(shown) < len(moves):
        lines.append(f"and {len(moves) - len(shown)} more (--all lists them)")
    return lines


def _cell(value: Value) -> str:
    if isinstance(value, float | int):
        return f"{value:.9g}"
    return "nothing" if value is None else value


def _cut(text: str, width: int) -> str:
    text = " ".join(text.split())
    return text if len(text) <= width else f"{text[: width - 1]}…"


def junit_text(outcomes: Sequence[Outcome], folder: Path) -> str:
    """JUnit XML: a test case for each scenario; what moved, is new or has no scenario failed.

    A scenario that cannot be run is an error. Characters that XML does not know become ``?``.
    """
    failures = sum(outcome.state in ("moved", "new", "orphan") for outcome in outcomes)
    errors = sum(outcome.state == "failed" for outcome in outcomes)
    counts = {
        "name": _clean(f"tankyear regress {folder}"),
        "tests": str(len(outcomes)),
        "failures": str(failures),
        "errors": str(errors),
        "skipped": "0",
        "time": f"{sum(outcome.seconds for outcome in outcomes):.3f}",
    }
    suites = ElementTree.Element("testsuites", {k: v for k, v in counts.items() if k != "skipped"})
    suite = ElementTree.SubElement(suites, "testsuite", counts)
    for outcome in outcomes:
        case = ElementTree.SubElement(
            suite,
            "testcase",
            classname=_clean(folder.name or str(folder)),
            name=_clean(outcome.case.name),
            time=f"{outcome.seconds:.3f}",
        )
        if outcome.state == "same":
            continue
        kind = "error" if outcome.state == "failed" else "failure"
        what = {"message": _clean(verdict(outcome)), "type": outcome.state}
        ElementTree.SubElement(case, kind, what).text = _clean(_block(outcome, None) + "\n")
    ElementTree.indent(suites)
    return ElementTree.tostring(suites, encoding="unicode", xml_declaration=False) + "\n"


def write_junit(path: Path, outcomes: Sequence[Outcome], folder: Path) -> None:
    """Write `junit_text` to a file that appears when it is complete.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    head = '<?xml version="1.0" encoding="UTF-8"?>\n'
    try:
        write_texts({path: head + junit_text(outcomes, folder)})
    except InputError as err:
        raise InputError(f"--junit {err}") from None


def _clean(text: str) -> str:
    return _NOT_XML.sub("?", text)
