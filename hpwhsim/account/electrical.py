"""What the plant draws from the building's electrical service: demand, ampacity, breakers, transformer.

Preliminary figures to talk from: local electrical code, nameplates and licensed engineers decide.
"""

import math
from typing import NamedTuple

from hpwhsim.account.checks import AT_LEAST, CONFIRM, INFORMATION, OK, Check, held
from hpwhsim.errors import OutOfRangeError
from hpwhsim.tables.sources import cited

ELECTRICAL = "local electrical code and the maker's nameplate decide"

# Breakers, A: NEC 240.6(A); IEC sizes for 230 and 400 V; `nec-240-6`, `iec-breakers` of the sources.
NEC_BREAKERS = (
    *(15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400),
    *(450, 500, 600, 700, 800, 1000, 1200, 1600, 2000, 2500, 3000, 4000, 5000, 6000),
)
IEC_BREAKERS = (
    *(6, 10, 13, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000),
    *(1250, 1600, 2000, 2500, 3200, 4000, 5000, 6300),
)
# Dry-type transformers, kVA; `dry-type-sizes` of the sources.
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
    compressor_kw: float  # greatest power of one module within its permitted envelope
    beside_kw: float  # fan and pump that run with it
    resistance_kw: float  # all resistance heaters
    element_kw: float  # of them, in each module on its own circuit (packaged units)
    trace_kw: float  # heat trace as installed
    other_kw: float  # pumps of source and loop, heat pump of the loop's tank
    power_factor: float  # of all but resistance and heat trace
    volts: float  # of the plant
    phases: int  # 1 or 3
    building_volts: float | None  # line to line
    spare_amperes: float | None  # that the building's service can still give, at its own voltage
    module_mca: float | None = None  # minimum circuit ampacity on the nameplate of one module, A
    module_mop: float | None = None  # maximum overcurrent protection on it, A


class Circuit(NamedTuple):
    """Currents of one circuit. [A]"""

    motors: list[float]  # of hermetic motor-compressors, each at its greatest power
    other: float  # whatever else runs with them
    continuous: float  # resistance heaters and heat trace


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
    .. [1] NEC 440 (motors) and 427.4 (heat trace), `nec-440` of the sources, and 422.13 (storage water
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


def largest_size(value: float, sizes: tuple[float, ...]) -> float | None:
    """Largest of the standard sizes that is at most `value`; None where it is below them all.

    Examples
    --------
    >>> largest_size(81.0, NEC_BREAKERS)
    80
    """
    return next((size for size in reversed(sizes) if size <= value), None)


def protection(of: Circuit, motor_share: float) -> float | None:
    """Largest standard device that may protect a circuit with a hermetic motor-compressor. [A].

    `motor_share` times the largest motor, the other loads at their currents, the standard size at or below
    that; at least 15 A, and no less than the conductors must carry. None: above all standard sizes.

    Parameters
    ----------
    of : Circuit
        With at least one motor.
    motor_share : float
        1.75, or 2.25 where the heat pump does not start on that.

    References
    ----------
    .. [1] NEC 440.22(A): at most 175 % of the rated-load current, up to 225 % where it must be to start, and
       not required below 15 A; 440.22(B) and 430.62: with other loads the device of the largest motor and
       the sum of the others; `nec-440` of the sources.

    Examples
    --------
    >>> protection(Circuit([46.26], 0.0, 0.0), 1.75), protection(Circuit([46.26], 0.0, 0.0), 2.25)
    (80, 100)
    """
    largest = max(of.motors)
    total = motor_share * largest + sum(of.motors) - largest + of.other + 1.25 * of.continuous
    least = next_size(least_ampacity(of.motors, of.other, of.continuous), NEC_BREAKERS)
    if least is None:
        return None
    return max(largest_size(max(total, 15.0), NEC_BREAKERS) or 15.0, 15.0) if total >= least else least


def at_service(current: float, volts: float, phases: int, building_volts: float | None) -> float:
    """Current in the building's lines for `current` on the plant's side. [A].

    A transformer carries the same kVA on both sides (its loss is left out); a plant on the service's own
    voltage, or on one line and neutral of it, draws the same current from its lines.

    Examples
    --------
    >>> round(at_service(93.0, 480.0, 3, 208.0), 1)
    214.6
    """
    if building_volts is None or building_volts == volts or _to_neutral(volts, phases, building_volts):
        return current
    return current * volts / building_volts


def _to_neutral(volts: float, phases: int, building_volts: float) -> bool:
    return phases == 1 and TO_NEUTRAL.get(building_volts) == volts


def electrical_checks(of: Service) -> list[Check]:
    """Demand, full-load current, ampacity, protective devices, service and transformer.

    Raises
    ------
    OutOfRangeError
        If the voltage is none of that number of phases, the power factor is not above 0 and at most 1, or a
        power or current is negative or not finite.
    """
    check_supply(of.volts, of.phases)
    if not 0.0 < of.power_factor <= 1.0:
        raise OutOfRangeError(f"power factor: got {of.power_factor:g}; allowed above 0, to 1")
    for name, value in (
        ("worst 15 minutes [kW]", of.worst_quarter_kw),
        ("compressor [kW]", of.compressor_kw),
        ("fan and pump of a module [kW]", of.beside_kw),
        ("resistance [kW]", of.resistance_kw),
        ("element [kW]", of.element_kw),
        ("heat trace [kW]", of.trace_kw),
        ("other loads [kW]", of.other_kw),
        ("module_mca [A]", of.module_mca),
        ("module_mop [A]", of.module_mop),
    ):
        if value is not None and not 0.0 <= value < math.inf:
            raise OutOfRangeError(f"site check, {name}: got {value:g}; allowed 0 or more")

    def current(kw: float, power_factor: float = of.power_factor) -> float:
        return amperes(kw / power_factor, of.volts, of.phases)

    at = f"at {of.volts:g} V, {of.phases} phase, power factor {of.power_factor:g}"
    beside, other, heaters = current(of.beside_kw), current(of.other_kw), current(of.resistance_kw, 1.0)
    trace, worked_out = current(of.trace_kw, 1.0), current(of.compressor_kw)
    element, motor = current(of.element_kw, 1.0), worked_out
    if of.module_mca is not None:
        motor = max((of.module_mca - beside) / 1.25 - element, 0.0)
    plant = Circuit([motor] * of.modules, of.modules * beside + other, heaters + trace)
    motors_kva = of.modules * (of.compressor_kw + of.beside_kw) + of.other_kw
    kva = motors_kva / of.power_factor + of.resistance_kw + of.trace_kw
    # of what ran then only the sum is known: all of it at the power factor, and never more than is connected
    worst = max(of.worst_quarter_kw, min(of.worst_quarter_kw / of.power_factor, kva))
    envelope = f"{at}; greatest power of the permitted envelope, all that may run together"
    full = of.modules * (worked_out + beside) + other + heaters + trace
    found = [
        _known("demand, worst 15 minutes of this year's draws", worst, "kVA", at),
        _known(
            "current, worst 15 minutes of this year's draws", amperes(worst, of.volts, of.phases), "A", at
        ),
        _known("connected load", kva, "kVA", f"{envelope}, resistance at 1"),
        _known("full-load current", full, "A", envelope),
    ]
    if of.modules:
        found += _module(of, Circuit([worked_out], beside, element))
    if (apart := of.resistance_kw - of.modules * of.element_kw) > 1e-9:
        found.append(_circuit("resistance heaters", Circuit([], 0.0, current(apart, 1.0)), of))
    if of.trace_kw:
        found.append(_circuit("heat trace", Circuit([], 0.0, trace), of))
    found.append(_circuit("plant", plant, of))
    ampacity = least_ampacity(plant.motors, plant.other, plant.continuous)
    return [*found, _on_service(of, ampacity), *_supply(of, kva)]


def _module(of: Service, own: Circuit) -> list[Check]:
    """The circuit of one module: worked out, and held against its nameplate where that is given."""
    circuit = _circuit("one module", own, of)
    if of.module_mca is not None:
        note = f"the nameplate's minimum circuit ampacity: it decides; {ELECTRICAL}"
        above = circuit.value is not None and circuit.value > of.module_mca
        state = CONFIRM if above else OK
        if above:
            note = f"more than on the nameplate: power, voltage or power factor do not go with it; {note}"
        circuit = circuit._replace(limit_value=of.module_mca, note=note, state=state)
    found = [circuit]
    if of.module_mop is not None:
        ampacity = of.module_mca if of.module_mca is not None else circuit.value
        name = "maximum overcurrent protection of one module, nameplate"
        note = f"its circuit's ampacity; {ELECTRICAL}"
        found.append(held(name, of.module_mop, ampacity or 0.0, "A", "given", note=note, limit_kind=AT_LEAST))
    return found


def _on_service(of: Service, ampacity: float) -> Check:
    """What the plant asks of the building's service, on the service's side."""
    there = at_service(ampacity, of.volts, of.phases, of.building_volts)
    if of.building_volts is None:
        sides = f"the service's voltage is not given (site.checks.building_voltage): taken as {of.volts:g} V"
    elif there == ampacity:
        sides = f"{ampacity:.4g} A at {of.volts:g} V, no transformer"
    else:
        sides = (
            f"{there:.4g} A at the service's {of.building_volts:g} V for {ampacity:.4g} A at the plant's "
            f"{of.volts:g} V, through a transformer without its loss"
        )
    name, note = "plant on the building's service", f"{sides}; {ELECTRICAL}"
    if of.spare_amperes is None:
        note = f"what the service can still give is not given (site.checks.available_current); {note}"
        return Check(name, there, "A", note, "minimum circuit ampacity of the plant", CONFIRM)
    known = of.building_volts is not None
    return held(name, there, of.spare_amperes, "A", "available current as given", note=note, sure=known)


def _supply(of: Service, kva: float) -> list[Check]:
    """The building's voltage, or the transformer between it and the plant."""
    name, volts = "voltage of the building", of.building_volts
    if volts is None:
        return [Check(name, None, "V", f"{of.volts:g} V for the plant; {ELECTRICAL}", "not given", CONFIRM)]
    if volts == of.volts or _to_neutral(of.volts, of.phases, volts):
        return [Check(name, volts, "V", f"{of.volts:g} V for the plant: met", "given", OK)]
    size = next_size(kva, TRANSFORMERS[of.phases])
    standard = f"{size:g} kVA is the next standard size" if size else "more than one transformer"
    note = f"{volts:g} V to {of.volts:g} V: {standard}; {ELECTRICAL}"
    source = f"{cited('[dry-type-sizes]')}; no diversity, no room to grow"
    return [Check("transformer", kva, "kVA", note, source, CONFIRM)]


def _known(name: str, value: float, unit: str, source: str) -> Check:
    return Check(name, value, unit, ELECTRICAL, source, INFORMATION)


def _circuit(name: str, of: Circuit, service: Service) -> Check:
    """Minimum circuit ampacity with what may protect it."""
    ampacity = least_ampacity(of.motors, of.other, of.continuous)
    iec = service.volts in (230.0, 400.0)
    if of.motors and not iec:
        if service.module_mop is not None and name == "one module":
            said = f"protective device of the nameplate: {service.module_mop:g} A"
        else:
            usual, most = protection(of, 1.75), protection(of, 2.25)
            said = "several circuits"
            if usual and most:
                said = f"protective device at most {usual:g} A"
                if most > usual:
                    said += f", up to {most:g} A where the largest motor-compressor does not start on that"
        source = (
            "1.25 largest motor-compressor, others, 1.25 resistance; device 175 to 225 % of the largest: "
            f"{cited('[nec-440]; [nec-240-6]')}"
        )
    else:
        size = next_size(ampacity, IEC_BREAKERS if iec else NEC_BREAKERS)
        said = f"next breaker {size:g} A" if size else "several circuits"
        if iec and of.motors:
            said += ", its curve by the maker"
        sizes = "[iec-breakers]" if iec else "[nec-240-6]"
        source = f"1.25 largest motor, others, 1.25 resistance: {cited(f'[nec-440]; {sizes}')}"
    return Check(
        f"minimum circuit ampacity, {name}", ampacity, "A", f"{said}; {ELECTRICAL}", source, INFORMATION
    )
