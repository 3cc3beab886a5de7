"""Households and the draws they make: every tap of a building in a year, one by one.

How the random draws come about
-------------------------------
Every apartment is a household with a number of occupants, a level of use and a favourite hour of its own.
It is away on some days; at home it uses more on one day than on the next. On each day it takes a random
number of showers, baths, sink draws and machine fills; some of them fall together, one after the other,
around its favourite hour. The whole building has better and worse days in common: cold spells, holidays,
guests.

The time of day is drawn on the scale of the pattern's own cumulative share, on which every moment is
equally likely. Habits, queues at the bathroom door and bursts are shifts along that scale, and a uniform
variable shifted by an independent amount stays uniform: the mean of every hour is the pattern's, however
strong the habits. (What remains is the length of a draw that reaches over the edge of an hour: it carries
less than 0.001 of the day's use from one hour to the next.)

The stated daily use fixes the volume of a draw (so the same draws serve 60 degC water and mixed water); how
many draws there are follows the occupants.

What is published and what is not
---------------------------------
Shares of the kinds of use and how they grow with the household: Building America protocols [1]_. Flows and
durations: [2]_, from memory. Spread of the level of use, days away, day-to-day variation, habits: common
practice, no source, chosen so that the peaks come near those of [3]_ over all five building sizes; the
distribution of use over households is skewed, as measured ones are.

The peaks of [3]_ are a design envelope over a few buildings, near 60 degC, by the clock hour; this is the
maximum of one year of one building. They fall faster than any sum of independent households can between 75
and 200 apartments, so they are met on average and not size by size: `benchmarks/demand_diversity.py` prints
how far each is off.

References
----------
.. [1] R. Hendron, C. Engebrecht, NREL/TP-550-49426, 2010.
.. [2] R. Hendron, J. Burch, NREL/CP-550-40874, 2007.
.. [3] ASHRAE Handbook, HVAC Applications, service water heating (data of Werden & Spielvogel, 1969).
"""

import math
from statistics import NormalDist
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from hpwhsim.demand.patterns import DAYS, MONTH_OF_DAY, WEEKEND, Pattern, check_building
from hpwhsim.errors import OutOfRangeError
from hpwhsim.tables import read_table

Array = NDArray[np.float64]
Scalar = TypeVar("Scalar", bound=np.generic)

YEAR = DAYS * 86400  # s
LARGEST_HOUSEHOLD = 7
# Household use grows as bedrooms + 3 in every end use of [1]; with its occupants = 0.92 bedrooms + 0.63
# (apartments, from memory) that is proportional to occupants + 2.13.
BASE_OCCUPANTS = 3.0 * 0.92 - 0.63
TABLE_OCCUPANTS = 2.0 * 0.92 + 0.63  # of the two-bedroom household whose draws the table holds
PEOPLE_PER_APARTMENT = 2.2  # 191 occupants in 86 apartments, Ahmed et al., Solar Energy 137, 2016

# Common practice, no source; sized to the peaks of the handbook table.
LEVEL_SPREAD = 0.35  # standard deviation of the log of a household's level of use
DAY_SPREAD = 0.50  # the same of its day-to-day use while at home
AWAY_SHARE = 0.06  # of the days
AWAY_DAYS = 5.0  # mean length of an absence
HABIT_SPREAD = 0.05  # standard deviation of the household's hour, as a share of the day's use
COMMON_SPREAD = 0.15  # standard deviation of the log of the building's day
COMMON_MEMORY = 0.6  # its correlation from one day to the next

# A gap of an hour as a share of the day's use, near the morning peak of the packaged patterns.
GAP_SHARE = 0.075


class Events(NamedTuple):
    """Draws of the year; each field has shape (n_event,).

    A draw that runs past the end of the year goes on at its start.
    """

    apartment: NDArray[np.int32]  # 0 ... apartments - 1
    kind: NDArray[np.int8]  # row of the table `demand_end_uses`
    start: NDArray[np.int32]  # s from the start of the year
    duration: NDArray[np.int32]  # s, at least 1
    litres: Array  # L at use temperature


class _Use(NamedTuple):
    """One kind of use of the table's household."""

    draws_per_day: float
    litres: float  # mean of one draw, L at use temperature
    seconds: float  # mean of one draw, s
    seconds_sigma: float  # of the log
    flow_sigma: float  # of the log
    burst: float  # mean draws in a row
    gap: float  # between them, as a share of the day's use
    queue: float  # between bursts around the household's hour, as a share of the day's use
    together: float  # chance to fall into the household's hour


# Steps of an additive sequence that fills the unit cube evenly (occupants, level of use, favourite hour).
SPREAD = np.array([3.0**0.5, 0.5 + 1.25**0.5, 2.0**0.5]) % 1.0


def building_events(
    apartments: int,
    litres_per_apartment_day: float,
    pattern: Pattern,
    seed: int,
    people_per_apartment: float = PEOPLE_PER_APARTMENT,
) -> Events:
    """All draws of a building in a year.

    The year's total is brought to the stated use by one factor on all events, which carries no bias: without
    it the expected total is the stated use already. The factor is 1 within about 15 % for 20 apartments and
    4 % for 200. A single home's factor also undoes its own level of use (it can be 0.3 to 3), because the
    stated use is then its own.

    Parameters and errors are those of `random_draws`.
    """
    check_building(apartments, litres_per_apartment_day)
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or not 0 <= seed < 2**32:
        raise OutOfRangeError(f"hot_water.seed must be a whole number from 0 to {2**32 - 1}, got {seed!r}")
    if not 1.0 <= people_per_apartment <= 6.0:
        raise OutOfRangeError(f"building.people_per_apartment must be 1 to 6, got {people_per_apartment}")
    events = _raw_events(int(apartments), litres_per_apartment_day, pattern, int(seed), people_per_apartment)
    drawn = float(events.litres.sum())
    if drawn > 0.0:
        np.multiply(events.litres, apartments * litres_per_apartment_day * DAYS / drawn, out=events.litres)
    return events


def _raw_events(apartments: int, litres: float, pattern: Pattern, seed: int, people: float) -> Events:
    """Events before the factor on the year's total."""
    uses = _end_uses(litres, people)
    shares = _household_sizes(people)
    rng = np.random.default_rng(np.random.SeedSequence((seed, 0)))  # the building's own stream
    corner = rng.random(3)
    # The building's day: a lognormal first-order process of mean 1.
    noise = rng.standard_normal(DAYS)
    common = np.empty(DAYS)
    common[0] = noise[0]
    for day in range(1, DAYS):
        common[day] = COMMON_MEMORY * common[day - 1] + math.sqrt(1.0 - COMMON_MEMORY**2) * noise[day]
    common = np.exp(COMMON_SPREAD * common - COMMON_SPREAD**2 / 2.0)
    common *= pattern.month[MONTH_OF_DAY]
    clock = _clock(pattern)

    owners: list[NDArray[np.int32]] = []
    kinds: list[NDArray[np.int8]] = []
    starts: list[NDArray[np.int32]] = []
    durations: list[NDArray[np.int32]] = []
    volumes: list[Array] = []
    for apartment in range(apartments):
        # Households differ, but a building of the stated mean use holds the whole range of them: points of an
        # additive (Kronecker) sequence fill the unit cube evenly for any number of apartments.
        place = (corner + (apartment + 1) * SPREAD) % 1.0
        occupants = 1 + int(np.searchsorted(np.cumsum(shares)[:-1], place[0], side="right"))
        z = NormalDist().inv_cdf(min(max(float(place[1]), 1e-9), 1.0 - 1e-9))
        level = math.exp(LEVEL_SPREAD * z - LEVEL_SPREAD**2 / 2.0)
        size = (occupants + BASE_OCCUPANTS) / (TABLE_OCCUPANTS + BASE_OCCUPANTS)
        rng = np.random.default_rng(np.random.SeedSequence((seed, apartment + 1)))
        activity = common * _household_days(rng) * size
        habit = float(place[2]) + HABIT_SPREAD * rng.standard_normal(DAYS)
        for kind, use in enumerate(uses):
            start, seconds, volume = _draws_of(rng, use, activity, level, habit, clock)
            owners.append(np.full(start.size, apartment, np.int32))
            kinds.append(np.full(start.size, kind, np.int8))
            starts.append(start)
            durations.append(seconds)
            volumes.append(volume)
    return Events(_join(owners), _join(kinds), _join(starts), _join(durations), _join(volumes))


def _join(parts: list[NDArray[Scalar]]) -> NDArray[Scalar]:
    """The parts in one array; the list is emptied, as a big building's draws need not be held twice."""
    whole = np.concatenate(parts)
    parts.clear()
    return whole


def _household_sizes(people: float) -> Array:
    """Share of households of 1, 2, ... occupants with the given mean, shape (LARGEST_HOUSEHOLD,).

    The most even distribution with that mean, a cut geometric series; near 2.1 it gives 44, 25, 14, 8 % ...
    """
    low, high = 0.0, 100.0
    number = np.arange(LARGEST_HOUSEHOLD)
    for _ in range(60):
        ratio = 0.5 * (low + high)
        shares = ratio**number
        if (shares @ (number + 1)) / shares.sum() < people:
            low = ratio
        else:
            high = ratio
    shares = high**number
    return np.asarray(shares / shares.sum())


def _end_uses(litres: float, people: float) -> list[_Use]:
    """The kinds of use of the table's household, sized so that a mean household's day is `litres`."""
    rows = read_table("demand_end_uses")
    hot = [float(row["daily_gal"]) * float(row["hot_share"]) for row in rows]
    mean = (people + BASE_OCCUPANTS) / (TABLE_OCCUPANTS + BASE_OCCUPANTS)
    uses = []
    for row, part in zip(rows, hot, strict=True):
        flow, minutes = float(row["flow_gpm"]), float(row["minutes"])
        draws = float(row["daily_gal"]) / (flow * minutes)
        uses.append(
            _Use(
                draws_per_day=draws,
                litres=litres * part / sum(hot) / (draws * mean),
                seconds=minutes * 60.0,
                seconds_sigma=math.sqrt(math.log1p(float(row["minutes_cv"]) ** 2)),
                flow_sigma=math.sqrt(math.log1p(float(row["flow_cv"]) ** 2)),
                burst=float(row["burst"]),
                gap=float(row["gap_minutes"]) / 60.0 * GAP_SHARE,
                queue=float(row["queue_minutes"]) / 60.0 * GAP_SHARE,
                together=float(row["together"]),
            )
        )
    return uses


def _household_days(rng: np.random.Generator) -> Array:
    """A household's activity on each day over its own mean, shape (365,).

    Zero on days away, otherwise lognormal. Absences come and go as a two-state chain.
    """
    leave = AWAY_SHARE / (AWAY_DAYS * (1.0 - AWAY_SHARE))  # chance per day at home
    chance = rng.random(DAYS)
    away = np.empty(DAYS, dtype=np.bool_)
    now = bool(chance[0] < AWAY_SHARE)
    away[0] = now
    for day in range(1, DAYS):
        now = bool(chance[day] >= 1.0 / AWAY_DAYS) if now else bool(chance[day] < leave)
        away[day] = now
    days = np.exp(DAY_SPREAD * rng.standard_normal(DAYS) - DAY_SPREAD**2 / 2.0)
    return np.asarray(np.where(away, 0.0, days / (1.0 - AWAY_SHARE)))


def _clock(pattern: Pattern) -> tuple[Array, Array]:
    """Cumulative share and second of the day, each shape (50,).

    A weekday's shares run from 0 to 1, a weekend day's from 1 to 2.
    """
    rise = [np.minimum(np.cumsum(day), 1.0) for day in (pattern.weekday, pattern.weekend)]
    rise = [np.concatenate(([0.0], day[:-1], [1.0])) for day in rise]
    return np.concatenate((rise[0], 1.0 + rise[1])), np.tile(np.arange(25) * 3600.0, 2)


def _draws_of(
    rng: np.random.Generator,
    use: _Use,
    activity: Array,
    level: float,
    habit: Array,
    clock: tuple[Array, Array],
) -> tuple[NDArray[np.int32], NDArray[np.int32], Array]:
    """Start [s], duration [s] and volume [L] of one household's draws of one kind in the year.

    `activity` and `habit` have shape (365,): the day's number of draws over the table's, and the
    household's hour as a share of the day's use.
    """
    # The level of use goes half into more draws, half into longer ones.
    bursts = rng.poisson(activity * (math.sqrt(level) * use.draws_per_day / use.burst))
    day = np.repeat(np.arange(DAYS), bursts)
    shift = rng.random(day.size)
    joined = rng.random(day.size) < use.together
    rank = np.arange(day.size) - np.repeat(np.cumsum(bursts) - bursts, bursts)
    shift = np.where(joined, habit[day] + rank * use.queue, shift)
    if use.burst > 1.0:
        lengths = 1 + rng.poisson(use.burst - 1.0, day.size)
        rank = np.arange(int(lengths.sum())) - np.repeat(np.cumsum(lengths) - lengths, lengths)
        day, shift = np.repeat(day, lengths), np.repeat(shift, lengths) + rank * use.gap
    # Past the end of a day the draw falls into the next one, by that day's own clock.
    moment = day + shift
    whole = np.floor(moment)
    today = whole.astype(np.int64) % DAYS
    share = moment - whole
    second = np.interp(share + WEEKEND[today], *clock)

    normal = rng.standard_normal((2, day.size))
    length = np.exp(use.seconds_sigma * normal[0] - use.seconds_sigma**2 / 2.0) * math.sqrt(level)
    flow = np.exp(use.flow_sigma * normal[1] - use.flow_sigma**2 / 2.0)
    volume = length * flow * use.litres
    duration = np.maximum(np.rint(length * use.seconds), 1.0)
    # The middle of the draw lies at the moment drawn, so that long draws do not shift the pattern.
    start = (today * 86400 + np.floor(second - duration / 2.0).astype(np.int64)) % YEAR
    return start.astype(np.int32), duration.astype(np.int32), volume
