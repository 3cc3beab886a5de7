"""What ships beside the code for whoever starts a scenario: a weather file and the schema for the editor."""

from pathlib import Path
from shutil import copyfile

from hpwhsim.errors import InputError

SCHEMA = Path(__file__).with_name("scenario.schema.json")
"""JSON Schema of the scenario file; `tankyear keys --schema` prints it anew."""
WEATHER = Path(__file__).with_name("starter") / "chicago-il-725300-tmy3.epw.gz"
"""A typical year; its source and licence stand in `starter/README.md`."""


def weather_beside(folder: Path) -> Path:
    """The weather file in a folder: copied there, unless it lies there already.

    Raises
    ------
    InputError
        If another file has its name, or it cannot be written.
    """
    path = folder / WEATHER.name
    try:
        if not path.exists():
            copyfile(WEATHER, path)
        elif not path.is_file() or path.read_bytes() != WEATHER.read_bytes():
            raise InputError(f"{path}: another file of this name is there; allowed --weather FILE")
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from None
    return path
