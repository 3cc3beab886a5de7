"""A plant reduced to heat by the hour, as `linear_program` reads it, and its limits as rows."""

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hpwhsim.arrays import Array, Ints
from hpwhsim.errors import OutOfRangeError

if TYPE_CHECKING:
    from scipy.sparse import csr_array


class Tank(NamedTuple):
    """A tank of the loop's own, through which the taps' water runs: all demand is drawn from it."""

    carried: Array | float  # (hour,) most heat that the taps' water brings from the store, kWh
    heater: Array | float  # (hour,) most heat of its heater, kWh
    per_heat: Array | float  # (hour,) electricity over heat of the heater
    storage: float  # most heat in it, kWh
    least: Array | float  # (hour,) heat in it, with what comes in the hour, at some time of each hour, kWh
    ends: tuple[float, float]  # held at the start, and at least at the end, kWh
    loss_share: float = 0.0  # of the heat held, lost in an hour
    loss_constant: Array | float = 0.0  # (hour,) lost in an hour beside it; negative: gained, kWh
    floor: Array | float = 0.0  # (hour,) heat in it at the start of each hour, at least, kWh


class Grade(NamedTuple):
    """The second balance: heat times how warm the water is that takes or gives it (`temperature_balance`)."""

    demand: Array  # (hour,) taken by taps and loop, K·kWh
    least: Array | float  # (hour,) over heat of the heat pump at its coldest water, K
    further: Array | float  # (hour,) at most beside it, at warmer water, over heat, K
    per_grade: Array | float  # (hour,) electricity over that further grade, 1/K
    backup: Array | float  # (hour,) over heat of the backup, K
    heater: float  # over heat of the heater of a loop tank, K
    gain: Array | float  # (hour,) from air around, K·kWh
    storage: float  # most in store and tank, K·kWh
    ends: tuple[float, float]  # at the start, and at least at the end, K·kWh


class ReducedPlant(NamedTuple):
    """A plant reduced to heat by the hour; what is said to be (hour,) may be one number."""

    demand: Array  # (hour,) heat to taps and loop, kWh
    capacity: Array | float  # (hour,) most heat of the heat pump; 0 where it cannot run, kWh
    per_heat: Array | float  # (hour,) electricity over heat of the heat pump; not read where capacity is 0
    storage: float  # most heat in the store, kWh
    least: Array | float = 0.0  # (hour,) least heat in the store after each hour, kWh
    backup: Array | float = 0.0  # (hour,) most heat of the backup, kWh
    backup_per_heat: float = 1.0  # energy bought over heat of the backup
    loss_share: float = 0.0  # of the stored heat, lost in an hour
    loss_constant: Array | float = 0.0  # (hour,) lost in an hour beside it; negative: gained, kWh
    ends: tuple[float, float] | None = None  # stored at the start, and at least at the end, kWh; None: cyclic
    tank: Tank | None = None
    grade: Grade | None = None


class Columns(NamedTuple):
    """Where each variable stands; those that a plant does not have are empty."""

    heat: Ints  # (hour,)
    backup: Ints  # (hour,)
    stored: Ints  # (hour + 1,) at the start and after each hour
    carried: Ints  # (hour,)
    heater: Ints  # (hour,)
    held: Ints  # (hour + 1,)
    further: Ints  # (hour,)
    graded: Ints  # (hour + 1,)
    peaks: Ints  # (period,)

    @property
    def size(self) -> int:
        """How many variables there are."""
        return sum(column.size for column in self)


def columns(plant: ReducedPlant, periods: int) -> Columns:
    """Places of the variables of `plant`."""
    hours = plant.demand.size
    tank, grade = int(plant.tank is not None), int(plant.grade is not None)
    sizes = [hours, hours, hours + 1]
    sizes += [tank * hours, tank * hours, tank * (hours + 1), grade * hours, grade * (hours + 1), periods]
    ends = np.cumsum([0, *sizes])
    return Columns(*(np.arange(a, b) for a, b in pairwise(ends)))


def most_gain(share: float, constant: Array) -> Array:
    """Constant of the second limit of a store: its loss in an hour at the coldest water, (hour,). [kWh]."""
    if share == 0.0:
        return constant
    return np.where(constant >= 0.0, constant, constant * -float(np.log1p(-share)) / share)


def rows(plant: ReducedPlant, place: Columns, per_heat: Array, electric: float, periods: Ints) -> "Limits":
    """Limits ``matrix @ x <= right``; those in which the demand stands come first, two for each hour."""
    from scipy.sparse import coo_array, csr_array, vstack

    hours = plant.demand.size
    one, nothing = np.ones(hours), np.zeros(hours)

    def lines(*terms: tuple[ArrayLike, Ints]) -> "csr_array":
        values = np.concatenate([np.asarray(value) * one for value, _ in terms])
        where = np.tile(np.arange(hours), len(terms)), np.concatenate([column for _, column in terms])
        return csr_array(coo_array((values, where), shape=(hours, place.size)))

    def store(
        into: tuple[Ints, Ints], stock: Ints, out: tuple[Array, Ints], share: float, constant: Array
    ) -> None:
        """Two limits of a stock: loss on what the draw leaves, and none on what passes straight through."""
        for keep, lost in ((1.0 - share, constant), (1.0, most_gain(share, constant))):
            terms: list[tuple[ArrayLike, Ints]] = [
                (-one, into[0]),
                (-one, into[1]),
                (-keep, stock[:-1]),
                (one, stock[1:]),
            ]
            if out[1].size > 0:
                terms.append((keep, out[1]))
            parts.append(lines(*terms))
            right.append(-keep * out[0] - lost)

    parts: list[csr_array] = []
    right: list[Array] = []
    tank, grade = plant.tank, plant.grade
    drawn = plant.demand if tank is None else nothing
    if tank is not None:
        ways = place.carried, place.heater
        constant = np.asarray(tank.loss_constant)
        store(ways, place.held, (plant.demand, place.held[:0]), tank.loss_share, constant)
    constant = np.asarray(plant.loss_constant)
    store((place.heat, place.backup), place.stored, (drawn, place.carried), plant.loss_share, constant)
    if tank is not None:
        parts.append(lines((-one, place.held[:-1]), (-one, place.carried), (-one, place.heater)))
        right.append(-np.asarray(tank.least))
    if grade is not None:
        terms: list[tuple[ArrayLike, Ints]] = [
            (-grade.least, place.heat),
            (-grade.backup, place.backup),
            (-one, place.further),
        ]
        terms += [(-one, place.graded[:-1]), (one, place.graded[1:])]
        if tank is not None:
            terms.append((-grade.heater, place.heater))
        parts += [lines(*terms), lines((-np.asarray(grade.further), place.heat), (one, place.further))]
        right += [grade.gain - grade.demand, nothing]
    if plant.ends is None:  # cyclic: no less at the end than at the start
        cycle = ([1.0, -1.0], ([0, 0], [place.stored[0], place.stored[-1]]))
        parts.append(csr_array(coo_array(cycle, shape=(1, place.size))))
        right.append(np.zeros(1))
    if place.peaks.size > 0:
        bought: list[tuple[ArrayLike, Ints]] = [
            (per_heat, place.heat),
            (electric * plant.backup_per_heat, place.backup),
        ]
        if tank is not None:
            bought.append((tank.per_heat, place.heater))
        if grade is not None:
            bought.append((grade.per_grade, place.further))
        parts.append(lines(*bought, (-one, place.peaks[periods])))
        right.append(nothing)
    return Limits(csr_array(vstack(parts)), np.concatenate(right))


class Limits(NamedTuple):
    """``matrix @ x <= right``."""

    matrix: "csr_array"
    right: Array


def checked(plant: ReducedPlant) -> ReducedPlant:
    """The plant with every series of shape (hour,).

    Raises
    ------
    OutOfRangeError
        If a value is not finite, negative where it must not be, or the shapes do not fit.
    """
    hours = np.size(plant.demand)
    demand, capacity = series("demand", plant.demand, hours), series("capacity", plant.capacity, hours)
    stocks = [("", plant.storage, plant.loss_share, plant.ends or (0.0, 0.0))]
    if plant.tank is not None:
        stocks.append(("tank.", plant.tank.storage, plant.tank.loss_share, plant.tank.ends))
    if plant.grade is not None:
        stocks.append(("grade.", plant.grade.storage, 0.0, plant.grade.ends))
    for name, storage, share, ends in stocks:
        if not 0.0 <= share < 1.0:
            raise OutOfRangeError(f"{name}loss_share: got {share:g}; allowed 0 to less than 1")
        for key, value, most in (
            ("storage", storage, np.inf),
            ("ends, at the start", ends[0], storage),
            ("ends, at the end", ends[1], storage),
        ):
            if not (0.0 <= value <= most and np.isfinite(value)):
                raise OutOfRangeError(f"{name}{key}: got {value:g}; allowed 0 to {most:g}")
    if not 0.0 <= plant.backup_per_heat < np.inf:
        raise OutOfRangeError(f"backup_per_heat: got {plant.backup_per_heat:g}; allowed 0 to inf")
    per_heat = np.asarray(plant.per_heat, dtype=np.float64)
    if per_heat.shape == capacity.shape:
        per_heat = np.where(capacity > 0.0, per_heat, 0.0)
    tank, grade = plant.tank, plant.grade
    if tank is not None:
        tank = tank._replace(
            carried=series("tank.carried", tank.carried, hours),
            heater=series("tank.heater", tank.heater, hours),
            per_heat=series("tank.per_heat", tank.per_heat, hours),
            least=series("tank.least", tank.least, hours),
            loss_constant=series("tank.loss_constant", tank.loss_constant, hours, signed=True),
            floor=series("tank.floor", tank.floor, hours),
        )
    if grade is not None:
        grade = grade._replace(
            demand=series("grade.demand", grade.demand, hours, signed=True),
            least=series("grade.least", grade.least, hours, signed=True),
            further=series("grade.further", grade.further, hours),
            per_grade=series("grade.per_grade", grade.per_grade, hours),
            backup=series("grade.backup", grade.backup, hours, signed=True),
            gain=series("grade.gain", grade.gain, hours),
        )
    return plant._replace(
        demand=demand,
        capacity=capacity,
        per_heat=series("per_heat", per_heat, hours),
        least=series("least", plant.least, hours),
        backup=series("backup", plant.backup, hours),
        loss_constant=series("loss_constant", plant.loss_constant, hours, signed=True),
        tank=tank,
        grade=grade,
    )


def series(name: str, value: ArrayLike, hours: int, *, signed: bool = False) -> Array:
    """`value` as an array of shape (hour,).

    Raises
    ------
    OutOfRangeError
        If it does not fit, is not finite, or negative and not `signed`.
    """
    array = np.asarray(value, dtype=np.float64)
    if array.shape not in ((), (hours,)) or hours == 0:
        raise OutOfRangeError(f"{name}: got shape {array.shape}; allowed one number or ({hours},)")
    wrong = ~np.isfinite(array) | (array < (-np.inf if signed else 0.0))
    for number in np.extract(wrong, array)[:1]:
        raise OutOfRangeError(
            f"{name}: got {number:g}; allowed {'a finite number' if signed else '0 or more'}"
        )
    return np.broadcast_to(array, (hours,))
