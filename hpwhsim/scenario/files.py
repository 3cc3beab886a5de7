"""The files that a scenario and its baseline name, and its text with other names for them."""

import posixpath
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple, get_args

import yaml
from pydantic.fields import FieldInfo

from hpwhsim.scenario.keys import block_of, items_of, known_fields
from hpwhsim.scenario.parts import Block
from hpwhsim.scenario.reading import Loaded, read_scenario

WEATHER = "site.weather"


class Named(NamedTuple):
    """A file that a scenario names."""

    key: str  # the key that names it first; "scenario" for the scenario itself
    path: Path  # absolute
    loaded: Loaded | None  # of a scenario: as it was read


def files_of(loaded: Loaded) -> list[Named]:
    """The scenario, and every file that it and the file of its baseline name, each once.

    Raises
    ------
    InputError
        If the file of a baseline cannot be read.
    """
    found: dict[Path, Named] = {}

    def look(key: str, scenario: Loaded) -> None:
        found[scenario.path] = Named(key, scenario.path, scenario)
        prefix = "" if scenario is loaded else f"{key}: "
        for name, path in _paths(scenario.scenario):
            if path in found:
                continue
            if name == "baseline":
                look(f"{prefix}{name}", read_scenario(path))
            else:
                found[path] = Named(f"{prefix}{name}", path, None)

    look("scenario", loaded)
    return list(found.values())


def _paths(block: Block, prefix: str = "") -> Iterator[tuple[str, Path]]:
    """Every file that a block names, by key."""
    for name in type(block).model_fields:
        key, value = prefix + name, getattr(block, name)
        for item in value if isinstance(value, tuple) else (value,):
            if isinstance(item, Block):
                yield from _paths(item, f"{key}.")
            elif isinstance(item, Path):
                yield key, item


def plain_names(paths: Sequence[Path]) -> dict[Path, str]:
    """A relative name for each file: its own, in a numbered folder where another file has that already.

    Names that differ only by small and capital letters count as one, as some file systems have it.

    Examples
    --------
    >>> list(plain_names([Path("/a/grid.csv"), Path("/b/Grid.csv")]).values())
    ['grid.csv', '2/Grid.csv']
    """
    names: dict[Path, str] = {}
    used: set[str] = set()
    for path in paths:
        name, count = path.name, 1
        while name.casefold() in used:
            count += 1
            name = f"{count}/{path.name}"
        used.add(name.casefold())
        names[path] = name
    return names


def named_anew(loaded: Loaded, names: Mapping[Path, str]) -> str:
    """The text of a scenario file with each file named as in `names`, seen from the scenario's own place.

    All else stays as it was written, comments too. A file that is not in `names`, because an override took
    its place, keeps its name without its folder.

    Parameters
    ----------
    loaded : Loaded
        The scenario.
    names : mapping of Path to str
        Relative name of the scenario and of each file that it names.
    """
    text = loaded.data.decode("utf-8-sig")  # line ends as they are
    return _replaced(text, "", loaded.path.parent, _seen_from(loaded.path, names))


def overrides_anew(loaded: Loaded, names: Mapping[Path, str]) -> tuple[str, ...]:
    """Overrides of a scenario, another weather file among them, with the names of `named_anew`."""
    folder, seen = loaded.path.parent, _seen_from(loaded.path, names)
    found = []
    for override in loaded.overrides:
        key, _, value = override.partition("=")
        if key.strip() == WEATHER:  # of several the last counts, and it may start at another folder
            value = _quoted(seen[loaded.scenario.site.weather])
        else:
            value = _replaced(value, key.strip(), folder, seen)
        found.append(f"{key}={value}")
    return tuple(dict.fromkeys(found))


def short_overrides(loaded: Loaded) -> tuple[str, ...]:
    """Overrides as a record has them: files by their name without a folder."""
    short = {path: path.name for _, path in _paths(loaded.scenario)}
    return overrides_anew(loaded, short | {loaded.path: loaded.path.name})


def without_folders(text: str, loaded: Loaded) -> str:
    """A message for a document: the scenario and the files that it names without their folders."""
    for path in sorted((file.path for file in files_of(loaded)), key=lambda path: -len(str(path))):
        text = text.replace(str(path), path.name)
    return text


def _seen_from(scenario: Path, names: Mapping[Path, str]) -> dict[Path, str]:
    """The names as a scenario at its own name writes them."""
    start = posixpath.dirname(names[scenario]) or "."
    return {path: posixpath.relpath(name, start) for path, name in names.items()}


def _replaced(text: str, key: str, folder: Path, seen: Mapping[Path, str]) -> str:
    """YAML text, the value of `key` ("": the whole file), with other names for files."""
    fields = known_fields()
    if key in fields and not _may_name_files(fields[key]):
        return text
    try:
        root = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError:  # free text of an override, which nothing reads as YAML
        return text
    spans: dict[int, tuple[int, str]] = {}
    for path, node in _scalars(root, key):
        if path in fields and _takes_path(fields[path].annotation):
            file = (folder / node.value).resolve()
            name = seen.get(file)
            if name is None and (file.is_file() or Path(node.value).is_absolute()):
                name = file.name
            if name is not None:
                spans[node.start_mark.index] = (node.end_mark.index, name)
    for start, (end, name) in sorted(spans.items(), reverse=True):
        old = text[start:end]
        decorated = re.match(r"(?:[&!]\S*\s+)*", old)  # an anchor or a tag stands before the value
        kept = decorated[0] if decorated else ""
        last = old[len(old.rstrip()) :]  # of a value in lines of its own
        text = f"{text[:start]}{kept}{_quoted(name)}{last}{text[end:]}"
    return text


def _scalars(node: Any, key: str) -> Iterator[tuple[str, yaml.ScalarNode]]:
    """Values of a YAML text with their dotted keys; items of a list have that of the list."""
    if isinstance(node, yaml.ScalarNode):
        yield key, node
    elif isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield from _scalars(item, key)
    elif isinstance(node, yaml.MappingNode):
        for name, value in node.value:
            inside = f"{key}.{name.value}" if key else str(name.value)
            yield from _scalars(value, key if name.tag == "tag:yaml.org,2002:merge" else inside)


def _may_name_files(field: FieldInfo) -> bool:
    inside = block_of(field) or items_of(field.annotation)
    return inside is not None or _takes_path(field.annotation)


def _takes_path(annotation: Any) -> bool:
    return annotation is Path or any(_takes_path(part) for part in get_args(annotation))


def _quoted(name: str) -> str:
    """A name as YAML text."""
    plain = re.fullmatch(r"[\w.][\w./-]*", name) is not None and isinstance(yaml.safe_load(name), str)
    return name if plain else "'" + name.replace("'", "''") + "'"
