"""Years simulated once in a run of the tests: who asks for the same again is given what the first one got.

A run is a function of what `MARCHED` names (tests with the fixture `anew` march again and hold that), so a
year is kept under the digest of all of it, with the state that it leaves to the source. On disk, so that the
processes of one run of the tests share it, and for this run alone.
"""

import os
import pickle
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from hpwhsim.last_digits import digest
from hpwhsim.plant.assemble import MARCHED, Assembly
from hpwhsim.simulation import years
from hpwhsim.simulation.years import Marched
from hpwhsim.sizing import design_days, whole_year
from hpwhsim.sizing import reliability as chances

MARCH = years.march_years
USERS = (chances, design_days, whole_year, years)  # modules that march years
Marcher = Callable[[Assembly, int], Marched]


def kept(march: Marcher, folder: Path) -> Marcher:
    """`march` where this run of the tests has not done the same before."""

    def once(assembly: Assembly, count: int) -> Marched:
        # worked out anew: who changes a part of an assembly leaves its own digest as it was
        key = digest((tuple(getattr(assembly, name) for name in MARCHED), count))
        path = folder / key
        try:
            found, state = pickle.loads(zlib.decompress(path.read_bytes()))
        except OSError:
            found = march(assembly, count)
            part = path.with_name(f"{key}.{os.getpid()}.{id(assembly)}")
            part.write_bytes(zlib.compress(pickle.dumps((found, assembly.state), protocol=5), level=1))
            part.replace(path)
            return found
        _fill(assembly.state, state)
        return Marched(*found)

    return once


def _fill(state: tuple[Any, ...], end: tuple[Any, ...]) -> None:
    """Leave in `state` what the march leaves there."""
    for ours, theirs in zip(state, end, strict=True):
        if isinstance(ours, tuple):
            _fill(ours, theirs)
        elif isinstance(ours, np.ndarray):
            ours[...] = theirs
        else:
            assert ours == theirs


def march_by(march: Marcher, patch: pytest.MonkeyPatch) -> None:
    """`march` in place of what marches years, as long as `patch` stands."""
    for module in USERS:
        patch.setattr(module, "march_years", march)
