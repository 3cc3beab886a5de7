"""Every test says what stands behind it: a published value, another way, a law, or a promise."""

import pytest

pytestmark = pytest.mark.contract

KINDS = {"published", "independent", "law", "contract"}


def kinds(item: pytest.Item) -> list[str]:
    return [mark.name for mark in item.iter_markers() if mark.name in KINDS]


def test_every_test_has_one_kind(collected: list[pytest.Item]) -> None:
    """Its own or that of its module, never both; examples in docstrings are no tests of ours."""
    tests = [item for item in collected if isinstance(item, pytest.Function)]
    assert tests
    assert [(item.nodeid, kinds(item)) for item in tests if len(kinds(item)) != 1] == []
