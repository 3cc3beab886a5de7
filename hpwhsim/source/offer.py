"""What a source offers the machine in a step: its temperature as a bounded line in the heat taken."""

from typing import NamedTuple

from hpwhsim.kernel import kernel


class Offer(NamedTuple):
    """The machine meets ``min(high, max(low, free - slope * heat))`` °C while it takes `heat` watts."""

    free: float  # with no heat taken, °C
    slope: float  # fall per heat taken, K/W
    low: float  # held from below, as by a heating system; -inf where nothing holds it, °C
    high: float  # held from above, as by a cooling system; inf where nothing holds it, °C
    most: float  # heat that may be taken at most, inf where nothing limits it, W


@kernel
def met(offer: Offer, heat: float) -> float:
    """Temperature that the machine meets while it takes `heat` watts. [°C]"""
    return min(offer.high, max(offer.low, offer.free - offer.slope * heat))
