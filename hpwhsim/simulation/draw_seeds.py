"""Which seeds of random draws follow a scenario's own, and quantiles over their years."""

from collections.abc import Sequence

import numpy as np

from hpwhsim.scenario.schema import Scenario

MOST_SEEDS = 2**32  # a seed is less


def next_seeds(scenario: Scenario, first: int, count: int) -> list[int]:
    """`count` seeds from the `first`-th after that of the scenario (0: its own) on."""
    return [(scenario.hot_water.seed + k) % MOST_SEEDS for k in range(first, first + count)]


def quantiles(values: Sequence[float]) -> dict[str, float]:
    """Least, P10, median, P90 and largest; the share of each is that of its place among the n + 1 gaps."""
    shares = {"p10": 0.1, "median": 0.5, "p90": 0.9}
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    found = {"min": float(ordered[0])}
    for name, share in shares.items():
        at = min(max(share * (ordered.size + 1) - 1.0, 0.0), ordered.size - 1.0)
        low = int(at)
        high = min(low + 1, ordered.size - 1)
        part = at - low
        found[name] = float(ordered[low] + part * (ordered[high] - ordered[low]) if part else ordered[low])
    return found | {"max": float(ordered[-1])}
