"""YAML text to plain values: no key twice, and numbers as YAML 1.2 and everybody else reads them.

A text is a file that somebody wrote: what is larger or deeper than that, with its aliases written out, is
refused before it takes minutes and memory.
"""

import re
from collections.abc import Callable
from copy import deepcopy
from functools import lru_cache
from typing import Any

import yaml

from hpwhsim.errors import InputError
from hpwhsim.io.plain_text import named
from hpwhsim.scenario.messages import one_line

NUMBER = r"(?:0|[1-9]\d*)"
TAG = "tag:yaml.org,2002:"
LARGEST = 1_000_000  # bytes of a scenario or a study
MOST_NODES = 20_000  # keys and values, those of aliases counted at each place
DEEPEST = 50  # blocks and lists within each other
MOST_DIGITS = 300  # of a number: a float ends at 1.8e308


class _Loader(yaml.SafeLoader):
    """YAML without what would quietly be taken for something else.

    No key twice, no tags, and numbers as YAML 1.2 has them: of 1.1, 010 would be 8 and 1:30 would be 90.
    """

    def __init__(self, stream: str) -> None:
        super().__init__(stream)
        self.nodes = self.level = 0
        self.sizes: dict[int, int] = {}  # of nodes that are whole, by identity

    def compose_node(self, parent: yaml.Node | None, index: Any) -> yaml.Node | None:
        peek: Callable[[], Any] = self.peek_event
        event = peek()
        self._refuse(self.level >= DEEPEST, f"blocks more than {DEEPEST} deep", event.start_mark)
        before = self.nodes
        self.level += 1
        node = self._composed(parent, index, event)
        self.level -= 1
        if isinstance(event, yaml.AliasEvent):
            self._refuse(id(node) not in self.sizes, "a block that holds itself", event.start_mark)
            self.nodes += self.sizes[id(node)]
        else:
            self.nodes += 1
            self.sizes[id(node)] = self.nodes - before
        said = f"more than {MOST_NODES:,} keys and values, those of aliases counted at each place"
        self._refuse(self.nodes > MOST_NODES, said, event.start_mark)
        return node

    @staticmethod
    def _refuse(wrong: bool, what: str, mark: Any) -> None:
        if wrong:
            raise yaml.composer.ComposerError(None, None, f"{what}: not allowed", mark)

    def _composed(self, parent: yaml.Node | None, index: Any, event: Any) -> yaml.Node | None:
        if getattr(event, "tag", None) not in (None, "!"):
            raise yaml.composer.ComposerError(
                None, None, f"the tag {event.tag} is not allowed", event.start_mark
            )
        return super().compose_node(parent, index)

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
        seen: set[Any] = set()
        for key_node, _ in node.value:
            key = (key_node.tag, str(key_node.value))
            if key in seen:
                raise yaml.constructor.ConstructorError(
                    None, None, f"the key '{key_node.value}' is written twice", key_node.start_mark
                )
            seen.add(key)
        return super().construct_mapping(node, deep)

    def construct_yaml_int(self, node: yaml.ScalarNode) -> int:
        if len(node.value) > MOST_DIGITS:
            raise yaml.constructor.ConstructorError(
                None, None, f"a number of {len(node.value)} digits", node.start_mark
            )
        return int(node.value)

    def construct_yaml_timestamp(self, node: yaml.ScalarNode) -> Any:
        try:
            return super().construct_yaml_timestamp(node)
        except ValueError as error:
            raise yaml.constructor.ConstructorError(
                None, None, f"{node.value} is no date or time ({error})", node.start_mark
            ) from None


_Loader.add_constructor(f"{TAG}int", _Loader.construct_yaml_int)
_Loader.add_constructor(f"{TAG}timestamp", _Loader.construct_yaml_timestamp)
_Loader.yaml_implicit_resolvers = {
    first: [(tag, form) for tag, form in forms if tag not in (f"{TAG}int", f"{TAG}float")]
    for first, forms in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
_Loader.add_implicit_resolver(f"{TAG}int", re.compile(rf"[-+]?{NUMBER}$"), list("-+0123456789"))
_Loader.add_implicit_resolver(
    f"{TAG}float",
    re.compile(
        rf"[-+]?(?:\.\d+|{NUMBER}(?:\.\d*)?)(?:[eE][-+]?\d+)?$|[-+]?\.(?:inf|Inf|INF)$|\.(?:nan|NaN|NAN)$"
    ),
    list("-+.0123456789"),
)


def parsed(text: str, where: str) -> Any:
    """What a text holds.

    Raises
    ------
    InputError
        If it is no YAML; `where` comes first.
    """
    return deepcopy(_parsed(text, where))  # overrides are put in


@lru_cache(maxsize=16)
def _parsed(text: str, where: str) -> Any:
    """The cases of a sweep have theirs in common."""
    if len(text) > LARGEST:
        raise InputError(f"{where}: got more than {LARGEST:,} characters; allowed at most that")
    try:
        return yaml.load(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = f", line {mark.line + 1}, column {mark.column + 1}" if mark else ""
        raise InputError(
            one_line(f"{where}{line}: not valid YAML: {error.problem or error.context}")
        ) from None
    except yaml.reader.ReaderError as error:
        place = text.count("\n", 0, error.position) + 1
        got = f"{where}, line {place}: got {named(chr(int(error.character)))}"
        raise InputError(one_line(f"{got}; allowed text without control characters")) from None
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        raise InputError(one_line(f"{where}: not valid YAML: {' '.join(str(error).split())}")) from None
