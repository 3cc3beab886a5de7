"""What is said before the first march of a machine, whose code is compiled for a while."""

from functools import cache

from hpwhsim.kernel import announced
from hpwhsim.plant.arrays import SourceKind
from hpwhsim.plant.march import marcher


@cache
def prepare(kind: int) -> None:
    """Make the march of one kind of source; where its first call is to compile it, that will be said."""
    announced(marcher(kind), f"the march for {SourceKind(kind).name.lower().replace('_', ' ')}")
