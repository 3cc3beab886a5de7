"""The outside world, hour by hour: weather, mains water, ground, moist air."""
