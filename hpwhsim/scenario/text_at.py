"""A scenario's text at another place: as it was written, with its changed keys put in."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import yaml

from hpwhsim.errors import InputError
from hpwhsim.scenario.files import files_of, named_anew, overrides_anew
from hpwhsim.scenario.keys import inner_types, known_fields
from hpwhsim.scenario.reading import Loaded, scenario_of
from hpwhsim.scenario.writing import dump_text


def text_at(loaded: Loaded, place: Path) -> str:
    """The text of a scenario file that gives the same scenario from another place, overrides put in.

    Comments and order stay where every override is one number or word; where one replaces a block or a list
    or takes a key out, the text is written anew, defaults left out.

    Parameters
    ----------
    loaded : Loaded
        The scenario.
    place : Path
        Where the text will stand; files are named from its folder.
    """
    place = place.absolute()
    names = {file.path: file.path.as_posix() for file in files_of(loaded)} | {loaded.path: place.as_posix()}
    text = named_anew(loaded, names)
    for override in overrides_anew(loaded, names):
        key, _, value = override.partition("=")
        text = _with_key(text, key.strip(), value.strip())
    try:
        if scenario_of(yaml.safe_load(text), place.parent).scenario == loaded.scenario:
            return text
    except (InputError, yaml.YAMLError):
        pass  # an override that is no plain value
    return dump_text(loaded.scenario, place.parent)


def _with_key(text: str, key: str, value: str) -> str:
    """YAML text with a plain value for a key; as it was where its block is not there or stands in a line."""
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    free = str in inner_types(known_fields()[key].annotation)  # text that is taken as it was typed
    content = value if free else yaml.safe_load(value)
    written = yaml.safe_dump(content, default_flow_style=True, width=10**9, allow_unicode=True)
    scalar = written.removesuffix("\n").removesuffix("\n...").strip()
    *blocks, leaf = key.split(".")
    block: Any = root
    for name in blocks:
        block = next((below for key_of, below in _pairs(block) if key_of.value == name), None)
    for key_of, below in _pairs(block):
        if key_of.value == leaf:
            if not isinstance(below, yaml.ScalarNode):
                return text
            return f"{text[: below.start_mark.index]}{scalar}{text[below.end_mark.index :]}"
    first = next((key_of for key_of, _ in _pairs(block)), None)
    if first is None or block.flow_style:
        return text
    mark = first.start_mark
    return f"{text[: mark.index]}{leaf}: {scalar}\n{' ' * mark.column}{text[mark.index :]}"


def _pairs(block: Any) -> Iterator[tuple[yaml.ScalarNode, yaml.Node]]:
    """Keys and values of a mapping; nothing of what is none."""
    if isinstance(block, yaml.MappingNode):
        yield from block.value
