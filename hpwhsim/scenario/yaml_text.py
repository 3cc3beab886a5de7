"""YAML text to plain values: no key twice, and numbers as YAML 1.2 and everybody else reads them."""

import re
from collections.abc import Callable
from copy import deepcopy
from functools import lru_cache
from typing import Any

import yaml

from hpwhsim.errors import InputError
from hpwhsim.scenario.messages import one_line

NUMBER = r"(?:0|[1-9]\d*)"
TAG = "tag:yaml.org,2002:"


class _Loader(yaml.SafeLoader):
    """YAML without what would quietly be taken for something else.

    No key twice, no tags, and numbers as YAML 1.2 has them: of 1.1, 010 would be 8 and 1:30 would be 90.
    """

    def compose_node(self, parent: yaml.Node | None, index: Any) -> yaml.Node | None:
        peek: Callable[[], Any] = self.peek_event
        event = peek()
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
    try:
        return yaml.load(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = f", line {mark.line + 1}, column {mark.column + 1}" if mark else ""
        raise InputError(
            one_line(f"{where}{line}: not valid YAML: {error.problem or error.context}")
        ) from None
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        raise InputError(one_line(f"{where}: not valid YAML: {' '.join(str(error).split())}")) from None
