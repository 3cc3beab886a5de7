"""The library: a scenario, and what can be asked of it. The command asks the same, of files."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from hpwhsim.errors import InputError
from hpwhsim.evaluation import reading
from hpwhsim.evaluation.result import Result
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.writing import assumptions, cautions, dump, dump_text

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from hpwhsim.dossier.verify import Verdict
    from hpwhsim.search.outcome import Found
    from hpwhsim.verification.check import Check


class Scenario:
    """A plant in its building and weather, checked as a scenario file is; it does not change.

    `read` and `from_dict` make one. Two are equal where all their keys are.
    """

    __slots__ = ("loaded",)

    loaded: Loaded

    def __init__(self, loaded: Loaded) -> None:
        object.__setattr__(self, "loaded", loaded)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a scenario does not change; with_({key: value}) gives another")

    @classmethod
    def from_dict(cls, mapping: Mapping[str, Any], folder: Path | str = ".") -> "Scenario":
        """A scenario that stands in no file.

        Parameters
        ----------
        mapping : mapping
            Keys and values as in a scenario file: blocks are mappings, quantities text with their unit.
        folder : path
            Where relative paths start.

        Raises
        ------
        InputError
            A line for each thing that is wrong.
        """
        return cls(reading.of_mapping(mapping, Path(folder)))

    def with_(self, changes: Mapping[str, Any]) -> "Scenario":
        """Another scenario with some keys changed, as the command's ``--set`` changes them.

        Parameters
        ----------
        changes : mapping of str to object
            Values by key path, ``{"plant.storage.volume": "1200 gal"}``; None takes a key out.

        Raises
        ------
        InputError
            A line for each thing that is wrong.
        """
        return Scenario(reading.with_changes(self.loaded, changes))

    def __getitem__(self, key: str) -> Any:
        """The value of a key path in SI and degC, default or written; None where there is none."""
        value: Any = self.loaded.scenario
        for name in key.split("."):
            if value is None:
                return None
            if name not in getattr(type(value), "model_fields", {}):
                raise KeyError(key)
            value = getattr(value, name)
        return value

    @property
    def title(self) -> str:
        """Its title."""
        return self.loaded.scenario.title

    @property
    def path(self) -> Path:
        """The file it was read from; of one that stands in none, where relative paths start."""
        return self.loaded.path

    @property
    def sha256(self) -> str:
        """Of the file, or of the text of the mapping, before any key was changed."""
        return self.loaded.sha256

    @property
    def overrides(self) -> tuple[str, ...]:
        """The keys that were changed, as ``key.path=value``."""
        return self.loaded.overrides

    @property
    def assumptions(self) -> list[dict[str, str]]:
        """Every default in force that needs no weather, with its source."""
        return assumptions(self.loaded.scenario)

    @property
    def cautions(self) -> list[str]:
        """What to beware of in what was written."""
        return [*self.loaded.said, *cautions(self.loaded.scenario)]

    def to_dict(self) -> dict[str, Any]:
        """What was written, with units and absolute paths; `from_dict` of it is equal."""
        return dump(self.loaded.scenario)

    def to_yaml(self) -> str:
        """`to_dict` as the text of a scenario file."""
        return dump_text(self.loaded.scenario)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Scenario) and self.loaded.scenario == other.loaded.scenario

    def __hash__(self) -> int:
        return hash(dump_text(self.loaded.scenario))

    def __repr__(self) -> str:
        changed = "".join(f", {text}" for text in self.overrides)
        return f"<Scenario {self.title!r}: {self.loaded.scenario.plant.family}{changed}>"


class Comparison(NamedTuple):
    """Several scenarios side by side."""

    results: dict[str, Result]
    rows: list[dict[str, Any]]  # one for each scenario, by key of the record; None: not asked for
    cautions: list[str]  # everything in which the accounts are not alike

    @property
    def table(self) -> "pd.DataFrame":
        """The figures, a column for each scenario."""
        import pandas as pd

        return pd.DataFrame(self.rows).set_index("scenario").drop(columns="title").T


def read(
    path: Path | str, overrides: Mapping[str, Any] | None = None, weather: Path | str | None = None
) -> Scenario:
    """Read a scenario file.

    Parameters
    ----------
    path : path
        YAML file.
    overrides : mapping, optional
        Keys to change, as of `Scenario.with_`.
    weather : path, optional
        Weather file instead of site.weather; a relative path starts at the working folder.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    found = Scenario(reading.read(Path(path), (), None if weather is None else Path(weather)))
    return found.with_(overrides) if overrides else found


def simulate(scenario: Scenario) -> Result:
    """Simulate the year of a plant alone: no baseline, greenhouse gases, bills or checks.

    Raises
    ------
    InputError
        If the weather file is wrong, or the plant cannot work as asked.
    """
    from hpwhsim.evaluation.evaluate import simulate as simulated

    return simulated(scenario.loaded)


def evaluate(scenario: Scenario, seeds: int = 0) -> Result:
    """Simulate the year of a plant and of its baseline, and account for all that the scenario asks.

    Parameters
    ----------
    scenario : Scenario
        What to evaluate.
    seeds : int
        Also the spread over so many years of random draws, in ``record["seeds"]``.

    Raises
    ------
    InputError
        If a file named in the scenario is wrong, or a plant cannot work as asked.
    """
    from hpwhsim.evaluation.draw_years import evaluate_over

    return evaluate_over(scenario.loaded, seeds)


def compare(scenarios: Mapping[str, Scenario] | Iterable[Scenario], seeds: int = 0) -> Comparison:
    """Evaluate several scenarios and put them side by side.

    Parameters
    ----------
    scenarios : mapping of str to Scenario, or iterable of Scenario
        By name; without names each goes by its title, numbered where two are alike.
    seeds : int
        As of `evaluate`.

    Raises
    ------
    InputError
        As `evaluate`.
    """
    from hpwhsim.comparison.report import comparison_rows
    from hpwhsim.comparison.unlike import Case, one_seed, unlike

    if isinstance(scenarios, Mapping):
        named = dict(scenarios)
    else:
        listed, named = list(scenarios), {}
        for number, one in enumerate(listed, 1):
            twice = sum(other.title == one.title for other in listed) > 1
            named[f"{one.title} ({number})" if twice else one.title] = one
    results = {name: evaluate(one, seeds) for name, one in named.items()}
    records = [result.record for result in results.values()]
    cases = [Case(name, result.loaded, result.record) for name, result in results.items()]
    return Comparison(results, comparison_rows(list(results), records), unlike(cases) + one_seed(cases))


def sweep(scenario: Scenario, vary: Mapping[str, Sequence[Any]]) -> "xr.Dataset":
    """Evaluate a scenario over every combination of values of some of its keys.

    Parameters
    ----------
    scenario : Scenario
        What is not varied.
    vary : mapping of str to sequence
        Values by key path, as of `Scenario.with_`.

    Returns
    -------
    Dataset
        The varied keys are its dimensions, their values as given its coordinates; a variable for each number
        of the annual record, those by month over ``month`` too. NaN where a case has no such number.

    Raises
    ------
    InputError
        It names the case.
    """
    from hpwhsim.studies.dataset import swept

    return swept(scenario.loaded, vary)


class Block(NamedTuple):
    """Several buildings at once."""

    record: dict[str, Any]  # totals, peaks by month and in named hours, rows, rank, cautions
    power: "xr.Dataset"  # of all plants, and of their baselines, over 35,040 quarters of an hour

    @property
    def table(self) -> "pd.DataFrame":
        """The figures of every row, by the name of the building or of the shared plant."""
        import pandas as pd

        return pd.DataFrame(self.record["rows"]).set_index("building")


def block(
    buildings: Path | str,
    overrides: Mapping[str, Any] | None = None,
    hours: Mapping[str, str] | None = None,
    rank: str | None = None,
) -> Block:
    """Simulate every building of a table and add up energy and power.

    Parameters
    ----------
    buildings : path
        Table of buildings, CSV or XLSX.
    overrides : mapping, optional
        Keys to change in all rows, as of `Scenario.with_`.
    hours : mapping of str to str, optional
        Hours in which power is told: ``{"evening": "Dec-Feb weekdays 17:00-20:00"}``.
    rank : str, optional
        Figure of the rows to rank by, such as ``"total_kgco2e/apartment"``.

    Raises
    ------
    InputError
        A line for each thing that is wrong with the table.
    """
    from hpwhsim.blocks.block import of_buildings, ready
    from hpwhsim.blocks.block import simulated as simulated_block
    from hpwhsim.blocks.power import power_dataset
    from hpwhsim.scenario.reading import override_text

    texts = [f"{key}={override_text(value)}" for key, value in (overrides or {}).items()]
    named = [f"{name}={words}" for name, words in (hours or {}).items()]
    read_, at = of_buildings(Path(buildings), texts, None, named)
    ready(read_, rank, lambda _: None)
    found = simulated_block(read_, at, rank, lambda _: None)
    return Block(found.record, power_dataset(found))


class Studied(NamedTuple):
    """A study all of whose cases are there."""

    record: dict[str, Any]  # what study.json holds: cases, failed ones, ranges, cautions
    path: Path  # of its dataset

    @property
    def dataset(self) -> "xr.Dataset":
        """Its cases: the varied keys, every number of the annual record, and why a case has no year."""
        import xarray as xr

        return xr.open_dataset(self.path, engine="scipy")


def study(
    file: Path | str, out: Path | str, workers: int | None = None, scheduler: str | None = None
) -> Studied:
    """Run a study file: grids, rows and samples of any keys.

    A study that was stopped goes on where it was. In a script, call it below ``if __name__ == "__main__":``,
    for the processes that simulate read the script too.

    Parameters
    ----------
    file : path
        Study file (YAML).
    out : path
        Folder of its files, and of its cases until all are there.
    workers : int, optional
        Processes that simulate; as many as there are cores if left out.
    scheduler : str, optional
        Address of one of dask.distributed, whose workers simulate instead.

    Raises
    ------
    InputError
        If the file or its scenario is wrong, the folder cannot be written or holds another study, or the
        scheduler is of no use. A case that cannot be simulated raises nothing: it is in the dataset.
    """
    from hpwhsim.processes import cores
    from hpwhsim.studies.cases import study_cases
    from hpwhsim.studies.study import run_study

    cases = study_cases(Path(file))
    found = run_study(cases, Path(out), workers or cores(), lambda _: None, scheduler)
    return Studied(found.record, found.dataset)


def uncertainty(
    file: Path | str, out: Path | str, workers: int | None = None, scheduler: str | None = None
) -> dict[str, Any]:
    """Run the sample of a study file, and say how sure its figures are and what moves them.

    Parameters
    ----------
    file, out, workers, scheduler
        As of `study`; the file has ``sample`` and neither grid nor rows.

    Returns
    -------
    dict
        P10, P50 and P90 of every figure that differs between cases, those of half the points, and shares.

    Raises
    ------
    InputError
        As `study`, or if the file is no sample alone.
    """
    from hpwhsim.processes import cores
    from hpwhsim.studies.cases import study_cases
    from hpwhsim.studies.study import run_study
    from hpwhsim.studies.uncertainty import refuse_unsampled
    from hpwhsim.studies.uncertainty import uncertainty as spread

    cases = study_cases(Path(file))
    refuse_unsampled(cases)
    return spread(cases, run_study(cases, Path(out), workers or cores(), lambda _: None, scheduler))


class Fitted(NamedTuple):
    """A scenario fitted to metered readings."""

    scenario: Scenario  # with the fitted values
    record: dict[str, Any]  # fitted keys with their intervals, agreement before and after, cautions


def fit(scenario: Scenario, metered: Path | str, keys: Mapping[str, str | Sequence[Any]]) -> Fitted:
    """Adjust some keys of a scenario within bounds to metered readings.

    Parameters
    ----------
    scenario : Scenario
        Its own values are where the fit begins.
    metered : path
        CSV file: ``time`` and one or more columns of readings by the hour, day or calendar month.
    keys : mapping of str to bounds
        By key path ``"40 W..160 W"`` or a pair, ``("40 W", "160 W")`` or ``(2.5, 4.5)``.

    Raises
    ------
    InputError
        If the readings are wrong, a bound is no value of its key, or the readings do not tell the keys apart.
    """
    from hpwhsim.studies.fit import fit as fitted
    from hpwhsim.studies.fit_keys import of_mapping

    found = fitted(scenario.loaded, Path(metered), of_mapping(keys))
    return Fitted(Scenario(found.loaded), found.record)


class Best(NamedTuple):
    """The best of several plants by figures of the annual record."""

    plants: list[Scenario]  # the best by each objective; none where no case keeps the limits
    record: dict[str, Any]  # best, front, limits, how far the others are
    rows: list[dict[str, Any]]  # every case that was tried

    @property
    def table(self) -> "pd.DataFrame":
        """The cases, a row for each."""
        import pandas as pd

        return pd.DataFrame(self.rows).set_index("case")


def best(study: Path | str, out: Path | str | None = None, workers: int | None = None) -> Best:
    """Find the best case of a study file, as its block ``best`` asks.

    Parameters
    ----------
    study : path
        Study file.
    out : path, optional
        Folder that keeps the cases, so that they are not simulated again.
    workers : int, optional
        Processes that simulate; as many as there are cores if left out.

    Raises
    ------
    InputError
        If the study is wrong, or asks for no best case.
    """
    from tempfile import TemporaryDirectory

    from hpwhsim.processes import cores
    from hpwhsim.studies.best import best_study, question_of
    from hpwhsim.studies.cases import study_cases

    cases = study_cases(Path(study))
    question = question_of(cases)
    if question is None:
        raise InputError(f"{study}: best: got nothing; allowed what is sought of the cases")
    with TemporaryDirectory() as folder:
        found = best_study(question, Path(folder if out is None else out), workers or cores(), lambda _: None)
    return _best(cases.base, found)


def best_size(
    scenario: Scenario, objectives: Sequence[str], vary: Mapping[str, Sequence[Any]] | None = None
) -> Best:
    """Find the plant of the catalogue that is best by figures of its whole year, and meets its criteria.

    Parameters
    ----------
    scenario : Scenario
        Its block ``sizing`` has criteria and catalogue.
    objectives : sequence of str
        One or two of ``"cost"``, ``"co2e"``, ``"peak"`` and the keys of the annual record.
    vary : mapping of str to sequence, optional
        Other keys to choose, as of `sweep`.

    Raises
    ------
    InputError
        If an objective, a key or the scenario is wrong.
    """
    from hpwhsim.search.varied import axis_from
    from hpwhsim.sizing.best import best_size as searched

    found = searched(scenario.loaded, objectives, [axis_from(key, of) for key, of in (vary or {}).items()])
    return _best(scenario.loaded, found)


def _best(base: Loaded, found: "Found") -> Best:
    from hpwhsim.search.outcome import rows_of

    changes = [found.changes[one["case"] - 1] for one in found.record["best"]]
    plants = [Scenario(reading.with_changes(base, values)) for values in changes]
    return Best(plants, found.record, list(rows_of(found)))


def size(scenario: Scenario, seeds: int = 0) -> dict[str, Any]:
    """Size heat pump and storage so that nobody runs out on the coldest days.

    Parameters
    ----------
    scenario : Scenario
        Its block ``sizing`` says by what.
    seeds : int
        Years of random draws, other than those sized on, with which unmet days are counted.

    Raises
    ------
    InputError
        If the plant has no heat pump, or cannot run on the design days.
    """
    from hpwhsim.sizing.size import size as sized

    return sized(scenario.loaded, seeds)


def why(result: Result | Path | str, gap: int = 2) -> dict[str, Any]:
    """Why the backup ran and hot water ran short, event by event.

    Parameters
    ----------
    result : Result or path
        A result, or the folder that one was written to.
    gap : int
        Quiet hours at most that do not end an event.

    Raises
    ------
    InputError
        If the folder holds no result.
    """
    from hpwhsim.diagnose import causes

    if isinstance(result, Result):
        return causes.why_of_year(result.record, result.plant.year.hourly, gap)
    return causes.why(Path(result), gap)


def verify(package: str | None = None) -> "list[Check]":
    """Hold what the program computes against sources outside of it.

    Parameters
    ----------
    package : str, optional
        Only the checks of this package, such as ``"storage"``.

    Returns
    -------
    list of Check
        Each with its source, what was expected and obtained, tolerance and ``verdict``.

    Raises
    ------
    InputError
        If no check tests that package.
    """
    from hpwhsim.verification.all_checks import of_package, packages

    wanted = packages(() if package is None else (package,))
    return [check for name in wanted for check in of_package(name)]


def verify_bundle(bundle: Path | str) -> "Verdict":
    """Repeat the calculation of a dossier's bundle from its own files and say what differs.

    Raises
    ------
    InputError
        If it is no bundle, or a damaged one.
    """
    from hpwhsim.dossier.verify import verify as verified

    return verified(Path(bundle))
