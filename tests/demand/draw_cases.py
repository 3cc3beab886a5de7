"""Random draws in steps, for tests."""

from hpwhsim.arrays import Array
from hpwhsim.demand.draws import bin_events
from hpwhsim.demand.households import PEOPLE_PER_APARTMENT, USE_C, building_events
from hpwhsim.demand.patterns import Pattern


def random_draws(
    apartments: int,
    litres_per_apartment_day: float,
    pattern: Pattern,
    steps_per_hour: int,
    seed: int,
    people_per_apartment: float = PEOPLE_PER_APARTMENT,
    use_temperature: float = USE_C,
) -> Array:
    """Litres drawn in each step of the year by a building's single taps."""
    events = building_events(
        apartments, litres_per_apartment_day, pattern, seed, people_per_apartment, use_temperature
    )
    return bin_events(events, steps_per_hour)
