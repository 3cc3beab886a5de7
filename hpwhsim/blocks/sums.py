"""What the plants of a block add up to: energy, and power by the quarter of an hour.

The power of a block is the sum of the series of its plants, quarter by quarter; its highest is the
coincident peak. One series is added after another, and none is held in memory: those of the entries lie in a
file while the block is simulated, so that the peak's parts can be told afterwards.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import IO, Any

import numpy as np

from hpwhsim.account.calendar import QUARTERS
from hpwhsim.account.energy import MONTH_STARTS, by_month
from hpwhsim.arrays import Array
from hpwhsim.blocks.hours import NamedHours
from hpwhsim.evaluation.result import Result
from hpwhsim.results.declared import record_keys

ADDS = tuple(
    row.name
    for row in record_keys()
    if row.kind == "sum" and row.unit in ("kWh", "L", "m3") and row.name != "rejected_heat_kwh"
)
"""Figures of which a plant that has none has nothing: they add over all plants.

Not the heat that others put into a bore field: what plants on one field take from each other is no sum.
"""
ASKED = (
    "operational_kgco2e",
    "refrigerant_kgco2e",
    "total_kgco2e",
    "carbon.upstream_kgco2e",
    "energy_cost",
    "costs.demand_usd",
    "savings.electricity_kwh",
    "savings.fuel_kwh",
    "savings.site_mmbtu",
    "savings.source_mmbtu",
    "savings.kgco2e",
    "savings.operational_kgco2e",
    "savings.cost_usd",
    "baseline.electricity_kwh",
    "baseline.fuel_kwh",
    "baseline.operational_kgco2e",
    "baseline.total_kgco2e",
    "baseline.energy_cost",
    "baseline.short_litres",
)
"""Figures that a scenario asks for: they add only where all plants have them."""
MONTHLY = ("electricity_kwh", "fuel_kwh", "heat_to_taps_kwh", "unmet_kwh")


@dataclass
class Power:
    """The electric power of some plants, quarter by quarter, and what each of them peaks at."""

    hours: Sequence[NamedHours]
    quarter_kw: Array = field(default_factory=lambda: np.zeros(QUARTERS))  # of all together
    peaks: float = 0.0  # kW, the sum of the highest of each
    months: Array = field(default_factory=lambda: np.zeros(12))  # kW, the same of each month
    named: Array = field(init=False)  # kW, the same in the named hours

    def __post_init__(self) -> None:
        self.named = np.zeros(len(self.hours))

    def add(self, quarter_kw: Array, times: int = 1) -> None:
        """Add `times` plants of this series, shape (35040,). [kW]"""
        self.quarter_kw += times * quarter_kw
        self.peaks += times * float(quarter_kw.max())
        self.months += times * np.maximum.reduceat(quarter_kw, 4 * MONTH_STARTS)
        self.named += times * np.array([quarter_kw[one.mask].max() for one in self.hours])

    def join(self, other: "Power") -> None:
        """Add all plants of another."""
        self.quarter_kw += other.quarter_kw
        self.peaks += other.peaks
        self.months += other.months
        self.named += other.named


@dataclass
class Part:
    """What an entry of the table gave: the sum of its plants, which are alike in all but their draws."""

    power: Power
    baseline: Power | None
    figures: dict[str, float] = field(default_factory=dict)
    monthly: dict[str, Array] = field(default_factory=lambda: {key: np.zeros(12) for key in MONTHLY})
    peak_kw: float = 0.0  # of its plants together
    short_hours: float = 0.0  # most of one plant
    cautions: dict[str, None] = field(default_factory=dict)  # in their order, each once
    record: Mapping[str, Any] = field(default_factory=dict)  # of its first plant

    def add(self, result: Result, times: int) -> None:
        """Add `times` plants with this result."""
        record: Mapping[str, Any] = result.record
        for key in (*ADDS, *ASKED):
            if isinstance(record.get(key), int | float):
                self.figures[key] = self.figures.get(key, 0.0) + times * record[key]
        for key in MONTHLY:
            self.monthly[key] += times * by_month(result.plant.year.hourly[key])
        self.power.add(result.plant.year.quarter_kw, times)
        self.peak_kw = float(self.power.quarter_kw.max())
        if result.baseline is None:
            self.baseline = None
        elif self.baseline is not None:
            self.baseline.add(result.baseline.year.quarter_kw, times)
        self.short_hours = max(self.short_hours, float(record["short_hours"]))
        self.cautions |= dict.fromkeys(str(text) for text in record["cautions"])
        self.record = self.record or record


class Block:
    """The sum of all entries, and the power of each of them in a file."""

    def __init__(self, hours: Sequence[NamedHours], store: IO[bytes]) -> None:
        self.hours = hours
        self.power = Power(hours)
        self.baseline: Power | None = Power(hours)
        self.parts: dict[str, Part] = {}  # by the name of the entry, in the order of the file
        self.failed: dict[str, str] = {}  # why an entry has no year, by its name
        self.fields: dict[str, dict[str, Any]] = {}  # how the plants on a bore field were settled
        self._store = store

    def part(self) -> Part:
        """A part to be filled."""
        return Part(Power(self.hours), Power(self.hours))

    def join(self, name: str, part: Part) -> None:
        """Add an entry that is whole; its series goes to the file."""
        self._store.write(part.power.quarter_kw.tobytes())
        self.power.join(part.power)
        if part.baseline is None:
            self.baseline = None
        elif self.baseline is not None:
            self.baseline.join(part.baseline)
        part.power.quarter_kw = np.zeros(0)
        if part.baseline is not None:
            part.baseline.quarter_kw = np.zeros(0)
        self.parts[name] = part

    def series(self, quarters: slice) -> Array:
        """Power of the entries in some quarters of an hour, shape (entries, quarters). [kW]"""
        self._store.flush()
        whole = np.memmap(self._store, dtype=np.float64, mode="r", shape=(len(self.parts), QUARTERS))
        return np.array(whole[:, quarters])
