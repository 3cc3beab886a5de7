"""Keys that mean nothing once another is taken out: an override takes them out with it, and says so."""

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

Raw = dict[Any, Any]


class Rule(NamedTuple):
    """What goes when a key is set to a value."""

    key: str
    value: str | None  # None: the key is taken out
    takes: tuple[str, ...]  # key paths; one that ends in .* is all of a block but `key`


RULES = (
    Rule("plant.backup.kind", "none", ("plant.backup.*", "plant.controls.pasteurise")),
    Rule("plant.backup", None, ("plant.controls.pasteurise",)),
    Rule("baseline", None, ("savings", "costs.baseline", "tariff.baseline_fuel")),
    Rule("tariff", None, ("costs",)),
    Rule(
        "hot_water.tempering_valve",
        None,
        tuple(f"hot_water.tempering_{key}" for key in ("min_difference", "min_flow", "max_flow")),
    ),
)
BURNT = ("carbon.fuel", "carbon.steam")
"""They go where an override leaves nothing that burns."""
BY_SAVING = ("per_site_energy_saved", "per_electricity_saved")
"""Parts of an incentive that go with the baseline."""


def take_out(raw: Raw, set_paths: Sequence[str]) -> list[str]:
    """Take out of `raw` what hangs on the keys that were overridden, save what was itself overridden.

    Parameters
    ----------
    raw : dict
        The scenario as it stands in the file with the overrides put in; changed in place.
    set_paths : sequence of str
        Key paths that were overridden.

    Returns
    -------
    list of str
        One line for each override that took something with it.
    """
    said = []
    for rule in RULES:
        if rule.key not in set_paths or _at(raw, rule.key) != rule.value:
            continue
        gone = [
            path for asked in rule.takes for path in _paths(raw, asked, rule.key) if path not in set_paths
        ]
        if rule.key != "tariff" and not _burns(raw):
            gone += [path for path in BURNT if _at(raw, path) is not None and path not in set_paths]
        gone = [path for path in gone if not any(kept.startswith(f"{path}.") for kept in set_paths)]
        for path in gone:
            _remove(raw, path)
        if rule.key == "baseline":
            gone += _without_savings(raw)
        if gone:
            value = "null" if rule.value is None else rule.value
            said.append(f"{rule.key}={value} takes out what hangs on it: {', '.join(gone)}")
    return said


def _at(raw: Any, path: str) -> Any:
    for key in path.split("."):
        if not isinstance(raw, dict):
            return None
        raw = raw.get(key)
    return raw


def _paths(raw: Raw, asked: str, but: str) -> Iterator[str]:
    """The key paths of `asked` that are written."""
    block, star, _ = asked.partition(".*")
    if not star:
        if _at(raw, asked) is not None:
            yield asked
        return
    held = _at(raw, block)
    for key in held if isinstance(held, dict) else ():
        path = f"{block}.{key}"
        if path != but and held[key] is not None:
            yield path


def _remove(raw: Raw, path: str) -> None:
    block, _, leaf = path.rpartition(".")
    held = _at(raw, block) if block else raw
    if isinstance(held, dict):
        held.pop(leaf, None)


def _burns(raw: Raw) -> bool:
    """Whether plant or baseline burns something, or a file says so that is not read here."""
    baseline = raw.get("baseline")
    kinds = [_at(raw, "plant.backup.kind"), _at(raw, "baseline.backup.kind")]
    return isinstance(baseline, str) or any(kind not in (None, "none", "resistance") for kind in kinds)


def _without_savings(raw: Raw) -> list[str]:
    """Take what is paid for savings out of the incentives, and those that pay nothing then."""
    incentives = _at(raw, "costs.incentives")
    if not isinstance(incentives, list):
        return []
    gone, left = [], []
    for one in incentives:
        paid = [key for key in BY_SAVING if isinstance(one, dict) and one.get(key) is not None]
        if not paid:
            left.append(one)
            continue
        rest = {key: value for key, value in one.items() if key not in BY_SAVING}
        gone += [f"costs.incentives.{key} ({one.get('name')})" for key in paid]
        if rest.keys() - {"name", "max_share"}:
            left.append(rest)
    raw["costs"]["incentives"] = left
    return gone
