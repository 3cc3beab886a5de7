"""Baselines that several scenarios have in common: each is read, set up and marched once."""

from pathlib import Path
from typing import NamedTuple

from hpwhsim.scenario.reading import Loaded, baseline_of, read_scenario
from hpwhsim.scenario.writing import dump
from hpwhsim.simulation.year import Ready, Year

OF_THE_PLANT = ("plant", "costs", "savings")  # blocks of a scenario that do not reach its baseline
OF_THE_YEAR = ("title", "site", "building", "hot_water", "recirculation", "plant", "savings", "run")
"""Blocks of a baseline that its year is simulated from; carbon and tariff are accounted for after it."""


class Read(NamedTuple):
    """A baseline as a scenario of its own."""

    loaded: Loaded
    key: str  # all that reaches its year; alike where the years are


class Baselines:
    """Baselines by what reaches them; a file that they name is taken as it was when it was read first.

    Parameters
    ----------
    most : int or None
        Years that are kept, of about 5 MB each, the latest by use; None: all.
    """

    def __init__(self, most: int | None = None) -> None:
        self.most = most
        self._files: dict[Path, Loaded] = {}
        self._read: dict[str, Read] = {}  # by what their scenarios say
        self._ready: dict[str, Ready] = {}  # by `Read.key`, as the years
        self._years: dict[str, Year] = {}

    def of(self, loaded: Loaded) -> Loaded | None:
        """As `hpwhsim.scenario.reading.baseline_of`."""
        if loaded.scenario.baseline is None:
            return None
        return self._of(loaded).loaded._replace(overrides=loaded.overrides)

    def ready(self, loaded: Loaded) -> Ready | None:
        """The baseline of a scenario as it was set up before."""
        return self._ready.get(self._of(loaded).key)

    def keep(self, loaded: Loaded, ready: Ready) -> None:
        """Keep it as it was set up."""
        key = self._of(loaded).key
        self._ready[key] = ready
        for old in list(self._ready)[: -self.most] if self.most is not None else ():
            self._ready.pop(old)
            self._years.pop(old, None)

    def year(self, loaded: Loaded) -> Year | None:
        """Its year, where it was simulated before."""
        key = self._of(loaded).key
        if key in self._years:
            self._ready[key] = self._ready.pop(key)  # the latest at the end
        return self._years.get(key)

    def keep_year(self, loaded: Loaded, year: Year) -> None:
        """Keep its year."""
        self._years[self._of(loaded).key] = year

    def _file(self, path: Path) -> Loaded:
        if path not in self._files:
            self._files[path] = read_scenario(path)
        return self._files[path]

    def _of(self, loaded: Loaded) -> Read:
        said = {key: value for key, value in loaded.written.items() if key not in OF_THE_PLANT}
        text = repr((said, loaded.path, loaded.sha256))
        found = self._read.pop(text, None)
        if found is None:
            other = baseline_of(loaded, self._file)
            assert other is not None  # it was asked for
            blocks = dump(other.scenario)
            found = Read(other, repr([(key, blocks.get(key)) for key in OF_THE_YEAR]))
        self._read[text] = found
        for old in list(self._read)[: -self.most] if self.most is not None else ():
            self._read.pop(old)
        return found
