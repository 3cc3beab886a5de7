"""What the plant draws from the building's electrical service: demand, ampacity, breakers, transformer.

Preliminary figures to talk from: local electrical code, nameplates and licensed engineers decide.
"""

import math
from typing import NamedTuple

from hpwhsim.account.checks import CONFIRM, OK, Check, held
from hpwhsim.errors import OutOfRangeError

ELECTRICAL = "local electrical code and the maker's nameplate decide"

# Breakers, A, quoted from memory: NEC 240.6(A), and IEC sizes for 230 and 400 V.
NEC_BREAKERS = (
    *(15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400),
    *(450, 500, 600, 700, 800, 1000, 1200, 1600, 2000, 2500, 3000, 4000, 5000, 6000),
)
IEC_BREAKERS = (
    *(6, 10, 13, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000),
    *(1250, 1600, 2000, 2500, 3200, 4000, 5000, 6300),
)
# Dry-type transformers, kVA; quoted from memory.
TRANSFORMERS = {
    3: (15, 30, 45, 75, 112.5, 150, 225, 300, 500, 750, 1000),
    1: (5, 7.5, 10, 15, 25, 37.5, 50, 75, 100, 167),
}
VOLTAGES = {1: (120.0, 208.0, 230.0, 240.0), 3: (208.0, 240.0, 400.0, 480.0)}
TO_NEUTRAL = {208.0: 120.0, 240.0: 120.0, 400.0: 230.0}  # what a service also gives to one phase


class Service(NamedTuple):
    """What the plant draws, and from what; None: not given."""

    worst_quarter_kw: float  # highest 15-minute mean of the year
    modules: int
    compressor_kw: float  # most that one module draws
    resistance_kw: float  # all resistance heaters
    trace_kw: float  # heat trace as installed
    other_kw: float  # fans, pumps, controls: whatever else may run with them
    power_factor: float  # of all but resistance and heat trace
    volts: float  # of the plant
    phases: int  # 1 or 3
    building_volts: float | None  # line to line
    spare_amperes: float | None  # that the building's service can still give, at the plant's voltage


def amperes(kva: float, volts: float, phases: int) -> float:
    """Current of an apparent power: over V, or over sqrt(3) V with three phases. [A].

    Examples
    --------
    >>> amperes(4.5, 240.0, 1), round(amperes(75.0, 208.0, 3), 1)
    (18.75, 208.2)
    """
    return 1e3 * kva / (volts * (math.sqrt(3.0) if phases == 3 else 1.0))


def least_ampacity(motors: list[float], other: float, resistance: float) -> float:
    """Minimum circuit ampacity: 1.25 times the largest motor, the others, and 1.25 times resistance. [A].

    Parameters
    ----------
    motors : list of float
        Full-load current of each motor; may be empty. [A]
    other : float
        Current of whatever else runs with them. [A]
    resistance : float
        Current of resistance heaters and heat trace, which count as continuous. [A]

    References
    ----------
    .. [1] NEC 440 (motors) and 427.4 (heat trace), both quoted from memory, and 422.13 (storage water
       heaters; seen quoted).

    Examples
    --------
    >>> least_ampacity([], 0.0, 18.75)
    23.4375
    """
    return sum(motors) + 0.25 * max(motors, default=0.0) + other + 1.25 * resistance


def next_size(value: float, sizes: tuple[float, ...]) -> float | None:
    """Smallest of the standard sizes that is at least `value`; None where it is above them all.

    Examples
    --------
    >>> next_size(28.6, NEC_BREAKERS)
    30
    """
    return next((size for size in sizes if size >= value), None)


def check_supply(volts: float, phases: int) -> None:
    """Refuse a voltage that is none of that number of phases.

    Raises
    ------
    OutOfRangeError
        Naming those that are.
    """
    if volts not in VOLTAGES.get(phases, ()):
        known = "; ".join(f"{n} phase: {', '.join(f'{v:g}' for v in vs)} V" for n, vs in VOLTAGES.items())
        raise OutOfRangeError(f"site.checks.voltage: got {volts:g} V with {phases} phases; allowed {known}")


def electrical_checks(of: Service) -> list[Check]:
    """Demand, full-load current, ampacity, breaker and transformer.

    Raises
    ------
    OutOfRangeError
        If the voltage is none of that number of phases, the power factor is not above 0 and at most 1, or a
        power is negative or not finite.
    """
    check_supply(of.volts, of.phases)
    if not 0.0 < of.power_factor <= 1.0:
        raise OutOfRangeError(f"power factor: got {of.power_factor:g}; allowed above 0, to 1")
    for name, kw in (
        ("worst 15 minutes [kW]", of.worst_quarter_kw),
        ("compressor [kW]", of.compressor_kw),
        ("resistance [kW]", of.resistance_kw),
        ("heat trace [kW]", of.trace_kw),
        ("other loads [kW]", of.other_kw),
    ):
        if not 0.0 <= kw < math.inf:
            raise OutOfRangeError(f"site check, {name}: got {kw:g}; allowed 0 or more")

    def current(kw: float, power_factor: float = of.power_factor) -> float:
        return amperes(kw / power_factor, of.volts, of.phases)

    at = f"at {of.volts:g} V, {of.phases} phase, power factor {of.power_factor:g}"
    motor, other, heaters = current(of.compressor_kw), current(of.other_kw), current(of.resistance_kw, 1.0)
    trace = current(of.trace_kw, 1.0)
    plant = least_ampacity([motor] * of.modules, other, heaters + trace)
    kva = (of.modules * of.compressor_kw + of.other_kw) / of.power_factor + of.resistance_kw + of.trace_kw
    # of what ran then only the sum is known: all of it at the power factor, and never more than is connected
    worst = max(of.worst_quarter_kw, min(of.worst_quarter_kw / of.power_factor, kva))
    found = [
        _rough("demand, worst 15 minutes", worst, "kVA", at),
        _rough("current, worst 15 minutes", amperes(worst, of.volts, of.phases), "A", at),
        _rough("connected load", kva, "kVA", f"{at}, resistance at 1; all at once"),
        _rough("full-load current", of.modules * motor + other + heaters + trace, "A", at),
    ]
    if of.modules:
        found.append(_circuit("one module", least_ampacity([motor], 0.0, 0.0), of))
    if of.resistance_kw:
        found.append(_circuit("resistance heaters", least_ampacity([], 0.0, heaters), of))
    if of.trace_kw:
        found.append(_circuit("heat trace", least_ampacity([], 0.0, trace), of))
    found.append(_circuit("plant", plant, of))
    if of.spare_amperes is not None:
        name = "plant against the service's spare"
        found.append(held(name, plant, of.spare_amperes, "A", "given", note=ELECTRICAL))
    if of.building_volts is None:
        limit = f"{of.volts:g} V for the plant; {ELECTRICAL}"
        found.append(Check("voltage of the building", None, "V", limit, "not given", CONFIRM))
    elif of.building_volts == of.volts or (of.phases == 1 and TO_NEUTRAL.get(of.building_volts) == of.volts):
        limit = f"{of.volts:g} V for the plant: met"
        found.append(Check("voltage of the building", of.building_volts, "V", limit, "given", OK))
    else:
        size = next_size(kva, TRANSFORMERS[of.phases])
        standard = f"{size:g} kVA is the next standard size" if size else "more than one transformer"
        limit = f"{of.building_volts:g} V to {of.volts:g} V: {standard}; {ELECTRICAL}"
        source = "dry-type sizes quoted from memory; no diversity, no room to grow"
        found.append(Check("transformer", kva, "kVA", limit, source, CONFIRM))
    return found


def _rough(name: str, value: float, unit: str, source: str) -> Check:
    return Check(name, value, unit, ELECTRICAL, source, CONFIRM)


def _circuit(name: str, ampacity: float, of: Service) -> Check:
    """Minimum circuit ampacity with the next breaker."""
    standard = "IEC" if of.volts in (230.0, 400.0) else "NEC 240.6(A)"
    size = next_size(ampacity, IEC_BREAKERS if standard == "IEC" else NEC_BREAKERS)
    breaker = f"next breaker {size:g} A" if size else "several circuits"
    source = f"1.25 largest motor, others, 1.25 resistance (NEC 440, 422.13); {standard} sizes from memory"
    limit = f"{breaker}; {ELECTRICAL}"
    return Check(f"minimum circuit ampacity, {name}", ampacity, "A", limit, source, CONFIRM)
