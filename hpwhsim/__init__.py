"""tankyear: heat-pump hot-water plants in housing, one plant, one year, every hour."""

__version__ = "0.4.0"
