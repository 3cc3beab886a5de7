"""A scenario of the user's, read before anything heavy is loaded."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from hpwhsim.scenario.reading import Loaded, WrongScenario, read_scenario, scenario_of, with_keys


def read(path: Path, overrides: Sequence[str] = (), weather: Path | None = None) -> Loaded:
    """Read a scenario as `read_scenario`; where keys are wrong, what else is wrong is listed with them.

    Where files that it names are missing and nothing else is wrong with its keys, that is said at once: to
    ask on takes the compiler, and that takes long to load.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    with _all_that_is_wrong():
        return read_scenario(path, overrides, weather)


def of_mapping(mapping: Mapping[str, Any], folder: Path) -> Loaded:
    """As `read`, of a scenario that stands in no file."""
    with _all_that_is_wrong():
        return scenario_of(mapping, folder)


def with_changes(loaded: Loaded, changes: Mapping[str, Any]) -> Loaded:
    """As `read`, of a scenario with some keys changed."""
    with _all_that_is_wrong():
        return with_keys(loaded, changes)


@contextmanager
def _all_that_is_wrong() -> Iterator[None]:
    try:
        yield
    except WrongScenario as error:
        if error.only_files:
            raise
        from hpwhsim.evaluation.refusals import all_refusals

        raise all_refusals(error) from None
