"""A scenario of the user's, read before anything heavy is loaded."""

from collections.abc import Sequence
from pathlib import Path

from hpwhsim.scenario.reading import Loaded, WrongScenario, read_scenario


def read(path: Path, overrides: Sequence[str] = (), weather: Path | None = None) -> Loaded:
    """Read a scenario as `read_scenario`; where keys are wrong, what else is wrong is listed with them.

    Where files that it names are missing and nothing else is wrong with its keys, that is said at once: to
    ask on takes the compiler, and that takes long to load.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    try:
        return read_scenario(path, overrides, weather)
    except WrongScenario as error:
        if error.only_files:
            raise
        from hpwhsim.evaluate.refusals import all_refusals

        raise all_refusals(error) from None
