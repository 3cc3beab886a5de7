"""Working limits of the machine: where it stops rather than works badly."""

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Limits:
    """Beyond any of these the machine does not work; the evaporating temperature is held at its highest.

    A valve with a highest operating pressure holds the evaporating temperature when the source is warm, so
    the machine goes on working there, no better than at the limit.
    """

    discharge_c: float  # °C, hottest gas that oil and windings bear
    high_pressure: float  # Pa, highest high-side pressure
    pressure_ratio: float  # highest ratio of one stage
    highest_evaporating_c: float  # °C
    lowest_evaporating_c: float  # °C, above the triple point and above deep vacuum
    least_ratio: float = 1.6  # head pressure is held up so that valve and compressor still work well
    highest_inlet_c: float | None = None  # °C, water; None: no limit besides the others


# All common practice, no source. Discharge temperatures are those of gas that is not cooled on its way:
# oil begins to suffer near 130 °C. R-32 runs hot, so its machines cool the gas with a little liquid; ammonia
# compressors have cooled heads or oil. For R-744, 150 °C is set so that a machine of usual rating stops near
# -25 °C of source, where such machines do; its triple point is -56.6 °C, and 140 bar is the usual design cap
# of gas coolers. 45 bar is the highest design pressure of other usual components; a ratio of 8 is usual for
# one stage.
_R744 = Limits(
    discharge_c=150.0,
    high_pressure=140e5,
    pressure_ratio=8.0,
    highest_evaporating_c=20.0,
    lowest_evaporating_c=-55.0,
)
_OTHERS = Limits(
    discharge_c=130.0,
    high_pressure=45e5,
    pressure_ratio=8.0,
    highest_evaporating_c=25.0,
    lowest_evaporating_c=-45.0,
)


_HOT = {"R-32": 145.0, "R-717": 170.0}  # °C, discharge


def usual_limits(refrigerant: str) -> Limits:
    """Limits of a usual machine with `refrigerant`, such as ``R-744``."""
    if refrigerant == "R-744":
        return _R744
    return replace(_OTHERS, discharge_c=_HOT.get(refrigerant, _OTHERS.discharge_c))


# What machines of each class are sold for, not a limit of the cycle. Common practice, no source: conventional
# machines make 54 to 66 °C (130 to 150 °F), R-744 about 82 °C (180 °F) in one pass; propane and the fluids of
# high critical temperature a little more than the conventional.
_HIGHEST_OUTLET = {"R-744": 82.3, "R-290": 75.0, "R-600a": 80.0, "R-1234ze(E)": 80.0, "R-717": 80.0}


def highest_outlet_c(refrigerant: str) -> float:
    """Hottest water that a usual machine with `refrigerant` makes. [°C]."""
    return _HIGHEST_OUTLET.get(refrigerant, 66.0)
