"""Design days with the draws of many years: what may be said of a year that was not tried."""

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hpwhsim.arrays import Array
from hpwhsim.io.disk_cache import Arrays, cached, place, sources_hash
from hpwhsim.plant.assemble import assemble
from hpwhsim.scenario.reading import scenario_from
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.writing import dump
from hpwhsim.sizing.design_days import DesignDays, design_days

if TYPE_CHECKING:
    import xarray as xr


DRAWN = ("use", "draws", "sewage", "sewage_temperature")  # of a drive, what the draws decide
SURE = 0.95  # confidence of an interval
KEEP = 2000  # years whose design days stay on disk; each is about 50 kB


class Draws(NamedTuple):
    """The draws of one year on the design days."""

    seed: int
    of_drive: dict[str, Any]  # what they decide of the drive of the design days, by `DRAWN`
    peak_at: int  # as in `DesignDays`
    peak_from: int

    def on(self, design: DesignDays) -> DesignDays:
        """The design days with these draws."""
        drive = design.drive._replace(**self.of_drive)
        return design._replace(drive=drive, peak_at=self.peak_at, peak_from=self.peak_from)


class Cut(NamedTuple):
    """How design days are cut out of a year, as for `design_days`."""

    dry_bulb: Array
    length: int
    peak: str
    apartments: int
    more: dict[str, Any]  # by name


def draws_of(
    scenario: Scenario, light: Scenario, weather: "xr.Dataset", design: DesignDays, cut: Cut, seed: int
) -> Draws:
    """The draws of another year on the design days. Kept on disk.

    Parameters
    ----------
    scenario, light : Scenario
        As written, and with a plant that is quick to make.
    weather : Dataset
        The year of both.
    design : DesignDays
        Of the scenario as written; all but the draws is its own.
    cut : Cut
        How it was cut.
    seed : int
        Of the draws.
    """
    sewage = design.drive.sewage.size > 1
    base = scenario if sewage else light  # sewage is that of the building's own draws
    drawn = dump(scenario)["hot_water"] | {"draws": "random", "seed": seed}
    written = scenario_from(dump(base) | {"hot_water": drawn}, Path())
    hot_water = written.hot_water

    def build() -> Arrays:
        made = assemble(written, weather)
        found = design_days(made, *cut[:4], **cut.more, state=design.state)
        arrays = {"peak": np.array([found.peak_at, found.peak_from])}
        for name in DRAWN:
            arrays |= _flat(name, getattr(found.drive, name))
        return arrays

    inputs = [
        *(
            repr(part)
            for part in (hot_water, scenario.building, scenario.run, cut[1:4], design.days.tolist())
        ),
        _content(hot_water.pattern),
        sources_hash(),
    ]
    if sewage:
        air = hashlib.sha256(cut.dry_bulb.tobytes()).hexdigest()
        inputs += [repr(scenario.plant), repr(scenario.recirculation), weather.attrs["sha256"], air]
    arrays = cached(place("design-days", "|".join(inputs), (), ("numpy",)), KEEP, build)
    own = design.drive
    of_drive = {name: _whole(name, getattr(own, name), arrays) for name in DRAWN}
    return Draws(seed, of_drive, int(arrays["peak"][0]), int(arrays["peak"][1]))


def own_draws(scenario: Scenario, design: DesignDays) -> Draws:
    """The draws of the scenario's own seed."""
    of_drive = {name: getattr(design.drive, name) for name in DRAWN}
    return Draws(scenario.hot_water.seed, of_drive, design.peak_at, design.peak_from)


def exact_interval(hits: int, trials: int) -> tuple[float, float]:
    """95 % interval of a chance by Clopper and Pearson.

    With `hits` failures of `trials` the upper end is also what the store that was chosen as the neediest but
    `hits` of these very years bears: the share of all years that need more is a beta variable of the same
    two numbers (tolerance limits without a distribution).

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, Biometrika 26, 404-413, 1934; S. S. Wilks, Ann. Math. Stat. 12,
       91-96, 1941; both unverified.

    Examples
    --------
    >>> low, high = exact_interval(0, 20)
    >>> low, round(high, 4)  # 1 - 0.025 ** (1 / 20)
    (0.0, 0.1684)
    """
    from scipy.stats import binomtest

    found = binomtest(hits, trials).proportion_ci(SURE, method="exact")
    return float(found.low), float(found.high)


def seeds_for(probability: float) -> int:
    """Fewest years that, none failing, bear a probability with 95 % confidence, one-sided.

    Examples
    --------
    >>> seeds_for(0.95)
    59
    """
    return int(np.ceil(np.log(1.0 - SURE) / np.log(probability) - 1e-9))


def _content(pattern: str | Path) -> str:
    if not isinstance(pattern, Path):
        return ""
    return hashlib.sha256(pattern.read_bytes()).hexdigest()


def _flat(name: str, value: Any) -> dict[str, NDArray[Any]]:
    """The arrays of a field, by its name and those of its parts."""
    fields: tuple[str, ...] | None = getattr(value, "_fields", None)
    if fields is None:
        return {name: value}
    return {key: a for part in fields for key, a in _flat(f"{name}.{part}", getattr(value, part)).items()}


def _whole(name: str, like: Any, arrays: Arrays) -> Any:
    """A field from its arrays."""
    fields: tuple[str, ...] | None = getattr(like, "_fields", None)
    if fields is None:
        return arrays[name]
    return type(like)(*(_whole(f"{name}.{part}", getattr(like, part), arrays) for part in fields))
