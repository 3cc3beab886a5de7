"""Households and the draws they make: every tap of a building in a year, one by one.

How the random draws come about
-------------------------------
Every apartment is a household with a number of occupants, a level of use and a favourite hour of its own.
It is away on some days; at home it uses more on one day than on the next. On each day it takes a random
number of showers, baths, sink draws and machine fills; some of them fall together, one after the other,
around its favourite hour. The whole building has better and worse days in common: holidays, weather, events;
and the season and the week of its pattern.

The time of day is drawn on the scale of the pattern's own cumulative share, on which every moment is
equally likely. Habits, queues at the bathroom door and bursts are shifts along that scale, and a uniform
variable shifted by an independent amount stays uniform: the mean of every hour is the pattern's, however
strong the habits. (What remains is the length of a draw that reaches over the edge of an hour: it carries
less than 0.001 of the day's use from one hour to the next.)

A fixture keeps its flow: that of the table, spread from draw to draw and cut off at the most that it may
pass. Water is counted at use temperature, so that a shower of 110 degF takes less than its flow of it where
that is hotter, with mains of 58 degF as in the table. The stated daily use and a household's own level of use
change how many draws there are, and within 0.6 to 1.6 times how long showers, baths and sinks run; machines
fill as long as they do. The year's litres come out as stated because the draws are candidates in a random
order of their own, of which just so many are taken; the last of them is cut short.

What is published and what is not
---------------------------------
Shares of the kinds of use and how they grow with the household: Building America protocols [1]_. Flows and
durations: [2]_ (unverified). Most flow of showers and faucets: [4]_. Spread of the level of use, days away,
day-to-day variation, habits: common practice, no source; the distribution of use over households is skewed,
as measured ones are.

From day to day a home varies by a coefficient of variation of about 0.85 of its own, and N homes by 0.85 /
sqrt(N) as independent ones do: 0.15 for 32 homes, 0.06 for 200. What all share comes on top, squared:
`COMMON_SPREAD`, an assumption, so small that months of one building stay near their season.

The peaks of [3]_ are a design envelope over many buildings, by the clock hour; this is one year of one
building, whose largest day is 10 to 20 % below them and whose largest hour is up to 23 % below. Whoever asks
for the envelope (`tankyear size`) takes a wider `day_spread`, with which both are met on average over the
building sizes; not size by size, for the handbook's fall faster between 75 and 200 apartments than those of
any sum of independent households: `benchmarks/demand_diversity.py` prints how far each is off.

References
----------
.. [1] R. Hendron, C. Engebrecht, NREL/TP-550-49426, 2010.
.. [2] R. Hendron, J. Burch, NREL/CP-550-40874, 2007.
.. [3] ASHRAE Handbook, HVAC Applications, service water heating (data of Werden & Spielvogel, 1969).
.. [4] 10 CFR 430.32(o) and (p): faucets 2.2 gpm at 60 psi, showerheads 2.5 gpm at 80 psi.
"""

import math
from statistics import NormalDist
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.constants import DAYS
from hpwhsim.demand.patterns import COLD_C, WEEKEND, Pattern, check_building, days_of
from hpwhsim.errors import OutOfRangeError
from hpwhsim.io.us_units import LITRES_PER_GALLON
from hpwhsim.tables import read_table

Scalar = TypeVar("Scalar", bound=np.generic)

YEAR = DAYS * 86400  # s
LARGEST_HOUSEHOLD = 7  # or twice the mean
MOST_PEOPLE = 12.0  # in a mean household
# Household use grows as bedrooms + 3 in every end use of [1]; with its occupants = 0.92 bedrooms + 0.63
# (apartments, unverified) that is proportional to occupants + 2.13.
BASE_OCCUPANTS = 3.0 * 0.92 - 0.63
TABLE_OCCUPANTS = 2.0 * 0.92 + 0.63  # of the two-bedroom household whose draws the table holds
PEOPLE_PER_APARTMENT = 2.2  # 191 occupants in 86 apartments; source ahmed-2016

# Common practice, no source; with the day spread of `size` they come near the peaks of the handbook table.
LEVEL_SPREAD = 0.35  # standard deviation of the log of a household's level of use
DAY_SPREAD = 0.50  # the same of its day-to-day use while at home
AWAY_SHARE = 0.06  # of the days
AWAY_DAYS = 5.0  # mean length of an absence
HABIT_SPREAD = 0.05  # standard deviation of the household's hour, as a share of the day's use
COMMON_SPREAD = 0.03  # standard deviation of the log of what all homes share of a day
COMMON_MEMORY = 0.3  # its correlation from one day to the next

# The temperatures of the table, and that at which litres are counted unless stated.
MAINS_C, MIXED_C, HOT_C, USE_C = COLD_C, (110 - 32) / 1.8, (125 - 32) / 1.8, 49.0
# How much longer or shorter showers, baths and sinks run with the use: common practice, no source.
SHORTEST, LONGEST = 0.6, 1.6
# Candidates over what is expected to be taken, in steps, so that a building's candidates seldom change.
RESERVE, RESERVE_STEP = 1.1, 1.25
TAKEN = 0.8  # share of the candidates that is usually taken
BINS = 2**16

# A gap of an hour as a share of the day's use. Gaps are kept by shares, so that they are short in busy hours
# and long at night; with the share of a mean hour their mean over the draws is the table's.
GAP_SHARE = 1.0 / 24.0


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
    flow: float  # mean of one draw before it is cut off, L/s at use temperature
    flow_sigma: float  # of the log
    most_flow: float  # L/s at use temperature
    seconds: float  # mean of one draw, s
    seconds_sigma: float  # of the log
    stretches: bool  # whether it runs longer where more is used
    burst: float  # mean draws in a row
    gap: float  # between them, as a share of the day's use
    queue: float  # between bursts around the household's hour, as a share of the day's use
    together: float  # chance to fall into the household's hour


class _Household(NamedTuple):
    """One apartment and its year."""

    rng: np.random.Generator  # its own stream, where its draws begin
    level: float  # of use, of mean 1 over households
    activity: Array  # (365,) the day's use over the table's, at level 1
    habit: Array  # (365,) its hour, as a share of the day's use


# Steps of an additive sequence that fills the unit cube evenly (occupants, level of use, favourite hour).
SPREAD = np.array([3.0**0.5, 0.5 + 1.25**0.5, 2.0**0.5]) % 1.0


def building_events(
    apartments: int,
    litres_per_apartment_day: float,
    pattern: Pattern,
    seed: int,
    people_per_apartment: float = PEOPLE_PER_APARTMENT,
    use_temperature: float = USE_C,
    day_spread: float = COMMON_SPREAD,
) -> Events:
    """All draws of a building in a year.

    The year's total is the stated use, by the number of draws: every burst of draws has a rank of its own,
    and they are taken by rank until the litres are reached. The last burst is cut short to the second; what
    that leaves (less than 1e-4 of a home's year) moves the flows. Left to chance the expected total is the
    stated use already; a building's total would lie within about 15 % of it for 20 apartments and 4 % for
    200. Of a single home the stated use is its own, whatever its level.

    Parameters
    ----------
    apartments, litres_per_apartment_day, pattern, seed
        The building, its mean daily use at use temperature [L], when it uses it, and the seed of its draws.
    people_per_apartment : float
        Mean of the households.
    use_temperature : float
        At which litres are counted. [°C]
    day_spread : float
        Standard deviation of the log of what all homes share from day to day.

    Raises
    ------
    OutOfRangeError
        If there is no apartment, the litres are negative, the seed is not 0 to 2**32 - 1, or there are fewer
        than 1 or more than `MOST_PEOPLE` in an apartment.
    """
    check_building(apartments, litres_per_apartment_day)
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or not 0 <= seed < 2**32:
        raise OutOfRangeError(f"hot_water.seed must be a whole number from 0 to {2**32 - 1}, got {seed!r}")
    if not 1.0 <= people_per_apartment <= MOST_PEOPLE:
        raise OutOfRangeError(
            f"building.people_per_apartment must be 1 to {MOST_PEOPLE:g} for random draws, "
            f"got {people_per_apartment}"
        )
    size, litres, people = int(apartments), litres_per_apartment_day, people_per_apartment
    stated = size * litres * DAYS
    # What the households would use, over the stated use, says how many candidates are needed.
    homes = _households(size, pattern, int(seed), people, day_spread)
    expected = sum(home.level * home.activity.sum() for home in homes) / (size * DAYS * _mean_size(people))
    reserve = RESERVE_STEP ** math.ceil(math.log(RESERVE / expected, RESERVE_STEP))
    while True:
        events, rank = _candidates(homes, litres, pattern, people, use_temperature, reserve)
        if float(events.litres.sum()) >= stated:
            return _taken(events, rank, stated)
        reserve *= RESERVE_STEP if events.litres.size else 16.0
        homes = _households(size, pattern, int(seed), people, day_spread)


def _taken(events: Events, rank: NDArray[np.float32], stated: float) -> Events:
    """The candidates of the lowest ranks (0 to 1) that hold `stated` litres together."""
    place = np.minimum((rank * BINS).astype(np.int64), BINS - 1)
    total = np.cumsum(np.bincount(place, weights=events.litres, minlength=BINS))
    edge = min(int(np.searchsorted(total, stated)), BINS - 1)
    last = np.flatnonzero(place == edge)
    last = last[np.argsort(rank[last], kind="stable")]
    before = float(total[edge - 1]) if edge > 0 else 0.0
    need = int(np.searchsorted(before + np.cumsum(events.litres[last]), stated))
    final = rank[last[min(need, last.size - 1)]] if last.size else np.float32(1.0)
    kept = rank <= final
    chosen = Events._make(values[kept] for values in events)
    cut = np.flatnonzero(rank[kept] == final)
    burst = float(chosen.litres[cut].sum())
    over = float(chosen.litres.sum()) - stated
    if 0.0 < over < burst:
        flow = chosen.litres[cut] / chosen.duration[cut]
        seconds = np.maximum(np.floor(chosen.duration[cut] * (1.0 - over / burst)), 1.0)
        chosen.duration[cut] = seconds.astype(np.int32)
        chosen.litres[cut] = flow * seconds
    drawn = float(chosen.litres.sum())
    if drawn > 0.0:
        np.multiply(chosen.litres, stated / drawn, out=chosen.litres)
    return chosen


def _mean_size(people: float) -> float:
    """Use of a mean household over that of the table's."""
    return (people + BASE_OCCUPANTS) / (TABLE_OCCUPANTS + BASE_OCCUPANTS)


def _households(
    apartments: int, pattern: Pattern, seed: int, people: float, day_spread: float
) -> list[_Household]:
    """Who lives in the building, and their days."""
    shares = np.cumsum(_household_sizes(people))[:-1]
    rng = np.random.default_rng(np.random.SeedSequence((seed, 0)))  # the building's own stream
    corner = rng.random(3)
    # The building's day: a lognormal first-order process of mean 1.
    noise = rng.standard_normal(DAYS)
    common = np.empty(DAYS)
    common[0] = noise[0]
    for day in range(1, DAYS):
        common[day] = COMMON_MEMORY * common[day - 1] + math.sqrt(1.0 - COMMON_MEMORY**2) * noise[day]
    common = np.exp(day_spread * common - day_spread**2 / 2.0)
    common *= days_of(pattern)
    homes = []
    for apartment in range(apartments):
        # Households differ, but a building of the stated mean use holds the whole range of them: points of an
        # additive (Kronecker) sequence fill the unit cube evenly for any number of apartments.
        place = (corner + (apartment + 1) * SPREAD) % 1.0
        occupants = 1 + int(np.searchsorted(shares, place[0], side="right"))
        z = NormalDist().inv_cdf(min(max(float(place[1]), 1e-9), 1.0 - 1e-9))
        level = math.exp(LEVEL_SPREAD * z - LEVEL_SPREAD**2 / 2.0)
        rng = np.random.default_rng(np.random.SeedSequence((seed, apartment + 1)))
        activity = common * _household_days(rng) * _mean_size(occupants)
        habit = float(place[2]) + HABIT_SPREAD * rng.standard_normal(DAYS)
        homes.append(_Household(rng, level, activity, habit))
    return homes


def _candidates(
    homes: list[_Household],
    litres: float,
    pattern: Pattern,
    people: float,
    use_temperature: float,
    reserve: float,
) -> tuple[Events, NDArray[np.float32]]:
    """Draws that may be taken, and the rank of each in 0 to 1.

    With a `reserve` of 1 they are expected to hold the stated use, `litres` a day of a mean household.
    """
    uses, day = _end_uses(use_temperature)
    stated = litres / (day * _mean_size(people))  # over what the table's household would use
    clock = _clock(pattern)
    owners: list[NDArray[np.int32]] = []
    kinds: list[NDArray[np.int8]] = []
    starts: list[NDArray[np.int32]] = []
    durations: list[NDArray[np.int32]] = []
    volumes: list[Array] = []
    ranks: list[NDArray[np.float32]] = []
    for apartment, home in enumerate(homes):
        for kind, use in enumerate(uses):
            start, seconds, volume, rank = _draws_of(use, home, stated, reserve, clock)
            owners.append(np.full(start.size, apartment, np.int32))
            kinds.append(np.full(start.size, kind, np.int8))
            starts.append(start)
            durations.append(seconds)
            volumes.append(volume)
            ranks.append(rank)
    events = Events(_join(owners), _join(kinds), _join(starts), _join(durations), _join(volumes))
    return events, _join(ranks)


def _join(parts: list[NDArray[Scalar]]) -> NDArray[Scalar]:
    """The parts in one array; the list is emptied, as a big building's draws need not be held twice."""
    whole = np.concatenate(parts)
    parts.clear()
    return whole


def _household_sizes(people: float) -> Array:
    """Share of households of 1, 2, ... occupants with the given mean, shape (largest household,).

    The most even distribution with that mean, a cut geometric series; near 2.1 it gives 44, 25, 14, 8 % ...
    """
    low, high = 0.0, 100.0
    number = np.arange(max(LARGEST_HOUSEHOLD, math.ceil(2.0 * people) if people > 6.0 else 0))
    for _ in range(60):
        ratio = 0.5 * (low + high)
        shares = ratio**number
        if (shares @ (number + 1)) / shares.sum() < people:
            low = ratio
        else:
            high = ratio
    shares = high**number
    return np.asarray(shares / shares.sum())


def _end_uses(use_temperature: float) -> tuple[list[_Use], float]:
    """The kinds of use of the table's household, and its litres a day at use temperature."""
    rows = read_table("demand_end_uses")
    hot = [float(row["daily_gal"]) * float(row["hot_share"]) for row in rows]
    span = max(use_temperature, MIXED_C) - MAINS_C
    gallons = sum(hot) * (HOT_C - MAINS_C) / span  # a day, at use temperature
    uses = []
    for row, part in zip(rows, hot, strict=True):
        at_fixture = HOT_C if float(row["hot_share"]) == 1.0 else MIXED_C
        litre = LITRES_PER_GALLON / 60.0 * min((at_fixture - MAINS_C) / span, 1.0)  # L/s at use, of 1 gpm
        flow, most = float(row["flow_gpm"]), float(row["most_gpm"])
        sigma, seconds = math.sqrt(math.log1p(float(row["flow_cv"]) ** 2)), 60.0 * float(row["minutes"])
        volume = litre * _cut_mean(flow, sigma, most) * seconds
        uses.append(
            _Use(
                draws_per_day=LITRES_PER_GALLON * gallons * part / sum(hot) / volume,
                flow=litre * flow,
                flow_sigma=sigma,
                most_flow=litre * most,
                seconds=seconds,
                seconds_sigma=math.sqrt(math.log1p(float(row["minutes_cv"]) ** 2)),
                stretches=row["stretch"] == "1",
                burst=float(row["burst"]),
                gap=float(row["gap_minutes"]) / 60.0 * GAP_SHARE,
                queue=float(row["queue_minutes"]) / 60.0 * GAP_SHARE,
                together=float(row["together"]),
            )
        )
    return uses, LITRES_PER_GALLON * gallons


def _cut_mean(mean: float, sigma: float, most: float) -> float:
    """Mean of a lognormal variable of that mean and sigma of the log, cut off at `most`."""
    z = (math.log(most / mean) + sigma**2 / 2.0) / sigma
    below = NormalDist().cdf
    return mean * below(z - sigma) + most * (1.0 - below(z))


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
    use: _Use, home: _Household, stated: float, reserve: float, clock: tuple[Array, Array]
) -> tuple[NDArray[np.int32], NDArray[np.int32], Array, NDArray[np.float32]]:
    """Start [s], duration [s], volume [L] and rank of one household's candidates of one kind in the year.

    `stated` is the use over the table's, and `reserve` how many candidates there are over those expected to
    be taken.
    """
    rng = home.rng
    more = stated * home.level
    longer = min(max(math.sqrt(more), SHORTEST), LONGEST) if use.stretches else 1.0
    bursts = rng.poisson(home.activity * (more / longer * reserve * use.draws_per_day / use.burst))
    day = np.repeat(np.arange(DAYS), bursts)
    shift = rng.random(day.size)
    joined = rng.random(day.size) < use.together
    order = rng.random(day.size, dtype=np.float32)
    rank = np.arange(day.size) - np.repeat(np.cumsum(bursts) - bursts, bursts)
    shift = np.where(joined, home.habit[day] + rank * (TAKEN * use.queue), shift)
    if use.burst > 1.0:
        lengths = 1 + rng.poisson(use.burst - 1.0, day.size)
        rank = np.arange(int(lengths.sum())) - np.repeat(np.cumsum(lengths) - lengths, lengths)
        day, shift = np.repeat(day, lengths), np.repeat(shift, lengths) + rank * use.gap
        order = np.repeat(order, lengths)
    # Past the end of a day the draw falls into the next one, by that day's own clock.
    moment = day + shift
    whole = np.floor(moment)
    today = whole.astype(np.int64) % DAYS
    share = moment - whole
    second = np.interp(share + WEEKEND[today], *clock)

    normal = rng.standard_normal((2, day.size))
    seconds = np.exp(use.seconds_sigma * normal[0] - use.seconds_sigma**2 / 2.0) * (longer * use.seconds)
    flow = np.exp(use.flow_sigma * normal[1] - use.flow_sigma**2 / 2.0) * use.flow
    duration = np.maximum(np.rint(seconds), 1.0)
    volume = np.minimum(flow, use.most_flow) * duration
    # The middle of the draw lies at the moment drawn, so that long draws do not shift the pattern.
    start = (today * 86400 + np.floor(second - duration / 2.0).astype(np.int64)) % YEAR
    return start.astype(np.int32), duration.astype(np.int32), volume, order
