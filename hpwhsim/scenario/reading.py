"""Read a scenario file, override keys, say all that is wrong, a line each, and write it back."""

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

import yaml
from pydantic import ValidationError

from hpwhsim.errors import Findings, InputError, ListedError
from hpwhsim.io.plain_text import refuse_controls
from hpwhsim.io.user_file import decoded, read_bytes, real
from hpwhsim.scenario.good_parts import good_part
from hpwhsim.scenario.hanging import take_out
from hpwhsim.scenario.keys import (
    block_of,
    fields_of,
    inner_types,
    items_of,
    known_fields,
    not_a_key,
)
from hpwhsim.scenario.messages import clash_line, one_line, short, wrong_in
from hpwhsim.scenario.parts import A_FILE, Block
from hpwhsim.scenario.plant import Plant
from hpwhsim.scenario.schema import Scenario
from hpwhsim.scenario.writing import dump
from hpwhsim.scenario.yaml_text import LARGEST, parsed


class WrongScenario(ListedError):
    """Something is wrong with the keys of a scenario.

    Attributes
    ----------
    sound : Scenario
        The blocks in which nothing is wrong; to ask for another is an AttributeError.
    only_files : bool
        Every line is of a file that is not there.
    """

    def __init__(self, where: str, lines: Sequence[str], sound: Scenario) -> None:
        super().__init__(where, list(dict.fromkeys(lines)))
        self.sound = sound
        self.only_files = all(A_FILE in line for line in self.lines)


class Loaded(NamedTuple):
    """A scenario and where it came from."""

    scenario: Scenario
    path: Path  # absolute
    sha256: str  # of the bytes of the file, before overrides
    overrides: tuple[str, ...]  # "key.path=value", as given; "site.weather=..." for another weather file
    written: Mapping[str, Any] = MappingProxyType({})  # keys as they stand in the file, overrides put in
    said: tuple[str, ...] = ()  # what overrides took out besides their own keys
    data: bytes = b""  # of the file, before overrides

    @contextmanager
    def named(self) -> Iterator[None]:
        """Wrong input that shows when the plant is put together names the scenario's file too."""
        try:
            yield
        except InputError as error:
            if str(self.path) in str(error):
                raise
            raise InputError(f"{self.path}: {error}") from None


def _error(message: str) -> InputError:
    return InputError(one_line(message))


# -- overrides and empty keys ------------------------------------------------------------------------


def _override(raw: dict[Any, Any], override: str) -> str:
    """Put one ``key.path=value`` into the raw mapping; give back the key path."""
    where = f"--set {override}"
    path, equals, text = override.partition("=")
    path = path.strip()
    if not equals or not path:
        raise _error(f"{where}: allowed key.path=value, such as plant.storage.volume='500 gal'")
    field = known_fields().get(path)
    if field is None:
        raise _error(f"{where}: {not_a_key(path)}")
    value: Any = text.strip()
    if value in ("", "null"):
        value = None
    elif str not in inner_types(field.annotation):  # free text stays as it was typed
        value = parsed(text, where)
        if isinstance(value, dict) and block_of(field) is None:
            value = text.strip()
    *blocks, leaf = path.split(".")
    here = raw
    for key in blocks:
        if here.get(key) is None:
            here[key] = {}
        here = here[key]
        if not isinstance(here, dict):
            raise _error(f"{where}: '{key}' is no block in the file, so nothing can be set in it")
    here[leaf] = value
    return path


def _overridden(raw: dict[Any, Any], overrides: Sequence[str]) -> tuple[list[str], list[str], Findings]:
    """Put overrides into the raw mapping: their key paths, what they took with them, what is wrong."""
    set_paths, wrong = [], Findings()
    for override in overrides:
        with wrong.step():
            set_paths.append(_override(raw, override))
    return set_paths, take_out(raw, set_paths), wrong


def _written(value: Any, block: type[Block] | None) -> Any:
    """The raw mapping without keys that hold nothing (null): they count as not written."""
    if block is None or not isinstance(value, dict):
        return value
    fields = fields_of(block)

    def inside(key: Any, item: Any) -> Any:
        if key not in fields:
            return item
        field = fields[key]
        if isinstance(item, list):
            return [_written(one, items_of(field.annotation)) for one in item]
        return _written(item, Plant if block is Scenario and key == "baseline" else block_of(field))

    return {
        key if isinstance(key, str) else str(key): inside(key, item)
        for key, item in value.items()
        if item is not None or key not in fields
    }


# -- reading -----------------------------------------------------------------------------------------


def read_scenario(path: Path, overrides: Sequence[str] = (), weather: Path | None = None) -> Loaded:
    """Read a scenario file.

    Parameters
    ----------
    path : Path
        YAML file, UTF-8.
    overrides : sequence of str
        ``"key.path=value"``, the value in YAML. A value of null (or nothing) takes the key out.
        Relative paths in values start at the folder of the scenario file.
    weather : Path or None
        Weather file instead of site.weather; a relative path starts at the working folder.

    Returns
    -------
    Loaded
        The checked scenario, the absolute path, the SHA-256 of the file and the overrides.

    Raises
    ------
    InputError
        ``FILE: key.path: got X; allowed Y``; where several things are wrong, a line for each.
    """
    path = Path(path)
    missing = "there is no such file; 'tankyear new' writes one to start from"
    data = read_bytes(path, "a scenario file (YAML)", LARGEST, missing)
    used, put = list(overrides), list(overrides)
    if weather is not None:
        used.append(f"site.weather={weather}")
        put.append(f"site.weather={_quoted(Path(weather).absolute())}")
    return _loaded(data, path, used, put)


def scenario_of(mapping: Mapping[str, Any], folder: Path) -> Loaded:
    """A scenario that stands in no file: as `read_scenario` of the YAML text of a mapping.

    Parameters
    ----------
    mapping : mapping
        Keys and values as in a scenario file: quantities are text with their unit.
    folder : Path
        Where relative paths start.

    Raises
    ------
    InputError
        As `read_scenario`; the file is called scenario.yaml.
    """
    if not isinstance(mapping, Mapping):
        raise _error(f"scenario: got {type(mapping).__name__}; allowed a mapping of a scenario's keys")
    data = yaml.safe_dump(_plain(mapping), sort_keys=False, allow_unicode=True).encode()
    return _loaded(data, Path(folder).absolute() / "scenario.yaml", [], [])


def with_keys(loaded: Loaded, changes: Mapping[str, Any]) -> Loaded:
    """The scenario with some keys changed, checked as a file with these overrides is.

    Parameters
    ----------
    loaded : Loaded
        Left as it is.
    changes : mapping of str to object
        Values by key path: text as an override has it, a number, a truth value, a list or mapping of these,
        a path, or None, which takes the key out.

    Raises
    ------
    InputError
        As `read_scenario`.
    """
    new = [f"{key}={override_text(value)}" for key, value in changes.items()]
    kept = [text for text in loaded.overrides if text.partition("=")[0].strip() not in changes]
    weather = f"site.weather={_quoted(loaded.scenario.site.weather)}"  # it may start at another folder
    put = [weather if text.partition("=")[0].strip() == "site.weather" else text for text in kept]
    return _loaded(loaded.data, loaded.path, [*kept, *new], [*put, *new])


def _plain(value: Any) -> Any:
    """A value as YAML has it."""
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Path):
        return str(value)
    item = getattr(value, "item", None)  # a number of numpy's
    return item() if callable(item) else value


def override_text(value: Any) -> str:
    """A value as the text of an override."""
    if isinstance(value, str):
        return value
    if isinstance(value, Path):
        return _quoted(value.absolute())
    if value is None:
        return "null"
    text = yaml.safe_dump(_plain(value), default_flow_style=True, allow_unicode=True, width=10**9)
    return text.removesuffix("\n").removesuffix("\n...").strip()


def _loaded(data: bytes, path: Path, used: Sequence[str], put: Sequence[str]) -> Loaded:
    """The scenario of a text with overrides as they are said, and as they are put into it."""
    raw = parsed(decoded(data, str(path)), str(path))
    if raw is None:
        raise _error(f"{path}: the file is empty; 'tankyear new' writes one to start from")
    if not isinstance(raw, dict):
        found = "a list" if isinstance(raw, list) else f"{short(raw)}"
        raise _error(f"{path}: got {found} at the top; allowed keys such as title, site, building, plant")
    set_paths, said, wrong = _overridden(raw, put)
    scenario = scenario_from(raw, path.parent, str(path), set_paths, wrong)
    sha256 = hashlib.sha256(data).hexdigest()
    return Loaded(scenario, real(path), sha256, tuple(used), raw, tuple(said), data)


def _quoted(path: Path) -> str:
    """A path as YAML text."""
    return "'" + str(path).replace("'", "''") + "'"


def scenario_from(
    raw: dict[str, Any],
    folder: Path,
    where: str = "scenario",
    set_paths: Sequence[str] = (),
    wrong: Findings | None = None,
) -> Scenario:
    """Check a mapping as read from YAML.

    Parameters
    ----------
    raw : dict
        Keys and values as in a scenario file.
    folder : Path
        Where relative paths start.
    where : str
        What messages begin with.
    set_paths : sequence of str
        Key paths that were overridden, for the messages.
    wrong : Findings or None
        What was found wrong before.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    refuse_controls(raw, where)
    written, lines = _written(raw, Scenario), [] if wrong is None else list(wrong.lines)
    context = {"folder": str(folder)}
    try:
        scenario = Scenario.model_validate(written, context=context)
    except ValidationError as error:
        wrongs = wrong_in(error, written, set_paths)
        good = good_part(written, context, wrongs.meant)
        clashes = [clash_line(loc, clash, written, set_paths) for loc, clash in good.clashes]
        lines += [*wrongs.lines, *(line for path, line in clashes if path not in wrongs.said)]
        raise WrongScenario(where, lines, good.sound) from None
    if lines:
        raise WrongScenario(where, lines, scenario)
    return scenario


def changed(scenario: Scenario, overrides: Sequence[str], folder: Path) -> Scenario:
    """The scenario with some keys changed, checked as if it had been written so.

    Parameters
    ----------
    scenario : Scenario
        Left as it is.
    overrides : sequence of str
        ``"key.path=value"`` as in `read_scenario`.
    folder : Path
        Where relative paths in the new values start.

    Raises
    ------
    InputError
        A line for each thing that is wrong.
    """
    raw = dump(scenario)
    set_paths, _, wrong = _overridden(raw, overrides)
    return scenario_from(raw, folder, "scenario", set_paths, wrong)


def _joined(loop: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    """The loop of a building with the tank that another loop has of its own, or with none."""
    kept = {key: value for key, value in loop.items() if key not in ("served_by", "loop_tank")}
    if "loop_tank" not in other:
        return kept
    kept.pop("return_height", None)  # the water returns to the tank
    return kept | {key: other[key] for key in ("served_by", "loop_tank")}


def baseline_of(loaded: Loaded, read: Callable[[Path], Loaded] = read_scenario) -> Loaded | None:
    """The baseline as a scenario of its own; None where there is none.

    It has the building, use, weather, loop, carbon and tariff of `loaded`, and another plant. What belongs to
    the plant alone goes with the plant: the charge of refrigerant is that of the baseline's file, or unknown;
    a tank of the loop's own is in the baseline where its file has one, else its store serves the loop.

    Parameters
    ----------
    loaded : Loaded
        The scenario.
    read : callable
        Gives the scenario of a file, where one is named.

    Raises
    ------
    InputError
        In one line, if the file cannot be read, or its plant does not go with the rest.
    """
    scenario = loaded.scenario
    if scenario.baseline is None:
        return None
    raw, sha256 = dump(scenario), loaded.sha256
    plant, refrigerant = raw.pop("baseline"), dict(raw.get("carbon", {}).get("refrigerant", {}))
    for key in ("charge", "charge_per_kw", "line_charge"):
        refrigerant.pop(key, None)
    where, loop, written = f"{loaded.path}: baseline", {}, {"plant": loaded.written.get("baseline")}
    if isinstance(scenario.baseline, Path):
        other = read(scenario.baseline)
        if other.path == loaded.path and other.scenario.plant == scenario.plant:
            raise _error(
                f"{loaded.path}: baseline: got this scenario itself; allowed another one, "
                "or a plant that differs"
            )
        theirs, sha256 = dump(other.scenario), other.sha256
        plant, written = theirs["plant"], {"plant": other.written["plant"]}
        refrigerant = theirs.get("carbon", {}).get("refrigerant", refrigerant)
        loop = theirs.get("recirculation", {})
        where += f" ({other.path.name})"
    raw["plant"] = plant
    if scenario.recirculation is not None:
        raw["recirculation"] = _joined(raw["recirculation"], loop)
    if scenario.carbon is not None:
        raw["carbon"]["refrigerant"] = refrigerant
    if scenario.tariff is not None and "baseline_fuel" in raw["tariff"]:
        raw["tariff"]["fuel"] = raw["tariff"].pop("baseline_fuel")
    for key in ("costs", "savings"):
        raw.pop(key, None)
    raw["site"].pop("checks", None)
    if plant["family"] != "ground":  # nothing else remembers the years before
        raw.get("run", {}).pop("years", None)
    checked = scenario_from(raw, loaded.path.parent, where)
    return Loaded(checked, loaded.path, sha256, loaded.overrides, written)
