"""tankyear: heat-pump hot-water plants in housing, one plant, one year, every hour.

The library, as a notebook uses it; each name is loaded when it is first used::

    import hpwhsim as ty

    plant = ty.read("scenarios/central-air.yaml")
    bigger = plant.with_({"plant.storage.volume": "1200 gal"})
    result = ty.evaluate(bigger)
    result.record["cop_plant"], result.hourly
"""

from typing import TYPE_CHECKING

__version__ = "0.7.0"

if TYPE_CHECKING:
    from hpwhsim.errors import InputError
    from hpwhsim.evaluation.result import Result
    from hpwhsim.library import (
        Best,
        Block,
        Comparison,
        Fitted,
        Scenario,
        Studied,
        best,
        best_size,
        block,
        compare,
        evaluate,
        fit,
        read,
        simulate,
        size,
        study,
        sweep,
        uncertainty,
        verify,
        verify_bundle,
        why,
    )

__all__ = [
    "Best",
    "Block",
    "Comparison",
    "Fitted",
    "InputError",
    "Result",
    "Scenario",
    "Studied",
    "__version__",
    "best",
    "best_size",
    "block",
    "compare",
    "evaluate",
    "fit",
    "read",
    "simulate",
    "size",
    "study",
    "sweep",
    "uncertainty",
    "verify",
    "verify_bundle",
    "why",
]


def __getattr__(name: str) -> object:
    if name == "InputError":
        from hpwhsim.errors import InputError

        return InputError
    if name in __all__:
        from hpwhsim import library

        return getattr(library, name)
    raise AttributeError(f"module 'hpwhsim' has no attribute '{name}'")


def __dir__() -> list[str]:
    return __all__
