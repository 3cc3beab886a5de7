"""Keys of the annual record that a user names."""

import difflib
from collections.abc import Sequence

from hpwhsim.errors import InputError
from hpwhsim.results.declared import record_keys
from hpwhsim.results.records import bare

KEYS = (
    "electricity_kwh",
    "fuel_kwh",
    "peak_kw",
    "cop_plant",
    "resistance_hours",
    "short_hours",
    "short_litres",
    "total_kgco2e",
    "energy_cost",
)
"""What is shown unless the user names keys; what no case has, and fuel that none burns, is left out."""


def named_keys(names: Sequence[str], where: str) -> tuple[str, ...]:
    """Keys of the annual record that a user named, each once; `where` is what named them.

    Raises
    ------
    InputError
        If one is no key, or none that holds a number.
    """
    known = {row.name: row.kind for row in record_keys()}
    keys = tuple(dict.fromkeys(name.strip() for name in names if name.strip()))
    if not keys:
        raise InputError(
            f"{where}: got nothing; allowed keys of the annual record such as {','.join(KEYS[:3])}"
        )
    for key in keys:
        if bare(key) not in known:
            near = difflib.get_close_matches(bare(key), known, n=1, cutoff=0.6)
            hint = f"did you mean {near[0]}?" if near else "allowed a key of 'tankyear run --json'"
            raise InputError(f"{where} {key}: unknown key; {hint}")
        if known[bare(key)] == "text":
            raise InputError(f"{where} {key}: got text; allowed a key that holds a number")
    return keys
