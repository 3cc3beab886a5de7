"""Facts of the calendar, of units and of air that several packages need; each stands here alone."""

HOURS = 8760  # of a year; a typical year has no leap day
DAYS = 365
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
JOULE_PER_KWH = 3.6e6
CP_AIR = 1006.0  # dry air, J/(kg K)
